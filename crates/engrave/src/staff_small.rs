//! Small heads on the staff: where a slide within the stroke or a bend arrives, and what a bent note is fretted as.
//!
//! common practice of guitar parts: the stroke stands as it is fretted, with its full value; a small head without a stem behind it is the pitch
//! that it is slid or bent to, joined by a line (slide) or an angled slur (bend). A note that is bent before it is struck stands at the pitch
//! that sounds, after a small bracketed head at the fretted one. A bend of less than a half step has no pitch of its own: a rising curve with
//! its figure.

use crate::fonts;
use crate::frame::{Anchor, Face, Ink, Item, Path, Step, Stroke};
use crate::glyphs::{self, HEAD_BLACK};
use crate::line::note_before;
use crate::sizes::Sizes;
use crate::techniques::bend_label;
use lesson::{Event, Part, Tone};

/// A small head, or the curve that stands for one.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Small {
    /// Step of the head that it belongs to, and its own; `None` for bends of less than a half step.
    pub from: i32,
    pub step: Option<i32>,
    pub accidental: Option<u32>,
    /// An angled slur rather than a line.
    pub bend: bool,
    /// It stands before its head, in brackets.
    pub before: bool,
    /// Figure of a bend without a head.
    pub label: Option<String>,
    /// Left end of the small head (or of the curve) from the column.
    pub x: f64,
}

const SCALE: f64 = 0.66;

pub(crate) fn small_width(sizes: &Sizes) -> f64 {
    glyphs::advance(HEAD_BLACK) * sizes.space * SCALE
}

/// Half steps that a bend moves the written pitch by; a quarter tone has no place of its own.
pub(crate) fn half_steps(cents: f64) -> i32 {
    libm::floor(cents / 100.0 + 1e-9) as i32
}

/// By how many cents the head of a note lies over its fretted pitch: bent before it is struck, bent on or let down, or tied from such a note.
pub(crate) fn bent_to(part: &Part, bar: usize, index: usize, event: &Event, tone: &Tone) -> f64 {
    if event.held {
        return tone.bend_cents.unwrap_or(0.0);
    }
    if event.tie_in {
        let before = tone.place().and_then(|(string, _)| note_before(part, bar, index, string));
        // Ties join notes of neighbouring bars or brackets, so this goes back a few notes at most.
        return before.map_or(0.0, |(b, e, t)| if (b, e) < (bar, index) { bent_to(part, b, e, &part.bars[b].events[e], t) } else { 0.0 });
    }
    tone.prebend_cents
}

/// What a struck note needs: the pitches that it moves to, in half steps over the fretted one, as (half steps, bend, before, label).
pub(crate) fn moves(event: &Event, tone: &Tone) -> Vec<(i32, bool, bool, Option<String>)> {
    let mut out = Vec::new();
    if event.held || event.tie_in || tone.dead {
        return out;
    }
    if half_steps(tone.prebend_cents) > 0 {
        out.push((0, true, true, None));
    } else if tone.prebend_cents > 0.0 {
        out.push((0, true, false, Some(bend_label(tone.prebend_cents))));
    }
    if let Some(cents) = tone.bend_cents {
        let whole = half_steps(cents);
        let same = whole == half_steps(tone.prebend_cents);
        out.push((whole, true, false, same.then(|| bend_label(cents))));
    }
    if let (Some(to), Some((_, fret))) = (tone.slide_to, tone.place()) {
        out.push((i32::from(to) - i32::from(fret), false, false, None));
    }
    out
}

/// Gives the small heads their places beside the chord, whose ink reaches `left` and `right` of the column; gives how far it reaches then.
pub(crate) fn place_small(list: &mut [Small], left: f64, right: f64, sizes: &Sizes) -> (f64, f64) {
    let s = sizes.space;
    let (mut out_left, mut out_right) = (left, right);
    for small in list.iter_mut() {
        let sign = if small.accidental.is_some() { s * 0.75 } else { 0.0 };
        if small.before {
            small.x = -left - s * 1.2 - small_width(sizes);
            out_left = out_left.max(-small.x + s * 0.5 + sign);
        } else if small.step.is_none() {
            small.x = right + s * 0.15;
            out_right = out_right.max(small.x + s * 2.3);
        } else {
            small.x = right + s * 1.7 + sign;
            out_right = out_right.max(small.x + small_width(sizes) + s * 0.1);
        }
    }
    (out_left, out_right)
}

