//! MusicXML and MIDI: what must hold of every file whatever the lesson, and how each way of playing is written.

#[path = "random_lesson/mod.rs"]
mod random_lesson;

use lesson::{Beats, Lesson};
use midly::{MetaMessage, MidiMessage, Smf, TrackEventKind};
use proptest::prelude::*;

fn read(text: &str) -> Lesson {
    let reading = lesson::read(text);
    assert!(reading.is_sound(), "{:?}\n{text}", reading.problems);
    reading.lesson
}

fn xml(lesson: &Lesson) -> String {
    pack::musicxml(lesson, &lesson.passages[0], &lesson.passages[0].harmony)
}

/// The text of a leaf on a line of its own.
fn leaf<'a>(line: &'a str, name: &str) -> Option<&'a str> {
    line.trim().strip_prefix(&format!("<{name}>"))?.strip_suffix(&format!("</{name}>"))
}

/// For each measure the sum of its first staff's durations and the sum of what goes back, in divisions; and the divisions.
fn lengths(xml: &str) -> (i64, Vec<(i64, i64)>) {
    let (mut divisions, mut out, mut counts, mut back) = (1, Vec::new(), true, false);
    for line in xml.lines() {
        if let Some(n) = leaf(line, "divisions") {
            divisions = n.parse().unwrap();
        }
        let line = line.trim();
        if line.starts_with("<measure ") {
            out.push((0, 0));
        }
        match line {
            "<note>" => (counts, back) = (true, false),
            "<chord/>" => counts = false,
            "<backup>" => (counts, back) = (true, true),
            _ => {}
        }
        if let Some(n) = leaf(line, "duration").filter(|_| counts) {
            let m: &mut (i64, i64) = out.last_mut().unwrap();
            let n: i64 = n.parse().unwrap();
            if back {
                m.1 += n;
            } else {
                m.0 += n;
            }
        }
    }
    (divisions, out)
}

/// A note's beginning (true) or end: tick, channel, key.
type NoteEvent = (u64, u8, u8, bool);

/// The notes of each track, and the file's end.
fn midi_notes(bytes: &[u8]) -> (Vec<Vec<NoteEvent>>, u64) {
    let smf = Smf::parse(bytes).expect("a readable file");
    let (mut out, mut end) = (Vec::new(), 0);
    for track in &smf.tracks {
        let mut now = 0;
        let mut notes = Vec::new();
        for e in track {
            now += u64::from(e.delta.as_int());
            if let TrackEventKind::Midi { channel, message } = e.kind {
                match message {
                    MidiMessage::NoteOn { key, vel } => {
                        assert!(vel > 0);
                        notes.push((now, channel.as_int(), key.as_int(), true));
                    }
                    MidiMessage::NoteOff { key, .. } => notes.push((now, channel.as_int(), key.as_int(), false)),
                    _ => {}
                }
            }
        }
        end = end.max(now);
        out.push(notes);
        assert!(matches!(track.last().unwrap().kind, TrackEventKind::Meta(MetaMessage::EndOfTrack)));
    }
    (out, end)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// Each staff of each measure lasts as long as its bar.
    #[test]
    fn measures_are_full(seed in any::<u64>()) {
        let lesson = read(&random_lesson::lesson(seed));
        let passage = &lesson.passages[0];
        let (divisions, measures) = lengths(&xml(&lesson));
        let sheet = lesson::sheet(passage);
        prop_assert_eq!(measures.len(), sheet.len() * passage.parts.len());
        for (i, part) in passage.parts.iter().enumerate() {
            for (k, printed) in sheet.iter().enumerate() {
                let want = passage.bars[printed.played[0]].length * Beats::from(divisions);
                let staves = if part.neck.is_some() { 2 } else { 1 };
                let (sum, back) = measures[i * sheet.len() + k];
                prop_assert_eq!(Beats::from(sum), want * Beats::from(staves));
                prop_assert_eq!(Beats::from(back), want * Beats::from(staves - 1));
            }
        }
    }

    /// Every note that begins ends, on its channel, before the same key begins anew. Parts share channel 10 alone, where an end means
    /// nothing; there each track keeps to this by itself, so that two drummers on one drum are both written.
    #[test]
    fn no_note_is_left_on(seed in any::<u64>()) {
        let lesson = read(&random_lesson::lesson(seed));
        let passage = &lesson.passages[0];
        let (tracks, end) = midi_notes(&pack::midi(passage));
        let mut notes: Vec<(usize, NoteEvent)> = Vec::new();
        for (i, track) in tracks.into_iter().enumerate() {
            notes.extend(track.into_iter().map(|n| (if n.1 == 9 { i } else { 0 }, n)));
        }
        notes.sort_by_key(|(track, (at, channel, key, on))| (*channel, *track, *key, *at, *on));
        let mut now = None;
        for (track, (at, channel, key, on)) in notes {
            prop_assert!(at <= end);
            prop_assert_eq!(now, if on { None } else { Some((track, channel, key)) });
            now = on.then_some((track, channel, key));
        }
        prop_assert_eq!(now, None);
    }

    /// The same lesson gives the same bytes.
    #[test]
    fn same_bytes_twice(seed in any::<u64>()) {
        let text = random_lesson::lesson(seed);
        let (a, b) = (read(&text), read(&text));
        prop_assert_eq!(xml(&a), xml(&b));
        prop_assert_eq!(pack::midi(&a.passages[0]), pack::midi(&b.passages[0]));
    }
}

