"""Beats, bar lines, meters and swing of patterns played by the project's own instruments, and beats of real players, beside the plain method (onset strength
alone), a general library's and a constant tempo, by the field's metric.

Run from the repository's root: python3 checks/hear/beats.py [FOLDER]
Makes a virtual environment under target/, installs numpy, soundfile, librosa and mir_eval from the package registry, renders with
`cargo run --release -p sound --example render` and listens with `cargo run --release -p hear --example hear` (or the programs in the folder
EXAMPLES). Eight patterns, half of them syncopated (the guitar leaves out most beats), at 85 to 125 bpm, the tempo moving by 2 % up and down, each with
and without drums; as written, where the sound begins with a bar, and begun anywhere in the first bars, where only the playing itself tells the beat. Then other meters and swing. FOLDER holds GuitarSet's `audio` and `annotation`, of which players 03 and 05 are listened to (with DEVELOP
set: player 00), as they are, after the sound has been warped in time by 4 %, and that begun anywhere.

Fails where the patterns' mean F at 70 ms is under FLOOR, which is what was reached last, not what is asked for, where silence has beats, where beats that
are wrong (F at 70 ms under .5) are called sure (a confidence over SURE), or where a pattern with drums is not.
"""

import json
import os
import pathlib
import sys

from listening import WORK, bar_lines, beats_f as f, enter, example, hear

enter(__file__)

import librosa
import numpy as np
import soundfile

FLOOR = 0.95
SURE = 0.6
DEVELOP = os.environ.get("DEVELOP")
GRIPS = ["x x 5 5 5 x", "x x 4 5 5 x", "x 7 9 8 8 x", "x x 7 7 8 x"]
# Name, tempo, a bar of sixteenths, a bar of the bass; the first four keep to the beats, the others leave them.
PATTERNS = [
    ("quarters", 96, "a - a x  a - a x  a - a x  a - a x", "6:5 - - -  6:5 - - -  6:5 - - -  6:5 - - -"),
    ("eighths", 118, "a . a .  a . a .  a . a .  a . a .", "6:5 - 6:5 -  6:5 - 6:5 -  6:5 - 6:5 -  6:5 - 6:5 -"),
    ("gallop", 104, "a . x a  a . x a  a . x a  a . x a", "6:5 - - 6:5  6:5 - - .  6:5 - - 6:5  6:5 - - ."),
    ("sixteenths", 85, "a x a x  x x a x  a x x a  x x a x", "6:5 - . .  . . 6:5 .  6:5 - . .  . . 6:5 ."),
    ("ands", 92, ". . a .  . . a .  . . a .  . . a x", "6:5 - - -  . . 6:5 -  . . 6:5 -  - - . ."),
    ("chop", 102, "a' . x x  . a x .  . x a x  x a' x .", "6:5 . . 6:5  . . . 6:5  . . 6:5 .  . 6:5 . ."),
    ("pushed", 112, ". x a .  . x x a  - . x a  . x a .", "6:5 . . .  . . . 6:5  - . . 6:5  . . 6:5 ."),
    ("late", 125, "x a . x  x a . x  a . x a  . x a x", "6:5 . . .  . 6:5 . .  6:5 . . 6:5  . . . ."),
]
KIT = ("x . . .  . . . x  . . x .  . . . .", ". . . .  x . . .  . . . .  x . . .", "x . x .  x . x .  x . x .  x . x .")
BARS = 12


