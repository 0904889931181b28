//! The record's form: which bars sound alike, and where least of all sounds in them. From: the record's samples between its bar lines.
//!
//! # Method
//! Each eighth of a bar gives a chroma, the strength of the twelve pitch classes (T. Fujishima, "Realtime chord recognition of musical sound", ICMC 1999), of which the
//! mean over the whole record is taken off, so that what sounds everywhere says nothing. Two stretches of bars are as alike as their chromas are on the mean of the cosine, taken bar by bar
//! (the diagonals of the matrix in J. Foote, "Visualizing music and audio using self-similarity", ACM Multimedia 1999). A bar is as full as its octaves are loud, each
//! against its own loudest bar: a bar where bass or drums keep silent has octaves that do.

use crate::record::Record;
use serde::{Deserialize, Serialize};
use wave::Seconds;
use wave::fft::{RealFft, hann};

/// Pieces that a bar is cut into.
const PIECES: usize = 8;
/// Samples that are looked at, at 48 kHz: 340 ms, in which semitones stand apart from about 120 Hz up.
const WINDOW: usize = 16_384;
/// Pitches that count, as MIDI numbers: G2 to B6.
const PITCHES: std::ops::Range<usize> = 43..96;
/// The lowest octave band begins here, Hz; there are [`BANDS`].
const LOW_HZ: f64 = 44.0;
const BANDS: usize = 8;
/// Range of a band's loudness that counts.
const RANGE_DB: f64 = 36.0;
/// Stretches that are this alike come back; tuned on the demo lessons' own records.
const ALIKE: f64 = 0.6;

/// A bar of the record, as it is kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bar {
    /// Twelve pitch classes for each piece, from C, hundredths of the piece's length (root of the sum of squares); all 0 where nothing sounds.
    chroma: Vec<i16>,
    /// 0 to 1.
    pub full: f64,
}

/// A stretch of bars that sounds alike.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Place {
    /// By index, the second behind the last.
    pub from: usize,
    pub to: usize,
    /// 0 to 1.
    pub alike: f64,
    pub full: f64,
}

