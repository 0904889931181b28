//! How likely a beat, and a bar's first beat, falls on each moment, and what the meter is: a small network's answer to the rhythm streams.
//!
//! # Conventions
//! Two answers to each frame of [`rhythm`](crate::rhythm), 86 a second; answer n stands for the hops 2n and 2n + 1 of the onset stream.
//!
//! # Method
//! A stack of convolutions over time, each reaching twice as far as the one before, with what came in added to what comes out (S. Böck, M. Davies and P. Knees,
//! "Multi-task learning of tempo and beat", ISMIR 2019, has the like): a frame is judged by 24 seconds to each side, though no clip it learned from was longer than that. Sums run in one fixed order,
//! so the answer is the same on every machine. Weights, data and training: `training/beats`.

use crate::chord_scorer::halves;
use crate::dense::added;
use crate::rhythm::CHANNELS;
use crate::streams::GROUPS;
use wave::lanes;

const WIDTH: usize = 64;
const TAPS: usize = 5;
const DILATIONS: [usize; 9] = [1, 2, 4, 8, 16, 32, 64, 128, 256];
/// Frames that are worked out tap by tap together, so that a tap's weights stay near.
const TOGETHER: usize = 32;
/// Beat in the first and second half of a frame, then first beat of a bar in each, then 4/4, 3/4 and 6/8.
const ANSWERS: usize = 4 + METERS;
pub(crate) const METERS: usize = 3;
/// Halves, little-endian.
const BYTES: &[u8] = include_bytes!("../weights/pulse.f16");
const COUNT: usize = 2 * CHANNELS
    + TAPS * CHANNELS * WIDTH
    + WIDTH
    + DILATIONS.len() * (TAPS * WIDTH * WIDTH + WIDTH + WIDTH * WIDTH + WIDTH)
    + WIDTH * ANSWERS
    + ANSWERS;
const _: () = assert!(BYTES.len() == 2 * COUNT, "the weights are of another network");

/// Probabilities, 0 to 1, of half a frame each.
pub(crate) struct Pulse {
    pub beat: Vec<f32>,
    pub down: Vec<f32>,
    /// Probabilities of 4/4, 3/4 and 6/8, as the frames hold on the average; each 1 over [`METERS`] where there are none.
    pub meters: [f32; METERS],
}

pub(crate) fn pulse(rhythm: &[f32]) -> Pulse {
    let mut weights = Weights { rest: BYTES };
    let (mean, deviation) = (weights.take(CHANNELS), weights.take(CHANNELS));
    let mut input = rhythm.to_vec();
    for frame in input.chunks_exact_mut(CHANNELS) {
        for (c, v) in frame.iter_mut().enumerate() {
            // Rises are few and high: their roots are nearer to even.
            let value = if c < 2 * GROUPS { v.max(0.0).sqrt() } else { *v };
            *v = (value - mean[c]) / deviation[c];
        }
    }
    let frames = input.len() / CHANNELS;
    let mut state = vec![0.0f32; frames * WIDTH];
    convolve(&input, CHANNELS, &weights.take(TAPS * CHANNELS * WIDTH), &weights.take(WIDTH), 1, &mut state);
    state.iter_mut().for_each(|v| *v = v.max(0.0));
    let mut inner = vec![0.0f32; frames * WIDTH];
    for dilation in DILATIONS {
        convolve(&state, WIDTH, &weights.take(TAPS * WIDTH * WIDTH), &weights.take(WIDTH), dilation, &mut inner);
        let (mix, bias) = (weights.take(WIDTH * WIDTH), weights.take(WIDTH));
        lanes::widest(
            #[inline(always)]
            || add_mixed(&inner, &mix, &bias, &mut state),
        );
    }
    let (last, bias) = (weights.take(WIDTH * ANSWERS), weights.take(ANSWERS));
    let mut out = Pulse { beat: Vec::with_capacity(2 * frames), down: Vec::with_capacity(2 * frames), meters: [0.0; METERS] };
    for from in state.chunks_exact(WIDTH) {
        let mut sums: [f32; ANSWERS] = std::array::from_fn(|a| bias[a]);
        for (value, row) in from.iter().zip(last.chunks_exact(ANSWERS)) {
            for (s, w) in sums.iter_mut().zip(row) {
                *s += value.max(0.0) * w;
            }
        }
        let chance = |x: f32| 1.0 / (1.0 + libm::expf(-x));
        out.beat.extend([chance(sums[0]), chance(sums[1])]);
        out.down.extend([chance(sums[2]), chance(sums[3])]);
        let told = &sums[ANSWERS - METERS..];
        let most = told.iter().fold(f32::MIN, |m, v| m.max(*v));
        let all: f32 = told.iter().map(|v| libm::expf(v - most)).sum();
        for (meter, v) in out.meters.iter_mut().zip(told) {
            *meter += libm::expf(v - most) / all / frames as f32;
        }
    }
    if frames == 0 {
        out.meters = [1.0 / METERS as f32; METERS];
    }
    out
}

/// The largest of some probabilities within two of a place, which a beat may be off; nothing lies past the end.
pub(crate) fn near(values: &[f32], at: usize) -> f32 {
    values[at.saturating_sub(2).min(values.len())..(at + 3).min(values.len())].iter().fold(0.0f32, |m, v| m.max(*v))
}

