"""The bank of single notes that clips are made of, and the playing that says where they stand.

    bank.py DATA SOUNDFONT OUT     DATA: the folder of open data; SOUNDFONT: a General MIDI .sf2; OUT: a folder

Writes OUT/notes.npz (each note as an Ogg stream, with its pitch, string and set), OUT/playing.npz (annotated notes of players 00 and 01, those alone) and
OUT/sources.txt (the SHA-256 and path of every file that was read, then of the two that were written). `checks/take/training.py` holds that list against the
folder. Needs numpy, soundfile and the program fluidsynth.
"""
import hashlib
import io
import json
import pathlib
import re
import subprocess
import sys
import tempfile

import numpy as np
import soundfile

RATE = 22050
OPEN = [40, 45, 50, 55, 59, 64]
PLAYERS = ("00", "01")
# Never rendered, so that its playing is new to the network: the development excerpt's piece.
HELD_OUT_PIECE = "BN1-129-Eb"
STRINGS = {"E2": 0, "A": 1, "D": 2, "G": 3, "B": 4, "E4": 5}
CLASSES = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}
# General MIDI programs, counted from 0: nylon, steel, jazz, clean, muted. Each with its loudness steps.
PROGRAMS = {24: (70, 110), 25: (50, 85, 120), 26: (70, 110), 27: (70, 110), 28: (100,)}
SECONDS = 3.2


def midi_of(name):
    """The MIDI number of a note written like Bb3 or gb4."""
    m = re.fullmatch(r"([a-g])(b?)(\d)", name.lower())
    return CLASSES[m[1]] - len(m[2]) + 12 * (int(m[3]) + 1)


def onset_of(y):
    """The sample at which the note begins: where a short mean of the level first passes a twentieth of its peak, less 2 ms."""
    w = 32
    level = np.sqrt(np.convolve(y * y, np.ones(w) / w, "same"))
    first = int(np.argmax(level > 0.05 * level[: RATE].max()))
    return max(0, first - 44)


def trimmed(y):
    """Begun at the onset, ended where it has died away, normalised to its peak."""
    y = y[onset_of(y):][: int(SECONDS * RATE)].astype(np.float64)
    level = np.sqrt(np.convolve(y * y, np.ones(512) / 512, "same"))
    alive = np.nonzero(level > 1e-3 * level.max())[0]
    y = y[: min(len(y), alive[-1] + 1024)]
    fade = min(len(y), 1024)
    y[-fade:] *= np.linspace(1, 0, fade)
    return y / max(np.abs(y).max(), 1e-9) * 0.9


def tuning_of(y, midi):
    """How far, in semitones, the note's first partials lie from its name; 0 where that cannot be told."""
    part = y[1500:1500 + 32768]
    if len(part) < 8192:
        return 0.0
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), 1 << 18))
    hz = 440 * 2 ** ((midi - 69) / 12)
    found = []
    for k in (1, 2, 3):
        lo, hi = (int(k * hz * 2 ** (d / 12) * (1 << 18) / RATE) for d in (-0.6, 0.6))
        if hi < len(spectrum):
            peak = lo + int(np.argmax(spectrum[lo:hi]))
            found.append((spectrum[peak], 12 * np.log2(peak * RATE / (1 << 18) / (k * hz))))
    top = max(f[0] for f in found)
    return float(np.median([f[1] for f in found if f[0] > 0.1 * top]))


class Bank:
    """Notes gathered so far, and the digest of each file that was read."""

    def __init__(self):
        self.streams, self.rows, self.sources = [], [], []

    def read(self, path, root):
        data = path.read_bytes()
        self.sources.append((hashlib.sha256(data).hexdigest(), str(path.relative_to(root))))
        return data

    def add(self, y, midi, string, name, held):
        """`string` 0-5 from the low one, -1 where the set does not say; `midi` 0 for noises; `held`: kept out of training."""
        y = trimmed(y)
        bent = tuning_of(y, midi) if midi else 0.0
        out = io.BytesIO()
        soundfile.write(out, y.astype(np.float32), RATE, format="OGG", subtype="VORBIS", compression_level=0.55)
        self.streams.append(out.getvalue())
        self.rows.append((midi + bent, string, name, held))


