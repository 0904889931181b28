"""Single notes of a SoundFont 2 file, as functions of a MIDI number, a length in seconds and a random generator; mono samples at RATE."""

import pathlib
import struct

import numpy as np

RATE = 22050


def shaped(sound, seconds, release=0.06):
    """Cut to a length, with a short fade."""
    n = min(len(sound), int((seconds + release) * RATE))
    out = np.array(sound[:n], dtype=np.float32)
    fade = min(n, int(release * RATE))
    if fade:
        out[n - fade :] *= np.linspace(1, 0, fade, dtype=np.float32)
    return out


class Soundfont:
    """Reads a SoundFont 2 file (the standard's sections 4 to 8): programs of bank 0, first layer of each key, no modulation."""

    def __init__(self, path):
        data = pathlib.Path(path).read_bytes()
        chunks = {}

        def walk(at, end):
            while at + 8 <= end:
                name, size = data[at : at + 4].decode("latin1"), struct.unpack_from("<I", data, at + 4)[0]
                if name in ("RIFF", "LIST"):
                    walk(at + 12, at + 8 + size)
                else:
                    chunks[name] = (at + 8, size)
                at += 8 + size + (size & 1)

        walk(0, len(data))
        start, size = chunks["smpl"]
        self.samples = np.frombuffer(data, "<i2", size // 2, start)
        rows = lambda name, form: list(struct.iter_unpack(form, data[chunks[name][0] : sum(chunks[name])]))
        self.headers = rows("shdr", "<20sIIIIIBbHH")
        self.generators = {kind: rows(f"{kind}gen", "<HH") for kind in "pi"}
        self.bags = {kind: rows(f"{kind}bag", "<HH") for kind in "pi"}
        self.presets, self.instruments = rows("phdr", "<20sHHHIII"), rows("inst", "<20sH")

    def zones(self, kind, first, last):
        common = {}
        for bag in range(first, last):
            own = dict(self.generators[kind][self.bags[kind][bag][0] : self.bags[kind][bag + 1][0]])
            if (41 if kind == "p" else 53) in own:
                yield {**common, **own}
            elif bag == first:
                common = own

    def program(self, number, bank=0, decay_s=1.5):
        found = {}
        at = next(i for i, p in enumerate(self.presets[:-1]) if p[1] == number and p[2] == bank)
        zones = []
        for top in self.zones("p", self.presets[at][3], self.presets[at + 1][3]):
            which = top[41]
            zones += [(z, top) for z in self.zones("i", self.instruments[which][1], self.instruments[which + 1][1])]

        def play(midi, seconds, rng):
            velocity = rng.integers(50, 120)
            within = lambda z, gen, v: gen not in z or (z[gen] & 255) <= v <= (z[gen] >> 8)
            key = round(midi)
            if key not in found:
                found[key] = [(z, top) for z, top in zones if within(z, 43, key) and within(top, 43, key)]
            fits = [z for z, top in found[key] if within(z, 44, velocity) and within(top, 44, velocity)]
            if not fits:
                return np.zeros(1, np.float32)
            zone = fits[0]
            _, begin, end, loop, loop_end, rate, own_key, fine, _, _ = self.headers[zone[53]]
            sound = self.samples[begin:end].astype(np.float32) / 32768
            root = zone.get(58, 65535)
            signed = lambda v: v - 65536 if v > 32767 else v
            root = own_key if root > 127 else root
            shift = midi - root + signed(zone.get(51, 0)) + (signed(zone.get(52, 0)) + fine) / 100
            step = rate / RATE * 2 ** (shift / 12)
            times = np.arange(0, (seconds + 0.06) * RATE) * step
            if zone.get(54, 0) in (1, 3) and loop_end > loop + 1:
                a, b = loop - begin, loop_end - begin
                times = np.where(times < b, times, a + (times - a) % (b - a))
            else:
                times = times[times < len(sound) - 1]
            out = np.interp(times, np.arange(len(sound)), sound).astype(np.float32)
            # A plucked sound's decay lies in the envelope: a plain one here.
            out *= np.exp(-np.arange(len(out)) / RATE / decay_s).astype(np.float32)
            return shaped(out / (np.abs(out).max() + 1e-9), seconds)

        return play
