"""How takes come back as notes and as text.

    python3 checks/take/measure.py FOLDER             # GuitarSet's folder: five excerpts of players 03 and 05, which nothing was set on
    python3 checks/take/measure.py FOLDER --develop   # the excerpt of player 00 alone: what may be looked at while setting constants
    python3 checks/take/measure.py --project SF2 [--lessons 50] [--seed 7] [--keep DIR]
    python3 checks/take/measure.py --project strings [--lessons 50] [--seed 7] [--keep DIR]
    python3 checks/take/measure.py FOLDER --solos     # annotations of players 00 and 01 played by strings by formula: where the notes of solos are put

Excerpts: note F at 50 ms by mir_eval (onset; with offsets, 20 % of the note or 50 ms), tablature F (string and fret right) by note and by 10 ms frame, processor time a
second of sound. Plain methods in the same table: non-negative least squares on a constant-Q spectrum with one threshold, set on the excerpt of player 00
(THRESHOLD here), and a general library's onsets without any pitch, against the strokes' onsets.

--project: random lessons on sixteenths (comping grips with scratches, lines, triplets) at 80 to 120 beats a minute, played from SF2 by fluidsynth: a soundfont that neither training
nor `sound` holds, such as that of Debian's timgm6mb-soundfont; scratches are made here of short noises through resonances. Every other lesson is played with a
player's timing (each stroke off by 8 ms RMS). `take` is told the tempo and where the first bar begins; and once more the tempo alone. Measured: strokes on their slot, scratches, notes
(slot and pitch), strings among those, and corrections a bar: notes and scratches to be taken out, put in, or moved to another string, those that follow one another also as one; which
bars are marked as guesses; and how many notes, all of them struck, are written as hammered, pulled off or slid.

A soundfont stretches one sample over the strings, so that nothing in its sound tells where on the neck a line lies. `--project strings` plays the same lessons on six stiff strings of
random gauges instead, partial by partial (H. Fletcher, E. D. Blackham, R. Stratton, JASA 34, 1962, eq. 3): no samples at all, but strings that differ as real ones do.

Needs nothing but Python, fluidsynth for --project, and the net for its first run, when it makes an environment of its own.
"""
import argparse
import json
import os
import pathlib
import random
import resource
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "checks"))
import environment  # noqa: E402

WORK = ROOT / "target" / "check-take"
PACKAGES = ["numpy", "scipy", "soundfile", "librosa", "mir_eval"]
OPEN = (40, 45, 50, 55, 59, 64)
# Of the loudest activation, by `--develop`.
THRESHOLD = 0.14


# TAKE_ENV names an environment that is there already.
environment.enter(__file__, WORK / "env", PACKAGES, "TAKE_ENV")
import mir_eval  # noqa: E402
import numpy as np  # noqa: E402
import scipy.optimize  # noqa: E402
import scipy.signal  # noqa: E402
import soundfile  # noqa: E402


def take(arguments):
    """What the program takes down, file by file, and the processor time of it all."""
    program = WORK.parent / "release" / "examples" / "take"
    if "EXAMPLES" in os.environ:
        program = pathlib.Path(os.environ["EXAMPLES"]) / "take"
    else:
        subprocess.run(["cargo", "build", "-q", "--release", "-p", "take", "--example", "take"], cwd=ROOT, check=True)
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    out = subprocess.run([program, *map(str, arguments)], check=True, capture_output=True, text=True).stdout.splitlines()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return [json.loads(line) for line in out], after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


# Excerpts.

def truth(path):
    """[(onset s, offset s, midi, string from low)]."""
    rows = []
    for part in json.loads(path.read_text())["annotations"]:
        if part["namespace"] == "note_midi":
            s = int(part["annotation_metadata"]["data_source"])
            rows += [(n["time"], n["time"] + max(n["duration"], 0.01), n["value"], s) for n in part["data"]]
    return sorted(rows)


