//! What is answered about checks: the check itself, its findings, what is done about one, how it sounds there, and the report. Everything here has passed the guard.

use crate::beneath::Beneath;
use crate::desk::Refused;
use crate::findings::Kept;
use crate::report::{self, Dress, Item};
use crate::routes::{ROUND_MAX_S, Shared, at_desk, away, no_lesson, not_from_25_to_100, refusal, told, window};
use crate::state::State;
use crate::{record, sounds};
use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Json, Query, State as Has};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{get, post};
use check::{Checked, Finding, Score, Settle};
use lesson::{Lesson, Passage};
use serde::Deserialize;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use wave::Buffer;

pub fn routes() -> Router<Arc<State>> {
    Router::new()
        .route("/check", get(found).post(check))
        .route("/check/settle", post(settle))
        .route("/check/sound", get(around))
        .route("/findings", get(report))
        .route("/findings/sound", get(snippet))
}

fn not_checked() -> Response {
    refusal(StatusCode::NOT_FOUND, "this lesson is not checked yet", "check it first")
}

fn another_run() -> Response {
    refusal(StatusCode::CONFLICT, "this is of an earlier check", "look at the findings as they are now")
}

#[derive(Deserialize)]
struct Order {
    /// The passage that the teacher is at.
    first: Option<String>,
}

/// Checks the lesson passage by passage, the one that the teacher is at first; what each has is kept and told as it comes.
async fn check(Has(state): Shared, Query(order): Query<Order>, _: Bytes) -> Response {
    let done = away(move || {
        let Ok(_one) = state.checking.try_lock() else { return refusal(StatusCode::CONFLICT, "the lesson is being checked already", "wait until it is done") };
        let next_run = || state.checks.fetch_add(1, Ordering::Relaxed) + 1;
        let run = next_run();
        let (folder, text, lesson) = {
            let mut open = state.open();
            let Some(open) = open.as_mut() else { return no_lesson() };
            if open.desk.has_errors() {
                return refusal(StatusCode::UNPROCESSABLE_ENTITY, "the lesson has errors", "mend what is listed, then check");
            }
            let (text, lesson) = (open.desk.text().clone(), open.desk.lesson.clone());
            open.kept = Some(Kept::begun(run, &text, lesson.clone(), &lesson::check(&lesson)));
            (open.desk.folder.clone(), text, lesson)
        };
        let first = lesson.passages.iter().position(|p| Some(&p.id) == order.first.as_ref());
        let told = |part: f64, title: &str, count: usize| state.tell("checking", &json!({ "part": part, "what": format!("Listening: {title}"), "run": run, "passages": count }));
        each_passage(&state, &folder, &lesson, first, &told, &mut |passage, against| {
            let found = against.as_ref().map_or(vec![], |(_, c)| Kept::found(&text, &lesson, passage, c));
            if let Some(kept) = state.open().as_mut().and_then(|o| o.kept.as_mut()).filter(|k| k.run == run) {
                kept.add(passage, against, found);
            }
        });
        let mut open = state.open();
        let Some(open) = open.as_mut().filter(|o| o.desk.folder.root() == folder.root()) else { return refusal(StatusCode::CONFLICT, "another lesson was opened meanwhile", "check that one") };
        let Some(kept) = open.kept.as_mut().filter(|k| k.run == run) else { return another_run() };
        kept.finish(next_run());
        state.tell("checked", &json!({ "run": kept.run }));
        Json(kept.full(open.desk.text(), &open.desk.lesson)).into_response()
    });
    done.await.unwrap_or_else(|r| r)
}

/// A passage that was checked, by all that its check rests on: the same again needs no listening.
pub struct Known {
    rests_on: RestsOn,
    checked: Checked,
}

#[derive(PartialEq)]
struct RestsOn {
    /// Places in the text counted from the passage's own beginning.
    score: Score,
    cents: Option<f64>,
    /// Each stretch: file, from, to, and the file's digest where it could be read.
    stretches: Vec<(String, f64, f64, Option<u64>)>,
}

