"""What the scorer sees of a stretch of time: rows of evidence pooled and folded, as `crates/hear/src/chord_scorer.rs` does it; the two must agree."""

import numpy as np

NOTES, LOWEST = 69, 28
HOP_S = 2048 / 22050
# The front of a window still holds what was before, for the spectra are 0.37 s long.
LEAD_S, TAIL_S = 0.06, 0.02
FLOOR = 0.02
STEADY = 0.8


def ramp(x, low, high):
    return np.clip((x - low) / (high - low), 0, 1)


MIDI = LOWEST + np.arange(NOTES)
# Weights by register: bass, middle and high of the notes; low and high of the spectrum's peaks.
BANDS = [
    (0, 1 - ramp(MIDI, 43, 55)),
    (0, ramp(MIDI, 43, 55) * (1 - ramp(MIDI, 60, 72))),
    (0, ramp(MIDI, 60, 72) * (1 - ramp(MIDI, 84, 97))),
    (1, 1 - ramp(MIDI, 46, 58)),
    (1, ramp(MIDI, 46, 58) * (1 - ramp(MIDI, 84, 97))),
]
FOLD = np.zeros((2 * NOTES, 60), np.float32)
for b, (part, weights) in enumerate(BANDS):
    for n in range(NOTES):
        FOLD[part * NOTES + n, 12 * b + MIDI[n] % 12] = weights[n]
# The whole window; the three registers of notes of each half; its length.
INPUTS = 60 + 72 + 2


class Pool:
    """Means over any stretch of time, rows taken as steps."""

    def __init__(self, rows):
        # A low note that never stops is a body's resonance more often than a drone.
        rows = np.maximum(rows - STEADY * np.sort(rows, axis=0)[int(0.3 * len(rows))] * np.tile(MIDI <= 57, 2), 0)
        self.sums = np.vstack([np.zeros(60, np.float32), np.cumsum(rows @ FOLD, axis=0)])

    def at(self, t):
        # Row k covers from (k + 1/4 - 1/2) hops to a hop later.
        x = np.clip(np.asarray(t) / HOP_S + 0.25, 0, len(self.sums) - 1)
        low = np.minimum(x.astype(int), len(self.sums) - 2)
        part = (x - low)[..., None]
        return self.sums[low] * (1 - part) + self.sums[low + 1] * part

    def mean(self, start, end):
        start, end = np.asarray(start) + LEAD_S, np.asarray(end) - TAIL_S
        end = np.maximum(end, start + 0.05)
        return (self.at(end) - self.at(start)) / ((end - start) / HOP_S)[..., None]


def inputs(pool, start, end):
    """For windows, by classes from C: bands × 12, and what does not turn with the root (a row each)."""
    start, end = np.asarray(start, float), np.asarray(end, float)
    middle = (start + end) / 2
    whole = pool.mean(start, end)
    norm = np.sqrt(np.sum(whole[..., :36] ** 2, -1, keepdims=True))
    parts = [whole, pool.mean(start, middle)[..., :36], pool.mean(middle, end)[..., :36]]
    turned = np.concatenate([p / (norm + FLOOR) for p in parts], -1).reshape(*start.shape, 11, 12)
    fixed = np.stack([np.log2(np.maximum(end - start, 0.1)) / 3, np.minimum(norm[..., 0], 2)], -1)
    return turned.astype(np.float32), fixed.astype(np.float32)


def turned_to_roots(turned, fixed):
    """All twelve roots' views: (..., 12, INPUTS)."""
    order = (np.arange(12)[:, None] + np.arange(12)) % 12
    views = turned[..., order]  # (..., 11, root, 12)
    views = np.moveaxis(views, -2, -3).reshape(*turned.shape[:-2], 12, 132)
    return np.concatenate([views, np.broadcast_to(fixed[..., None, :], (*fixed.shape[:-1], 12, 2))], -1)
