//! `make`: everything that pupils get, from one lesson, in one folder that is replaced only when all of it is made.

use crate::args::Make;
use crate::audio;
use crate::failure::{Failure, print, print_json};
use crate::folder::{Found, open_sound};
use crate::pages;
use crate::replace::replace_folder;
use crate::store::{Bundle, Store, digest};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use keep::build;
use lesson::{Kind, Part, Passage};
use rayon::prelude::*;
use serde_json::json;
use sound::{Options, Render, Takes};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use wave::{Buffer, Limits, Seam};

/// What a stem and a full mix are written with, bits a second. Two channels of one instrument need less than the whole band.
const STEM_BPS: u32 = 56_000;
const MIX_BPS: u32 = 96_000;
/// Frames behind the end of what the page plays round and round: 10 ms.
const OVERLAP_FRAMES: usize = 480;
/// There are as many of them as parts: they have to be smaller than the mix.
const LEFT_OUT_BPS: u32 = 72_000;

pub fn run(a: &Make, json: bool) -> Result<(), Failure> {
    let found = open_sound(&a.dir, json.then_some("partwright/make/1"))?;
    let (out, listed, unchanged) = make(&found, a)?;
    tell(&out, &listed, json, unchanged)
}

/// Makes the pack of a sound lesson, or finds that nothing has changed: its folder, its files, and whether they were there already.
pub fn make(found: &Found, a: &Make) -> Result<(PathBuf, Vec<Listed>, bool), Failure> {
    let ladder = ladder(&a.tempos)?;
    let takes = read_takes(found)?;
    let key = lesson_key(found, a, &ladder, &takes);
    let out = found.folder.join("pack");
    let store = Store::open(&found.folder)?;
    let kept = store.unchanged(&key, &out);
    let unchanged = kept.is_some();
    let listed = match kept {
        Some(files) => files,
        None => {
            let files = files(found, a, &ladder, &takes, &store)?;
            let listed = replace_folder(&out, &files, &store.folder)?;
            store.remember(&key, &listed)?;
            listed
        }
    };
    if a.practice {
        practice(found, &ladder)?;
    }
    Ok((out, listed, unchanged))
}

/// One made file: path in the pack, size, digest.
pub type Listed = (String, u64, String);

fn tell(out: &Path, files: &[Listed], as_json: bool, unchanged: bool) -> Result<(), Failure> {
    if as_json {
        let list: Vec<serde_json::Value> = files.iter().map(|(p, n, h)| json!({ "path": p, "bytes": n, "sha256": h })).collect();
        return print_json(&json!({ "schema": "partwright/make/1", "files": list, "unchanged": unchanged }));
    }
    let bytes: u64 = files.iter().map(|f| f.1).sum();
    let what = if unchanged { "nothing has changed" } else { "made" };
    print(&format!("{}: {what}, {} files, {:.1} MB; begin with handout.pdf and index.html\n", out.display(), files.len(), bytes as f64 / 1e6))
}

fn ladder(tempos: &[u32]) -> Result<Vec<u32>, Failure> {
    let mut out = tempos.to_vec();
    out.sort_unstable();
    out.dedup();
    match out.iter().find(|t| !sound::TEMPO_PERCENT.contains(*t)) {
        Some(t) => Err(Failure::Usage(format!("a tempo of {t} % is out of range; write per cents from {} to {}, such as --tempos 60,75,90,100", sound::TEMPO_PERCENT.start(), sound::TEMPO_PERCENT.end()))),
        None if out.is_empty() || out.len() > 8 => Err(Failure::Usage("write one to eight tempos, such as --tempos 60,75,90,100".into())),
        None => Ok(out),
    }
}

/// Takes by passage, decoded, with the digest of each file.
type AllTakes = Vec<(Takes, Vec<String>)>;

fn read_takes(found: &Found) -> Result<AllTakes, Failure> {
    found
        .lesson
        .passages
        .iter()
        .map(|p| {
            let (mut takes, mut keys) = (Takes::new(), Vec::new());
            for (i, part) in p.parts.iter().enumerate() {
                if let Some(t) = &part.take {
                    let (buffer, key) = audio::read(&found.folder.join(&t.file))?;
                    takes.insert(i, buffer);
                    keys.push(key);
                }
            }
            Ok((takes, keys))
        })
        .collect()
}

