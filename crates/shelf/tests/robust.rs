//! The index deleted, damaged, of another version, or shared by two programs; lessons changed, moved, removed, faulty, unreadable.

mod generated;

use generated::{all_facts, lesson, scan, seen};
use shelf::{Seen, Shelf, ShelfError, Trust, Update, query};
use std::collections::{BTreeMap, BTreeSet};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::Path;

type Texts = BTreeMap<String, String>;

fn texts(n: usize) -> Texts {
    (0..n).map(|i| lesson(i, 0)).map(|l| (l.0, l.1)).collect()
}

/// Times long past: size and time are trusted.
fn update(shelf: &mut Shelf, texts: &Texts, modified_ns: i64) -> Update {
    let list: Vec<Seen> = texts.iter().map(|(f, t)| seen(f, t, modified_ns)).collect();
    shelf.update(&list, 1 << 60, Trust::Hint, &mut |f| Ok(texts[f].clone().into_bytes())).unwrap()
}

const QUERIES: [&str; 6] = ["bend", "rootless", "tempo 60-90", "grip x x 5 5 5 x", "key C minor lock shared from 10", "not swing none"];

fn answers(shelf: &Shelf) -> Vec<BTreeSet<(String, Option<String>)>> {
    QUERIES.iter().map(|q| shelf.find(&query(q).unwrap(), usize::MAX).unwrap().hits.into_iter().map(|h| (h.lesson, h.passage)).collect()).collect()
}

fn expected(n: usize) -> Vec<BTreeSet<(String, Option<String>)>> {
    let all = all_facts(n);
    QUERIES.iter().map(|q| scan(&all, &query(q).unwrap())).collect()
}

#[test]
fn what_changes_is_noticed() {
    let folder = tempfile::tempdir().unwrap();
    let mut shelf = Shelf::open(&folder.path().join("all.shelf")).unwrap();
    let mut all = texts(20);
    assert_eq!(update(&mut shelf, &all, 5).added.len(), 20);
    // Nothing changed: nothing is read.
    let list: Vec<Seen> = all.iter().map(|(f, t)| seen(f, t, 5)).collect();
    let quiet = shelf.update(&list, 1 << 60, Trust::Hint, &mut |f| panic!("{f} is read")).unwrap();
    assert_eq!(quiet, Update { unchanged: 20, ..Update::default() });
    // Touched, but the same bytes.
    assert_eq!(update(&mut shelf, &all, 6), Update { unchanged: 20, ..Update::default() });
    // One changed, one moved, one removed, one added.
    let names: Vec<String> = all.keys().cloned().collect();
    let (new, old) = (lesson(3, 1), lesson(3, 0));
    assert_ne!(new.1, old.1);
    all.insert(new.0.clone(), new.1);
    let moved = all.remove(&names[7]).unwrap();
    all.insert("elsewhere/here".into(), moved);
    all.remove(&names[9]);
    let fresh = lesson(99, 0);
    all.insert(fresh.0.clone(), fresh.1);
    let now = update(&mut shelf, &all, 7);
    assert_eq!((now.added, now.changed, now.removed, now.moved), (vec![fresh.0], vec![new.0], vec![names[9].clone()], vec![(names[7].clone(), "elsewhere/here".into())]));
    let on_shelf: Vec<String> = shelf.lessons().unwrap().into_iter().map(|l| l.0).collect();
    assert_eq!(on_shelf, all.keys().cloned().collect::<Vec<_>>());
    let hits = shelf.find(&query("not zzz").unwrap(), usize::MAX).unwrap();
    assert_eq!(hits.total, 40);
    assert!(hits.hits.iter().any(|h| h.lesson == "elsewhere/here") && hits.hits.iter().all(|h| h.lesson != names[9] && h.lesson != names[7]));
    shelf.verify().unwrap();
}

