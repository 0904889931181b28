"""Seats found and taken apart: two real guitars panned apart, bass and drums in the centre, dry and in a shared stereo room, beside a plain azimuth mask.

Run from the repository's root: python3 checks/hear/seats.py FOLDER [--quick]
FOLDER holds `guitarset/audio` and `samples/bass`, `samples/drums` (with DEVELOP set also `guitarset/annotation` and the guitars in `samples`: then players 00 and 01
are heard, on whom all was set; else 03 and 05). Makes a virtual environment under target/, installs what it needs from the package registry, and runs
`cargo run --release -p hear --example apart` (or the program in the folder EXAMPLES).

The room is one for all: noise that dies away by 60 dB in 0.5 s, on both sides its own, after 12 ms, so many decibels below each instrument. A guitar's truth is its image on both channels,
with its own room. Also what rings (guitars, bass) against what strikes (drums), beside the library's median filters. SDR: energy of the truth over that of the difference, nothing forgiven; the last column is the SDR of mir_eval's bss_eval_images, which
forgives a short filter. All SDR columns are improvements over the record itself. `said` is what the program claims of the improvement; it fails where that is more than was
measured in more than a tenth of the cases, or by more than 1 dB in any, where a seat is more than 0.05 off, or where the means are under FLOORS.
"""

import json
import os
import pathlib
import re
import sys

from listening import WORK, enter, example

enter(__file__)

import librosa
import mir_eval
import numpy as np
import soundfile

RATE = 44100
SECONDS = 12
DEVELOP = bool(os.environ.get("DEVELOP"))
FOLDER = pathlib.Path(sys.argv[1])
FLOORS = {None: 12.0, -9: 6.0}
QUICK = "--quick" in sys.argv


def load(path):
    sound, rate = soundfile.read(path)
    sound = sound if sound.ndim == 1 else sound.mean(axis=1)
    return sound if rate == RATE else librosa.resample(sound, orig_sr=rate, target_sr=RATE)


def fit(sound):
    sound = np.pad(sound, (0, max(0, SECONDS * RATE - len(sound))))[: SECONDS * RATE]
    return sound / np.sqrt((sound**2).mean())


def put(target, sound, seconds, gain):
    start = int(seconds * RATE)
    piece = sound[: max(0, len(target) - start)]
    target[start : start + len(piece)] += gain * piece


def rhythm(bpm):
    """A bass note a beat, kick, snare and hat."""
    rng = np.random.default_rng(0)
    kick, snare, hat = (load(FOLDER / "samples" / "drums" / f"drum_{n}.ogg") for n in ("bass_hard", "snare_hard", "cymbal_closed"))
    notes = [load(f) for f in sorted((FOLDER / "samples" / "bass").glob("*_f_rr1.ogg"))]
    bass, drums = np.zeros(SECONDS * RATE), np.zeros(SECONDS * RATE)
    beat = 60 / bpm
    for i, t in enumerate(np.arange(0.1, SECONDS, beat / 2)):
        if i % 2 == 0:
            put(drums, hat, t, 0.4 * rng.uniform(0.7, 1))
            note = notes[rng.integers(len(notes))][: int(beat * RATE * 0.95)].copy()
            note[-400:] *= np.linspace(1, 0, len(note[-400:]))
            put(bass, note, t, 1)
        if i % 8 in (0, 5):
            put(drums, kick, t, 1)
        if i % 8 == 4:
            put(drums, snare, t, 0.8)
    return fit(bass), fit(drums)


def played(name, kind, seed):
    """An annotation played with single notes of a guitar."""
    rng = np.random.default_rng(seed)
    by_note = {}
    for file in sorted((FOLDER / "samples" / kind).glob("*.ogg")):
        found = re.match(r"(?:[A-Z]_)?([A-Ga-g])([b#]?)(\d)_", file.name)
        if found:
            pitch = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}[found[1].lower()] + {"b": -1, "#": 1, "": 0}[found[2]] + 12 * int(found[3]) + 12
            by_note.setdefault(pitch, []).append(load(file))
    out = np.zeros(SECONDS * RATE)
    for track in json.loads((FOLDER / "guitarset" / "annotation" / f"{name}.jams").read_text())["annotations"]:
        for note in track["data"] if track["namespace"] == "note_midi" else []:
            pitch = min(by_note, key=lambda p: abs(p - note["value"]))
            sound, step = by_note[pitch][rng.integers(len(by_note[pitch]))], 2 ** ((note["value"] - pitch) / 12)
            length = int(min(note["duration"], len(sound) / RATE / step - 0.01) * RATE)
            if length > 500 and note["time"] < SECONDS:
                tone = np.interp(np.arange(length) * step, np.arange(len(sound)), sound)
                tone[-500:] *= np.linspace(1, 0, 500)
                put(out, tone, note["time"], rng.uniform(0.5, 1))
    return fit(out)


