//! The tab row: figures on the strings' lines, which stop for them, and everything that hangs on a figure.
//!
//! Figures stand in the middle of their column. A stroke tied from the bar before shows its figures in brackets at the start of a line and
//! nowhere else. Values are written under the lines ([`crate::rhythm`]) unless a staff above has them.

use crate::canvas::Canvas;
use crate::fonts;
use crate::frame::{Anchor, Face, Ink, Item, Path, Step, Stroke, What};
use crate::line::{Line, note_before};
use crate::shapes::{arc, arrowhead, upright_arc, upright_wave};
use crate::sizes::{DIGITS, Sizes};
use lesson::{Attack, Event, Part, Spread, Tone};

/// What a figure's place needs left and right of the column.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Extent {
    pub left: f64,
    pub right: f64,
}

impl Extent {
    pub fn with(self, other: Extent) -> Extent {
        Extent { left: self.left.max(other.left), right: self.right.max(other.right) }
    }
}

/// The text of a note on the tab.
pub(crate) fn figure(tone: &Tone, bracketed: bool) -> Option<String> {
    let (_, fret) = tone.place()?;
    let text = if tone.dead { "×".to_string() } else { fret.to_string() };
    Some(if tone.ghost || bracketed { format!("({text})") } else { text })
}

fn figure_width(tone: &Tone, bracketed: bool, sizes: &Sizes) -> f64 {
    figure(tone, bracketed).map_or(0.0, |t| fonts::width(DIGITS, sizes.digit, &t))
}

/// Length of the line of a slide within a stroke.
fn slide_length(sizes: &Sizes) -> f64 {
    sizes.space * 1.7
}

/// What an event needs on the tab.
pub(crate) fn measure_event(part: &Part, bar: usize, index: usize, event: &Event, sizes: &Sizes) -> Extent {
    let mut out = Extent::default();
    let bracketed = event.tie_in;
    for tone in &event.notes {
        if event.held {
            continue;
        }
        let half = figure_width(tone, bracketed, sizes) / 2.0;
        let mut e = Extent { left: half, right: half };
        if tone.harmonic {
            e.left += sizes.space * 0.75;
            e.right += sizes.space * 0.75;
        }
        if let Some(to) = tone.slide_to {
            e.right += slide_length(sizes) + fonts::width(DIGITS, sizes.digit, &to.to_string()) + 2.0;
        }
        if tone.attack == Attack::Slid {
            let from = tone.place().and_then(|(s, _)| note_before(part, bar, index, s));
            e.left += if from.is_none() { slide_length(sizes) + 1.0 } else { sizes.space };
        }
        if tone.bend_cents.is_some() {
            e.right += sizes.space * 2.0;
        }
        out = out.with(e);
    }
    if event.spread.is_some() {
        out.left += sizes.space * 1.1;
    }
    out
}

/// Number of strings that the tab draws; parts without a neck have no tab.
pub(crate) fn strings(part: &Part) -> usize {
    part.neck.as_ref().map_or(0, neck::Instrument::strings)
}

/// Height from the top line to the bottom one.
pub(crate) fn height(part: &Part, sizes: &Sizes) -> f64 {
    strings(part).saturating_sub(1) as f64 * sizes.tab_gap
}

fn string_y(string: u8, sizes: &Sizes) -> f64 {
    (f64::from(string) - 1.0) * sizes.tab_gap
}

/// Draws the row without values. `slot` is the part's place in the passage.
pub(crate) fn draw_tab(part: &Part, slot: usize, line: &Line, sizes: &Sizes) -> Canvas {
    let mut canvas = Canvas::new(line.bars.len());
    let n = strings(part);
    // Where each string's line is interrupted.
    let mut gaps: Vec<Vec<(f64, f64)>> = vec![Vec::new(); n];
    for (i, placed) in line.bars.iter().enumerate() {
        let Some(part_bar) = part.bars.get(placed.index) else { continue };
        for (e, event) in part_bar.events.iter().enumerate() {
            // What goes on from an earlier piece of the bar stands in brackets, like what goes on from the bar before.
            let carried = event.at < placed.from && placed.from < event.at + event.len;
            let bracketed = event.tie_in || carried;
            if event.held || !(placed.holds(event.at) || carried) || (bracketed && i > 0) {
                continue;
            }
            let x = line.x(i, event.at.max(placed.from));
            let mut items = Vec::new();
            // A chord that is bracketed as a whole has one tall pair.
            let tall = event.notes.len() > 1 && event.notes.iter().all(|t| t.ghost || bracketed);
            for tone in &event.notes {
                items.extend(draw_note(tone, x, bracketed, !tall, sizes, &mut gaps));
            }
            if tall {
                items.extend(draw_tall_brackets(event, x, sizes));
            }
            if let Some(spread) = event.spread.filter(|_| !bracketed) {
                items.extend(draw_spread(event, spread, x, sizes));
            }
            canvas.draw(i, [Item::Group { what: What::Stroke { part: slot, bar: placed.index, event: e }, items }]);
            if !bracketed {
                for tone in &event.notes {
                    let items = draw_slide_in(part, line, i, e, tone, x, sizes);
                    canvas.draw(i, items);
                }
            }
        }
    }
    let lines = draw_strings(line, &mut gaps, sizes);
    canvas.draw_line(lines);
    canvas.draw_line(draw_tab_sign(n, line, sizes));
    canvas
}

