//! Every token of a stroke line and every line of a lesson does what `docs/lesson-file.md` says: struck notes, lengths, attacks, hands.
//!
//! Open strings from the high one: E4 64, B3 59, G3 55, D3 50, A2 45, E2 40 (common practice). A slot is an eighth unless said.

use lesson::{Attack, Beats, Direction, Drum, Event, Lesson, Part, Passage, Sounding, Source, Spread, read, soundings};

fn b(n: i64, d: i64) -> Beats {
    Beats::new(n, d)
}

fn lesson(text: &str) -> Lesson {
    let r = read(text);
    assert_eq!(r.problems, vec![], "{text}");
    r.lesson
}

/// A passage of the lines given.
fn passage(lines: &str) -> Passage {
    lesson(&format!("lesson \"t\" {{ passage \"p\" {{ {lines} }} }}")).passages.remove(0)
}

/// A guitar part of the lines given, with two grips: on strings 4, 3, 2 they sound 58 63 67 and 56 62 65.
fn part(lines: &str) -> Part {
    passage(&format!("tempo 120; slots 8; part \"g\" instrument=\"guitar\" {{ grip \"a\" \"x x 8 8 8 x\"; grip \"b\" \"x x 6 7 6 x\"; {lines} }}")).parts.remove(0)
}

/// Events and soundings of one bar; tokens that are not written are silence.
fn bar(tokens: &str) -> (Vec<Event>, Vec<Sounding>) {
    let line = format!("{tokens}{}", " .".repeat(8 - tokens.split(' ').count()));
    let p = part(&format!("bar \"{line}\""));
    (p.bars[0].events.clone(), soundings(&p).to_vec())
}

fn pitches(s: &[Sounding]) -> Vec<u8> {
    s.iter().map(|s| s.midi.0).collect()
}

fn places(e: &Event) -> Vec<(u8, u8)> {
    e.notes.iter().filter_map(lesson::Tone::place).collect()
}

#[test]
fn grips() {
    let (e, s) = bar("a");
    assert_eq!(pitches(&s), [58, 63, 67]);
    assert_eq!((e.len(), e[0].grip, e[0].scratch), (1, Some('a'), false));
    assert_eq!(pitches(&bar("a43").1), [58, 63]);
    assert_eq!(pitches(&bar("a@-1").1), [57, 62, 66]);
    assert_eq!(pitches(&bar("a@2").1), [60, 65, 69]);
    assert_eq!(pitches(&bar("a2@2").1), [69]);
    for letter in ('a'..='z').filter(|c| *c != 'x') {
        let p = passage(&format!("tempo 120; slots 1; part \"g\" instrument=\"guitar\" {{ grip \"{letter}\" \"3 x x x x x\"; bar \"{letter}\" }}"));
        assert_eq!(pitches(soundings(&p.parts[0])), [43], "{letter}");
    }
}

#[test]
fn single_places() {
    let (e, s) = bar("5:7");
    assert_eq!((pitches(&s), e[0].grip), (vec![52], None));
    let (e, s) = bar("3:7+1:7");
    assert_eq!((e.len(), pitches(&s)), (1, vec![62, 71]));
    for (string, open) in [(1, 64), (2, 59), (3, 55), (4, 50), (5, 45), (6, 40)] {
        assert_eq!(pitches(&bar(&format!("{string}:0")).1), [open]);
    }
    // The neighbours, and they alone, are dead.
    let (e, _) = bar("3:9+x");
    assert_eq!(places(&e[0]), [(4, 9), (3, 9), (2, 9)]);
    assert_eq!(e[0].notes.iter().map(|n| n.dead).collect::<Vec<_>>(), [true, false, true]);
    assert!(!e[0].scratch);
}

#[test]
fn every_string_and_letter() {
    // Eight strings from the low F#: 30 35 40 45 50 55 59 64 (common practice).
    let line: Vec<String> = (1..=8).rev().map(|s| format!("{s}:0")).collect();
    let p = passage(&format!("tempo 120; slots 8; part \"g\" instrument=\"guitar\" strings=8 {{ bar \"{}\" }}", line.join(" ")));
    assert_eq!(pitches(soundings(&p.parts[0])), [30, 35, 40, 45, 50, 55, 59, 64]);
    let p = passage("tempo 120; slots 7; part \"k\" instrument=\"keys\" { bar \"C4 D4 E4 F4 G4 A4 B4\" }");
    assert_eq!(pitches(soundings(&p.parts[0])), [60, 62, 64, 65, 67, 69, 71]);
}

