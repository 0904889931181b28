"""Trains one network until a given time and writes its averaged weights.

    train.py BANK OUT --seconds N [--device cuda] [--batch N] [--workers N] [--seed N] [--without INGREDIENT]…

BANK: the folder that `prepare` of run.py wrote. INGREDIENT: playing, random, open, pluck, font, rings, legato, detune, effects.
"""
import argparse
import contextlib
import copy
import math
import os
import pathlib
import time

import numpy as np
import torch
import torch.nn.functional as F

import clips
import features
import net
import render

T, P = clips.FRAMES, clips.PITCHES


def load(folder):
    """The prepared bank: samples (memory-mapped int16) and the columns of its notes."""
    folder = pathlib.Path(folder)
    table = dict(np.load(folder / "table.npz"))
    return np.load(folder / "bank.npy", mmap_mode="r"), table


def maker(table, folder, held, leave_out):
    """`held`: makes clips of the notes and the playing that training does not use."""
    play = np.load(pathlib.Path(folder) / "playing.npz")
    rows, use = play["notes"], play["held"] == held
    files = [rows[rows[:, 0] == i][:, 1:] for i in range(len(use)) if use[i]]
    files = [f for f in files if len(f) > 4]
    drawn = table["held"] == held
    # The noises and sets of which nothing is held out serve both.
    notes = clips.Notes(table["midi"], table["string"], table["name"], drawn)
    if held:
        notes.sets.setdefault("noise-finger", np.nonzero(table["name"] == "noise-finger")[0])
    return clips.Maker(notes, files, leave_out)


class Stream(torch.utils.data.IterableDataset):
    def __init__(self, make, batch, seed):
        self.make, self.batch, self.seed = make, batch, seed

    def __iter__(self):
        info = torch.utils.data.get_worker_info()
        rng = np.random.default_rng([self.seed, info.id if info else 0])
        while True:
            yield [torch.from_numpy(a) for a in self.make.batch(self.batch, rng)]


def targets(labels, scratches, b, dev):
    """Dense targets and weights of onset, sustain, string and scratch."""
    per = clips.RATE / clips.HOP
    labels = labels[(labels[:, 3] >= clips.LOW) & (labels[:, 3] < clips.LOW + P)]
    clip, on, off, string, heard = labels[:, 0].long(), labels[:, 1] * per, labels[:, 2] * per, labels[:, 4].long(), labels[:, 6] * per
    pitch, weight = labels[:, 3].long() - clips.LOW, labels[:, 5].float()
    onset = torch.zeros(b * T * P, device=dev)
    onset_w = torch.ones_like(onset)
    near = torch.round(on).long()
    for k in range(-3, 4):
        f = near + k
        ok = (f >= 0) & (f < T)
        at = ((clip * T + f) * P + pitch)[ok]
        value = torch.clamp(1 - (f - on).abs() / 1.6, min=0).float()[ok]
        onset.scatter_reduce_(0, at, value, "amax")
        onset_w.scatter_reduce_(0, at, weight[ok], "amin")

    def span(a, z):
        a, z = torch.clamp(torch.ceil(a).long(), 0, T), torch.clamp(torch.floor(z).long() + 1, 0, T)
        n = torch.clamp(z - a, min=0)
        which = torch.repeat_interleave(torch.arange(len(n), device=dev), n)
        f = torch.arange(len(which), device=dev) - (torch.cumsum(n, 0) - n)[which] + a[which]
        return which, f, (clip[which] * T + f) * P + pitch[which]
    sustain, sustain_w = torch.zeros_like(onset), torch.ones_like(onset)
    _, _, at = span(off, heard + 4)
    sustain_w[at] = 0
    which, f, at = span(on - 0.5, off)
    sustain[at] = 1
    sustain_w[at] = weight[which]
    which_string = torch.zeros(b * T * P, dtype=torch.long, device=dev)
    string_w = torch.zeros_like(onset)
    which_string[at] = string[which]
    string_w[at] = weight[which] * torch.where(f - on[which] < 26, 1.0, 0.25).float()
    scratch = torch.zeros(b * T, device=dev)
    if len(scratches):
        s = torch.round(scratches[:, 1] * per).long()
        for k, v in ((-1, 0.4), (0, 1.0), (1, 0.4)):
            ok = (s + k >= 0) & (s + k < T)
            scratch.scatter_reduce_(0, (scratches[:, 0].long() * T + s + k)[ok], torch.full((int(ok.sum()),), v, device=dev), "amax")
    return onset, onset_w, sustain, sustain_w, which_string, string_w, scratch


def loss_of(notes, scratch, t):
    onset, onset_w, sustain, sustain_w, string, string_w, x = t
    notes = notes.float().reshape(-1, 8)
    frames = x.numel()
    a = F.binary_cross_entropy_with_logits(notes[:, 0], onset, weight=onset_w * (1 + 2 * onset), reduction="sum") / frames
    b = F.binary_cross_entropy_with_logits(notes[:, 1], sustain, weight=sustain_w, reduction="sum") / frames
    c = (F.cross_entropy(notes[:, 2:], string, reduction="none") * string_w).sum() / frames
    d = F.binary_cross_entropy_with_logits(scratch.float().reshape(-1), x, weight=1 + 2 * x)
    return a + 0.3 * b + 0.25 * c + 0.5 * d, (a, b, c, d)


