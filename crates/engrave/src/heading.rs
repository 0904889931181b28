//! What stands over a system: chord names, endings, "3×", tempo, swing, the number of its first bar.

use crate::canvas::Canvas;
use crate::chord_name::{chord_name, chord_name_height, chord_name_width};
use crate::fonts;
use crate::frame::{Anchor, Face, Ink, Item};
use crate::glyphs::{self, DOT, NOTE_EIGHTH_UP, NOTE_HALF_UP, NOTE_QUARTER_UP, NOTE_SIXTEENTH_UP};
use crate::line::Line;
use crate::sizes::Sizes;
use lesson::{Bar, Beats, Passage, Swing};
use pitch::{Style, Symbol};

/// A name over a bar.
#[derive(Clone, Debug, PartialEq)]
pub struct BarName {
    /// The played bar, an index into the passage's.
    pub bar: usize,
    /// From the bar's start.
    pub at: Beats,
    pub text: Symbol,
    /// How it is printed.
    pub style: Style,
}

/// The teacher's written harmony as names: every sign that the text has, none where it merely goes on.
pub fn harmony_names(passage: &Passage) -> Vec<BarName> {
    passage
        .harmony
        .iter()
        .filter(|h| h.struck)
        .filter_map(|h| Some(BarName { bar: h.bar, at: h.at, text: h.symbol.clone()?, style: passage.chord_names }))
        .collect()
}

/// Room that a name needs up to the next one.
pub(crate) fn name_room(name: &BarName, sizes: &Sizes) -> f64 {
    chord_name_width(&name.text, name.style, sizes.name) + sizes.space * 1.2
}

/// Draws over the first row's canvas, by bar of the line; y as in that row.
pub(crate) fn draw_heading(passage: &Passage, names: &[BarName], line: &Line, canvas: &mut Canvas, sizes: &Sizes) -> Vec<Vec<Item>> {
    let mut out = vec![Vec::new(); line.bars.len()];
    let mut add = |canvas: &mut Canvas, i: usize, items: Vec<Item>| {
        for b in items.iter().filter_map(Item::bounds) {
            canvas.keep(b);
        }
        out[i].extend(items);
    };
    draw_bar_number(line, canvas, sizes, &mut add);
    draw_names(names, line, canvas, sizes, &mut add);
    draw_endings(line, canvas, sizes, &mut add);
    draw_tempos(passage, line, canvas, sizes, &mut add);
    out
}

type Add<'a> = dyn FnMut(&mut Canvas, usize, Vec<Item>) + 'a;

fn draw_bar_number(line: &Line, canvas: &mut Canvas, sizes: &Sizes, add: &mut Add) {
    let Some(first) = line.bars.first().filter(|b| b.bar.number > 1 || !b.begins()) else { return };
    // In brackets where the line goes on within a bar.
    let text = if first.begins() { first.bar.number.to_string() } else { format!("({})", first.bar.number) };
    let width = fonts::width(Face::Italic, sizes.word, &text);
    let y = canvas.clear_above(line.left, line.left + width, 0.0) - sizes.space * 0.6;
    add(canvas, 0, fonts::set(line.left, y, Anchor::Start, Face::Italic, sizes.word, &text, Ink::Black));
}

/// All names of a line on one height.
fn draw_names(names: &[BarName], line: &Line, canvas: &mut Canvas, sizes: &Sizes, add: &mut Add) {
    let mut shown: Vec<(usize, f64, &BarName)> = Vec::new();
    for (i, b) in line.bars.iter().enumerate() {
        for n in names.iter().filter(|n| n.bar == b.index && b.holds(n.at)) {
            // A name begins over the left edge of its figures.
            shown.push((i, line.x(i, n.at) - sizes.space * 0.6, n));
        }
    }
    let mut level = -sizes.space * 0.6;
    let mut drop = 0.0;
    for (_, x, n) in &shown {
        level = canvas.clear_above(*x, x + chord_name_width(&n.text, n.style, sizes.name), level);
        drop = f64::max(drop, chord_name_height(&n.text, n.style, sizes.name).1);
    }
    let y = level - drop - sizes.space * 0.7;
    for (i, x, n) in shown {
        add(canvas, i, chord_name(x, y, Anchor::Start, sizes.name, &n.text, n.style, Ink::Black));
    }
}

/// Brackets over endings with their rounds, all of a line on one height, and how often a repeat is played where it is not twice.
fn draw_endings(line: &Line, canvas: &mut Canvas, sizes: &Sizes, add: &mut Add) {
    let span = |i: usize| (line.bars[i].left + sizes.space * 0.2, line.bars[i].right - sizes.space * 0.2);
    let endings = (0..line.bars.len()).filter(|i| !line.bars[*i].sheet.ending.is_empty());
    let floor = endings.map(|i| canvas.clear_above(span(i).0, span(i).1, -sizes.space)).fold(-sizes.space, f64::min) - sizes.space * 0.6;
    let (up, _) = fonts::ink_height(Face::Regular, sizes.word, "0");
    let top = floor - up - sizes.space * 0.5;
    let pen = sizes.bar_width * 0.8;
    for (i, b) in line.bars.iter().enumerate() {
        let sheet = b.sheet;
        if !sheet.ending.is_empty() {
            let (x0, x1) = span(i);
            let (from, to) = (if sheet.ending_start { x0 } else { b.left }, if sheet.ending_stop { x1 } else { b.right });
            let mut items = vec![Item::line(from, top, to, top, pen, Ink::Black)];
            if sheet.ending_start {
                items.push(Item::line(x0, top, x0, floor + sizes.space * 0.3, pen, Ink::Black));
                items.extend(fonts::set(x0 + sizes.space * 0.6, floor, Anchor::Start, Face::Regular, sizes.word, &rounds(&sheet.ending), Ink::Black));
            }
            if sheet.ending_stop && sheet.repeat_end.is_some() {
                items.push(Item::line(x1, top, x1, floor + sizes.space * 0.3, pen, Ink::Black));
            }
            add(canvas, i, items);
        }
        if let Some(times) = sheet.repeat_end.filter(|t| *t != 2 && sheet.ending.is_empty()) {
            let text = format!("{times}×");
            let width = fonts::set_width(Face::Bold, sizes.word, &text);
            let y = canvas.clear_above(b.right - width - 1.0, b.right, -sizes.space * 0.3) - sizes.space * 0.6;
            add(canvas, i, fonts::set(b.right, y, Anchor::End, Face::Bold, sizes.word, &text, Ink::Black));
        }
    }
}