#[test]
fn a_change_within_the_same_tick_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let mut shelf = Shelf::open(&folder.path().join("all.shelf")).unwrap();
    let (a, b) = ("lesson \"aaa\" { passage \"p\" { tempo 90; slots 1; part \"g\" instrument=\"guitar\" { bar \"3:5\" } } }", "lesson \"bbb\" { passage \"p\" { tempo 90; slots 1; part \"g\" instrument=\"guitar\" { bar \"3:5\" } } }");
    let now = 1_000_000_000_000;
    let list = [seen("one", a, now - 1_000_000_000)];
    shelf.update(&list, now, Trust::Hint, &mut |_| Ok(a.into())).unwrap();
    // The same size and time, but read so shortly after the change that this says nothing.
    let again = shelf.update(&list, now + 1, Trust::Hint, &mut |_| Ok(b.into())).unwrap();
    assert_eq!(again.changed, ["one"]);
    assert_eq!(shelf.lessons().unwrap()[0].1, "bbb");
    // Later the hint is trusted, unless the contents are asked for.
    shelf.update(&list, now + 9_000_000_000, Trust::Hint, &mut |_| Ok(b.into())).unwrap();
    let late = shelf.update(&list, now + 10_000_000_000, Trust::Hint, &mut |_| Ok(a.into())).unwrap();
    assert_eq!(late.unchanged, 1);
    let asked = shelf.update(&list, now + 10_000_000_000, Trust::Contents, &mut |_| Ok(a.into())).unwrap();
    assert_eq!(asked.changed, ["one"]);
}

#[test]
fn faulty_and_unreadable_lessons() {
    let folder = tempfile::tempdir().unwrap();
    let mut shelf = Shelf::open(&folder.path().join("all.shelf")).unwrap();
    let mut all = texts(3);
    let names: Vec<String> = all.keys().cloned().collect();
    update(&mut shelf, &all, 1);
    // A slip in a bar: what else stands there is still found.
    let slip = all[&names[0]].replacen("say=", "sya=", 1);
    all.insert(names[0].clone(), slip);
    let list: Vec<Seen> = all.iter().map(|(f, t)| seen(f, t, 2)).collect();
    let now = shelf
        .update(&list, 1 << 60, Trust::Hint, &mut |f| if f == names[1] { Err(std::io::Error::other("no permission")) } else { Ok(all[f].clone().into_bytes()) })
        .unwrap();
    assert_eq!((now.faulty, now.changed), (vec![names[0].clone()], vec![names[0].clone()]));
    assert_eq!(now.unreadable, [(names[1].clone(), "no permission".to_string())]);
    let hits = shelf.find(&query("not zzz").unwrap(), 99).unwrap().hits;
    assert!(names.iter().all(|n| hits.iter().any(|h| h.lesson == *n)), "{hits:?}");
    // Any bytes at all.
    for bytes in [&b""[..], b"\xff\xfe\0", b"lesson", &[b'{'; 5000]] {
        shelf.put(&seen("odd", "", 3), 9, bytes).unwrap();
    }
    assert!(shelf.take_off("odd").unwrap() && !shelf.take_off("odd").unwrap());
    shelf.verify().unwrap();
}

fn damage(path: &Path, at: u64, bytes: &[u8]) {
    let mut file = std::fs::OpenOptions::new().write(true).open(path).unwrap();
    file.seek(SeekFrom::Start(at)).unwrap();
    file.write_all(bytes).unwrap();
}

#[test]
fn a_lost_or_damaged_index_is_made_anew() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("all.shelf");
    let all = texts(40);
    let right = expected(40);
    update(&mut Shelf::open(&path).unwrap(), &all, 1);
    let whole = std::fs::read(&path).unwrap();
    let mut rebuilt = 0;
    let mut check = |what: &str| {
        let mut shelf = Shelf::open(&path).unwrap_or_else(|e| panic!("{what}: {e}"));
        let now = update(&mut shelf, &all, 1);
        rebuilt += usize::from(now.rebuilt || now.added.len() == 40);
        assert_eq!(answers(&shelf), right, "{what}");
        shelf.verify().unwrap_or_else(|e| panic!("{what}: {e}"));
    };
    check("whole");
    std::fs::remove_file(&path).unwrap();
    check("deleted");
    std::fs::write(&path, b"").unwrap();
    check("empty");
    std::fs::write(&path, vec![b'x'; 50_000]).unwrap();
    check("no database");
    std::fs::write(&path, &whole[..whole.len() / 2]).unwrap();
    check("cut in half");
    std::fs::write(&path, &whole[..700]).unwrap();
    check("cut in the first page");
    for page in 0..whole.len() / 4096 {
        // Whole pages lost, as by a disk; every third, to be done in time.
        if page % 3 == 1 {
            std::fs::write(&path, &whole).unwrap();
            damage(&path, page as u64 * 4096, &[0xa5; 4096]);
            check(&format!("page {page} lost"));
        }
    }
    std::fs::write(&path, &whole).unwrap();
    damage(&path, 0, &[0; 100]);
    check("header lost");
    // Another program's tables under our name.
    std::fs::remove_file(&path).unwrap();
    let other = rusqlite::Connection::open(&path).unwrap();
    other.execute_batch("CREATE TABLE lesson (x); INSERT INTO lesson VALUES (1)").unwrap();
    drop(other);
    check("another's tables");
    // An older version.
    std::fs::write(&path, &whole).unwrap();
    rusqlite::Connection::open(&path).unwrap().pragma_update(None, "user_version", 7).unwrap();
    check("another version");
    assert!(rebuilt > 10, "{rebuilt}");
}

