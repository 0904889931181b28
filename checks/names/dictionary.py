#!/usr/bin/env python3
"""Voicings and formulas that others wrote down: does the first name have their root and quality?

    checks/names/dictionary.py PROGRAM DICTIONARY.json      # what dictionary.cjs printed

Voicings count where their notes are exactly the chord's, with the chord's root given as the bass; the package's "11", "13", "maj13" are left out (its
conventions differ), and so are its slash signs over a note that is no note of the triad. Formulas are asked about over all twelve roots. Quality is third,
fifth and seventh (a fifth that the formula lacks does not count). The plain method is the one pattern, of the formulas themselves, that is the set over its
lowest note: it knows the answer's list, so it shows what the list itself leaves undecided.
"""
import collections, json, sys
import mir_eval.chord
from program import batch, over_one_note

# Formulas whose first name is another one, and why (on C).
WHY = {
    "M7#5sus4": "F Ab B are a diminished triad by themselves, over C; a raised fifth without a third is not heard as one",
    "7#5sus4": "C F G# Bb hold the minor triad on F; a raised fifth without a third is not heard as one",
    "m#5": "C Eb G# are the triad on Ab over its third",
    "mb6M7": "C Eb Ab B hold a triad on Ab, minor or major by which third is read",
    "m7#5": "C Eb G# Bb are the triad on Ab with its ninth, over the third; the formula's root comes second",
    "mMaj7b6": "Ab, B, Eb and G are a minor chord with a major seventh, C its other third; the formula's root comes second",
    "o7M7": "B D# F# A are a seventh chord by themselves, over C",
    "+add#9": "C E G# D# are the major seventh chord with a raised fifth on E",
    "maj7#9#11": "E G B D# F# are a minor chord with major seventh and ninth, over C; the formula comes second",
    "M9#5sus4": "D F G# B are a diminished seventh over C",
    "M9sus4": "G B D F are the dominant over a held C; the formula comes second",
    "13b5": "a flat fifth under a thirteenth is a raised eleventh to players; the formula comes second",
    "m9#5": "the same root; a raised fifth in a minor chord is written as a lowered thirteenth, and the fifth is taken as left out",
    "m11A": "the same as for the ninth",
    "M7b9": "C# E G B are a half-diminished seventh over C",
    "mb6b9": "Ab C Eb Db are the triad on Ab with its fourth, over the third",
}
KEYS = {"C": 0, "C#": 1, "Db": 1, "D": 2, "D#": 3, "Eb": 3, "E": 4, "F": 5, "F#": 6, "G": 7, "G#": 8, "Ab": 8, "A": 9, "A#": 10, "Bb": 10, "B": 11}
SHARPS = "C C# D D# E F F# G G# A A# B".split()
# What the package's suffixes mean (common practice; "alt" as the package itself plays it, a flat fifth).
SUFFIXES = {
    "major": (0, 4, 7), "minor": (0, 3, 7), "dim": (0, 3, 6), "dim7": (0, 3, 6, 9), "sus2": (0, 2, 7), "sus4": (0, 5, 7), "7sus4": (0, 5, 7, 10),
    "alt": (0, 4, 6), "aug": (0, 4, 8), "6": (0, 4, 7, 9), "69": (0, 2, 4, 7, 9), "7": (0, 4, 7, 10), "7b5": (0, 4, 6, 10), "aug7": (0, 4, 8, 10),
    "9": (0, 2, 4, 7, 10), "9b5": (0, 2, 4, 6, 10), "aug9": (0, 2, 4, 8, 10), "7b9": (0, 1, 4, 7, 10), "7#9": (0, 3, 4, 7, 10), "9#11": (0, 2, 4, 6, 7, 10),
    "maj7": (0, 4, 7, 11), "maj7b5": (0, 4, 6, 11), "maj7#5": (0, 4, 8, 11), "maj9": (0, 2, 4, 7, 11), "maj11": (0, 2, 4, 5, 7, 11), "m6": (0, 3, 7, 9),
    "m69": (0, 2, 3, 7, 9), "m7": (0, 3, 7, 10), "m7b5": (0, 3, 6, 10), "m9": (0, 2, 3, 7, 10), "m11": (0, 2, 3, 5, 7, 10), "mmaj7": (0, 3, 7, 11),
    "mmaj7b5": (0, 3, 6, 11), "mmaj9": (0, 2, 3, 7, 11), "mmaj11": (0, 2, 3, 5, 7, 11), "add9": (0, 2, 4, 7), "madd9": (0, 2, 3, 7),
}  # fmt: skip


def core(classes):
    """Third, fifth, seventh of a set over its root; None for a fifth that is not there."""
    third = "M" if 4 in classes else "m" if 3 in classes else "-"
    fifth = 7 if 7 in classes else 6 if 6 in classes else 8 if 8 in classes else None
    seventh = "b7" if 10 in classes else "7" if 11 in classes else "6" if 9 in classes else "-"
    return third, fifth, seventh


