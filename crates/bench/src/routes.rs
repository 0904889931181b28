//! What is answered where. Everything here has passed the guard.

use crate::act::{Act, act};
use crate::apart::Apart;
use crate::beneath::sound_name;
use crate::desk::{Refused, Resolve};
use crate::differ;
use crate::drawn::{Look, source};
use crate::guard::{guard, same};
use crate::hand::At;
use crate::services::Without;
use crate::state::{Open, State, Wake};
use crate::{page, record, shelf, sounds};
use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{DefaultBodyLimit, Json, Multipart, Path, Query, State as Has};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{get, post};
use futures_util::stream::{Stream, unfold};
use serde::Deserialize;
use serde_json::{Value, json};
use std::convert::Infallible;
use std::io::{Read, Write};
use std::sync::Arc;
use tokio::sync::broadcast::error::RecvError;

pub type Shared = Has<Arc<State>>;

/// Largest sound file that may be handed in.
pub const UPLOAD_MAX: usize = 200 * 1024 * 1024;
/// Largest other request: a lesson, and what its coding adds.
pub const BODY_MAX: usize = 2 * lesson::BYTES_MAX + 4096;
/// Largest file of a pack that is shown.
const SHOWN_MAX: u64 = 200 * 1024 * 1024;

pub fn routes(state: Arc<State>) -> Router {
    Router::new()
        .route("/", get(index))
        .route("/bench/{file}", get(asset))
        .route("/state", get(everything))
        .route("/events", get(events))
        .route("/text", post(text))
        .route("/act", post(acted))
        .route("/undo", post(undo))
        .route("/redo", post(redo))
        .route("/conflict", get(conflict).post(resolve))
        .route("/hand", get(at_hand))
        .route("/fit", get(how_parts_fit))
        .route("/sound", get(sound))
        .route("/record", get(record_in_bars))
        .route("/record-sound", get(record_sound))
        .route("/record/alike", get(alike))
        .route("/taps", post(tapped))
        .route("/counted", post(counted))
        .route("/make", post(make))
        .route("/choose", post(choose))
        .route("/create", post(create))
        .route("/demo", post(demo))
        .route("/pack/{key}/{*path}", get(pack))
        .merge(crate::checking::routes())
        .merge(crate::taking::routes())
        .merge(crate::shelf_page::routes())
        .layer(DefaultBodyLimit::max(BODY_MAX))
        .route("/takes", post(takes).layer(DefaultBodyLimit::max(UPLOAD_MAX)))
        .layer(axum::middleware::from_fn_with_state(state.clone(), guard))
        .with_state(state)
}

/// An answer that says why not.
pub fn refusal(status: StatusCode, found: impl Into<String>, right: impl Into<String>) -> Response {
    (status, Json(json!({ "found": found.into(), "right": right.into() }))).into_response()
}

pub fn no_lesson() -> Response {
    refusal(StatusCode::CONFLICT, "no lesson is open", "choose one first")
}

/// A tempo that the bench does not play at.
pub fn not_from_25_to_100(percent: u32) -> Option<Response> {
    (!(25..=100).contains(&percent)).then(|| refusal(StatusCode::UNPROCESSABLE_ENTITY, "this is no tempo of the bench", "25 to 100 %"))
}

/// Work that takes the processor, away from the threads that answer.
pub async fn away<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, Response> {
    tokio::task::spawn_blocking(work).await.map_err(|_| refusal(StatusCode::INTERNAL_SERVER_ERROR, "this could not be worked out", "try it again; what was typed is safe"))
}

/// Something done to the open lesson: some milliseconds, worked out by the thread that answers. Handing it to another one costs more where the machine is
/// busy, for each thread waits for its turn.
pub async fn at_desk(state: Arc<State>, work: impl FnOnce(&State, &mut Open) -> Response + Send + 'static) -> Response {
    tokio::task::block_in_place(|| match state.open().as_mut() {
        Some(open) => work(&state, open),
        None => no_lesson(),
    })
}

/// The window that asks, so that it is not told its own news; at most a few letters.
pub fn window(headers: &HeaderMap) -> String {
    headers.get("x-window").and_then(|v| v.to_str().ok()).unwrap_or("").chars().filter(char::is_ascii_alphanumeric).take(16).collect()
}

