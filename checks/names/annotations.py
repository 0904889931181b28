"""Chord stretches and notes of GuitarSet's comping files (Q. Xi, R. Bittner, J. Pauwels, X. Ye, J. P. Bello, ISMIR 2018, CC BY 4.0).

The root of a stretch is that of the annotation. Its quality is what the namer's core can say of it: third (major, minor, none) and seventh (minor,
major, none; a sixth and a diminished seventh are none here), read off the as-performed label by mir_eval.
"""
import collections, json, pathlib
import mir_eval.chord

Stretch = collections.namedtuple("Stretch", "start end label root bits bass")
OPEN = [40, 45, 50, 55, 59, 64]


def pieces(folder, players, kind="comp"):
    """(name, key as text, notes as (from, to, midi, string index from the low E), stretches) of each file."""
    for path in sorted(pathlib.Path(folder).glob(f"*_{kind}.jams")):
        if path.name[:2] not in players:
            continue
        notes, chords, key = [], [], None
        for a in json.loads(path.read_text())["annotations"]:
            if a["namespace"] == "note_midi":
                string = int(a["annotation_metadata"]["data_source"])
                notes += [(n["time"], n["time"] + n["duration"], round(n["value"]), string) for n in a["data"]]
            elif a["namespace"] == "chord":
                chords.append([(c["time"], c["time"] + c["duration"], c["value"]) for c in a["data"]])
            elif a["namespace"] == "key_mode":
                key = a["data"][0]["value"].replace(":", " ")
        stretches = []
        for start, end, label in chords[1]:  # as performed
            root, bits, bass = mir_eval.chord.encode(label, reduce_extended_chords=True)
            stretches.append(Stretch(start, end, label, int(root), bits, int((root + bass) % 12)))
        yield path.stem, key, sorted(notes), stretches


def third_and_seventh(bits):
    third = "M" if bits[4] else "m" if bits[3] else "-"
    return third, "b7" if bits[10] else "7" if bits[11] else "-"


def sounding(notes, stretch):
    """Time each class sounds in a stretch."""
    weight = [0.0] * 12
    for start, end, midi, _ in notes:
        weight[midi % 12] += max(0.0, min(end, stretch.end) - max(start, stretch.start))
    return weight
