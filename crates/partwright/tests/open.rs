//! `open` as a user calls it: an address on this machine, answered to whoever has the key.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};

struct Bench(Child);

impl Drop for Bench {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn get(address: &str, path: &str) -> String {
    let host = address.trim_start_matches("http://").split('/').next().unwrap();
    let mut s = TcpStream::connect(host).unwrap();
    write!(s, "GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n").unwrap();
    let mut out = String::new();
    s.read_to_string(&mut out).unwrap();
    out
}

#[test]
fn the_address_works_with_its_key_alone() {
    let dir = tempfile::tempdir().unwrap();
    let lesson = dir.path().join("first");
    let program = env!("CARGO_BIN_EXE_partwright");
    assert!(Command::new(program).args(["new", lesson.to_str().unwrap()]).status().unwrap().success());
    let mut bench = Bench(Command::new(program).args(["open", lesson.to_str().unwrap(), "--json"]).stdout(Stdio::piped()).spawn().unwrap());
    let mut line = String::new();
    BufReader::new(bench.0.stdout.take().unwrap()).read_line(&mut line).unwrap();
    let v: serde_json::Value = serde_json::from_str(&line).unwrap();
    let address = v["address"].as_str().unwrap();
    assert!(address.starts_with("http://127.0.0.1:"), "{address}");
    let path = &address[address.trim_start_matches("http://").find('/').unwrap() + "http://".len()..];
    let bare = get(address, "/");
    assert!(bare.starts_with("HTTP/1.1 40"), "{}", bare.lines().next().unwrap_or(""));
    let with_key = get(address, path);
    assert!(with_key.starts_with("HTTP/1.1 30") && with_key.to_lowercase().contains("set-cookie:"), "{}", with_key.lines().next().unwrap_or(""));
    // The same lesson twice is refused.
    let second = Command::new(program).args(["open", lesson.to_str().unwrap()]).output().unwrap();
    assert_eq!(second.status.code(), Some(3), "{}", String::from_utf8_lossy(&second.stderr));
}

#[test]
fn no_lesson_is_said() {
    let dir = tempfile::tempdir().unwrap();
    let out = Command::new(env!("CARGO_BIN_EXE_partwright")).args(["open", dir.path().to_str().unwrap()]).output().unwrap();
    assert_eq!(out.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&out.stderr).contains("no lesson.kdl"));
}