/// The update after a change: to the window that asked, and to all others.
fn changed(state: &State, open: &mut Open, by: &str) -> Response {
    let update = open.update(by);
    told(state, &update)
}

/// Written out once, for the window that asked and for all others.
pub fn told(state: &State, update: &Value) -> Response {
    let text: Arc<str> = Arc::from(update.to_string());
    let _ = state.news.send(("update", text.clone()));
    let _ = state.wake.send(Wake::Typed);
    ([(header::CONTENT_TYPE, "application/json")], text.to_string()).into_response()
}

async fn index(Has(state): Shared) -> Response {
    let open = state.open().as_ref().map(|o| o.desk.lesson.title.clone());
    match open {
        Some(title) => Html(page::bench(&title, &state.guard.pack)).into_response(),
        None => {
            let lessons = shelf::lessons(&state.shelf);
            let demos: Vec<&str> = state.services.demos().iter().map(|d| d.folder).filter(|d| !lessons.iter().any(|l| l == d)).collect();
            Html(page::start(&lessons, &demos)).into_response()
        }
    }
}

async fn asset(Path(file): Path<String>) -> Response {
    match page::asset(&file) {
        Some((kind, text)) => ([(header::CONTENT_TYPE, kind)], text).into_response(),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}

#[derive(Deserialize)]
struct Wished {
    /// What the window does not say stays as it is.
    narrow: Option<bool>,
    left: Option<bool>,
}

async fn everything(Has(state): Shared, Query(w): Query<Wished>) -> Response {
    at_desk(state, move |state, open| {
        let now = open.look();
        if open.set_look(Look { narrow: w.narrow.unwrap_or(now.narrow), left_handed: w.left.unwrap_or(now.left_handed) }) {
            // Other windows draw for this one's width from now on.
            state.tell("look", &json!({}));
        }
        Json(open.everything()).into_response()
    })
    .await
}

async fn events(Has(state): Shared) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let stream = unfold((state.news.subscribe(), state.stopping.subscribe()), |(mut news, mut stop)| async move {
        let event = tokio::select! {
            e = news.recv() => e,
            _ = async { let _ = stop.wait_for(|s| *s).await; } => Err(RecvError::Closed),
        };
        let event = match event {
            Ok((name, data)) => Event::default().event(name).data(&*data),
            // Too slow for the news: it fetches everything.
            Err(RecvError::Lagged(_)) => Event::default().event("look").data("{}"),
            Err(RecvError::Closed) => return None,
        };
        Some((Ok(event), (news, stop)))
    });
    Sse::new(stream).keep_alive(KeepAlive::default())
}

#[derive(Deserialize)]
struct Typed {
    version: u64,
    start: usize,
    end: usize,
    with: String,
}

async fn text(Has(state): Shared, headers: HeaderMap, Json(t): Json<Typed>) -> Response {
    let by = window(&headers);
    at_desk(state, move |state, open| match open.desk.edit(t.version, t.start, t.end, &t.with, "typing") {
        Ok(()) => changed(state, open, &by),
        Err(Refused::Moved) => refusal(StatusCode::CONFLICT, "the text changed at this place in another window", "look at it and type again"),
        Err(Refused::Faulty(found, right)) => refusal(StatusCode::UNPROCESSABLE_ENTITY, found, right),
        Err(Refused::Wrong(why)) => refusal(StatusCode::UNPROCESSABLE_ENTITY, why, "open the page again"),
    })
    .await
}

/// An act, and the slot where the cursor goes on: what lies there comes along, so that a key takes one round trip.
#[derive(Deserialize)]
struct Asking {
    #[serde(flatten)]
    act: Act,
    then: Option<At>,
}

async fn acted(Has(state): Shared, headers: HeaderMap, Json(Asking { act: a, then }): Json<Asking>) -> Response {
    let by = window(&headers);
    at_desk(state, move |state, open| {
        let text = open.desk.text().clone();
        match act(&text, &open.desk.lesson, &a) {
            Ok(done) => {
                let played = done.edited.played;
                match open.desk.change_if_sound(done.edited.changes, &done.said) {
                    Ok(()) => {}
                    Err(Refused::Faulty(found, right)) => return refusal(StatusCode::UNPROCESSABLE_ENTITY, found, right),
                    Err(_) => return refusal(StatusCode::CONFLICT, "the text changed meanwhile", "do it again"),
                }
                let mut update = open.update(&by);
                update["played"] = played.into();
                if let Some(at) = &then {
                    update["hand"] = open.hand(at);
                }
                told(state, &update)
            }
            Err(e) => refusal(StatusCode::UNPROCESSABLE_ENTITY, e.found, e.right),
        }
    })
    .await
}

