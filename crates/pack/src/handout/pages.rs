//! Page breaks: which piece begins a page, and the white space between pieces, from the pieces' heights.
//!
//! # Method
//!
//! The cheapest way over all breaks (dynamic programming, as for lines in Knuth & Plass, "Breaking paragraphs into lines", 1981,
//! here over pages). In order of weight: a heading stays with what follows; a passage that fits on one page is not parted; as few
//! pages as can be; what is left white is spread evenly, the last page's white counting half.

use super::pieces::{Kind, Piece};

/// A page's pieces, and where they stand.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Page {
    /// Index of the first piece and of the one after the last.
    pub pieces: std::ops::Range<usize>,
    /// White before each piece; nothing before the first.
    pub before_pt: Vec<f64>,
    /// A single piece taller than the page, which the typesetter lets run over.
    pub overflows: bool,
}

/// Plans the pages. `heights_pt` has one height for each piece, `room_pt` is the height of the type area.
pub(super) fn plan(pieces: &[Piece], heights_pt: &[f64], room_pt: f64) -> Vec<Page> {
    let room = safe_room(room_pt);
    let whites = whites(pieces);
    let fits = groups_that_fit(pieces, heights_pt, room_pt, false);
    // cost[i]: cheapest way to set the first i pieces on whole pages; from[i]: where the last of those pages begins.
    let mut cost = vec![f64::INFINITY; pieces.len() + 1];
    let mut from = vec![0; pieces.len() + 1];
    cost[0] = 0.0;
    for end in 1..=pieces.len() {
        let (mut used, mut shrink) = (0.0, 0.0);
        for begin in (0..end).rev() {
            used += heights_pt[begin];
            if begin + 1 < end {
                used += whites[begin + 1].natural_pt;
                shrink += whites[begin + 1].shrink_pt();
            }
            if used - shrink > room && begin + 1 < end {
                break;
            }
            let white = ((room - used) / room).max(0.0);
            let weight = if end == pieces.len() { 0.5 } else { 1.0 };
            let total = cost[begin] + break_cost(pieces, &fits, begin) + PAGE + white * white * weight;
            // On a tie the later break wins: fuller pages first.
            if total < cost[end] {
                cost[end] = total;
                from[end] = begin;
            }
        }
    }
    let mut pages = Vec::new();
    let mut end = pieces.len();
    while end > 0 {
        let begin = from[end];
        pages.push(spread(begin..end, heights_pt, &whites, room, end == pieces.len()));
        end = begin;
    }
    pages.reverse();
    pages
}

const PAGE: f64 = 1e3;
const PARTED: f64 = 1e6;
const HEADING_LEFT: f64 = 1e9;

/// Cost of a page that begins with this piece.
fn break_cost(pieces: &[Piece], fits: &[bool], begin: usize) -> f64 {
    let Some(last) = begin.checked_sub(1) else { return 0.0 };
    let (before, after) = (&pieces[last], &pieces[begin]);
    if before.group != after.group {
        return 0.0;
    }
    let heading = matches!(before.kind, Kind::Head | Kind::Subhead | Kind::Section)
        || (before.kind == Kind::Diagrams && after.kind == Kind::System);
    let mut cost = 0.0;
    if heading {
        cost += HEADING_LEFT;
    }
    if fits[before.group] && after.kind != Kind::SmallPrint {
        cost += PARTED;
    }
    // Where a passage is too tall for one page, it is parted between systems rather than among diagrams or before its notes.
    cost + match (before.kind, after.kind) {
        (Kind::Diagrams, Kind::Diagrams) => 1500.0,
        (_, Kind::Note | Kind::Subhead | Kind::Revision) => 300.0,
        _ => 0.0,
    }
}

/// Rounding in the typesetter must not push the last piece of a full page out.
fn safe_room(room_pt: f64) -> f64 {
    room_pt - 0.5
}

fn whites(pieces: &[Piece]) -> Vec<White> {
    (0..pieces.len()).map(|i| White::before(i.checked_sub(1).map(|p| pieces[p].kind), pieces[i].kind)).collect()
}

/// For each group, whether it fits on one page; the second one with the first over it, where that is asked.
pub(super) fn groups_that_fit(pieces: &[Piece], heights: &[f64], room_pt: f64, under_first: bool) -> Vec<bool> {
    let (whites, room) = (whites(pieces), safe_room(room_pt));
    let groups = pieces.last().map_or(0, |p| p.group + 1);
    let mut tall = vec![0.0; groups];
    for (i, piece) in pieces.iter().enumerate() {
        let first = i == 0 || pieces[i - 1].group != piece.group && !(under_first && piece.group == 1);
        tall[piece.group] += heights[i] + if first { 0.0 } else { whites[i].natural_pt - whites[i].shrink_pt() };
    }
    if under_first && groups > 1 {
        tall[1] += tall[0];
    }
    tall.iter().map(|t| *t <= room).collect()
}

/// White before a piece, and how much more of it a page may take to end where the others end.
#[derive(Clone, Copy)]
struct White {
    natural_pt: f64,
    stretch_pt: f64,
}

impl White {
    /// How much of it a page may take away to hold one more piece.
    fn shrink_pt(self) -> f64 {
        0.25 * self.natural_pt
    }

    fn before(last: Option<Kind>, kind: Kind) -> Self {
        use Kind::*;
        let Some(last) = last else { return Self { natural_pt: 0.0, stretch_pt: 0.0 } };
        let (natural_pt, stretch_pt) = match (last, kind) {
            (Title, Head) => (26.0, 6.0),
            (Title, _) => (18.0, 4.0),
            (_, Head) => (36.0, 24.0),
            (_, Section) => (34.0, 16.0),
            (_, SmallPrint) => (28.0, 0.0),
            (Head, _) => (13.0, 2.0),
            (Diagrams, Diagrams) => (14.0, 5.0),
            (Diagrams, _) => (16.0, 5.0),
            (System, System) => (16.0, 14.0),
            (System, _) => (14.0, 5.0),
            (Section, Subhead) => (10.0, 0.0),
            (_, Subhead) => (26.0, 10.0),
            (Subhead, _) => (7.0, 0.0),
            (Section, _) => (10.0, 0.0),
            (_, Revision) => (7.0, 0.0),
            (_, Note) => (7.0, 1.0),
            (_, System | Diagrams | Title) => (16.0, 8.0),
        };
        Self { natural_pt, stretch_pt }
    }
}

/// The white of one page: tightened where the pieces would not fit, and on pages before the last stretched toward the foot, each as
/// far as it goes.
fn spread(pieces: std::ops::Range<usize>, heights: &[f64], whites: &[White], room: f64, last: bool) -> Page {
    let inner = pieces.start + 1..pieces.end;
    let used: f64 = heights[pieces.clone()].iter().sum::<f64>() + inner.clone().map(|i| whites[i].natural_pt).sum::<f64>();
    let stretch: f64 = inner.clone().map(|i| whites[i].stretch_pt).sum();
    let left = room - used;
    let shrink: f64 = inner.clone().map(|i| whites[i].shrink_pt()).sum();
    let wider = if last || stretch <= 0.0 { 0.0 } else { (left / stretch).clamp(0.0, 1.0) };
    let tighter = if shrink > 0.0 { (-left / shrink).clamp(0.0, 1.0) } else { 0.0 };
    let before_pt = pieces
        .clone()
        .map(|i| match i == pieces.start {
            true => 0.0,
            false => whites[i].natural_pt + wider * whites[i].stretch_pt - tighter * whites[i].shrink_pt(),
        })
        .collect();
    Page { pieces, before_pt, overflows: left + shrink < 0.0 }
}
