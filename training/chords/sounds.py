"""Single notes to play clips with: recorded samples, a plucked model, instruments of a soundfont, struck drums; and rooms to play them in.

Every source is a function of a MIDI number, a length in seconds and a random generator, and gives mono samples at RATE.
"""

import pathlib
import re
import sys

import numpy as np
import soundfile
from scipy.fft import next_fast_len
from scipy.signal import fftconvolve, lfilter

sys.path += [str(pathlib.Path(__file__).resolve().parents[1]), str(pathlib.Path(__file__).resolve().parents[1] / "notes")]
from pluck import guitar, note  # noqa: E402
from soundfont import RATE, shaped  # noqa: E402

CLASSES = {"c": 0, "db": 1, "d": 2, "eb": 3, "e": 4, "f": 5, "gb": 6, "g": 7, "ab": 8, "a": 9, "bb": 10, "b": 11}


def moved(sound, semitones):
    if abs(semitones) < 1e-6:
        return sound
    step = 2 ** (semitones / 12)
    return np.interp(np.arange(0, len(sound) - 1, step), np.arange(len(sound)), sound).astype(np.float32)


def samples(folder, octave=0, start=None):
    """A folder of notes named NOTE_… or STRING_NOTE_…; `octave` is added to what the names say."""
    notes = {}
    for file in sorted(pathlib.Path(folder).glob("*.ogg")):
        names = [re.fullmatch(r"([A-Ga-g]b?)(\d)", p) for p in file.stem.split("_")]
        # In STRING_NOTE names the second speaks.
        named = [m for m in names if m]
        name = named[1] if len(named) > 1 and file.stem[0].isupper() else named[0]
        midi = 12 * (int(name[2]) + 1 + octave) + CLASSES[name[1].lower()]
        sound, rate = soundfile.read(file)
        sound = sound if sound.ndim == 1 else sound.mean(axis=1)
        if rate != RATE:
            n = int(len(sound) * RATE / rate)
            # Low-passed by a running mean, which is enough for an octave of room above what is listened to.
            sound = np.interp(np.arange(n) * rate / RATE, np.arange(len(sound)), lfilter(np.ones(2) / 2, 1, sound))
        loud = np.abs(sound)
        first = int(np.argmax(loud > 0.05 * loud.max()))
        sound = sound[max(0, first - 40) : first + 5 * RATE]
        notes.setdefault(midi, []).append((sound / (np.abs(sound).max() + 1e-9)).astype(np.float32))
    known = np.array(sorted(notes))

    def play(midi, seconds, rng):
        near = int(known[np.argmin(np.abs(known - midi))])
        takes = notes[near]
        return shaped(moved(takes[rng.integers(len(takes))], midi - near), seconds)

    return play


def plucked(rng):
    """A string of its own kind: stiffness, place of the pluck, decay and body drawn once."""
    stiff = 10 ** rng.uniform(-5, -3.6)
    place, steep = rng.uniform(0.06, 0.35), rng.uniform(0.7, 1.8)
    decay, high = rng.uniform(0.4, 3.0), rng.uniform(0.2, 1.0)
    body = [(rng.uniform(90, 2500), rng.uniform(0.5, 2.5), rng.uniform(0.1, 0.5)) for _ in range(4)]

    def play(midi, seconds, rng):
        t = np.arange(int(min(seconds + 0.06, 4) * RATE), dtype=np.float32) / RATE
        f0 = 440 * 2 ** ((midi - 69) / 12)
        bright = steep + rng.uniform(-0.3, 0.3)
        out = np.zeros(len(t), np.float32)
        for n in range(1, 24):
            f = n * f0 * np.sqrt(1 + stiff * n * n)
            if f > 8000:
                break
            gain = abs(np.sin(np.pi * n * place)) / n**bright * (1 + sum(g * np.exp(-((np.log2(f / c) / w) ** 2)) for c, g, w in body))
            if gain > 0.003:
                out += np.float32(gain) * np.exp(-t * np.float32(decay * (midi / 50) ** 2 * (1 + high * 0.3 * n))) * np.sin(np.float32(2 * np.pi * f) * t + np.float32(rng.uniform(0, 6.28)))
        return shaped(out / (np.abs(out).max() + 1e-9), seconds)

    return play