/// All bars between these bar lines (seconds). `cents` is how far the record lies over concert pitch.
pub fn bars(record: &Record, lines: &[f64], cents: f64) -> Vec<Bar> {
    let rate = f64::from(record.sound.rate_hz());
    let mono = record.sound.mono();
    let samples = mono.channel(0);
    let (mut fft, window) = (RealFft::new(WINDOW), hann(WINDOW));
    let reference = 440.0 * (cents / 1_200.0).exp2();
    // Bins of each pitch class: those nearer to its pitches than a third of a semitone.
    let class = |bin: usize| -> Option<usize> {
        let midi: f64 = 69.0 + 12.0 * ((bin as f64 * rate / WINDOW as f64).max(1.0) / reference).log2();
        ((midi - midi.round()).abs() < 0.34 && PITCHES.contains(&(midi.round().max(0.0) as usize))).then(|| midi.round() as usize % 12)
    };
    let classes: Vec<Option<usize>> = (0..=WINDOW / 2).map(class).collect();
    let band = |bin: usize| -> Option<usize> { Some((bin as f64 * rate / WINDOW as f64 / LOW_HZ).log2().floor()).filter(|b| (0.0..BANDS as f64).contains(b)).map(|b| b as usize) };
    let bands: Vec<Option<usize>> = (0..=WINDOW / 2).map(band).collect();
    let mut magnitudes = Vec::new();
    let mut piece = vec![0f32; WINDOW];
    let mut all: Vec<(Vec<[f64; 12]>, [f64; BANDS])> = Vec::new();
    for b in lines.windows(2) {
        let mut chroma = vec![[0.0; 12]; PIECES];
        let mut power = [0.0; BANDS];
        for (k, out) in chroma.iter_mut().enumerate() {
            let middle = Seconds((b[0] + (b[1] - b[0]) * (k as f64 + 0.5) / PIECES as f64).max(0.0)).to_frames(record.sound.rate_hz()) as i64;
            for (i, s) in piece.iter_mut().enumerate() {
                *s = usize::try_from(middle - WINDOW as i64 / 2 + i as i64).ok().and_then(|n| samples.get(n)).copied().filter(|s| s.is_finite()).unwrap_or(0.0);
            }
            fft.magnitudes(&piece, &window, &mut magnitudes);
            for (bin, m) in magnitudes.iter().enumerate() {
                let m = f64::from(*m);
                if let Some(c) = classes[bin] {
                    // Between level and loudness, so that no single string rules.
                    out[c] += m.sqrt();
                }
                if let Some(n) = bands[bin] {
                    power[n] += m * m;
                }
            }
        }
        all.push((chroma, power));
    }
    let sounding = |c: &[f64; 12]| c.iter().sum::<f64>() > 1e-3;
    let count = all.iter().flat_map(|a| &a.0).filter(|c| sounding(c)).count().max(1) as f64;
    let unit = |c: &[f64; 12]| -> [f64; 12] {
        let length = c.iter().map(|v| v * v).sum::<f64>().sqrt().max(1e-12);
        c.map(|v| v / length)
    };
    let mut mean = [0.0; 12];
    for c in all.iter().flat_map(|a| &a.0).filter(|c| sounding(c)) {
        mean.iter_mut().zip(unit(c)).for_each(|(m, v)| *m += v / count);
    }
    let most: Vec<f64> = (0..BANDS).map(|n| all.iter().map(|a| a.1[n]).fold(1e-12, f64::max)).collect();
    all.iter()
        .map(|(chroma, power)| {
            let level = |n: usize| (10.0 * (power[n].max(1e-12) / most[n]).log10() / RANGE_DB + 1.0).clamp(0.0, 1.0);
            let full = (0..BANDS).map(level).sum::<f64>() / BANDS as f64;
            let shown = |c: &[f64; 12]| -> [i16; 12] {
                if !sounding(c) {
                    return [0; 12];
                }
                let (c, mut out) = (unit(c), [0.0; 12]);
                for (o, (v, m)) in out.iter_mut().zip(c.iter().zip(&mean)) {
                    *o = v - m;
                }
                unit(&out).map(|v| (v * 100.0).round() as i16)
            };
            Bar { chroma: chroma.iter().flat_map(shown).collect(), full: (full * 1_000.0).round() / 1_000.0 }
        })
        .collect()
}

/// How alike two bars are, -1 to 1; pieces that are silent in both are alike.
fn alike(a: &Bar, b: &Bar) -> f64 {
    let piece = |(x, y): (&[i16], &[i16])| {
        let (silent_x, silent_y) = (x.iter().all(|v| *v == 0), y.iter().all(|v| *v == 0));
        match (silent_x, silent_y) {
            (true, true) => 1.0,
            (false, false) => x.iter().zip(y).map(|(p, q)| f64::from(*p) * f64::from(*q)).sum::<f64>() / 10_000.0,
            _ => 0.0,
        }
    };
    let pieces = a.chroma.chunks(12).zip(b.chroma.chunks(12)).map(piece);
    pieces.sum::<f64>() / (a.chroma.len() / 12).max(1) as f64
}

/// Where bars `from` to `to` (behind the last) come back, themselves among them, in the order of time; none overlap. Empty where there are no such bars.
pub fn places(bars: &[Bar], from: usize, to: usize) -> Vec<Place> {
    if from >= to || to > bars.len() {
        return vec![];
    }
    let long = to - from;
    let full = |at: usize| bars[at..at + long].iter().map(|b| b.full).sum::<f64>() / long as f64;
    let mut found: Vec<Place> = (0..=bars.len() - long)
        .map(|at| {
            let score = (0..long).map(|k| alike(&bars[from + k], &bars[at + k])).sum::<f64>() / long as f64;
            Place { from: at, to: at + long, alike: if at == from { 1.0 } else { score.clamp(0.0, 0.999) }, full: full(at) }
        })
        .filter(|p| p.alike >= ALIKE)
        .collect();
    found.sort_by(|a, b| b.alike.total_cmp(&a.alike));
    let mut out: Vec<Place> = Vec::new();
    for p in found {
        if out.iter().all(|o| p.to <= o.from || o.to <= p.from) {
            out.push(p);
        }
    }
    out.sort_by_key(|p| p.from);
    out
}
