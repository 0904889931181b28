//! Attacks: each must get a refusal, and leave the folder as it was.

use crate::asking::{Bench, LESSON};
use serde_json::json;
use std::io::{Read, Write};
use std::net::TcpStream;

#[test]
fn only_the_loopback_listens() {
    let b = Bench::unopened();
    assert!(b.host.starts_with("127.0.0.1:"));
    // Another address of this very machine must not answer.
    let port: u16 = b.host.split(':').nth(1).unwrap().parse().unwrap();
    let own = std::net::UdpSocket::bind("0.0.0.0:0").and_then(|s| s.connect("192.0.2.1:9").and_then(|()| s.local_addr()));
    if let Ok(own) = own.map(|a| a.ip()).map_err(|_| ()).and_then(|ip| if ip.is_loopback() { Err(()) } else { Ok(ip) }) {
        assert!(TcpStream::connect_timeout(&(own, port).into(), std::time::Duration::from_secs(1)).is_err());
    }
}

#[test]
fn the_key_works_once_and_the_cookie_is_guarded() {
    let mut b = Bench::unopened();
    for path in ["/", "/state", "/events", "/bench/bench.js", "/bench/recorder.js", "/takes/written", "/hand?passage=verse&part=chop&bar=1&slot=1", "/nothing"] {
        assert_eq!(b.get(path).status, 403, "{path} without a cookie");
    }
    let ask = |b: &Bench, key: &str| b.ask(&format!("GET /?key={key} HTTP/1.1\r\nHost: {}\r\n\r\n", b.host));
    assert_eq!(ask(&b, &"0".repeat(32)).status, 403);
    assert_eq!(ask(&b, "").status, 403);
    assert_eq!(b.ask(&format!("GET /state?key={} HTTP/1.1\r\nHost: {}\r\n\r\n", b.key, b.host)).status, 403, "the key opens the first page alone");
    let first = ask(&b, &b.key);
    assert_eq!((first.status, first.header("location")), (303, Some("/")));
    let cookie = first.header("set-cookie").unwrap().to_string();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict") && cookie.contains("Path=/"), "{cookie}");
    let again = ask(&b, &b.key);
    assert_eq!(again.status, 403);
    assert!(again.text().contains("used already"));
    b.cookie = cookie.split(';').next().unwrap().into();
    assert_eq!(b.get("/").status, 200);
    let good = b.cookie.clone();
    let changed: String = good.chars().rev().enumerate().map(|(i, c)| if i == 0 { if c == '0' { '1' } else { '0' } } else { c }).collect::<Vec<_>>().into_iter().rev().collect();
    for cookie in [changed, good[..good.len() - 1].to_string(), format!("{good}0"), format!("x{good}"), good.to_uppercase(), String::new()] {
        b.cookie = cookie;
        assert_eq!(b.get("/").status, 403, "{}", b.cookie);
    }
}

#[test]
fn every_answer_carries_the_safety_headers() {
    let b = Bench::open();
    for (path, status) in [("/", 200), ("/state", 200), ("/bench/bench.css", 200), ("/nothing", 404)] {
        let a = b.get(path);
        assert_eq!(a.status, status, "{path}");
        let policy = a.header("content-security-policy").unwrap();
        assert!(policy.contains("default-src 'none'") && policy.contains("script-src 'self';") && !policy.contains("unsafe"), "{policy}");
        assert!(policy.contains("frame-ancestors 'none'"), "{policy}");
        assert_eq!(a.header("referrer-policy"), Some("no-referrer"));
        assert_eq!(a.header("x-content-type-options"), Some("nosniff"));
        assert_eq!(a.header("cache-control"), Some("no-store"));
    }
    let refused = b.ask(&format!("GET / HTTP/1.1\r\nHost: {}\r\n\r\n", b.host));
    assert_eq!((refused.status, refused.header("referrer-policy")), (403, Some("no-referrer")));
}