/// What is sent along says nothing, but is read: hyper closes a line on which something is left.
async fn undo(Has(state): Shared, headers: HeaderMap, _: Bytes) -> Response {
    let by = window(&headers);
    at_desk(state, move |state, open| if open.desk.undo() { changed(state, open, &by) } else { refusal(StatusCode::UNPROCESSABLE_ENTITY, "there is nothing to take back", "") }).await
}

async fn redo(Has(state): Shared, headers: HeaderMap, _: Bytes) -> Response {
    let by = window(&headers);
    at_desk(state, move |state, open| if open.desk.redo() { changed(state, open, &by) } else { refusal(StatusCode::UNPROCESSABLE_ENTITY, "nothing was taken back", "") }).await
}

async fn conflict(Has(state): Shared) -> Response {
    at_desk(state, |_, open| {
        let Some(theirs) = open.desk.theirs() else { return Json(json!({ "lines": [] })).into_response() };
        let lines: Vec<Value> = differ::lines(open.desk.text(), theirs)
            .into_iter()
            .map(|l| match l {
                differ::Line::Both(t) => json!(["both", t]),
                differ::Line::Left(t) => json!(["here", t]),
                differ::Line::Right(t) => json!(["file", t]),
            })
            .collect();
        Json(json!({ "lines": lines })).into_response()
    })
    .await
}

#[derive(Deserialize)]
struct Choice {
    keep: String,
}

async fn resolve(Has(state): Shared, headers: HeaderMap, Json(c): Json<Choice>) -> Response {
    let by = window(&headers);
    at_desk(state, move |state, open| {
        let with = match c.keep.as_str() {
            "here" => Resolve::Mine,
            "file" if !open.desk.theirs_fits() => return refusal(StatusCode::UNPROCESSABLE_ENTITY, "what the file holds is no lesson: it is too long, or no UTF-8 text", "keep what is here (the file is kept beside it), or mend the file"),
            "file" => Resolve::Theirs,
            _ => return refusal(StatusCode::UNPROCESSABLE_ENTITY, "this is no choice", "keep what is here, or what is in the file"),
        };
        if open.desk.resolve(with) { changed(state, open, &by) } else { refusal(StatusCode::UNPROCESSABLE_ENTITY, "the two agree already", "") }
    })
    .await
}

async fn at_hand(Has(state): Shared, Query(at): Query<At>) -> Response {
    at_desk(state, move |_, open| Json(open.hand(&at)).into_response()).await
}

#[derive(Deserialize)]
struct OfPassage {
    passage: String,
}

async fn how_parts_fit(Has(state): Shared, Query(of): Query<OfPassage>) -> Response {
    at_desk(state, move |_, open| match open.fit(&of.passage) {
        Some(markup) => Json(json!({ "markup": markup })).into_response(),
        None => refusal(StatusCode::NOT_FOUND, "there is no such passage", "choose one of the page"),
    })
    .await
}

#[derive(Deserialize)]
struct Asked {
    passage: String,
    percent: u32,
    #[serde(flatten)]
    heard: Heard,
}

/// How the record is to be heard.
#[derive(Deserialize)]
struct Heard {
    /// As [`Apart::parse`] reads it.
    #[serde(default)]
    apart: String,
    /// At concert pitch, by what was heard of its own.
    #[serde(default)]
    concert: String,
}

impl Heard {
    fn apart(&self) -> Result<Apart, Response> {
        Apart::parse(&self.apart).map_err(|found| refusal(StatusCode::UNPROCESSABLE_ENTITY, found, "all, only:SEAT, without:SEAT, tones or strokes; a seat is -1 (left) to 1 (right)"))
    }

    /// Cents that the record is moved down by: none unless it is asked for.
    fn cents(&self, heard: &Value) -> f64 {
        if self.concert == "yes" { heard["off"].as_f64().unwrap_or(0.0) } else { 0.0 }
    }
}

