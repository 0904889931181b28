//! The same sound slower or faster, its pitch kept, or moved by so many cents.
//!
//! # Method
//!
//! A phase vocoder whose phases are predicted both along time and across neighbouring bands (the crate `ssstretch`, a C++ library behind a
//! Rust wrapper), blocks of 120 ms every 30 ms. It hears `input_latency` frames ahead and speaks `output_latency` frames late: silence
//! of the first length is put behind the sound, and `output_latency + ratio * input_latency` frames are dropped before it, so
//! that time `t` of the input lies at `ratio * t` of the output.
//!
//! A shift in pitch by a factor `f` is a stretch by `ratio * f`, read `f` times as fast ([`resample`](mod@crate::resample)). The library could
//! shift by itself, but measured 6 cents off at a fourth down; this way is exact. Beyond twice the length it goes in equal steps of
//! at most 2, for past that the library scatters phases.
//!
//! # Determinism
//!
//! The same input gives the same bytes. The library's tables come from the C++ library's `sin` and `cos`.

use crate::Buffer;
use crate::resample::convert;
use crate::slow::{FASTEST_PERCENT, SLOWEST_PERCENT};
use crate::units::Seconds;

/// How to stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StretchConfig {
    /// Output length over input length: 2 is half the speed. 0.25 to 4.
    pub ratio: f64,
    /// Pitch shift in cents, −1200 to 1200. 0 keeps the pitch.
    pub cents: f64,
}

impl Default for StretchConfig {
    fn default() -> Self {
        StretchConfig {
            ratio: 1.0,
            cents: 0.0,
        }
    }
}

/// Why a buffer cannot be stretched as asked.
#[derive(Clone, Debug, PartialEq)]
pub enum StretchError {
    /// The ratio is not a number or out of range.
    Ratio { found: f64 },
    /// The shift is not a number or out of range.
    Cents { found: f64 },
    /// The tempo asked of [`slow`](crate::slow()) is not a number or out of range.
    Percent { found: f64 },
    /// The rate is too low or too high for the method.
    Rate { found_hz: u32 },
}

impl std::fmt::Display for StretchError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            StretchError::Ratio { found } => write!(
                f,
                "stretch ratio is {found}; it must be {LEAST_RATIO} to {MOST_RATIO}"
            ),
            StretchError::Cents { found } => {
                write!(
                    f,
                    "pitch shift is {found} cents; it must be -{MOST_CENTS} to {MOST_CENTS}"
                )
            }
            StretchError::Percent { found } => {
                write!(
                    f,
                    "the tempo is {found} percent; it must be {SLOWEST_PERCENT} to {FASTEST_PERCENT} percent"
                )
            }
            StretchError::Rate { found_hz } => {
                write!(
                    f,
                    "sample rate is {found_hz} Hz; stretching needs {LEAST_HZ} to {MOST_HZ} Hz: resample it first"
                )
            }
        }
    }
}

impl std::error::Error for StretchError {}

const LEAST_RATIO: f64 = 0.25;
const MOST_RATIO: f64 = 4.0;
const MOST_CENTS: f64 = 1_200.0;
const LEAST_HZ: u32 = 4_000;
const MOST_HZ: u32 = 192_000;
/// Beyond this the library scatters phases, which moves clicks by 5 ms and low notes by cents.
const MOST_IN_ONE_STEP: f64 = 2.0;
const SEED: i64 = 1;

/// `buffer` made `ratio` times as long, its pitch kept. As [`stretch_with`].
pub fn stretch(buffer: &Buffer, ratio: f64) -> Result<Buffer, StretchError> {
    stretch_with(
        buffer,
        &StretchConfig {
            ratio,
            ..StretchConfig::default()
        },
    )
}

/// `buffer` stretched and shifted. The length is `round(frames * ratio)`. A ratio of 1 without a shift gives the samples back unchanged; empty
/// stays empty, silence stays silent.
///
/// Errors: a ratio or shift out of range, a rate below 4 kHz or above 192 kHz.
pub fn stretch_with(buffer: &Buffer, config: &StretchConfig) -> Result<Buffer, StretchError> {
    let StretchConfig { ratio, cents } = *config;
    if !(LEAST_RATIO..=MOST_RATIO).contains(&ratio) {
        return Err(StretchError::Ratio { found: ratio });
    }
    if !(-MOST_CENTS..=MOST_CENTS).contains(&cents) {
        return Err(StretchError::Cents { found: cents });
    }
    let rate_hz = buffer.rate_hz();
    if !(LEAST_HZ..=MOST_HZ).contains(&rate_hz) {
        return Err(StretchError::Rate { found_hz: rate_hz });
    }
    let frames = (buffer.frames() as f64 * ratio).round() as usize;
    if (ratio == 1.0 && cents == 0.0) || buffer.is_empty() {
        return Ok(buffer.clone());
    }

    let mut channels = if cents == 0.0 {
        in_steps(buffer.channels(), rate_hz, ratio, frames)
    } else {
        let factor = libm::exp2(cents / 1_200.0);
        // The factor as a ratio of two rates, to a thousandth of a cent or better.
        let to = 8 * rate_hz;
        let from = (f64::from(to) * factor).round() as u32;
        let inner = f64::from(from) / f64::from(to) * ratio;
        // A little more than needed, so that rounding leaves no gap at the end.
        let longer = (buffer.frames() as f64 * inner).ceil() as usize + 2;
        convert(
            &in_steps(buffer.channels(), rate_hz, inner, longer),
            from,
            to,
        )
    };
    for plane in &mut channels {
        plane.resize(frames, 0.0);
        for s in plane.iter_mut().filter(|s| !s.is_finite()) {
            *s = 0.0;
        }
    }
    Buffer::new(rate_hz, channels).map_err(|_| StretchError::Rate { found_hz: rate_hz })
}