def note_f(ref, est, offsets=False):
    if not est:
        return 0.0, 0.0, 0.0
    times = lambda rows: np.array([(r[0], max(r[1], r[0] + 0.01)) for r in rows])
    hz = lambda rows: mir_eval.util.midi_to_hz(np.array([float(r[2]) for r in rows]))
    return mir_eval.transcription.precision_recall_f1_overlap(times(ref), hz(ref), times(est), hz(est), offset_ratio=0.2 if offsets else None)[:3]


def tablature_f(ref, est):
    """Of notes whose string and fret are right with the onset within 50 ms, and of 10 ms frames of (string, fret)."""
    hits = 0
    for s in range(6):
        free = [(e[0], e[2]) for e in est if e[3] == s]
        for t, m in [(r[0], round(r[2])) for r in ref if r[3] == s]:
            match = next((x for x in free if abs(x[0] - t) <= 0.05 and x[1] == m), None)
            if match:
                free.remove(match)
                hits += 1
    end = int(max(r[1] for r in ref + est) * 100) + 2
    grids = [np.zeros((end, 6, 60), bool) for _ in range(2)]
    for rows, g in zip((ref, est), grids):
        for a, b, m, s in rows:
            g[int(a * 100):int(b * 100) + 1, s, round(m) - OPEN[s]] = True
    return 2 * hits / max(len(ref) + len(est), 1), 2 * (grids[0] & grids[1]).sum() / max(grids[0].sum() + grids[1].sum(), 1)


def activations(y):
    """Non-negative least squares of each frame over twelve partials of every pitch, each the louder the lower; a note where an activation rises over the threshold for
    three frames or more (see `plain_notes`)."""
    import librosa
    spectrum = np.abs(librosa.cqt(y, sr=22050, hop_length=512, fmin=librosa.midi_to_hz(39), n_bins=36 * 6, bins_per_octave=36))
    shapes = np.zeros((len(spectrum), 49))
    for p in range(49):
        for k in range(1, 13):
            at = 36 * np.log2(k) + 3 * (p + 1)
            if at < len(spectrum) - 1:
                for b, w in ((int(at), 1 - at % 1), (int(at) + 1, at % 1)):
                    shapes[b, p] += w * 0.8 ** (k - 1)
    return np.array([scipy.optimize.nnls(shapes, frame)[0] for frame in spectrum.T])


def plain_notes(active, threshold=THRESHOLD):
    on = active > threshold * active.max()
    found = []
    for p in range(49):
        edge = np.diff(np.concatenate([[0], on[:, p].astype(int), [0]]))
        for a, b in zip(np.nonzero(edge == 1)[0], np.nonzero(edge == -1)[0]):
            if b - a >= 3:
                found.append((a * 512 / 22050, b * 512 / 22050, 40 + p, 0))
    return sorted(found)


def onset_f(ref, times):
    """Of strokes' onsets, whatever their pitch: what begins within 50 ms of the first of a stroke is that stroke."""
    def strokes(times):
        out = []
        for t in sorted(times):
            if not out or t - out[-1] > 0.05:
                out.append(t)
        return np.array(out)
    return mir_eval.onset.f_measure(strokes(r[0] for r in ref), strokes(times), window=0.05)[0]


