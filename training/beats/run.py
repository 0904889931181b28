"""Makes the clips, trains the network of beats and writes its weights: python3 training/beats/run.py FOLDER

FOLDER holds `guitarset/annotation` and `samples`. Makes a virtual environment under target/, installs what it needs from the package registry and builds the
example program `rhythm` of `hear`. Every seed is fixed; with the same versions of numpy and torch on the same processor the weights come out the same.
"""
import pathlib
import subprocess
import sys
import venv

ROOT = pathlib.Path(__file__).resolve().parents[2]
WORK = ROOT / "target" / "training-beats"
WEIGHTS = ROOT / "crates" / "hear" / "weights" / "pulse.f32"
SHARDS = 22

here = pathlib.Path(__file__).parent
python = WORK / "env" / "bin" / "python"
if not python.exists():
    venv.create(WORK / "env", with_pip=True)
    subprocess.run([python, "-m", "pip", "install", "-q", "numpy", "scipy", "soundfile", "torch"], check=True)
subprocess.run(["cargo", "build", "-q", "--release", "-p", "hear", "--example", "rhythm"], cwd=ROOT, check=True)
program = ROOT / "target" / "release" / "examples" / "rhythm"
subprocess.run([python, here / "make.py", sys.argv[1], WORK / "clips", program, str(SHARDS)], check=True)
subprocess.run([python, here / "train.py", WORK / "clips", WORK / "first.f32", "8", "1"], check=True)
subprocess.run([python, here / "train.py", WORK / "clips", WEIGHTS, "7", "2", WORK / "first.f32.pt"], check=True)
