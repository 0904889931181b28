"""Trains the choice between readings of the beat and bars over them: python3 training/beats/choice.py clips DATA SOUNDFONT FOLDER PROGRAMS COUNT SEED makes COUNT clips, …choice.py train FILE… WEIGHTS trains,
…choice.py join WEIGHTS… OUT puts networks of several trainings side by side.

Clips: passages made up by dice and played by the project's own `sound`; patterns of `patterns.py` and `manners.py` by other sounds; takes of players 00 and 01, each heard by a network of
beats that has not learned from that player (one that has is surer of it than it will be of anybody); and some without a beat. None of the patterns of `checks/hear/beats.py`
is written here, and nothing of players 03 and 05 is read. PROGRAMS is a folder with the example programs `render` of `sound` and `readings` of `hear`, and `readings-00` and `readings-01`, the same with
the weights of the networks that learned without the one player and without the other: …choice.py exchange READINGS WEIGHTS OTHER-WEIGHTS OUT makes them. The clips' readings, with the
F-measure of each and the bars that are right, go to FOLDER/readings-SEED.npz.

Two kinds of networks (four of each, side by side), one hidden layer each: of a reading's cues, and, for each meter, of the marks of its beats put one bar over the other. Their scores are added; all readings of a clip with
all bars over them, and that it has no beat, are one choice (softmax). What is learned is to give the right bars over those readings that are within .05 of the best F all the odds, where the best reaches .6.
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


def accompaniment(rng, meter):
    """A bar as accompaniments mostly are (common practice), in eighths: 'B' the chord's lowest note, 'b' its second lowest, 'S' all of it, 's' its high strings, '1' to '3' one of these, x, '.', '-'."""
    step = 1 if meter.parts == 3 else 2
    bar = ["."] * meter.slots
    beats = range(0, meter.slots, meter.parts)
    between = [s for s in range(0, meter.slots, step) if s % meter.parts]
    kind = ["low and high", "strummed", "broken", "even", "after"][rng.integers(5)]
    if kind == "broken":
        order = "".join(rng.permutation(list("123")))
        for n, s in enumerate(range(0, meter.slots, step)):
            bar[s] = order[n % 3] if rng.random() < 0.93 else "-"
        for s in beats:
            if meter.beats != 3 and s and rng.random() < 0.7:
                bar[s] = "b" if 2 * s == meter.slots or rng.random() < 0.3 else bar[s]
        bar[0] = "B"
        return bar
    chance = rng.choice([0.0, 0.15, 0.4, 0.8])
    # Which strokes between the beats: the last before a beat is usual, the first after it less so.
    wanted = {s: rng.random() < chance * (1.0 if (s + step) % meter.parts == 0 else 0.6) for s in between}
    for s in beats:
        if kind == "low and high":
            bar[s] = "B" if s == 0 else "b" if meter.beats % 2 == 0 and 2 * s == meter.slots and rng.random() < 0.7 else "s"
        elif kind == "strummed":
            bar[s] = "S" if s == 0 or rng.random() < 0.85 else "-"
        elif kind == "even":
            bar[s] = "S" if rng.random() < 0.95 else "s"
        else:
            # Struck after the beat, or on all but the first.
            bar[s] = "." if s == 0 or meter.beats == 2 else "s"
    for s in between:
        last = (s + step) % meter.parts == 0
        if kind == "even" or kind == "after" and meter.beats != 3 and last or wanted[s]:
            bar[s] = "s" if kind != "strummed" or rng.random() < 0.6 else "S"
    mute = rng.random() < 0.15
    ring = rng.random()
    for s in range(1, meter.slots):
        if bar[s] == "." and s % step == 0 and mute and kind != "after":
            bar[s] = "x"
        elif bar[s] == "." and bar[s - 1] not in ".x" and rng.random() < ring:
            bar[s] = "-"
    return bar


def played(role, letter, sounding, grips):
    """A stroke of such a bar, as a lesson writes it."""
    strings = sounding[letter]
    one = lambda string: f"{string}:{grips[letter].split()[6 - string]}"
    if role == "S":
        return letter
    if role == "s":
        return letter + "".join(map(str, strings[-3:]))
    if role in "Bb":
        return one(strings["Bb".index(role)])
    return one(strings[-min(int(role), len(strings))]) if role in "123" else role


