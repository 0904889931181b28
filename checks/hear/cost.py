"""What listening costs: processor seconds and peak memory for 1, 4 and 20 minutes of a stereo record, beside a general library's part of the same work.

Run from the repository's root: python3 checks/hear/cost.py RECORD [--quick]
RECORD is any stereo record of a minute or more; it is repeated to the length needed, and written as Ogg Vorbis by ffmpeg. Runs `cargo run --release -p hear --example hear` (or the program in
the folder EXAMPLES), a process of its own each time, so that decoding and the cold start are in it. The library tracks beats, makes a chromagram and estimates
the tuning, in a process of its own too (1 and 4 minutes; with --quick 1), its time counted from after its imports and again with them. Both are counted in seconds of the processor, so that a busy machine does little.

Fails over 1.0 s of processor a minute, over 600 MB for 20 minutes, or where a minute of 20 costs over 1.25 times a minute of 4.
"""

import json
import os
import pathlib
import subprocess
import sys

from listening import ROOT, WORK, enter, example

enter(__file__)

LIBRARY = """
import sys, time, resource
import librosa
used = lambda: sum(resource.getrusage(resource.RUSAGE_SELF)[:2])
imported = used()
y, rate = librosa.load(sys.argv[1], sr=22050)
librosa.beat.beat_track(y=y, sr=rate)
librosa.feature.chroma_cqt(y=y, sr=rate)
librosa.estimate_tuning(y=y, sr=rate)
first = used() - imported
if len(sys.argv) > 2:
    before = used()
    y, rate = librosa.load(sys.argv[1], sr=22050)
    librosa.beat.beat_track(y=y, sr=rate)
    librosa.feature.chroma_cqt(y=y, sr=rate)
    librosa.estimate_tuning(y=y, sr=rate)
    print(used(), used() - before)
else:
    print(used(), first)
"""


def measured(command):
    """Processor seconds, peak memory in MB and output of a program."""
    child = subprocess.Popen(list(map(str, command)), stdout=subprocess.PIPE, cwd=ROOT)
    out = child.stdout.read()
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    assert child.returncode == 0, command
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024, out.decode()


def main():
    quick = "--quick" in sys.argv
    WORK.mkdir(parents=True, exist_ok=True)
    example("hear", "hear")
    program = pathlib.Path(os.environ.get("EXAMPLES", ROOT / "target" / "release" / "examples")) / "hear"
    whole = WORK / "cost.wav"
    subprocess.run(["ffmpeg", "-y", "-v", "error", "-i", sys.argv[1], "-t", "240", "-ac", "2", "-ar", "44100", whole], check=True)
    failed, by_minutes = False, {}
    for minutes in (1, 4, 20):
        file = WORK / f"cost-{minutes}.ogg"
        subprocess.run(["ffmpeg", "-y", "-v", "error", "-stream_loop", "-1", "-i", whole, "-t", str(60 * minutes), "-c:a", "libvorbis", "-q:a", "5", file], check=True)
        seconds, mb, out = measured([program, file])
        heard = json.loads(out)
        assert abs(heard["duration"] - 60 * minutes) < 0.1
        by_minutes[minutes] = seconds / minutes
        bad = seconds / minutes > 1.0 or minutes == 20 and mb > 600
        failed |= bad
        print(f"{minutes:2} minutes: {seconds:.2f} s of processor, {seconds / minutes:.2f} a minute, {mb:.0f} MB{' FAIL' if bad else ''}", flush=True)
        if minutes == 1 or minutes == 4 and not quick:
            total, warm = map(float, measured([sys.executable, "-c", LIBRARY, file, "again"] if minutes == 1 else [sys.executable, "-c", LIBRARY, file])[2].split())
            print(f"   library: {warm / minutes:.2f} s a minute warm, {total / minutes:.2f} with its imports and first run", flush=True)
    growth = by_minutes[20] / by_minutes[4]
    print(f"a minute of 20 costs {growth:.2f} times a minute of 4")
    return failed or growth > 1.25


sys.exit(int(main()))
