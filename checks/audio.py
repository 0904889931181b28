#!/usr/bin/env python3
"""Checks what `wave` writes and measures against other programs, and `hear` against itself.

- ffmpeg and opusdec read our WAV, FLAC and Opus files: same length to the frame, same place in time.
- Two other loudness meters (ffmpeg's ebur128 filter, pyloudnorm) agree within 0.2 LU; ffmpeg's true peak within 0.3 dB.
- Resampling agrees with ffmpeg's to -80 dB.
- Everything written, and what `hear` hears, is the same byte for byte on other CPU models (emulated, with wide lanes and without) and with the C library's own dispatch turned off.

Run from anywhere (EXAMPLES is a folder of example programs built already); installs ffmpeg, opus-tools, qemu-user and python3-venv by apt-get where they are missing, and numpy and pyloudnorm into
target/checks. Exits with 1 if anything disagrees.
"""
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parent.parent
WORK = ROOT / "target" / "checks" / "audio"
VENV = ROOT / "target" / "checks" / "venv-audio"


def run(*args, **kwargs):
    return subprocess.run([str(a) for a in args], check=True, capture_output=True, **kwargs)


def prepare():
    """Installs what is missing and goes on in an environment that has the packages."""
    programs = {"ffmpeg": "ffmpeg", "opusdec": "opus-tools", "qemu-x86_64": "qemu-user"}
    missing = [package for program, package in programs.items() if not shutil.which(program)]
    if subprocess.run([sys.executable, "-c", "import ensurepip"], capture_output=True).returncode:
        missing.append("python3-venv")
    if missing:
        if subprocess.run(["apt-get", "install", "-y", *missing], capture_output=True).returncode:
            run("apt-get", "update")
            run("apt-get", "install", "-y", *missing)
    if not (VENV / "done").exists():
        run(sys.executable, "-m", "venv", VENV)
        run(VENV / "bin" / "pip", "install", "numpy==2.*", "pyloudnorm==0.1.*")
        (VENV / "done").touch()
    python = str(VENV / "bin" / "python")
    os.execv(python, [python, __file__, "--prepared"])


if "--prepared" not in sys.argv:
    prepare()

import numpy as np  # noqa: E402
import pyloudnorm  # noqa: E402

WORK.mkdir(parents=True, exist_ok=True)
if "EXAMPLES" not in os.environ:
    for crate, example in (("wave", "sound"), ("hear", "hear")):
        run("cargo", "build", "--release", "-p", crate, "--example", example, cwd=ROOT)
SOUND, HEAR = (pathlib.Path(os.environ.get("EXAMPLES", ROOT / "target" / "release" / "examples")).resolve() / name for name in ("sound", "hear"))
failures = 0


def check(what, good, found):
    global failures
    failures += not good
    print(f"{'ok  ' if good else 'FAIL'} {what}: {found}")


def write(path, samples, rate):
    """A float WAV file, through ffmpeg."""
    channels = samples.shape[1]
    run("ffmpeg", "-y", "-v", "error", "-f", "f32le", "-ar", rate, "-ac", channels, "-i", "-", "-c:a", "pcm_f32le", path,
        input=samples.astype("<f4").tobytes())


def read(path, channels):
    out = run("ffmpeg", "-v", "error", "-i", path, "-f", "f32le", "-c:a", "pcm_f32le", "-").stdout
    return np.frombuffer(out, "<f4").reshape(-1, channels).astype(float)


def plucks(rate, seconds, channels, seed):
    """Decaying tones at random times, a different balance on each channel."""
    rng = np.random.default_rng(seed)
    n = round(rate * seconds)
    out = np.zeros((n, channels))
    for _ in range(round(seconds * 6)):
        start = rng.integers(0, n)
        t = np.arange(n - start) / rate
        hz = 82.407 * 2 ** (rng.integers(0, 36) / 12)
        tone = sum(np.exp(-t * (2 + h)) * np.sin(2 * np.pi * hz * h * t) / h for h in range(1, 10))
        out[start:] += 0.15 * tone[:, None] * rng.uniform(0.3, 1, channels)
    return out


def lag(a, b):
    """By how many frames b is later than a."""
    n = 1 << (len(a) + len(b)).bit_length()
    product = np.fft.irfft(np.fft.rfft(b, n) * np.conj(np.fft.rfft(a, n)), n)
    best = int(np.argmax(product))
    return best - n if best > n // 2 else best


