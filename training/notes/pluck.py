"""Single notes of the project's own plucked string (crates/sound: `string.rs`, `pluck.rs`), string by string for guitars drawn at random.

The same equations at 22,050 Hz: a delay line closed through a symmetric loss filter and Lagrange's fractional delay; the pick's pulse combed by the places
of pick and pickup, smoothed by two low passes, with the pick's own noise. A note is the sum of two such strings, a little apart in pitch and decay, as a
string swings in two planes.
"""
import numpy as np

RATE = 22050
OPEN = [40, 45, 50, 55, 59, 64]
FRETS = 23
TREBLE_HZ = 3000.0


def lagrange(x):
    """Weights of six neighbours for a delay of `x` samples, 2 to 3."""
    return np.array([np.prod([(x - m) / (k - m) for m in range(6) if m != k]) for k in range(6)])


def closed(period, low_s, treble_s):
    """The loop's lag and ten weights: `low_s` and `treble_s` are the times to fall by 60 dB at the fundamental and at 3 kHz."""
    hz = RATE / period
    per_round = lambda t60: 10 ** (-3 / (max(t60, 1e-3) * hz))
    fall = lambda b, f: 1 - 2 * b * (1 - np.cos(2 * np.pi * f / RATE))
    ratio = np.sqrt(min(1.0, per_round(treble_s) / per_round(low_s)))
    b = float(np.clip(0.5 * (1 - ratio) / (1 - np.cos(2 * np.pi * TREBLE_HZ / RATE)), 0, 0.25))
    g = min(per_round(low_s) / fall(b, hz) ** 2, 0.99995)
    m = 1 - 2 * b
    loss = g * np.array([b * b, 2 * b * m, m * m + 2 * b * b, 2 * b * m, b * b])
    delay = period - 2
    whole = int(np.floor(delay))
    return whole - 2, np.convolve(loss, lagrange(2 + delay - whole))


def pluck(frames, period, voice, rng):
    """What the pick puts into the string, as the pickup hears it; one close to the bridge stands for the bridge itself."""
    t = np.arange(frames, dtype=np.float64)
    step = lambda t: np.clip(t + 0.5, 0, 1)
    pulse = lambda t, w: step(t) - step(t - w)
    width = max(period * voice["pick"], 1.0)
    x = pulse(t, width)
    x -= pulse(t - max(period * voice["pickup"], 1.0), width)
    noise = rng.uniform(-1, 1, frames)
    x += voice["noise"] * np.exp(-t / (0.0022 * RATE)) * np.diff(noise, prepend=0)
    ease = 1 - np.exp(-2 * np.pi * voice["soft_hz"] / RATE)
    kernel = ease * (1 - ease) ** np.arange(min(frames, int(16 / ease) + 2))
    for _ in range(2):
        x = np.convolve(x, kernel)[:frames]
    return x


def ring(line, lead, lag, taps):
    """Lets the string ring from `lead` on, one lag at a time."""
    n = lead
    back = lag + len(taps) - 1
    while n < len(line):
        m = min(len(line) - n, lag)
        line[n:n + m] += np.convolve(line[n - back:n - lag + m], taps, "valid")
        n += m


def note(midi, voice, rng, seconds=2.6):
    """One note as float32, peak 0.9."""
    period = RATE / (440 * 2 ** ((midi - 69) / 12))
    frames, lead = int(seconds * RATE), 700
    # Octaves by which the ringing time halves, as in `fretted.rs`.
    low_s = voice["ring_s"] * 2 ** (-(midi - 40) / (12 * voice["halves_over"]))
    treble_s = min(voice["treble_s"], low_s)
    out = np.zeros(frames)
    put = pluck(min(frames, int(period * 1.2 + 900)), period, voice, rng)
    for cents, share, last in ((0.0, 1.0, 1.0), (voice["beat_cents"], voice["second"], voice["second_ring"])):
        line = np.zeros(lead + frames)
        line[lead:lead + len(put)] = put * share
        ring(line, lead, *closed(period * 2 ** (cents / 1200), low_s * last, treble_s * last))
        out += line[lead:]
    fade = 1024
    out[-fade:] *= np.linspace(1, 0, fade)
    return (out / np.abs(out).max() * 0.9).astype(np.float32)


def guitar(rng):
    """One guitar: its six strings' voices."""
    acoustic = rng.random() < 0.6
    ring_s, treble_s = rng.uniform(3.5, 11), np.exp(rng.uniform(np.log(0.35), np.log(2.2)))
    pick = rng.uniform(0.06, 0.3)
    soft = np.exp(rng.uniform(np.log(900), np.log(7000)))
    voices = []
    for s in range(6):
        wound = s < 3 or rng.random() < 0.2
        voices.append({
            "ring_s": ring_s * rng.uniform(0.8, 1.2), "treble_s": treble_s * (0.8 if wound else 1.1) * rng.uniform(0.85, 1.15),
            "halves_over": rng.uniform(2, 3.5), "pick": float(np.clip(pick * rng.uniform(0.85, 1.15), 0.04, 0.45)),
            "pickup": rng.uniform(0.015, 0.05) if acoustic else rng.uniform(0.05, 0.25), "soft_hz": soft * rng.uniform(0.8, 1.25) * (0.9 if wound else 1.1),
            "noise": rng.uniform(0, 0.15), "beat_cents": rng.uniform(0.2, 1.5), "second": rng.uniform(0, 0.8), "second_ring": rng.uniform(0.4, 1.3)})
    return voices


def notes_of(seed):
    """All notes of one random guitar: [(midi, string, samples)]."""
    rng = np.random.default_rng([seed, 77])
    voices = guitar(rng)
    return [(OPEN[s] + f, s, note(OPEN[s] + f, voices[s], rng)) for s in range(6) for f in range(FRETS)]
