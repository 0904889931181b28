//! Music signs as outlines: the SMuFL font Leipzig, read from the glyph set of `verovioxide-data`.
//!
//! Conventions: SMuFL 1.4, section "Metrics and glyph registration": one em is four staff spaces, the staff's lowest line is y = 0
//! upward. Here everything is given in staff spaces, y downward, as frames count. Leipzig: SIL Open Font License 1.1, see `THIRD-PARTY.md`.

use crate::frame::{Bounds, Step};
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// A music sign's shape.
#[derive(Clone, Debug)]
pub struct Outline {
    /// The font's own path in font units, y upward: draw with `scale(space / UNITS_PER_SPACE, -space / UNITS_PER_SPACE)`.
    pub d: &'static str,
    /// The same path in staff spaces, y downward.
    pub steps: Vec<Step>,
}

/// Font units to a staff space.
pub const UNITS_PER_SPACE: f64 = 250.0;

/// Code points in use (SMuFL 1.4 names).
pub const G_CLEF: u32 = 0xE050;
pub const G_CLEF_8VB: u32 = 0xE052;
pub const F_CLEF: u32 = 0xE062;
pub const F_CLEF_8VB: u32 = 0xE064;
pub const PERCUSSION_CLEF: u32 = 0xE069;
pub const REPEAT_DOT: u32 = 0xE044;
pub const TIME_0: u32 = 0xE080;
pub const HEAD_WHOLE: u32 = 0xE0A2;
pub const HEAD_HALF: u32 = 0xE0A3;
pub const HEAD_BLACK: u32 = 0xE0A4;
pub const HEAD_X: u32 = 0xE0A9;
pub const HEAD_DIAMOND: u32 = 0xE0DB;
pub const HEAD_DIAMOND_OPEN: u32 = 0xE0D9;
pub const DOT: u32 = 0xE1E7;
pub const NOTE_HALF_UP: u32 = 0xE1D3;
pub const NOTE_QUARTER_UP: u32 = 0xE1D5;
pub const NOTE_EIGHTH_UP: u32 = 0xE1D7;
pub const NOTE_SIXTEENTH_UP: u32 = 0xE1D9;
pub const TREMOLO_3: u32 = 0xE222;
pub const FLAG_8_UP: u32 = 0xE240;
pub const FLAT: u32 = 0xE260;
pub const NATURAL: u32 = 0xE261;
pub const SHARP: u32 = 0xE262;
pub const DOUBLE_SHARP: u32 = 0xE263;
pub const DOUBLE_FLAT: u32 = 0xE264;
pub const ACCENT_ABOVE: u32 = 0xE4A0;
pub const ACCENT_BELOW: u32 = 0xE4A1;
pub const STACCATO_ABOVE: u32 = 0xE4A2;
pub const STACCATO_BELOW: u32 = 0xE4A3;
pub const REST_WHOLE: u32 = 0xE4E3;
pub const DOWN_STROKE: u32 = 0xE610;
pub const UP_STROKE: u32 = 0xE612;

/// The outline of a sign; `None` where the font has none.
pub fn glyph_outline(code: u32) -> Option<&'static Outline> {
    font().get(&code).map(|g| &g.outline)
}

/// Its advance width in staff spaces; 0 where the font has no such sign.
pub fn advance(code: u32) -> f64 {
    font().get(&code).map_or(0.0, |g| g.advance)
}

/// Its box in staff spaces, from the origin, y downward.
pub fn bounds(code: u32) -> Option<Bounds> {
    font().get(&code).map(|g| g.bounds)
}

struct Sign {
    outline: Outline,
    advance: f64,
    bounds: Bounds,
}

fn font() -> &'static BTreeMap<u32, Sign> {
    static FONT: OnceLock<BTreeMap<u32, Sign>> = OnceLock::new();
    FONT.get_or_init(read_font)
}