#[test]
fn ringing_on_and_silence() {
    let (e, s) = bar("5:7 - - . 5:7");
    assert_eq!((e.len(), e[0].len, s[0].len), (2, b(3, 2), b(3, 2)));
    assert_eq!((s[1].at, s[1].slot, s[1].len), (b(2, 1), 5, b(1, 2)));
    // Over the bar line: written twice, heard once.
    let p = part("bar \". . . .  . . . 5:7\"; bar \"- - . .  . . . .\"");
    let (x, y) = (&p.bars[0].events[0], &p.bars[1].events[0]);
    assert!(x.tie_out && !x.tie_in && y.tie_in && !y.tie_out);
    assert_eq!((y.len, soundings(&p).len(), soundings(&p)[0].len), (b(1, 1), 1, b(3, 2)));
    // A stroke ends what rang, when it comes.
    assert_eq!(bar("5:7 - 1:0 -").1[0].len, b(1, 1));
    assert_eq!(bar("a - 4:5 -").1.iter().map(|s| s.len).collect::<Vec<_>>(), [b(1, 1), b(1, 1), b(1, 1), b(1, 1)]);
    assert_eq!(bar("5:7 1:0 - -").1[0].len, b(1, 2));
}

#[test]
fn scratches() {
    let (e, s) = bar("a x");
    assert!(e[1].scratch && s[3..].iter().all(|s| s.dead) && s[0].len == b(1, 2));
    assert_eq!(places(&e[1]), [(4, 8), (3, 8), (2, 8)]);
    assert_eq!(places(&bar("x").0[0]).iter().map(|p| p.0).collect::<Vec<_>>(), [5, 4, 3, 2]);
    assert_eq!(places(&bar("x654").0[0]).iter().map(|p| p.0).collect::<Vec<_>>(), [6, 5, 4]);
    let (e, _) = bar("xb");
    assert!(e[0].scratch && e[0].grip == Some('b') && places(&e[0]) == [(4, 6), (3, 7), (2, 6)]);
}

#[test]
fn brackets() {
    let p = part("bar \". [a x 5:7]=2 .  . . . .\"");
    let e = &p.bars[0].events;
    assert_eq!(e.iter().map(|e| (e.at, e.len, e.slot)).collect::<Vec<_>>(), [(b(1, 2), b(1, 3), 2), (b(5, 6), b(1, 3), 2), (b(7, 6), b(1, 3), 2)]);
    assert!(e.iter().all(|e| e.tuplet.is_some_and(|t| t.members == 3 && t.start == b(1, 2) && t.length == b(1, 1))));
    assert_eq!(e.iter().map(|e| e.hand).collect::<Vec<_>>(), [Direction::Down, Direction::Up, Direction::Down]);
    let p = part("bar \"[5:7 5:8]=1 . . .  . . . 5:7\"");
    assert_eq!(p.bars[0].events.iter().map(|e| e.at).collect::<Vec<_>>(), [b(0, 1), b(1, 4), b(7, 2)]);
}

#[test]
fn accents_and_ghosts() {
    let (e, s) = bar(">a a");
    assert!(e[0].accent && !e[1].accent && s[..3].iter().all(|s| s.accent) && s[3..].iter().all(|s| !s.accent));
    let (e, s) = bar("3:7+>1:7");
    assert!(e[0].accent && !s[0].accent && s[1].accent);
    // After a + the sign governs that item alone, be it one string or the strings of a grip.
    let accents = |tokens: &str| bar(tokens).1.iter().map(|s| s.accent).collect::<Vec<_>>();
    assert_eq!(accents("a43+>1:5"), [false, false, true]);
    assert_eq!(accents("1:5+>a43"), [true, true, false]);
    assert_eq!(accents(">a43+1:5"), [true, true, true]);
    assert_eq!(accents("3:9+>x"), [true, false, true]);
    assert!(bar("a43+>1:5").0[0].accent && !bar("a43+1:5").0[0].accent);
    // What goes on is not accented anew.
    let p = part("bar \". . . .  . . . >a\"; bar \"- . . .  . . . .\"");
    assert!(p.bars[0].events[0].notes.iter().all(|n| n.accent) && p.bars[1].events[0].notes.iter().all(|n| !n.accent) && !p.bars[1].events[0].accent);
    let (e, s) = bar("(a) a");
    assert!(e[0].notes.iter().all(|n| n.ghost) && s[..3].iter().all(|s| s.ghost) && s[3..].iter().all(|s| !s.ghost));
    assert_eq!(bar("3:7+(1:7)").1.iter().map(|s| s.ghost).collect::<Vec<_>>(), [false, true]);
}

