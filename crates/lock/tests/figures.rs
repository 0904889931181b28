//! Figures of a pair: against a slow count, under exchange of the parts, and on odd lessons.

use lesson::{Beats, Passage, Sounding, soundings};
use lock::{ClashKind, Pair, Range};
use pitch::Midi;
use proptest::prelude::*;

fn read(text: &str) -> Passage {
    let reading = lesson::read(text);
    assert!(reading.is_sound(), "{text}: {:?}", reading.problems);
    reading.lesson.passages[0].clone()
}

fn passage(parts: &[(&str, &[String])]) -> Passage {
    let mut text = "lesson \"t\" { passage \"p\" { tempo 90; slots 8; chords \"C / F7 /\"\n".to_string();
    for (i, (instrument, bars)) in parts.iter().enumerate() {
        let bars: String = bars.iter().map(|b| format!("bar \"{b}\"; ")).collect();
        text += &format!("part \"part {i}\" instrument=\"{instrument}\" {{ {bars} }}\n");
    }
    read(&(text + "} }"))
}

/// Bars of eight slots without techniques that move a pitch.
fn bars() -> impl Strategy<Value = Vec<String>> {
    let token = prop_oneof![
        4 => (1u8..=4, 0u8..=6).prop_map(|(s, f)| format!("{s}:{f}")),
        1 => (0u8..=6).prop_map(|f| format!("3:{f}+2:{f}")),
        2 => Just("x".to_string()),
        3 => Just(".".to_string()),
        4 => Just("-".to_string()),
        1 => Just("[3:5 3:6 3:7]=1".to_string()),
    ];
    proptest::collection::vec(proptest::collection::vec(token, 8), 3).prop_map(|bars| {
        let mut rings = false;
        let mut line = |bar: Vec<String>| {
            let tokens: Vec<String> = bar
                .into_iter()
                .map(|t| {
                    let t = if t == "-" && !rings { ".".to_string() } else { t };
                    rings = !matches!(t.as_str(), "." | "x");
                    t
                })
                .collect();
            tokens.join(" ")
        };
        bars.into_iter().map(&mut line).collect()
    })
}

fn onsets(p: &Passage, part: usize) -> Vec<Beats> {
    let mut at: Vec<Beats> = soundings(&p.parts[part]).iter().map(|s| s.at).collect();
    at.dedup();
    at
}

fn pitched(p: &Passage, part: usize) -> Vec<&Sounding> {
    soundings(&p.parts[part]).iter().filter(|s| !s.dead && s.len > Beats::from_integer(0)).collect()
}

/// Time and pitches of a clash.
type Place = (Beats, [Midi; 2]);

/// Counted from the definitions, slot by slot and note by note: shared, alone, into silence, silent, clashes.
fn slow(p: &Passage) -> (u32, [u32; 2], [u32; 2], u32, Vec<Place>) {
    let lock = lock::lock(p);
    let on = [onsets(p, 0), onsets(p, 1)];
    let (mut shared, mut alone, mut into, mut silent) = (0, [0, 0], [0, 0], 0);
    for bar in &lock.map.bars {
        for k in 0..bar.slots {
            let t = bar.start + bar.slot() * Beats::from_integer(i64::from(k));
            let hit = [0, 1].map(|i| on[i].contains(&t));
            let rings = [0, 1].map(|i| pitched(p, i).iter().any(|s| s.at < t && t < s.at + s.len));
            match hit {
                [true, true] => shared += 1,
                [false, false] => silent += u32::from(!rings[0] && !rings[1]),
                [a, _] => {
                    let (who, other) = if a { (0, 1) } else { (1, 0) };
                    alone[who] += 1;
                    into[who] += u32::from(!rings[other]);
                }
            }
        }
    }
    let mut clashes = Vec::new();
    for a in pitched(p, 0) {
        for b in pitched(p, 1) {
            let from = a.at.max(b.at);
            if from < (a.at + a.len).min(b.at + b.len) && matches!(a.midi.0.abs_diff(b.midi.0), 0 | 1 | 2 | 13 | 14) {
                clashes.push((from, [a.midi, b.midi]));
            }
        }
    }
    clashes.sort();
    (shared, alone, into, silent, clashes)
}

