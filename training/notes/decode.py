"""A take through the network, and its posteriors as notes (the decoding that training is judged by; the program has its own)."""
import numpy as np
import torch

import features

HOP_S = features.HOP / features.RATE
OPEN = (40, 45, 50, 55, 59, 64)
# Set on the development excerpt and on development renders (`judge.py --tune`).
ONSET, KEEP, SILENT = 0.60, 0.35, 0.30


def posteriors(run, y, a4=440.0, window=860, margin=60):
    """`run` maps spectra [1, 3, T, 249] to the four outputs. Long takes go in windows whose margins are thrown away."""
    y = torch.tensor(features.scaled(y), dtype=torch.float32)[None]
    x = features.Features("cpu", a4)(y)
    t = x.shape[2]
    parts, at = [], 0
    while at < t:
        a, b = max(0, at - margin), min(t, at + window + margin)
        out = run(x[:, :, a:b])
        parts.append([np.asarray(o)[0, at - a: min(at + window, t) - a] for o in out])
        at += window
    return [np.concatenate([p[i] for p in parts]) for i in range(4)]


def network(model):
    """A PyTorch network as `run` for `posteriors`."""
    def run(x):
        with torch.no_grad():
            n, s = model(x)
        return torch.sigmoid(n[..., 0]), torch.sigmoid(n[..., 1]), n[..., 2:], torch.sigmoid(s)
    return run


def notes(post, onset=ONSET, keep=KEEP, silent=SILENT):
    """Notes [(onset s, offset s, midi, strength, frame)]: a peak of the onset's probability over `onset`, highest within two frames to either side, with
    a mean sustain over `keep` in the eight frames after it; it ends where sustain stays under `silent` for three frames, or the pitch is struck again."""
    on, su = post[0], post[1]
    t = len(on)
    found = []
    for p in range(on.shape[1]):
        o = on[:, p]
        peaks = [k for k in np.nonzero(o >= onset)[0] if o[k] == o[max(0, k - 3):k + 4].max() and (k == 0 or o[k] > o[k - 1])]
        peaks = [k for k in peaks if k + 1 < t and su[k + 1:k + 9, p].mean() >= keep]
        for i, k in enumerate(peaks):
            end = peaks[i + 1] if i + 1 < len(peaks) else t
            z = k + 2
            while z < end and su[z:z + 3, p].max() >= silent:
                z += 1
            # The peak between frames, by a parabola.
            d = 0.0
            if 0 < k < t - 1:
                a, b, c = o[k - 1], o[k], o[k + 1]
                d = float(np.clip(0.5 * (a - c) / min(a - 2 * b + c, -1e-6), -0.5, 0.5))
            found.append(((k + d) * HOP_S, max(z, k + 3) * HOP_S, 40 + p, float(o[k]), int(k)))
    return sorted(found)


def evidence(post, found):
    """Log probability of each string for each note: the mean of its logits over the eight frames after the onset, over the strings that hold the pitch."""
    out = np.full((len(found), 6), -np.inf)
    for i, n in enumerate(found):
        ok = np.array([0 <= n[2] - o <= 22 for o in OPEN])
        if ok.any():
            e = post[2][n[4]:n[4] + 9, n[2] - 40].mean(0).astype(float)[ok]
            e -= e.max()
            out[i, ok] = e - np.log(np.exp(e).sum())
    return out


def joined(ways, logs, price=3.0, floor=-6.0):
    """Of several ways through the part (each a string for every note, by a model of the hand), the one that the evidence likes best, changing from one way to
    another at a price. No note counts for more than `floor`."""
    if not len(logs):
        return []
    total, back = None, []
    for i, row in enumerate(np.maximum(logs, floor)):
        here = np.array([row[w[i]] for w in ways])
        if total is None:
            total, step = here, np.arange(len(ways))
        else:
            best = int(total.argmax())
            step = np.where(total >= total[best] - price, np.arange(len(ways)), best)
            total = total[step] - price * (step != np.arange(len(ways))) + here
        back.append(step)
    k, out = int(total.argmax()), []
    for i in range(len(logs) - 1, -1, -1):
        out.append(ways[k][i])
        k = int(back[i][k])
    return out[::-1]


def strings(post, found):
    """A string and fret for each note: the network's evidence, one string a note, and a hand that does not like to move (beam search over strokes)."""
    strokes = []
    for i, n in enumerate(found):
        if strokes and n[0] - found[strokes[-1][0]][0] < 0.04 and len(strokes[-1]) < 6:
            strokes[-1].append(i)
        else:
            strokes.append([i])
    costs = np.minimum(-evidence(post, found), 1e9)
    beam = [(0.0, 3.0, 0.0, ())]
    for stroke in strokes:
        choices = [(0.0, ())]
        for i in stroke:
            # The same string twice in a stroke is nearly out of the question.
            choices = [(c + costs[i][s] + (8.0 if s in used else 0.0), used + (s,)) for c, used in choices for s in range(6) if costs[i][s] < 1e8]
            choices = sorted(choices)[:24]
        nxt = {}
        now = found[stroke[0]][0]
        for total, hand, then, path in beam:
            for c, used in choices:
                frets = [found[i][2] - OPEN[s] for i, s in zip(stroke, used)]
                held = [f for f in frets if f > 0]
                place, wide = (min(held), max(held) - min(held)) if held else (hand, 0)
                inside = max(0, place - hand if place > hand + 3 else 0, hand - place)
                inside = max(inside, max(held) - hand - 4) if held else 0
                move = inside / (1 + 2 * (now - then))
                cost = total + c + 0.25 * move + 0.6 * max(0, wide - 3) + 0.02 * sum(held)
                at = hand if inside == 0 else float(place)
                key = (at, used[-1:] if len(path) else used)
                if key not in nxt or cost < nxt[key][0]:
                    nxt[key] = (cost, at, now, path + used)
        beam = sorted(nxt.values(), key=lambda b: b[0])[:40]
    return list(beam[0][3])
