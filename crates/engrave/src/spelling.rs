//! How a sounding pitch is written on a staff or in a diagram: by the key, but never with a double sign where a plain one will do.

use pitch::{Key, Letter, Midi, Mode, Spelled, Spelling};

/// The written note. Without a key, that of C major.
pub(crate) fn spell(key: Option<Key>, midi: Midi) -> Spelled {
    let key = key.unwrap_or(Key { tonic: Spelling::new(Letter::C, 0), mode: Mode::Major });
    let name = key.spell_class(midi.class());
    Spelled::from_midi(midi, simpler(name))
}

/// The plain name of a note that would need two flats or sharps: Bbb is A.
fn simpler(name: Spelling) -> Spelling {
    if name.alter.abs() < 2 {
        return name;
    }
    let plain = [0i8, name.alter.signum()].into_iter().flat_map(|alter| Letter::ALL.into_iter().map(move |l| Spelling::new(l, alter)));
    plain.into_iter().find(|s| s.class() == name.class()).unwrap_or(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_double_signs() {
        // common practice: the lowered second of Ab major is read as A, the leading note of G# minor stays F double sharp's plain name G.
        let ab = Key::parse("Ab").ok();
        assert_eq!(spell(ab, Midi(57)).to_string(), "A3");
        assert_eq!(spell(ab, Midi(68)).to_string(), "Ab4");
        assert_eq!(spell(None, Midi(60)).to_string(), "C4");
        for key in ["Gb", "F#", "C# minor", "Eb minor", "Db"] {
            for midi in 40..88 {
                let written = spell(Key::parse(key).ok(), Midi(midi));
                assert_eq!(written.midi(), Some(Midi(midi)));
                assert!(written.name.alter.abs() < 2, "{written} in {key}");
            }
        }
    }
}
