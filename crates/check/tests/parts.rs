//! Parts against sound that the project makes itself, where all is known: which notes sound, and when.

mod played;

use check::{Checked, FindingKind, Options, Verdict, Whole};
use played::{LESSON, changed, read};
use std::sync::OnceLock;
use wave::Buffer;

/// The lesson's sound, with some of its text changed, at a tempo, from the third second of a buffer on.
fn sound(changes: &[(&str, &str)], percent: u32) -> Buffer {
    let mix = played::sounded(&changed(LESSON, changes), percent);
    let mut out = Buffer::silence(mix.rate_hz(), 2, 3 * mix.rate_hz() as usize + mix.frames()).unwrap();
    for c in 0..2 {
        out.channel_mut(c)[3 * mix.rate_hz() as usize..].copy_from_slice(mix.channel(c));
    }
    out
}

fn right() -> &'static Buffer {
    static RIGHT: OnceLock<Buffer> = OnceLock::new();
    RIGHT.get_or_init(|| sound(&[], 100))
}

fn checked(text: &str, record: &Buffer) -> Checked {
    check::passage(&read(text), "one", &[("audio/one.wav", record)], &Options::default()).unwrap()
}

fn words(c: &Checked) -> Vec<&str> {
    c.findings.iter().map(|f| f.words.as_str()).collect()
}

#[test]
fn a_right_lesson_is_supported() {
    let c = checked(LESSON, right());
    assert!((c.starts_s[0] - 3.0).abs() < 0.02, "{:?}", c.starts_s);
    for p in &c.parts {
        let good = p.notes.iter().filter(|n| n.verdict == Verdict::Supported).count();
        assert!(good * 100 >= 90 * p.notes.len(), "{}: {good} of {}", p.name, p.notes.len());
        assert!(p.notes.iter().all(|n| n.verdict != Verdict::Contradicted), "{:?}", words(&c));
        let pocket = p.pocket.unwrap();
        assert!(pocket.ahead_ms.abs() < 8.0 && pocket.spread_ms < 8.0, "{pocket:?}");
    }
    assert!(!c.findings.iter().any(|f| f.kind.contradicts()), "{:?}", words(&c));
}

#[test]
fn another_tempo_and_a_start_that_is_off_are_followed() {
    // 97 % of the tempo, and written 1.3 s too late.
    let c = checked(&LESSON.replace("from=3 to=13", "from=4.3 to=14.3"), &sound(&[], 97));
    assert!((c.starts_s[0] - 3.0).abs() < 0.03 && (c.stretch - 1.0 / 0.97).abs() < 0.005, "{:?} {}", c.starts_s, c.stretch);
    let beat = 60.0 / 96.0 / 0.97;
    for n in &c.parts[0].notes {
        let at = 3.0 + (f64::from(n.bar - 1) * 4.0 + n.beat - 1.0) * beat;
        assert!((n.time_s - at).abs() < 0.03, "bar {} beat {}: {} {at}", n.bar, n.beat, n.time_s);
    }
}

#[test]
fn one_chord_again_and_again_is_followed_at_a_tempo_that_moves() {
    // The record is up to 4 % faster and slower than written, bar by bar.
    let tempi = [100.0, 103.0, 104.0, 102.0, 98.0, 96.0, 97.0, 100.0];
    let text = |moves: bool| {
        let bar = |t: &f64| format!("      bar \"a a . a a a . a\"{}\n", if moves { format!(" tempo={t}") } else { String::new() });
        let bars: String = tempi.iter().map(bar).collect();
        format!("lesson \"Test\" {{\n  passage \"one\" {{\n    tempo 100\n    slots 8\n    record \"audio/one.wav\" from=0 to=19.2\n    part \"chop\" instrument=\"guitar\" {{\n      grip \"a\" \"x x 5 5 5 5\"\n{bars}    }}\n  }}\n}}\n")
    };
    let c = checked(&text(false), &sounded(&text(true)));
    for n in &c.parts[0].notes {
        let before: f64 = tempi[..n.bar as usize - 1].iter().map(|t| 240.0 / t).sum();
        let at = before + (n.beat - 1.0) * 60.0 / tempi[n.bar as usize - 1];
        assert!((n.time_s - at).abs() < 0.03, "bar {} beat {}: {} {at}", n.bar, n.beat, n.time_s);
    }
    assert!(!c.findings.iter().any(|f| f.kind.contradicts()), "{:?}", words(&c));
}

