//! Keys: tonic and mode, their signature, and the spelling of any sound in them.

use crate::{Letter, Midi, PitchClass, Spelled, Spelling};
use std::fmt;

/// The modes that a lesson can name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Mode {
    Major,
    Minor,
    Dorian,
    Phrygian,
    Lydian,
    Mixolydian,
    Locrian,
}

impl Mode {
    pub const ALL: [Mode; 7] =
        [Mode::Major, Mode::Minor, Mode::Dorian, Mode::Phrygian, Mode::Lydian, Mode::Mixolydian, Mode::Locrian];

    /// The English name, lower case.
    pub fn name(self) -> &'static str {
        ["major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "locrian"][self as usize]
    }

    /// Semitones of the seven degrees above the tonic.
    pub fn steps(self) -> [i32; 7] {
        match self {
            Mode::Major => [0, 2, 4, 5, 7, 9, 11],
            Mode::Minor => [0, 2, 3, 5, 7, 8, 10],
            Mode::Dorian => [0, 2, 3, 5, 7, 9, 10],
            Mode::Phrygian => [0, 1, 3, 5, 7, 8, 10],
            Mode::Lydian => [0, 2, 4, 6, 7, 9, 11],
            Mode::Mixolydian => [0, 2, 4, 5, 7, 9, 10],
            Mode::Locrian => [0, 1, 3, 5, 6, 8, 10],
        }
    }

    /// Fifths of the signature relative to the major key on the same tonic.
    fn fifths_from_major(self) -> i32 {
        [0, -3, -2, -4, 1, -1, -5][self as usize]
    }
}

/// A key: tonic and mode. Its signature has -7..=7 fifths.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key {
    pub tonic: Spelling,
    pub mode: Mode,
}

impl Key {
    /// C major: what spelling falls back on where no key is known.
    pub const PLAIN: Key = Key { tonic: Spelling::new(Letter::C, 0), mode: Mode::Major };

    /// The same mode `semitones` higher (lower when negative), on the name of its tonic that needs fewer accidentals, flats on a tie:
    /// the sounding key of a shape's key under a capo.
    pub fn up(self, semitones: i32) -> Key {
        let class = self.tonic.class().up(semitones);
        let all = Letter::ALL.into_iter().flat_map(|l| [-1i8, 0, 1].map(|a| Key { tonic: Spelling::new(l, a), mode: self.mode }));
        let fits = all.filter(|k| k.tonic.class() == class && k.fifths().abs() <= 7);
        fits.min_by_key(|k| (k.fifths().abs(), k.fifths())).unwrap_or(self)
    }

    /// Reads `C minor`, `F# dorian`, `Bb`, `Am`. A bare tonic is major; a following `m` is minor.
    ///
    /// # Errors
    /// A sentence saying what was found and what would be right.
    pub fn parse(text: &str) -> Result<Key, String> {
        let text = text.trim();
        let right = "a key is a note and a mode, such as \"C minor\", \"F# dorian\" or \"Bb major\"";
        let (tonic, rest) = Spelling::parse_prefix(text).ok_or_else(|| format!("\"{text}\" does not begin with a note; {right}"))?;
        let rest = rest.trim();
        let mode = match rest {
            "" => Mode::Major,
            "m" => Mode::Minor,
            _ => Mode::ALL
                .into_iter()
                .find(|m| m.name() == rest.to_lowercase())
                .ok_or_else(|| format!("\"{rest}\" is no mode that is known here; {right}"))?,
        };
        let key = Key { tonic, mode };
        if !(-7..=7).contains(&key.fifths()) {
            return Err(format!("{key} would need more than seven sharps or flats; write it on the other name of its tonic"));
        }
        Ok(key)
    }

    /// The signature: sharps when positive, flats when negative.
    pub fn fifths(self) -> i32 {
        self.tonic.fifths() + self.mode.fifths_from_major()
    }

    /// The seven notes of the scale from the tonic up.
    pub fn scale(self) -> [Spelling; 7] {
        let mut out = [self.tonic; 7];
        for (i, semis) in self.mode.steps().into_iter().enumerate() {
            let letter = self.tonic.letter.up(i as i32);
            let want = self.tonic.class().up(semis).0 as i32;
            let mut alter = (want - letter.semitones()).rem_euclid(12);
            if alter > 6 {
                alter -= 12;
            }
            out[i] = Spelling::new(letter, alter as i8);
        }
        out
    }

    /// How the sound `class` is written in this key: scale notes as in the signature, others by the nearest place on the
    /// line of fifths (common practice: raised 4 and 7, lowered 2 in minor, lowered 3, 6, 7 in major).
    pub fn spell_class(self, class: PitchClass) -> Spelling {
        // Twelve fifths round the tonic, from the lowered second to the raised fourth; in locrian the scale reaches one further down.
        let low = self.tonic.fifths() - if self.mode == Mode::Locrian { 6 } else { 5 };
        (low..low + 12).map(spelling_at).find(|s| s.class() == class).expect("twelve fifths hold every class")
    }

    /// How `midi` is written in this key.
    pub fn spell(self, midi: Midi) -> Spelled {
        Spelled::from_midi(midi, self.spell_class(midi.class()))
    }
}

/// The note at a place on the line of fifths, C = 0, G = 1, F = -1.
fn spelling_at(fifths: i32) -> Spelling {
    let letter = [Letter::F, Letter::C, Letter::G, Letter::D, Letter::A, Letter::E, Letter::B][(fifths + 1).rem_euclid(7) as usize];
    Spelling::new(letter, (fifths + 1).div_euclid(7) as i8)
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.tonic, self.mode.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signatures() {
        // common practice
        for (text, fifths) in
            [("C", 0), ("C minor", -3), ("F# major", 6), ("Gb", -6), ("D dorian", 0), ("G mixolydian", 0), ("Am", 0), ("Eb minor", -6)]
        {
            assert_eq!(Key::parse(text).unwrap().fifths(), fifths, "{text}");
        }
        for (text, up, there) in [("A minor", 3, "C minor"), ("C", 1, "Db major"), ("E", -2, "D major"), ("C", 6, "Gb major"), ("G dorian", 4, "B dorian")] {
            assert_eq!(Key::parse(text).unwrap().up(up).to_string(), there);
        }
        assert!(Key::parse("G# major").is_err());
        assert!(Key::parse("C wobble").unwrap_err().contains("wobble"));
        assert!(Key::parse("").is_err());
    }

    #[test]
    fn scale_notes_are_written_as_in_the_scale() {
        for letter in Letter::ALL {
            for alter in -1..=1 {
                for mode in Mode::ALL {
                    let key = Key { tonic: Spelling::new(letter, alter), mode };
                    for note in key.scale() {
                        assert_eq!(key.spell_class(note.class()), note, "{key}");
                    }
                }
            }
        }
    }

    #[test]
    fn spelling_in_key() {
        let c_minor = Key::parse("C minor").unwrap();
        assert_eq!(c_minor.scale().map(|s| s.to_string()), ["C", "D", "Eb", "F", "G", "Ab", "Bb"]);
        // common practice: the leading note of C minor is B, its lowered second Db.
        assert_eq!(c_minor.spell(Midi(71)).to_string(), "B4");
        assert_eq!(c_minor.spell(Midi(61)).to_string(), "Db4");
        assert_eq!(Key::parse("E major").unwrap().spell(Midi(68)).to_string(), "G#4");
        assert_eq!(Key::parse("Db").unwrap().spell(Midi(66)).to_string(), "Gb4");
    }
}