def gains(azimuth):
    return np.array([np.cos((azimuth + 1) * np.pi / 4), np.sin((azimuth + 1) * np.pi / 4)])


def room(seed, level_db):
    rng = np.random.default_rng(seed)
    t = np.arange(RATE // 2) / RATE
    tail = rng.standard_normal((2, len(t))) * 10 ** (-3 * t / 0.5)
    tail[:, : int(0.012 * RATE)] = 0
    # Duller than the instruments: a pole at 5 kHz.
    pole = np.exp(-2 * np.pi * 5000 / RATE)
    for n in range(1, len(t)):
        tail[:, n] = (1 - pole) * tail[:, n] + pole * tail[:, n - 1]
    return tail / np.sqrt((tail**2).sum(axis=1, keepdims=True)) * 10 ** (level_db / 20) / np.sqrt(2)


def images(sources, azimuths, level_db, seed=3):
    tail = None if level_db is None else room(seed, level_db)
    out = []
    for sound, azimuth in zip(sources, azimuths):
        image = gains(azimuth)[:, None] * sound
        if tail is not None:
            n = 1 << (len(sound) + tail.shape[1]).bit_length()
            image = image + np.fft.irfft(np.fft.rfft(tail, n) * np.fft.rfft(sound, n), n)[:, : len(sound)]
        out.append(image)
    return out


def plain(mix, azimuth):
    """All that lies within 0.3 of the azimuth in windows of 93 ms."""
    spectra = np.stack([librosa.stft(c, n_fft=4096) for c in mix])
    place = 4 / np.pi * np.arctan2(abs(spectra[1]), abs(spectra[0])) - 1
    return np.stack([librosa.istft(c, n_fft=4096, length=mix.shape[1]) for c in spectra * (abs(place - azimuth) < 0.3)])


def sdr(truth, found):
    return 10 * np.log10((truth**2).sum() / ((found - truth) ** 2).sum())


def bss_eval(truth, rest, found, left):
    # Eight seconds suffice and cost a third.
    cut = slice(2 * RATE, 10 * RATE)
    references, estimates = np.stack([truth.T[cut], rest.T[cut]]), np.stack([found.T[cut], left.T[cut]])
    return mir_eval.separation.bss_eval_images(references, estimates, compute_permutation=False)[0][0]


def cases():
    if DEVELOP:
        first = load(FOLDER / "guitarset/audio/00_BN1-129-Eb_comp_mix.flac")
        yield "00 comp, 01 solo", fit(first), played("01_BN1-129-Eb_solo", "archtop", 0), 129
        yield "01 comp, 00 comp", played("01_Rock1-130-A_comp", "electric-flatwound", 0), played("00_Rock1-130-A_comp", "archtop", 1), 130
        yield "00 solo, 01 comp", played("00_SS3-84-Bb_solo", "electric-by-string", 2), played("01_BN3-154-E_comp", "electric-flatwound", 3), 84
        yield "00 comp, 01 comp", fit(first), played("01_Funk2-119-G_comp", "archtop", 4), 129
    else:
        audio = {n: fit(load(FOLDER / "guitarset/audio" / f"{n}_mic.flac")) for n in ("05_Jazz3-137-Eb_comp", "05_Jazz3-137-Eb_solo", "03_Jazz2-110-Bb_comp", "03_SS2-107-Ab_solo", "05_Rock1-130-A_comp")}
        yield "Jazz3 comp, Jazz3 solo", audio["05_Jazz3-137-Eb_comp"], audio["05_Jazz3-137-Eb_solo"], 137
        yield "Jazz2 comp, SS2 solo", audio["03_Jazz2-110-Bb_comp"], audio["03_SS2-107-Ab_solo"], 110
        yield "Rock1 comp, Jazz3 comp", audio["05_Rock1-130-A_comp"], audio["05_Jazz3-137-Eb_comp"], 130


def strokes(name, guitars, bass, drums, claims):
    """What rings against what strikes, all in one channel."""
    rings = fit(guitars + bass)
    record, tones, hits = WORK / "strokes.wav", WORK / "tones.wav", WORK / "hits.wav"
    mix = rings + drums
    scale = 0.5 / abs(mix).max()
    soundfile.write(record, scale * mix, RATE, subtype="FLOAT")
    said = json.loads(example("hear", "apart", "strokes", record, tones, hits)[0])
    library = librosa.effects.hpss(mix)
    gains_db = []
    for what, truth, file, other in (("tones", rings, tones, library[0]), ("strokes", drums, hits, library[1])):
        was, is_now = sdr(truth, mix), sdr(truth, soundfile.read(file)[0] / scale)
        claims.append((max(said[what]["gain_db"] - is_now + was, said[what]["sdr_db"] - is_now), said[what]["sdr_db"], is_now, None, what))
        gains_db.append((is_now - was, sdr(truth, other) - was))
        print(f"{name}, {what}: {was:.1f} dB, better by {is_now - was:.1f}, library {gains_db[-1][1]:.1f}; said {said[what]['gain_db']:.1f} (to {said[what]['sdr_db']:.1f} of {is_now:.1f})")
    return gains_db


def main():
    WORK.mkdir(parents=True, exist_ok=True)
    record, out = WORK / "seats.wav", WORK / "seat.wav"
    rows, claims, wrong_seats, false_seats = {}, [], 0, 0
    for name, one, two, bpm in cases():
        bass, drums = rhythm(bpm)
        for what, pair in zip(("tones", "strokes"), strokes(name, one + two, bass, drums, claims)):
            rows.setdefault((what, None), []).append((*pair, 0.0))
        for azimuths in [(-0.6, 0.6)] if QUICK else [(-0.6, 0.6), (-1, 1), (-0.35, 0.45)]:
            for level_db in (None, -20, -14, -9):
                places = [*azimuths, 0, 0]
                parts = images([one, two, bass, drums], places, level_db)
                mix = sum(parts)
                scale = 0.5 / abs(mix).max()
                soundfile.write(record, scale * mix.T, RATE, subtype="FLOAT")
                picture = json.loads(example("hear", "apart", "picture", record)[0])
                found = [s["azimuth"] for s in picture["seats"]]
                off = [min((abs(f - a) for f in found), default=2) for a in (*azimuths, 0)]
                false = sum(min(abs(f - a) for a in (*azimuths, 0)) > 0.1 for f in found)
                if level_db in (None, -20):
                    wrong_seats += sum(o > 0.05 for o in off)
                    false_seats += false
                seats = [f"{s['azimuth']:+.2f} ({s['share']:.2f})" for s in picture["seats"]]
                print(f"{name}, at {azimuths[0]} and {azimuths[1]}, room {level_db} dB: dryness {picture['dryness']:.2f}, found {' '.join(seats)}")
                centre = parts[2] + parts[3]
                for what, azimuth, truth in ((*[("guitar", a, p) for a, p in zip(azimuths, parts)], ("centre", 0, centre))):
                    try:
                        said = json.loads(example("hear", "apart", "seat", record, out, azimuth, 0.12, "only")[0])
                    except Exception as fault:
                        print("   ", what, "refused:", getattr(fault, "stderr", fault))
                        continue
                    only = soundfile.read(out)[0].T / scale
                    was = sdr(truth, mix)
                    gain, mask = sdr(truth, only) - was, sdr(truth, plain(mix, azimuth)) - was
                    rest = mix - truth
                    field = 0.0 if QUICK else bss_eval(truth, rest, only, mix - only) - bss_eval(truth, rest, mix, mix)
                    rows.setdefault((what, level_db), []).append((gain, mask, field))
                    claims.append((max(said["gain_db"] - gain, said["sdr_db"] - was - gain), said["sdr_db"], was + gain, level_db, what))
                    print(f"    {what} at {azimuth:+}: from {was:.1f} dB by {gain:.1f}, plain mask {mask:.1f}, bss_eval {field:.1f}; said {said['gain_db']:.1f} (to {said['sdr_db']:.1f} of {was + gain:.1f}), share {said['share']:.2f}")
    failed = False
    for (what, level_db), values in rows.items():
        values = np.array(values)
        floor = FLOORS.get(level_db) if what == "guitar" else None
        short = floor is not None and values[:, 0].min() < floor
        print(f"{what}, room {level_db} dB: {values[:, 0].mean():.1f} dB better (least {values[:, 0].min():.1f}), plain method {values[:, 1].mean():.1f} (least {values[:, 1].min():.1f}), bss_eval {values[:, 2].mean():.1f}{', SHORT' if short else ''}")
        failed |= floor is not None and values[:, 0].mean() < floor
    over = np.array([c[0] for c in claims])
    print(f"claims: {np.mean(over > 0):.2f} too high, at most by {over.max():.1f} dB, on average {-over.mean():.1f} dB too low; seats off by more than 0.05 (dry, and room -20 dB): {wrong_seats}, false ones {false_seats}")
    if DEVELOP:
        for c in claims:
            print("claim over by", " ".join(f"{v:.1f}" if isinstance(v, float) else str(v) for v in c))
    return failed or np.mean(over > 0) > 0.1 or over.max() > 1.0 or wrong_seats > 0


sys.exit(int(main()))
