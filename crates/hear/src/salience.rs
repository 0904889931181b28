//! Which notes stand out, eleven times a second: the salience that chords are read from.
//!
//! # Conventions
//! Row k holds tone frames 2k and 2k + 1 and lies at [`time`]`(k)`. A row has [`NOTES`] weights of notes from E1 to C7, then as many peaks of the flattened
//! spectrum, semitone by semitone. Both are roots of what they measure, times a power of the frame's level: a loud stroke counts for more than
//! its tail, but not by as much as it is louder.
//!
//! # Method
//! The spectrum is moved onto A = 440 Hz by the pitch reference, flattened (less the running mean of an octave, over the root of its running
//! deviation) and taken apart into notes whose overtones fall by a constant factor, by non-negative least squares (M. Mauch and S. Dixon, "Approximate
//! note transcription for the improved identification of difficult chords", ISMIR 2010, sections 2.1 and 2.2). Here each row starts
//! from the weights of the one before, so that few sweeps of coordinate descent are enough.

use crate::mono::RATE_HZ;
use crate::pitch_reference::{PitchReference, at_time};
use crate::streams::{BINS, LOWEST_MIDI, Streams, TONE_HOP, bin_hz, sine_in_bins};
use wave::Seconds;

/// Notes from E1 to C7.
pub(crate) const LOWEST_NOTE: usize = 28;
pub(crate) const NOTES: usize = 69;
/// Values of a row.
pub(crate) const WIDTH: usize = 2 * NOTES;
/// Each overtone against the one before (Mauch and Dixon try 0.5 to 0.9).
const FALL: f64 = 0.7;
const OVERTONES: usize = 16;
const SWEEPS: usize = 6;
/// Keeps notes that explain nothing at nothing.
const PENALTY: f32 = 0.1;
/// Tone frames of a row.
const FRAMES: usize = 2;
/// How a frame's level counts.
const LEVEL_POWER: f32 = 0.3;

/// Seconds from one row to the next.
pub(crate) fn hop_s() -> f64 {
    (FRAMES * TONE_HOP) as f64 / f64::from(RATE_HZ)
}

/// The middle of a row.
pub(crate) fn time(row: usize) -> f64 {
    (row as f64 + 0.5 - 0.5 / FRAMES as f64) * hop_s()
}

/// Rows of the whole record.
pub(crate) fn salience(streams: &Streams, pitch: &PitchReference) -> Vec<[f32; WIDTH]> {
    let templates = Templates::new();
    let mut weights = [0.0f32; NOTES];
    let mut sum = vec![0.0f32; BINS];
    let mut flat = vec![0.0f32; BINS];
    (0..streams.tone_frames() / FRAMES)
        .map(|row| {
            sum.fill(0.0);
            for frame in FRAMES * row..FRAMES * (row + 1) {
                sum.iter_mut().zip(streams.tone(frame)).for_each(|(s, t)| *s += t / FRAMES as f32);
            }
            let cents = if pitch.over_time.is_empty() { pitch.cents } else { at_time(&pitch.over_time, Seconds(time(row))) };
            let top = flatten(&moved(&sum, cents), &mut flat);
            let level = libm::powf(top, LEVEL_POWER);
            templates.explain(&flat, &mut weights);
            let mut out = [0.0f32; WIDTH];
            for n in 0..NOTES {
                let bin = 3 * (LOWEST_NOTE + n - LOWEST_MIDI);
                out[n] = level * weights[n].sqrt();
                out[NOTES + n] = level * flat[bin..bin + 3].iter().fold(0.0f32, |m, v| m.max(*v)).sqrt();
            }
            out
        })
        .collect()
}

/// Templates and their products with each other.
struct Templates {
    notes: Vec<Vec<f32>>,
    gram: Vec<[f32; NOTES]>,
}

impl Templates {
    fn new() -> Templates {
        let notes: Vec<Vec<f32>> = (0..NOTES)
            .map(|n| {
                let hz = bin_hz((3 * (LOWEST_NOTE + n - LOWEST_MIDI) + 1) as f64);
                let mut bins = vec![0.0f32; BINS];
                for k in 1..=OVERTONES {
                    sine_in_bins(hz * k as f64, &mut bins, libm::pow(FALL, (k - 1) as f64));
                }
                let norm = dot(&bins, &bins).sqrt();
                bins.iter().map(|b| b / norm).collect()
            })
            .collect();
        let gram = notes.iter().map(|a| std::array::from_fn(|j| dot(a, &notes[j]))).collect();
        Templates { notes, gram }
    }

    /// Weights of the notes that make up a flattened spectrum, beginning from those of a spectrum like it.
    fn explain(&self, flat: &[f32], weights: &mut [f32; NOTES]) {
        // The gradient, kept up to date. Templates have length 1.
        let mut slope: [f32; NOTES] = std::array::from_fn(|n| dot(&self.notes[n], flat));
        let mut step_to = |n: usize, next: f32, weights: &mut [f32; NOTES]| {
            let step = next - weights[n];
            if step != 0.0 {
                weights[n] = next;
                slope.iter_mut().zip(&self.gram[n]).for_each(|(s, g)| *s -= step * g);
            }
            slope[(n + 1) % NOTES]
        };
        let start = *weights;
        weights.fill(0.0);
        let mut next_slope = 0.0;
        for n in 0..NOTES {
            next_slope = step_to(n, start[n], weights);
        }
        for _ in 0..SWEEPS {
            for n in 0..NOTES {
                let next = (weights[n] + next_slope - PENALTY).max(0.0);
                next_slope = step_to(n, next, weights);
            }
        }
    }
}