async fn sound(Has(state): Shared, Query(a): Query<Asked>) -> Response {
    let made = away(move || {
        // The lesson is free to change while its sound is made.
        let found = {
            let open = state.open();
            let Some(open) = open.as_ref() else { return Err(no_lesson()) };
            let lesson = &open.desk.lesson;
            let folder = open.desk.folder.clone();
            lesson.passages.iter().position(|p| p.id == a.passage).map(|i| (lesson.passages[i].clone(), format!("{} {}", a.percent, source(open.desk.text(), lesson, i)), folder))
        };
        let Some((passage, key, folder)) = found else { return Err(refusal(StatusCode::NOT_FOUND, "there is no such passage", "choose one of the page")) };
        if let Some(r) = not_from_25_to_100(a.percent) {
            return Err(r);
        }
        let how = a.heard.apart()?;
        // A record that is not there is no fault: the parts play without it.
        let record = passage.record.first().and_then(|q| state.records.get(&folder, &q.file).ok().map(|r| (r, q)));
        let Some((record, q)) = record.filter(|(r, q)| q.from_s < r.sound.duration().0) else {
            return state.sounds.get(&key, || sounds::passage(&passage, a.percent, None)).map_err(|why| refusal(StatusCode::UNPROCESSABLE_ENTITY, why, ""));
        };
        if how != Apart::All && q.to_s - q.from_s > ROUND_MAX_S {
            return Err(refusal(StatusCode::UNPROCESSABLE_ENTITY, "this is a long stretch to take apart", "let all of the record through, or quote two minutes of it at most"));
        }
        // Some sound to each side, so that the ends may lie where the strokes do.
        let lead = q.from_s.min(record::BESIDE_S);
        let (piece, words) = stretch(&state, &record, q.from_s - lead, q.to_s + record::BESIDE_S, how)?;
        // Only what was listened to before: to play must not wait for that.
        let heard = crate::desk::scratch(&folder).ok().and_then(|s| record::kept(&record, &s)).unwrap_or_default();
        let beats: Vec<f64> = heard["beats"].as_array().into_iter().flatten().filter_map(Value::as_f64).collect();
        let under = record::under(&passage, q.from_s, q.to_s, &beats);
        let cents = passage.record_cents.unwrap_or_else(|| a.heard.cents(&heard));
        let key = format!("with the record {} {how:?} {cents} {under:?} {key}", record.key());
        let make = || {
            let beats = record::in_step(&passage, &record, q.from_s, q.to_s, &under).into_iter().map(|(s, w)| (s + lead, w)).collect();
            sounds::passage(&passage, a.percent, Some(sounds::Quoted { piece: &piece.0, beats, cents, words }))
        };
        state.sounds.get(&key, make).map_err(|why| refusal(StatusCode::UNPROCESSABLE_ENTITY, why, ""))
    });
    match made.await {
        Ok(Ok(bytes)) => ([(header::CONTENT_TYPE, "application/octet-stream")], Body::from(bytes.to_vec())).into_response(),
        Ok(Err(r)) | Err(r) => r,
    }
}

/// A stretch of the record, taken apart, and how well that went in words.
fn stretch(state: &State, record: &record::Record, from_s: f64, to_s: f64, how: Apart) -> Result<(Arc<(wave::Buffer, Option<hear::Quality>)>, String), Response> {
    let piece = state.stretches.get(record, from_s, to_s, how, &*state.services).map_err(|why| refusal(StatusCode::UNPROCESSABLE_ENTITY, why, "let all of the record through"))?;
    let words = piece.1.as_ref().map(hear::Quality::words).unwrap_or_default();
    Ok((piece, words))
}

/// What was found and what would be right, where there is no record to show.
type Missing = (String, String);

/// The record and what was heard of it, or why not.
fn listened(state: &State) -> Result<(Arc<record::Record>, Value), Missing> {
    let (folder, file) = {
        let open = state.open();
        let Some(open) = open.as_ref() else { return Err(("no lesson is open".into(), "choose one first".into())) };
        (open.desk.folder.clone(), record::file_of(&open.desk.lesson))
    };
    let Some(file) = file else { return Err(("The lesson names no record".into(), "record \"audio/name.flac\" from=\"0:12.4\" to=\"0:21.8\" in a passage shows yours in bars".into())) };
    let missing = |why: String| (why, "put your own copy there to see it in bars".to_string());
    let found = state.records.get(&folder, &file).map_err(missing)?;
    let scratch = crate::desk::scratch(&folder).map_err(|e| missing(e.to_string()))?;
    let tell = |part: f64, what: &str| state.tell("listening", &json!({ "part": part, "what": what }));
    let heard = record::heard(&found, &scratch, &*state.services, &tell).map_err(|why| (why, "the passages can be worked on without".to_string()))?;
    Ok((found, heard))
}

