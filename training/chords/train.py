"""Trains the chord scorer on prepared clips and writes its weights: python3 train.py CLIPS WEIGHTS [ROUNDS]

One small network, the same for each of twelve roots, sees a window's pooled evidence turned to that root and gives a score for each kind of chord on it, one for
being the bass, and its say on whether the window holds a change of chord, or none. All roots' scores together are one choice (softmax). Windows are of
1 to 16 half beats anywhere in the clips; those with a tenth or more of another chord are changes. Seed 7.
"""

import json
import pathlib
import sys

import numpy as np

from labels import KINDS
from windows import INPUTS, NOTES, Pool, inputs, turned_to_roots

Q = len(KINDS)
HIDDEN = (64, 32)
OUT = Q + 3  # kinds, change, none, bass
LENGTHS = [1, 2, 3, 4, 6, 8, 12, 16]


def load(folder):
    clips = []
    for file in sorted(pathlib.Path(folder).glob("*.f32"), key=lambda f: int(f.stem)):
        rows = np.fromfile(file, "<f4").reshape(-1, 2 * NOTES)
        labels, beats, *_ = json.loads(file.with_suffix(".json").read_text())
        if len(rows) > 50:
            clips.append((Pool(rows), labels, np.array(beats), len(rows)))
    return clips


