"""The bass listener, as `crates/hear/src/bass.rs` runs it, and its training: python3 bass.py SHARDS WEIGHTS SECONDS [STATE]

WIDTH in the environment is how many values a note has in the network (48).

STATE is what an earlier run left beside its weights, to go on from.

`bass.py reference STATE`, with what a run left beside its weights, prints what the network says to a made-up input, for the test in `bass.rs`.

For each of 34 notes the same small network sees the levels at that note's partials, and at places that tell it from an octave or a fifth, over time; beside it, one that
sees the whole lower end and the rises of all bands is the same for all notes. Convolutions over time with gaps that double follow, one for each value by itself, then a mixture of
all values and of their means over all notes. It says of each row how likely each note sets in there, and which one sounds, or none. Takes shards as they come (bass_clips.py); every tenth is held out.
Clips are also moved by up to five semitones and made louder and softer, as features. Seed 11. On a GPU where there is one.
"""

import os
import pathlib
import sys
import time

import numpy as np
import torch
from torch import nn

sys.path.append(str(pathlib.Path(__file__).resolve().parents[1]))
from shards import Shards  # noqa: E402

LOW, SEMIS, GROUPS, HOP_S = 23, 61, 8, 64 / (22050 / 8)
FIRST, PITCHES = 24, 34
LONG_AT = [0, 12, 19, 24, 28, 31, 34, 36, -12, 7, 16, -1, 1]
SHORT_AT = [0, 12, 19, 24, 28, 31, -12, 7]
# Spectra of a row: of the long window, the middling and the short one, and what changed.
PARTS = 4
INPUTS, ALL = len(LONG_AT) + (PARTS - 1) * len(SHORT_AT) + 1, PARTS * SEMIS + GROUPS
TAPS, WIDTH, DILATIONS = 5, int(os.environ.get("WIDTH", 48)), (1, 2, 4, 8, 1, 16)
CROP, BATCH = 512, 24


