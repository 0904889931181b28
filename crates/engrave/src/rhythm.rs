//! Note values under the tab: stems, beams, flags, dots, tuplets and ties below the lines, rests within them.
//!
//! A quarter has a full stem, a half one of half the length, a whole none (common practice of tab that stands without a staff).
//! A tie is an arc between two stems.

use crate::beams::{Beamed, beam_groups, draw_beams, flag, tuplets};
use crate::canvas::Canvas;
use crate::fonts;
use crate::frame::{Anchor, Face, Ink, Item};
use crate::glyphs::{self, DOT, REST_WHOLE, TREMOLO_3};
use crate::line::{Line, PlacedBar};
use crate::shapes::arc;
use crate::sizes::{DIGITS, Sizes};
use crate::tab::Extent;
use lesson::{Base, Part, Written};

/// What a value under the tab needs: flags, dots, rests.
pub(crate) fn measure_value(written: &Written, sizes: &Sizes) -> Extent {
    let mut e = Extent { left: 0.5, right: 0.5 };
    if written.event.is_none() {
        let code = rest_code(written.base);
        let half = glyphs::advance(code) / 2.0;
        // The ink, which reaches past the sign's own width on one side.
        let (left, right) = glyphs::bounds(code).map_or((half, half), |b| (half - b.left, b.right - half));
        e = Extent { left: f64::max(left, half) * sizes.space, right: f64::max(right, half) * sizes.space };
    } else if written.beams.is_empty() && written.base >= Base::Eighth {
        e.right = sizes.space * 1.2;
    }
    if written.dots > 0 {
        e.right += sizes.space * 0.55 * f64::from(written.dots) + sizes.space * 0.2;
    }
    e
}

/// The SMuFL rest of a value.
pub(crate) fn rest_code(base: Base) -> u32 {
    REST_WHOLE + base as u32
}

/// A rest with its dots, centred at x; `middle` is the y of the row's middle.
pub(crate) fn draw_rest(written: &Written, x: f64, middle: f64, sizes: &Sizes) -> Vec<Item> {
    let code = rest_code(written.base);
    let width = glyphs::advance(code) * sizes.space;
    // A whole rest hangs from the line above the middle.
    let y = if written.base == Base::Whole { middle - sizes.space } else { middle };
    let mut items = vec![Item::Glyph { code, x_pt: x - width / 2.0, y_pt: y, space_pt: sizes.space, ink: Ink::Black }];
    for d in 0..written.dots {
        let dx = width / 2.0 + sizes.space * (0.3 + 0.55 * f64::from(d));
        items.push(Item::Glyph { code: DOT, x_pt: x + dx, y_pt: middle - sizes.space / 2.0, space_pt: sizes.space, ink: Ink::Black });
    }
    items
}

/// The rest of a silent bar, in the middle of what is drawn of it; later pieces of the bar are empty.
pub(crate) fn draw_bar_rest(placed: &PlacedBar, shown: usize, middle: f64, sizes: &Sizes) -> Vec<Item> {
    let Some(rest) = placed.written[shown].first() else { return Vec::new() };
    let whole = Written { base: Base::Whole, dots: 0, ..rest.clone() };
    draw_rest(&whole, (placed.left + placed.right) / 2.0, middle, sizes)
}

/// Whether a bar holds nothing but one rest, which then stands in the middle of the bar.
pub(crate) fn is_empty_bar(written: &[Written]) -> bool {
    matches!(written, [only] if only.event.is_none())
}

