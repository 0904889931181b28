"""Trains the network of beats on clips made by make.py and writes its weights as `hear` reads them.

A stack of dilated convolutions over time (S. Böck, M. Davies and P. Knees, "Multi-task learning of tempo and beat: learning one to improve the other",
ISMIR 2019, of which the idea of such a stack is taken), at 43 frames a second; each frame gives beat and downbeat for its two halves.
"""
import pathlib
import sys
import time

import numpy as np
import torch
from torch import nn

CHANNELS, WIDTH, TAPS = 23, 24, 5
DILATIONS = (1, 2, 4, 8, 16, 32, 64, 128, 256)
HALF_HZ = 22050 / 256
CROP = 896


class Block(nn.Module):
    def __init__(self, dilation):
        super().__init__()
        self.wide = nn.Conv1d(WIDTH, WIDTH, TAPS, dilation=dilation, padding=2 * dilation)
        self.mix = nn.Conv1d(WIDTH, WIDTH, 1)
        self.drop = nn.Dropout1d(0.1)

    def forward(self, h):
        return h + self.drop(self.mix(torch.relu(self.wide(h))))


class Pulse(nn.Module):
    def __init__(self):
        super().__init__()
        self.first = nn.Conv1d(CHANNELS, WIDTH, TAPS, padding=2)
        self.blocks = nn.ModuleList(Block(d) for d in DILATIONS)
        self.last = nn.Conv1d(WIDTH, 4, 1)

    def forward(self, x):
        h = torch.relu(self.first(x))
        for block in self.blocks:
            h = block(h)
        return self.last(torch.relu(h))


def targets(clip, frames):
    """[4, frames]: beat in the first and second half of a frame, downbeat in each."""
    y = np.zeros((2, 2 * frames + 4), np.float32)
    for beat, place in zip(clip["beats"], clip["places"]):
        at = int(round(beat * HALF_HZ - 0.25)) + 2
        for step, worth in ((-1, 0.5), (0, 1.0), (1, 0.5)):
            if 0 <= at + step < y.shape[1]:
                y[0, at + step] = max(y[0, at + step], worth)
                if place == 0:
                    y[1, at + step] = max(y[1, at + step], worth)
    y = y[:, 2:-2].reshape(2, frames, 2)
    return np.concatenate([y[0].T, y[1].T])


def load(folder):
    train, kept = [], []
    for n, file in enumerate(sorted(pathlib.Path(folder).glob("*.npy"))):
        clips = np.load(file, allow_pickle=True)
        (kept if int(file.stem) % 12 == 0 else train).extend(clips)
    def packed(clips):
        x = np.stack([c["x"] for c in clips]).transpose(0, 2, 1)
        y = np.stack([targets(c, x.shape[2]) for c in clips]).astype(np.float16)
        # What lies after a player's last beat is left out.
        known = np.stack([np.arange(x.shape[2]) * 512 / 22050 < c["end"] + 0.1 for c in clips])
        return torch.tensor(x), torch.tensor(y), torch.tensor(known)
    return packed(train), packed(kept)


def spread(x):
    """Rises are few and high: their roots are nearer to even."""
    x = x.float()
    return torch.cat([x[:, :16].clamp(min=0).sqrt(), x[:, 16:]], 1)


def loss_of(model, x, y, known):
    out = model(x)
    loss = nn.functional.binary_cross_entropy_with_logits(out, y.float(), reduction="none")
    return (loss * known[:, None, :]).sum() / known.sum()


def write(model, mean, deviation, file):
    """All numbers as little-endian f32: mean and deviation of each channel; then of each convolution the weights as [tap][in][out], and its biases."""
    parts = [mean, deviation]
    for conv in [model.first, *[c for b in model.blocks for c in (b.wide, b.mix)], model.last]:
        parts += [conv.weight.detach().permute(2, 1, 0), conv.bias.detach()]
    np.concatenate([p.numpy().astype("<f4").ravel() for p in parts]).tofile(file)


def main(folder, file, epochs=8, seed=1, start=None):
    """`start` names the state that an earlier run left beside its weights."""
    torch.manual_seed(seed)
    torch.set_num_threads(1)
    rng = np.random.default_rng(seed)
    train, kept = load(folder)
    sample = spread(train[0][::7])
    mean, deviation = sample.mean((0, 2)), sample.std((0, 2))
    standard = lambda x: (spread(x) - mean[None, :, None]) / deviation[None, :, None]
    train, kept = ((standard(x), y.float(), known) for x, y, known in (train, kept))
    model = Pulse()
    if start:
        model.load_state_dict(torch.load(start))
    print(len(train[0]), "clips,", len(kept[0]), "kept,", sum(p.numel() for p in model.parameters()), "weights", flush=True)
    batch, highest = 4, 2e-3 if start else 3e-3
    steps = len(train[0]) // batch
    optimizer = torch.optim.AdamW(model.parameters(), lr=highest, weight_decay=1e-3)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimizer, highest, total_steps=epochs * steps, pct_start=0.15)
    for epoch in range(epochs):
        model.train()
        began, total = time.time(), 0.0
        order = rng.permutation(len(train[0]))
        for step in range(steps):
            at = order[step * batch:(step + 1) * batch]
            start = rng.integers(0, train[0].shape[2] - CROP + 1)
            part = slice(start, start + CROP)
            x = train[0][at][:, :, part]
            # Bands louder and softer, as records differ.
            x = x * (1 + 0.15 * torch.randn(len(at), CHANNELS, 1))
            loss = loss_of(model, x, train[1][at][:, :, part], train[2][at][:, part])
            optimizer.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(model.parameters(), 1.0)
            optimizer.step()
            schedule.step()
            total += loss.item()
        model.eval()
        with torch.no_grad():
            held = np.mean([loss_of(model, kept[0][i:i + 16], kept[1][i:i + 16], kept[2][i:i + 16]).item() for i in range(0, len(kept[0]), 16)])
        print(f"epoch {epoch}: {total / steps:.4f}, kept {held:.4f}, {time.time() - began:.0f} s", flush=True)
        write(model, mean, deviation, file)
        torch.save(model.state_dict(), str(file) + ".pt")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], *(int(v) for v in sys.argv[3:5]), *sys.argv[5:])
