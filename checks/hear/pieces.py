"""Key of pieces that dice make, by the way they are played (`training/chords/progressions.py`): on pieces of this kind, by other dice, the weights of `crates/hear/src/key.rs` were learned.

Run from the repository's root: python3 checks/hear/pieces.py SAMPLES [COUNT [SEED]]
SAMPLES holds notes of `archtop`, `electric-flatwound` and `bass` (named an octave above what sounds). Dice draw progression, key, tempo, meter, rhythm, how chords are coloured, how they are voiced
(also without their roots), whether a bass plays, and for every third piece a melody alone. Judged by the field's weighted
score, beside the true chords' own key by nothing but the tonic that lasts longest. Also two pieces in two keys after each other, and one twice: how much of the
time has the right key. Fails under what was reached last, less a little. Environment and listening as in `renders.py`.
"""

import collections
import os
import pathlib
import sys

from listening import ROOT, WORK, enter, hear, key_of

enter(__file__)
sys.path.insert(0, str(ROOT / "training" / "chords"))

import mir_eval
import numpy as np
import soundfile

from progressions import piece
from sounds import RATE, samples

FLOORS = {"grips": 0.87, "melody": 0.64}


def listened(sound):
    target = WORK / f"piece-{os.getpid()}.wav"
    soundfile.write(target, 0.5 * sound, RATE)
    found = hear([target])[0]["key"]
    target.unlink()
    return found


def main(sets, count=300, seed=1):
    WORK.mkdir(parents=True, exist_ok=True)
    guitars, bass = [samples(sets / n) for n in ("archtop", "electric-flatwound")], samples(sets / "bass", octave=-1)
    score = lambda truth, found: mir_eval.key.weighted_score(truth, found) if found else 0.0
    rows, sure = collections.defaultdict(list), {True: [], False: []}
    for n in range(count):
        sound, truth, way, longest = piece(n, np.random.default_rng([seed, n]), guitars, bass)
        found = listened(sound)
        worth = score(truth, key_of(found))
        sure[worth == 1].append(found["confidence"] if found else 0.0)
        parts = way.split(", ")
        for part in {parts[0], truth.split()[1], *(", ".join([parts[0], p]) for p in parts[1:])}:
            rows[part].append((worth, score(truth, longest)))
    for part in sorted(rows):
        print(f"{part}, {len(rows[part])}: weighted {np.mean(rows[part], axis=0)[0]:.3f}; the longest of the true chords {np.mean(rows[part], axis=0)[1]:.3f}")
    right, wrong = map(np.array, (sure[True], sure[False]))
    print(f"confidence of the right ones {right.mean():.2f}, of others {wrong.mean():.2f}; area under the curve {np.mean(right[:, None] > wrong):.3f}")
    for two in (True, False):
        times, keys = [], []
        for n in range(count // 8):
            rng = np.random.default_rng([seed, n, 2])
            first = piece(2 * n, rng, guitars, bass, 0, False)
            other = piece(2 * n + 34, rng, guitars, bass, int(rng.choice([1, 2, 3, 4, 8, 9, 10, 11])), False) if two else first
            found, at, right = listened(np.concatenate([first[0], other[0]])), 0.0, 0.0
            for sound, truth, *_ in (first, other):
                end = at + len(sound) / RATE
                right += sum(max(0.0, min(end, k["end"]) - max(at, k["start"])) * score(truth, key_of(k)) for k in found["over_time"])
                at = end
            times.append(right / at)
            keys.append(len(found["over_time"]))
        print(f"{'two pieces in two keys' if two else 'a piece twice'}, {len(times)}: weighted over time {np.mean(times):.3f}, keys heard {np.mean(keys):.2f}")
    return any(np.mean(rows[k], axis=0)[0] < floor for k, floor in FLOORS.items() if rows[k])


sys.exit(int(main(pathlib.Path(sys.argv[1]), *map(int, sys.argv[2:4]))))
