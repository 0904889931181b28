//! Checking through the server: findings, what is done about them, when they no longer hold, their sounds, the report; and attacks on all of it.

use crate::asking::Bench;
use serde_json::{Value, json};

const TEXT: &str = r#"// Kept as it is.
lesson "Two <b>bars</b>" {
  passage "one" title="<script>alert(1)</script>" {
    tempo 100
    slots 8
    record "audio/bars.wav" from=0 to=4.8
    part "line" instrument="guitar" {
      bar "5:3 - 4:2 - 4:5 - 3:2 -"   // the first
      bar "5:5 - 4:2 - 4:5 - 3:4 -"
    }
  }
  passage "two" title="Without" {
    tempo 100
    slots 4
    part "line" instrument="guitar" { bar "5:3 . 4:2 ." }
  }
}
"#;

/// A bench on a lesson whose record plays `played`.
fn bench(text: &str, played: &str) -> Bench {
    let dir = tempfile::tempdir().unwrap();
    std::fs::create_dir_all(dir.path().join("audio")).unwrap();
    std::fs::write(dir.path().join("lesson.kdl"), text).unwrap();
    let record = lesson::read(played).lesson;
    let once = sound::Options { looped: false, ..sound::Options::default() };
    let record = sound::render(&record.passages[0], &once, &sound::Takes::new(), &|_| ()).unwrap().mix;
    std::fs::write(dir.path().join("audio/bars.wav"), wave::encode_wav16(&record).unwrap()).unwrap();
    let mut b = Bench::on(dir);
    let answer = b.ask(&format!("GET /?key={} HTTP/1.1\r\nHost: {}\r\n\r\n", b.key, b.host));
    b.cookie = answer.header("set-cookie").unwrap().split(';').next().unwrap().to_string();
    b
}

fn wrong() -> String {
    TEXT.replacen("4:5", "4:4", 1)
}

fn type_in(b: &Bench, old: &str, new: &str) {
    let state = b.state();
    let text = state["text"].as_str().unwrap();
    let at = text.find(old).unwrap();
    assert_eq!(b.post("/text", &json!({ "version": state["version"], "start": at, "end": at + old.len(), "with": new })).status, 200);
}

fn settle(b: &Bench, run: &Value, how: &str) -> crate::asking::Answer {
    b.post("/check/settle", &json!({ "run": run, "finding": 0, "how": how }))
}

#[test]
fn a_finding_is_accepted_in_the_text_and_undone() {
    let b = bench(TEXT, &wrong());
    assert_eq!(b.get("/check").json(), Value::Null);
    assert!(b.state()["checked"].is_null());
    let all = b.post("/check", &json!({})).json();
    let f = &all["findings"][0];
    assert_eq!((&f["passage"], &f["part"], &f["bar"], &f["slot"], &f["offer"]), (&json!("one"), &json!("line"), &json!(1), &json!(5), &json!("writes 4:4 for 4:5")), "{f}");
    let words = f["words"].as_str().unwrap();
    assert!(words.starts_with("Bar 1, beat 3: G3 (string 4 fret 5) is written, the record has F#3, fret 4") && words.contains("sure"), "{words}");
    assert_eq!((&all["standing"][0], &all["changed"]), (&json!("open"), &json!([false, false])));
    // The second passage has no record, and says so.
    assert!(all["passages"][1]["record"].is_null() && all["passages"][1]["words"].as_str().unwrap().contains("itself alone"), "{}", all["passages"]);
    assert_eq!(b.get("/check").json(), all);

    let update = settle(&b, &all["run"], "accept").json();
    assert_eq!((&update["checked"]["standing"][0], &update["undo"]), (&json!("accepted"), &json!("finding 1 accepted")));
    b.until("the file to have it", |b| b.file() == TEXT.replacen("4:5", "4:4", 1));
    assert_eq!(settle(&b, &all["run"], "accept").status, 409, "twice");
    assert_eq!(b.post("/undo", &json!({})).json()["checked"]["standing"][0], "open");
    assert_eq!(b.state()["text"], TEXT);
    // Kept as written: marked in the text, and not reported again.
    let update = settle(&b, &all["run"], "as-written").json();
    assert_eq!(update["checked"]["standing"][0], "as written");
    let text = b.state()["text"].as_str().unwrap().to_string();
    assert!(text.contains("heard=\"as written at slot 5\"") && text.contains("// the first") && text.contains("// Kept as it is."), "{text}");
    let again = b.post("/check", &json!({})).json();
    assert!(again["findings"].as_array().unwrap().iter().all(|f| f["slot"] != 5 || f["bar"] != 1), "{again}");
    assert_eq!(settle(&b, &all["run"], "accept").status, 409, "of an earlier check");
}

