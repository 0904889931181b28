"""Pieces that dice make, for the key: progressions of textbooks (BOOK) and of what may follow what in functional harmony (FOLLOWS), common practice, played by recorded single notes in many ways,
as grips or as a melody. The three progressions that GuitarSet's players play are not among them; a blues on sevenths and a circle of fifths in minor, their kin, are.
"""
import collections
import re

import numpy as np

from clips import bass_line, played

NAMES = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"]
STEPS = {"I": 0, "II": 2, "III": 4, "IV": 5, "V": 7, "VI": 9, "VII": 11}
# Kinds: major, minor, dominant seventh, diminished, open fifth.
TONES = {"": [0, 4, 7], "m": [0, 3, 7], "7": [0, 4, 7, 10], "o": [0, 3, 6], "5": [0, 7]}
LABELS = {"": "maj", "m": "min", "7": "7", "o": "dim", "5": "5"}
SCALES = {"major": [0, 2, 4, 5, 7, 9, 11], "minor": [0, 2, 3, 5, 7, 8, 10]}
# Degrees over the tonic, small letters minor, o diminished, 7 dominant, 5 open; *BARS.
BOOK = {
    "major": """I IV I*2 IV*2 I*2 V IV I V|I7*4 IV7*2 I7*2 V7 IV7 I7*2|I7 IV7 I7*2 IV7*2 I7*2 V7 IV7 I7 V7|I7 IV7 I7*2 IV7*2 I7 VI7 ii V7 I7 V7
        I7 IV7 I7 v*.5 I7*.5 IV7 #IVo I7 VI7 ii V7 I7*.5 VI7*.5 ii*.5 V7*.5|ii V7 I*2 ii V7 I*2|I vi ii V7 I vi ii V7 I vi ii V7 I*2|I vi ii V7
        I7*.5 VI7*.5 II7*.5 V7*.5 I7*.5 VI7*.5 II7*.5 V7*.5 I7|I vi IV V I vi IV V|I V vi IV I V vi IV|vi IV I V vi IV I V I|I IV I IV I IV I|I*2 V*2 V*2 I*2
        I bVII IV I I bVII IV I|I IV V IV I IV V IV I|I*2 bVII*2 I*2 bVII*2 I*2|I7*2 bVII I7*2 IV I7*2|I IV viio iii vi ii V7 I|iii vi ii V7 I*2
        I III7 vi VI7 ii V7 I*2|I*2 VI7*2 II7*2 V7*2 I*2|III7*2 VI7*2 II7*2 V7*2 I*2|I vi ii V7 I vi ii V7 I I7 IV iv I V7 I|I iii IV I ii vi IV V
        I*2 IV I V*2 I*2 IV I V I|I IV I V vi IV V I|I*2 V7*2 V7*2 I*2 I*2 IV*2 V7 I|I IV V7 I III7 vi III7 vi ii V7 I I|I I7 IV iv I V7 I
        I5 IV5 V5 I5 I5 IV5 V5 I5|I7*8|I7*4 IV7*4 I7*4 IV7*4 I7|I*2 II7*2 ii V7 I bII7 I|ii bII7 I*2 ii bII7 I*2|I iv bVII7 I I iv bVII7 I
        I bVI bVII I I bVI bVII I|I iii ii V7 I iii ii V7 I|I iii IV V I iii IV V|I I7 IV #IVo I V7 I*2|IV V iii vi IV V I*2|I*2 ii V7 I*2 ii V7 I*2""",
    "minor": """i*4 iv*2 i*2 bVI7 V7 i*2|i*4 iv*2 i*2 V7 iv i*2|i iv i*2 iv*2 i*2 iio V7 i V7|iio V7 i*2 iio V7 i*2|i bVI bIII bVII i bVI bIII bVII i
        i bVII bVI bVII i bVII bVI bVII i|i bVII bVI V i bVII bVI V i|i bVII bVI V7 i bVII bVI V7|i*2 IV*2 i*2 IV*2 i|i IV7 i IV7 i IV7 i IV7
        i*2 v iv i*2 v iv i|i iv V i iv V i|i iv i V i iv i V i|i bVI iv V i bVI iv V i|i iv bVII bIII bVI iio V7 i|i5 bVI5 bVII5 i5 i5 bVI5 bVII5 i5
        i5 bIII5 IV5 i5 i5 bIII5 bVII5 i5|i*8|i*2 V7*2 V7*2 i*2 iv*2 i*2 V7*2 i*2|i V7 i bVII7 bIII bVII7 bIII V7 i iv V7 i|i bIII bVII IV i bIII bVII IV i
        i bVII bVI V7 i|i*2 iv*2 V7*2 i*2""",
}
# What may follow each chord, the likeliest first; the first chord is the tonic.
FOLLOWS = {
    "major": "I: V IV vi ii iii bVII VI7|ii: V7 V IV iii|iii: vi IV ii|IV: I V ii vi iv bVII|V: I I vi IV|V7: I I vi|vi: IV ii V iii II7|bVII: IV I|VI7: ii II7|II7: V V7|iv: I V7",
    "minor": "i: iv bVII bVI V7 bIII iio v IV|iio: V7 V|bIII: bVI bVII iv|iv: i V7 bVII V bVI|v: i bVI|V: i i bVI|V7: i i bVI|bVI: bVII V7 bIII iv|bVII: i bIII bVI|IV: i bVII",
    "blues": "I7: IV7 I7 V7 VI7|IV7: I7 I7 V7|V7: IV7 I7|VI7: ii|ii: V7",
}


