#!/usr/bin/env python3
"""Weights of the marks that harmony over time is judged by, from players 00 and 01 of the annotations alone.

    checks/names/tune.py FOLDER            # writes crates/pitch/src/harmony/weights.rs
    checks/names/tune.py FOLDER --cross    # how far the tuning holds: one player's weights on the other

The probability of root and core is a softmax over all 180 of a stretch, its exponent the weighted sum of the marks; the weights maximise the
likelihood of the annotated ones, with a Gaussian prior of variance 0.3 on each (of 3, 1, .5, .3, .15 and .08 as good as any by --cross). No mark knows the stretches around, so no progression is learned.
"""
import argparse, pathlib, subprocess
import numpy as np
from scipy.optimize import minimize
from annotations import pieces

ROOT = pathlib.Path(__file__).resolve().parents[2]
THIRDS, SEVENTHS = [4, 3, None], [None, 10, 11, 9]
CORES = [(t, 7, s) for t in THIRDS for s in SEVENTHS] + [(3, 6, None), (3, 6, 10), (3, 6, 9)]


def core_of(bits):
    """The core nearest to an annotated label: its index."""
    third = 4 if bits[4] else 3 if bits[3] else None
    dim = third == 3 and bits[6] and not bits[7]
    seventh = 10 if bits[10] else 11 if bits[11] and not dim else 9 if bits[9] and (bits[7] or not bits[6] or dim) else None
    return CORES.index((third, 6 if dim else 7, seventh))


def text(some, key=True):
    lines = []
    for name, tonality, notes, stretches in some:
        lines.append(f"piece {name} {tonality if key else ''}")
        lines += [f"note {a} {b} {m}" for a, b, m, _ in notes]
        lines += [f"stretch {s.start} {s.end}" for s in stretches]
    return "\n".join(lines) + "\n"


def marks(some):
    cmd = ["cargo", "run", "--release", "-q", "-p", "pitch", "--example", "harmony", "--", "marks"]
    raw = subprocess.run(cmd, input=text(some).encode(), check=True, cwd=ROOT, stdout=subprocess.PIPE).stdout
    x = np.frombuffer(raw, "<f4").astype(float)
    y = np.array([s.root * len(CORES) + core_of(s.bits) for p in some for s in p[3]])
    return x.reshape(len(y), 12 * len(CORES), -1), y


def fit(x, y, variance=0.3):
    each = np.arange(len(y))

    def loss(w):
        s = x @ w
        top = s.max(1, keepdims=True)
        e = np.exp(s - top)
        z = e.sum(1)
        gradient = x[each, y].sum(0) - np.einsum("nc,ncf->f", e / z[:, None], x)
        value = (s[each, y] - top[:, 0] - np.log(z)).sum()
        return -value + w @ w / (2 * variance), -gradient + w / variance

    return minimize(loss, np.zeros(x.shape[2]), jac=True, method="L-BFGS-B", options={"maxiter": 1000}).x


def alone(w, x, y):
    """Root first, root among three, root and core, of stretches without their neighbours."""
    s = (x @ w).reshape(len(y), 12, -1)
    order = np.argsort(-s.max(2), axis=1)
    root, core = y // len(CORES), y % len(CORES)
    first = order[:, 0] == root
    return first.mean(), (order[:, :3] == root[:, None]).any(1).mean(), (first & (s[np.arange(len(y)), root].argmax(1) == core)).mean()


def write(w):
    lines = [
        "//! Weights of the marks, in their order in `evidence`.",
        "//!",
        "//! Tuned by `checks/names/tune.py` on the comping annotations of players 00 and 01 of GuitarSet (Q. Xi, R. Bittner, J. Pauwels, X. Ye,",
        "//! J. P. Bello, ISMIR 2018, CC BY 4.0); do not edit by hand.",
        "",
        "use super::MARKS;",
        "",
        "#[rustfmt::skip]",
        "pub(super) const WEIGHTS: [f64; MARKS] = [",
    ]
    for i in range(0, len(w), 10):
        lines.append("    " + " ".join(f"{v:.3f}," for v in w[i : i + 10]))
    (ROOT / "crates/pitch/src/harmony/weights.rs").write_text("\n".join(lines) + "\n];\n")


if __name__ == "__main__":
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("folder")
    p.add_argument("--cross", action="store_true")
    a = p.parse_args()
    if a.cross:
        some = {q: marks(list(pieces(a.folder, [q]))) for q in ("00", "01")}
        for one, other in (("00", "01"), ("01", "00")):
            print(f"tuned on {one}, judged on {other}: root %.3f, among three %.3f, root and core %.3f" % alone(fit(*some[one]), *some[other]))
    else:
        x, y = marks(list(pieces(a.folder, ["00", "01"])))
        w = fit(x, y)
        print("%d stretches: root %.3f, among three %.3f, root and core %.3f" % (len(y), *alone(w, x, y)))
        write(w)
