"""How notes begin, as takes write it: hammered, pulled off, slid to, struck.

    python3 checks/take/attacks.py [--lessons 12] [--seed 3] [--keep DIR]

Random lines of six bars at 80 to 120 beats a minute, one guitar played by `sound` (so no real guitar, and the sound that the rule was set on, by other seeds): on one string a note is
struck, then hammered (1 to 4 frets up), pulled off (as far down) or slid to (1 to 5 frets either way); other notes are all struck; every other lesson has bars of a strummed grip between
them. The rule was set on seed 1. `take` is told the tempo and where the first bar begins. Printed: for each way to begin how many were written as what, on their slot and pitch.

Needs nothing but Python and the project; the programs are built where EXAMPLES does not name a folder that holds them.
"""
import argparse
import collections
import json
import os
import pathlib
import random
import subprocess
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
OPEN = (64, 59, 55, 50, 45, 40)
WAYS = {"": "struck", "H": "hammered", "P": "pulled", "/": "slid"}
TONES = ("clean, bridge pickup", "clean, neck pickup", "steel-string acoustic")


def example(name):
    if "EXAMPLES" in os.environ:
        return pathlib.Path(os.environ["EXAMPLES"]) / name
    subprocess.run(["cargo", "build", "-q", "--release", "--workspace", "--example", name], cwd=ROOT, check=True)
    return ROOT / "target" / "release" / "examples" / name


def line_bar(rng, position):
    """Sixteen slots: [(slot, string, fret, way)] and the bar's text."""
    notes, slot = [], 0
    string, fret = rng.randint(1, 5), position + rng.choice((0, 2, 3))
    while slot < 16:
        way = ""
        if notes and rng.random() < 0.4:
            # From the note before, on its string.
            way, from_fret = rng.choice("HP//"), notes[-1][2]
            by = rng.randint(1, 5 if way == "/" else 4) * (1 if way == "H" or way == "/" and rng.random() < 0.5 else -1)
            fret = from_fret + by
            if not 1 <= fret <= 15:
                way = ""
        if not way:
            string = min(max(string + rng.choice((-1, 0, 0, 1)), 1), 5)
            fret = position + rng.choice((0, 1, 2, 3))
            if notes and notes[-1][1:3] == (string, fret):
                fret += 1
        notes.append((slot, string, fret, way))
        slot += rng.choice((1, 2, 2, 2, 3, 4))
    at = {n[0]: n for n in notes}
    return notes, " ".join(f"{at[s][3]}{at[s][1]}:{at[s][2]}" if s in at else "-" for s in range(16))


def lesson(rng, strummed):
    """The text of a lesson, its tempo, and its notes: [(slot from the start, midi, way)]."""
    position, tempo = rng.randint(3, 8), rng.randint(80, 120)
    bars, wanted = [], []
    for b in range(6):
        if strummed and b % 2 == 0:
            struck = sorted(rng.sample(range(16), 6))
            bars.append(" ".join("a" if s in struck else "-" if s > struck[0] else "." for s in range(16)))
            wanted += [(16 * b + s, m, "") for s in struck for m in (OPEN[3] + position + 2, OPEN[2] + position + 1, OPEN[1] + position)]
            continue
        notes, text = line_bar(rng, position)
        bars.append(text)
        wanted += [(16 * b + s, OPEN[string - 1] + fret, way) for s, string, fret, way in notes]
    grip = f'      grip "a" "x x {position + 2} {position + 1} {position} x"\n' if strummed else ""
    lines = "".join(f'      bar "{b}"\n' for b in bars)
    return (f'lesson "Attacks" {{\n  passage "one" {{\n    tempo {tempo}\n    meter "4/4"\n    slots 16\n    part "line" instrument="guitar" tone="{rng.choice(TONES)}" {{\n'
            f"{grip}{lines}    }}\n  }}\n}}\n"), tempo, wanted


def main():
    p = argparse.ArgumentParser(description="How notes begin, as takes write it.")
    p.add_argument("--lessons", type=int, default=12)
    p.add_argument("--seed", type=int, default=3)
    p.add_argument("--keep", metavar="DIR")
    o = p.parse_args()
    rng = random.Random(o.seed)
    render, take = example("render"), example("take")
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(o.keep or folder)
        made, arguments = [], []
        for i in range(o.lessons):
            text, tempo, wanted = lesson(rng, i % 2 == 1)
            here = folder / f"{i:02}"
            here.mkdir(parents=True, exist_ok=True)
            (here / "lesson.kdl").write_text(text)
            subprocess.run([render, here / "lesson.kdl", here], check=True, capture_output=True)
            made.append((tempo, wanted))
            arguments += ["--tempo", tempo, "--from", 0, "--meter", "4/4", here / "one-100-part-line.wav"]
        out = subprocess.run([take, *map(str, arguments)], check=True, capture_output=True, text=True).stdout.splitlines()
    table = {way: collections.Counter() for way in WAYS}
    for (tempo, wanted), line in zip(made, map(json.loads, out)):
        first = round((line["first_bar"] or 0) * tempo / 60 * 4)
        found = {(round(n["at"] * 4) + first, n["midi"]): n["attack"] for n in line["written"] or [] if not n["dead"]}
        for slot, midi, way in wanted:
            table[way][found.get((slot, midi), "none")] += 1
    print(f"{'':10} {'all':>5} " + " ".join(f"{w:>9}" for w in (*WAYS.values(), "not there")))
    for way, name in WAYS.items():
        counts = table[way]
        print(f"{name:10} {sum(counts.values()):5} " + " ".join(f"{counts[w]:9}" for w in (*WAYS, "none")))


main()