/// "1.", "1. 2.", "1.–3."
fn rounds(list: &[u32]) -> String {
    match list {
        [a, .., b] if list.len() > 2 && (b - a) as usize + 1 == list.len() => format!("{a}.–{b}."),
        _ => list.iter().map(|n| format!("{n}.")).collect::<Vec<_>>().join(" "),
    }
}

/// Tempo and swing at the passage's beginning and wherever they change.
fn draw_tempos(passage: &Passage, line: &Line, canvas: &mut Canvas, sizes: &Sizes, add: &mut Add) {
    for (i, b) in line.bars.iter().enumerate().filter(|(_, b)| b.begins()) {
        let before = b.index.checked_sub(1).and_then(|k| passage.bars.get(k)).filter(|_| !(line.first && i == 0));
        let tempo = before.is_none_or(|p| p.tempo_bpm != b.bar.tempo_bpm || p.meter.beat() != b.bar.meter.beat());
        let swing = before.map_or(b.bar.swing.is_some(), |p| p.swing != b.bar.swing);
        if !tempo && !swing {
            continue;
        }
        let left = if i == 0 { line.clef_x } else { line.x(i, Beats::from_integer(0)) - sizes.space * 0.6 };
        let mut items = Vec::new();
        let mut x = left;
        if tempo {
            x += draw_tempo(b.bar, x, sizes, &mut items);
        }
        if swing {
            if tempo {
                x += sizes.space * 1.6;
            }
            let text = swing_words(b.bar.swing);
            items.extend(fonts::set(x, 0.0, Anchor::Start, Face::Italic, sizes.word, &text, Ink::Black));
            x += fonts::set_width(Face::Italic, sizes.word, &text);
        }
        if passage.guess && line.first && i == 0 {
            // The teacher doubts the whole passage.
            let text = "?";
            x += sizes.space;
            items.extend(fonts::set(x, 0.0, Anchor::Start, Face::Italic, sizes.word, text, Ink::Black));
            x += fonts::set_width(Face::Italic, sizes.word, text);
        }
        // Beside a name it would crowd it: then it stands over it.
        let y = canvas.clear_above(left, x + sizes.space * 1.6, -sizes.space) - sizes.space * 1.1;
        add(canvas, i, items.into_iter().map(|item| item.placed(1.0, 0.0, y)).collect());
    }
}

/// A note sign and "= 102" on y = 0; gives the width.
fn draw_tempo(bar: &Bar, x: f64, sizes: &Sizes, items: &mut Vec<Item>) -> f64 {
    let beat = bar.meter.beat();
    // The sign of the beat that the tempo counts.
    let (numer, denom) = (*beat.numer(), *beat.denom());
    let (code, dotted) = match (numer, denom) {
        (2, 1) => (NOTE_HALF_UP, false),
        (3, 1) => (NOTE_HALF_UP, true),
        (3, 2) => (NOTE_QUARTER_UP, true),
        (1, 2) => (NOTE_EIGHTH_UP, false),
        (3, 4) => (NOTE_EIGHTH_UP, true),
        (1, 4) => (NOTE_SIXTEENTH_UP, false),
        _ => (NOTE_QUARTER_UP, false),
    };
    let space = sizes.space * 0.72;
    let mut at = x;
    items.push(Item::Glyph { code, x_pt: at, y_pt: -space * 0.5, space_pt: space, ink: Ink::Black });
    at += glyphs::advance(code) * space + space * 0.3;
    if dotted {
        items.push(Item::Glyph { code: DOT, x_pt: at, y_pt: -space * 0.5, space_pt: space, ink: Ink::Black });
        at += glyphs::advance(DOT) * space + space * 0.2;
    }
    let text = format!("= {}", crate::svg::number(bar.tempo_bpm));
    let size = f64::max(sizes.word, sizes.space * 2.0);
    items.extend(fonts::set(at + space * 0.4, 0.0, Anchor::Start, Face::Regular, size, &text, Ink::Black));
    at + space * 0.4 + fonts::set_width(Face::Regular, size, &text) - x
}

fn swing_words(swing: Option<Swing>) -> String {
    match swing {
        None => "straight".into(),
        Some(s) => {
            let unit = if s.unit == Beats::new(1, 2) { "eighths" } else { "sixteenths" };
            format!("swung {unit}, {} %", crate::svg::number(s.percent))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::rounds;

    #[test]
    fn endings_are_named() {
        assert_eq!(rounds(&[1]), "1.");
        assert_eq!(rounds(&[1, 2]), "1. 2.");
        assert_eq!(rounds(&[1, 2, 3]), "1.–3.");
        assert_eq!(rounds(&[1, 2, 4]), "1. 2. 4.");
    }
}
