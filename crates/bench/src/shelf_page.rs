//! The shelf as a page: looking in all lessons that lie about, what pupils asked for, and what was never taught.

use crate::page;
use crate::routes::{Shared, away, refusal};
use crate::services::{Found, Hit, Wish, Without};
use crate::shelf;
use crate::state::State;
use axum::Router;
use axum::extract::{Json, Query, State as Has};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{get, post};
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::json;
use std::sync::Arc;

/// Longest text that is looked for, and longest list of requests that the page takes at once, in bytes.
const WORDS_MAX: usize = 400;
const LINES_MAX: usize = 64 * 1024;
/// Most of what was never taught that is shown.
const GAPS_MAX: usize = 12;

pub fn routes() -> Router<Arc<State>> {
    Router::new().route("/shelf", get(shown)).route("/wishes", post(wished))
}

/// What the address asks for: words, or a passage whose like is wanted (`folder/passage`).
#[derive(Debug, Default, Deserialize)]
struct Sought {
    #[serde(default)]
    words: String,
    #[serde(default)]
    like: String,
}

async fn shown(Has(state): Shared, Query(sought): Query<Sought>) -> Response {
    let made = away(move || {
        if sought.words.len() > WORDS_MAX || sought.like.len() > 2 * WORDS_MAX {
            return refusal(StatusCode::UNPROCESSABLE_ENTITY, "this is too long to look for", format!("at most {WORDS_MAX} letters"));
        }
        let found = match (sought.words.trim(), sought.like.rsplit_once('/')) {
            ("", None) => None,
            ("", Some((lesson, passage))) => Some(state.services.like(&state.shelf, lesson, passage)),
            (words, _) => Some(state.services.find(&state.shelf, words)),
        };
        let view = View {
            sought: &sought,
            found,
            wishes: state.services.wishes(&state.shelf),
            gaps: state.services.never_taught(&state.shelf),
            openable: shelf::lessons(&state.shelf),
            open: state.open().as_ref().map(|o| o.desk.lesson.title.clone()),
            // An absolute path, so that "." says something.
            folder: state.shelf.canonicalize().unwrap_or_else(|_| state.shelf.clone()).display().to_string(),
        };
        Html(whole(&view)).into_response()
    });
    made.await.unwrap_or_else(|r| r)
}

#[derive(Deserialize)]
struct Wished {
    lines: String,
}

async fn wished(Has(state): Shared, Json(w): Json<Wished>) -> Response {
    let done = away(move || {
        if w.lines.len() > LINES_MAX {
            return refusal(StatusCode::UNPROCESSABLE_ENTITY, format!("the list has {} bytes", w.lines.len()), format!("add at most {LINES_MAX} at once"));
        }
        if w.lines.trim().is_empty() {
            return refusal(StatusCode::UNPROCESSABLE_ENTITY, "nothing stands in the list", "write what was asked for, a line each");
        }
        match state.services.wish(&state.shelf, &w.lines) {
            Ok(()) => Json(json!({})).into_response(),
            Err(Without::NotAvailable(why)) => refusal(StatusCode::NOT_IMPLEMENTED, why, ""),
            Err(Without::Failed(why)) => refusal(StatusCode::UNPROCESSABLE_ENTITY, why, "nothing was written"),
        }
    });
    done.await.unwrap_or_else(|r| r)
}

struct View<'a> {
    sought: &'a Sought,
    found: Option<Result<Found, Without>>,
    wishes: Result<Vec<Wish>, Without>,
    gaps: Result<Vec<String>, Without>,
    /// Lessons that the bench can open.
    openable: Vec<String>,
    /// Title of the open lesson.
    open: Option<String>,
    folder: String,
}

