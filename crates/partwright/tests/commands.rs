//! The commands as a user calls them.

use std::process::{Command, Output};

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_partwright")).args(args).output().expect("the program runs")
}

fn json(out: &Output) -> serde_json::Value {
    serde_json::from_slice(&out.stdout).expect("one JSON object")
}

#[test]
fn a_new_lesson_is_sound_and_never_written_over() {
    let dir = tempfile::tempdir().unwrap();
    let lesson = dir.path().join("first");
    let lesson = lesson.to_str().unwrap();
    assert_eq!(run(&["new", lesson, "--title", "Say \"hello\""]).status.code(), Some(0));
    let checked = run(&["check", lesson]);
    assert_eq!(checked.status.code(), Some(0), "{}", String::from_utf8_lossy(&checked.stdout));
    let before = std::fs::read(format!("{lesson}/lesson.kdl")).unwrap();
    assert_eq!(run(&["new", lesson]).status.code(), Some(3));
    assert_eq!(std::fs::read(format!("{lesson}/lesson.kdl")).unwrap(), before);
}

#[test]
fn faults_have_their_place_and_exit_code() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("lesson.kdl");
    std::fs::write(&file, "lesson \"t\" {\n  passage \"p\" {\n    tempo 90\n    part \"g\" instrument=\"guitar\" {\n      bar \"1:0 . . .\"\n    }\n  }\n}\n").unwrap();
    let out = run(&["check", dir.path().to_str().unwrap()]);
    assert_eq!(out.status.code(), Some(1));
    let text = String::from_utf8(out.stdout).unwrap();
    assert!(text.contains("lesson.kdl:5:12: the bar has 4 slots"), "{text}");
    let out = run(&["check", dir.path().to_str().unwrap(), "--json"]);
    let v = json(&out);
    assert_eq!(v["schema"], "partwright/check/1");
    assert_eq!(v["problems"][0]["line"], 5);
    assert_eq!(run(&["check", "no-such-folder"]).status.code(), Some(3));
    assert_eq!(run(&["wobble"]).status.code(), Some(2));
    assert_eq!(run(&["--help"]).status.code(), Some(0));
}

#[test]
fn names_answer_in_the_documented_shape() {
    let out = run(&["name", "x x 8 8 8 x", "--bass", "C", "--json"]);
    let v = json(&out);
    assert_eq!(v["schema"], "partwright/name/1");
    let first = &v["names"][0];
    assert_eq!(first["symbol"], "Cm7");
    assert_eq!(first["root"], "C");
    assert_eq!(first["rootless"], true);
    assert_eq!(first["degrees"], serde_json::json!([null, null, "b7", "b3", "5", null]));
    assert_eq!(run(&["name", "x x 8 8 8"]).status.code(), Some(1));
    assert_eq!(run(&["name", "x x 8 8 99 x"]).status.code(), Some(1));
}

#[test]
fn a_sequence_names_stretches_of_time() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("notes.json");
    let file = file.to_str().unwrap();
    let note = |onset: f64, midi: u8, bass: bool| serde_json::json!({ "onset": onset, "duration": 2.0, "midi": midi, "bass": bass });
    let notes = [note(0.0, 58, false), note(0.0, 63, false), note(0.0, 67, false), note(0.0, 36, true)];
    let stretches = serde_json::json!([{ "start": 0.0, "end": 2.0 }, { "start": 2.0, "end": 3.0 }]);
    std::fs::write(file, serde_json::json!({ "notes": notes, "stretches": stretches, "key": "C minor" }).to_string()).unwrap();
    let v = json(&run(&["name", "--sequence", file, "--json"]));
    assert_eq!(v["schema"], "partwright/name/1");
    assert_eq!(v["stretches"][0]["names"][0]["symbol"], "Cm7");
    assert_eq!(v["stretches"][0]["midi"], serde_json::json!([36, 58, 63, 67]));
    assert!(v["stretches"][1]["no_name"].is_string());
    std::fs::write(file, "{\"notes\": [{\"onset\": 0}], \"stretches\": []}").unwrap();
    let out = run(&["name", "--sequence", file]);
    assert_eq!(out.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&out.stderr).contains("note 1 lacks"));
}

