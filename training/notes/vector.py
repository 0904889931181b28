"""An example for whoever computes the spectra and runs the network elsewhere: `vector.py WEIGHTS.onnx OUT.json`.

The sound is a sum of decaying partials given by a formula, so that no audio file is needed. The file holds a few frames of all three spectra and, of every
output, the places that say something; what `strings` holds are the six logits at each listed note.
"""
import json
import sys

import numpy as np
import torch

import decode
import features
import judge

# Onset (s), MIDI, amplitude, seconds to fall by e.
NOTES = [(0.25, 45, 0.30, 0.9), (0.25, 52, 0.22, 0.8), (0.262, 57, 0.2, 0.7), (0.9, 64, 0.25, 0.5), (1.4, 61, 0.12, 0.4), (1.4, 45, 0.30, 0.9)]
SECONDS = 2.0


def sound():
    """y[n] = sum over notes and partials k = 1..12 under 10 kHz of a / k * exp(-(t - on) (1 + 0.3 k) / tau) * sin(2 pi k f (t - on)), t = n / 22050, from
    `on`; times a rise of 2 ms, min(1, (t - on) / 0.002)."""
    t = np.arange(int(SECONDS * features.RATE)) / features.RATE
    y = np.zeros(len(t))
    for on, midi, a, tau in NOTES:
        f = 440 * 2 ** ((midi - 69) / 12)
        d = np.maximum(t - on, 0)
        for k in range(1, 13):
            if k * f < 10000:
                y += np.where(t >= on, a / k * np.exp(-d * (1 + 0.3 * k) / tau) * np.sin(2 * np.pi * k * f * d) * np.minimum(1, d / 0.002), 0)
    return y


def main(weights, out):
    y = sound()
    scaled = features.scaled(y)
    x = features.Features("cpu")(torch.tensor(scaled, dtype=torch.float32)[None])
    post = decode.posteriors(judge.runner(weights), y)
    frames = [0, 22, 30, 80, 122, x.shape[2] - 1]
    found = decode.notes(post)
    r = lambda a: [round(float(v), 5) for v in np.asarray(a).ravel()]
    shown = sorted({(int(f), int(p)) for f, p in np.argwhere(post[0] > 0.1)} | {(int(f), int(p)) for f, p in np.argwhere(post[1][::16] > 0.2) * [16, 1]})
    json.dump({
        "formula": sound.__doc__.replace("\n    ", " "), "notes": NOTES, "samples": len(y), "scale": float(scaled[np.abs(y).argmax()] / y[np.abs(y).argmax()]),
        "frames": int(x.shape[2]), "spectra": {str(f): [r(x[0, w, f]) for w in range(3)] for f in frames},
        "onset_and_sustain": [[f, 40 + p, *r([post[0][f, p], post[1][f, p]])] for f, p in shown],
        "strings": [[n[4], n[2], *r(post[2][n[4], n[2] - 40])] for n in found], "scratch": r(post[3]),
        "found": [[round(n[0], 4), round(n[1], 4), n[2], round(n[3], 4)] for n in found]}, open(out, "w"), indent=None, separators=(",", ":"))
    print(len(found), "notes found:", [(round(n[0], 3), n[2], round(n[3], 2)) for n in found])


if __name__ == "__main__":
    main(*sys.argv[1:])
