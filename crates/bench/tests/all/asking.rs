//! A bench on a fresh folder, and requests written out byte by byte.

use serde_json::Value;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

pub const LESSON: &str = "lesson \"One <b>two</b>\" { // mine\n  passage \"verse\" title=\"<script>alert(1)</script>\" {\n    tempo 120\n    slots 4\n    key \"C minor\"\n    part \"chop\" instrument=\"guitar\" {\n      grip \"a\" \"x x 8 8 8 x\"\n      bar \"a . x a\"\n      bar \"a - - -\"\n    }\n    part \"floor\" instrument=\"bass\" { bar \"3:3 - . 3:3\" times=2 }\n  }\n}\n";

pub struct Bench {
    pub dir: tempfile::TempDir,
    running: Option<bench::Running>,
    pub host: String,
    pub key: String,
    pub cookie: String,
}

pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|_| panic!("{} {}", self.status, self.text()))
    }

    pub fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().find_map(|l| l.split_once(": ").filter(|(n, _)| n.eq_ignore_ascii_case(name)).map(|(_, v)| v))
    }
}

impl Bench {
    /// A bench with its key used and a cookie.
    pub fn open() -> Bench {
        let mut b = Bench::unopened();
        b.let_in();
        b
    }

    fn let_in(&mut self) {
        let answer = self.ask(&format!("GET /?key={} HTTP/1.1\r\nHost: {}\r\n\r\n", self.key, self.host));
        assert_eq!(answer.status, 303);
        self.cookie = answer.header("set-cookie").unwrap().split(';').next().unwrap().to_string();
    }

    pub fn unopened() -> Bench {
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join("lesson.kdl"), LESSON).unwrap();
        Bench::on(dir)
    }

    pub fn on(dir: tempfile::TempDir) -> Bench {
        Bench::around(dir, Arc::new(bench::services::Alone))
    }

    /// A bench with a program around it, its key used.
    pub fn with(services: impl bench::services::Services, lesson: &str) -> Bench {
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join("lesson.kdl"), lesson).unwrap();
        let mut b = Bench::around(dir, Arc::new(services));
        b.let_in();
        b
    }

    fn around(dir: tempfile::TempDir, services: Arc<dyn bench::services::Services>) -> Bench {
        let running = bench::start(bench::Options { lesson: Some(dir.path().into()), ..bench::Options::default() }, services).unwrap();
        let address = running.address().strip_prefix("http://").unwrap().to_string();
        let (host, key) = address.split_once("/?key=").unwrap();
        Bench { dir, host: host.into(), key: key.into(), cookie: String::new(), running: Some(running) }
    }

    /// Sends bytes and reads one answer.
    pub fn ask_bytes(&self, request: &[u8]) -> Answer {
        let mut s = TcpStream::connect(&self.host).unwrap();
        s.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        // The server may answer and close before it has read all.
        let _ = s.write_all(request);
        read_answer(&mut s)
    }

    pub fn ask(&self, request: &str) -> Answer {
        self.ask_bytes(request.as_bytes())
    }

    pub fn get(&self, path: &str) -> Answer {
        self.ask(&format!("GET {path} HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\n\r\n", self.host, self.cookie))
    }

    pub fn post(&self, path: &str, body: &Value) -> Answer {
        self.post_as(path, "application/json", body.to_string().as_bytes())
    }

    pub fn post_as(&self, path: &str, kind: &str, body: &[u8]) -> Answer {
        let head = format!("POST {path} HTTP/1.1\r\nHost: {h}\r\nOrigin: http://{h}\r\nCookie: {}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\n\r\n", self.cookie, body.len(), h = self.host);
        self.ask_bytes(&[head.as_bytes(), body].concat())
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    pub fn file(&self) -> String {
        std::fs::read_to_string(self.path("lesson.kdl")).unwrap()
    }

    pub fn state(&self) -> Value {
        self.get("/state").json()
    }

    /// Waits until something is so; fails after five seconds.
    pub fn until(&self, what: &str, so: impl Fn(&Bench) -> bool) {
        for _ in 0..250 {
            if so(self) {
                return;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        panic!("not within five seconds: {what}");
    }

    /// Stops the bench and keeps its folder.
    pub fn close(mut self) -> tempfile::TempDir {
        drop(self.running.take());
        let Bench { dir, .. } = self;
        dir
    }
}

fn read_answer(s: &mut TcpStream) -> Answer {
    let mut got = Vec::new();
    let mut piece = [0u8; 65536];
    let mut need: Option<usize> = None;
    loop {
        if let Some(end) = got.windows(4).position(|w| w == b"\r\n\r\n").filter(|_| need.is_none()) {
            let head = String::from_utf8_lossy(&got[..end]).to_lowercase();
            let length: usize = head.lines().find_map(|l| l.strip_prefix("content-length: ").map(|n| n.trim().parse().unwrap())).unwrap_or(0);
            need = Some(end + 4 + length);
        }
        if need.is_some_and(|n| got.len() >= n) {
            break;
        }
        match s.read(&mut piece) {
            Ok(0) | Err(_) => break,
            Ok(n) => got.extend_from_slice(&piece[..n]),
        }
    }
    let end = got.windows(4).position(|w| w == b"\r\n\r\n").unwrap_or(got.len());
    let head = String::from_utf8_lossy(&got[..end]).into_owned();
    let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
    Answer { status, head, body: got.get(end + 4..).unwrap_or_default().to_vec() }
}
