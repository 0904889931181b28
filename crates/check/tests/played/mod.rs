//! Lessons that tests write and the project plays.

use wave::Buffer;

pub const LESSON: &str = r#"lesson "Test" {
  passage "one" {
    tempo 96
    slots 8
    record "audio/one.wav" from=3 to=13
    part "chop" instrument="guitar" seat="left" {
      grip "a" "x x 5 5 5 5"
      grip "b" "x x 7 5 6 5"
      bar "a . a .  . a a ."
      bar "b . b .  . b . b"   // the turn
      bar "a . a .  4:5 . a43 ."
      bar "b - . 3:7  3:5 - 4:7 -"
    }
    part "floor" instrument="bass" seat="centre" {
      bar "4:5 - - 4:5  3:5 - 4:5 -"
      bar "3:5 - - 3:5  2:5 - 3:5 -"
      bar "4:5 - - 4:5  3:5 - 4:3 -"
      bar "3:5 - - -  4:5 - - -"
    }
  }
}
"#;

/// The text with some of it changed, each at its first place.
pub fn changed(text: &str, changes: &[(&str, &str)]) -> String {
    changes.iter().fold(text.to_string(), |t, (a, b)| {
        assert!(t.contains(a), "{a}");
        t.replacen(a, b, 1)
    })
}

pub fn read(text: &str) -> lesson::Lesson {
    let reading = lesson::read(text);
    assert!(reading.is_sound(), "{:?}", reading.problems);
    reading.lesson
}

/// The first passage as it sounds, once.
pub fn sounded(text: &str, tempo_percent: u32) -> Buffer {
    sound::render(&read(text).passages[0], &sound::Options { tempo_percent, looped: false }, &sound::Takes::new(), &|_| ()).unwrap().mix
}
