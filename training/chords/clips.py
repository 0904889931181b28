"""Clips to train on: comping of players 00 and 01 cut up into its chords, each moved to a pitch of its own, and random chords in random voicings;
never a progression that anyone plays.

A clip is (sound, chords [(start, end, label root, kinds, bass)], beats).
"""

import json
import pathlib

import numpy as np

from labels import KINDS, TONES, read
from sounds import RATE, drum, recorded


def performance(path):
    """Notes (onset, length, MIDI, string), as-performed chords and beats of an annotation."""
    notes, chords, beats = [], [], []
    for a in json.loads(pathlib.Path(path).read_text())["annotations"]:
        if a["namespace"] == "note_midi":
            notes += [(d["time"], d["duration"], d["value"], a["annotation_metadata"]["data_source"]) for d in a["data"]]
        elif a["namespace"] == "chord":
            # The second one is as performed.
            chords = [(d["time"], d["time"] + d["duration"], d["value"]) for d in a["data"]]
        elif a["namespace"] == "beat_position":
            beats = [d["time"] for d in a["data"]]
    return sorted(notes), chords, beats


def add(out, at, sound, gain):
    start = int(at * RATE)
    if start < 0:
        return
    n = min(len(sound), len(out) - start)
    if n > 0:
        out[start : start + n] += gain * sound[:n]


def played(notes, length, source, rng, spread_db=12):
    out = np.zeros(int(length * RATE), np.float32)
    for onset, seconds, midi, *_ in notes:
        add(out, onset, source(midi, seconds * rng.uniform(0.9, 1.3), rng), 10 ** (-rng.uniform(0, spread_db) / 20))
    return out


def shuffled(path, rng):
    """The comping of an annotation, every chord's notes moved by an interval of its own."""
    notes, chords, beats = performance(path)
    moves = [int(rng.integers(-6, 6)) for _ in chords]
    out = []
    for onset, seconds, midi, *_ in notes:
        # A stroke a little before the change belongs to what follows.
        which = next((i for i, c in enumerate(chords) if c[0] - 0.05 <= onset < c[1] - 0.05), None)
        if which is not None:
            moved = midi + moves[which]
            out.append((onset, seconds, moved + 12 if moved < 38 else moved))
    labels = []
    for (start, end, label), move in zip(chords, moves):
        root, kinds, bass = read(label)
        labels.append((start, end, (root + move) % 12, kinds, (bass + move) % 12))
    return out, labels, beats


WEIGHTS = [18, 14, 12, 10, 12, 4, 4, 4, 3, 4, 3, 3, 4, 3, 5, 4, 2, 3, 4]


def invented(rng):
    """Random chords with random voicings and strokes, 30 s."""
    beat = 60 / rng.uniform(70, 190)
    notes, labels, at = [], [], 0.0
    while at < 30:
        kind = KINDS[rng.choice(len(KINDS), p=np.array(WEIGHTS) / sum(WEIGHTS))]
        root = int(rng.integers(12))
        end = at + beat * rng.choice([1, 2, 2, 3, 4, 4, 4, 6, 8])
        tones = TONES[kind]
        # What gives the chord its name is there; fifth and doubled tones come and go.
        needed = [t for t in tones if t not in (0, 7) or kind in ("5",)]
        bass = (root + (0 if rng.random() < 0.75 else tones[rng.integers(len(tones))])) % 12
        low = 40 + (bass - 40) % 12 + (12 if rng.random() < 0.25 else 0)
        upper = [t for t in needed] + [t for t in (0, 7) if t in tones and rng.random() < 0.6]
        upper += [tones[rng.integers(len(tones))] for _ in range(rng.integers(0, 3))]
        if (root - bass) % 12 and 0 not in upper:
            upper.append(0)
        grip = {low}
        for t in upper:
            base = low + 3 + int(rng.integers(0, 16))
            grip.add(base + (root + t - base) % 12)
        grip = sorted(g for g in grip if g < 84)
        labels.append((at, end, root, [kind], bass))
        style = rng.choice(["strum", "strum", "arpeggio", "held", "bass and grip"])
        t = at
        while t < end - 0.05:
            step = beat * rng.choice([0.25, 0.5, 0.5, 1, 1])
            step = min(end - t, (end - at) if style == "held" else step)
            if style == "arpeggio":
                strings, gap = [grip[rng.integers(len(grip))]], 0
            elif style == "bass and grip" and (t == at or rng.random() < 0.3):
                strings, gap = [grip[0]], 0
            elif t > at and rng.random() < 0.3:
                strings, gap = [], 0
            else:
                some = grip if t == at or rng.random() < 0.5 else grip[rng.integers(0, len(grip)) :]
                strings, gap = (some if rng.random() < 0.6 else some[::-1]), rng.uniform(0, 0.02)
            ring = (end - t) if style in ("arpeggio", "held") or rng.random() < 0.3 else step * rng.uniform(0.4, 1)
            notes += [(t + gap * i + rng.normal(0, 0.008), ring, s) for i, s in enumerate(strings)]
            if rng.random() < 0.06:
                notes.append((t + rng.uniform(0, step), step * 0.5, grip[-1] + int(rng.choice([-2, -1, 1, 2]))))
            t += step
        at = end
    return sorted(n for n in notes if n[0] >= 0), labels, list(np.arange(0, at, beat))