class Line(nn.Module):
    def __init__(self, width=WIDTH):
        super().__init__()
        self.own = nn.Conv1d(INPUTS, width, TAPS, padding=TAPS // 2)
        self.all = nn.Conv1d(ALL, width, TAPS, padding=TAPS // 2)
        # Each value by itself: weights [tap, value], and an offset.
        self.wide = nn.ParameterList(nn.Parameter((torch.rand(TAPS + 1, width) * 2 - 1) / TAPS**0.5) for _ in DILATIONS)
        self.mix = nn.ModuleList(nn.Linear(width, width) for _ in DILATIONS)
        self.others = nn.ModuleList(nn.Linear(width, width, bias=False) for _ in DILATIONS)
        self.last = nn.Linear(width, 2)
        self.none = nn.Linear(width, 1)
        margin = 48
        at = lambda offsets: torch.tensor([[p - LOW + o + margin for p in range(FIRST, FIRST + PITCHES)] for o in offsets])
        self.margin, self.long, self.short = margin, at(LONG_AT), at(SHORT_AT)
        self.place = (torch.arange(FIRST, FIRST + PITCHES).float() - 40) / 12

    def forward(self, x):
        """x [clip, row, ALL]; onset logits [clip, row, note], logits of what sounds [clip, row, note or none]."""
        n, rows, _ = x.shape
        pad = lambda v: nn.functional.pad(v, (self.margin, self.margin))
        parts = [pad(x[..., p * SEMIS : (p + 1) * SEMIS])[..., self.short if p else self.long] for p in range(PARTS)]
        place = self.place.to(x.device).expand(n, rows, 1, PITCHES)
        own = torch.cat([*parts, place], 2)
        # As [clip and note, value, row].
        own = self.own(own.permute(0, 3, 2, 1).reshape(n * PITCHES, INPUTS, rows))
        # From here on as [clip, note, row, value].
        h = torch.relu(own.view(n, PITCHES, -1, rows).transpose(2, 3) + self.all(x.transpose(1, 2)).transpose(1, 2)[:, None]).contiguous()
        for wide, mix, others, gap in zip(self.wide, self.mix, self.others, DILATIONS):
            h = h + mix(over_time(h, wide, gap)) + others(h.mean(1))[:, None]
        h = torch.relu(h)
        out = self.last(h)
        none = self.none(h.mean(1))
        return out[..., 0].transpose(1, 2), torch.cat([out[..., 1].transpose(1, 2), none], 2)


def over_time(h, wide, gap):
    """What lies `gap` rows apart, each value by itself."""
    reach = TAPS // 2 * gap
    padded = nn.functional.pad(h, (0, 0, reach, reach))
    return torch.relu(sum(padded[:, :, k * gap : k * gap + h.shape[2]] * wide[k] for k in range(TAPS)) + wide[TAPS])


def parameters(model):
    """In the order of the file: each weight as [tap][in][out], then its biases."""
    out = []
    for layer in [model.own, model.all]:
        out += [layer.weight.permute(2, 1, 0), layer.bias]
    for wide, mix, others in zip(model.wide, model.mix, model.others):
        out += [wide, mix.weight.T, mix.bias, others.weight.T]
    return out + [model.last.weight.T, model.last.bias, model.none.weight.T, model.none.bias]


def write(model, path):
    np.concatenate([p.detach().cpu().numpy().astype("<f2").ravel() for p in parameters(model)]).tofile(path)


def read(z):
    return [torch.tensor(z[k]) for k in ("x", "rows", "notes")]


def targets(notes, rows, moved):
    """How much each note sets in at each row [clip, row, note], and which sounds [clip, row]."""
    n = len(notes)
    at, end = notes[..., 0] / HOP_S, notes[..., 1] / HOP_S
    pitch = torch.round(notes[..., 2]).long() + moved[:, None] - FIRST
    there = (notes[..., 2] > 0) & (pitch >= 0) & (pitch < PITCHES)
    onsets = torch.zeros(n, rows * PITCHES, device=notes.device)
    for step in range(-1, 3):
        k = at.floor().long() + step
        rise = (1 - (k - at).abs() / 1.6).clamp(min=0) * (there & (k >= 0) & (k < rows))
        onsets.scatter_reduce_(1, k.clamp(0, rows - 1) * PITCHES + pitch.clamp(0, PITCHES - 1), rise, "amax")
    # The last note that has begun.
    k = torch.arange(rows, device=notes.device, dtype=at.dtype).expand(n, rows).contiguous()
    begun = torch.where(there, at, torch.full_like(at, 1e9)).sort(1)
    last = (torch.searchsorted(begun.values.contiguous(), k + 0.5) - 1).clamp(min=0)
    which = begun.indices.gather(1, last)
    sounding = (begun.values.gather(1, last) < k + 0.5) & (end.gather(1, which) > k)
    return onsets.view(n, rows, PITCHES), torch.where(sounding, pitch.gather(1, which), PITCHES)


def moved_by(x, moved):
    """Each clip's spectra moved along the semitones; what comes in is silent."""
    semitone = torch.arange(SEMIS, device=x.device) - moved[:, None]
    inside = ((semitone >= 0) & (semitone < SEMIS))[:, None, None]
    parts = x[..., : PARTS * SEMIS].unflatten(2, (PARTS, SEMIS))
    from_where = semitone.clamp(0, SEMIS - 1)[:, None, None].expand(parts.shape)
    out = torch.where(inside, parts.gather(3, from_where), 0.0)
    return torch.cat([out.flatten(2), x[..., PARTS * SEMIS :]], 2)


def louder(x):
    n = len(x)
    gain = torch.exp(0.35 * torch.randn(n, 1, 1, device=x.device))
    colour = torch.exp(0.35 * torch.randn(n, 1, 7, device=x.device))
    colour = nn.functional.interpolate(colour, size=SEMIS, mode="linear", align_corners=True)
    levels = x[..., : PARTS * SEMIS] * 7
    levels = torch.log1p(torch.expm1(levels) * gain * colour.repeat(1, 1, PARTS)) / 7
    return torch.cat([levels, x[..., PARTS * SEMIS :] * torch.exp(0.2 * torch.randn(n, 1, GROUPS, device=x.device))], 2)


def loss_of(model, x, rows, notes, moved):
    onset, sound = model(x)
    y, which = targets(notes, x.shape[1], moved)
    known = (torch.arange(x.shape[1], device=x.device)[None] < rows[:, None]).float()
    per = nn.functional.binary_cross_entropy_with_logits(onset, y, reduction="none").sum(2)
    of = nn.functional.cross_entropy(sound.transpose(1, 2), which, reduction="none")
    return ((per * known).sum() + 0.3 * (of * known).sum()) / known.sum(), (per * known).sum() / known.sum(), (of * known).sum() / known.sum()


def reference(state):
    """In half precision, as the weights' file holds them."""
    model = Line()
    model.load_state_dict({k: v.cpu().half().float() for k, v in torch.load(state, map_location="cpu").items()})
    x = torch.full((1, 60, ALL), 0.05)
    # A1 from row 20 on, D2 from 40 on.
    for row in range(20, 60):
        for over in (0, 12, 19, 24, 28):
            at = (33 if row < 40 else 38) - LOW + over
            x[0, row, [at, SEMIS + at, 2 * SEMIS + at]] = 0.7 - 0.1 * over / 12
            x[0, row, 3 * SEMIS + at] = 0.6 if row % 20 < 2 else 0.1
    x[0, [20, 40], PARTS * SEMIS :] = 0.8
    with torch.no_grad():
        onset, sound = model(x)
    for row, pitch in ((10, 9), (19, 9), (20, 9), (21, 9), (40, 14), (41, 14), (50, 14), (50, 9)):
        print(f"({row}, {pitch}, {onset[0, row, pitch].sigmoid():.5f}, {sound[0, row].softmax(0)[pitch]:.5f}),")


def decoded(onset, sound, least):
    """Notes of one clip (row, note), as `bass.rs` finds them, but without its pruning: highest of five rows."""
    p = onset.sigmoid()
    any_ = p.max(1).values
    top = nn.functional.max_pool1d(any_[None, None], 5, 1, 2)[0, 0]
    at = ((any_ >= top) & (any_ > least)).nonzero()[:, 0]
    told = sound.softmax(1)
    out = []
    for k in at.tolist():
        near = p[max(0, k - 1) : k + 2].sum(0) / 3 + told[k + 1 : k + 6, :PITCHES].sum(0) / 5
        out.append((k, int(near.argmax())))
    return out


def score(model, clips):
    """F of notes within 50 ms over the kept clips, at the best of a few thresholds."""
    x, rows, notes = (v[:160] for v in clips)
    best = (0, 0)
    with torch.no_grad():
        outs = [model(x[i : i + 10].float()) for i in range(0, len(x), 10)]
    onset, sound = (torch.cat(o).float().cpu() for o in zip(*outs))
    notes, rows = notes.cpu().numpy(), rows.cpu().numpy()
    for least in (0.2, 0.3, 0.4, 0.5):
        hit = found = there = 0
        for o, s, r, line in zip(onset, sound, rows, notes):
            line = line[line[:, 2] > 0]
            mine = decoded(o[:r], s[:r], least)
            used = np.zeros(len(line), bool)
            for k, p in mine:
                near = [i for i in range(len(line)) if not used[i] and abs(k * HOP_S - line[i, 0]) < 0.05 and round(line[i, 2]) == p + FIRST]
                if near:
                    used[min(near, key=lambda i: abs(k * HOP_S - line[i, 0]))] = True
                    hit += 1
            found, there = found + len(mine), there + len(line)
        best = max(best, (2 * hit / max(found + there, 1), least, hit / max(found, 1), hit / max(there, 1)))
    return best


def main(folder, path, seconds, state=None):
    began = time.time()
    torch.manual_seed(11)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    device = "cuda" if torch.cuda.is_available() else "cpu"
    clips = Shards(folder, device, read, held=10, most=40)
    while not (clips.more() and clips.train and clips.kept and len(clips.train[0]) >= 100):
        time.sleep(1)
    model, slow_model = Line().to(device), Line().to(device)
    if state:
        model.load_state_dict(torch.load(state, map_location=device))
    slow_model.load_state_dict(model.state_dict())
    print(sum(p.numel() for p in model.parameters()), "weights,", device, flush=True)
    # Most of a step is moving the values of `over_time` through memory; compiled, they move once.
    quick = torch.compile(model) if device == "cuda" else model
    optimizer = torch.optim.AdamW(model.parameters(), lr=3e-3, weight_decay=1e-3)
    step, looked, said, losses = 0, time.time(), time.time(), []
    while (gone := (time.time() - began) / seconds) < 1:
        for group in optimizer.param_groups:
            group["lr"] = (2e-3 if state else 3e-3) * min(step / 300 + 0.01, 1.0) * (0.5 + 0.5 * np.cos(np.pi * gone))
        if time.time() - looked > 8:
            clips.more()
            looked = time.time()
        which = torch.randint(len(clips.train[0]), (BATCH,), device=device)
        x, rows, notes = (v[which] for v in clips.train)
        start = int(torch.randint(max(1, x.shape[1] - CROP), (1,)))
        x, rows, notes = x[:, start : start + CROP].float(), (rows - start).clamp(0, CROP), notes - torch.tensor([start * HOP_S, start * HOP_S, 0], device=device)
        moved = torch.randint(-5, 6, (BATCH,), device=device)
        loss, *parts = loss_of(quick, louder(moved_by(x, moved)), rows, notes, moved)
        optimizer.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimizer.step()
        step += 1
        with torch.no_grad():
            for slowly, now in zip(slow_model.parameters(), model.parameters()):
                slowly.lerp_(now, 1 - min(0.999, step / (step + 50)))
        if step % 20 == 0:
            losses.append([p.item() for p in parts])
        if time.time() - said > 60 and losses:
            said = time.time()
            print(f"{time.time() - began:.0f} s, step {step}, {len(clips.train[0])} clips: {np.mean(losses, 0).round(4)}; kept F, threshold, precision, recall {np.round(score(slow_model, clips.kept), 3)}", flush=True)
            losses = []
            write(slow_model, path)
            torch.save(slow_model.state_dict(), str(path) + ".pt")
    write(slow_model, path)
    torch.save(slow_model.state_dict(), str(path) + ".pt")
    print(f"{step} steps; kept F, threshold, precision, recall {np.round(score(slow_model, clips.kept), 3)}", flush=True)


if __name__ == "__main__" and sys.argv[1] == "reference":
    reference(sys.argv[2])
elif __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], float(sys.argv[3]), *sys.argv[4:5])
