"""Random clips as lists of events: which note of the bank sounds from when to when on which string, how loud, and what the network is to be told of it.

Two kinds of playing: excerpts of the open annotations of players 00 and 01, moved along the neck and stretched; and parts made at random from the strokes
of the trade (comping on sixteenths, scratches, grips with spread, broken chords, lines, double stops).
"""
import numpy as np

RATE = 22050
HOP = 256
FRAMES = 430
SAMPLES = FRAMES * HOP
SECONDS = SAMPLES / RATE
LOW, PITCHES = 40, 49
OPEN = np.array([40, 45, 50, 55, 59, 64])
FRETS = 23
# Columns of an event, all float64; times in samples.
START, CLIP, NOTE, RATIO, GAIN, OFF, TAU, KILL, SKIP, ATTACK, VIB, VIBW, SLIDE, SLIDET, DAMP = range(15)
COLUMNS = 15

# Grips of the trade, low string to high, as frets over the root's; None is not played. Common practice.
X = None
SHAPES = [
    (0, 2, 2, 1, 0, 0), (0, 2, 2, 0, 0, 0), (0, 2, 0, 1, 0, 0), (0, 2, 0, 0, 0, 0), (0, X, 1, 1, 0, X), (0, X, 0, 1, 0, X), (0, X, 0, 0, 0, X),
    (X, 0, 2, 2, 2, 0), (X, 0, 2, 2, 1, 0), (X, 0, 2, 0, 2, 0), (X, 0, 2, 0, 1, 0), (X, 0, 2, 1, 2, 0), (X, 1, 0, 1, 1, 1), (X, 0, 1, 0, 1, X),
    (X, X, 0, 2, 3, 2), (X, X, 0, 2, 3, 1), (X, X, 0, 2, 1, 2), (X, X, 0, 2, 2, 2), (X, X, 0, 2, 1, 1), (X, X, 0, 1, 0, 1), (0, 2, 2, X, X, X),
    (X, 0, 2, 2, X, X), (0, X, 2, 2, 2, X), (X, X, X, 0, 0, 0), (X, X, X, 2, 1, 0), (X, X, X, 0, 1, 0), (X, 3, 2, 0, 1, 0), (3, 2, 0, 0, 0, 3),
    (X, X, 2, 2, 2, X), (X, X, 1, 0, 0, X), (X, X, 2, 0, 1, X), (X, 0, X, 0, 1, 0), (3, X, 0, 0, 0, X), (X, X, 0, 2, 3, X),
]


class Notes:
    """What the bank holds, sorted so that a note for a string and pitch is found at once."""

    def __init__(self, midi, string, name, use):
        """`use`: which notes may be drawn."""
        self.midi = midi
        self.sets = {}
        for set_name in sorted(set(name[use])):
            mine = np.nonzero(use & (name == set_name))[0]
            if set_name.startswith("noise"):
                self.sets[set_name] = mine
                continue
            table = [[None] * (PITCHES + 16) for _ in range(6)]
            for s in range(6):
                here = mine[(string[mine] == s) | (string[mine] < 0)]
                if not len(here):
                    here = mine
                for p in range(PITCHES + 16):
                    away = np.abs(np.round(midi[here]) - (LOW - 8 + p))
                    table[s][p] = here[away <= away.min() + (0.5 if string[here[0]] >= 0 else 0)]
            self.sets[set_name] = table
        self.names = [n for n in self.sets if not n.startswith("noise")]

    def pick(self, table, string, pitch, rng):
        c = table[string][int(np.clip(pitch - LOW + 8, 0, PITCHES + 15))]
        return c[int(rng.random() * len(c))]


def family(name):
    return "pluck" if name.startswith("pluck") else "font" if name.startswith("font") else "open"


