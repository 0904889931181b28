//! Barlines, repeat signs, the line that joins a system at its left, and endings' room.

use crate::frame::{Bounds, Ink, Item, Path, Step, Stroke};
use crate::line::Line;
use crate::sizes::Sizes;
use crate::system::PartRows;
use lesson::SheetBar;

/// Room from a barline to a bar's first thing.
pub(crate) fn bar_lead(sheet: &SheetBar, sizes: &Sizes) -> f64 {
    sizes.space * if sheet.repeat_start { 2.7 } else { 1.15 }
}

/// Room that a repeat sign takes before the barline.
pub(crate) fn bar_tail(sheet: &SheetBar, sizes: &Sizes) -> f64 {
    if sheet.repeat_end.is_some() { sizes.space * 1.4 } else { 0.0 }
}

/// All barlines of a line: through the rows of each part, never from part to part, and one line joining the whole system at the left.
pub(crate) fn draw_barlines(line: &Line, parts: &[PartRows], sizes: &Sizes) -> Vec<Item> {
    let mut items = Vec::new();
    let rows: usize = parts.iter().map(|p| p.rows.len()).sum();
    if let (Some(first), Some(last), true) = (parts.first(), parts.last(), rows > 1) {
        items.push(Item::line(line.left, first.top - sizes.line_width / 2.0, line.left, last.bottom + sizes.line_width / 2.0, sizes.bar_width, Ink::Black));
    }
    // Parts of several rows are held together by a bracket.
    for p in parts.iter().filter(|p| p.rows.len() > 1) {
        items.push(draw_bracket(line.left - sizes.space * 0.5, p.top, p.bottom, sizes));
    }
    let thin = sizes.bar_width;
    let thick = sizes.space * 0.5;
    let gap = sizes.space * 0.4;
    for p in parts {
        for (i, b) in line.bars.iter().enumerate() {
            let mut bar = |x: f64, width: f64| items.push(Item::rect(x - width / 2.0, p.top, width, p.bottom - p.top, Ink::Black));
            let last = i + 1 == line.bars.len();
            let x = b.right;
            match (b.sheet.repeat_end.is_some(), last) {
                // The bar goes on in the next line.
                _ if !b.ends() => {}
                (true, _) => {
                    bar(x - thick / 2.0, thick);
                    bar(x - thick - gap - thin / 2.0, thin);
                }
                // The passage ends here, the piece may go on: two thin lines.
                (false, true) if line.last => {
                    bar(x - thin / 2.0, thin);
                    bar(x - thin * 1.5 - gap, thin);
                }
                // The thick line of a repeat stands for this one.
                (false, false) if line.bars[i + 1].sheet.repeat_start => {}
                (false, _) => bar(x - thin / 2.0, thin),
            }
            if b.sheet.repeat_start {
                bar(b.left + thick / 2.0, thick);
                bar(b.left + thick + gap + thin / 2.0, thin);
            }
        }
        for b in &line.bars {
            for (on, x) in [
                (b.sheet.repeat_start, b.left + thick + gap * 2.0 + thin + sizes.space * 0.2),
                (b.sheet.repeat_end.is_some(), b.right - thick - gap * 2.0 - thin - sizes.space * 0.2),
            ] {
                if on {
                    for (top, bottom) in &p.rows {
                        let middle = (top + bottom) / 2.0;
                        let off = f64::max(sizes.space * 0.5, f64::min((bottom - top) * 0.125, sizes.space * 0.9));
                        for y in [middle - off, middle + off] {
                            let d = sizes.space * 0.42;
                            items.push(Item::pill(x - d / 2.0, y - d / 2.0, d, d, Some(Ink::Black), None));
                        }
                    }
                }
            }
        }
    }
    items
}

/// A square bracket before the rows of one part.
fn draw_bracket(x: f64, top: f64, bottom: f64, sizes: &Sizes) -> Item {
    let reach = sizes.space * 0.45;
    let b = Bounds { left: x, top, right: x + reach, bottom };
    let steps = vec![Step::Move(b.right, b.top), Step::Line(b.left, b.top), Step::Line(b.left, b.bottom), Step::Line(b.right, b.bottom)];
    Item::Path(Path { steps, fill: None, stroke: Some(Stroke::plain(Ink::Black, sizes.bar_width)) })
}
