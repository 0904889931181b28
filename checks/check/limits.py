"""Sets the weights of the marks in `judge.rs`, by logistic regression over faults planted in renders of players 00 and 01 and in the development excerpt.

Run from the repository's root, after train.py: python3 checks/check/limits.py RENDERS.json[,RENDERS.json…] DEVELOP.json…
All are saved by `planted.py … --save`: the first with `--renders WORK`, the others with `--develop`, alone and with `--mix`; again with `--kinds rest,held`, of which there are few; for moved notes again with
`--kinds "left out,sixteenth,rest,held"`; for unwritten ones with `--kinds "left out,sixteenth"` by a program whose limit `unwritten` in `judge.rs` is 4.5 lower. Prints the constants, and precision, recall and false alarms for limits on either; the limit is chosen by eye from what
the development excerpt and the renders say together: that of unwritten notes as the one by which some 1.1 are reported for a hundred notes of faultless parts.
"""

import json
import sys

from material import WRONG, enter

enter(__file__)

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import roc_auc_score

RENDERS, DEVELOP = sys.argv[1].split(","), sys.argv[2:]
# A row of real sound weighs as much as so many of renders.
REAL = 5.0
# Weights of a note's marks are held down, or single notes of faultless parts are surely wrong.
HELD = 0.01


def fitted(x, y, dx, dy, scaled_by, rounds=2000, held=0.3):
    """Weights and shift of a logistic regression over renders (x) and real sound (dx), each mark scaled by how it spreads in `scaled_by`."""
    scale = scaled_by.std(0) + 1e-3
    model = LogisticRegression(C=held, max_iter=rounds)
    model.fit(np.concatenate([x, dx]) / scale, np.concatenate([y, dy]), np.concatenate([np.ones(len(x)), REAL * np.ones(len(dx))]))
    return model.coef_[0] / scale, model.intercept_[0]


def rows(files):
    marks, wrong, clean, better = [], [], [], []
    for t in (t for file in files for t in json.loads(open(file).read())):
        for r, f in zip(t["rows"], t["found"]):
            if r[4] == "sixteenth":
                continue
            marks.append(f["marks"])
            wrong.append(r[4] in WRONG)
            clean.append(not t["faulty"])
    return np.array(marks), np.array(wrong), np.array(clean)


x, wrong, clean = rows(RENDERS)
dx, dwrong, dclean = rows(DEVELOP)
weights, shift = fitted(x, ~wrong, dx, ~dwrong, x, held=HELD)
print(f"const SHIFT: f32 = {shift:.4f};")
print(f"const WEIGHTS: [f32; MARKS] = [{', '.join(f'{w:.4f}' for w in weights)}];")
for name, m, w, c in (("renders", x, wrong, clean), ("development", dx, dwrong, dclean)):
    odds = m @ weights + shift
    print(name, len(w), "AUC", round(roc_auc_score(w[~c], -odds[~c]), 4), "own odds alone", round(roc_auc_score(w[~c], -m[~c][:, 0]), 4))
    for limit in np.arange(-3, 3.1, 0.5):
        flagged = odds < limit
        hit = flagged & w
        print(f"  {limit:5.1f}: precision {hit[~c].sum() / max(1, flagged[~c].sum()):.2f} recall {hit[~c].sum() / max(1, w[~c].sum()):.2f} faultless {100 * flagged[c].mean():.2f} %")


def strays(files):
    """Pitches that were reported as unwritten: their marks, and whether something was indeed left out or written elsewhere."""
    marks, true, clean, missed = [], [], [], 0
    for t in (t for file in files for t in json.loads(open(file).read())):
        off = np.median([f["time"] - r[0] for r, f in zip(t["rows"], t["found"])])
        gone = [(n[0], n[2]) for n in t["gone"]]
        gone += [(r[0], r[5]) for r in t["rows"] if r[4] in WRONG and r[5] is not None]
        kept = [n for n in t["notes"]]
        for u in t["unwritten"]:
            at = u["time"] - off
            hit = any(m == u["midi"] and abs(g - at) < 0.12 for g, m in gone)
            moved = any(n[2] == u["midi"] and abs(n[0] - at) < 0.12 for n in kept)
            if moved and not hit:
                continue
            marks.append(u["marks"])
            true.append(hit)
            clean.append(not t["faulty"])
    return np.array(marks), np.array(true), np.array(clean)


x, true, clean = strays(RENDERS)
dx, dtrue, dclean = strays(DEVELOP)
weights, shift = fitted(x, true, dx, dtrue, x)
print(f"const STRAY_SHIFT: f32 = {shift:.4f};")
print(f"const STRAY_WEIGHTS: [f32; STRAY_MARKS] = [{', '.join(f'{w:.4f}' for w in weights)}];")
for name, m, w, c in (("renders", x, true, clean), ("development", dx, dtrue, dclean)):
    odds = m @ weights + shift
    print(name, len(w), w.sum(), "AUC", round(roc_auc_score(w, odds), 4), "odds alone", round(roc_auc_score(w, m[:, 0]), 4))
    for limit in np.arange(-4, 2.1, 0.5):
        kept = odds > limit
        print(f"  {limit:5.1f}: found {(kept & w).sum()} of {w.sum()} that were looked at, false {(kept & ~w).sum()}")


def moved(files):
    """Notes that were looked for elsewhere: their marks, and whether they were indeed moved by a sixteenth."""
    marks, true, clean = [], [], []
    for t in (t for file in files for t in json.loads(open(file).read())):
        for r, f in zip(t["rows"], t["found"]):
            if f["moved_marks"] is not None:
                marks.append(f["moved_marks"])
                true.append(r[4] == "sixteenth")
                clean.append(not t["faulty"])
    return np.array(marks), np.array(true), np.array(clean)


x, true, clean = moved(RENDERS)
dx, dtrue, dclean = moved(DEVELOP)
weights, shift = fitted(x, true, dx, dtrue, np.concatenate([x, dx]), 3000)
print(f"moved_shift: {shift:.4f},")
print(f"moved_weights: [{', '.join(f'{w:.4f}' for w in weights)}],")
for name, m, w, c in (("renders", x, true, clean), ("development", dx, dtrue, dclean)):
    odds = m @ weights + shift
    for limit in np.arange(-1, 2.1, 0.5):
        told = odds > limit
        print(f"  {name} {limit:5.1f}: told {(told & w).sum()} of {w.sum()} that were looked for, false {(told & ~w).sum()}, of faultless parts {(told & c).sum()}")