class Maker:
    """Makes clips. `leave_out` names ingredients that are not used: playing, random, open, pluck, font, rings, legato."""

    def __init__(self, notes, files, leave_out=()):
        """`files`: one array for each annotated file, rows of onset, length (s), string, pitch."""
        self.notes, self.files, self.out = notes, files, set(leave_out)
        self.kinds = {}
        for n in notes.names:
            self.kinds.setdefault(family(n), []).append(n)
        share = {"open": 0.42, "pluck": 0.36, "font": 0.22}
        self.families = [f for f in share if f in self.kinds and f not in self.out]
        self.share = np.array([share[f] for f in self.families])
        self.share /= self.share.sum()
        sizes = {"by-string": 3.0, "electric-flatwound": 1.0, "archtop": 1.6, "font-25": 3.0, "font-24": 0.7, "font-28": 0.3}
        self.within = {f: np.array([sizes.get(n, 1.0) for n in self.kinds[f]]) for f in self.families}

    def batch(self, clips, rng):
        """Events [n, COLUMNS], labels [m, 7] (clip, onset s, offset s, pitch, string, weight, ringing end s) and scratches [k, 2] (clip, s)."""
        events, labels, scratches = [], [], []
        for c in range(clips):
            e, l, x = self.clip(rng)
            e[:, CLIP] = c
            events.append(e)
            labels.append(np.column_stack([np.full(len(l), c), l]))
            scratches.append(np.column_stack([np.full(len(x), c), x]))
        return np.concatenate(events), np.concatenate(labels), np.concatenate(scratches)

    def clip(self, rng):
        use_playing = "playing" not in self.out and ("random" in self.out or rng.random() < 0.6)
        # Rows of played notes: onset, length, string, pitch, gain (dB), legato, damp.
        played, scratches = self.excerpt(rng) if use_playing else part(rng)
        return self.sound(played, scratches, rng)

    def excerpt(self, rng):
        rows = self.files[int(rng.integers(len(self.files)))]
        stretch = np.exp(rng.uniform(-0.25, 0.25))
        last = rows[-1, 0]
        begin = rng.uniform(-0.3, max(0.1, last - 2.5))
        rows = rows[(rows[:, 0] + rows[:, 1] > begin - 0.2) & (rows[:, 0] < begin + SECONDS / stretch)]
        if not len(rows):
            return part(rng)
        string = rows[:, 2].astype(int)
        fret = np.round(rows[:, 3]) - OPEN[string]
        lo, hi = max(-fret.min(), -6), min(21 - fret.max(), 6)
        move = int(rng.integers(lo, hi + 1)) if hi >= lo else 0
        out = np.zeros((len(rows), 7))
        out[:, 0] = (rows[:, 0] - begin) * stretch
        out[:, 1] = rows[:, 1] * stretch
        out[:, 2] = string
        out[:, 3] = np.round(rows[:, 3]) + move
        strokes(out, rng)
        if "legato" not in self.out:
            legato(out, rng)
        return out, np.zeros(0)

    def sound(self, played, scratches, rng):
        full = "rings" not in self.out
        kind = self.families[int(rng.choice(len(self.families), p=self.share))]
        weights = self.within[kind]
        name = self.kinds[kind][int(rng.choice(len(weights), p=weights / weights.sum()))]
        table = self.notes.sets[name]
        played = played[np.argsort(played[:, 0], kind="stable")]
        n = len(played)
        e = np.zeros((n, COLUMNS))
        on, length, string, pitch, gain = (played[:, i] for i in range(5))
        strings = string.astype(int)
        e[:, START] = on * RATE
        e[:, NOTE] = [self.notes.pick(table, s, p, rng) for s, p in zip(strings, pitch)]
        # What is left of a guitar's tuning once the pitch reference is taken off, and of each string's own.
        whole = 0.0 if "detune" in self.out else np.clip(rng.normal(0, 0.09), -0.3, 0.3)
        own = 0.0 if "detune" in self.out else np.clip(rng.normal(0, 0.05, 6), -0.15, 0.15)[strings]
        e[:, RATIO] = 2 ** ((pitch + whole + own - self.notes.midi[e[:, NOTE].astype(int)]) / 12)
        e[:, GAIN] = 10 ** (gain / 20)
        off = on + length
        # How a note ends: stopped at once, let go slowly, or left to ring until its string sounds again.
        tau = np.full(n, np.exp(rng.uniform(np.log(0.02), np.log(0.12))))
        if full:
            mode = rng.random()
            slow = rng.random(n) < (0.0 if mode < 0.35 else 0.35 if mode < 0.75 else 0.9)
            tau = np.where(slow, np.exp(rng.uniform(np.log(0.15), np.log(1.5), n)), tau)
        kill = off + 7 * tau
        ahead = rng.uniform(0.0, 0.03)
        for s in range(6):
            mine = np.nonzero(strings == s)[0]
            if len(mine) > 1:
                nxt = on[mine[1:]]
                kill[mine[:-1]] = np.minimum(kill[mine[:-1]], np.maximum(nxt - ahead * (played[mine[1:], 5] == 0), on[mine[:-1]] + 0.02))
                off[mine[:-1]] = np.minimum(off[mine[:-1]], nxt)
        e[:, OFF], e[:, TAU], e[:, KILL] = off * RATE, tau * RATE, kill * RATE
        # Hammered and pulled notes begin without the pick.
        tied = played[:, 5] > 0
        e[:, SKIP] = np.where(tied, rng.uniform(0.03, 0.1) * RATE, 0)
        e[:, ATTACK] = np.where(tied, rng.uniform(0.004, 0.012) * RATE, 16)
        e[:, GAIN] *= np.where(tied, 10 ** (rng.uniform(-6, 2, n) / 20), 1)
        e[:, DAMP] = np.where(played[:, 6] > 0, 6.9 / np.maximum(played[:, 6], 0.05) / RATE, 0)
        vib = (rng.random(n) < rng.choice([0.0, 0.15, 0.5])) & (length > 0.3)
        hz = rng.uniform(4, 7, n)
        cents = rng.uniform(8, 35, n)
        e[:, VIBW] = 2 * np.pi * hz / RATE
        e[:, VIB] = np.where(vib, e[:, RATIO] * cents * np.log(2) / 1200 / e[:, VIBW], 0)
        slid = (rng.random(n) < rng.choice([0.0, 0.0, 0.08])) & (length > 0.15)
        e[:, SLIDE] = np.where(slid, 1 - 2 ** (-rng.integers(1, 3, n) / 12), 0)
        e[:, SLIDET] = rng.uniform(0.02, 0.07, n) * RATE
        # How far a note lies under the loudest that sounds with it; the ringing ones count with what is left of them.
        weight = np.ones(n)
        for i in range(n):
            with_it = (on < on[i] + 0.04) & (kill > on[i])
            left = gain - 9 * np.maximum(on[i] - on, 0)
            under = left[with_it].max() - gain[i]
            weight[i] = np.clip((30 - under) / 10, 0, 1) if full else 1.0
        heard_until = np.minimum(kill, off + 2.3 * tau)
        if full:
            # Damped notes fall silent before they are let go.
            damp = played[:, 6] > 0
            off = np.where(damp, np.minimum(off, on + 0.55 * played[:, 6]), off)
        labels = np.column_stack([on, off, pitch, string, weight, np.maximum(heard_until, off)])
        extra = [e]
        if full:
            extra += self.rings(played, e, table, whole, rng)
        extra += self.scratch(scratches, gain, full, rng)
        return np.concatenate(extra), labels, np.asarray(scratches, float).reshape(-1, 1)

    def rings(self, played, e, table, whole, rng):
        """What sounds beside the played notes and is not to be written: strings that swing along, strings touched when let go, the hand's noises."""
        out = []
        n = len(played)
        if rng.random() < 0.55 and n:
            chance, level = rng.uniform(0.05, 0.5), rng.uniform(-42, -26)
            rows = []
            for i in np.nonzero(rng.random(n) < chance)[0]:
                s = int(rng.integers(6))
                busy = (played[:, 2] == s) & (played[:, 0] < played[i, 0] + 0.3) & (played[:, 0] + played[:, 1] > played[i, 0] - 0.05)
                if busy.any():
                    continue
                pitch = OPEN[s] + (0 if rng.random() < 0.6 else int(rng.integers(1, 13)))
                touched = rng.random() < 0.35
                at = played[i, 0] + (played[i, 1] if touched else rng.uniform(0, 0.03))
                long = rng.uniform(0.15, 0.5) if touched else rng.uniform(0.3, 1.5)
                r = np.zeros(COLUMNS)
                note = self.notes.pick(table, s, pitch, rng)
                r[[START, NOTE, RATIO]] = at * RATE, note, 2 ** ((pitch + whole - self.notes.midi[note]) / 12)
                r[GAIN] = 10 ** ((played[i, 4] + level + rng.normal(0, 3)) / 20)
                nxt = played[(played[:, 2] == s) & (played[:, 0] > at), 0]
                stop = min(at + long, nxt.min() if len(nxt) else 1e9)
                r[[OFF, TAU, KILL]] = stop * RATE, 0.05 * RATE, (stop + 0.2) * RATE
                r[SKIP], r[ATTACK] = (0, 60) if touched else (rng.uniform(0.05, 0.15) * RATE, rng.uniform(0.03, 0.12) * RATE)
                rows.append(r)
            if rows:
                out.append(np.array(rows))
        if rng.random() < 0.4:
            k = int(rng.integers(1, 10))
            kind = self.notes.sets["noise-finger" if rng.random() < 0.7 else "noise-muted"]
            r = np.zeros((k, COLUMNS))
            at = rng.uniform(0, SECONDS, k)
            if n and rng.random() < 0.5:
                at = played[rng.integers(0, n, k), 0] - rng.uniform(0.0, 0.12, k)
            r[:, START] = at * RATE
            r[:, NOTE] = rng.choice(kind, k)
            r[:, RATIO] = np.exp(rng.uniform(-0.4, 0.4, k))
            r[:, GAIN] = 10 ** (rng.uniform(-38, -16, k) / 20)
            r[:, OFF], r[:, TAU], r[:, KILL], r[:, ATTACK] = (at + 3) * RATE, 1000, (at + 4) * RATE, 8
            out.append(r)
        return out

    def scratch(self, at, gain, full, rng):
        if not len(at):
            return []
        rows = []
        level = float(np.median(gain)) if len(gain) else 0.0
        kind = self.notes.sets["noise-muted"]
        for t in at:
            for k in range(int(rng.integers(1, 4))):
                r = np.zeros(COLUMNS)
                start = t + k * rng.uniform(0.002, 0.009)
                r[[START, NOTE, RATIO, GAIN]] = start * RATE, rng.choice(kind), np.exp(rng.uniform(-0.35, 0.35)), 10 ** ((level + rng.uniform(-12, 1)) / 20)
                r[[OFF, TAU, KILL, ATTACK]] = (start + rng.uniform(0.04, 0.2)) * RATE, 300, (start + 0.4) * RATE, 8
                rows.append(r)
        return [np.array(rows)]


