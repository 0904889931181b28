#!/usr/bin/env python3
"""Random voicings and every small set: how many have a name, how long it takes, what the labels say, and what a general library says.

    checks/names/voicings.py PROGRAM

PROGRAM is partwright. 5,000 voicings from Knuth's MMIX generator, seed 1: three to six strings of a guitar, frets 0 to 15.
"""
import collections, json, sys, time, warnings
import mir_eval.chord
from program import OPEN, batch, over_one_note

PLAIN = {"": (0, 4, 7), "m": (0, 3, 7), "dim": (0, 3, 6), "aug": (0, 4, 8), "7": (0, 4, 7, 10), "maj7": (0, 4, 7, 11), "m7": (0, 3, 7, 10), "m7b5": (0, 3, 6, 10), "dim7": (0, 3, 6, 9), "6": (0, 4, 7, 9), "m6": (0, 3, 7, 9), "sus4": (0, 5, 7), "sus2": (0, 2, 7), "5": (0, 7), "7sus4": (0, 5, 7, 10), "add9": (0, 2, 4, 7), "9": (0, 2, 4, 7, 10), "m9": (0, 2, 3, 7, 10), "maj9": (0, 2, 4, 7, 11), "6/9": (0, 2, 4, 7, 9), "7b9": (0, 1, 4, 7, 10), "7#9": (0, 3, 4, 7, 10)}
SHARPS = "C C# D D# E F F# G G# A A# B".split()


def random_voicings(count, seed=1):
    state = seed

    def below(n):
        nonlocal state
        state = (state * 6364136223846793005 + 1442695040888963407) % 2**64
        return (state >> 33) % n

    out = []
    for _ in range(count):
        strings = list(range(6))
        keep = 3 + below(4)
        while len(strings) > keep:
            strings.pop(below(len(strings)))
        out.append([below(16) if s in strings else None for s in range(6)])
    return out


def frets(voicing):
    return " ".join("x" if f is None else str(f) for f in voicing)


def midi(voicing):
    return [o + f for o, f in zip(OPEN, voicing) if f is not None]


def semitones(degree):
    if degree == "R":
        return 0
    number = int(degree.lstrip("b#"))
    return [0, 2, 4, 5, 7, 9, 11][(number - 1) % 7] + degree.count("#") - degree.count("b")


def decoded(label):
    """Classes of a Harte label, its bass among them."""
    root, bits, bass = mir_eval.chord.encode(label, reduce_extended_chords=True)
    return {(root + i) % 12 for i in range(12) if bits[i]} | {int(root + bass) % 12}


def labels(answers):
    """Every name's two labels, decoded, against what the answer says of notes and left-out degrees."""
    count = wrong = 0
    for a in answers:
        notes = {m % 12 for m in a["midi"] if m is not None}
        for n in a["names"]:
            root = mir_eval.chord.pitch_class_to_semitone(n["root"])
            bass = mir_eval.chord.pitch_class_to_semitone(n["bass"])
            left_out = {(root + semitones(d)) % 12 for d in n["omitted"]}
            assert not left_out & notes, n
            whole, sounding = decoded(n["harte"]), decoded(n["harte_sounding"])
            count += 1
            if whole != notes | left_out | {bass} or sounding != notes | {root, bass}:
                wrong += 1
                if wrong < 6:
                    print("label and name differ:", n)
    return count, wrong


def plain_name(notes):
    """The plain method: a set that is exactly one of 22 patterns, from the lowest note up, or no name."""
    classes = {m % 12 for m in notes}
    for root in [(min(notes) + i) % 12 for i in range(12)]:
        for sign, pattern in PLAIN.items():
            if classes == {(root + i) % 12 for i in pattern}:
                return SHARPS[root] + sign
    return None


def general(notes):
    """The general library's sign, or None."""
    from music21 import chord, harmony

    try:
        figure = harmony.chordSymbolFigureFromChord(chord.Chord(notes))
    except Exception:  # it raises on some sets
        return None
    return None if figure == "Chord Symbol Cannot Be Identified" else figure