def parse(text):
    out = []
    for word in text.split():
        chord, _, bars = word.partition("*")
        accidental, numeral, kind = re.fullmatch(r"([b#]?)([IViv]+)([7o5]?)", chord).groups()
        root = STEPS[numeral.upper()] + {"b": -1, "#": 1, "": 0}[accidental]
        out.append((root % 12, kind or ("m" if numeral.islower() else ""), float(bars or 1)))
    return out


def made(rng):
    """A progression of phrases of four chords, or a loop; most come home, some stop before."""
    kind = rng.choice(list(FOLLOWS), p=[0.45, 0.4, 0.15])
    follows = {k: v.split() for k, v in (part.split(": ") for part in FOLLOWS[kind].split("|"))}
    tonic = next(iter(follows))
    loop = rng.random() < 0.35
    count = int(rng.choice([2, 4, 4, 8])) if loop else 4 * int(rng.choice([2, 2, 3, 4]))
    step = lambda at: follows[at][min(rng.geometric(0.4) - 1, len(follows[at]) - 1)]
    chords = [tonic if rng.random() < 0.8 else step(tonic)]
    while len(chords) < count:
        chords.append(tonic if not loop and len(chords) % 4 == 0 and rng.random() < 0.5 else step(chords[-1]))
    if not loop and rng.random() < 0.75:
        home = {"major": ["V7", "V", "IV"], "minor": ["V7", "V", "iv", "bVII"], "blues": ["V7", "IV7"]}[kind]
        chords[-2:] = [home[min(rng.geometric(0.5) - 1, len(home) - 1)], tonic]
    bars = rng.choice([0.5, 1, 1, 2])
    return "minor" if kind == "minor" else "major", " ".join(f"{c}*{bars * (2 if c == tonic and rng.random() < 0.3 else 1)}" for c in chords)


def coloured(root, kind, mode, style, rng):
    tones = list(TONES[kind])
    if kind == "5" or style == "plain":
        return tones
    if style == "open":
        return [0, 7] if kind != "o" else tones
    if style == "sevenths":
        return tones if kind == "7" else {"": [0, 4, 7, 10], "m": [0, 3, 7, 10], "o": [0, 3, 6, 10]}[kind]
    if style == "extended":
        seventh = {"": 11 if (root + 11) % 12 in SCALES[mode] or rng.random() < 0.5 else 9, "m": 10, "7": 10, "o": 10}[kind]
        tones = sorted({*tones, seventh})
        return tones + [2] if kind != "o" and rng.random() < 0.4 else tones
    # Now and then a tone held back or added.
    if kind == "" and rng.random() < 0.12:
        return [0, rng.choice([2, 5]), 7]
    return tones + [2] if kind in ("", "m") and rng.random() < 0.2 else tones + [10] if kind == "m" and rng.random() < 0.3 else tones


def grip(root, tones, way, rng):
    low = 40 + (root - 40) % 12
    if way == "shells":
        inner = [t for t in tones if 2 <= t <= 5][:1] + [t for t in tones if t >= 9][:1] or [7]
        return sorted({low, *(48 + (root + t) % 12 + (0 if rng.random() < 0.7 else 12) for t in inner)})
    out, at, most = {"full": ([low], low + 5, int(rng.integers(4, 7)))}.get(way, ([], (57 if way == "top strings" else 50) + int(rng.integers(0, 6)), 3 if way == "top strings" else 4))
    kept = {(root + t) % 12 for t in tones if not (way == "rootless" and t == 0 and len(tones) > 3)}
    while len(out) < most and at < 80:
        if at % 12 in kept and (not out or at - out[-1] >= 3):
            out.append(at)
        at += 1
    return out


def timed(progression, key, bar, seconds):
    out, at = [], 0.3
    while at < seconds:
        for root, kind, bars in progression:
            out.append((at, at + bars * bar, (key + root) % 12, kind))
            at += bars * bar
    return out