#[test]
fn a_note_written_a_sixteenth_late_is_told_though_a_drum_strikes_with_it() {
    let text = |second: &str| {
        let line = format!("      bar \"5:3 - - -  5:7 - - -  4:5 - - -  3:5 - - -\"\n      bar \"{second}\"\n      bar \"5:3 - - -  5:7 - - -  4:7 - - -  3:4 - - -\"\n");
        let drums = "      repeat times=3 { bar { kick \"x . . . . . . . x . . . . . . .\"; snare \". . . . x . . . . . . . x . . .\"; hats \"x . x . x . x . x . x . x . x .\" } }\n";
        format!("lesson \"Test\" {{\n  passage \"one\" {{\n    tempo 100\n    slots 16\n    record \"audio/one.wav\" from=0 to=7.2\n    part \"line\" instrument=\"guitar\" seat=\"left\" {{\n{line}    }}\n    part \"kit\" instrument=\"drums\" {{\n{drums}    }}\n  }}\n}}\n")
    };
    let record = sounded(&text("5:5 - - -  4:3 - - -  4:7 - - -  3:4 - - -"));
    let c = checked(&text("5:5 - - -  4:3 - - -  . 4:7 - -  3:4 - - -"), &record);
    let moved: Vec<_> = c.findings.iter().filter(|f| f.kind == FindingKind::Moved).map(|f| (f.bar, f.slot, f.written, f.moved_slots)).collect();
    assert_eq!(moved, [(2, 10, Some(57), Some(-1))], "{:?}", words(&c));
}

#[test]
fn a_wrong_note_is_named_mended_or_waved_through() {
    // The record has another note on the third beat of bar 4.
    let record = sound(&[("3:7  3:5 -", "3:7  3:4 -")], 100);
    let c = checked(LESSON, &record);
    let f = c.findings.iter().find(|f| f.kind == FindingKind::OtherPitch).unwrap_or_else(|| panic!("{:?}", words(&c)));
    assert_eq!((f.bar, f.slot, f.string, f.fret, f.written, f.suggested, f.suggested_place), (4, 5, Some(3), Some(5), Some(60), Some(59), Some((3, 4))));
    assert!(f.words.starts_with("bar 4, beat 3: C4 (string 3 fret 5) is written, the record has B3, fret 4"), "{}", f.words);
    assert_eq!(c.findings.iter().filter(|f| f.kind.contradicts()).count(), 1, "{:?}", words(&c));
    let mended = check::accept(LESSON, "one", f, lesson::Rounds::All).unwrap();
    assert_eq!(mended, LESSON.replace("3:7  3:5 -", "3:7  3:4 -"));
    let waved = check::wave_through(LESSON, "one", f).unwrap();
    assert_eq!(waved, LESSON.replace("4:7 -\"\n", "4:7 -\" heard=\"as written at slot 5\"\n"));
    assert!(!checked(&waved, &record).findings.iter().any(|f| f.kind.contradicts()));
}

#[test]
fn a_grip_note_too_few_is_named_and_put_in() {
    // Written without its top string in bar 2.
    let text = LESSON.replacen("b . b .  . b . b", "b432 . b .  . b . b", 1);
    let c = checked(&text, right());
    let f = c.findings.iter().find(|f| f.kind == FindingKind::GripNote).unwrap_or_else(|| panic!("{:?}", words(&c)));
    assert_eq!((f.bar, f.slot, f.suggested, f.suggested_place), (2, 1, Some(69), Some((1, 5))));
    assert!(f.words.contains("the record also has A4 here, string 1 fret 5"), "{}", f.words);
    let mended = check::accept(&text, "one", f, lesson::Rounds::All).unwrap();
    assert_eq!(mended, text.replacen("b432 .", "4:7+3:5+2:6+1:5 .", 1));
}

#[test]
fn a_part_a_semitone_off_is_one_finding() {
    let text = LESSON.replace("instrument=\"guitar\" seat", "instrument=\"guitar\" tuning=\"half step down\" seat");
    let c = checked(&text, right());
    let chop: Vec<_> = c.findings.iter().filter(|f| f.part.as_deref() == Some("chop")).collect();
    assert_eq!(chop.len(), 1, "{:?}", words(&c));
    assert_eq!(chop[0].kind, FindingKind::Whole(Whole::Semitones(1)));
    assert!(chop[0].words.contains("the whole part \"chop\" seems a semitone low"), "{}", chop[0].words);
    assert!(c.parts[0].notes.iter().all(|n| n.verdict != Verdict::Contradicted));
}

const LOW: &str = r#"lesson "Test" { passage "one" { tempo 100; slots 8; record "a.wav" from=0 to=9.6
    part "line" instrument="guitar" { bar "6:3 . 4:2 4:5 6:5 . 3:2 ."; bar "6:0 - 5:3 . 6:3 6:5 4:4 ."; bar "6:3 . 4:2 4:5 6:1 . 3:4 ."; bar "6:0 - 5:5 . 6:3 . 4:2 -" } } }"#;

fn sounded(text: &str) -> Buffer {
    played::sounded(text, 100)
}