#[test]
fn a_batch_answers_line_by_line() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("grips.txt");
    std::fs::write(&file, "x x 8 8 8 x;bass=C\nx 3 2 0 1 0;capo=2\nnonsense\nx x 0 2 3 2;tuning=drop D;key=D\n").unwrap();
    let out = run(&["name", "--batch", file.to_str().unwrap()]);
    let lines: Vec<serde_json::Value> = String::from_utf8(out.stdout).unwrap().lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert_eq!(lines.len(), 4);
    assert_eq!(lines[0]["names"][0]["symbol"], "Cm7");
    assert_eq!(lines[1]["names"][0]["symbol"], "D");
    assert!(lines[2]["error"].is_string());
    assert_eq!(lines[3]["names"][0]["symbol"], "D");
}

#[test]
fn places_and_sequences() {
    let v = json(&run(&["place", "C", "--json"]));
    assert_eq!(v["grips"][0]["frets"], serde_json::json!([null, 3, 2, 0, 1, 0]));
    // common practice: from C on strings 4 3 2 to F in the same place.
    let v = json(&run(&["place", "F", "--on", "4,3,2", "--inversions", "--may-omit", "5", "--must", "5", "--near", "x x 5 5 5 x", "--json"]));
    assert_eq!(v["grips"][0]["frets"], serde_json::json!([null, null, 7, 5, 6, null]));
    assert_eq!(v["grips"][0]["semitones"], 3);
    let v = json(&run(&["place", "C", "--on", "4,3,2", "--frets", "1-12", "--up-the-neck", "--json"]));
    assert_eq!(v["grips"].as_array().map(Vec::len), Some(3));
    assert_eq!(run(&["place", "C", "--near", "x x 5"]).status.code(), Some(1));
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("notes.json");
    std::fs::write(&file, r#"{"notes":[{"onset":0,"duration":1,"midi":40},{"onset":1,"duration":1,"midi":64}]}"#).unwrap();
    let v = json(&run(&["place", "--sequence", file.to_str().unwrap(), "--json"]));
    assert_eq!(v["notes"][0]["string"], 6);
    assert_eq!(v["notes"][0]["fret"], 0);
    std::fs::write(&file, r#"{"notes":[{"onset":0,"duration":1,"midi":59,"pin":4},{"onset":1,"duration":1,"midi":62,"joined":true}]}"#).unwrap();
    let v = json(&run(&["place", "--sequence", file.to_str().unwrap(), "--ways", "--json"]));
    assert_eq!((&v["notes"][0]["string"], &v["notes"][1]["string"]), (&serde_json::json!(4), &serde_json::json!(4)));
    assert!(v["ways"].is_array());
    for bad in ["{\"notes\":[{\"onset\":0,\"duration\":1,\"midi\":59,\"pin\":9}]}", "", "[]", "{\"notes\":[{}]}", "{\"notes\":[{\"onset\":0,\"duration\":1,\"midi\":1e9}]}"] {
        std::fs::write(&file, bad).unwrap();
        assert_eq!(run(&["place", "--sequence", file.to_str().unwrap(), "--json"]).status.code(), Some(1), "{bad}");
    }
}

#[test]
fn the_lock_of_the_demo() {
    let demo = concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo/ferry-road");
    let v = json(&run(&["lock", demo, "--json"]));
    assert_eq!(v["schema"], "partwright/lock/1");
    let verse = &v["passages"][0];
    assert_eq!(verse["id"], "verse");
    assert_eq!((&verse["harmony"][1]["bar"], &verse["harmony"][1]["symbol"], &verse["harmony"][1]["harte"]), (&2.into(), &"D9".into(), &"D:9".into()));
    let pair = &verse["pairs"][0];
    assert_eq!(pair["parts"], serde_json::json!(["chop", "gaps"]));
    // Four bars of sixteenths; the right guitar's twelve strokes, eight of them on scratches of the left.
    assert_eq!((&pair["shared"], &pair["alternating"], &pair["empty"], &pair["register_overlap"]), (&8.into(), &46.into(), &10.into(), &(-2).into()));
    assert_eq!(pair["findings"][0], "The gaps strike only where the chop scratches or rests.");
    assert_eq!(pair["clashes"][0]["kind"], "major second");
    let text = String::from_utf8(run(&["lock", demo]).stdout).unwrap();
    assert!(text.starts_with("Verse: three strings and a bass (verse)\n  Harmony: 1.1 Am7, 2.1 D9"), "{text}");
    assert!(text.contains("  floor / kit (kick): 12 shared, 8 alternating, 44 empty of 64 slots\n"), "{text}");
    assert_eq!(run(&["lock", "no-such-folder"]).status.code(), Some(3));
}