/// Draws the values of a part under its tab, whose lines end at `bottom`.
pub(crate) fn draw_rhythm(part: &Part, shown: usize, line: &Line, bottom: f64, canvas: &mut Canvas, sizes: &Sizes) {
    let top = bottom + sizes.digit_height / 2.0 + sizes.space * 0.5;
    let tip = top + sizes.space * 3.1;
    let half = (top + tip) / 2.0;
    let mut last: Option<f64> = None;
    for (i, placed) in line.bars.iter().enumerate() {
        let written = &placed.written[shown];
        let mut items = Vec::new();
        if placed.is_silent(shown) {
            canvas.draw(i, draw_bar_rest(placed, shown, bottom / 2.0, sizes));
            last = None;
            continue;
        }
        for w in written {
            let x = line.x(i, w.at);
            let Some(event) = w.event.and_then(|e| part.bars.get(placed.index)?.events.get(e)) else {
                items.extend(draw_rest(w, x, bottom / 2.0, sizes));
                last = None;
                continue;
            };
            if w.base >= Base::Half {
                let to = if w.base == Base::Half { half } else { tip };
                items.push(Item::line(x, top, x, to, sizes.stem_width, Ink::Black));
            }
            if w.beams.is_empty() {
                items.extend(flag(w.base, x, tip, false, sizes));
            }
            if w.base == Base::Whole {
                // Without a stem the dot stands behind the lowest figure.
                let Some((string, fret)) = event.notes.iter().filter_map(lesson::Tone::place).max() else { continue };
                let half = fonts::width(DIGITS, sizes.digit, &fret.to_string()) / 2.0;
                let y = (f64::from(string) - 1.0) * sizes.tab_gap - sizes.tab_gap * 0.3;
                items.extend((0..w.dots).map(|d| {
                    let dx = half + sizes.space * (0.3 + 0.55 * f64::from(d));
                    Item::Glyph { code: DOT, x_pt: x + dx, y_pt: y, space_pt: sizes.space, ink: Ink::Black }
                }));
            }
            for d in 0..if w.base == Base::Whole { 0 } else { w.dots } {
                let dx = sizes.space * (0.45 + 0.55 * f64::from(d)) + if w.beams.is_empty() && w.base >= Base::Eighth { sizes.space * 0.9 } else { 0.0 };
                items.push(Item::Glyph { code: DOT, x_pt: x + dx, y_pt: top + sizes.space * 0.9, space_pt: sizes.space, ink: Ink::Black });
            }
            if event.notes.iter().any(|t| t.tremolo) {
                items.push(Item::Glyph { code: TREMOLO_3, x_pt: x, y_pt: top + sizes.space * 1.1, space_pt: sizes.space, ink: Ink::Black });
            }
            if w.tie_in {
                let from = last.unwrap_or(f64::max(line.content_left() - sizes.space, x - sizes.space * 3.0));
                if x - from > 2.5 {
                    items.push(arc(from + 1.2, x - 1.2, top + sizes.space * 0.2, sizes.space * 0.7, sizes.space * 0.18));
                }
            }
            // A tie that leaves the line.
            if w.tie_out && i + 1 == line.bars.len() && w.at + w.len == placed.to {
                items.push(arc(x + 1.2, f64::max(placed.right - 1.0, x + 4.0), top + sizes.space * 0.2, sizes.space * 0.7, sizes.space * 0.18));
            }
            last = Some(x);
        }
        let groups = beam_groups(written);
        for group in &groups {
            let stems: Vec<Beamed> =
                written[group.clone()].iter().filter(|w| w.event.is_some()).map(|w| Beamed { x: line.x(i, w.at), beams: &w.beams }).collect();
            items.extend(draw_beams(&stems, |_| tip, -1.0, sizes));
        }
        for (range, figure) in tuplets(written) {
            let (x0, x1) = (line.x(i, written[*range.start()].at), line.x(i, written[*range.end()].at));
            let beamed = groups.iter().any(|g| g.start() == range.start() && g.end() == range.end());
            items.extend(draw_tuplet(x0, x1, tip + sizes.space * 0.5, figure, beamed, false, sizes));
        }
        canvas.draw(i, items);
    }
}

/// A tuplet's figure, between brackets unless a beam shows the group. `y` is the edge next to the notes; `above` grows upward.
pub(crate) fn draw_tuplet(x0: f64, x1: f64, y: f64, figure: u8, beamed: bool, above: bool, sizes: &Sizes) -> Vec<Item> {
    let text = figure.to_string();
    let (up, _) = fonts::ink_height(Face::Italic, sizes.word, &text);
    let base = if above { y } else { y + up };
    let middle = (x0 + x1) / 2.0;
    let mut items = fonts::set(middle, base, Anchor::Middle, Face::Italic, sizes.word, &text, Ink::Black);
    if !beamed {
        let half = fonts::width(Face::Italic, sizes.word, &text) / 2.0 + 2.0;
        let line = base - up / 2.0;
        let tick = if above { sizes.space * 0.6 } else { -sizes.space * 0.6 };
        let (a, b) = (x0 - sizes.space * 0.6, x1 + sizes.space * 0.6);
        for (edge, inner) in [(a, middle - half), (b, middle + half)] {
            items.push(Item::line(edge, line, inner, line, sizes.line_width * 1.2, Ink::Black));
            items.push(Item::line(edge, line, edge, line + tick, sizes.line_width * 1.2, Ink::Black));
        }
    }
    items
}
