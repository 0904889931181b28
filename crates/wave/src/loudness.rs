//! How loud a buffer is: integrated, momentary and short-term loudness in LUFS, and the peak between samples in dBTP.
//!
//! # Method
//!
//! Integrated loudness: K-weighting, 400 ms blocks, gates at −70 LUFS and −10 LU (`integrated.rs`). Momentary (400 ms) and short-term (3 s)
//! loudness are read every 100 ms, by the crate `ebur128`. True peak: four times oversampling through a 24-tap windowed sinc a phase, the largest
//! value of all channels. Values in LUFS are rounded to a thousandth, so that a gain computed from them does not hang on the
//! last bit of a logarithm.
//!
//! References: ITU-R BS.1770-4 (annex 1: loudness; annex 2: true peak), EBU R 128, EBU Tech 3341.

use crate::Buffer;
use crate::fir::{Kernel, dot, kaiser_beta};
use crate::integrated;
use crate::units::db_from_gain;
use ebur128::{EbuR128, Mode};

/// Loudness of a whole buffer. `None` where there is nothing to measure: silence, or a sound too short.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Loudness {
    /// Integrated loudness. `None`: no 400 ms block above −70 LUFS.
    pub integrated_lufs: Option<f64>,
    /// Highest momentary loudness. `None`: below −120 LUFS throughout.
    pub momentary_max_lufs: Option<f64>,
    /// Highest short-term loudness. `None`: below −120 LUFS throughout.
    pub short_term_max_lufs: Option<f64>,
    /// Highest true peak of any channel. `None`: digital silence.
    pub true_peak_dbtp: Option<f64>,
}

/// Measures a buffer. Channels are taken as mono; left, right; or the first five of left, right, centre, (low frequency, not counted,) left and right
/// surround, as BS.1770 weighs them.
///
/// Empty and silent buffers give `None` throughout; so do the three loudness values at a rate below 1 kHz, for which the weighting is not
/// defined, and the integrated one for less than 400 ms of sound.
pub fn loudness(buffer: &Buffer) -> Loudness {
    let mut result = Loudness {
        integrated_lufs: integrated_lufs(buffer),
        true_peak_dbtp: true_peak_dbtp(buffer),
        ..Loudness::default()
    };
    let louder = |a: Option<f64>, b: Option<f64>| if b > a { b } else { a };
    look_at_moments(buffer, |meter| {
        result.momentary_max_lufs = louder(result.momentary_max_lufs, heard(meter.loudness_momentary()));
        result.short_term_max_lufs = louder(result.short_term_max_lufs, heard(meter.loudness_shortterm()));
    });
    result
}

/// Integrated loudness alone, as [`loudness`] has it, in less time: neither peaks nor the loudest moments are looked for.
pub fn integrated_lufs(buffer: &Buffer) -> Option<f64> {
    (buffer.rate_hz() >= LOWEST_RATE_HZ).then(|| integrated::integrated_lufs(buffer)).flatten().map(round_to_thousandth)
}

/// Below it loudness is not defined.
const LOWEST_RATE_HZ: u32 = 1_000;

/// Has a meter hear a buffer, and looks at it every 100 ms; not where loudness is not defined.
fn look_at_moments(buffer: &Buffer, mut look: impl FnMut(&EbuR128)) -> Option<()> {
    let rate_hz = buffer.rate_hz();
    if rate_hz < LOWEST_RATE_HZ || buffer.is_empty() {
        return None;
    }
    let mut meter = EbuR128::new(buffer.channel_count() as u32, rate_hz, Mode::S).ok()?;
    let hop = (rate_hz / 10) as usize;
    for start in (0..buffer.frames()).step_by(hop) {
        let end = (start + hop).min(buffer.frames());
        let planes: Vec<&[f32]> = buffer.channels().iter().map(|c| &c[start..end]).collect();
        meter.add_frames_planar_f32(&planes).ok()?;
        look(&meter);
    }
    Some(())
}

