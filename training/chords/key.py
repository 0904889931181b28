"""The weights of `crates/hear/src/key.rs`.

    python3 key.py clips DATA SOUNDFONT PROGRAM OUT.npz COUNT SEED # what the program judges keys by, on COUNT pieces that dice make and on takes of players 00 and 01
    python3 key.py learn FILE… WEIGHTS                             # learns, says what is reached on what was not learned from, writes the weights

DATA holds `guitarset/annotation`, of which players 00 and 01 are used and no others, and `samples/electric-by-string`; SOUNDFONT is a General MIDI one that the scorer of chords has not heard, so
that chords are as doubtful as on records (Debian: `timgm6mb-soundfont`); PROGRAM is the example program `keys` of `hear`. Pieces are made by `progressions.py`. Each comping take is played as it is, without its chords' roots, without the two lowest strings, each solo twice, all with dice of their own.

A key's score is what is known beforehand (`fits`), by one factor, an offset for major and minor, and a sum of weights over the tonic (`over`); all 24 keys are one choice (softmax). Takes count
for SHARE of what pieces do. All players play the same pieces: so what is reached on takes is judged one group of sheets as one player plays them, by what was learned from the other player's others.
"""

import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np

SHARE, RATE, DECAY, ROUNDS, TOGETHER, LEFT_OUT = 0.3, 3e-3, 0.3, 30, 64, 0.1
FOLDS = 5


def number(name):
    from labels import pitch_class
    tonic, mode = name.replace(":", " ").split()
    return pitch_class(tonic) + 12 * (mode == "minor")


def sources(data, soundfont):
    """Guitars, a new pair at each call, and basses."""
    from soundfont import Soundfont
    from sounds import plucked, samples, stringed
    font = Soundfont(soundfont)
    known = [samples(data / "samples" / "electric-by-string")] + [font.program(p) for p in (24, 25, 26, 27, 28)]

    def pair(rng):
        some = [plucked(rng), stringed(rng, False), *known]
        return [some[rng.integers(len(some))] for _ in range(2)]

    return pair, [font.program(p) for p in (32, 33, 34, 35)]


def takes(data, pair, seed):
    """Sound, key and name."""
    from clips import performance, played
    from labels import read
    files = sorted(f for player in ("00", "01") for f in (data / "guitarset" / "annotation").glob(f"{player}_*.jams"))
    for n, file in enumerate(files):
        line, chords, _ = performance(file)
        truth = next(a["data"][0]["value"] for a in json.loads(file.read_text())["annotations"] if a["namespace"] == "key_mode")
        roots = [(start, end, read(label)[0]) for start, end, label in chords]
        is_root = lambda note: any(start - 0.1 <= note[0] < end - 0.1 and round(note[2]) % 12 == root for start, end, root in roots)
        ways = {"as played": line, "without roots": [x for x in line if not is_root(x)], "without low strings": [x for x in line if round(x[2]) >= 50]}
        if file.stem.endswith("solo"):
            ways = {"solo": line, "solo again": line}
        for w, (way, notes) in enumerate(ways.items()):
            if len(notes) >= 8:
                rng = np.random.default_rng([seed, n, w, 1])
                yield played(notes, chords[-1][1], pair(rng)[0], rng, 10), number(truth), f"{file.stem} {way}"


def clips(data, soundfont, program, out, count, seed):
    import soundfile
    from progressions import BOOK, piece
    from sounds import RATE
    data = pathlib.Path(data)
    pair, basses = sources(data, soundfont)
    texts = sum(len(text.replace("\n", "|").split("|")) for text in BOOK.values())
    rows = {"fits": [], "over": [], "key": [], "name": []}

    def pieces():
        for n in range(count):
            sound, truth, way, _ = piece(n, np.random.default_rng([seed, n]), pair(np.random.default_rng([seed, n, 1])), basses[n % 4])
            # What has the same progression has the same number.
            yield sound, number(truth), f"piece {n // 2 % texts if n % 2 == 0 else texts + n} {way}"

    with tempfile.TemporaryDirectory() as folder:
        file = pathlib.Path(folder) / "sound.wav"
        for made in (pieces(), takes(data, pair, seed)):
            for sound, key, name in made:
                soundfile.write(file, 0.5 * sound / np.abs(sound).max(), RATE)
                found = json.loads(subprocess.run([program, file], check=True, capture_output=True, text=True).stdout)
                if found:
                    for column, value in zip(rows.values(), (found["fits"], found["over"], key, name)):
                        column.append(value)
    np.savez_compressed(out, fits=np.array(rows["fits"], np.float32), over=np.array(rows["over"], np.float16), key=rows["key"], name=rows["name"])


