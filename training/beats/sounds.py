"""Single sounds to build clips from: guitars (sampled, of a soundfont, and a plain model of a plucked string), a bass (the model alone), scratches, drums (of the soundfont and
made of noise and sines). All at 22,050 samples a second, beginning at their onset. What `checks/hear/renders.py` plays with is not among them.
"""
import pathlib
import re
import sys

import numpy as np
import scipy.signal as sig
import soundfile

sys.path.append(str(pathlib.Path(__file__).resolve().parents[1]))
from soundfont import RATE, Soundfont  # noqa: E402

LOWEST, HIGHEST = 38, 90
NAMES = {n: i for i, n in enumerate(["c", "db", "d", "eb", "e", "f", "gb", "g", "ab", "a", "bb", "b"])}


def read(file, seconds):
    x, rate = soundfile.read(file, dtype="float32")
    x = x if x.ndim == 1 else x.mean(axis=1)
    if rate != RATE:
        x = sig.resample_poly(x, RATE, rate).astype(np.float32)
    return cut(x, seconds)


def pluck(hz, rng, seconds, bright):
    """A string after Karplus and Strong (1983): a burst of noise in a loop that loses its overtones first."""
    n = int(seconds * RATE)
    period = RATE / hz
    whole = int(period - 0.5)
    part = period - 0.5 - whole
    burst = rng.uniform(-1, 1, whole + 1)
    burst = sig.lfilter([1 - bright], [1, -bright], burst)
    x = np.zeros(n)
    x[:whole + 1] = burst
    a = np.zeros(whole + 3)
    loss = 0.5 ** (1 / (hz * rng.uniform(0.25, 0.9)))
    a[0] = 1
    for k, w in ((0, (1 - part) * 0.5), (1, 0.5), (2, part * 0.5)):
        a[whole + k] -= loss * w
    y = sig.lfilter([1], a, x)
    return (y / (np.abs(y).max() + 1e-9)).astype(np.float32)


def cut(x, seconds=2.6):
    """From where it first comes near its loudest, less two milliseconds, with its end faded."""
    x = x / (np.abs(x).max() + 1e-9)
    start = max(np.argmax(np.abs(x) > 0.12) - 44, 0)
    x = x[start:start + int(seconds * RATE)].copy()
    fade = min(len(x), 2000)
    x[-fade:] *= np.linspace(1, 0, fade)
    return x.astype(np.float32)


