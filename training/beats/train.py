"""Trains the network of beats on clips made by make.py and writes its weights as `hear` reads them: python3 train.py FOLDER FILE SECONDS [WIDTH [SEED [STATE]]],
where STATE is what an earlier run left beside its weights, to go on from. With WITHOUT set to a player, none of that player's shards is taken in.

A stack of dilated convolutions over time (S. Böck, M. Davies and P. Knees, "Multi-task learning of tempo and beat: learning one to improve the other",
ISMIR 2019, of which the idea of such a stack is taken), at 43 frames a second; each frame gives beat and downbeat for its two halves, and the meter. Takes clips
as they come into FOLDER, and SECONDS as a whole; on a GPU where there is one.
"""
import os
import pathlib
import sys
import time

import numpy as np
import torch
from torch import nn

sys.path.append(str(pathlib.Path(__file__).resolve().parents[1]))
from kinds import KEPT_EVERY, kind_of  # noqa: E402
from shards import Shards  # noqa: E402

CHANNELS, TAPS, ANSWERS, METERS = 23, 5, 4, 3
DILATIONS = (1, 2, 4, 8, 16, 32, 64, 128, 256)
FRAME_HZ = 22050 / 512
HALF_HZ = 2 * FRAME_HZ
METER_WORTH = 0.1
SECONDS_KEPT = 24.0


class Block(nn.Module):
    def __init__(self, width, dilation):
        super().__init__()
        self.wide = nn.Conv1d(width, width, TAPS, dilation=dilation, padding=2 * dilation)
        self.mix = nn.Conv1d(width, width, 1)
        self.drop = nn.Dropout1d(0.1)

    def forward(self, h):
        return h + self.drop(self.mix(torch.relu(self.wide(h))))


class Pulse(nn.Module):
    def __init__(self, width):
        super().__init__()
        self.first = nn.Conv1d(CHANNELS, width, TAPS, padding=2)
        self.blocks = nn.ModuleList(Block(width, d) for d in DILATIONS)
        self.last = nn.Conv1d(width, ANSWERS + METERS, 1)

    def forward(self, x):
        h = torch.relu(self.first(x))
        for block in self.blocks:
            h = block(h)
        return self.last(torch.relu(h))


def read(z):
    return [torch.tensor(z["x"]).transpose(1, 2).contiguous(), *(torch.tensor(z[k]) for k in ("beats", "places", "meter", "end", "kind"))]


def targets(beats, places, frames):
    """[clip, 4, frames]: beat in the first and second half of a frame, downbeat in each."""
    y = torch.zeros(len(beats), 2, 2 * frames + 4, device=beats.device)
    at = torch.round(beats * HALF_HZ - 0.25).long() + 2
    there = (beats > -0.5) & (at >= 1) & (at < 2 * frames + 3)
    clip = torch.arange(len(beats), device=beats.device)[:, None].expand_as(at)
    for kind, which in ((0, there), (1, there & (places == 0))):
        for step, worth in ((-1, 0.5), (1, 0.5), (0, 1.0)):
            y[clip[which], kind, at[which] + step] = torch.clamp(y[clip[which], kind, at[which] + step], min=worth)
    y = y[:, :, 2:-2].reshape(len(beats), 2, frames, 2)
    return y.permute(0, 1, 3, 2).reshape(len(beats), ANSWERS, frames)


def spread(x):
    """Rises are few and high: their roots are nearer to even."""
    x = x.float()
    return torch.cat([x[:, :16].clamp(min=0).sqrt(), x[:, 16:]], 1)


def stretched(x, beats, end):
    """Half of the clips slower or faster by up to a seventh; what runs over the end is cut off, what is missing there is unknown."""
    n, _, frames = x.shape
    rate = torch.exp(0.14 * (2 * torch.rand(n, device=x.device) - 1))
    rate = torch.where(torch.rand(n, device=x.device) < 0.5, rate, torch.ones_like(rate))
    at = (torch.arange(frames, device=x.device)[None, :] + 0.5) * rate[:, None] - 0.5
    low = at.floor().clamp(0, frames - 1)
    part = (at - low).clamp(0, 1)[:, None, :]
    take = lambda i: torch.gather(x, 2, i.long().clamp(0, frames - 1)[:, None, :].expand_as(x))
    x = take(low) * (1 - part) + take(low + 1) * part
    end = torch.minimum(end, torch.full_like(end, SECONDS_KEPT)) / rate
    return x, torch.where(beats > -0.5, beats / rate[:, None], beats), end


# Rises below, in the middle, at the top; levels; changes of harmony.
KINDS = (slice(0, 4), slice(4, 12), slice(12, 16), slice(16, 20), slice(20, 23))


def differing(x):
    """As records differ: bands louder and softer, all of a kind at times not to be relied on."""
    n = len(x)
    offset = 0.25 * torch.randn(n, CHANNELS, 1, device=x.device)
    offset[:, 16:] *= 2
    x = x * (1 + 0.25 * torch.randn(n, CHANNELS, 1, device=x.device)) + offset
    for kind in KINDS:
        x[:, kind] *= (torch.rand(n, 1, 1, device=x.device) > 0.15).float()
    return x


