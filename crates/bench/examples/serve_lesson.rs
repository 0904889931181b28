//! Serves a lesson folder: `cargo run --release -p bench --example serve_lesson -- [--record] (LESSON_DIR | --shelf DIR)`.
//!
//! Prints the address. Ends when its standard input ends, so that whoever started it can stop it in order. With `--record` a record is made first from
//! the lesson's own passages, at the places where they quote it, and put where the lesson names it: something to listen to. In place of a pack it makes a proof
//! sheet, the music of all passages on one page.

use bench::Options;
use bench::services::{Made, Progress, Services, Without};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use wave::{Buffer, Seconds};

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let mut args: Vec<&str> = args.iter().map(String::as_str).collect();
    let with_record = args.first() == Some(&"--record");
    if with_record {
        args.remove(0);
    }
    let options = match args[..] {
        ["--shelf", dir] => Options { shelf: PathBuf::from(dir), ..Options::default() },
        [dir] => Options { lesson: Some(PathBuf::from(dir)), ..Options::default() },
        _ => {
            eprintln!("serve_lesson [--record] LESSON_DIR, or serve_lesson --shelf DIR");
            std::process::exit(2);
        }
    };
    if let Some(dir) = options.lesson.as_ref().filter(|_| with_record)
        && let Err(e) = make_record(dir)
    {
        eprintln!("no record: {e}");
        std::process::exit(3);
    }
    match bench::start(options, Arc::new(Proof)) {
        Ok(running) => {
            println!("{}", running.address());
            let _ = std::io::copy(&mut std::io::stdin(), &mut std::io::sink());
            running.stop();
        }
        Err(e) => {
            eprintln!("{e}");
            std::process::exit(3);
        }
    }
}

/// Makes a proof sheet for a pack.
struct Proof;

impl Services for Proof {
    fn make(&self, folder: &Path, progress: Progress<'_>) -> Result<Vec<Made>, Without> {
        let fail = |e: std::io::Error| Without::Failed(e.to_string());
        let lesson = lesson::read(&std::fs::read_to_string(folder.join("lesson.kdl")).map_err(fail)?).lesson;
        let mut page = format!("<!DOCTYPE html><meta charset=\"utf-8\"><title>Proof</title><h1>{}</h1>", engrave::escaped(&lesson.title));
        for (i, p) in lesson.passages.iter().enumerate() {
            progress(i as f64 / lesson.passages.len() as f64, &format!("setting {}", p.title));
            page.push_str(&format!("<h2>{}</h2>", engrave::escaped(&p.title)));
            for (k, frame) in engrave::systems(p, None, &engrave::SystemOptions::default()).iter().enumerate() {
                page.push_str(&engrave::svg(frame, &format!("s{i}-{k}")));
            }
        }
        std::fs::create_dir_all(folder.join("pack")).and_then(|()| std::fs::write(folder.join("pack/index.html"), page)).map_err(fail)?;
        progress(1.0, "done");
        Ok(vec!["pack/index.html".into()])
    }
}

/// Every passage once round at each of its places, silence between.
fn make_record(dir: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let lesson = lesson::read(&std::fs::read_to_string(dir.join("lesson.kdl"))?).lesson;
    let quotes = || lesson.passages.iter().flat_map(|p| p.record.iter().map(move |r| (p, r)));
    let Some((_, first)) = quotes().next() else { return Err("the lesson names none".into()) };
    let end = quotes().map(|(_, r)| r.to_s).fold(0.0, f64::max) + 1.0;
    let mut sides = vec![vec![0f32; Seconds(end).to_frames(sound::RATE)]; 2];
    for (p, r) in quotes().filter(|(_, r)| r.file == first.file) {
        let made = sound::render(p, &sound::Options::default(), &sound::Takes::new(), &|_| ())?;
        let at = Seconds(r.from_s).to_frames(sound::RATE);
        for (side, mix) in sides.iter_mut().zip(made.mix.channels()) {
            for (out, s) in side.iter_mut().skip(at).zip(mix) {
                *out += s;
            }
        }
    }
    let path = dir.join(&first.file);
    std::fs::create_dir_all(path.parent().ok_or("no folder")?)?;
    std::fs::write(path, wave::encode_flac16(&Buffer::new(sound::RATE, sides)?)?)?;
    Ok(())
}