#[test]
fn other_strings_ring_on() {
    let (e, s) = bar("a4 &a3 &a2 -");
    assert_eq!(s.iter().map(|s| s.len).collect::<Vec<_>>(), [b(2, 1), b(3, 2), b(1, 1)]);
    assert!(e[1].keep && e[0].notes[0].rings_on && e[1].notes[0].rings_on && !e[2].notes[0].rings_on);
    assert_eq!(bar("a4 a3 a2 -").1[0].len, b(1, 2));
    // The string that is struck anew ends, the others do not.
    let (_, s) = bar("a &H3:10");
    assert_eq!(s.iter().map(|s| s.len).collect::<Vec<_>>(), [b(1, 1), b(1, 2), b(1, 1), b(1, 2)]);
}

#[test]
fn hammered_pulled_slid() {
    let (e, s) = bar("4:5 H4:7 P4:5 /4:9");
    assert_eq!(s.iter().map(|s| s.attack).collect::<Vec<_>>(), [Attack::Struck, Attack::Hammered, Attack::Pulled, Attack::Slid]);
    assert_eq!(s.iter().map(|s| s.from).collect::<Vec<_>>(), [None, Some(0), Some(1), Some(2)]);
    assert_eq!(pitches(&s), [55, 57, 55, 59]);
    assert_eq!(e.len(), 4);
    // Each holds to what its hand can do.
    for (line, word) in [("4:7 H4:5", "hammered"), ("4:5 P4:7", "pulled off"), ("/4:5", "slid"), ("H4:5", "hammered"), ("P4:5", "pulled off")] {
        let r = read(&format!("lesson \"t\" {{ passage \"p\" {{ tempo 120; slots 2; part \"g\" instrument=\"guitar\" {{ bar \"{line}{}\" }} }} }}", if line.contains(' ') { "" } else { " ." }));
        assert!(r.problems.len() == 1 && r.problems[0].found.contains(word), "{line}: {:?}", r.problems);
    }
    // Within a grip only the strings that change begin anew.
    let p = part("grip \"c\" \"x x 8 10 8 x\"; bar \"a Hc . .  . . . .\"");
    let s = soundings(&p);
    assert_eq!((pitches(s), s[0].len, s[3].attack), (vec![58, 63, 67, 65], b(1, 1), Attack::Hammered));
}

#[test]
fn slides_within_the_stroke() {
    let (e, s) = bar("4:6/7 H4:9");
    assert_eq!((e[0].notes[0].slide_to, s[0].slide, s[0].midi.0), (Some(7), Some((b(1, 4), 1)), 56));
    assert_eq!(s[1].attack, Attack::Hammered);
    let (e, s) = bar("b@-1/b");
    assert_eq!(pitches(&s), [55, 61, 64]);
    assert_eq!(e[0].notes.iter().map(|n| n.slide_to).collect::<Vec<_>>(), [Some(6), Some(7), Some(6)]);
    assert!(s.iter().all(|s| s.slide == Some((b(1, 4), 1))));
}

#[test]
fn how_a_note_is_played() {
    let flags = |tokens: &str, of: fn(&Sounding) -> bool| bar(tokens).1.iter().map(of).collect::<Vec<_>>();
    assert_eq!(flags("M6:3+5:5 6:3", |s| s.palm_mute), [true, true, false]);
    assert_eq!(flags("6:3+M5:5", |s| s.palm_mute), [false, true]);
    assert_eq!(flags("T1:8 1:8", |s| s.tremolo), [true, false]);
    assert_eq!(flags("Ra a", |s| s.rake), [true, true, true, false, false, false]);
    assert_eq!(flags("5:7' 5:7", |s| s.short), [true, false]);
    assert_eq!(flags("5:7~ 5:7", |s| s.vibrato), [true, false]);
    assert_eq!(flags("3:7~+1:7", |s| s.vibrato), [true, false]);
    assert_eq!(flags("N4:12 4:12", |s| s.harmonic), [true, false]);
    assert!(bar("Ra").0[0].rake);
}

/// Partials 2 to 6 over the open string, to the nearest semitone: 12, 19, 24, 28, 31.
#[test]
fn natural_harmonics_sound_their_partial() {
    for (fret, up) in [(12, 12), (7, 19), (19, 19), (5, 24), (4, 28), (9, 28), (16, 28), (3, 31)] {
        assert_eq!(pitches(&bar(&format!("N4:{fret}")).1), [50 + up], "{fret}");
    }
    let p = passage("tempo 120; slots 1; part \"g\" instrument=\"guitar\" frets=24 { bar \"N4:24\" }");
    assert_eq!(pitches(soundings(&p.parts[0])), [74]);
}