#[test]
fn foreign_hosts_and_origins_get_nothing() {
    let b = Bench::open();
    let port = b.host.split(':').nth(1).unwrap();
    let with = |host: &str, more: &str| b.ask(&format!("GET /state HTTP/1.1\r\n{host}Cookie: {}\r\n{more}\r\n", b.cookie)).status;
    let own = format!("Host: {}\r\n", b.host);
    assert_eq!(with(&own, ""), 200);
    for host in [format!("evil.example:{port}"), format!("localhost:{port}"), "127.0.0.1".into(), format!("127.0.0.1:{port}.evil.example"), format!("{}@evil.example", b.host), String::new()] {
        assert_eq!(with(&format!("Host: {host}\r\n"), ""), 403, "{host}");
    }
    assert!([400, 403].contains(&with("", "")), "no host at all");
    assert!([400, 403].contains(&with(&format!("{own}Host: evil.example\r\n"), "")), "two hosts");
    for origin in ["http://evil.example", "null", "https://127.0.0.1", &format!("http://localhost:{port}"), &format!("https://{}", b.host)] {
        assert_eq!(with(&own, &format!("Origin: {origin}\r\n")), 403, "{origin}");
    }
    for site in ["cross-site", "same-site"] {
        assert_eq!(with(&own, &format!("Sec-Fetch-Site: {site}\r\n")), 403, "{site}");
    }
    assert_eq!(with(&own, "Sec-Fetch-Site: same-origin\r\n"), 200);
    // The whole address in the first line, as proxies write it.
    assert_eq!(b.ask(&format!("GET http://evil.example/state HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\n\r\n", b.host, b.cookie)).status, 403);

    // What changes anything must say our origin.
    let version = b.state()["version"].clone();
    let body = json!({ "version": version, "start": 0, "end": 0, "with": "// evil\n" }).to_string();
    let post = |origin: &str| b.ask(&format!("POST /text HTTP/1.1\r\nHost: {}\r\n{origin}Cookie: {}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}", b.host, b.cookie, body.len())).status;
    for origin in ["", "Origin: null\r\n", "Origin: http://evil.example\r\n"] {
        assert_eq!(post(origin), 403, "{origin}");
    }
    // A form of another page cannot send this type; nor is it taken under a type that a form can send.
    for kind in ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"] {
        assert_eq!(b.post_as("/text", kind, body.as_bytes()).status, 415, "{kind}");
    }
    assert_eq!(b.file(), LESSON);
    assert_eq!(b.state()["version"], version);
}

#[test]
fn no_path_leads_outside_the_folder() {
    let b = Bench::open();
    std::fs::create_dir_all(b.path("pack/audio")).unwrap();
    std::fs::write(b.path("pack/index.html"), "<p>pack</p>").unwrap();
    let outside = b.dir.path().parent().unwrap().join(format!("outside-{}", std::process::id()));
    std::fs::write(&outside, "secret").unwrap();
    std::fs::write(b.path("pack/.hidden"), "secret").unwrap();
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(&outside, b.path("pack/link.html")).unwrap();
        std::os::unix::fs::symlink("/", b.path("pack/root")).unwrap();
    }
    let page = b.get("/").text();
    let key = page.split("data-pack=\"").nth(1).unwrap().split('"').next().unwrap().to_string();
    let good = b.ask(&format!("GET /pack/{key}/index.html HTTP/1.1\r\nHost: {}\r\n\r\n", b.host));
    assert_eq!((good.status, good.text().as_str()), (200, "<p>pack</p>"), "the pack needs its key and no cookie");
    assert!(good.header("content-security-policy").unwrap().starts_with("sandbox"));
    assert!(!good.header("content-security-policy").unwrap().contains("allow-same-origin"));
    let out = outside.file_name().unwrap().to_str().unwrap();
    for path in [
        "../lesson.kdl", "..%2flesson.kdl", "%2e%2e/lesson.kdl", "..%5clesson.kdl", "/etc/passwd", "%2fetc%2fpasswd", "audio/../../lesson.kdl", "./index.html", "audio//index.html",
        ".hidden", "%2ehidden", "link.html", "root/etc/passwd", "audio", "index.html/", "index.html%00.txt", "%ff", "", &format!("../../{out}"), "C:%5cboot.ini",
    ] {
        let a = b.ask(&format!("GET /pack/{key}/{path} HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\n\r\n", b.host, b.cookie));
        assert!([400, 403, 404].contains(&a.status), "{path}: {}", a.status);
        assert!(!a.text().contains("secret") && !a.text().contains("root:") && !a.text().contains("lesson \""), "{path}");
    }
    for path in [format!("/pack/{}/index.html", "0".repeat(32)), "/pack//index.html".into(), format!("/pack/{key}x/index.html"), "/bench/..%2f..%2fCargo.toml".into(), "/bench/../state".into()] {
        assert!([403, 404].contains(&b.get(&path).status), "{path}");
    }
    let posted = b.ask(&format!("POST /pack/{key}/index.html HTTP/1.1\r\nHost: {h}\r\nOrigin: http://{h}\r\nCookie: {}\r\nContent-Length: 0\r\n\r\n", b.cookie, h = b.host));
    assert_eq!(posted.status, 403);
    std::fs::remove_file(outside).unwrap();
}

