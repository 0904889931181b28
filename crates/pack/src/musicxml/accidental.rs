//! Which accidentals are printed: those that neither the signature nor an earlier note of the bar on the same line already says.

use pitch::{Key, Spelled, Spelling};
use std::collections::BTreeMap;

/// Accidentals in force in a bar, by line or space.
pub(super) struct Accidentals {
    signature: [i8; 7],
    bar: BTreeMap<i32, i8>,
}

impl Accidentals {
    /// At a bar's start.
    pub(super) fn new(key: Option<Key>) -> Accidentals {
        let mut signature = [0; 7];
        for Spelling { letter, alter } in key.map(Key::scale).into_iter().flatten() {
            signature[letter as usize] = alter;
        }
        Accidentals { signature, bar: BTreeMap::new() }
    }

    /// The MusicXML word for the accidental to print before `note`, if any; it then holds to the end of the bar.
    pub(super) fn printed(&mut self, note: Spelled) -> Option<&'static str> {
        let alter = note.name.alter;
        let before = self.bar.get(&note.step()).copied().unwrap_or(self.signature[note.name.letter as usize]);
        self.bar.insert(note.step(), alter);
        (alter != before).then(|| match alter {
            ..=-2 => "flat-flat",
            -1 => "flat",
            0 => "natural",
            1 => "sharp",
            2.. => "double-sharp",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn said_once_a_bar() {
        // common practice: three flats in C minor; a raised leading note holds to the end of the bar, on its own line only.
        let mut a = Accidentals::new(Key::parse("C minor").ok());
        let mut say = |n: &str| a.printed(Spelled::parse(n).unwrap());
        assert_eq!(say("Bb3"), None);
        assert_eq!(say("B3"), Some("natural"));
        assert_eq!(say("B3"), None);
        assert_eq!(say("B4"), Some("natural"));
        assert_eq!(say("Bb3"), Some("flat"));
        assert_eq!(say("F#4"), Some("sharp"));
        assert_eq!(say("C4"), None);
        assert_eq!(Accidentals::new(None).printed(Spelled::parse("F##4").unwrap()), Some("double-sharp"));
    }
}
