"""Weights of `crates/hear/src/key.rs`, learned from the notes of players 00 and 01: python3 key.py ANNOTATIONS

How long each class sounds over the tonic: in all, in the bass, in the first two and a half seconds, in the last. One weight for each of these and each mode, starting from the
probe-tone profiles and held near them; all 24 keys are one choice (softmax). No order of notes is seen. Prints the weights and what is reached where the pieces of one
group as one player plays them are judged by weights learned on the others as another plays them (weighted as the field does), for all players play the same pieces.
"""

import json
import pathlib
import sys

import numpy as np

from clips import performance
from labels import pitch_class

PROFILES = np.array([[6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88], [6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17]])
CLOSE_TO, RATE, STEPS, ENDS_S = 0.03, 0.5, 400, 2.5


def heard(notes):
    parts = np.zeros((4, 12))
    end = max(o + d for o, d, *_ in notes)
    for onset, seconds, midi, *_ in notes:
        midi = round(midi)
        # A little of the overtones' fifth and third leaks in, as it does from sound.
        for over, share in ((0, 1), (7, 0.12), (4, 0.06)):
            weight, c = share * min(seconds, 1.5) ** 0.7, (midi + over) % 12
            parts[0, c] += weight
            parts[1, c] += weight * max(0, 1 - (max(midi, 43) - 43) / 12)
            parts[2, c] += weight * (onset > end - ENDS_S)
            parts[3, c] += weight * (onset < ENDS_S)
    return parts / (np.linalg.norm(parts, axis=1, keepdims=True) + 1e-9)


def logits(weights, offsets, views):
    return np.concatenate([views @ weights[m] + offsets[m] for m in (0, 1)], 1)


def learn(views, keys):
    centred = PROFILES - PROFILES.mean(1, keepdims=True)
    start = np.zeros((2, 48))
    start[:, :12] = 6 * centred / np.linalg.norm(centred, axis=1, keepdims=True)
    weights, offsets = start.copy(), np.zeros(2)
    for _ in range(STEPS):
        z = logits(weights, offsets, views)
        d = np.exp(z - z.max(1, keepdims=True))
        d /= d.sum(1, keepdims=True)
        d[np.arange(len(keys)), keys] -= 1
        d /= len(keys)
        weights = weights - RATE * (np.stack([np.einsum("nt,ntf->f", d[:, 12 * m : 12 * m + 12], views) for m in (0, 1)]) + CLOSE_TO * (weights - start))
        offsets = offsets - RATE / 2 * np.array([d[:, :12].sum(), d[:, 12:].sum()])
    return weights, offsets


def worth(truth, found):
    (a, m), (b, n) = (truth % 12, truth // 12), (found % 12, found // 12)
    if truth == found:
        return 1.0
    if m == n and (b - a) % 12 == 7:
        return 0.5
    if m != n and (b - a) % 12 == (9 if m == 0 else 3):
        return 0.3
    return 0.2 if a == b else 0.0


def main(folder):
    views, keys, groups, players = [], [], [], []
    for file in sorted(f for p in ("00", "01") for f in pathlib.Path(folder).glob(f"{p}_*.jams")):
        tonic, mode = next(a["data"][0]["value"] for a in json.loads(file.read_text())["annotations"] if a["namespace"] == "key_mode").split(":")
        views.append(heard(performance(file)[0])[:, (np.arange(12)[:, None] + np.arange(12)) % 12].transpose(1, 0, 2).reshape(12, 48))
        keys.append(pitch_class(tonic) + 12 * (mode == "minor"))
        groups.append(file.stem.split("_")[1].split("-")[0])
        players.append(file.stem[:2])
    views, keys, groups, players = np.array(views), np.array(keys), np.array(groups), np.array(players)
    rate = lambda model, which: [worth(k, f) for k, f in zip(keys[which], logits(*model, views[which]).argmax(1))]
    model = learn(views, keys)
    for m in range(2):
        print("    [\n" + "".join(f"        [{', '.join(f'{x:.2f}' for x in model[0][m, 12 * k : 12 * k + 12])}],\n" for k in range(4)) + "    ],")
    # Not in the program: how many of these pieces are in major says nothing of others.
    print("offsets", model[1], "on what it learned from", np.mean(rate(model, groups != "")))
    apart = lambda g, p: rate(learn(views[(groups != g) & (players != p)], keys[(groups != g) & (players != p)]), (groups == g) & (players == p))
    print("one group of pieces, one player, judged by the others:", np.mean(sum((apart(g, p) for g in sorted(set(groups)) for p in sorted(set(players))), [])))


if __name__ == "__main__":
    main(sys.argv[1])