def excerpts(folder, develop):
    import librosa
    files = [f for f in sorted((folder / "audio").iterdir()) if f.name.startswith("00_") == develop]
    if not files:
        sys.exit(f"no excerpts in {folder / 'audio'}")
    lines, cpu = take(files)
    rows, length = [], 0.0
    print(f"{'':28} {'P':>5} {'R':>5} {'F':>5} {'offs':>5} {'tab':>5} {'frame':>5} | {'NNLS':>5} | onsets alone: {'take':>5} {'library':>5}")
    for file, line in zip(files, lines):
        stem = file.stem.rsplit("_", 1)[0]
        ref = truth(folder / "annotation" / f"{stem}.jams")
        est = [(n["onset"], n["offset"], n["midi"], 6 - n["string"]) for n in line["notes"]]
        y, rate = soundfile.read(file)
        length += len(y) / rate
        y = scipy.signal.resample_poly(y.mean(1) if y.ndim > 1 else y, 22050, rate) if rate != 22050 else y
        active = activations(y)
        if develop:
            for x in (0.02, 0.04, 0.06, 0.08, 0.10, 0.14, 0.18, 0.25):
                print(f"  NNLS threshold {x}: {note_f(ref, plain_notes(active, x))[2]:.3f}")
        found = librosa.onset.onset_detect(y=y, sr=22050, units="time")
        p, r, f = note_f(ref, est)
        rows.append((p, r, f, note_f(ref, est, True)[2], *tablature_f(ref, est), note_f(ref, plain_notes(active))[2], onset_f(ref, [e[0] for e in est]), onset_f(ref, found)))
        show(stem, rows[-1])
        for remark in line["remarks"]:
            print(f"    said: {remark}")
    show("mean", np.mean(rows, axis=0))
    print(f"{cpu / length:.3f} s of processor time a second of sound, all in all ({cpu:.1f} s for {length:.0f} s)")


def show(name, row):
    print(f"{name:28} {row[0]:5.3f} {row[1]:5.3f} {row[2]:5.3f} {row[3]:5.3f} {row[4]:5.3f} {row[5]:5.3f} | {row[6]:5.3f} | {'':14} {row[7]:5.3f} {row[8]:5.3f}", flush=True)


# Lessons made here.

# Movable forms: fret over the position of the index finger, low string to high, None where not struck.
FORMS = [
    (0, 2, 2, 1, 0, 0), (0, 2, 2, 0, 0, 0), (0, 2, 0, 1, 0, 0), (0, 2, 0, 0, 0, 0),
    (None, 0, 2, 2, 2, 0), (None, 0, 2, 2, 1, 0), (None, 0, 2, 0, 2, 0), (None, 0, 2, 0, 1, 0),
    (None, None, 2, 1, 0, 0), (None, None, 2, 0, 0, 0), (None, None, 0, 2, 1, None), (None, None, 0, 0, 0, None), (None, None, 2, 2, 2, None),
]
# Minor pentatonic and natural minor in one position: (string from low, frets over the position).
BOXES = [[(0, 3), (0, 2), (0, 2), (0, 2), (0, 3), (0, 3)], [(0, 2, 3), (0, 2, 3), (0, 2), (0, 2), (0, 1, 3), (0, 2, 3)]]


def lesson(rng):
    """(tempo, bars; each bar a list of strokes (beats from its start, [(string from low, fret)] or [] for a scratch, length in beats), kind)."""
    tempo = rng.randint(80, 120)
    bars, position, kind = [], rng.randint(2, 8), rng.choice(["comp", "comp", "line", "both"])
    forms = rng.sample(FORMS, 2)
    at = [position, position + rng.choice([-2, -1, 1, 2])]
    box = rng.choice(BOXES)
    string, step = rng.randint(2, 4), 0
    cells = [[k for k in range(16) if rng.random() < 0.55] or [0] for _ in range(2)]
    for b in range(4):
        bar = []
        if kind == "line" or (kind == "both" and b % 2):
            for beat in range(4):
                triplet = rng.random() < 0.15
                places = [i / 3 for i in range(3)] if triplet else [i / 4 for i in range(4) if rng.random() < (0.9 if i == 0 else 0.6)]
                for i, p in enumerate(places):
                    end = places[i + 1] if i + 1 < len(places) else 1.0
                    step += rng.choice([-1, 1, 1, 2, -2])
                    while not 0 <= step < len(box[string]):
                        if step < 0:
                            string, step = (string - 1, step + len(box[string - 1])) if string > 0 else (0, 0)
                        else:
                            string, step = (string + 1, step - len(box[string])) if string < 5 else (5, len(box[5]) - 1)
                    bar.append((beat + p, [(string, position + box[string][step])], (end - p) * rng.choice([0.5, 0.95, 0.95])))
        else:
            cell = cells[b % 2 if kind == "comp" else 0]
            which = rng.randint(0, 1)
            for i, k in enumerate(cell):
                end = cell[i + 1] if i + 1 < len(cell) else 16
                if i and rng.random() < 0.3:
                    bar.append((k / 4, [], 0.0))
                    continue
                grip = [(s, at[which] + f) for s, f in enumerate(forms[which]) if f is not None]
                if rng.random() < 0.35:
                    grip = grip[-3:]
                bar.append((k / 4, grip, (end - k) / 4 * 0.95 if rng.random() < 0.5 else 0.2))
        bars.append(bar)
    return tempo, bars, kind


