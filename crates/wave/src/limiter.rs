//! One gain for every frame of a mix, so that its true peak stays under a ceiling; applied to all stems alike, they still sum to the mix.
//!
//! # Method
//!
//! From each frame's true peak (four times oversampled) comes the gain that it allows. The allowed gain is held down for the look-ahead
//! before and after each peak (running minimum), rises from there exponentially (release), and is smoothed by two running means
//! that together are as long as the look-ahead: a mean of values that are all allowed is allowed. Between frames the curve moves so little that the true
//! peak follows; what it misses is measured and the threshold lowered by it, until the product is under the ceiling.

use crate::Buffer;
use crate::loudness::{BLOCK, could_exceed, oversampling_kernel, pad, peak_near, reach, true_peak_dbtp};
use crate::units::{Seconds, gain_from_db};

/// How the gain moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimiterConfig {
    /// Highest true peak allowed, dBTP (−1 for what pupils get).
    pub ceiling_dbtp: f64,
    /// How long before a peak the gain begins to fall. 0 to 1 s.
    pub look_ahead: Seconds,
    /// Time constant of the rise after a peak. 0 to 10 s.
    pub release: Seconds,
    /// Whether the mix is a loop: the curve's end then runs into its beginning.
    pub cyclic: bool,
}

impl Default for LimiterConfig {
    fn default() -> Self {
        LimiterConfig {
            ceiling_dbtp: -1.0,
            look_ahead: Seconds(0.005),
            release: Seconds(0.1),
            cyclic: false,
        }
    }
}

/// The gain curve of `mix` for a ceiling, with the default look-ahead and release. As [`gain_curve_with`].
pub fn gain_curve(mix: &Buffer, ceiling_dbtp: f64) -> Vec<f32> {
    gain_curve_with(
        mix,
        &LimiterConfig {
            ceiling_dbtp,
            ..LimiterConfig::default()
        },
    )
}

/// A gain above 0 and up to 1 for every frame of `mix`. All ones where the mix is under the ceiling already; empty for an empty mix.
///
/// The mix times this curve has a true peak of at most the ceiling, as [`true_peak_dbtp`] measures it.
pub fn gain_curve_with(mix: &Buffer, config: &LimiterConfig) -> Vec<f32> {
    let frames = mix.frames();
    let ones = vec![1.0f32; frames];
    let over = |m: &Buffer| true_peak_dbtp(m).map_or(0.0, |peak| peak - config.ceiling_dbtp);
    if frames == 0 || !config.ceiling_dbtp.is_finite() || over(mix) <= 0.0 {
        return ones;
    }
    // Peaks well under the ceiling are never limited, nor need they be known.
    let peaks = frame_peaks(mix, gain_from_db(config.ceiling_dbtp - 2.0) as f32);
    let mut threshold_dbtp = config.ceiling_dbtp;
    for _ in 0..8 {
        let curve = curve_under(&peaks, gain_from_db(threshold_dbtp), mix.rate_hz(), config);
        let mut limited = mix.clone();
        apply_gain_curve(&mut limited, &curve);
        let excess = over(&limited);
        if excess <= 0.0 {
            return curve;
        }
        threshold_dbtp -= excess + 0.001;
    }
    // A constant gain cannot miss.
    vec![gain_from_db(-over(mix) - 0.001) as f32; frames]
}

/// Multiplies every channel by the curve, frame by frame. Frames past the curve's end get its last value; an empty curve changes nothing.
pub fn apply_gain_curve(buffer: &mut Buffer, curve: &[f32]) {
    let Some(&last) = curve.last() else { return };
    for channel in 0..buffer.channel_count() {
        let gains = curve.iter().copied().chain(std::iter::repeat(last));
        for (s, gain) in buffer.channel_mut(channel).iter_mut().zip(gains) {
            *s *= gain;
        }
    }
}

