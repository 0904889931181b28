"""Playing made up by dice: meters, tempo that moves, a guitar that keeps to the beat or leaves it, bass and drums or none. Each maker gives notes as
(time, what) and the beats they hang on.
"""
import numpy as np

# Intervals over the root, low to high, as guitars take them.
SHAPES = [(0, 7, 12, 16), (0, 7, 12, 15), (0, 7, 10, 16), (0, 7, 10, 15), (0, 10, 16, 19), (0, 10, 15, 19), (12, 16, 19), (12, 15, 19), (10, 16, 21), (10, 15, 19, 22),
          (4, 10, 14), (3, 10, 14), (0, 12), (0, 7, 12), (0, 7, 12, 16, 19, 24), (0, 7, 12, 15, 19, 24), (0, 11, 16, 19), (5, 10, 14, 19)]


class Meter:
    def __init__(self, beats, parts, name):
        self.beats, self.parts, self.name = beats, parts, name
        self.slots = beats * parts

    def level(self, slot):
        """0 the bar's first, 1 its middle, 2 other beats, 3 eighths, 4 the rest."""
        if slot == 0:
            return 0
        beat, within = divmod(slot, self.parts)
        if within == 0:
            return 1 if self.beats % 2 == 0 and beat == self.beats // 2 else 2
        if self.parts == 6:
            return 3 if within % 2 == 0 else 4
        return 3 if self.parts == 3 or within * 2 == self.parts else 4


METERS = [Meter(4, 4, "4/4"), Meter(3, 4, "3/4"), Meter(2, 6, "6/8"), Meter(4, 3, "4/4")]


class Time:
    """Beats whose tempo moves, and where the slots between them lie."""

    def __init__(self, rng, meter, bpm, beats, swing, of):
        # Half of all playing keeps to a click, or might.
        moves = rng.random() < 0.5
        wave = rng.uniform(0, 0.04) if moves and rng.random() < 0.6 else 0.0
        period, phase = rng.uniform(8, 64), rng.uniform(0, 2 * np.pi)
        walk = np.cumsum(rng.standard_normal(beats)) * (rng.uniform(0, 0.004) if moves and rng.random() < 0.5 else 0.0)
        lengths = 60 / bpm * np.clip(1 + wave * np.sin(2 * np.pi * np.arange(beats) / period + phase) + walk, 0.85, 1.15)
        self.times = np.concatenate([[0], np.cumsum(lengths)])
        self.meter = meter
        p = meter.parts
        self.places = np.arange(p) / p
        if p == 4 and of == 16:
            self.places = np.array([0, 0.5 * swing, 0.5, 0.5 + 0.5 * swing])
        elif p == 4 and of == 8:
            self.places = np.array([0, swing / 2, swing, swing + (1 - swing) / 2])

    def at(self, bar, slot):
        """Also slots past the bar's end."""
        beat, within = divmod(slot, self.meter.parts)
        beat = min(bar * self.meter.beats + beat, len(self.times) - 2)
        return self.times[beat] + self.places[within] * (self.times[beat + 1] - self.times[beat])

    def beat(self, position):
        """Any place in beats, swung as the slots are; before the first and past the last as near them."""
        beat = int(np.clip(np.floor(position + 1e-9), 0, len(self.times) - 2))
        within = position - beat
        if 0 < within < 1:
            within = np.interp(within, np.arange(self.meter.parts + 1) / self.meter.parts, [*self.places, 1.0])
        return self.times[beat] + within * (self.times[beat + 1] - self.times[beat])