def draw(clips, count, rng):
    """Windows with their targets: a mask over 12 × Q chords, change and none; the bass, or -1."""
    turned, fixed, targets, basses = [], [], [], []
    per = 24
    for which in rng.integers(len(clips), size=count // per):
        pool, labels, beats, rows = clips[which]
        end_all = min(rows * 2048 / 22050, labels[-1][1])
        starts, ends = [], []
        unit = np.median(np.diff(beats)) / 2 * rng.choice([1, 1, 1, 0.8, 1.3])
        for _ in range(per):
            length = unit * rng.choice(LENGTHS)
            if rng.random() < 0.5:
                # From a chord's own beginning, as decoding will mostly find it.
                start = labels[rng.integers(len(labels))][0] + rng.normal(0, 0.03)
            else:
                start = unit * np.floor(rng.uniform(0, max(end_all - length, 0.1)) / unit) + beats[0]
            start = max(0.0, start)
            if start + length > end_all:
                start = max(0.0, end_all - length)
            starts.append(start)
            ends.append(start + length)
        t, f = inputs(pool, starts, ends)
        # Registers louder and softer than they were, as other instruments, rooms and microphones have them.
        gains = np.exp(rng.normal(0, [0.5, 0.25, 0.35, 0.5, 0.3]))[[0, 1, 2, 3, 4, 0, 1, 2, 0, 1, 2]]
        t = t * (gains / np.sqrt(np.mean(gains[:3] ** 2)))[:, None].astype(np.float32)
        for s, e in zip(starts, ends):
            target = np.zeros(12 * Q + 2, np.float32)
            parts = [(min(e, l[1]) - max(s, l[0]), l) for l in labels if l[1] > s and l[0] < e]
            parts.sort(key=lambda p: -p[0])
            # Neighbours of one name are one chord.
            main = parts[0][1]
            same = sum(p[0] for p in parts if p[1][2] == main[2] and p[1][3] == main[3])
            if same < 0.9 * (e - s):
                target[12 * Q] = 1
                basses.append(-1)
            else:
                for k in main[3]:
                    target[main[2] * Q + KINDS.index(k)] = 1
                basses.append(main[4])
            targets.append(target)
        # Windows of nothing but noise are no chord.
        loud = f[:, 1] > 0.03
        for i in np.flatnonzero(~loud):
            targets[len(targets) - per + i][:] = 0
            targets[len(targets) - per + i][12 * Q + 1] = 1
            basses[len(basses) - per + i] = -1
        turned.append(t)
        fixed.append(f)
    return np.concatenate(turned), np.concatenate(fixed), np.array(targets), np.array(basses)


def new(rng):
    sizes = [INPUTS, *HIDDEN, OUT]
    return [p for a, b in zip(sizes, sizes[1:]) for p in (rng.normal(0, np.sqrt(1.5 / a), (a, b)).astype(np.float32), np.zeros(b, np.float32))]


def forward(net, x):
    layers = [x]
    for i in range(0, len(net), 2):
        x = x @ net[i] + net[i + 1]
        if i < len(net) - 2:
            x = np.maximum(x, 0)
        layers.append(x)
    return layers


def scores(net, turned, fixed):
    """Log-probabilities of 12 × Q chords, change, none; of twelve basses; and the layers."""
    x = turned_to_roots(turned, fixed)
    layers = forward(net, x.reshape(-1, INPUTS))
    out = layers[-1].reshape(-1, 12, OUT)
    logits = np.concatenate([out[:, :, :Q].reshape(len(out), -1), out[:, :, Q : Q + 2].mean(1)], 1)
    soft = lambda z: z - z.max(1, keepdims=True) - np.log(np.exp(z - z.max(1, keepdims=True)).sum(1, keepdims=True))
    return soft(logits), soft(out[:, :, Q + 2]), layers


def gradient(net, batch):
    turned, fixed, target, bass = batch
    chords, low, layers = scores(net, turned, fixed)
    n = len(chords)
    p = np.exp(chords)
    inside = p * target
    share = inside.sum(1, keepdims=True)
    loss = -np.log(share + 1e-9).mean()
    d = (p - inside / (share + 1e-9)) / n
    db = np.exp(low)
    has = bass >= 0
    db[np.arange(n), np.maximum(bass, 0)] -= 1
    loss_bass = -low[np.arange(n), np.maximum(bass, 0)][has].mean()
    db *= 0.5 * has[:, None] / n
    out = np.zeros((n, 12, OUT), np.float32)
    out[:, :, :Q] = d[:, : 12 * Q].reshape(n, 12, Q)
    out[:, :, Q : Q + 2] = d[:, None, 12 * Q :] / 12
    out[:, :, Q + 2] = db
    g, grads = out.reshape(-1, OUT), []
    for i in range(len(net) - 2, -1, -2):
        grads = [layers[i // 2].T @ g, g.sum(0)] + grads
        if i:
            g = (g @ net[i].T) * (layers[i // 2] > 0)
    return loss, loss_bass, grads, chords


def write(net, path):
    """The layers in order, weights by input then output, then offsets: 16-bit floats."""
    pathlib.Path(path).write_bytes(b"".join(p.astype("<f2").tobytes() for p in net))


def main(folder, path, rounds):
    rng = np.random.default_rng(7)
    clips = load(folder)
    held, clips = clips[::12], [c for i, c in enumerate(clips) if i % 12]
    test = draw(held, 3000, np.random.default_rng(1))
    net = new(rng)
    m, v = [np.zeros_like(p) for p in net], [np.zeros_like(p) for p in net]
    step, total = 0, rounds * 150
    for round in range(rounds):
        seen = []
        for _ in range(10):
            pool = draw(clips, 15 * 192, rng)
            order = rng.permutation(len(pool[0]))
            for at in range(0, len(order) - 191, 192):
                part = order[at : at + 192]
                loss, loss_bass, grads, _ = gradient(net, [a[part] for a in pool])
                seen.append((loss, loss_bass))
                step += 1
                rate = 2e-3 * min(1, step / 100) * (0.5 + 0.5 * np.cos(np.pi * step / total))
                for i, g in enumerate(grads):
                    m[i] += 0.1 * (g - m[i])
                    v[i] += 0.001 * (g * g - v[i])
                    net[i] -= rate * (m[i] / (1 - 0.9**step) / (np.sqrt(v[i] / (1 - 0.999**step)) + 1e-8) + (1e-4 * net[i] if net[i].ndim == 2 else 0))
        chords, low, _ = scores(net, test[0], test[1])
        right = test[2][np.arange(len(chords)), chords.argmax(1)] > 0
        has = test[3] >= 0
        best = chords[:, : 12 * Q].argmax(1)
        in_chord = test[2][np.arange(len(chords)), best] > 0
        print(f"round {round}: loss {np.mean(seen, 0).round(3)}, held out {-np.log((np.exp(chords) * test[2]).sum(1) + 1e-9).mean():.3f}, right {right.mean():.3f}, in a chord {in_chord[has].mean():.3f}, bass {(low.argmax(1) == test[3])[has].mean():.3f}", flush=True)
        write(net, path)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]) if len(sys.argv) > 3 else 40)
