//! What must be true of every name of every set of pitch classes, over every bass: 4,095 sets, 12 basses each.

use pitch::{Classes, Context, Key, Midi, Naming, Symbol, first_name, names};

fn check(notes: &[Midi], context: &Context, naming: &Naming) {
    let grip: Classes = notes.iter().map(|n| n.class()).collect();
    let bass = context.bass.or(notes.iter().min().copied()).map(Midi::class);
    let told = || format!("{notes:?} {context:?} {naming:#?}");
    assert_eq!(naming.names.is_empty(), naming.no_name.is_some(), "{}", told());
    assert!(naming.names.len() <= 8, "{}", told());
    let first = naming.names.first().map(|n| (n.symbol.clone(), n.omitted.clone(), n.points));
    assert_eq!(first_name(notes, context).map(|n| (n.symbol, n.omitted, n.points)), first, "{}", told());
    assert!(naming.names.windows(2).all(|w| w[0].points <= w[1].points), "{}", told());
    let weak = naming.names.iter().skip(3).filter(|n| n.why.iter().any(|w| w.contains("weak"))).count();
    assert_eq!(weak, 0, "a weak name after three others: {}", told());
    for (i, name) in naming.names.iter().enumerate() {
        let symbol = &name.symbol;
        let root = symbol.root.class();
        assert!(naming.names[..i].iter().all(|n| n.symbol != *symbol), "{symbol} twice: {}", told());
        assert!(symbol.classes().contains(grip), "{symbol} does not hold the notes: {}", told());
        if context.written.is_none() {
            let open = context.bass.is_none() && name.rootless && symbol.bass.is_none();
            assert!(open || bass.is_none_or(|b| symbol.bass_class() == b), "{symbol} stands on another bass: {}", told());
            assert!(bass.is_none_or(|b| symbol.classes().holds(b)), "{symbol} does not hold the bass: {}", told());
        }
        let left_out: Vec<_> = symbol.tones.iter().copied().filter(|t| !grip.holds(t.class(root))).collect();
        assert_eq!(name.omitted, left_out, "{symbol}: {}", told());
        assert_eq!(name.rootless, !grip.holds(root), "{symbol}: {}", told());
        assert_eq!((name.degrees.len(), name.spelled.len()), (notes.len(), notes.len()));
        for ((note, degree), spelled) in notes.iter().zip(&name.degrees).zip(&name.spelled) {
            assert_eq!(degree.class(root), note.class(), "{symbol}: {}", told());
            assert_eq!(spelled.midi(), Some(*note), "{symbol}: {}", told());
            assert!(spelled.name.alter.abs() <= 2, "{symbol}: {}", told());
            let tone = symbol.degree_of(note.class());
            assert!(tone == Some(*degree) || (tone.is_none() && symbol.bass_class() == note.class()), "{symbol}: {}", told());
        }
        assert_eq!(Symbol::parse(&symbol.to_string()).as_ref(), Ok(symbol), "{symbol}");
        let label = name.harte.as_ref().unwrap_or_else(|| panic!("{symbol} has no label"));
        assert_eq!(Symbol::parse_harte(label).map(|s| s.classes()), Ok(symbol.classes()), "{label}");
        assert!(!name.why.is_empty(), "{symbol} has no reason: {}", told());
        if let Some(other) = &name.also_written {
            assert_eq!(other.classes(), symbol.classes(), "{symbol} {other}");
            assert_ne!(other.root, symbol.root);
        }
    }
}

#[test]
fn every_set_over_every_bass() {
    for bits in 1u16..4096 {
        let set = Classes::from_bits(bits);
        let notes: Vec<Midi> = set.iter().map(|c| Midi(48 + c.0)).collect();
        for bass in 0..12 {
            let context = Context { bass: Some(Midi(24 + bass)), ..Context::default() };
            let naming = names(&notes, &context);
            check(&notes, &context, &naming);
        }
    }
}

#[test]
fn every_set_from_each_of_its_own_notes_in_keys() {
    let keys: Vec<Key> = ["Cb", "F minor", "C", "E", "C# ", "A# minor"].iter().map(|k| Key::parse(k).unwrap()).collect();
    for bits in 1u16..4096 {
        let set = Classes::from_bits(bits);
        for bass in set.iter() {
            let notes: Vec<Midi> = set.iter().map(|c| Midi(40 + (c.0 + 12 - bass.0) % 12 + bass.0)).collect();
            let context = Context { key: Some(keys[usize::from(bits) % keys.len()]), ..Context::default() };
            let naming = names(&notes, &context);
            check(&notes, &context, &naming);
            assert_eq!(naming, names(&notes, &context), "two calls differ");
        }
    }
}

