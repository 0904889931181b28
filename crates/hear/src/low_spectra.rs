//! The lower end of a record, where the bass plays: spectra on a semitone axis, 43 times a second.
//!
//! # Conventions
//! Row k is centred at k hops. It holds [`SEMITONES`] levels of a long window, then as many of a middling one, of a short one, and of what changed in the short
//! one; a level is the logarithm of 1 + 1000 times the amplitude of a sine that would give as much, over 7, so that full scale is about 1. Semitones are those of the record's own
//! pitch. Then come the rises of all bands, high ones too (see [`streams`](crate::streams)), the highest of four hops around, over 10.
//!
//! # Method
//! The record at an eighth of the rate at which everything else listens (windowed sinc, Kaiser 1974); Hann windows of 0.37 s, which tell neighbouring notes apart, of 0.19 s, and
//! of 0.09 s, which tell when they begin. What changed is the distance of a bin's value from the one that the two rows before foretell, were each bin a steady tone: the
//! size of the last, turned on by as much as from the last but one to the last (J. P. Bello, C. Duxbury, M. Davies and M. Sandler, "On the use of phase and energy for musical
//! onset detection in the complex domain", IEEE Signal Processing Letters 11(6), 2004). A string struck again while it rings shows there, though its level hardly moves.

use crate::fft::{Fft, RealFft, hann};
use crate::logarithm::take_logarithms;
use crate::mono::RATE_HZ;
use crate::pitch_reference::{PitchReference, at_time};
use crate::streams::{GROUPS, ONSET_HOP, Streams};
use wave::Seconds;

pub(crate) const DECIMATION: usize = 8;
const RATE: f64 = RATE_HZ as f64 / DECIMATION as f64;
/// Taps of the low pass, from 900 to 1856 Hz.
const TAPS: usize = 104;
const LONG: usize = 1_024;
const MIDDLE: usize = 512;
const SHORT: usize = 256;
pub(crate) const HOP: usize = 64;
/// From B0 up to B5.
pub(crate) const LOWEST: usize = 23;
pub(crate) const SEMITONES: usize = 61;
pub(crate) const WIDTH: usize = 4 * SEMITONES + GROUPS;
/// Hops of the onset stream to a row.
const ONSETS: usize = DECIMATION * HOP / ONSET_HOP;

/// One row.
pub(crate) type Row = [f32; WIDTH];

/// Seconds from one row to the next.
pub(crate) fn hop_s() -> f64 {
    HOP as f64 / RATE
}

/// The rows of a record, computed as they are asked for: those of a long one would take as much room as the record.
pub(crate) struct LowSpectra<'a> {
    /// Silence of half a long window lies before and behind.
    padded: Vec<f32>,
    samples: usize,
    onsets: &'a [[f32; GROUPS]],
    pitch: &'a PitchReference,
}

impl LowSpectra<'_> {
    pub fn new<'a>(streams: &'a Streams, pitch: &'a PitchReference) -> LowSpectra<'a> {
        let samples = streams.low.len();
        let mut padded = vec![0.0; LONG / 2];
        padded.extend(&streams.low);
        padded.resize(samples + LONG, 0.0);
        LowSpectra { padded, samples, onsets: &streams.onsets, pitch }
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.samples.div_ceil(HOP)
    }

    /// Those of a stretch.
    pub fn rows(&self, stretch: std::ops::Range<usize>) -> Vec<Row> {
        let (mut long, mut middle) = (RealFft::new(LONG), RealFft::new(MIDDLE));
        let (long_window, middle_window) = (hann(LONG), hann(MIDDLE));
        let mut short = Short { fft: Fft::new(SHORT), window: hann(SHORT) };
        // The windows of a row and of as many as two rows before it lie within the padding.
        let around = |row: usize, back: usize, size: usize| &self.padded[row * HOP + LONG / 2 - back * HOP - size / 2..][..size];
        let mut spectrum = Vec::new();
        let mut out: Vec<Row> = Vec::with_capacity(stretch.len());
        let [mut before, mut last] = [2, 1].map(|back| short.spectrum(around(stretch.start, back, SHORT)));
        for row in stretch {
            let cents = if self.pitch.over_time.is_empty() { self.pitch.cents } else { at_time(&self.pitch.over_time, Seconds(row as f64 * hop_s())) };
            let hz = |s: f64| 440.0 * libm::exp2((LOWEST as f64 + s + cents / 100.0 - 69.0) / 12.0);
            let mut levels = [0.0; WIDTH];
            let (longs, rest) = levels.split_at_mut(SEMITONES);
            if let Some(same) = out.last().filter(|_| !row.is_multiple_of(2)) {
                // The long window hardly changes from row to row.
                longs.copy_from_slice(&same[..SEMITONES]);
            } else {
                let even = row - row % 2;
                long.magnitudes(around(even, 0, LONG), &long_window, &mut spectrum);
                for (s, to) in longs.iter_mut().enumerate() {
                    let top = [-0.3, 0.0, 0.3].iter().map(|d| between(&spectrum, hz(s as f64 + d) * LONG as f64 / RATE)).fold(0.0f32, f32::max);
                    *to = top / (LONG as f32 / 4.0);
                }
                to_levels(longs);
            }
            let mut put = |part: usize, spectrum: &[f32], size: usize| {
                for (s, to) in rest[part * SEMITONES..(part + 1) * SEMITONES].iter_mut().enumerate() {
                    *to = between(spectrum, hz(s as f64) * size as f64 / RATE) / (size as f32 / 4.0);
                }
            };
            middle.magnitudes(around(row, 0, MIDDLE), &middle_window, &mut spectrum);
            put(0, &spectrum, MIDDLE);
            let now = short.spectrum(around(row, 0, SHORT));
            put(1, &now.iter().map(|v| v.size()).collect::<Vec<_>>(), SHORT);
            let changes: Vec<f32> = before.iter().zip(&last).zip(&now).map(|((b, l), n)| n.change(*l, *b)).collect();
            put(2, &changes, SHORT);
            to_levels(&mut rest[..3 * SEMITONES]);
            (before, last) = (last, now);
            let hops = (ONSETS * row).saturating_sub(ONSETS / 2).min(self.onsets.len())..(ONSETS * row + ONSETS / 2).min(self.onsets.len());
            for rises in &self.onsets[hops] {
                levels[4 * SEMITONES..].iter_mut().zip(rises).for_each(|(l, r)| *l = l.max(r / 10.0));
            }
            out.push(levels);
        }
        out
    }
}

