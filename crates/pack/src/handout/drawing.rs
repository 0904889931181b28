//! Drawings: an engraved frame turned into the typesetter's own frame, item by item, at the same positions.

use engrave::{Anchor, Face, Frame, Ink, Item, Path, Step, Text};
use typst::layout::{Abs, Em, Frame as Sheet, FrameItem, Point, Ratio, Size};
use typst::syntax::Span;
use typst::text::{Glyph, Lang, TextItem};
use typst::visualize::{
    Color, Curve, DashPattern, FillRule, FixedStroke, Geometry, LineCap, LineJoin, Luma, Paint, ProcessColor, Shape,
};

use super::HandoutError;
use super::letters::{Cut, Letters};

/// Draws the frame, `scale` times its size.
///
/// Fails on numbers that are not finite or far off the page, on a path that does not begin with a move, and on a text or music
/// sign that no font holds.
pub(super) fn draw(letters: &Letters, language: Lang, place: &str, frame: &Frame, scale: f64) -> Result<Sheet, HandoutError> {
    let mut pen = Pen { letters, language, place, scale, sheet: Sheet::soft(Size::new(Abs::zero(), Abs::zero())), items: 0 };
    let (width, height) = (pen.measure(frame.width_pt)?, pen.measure(frame.height_pt)?);
    pen.sheet.set_size(Size::new(width, height));
    pen.items(&frame.items, 0)?;
    Ok(pen.sheet)
}

/// Farthest coordinate that a drawing may use.
const FARTHEST_PT: f64 = 10_000.0;
/// Most items in one drawing.
const MOST_ITEMS: usize = 100_000;
/// Deepest group in groups.
const DEEPEST: usize = 16;

struct Pen<'a> {
    letters: &'a Letters,
    language: Lang,
    place: &'a str,
    scale: f64,
    sheet: Sheet,
    items: usize,
}

