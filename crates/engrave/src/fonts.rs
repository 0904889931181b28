//! The text fonts: widths, heights and coverage of Libertinus Serif, measured from the very files that the PDF embeds.
//!
//! Text in a frame is set without kerning and ligatures: a width is the sum of advances, the same in PDF and SVG.
//! Only the regular face holds flat, natural and sharp signs (measured), so [`runs`] splits text by face where it must.

use crate::frame::{Anchor, Face, Ink, Item, Step, Text};
use std::sync::OnceLock;
use ttf_parser::{Face as Ttf, GlyphId, Rect};

/// A font file for a page that shows frames as SVG.
#[derive(Clone, Copy, Debug)]
pub struct FontFile {
    /// CSS `font-family`.
    pub family: &'static str,
    /// CSS `font-weight`.
    pub weight: u16,
    /// CSS `font-style` is italic.
    pub italic: bool,
    /// File name to store it under.
    pub name: &'static str,
    pub data: &'static [u8],
}

/// The faces that frames use, as whole font files (OpenType, SIL Open Font License 1.1; see `THIRD-PARTY.md`).
pub fn font_files() -> Vec<FontFile> {
    [
        (Face::Regular, 400, false, "LibertinusSerif-Regular.otf"),
        (Face::Bold, 700, false, "LibertinusSerif-Bold.otf"),
        (Face::Italic, 400, true, "LibertinusSerif-Italic.otf"),
    ]
    .into_iter()
    .map(|(face, weight, italic, name)| FontFile { family: FAMILY, weight, italic, name, data: loaded(face).data })
    .collect()
}

/// The font family's name.
pub const FAMILY: &str = "Libertinus Serif";

/// The least height of a printed figure: 2 mm.
pub const FIGURE_MIN_PT: f64 = 2.0 * 72.0 / 25.4;

struct Loaded {
    data: &'static [u8],
    ttf: Ttf<'static>,
    /// Metrics of the characters in [`USUAL`], once each was asked for: reading a glyph's box means tracing its outline.
    known: Box<[OnceLock<Option<Metrics>>]>,
}

/// Latin letters, and the block that has flats and sharps.
const USUAL: [(u32, u32); 2] = [(0, 0x300), (0x2600, 0x2700)];

/// A glyph's advance, and its box where it has an outline, in font units.
#[derive(Clone, Copy)]
struct Metrics {
    glyph: GlyphId,
    advance: u16,
    outline: Option<Rect>,
}

impl Loaded {
    /// `None` where the face lacks the character.
    fn metrics(&self, c: char) -> Option<Metrics> {
        let read = || {
            let glyph = self.ttf.glyph_index(c)?;
            Some(Metrics { glyph, advance: self.ttf.glyph_hor_advance(glyph).unwrap_or(0), outline: self.ttf.glyph_bounding_box(glyph) })
        };
        let mut first = 0;
        for (from, to) in USUAL {
            if (from..to).contains(&u32::from(c)) {
                return *self.known[(first + u32::from(c) - from) as usize].get_or_init(read);
            }
            first += to - from;
        }
        read()
    }
}

fn loaded(face: Face) -> &'static Loaded {
    static FACES: OnceLock<[Loaded; 3]> = OnceLock::new();
    let all = FACES.get_or_init(|| {
        // The font's own records say which file is which face; a missing face is a fault of the build, not of any input.
        let find = |bold: bool, italic: bool| {
            typst_assets::fonts()
                .filter_map(|data| Some(Loaded { data, ttf: Ttf::parse(data, 0).ok()?, known: USUAL.iter().flat_map(|(a, b)| *a..*b).map(|_| OnceLock::new()).collect() }))
                .find(|l| {
                    let weight = l.ttf.weight().to_number();
                    family(&l.ttf).as_deref() == Some(FAMILY) && l.ttf.is_italic() == italic && weight == if bold { 700 } else { 400 }
                })
                .expect("the font set holds the regular, bold and italic faces")
        };
        [find(false, false), find(true, false), find(false, true)]
    });
    &all[face as usize]
}

