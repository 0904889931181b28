//! Any bytes as a lesson: reading ends, places lie in the text, what is sound can be drawn, heard and written again.
#![no_main]
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let reading = lesson::read_bytes(bytes);
    for p in &reading.problems {
        assert!(p.span.start <= p.span.end && p.span.end <= bytes.len(), "{p:?}");
    }
    for passage in &reading.lesson.passages {
        for part in &passage.parts {
            for (bar, own) in passage.bars.iter().zip(&part.bars) {
                let _ = lesson::notate(bar, own);
            }
            let _ = lesson::soundings(part);
        }
        let _ = lesson::sheet(passage);
    }
    if reading.is_sound() {
        let _ = lesson::check(&reading.lesson);
        let again = lesson::read(&lesson::write(&reading.lesson));
        assert!(again.is_sound(), "{:?}\n{}", again.problems, lesson::write(&reading.lesson));
    }
});