def agrees(name, root, formula):
    """Root; root and quality."""
    said, bits, _ = mir_eval.chord.encode(name["harte"], reduce_extended_chords=True)
    ours, theirs = core({i for i in range(12) if bits[i]}), core(set(formula))
    fifth = theirs[1] is None or ours[1] in formula
    return said == root, said == root and fifth and (ours[0], ours[2]) == (theirs[0], theirs[2])


def first_agrees(answer, root, formula):
    return agrees(answer["names"][0], root, formula) if answer["names"] else (False, False)


def plain(classes, patterns):
    """The patterns that the set is, over its lowest note."""
    return [name for name, p in patterns.items() if set(p) == set(classes)]


def voicings(program, some):
    lines, asked = [], []
    for v in some:
        suffix = v["suffix"]
        if suffix in ("11", "13", "maj13") or suffix not in SUFFIXES and not slash(v):
            continue
        root = KEYS[v["key"]]
        formula = SUFFIXES.get(suffix) or slash(v)
        if {(m - root) % 12 for m in v["midi"]} != set(formula):
            continue
        lines.append(" ".join("x" if f is None else str(f) for f in v["frets"]) + f";bass={SHARPS[root]}")
        asked.append((v, root, formula))
    answers, _ = batch(program, lines)
    right, rest = 0, collections.defaultdict(list)
    for (v, root, formula), a in zip(asked, answers):
        assert [m for m in a["midi"] if m is not None] == v["midi"]
        if first_agrees(a, root, formula)[1]:
            right += 1
        else:
            first = a["names"][0]["symbol"] if a["names"] else "no name"
            rest[v["suffix"]].append((v["key"], first, v["frets"]))
    print(f"voicings: {len(some)} in the package, {len(asked)} exactly the chord: root and quality first {right / len(asked):.4f} ({right} of {len(asked)})")
    templates = sum(plain({(m - root) % 12 for m in v["midi"]}, SUFFIXES) == [v["suffix"]] for v, root, _ in asked if v["suffix"] in SUFFIXES)
    lowest = sum(min(v["midi"]) % 12 == root for v, root, _ in asked)
    print(f"   plain: exact pattern over the given root {templates}; the root is the lowest note of the voicing in {lowest}")
    for suffix, list_ in sorted(rest.items()):
        for key, first, frets in list_:
            print(f"   {key}{suffix} {' '.join('x' if f is None else str(f) for f in frets)}: {first}")


def slash(v):
    """Triad of a slash sign whose bass is a note of the triad."""
    upper, _, bass = v["suffix"].partition("/")
    if bass not in KEYS or upper not in ("", "m"):
        return None
    triad = SUFFIXES["minor" if upper == "m" else "major"]
    return triad if (KEYS[bass] - KEYS[v["key"]]) % 12 in triad else None


def semitones(interval):
    number, quality = int(interval[:-1]), interval[-1]
    plain = [0, 2, 4, 5, 7, 9, 11][(number - 1) % 7]
    perfect = number % 7 in (1, 4, 5)
    return plain + {"P": 0, "M": 0, "m": -1, "A": 1, "d": -1 if perfect else -2}[quality]


def formulas(program, some):
    lines, asked = [], []
    for f in some:
        classes = sorted({semitones(i) % 12 for i in f["intervals"]})
        for root in range(12):
            lines.append(over_one_note(classes, root))
            asked.append((f, root, classes))
    answers, _ = batch(program, lines)
    by = collections.defaultdict(list)
    for (f, root, classes), a in zip(asked, answers):
        third = any(agrees(n, root, classes)[1] for n in a["names"][:3])
        by[f["sign"] or "M"].append(((*first_agrees(a, root, classes), third), a["names"][0]["symbol"] if a["names"] else "no name", [n["symbol"] for n in a["names"][1:]]))
    mean = [sum(x[0][i] for v in by.values() for x in v) / len(asked) for i in range(3)]
    print(f"formulas: {len(by)} over twelve roots: root first {mean[0]:.4f}, root and quality first {mean[1]:.4f}, among the first three {mean[2]:.4f}")
    sets = collections.Counter(tuple(sorted({semitones(i) % 12 for i in f["intervals"]})) for f in some)
    print(f"   plain: {sum(n for n in sets.values() if n == 1)} of {len(some)} formulas are the only one of their set")
    for sign, list_ in by.items():
        wrong = [x for x in list_ if not x[0][1]]
        if wrong:
            print(f"   {sign}: {wrong[0][1]} ({len(wrong)} of 12 roots), then {', '.join(wrong[0][2][:3])}: {WHY.get(sign, 'NOT EXPLAINED')}")


if __name__ == "__main__":
    data = json.load(open(sys.argv[2]))
    voicings(sys.argv[1], data["voicings"])
    formulas(sys.argv[1], data["formulas"])
