"""Chords, key, beats and bass line of performances played anew with recorded samples, alone and with bass and drums, by the field's metrics.

Run from the repository's root: python3 checks/hear/renders.py FOLDER SAMPLES [COUNT [MIXES]]
FOLDER holds GuitarSet's `annotation`, of which players 03 and 05 are played (with DEVELOP set: 00 and 01); SAMPLES the notes of `archtop`, `electric-flatwound`, `bass`
(named an octave above what sounds) and `drums`, on which nothing was trained. Each comping take is played by either guitar, alone and under a bass line of random rhythms on
its chords and a kit; each solo by one, for the key. COUNT takes that many of each, evenly (all without it, or with 0); MIXES that many
mixes, a take again with other dice where there are more than takes. Makes a virtual environment under target/ and listens with
`cargo run --release -p hear --example hear` (or the program in the folder EXAMPLES). Beside: one chord for the whole, silence, and a general library's beats.

Fails under what was reached last, less a little.
"""

import json
import os
import pathlib
import sys
import warnings

from listening import ROOT, WORK, enter, hear, key_of

enter(__file__)
sys.path.insert(0, str(ROOT / "training" / "chords"))

import librosa
import mir_eval
import numpy as np
import soundfile

from clips import add, bass_line, performance, played
from labels import read
from sounds import RATE, samples

warnings.filterwarnings("ignore")
PLAYERS = ("00", "01") if os.environ.get("DEVELOP") else ("03", "05")
FLOORS = {"comping": (0.7, 0.6), "mix": (0.6, 0.5)}


def kit(beats, length, drums, rng):
    out = np.zeros(int(length * RATE), np.float32)
    step = np.median(np.diff(beats))
    for i, b in enumerate(beats):
        add(out, b, drums["snare_hard" if i % 2 else "bass_hard"], 1.0)
        if rng.random() < 0.25:
            add(out, b + step * rng.choice([0.5, 0.75]), drums["bass_soft"], 0.8)
        for half in (0, 0.5):
            add(out, b + half * step, drums["cymbal_closed"], 0.4)
    return out


def comparable(times, names, mine, labels):
    """Seconds that are right and seconds that can be compared, by root, majmin, sevenths, majmin with bass: sums of them weigh every second of all files alike."""
    mine, labels = mir_eval.util.adjust_intervals(mine, labels, times.min(), times.max(), mir_eval.chord.NO_CHORD, mir_eval.chord.NO_CHORD)
    cut, truth, found = mir_eval.util.merge_labeled_intervals(times, names, mine, labels)
    lengths = mir_eval.util.intervals_to_durations(cut)
    out = []
    for rule in (mir_eval.chord.root, mir_eval.chord.majmin, mir_eval.chord.sevenths, mir_eval.chord.majmin_inv):
        hits = rule(truth, found)
        out.append((float(np.sum(lengths * (hits == 1))), float(np.sum(lengths * (hits >= 0)))))
    return out