#[test]
fn a_finding_whose_stroke_changed_is_not_acted_upon() {
    let b = bench(TEXT, &wrong());
    let all = b.post("/check", &json!({})).json();
    let standing = |b: &Bench| b.state()["checked"]["standing"][0].clone();
    // Another stroke of the same bar, another bar, another passage: it stands.
    type_in(&b, "5:3 - 4:2 -", "5:3 - 4:3 -");
    type_in(&b, "5:5 -", "5:7 -");
    assert_eq!((standing(&b), &b.state()["checked"]["changed"]), (json!("open"), &json!([true, false])));
    for (old, new, back) in [("4:5 - 3:2", "4:7 - 3:2", "4:5 - 3:2"), ("tempo 100", "tempo 99", "tempo 100"), ("from=0", "from=1", "from=0"), ("instrument=\"guitar\" {\n      bar \"5:3", "instrument=\"guitar\" {\n      rest\n      bar \"5:3", "")] {
        type_in(&b, old, new);
        assert_eq!(standing(&b), "changed", "{new}");
        let (text, refused) = (b.state()["text"].clone(), settle(&b, &all["run"], "accept"));
        assert_eq!((refused.status, refused.json()["right"].as_str()), (409, Some("check again")), "{new}");
        assert_eq!(settle(&b, &all["run"], "as-written").status, 409);
        assert_eq!(b.state()["text"], text);
        if back.is_empty() {
            assert_eq!(b.post("/undo", &json!({})).status, 200);
        } else {
            type_in(&b, new, back);
        }
        assert_eq!(standing(&b), "open", "{new} taken back");
    }
    // A passage that is gone.
    type_in(&b, "passage \"one\"", "passage \"none\"");
    assert_eq!(standing(&b), "changed");
}

#[test]
fn what_is_for_the_teachers_own_hand_says_so() {
    // The whole part a semitone off is one finding, and nothing is written for it.
    let b = bench(TEXT, &TEXT.replace("instrument=\"guitar\" {\n      bar \"5:3", "instrument=\"guitar\" capo=1 {\n      bar \"5:3"));
    let all = b.post("/check", &json!({})).json();
    let f = &all["findings"][0];
    assert!(f["whole"] == true && f["offer"].is_null() && f["words"].as_str().unwrap().contains("semitone"), "{all}");
    for how in ["accept", "as-written"] {
        let refused = settle(&b, &all["run"], how);
        assert_eq!(refused.status, 422);
        assert!(refused.json()["right"].as_str().unwrap().contains("by hand"));
    }
    assert_eq!(b.state()["text"], TEXT);
}

#[test]
fn the_bars_around_a_finding_sound_and_are_drawn() {
    let b = bench(TEXT, &wrong());
    assert_eq!(b.get("/findings").status, 404, "not checked yet");
    let run = b.post("/check", &json!({})).json()["run"].as_u64().unwrap();
    let sound = b.get(&format!("/check/sound?run={run}&finding=0&percent=50"));
    let padded = u32::from_le_bytes(sound.body[..4].try_into().unwrap()) as usize;
    let head: Value = serde_json::from_slice(&sound.body[4..4 + padded]).unwrap();
    // Two bars of 2.4 s at half the tempo, as far as the record's own beat allows.
    let frames = head["frames"].as_f64().unwrap() / 48_000.0;
    assert!((frames - 9.6).abs() < 0.2, "{head}");
    assert_eq!(head["bars"].as_array().unwrap().len(), 3);
    for of in ["record", "parts"] {
        let a = b.get(&format!("/findings/sound?run={run}&finding=0&of={of}"));
        assert_eq!((a.status, a.header("content-type"), &a.body[..4]), (200, Some("audio/wav"), &b"RIFF"[..]), "{of}");
        assert!(a.body[44..].iter().any(|x| *x != 0), "{of} is silent");
    }
    let a = b.get("/findings");
    let page = a.text();
    assert_eq!(a.status, 200);
    assert!(page.contains("<svg class=\"strip\"") && page.contains("class=\"level-6\"") && page.contains("class=\"written it\"") && page.contains("class=\"heard it\""));
    assert!(page.contains("&lt;script&gt;alert(1)") && !page.contains("<script") && page.contains("Two &lt;b&gt;bars") && !page.contains("<b>bars"));
    assert!(!page.contains(" style=") && !page.contains("http://") && !page.contains("https://"), "nothing from elsewhere, nothing inline");
    assert!(a.header("content-security-policy").unwrap().contains("script-src 'self'"));
    assert!(!b.path("pack").exists());
}

#[test]
fn without_a_record_each_passage_is_checked_against_itself() {
    let b = bench(TEXT, &wrong());
    std::fs::remove_file(b.path("audio/bars.wav")).unwrap();
    let all = b.post("/check", &json!({})).json();
    assert_eq!(all["findings"], json!([]));
    let words = all["passages"][0]["words"].as_str().unwrap();
    assert!(words.contains("audio/bars.wav is not in the lesson's folder") && words.contains("itself alone"), "{words}");
    assert!(b.get("/findings").text().contains("Nothing was found"));
    #[cfg(unix)]
    {
        // A link out of the folder is no record.
        std::os::unix::fs::symlink("/etc/hostname", b.path("audio/bars.wav")).unwrap();
        assert_eq!(b.post("/check", &json!({})).json()["findings"], json!([]));
    }
    type_in(&b, "5:3 - 4:2", "q - 4:2");
    let refused = b.post("/check", &json!({}));
    assert_eq!((refused.status, refused.json()["found"].as_str()), (422, Some("the lesson has errors")));
}