fn whole(v: &View) -> String {
    page::frame(
        "Shelf · Partwright",
        "shelf.js",
        html! {
            main.start.shelf {
                p.views { a href="/" { @match &v.open { Some(t) => { "Back to " (t) } None => { "Back to the lessons" } } } }
                h1 { "The shelf" }
                p.quiet { "All lessons below " (v.folder) "." }
                p.said id="said" role="status" {}
                form role="search" action="/shelf" method="get" {
                    label for="words" { "Look for " }
                    input id="words" type="text" name="words" value=(v.sought.words) maxlength=(WORDS_MAX) autocomplete="off" spellcheck="false" aria-describedby="how";
                    " " button.go type="submit" { "Find" }
                    p.quiet id="how" { "Words, a kind of chord, a grip, and more, all of which one passage must have: " code { "rootless ninth" } ", " code { "grip x x 8 8 8 x" } ", " code { "tempo 90-110 not technique bend" } "." }
                }
                @if let Some(found) = &v.found { (results(v, found)) }
                section aria-labelledby="asked" {
                    h2 id="asked" { "What pupils asked for" }
                    @match &v.wishes {
                        Err(why) => pre.fault { (why) },
                        Ok(list) => (wishes(list)),
                    }
                    form id="wish" {
                        label for="lines" { "Asked for, a line each" }
                        textarea id="lines" rows="3" maxlength=(LINES_MAX) required {}
                        button type="submit" { "Write it down" }
                    }
                }
                section aria-labelledby="gaps" {
                    h2 id="gaps" { "Used often, never taught" }
                    @match &v.gaps {
                        Err(why) => pre.fault { (why) },
                        Ok(list) if list.is_empty() => p.quiet { "Nothing: what is used often was taught." },
                        Ok(list) => {
                            ul { @for g in list.iter().take(GAPS_MAX) { li { (crate::findings::sentence(g)) } } }
                            @if list.len() > GAPS_MAX { p.quiet { "and " (list.len() - GAPS_MAX) " more." } }
                        }
                    }
                }
            }
        },
    )
}

fn results(v: &View, found: &Result<Found, Without>) -> Markup {
    html! {
        section aria-labelledby="found" {
            h2 id="found" { @if v.sought.words.trim().is_empty() { "Most like " (v.sought.like) } @else { "Found" } }
            @match found {
                Err(why) => pre.fault { (why) },
                Ok(f) if f.hits.is_empty() => p { "Nothing on the shelf has all of that." },
                Ok(f) => {
                    ol.hits { @for h in &f.hits { (hit(v, h)) } }
                    @if f.total > f.hits.len() { p.quiet { (f.total) " in all. One thing more in the search makes it fewer." } }
                }
            }
        }
    }
}

fn hit(v: &View, h: &Hit) -> Markup {
    let at = format!("{}/{}", h.lesson, h.passage.as_deref().unwrap_or(""));
    html! {
        li {
            p { b { (h.title) } @if let Some(p) = &h.passage { ", " (p) } @if !h.place.is_empty() { span.quiet { " (" (h.place) ")" } } }
            p { (h.why) }
            p.views {
                @if v.openable.contains(&h.lesson) { button type="button" data-folder=(h.lesson) { "Open this lesson" } }
                @else { span.quiet { "In the folder " (h.lesson) "." } }
                @if h.passage.is_some() { " " a href={ "/shelf?like=" (escaped(&at)) } { "Passages like it" } }
            }
        }
    }
}

fn wishes(list: &[Wish]) -> Markup {
    let (open, answered): (Vec<&Wish>, Vec<&Wish>) = list.iter().partition(|w| w.by.is_empty());
    let often = |w: &Wish| if w.times == 1 { "once".to_string() } else { format!("{} times", w.times) };
    html! {
        @if list.is_empty() { p.quiet { "Nothing yet." } }
        @if !open.is_empty() {
            h3 { "No lesson yet" }
            ol { @for w in open { li { (w.words) span.quiet { ", " (often(w)) @if let Some(d) = &w.day { ", last on " (d) } @if !w.without.is_empty() { "; no lesson has " (w.without.join(", ")) } } } } }
        }
        @if !answered.is_empty() {
            h3 { "There already" }
            ul { @for w in answered { li { (w.words) span.quiet { ", " (often(w)) ": " (w.by.join(", ")) } } } }
        }
    }
}

/// A value of a query, for an address (RFC 3986, section 2.1).
fn escaped(text: &str) -> String {
    let mut out = String::new();
    for b in text.bytes() {
        if b.is_ascii_alphanumeric() || b"-._~/".contains(&b) { out.push(char::from(b)) } else { out += &format!("%{b:02X}") }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_in_what_the_shelf_says_is_text() {
        let bad = "<img src=x onerror=alert(1)>".to_string();
        let h = Hit { lesson: bad.clone(), title: bad.clone(), passage: Some(bad.clone()), place: bad.clone(), why: bad.clone() };
        let w = Wish { words: bad.clone(), day: Some(bad.clone()), times: 2, by: vec![], without: vec![bad.clone()] };
        let sought = Sought { words: bad.clone(), like: bad.clone() };
        let v = View { sought: &sought, found: Some(Ok(Found { hits: vec![h], total: 3 })), wishes: Ok(vec![w]), gaps: Ok(vec![bad.clone()]), openable: vec![bad.clone()], open: Some(bad.clone()), folder: bad };
        let page = whole(&v);
        assert!(!page.contains("<img") && page.matches("&lt;img").count() >= 10, "{page}");
        assert!(page.contains("href=\"/shelf?like=%3Cimg%20src%3Dx%20onerror%3Dalert%281%29%3E/%3Cimg"), "{page}");
    }
}