def strokes(rows, rng):
    """Levels: each stroke its own, within it a slope over the strings and each note's chance."""
    order = np.argsort(rows[:, 0], kind="stable")
    stroke = np.zeros(len(rows), int)
    stroke[order] = np.cumsum(np.diff(rows[order, 0], prepend=-9) > 0.035)
    k = stroke.max() + 1
    each = rng.normal(0, rng.uniform(1, 4.5), k) - 9 * (rng.random(k) < rng.choice([0.0, 0.12]))
    slope = rng.normal(0, 1.3, k)[stroke] * (rows[:, 2] - 2.5) + rng.normal(0, 0.8) * (rows[:, 2] - 2.5)
    rows[:, 4] = each[stroke] + slope + np.clip(rng.normal(0, rng.uniform(1, 6), len(rows)), -16, 8)


def legato(rows, rng):
    chance = rng.choice([0.0, 0.25, 0.6])
    for s in range(6):
        mine = np.nonzero(rows[:, 2] == s)[0]
        mine = mine[np.argsort(rows[mine, 0])]
        for a, b in zip(mine, mine[1:]):
            near = abs(rows[b, 3] - rows[a, 3])
            alone = (np.abs(rows[:, 0] - rows[b, 0]) < 0.04).sum() == 1
            if alone and 1 <= near <= 4 and rows[b, 0] - rows[a, 0] - rows[a, 1] < 0.04 and rng.random() < chance:
                rows[b, 5] = 1


