//! What `docs/lesson-file.md` shows is read as it says: its whole lessons, its bars, and every word of the language among them.

use lesson::{read, soundings};
use std::path::Path;

fn page() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/lesson-file.md");
    std::fs::read_to_string(path).expect("the page on the lesson file").replace("\r\n", "\n")
}

/// The blocks of one language on the page.
fn blocks(page: &str, language: &str) -> Vec<String> {
    let fence = format!("\n```{language}\n");
    page.split(&fence).skip(1).map(|b| b.split("\n```").next().unwrap_or_default().to_string()).collect()
}

/// The stroke lines of the page, without their remarks.
fn bars(page: &str) -> Vec<String> {
    let lines: Vec<String> = blocks(page, "bar").iter().flat_map(|b| b.lines()).map(|l| l.split("//").next().unwrap_or_default().trim().to_string()).collect();
    assert!(lines.iter().all(|l| !l.is_empty()));
    lines
}

#[test]
fn whole_lessons_are_read_without_a_word() {
    let blocks = blocks(&page(), "kdl");
    assert!(blocks.len() >= 6, "{} whole lessons", blocks.len());
    for text in blocks {
        let r = read(&text);
        assert_eq!(r.problems, vec![], "{text}");
        for p in &r.lesson.passages {
            assert!(!p.parts.is_empty() && p.parts.iter().all(|q| q.bars.len() == p.bars.len()));
        }
    }
}

#[test]
fn bars_are_played() {
    let bars = bars(&page());
    assert!(bars.len() >= 15, "{} bars", bars.len());
    for bar in bars {
        let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 96; slots 8; part \"chop\" instrument=\"guitar\" {{ grip \"a\" \"x x 8 8 8 x\"; grip \"b\" \"x x 6 7 6 x\"; bar \"{bar}\" }} }} }}");
        let r = read(&text);
        assert_eq!(r.problems, vec![], "{bar}");
        assert!(soundings(&r.lesson.passages[0].parts[0]).len() >= 2, "{bar}");
    }
}

/// Words and properties of the reader, as its own messages list them: each stands in an example.
#[test]
fn every_word_has_an_example() {
    let page = page();
    let lessons = blocks(&page, "kdl").join("\n");
    // Every second piece between fences is an example.
    let prose: String = page.split("\n```").step_by(2).collect();
    let listed = |text: &str, after: &str| -> Vec<String> {
        let r = read(text);
        let right = r.problems.iter().map(|p| p.right.clone()).find(|w| w.contains(after)).unwrap_or_else(|| panic!("no message with {after:?}: {:?}", r.problems));
        right.split(after).nth(1).unwrap_or_default().split([',', ' ']).filter(|w| !w.is_empty()).map(|w| w.trim_end_matches('=').to_string()).collect()
    };
    let inside = |s: &str| format!("lesson \"t\" {{ passage \"p\" {{ tempo 96; {s} }} }}");
    let part = |s: &str| inside(&format!("part \"a\" instrument=\"guitar\" {{ {s} }}"));
    let words = [
        listed("lesson \"t\" { qqqqqq }", "a lesson holds "),
        listed(&inside("qqqqqq"), "a passage holds "),
        listed(&part("qqqqqq"), "a part holds "),
        listed(&part("bar \".\" { qqqqqq }"), "a bar holds "),
        listed(&inside("part \"a\" instrument=\"drums\" { bar { qqqqqq \"x\" } }"), "a bar of drums holds "),
        listed(&part("repeat times=2 { qqqqqq }"), "a repeat holds "),
    ];
    let properties = [
        listed("lesson \"t\" qqqqqq=1 { }", "lesson knows "),
        listed("lesson \"t\" { passage \"p\" qqqqqq=1 { } }", "passage knows "),
        listed(&inside("swing 50 qqqqqq=1"), "swing knows "),
        listed(&inside("record \"a\" qqqqqq=1"), "record knows "),
        listed(&inside("chords \"C\" qqqqqq=1"), "chords knows "),
        listed(&inside("note \"C\" qqqqqq=1"), "note knows "),
        listed(&inside("part \"a\" qqqqqq=1"), "part knows "),
        listed(&part("bar \".\" qqqqqq=1"), "bar knows "),
        listed(&part("rest qqqqqq=1"), "rest knows "),
        listed(&part("repeat qqqqqq=1"), "repeat knows "),
        listed(&part("pickup \".\" qqqqqq=1"), "pickup knows "),
        listed(&part("grip \"a\" \"x\" qqqqqq=1"), "grip knows "),
        listed(&part("name \"C\" qqqqqq=1"), "name knows "),
        listed(&part("take \"a.wav\" qqqqqq=1"), "take knows "),
        listed(&inside("part \"a\" instrument=\"guitar\" { bar \".\" }; easier \"a\" qqqqqq=1 { bar \".\" }"), "easier knows "),
    ];
    let mut count = 0;
    for word in words.iter().flatten() {
        let shown = lessons.split(|c: char| !(c.is_ascii_alphanumeric() || c == '-')).any(|w| w == word);
        assert!(shown, "no example of {word}");
        assert!(page.contains(&format!("`{word}")), "{word} is not explained");
        count += 1;
    }
    for word in properties.iter().flatten() {
        assert!(lessons.contains(&format!(" {word}=")), "no example of {word}=");
        assert!(prose.contains(&format!("{word}=")), "{word}= is not explained");
        count += 1;
    }
    assert!(count > 60, "{count} words");
}

