"""Clips as sound, on the GPU or CPU: events are gathered from the bank and added up, then each clip goes through a random body, amplifier, room and channel."""
import math

import torch
import torch.nn.functional as F

import clips as c

ROOM = 20000
SIZE = 1 << 17
assert c.SAMPLES + ROOM < SIZE


def mix(bank, begin, length, level, events, count, chunk=8_000_000):
    """Sum of all events: [count, SAMPLES]. `bank` int16; `begin`, `length` of each note in it; `level`: its RMS at the beginning."""
    dev = bank.device
    e = events
    note = e[:, c.NOTE].long()
    start = torch.floor(e[:, c.START]).long()
    ratio = e[:, c.RATIO]
    lo = torch.clamp(-start, min=0)
    span = torch.minimum((e[:, c.KILL] - e[:, c.START] + 200).long(), ((length[note] - 4 - e[:, c.SKIP]) / ratio).long())
    hi = torch.minimum(span, c.SAMPLES - start)
    n = torch.clamp(hi - lo, min=0)
    gain = (e[:, c.GAIN] / level[note]).float()
    clip = e[:, c.CLIP].long()
    out = torch.zeros(count * c.SAMPLES, device=dev)
    ends = torch.cumsum(n, 0)
    cuts, at = [0], 0
    ends_cpu = ends.cpu()
    while cuts[-1] < len(n):
        target = (int(ends_cpu[cuts[-1] - 1]) if cuts[-1] else 0) + chunk
        cuts.append(max(cuts[-1] + 1, int(torch.searchsorted(ends_cpu, target, right=True))))
    ef = e.float()
    off, kill = ef[:, c.OFF] - ef[:, c.START], ef[:, c.KILL] - ef[:, c.START]
    for a, b in zip(cuts, cuts[1:]):
        part = torch.arange(a, min(b, len(n)), device=dev)
        if not len(part):
            continue
        which = torch.repeat_interleave(part, n[part])
        first = ends[part] - n[part]
        t = torch.arange(len(which), device=dev) - (first - first[0])[which - a] + lo[which]
        tf = t.float()
        p = ef[which]
        pos = p[:, c.SKIP] + p[:, c.RATIO] * (tf - p[:, c.SLIDE] * torch.minimum(tf, p[:, c.SLIDET])) + p[:, c.VIB] * torch.sin(p[:, c.VIBW] * tf)
        i = torch.clamp(pos, min=0).long()
        frac = torch.clamp(pos, min=0) - i
        i = torch.minimum(i, length[note[which]] - 2) + begin[note[which]]
        y = bank[i].float() * (1 - frac) + bank[i + 1].float() * frac
        env = torch.clamp((tf + 1) / p[:, c.ATTACK].clamp(min=1), max=1)
        env = env * torch.exp(-torch.clamp(tf - off[which], min=0) / p[:, c.TAU] - tf * p[:, c.DAMP])
        env = env * torch.clamp((kill[which] - tf) / 180 + 1, 0, 1)
        out.index_add_(0, clip[which] * c.SAMPLES + start[which] + t, y * env * (gain[which] / 32768))
    return out.view(count, c.SAMPLES)


class Dice:
    """Random numbers of one stream on the device."""

    def __init__(self, device, seed):
        self.dev = device
        self.g = torch.Generator(device=device)
        self.g.manual_seed(seed)

    def u(self, *shape, lo=0.0, hi=1.0):
        return torch.rand(*shape, generator=self.g, device=self.dev) * (hi - lo) + lo

    def n(self, *shape):
        return torch.randn(*shape, generator=self.g, device=self.dev)

    def chance(self, b, p):
        return (self.u(b, 1) < p).float()


def loud(y):
    """Scales each clip so that the 90th percentile of its frames' RMS is 0.1; a silent clip stays."""
    rms = F.avg_pool1d((y * y).unsqueeze(1), 2048, 256).squeeze(1).sqrt()
    return y * (0.1 / torch.quantile(rms, 0.9, dim=1, keepdim=True).clamp(min=1e-6))


def curve(d, b, points, amount, bins, hz):
    """A smooth random curve in dB over frequency on a log axis: [b, bins]."""
    k = d.n(b, 1, points) * amount.view(b, 1, 1)
    x = torch.log2(hz.clamp(min=30) / 30) / math.log2(11025 / 30) * 2 - 1
    grid = torch.stack([x, torch.zeros_like(x)], 1).view(1, 1, bins, 2).expand(b, 1, bins, 2)
    return F.grid_sample(k.view(b, 1, 1, points), grid, mode="bicubic", padding_mode="border", align_corners=True).view(b, bins)


