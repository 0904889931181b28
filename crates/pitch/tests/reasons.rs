//! The sentences that go with a name: each row's name must be among those found, and say this.

use pitch::{Context, Key, Midi, Name, Naming, Spelled, Symbol, names};

fn midi(text: &str) -> Midi {
    Spelled::parse(text).and_then(Spelled::midi).unwrap()
}

fn naming(notes: &str, context: Context) -> Naming {
    names(&notes.split_whitespace().map(midi).collect::<Vec<_>>(), &context)
}

fn over(bass: &str) -> Context {
    Context { bass: Some(midi(bass)), ..Context::default() }
}

fn name<'a>(naming: &'a Naming, symbol: &str) -> &'a Name {
    let found = || naming.names.iter().map(|n| n.symbol.to_string()).collect::<Vec<_>>();
    naming.names.iter().find(|n| n.symbol.to_string() == symbol).unwrap_or_else(|| panic!("{symbol} is not among {:?}", found()))
}

#[test]
fn a_name_says_why() {
    let plain = Context::default;
    let key = |k: &str| Context { key: Key::parse(k).ok(), ..Context::default() };
    let written = |c: &str| Context { written: Symbol::parse(c).ok(), ..Context::default() };
    let rows: Vec<(&str, Context, &str, &str)> = vec![
        ("Eb4 G4 Bb4", over("C2"), "Cm7", "no root: the bass part has it"),
        ("C4 E4 G4", over("C2"), "C", "the bass part has the root C"),
        ("C3 E3 G3", plain(), "C", "the root C is the lowest note"),
        ("E3 G3 Bb3 D4", plain(), "C9", "no root: C is not among the notes and has to come from another part"),
        ("E3 G3 C4", plain(), "C/E", "E, the major third, is in the bass: first inversion"),
        ("G2 E3 C4", plain(), "C/G", "G, the fifth, is in the bass: second inversion"),
        ("Bb2 E3 G3 C4", plain(), "C7/Bb", "Bb, the minor seventh, is in the bass: third inversion"),
        ("D4 F#4 A4", over("E2"), "D/E", "the upper notes are a chord by themselves, and E under them is no note of it"),
        ("A2 E3 A3", plain(), "A5", "root and fifth alone are neither major nor minor"),
        ("A2 E3 A3", plain(), "A", "the third is missing, so it could be minor too"),
        ("A2 E3 A3", plain(), "Am", "the third is missing, so it could be major too"),
        ("C3 D3 G3", plain(), "Csus2", "D, the second, stands in place of the third"),
        ("C3 D3 G3", plain(), "Gsus4/C", "C, the fourth, stands in place of the third"),
        ("C3 D3 G3", plain(), "Gsus4/C", "same notes as Csus2 on another root"),
        ("C3 D3 F3 G3", plain(), "Csus2sus4", "there is no third: D and F, second and fourth, both stand in its place"),
        ("C3 E3 Bb3", plain(), "C7", "the fifth is left out, which the name does not need"),
        ("G2 F3 B3 E4", plain(), "G13", "the ninth is left out; the chord keeps the name of its thirteenth"),
        ("C3 Eb3 Bb3 F4", plain(), "Cm11", "the ninth is left out; the chord keeps the name of its eleventh"),
        ("C3 E3 Bb3 Eb4 Ab4", plain(), "C7alt", "b5 is not sounding, but meant by the name"),
        ("C3 E3 G3 D4", plain(), "Cadd9", "D is added to the triad, with no seventh under it"),
        ("B2 F3 Ab3 D4", plain(), "Bdim7", "each note of a diminished seventh can be its root"),
        ("C3 E3 G#3", plain(), "Caug", "each note of an augmented triad can be its root"),
        ("C4 E4 G4 A4", over("C2"), "C6", "same notes as Am7/C; preferred because the bass is C"),
        ("C4 E4 G4 A4", over("A1"), "Am7", "same notes as C6/A; preferred because the bass is A"),
        ("C#3 E#3 G#3", key("C"), "Db", "its root Db is no step of C major"),
        ("Eb4 G4", written("Cm7"), "Cm7", "it is written so in the lesson"),
        ("Eb4 G4 Bb4 D5", written("Cm7"), "Cm9", "it is the chord written in the lesson, with what the notes add"),
        ("C3 Db3 D3 Eb3", plain(), "Cm(addb9,add9)", "a weak name: the notes fit, but few players would think of this chord"),
    ];
    for (notes, context, symbol, sentence) in rows {
        let naming = naming(notes, context);
        let why = &name(&naming, symbol).why;
        assert!(why.iter().any(|w| w == sentence), "{notes}: {symbol} says {why:?}, not \"{sentence}\"");
    }
}

