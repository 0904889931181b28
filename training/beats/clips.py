"""Clips for training: sound and the beats it hangs on, made of patterns or of players' notes."""
import functools
import json

import numpy as np

import idioms
import manners
import patterns as pt
from sounds import RATE, add, coloured

SECONDS = 24.0


def mixed(sounds, rng, guitars, bass, drums, seconds):
    """One channel of sound."""
    out = np.zeros(int(seconds * RATE))
    for notes in guitars:
        bank = sounds.guitars[list(sounds.guitars)[rng.integers(len(sounds.guitars))]]
        part = np.zeros_like(out)
        for t, midi, duration, gain in notes:
            if midi is None:
                add(part, sounds.scratches[rng.integers(len(sounds.scratches))], t, gain)
            else:
                midi = int(np.clip(midi, min(bank), max(bank)))
                add(part, bank[midi][rng.integers(2)], t, gain, duration)
        out += part / (np.sqrt(np.mean(part**2)) + 1e-9) * 10 ** rng.uniform(-0.4, 0)
    if bass:
        bank = sounds.bass[rng.integers(len(sounds.bass))]
        part = np.zeros_like(out)
        for t, midi, duration, gain in bass:
            add(part, bank[int(np.clip(midi, 24, 59))], t, gain, duration)
        out += part / (np.sqrt(np.mean(part**2)) + 1e-9) * 10 ** rng.uniform(-0.7, 0.15)
    if drums:
        part = np.zeros_like(out)
        kit = {k: v[rng.integers(len(v))] for k, v in sounds.drums.items()}
        for t, which, gain in drums:
            add(part, kit[which], t, gain)
        out += part / (np.sqrt(np.mean(part**2)) + 1e-9) * 10 ** rng.uniform(-0.6, 0.2)
    return coloured(out, rng)


class Cut:
    """Where a clip begins in its playing: at a bar, as a passage that was cut out or written does (in near half of all clips), or anywhere; with the sound of what
    came before, or from nothing, after a silence or none."""

    def __init__(self, rng, times, beats, latest=1e9):
        bars = [t for t in times[::beats][:6] if t <= latest]
        bar = bars[rng.integers(len(bars))] if rng.random() < 0.4 else 0.0
        anywhere = rng.uniform(0, min(times[4 * beats], max(latest, 0.1)))
        dice = rng.random()
        # From here on notes are played.
        self.first = -1e9
        if dice < 0.36:
            self.start, self.first = bar - rng.choice([0.0, rng.uniform(0, 0.03)]), bar - 0.03
        elif dice < 0.46:
            self.start = bar + 0.025 * rng.standard_normal()
        elif dice < 0.8:
            self.start = anywhere
        else:
            self.first = (bar if rng.random() < 0.5 else anywhere) - 0.03
            self.start = self.first - rng.uniform(0.0, 2.5)

    def notes(self, notes):
        return [(n[0] - self.start, *n[1:]) for n in notes if n[0] >= max(self.first, self.start - 1.5)]

    def beats(self, times, bar):
        """Beats that the playing has, and their places in the bar."""
        places = np.arange(len(times)) % bar
        kept = times > max(self.first, self.start - 0.06)
        return times[kept] - self.start, places[kept]


# What share of patterns is a usual accompaniment or line.
IDIOMS = 0.4


def pattern_clip(sounds, rng):
    meter = pt.METERS[rng.choice(4, p=[0.6, 0.14, 0.15, 0.11])]
    bpm = np.exp(rng.normal(np.log(110), 0.29)).clip(54, 206)
    if meter.name == "6/8":
        bpm = np.exp(rng.normal(np.log(74), 0.24)).clip(42, 130)
    if meter.parts == 3:
        bpm = min(bpm, 140)
    swing, of = 0.5, 16
    if meter.parts == 4:
        style = rng.random()
        if style < 0.3:
            swing, of = rng.uniform(0.5, 0.66), 16
        elif style < 0.5:
            swing, of = rng.uniform(0.54, 0.68), 8
    kind, line = None, False
    if rng.random() < IDIOMS:
        line = rng.random() < 0.35
        kind = idioms.Kind(rng, idioms.LINES if line else idioms.ACCOMPANIMENTS)
        meter, bpm, swing, of = kind.meter, kind.bpm, kind.swing, 16 if kind.parts == 4 else 8
    bars = int(np.ceil((SECONDS + 8) * bpm / 60 / meter.beats)) + 5
    time = pt.Time(rng, meter, bpm, bars * meter.beats, swing, of)
    chords = pt.harmony(rng, bars, meter)
    guitars = [(pt.comping if rng.random() < 0.6 else manners.accompanied)(rng, time, chords, bars) for _ in range(2 if rng.random() < 0.2 else 1)]
    lines = rng.random()
    if kind:
        guitars[0] = (idioms.improvised if line else idioms.accompanied)(rng, time, chords, bars, kind)
    elif lines < 0.3:
        guitars[0] = (pt.line if lines < 0.04 else manners.improvised)(rng, time, chords, bars)
    alone = rng.random() < 0.6
    bass = pt.bass(rng, time, chords, bars) if not alone and rng.random() < 0.75 else []
    drums = pt.drums(rng, time, bars) if not alone and (not bass or rng.random() < 0.65) else []
    cut = Cut(rng, time.times, meter.beats)
    audio = mixed(sounds, rng, [cut.notes(g) for g in guitars], cut.notes(bass), cut.notes(drums), SECONDS)
    return audio, *cut.beats(time.times[:-1], meter.beats), meter.beats


