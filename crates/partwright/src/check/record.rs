//! The parts of a lesson against what the record, or a take, holds; as JSON and in words.

use crate::args::Check;
use crate::audio::{self, clock};
use crate::failure::Failure;
use crate::folder::Found;
use crate::hear::progress;
use check::{Checked, Finding, FindingKind, NoteChecked, Options, PartChecked, Stray, Unwritten, Voice};
use lesson::{Lesson, Passage};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use wave::Buffer;

/// A passage and what was found on it.
pub struct PassageChecked {
    pub title: String,
    pub checked: Checked,
    /// Whom its words speak to.
    pub voice: Voice,
}

/// All passages that name a record which is there; or one part of one passage against a take.
pub fn checked(found: &Found, a: &Check) -> Result<Vec<PassageChecked>, Failure> {
    let lesson = &found.lesson;
    let title = |id: &str| lesson.passages.iter().find(|p| p.id == id).map_or(String::new(), |p| p.title.clone());
    if let Some(id) = a.passage.as_ref().filter(|id| !lesson.passages.iter().any(|p| p.id == **id)) {
        return Err(Failure::Usage(format!("no passage is called \"{id}\"; this lesson has {}", lesson.passages.iter().map(|p| p.id.as_str()).collect::<Vec<_>>().join(", "))));
    }
    if let Some(file) = &a.take {
        let part = a.part.as_deref().unwrap_or("");
        let id = match (&a.passage, lesson.passages.as_slice()) {
            (Some(id), _) => id.clone(),
            (None, [one]) => one.id.clone(),
            (None, _) => return Err(Failure::Usage("the lesson has several passages: say which one was played (--passage)".into())),
        };
        let (take, _) = audio::read(file)?;
        let options = Options { voice: Voice::Take, ..Options::default() };
        let checked = check::take(lesson, &id, part, &take, &options).map_err(|e| Failure::Usage(e.to_string()))?;
        return Ok(vec![PassageChecked { title: title(&id), checked, voice: Voice::Take }]);
    }
    let bar = progress();
    let wanted = |p: &Passage| a.passage.as_ref().is_none_or(|id| *id == p.id);
    let out = against_records(&found.folder, lesson, &wanted, &|done| bar.set_position((100.0 * done) as u64));
    bar.finish_and_clear();
    out
}

/// The passages that are wanted and name a record which is in the folder, against all such records; each is read once, however many passages lie in it.
/// `progress` is told how much is done, 0 to 1.
pub fn against_records(folder: &Path, lesson: &Lesson, wanted: &dyn Fn(&Passage) -> bool, progress: &dyn Fn(f64)) -> Result<Vec<PassageChecked>, Failure> {
    let mut records: BTreeMap<&str, Buffer> = BTreeMap::new();
    let mut out = Vec::new();
    let wanted: Vec<&Passage> = lesson.passages.iter().filter(|p| wanted(p)).collect();
    for (i, p) in wanted.iter().enumerate() {
        progress(i as f64 / wanted.len() as f64);
        let files: BTreeSet<&str> = p.record.iter().map(|r| r.file.as_str()).filter(|f| folder.join(f).is_file()).collect();
        if files.is_empty() {
            continue;
        }
        for file in &files {
            if !records.contains_key(file) {
                records.insert(file, audio::read(&folder.join(file))?.0);
            }
        }
        let own: Vec<(&str, &Buffer)> = files.iter().filter_map(|f| Some((*f, records.get(f)?))).collect();
        let checked = check::passage(lesson, &p.id, &own, &Options::default()).map_err(|e| Failure::MaterialSaid(e.to_string()))?;
        out.push(PassageChecked { title: p.title.clone(), checked, voice: Voice::Record });
    }
    Ok(out)
}

fn to(v: f64, places: f64) -> f64 {
    (v * places).round() / places
}

pub fn passage_json(c: &PassageChecked) -> Value {
    let parts: Vec<Value> = c.checked.parts.iter().map(part_json).collect();
    json!({
        "id": c.checked.id,
        "start": c.checked.starts_s.first().map(|s| to(*s, 1e4)),
        "starts": c.checked.starts_s.iter().map(|s| to(*s, 1e4)).collect::<Vec<_>>(),
        "record": c.checked.file,
        "records": c.checked.files,
        "aligned": to(c.checked.aligned, 1e3),
        "stretch": to(c.checked.stretch, 1e4),
        "cents": c.checked.cents.map(|v| to(v, 1e1)),
        "limits": c.checked.limits,
        "parts": parts,
    })
}

fn part_json(p: &PartChecked) -> Value {
    let pocket = p.pocket.map(|q| {
        json!({
            "ahead_ms": to(q.ahead_ms, 1e1), "spread_ms": to(q.spread_ms, 1e1), "strokes": q.strokes,
            "swing_percent": q.swing_percent.map(|s| to(s, 1e1)), "swing_of": format!("1/{}", q.swing_of), "swing_written_percent": q.swing_written_percent,
        })
    });
    json!({
        "name": p.name,
        "notes": p.notes.iter().map(note_json).collect::<Vec<_>>(),
        "unwritten": p.unwritten.iter().map(unwritten_json).collect::<Vec<_>>(),
        "rhythm": p.rhythm.iter().map(stray_json).collect::<Vec<_>>(),
        "pocket": pocket,
    })
}

