//! Faulty lessons, from `tests/faulty/` and made here, each with one message: where, what was found, what would be right.
//!
//! The messages stand in `tests/faulty.expected`, one a line: `name:line:column: found | right`. They are read by teachers;
//! change one on purpose only.

use lesson::{Position, Weight, read_bytes};
use std::path::{Path, PathBuf};

fn here() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests")
}

/// Lessons that are too large or too little of a text to stand in a file.
fn made() -> Vec<(String, Vec<u8>)> {
    let sound = "lesson \"Tuesday group\" {\n  passage \"verse\" { tempo 96; slots 4; part \"chop\" instrument=\"guitar\" { bar \"3:3 . . .\" } }\n}\n";
    assert!(read_bytes(sound.as_bytes()).problems.is_empty(), "what is broken below is whole before");
    let utf16 = |text: &str, little: bool| -> Vec<u8> {
        let unit = |u: u16| if little { u.to_le_bytes() } else { u.to_be_bytes() };
        std::iter::once(0xfeff).chain(text.encode_utf16()).flat_map(unit).collect()
    };
    let name = |n: &str, bytes: Vec<u8>| (n.to_string(), bytes);
    let braces = format!("lesson \"Tuesday group\" {{ {}{} }}", "a {".repeat(3000), "}".repeat(3000));
    let mut latin = sound.as_bytes().to_vec();
    latin[10] = 0xfc;
    let mut zero = sound.as_bytes().to_vec();
    zero[30] = 0;
    let many = format!("lesson \"Tuesday group\" {{\n  passage \"verse\" {{ tempo 96; slots 4; part \"chop\" instrument=\"guitar\" {{\n{}  }} }}\n}}\n", "    bar \"3:3 . . .\"\n".repeat(1001));
    let hundred_passages = format!("lesson \"Tuesday group\" {{\n{}}}\n", (0..101).map(|i| format!("  passage \"p{i}\" {{ tempo 96; slots 4; part \"chop\" instrument=\"guitar\" {{ bar \"3:3 . . .\" times=200 }} }}\n")).collect::<String>());
    vec![
        name("made-empty", vec![]),
        name("made-50-megabytes", vec![b' '; 50_000_000]),
        name("made-3000-braces", braces.into_bytes()),
        name("made-utf-16-little", utf16(sound, true)),
        name("made-utf-16-big", utf16(sound, false)),
        name("made-utf-16-without-mark", utf16(sound, true)[2..].to_vec()),
        name("made-latin-1", latin),
        name("made-zero-byte", zero),
        name("made-picture", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec()),
        name("made-audio", b"RIFF\x24\0\0\0WAVEfmt ".to_vec()),
        name("made-byte-order-mark-alone", b"\xef\xbb\xbf".to_vec()),
        name("made-1001-bars", many.into_bytes()),
        name("made-20200-bars", hundred_passages.into_bytes()),
    ]
}

fn all() -> Vec<(String, Vec<u8>)> {
    let mut out = Vec::new();
    for entry in std::fs::read_dir(here().join("faulty")).expect("the faulty lessons") {
        let path = entry.expect("an entry").path();
        let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
        out.push((name, std::fs::read(&path).expect("a faulty lesson")));
    }
    out.extend(made());
    out.sort();
    out
}

/// The problems of one lesson, a line each.
fn lines(name: &str, bytes: &[u8]) -> Vec<String> {
    let text = String::from_utf8_lossy(bytes);
    let reading = read_bytes(bytes);
    assert!(!reading.is_sound(), "{name} is read as sound");
    let line = |p: &lesson::Problem| {
        assert_eq!(p.weight, Weight::Error, "{name}");
        let at = Position::of(&text, p.span.start);
        format!("{name}:{}:{}: {} | {}", at.line, at.column, p.found, p.right)
    };
    reading.problems.iter().map(line).collect()
}

#[test]
fn each_fault_has_its_one_message() {
    let faulty = all();
    assert!(faulty.len() >= 60, "{} faulty lessons", faulty.len());
    let said: Vec<String> = faulty.iter().flat_map(|(name, bytes)| lines(name, bytes)).collect();
    let actual = said.join("\n") + "\n";
    let expected = std::fs::read_to_string(here().join("faulty.expected")).unwrap_or_default();
    if actual != expected {
        let at = Path::new(env!("CARGO_TARGET_TMPDIR")).join("faulty.actual");
        std::fs::write(&at, &actual).expect("a place for what was said");
        let new: Vec<&str> = actual.lines().filter(|l| !expected.lines().any(|e| e == *l)).collect();
        let gone: Vec<&str> = expected.lines().filter(|l| !actual.lines().any(|a| a == *l)).collect();
        panic!("said, but not expected:\n{}\nexpected, but not said:\n{}\nall that was said stands in {}", new.join("\n"), gone.join("\n"), at.display());
    }
}

#[test]
fn one_message_a_lesson() {
    for (name, bytes) in all() {
        let said = lines(&name, &bytes);
        assert_eq!(said.len(), 1, "{}", said.join("\n"));
    }
}

/// A place is inside the text, and nearly always not its very beginning.
#[test]
fn messages_say_where_and_what_to_do() {
    let mut at_the_head = 0;
    for (name, bytes) in all() {
        for p in read_bytes(&bytes).problems {
            assert!(p.span.start <= p.span.end && p.span.end <= bytes.len(), "{name}: {:?} of {} bytes", p.span, bytes.len());
            for words in [&p.found, &p.right] {
                assert!(!words.is_empty() && !words.ends_with('.') && !words.chars().any(char::is_control) && words.chars().count() < 260, "{name}: {words}");
            }
            at_the_head += usize::from(p.span.start == 0);
        }
    }
    assert!(at_the_head < 20, "{at_the_head} messages point at the first byte");
}

#[test]
fn marks_and_line_ends_alone_are_no_fault() {
    let sound = "lesson \"Tuesday group\" {\n  passage \"verse\" {\n    tempo 96\n    slots 4\n    part \"chop\" instrument=\"guitar\" { bar \"3:3 . . .\" }\n  }\n}\n";
    let plain = read_bytes(sound.as_bytes());
    assert!(plain.problems.is_empty());
    for other in [format!("\u{feff}{sound}"), sound.replace('\n', "\r\n"), sound.replace('\n', "\r")] {
        let r = read_bytes(other.as_bytes());
        assert_eq!(r.problems, vec![]);
        assert_eq!(r.lesson.passages[0].parts[0].bars[0].events.len(), plain.lesson.passages[0].parts[0].bars[0].events.len());
    }
}
