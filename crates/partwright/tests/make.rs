//! What `make` leaves on the disk: all of a pack or none of it, whatever happens on the way.

#![cfg(unix)]

use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Instant;

const PROGRAM: &str = env!("CARGO_BIN_EXE_partwright");

/// A lesson of one bar; `extra` stands in its part.
fn lesson(title: &str, extra: &str) -> String {
    format!(
        "lesson \"{title}\" {{
  passage \"p\" {{
    tempo 240
    slots 4
    part \"g\" instrument=\"guitar\" {{
      {extra}
      bar \"5:3 . 4:2 .\"
    }}
  }}
}}
"
    )
}

fn folder(text: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("lesson.kdl"), text).unwrap();
    dir
}

fn command(dir: &Path, more: &[&str]) -> Command {
    let mut c = Command::new(PROGRAM);
    c.args(["make", "--tempos", "100"]).arg(dir).args(more).stdin(Stdio::null());
    c
}

fn make(dir: &Path, more: &[&str]) -> Output {
    command(dir, more).output().expect("the program runs")
}

fn said(out: &Output) -> String {
    String::from_utf8_lossy(&out.stderr).into_owned()
}

/// Every file under a folder with its digest; empty where there is no folder.
fn digests(folder: &Path) -> BTreeMap<PathBuf, String> {
    fn walk(root: &Path, folder: &Path, out: &mut BTreeMap<PathBuf, String>) {
        let Ok(list) = std::fs::read_dir(folder) else { return };
        for e in list.map(Result::unwrap) {
            let path = e.path();
            if path.is_dir() {
                walk(root, &path, out);
            } else {
                let sum = Sha256::digest(std::fs::read(&path).unwrap()).iter().map(|b| format!("{b:02x}")).collect();
                out.insert(path.strip_prefix(root).unwrap().to_path_buf(), sum);
            }
        }
    }
    let mut out = BTreeMap::new();
    walk(folder, folder, &mut out);
    out
}

/// The pack of a lesson, made without disturbance.
fn undisturbed(text: &str) -> BTreeMap<PathBuf, String> {
    let dir = folder(text);
    let out = make(dir.path(), &[]);
    assert_eq!(out.status.code(), Some(0), "{}", said(&out));
    digests(&dir.path().join("pack"))
}

#[test]
fn the_answer_lists_what_is_there() {
    let dir = folder(&lesson("T", ""));
    let out = make(dir.path(), &["--json"]);
    let v: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(v["schema"], "partwright/make/1");
    let listed: BTreeMap<PathBuf, String> = v["files"].as_array().unwrap().iter().map(|f| (f["path"].as_str().unwrap().into(), f["sha256"].as_str().unwrap().into())).collect();
    assert_eq!(listed, digests(&dir.path().join("pack")));
    for file in ["handout.pdf", "index.html", "p.musicxml", "p.mid", "chapters.vtt", "play-along.ogg", "audio/p-100-all.ogg", "audio/p-100-1-g.ogg"] {
        assert!(listed.contains_key(Path::new(file)), "{file}");
    }
    let again: serde_json::Value = serde_json::from_slice(&make(dir.path(), &["--json"]).stdout).unwrap();
    assert_eq!(again["unchanged"], true);
    // A file that was changed or lost in the pack is made again.
    std::fs::write(dir.path().join("pack/p.mid"), b"x").unwrap();
    std::fs::remove_file(dir.path().join("pack/index.html")).unwrap();
    let again: serde_json::Value = serde_json::from_slice(&make(dir.path(), &["--json"]).stdout).unwrap();
    assert_eq!(again["unchanged"], false);
    assert_eq!(digests(&dir.path().join("pack")), listed);
}