def passage(rng, name):
    """A lesson's passage, its beats, and how many a bar has."""
    import patterns as pt
    meter = pt.METERS[rng.choice(4, p=[0.38, 0.3, 0.26, 0.06])]
    slots = meter.slots
    bpm = float(np.exp(rng.normal(np.log(110), 0.29)).clip(56, 204))
    if meter.parts == 6:
        bpm = float(np.exp(rng.normal(np.log(74), 0.24)).clip(44, 126))
    if meter.parts == 3:
        bpm = min(bpm, 140.0)
    bars = int(rng.integers(8, 15)) if meter.beats > 2 else int(rng.integers(10, 20))
    wave, period, phase = rng.uniform(0, 0.04) * (rng.random() < 0.5), rng.uniform(6, 16), rng.uniform(0, 2 * np.pi)
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
    usual = accompaniment(rng, meter) if rng.random() < 0.45 else None
    if usual and rng.random() < 0.7:
        # Chords as often as they mostly change.
        every = int(rng.choice([1, 1, 2]))
        letters = "abcd"[:rng.integers(2, 5)]
    given = {l: GRIPS[g] for l, g in zip("abcd", grips)}
    for b in range(bars):
        if usual:
            bar = [("." if rng.random() < 0.5 else "s") if rng.random() < 0.02 else r for r in usual]
            # Nothing goes on where nothing sounds.
            bar = ["." if r == "-" and "".join(bar[:s]).rstrip("-")[-1:] in ("", ".", "x") else r for s, r in enumerate(bar)]
            text += f'  bar "{" ".join(played(r, chord(b), sounding, given) for r in bar)}" tempo={tempi[b]}\n'
            continue
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
    return text + " }\n", np.concatenate([[0], np.cumsum(lengths)[:-1]]), meter.beats


# Passages that are rendered at once.
TOGETHER_MADE = 10


def own_clips(count, folder, programs, seed):
    """Passages by the project's own instruments: files, beats, their places in the bar and how many a bar has. Three of five begin with a bar, the others anywhere."""
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
            _, beats, bar = passages[n]
            cut = 0
            if rng.random() < 0.4:
                cut = round(rng.uniform(0.1, 4.0) * rate)
            sound = sound[cut:] + 10 ** rng.uniform(-5, -3) * rng.standard_normal(sound[cut:].shape) * (rng.random() < 0.5)
            file = folder / f"own-p{n}.wav"
            soundfile.write(file, sound, rate)
            left = beats >= cut / rate
            yield file, beats[left] - cut / rate, (np.arange(len(beats)) % bar)[left], bar, ""


def other_clips(count, data, soundfont, folder, seed, kind):
    """The same, with the player left out by the network that is to listen; no beats where there is none."""
    import scipy.io.wavfile
    import clips
    from sounds import RATE, Sounds
    rng = np.random.default_rng([seed, {"patterns": 2, "players": 3, "idle": 4}[kind]])
    sounds = Sounds(data, soundfont, np.random.default_rng(1))
    every = {player: sorted((data / "guitarset" / "annotation").glob(f"{player}_*.jams")) for player in ("00", "01")}
    for n in range(count):
        file, without = folder / f"{kind}-{seed}-{n}.wav", ""
        if kind == "idle":
            audio, beats, places, bar = clips.idle_clip(sounds, rng)
        elif kind == "players":
            without = ("00", "01")[n % 2]
            pool = every[without]
            take = pool[rng.integers(len(pool))]
            file = folder / f"{take.stem}-{seed}-{n}.wav"
            audio, beats, places, bar = clips.player_clip(sounds, rng, take, pool)
        else:
            audio, beats, places, bar = clips.pattern_clip(sounds, rng)
        # What lies after a player's last beat is cut off.
        end = min(len(audio), int((beats[-1] + np.diff(beats[-5:]).mean()) * RATE)) if bar else len(audio)
        scipy.io.wavfile.write(file, RATE, np.round(32767 * np.clip(audio[:end], -1, 1)).astype(np.int16))
        left = beats < end / RATE
        yield file, beats[left], places[left], bar, without


def exchange(program, old, new, out):
    """A program with other weights in the place of those it was built with."""
    bytes, old, new = (pathlib.Path(f).read_bytes() for f in (program, old, new))
    if bytes.count(old) != 1 or len(old) != len(new):
        sys.exit("the program does not hold these weights once, or the others are of another length")
    pathlib.Path(out).write_bytes(bytes.replace(old, new))
    os.chmod(out, 0o755)