class Studio:
    """Turns a batch of events into spectra and targets on the device."""

    def __init__(self, folder, device, seed, plain=False):
        bank, t = load(folder)
        self.dev, self.plain = device, plain
        self.bank = torch.from_numpy(np.array(bank)).to(device)
        self.begin, self.length = (torch.from_numpy(t[k].astype(np.int64)).to(device) for k in ("begin", "length"))
        self.level = torch.from_numpy(t["level"]).to(device)
        self.dice = render.Dice(device, seed)
        self.features = features.Features(device)

    def audio(self, events, b):
        y = render.mix(self.bank, self.begin, self.length, self.level, events, b)
        return render.loud(y) + 1e-4 * self.dice.n(*y.shape) if self.plain else render.effects(y, self.dice)

    @torch.no_grad()
    def __call__(self, batch, b):
        events, labels, scratches = (x.to(self.dev, non_blocking=True) for x in batch)
        y = render.loud(torch.nan_to_num(self.audio(events, b)).clamp(-100, 100)) * 10 ** (self.dice.u(b, 1, lo=-6, hi=6) / 20)
        x = self.features(y)[:, :, :T]
        if not self.plain:
            # A few bands are hidden.
            for _ in range(2):
                at, wide = self.dice.u(b, 1) * features.BINS, self.dice.u(b, 1, lo=0, hi=14) * self.dice.chance(b, 0.4)
                i = torch.arange(features.BINS, device=self.dev).view(1, -1)
                x = x * (((i < at) | (i > at + wide)).float())[:, None, None]
        return x, targets(labels, scratches, b, self.dev)


def main():
    p = argparse.ArgumentParser()
    p.add_argument("bank")
    p.add_argument("out")
    p.add_argument("--seconds", type=float, required=True)
    p.add_argument("--device", default="cuda")
    p.add_argument("--batch", type=int, default=40)
    p.add_argument("--workers", type=int, default=8)
    p.add_argument("--seed", type=int, default=6)
    p.add_argument("--rate", type=float, default=2e-3)
    p.add_argument("--half", action="store_true", help="save weights in half precision")
    p.add_argument("--without", nargs="*", default=[])
    o = p.parse_args()
    begun = time.time()
    torch.manual_seed(o.seed)
    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    dev = torch.device(o.device)
    studio = Studio(o.bank, dev, o.seed, "effects" in o.without)
    make = maker(load(o.bank)[1], o.bank, False, o.without)
    stream = torch.utils.data.DataLoader(Stream(make, o.batch, o.seed), batch_size=None, num_workers=o.workers, prefetch_factor=4 if o.workers else None,
                                         pin_memory=dev.type == "cuda", worker_init_fn=lambda _: torch.set_num_threads(1))
    model = net.Net().to(dev)
    if dev.type == "cuda":
        model = model.to(memory_format=torch.channels_last)
    smooth = copy.deepcopy(model).eval()
    averaged, followed = ([w for w in m.state_dict().values() if w.is_floating_point()] for m in (smooth, model))
    print("weights", sum(w.numel() for w in model.parameters()), "set up in", round(time.time() - begun, 1), flush=True)

    def save():
        torch.save({k: v.half() if o.half and v.is_floating_point() else v for k, v in smooth.state_dict().items()}, o.out)
    optimiser = torch.optim.AdamW(model.parameters(), lr=o.rate, weight_decay=0.01, fused=dev.type == "cuda")
    cast = torch.autocast(dev.type, dtype=torch.bfloat16) if dev.type == "cuda" else contextlib.nullcontext()
    # The scale stays 1 (bfloat16 needs none): what it does is to leave out a step whose gradient is not finite.
    scaler = torch.amp.GradScaler(dev.type, init_scale=1.0, growth_interval=10 ** 9, enabled=dev.type == "cuda")
    step, sums, t0, saved = 0, torch.zeros(5, device=dev), time.time(), 0.6
    for batch in stream:
        done = (time.time() - begun) / o.seconds
        if done >= 1:
            break
        # Up over the first twentieth of the time, then down by a cosine to nothing.
        rate = o.rate * min(1, step / 200 + 0.02, done / 0.05 + 0.05) * (0.5 + 0.5 * math.cos(math.pi * done))
        for g in optimiser.param_groups:
            g["lr"] = rate
        x, t = studio(batch, o.batch)
        with cast:
            notes, scratch = model(x)
        loss, parts = loss_of(notes, scratch, t)
        optimiser.zero_grad(set_to_none=True)
        scaler.scale(loss).backward()
        scaler.unscale_(optimiser)
        torch.nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        scaler.step(optimiser)
        scaler.update()
        step += 1
        with torch.no_grad():
            keep = min(0.998, step / (step + 20))
            torch._foreach_lerp_(averaged, followed, 1 - keep)
            sums += torch.stack([loss.detach(), *(q.detach() for q in parts)])
        if step % 100 == 0 or step in (1, 10):
            n = 100 if step % 100 == 0 and step > 100 else 1
            print(f"step {step} {time.time() - begun:.0f}s rate {rate:.2e} loss", *(f"{float(v):.4f}" for v in sums / (n if n > 1 else step)), flush=True)
            if n > 1 or step == 100:
                sums.zero_()
        if done > saved:
            saved += 0.1
            save()
    save()
    print(f"done: {step} steps, {step * o.batch * clips.SECONDS / 3600:.1f} hours of clips, {(time.time() - t0) / max(step, 1) * 1000:.0f} ms a step", flush=True)
    # Workers hold full queues; nothing of theirs is needed.
    os._exit(0)


if __name__ == "__main__":
    main()
