//! No verb uses the network: each is run under a filter of the system's that ends the program at the first socket it asks for. The bench, which must listen, may not connect.

#![cfg(all(target_os = "linux", any(target_arch = "x86_64", target_arch = "aarch64")))]

use std::collections::BTreeSet;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::os::unix::process::{CommandExt, ExitStatusExt};
use std::path::Path;
use std::process::{Command, Output, Stdio};

const PROGRAM: &str = env!("CARGO_BIN_EXE_partwright");

/// From now on each of these calls ends the process (`SIGSYS`), in it and all that it starts.
fn deny(calls: &[libc::c_long]) -> std::io::Result<()> {
    let op = |code: u32, k: u32, jt: u8, jf: u8| libc::sock_filter { code: code as u16, jt, jf, k };
    // The call's number is the first word that the filter is given; other instruction sets' numbers cannot be asked for by this program's own code.
    let mut program = vec![op(libc::BPF_LD | libc::BPF_W | libc::BPF_ABS, 0, 0, 0)];
    for call in calls {
        program.push(op(libc::BPF_JMP | libc::BPF_JEQ | libc::BPF_K, *call as u32, 0, 1));
        program.push(op(libc::BPF_RET | libc::BPF_K, libc::SECCOMP_RET_KILL_PROCESS, 0, 0));
    }
    program.push(op(libc::BPF_RET | libc::BPF_K, libc::SECCOMP_RET_ALLOW, 0, 0));
    let filter = libc::sock_fprog { len: program.len() as u16, filter: program.as_mut_ptr() };
    // SAFETY: both calls only read what they are given, and `program` lives until they are done.
    let done = unsafe { libc::prctl(libc::PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0 && libc::prctl(libc::PR_SET_SECCOMP, libc::SECCOMP_MODE_FILTER, &raw const filter, 0, 0) == 0 };
    if done { Ok(()) } else { Err(std::io::Error::last_os_error()) }
}

/// All that could send or receive over a network begins with one of these.
const SOCKETS: &[libc::c_long] = &[libc::SYS_socket, libc::SYS_socketpair, libc::SYS_connect, libc::SYS_io_uring_setup];
/// What a server does not need.
const CALLING_OUT: &[libc::c_long] = &[libc::SYS_connect, libc::SYS_sendmsg, libc::SYS_sendmmsg, libc::SYS_io_uring_setup];

fn under(program: &str, denied: &'static [libc::c_long]) -> Command {
    let mut c = Command::new(program);
    // SAFETY: between fork and exec it makes two system calls and allocates a short list; the child has one thread, and the allocator is usable in it with this C library.
    unsafe { c.pre_exec(|| deny(denied)) };
    c
}

fn run(dir: &Path, args: &[&str]) -> Output {
    let out = under(PROGRAM, SOCKETS).args(args).current_dir(dir).stdin(Stdio::null()).output().expect("the program runs");
    assert_eq!(out.status.signal(), None, "{args:?} asked for a socket");
    out
}

const LESSON: &str = "lesson \"Quiet\" { passage \"p\" { tempo 120; slots 4; record \"record.wav\" from=\"0:00\" to=\"0:02\"\n part \"g\" instrument=\"guitar\" { bar \"5:3 . 4:2 .\" } } }";

#[test]
fn the_filter_ends_whoever_asks_for_a_socket() {
    let Ok(out) = under("python3", SOCKETS).args(["-c", "import socket; socket.socket()"]).output() else { return };
    assert_eq!(out.status.signal(), Some(libc::SIGSYS), "{out:?}");
}

#[test]
fn no_verb_asks_for_a_socket() {
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path();
    let help = String::from_utf8(run(at, &["--help"]).stdout).unwrap();
    let verbs: BTreeSet<&str> = help.split("Commands:").nth(1).unwrap().split("\n\n").next().unwrap().lines().filter(|l| l.starts_with("  ") && !l.starts_with("   ")).filter_map(|l| l.split_whitespace().next()).collect();
    std::fs::create_dir(at.join("quiet")).unwrap();
    std::fs::write(at.join("quiet/lesson.kdl"), LESSON).unwrap();
    std::fs::write(at.join("course.kdl"), "course \"Two\" { lesson \"quiet\" }").unwrap();
    // Four seconds of plucked strings, in the lesson's own tempo.
    let reading = lesson::read(LESSON);
    let played = sound::render(&reading.lesson.passages[0], &sound::Options { tempo_percent: 100, looped: false }, &sound::Takes::new(), &|_| ()).unwrap();
    let wav = wave::encode_wav16(&played.mix).unwrap();
    std::fs::write(at.join("quiet/record.wav"), &wav).unwrap();
    let asked: &[&[&str]] = &[
        &["new", "begun"],
        &["make", "quiet", "--tempos", "100", "--practice"],
        &["film", "quiet", "--svg"],
        &["chapters", "quiet", "--taps", "0:00"],
        &["name", "x x 8 8 8 x", "--shelf", "."],
        &["place", "Cm7"],
        &["hear", "quiet/record.wav"],
        &["hear", "quiet/record.wav", "--write", "slow.wav", "--speed", "50"],
        &["take", "quiet/record.wav", "--tempo", "120"],
        &["check", "quiet"],
        &["lock", "quiet"],
        &["find", "tempo", "120"],
        &["requests", "--add", "how to be quiet"],
        &["course", "course.kdl"],
        &["manpage"],
        &["completions", "bash"],
        &["help", "make"],
    ];
    let done: BTreeSet<&str> = asked.iter().map(|a| a[0]).collect();
    assert_eq!(verbs.difference(&done).collect::<Vec<_>>(), [&"open"], "every verb but the bench, which has a test of its own");
    for args in asked {
        let out = run(at, args);
        assert!(out.status.code().is_some_and(|c| c <= 1), "{args:?}: {}", String::from_utf8_lossy(&out.stderr));
    }
}

#[test]
fn the_bench_calls_nobody() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("lesson.kdl"), LESSON).unwrap();
    let mut child = under(PROGRAM, CALLING_OUT).arg("open").arg(dir.path()).arg("--json").stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut told = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut told).unwrap();
    let told: serde_json::Value = serde_json::from_str(&told).expect("an address");
    let address = told["address"].as_str().unwrap();
    let (host, key) = address.strip_prefix("http://").unwrap().split_once("/?key=").unwrap();
    let ask = |head: &str, body: &str| -> String {
        let mut s = TcpStream::connect(host).unwrap();
        s.set_read_timeout(Some(std::time::Duration::from_secs(60))).unwrap();
        write!(s, "{head} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nConnection: close\r\nContent-Type: application/json\r\nContent-Length: {}\r\n", body.len()).unwrap();
        write!(s, "Cookie: {}\r\n\r\n{body}", COOKIE.with(|c| c.borrow().clone())).unwrap();
        let mut out = Vec::new();
        let _ = s.read_to_end(&mut out);
        String::from_utf8_lossy(&out).into_owned()
    };
    thread_local!(static COOKIE: std::cell::RefCell<String> = const { std::cell::RefCell::new(String::new()) });
    let first = ask(&format!("GET /?key={key}"), "");
    let cookie = first.lines().find_map(|l| l.strip_prefix("set-cookie: ")).unwrap().split(';').next().unwrap().to_string();
    COOKIE.with(|c| *c.borrow_mut() = cookie);
    for path in ["/", "/state", "/hand?passage=p&part=g&bar=1&slot=1", "/sound?passage=p&percent=100", "/record"] {
        assert!(ask(&format!("GET {path}"), "").starts_with("HTTP/1.1 200"), "{path}");
    }
    let typed = ask("POST /act", "{\"do\":\"token\",\"at\":{\"passage\":\"p\",\"part\":\"g\",\"bar\":1,\"slot\":2},\"with\":\"5:5\"}");
    assert!(typed.starts_with("HTTP/1.1 200"), "{typed}");
    let made = ask("POST /make", "{}");
    assert!(made.starts_with("HTTP/1.1 200"), "{made}");
    assert_eq!(child.try_wait().unwrap(), None, "the bench called out");
    child.kill().unwrap();
    child.wait().unwrap();
}
