//! `check`: the lesson against itself, and its parts against the record or a take.
//!
//! A record that is not in the folder is no fault: it is the teacher's own copy, and need not be on every machine. Then the lesson is checked against
//! itself alone, and that is said.

pub mod record;
mod report;

use crate::args::Check;
use crate::failure::{Failure, print, print_json, report};
use crate::folder::{Found, open, problems_json};
use check::{Finding, Settle, Voice};
use lesson::{Lesson, Passage, Problem, Weight};
use record::PassageChecked;
use serde_json::{Value, json};
use std::path::Path;

const SCHEMA: &str = "partwright/check/1";

pub fn run(a: &Check, json: bool) -> Result<(), Failure> {
    let found = open(&a.dir)?;
    let mut problems = found.problems.clone();
    if !found.has_errors() {
        problems.extend(lesson::check(&found.lesson));
        problems.extend(missing_takes(&found.folder, &found.lesson));
        problems.sort_by_key(|p| p.span);
    }
    let checked = if found.has_errors() { vec![] } else { record::checked(&found, a)? };
    let findings: Vec<(&str, &Finding)> = checked.iter().flat_map(|c| c.checked.findings.iter().map(|f| (c.checked.id.as_str(), f))).collect();
    if let Some(n) = a.accept.or(a.as_written) {
        return settle(&found, &findings, n, a.accept.is_some());
    }
    if let Some(file) = &a.report {
        report::write(&found, &checked, file)?;
    }
    let text = found.text();
    let missing = missing_records(&found.folder, &found.lesson);
    // What a passage lacks beside a record that is there stands among its limits.
    let unheard: Vec<&String> = missing.iter().filter(|file| a.take.is_none() && found.lesson.passages.iter().any(|p| names(p, file) && !checked.iter().any(|c| c.checked.id == p.id))).collect();
    if json {
        let passages: Vec<Value> = found
            .lesson
            .passages
            .iter()
            .filter(|p| a.passage.as_ref().is_none_or(|id| *id == p.id))
            .map(|p| match checked.iter().find(|c| c.checked.id == p.id) {
                Some(c) => record::passage_json(c),
                None => json!({ "id": p.id, "start": null, "parts": p.parts.iter().map(|q| json!({ "name": q.name, "notes": [], "unwritten": [] })).collect::<Vec<_>>() }),
            })
            .collect();
        let list: Vec<Value> = findings.iter().map(|(id, f)| record::finding_json(id, f)).collect();
        print_json(&json!({ "schema": SCHEMA, "passages": passages, "findings": list, "problems": problems_json(&text, &problems), "missing_records": missing }))?;
    } else {
        tell(&found, &problems, &checked, &unheard)?;
        if let Some(file) = &a.report {
            print(&format!("{}: the findings, with pieces of your record: for you alone\n", file.display()))?;
        }
    }
    let contradicted = findings.iter().any(|f| f.1.kind.contradicts());
    if problems.is_empty() && !contradicted { Ok(()) } else { Err(Failure::Material) }
}

fn tell(found: &Found, problems: &[Problem], checked: &[PassageChecked], unheard: &[&String]) -> Result<(), Failure> {
    if problems.is_empty() {
        let bars: usize = found.lesson.passages.iter().map(|p| p.bars.len()).sum();
        print(&format!("{}: {} passages, {bars} bars as played, nothing to mend\n", found.file.display(), found.lesson.passages.len()))?;
    } else {
        print(&report(&found.file, &found.text(), problems))?;
        let errors = problems.iter().filter(|p| p.weight == Weight::Error).count();
        print(&format!("{errors} to mend, {} to look at\n", problems.len() - errors))?;
    }
    let mut number = 0;
    for c in checked {
        print(&record::passage_text(c, &mut number))?;
    }
    if number > 0 && checked.iter().all(|c| c.voice == Voice::Record) {
        print("--accept N writes a finding into the lesson, --as-written N keeps what is written and does not report it again\n")?;
    }
    for file in unheard {
        print(&format!("the record {file} is not in the lesson's folder: its passages were checked against themselves alone\n"))?;
    }
    Ok(())
}

/// Writes one finding into the lesson, or that it was heard as written. The file changes only as a whole, and only if it still is what was checked.
fn settle(found: &Found, findings: &[(&str, &Finding)], n: usize, accept: bool) -> Result<(), Failure> {
    let Some((passage, finding)) = n.checked_sub(1).and_then(|i| findings.get(i)) else {
        return Err(Failure::Usage(format!("there is no finding {n}; there are {}", findings.len())));
    };
    let text = String::from_utf8(found.bytes.clone()).map_err(|_| Failure::MaterialSaid("the lesson is no text in UTF-8".into()))?;
    let how = if accept { Settle::Accept } else { Settle::AsWritten };
    let mended = check::settle(&text, passage, finding, how).map_err(|e| Failure::MaterialSaid(format!("{}: {e}", finding.words)))?;
    // Behind a link it is the lesson itself that changes.
    let shown = || found.file.display().to_string();
    let file = found.file.canonicalize().map_err(Failure::io(shown()))?;
    let beside = file.parent().unwrap_or(Path::new("."));
    match keep::replace(&file, &found.bytes, mended.as_bytes(), beside, lesson::BYTES_MAX).map_err(Failure::io(shown()))? {
        keep::Replaced::Done => {}
        keep::Replaced::Other(_) => return Err(Failure::NotPossible(format!("{}: the lesson was changed meanwhile; nothing was written", shown()))),
    }
    print(&format!("{}: {}\n", found.file.display(), if accept { "changed as the record suggests" } else { "kept as written, and marked so" }))
}

/// Takes that the lesson names and the folder lacks.
fn missing_takes(folder: &Path, lesson: &Lesson) -> Vec<Problem> {
    let takes = lesson.passages.iter().flat_map(|p| &p.parts).filter_map(|q| q.take.as_ref());
    takes
        .filter(|t| !folder.join(&t.file).is_file())
        .map(|t| Problem {
            span: t.span,
            found: format!("the take {} is not in the lesson's folder", t.file),
            right: "put the file there, or mend its name".into(),
            weight: Weight::Error,
        })
        .collect()
}

fn names(passage: &Passage, file: &str) -> bool {
    passage.record.iter().any(|r| r.file == file)
}

/// Records that the folder lacks, once each.
fn missing_records(folder: &Path, lesson: &Lesson) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for r in lesson.passages.iter().flat_map(|p| &p.record) {
        if !folder.join(&r.file).is_file() && !out.contains(&r.file) {
            out.push(r.file.clone());
        }
    }
    out
}