# Name, tempo, meter, beats a bar, slots, swing, bar of the guitar, bar of the bass, bar of each drum.
WALTZ = ("3/4", 3, 12)
SIX = ("6/8", 2, 12)
FOUR = ("4/4", 4, 16)
METERS = [
    ("waltz", 126, WALTZ, None, "a - - -  a' . . .  a' . . .", "6:5 - - -  . . . .  . . . .", None),
    ("waltz-kit", 104, WALTZ, None, ". . a .  a . . a  . . a .", "6:5 - - -  - - - -  . . 6:5 .", ("x . . .  . . . .  . . . .", ". . . .  x . . .  x . . .", "x . x .  x . x .  x . x .")),
    ("six", 66, SIX, None, "a - a - a -  a - a - a -", "6:5 - - - - -  6:5 - - - - -", None),
    ("six-kit", 80, SIX, None, "a - - - a .  . . a - a .", "6:5 - - - - -  . . . . 6:5 .", ("x . . . . .  . . . . x .", ". . . . . .  x . . . . .", "x . x . x .  x . x . x .")),
    ("shuffle", 116, FOUR, (64, 8), "a . a .  a' . a .  a . a .  a' . a .", "6:5 - . .  6:5 - 6:5 .  6:5 - . .  6:5 - 6:5 .", ("x . . .  . . . .  x . x .  . . . .", ". . . .  x . . .  . . . .  x . . .", "x . x .  x . x .  x . x .  x . x .")),
    ("swung-16", 96, FOUR, (58, 16), "a x . a  x x a x  . a x a  x x a x", "6:5 - . .  . 6:5 6:5 .  6:5 - . 6:5  . . 6:5 .", ("x . . .  . . . x  x . x .  . . . .", ". . . .  x . . .  . . . .  x . . x", "x x x x  x x x x  x x x x  x x x x")),
    ("light-16", 104, FOUR, (54, 16), "a x a x  x a x x  a x x a  x x a x", "6:5 - . .  . . 6:5 .  6:5 - . .  . . 6:5 .", None),
    ("even-16", 92, FOUR, None, "a x a x  x a x x  a x x a  x x a x", "6:5 - . .  . . 6:5 .  6:5 - . .  . . 6:5 .", ("x . . .  . . x .  . . x .  . . . .", ". . . .  x . . .  . . . .  x . . .", "x x x x  x x x x  x x x x  x x x x")),
]


def passage(name, tempo, meter, swing, guitar, bass, kit):
    """A passage's text, and its beats and beats a bar."""
    sign, beats, slots = meter
    tempi = [round(tempo * (1 + 0.02 * np.sin(2 * np.pi * b / BARS)), 3) for b in range(BARS)]
    root = [0, 0, 2, 3]
    text = f' passage "{name}" {{\n tempo {tempo}\n meter "{sign}"\n slots {slots}\n'
    if swing:
        text += f' swing {swing[0]} of="1/{swing[1]}"\n'
    text += ' part "g" instrument="guitar" {\n' + "".join(f'  grip "{g}" "{frets}"\n' for g, frets in zip("abcd", GRIPS))
    text += "".join(f'  bar "{guitar.replace("a", "abcd"[b // 2 % 4])}" tempo={t:.3f}\n' for b, t in enumerate(tempi)) + " }\n"
    if bass:
        text += ' part "b" instrument="bass" {\n' + "".join(f'  bar "{bass.replace("6:5", "4:" + str(5 + root[b // 2 % 4]))}"\n' for b in range(BARS)) + " }\n"
    if kit:
        kick, snare, hats = kit
        text += ' part "k" instrument="drums" {\n' + f'  bar {{ kick "{kick}"; snare "{snare}"; hats "{hats}" }}\n' * BARS + " }\n"
    lengths = np.repeat([60 / t for t in tempi], beats)
    return text + " }\n", np.concatenate([[0], np.cumsum(lengths)[:-1]])


def lesson():
    text, truth = 'lesson "Patterns" {\n', {}
    for name, tempo, guitar, bass in PATTERNS:
        for drums in (False, True):
            called = f"{name}{'-kit' if drums else ''}"
            more, truth[called] = passage(called, tempo, FOUR, None, guitar, bass if drums else None, KIT if drums else None)
            text += more
    for name, tempo, meter, swing, guitar, bass, kit in METERS:
        more, truth[name] = passage(name, tempo, meter, swing, guitar, bass, kit)
        text += more
    return text + "}\n", truth


