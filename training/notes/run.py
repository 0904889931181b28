"""One command retrains everything: `run.py BANK OUT SECONDS [small | bank]`.

BANK: the folder that bank.py wrote. Decodes the notes, makes the plucked ones, then trains the main network on the first GPU and, beside one another on the
second (on the same one where there is no second), a reference and one network for each ingredient left out. OUT gets main.pt, main.onnx, others.zip (half
precision) and log.txt. SECONDS: when training ends, counted from the start. `small`: a few steps on the CPU, to see that all of it runs; `bank`: only a small bank
with what is held out, into the folder OUT, for judge.py.
"""
import io
import multiprocessing
import os
import pathlib
import shutil
import subprocess
import sys
import time
import zipfile

os.environ.setdefault("OMP_NUM_THREADS", "1")
import numpy as np

HERE = pathlib.Path(__file__).resolve().parent
SEED = 6
# Plucked guitars; the last two are for development renders alone.
GUITARS = 30
LEFT_OUT = ["playing", "open", "pluck", "font", "rings", "effects"]


def decode(stream):
    import soundfile
    y, _ = soundfile.read(io.BytesIO(stream), dtype="float32")
    return y


def prepare(source, folder, guitars):
    """The bank as one array of int16 and a table: begin, length, level, midi, string, name, held. `guitars`: numbers of the plucked ones to make."""
    import pluck
    source, folder = pathlib.Path(source), pathlib.Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    n = np.load(source / "notes.npz")
    cuts = np.concatenate([[0], n["ends"]])
    raw = n["streams"].tobytes()
    with multiprocessing.Pool(min(30, os.cpu_count())) as pool:
        plucked = pool.map_async(pluck.notes_of, [SEED * 1000 + i for i in guitars], chunksize=1)
        sounds = pool.map(decode, [raw[a:b] for a, b in zip(cuts, cuts[1:])], chunksize=8)
        plucked = plucked.get()
    midi, string, name, held = (list(n[k]) for k in ("midi", "string", "name", "held"))
    for g, notes in zip(guitars, plucked):
        for m, s, y in notes:
            sounds.append(y)
            midi.append(m)
            string.append(s)
            name.append(f"pluck-{g:02}")
            held.append(g >= GUITARS - 2)
    length = np.array([len(y) for y in sounds])
    level = np.array([np.sqrt((y[:3300].astype(np.float64) ** 2).mean()) for y in sounds], np.float32)
    # So that scratches and knocks are as loud as notes of the same gain.
    np.save(folder / "bank.npy", (np.concatenate(sounds) * 32767 * 0.98).astype(np.int16))
    np.savez(folder / "table.npz", begin=np.cumsum(length) - length, length=length, level=np.maximum(level, 1e-4), midi=np.array(midi, np.float64),
             string=np.array(string), name=np.array(name), held=np.array(held))
    shutil.copy(source / "playing.npz", folder / "playing.npz")


def main(source, out, seconds, small=None):
    sys.path.insert(0, str(HERE))
    if small == "bank":
        return prepare(source, out, [0, GUITARS - 2, GUITARS - 1])
    begun = time.time()
    out, work = pathlib.Path(out), pathlib.Path(os.environ.get("NOTES_WORK", "/tmp/notes-work"))
    out.mkdir(parents=True, exist_ok=True)
    if not (small and (work / "bank.npy").exists()):
        prepare(source, work, [0, GUITARS - 2, GUITARS - 1] if small else range(GUITARS))
    print(f"bank ready after {time.time() - begun:.0f} s, {(work / 'bank.npy').stat().st_size >> 20} MiB", flush=True)
    left = float(seconds) - (0 if small else time.time() - begun)
    if small:
        jobs = [("main", "0", ["--device", "cpu", "--batch", "1", "--workers", "1"]), ("reference", "0", ["--device", "cpu", "--batch", "1", "--workers", "0", "--half"])]
    else:
        gpus = int(subprocess.run(["nvidia-smi", "-L"], capture_output=True, text=True).stdout.count("GPU "))
        other = "1" if gpus > 1 else "0"
        jobs = [("main", "0", ["--batch", "48", "--workers", "10"]), ("reference", other, ["--batch", "20", "--workers", "2", "--half"])]
        jobs += [(f"no-{w}", other, ["--batch", "20", "--workers", "2", "--half", "--without", w]) for w in LEFT_OUT]
    running = []
    for name, gpu, extra in jobs:
        log = open(work / f"{name}.log", "w")
        command = [sys.executable, HERE / "train.py", work, work / f"{name}.pt", "--seconds", str(left), "--seed", str(SEED), *extra]
        running.append((name, subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT, 
                                               env={**os.environ, "CUDA_VISIBLE_DEVICES": gpu, "PYTORCH_CUDA_ALLOC_CONF": "expandable_segments:True"})))
    stop = time.time() + left + (200 if small else 25)
    shown = 0.0
    while any(p.poll() is None for _, p in running) and time.time() < stop:
        time.sleep(0.5)
        if running[0][1].poll():
            print((work / "main.log").read_text()[-3000:], flush=True)
            for _, p in running:
                p.kill()
            sys.exit("the main run broke off")
        if time.time() - shown > 40:
            shown = time.time()
            for name, _ in running:
                lines = (work / f"{name}.log").read_text().splitlines()
                print(name, lines[-1] if lines else "-", flush=True)
            gather(running, work, out)
    for _, p in running:
        if p.poll() is None:
            p.kill()
    gather(running, work, out)
    subprocess.run([sys.executable, HERE / "export.py", out / "main.pt", out / "main.onnx"], timeout=60, check=True)
    print(f"all done after {time.time() - begun:.0f} s", flush=True)


def gather(running, work, out):
    """What there is so far, into OUT."""
    if (work / "main.pt").exists():
        shutil.copy(work / "main.pt", out / "main.pt")
    names = [n for n, _ in running]
    with zipfile.ZipFile(out / "others-1.zip", "w") as one, zipfile.ZipFile(out / "others-2.zip", "w") as two:
        for i, n in enumerate(names[1:]):
            if (work / f"{n}.pt").exists():
                (one, two)[i % 2].write(work / f"{n}.pt", f"{n}.pt")
    (out / "log.txt").write_text("".join(f"== {n}\n{(work / f'{n}.log').read_text()}\n" for n in names))


if __name__ == "__main__":
    main(*sys.argv[1:])