#[test]
fn stretches_of_several_records_are_each_looked_for_in_their_own() {
    let text = TEXT.replacen("to=4.8", "to=4.8\n    record \"audio/again.wav\" from=0 to=4.8", 1);
    let b = bench(&text, &wrong());
    std::fs::copy(b.path("audio/bars.wav"), b.path("audio/again.wav")).unwrap();
    let all = b.post("/check", &json!({})).json();
    assert_eq!(all["findings"].as_array().unwrap().len(), 1);
    assert!(all["passages"][0]["words"].as_str().unwrap().starts_with("audio/again.wav and audio/bars.wav, "), "{}", all["passages"][0]);
    std::fs::remove_file(b.path("audio/bars.wav")).unwrap();
    let all = b.post("/check", &json!({})).json();
    assert_eq!((all["findings"].as_array().unwrap().len(), all["passages"][0]["record"].as_str()), (1, Some("audio/again.wav")));
    assert!(all["passages"][0]["limits"][0].as_str().unwrap().contains("audio/bars.wav is not there"), "{}", all["passages"][0]);
    // Its sound is of the file that was listened to.
    assert_eq!(b.get(&format!("/check/sound?run={}&finding=0&percent=100", all["run"])).status, 200);
}

#[test]
fn strangers_and_nonsense_get_nothing() {
    let b = bench(TEXT, &wrong());
    let run = b.post("/check", &json!({})).json()["run"].as_u64().unwrap();
    let get = |path: &str, with: &str| b.ask(&format!("GET {path} HTTP/1.1\r\nHost: {}\r\n{with}\r\n", b.host)).status;
    let cookie = format!("Cookie: {}\r\n", b.cookie);
    let paths = ["/check".to_string(), format!("/check/sound?run={run}&finding=0&percent=100"), "/findings".into(), format!("/findings/sound?run={run}&finding=0&of=record")];
    for path in &paths {
        assert_eq!(get(path, &cookie), 200, "{path}");
        assert_eq!(get(path, ""), 403, "{path} without the cookie");
        assert_eq!(get(path, &format!("{cookie}Origin: http://evil.example\r\n")), 403, "{path} from elsewhere");
        assert_eq!(get(path, &format!("{cookie}Sec-Fetch-Site: cross-site\r\n")), 403, "{path} from elsewhere");
        assert_eq!(b.ask(&format!("GET {path} HTTP/1.1\r\nHost: evil.example\r\n{cookie}\r\n")).status, 403, "{path} by another name");
    }
    let body = json!({ "run": run, "finding": 0, "how": "accept" }).to_string();
    for path in ["/check", "/check/settle"] {
        let post = |with: &str| b.ask(&format!("POST {path} HTTP/1.1\r\nHost: {}\r\n{with}Content-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}", b.host, body.len())).status;
        let own = format!("Origin: http://{}\r\n", b.host);
        assert_eq!(post(&own), 403, "{path} without the cookie");
        assert_eq!(post(&cookie), 403, "{path} without an origin");
        assert_eq!(post(&format!("{cookie}Origin: http://evil.example\r\n")), 403, "{path} from elsewhere");
        assert_eq!(b.ask(&format!("POST {path} HTTP/1.1\r\nHost: {}\r\n{own}{cookie}Content-Type: application/json\r\nContent-Length: 99999999999\r\n\r\n", b.host)).status, 413, "{path} too large");
    }
    assert_eq!(b.post_as("/check/settle", "text/plain", body.as_bytes()).status, 415);
    for (body, status) in [
        (json!({ "run": run, "finding": 9999, "how": "accept" }), 422),
        (json!({ "run": run + 1, "finding": 0, "how": "accept" }), 409),
        (json!({ "run": run, "finding": 0, "how": "<img src=x>" }), 422),
        (json!({ "run": run, "finding": -1, "how": "accept" }), 422),
        (json!({ "run": "one", "finding": 0, "how": "accept" }), 422),
        (json!([]), 422),
    ] {
        assert_eq!(b.post("/check/settle", &body).status, status, "{body}");
    }
    for (path, status) in [
        (format!("/check/sound?run={run}&finding=9&percent=100"), 404),
        (format!("/check/sound?run={run}&finding=0&percent=5"), 422),
        (format!("/check/sound?run={run}&finding=0&percent=4000000"), 422),
        (format!("/check/sound?run=0&finding=0&percent=100"), 409),
        ("/check/sound".into(), 400),
        (format!("/findings/sound?run={run}&finding=0&of=../../lesson.kdl"), 400),
        (format!("/findings/sound?run={run}&finding=99999999999999999999&of=record"), 400),
        ("/findings/../lesson.kdl".into(), 404),
    ] {
        assert_eq!(b.get(&path).status, status, "{path}");
    }
    assert_eq!(b.file(), TEXT);
    assert_eq!(b.state()["text"], TEXT);
}