/// Time in which both sound, and the weighed overlap, in steps of the finest grid that these bars have (a twelfth of a quarter).
fn slow_register(p: &Passage) -> (f64, Option<f64>) {
    let step = Beats::new(1, 12);
    let length = p.length();
    let (mut t, mut both, mut sum) = (Beats::from_integer(0), 0u32, 0i32);
    while t < length {
        let span = |i: usize| {
            let on: Vec<Midi> = pitched(p, i).iter().filter(|s| s.at <= t && t < s.at + s.len).map(|s| s.midi).collect();
            Some(Range { low: *on.iter().min()?, high: *on.iter().max()? })
        };
        if let (Some(a), Some(b)) = (span(0), span(1)) {
            both += 1;
            sum += a.overlap(b);
        }
        t += step;
    }
    let steps = (length / step).to_integer() as f64;
    (f64::from(both) / steps, (both > 0).then(|| f64::from(sum) / f64::from(both)))
}

fn places(p: &Passage, pair: &Pair) -> Vec<Place> {
    let mut out: Vec<Place> = pair.clashes.iter().map(|c| (p.bars[c.bar].start + c.at, c.notes)).collect();
    out.sort();
    out
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn as_counted_slowly(a in bars(), b in bars()) {
        let p = passage(&[("guitar", &a), ("guitar", &b)]);
        let pair = lock::lock(&p).pairs[0].clone();
        let (shared, alone, into, silent, clashes) = slow(&p);
        prop_assert_eq!((pair.shared, pair.alone, pair.into_silence, pair.silent), (shared, alone, into, silent));
        prop_assert_eq!(pair.shared + pair.alternating + pair.empty, pair.slots);
        prop_assert_eq!(pair.alternating, alone[0] + alone[1]);
        prop_assert_eq!(places(&p, &pair), clashes);
        prop_assert_eq!(pair.onsets, [0, 1].map(|i| onsets(&p, i).len() as u32));
        prop_assert!((pair.density[0] - f64::from(pair.onsets[0]) / 3.0).abs() < 1e-9);
        let (together, overlap) = slow_register(&p);
        prop_assert!((pair.together - together).abs() < 1e-9, "{} {}", pair.together, together);
        if let Some(r) = pair.register {
            prop_assert_eq!(r.sounding_overlap.is_some(), overlap.is_some());
            prop_assert!((r.sounding_overlap.unwrap_or(0.0) - overlap.unwrap_or(0.0)).abs() < 1e-9);
        }
    }

    #[test]
    fn the_same_from_both_sides(a in bars(), b in bars()) {
        let there = lock::lock(&passage(&[("guitar", &a), ("guitar", &b)])).pairs[0].clone();
        let back = lock::lock(&passage(&[("guitar", &b), ("guitar", &a)])).pairs[0].clone();
        prop_assert_eq!((there.shared, there.shared_pitched, there.alternating, there.empty, there.silent), (back.shared, back.shared_pitched, back.alternating, back.empty, back.silent));
        let turned = |x: [u32; 2]| [x[1], x[0]];
        prop_assert_eq!((there.alone, there.into_silence, there.onsets), (turned(back.alone), turned(back.into_silence), turned(back.onsets)));
        prop_assert_eq!(there.register.map(|r| (r.overlap, r.sounding_overlap, r.above)), back.register.map(|r| (r.overlap, r.sounding_overlap, [r.above[1], r.above[0]])));
        prop_assert!((there.together - back.together).abs() < 1e-12);
        let mut turned: Vec<_> = back.clashes.iter().map(|c| (c.bar, c.at, c.length, [c.notes[1], c.notes[0]], c.kind, c.meaning)).collect();
        let mut straight: Vec<_> = there.clashes.iter().map(|c| (c.bar, c.at, c.length, c.notes, c.kind, c.meaning)).collect();
        turned.sort();
        straight.sort();
        prop_assert_eq!(straight, turned);
    }

    #[test]
    fn any_lesson_of_three_parts_is_told(a in bars(), b in bars(), c in bars()) {
        let p = passage(&[("guitar", &a), ("bass", &c), ("guitar", &b)]);
        let lock = lock::lock(&p);
        prop_assert_eq!(lock.pairs.iter().map(|p| p.parts).collect::<Vec<_>>(), vec![[0, 1], [0, 2], [1, 2]]);
        for s in lock.pairs.iter().flat_map(|p| &p.findings).chain(&lock.findings) {
            prop_assert!(s.ends_with('.') && s.starts_with(|c: char| c.is_uppercase() || c.is_ascii_digit()), "{}", s);
            prop_assert!(!s.contains("  ") && !s.contains(" ,") && !s.contains(" ."), "{}", s);
        }
        prop_assert!(lock.pairs.iter().all(|p| p.findings.len() <= 6) && lock.findings.len() <= 7);
        prop_assert_eq!(&lock, &lock::lock(&p));
    }
}

