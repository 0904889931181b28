//! What the pack's pages show: drawings, names and words put together from the crates below.

use crate::args::{Make, PaperArg};
use crate::store::Bundle;
use engrave::{BarName, Frame, StaffWish, SystemOptions, svg, systems};
use lesson::{Beats, Kind, Lesson, Part, Passage};
use pack::grip_diagrams::{DiagramWish, GripDiagram, grip_diagrams};
use pack::handout::{HandoutInput, Paper};
use pack::page::{PageDiagram, PageInput, PageNote, PagePart, PagePassage, PageRevision, PageSound, PageStep};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Width of the drawings on a desktop's page and on a phone's, in points.
const WIDE_PT: f64 = 700.0;
const NARROW_PT: f64 = 330.0;

fn names(passage: &Passage) -> Vec<BarName> {
    lock::bar_names(passage).into_iter().map(|n| BarName { bar: n.bar, at: n.at, text: n.symbol, style: passage.chord_names }).collect()
}

/// How printed systems are set: distance of two staff lines, and how roomy their bars are. A staff of 7 mm first; where that saves a page
/// turn, down to 6 mm with the same bars to the line, and at last with more bars to the line.
const SETTINGS: [(f64, f64); 5] = [(5.0, 1.0), (4.6, 5.0 / 4.6), (4.25, 5.0 / 4.25), (4.6, 1.0), (4.25, 1.0)];

fn drawn(passage: &Passage, a: &Make, width_pt: f64, (space_pt, roomy): (f64, f64)) -> Vec<Frame> {
    let staff = if a.staff { StaffWish::Always } else { StaffWish::AsWritten };
    systems(passage, Some(&names(passage)), &SystemOptions { width_pt, space_pt, roomy, staff, ..SystemOptions::default() })
}

/// Neck diagrams of a part's grips, with the words under them.
fn diagrams(passage: &Passage, a: &Make) -> Vec<(Frame, String)> {
    let wish = DiagramWish { degrees: a.degrees, left_handed: a.left_handed, parents: a.parents };
    let caption = |d: &GripDiagram| {
        let name = &passage.parts[d.part].name;
        if d.rootless { format!("{name}, no root") } else { name.clone() }
    };
    grip_diagrams(passage, &wish).into_iter().map(|d| (caption(&d), d)).map(|(words, d)| (d.frame, words)).collect()
}

/// Key, tempo, meter, swing, tuning and capo in words.
fn facts(passage: &Passage) -> Vec<String> {
    let mut out = Vec::new();
    out.extend(passage.key.map(|k| k.to_string()));
    if let Some(b) = passage.bars.first() {
        let unit = if b.meter.is_compound() { "dotted beats" } else { "beats" };
        out.push(format!("{} {unit} a minute", b.tempo_bpm));
        out.push(b.meter.to_string());
        if let Some(s) = b.swing {
            let of = if s.unit == Beats::new(1, 2) { "eighths" } else { "sixteenths" };
            out.push(format!("{of} swing at {} %", s.percent));
        }
    }
    for part in passage.parts.iter().filter(|p| p.easier_of.is_none()) {
        let Some(n) = &part.neck else { continue };
        if !n.tuning.is_standard() {
            out.push(format!("{}: {}", part.name, n.tuning.name));
        }
        if n.capo > 0 {
            out.push(format!("{}: capo at fret {}", part.name, n.capo));
        }
    }
    out
}

fn clock(seconds: f64) -> String {
    let tenths = (seconds * 10.0).round() as u64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}

fn record_places(passage: &Passage) -> Vec<String> {
    passage.record.iter().map(|r| format!("{} to {}", clock(r.from_s), clock(r.to_s))).collect()
}

fn cents(passage: &Passage) -> Option<String> {
    let c = passage.record_cents?;
    Some(match c {
        c if c.abs() < 0.5 => "at concert pitch".into(),
        c if c > 0.0 => format!("{c:.0} cents above concert pitch"),
        c => format!("{:.0} cents below concert pitch", -c),
    })
}

