//! The same sound at another sample rate.
//!
//! # Method
//!
//! Each output frame is a weighted sum of the input frames around its time; the weights are a Kaiser-windowed sinc from a table of phases.
//! For the usual pairs of rates the table holds every phase that occurs; otherwise 1024, with linear interpolation between two rows.
//! Pass band: to 0.907 of the lower rate's Nyquist frequency (20 kHz at 44.1 kHz) flat within 0.01 dB. Stop band: from that
//! Nyquist frequency at least 95 dB down. The kernel is symmetric and centred: nothing is delayed.
//!
//! # Departure
//!
//! A library on an FFT or with CPU dispatch would be faster, but its last bits depend on the CPU, and these samples end in
//! files that must be the same everywhere. Here all is scalar arithmetic in a fixed order.
//!
//! References: see `fir.rs`.

use crate::Buffer;
use crate::fir::{Kernel, dot, kaiser_beta};

/// Why a buffer cannot be resampled as asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ResampleError {
    /// A rate of 0 or above [`Buffer::MAX_RATE_HZ`].
    Rate { found_hz: u32 },
    /// The rates are more than a factor 64 apart.
    Ratio { from_hz: u32, to_hz: u32 },
}

impl std::fmt::Display for ResampleError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            ResampleError::Rate { found_hz } => {
                write!(
                    f,
                    "sample rate is {found_hz} Hz; it must be 1 to {} Hz",
                    Buffer::MAX_RATE_HZ
                )
            }
            ResampleError::Ratio { from_hz, to_hz } => write!(
                f,
                "from {from_hz} Hz to {to_hz} Hz is too far in one step; they must be within a factor of {MOST_RATIO}"
            ),
        }
    }
}

impl std::error::Error for ResampleError {}

const MOST_RATIO: u32 = 64;
const MOST_PHASES: usize = 1_024;
/// Pass band edge over the Nyquist frequency: 20 kHz of 22.05 kHz.
const PASS: f64 = 20_000.0 / 22_050.0;
const ATTENUATION_DB: f64 = 100.0;

/// `buffer` at `rate_hz`. The length is `round(frames * rate_hz / buffer.rate_hz())`; frame 0 stays at time 0; before the beginning and after
/// the end there is silence. The same rate gives the buffer back unchanged; empty stays empty.
///
/// Errors: a rate out of range, rates more than a factor 64 apart.
pub fn resample(buffer: &Buffer, rate_hz: u32) -> Result<Buffer, ResampleError> {
    let from_hz = buffer.rate_hz();
    if rate_hz == 0 || rate_hz > Buffer::MAX_RATE_HZ {
        return Err(ResampleError::Rate { found_hz: rate_hz });
    }
    if rate_hz / MOST_RATIO > from_hz || from_hz / MOST_RATIO > rate_hz {
        return Err(ResampleError::Ratio {
            from_hz,
            to_hz: rate_hz,
        });
    }
    if rate_hz == from_hz {
        return Ok(buffer.clone());
    }
    Buffer::new(rate_hz, convert(buffer.channels(), from_hz, rate_hz))
        .map_err(|_| ResampleError::Rate { found_hz: rate_hz })
}

/// Channels of one rate at another; only the rates' ratio counts. Both above 0, within [`MOST_RATIO`].
pub(crate) fn convert(channels: &[Vec<f32>], from_hz: u32, to_hz: u32) -> Vec<Vec<f32>> {
    let divisor = gcd(from_hz, to_hz);
    // Output frame n lies at input time n * step / parts.
    let (parts, step) = (u64::from(to_hz / divisor), u64::from(from_hz / divisor));
    let phases = (parts as usize).min(MOST_PHASES);
    let exact = phases as u64 == parts;

    // Kaiser 1974: N - 1 = (A - 8) / (2.285 dw), the transition dw in radians a sample at the lower rate.
    let narrowing = (f64::from(to_hz) / f64::from(from_hz)).min(1.0);
    let half_width =
        (ATTENUATION_DB - 8.0) / (2.285 * std::f64::consts::PI * (1.0 - PASS)) / 2.0 / narrowing;
    let kernel = Kernel::new(
        phases,
        narrowing * (1.0 + PASS) / 2.0,
        half_width,
        kaiser_beta(ATTENUATION_DB),
    );

    let mut blend = vec![0.0f32; kernel.taps()];
    let mut out_channels = Vec::with_capacity(channels.len());
    for samples in channels {
        let frames = ((samples.len() as u64 * parts + step / 2) / step) as usize;
        let mut padded = vec![0.0f32; kernel.half - 1];
        padded.extend_from_slice(samples);
        padded.resize(samples.len() + 2 * kernel.half + 1, 0.0);
        let mut out = Vec::with_capacity(frames);
        for n in 0..frames as u64 {
            let (at, part) = ((n * step / parts) as usize, n * step % parts);
            let window = &padded[at..at + kernel.taps()];
            if exact {
                out.push(dot(window, kernel.row(part as usize)));
                continue;
            }
            let place = part as f64 / parts as f64 * phases as f64;
            let low = (place as usize).min(phases - 1);
            let weight = (place - low as f64) as f32;
            for ((b, x), y) in blend
                .iter_mut()
                .zip(kernel.row(low))
                .zip(kernel.row(low + 1))
            {
                *b = x + (y - x) * weight;
            }
            out.push(dot(window, &blend));
        }
        out_channels.push(out);
    }
    out_channels
}

fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn sine(rate_hz: u32, frames: usize, hz: f64) -> Buffer {
        let samples = (0..frames)
            .map(|n| libm::sin(TAU * hz * n as f64 / f64::from(rate_hz)) as f32)
            .collect();
        Buffer::from_mono(rate_hz, samples).unwrap()
    }

    /// Largest difference from the sine sampled at the new rate, away from the ends.
    fn error(from_hz: u32, to_hz: u32, hz: f64) -> f64 {
        let out = resample(&sine(from_hz, from_hz as usize / 4, hz), to_hz).unwrap();
        let want = sine(to_hz, out.frames(), hz);
        let edge = to_hz as usize / 50;
        (edge..out.frames() - edge).fold(0.0, |e, n| {
            f64::max(e, f64::from((out.channel(0)[n] - want.channel(0)[n]).abs()))
        })
    }

    fn level_db(from_hz: u32, to_hz: u32, hz: f64) -> f64 {
        let out = resample(&sine(from_hz, from_hz as usize / 4, hz), to_hz).unwrap();
        let edge = to_hz as usize / 50;
        let middle = &out.channel(0)[edge..out.frames() - edge];
        let power = middle.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / middle.len() as f64;
        10.0 * libm::log10(power * 2.0 + 1e-30)
    }

    #[test]
    fn the_pass_band_is_kept_in_level_and_time() {
        for (from, to) in [
            (44_100, 48_000),
            (48_000, 44_100),
            (96_000, 48_000),
            (22_050, 48_000),
            (48_000, 32_000),
        ] {
            let nyquist = f64::from(from.min(to)) / 2.0;
            for part in [0.01, 0.1, 0.5, 0.8, 0.9] {
                let e = error(from, to, nyquist * part);
                // 0.01 dB is 0.00115 of the amplitude.
                assert!(e < 0.000_12, "{from} to {to} at {part} of Nyquist: {e}");
            }
        }
    }

    #[test]
    fn rates_without_a_full_table_are_interpolated_well() {
        let e = error(44_100, 47_999, 1_000.0);
        assert!(e < 2e-5, "{e}");
        let e = error(44_100, 47_999, 18_000.0);
        assert!(e < 1e-4, "{e}");
    }

    #[test]
    fn what_would_alias_is_gone() {
        for (from, to, hz) in [
            (48_000, 44_100, 22_500.0),
            (96_000, 48_000, 25_000.0),
            (96_000, 44_100, 40_000.0),
        ] {
            let db = level_db(from, to, hz);
            assert!(db < -95.0, "{hz} Hz from {from} to {to}: {db} dB");
        }
    }

    /// The image of a tone just below Nyquist, when the rate goes up, lies as far above it.
    #[test]
    fn images_are_gone() {
        let out = resample(&sine(44_100, 22_050, 19_000.0), 96_000).unwrap();
        let middle = &out.channel(0)[4_000..44_000];
        let image_hz = 44_100.0 - 19_000.0;
        let (mut re, mut im) = (0.0, 0.0);
        for (n, s) in middle.iter().enumerate() {
            let hann = 0.5 - 0.5 * libm::cos(TAU * n as f64 / middle.len() as f64);
            let phase = TAU * image_hz * n as f64 / 96_000.0;
            re += f64::from(*s) * hann * libm::cos(phase);
            im += f64::from(*s) * hann * libm::sin(phase);
        }
        let amplitude = 4.0 * libm::hypot(re, im) / middle.len() as f64;
        assert!(20.0 * libm::log10(amplitude) < -95.0, "{amplitude}");
    }

    #[test]
    fn lengths_are_exact() {
        for frames in [0, 1, 2, 146, 147, 148, 44_100, 44_101] {
            let out = resample(&Buffer::silence(44_100, 2, frames).unwrap(), 48_000).unwrap();
            let want = (frames as f64 * 48_000.0 / 44_100.0).round() as usize;
            assert_eq!(
                (out.frames(), out.channel_count(), out.rate_hz()),
                (want, 2, 48_000)
            );
        }
    }

    #[test]
    fn a_click_stays_where_it_was() {
        let mut click = Buffer::silence(44_100, 1, 4_410).unwrap();
        click.channel_mut(0)[2_205] = 1.0;
        let out = resample(&click, 48_000).unwrap();
        let loudest = (0..out.frames()).max_by(|a, b| {
            out.channel(0)[*a]
                .abs()
                .total_cmp(&out.channel(0)[*b].abs())
        });
        assert_eq!(loudest, Some(2_400));
    }

    #[test]
    fn a_constant_stays_constant() {
        let out = resample(
            &Buffer::from_mono(44_100, vec![0.5; 4_410]).unwrap(),
            48_000,
        )
        .unwrap();
        assert!(
            out.channel(0)[200..4_600]
                .iter()
                .all(|s| (s - 0.5).abs() < 1e-6)
        );
    }

    #[test]
    fn out_of_range_is_refused() {
        let one = Buffer::silence(48_000, 1, 1).unwrap();
        assert_eq!(resample(&one, 0), Err(ResampleError::Rate { found_hz: 0 }));
        assert_eq!(
            resample(&one, 700),
            Err(ResampleError::Ratio {
                from_hz: 48_000,
                to_hz: 700
            })
        );
        assert_eq!(resample(&one, 48_000), Ok(one));
    }
}
