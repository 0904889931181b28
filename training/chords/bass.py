"""What the bass listener sees, as `crates/hear/src/bass.rs` does it, and its training: python3 bass.py CLIPS WEIGHTS [ROUNDS]

Moments at which something in the lower end sets in are judged one by one: a small network, the same for each of 34 notes, sees the levels at that note's partials
before and after, and gives a score for the note setting in in the bass, and its say on whether none does; all notes together are one choice (softmax). Trained on the
clips that chords are trained on; a moment within 40 ms of a bass note's beginning is that note. Seed 11.
"""

import json
import pathlib
import sys

import numpy as np

LOW, SEMIS = 23, 61
HOP_S = 64 / (22050 / 8)
PITCHES = np.arange(24, 58)
PARTIALS = [0, 12, 19, 24, 28, 31, 34, 36]
LONG_TIMES, LONG_AT = [-16, -8, -3, 4, 8, 14], [*PARTIALS, -12, 7, 16, -1, 1]
SHORT_TIMES, SHORT_AT = [-6, -3, -1, 0, 1, 2, 3, 4, 6, 9], [*PARTIALS[:6], -12, 7]
FIXED = 5
INPUTS = len(LONG_TIMES) * len(LONG_AT) + len(SHORT_TIMES) * len(SHORT_AT) + FIXED
HIDDEN = (64, 24)


def rises(rows):
    """How much the lower end rises around each row."""
    short = rows[:, SEMIS:]
    pad = np.pad(short, ((0, 0), (1, 1)))
    around = np.maximum(np.maximum(pad[:, :-2], pad[:, 1:-1]), pad[:, 2:])
    out = np.zeros(len(rows))
    out[1:-1] = np.maximum(short[2:, :42] - around[:-2, :42], 0).sum(1)
    return out


def moments(rise):
    """Rows at which it sets in: the highest of five, a twentieth of the most within two seconds."""
    reach = round(2 / HOP_S)
    out = []
    for k in range(2, len(rise) - 2):
        if rise[k] >= rise[k - 2 : k + 3].max() and rise[k] > rise[k - 1] and rise[k] > 0.15 and rise[k] > rise[max(0, k - reach) : k + reach + 1].max() / 20:
            out.append(k)
    return np.array(out, int)


def view(rows, rise, at):
    """(moments, 34, INPUTS)."""
    margin = 40
    long = np.pad(rows[:, :SEMIS], ((24, 24), (margin, margin)))
    short = np.pad(rows[:, SEMIS:], ((24, 24), (margin, margin)))
    pitch = PITCHES - LOW + margin
    parts = [long[at + 24 + t][:, pitch + o] for t in LONG_TIMES for o in LONG_AT]
    parts += [short[at + 24 + t][:, pitch + o] for t in SHORT_TIMES for o in SHORT_AT]
    after = rows[np.minimum(at + 2, len(rows) - 1), SEMIS:]
    one = np.ones(len(PITCHES))
    parts += [v[:, None] * one for v in (rise[at] / 10, after[:, :20].mean(1), after[:, 20:40].mean(1), after[:, 40:].mean(1))]
    parts.append(np.broadcast_to((PITCHES - 40) / 12, (len(at), len(PITCHES))))
    return np.stack(parts, -1).astype(np.float32)


def load(folder):
    xs, ys, clips = [], [], []
    for file in sorted(pathlib.Path(folder).glob("*.low"), key=lambda f: int(f.name.split(".")[0])):
        rows = np.fromfile(file, "<f4").reshape(-1, 2 * SEMIS)
        parts = json.loads((file.parent / (file.name.split(".")[0] + ".json")).read_text())
        if len(parts) < 3 or len(rows) < 100:
            continue
        rise = rises(rows)
        at = moments(rise)
        line = np.array(parts[2]).reshape(-1, 3)
        y = np.full(len(at), len(PITCHES))
        for onset, _, midi in line:
            near = np.abs(at * HOP_S - SHIFT_S - onset)
            if len(at) and near.min() < 0.04:
                y[near.argmin()] = round(midi) - PITCHES[0]
        clips.append((rows, line))
        xs.append(view(rows, rise, at))
        ys.append(y)
    return xs, ys, clips


