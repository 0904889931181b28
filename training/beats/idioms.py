"""Accompaniments and lines as they are usual in some kinds of playing (common practice, written for this from general knowledge of the trade; shares by ear), varied by dice as players vary them.
Parts are notes (time, midi or None for a scratch, seconds, gain), as in `patterns.py`.
"""
import numpy as np

import manners
from patterns import METERS, SCALES

# Kind: meter, slots a beat, beats a minute from and to, swing of eighths from and to (.5 even), bars of strokes: 'c' a chord, 'h' its high strings, 'b' its lowest note, 'f' its second lowest,
# 't' one of the others, 'x' a scratch, '-' goes on, '.' silence. Two bars belong together where there are two.
ACCOMPANIMENTS = [
    # Chords between a bass of halves.
    ("4/4", 2, 110, 170, .5, .5, ["b.hf-.h. b.hfh.h.", "bh.hfh.h b.h.fh.h", "b..hf.h. .h.hf.h.", "c..c..c. ..c..c..", "b-hhf-h. bh.hf-hh", ".h.hf.h. b.h.f..h"]),
    # Swung chords: on two and four, before the bar, in fours, the dotted quarter with its eighth.
    ("4/4", 2, 100, 220, .56, .67, ["c..c....", "c..c---- .c..c...", "...c...c", "..c...c.", "c.c.c.c.", "c-c-c-c-", ".c.c....", "c..c..c. .c..c..c", "....c..c ...c....", "...c-... c..c....", "..c..c.. ...c.c..", "c---...c -----c..", "c.cc.... ..c....c"]),
    # Sixteenths with damped strokes.
    ("4/4", 4, 84, 122, .5, .5, ["c..x..c.x.c...x.", "c.xxc.xx.xcx.xcx", "cxxcxxcxxxcxxcxx", "x.cx.xc.x.cxx.c.", "..cx..cx..cx..cx", "c..c..c.x.xcx.x.", "c.xc.xc.....x.c. c.xc.xc...c.x.xx", "xxcxxxcxxxcxxxcx", "c...x..cx.c.x...", ".xc..xc..xc..xcx", "cx.cx.c.xxcx.xc.", "c.......c.xcx.c."]),
    # Even eighths, pushed and not.
    ("4/4", 2, 100, 170, .5, .5, ["cccccccc", "c-c-cccc", "c--c--c-", "c--cc-c- c--cc-cc", "c-.cc.cc", "c--c-cc-", "c.c.c.c.", "cc.cc.cc", "c---c-c- .cc-c-c-", "c--c---c ---c-c-c", "c...x...", "bbbbbbbb", "bbcbbbcb", "bbfbbbfb", "c-cxc-cx"]),
    # Strummed in time.
    ("4/4", 2, 66, 124, .5, .6, ["c-cc-ccc", "c-c-c-cc", "c---c-cc -cc-c-cc", "c-ch-hch", "b-hhf-hh", "b-h-f-h-", "c---c---", "c-----c-", "cxhcxhch", "c-cc-cc- c-cc-cch"]),
    ("4/4", 4, 66, 104, .5, .56, ["c---c-hhh-c-c-hh", "c--hc-hhc--hc-hh", "c-----c-c---c---", "c-xxc-xxc-xxc-xx", "c---x-hc-hc-x-hh", "b---h-h-f---h-hh"]),
    # Picked.
    ("4/4", 2, 60, 132, .5, .5, ["bttttttt", "bttftttt", "btfttbft", "bttbttbt", "btttfttt", "b-tft-tf", "bhthfhth", "btftbtft", "b-t-f-t-", "bt-tf-tt"]),
    ("4/4", 4, 56, 96, .5, .5, ["btttftttbtttfttt", "b-ttf-ttb-ttf-tt", "b---t-t-f---t-t-", "b-tf-tb-t-f-t-tt"]),
    # Struck after the beat.
    ("4/4", 2, 66, 150, .5, .5, ["..c...c.", ".c.c.c.c", "..c...cc", "..cx..cx"]),
    # Shuffles and slow blues, in thirds.
    ("4/4", 3, 60, 140, .5, .5, ["c.cc.cc.cc.c", "c.cc.xc.cc.x", "b.hb.hb.hb.h", "c--..c--.---", "cccccccccccc", "c-cc-cc-cc-c c-cc-cc-cc--", "...c.....c..", "c----.c..c..", "btttttbttttt", "c-------c--c"]),
    # Waltzes.
    ("3/4", 2, 80, 190, .5, .5, ["b.h.h.", "b-h-h-", "b-hhhh", "b-h-hh", "c-c-c-", "c-c-cc", "c-cccc", "bttttt", "bththt", "b-t-t-", "c--c--", "c-----", "b.h.h. b.h.hh", "cccccc", "..h.h."]),
    ("3/4", 2, 110, 200, .58, .67, ["c..c..", "c--c-- .-c-c-", "b.h.h.", ".c..c.", "c.c.c.", "c-..c- -.c.c-"]),
    # Six eighths.
    ("6/8", 6, 40, 84, .5, .5, ["b.t.t.f.t.t.", "b-t-t-t-t-t-", "c-h-h-c-h-h-", "b---h-f---h-", "c---h-c---h-", "c-----c---h-", "c---hhc---hh", "b-h-h-f-h-h-", "c-----h-h-h-", "c-h-hhc-h-hh", "b-h-h-h-h-h-"]),
]

