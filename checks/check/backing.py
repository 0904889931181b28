"""A bass and drums made by the project, on an excerpt's beats and instructed chords: a lesson is written, and sounded by the example program `sounded`."""

import pathlib

import numpy as np
import soundfile

from material import example

GRIDS = ["3:5 . . 3:5  . . 3:7 .", "4:5 - 4:5 .  3:5 - - 3:3", "4:5 . 3:5 .  4:5 . 3:7 3:5"]


def place(midi):
    """A string and fret of a bass."""
    for string, low in ((4, 28), (3, 33), (2, 38), (1, 43)):
        if 0 <= midi - low <= 4 or string == 1:
            return string, midi - low


def backing(beat, chords, length, rng, work, rate):
    """Stereo sound from the excerpt's first beat on, and the parts as rows (onset, length, MIDI, string, fret)."""
    bars = int(np.ceil(length / beat / 4))
    lines, notes, hits = [], [], []
    for bar in range(bars):
        tokens = []
        for slot in range(8):
            t = (bar * 8 + slot) * beat / 2
            root = next((r for a, b, r in chords if a <= t < b - 1e-6), 0)
            low = 28 + (root - 4) % 12
            kind = rng.choice(["root", "root", "fifth", "rest", "rest"]) if slot else "root"
            if kind == "rest":
                tokens.append(".")
                continue
            midi = low + (7 if kind == "fifth" else 0)
            string, fret = place(midi)
            tokens.append(f"{string}:{fret}")
            notes.append([t, beat / 2, midi, string, fret])
        lines.append(" ".join(tokens))
    drums = 'bar { kick "x . . x  . x . ."; snare ". . x .  . . x ."; hats "x x x x  x x x x" }'
    for bar in range(bars):
        for slot in range(8):
            hits.append([(bar * 8 + slot) * beat / 2, 0.1, 0, 0, 0])
    bass = "\n".join(f'      bar "{line}"' for line in lines)
    text = f'''lesson "Backing" {{
  passage "one" {{
    tempo {60 / beat:.6f}
    slots 8
    part "bass" instrument="bass" seat="centre" {{
{bass}
    }}
    part "drums" instrument="drums" {{
      repeat times={bars} {{ {drums} }}
    }}
  }}
}}
''' if bars > 1 else ""
    folder = pathlib.Path(work)
    (folder / "backing.kdl").write_text(text)
    example("sounded", folder / "backing.kdl", "one", folder / "backing.wav")
    y, have = soundfile.read(folder / "backing.wav", always_2d=True)
    if have != rate:
        n = int(len(y) * rate / have)
        y = np.stack([np.interp(np.arange(n) * have / rate, np.arange(len(y)), y[:, c]) for c in range(2)], 1)
    return y, [{"name": "bass", "instrument": "bass", "seat": 0.0, "notes": notes}, {"name": "drums", "instrument": "drums", "seat": 0.0, "notes": hits}]
