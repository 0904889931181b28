//! A lesson worked on through the server: typing, saving, undo after a restart, other programs, sounds, choosing and creating.

use crate::asking::{Bench, LESSON};
use serde_json::{Value, json};

fn type_in(b: &Bench, old: &str, new: &str) -> Value {
    let state = b.state();
    let text = state["text"].as_str().unwrap();
    let at = text.find(old).unwrap();
    assert!(text.is_ascii());
    let a = b.post("/text", &json!({ "version": state["version"], "start": at, "end": at + old.len(), "with": new }));
    assert_eq!(a.status, 200, "{}", a.text());
    a.json()
}

#[test]
fn a_stroke_is_drawn_saved_and_taken_back_after_a_restart() {
    let b = Bench::open();
    let update = type_in(&b, "a . x a", "a . a a");
    let pieces = update["passages"][0]["pieces"].as_array().unwrap();
    let sent: Vec<&str> = pieces.iter().filter(|p| p.get(1).is_some()).map(|p| p[0].as_str().unwrap()).collect();
    // The second bar, the names and the grips are as they were.
    assert!(sent.contains(&"bar-0") && sent.contains(&"set-0") && !sent.contains(&"bar-1") && !sent.contains(&"grips"), "{sent:?}");
    assert_eq!(update["splice"][2], "a");
    let want = LESSON.replace("a . x a", "a . a a");
    b.until("the file to be saved", |b| b.file() == want);
    b.until("the page to say so", |b| b.state()["saved"] == true);
    let dir = b.close();
    let mut b = Bench::on(dir);
    let answer = b.ask(&format!("GET /?key={} HTTP/1.1\r\nHost: {}\r\n\r\n", b.key, b.host));
    b.cookie = answer.header("set-cookie").unwrap().split(';').next().unwrap().to_string();
    assert_eq!(b.post("/undo", &json!({})).status, 200);
    b.until("the first text to be back", |b| b.file() == LESSON);
    assert_eq!(b.post("/undo", &json!({})).status, 422);
    assert_eq!(b.post("/redo", &json!({})).status, 200);
    assert_eq!(b.state()["text"], want);
}

/// On a busy machine the head of a request can come long before its body: the line stays open for the next one.
#[test]
fn a_body_that_comes_late_is_waited_for() {
    use std::io::{Read, Write};
    let b = Bench::open();
    for path in ["/undo", "/redo", "/check", "/make"] {
        let mut line = std::net::TcpStream::connect(&b.host).unwrap();
        line.set_read_timeout(Some(std::time::Duration::from_secs(20))).unwrap();
        write!(line, "POST {path} HTTP/1.1\r\nHost: {h}\r\nOrigin: http://{h}\r\nCookie: {}\r\nContent-Type: application/json\r\nContent-Length: 2\r\n\r\n", b.cookie, h = b.host).unwrap();
        std::thread::sleep(std::time::Duration::from_millis(100));
        write!(line, "{{}}").unwrap();
        write!(line, "GET /hand?passage=verse&part=chop&bar=1&slot=1 HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\nConnection: close\r\n\r\n", b.host, b.cookie).unwrap();
        let mut all = Vec::new();
        line.read_to_end(&mut all).unwrap();
        assert_eq!(String::from_utf8_lossy(&all).matches("HTTP/1.1 ").count(), 2, "{path}: {}", String::from_utf8_lossy(&all));
    }
}

#[test]
fn problems_have_their_place() {
    let b = Bench::open();
    let update = type_in(&b, "a . x a", "a . q");
    let p = &update["problems"][0];
    assert_eq!((&p["passage"], &p["part"], &p["bar"], &p["line"]), (&json!("verse"), &json!("chop"), &json!(1), &json!(8)), "{p}");
    // A quote that is not closed yet does not empty the page.
    let update = type_in(&b, "title=\"", "title=");
    assert_eq!(update["stale"], true);
    assert_eq!(update["passages"][0]["id"], "verse");
}

