"""Players made up by dice. Each has a manner of their own: which figures fill a beat, on which beats they lean, how late they are, where phrases begin and end, how strings are struck.
Positions are in beats, 0 the first bar's first. Parts are notes (time, midi or None for a scratch, seconds, gain), as in `patterns.py`.
"""
import numpy as np

from patterns import SCALES

# What may fill a beat, and how usual it is: common practice, shares by ear.
HALVES = {(0,): 10, (): 4, (0, 1 / 2): 14, (1 / 2,): 8, (0, 1 / 4, 1 / 2, 3 / 4): 5, (1 / 4, 1 / 2, 3 / 4): 2, (0, 1 / 2, 3 / 4): 3, (0, 1 / 4, 1 / 2): 2, (0, 3 / 4): 3, (3 / 4,): 2,
          (1 / 2, 3 / 4): 2, (0, 1 / 4): 1.5, (1 / 4,): 1, (1 / 4, 1 / 2): 0.7, (1 / 4, 3 / 4): 0.7, (0, 1 / 4, 3 / 4): 1, (0, 1 / 3, 2 / 3): 3, (1 / 3, 2 / 3): 1, (0, 2 / 3): 1, (2 / 3,): 0.7,
          tuple(k / 6 for k in range(6)): 0.5}
THIRDS = {(0,): 8, (): 4, (0, 1 / 3, 2 / 3): 8, (0, 2 / 3): 10, (2 / 3,): 6, (1 / 3, 2 / 3): 3, (0, 1 / 3): 2, (1 / 3,): 1, (0, 1 / 2): 0.7, tuple(k / 6 for k in range(6)): 0.7}
SIXTHS = {(0, 1 / 3, 2 / 3): 10, (0, 2 / 3): 8, (0,): 6, (): 3, (1 / 3, 2 / 3): 3, (2 / 3,): 4, (0, 1 / 3): 3, (0, 1 / 2): 1.5, tuple(k / 6 for k in range(6)): 2, (0, 1 / 6, 1 / 3, 2 / 3): 1,
          (0, 1 / 3, 1 / 2, 2 / 3): 1, (1 / 3,): 1, (1 / 6, 1 / 3, 2 / 3): 0.7}


def stress(position, beats):
    """0 a bar's first beat, 1 its middle, 2 other beats, 3 between them."""
    beat = round(position)
    if abs(position - beat) > 0.05:
        return 3 if abs(position % 1 - 0.5) < 0.05 else 4
    return 0 if beat % beats == 0 else 1 if beats % 2 == 0 and beat % beats == beats // 2 else 2


class Manner:
    def __init__(self, rng, meter):
        usual = {4: HALVES, 3: THIRDS, 6: SIXTHS}[meter.parts]
        self.meter, self.figures = meter, list(usual)
        shares = np.log(np.array(list(usual.values())))
        shares += rng.normal(0.2, 0.3) * np.array([len(f) for f in usual]) + rng.normal(0.3, 0.5) * np.array([0 in f for f in usual])
        shares += rng.uniform(0.3, 1.6) * rng.standard_normal(len(usual))
        # Beats of a bar differ from each other, more or less.
        apart = rng.uniform(0, 0.9)
        self.shares = [np.exp(shares + apart * rng.standard_normal(len(usual))) for _ in range(meter.beats)]
        self.again = rng.choice([0.0, 0.2, 0.5, 0.8])
        self.accent = np.exp(rng.uniform(0, 0.35) * rng.standard_normal(5))
        self.noise = rng.uniform(0.08, 0.35)
        self.lag = rng.normal(0.006, 0.016) + rng.uniform(0, 0.01) * rng.standard_normal(5)
        self.jitter, self.drift = rng.uniform(0.003, 0.022), rng.uniform(0, 0.014)

    def filled(self, rng, beats):
        """A figure for each beat; at times those of one, two or four bars ago come again."""
        out = []
        back = self.meter.beats * int(rng.choice([1, 1, 2, 4]))
        for b in range(beats):
            if b % self.meter.beats == 0:
                again = rng.random() < self.again
            if again and b >= back and rng.random() < 0.9:
                out.append(out[b - back])
            else:
                p = self.shares[b % self.meter.beats]
                out.append(self.figures[rng.choice(len(p), p=p / p.sum())])
        return out

    def when(self, rng, time, positions):
        """The moments at which these positions are played."""
        positions = np.asarray(positions, float)
        if not len(positions):
            return positions
        level = [stress(p, self.meter.beats) for p in positions]
        # Earlier and later for some beats together.
        slow, sway = [], 0.0
        for gap in np.diff(positions, prepend=positions[0]):
            keep = np.exp(-gap / 4)
            sway = keep * sway + np.sqrt(1 - keep**2) * rng.standard_normal()
            slow.append(sway)
        return np.array([time.beat(p) for p in positions]) + self.lag[level] + self.drift * np.array(slow) + self.jitter * rng.standard_normal(len(positions))

    def gain(self, rng, position):
        return self.accent[stress(position, self.meter.beats)] * np.exp(self.noise * rng.standard_normal())