def open_samples(bank, data):
    root = data / "samples"
    for path in sorted((root / "electric-by-string").iterdir()):
        s, note, _, take = path.stem.split("_")
        y, _ = soundfile.read(io.BytesIO(bank.read(path, data)))
        # Second takes exist of few notes only; those are what development renders use.
        bank.add(y, midi_of(note), STRINGS[s], "by-string", False)
    for folder in ("electric-flatwound", "archtop"):
        for path in sorted((root / folder).iterdir()):
            note, loud, rest = path.stem.split("_", 2)
            y, _ = soundfile.read(io.BytesIO(bank.read(path, data)))
            held = rest == ("rr3" if folder == "electric-flatwound" else "rr2_1")
            bank.add(y, midi_of(note), -1, folder, held)
    for path in sorted((root / "noises").iterdir()):
        y, _ = soundfile.read(io.BytesIO(bank.read(path, data)))
        kind = "noise-muted" if path.stem.startswith("muted") else "noise-finger"
        bank.add(y, 0, -1, kind, path.stem.endswith("rr5"))


def soundfont(bank, path):
    """Single notes of the guitars in a General MIDI soundfont, played by fluidsynth without room or chorus."""
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    bank.sources.append((digest, path.name))
    for program, louds in PROGRAMS.items():
        notes = [(m, v) for v in louds for m in range(40, 89, 2)]
        body = b"\0" + bytes([0xC0, program])
        wait = b"\0"
        for midi, loud in notes:
            # 3,520 ticks on (3.67 s at 120 a minute), 320 off: four seconds a note.
            body += wait + bytes([0x90, midi, loud]) + b"\x9b\x40" + bytes([0x80, midi, 0])
            wait = b"\x82\x40"
        body += b"\x87\x00\xff\x2f\x00"
        chunk = b"MThd\0\0\0\6\0\0\0\1\1\xe0" + b"MTrk" + len(body).to_bytes(4, "big") + body
        with tempfile.TemporaryDirectory() as folder:
            mid, wav = pathlib.Path(folder) / "n.mid", pathlib.Path(folder) / "n.wav"
            mid.write_bytes(chunk)
            subprocess.run(["fluidsynth", "-ni", "-q", "-R", "0", "-C", "0", "-g", "0.8", "-r", str(RATE), "-F", wav, path, mid], check=True,
                           capture_output=True)
            y, _ = soundfile.read(wav)
        y = y.mean(1) if y.ndim > 1 else y
        for i, (midi, _) in enumerate(notes):
            part = y[i * 4 * RATE: (i + 1) * 4 * RATE]
            # Some programs have no notes that high.
            if len(part) and np.abs(part).max() > 1e-3:
                bank.add(part, midi, -1, f"font-{program}", False)


def playing(bank, data):
    """Every annotated note of the players that may be learned from: file, onset, length, string, pitch. Held-out pieces are marked."""
    names, rows = [], []
    for path in sorted((data / "guitarset" / "annotation").iterdir()):
        if not path.name.startswith(tuple(p + "_" for p in PLAYERS)):
            continue
        doc = json.loads(bank.read(path, data))
        names.append(path.stem)
        for part in doc["annotations"]:
            if part["namespace"] != "note_midi":
                continue
            string = int(part["annotation_metadata"]["data_source"])
            for n in part["data"]:
                rows.append((len(names) - 1, n["time"], n["duration"], string, n["value"]))
    rows.sort(key=lambda r: (r[0], r[1]))
    return names, np.array(rows, np.float32)


def main(data, font, out):
    data, out = pathlib.Path(data), pathlib.Path(out)
    out.mkdir(parents=True, exist_ok=True)
    bank = Bank()
    open_samples(bank, data)
    soundfont(bank, pathlib.Path(font))
    names, rows = playing(bank, data)
    ends = np.cumsum([len(s) for s in bank.streams])
    np.savez(out / "notes.npz", streams=np.frombuffer(b"".join(bank.streams), np.uint8), ends=ends, midi=np.array([r[0] for r in bank.rows], np.float32),
             string=np.array([r[1] for r in bank.rows], np.int8), name=np.array([r[2] for r in bank.rows]), held=np.array([r[3] for r in bank.rows]))
    np.savez(out / "playing.npz", names=np.array(names), notes=rows, held=np.array([HELD_OUT_PIECE in n for n in names]))
    lines = sorted(bank.sources, key=lambda s: s[1]) + [(hashlib.sha256((out / n).read_bytes()).hexdigest(), f"bank/{n}") for n in ("notes.npz", "playing.npz")]
    (out / "sources.txt").write_text("".join(f"{d}  {p}\n" for d, p in lines))
    print(len(bank.rows), "notes,", int(ends[-1]), "bytes;", len(names), "files of playing,", len(rows), "notes")


if __name__ == "__main__":
    main(*sys.argv[1:])