def files():
    for channels, frames in [(1, 48_000), (2, 96_123), (2, 959), (1, 961)]:
        signal = plucks(48_000, frames / 48_000, channels, frames)[:frames]
        # A click, so that the place is certain.
        signal[frames // 3] += 0.5
        source = WORK / "source.wav"
        write(source, signal, 48_000)
        # Lossless: half a step. Opus: an error 15 dB below the signal, where there is more than a click.
        step = 0.5 / 32768 * 1.001
        for name, extra, most in [("o.wav", [], step), ("o.f32.wav", [], 1e-7), ("o.flac", [], step),
                                  ("o.opus", ["128000"], None), ("l.opus", ["128000", "loop"], None)]:
            run(SOUND, "encode", source, WORK / name, *extra)
            decoded = [("ffmpeg", read(WORK / name, channels))]
            if name.endswith("opus"):
                run("opusdec", "--quiet", "--float", WORK / name, WORK / "opusdec.wav")
                decoded.append(("opusdec", read(WORK / "opusdec.wav", channels)))
            for program, got in decoded:
                what = f"{name}, {channels} channels, {frames} frames, by {program}"
                if len(got) != frames:
                    check(what, False, f"{len(got)} frames")
                    continue
                late = lag(signal[:, 0], got[:, 0])
                largest = np.max(np.abs(got - signal))
                share = np.sqrt(np.mean((got - signal) ** 2) / np.mean(signal**2))
                near = largest <= most if most else share < 10 ** (-15 / 20) or frames < 2_000
                check(what, late == 0 and near, f"{late} late, error {largest:.2g} at most, {20 * np.log10(share + 1e-9):.1f} dB")


def loudness():
    for rate, channels, seed, gain in [(48_000, 2, 1, 1.0), (44_100, 2, 2, 0.2), (48_000, 1, 3, 3.0)]:
        signal = plucks(rate, 12, channels, seed) * gain
        source = WORK / "loud.wav"
        write(source, signal, rate)
        ours = dict(line.split() for line in run(SOUND, "loudness", source).stdout.decode().splitlines())
        text = run("ffmpeg", "-nostats", "-i", source, "-af", "ebur128=peak=true", "-f", "null", "-").stderr.decode()
        summary = text[text.rindex("Summary:"):]
        theirs = float(re.search(r"I:\s+(-?[\d.]+) LUFS", summary)[1])
        peak = float(re.search(r"Peak:\s+(-?[\d.]+) dBFS", summary)[1])
        other = pyloudnorm.Meter(rate).integrated_loudness(signal)
        mine = float(ours["integrated"])
        what = f"loudness, {rate} Hz, {channels} channels"
        check(what, abs(mine - theirs) <= 0.2 and abs(mine - other) <= 0.2,
              f"ours {mine:.2f}, ffmpeg {theirs:.1f}, pyloudnorm {other:.2f} LUFS")
        true_peak = float(ours["true-peak"])
        check(what, abs(true_peak - peak) <= 0.3, f"true peak ours {true_peak:.2f}, ffmpeg {peak:.1f} dBTP")


def resampling():
    signal = plucks(44_100, 3, 2, 5)
    # Within both pass bands.
    spectrum = np.fft.rfft(signal, axis=0)
    spectrum[15_000 * 3:] = 0
    signal = np.fft.irfft(spectrum, len(signal), axis=0)
    write(WORK / "r.wav", signal, 44_100)
    run(SOUND, "resample", WORK / "r.wav", WORK / "r48.wav", 48_000)
    run("ffmpeg", "-y", "-v", "error", "-i", WORK / "r.wav", "-af", "aresample=48000:filter_size=256:phase_shift=10:cutoff=0.95", "-c:a",
        "pcm_f32le", WORK / "f48.wav")
    ours, theirs = read(WORK / "r48.wav", 2), read(WORK / "f48.wav", 2)
    n = min(len(ours), len(theirs)) - 2_000
    error = 10 * np.log10(np.mean((ours[2_000:n] - theirs[2_000:n]) ** 2) / np.mean(theirs[2_000:n] ** 2))
    check("resample, 44.1 to 48 kHz", len(ours) == 144_000 and error < -80, f"{len(ours)} frames, {error:.1f} dB from ffmpeg")


def band():
    """Twelve seconds of chords struck in eighths over their roots, to be listened to; stereo at 44.1 kHz."""
    rate, out = 44_100, np.zeros((12 * 44_100, 2))
    rng = np.random.default_rng(4)
    for eighth in range(44):
        root = [45, 50, 52, 45][eighth // 8 % 4]
        for midi, pan in [(root - 12, 0.5)] * (eighth % 4 == 0) + [(root + i, 0.2) for i in (7, 12, 16)] * (eighth % 8 != 5):
            t = np.arange(round(0.6 * rate)) / rate
            hz = 440 * 2 ** ((midi - 69) / 12)
            note = sum(np.sin(2 * np.pi * hz * k * t) / k for k in range(1, 7)) * np.exp(-t / 0.2)
            start = round((0.2 + eighth * 0.25 + 0.004 * rng.standard_normal()) * rate)
            out[start:start + len(t)] += 0.1 * note[:, None] * [1 - pan, pan]
    return out + 0.001 * rng.standard_normal(out.shape), rate


def cpus():
    write(WORK / "band.wav", *band())

    def digest(*prefix, **kwargs):
        lines = run(*prefix, SOUND, "digest", **kwargs).stdout.decode().splitlines()
        heard = json.loads(run(*prefix, HEAR, WORK / "band.wav", **kwargs).stdout)
        # How long it took.
        del heard["seconds"]
        return {**{line[:12].strip(): line for line in lines}, **{f"heard: {name}": value for name, value in heard.items()}}

    # Decoded Ogg Opus is the one thing that may differ in its last bits (see the crate's decode module).
    excepted = {"opus decoded", "ffmpeg.opus"}
    here = digest()
    for name in ("beats", "chords", "key", "bass"):
        check(f"heard: {name}", here[f"heard: {name}"], "something" if here[f"heard: {name}"] else "nothing")
    tunables = "glibc.cpu.hwcaps=-AVX2,-FMA,-FMA4,-AVX512F"
    variants = [("C library without AVX2 and FMA", digest(env={**os.environ, "GLIBC_TUNABLES": tunables}))]
    if os.uname().machine == "x86_64":
        variants += [(f"emulated {cpu}", digest("qemu-x86_64", "-cpu", cpu)) for cpu in ["max", "Nehalem"]]
    for name, there in variants:
        differing = sorted(k for k in here if here[k] != there.get(k) and k not in excepted)
        check(f"same bytes: {name}", not differing and len(here) > 20, f"{len(here)} digests and answers, differing: {differing or 'none'}")


files()
loudness()
resampling()
cpus()
print(f"{failures} failed" if failures else "all agree")
sys.exit(bool(failures))
