//! Any text at all: reading it gives a value that reads back, or a sentence; never a panic.

use pitch::{Degree, Key, Spelled, Spelling, Style, Symbol};
use proptest::prelude::*;

/// Pieces of chord signs in any order, so that most texts are nearly right.
fn pieces() -> impl Strategy<Value = String> {
    let piece = prop::sample::select(vec![
        "C", "F#", "Bb", "♭", "♯", "m", "maj", "M", "Δ", "-", "+", "°", "ø", "dim", "aug", "sus", "sus2", "sus4", "add", "no", "omit", "alt", "(", ")", ",", "/", "5",
        "6", "7", "9", "11", "13", "b", "#", "b5", "#9", "2", "4", " ", "é", "69", ":", "min7", "hdim7", "*5", "b3", "99999999999",
    ]);
    prop::collection::vec(piece, 0..9).prop_map(|p| p.concat())
}

fn holds(text: &str) {
    match Symbol::parse(text) {
        Ok(symbol) => {
            for style in Style::ALL {
                assert_eq!(Symbol::parse(&symbol.text(style)).as_ref(), Ok(&symbol), "{text} {}", symbol.text(style));
            }
            match symbol.harte() {
                Some(label) => assert_eq!(Symbol::parse_harte(&label).map(|s| s.classes()), Ok(symbol.classes()), "{text} {label}"),
                None => assert!(symbol.bass.is_some_and(|b| Degree::between(symbol.root, b).alter.abs() > 2), "{text} has no label"),
            }
            assert_eq!(symbol.up(5, None).up(-5, None).classes(), symbol.classes());
        }
        Err(e) => assert!(!e.is_empty()),
    }
    if let Ok(symbol) = Symbol::parse_harte(text) {
        let _ = (symbol.to_string(), symbol.harte(), symbol.spell());
    }
    if let Ok(key) = Key::parse(text) {
        assert_eq!(Key::parse(&key.to_string()), Ok(key));
        assert!((-7..=7).contains(&key.fifths()));
    }
    let _ = (Degree::parse(text), Spelled::parse(text), Spelling::parse(text), Style::parse(text));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 20_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn nearly_chord_signs(text in pieces()) {
        holds(&text);
        holds(&format!("C{text}"));
    }

    #[test]
    fn anything(text in ".{0,40}") {
        holds(&text);
    }
}
