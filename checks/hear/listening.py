"""What the checks of what is heard share: an environment of their own, which `enter` goes on in and makes first where it is missing (HEAR_ENV names one
that is there already), and the project's programs.
"""
import json
import os
import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "checks"))
import environment  # noqa: E402

WORK = ROOT / "target" / "check-hear"
PACKAGES = ["numpy", "scipy", "soundfile", "librosa", "mir_eval"]


def enter(script):
    """Starts `script` again by the environment's own interpreter, with the same arguments, unless it runs by that one."""
    environment.enter(script, WORK / "env", PACKAGES, "HEAR_ENV")


def example(crate, name, *arguments):
    """The lines that an example program prints: the one in the folder EXAMPLES, else built here."""
    built = [f"{os.environ['EXAMPLES']}/{name}"] if "EXAMPLES" in os.environ else ["cargo", "run", "-q", "--release", "-p", crate, "--example", name, "--"]
    return subprocess.run([*built, *map(str, arguments)], cwd=ROOT, check=True, capture_output=True, text=True).stdout.splitlines()


def key_of(heard):
    """A heard key as the field's metric takes it, in major or minor; None where none was heard."""
    if not heard:
        return None
    mode = {"dorian": "minor", "mixolydian": "major"}.get(heard["mode"], heard["mode"])
    return f"{heard['tonic']} {mode}"


def hear(files):
    """What is heard in each file."""
    return [json.loads(line) for line in example("hear", "hear", *files)]


def beats_f(truth, found, window=0.07):
    """The field's F-measure of beats (None are as none). Its usual trim of five seconds is left out: what the checks hear is short."""
    import mir_eval
    import numpy
    return mir_eval.beat.f_measure(truth, numpy.array(found or []), f_measure_threshold=window)


def bar_lines(heard):
    """The times at which bars begin."""
    return [heard["beats"][i] for i in heard["bars"] or []] if heard["beats"] else []