/// Draws the small heads of a chord at `x`, whose ink reaches `right` of it; `y` gives the height of a step, `side` on which side of it
/// slurs lie (1 = below), `ledgers` its short lines.
pub(crate) fn draw_small(list: &[Small], x: f64, right: f64, side: impl Fn(i32) -> f64, y: impl Fn(i32) -> f64, ledgers: impl Fn(i32) -> Vec<i32>, sizes: &Sizes) -> Vec<Item> {
    let s = sizes.space;
    let mut items = Vec::new();
    let width = small_width(sizes);
    for small in list {
        let own = y(small.from);
        let Some(step) = small.step else {
            let (a, b) = (x + small.x, x + small.x + s * 1.3);
            let steps = vec![Step::Move(a, own), Step::Curve { c1: (b, own), c2: (b, own), to: (b, own - s * 1.1) }];
            items.push(Item::Path(Path { steps, fill: None, stroke: Some(Stroke::round(Ink::Black, sizes.stem_width)) }));
            let text = small.label.as_deref().unwrap_or("");
            items.extend(fonts::set(b, own - s * 1.4, Anchor::Middle, Face::Regular, sizes.word, text, Ink::Black));
            continue;
        };
        let (left, at) = (x + small.x, y(step));
        items.push(Item::Glyph { code: HEAD_BLACK, x_pt: left, y_pt: at, space_pt: s * SCALE, ink: Ink::Black });
        for l in ledgers(step) {
            items.push(Item::line(left - s * 0.25, y(l), left + width + s * 0.25, y(l), sizes.line_width, Ink::Black));
        }
        if let Some(code) = small.accidental {
            let w = glyphs::advance(code) * s * SCALE;
            items.push(Item::Glyph { code, x_pt: left - w - s * if small.before { 0.45 } else { 0.1 }, y_pt: at, space_pt: s * SCALE, ink: Ink::Black });
        }
        if small.before {
            let size = s * 1.9;
            for (x, anchor, text) in [(left - s * 0.05, Anchor::End, "("), (left + width + s * 0.05, Anchor::Start, ")")] {
                items.extend(fonts::set(x, at + size * 0.23, anchor, Face::Regular, size, text, Ink::Black));
            }
        }
        if !small.bend {
            let gap = if small.accidental.is_some() { s * 0.95 } else { s * 0.2 };
            let (x0, x1) = (x + right + s * 0.15, left - gap);
            items.push(Item::line(x0, own, x1, at, sizes.stem_width, Ink::Black));
            continue;
        }
        let side = side(small.from) * s;
        let (a, b) = if small.before { ((left + width / 2.0, at), (x, own)) } else { ((x, own), (left + width / 2.0, at)) };
        items.push(angle(a, b, side, sizes));
    }
    items
}

/// The angled slur of a bend between two heads, on one side of both.
pub(crate) fn angle(a: (f64, f64), b: (f64, f64), side: f64, sizes: &Sizes) -> Item {
    let foot = side * 0.65;
    let apex = if side > 0.0 { a.1.max(b.1) } else { a.1.min(b.1) } + side * 1.5;
    let steps = vec![Step::Move(a.0, a.1 + foot), Step::Line((a.0 + b.0) / 2.0, apex), Step::Line(b.0, b.1 + foot)];
    Item::Path(Path { steps, fill: None, stroke: Some(Stroke::round(Ink::Black, sizes.stem_width)) })
}

#[cfg(test)]
mod tests {
    use super::half_steps;

    #[test]
    fn bends_reach_half_steps() {
        for (cents, steps) in [(0.0, 0), (50.0, 0), (100.0, 1), (150.0, 1), (200.0, 2), (300.0, 3)] {
            assert_eq!(half_steps(cents), steps);
        }
    }
}