#[test]
fn another_program_is_seen_and_a_conflict_waits() {
    let b = Bench::open();
    std::fs::write(b.path("lesson.kdl"), LESSON.replace("tempo 120", "tempo 90")).unwrap();
    b.until("the new tempo", |b| b.state()["text"].as_str().unwrap().contains("tempo 90"));
    type_in(&b, "tempo 90", "tempo 91");
    b.until("it to be saved", |b| b.file().contains("tempo 91"));
    let theirs = LESSON.replace("tempo 120", "tempo 60");
    std::fs::write(b.path("lesson.kdl"), &theirs).unwrap();
    b.until("the conflict", |b| b.state()["conflict"] == true);
    let lines = b.get("/conflict").json();
    let lines: Vec<String> = lines["lines"].as_array().unwrap().iter().filter(|l| l[0] != "both").map(|l| format!("{} {}", l[0].as_str().unwrap(), l[1].as_str().unwrap().trim())).collect();
    assert_eq!(lines, ["here tempo 91", "file tempo 60"]);
    type_in(&b, "tempo 91", "tempo 92");
    std::thread::sleep(std::time::Duration::from_millis(1500));
    assert_eq!(b.file(), theirs, "nothing is written while both stand");
    assert_eq!(b.post("/make", &json!({})).status, 409);
    assert_eq!(b.post("/conflict", &json!({ "keep": "here" })).status, 200);
    b.until("ours to be written", |b| b.file().contains("tempo 92"));
    assert_eq!(b.state()["conflict"], false);
}

#[test]
fn what_is_done_at_a_slot_lands_in_the_text() {
    let b = Bench::open();
    let at = json!({ "passage": "verse", "part": "floor", "bar": 2, "slot": 3 });
    let a = b.post("/act", &json!({ "do": "token", "at": at, "with": "2:5" })).json();
    assert_eq!(a["played"], 2);
    assert!(b.state()["text"].as_str().unwrap().contains("bar \"3:3 - 2:5 3:3\" times=2"));
    let refused = b.post("/act", &json!({ "do": "token", "at": at, "with": "2:99" }));
    assert_eq!(refused.status, 422);
    assert!(refused.json()["right"].as_str().unwrap().len() > 5);
    let hand = b.get("/hand?passage=verse&part=chop&bar=1&slot=1").json();
    assert!(hand["html"].as_str().unwrap().contains("Cm7"));
}

#[test]
fn sounds_come_and_services_that_are_not_there_say_so() {
    let b = Bench::open();
    let sound = b.get("/sound?passage=verse&percent=100");
    assert_eq!(sound.status, 200);
    let padded = u32::from_le_bytes(sound.body[..4].try_into().unwrap()) as usize;
    let head: Value = serde_json::from_slice(&sound.body[4..4 + padded]).unwrap();
    assert_eq!((&head["frames"], &head["parts"]), (&json!(192_000), &json!(["chop", "floor"])));
    assert_eq!(b.post("/make", &json!({})).status, 501);
}

struct WithDemo;

impl bench::services::Services for WithDemo {
    fn demos(&self) -> Vec<bench::services::Demo> {
        vec![bench::services::Demo { folder: "shown", text: LESSON }]
    }
}

#[test]
fn without_a_lesson_one_is_chosen_or_begun() {
    let shelf = tempfile::tempdir().unwrap();
    std::fs::create_dir(shelf.path().join("tuesday")).unwrap();
    std::fs::write(shelf.path().join("tuesday/lesson.kdl"), LESSON).unwrap();
    let ways = [("/choose", json!({ "folder": "tuesday" }), "One <b>two</b>"), ("/create", json!({ "title": "Rain & wind" }), "Rain & wind"), ("/demo", json!({ "folder": "shown" }), "One <b>two</b>")];
    for (path, body, want) in ways {
        let running = bench::start(bench::Options { shelf: shelf.path().into(), ..bench::Options::default() }, std::sync::Arc::new(WithDemo)).unwrap();
        let address = running.address().strip_prefix("http://").unwrap().to_string();
        let (host, key) = address.split_once("/?key=").unwrap();
        let mut b = Bench::unopened();
        b.host = host.into();
        b.cookie = b.ask(&format!("GET /?key={key} HTTP/1.1\r\nHost: {host}\r\n\r\n")).header("set-cookie").unwrap().split(';').next().unwrap().to_string();
        assert!(b.get("/").text().contains("tuesday") && b.get("/").text().contains("data-demo=\"shown\""));
        assert_eq!(b.get("/state").status, 409);
        assert_eq!(b.post("/demo", &json!({ "folder": "../shown" })).status, 404);
        assert_eq!(b.post(path, &body).status, 200);
        assert_eq!(b.state()["title"], want);
    }
    assert!(shelf.path().join("rain-wind/lesson.kdl").is_file());
    assert_eq!(std::fs::read_to_string(shelf.path().join("shown/lesson.kdl")).unwrap(), LESSON);
}

