"""Sets the weights by which `check` judges notes, from renders of players 00 and 01 and the development excerpt; nothing of players 03 and 05 is opened.

Run from the repository's root: python3 checks/check/train.py FOLDER [WORK] [--plain] [--quick]
FOLDER holds `guitarset` and `samples`. Renders each annotation of the two players with sampled guitars (two in five of them beside a second guitar, bass and drums,
seats apart), describes pitches at strokes by the example program `describe`, and fits a small network of two hidden layers. Writes crates/check/src/weights_chances.bin, or with
--plain, from the numbers that do without the note network, weights.bin. Is to be run again when the note network of `take` is another.
"""

import json
import os
import pathlib
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

from material import enter, notes_of, group

enter(__file__)

import numpy as np
import soundfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
PLACES = [a for a in sys.argv[1:] if not a.startswith("--")]
FOLDER = pathlib.Path(PLACES[0])
WORK = pathlib.Path(PLACES[1] if len(PLACES) > 1 else ROOT / "target" / "check-train")
WORK.mkdir(parents=True, exist_ok=True)
RATE = 22050
# Without and with what the note network hears.
PLAIN, FEATURES = 70, 88
LOW, HIGH = 40, 88
LAYERS, EPOCHS, COPIES = (48, 24), 14, 2
# On the numbers of the note network, in a quarter of their log odds; of 0, .2, .4, .8 and 1.2 the one by which the development excerpt is judged best.
NOISE = 1.2
NAMES = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}


def midi(name):
    step = NAMES[name[0].lower()] + name.count("#") + (name[1:2] == "b") * -1
    return step + 12 * (int(name[-1]) + 1)


def samples():
    sets = []
    for folder, field, shift in (("electric-by-string", 1, 0), ("electric-flatwound", 0, 0), ("archtop", 0, 0)):
        one = {}
        for file in sorted((FOLDER / "samples" / folder).iterdir()):
            if file.suffix not in (".ogg", ".wav", ".flac"):
                continue
            try:
                pitch = midi(file.stem.split("_")[field])
            except (KeyError, ValueError, IndexError):
                continue
            y, rate = soundfile.read(file, dtype="float32", always_2d=True)
            y = y.mean(1)
            if rate != RATE:
                y = np.interp(np.arange(int(len(y) * RATE / rate)) * rate / RATE, np.arange(len(y)), y).astype("float32")
            peak = np.abs(y).max()
            start = int(np.argmax(np.abs(y) > 0.06 * peak))
            one.setdefault(pitch, []).append(y[max(0, start - 40):][: RATE * 4] / peak)
        sets.append(one)
    return sets


def play(notes, bank, rng, length):
    """One guitar after an annotation."""
    out = np.zeros(int(length * RATE) + RATE, "float32")
    pitches = np.array(sorted(bank))
    spread = rng.uniform(2, 9)
    detune = rng.uniform(-8, 8, 6)
    ring = rng.random() < 0.3
    stroke_level, last = 0.0, -1.0
    for t, d, m, s in notes:
        if t - last > 0.05:
            stroke_level = rng.normal(0, 4)
        last = t
        near = pitches[np.abs(pitches - m) <= max(2, np.abs(pitches - m).min())]
        take = bank[rng.choice(near)]
        have = near[0]
        have = rng.choice(near)
        take = bank[have][rng.integers(len(bank[have]))]
        ratio = 2 ** ((m - have + detune[s] / 100) / 12)
        hold = d * rng.uniform(0.9, 1.1) + (0.4 if ring else 0.0)
        n = min(int((hold + 0.08) * RATE), int(len(take) / ratio) - 2)
        if n < 200:
            continue
        y = np.interp(np.arange(n) * ratio, np.arange(len(take)), take)
        release = min(n, int(rng.uniform(0.02, 0.08) * RATE))
        y[n - release:] *= np.linspace(1, 0, release)
        gain = 10 ** ((stroke_level + rng.normal(0, spread * 0.6)) / 20)
        a = int(t * RATE)
        out[a:a + n] += (gain * y[: len(out) - a]).astype("float32")
    return out