fn family(ttf: &Ttf) -> Option<String> {
    let names = ttf.names();
    let by_id = |id| names.into_iter().find(|n| n.name_id == id && n.is_unicode()).and_then(|n| n.to_string());
    by_id(ttf_parser::name_id::TYPOGRAPHIC_FAMILY).or_else(|| by_id(ttf_parser::name_id::FAMILY))
}

/// Whether `face` can draw `c`.
pub fn covers(face: Face, c: char) -> bool {
    loaded(face).metrics(c).is_some_and(|m| m.glyph.0 != 0)
}

/// Width of `text` in `face` at `size_pt`: the sum of advances. Characters that the face lacks count as nothing.
pub fn width(face: Face, size_pt: f64, text: &str) -> f64 {
    let face = loaded(face);
    let units: u32 = text.chars().filter_map(|c| face.metrics(c)).map(|m| u32::from(m.advance)).sum();
    f64::from(units) * size_pt / f64::from(face.ttf.units_per_em())
}

/// How far the ink of `text` reaches above and below the baseline.
pub fn ink_height(face: Face, size_pt: f64, text: &str) -> (f64, f64) {
    let face = loaded(face);
    let (mut up, mut down) = (0i16, 0i16);
    for r in text.chars().filter_map(|c| face.metrics(c)?.outline) {
        up = up.max(r.y_max);
        down = down.max(-r.y_min);
    }
    let k = size_pt / f64::from(face.ttf.units_per_em());
    (f64::from(up) * k, f64::from(down) * k)
}

/// Left and right end of a text item.
pub fn extent(text: &Text) -> (f64, f64) {
    let w = width(text.face, text.size_pt, &text.text);
    let left = match text.anchor {
        Anchor::Start => text.x_pt,
        Anchor::Middle => text.x_pt - w / 2.0,
        Anchor::End => text.x_pt - w,
    };
    (left, left + w)
}

/// The text's outline in place, y downward, glyph by glyph as its width is counted; characters that the face lacks draw nothing.
pub fn outline(text: &Text) -> Vec<Step> {
    let ttf = &loaded(text.face).ttf;
    let k = text.size_pt / f64::from(ttf.units_per_em());
    let mut pen = Tracer { steps: Vec::new(), k, x: extent(text).0, y: text.y_pt, at: (0.0, 0.0) };
    for glyph in text.text.chars().filter_map(|c| ttf.glyph_index(c)) {
        // No outline: a space.
        let _ = ttf.outline_glyph(glyph, &mut pen);
        pen.x += f64::from(ttf.glyph_hor_advance(glyph).unwrap_or(0)) * k;
    }
    pen.steps
}

/// Takes a glyph's outline over into steps.
struct Tracer {
    steps: Vec<Step>,
    k: f64,
    x: f64,
    y: f64,
    /// Where the pen is, in place.
    at: (f64, f64),
}

impl Tracer {
    fn place(&self, x: f32, y: f32) -> (f64, f64) {
        (self.x + f64::from(x) * self.k, self.y - f64::from(y) * self.k)
    }
}

impl ttf_parser::OutlineBuilder for Tracer {
    fn move_to(&mut self, x: f32, y: f32) {
        self.at = self.place(x, y);
        self.steps.push(Step::Move(self.at.0, self.at.1));
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.at = self.place(x, y);
        self.steps.push(Step::Line(self.at.0, self.at.1));
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        // The cubic with the same course: its control points lie two thirds of the way to the quadratic's.
        let (q, to) = (self.place(x1, y1), self.place(x, y));
        let toward = |p: (f64, f64)| (p.0 + (q.0 - p.0) * 2.0 / 3.0, p.1 + (q.1 - p.1) * 2.0 / 3.0);
        self.steps.push(Step::Curve { c1: toward(self.at), c2: toward(to), to });
        self.at = to;
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let to = self.place(x, y);
        self.steps.push(Step::Curve { c1: self.place(x1, y1), c2: self.place(x2, y2), to });
        self.at = to;
    }

    fn close(&mut self) {
        self.steps.push(Step::Close);
    }
}

/// Height of the lowest figure of `face` at one point of size: what the font draws, from bounding boxes.
pub fn figure_height(face: Face) -> f64 {
    let face = loaded(face);
    let lowest = ('0'..='9').filter_map(|c| face.metrics(c)?.outline).map(|r| r.y_max - r.y_min.max(0)).min();
    f64::from(lowest.unwrap_or(600)) / f64::from(face.ttf.units_per_em())
}