fn lesson_key(found: &Found, a: &Make, ladder: &[u32], takes: &AllTakes) -> String {
    let takes: Vec<&String> = takes.iter().flat_map(|t| &t.1).collect();
    let wishes = (a.paper, a.left_handed, a.staff, a.degrees, a.parents);
    digest(format!("{} {wishes:?} {ladder:?} {takes:?} {}", build(), digest(&found.bytes)).as_bytes())
}

/// What decides how a passage sounds at a tempo, and what is kept of it: the passage without its words and its places in the text.
fn sound_key(passage: &Passage, takes: &[String], percent: u32, top: bool) -> String {
    let mut passage = passage.clone();
    passage.title.clear();
    passage.notes.clear();
    passage.harmony.clear();
    passage.record.clear();
    (passage.key, passage.record_cents, passage.guess) = (None, None, false);
    for part in &mut passage.parts {
        part.grips.clear();
        part.name_pins.clear();
        (part.staff, part.guess) = (false, false);
        for bar in &mut part.bars {
            (bar.say, bar.guess) = (None, false);
        }
    }
    let text = format!("{passage:?}");
    let mut plain = String::with_capacity(text.len());
    let mut rest = text.as_str();
    while let Some(i) = rest.find("Span { start: ") {
        plain.push_str(&rest[..i]);
        let tail = &rest[i..];
        rest = &tail[tail.find('}').map_or(tail.len(), |n| n + 1)..];
    }
    plain.push_str(rest);
    digest(format!("{} {percent} {top} {takes:?} {plain}", build()).as_bytes())
}

/// A part's name as it stands in file names: small letters, digits and dashes.
pub fn file_word(name: &str, index: usize) -> String {
    let word: String = name.to_lowercase().chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
    let word: Vec<&str> = word.split('-').filter(|w| !w.is_empty()).collect();
    format!("{}-{}", index + 1, if word.is_empty() { "part".into() } else { word.join("-") })
}

/// Whether the mix is also written without this part, for a pupil to play it: where it has pitch. The click and the drums are kept.
fn is_left_out(part: &Part) -> bool {
    !matches!(part.kind, Kind::Drums | Kind::Click)
}

/// How one sound is coded.
enum Coding {
    /// Played once: what leads in.
    Once,
    /// A file that goes round as it is.
    Round { bps: u32 },
    /// For the page, which fades the seam with what follows it; and where `file` names one, the file that goes round as it is.
    Faded { file: Option<String> },
}

/// Sounds of one passage at one tempo, encoded.
fn sounds(passage: &Passage, takes: &Takes, percent: u32, top: bool) -> Result<Bundle, Failure> {
    let render = |looped| sound::render(passage, &Options { tempo_percent: percent, looped }, takes, &|_| ()).map_err(|e| Failure::MaterialSaid(format!("passage {}: {e}", passage.id)));
    let r: Render = render(true)?;
    let left_out: Vec<(usize, Buffer)> = (0..passage.parts.len()).filter(|i| is_left_out(&passage.parts[*i])).filter_map(|i| Some((i, r.left_out(i)?))).collect();
    let mut list: Vec<(String, &Buffer, Coding)> = vec![
        ("mix".into(), &r.mix, Coding::Round { bps: MIX_BPS }),
        ("click".into(), &r.click, Coding::Faded { file: None }),
        ("count-in".into(), &r.count_in, Coding::Once),
    ];
    list.extend(r.stems.iter().map(|(i, b)| (format!("page-stem-{i}"), b, Coding::Faded { file: Some(format!("stem-{i}")) })));
    list.extend(r.heads.iter().map(|(i, b)| (format!("head-{i}"), b, Coding::Once)));
    list.extend(left_out.iter().map(|(i, b)| (format!("without-{i}"), b, Coding::Round { bps: LEFT_OUT_BPS })));
    let overlap = OVERLAP_FRAMES.min(r.loop_frames);
    // For the track that runs through all passages: once more from silence, so that it ends with its own ring-out.
    let once = || -> Result<Vec<(String, Vec<u8>)>, Failure> {
        if !top {
            return Ok(vec![]);
        }
        let once = render(false)?;
        let flac = |b: &Buffer| wave::encode_flac16(b).map_err(|e| Failure::NotPossible(format!("passage {}: {e}", passage.id)));
        Ok(vec![("lead.flac".into(), flac(&once.count_in)?), ("once.flac".into(), flac(&once.mix)?)])
    };
    let code = || list.par_iter().map(|(name, b, how)| coded(name, b, how, overlap).map_err(|e| Failure::NotPossible(format!("passage {}: {e}", passage.id)))).collect::<Vec<_>>();
    let (coded, once) = rayon::join(code, once);
    let mut out = Bundle::default();
    for (name, bytes) in coded.into_iter().collect::<Result<Vec<_>, Failure>>()?.into_iter().flatten().chain(once?) {
        out.put(&name, bytes);
    }
    out.number("frames", r.loop_frames as u64);
    out.number("count-in-frames", r.count_in.frames() as u64);
    out.number("overlap-frames", overlap as u64);
    // Millionths of a decibel.
    out.number("click-headroom", (-r.click_headroom_db * 1e6).round() as u64);
    if let Some((_, head)) = r.heads.first() {
        out.number("head-frames", head.frames() as u64);
    }
    Ok(out)
}

