//! Every file and command of the manual, in the order of its pages, by the program itself.
//!
//! A block `kdl PATH` or `text PATH` is a file that the reader writes; `sh` holds commands, each of which has to succeed, or to end as `# exit N` behind it
//! says; each line of a block `says` stands in what the command before it printed. A page begins in an empty folder with the demo lessons beside it.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

const PAGES: [&str; 6] = ["first-lesson.md", "hearing.md", "checking.md", "playing-in.md", "publishing.md", "shelf.md"];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap().map(Result::unwrap) {
        let (from, to) = (entry.path(), to.join(entry.file_name()));
        if from.is_dir() {
            // Only what is kept in the repository.
            if !["pack", "practice", "film", ".partwright"].iter().any(|n| entry.file_name() == *n) {
                copy(&from, &to);
            }
        } else {
            std::fs::copy(&from, &to).unwrap();
        }
    }
}

/// Fenced blocks of a page: line, info string, text.
fn blocks(page: &str) -> Vec<(usize, String, String)> {
    let mut out: Vec<(usize, String, String)> = Vec::new();
    let mut open = false;
    for (i, line) in page.lines().enumerate() {
        match line.strip_prefix("```") {
            Some(info) if !open => {
                out.push((i + 1, info.trim().into(), String::new()));
                open = true;
            }
            Some(_) => open = false,
            None if open => {
                let text = &mut out.last_mut().unwrap().2;
                text.push_str(line);
                text.push('\n');
            }
            None => {}
        }
    }
    assert!(!open, "a block is not closed");
    out
}

fn page(name: &str) {
    let text = std::fs::read_to_string(root().join("docs").join(name)).unwrap();
    let place = tempfile::tempdir().unwrap();
    copy(&root().join("demo"), &place.path().join("demo"));
    let program = Path::new(env!("CARGO_BIN_EXE_partwright"));
    let path = std::env::join_paths(std::iter::once(program.parent().unwrap().to_path_buf()).chain(std::env::split_paths(&std::env::var_os("PATH").unwrap_or_default()))).unwrap();
    let mut said = String::new();
    let mut commands = 0;
    for (line, info, body) in blocks(&text) {
        let at = format!("docs/{name}:{line}");
        match info.split_once(' ').unwrap_or((&info, "")) {
            ("sh", "") => {
                for command in body.lines().filter(|l| !l.trim().is_empty()) {
                    let want: i32 = command.rsplit_once("# exit ").map_or(0, |(_, n)| n.trim().parse().unwrap());
                    let mut shell = Command::new("sh");
                    shell.arg("-c").arg(command).current_dir(place.path()).env("PATH", &path).stdin(Stdio::null());
                    let out = shell.output().unwrap();
                    said = format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
                    assert_eq!(out.status.code(), Some(want), "{at}: {command}\n{said}");
                    commands += 1;
                }
            }
            ("says", "") => {
                for line in body.lines().map(str::trim).filter(|l| !l.is_empty()) {
                    assert!(said.contains(line), "{at}: not said: {line}\n{said}");
                }
            }
            ("kdl" | "text", file) if !file.is_empty() => {
                let file = place.path().join(file);
                std::fs::create_dir_all(file.parent().unwrap()).unwrap();
                std::fs::write(file, body).unwrap();
            }
            (kind, _) => assert!(["kdl", "text", ""].contains(&kind), "{at}: a block of the kind {kind}"),
        }
    }
    assert!(commands > 0, "{name} runs nothing");
}

macro_rules! pages {
    ($($test:ident $name:literal),*) => {
        $(#[test]
        fn $test() {
            page($name);
        })*

        /// What the contents name is there, and tried here or elsewhere.
        #[test]
        fn contents() {
            let all = std::fs::read_to_string(root().join("docs/README.md")).unwrap();
            let tried = [$($name),*];
            assert_eq!(tried, PAGES);
            for name in PAGES {
                assert!(all.contains(&format!("({name})")), "docs/README.md does not lead to {name}");
            }
            let links = all.match_indices("](").map(|(i, _)| all[i + 2..].split(')').next().unwrap());
            for link in links {
                assert!(root().join("docs").join(link).is_file(), "docs/README.md leads to {link}, which is not there");
            }
        }
    };
}

pages!(first_lesson "first-lesson.md", hearing "hearing.md", checking "checking.md", playing_in "playing-in.md", publishing "publishing.md", shelf "shelf.md");