#[test]
fn bends() {
    let bend = |tokens: &str| bar(tokens).1[0].bend.clone();
    assert_eq!(bend("2:8"), []);
    assert_eq!(bend("2:8^1"), [(b(0, 1), 0.0), (b(1, 4), 200.0)]);
    assert_eq!(bend("2:8^.5"), [(b(0, 1), 0.0), (b(1, 4), 100.0)]);
    assert_eq!(bend("2:8^.25"), [(b(0, 1), 0.0), (b(1, 4), 50.0)]);
    assert_eq!(bend("2:8^1.5"), [(b(0, 1), 0.0), (b(1, 4), 300.0)]);
    assert_eq!(bend("2:8!1"), [(b(0, 1), 200.0)]);
    assert_eq!(bend("2:8!.5^1"), [(b(0, 1), 100.0), (b(1, 4), 200.0)]);
    assert_eq!(bend("2:8!1 ^0"), [(b(0, 1), 200.0), (b(1, 2), 200.0), (b(3, 4), 0.0)]);
    let (e, s) = bar("2:8^1 ^0");
    assert_eq!((s.len(), s[0].len), (1, b(1, 1)));
    assert!(!e[0].held && e[1].held && e[0].notes[0].bend_cents == Some(200.0) && e[1].notes[0].bend_cents == Some(0.0));
    // Each step sets out from where the one before arrived.
    assert_eq!(bend("2:8^1 ^0 ^.5"), [(b(0, 1), 0.0), (b(1, 4), 200.0), (b(1, 2), 200.0), (b(3, 4), 0.0), (b(1, 1), 0.0), (b(5, 4), 100.0)]);
    let (e, _) = bar("3:5 &2:8^1 ^0");
    assert!(e[1].keep && !e[2].keep);
    assert_eq!(bar("2:8!1").0[0].notes[0].prebend_cents, 200.0);
    // Joined by +: the bend is the first note's alone.
    assert_eq!(bar("3:7^1+2:8").1.iter().map(|s| s.bend.len()).collect::<Vec<_>>(), [2, 0]);
}

#[test]
fn directions_and_the_usual_hand() {
    let orders = |tokens: &str| bar(tokens).1.iter().map(|s| s.order).collect::<Vec<_>>();
    assert_eq!(orders("a a"), [0, 1, 2, 2, 1, 0]);
    assert_eq!(orders("Ua Da"), [2, 1, 0, 0, 1, 2]);
    let (e, s) = bar("Ua Da a");
    assert_eq!(e.iter().map(|e| e.direction).collect::<Vec<_>>(), [Some(Direction::Up), Some(Direction::Down), None]);
    assert_eq!(e.iter().map(|e| e.hand).collect::<Vec<_>>(), [Direction::Up, Direction::Down, Direction::Down]);
    assert!(s.iter().all(|s| s.of == 3));
    let hands = |head: &str, hand: &str, line: &str| -> String {
        let p = passage(&format!("tempo 120; {head}; part \"g\" instrument=\"guitar\" {hand} {{ bar \"{line}\" }}"));
        p.parts[0].bars[0].events.iter().map(|e| if e.hand == Direction::Down { 'D' } else { 'U' }).collect()
    };
    assert_eq!(hands("slots 8", "", "x x x x x x x x"), "DUDUDUDU");
    assert_eq!(hands("slots 8", "hand=\"swing\"", "x x x x x x x x"), "DUDUDUDU");
    assert_eq!(hands("slots 8", "hand=\"down\"", "x x x x x x x x"), "DDDDDDDD");
    assert_eq!(hands("slots 8", "hand=\"up\"", "x x x x x x x x"), "UUUUUUUU");
    // Compound meters and triplets: down, up, down from each beat.
    assert_eq!(hands("meter \"6/8\"; slots 6", "", "x x x x x x"), "DUDDUD");
    assert_eq!(hands("slots 12", "", "x x x x x x x x x x x x"), "DUDDUDDUDDUD");
}

#[test]
fn spreads() {
    let (e, s) = bar("*a a* a");
    assert_eq!(e.iter().map(|e| e.spread).collect::<Vec<_>>(), [Some(Spread::LowToHigh), Some(Spread::HighToLow), None]);
    assert_eq!(s.iter().map(|s| s.order).collect::<Vec<_>>(), [0, 1, 2, 2, 1, 0, 0, 1, 2]);
    assert_eq!(s.iter().map(|s| s.spread).collect::<Vec<_>>(), [true, true, true, true, true, true, false, false, false]);
}