def colour(y, rng):
    """A room, an equaliser of a few broad bumps, sometimes drive."""
    if rng.random() < 0.5:
        length = int(rng.uniform(0.08, 0.4) * RATE)
        room = rng.normal(0, 1, length) * np.exp(-np.arange(length) / (length / 5))
        room *= rng.uniform(0.02, 0.25) / np.sqrt((room ** 2).sum())
        room[0] += 1
        y = np.convolve(y, room)[: len(y)] if length < 3000 else np.fft.irfft(np.fft.rfft(y, 2 ** 20) * np.fft.rfft(room, 2 ** 20))[: len(y)]
    size = 2 ** int(np.ceil(np.log2(len(y))))
    spectrum = np.fft.rfft(y, size)
    hz = np.maximum(np.fft.rfftfreq(size, 1 / RATE), 10)
    db = rng.uniform(-4, 4) * np.log2(hz / 500) / 2
    for _ in range(3):
        db += rng.uniform(-8, 8) * np.exp(-((np.log2(hz / 2 ** rng.uniform(6.5, 12)) / rng.uniform(0.3, 1.2)) ** 2))
    y = np.fft.irfft(spectrum * 10 ** (db / 20), size)[: len(y)]
    if rng.random() < 0.2:
        g = rng.uniform(1, 4) / np.abs(y).max()
        y = np.tanh(g * y) / g
    return y / (np.sqrt((y ** 2).mean()) + 1e-9)


def bass(chords, beat, rng, length):
    out = np.zeros(int(length * RATE) + RATE)
    t = 0.0
    while t < length:
        root = 28 + (next((r for a, b, r in chords if a <= t < b), 0) - 4) % 12
        root += rng.choice([0, 0, 0, 7, 12])
        d = beat * rng.choice([0.5, 1, 1, 2])
        n = int(d * RATE)
        x = np.arange(n) / RATE
        f = 440 * 2 ** ((root - 69) / 12)
        fall = rng.uniform(1.0, 1.8)
        out[int(t * RATE):int(t * RATE) + n] += sum(np.sin(2 * np.pi * f * k * x + k) * k ** -fall * np.exp(-x * (1 + 0.7 * k)) for k in range(1, 13))[: max(0, len(out) - int(t * RATE))]
        t += d
    return out / (np.sqrt((out ** 2).mean()) + 1e-9)


def drums(hits, beat, rng, length):
    out = np.zeros(int(length * RATE) + 2 * RATE)
    names = list(hits)
    kick = next(n for n in names if "kick" in n)
    snare = next(n for n in names if "snare" in n)
    hats = [n for n in names if "closed" in n or "pedal" in n] or [snare]
    step = 0
    while step * beat / 2 < length:
        at = int(step * beat / 2 * RATE)
        hit = [(rng.choice(hats), 0.4)]
        if step % 8 in (0, 5) or rng.random() < 0.1:
            hit.append((kick, 1))
        if step % 8 in (2, 6):
            hit.append((snare, 0.8))
        for name, g in hit:
            y = hits[name][: len(out) - at]
            out[at:at + len(y)] += g * y
        step += 1
    return out[: int(length * RATE) + RATE] / (np.sqrt((out ** 2).mean()) + 1e-9)


def drum_hits():
    hits = {}
    for file in sorted((FOLDER / "samples" / "drums").iterdir()):
        if file.suffix in (".ogg", ".wav", ".flac"):
            y, rate = soundfile.read(file, dtype="float32", always_2d=True)
            y = y.mean(1)
            y = np.interp(np.arange(int(len(y) * RATE / rate)) * rate / RATE, np.arange(len(y)), y)
            hits[file.stem.lower()] = y[:RATE] / np.abs(y).max()
    return hits


def questions(notes, rng, beat):
    """Strokes to describe: where notes begin, and some where none does; with what is written there besides, one in ten of it wrong."""
    strokes = []
    groups = group(notes, 0.045)
    starts = np.array([g[0][0] for g in groups])
    all_on = np.array([n[0] for n in notes])
    on = np.array([n[0] for n in notes])
    end = on + np.array([n[1] for n in notes])
    pitch = np.array([n[2] for n in notes])

    def written(t, struck):
        ringing = set(pitch[(on < t - 0.02) & (end > t + 0.05)])
        out = set()
        for p in set(struck) | ringing:
            if rng.random() < 0.05:
                continue
            out.add(int(p + rng.choice([-12, -2, -1, 1, 2, 12])) if rng.random() < 0.1 else int(p))
        return sorted(out)

    for g in groups:
        t = g[0][0]
        struck = [int(n[2]) for n in g]
        # Whatever else begins soon after would be neither right nor wrong.
        vague = [int(p) for p in pitch[(np.abs(on - t) < 0.16)] if p not in struck]
        strokes.append((t + rng.normal(0, 0.005), written(t, struck), struck, vague))
    for t in starts + beat / 4 * rng.choice([-1, 1], len(starts)):
        if t > 0 and np.abs(all_on - t).min() > 0.07 and rng.random() < 0.4:
            vague = [int(p) for p in pitch[(on > t) & (on < t + 0.16)]]
            strokes.append((t, written(t, []) + [int(rng.choice(pitch))], [], vague))
    strokes.sort(key=lambda s: s[0])
    return strokes