#[test]
fn a_string_tuned_otherwise_is_one_finding() {
    // The record is played on a guitar whose low string is a whole tone down, and has one wrong note besides.
    let record = sounded(&LOW.replace("instrument=\"guitar\"", "instrument=\"guitar\" tuning=\"drop D\"").replacen("5:5 . 6:3", "5:4 . 6:3", 1));
    let reading = lesson::read(LOW);
    let c = check::passage(&reading.lesson, "one", &[("a.wav", &record)], &Options::default()).unwrap();
    let kinds: Vec<FindingKind> = c.findings.iter().filter(|f| f.kind.contradicts()).map(|f| f.kind).collect();
    assert_eq!(kinds, [FindingKind::Whole(Whole::StringTuned { string: 6, by: -2 }), FindingKind::OtherPitch], "{:?}", words(&c));
    assert_eq!((c.findings[0].string, c.findings[0].written, c.findings[0].suggested), (Some(6), Some(40), Some(38)));
    assert_eq!(c.findings[0].words, "all notes on string 6 of \"line\" sound a whole tone lower than written: is that string tuned to D2 there, not E2?");
    assert_eq!((c.findings[1].bar, c.findings[1].slot, c.findings[1].suggested), (4, 3, Some(49)), "{:?}", words(&c));
    let own = |n: &&check::NoteChecked| n.string == Some(6);
    assert!(c.parts[0].notes.iter().filter(own).all(|n| n.verdict != Verdict::Contradicted && n.better.is_none()));
    assert!(!c.findings.iter().any(|f| f.kind == FindingKind::GripNote), "{:?}", words(&c));
    // To a pupil it says what to do.
    let c = check::take(&reading.lesson, "one", "line", &record, &Options::default()).unwrap();
    assert_eq!(words(&c)[0], "every note on your string 6 sounds a whole tone lower than written: tune it to E2 (it seems to be at D2)");
    // Where hardly anything else is played nothing tells the string's tuning from other faults.
    let few = ["4:2 -", "4:2", "4:5", "3:2", "4:4", "5:5"].iter().fold(LOW.to_string(), |t, n| t.replace(n, if n.ends_with('-') { ". ." } else { "." }));
    let record = sounded(&few.replace("instrument=\"guitar\"", "instrument=\"guitar\" tuning=\"drop D\""));
    let c = check::passage(&lesson::read(&few).lesson, "one", &[("a.wav", &record)], &Options::default()).unwrap();
    assert!(c.findings.iter().any(|f| f.kind.contradicts()) && !c.findings.iter().any(|f| matches!(f.kind, FindingKind::Whole(Whole::StringTuned { .. }))), "{:?}", words(&c));
    // Tuned as written, nothing is said; nor of one wrong fret that comes back.
    let right = sounded(LOW);
    let c = check::passage(&reading.lesson, "one", &[("a.wav", &right)], &Options::default()).unwrap();
    assert!(!c.findings.iter().any(|f| f.kind.contradicts()), "{:?}", words(&c));
}

#[test]
fn all_parts_moved_alike_are_one_finding() {
    // A copy that runs a semitone high: all is written a semitone low.
    let text = LESSON.replace("instrument=\"guitar\" seat", "instrument=\"guitar\" tuning=\"half step down\" seat").replace("instrument=\"bass\" seat", "instrument=\"bass\" tuning=\"half step down\" seat");
    let c = checked(&text, right());
    assert_eq!(c.findings.iter().map(|f| (f.part.clone(), f.kind)).collect::<Vec<_>>(), [(None, FindingKind::Whole(Whole::Semitones(1)))], "{:?}", words(&c));
    assert!(words(&c)[0].starts_with("all parts seem a semitone low"), "{:?}", words(&c));
}

#[test]
fn other_music_is_told_before_its_tempo() {
    let others = [
        // The same key, tempo and instruments, other notes.
        r#"lesson "Other" { passage "one" { tempo 96; slots 8; part "a" instrument="guitar" seat="left" { repeat times=2 { bar "3:7 . 2:5 . 4:7 3:5 . 2:8"; bar ". 1:7 . 2:5 3:9 . 2:10 -" } }
            part "b" instrument="bass" { bar "3:7 - . 3:7 2:7 . 3:5 -" times=4 } } }"#,
        // A slow line.
        r#"lesson "Other" { passage "one" { tempo 54; slots 8; part "a" instrument="guitar" { bar "1:6 - 1:9 - 2:8 - - ." times=3 } } }"#,
    ];
    let reading = lesson::read(LESSON);
    for text in others {
        let music = sounded(text);
        let mut record = Buffer::silence(48_000, 2, music.frames() + 144_000).unwrap();
        for c in 0..2 {
            record.channel_mut(c)[144_000..].copy_from_slice(music.channel(c));
        }
        let c = checked(LESSON, &record);
        assert_eq!(c.findings.iter().map(|f| f.kind).collect::<Vec<_>>(), [FindingKind::Whole(Whole::OtherRecord)], "{:?}", words(&c));
        assert_eq!(words(&c)[0], "this does not seem to be the passage \"one\": is it the right record, and the right place in it?");
        let c = check::take(&reading.lesson, "one", "chop", &music, &Options::default()).unwrap();
        assert_eq!(words(&c), ["this does not seem to be this passage: is it the right passage, and the right take?"]);
    }
}

