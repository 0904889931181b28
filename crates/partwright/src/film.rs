//! `film`: what a lesson needs in front of a camera: the running order to stand up with, overlays for the picture, systems that turn in time.
//!
//! They are written to the lesson's folder `film`, replaced as a whole, and stay out of the pack: they are for the teacher's own video.

use crate::args::{Film, InkArg, PaperArg};
use crate::failure::{Failure, print, print_json};
use crate::folder::open_sound;
use crate::make::{Listed, progress};
use crate::replace::replace_folder;
use crate::shelf;
use crate::store::Store;
use lesson::Lesson;
use lock::{Point, Talk, Topic};
use pack::handout::Paper;
use pack::overlay::{self, Drawn, OverlayOptions, Shade, Turning, video};
use pack::running_order::{RunningOrder, running_order};
use rayon::prelude::*;
use serde_json::json;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const SCHEMA: &str = "partwright/film/1";
/// An encoder that takes longer than this for one passage is stopped.
const ENCODER_S: u64 = 300;

pub fn run(a: &Film, json: bool) -> Result<(), Failure> {
    let found = open_sound(&a.dir, json.then_some(SCHEMA))?;
    let lesson = &found.lesson;
    let mut files: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    let paper = match a.paper {
        PaperArg::A4 => Paper::A4,
        PaperArg::Letter => Paper::Letter,
    };
    let mut talks = lock::running_order(lesson, &lock::Pace::default());
    if let Some(folder) = &a.shelf {
        taught_before(&mut talks, lesson, folder, &found.folder)?;
    }
    files.insert("running-order.txt".into(), draft(lesson, &talks).into_bytes());
    let sheet = running_order(&RunningOrder::of(lesson, &talks, paper)).map_err(|e| Failure::MaterialSaid(e.to_string()))?;
    files.insert("running-order.pdf".into(), sheet);
    let shades: Vec<Shade> = a.ink.iter().map(|i| if *i == InkArg::Dark { Shade::Dark } else { Shade::Light }).collect();
    let options = OverlayOptions { diagrams: pack::grip_diagrams::DiagramWish { degrees: a.degrees, left_handed: a.left_handed, parents: a.parents } };
    let overlays = overlay::overlays(lesson, &options);
    let turnings: Vec<(String, Turning)> = lesson.passages.iter().map(|p| (p.id.clone(), overlay::turning(p, a.tempo))).collect();
    // Path without ending, the drawing.
    let mut pictures: Vec<(String, &overlay::Canvas)> = overlays.iter().map(|o| (format!("overlays/{}", o.name), &o.canvas)).collect();
    for (id, t) in &turnings {
        pictures.extend(t.pictures.iter().map(|(name, canvas)| (format!("systems/{id}/{name}"), canvas)));
    }
    let bar = progress((pictures.len() * shades.len() * (a.lines.len() + usize::from(a.svg))) as u64);
    bar.set_message("pictures");
    let one = |(path, canvas): &(String, &overlay::Canvas)| -> Result<Vec<(String, Vec<u8>)>, Failure> {
        let (kind, name) = path.split_once('/').unwrap_or(("", path));
        let mut out = Vec::new();
        for shade in &shades {
            let drawn = Drawn { shade: *shade, plate: a.plate };
            for lines in &a.lines {
                let bytes = overlay::png(canvas, *lines, drawn).map_err(|e| Failure::Usage(e.to_string()))?;
                out.push((format!("{kind}/{lines}-{}/{name}.png", shade.word()), bytes));
                bar.inc(1);
            }
            if a.svg && kind == "overlays" {
                out.push((format!("{kind}/svg-{}/{name}.svg", shade.word()), overlay::svg(canvas, drawn).into_bytes()));
                bar.inc(1);
            }
        }
        Ok(out)
    };
    let made: Vec<Result<Vec<(String, Vec<u8>)>, Failure>> = pictures.par_iter().map(one).collect();
    for list in made {
        files.extend(list?);
    }
    bar.finish_and_clear();
    // The times beside each set of pictures.
    for shade in &shades {
        for lines in &a.lines {
            for (id, t) in turnings.iter().filter(|(_, t)| !t.pictures.is_empty()) {
                let folder = format!("systems/{lines}-{}/{id}", shade.word());
                files.insert(format!("{folder}/times.txt"), t.list(".png").into_bytes());
                if a.video {
                    files.insert(format!("{folder}/video.txt"), video::list(t, &Default::default()).into_bytes());
                }
            }
        }
    }
    let out = found.folder.join("film");
    let store = Store::open(&found.folder)?;
    let listed = replace_folder(&out, &files, &store.folder)?;
    drop(store);
    let videos = if a.video { encode(&out, a, &shades, &turnings) } else { Ok(vec![]) };
    tell(&out, &listed, &videos, json)?;
    // What was asked for and is not there is no success.
    videos.map(|_| ())
}

/// Adds to each passage which of its grips other lessons of the shelf have taught, each grip where it first comes.
fn taught_before(talks: &mut [Talk], lesson: &Lesson, folder: &Path, own: &Path) -> Result<(), Failure> {
    let own = own.canonicalize().ok().zip(folder.canonicalize().ok()).and_then(|(o, f)| o.strip_prefix(f).ok().map(|p| p.to_string_lossy().replace('\\', "/")));
    let own = own.map(|o| if o.is_empty() { ".".to_string() } else { o });
    let (shelf, _) = shelf::open(folder)?;
    let mut asked = Vec::new();
    for talk in talks {
        let passage = &lesson.passages[talk.passage];
        for (i, part) in passage.parts.iter().enumerate().filter(|(_, p)| p.easier_of.is_none()) {
            let Some(neck) = &part.neck else { continue };
            for grip in &part.grips {
                let this = (&grip.grip, &neck.tuning, neck.capo);
                if asked.contains(&this) {
                    continue;
                }
                asked.push(this);
                let Some(taught) = shelf::taught_elsewhere(&shelf, &grip.grip, neck, own.as_deref())? else { continue };
                let text = format!("{}: {}", grip.letter, taught.sentence());
                let point = Point { topic: Topic::Grip, part: Some(i), bar: None, text, short: format!("{}: known from {}", grip.letter, taught.title) };
                let after = talk.points.iter().rposition(|p| p.topic == Topic::Grip).map_or(talk.points.len(), |k| k + 1);
                talk.points.insert(after, point);
            }
        }
    }
    Ok(())
}

