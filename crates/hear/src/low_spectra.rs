//! The lower end of a record, where the bass plays: two spectra on a semitone axis, 43 times a second.
//!
//! # Conventions
//! Row k is centred at k hops. It holds [`SEMITONES`] levels of a long window, then as many of a short one; a level is the logarithm of 1 + 1000 times the
//! amplitude of a sine that would give as much, over 7, so that full scale is about 1. Semitones are those of the record's own pitch. Then come the rises of all
//! bands, high ones too (see [`streams`](crate::streams)), the highest of four hops around, over 10.
//!
//! # Method
//! The record at an eighth of the rate at which everything else listens (windowed sinc, Kaiser 1974); Hann windows of 0.37 s, which tell neighbouring notes apart, and
//! of 0.09 s, which tell when they begin.

use crate::fft::{RealFft, hann};
use crate::mono::RATE_HZ;
use crate::pitch_reference::{PitchReference, at_time};
use crate::streams::{GROUPS, ONSET_HOP, Streams};
use wave::Seconds;

pub(crate) const DECIMATION: usize = 8;
const RATE: f64 = RATE_HZ as f64 / DECIMATION as f64;
/// Taps of the low pass, from 900 to 1856 Hz.
const TAPS: usize = 104;
const LONG: usize = 1_024;
const SHORT: usize = 256;
pub(crate) const HOP: usize = 64;
/// From B0 up to B5.
pub(crate) const LOWEST: usize = 23;
pub(crate) const SEMITONES: usize = 61;
pub(crate) const WIDTH: usize = 2 * SEMITONES + GROUPS;
/// Hops of the onset stream to a row.
const ONSETS: usize = DECIMATION * HOP / ONSET_HOP;

/// Seconds from one row to the next.
pub(crate) fn hop_s() -> f64 {
    HOP as f64 / RATE
}

/// Rows of the whole record.
pub(crate) fn low_spectra(streams: &Streams, pitch: &PitchReference) -> Vec<[f32; WIDTH]> {
    let samples = &streams.low;
    let (mut long, mut short) = (RealFft::new(LONG), RealFft::new(SHORT));
    let (long_window, short_window) = (hann(LONG), hann(SHORT));
    let mut spectrum = Vec::new();
    let margin = LONG / 2;
    let mut padded = vec![0.0; margin];
    padded.extend(samples);
    padded.resize(samples.len() + LONG, 0.0);
    let mut out: Vec<[f32; WIDTH]> = Vec::with_capacity(samples.len().div_ceil(HOP));
    for (row, at) in (0..samples.len()).step_by(HOP).enumerate() {
        let cents = if pitch.over_time.is_empty() { pitch.cents } else { at_time(&pitch.over_time, Seconds(row as f64 * hop_s())) };
        let hz = |s: f64| 440.0 * libm::exp2((LOWEST as f64 + s + cents / 100.0 - 69.0) / 12.0);
        let mut levels = [0.0; WIDTH];
        if row.is_multiple_of(2) {
            long.magnitudes(&padded[at..at + LONG], &long_window, &mut spectrum);
            for s in 0..SEMITONES {
                let top = [-0.3, 0.0, 0.3].iter().map(|d| between(&spectrum, hz(s as f64 + d) * LONG as f64 / RATE)).fold(0.0f32, f32::max);
                levels[s] = level(top / (LONG as f32 / 4.0));
            }
        } else {
            // The long window hardly changes from row to row.
            levels[..SEMITONES].copy_from_slice(&out[row - 1][..SEMITONES]);
        }
        short.magnitudes(&padded[at + margin - SHORT / 2..at + margin + SHORT / 2], &short_window, &mut spectrum);
        for s in 0..SEMITONES {
            levels[SEMITONES + s] = level(between(&spectrum, hz(s as f64) * SHORT as f64 / RATE) / (SHORT as f32 / 4.0));
        }
        let hops = (ONSETS * row).saturating_sub(ONSETS / 2).min(streams.onsets.len())..(ONSETS * row + ONSETS / 2).min(streams.onsets.len());
        for rises in &streams.onsets[hops] {
            levels[2 * SEMITONES..].iter_mut().zip(rises).for_each(|(l, r)| *l = l.max(r / 10.0));
        }
        out.push(levels);
    }
    out
}

