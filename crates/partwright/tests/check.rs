//! `check` against a record, as a user calls it. The record is played by the project's own instruments.

use std::path::Path;
use std::process::{Command, Output};

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_partwright")).args(args).output().expect("the program runs")
}

fn json(out: &Output) -> serde_json::Value {
    serde_json::from_slice(&out.stdout).unwrap_or_else(|e| panic!("one JSON object: {e}: {}", String::from_utf8_lossy(&out.stderr)))
}

const TEXT: &str = r#"// Kept as it is.
lesson "Two bars" {
  passage "one" {
    tempo 100
    slots 8
    record "audio/bars.wav" from=0 to=4.8
    part "line" instrument="guitar" {
      bar "5:3 - 4:2 - 4:5 - 3:2 -"   // the first
      bar "5:5 - 4:2 - 4:5 - 3:4 -"
    }
  }
}
"#;

/// A lesson folder with a record that plays `played`.
fn folder(dir: &Path, played: &str) {
    std::fs::create_dir_all(dir.join("audio")).unwrap();
    std::fs::write(dir.join("lesson.kdl"), TEXT).unwrap();
    let record = lesson::read(played).lesson;
    let once = sound::Options { looped: false, ..sound::Options::default() };
    let record = sound::render(&record.passages[0], &once, &sound::Takes::new(), &|_| ()).unwrap().mix;
    std::fs::write(dir.join("audio/bars.wav"), wave::encode_wav16(&record).unwrap()).unwrap();
}

#[test]
fn a_wrong_note_is_found_and_accepted() {
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path().to_str().unwrap().to_string();
    folder(dir.path(), &TEXT.replacen("4:5", "4:4", 1));
    let out = run(&["check", &at, "--json"]);
    assert_eq!(out.status.code(), Some(1));
    let v = json(&out);
    assert_eq!((v["schema"].as_str(), v["problems"].as_array().map(Vec::len)), (Some("partwright/check/1"), Some(0)));
    let notes = v["passages"][0]["parts"][0]["notes"].as_array().unwrap();
    assert_eq!(notes.len(), 8);
    let wrong: Vec<_> = notes.iter().filter(|n| n["verdict"] == "contradicted").collect();
    assert_eq!(wrong.len(), 1, "{notes:?}");
    assert_eq!((wrong[0]["bar"].as_u64(), wrong[0]["slot"].as_u64(), wrong[0]["midi"].as_u64(), wrong[0]["better"].as_u64()), (Some(1), Some(5), Some(55), Some(54)));
    assert!(v["passages"][0]["start"].as_f64().unwrap().abs() < 0.05);
    let first = &v["findings"][0];
    assert_eq!((first["kind"].as_str(), first["suggested"].as_u64()), (Some("other_pitch"), Some(54)));
    let said = String::from_utf8(run(&["check", &at]).stdout).unwrap();
    assert!(said.contains("   1  ") && said.contains("--accept N"), "{said}");
    assert_eq!(run(&["check", &at, "--accept", "9"]).status.code(), Some(2));
    assert_eq!(run(&["check", &at, "--accept", "1"]).status.code(), Some(0));
    assert_eq!(std::fs::read_to_string(dir.path().join("lesson.kdl")).unwrap(), TEXT.replacen("4:5", "4:4", 1));
    let again = run(&["check", &at]);
    assert_eq!(again.status.code(), Some(0), "{}", String::from_utf8_lossy(&again.stdout));
}

#[test]
fn what_the_teacher_heard_as_written_is_not_reported_again() {
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path().to_str().unwrap().to_string();
    folder(dir.path(), &TEXT.replacen("4:5", "4:4", 1));
    assert_eq!(run(&["check", &at, "--as-written", "1"]).status.code(), Some(0));
    let text = std::fs::read_to_string(dir.path().join("lesson.kdl")).unwrap();
    assert!(text.contains("heard=\"as written at slot 5\"") && text.contains("// Kept as it is.") && text.contains("// the first"), "{text}");
    let v = json(&run(&["check", &at, "--json"]));
    assert!(v["findings"].as_array().unwrap().iter().all(|f| f["slot"] != 5 || f["bar"] != 1), "{}", v["findings"]);
}

#[test]
fn the_report_is_one_file_for_the_teacher_alone() {
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path().to_str().unwrap().to_string();
    folder(dir.path(), &TEXT.replacen("4:5", "4:4", 1));
    let file = dir.path().join("findings.html");
    assert_eq!(run(&["check", &at, "--report", file.to_str().unwrap()]).status.code(), Some(1));
    let page = std::fs::read_to_string(&file).unwrap();
    assert!(page.contains("the record has F#") && page.contains("<svg class=\"strip\"") && page.contains("default-src 'none'"));
    assert_eq!(page.matches("data:audio/ogg;base64,T2dnUw").count(), 2, "two sounds, each an Ogg file");
    assert!(!page.contains("<script") && !page.contains("src=\"/") && !page.contains("href="), "nothing is loaded");
    // Not where pupils get it, nor over what is no page.
    std::fs::create_dir(dir.path().join("pack")).unwrap();
    for wrong in ["pack/findings.html", "lesson.kdl", "audio/bars.wav"] {
        assert_eq!(run(&["check", &at, "--report", dir.path().join(wrong).to_str().unwrap()]).status.code(), Some(2), "{wrong}");
    }
    assert_eq!(std::fs::read_dir(dir.path().join("pack")).unwrap().count(), 0);
    assert_eq!(std::fs::read_to_string(dir.path().join("lesson.kdl")).unwrap(), TEXT);
}

