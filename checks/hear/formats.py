"""The same sound as WAV, FLAC, MP3, Ogg Vorbis, Ogg Opus and M4A: whether it begins at the same time in all of them, to 3 ms.

Run from the repository's root: python3 checks/hear/formats.py
Renders a pattern with `cargo run --release -p sound --example render`, makes the files with ffmpeg (installed by apt-get where it is missing), decodes them with
`cargo run --release -p hear --example apart` and listens with the example `hear` (or the programs in the folder EXAMPLES). Onsets: where the level of the WAV
file leaps up; in the others, where the level around it fits best; beats: as heard.

Fails where an onset or a beat lies more than 3 ms from the WAV file's.
"""

import shutil
import subprocess
import sys

from listening import WORK, enter, example, hear

enter(__file__)

import numpy as np
import soundfile

MOST_MS = 3.0
FORMATS = {
    "flac": [],
    "mp3": ["-c:a", "libmp3lame", "-b:a", "192k"],
    "ogg": ["-c:a", "libvorbis", "-q:a", "5"],
    "opus": ["-c:a", "libopus", "-b:a", "128k"],
    "m4a": ["-c:a", "aac", "-b:a", "192k"],
    "alac.m4a": ["-c:a", "alac"],
}
LESSON = """lesson "Formats" {
 passage "p" {
  tempo 104
  meter "4/4"
  slots 16
  part "g" instrument="guitar" seat="left" {
   grip "a" "x x 5 5 5 x"
   bar "a . x a  a . x a  a . x a  a . x a" times=8
  }
  part "b" instrument="bass" { bar "6:5 - - 6:5  6:5 - - .  6:5 - - 6:5  6:5 - - ." times=8 }
  part "k" instrument="drums" { bar times=8 { kick "x . . .  . . . x  . . x .  . . . ."; snare ". . . .  x . . .  . . . .  x . . ."; hats "x . x .  x . x .  x . x .  x . x ." } }
 }
}
"""


def envelope(sound, rate):
    """Level of each millisecond, in quarter-millisecond steps."""
    power = np.concatenate([[0], np.cumsum(sound**2)])
    at = np.arange(0, len(sound) - rate // 1000, rate / 4000).astype(int)
    return np.log10(1e-7 + (power[at + rate // 1000] - power[at]) / (rate // 1000))


def shifts(level, reference, near):
    """By how many steps each onset of the reference, 20 ms before to 30 ms behind it, lies later in the other level: the least difference within 10 ms."""
    out = []
    for n in near:
        part = reference[n - 80 : n + 120]
        out.append(min(range(-40, 41), key=lambda lag: (((level[n - 80 + lag : n + 120 + lag] - part) ** 2).sum(), abs(lag))))
    return np.array(out)


def main():
    if not shutil.which("ffmpeg"):
        subprocess.run(["apt-get", "install", "-y", "ffmpeg"], check=True, capture_output=True)
    folder = WORK / "formats"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "formats.kdl").write_text(LESSON)
    example("sound", "render", folder / "formats.kdl", folder, 100)
    wav = folder / "p-100.wav"
    files = {"wav": wav}
    for name, options in FORMATS.items():
        files[name] = folder / f"p.{name}"
        subprocess.run(["ffmpeg", "-y", "-v", "error", "-i", wav, *options, files[name]], check=True)
    beats = dict(zip(files, (np.array(h["beats"] or []) for h in hear(files.values()))))
    levels = {}
    for name, file in files.items():
        example("hear", "apart", "decode", file, folder / "decoded.wav")
        sound, rate = soundfile.read(folder / "decoded.wav")
        levels[name] = (envelope(sound.mean(axis=1), rate), len(sound) / rate)
    # Where the WAV file's level rises by 7 dB within 2 ms to more than -40 dB, and no steeper rise is within 50 ms.
    level = levels["wav"][0]
    rise = level[8:] - level[:-8]
    steps = np.array([n for n in range(800, len(rise) - 800) if rise[n] > 0.7 and level[n + 8] > -4 and rise[n] == rise[n - 200 : n + 200].max()])
    assert len(steps) > 30, "the pattern has not been heard"
    failed = False
    for name, (level, seconds) in levels.items():
        off = shifts(level, levels["wav"][0], steps) / 4.0
        same = len(beats[name]) == len(beats["wav"]) > 16
        beat = abs(beats[name] - beats["wav"]).max() * 1000 if same else np.inf
        bad = abs(off).max() > MOST_MS or beat > MOST_MS
        failed |= bad
        print(f"{name:9} {seconds:.4f} s; {len(steps)} onsets: middle {np.median(off):+.2f} ms, farthest {abs(off).max():.2f}; {len(beats[name])} beats, farthest {beat:.2f} ms{' FAIL' if bad else ''}")
    return failed


sys.exit(int(main()))
