//! A frame whose texts and music signs are outlines: paths alone, the same to look at, for pictures that must not hang on any font.

use crate::fonts;
use crate::frame::{Frame, Item, Path, Step};
use crate::glyphs::glyph_outline;

/// The frame with every text and sign as a filled path at its place; groups and alternative text stay. A character that its face lacks, or a sign that
/// the music font lacks, draws nothing.
///
/// ```
/// use engrave::{Item, neck_diagram, outlined};
/// let grip = neck::Grip::parse("x x 8 8 8 x").unwrap();
/// let frame = outlined(&neck_diagram(&grip, &neck::Instrument::guitar(), &Default::default()));
/// assert!(frame.leaves().iter().all(|i| matches!(i, Item::Path(_))));
/// ```
pub fn outlined(frame: &Frame) -> Frame {
    Frame { items: frame.items.iter().map(outline).collect(), alt: frame.alt.clone(), ..*frame }
}

fn outline(item: &Item) -> Item {
    match item {
        Item::Text(t) => Item::Path(Path { steps: fonts::outline(t), fill: Some(t.ink), stroke: None }),
        Item::Glyph { code, x_pt, y_pt, space_pt, ink } => {
            let steps = glyph_outline(*code).map_or(&[][..], |o| &o.steps);
            let at = |x: f64, y: f64| (x_pt + x * space_pt, y_pt + y * space_pt);
            Item::Path(Path { steps: steps.iter().map(|s: &Step| s.map(at)).collect(), fill: Some(*ink), stroke: None })
        }
        Item::Path(_) => item.clone(),
        Item::Group { what, items } => Item::Group { what: what.clone(), items: items.iter().map(outline).collect() },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Anchor, Bounds, Face, Ink, Text};

    #[test]
    fn outlines_lie_where_the_text_lies() {
        for (anchor, face, text) in [(Anchor::Start, Face::Bold, "Bm7"), (Anchor::Middle, Face::Italic, "of the A form"), (Anchor::End, Face::Regular, "8fr ♭♯")] {
            let t = Text { x_pt: 40.0, y_pt: 30.0, size_pt: 20.0, face, anchor, text: text.into(), ink: Ink::Black };
            let frame = Frame { width_pt: 100.0, height_pt: 40.0, items: vec![Item::Text(t.clone())], alt: "t".into() };
            let out = outlined(&frame);
            let b = Bounds::of(&out.items).unwrap();
            let (left, right) = fonts::extent(&t);
            let (up, down) = fonts::ink_height(face, 20.0, text);
            // Ink may reach a little over its advance, and has white beside it.
            assert!(b.left > left - 3.0 && b.left < left + 3.0 && b.right < right + 3.0 && b.right > right - 3.0, "{text}: {b:?} {left} {right}");
            assert!((t.y_pt - up - b.top).abs() < 0.3 && (t.y_pt + down - b.bottom).abs() < 0.3, "{text}: {b:?}");
            let Item::Path(p) = &out.items[0] else { panic!("a path") };
            let moves = p.steps.iter().filter(|s| matches!(s, Step::Move(..))).count();
            assert_eq!(moves, p.steps.iter().filter(|s| matches!(s, Step::Close)).count());
            assert!(moves >= text.chars().filter(|c| *c != ' ').count());
        }
    }
}