def midi_file(events, program):
    """Standard MIDI file, a tick a tenth of a millisecond: `events` [(seconds, note on or off, pitch, velocity)]."""
    def number(v):
        out = [v & 127]
        while v > 127:
            v >>= 7
            out.insert(0, v & 127 | 128)
        return bytes(out)
    track = b"\0\xff\x51\x03" + (1_000_000).to_bytes(3, "big") + bytes([0, 0xC0, program])
    now = 0
    for t, on, pitch, velocity in sorted(events):
        tick = round(t * 10_000)
        track += number(tick - now) + bytes([0x90 if on else 0x80, pitch, velocity])
        now = tick
    track += number(5_000) + b"\xff\x2f\0"
    return b"MThd\0\0\0\6\0\0\0\1" + (10_000).to_bytes(2, "big") + b"MTrk" + len(track).to_bytes(4, "big") + track


def scratch(rng, rate):
    """Four to six dead strings one after the other: short noises, each through two broad resonances, over a thud."""
    out = np.zeros(int(0.12 * rate))
    gen = np.random.default_rng(rng.randrange(1 << 30))
    for i in range(rng.randint(4, 6)):
        n = np.arange(int(0.09 * rate))
        burst = gen.standard_normal(len(n)) * np.exp(-n / rate / rng.uniform(0.006, 0.018))
        y = 0.0
        for hz, width in ((rng.uniform(250, 700), 300), (rng.uniform(1500, 3200), 1200)):
            b, a = scipy.signal.iirpeak(hz, hz / width, fs=rate)
            y = y + scipy.signal.lfilter(b, a, burst)
        at = int(i * rng.uniform(0.002, 0.004) * rate)
        out[at:at + len(n)] += y[:len(out) - at]
    return 0.25 * out / np.abs(out).max()


# B of open strings, low to high (wound and plain third string), as steel strings of usual make have it: core and tension, scale 648 mm.
STIFF = [(1.1e-4, 5.5e-5, 4.7e-5, 2.7e-5, 6.3e-5, 2.0e-5), (1.2e-4, 6.0e-5, 4.7e-5, 1.1e-4, 4.2e-5, 1.45e-5)]


def guitar(rng):
    """Six strings of a gauge of their own: [(B, how fast it fades)], where it is picked, and how bright it is."""
    gauge, make = 2 ** rng.gauss(0, 0.25), rng.choice(STIFF)
    return [(b * gauge * 2 ** rng.gauss(0, 0.15), rng.uniform(0.5, 1.2)) for b in make], rng.uniform(0.08, 0.3), rng.uniform(0.8, 1.6)