#[test]
fn a_tempo_written_at_half_or_double_is_one_finding() {
    for (written, to, times, word) in [(48, 23, 2.0, "twice"), (192, 8, 0.5, "half")] {
        let text = LESSON.replace("tempo 96", &format!("tempo {written}")).replace("to=13", &format!("to={to}"));
        let c = checked(&text, right());
        assert_eq!(c.findings.iter().map(|f| f.kind).collect::<Vec<_>>(), [FindingKind::Whole(Whole::Tempo { times })], "{:?}", words(&c));
        assert_eq!(words(&c)[0], format!("the passage fits at {word} the written tempo: is the tempo right?"));
        let mut alone = lesson::read(LESSON).lesson.passages[0].clone();
        alone.parts.truncate(1);
        let take = sound::render(&alone, &sound::Options { looped: false, ..Default::default() }, &sound::Takes::new(), &|_| ()).unwrap().mix;
        let c = check::take(&lesson::read(&text).lesson, "one", "chop", &take, &Options::default()).unwrap();
        assert_eq!(words(&c), [format!("you played at {word} the written tempo")]);
    }
}

#[test]
fn silence_another_record_half_the_tempo_and_an_early_end_are_one_finding_each() {
    let kind = |c: &Checked| c.findings.iter().map(|f| f.kind).collect::<Vec<_>>();
    let silence = Buffer::silence(44_100, 2, 44_100 * 15).unwrap();
    let c = checked(LESSON, &silence);
    assert_eq!(kind(&c), [FindingKind::Whole(Whole::Silent)]);
    // Noise in bursts, at other times than the strokes.
    let mut seed = 1u32;
    let noise: Vec<f32> = (0..44_100 * 15)
        .map(|n: u32| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let burst = (1.0 - (n % 17_389) as f32 / 9_000.0).max(0.0);
            0.2 * burst * ((seed >> 8) as f32 / 8_388_608.0 - 1.0)
        })
        .collect();
    let c = checked(LESSON, &Buffer::from_mono(44_100, noise).unwrap());
    assert_eq!(kind(&c), [FindingKind::Whole(Whole::OtherRecord)], "{:?} {}", words(&c), c.aligned);
    let twice = LESSON.replace("tempo 96", "tempo 48").replace("to=13", "to=23");
    let c = checked(&twice, right());
    assert!(matches!(kind(&c)[..], [FindingKind::Whole(Whole::Tempo { times: 2.0 })]), "{} {:?}", c.aligned, words(&c));
    let cut = right().slice_frames(0..right().rate_hz() as usize * 9);
    let c = checked(LESSON, &cut);
    assert!((c.starts_s[0] - 3.0).abs() < 0.1, "{:?} {} {} {:?}", c.starts_s, c.stretch, c.aligned, c.grid);
    assert!((c.starts_s[0] - 3.0).abs() < 0.1 && (c.stretch - 1.0).abs() < 0.01, "{:?} {}", c.starts_s, c.stretch);
    assert!(c.findings.iter().any(|f| matches!(f.kind, FindingKind::Whole(Whole::EndsEarly { bar: 3, .. }))), "{:?}", words(&c));
    assert!(c.parts[0].notes.iter().filter(|n| n.bar == 4).all(|n| n.verdict == Verdict::NotAudible));
    assert!(!c.findings.iter().any(|f| f.kind != FindingKind::Whole(Whole::EndsEarly { bar: 3, time_s: f.time_s }) && f.kind.contradicts()), "{:?}", words(&c));
}

#[test]
fn a_take_speaks_to_its_player() {
    let reading = lesson::read(LESSON);
    let mut alone = lesson::read(&LESSON.replace("3:7  3:5 -", "3:7  3:4 -")).lesson.passages[0].clone();
    alone.parts.truncate(1);
    let take = sound::render(&alone, &sound::Options { looped: false, ..Default::default() }, &sound::Takes::new(), &|_| ()).unwrap().mix;
    let c = check::take(&reading.lesson, "one", "chop", &take, &Options::default()).unwrap();
    assert_eq!(c.parts.len(), 1);
    let f = c.findings.iter().find(|f| f.kind == FindingKind::OtherPitch).unwrap_or_else(|| panic!("{:?}", words(&c)));
    assert!(f.words.starts_with("bar 4, beat 3: you played B3 where C4 is written"), "{}", f.words);
    assert!(check::take(&reading.lesson, "one", "choir", &take, &Options::default()).is_err());
    // It begins with the first sound, whatever hiss lies before.
    let rate = take.rate_hz() as usize;
    let peak = take.channel(0).iter().fold(0.0f32, |m, s| m.max(s.abs()));
    let hiss = |n: usize| if n % 7 < 3 { 0.06 * peak } else { -0.06 * peak };
    let late: Vec<f32> = (0..5 * rate).map(hiss).chain(take.channel(0).iter().copied()).collect();
    let c = check::take(&reading.lesson, "one", "chop", &Buffer::from_mono(take.rate_hz(), late).unwrap(), &Options::default()).unwrap();
    assert!((c.starts_s[0] - 5.0).abs() < 0.05, "{:?}", c.starts_s);
}