fn note_json(n: &NoteChecked) -> Value {
    json!({
        "bar": n.bar, "beat": to(n.beat, 1e3), "slot": n.slot, "string": n.string, "fret": n.fret, "midi": n.midi, "time": to(n.time_s, 1e4), "verdict": n.verdict.word(),
        "evidence": to(n.evidence, 1e3), "better": n.better, "moved_slots": n.moved_slots, "ahead_ms": n.ahead_ms.map(|m| to(m, 1e1)), "as_written": n.waved,
    })
}

fn unwritten_json(u: &Unwritten) -> Value {
    json!({ "time": to(u.time_s, 1e4), "bar": u.bar, "beat": to(u.beat, 1e3), "slot": u.slot, "midi": u.midi, "evidence": to(u.evidence, 1e3), "string": u.place.map(|p| p.0), "fret": u.place.map(|p| p.1), "of_stroke": u.of_stroke })
}

fn stray_json(s: &Stray) -> Value {
    json!({ "time": to(s.time_s, 1e4), "bar": s.bar, "beat": to(s.beat, 1e3), "slot": s.slot, "written": s.written, "evidence": to(s.evidence, 1e3) })
}

fn kind_word(k: FindingKind) -> &'static str {
    match k {
        FindingKind::Whole(_) => "whole",
        FindingKind::OtherPitch => "other_pitch",
        FindingKind::NotThere => "not_there",
        FindingKind::Moved => "moved",
        FindingKind::NoStroke => "no_stroke",
        FindingKind::GripNote => "grip_note",
        FindingKind::Unwritten => "unwritten",
        FindingKind::NoteOrScratch => "note_or_scratch",
    }
}

pub fn finding_json(passage: &str, f: &Finding) -> Value {
    json!({
        "passage": passage, "kind": kind_word(f.kind), "contradicts": f.kind.contradicts(), "part": f.part, "bar": f.bar, "bars": f.bars, "beat": to(f.beat, 1e3), "slot": f.slot,
        "string": f.string, "fret": f.fret, "written": f.written, "suggested": f.suggested, "suggested_string": f.suggested_place.map(|p| p.0),
        "suggested_fret": f.suggested_place.map(|p| p.1), "moved_slots": f.moved_slots, "sure": to(f.sure, 1e3), "time": to(f.time_s, 1e4), "words": f.words,
    })
}

/// Findings with the numbers that they are accepted by, then how each part lies against the beat.
pub fn passage_text(c: &PassageChecked, number: &mut usize) -> String {
    let name = if c.title.is_empty() || c.title == c.checked.id { c.checked.id.clone() } else { format!("{} ({})", c.title, c.checked.id) };
    // The file is named where there is more than one.
    let several = c.checked.files.windows(2).any(|f| f[0] != f[1]);
    let at: Vec<String> = c.checked.starts_s.iter().zip(&c.checked.files).map(|(s, f)| if several { format!("{} of {f}", clock(*s)) } else { clock(*s) }).collect();
    let take = c.voice == Voice::Take;
    let mut out = if at.is_empty() { format!("\n{name}: not found in {}\n", if take { "your take" } else { "the record" }) } else { format!("\n{name}: found at {}\n", at.join(" and ")) };
    for f in &c.checked.findings {
        *number += 1;
        // Most findings say how sure they are where the doubt lies.
        let sure = match f.sure {
            _ if f.words.ends_with(')') => "",
            s if s >= 0.8 => " (sure)",
            s if s >= 0.5 => " (likely)",
            _ => " (perhaps)",
        };
        out.push_str(&format!("{:>4}  {}{sure}\n", *number, f.words));
    }
    if c.checked.findings.is_empty() && !at.is_empty() {
        out.push_str(if take { "      you played all of it as it is written\n" } else { "      the record has nothing against it\n" });
    }
    for p in &c.checked.parts {
        let Some(q) = p.pocket else { continue };
        let way = match q.ahead_ms {
            m if m.abs() < 3.0 => "on the beat".to_string(),
            m if m > 0.0 => format!("{m:.0} ms ahead of the beat"),
            m => format!("{:.0} ms behind the beat", -m),
        };
        let swing = match q.swing_percent {
            Some(s) if (s - q.swing_written_percent).abs() >= 2.0 => format!(", swing {s:.0} % (written {:.0} %)", q.swing_written_percent),
            _ => String::new(),
        };
        let who = if take { "you play".to_string() } else { format!("{}:", p.name) };
        out.push_str(&format!("      {who} {way}, within {:.0} ms{swing}\n", q.spread_ms));
    }
    for l in &c.checked.limits {
        out.push_str(&format!("      {l}\n"));
    }
    out
}
