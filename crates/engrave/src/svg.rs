//! A frame as SVG 1.1 text that a page can hold inline: same positions, fixed number format, nothing measured anew.
//!
//! Inks are classes (`ink`, `ink-grey`, `paper`) over plain presentation attributes, so that a page's style sheet can theme them; without
//! one, black follows the page's text colour. Groups carry what a player needs, as indices from 0: `data-bar` (first played bar),
//! `data-played` (all of them), `data-part`, `data-event`. Each bar has a `bar-field` rectangle to light up.

use crate::fonts::FAMILY;
use crate::frame::{Anchor, Face, Frame, Ink, Item, Path, Step, What};
use crate::glyphs::{UNITS_PER_SPACE, glyph_outline};
use std::collections::BTreeSet;
use std::fmt::Write;

/// The frame as one `<svg>` element. `prefix` goes before every id in it and must be unique in the page; characters other than ASCII
/// letters, digits, `-` and `_` are dropped from it.
pub fn svg(frame: &Frame, prefix: &str) -> String {
    let prefix: String = prefix.chars().filter(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '_')).collect();
    let mut codes = BTreeSet::new();
    collect_codes(&frame.items, &mut codes);

    let mut out = String::new();
    let (w, h) = (number(frame.width_pt), number(frame.height_pt));
    let title = frame.alt.split_inclusive(['.', ';', ':']).next().unwrap_or("").trim().trim_end_matches([';', ':']);
    let _ = write!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" width=\"{w}pt\" height=\"{h}pt\" role=\"img\" \
         aria-labelledby=\"{prefix}-title {prefix}-desc\" font-family=\"'{FAMILY}', serif\" \
         style=\"font-kerning:none;font-variant-ligatures:none;white-space:pre\">\
         <title id=\"{prefix}-title\">{}</title><desc id=\"{prefix}-desc\">{}</desc>",
        escaped(title),
        escaped(&frame.alt)
    );
    if !codes.is_empty() {
        out.push_str("<defs>");
        for code in codes {
            if let Some(outline) = glyph_outline(code) {
                let _ = write!(out, "<path id=\"{prefix}-{code:x}\" d=\"{}\"/>", outline.d);
            }
        }
        out.push_str("</defs>");
    }
    let mut pen = Pen { out, scale: (f64::NAN, String::new()), prefix: &prefix, height: &h };
    for item in &frame.items {
        pen.item(item);
    }
    pen.out.push_str("</svg>");
    pen.out
}

/// A number with at most two decimals, no trailing zeros, no minus zero.
pub fn number(v: f64) -> String {
    let mut out = String::new();
    put(&mut out, v);
    out
}

/// [`number`], at the end of a text. A drawing has thousands of them.
fn put(out: &mut String, v: f64) {
    let hundredths = (v * 100.0).round_ties_even();
    if !hundredths.is_finite() || hundredths.abs() > 1e15 {
        let _ = write!(out, "{v:.0}");
        return;
    }
    let whole = hundredths.abs() as u64;
    if hundredths < 0.0 {
        out.push('-');
    }
    // From the last digit to the first.
    let mut digits = [0u8; 20];
    let mut at = digits.len();
    let mut left = whole / 100;
    loop {
        at -= 1;
        digits[at] = b'0' + (left % 10) as u8;
        left /= 10;
        if left == 0 {
            break;
        }
    }
    out.extend(digits[at..].iter().map(|d| char::from(*d)));
    let (tenth, hundredth) = ((whole / 10 % 10) as u8, (whole % 10) as u8);
    if tenth + hundredth > 0 {
        out.push('.');
        out.push(char::from(b'0' + tenth));
        if hundredth > 0 {
            out.push(char::from(b'0' + hundredth));
        }
    }
}

/// An attribute that is a number.
fn attribute(out: &mut String, name: &str, v: f64) {
    out.push(' ');
    out.push_str(name);
    out.push_str("=\"");
    put(out, v);
    out.push('"');
}