/// How likely a beat is a bar's first. Where nothing is sure, one in four is.
pub(crate) fn first_share(down: f32, beat: f32) -> f32 {
    ((down + 0.0125) / (beat + 0.05)).clamp(0.02, 0.98)
}

struct Weights {
    rest: &'static [u8],
}

impl Weights {
    fn take(&mut self, count: usize) -> Vec<f32> {
        let (now, rest) = self.rest.split_at(2 * count);
        self.rest = rest;
        halves(now).collect()
    }
}

/// A convolution of [`TAPS`] taps, `dilation` frames apart and centred; weights are `[tap][channel in][channel out]`; silence lies beyond both ends.
fn convolve(input: &[f32], channels: usize, weights: &[f32], bias: &[f32], dilation: usize, out: &mut [f32]) {
    lanes::widest(
        #[inline(always)]
        || convolve_plainly(input, channels, weights, bias, dilation, out),
    );
}

#[inline(always)]
fn convolve_plainly(input: &[f32], channels: usize, weights: &[f32], bias: &[f32], dilation: usize, out: &mut [f32]) {
    let frames = input.len() / channels;
    for (start, out) in (0..).step_by(TOGETHER).zip(out.as_chunks_mut::<WIDTH>().0.chunks_mut(TOGETHER)) {
        out.iter_mut().for_each(|o| o.copy_from_slice(bias));
        for (tap, weights) in weights.chunks_exact(channels * WIDTH).enumerate() {
            for (frame, out) in (start..).zip(out.iter_mut()) {
                let at = (frame + tap * dilation).wrapping_sub(TAPS / 2 * dilation);
                if at < frames {
                    *out = added(out, weights, &input[at * channels..(at + 1) * channels]);
                }
            }
        }
    }
}

/// Adds to each frame's values the mixed ones of another; what is below nothing counts as nothing.
#[inline(always)]
fn add_mixed(from: &[f32], mix: &[f32], bias: &[f32], to: &mut [f32]) {
    let first: [f32; WIDTH] = std::array::from_fn(|o| bias[o]);
    for (to, from) in to.as_chunks_mut::<WIDTH>().0.iter_mut().zip(from.as_chunks::<WIDTH>().0) {
        let sums = added(&first, mix, &from.map(|v| v.max(0.0)));
        to.iter_mut().zip(&sums).for_each(|(t, s)| *t += s);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_convolution_is_the_plain_formula_and_ends_in_silence() {
        let (frames, channels, dilation) = (9, 3, 2);
        let input: Vec<f32> = (0..frames * channels).map(|n| ((n * 7 % 11) as f32 - 5.0) / 5.0).collect();
        let weights: Vec<f32> = (0..TAPS * channels * WIDTH).map(|n| ((n * 5 % 13) as f32 - 6.0) / 6.0).collect();
        let bias: Vec<f32> = (0..WIDTH).map(|n| n as f32 / 10.0).collect();
        let mut out = vec![0.0; frames * WIDTH];
        convolve(&input, channels, &weights, &bias, dilation, &mut out);
        for t in 0..frames {
            for o in 0..WIDTH {
                let mut want = bias[o];
                for k in 0..TAPS {
                    let at = t as i64 + (k as i64 - 2) * dilation as i64;
                    for c in 0..channels {
                        if (0..frames as i64).contains(&at) {
                            want += input[at as usize * channels + c] * weights[(k * channels + c) * WIDTH + o];
                        }
                    }
                }
                assert!((out[t * WIDTH + o] - want).abs() < 1e-4, "frame {t}, channel {o}");
            }
        }
    }

    #[test]
    fn the_answer_is_that_of_the_trained_network() {
        // As `training/beats/reference.py` prints it: strokes every 22 frames, every fourth with more of the low bands.
        let mut input = Vec::new();
        for frame in 0..700 {
            for channel in 0..CHANNELS {
                input.push(match channel {
                    c if c < GROUPS && frame % 88 == 0 => 9.0,
                    c if c < 2 * GROUPS && frame % 22 == 0 => 6.0,
                    c if c < 2 * GROUPS => 0.1,
                    c if c < 2 * GROUPS + GROUPS / 2 => 2.0,
                    _ => 0.02,
                });
            }
        }
        let found = pulse(&input);
        for (frame, want) in REFERENCE {
            let got = [found.beat[2 * frame], found.beat[2 * frame + 1], found.down[2 * frame], found.down[2 * frame + 1]];
            assert!(got.iter().zip(&want).all(|(g, w)| (g - w).abs() < 2e-4), "frame {frame}: {got:?}, should be {want:?}");
        }
        assert!(found.meters.iter().zip(METERS_THERE).all(|(g, w)| (g - w).abs() < 1e-3), "{:?}", found.meters);
    }

    const REFERENCE: [(usize, [f32; 4]); 6] = [
        (0, [0.63059, 0.44940, 0.53705, 0.40088]),
        (22, [0.57549, 0.46781, 0.05572, 0.04165]),
        (341, [0.05055, 0.03723, 0.00821, 0.00662]),
        (352, [0.52441, 0.39929, 0.24436, 0.18519]),
        (353, [0.16689, 0.02735, 0.08745, 0.01225]),
        (699, [0.00028, 0.00058, 0.00010, 0.00017]),
    ];
    const METERS_THERE: [f32; METERS] = [0.94650, 0.02901, 0.02449];
}
