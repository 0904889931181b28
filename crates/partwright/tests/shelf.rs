//! `find`, `requests` and `course` as a user calls them.

use std::path::Path;
use std::process::{Command, Output};

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_partwright")).args(args).output().expect("the program runs")
}

fn json(out: &Output) -> serde_json::Value {
    serde_json::from_slice(&out.stdout).unwrap_or_else(|e| panic!("one JSON object: {e}: {} {}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr)))
}

fn lesson(folder: &Path, name: &str, text: &str) {
    std::fs::create_dir_all(folder.join(name)).unwrap();
    std::fs::write(folder.join(name).join("lesson.kdl"), text).unwrap();
}

const STEPS: &str = r#"lesson "Harbour steps" { passage "verse" { tempo 92; slots 4; chords "D9"
  part "chop" instrument="guitar" { grip "a" "x x 4 5 5 x"; bar "a - a -" }
  part "floor" instrument="bass" { bar "3:5 - - -" } } }"#;
const WHOLE: &str = r#"lesson "Open A" { passage "one" { tempo 80; slots 4; part "chop" instrument="guitar" { grip "a" "x 0 2 2 2 0"; bar "a - - -" } } }"#;

fn shelf() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    lesson(dir.path(), "steps", STEPS);
    lesson(dir.path(), "basics/open-a", WHOLE);
    dir
}

#[test]
fn lessons_are_found_and_changes_noticed() {
    let dir = shelf();
    let at = dir.path().to_str().unwrap();
    let v = json(&run(&["find", "rootless", "ninth", "--shelf", at, "--json"]));
    assert_eq!(v["schema"], "partwright/find/1");
    let hit = &v["hits"][0];
    assert_eq!((hit["lesson"].as_str(), hit["passage"].as_str(), hit["part"].as_str(), hit["bar"].as_u64()), (Some("steps"), Some("verse"), Some("chop"), Some(1)));
    assert!(hit["why"].as_str().unwrap().contains("D9 without its root"));
    assert_eq!(v["total"], 1);
    // A lesson that is gone, one that is new, an index that is gone.
    std::fs::rename(dir.path().join("steps"), dir.path().join("stairs")).unwrap();
    assert_eq!(json(&run(&["find", "rootless", "ninth", "--shelf", at, "--json"]))["hits"][0]["lesson"], "stairs");
    std::fs::remove_dir_all(dir.path().join(".partwright")).unwrap();
    assert_eq!(json(&run(&["find", "tempo 80", "--shelf", at, "--json"]))["hits"][0]["lesson"], "basics/open-a");
    assert!(String::from_utf8_lossy(&run(&["find", "zither", "--shelf", at]).stdout).contains("nothing on the shelf"));
}

#[test]
fn a_query_that_cannot_be_read_has_its_place() {
    let dir = shelf();
    let at = dir.path().to_str().unwrap();
    let out = run(&["find", "tempo", "fast", "--shelf", at]);
    assert_eq!(out.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&out.stderr).contains("  tempo fast\n        ^^^^"), "{}", String::from_utf8_lossy(&out.stderr));
    assert_eq!(run(&["find", "a", "--shelf", "no-such-folder"]).status.code(), Some(3));
    assert_eq!(run(&["find"]).status.code(), Some(2));
    assert_eq!(run(&["find", "--near", "steps/nothing", "--shelf", at]).status.code(), Some(1));
    assert_eq!(run(&["find", "--near", "steps/verse", "--shelf", at, "--json"]).status.code(), Some(0));
    assert_eq!(run(&["find", "--never-taught", "1", "--shelf", at, "--json"]).status.code(), Some(0));
}

#[test]
fn names_say_where_a_grip_was_taught() {
    let dir = shelf();
    let at = dir.path().to_str().unwrap();
    let v = json(&run(&["name", "x x 6 7 7 x", "--shelf", at, "--json"]));
    assert_eq!(v["taught"][0], "This grip was taught in \u{201c}Harbour steps\u{201d}, verse (chop, from bar 1 on), 2 frets lower.");
    assert!(String::from_utf8_lossy(&run(&["name", "x x 6 7 7 x", "--shelf", at]).stdout).contains("This grip was taught in"));
}

#[test]
fn requests_are_added_and_held_against_the_shelf() {
    let dir = shelf();
    let at = dir.path().to_str().unwrap();
    assert_eq!(run(&["requests", "--shelf", at]).status.code(), Some(3), "no file yet");
    assert_eq!(run(&["requests", "--shelf", at, "--add", "rootless ninths", "--day", "2026-11-03"]).status.code(), Some(0));
    let list = dir.path().join("list.txt");
    std::fs::write(&list, "- slow zither bends\n- Rootless ninths\n").unwrap();
    let v = json(&run(&["requests", "--shelf", at, "--import", list.to_str().unwrap(), "--day", "2026-11-05", "--json"]));
    assert_eq!(v["covered"][0]["words"], "rootless ninths");
    assert_eq!((v["covered"][0]["times"].as_u64(), v["covered"][0]["day"].as_str()), (Some(2), Some("2026-11-05")));
    assert_eq!(v["not_covered"][0]["words"], "slow zither bends");
    assert_eq!(std::fs::read_to_string(dir.path().join("requests.txt")).unwrap(), "2026-11-05 2x rootless ninths\n2026-11-05 1x slow zither bends\n");
    assert_eq!(run(&["requests", "--shelf", at, "--add", "a -> b"]).status.code(), Some(2));
    std::fs::write(dir.path().join("requests.txt"), "2026-02-30 mute\n").unwrap();
    let out = run(&["requests", "--shelf", at]);
    assert_eq!(out.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&out.stderr).contains("requests.txt:1:1"));
}

#[test]
fn a_course_is_checked() {
    let dir = shelf();
    let file = dir.path().join("course.kdl");
    std::fs::write(&file, "course \"Winter\" { lesson \"steps\"; lesson \"basics/open-a\" }\n").unwrap();
    let out = run(&["course", file.to_str().unwrap(), "--json"]);
    assert_eq!(out.status.code(), Some(1), "a fragment before its parent");
    let v = json(&out);
    assert!(v["problems"][0]["found"].as_str().unwrap().contains("no grip before it holds it"));
    std::fs::write(&file, "course \"Winter\" { known \"x 5 4 5 5 5\"; lesson \"basics/open-a\"; lesson \"steps\" }\n").unwrap();
    let out = run(&["course", file.to_str().unwrap()]);
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    let text = String::from_utf8(out.stdout).unwrap();
    assert!(text.contains("1. Open A (basics/open-a)") && text.contains("Grips\n"), "{text}");
    let pdf = dir.path().join("course.pdf");
    assert_eq!(run(&["course", file.to_str().unwrap(), "--handout", pdf.to_str().unwrap()]).status.code(), Some(0));
    let bytes = std::fs::read(&pdf).unwrap();
    assert!(bytes.starts_with(b"%PDF-"));
    std::fs::write(&file, "course \"Winter\" { lesson \"nowhere\" }\n").unwrap();
    assert_eq!(run(&["course", file.to_str().unwrap(), "--handout", pdf.to_str().unwrap()]).status.code(), Some(1));
    assert_eq!(std::fs::read(&pdf).unwrap(), bytes, "a handout that cannot be made leaves the one that is there");
}