# A line's kind: meter, slots a beat, beats a minute, swing; and what its beats or pairs of beats are filled with.
LINES = [
    ("4/4", 2, 110, 230, .55, .67, ["nnnn", "nnnn", "nnnn", "n-nn", "nnn-", ".nnn", "n---", "....", "n-n-", ".nn-", "n-.n", "-nnn", "...n", "n..."]),
    ("4/4", 4, 70, 112, .5, .56, ["nnnn", "n.nn", "n-nn", ".nnn", "n--n", ".n.n", "n-n-", "n---", "....", "--n-", ".nn.", "nn-n", "..nn"]),
    ("4/4", 2, 90, 160, .5, .5, ["nnnn", "n-n-", "n---", "n-nn", ".n-n", "-n-n", "nn-n", "....", "n--n", "--n-", "nnn-", ".nn-"]),
    ("4/4", 3, 56, 132, .5, .5, ["nnn", "n-n", "n-n", "n--", "...", ".nn", "--n", "nn-", "..n", "n.."]),
    ("4/4", 4, 60, 90, .5, .5, ["n---", "n-n-", "n-nn", "....", "nnn-", "nnnn", "n--n", "--n-", "..n-"]),
    ("3/4", 2, 80, 180, .5, .62, ["n-", "nn", "n-", "--", ".n", "-n", ".."]),
    ("6/8", 6, 42, 84, .5, .5, ["n-n-n-", "n---n-", "n-----", "......", "..n-n-", "n-nnn-", "nnnnnn", "n--nn-", "--n-n-", "n-n---"]),
]


class Kind:
    """A way of playing: meter, tempo, swing, and what it is filled with."""

    def __init__(self, rng, rows):
        share = np.array([len(r[-1]) for r in rows], float) ** 0.5
        name, self.parts, low, high, swing, most, self.bars = rows[rng.choice(len(rows), p=share / share.sum())]
        self.bpm = float(np.exp(rng.uniform(np.log(low), np.log(high))))
        self.swing = float(rng.uniform(swing, most))
        self.meter = next(m for m in METERS if m.name == name and (m.parts == 3) == (self.parts == 3))