/// The short window's transform.
struct Short {
    fft: Fft,
    window: Vec<f32>,
}

impl Short {
    fn spectrum(&mut self, samples: &[f32]) -> Vec<Bin> {
        let mut re: Vec<f32> = samples.iter().zip(&self.window).map(|(s, w)| s * w).collect();
        let mut im = vec![0.0; SHORT];
        self.fft.forward(&mut re, &mut im);
        re.iter().zip(&im).take(SHORT / 2 + 1).map(|(re, im)| Bin { re: *re, im: *im }).collect()
    }
}

/// A complex value.
#[derive(Clone, Copy)]
struct Bin {
    re: f32,
    im: f32,
}

impl Bin {
    fn size(self) -> f32 {
        (self.re * self.re + self.im * self.im).sqrt()
    }

    /// How far it lies from what the last two foretell.
    fn change(self, last: Bin, before: Bin) -> f32 {
        let sizes = last.size() * before.size();
        if sizes < 1e-12 {
            return self.size();
        }
        // By how much a tone turns from row to row.
        let (c, s) = ((last.re * before.re + last.im * before.im) / sizes, (last.im * before.re - last.re * before.im) / sizes);
        Bin { re: self.re - (last.re * c - last.im * s), im: self.im - (last.re * s + last.im * c) }.size()
    }
}

/// Of amplitudes.
fn to_levels(values: &mut [f32]) {
    values.iter_mut().for_each(|v| *v *= 1_000.0);
    take_logarithms(values);
    values.iter_mut().for_each(|v| *v /= 7.0);
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
        let low = LowSpectra::new(&streams, &pitch);
        let rows = low.rows(0..low.len());
        let late = &rows[(2.0 / hop_s()) as usize];
        let top = (0..SEMITONES).max_by(|a, b| late[*a].total_cmp(&late[*b])).unwrap();
        assert!((top as i32 - (28 - LOWEST as i32)).abs() <= 1, "{top}");
        // RMS 0.1 over three seconds of which two sound: amplitude 0.173.
        let level = libm::log1pf(1_000.0 * 0.173) / 7.0;
        assert!((late[28 - LOWEST] - level).abs() < 0.02, "{} {level}", late[28 - LOWEST]);
        let short = |t: f64| rows[(t / hop_s()).round() as usize][2 * SEMITONES + 28 - LOWEST];
        assert!(short(0.93) < 0.1 && short(1.07) > 0.9 * short(1.5), "{} {} {}", short(0.93), short(1.07), short(1.5));
    }

    #[test]
    fn a_string_struck_again_while_it_rings_shows_in_what_changed() {
        // E2, begun again after a second at the same loudness, a third of a turn on.
        let hz = 440.0 * libm::exp2((40.0 - 69.0) / 12.0);
        let sine = |n: i32| libm::sin(std::f64::consts::TAU * (hz * f64::from(n) / 22_050.0 + if n < 22_050 { 0.0 } else { 0.33 }));
        let record = Buffer::from_mono(RATE_HZ, (0..44_100).map(|n| (0.2 * sine(n)) as f32).collect()).unwrap();
        let pitch = PitchReference { hz: 440.0, cents: 0.0, confidence: 1.0, other_reading_cents: None, over_time: Vec::new() };
        let streams = crate::streams::streams(&mut Mono::new(&record).unwrap(), &|_| ());
        let low = LowSpectra::new(&streams, &pitch);
        let rows = low.rows(0..low.len());
        let at = |t: f64, part: usize| rows[(t / hop_s()).round() as usize][part * SEMITONES + 40 - LOWEST];
        assert!(at(1.0, 3) > 0.6 && at(0.5, 3) < 0.3 && at(1.5, 3) < 0.3, "{} {} {}", at(0.5, 3), at(1.0, 3), at(1.5, 3));
        // A stretch from the middle holds the same.
        assert!(low.rows(21..30) == rows[21..30]);
    }
}
