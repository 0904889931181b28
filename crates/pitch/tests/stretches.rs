//! Harmony over time: passing notes, bass, neighbours, bars that come back, and the players' table as stretches.

use pitch::{Harmony, Held, Key, Midi, Spelled, Stretch, Symbol, Timing, harmony};

fn midi(text: &str) -> Midi {
    Spelled::parse(text).and_then(Spelled::midi).unwrap_or_else(|| panic!("{text} is no pitch"))
}

/// `NOTE@FROM-TO`, a bass part's with `b:` before it; stretches of one length.
fn found(text: &str, key: &str, length: f64, count: usize) -> Vec<Harmony> {
    let notes: Vec<Held> = text
        .split_whitespace()
        .map(|n| {
            let (note, times) = n.split_once('@').unwrap();
            let (from, to) = times.split_once('-').unwrap();
            Held { midi: midi(note.trim_start_matches("b:")), from: from.parse().unwrap(), to: to.parse().unwrap(), bass: note.starts_with("b:") }
        })
        .collect();
    let stretches: Vec<Stretch> = (0..count).map(|i| Stretch { from: length * i as f64, to: length * (i + 1) as f64 }).collect();
    harmony(&notes, &stretches, Key::parse(key).ok(), Timing::QUARTERS)
}

fn first(h: &Harmony) -> String {
    h.naming.names.first().map_or_else(|| format!("no name: {:?}", h.naming.no_name), |n| n.symbol.to_string())
}

#[test]
fn the_table_of_players_names_as_stretches() {
    let (mut rows, mut roots, mut thirds, mut told) = (0, 0, 0, Vec::new());
    for row in include_str!("names.table").lines().filter(|l| !l.starts_with('#') && !l.trim().is_empty()) {
        let cells: Vec<&str> = row.split('|').map(str::trim).collect();
        if ["before", "after", "chords"].iter().any(|w| cells[1].contains(w)) {
            continue;
        }
        let item = |w: &str| cells[1].split_whitespace().find_map(|i| i.strip_prefix(w).map(str::to_string));
        let mut notes: Vec<Held> = cells[0].split_whitespace().map(|n| Held { midi: midi(n), from: 0.0, to: 4.0, bass: false }).collect();
        if let Some(b) = item("bass=") {
            notes.push(Held { midi: midi(&b), from: 0.0, to: 4.0, bass: true });
        }
        let key = item("key=").and_then(|k| Key::parse(&k.replace('_', " ")).ok());
        let wanted: Vec<Symbol> = cells[2].split(['=', '&', '~', '>']).map(|n| Symbol::parse(n.trim().trim_start_matches('?').trim()).unwrap()).collect();
        let h = &harmony(&notes, &[Stretch { from: 0.0, to: 4.0 }], key, Timing::QUARTERS)[0];
        rows += 1;
        let Some(best) = h.naming.names.first() else {
            told.push(format!("{row}: no name"));
            continue;
        };
        let root = |w: &&Symbol| w.root.class() == best.symbol.root.class();
        let same = wanted.iter().any(|w| root(&w));
        let third = |s: &Symbol| (s.has(3, 0), s.has(3, -1), s.has(7, -1), s.has(7, 0));
        roots += usize::from(same);
        thirds += usize::from(wanted.iter().filter(root).any(|w| third(w) == third(&best.symbol)));
        if !same || !wanted.iter().filter(root).any(|w| third(w) == third(&best.symbol)) {
            told.push(format!("{row}: {}", best.symbol));
        }
    }
    assert!(rows >= 150);
    // The table was no part of the tuning, so not all of it comes out: roots, then roots with their third and seventh.
    assert!(100 * roots >= 94 * rows && 100 * thirds >= 93 * rows, "{roots} and {thirds} of {rows}:\n{}", told.join("\n"));
}

