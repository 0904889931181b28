//! A passage for practice: any tempo from a quarter to double, at the right pitch, and put right by some cents.
//!
//! See [`stretch`](mod@crate::stretch) for the method.

use crate::Buffer;
use crate::stretch::{StretchConfig, StretchError, stretch_with};

/// The slowest tempo, in percent of the record's own.
pub const SLOWEST_PERCENT: f64 = 25.0;
/// The fastest tempo, in percent of the record's own.
pub const FASTEST_PERCENT: f64 = 200.0;

/// `passage` at `percent` of its tempo (25 to 200), moved by `cents` (-1200 to 1200; 0 keeps the pitch). To bring a record that lies 20 cents
/// sharp to A = 440 Hz, ask for -20.
///
/// The length is `round(frames * 100 / percent)`, to the sample; time `t` of the passage lies at `t * 100 / percent`. 100 percent and 0 cents
/// give the samples back unchanged; empty stays empty, silence stays silent.
///
/// Errors: a tempo or a shift out of range or not a number, a rate below 4 kHz or above 192 kHz.
///
/// ```
/// use wave::Buffer;
/// let bar = Buffer::silence(44_100, 2, 88_200).unwrap();
/// assert_eq!(wave::slow(&bar, 60.0, -20.0).unwrap().frames(), 147_000);
/// assert!(wave::slow(&bar, 20.0, 0.0).is_err());
/// ```
pub fn slow(passage: &Buffer, percent: f64, cents: f64) -> Result<Buffer, StretchError> {
    if !(SLOWEST_PERCENT..=FASTEST_PERCENT).contains(&percent) {
        return Err(StretchError::Percent { found: percent });
    }
    let config = StretchConfig {
        ratio: 100.0 / percent,
        cents,
    };
    stretch_with(passage, &config)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_exact_at_every_tempo_and_shift() {
        for percent in [25.0, 33.3, 50.0, 72.5, 100.0, 133.0, 200.0] {
            for cents in [-49.0, 0.0, 12.5] {
                for frames in [0, 1, 7_001] {
                    let out =
                        slow(&Buffer::silence(22_050, 2, frames).unwrap(), percent, cents).unwrap();
                    let want = (frames as f64 * 100.0 / percent).round() as usize;
                    assert_eq!(out.frames(), want, "{frames} at {percent}, {cents} cents");
                    assert_eq!(out.peak(), 0.0);
                }
            }
        }
    }

    #[test]
    fn a_plucked_note_begins_where_it_should_and_has_the_pitch_asked_for() {
        // A note of eight partials, struck at 0.7 s.
        let (rate_hz, at) = (44_100u32, 0.7);
        let note = |hz: f64| -> Vec<f32> {
            (0..2 * rate_hz)
                .map(|n| {
                    let t = f64::from(n) / f64::from(rate_hz) - at;
                    let tone: f64 = (1..=8)
                        .map(|h| {
                            libm::sin(std::f64::consts::TAU * hz * f64::from(h) * t) / f64::from(h)
                        })
                        .sum();
                    if t < 0.0 {
                        0.0
                    } else {
                        (0.2 * libm::exp(-2.0 * t) * tone) as f32
                    }
                })
                .collect()
        };
        for percent in [25.0, 40.0, 60.0, 75.0, 90.0, 150.0, 200.0] {
            for (cents, hz) in [(-35.0, 196.0), (0.0, 110.0), (20.0, 246.94), (-20.0, 440.0)] {
                let out = slow(
                    &Buffer::from_mono(rate_hz, note(hz)).unwrap(),
                    percent,
                    cents,
                )
                .unwrap();
                let out = out.channel(0);
                // Where the power of 2 ms first reaches a quarter of the loudest.
                let power: Vec<f32> = out
                    .chunks(88)
                    .map(|c| c.iter().map(|s| s * s).sum())
                    .collect();
                let most = power.iter().fold(0.0f32, |m, p| m.max(*p));
                let begins = power.iter().position(|p| *p > 0.25 * most).unwrap() as f64 * 88.0
                    / f64::from(rate_hz);
                let off_ms = 1_000.0 * (begins - at * 100.0 / percent);
                // A lower note's period is longer than what is asked for, so that its beginning is not that exact.
                assert!(
                    hz < 150.0 || off_ms.abs() < 5.0,
                    "{percent} percent, {cents} cents: {off_ms} ms off"
                );
                // The fundamental's phase over 0.6 s of the passage, from 0.15 s after the stroke, in steps too short to lose a turn.
                let want = hz * libm::exp2(cents / 1_200.0);
                let phase = |start: usize, hz: f64| {
                    let (mut re, mut im) = (0.0, 0.0);
                    for (n, s) in out[start..start + 8_820].iter().enumerate() {
                        let hann =
                            0.5 - 0.5 * libm::cos(std::f64::consts::TAU * n as f64 / 8_820.0);
                        let turn =
                            std::f64::consts::TAU * hz * (start + n) as f64 / f64::from(rate_hz);
                        re += f64::from(*s) * hann * libm::cos(turn);
                        im -= f64::from(*s) * hann * libm::sin(turn);
                    }
                    libm::atan2(im, re)
                };
                let first = ((at + 0.15) * 100.0 / percent * f64::from(rate_hz)) as usize;
                let mut found = want;
                for parts in [16.0, 8.0, 4.0, 2.0, 1.0] {
                    let apart = (0.6 / parts * 100.0 / percent * f64::from(rate_hz)) as usize;
                    let turn =
                        (phase(first + apart, found) - phase(first, found)) / std::f64::consts::TAU;
                    found += (turn - turn.round()) * f64::from(rate_hz) / apart as f64;
                }
                let off = 1_200.0 * libm::log2(found / want);
                assert!(
                    off.abs() < 1.0,
                    "{percent} percent, {cents} cents, {hz} Hz: {off} cents off"
                );
            }
        }
    }

    #[test]
    fn out_of_range_is_refused_with_the_range() {
        let one = Buffer::silence(44_100, 1, 1).unwrap();
        for found in [24.9, 201.0, 0.0, -60.0, f64::INFINITY] {
            let error = slow(&one, found, 0.0).unwrap_err();
            assert_eq!(error, StretchError::Percent { found });
            assert!(error.to_string().contains("25 to 200"), "{error}");
        }
        assert!(slow(&one, f64::NAN, 0.0).is_err());
        assert!(slow(&one, 50.0, f64::NAN).is_err());
    }
}