def library(file):
    y, rate = librosa.load(file, sr=22050)
    return list(librosa.frames_to_time(librosa.beat.beat_track(y=y, sr=rate)[1], sr=rate))


def begun_anywhere(sound, rate, beats, seed, target):
    """Writes the sound without its first 0.3 to 4 seconds, and gives the beats that are left."""
    cut = round(np.random.default_rng(seed).uniform(0.3, 4.0) * rate)
    soundfile.write(target, sound[cut:], rate)
    return beats[beats >= cut / rate] - cut / rate


def plain(files):
    """Beats by onset strength alone, and how sure they are."""
    return [json.loads(line) for line in example("hear", "hear", "--plain", *files)]


def main():
    WORK.mkdir(parents=True, exist_ok=True)
    text, truth = lesson()
    (WORK / "patterns.kdl").write_text(text)
    example("sound", "render", WORK / "patterns.kdl", WORK / "patterns", 100)
    files = {name: WORK / "patterns" / f"{name}-100.wav" for name in truth}
    heard, plainly = (dict(zip(truth, way(files.values()))) for way in (hear, plain))
    rows, wrong, unsure, biases = [], [], [], []
    for name, beats in list(truth.items())[:2 * len(PATTERNS)]:
        h, other = heard[name], library(files[name])
        downs = bar_lines(h)
        rows.append([f(beats, h["beats"], 0.07), f(beats, h["beats"], 0.02), f(beats[::4], downs, 0.07), f(beats, plainly[name]["beats"], 0.07), f(beats, other, 0.07)])
        t = h["tempo"] or {"bpm": 0, "confidence": 0}
        wrong += [name] * (rows[-1][0] < 0.5 and t["confidence"] > SURE)
        unsure += [name] * (name.endswith("-kit") and t["confidence"] <= SURE)
        if rows[-1][0] > 0.9:
            biases.append(np.median([h["beats"][np.argmin(np.abs(np.array(h["beats"]) - b))] - b for b in beats]))
        print(f"{name:16} F70 {rows[-1][0]:.2f} F20 {rows[-1][1]:.2f} bar lines {rows[-1][2]:.2f}; {t['bpm']:.1f} bpm of {60 / np.diff(beats).mean():.1f}, confidence {t['confidence']:.2f}, {h['meter']}; "
              f"plain {rows[-1][3]:.2f} (confidence {plainly[name]['confidence']:.2f}), library {rows[-1][4]:.2f}")
    rows = np.array(rows)
    for what, part in (("without drums", rows[0::2]), ("with drums", rows[1::2]), ("all", rows)):
        print(f"{what}: F70 {part[:, 0].mean():.3f} (least {part[:, 0].min():.2f}), F20 {part[:, 1].mean():.3f}, bar lines {part[:, 2].mean():.3f}; plain F70 {part[:, 3].mean():.3f}, library {part[:, 4].mean():.3f}")
    later = []
    for n, (name, beats) in enumerate(list(truth.items())[:2 * len(PATTERNS)]):
        target = WORK / f"later-{name}.wav"
        left = begun_anywhere(*soundfile.read(files[name]), beats, n, target)
        later.append((name, left, target))
    cut = []
    for (name, left, _), h, p in zip(later, hear([t for *_, t in later]), plain([t for *_, t in later])):
        own, sure = f(left, h["beats"], 0.07), (h["tempo"] or {"confidence": 0})["confidence"]
        wrong += [f"{name}, begun anywhere"] * (own < 0.5 and sure > SURE)
        cut.append([own, f(left, p["beats"], 0.07)])
        print(f"{name}, begun anywhere: F70 {own:.2f}, confidence {sure:.2f}; plain {cut[-1][1]:.2f}")
    cut = np.array(cut)
    print(f"begun anywhere: without drums F70 {cut[0::2, 0].mean():.3f} (plain {cut[0::2, 1].mean():.3f}), with drums {cut[1::2, 0].mean():.3f} ({cut[1::2, 1].mean():.3f})")
    if biases:
        print(f"time bias where the beat is found: median {1000 * np.median(biases):+.1f} ms, {1000 * min(biases):+.1f} to {1000 * max(biases):+.1f}")
    for name, tempo, (sign, bar, _), swing, *_ in METERS:
        h, beats = heard[name], truth[name]
        downs = bar_lines(h)
        print(f"{name:16} F70 {f(beats, h['beats'], 0.07):.2f} F20 {f(beats, h['beats'], 0.02):.2f} bar lines {f(beats[::bar], downs, 0.07):.2f}; meter {h['meter']} of {sign}; swing {h['swing']} of {swing}; confidence {(h['tempo'] or {'confidence': 0})['confidence']:.2f}")
    silence = WORK / "silence.wav"
    soundfile.write(silence, np.zeros(44100 * 10), 44100)
    silent = hear([silence])[0]["beats"] or plain([silence])[0]["beats"]
    print(f"silence: {silent or 'no'} beats")
    if len(sys.argv) > 1:
        wrong += excerpts(pathlib.Path(sys.argv[1]))
    print(f"wrong and called sure: {', '.join(wrong) or 'none'}")
    print(f"with drums and not called sure: {', '.join(unsure) or 'none'}")
    return rows[:, 0].mean() < FLOOR or bool(silent) or bool(wrong) or bool(unsure)