#[test]
fn a_part_is_judged_in_the_seat_where_it_sits() {
    // In the record the first part sits left and the bass in the centre; nobody said so in the lesson, or the other way round.
    for seat in ["", "seat=\"right\""] {
        let text = LESSON.replace("seat=\"left\"", seat);
        let c = checked(&text, right());
        let good = c.parts[0].notes.iter().filter(|n| n.verdict == Verdict::Supported).count();
        assert!(good * 100 >= 90 * c.parts[0].notes.len(), "{seat}: {good} of {}", c.parts[0].notes.len());
        assert!(!c.findings.iter().any(|f| f.kind.contradicts()), "{seat}: {:?}", words(&c));
    }
}

#[test]
fn a_part_that_lies_behind_is_measured() {
    let reading = lesson::read(LESSON);
    let passage = &reading.lesson.passages[0];
    let sound = sound::render(passage, &sound::Options { looped: false, ..Default::default() }, &sound::Takes::new(), &|_| ()).unwrap();
    let mut record = Buffer::silence(sound.mix.rate_hz(), 2, sound.frames + 3 * 48_000 + 48_000).unwrap();
    // The bass 24 ms late.
    for (n, stem) in &sound.stems {
        let late = if *n == 1 { 1_152 } else { 0 };
        for c in 0..2 {
            for (o, s) in record.channel_mut(c)[3 * 48_000 + late..].iter_mut().zip(stem.channel(c)) {
                *o += s;
            }
        }
    }
    let c = checked(LESSON, &record);
    let by = c.parts[0].pocket.unwrap().ahead_ms - c.parts[1].pocket.unwrap().ahead_ms;
    assert!((by - 24.0).abs() < 6.0, "{by} {:?} {:?}", c.parts[0].pocket, c.parts[1].pocket);
}

#[test]
fn several_stretches_speak_together() {
    let once = right();
    let second = sound(&[("b . b .  . b . b", "b . b .  . b . 3:6")], 100);
    let frames = once.frames() + second.frames();
    let mut both = Buffer::silence(48_000, 2, frames).unwrap();
    for c in 0..2 {
        both.channel_mut(c)[..once.frames()].copy_from_slice(once.channel(c));
        both.channel_mut(c)[once.frames()..].copy_from_slice(second.channel(c));
    }
    let at = once.duration().0 + 3.0;
    let text = LESSON.replace("to=13\n", &format!("to=13\n    record \"audio/one.wav\" from={at:.2} to={:.2}\n", at + 10.0));
    let c = checked(&text, &both);
    assert_eq!(c.starts_s.len(), 2);
    assert!((c.starts_s[1] - at).abs() < 0.03, "{:?}", c.starts_s);
    assert!(!c.findings.iter().any(|f| f.kind == FindingKind::Unwritten), "{:?}", words(&c));
}

#[test]
fn stretches_in_several_files_speak_together() {
    // The second file has it 1.5 s later, and with another note that the first does not have.
    let other = sound(&[("b . b .  . b . b", "b . b .  . b . 3:6")], 100);
    let mut later = Buffer::silence(48_000, 2, other.frames() + 72_000).unwrap();
    for c in 0..2 {
        later.channel_mut(c)[72_000..].copy_from_slice(other.channel(c));
    }
    let text = LESSON.replace("to=13\n", "to=13\n    record \"audio/two.wav\" from=4.5 to=14.5\n");
    let lesson = lesson::read(&text).lesson;
    let both = [("audio/one.wav", right()), ("audio/two.wav", &later)];
    let c = check::passage(&lesson, "one", &both, &Options::default()).unwrap();
    assert_eq!(c.files, ["audio/one.wav", "audio/two.wav"]);
    assert!((c.starts_s[0] - 3.0).abs() < 0.03 && (c.starts_s[1] - 4.5).abs() < 0.03, "{:?}", c.starts_s);
    assert_eq!(c.file, "audio/one.wav");
    // One of two has it: nobody wrote it, and that is right.
    assert!(!c.findings.iter().any(|f| f.kind == FindingKind::Unwritten), "{:?}", words(&c));
    // The second alone has it, and times are of that file.
    let alone = check::passage(&lesson, "one", &both[1..], &Options::default()).unwrap();
    assert_eq!((alone.file.as_str(), alone.files.len()), ("audio/two.wav", 1));
    assert!((alone.starts_s[0] - 4.5).abs() < 0.03);
    let wrong: Vec<(u32, u32)> = alone.parts[0].notes.iter().filter(|n| n.verdict == Verdict::Contradicted).map(|n| (n.bar, n.slot)).collect();
    assert!(!wrong.is_empty() && wrong.iter().all(|at| *at == (2, 8)), "{:?}", words(&alone));
    assert!(alone.limits.iter().any(|l| l.contains("audio/one.wav is not there")), "{:?}", alone.limits);
    // A file that holds nothing does not silence the other.
    let silent = Buffer::silence(48_000, 2, 48_000 * 15).unwrap();
    let c = check::passage(&lesson, "one", &[("audio/one.wav", &silent), ("audio/two.wav", &later)], &Options::default()).unwrap();
    assert_eq!((c.file.as_str(), c.files.as_slice()), ("audio/two.wav", &["audio/two.wav".to_string()][..]));
    assert_eq!(check::passage(&lesson, "one", &[("audio/three.wav", &later)], &Options::default()).unwrap_err().to_string(), "the record of passage \"one\" is not there: audio/one.wav, audio/two.wav");
}

