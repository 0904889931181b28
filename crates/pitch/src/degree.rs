//! Degrees: a note's place over the root of a chord, as the trade counts it (R, b3, 5, b7, 9, #11).

use crate::{PitchClass, Spelling};
use std::fmt;

/// A place over the root: a number of the major scale, 1..=13, and how many semitones it is raised or lowered.
///
/// 2 and 9 sound alike and mean different things (2 stands in place of the third, 9 is added on top); so do 4 and 11, 6 and 13.
///
/// ```
/// use pitch::{Degree, Spelling};
/// let third = Degree::parse("b3").unwrap();
/// assert_eq!(third.semitones(), 3);
/// // The minor third of C is Eb, of F# it is A.
/// assert_eq!(third.spell(Spelling::parse("C").unwrap()).to_string(), "Eb");
/// assert_eq!(third.spell(Spelling::parse("F#").unwrap()).to_string(), "A");
/// assert_eq!(Degree::ROOT.to_string(), "R");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Degree {
    /// 1..=13.
    pub number: u8,
    /// Semitones above (positive) or below the note of the major scale.
    pub alter: i8,
}

impl Degree {
    /// The root itself.
    pub const ROOT: Degree = Degree::new(1, 0);

    /// A degree from its number and alteration.
    pub const fn new(number: u8, alter: i8) -> Degree {
        Degree { number, alter }
    }

    /// Reads `R`, `1`, `b3`, `#11`, `bb7`, also with `♭` and `♯`. `None` for anything else, and for numbers outside 1..=13.
    pub fn parse(text: &str) -> Option<Degree> {
        if text == "R" {
            return Some(Degree::ROOT);
        }
        let digits = text.trim_start_matches(['b', '#', '♭', '♯']);
        let signs = &text[..text.len() - digits.len()];
        let flats = signs.chars().filter(|c| matches!(c, 'b' | '♭')).count();
        let sharps = signs.chars().count() - flats;
        if (flats > 0 && sharps > 0) || flats + sharps > 3 || digits.starts_with(['+', '0']) {
            return None;
        }
        let number: u8 = digits.parse().ok()?;
        (1..=13).contains(&number).then_some(Degree { number, alter: sharps as i8 - flats as i8 })
    }

    /// Semitones above the root, not folded into the octave: 9 is 14, b3 is 3.
    pub fn semitones(self) -> i32 {
        let steps = i32::from(self.number.max(1)) - 1;
        [0, 2, 4, 5, 7, 9, 11][(steps % 7) as usize] + 12 * (steps / 7) + i32::from(self.alter)
    }

    /// The class that it sounds over `root`.
    pub fn class(self, root: PitchClass) -> PitchClass {
        root.up(self.semitones())
    }

    /// Its written name over `root`: the letter follows the number, the accidental makes it sound right. On far-off roots this can
    /// ask for more than a double accidental (`alter` outside -2..=2); who writes it down should then choose another root.
    pub fn spell(self, root: Spelling) -> Spelling {
        let letter = root.letter.up(i32::from(self.number.max(1)) - 1);
        let want = i32::from(root.class().0) + self.semitones();
        let mut alter = (want - letter.semitones()).rem_euclid(12);
        if alter > 6 {
            alter -= 12;
        }
        Spelling::new(letter, alter as i8)
    }

    /// The degree of a written note over a written root, numbers 1..=7.
    pub fn between(root: Spelling, note: Spelling) -> Degree {
        let number = (note.letter as i32 - root.letter as i32).rem_euclid(7) as u8 + 1;
        let plain = Degree::new(number, 0).class(root.class());
        let mut alter = (i32::from(note.class().0) - i32::from(plain.0)).rem_euclid(12);
        if alter > 6 {
            alter -= 12;
        }
        Degree { number, alter: alter as i8 }
    }

    /// The word for the number: `root`, `third`, `ninth`; without the alteration.
    pub fn word(self) -> &'static str {
        const WORDS: [&str; 13] = [
            "root", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth", "tenth", "eleventh", "twelfth", "thirteenth",
        ];
        WORDS[usize::from(self.number.clamp(1, 13)) - 1]
    }
}

impl fmt::Display for Degree {
    /// `R` for the root, otherwise accidentals and number: `b3`, `5`, `#11`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if *self == Degree::ROOT {
            return f.write_str("R");
        }
        for _ in 0..self.alter.unsigned_abs() {
            f.write_str(if self.alter > 0 { "#" } else { "b" })?;
        }
        write!(f, "{}", self.number)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn written_over_roots() {
        // common practice
        for (root, degree, note) in [
            ("C", "b7", "Bb"),
            ("C", "bb7", "Bbb"),
            ("E", "3", "G#"),
            ("Ab", "b3", "Cb"),
            ("F#", "#5", "C##"),
            ("Db", "11", "Gb"),
            ("B", "9", "C#"),
            ("Eb", "#11", "A"),
            ("G#", "3", "B#"),
        ] {
            let root = Spelling::parse(root).unwrap();
            let degree = Degree::parse(degree).unwrap();
            assert_eq!(degree.spell(root).to_string(), note, "{degree} of {root}");
            assert_eq!(degree.spell(root).class(), degree.class(root.class()));
        }
    }

    #[test]
    fn text_and_back() {
        for number in 1..=13 {
            for alter in -2..=2 {
                let d = Degree::new(number, alter);
                assert_eq!(Degree::parse(&d.to_string()), Some(d));
            }
        }
        for bad in ["", "b", "0", "14", "b#3", "3b", "+3", "r", "03", "####4"] {
            assert_eq!(Degree::parse(bad), None, "{bad}");
        }
        assert_eq!(Degree::parse("♭3"), Degree::parse("b3"));
    }
}