def sounding(chords, position, beats):
    """Root and shape at a position; chords change in half bars."""
    return chords[min(int(2 * max(position, 0) / beats + 1e-6), len(chords) - 1)]


def stepped(note, step, around):
    """The next of some notes, which turns round at their ends: its place, and the step that it took."""
    if not 0 <= note + step < len(around):
        step = -step
    return int(np.clip(note + step, 0, len(around) - 1)), step


def chord_tone(midi, root, shape, reach):
    """The nearest note of a chord, where there is one within so many semitones."""
    tones = [m for m in range(midi - reach, midi + reach + 1) if (m - root) % 12 in {i % 12 for i in shape}]
    return min(tones, key=lambda m: abs(m - midi)) if tones else midi


def low_note(midi):
    """An octave lower where the guitar has it."""
    return midi - 12 if midi - 12 >= 40 else midi


def struck(rng, t, pitches, spread, seconds, gain):
    """Notes of a chord, one after the other."""
    return [(t + i * spread, midi, seconds, gain / np.sqrt(len(pitches)) * np.exp(0.12 * rng.standard_normal())) for i, midi in enumerate(pitches)]


def improvised(rng, time, chords, bars):
    """Single notes in phrases."""
    meter = time.meter
    manner, total = Manner(rng, meter), bars * meter.beats
    figures = manner.filled(rng, total)
    if rng.random() < 0.3:
        # A bar now and then twice as fast.
        more, fast = Manner(rng, meter).filled(rng, total), rng.random(bars) < 0.2
        figures = [tuple(p / 2 for p in figures[b]) + tuple(0.5 + p / 2 for p in more[b]) if fast[b // meter.beats] else figures[b] for b in range(total)]
    begins = rng.choice(["bar", "before", "after", "any"], p=[0.2, 0.3, 0.25, 0.25])
    pickup, after = rng.choice([0.5, 1, 1.5, 2]), rng.choice([0.5, 1, 1.5])
    lengths, rests = rng.choice([2, 3, 4, 6, 7, 8, 12, 16], 3), rng.choice([0.5, 0.5, 1, 1, 1, 2, 2, 3, 4], 3)
    held = np.zeros(len(figures) * 12, bool)
    at = -float(rng.uniform(0, 6))
    ends = []
    while at < total:
        bar = np.ceil(at / meter.beats) * meter.beats
        at = {"bar": bar, "before": bar + meter.beats - pickup if bar - pickup < at else bar - pickup, "after": bar + after, "any": at}[begins] if rng.random() < 0.75 else at
        end = at + rng.choice(lengths) + rng.choice([0, 0, 0.5, -0.5])
        held[max(int(at * 12), 0):max(int(end * 12), 0)] = True
        ends.append(end)
        at = end + rng.choice(rests)
    positions = np.array([b + p for b, f in enumerate(figures) for p in f if held[min(int((b + p) * 12 + 0.01), len(held) - 1)]])
    if len(positions) < 2:
        return []
    times = manner.when(rng, time, positions)
    scale = np.array(SCALES[rng.integers(len(SCALES))])
    around = np.sort(np.concatenate([scale + 12 * o for o in range(3, 8)]) + chords[0][0])
    around = around[(around >= 47) & (around <= 86)]
    low, high = (lambda m: (m - rng.integers(6, 11), m + rng.integers(6, 11)))(rng.integers(56, 74))
    around = around[(around >= low) & (around <= high)] if np.sum((around >= low) & (around <= high)) > 4 else around
    note, way = int(rng.integers(len(around))), 1
    chordal, leap, turn, same = rng.uniform(0, 0.9), rng.uniform(0.02, 0.3), rng.uniform(0.1, 0.5), rng.uniform(0, 0.3)
    legato, grace, double, short = rng.uniform(0, 0.6) * (rng.random() < 0.6), rng.uniform(0, 0.25) * (rng.random() < 0.5), rng.uniform(0, 0.4) * (rng.random() < 0.25), rng.uniform(0.4, 1.0)
    scratch = rng.uniform(0, 0.3) * (rng.random() < 0.2)
    notes = []
    for n, (position, t) in enumerate(zip(positions, times)):
        far = positions[n + 1] - position if n + 1 < len(positions) else 2.0
        near = position - positions[n - 1] if n else 2.0
        way = -way if rng.random() < turn else way
        step = 0 if rng.random() < same else way * (int(rng.integers(3, 6)) if near > 1 or rng.random() < leap else int(rng.integers(1, 3)))
        note, taken = stepped(note, step, around)
        way = way if taken == step else -way
        midi = int(around[note])
        root, shape = sounding(chords, position, meter.beats)
        if stress(position, meter.beats) < 3 and rng.random() < chordal:
            midi = chord_tone(midi, root, shape, 5)
        gain = manner.gain(rng, position) * (1.25 if near > 1 else 1)
        seconds = max((time.beat(position + far) - time.beat(position)) * (short if far < 1.2 else 0.95) * rng.uniform(0.85, 1.05), 0.05)
        if scratch and rng.random() < scratch:
            notes.append((t, None, 0.1, gain * 0.6))
            continue
        if near < 0.6 and rng.random() < legato:
            gain *= rng.uniform(0.3, 0.7)
        if rng.random() < grace:
            notes.append((t - rng.uniform(0.04, 0.1), midi - int(rng.integers(1, 3)), 0.08, gain * rng.uniform(0.6, 1)))
            gain *= rng.uniform(0.4, 0.9)
        notes.append((t, midi, min(seconds, 2.0), gain))
        if rng.random() < double:
            notes.append((t + 0.004 * rng.standard_normal(), midi + int(rng.choice([3, 4, 5, -5, 7])), min(seconds, 2.0), gain * 0.8))
    if rng.random() < 0.2:
        # Chords where the line rests.
        for end in ends:
            position = np.ceil(end * 2 + 0.2) / 2
            if 0 <= position < total and rng.random() < 0.8:
                root, shape = sounding(chords, position, meter.beats)
                notes += [(time.beat(position) + manner.lag[0] + 0.006 * i, 45 + (root - 45) % 12 + i2, rng.uniform(0.1, 1.0), 0.5 * manner.gain(rng, position)) for i, i2 in enumerate(shape)]
    return notes


def accompanied(rng, time, chords, bars):
    """Chords struck or picked as one player would who keeps to a manner, and lets a bar now and then be another."""
    meter = time.meter
    manner, n = Manner(rng, meter), meter.beats
    kind = rng.choice(["low and high", "picked", "broken", "fours", "strummed", "strummed", "struck", "struck", "struck"])
    grid = {4: rng.choice([2, 2, 4, 3] if kind == "broken" else [2, 4]), 3: 3, 6: rng.choice([3, 6])}[meter.parts]
    length = n * int(rng.choice([1, 1, 2, 4]))
    change = rng.choice([0.0, 0.05, 0.15, 0.3])
    slots = [b + k / grid for b in range(length) for k in range(grid)]
    between, beat = rng.uniform(0.1, 0.95), rng.uniform(0.5, 1)
    weights = [rng.uniform(0.1, 1), rng.uniform(0.1, 1)]

    def wanted(position):
        """What is played at a place of the pattern: 'b' a low note, 't' one of the others, 'c' a chord, 'x' a scratch, or nothing."""
        on = abs(position - round(position)) < 0.01
        place = round(position) % n
        if kind == "low and high":
            low = place == 0 or n == 4 and place == 2
            return ("b" if low else "c") if on else ("c" if rng.random() < between * 0.6 else "")
        if kind == "picked":
            return ("bt" if rng.random() < 0.3 else "b") if on and rng.random() < beat else ("t" if rng.random() < between else "")
        if kind == "broken":
            return "b" if on and place == 0 else "t"
        if kind == "fours":
            return ("c" if rng.random() < 0.95 else "x") if on else ("c" if rng.random() < between * 0.15 else "x" if rng.random() < between * 0.1 else "")
        chance = weights[0] * beat if on else between * (weights[1] if abs(position % 1 - 0.5) < 0.01 else 0.7)
        return "c" if rng.random() < chance else "x" if kind == "strummed" and rng.random() < weights[1] * 0.4 else ""

    pattern = [(p, wanted(p)) for p in slots]
    plan = []
    for start in range(0, bars * n, length):
        plan += [(start + p, wanted(p) if rng.random() < change else what) for p, what in pattern]
    if kind == "struck":
        # Figures of the beat instead of a pattern.
        plan = [(b + p, "c") for b, f in enumerate(manner.filled(rng, bars * n)) for p in f if len(f) < 4 and rng.random() < 0.85]
    plan = [(p, what) for p, what in plan if what and p < bars * n]
    if not plan:
        return []
    times = manner.when(rng, time, [p for p, _ in plan])
    early = rng.choice([0, 0, 0, 0.5, 1]) * rng.uniform(0.3, 1)
    spread = rng.choice([0.002, 0.006, 0.012, 0.025]) * rng.uniform(0.3, 1.2)
    base = 40 + int(rng.integers(0, 10))
    short = rng.uniform(0.1, 1.05)
    split = rng.random() < 0.6
    cross = 3 if rng.random() < 0.12 else None
    fills = improvised(rng, time, chords, bars) if rng.random() < 0.2 else []
    notes, turn = [], 0
    for k, ((position, what), t) in enumerate(zip(plan, times)):
        if fills and int(position / n) % 4 == 3:
            continue
        far = plan[k + 1][0] - position if k + 1 < len(plan) else 1.0
        seconds = max((time.beat(position + min(far, 4)) - time.beat(position)) * (short if what == "c" else 1.0) * rng.uniform(0.8, 1.1), 0.05)
        ahead = 0.51 if rng.random() < early and (position % n) > n - 0.6 else 0.0
        root, shape = sounding(chords, position + ahead, n)
        low = base + (root - base) % 12
        pitches = [low + i for i in shape]
        gain = manner.gain(rng, position)
        if what == "x":
            notes.append((t, None, 0.1, gain * rng.uniform(0.3, 0.8)))
            continue
        if "b" in what:
            fifth = 7 if kind == "low and high" and round(position) % n and rng.random() < 0.7 else 0
            notes.append((t, low_note(low + fifth), seconds * 1.5, 1.2 * gain))
        if "t" in what:
            turn = 0 if kind == "broken" and abs(position % n) < 0.01 else turn + 1
            upper = pitches[1:] or pitches
            order = turn % (cross or len(upper)) if kind == "broken" else int(rng.integers(len(upper)))
            notes.append((t, upper[order % len(upper)], seconds * rng.uniform(1, 3), gain))
        if "c" in what:
            down = kind != "strummed" or abs(position * (grid if grid % 2 else grid / 2) % 1) < 0.02
            some = pitches
            if split and kind == "strummed" and len(pitches) > 2:
                some = pitches[:-1] if down else pitches[1:]
                gain *= 1.0 if down else 0.8
            if kind == "low and high":
                some = pitches[1:] or pitches
            notes += struck(rng, t, some if down else some[::-1], spread, seconds, gain)
    beat_of = lambda t: np.searchsorted(time.times, t) - 1
    return notes + [f for f in fills if beat_of(f[0]) // n % 4 == 3]