#[test]
fn only_files_of_its_own_name_are_touched() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lesson.kdl");
    std::fs::write(&path, "lesson \"Mine\"").unwrap();
    assert_eq!(Shelf::open(&path).err(), Some(ShelfError::Name));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "lesson \"Mine\"");
    assert!(matches!(Shelf::open(&folder.path().join("no/such/folder/a.shelf")).err(), Some(ShelfError::File(_))));
}

/// What the second program does in the tests below; run by them with these variables set, and by nobody else.
#[test]
fn the_other_program() {
    let Ok(path) = std::env::var("SHELF_TEST_INDEX") else { return };
    let rounds: i64 = std::env::var("SHELF_TEST_ROUNDS").unwrap().parse().unwrap();
    let all = texts(60);
    for round in 0..rounds {
        let mut shelf = Shelf::open(Path::new(&path)).unwrap();
        update(&mut shelf, &all, round);
        if round % 3 == 0 {
            shelf.take_off(&lesson(round as usize % 60, 0).0).unwrap();
        }
        assert!(shelf.find(&query("bend tempo from 1").unwrap(), 5).unwrap().total > 0);
    }
}

fn other_program(path: &Path, rounds: usize) -> std::process::Command {
    let mut command = std::process::Command::new(std::env::current_exe().unwrap());
    command.args(["--exact", "the_other_program", "--nocapture"]).env("SHELF_TEST_INDEX", path).env("SHELF_TEST_ROUNDS", rounds.to_string());
    command
}

#[test]
fn two_programs_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("all.shelf");
    let mut others: Vec<_> = (0..2).map(|_| other_program(&path, 12).spawn().unwrap()).collect();
    let all = texts(60);
    for round in 100..112 {
        update(&mut Shelf::open(&path).unwrap(), &all, round);
    }
    for other in &mut others {
        assert!(other.wait().unwrap().success());
    }
    let mut shelf = Shelf::open(&path).unwrap();
    update(&mut shelf, &all, 1000);
    shelf.verify().unwrap();
    assert_eq!(answers(&shelf), expected(60));
}

#[test]
fn a_damaged_index_while_two_programs_use_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("all.shelf");
    let all = texts(60);
    update(&mut Shelf::open(&path).unwrap(), &all, 1);
    damage(&path, 4096, &vec![0x5a; 40_000]);
    let mut others: Vec<_> = (0..2).map(|_| other_program(&path, 3).spawn().unwrap()).collect();
    update(&mut Shelf::open(&path).unwrap(), &all, 1);
    for other in &mut others {
        assert!(other.wait().unwrap().success());
    }
    let mut shelf = Shelf::open(&path).unwrap();
    update(&mut shelf, &all, 2);
    shelf.verify().unwrap();
    assert_eq!(answers(&shelf), expected(60));
}

#[test]
fn a_killed_program_leaves_a_whole_index() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("all.shelf");
    let mut killed = 0;
    for wait_ms in [5, 20, 40, 80, 120, 200, 300] {
        let mut other = other_program(&path, 1000).stdout(std::process::Stdio::null()).spawn().unwrap();
        std::thread::sleep(std::time::Duration::from_millis(wait_ms));
        killed += usize::from(other.try_wait().unwrap().is_none());
        other.kill().unwrap();
        other.wait().unwrap();
        let shelf = Shelf::open(&path).unwrap();
        shelf.verify().unwrap();
    }
    assert!(killed > 3);
    let mut shelf = Shelf::open(&path).unwrap();
    let all = texts(60);
    assert!(!update(&mut shelf, &all, 999_999).rebuilt);
    assert_eq!(answers(&shelf), expected(60));
    let mut bytes = [0; 15];
    std::fs::File::open(&path).unwrap().read_exact(&mut bytes).unwrap();
    assert_eq!(&bytes, b"SQLite format 3");
}
