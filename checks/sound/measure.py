"""Sound measured by second implementations: plucked pitch by a spectrum's peak (NumPy), loudness by pyloudnorm.

Run from the repository's root: python3 checks/sound/measure.py
Makes a virtual environment under target/, installs numpy, soundfile and pyloudnorm from the package registry, renders with
`cargo run --release -p sound --example render` (or the program in the folder EXAMPLES), and fails when a pitch from E2 to E6 is a cent or more off, a mix is more than 0.2 LU from
-16 LUFS, a stem, a left-out or the mix passes -1 dBTP (four times oversampled here), or the stems do not add up to the mix.
"""

import os
import pathlib
import subprocess
import sys
import venv

ROOT = pathlib.Path(__file__).resolve().parents[2]
WORK = ROOT / "target" / "check-sound"
ENV = WORK / "env"
PACKAGES = ["numpy", "scipy", "soundfile", "pyloudnorm"]

if pathlib.Path(sys.prefix).resolve() != ENV.resolve():
    python = ENV / "bin" / "python"
    if not python.exists():
        venv.create(ENV, with_pip=True)
    subprocess.run([python, "-m", "pip", "install", "-q", *PACKAGES], check=True)
    sys.exit(subprocess.run([python, __file__]).returncode)

import numpy as np
import pyloudnorm
import soundfile
from scipy.signal import resample_poly

faults = []


def expect(true, what):
    if not true:
        faults.append(what)


def render(lesson, folder, *percents):
    built = [f"{os.environ['EXAMPLES']}/render"] if "EXAMPLES" in os.environ else ["cargo", "run", "-q", "--release", "-p", "sound", "--example", "render", "--"]
    command = [*built, str(lesson), str(folder), *map(str, percents)]
    return subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout.splitlines()


def frequency(samples, rate, near):
    """Peak of a zero-padded spectrum nearest to `near`, refined by a parabola through the logarithms."""
    window = np.blackman(len(samples))
    size = 1 << 20
    spectrum = np.abs(np.fft.rfft(samples * window, size))
    low, high = int(near * 0.97 * size / rate), int(near * 1.03 * size / rate) + 1
    k = low + int(np.argmax(spectrum[low:high]))
    a, b, c = np.log(spectrum[k - 1 : k + 2])
    return (k + 0.5 * (a - c) / (a - 2 * b + c)) * rate / size


def pitches():
    bars = []
    for midi in range(40, 89):
        string, low = max(((s, o) for s, o in zip(range(6, 0, -1), [40, 45, 50, 55, 59, 64]) if o <= midi), key=lambda p: p[1])
        bars.append(f'bar "{string}:{midi - low} - - - - - . ."')
    lesson = WORK / "neck.kdl"
    lesson.write_text(
        'lesson "Neck" {\n passage "neck" {\n tempo 120\n meter "4/4"\n slots 8\n part "g" instrument="guitar" frets=24 {\n'
        + "\n".join(bars)
        + "\n}}}\n"
    )
    render(lesson, WORK / "neck")
    sound, rate = soundfile.read(WORK / "neck" / "neck-100-part-g.wav")
    sound = sound.mean(axis=1)
    worst = 0.0
    for i, midi in enumerate(range(40, 89)):
        exact = 440.0 * 2 ** ((midi - 69) / 12)
        start = int((2 * i + 0.3) * rate)
        cents = 1200 * np.log2(frequency(sound[start : start + int(1.1 * rate)], rate, exact) / exact)
        worst = max(worst, abs(cents))
        expect(abs(cents) < 1.0, f"MIDI {midi} is off by {cents:.2f} cents")
    print(f"pitch, MIDI 40 to 88: at most {worst:.3f} cents off")


def peak_db(samples):
    """True peak, four times oversampled, around every sample within 4 dB of the highest."""
    size = np.abs(samples).max(axis=1)
    highest, block, beside = size.max(), 2048, 64
    if highest == 0:
        return -240.0
    most = 0.0
    for start in range(0, len(samples), block):
        if size[start : start + block].max() > 0.63 * highest:
            before = min(start, beside)
            around = resample_poly(samples[start - before : start + block + beside], 4, 1, axis=0)
            # Not where it is cut off: that is an edge which the sound has not.
            most = max(most, np.abs(around[4 * before : 4 * (before + block)]).max())
    return 20 * np.log10(most)


def levels(lesson, folder, limit_db):
    worst = {"plain": -99.0, "click": -99.0}
    limited, loudness, frames_of_heads, headroom_most = 0.0, [], 0, 0.0
    for line in render(lesson, folder, 60, 75, 90, 100):
        passage, percent, _, _, took, headroom, head = line.rsplit(maxsplit=6)
        head_name = f"{passage}-{percent}"
        read = lambda name: soundfile.read(folder / f"{head_name}{name}.wav")[0]
        names = [f.stem[len(head_name) + 6 :] for f in sorted(folder.glob(f"{head_name}-part-*.wav"))]
        mix, rate = soundfile.read(folder / f"{head_name}.wav")
        click = read("-click") * 10 ** (float(headroom) / 20)
        down = 10 ** (float(headroom) / 20)
        lufs = pyloudnorm.Meter(rate).integrated_loudness(mix)
        expect(abs(lufs + 16) <= 0.2, f"{head_name}: {lufs:.2f} LUFS")
        expect(float(took) <= limit_db, f"{head_name}: the limiter took {took} dB")
        loudness.append(lufs)
        limited, frames_of_heads = max(limited, float(took)), max(frames_of_heads, int(head))
        headroom_most = min(headroom_most, float(headroom))
        for kind in ["part", "head"] if int(head) else ["part"]:
            stems = {name: read(f"-{kind}-{name}") for name in names}
            plain = [n for n in names if not n.endswith(", easier")]
            if kind == "part":
                expect(np.abs(sum(stems[n] for n in plain) - mix).max() < 1e-5, f"{head_name}: stems do not add up to the mix")
                for name in plain if len(plain) > 1 else []:
                    others = sum(stems[n] for n in plain if n != name)
                    expect(np.abs(others - read(f"-without-{name}")).max() < 1e-5, f"{head_name}: left-out of {name}")
            for choice in range(1, 1 << len(names)):
                chosen = [n for i, n in enumerate(names) if choice >> i & 1]
                if any(n + ", easier" in chosen for n in chosen):
                    continue
                heard = sum(stems[n] for n in chosen)
                for way, sound in [("plain", heard), ("click", heard * down + click[: len(heard)])]:
                    peak = peak_db(sound)
                    worst[way] = max(worst[way], peak)
                    expect(peak <= -1.0, f"{head_name}, {kind}s {chosen}, {way}: {peak:.2f} dBTP")
        print(f"{head_name}: {lufs:.2f} LUFS, limiter {took} dB, headroom for the click {headroom} dB, first round alike after {int(head) / rate:.2f} s")
    print(
        f"all: {min(loudness):.2f} to {max(loudness):.2f} LUFS; true peak of any choice at most {worst['plain']:.2f} dBTP, "
        f"with the click {worst['click']:.2f} dBTP; limiter at most {limited:.2f} dB, headroom {headroom_most:.2f} dB, heads {frames_of_heads / 48000:.2f} s"
    )


WORK.mkdir(parents=True, exist_ok=True)
pitches()
levels(ROOT / "crates" / "sound" / "tests" / "texts" / "all.kdl", WORK / "all", 3.0)
levels(next((ROOT / "demo" / "ferry-road").glob("*.kdl")), WORK / "demo", 2.0)
for fault in faults:
    print("FAULT", fault)
sys.exit(1 if faults else 0)