#[test]
fn rows_under_a_bar() {
    let p = part("bar \"a . . .  . . . .\" { level \"0 - - 9  - - 4 .\"; wah \"o - + -  - - - o\" }");
    assert_eq!(p.bars[0].level, [(b(0, 1), 0), (b(3, 2), 9), (b(3, 1), 4)]);
    assert_eq!(p.bars[0].wah, [(b(0, 1), true), (b(1, 1), false), (b(7, 2), true)]);
}

#[test]
fn drums_and_click() {
    // General MIDI percussion keys: kick 36, snare 38, hats 42, open hats 46, ride 51, crash 49, tom 45.
    for (row, sign, drum, key) in [("kick", "x", Drum::Kick, 36), ("snare", "x", Drum::Snare, 38), ("hats", "x", Drum::Hats, 42), ("hats", "o", Drum::OpenHats, 46), ("ride", "x", Drum::Ride, 51), ("crash", "x", Drum::Crash, 49), ("tom", "x", Drum::Tom, 45)] {
        let p = passage(&format!("tempo 120; slots 4; part \"d\" instrument=\"drums\" {{ bar {{ {row} \". {sign} >{sign} ({sign})\" }} }}"));
        let s = soundings(&p.parts[0]);
        assert!(s.iter().all(|s| s.source == Source::Drum(drum) && s.midi.0 == key), "{row}");
        assert_eq!(s.iter().map(|s| (s.at, s.accent, s.ghost)).collect::<Vec<_>>(), [(b(1, 1), false, false), (b(2, 1), true, false), (b(3, 1), false, true)]);
    }
    // Of one time the lowest key first, whatever the order of the rows.
    let p = passage("tempo 120; slots 1; part \"d\" instrument=\"drums\" { bar { ride \"x\"; crash \"x\"; tom \"x\"; hats \"x\"; kick \"x\" } }");
    assert_eq!(pitches(soundings(&p.parts[0])), [36, 42, 45, 49, 51]);
    let p = passage("tempo 120; slots 4; part \"d\" instrument=\"drums\" { bar { kick \"x . [x x x]=2\"; snare \"x . . .\" } }");
    assert_eq!(p.parts[0].bars[0].events.iter().map(|e| (e.at, e.notes.len())).collect::<Vec<_>>(), [(b(0, 1), 2), (b(2, 1), 1), (b(8, 3), 1), (b(10, 3), 1)]);
    let p = passage("tempo 120; slots 4; part \"c\" instrument=\"click\" { bar \">x . x .\" }");
    assert_eq!(soundings(&p.parts[0]).iter().map(|s| (s.source, s.at, s.accent)).collect::<Vec<_>>(), [(Source::Click, b(0, 1), true), (Source::Click, b(2, 1), false)]);
}

#[test]
fn notes_by_name() {
    for instrument in ["keys", "horns", "voice", "strings", "other"] {
        let p = passage(&format!("tempo 120; slots 8; part \"k\" instrument=\"{instrument}\" {{ bar \"C4+Eb4+G4 - . F#3~  >Bb3' (C4) *C4+E4 C4+E4*\" }}"));
        let s = soundings(&p.parts[0]);
        assert_eq!(pitches(s), [60, 63, 67, 54, 58, 60, 60, 64, 60, 64]);
        assert_eq!(s[0].len, b(1, 1));
        assert!(s[3].vibrato && s[4].short && s[4].accent && s[5].ghost && !s[4].vibrato && !s[3].short);
        assert_eq!(s[6..].iter().map(|s| s.order).collect::<Vec<_>>(), [0, 1, 1, 0]);
        assert_eq!(p.parts[0].instrument, instrument);
    }
    let p = passage("tempo 120; slots 4; part \"k\" instrument=\"keys\" { bar \"C3 &C4 &E4 .\" }");
    assert_eq!(soundings(&p.parts[0]).iter().map(|s| s.len).collect::<Vec<_>>(), [b(3, 1), b(2, 1), b(1, 1)]);
}