def strummed(chords, key, mode, beat, rng):
    style = rng.choice(["plain", "added", "extended", "sevenths", "open"], p=[0.3, 0.25, 0.25, 0.15, 0.05])
    way = rng.choice(["full", "shells", "rootless", "top strings", "middle"], p=[0.35, 0.15, 0.2, 0.15, 0.15])
    dense, ring, after = rng.uniform(0.2, 0.8), rng.uniform(0.4, 1.05), rng.choice([0.5, 0.5, 2 / 3])
    notes = []
    for start, end, root, kind in chords:
        held = grip(root, coloured((root - key) % 12, kind, mode, style, rng), way, rng)
        for b in range(max(1, round((end - start) / beat))):
            for half in (0, after):
                at = start + beat * (b + half)
                if at > end - 0.05 or (b or half) and rng.random() > dense * (0.6 if half else 1):
                    continue
                struck = held if rng.random() < 0.6 or b + half == 0 else held[int(rng.integers(0, max(1, len(held) - 1))) :]
                notes += [(max(0, at + 0.01 * i + rng.normal(0, 0.006)), max(0.08, beat * rng.uniform(0.4, 1.6) * ring), m) for i, m in enumerate(struck)]
    return sorted(notes), f"grips, {style}, {way}"


def sung(chords, key, mode, beat, rng):
    """A melody in phrases: mostly steps of a scale (common practice: over a blues on sevenths its own scale or the mixolydian), chord tones on the beat and where a phrase comes to rest."""
    minor, blue = mode == "minor", any(r == key and k == "7" for *_, r, k in chords)
    scale = rng.choice(["blues", "mixolydian", "five"], p=[0.5, 0.3, 0.2]) if blue else rng.choice(["seven", "five", "blues"], p=[0.6, 0.28, 0.12])
    own = SCALES[mode]
    if minor and rng.random() < 0.4:
        own = [0, 2, 3, 5, 7, 9, 10] if rng.random() < 0.6 else [0, 2, 3, 5, 7, 8, 11]
    steps = {"seven": own, "mixolydian": [0, 2, 4, 5, 7, 9, 10], "five": [0, 3, 5, 7, 10] if minor else [0, 2, 4, 7, 9], "blues": [0, 3, 5, 6, 7, 10] if minor or blue else [0, 2, 3, 4, 7, 9]}[scale]
    # How often a note between the beats lies in no scale, how often one on the beat is the chord's.
    between = 0.2 * rng.random() * (rng.random() < 0.5)
    classes, rests = {(key + s) % 12 for s in steps}, rng.choice([0.3, 0.5, 0.7, 0.9])
    at, midi, up, notes = 0.3 + beat * rng.choice([0, 0.5, 1, 2]), 60 + int(rng.integers(12)), 1, []
    while at < chords[-1][1] - 0.3:
        count = int(rng.integers(4, 14))
        for i in range(count):
            _, _, root, kind = next((c for c in chords if c[0] - 0.02 <= at < c[1] - 0.02), chords[-1])
            tones = {(root + t) % 12 for t in TONES[kind]}
            on = abs((at - 0.3) / beat % 1) < 0.05
            wanted = tones if i == count - 1 or on and rng.random() < rests else set(range(12)) if not on and rng.random() < between else classes | tones
            up = -up if rng.random() < 0.15 else up
            near = [m for m in range(max(52, midi - 9), min(84, midi + 9)) if m % 12 in wanted and m != midi]
            midi = min(near, key=lambda m: abs(m - midi) - (0.8 if (m - midi) * up > 0 else 0) + rng.uniform(0, 2.5))
            lasts = beat * rng.choice([1, 1.5, 2, 3] if i == count - 1 else [0.5, 0.5, 0.5, 1, 0.25])
            notes.append((max(0, at + rng.normal(0, 0.008)), 0.95 * lasts, midi))
            at += lasts
        at = 0.3 + beat / 2 * round((at + beat * rng.choice([0.5, 1, 2, 3]) - 0.3) * 2 / beat)
    return notes, f"melody, {scale}"


def piece(n, rng, guitars, bass, key=None, melodies=True):
    """Sound, key, mode and the way it is played."""
    book = [(mode, text) for mode in BOOK for text in re.split(r"\||\n", BOOK[mode])]
    mode, text = made(rng) if n % 2 else book[n // 2 % len(book)]
    key, beat = int(rng.integers(12)) if key is None else key, 60 / rng.uniform(75, 180)
    chords = timed(parse(text), key, beat * (3 if rng.random() < 0.1 else 4), rng.uniform(18, 32))
    notes, way = (sung if melodies and n % 3 == 2 else strummed)(chords, key, mode, beat, rng)
    out = played(notes, chords[-1][1] + 0.6, guitars[n // 2 % 2], rng, 10)
    if way.startswith("grips") and rng.random() < 0.25:
        labels = [(s, e, r, [LABELS[k]], r) for s, e, r, k in chords]
        under = played(bass_line(labels, list(np.arange(0.3, chords[-1][1] - 0.01, beat)), rng)[0], chords[-1][1] + 0.6, bass, rng, 4)
        level = lambda s: np.sqrt(np.mean(s**2)) + 1e-9
        out, way = out + under * level(out) / level(under) * 10 ** (rng.uniform(-2, 4) / 20), way + ", bass"
    lasting = collections.Counter()
    for s, e, r, k in chords:
        lasting[f"{NAMES[r]} {'minor' if k in 'mo' and k else 'major'}"] += e - s
    return out / np.abs(out).max(), f"{NAMES[key]} {mode}", way, lasting.most_common(1)[0][0]
