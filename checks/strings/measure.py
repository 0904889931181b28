#!/usr/bin/env python3
"""Which string each note is played on: the path through a part against open annotations.

    checks/strings/measure.py FOLDER                    # figures, players 03 and 05
    checks/strings/measure.py FOLDER --players 00,01
    checks/strings/measure.py FOLDER --tune             # weights from players 00 and 01, to crates/neck/src/weights.rs
    checks/strings/measure.py FOLDER --cross            # how far the tuning holds: one player against the other

FOLDER holds the JAMS files of GuitarSet (Q. Xi, R. Bittner, J. Pauwels, X. Ye, J. P. Bello, ISMIR 2018, CC BY 4.0). Only pitches and
times go in; the strings are what is judged. Players 03 and 05 are never tuned on. Needs Python 3 and cargo alone.
"""
import argparse, collections, json, pathlib, subprocess, sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
OPEN = [40, 45, 50, 55, 59, 64]


def pieces(folder, players, kind=None):
    for path in sorted(pathlib.Path(folder).glob("*.jams")):
        if path.name[:2] not in players or (kind and not path.stem.endswith(kind)):
            continue
        notes = []
        for a in json.loads(path.read_text())["annotations"]:
            if a["namespace"] == "note_midi":
                index = int(a["annotation_metadata"]["data_source"])
                for n in a["data"]:
                    midi = round(n["value"])
                    # A note below its open string is a fault of the annotation.
                    if midi >= OPEN[index]:
                        notes.append((n["time"], n["duration"], midi, 6 - index))
        yield path.stem, sorted(notes)


def text(some):
    return "".join(f"{name} {t:.4f} {d:.4f} {m} {s}\n" for name, notes in some for t, d, m, s in notes)


def example(args, data):
    cmd = ["cargo", "run", "--release", "-q", "-p", "neck", "--example", "strings", "--", *args]
    return subprocess.run(cmd, input=data, text=True, check=True, cwd=ROOT, stdout=subprocess.PIPE).stdout


def judge(folder, players):
    for kind in ["comp", "solo"]:
        some = list(pieces(folder, players, kind))
        truth = [(name, s, m - OPEN[6 - s]) for name, notes in some for _, _, m, s in notes]
        print(f"{kind}: {len(truth)} notes")
        for rule, what in [("lowest", "lowest fret"), ("plain", "plain dynamic programme"), ("place", "partwright")]:
            got = [tuple(map(int, l.split())) for l in example([rule], text(some)).splitlines()]
            assert len(got) == len(truth)
            hit = [g == (s, f) for g, (_, s, f) in zip(got, truth)]
            by = collections.defaultdict(list)
            for h, (name, _, _) in zip(hit, truth):
                by[name.split("_")[0]].append(h)
            print(f"  {what}: {sum(hit) / len(hit):.3f}  " + "  ".join(f"player {k} {sum(v) / len(v):.3f}" for k, v in sorted(by.items())))
        chords, not_held = example(["held"], text(some)).split()
        print(f"  strokes of two notes or more: {chords}, not to be held at once: {not_held}")
        table = collections.Counter((region(f), region(g[1])) for g, (_, _, f) in zip(got, truth))
        print("  played at (down) and placed at (across), notes:\n" + " " * 14 + "".join(f"{r:>10}" for r in REGIONS))
        for r in REGIONS:
            print(f"  {r:>10}  " + "".join(f"{table[r, c]:>10}" for c in REGIONS), flush=True)


REGIONS = ["open", "1-4", "5-8", "9-12", "13-"]


def region(fret):
    return REGIONS[(fret > 0) + (fret > 4) + (fret > 8) + (fret > 12)]


def main():
    p = argparse.ArgumentParser()
    p.add_argument("folder")
    p.add_argument("--players", default="03,05")
    p.add_argument("--tune", action="store_true")
    p.add_argument("--cross", action="store_true")
    a = p.parse_args()
    if a.cross:
        print(example(["cross"], text(pieces(a.folder, ["00", "01"]))), end="")
        return
    if a.tune:
        (ROOT / "crates/neck/src/weights.rs").write_text(example(["tune"], text(pieces(a.folder, ["00", "01"]))))
    judge(a.folder, a.players.split(","))


if __name__ == "__main__":
    main()
