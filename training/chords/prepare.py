"""The clips of one run, played and heard: evidence and labels, kept in a folder.

python3 prepare.py DATA SOUNDFONT OUT COUNT: DATA holds the annotations and samples, SOUNDFONT is a General MIDI one, COUNT clips are made, in turn from annotations
and invented. The notes are of electric-by-string, the soundfont's guitars and keys, and a plucked model; nothing is taken from `samples/bass`, `archtop` or
`electric-flatwound`, on which the scorer is judged.
"""

import json
import os
import pathlib
import subprocess
import sys

import numpy as np
import soundfile

from clips import clip, invented, shuffled
from soundfont import Soundfont
from sounds import RATE, plucked, samples

ROOT = pathlib.Path(__file__).resolve().parents[2]
EVIDENCE = [os.environ["EXAMPLES"] + "/evidence"] if "EXAMPLES" in os.environ else ["cargo", "run", "-q", "--release", "-p", "hear", "--example", "evidence", "--"]
# Nylon, steel, jazz, clean and muted guitar, with them now and then a piano, an electric piano, an organ, strings.
GUITARS, KEYS, BASSES = [24, 25, 26, 27, 28], [0, 4, 16, 48], [32, 33, 34, 35]


def sources(data, soundfont):
    font = Soundfont(soundfont)
    return [samples(data / "samples" / "electric-by-string")] * 2 + [font.program(p) for p in GUITARS + KEYS[:2]] + [font.program(KEYS[2])], [font.program(p) for p in BASSES]


def main(data, soundfont, out, count):
    out.mkdir(parents=True, exist_ok=True)
    guitars, basses = sources(data, soundfont)
    pieces = sorted(p for player in ("00", "01") for p in (data / "guitarset" / "annotation").glob(f"{player}_*_comp.jams"))
    for start in range(0, count, 20):
        todo = [n for n in range(start, min(start + 20, count)) if not (out / f"{n}.f32").exists()]
        for n in todo:
            rng = np.random.default_rng([4, n])
            given = shuffled(pieces[n // 2 % len(pieces)], rng) if n % 2 == 0 else invented(rng)
            sound, labels, beats, line = clip(given, guitars + [plucked(rng) for _ in range(4)], basses + [plucked(rng)], rng)
            soundfile.write(out / f"{n}.wav", sound, RATE)
            (out / f"{n}.json").write_text(json.dumps([[list(map(float, l[:2])) + [int(l[2]), l[3], int(l[4])] for l in labels], [float(b) for b in beats], [[float(v) for v in n] for n in line]]))
        if todo:
            (out / "list").write_text("".join(f"{out}/{n}.wav\t{out}/{n}.f32\n" for n in todo))
            subprocess.run([*EVIDENCE, out / "list"], cwd=ROOT, check=True)
            for n in todo:
                (out / f"{n}.wav").unlink()


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]), sys.argv[2], pathlib.Path(sys.argv[3]), int(sys.argv[4]))
