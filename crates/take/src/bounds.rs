//! What lies outside of one clean guitar: sound under its lowest string, a tuning that lies lower than was said, a driven amplifier.

use crate::spectra::RATE_HZ;
use pitch::Midi;
use wave::fft::{RealFft, hann};

/// Under this frequency no guitar sounds.
const UNDER_HZ: f64 = 68.0;
/// Samples of a window that tells semitones apart down there, and from window to window.
const LONG: usize = 16_384;
const STEP: usize = 8_192;
/// A partial stands out where it is so many times its surroundings; a fundamental must hold this share of the loudest partial.
const STANDS_OUT: f32 = 6.0;
const SHARE: f32 = 0.08;
/// Peaks over level, and the share of windows, see [`driven`].
const FLAT: f64 = 1.8;
const STEADY: f64 = 0.55;
/// Windows in which a low note must stand.
const OFTEN: usize = 2;

/// The share of the energy that lies below [`UNDER_HZ`] (four one-pole filters in a row).
pub(crate) fn under_the_guitar(samples: &[f32]) -> f64 {
    let a = 1.0 - libm::exp(-std::f64::consts::TAU * UNDER_HZ * 0.75 / f64::from(RATE_HZ));
    let (mut state, mut sum, mut total) = ([0.0f64; 4], 0.0, 0.0);
    for s in samples {
        let mut v = f64::from(*s);
        total += v * v;
        for x in &mut state {
            *x += a * (v - *x);
            v = *x;
        }
        sum += v * v;
    }
    sum / f64::max(total, 1e-12)
}

/// The lowest note, at most three semitones under `lowest`, that sounds: its fundamental and the next two partials stand out of their surroundings in two windows
/// or more (0.4 s each, half a window apart). `None` for silence and for what is shorter than a window.
pub(crate) fn below(samples: &[f32], a4_hz: f64, lowest: Midi) -> Option<Midi> {
    let (mut fft, window, mut m) = (RealFft::new(LONG), hann(LONG), Vec::new());
    let step = f64::from(RATE_HZ) / LONG as f64;
    let hz = |midi: f64| a4_hz * libm::exp2((midi - 69.0) / 12.0);
    let mut often = [0usize; 4];
    for cut in samples.windows(LONG).step_by(STEP) {
        fft.magnitudes(cut, &window, &mut m);
        let top = m.iter().copied().fold(0.0, f32::max);
        if top <= 0.0 {
            continue;
        }
        for (down, count) in often.iter_mut().enumerate().skip(1) {
            let midi = f64::from(lowest.0.saturating_sub(down as u8));
            // The highest bin within a third of a semitone of each partial, against the bins around; the fundamental must be a peak, not the foot of another.
            let stands = |k: f64| {
                let (from, to) = ((hz(midi - 0.33) * k / step).round() as usize, (hz(midi + 0.33) * k / step).round() as usize);
                let at = (from..=to).max_by(|a, b| m[*a].total_cmp(&m[*b])).unwrap_or(from);
                let mut around: Vec<f32> = m[at.saturating_sub(24)..(at + 25).min(m.len())].to_vec();
                around.sort_by(f32::total_cmp);
                (m[at] >= m[at - 1] && m[at] >= m[at + 1] && m[at] > STANDS_OUT * around[around.len() / 2]).then_some(m[at])
            };
            if let (Some(one), Some(_), Some(_)) = (stands(1.0), stands(2.0), stands(3.0))
                && one > SHARE * top
            {
                *count += 1;
            }
        }
    }
    let down = (1..often.len()).rev().find(|d| often[*d] >= OFTEN)?;
    Some(Midi(lowest.0.saturating_sub(down as u8)))
}

/// Whether a driven amplifier is heard: windows of 46 ms whose peaks hardly stand over their level ([`FLAT`]), and a level that does not fade ([`STEADY`] of the
/// windows that sound within 3 dB of the loud ones). Set on clean renders and the development excerpt (2.3 to 3.8; .2 to .6, played close together up to .98) and on the same
/// driven by 32 dB (1.1 to 1.5; .7 to 1.0). Not for silence.
pub(crate) fn driven(samples: &[f32]) -> bool {
    const SIZE: usize = 1024;
    let mut found: Vec<(f64, f64)> = samples
        .chunks_exact(SIZE)
        .map(|c| {
            let level = (c.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / SIZE as f64).sqrt();
            (level, c.iter().fold(0.0f64, |a, s| a.max(f64::from(s.abs()))) / level.max(1e-12))
        })
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let top = found.get(found.len() * 95 / 100).map_or(0.0, |f| f.0);
    found.retain(|f| f.0 > 0.1 * top && f.0 > 1e-5);
    if found.is_empty() {
        return false;
    }
    let steady = found.iter().filter(|f| f.0 > 0.708 * top).count() as f64 / found.len() as f64;
    let mut peaks: Vec<f64> = found.iter().map(|f| f.1).collect();
    peaks.sort_by(f64::total_cmp);
    peaks[peaks.len() / 2] < FLAT && steady > STEADY
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Plucked partials, a second each.
    fn played(midi: &[u8]) -> Vec<f32> {
        let rate = f64::from(RATE_HZ);
        midi.iter()
            .flat_map(|m| {
                let hz = 440.0 * libm::exp2((f64::from(*m) - 69.0) / 12.0);
                (0..RATE_HZ).map(move |n| {
                    let t = f64::from(n) / rate;
                    (1..=10).map(|k| f64::from(k)).map(|k| 0.2 / k * libm::exp(-t * (1.0 + 0.3 * k)) * libm::sin(std::f64::consts::TAU * k * hz * t)).sum::<f64>() as f32
                })
            })
            .collect()
    }

    #[test]
    fn a_lowered_lowest_string_is_found_and_no_other() {
        // common practice: E2 is MIDI 40; a half step down it is Eb2.
        assert_eq!(below(&played(&[39, 46, 39]), 440.0, Midi(40)), Some(Midi(39)));
        assert_eq!(below(&played(&[38, 45, 50, 38]), 440.0, Midi(40)), Some(Midi(38)));
        for standard in [&[40, 45, 40, 43][..], &[41, 40, 52], &[51, 63, 56], &[50, 62, 74]] {
            assert_eq!(below(&played(standard), 440.0, Midi(40)), None, "{standard:?}");
        }
        assert_eq!(below(&played(&[39, 46, 39]), 440.0, Midi(38)), None);
        assert_eq!(below(&[0.0; 50_000], 440.0, Midi(40)), None);
        assert_eq!(below(&[], 440.0, Midi(40)), None);
    }

    #[test]
    fn a_driven_string_is_flat_and_does_not_fade() {
        let clean = played(&[45, 52, 57]);
        assert!(!driven(&clean));
        assert!(driven(&clean.iter().map(|s| libm::tanhf(40.0 * s)).collect::<Vec<_>>()));
        // Flat, but it fades: a plain low string.
        let plain: Vec<f32> = (0..44_100).map(|n| f64::from(n) / f64::from(RATE_HZ)).map(|t| (libm::exp(-3.0 * t) * libm::sin(600.0 * t)) as f32).collect();
        assert!(!driven(&plain));
        assert!(!driven(&[]) && !driven(&[0.0; 10_000]));
    }

    #[test]
    fn a_bass_lies_under_the_guitar() {
        assert!(under_the_guitar(&played(&[28, 31])) > 0.06);
        assert!(under_the_guitar(&played(&[40, 45])) < 0.03);
    }
}
