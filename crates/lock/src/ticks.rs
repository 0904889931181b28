//! Written time as whole numbers, so that long passages compare fast; a tick is so fine that different written times differ.

use lesson::Beats;

/// Ticks of a quarter note: every bracket of up to sixteen members in every slot a lesson can write is a whole number of them, or
/// lies so far from the next written time that rounding keeps the two apart.
const QUARTER: i64 = 192 * 720_720;

/// A written time in ticks, to the nearest.
pub(crate) fn ticks(at: Beats) -> i64 {
    let (n, d) = (*at.numer(), *at.denom());
    if QUARTER % d == 0 {
        return n.saturating_mul(QUARTER / d);
    }
    let (n, d) = (i128::from(n), i128::from(d));
    i64::try_from((2 * n * i128::from(QUARTER) + d).div_euclid(2 * d)).unwrap_or(i64::MAX)
}

/// A length in ticks as quarter notes, for weighing.
pub(crate) fn quarters(ticks: i64) -> f64 {
    ticks as f64 / QUARTER as f64
}

/// A length in ticks as written time; exact where the written time was a whole number of ticks.
pub(crate) fn beats(ticks: i64) -> Beats {
    // Most times lie on a forty-eighth of a quarter; small numbers are soon reduced.
    const COARSE: i64 = QUARTER / 48;
    if ticks % COARSE == 0 { Beats::new(ticks / COARSE, 48) } else { Beats::new(ticks, QUARTER) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn written_times_stay_apart() {
        // Fourteen in the time of a sixty-fourth triplet against thirteen: close, and still two times.
        let slot = Beats::new(1, 24);
        let (a, b) = (ticks(slot * Beats::new(13, 14)), ticks(slot * Beats::new(12, 13)));
        assert!(a > b);
        // A seventeenth is no whole number of ticks: it is rounded, and a sum of seventeen is a quarter again within a tick each.
        assert!((17 * ticks(Beats::new(1, 17)) - ticks(Beats::from_integer(1))).abs() <= 17);
        assert_eq!(quarters(ticks(Beats::new(3, 8))), 0.375);
        for (n, d) in [(7, 12), (5, 7), (-3, 16), (96, 13)] {
            assert_eq!(beats(ticks(Beats::new(n, d))), Beats::new(n, d));
        }
    }
}
