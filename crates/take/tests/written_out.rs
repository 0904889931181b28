//! Lessons played as a list of notes, written out again, read, and compared.

use lesson::{Attack, Kind, Meter, Passage, soundings};
use proptest::prelude::*;
use take::{Grid, Settings, TakenNote, TakenScratch, WrittenOut, places, write_out};

fn settings() -> Settings {
    Settings { instrument: neck::Instrument::guitar(), bass: false, hand: neck::Hand::usual(), name: "take".into() }
}

fn written_at(notes: &[TakenNote], scratches: &[TakenScratch], grid: &Grid) -> WrittenOut {
    write_out(notes, &places(notes, &settings()).unwrap(), scratches, grid, &settings())
}

/// What a perfect ear hears of a part that lies `late` seconds into a file; strings told where `tell`.
fn played(passage: &Passage, part: usize, late: f64, tell: bool, wobble: &dyn Fn(usize) -> f64) -> (Vec<TakenNote>, Vec<TakenScratch>, Vec<(u8, u8)>) {
    let (mut notes, mut scratches, mut places) = (vec![], vec![], vec![]);
    let mut stroke = 0;
    let mut before = None;
    for s in soundings(&passage.parts[part]) {
        if before != Some(s.at) {
            stroke += 1;
            before = Some(s.at);
        }
        let onset_s = passage.seconds_at(s.at) + late + wobble(stroke);
        if s.dead {
            if scratches.last().is_none_or(|l: &TakenScratch| (l.onset_s - onset_s).abs() > 1e-9) {
                scratches.push(TakenScratch { onset_s, confidence: 0.9 });
            }
            continue;
        }
        let lesson::Source::String { string, fret } = s.source else { continue };
        let mut strings = vec![];
        if tell {
            strings = vec![0.002; 6];
            strings[6 - usize::from(string)] = 0.99;
        }
        notes.push(TakenNote { onset_s, offset_s: passage.seconds_at(s.at + s.len) + late, midi: s.midi, confidence: 0.9, strings, attack: s.attack });
        places.push((string, fret));
    }
    (notes, scratches, places)
}

fn again(passage: &Passage, part: usize, late: f64, wobble: &dyn Fn(usize) -> f64) -> WrittenOut {
    let (notes, scratches, found) = played(passage, part, late, true, wobble);
    // What is told of the strings is nearly certain here.
    let agree = places(&notes, &settings()).unwrap().iter().zip(&found).filter(|(a, b)| a == b).count();
    assert!(agree as f64 >= 0.97 * found.len() as f64, "{agree} of {}", found.len());
    let bar = passage.bars[0];
    let grid = Grid::steady(bar.tempo_bpm, late, late + passage.duration(), bar.meter, bar.swing).unwrap();
    written_at(&notes, &scratches, &grid)
}

/// Onset in written time, pitch, whether dead: once a stroke where it is.
fn heard(passage: &Passage, part: usize) -> Vec<(lesson::Beats, u8)> {
    let mut out: Vec<(lesson::Beats, u8)> = soundings(&passage.parts[part]).iter().map(|s| (s.at, if s.dead { 0 } else { s.midi.0 })).collect();
    out.sort();
    out.dedup();
    out
}

const TEXT: &str = r#"lesson "t" { passage "p" { tempo 96; meter "4/4"; slots 16; swing 56 of="1/16"
  part "g" instrument="guitar" {
    grip "a" "x x 5 5 5 x"
    grip "b" "x x 4 5 5 x"
    bar "a . x x  . x a x  x a - .  [a43 x a]=4" times=2
    bar "3:5 - 3:7 .  b . . b43  [x x]=1 b - .  5:3+4:5 - - -"
    bar "- - - .  . . . .  . . a .  . . . ."
    rest
    bar "2:5 . 2:8 2:5  3:7 3:5 . .  x . . .  . . . ."
  } } }"#;

#[test]
fn bars_come_back_as_they_were() {
    let reading = lesson::read(TEXT);
    assert!(reading.is_sound(), "{:?}", reading.problems);
    let passage = &reading.lesson.passages[0];
    let wobble = |k: usize| [0.008, -0.012, 0.0, 0.01, -0.006][k % 5];
    let written = again(passage, 0, 1.3, &wobble);
    let back = lesson::read(&written.lesson);
    assert!(back.is_sound(), "{}\n{:?}", written.lesson, back.problems);
    assert_eq!(heard(&back.lesson.passages[0], 0), heard(passage, 0), "{}", written.lesson);
    assert_eq!((written.bars, written.doubtful_bars), (6, 0));
    assert!((written.first_bar_s - 1.3).abs() < 1e-9);
    for line in ["tempo 96", "swing 56 of=\"1/16\"", "grip \"a\" \"x x 5 5 5 x\"", "bar \"a . x x  . x a x  x a - .  [a43 x a]=4\" times=2", "      rest"] {
        assert!(written.lesson.contains(line), "{line} in\n{}", written.lesson);
    }
}

