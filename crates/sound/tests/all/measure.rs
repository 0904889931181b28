//! Passages from a few bars of text, and what is measured in their sound: level, frequency, where notes begin.

use lesson::Passage;
use sound::{Options, RATE, Render, Takes};
use std::f64::consts::TAU;

/// Reads one passage from what stands inside `passage "p" { … }`.
pub fn passage(inside: &str) -> Passage {
    let text = format!("lesson \"t\" {{\n  passage \"p\" {{\n{inside}\n  }}\n}}\n");
    let reading = lesson::read(&text);
    assert!(reading.is_sound(), "{:#?}\n{text}", reading.problems);
    reading.lesson.passages.into_iter().next().expect("one passage")
}

/// One guitar alone, 4/4 at 60 in eight slots of half a second each.
pub fn guitar(bars: &[&str]) -> Passage {
    let bars: Vec<String> = bars.iter().map(|b| if b.contains('{') { (*b).to_string() } else { format!("bar \"{b}\"") }).collect();
    passage(&format!(
        "tempo 60; meter \"4/4\"; slots 8\n part \"g\" instrument=\"guitar\" frets=24 {{\n grip \"e\" \"0 2 2 1 0 0\"\n {}\n }}",
        bars.join("\n ")
    ))
}

pub fn render(passage: &Passage, percent: u32, looped: bool) -> Render {
    sound::render(passage, &Options { tempo_percent: percent, looped }, &Takes::new(), &|_| ()).expect("renders")
}

/// Played once from silence: left and right added.
pub fn once(passage: &Passage) -> Vec<f32> {
    mono(&render(passage, 100, false).stems[0].1)
}

pub fn mono(buffer: &wave::Buffer) -> Vec<f32> {
    buffer.mono().channel(0).to_vec()
}

pub fn cut(v: &[f32], from_s: f64, to_s: f64) -> &[f32] {
    let at = |s: f64| ((s * f64::from(RATE)) as usize).min(v.len());
    &v[at(from_s)..at(to_s)]
}

/// Level in dB of a stretch of seconds.
pub fn db(v: &[f32], from_s: f64, to_s: f64) -> f64 {
    let c = cut(v, from_s, to_s);
    let power = c.iter().map(|s| f64::from(*s) * f64::from(*s)).sum::<f64>() / c.len().max(1) as f64;
    10.0 * (power + 1e-20).log10()
}

/// Level in dB of one frequency around `at_s`, through a Hann window of `width_s`, and its phase in turns.
pub fn bin(v: &[f32], at_s: f64, width_s: f64, hz: f64) -> (f64, f64) {
    let frames = (width_s * f64::from(RATE)) as usize;
    let start = ((at_s * f64::from(RATE)) as usize).saturating_sub(frames / 2);
    let (mut c, mut s) = (0.0, 0.0);
    for k in 0..frames.min(v.len().saturating_sub(start)) {
        let w = 0.5 - 0.5 * (TAU * k as f64 / frames as f64).cos();
        let turn = TAU * hz * (start + k) as f64 / f64::from(RATE);
        c += f64::from(v[start + k]) * w * turn.cos();
        s -= f64::from(v[start + k]) * w * turn.sin();
    }
    (20.0 * ((c * c + s * s).sqrt() / frames as f64 + 1e-12).log10(), s.atan2(c) / TAU)
}

/// Frequency of the partial near `near_hz` around `at_s`: the phase's advance between two windows, first close together, then `apart_s` (a phase vocoder,
/// as in Flanagan & Golden 1966). It knows nothing of how the sound was made.
pub fn frequency(v: &[f32], at_s: f64, width_s: f64, apart_s: f64, near_hz: f64) -> f64 {
    let mut hz = near_hz;
    for apart in [0.004, 0.02, apart_s] {
        let (a, b) = (bin(v, at_s - apart / 2.0, width_s, hz).1, bin(v, at_s + apart / 2.0, width_s, hz).1);
        let turns = b - a;
        // Windows begin on whole frames: so does their distance.
        let frame = |t: f64| (t * f64::from(RATE)) as usize as f64;
        let real = (frame(at_s + apart / 2.0) - frame(at_s - apart / 2.0)) / f64::from(RATE);
        hz += (turns - turns.round()) / real;
    }
    hz
}

/// Fraction of a MIDI number.
pub fn midi_of(hz: f64) -> f64 {
    69.0 + 12.0 * (hz / 440.0).log2()
}

pub fn hz_of(midi: f64) -> f64 {
    440.0 * ((midi - 69.0) / 12.0).exp2()
}

/// Pitch by autocorrelation around `at_s`, in MIDI numbers and fractions, and how periodic it is, 0 to 1. Looks from `low` to `high`.
pub fn pitch(v: &[f32], at_s: f64, low: f64, high: f64) -> (f64, f64) {
    let w = cut(v, at_s - 0.03, at_s + 0.03);
    let (short, long) = (f64::from(RATE) / hz_of(high), f64::from(RATE) / hz_of(low));
    let corr = |lag: usize| {
        let (a, b) = (&w[..w.len() - lag], &w[lag..]);
        let dot: f64 = a.iter().zip(b).map(|(x, y)| f64::from(*x) * f64::from(*y)).sum();
        let e = |v: &[f32]| v.iter().map(|x| f64::from(*x) * f64::from(*x)).sum::<f64>();
        dot / ((e(a) * e(b)).sqrt() + 1e-12)
    };
    let values: Vec<(usize, f64)> = (short as usize..=long as usize).map(|l| (l, corr(l))).collect();
    let best = values.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1)).expect("a range");
    // The shortest period that is nearly as good, and the parabola through its neighbours.
    let peak = values.windows(3).find(|w| w[1].1 >= w[0].1 && w[1].1 >= w[2].1 && w[1].1 > 0.93 * best.1);
    let Some([a, b, c]) = peak.map(|w| [w[0], w[1], w[2]]) else { return (midi_of(f64::from(RATE) / best.0 as f64), best.1) };
    let shift = 0.5 * (a.1 - c.1) / (a.1 - 2.0 * b.1 + c.1);
    (midi_of(f64::from(RATE) / (b.0 as f64 + shift)), b.1)
}

/// Seconds at which the level rises by more than 9 dB within 6 ms to within 20 dB of the loudest, at least 30 ms apart.
pub fn onsets(v: &[f32]) -> Vec<f64> {
    let step = 96;
    let levels: Vec<f64> = v.chunks(step).map(|c| 10.0 * (c.iter().map(|s| f64::from(*s) * f64::from(*s)).sum::<f64>() / c.len() as f64 + 1e-9).log10()).collect();
    let loudest = levels.iter().copied().fold(f64::MIN, f64::max);
    let mut found: Vec<f64> = Vec::new();
    for i in 3..levels.len() {
        let t = (i * step) as f64 / f64::from(RATE);
        if levels[i] - levels[i - 3] > 9.0 && levels[i] > loudest - 20.0 && found.last().is_none_or(|l| t - l > 0.03) {
            found.push(t);
        }
    }
    found
}