def main():
    warnings.simplefilter("ignore")
    program = sys.argv[1]
    voicings = random_voicings(5000)
    # Ten times the list, so that starting the program does not count for much.
    _, took = batch(program, [frets(v) for v in voicings] * 10)
    answers, _ = batch(program, [frets(v) for v in voicings])
    unnamed = [a for a in answers if not a["names"]]
    assert all(a["no_name"] for a in unnamed), "no name and no reason"
    print(f"5000 random voicings: no name, with a reason: {len(unnamed)} ({len(unnamed) / 50:.2f} %); {took / 50000 * 1e6:.0f} microseconds of processor time each, reading and JSON included")
    for a in unnamed[:2]:
        print("   e.g.", frets(a["frets"]), "-", a["no_name"])
    start = time.process_time()
    plain = sum(plain_name(midi(v)) is None for v in voicings)
    print(f"   exact patterns: no name {plain / 50:.1f} %; {(time.process_time() - start) / 5000 * 1e6:.0f} microseconds each (Python)")
    start = time.process_time()
    theirs = [general(midi(v)) for v in voicings[:1000]]
    print(f"   music21, the first 1000: no name {sum(t is None for t in theirs) / 10:.1f} %; {(time.process_time() - start):.1f} milliseconds each")

    count, wrong = labels(answers)
    bass_and_key = [f"{frets(v)};bass={SHARPS[i % 12]};key={('C', 'Eb', 'F# minor', 'Ab minor')[i % 4]}" for i, v in enumerate(voicings)]
    count2, wrong2 = labels(batch(program, bass_and_key)[0])
    print(f"Harte labels of all names, decoded by mir_eval: {count - wrong} of {count} agree; over other basses and in keys {count2 - wrong2} of {count2}")

    # Every set of three to five classes over its lowest note.
    sets = [c for bits in range(1, 2048) for c in [[0] + [i + 1 for i in range(11) if bits >> i & 1]] if 3 <= len(c) <= 5]
    mine, _ = batch(program, [over_one_note(c) for c in sets])
    told = collections.defaultdict(list)
    for c, a in zip(sets, mine):
        kind, said = compare(c, a)
        told[kind].append(said)
    print(f"{len(sets)} sets of three to five classes over C, beside music21 (theirs: ours):")
    for kind, said in sorted(told.items(), key=lambda kv: -len(kv[1])):
        print(f"   {len(said):4} {kind}" + ("" if kind in QUIET else ": " + ", ".join(said)))
    if bad := wrong + wrong2:
        sys.exit(f"{bad} labels do not say what their names say")


QUIET = ["it has no name", "it has none and neither have we", "its sign is patched with added or left-out notes", "same root"]


def compare(classes, answer):
    """How the library's sign for a set over C relates to our names."""
    from music21 import chord, harmony

    notes = [36 + i for i in classes]
    figure = general(notes)
    if figure is None:
        return "it has no name" if answer["names"] else "it has none and neither have we", ""
    if "add" in figure or "omit" in figure:
        return "its sign is patched with added or left-out notes", ""
    theirs = harmony.chordSymbolFromChord(chord.Chord(notes))
    root = theirs.root().pitchClass
    ours = [(mir_eval.chord.pitch_class_to_semitone(n["root"]) % 12, n["symbol"]) for n in answer["names"]]
    said = f"{figure}: {ours[0][1] if ours else 'no name'}"
    if ours and ours[0][0] == root:
        return "same root", said
    if ours and ours[0][0] == 0 and "/" not in ours[0][1]:
        kind = "it puts the root elsewhere, we on the bass"
    elif {p.pitchClass for p in theirs.pitches} != set(classes):
        kind = "its sign leaves notes out or adds some"
    else:
        kind = "another root"
    return kind + (", and its root is our second or third" if root in [r for r, _ in ours[:3]] else ", and its root is not among our first three"), said


if __name__ == "__main__":
    main()