fn strings(bars: &[&str]) -> Vec<String> {
    bars.iter().map(ToString::to_string).collect()
}

#[test]
fn a_slot_later_is_another_lock() {
    let beats = strings(&["3:5 . 3:5 . 3:5 . 3:5 ."]);
    let later = strings(&[". 3:5 . 3:5 . 3:5 . 3:5"]);
    let figures = |a: &[String], b: &[String]| {
        let pair = lock::lock(&passage(&[("guitar", a), ("guitar", b)])).pairs[0].clone();
        (pair.shared, pair.alternating, pair.empty)
    };
    assert_eq!(figures(&beats, &beats), (4, 0, 4));
    assert_eq!(figures(&beats, &later), (0, 8, 0));
}

#[test]
fn grids_of_different_parts_become_one() {
    // Eighths against triplets: on one grid of 24 in a bar they meet on the beats alone.
    let p = read(r#"lesson "t" { passage "p" { tempo 90; part "a" instrument="guitar" slots=8 { bar "3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5" }; part "b" instrument="guitar" slots=12 { bar "3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5" } } }"#);
    let lock = lock::lock(&p);
    assert_eq!(lock.map.bars[0].slots, 24);
    assert_eq!((lock.pairs[0].shared, lock.pairs[0].alternating, lock.pairs[0].empty), (4, 12, 8));
    assert_eq!(lock.map.rows[1].hits.iter().map(|h| h.slot).take(4).collect::<Vec<_>>(), [1, 3, 5, 7]);
    // A bracket of three refines its own bar alone, and the onsets lie exactly.
    let p = read(r#"lesson "t" { passage "p" { tempo 90; slots 8; part "a" instrument="guitar" { bar "[3:5 3:5 3:5]=2 . . . . . ."; bar "3:5 . . . . . . ." } } }"#);
    let map = lock::lock(&p).map;
    assert_eq!((map.bars[0].slots, map.bars[1].slots), (24, 8));
    assert_eq!(map.rows[0].hits.iter().map(|h| (h.at, h.slot)).collect::<Vec<_>>(), [(Beats::new(0, 1), 1), (Beats::new(1, 3), 3), (Beats::new(2, 3), 5), (Beats::new(0, 1), 1)]);
}

#[test]
fn swing_is_no_matter() {
    let text = |swing: &str| format!("lesson \"t\" {{ passage \"p\" {{ tempo 90; slots 8; {swing} part \"a\" instrument=\"guitar\" {{ bar \"3:5 3:5 . 3:5 . 3:5 . .\" }}; part \"b\" instrument=\"guitar\" {{ bar \"1:3 . . 1:3 . . 1:3 .\" }} }} }}");
    assert_eq!(lock::lock(&read(&text("swing 66 of=\"1/8\";"))), lock::lock(&read(&text(""))));
}

#[test]
fn which_parts_count() {
    let p = read(
        r#"lesson "t" { passage "p" { tempo 90; slots 8
        part "chop" instrument="guitar" { bar "3:5 x . . 3:5 . (3:5) >3:5" }
        easier "chop" { bar "3:5 . . . . . . ." }
        part "keys" instrument="keys" { bar "C3+E3 - - - G3 - - -" }
        part "kit" instrument="drums" { bar { kick "x . . . x . . ."; snare ". . x . . . x ."; hats "x x x x x x x o" } }
        part "count" instrument="click" { bar "x . x . x . x ." } } }"#,
    );
    let lock = lock::lock(&p);
    let rows: Vec<(&str, usize)> = lock.map.rows.iter().map(|r| (r.name.as_str(), r.hits.len())).collect();
    assert_eq!(rows, [("chop", 5), ("keys", 2), ("kick", 2), ("snare", 2), ("hats", 8)]);
    assert_eq!(lock.pairs.iter().map(|p| p.parts).collect::<Vec<_>>(), [[0, 2], [0, 3], [2, 3]]);
    // Beside the guitar the kit is kick and snare: the chop meets the kick on one and three, the snare on four.
    assert_eq!((lock.pairs[1].shared, lock.pairs[1].onsets), (3, [5, 4]));
    let hits = &lock.map.rows[0].hits;
    assert_eq!(hits.iter().map(|h| h.scratch).collect::<Vec<_>>(), [false, true, false, false, false]);
    assert_eq!((hits[3].ghost, hits[4].accent, hits[2].ghost, hits[2].accent), (true, true, false, false));
    assert_eq!(lock.map.rows[1].hits[0].range, Some(Range { low: Midi(48), high: Midi(52) }));
    assert_eq!(lock.map.rows[1].hits[0].length, Beats::from_integer(2));
    assert_eq!(lock.map.rows[2].range, None);
}

