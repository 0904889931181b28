//! `open`: the bench, with what this program can do for it.

use crate::args::{Make, Open as Asked};
use crate::failure::{Failure, print, print_json};
use crate::folder;
use crate::make;
use crate::shelf;
use bench::services::{Demo, Found, Made, Played, Playing, Progress, Services, Wish, Without};
use std::path::Path;
use std::sync::Arc;
use wave::Buffer;

pub fn run(a: Asked, json: bool) -> Result<(), Failure> {
    let lesson = a.dir.map(|d| if d.is_file() { d.parent().unwrap_or(Path::new("")).to_path_buf() } else { d });
    if let Some(dir) = lesson.as_ref().filter(|d| !d.join(folder::LESSON_FILE).is_file()) {
        return Err(Failure::NotPossible(format!("{}: there is no {} in this folder (partwright new makes one; partwright open alone lets you choose)", dir.display(), folder::LESSON_FILE)));
    }
    // A lesson's shelf is the folder that it lies in, with the lessons beside it.
    let around = || lesson.as_ref().and_then(|d| d.canonicalize().ok()?.parent().map(Path::to_path_buf));
    let shelf = a.shelf.or_else(around).unwrap_or_else(|| ".".into());
    let options = bench::Options { lesson, shelf, port: a.port };
    give_memory_back();
    let running = bench::start(options, Arc::new(Program)).map_err(|e| Failure::NotPossible(e.to_string()))?;
    if json {
        print_json(&serde_json::json!({ "schema": "partwright/open/1", "address": running.address() }))?;
    } else {
        let browsed = a.browse && browse(running.address());
        let what = if browsed { "your browser opens it; the address works once" } else { "open this address in a browser on this machine; it works once" };
        print(&format!("{}\n{what}. Ctrl-C ends the bench\n", running.address()))?;
    }
    running.wait();
    Ok(())
}

/// A bench is open for a day, and makes and drops sounds of many megabytes. The C library takes its own heap for them once it has seen some freed, one heap a thread, and gives
/// little of it back: from here on what is large is mapped by itself and unmapped when it is dropped, and threads share four heaps. Other systems' allocators are left as they are.
fn give_memory_back() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    // SAFETY: both are documented parameters of the C library's own allocator, which takes any value for them at any time; a refusal changes nothing.
    unsafe {
        libc::mallopt(libc::M_MMAP_THRESHOLD, 1 << 20);
        libc::mallopt(libc::M_ARENA_MAX, 4);
    }
}

/// Hands the address to the desktop's own way of opening one; false where there is none.
fn browse(address: &str) -> bool {
    let (program, before): (&str, &[&str]) = match std::env::consts::OS {
        "macos" => ("open", &[]),
        "windows" => ("rundll32", &["url.dll,FileProtocolHandler"]),
        _ => ("xdg-open", &[]),
    };
    let quiet = std::process::Stdio::null;
    std::process::Command::new(program).args(before).arg(address).stdin(quiet()).stdout(quiet()).stderr(quiet()).spawn().is_ok()
}

/// This program as the bench asks it.
struct Program;

fn failed(e: &Failure) -> Without {
    Without::Failed(e.text())
}

impl Services for Program {
    fn demos(&self) -> Vec<Demo> {
        vec![
            Demo { folder: "ferry-road", text: include_str!("../../../demo/ferry-road/lesson.kdl") },
            Demo { folder: "net-loft", text: include_str!("../../../demo/net-loft/lesson.kdl") },
            Demo { folder: "lantern-stairs", text: include_str!("../../../demo/lantern-stairs/lesson.kdl") },
        ]
    }

    fn rest(&self) {
        #[cfg(all(target_os = "linux", target_env = "gnu"))]
        // SAFETY: it may be called at any time; it takes the allocator's own locks.
        unsafe {
            libc::malloc_trim(0);
        }
    }

    fn take(&self, audio: &Buffer, wanted: &Playing, progress: Progress<'_>) -> Result<Played, Without> {
        crate::played::played(audio, wanted, progress)
    }

    fn find(&self, shelf: &Path, words: &str) -> Result<Found, Without> {
        shelf::find_shown(shelf, words).map_err(|e| failed(&e))
    }

    fn like(&self, shelf: &Path, lesson: &str, passage: &str) -> Result<Found, Without> {
        shelf::like(shelf, lesson, passage).map_err(|e| failed(&e))
    }

    fn never_taught(&self, shelf: &Path) -> Result<Vec<String>, Without> {
        shelf::never_taught(shelf).map_err(|e| failed(&e))
    }

    fn wishes(&self, shelf: &Path) -> Result<Vec<Wish>, Without> {
        shelf::wishes(shelf).map_err(|e| failed(&e))
    }

    fn wish(&self, shelf: &Path, lines: &str) -> Result<(), Without> {
        shelf::wish(shelf, lines).map_err(|e| failed(&e))
    }

    fn make(&self, folder: &Path, progress: Progress<'_>) -> Result<Vec<Made>, Without> {
        progress(0.0, "making the pack");
        let found = folder::open(folder).map_err(|e| failed(&e))?;
        if found.has_errors() {
            return Err(Without::Failed("the lesson has errors; mend them first".into()));
        }
        let (_, listed, _) = make::make(&found, &Make::plain(folder.to_path_buf())).map_err(|e| failed(&e))?;
        progress(1.0, "done");
        Ok(listed.into_iter().map(|f| format!("pack/{}", f.0)).collect())
    }
}