impl RestsOn {
    fn of(p: &Passage, records: &BTreeMap<String, Result<Arc<record::Record>, String>>) -> RestsOn {
        let mut score = Score::of(p);
        for n in score.parts.iter_mut().flat_map(|q| &mut q.notes) {
            n.text = n.text.map(|s| lesson::Span { start: s.start.wrapping_sub(p.span.start), end: s.end.wrapping_sub(p.span.start) });
        }
        let digest = |file: &str| records.get(file).and_then(|r| Some(r.as_ref().ok()?.digest));
        RestsOn { score, cents: p.record_cents, stretches: p.record.iter().map(|r| (r.file.clone(), r.from_s, r.to_s, digest(&r.file))).collect() }
    }
}

/// Each passage against the records that it names, as far as they lie in the folder; else why not. As many at once as there are processors, less one for whoever types;
/// `told` is told how much is done, what is listened to now, and how many passages are there, `done` gets each passage as it comes.
fn each_passage(state: &State, folder: &Beneath, lesson: &Lesson, first: Option<usize>, told: &(dyn Fn(f64, &str, usize) + Sync), done: &mut dyn FnMut(usize, Result<(String, Checked), String>)) {
    let count = lesson.passages.len();
    let mut order: Vec<usize> = (0..count).collect();
    order.sort_by_key(|i| Some(*i) != first);
    let before: Vec<Known> = std::mem::take(&mut *state.known.lock().unwrap_or_else(|e| e.into_inner()));
    let (next, there) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let records: Mutex<BTreeMap<String, Result<Arc<record::Record>, String>>> = Mutex::default();
    let one = |i: usize| -> (Result<(String, Checked), String>, Option<Known>) {
        let p = &lesson.passages[i];
        if p.record.is_empty() {
            return (Err("it names no record".into()), None);
        }
        let own = {
            let mut records = records.lock().unwrap_or_else(|e| e.into_inner());
            for r in &p.record {
                records.entry(r.file.clone()).or_insert_with(|| state.records.get(folder, &r.file));
            }
            let own: BTreeMap<String, Result<Arc<record::Record>, String>> = p.record.iter().filter_map(|r| Some((r.file.clone(), records.get(&r.file)?.clone()))).collect();
            // The next passages often lie in the same record; what none of them has is let go.
            let to_come = &order[next.load(Ordering::Relaxed).min(count)..];
            records.retain(|file, _| to_come.iter().any(|n| lesson.passages[*n].record.iter().any(|r| r.file == *file)));
            own
        };
        let rests_on = RestsOn::of(p, &own);
        let sounds: Vec<(&str, &Buffer)> = own.iter().filter_map(|(file, r)| Some((file.as_str(), &r.as_ref().ok()?.sound))).collect();
        let checked = match (own.values().find_map(|r| r.as_ref().err()), before.iter().find(|k| k.rests_on == rests_on)) {
            (Some(why), _) if sounds.is_empty() => Err(why.clone()),
            (_, Some(known)) => Ok(known.checked.clone()),
            _ => state.services.check(lesson, &p.id, &sounds).map_err(|w| w.to_string()),
        };
        let known = checked.as_ref().ok().map(|c| Known { rests_on, checked: c.clone() });
        (checked.map(|c| (c.file.clone(), c)), known)
    };
    let title = |i: usize| {
        let p = &lesson.passages[i];
        if p.title.is_empty() { p.id.as_str() } else { p.title.as_str() }
    };
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get().saturating_sub(1)).clamp(1, count.clamp(1, AT_ONCE));
    let (sender, receiver) = std::sync::mpsc::channel();
    std::thread::scope(|scope| {
        for _ in 0..threads {
            let (sender, next, there, order, one, title) = (sender.clone(), &next, &there, &order, &one, &title);
            scope.spawn(move || {
                while let Some(i) = order.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let so_far = there.load(Ordering::Relaxed);
                    told(so_far as f64 / count.max(1) as f64, title(*i), so_far);
                    let (against, known) = one(*i);
                    if sender.send((*i, against, known)).is_err() {
                        return;
                    }
                }
            });
        }
        drop(sender);
        for (i, against, known) in receiver {
            done(i, against);
            state.known.lock().unwrap_or_else(|e| e.into_inner()).extend(known);
            let so_far = there.fetch_add(1, Ordering::Relaxed) + 1;
            let now = order[next.load(Ordering::Relaxed).saturating_sub(1).min(count - 1)];
            told(so_far as f64 / count as f64, title(now), so_far);
        }
    });
    drop(before);
    state.services.rest();
}

