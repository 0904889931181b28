//! Written time as whole divisions of a quarter note.

use lesson::{Beats, HarmonySpan, Passage, SheetBar};

/// Beyond this the exact value would be an oddity of hundreds of digits' worth of unlike slots; times are then rounded to it,
/// with lengths taken between rounded places, so that bars still add up. 720720 is divisible by 1 to 16.
const DIVISIONS_MAX: i64 = 720_720 * 16;

/// Divisions of a quarter note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Clock {
    pub divisions: i64,
}

impl Clock {
    /// The fewest divisions that make every time in the printed bars whole.
    pub(super) fn of(passage: &Passage, sheet: &[SheetBar], harmony: &[HarmonySpan]) -> Clock {
        // A pickup's rests go down to 64ths.
        let mut divisions = if passage.bars.iter().any(|b| b.length != b.meter.length()) { 16 } else { 1 };
        let mut take = |t: Beats| divisions = lcm(divisions, *t.denom());
        for bar in sheet.iter().filter_map(|s| s.played.first().copied()) {
            if let Some(b) = passage.bars.get(bar) {
                take(b.length);
                for pb in passage.parts.iter().filter_map(|p| p.bars.get(bar)) {
                    for w in lesson::notate(b, pb) {
                        take(w.at);
                        take(w.len);
                    }
                    pb.level.iter().for_each(|(at, _)| take(*at));
                    pb.wah.iter().for_each(|(at, _)| take(*at));
                }
            }
        }
        harmony.iter().for_each(|h| take(h.at));
        passage.notes.iter().filter_map(|n| n.at).for_each(|(_, at)| take(at));
        passage.parts.iter().flat_map(|p| &p.name_pins).for_each(|p| take(p.at));
        Clock { divisions }
    }

    /// A place in divisions from the bar's start.
    pub(super) fn place(self, at: Beats) -> i64 {
        let exact = i128::from(*at.numer()) * i128::from(self.divisions);
        let denom = i128::from(*at.denom());
        i64::try_from((2 * exact + denom).div_euclid(2 * denom)).unwrap_or(i64::MAX)
    }

    /// A length in divisions; at least 1.
    pub(super) fn length(self, at: Beats, len: Beats) -> i64 {
        (self.place(at + len) - self.place(at)).max(1)
    }
}

/// Least common multiple, held at [`DIVISIONS_MAX`].
fn lcm(a: i64, b: i64) -> i64 {
    let (mut x, mut y) = (a, b);
    while y != 0 {
        (x, y) = (y, x % y);
    }
    match (a / x).checked_mul(b) {
        Some(n) if n <= DIVISIONS_MAX && a != DIVISIONS_MAX => n,
        _ => DIVISIONS_MAX,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_whole() {
        let clock = Clock { divisions: lcm(lcm(4, 3), 6) };
        assert_eq!(clock.divisions, 12);
        assert_eq!(clock.place(Beats::new(5, 3)), 20);
        assert_eq!(clock.length(Beats::new(1, 3), Beats::new(2, 3)), 8);
    }

    #[test]
    fn unlike_slots_are_rounded_and_still_add_up() {
        let primes = [101i64, 103, 107, 109, 113, 127, 131];
        let clock = Clock { divisions: primes.iter().fold(1, |a, p| lcm(a, *p)) };
        assert_eq!(clock.divisions, DIVISIONS_MAX);
        for p in primes {
            let step = Beats::new(4, p);
            let sum: i64 = (0..p).map(|i| clock.length(step * i, step)).sum();
            assert_eq!(sum, clock.place(Beats::from(4)));
        }
    }
}
