"""Beats, meter and bar lines of accompaniments as they are usual in 4/4, 3/4 and 6/8, written by hand and played by the project's own instruments: alone, with a bass, with bass and drums.

Run from the repository's root: python3 checks/hear/meters.py
Nothing that hearing learned from is among them. Once more with something told: tempo, meter, a bar's beginning, four beats from the fifth on. Beside it: beats from onset strength alone, and 4/4 for everything. The chords change with the bar (over two bars of 6/8 they would be as well in four beats). Fails where
fewer meters are right than FLOOR, which is a little under what was reached last, or where something told makes beats or bar lines worse. Environment and programs as in `beats.py`.
"""

import json
import sys

from listening import WORK, bar_lines, beats_f, enter, example, hear

enter(__file__)

import numpy as np

FLOOR = 0.80
GRIPS = {"a": "3 2 0 0 0 3", "b": "x 3 2 0 1 0", "c": "x x 0 2 3 2", "d": "0 2 2 0 0 0", "e": "x 0 2 2 1 0"}
PROGRESSIONS = ["abac", "adbc", "edbc", "deac", "abcd", "baca"]
ROOTS = {"a": "4:3", "b": "3:3", "c": "2:0", "d": "4:0", "e": "3:0"}
# Signature, beats, eighths a bar; accompaniments in eighths, common practice: B the chord's lowest note, b its second lowest, 1 to 3 one of the high strings, S all strings, s the three
# highest, x a scratch. Then the bass (R a root, r again) and the drums that go with each.
METERS = [
    ("4/4", 4, 8, ["B . s . b . s .", "S . S s . s S s", "S - - s - s s s", "B 3 2 1 b 1 2 3", "S . . S . . S .", "s s s s s s s s", ". . s . . . s .", "B - s - - s s -", "S x s x . s x s", "B 2 3 1 3 2 1 3"],
     "R . . . R . r .", ("x . . . x . . .", ". . x . . . x .", "x x x x x x x x")),
    ("3/4", 3, 6, ["B . s . s .", "B . s s s .", "S - - - s s", "B 3 2 1 2 3", "S . S s . s", ". . s . s .", "B - . s s .", "S . S . S S", "B 3 2 3 1 3", "S x s x s x"],
     "R . . . . .", ("x . . . . .", ". . x . x .", "x x x x x x")),
    ("6/8", 2, 6, ["B 3 2 b 3 2", "S - s S - s", "B - - s - -", "S s s S s s", "B . s b . s", "S - s s - s", ". . s . . s", "B 3 1 b 2 1", "S - - S s s", "S x s S x s"],
     "R . . r . .", ("x . . . . .", ". . . x . .", "x x x x x x")),
]
COMPANY = ("alone", "with bass", "with bass and drums")
TEMPI = {"4/4": (76, 160), "3/4": (84, 176), "6/8": (50, 108)}


def token(role, letter):
    strings = [(6 - n, fret) for n, fret in enumerate(GRIPS[letter].split()) if fret != "x"]
    if role in ".-x":
        return role
    if role == "S":
        return letter
    if role == "s":
        return letter + "321"
    string, fret = strings["Bb".index(role)] if role in "Bb" else next(s for s in strings if s[0] == int(role))
    return f"{string}:{fret}"


def passage(name, meter, number, company):
    """A passage's text, its beats and how many a bar has."""
    sign, beats, slots, patterns, bass, kit = meter
    slow, fast = TEMPI[sign]
    tempo = slow * (fast / slow) ** ((number * 0.618 + company * 0.2) % 1)
    bars = 12 if beats > 2 else 18
    tempi = [round(tempo * (1 + 0.02 * np.sin(2 * np.pi * b / 12 + number)), 3) for b in range(bars)]
    letters = [PROGRESSIONS[number % len(PROGRESSIONS)][b % 4] for b in range(bars)]
    text = f' passage "{name}" {{\n tempo {tempi[0]}\n meter "{sign}"\n slots {slots}\n part "g" instrument="guitar" {{\n'
    text += "".join(f'  grip "{letter}" "{frets}"\n' for letter, frets in GRIPS.items())
    text += "".join(f'  bar "{" ".join(token(r, letter) for r in patterns[number].split())}" tempo={t}\n' for letter, t in zip(letters, tempi)) + " }\n"
    if company > 0:
        text += ' part "b" instrument="bass" {\n' + "".join(f'  bar "{bass.replace("R", ROOTS[letter]).replace("r", ROOTS[letter])}"\n' for letter in letters) + " }\n"
    if company > 1:
        text += ' part "k" instrument="drums" {\n' + '  bar {{ kick "{}"; snare "{}"; hats "{}" }}\n'.format(*kit) * bars + " }\n"
    lengths = np.repeat([60 / t for t in tempi], beats)
    return text + " }\n", np.concatenate([[0], np.cumsum(lengths)[:-1]]), beats