def grip(rng):
    """A grip as [(string, fret)], from the trade's shapes or any few neighbours under one hand."""
    while True:
        if rng.random() < 0.72:
            shape = SHAPES[int(rng.integers(len(SHAPES)))]
            at = int(rng.integers(0, 12))
            held = [(s, f + at) for s, f in enumerate(shape) if f is not None]
        else:
            at, k = int(rng.integers(1, 14)), int(rng.integers(2, 7))
            first = int(rng.integers(0, 7 - k))
            held = [(s, 0 if rng.random() < 0.15 else at + int(rng.integers(0, 4))) for s in range(first, first + k) if rng.random() < 0.9]
        if held and all(0 <= f < FRETS for _, f in held):
            return held


def part(rng):
    """A random part: rows as in `Maker.clip`, and the times of scratches."""
    kind = rng.choice(4, p=[0.45, 0.2, 0.27, 0.08])
    step = 60 / rng.uniform(60, 145) / rng.choice([4, 4, 4, 3, 2])
    swing = rng.choice([0.5, 0.5, rng.uniform(0.5, 0.67)])
    slots = int(SECONDS / step) + 8
    begin = rng.uniform(-1.0, 0.0)
    times = [begin + (k // 2 * 2 + (2 * swing if k % 2 else 0)) * step + rng.normal(0, 0.006) for k in range(slots)]
    rows, scratches = [], []
    if kind == 0:
        density, scratchy, short = rng.uniform(0.25, 0.9), rng.choice([0.0, 0.1, 0.35]), rng.choice([0.0, 0.3, 0.8])
        spread = np.exp(rng.uniform(np.log(0.001), np.log(0.014)))
        palm = rng.choice([0.0, 0.0, 0.0, 0.15, 0.6])
        pattern, held, change = rng.random(16), grip(rng), int(rng.choice([4, 8, 16]))
        for k in range(slots):
            if k % change == 0 and rng.random() < 0.8:
                held = grip(rng)
            if pattern[k % 16] > density:
                continue
            if rng.random() < scratchy:
                scratches.append(times[k])
                continue
            some = held
            r = rng.random()
            if r < 0.15:
                some = held[: int(rng.integers(1, 3))]
            elif r < 0.4 and len(held) > 2:
                some = held[int(rng.integers(1, len(held) - 1)):]
            down = k % 2 == 0
            until = next((j for j in range(k + 1, slots) if pattern[j % 16] <= density), slots)
            length = max(0.06, (min(until, slots - 1) - k) * step) if until < slots else 1.0
            if rng.random() < short:
                length *= rng.uniform(0.25, 0.7)
            damp = rng.uniform(0.2, 0.7) if rng.random() < palm else 0
            wide = spread * rng.uniform(0.6, 1.6)
            for i, (s, f) in enumerate(some if down else some[::-1]):
                rows.append((times[k] + i * wide + rng.normal(0, 0.0008), max(length - i * wide, 0.05), s, OPEN[s] + f, 0, 0, damp))
    elif kind == 1:
        held, change, long = grip(rng), int(rng.choice([4, 8, 16])), rng.uniform(0.5, 1)
        for k in range(slots):
            if k % change == 0:
                held = grip(rng)
                end = times[k] + change * step * long
            for s, f in {held[int(rng.integers(len(held)))] for _ in range(1 if rng.random() < 0.75 else 2)} if rng.random() < 0.85 else ():
                rows.append((times[k] + rng.normal(0, 0.003), max(end - times[k], 0.12), s, OPEN[s] + f, 0, 0, 0))
    else:
        # A line walks over strings and frets near the hand; kind 3 in double stops.
        at = int(rng.integers(0, 13))
        s, f = int(rng.integers(0, 6)), at
        k = 0
        close = rng.uniform(0.6, 1.05)
        while k < slots:
            long = int(rng.choice([1, 1, 1, 2, 2, 3, 4]))
            if rng.random() < 0.82:
                for _ in range(20):
                    s2, f2 = s + int(rng.choice([-1, 0, 0, 0, 1])), f + int(rng.integers(-4, 5))
                    if 0 <= s2 < 6 and (at - 1 <= f2 <= at + 5 or (f2 == 0 and rng.random() < 0.2)) and 0 <= f2 < FRETS:
                        s, f = s2, f2
                        break
                length = (min(k + long, slots - 1) - k) * step * close
                rows.append((times[k], max(length, 0.06), s, OPEN[s] + f, 0, 0, 0))
                if kind == 3 and s < 5:
                    other = f + int(rng.integers(-2, 3))
                    if 0 <= other < FRETS:
                        rows.append((times[k] + rng.normal(0, 0.003), max(length, 0.06), s + 1, OPEN[s + 1] + other, 0, 0, 0))
            if rng.random() < 0.08:
                at = int(np.clip(at + rng.integers(-4, 5), 0, 15))
                f = at
            k += long
    if not rows:
        return part(rng)
    out = np.array(rows, float)
    out = out[np.argsort(out[:, 0], kind="stable")]
    for s in range(6):
        mine = np.nonzero(out[:, 2] == s)[0]
        if len(mine) > 1:
            out[mine[:-1], 1] = np.minimum(out[mine[:-1], 1], np.maximum(np.diff(out[mine, 0]), 0.02))
    strokes(out, rng)
    if kind >= 2:
        legato(out, rng)
    out = out[(out[:, 0] < SECONDS) & (out[:, 0] + out[:, 1] > -0.5)]
    return (out, np.array([t for t in scratches if 0 <= t < SECONDS])) if len(out) else part(rng)