def excerpts(folder):
    """Prints a line for each; gives those that are wrong and called sure."""
    wrong = []
    for file in sorted((folder / "audio").glob("*.flac")):
        jams = folder / "annotation" / f"{file.stem.rpartition('_')[0]}.jams"
        if bool(DEVELOP) != file.stem.startswith("00"):
            continue
        data = next(a for a in json.loads(jams.read_text())["annotations"] if a["namespace"] == "beat_position")["data"]
        beats = np.array([d["time"] for d in data])
        sound, rate = soundfile.read(file)
        sound = sound if sound.ndim == 1 else sound.mean(axis=1)
        beats = beats[beats < len(sound) / rate]
        rng = np.random.default_rng(5)
        # Time as played, against time as warped: a slow wave of 4 %.
        period, start = rng.uniform(12, 20), rng.uniform(0, 2 * np.pi)
        depth = 0.04 * period / (2 * np.pi)
        warp = lambda t: t + depth * (np.sin(2 * np.pi * t / period + start) - np.sin(start))
        grid = np.arange(0, warp(len(sound) / rate), 1 / rate)
        times = np.arange(len(sound)) / rate
        warped = np.interp(np.interp(grid, warp(times), times), times, sound)
        target = WORK / f"warped-{jams.stem}.wav"
        soundfile.write(target, warped, rate)
        later = WORK / f"later-{jams.stem}.wav"
        left = begun_anywhere(warped, rate, warp(beats), 7, later)
        for what, path, true in (("", file, beats), (", warped", target, warp(beats)), (", warped and begun anywhere", later, left)):
            h, p, other = hear([path])[0], plain([path])[0], library(path)
            constant = true[0] + np.arange(len(true)) * np.diff(true).mean()
            t = h["tempo"] or {"bpm": 0, "confidence": 0}
            own = f(true, h["beats"], 0.07)
            wrong += [jams.stem + what] * (own < 0.5 and t["confidence"] > SURE)
            print(f"{jams.stem}{what}: F70 {own:.2f} F20 {f(true, h['beats'], 0.02):.2f}; plain {f(true, p['beats'], 0.07):.2f}; library {f(true, other, 0.07):.2f}; constant tempo {f(true, list(constant), 0.07):.2f}; "
                  f"{t['bpm']:.1f} bpm of {60 / np.diff(true).mean():.1f}, confidence {t['confidence']:.2f}, {h['meter']}, swing {h['swing']}")
    return wrong


sys.exit(int(main()))