@functools.lru_cache(None)
def played(file):
    """A player's notes (string by string), beats, chords, and the tonic of the key."""
    data = json.loads(file.read_text())
    notes, beats, chords, tonic = [], [], [], 0
    for a in data["annotations"]:
        if a["namespace"] == "note_midi":
            notes += [(d["time"], d["value"], d["duration"]) for d in a["data"]]
        elif a["namespace"] == "beat_position":
            beats = [(d["time"], d["value"]["position"]) for d in a["data"]]
        elif a["namespace"] == "chord":
            chords = [(d["time"], d["value"]) for d in a["data"]]
        elif a["namespace"] == "key_mode":
            tonic = root_of(a["data"][0]["value"])
    return sorted(notes), beats, chords, tonic


ROOTS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def root_of(label):
    """The pitch class that a chord's or a key's label begins with; C where it begins with none."""
    return ROOTS.get(label[0], 0) + label.count("#", 0, 2) - label.count("b", 1, 2)


def late_by(file):
    """Annotated onsets lie a little after the sound's own: seconds."""
    return 0.004 if file.stem.endswith("solo") else 0.010


@functools.lru_cache(None)
def by_beats(file):
    """A player's notes as (beat, midi, seconds), with the seconds of a beat, how many there are, and the tonic."""
    notes, beats, _, tonic = played(file)
    late = late_by(file)
    grid = np.array([b[0] for b in beats])
    step = np.diff(grid).mean()
    at = lambda t: np.interp(t, grid, np.arange(len(grid))) + np.minimum(t - grid[0], 0) / step + np.maximum(t - grid[-1], 0) / step
    return [(float(at(t - late)), round(m), d) for t, m, d in notes], step, len(grid), tonic


def pieced(rng, file, others, beats):
    """Playing of so many beats put together from beats, bars or lines of takes of one kind, each at its place in the bar: (beat, midi, seconds a beat there, seconds)."""
    kin = [f for f in others if f.stem[-4:] == file.stem[-4:]]
    tonic = by_beats(file)[3]
    unit = int(rng.choice([1, 2, 4, 4, 8, 16]))
    own = rng.choice([0.3, 0.7, 1.0])
    some = [kin[k] for k in rng.choice(len(kin), min(len(kin), 6), replace=False)]
    out = []
    for start in range(0, beats, unit):
        notes, step, count, other = by_beats(file if rng.random() < own else some[rng.integers(len(some))])
        bars = (count - start % 4 - min(unit, count - 4)) // 4
        if bars < 1:
            continue
        source = 4 * int(rng.integers(bars)) + start % 4
        up = (tonic - other + 6) % 12 - 6
        # What comes a little before a beat belongs to it.
        out += [(b - source + start, m + up, step, d) for b, m, d in notes if source - 0.12 <= b < source + unit - 0.12]
    return sorted(out)