#[test]
fn what_stands_behind_a_part() {
    let p = passage("tempo 120; slots 1; part \"g\" instrument=\"guitar\" seat=\"left\" tone=\"clean\" staff=#true tuning=\"drop D\" capo=2 frets=24 scale=620 sure=\"guess\" { bar \"6:0\" }; part \"h\" instrument=\"guitar\" seat=\"right\" strings=7 { bar \"7:0\" }; part \"i\" instrument=\"guitar\" seat=0.25 tuning=\"E2 A2 D3 G3 B3 D4\" { bar \"1:0\" }; part \"k\" instrument=\"bass\" seat=\"centre\" strings=5 { bar \"5:0\" }; part \"l\" instrument=\"guitar\" slots=2 { bar \"1:0 1:1\" }");
    let first = |i: usize| soundings(&p.parts[i])[0].midi.0;
    // D2 and a capo two frets up; the seventh string and the bass's fifth are a low B.
    assert_eq!([first(0), first(1), first(2), first(3)], [40, 35, 62, 23]);
    assert_eq!(p.parts.iter().map(|p| p.seat).collect::<Vec<_>>(), [-1.0, 1.0, 0.25, 0.0, 0.0]);
    let g = &p.parts[0];
    let neck = g.neck.as_ref().expect("a neck");
    assert!(g.staff && g.guess && g.tone.as_deref() == Some("clean") && neck.frets == 24 && neck.scale_mm == 620.0 && neck.capo == 2);
    assert!(!p.parts[1].staff && !p.parts[1].guess);
    assert_eq!(p.parts[4].bars[0].slots, 2);
    for (tuning, sixth, first) in [("standard", 40, 64), ("half step down", 39, 63), ("whole step down", 38, 62), ("drop D", 38, 64), ("double drop D", 38, 62), ("open G", 38, 62), ("open D", 38, 62), ("open E", 40, 64), ("open A", 40, 64), ("DADGAD", 38, 62)] {
        let p = passage(&format!("tempo 120; slots 2; part \"g\" instrument=\"guitar\" tuning=\"{tuning}\" {{ bar \"6:0 1:0\" }}"));
        assert_eq!(pitches(soundings(&p.parts[0])), [sixth, first], "{tuning}");
    }
}

#[test]
fn bars_as_played() {
    let fret = |p: &Passage, i: usize| p.parts[0].bars[i].events.first().map(|e| places(e)[0].1);
    let p = passage("tempo 120; slots 4; part \"g\" instrument=\"guitar\" { pickup \"1:9\"; repeat times=3 { bar \"1:0 . . .\"; bar \"1:1 . . .\" ending=\"1, 3\"; bar \"1:2 . . .\" ending=2 }; rest times=2; bar \"1:3 . . .\" times=2 say=\"here\" sure=\"guess\" }");
    let frets: Vec<Option<u8>> = (0..p.bars.len()).map(|i| fret(&p, i)).collect();
    assert_eq!(frets, [Some(9), Some(0), Some(1), Some(0), Some(2), Some(0), Some(1), None, None, Some(3), Some(3)]);
    assert_eq!(p.bars.iter().map(|b| b.number).collect::<Vec<_>>(), (0..=10).collect::<Vec<_>>());
    assert_eq!((p.bars[0].length, p.bars[1].start), (b(1, 1), b(1, 1)));
    assert!(p.parts[0].bars[10].guess && p.parts[0].bars[10].say.as_deref() == Some("here") && !p.parts[0].bars[1].guess);
    let p = passage("tempo 120; slots 4; part \"g\" instrument=\"guitar\" { bar \"1:0 . . .\"; bar \"1:0 . 1:1 .\" heard=\"as written\"; bar \"1:0 . 1:1 .\" times=2 heard=\"as written at slots 1, 3\" }");
    assert_eq!(p.parts[0].bars.iter().map(|b| b.heard.clone()).collect::<Vec<_>>(), [None, Some(vec![]), Some(vec![1, 3]), Some(vec![1, 3])]);
    // 120 a minute: half a second a beat; 9/8 has three dotted beats.
    let p = passage("tempo 120; slots 8; part \"g\" instrument=\"guitar\" { bar \"1:0 . . .  . . . .\"; bar \"1:0 . .  . . .  . . .\" meter=\"9/8\" tempo=60; rest meter=\"2/4\" tempo=30 }");
    assert_eq!(p.bar_starts(), [0.0, 2.0, 5.0, 9.0]);
}

#[test]
fn swing() {
    let at = |swing: &str| {
        let p = passage(&format!("tempo 60; slots 16; {swing}; part \"g\" instrument=\"guitar\" {{ bar \"1:0 . . .  . . . .  . . . .  . . . .\" }}"));
        [p.seconds_at(b(1, 4)), p.seconds_at(b(1, 2)), p.seconds_at(b(1, 1))]
    };
    let near = |x: [f64; 3], y: [f64; 3]| x.iter().zip(y).all(|(a, b)| (a - b).abs() < 1e-9);
    assert!(near(at("key \"C\""), [0.25, 0.5, 1.0]));
    assert!(near(at("swing 60"), [0.3, 0.6, 1.0]));
    assert!(near(at("swing 60 of=\"1/8\""), [0.3, 0.6, 1.0]));
    assert!(near(at("swing 60 of=\"1/16\""), [0.3, 0.5, 1.0]));
}