#[test]
fn what_is_doubtful_is_marked_in_its_bar() {
    let note = |onset_s: f64, confidence: f64| TakenNote { onset_s, offset_s: onset_s + 0.2, midi: pitch::Midi(60), confidence, strings: vec![], attack: Attack::Struck };
    let grid = Grid::steady(120.0, 0.0, 6.0, Meter { count: 4, unit: 4 }, None).unwrap();
    let written = written_at(&[note(0.0, 0.9), note(2.0, 0.2), note(4.0, 0.9)], &[], &grid);
    let lines: Vec<&str> = written.part.lines().filter(|l| l.contains("bar ")).collect();
    assert_eq!(lines.iter().map(|l| l.contains("sure=\"guess\"")).collect::<Vec<_>>(), [false, true, false], "{}", written.part);
    assert_eq!(written.doubtful_bars, 1);
}

#[test]
fn a_lone_note_that_may_lie_elsewhere_marks_its_bar() {
    let note = |onset_s: f64, sure: f64| TakenNote {
        onset_s,
        offset_s: onset_s + 0.2,
        midi: pitch::Midi(64),
        confidence: 0.9,
        strings: vec![0.0, 0.0, 0.0, 1.0 - sure, sure, 0.0],
        attack: Attack::Struck,
    };
    let grid = Grid::steady(120.0, 0.0, 6.0, Meter { count: 4, unit: 4 }, None).unwrap();
    let written = write_out(&[note(0.0, 0.9), note(2.0, 0.4), note(4.0, 0.6)], &[(2, 5); 3], &[], &grid, &settings());
    let lines: Vec<&str> = written.part.lines().filter(|l| l.contains("bar ")).collect();
    assert_eq!(lines.iter().map(|l| l.contains("sure=\"guess\"")).collect::<Vec<_>>(), [false, true, false], "{}", written.part);
}

#[test]
fn silence_has_no_bars_and_what_no_guitar_has_is_said() {
    let grid = Grid::steady(120.0, 0.0, 6.0, Meter { count: 4, unit: 4 }, None).unwrap();
    let nothing = written_at(&[], &[], &grid);
    assert_eq!((nothing.bars, nothing.part.as_str()), (0, "part \"take\" instrument=\"guitar\" {\n}\n"));
    let low = TakenNote { onset_s: 0.0, offset_s: 1.0, midi: pitch::Midi(20), confidence: 1.0, strings: vec![], attack: Attack::Struck };
    assert_eq!(places(&[low], &settings()).unwrap_err().note, 0);
}

#[test]
fn the_demo_comes_back() {
    let text = include_str!("../../../demo/ferry-road/lesson.kdl");
    let reading = lesson::read(text);
    let (mut right, mut all) = (0, 0);
    for passage in &reading.lesson.passages {
        // One tempo and one meter a take.
        if passage.bars.iter().any(|b| b.meter != passage.bars[0].meter || b.tempo_bpm != passage.bars[0].tempo_bpm || b.number == 0) {
            continue;
        }
        for (i, part) in passage.parts.iter().enumerate().filter(|(_, p)| p.kind == Kind::Guitar && p.neck.as_ref().is_some_and(|n| *n == neck::Instrument::guitar())) {
            let written = again(passage, i, 0.4, &|_| 0.0);
            let back = lesson::read(&written.lesson);
            assert!(back.is_sound(), "{} {}: {}\n{:?}", passage.id, part.name, written.lesson, back.problems);
            // A part that rests in its first bars begins later here.
            let skipped = passage.bars[0].meter.length() * lesson::Beats::from_integer(((written.first_bar_s - 0.4) / passage.bars[0].seconds()).round() as i64);
            let found: Vec<_> = heard(&back.lesson.passages[0], 0).into_iter().map(|(t, m)| (t + skipped, m)).collect();
            let wanted = heard(passage, i);
            all += wanted.len();
            right += wanted.iter().filter(|w| found.contains(w)).count();
        }
    }
    println!("{right} of {all}");
    assert!(all > 250 && right as f64 >= 0.98 * all as f64, "{right} of {all}");
}

proptest! {
    /// Whatever is handed in, the text reads without a fault.
    #[test]
    fn any_notes_read_as_a_sound_lesson(
        notes in prop::collection::vec((0.0..20.0f64, -0.1..3.0f64, 40u8..86, 0.0..1.0f64, 0usize..4), 0..60),
        scratches in prop::collection::vec(0.0..20.0f64, 0..20),
        bpm in 40.0..240.0f64,
        from in -1.0..5.0f64,
        meter in prop::sample::select(vec![(4u8, 4u8), (3, 4), (6, 8), (12, 8), (5, 4), (2, 4), (7, 8), (3, 8), (2, 2)]),
    ) {
        let attacks = [Attack::Struck, Attack::Hammered, Attack::Pulled, Attack::Slid];
        let notes: Vec<TakenNote> = notes.into_iter().map(|(t, len, m, c, a)| TakenNote { onset_s: t, offset_s: t + len, midi: pitch::Midi(m), confidence: c, strings: vec![], attack: attacks[a] }).collect();
        let scratches: Vec<TakenScratch> = scratches.into_iter().map(|onset_s| TakenScratch { onset_s, confidence: 0.7 }).collect();
        let grid = Grid::steady(bpm, from, 20.0, Meter { count: meter.0, unit: meter.1 }, None).unwrap();
        let written = written_at(&notes, &scratches, &grid);
        if written.bars > 0 {
            let back = lesson::read(&written.lesson);
            prop_assert!(back.is_sound(), "{}\n{:?}", written.lesson, back.problems);
        }
    }
}