fn not_there((found, right): Missing) -> Response {
    refusal(StatusCode::NOT_FOUND, found, right)
}

async fn record_in_bars(Has(state): Shared) -> Response {
    let found = away(move || {
        // To work without the record is no fault.
        let (record, mut heard) = match listened(&state) {
            Ok(found) => found,
            Err((found, right)) => return Ok(Json(json!({ "why": format!("{found}: {right}.") })).into_response()),
        };
        heard["file"] = record.file.clone().into();
        // For the server alone.
        heard.as_object_mut().map(|o| o.remove("form"));
        heard["quoted"] = state.open().as_ref().map(|o| record::quoted(&o.desk.lesson, &record)).unwrap_or_default().into();
        Ok(Json(heard).into_response())
    });
    found.await.and_then(|r| r).unwrap_or_else(|r| r)
}

#[derive(Deserialize)]
struct Taps {
    beats: Vec<f64>,
}

async fn tapped(Has(state): Shared, Json(t): Json<Taps>) -> Response {
    said(state, move |record, scratch| record::keep_taps(record, scratch, &t.beats)).await
}

#[derive(Deserialize)]
struct Counted {
    /// Where bars begin, in seconds.
    bars: Vec<f64>,
    meter: Option<String>,
}

async fn counted(Has(state): Shared, Json(c): Json<Counted>) -> Response {
    if let Some((m, Err(known))) = c.meter.as_ref().map(|m| (m, m.parse::<hear::Meter>())) {
        return refusal(StatusCode::BAD_REQUEST, format!("bars cannot be counted in {m}"), known);
    }
    said(state, move |record, scratch| record::keep_bars(record, scratch, &c.bars, c.meter)).await
}

/// Keeps what was said of how the record is counted.
async fn said(state: Arc<State>, keep: impl FnOnce(&record::Record, &std::path::Path) -> std::io::Result<()> + Send + 'static) -> Response {
    let kept = away(move || {
        let (record, _) = listened(&state).map_err(not_there)?;
        let scratch = state.open().as_ref().and_then(|o| crate::desk::scratch(&o.desk.folder).ok());
        let Some(scratch) = scratch else { return Err(no_lesson()) };
        keep(&record, &scratch).map_err(|e| refusal(StatusCode::INTERNAL_SERVER_ERROR, format!("what was said of the beats could not be kept: {}", keep::words(&e)), ""))?;
        Ok(Json(json!({})).into_response())
    });
    kept.await.and_then(|r| r).unwrap_or_else(|r| r)
}

#[derive(Deserialize)]
struct Bars {
    from: usize,
    to: usize,
    percent: u32,
    #[serde(flatten)]
    heard: Heard,
}

/// Longest stretch of the record that goes round, seconds at full tempo.
pub const ROUND_MAX_S: f64 = 120.0;

async fn record_sound(Has(state): Shared, Query(b): Query<Bars>) -> Response {
    let made = away(move || {
        if let Some(r) = not_from_25_to_100(b.percent) {
            return Err(r);
        }
        let (record, heard) = listened(&state).map_err(not_there)?;
        let starts: Vec<f64> = heard["bars"].as_array().into_iter().flatten().filter_map(Value::as_f64).collect();
        let Some(bars) = (b.from < b.to).then(|| starts.get(b.from..=b.to)).flatten() else { return Err(refusal(StatusCode::NOT_FOUND, "the record has no such bars", "choose bars that it shows")) };
        if bars[bars.len() - 1] - bars[0] > ROUND_MAX_S {
            return Err(refusal(StatusCode::UNPROCESSABLE_ENTITY, "this is a long stretch to go round", "choose two minutes of it at most"));
        }
        let (piece, words) = stretch(&state, &record, bars[0], bars[bars.len() - 1], b.heard.apart()?)?;
        sounds::of_record(&piece.0, bars, b.percent, b.heard.cents(&heard), &words).map_err(|why| refusal(StatusCode::UNPROCESSABLE_ENTITY, why, ""))
    });
    match made.await {
        Ok(Ok(bytes)) => ([(header::CONTENT_TYPE, "application/octet-stream")], bytes).into_response(),
        Ok(Err(r)) | Err(r) => r,
    }
}