#[test]
fn harmony_key_and_record() {
    let p = passage("tempo 60; slots 4; key \"C minor\"; chords \"Cm7 / . | Bb7\"; record \"r.wav\" from=\"1:02.5\" to=70 cents=-12; record \"r.wav\" from=80 to=\"1:30\"; part \"g\" instrument=\"guitar\" { bar \"1:0 . . .\" times=2 }");
    let spans: Vec<(usize, Beats, Beats, Option<String>)> = p.harmony.iter().map(|h| (h.bar, h.at, h.len, h.symbol.as_ref().map(ToString::to_string))).collect();
    let sign = |s: &str| Some(s.to_string());
    let round = |bar| [(bar, b(0, 1), b(2, 1), sign("Cm7")), (bar, b(2, 1), b(1, 1), None), (bar, b(3, 1), b(1, 1), sign("Bb7"))];
    assert_eq!(spans, [round(0), round(1)].concat());
    assert_eq!(p.key, Some(pitch::Key::parse("C minor").expect("a key")));
    assert_eq!(p.record.iter().map(|r| (r.file.as_str(), r.from_s, r.to_s)).collect::<Vec<_>>(), [("r.wav", 62.5, 70.0), ("r.wav", 80.0, 90.0)]);
    assert_eq!(p.record_cents, Some(-12.0));
}

#[test]
fn words_of_the_teacher() {
    let l = lesson("lesson \"Title\" needs=\"barre, slide\" chord-names=\"capital\" format=1 { note \"one\"; revision \"2027-01-04\" \"two\"; passage \"p\" title=\"P\" sure=\"guess\" { tempo 60; slots 4
        part \"g\" instrument=\"guitar\" { grip \"a\" \"x x 6 7 6 x\" fingers=\"1 2 1\" name=\"Ab/C\" sure=\"guess\"; name \"Fm9\" at=\"1.3\"; take \"t.wav\" from=1 to=9; bar \"a . . .\" }
        easier \"g\" { grip \"a\" \"x x 6 x x x\"; bar \"a . . .\" }
        note \"three\" at=\"1.2\" part=\"g\"; note \"four\" } }");
    assert_eq!((l.title.as_str(), l.format, l.needs.join("+").as_str(), l.notes.join("+").as_str()), ("Title", 1, "barre+slide", "one"));
    assert_eq!((l.revisions[0].date.as_str(), l.revisions[0].text.as_str()), ("2027-01-04", "two"));
    let p = &l.passages[0];
    assert_eq!((l.chord_names, p.chord_names, lesson("lesson \"t\" { passage \"p\" { tempo 60; part \"g\" instrument=\"guitar\" { rest } } }").chord_names), (pitch::Style::Capital, pitch::Style::Capital, pitch::Style::Plain));
    assert!(p.title == "P" && p.id == "p" && p.guess);
    let g = &p.parts[0].grips[0];
    assert!(g.guess && g.fingers.iter().map(|f| f.to_char()).collect::<String>() == "121" && g.name.as_ref().is_some_and(|n| n.to_string() == "Ab/C"));
    let pin = &p.parts[0].name_pins[0];
    assert_eq!((pin.bar, pin.at, pin.symbol.to_string().as_str()), (0, b(2, 1), "Fm9"));
    let take = p.parts[0].take.as_ref().expect("a take");
    assert_eq!((take.file.as_str(), take.from_s, take.to_s), ("t.wav", Some(1.0), Some(9.0)));
    assert_eq!((p.parts[1].easier_of.as_deref(), pitches(soundings(&p.parts[1]))), (Some("g"), vec![56]));
    assert_eq!((p.notes[0].text.as_str(), p.notes[0].part.as_deref(), p.notes[0].at), ("three", Some("g"), Some((0, b(1, 1)))));
    assert_eq!((p.notes[1].text.as_str(), p.notes[1].at), ("four", None));
}

#[test]
fn dead_strings_end_with_their_stroke() {
    let p = part("bar \". . . .  . . . 3:9+x\"; bar \"- . . .  . . . .\"");
    assert_eq!(places(&p.bars[0].events[0]).len(), 3);
    assert_eq!(places(&p.bars[1].events[0]), [(3, 9)]);
}

#[test]
fn signs_behind_a_ghosted_note() {
    let s = bar("(3:7)' (3:7)~ (3:7)^1").1;
    assert!(s.iter().all(|s| s.ghost) && s[0].short && s[1].vibrato && s[2].bend.len() == 2);
}

