"""Clips to train the bass listener on, in shards, on all cores but SPARE: python3 bass_clips.py DATA FONTS OUT SHARDS [SECONDS [SPARE]]

FONTS are General MIDI soundfonts, set apart by commas; basses and drums come from all of them, guitars and keys from the first. Nothing is taken from `samples/bass`,
`drums`, `archtop` or `electric-flatwound`, on which the listener is judged. Five clips of six have a bass, most a kit. Shards are made until there are so many or the
seconds are over. EXAMPLES names the folder of the example program `evidence`, which is built where it is not given. Each shard's seed is its number.
"""

import multiprocessing
import os
import pathlib
import subprocess
import sys
import tempfile
import time

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
import numpy as np
import soundfile

from basses import bass, clip
from clips import invented, shuffled
from prepare import EVIDENCE, ROOT, sources
from soundfont import Soundfont
from sounds import RATE, drum, plucked, stringed, struck

sys.path.append(str(pathlib.Path(__file__).resolve().parents[1]))
from shards import save  # noqa: E402

WIDTH, HOP_S = 252, 64 / (22050 / 8)
SHARD, ROWS = 20, 1440
MOST_NOTES = 200
# Upright, fingered, picked, fretless, slapped twice, two of synthesisers.
BASSES = [32, 33, 34, 35, 36, 37, 38, 39]
# Standard, room, power, jazz, brushes.
KITS = [0, 8, 16, 32, 40]


def shard(n):
    """x [clip, row, value] as half floats (rows past the end are zero), rows [clip], notes [clip, note, onset end MIDI] in seconds (-1 past the last)."""
    guitars, basses, kits, pieces, out, until = GIVEN
    file = out / f"{n:05}.npz"
    if file.exists() or time.time() > until:
        return
    rng = np.random.default_rng([int(os.environ.get("SEED", 13)), n])
    x, rows, notes = np.zeros((SHARD, ROWS, WIDTH), np.float16), np.zeros(SHARD, np.int32), np.full((SHARD, MOST_NOTES, 3), -1, np.float32)
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        lines = []
        for c in range(SHARD):
            given = shuffled(pieces[rng.integers(len(pieces))], rng) if rng.random() < 0.5 else invented(rng)
            some = guitars + [stringed(rng, False) for _ in range(3)] + [plucked(rng) for _ in range(2)]
            sound, line = clip(given, some, bass(basses, guitars, rng), kits, rng)
            soundfile.write(folder / f"{c}.wav", sound, RATE)
            lines.append(line)
        (folder / "list").write_text("".join(f"{folder}/{c}.wav\t{folder}/{c}.f32\n" for c in range(SHARD)))
        subprocess.run([*EVIDENCE, folder / "list"], cwd=ROOT, check=True)
        for c, line in enumerate(lines):
            low = np.fromfile(folder / f"{c}.f32.low", "<f4").reshape(-1, WIDTH)[:ROWS]
            x[c, : len(low)], rows[c] = low, len(low)
            for i, (onset, length, midi) in enumerate(line[:MOST_NOTES]):
                notes[c, i] = onset, onset + length, midi
    save(file, x=x, rows=rows, notes=notes)


def main(data, fonts, out, shards, seconds=1e9, spare=0):
    global GIVEN
    until = time.time() + seconds
    data, out = pathlib.Path(data), pathlib.Path(out)
    out.mkdir(parents=True, exist_ok=True)
    fonts = fonts.split(",")
    guitars, _ = sources(data, fonts[0])
    fonts = [Soundfont(f) for f in fonts]
    kits = (drum, drum, *[struck(f, k) for f in fonts for k in KITS])
    pieces = sorted(p for player in ("00", "01") for p in (data / "guitarset" / "annotation").glob(f"{player}_*_comp.jams"))
    GIVEN = guitars, [f.program(p, decay_s=60) for f in fonts for p in BASSES], kits, pieces, out, until
    with multiprocessing.get_context("fork").Pool(max(1, os.cpu_count() - spare)) as pool:
        for _ in pool.imap_unordered(shard, range(shards)):
            pass


if __name__ == "__main__":
    main(*sys.argv[1:4], int(sys.argv[4]), *map(float, sys.argv[5:6]), *map(int, sys.argv[6:7]))
