#!/usr/bin/env python3
"""Harmony of real playing: comping, a name for each annotated stretch, beside two plain methods.

    checks/names/playing.py PROGRAM FOLDER [--players 03,05] [--list]

PROGRAM is partwright; FOLDER holds the annotations (see annotations.py). Printed for all stretches, for those whose root sounds in them, and for
those where it does not, once as they are and once with the root given as a bass part: root first, root among the first three, root and third,
root with third and seventh. `templates` compares weighed classes with the same 15 cores by cosine; `grip` asks `name --batch` about the longest note of
each string, with the key and nothing else. --list says which stretches have another root.
"""
import argparse, collections, json, pathlib, subprocess, sys, tempfile
import mir_eval.chord
from annotations import OPEN, pieces, sounding, third_and_seventh
from tune import CORES

SHARPS = "C C# D D# E F F# G G# A A# B".split()


def rank_of(names):
    """(roots best first, third and seventh of the first) of JSON names."""
    roots, first = [], None
    for n in names:
        root, bits, _ = mir_eval.chord.encode(n["harte_sounding"], reduce_extended_chords=True)
        roots.append(int(root))
        first = first or third_and_seventh(bits)
    return roots, first


def templates(weight):
    length = sum(w * w for w in weight) ** 0.5 or 1.0
    found = {}
    for root in range(12):
        for third, fifth, seventh in CORES:
            tones = [t for t in (0, third, fifth, seventh) if t is not None]
            score = sum(weight[(root + t) % 12] for t in tones) / len(tones) ** 0.5 / length
            if score > found.get(root, (-1,))[0]:
                name = "M" if third == 4 else "m" if third == 3 else "-"
                found[root] = (score, (name, "b7" if seventh == 10 else "7" if seventh == 11 else "-"))
    order = sorted(found, key=lambda r: -found[r][0])
    return order, found[order[0]][1]


def harmony(program, key, notes, stretches, bass):
    value = {
        "notes": [{"onset": a, "duration": b - a, "midi": m} for a, b, m, _ in notes],
        "stretches": [{"start": s.start, "end": s.end} for s in stretches],
        "key": key,
    }
    for s in stretches if bass else []:
        value["notes"].append({"onset": s.start, "duration": s.end - s.start, "midi": 24 + s.root, "bass": True})
    with tempfile.NamedTemporaryFile("w", suffix=".json") as f:
        json.dump(value, f)
        f.flush()
        out = subprocess.run([program, "name", "--sequence", f.name, "--json"], check=True, stdout=subprocess.PIPE).stdout
    return [h["names"] for h in json.loads(out)["stretches"]]


def grips(program, key, notes, stretches):
    lines = []
    for s in stretches:
        held = [collections.Counter() for _ in OPEN]
        for start, end, midi, string in notes:
            fret = midi - OPEN[string]
            time = min(end, s.end) - max(start, s.start)
            if 0 <= fret <= 24 and time > 0:
                held[string][fret] += time
        frets = [str(h.most_common(1)[0][0]) if h else "x" for h in held]
        lines.append(f"{' '.join(frets)};key={key}")
    with tempfile.NamedTemporaryFile("w", suffix=".txt") as f:
        f.write("\n".join(lines) + "\n")
        f.flush()
        out = subprocess.run([program, "name", "--batch", f.name], stdout=subprocess.PIPE, text=True).stdout
    return [json.loads(line).get("names", []) for line in out.splitlines()]


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("program")
    p.add_argument("folder")
    p.add_argument("--players", default="03,05")
    p.add_argument("--list", action="store_true")
    a = p.parse_args()
    rows = collections.defaultdict(list)
    other = collections.Counter()
    for name, key, notes, stretches in pieces(a.folder, a.players.split(",")):
        ways = {
            "harmony": harmony(a.program, key, notes, stretches, False),
            "no key": harmony(a.program, None, notes, stretches, False),
            "with bass": harmony(a.program, key, notes, stretches, True),
            "grip": grips(a.program, key, notes, stretches),
        }
        for i, s in enumerate(stretches):
            weight = sounding(notes, s)
            played = weight[s.root] > 0
            truth = third_and_seventh(s.bits)
            for way in [*ways, "templates"]:
                roots, core = templates(weight) if way == "templates" else rank_of(ways[way][i])
                first = roots[:1] == [s.root]
                row = (first, s.root in roots[:3], first and core[0] == truth[0], first and core == truth)
                rows[way, "all"].append(row)
                rows[way, "root sounds" if played else "root does not sound"].append(row)
                if way == "harmony":
                    rows[way, "player " + name[:2]].append(row)
                    if not first and played:
                        said = ways[way][i][0] if ways[way][i] else {"symbol": "no name", "root": "?"}
                        other[reason(weight, s, said, key)] += 1
                        if a.list:
                            share = ", ".join(f"{SHARPS[c]} {w / sum(weight):.2f}" for c, w in sorted(enumerate(weight), key=lambda x: -x[1])[:6])
                            print(f"{name} {s.start:.2f}: {s.label} is named {said['symbol']}; {share}; key {key}")
    print("root first, among three, root and third, root with third and seventh")
    for (way, which), values in sorted(rows.items(), key=lambda kv: (kv[0][1], kv[0][0])):
        mean = [sum(v[i] for v in values) / len(values) for i in range(4)]
        print(f"{which:20} {way:10} {len(values):4}  " + "  ".join(f"{m:.3f}" for m in mean))
    print(f"root sounds and another is named: {sum(other.values())}")
    for why, n in other.most_common():
        print(f"   {n:3} {why}")


def reason(weight, stretch, said, key):
    """Why another root is named, as far as the notes tell."""
    if "harte_sounding" not in said:
        return "no name"
    root, bits, bass = mir_eval.chord.encode(said["harte_sounding"], reduce_extended_chords=True)
    share = [w / sum(weight) for w in weight]
    named = {(root + i) % 12 for i in range(12) if bits[i]}
    annotated = {(stretch.root + i) % 12 for i in range(12) if stretch.bits[i]}
    loud = {c for c in range(12) if share[c] >= 0.1}
    if share[stretch.root] < 0.1:
        return "the annotated root has less than a tenth of the sound, and the rest is a chord by itself"
    if loud <= named and loud <= annotated:
        return "both names hold all the notes: sixth or seventh, suspended second or fourth, on one root or the other"
    if "*1" in stretch.label:
        return "the annotation itself says that the root is left out"
    if loud <= named:
        return "the annotated chord lacks a note that sounds for long; the name holds it"
    if stretch.bits[3] == stretch.bits[4] == 0:
        return "the annotated chord has no third, and what sounds makes one on another root"
    return "several of the notes pass by, and others are taken for the chord"


if __name__ == "__main__":
    main()
