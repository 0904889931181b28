"""Chords of whole performances by the trained scorer, for tuning the constants of `crates/hear/src/chords.rs`; decoded as there, by the field's metric.

python3 tune.py DATA SOUNDFONT OUT WEIGHTS: plays every second comping annotation of players 00 and 01 as performed, with guitars of a soundfont that nothing was
trained on, once into OUT, and prints the scores for a grid of constants. Beats are the annotation's, for every third piece half a beat off.
"""

import itertools
import os
import pathlib
import subprocess
import sys

import mir_eval
import numpy as np
import soundfile

from clips import performance, played
from labels import KINDS, TONES
from prepare import ROOT
from soundfont import Soundfont
from sounds import RATE, recorded
from train import HIDDEN, INPUTS, OUT, Q, scores
from windows import NOTES, Pool, inputs

NAMES = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"]
RUNS = [1, 2, 3, 4, 6, 8, 12, 16]


def read(path):
    values = np.fromfile(path, "<f2").astype(np.float32)
    sizes, at, net = [INPUTS, *HIDDEN, OUT], 0, []
    for a, b in zip(sizes, sizes[1:]):
        net += [values[at : at + a * b].reshape(a, b), values[at + a * b : at + a * b + b]]
        at += a * b + b
    return net


def scored(net, pool, times):
    """For each length of run: log-probabilities of chords and none, and of basses, at every unit."""
    out = {}
    for length in RUNS:
        starts = np.arange(len(times) - length)
        if len(starts):
            chords, bass, _ = scores(net, *inputs(pool, times[starts], times[starts + length]))
            out[length] = (chords, bass)
    return out


ROOTS = np.repeat(np.arange(12), Q)
BASSES = np.full((12 * Q, 12), -1e9, np.float32)
for c in range(12 * Q):
    BASSES[c, [(c // Q + t) % 12 for t in TONES[KINDS[c % Q]]]] = 0


def decode(runs, times, places, begin, bass_worth, worth, power):
    n = len(times) - 1
    tops = {}
    for length, (chords, bass) in runs.items():
        own = (bass[:, None, :] + BASSES).max(2) if bass_worth else 0
        total = np.concatenate([chords[:, : 12 * Q] + bass_worth * own, chords[:, 12 * Q + 1 :]], 1)
        tops[length] = (total.argmax(1), total.max(1))
    best, back = np.full(n + 1, -np.inf), [None] * (n + 1)
    best[0] = 0
    for u in range(n):
        before = best[u] - (begin[places[u]] if u else 0)
        for length in tops:
            if u + length <= n:
                which, score = tops[length][0][u], tops[length][1][u]
                reached = before + worth * ((times[u + length] - times[u]) / 0.5) ** power * score
                if reached > best[u + length]:
                    best[u + length], back[u + length] = reached, (u, which)
    out, to = [], n
    while to:
        u, which = back[to]
        if out and out[-1][2] == which:
            out[-1] = (u, out[-1][1], which)
        else:
            out.append((u, to, which))
        to = u
    return out[::-1]


def name(which):
    if which >= 12 * Q:
        return "N"
    kind = KINDS[which % Q]
    return f"{NAMES[which // Q]}:" + {"7sus4": "sus4(b7)", "5": "(5)"}.get(kind, kind)


def units(beats, end, shift=0.0):
    """Half beats from the first beat to the end, and the place of each: bar, middle, beat, half."""
    beats = np.array(beats) + shift
    step = np.median(np.diff(beats))
    beats = np.concatenate([beats, np.arange(beats[-1] + step, end, step)])
    halves = np.sort(np.concatenate([beats, (beats[1:] + beats[:-1]) / 2]))
    places = [3 if i % 2 else [0, 2, 1, 2][i // 2 % 4] for i in range(len(halves))]
    keep = halves > 0.1
    times = np.concatenate([[0.0], halves[keep], [end]])
    return times, [0] + [p for p, k in zip(places, keep) if k]


def rate(truth, out, times):
    found = np.array([[times[u], times[v]] for u, v, _ in out])
    s = mir_eval.chord.evaluate(np.array([[c[0], c[1]] for c in truth]), [c[2] for c in truth], found, [name(w) for *_, w in out])
    return [s[k] for k in ("root", "majmin", "sevenths", "seg")]


def render(data, soundfont, out):
    out.mkdir(parents=True, exist_ok=True)
    font = Soundfont(soundfont)
    guitars = [font.program(p) for p in (24, 25, 26, 27)]
    pieces = sorted(p for player in ("00", "01") for p in (data / "guitarset" / "annotation").glob(f"{player}_*_comp.jams"))[::2]
    todo = []
    for i, piece in enumerate(pieces):
        if (out / f"{piece.stem}.f32").exists():
            continue
        rng = np.random.default_rng([5, i])
        notes, chords, _ = performance(piece)
        soundfile.write(out / f"{piece.stem}.wav", recorded(played(notes, chords[-1][1], guitars[i % 4], rng), rng, plain=True)[0], RATE)
        todo.append(f"{out}/{piece.stem}.wav\t{out}/{piece.stem}.f32\n")
    if todo:
        (out / "list").write_text("".join(todo))
        evidence = [os.environ["EXAMPLES"] + "/evidence"] if "EXAMPLES" in os.environ else ["cargo", "run", "-q", "--release", "-p", "hear", "--example", "evidence", "--"]
        subprocess.run([*evidence, out / "list"], cwd=ROOT, check=True)
    return pieces


if __name__ == "__main__":
    data, out = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[3])
    net, all_runs = read(sys.argv[4]), []
    for i, piece in enumerate(render(data, sys.argv[2], out)):
        rows = np.fromfile(out / f"{piece.stem}.f32", "<f4").reshape(-1, 2 * NOTES)
        _, chords, beats = performance(piece)
        times, places = units(beats, chords[-1][1], (beats[1] - beats[0]) / 2 if i % 3 == 2 else 0)
        all_runs.append((scored(net, Pool(rows), times), times, places, chords))
    for scale, bass_worth, worth, power in itertools.product((0.5, 1, 2), (0, 0.3), (1,), (1.0, 0.7)):
        begin = [scale * b for b in (0.5, 0.8, 1.2, 2.0)]
        marks = [rate(c, decode(r, t, p, begin, bass_worth, worth, power), t) for r, t, p, c in all_runs]
        print(f"begin ×{scale}, bass {bass_worth}, power {power}:", *(f"{k} {v:.3f}" for k, v in zip(("root", "majmin", "sevenths", "segments"), np.mean(marks, 0))), flush=True)