/// All that is drafted, as text: the teacher takes from it what they write into the lesson.
fn draft(lesson: &Lesson, talks: &[Talk]) -> String {
    let mut out = format!("{}\n", lesson.title);
    for (n, talk) in talks.iter().enumerate() {
        let Some(passage) = lesson.passages.get(talk.passage) else { continue };
        let title = if passage.title.is_empty() { &passage.id } else { &passage.title };
        let minutes = ((talk.talking_s + talk.playing_s) / 60.0).ceil().max(1.0);
        out.push_str(&format!("\n{}. {title} ({minutes} min)\n", n + 1));
        for p in &talk.points {
            out.push_str(&format!("- {}\n", p.spoken(passage)));
        }
    }
    out
}

fn tell(out: &Path, files: &[Listed], videos: &Result<Vec<String>, Failure>, as_json: bool) -> Result<(), Failure> {
    let videos = videos.as_ref().map_or(&[][..], |v| v.as_slice());
    if as_json {
        let list: Vec<serde_json::Value> = files.iter().map(|(p, n, h)| json!({ "path": p, "bytes": n, "sha256": h })).collect();
        return print_json(&json!({ "schema": SCHEMA, "files": list, "videos": videos }));
    }
    let bytes: u64 = files.iter().map(|f| f.1).sum();
    let and = if videos.is_empty() { String::new() } else { format!(", and {} videos", videos.len()) };
    print(&format!("{}: {} files, {:.1} MB{and}; begin with running-order.pdf\n", out.display(), files.len(), bytes as f64 / 1e6))
}

/// The first encoder that answers.
fn encoder() -> Option<&'static str> {
    video::ENCODERS.into_iter().find(|e| Command::new(e).arg("-version").stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok_and(|s| s.success()))
}

/// Runs a program that reads and says nothing here; one that takes longer than `limit` is ended, and gives `None`.
fn within(command: &mut Command, limit: Duration) -> std::io::Result<Option<std::process::ExitStatus>> {
    let mut child = command.stdin(Stdio::null()).stdout(Stdio::null()).spawn()?;
    let begun = Instant::now();
    loop {
        if let Some(status) = child.try_wait()? {
            return Ok(Some(status));
        }
        if begun.elapsed() > limit {
            child.kill()?;
            child.wait()?;
            return Ok(None);
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// A video that is not whole yet; dropped, it is gone.
struct Half(std::path::PathBuf);

impl Drop for Half {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.0);
    }
}

/// A video for each passage and set of pictures, by an encoder that is on the machine. All other files stand whether or not that works.
fn encode(out: &Path, a: &Film, shades: &[Shade], turnings: &[(String, Turning)]) -> Result<Vec<String>, Failure> {
    let encoder = encoder().ok_or_else(|| Failure::NotPossible(format!("no video was made: none of {} is on this machine; the pictures and their times are there", video::ENCODERS.join(", "))))?;
    let mut made = Vec::new();
    for shade in shades {
        for lines in &a.lines {
            for (id, t) in turnings.iter().filter(|(_, t)| !t.pictures.is_empty()) {
                let folder = format!("systems/{lines}-{}/{id}", shade.word());
                let name = format!("{id}{}", video::ENDING);
                // The encoder tells the form by the ending; half a video has another name.
                let half = format!("{}{id}{}", keep::HALF, video::ENDING);
                let begun_at = Half(out.join(&folder).join(&half));
                let mut command = Command::new(encoder);
                command.args(video::arguments("video.txt", t.end_s, &half, &Default::default())).current_dir(out.join(&folder));
                let status = within(&mut command, Duration::from_secs(ENCODER_S)).map_err(Failure::io(format!("{encoder} could not be run")))?;
                let status = status.ok_or_else(|| Failure::NotPossible(format!("{encoder} took longer than {ENCODER_S} s for {folder}/{name} and was stopped")))?;
                if !status.success() {
                    return Err(Failure::NotPossible(format!("{encoder} failed on {folder}/{name}; the pictures and their times are there")));
                }
                let file = out.join(&folder).join(&name);
                let shown = file.display().to_string();
                std::fs::File::open(&begun_at.0).and_then(|f| f.sync_all()).and_then(|()| std::fs::rename(&begun_at.0, &file)).map_err(Failure::io(shown))?;
                keep::sync_folder(&out.join(&folder));
                made.push(format!("{folder}/{name}"));
            }
        }
    }
    Ok(made)
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;

    #[test]
    fn a_program_that_does_not_end_is_ended() {
        let begun = Instant::now();
        assert_eq!(within(Command::new("sleep").arg("60"), Duration::from_millis(100)).unwrap(), None);
        assert!(begun.elapsed().as_secs() < 30);
        assert!(within(&mut Command::new("true"), Duration::from_secs(30)).unwrap().unwrap().success());
        assert!(within(&mut Command::new("no-such-encoder"), Duration::from_secs(1)).is_err());
    }
}
