//! The stand-up sheet as PDF/UA-1: one page a passage, what to say about it in type that is read from two metres, and about how long it takes; the same bytes for
//! the same input.
//!
//! # Method
//! Capital letters are at least 9.3 mm high, 16 minutes of arc at two metres (ISO 9241-303 gives that as the least height to read without effort; value from
//! memory). Each page takes the largest size at which all its points fit. Where they do not fit at the least size either, points are taken in order of their
//! weight, the teacher's notes first (while something else waits, they take at most two thirds of the lines), and the page says how many are left off: it holds what one
//! can read, the draft in the lesson holds the rest.
//!
//! Lines are broken here, by the widths of the very font, so that what was planned is what is printed.

use crate::handout::letters::{BREAK, Cut};
use crate::handout::typesetter::Typesetter;
use crate::handout::{HandoutError, Paper};
use engrave::{Face, fonts};
use lesson::{Kind, Lesson};
use lock::{Talk, Topic};
use serde_json::{Value, json};

/// What the sheet shows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RunningOrder {
    /// Set across.
    pub paper: Paper,
    /// ISO 639 code, for screen readers.
    pub language: String,
    pub title: String,
    pub pages: Vec<Stand>,
}

/// One passage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Stand {
    pub title: String,
    /// Key, tempo, minutes; empty: left out.
    pub facts: String,
    pub minutes: u32,
    pub points: Vec<StandPoint>,
}

/// Something to say.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StandPoint {
    pub text: String,
    /// 0 is dropped last; the teacher's notes have 0.
    pub weight: u8,
}

impl RunningOrder {
    /// The sheet for a lesson's running order.
    pub fn of(lesson: &Lesson, talks: &[Talk], paper: Paper) -> RunningOrder {
        let page = |talk: &Talk| {
            let passage = lesson.passages.get(talk.passage)?;
            let minutes = ((talk.talking_s + talk.playing_s) / 60.0).ceil().max(1.0) as u32;
            let mut facts: Vec<String> = passage.key.map(|k| k.to_string()).into_iter().collect();
            facts.extend(passage.bars.first().map(|b| format!("{} a minute", b.tempo_bpm)));
            facts.push(format!("{minutes} min"));
            let points = talk.points.iter().map(|p| {
                let bass = p.part.and_then(|i| passage.parts.get(i)).is_some_and(|p| p.kind == Kind::Bass);
                let weight = match p.topic {
                    Topic::Note => 0,
                    Topic::Grip => 1,
                    Topic::Say => 2,
                    Topic::Change => 3,
                    Topic::Line if !bass => 4,
                    Topic::Lock => 5,
                    Topic::Again if !bass => 6,
                    Topic::Line | Topic::Again => 7,
                };
                StandPoint { text: p.at_a_glance(passage), weight }
            });
            let title = if passage.title.trim().is_empty() { passage.id.clone() } else { passage.title.clone() };
            Some(Stand { title, facts: facts.join(", "), minutes, points: points.collect() })
        };
        let title = if lesson.title.trim().is_empty() { "Lesson".into() } else { lesson.title.clone() };
        RunningOrder { paper, language: "en".into(), title, pages: talks.iter().filter_map(page).collect() }
    }
}

const TEMPLATE: &str = include_str!("running_order.typ");

/// Least height of a capital letter.
pub const CAPITAL_MIN_MM: f64 = 9.31;
/// Sizes that are tried before the least one.
const SIZES: [f64; 4] = [60.0, 54.0, 48.0, 44.0];
const SIDE_PT: f64 = 40.0;
const TOP_PT: f64 = 32.0;
const FOOT_PT: f64 = 44.0;
/// From line to line, and between points, in parts of the size; before a point's lines.
const PITCH: f64 = 1.12;
const GAP: f64 = 0.3;
const INDENT: f64 = 0.75;
/// Most points of a passage, and most passages.
const MOST_POINTS: usize = 2_000;
const MOST_PAGES: usize = 300;

/// The least size in points.
fn size_min() -> f64 {
    CAPITAL_MIN_MM / 25.4 * 72.0 / fonts::cap_height(Face::Regular)
}

/// Sets the sheet. Errors name the text at fault; an order without pages is one.
pub fn running_order(order: &RunningOrder) -> Result<Vec<u8>, HandoutError> {
    let typesetter = Typesetter::new();
    let data = data(order, &typesetter)?;
    typesetter.plain(TEMPLATE, &data)
}

/// What is printed on a page.
#[derive(Clone, Debug, PartialEq)]
struct Planned {
    size_pt: f64,
    /// Lines of the points that are printed.
    points: Vec<Vec<String>>,
    left_off: usize,
}

