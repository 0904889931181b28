//! Single notes: sounding pitch as a MIDI number, and the written name as letter, accidental and octave.

use std::fmt;

/// A sounding pitch as a MIDI note number, 60 = C4 (middle C), equal temperament, A4 = 69.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Midi(pub u8);

impl Midi {
    /// The pitch class, C = 0.
    pub fn class(self) -> PitchClass {
        PitchClass(self.0 % 12)
    }

    /// The pitch `semitones` higher (lower when negative); `None` outside 0..=127.
    pub fn up(self, semitones: i32) -> Option<Midi> {
        let n = i32::from(self.0) + semitones;
        (0..=127).contains(&n).then_some(Midi(n as u8))
    }
}

/// A pitch class, 0..=11, C = 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PitchClass(pub u8);

impl PitchClass {
    /// The class `semitones` higher, wrapped into 0..=11.
    pub fn up(self, semitones: i32) -> PitchClass {
        PitchClass((i32::from(self.0) + semitones).rem_euclid(12) as u8)
    }
}

/// The seven note letters, in scale order from C.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Letter {
    C,
    D,
    E,
    F,
    G,
    A,
    B,
}

impl Letter {
    /// All letters from C up.
    pub const ALL: [Letter; 7] = [Letter::C, Letter::D, Letter::E, Letter::F, Letter::G, Letter::A, Letter::B];

    /// Semitones above C of the plain letter.
    pub fn semitones(self) -> i32 {
        [0, 2, 4, 5, 7, 9, 11][self as usize]
    }

    /// The letter `steps` further in the scale (C + 2 = E), wrapping.
    pub fn up(self, steps: i32) -> Letter {
        Letter::ALL[(self as i32 + steps).rem_euclid(7) as usize]
    }

    /// Reads `A`..=`G`, capital.
    pub fn from_char(c: char) -> Option<Letter> {
        Letter::ALL.into_iter().find(|l| l.to_char() == c)
    }

    /// The capital letter.
    pub fn to_char(self) -> char {
        ['C', 'D', 'E', 'F', 'G', 'A', 'B'][self as usize]
    }
}

/// A written note without octave: letter and accidental (`alter` in semitones, -2..=2 in use).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Spelling {
    pub letter: Letter,
    pub alter: i8,
}

impl Spelling {
    pub const fn new(letter: Letter, alter: i8) -> Spelling {
        Spelling { letter, alter }
    }

    /// The pitch class that it sounds.
    pub fn class(self) -> PitchClass {
        PitchClass((self.letter.semitones() + i32::from(self.alter)).rem_euclid(12) as u8)
    }

    /// Its place on the line of fifths: C = 0, G = 1, F = -1, F# = 6, Bb = -2.
    pub fn fifths(self) -> i32 {
        [0, 2, 4, -1, 1, 3, 5][self.letter as usize] + 7 * i32::from(self.alter)
    }

    /// Reads `C`, `F#`, `Bb`, `C##`, `Ebb`, also with `♯` and `♭`. The whole text must be the name.
    pub fn parse(text: &str) -> Option<Spelling> {
        let (s, rest) = Spelling::parse_prefix(text)?;
        rest.is_empty().then_some(s)
    }

    /// Reads a name at the start of `text` and gives what follows it.
    pub fn parse_prefix(text: &str) -> Option<(Spelling, &str)> {
        let mut chars = text.char_indices();
        let (_, c) = chars.next()?;
        let letter = Letter::from_char(c)?;
        let mut alter = 0i8;
        let mut end = c.len_utf8();
        for (i, c) in chars {
            let step = match c {
                '#' | '♯' => 1,
                'b' | '♭' => -1,
                _ => break,
            };
            if (alter != 0 && alter.signum() != step) || alter.abs() == 2 {
                break;
            }
            alter += step;
            end = i + c.len_utf8();
        }
        Some((Spelling { letter, alter }, &text[end..]))
    }
}

impl fmt::Display for Spelling {
    /// Plain text: `F#`, `Bb`, `C##`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.letter.to_char())?;
        for _ in 0..self.alter.unsigned_abs() {
            f.write_str(if self.alter > 0 { "#" } else { "b" })?;
        }
        Ok(())
    }
}

/// A written note with its octave, C4 = MIDI 60. The octave belongs to the letter (Cb4 sounds as B3).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Spelled {
    pub name: Spelling,
    pub octave: i8,
}

impl Spelled {
    /// The sounding pitch; `None` outside MIDI 0..=127.
    pub fn midi(self) -> Option<Midi> {
        let n = (i32::from(self.octave) + 1) * 12 + self.name.letter.semitones() + i32::from(self.name.alter);
        (0..=127).contains(&n).then_some(Midi(n as u8))
    }

    /// Diatonic steps above C0, for placing on a staff (C4 = 28).
    pub fn step(self) -> i32 {
        i32::from(self.octave) * 7 + self.name.letter as i32
    }

    /// Reads `C4`, `F#3`, `Bb-1`.
    pub fn parse(text: &str) -> Option<Spelled> {
        let (name, rest) = Spelling::parse_prefix(text)?;
        let octave: i8 = rest.parse().ok()?;
        (!rest.starts_with('+') && (-1..=9).contains(&octave)).then_some(Spelled { name, octave })
    }

    /// `midi` written with the given name; the name must sound its class.
    pub fn from_midi(midi: Midi, name: Spelling) -> Spelled {
        debug_assert_eq!(name.class(), midi.class());
        let octave = (i32::from(midi.0) - name.letter.semitones() - i32::from(name.alter)).div_euclid(12) - 1;
        Spelled { name, octave: octave as i8 }
    }
}

impl fmt::Display for Spelled {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.name, self.octave)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_numbers_agree() {
        // common practice: C4 = 60, A4 = 69, low E of a guitar E2 = 40.
        for (text, n) in [("C4", 60), ("A4", 69), ("E2", 40), ("Cb4", 59), ("B#3", 60), ("Ebb4", 62), ("F##3", 55)] {
            assert_eq!(Spelled::parse(text).unwrap().midi(), Some(Midi(n)), "{text}");
            assert_eq!(Spelled::parse(text).unwrap().to_string(), text);
        }
        for bad in ["", "H4", "c4", "C", "C+4", "C4x", "C10", "C#b4", "C###4"] {
            assert_eq!(Spelled::parse(bad), None, "{bad}");
        }
    }

    #[test]
    fn written_pitch_survives_the_octave_border() {
        let b_sharp = Spelling::parse("B#").unwrap();
        assert_eq!(Spelled::from_midi(Midi(60), b_sharp).to_string(), "B#3");
        let c_flat = Spelling::parse("Cb").unwrap();
        assert_eq!(Spelled::from_midi(Midi(59), c_flat).to_string(), "Cb4");
    }
}