/// `bar 2, beat 1`, with the part's name where the note has one.
fn where_to(passage: &Passage, note: &lesson::Note) -> String {
    let place = note.at.and_then(|(bar, at)| {
        let b = passage.bars.get(bar)?;
        let beat = (at / b.meter.beat()).floor().to_integer() + 1;
        Some(format!("bar {}, beat {beat}", b.number))
    });
    [note.part.clone(), place].into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn seat_word(part: &Part) -> String {
    match part.seat {
        s if s <= -0.75 => "left".into(),
        s if s < -0.1 => "half left".into(),
        s if s >= 0.75 => "right".into(),
        s if s > 0.1 => "half right".into(),
        _ => "centre".into(),
    }
}

/// How the parts fit together: the map, and in words what is said of the passage and of each pair of guitars. Nothing for fewer than two
/// parts.
fn together(passage: &Passage, width_pt: f64) -> (Option<Frame>, Vec<String>) {
    let lock = lock::lock(passage);
    if lock.pairs.is_empty() {
        return (None, vec![]);
    }
    let map = lock_map(passage, &lock, width_pt);
    let guitars = |p: &&lock::Pair| p.parts.iter().all(|i| passage.parts[*i].kind == Kind::Guitar);
    let words = std::iter::once(&lock.findings).chain(lock.pairs.iter().filter(guitars).map(|p| &p.findings));
    (map, words.filter(|f| !f.is_empty()).map(|f| f.join(" ")).collect())
}

fn lock_map(passage: &Passage, lock: &lock::Lock, width_pt: f64) -> Option<Frame> {
    let map = engrave::lock_map(passage, &lock.map, &engrave::LockMapOptions { width_pt, ..Default::default() });
    (!lock.pairs.is_empty() && map.height_pt > 0.0).then_some(map)
}

/// The handout as PDF, or what cannot be printed.
pub fn handout(lesson: &Lesson, a: &Make) -> Result<Vec<u8>, String> {
    pack::handout::handout(&handout_input(lesson, a)).map_err(|e| e.to_string())
}

/// One handout of several lessons in order, with an index of their grips: each grip, and its names and places in words.
pub fn course_handout(title: &str, notes: &[String], lessons: &[Lesson], grips: Vec<(String, String)>, a: &Make) -> Result<Vec<u8>, String> {
    let mut whole = handout_input(&Lesson { title: title.into(), notes: notes.to_vec(), ..Lesson::default() }, a);
    for lesson in lessons {
        let one = handout_input(lesson, a);
        let needs = [whole.needs.as_str(), one.needs.as_str()].iter().filter(|n| !n.is_empty()).copied().collect::<Vec<_>>().join(", ");
        whole.needs = needs;
        let title = one.title;
        whole.passages.extend(one.passages.into_iter().map(|p| pack::handout::Passage { title: format!("{title}: {}", p.title), ..p }));
        whole.revisions.extend(one.revisions.into_iter().map(|r| pack::handout::Revision { text: format!("{title}: {}", r.text), ..r }));
    }
    whole.grips = grips.into_iter().map(|(at, text)| pack::handout::Note { at, text }).collect();
    pack::handout::handout(&whole).map_err(|e| e.to_string())
}

fn handout_input(lesson: &Lesson, a: &Make) -> HandoutInput {
    let paper = match a.paper {
        PaperArg::A4 => Paper::A4,
        PaperArg::Letter => Paper::Letter,
    };
    let note = |at: String, text: &str| pack::handout::Note { at, text: text.to_string() };
    HandoutInput {
        paper,
        title: if lesson.title.trim().is_empty() { "Lesson".into() } else { lesson.title.clone() },
        needs: lesson.needs.join(", "),
        notes: lesson.notes.iter().map(|n| note(String::new(), n)).collect(),
        passages: lesson
            .passages
            .par_iter()
            .map(|p| (p, together(p, pack::handout::content_width_pt(paper))))
            .map(|(p, (map, findings))| pack::handout::Passage {
                title: if p.title.trim().is_empty() { p.id.clone() } else { p.title.clone() },
                facts: facts(p).join(" · "),
                record_places: record_places(p),
                record_pitch: cents(p).unwrap_or_default(),
                diagrams: diagrams(p, a).into_iter().map(|(frame, caption)| pack::handout::Diagram { frame, caption }).collect(),
                systems: drawn(p, a, pack::handout::content_width_pt(paper), SETTINGS[0]),
                smaller_systems: SETTINGS[1..].iter().map(|s| drawn(p, a, pack::handout::content_width_pt(paper), *s)).collect(),
                notes: p.notes.iter().map(|n| note(where_to(p, n), &n.text)).collect(),
                map,
                findings,
            })
            .collect(),
        revisions: lesson.revisions.iter().map(|r| pack::handout::Revision { date: r.date.clone(), text: r.text.clone() }).collect(),
        left_handed: a.left_handed,
        ..HandoutInput::default()
    }
}

/// The pupil's page and its files.
pub fn page(lesson: &Lesson, a: &Make, sets: &BTreeMap<(usize, u32), Bundle>) -> Vec<(String, Vec<u8>)> {
    let drawings = |frames: &[Frame], prefix: &str| frames.iter().enumerate().map(|(i, f)| svg(f, &format!("{prefix}{i}-"))).collect::<Vec<_>>();
    let input = PageInput {
        title: lesson.title.clone(),
        needs: lesson.needs.clone(),
        about: lesson.notes.clone(),
        passages: lesson
            .passages
            .par_iter()
            .enumerate()
            .map(|(i, p)| PagePassage {
                id: p.id.clone(),
                title: p.title.clone(),
                facts: facts(p),
                notes: p
                    .notes
                    .iter()
                    .map(|n| {
                        let place = where_to(p, n);
                        PageNote { place: (!place.is_empty()).then_some(place), text: n.text.clone() }
                    })
                    .collect(),
                systems: drawings(&drawn(p, a, WIDE_PT, SETTINGS[0]), &format!("p{i}w")),
                narrow_systems: drawings(&drawn(p, a, NARROW_PT, SETTINGS[0]), &format!("p{i}n")),
                diagrams: diagrams(p, a).into_iter().enumerate().map(|(k, (f, caption))| PageDiagram { name: caption, svg: svg(&f, &format!("p{i}d{k}-")) }).collect(),
                bar_numbers: p.bars.iter().map(|b| b.number).collect(),
                tempo_bpm: p.bars.first().map_or(0.0, |b| b.tempo_bpm),
                parts: p
                    .parts
                    .iter()
                    .map(|q| PagePart {
                        name: q.name.clone(),
                        seat: if q.kind == Kind::Click { String::new() } else { seat_word(q) },
                        easier_of: q.easier_of.as_ref().and_then(|n| p.parts.iter().position(|o| &o.name == n)),
                    })
                    .collect(),
                ladder: sets.iter().filter(|((n, _), _)| *n == i).map(|((_, percent), b)| step(p, *percent, b)).collect(),
                record: record_places(p),
                cents_note: cents(p),
            })
            .collect(),
        revisions: lesson.revisions.iter().map(|r| PageRevision { date: r.date.clone(), text: r.text.clone() }).collect(),
        small_print: vec![],
        mime: "audio/ogg; codecs=opus".into(),
    };
    pack::page::page(&input)
}

fn step(passage: &Passage, percent: u32, b: &Bundle) -> PageStep {
    let frames = b.get_number("frames");
    let sound = |name: &str, frames: u64| (!b.get(name).is_empty()).then(|| PageSound { frames, bytes: b.get(name).to_vec() });
    let mut starts = passage.bar_starts();
    starts.pop();
    PageStep {
        percent: f64::from(percent),
        rate_hz: sound::RATE,
        frames,
        bar_starts_s: starts.into_iter().map(|s| s * 100.0 / f64::from(percent)).collect(),
        overlap_frames: b.get_number("overlap-frames"),
        stems: (0..passage.parts.len()).map(|i| (i, b.get(&format!("page-stem-{i}")).to_vec())).collect(),
        heads: (0..passage.parts.len()).filter_map(|i| sound(&format!("head-{i}"), b.get_number("head-frames"))).collect(),
        click: sound("click", frames),
        click_headroom_db: -(b.get_number("click-headroom") as f64) / 1e6,
        count_in: sound("count-in", b.get_number("count-in-frames")),
    }
}

/// Chapters of the track that runs through all passages; `starts` are the seconds from and to of each.
pub fn chapters(lesson: &Lesson, starts: &[(f64, f64)]) -> String {
    let list: Vec<pack::Chapter> = lesson.passages.iter().zip(starts).map(|(p, (from, to))| pack::Chapter { start_s: *from, end_s: *to, title: p.title.clone() }).collect();
    pack::chapters(lesson, &list)
}

/// Exchange files of a passage, and the map of its parts as a drawing: file ending and bytes.
pub fn exchange(lesson: &Lesson, passage: &Passage) -> Vec<(&'static str, Vec<u8>)> {
    let harmony = if passage.harmony.is_empty() { weighed(passage) } else { passage.harmony.clone() };
    let mut out = vec![("musicxml", pack::musicxml(lesson, passage, &harmony).into_bytes()), ("mid", pack::midi(passage))];
    out.extend(lock_map(passage, &lock::lock(passage), WIDE_PT).map(|map| ("parts.svg", svg(&map, "").into_bytes())));
    out
}

/// The names over the bars as harmony, where the teacher wrote none.
fn weighed(passage: &Passage) -> Vec<lesson::HarmonySpan> {
    let names = lock::bar_names(passage);
    names
        .iter()
        .enumerate()
        .map(|(i, n)| {
            let end = names.get(i + 1).filter(|m| m.bar == n.bar).map_or(passage.bars[n.bar].length, |m| m.at);
            lesson::HarmonySpan { bar: n.bar, at: n.at, len: end - n.at, symbol: Some(n.symbol.clone()), struck: true }
        })
        .collect()
}
