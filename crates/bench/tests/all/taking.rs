//! Takes: written out for bars of a part, taken over whole or bar by bar; and what is no take, no bar or no path.

use crate::asking::{Bench, LESSON};
use bench::services::{Played, PlayedBar, Playing, Progress, Services, Without};
use serde_json::{Value, json};
use wave::Buffer;

/// Two beats of tone, two of silence: what it is asked is what counts here, not what it hears.
struct Player;

impl Services for Player {
    fn take(&self, audio: &Buffer, wanted: &Playing, progress: Progress<'_>) -> Result<Played, Without> {
        progress(0.5, "listening");
        if wanted.beats[0] > audio.duration().0 - 1.0 {
            return Err(Without::Failed("nothing was heard".into()));
        }
        let bar = |line: &str, doubtful| PlayedBar { line: line.into(), doubtful };
        let bars = vec![bar("a - - - . . . . b - - - . . . .", false), bar("x . . . . . . . . . . . x x . .", true)];
        Ok(Played { grips: vec![('a', "x x 6 7 6 x".into()), ('b', "x x 8 8 8 x".into())], bars, remarks: vec![format!("{:.2} to {:.2} s", wanted.beats[0], wanted.beats.last().unwrap())] })
    }
}

fn tone(seconds: f64, gain: f64) -> Vec<u8> {
    let samples = (0..(seconds * 8_000.0) as usize).map(|n| (gain * (n as f64 * 0.3).sin()) as f32).collect();
    wave::encode_wav16(&Buffer::from_mono(8_000, samples).unwrap()).unwrap()
}

fn hand_in(b: &Bench, name: &str, bytes: &[u8]) -> Value {
    let head = format!("--cut\r\nContent-Disposition: form-data; name=\"take\"; filename=\"{name}\"\r\n\r\n");
    let a = b.post_as("/takes", "multipart/form-data; boundary=cut", &[head.as_bytes(), bytes, b"\r\n--cut--\r\n"].concat());
    assert_eq!(a.status, 200, "{}", a.text());
    a.json()["takes"][0].clone()
}

fn asked(file: &Value) -> Value {
    json!({ "file": file, "passage": "verse", "part": "chop", "from": 0, "to": 2, "percent": 50, "at": 0.5 })
}

#[test]
fn a_take_is_written_out_and_taken_over_bar_by_bar() {
    let b = Bench::with(Player, LESSON);
    let file = hand_in(&b, "take.wav", &tone(9.0, 0.5));
    let found = b.post("/takes/written", &asked(&file));
    assert_eq!(found.status, 200, "{}", found.text());
    let found = found.json();
    // Two bars of two seconds at half the tempo, half a second into the take.
    assert_eq!(found["remarks"], json!(["0.50 to 8.50 s"]));
    // Its b is the part's a; its a gets a free letter; four slots a bar.
    assert_eq!(found["grips"], json!([["b", "x x 6 7 6 x"], ["a", "x x 8 8 8 x"]]));
    assert_eq!(found["bars"], json!([{ "bar": 1, "now": "a . x a", "line": "b . a .", "guess": false }, { "bar": 2, "now": "a - - -", "line": "x . . [x x . .]=1", "guess": true }]));
    let drawn = found["drawn"].as_str().unwrap();
    assert!(drawn.starts_with("<svg") && !drawn.contains(" style=") && !drawn.contains("<script"));
    assert_eq!(b.file(), LESSON, "nothing is written by that");
    let take = |bars: &[usize]| json!({ "passage": "verse", "part": "chop", "grips": found["grips"], "bars": bars.iter().map(|i| found["bars"][*i].clone()).collect::<Vec<_>>() });
    assert_eq!(b.post("/takes/accept", &take(&[1])).status, 200);
    let second = LESSON.replace("bar \"a - - -\"", "bar \"x . . [x x . .]=1\" sure=\"guess\"");
    assert_eq!(b.state()["text"], second);
    assert_eq!(b.post("/takes/accept", &take(&[0, 1])).status, 200);
    let both = second.replace("bar \"a . x a\"", "bar \"b . a .\"").replace("\"x x 8 8 8 x\"\n", "\"x x 8 8 8 x\"\n      grip \"b\" \"x x 6 7 6 x\"\n");
    assert_eq!(b.state()["text"], both);
    assert_eq!(b.post("/takes/accept", &take(&[0, 1])).status, 422, "it is there already");
    assert_eq!(b.state()["undo"], "take of chop, bars 1 to 2");
    for text in [second.as_str(), LESSON] {
        assert_eq!(b.post("/undo", &json!({})).status, 200);
        assert_eq!(b.state()["text"], text);
    }
}