/// Text as XML 1.0 character data that also fits a quoted attribute; characters that XML forbids are dropped.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(c),
            c if c < ' ' || matches!(c, '\u{FFFE}' | '\u{FFFF}') => {}
            c => out.push(c),
        }
    }
    out
}

fn collect_codes(items: &[Item], codes: &mut BTreeSet<u32>) {
    for item in items {
        match item {
            Item::Glyph { code, .. } => {
                codes.insert(*code);
            }
            Item::Group { items, .. } => collect_codes(items, codes),
            Item::Text(_) | Item::Path(_) => {}
        }
    }
}

fn ink(ink: Ink) -> (&'static str, &'static str) {
    match ink {
        Ink::Black => ("ink", "currentColor"),
        Ink::Grey => ("ink-grey", "#777"),
        Ink::Paper => ("paper", "#fff"),
    }
}

/// A step of a path: its letter and its numbers.
fn points(d: &mut String, letter: char, numbers: &[f64]) {
    d.push(letter);
    for (i, v) in numbers.iter().enumerate() {
        if i > 0 {
            d.push(' ');
        }
        put(d, *v);
    }
}

struct Pen<'a> {
    out: String,
    /// The size of a staff space that was drawn last, and the scale that it gives signs.
    scale: (f64, String),
    prefix: &'a str,
    height: &'a str,
}