def by_strings(events, strings, rng, rate):
    """Sound of [(start s, end s, string from low, midi, strength)] on such a guitar."""
    voices, pick, bright = strings
    gen = np.random.default_rng(rng.randrange(1 << 30))
    y = np.zeros(int((max(e[1] for e in events) + 0.5) * rate))
    for start, end, s, midi, strength in events:
        b, fade = voices[s]
        b *= 2 ** ((midi - OPEN[s]) / 6)
        t = np.arange(int((end - start + 0.06) * rate)) / rate
        hz = 440 * 2 ** ((midi - 69) / 12)
        k = np.arange(1, 41)
        f = k * hz * np.sqrt(1 + b * k * k)
        k, f = k[f < 10_000], f[f < 10_000]
        a = np.sin(np.pi * k * pick * gen.uniform(0.9, 1.1)) / k ** bright
        out = np.zeros(len(t))
        for k, f, a in zip(k, f, a):
            out += a * np.exp(-t * fade * (1 + 0.25 * k)) * np.sin(2 * np.pi * f * t + gen.uniform(0, 2 * np.pi))
        # The pick's noise, and the finger that ends the note.
        n = min(len(t), int(0.02 * rate))
        out[:n] += 0.1 * gen.standard_normal(n) * np.exp(-t[:n] / 0.003)
        out[:int(0.002 * rate)] *= np.linspace(0, 1, int(0.002 * rate))
        out *= np.exp(-np.maximum(t - (end - start), 0) / 0.012)
        at = int(start * rate)
        y[at:at + len(out)] += strength * out[:len(y) - at]
    return y


def finished(y, rng, rate):
    """A small room and a quiet hiss, at a level of its own."""
    gen = np.random.default_rng(rng.randrange(1 << 30))
    tail = gen.standard_normal(int(0.25 * rate)) * np.exp(-np.arange(int(0.25 * rate)) / rate / 0.05)
    y = y + 0.1 * scipy.signal.fftconvolve(y, tail / np.sqrt(np.sum(tail ** 2)))[:len(y)]
    return 0.5 * y / np.abs(y).max() + 3e-4 * gen.standard_normal(len(y))


def played(tempo, bars, rng, loose, sf2, where):
    """A sound file of the lesson, which begins at `lead` seconds; strokes spread over their strings, players' timing where `loose`."""
    beat, lead, rate = 60 / tempo, rng.uniform(0.4, 2.5), 44100
    events, dead, busy = [], [], {}
    program = rng.choice([25, 26, 27])
    for b, bar in enumerate(bars):
        for t, strings, length in bar:
            on = lead + (4 * b + t) * beat + (rng.gauss(0, 0.008) if loose else 0.0)
            if not strings:
                dead.append(on)
                for s in list(busy):
                    busy[s][0] = min(busy[s][0], on)
                continue
            down = round(t * 4) % 2 == 0
            for i, (s, f) in enumerate(strings if down else strings[::-1]):
                start = on + i * rng.uniform(0.002, 0.005)
                if s in busy:
                    busy[s][0] = min(busy[s][0], start - 0.003)
                note = [on + length * beat, start, OPEN[s] + f, rng.randint(70, 115), s]
                events.append(note)
                busy[s] = note
    if sf2 == "strings":
        # Numbers of its own, so that the lessons after this one stay those of the soundfont.
        own = random.Random(len(events) * 1_000 + program)
        y = by_strings([(start, max(end, start + 0.02), s, p, v / 115) for end, start, p, v, s in events], guitar(own), own, rate)
        y = np.pad(y, (0, max(0, int(((dead[-1] if dead else 0) + 0.5) * rate) - len(y))))
    else:
        messages = [m for end, start, p, v, _ in events for m in ((start, 1, p, v), (max(end, start + 0.02), 0, p, 0))]
        mid = where.with_suffix(".mid")
        mid.write_bytes(midi_file(messages, program))
        subprocess.run(["fluidsynth", "-ni", "-q", "-r", str(rate), "-R", "0", "-C", "0", "-g", "0.6", "-F", where, sf2, mid], check=True, capture_output=True)
        y, rate = soundfile.read(where)
        y = y.mean(1)
    level = np.sqrt(np.mean(y ** 2)) * 4
    for t in dead:
        noise = level * rng.uniform(0.5, 1.2) * scratch(rng, rate) / 0.25
        at = int(t * rate)
        y[at:at + len(noise)] += noise[:max(0, len(y) - at)]
    y = finished(y, rng, rate)
    soundfile.write(where, y, rate)
    return lead