fn form(name: &str, bytes: &[u8]) -> Vec<u8> {
    [format!("--cut\r\nContent-Disposition: form-data; name=\"take\"; filename=\"{name}\"\r\nContent-Type: audio/wav\r\n\r\n").as_bytes(), bytes, b"\r\n--cut--\r\n"].concat()
}

const FORM: &str = "multipart/form-data; boundary=cut";

#[test]
fn takes_land_in_their_folder_and_nowhere_else() {
    let b = Bench::open();
    let a = b.post_as("/takes", FORM, &form("../../../Chop take.wav", b"RIFF"));
    assert_eq!((a.status, a.json()["takes"][0].as_str()), (200, Some("takes/Chop-take.wav")));
    assert_eq!(std::fs::read(b.path("takes/Chop-take.wav")).unwrap(), b"RIFF");
    // Never over one that is there.
    let a = b.post_as("/takes", FORM, &form("Chop take.wav", b"other"));
    assert_eq!(a.json()["takes"][0], "takes/Chop-take-2.wav");
    assert_eq!(std::fs::read(b.path("takes/Chop-take.wav")).unwrap(), b"RIFF");
    for name in ["lesson.kdl", "x.html", ".wav", "a.svg", "pack"] {
        assert_eq!(b.post_as("/takes", FORM, &form(name, b"x")).status, 422, "{name}");
    }
    assert_eq!(std::fs::read_dir(b.path("takes")).unwrap().count(), 2);
    assert_eq!(b.file(), LESSON);
    #[cfg(unix)]
    {
        std::fs::remove_dir_all(b.path("takes")).unwrap();
        let other = tempfile::tempdir().unwrap();
        std::os::unix::fs::symlink(other.path(), b.path("takes")).unwrap();
        assert_eq!(b.post_as("/takes", FORM, &form("a.wav", b"x")).status, 500);
        assert_eq!(std::fs::read_dir(other.path()).unwrap().count(), 0);
    }
}

#[test]
fn broken_forms_are_refused_and_leave_nothing() {
    let b = Bench::open();
    let whole = form("a.wav", &[7; 5000]);
    let cases: Vec<(&str, Vec<u8>)> = vec![
        ("multipart/form-data", whole.clone()),
        ("multipart/form-data; boundary=other", whole.clone()),
        ("application/json", whole.clone()),
        (FORM, vec![]),
        (FORM, b"--cut".to_vec()),
        (FORM, b"--cut\r\n\r\n\r\n".to_vec()),
        (FORM, whole[..whole.len() - 12].to_vec()),
        (FORM, whole[..60].to_vec()),
        (FORM, vec![0xff; 4000]),
        (FORM, b"--cut\r\nContent-Disposition: form-data; name=\"take\"\r\n\r\nno file name\r\n--cut--\r\n".to_vec()),
        (FORM, b"--cut--\r\n".to_vec()),
    ];
    for (i, (kind, body)) in cases.into_iter().enumerate() {
        let status = b.post_as("/takes", kind, &body).status;
        assert!((400..500).contains(&status), "case {i}: {status}");
    }
    assert!(std::fs::read_dir(b.path("takes")).map_or(0, Iterator::count) == 0);
    assert_eq!(b.get("/state").status, 200);
}