# Beats to a bar in each meter that bars are found in; a reading's bars may begin on each of these, in this order.
METERS = (4, 3, 2)
FIRSTS = [(bar, first) for bar in METERS for first in range(bar)]
# Where the cues hold the octaves from a usual tempo, how alike a reading is to the network's way and to that of onset strength, whether the record begins on a beat, and what the network
# of beats tells of the meter.
OCTAVES, WAYS, BEGINS, TOLD = 72, [74, 75], 76, slice(85, 88)


def inputs(reading):
    """What the networks of bars see (`crates/hear/src/reading_score.rs`): what is the same for all bars, and of each meter [first, value]."""
    cues, marks = np.array(reading["cues"]), np.array(reading["marks"])
    shared = np.concatenate([np.ravel(reading["alike"]), np.log(np.maximum(cues[TOLD], 0.02)), cues[6:12], cues[:6], cues[OCTAVES:OCTAVES + 1]])
    own = []
    for bar in METERS:
        means = np.stack([marks[place::bar].mean(0) if len(marks) > place else np.zeros(marks.shape[1]) for place in range(bar)])
        begun = reading["begun"]
        own.append(np.stack([[*np.roll(means, -first, 0).ravel(), begun is not None and begun % bar == first, begun is not None] for first in range(bar)]))
    return shared, own


def right_bars(found, beats, places, bar):
    """Which of FIRSTS are right; all alike where the reading's beats are not near enough to tell."""
    right = np.zeros(len(FIRSTS))
    far = np.abs(found[:, None] - beats[None])
    near = far.min(1) < 0.07
    if near.sum() >= 6 and near.mean() > 0.8:
        there = places[far.argmin(1)]
        agree = [np.mean(((np.arange(len(found)) - first) % bar == there)[near]) for first in range(bar)]
        if max(agree) > 0.85:
            right[FIRSTS.index((bar, int(np.argmax(agree))))] = 1
            return right
    return np.full(len(FIRSTS), 1 / len(FIRSTS))


def make(data, soundfont, folder, programs, count, seed):
    import mir_eval
    data, folder, programs = map(pathlib.Path, (data, folder, programs))
    folder.mkdir(parents=True, exist_ok=True)
    out = {"cues": [], "shared": [], "own4": [], "own3": [], "own2": [], "right": [], "f": [], "clip": []}
    clips = {"kind": [], "bar": [], "name": []}
    shares = zip((0.32, 0.32, 0.32, 0.04), ("own", "patterns", "players", "idle"))
    for kind, (share, name) in enumerate(shares):
        wanted = round(share * count)
        made = own_clips(wanted, folder, programs, seed) if kind == 0 else other_clips(wanted, data, soundfont, folder, seed, name)
        for file, beats, places, bar, without in made:
            line = subprocess.run([programs / f"readings{'-' + without if without else ''}", file], check=True, capture_output=True, text=True).stdout
            file.unlink()
            found = json.loads(line)
            if not found or 0 < len(beats) < 8:
                continue
            for r in found:
                shared, own = inputs(r)
                times = np.array(r["beats"])
                score = mir_eval.beat.f_measure(beats, times, f_measure_threshold=0.07) if bar else -1
                values = (r["cues"], shared, *own, right_bars(times, beats, places, bar) if score > 0.6 else np.full(len(FIRSTS), 1 / len(FIRSTS)), score, len(clips["bar"]))
                for key, value in zip(out, values):
                    out[key].append(value)
            for key, value in (("kind", kind), ("bar", bar), ("name", f"{without} {file.name}")):
                clips[key].append(value)
    np.savez_compressed(folder / f"readings-{seed}.npz", **{f"clip_{k}": v for k, v in clips.items()}, **{k: np.array(v, np.float32 if k not in ("clip",) else int) for k, v in out.items()})