/// The smallest size in use: every figure of `face` is at least [`FIGURE_MIN_PT`] high, with a hundredth to spare, so that it does not
/// fall under 2 mm where coordinates are rounded or a page is set a hair tighter.
pub fn figure_size_min(face: Face) -> f64 {
    libm::ceil(FIGURE_MIN_PT * 1.01 / figure_height(face) * 100.0) / 100.0
}

/// Height of a capital H of `face` at one point of size.
pub fn cap_height(face: Face) -> f64 {
    ink_height(face, 1.0, "H").0
}

/// Flat, natural and sharp signs are drawn larger than the text round them: the font's own are cut for small sizes.
const SIGN_SCALE: f64 = 1.3;

fn is_sign(c: char) -> bool {
    matches!(c, '♭' | '♯' | '♮')
}

/// A stretch of text that one face draws at one size.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    pub face: Face,
    pub size_pt: f64,
    pub text: String,
}

impl Run {
    /// The room it takes: the sum of advances, less what [`Run::tuck`] takes away.
    pub fn width(&self) -> f64 {
        let (before, after) = self.tuck();
        width(self.face, self.size_pt, &self.text) - before - after
    }

    /// How far a run of flats, naturals or sharps moves under its neighbours: most of the white that the font keeps beside them.
    pub fn tuck(&self) -> (f64, f64) {
        let (Some(first), Some(last)) = (self.text.chars().next(), self.text.chars().last()) else { return (0.0, 0.0) };
        if !is_sign(first) {
            return (0.0, 0.0);
        }
        let face = loaded(self.face);
        let k = 0.75 * self.size_pt / f64::from(face.ttf.units_per_em());
        let before = face.metrics(first).and_then(|m| m.outline).map_or(0, |b| i32::from(b.x_min));
        let after = face.metrics(last).and_then(|m| Some(i32::from(m.advance) - i32::from(m.outline?.x_max))).unwrap_or(0);
        (f64::from(before) * k, f64::from(after) * k)
    }
}

/// What is drawn for a character that no font here holds: an empty box, which nobody takes for a letter.
pub const BOX: char = '\u{25A1}';

/// Splits `text` into runs that one face each can draw: `face` where it has the character, else the regular face, else [`BOX`] stands
/// for it ([`uncovered`] tells which). Control characters become spaces.
pub fn runs(face: Face, size_pt: f64, text: &str) -> Vec<Run> {
    let mut out: Vec<Run> = Vec::new();
    for c in text.chars() {
        let c = if c.is_control() { ' ' } else { c };
        let size = if is_sign(c) { size_pt * SIGN_SCALE } else { size_pt };
        let (f, c) = match () {
            () if covers(face, c) => (face, c),
            () if covers(Face::Regular, c) => (Face::Regular, c),
            () => (Face::Regular, BOX),
        };
        match out.last_mut() {
            Some(run) if run.face == f && run.size_pt == size => run.text.push(c),
            _ => out.push(Run { face: f, size_pt: size, text: c.to_string() }),
        }
    }
    out
}

/// Characters of `text` that no face here can draw, once each, in order of appearance.
pub fn uncovered(text: &str) -> Vec<char> {
    let mut out = Vec::new();
    for c in text.chars().filter(|c| !c.is_control() && !covers(Face::Regular, *c)) {
        if !out.contains(&c) {
            out.push(c);
        }
    }
    out
}

/// Width of `text` when set by [`set`].
pub fn set_width(face: Face, size_pt: f64, text: &str) -> f64 {
    runs(face, size_pt, text).iter().map(Run::width).sum()
}

/// Sets `text` at a point of its baseline, as one item a run.
pub fn set(x_pt: f64, y_pt: f64, anchor: Anchor, face: Face, size_pt: f64, text: &str, ink: Ink) -> Vec<Item> {
    let mut runs = runs(face, size_pt, text);
    if runs.len() == 1 && runs[0].tuck() == (0.0, 0.0) {
        let run = runs.remove(0);
        return vec![Item::Text(Text { x_pt, y_pt, size_pt: run.size_pt, face: run.face, anchor, text: run.text, ink })];
    }
    let whole: f64 = runs.iter().map(Run::width).sum();
    let mut x = match anchor {
        Anchor::Start => x_pt,
        Anchor::Middle => x_pt - whole / 2.0,
        Anchor::End => x_pt - whole,
    };
    runs.into_iter()
        .map(|run| {
            let at = x - run.tuck().0;
            x += run.width();
            Item::Text(Text { x_pt: at, y_pt, size_pt: run.size_pt, face: run.face, anchor: Anchor::Start, text: run.text, ink })
        })
        .collect()
}