def main():
    rng = np.random.default_rng(5)
    files = sorted(f for f in (FOLDER / "guitarset" / "annotation").glob("*.jams") if f.stem[:2] in ("00", "01"))
    development = "00_BN1-129-Eb_comp"
    banks, hits = samples(), drum_hits()
    jobs = []
    renders = []
    for i, file in enumerate(files * COPIES):
        notes, beat, chords, length = notes_of(file)
        notes = [n for n in notes if n[0] > 0.2]
        limit = min(length, 20.0)
        notes = [n for n in notes if n[0] < limit]
        if len(notes) < 10:
            continue
        name, seat = f"{i:03}", None
        wav = WORK / f"{name}.wav"
        y = colour(play(notes, banks[(i + i // len(files)) % 3], rng, limit), rng)
        if i % 5 < 2:
            other = files[int(rng.integers(len(files)))]
            second = [n for n in notes_of(other)[0] if n[0] < limit]
            z = colour(play(second, banks[(i + 1 + i // len(files)) % 3], rng, limit), rng)
            side = rng.choice([-1, 1])
            seat, away = side * rng.uniform(0.3, 0.9), -side * rng.uniform(0.2, 0.9)
            low, kit = bass(chords, beat, rng, limit), drums(hits, beat, rng, limit)
            pan = lambda x, s: np.stack([x * np.cos((s + 1) * np.pi / 4), x * np.sin((s + 1) * np.pi / 4)], 1)
            n = min(len(y), len(z), len(low), len(kit))
            mix = pan(y[:n], seat) + pan(z[:n], away) * 10 ** (rng.uniform(-6, 4) / 20)
            mix += pan(low[:n], 0) * 10 ** (rng.uniform(-4, 4) / 20) + pan(kit[:n], 0) * 10 ** (rng.uniform(-8, 3) / 20)
        else:
            mix = y[:, None]
        mix = mix + rng.normal(0, 10 ** (rng.uniform(-70, -35) / 20), mix.shape) * np.sqrt((mix ** 2).mean())
        soundfile.write(wav, 0.05 * mix, RATE, subtype="PCM_16")
        jobs.append((name, wav, questions(notes, rng, beat), seat))
        renders.append([str(wav), str(file), limit, seat])
    (WORK / "renders.json").write_text(json.dumps(renders))
    audio = FOLDER / "guitarset" / "audio" / f"{development}_mix.flac"
    notes, beat, _, _ = notes_of(FOLDER / "guitarset" / "annotation" / f"{development}.jams")
    for copy in range(3):
        jobs.append((f"dev{copy}", audio, questions([(t - 0.008, d, m, s) for t, d, m, s in notes], rng, beat), None))

    arguments = []
    for name, wav, strokes, seat in jobs:
        asked = WORK / f"{name}.json"
        asked.write_text(json.dumps({"low": LOW, "high": HIGH, "seat": seat, "strokes": [[s[0], s[1]] for s in strokes]}))
        arguments += [wav, asked, WORK / f"{name}.f32"]
    built = [f"{os.environ['EXAMPLES']}/describe"] if "EXAMPLES" in os.environ else ["cargo", "run", "-q", "--release", "-p", "check", "--example", "describe", "--"]
    tasks = [arguments[i:i + 3] for i in range(0, len(arguments), 3)]
    with ThreadPoolExecutor(len(os.sched_getaffinity(0))) as several:
        list(several.map(lambda three: subprocess.run([*built, *map(str, three)], cwd=ROOT, check=True), tasks))

    xs, ys, fold = [], [], []
    for j, (name, _, strokes, _) in enumerate(jobs):
        rows = np.fromfile(WORK / f"{name}.f32", "<f4").reshape(len(strokes), HIGH - LOW + 1, FEATURES)
        for s, (_, others, struck, vague) in enumerate(strokes):
            near = {p + d for p in struck + others for d in (-12, -2, -1, 0, 1, 2, 12)}
            loud = set((np.argsort(-rows[s, :, 0])[:8] + LOW).tolist())
            for p in range(LOW, HIGH + 1):
                if p in vague:
                    continue
                if p in struck or p in near or p in loud or rng.random() < 0.15:
                    xs.append(rows[s, p - LOW])
                    ys.append(p in struck)
                    fold.append(j)
    x, y, fold = np.array(xs), np.array(ys), np.array(fold)
    np.savez(WORK / "rows.npz", x=x, y=y, fold=fold, names=[j[0] for j in jobs])
    fit(x, y, np.array([j[0].startswith("dev") for j in jobs])[fold], fold)


def area(y, p):
    """Area under the ROC curve, by ranks."""
    order = np.argsort(p, kind="stable")
    ranks = np.empty(len(p))
    ranks[order] = np.arange(1, len(p) + 1)
    good = y.sum()
    return (ranks[y].sum() - good * (good + 1) / 2) / (good * (len(y) - good))


class Layers:
    """Layers of rectified units and one logistic output, set by Adam (D. Kingma and J. Ba, ICLR 2015) on the cross entropy."""

    def __init__(self, sizes, seed):
        self.rng = np.random.default_rng(seed)
        self.w = [self.rng.normal(0, np.sqrt(2 / a), (a, b)).astype("float32") for a, b in zip(sizes, sizes[1:])]
        self.b = [np.zeros(b, "float32") for b in sizes[1:]]

    def forward(self, x):
        out = [x]
        for i, (w, b) in enumerate(zip(self.w, self.b)):
            z = out[-1] @ w + b
            out.append(z if i + 1 == len(self.w) else np.maximum(z, 0))
        return out

    def odds(self, x):
        return np.concatenate([self.forward(part)[-1][:, 0] for part in np.array_split(x, max(1, len(x) // 50_000))])

    def fit(self, x, y, epochs, noise, batch=512, rate=2e-3, decay=1e-5):
        all_ = self.w + self.b
        m, v, step = [np.zeros_like(p) for p in all_], [np.zeros_like(p) for p in all_], 0
        steps = epochs * (len(x) // batch)
        for _ in range(epochs):
            order = self.rng.permutation(len(x))
            for i in range(0, len(x) - batch + 1, batch):
                k = order[i:i + batch]
                out = self.forward(x[k] + noise * self.rng.normal(0, 1, (batch, len(noise))).astype("float32"))
                back = ((1 / (1 + np.exp(-out[-1][:, 0])) - y[k]) / batch)[:, None].astype("float32")
                dw, db = [None] * len(self.w), [None] * len(self.w)
                for n in reversed(range(len(self.w))):
                    dw[n], db[n] = out[n].T @ back + decay * self.w[n], back.sum(0)
                    if n:
                        back = (back @ self.w[n].T) * (out[n] > 0)
                step += 1
                now = rate * min(1.0, 2 * (1 - step / (steps + 1)))
                for p, g, a, s in zip(all_, dw + db, m, v):
                    a += 0.1 * (g - a)
                    s += 0.001 * (g * g - s)
                    p -= now * (a / (1 - 0.9 ** step)) / (np.sqrt(s / (1 - 0.999 ** step)) + 1e-8)
        return self


def fit(x, y, development, fold):
    """Two hidden layers on renders alone; how well they do on every seventh render, left out first, and on the development excerpt, is printed."""
    plain = "--plain" in sys.argv
    if plain:
        x = x[:, :PLAIN]
    mean, scale = x[~development].mean(0), x[~development].std(0) + 1e-3
    z = np.clip((x - mean) / scale, -6, 6).astype("float32")
    # The note network knows the samples that are rendered from, and is less sure of guitars that it never heard: noise on what it says keeps it from being trusted too much.
    noise = (np.where(np.arange(x.shape[1]) < PLAIN, 0, NOISE) / scale).astype("float32")
    make = lambda: Layers([x.shape[1], *LAYERS, 1], 1)
    left = (fold % 7 == 3) & ~development
    if "--quick" not in sys.argv:
        kept = ~left & ~development
        trial = make().fit(z[kept], y[kept], EPOCHS, noise).odds(z)
        for name, m in (("renders left out", left), ("development excerpt", development)):
            print(f"{name}: AUC {area(y[m], trial[m]):.4f}")
    net = make().fit(z[~development], y[~development], EPOCHS, noise)
    parts = [mean, 1 / scale]
    for weights, shift in zip(net.w, net.b):
        # Row by row of outputs.
        parts += [weights.T.ravel(), shift]
    numbers = np.concatenate(parts).astype("<f4")
    (ROOT / "crates" / "check" / "src" / ("weights.bin" if plain else "weights_chances.bin")).write_bytes(numbers.tobytes())
    print(len(numbers), "numbers written")


if __name__ == "__main__":
    main()