# Hidden values of a network for readings and of one for bars, and how many networks, whose odds are averaged; side by side they are one with as many more hidden values.
HIDDEN, HIDDEN_BARS, TOGETHER = 96, 32, 4
# What the networks see, and their hidden values, as they lie in a file.
SIZES = [(inputs, TOGETHER * hidden) for inputs, hidden in ((106, HIDDEN), (83, HIDDEN_BARS), (75, HIDDEN_BARS), (67, HIDDEN_BARS))]
ROUNDS, SEEN_TOGETHER, RATE, DECAY, LEFT_OUT = 8, 32, 4e-3, 0.3, 0.08
# Usual tempi in octaves from 112 beats a minute, and their spread: of dotted beats 76. What meters other than 4/4, which come oftener here than on records, lose.
MIDDLES, SPREAD, RARE = {4: 0.0, 3: 0.0, 2: -0.56}, 0.55, 0.25
# How often a clip that begins with a beat is looked at, for every time that one begun anywhere is: records and passages mostly do begin with one.
AT_BAR = 3


def usual(octaves):
    """What a reading's bars gain by their tempo and their meter, in use alone: [reading, first]."""
    middle = np.array([MIDDLES[bar] for bar, _ in FIRSTS])
    return -0.5 * ((octaves[:, None] - middle) / SPREAD) ** 2 - RARE * np.array([bar != 4 for bar, _ in FIRSTS])


class Clips:
    """Readings of clips, as tensors."""

    def __init__(self, files):
        import torch
        self.device = "cuda" if torch.cuda.is_available() else "cpu"
        parts, clips = [], 0
        for file in files:
            with np.load(file) as z:
                d = {k: z[k] for k in z.files}
            d["clip"] = d["clip"] + clips
            clips += len(d["clip_kind"])
            parts.append(d)
        d = {k: np.concatenate([p[k] for p in parts]) for k in parts[0]}
        self.f, self.kind, self.bar, self.right = d["f"], d["clip_kind"], d["clip_bar"], d["right"]
        self.octaves, self.ways, begins = d["cues"][:, OCTAVES].copy(), d["cues"][:, WAYS].copy(), d["cues"][:, BEGINS].copy()
        self.player = np.array([str(n)[:2] for n in d["clip_name"]])
        self.solo = np.array(["solo" in str(n) for n in d["clip_name"]])
        self.rows = [slice(a, b) for a, b in zip(*(np.searchsorted(d["clip"], np.arange(clips), side) for side in ("left", "right")))]
        self.spread = {k: (d[k].mean(0), d[k].std(0) + 1e-3) for k in ("cues", "shared")}
        tensor = lambda a: torch.tensor(a, dtype=torch.float32, device=self.device)
        self.x = [tensor((d[k] - self.spread[k][0]) / self.spread[k][1]) for k in ("cues", "shared")] + [tensor(d[f"own{bar}"]) for bar in METERS]
        self.best = np.full(clips, -1.0)
        np.maximum.at(self.best, d["clip"], self.f)
        good = (self.f >= self.best[d["clip"]] - 0.05) & (self.best[d["clip"]] >= 0.6)
        # What should get the odds: bars that are right over readings that are nearly as good as the best.
        self.good = tensor(d["right"] * good[:, None])
        some = np.array([r.stop > r.start for r in self.rows])
        self.tells = some & ((self.best >= 0.6) | (self.best == -1))
        self.begins = np.array([s and begins[r][self.f[r].argmax()] > 0.5 for s, r in zip(some, self.rows)])


def network(clips, seed):
    import torch
    from torch import nn
    dice = torch.Generator().manual_seed(seed)

    def values(into, out):
        """Of each network."""
        most = into**-0.5
        return nn.Parameter((2 * most * torch.rand(TOGETHER, into, out, generator=dice) - most).to(clips.device))

    class Network(nn.Module):
        """Scores of a reading with each bars over it, [network, reading, first]: of the reading by its cues, and of bars in each meter."""

        def __init__(self):
            super().__init__()
            cues, shared, *own = (x.shape[-1] for x in clips.x)
            each = lambda make: nn.ParameterList([make(o) for o in own])
            self.reading = nn.ParameterList([values(cues, HIDDEN), values(1, HIDDEN), values(HIDDEN, 1), values(1, 1)])
            self.shared, self.offsets, self.own = each(lambda o: values(shared, HIDDEN_BARS)), each(lambda o: values(1, HIDDEN_BARS)), each(lambda o: values(o, HIDDEN_BARS))
            self.last, self.last_offsets = each(lambda o: values(HIDDEN_BARS, 1)), each(lambda o: values(1, 1))

        def forward(self, cues, shared, *own):
            first, offset, last, last_offset = self.reading
            scores = torch.relu(cues @ first + offset) @ last + last_offset
            bars = []
            for x, first, offset, second, last, last_offset in zip(own, self.shared, self.offsets, self.own, self.last, self.last_offsets):
                own_part = torch.einsum("nrfi,nih->nrfh", x.expand(TOGETHER, *x.shape[-3:]), second)
                hidden = torch.relu((shared @ first + offset)[:, :, None] + own_part)
                bars.append(torch.einsum("nrfh,nh->nrf", hidden, last[..., 0]) + last_offset)
            return torch.cat(bars, 2) + scores

    return Network()