def impulse(d, b):
    """The way from string to ear: direct sound, a wooden body's modes, a room. [b, ROOM]"""
    dev = d.dev
    t = torch.arange(ROOM, device=dev) / c.RATE
    h = torch.zeros(b, ROOM, device=dev)
    # Body: resonances from 85 Hz up, the lower ones the longer.
    m = 40
    hz = 85 * 2 ** (d.u(b, m, 1) * 4.6)
    tau = (0.045 * (hz / 100) ** -0.7 * (0.6 + d.u(b, m, 1)))
    tb = t[:5000].view(1, 1, -1)
    body = (d.n(b, m, 1) * (hz / 200) ** -0.35 * torch.exp(-tb / tau) * torch.sin(2 * math.pi * hz * tb + 6.28 * d.u(b, m, 1))).sum(1)
    body = body / body.pow(2).sum(1, keepdim=True).sqrt().clamp(min=1e-9)
    h[:, :5000] += body * d.chance(b, 0.55) * 10 ** (d.u(b, 1, lo=-14, hi=3) / 20)
    # Room: noise that dies away, darker the later, and a few first reflections.
    rt = torch.exp(d.u(b, 1, lo=math.log(0.08), hi=math.log(0.9)))
    noise = d.n(b, ROOM)
    dark = F.avg_pool1d(noise.unsqueeze(1), 5, 1, 2).squeeze(1) * 2
    mixd = torch.clamp(t.view(1, -1) / 0.15, max=1)
    room = (noise * (1 - mixd) + dark * mixd) * torch.exp(-6.9 * t.view(1, -1) / rt)
    room[:, :60] = 0
    room = room / room.pow(2).sum(1, keepdim=True).sqrt().clamp(min=1e-9)
    h += room * d.chance(b, 0.7) * 10 ** (d.u(b, 1, lo=-26, hi=-5) / 20)
    early = (20 + d.u(b, 5) * 600).long()
    h.scatter_add_(1, early, d.n(b, 5) * 0.15 * d.chance(b, 0.5))
    h[:, 0] += 1
    return h


def effects(y, d):
    """Random channel for each clip of [b, SAMPLES]."""
    b, n = y.shape
    y = loud(y)
    # Drive before the box: soft clipping, sometimes lopsided.
    g = 10 ** (d.u(b, 1, lo=0, hi=26) / 20)
    skew = d.u(b, 1, lo=0, hi=0.3)
    bent = (torch.tanh(g * y + skew) - torch.tanh(skew)) / g
    y = torch.lerp(y, bent, d.chance(b, 0.3))
    # A band that moves, as a pedal under the foot makes.
    some = max(1, b // 12)
    s = torch.stft(y[:some], 1024, 256, window=torch.hann_window(1024, device=y.device), return_complex=True)
    hz = torch.arange(513, device=y.device).view(1, -1, 1) * c.RATE / 1024
    tt = torch.arange(s.shape[2], device=y.device).view(1, 1, -1) * 256 / c.RATE
    centre = 900 * 2 ** (1.1 * torch.sin(2 * math.pi * d.u(some, 1, 1, lo=0.3, hi=4) * tt + 6.28 * d.u(some, 1, 1)))
    band = 0.12 + 1 / (1 + (3 * torch.log2(hz.clamp(min=20) / centre)) ** 2)
    y = torch.cat([torch.istft(s * band, 1024, 256, window=torch.hann_window(1024, device=y.device), length=n), y[some:]])
    # Colour, body and room in one convolution.
    bins = SIZE // 2 + 1
    hz = torch.linspace(0, c.RATE / 2, bins, device=y.device)
    db = curve(d, b, 7, d.u(b, lo=0, hi=7), bins, hz) + curve(d, b, 40, d.u(b, lo=0, hi=3.5), bins, hz)
    lowcut = torch.exp(d.u(b, 1, lo=math.log(30), hi=math.log(140)))
    highcut = torch.exp(d.u(b, 1, lo=math.log(2200), hi=math.log(16000)))
    db = db - 10 * torch.log10(1 + (lowcut / hz.clamp(min=1)) ** 4) - 10 * torch.log10(1 + (hz / highcut) ** 4)
    h = torch.fft.rfft(impulse(d, b), SIZE) * 10 ** (db.clamp(-60, 24) / 20)
    y = loud(torch.fft.irfft(torch.fft.rfft(y, SIZE) * h, SIZE)[:, :n])
    # Compression: the level over 20 ms, brought nearer to its mean.
    level = F.avg_pool1d((y * y).unsqueeze(1), 441, 64, 220).sqrt().clamp(min=0.003)
    level = F.interpolate(level, size=n, mode="linear").squeeze(1)
    y = y * (0.1 / level) ** (d.u(b, 1, lo=0, hi=0.65) * d.chance(b, 0.35))
    # Noise, hum, a click that bleeds in, another player far away.
    y = loud(y)
    white = d.n(b, n)
    brown = F.avg_pool1d(white.unsqueeze(1), 33, 1, 16).squeeze(1) * 5.7
    tint = d.u(b, 1)
    y = y + (white * tint + brown * (1 - tint)) * 10 ** (d.u(b, 1, lo=-78, hi=-34) / 20) * d.chance(b, 0.85) * 0.5
    t = torch.arange(n, device=y.device).view(1, -1) / c.RATE
    mains = torch.where(d.u(b, 1) < 0.5, 50.0, 60.0)
    hum = sum(torch.sin(2 * math.pi * mains * k * t) / k for k in (1, 2, 3, 5))
    y = y + hum * 10 ** (d.u(b, 1, lo=-70, hi=-36) / 20) * d.chance(b, 0.25)
    beat = d.u(b, 1, lo=0.3, hi=0.9)
    since = torch.remainder(t + d.u(b, 1), beat)
    click = torch.exp(-since * d.u(b, 1, lo=40, hi=200)) * torch.sin(2 * math.pi * d.u(b, 1, lo=700, hi=2500) * since)
    y = y + click * 10 ** (d.u(b, 1, lo=-50, hi=-24) / 20) * d.chance(b, 0.12)
    y = y + y.roll(1, 0) * 10 ** (d.u(b, 1, lo=-50, hi=-32) / 20) * d.chance(b, 0.1)
    return y
