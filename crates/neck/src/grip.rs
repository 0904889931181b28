//! A grip: which strings are fretted where, held at once, with fingers and barres.

use crate::{FRETS_MAX, Instrument};
use pitch::Midi;
use std::fmt;

/// The fretting hand's fingers, as diagrams print them: 1 index … 4 little finger, T thumb.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Finger {
    Index,
    Middle,
    Ring,
    Little,
    Thumb,
}

impl Finger {
    /// Reads `1`..=`4` or `T`.
    pub fn parse(text: &str) -> Option<Finger> {
        match text {
            "1" => Some(Finger::Index),
            "2" => Some(Finger::Middle),
            "3" => Some(Finger::Ring),
            "4" => Some(Finger::Little),
            "T" => Some(Finger::Thumb),
            _ => None,
        }
    }

    /// `1`..=`4` or `T`.
    pub fn to_char(self) -> char {
        ['1', '2', '3', '4', 'T'][self as usize]
    }
}

/// One finger across neighbouring strings at one fret.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Barre {
    pub finger: Finger,
    /// Counted from the capo, at least 1.
    pub fret: u8,
    /// Highest-numbered (lowest-sounding) string under the finger.
    pub from_string: u8,
    /// Lowest-numbered (highest-sounding) string under the finger.
    pub to_string: u8,
}

/// A fretting of some strings, held at once. Frets run low string to high; `None` is not played.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Grip {
    pub frets: Vec<Option<u8>>,
}

impl Grip {
    /// Reads one token a string, low to high: a fret or `x` (`"x x 8 8 8 x"`).
    ///
    /// ```
    /// use neck::Grip;
    /// let g = Grip::parse("x x 8 8 8 x").unwrap();
    /// assert_eq!(g.frets[2], Some(8));
    /// assert_eq!(g.to_string(), "x x 8 8 8 x");
    /// ```
    ///
    /// # Errors
    /// A sentence; the token's number (from 1) is in it.
    pub fn parse(text: &str) -> Result<Grip, String> {
        let mut frets = Vec::new();
        for (i, token) in text.split_whitespace().enumerate() {
            if i >= 12 {
                return Err("a grip has one token a string, and no instrument here has more than 8 strings".into());
            }
            frets.push(match token {
                "x" | "X" => None,
                t if t.len() <= 2 && t.bytes().all(|b| b.is_ascii_digit()) => match t.parse::<u8>() {
                    Ok(f) if f <= FRETS_MAX => Some(f),
                    _ => return Err(format!("token {}: fret {t} is past any neck; frets go to {FRETS_MAX} at most", i + 1)),
                },
                t => return Err(format!("token {}: \"{t}\" is neither a fret nor x; a grip is written low string to high, such as \"x x 8 8 8 x\"", i + 1)),
            });
        }
        if frets.is_empty() {
            return Err("the grip is empty; it is written low string to high, such as \"x x 8 8 8 x\"".into());
        }
        Ok(Grip { frets })
    }

    /// Fret of `string` (1 = highest).
    pub fn fret(&self, string: u8) -> Option<u8> {
        let i = self.frets.len().checked_sub(usize::from(string)).filter(|_| string >= 1)?;
        self.frets[i]
    }

    /// Strings that sound, low to high, as (string, fret).
    pub fn sounding(&self) -> impl Iterator<Item = (u8, u8)> + '_ {
        let n = self.frets.len();
        self.frets.iter().enumerate().filter_map(move |(i, f)| f.map(|f| ((n - i) as u8, f)))
    }

    /// What it sounds on `instrument`, low string to high; `None` for strings not played or places that do not exist.
    pub fn midi(&self, instrument: &Instrument) -> Vec<Option<Midi>> {
        let n = self.frets.len();
        self.frets.iter().enumerate().map(|(i, f)| instrument.sounds((n - i) as u8, (*f)?)).collect()
    }

    /// The same shape `by` frets higher; open strings move too. `None` when a string would fall off the nut.
    pub fn shifted(&self, by: i32) -> Option<Grip> {
        let mut frets = Vec::with_capacity(self.frets.len());
        for f in &self.frets {
            frets.push(match f {
                None => None,
                Some(f) => Some(u8::try_from(i32::from(*f) + by).ok().filter(|f| *f <= FRETS_MAX)?),
            });
        }
        Some(Grip { frets })
    }

    /// Only the given strings of it.
    pub fn only(&self, strings: &[u8]) -> Grip {
        let n = self.frets.len();
        let frets = self.frets.iter().enumerate().map(|(i, f)| f.filter(|_| strings.contains(&((n - i) as u8)))).collect();
        Grip { frets }
    }
}

impl fmt::Display for Grip {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, fret) in self.frets.iter().enumerate() {
            if i > 0 {
                f.write_str(" ")?;
            }
            match fret {
                Some(n) => write!(f, "{n}")?,
                None => f.write_str("x")?,
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reading_and_faults() {
        let g = Grip::parse("x 10 12 10 11 10").unwrap();
        assert_eq!(g.fret(5), Some(10));
        assert_eq!(g.fret(6), None);
        assert_eq!(g.sounding().collect::<Vec<_>>(), [(5, 10), (4, 12), (3, 10), (2, 11), (1, 10)]);
        for bad in ["", "x y", "99", "-1", "1.5", "0x10", "１"] {
            assert!(Grip::parse(bad).is_err(), "{bad}");
        }
        assert!(Grip::parse("x x 40 x x x").unwrap_err().contains("token 3"));
    }

    #[test]
    fn shapes_move() {
        let g = Grip::parse("x x 8 8 8 x").unwrap();
        assert_eq!(g.shifted(-2).unwrap().to_string(), "x x 6 6 6 x");
        assert_eq!(g.shifted(-9), None);
        assert_eq!(g.only(&[4, 3]).to_string(), "x x 8 8 x x");
    }
}
