"""Chords and key of excerpts by the field's metric, beside chroma templates with a plain Viterbi and one chord for the whole.

Run from the repository's root: python3 checks/hear/chords.py FOLDER
FOLDER holds GuitarSet's `audio` and `annotation`, of which players 03 and 05 are listened to (with DEVELOP set: player 00). Makes a virtual environment under target/, installs numpy, librosa and mir_eval from the
package registry, and listens with `cargo run --release -p hear --example hear` (or the program in the folder EXAMPLES). As-performed chords are
scored for comping excerpts only; as-instructed ones by their roots.
"""

import json
import os
import pathlib
import sys

from listening import enter, hear

enter(__file__)

import librosa
import mir_eval
import numpy as np

NAMES = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"]


def score(truth, found):
    intervals, labels = truth
    mine, names = np.array([[c["start"], c["end"]] for c in found]), [c["harte"] for c in found]
    s = mir_eval.chord.evaluate(intervals, labels, mine, names)
    return {k: float(s[k]) for k in ("root", "majmin", "sevenths")}


def plain(file):
    """Chroma, 24 triads and sevenths by cosine, Viterbi with one cost of change."""
    y, rate = librosa.load(file, sr=22050)
    chroma = librosa.util.normalize(librosa.feature.chroma_cqt(y=y, sr=rate, hop_length=2048), norm=2, axis=0)
    kinds = {"maj": [0, 4, 7], "min": [0, 3, 7], "7": [0, 4, 7, 10], "min7": [0, 3, 7, 10], "maj7": [0, 4, 7, 11]}
    labels, rows = [], []
    for name, tones in kinds.items():
        for root in range(12):
            row = np.zeros(12)
            row[[(root + t) % 12 for t in tones]] = 1 / np.sqrt(len(tones))
            labels.append(f"{NAMES[root]}:{name}")
            rows.append(row)
    fit = 10 * np.array(rows) @ chroma
    stay = np.full((len(labels), len(labels)), 1e-4)
    np.fill_diagonal(stay, 1 - 1e-4 * (len(labels) - 1))
    way = librosa.sequence.viterbi_discriminative(np.exp(fit) / np.exp(fit).sum(0), stay)
    times = librosa.frames_to_time(np.arange(len(way) + 1), sr=rate, hop_length=2048)
    return [{"start": times[i], "end": times[i + 1], "harte": labels[w]} for i, w in enumerate(way)]


folder = pathlib.Path(sys.argv[1])
rows = []
for file in sorted((folder / "audio").glob("*.flac")):
    jams = folder / "annotation" / f"{file.stem.rpartition('_')[0]}.jams"
    if bool(os.environ.get("DEVELOP")) != file.stem.startswith("00"):
        continue
    notes = json.loads(jams.read_text())["annotations"]
    tracks = [a["data"] for a in notes if a["namespace"] == "chord"]
    truth = [(np.array([[c["time"], c["time"] + c["duration"]] for c in t]), [c["value"] for c in t]) for t in tracks]
    key = next(a for a in notes if a["namespace"] == "key_mode")["data"][0]["value"]
    h = hear([file])[0]
    ours = h["key"] and f"{h['key']['tonic']}:{h['key']['mode']} ({h['key']['confidence']:.2f})"
    print(f"{jams.stem}: key {ours}, truth {key}")
    if "comp" not in jams.stem:
        continue
    one = [{"start": 0.0, "end": h["duration"], "harte": key.replace("major", "maj").replace("minor", "min")}]
    for name, found in (("ours", h["chords"]), ("plain", plain(file)), ("one chord", one)):
        played = score(truth[1], found)
        roots = score(truth[0], found)["root"]
        print(f"  {name:10} as performed root {played['root']:.2f} majmin {played['majmin']:.2f} sevenths {played['sevenths']:.2f}; as instructed root {roots:.2f}")
        if name != "one chord":
            rows.append((name, played["root"], played["majmin"], played["sevenths"], roots))
    if "--show" in sys.argv:
        print("  ", [(round(c["start"], 1), c["harte"], round(c["confidence"], 2)) for c in h["chords"]])
        print("  ", list(zip(truth[1][0][:, 0].round(1).tolist(), truth[1][1])))
for name in ("ours", "plain"):
    mean = np.mean([r[1:] for r in rows if r[0] == name], axis=0)
    print(f"evaluation, {name}: root {mean[0]:.2f} majmin {mean[1]:.2f} sevenths {mean[2]:.2f}; as instructed root {mean[3]:.2f}")
# What was reached last, less a little; not what is asked for.
mine = np.mean([r[1:] for r in rows if r[0] == "ours"], axis=0)
sys.exit(int(not os.environ.get("DEVELOP") and (mine[0] < 0.83 or mine[1] < 0.86 or mine[2] < 0.72)))