/// The largest true peak at each frame and up to its neighbours, over all channels; where it is at most `floor`, anything from 0 to it.
fn frame_peaks(mix: &Buffer, floor: f32) -> Vec<f32> {
    let kernel = oversampling_kernel();
    let reach = reach(&kernel);
    let mut peaks = vec![0.0f32; mix.frames()];
    for samples in mix.channels() {
        let padded = pad(&kernel, samples);
        for start in (0..samples.len()).step_by(BLOCK) {
            let end = (start + BLOCK).min(samples.len());
            if !could_exceed(&kernel, reach, &padded, start..end, floor) {
                continue;
            }
            for at in start..end {
                let peak = peak_near(&kernel, &padded, at);
                peaks[at] = peaks[at].max(peak);
                if let Some(next) = peaks.get_mut(at + 1) {
                    *next = next.max(peak);
                }
            }
        }
    }
    peaks
}

fn curve_under(peaks: &[f32], threshold: f64, rate_hz: u32, config: &LimiterConfig) -> Vec<f32> {
    let frames = peaks.len();
    let reach = Seconds(config.look_ahead.0.clamp(0.0, 1.0))
        .to_frames(rate_hz)
        .max(2);
    let release_frames = config.release.0.clamp(0.0, 10.0) * f64::from(rate_hz);
    let rise = if release_frames > 1.0 {
        1.0 - libm::exp(-1.0 / release_frames)
    } else {
        1.0
    };

    // For a loop its end is put before its beginning and its beginning behind its end.
    let around = if config.cyclic {
        (reach * 2 + (release_frames * 8.0) as usize).min(frames)
    } else {
        0
    };
    let allowed: Vec<f64> = (0..frames + 2 * around)
        .map(|n| (threshold / f64::from(peaks[(n + frames - around) % frames]).max(1e-9)).min(1.0))
        .collect();

    let mut held = running_minimum(&allowed, reach);
    let mut gain = held.first().copied().unwrap_or(1.0);
    for h in &mut held {
        gain = h.min(gain + (1.0 - gain) * rise);
        *h = gain;
    }
    let half = reach / 2;
    let smooth = running_mean(&running_mean(&held, half), half);
    smooth[around..around + frames]
        .iter()
        .map(|g| *g as f32)
        .collect()
}

/// The least value within `reach` on both sides.
fn running_minimum(values: &[f64], reach: usize) -> Vec<f64> {
    let mut queue: std::collections::VecDeque<usize> = std::collections::VecDeque::new();
    let mut out = Vec::with_capacity(values.len());
    for n in 0..values.len() + reach {
        if let Some(v) = values.get(n) {
            while queue.back().is_some_and(|&i| values[i] >= *v) {
                queue.pop_back();
            }
            queue.push_back(n);
        }
        if n >= reach {
            let centre = n - reach;
            while queue.front().is_some_and(|&i| i + reach < centre) {
                queue.pop_front();
            }
            out.push(queue.front().map_or(1.0, |&i| values[i]));
        }
    }
    out
}