/// One sound's files with their names.
fn coded(name: &str, b: &Buffer, how: &Coding, overlap: usize) -> Result<Vec<(String, Vec<u8>)>, wave::EncodeError> {
    Ok(match how {
        Coding::Once => vec![(name.into(), wave::encode_ogg_opus_with(b, STEM_BPS, Seam::Once)?)],
        Coding::Round { bps } => vec![(name.into(), wave::encode_ogg_opus_with(b, *bps, Seam::Loop)?)],
        Coding::Faded { file } => {
            let (round, page) = wave::encode_ogg_opus_loop(b, STEM_BPS, overlap)?;
            let round = file.clone().map(|f| (f, round));
            std::iter::once((name.to_string(), page)).chain(round).collect()
        }
    })
}

/// What was made or found: passage and tempo, the key it is kept under, the sounds.
type Made = ((usize, u32), String, Bundle);

/// All files of the pack.
fn files(found: &Found, a: &Make, ladder: &[u32], takes: &AllTakes, store: &Store) -> Result<BTreeMap<String, Vec<u8>>, Failure> {
    let lesson = &found.lesson;
    let top = *ladder.last().expect("not empty");
    let bar = progress((lesson.passages.len() * ladder.len()) as u64 + 2);
    // One passage at one tempo: from the store where it is there, else made and kept.
    let one = |&(p, percent): &(usize, u32)| -> Result<Made, Failure> {
        let (passage, takes) = (&lesson.passages[p], &takes[p]);
        let key = sound_key(passage, &takes.1, percent, percent == top);
        let bundle = match store.get(&key) {
            Some(b) => b,
            None => {
                let b = sounds(passage, &takes.0, percent, percent == top)?;
                store.put(&key, &b)?;
                b
            }
        };
        bar.inc(1);
        Ok(((p, percent), key, bundle))
    };
    let all = |percents: &[u32]| -> Result<Vec<Made>, Failure> {
        let jobs: Vec<(usize, u32)> = (0..lesson.passages.len()).flat_map(|p| percents.iter().map(move |t| (p, *t))).collect();
        jobs.par_iter().map(one).collect::<Vec<_>>().into_iter().collect()
    };
    // The long track needs the top tempo alone, and print no sound: neither waits for the rest.
    let (tops, handout) = rayon::join(|| all(&[top]), || pages::handout(lesson, a));
    let tops = tops?;
    let handout = handout.map_err(Failure::MaterialSaid)?;
    let (rest, track) = rayon::join(|| all(&ladder[..ladder.len() - 1]), || play_along(&tops));
    let (rest, (track, starts)) = (rest?, track?);
    let mut used = Vec::new();
    let mut sets: BTreeMap<(usize, u32), Bundle> = BTreeMap::new();
    for (job, key, bundle) in tops.into_iter().chain(rest) {
        used.push(key);
        sets.insert(job, bundle);
    }
    bar.set_message("pages");
    let mut out: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    for ((p, percent), b) in &sets {
        let passage = &lesson.passages[*p];
        let name = format!("audio/{}-{percent}", passage.id);
        out.insert(format!("{name}-all.ogg"), b.get("mix").to_vec());
        for (i, part) in passage.parts.iter().enumerate() {
            out.insert(format!("{name}-{}.ogg", file_word(&part.name, i)), b.get(&format!("stem-{i}")).to_vec());
            let without = b.get(&format!("without-{i}"));
            if !without.is_empty() {
                out.insert(format!("{name}-without-{}.ogg", file_word(&part.name, i)), without.to_vec());
            }
        }
    }
    out.insert("play-along.ogg".into(), track);
    out.insert("chapters.vtt".into(), pages::chapters(lesson, &starts).into_bytes());
    out.insert("handout.pdf".into(), handout);
    bar.inc(1);
    for (path, bytes) in pages::page(lesson, a, &sets) {
        out.insert(path, bytes);
    }
    let exchange: Vec<_> = lesson.passages.par_iter().flat_map_iter(|p| pages::exchange(lesson, p).into_iter().map(move |(ending, bytes)| (format!("{}.{ending}", p.id), bytes))).collect();
    out.extend(exchange);
    bar.finish_and_clear();
    store.keep_only(&used);
    Ok(out)
}