def learn(clips, some, seed=5):
    """Of these clips. What is learned is to give what is good all the odds, and none where there is no beat."""
    import torch
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    net, device = network(clips, seed), clips.device
    told = np.array([c for c in some if clips.tells[c] for _ in range(AT_BAR if clips.begins[c] else 1)])
    steps = ROUNDS * len(told) // SEEN_TOGETHER
    optimizer = torch.optim.AdamW(net.parameters(), RATE, weight_decay=DECAY)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimizer, RATE, total_steps=steps + 1, pct_start=0.05)
    slow = [p.detach().clone() for p in net.parameters()]
    for step in range(steps):
        batch = told[rng.integers(0, len(told), SEEN_TOGETHER)]
        rows = torch.tensor(np.concatenate([np.arange(clips.rows[c].start, clips.rows[c].stop) for c in batch]), device=device)
        of = torch.tensor(np.repeat(np.arange(len(batch)), [clips.rows[c].stop - clips.rows[c].start for c in batch]), device=device)
        # Values are left out at random, the same in all readings of a clip.
        kept = [(torch.rand(TOGETHER, len(batch), x.shape[-1], device=device) > LEFT_OUT).float()[:, of] for x in clips.x]
        scores = net(*[x[rows] * (k if x.ndim == 2 else k[:, :, None]) for x, k in zip(clips.x, kept)])
        good = clips.good[rows]
        every, those = scores.logsumexp(2), (scores + torch.log(good.clamp(min=1e-9))).logsumexp(2)
        # That none of them is right is one of the choices, of odds 1.
        at = of.expand(TOGETHER, -1)
        nothing = torch.zeros(TOGETHER, len(batch), device=device)
        top = nothing.scatter_reduce(1, at, every.detach(), "amax")
        all_odds = nothing.scatter_add(1, at, torch.exp(every - top.gather(1, at))) + torch.exp(-top)
        none = torch.tensor(clips.best[batch] == -1, device=device).float()
        good_odds = nothing.scatter_add(1, at, torch.exp(those - top.gather(1, at)) * (good.sum(1) > 0)) + torch.exp(-top) * none
        loss = (torch.log(all_odds) - torch.log(good_odds.clamp(min=1e-12))).mean(1).sum()
        optimizer.zero_grad()
        loss.backward()
        optimizer.step()
        schedule.step()
        with torch.no_grad():
            for slowly, now in zip(slow, net.parameters()):
                slowly.lerp_(now, min(1, 0.02 + 1 / (step + 1)))
    with torch.no_grad():
        for slowly, now in zip(slow, net.parameters()):
            now.copy_(slowly)
    return net


def judge(net, clips, some):
    """For each clip: kind, beats to a bar, F of the chosen reading, its odds, the meter, whether the bars are right, F of the best reading, of the network's own way and of onset strength's, whether it is a solo."""
    import torch
    out = []
    for c in some:
        rows = clips.rows[c]
        if rows.stop == rows.start:
            continue
        with torch.no_grad():
            scores = net(*[x[rows] for x in clips.x]).mean(0).cpu().numpy() + usual(clips.octaves[rows])
        odds = np.exp(scores - max(scores.max(), 0))
        odds /= odds.sum() + np.exp(-max(scores.max(), 0))
        chosen = odds.sum(1).argmax()
        meters = [sum(o for o, (bar, _) in zip(odds[chosen], FIRSTS) if bar == m) for m in METERS]
        ways = (clips.f[rows][clips.ways[rows, way].argmax()] for way in range(len(WAYS)))
        out.append((clips.kind[c], clips.bar[c], clips.f[rows][chosen], odds[chosen].sum(), METERS[int(np.argmax(meters))], clips.right[rows][chosen][scores[chosen].argmax()] == 1, clips.best[c], *ways, clips.solo[c]))
    return np.array(out, float)