/// The mean within `reach` on both sides; the ends are continued by their own value.
fn running_mean(values: &[f64], reach: usize) -> Vec<f64> {
    let (Some(first), Some(last)) = (values.first().copied(), values.last().copied()) else {
        return Vec::new();
    };
    let value = |i: isize| {
        if i < 0 {
            first
        } else {
            values.get(i as usize).copied().unwrap_or(last)
        }
    };
    let width = (2 * reach + 1) as f64;
    // Summed anew now and then, so that rounding does not build up.
    let mut out = Vec::with_capacity(values.len());
    let mut sum = 0.0;
    for n in 0..values.len() as isize {
        let r = reach as isize;
        if n % 4_096 == 0 {
            sum = (n - r..=n + r).map(value).sum();
        } else {
            sum += value(n + r) - value(n - r - 1);
        }
        out.push((sum / width).min(1.0));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn burst(frames: usize, at: usize, gain: f32) -> Buffer {
        let samples = (0..frames)
            .map(|n| {
                let tone = libm::sinf(n as f32 * 0.35);
                let swell = if (at..at + 400).contains(&n) {
                    libm::sinf((n - at) as f32 / 400.0 * std::f32::consts::PI)
                } else {
                    0.0
                };
                tone * (0.3 + (gain - 0.3) * swell)
            })
            .collect();
        Buffer::from_mono(48_000, samples).unwrap()
    }

    #[test]
    fn a_quiet_mix_is_left_alone() {
        assert!(
            gain_curve(&burst(9_000, 4_000, 0.5), -1.0)
                .iter()
                .all(|g| *g == 1.0)
        );
        assert_eq!(
            gain_curve(&Buffer::silence(48_000, 2, 3).unwrap(), -1.0),
            [1.0; 3]
        );
        assert_eq!(
            gain_curve(&Buffer::silence(48_000, 2, 0).unwrap(), -1.0),
            [0.0f32; 0]
        );
    }

    #[test]
    fn only_the_neighbourhood_of_a_peak_is_turned_down() {
        let curve = gain_curve(&burst(48_000, 20_000, 2.0), -1.0);
        assert!(
            curve[..19_000].iter().all(|g| *g == 1.0),
            "before the look-ahead"
        );
        let least = curve.iter().copied().fold(1.0, f32::min);
        assert!((least - 0.445).abs() < 0.01, "{least}");
        assert!(curve[47_000] > 0.99, "released");
        // No step: full scale would take at least 2 ms.
        assert!(curve.windows(2).all(|w| (w[1] - w[0]).abs() < 0.01));
    }

    #[test]
    fn the_running_mean_and_minimum_are_what_they_say() {
        let values: Vec<f64> = (0..9_000)
            .map(|n| ((n * 7_919) % 101) as f64 / 101.0)
            .collect();
        let (means, least) = (running_mean(&values, 3), running_minimum(&values, 3));
        for n in 3..values.len() - 3 {
            let window = &values[n - 3..=n + 3];
            assert!((means[n] - window.iter().sum::<f64>() / 7.0).abs() < 1e-9);
            assert_eq!(least[n], window.iter().copied().fold(1.0, f64::min));
        }
    }

    #[test]
    fn a_loop_has_no_step_at_its_seam() {
        // A peak 50 frames before the end.
        let mix = burst(24_000, 23_750, 2.0);
        let curve = gain_curve_with(
            &mix,
            &LimiterConfig {
                cyclic: true,
                ..LimiterConfig::default()
            },
        );
        assert!(
            (curve[0] - curve[23_999]).abs() < 0.01,
            "{} then {}",
            curve[23_999],
            curve[0]
        );
        assert!(curve[0] < 0.7);
        let once = gain_curve(&mix, -1.0);
        assert!(once[0] == 1.0);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// Stems times the curve sum to the mix times the curve, which is under the ceiling.
        #[test]
        fn stems_stay_in_balance(
            seed in any::<u32>(), loud in 0.5f32..4.0, ceiling in -12.0f64..0.0, frames in 1usize..6_000, cyclic in any::<bool>(),
        ) {
            let mut noise = crate::dice(seed);
            let a: Vec<f32> = (0..frames).map(|_| noise() * loud).collect();
            let b: Vec<f32> = (0..frames).map(|n| libm::sinf(n as f32 * 0.9) * loud).collect();
            let mut stems = [Buffer::from_mono(48_000, a).unwrap(), Buffer::from_mono(48_000, b).unwrap()];
            let mut mix = stems[0].clone();
            mix.mix_in(&stems[1], 0, 1.0).unwrap();
            let config = LimiterConfig { ceiling_dbtp: ceiling, cyclic, ..LimiterConfig::default() };
            let curve = gain_curve_with(&mix, &config);
            prop_assert_eq!(curve.len(), frames);
            prop_assert!(curve.iter().all(|g| *g > 0.0 && *g <= 1.0));
            apply_gain_curve(&mut mix, &curve);
            for stem in &mut stems {
                apply_gain_curve(stem, &curve);
            }
            let mut sum = stems[0].clone();
            sum.mix_in(&stems[1], 0, 1.0).unwrap();
            for (x, y) in sum.channel(0).iter().zip(mix.channel(0)) {
                prop_assert!((x - y).abs() < 1e-5);
            }
            prop_assert!(true_peak_dbtp(&mix).unwrap_or(-99.0) <= ceiling + 1e-9);
        }
    }
}
