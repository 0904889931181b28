"""What the checks of `check` share: an environment of their own, annotations of GuitarSet as plain notes, and the project's programs."""

import json
import os
import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "checks"))
import environment  # noqa: E402

PACKAGES = ["numpy", "scipy", "soundfile", "scikit-learn"]
OPEN = [40, 45, 50, 55, 59, 64]
# Kinds of planted faults that make a note wrong; of these, notes where nobody plays.
NOBODY = ("rest", "held")
WRONG = ("semitone", "tone", "octave", "string", "added", *NOBODY)
ROOTS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def enter(script):
    """Starts `script` again by the environment's own interpreter (CHECK_ENV names one that is there already) unless it runs by that one."""
    environment.enter(script, ROOT / "target" / "check-check" / "env", PACKAGES, "CHECK_ENV")


def example(name, *arguments, given=None):
    """What an example program prints: the one in the folder EXAMPLES, else built here."""
    built = [f"{os.environ['EXAMPLES']}/{name}"] if "EXAMPLES" in os.environ else ["cargo", "run", "-q", "--release", "-p", "check", "--example", name, "--"]
    return subprocess.run([*built, *map(str, arguments)], cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True, input=given).stdout


def notes_of(file):
    """Notes (onset, duration, MIDI, string from 0 = low E) in order, seconds of a beat, chords (from, to, root), length."""
    jams = json.loads(pathlib.Path(file).read_text())
    notes, chords, beats = [], [], []
    for a in jams["annotations"]:
        if a["namespace"] == "note_midi":
            string = int(a["annotation_metadata"]["data_source"])
            notes += [(n["time"], n["duration"], int(round(n["value"])), string) for n in a["data"]]
        elif a["namespace"] == "chord" and not chords:
            chords = [(c["time"], c["time"] + c["duration"], root(c["value"])) for c in a["data"]]
        elif a["namespace"] == "beat_position":
            beats = [b["time"] for b in a["data"]]
    return sorted(notes), beats[1] - beats[0], chords, jams["file_metadata"]["duration"]


def root(label):
    name = label.split(":")[0].split("/")[0]
    return (ROOTS.get(name[0], 0) + name.count("#") - name[1:].count("b")) % 12


def group(notes, within):
    """Notes that begin within so many seconds of a first one, together."""
    out = []
    for n in notes:
        if out and n[0] - out[-1][0][0] <= within:
            out[-1].append(n)
        else:
            out.append([n])
    return out
