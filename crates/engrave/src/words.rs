//! Under a part's rows: volume, wah, and the teacher's words on a bar.

use crate::canvas::Canvas;
use crate::fonts;
use crate::frame::{Anchor, Face, Ink, Item};
use crate::line::{Line, PlacedBar};
use crate::sizes::Sizes;
use lesson::{Beats, Part, PartBar};

/// Draws below everything in the canvas; `bottom` is the last line of the row.
pub(crate) fn draw_words(part: &Part, line: &Line, bottom: f64, canvas: &mut Canvas, sizes: &Sizes) {
    let levels: Vec<Vec<(Beats, String)>> = by_bar(part, line, |b| &b.level, |v| v.to_string());
    draw_marks("vol.", &levels, line, bottom, canvas, sizes);
    let wahs: Vec<Vec<(Beats, String)>> = by_bar(part, line, |b| &b.wah, |open| if open { "o" } else { "+" }.into());
    draw_marks("wah", &wahs, line, bottom, canvas, sizes);
    draw_sayings(part, line, bottom, canvas, sizes);
}

/// The marks of a kind that lie in each bar (or piece of one) of the line.
fn by_bar<T: Copy>(part: &Part, line: &Line, of: impl Fn(&PartBar) -> &Vec<(Beats, T)>, show: impl Fn(T) -> String) -> Vec<Vec<(Beats, String)>> {
    let marks = |b: &PlacedBar| part.bars.get(b.index).map_or_else(Vec::new, |p| of(p).iter().filter(|m| b.holds(m.0)).map(|m| (m.0, show(m.1))).collect());
    line.bars.iter().map(marks).collect()
}

/// A row of marks on one height, each with a thin line for as long as it holds.
fn draw_marks(word: &str, marks: &[Vec<(Beats, String)>], line: &Line, bottom: f64, canvas: &mut Canvas, sizes: &Sizes) {
    if marks.iter().all(Vec::is_empty) {
        return;
    }
    let (up, _) = fonts::ink_height(Face::Regular, sizes.word, "0");
    let y = canvas.clear_below(line.left, line.right, bottom) + sizes.space * 0.8 + up;
    let all: Vec<(usize, f64, &str)> =
        marks.iter().enumerate().flat_map(|(i, list)| list.iter().map(move |(at, t)| (i, line.x(i, *at), t.as_str()))).collect();
    let lead = fonts::width(Face::Italic, sizes.word, word);
    for (k, (i, x, text)) in all.iter().enumerate() {
        let half = fonts::width(Face::Regular, sizes.word, text) / 2.0;
        let mut items = fonts::set(*x, y, Anchor::Middle, Face::Regular, sizes.word, text, Ink::Black);
        if k == 0 {
            let left = f64::max(x - half - sizes.space * 0.8 - lead, 0.0);
            items.extend(fonts::set(left, y, Anchor::Start, Face::Italic, sizes.word, word, Ink::Black));
        }
        let end = all.get(k + 1).map_or(line.end(), |(_, next, t)| next - fonts::width(Face::Regular, sizes.word, t) / 2.0) - sizes.space * 0.5;
        let start = x + half + sizes.space * 0.5;
        if end - start > 2.0 {
            items.push(Item::line(start, y - up / 2.0, end, y - up / 2.0, sizes.line_width, Ink::Grey));
        }
        canvas.draw(*i, items);
    }
}

/// The teacher's words, broken to the bar's width, their first lines on one height.
fn draw_sayings(part: &Part, line: &Line, bottom: f64, canvas: &mut Canvas, sizes: &Sizes) {
    let top = canvas.clear_below(line.left, line.right, bottom);
    let lead = sizes.word * 1.12;
    for (i, b) in line.bars.iter().enumerate() {
        let Some(say) = part.bars.get(b.index).filter(|_| b.begins()).and_then(|p| p.say.as_deref()) else { continue };
        let left = b.left + sizes.space * 0.6;
        let lines = fonts::wrap(Face::Italic, sizes.word, say, f64::max(b.right - left - sizes.space * 0.6, sizes.space * 8.0));
        for (k, text) in lines.iter().enumerate() {
            let y = top + sizes.space * 0.6 + lead * (k as f64 + 0.8);
            canvas.draw(i, fonts::set(left, y, Anchor::Start, Face::Italic, sizes.word, text, Ink::Black));
        }
    }
}
