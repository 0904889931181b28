//! `chapters`: chapters of a recorded lesson, from taps or from where the pack's own play-along is heard in it.

use crate::args::Chapters as Asked;
use crate::audio::{self, clock, parse_time};
use crate::failure::{Failure, print, print_json};
use crate::folder::open_sound;
use crate::make::progress;
use crate::store::write_whole;
use lesson::{Lesson, Passage};
use pack::Chapter;
use rayon::prelude::*;
use serde_json::json;
use std::path::{Path, PathBuf};
use wave::{Buffer, Found, Seconds};

const SCHEMA: &str = "partwright/chapters/1";

/// Where a passage's play-along was found.
struct Heard {
    /// Per cent of the tempo at which it was played.
    percent: u32,
    found: Found,
}

pub fn run(a: &Asked, json: bool) -> Result<(), Failure> {
    let found = open_sound(&a.dir, json.then_some(SCHEMA))?;
    let lesson = &found.lesson;
    let titles: Vec<String> = lesson.passages.iter().map(|p| if p.title.is_empty() { p.id.clone() } else { p.title.clone() }).collect();
    let out = a.out.clone().unwrap_or_else(|| found.folder.clone());
    let mut heard: Vec<Option<Heard>> = vec![];
    let list = if let Some(taps) = &a.taps {
        let times: Result<Vec<f64>, String> = taps.iter().map(|t| parse_time(t)).collect();
        let times = times.map_err(Failure::Usage)?;
        let end = match &a.length {
            Some(t) => parse_time(t).map_err(Failure::Usage)?,
            None => times.last().copied().unwrap_or(0.0) + 60.0,
        };
        pack::chapters_from_taps(&titles, &times, end).map_err(|e| Failure::Usage(e.to_string()))?
    } else {
        let file = a.sound.as_deref().ok_or_else(|| Failure::Usage("give the recording's sound (--sound) or a tap for each passage (--taps)".into()))?;
        let (recording, _) = audio::read(file)?;
        heard = listen(lesson, &found.folder.join("pack/audio"), &recording)?;
        let finds: Vec<Option<Found>> = heard.iter().map(|h| h.as_ref().map(|h| h.found)).collect();
        pack::chapters_from_finds(&titles, &finds, recording.duration().0)
    };
    let missing: Vec<&String> = titles.iter().zip(&heard).filter(|(_, h)| h.is_none()).map(|(t, _)| t).collect();
    if list.is_empty() {
        return Err(Failure::MaterialSaid("none of the pack's play-along is heard in this recording; tap the chapters instead (--taps)".into()));
    }
    let mut files: Vec<(PathBuf, String)> = vec![(out.join("recording-chapters.vtt"), pack::chapters(lesson, &list)), (out.join("recording-chapters.txt"), pack::chapters_text(&list))];
    for (p, h) in lesson.passages.iter().zip(&heard) {
        if let Some(h) = h {
            files.push((out.join(format!("recording-{}-systems.txt", p.id)), systems(p, h)));
        }
    }
    let said: Vec<Chapter> = lesson.passages.iter().zip(&heard).filter_map(|(p, h)| Some((p, h.as_ref()?))).flat_map(|(p, h)| captions(p, h)).collect();
    if !said.is_empty() {
        files.push((out.join("recording-captions.vtt"), pack::chapters(lesson, &said)));
    }
    for (path, text) in &files {
        write_whole(path, text.as_bytes(), true)?;
    }
    if json {
        let chapters: Vec<_> = list.iter().map(|c| json!({ "start": c.start_s, "end": c.end_s, "title": c.title })).collect();
        let files: Vec<_> = files.iter().map(|f| f.0.display().to_string()).collect();
        return print_json(&json!({ "schema": SCHEMA, "chapters": chapters, "not_found": missing, "files": files }));
    }
    let mut text: String = list.iter().map(|c: &Chapter| format!("{}  {}\n", clock(c.start_s), c.title)).collect();
    for m in missing {
        text.push_str(&format!("not heard in the recording: {m}\n"));
    }
    print(&text)
}

/// When each picture of the turning systems is shown in the recording.
fn systems(p: &Passage, h: &Heard) -> String {
    pack::overlay::turning(p, f64::from(h.percent)).moved(|t| h.found.at(Seconds(t)).0).list(".png")
}

/// What is played, bar by bar, where it is heard in the recording.
fn captions(p: &Passage, h: &Heard) -> Vec<Chapter> {
    let at = |t: f64| h.found.at(Seconds(t)).0;
    let moved = pack::captions(p, f64::from(h.percent)).into_iter().map(|c| Chapter { start_s: at(c.start_s), end_s: at(c.end_s), ..c });
    moved.filter(|c| c.end_s > 0.0).collect()
}

/// Each passage's mix, at every tempo that the pack has, looked for in the recording; the surest find of each.
fn listen(lesson: &Lesson, folder: &Path, recording: &Buffer) -> Result<Vec<Option<Heard>>, Failure> {
    let jobs: Vec<(usize, u32, PathBuf)> = lesson
        .passages
        .iter()
        .enumerate()
        .flat_map(|(i, p)| mixes(folder, &p.id).into_iter().map(move |(percent, path)| (i, percent, path)))
        .collect();
    if jobs.is_empty() {
        return Err(Failure::NotPossible(format!("{}: there is no play-along to look for; partwright make comes first", folder.display())));
    }
    let bar = progress(jobs.len() as u64);
    bar.set_message("listening");
    let found: Vec<Result<Option<(usize, Heard)>, Failure>> = jobs
        .par_iter()
        .map(|(i, percent, path)| {
            let (needle, _) = audio::read(path)?;
            let found = wave::find_in(&needle, recording);
            bar.inc(1);
            Ok(found.map(|found| (*i, Heard { percent: *percent, found })))
        })
        .collect();
    bar.finish_and_clear();
    let mut best: Vec<Option<Heard>> = lesson.passages.iter().map(|_| None).collect();
    for f in found {
        if let Some((i, h)) = f?
            && best[i].as_ref().is_none_or(|b| h.found.confidence > b.found.confidence)
        {
            best[i] = Some(h);
        }
    }
    Ok(best)
}

/// A passage's full mixes in the pack, by tempo.
fn mixes(folder: &Path, id: &str) -> Vec<(u32, PathBuf)> {
    let Ok(list) = std::fs::read_dir(folder) else { return vec![] };
    let mut out: Vec<(u32, PathBuf)> = list
        .flatten()
        .filter_map(|e| {
            let name = e.file_name().into_string().ok()?;
            let percent = name.strip_prefix(&format!("{id}-"))?.strip_suffix("-all.ogg")?.parse().ok()?;
            Some((percent, e.path()))
        })
        .collect();
    out.sort();
    out
}