#[test]
fn huge_requests_are_cut_off() {
    let b = Bench::open();
    let head = |path: &str, kind: &str, length: u64| format!("POST {path} HTTP/1.1\r\nHost: {h}\r\nOrigin: http://{h}\r\nCookie: {}\r\nContent-Type: {kind}\r\nContent-Length: {length}\r\n\r\n", b.cookie, h = b.host);
    let huge = vec![b' '; 3 * lesson::BYTES_MAX + 10_000];
    // Cut off while it is still sending, a client may see the closed line before the answer.
    let cut = b.ask_bytes(&[head("/text", "application/json", huge.len() as u64).as_bytes(), &huge].concat()).status;
    assert!(cut == 413 || cut == 0, "{cut}");
    // A length that is only claimed is refused before the bytes come.
    assert_eq!(b.ask(&head("/text", "application/json", u64::MAX / 2)).status, 413);
    // A take without an honest length: in pieces, more than may be. It is cut off, and what was written goes.
    let mut s = TcpStream::connect(&b.host).unwrap();
    s.set_write_timeout(Some(std::time::Duration::from_secs(20))).unwrap();
    s.set_read_timeout(Some(std::time::Duration::from_secs(20))).unwrap();
    write!(s, "POST /takes HTTP/1.1\r\nHost: {h}\r\nOrigin: http://{h}\r\nCookie: {}\r\nContent-Type: {FORM}\r\nTransfer-Encoding: chunked\r\n\r\n", b.cookie, h = b.host).unwrap();
    let start = form("a.wav", b"");
    let start = &start[..start.len() - 11];
    let piece = vec![1u8; 1 << 20];
    let mut sent = 0;
    let mut send = |bytes: &[u8]| -> bool {
        sent += bytes.len();
        write!(s, "{:x}\r\n", bytes.len()).and_then(|()| s.write_all(bytes)).and_then(|()| s.write_all(b"\r\n")).is_ok()
    };
    let mut going = send(start);
    for _ in 0..260 {
        going = going && send(&piece);
    }
    let mut answer = String::new();
    let _ = s.read_to_string(&mut answer);
    assert!(!going || answer.starts_with("HTTP/1.1 413"), "{}", answer.lines().next().unwrap_or("nothing"));
    b.until("the half take to go", |b| std::fs::read_dir(b.path("takes")).map_or(0, Iterator::count) == 0);
    assert_eq!(b.get("/state").status, 200);
}

#[test]
fn markup_in_titles_parts_and_problems_stays_text() {
    let b = Bench::open();
    let page = b.get("/").text();
    assert!(page.contains("One &lt;b&gt;two&lt;/b&gt;") && !page.contains("<b>two"));
    let version = b.state()["version"].clone();
    let at = LESSON.find("chop").unwrap();
    let evil = "<img src=x onerror=alert(1)>";
    assert_eq!(b.post("/text", &json!({ "version": version, "start": at, "end": at + 4, "with": evil })).status, 200);
    let state = b.state();
    let markup: String = state["passages"].as_array().unwrap().iter().flat_map(|p| p["pieces"].as_array().unwrap()).map(|p| p[1].as_str().unwrap().to_string()).collect();
    assert!(markup.contains("&lt;img src=x onerror=alert(1)&gt;") && markup.contains("&lt;script&gt;"));
    for tag in ["<img", "<script", "onerror=\"", "<b>two"] {
        assert!(!markup.contains(tag), "{tag}");
    }
    let hand = b.ask(&format!("GET /hand?passage=verse&part={}&bar=1&slot=1 HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\n\r\n", "%3Cimg%20src%3Dx%20onerror%3Dalert(1)%3E", b.host, b.cookie)).json();
    assert!(hand["html"].as_str().unwrap().contains("&lt;img") && !hand["html"].as_str().unwrap().contains("<img"));
}

#[test]
fn a_second_bench_on_the_same_lesson_says_so() {
    let b = Bench::open();
    let second = bench::start(bench::Options { lesson: Some(b.dir.path().into()), ..bench::Options::default() }, std::sync::Arc::new(bench::services::Alone));
    let why = second.err().expect("refused").to_string();
    assert!(why.contains("another bench") && why.contains(&std::process::id().to_string()), "{why}");
    let dir = b.close();
    drop(Bench::on(dir));
}

