"""Pitch reference of plucked mixtures made here, beside a general library's estimate.

Run from the repository's root: python3 checks/hear/tuning.py
Makes a virtual environment under target/, installs numpy, soundfile and librosa from the package registry, and listens with
`cargo run --release -p hear --example hear` (or the program in the folder EXAMPLES).

The sounds: twelve seconds of four six-note grips, two of them strummed in each second and a half, as sums of decaying partials, offsets from
-50 to 50 cents. Ideal strings have harmonic partials and are in tune with each other. Uneven ones are each out of tune by up to 5 cents
(together by nothing, so that the offset is what a listener means), stiff (inharmonicity 0.00003 to 0.0003), sound at levels
12 dB apart, glide down by up to 3 cents after the pluck, over noise 45 dB down. A third set drifts by 20 cents. Fails where the mean error is over
0.3 cents (ideal) or 1.0 (uneven).
"""

import sys

from listening import WORK, enter, hear

enter(__file__)

import librosa
import numpy as np
import soundfile

RATE = 44100
GRIPS = [[40, 47, 52, 56, 59, 64], [45, 52, 57, 60, 64, 69], [43, 50, 55, 59, 62, 67], [42, 49, 54, 57, 61, 66]]


def record(rng, cents, uneven, drift=0.0, seconds=12):
    out = np.zeros(seconds * RATE)
    off = np.zeros(6)
    stiff = np.zeros(6)
    level = np.ones(6)
    if uneven:
        off = rng.uniform(-5, 5, 6)
        off -= off.mean()
        stiff = 10 ** rng.uniform(np.log10(3e-5), np.log10(3e-4), 6)
        level = 10 ** (rng.uniform(-12, 0, 6) / 20)
    starts = np.arange(0, seconds - 0.5, 0.75)
    for i, start in enumerate(starts):
        grip = GRIPS[i // 4 % 4]
        for s, midi in enumerate(grip):
            begin = int((start + 0.012 * s + (rng.uniform(0, 0.01) if uneven else 0)) * RATE)
            length = min(len(out) - begin, int(0.75 * RATE))
            if length <= 0:
                continue
            t = np.arange(length) / RATE
            glide = 3 * rng.uniform(0, 1) * np.exp(-t / 0.08) if uneven else 0
            moved = cents + off[s] + glide + drift * (begin / RATE + t) / seconds
            f0 = 440 * 2 ** ((midi - 69 + moved / 100) / 12) * np.ones(length)
            place = rng.uniform(0.08, 0.25)
            for n in range(1, 16):
                f = n * f0 * np.sqrt(1 + stiff[s] * n * n)
                # Damped by the hand, not cut off.
                a = np.minimum(1, (length - np.arange(length)) / 400) * np.sin(np.pi * n * place) / n**1.5 * np.exp(-t * (1.2 + 0.35 * n))
                out[begin : begin + length] += level[s] * a * np.sin(2 * np.pi * np.cumsum(f) / RATE)
    out /= np.abs(out).max() * 1.5
    return out + (10 ** (-45 / 20) * np.sqrt(np.mean(out**2)) * rng.standard_normal(len(out)) if uneven else 0)


def apart(a, b):
    return abs((a - b + 50) % 100 - 50)


WORK.mkdir(parents=True, exist_ok=True)
faults = 0
step = 20 if "--quick" in sys.argv else 4
for name, uneven, limit in (("ideal", False, 0.3), ("uneven", True, 1.0)):
    rng = np.random.default_rng(11)
    offsets = np.arange(-50, 51, step)
    files, library = [], []
    for cents in offsets:
        sound = record(rng, cents, uneven)
        files.append(WORK / f"tuning-{name}-{cents}.wav")
        soundfile.write(files[-1], sound, RATE)
        library.append(100 * librosa.estimate_tuning(y=librosa.resample(sound, orig_sr=RATE, target_sr=22050), sr=22050))
    answers = [h["pitch_reference"] for h in hear(files)]
    ours = np.array([apart(a["cents"], c) for a, c in zip(answers, offsets)])
    theirs = np.array([apart(a, c) for a, c in zip(library, offsets)])
    weakest = min(a["confidence"] for a in answers)
    print(f"{name}: mean error {ours.mean():.3f} cents, worst {ours.max():.3f} (library {theirs.mean():.2f}, {theirs.max():.2f}); least confidence {weakest:.2f}")
    faults += ours.mean() > limit
rng = np.random.default_rng(12)
for drift in (-20, 20):
    file = WORK / "tuning-drift.wav"
    soundfile.write(file, record(rng, 10, True, drift, 60), RATE)
    answer = hear([file])[0]["pitch_reference"]
    errors = [p["cents"] - 10 - drift * p["time"] / 60 for p in answer["over_time"]]
    print(f"drift of {drift} cents in 60 s: {len(errors)} points, root mean square error {np.sqrt(np.mean(np.square(errors))):.2f} cents; the whole {answer['cents'] - 10 - drift / 2:+.2f}")
    faults += np.sqrt(np.mean(np.square(errors))) > 2.0
sys.exit(1 if faults else 0)