fn level(amplitude: f32) -> f32 {
    libm::log1pf(1_000.0 * amplitude) / 7.0
}

fn between(spectrum: &[f32], at: f64) -> f32 {
    let low = (at as usize).min(spectrum.len() - 2);
    let part = (at - low as f64) as f32;
    spectrum[low] * (1.0 - part) + spectrum[low + 1] * part
}

/// Takes a record down to [`RATE`] as it is read: sample n lies at 8 n samples of [`RATE_HZ`].
pub(crate) struct Decimation {
    taps: Vec<f32>,
}

impl Decimation {
    pub fn new() -> Decimation {
        Decimation { taps: taps() }
    }

    /// Adds what lies at every eighth of the first `length` samples after the margin; `block` holds `margin` more to either side.
    pub fn add(&self, block: &[f32], margin: usize, length: usize, out: &mut Vec<f32>) {
        for at in (0..length).step_by(DECIMATION) {
            let around = &block[at + margin - TAPS / 2..at + margin + TAPS / 2];
            let mut sums = [0.0f32; 8];
            for (x, y) in around.chunks_exact(8).zip(self.taps.chunks_exact(8)) {
                for i in 0..8 {
                    sums[i] += x[i] * y[i];
                }
            }
            out.push(sums.iter().sum());
        }
    }
}

/// A low pass centred on tap [`TAPS`] / 2.
fn taps() -> Vec<f32> {
    let cutoff = 1_378.0 / f64::from(RATE_HZ);
    let row: Vec<f64> = (0..TAPS)
        .map(|n| {
            let t = n as f64 - (TAPS / 2) as f64;
            let x = std::f64::consts::PI * 2.0 * cutoff * t;
            let sinc = if t == 0.0 { 1.0 } else { libm::sin(x) / x };
            // A Hann window is steep enough here: what folds down lies under 44 dB and near the upper end.
            let w = libm::cos(std::f64::consts::PI * t / TAPS as f64);
            sinc * w * w
        })
        .collect();
    let sum: f64 = row.iter().sum();
    row.iter().map(|v| (v / sum) as f32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mono::Mono;
    use wave::Buffer;

    #[test]
    fn a_low_note_stands_on_its_semitone_and_begins_in_time() {
        // E1 from one second on, 30 cents sharp.
        let hz = 440.0 * libm::exp2((28.3 - 69.0) / 12.0);
        let samples = (0..66_150).map(|n| if n < 22_050 { 0.0 } else { (0.2 * libm::sin(std::f64::consts::TAU * hz * f64::from(n - 22_050) / 22_050.0)) as f32 }).collect();
        let record = Buffer::from_mono(RATE_HZ, samples).unwrap();
        let pitch = PitchReference { hz: 447.7, cents: 30.0, confidence: 1.0, other_reading_cents: None, over_time: Vec::new() };
        let streams = crate::streams::streams(&mut Mono::new(&record).unwrap(), &|_| ());
        let rows = low_spectra(&streams, &pitch);
        let late = &rows[(2.0 / hop_s()) as usize];
        let top = (0..SEMITONES).max_by(|a, b| late[*a].total_cmp(&late[*b])).unwrap();
        assert!((top as i32 - (28 - LOWEST as i32)).abs() <= 1, "{top}");
        // RMS 0.1 over three seconds of which two sound: amplitude 0.173.
        assert!((late[28 - LOWEST] - level(0.173)).abs() < 0.02, "{} {}", late[28 - LOWEST], level(0.173));
        let short = |t: f64| rows[(t / hop_s()).round() as usize][SEMITONES + 28 - LOWEST];
        assert!(short(0.93) < 0.1 && short(1.07) > 0.9 * short(1.5), "{} {} {}", short(0.93), short(1.07), short(1.5));
    }
}