impl Pen<'_> {
    fn item(&mut self, item: &Item) {
        match item {
            Item::Text(t) => {
                let (class, fill) = ink(t.ink);
                let anchor = match t.anchor {
                    Anchor::Start => "",
                    Anchor::Middle => " text-anchor=\"middle\"",
                    Anchor::End => " text-anchor=\"end\"",
                };
                let face = match t.face {
                    Face::Regular => "",
                    Face::Bold => " font-weight=\"700\"",
                    Face::Italic => " font-style=\"italic\"",
                };
                let out = &mut self.out;
                let _ = write!(out, "<text class=\"{class}\"");
                attribute(out, "x", t.x_pt);
                attribute(out, "y", t.y_pt);
                attribute(out, "font-size", t.size_pt);
                let _ = write!(out, " fill=\"{fill}\"{anchor}{face}>{}</text>", escaped(&t.text));
            }
            Item::Glyph { code, x_pt, y_pt, space_pt, ink: i } => {
                let (class, fill) = ink(*i);
                // Five decimals: a scale of a hundredth must keep its figures.
                if self.scale.0 != *space_pt {
                    let k = space_pt / UNITS_PER_SPACE;
                    self.scale = (*space_pt, format!("scale({k:.5} -{k:.5})"));
                }
                let out = &mut self.out;
                let _ = write!(out, "<use class=\"{class}\" href=\"#{}-{code:x}\" transform=\"translate(", self.prefix);
                put(out, *x_pt);
                out.push(' ');
                put(out, *y_pt);
                let _ = write!(out, ") {}\" fill=\"{fill}\"/>", self.scale.1);
            }
            Item::Path(path) => self.path(path),
            Item::Group { what, items } => {
                match what {
                    What::Bar { played, x_pt, width_pt } => {
                        let list: Vec<String> = played.iter().map(|b| b.to_string()).collect();
                        let _ = write!(
                            self.out,
                            "<g class=\"bar\" data-bar=\"{}\" data-played=\"{}\"><rect class=\"bar-field\" x=\"{}\" y=\"0\" width=\"{}\" \
                             height=\"{}\" fill=\"none\"/>",
                            list.first().map_or("", String::as_str),
                            list.join(" "),
                            number(*x_pt),
                            number(*width_pt),
                            self.height
                        );
                    }
                    What::Stroke { part, bar, event } => {
                        let _ = write!(self.out, "<g class=\"stroke\" data-part=\"{part}\" data-bar=\"{bar}\" data-event=\"{event}\">");
                    }
                    What::Row { part } => {
                        let _ = write!(self.out, "<g class=\"row\" data-part=\"{part}\">");
                    }
                    What::Plain => self.out.push_str("<g>"),
                }
                for item in items {
                    self.item(item);
                }
                self.out.push_str("</g>");
            }
        }
    }

    fn path(&mut self, path: &Path) {
        let mut d = String::with_capacity(14 * path.steps.len());
        for step in &path.steps {
            match *step {
                Step::Move(x, y) => points(&mut d, 'M', &[x, y]),
                Step::Line(x, y) => points(&mut d, 'L', &[x, y]),
                Step::Curve { c1, c2, to } => points(&mut d, 'C', &[c1.0, c1.1, c2.0, c2.1, to.0, to.1]),
                Step::Close => d.push('Z'),
            }
        }
        // Fill and pen have classes of their own: where both are set, two elements are drawn.
        if let Some(fill) = path.fill {
            let (class, colour) = ink(fill);
            let _ = write!(self.out, "<path class=\"{class}\" d=\"{d}\" fill=\"{colour}\"/>");
        }
        if let Some(pen) = path.stroke {
            let (class, colour) = ink(pen.ink);
            let _ = write!(
                self.out,
                "<path class=\"{class}-line\" d=\"{d}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{}\"",
                number(pen.width_pt)
            );
            if let Some(dash) = pen.dash_pt {
                let _ = write!(self.out, " stroke-dasharray=\"{0} {0}\"", number(dash));
            }
            if pen.round {
                self.out.push_str(" stroke-linecap=\"round\" stroke-linejoin=\"round\"");
            }
            self.out.push_str("/>");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Text;

    #[test]
    fn text_stays_text() {
        let frame = Frame {
            width_pt: 10.0,
            height_pt: 5.125,
            items: vec![Item::Text(Text {
                x_pt: -0.001,
                y_pt: 1.5,
                size_pt: 9.0,
                face: Face::Regular,
                anchor: Anchor::Start,
                text: "</text><script>&\"'\u{1}".into(),
                ink: Ink::Black,
            })],
            alt: "A <b> & c: more.".into(),
        };
        let s = svg(&frame, "p\"1");
        assert!(s.contains("x=\"0\" y=\"1.5\""), "{s}");
        assert!(s.contains("&lt;/text&gt;&lt;script&gt;&amp;&quot;&#39;</text>"), "{s}");
        assert!(s.contains("<title id=\"p1-title\">A &lt;b&gt; &amp; c</title>"), "{s}");
        assert!(s.contains("viewBox=\"0 0 10 5.12\"") && s.contains("role=\"img\""), "{s}");
        assert_eq!(s, svg(&frame, "p1"));
    }

    #[test]
    fn groups_carry_data() {
        let bar = Item::Group {
            what: What::Bar { played: vec![2, 5], x_pt: 1.0, width_pt: 4.0 },
            items: vec![Item::Group {
                what: What::Stroke { part: 1, bar: 2, event: 3 },
                items: vec![Item::Glyph { code: crate::glyphs::HEAD_BLACK, x_pt: 1.0, y_pt: 2.0, space_pt: 5.0, ink: Ink::Black }],
            }],
        };
        let s = svg(&Frame { width_pt: 9.0, height_pt: 9.0, items: vec![bar], alt: "Bars.".into() }, "a");
        assert!(s.contains("data-bar=\"2\" data-played=\"2 5\""), "{s}");
        assert!(s.contains("data-part=\"1\" data-bar=\"2\" data-event=\"3\""), "{s}");
        assert!(s.contains("<path id=\"a-e0a4\"") && s.contains("href=\"#a-e0a4\""), "{s}");
        assert!(s.contains("scale(0.02000 -0.02000)"), "{s}");
    }

    #[test]
    fn numbers_are_fixed() {
        for (v, s) in [(0.0, "0"), (-0.004, "0"), (1.0, "1"), (1.239, "1.24"), (-2.5, "-2.5"), (100.0, "100"), (1e6, "1000000")] {
            assert_eq!(number(v), s);
        }
    }
}
