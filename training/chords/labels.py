"""Harte labels as root, kind and bass, in the vocabulary of the scorer."""

KINDS = ["maj", "min", "7", "maj7", "min7", "9", "min9", "sus4", "sus2", "7sus4", "dim", "dim7", "hdim7", "aug", "maj6", "min6", "minmaj7", "maj9", "5"]
TONES = {
    "maj": [0, 4, 7], "min": [0, 3, 7], "7": [0, 4, 7, 10], "maj7": [0, 4, 7, 11], "min7": [0, 3, 7, 10], "9": [0, 4, 7, 10, 2], "min9": [0, 3, 7, 10, 2],
    "sus4": [0, 5, 7], "sus2": [0, 2, 7], "7sus4": [0, 5, 7, 10], "dim": [0, 3, 6], "dim7": [0, 3, 6, 9], "hdim7": [0, 3, 6, 10], "aug": [0, 4, 8],
    "maj6": [0, 4, 7, 9], "min6": [0, 3, 7, 9], "minmaj7": [0, 3, 7, 11], "maj9": [0, 4, 7, 11, 2], "5": [0, 7],
}
SHORT = {**TONES, "11": [0, 4, 7, 10, 2, 5], "13": [0, 4, 7, 10, 2, 9], "min11": [0, 3, 7, 10, 2, 5], "maj11": [0, 4, 7, 11, 2, 5], "min13": [0, 3, 7, 10, 2, 9], "maj13": [0, 4, 7, 11, 2, 9], "1": [0], "": [0, 4, 7]}
LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
STEPS = [0, 2, 4, 5, 7, 9, 11]


def degree(text):
    alter = text.count("#") - text.count("b")
    return (STEPS[(int(text.strip("#b")) - 1) % 7] + alter) % 12


def pitch_class(text):
    return (LETTERS[text[0]] + text.count("#") - text.count("b")) % 12


def read(label):
    """Root, kinds that the label may be called, bass; None for no chord."""
    if label in ("N", "X"):
        return None
    chord, _, bass = label.partition("/")
    root, _, rest = chord.partition(":")
    short, _, listed = rest.partition("(")
    tones = set(SHORT[short]) if short or not listed else {0}
    raised = False
    for one in filter(None, listed.rstrip(")").split(",")):
        if one[0] == "*":
            tones.discard(degree(one[1:]))
        else:
            raised |= one == "#9"
            tones.add(degree(one))
    return pitch_class(root), kinds(tones), (pitch_class(root) + (degree(bass) if bass else 0)) % 12


def kinds(tones):
    has = tones.__contains__
    if has(4):
        if has(8) and not has(7):
            return ["7"] if has(10) else ["aug"]
        if has(11):
            return ["maj9"] if has(2) else ["maj7"]
        if has(10):
            return ["9"] if has(2) else ["7"]
        return ["maj6"] if has(9) else ["maj"]
    if has(3):
        if has(7) or not has(6):
            return ["minmaj7"] if has(11) else (["min9"] if has(2) else ["min7"]) if has(10) else ["min6"] if has(9) else ["min"]
        return ["hdim7"] if has(10) else ["dim7"] if has(9) else ["dim"]
    if has(5):
        return ["7sus4"] if has(10) else ["sus4"]
    if has(2):
        return ["7sus4", "9", "min9"] if has(10) else ["maj9", "sus2"] if has(11) else ["sus2"]
    if has(10) or has(11) or has(9):
        return [k for k in KINDS if set(TONES[k]) >= tones & {0, 9, 10, 11}]
    return ["5"] if has(7) else ["5", "maj", "min"]