#[test]
fn bass_stands_with_the_kick_alone() {
    let p = read(r#"lesson "t" { passage "p" { tempo 90; slots 4; part "floor" instrument="bass" { bar "3:3 3:3 3:3 3:3" }; part "kit" instrument="drums" { bar { kick "x . x ."; snare ". x . x" } } } }"#);
    let pair = &lock::lock(&p).pairs[0];
    assert_eq!((pair.drums.as_slice(), pair.shared, pair.onsets), ([lesson::Drum::Kick].as_slice(), 2, [4, 2]));
}

#[test]
fn hammered_notes_are_onsets_and_bends_let_down_are_not() {
    let p = read(r#"lesson "t" { passage "p" { tempo 90; slots 8; part "a" instrument="guitar" { bar "3:5 H3:7 . . 3:5!1 - ^0 -" } } }"#);
    let hits = lock::lock(&p).map.rows[0].hits.clone();
    assert_eq!(hits.iter().map(|h| (h.slot, h.legato)).collect::<Vec<_>>(), [(1, false), (2, true), (5, false)]);
}

#[test]
fn chords_and_their_holders() {
    let p = read(r#"lesson "t" { passage "p" { tempo 90; slots 4; chords "C / G7 /"
        part "chop" instrument="guitar" { bar "3:5+2:5 - 2:3 -" }
        part "floor" instrument="bass" { bar "3:3 - 4:3 4:5" } } }"#);
    let chords = lock::lock(&p).map.chords;
    assert_eq!(chords.iter().map(|c| (c.bar, c.beat, c.length)).collect::<Vec<_>>(), [(0, 1, Beats::from_integer(2)), (0, 3, Beats::from_integer(2))]);
    // C: the chop has C and E, the floor C, nobody G.
    assert_eq!(chords[0].tones.iter().map(|t| (t.degree.to_string(), t.parts.clone())).collect::<Vec<_>>(), [("R".to_string(), vec![0, 1]), ("3".into(), vec![0]), ("5".into(), vec![])]);
    // G7: the chop has D, the floor G; the floor's A on four is no note of it.
    assert_eq!(chords[1].holders(5), Some([0].as_slice()));
    assert_eq!(chords[1].holders(1), Some([1].as_slice()));
    assert_eq!(chords[1].holders(7), Some([].as_slice()));
    assert_eq!(chords[1].outside.iter().map(|t| (t.class.0, t.parts.clone())).collect::<Vec<_>>(), [(9, vec![1])]);
}

#[test]
fn a_passing_tone_is_no_tone_held() {
    let held = |bar: &str| {
        let p = read(&format!("lesson \"t\" {{ passage \"p\" {{ tempo 90; slots 16; chords \"C / / /\"; part \"line\" instrument=\"guitar\" {{ bar \"{bar}\" }} }} }}"));
        lock::lock(&p).map.chords[0].holders(3).map(<[usize]>::len)
    };
    // E for one sixteenth of sixteen, and for two.
    assert_eq!(held("3:5 - - - - - - - - - - - - - - 2:5"), Some(0));
    assert_eq!(held("3:5 - - - - - - - - - - - - - 2:5 -"), Some(1));
}

#[test]
fn kinds_of_clash() {
    let p = passage(&[("guitar", &strings(&["3:5 - 3:5 - 3:5 - 3:5 -"])), ("guitar", &strings(&["2:1 - 2:2 - 2:3 - 2:4 -"]))]);
    // C4 against C4, C#4, D4, D#4.
    let kinds: Vec<ClashKind> = lock::lock(&p).pairs[0].clashes.iter().map(|c| c.kind).collect();
    assert_eq!(kinds, [ClashKind::Unison, ClashKind::MinorSecond, ClashKind::MajorSecond]);
}

#[test]
fn a_bass_that_rings_on_from_bars_before() {
    // C held over three bars; the last one's harmony has it still.
    let p = read(r#"lesson "t" { passage "p" { tempo 90; slots 4; part "floor" instrument="bass" { bar "3:3 - - -"; bar "- - - -"; bar "- - - -" }; part "chop" instrument="guitar" { bar ". . . ." times=2; bar "3:3+2:4+1:3 - - -" } } }"#);
    assert_eq!(lock::bass_at(&p, Beats::from_integer(8), Beats::from_integer(12)), Some(Midi(36)));
    assert_eq!(lock::harmony(&p).last().and_then(|h| h.symbol.as_ref()).map(ToString::to_string).as_deref(), Some("Cm7"));
    assert_eq!(lock::lock(&p).pairs[0].together, 1.0 / 3.0);
}

#[test]
fn many_clashes_are_counted_and_few_kept() {
    let bar = format!("bar \"{}\" times=150; ", "3:5 ".repeat(16).trim_end());
    let sixteenths = bar.repeat(2);
    let p = read(&format!("lesson \"t\" {{ passage \"p\" {{ tempo 90; slots 16; part \"a\" instrument=\"guitar\" {{ {sixteenths} }}; part \"b\" instrument=\"guitar\" {{ {sixteenths} }} }} }}"));
    let pair = &lock::lock(&p).pairs[0];
    assert_eq!((pair.clashes.len(), pair.more_clashes), (lock::CLASHES_MAX, 4800 - lock::CLASHES_MAX));
}

#[test]
fn a_grid_has_its_limit() {
    // Elevenths and thirteenths of one bar of sixteenths would need 2,288 slots; the thirteenths fall into slots of the 176 that elevenths need.
    let p = read(r#"lesson "t" { passage "p" { tempo 90; slots 16
        part "a" instrument="guitar" { bar "[3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5]=8 . . . .  . . . ." }
        part "b" instrument="guitar" { bar ". . . .  . . . . [3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5]=8" } } }"#);
    let lock = lock::lock(&p);
    assert!(lock.map.bars[0].slots <= lock::SLOTS_MAX && lock.map.bars[0].slots.is_multiple_of(16));
    assert_eq!((lock.pairs[0].shared, lock.pairs[0].alternating), (0, 24));
    assert_eq!(lock.map.rows[1].hits[1].at, Beats::new(2, 1) + Beats::new(2, 13));
}

#[test]
fn nothing_to_lock() {
    for text in [
        r#"lesson "t" { passage "p" { tempo 90; slots 4; part "a" instrument="guitar" { bar ". . . ." } } }"#,
        r#"lesson "t" { passage "p" { tempo 90; slots 4; part "a" instrument="guitar" { bar "3:5 . . ." } } }"#,
    ] {
        let lock = lock::lock(&read(text));
        assert_eq!((lock.pairs.len(), lock.findings.len()), (0, 0));
    }
    assert_eq!(lock::lock(&Passage::default()), lock::Lock::default());
    // Whatever could be read of a faulty lesson.
    for text in ["lesson \"t\" { passage \"p\" { tempo 90; slots 4; part \"a\" instrument=\"guitar\" { bar \"3:5 q . .\" }; part \"b\" instrument=\"bass\" { bar \"3:3 . .\"; bar \"- - - -\" } } }", "lesson \"t\" { passage \"p\" { part \"a\" instrument=\"guitar\" { bar \"\" }; part \"b\" instrument=\"guitar\" { pickup \"3:5\" } } }"] {
        for p in &lesson::read(text).lesson.passages {
            lock::lock(p);
        }
    }
}

#[test]
fn the_demo_lesson() {
    let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo/ferry-road/lesson.kdl")).unwrap();
    let lesson = lesson::read(&text).lesson;
    let lock = lock::lock(&lesson.passages[0]);
    let name = |i: usize| lesson.passages[0].parts[i].name.as_str();
    let pair = lock.pairs.iter().find(|p| (name(p.parts[0]), name(p.parts[1])) == ("chop", "gaps")).unwrap();
    // As the lesson's own note has it.
    assert_eq!(pair.findings[0], "The gaps strike only where the chop scratches or rests.");
    assert_eq!(pair.shared_pitched, 0);
    // Written on four bars of sixteenths.
    assert_eq!((pair.slots, pair.onsets), (64, [50, 12]));
    for p in &lesson.passages {
        assert!(lock::lock(p).pairs.iter().filter(|q| q.drums.is_empty()).all(|q| !q.findings.is_empty()), "{}", p.id);
    }
}
