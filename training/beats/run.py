"""Makes the clips, trains the network of beats and writes its weights: python3 training/beats/run.py FOLDER SECONDS

FOLDER holds `guitarset/annotation` and `samples`; SECONDS is how long it takes, clips and training together: 540 with sixteen cores and a GPU; two cores alone need
hours. Makes a virtual environment under target/, installs what it needs from the package registry (PYTHON names an interpreter that has it already) and builds the
example program `rhythm` of `hear` (PROGRAM names one). Every clip's seed is fixed; how many there are and how many steps are done follows the clock.
"""
import os
import pathlib
import subprocess
import sys
import venv

ROOT = pathlib.Path(__file__).resolve().parents[2]
WORK = ROOT / "target" / "training-beats"
WEIGHTS = ROOT / "crates" / "hear" / "weights" / "pulse.f16"
MOST_SHARDS = 4000

here = pathlib.Path(__file__).parent
seconds = float(sys.argv[2])
python = pathlib.Path(os.environ.get("PYTHON", WORK / "env" / "bin" / "python"))
if not python.exists():
    venv.create(WORK / "env", with_pip=True)
    subprocess.run([python, "-m", "pip", "install", "-q", "numpy", "scipy", "soundfile", "torch"], check=True)
program = os.environ.get("PROGRAM")
if not program:
    subprocess.run(["cargo", "build", "-q", "--release", "-p", "hear", "--example", "rhythm"], cwd=ROOT, check=True)
    program = ROOT / "target" / "release" / "examples" / "rhythm"
# Clips come while the network trains, for most of the time.
making = subprocess.Popen([python, here / "make.py", sys.argv[1], WORK / "clips", program, str(MOST_SHARDS), str(0.75 * seconds), "1"])
subprocess.run([python, here / "train.py", WORK / "clips", WEIGHTS, str(seconds)], check=True)
making.wait()
