"""Alignment where the tempo drifts: mixes that the project sounds with a tempo that wanders bar by bar, and real excerpts written at a tempo that is 4 % faster and slower by turns.

Run from the repository's root: python3 checks/check/drift.py FOLDER
FOLDER holds GuitarSet's `audio` and `annotation` (players 03 and 05). The code under test gets the parts at one tempo, and a start that is up to 1.2 s off.
"""

import json
import pathlib
import sys
import tempfile

from material import enter, example, group, notes_of

enter(__file__)

import numpy as np
import soundfile

FOLDER = pathlib.Path(sys.argv[1])
STRINGS = [40, 45, 50, 55, 59, 64]


def made(rng, work):
    """A guitar, a bass and drums: the file, and for each part rows (true onset, beats from the start, MIDI, string)."""
    tempo, t = 108.0, 0.0
    bars, guitar, bass, hits = [], [], [], []
    for bar in range(12):
        tempo = float(np.clip(tempo + rng.normal(0, 2.0), 98, 118))
        beat = 60 / round(tempo, 3)
        line, low = [], []
        for slot in range(16):
            at = (t + slot * beat / 4, bar * 4 + slot / 4)
            if rng.random() < 0.4:
                first = int(rng.integers(0, 4))
                notes = [(s, int(rng.integers(3, 8))) for s in range(first, first + int(rng.integers(1, 4)))]
                line.append("+".join(f"{6 - s}:{f}" for s, f in notes))
                guitar += [(*at, STRINGS[s] + f, 6 - s) for s, f in notes]
            else:
                line.append(".")
            if slot % 4 == 0 or rng.random() < 0.15:
                f = int(rng.integers(0, 6))
                low.append(f"3:{f}")
                bass.append((*at, 33 + f, 3))
            else:
                low.append("-" if low else ".")
            if slot % 2 == 0:
                hits.append((*at, 0, 0))
        bars.append((round(tempo, 3), " ".join(line), " ".join(low)))
        t += 4 * beat
    part = lambda i: "\n".join(f'      bar "{b[i]}" tempo={b[0]}' for b in bars)
    drums = "\n".join('      bar { kick "x . . . . . . . x . . . . . . ."; snare ". . . . x . . . . . . . x . . ."; hats "x . x . x . x . x . x . x . x ." }' for _ in bars)
    text = (f'lesson "Made" {{\n  passage "one" {{\n    tempo 108\n    slots 16\n    part "g" instrument="guitar" seat="left" {{\n{part(1)}\n    }}\n'
            f'    part "b" instrument="bass" {{\n{part(2)}\n    }}\n    part "d" instrument="drums" {{\n{drums}\n    }}\n  }}\n}}\n')
    (work / "made.kdl").write_text(text)
    example("sounded", work / "made.kdl", "one", work / "made.wav")
    y, rate = soundfile.read(work / "made.wav")
    soundfile.write(work / "made.wav", np.concatenate([np.zeros((2 * rate, 2)), y]), rate)
    return work / "made.wav", [("guitar", -1.0, guitar), ("bass", 0.0, bass), ("drums", 0.0, hits)], 2.0


def wandering(length, rng):
    """Written time for heard time: a tempo 4 % faster and slower by turns. The sound stays as it is, for playing it at a changing speed would bend its pitch."""
    t = np.linspace(0, length + 1, 2000)
    speed = 1 + 0.04 * np.sin(2 * np.pi * t / rng.uniform(8, 14) + rng.uniform(0, 6))
    written = np.concatenate([[0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(t))])
    return lambda x: float(np.interp(x, t, written))


def errors(audio, parts, tempo, start, length, rng, work):
    asked = work / "asked.json"
    beat = 60 / tempo
    body = []
    for name, seat, rows in parts:
        body.append({"name": name, "instrument": name, "seat": seat, "notes": [[r[1] * beat, beat / 3, r[2], r[3], 0] for r in rows]})
    off = rng.uniform(-1.2, 1.2)
    asked.write_text(json.dumps({"tempo": tempo, "from": max(0.0, start + off), "to": start + length + off, "parts": body}))
    found = json.loads(example("check", audio, asked))
    off = []
    for (_, _, rows), p in zip(parts, found["parts"]):
        seen = set()
        for r, f in zip(rows, p["notes"]):
            if r[1] not in seen:
                seen.add(r[1])
                off.append(1000 * (f["time"] - r[0]))
    off = np.array(off)
    return np.abs(off - np.median(off)), found["seconds"]


def main():
    rng = np.random.default_rng(11)
    every = {"made": [], "played": []}
    with tempfile.TemporaryDirectory() as work:
        work = pathlib.Path(work)
        for n in range(4):
            audio, parts, lead = made(rng, work)
            parts = [(name, seat, [(lead + r[0], *r[1:]) for r in rows]) for name, seat, rows in parts]
            e, s = errors(audio, parts, 108, lead, 27, rng, work)
            every["made"].append(e)
            print(f"made by the project {n}, wandering tempo: median {np.median(e):.1f} ms, 95 % {np.percentile(e, 95):.1f} ms ({s:.1f} s)")
        for file in sorted((FOLDER / "audio").glob("0[35]*.flac")):
            notes, beat, _, length = notes_of(FOLDER / "annotation" / f"{file.stem.rpartition('_')[0]}.jams")
            to = wandering(length, rng)
            rows = [(g[0][0], to(g[0][0]) / beat, n[2], 6 - n[3]) for g in group(notes, 0.045) for n in g]
            e, s = errors(file, [("guitar", 0.0, rows)], 60 / beat, 0.0, length, rng, work)
            every["played"].append(e)
            print(f"{file.stem}, written at a wandering tempo: median {np.median(e):.1f} ms, 95 % {np.percentile(e, 95):.1f} ms")
    bad = False
    for name, list_ in every.items():
        e = np.concatenate(list_)
        bad |= np.median(e) > 10 or np.percentile(e, 95) > 30
        print(f"{name}: median {np.median(e):.1f} ms (10 asked), 95 % {np.percentile(e, 95):.1f} ms (30 asked)")
    sys.exit(int(bad))


main()