impl Pen<'_> {
    fn items(&mut self, items: &[Item], depth: usize) -> Result<(), HandoutError> {
        if depth > DEEPEST {
            return self.fault("groups within groups".into(), format!("at most {DEEPEST} deep"));
        }
        for item in items {
            self.items += 1;
            if self.items > MOST_ITEMS {
                return Err(HandoutError::TooMuch { place: self.place.into(), found: self.items, limit: MOST_ITEMS });
            }
            match item {
                Item::Text(text) => self.text(text)?,
                Item::Glyph { code, x_pt, y_pt, space_pt, ink } => self.sign(*code, *x_pt, *y_pt, *space_pt, *ink)?,
                Item::Path(path) => self.path(path)?,
                Item::Group { items, .. } => self.items(items, depth + 1)?,
            }
        }
        Ok(())
    }

    /// A line of text, cut where the font changes. Glyph by glyph without kerning, as the engraver measured it.
    fn text(&mut self, text: &Text) -> Result<(), HandoutError> {
        let cut = match text.face {
            Face::Regular => Cut::Regular,
            Face::Bold => Cut::Bold,
            Face::Italic => Cut::Italic,
        };
        let (mut x, y) = (self.number(text.x_pt)?, self.number(text.y_pt)?);
        let size = self.number(text.size_pt)?;
        if text.text.len() > 1000 {
            return Err(HandoutError::TooMuch { place: format!("{}, bytes of one text", self.place), found: text.text.len(), limit: 1000 });
        }
        let width = self.letters.width_pt(cut, size, &text.text);
        x -= match text.anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => width / 2.0,
            Anchor::End => width,
        };
        let mut run: Option<TextItem> = None;
        let mut begin = x;
        for character in text.text.chars() {
            let Some((font, glyph)) = self.letters.glyph(cut, character) else {
                return Err(HandoutError::NoGlyph { place: self.place.into(), character, text: text.text.clone() });
            };
            if run.as_ref().is_none_or(|run| run.font != *font) {
                self.flush(run.take(), begin, y);
                begin = x;
            }
            let item = run.get_or_insert_with(|| TextItem {
                font: font.clone(),
                size: Abs::pt(size * self.scale),
                fill: paint(text.ink),
                stroke: None,
                lang: self.language,
                region: None,
                text: Default::default(),
                glyphs: Vec::new(),
            });
            let advance = font.x_advance(glyph).unwrap_or(Em::zero());
            let start = item.text.len() as u16;
            item.text.push(character);
            item.glyphs.push(Glyph {
                id: glyph,
                x_advance: advance,
                x_offset: Em::zero(),
                y_advance: Em::zero(),
                y_offset: Em::zero(),
                range: start..item.text.len() as u16,
                span: (Span::detached(), 0),
            });
            x += advance.get() * size;
        }
        self.flush(run, begin, y);
        Ok(())
    }

    fn flush(&mut self, run: Option<TextItem>, x: f64, y: f64) {
        if let Some(run) = run {
            let at = self.point(x, y);
            self.sheet.push(at, FrameItem::Text(run));
        }
    }

    /// A music sign, filled.
    fn sign(&mut self, code: u32, x: f64, y: f64, space: f64, ink: Ink) -> Result<(), HandoutError> {
        let (x, y, space) = (self.number(x)?, self.number(y)?, self.number(space)?);
        let Some(steps) = outline(code, x, y, space) else {
            return self.fault(format!("the music sign U+{code:04X}"), "a sign that the music font holds".into());
        };
        self.path(&Path { steps, fill: Some(ink), stroke: None })
    }

    fn path(&mut self, path: &Path) -> Result<(), HandoutError> {
        if !matches!(path.steps.first(), Some(Step::Move(..))) {
            return self.fault("a path that does not begin with a move".into(), "a move first".into());
        }
        self.items += path.steps.len();
        let mut curve = Curve::new();
        for step in &path.steps {
            match *step {
                Step::Move(x, y) => curve.move_(self.checked_point(x, y)?),
                Step::Line(x, y) => curve.line(self.checked_point(x, y)?),
                Step::Curve { c1, c2, to } => {
                    let (c1, c2) = (self.checked_point(c1.0, c1.1)?, self.checked_point(c2.0, c2.1)?);
                    curve.cubic(c1, c2, self.checked_point(to.0, to.1)?);
                }
                Step::Close => curve.close(),
            }
        }
        let stroke = match path.stroke {
            None => None,
            Some(stroke) => Some(FixedStroke {
                paint: paint(stroke.ink),
                thickness: self.measure(stroke.width_pt)?,
                cap: if stroke.round { LineCap::Round } else { LineCap::Butt },
                join: if stroke.round { LineJoin::Round } else { LineJoin::Miter },
                dash: match stroke.dash_pt {
                    Some(dash) if dash > 0.0 => {
                        let dash = self.measure(dash)?;
                        Some(DashPattern { array: vec![dash, dash], phase: Abs::zero() })
                    }
                    _ => None,
                },
                miter_limit: Ratio::new(4.0),
            }),
        };
        let shape =
            Shape { geometry: Geometry::Curve(curve), fill: path.fill.map(paint), fill_rule: FillRule::NonZero, stroke };
        self.sheet.push(Point::zero(), FrameItem::Shape(shape, Span::detached()));
        Ok(())
    }

    fn point(&self, x: f64, y: f64) -> Point {
        Point::new(Abs::pt(x * self.scale), Abs::pt(y * self.scale))
    }

    fn checked_point(&self, x: f64, y: f64) -> Result<Point, HandoutError> {
        Ok(self.point(self.number(x)?, self.number(y)?))
    }

    /// A length, zero or more, scaled.
    fn measure(&self, pt: f64) -> Result<Abs, HandoutError> {
        let pt = self.number(pt)?;
        if pt < 0.0 {
            return self.fault(format!("the length {pt} pt"), "zero or more".into());
        }
        Ok(Abs::pt(pt * self.scale))
    }

    fn number(&self, pt: f64) -> Result<f64, HandoutError> {
        if pt.is_finite() && pt.abs() <= FARTHEST_PT {
            Ok(pt)
        } else {
            self.fault(format!("the measure {pt} pt"), format!("a number within {FARTHEST_PT} pt"))
        }
    }

    fn fault<T>(&self, found: String, right: String) -> Result<T, HandoutError> {
        Err(HandoutError::Drawing { place: self.place.into(), found, right })
    }
}

/// Outline of a music sign in place, y downward; none for a sign that the music font lacks.
fn outline(code: u32, x: f64, y: f64, space: f64) -> Option<Vec<Step>> {
    let at = |px: f64, py: f64| (x + px * space, y + py * space);
    let steps = &engrave::glyph_outline(code)?.steps;
    Some(
        steps
            .iter()
            .map(|step| match *step {
                Step::Move(px, py) => Step::Move(at(px, py).0, at(px, py).1),
                Step::Line(px, py) => Step::Line(at(px, py).0, at(px, py).1),
                Step::Curve { c1, c2, to } => Step::Curve { c1: at(c1.0, c1.1), c2: at(c2.0, c2.1), to: at(to.0, to.1) },
                Step::Close => Step::Close,
            })
            .collect(),
    )
}

/// Greys are printed as greys, not as mixed colours.
fn paint(ink: Ink) -> Paint {
    let lightness = match ink {
        Ink::Black => 0.0,
        // #777, as the engraver's SVG has it.
        Ink::Grey => 119.0 / 255.0,
        Ink::Paper => 1.0,
    };
    Paint::Solid(Color::Process(ProcessColor::Luma(Luma::new(lightness, 1.0))))
}