def bass_line(labels, beats, rng):
    """A bass under the chords, mostly on their root: its notes, and the chords with its note as their bass."""
    notes, out = [], []
    beat = beats[1] - beats[0]
    busy, short, third = rng.uniform(0.1, 0.9), rng.uniform(0.3, 1.1), rng.random() < 0.15
    parts = 3 if third else 4
    for start, end, root, kinds, bass in labels:
        # A chord that has none of our names still has its root.
        tones = TONES[kinds[0]] if kinds else [0]
        main = root if rng.random() < 0.8 else (root + tones[rng.integers(len(tones))]) % 12
        out.append((start, end, root, kinds, main))
        low = 28 + (main - 28) % 12 + (12 if rng.random() < 0.25 else 0)
        slots = [b + beat * p / parts for b in beats for p in range(parts)]
        slots = [t for t in slots if start - 0.02 <= t < end - 0.08] or [start]
        struck, last = [], low
        for i, t in enumerate(slots):
            place = round((t - beats[0]) / beat * parts) % parts
            if i and rng.random() > busy * (0.9 if place == 0 else 0.6 if place * 2 == parts else 0.3):
                continue
            if i == 0 or rng.random() < 0.5:
                midi = low
            elif rng.random() < 0.3:
                midi = low + 12 if low < 43 else low - 12
            elif rng.random() < 0.3:
                midi = last + int(rng.choice([-2, -1, 1, 2]))
            else:
                midi = low + (tones[rng.integers(len(tones))] if low < 45 else 0)
            last = min(max(midi, 28), 55)
            struck.append((t, last))
        for (t, midi), (after, _) in zip(struck, struck[1:] + [(end, 0)]):
            notes.append((max(0.0, t + rng.normal(0, 0.008)), min((after - t) * 0.98, 4.0, max(0.08, (after - t) * short)), midi))
    return sorted(notes), out


def melody(labels, beats, rng):
    notes = []
    for start, end, root, kinds, _ in labels:
        for b in (b for b in beats if start - 0.02 <= b < end - 0.1):
            for half in (0, 0.5):
                if rng.random() < 0.5:
                    t = TONES[kinds[0]][rng.integers(len(TONES[kinds[0]]))] if rng.random() < 0.7 else int(rng.integers(12))
                    notes.append((b + half * (beats[1] - beats[0]), rng.uniform(0.15, 0.6), 60 + int(rng.integers(0, 18) // 12 * 12) + (root + t) % 12))
    return notes


def clip(given, guitars, basses, rng, plain=False):
    """The sound of notes, with company now and then (a bass, a melody, a kit); labels follow the bass where one plays. Also given: the bass's notes."""
    notes, labels, beats = given
    line = []
    length = max(labels[-1][1], max((n[0] + n[1] for n in notes), default=0)) + 0.5
    out = played(notes, length, guitars[rng.integers(len(guitars))], rng, rng.uniform(3, 20))
    if not plain:
        level = np.sqrt(np.mean(out**2)) + 1e-9
        along = lambda s, db: s * (level / (np.sqrt(np.mean(s**2)) + 1e-9) * 10 ** (db / 20))
        if rng.random() < 0.5:
            line, labels = bass_line(labels, beats, rng)
            out = out + along(played(line, length, basses[rng.integers(len(basses))], rng, 6), rng.uniform(-7, 6))
        if rng.random() < 0.25:
            out = out + along(played(melody(labels, beats, rng), length, guitars[rng.integers(len(guitars))], rng, 8), rng.uniform(-10, 2))
        if rng.random() < 0.4:
            kit = np.zeros(len(out), np.float32)
            for i, b in enumerate(beats):
                add(kit, b, drum("kick" if i % 2 == 0 else "snare", rng), 1.0)
                if rng.random() < 0.3:
                    add(kit, b + rng.choice([0.25, 0.5, 0.75]) * (beats[1] - beats[0]), drum("kick", rng), 1.0)
                for half in (0, 0.5):
                    add(kit, b + half * (beats[1] - beats[0]), drum("hat", rng), 0.5)
            out = out + along(kit, rng.uniform(-12, 3))
    out, slower = recorded(out, rng, plain)
    labels = [(s * slower, e * slower, *rest) for s, e, *rest in labels]
    return out, labels, [b * slower for b in beats], [(t * slower, d * slower, m) for t, d, m in line]
