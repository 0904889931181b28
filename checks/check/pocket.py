"""How exactly strokes' distances from the beat are measured: each bar's grid is shifted by a known -25 to +25 ms, and what `check` says is held against it.

Run from the repository's root: python3 checks/check/pocket.py FOLDER
FOLDER holds GuitarSet's `audio` and `annotation`: the excerpts of players 03 and 05, whose annotated onsets are the truth, and parts that the project sounds
itself, whose onsets are known. The grid is pinned; each file's median is taken off, for annotations lie some milliseconds late.
"""

import json
import pathlib
import sys
import tempfile

from material import enter, example, group, notes_of

enter(__file__)

import numpy as np

FOLDER = pathlib.Path(sys.argv[1])


def measured(audio, strokes, beat, rng, work):
    """Errors in ms over strokes (notes that begin together), grids shifted bar by bar."""
    bars = {}
    rows, shift = [], []
    for g in strokes:
        bar = int(g[0][0] / beat / 4)
        s = bars.setdefault(bar, rng.uniform(-0.025, 0.025))
        for n in g:
            rows.append([max(0.0, g[0][0] + s), n[1], n[2], 6 - n[3], 0])
            shift.append(s + (n[0] - g[0][0]) * 0)
    end = max(r[0] + r[1] for r in rows)
    asked = work / "asked.json"
    order = sorted(range(len(rows)), key=lambda i: rows[i][0])
    asked.write_text(json.dumps({"tempo": 60 / beat, "from": 0.0, "to": end, "pins": [[0.0, 0.0], [end, end]],
                                 "parts": [{"name": "guitar", "instrument": "guitar", "seat": 0.0, "notes": [rows[i] for i in order]}]}))
    found = json.loads(example("check", audio, asked))["parts"][0]["notes"]
    errors, seen = [], set()
    for i, f in zip(order, found):
        key = round(rows[i][0], 4)
        if key not in seen and f["ahead_ms"] is not None:
            seen.add(key)
            errors.append(f["ahead_ms"] - 1000 * shift[i])
    errors = np.array(errors)
    return errors - np.median(errors), len(seen) / len(strokes)


def made(rng, work):
    """A part sounded by the project: its file and its strokes."""
    beat = 60 / 104
    lines, strokes = [], []
    strings = [40, 45, 50, 55, 59, 64]
    for bar in range(8):
        tokens = []
        for slot in range(16):
            if rng.random() < 0.45:
                if rng.random() < 0.4:
                    low = int(rng.integers(0, 4))
                    notes = [(s, int(rng.integers(3, 8))) for s in range(low, low + 3)]
                else:
                    notes = [(int(rng.integers(0, 6)), int(rng.integers(1, 10)))]
                tokens.append("+".join(f"{6 - s}:{f}" for s, f in notes))
                t = (bar * 16 + slot) * beat / 4
                strokes.append([(t, beat / 4, strings[s] + f, s) for s, f in notes])
            else:
                tokens.append(".")
        lines.append(f'      bar "{" ".join(tokens)}"')
    text = f'lesson "Made" {{\n  passage "one" {{\n    tempo 104\n    slots 16\n    part "g" instrument="guitar" {{\n' + "\n".join(lines) + "\n    }\n  }\n}\n"
    (work / "made.kdl").write_text(text)
    example("sounded", work / "made.kdl", "one", work / "made.wav")
    return work / "made.wav", strokes, beat


def main():
    rng = np.random.default_rng(3)
    sums = {"made": [], "played": []}
    with tempfile.TemporaryDirectory() as work:
        work = pathlib.Path(work)
        for n in range(4):
            audio, strokes, beat = made(rng, work)
            e, share = measured(audio, strokes, beat, rng, work)
            sums["made"].append(np.median(np.abs(e)))
            print(f"made by the project {n}: median {np.median(np.abs(e)):.1f} ms, 95 % {np.percentile(np.abs(e), 95):.1f} ms of {100 * share:.0f} % of its strokes")
        for file in sorted((FOLDER / "audio").glob("0[35]*.flac")):
            notes, beat, _, _ = notes_of(FOLDER / "annotation" / f"{file.stem.rpartition('_')[0]}.jams")
            e, share = measured(file, group(notes, 0.045), beat, rng, work)
            sums["played"].append(np.median(np.abs(e)))
            print(f"{file.stem}: median {np.median(np.abs(e)):.1f} ms, 95 % {np.percentile(np.abs(e), 95):.1f} ms of {100 * share:.0f} % of its strokes")
    made_ms, played_ms = max(sums["made"]), max(sums["played"])
    print(f"worst median: made {made_ms:.1f} ms (3 asked), played {played_ms:.1f} ms (8 asked)")
    sys.exit(int(made_ms > 3 or played_ms > 8))


main()
