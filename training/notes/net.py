"""The note network: spectra [b, 3, T, 249] to logits, frame by frame: `notes` [b, T, 49, 8] (onset, sustain, six strings' evidence) and `scratch` [b, T].

Convolutions over time and frequency, the partials of each pitch laid side by side, then the same weights for every pitch; two recurrent layers, one
over whole frames (which notes go together), one along each pitch (what a struck note has done so far).
"""
import torch
import torch.nn as nn
import torch.nn.functional as F

PITCHES = 49
# Semitones over a pitch at which its partials 1 to 8 lie, and an octave below.
PARTIALS = (-12, 0, 12, 19, 24, 28, 31, 34, 36)
# Dilation of each block in time and in pitch: an octave and a twelfth are where false notes come from.
BLOCKS = ((1, 1), (1, 12), (2, 1), (2, 19), (4, 1), (8, 12), (1, 1))


def conv(i, o, k, d=(1, 1), s=(1, 1)):
    return nn.Sequential(nn.Conv2d(i, o, k, stride=s, padding=[d[n] * (k[n] // 2) if s[n] == 1 else 0 for n in (0, 1)], dilation=d, bias=False), nn.BatchNorm2d(o))


def recur(layer, x):
    """In single precision on a GPU: the fast recurrent kernels know no bfloat16."""
    if x.is_cuda:
        with torch.autocast("cuda", enabled=False):
            return layer(x.float())[0]
    return layer(x)[0]


class Block(nn.Module):
    def __init__(self, ch, d):
        super().__init__()
        self.a, self.b = conv(ch, ch, (3, 3), d), conv(ch, ch, (1, 1))

    def forward(self, x):
        return F.relu(x + self.b(F.relu(self.a(x))))


class Net(nn.Module):
    def __init__(self, first=24, ch=64, narrow=24, frame=160, along=32):
        super().__init__()
        self.one, self.two = conv(3, first, (3, 3)), conv(first, first, (3, 3))
        self.semitone = conv(first, 32, (1, 3), s=(1, 3))
        self.partials = conv(32 * len(PARTIALS), ch, (1, 1))
        self.blocks = nn.ModuleList(Block(ch, d) for d in BLOCKS)
        self.narrow = conv(ch, narrow, (1, 1))
        self.squeeze = nn.Linear(narrow * PITCHES, 256)
        self.frame = nn.GRU(256, frame, batch_first=True, bidirectional=True)
        self.spread = nn.Linear(2 * frame, 16 * PITCHES)
        self.along = nn.GRU(ch + 16, along, batch_first=True, bidirectional=True)
        self.out = nn.Linear(2 * along + ch + 16, 8)
        self.scratch = nn.Linear(2 * frame, 1)
        self.drop = nn.Dropout(0.15)
        with torch.no_grad():
            # Onsets and scratches are rare from the start.
            self.out.bias[0], self.out.bias[1] = -5.0, -3.0
            self.scratch.bias.fill_(-5.0)

    def forward(self, x):
        b, _, t, _ = x.shape
        x = F.relu(self.two(F.relu(self.one(x))))
        x = F.relu(self.semitone(x))
        x = F.pad(x, (12, 2))
        # Semitone 12 of the padded axis is MIDI 40.
        x = torch.cat([x[:, :, :, 12 + k: 12 + k + PITCHES] for k in PARTIALS], 1)
        x = F.relu(self.partials(x))
        for block in self.blocks:
            x = block(x)
        g = F.relu(self.narrow(x)).permute(0, 2, 3, 1).reshape(b, t, -1)
        g = recur(self.frame, self.drop(F.relu(self.squeeze(g))))
        wide = F.relu(self.spread(self.drop(g))).reshape(b, t, PITCHES, 16)
        x = torch.cat([x.permute(0, 2, 3, 1), wide], 3)
        p = x.permute(0, 2, 1, 3).reshape(b * PITCHES, t, -1)
        p = recur(self.along, p)
        p = p.reshape(b, PITCHES, t, -1).permute(0, 2, 1, 3)
        return self.out(torch.cat([p, x], 3)), self.scratch(g).squeeze(2)