#[derive(Deserialize)]
struct Stretch {
    from: usize,
    to: usize,
}

/// Where bars of the record come back.
async fn alike(Has(state): Shared, Query(s): Query<Stretch>) -> Response {
    let found = away(move || {
        let (_, heard) = listened(&state).map_err(not_there)?;
        let form: Vec<crate::form::Bar> = serde_json::from_value(heard["form"].clone()).unwrap_or_default();
        let places = crate::form::places(&form, s.from, s.to);
        if places.is_empty() {
            return Err(refusal(StatusCode::NOT_FOUND, "the record has no such bars", "choose bars that it shows"));
        }
        Ok(Json(json!({ "places": places })).into_response())
    });
    found.await.and_then(|r| r).unwrap_or_else(|r| r)
}

async fn make(Has(state): Shared, _: Bytes) -> Response {
    let made = away(move || {
        let Ok(_one) = state.making.try_lock() else { return refusal(StatusCode::CONFLICT, "the pack is being made already", "wait until it is done") };
        let folder = {
            let open = state.open();
            let Some(open) = open.as_ref() else { return no_lesson() };
            if open.desk.theirs().is_some() {
                return refusal(StatusCode::CONFLICT, "the file and the page differ", "choose one of the two first");
            }
            if open.desk.has_errors() {
                return refusal(StatusCode::UNPROCESSABLE_ENTITY, "the lesson has errors", "mend what is listed, then make");
            }
            open.desk.folder.root().to_path_buf()
        };
        // What is made must be what is shown.
        let _ = state.wake.send(Wake::Typed);
        for _ in 0..40 {
            if state.open().as_ref().is_some_and(|o| o.desk.is_saved()) {
                break;
            }
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
        let tell = |part: f64, what: &str| state.tell("making", &json!({ "part": part, "what": what }));
        let made = state.services.make(&folder, &tell);
        state.services.rest();
        service(made.map(|files| json!({ "files": files })))
    });
    made.await.unwrap_or_else(|r| r)
}

fn service(answer: Result<Value, Without>) -> Response {
    match answer {
        Ok(value) => Json(value).into_response(),
        Err(Without::NotAvailable(why)) => refusal(StatusCode::NOT_IMPLEMENTED, why, ""),
        Err(Without::Failed(why)) => refusal(StatusCode::UNPROCESSABLE_ENTITY, why, ""),
    }
}

#[derive(Deserialize)]
struct Chosen {
    folder: String,
}

async fn choose(Has(state): Shared, Json(c): Json<Chosen>) -> Response {
    let done = away(move || {
        // Only what the page listed: a path that it did not list opens nothing.
        if !shelf::lessons(&state.shelf).contains(&c.folder) {
            return refusal(StatusCode::NOT_FOUND, "there is no such lesson here", "choose one of the list");
        }
        opened(state.open_lesson(&state.shelf.join(&c.folder)))
    });
    done.await.unwrap_or_else(|r| r)
}

#[derive(Deserialize)]
struct Titled {
    title: String,
}

async fn create(Has(state): Shared, Json(t): Json<Titled>) -> Response {
    let done = away(move || {
        let title = t.title.trim();
        opened(shelf::create(&state.shelf, title, &state.services.starter(title)).and_then(|folder| state.open_lesson(&folder)))
    });
    done.await.unwrap_or_else(|r| r)
}

/// A demo lesson, copied into a folder here.
async fn demo(Has(state): Shared, Json(c): Json<Chosen>) -> Response {
    let done = away(move || match state.services.demos().iter().find(|d| d.folder == c.folder) {
        None => refusal(StatusCode::NOT_FOUND, "there is no such demo lesson", "choose one of the list"),
        Some(d) => opened(shelf::begin(&state.shelf, d.folder, d.text).and_then(|folder| state.open_lesson(&folder))),
    });
    done.await.unwrap_or_else(|r| r)
}

fn opened(answer: Result<(), String>) -> Response {
    match answer {
        Ok(()) => Json(json!({})).into_response(),
        Err(why) => refusal(StatusCode::UNPROCESSABLE_ENTITY, why, ""),
    }
}

async fn pack(Has(state): Shared, Path((key, path)): Path<(String, String)>) -> Response {
    if !same(&key, &state.guard.pack) {
        return StatusCode::FORBIDDEN.into_response();
    }
    let read = away(move || {
        let folder = state.open().as_ref().map(|o| o.desk.folder.clone())?;
        let file = folder.open(&format!("pack/{path}")).ok()?;
        let mut bytes = Vec::new();
        file.take(SHOWN_MAX).read_to_end(&mut bytes).ok()?;
        Some((kind(&path), bytes))
    });
    match read.await {
        Ok(Some((kind, bytes))) => ([(header::CONTENT_TYPE, kind)], bytes).into_response(),
        Ok(None) => StatusCode::NOT_FOUND.into_response(),
        Err(r) => r,
    }
}

/// Media type by a file's ending; what is not known is only bytes.
fn kind(path: &str) -> &'static str {
    match path.rsplit('.').next().unwrap_or("") {
        "html" => "text/html; charset=utf-8",
        "css" => "text/css; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "svg" => "image/svg+xml",
        "pdf" => "application/pdf",
        "opus" | "ogg" => "audio/ogg",
        "wav" => "audio/wav",
        "txt" | "vtt" => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    }
}