pub fn progress(steps: u64) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(steps), ProgressDrawTarget::stderr());
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos}/{len} {msg}") {
        bar.set_style(style.progress_chars("=> "));
    }
    bar.set_message("sound");
    bar
}

/// All passages one after the other at the top tempo, each with its count-in; and where each begins and ends, in seconds.
fn play_along(tops: &[Made]) -> Result<(Vec<u8>, Vec<(f64, f64)>), Failure> {
    let mut left: Vec<f32> = Vec::new();
    let mut right: Vec<f32> = Vec::new();
    let mut starts = Vec::new();
    let seconds = |frames: usize| frames as f64 / f64::from(sound::RATE);
    for ((p, _), _, b) in tops {
        let start = seconds(left.len());
        for name in ["lead.flac", "once.flac"] {
            let buffer = wave::decode(b.get(name), Some("flac"), &Limits::default()).map_err(|e| Failure::NotPossible(format!("the stored sound of passage {} cannot be read: {e}", p + 1)))?;
            left.extend_from_slice(buffer.channel(0));
            right.extend_from_slice(buffer.channel(buffer.channel_count() - 1));
        }
        starts.push((start, seconds(left.len())));
    }
    if left.is_empty() {
        left.push(0.0);
        right.push(0.0);
    }
    let buffer = Buffer::new(sound::RATE, vec![left, right]).map_err(|e| Failure::NotPossible(e.to_string()))?;
    let track = wave::encode_ogg_opus(&buffer, MIX_BPS).map_err(|e| Failure::NotPossible(e.to_string()))?;
    Ok((track, starts))
}

/// The passages of the teacher's own record at every tempo, in a folder of their own beside the pack.
fn practice(found: &Found, ladder: &[u32]) -> Result<(), Failure> {
    let mut files: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    for passage in &found.lesson.passages {
        for (n, span) in passage.record.iter().enumerate() {
            let (record, _) = audio::read(&found.folder.join(&span.file))?;
            let rate = f64::from(record.rate_hz());
            let frame = |s: f64| ((s * rate).round() as usize).min(record.frames());
            let (from, to) = (frame(span.from_s), frame(span.to_s));
            if from >= to {
                return Err(Failure::MaterialSaid(format!("{}: the record ends at {:.2} s, before this stretch begins", span.file, record.frames() as f64 / rate)));
            }
            let channels: Vec<Vec<f32>> = (0..record.channel_count()).map(|c| record.channel(c)[from..to].to_vec()).collect();
            let piece = Buffer::new(record.rate_hz(), channels).map_err(|e| Failure::NotPossible(e.to_string()))?;
            for percent in ladder {
                let slow = wave::stretch(&piece, 100.0 / f64::from(*percent)).map_err(|e| Failure::NotPossible(e.to_string()))?;
                let bytes = wave::encode_flac16(&slow).map_err(|e| Failure::NotPossible(e.to_string()))?;
                files.insert(format!("{}-{}-{percent}.flac", passage.id, n + 1), bytes);
            }
        }
    }
    if files.is_empty() {
        return Err(Failure::MaterialSaid("--practice plays the teacher's own record slowly, but no passage names a record".into()));
    }
    let store = found.folder.join(crate::store::FOLDER);
    replace_folder(&found.folder.join("practice"), &files, &store)?;
    eprintln!(
        "{}: {} files of your own record. They stay out of the pack: what a record holds is not yours to hand on; local law decides what you may do with it.",
        found.folder.join("practice").display(),
        files.len()
    );
    Ok(())
}
