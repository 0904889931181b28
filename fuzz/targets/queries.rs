//! Any words asked of the shelf, any list of requests, any course.
#![no_main]
use libfuzzer_sys::fuzz_target;
use shelf::{Seen, Shelf};
use std::cell::OnceCell;

thread_local! {
    static SHELF: OnceCell<(tempfile::TempDir, Shelf)> = const { OnceCell::new() };
}

const LESSON: &str = "lesson \"Ferry\" needs=\"barre\" { passage \"verse\" title=\"Low water\" { tempo 96; slots 8; key \"C minor\"; chords \"Cm7 / Bb7 /\"\npart \"g\" instrument=\"guitar\" { grip \"a\" \"x x 8 8 8 x\"\nbar \"a . x a43' H5:7 - >5:8^1 .\" say=\"slide in\" }\npart \"floor\" instrument=\"bass\" { bar \"3:3 - . . 2:5 - . .\" } } }";

fuzz_target!(|text: &str| {
    SHELF.with(|s| {
        let (_, shelf) = s.get_or_init(|| {
            let dir = tempfile::tempdir().unwrap();
            let mut shelf = Shelf::open(&dir.path().join("all.shelf")).unwrap();
            for n in 0..5 {
                let text = LESSON.replace("96", &format!("{}", 80 + n));
                shelf.put(&Seen { folder: format!("lesson-{n}"), bytes: text.len() as u64, modified_ns: n }, 1 << 60, text.as_bytes()).unwrap();
            }
            (dir, shelf)
        });
        match shelf::query(text) {
            Ok(q) => {
                shelf.find(&q, 20).expect("a query that was read is answered");
            }
            Err(problems) => assert!(!problems.is_empty() && problems.iter().all(|p| p.span.end <= text.len() && text.is_char_boundary(p.span.start))),
        }
        let (list, problems) = shelf::requests(text);
        if problems.is_empty() {
            let again = shelf::requests(&list.text());
            assert!(again.1.is_empty(), "{:?}", again.1);
            if let Ok((more, _)) = list.add(text, Some("2026-11-28"), 1) {
                assert!(shelf::requests(&more.text()).1.is_empty(), "{}", more.text());
            }
        }
        let _ = shelf::course(text);
    });
});