/// A shelf of one passage, and what was written down in it.
#[derive(Default)]
struct WithShelf(std::sync::Mutex<String>);

impl bench::services::Services for WithShelf {
    fn find(&self, shelf: &std::path::Path, words: &str) -> Result<bench::services::Found, bench::services::Without> {
        use bench::services::{Found, Hit, Without};
        if words.contains('"') {
            return Err(Without::Failed("a quote is open".into()));
        }
        assert!(shelf.join("tuesday/lesson.kdl").is_file());
        let hit = Hit { lesson: "tuesday".into(), title: "A <title>".into(), passage: Some("verse".into()), place: "chop, bar 1".into(), why: format!("It has {words}.") };
        Ok(Found { hits: vec![hit], total: 7 })
    }

    fn wishes(&self, _: &std::path::Path) -> Result<Vec<bench::services::Wish>, bench::services::Without> {
        Ok(self.0.lock().unwrap().lines().map(|l| bench::services::Wish { words: l.into(), times: 1, ..Default::default() }).collect())
    }

    fn wish(&self, _: &std::path::Path, lines: &str) -> Result<(), bench::services::Without> {
        self.0.lock().unwrap().push_str(lines);
        Ok(())
    }
}

#[test]
fn the_shelf_is_looked_through_and_another_lesson_opened_from_it() {
    let shelf = tempfile::tempdir().unwrap();
    for name in ["monday", "tuesday"] {
        std::fs::create_dir(shelf.path().join(name)).unwrap();
        std::fs::write(shelf.path().join(name).join("lesson.kdl"), LESSON.replace("One <b>two</b>", name)).unwrap();
    }
    let options = bench::Options { lesson: Some(shelf.path().join("monday")), shelf: shelf.path().into(), port: 0 };
    let running = bench::start(options, std::sync::Arc::new(WithShelf::default())).unwrap();
    let address = running.address().strip_prefix("http://").unwrap().to_string();
    let (host, key) = address.split_once("/?key=").unwrap();
    let mut b = Bench::unopened();
    b.host = host.into();
    assert_eq!(b.get("/shelf").status, 403);
    b.cookie = b.ask(&format!("GET /?key={key} HTTP/1.1\r\nHost: {host}\r\n\r\n")).header("set-cookie").unwrap().split(';').next().unwrap().to_string();

    let plain = b.get("/shelf").text();
    assert!(plain.contains("Back to monday") && plain.contains("Nothing yet.") && !plain.contains("id=\"found\""), "{plain}");
    assert!(plain.contains("use partwright find"), "what this program cannot do is said: {plain}");
    let found = b.get("/shelf?words=rootless+%3Cninth%3E").text();
    assert!(found.contains("It has rootless &lt;ninth&gt;.") && found.contains("A &lt;title&gt;") && found.contains("7 in all") && found.contains("data-folder=\"tuesday\""), "{found}");
    assert!(b.get("/shelf?words=%22").text().contains("a quote is open"));
    assert_eq!(b.get(&format!("/shelf?words={}", "x".repeat(401))).status, 422);

    assert_eq!(b.post("/wishes", &json!({ "lines": "slow <bends>\n" })).status, 200);
    assert_eq!(b.post("/wishes", &json!({ "lines": " \n" })).status, 422);
    assert_eq!(b.post("/wishes", &json!({ "lines": "x".repeat(70_000) })).status, 422);
    assert!(b.get("/shelf").text().contains("slow &lt;bends&gt;"));

    // The lesson at work gives way when all of it is in its file, and the next one has the bench to itself.
    let s = b.state();
    assert_eq!(s["title"], "monday");
    b.post("/text", &json!({ "version": s["version"], "start": 0, "end": 0, "with": "// typed\n" }));
    let since = std::time::Instant::now();
    loop {
        let answer = b.post("/choose", &json!({ "folder": "tuesday" }));
        if answer.status == 200 {
            break;
        }
        assert!(answer.status == 422 && answer.text().contains("not in its file yet"), "{}", answer.text());
        assert!(since.elapsed().as_secs() < 20, "never saved");
        std::thread::sleep(std::time::Duration::from_millis(30));
    }
    assert_eq!(b.state()["title"], "tuesday");
    assert!(std::fs::read_to_string(shelf.path().join("monday/lesson.kdl")).unwrap().starts_with("// typed\n"));
    assert_eq!(b.post("/choose", &json!({ "folder": "tuesday" })).status, 200);
    assert_eq!(b.post("/choose", &json!({ "folder": "../tuesday" })).status, 404);
}
