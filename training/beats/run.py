"""Makes the clips, trains the networks of beats and writes their weights: python3 training/beats/run.py FOLDER SOUNDFONT SECONDS

FOLDER holds `guitarset/annotation` and `samples`; SOUNDFONT is a General MIDI .sf2; SECONDS is how long it takes, clips and training together: 1,450 with 64 cores and four GPUs; two cores
alone need days. The network that the program has goes to its place; two more, each of which has not learned from one of the players, beside the clips (`pulse-00.f16` without player 00), for the
choice between readings (`choice.py`). Makes a virtual environment under target/, installs what it needs from the package registry (PYTHON names an interpreter that has it already) and builds the
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
MOST_SHARDS = 20000

here = pathlib.Path(__file__).parent
seconds = float(sys.argv[3])
python = pathlib.Path(os.environ.get("PYTHON", WORK / "env" / "bin" / "python"))
if not python.exists():
    venv.create(WORK / "env", with_pip=True)
    subprocess.run([python, "-m", "pip", "install", "-q", "numpy", "scipy", "soundfile", "torch"], check=True)
program = os.environ.get("PROGRAM")
if not program:
    subprocess.run(["cargo", "build", "-q", "--release", "-p", "hear", "--example", "rhythm"], cwd=ROOT, check=True)
    program = ROOT / "target" / "release" / "examples" / "rhythm"
gpus = int(subprocess.run([python, "-c", "import torch; print(torch.cuda.device_count())"], check=True, capture_output=True, text=True).stdout)
# Clips come while the networks train, for most of the time; each on a GPU of its own where there are so many.
making = subprocess.Popen([python, here / "make.py", *sys.argv[1:3], WORK / "clips", program, str(MOST_SHARDS), str(0.6 * seconds), "8"])
runs = [(WEIGHTS, ""), (WORK / "pulse-00.f16", "00"), (WORK / "pulse-01.f16", "01")]
training = [subprocess.Popen([python, here / "train.py", WORK / "clips", target, str(seconds)], env={**os.environ, "WITHOUT": without, "CUDA_VISIBLE_DEVICES": str(n % gpus) if gpus else ""})
            for n, (target, without) in enumerate(runs)]
if any([making.wait(), *(t.wait() for t in training)]):
    sys.exit("a run failed")