/// Sound files handed in, under the lesson's `takes`. One that is there is never written over.
async fn takes(Has(state): Shared, form: Result<Multipart, axum::extract::multipart::MultipartRejection>) -> Response {
    let wrong = || refusal(StatusCode::BAD_REQUEST, "this is no form with a file", "hand in a sound file");
    let Ok(mut form) = form else { return wrong() };
    let Some(folder) = state.open().as_ref().map(|o| o.desk.folder.clone()) else { return no_lesson() };
    let mut kept: Vec<String> = Vec::new();
    loop {
        let mut field = match form.next_field().await {
            Ok(Some(f)) => f,
            Ok(None) => break,
            Err(e) => return refusal(e.status(), "the form is broken off or too large", "hand in a sound file of at most 200 MB"),
        };
        let Some(name) = field.file_name().and_then(sound_name) else {
            return refusal(StatusCode::UNPROCESSABLE_ENTITY, "this is no sound file by its name", "hand in a file that ends in wav, flac, mp3, ogg, opus or m4a");
        };
        if kept.len() == 16 {
            return refusal(StatusCode::UNPROCESSABLE_ENTITY, "these are more than 16 files", "hand them in a few at a time");
        }
        let fail = |e: std::io::Error| refusal(StatusCode::INTERNAL_SERVER_ERROR, format!("the take could not be written: {}", keep::words(&e)), "");
        // Half a take is none: it gets its name when it is whole.
        let (takes, mut half) = match folder.folder("takes").and_then(|t| keep::Half::of(&t.join(&name)).map(|h| (t, h))) {
            Ok(found) => found,
            Err(e) => return fail(e),
        };
        let mut written = 0usize;
        let outcome = loop {
            match field.chunk().await {
                Ok(Some(chunk)) => {
                    written += chunk.len();
                    if written > UPLOAD_MAX {
                        break Err(refusal(StatusCode::PAYLOAD_TOO_LARGE, "the file is larger than 200 MB", "cut out what you need"));
                    }
                    if let Err(e) = half.file.write_all(&chunk) {
                        break Err(fail(e));
                    }
                }
                Ok(None) => break half.file.sync_all().and_then(|()| name_take(&half, &takes, &name)).map_err(fail),
                Err(e) => break Err(refusal(e.status(), "the form is broken off or too large", "hand in a sound file of at most 200 MB")),
            }
        };
        match outcome {
            Ok(shown) => kept.push(shown),
            Err(r) => return r,
        }
    }
    if kept.is_empty() { wrong() } else { Json(json!({ "takes": kept })).into_response() }
}

/// Gives a take its name, with a number behind it where that is taken.
fn name_take(half: &keep::Half, takes: &std::path::Path, name: &str) -> std::io::Result<String> {
    let (stem, end) = name.rsplit_once('.').unwrap_or((name, "wav"));
    for n in 1..1000 {
        let name = if n == 1 { name.to_string() } else { format!("{stem}-{n}.{end}") };
        match half.named_new(&takes.join(&name)) {
            Ok(()) => return Ok(format!("takes/{name}")),
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(e) => return Err(e),
        }
    }
    Err(std::io::Error::from(std::io::ErrorKind::AlreadyExists))
}