#[test]
fn a_take_stands_in_for_the_record() {
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path().to_str().unwrap().to_string();
    folder(dir.path(), &TEXT.replacen("5:5", "5:6", 1));
    let take = dir.path().join("audio/bars.wav");
    let v = json(&run(&["check", &at, "--take", take.to_str().unwrap(), "--part", "line", "--json"]));
    assert_eq!(v["findings"][0]["suggested"].as_u64(), Some(51), "{}", v["findings"]);
    assert_eq!(run(&["check", &at, "--take", take.to_str().unwrap(), "--part", "nobody"]).status.code(), Some(2));
    // In words for a pupil; to change the lesson is not theirs.
    let said = |out: &Output| String::from_utf8_lossy(&out.stdout).to_string();
    let wrong = said(&run(&["check", &at, "--take", take.to_str().unwrap(), "--part", "line"]));
    assert!(wrong.contains("you played Eb3 where D3 is written (string 5 fret 5)") && !wrong.contains("--accept") && !wrong.contains("the record"), "{wrong}");
    std::fs::write(dir.path().join("lesson.kdl"), TEXT.replacen("5:5", "5:6", 1)).unwrap();
    let right = said(&run(&["check", &at, "--take", take.to_str().unwrap(), "--part", "line"]));
    assert!(right.contains("you played all of it as it is written") && right.contains("you play on the beat"), "{right}");
    let silent = dir.path().join("silent.wav");
    std::fs::write(&silent, wave::encode_wav16(&wave::Buffer::silence(44_100, 1, 44_100 * 6).unwrap()).unwrap()).unwrap();
    let silent = said(&run(&["check", &at, "--take", silent.to_str().unwrap(), "--part", "line"]));
    assert!(silent.contains("not found in your take") && silent.contains("nothing is heard in this stretch of your take"), "{silent}");
    assert_eq!(run(&["check", &at, "--passage", "nowhere"]).status.code(), Some(2));
}

#[test]
fn stretches_of_several_files_are_each_looked_for_in_their_own() {
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path().to_str().unwrap().to_string();
    // The first file has another note on the third beat, the second lies beside it.
    folder(dir.path(), &TEXT.replacen("4:5", "4:4", 1));
    let audio = dir.path().join("audio");
    std::fs::copy(audio.join("bars.wav"), audio.join("again.wav")).unwrap();
    std::fs::write(dir.path().join("lesson.kdl"), TEXT.replacen("to=4.8", "to=4.8\n    record \"audio/again.wav\" from=0 to=4.8", 1)).unwrap();
    let v = json(&run(&["check", &at, "--json"]));
    assert_eq!(v["passages"][0]["records"], serde_json::json!(["audio/bars.wav", "audio/again.wav"]));
    assert_eq!(v["findings"][0]["suggested"].as_u64(), Some(54), "{}", v["findings"]);
    std::fs::remove_file(audio.join("bars.wav")).unwrap();
    let out = run(&["check", &at]);
    let said = String::from_utf8_lossy(&out.stdout).to_string();
    assert_eq!(out.status.code(), Some(1), "{said}");
    assert!(said.contains("audio/bars.wav is not there") && !said.contains("against themselves alone"), "{said}");
    let v = json(&run(&["check", &at, "--json"]));
    assert_eq!((v["passages"][0]["record"].as_str(), v["missing_records"][0].as_str()), (Some("audio/again.wav"), Some("audio/bars.wav")));
    assert_eq!(v["findings"][0]["suggested"].as_u64(), Some(54));
    let page = dir.path().join("findings.html");
    assert_eq!(run(&["check", &at, "--report", page.to_str().unwrap()]).status.code(), Some(1));
    assert!(std::fs::read_to_string(page).unwrap().contains("data:audio"));
}

#[test]
fn a_record_that_is_not_there_is_said_and_no_fault() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("lesson.kdl"), TEXT).unwrap();
    let out = run(&["check", dir.path().to_str().unwrap()]);
    assert_eq!(out.status.code(), Some(0));
    assert!(String::from_utf8_lossy(&out.stdout).contains("audio/bars.wav is not in the lesson's folder"));
    assert_eq!(json(&run(&["check", dir.path().to_str().unwrap(), "--json"]))["missing_records"][0], "audio/bars.wav");
}