# How much later a rise is seen than a note begins (measured on the clips).
SHIFT_S = 0.0


def new(rng):
    sizes = [INPUTS, *HIDDEN, 2]
    return [p for a, b in zip(sizes, sizes[1:]) for p in (rng.normal(0, np.sqrt(1.5 / a), (a, b)).astype(np.float32), np.zeros(b, np.float32))]


def scores(net, x):
    layers = [x.reshape(-1, INPUTS)]
    for i in range(0, len(net), 2):
        y = layers[-1] @ net[i] + net[i + 1]
        layers.append(np.maximum(y, 0) if i < len(net) - 2 else y)
    out = layers[-1].reshape(len(x), len(PITCHES), 2)
    logits = np.concatenate([out[..., 0], out[..., 1].mean(1, keepdims=True)], 1)
    top = logits.max(1, keepdims=True)
    return logits - top - np.log(np.exp(logits - top).sum(1, keepdims=True)), layers


def gradient(net, x, y):
    logs, layers = scores(net, x)
    d = np.exp(logs)
    d[np.arange(len(y)), y] -= 1
    d /= len(y)
    g = np.stack([d[:, :-1], np.repeat(d[:, -1:], len(PITCHES), 1) / len(PITCHES)], -1).reshape(-1, 2).astype(np.float32)
    grads = []
    for i in range(len(net) - 2, -1, -2):
        grads = [layers[i // 2].T @ g, g.sum(0)] + grads
        if i:
            g = (g @ net[i].T) * (layers[i // 2] > 0)
    return -logs[np.arange(len(y)), y].mean(), grads


def main(folder, path, rounds):
    rng = np.random.default_rng(11)
    xs, ys, clips = load(folder)
    held = slice(0, None, 10)
    test_x, test_y = np.concatenate(xs[held]), np.concatenate(ys[held])
    x = np.concatenate([v for i, v in enumerate(xs) if i % 10])
    y = np.concatenate([v for i, v in enumerate(ys) if i % 10])
    net = new(rng)
    m, v, step = [np.zeros_like(p) for p in net], [np.zeros_like(p) for p in net], 0
    total = rounds * (len(y) // 64)
    for round in range(rounds):
        order, losses = rng.permutation(len(y)), []
        for at in range(0, len(order) - 63, 64):
            part = order[at : at + 64]
            # Louder and softer than it was; partials above the fundamental more or less.
            batch = np.clip(x[part] + rng.normal(0, 0.05, (64, 1, 1)).astype(np.float32) * (x[part] > 0.02), 0, None) if rng.random() < 0.7 else x[part].copy()
            batch[..., -1] = x[part][..., -1]
            loss, grads = gradient(net, batch, y[part])
            losses.append(loss)
            step += 1
            rate = 2e-3 * min(1, step / 100) * (0.5 + 0.5 * np.cos(np.pi * step / total))
            for i, g in enumerate(grads):
                m[i] += 0.1 * (g - m[i])
                v[i] += 0.001 * (g * g - v[i])
                net[i] -= rate * (m[i] / (1 - 0.9**step) / (np.sqrt(v[i] / (1 - 0.999**step)) + 1e-8) + (1e-4 * net[i] if net[i].ndim == 2 else 0))
        logs, _ = scores(net, test_x)
        best = logs.argmax(1)
        note = test_y < len(PITCHES)
        right = (best == test_y)[note].sum()
        print(f"round {round}: loss {np.mean(losses):.3f}, held out {-logs[np.arange(len(test_y)), test_y].mean():.3f}; recall {right / note.sum():.3f}, precision {right / max(1, (best < len(PITCHES)).sum()):.3f} of moments", flush=True)
        pathlib.Path(path).write_bytes(b"".join(p.astype("<f2").tobytes() for p in net))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]) if len(sys.argv) > 3 else 12)