def loss_of(model, x, beats, places, meter, end):
    frames = x.shape[2]
    y = targets(beats, places, frames)
    # What lies after a player's last beat is left out.
    known = ((torch.arange(frames, device=x.device) / FRAME_HZ)[None, :] < end[:, None] + 0.1).float()
    out = model(x)
    loss = nn.functional.binary_cross_entropy_with_logits(out[:, :ANSWERS], y, reduction="none").sum(1)
    told = known * (meter >= 0).float()[:, None]
    of = nn.functional.cross_entropy(out[:, ANSWERS:], meter.long().clamp(min=0)[:, None].expand(-1, frames), reduction="none")
    beat, bar = (loss * known).sum() / known.sum(), (of * told).sum() / told.sum()
    return beat + METER_WORTH * bar, beat, bar


def write(model, mean, deviation, file):
    """All numbers as little-endian f16: mean and deviation of each channel; then of each convolution the weights as [tap][in][out], and its biases."""
    parts = [mean, deviation]
    for conv in [model.first, *[c for b in model.blocks for c in (b.wide, b.mix)], model.last]:
        parts += [conv.weight.detach().permute(2, 1, 0), conv.bias.detach()]
    np.concatenate([p.cpu().numpy().astype("<f2").ravel() for p in parts]).tofile(file)


def main(folder, file, seconds, width=64, seed=1, state=None):
    began = time.time()
    torch.manual_seed(seed)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    clips = Shards(folder, device, read, held=KEPT_EVERY, most=300, skip=lambda n: kind_of(n) == os.environ.get("WITHOUT"))
    while not (clips.more() and clips.train and clips.kept and len(clips.train[0]) >= 200):
        time.sleep(1)
    sample = spread(clips.train[0][:1000])
    # As the weights' file holds them.
    mean, deviation = (v.half().float() for v in (sample.mean((0, 2)), sample.std((0, 2))))
    standard = lambda x: (x - mean[None, :, None]) / deviation[None, :, None]
    model = Pulse(width).to(device)
    if state:
        model.load_state_dict(torch.load(state, map_location=device))
        scale = torch.tensor(np.fromfile(state.removesuffix(".pt"), "<f2")[:2 * CHANNELS].astype("<f4"), device=device)
        mean, deviation = scale[:CHANNELS], scale[CHANNELS:]
    kept_model = Pulse(width).to(device)
    kept_model.load_state_dict(model.state_dict())
    print(sum(p.numel() for p in model.parameters()), "weights,", device, flush=True)
    batch, highest = 96, 2e-3 if state else 3e-3
    optimizer = torch.optim.AdamW(model.parameters(), lr=highest, weight_decay=1e-2)
    step, said, looked, total = 0, time.time(), time.time(), []
    while (gone := (time.time() - began) / seconds) < 1:
        for group in optimizer.param_groups:
            group["lr"] = highest * min(step / 300 + 0.01, 1.0) * (0.5 + 0.5 * np.cos(np.pi * gone))
        if time.time() - looked > 6:
            clips.more()
            looked = time.time()
        at = torch.randint(len(clips.train[0]), (batch,), device=device)
        x, beats, places, meter, end, _ = (v[at] for v in clips.train)
        x, beats, end = stretched(spread(x), beats, end)
        x = differing(standard(x))
        loss, *parts = loss_of(model, x, beats, places, meter, end)
        optimizer.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        optimizer.step()
        step += 1
        with torch.no_grad():
            slow = min(0.999, step / (step + 50))
            for slowly, now in zip(kept_model.parameters(), model.parameters()):
                slowly.lerp_(now, 1 - slow)
        if step % 20 == 0:
            total.append([p.item() for p in parts])
        if time.time() - said > 25 or gone > 0.995 and total and time.time() - said > 5:
            said = time.time()
            kept_model.eval()
            with torch.no_grad():
                held, kinds = [], clips.kept[5]
                for kind in (0, 1):
                    own = [v[kinds == kind] for v in clips.kept[:5]]
                    held += [np.mean([[p.item() for p in loss_of(kept_model, standard(spread(own[0][i:i + 64])), *(v[i:i + 64] for v in own[1:]))[1:]] for i in range(0, len(own[0]), 64)], axis=0).round(4)]
            print(f"{time.time() - began:.0f} s, step {step}, {len(clips.train[0])} clips: beat, meter {np.mean(total, axis=0).round(4)}; kept ({len(kinds)}) patterns {held[0]} players {held[1]}", flush=True)
            total = []
            write(kept_model, mean, deviation, file)
            torch.save(kept_model.state_dict(), str(file) + ".pt")
    write(kept_model, mean, deviation, file)
    torch.save(kept_model.state_dict(), str(file) + ".pt")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], float(sys.argv[3]), *map(int, sys.argv[4:6]), *sys.argv[6:7])