fn data(order: &RunningOrder, typesetter: &Typesetter) -> Result<Value, HandoutError> {
    if !(2..=3).contains(&order.language.len()) || !order.language.bytes().all(|b| b.is_ascii_lowercase()) {
        return Err(HandoutError::Language { found: order.language.clone() });
    }
    if order.pages.is_empty() {
        return Err(HandoutError::Empty { place: "running order".into() });
    }
    for (what, found, limit) in [("passages", order.pages.len(), MOST_PAGES)].into_iter().chain(order.pages.iter().map(|p| ("points of a passage", p.points.len(), MOST_POINTS))) {
        if found > limit {
            return Err(HandoutError::TooMuch { place: what.into(), found, limit });
        }
    }
    let clean = |place: String, text: &str| -> Result<String, HandoutError> {
        Ok(typesetter.letters.clean(&place, Cut::Semibold, text)?.chars().filter(|c| *c != BREAK).collect())
    };
    let (short, long) = order.paper.size_pt();
    let (width, height) = (long, short);
    let room = width - 2.0 * SIDE_PT;
    let title = clean("title".into(), &order.title)?;
    let minutes: u32 = order.pages.iter().map(|p| p.minutes).sum();
    let mut pages = Vec::new();
    for (i, page) in order.pages.iter().enumerate() {
        let place = |what: &str| format!("passage {}, {what}", i + 1);
        let head = clean(place("title"), &page.title)?;
        let facts = clean(place("facts"), &page.facts)?;
        let mut points = Vec::new();
        for (k, p) in page.points.iter().enumerate() {
            let text = clean(place(&format!("point {}", k + 1)), &p.text)?;
            if !text.is_empty() {
                points.push((text, p.weight));
            }
        }
        let size = size_min();
        // A title of many words has two lines at most.
        let mut titles = fonts::wrap(Face::Bold, size, &format!("{} {head}", i + 1), room);
        if titles.len() > 2 {
            titles.truncate(2);
            titles[1] = typesetter.letters.fit(Cut::Bold, size, &format!("{} …", titles[1]), room);
        }
        let facts: Vec<String> = fonts::wrap(Face::Italic, size, &facts, room).into_iter().take(1).collect();
        let used = (titles.len() + facts.len()) as f64 * PITCH * size + size * 0.5;
        let planned = plan(&points, room, height - TOP_PT - FOOT_PT - used);
        let next = order.pages.get(i + 1).map(|n| clean(place("title"), &n.title)).transpose()?.map_or("the end".to_string(), |t| format!("next: {t}"));
        let rest = match planned.left_off {
            0 => String::new(),
            1 => "1 point more in the draft".into(),
            n => format!("{n} points more in the draft"),
        };
        let foot = [format!("{} of {}, {minutes} min in all", i + 1, order.pages.len()), next, rest].into_iter().filter(|t| !t.is_empty()).collect::<Vec<_>>().join(" · ");
        pages.push(json!({
            "title": titles, "facts": facts, "size": planned.size_pt, "head_size": size,
            "points": planned.points, "foot": typesetter.letters.fit(Cut::Regular, 15.0, &foot, room),
        }));
    }
    Ok(json!({
        "title": title, "language": order.language, "width": width, "height": height, "side": SIDE_PT, "top": TOP_PT, "foot": FOOT_PT,
        "pitch": PITCH, "gap": GAP, "indent": INDENT, "pages": pages,
    }))
}

/// The largest size at which all points fit the room; at the least size those that fit.
fn plan(points: &[(String, u8)], width: f64, height: f64) -> Planned {
    let wrapped = |size: f64| -> Vec<Vec<String>> {
        // A hair of room for kerning that sets letters apart.
        points.iter().map(|(t, _)| fonts::wrap(Face::Regular, size, t, (width - INDENT * size) * 0.985)).collect()
    };
    let tall = |lines: usize, count: usize, size: f64| lines as f64 * PITCH * size + count.saturating_sub(1) as f64 * GAP * size;
    for size in SIZES {
        let lines = wrapped(size);
        if tall(lines.iter().map(Vec::len).sum(), lines.len(), size) <= height {
            return Planned { size_pt: size, points: lines, left_off: 0 };
        }
    }
    let size = size_min();
    let lines = wrapped(size);
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by_key(|i| (points[*i].1, *i));
    let others = points.iter().any(|p| p.1 > 0);
    let mut kept: Vec<usize> = Vec::new();
    let take = |kept: &mut Vec<usize>, own: bool, share: f64| {
        for i in order.iter().filter(|i| (points[**i].1 == 0) == own) {
            let sum: usize = kept.iter().chain([i]).map(|k| lines[*k].len()).sum();
            if !kept.contains(i) && tall(sum, kept.len() + 1, size) <= height * share {
                kept.push(*i);
            }
        }
    };
    take(&mut kept, true, if others { 2.0 / 3.0 } else { 1.0 });
    take(&mut kept, false, 1.0);
    take(&mut kept, true, 1.0);
    kept.sort_unstable();
    Planned { size_pt: size, points: kept.iter().map(|i| lines[*i].clone()).collect(), left_off: points.len() - kept.len() }
}

#[cfg(test)]
mod tests;
