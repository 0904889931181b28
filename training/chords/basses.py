"""Basses of many kinds to train the bass listener on, and kits that play with them; none of a sample set that the listener is judged on."""

import numpy as np

from clips import add, bass_line, melody, played
from sounds import RATE, moved, plucked, recorded, shaped, stringed

LONGEST_S, TAKES = 4.2, 3


def between(rng, low, high):
    """Evenly on a logarithmic axis."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def bass(programs, guitars, rng):
    """One bass: where its notes come from, and a sound of its own (`characters`)."""
    kind = rng.choice(4, p=[0.42, 0.28, 0.12, 0.18])
    # Guitars and keys played as a bass: recorded strings slowed down by an octave, whatever is given of the others.
    source = [programs[rng.integers(len(programs))], stringed(rng, True), plucked(rng), slowed(guitars[rng.integers(len(guitars))])][kind]
    return characters(source, rng)


def slowed(play):
    def slowed(midi, seconds, rng):
        return moved(play(midi + 12, seconds / 2 + 0.1, rng), -12)

    return slowed


def characters(play, rng):
    """Tuned up to a quarter of a semitone beside the rest, ringing for a short time or long, dark, bright, without its fundamental or with little else, soft or hard at its
    beginning, driven; now and then slid into. Three takes of each note are kept."""
    off, decay = np.clip(rng.normal(0, 0.09), -0.25, 0.25), between(rng, 0.35, 14)
    tilt, points = rng.uniform(-5, 4), [(between(rng, 40, 1500), rng.uniform(0.3, 1.2), rng.uniform(-8, 8)) for _ in range(3)]
    cut = rng.random()
    high_pass, low_pass = between(rng, 60, 200) if cut < 0.2 else 0, between(rng, 120, 900) if cut > 0.75 else 0
    attack = between(rng, 0.003, 0.04) if rng.random() < 0.35 else 0
    drive = between(rng, 1, 10) if rng.random() < 0.25 else 0
    slides = rng.uniform(0.02, 0.15) if rng.random() < 0.25 else 0
    made = {}

    def take(midi, rng):
        sound = play(midi + off, LONGEST_S, rng)
        size = 1 << int(np.ceil(np.log2(len(sound) + 1)))
        f = np.maximum(np.fft.rfftfreq(size, 1 / RATE), 20)
        db = tilt * np.maximum(np.log2(f / 80), -1) + sum(g * np.exp(-((np.log2(f / c) / w) ** 2)) for c, w, g in points)
        if high_pass:
            db -= 10 * np.log10(1 + (high_pass / f) ** 4)
        if low_pass:
            db -= 10 * np.log10(1 + (f / low_pass) ** 4)
        sound = np.fft.irfft(np.fft.rfft(sound, size) * 10 ** (db / 20), size)[: len(sound)]
        t = np.arange(len(sound)) / RATE
        sound *= np.exp(-t / decay)
        if attack:
            sound *= 1 - np.exp(-t / attack)
        sound /= np.abs(sound).max() + 1e-9
        if drive:
            sound = np.tanh(drive * sound) / np.tanh(drive)
        return sound.astype(np.float32)

    def play_it(midi, seconds, rng):
        key = (round(midi), int(rng.integers(TAKES)))
        if key not in made:
            made[key] = take(midi, rng)
        sound = made[key]
        if rng.random() < slides:
            # From up to two semitones away, there within a tenth of a second or so.
            t = np.arange(int((seconds + 0.1) * RATE)) / RATE
            bend = rng.choice([-2, -1, 1, 2]) * np.maximum(0, 1 - t / rng.uniform(0.04, 0.12))
            sound = np.interp(np.cumsum(2 ** (bend / 12)), np.arange(len(sound)), sound).astype(np.float32)
        return shaped(sound, seconds, rng.choice([0.02, 0.06, 0.15]))

    return play_it


def kit(drum, beats, line, length, rng):
    """Kicks on the beat, with the bass, on every beat, or anywhere; snares between, with strokes of less; cymbals."""
    out = np.zeros(int(length * RATE), np.float32)
    step = beats[1] - beats[0]
    loud = lambda least: 10 ** (-rng.uniform(0, least) / 20)
    way = rng.choice(["beat", "bass", "all", "some"], p=[0.35, 0.35, 0.15, 0.15])
    spread, ghosts, fine = rng.uniform(0, 8), rng.uniform(0, 0.4), rng.choice([2, 2, 4, 3])
    kicks = [] if way == "bass" and line else [b for i, b in enumerate(beats) if way == "all" or (i % 2 == 0 if way != "some" else rng.random() < 0.5)]
    kicks += [b + step * rng.choice([0.25, 0.5, 0.75]) for b in beats if rng.random() < (0.3 if way != "all" else 0.1)]
    if way == "bass":
        kicks += [t + rng.normal(0, 0.006) for t, *_ in line if rng.random() < 0.6]
    for t in kicks:
        add(out, t, drum("kick", rng), loud(spread))
    for i, b in enumerate(beats):
        if i % 2:
            add(out, b, drum("snare", rng), loud(spread))
        if rng.random() < ghosts:
            add(out, b + step * rng.choice([0.25, 0.5, 0.75]), drum("snare", rng), 0.1 + 0.3 * rng.random())
        for p in range(fine):
            if rng.random() < 0.9:
                add(out, b + p / fine * step, drum("hat", rng), 0.5 * loud(spread))
    return out


def clip(given, guitars, bass, kits, rng):
    """Chords under which a bass plays in five of six clips, beside a kit, a melody, a low guitar that doubles the bass; near half of it as a microphone in a room has it. Its sound,
    and the bass's notes (onset, length, MIDI)."""
    notes, labels, beats = given
    if rng.random() < 0.2:
        lower = int(rng.integers(1, 6))
        notes, labels = [(t, d, m - lower, *rest) for t, d, m, *rest in notes], [(s, e, (r - lower) % 12, k, (b - lower) % 12) for s, e, r, k, b in labels]
    length = max(labels[-1][1], max((n[0] + n[1] for n in notes), default=0)) + 0.5
    guitar = lambda: guitars[rng.integers(len(guitars))]
    out = played(notes, length, guitar(), rng, rng.uniform(3, 20))
    level = np.sqrt(np.mean(out**2)) + 1e-9
    along = lambda s, db: s * (level / (np.sqrt(np.mean(s**2)) + 1e-9) * 10 ** (db / 20))
    line = []
    if rng.random() < 0.86:
        line, labels = bass_line(labels, beats, rng)
        out = out + along(played(line, length, bass, rng, rng.uniform(0, 9)), rng.uniform(-7, 6))
        if rng.random() < 0.08:
            # A guitar an octave over the bass.
            out = out + along(played([(t, d, m + 12) for t, d, m in line], length, guitar(), rng, 6), rng.uniform(-12, 0))
    if rng.random() < 0.25:
        out = out + along(played(melody(labels, beats, rng), length, guitar(), rng, 8), rng.uniform(-10, 2))
    if rng.random() < 0.85:
        out = out + along(kit(kits[rng.integers(len(kits))], beats, line, length, rng), rng.uniform(-12, 3))
    out, slower = recorded(out, rng, rng.random() < 0.4)
    return out, [(t * slower, d * slower, m) for t, d, m in line]