#[test]
fn a_walking_bass_renames_nothing() {
    let walk = "C4@0-4 E4@0-4 G4@0-4 b:C2@0-1 b:E2@1-2 b:G2@2-3 b:A2@3-4";
    assert_eq!(first(&found(walk, "C", 4.0, 1)[0]), "C");
    // The pitch that lasts decides, and the first counts double.
    let over_e = "C4@0-4 E4@0-4 G4@0-4 b:D2@0-1 b:E2@1-4";
    assert_eq!(first(&found(over_e, "C", 4.0, 1)[0]), "C/E");
    // Without a bass part the lowest string comes and goes: a slash only where one note is the lowest for most of the time.
    assert_eq!(first(&found("E3@0-4 G3@0-4 C4@0-4", "C", 4.0, 1)[0]), "C/E");
    let h = &found("E3@0-1 C3@1-2.5 E3@2.5-4 G3@0-4 C4@0-4", "C", 4.0, 1)[0];
    assert_eq!(first(h), "C/E");
    let h = &found("E3@0-2 C3@2-4 G3@0-4 C4@0-4 E4@0-4", "C", 4.0, 1)[0];
    assert_eq!(first(h), "C");
    assert!(h.naming.names[0].why.contains(&"its root is the lowest note for 50 % of the time".to_string()), "{h:#?}");
    let one_bass = found("C4@0-4 E4@0-4 G4@0-4 b:A1@0-4", "C", 4.0, 1);
    assert_eq!(first(&one_bass[0]), "Am7");
    assert!(one_bass[0].naming.names[0].rootless == false && one_bass[0].notes[0] == midi("A1"));
}

#[test]
fn what_rings_on_or_passes_by_does_not_count() {
    // C E G ring a beat into the bar of F.
    let h = found("C3@0-5 E3@0-5 G3@0-5 F2@4-8 A3@5-8 C4@5-8 F3@5-8", "C", 4.0, 2);
    assert_eq!([first(&h[0]), first(&h[1])], ["C", "F"]);
    let h = &found("A2@0-4 E3@0-4 A3@0-4 C4@0-3.6 D4@3.6-4", "A minor", 4.0, 1)[0];
    assert_eq!((first(h), h.passing.as_slice()), ("Am".into(), [midi("D4")].as_slice()));
    assert_eq!(h.naming.remarks, ["D passes by: less than a tenth of the sound"]);
    assert!(h.notes.iter().all(|n| *n != midi("D4")));
}

#[test]
fn the_next_chord_tells_which_dominant_it_is() {
    // B and F are third and seventh of G7, seventh and third of Db7.
    let tritone = "B3@0-4 F4@0-4";
    let to_c = found(&format!("{tritone} C3@4-8 E4@4-8 G4@4-8"), "", 4.0, 2);
    let to_g_flat = found(&format!("{tritone} F#3@4-8 A#3@4-8 C#4@4-8"), "", 4.0, 2);
    let root = |h: &[Harmony]| h[0].naming.names[0].symbol.root.class().0;
    assert_eq!((root(&to_c), root(&to_g_flat)), (7, 1));
    assert!(to_c[0].naming.names[0].why.contains(&"it leads a fifth down to C".to_string()));
}

#[test]
fn a_bar_that_comes_back_without_its_root_keeps_it() {
    // Four bars twice: Dm7 G7 Cmaj7 A7; the second time the guitar leaves Cmaj7 without C, and Dm7 without D.
    let bars = ["D3 A3 C4 F4", "G2 F3 B3 D4", "C3 G3 B3 E4", "A2 G3 C#4 E4", "A3 C4 F4", "G2 F3 B3 D4", "G3 B3 E4", "A2 G3 C#4 E4"];
    let text = |bars: &[&str]| -> String {
        let notes = bars.iter().enumerate().flat_map(|(i, b)| b.split(' ').map(move |n| format!("{n}@{}-{} ", 4 * i, 4 * i + 4)));
        notes.collect()
    };
    let roots = |h: &[Harmony]| -> Vec<String> { h.iter().map(|h| h.naming.names[0].symbol.root.to_string()).collect() };
    let both = found(&text(&bars), "C", 4.0, 8);
    assert_eq!(roots(&both), ["D", "G", "C", "A", "D", "G", "C", "A"]);
    // The second time alone says less.
    assert_ne!(roots(&found(&text(&bars[4..]), "C", 4.0, 4)), ["D", "G", "C", "A"]);
}