def judged(key, passage, heard):
    """Meter and company, whether the meter is right, F of beats and of bar lines."""
    (m, _, c), (_, beats, bar) = key, passage
    return m, c, heard["meter"] == METERS[m][0], beats_f(beats, heard["beats"]), beats_f(beats[::bar], bar_lines(heard))


def line(rows):
    return f"meter right {rows[:, 2].mean():.3f}; F at 70 ms, beats {rows[:, 3].mean():.3f}, bar lines {rows[:, 4].mean():.3f}"


def main():
    WORK.mkdir(parents=True, exist_ok=True)
    made = {(m, n, c): passage(f"m{m}-{n}-{c}", METERS[m], n, c) for m in range(3) for n in range(len(METERS[m][3])) for c in range(3)}
    (WORK / "meters.kdl").write_text('lesson "Meters" {\n' + "".join(text for text, *_ in made.values()) + "}\n")
    example("sound", "render", WORK / "meters.kdl", WORK / "meters", 100)
    files = [WORK / "meters" / f"m{m}-{n}-{c}-100.wav" for m, n, c in made]
    truths = [beats for _, beats, _ in made.values()]
    answers = lambda *arguments: [json.loads(answer) for answer in example("hear", "hear", *arguments)]
    # Options stand before the file that they are for.
    helped = lambda options: answers(*[a for file, (key, (_, beats, bar)) in zip(files, made.items()) for a in (*options(METERS[key[0]][0], beats, bar), file)])
    in_meter, at_tempo = lambda sign: f"--meter={sign}", lambda beats: f"--bpm={60 / np.diff(beats).mean():.1f}"
    words = {
        "the tempo": lambda sign, beats, bar: [at_tempo(beats)],
        "four beats tapped": lambda sign, beats, bar: ["--pins=" + ",".join(f"{t:.3f}" for t in beats[4:8])],
        "the meter": lambda sign, beats, bar: [in_meter(sign)],
        "where the third bar begins": lambda sign, beats, bar: [f"--bars={beats[2 * bar]:.3f}"],
        "meter, tempo and where the third bar begins": lambda sign, beats, bar: [in_meter(sign), at_tempo(beats), f"--bars={beats[2 * bar]:.3f}"],
    }
    judge = lambda heard: np.array([judged(*of, h) for of, h in zip(made.items(), heard)], float)
    first = hear(files)
    rows = judge(first)
    # Of each reading that is named, each figure by itself.
    named = np.array([np.max([judged(*of, one) for one in (h, *h["other_beats"])], axis=0) for of, h in zip(made.items(), first)], float)
    plain = np.array([beats_f(beats, p["beats"]) for beats, p in zip(truths, answers("--plain", *files))])
    for m, meter in enumerate(METERS):
        for c, name in enumerate(COMPANY):
            own = (rows[:, 0] == m) & (rows[:, 1] == c)
            print(f"{meter[0]} {name}, {own.sum()}: {line(rows[own])}; plain beats {plain[own].mean():.3f}")
    print(f"all, {len(rows)}: {line(rows)}; plain beats {plain.mean():.3f}, 4/4 for everything {np.mean(rows[:, 0] == 0):.3f}")
    print(f"best of the beats and what is named beside them, {np.mean([len(h['other_beats']) for h in first]):.2f} each: {line(named)}")
    worse = 0
    for name, options in words.items():
        told = judge(helped(options))
        print(f"told {name}: {line(told)}", flush=True)
        # What is said makes nothing worse.
        worse += told[:, 3].mean() < rows[:, 3].mean() - 0.005 or told[:, 4].mean() < rows[:, 4].mean() - 0.005
    return rows[:, 2].mean() < FLOOR or worse > 0


sys.exit(int(main()))