#[test]
fn killed_at_any_moment_the_old_pack_or_the_new_one_is_whole() {
    let texts = [lesson("One", ""), lesson("Two", "")];
    let packs = [undisturbed(&texts[0]), undisturbed(&texts[1])];
    assert_ne!(packs[0], packs[1]);
    let dir = folder(&texts[0]);
    let begin = Instant::now();
    assert!(make(dir.path(), &[]).status.success());
    let whole = begin.elapsed();
    let (mut now, mut cut_off) = (0, 0);
    for i in 0..24 {
        let next = 1 - now;
        std::fs::write(dir.path().join("lesson.kdl"), &texts[next]).unwrap();
        let mut child = command(dir.path(), &[]).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        std::thread::sleep(whole.mul_f64(f64::from(i) / 20.0));
        child.kill().unwrap();
        child.wait().unwrap();
        let seen = digests(&dir.path().join("pack"));
        assert!(packs.contains(&seen), "after kill {i}: {:?}", seen.keys());
        if seen == packs[next] {
            now = next;
        } else {
            cut_off += 1;
        }
    }
    assert!(cut_off > 0, "no kill came in time");
    // What the killed ones left is cleared away, and the next one goes through.
    std::fs::write(dir.path().join("lesson.kdl"), &texts[1 - now]).unwrap();
    assert!(make(dir.path(), &[]).status.success());
    assert_eq!(digests(&dir.path().join("pack")), packs[1 - now]);
    let left: Vec<_> = digests(&dir.path().join(".partwright")).into_keys().filter(|p| p.to_string_lossy().contains("new-")).collect();
    assert_eq!(left, Vec::<PathBuf>::new());
}

/// A disk that takes no more than `kib` KiB of each file: writing goes well until it does not.
fn make_on_a_short_disk(dir: &Path, kib: u32) -> Output {
    let line = format!("trap '' XFSZ; ulimit -f {}; exec \"$0\" make --tempos 100 \"$1\"", kib * 2);
    Command::new("sh").arg("-c").arg(line).arg(PROGRAM).arg(dir).stdin(Stdio::null()).output().expect("sh runs")
}

#[test]
fn a_write_that_fails_is_said_and_changes_nothing() {
    let texts = [lesson("One", ""), lesson("Two", "bar \"3:1 . . .\"")];
    let dir = folder(&texts[0]);
    assert!(make(dir.path(), &[]).status.success());
    let before = digests(&dir.path().join("pack"));
    std::fs::write(dir.path().join("lesson.kdl"), &texts[1]).unwrap();
    // The first stops at the stored sounds, the last at the handout.
    for kib in [1, 4, 60] {
        let out = make_on_a_short_disk(dir.path(), kib);
        assert_eq!(out.status.code(), Some(3), "{kib} KiB: {}", said(&out));
        assert!(said(&out).contains(dir.path().to_str().unwrap()), "{}", said(&out));
        assert_eq!(digests(&dir.path().join("pack")), before, "{kib} KiB");
    }
    assert!(make(dir.path(), &[]).status.success());
    assert_eq!(digests(&dir.path().join("pack")), undisturbed(&texts[1]));
}

#[test]
fn a_folder_that_can_only_be_read() {
    use std::os::unix::fs::PermissionsExt;
    let dir = folder(&lesson("T", ""));
    let open = |mode| std::fs::set_permissions(dir.path(), std::fs::Permissions::from_mode(mode)).unwrap();
    open(0o555);
    // Nothing is forbidden to root: then somebody else calls it, from where that one may.
    let root = Command::new("id").arg("-u").output().unwrap().stdout == b"0\n";
    let out = if root {
        let bin = tempfile::tempdir().unwrap();
        std::fs::set_permissions(bin.path(), std::fs::Permissions::from_mode(0o755)).unwrap();
        let copy = bin.path().join("partwright");
        std::fs::copy(PROGRAM, &copy).unwrap();
        Command::new("setpriv").args(["--reuid=65534", "--regid=65534", "--clear-groups"]).arg(&copy).arg("make").arg(dir.path()).output().expect("setpriv runs")
    } else {
        make(dir.path(), &[])
    };
    open(0o755);
    assert_eq!(out.status.code(), Some(3), "{}", said(&out));
    assert!(said(&out).contains("not allowed to"), "{}", said(&out));
    assert_eq!(digests(dir.path()).len(), 1);
}