/// Breaks `text` into lines no wider than `width_pt`; a longer word stands alone, and is cut where even that is too wide.
pub fn wrap(face: Face, size_pt: f64, text: &str, width_pt: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let longer = if line.is_empty() { word.to_string() } else { format!("{line} {word}") };
        if set_width(face, size_pt, &longer) <= width_pt {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for c in word.chars() {
            line.push(c);
            if line.chars().count() > 1 && set_width(face, size_pt, &line) > width_pt {
                line.pop();
                lines.push(std::mem::replace(&mut line, c.to_string()));
            }
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn faces_are_what_they_say() {
        let files = font_files();
        assert_eq!(files.len(), 3);
        for f in &files {
            let ttf = Ttf::parse(f.data, 0).unwrap();
            assert_eq!(ttf.is_italic(), f.italic, "{}", f.name);
            assert_eq!(ttf.weight().to_number(), f.weight, "{}", f.name);
        }
    }

    #[test]
    fn flats_never_become_boxes() {
        // Measured: the bold and italic faces have no flat; if a newer font has them, the split may go.
        assert!(covers(Face::Regular, '♭') && covers(Face::Regular, '♯') && covers(Face::Regular, '♮'));
        for face in [Face::Regular, Face::Bold, Face::Italic] {
            for run in runs(face, 10.0, "B♭m7(♭5)/E♭ ♯♮×") {
                assert!(run.text.chars().all(|c| covers(run.face, c)), "{run:?}");
            }
        }
        let parts: Vec<_> = runs(Face::Bold, 10.0, "B♭7").into_iter().map(|r| (r.face, r.text)).collect();
        assert_eq!(parts, [(Face::Bold, "B".into()), (Face::Regular, "♭".into()), (Face::Bold, "7".into())]);
        assert!(covers(Face::Regular, BOX));
        assert_eq!(runs(Face::Bold, 10.0, "\u{1F3B8}")[0].text, BOX.to_string());
        assert_eq!(uncovered("a\u{1F3B8}b\u{1F3B8}"), ['\u{1F3B8}']);
    }

    #[test]
    fn smallest_figure_is_two_millimetres() {
        for face in [Face::Regular, Face::Bold, Face::Italic] {
            let size = figure_size_min(face);
            assert!(size * figure_height(face) >= FIGURE_MIN_PT * 1.01);
            assert!((size - 0.02) * figure_height(face) < FIGURE_MIN_PT * 1.01, "no larger than it must be");
            for c in '0'..='9' {
                assert!(ink_height(face, size, &c.to_string()).0 >= FIGURE_MIN_PT, "{c} in {face:?}");
            }
        }
    }

    #[test]
    fn widths_add_up() {
        let one = width(Face::Regular, 10.0, "1");
        assert!((width(Face::Regular, 10.0, "11") - 2.0 * one).abs() < 1e-12);
        let items = set(100.0, 0.0, Anchor::Middle, Face::Bold, 10.0, "B♭7", Ink::Black);
        assert_eq!(items.len(), 3);
        let first = items[0].bounds().unwrap().left;
        let last = items[2].bounds().unwrap().right;
        assert!(((first + last) / 2.0 - 100.0).abs() < 1e-9);
    }

    #[test]
    fn lines_break_between_words() {
        let lines = wrap(Face::Italic, 10.0, "slide in from a fret below", 50.0);
        assert!(lines.len() > 1);
        assert_eq!(lines.join(" "), "slide in from a fret below");
        assert!(wrap(Face::Italic, 10.0, &"m".repeat(60), 50.0).iter().all(|l| width(Face::Italic, 10.0, l) <= 50.0));
        assert!(wrap(Face::Italic, 10.0, "  ", 50.0).is_empty());
    }
}