#[test]
fn every_sign_has_an_example() {
    let all = bars(&page()).join(" ");
    for sign in ["- ", ". ", "x ", "x6", "xa", "[", "]=", "@-", "@2", ":", "+", "+x", ">", "&", "H", "P", " /", "M", "D", "U", "N", "T", "R", "(", ")", " *a", "a* ", ":6/", "/b", "'", "~", "^1", "^.5", "!1", " ^0", "+(", "+>"] {
        assert!(all.contains(sign), "no bar shows {sign:?}");
    }
}

/// The sentences in bold type on where things hold.
#[test]
fn meter_and_tempo_hold_slots_do_not() {
    let text = "lesson \"t\" { passage \"p\" { tempo 90; slots 8; part \"a\" instrument=\"guitar\" {
        repeat times=2 { bar \"5:3 . . .  . . . .\"; bar \"5:3 . . .  . .\" meter=\"3/4\" tempo=80; bar \"5:3 . .\" slots=3 }
        bar \"5:3 . . .  . .\"
    } } }";
    let r = read(text);
    assert_eq!(r.problems, vec![]);
    let bars: Vec<(u32, String, f64)> = r.lesson.passages[0].bars.iter().map(|b| (b.number, b.meter.to_string(), b.tempo_bpm)).collect();
    let want = |n: u32, m: &str, t: f64| (n, m.to_string(), t);
    // In the order of the text: the second round begins as the first did.
    assert_eq!(bars, [want(1, "4/4", 90.0), want(2, "3/4", 80.0), want(3, "3/4", 80.0), want(4, "4/4", 90.0), want(5, "3/4", 80.0), want(6, "3/4", 80.0), want(7, "3/4", 80.0)]);
    let slots: Vec<u32> = r.lesson.passages[0].parts[0].bars.iter().map(|b| b.slots).collect();
    assert_eq!(slots, [8, 6, 3, 8, 6, 3, 6]);
}

/// The beat of compound meters is dotted (common practice).
#[test]
fn the_beat_of_six_eight_is_dotted() {
    let text = "lesson \"t\" { passage \"p\" { tempo 60; meter \"6/8\"; slots 6; chords \"G C\"; part \"a\" instrument=\"guitar\" { bar \"3:0 . . . . .\" }; note \"x\" at=\"1.2\" } }";
    let r = read(text);
    assert_eq!(r.problems, vec![]);
    let p = &r.lesson.passages[0];
    assert_eq!(p.duration(), 2.0);
    assert_eq!(p.notes[0].at, Some((0, lesson::Beats::new(3, 2))));
    assert_eq!(p.harmony[1].at, lesson::Beats::new(3, 2));
}
