//! Stems' beams and flags, from the beam marks of the written note values.

use crate::frame::{Ink, Item};
use crate::glyphs::FLAG_8_UP;
use crate::sizes::Sizes;
use lesson::{Base, Beam, Written};

/// A stem that takes part in a beam group: its x, and its marks from the eighth beam inward.
pub(crate) struct Beamed<'a> {
    pub x: f64,
    pub beams: &'a [Beam],
}

/// Runs of written values that share a beam, as index ranges into `written` (rests between them included).
pub(crate) fn beam_groups(written: &[Written]) -> Vec<std::ops::RangeInclusive<usize>> {
    let mut out = Vec::new();
    let mut start = None;
    for (i, w) in written.iter().enumerate() {
        match w.beams.first() {
            Some(Beam::Begin) => start = Some(i),
            Some(Beam::End) => {
                if let Some(s) = start.take() {
                    out.push(s..=i);
                }
            }
            _ => {}
        }
    }
    out
}

/// The beams of one group along `line` (y at x). `inward` is +1 when further beams lie below the first (stems up), -1 above.
pub(crate) fn draw_beams(stems: &[Beamed], line: impl Fn(f64) -> f64, inward: f64, sizes: &Sizes) -> Vec<Item> {
    let mut items = Vec::new();
    let levels = stems.iter().map(|s| s.beams.len()).max().unwrap_or(0);
    let half = sizes.stem_width / 2.0;
    let hook = sizes.space * 1.1;
    for level in 0..levels {
        let offset = inward * level as f64 * (sizes.beam + sizes.beam_gap);
        let thick = inward * sizes.beam;
        let mut bar = |x0: f64, x1: f64| {
            let (y0, y1) = (line(x0) + offset, line(x1) + offset);
            items.push(Item::polygon(&[(x0, y0), (x1, y1), (x1, y1 + thick), (x0, y0 + thick)], Ink::Black));
        };
        let mut start = None;
        for stem in stems {
            match stem.beams.get(level) {
                Some(Beam::Begin) => start = Some(stem.x),
                Some(Beam::End) => {
                    if let Some(s) = start.take() {
                        bar(s - half, stem.x + half);
                    }
                }
                Some(Beam::HookForward) => bar(stem.x - half, stem.x + hook),
                Some(Beam::HookBack) => bar(stem.x - hook, stem.x + half),
                Some(Beam::Continue) | None => {}
            }
        }
    }
    items
}

/// The flag of an unbeamed value at a stem's tip; `None` for quarters and longer.
pub(crate) fn flag(base: Base, x: f64, tip: f64, up: bool, sizes: &Sizes) -> Option<Item> {
    let n = base.flags();
    let code = FLAG_8_UP + 2 * n.checked_sub(1)? + u32::from(!up);
    Some(Item::Glyph { code, x_pt: x - sizes.stem_width / 2.0, y_pt: tip, space_pt: sizes.space, ink: Ink::Black })
}

/// Tuplet groups as index ranges into `written`, with the figure. A group that the piece cuts is taken as far as it goes.
pub(crate) fn tuplets(written: &[Written]) -> Vec<(std::ops::RangeInclusive<usize>, u8)> {
    let mut out = Vec::new();
    let mut start = None;
    for (i, w) in written.iter().enumerate() {
        let Some((actual, _)) = w.tuplet else { continue };
        let s = *start.get_or_insert(i);
        if w.tuplet_stop || i + 1 == written.len() {
            out.push((s..=i, tuplet_figure(&written[s..=i], actual)));
            start = None;
        }
    }
    out
}

/// The figure over a tuplet: the ratio's own, or how many there are where they are all of one length ("6" over six sixteenths, "12").
fn tuplet_figure(values: &[Written], actual: u8) -> u8 {
    let Some(first) = values.first() else { return actual };
    let even = values.iter().all(|w| w.len == first.len && w.base.flags() > 0);
    match u8::try_from(values.len()) {
        Ok(n) if even && n > actual && n.is_multiple_of(actual) => n,
        _ => actual,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use lesson::Beats;

    fn written(beams: &[Beam]) -> Written {
        Written {
            at: Beats::new(0, 1),
            len: Beats::new(1, 4),
            base: Base::Sixteenth,
            dots: 0,
            tuplet: None,
            tuplet_start: false,
            tuplet_stop: false,
            event: Some(0),
            head: true,
            tie_in: false,
            tie_out: false,
            beams: beams.to_vec(),
        }
    }

    #[test]
    fn groups_and_hooks() {
        use Beam::{Begin, Continue, End, HookBack};
        let list = [written(&[Begin]), written(&[End, HookBack]), written(&[]), written(&[Begin, Begin]), written(&[Continue, End]), written(&[End])];
        assert_eq!(beam_groups(&list), [0..=1, 3..=5]);
        let sizes = Sizes::from_space(5.0);
        let stems: Vec<Beamed> = list[0..2].iter().enumerate().map(|(i, w)| Beamed { x: 10.0 + 20.0 * i as f64, beams: &w.beams }).collect();
        let items = draw_beams(&stems, |_| 50.0, -1.0, &sizes);
        assert_eq!(items.len(), 2);
        let (long, hook) = (items[0].bounds().unwrap(), items[1].bounds().unwrap());
        assert!(long.left < 10.0 && long.right > 30.0);
        assert!(hook.right == long.right && hook.left > 20.0 && hook.bottom < long.top, "the hook stands behind, above the first beam");
    }

    #[test]
    fn tuplets_are_counted() {
        let values = |slots: u32, line: &str| {
            let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 90; slots {slots}; part \"g\" instrument=\"guitar\" {{ bar \"{line}\" }} }} }}");
            let r = lesson::read(&text);
            lesson::notate(&r.lesson.passages[0].bars[0], &r.lesson.passages[0].parts[0].bars[0])
        };
        let figures = |written: &[Written]| tuplets(written).into_iter().map(|t| (t.0.end() - t.0.start() + 1, t.1)).collect::<Vec<_>>();
        // common practice: six sixteenths in a beat are a six, eighths a three, a quarter and an eighth a three as well.
        assert_eq!(figures(&values(48, &["1:1"; 48].join(" "))), [(12, 12); 4]);
        assert_eq!(figures(&values(24, &["1:1"; 24].join(" "))), [(6, 6); 4]);
        let mixed = values(12, "1:1 - 1:1 1:1 1:1 1:1 1:1 1:1 1:1 1:1 - -");
        assert_eq!(figures(&mixed), [(2, 3), (3, 3), (3, 3)]);
        // A piece of a group keeps its figure.
        assert_eq!(figures(&mixed[3..]), [(2, 3), (3, 3)]);
    }

    #[test]
    fn flags_by_value() {
        let sizes = Sizes::from_space(5.0);
        assert!(flag(Base::Quarter, 0.0, 0.0, true, &sizes).is_none());
        let Some(Item::Glyph { code, .. }) = flag(Base::Sixteenth, 0.0, 0.0, false, &sizes) else { panic!("a flag") };
        // SMuFL: flag16thDown.
        assert_eq!(code, 0xE243);
    }
}