/// Reads every sign of the glyph set; one that cannot be read is left out (the tests hold that those in use are there).
fn read_font() -> BTreeMap<u32, Sign> {
    let dir = verovioxide_data::resource_dir();
    let mut out = BTreeMap::new();
    let Some(metrics) = dir.get_file("Leipzig.xml").and_then(|f| f.contents_utf8()) else { return out };
    for tag in metrics.split("<g ").skip(1) {
        let tag = tag.split('>').next().unwrap_or("");
        let number = |name: &str| attribute(tag, name).and_then(|v| v.parse::<f64>().ok());
        let Some(hex) = attribute(tag, "c") else { continue };
        let (Ok(code), Some(x), Some(y), Some(w), Some(h)) =
            (u32::from_str_radix(hex, 16), number("x"), number("y"), number("w"), number("h"))
        else {
            continue;
        };
        let file = dir.get_file(format!("Leipzig/{hex}.xml")).and_then(|f| f.contents_utf8());
        let Some(d) = file.and_then(|t| attribute(t, "d")) else { continue };
        let Some(steps) = read_path(d) else { continue };
        let k = 1.0 / UNITS_PER_SPACE;
        let bounds = Bounds { left: x * k, right: (x + w) * k, top: -(y + h) * k, bottom: -y * k };
        let steps = steps.into_iter().map(|s| s.map(|x, y| (x * k, -y * k))).collect();
        out.insert(code, Sign { outline: Outline { d, steps }, advance: number("h-a-x").unwrap_or(x + w) * k, bounds });
    }
    out
}

/// The value of `name="…"` in the text of a tag.
fn attribute<'a>(tag: &'a str, name: &str) -> Option<&'a str> {
    let key = format!(" {name}=\"");
    let padded_start = tag.strip_prefix(&key[1..]);
    let rest = padded_start.or_else(|| tag.find(&key).map(|i| &tag[i + key.len()..]))?;
    rest.split('"').next()
}

/// Reads the path syntax of SVG 1.1 as far as the glyph set uses it: `M m L l H h V v C c S s Z z`.
fn read_path(d: &str) -> Option<Vec<Step>> {
    let mut numbers: Vec<f64> = Vec::new();
    let mut steps = Vec::new();
    let mut state = Pen::default();
    let mut command = None;
    let mut token = String::new();
    for c in d.chars().chain(std::iter::once(' ')) {
        let starts_number = c == '-' && !token.is_empty();
        if c.is_ascii_alphabetic() || c == ' ' || c == ',' || c == '\n' || starts_number {
            if !token.is_empty() {
                numbers.push(token.parse().ok()?);
                token.clear();
            }
            if starts_number {
                token.push(c);
            } else if c.is_ascii_alphabetic() {
                state.draw(command, &numbers, &mut steps)?;
                numbers.clear();
                command = Some(c);
            }
        } else {
            token.push(c);
        }
    }
    state.draw(command, &numbers, &mut steps)?;
    Some(steps)
}

#[derive(Default)]
struct Pen {
    at: (f64, f64),
    start: (f64, f64),
    /// Second control point of the curve just drawn.
    control: Option<(f64, f64)>,
}