fn heard(value: Result<f64, ebur128::Error>) -> Option<f64> {
    value.ok().filter(|v| *v > -120.0).map(round_to_thousandth)
}

/// The largest true peak of any channel in dBTP; `None` for silence.
pub fn true_peak_dbtp(buffer: &Buffer) -> Option<f64> {
    let kernel = oversampling_kernel();
    let reach = reach(&kernel);
    let mut peak = buffer.peak();
    for samples in buffer.channels() {
        for from in (0..samples.len()).step_by(STRETCH) {
            let length = STRETCH.min(samples.len() - from);
            let padded = stretch_with_neighbours(&kernel, samples, from, length);
            for start in (0..length).step_by(BLOCK) {
                let end = (start + BLOCK).min(length);
                if could_exceed(&kernel, reach, &padded, start..end, peak) {
                    peak = (start..end).fold(peak, |p, at| p.max(peak_near(&kernel, &padded, at)));
                }
            }
        }
    }
    (peak > 0.0).then(|| db_from_gain(f64::from(peak)))
}

/// Frames that are copied together, so that a long record is not held twice.
const STRETCH: usize = 1 << 14;

/// As [`pad`], of `length` samples from `from` on, with the samples around them.
fn stretch_with_neighbours(
    kernel: &Kernel,
    samples: &[f32],
    from: usize,
    length: usize,
) -> Vec<f32> {
    let before = kernel.half - 1;
    let mut padded = vec![0.0; before.saturating_sub(from)];
    let end = (from + length + kernel.taps()).min(samples.len());
    padded.extend_from_slice(&samples[from.saturating_sub(before)..end]);
    padded.resize(length + kernel.taps() + before, 0.0);
    padded
}

/// Frames that are looked at together.
pub(crate) const BLOCK: usize = 64;

/// No point between samples is larger than the largest sample that it is made from times this, the kernel's absolute sum.
pub(crate) fn reach(kernel: &Kernel) -> f32 {
    let sum = |phase| kernel.row(phase).iter().map(|w| w.abs()).sum::<f32>();
    (1..4).map(sum).fold(1.0f32, f32::max) * 1.001
}

/// Whether anything at or after the frames of `range` can lie above `level`. Most of a piece of music is far below its peaks and need not be oversampled.
pub(crate) fn could_exceed(kernel: &Kernel, reach: f32, padded: &[f32], range: std::ops::Range<usize>, level: f32) -> bool {
    let window = &padded[range.start..range.end + kernel.taps() - 1];
    // Finite numbers without their sign are ordered as their bits are, and whole numbers are compared many at a time.
    let largest = window.iter().fold(0u32, |m, s| m.max(s.to_bits() & 0x7fff_ffff));
    f32::from_bits(largest) * reach > level
}

/// Four phases, 24 taps each (BS.1770-4 annex 2 gives 12 as an example).
pub(crate) fn oversampling_kernel() -> Kernel {
    Kernel::new(4, 1.0, 12.0, kaiser_beta(60.0))
}

/// Silence on both sides, so that the kernel fits everywhere; `padded[n + half - 1]` is sample `n`.
pub(crate) fn pad(kernel: &Kernel, samples: &[f32]) -> Vec<f32> {
    let mut padded = vec![0.0; kernel.half - 1];
    padded.extend_from_slice(samples);
    padded.resize(samples.len() + kernel.taps(), 0.0);
    padded
}

/// The largest absolute value at sample `at` and the three points between it and the next.
pub(crate) fn peak_near(kernel: &Kernel, padded: &[f32], at: usize) -> f32 {
    let window = &padded[at..at + kernel.taps()];
    (1..4).fold(window[kernel.half - 1].abs(), |p, phase| {
        p.max(dot(window, kernel.row(phase)).abs())
    })
}

