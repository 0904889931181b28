//! Any text as a stroke line, and as what a key of the page puts into one.
#![no_main]
use lesson::{BarAt, Edit, Rounds};
use libfuzzer_sys::fuzz_target;

const BEFORE: &str = "lesson \"t\" { passage \"p\" { tempo 96; slots 8\npart \"g\" instrument=\"guitar\" { grip \"a\" \"x x 8 8 8 x\"; grip \"b\" \"x 3 2 0 1 0\"\nbar \"";
const AFTER: &str = "\"\nbar \"a - . 5:7 x . b -\" } } }";

fuzz_target!(|line: &str| {
    if line.len() > 4000 {
        return;
    }
    let text = format!("{BEFORE}{}{AFTER}", line.replace(['"', '\\', '\n', '\r'], " "));
    let reading = lesson::read(&text);
    for p in &reading.problems {
        assert!(p.span.end <= text.len() && text.is_char_boundary(p.span.start) && text.is_char_boundary(p.span.end), "{p:?}");
    }
    for part in reading.lesson.passages.iter().flat_map(|p| &p.parts) {
        let _ = lesson::soundings(part);
    }
    let bar = |bar| BarAt { passage: "p".into(), part: "g".into(), bar };
    let first = line.split(' ').next().unwrap_or("").to_string();
    for edit in [
        Edit::Stroke { bar: bar(2), row: None, line: line.into(), rounds: Rounds::All },
        Edit::Token { bar: bar(2), row: None, slot: 1 + line.len() as u32 % 9, with: first, rounds: Rounds::All },
        Edit::DuplicateBar { passage: "p".into(), bar: 1 },
    ] {
        if let Ok(done) = lesson::edit(&text, &edit) {
            assert_eq!(lesson::splice(&text, &done.changes).as_deref(), Some(done.text.as_str()));
            assert_eq!(lesson::splice(&done.text, &done.undo).as_deref(), Some(text.as_str()));
        }
    }
});