/// Most passages that are listened to at once: each takes some 100 MB.
const AT_ONCE: usize = 4;

async fn found(Has(state): Shared) -> Response {
    at_desk(state, |_, open| match &open.kept {
        Some(kept) => Json(kept.full(open.desk.text(), &open.desk.lesson)).into_response(),
        None => Json(Value::Null).into_response(),
    })
    .await
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum How {
    Accept,
    AsWritten,
}

#[derive(Deserialize)]
struct Wanted {
    run: u64,
    finding: usize,
    how: How,
}

async fn settle(Has(state): Shared, headers: HeaderMap, Json(w): Json<Wanted>) -> Response {
    let by = window(&headers);
    at_desk(state, move |state, open| {
        let Some(kept) = open.kept.as_mut() else { return not_checked() };
        if kept.run != w.run {
            return another_run();
        }
        let (how, said) = match w.how {
            How::Accept => (Settle::Accept, "accepted"),
            How::AsWritten => (Settle::AsWritten, "kept as written"),
        };
        let text = open.desk.text().clone();
        let change = match kept.settle(w.finding, how, &text, &open.desk.lesson) {
            Ok(c) => c,
            Err(u) => return refusal(if u.moved { StatusCode::CONFLICT } else { StatusCode::UNPROCESSABLE_ENTITY }, u.found, u.right),
        };
        match open.desk.change_if_sound(vec![change], &format!("finding {} {said}", w.finding + 1)) {
            Ok(()) => {}
            Err(Refused::Faulty(found, right)) => return refusal(StatusCode::UNPROCESSABLE_ENTITY, found, right),
            Err(_) => return refusal(StatusCode::CONFLICT, "the text changed meanwhile", "do it again"),
        }
        told(state, &open.update(&by))
    })
    .await
}

/// A finding with all that its sounds are made of.
struct Asked {
    passage: Passage,
    checked: Checked,
    finding: Finding,
    record: Arc<record::Record>,
}

fn asked(state: &State, run: u64, number: usize) -> Result<Asked, Response> {
    let (folder, file, passage, checked, finding) = {
        let open = state.open();
        let Some(open) = open.as_ref() else { return Err(no_lesson()) };
        let Some(kept) = &open.kept else { return Err(not_checked()) };
        if kept.run != run {
            return Err(another_run());
        }
        let none = || refusal(StatusCode::NOT_FOUND, "there is no such finding", "choose one of the list");
        let f = kept.found.get(number).ok_or_else(none)?;
        let (p, against) = kept.lesson.passages.get(f.passage).zip(kept.passages.get(f.passage)).ok_or_else(none)?;
        let Ok((file, checked)) = &against.against else { return Err(none()) };
        (open.desk.folder.clone(), file.clone(), p.clone(), checked.clone(), f.finding.clone())
    };
    let record = state.records.get(&folder, &file).map_err(|why| refusal(StatusCode::NOT_FOUND, why, "put your own copy there"))?;
    Ok(Asked { passage, checked, finding, record })
}

#[derive(Deserialize)]
struct Around {
    run: u64,
    finding: usize,
    percent: u32,
}

/// The bars of the record around a finding, at its own pitch, as the page plays them.
async fn around(Has(state): Shared, Query(a): Query<Around>) -> Response {
    let made = away(move || {
        if let Some(r) = not_from_25_to_100(a.percent) {
            return Err(r);
        }
        let it = asked(&state, a.run, a.finding)?;
        let (_, _, bars) = crate::strip::bars_around(&it.passage, &it.checked, &it.finding);
        if bars.last().zip(bars.first()).is_some_and(|(b, a)| b - a > ROUND_MAX_S) {
            return Err(refusal(StatusCode::UNPROCESSABLE_ENTITY, "these bars are too long to go round", "choose a shorter stretch of the record above"));
        }
        let piece = it.record.sound.slice_time(wave::Seconds(bars[0])..wave::Seconds(bars[bars.len() - 1]));
        sounds::of_record(&piece, &bars, a.percent, 0.0, "").map_err(|why| refusal(StatusCode::UNPROCESSABLE_ENTITY, why, ""))
    });
    match made.await {
        Ok(Ok(bytes)) => ([(header::CONTENT_TYPE, "application/octet-stream")], Body::from(bytes)).into_response(),
        Ok(Err(r)) | Err(r) => r,
    }
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Of {
    Record,
    Parts,
}

#[derive(Deserialize)]
struct Snippet {
    run: u64,
    finding: usize,
    of: Of,
}

async fn snippet(Has(state): Shared, Query(s): Query<Snippet>) -> Response {
    let made = away(move || {
        let it = asked(&state, s.run, s.finding)?;
        let wrong = |why: String| refusal(StatusCode::UNPROCESSABLE_ENTITY, why, "");
        let [of_record, of_parts] = report::snippets(&it.passage, &it.checked, &it.finding, &it.record.sound).map_err(wrong)?;
        let sound = match s.of {
            Of::Record => of_record,
            Of::Parts => of_parts,
        };
        wave::encode_wav16(&sound).map_err(|e| wrong(e.to_string()))
    });
    match made.await {
        Ok(Ok(bytes)) => ([(header::CONTENT_TYPE, "audio/wav")], Body::from(bytes)).into_response(),
        Ok(Err(r)) | Err(r) => r,
    }
}

async fn report(Has(state): Shared) -> Response {
    let made = away(move || {
        // What is shown is taken out first, so that typing goes on while strips are drawn.
        let (title, folder, run, summary, found) = {
            let open = state.open();
            let Some(open) = open.as_ref() else { return no_lesson() };
            let Some(kept) = &open.kept else { return not_checked() };
            let (standings, _) = kept.standings(open.desk.text(), &open.desk.lesson);
            let summary: Vec<(String, String, Vec<String>)> = kept.passages.iter().map(|p| (p.title.clone(), p.words(), p.limits().to_vec())).collect();
            let found: Vec<(usize, Passage, String, Checked, Finding, crate::findings::Standing)> = kept
                .found
                .iter()
                .zip(standings)
                .enumerate()
                .filter_map(|(n, (f, s))| {
                    let (file, checked) = kept.passages[f.passage].against.as_ref().ok()?;
                    Some((n, kept.lesson.passages[f.passage].clone(), file.clone(), checked.clone(), f.finding.clone(), s))
                })
                .collect();
            (kept.lesson.title.clone(), open.desk.folder.clone(), kept.run, summary, found)
        };
        let records: Vec<Option<Arc<record::Record>>> = found.iter().map(|f| state.records.get(&folder, &f.2).ok()).collect();
        let items: Vec<Item> = found
            .iter()
            .zip(&records)
            .filter_map(|((n, passage, _, checked, finding, standing), record)| {
                let since = match standing {
                    crate::findings::Standing::Open => None,
                    crate::findings::Standing::Changed => Some("changed in the text; what stands here is of the check"),
                    other => Some(other.word()),
                };
                let sound = |of: &str| format!("/findings/sound?run={run}&finding={n}&of={of}");
                Some(Item { number: n + 1, passage, checked, finding, record: &record.as_ref()?.sound, since, sounds: [sound("record"), sound("parts")] })
            })
            .collect();
        Html(report::page(&title, &summary, &items, Dress::Linked)).into_response()
    });
    made.await.unwrap_or_else(|r| r)
}