#[test]
fn what_is_no_take_is_refused_with_words() {
    let b = Bench::with(Player, LESSON);
    let good = hand_in(&b, "good.wav", &tone(9.0, 0.5));
    let silent = hand_in(&b, "silent.wav", &tone(9.0, 0.0));
    let noise = hand_in(&b, "noise.wav", &[b"RIFF\x20\x00\x00\x00WAVE".as_slice(), &[7; 5000]].concat());
    let page = hand_in(&b, "page.wav", b"<html><script>alert(1)</script></html>");
    let long = hand_in(&b, "long.wav", &tone(301.0, 0.5));
    for (file, want) in [(&silent, "the take is silent"), (&noise, "noise.wav"), (&page, "page.wav"), (&long, "5 minutes")] {
        let a = b.post("/takes/written", &asked(file));
        assert!(a.status == 422 && a.text().contains(want), "{file}: {} {}", a.status, a.text());
    }
    std::fs::create_dir(b.path("takes/deep")).unwrap();
    std::fs::write(b.path("takes/deep/x.wav"), tone(9.0, 0.5)).unwrap();
    std::fs::write(b.path("x.wav"), tone(9.0, 0.5)).unwrap();
    #[cfg(unix)]
    std::os::unix::fs::symlink(b.path("x.wav"), b.path("takes/link.wav")).unwrap();
    for file in ["lesson.kdl", "x.wav", "takes/../x.wav", "takes/", "takes/none.wav", "takes/deep/x.wav", "takes/link.wav", "/etc/passwd", "takes\\..\\x.wav", "takes/.hidden.wav", ""] {
        assert_eq!(b.post("/takes/written", &asked(&json!(file))).status, 404, "{file}");
    }
    for (key, value, status) in [
        ("passage", json!("none"), 404),
        ("part", json!("<b>"), 404),
        ("part", json!("floor"), 422),
        ("from", json!(2), 422),
        ("from", json!(-1), 422),
        ("to", json!(0), 422),
        ("percent", json!(0), 422),
        ("percent", json!(101), 422),
        ("at", json!(1e300), 422),
        ("at", json!(-2), 422),
        ("at", Value::Null, 422),
        ("at", json!(8.5), 422),
    ] {
        let mut body = asked(&good);
        body[key] = value.clone();
        let a = b.post("/takes/written", &body);
        assert_eq!(a.status, status, "{key} {value}: {}", a.text());
    }
    assert_eq!((b.file().as_str(), b.get("/state").status), (LESSON, 200));
    // A bench without the program around it says so.
    let alone = Bench::open();
    let file = hand_in(&alone, "take.wav", &tone(9.0, 0.5));
    assert_eq!(alone.post("/takes/written", &asked(&file)).status, 501);
}

#[test]
fn what_is_no_bar_of_a_take_changes_nothing() {
    let b = Bench::with(Player, LESSON);
    let bar = |n: i64, line: &str| json!({ "bar": n, "line": line });
    for (grips, bars) in [
        (json!([]), json!([])),
        (json!([]), json!([bar(3, "a . . .")])),
        (json!([]), json!([bar(-1, "a . . .")])),
        (json!([]), json!([bar(1, "a . .")])),
        (json!([]), json!([bar(1, "a . . .\" } } }")])),
        (json!([]), json!([bar(1, "a . . .\nnote \"x\"")])),
        (json!([]), json!([bar(1, &"a ".repeat(3000))])),
        (json!([]), json!(vec![bar(1, "a . . ."); 600])),
        (json!([["a", "x x 5 5 5 x"]]), json!([bar(1, "a . . .")])),
        (json!([["b", "x\" } x"]]), json!([bar(1, "b . . .")])),
        (json!([["x", "x x 5 5 5 x"]]), json!([bar(1, "x . . .")])),
        (json!([["bb", "x x 5 5 5 x"]]), json!([bar(1, "b . . .")])),
    ] {
        let a = b.post("/takes/accept", &json!({ "passage": "verse", "part": "chop", "grips": grips, "bars": bars }));
        assert_eq!(a.status, 422, "{grips} {bars}: {}", a.text());
    }
    for (passage, part) in [("none", "chop"), ("verse", "none")] {
        assert_eq!(b.post("/takes/accept", &json!({ "passage": passage, "part": part, "grips": [], "bars": [bar(1, "a . . .")] })).status, 422);
    }
    // Nobody without the cookie, and no other page.
    for path in ["/takes", "/takes/written", "/takes/accept"] {
        let own = format!("Host: {h}\r\nOrigin: http://{h}\r\n", h = b.host);
        let rest = "Content-Type: application/json\r\nContent-Length: 2\r\n\r\n{}";
        assert_eq!(b.ask(&format!("POST {path} HTTP/1.1\r\n{own}{rest}")).status, 403, "{path} without a cookie");
        assert_eq!(b.ask(&format!("POST {path} HTTP/1.1\r\nHost: {}\r\nOrigin: http://example.org\r\nCookie: {}\r\n{rest}", b.host, b.cookie)).status, 403, "{path} from elsewhere");
        assert_eq!(b.get(path).status, 405);
        // Only takes may be large.
        if path != "/takes" {
            let huge = format!("POST {path} HTTP/1.1\r\n{own}Cookie: {}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n", b.cookie, 100 << 20);
            assert_eq!(b.ask(&huge).status, 413);
        }
    }
    assert_eq!((b.file().as_str(), b.get("/state").status), (LESSON, 200));
}