/// The score of one 4/4 bar of guitar.
fn bar(line: &str) -> String {
    xml(&read(&format!("lesson \"T\" {{ passage \"p\" {{ tempo 100; slots 8; part \"one\" instrument=\"guitar\" {{ grip \"a\" \"x x 8 8 8 x\"; bar \"{line}\" }} }} }}")))
}

#[test]
fn each_way_of_playing_is_written() {
    for (line, wanted) in [
        ("3:5 H3:7 . . . . . .", vec!["<hammer-on type=\"start\" number=\"3\">H</hammer-on>", "<hammer-on type=\"stop\" number=\"3\"/>", "<slur type=\"start\" number=\"3\"/>"]),
        ("3:7 P3:5 . . . . . .", vec!["<pull-off type=\"start\" number=\"3\">P</pull-off>", "<pull-off type=\"stop\" number=\"3\"/>"]),
        ("3:5 /3:9 . . . . . .", vec!["<slide type=\"start\" line-type=\"solid\" number=\"3\"/>", "<slide type=\"stop\" line-type=\"solid\" number=\"3\"/>"]),
        ("3:5/7 . . . . . . .", vec!["<grace slash=\"no\"/>", "<fret>5</fret>", "<fret>7</fret>"]),
        ("3:7^1 ^0 . . . . . .", vec!["<bend-alter>2</bend-alter>", "<bend-alter>-2</bend-alter>", "<release/>", "<tied type=\"stop\"/>"]),
        ("3:7!.5 . . . . . . .", vec!["<bend-alter>1</bend-alter>", "<pre-bend/>"]),
        ("3:7~ . . . . . . .", vec!["<wavy-line type=\"start\" number=\"3\"/>"]),
        ("M3:7 . . . . . . .", vec!["<mute>palm</mute>", "<other-technical>palm mute</other-technical>"]),
        ("N3:12 . . . . . . .", vec!["<natural/>", "<sounding-pitch/>", "<notehead>diamond</notehead>"]),
        ("T3:7 - . . . . . .", vec!["<tremolo type=\"single\">3</tremolo>"]),
        ("x . . . . . . .", vec!["<notehead>x</notehead>"]),
        ("(3:7) . . . . . . .", vec!["<notehead parentheses=\"yes\">normal</notehead>"]),
        (">a' . . . . . . .", vec!["<accent/>", "<staccato/>"]),
        ("Ua Da . . . . . .", vec!["<up-bow/>", "<down-bow/>"]),
        ("*a a* . . . . . .", vec!["<arpeggiate direction=\"up\"/>", "<arpeggiate direction=\"down\"/>"]),
        ("Ra . . . . . . .", vec!["<other-technical>rake</other-technical>"]),
        ("a &3:10 - . . . . .", vec!["<tied type=\"let-ring\"/>"]),
        ("[a a a]=2 . . . . . .", vec!["<actual-notes>3</actual-notes>", "<tuplet type=\"start\" bracket=\"yes\" number=\"1\"/>", "<tuplet type=\"stop\" number=\"1\"/>"]),
    ] {
        let text = bar(line);
        for w in wanted {
            assert!(text.contains(w), "{line}: no {w} in\n{text}");
        }
    }
    let plain = bar("3:7 . . . . . . .");
    for w in ["hammer-on", "slide", "bend", "wavy", "mute", "notehead", "accent", "arpeggiate", "let-ring", "grace", "tuplet"] {
        assert!(!plain.contains(&format!("<{w}")) && !plain.contains(&format!("\"{w}\"")), "{w}");
    }
}

#[test]
fn head_of_a_passage() {
    let text = "lesson \"Rain & <wind>\" { passage \"p\" title=\"\\\"One\\\"\" { tempo 80; meter \"6/8\"; slots 12; swing 58.5 of=\"1/16\"; key \"Eb major\"; chords \"Cm7/G\"
        part \"a\" instrument=\"guitar\" capo=3 tuning=\"drop D\" seat=\"left\" { pickup \"3:5 -\"; repeat times=3 { bar \"4:0 - - - - - - - - - - .\" say=\"a < b\" } }
        part \"b\" instrument=\"drums\" { pickup { kick \"x .\" }; bar times=3 { kick \"x . . . . . x . . . . .\"; hats \". . x . . o . . x . . x\" } } } }";
    let text = xml(&read(text));
    for w in [
        "<work-title>Rain &amp; &lt;wind&gt;</work-title>",
        "<words>a &lt; b</words>",
        "<fifths>-3</fifths>",
        "<beats>6</beats>",
        "<beat-unit-dot/>",
        "<sound tempo=\"120\">",
        "<first>585</first>",
        "<second>415</second>",
        "<swing-type>16th</swing-type>",
        "<measure number=\"0\" implicit=\"yes\">",
        "<repeat direction=\"backward\" times=\"3\"/>",
        "<capo>3</capo>",
        "<tuning-step>D</tuning-step>",
        "<clef-octave-change>-1</clef-octave-change>",
        "<pan>-90</pan>",
        "<kind text=\"m7\">minor-seventh</kind>",
        "<bass-step>G</bass-step>",
        "<midi-unpitched>37</midi-unpitched>",
        "<notehead>circle-x</notehead>",
        "<display-step>F</display-step>",
    ] {
        assert!(text.contains(w) || text.contains(&w.replace("\">", "\"/>")), "no {w} in\n{text}");
    }
}