def show(rows):
    for kind, solo, name in ((0, 0, "own"), (1, 0, "patterns"), (2, 0, "comping"), (2, 1, "solos")):
        for bar in METERS:
            r = rows[(rows[:, 0] == kind) & (rows[:, 1] == bar) & (rows[:, 9] == solo)]
            if len(r):
                print(f"{name:9} {bar} beats a bar, {len(r):4}: F {r[:, 2].mean():.3f} (over .9: {np.mean(r[:, 2] > 0.9):.2f}; network {r[:, 7].mean():.3f}, onsets {r[:, 8].mean():.3f}, best reading {r[:, 6].mean():.3f}), meter {np.mean(r[:, 4] == bar):.2f}, bars {r[:, 5].mean():.2f}")
    r = rows[rows[:, 0] == 3]
    if len(r):
        print(f"no beat   {len(r):4}: odds of a beat {r[:, 3].mean():.2f}, over .6 in {np.mean(r[:, 3] > 0.6):.2f}")
    r = rows[rows[:, 0] != 3]
    for low, high in ((0, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.85), (0.85, 1.01)):
        own = r[(r[:, 3] >= low) & (r[:, 3] < high)]
        if len(own):
            print(f"   odds {low:.2f} to {min(high, 1):.2f}: {len(own)} clips, right {np.mean(own[:, 2] > 0.8):.2f}")


def write(net, spread, target):
    """The networks side by side as one, the inputs' spread in their first layers; each layer as [in][out] and its offsets, as little-endian halves: of the reading, then of each meter's bars."""
    values = lambda t: t.detach().cpu().numpy().astype(float)

    def layers(first, offset, last, last_offset, middle, deviation, own=None):
        """`own` are first layers of inputs that are taken as they are."""
        weights = values(first) / deviation[:, None]
        offsets = values(offset)[:, 0] - middle @ weights
        weights = np.concatenate([weights, values(own)], 1) if own is not None else weights
        return [np.concatenate(list(weights), 1), offsets.ravel(), values(last).ravel() / TOGETHER, values(last_offset).mean(0)]

    parts = layers(*net.reading, *spread["cues"])
    for m in range(len(METERS)):
        parts += layers(net.shared[m], net.offsets[m], net.last[m], net.last_offsets[m], *spread["shared"], net.own[m])
    pathlib.Path(target).write_bytes(b"".join(p.astype("<f2").tobytes() for p in parts))


def train(files, target):
    clips = Clips(files)
    every = np.arange(len(clips.kind))
    kept = np.random.default_rng(0).random(len(every)) < 0.1
    print("kept from learning:")
    show(judge(learn(clips, every[~kept]), clips, every[kept]))
    for player in ("00", "01"):
        print(f"without player {player}, on that player's clips:")
        net = learn(clips, every[clips.player != player])
        write(net, clips.spread, f"{target}.without-{player}")
        show(judge(net, clips, every[clips.player == player]))
    write(learn(clips, every), clips.spread, target)


def join(files, target):
    """Networks of several trainings, of one width, side by side as one: their odds are averaged."""
    each = []
    for file in files:
        rest, parts = np.fromfile(file, "<f2").astype(float), []
        for inputs, hidden in SIZES:
            sizes = inputs * hidden, hidden, hidden, 1
            weights, offsets, last, last_offset = np.split(rest[:sum(sizes)], np.cumsum(sizes)[:-1])
            rest = rest[sum(sizes):]
            parts.append((weights.reshape(inputs, hidden), offsets, last / len(files), last_offset / len(files)))
        assert len(rest) == 0, f"{file} is of other networks"
        each.append(parts)
    out = []
    for same in zip(*each):
        weights, offsets, last, last_offset = zip(*same)
        out += [np.concatenate(weights, 1).ravel(), *map(np.concatenate, (offsets, last)), sum(last_offset)]
    pathlib.Path(target).write_bytes(np.concatenate(out).astype("<f2").tobytes())


if __name__ == "__main__":
    sys.path.insert(0, str(pathlib.Path(__file__).parent))
    if sys.argv[1] == "clips":
        make(*sys.argv[2:6], int(sys.argv[6]), int(sys.argv[7]))
    elif sys.argv[1] == "exchange":
        exchange(*sys.argv[2:6])
    elif sys.argv[1] == "join":
        join(sys.argv[2:-1], sys.argv[-1])
    else:
        train(sys.argv[2:-1], sys.argv[-1])