class Sounds:
    def __init__(self, folder, soundfont, rng):
        self.guitars, found = {}, {}
        for file in sorted((folder / "samples" / "electric-by-string").glob("*.ogg")):
            m = re.match(r"[A-G]\d?_([A-G]b?)(\d)_", file.name)
            if m:
                found.setdefault(12 * (int(m[2]) + 1) + NAMES[m[1].lower()], []).append(read(file, 2.6))
        self.guitars["electric-by-string"] = self.spread(found, rng)
        font = Soundfont(soundfont)
        # Nylon, steel, hollow, clean, muted, driven.
        for number, decay in ((24, 1.2), (25, 1.6), (26, 1.4), (27, 2.0), (28, 0.4), (29, 4.0)):
            play = font.program(number, decay_s=decay)
            self.guitars[f"font-{number}"] = {m: [cut(play(m, 2.4, rng)) for _ in range(2)] for m in range(LOWEST, HIGHEST)}
        self.guitars["pluck"] = {m: [pluck(440 * 2 ** ((m - 69) / 12), rng, 2.2, rng.uniform(0.2, 0.9)) for _ in range(2)] for m in range(LOWEST, HIGHEST)}
        self.bass = [{m: pluck(440 * 2 ** ((m - 69) / 12), rng, 1.8, bright) for m in range(24, 60)} for bright in (0.6, 0.85, 0.95)]
        noises = sorted((folder / "samples" / "noises").glob("*.ogg"))
        self.scratches = [read(f, 0.4) for f in noises if f.name.startswith(("muted", "pickrest"))]
        for _ in range(20):
            n = int(rng.uniform(0.03, 0.12) * RATE)
            b = sig.butter(2, np.sort(rng.uniform(0.02, 0.6, 2)) + [0, 0.05], "band")
            x = sig.lfilter(*b, rng.standard_normal(n)) * np.exp(-np.arange(n) / (n / 5))
            self.scratches.append((x / np.abs(x).max()).astype(np.float32))
        for _ in range(20):
            # Strings struck under a hand that damps them.
            strings = sum(pluck(440 * 2 ** ((m - 69) / 12), rng, 0.2, rng.uniform(0.2, 0.9)) for m in rng.choice(np.arange(40, 66), rng.integers(2, 6), replace=False))
            x = strings * np.exp(-np.arange(len(strings)) / (rng.uniform(0.006, 0.03) * RATE))
            self.scratches.append((x / np.abs(x).max()).astype(np.float32))
        keys = {"kick": (35, 36), "snare": (38, 40, 37, 39), "hat": (42, 44), "ride": (46, 51, 53, 59, 54, 70), "crash": (49, 57, 55), "tom": (41, 43, 45, 47, 48, 50)}
        kits = [font.program(kit, bank=128) for kit in (0, 8, 16, 25, 40)]
        self.drums = {k: [cut(kit(key, 1.2, rng)) for kit in kits for key in some] for k, some in keys.items()}
        t = np.arange(int(0.3 * RATE)) / RATE
        for _ in range(5):
            low, drop = rng.uniform(42, 65), rng.uniform(40, 160)
            self.drums["kick"].append((np.sin(2 * np.pi * (low * t + drop / 40 * (1 - np.exp(-40 * t)))) * np.exp(-t / rng.uniform(0.05, 0.15))).astype(np.float32))
            noise = rng.standard_normal(len(t))
            body = np.sin(2 * np.pi * rng.uniform(160, 260) * t) * np.exp(-t / 0.05)
            self.drums["snare"].append((0.5 * body + 0.3 * sig.lfilter(*sig.butter(1, 0.1, "high"), noise) * np.exp(-t / rng.uniform(0.04, 0.12))).astype(np.float32))
            high = sig.lfilter(*sig.butter(3, 0.5, "high"), noise)
            self.drums["hat"].append((0.6 * high * np.exp(-t / rng.uniform(0.01, 0.05))).astype(np.float32))
            self.drums["ride"].append((0.5 * high * np.exp(-t / rng.uniform(0.08, 0.2))).astype(np.float32))

    def spread(self, found, rng):
        """Every semitone from the nearest samples, two of each."""
        have = np.array(sorted(found))
        out = {}
        for midi in range(LOWEST, HIGHEST):
            near = have[np.argsort(np.abs(have - midi), kind="stable")[:2]]
            out[midi] = []
            for m in near:
                x = found[m][rng.integers(len(found[m]))]
                step = 2 ** ((midi - m) / 12)
                out[midi].append(np.interp(np.arange(0, len(x) - 1, step), np.arange(len(x)), x).astype(np.float32))
        return out


def add(out, sound, time, gain, duration=None):
    """Mixes a sound in at a time in seconds, damped after its duration."""
    at = int(round(time * RATE))
    if at < 0:
        sound, at = sound[-at:], 0
        duration = duration if duration is None else max(duration + time, 0.0)
    n = min(len(sound), len(out) - at)
    if n <= 0:
        return
    if duration is None:
        out[at:at + n] += gain * sound[:n]
        return
    hold = max(int(duration * RATE), 60)
    if hold >= n:
        out[at:at + n] += gain * sound[:n]
        return
    end = min(n, hold + 1300)
    part = gain * sound[:end]
    part[hold:] *= np.exp(-np.arange(end - hold) / 260.0)
    out[at:at + end] += part


def coloured(x, rng):
    """A room, an amplifier, a microphone: never the same twice."""
    if rng.random() < 0.35:
        n = int(rng.uniform(0.15, 1.0) * RATE)
        tail = rng.standard_normal(n) * np.exp(-np.arange(n) / (n / 5)) * (rng.random(n) < 0.5)
        tail[0] = 0
        x = x + rng.uniform(0.02, 0.25) * sig.fftconvolve(x, tail / np.sqrt((tail**2).sum()))[:len(x)]
    tilt = rng.uniform(-0.6, 0.6)
    x = sig.lfilter([1, -max(tilt, 0)], [1, min(tilt, 0)], x)
    if rng.random() < 0.3:
        x = sig.lfilter(*sig.butter(1, rng.uniform(60, 300) / (RATE / 2), "high"), x)
    if rng.random() < 0.3:
        x = sig.lfilter(*sig.butter(1, rng.uniform(2500, 9000) / (RATE / 2)), x)
    x = x / (np.abs(x).max() + 1e-9)
    if rng.random() < 0.3:
        drive = rng.uniform(1, 8)
        x = np.tanh(drive * x) / np.tanh(drive)
    if rng.random() < 0.6:
        x = x + 10 ** rng.uniform(-4, -2.2) * rng.standard_normal(len(x))
    return 0.9 * x / (np.abs(x).max() + 1e-9)