#[test]
fn requests_that_make_no_sense_get_an_answer() {
    let b = Bench::open();
    for (path, body) in [
        ("/text", json!({})),
        ("/text", json!({ "version": 1, "start": 5, "end": 2, "with": "" })),
        ("/text", json!({ "version": 1, "start": 0, "end": 99_999_999u64, "with": "" })),
        ("/text", json!({ "version": -1, "start": 0, "end": 0, "with": "" })),
        ("/act", json!({ "do": "nothing" })),
        ("/act", json!({ "do": "token", "at": { "passage": "none", "part": "chop", "bar": 1, "slot": 1 }, "with": "a" })),
        ("/act", json!({ "do": "shift", "at": { "passage": "verse", "part": "chop", "bar": 1, "slot": 1 }, "by": i32::MAX })),
        ("/act", json!({ "do": "move", "at": { "passage": "verse", "part": "chop", "bar": 1, "slot": 4_000_000_000u32 }, "frets": "x" })),
        ("/act", json!({ "do": "pin", "at": { "passage": "verse", "part": "chop", "bar": 1, "slot": 0 }, "name": "\"><script>" })),
        ("/conflict", json!({ "keep": "both" })),
        ("/choose", json!({ "folder": "../../etc" })),
    ] {
        let status = b.post(path, &body).status;
        assert!((400..500).contains(&status), "{path} {body}: {status}");
    }
    for path in ["/hand?passage=&part=&bar=x&slot=1", "/hand?passage=verse&part=chop&bar=1&slot=4294967295", "/sound?passage=verse&percent=1", "/sound?passage=none&percent=100"] {
        let status = b.get(path).status;
        assert!(status < 500 && status > 0, "{path}: {status}");
    }
    assert_eq!(b.file(), LESSON);
}

#[test]
fn odd_methods_are_refused() {
    let b = Bench::open();
    let own = format!("Host: {h}\r\nOrigin: http://{h}\r\nCookie: {}\r\n", b.cookie, h = b.host);
    for method in ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "PROPFIND"] {
        for path in ["/", "/text", "/state", "/takes"] {
            let a = b.ask(&format!("{method} {path} HTTP/1.1\r\n{own}Content-Length: 0\r\n\r\n"));
            assert!((400..500).contains(&a.status), "{method} {path}: {}", a.status);
            // No other page is ever told that it may read an answer.
            assert_eq!(a.header("access-control-allow-origin"), None);
        }
    }
    assert_eq!((b.file().as_str(), b.get("/state").status), (LESSON, 200));
}

/// All that comes back on one line, until the server closes it or says nothing more for a while.
fn all_answers(b: &Bench, request: &str) -> String {
    let mut s = TcpStream::connect(&b.host).unwrap();
    s.set_read_timeout(Some(std::time::Duration::from_millis(700))).unwrap();
    s.write_all(request.as_bytes()).unwrap();
    let mut got = Vec::new();
    let mut piece = [0u8; 4096];
    while let Ok(n) = s.read(&mut piece) {
        if n == 0 {
            break;
        }
        got.extend_from_slice(&piece[..n]);
    }
    String::from_utf8_lossy(&got).into_owned()
}

#[test]
fn requests_hidden_in_others_get_nothing() {
    let b = Bench::open();
    let own = format!("Host: {h}\r\nOrigin: http://{h}\r\nCookie: {}\r\nContent-Type: application/json\r\n", b.cookie, h = b.host);
    // What another page could hide: it has no cookie to give. Its answer would hold the lesson.
    let hidden = format!("GET /state HTTP/1.1\r\nHost: {}\r\n\r\n", b.host);
    for lengths in ["Content-Length: 2\r\nContent-Length: 3\r\n", "Content-Length: 2, 3\r\n", "Content-Length: +2\r\n", "Transfer-Encoding: chunked\r\nContent-Length: 2\r\n", "Transfer-Encoding: xchunked\r\n", "Content-Length: 2\r\n"] {
        let body = if lengths.starts_with("Transfer-Encoding: chunked") { "2\r\n{}\r\n0\r\n\r\n" } else { "{}" };
        let said = all_answers(&b, &format!("POST /undo HTTP/1.1\r\n{own}{lengths}\r\n{body}{hidden}"));
        assert!(said.starts_with("HTTP/1.1 4"), "{lengths:?}: {said}");
        assert!(!said.contains("chop") && !said.contains("HTTP/1.1 200"), "{lengths:?}: {said}");
        if lengths == "Content-Length: 2\r\n" {
            assert!(said.contains("HTTP/1.1 403"), "the second is a request like any other: {said}");
        }
    }
    assert_eq!((b.file().as_str(), b.get("/state").status), (LESSON, 200));
}