#[test]
fn silence_and_odd_times() {
    let h = found("C3@0-4 E3@0-4 G3@0-4", "C", 4.0, 2);
    assert!(h[1].naming.names.is_empty() && h[1].naming.no_name.as_ref().is_some_and(|w| w.contains("nothing sounds")) && h[1].bass.is_none());
    let odd = [
        Held { midi: Midi(60), from: f64::NAN, to: 1.0, bass: false },
        Held { midi: Midi(61), from: 3.0, to: 1.0, bass: true },
        Held { midi: Midi(200), from: 0.0, to: 1.0, bass: false },
        Held { midi: Midi(62), from: f64::NEG_INFINITY, to: f64::INFINITY, bass: false },
    ];
    let stretches = [Stretch { from: 0.0, to: 1.0 }, Stretch { from: f64::NAN, to: f64::NAN }, Stretch { from: 2.0, to: 1.0 }];
    let h = harmony(&odd, &stretches, None, Timing::SECONDS);
    assert_eq!(h.len(), 3);
    assert!(h.iter().all(|h| h.naming.names.is_empty() && h.notes.is_empty()));
    assert!(harmony(&odd, &[], None, Timing::SECONDS).is_empty());
    // One note: a root and its fifth, at most.
    assert_eq!(first(&found("A2@0-4", "A minor", 4.0, 1)[0]), "A5");
}

#[test]
fn names_hold_their_notes_and_move_with_them() {
    let mut state = 5u64;
    let mut next = |n: u64| {
        // Knuth's MMIX generator.
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % n
    };
    for _ in 0..200 {
        let count = 1 + next(4) as usize;
        let stretches: Vec<Stretch> = (0..count).map(|i| Stretch { from: 2.0 * i as f64, to: 2.0 * i as f64 + 2.0 }).collect();
        let notes: Vec<Held> = (0..next(20))
            .map(|_| {
                let from = next(16) as f64 / 2.0;
                Held { midi: Midi(40 + next(36) as u8), from, to: from + 0.25 + next(8) as f64 / 4.0, bass: next(6) == 0 }
            })
            .collect();
        let h = harmony(&notes, &stretches, None, Timing::QUARTERS);
        assert_eq!(h, harmony(&notes, &stretches, None, Timing::QUARTERS));
        let up: Vec<Held> = notes.iter().map(|n| Held { midi: Midi(n.midi.0 + 1), ..*n }).collect();
        for (one, moved) in h.iter().zip(harmony(&up, &stretches, None, Timing::QUARTERS)) {
            let told = || format!("{notes:?} {one:#?}");
            assert_eq!(one.naming.names.is_empty(), one.naming.no_name.is_some(), "{}", told());
            for name in &one.naming.names {
                assert_eq!((name.degrees.len(), name.spelled.len()), (one.notes.len(), one.notes.len()));
                for (note, (degree, spelled)) in one.notes.iter().zip(name.degrees.iter().zip(&name.spelled)) {
                    assert_eq!((degree.class(name.symbol.root.class()), spelled.midi()), (note.class(), Some(*note)), "{}", told());
                }
                // All that is not said to pass by belongs to the name.
                if name.why.iter().all(|w| !w.contains("would have to pass by")) {
                    assert!(one.notes.iter().all(|n| name.symbol.classes().holds(n.class())), "{}", told());
                }
                assert_eq!(Symbol::parse(&name.symbol.to_string()).as_ref(), Ok(&name.symbol));
            }
            let roots = |h: &Harmony, by: u8| -> Vec<(u8, i32)> { h.naming.names.iter().map(|n| ((n.symbol.root.class().0 + 12 - by) % 12, n.points)).collect() };
            let mut pair = [roots(one, 0), roots(&moved, 1)];
            // Equals may change places: they stand in the order of their roots.
            pair.iter_mut().for_each(|r| r.sort_by_key(|x| (x.1, x.0)));
            assert_eq!(pair[0].first(), pair[1].first(), "{}", told());
        }
    }
}