/// One pair of brackets round all figures of an event.
fn draw_tall_brackets(event: &Event, x: f64, sizes: &Sizes) -> Vec<Item> {
    let ys = || event.notes.iter().filter_map(|t| Some(string_y(t.place()?.0, sizes)));
    let reach = sizes.digit_height * 0.75;
    let (top, bottom) = (ys().fold(f64::MAX, f64::min) - reach, ys().fold(f64::MIN, f64::max) + reach);
    let half = event.notes.iter().map(|t| figure_width(&Tone { ghost: false, ..t.clone() }, false, sizes) / 2.0).fold(0.0, f64::max) + sizes.space * 0.25;
    [-1.0, 1.0].iter().map(|side| upright_arc(x + side * half, top, bottom, side * sizes.space * 0.45, sizes.stem_width)).collect()
}

/// A figure (or cross) and what hangs on it; `own` says that it has brackets of its own where it needs them.
fn draw_note(tone: &Tone, x: f64, bracketed: bool, own: bool, sizes: &Sizes, gaps: &mut [Vec<(f64, f64)>]) -> Vec<Item> {
    let mut items = Vec::new();
    let (Some((string, fret)), Some(mut text)) = (tone.place(), figure(tone, bracketed)) else { return items };
    if !own && !tone.dead {
        text = fret.to_string();
    }
    let y = string_y(string, sizes);
    let base = y + sizes.digit_height / 2.0;
    let width = fonts::width(DIGITS, sizes.digit, &text);
    let mut clear = |left: f64, right: f64| {
        if let Some(list) = gaps.get_mut(usize::from(string) - 1) {
            list.push((left - 0.7, right + 0.7));
        }
    };
    let mut half = width / 2.0;
    if tone.dead {
        items.push(cross(x, y, sizes, tone.ghost || bracketed));
        if own && (tone.ghost || bracketed) {
            items.extend(fonts::set(x - sizes.digit_height * 0.42, base, Anchor::End, DIGITS, sizes.digit, "(", Ink::Black));
            items.extend(fonts::set(x + sizes.digit_height * 0.42, base, Anchor::Start, DIGITS, sizes.digit, ")", Ink::Black));
        }
    } else {
        items.extend(fonts::set(x, base, Anchor::Middle, DIGITS, sizes.digit, &text, Ink::Black));
    }
    if tone.harmonic && !bracketed {
        let (w, h, reach) = (half + 0.4, sizes.digit_height * 0.62, sizes.space * 0.7);
        for side in [-1.0, 1.0] {
            let steps = vec![Step::Move(x + side * w, y - h), Step::Line(x + side * (w + reach), y), Step::Line(x + side * w, y + h)];
            items.push(Item::Path(Path { steps, fill: None, stroke: Some(Stroke::round(Ink::Black, sizes.stem_width)) }));
        }
        half = w + reach;
    }
    clear(x - half, x + half);
    if let (Some(to), false) = (tone.slide_to, bracketed) {
        let start = x + half + 1.0;
        let end = start + slide_length(sizes);
        let rise = if to >= fret { 1.0 } else { -1.0 } * sizes.tab_gap * 0.3;
        items.push(Item::line(start, y + rise, end, y - rise, sizes.stem_width, Ink::Black));
        let text = to.to_string();
        let width = fonts::width(DIGITS, sizes.digit, &text);
        items.extend(fonts::set(end + 1.0, base, Anchor::Start, DIGITS, sizes.digit, &text, Ink::Black));
        clear(start, end + 1.0 + width);
    }
    items
}

/// A dead note: two crossing strokes, as high as a figure.
fn cross(x: f64, y: f64, sizes: &Sizes, small: bool) -> Item {
    let r = sizes.digit_height * if small { 0.32 } else { 0.38 };
    let steps = vec![Step::Move(x - r, y - r), Step::Line(x + r, y + r), Step::Move(x - r, y + r), Step::Line(x + r, y - r)];
    Item::Path(Path { steps, fill: None, stroke: Some(Stroke::plain(Ink::Black, sizes.space * 0.2)) })
}