#[test]
fn neighbours_are_named() {
    let context = Context { before: Symbol::parse("C7").ok(), after: Symbol::parse("F").ok(), ..Context::default() };
    let naming = naming("E3 G3 Bb3 D4", context);
    let why = &name(&naming, "C9").why;
    assert!(why.contains(&"the root stays as in C7 before it".to_string()), "{why:?}");
    assert!(why.contains(&"it leads a fifth down to F".to_string()), "{why:?}");
}

#[test]
fn the_raised_seventh_belongs_to_a_minor_key() {
    let naming = naming("G#2 F3 B3 D4", Context { key: Key::parse("A minor").ok(), ..Context::default() });
    let why = &name(&naming, "G#dim7").why;
    assert!(why.iter().all(|w| !w.contains("no step")), "{why:?}");
}

#[test]
fn no_name_says_why() {
    let reason = |notes: &str| naming(notes, Context::default()).no_name.unwrap();
    assert_eq!(reason("G3"), "one note alone, G, names no chord; a bass note or the written harmony would");
    assert!(reason("C4 Db4 D4 Eb4 E4 F4").starts_with("C, Db, D, Eb, E and F lie too close for one chord"));
}

#[test]
fn remarks_on_the_notes() {
    let remark = |notes: &str, context: Context| naming(notes, context).remarks;
    assert!(remark("A2 D3 G3", Context::default())[0].contains("in fourths"));
    assert!(remark("A2 D3 G#3", Context::default()).is_empty());
    assert_eq!(remark("C3 E3 Bb3 D4 F#4 A4", Context::default()), ["its three highest notes are a triad of D by themselves"]);
    assert_eq!(remark("Bb3 D4 F4", over("G2")), [] as [String; 0]);
    assert_eq!(remark("Bb3 D4 F4", over("C2")), ["its three highest notes are a triad of Bb by themselves"]);
    let c_minor_seventh = || Symbol::parse("Cm7").ok();
    let passing = Context { written: c_minor_seventh(), ..over("D2") };
    assert_eq!(remark("Eb4 G4", passing), ["the bass part's D is no note of the written Cm7: it passes by, or the chord is Cm7/D"]);
    let clash = Context { written: c_minor_seventh(), ..Context::default() };
    assert_eq!(remark("E4 G4 B4", clash.clone()), ["the written Cm7 and the notes disagree: E and B are not in it"]);
    assert_eq!(remark("Eb4 G4 D5", clash), ["the written Cm7 does not have D; it is named here with it"]);
}

#[test]
fn a_written_chord_is_contradicted_by_another_third_or_seventh() {
    for (sign, notes, said) in [
        ("C", "C4 Eb4 G4", "Eb is not in it"),
        ("Cm", "C4 E4 G4", "E is not in it"),
        ("Cmaj7", "C4 E4 Bb4", "Bb is not in it"),
        ("C7", "C4 E4 B4", "B is not in it"),
    ] {
        let naming = naming(notes, Context { written: Symbol::parse(sign).ok(), ..Context::default() });
        assert_eq!(naming.remarks, [format!("the written {sign} and the notes disagree: {said}")]);
        assert_ne!(naming.names[0].symbol.to_string(), sign);
    }
    // A dominant bears both thirds.
    let blue = naming("E4 Bb4 Eb5", Context { written: Symbol::parse("C7").ok(), ..Context::default() });
    assert_eq!(blue.names[0].symbol.to_string(), "C7#9");
}

