//! Seconds as a type, and decibels to linear gain and back.

/// A time or a length in seconds.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Seconds(pub f64);

impl Seconds {
    /// The nearest frame at `rate_hz`; 0 for anything negative or not a number.
    pub fn to_frames(self, rate_hz: u32) -> usize {
        // The cast saturates, and turns NaN into 0.
        (self.0 * f64::from(rate_hz)).round().max(0.0) as usize
    }

    /// The time of a frame at `rate_hz` (at least 1).
    pub fn from_frames(frames: usize, rate_hz: u32) -> Seconds {
        Seconds(frames as f64 / f64::from(rate_hz.max(1)))
    }
}

impl std::fmt::Display for Seconds {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:.3} s", self.0)
    }
}

/// Linear gain of a level in decibels: `10^(dB/20)`. −∞ gives 0.
pub fn gain_from_db(db: f64) -> f64 {
    libm::pow(10.0, db / 20.0)
}

/// Level in decibels of a linear gain: `20 log10(gain)`. 0 and below give −∞.
pub fn db_from_gain(gain: f64) -> f64 {
    if gain > 0.0 {
        20.0 * libm::log10(gain)
    } else {
        f64::NEG_INFINITY
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seconds_round_to_the_nearest_frame() {
        assert_eq!(Seconds(0.5).to_frames(44_100), 22_050);
        assert_eq!(Seconds(1.0 / 48_000.0 * 2.6).to_frames(48_000), 3);
        assert_eq!(Seconds(-1.0).to_frames(48_000), 0);
        assert_eq!(Seconds(f64::NAN).to_frames(48_000), 0);
        assert_eq!(Seconds::from_frames(24_000, 48_000), Seconds(0.5));
    }

    #[test]
    fn six_decibels_are_about_twice() {
        assert!((gain_from_db(6.0206) - 2.0).abs() < 1e-5);
        assert!((db_from_gain(0.5) + 6.0206).abs() < 1e-4);
        assert_eq!(gain_from_db(f64::NEG_INFINITY), 0.0);
        assert_eq!(db_from_gain(0.0), f64::NEG_INFINITY);
    }
}
