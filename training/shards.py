"""Clips in shards, by whose numbers some are held out: written whole or not at all, and taken in while others are still being made."""

import pathlib

import numpy as np


def save(file, **arrays):
    """A shard is seen under its name once all of it is there."""
    part = file.with_suffix(".part")
    with open(part, "wb") as f:
        np.savez(f, **arrays)
    part.rename(file)


class Shards:
    """What lies in the folder so far, on the device. `read` makes a shard's arrays into a list of tensors; every `held`th shard is kept back; `most` are taken in at once;
    those for whose number `skip` holds are left alone."""

    def __init__(self, folder, device, read, held, most, skip=lambda number: False):
        self.folder, self.device, self.read, self.held, self.most, self.skip = pathlib.Path(folder), device, read, held, most, skip
        self.files, self.parts = set(), {True: [], False: []}

    def more(self):
        """Takes in what came; whether anything did."""
        import torch

        new = [f for f in sorted(self.folder.glob("*.npz")) if f not in self.files and not self.skip(int(f.stem))][: self.most]
        for file in new:
            self.files.add(file)
            with np.load(file) as z:
                self.parts[int(file.stem) % self.held == 0].append([p.to(self.device) for p in self.read(z)])
        if new:
            self.train, self.kept = ([torch.cat(p) for p in zip(*self.parts[k])] if self.parts[k] else None for k in (False, True))
            self.parts = {k: [v] if v else [] for k, v in ((False, self.train), (True, self.kept))}
        return bool(new)