#[test]
fn written_harmony_on_every_set() {
    for sign in ["Cm7", "F#7alt", "Bb/D", "Gsus4", "Ebdim7", "A5"] {
        let written = Symbol::parse(sign).unwrap();
        for bits in 1u16..4096 {
            let notes: Vec<Midi> = Classes::from_bits(bits).iter().map(|c| Midi(48 + c.0)).collect();
            let context = Context { written: Some(written.clone()), bass: Some(Midi(24 + (bits % 12) as u8)), ..Context::default() };
            let naming = names(&notes, &context);
            check(&notes, &context, &naming);
            if written.classes().contains(Classes::from_bits(bits)) {
                assert_eq!(naming.names[0].symbol, written, "what the lesson says comes first");
            }
        }
    }
}

#[test]
fn odd_amounts() {
    let plain = Context::default();
    assert!(names(&[], &plain).no_name.unwrap().contains("nothing sounds"));
    assert!(names(&[Midi(60)], &plain).no_name.unwrap().contains("one note alone"));
    let hundred: Vec<Midi> = (0..100).map(|i| Midi([36, 48, 55, 64, 70][i % 5])).collect();
    let naming = names(&hundred, &plain);
    check(&hundred, &plain, &naming);
    assert_eq!(naming.names[0].symbol.to_string(), "C7");
    let everything: Vec<Midi> = (0..=127).map(Midi).collect();
    let naming = names(&everything, &plain);
    check(&everything, &plain, &naming);
    assert!(naming.no_name.is_some());
    // Out of MIDI's own range: nothing may break.
    let naming = names(&[Midi(255), Midi(200)], &plain);
    assert!(naming.names.len() <= 8);
    // Only a bass part: its note alone names nothing; with the written chord it belongs to that.
    let bass = Context { bass: Some(Midi(36)), ..Context::default() };
    assert!(names(&[], &bass).no_name.is_some());
    let written = Context { written: Symbol::parse("C").ok(), ..bass };
    assert_eq!(names(&[], &written).names[0].symbol.to_string(), "C");
}

/// Random grips, three to six strings, frets 0 to 15: nearly all have a name, and the others a reason.
#[test]
fn nearly_every_grip_has_a_name() {
    let mut state = 20u64;
    let mut next = |n: u64| {
        // Knuth's MMIX generator.
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % n
    };
    let mut unnamed = 0;
    for _ in 0..5000 {
        let mut strings = vec![40u8, 45, 50, 55, 59, 64];
        let count = 3 + next(4) as usize;
        while strings.len() > count {
            strings.remove(next(strings.len() as u64) as usize);
        }
        let notes: Vec<Midi> = strings.into_iter().map(|open| Midi(open + next(16) as u8)).collect();
        let naming = names(&notes, &Context::default());
        check(&notes, &Context::default(), &naming);
        unnamed += usize::from(naming.no_name.is_some());
    }
    assert!(unnamed <= 100, "{unnamed} of 5000 have no name");
    // And the limit is there: a namer that names everything says nothing.
    assert!(unnamed >= 10, "{unnamed} of 5000 have no name");
}

/// Moved up, the same names move up: nothing depends on where the notes lie or how they are written.
#[test]
fn names_move_with_the_notes() {
    let places = |naming: &Naming, by: u8| -> Vec<(u8, Vec<pitch::Degree>, i32)> {
        naming.names.iter().map(|n| ((n.symbol.root.class().0 + 12 - by) % 12, n.symbol.tones.clone(), n.points)).collect()
    };
    let minor = Key::parse("C minor").unwrap();
    for bits in (1u16..4096).filter(|b| b % 3 == 1) {
        let notes: Vec<Midi> = Classes::from_bits(bits).iter().map(|c| Midi(48 + c.0)).collect();
        for by in [1u8, 5, 6, 11] {
            let moved: Vec<Midi> = notes.iter().map(|n| Midi(n.0 + by)).collect();
            let open = |n: &[Midi]| names(n, &Context::default());
            assert_eq!(places(&open(&moved), by), places(&open(&notes), 0), "{notes:?} up {by}");
            let keyed = |n: &[Midi], key: Key| names(n, &Context { key: Some(key), ..Context::default() });
            assert_eq!(places(&keyed(&moved, minor.up(by.into())), by), places(&keyed(&notes, minor), 0), "{notes:?} up {by} in its key");
        }
    }
}