def rhythm(rng, meter):
    """A bar of strokes: 'a' a chord, 'x' a scratch, '.' silence, '-' goes on."""
    n, p = meter.slots, meter.parts
    kinds = ["eighths", "quarters", "on", "on", "on", "off", "off", "off", "ands", "backbeat", "sixteenths", "sixteenths", "known", "sparse", "late", "free"]
    kind = kinds[rng.integers(len(kinds))]
    chance = np.zeros(n)
    levels = np.array([meter.level(s) for s in range(n)])
    if kind == "eighths":
        chance[levels <= 3] = 1
        if rng.random() < 0.3:
            chance[rng.integers(n)] = 0
    elif kind == "quarters":
        chance[levels <= 2] = 1
    elif kind == "on":
        chance = np.array([0.97, 0.8, 0.7, rng.uniform(0.1, 0.6), rng.uniform(0, 0.4)])[levels]
    elif kind == "off":
        chance = np.array([rng.uniform(0, 0.5), 0.2, 0.15, rng.uniform(0.35, 0.9), rng.uniform(0.1, 0.6)])[levels]
    elif kind == "ands":
        chance[levels == 3] = 1
        if rng.random() < 0.5:
            chance[levels == 4] = rng.uniform(0, 0.25)
    elif kind == "backbeat":
        chance[[s for s in range(n) if s % p == 0 and s // p % 2 == 1]] = 1
        chance[levels == 4] = rng.uniform(0, 0.2)
    elif kind == "sixteenths":
        stress = rng.uniform(0, 1, 5)
        chance = stress[levels]
    elif kind == "known":
        steps = [[0, 6], [0, 3, 6], [0, 6, 12], [0, 3, 6, 10, 12], [2, 6], [0, 7], [0, 6, 10], [3, 6], [0, 4, 7, 10], [0, 3, 8, 11], [2, 5, 8, 11, 14], [0, 5, 8, 13]][rng.integers(12)]
        chance[[s for s in steps if s < n]] = 1
    elif kind == "sparse":
        chance[rng.choice(n, rng.integers(1, 4), replace=False)] = 1
    elif kind == "free":
        # Wherever the dice fall, alike in each beat or not.
        chance[:] = rng.random(p)[np.arange(n) % p] if rng.random() < 0.2 else rng.uniform(0.15, 0.7)
    else:
        # What would lie on the beat comes a slot or an eighth before or after it.
        move = [1, -1, p // 2][rng.integers(3)]
        chance[(np.flatnonzero(levels <= 2) + move) % n] = rng.uniform(0.6, 1)
        chance[levels == 3] = np.maximum(chance[levels == 3], rng.uniform(0, 0.4))
    bar = ["a" if rng.random() < c else "." for c in chance]
    scratch = rng.uniform(0.2, 1) if kind in ("sixteenths", "free") else (rng.uniform(0, 0.6) if rng.random() < 0.5 else 0)
    grid = 5 if rng.random() < 0.75 else 4
    bar = ["x" if b == "." and l < grid and rng.random() < scratch else b for b, l in zip(bar, levels)]
    ring = rng.random() * 0.9
    for s in range(1, n):
        if bar[s] == "." and bar[s - 1] in "a-" and rng.random() < ring:
            bar[s] = "-"
    return bar


def changed(rng, bar, share):
    return [("ax.-"[rng.integers(4)] if rng.random() < share else b) for b in bar]


def harmony(rng, bars, meter):
    """A (root, shape) for each half bar, changing on bar lines but for a few."""
    every = [1, 2, 2, 4, 4, 8, 1000][rng.integers(7)]
    roots, shapes = rng.integers(0, 12, 4), rng.integers(0, len(SHAPES), 4)
    if rng.random() < 0.5:
        shapes[:] = shapes[0]
    return [(int(roots[h // every % 4]), SHAPES[shapes[h // every % 4]]) for h in range(2 * bars + 2)]


def comping(rng, time, chords, bars):
    """Guitar notes: (time, midi or None for a scratch, seconds, gain)."""
    meter = time.meter
    one = rhythm(rng, meter)
    two = rhythm(rng, meter) if rng.random() < 0.25 else one
    two = changed(rng, one, 0.15) if two is one and rng.random() < 0.35 else two
    share = rng.choice([0, 0, 0.05, 0.12])
    single = rng.random()
    push = rng.random() < 0.3
    accent = rng.uniform(-0.35, 0.35, 5)
    lag, jitter = rng.normal(0, 0.006), rng.uniform(0, 0.012)
    spread = rng.uniform(0, 0.008)
    scratch_gain = 10 ** rng.uniform(-0.9, 0.0)
    base = 40 + rng.integers(0, 12)
    notes = []
    for b in range(bars):
        bar = changed(rng, [one, two][b % 2], share)
        for s, token in enumerate(bar):
            if token not in "ax":
                continue
            end = s + 1
            while end < len(bar) and bar[end] == "-":
                end += 1
            t = time.at(b, s) + lag + jitter * rng.standard_normal()
            gain = np.exp(0.15 * rng.standard_normal()) * (1 + accent[meter.level(s)])
            if token == "x":
                notes.append((t, None, 0.1, gain * scratch_gain))
                continue
            half = 2 * b + (s * 2 >= len(bar))
            if push and s >= len(bar) - meter.parts // 2:
                half = 2 * b + 2
            root, shape = chords[half]
            low = base + (root - base) % 12
            pitches = [low + i for i in shape]
            if single < 0.2:
                # One note at a time, the lowest on beats.
                pitches = [pitches[0] if meter.level(s) <= 2 else pitches[rng.integers(len(pitches))]]
            elif single < 0.28:
                pitches = [pitches[rng.integers(len(pitches))] + 12]
            down = s % 2 == 0
            seconds = max(time.at(b, end) - time.at(b, s) - rng.uniform(0, 0.03), 0.04)
            if rng.random() < 0.2:
                seconds = min(seconds, rng.uniform(0.05, 0.12))
            for i, midi in enumerate(pitches if down else pitches[::-1]):
                notes.append((t + i * spread, midi, seconds, gain / np.sqrt(len(pitches)) * np.exp(0.1 * rng.standard_normal())))
    return notes


SCALES = [(0, 3, 5, 7, 10), (0, 2, 4, 7, 9), (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 9, 10), (0, 3, 5, 6, 7, 10)]


def line(rng, time, chords, bars):
    """One voice in phrases, with rests between them."""
    meter = time.meter
    levels = [meter.level(s) for s in range(meter.slots)]
    scale = np.array(SCALES[rng.integers(len(SCALES))])
    around = np.sort(np.concatenate([scale + 12 * o for o in range(4, 8)]) + chords[0][0])
    around = around[(around >= 45) & (around <= 84)]
    at = int(rng.integers(len(around)))
    lag, jitter, accent = rng.normal(0, 0.01), rng.uniform(0, 0.018), rng.uniform(-0.2, 0.4, 5)
    ways = [[0.85, 0.85, 0.85, 0.8, 0.05], [0.9, 0.9, 0.9, 0.85, 0.75], [0.55, 0.45, 0.4, 0.3, 0.08], [0.45, 0.4, 0.35, 0.6, 0.3], [0.9, 0.8, 0.7, 0.3, 0.05]]
    own = ways[rng.integers(len(ways))]
    hits = []
    for b in range(bars):
        way = own if rng.random() < 0.5 else ways[rng.integers(len(ways))]
        rest = rng.integers(meter.slots + 1) if rng.random() < 0.35 else meter.slots
        begin = rng.integers(meter.slots // 2) if rng.random() < 0.25 else 0
        hits += [(b, s) for s in range(begin, rest) if rng.random() < way[levels[s]]]
    notes = []
    for (b, s), (nb, ns) in zip(hits, hits[1:] + [(bars, 0)]):
        at = int(np.clip(at + rng.integers(-3, 4), 0, len(around) - 1))
        seconds = max(min(time.at(nb, ns) - time.at(b, s), 1.5) * rng.uniform(0.5, 1.02), 0.05)
        notes.append((time.at(b, s) + lag + jitter * rng.standard_normal(), int(around[at]), seconds, np.exp(0.2 * rng.standard_normal()) * (1 + accent[levels[s]])))
    return notes


def bass(rng, time, chords, bars):
    meter = time.meter
    levels = [meter.level(s) for s in range(meter.slots)]
    kind = ["one", "halves", "quarters", "eighths", "off", "off", "late"][rng.integers(7)]
    chance = {"one": [1, 0, 0, 0, 0], "halves": [1, 0.95, 0.1, 0.05, 0], "quarters": [1, 1, 1, 0.1, 0.02], "eighths": [1, 1, 1, 0.97, 0],
              "off": [0.92, 0.3, 0.25, rng.uniform(0.3, 0.7), rng.uniform(0.1, 0.4)], "late": [0.1, 0.6, 0.4, 0.5, 0.2]}[kind]
    bar = [rng.random() < chance[l] for l in levels]
    lag, jitter = rng.normal(0, 0.005), rng.uniform(0, 0.01)
    notes = []
    for b in range(bars):
        hits = [s for s in range(meter.slots) if (bar[s] if rng.random() > 0.1 else rng.random() < chance[levels[s]])]
        for s, end in zip(hits, hits[1:] + [meter.slots]):
            root, shape = chords[2 * b + (2 * s >= meter.slots)]
            step = 0 if s == 0 or rng.random() < 0.6 else [7, 12, -5, 10, 2][rng.integers(5)]
            midi = 28 + (root - 28) % 12 + step
            seconds = (time.at(b, end) - time.at(b, s)) * rng.uniform(0.4, 1)
            notes.append((time.at(b, s) + lag + jitter * rng.standard_normal(), max(midi, 26), seconds, 1 + 0.15 * rng.standard_normal()))
    return notes


def drums(rng, time, bars):
    """(time, which drum, gain)."""
    meter = time.meter
    n, p, beats = meter.slots, meter.parts, meter.beats
    half = max(p // 2, 1)
    kick, snare, hat = set(), set(), set()
    if meter.name == "4/4":
        style = ["back", "back", "back", "half", "four", "hats", "drop", "swing", "broken"][rng.integers(9)]
        if style in ("back", "broken"):
            kick, snare = {0}, {p, 3 * p}
            kick |= {s for s in range(1, n) if s not in snare and rng.random() < (0.3 if s % half == 0 else 0.12)}
            if style == "broken" and rng.random() < 0.5:
                kick.discard(0)
            snare |= {s for s in range(n) if s % p and rng.random() < 0.06}
        elif style == "half":
            kick, snare = {0} | {s for s in range(1, n) if rng.random() < 0.15}, {2 * p}
        elif style == "four":
            kick, snare = {0, p, 2 * p, 3 * p}, ({p, 3 * p} if rng.random() < 0.7 else set())
        elif style == "drop":
            kick = snare = {2 * p}
        elif style == "swing":
            snare = {p, 3 * p} if rng.random() < 0.7 else set()
            kick = {s for s in range(n) if rng.random() < 0.1}
    elif meter.name == "3/4":
        kick, snare = {0}, ({p, 2 * p} if rng.random() < 0.6 else {2 * p})
        kick |= {s for s in range(1, n) if rng.random() < 0.08}
    else:
        kick, snare = {0} | {s for s in range(1, n) if s % 2 == 0 and rng.random() < 0.15}, {p}
    which = "ride" if rng.random() < 0.25 else "hat"
    division = rng.integers(5)
    if division == 0:
        hat = set(range(0, n, p))
    elif division in (1, 2):
        hat = set(range(0, n, half if p % 2 == 0 else 1))
    elif division == 3:
        hat = set(range(n))
    if p == 6 and hat:
        hat = set(range(0, n, 2))
    if division == 4 and p == 4 and rng.random() < 0.5:
        hat = set(range(2, n, 4))
    jitter = rng.uniform(0, 0.006)
    accent = rng.uniform(0.3, 1)
    out = []
    for b in range(bars):
        fill = b % 4 == 3 and rng.random() < 0.3
        for s in range(n):
            t = time.at(b, s) + jitter * rng.standard_normal()
            if fill and s >= n - p:
                if rng.random() < 0.6:
                    out.append((t, ["tom", "snare"][rng.integers(2)], rng.uniform(0.4, 0.9)))
                continue
            if s in kick and rng.random() < 0.97:
                out.append((t, "kick", rng.uniform(0.75, 1.1)))
            if s in snare and rng.random() < 0.97:
                out.append((t, "snare", rng.uniform(0.6, 1) if s % p == 0 else rng.uniform(0.15, 0.5)))
            if s in hat and rng.random() < 0.97:
                out.append((t, which, rng.uniform(0.2, 0.5) * (1 if s % half == 0 else accent)))
            if s == 0 and b % 4 == 0 and rng.random() < 0.15:
                out.append((t, "crash", 0.6))
    return out