/// The first `frames` frames of the stretched channels, in as many equal steps as keep each within a factor of [`MOST_IN_ONE_STEP`].
fn in_steps(channels: &[Vec<f32>], rate_hz: u32, ratio: f64, frames: usize) -> Vec<Vec<f32>> {
    let mut steps = 1;
    while libm::pow(ratio, 1.0 / f64::from(steps)) > MOST_IN_ONE_STEP {
        steps += 1;
    }
    let each = libm::pow(ratio, 1.0 / f64::from(steps));
    let mut planes: Option<Vec<Vec<f32>>> = None;
    for step in 1..=steps {
        let input = planes.as_deref().unwrap_or(channels);
        let length = if step == steps {
            frames
        } else {
            (input[0].len() as f64 * each).ceil() as usize
        };
        planes = Some(stretch_channels(input, rate_hz, each, length));
    }
    planes.unwrap_or_default()
}

/// The first `frames` frames of the stretched channels.
fn stretch_channels(
    samples: &[Vec<f32>],
    rate_hz: u32,
    ratio: f64,
    frames: usize,
) -> Vec<Vec<f32>> {
    let channels = samples.len();
    let mut machine = ssstretch::Stretch::with_seed(SEED);
    machine.preset_default(channels as i32, rate_hz as f32);
    let input_latency = machine.input_latency().max(0) as usize;
    let output_latency = machine.output_latency().max(0) as usize;
    let dropped = output_latency + (input_latency as f64 * ratio).round() as usize;
    let wanted = dropped + frames;

    // In pieces of about a second, for the library counts positions within a piece in single precision.
    let piece = Seconds(1.0).to_frames(rate_hz);
    let mut out = vec![Vec::with_capacity(wanted); channels];
    let (mut read, mut written) = (0, 0);
    let mut input = vec![vec![0.0f32; piece]; channels];
    let mut output = vec![Vec::new(); channels];
    while written < wanted {
        for (plane, samples) in input.iter_mut().zip(samples) {
            for (n, s) in plane.iter_mut().enumerate() {
                let sample = samples.get(read + n).copied().unwrap_or(0.0);
                *s = if sample.is_finite() { sample } else { 0.0 };
            }
        }
        read += piece;
        let count = (read as f64 * ratio).round() as usize - written;
        machine.process_vec(&input, piece as i32, &mut output, count as i32);
        for (all, new) in out.iter_mut().zip(&output) {
            all.extend_from_slice(&new[..count]);
        }
        written += count;
    }
    for plane in &mut out {
        plane.truncate(wanted);
        plane.drain(..dropped);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATE_HZ: u32 = 44_100;

    fn sine(frames: usize, hz: f64) -> Buffer {
        let samples = (0..frames)
            .map(|n| 0.5 * libm::sin(TAU * hz * n as f64 / f64::from(RATE_HZ)) as f32)
            .collect();
        Buffer::from_mono(RATE_HZ, samples).unwrap()
    }

    /// Frequency from the advance of phase between windows further and further apart.
    fn frequency(samples: &[f32], near_hz: f64) -> f64 {
        let window = 16_384;
        let phase = |start: usize, hz: f64| {
            let (mut re, mut im) = (0.0, 0.0);
            for n in 0..window {
                let hann = 0.5 - 0.5 * libm::cos(TAU * n as f64 / window as f64);
                let angle = TAU * hz * (start + n) as f64 / f64::from(RATE_HZ);
                re += f64::from(samples[start + n]) * hann * libm::cos(angle);
                im -= f64::from(samples[start + n]) * hann * libm::sin(angle);
            }
            libm::atan2(im, re)
        };
        let start = samples.len() / 8;
        let mut hz = near_hz;
        let mut apart = 4_096;
        while start + apart + window < samples.len() * 7 / 8 {
            let mut turn = (phase(start + apart, hz) - phase(start, hz)) / TAU;
            turn -= turn.round();
            hz += turn * f64::from(RATE_HZ) / apart as f64;
            apart *= 2;
        }
        hz
    }

    fn cents(hz: f64, want: f64) -> f64 {
        1_200.0 * libm::log2(hz / want)
    }

    #[test]
    fn lengths_are_exact() {
        for (frames, ratio) in [
            (0, 2.0),
            (1, 1.5),
            (7, 0.25),
            (44_100, 1.6667),
            (100_003, 0.75),
            (60_000, 1.0 / 0.6),
        ] {
            let out = stretch(&Buffer::silence(RATE_HZ, 2, frames).unwrap(), ratio).unwrap();
            assert_eq!(
                out.frames(),
                (frames as f64 * ratio).round() as usize,
                "{frames} frames times {ratio}"
            );
            assert_eq!(out.peak(), 0.0);
        }
    }

    #[test]
    fn clicks_land_within_a_millisecond() {
        // Clicks of 0.2 ms, 1 s apart, over a faint tone so that no stretch of the input is dead silence.
        let mut clicks = sine(RATE_HZ as usize * 5, 150.0);
        clicks.scale(0.002);
        for second in 1..=4 {
            for n in 0..9 {
                clicks.channel_mut(0)[second * RATE_HZ as usize + n] += 0.9;
            }
        }
        for ratio in [
            4.0,
            1.0 / 0.35,
            2.0,
            1.0 / 0.6,
            1.0 / 0.75,
            1.0 / 0.9,
            0.8,
            0.5,
        ] {
            let out = stretch(&clicks, ratio).unwrap();
            for second in 1..=4 {
                let want = second as f64 * ratio * f64::from(RATE_HZ);
                let from = want as usize - 4_410;
                let around = &out.channel(0)[from..from + 8_820];
                // The centre of the click's energy about its maximum.
                let top = (0..around.len())
                    .max_by(|a, b| around[*a].abs().total_cmp(&around[*b].abs()))
                    .unwrap();
                let off_ms = (from as f64 + top as f64 - want) * 1_000.0 / f64::from(RATE_HZ);
                assert!(
                    off_ms.abs() < 1.0,
                    "ratio {ratio}: click {second} lies {off_ms:.2} ms off"
                );
            }
        }
    }

    #[test]
    fn pitch_is_kept() {
        for ratio in [4.0, 1.0 / 0.35, 2.0, 1.0 / 0.6, 1.0 / 0.75, 0.8, 0.5] {
            for hz in [82.407, 440.0, 1_318.51] {
                let out = stretch(&sine(RATE_HZ as usize * 3, hz), ratio).unwrap();
                let off = cents(frequency(out.channel(0), hz), hz);
                assert!(off.abs() < 0.5, "{hz} Hz times {ratio}: {off} cents off");
            }
        }
    }

    #[test]
    fn pitch_moves_by_the_cents_asked_for() {
        for shift in [-500.0, -31.5, 31.5, 200.0, 700.0] {
            let config = StretchConfig {
                ratio: 1.25,
                cents: shift,
            };
            let out = stretch_with(&sine(RATE_HZ as usize * 3, 440.0), &config).unwrap();
            let want = 440.0 * libm::exp2(shift / 1_200.0);
            let off = cents(frequency(out.channel(0), want), want);
            assert!(off.abs() < 1.0, "{shift} cents: {off} off");
        }
    }

    #[test]
    fn the_level_is_kept() {
        let out = stretch(&sine(RATE_HZ as usize * 3, 440.0), 1.5).unwrap();
        let middle = &out.channel(0)[40_000..100_000];
        let rms = libm::sqrt(
            middle.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / middle.len() as f64,
        );
        assert!(
            (20.0 * libm::log10(rms / (0.5 / libm::sqrt(2.0)))).abs() < 0.2,
            "{rms}"
        );
    }

    #[test]
    fn the_same_bytes_twice() {
        let input = sine(RATE_HZ as usize, 330.0);
        for ratio in [1.3, 3.0] {
            assert_eq!(
                stretch(&input, ratio).unwrap(),
                stretch(&input, ratio).unwrap()
            );
        }
        assert_eq!(stretch(&input, 1.0).unwrap(), input);
    }

    #[test]
    fn out_of_range_is_refused() {
        let one = Buffer::silence(RATE_HZ, 1, 1).unwrap();
        for found in [0.0, -1.0, 5.0, f64::INFINITY] {
            assert_eq!(stretch(&one, found), Err(StretchError::Ratio { found }));
        }
        assert!(stretch(&one, f64::NAN).is_err());
        let config = StretchConfig {
            ratio: 1.0,
            cents: 1_201.0,
        };
        assert_eq!(
            stretch_with(&one, &config),
            Err(StretchError::Cents { found: 1_201.0 })
        );
        let low = Buffer::silence(100, 1, 1).unwrap();
        assert_eq!(
            stretch(&low, 2.0),
            Err(StretchError::Rate { found_hz: 100 })
        );
    }
}