def scores(model, fits, over):
    known, weights = model
    return known[0] * fits + np.concatenate([over @ weights[mode] + known[1 + mode] for mode in (0, 1)], 1)


def learn(fits, over, keys, worth, seed=1):
    """(known, weights): the factor, the two offsets; [mode, value]."""
    rng = np.random.default_rng(seed)
    middle, spread = over.mean((0, 1)), over.std((0, 1)) + 1e-2
    over = (over - middle) / spread
    values = [np.array([0.5, 0.0, 0.0]), np.zeros((2, over.shape[2]))]
    first, second = ([np.zeros_like(v) for v in values] for _ in range(2))
    steps = ROUNDS * len(keys) // TOGETHER
    for step in range(1, steps + 1):
        some = rng.choice(len(keys), TOGETHER, p=worth / worth.sum())
        x = over[some] * (rng.random(over.shape[2]) > LEFT_OUT)
        z = scores(values, fits[some], x)
        d = np.exp(z - z.max(1, keepdims=True))
        d /= d.sum(1, keepdims=True)
        d[np.arange(TOGETHER), keys[some]] -= 1
        d /= TOGETHER
        halves = d.reshape(TOGETHER, 2, 12)
        grads = [np.array([(d * fits[some]).sum(), *halves.sum((0, 2))]), np.einsum("nmt,ntf->mf", halves, x)]
        # Adam with decay apart (I. Loshchilov and F. Hutter, ICLR 2019), its rate rising for a tenth of the steps, then falling.
        rate = RATE * min(10 * step / steps, (1 - step / steps) * 10 / 9 + 1e-3)
        for v, g, m, s in zip(values, grads, first, second):
            m += 0.1 * (g - m)
            s += 0.001 * (g * g - s)
            v -= rate * (m / (1 - 0.9**step) / (np.sqrt(s / (1 - 0.999**step)) + 1e-8) + (DECAY * v if v.ndim == 2 else 0))
    known, weights = values
    weights = weights / spread
    return np.array([known[0], *(known[1:] - weights @ middle)]), weights


def credit(truth, found):
    """As the field weighs it (MIREX): the same 1, a fifth above .5, relative .3, parallel .2."""
    (a, m), (b, n) = (truth % 12, truth // 12), (found % 12, found // 12)
    if truth == found:
        return 1.0
    if m == n and (b - a) % 12 == 7:
        return 0.5
    if m != n and (b - a) % 12 == (9 if m == 0 else 3):
        return 0.3
    return 0.2 if a == b else 0.0


def show(title, names, keys, found):
    kinds = {}
    for name, key, z in zip(names, keys, found):
        kind = name.split(" ", 2 if name.startswith("piece") else 1)[-1].split(",")[0].replace("solo again", "solo")
        kinds.setdefault(kind, []).append(credit(key, int(z.argmax())))
    print(title, {kind: f"{np.mean(all):.3f} of {len(all)}" for kind, all in sorted(kinds.items())}, flush=True)


def train(files, target):
    parts = [np.load(f) for f in files]
    fits, over = (np.concatenate([p[k] for p in parts]).astype(np.float64) for k in ("fits", "over"))
    keys, names = (np.concatenate([p[k] for p in parts]) for k in ("key", "name"))
    piece = np.array([n.startswith("piece") for n in names])
    sheet = np.array([n.split("_")[1].split("-")[0] if "_" in n else "" for n in names])
    group = np.array([int(n.split()[1]) % FOLDS if n.startswith("piece") else sorted(set(sheet)).index(s) % FOLDS for n, s in zip(names, sheet)])
    player = np.array([n[:2] for n in names])

    def of(which):
        worth = np.where(piece[which], 1.0, SHARE * max(piece[which].sum(), 1) / max((~piece[which]).sum(), 1))
        return learn(fits[which], over[which], keys[which], worth)

    found = np.zeros_like(fits)
    for g in range(FOLDS):
        own = piece & (group == g)
        found[own] = scores(of(~own), fits[own], over[own])
        for p in ("00", "01"):
            own = (player == p) & (group == g)
            found[own] = scores(of(piece | (player != p) & (group != g)), fits[own], over[own])
    show("known beforehand alone:", names, keys, fits)
    show("learned, on what was not learned from:", names, keys, found)
    known, weights = of(np.ones(len(keys), bool))
    show("on what it learned from:", names, keys, scores((known, weights), fits, over))
    print("what is known beforehand counts", known[0], "offsets", known[1:])
    pathlib.Path(target).write_bytes(np.concatenate([known, weights.ravel()]).astype("<f2").tobytes())


if __name__ == "__main__":
    if sys.argv[1] == "clips":
        clips(*sys.argv[2:6], int(sys.argv[6]), int(sys.argv[7]))
    else:
        train(sys.argv[2:-1], sys.argv[-1])