#[test]
fn a_bass_scratches_its_low_string_first() {
    let p = passage("tempo 120; slots 2; part \"k\" instrument=\"bass\" { bar \"x 2:5\"; bar \"x .\" }");
    assert_eq!(places(&p.parts[0].bars[0].events[0]), [(4, 0)]);
    assert_eq!(places(&p.parts[0].bars[1].events[0]), [(2, 5)]);
}

/// A pickup of three eighths ends on an up-stroke, as any bar does.
#[test]
fn the_hand_of_a_pickup_counts_from_the_bar_line_it_leads_to() {
    let p = part("pickup \"x x x\"; bar \"x . . .  . . . .\"");
    assert_eq!(p.bars[0].events.iter().map(|e| e.hand).collect::<Vec<_>>(), [Direction::Up, Direction::Down, Direction::Up]);
}

#[test]
fn an_easier_way_takes_over_what_it_does_not_say() {
    let p = passage("tempo 120; slots 8; part \"g\" instrument=\"guitar\" seat=\"left\" staff=#true tuning=\"drop D\" hand=\"up\" slots=2 { grip \"a\" \"0 x x x x x\"; bar \"a a\" }; easier \"g\" sure=\"guess\" { bar \"a .\" }");
    let easier = &p.parts[1];
    assert_eq!((easier.seat, easier.staff, easier.guess, easier.bars[0].slots, easier.bars[0].events[0].hand), (-1.0, true, true, 2, Direction::Up));
    assert_eq!(pitches(soundings(easier)), [38]);
}

#[test]
fn doubt_at_the_harmony_is_kept() {
    let doubted = |sure: &str| passage(&format!("tempo 120; slots 1; chords \"C\" {sure}; part \"g\" instrument=\"guitar\" {{ bar \".\" }}")).harmony_guess;
    assert!(doubted("sure=\"guess\"") && !doubted(""));
}

/// A bar with too many or too few slots is not played: what follows from the miscount is not said on top.
#[test]
fn a_miscounted_bar_is_not_played() {
    for line in ["5:3 5:3 5:3", "5:3 5:3 5:3 5:3 5:3", "[5:3 5:3 5:3 5:3"] {
        let r = read(&format!("lesson \"t\" {{ passage \"p\" {{ tempo 120; slots 4; part \"g\" instrument=\"guitar\" {{ bar \"{line}\"; bar \"5:3 . . .\" }} }} }}"));
        assert_eq!(r.problems.len(), 1, "{line}");
        let bars = &r.lesson.passages[0].parts[0].bars;
        assert_eq!((bars[0].events.len(), bars[1].events.len()), (0, 1), "{line}");
    }
}

#[test]
fn what_goes_on_after_a_slide_sounds_where_it_arrived() {
    let p = part("bar \". . . .  . . . 4:5/7\"; bar \"- ^1 . .  . . . .\"");
    for e in &p.bars[1].events {
        assert_eq!((places(e), e.notes[0].midi.0), (vec![(4, 7)], 57));
    }
    assert_eq!(p.bars[1].events.len(), 2);
}

#[test]
fn places_are_pinned_where_their_note_begins() {
    let p = passage("tempo 120; slots 4; part \"g\" instrument=\"guitar\" write=\"notes\" { bar \"C4 E4 . G4\"; bar \"[C4 D4]=2 E4 .\"; place \"5:15\" at=\"1.1\"; place \"3:9\" at=\"1.2\"; place \"4:17\" at=\"1.4\"; place \"5:19\" at=\"2.3\" }");
    let at = |bar: usize, event: usize| places(&p.parts[0].bars[bar].events[event])[0];
    assert_eq!([at(0, 0), at(0, 1), at(0, 2), at(1, 2)], [(5, 15), (3, 9), (4, 17), (5, 19)]);
}

#[test]
fn repeats_of_a_part_without_the_pickup_begin_behind_it() {
    let p = passage("tempo 120; slots 4; part \"g\" instrument=\"guitar\" { pickup \"1:0\"; repeat times=2 { bar \"1:0 . . .\" } }; part \"h\" instrument=\"guitar\" { repeat times=2 { bar \"1:0 . . .\" } }");
    assert_eq!(p.parts.iter().map(|q| q.folds[0].start).collect::<Vec<_>>(), [1, 1]);
}

#[test]
fn pinned_names_stand_in_order_of_place() {
    let p = part("name \"C\" at=\"2.1\"; name \"D\" at=\"1.3\"; name \"E\" at=\"1.1\"; bar \"a a a a  a a a a\" times=2");
    assert_eq!(p.name_pins.iter().map(|n| (n.bar, n.symbol.to_string())).collect::<Vec<_>>(), [(0, "E".to_string()), (0, "D".to_string()), (1, "C".to_string())]);
}