#[test]
fn other_readings_stay_in_sight_and_far_ones_do_not() {
    let symbols = |n: Naming| n.names.iter().map(|n| n.symbol.to_string()).collect::<Vec<_>>();
    let written = naming("Eb4 G4 Bb4", Context { written: Symbol::parse("Cm7").ok(), ..Context::default() });
    assert_eq!(symbols(written)[..2], ["Cm7", "Eb"]);
    let plain = symbols(naming("C3 E3 G3", Context::default()));
    assert!(plain.len() <= 2, "{plain:?}");
    // In C major B is a step and Ab is not.
    let diminished = symbols(naming("D3 F3 G#3 B3", Context { key: Key::parse("C").ok(), ..Context::default() }));
    let place = |s: &str| diminished.iter().position(|d| d == s).unwrap_or_else(|| panic!("{diminished:?}"));
    assert!(place("Bdim7/D") < place("Abdim7/D"), "{diminished:?}");
}

#[test]
fn two_notes_have_an_interval() {
    let interval = |notes: &str| naming(notes, Context::default()).interval.map(|i| i.to_string());
    assert_eq!(interval("C4 E4").as_deref(), Some("major third"));
    assert_eq!(interval("E3 C4").as_deref(), Some("minor sixth"));
    assert_eq!(interval("E2 B2 E3").as_deref(), Some("perfect fifth"));
    assert_eq!(interval("C4 E4 G4"), None);
    assert_eq!(interval("C3 C4").as_deref(), Some("perfect octave"));
    assert_eq!(interval("C3 C3"), None);
    assert_eq!(naming("C3 C4", Context::default()).no_name.unwrap(), "C in octaves names no chord; a bass note or the written harmony would");
    assert_eq!(naming("E4 G4", over("C2")).interval, None);
}

#[test]
fn notes_are_spelled_in_the_chord_and_the_key() {
    let spelled = |notes: &str, key: &str, symbol: &str| {
        let naming = naming(notes, Context { key: Key::parse(key).ok(), ..Context::default() });
        name(&naming, symbol).spelled.iter().map(|s| s.to_string()).collect::<Vec<_>>().join(" ")
    };
    // common practice
    assert_eq!(spelled("D#3 G3 A#3 C#4", "G# minor", "D#7"), "D#3 F##3 A#3 C#4");
    assert_eq!(spelled("G#3 B3 D#4", "Gb", "Abm"), "Ab3 Cb4 Eb4");
    assert_eq!(spelled("E3 G#3 B3", "Cb", "Fb"), "Fb3 Ab3 Cb4");
    assert_eq!(spelled("C3 D#3 F#3 A3", "Bb minor", "Cdim7"), "C3 Eb3 Gb3 A3");
    assert_eq!(spelled("E3 G#3 C4 D4", "A minor", "E7#5"), "E3 G#3 C4 D4");
    assert_eq!(spelled("B2 D#3 A3", "E", "B7"), "B2 D#3 A3");
    // Without a key both names of F# and Gb are as good.
    let open = naming("F#3 A#3 C#4", Context::default());
    let both = [open.names[0].symbol.to_string(), open.names[0].also_written.as_ref().unwrap().to_string()];
    assert_eq!(both, ["F#", "Gb"]);
    assert_eq!(naming("C4 E4 G4", Context::default()).names[0].also_written, None);
    // A key leaves open the raised tonic or lowered second, and the raised fourth or lowered fifth; nothing else.
    for (notes, key, both) in [
        ("C#4 F4 G#4", "C", Some(("Db", "C#"))),
        ("F#3 A#3 C#4", "C", Some(("F#", "Gb"))),
        ("Bb3 D4 F4", "C", None),
        ("Eb4 G4 Bb4", "C", None),
        ("G#3 C4 D#4", "C", None),
        ("G#3 B3 D4 F4", "A minor", None),
        ("F#3 A#3 C#4", "G", None),
    ] {
        let naming = naming(notes, Context { key: Key::parse(key).ok(), ..Context::default() });
        let also = naming.names[0].also_written.as_ref().map(|s| s.to_string());
        assert_eq!(also.as_deref(), both.map(|b| b.1), "{notes} in {key}");
        if let Some((first, _)) = both {
            assert_eq!(naming.names[0].symbol.to_string(), first);
        }
    }
}