def accompanied(rng, time, chords, bars, kind):
    """Strokes of a usual accompaniment, of which some are left out and others added."""
    meter, manner = time.meter, manners.Manner(rng, time.meter)
    n = meter.beats
    one, other = (kind.bars[rng.integers(len(kind.bars))].split() for _ in range(2))
    every, share = int(rng.choice([2, 4, 4, 8])), rng.choice([0.0, 0.25, 0.5])
    gone, more = rng.choice([0.0, 0.03, 0.1]), rng.choice([0.0, 0.03, 0.08])
    plan = []
    for b in range(bars):
        own = other if b % every == every - 1 and rng.random() < share else one
        for s, token in enumerate(own[b % len(own)]):
            if token not in ".-" and rng.random() < gone:
                token = "-"
            elif token in ".-" and rng.random() < more:
                token = rng.choice(list("hxt")) if "x" in "".join(own) else "h"
            plan.append((b * n + s / kind.parts, token))
    plan = [(p, t, next((k for k, (_, u) in enumerate(plan[i + 1:], 1) if u != "-"), 1)) for i, (p, t) in enumerate(plan) if t not in ".-"]
    if not plan:
        return []
    times = manner.when(rng, time, [p for p, *_ in plan])
    early = rng.choice([0, 0, 0, 1]) * rng.uniform(0.3, 1)
    spread = rng.choice([0.002, 0.006, 0.012, 0.025]) * rng.uniform(0.3, 1.2)
    base, short, scratch = 40 + int(rng.integers(0, 10)), rng.uniform(0.3, 1.1), rng.uniform(0.25, 0.8)
    turn, notes = 0, []
    for (position, token, length), t in zip(plan, times):
        gain = manner.gain(rng, position)
        if token == "x":
            notes.append((t, None, 0.1, gain * scratch))
            continue
        ahead = 0.51 if rng.random() < early and position % n > n - 0.6 else 0.0
        root, shape = manners.sounding(chords, position + ahead, n)
        low = base + (root - base) % 12
        pitches = [low + i for i in shape]
        seconds = max((time.beat(position + length / kind.parts) - time.beat(position)) * short * rng.uniform(0.8, 1.1), 0.05)
        if token in "bf":
            fifth = 7 if token == "f" and rng.random() < 0.8 else 0
            notes.append((t, manners.low_note(low + fifth), seconds * 1.5, 1.1 * gain))
        elif token == "t":
            upper = pitches[1:] or pitches
            turn += 1 if rng.random() < 0.85 else 2
            notes.append((t, upper[turn % len(upper)], seconds * rng.uniform(1, 3), gain))
        else:
            some = pitches[-3:] if token == "h" else pitches
            up = kind.parts * position % 2 > 0.9 and rng.random() < 0.8
            notes += manners.struck(rng, t, some[::-1] if up else some, spread, seconds, gain)
    return notes


def improvised(rng, time, chords, bars, kind):
    """Phrases of a few figures that come again at other pitches, with rests between them."""
    meter, manner = time.meter, manners.Manner(rng, time.meter)
    n, total = meter.beats, bars * meter.beats
    figures = kind.bars
    shares = np.exp(rng.uniform(0.2, 1.0) * rng.standard_normal(len(figures)))
    draw = lambda: figures[rng.choice(len(figures), p=shares / shares.sum())]
    motif = "".join(draw() for _ in range(8))
    again, rest, rests = rng.choice([0.1, 0.4, 0.7]), rng.choice([0.1, 0.2, 0.35]), rng.choice([1, 2, 3])
    slots, width = "", 4 * kind.parts if meter.beats == 4 else n * kind.parts
    while len(slots) < total * kind.parts:
        if rng.random() < again:
            slots += motif[:width]
        else:
            bar = ""
            while len(bar) < width:
                bar += draw()
            slots += bar[:width]
        if rng.random() < rest:
            gone = int(rng.integers(1, rests + 1)) * kind.parts
            slots = slots[:-gone] + "n" + "-" * (gone - 1) if rng.random() < 0.4 else slots[:-gone] + "." * gone
    slots = slots[:total * kind.parts]
    starts = [k for k, c in enumerate(slots) if c == "n"]
    if len(starts) < 2:
        return []
    times = manner.when(rng, time, [k / kind.parts for k in starts])
    scale = np.array(SCALES[rng.integers(len(SCALES))])
    around = np.sort(np.concatenate([scale + 12 * o for o in range(3, 8)]) + chords[0][0])
    middle = int(rng.integers(56, 76))
    around = around[(around >= middle - 10) & (around <= middle + 10)]
    note, way, chordal, turn, legato = int(rng.integers(len(around))), 1, rng.uniform(0, 0.9), rng.uniform(0.1, 0.5), rng.uniform(0, 0.6)
    short, notes = rng.uniform(0.5, 1.0), []
    for k, t in zip(starts, times):
        length = next((j for j, c in enumerate(slots[k + 1:], 1) if c != "-"), 1)
        position = k / kind.parts
        way = -way if rng.random() < turn else way
        step = way * int(rng.choice([0, 1, 1, 1, 2, 2, 3]))
        note, taken = manners.stepped(note, step, around)
        way = way if taken == step else -way
        midi = int(around[note])
        root, shape = manners.sounding(chords, position, n)
        if manners.stress(position, n) < 3 and rng.random() < chordal:
            midi = manners.chord_tone(midi, root, shape, 4)
        gain = manner.gain(rng, position) * (rng.uniform(0.3, 0.7) if length == 1 and rng.random() < legato else 1)
        seconds = (time.beat(position + length / kind.parts) - time.beat(position)) * (short if length == 1 else 0.95)
        notes.append((t, midi, min(max(seconds, 0.05), 2.0), gain))
        if rng.random() < 0.04:
            notes.append((t - rng.uniform(0.04, 0.09), midi - 1, 0.08, gain * 0.7))
    return notes