def main(folder, sets, count=0, mixes=0):
    WORK.mkdir(parents=True, exist_ok=True)
    guitars = [samples(sets / name) for name in ("archtop", "electric-flatwound")]
    bass = samples(sets / "bass", octave=-1)
    drums = {}
    for file in sorted((sets / "drums").glob("drum_*.ogg")):
        sound, rate = soundfile.read(file)
        sound = sound if sound.ndim == 1 else sound.mean(axis=1)
        drums[file.stem[5:]] = np.interp(np.arange(0, len(sound), rate / RATE), np.arange(len(sound)), sound).astype(np.float32)
        drums[file.stem[5:]] /= np.abs(drums[file.stem[5:]]).max() + 1e-9
    comping = [(f, g) for g in range(2) for p in PLAYERS for f in sorted((folder / "annotation").glob(f"{p}_*_comp.jams"))]
    solos = [(f, i % 2) for p in PLAYERS for i, f in enumerate(sorted((folder / "annotation").glob(f"{p}_*_solo.jams")))]
    some = lambda all, count: [all[i * len(all) // count] for i in range(count)] if count else all
    least = lambda all: min(count, len(all))
    jobs = [("comping", *c) for c in some(comping, least(comping))]
    jobs += [("mix", *c) for c in some(comping, mixes or least(comping))] + [("solo", *c) for c in some(solos, least(solos))]
    rows = {"comping": [], "mix": [], "one chord": []}
    keys, pulses = ({kind: [] for kind in ("comping", "mix", "solo")} for _ in range(2))
    notes = []
    for n, (kind, file, guitar) in enumerate(jobs):
        rng = np.random.default_rng([8, n])
        line, chords, beats = performance(file)
        length = chords[-1][1]
        out = played(line, length, guitars[guitar], rng, 10)
        level = lambda s: np.sqrt(np.mean(s**2)) + 1e-9
        low = []
        if kind == "mix":
            labels = [(s, e, *read(c)) for s, e, c in chords]
            low, _ = bass_line(labels, beats, rng)
            under = played(low, length, bass, rng, 4)
            beat = kit(beats, length, drums, rng)
            out = out + under * level(out) / level(under) * 10 ** (rng.uniform(-2, 4) / 20) + beat * level(out) / level(beat) * 10 ** (rng.uniform(-8, 0) / 20)
        target = WORK / f"render-{os.getpid()}.wav"
        soundfile.write(target, 0.5 * out / np.abs(out).max(), RATE)
        h = hear([target])[0]
        target.unlink()
        # As in beats.py: at 70 ms, nothing trimmed.
        others = librosa.frames_to_time(librosa.beat.beat_track(y=out, sr=RATE)[1], sr=RATE)
        pulses[kind].append([mir_eval.beat.f_measure(np.array(beats), np.array(b), f_measure_threshold=0.07) for b in (h["beats"] or [], others)])
        truth = next(a["data"][0]["value"] for a in json.loads(file.read_text())["annotations"] if a["namespace"] == "key_mode").replace(":", " ")
        found = key_of(h["key"])
        worth = lambda key: mir_eval.key.weighted_score(truth, key_of(key))
        keys[kind].append((worth(h["key"]), max(map(worth, [h["key"], *h["key"]["also"]]))) if found else (0.0, 0.0))
        if kind == "solo":
            continue
        times, names = np.array([c[:2] for c in chords]), [c[2] for c in chords]
        rate = lambda list: comparable(times, names, np.array([[c["start"], c["end"]] for c in list]), [c["harte"] for c in list])
        # A record whose pitch is not heard has no chords.
        rows[kind].append(rate(h["chords"] or [{"start": 0.0, "end": length, "harte": "N"}]))
        rows["one chord"].append(rate([{"start": 0.0, "end": length, "harte": truth.replace(" major", ":maj").replace(" minor", ":min")}]))
        score = ""
        if kind == "mix":
            hz = lambda midi: 440 * 2 ** ((np.array(midi, float) - 69) / 12)
            there, mine = np.array([[t, t + max(d, 0.05)] for t, d, _ in low]), np.array([[b["onset"], b["offset"]] for b in h["bass"] or []]).reshape(-1, 2)
            p, r, f, _ = mir_eval.transcription.precision_recall_f1_overlap(there, hz([m for *_, m in low]), mine, hz([b["midi"] for b in h["bass"] or []]), offset_ratio=None)
            ponset, ronset, fonset = mir_eval.transcription.onset_precision_recall_f1(there, mine)[:3] if len(mine) else (0, 0, 0)
            notes.append((p, r, f, fonset))
            score = f"; bass P {p:.2f} R {r:.2f} F {f:.2f}, onsets alone {fonset:.2f}"
        last = [r / max(w, 1e-9) for r, w in rows[kind][-1]]
        print(f"{kind} {file.stem} {'archtop' if guitar == 0 else 'flatwound'}: root {last[0]:.2f} majmin {last[1]:.2f} sevenths {last[2]:.2f}; key {found} of {truth}{score}", flush=True)
    faults = 0
    for kind, all in rows.items():
        right, of = np.sum(all, axis=0).T
        mean = right / of
        print(f"{kind}, {len(all)}: root {mean[0]:.3f} majmin {mean[1]:.3f} sevenths {mean[2]:.3f} majmin with bass {mean[3]:.3f}; coverage of sevenths {of[2] / of[0]:.2f} (silence 0)")
        faults += kind in FLOORS and (mean[1] < FLOORS[kind][0] or mean[2] < FLOORS[kind][1])
    for kind, all in pulses.items():
        own, others = np.array(all).T
        print(f"beats, {kind}, {len(all)}: F {own.mean():.3f}, over .9 {np.mean(own > 0.9):.2f} of them; library {others.mean():.3f}, {np.mean(others > 0.9):.2f}")
    for kind, all in {**keys, "comping and solo": keys["comping"] + keys["solo"]}.items():
        own, best = np.mean(all, axis=0)
        print(f"key, {kind}, {len(all)}: weighted {own:.3f}; best of it and the three named beside it {best:.3f}")
    print(f"bass line, {len(notes)} mixes: precision, recall, F, F of onsets alone", np.mean(notes, axis=0).round(3), "(silence 0)")
    return faults > 0


sys.exit(int(main(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]), *map(int, sys.argv[3:5]))))
