"""Makes the training set: clips as features and beats, in shards under a folder. Players 00 and 01 alone; a few of their files are kept for validation."""
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import soundfile

import clips
from sounds import RATE, Sounds

CHANNELS, FRAME_HZ = 23, 22050 / 512
KEPT = ("Funk2-119", "SS3-98", "BN3-154", "Jazz1-200", "Rock2-85", "Jazz3-137")
SHARD = 50


def shard(sounds, program, files, kept, seed, validation):
    """Features [clip, frame, channel], beat and downbeat times, beats a bar."""
    rng = np.random.default_rng(seed)
    out = []
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        truths = []
        for n in range(SHARD):
            dice = rng.random()
            if dice < 0.55:
                clip = clips.pattern_clip(sounds, rng)
            elif dice < 0.97:
                pool = kept if validation else files
                clip = clips.player_clip(sounds, rng, pool[rng.integers(len(pool))])
            else:
                clip = clips.idle_clip(sounds, rng)
            soundfile.write(folder / f"{n}.wav", clip[0], RATE, subtype="PCM_16")
            truths.append((clip[1:], 0 if dice < 0.55 else 1 if dice < 0.97 else 2))
        subprocess.run([program, *[folder / f"{n}.wav" for n in range(SHARD)]], check=True)
        frames = int(clips.SECONDS * FRAME_HZ)
        for n, ((beats, places, bar, parts), kind) in enumerate(truths):
            x = np.fromfile(folder / f"{n}.f32", "<f4").reshape(-1, CHANNELS)[:frames]
            x = np.pad(x, ((0, frames - len(x)), (0, 0)))
            inside = (beats > -0.05) & (beats < clips.SECONDS)
            out.append(dict(x=x.astype(np.float16), beats=beats[inside], places=places[inside], bar=bar, parts=parts, kind=kind, end=beats[-1] if len(beats) else clips.SECONDS))
    return out


def main(data, target, program, shards, first=0):
    data, target = pathlib.Path(data), pathlib.Path(target)
    target.mkdir(parents=True, exist_ok=True)
    every = sorted((data / "guitarset" / "annotation").glob("0[01]_*.jams"))
    kept = [f for f in every if any(k in f.name for k in KEPT)]
    files = [f for f in every if f not in kept]
    sounds = Sounds(data, np.random.default_rng(1))
    for n in range(first, shards):
        file = target / f"{n:04}.npy"
        if not file.exists():
            np.save(file, np.array(shard(sounds, program, files, kept, 1000 + n, n % 12 == 0), dtype=object), allow_pickle=True)
            print(n, flush=True)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], sys.argv[3], int(sys.argv[4]), int(sys.argv[5]) if len(sys.argv) > 5 else 0)
