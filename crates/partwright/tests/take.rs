//! `take` as a user calls it, on parts that the project's own instruments play.

use std::path::Path;
use std::process::{Command, Output};

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_partwright")).args(args).output().expect("the program runs")
}

fn json(out: &Output) -> serde_json::Value {
    serde_json::from_slice(&out.stdout).expect("one JSON object")
}

const LESSON: &str = r#"lesson "t" { passage "p" { tempo 98; meter "4/4"; slots 16
  part "g" instrument="guitar" {
    grip "a" "x x 5 5 5 x"
    grip "b" "x x 7 7 7 x"
    bar "a - . .  . . a .  . . a .  b - . ."
    bar "a - . .  . . a .  . . a .  b - . ."
    bar "5:3 - 5:5 -  4:2 - 4:5 -  3:2 - 3:5 -  2:3 - - -"
  } } }"#;

/// The part alone, as it goes round, in a file.
fn played(path: &Path) -> lesson::Lesson {
    let reading = lesson::read(LESSON);
    assert!(reading.is_sound(), "{:?}", reading.problems);
    let options = sound::Options { tempo_percent: 100, looped: false };
    let r = sound::render(&reading.lesson.passages[0], &options, &sound::Takes::new(), &|_| ()).unwrap();
    std::fs::write(path, wave::encode_wav16(&r.mix).unwrap()).unwrap();
    reading.lesson
}

#[test]
fn a_part_played_to_a_click_comes_back_as_text() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("chop.wav");
    let lesson = played(&file);
    let out = run(&["take", file.to_str().unwrap(), "--tempo", "98", "--from", "0", "--meter", "4/4", "--json"]);
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    let v = json(&out);
    assert_eq!(v["schema"], "partwright/take/1");
    assert_eq!(v["tempo"]["bpm"], 98.0);
    let text = v["lesson"].as_str().unwrap();
    let back = lesson::read(text);
    assert!(back.is_sound(), "{text}");
    let heard = |l: &lesson::Lesson| -> Vec<_> { lesson::soundings(&l.passages[0].parts[0]).iter().map(|s| (s.at, s.midi)).collect() };
    let (wanted, found) = (heard(&lesson), heard(&back.lesson));
    let right = wanted.iter().filter(|w| found.contains(w)).count();
    assert!(right as f64 >= 0.9 * wanted.len() as f64 && found.len() as f64 <= 1.15 * wanted.len() as f64, "{right} of {}, {} found:\n{text}", wanted.len(), found.len());
    for n in v["notes"].as_array().unwrap() {
        assert!(n["offset"].as_f64() > n["onset"].as_f64() && (1..=6).contains(&n["string"].as_u64().unwrap()) && n["fret"].as_u64().is_some() && n["confidence"].as_f64().is_some() && ["struck", "hammered", "pulled", "slid"].contains(&n["attack"].as_str().unwrap()), "{n}");
    }
    // What is printed for people is the same text.
    let plain = run(&["take", file.to_str().unwrap(), "--tempo", "98", "--from", "0", "--meter", "4/4"]);
    assert_eq!(String::from_utf8_lossy(&plain.stdout), text);
}

#[test]
fn silence_is_said() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("silence.wav");
    std::fs::write(&file, wave::encode_wav16(&wave::Buffer::silence(44_100, 1, 88_200).unwrap()).unwrap()).unwrap();
    let out = run(&["take", file.to_str().unwrap(), "--json"]);
    assert_eq!(out.status.code(), Some(1));
    let v = json(&out);
    assert_eq!((v["notes"].as_array().unwrap().len(), v["lesson"].is_null()), (0, true));
    assert!(v["remarks"][0].as_str().unwrap().contains("nothing was heard"));
}

#[test]
fn what_is_wrong_is_said() {
    let code = |args: &[&str]| run(args).status.code();
    assert_eq!(code(&["take", "no-such-file.wav"]), Some(3));
    assert_eq!(code(&["take", "a.wav", "--meter", "4"]), Some(2));
    assert_eq!(code(&["take", "a.wav", "--tempo", "fast"]), Some(2));
    assert_eq!(code(&["take", "a.wav", "--tuning", "nothing"]), Some(2));
    assert_eq!(code(&["take", "a.wav", "--name", "a\"b"]), Some(2));
}
