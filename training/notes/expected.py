"""What is to be expected of strings and positions when nothing of them is heard: the constants of `crates/take/src/expected.rs` and `stay.rs`.

    python3 expected.py DATA        # a minute; needs numpy and scipy

DATA is a folder with `guitarset/annotation`; players 00 and 01 alone are read, but for the piece that training holds out.

STRING and FRET: how often the network met each place in training. 12,000 clips of the kind that it was trained with are made up, notes struck alone counted by pitch and string, and a weight for each
string and one for each fret fitted to the shares of the strings among the notes of a pitch (multinomial likelihood, weights drawn to 0 by a hair).
MIDDLE and SPREAD: positions of the hand in solos. Of each sixteen notes in a row the position is the lowest four frets that hold most of them, open strings left out.
"""
import pathlib
import sys

import numpy as np
import scipy.optimize

import bank
import clips

CLIPS, SEED, FRETS = 12_000, 1, 24
TOGETHER_S = 0.05


class Reader:
    def read(self, path, data):
        return path.read_bytes()


def counts(files):
    """Notes struck alone, by pitch and string."""
    maker = clips.Maker.__new__(clips.Maker)
    maker.files, maker.out = files, set()
    rng = np.random.default_rng(SEED)
    table = np.zeros((clips.PITCHES, 6))
    for _ in range(CLIPS):
        played = (maker.excerpt(rng) if rng.random() < 0.6 else clips.part(rng))[0]
        on = played[:, 0]
        for i in np.nonzero((on >= 0) & (on < clips.SECONDS))[0]:
            pitch = int(round(played[i, 3])) - clips.LOW
            if 0 <= pitch < clips.PITCHES and (np.abs(on - on[i]) < TOGETHER_S).sum() == 1:
                table[pitch, int(played[i, 2])] += 1
    return table


def fitted(table):
    """Weights of strings and frets, as logarithms; the mean distance of a note's shares from those counted."""
    fret = np.arange(clips.PITCHES)[:, None] + clips.LOW - clips.OPEN[None]
    fret[(fret < 0) | (fret >= FRETS)] = -1
    notes = table.sum(1, keepdims=True)

    def shares(x):
        log = np.where(fret >= 0, x[None, :6] + x[6:][np.maximum(fret, 0)], -1e9)
        e = np.exp(log - log.max(1, keepdims=True))
        return e / e.sum(1, keepdims=True)

    def loss(x):
        p = shares(x)
        slope = (table - p * notes) / notes.sum()
        by_fret = np.zeros(FRETS)
        np.add.at(by_fret, fret[fret >= 0], slope[fret >= 0])
        value = (table * np.log(np.maximum(p, 1e-12))).sum() / notes.sum()
        return -value + 1e-5 * (x ** 2).sum(), -np.concatenate([slope.sum(0), by_fret]) + 2e-5 * x

    x = scipy.optimize.minimize(loss, np.zeros(6 + FRETS), jac=True, method="L-BFGS-B").x
    off = (np.abs(shares(x) - table / np.maximum(notes, 1)).sum(1, keepdims=True) / 2 * notes).sum() / notes.sum()
    return x[:6] - x[3], x[6:] - x[6 + 5], off


def positions(files):
    out = []
    for rows in files:
        frets = np.round(rows[:, 3]).astype(int) - clips.OPEN[rows[:, 2].astype(int)]
        for i in range(0, len(frets), 16):
            some = frets[i:i + 16][frets[i:i + 16] > 0]
            if len(some) > 8:
                held = [((some >= p) & (some <= p + 3)).sum() for p in range(1, 19)]
                out.append(1 + int(np.argmax(held)))
    return np.array(out)


def main():
    names, rows = bank.playing(Reader(), pathlib.Path(sys.argv[1]))
    use = [i for i, n in enumerate(names) if bank.HELD_OUT_PIECE not in n]
    files = [rows[rows[:, 0] == i][:, 1:] for i in use]
    string, fret, off = fitted(counts(files))
    print("STRING", np.round(string, 2).tolist())
    print("FRET", np.round(fret, 2).tolist())
    print(f"shares off by {off:.3f} in the mean")
    at = positions([f for i, f in zip(use, files) if "solo" in names[i]])
    print(f"MIDDLE {at.mean():.2f} SPREAD {at.std():.2f}, of {len(at)} stretches of sixteen notes")


main()