def player_clip(sounds, rng, file, others):
    """A take with new sounds at a new, moving tempo: as it was played, or put together anew; at times with notes left out, at other pitches, or later and earlier than played."""
    notes, beats, chords, _ = played(file)
    solo = file.stem.endswith("solo")
    late = late_by(file)
    grid = np.array([b[0] for b in beats])
    step = np.diff(grid).mean()
    bpm = float(np.clip(60 / step * np.exp(rng.uniform(-0.3, 0.3)), 50, 208))
    anew = rng.random() < 0.6
    bars = len(beats) // 4 + 1
    if anew:
        bars = max(bars, int(np.ceil((SECONDS + 8) * bpm / 240)) + 3)
    time = pt.Time(rng, pt.METERS[0], bpm, bars * 4, rng.choice([0.5, 0.5, 0.6, 0.66]), 8)
    up = rng.integers(-4, 5)
    end = grid[-1] + step * np.arange(1, max(bars * 4 + 1 - len(grid), 0) + 1)
    source = np.concatenate([grid, end])[:len(time.times)]
    if anew:
        lies = lambda b: float(np.interp(b, np.arange(len(time.times)), time.times) + min(b, 0) * 60 / bpm)
        guitar = [(lies(b), m + up, max(d * 60 / bpm / own, 0.05), np.exp(0.25 * rng.standard_normal())) for b, m, own, d in pieced(rng, file, others, bars * 4)]
    else:
        # Players' time onto the new one, beat by beat, on past the last.
        warp = lambda t: np.interp(t, source, time.times[:len(source)])
        guitar = [(warp(t - late) if t > late else t - late, round(m) + up, max(warp(t + d) - warp(t), 0.05), np.exp(0.25 * rng.standard_normal())) for t, m, d in notes]
    if rng.random() < 0.3:
        gone = rng.uniform(0, 0.25)
        guitar = [n for n in guitar if rng.random() > gone]
    if rng.random() < 0.4:
        lag, jitter = rng.normal(0, 0.012), rng.uniform(0, 0.012)
        guitar = [(t + lag + jitter * rng.standard_normal(), *rest) for t, *rest in guitar]
    if solo and rng.random() < 0.3:
        # Another line in the same rhythm.
        scale = sorted({(m - up) % 12 for _, m, *_ in guitar} or {0})
        steps = [m for m in range(48, 84) if (m - up) % 12 in scale]
        at, other = int(rng.integers(len(steps))), []
        for t, _, d, g in guitar:
            at = int(np.clip(at + rng.integers(-3, 4), 0, len(steps) - 1))
            other.append((t, steps[at], d, g))
        guitar = other
    harmony = []
    for half in range(2 * bars + 2):
        t = source[min(half * 2, len(source) - 1)] + 0.1
        label = [c[1] for c in chords if c[0] <= t] or ["C"]
        shape = pt.SHAPES[1 if ":min" in label[-1] else 0]
        harmony.append(((root_of(label[-1]) + up) % 12, shape))
    company = rng.random()
    guitars, bass, drums = [guitar], [], []
    # Beats of several takes have no harmony that a bass could follow.
    if not anew and (company < 0.2 or 0.35 < company < 0.45):
        bass = pt.bass(rng, time, harmony, bars)
    if company < 0.35:
        drums = pt.drums(rng, time, bars)
    if solo and 0.2 < company < 0.3:
        guitars.append(pt.comping(rng, time, harmony, bars))
    last = bars * 4 if anew else len(grid)
    cut = Cut(rng, time.times[:last], 4, max(time.times[last - 1] - SECONDS, 1.0))
    audio = mixed(sounds, rng, [cut.notes(g) for g in guitars], cut.notes(bass), cut.notes(drums), SECONDS)
    return audio, *cut.beats(time.times[:last], 4), 4


def idle_clip(sounds, rng):
    """Sound without a beat: notes at any time, held tones, noise."""
    n = rng.integers(5, 120)
    kind = rng.integers(3)
    bank = sounds.guitars["pluck"]
    out = np.zeros(int(SECONDS * RATE))
    if kind == 0:
        for _ in range(n):
            add(out, bank[rng.integers(40, 80)][0], rng.uniform(0, SECONDS), rng.uniform(0.1, 1), rng.uniform(0.05, 2))
    elif kind == 1:
        t = np.arange(len(out)) / RATE
        for _ in range(rng.integers(1, 5)):
            out += np.sin(2 * np.pi * rng.uniform(80, 900) * t + rng.uniform(0, 3) * np.sin(2 * np.pi * rng.uniform(0.1, 6) * t))
    else:
        # Something like speech: noise that comes in syllables of uneven length.
        at = 0.0
        while at < SECONDS:
            m = int(rng.uniform(0.05, 0.3) * RATE)
            add(out, (rng.standard_normal(m) * np.hanning(m)).astype(np.float32), at, rng.uniform(0.2, 1))
            at += rng.exponential(0.25)
    return coloured(out + 1e-4 * rng.standard_normal(len(out)), rng), np.zeros(0), np.zeros(0, int), 0