#[test]
fn json_beyond_reason_is_refused() {
    let b = Bench::open();
    let deep = |open: &str, close: &str| format!("{}1{}", open.repeat(50_000), close.repeat(50_000));
    let long = format!("{{\"version\":{},\"start\":0,\"end\":0,\"with\":\"\"}}", "9".repeat(5_000));
    for body in [deep("[", "]"), deep("{\"do\":", "}"), "[".repeat(100_000), long, "{\"version\":1,\"start\":0,\"end\":0,\"with\":\"\\ud800\"}".into(), "\u{0}".into(), "{\"version\":1e999,\"start\":0,\"end\":0,\"with\":\"\"}".into()] {
        for path in ["/text", "/act", "/taps", "/conflict", "/check/settle"] {
            let status = b.post_as(path, "application/json", body.as_bytes()).status;
            assert!((400..500).contains(&status), "{path} {}: {status}", &body[..body.len().min(40)]);
        }
    }
    assert_eq!((b.file().as_str(), b.get("/state").status), (LESSON, 200));
}

#[test]
fn idle_lines_do_not_keep_the_page_out() {
    let b = Bench::open();
    let half = format!("GET /state HTTP/1.1\r\nHost: {}\r\nCookie: ", b.host);
    let idle: Vec<TcpStream> = (0..300)
        .map(|i| {
            let mut s = TcpStream::connect(&b.host).unwrap();
            if i % 2 == 0 {
                s.write_all(half.as_bytes()).unwrap();
            }
            s
        })
        .collect();
    assert_eq!(b.get("/state").status, 200);
    drop(idle);
    // A request line and heads without end are cut off.
    for request in [format!("GET /{} HTTP/1.1\r\n", "a".repeat(1 << 20)), format!("GET / HTTP/1.1\r\n{}", "X-A: b\r\n".repeat(100_000))] {
        let status = b.ask(&request).status;
        assert!(status == 0 || (400..500).contains(&status), "{status}");
    }
    assert_eq!(b.get("/state").status, 200);
}

/// A lesson's folder may come from somebody else, with links where the bench keeps its own files.
#[cfg(unix)]
#[test]
fn nothing_is_written_behind_a_link() {
    for name in [".partwright", ".partwright/bench", ".partwright/bench/lock", ".partwright/bench/steps", "takes"] {
        let (dir, mine) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        std::fs::write(dir.path().join("lesson.kdl"), LESSON).unwrap();
        std::fs::write(mine.path().join("words"), "mine").unwrap();
        std::fs::create_dir_all(dir.path().join(name).parent().unwrap()).unwrap();
        let folder = !name.ends_with("lock") && !name.ends_with("steps");
        std::os::unix::fs::symlink(if folder { mine.path().to_path_buf() } else { mine.path().join("words") }, dir.path().join(name)).unwrap();
        match bench::start(bench::Options { lesson: Some(dir.path().into()), ..bench::Options::default() }, std::sync::Arc::new(bench::services::Alone)) {
            Err(e) => assert!(e.to_string().contains("a link"), "{name}: {e}"),
            Ok(running) => {
                drop(running);
                let mut b = Bench::on(dir);
                let first = b.ask(&format!("GET /?key={} HTTP/1.1\r\nHost: {}\r\n\r\n", b.key, b.host));
                b.cookie = first.header("set-cookie").unwrap().split(';').next().unwrap().into();
                let at = LESSON.find("120").unwrap();
                assert_eq!(b.post("/text", &json!({ "version": b.state()["version"], "start": at, "end": at + 3, "with": "90" })).status, 200);
                b.until("it to be saved", |b| b.file().contains("tempo 90"));
                let taken = b.post_as("/takes", FORM, &form("a.wav", b"x")).status;
                assert_eq!(taken, if name == "takes" { 500 } else { 200 }, "{name}");
                drop(b.close());
            }
        }
        assert_eq!(std::fs::read_to_string(mine.path().join("words")).unwrap(), "mine", "{name}");
        assert_eq!(std::fs::read_dir(mine.path()).unwrap().count(), 1, "{name}");
    }
}