#[test]
fn what_is_not_there_is_said() {
    let reading = lesson::read(LESSON);
    let e = check::passage(&reading.lesson, "two", &[("audio/one.wav", right())], &Options::default()).unwrap_err();
    assert_eq!(e.to_string(), "no passage is called \"two\"; this lesson has one");
    let without = lesson::read(&LESSON.replace("    record \"audio/one.wav\" from=3 to=13\n", ""));
    assert!(check::passage(&without.lesson, "one", &[("audio/one.wav", right())], &Options::default()).is_err());
}

#[test]
fn poor_sound_and_places_beyond_the_record_are_findings() {
    let silent = |c: &Checked| assert_eq!(c.findings.iter().map(|f| f.kind).collect::<Vec<_>>(), [FindingKind::Whole(Whole::Silent)]);
    silent(&checked(&LESSON.replace("from=3 to=13", "from=100 to=110"), right()));
    silent(&checked(LESSON, &Buffer::silence(44_100, 1, 0).unwrap()));
    silent(&checked(LESSON, &Buffer::from_mono(100, vec![0.5; 1_500]).unwrap()));
    let mut broken = right().clone();
    broken.channel_mut(0)[200_000] = f32::NAN;
    broken.channel_mut(1)[200_001] = f32::INFINITY;
    let c = checked(LESSON, &broken);
    assert!((c.starts_s[0] - 3.0).abs() < 0.03 && !c.findings.iter().any(|f| f.kind.contradicts()), "{:?}", words(&c));
}

#[test]
fn what_lies_far_from_the_stretch_changes_nothing() {
    // Three seconds before it and behind it, in noise or in silence.
    let text = LESSON.replace("from=3 to=13", "from=9 to=19");
    let rate = right().rate_hz() as usize;
    let around = |loud: f32| {
        let mut state = 1u32;
        let mut noise = move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            loud * ((state >> 8) as f32 / 8_388_608.0 - 1.0)
        };
        let mut out = Buffer::silence(right().rate_hz(), 2, 26 * rate).unwrap();
        for c in 0..2 {
            let music = right().channel(c);
            let channel = out.channel_mut(c);
            channel[..6 * rate].iter_mut().for_each(|s| *s = noise());
            channel[6 * rate..6 * rate + music.len().min(16 * rate)].copy_from_slice(&music[..music.len().min(16 * rate)]);
            channel[22 * rate..].iter_mut().for_each(|s| *s = noise());
        }
        checked(&text, &out)
    };
    let (still, loud) = (around(0.0), around(0.5));
    assert!((still.starts_s[0] - 9.0).abs() < 0.03, "{:?}", still.starts_s);
    assert_eq!(still, loud);
}

#[test]
fn a_grid_that_is_pinned_is_kept() {
    let reading = lesson::read(LESSON);
    // 15 ms later than it is: everything comes ahead.
    let options = Options { pins: vec![(0.0, 3.015), (10.0, 13.015)], ..Options::default() };
    let c = check::passage(&reading.lesson, "one", &[("audio/one.wav", right())], &options).unwrap();
    assert!((c.starts_s[0] - 3.015).abs() < 1e-9);
    let free = check::passage(&reading.lesson, "one", &[("audio/one.wav", right())], &Options::default()).unwrap();
    for (pinned, free) in c.parts.iter().zip(&free.parts) {
        let by = pinned.pocket.unwrap().ahead_ms - free.pocket.unwrap().ahead_ms;
        assert!((by - 15.0).abs() < 5.0, "{by}");
    }
}

#[test]
fn swing_is_measured_against_the_written_one() {
    let line = |swing: &str| {
        let text = r#"lesson "Test" { passage "one" { tempo 96; slots 8; SWING
            record "a.wav" from=0 to=10
            part "line" instrument="guitar" { bar "5:3 4:2 4:5 3:2  3:5 3:2 4:5 4:2" times=4 } } }"#;
        lesson::read(&text.replace("SWING", swing)).lesson
    };
    let played = line("swing 62 of=\"1/8\"");
    let record = sound::render(&played.passages[0], &sound::Options { looped: false, ..Default::default() }, &sound::Takes::new(), &|_| ()).unwrap().mix;
    for written in ["", "swing 62 of=\"1/8\""] {
        let c = check::passage(&line(written), "one", &[("a.wav", &record)], &Options::default()).unwrap();
        let pocket = c.parts[0].pocket.unwrap();
        assert_eq!((pocket.swing_of, pocket.swing_written_percent), (8, if written.is_empty() { 50.0 } else { 62.0 }));
        assert!(pocket.swing_percent.is_some(), "{pocket:?} {:?}", c.parts[0].notes.iter().map(|n| (n.beat, n.ahead_ms, n.verdict)).collect::<Vec<_>>());
        assert!((pocket.swing_percent.unwrap() - 62.0).abs() < 0.5, "{written}: {pocket:?}");
    }
}