/// The spectrum `cents` lower, by straight lines between bins of 33.3 cents.
fn moved(spectrum: &[f32], cents: f64) -> Vec<f32> {
    let shift = cents * 3.0 / 100.0;
    (0..BINS)
        .map(|b| {
            let at = (b as f64 + shift).clamp(0.0, (BINS - 1) as f64);
            let low = (at as usize).min(BINS - 2);
            let part = (at - low as f64) as f32;
            spectrum[low] * (1.0 - part) + spectrum[low + 1] * part
        })
        .collect()
}

/// Peaks against their octave; returns the highest level. All zero for silence.
fn flatten(spectrum: &[f32], out: &mut [f32]) -> f32 {
    const HALF: usize = 18;
    let top = spectrum.iter().fold(0.0f32, |m, v| m.max(*v));
    if top <= 1e-6 {
        out.fill(0.0);
        return 0.0;
    }
    let (mut sum, mut squares) = (0.0f64, 0.0f64);
    let mut add = |v: f32, sign: f64| {
        sum += sign * f64::from(v);
        squares += sign * f64::from(v) * f64::from(v);
        (sum, squares)
    };
    spectrum[..HALF].iter().for_each(|v| {
        add(*v, 1.0);
    });
    for b in 0..BINS {
        if b > HALF {
            add(spectrum[b - HALF - 1], -1.0);
        }
        let entering = if b + HALF < BINS { spectrum[b + HALF] } else { 0.0 };
        let (sum, squares) = add(entering, 1.0);
        let count = ((b + HALF + 1).min(BINS) - b.saturating_sub(HALF)) as f64;
        let mean = sum / count;
        let deviation = (squares / count - mean * mean).max(0.0).sqrt() as f32;
        // Where nothing sounds for an octave, noise stays small.
        out[b] = ((spectrum[b] - mean as f32) / (deviation + 0.02 * top).sqrt() / top.sqrt()).max(0.0);
    }
    top
}

fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0f32; 8];
    for (x, y) in a.chunks_exact(8).zip(b.chunks_exact(8)) {
        for i in 0..8 {
            sums[i] += x[i] * y[i];
        }
    }
    sums.iter().sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_grip_comes_apart_into_its_notes() {
        // An open A minor, overtones falling by another factor than the templates', 30 cents sharp.
        let grip = [45, 52, 57, 60, 64];
        let mut bins = vec![0.0f32; BINS];
        for midi in grip {
            let hz = 440.0 * libm::exp2((f64::from(midi) + 0.3 - 69.0) / 12.0);
            for k in 1..8 {
                sine_in_bins(hz * f64::from(k), &mut bins, 0.1 * libm::pow(0.55, f64::from(k - 1)));
            }
        }
        let mut flat = vec![0.0; BINS];
        assert!(flatten(&moved(&bins, 30.0), &mut flat) > 0.05);
        let templates = Templates::new();
        let strongest = |weights: &[f32; NOTES]| -> Vec<usize> {
            let mut order: Vec<usize> = (0..NOTES).collect();
            order.sort_by(|a, b| weights[*b].total_cmp(&weights[*a]));
            let mut five: Vec<usize> = order[..5].iter().map(|n| n + LOWEST_NOTE).collect();
            five.sort_unstable();
            five
        };
        // From nothing, and from the weights of something else.
        let mut weights = [0.0; NOTES];
        templates.explain(&flat, &mut weights);
        assert_eq!(strongest(&weights), grip.map(|m| m as usize), "{weights:?}");
        let mut other = [0.0; NOTES];
        other[12] = 1.0;
        other[30] = 2.0;
        templates.explain(&flat, &mut other);
        assert_eq!(strongest(&other), grip.map(|m| m as usize), "{other:?}");
        assert_eq!(flatten(&vec![0.0; BINS], &mut flat), 0.0);
        templates.explain(&flat, &mut weights);
        assert!(weights.iter().all(|w| *w == 0.0));
    }

    #[test]
    fn running_sums_give_what_the_plain_formula_gives() {
        let spectrum: Vec<f32> = (0..BINS).map(|b| ((b * 7919) % 101) as f32 / 101.0).collect();
        let mut flat = vec![0.0; BINS];
        let top = flatten(&spectrum, &mut flat);
        for b in 0..BINS {
            let near = &spectrum[b.saturating_sub(18)..(b + 19).min(BINS)];
            let mean = near.iter().sum::<f32>() / near.len() as f32;
            let deviation = (near.iter().map(|v| (v - mean) * (v - mean)).sum::<f32>() / near.len() as f32).sqrt();
            let want = ((spectrum[b] - mean) / (deviation + 0.02 * top).sqrt() / top.sqrt()).max(0.0);
            assert!((flat[b] - want).abs() < 1e-4, "{b}: {} {want}", flat[b]);
        }
    }
}