#[test]
fn a_faulty_lesson_writes_nothing() {
    let dir = folder(&lesson("T", "bar \"9:1 . . .\""));
    let out = make(dir.path(), &[]);
    assert_eq!(out.status.code(), Some(1));
    assert!(said(&out).contains("lesson.kdl:6:"), "{}", said(&out));
    assert_eq!(digests(dir.path()).len(), 1);
}

#[test]
fn a_letter_without_a_sign_has_its_place() {
    let dir = folder(&lesson("T\u{1F3B8}", ""));
    let out = make(dir.path(), &[]);
    assert_eq!(out.status.code(), Some(1));
    assert!(said(&out).contains("lesson.kdl:1:10: the fonts have no sign for '\u{1F3B8}'"), "{}", said(&out));
    assert_eq!(digests(dir.path()).len(), 1);
    let checked = Command::new(PROGRAM).arg("check").arg(dir.path()).output().unwrap();
    assert_eq!(checked.status.code(), Some(1));
}

#[test]
fn takes_that_cannot_be_heard() {
    let text = lesson("T", "take \"take.wav\"");
    let header = |rate: u32, bytes: u32| {
        let mut w = b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0\x01\0\x01\0".to_vec();
        w.extend(rate.to_le_bytes());
        w.extend((rate * 2).to_le_bytes());
        w.extend(b"\x02\0\x10\0data");
        w.extend(bytes.to_le_bytes());
        w
    };
    for (what, bytes) in [
        ("empty", vec![]),
        ("cut off in its header", header(44_100, 1000)[..30].to_vec()),
        ("no frames", header(44_100, 0)),
        ("0 Hz", { let mut w = header(0, 2000); w.extend([0; 2000]); w }),
        ("no sound file at all", b"%PDF-1.7 this is something else".to_vec()),
    ] {
        let dir = folder(&text);
        std::fs::write(dir.path().join("take.wav"), bytes).unwrap();
        let out = make(dir.path(), &[]);
        assert_eq!(out.status.code(), Some(1), "{what}: {}", said(&out));
        assert!(said(&out).contains("take.wav"), "{what}: {}", said(&out));
        assert!(!dir.path().join("pack").exists(), "{what}");
    }
    let dir = folder(&text);
    let out = make(dir.path(), &[]);
    assert_eq!(out.status.code(), Some(3), "{}", said(&out));
    assert!(said(&out).contains("take.wav: there is no such file"), "{}", said(&out));
    std::fs::create_dir(dir.path().join("take.wav")).unwrap();
    assert_eq!(make(dir.path(), &[]).status.code(), Some(3));
}

#[test]
fn another_ladder_over_kept_sounds() {
    // What was the top tempo once is not later, and the other way round.
    let text = lesson("T", "");
    let dir = folder(&text);
    let ladder = |tempos: &str| {
        let out = Command::new(PROGRAM).args(["make", "--tempos", tempos]).arg(dir.path()).output().unwrap();
        assert_eq!(out.status.code(), Some(0), "{tempos}: {}", said(&out));
        digests(&dir.path().join("pack"))
    };
    let (low, both) = (ladder("75"), ladder("75,100"));
    assert!(low.contains_key(Path::new("audio/p-75-all.ogg")) && both.contains_key(Path::new("audio/p-100-all.ogg")));
    assert_eq!(ladder("75"), low);
}