/// The line of a note that is slid into and not struck: from the note before on its string, with a slur; from nowhere, a short line.
fn draw_slide_in(part: &Part, line: &Line, i: usize, e: usize, tone: &Tone, x: f64, sizes: &Sizes) -> Vec<Item> {
    let (Attack::Slid, Some((string, fret))) = (tone.attack, tone.place()) else { return Vec::new() };
    let y = string_y(string, sizes);
    let end = x - figure_width(tone, false, sizes) / 2.0 - 1.0;
    let index = line.bars[i].index;
    let Some((bar, event, before)) = note_before(part, index, e, string) else {
        let rise = sizes.tab_gap * 0.3;
        return vec![Item::line(end - slide_length(sizes), y + rise, end, y - rise, sizes.stem_width, Ink::Black)];
    };
    let from = before.slide_to.or(before.place().map(|p| p.1)).unwrap_or(fret);
    let rise = if fret >= from { 1.0 } else { -1.0 } * sizes.tab_gap * 0.3;
    let prior = &part.bars[bar].events[event];
    let start = match line.place_of(bar, prior.at).filter(|&p| p <= i) {
        Some(p) => {
            let mut right = line.x(p, prior.at) + figure_width(before, false, sizes) / 2.0 + 1.0;
            if let Some(to) = before.slide_to {
                right += slide_length(sizes) + 1.0 + fonts::width(DIGITS, sizes.digit, &to.to_string());
            }
            right
        }
        None => f64::max(line.content_left() + 1.0, end - slide_length(sizes) * 1.3),
    };
    let mut items = vec![Item::line(start, y + rise, end, y - rise, sizes.stem_width, Ink::Black)];
    if end - start > sizes.space {
        items.push(arc(start - 1.0, end + 1.0, y - sizes.digit_height * 0.62, -sizes.space * 0.45, sizes.space * 0.16));
    }
    items
}

/// A wavy line before the figures, with an arrow where the hand goes.
fn draw_spread(event: &Event, spread: Spread, x: f64, sizes: &Sizes) -> Vec<Item> {
    let ys: Vec<f64> = event.notes.iter().filter_map(|t| Some(string_y(t.place()?.0, sizes))).collect();
    let (top, bottom) = (ys.iter().copied().fold(f64::MAX, f64::min), ys.iter().copied().fold(f64::MIN, f64::max));
    if ys.is_empty() {
        return Vec::new();
    }
    let left = event.notes.iter().map(|t| figure_width(t, false, sizes) / 2.0).fold(0.0, f64::max);
    let x = x - left - sizes.space * 0.65;
    let reach = sizes.digit_height * 0.7;
    let (top, bottom) = (top - reach, bottom + reach);
    let mut items = vec![upright_wave(x, top, bottom, sizes.space * 0.22, sizes.space * 0.8, sizes.stem_width)];
    let head = sizes.space * 0.9;
    items.push(match spread {
        Spread::LowToHigh => arrowhead(x, top - head * 0.7, head, false),
        Spread::HighToLow => arrowhead(x, bottom + head * 0.7, head, true),
    });
    items
}

/// The strings' lines, interrupted where figures stand.
fn draw_strings(line: &Line, gaps: &mut [Vec<(f64, f64)>], sizes: &Sizes) -> Vec<Item> {
    let mut items = Vec::new();
    for (s, list) in gaps.iter_mut().enumerate() {
        list.sort_by(|a, b| a.0.total_cmp(&b.0));
        let y = s as f64 * sizes.tab_gap;
        let mut steps = Vec::new();
        let mut x = line.left;
        for &(a, b) in list.iter() {
            if a > x {
                steps.extend([Step::Move(x, y), Step::Line(a, y)]);
            }
            x = f64::max(x, b);
        }
        if line.right > x {
            steps.extend([Step::Move(x, y), Step::Line(line.right, y)]);
        }
        items.push(Item::Path(Path { steps, fill: None, stroke: Some(Stroke::plain(Ink::Grey, sizes.line_width)) }));
    }
    items
}

/// T, A, B down the middle of the lines.
fn draw_tab_sign(strings: usize, line: &Line, sizes: &Sizes) -> Vec<Item> {
    let height = strings.saturating_sub(1) as f64 * sizes.tab_gap;
    let size = f64::max(9.0, height * 0.36).min(sizes.space * 3.2);
    let cap = fonts::cap_height(Face::Bold) * size;
    let pitch = f64::max(cap * 1.12, height / 3.2);
    let widest = fonts::width(Face::Bold, size, "B");
    ["T", "A", "B"]
        .iter()
        .enumerate()
        .flat_map(|(i, letter)| {
            let y = height / 2.0 + (i as f64 - 1.0) * pitch + cap / 2.0;
            fonts::set(line.clef_x + widest / 2.0, y, Anchor::Middle, Face::Bold, size, letter, Ink::Black)
        })
        .collect()
}

/// Width of the TAB sign.
pub(crate) fn sign_width(part: &Part, sizes: &Sizes) -> f64 {
    let size = f64::max(9.0, height(part, sizes) * 0.36).min(sizes.space * 3.2);
    fonts::width(Face::Bold, size, "B")
}
