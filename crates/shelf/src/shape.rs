//! A grip's shape: what stays of it when it moves along the neck, and what stays when it moves to other strings.
//!
//! # Conventions
//! - *The very grip*: the same frets, counted from the capo, that sound the same intervals.
//! - *Moved*: the same strings, every fret moved by as much, open strings too; sounding the same intervals, so in the same tuning.
//! - *On other strings*: the same intervals from the lowest note up, wherever they lie.
//!
//! Each is a special case of the next, so a search by intervals finds all three.

use neck::{Grip, Instrument};

/// What a grip is, whatever its place. Only of two and more sounding strings.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Shape {
    /// Number of strings that the instrument has.
    pub of_strings: u8,
    /// String (1 = highest) and frets above the grip's lowest one, low string first.
    pub places: Vec<(u8, u8)>,
    /// Semitones above the lowest note, rising; the first is 0. Unisons stand twice.
    pub stack: Vec<u8>,
    /// The lowest fret, counted from the capo.
    pub fret: u8,
    /// The lowest sounding note's MIDI number.
    pub low: u8,
}

/// How alike two grips are; the first is the closest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Likeness {
    /// The very grip.
    Same,
    /// The same shape so many frets higher (lower when negative).
    Moved(i32),
    /// The same intervals on other strings, or otherwise laid.
    OtherStrings,
}

impl Shape {
    /// The shape of a grip; `None` where fewer than two strings sound or a place does not exist on the instrument.
    ///
    /// ```
    /// use neck::{Grip, Instrument};
    /// use shelf::{Likeness, Shape};
    /// let guitar = Instrument::guitar();
    /// let shape = |t: &str| Shape::of(&Grip::parse(t).unwrap(), &guitar).unwrap();
    /// // common practice: three strings across at the eighth fret, the same at the third, and the same notes to each other on the top strings.
    /// let a = shape("x x 8 8 8 x");
    /// assert_eq!(a.stack, [0, 5, 9]);
    /// assert_eq!(shape("x x 3 3 3 x").like(&a), Some(Likeness::Moved(-5)));
    /// assert_eq!(shape("x x x 5 6 5").like(&a), Some(Likeness::OtherStrings));
    /// assert_eq!(shape("x x 8 8 9 x").like(&a), None);
    /// ```
    pub fn of(grip: &Grip, instrument: &Instrument) -> Option<Shape> {
        let sounding: Vec<(u8, u8)> = grip.sounding().collect();
        if sounding.len() < 2 || grip.frets.len() != instrument.strings() {
            return None;
        }
        let mut midi: Vec<u8> = sounding.iter().map(|(s, f)| instrument.sounds(*s, *f).map(|m| m.0)).collect::<Option<_>>()?;
        midi.sort_unstable();
        let low = midi[0];
        let fret = sounding.iter().map(|(_, f)| *f).min()?;
        Some(Shape {
            of_strings: u8::try_from(instrument.strings()).ok()?,
            places: sounding.iter().map(|(s, f)| (*s, f - fret)).collect(),
            stack: midi.iter().map(|m| m - low).collect(),
            fret,
            low,
        })
    }

    /// How this grip is like `other`; `None` where the intervals differ.
    pub fn like(&self, other: &Shape) -> Option<Likeness> {
        if self.stack != other.stack {
            return None;
        }
        if (self.of_strings, &self.places) != (other.of_strings, &other.places) {
            return Some(Likeness::OtherStrings);
        }
        Some(match i32::from(self.fret) - i32::from(other.fret) {
            0 => Likeness::Same,
            by => Likeness::Moved(by),
        })
    }

