"""What a teacher's word does for the beats: tempo told, beats tapped by an unsteady hand, or one of the other readings taken that are named beside the beats.

Run from the repository's root: python3 checks/hear/told.py FOLDER SAMPLES [COUNT]
FOLDER holds GuitarSet's `annotation`, of which players 03 and 05 are played (with DEVELOP set: 00 and 01), each take by one guitar, with the sounds of `renders.py` and dice of its own; COUNT takes that many
of each, evenly. A hand is off by 15 ms (standard deviation) at each beat, by fixed dice. F at 70 ms as in `beats.py`, beside onset strength alone with the same word. Fails where beats told make the rest worse by more than a
hundredth in the mean, or another reading does not come by what is said to tell it nine times of ten. Environment and listening as in `renders.py`.
"""

import json
import os
import pathlib
import sys

from listening import ROOT, WORK, beats_f, enter, example

enter(__file__)
sys.path.insert(0, str(ROOT / "training" / "chords"))

import numpy as np
import soundfile

from clips import performance, played
from sounds import RATE, samples

PLAYERS = ("00", "01") if os.environ.get("DEVELOP") else ("03", "05")
HAND_S = 0.015


def heard(file, beats=(), tempo=None, plain=False):
    told = [f"--pins={','.join(f'{b:.3f}' for b in beats)}"] * bool(len(beats)) + [f"--bpm={tempo}"] * bool(tempo)
    return json.loads(example("hear", "hear", *["--plain"] * plain, *told, file)[0])


def main(folder, sets, count=0):
    WORK.mkdir(parents=True, exist_ok=True)
    guitars = [samples(sets / name) for name in ("archtop", "electric-flatwound")]
    target = WORK / f"told-{os.getpid()}.wav"
    faults = 0
    for kind in ("comp", "solo"):
        takes = [(f, i % 2) for p in PLAYERS for i, f in enumerate(sorted((folder / "annotation").glob(f"{p}_*_{kind}.jams")))]
        takes = [takes[i * len(takes) // count] for i in range(count)] if count else takes
        rows, named, came = {}, [], []
        for n, (file, guitar) in enumerate(takes):
            rng = np.random.default_rng([21, n])
            line, chords, beats = performance(file)
            out = played(line, chords[-1][1], guitars[guitar], rng, 10)
            soundfile.write(target, 0.5 * out / np.abs(out).max(), RATE)
            beats = np.array(beats)
            hand = beats + HAND_S * rng.standard_normal(len(beats))
            tempo = 60 / np.median(np.diff(beats))
            words = {
                "nothing": ((), None),
                "the tempo": ((), tempo),
                "a beat in the middle": (hand[[len(beats) // 2]], None),
                "that and the tempo": (hand[[len(beats) // 2]], tempo),
                "four beats, from the fifth": (hand[4:8], None),
                "all beats": (hand, None),
            }
            for name, (pins, bpm) in words.items():
                found = heard(target, pins, bpm)
                rows.setdefault(name, []).append((beats_f(beats, found["beats"]), beats_f(beats, heard(target, pins, bpm, plain=True)["beats"])))
                if name == "nothing":
                    first = found
            others = [beats_f(beats, o["beats"]) for o in first["other_beats"]]
            named.append((max([rows["nothing"][-1][0], *others]), len(others)))
            for o in first["other_beats"]:
                came.append(beats_f(np.array(o["beats"]), heard(target, o["told_by"], o["told_bpm"])["beats"]) > 0.8)
        target.unlink(missing_ok=True)
        own = rows["nothing"]
        for name, each in rows.items():
            f, plain = np.array(each).T
            print(f"{kind}, {len(takes)}: told {name}: F {f.mean():.3f}, over .9 {np.mean(f > 0.9):.2f}; onset strength {plain.mean():.3f}, {np.mean(plain > 0.9):.2f}", flush=True)
            # A tempo alone leaves open which are the beats: of twice as many two thirds are right by this measure, of those between none.
            faults += name != "the tempo" and f.mean() < np.mean([o[0] for o in own]) - 0.01
        best, many = np.array(named).T
        print(f"{kind}: best of the beats and what is named beside them {best.mean():.3f}, over .9 {np.mean(best > 0.9):.2f}; {many.mean():.2f} named a take; come when they are asked for {np.mean(came or [1]):.3f} of {len(came)}")
        faults += bool(came) and np.mean(came) < 0.9
    return faults > 0


sys.exit(int(main(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]), *map(int, sys.argv[3:4]))))