impl Pen {
    fn draw(&mut self, command: Option<char>, numbers: &[f64], steps: &mut Vec<Step>) -> Option<()> {
        let Some(command) = command else { return numbers.is_empty().then_some(()) };
        let relative = command.is_ascii_lowercase();
        let size = match command.to_ascii_uppercase() {
            'M' | 'L' => 2,
            'H' | 'V' => 1,
            'C' => 6,
            'S' => 4,
            'Z' => {
                steps.push(Step::Close);
                self.at = self.start;
                self.control = None;
                return numbers.is_empty().then_some(());
            }
            _ => return None,
        };
        if numbers.is_empty() || !numbers.len().is_multiple_of(size) {
            return None;
        }
        for (i, n) in numbers.chunks(size).enumerate() {
            let from = if relative { self.at } else { (0.0, 0.0) };
            let point = |j: usize| (from.0 + n[j], from.1 + n[j + 1]);
            let mut control = None;
            match command.to_ascii_uppercase() {
                'M' if i == 0 => {
                    self.at = point(0);
                    self.start = self.at;
                    steps.push(Step::Move(self.at.0, self.at.1));
                }
                'M' | 'L' => {
                    self.at = point(0);
                    steps.push(Step::Line(self.at.0, self.at.1));
                }
                'H' => {
                    self.at.0 = from.0 + n[0];
                    steps.push(Step::Line(self.at.0, self.at.1));
                }
                'V' => {
                    self.at.1 = from.1 + n[0];
                    steps.push(Step::Line(self.at.0, self.at.1));
                }
                'C' => {
                    let (c1, c2, to) = (point(0), point(2), point(4));
                    steps.push(Step::Curve { c1, c2, to });
                    (self.at, control) = (to, Some(c2));
                }
                _ => {
                    let last = self.control.unwrap_or(self.at);
                    let c1 = (2.0 * self.at.0 - last.0, 2.0 * self.at.1 - last.1);
                    let (c2, to) = (point(0), point(2));
                    steps.push(Step::Curve { c1, c2, to });
                    (self.at, control) = (to, Some(c2));
                }
            }
            self.control = control;
        }
        Some(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_sign_in_use_is_there() {
        let mut codes = vec![
            G_CLEF, G_CLEF_8VB, F_CLEF, F_CLEF_8VB, PERCUSSION_CLEF, REPEAT_DOT, HEAD_WHOLE, HEAD_HALF, HEAD_BLACK, HEAD_X, HEAD_DIAMOND,
            HEAD_DIAMOND_OPEN, DOT, NOTE_HALF_UP, NOTE_QUARTER_UP, NOTE_EIGHTH_UP, NOTE_SIXTEENTH_UP, TREMOLO_3, FLAT, NATURAL, SHARP,
            DOUBLE_SHARP, DOUBLE_FLAT, ACCENT_ABOVE, ACCENT_BELOW, STACCATO_ABOVE, STACCATO_BELOW, DOWN_STROKE, UP_STROKE,
        ];
        codes.extend(TIME_0..TIME_0 + 10);
        codes.extend(FLAG_8_UP..FLAG_8_UP + 8);
        codes.extend(REST_WHOLE..REST_WHOLE + 7);
        for code in codes {
            let outline = glyph_outline(code).unwrap_or_else(|| panic!("U+{code:X}"));
            assert!(advance(code) > 0.0);
            // The outline's points, control points included, lie round the box that the font states.
            let b = bounds(code).unwrap();
            let points: Vec<_> = outline.steps.iter().flat_map(|s| s.points()).collect();
            let left = points.iter().map(|p| p.0).fold(f64::MAX, f64::min);
            let right = points.iter().map(|p| p.0).fold(f64::MIN, f64::max);
            assert!(left <= b.left + 0.02 && right >= b.right - 0.02, "U+{code:X}: {left}..{right} against {b:?}");
            assert!(left >= b.left - 0.6 && right <= b.right + 0.6, "U+{code:X}: {left}..{right} against {b:?}");
        }
        assert!(glyph_outline(0x41).is_none());
    }

    #[test]
    fn paths_are_read() {
        let steps = read_path("M0 0h10v-5l-5-5c1 2 3 4 5 6s1 1 2 2z").unwrap();
        assert_eq!(steps[1], Step::Line(10.0, 0.0));
        assert_eq!(steps[3], Step::Line(5.0, -10.0));
        assert_eq!(steps[4], Step::Curve { c1: (6.0, -8.0), c2: (8.0, -6.0), to: (10.0, -4.0) });
        // The mirrored control point.
        assert_eq!(steps[5], Step::Curve { c1: (12.0, -2.0), c2: (11.0, -3.0), to: (12.0, -2.0) });
        assert!(read_path("M0").is_none());
        assert!(read_path("M0 0q1 2 3 4").is_none());
    }
}