#[test]
fn words_alone_do_not_sound_anew() {
    let dir = folder(&lesson("One", "grip \"a\" \"x x 2 2 2 x\"\n      bar \"a . . .\" say=\"slow\""));
    assert!(make(dir.path(), &[]).status.success());
    let kept = || digests(&dir.path().join(".partwright/sound")).into_keys().collect::<Vec<_>>();
    let before = kept();
    std::fs::write(dir.path().join("lesson.kdl"), lesson("Two", "grip \"a\" \"x x 2 2 2 x\" name=\"A\"\n      bar \"a . . .\" say=\"slower\"")).unwrap();
    assert!(make(dir.path(), &[]).status.success());
    assert_eq!(kept(), before);
    // A note more does.
    std::fs::write(dir.path().join("lesson.kdl"), lesson("Two", "grip \"a\" \"x x 2 2 2 x\" name=\"A\"\n      bar \"a . a .\"")).unwrap();
    assert!(make(dir.path(), &[]).status.success());
    assert_ne!(kept(), before);
}

#[test]
fn two_at_once_wait_for_each_other() {
    let dir = folder(&lesson("T", ""));
    let both: Vec<_> = (0..2).map(|_| command(dir.path(), &[]).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()).collect();
    for mut child in both {
        assert_eq!(child.wait().unwrap().code(), Some(0));
    }
    assert_eq!(digests(&dir.path().join("pack")), undisturbed(&lesson("T", "")));
}

#[test]
fn words_stay_words() {
    let title = "<script>alert(1)</script> & #set text(red) $x$ ]] *b* _i_ \\\"q\\\" @here";
    let dir = folder(&lesson(title, "bar \"5:3 . . .\" say=\"<b>#x</b> &amp;\""));
    let out = make(dir.path(), &[]);
    assert_eq!(out.status.code(), Some(0), "{}", said(&out));
    let pack = dir.path().join("pack");
    let page = std::fs::read_to_string(pack.join("index.html")).unwrap();
    assert!(page.contains("&lt;script&gt;alert(1)"));
    assert!(!page.contains("<script>alert") && !page.contains("<b>#x"));
    let xml = std::fs::read_to_string(pack.join("p.musicxml")).unwrap();
    assert!(xml.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp; #set") && !xml.contains("<script>"));
}

#[test]
fn the_record_stays_out_of_the_pack() {
    let text = "lesson \"T\" { passage \"p\" { tempo 240; record \"r.wav\" from=\"0:00.10\" to=\"0:00.60\"; part \"g\" instrument=\"guitar\" { bar \"5:3 - - - - - - - - - - - - - - -\" } } }";
    let dir = folder(text);
    let mut wav = b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0\x01\0\x01\0\x44\xac\0\0\x88\x58\x01\0\x02\0\x10\0data".to_vec();
    let samples: Vec<u8> = (0..44_100i32).flat_map(|i| (((i * 440 * 65_536 / 44_100) as i16) / 4).to_le_bytes()).collect();
    wav.extend((samples.len() as u32).to_le_bytes());
    wav.extend(&samples);
    std::fs::write(dir.path().join("r.wav"), wav).unwrap();
    assert_eq!(make(dir.path(), &[]).status.code(), Some(0));
    let without = digests(&dir.path().join("pack"));
    assert!(!dir.path().join("practice").exists());
    let out = make(dir.path(), &["--practice"]);
    assert_eq!(out.status.code(), Some(0), "{}", said(&out));
    assert!(said(&out).contains("stay out of the pack"), "{}", said(&out));
    assert_eq!(digests(&dir.path().join("pack")), without);
    let practice = digests(&dir.path().join("practice"));
    assert_eq!(practice.keys().map(|p| p.to_str().unwrap()).collect::<Vec<_>>(), ["p-1-100.flac"]);
    // A stretch that lies past the record's end.
    std::fs::write(dir.path().join("lesson.kdl"), text.replace("0:00.10", "0:09.10").replace("0:00.60", "0:09.60")).unwrap();
    let out = make(dir.path(), &["--practice"]);
    assert_eq!(out.status.code(), Some(1), "{}", said(&out));
    assert!(said(&out).contains("the record ends at 1.00 s"), "{}", said(&out));
    assert_eq!(digests(&dir.path().join("practice")), practice);
}