#[test]
fn a_note_that_nobody_plays_with_a_stroke_is_told() {
    let played = r#"lesson "Test" { passage "one" { tempo 90; slots 8; record "a.wav" from=0 to=11
        part "line" instrument="guitar" { bar "5:3 4:2 4:5 3:2  3:5 . . 4:2"; bar "5:3 4:2 4:5 3:2  3:5 - - 4:2"; bar "5:5 4:4 4:7 3:2  3:5 - . 4:2" } } }"#;
    let record = sounded(played);
    let written = played.replace("4:7 3:2", "4:7+2:7 3:2");
    let c = check::passage(&lesson::read(&written).lesson, "one", &[("a.wav", &record)], &Options::default()).unwrap();
    let told: Vec<_> = c.findings.iter().filter(|f| f.kind.contradicts()).map(|f| (f.kind, f.bar, f.slot, f.written)).collect();
    assert_eq!(told, [(FindingKind::NotThere, 3, 3, Some(66))], "{:?} {:?}", words(&c), c.parts[0].notes.iter().find(|n| n.midi == 66));
}

#[test]
fn a_note_on_a_rest_is_told() {
    let played = r#"lesson "Test" { passage "one" { tempo 90; slots 8; record "a.wav" from=0 to=11
        part "line" instrument="guitar" { bar "5:3 4:2 4:5 3:2  3:5 . . ."; bar "5:3 4:2 4:5 3:2  3:5 - - 4:2"; bar "5:5 . 4:7 3:2  3:5 . . 4:2"; bar "5:3 4:2 4:5 -  - - . ." } } }"#;
    let record = sounded(played);
    let faults = |text: &str| -> Vec<(FindingKind, u32, u32, Option<i32>)> {
        let c = check::passage(&read(text), "one", &[("a.wav", &record)], &Options::default()).unwrap();
        c.findings.iter().filter(|f| f.kind.contradicts() || f.kind == FindingKind::NoStroke).map(|f| (f.kind, f.bar, f.slot, f.written)).collect()
    };
    assert_eq!(faults(played), []);
    // Where all is still, and where a string rings on.
    for (from, to, bar, slot, midi) in [("3:5 . . .", "3:5 . 2:6 .", 1, 7, 65), ("3:5 . . 4:2\"; bar \"5:3", "3:5 . 4:4 4:2\"; bar \"5:3", 3, 7, 54), ("4:5 -  - -", "4:5 -  4:3 -", 4, 5, 53)] {
        assert_eq!(faults(&changed(played, &[(from, to)])), [(FindingKind::NotThere, bar, slot, Some(midi))], "{to}");
    }
}

#[test]
fn a_scratch_and_a_stroke_that_is_not_there() {
    let text = |bar: &str| format!(r#"lesson "Test" {{ passage "one" {{ tempo 90; slots 8; record "a.wav" from=0 to=11; part "chop" instrument="guitar" {{ grip "a" "x x 5 5 5 5"; {bar} }} }} }}"#);
    let played = text("bar \"a . x . a . x a'\"; bar \"a . x . a . . .\"; bar \"a . x . a . x a'\"; bar \"a . x . . . x .\"");
    let reading = lesson::read(&played);
    assert!(reading.is_sound(), "{:?}", reading.problems);
    let record = sound::render(&reading.lesson.passages[0], &sound::Options { looped: false, ..Default::default() }, &sound::Takes::new(), &|_| ()).unwrap().mix;
    // Bar 2 written with a scratch on its third beat and a half that was not played.
    let written = played.replace("a . . .\"", "a . x .\"");
    assert_ne!(written, played);
    let c = check::passage(&lesson::read(&written).lesson, "one", &[("a.wav", &record)], &Options::default()).unwrap();
    let scratches: Vec<_> = c.parts[0].notes.iter().filter(|n| n.unpitched).collect();
    assert!(scratches.iter().any(|n| n.bar == 2 && n.slot == 7 && n.verdict == Verdict::Weak));
    assert!(scratches.iter().filter(|n| !(n.bar == 2 && n.slot == 7)).all(|n| n.verdict == Verdict::Supported), "{:?}", (c.starts_s.clone(), c.grid.clone(), scratches.iter().step_by(4).map(|n| (n.bar, n.slot, n.time_s, n.evidence)).collect::<Vec<_>>()));
    let f = c.findings.iter().find(|f| f.kind == FindingKind::NoStroke).unwrap_or_else(|| panic!("{:?}", words(&c)));
    assert_eq!((f.bar, f.slot), (2, 7));
}

/// A riff on a guitar and a bass whose lowest string is a tone down, a part that swells, and what the record goes on with.
const DEEP: &str = r#"lesson "Test" {
  passage "one" {
    tempo 100
    slots 8
    record "audio/one.wav" from=0 to=9.6
    part "riff" instrument="guitar" seat="left" tuning="drop D" {
      grip "a" "0 0 0 x x x"
      grip "b" "3 3 3 x x x"
      bar "a - a a . a . a"
      bar "b - b b . b . ."
      bar "a - a a . a . a"
      bar "b - b b . b . ."
    }
    part "swell" instrument="guitar" seat="right" {
      grip "a" "x x x 7 6 5"
      grip "b" "x x x 10 8 8"
      bar "a - - -  a - - -" { level "0 4 7 9 0 4 7 9" }
      bar "b - - -  b - - -" { level "0 4 7 9 0 4 7 9" }
      bar "a - - -  a - - -" { level "0 4 7 9 0 4 7 9" }
      bar "b - - -  b - - -" { level "0 4 7 9 0 4 7 9" }
    }
    part "floor" instrument="bass" tuning="drop D" {
      bar "4:0 - 4:0 4:0 . 4:0 . 4:0"
      bar "4:3 - 4:3 4:3 . 4:3 . ."
      bar "4:0 - 4:0 4:0 . 4:0 . 4:0"
      bar "4:3 - 4:3 4:3 . 4:3 . ."
    }
  }
}
"#;

