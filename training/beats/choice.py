"""Trains the choice between readings of the beat: python3 training/beats/choice.py clips DATA SOUNDFONT FOLDER PROGRAMS COUNT SEED makes COUNT clips, …choice.py train FILE… WEIGHTS trains.

Clips, a third each: passages made up by dice and played by the project's own `sound`; patterns of `patterns.py` and `manners.py` by other sounds; takes of players 00 and 01, each heard by a network of
beats that has not learned from that player (one that has is surer of it than it will be of anybody); and an eighth more without a beat. None of the patterns of `checks/hear/beats.py`
is written here, and nothing of players 03 and 05 is read. PROGRAMS is a folder with the example programs `render` of `sound` and `readings` of `hear`, and `readings-00` and `readings-01`, the same with
the weights of the networks that learned without the one player and without the other: …choice.py exchange READINGS WEIGHTS OTHER-WEIGHTS OUT makes them. The clips' readings, with the
F-measure of each, go to FOLDER/readings-SEED.npz.

The network (four, side by side): one hidden layer on the cues of a reading, an odds for each; all readings of a clip, and that it has no beat, are one choice (softmax). What is learned is to give those within .05 of the best F
all the odds, where the best reaches .6.
"""
import json
import os
import pathlib
import shutil
import subprocess
import sys

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
import numpy as np

GRIPS = ["x x 5 5 5 x", "x x 7 7 8 x", "x 7 9 8 8 x", "x 3 2 0 1 0", "3 2 0 0 0 3", "x x 8 8 8 x", "x x 6 7 6 x", "8 10 10 9 8 8", "5 7 5 5 5 5", "x 5 7 5 6 5", "x 10 12 10 11 10", "x x 0 2 3 2",
         "0 2 2 1 0 0", "x 0 2 2 1 0", "x x 7 8 7 8", "x 8 7 8 8 x", "7 x 7 7 7 x", "x x x 7 8 7", "x x 9 9 9 x", "x 5 4 5 3 x", "1 3 3 2 1 1", "x x 3 5 4 6", "x 12 14 14 14 12", "10 x 10 10 10 x"]