    /// Whether `other`, moved along the neck, is this grip with some strings left out.
    ///
    /// ```
    /// use neck::{Grip, Instrument};
    /// let shape = |t: &str| shelf::Shape::of(&Grip::parse(t).unwrap(), &Instrument::guitar()).unwrap();
    /// // common practice: the three strings at the eighth fret are the inside of the A form at the sixth; the whole is no part of itself.
    /// assert!(shape("x 3 5 5 5 3").holds_part(&shape("x x 8 8 8 x")));
    /// assert!(!shape("x x 8 8 8 x").holds_part(&shape("x x 5 5 5 x")));
    /// ```
    pub fn holds_part(&self, other: &Shape) -> bool {
        if self.of_strings != other.of_strings || self.places.len() <= other.places.len() {
            return false;
        }
        let fret = |string: u8| self.places.iter().find(|(s, _)| *s == string).map(|(_, f)| i32::from(*f));
        let apart: Option<Vec<i32>> = other.places.iter().map(|(s, f)| fret(*s).map(|mine| mine - i32::from(*f))).collect();
        let moved = apart.is_some_and(|a| a.windows(2).all(|w| w[0] == w[1]));
        // The same hand in another tuning sounds another chord.
        let heard = (0..self.stack.len()).any(|i| {
            let over: Vec<u8> = self.stack[i..].iter().map(|s| s - self.stack[i]).collect();
            other.stack.iter().all(|s| over.contains(s))
        });
        moved && heard
    }

    /// The intervals as text: the key by which all likenesses are found.
    pub(crate) fn stack_key(&self) -> String {
        self.stack.iter().map(u8::to_string).collect::<Vec<_>>().join(" ")
    }

    /// Strings and frets as text, read back by [`Shape::from_keys`].
    pub(crate) fn place_key(&self) -> String {
        let places: Vec<String> = self.places.iter().map(|(s, f)| format!("{s}:{f}")).collect();
        format!("{}/{}", self.of_strings, places.join(" "))
    }

    pub(crate) fn from_keys(stack: &str, places: &str, fret: u8, low: u8) -> Option<Shape> {
        let (of_strings, places) = places.split_once('/')?;
        Some(Shape {
            of_strings: of_strings.parse().ok()?,
            places: places.split(' ').map(|p| p.split_once(':').and_then(|(s, f)| Some((s.parse().ok()?, f.parse().ok()?)))).collect::<Option<_>>()?,
            stack: stack.split(' ').map(|s| s.parse().ok()).collect::<Option<_>>()?,
            fret,
            low,
        })
    }

    /// The strings in words: "strings 4, 3 and 2".
    pub(crate) fn strings_in_words(&self) -> String {
        let strings: Vec<String> = self.places.iter().map(|(s, _)| s.to_string()).collect();
        format!("strings {}", listed(&strings))
    }
}

impl Likeness {
    /// 0 for the very grip, 1 moved, 2 on other strings.
    pub(crate) fn rank(self) -> u8 {
        match self {
            Likeness::Same => 0,
            Likeness::Moved(_) => 1,
            Likeness::OtherStrings => 2,
        }
    }
}

/// "a", "a and b", "a, b and c"; empty for nothing.
pub(crate) fn listed<T: AsRef<str>>(words: &[T]) -> String {
    match words {
        [] => String::new(),
        [one] => one.as_ref().to_string(),
        [most @ .., last] => format!("{} and {}", most.iter().map(AsRef::as_ref).collect::<Vec<_>>().join(", "), last.as_ref()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn other_tunings_are_other_chords() {
        let grip = Grip::parse("0 0 0 x x x").unwrap();
        let standard = Shape::of(&grip, &Instrument::guitar()).unwrap();
        let dropped = Instrument { tuning: neck::Tuning::guitar("drop D", 6).unwrap(), ..Instrument::guitar() };
        assert_eq!(Shape::of(&grip, &dropped).unwrap().like(&standard), None);
    }

    #[test]
    fn keys_come_back() {
        let shape = Shape::of(&Grip::parse("x 10 12 10 11 10").unwrap(), &Instrument::guitar()).unwrap();
        assert_eq!(Shape::from_keys(&shape.stack_key(), &shape.place_key(), shape.fret, shape.low), Some(shape));
        assert_eq!(Shape::from_keys("0 x", "6/1:0", 0, 0), None);
    }

    #[test]
    fn one_string_has_no_shape() {
        assert_eq!(Shape::of(&Grip::parse("x x x x x 5").unwrap(), &Instrument::guitar()), None);
    }
}
