"""Makes the training set: clips as features and beats, in shards under a folder, on all cores but `spare`, until a number of shards or seconds is reached:
python3 make.py DATA SOUNDFONT FOLDER PROGRAM SHARDS [SECONDS [SPARE]]. A shard holds clips of one kind, by its number. Players 00 and 01 alone; a few of their files are kept for validation,
in every eleventh shard.
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
import scipy.io.wavfile

import clips
from kinds import KEPT_EVERY, kind_of
from sounds import RATE, Sounds

sys.path.append(str(pathlib.Path(__file__).resolve().parents[1]))
from shards import save  # noqa: E402

CHANNELS, FRAME_HZ = 23, 22050 / 512
KEPT = ("Funk2-119", "SS3-98", "BN3-154", "Jazz1-200", "Rock2-85", "Jazz3-137")
SHARD = 25
SEED = int(os.environ.get("SEED", 1000))
MOST_BEATS = 120
METERS = {4: 0, 3: 1, 2: 2}


def clip(n, sounds, every, rng):
    """Sound, beats, places, beats a bar (0 where there are none); and of what kind: a pattern, a player's notes, neither."""
    kind = kind_of(n)
    if kind == "pattern":
        return clips.pattern_clip(sounds, rng), 0
    if kind == "idle":
        return clips.idle_clip(sounds, rng), 2
    pool = [f for f in every if f.name.startswith(kind) and any(k in f.name for k in KEPT) == (n % KEPT_EVERY == 0)]
    return clips.player_clip(sounds, rng, pool[rng.integers(len(pool))], pool), 1


def shard(n):
    """Writes features x [clip, frame, channel], beats and places in the bar [clip, beat] (beats beyond the last are -1), meter (0: 4/4, 1: 3/4, 2: 6/8, -1: none),
    the time after which nothing is known, and the kind."""
    sounds, every, program, target, until = GIVEN
    file = target / f"{n:05}.npz"
    if file.exists() or time.time() > until:
        return
    rng = np.random.default_rng(SEED + n)
    frames = int(clips.SECONDS * FRAME_HZ)
    out = dict(x=np.zeros((SHARD, frames, CHANNELS), np.float16), beats=np.full((SHARD, MOST_BEATS), -1, np.float32), places=np.zeros((SHARD, MOST_BEATS), np.int8),
               meter=np.full(SHARD, -1, np.int8), end=np.full(SHARD, clips.SECONDS, np.float32), kind=np.zeros(SHARD, np.int8))
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        for c in range(SHARD):
            (audio, beats, places, bar), out["kind"][c] = clip(n, sounds, every, rng)
            scipy.io.wavfile.write(folder / f"{c}.wav", RATE, np.round(32767 * np.clip(audio, -1, 1)).astype(np.int16))
            inside = np.flatnonzero(beats < clips.SECONDS)[:MOST_BEATS]
            out["beats"][c, :len(inside)], out["places"][c, :len(inside)] = beats[inside], places[inside]
            if bar:
                out["meter"][c], out["end"][c] = METERS[bar], beats[-1] if len(beats) else 0
        subprocess.run([program, *[folder / f"{c}.wav" for c in range(SHARD)]], check=True)
        for c in range(SHARD):
            x = np.fromfile(folder / f"{c}.f32", "<f4").reshape(-1, CHANNELS)[:frames]
            out["x"][c, :len(x)] = x
    save(file, **out)


def main(data, soundfont, target, program, shards, seconds=1e9, spare=0):
    global GIVEN
    until = time.time() + seconds
    data, target = pathlib.Path(data), pathlib.Path(target)
    target.mkdir(parents=True, exist_ok=True)
    every = sorted((data / "guitarset" / "annotation").glob("0[01]_*.jams"))
    GIVEN = Sounds(data, soundfont, np.random.default_rng(1)), every, program, target, until
    with multiprocessing.get_context("fork").Pool(max(os.cpu_count() - spare, 1)) as pool:
        for _ in pool.imap_unordered(shard, range(shards)):
            pass


if __name__ == "__main__":
    main(*sys.argv[1:5], int(sys.argv[5]), *map(float, sys.argv[6:7]), *map(int, sys.argv[7:8]))