def pairs(wanted, found):
    """How many of two lists are the same, each counted once."""
    left = list(found)
    n = 0
    for w in wanted:
        if w in left:
            left.remove(w)
            n += 1
    return n


def compare(bars, line, lead, tempo):
    """Counts: strokes, on their slot; scratches, found, right; notes, found, right; strings right; corrections; bars; corrections with lines moved as one; of bars with a wrong string those
    marked as guesses, and all; of others the same."""
    beat = 60 / tempo
    shift = round((line["first_bar"] - lead) / beat / 4 * 48) / 48 * 4 if line["first_bar"] is not None else 0
    wanted = [(round((4 * b + t) * 12), s, f) for b, bar in enumerate(bars) for t, strings, _ in bar for s, f in strings]
    wanted_dead = [round((4 * b + t) * 12) for b, bar in enumerate(bars) for t, strings, _ in bar if not strings]
    written = line["written"] or []
    at = lambda n: round((n["at"] + shift) * 12)
    found = [(at(n), 6 - n["string"], n["fret"]) for n in written if not n["dead"]]
    found_dead = sorted({at(n) for n in written if n["dead"]})
    strokes = [("x", t) for t in wanted_dead] + [("n", t) for t in sorted({w[0] for w in wanted})]
    strokes_found = [("x", t) for t in found_dead] + [("n", t) for t in sorted({f[0] for f in found})]
    pitches = lambda rows: [(t, OPEN[s] + f) for t, s, f in rows]
    right = pairs(pitches(wanted), pitches(found))
    strings = pairs(wanted, found)
    dead = pairs(wanted_dead, found_dead)
    # Where a line as a whole lies elsewhere it is moved as one: notes after one another on a wrong string.
    left, moved, wrong_bars, last = list(found), 0, set(), False
    for w in wanted:
        if w in left:
            left.remove(w)
            last = False
        elif any(f[0] == w[0] and OPEN[f[1]] + f[2] == OPEN[w[1]] + w[2] for f in left):
            moved += not last
            last = True
            wrong_bars.add(w[0] // 48)
    guesses = {b + round(shift / 4) for b in line["guesses"] or []}
    marked = [len(wrong_bars & guesses), len(wrong_bars), len(guesses - wrong_bars), len(bars) - len(wrong_bars)]
    corrections = (len(wanted) - right) + (len(found) - right) + (right - strings) + (len(wanted_dead) - dead) + (len(found_dead) - dead)
    # A stroke is on its slot where any stroke is written there, and none beside it that nobody played.
    slots = pairs(strokes_times(strokes), strokes_times(strokes_found))
    return np.array([len(strokes), len(strokes_found), slots, len(wanted_dead), len(found_dead), dead, len(wanted), len(found), right, strings, corrections, len(bars), corrections - (right - strings) + moved, *marked])


def strokes_times(strokes):
    return sorted(t for _, t in strokes)


def project(sf2, count, seed, keep):
    rng = random.Random(seed)
    with tempfile.TemporaryDirectory() as scratch_dir:
        folder = pathlib.Path(keep or scratch_dir)
        folder.mkdir(parents=True, exist_ok=True)
        made, told, alone = [], [], []
        for i in range(count):
            tempo, bars, sort = lesson(rng)
            file = folder / f"{i:02}.wav"
            lead = played(tempo, bars, rng, i % 2 == 1, sf2, file)
            made.append((tempo, bars, lead, sort))
            told += ["--tempo", tempo, "--from", lead, "--meter", "4/4", file]
            alone += ["--tempo", tempo, "--from", "-", "--meter", "4/4", file]
        if keep:
            (folder / "truth.json").write_text(json.dumps(made))
        for name, arguments in (("tempo and first bar told", told), ("tempo told", alone)):
            lines, cpu = take(arguments)
            each = [compare(bars, line, lead, tempo) for (tempo, bars, lead, _), line in zip(made, lines)]
            if name == "tempo told":
                phase = [abs((line["first_bar"] - lead) / (60 / tempo) * 4 % 1 + 0.5) % 1 - 0.5 if line["first_bar"] is not None else 0.5 for (tempo, _, lead, _), line in zip(made, lines)]
                print(f"{name}: a slot's phase within a quarter of a slot in {sum(abs(p) < 0.25 for p in phase)} of {count}")
            of = lambda sort: [e for e, m in zip(each, made) if m[3] == sort]
            begun = [n["attack"] for line in lines for n in line["written"] or [] if not n["dead"]]
            print(f"{name}: {sum(a != '' for a in begun)} of {len(begun)} notes written as hammered, pulled off or slid, none of which are")
            for kind, part in (("all", each), ("even", each[::2]), ("a player's timing", each[1::2]), ("comping", of("comp")), ("lines", of("line")), ("both", of("both"))):
                if not part:
                    continue
                c = np.sum(part, axis=0).astype(float)
                f = lambda a, b, n: 2 * n / max(a + b, 1)
                print(f"{name}, {kind}: strokes on their slot {c[2] / c[0]:.3f} (F {f(c[0], c[1], c[2]):.3f}), scratches F {f(c[3], c[4], c[5]):.3f} of {c[3]:.0f}, "
                      f"notes {c[8] / c[6]:.3f} of {c[6]:.0f} (F {f(c[6], c[7], c[8]):.3f}), strings {c[9] / max(c[8], 1):.3f} of those right, corrections a bar {c[10] / c[11]:.2f} ({c[12] / c[11]:.2f} with notes that follow one another on wrong strings as one); "
                      f"marked as guesses: bars with a wrong string {c[13]:.0f} of {c[14]:.0f}, others {c[15]:.0f} of {c[16]:.0f}", flush=True)


def solos(root, count, seed):
    """Solos of players 00 and 01, 15 s each, by strings: how many of the notes that are found lie on their string and fret. The piece of the development excerpt is in it, 03 and 05 are not."""
    rng = random.Random(seed)
    files = rng.sample(sorted(f for f in (root / "annotation").glob("0[01]_*_solo.jams")), count)
    found, right = 0, 0
    with tempfile.TemporaryDirectory() as folder:
        made, wavs = [], []
        for i, file in enumerate(files):
            rows = [(a - 5, b - 5, s, m, rng.uniform(0.5, 1)) for a, b, m, s in truth(file) if 5 <= a < 20]
            wav = pathlib.Path(folder) / f"{i}.wav"
            soundfile.write(wav, finished(by_strings(rows, guitar(rng), rng, 44100), rng, 44100), 44100)
            made.append(rows)
            wavs.append(wav)
        for file, rows, line in zip(files, made, take(wavs)[0]):
            hits = []
            for a, _, s, m, _ in rows:
                near = [n for n in line["notes"] if abs(n["onset"] - a) < 0.05 and n["midi"] == round(m)]
                hits += [6 - n["string"] == s for n in near[:1]]
            found, right = found + len(hits), right + sum(hits)
            print(f"{file.stem:28} {sum(hits)} of {len(hits)} found", flush=True)
    print(f"string and fret right {right / max(found, 1):.3f} of {found} notes found")


def main():
    p = argparse.ArgumentParser(description="How takes come back as notes and as text.")
    p.add_argument("folder", nargs="?", type=pathlib.Path)
    p.add_argument("--develop", action="store_true")
    p.add_argument("--solos", action="store_true")
    p.add_argument("--project", metavar="SF2")
    p.add_argument("--lessons", type=int, default=50)
    p.add_argument("--seed", type=int, default=7)
    p.add_argument("--keep", metavar="DIR")
    o = p.parse_args()
    if o.project:
        project(o.project, o.lessons, o.seed, o.keep)
    elif o.folder:
        root = o.folder / "guitarset" if (o.folder / "guitarset").exists() else o.folder
        if o.solos:
            solos(root, 16, o.seed)
        else:
            excerpts(root, o.develop)
    else:
        p.error("a folder, or --project")


main()