def stringed(rng, low):
    """A string of the kind that `training/notes/pluck.py` makes, for a guitar, or a bass where `low`."""
    voice = guitar(rng)[rng.integers(6)]
    if low:
        voice.update(ring_s=rng.uniform(4, 16), treble_s=np.exp(rng.uniform(np.log(0.1), np.log(1.5))), soft_hz=np.exp(rng.uniform(np.log(250), np.log(4000))))
    made = {}

    def play(midi, seconds, rng):
        key = round(midi, 2)
        if key not in made:
            made[key] = note(midi, voice, rng, 3.5 if low else 2.6)
        return shaped(made[key], seconds)

    return play


def struck(font, kit=0):
    """The drums of a soundfont (bank 128), as `drum` gives its own."""
    play = font.program(kit, bank=128)
    keys = {"kick": (35, 36), "snare": (38, 40, 37), "hat": (42, 44, 46, 51)}

    def drum(kind, rng):
        return play(keys[kind][rng.integers(len(keys[kind]))], {"kick": 0.5, "snare": 0.4, "hat": 0.4}[kind], rng)

    return drum


def drum(kind, rng):
    """A struck drum of noise and a falling sine, drawn anew each time."""
    length = {"kick": 0.35, "snare": 0.25, "hat": rng.choice([0.06, 0.3])}[kind]
    t = np.arange(int(length * RATE)) / RATE
    noise = rng.standard_normal(len(t))
    if kind == "kick":
        f = rng.uniform(36, 90) + rng.uniform(20, 200) * np.exp(-t / rng.uniform(0.01, 0.05))
        return (np.sin(2 * np.pi * np.cumsum(f) / RATE) * np.exp(-t / rng.uniform(0.03, 0.2)) + rng.uniform(0, 0.4) * noise * np.exp(-t / 0.005)).astype(np.float32)
    if kind == "snare":
        tone = np.sin(2 * np.pi * rng.uniform(160, 230) * t) * np.exp(-t / 0.06)
        return (0.5 * tone + 0.5 * noise * np.exp(-t / rng.uniform(0.04, 0.09))).astype(np.float32)
    return (0.3 * lfilter([1, -1], 1, noise) * np.exp(-t / (length / 4))).astype(np.float32)


def recorded(sound, rng, plain=False):
    """As a microphone in a room might have it: equalised, with a room, noise, a little drive; tuned apart by up to a third of a semitone,
    as a tape is that runs too fast or too slow. Also given: how many times slower it runs."""
    if plain:
        return sound / (np.abs(sound).max() + 1e-9) * 0.7, 1.0
    off = rng.uniform(-0.3, 0.3)
    sound = moved(sound, off)
    length = len(sound)
    size = next_fast_len(length, real=True)
    spectrum = np.fft.rfft(sound, size)
    f = np.fft.rfftfreq(size, 1 / RATE)
    octaves = np.log2(np.maximum(f, 30) / 500)
    db = rng.uniform(-3, 3) * octaves + sum(rng.uniform(-8, 8) * np.exp(-(((octaves - rng.uniform(-3, 4)) / rng.uniform(0.3, 1.5)) ** 2)) for _ in range(3))
    if rng.random() < 0.4:
        db -= 12 * np.maximum(0, np.log2(rng.uniform(60, 140) / np.maximum(f, 20)))
    sound = np.fft.irfft(spectrum * 10 ** (db / 20), size)[:length]
    if rng.random() < 0.7:
        t = np.arange(int(rng.uniform(0.1, 1.2) * RATE)) / RATE
        room = rng.standard_normal(len(t)) * np.exp(-6.9 * t / t[-1])
        room /= np.sqrt(np.sum(room**2))
        sound = sound + rng.uniform(0.05, 0.5) * fftconvolve(sound, room)[: len(sound)]
    sound /= np.abs(sound).max() + 1e-9
    if rng.random() < 0.3:
        drive = rng.uniform(1, 6)
        sound = np.tanh(drive * sound) / np.tanh(drive)
    noise = 10 ** (rng.uniform(-70, -35) / 20) * lfilter([1], [1, -rng.uniform(0, 0.95)], rng.standard_normal(len(sound)))
    return ((sound + noise) * 0.7).astype(np.float32), 2 ** (-off / 12)