fn round_to_thousandth(value: f64) -> f64 {
    (value * 1_000.0).round() / 1_000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A peak between the last sample of a stretch and the first of the next is found where one in the middle is.
    #[test]
    fn a_peak_at_a_seam_is_found() {
        let peak = |at: usize| {
            let mut samples = vec![0.0f32; 3 * STRETCH];
            for (n, s) in [0.1, -0.3, 0.8, 0.8, -0.3, 0.1].iter().enumerate() {
                samples[at - 3 + n] = *s;
            }
            true_peak_dbtp(&Buffer::from_mono(48_000, samples).unwrap()).unwrap()
        };
        for at in [STRETCH - 3, STRETCH, STRETCH + 2, 2 * STRETCH] {
            assert_eq!(peak(at), peak(STRETCH + 5_000), "{at}");
        }
        assert!(peak(STRETCH) > 0.0);
    }

    /// Leaving quiet stretches out finds the same peak, to the bit.
    #[test]
    fn true_peak_is_that_of_every_point() {
        let mut next = crate::dice(1);
        for round in 0..20 {
            let loud = 37 * round;
            let samples: Vec<f32> = (0..1000)
                .map(|n| {
                    next()
                        * if (loud..loud + 9).contains(&n) {
                            0.9
                        } else {
                            0.3
                        }
                })
                .collect();
            let kernel = oversampling_kernel();
            let padded = pad(&kernel, &samples);
            let plain =
                (0..samples.len()).fold(0.0f32, |p, at| p.max(peak_near(&kernel, &padded, at)));
            let found = true_peak_dbtp(&Buffer::from_mono(48_000, samples).unwrap()).unwrap();
            assert_eq!(found, db_from_gain(f64::from(plain)));
        }
    }
    use crate::units::gain_from_db;

    const RATE_HZ: u32 = 48_000;

    /// EBU Tech 3341, table 1: a stereo 1000 Hz sine, in stretches of (peak level in dBFS of each channel, seconds).
    fn tone(parts: &[(f64, f64)]) -> Buffer {
        let mut samples = Vec::new();
        for (dbfs, seconds) in parts {
            let gain = gain_from_db(*dbfs);
            for _ in 0..(seconds * f64::from(RATE_HZ)).round() as usize {
                let phase =
                    std::f64::consts::TAU * 1_000.0 * samples.len() as f64 / f64::from(RATE_HZ);
                samples.push((gain * libm::sin(phase)) as f32);
            }
        }
        Buffer::new(RATE_HZ, vec![samples.clone(), samples]).unwrap()
    }

    fn assert_near(value: Option<f64>, want: f64) {
        let value = value.expect("loud enough to measure");
        assert!(
            (value - want).abs() <= 0.1,
            "{value} LUFS instead of {want}"
        );
    }

    /// Tech 3341 cases 1 and 2: M, S and I all read the level.
    #[test]
    fn ebu_3341_cases_1_and_2() {
        for level in [-23.0, -33.0] {
            let l = loudness(&tone(&[(level, 20.0)]));
            assert_near(l.integrated_lufs, level);
            assert_near(l.momentary_max_lufs, level);
            assert_near(l.short_term_max_lufs, level);
        }
    }

    /// Tech 3341 case 3: the relative gate leaves the quiet ends out.
    #[test]
    fn ebu_3341_case_3() {
        assert_near(
            loudness(&tone(&[(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)])).integrated_lufs,
            -23.0,
        );
    }

    /// Tech 3341 case 4: the absolute gate leaves out what is below −70.
    #[test]
    fn ebu_3341_case_4() {
        let parts = [
            (-72.0, 10.0),
            (-36.0, 10.0),
            (-23.0, 60.0),
            (-36.0, 10.0),
            (-72.0, 10.0),
        ];
        assert_near(loudness(&tone(&parts)).integrated_lufs, -23.0);
    }

    /// Tech 3341 case 5.
    #[test]
    fn ebu_3341_case_5() {
        assert_near(
            loudness(&tone(&[(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)])).integrated_lufs,
            -23.0,
        );
    }

    /// Alone it is what it is beside the rest, to the bit; and it is not defined where that is not.
    #[test]
    fn integrated_alone_is_the_same() {
        let parts: [&[(f64, f64)]; 4] = [&[(-23.0, 20.0)], &[(-36.0, 10.0), (-23.0, 61.3), (-72.0, 10.0)], &[(-20.0, 0.3)], &[(-20.0, 0.41)]];
        for part in parts {
            let sound = tone(part);
            assert_eq!(integrated_lufs(&sound), loudness(&sound).integrated_lufs, "{part:?}");
        }
        assert!(integrated_lufs(&tone(parts[0])).is_some() && integrated_lufs(&tone(parts[2])).is_none());
        assert_eq!(integrated_lufs(&Buffer::silence(RATE_HZ, 2, 96_000).unwrap()), None);
        assert_eq!(integrated_lufs(&Buffer::from_mono(10, vec![0.5; 40]).unwrap()), None);
    }

    /// Tech 3341 cases 15 to 19: a sine at a quarter, sixth and eighth of the rate, whose samples straddle its peaks. Tolerance +0.2, −0.4 dB.
    #[test]
    fn ebu_3341_true_peaks() {
        let cases = [
            (4.0, 0.0, 0.5, -6.0),
            (4.0, 45.0, 0.5, -6.0),
            (6.0, 60.0, 0.5, -6.0),
            (8.0, 67.5, 0.5, -6.0),
            (4.0, 45.0, 1.41, 3.0),
        ];
        for (part, degrees, amplitude, want) in cases {
            let frames = RATE_HZ as usize / 2;
            let samples: Vec<f32> = (0..frames)
                .map(|n| {
                    let angle = std::f64::consts::TAU * n as f64 / part + f64::to_radians(degrees);
                    // Faded at both ends as the standard's own signals are.
                    let fade = (n.min(frames - n) as f64 / 2_400.0).min(1.0);
                    (amplitude * fade * libm::sin(angle)) as f32
                })
                .collect();
            let peak = true_peak_dbtp(&Buffer::from_mono(RATE_HZ, samples).unwrap()).unwrap();
            assert!(
                peak - want < 0.2 && peak - want > -0.4,
                "{peak} dBTP instead of {want}"
            );
        }
    }

    /// Against the other implementation at hand.
    #[test]
    fn true_peak_agrees_with_the_meter_crate() {
        let samples: Vec<f32> = (0..48_000)
            .map(|n| {
                (0.3 * libm::sin(n as f64 * 1.3) + 0.4 * libm::sin(n as f64 * 0.21 + 1.0)) as f32
            })
            .collect();
        let mut meter = EbuR128::new(1, RATE_HZ, Mode::TRUE_PEAK).unwrap();
        meter.add_frames_f32(&samples).unwrap();
        let theirs = 20.0 * meter.true_peak(0).unwrap().log10();
        let ours = true_peak_dbtp(&Buffer::from_mono(RATE_HZ, samples).unwrap()).unwrap();
        assert!((ours - theirs).abs() < 0.1, "{ours} {theirs}");
    }

    #[test]
    fn silence_and_nothing_have_no_loudness() {
        for frames in [0, 1, 48_000] {
            assert_eq!(
                loudness(&Buffer::silence(RATE_HZ, 2, frames).unwrap()),
                Loudness::default()
            );
        }
        let short = loudness(&tone(&[(-20.0, 0.3)]));
        assert_eq!(short.integrated_lufs, None);
        assert!(short.true_peak_dbtp.is_some() && short.momentary_max_lufs.is_some());
        assert_eq!(
            loudness(&Buffer::from_mono(10, vec![0.5; 40]).unwrap()).integrated_lufs,
            None
        );
    }
}