#[test]
fn a_low_bass_a_swell_and_the_bar_after_the_passage_are_no_faults() {
    // Another bar follows in the record, a little ahead of its beat.
    let mut record = sounded(DEEP);
    let rate = record.rate_hz() as usize;
    let next = sounded(&DEEP.replace("a - - -  a - - -\" { level \"0 4 7 9 0 4 7 9\" }", "a - - -  a - - -\""));
    let at = (9.57 * rate as f64) as usize;
    let length = record.frames().max(at + 2 * rate);
    let mut longer = Buffer::silence(record.rate_hz(), 2, length).unwrap();
    for c in 0..2 {
        longer.channel_mut(c)[..at].copy_from_slice(&record.channel(c)[..at]);
        longer.channel_mut(c)[at..at + 2 * rate].copy_from_slice(&next.channel(c)[..2 * rate]);
    }
    record = longer;
    let c = checked(DEEP, &record);
    assert_eq!(words(&c), Vec::<&str>::new());
    let bass = c.parts.iter().find(|p| p.name == "floor").unwrap();
    let deep: Vec<f64> = bass.notes.iter().filter(|n| n.midi == 26).map(|n| n.evidence).collect();
    assert!(deep.len() == 10 && deep.iter().filter(|e| **e > 0.5).count() >= 8, "{deep:?}");
    // And a wrong one is still told: the record has the open string where the third fret is written.
    let wrong = DEEP.replacen("bar \"4:0 - 4:0 4:0 . 4:0 . 4:0\"", "bar \"4:0 - 4:0 4:3 . 4:0 . 4:0\"", 1);
    let c = checked(&wrong, &record);
    assert!(c.findings.iter().any(|f| f.kind.contradicts() && f.bar == 1 && f.slot == 4 && f.part.as_deref() == Some("floor")), "{:?}", words(&c));
}

#[test]
fn a_part_that_is_not_in_the_record_is_one_finding() {
    let without = &LESSON[..LESSON.find("    part \"floor\"").unwrap()];
    let record = sounded(&format!("{without}  }}\n}}\n").replace("from=3 to=13", "from=0 to=10"));
    let c = checked(&LESSON.replace("from=3 to=13", "from=0 to=10"), &record);
    assert_eq!(words(&c), ["hardly a note of the part \"floor\" is heard in the record"]);
}

#[test]
fn slides_and_bends_are_where_they_go_and_wrong_ones_are_told() {
    let text = |second: &str| {
        let bars = format!("      bar \"a . a .  b@-1/b - a .\"\n      bar \"{second}\"\n      bar \"3:5^1 - ^0 .  2:5 - 2:8~ -\"\n      bar \"a . a .  b@-1/b - a .\"\n");
        format!("lesson \"Test\" {{\n  passage \"one\" {{\n    tempo 96\n    slots 8\n    record \"audio/one.wav\" from=0 to=10\n    part \"chop\" instrument=\"guitar\" {{\n      grip \"a\" \"x x 5 5 5 x\"\n      grip \"b\" \"x x 4 5 5 x\"\n{bars}    }}\n  }}\n}}\n")
    };
    let record = sounded(&text("3:5/7 - - .  2:8 - 3:5/7~ -"));
    let c = checked(&text("3:5/7 - - .  2:8 - 3:5/7~ -"), &record);
    assert_eq!(words(&c), Vec::<&str>::new());
    // Another string's pitch under a slide, and a slide to somewhere else.
    let c = checked(&text("4:7/9 - - .  2:8 - 3:5/7~ -"), &record);
    assert!(c.findings.iter().any(|f| f.kind.contradicts() && (f.bar, f.slot) == (2, 1)), "{:?}", words(&c));
}