def passage(rng, name):
    """A lesson's passage, and its beats."""
    import patterns as pt
    meter = pt.METERS[rng.choice(4, p=[0.72, 0.1, 0.12, 0.06])]
    slots = meter.slots
    bpm = float(np.exp(rng.normal(np.log(110), 0.29)).clip(56, 204))
    if meter.parts == 6:
        bpm = float(np.exp(rng.normal(np.log(74), 0.24)).clip(44, 126))
    if meter.parts == 3:
        bpm = min(bpm, 140.0)
    bars = int(rng.integers(8, 15)) if meter.beats > 2 else int(rng.integers(10, 20))
    wave, period, phase = rng.uniform(0, 0.04), rng.uniform(6, 16), rng.uniform(0, 2 * np.pi)
    tempi = [round(bpm * (1 + wave * np.sin(2 * np.pi * b / period + phase)), 3) for b in range(bars)]
    text = f' passage "{name}" {{\n tempo {tempi[0]}\n meter "{meter.name}"\n slots {slots}\n'
    if meter.parts == 4 and rng.random() < 0.35:
        text += f' swing {rng.integers(52, 67)} of="1/{rng.choice([8, 16])}"\n'
    grips = rng.choice(len(GRIPS), 4, replace=False)
    every = [1, 2, 2, 2, 4, 4, 100][rng.integers(7)]
    letters = "abcd"[:rng.integers(1, 5)]
    chord = lambda b: letters[b // every % len(letters)]
    one = pt.rhythm(rng, meter)
    two = pt.rhythm(rng, meter) if rng.random() < 0.25 else one
    single = rng.random() < 0.12
    part = ["", "", "", "43", "321", "65", "432"][rng.integers(7)]
    short = rng.random() < 0.3
    text += ' part "g" instrument="guitar" {\n' + "".join(f'  grip "{l}" "{GRIPS[g]}"\n' for l, g in zip("abcd", grips))
    sounding = {l: [6 - i for i, f in enumerate(GRIPS[g].split()) if f != "x"] for l, g in zip("abcd", grips)}
    sixth = f"{rng.integers(5, 9)}"
    for b in range(bars):
        bar = pt.changed(rng, [one, two][b % 2], [0, 0, 0.06][rng.integers(3)])
        out = []
        for s, token in enumerate(bar):
            if token == "-" and (not out or out[-1] in (".", "x") or out[-1].endswith("'")):
                token = "."
            if token == "a":
                letter = chord(b)
                if single:
                    token = f"{sounding[letter][rng.integers(len(sounding[letter]))]}:{5 + rng.integers(0, 5)}"
                else:
                    some = "".join(c for c in part if int(c) in sounding[letter])
                    token = letter + (some if len(some) > 1 and rng.random() < 0.8 else "") + ("'" if short and rng.random() < 0.6 else "")
            out.append(token)
        text += f'  bar "{" ".join(out)}" tempo={tempi[b]}\n'
    text += " }\n"
    company = rng.random()
    levels = [meter.level(s) for s in range(slots)]
    if company > 0.6:
        chance = [[1, 0, 0, 0, 0], [1, 1, 0.1, 0.05, 0], [1, 1, 1, 0.1, 0], [1, 1, 1, 1, 0], [0.92, 0.3, 0.25, 0.5, 0.3], [0.9, 0.2, 0.2, 0.3, 0.35]][rng.integers(6)]
        line = [rng.random() < chance[l] for l in levels]
        roots = rng.integers(1, 9, 4)
        text += ' part "b" instrument="bass" {\n'
        for b in range(bars):
            out = []
            for hit in line:
                out.append(f"4:{roots[b // every % 4]}" if hit else "-" if out and out[-1] != "." and rng.random() < 0.6 else ".")
            text += f'  bar "{" ".join(out)}"\n'
        text += " }\n"
    if company > 0.75:
        p, half = meter.parts, max(meter.parts // 2, 1)
        row = lambda slots_on: " ".join("x" if s in slots_on else "." for s in range(slots))
        kick = {0} | {s for s in range(1, slots) if rng.random() < (0.25 if s % half == 0 else 0.08)}
        snare = {s for s in range(slots) if s % p == 0 and s // p % 2 == 1} or {slots // 2}
        hats = set(range(0, slots, [p, half, half, 1][rng.integers(4)]))
        text += ' part "k" instrument="drums" {\n' + f'  bar {{ kick "{row(kick)}"; snare "{row(snare)}"; hats "{row(hats)}" }}\n' * bars + " }\n"
    lengths = np.repeat([60 / t for t in tempi], meter.beats)
    return text + " }\n", np.concatenate([[0], np.cumsum(lengths)[:-1]])


# Passages that are rendered at once.
TOGETHER_MADE = 10


def own_clips(count, folder, programs, seed):
    """Passages by the project's own instruments: files and beats. Half begin with a bar, half anywhere."""
    import soundfile
    rng = np.random.default_rng([seed, 1])
    passages = [passage(rng, f"p{n}") for n in range(count)]
    for first in range(0, count, TOGETHER_MADE):
        # With all its stems a passage is 40 MB: a few are made at a time, and are gone once they are read.
        some = range(first, min(first + TOGETHER_MADE, count))
        (folder / "dice.kdl").write_text('lesson "Dice" {\n' + "".join(passages[n][0] for n in some) + "}\n")
        subprocess.run([programs / "render", folder / "dice.kdl", folder / "own", "100"], check=True, stdout=subprocess.DEVNULL)
        sounds = [soundfile.read(folder / "own" / f"p{n}-100.wav") for n in some]
        shutil.rmtree(folder / "own")
        for n, (sound, rate) in zip(some, sounds):
            beats = passages[n][1]
            cut = 0
            if rng.random() < 0.4:
                cut = round(rng.uniform(0.1, 4.0) * rate)
            sound = sound[cut:] + 10 ** rng.uniform(-5, -3) * rng.standard_normal(sound[cut:].shape) * (rng.random() < 0.5)
            file = folder / f"own-p{n}.wav"
            soundfile.write(file, sound, rate)
            yield file, beats[beats >= cut / rate] - cut / rate


def other_clips(count, data, soundfont, folder, seed, kind):
    """Files, beats (None for sound without any) and the player left out by the network that is to listen."""
    import scipy.io.wavfile
    import clips
    from sounds import RATE, Sounds
    rng = np.random.default_rng([seed, {"patterns": 2, "players": 3, "idle": 4}[kind]])
    sounds = Sounds(data, soundfont, np.random.default_rng(1))
    every = {player: sorted((data / "guitarset" / "annotation").glob(f"{player}_*.jams")) for player in ("00", "01")}
    for n in range(count):
        file, without = folder / f"{kind}-{seed}-{n}.wav", ""
        if kind == "idle":
            audio, *_ = clips.idle_clip(sounds, rng)
            scipy.io.wavfile.write(file, RATE, np.round(32767 * np.clip(audio, -1, 1)).astype(np.int16))
            yield file, None, without
            continue
        if kind == "players":
            without = ("00", "01")[n % 2]
            pool = every[without]
            audio, beats, _, _ = clips.player_clip(sounds, rng, pool[rng.integers(len(pool))], pool)
        else:
            audio, beats, _, _ = clips.pattern_clip(sounds, rng)
        # What lies after a player's last beat is cut off.
        end = min(len(audio), int((beats[-1] + np.diff(beats[-5:]).mean()) * RATE))
        scipy.io.wavfile.write(file, RATE, np.round(32767 * np.clip(audio[:end], -1, 1)).astype(np.int16))
        yield file, beats[beats < end / RATE], without


def exchange(program, old, new, out):
    """A program with other weights in the place of those it was built with."""
    bytes, old, new = (pathlib.Path(f).read_bytes() for f in (program, old, new))
    if bytes.count(old) != 1 or len(old) != len(new):
        sys.exit("the program does not hold these weights once, or the others are of another length")
    pathlib.Path(out).write_bytes(bytes.replace(old, new))
    os.chmod(out, 0o755)


def make(data, soundfont, folder, programs, count, seed):
    import mir_eval
    data, folder, programs = map(pathlib.Path, (data, folder, programs))
    folder.mkdir(parents=True, exist_ok=True)
    out = {"cues": [], "f": [], "own": [], "clip": [], "kind": []}
    names = []
    third = count // 3
    own = ((file, beats, "") for file, beats in own_clips(third, folder, programs, seed))
    others = [other_clips(n, data, soundfont, folder, seed, kind) for n, kind in ((third, "patterns"), (third, "players"), (count // 8, "idle"))]
    for kind, made in enumerate((own, *others)):
        for file, beats, without in made:
            line = subprocess.run([programs / f"readings{'-' + without if without else ''}", file], check=True, capture_output=True, text=True).stdout
            found = json.loads(line)
            if found and (beats is None or len(beats) >= 8):
                for r in found:
                    out["cues"].append(r["cues"])
                    out["f"].append(-1 if beats is None else mir_eval.beat.f_measure(beats, np.array(r["beats"]), f_measure_threshold=0.07))
                    out["own"].append(-1 if r["own"] is None else r["own"])
                    out["clip"].append(len(names))
                    out["kind"].append(kind)
                names.append(f"{without} {file.name}")
            file.unlink()
    np.savez(folder / f"readings-{seed}.npz", names=names, **{k: np.array(v) for k, v in out.items() if v})


HIDDEN, ROUNDS, RATE, DECAY = 24, 25, 3e-3, 3e-2
# Networks whose odds are averaged; side by side they are one with as many more hidden units.
TOGETHER = 4
# The cue that holds octaves from the usual tempo, and their spread, as for the plain method (`onset_beats.rs`).
OCTAVES, SPREAD = 72, 0.55
# How often a clip that begins with a beat is looked at, for every time that one begun anywhere is: records and passages mostly do begin with one.
AT_BAR = 3


def load(files):
    parts = []
    clips = 0
    for file in files:
        with np.load(file) as z:
            d = {k: z[k] for k in ("cues", "f", "own", "clip", "kind")}
        d["clip"] = d["clip"] + clips
        clips = d["clip"].max() + 1
        parts.append(d)
    return {k: np.concatenate([p[k] for p in parts]) for k in parts[0]}


def good(f, clip, clips):
    """What each reading should get of the odds, and whether its clip tells anything; where there is no beat (F is -1) none should get any."""
    best = np.full(clips, -1.0)
    np.maximum.at(best, clip, f)
    hit = (f >= best[clip] - 0.05) & (best[clip] >= 0.6)
    share = hit / np.maximum(np.bincount(clip, hit, clips), 1)[clip]
    return share, (best >= 0.6) | (best == -1)


def odds(net, x, clip, clips, usual=0.0):
    """`usual` is what a reading gains by its tempo, in use alone."""
    h = np.maximum(x @ net[0] + net[1], 0)
    z = (h @ net[2] + net[3])[:, 0] + usual
    # That none of them is right is one of the choices, of odds 1.
    top = np.zeros(clips)
    np.maximum.at(top, clip, z)
    e = np.exp(z - top[clip])
    return e / (np.bincount(clip, e, clips) + np.exp(-top))[clip], h


def learn(d, rounds=ROUNDS):
    parts = [learn_one(d, rounds, seed) for seed in range(5, 5 + TOGETHER)]
    nets = [p[2] for p in parts]
    return *parts[0][:2], [np.concatenate([n[0] for n in nets], 1), np.concatenate([n[1] for n in nets]), np.concatenate([n[2] for n in nets]) / TOGETHER, np.mean([n[3] for n in nets], 0)]


def learn_one(d, rounds, seed):
    rng = np.random.default_rng(seed)
    mean, deviation = d["cues"].mean(0), d["cues"].std(0) + 1e-3
    x_all = ((d["cues"] - mean) / deviation)
    clips = d["clip"].max() + 1
    share, tells = good(d["f"], d["clip"], clips)
    where = [np.flatnonzero(d["clip"] == c) for c in range(clips)]
    n = x_all.shape[1]
    net = [rng.normal(0, np.sqrt(1 / n), (n, HIDDEN)), np.zeros(HIDDEN), rng.normal(0, np.sqrt(1 / HIDDEN), (HIDDEN, 1)), np.zeros(1)]
    m, v, step = [np.zeros_like(p) for p in net], [np.zeros_like(p) for p in net], 0
    slow = [p.copy() for p in net]
    begins = lambda w: d["cues"][w[d["f"][w].argmax()], 76] > 0.5
    told = [c for c in range(clips) if tells[c] and len(where[c]) for _ in range(AT_BAR if begins(where[c]) else 1)]
    per = max(len(told) // 16, 1)
    for round in range(rounds):
        order = rng.permutation(told)
        for at in range(0, len(order) - 15, 16):
            some = order[at:at + 16]
            rows = np.concatenate([where[c] for c in some])
            clip = np.repeat(np.arange(len(some)), [len(where[c]) for c in some])
            x = x_all[rows].copy()
            # Cues are left out at random.
            x *= rng.random((len(some), n))[clip] > 0.08
            p, h = odds(net, x, clip, len(some))
            g = ((p - share[rows]) / len(some))[:, None]
            back = (g @ net[2].T) * (h > 0)
            grads = [x.T @ back, back.sum(0), h.T @ g, g.sum(0)]
            step += 1
            rate = RATE * min(1, step / 50) * (0.5 + 0.5 * np.cos(np.pi * step / (per * rounds + 1)))
            for i, gr in enumerate(grads):
                gr = gr + DECAY * net[i] * (net[i].ndim == 2)
                m[i] += 0.1 * (gr - m[i])
                v[i] += 0.001 * (gr * gr - v[i])
                net[i] -= rate * m[i] / (1 - 0.9**step) / (np.sqrt(v[i] / (1 - 0.999**step)) + 1e-8)
                slow[i] += min(1, 0.02 + 1 / step) * (net[i] - slow[i])
    return mean, deviation, slow


def judge(model, d):
    """For each clip: F of the chosen reading, its odds, F of the network's own way, of onset strength's, the best; kind."""
    mean, deviation, net = model
    clips = d["clip"].max() + 1
    p, _ = odds(net, (d["cues"] - mean) / deviation, d["clip"], clips, -0.5 * (d["cues"][:, OCTAVES] / SPREAD) ** 2)
    rows = []
    for c in np.unique(d["clip"]):
        w = np.flatnonzero(d["clip"] == c)
        f, own = d["f"][w], d["own"][w]
        top = w[p[w].argmax()] - w[0]
        # Where two readings are alike, one stands for both.
        way = [w[d["cues"][w, 74 + k].argmax()] for k in (0, 1)]
        rows.append([f[top], p[w].max(), *d["f"][way], f.max(), d["kind"][w[0]], c, d["cues"][w[f.argmax()], 76]])
    return np.array(rows)


def show(rows):
    for kind, name in ((0, "own"), (1, "patterns"), (2, "players"), (3, "no beat")):
        r = rows[rows[:, 5] == kind]
        if kind == 3 and len(r):
            print(f"{name:9} {len(r):4}: odds of a beat {r[:, 1].mean():.2f}, over .6 in {np.mean(r[:, 1] > 0.6):.2f}")
        elif len(r):
            print(f"{name:9} {len(r):4}: chosen {r[:, 0].mean():.3f} (over .9: {np.mean(r[:, 0] > 0.9):.2f}), network {r[:, 2].mean():.3f}, onsets {r[:, 3].mean():.3f}, best {r[:, 4].mean():.3f}")
    for name, r in (("begins with a beat", rows[rows[:, 7] > 0.5]), ("begun anywhere", rows[rows[:, 7] < 0.5])):
        r = r[r[:, 5] != 3]
        print(f"{name}: chosen {r[:, 0].mean():.3f}, network {r[:, 2].mean():.3f}, onsets {r[:, 3].mean():.3f}")
    for low, high in ((0, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.85), (0.85, 1.01)):
        r = rows[(rows[:, 1] >= low) & (rows[:, 1] < high)]
        if len(r):
            print(f"   odds {low:.2f} to {min(high, 1):.2f}: {len(r)} clips, right {np.mean(r[:, 0] > 0.8):.2f}")


def train(files, target):
    d = load(files)
    rows = []
    for fold in range(4):
        held = d["clip"] % 4 == fold
        rows.append(judge(learn({k: v[~held] for k, v in d.items()}), {k: v[held] for k, v in d.items()}))
    show(np.concatenate(rows))
    mean, deviation, (a, b, c, e) = learn(d)
    # The cues' spread goes into the first layer.
    a, b = a / deviation[:, None], b - (mean / deviation) @ a
    pathlib.Path(target).write_bytes(b"".join(p.astype("<f2").tobytes() for p in (a, b, c, e)))


if __name__ == "__main__":
    sys.path.insert(0, str(pathlib.Path(__file__).parent))
    if sys.argv[1] == "clips":
        make(*sys.argv[2:6], int(sys.argv[6]), int(sys.argv[7]))
    elif sys.argv[1] == "exchange":
        exchange(*sys.argv[2:6])
    else:
        train(sys.argv[2:-1], sys.argv[-1])
