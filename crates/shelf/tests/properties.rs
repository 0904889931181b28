//! What must hold for any grip and any words.

mod generated;

use generated::seen;
use neck::{Grip, Instrument};
use proptest::prelude::*;
use shelf::{Likeness, Shape, Shelf, query};

fn grips() -> impl Strategy<Value = Grip> {
    prop::collection::vec(prop::option::of(1u8..14), 6).prop_map(|frets| Grip { frets }).prop_filter("two strings", |g| g.sounding().count() >= 2)
}

/// The same sounding notes, a place lower or higher on other strings: found by trying all ways.
fn elsewhere(grip: &Grip) -> Option<Grip> {
    let guitar = Instrument::guitar();
    let midi: Vec<u8> = grip.midi(&guitar).into_iter().flatten().map(|m| m.0).collect();
    let open: Vec<u8> = guitar.tuning.open.iter().map(|m| m.0).collect();
    // Each note one string down, where it exists and the string is free.
    let mut frets = vec![None; 6];
    for ((string, _), note) in grip.sounding().zip(&midi) {
        let lower = 6usize.checked_sub(usize::from(string))?.checked_sub(1)?;
        frets[lower] = Some(note.checked_sub(open[lower]).filter(|f| *f <= 22)?);
    }
    Some(Grip { frets })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    #[test]
    fn every_planted_grip_is_found_wherever_it_lies(planted in prop::collection::vec(grips(), 1..6), by in -6i32..9) {
        let folder = tempfile::tempdir().unwrap();
        let mut shelf = Shelf::open(&folder.path().join("a.shelf")).unwrap();
        let guitar = Instrument::guitar();
        for (i, grip) in planted.iter().enumerate() {
            // Named, and once more typed as places in a second lesson.
            let places: Vec<String> = grip.sounding().map(|(s, f)| format!("{s}:{f}")).collect();
            for (kind, part) in [("named", format!("grip \"a\" \"{grip}\"; bar \". a\"")), ("typed", format!("bar \". .\"; bar \"{} .\"", places.join("+")))] {
                let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 90; slots 2; part \"g\" instrument=\"guitar\" {{ {part} }} }} }}");
                prop_assert!(lesson::read(&text).is_sound(), "{}", text);
                shelf.put(&seen(&format!("{kind}-{i}"), &text, 0), 0, text.as_bytes()).unwrap();
            }
        }
        for (i, grip) in planted.iter().enumerate() {
            let mut asked = vec![grip.clone()];
            asked.extend(grip.shifted(by).filter(|g| g.midi(&guitar).iter().zip(&g.frets).all(|(m, f)| m.is_some() == f.is_some())));
            asked.extend(elsewhere(grip));
            for ask in asked {
                let shape = Shape::of(&ask, &guitar).unwrap();
                let hits = shelf.find(&query(&format!("grip {ask}")).unwrap(), usize::MAX).unwrap().hits;
                let taught = shelf.taught(&ask, &guitar, None).unwrap();
                // Everything that has these intervals and nothing else.
                for (j, other) in planted.iter().enumerate() {
                    let like = Shape::of(other, &guitar).unwrap().like(&shape);
                    for (name, bar) in [(format!("named-{j}"), 1), (format!("typed-{j}"), 2)] {
                        let hit = hits.iter().find(|h| h.lesson == name);
                        prop_assert_eq!(hit.is_some(), like.is_some(), "{} asked as {}", other, ask);
                        prop_assert!(hit.is_none_or(|h| h.bar == Some(bar)));
                        prop_assert_eq!(taught.iter().find(|t| t.lesson == name).map(|t| t.like), like);
                    }
                }
                let own = taught.iter().find(|t| t.lesson == format!("named-{i}")).unwrap();
                prop_assert!(ask != *grip || own.like == Likeness::Same);
            }
        }
    }

    #[test]
    fn no_words_break_a_query(words in prop::collection::vec(prop_oneof![
        "\\PC{1,12}",
        any::<String>(),
        Just("\"".to_string()), Just("NEAR(".to_string()), Just("*".to_string()), Just("OR".to_string()), Just("a\0b".to_string()), Just("'; DROP TABLE lesson; --".to_string()),
        Just("body:".to_string()), Just("^x".to_string()), Just("{a b}".to_string()), Just("-".to_string()), Just("not".to_string()), Just("\"a b\"".to_string()),
        "(grip|parent|name|technique|tempo|key|swing|level|lock|from|to|x|[0-9]{1,3}|shared|[A-G][#b]?m?[79]?)",
    ], 0..7)) {
        thread_local!(static SHELF: (tempfile::TempDir, Shelf) = {
            let folder = tempfile::tempdir().unwrap();
            let mut shelf = Shelf::open(&folder.path().join("a.shelf")).unwrap();
            for i in 0..3 {
                let (name, text, _) = generated::lesson(i, 0);
                shelf.put(&seen(&name, &text, 0), 0, text.as_bytes()).unwrap();
            }
            (folder, shelf)
        });
        let text = words.join(" ");
        SHELF.with(|(_, shelf)| {
            match query(&text) {
                Err(faults) => {
                    prop_assert!(!faults.is_empty());
                    for f in faults {
                        prop_assert!(f.span.start <= f.span.end && f.span.end <= text.len() && text.is_char_boundary(f.span.start) && text.is_char_boundary(f.span.end));
                        prop_assert!(!f.found.is_empty() && !f.right.is_empty());
                    }
                }
                Ok(query) => {
                    let found = shelf.find(&query, 10);
                    prop_assert!(found.is_ok(), "{:?}: {:?}", text, found);
                }
            }
            prop_assert_eq!(shelf.lessons().unwrap().len(), 3);
            Ok(())
        })?;
    }

    #[test]
    fn words_are_found_as_a_scan_finds_them(words in prop::collection::vec("[a-zA-Z0-9äéñÖ',.-]{1,6}", 1..5), asked in "[a-zA-Z0-9äéñÖ'.-]{1,4}") {
        let folder = tempfile::tempdir().unwrap();
        let mut shelf = Shelf::open(&folder.path().join("a.shelf")).unwrap();
        let title = words.join(" ");
        let text = format!("lesson {} {{ passage \"p\" {{ tempo 90; slots 1; part \"0\" instrument=\"click\" {{ bar \"x\" }} }} }}", lesson::quoted(&title));
        shelf.put(&seen("one", &text, 0), 0, text.as_bytes()).unwrap();
        for ask in words.iter().chain([&asked]) {
            if let Ok(q) = query(&format!("\"{ask}\"")) {
                let here = shelf.find(&q, 9).unwrap().hits.iter().any(|h| h.passage.is_none());
                prop_assert_eq!(Some(here), q.terms[0].tests[0].in_words(&title), "{} in {}", ask, title);
            }
        }
    }
}
