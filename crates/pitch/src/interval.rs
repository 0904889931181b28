//! Intervals between two written pitches, and their names.

use crate::{Letter, Spelled};
use std::fmt;

/// The distance from a lower written pitch to a higher one: letters apart and semitones apart.
///
/// ```
/// use pitch::{Interval, Spelled};
/// let p = |t| Spelled::parse(t).unwrap();
/// // C to Eb is a minor third, C to D# an augmented second: the same keys, two names.
/// assert_eq!(Interval::between(p("C4"), p("Eb4")).to_string(), "minor third");
/// assert_eq!(Interval::between(p("C4"), p("D#4")).to_string(), "augmented second");
/// assert_eq!(Interval::between(p("G3"), p("E4")).to_string(), "major sixth");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Interval {
    /// Letters apart: 0 = unison, 2 = third, 7 = octave. Never negative.
    pub steps: i32,
    /// Semitones apart; can be negative only where a written lower pitch sounds higher (B# and Cb).
    pub semitones: i32,
}

impl Interval {
    /// The interval between two pitches, whichever is given first.
    pub fn between(a: Spelled, b: Spelled) -> Interval {
        let place = |p: Spelled| (p.step(), sounding(p));
        let (low, high) = if place(a) <= place(b) { (a, b) } else { (b, a) };
        Interval { steps: high.step() - low.step(), semitones: sounding(high) - sounding(low) }
    }

    /// Semitones by which it differs from the major or perfect interval of its size.
    fn excess(self) -> i32 {
        let plain = Letter::ALL[(self.steps % 7) as usize].semitones() + 12 * (self.steps / 7);
        self.semitones - plain
    }
}

fn sounding(p: Spelled) -> i32 {
    i32::from(p.octave) * 12 + p.name.letter.semitones() + i32::from(p.name.alter)
}

impl fmt::Display for Interval {
    /// `minor third`, `perfect fifth`, `augmented fourth`; above the fifteenth `... and two octaves` and so on.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const SIZES: [&str; 15] = [
            "unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth", "tenth", "eleventh", "twelfth",
            "thirteenth", "fourteenth", "fifteenth",
        ];
        let steps = self.steps.max(0);
        let perfect = matches!(steps % 7, 0 | 3 | 4);
        let kind = match (perfect, self.excess()) {
            (true, 0) => "perfect",
            (false, 0) => "major",
            (false, -1) => "minor",
            (_, 1) => "augmented",
            (_, 2..) => "doubly augmented",
            (true, -1) | (false, -2) => "diminished",
            _ => "doubly diminished",
        };
        let (size, octaves) = if steps < 15 { (steps, 0) } else { (steps % 7, steps / 7) };
        write!(f, "{kind} {}", SIZES[size as usize])?;
        match octaves {
            0 => Ok(()),
            n => write!(f, " and {n} octaves"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names() {
        // common practice
        for (a, b, name) in [
            ("C4", "C4", "perfect unison"),
            ("C4", "Db4", "minor second"),
            ("E2", "B2", "perfect fifth"),
            ("F3", "B3", "augmented fourth"),
            ("B3", "F4", "diminished fifth"),
            ("A3", "F#4", "major sixth"),
            ("C3", "Bbb3", "diminished seventh"),
            ("C3", "E4", "major tenth"),
            ("C3", "C5", "perfect fifteenth"),
            ("E2", "G#5", "major third and 3 octaves"),
        ] {
            let (a, b) = (Spelled::parse(a).unwrap(), Spelled::parse(b).unwrap());
            assert_eq!(Interval::between(a, b).to_string(), name);
            assert_eq!(Interval::between(b, a), Interval::between(a, b));
        }
    }
}
