//! Chord signs set as method books set them: letter and quality on the line, figures small and high, real flat and sharp signs.

use crate::fonts::{figure_size_min, ink_height, runs};
use crate::frame::{Anchor, Face, Ink, Item, Text};
use pitch::{PartKind, Style, Symbol};

/// Width of a chord sign whose letter has `size_pt`.
pub fn chord_name_width(symbol: &Symbol, style: Style, size_pt: f64) -> f64 {
    pieces(symbol, style, size_pt).iter().map(|p| p.width_pt + p.after_pt).sum()
}

/// How far a chord sign reaches above and below its baseline.
pub fn chord_name_height(symbol: &Symbol, style: Style, size_pt: f64) -> (f64, f64) {
    pieces(symbol, style, size_pt).iter().fold((0.0, 0.0), |(up, down), p| {
        let (u, d) = ink_height(p.face, p.size_pt, &p.text);
        (f64::max(up, u + p.rise_pt), f64::max(down, d - p.rise_pt))
    })
}

/// A chord sign on its baseline. Figures are never smaller than [`figure_size_min`].
pub fn chord_name(x_pt: f64, y_pt: f64, anchor: Anchor, size_pt: f64, symbol: &Symbol, style: Style, ink: Ink) -> Vec<Item> {
    let pieces = pieces(symbol, style, size_pt);
    let whole: f64 = pieces.iter().map(|p| p.width_pt + p.after_pt).sum();
    let mut x = match anchor {
        Anchor::Start => x_pt,
        Anchor::Middle => x_pt - whole / 2.0,
        Anchor::End => x_pt - whole,
    };
    let mut out = Vec::with_capacity(pieces.len());
    for p in pieces {
        let at = x - p.tuck_pt;
        x += p.width_pt + p.after_pt;
        out.push(Item::Text(Text { x_pt: at, y_pt: y_pt - p.rise_pt, size_pt: p.size_pt, face: p.face, anchor: Anchor::Start, text: p.text, ink }));
    }
    out
}

/// `b`, `#`, `bb`, `##` as signs.
pub fn accidental_signs(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            'b' => '♭',
            '#' => '♯',
            other => other,
        })
        .collect()
}

struct Piece {
    face: Face,
    text: String,
    size_pt: f64,
    rise_pt: f64,
    tuck_pt: f64,
    width_pt: f64,
    after_pt: f64,
}

fn pieces(symbol: &Symbol, style: Style, size_pt: f64) -> Vec<Piece> {
    let small = f64::max(size_pt * 0.72, figure_size_min(Face::Bold));
    let mut out: Vec<Piece> = Vec::new();
    for part in symbol.parts(style) {
        let sign = part.kind == PartKind::Accidental;
        let text = if sign { accidental_signs(&part.text) } else { part.text };
        let size = if part.raised { small } else { size_pt };
        // A letter's own accidental sits a little high and small; a slash bass stands on the line.
        let (size, rise) = match (part.raised, sign) {
            (true, _) => (size, size_pt * 0.30),
            (false, true) => (size * 0.95, size_pt * 0.05),
            // Words are quieter than the letter: "sus", "maj".
            (false, false) if part.kind == PartKind::Quality && text.len() > 1 => (size * 0.84, 0.0),
            (false, false) => (size, 0.0),
        };
        for run in runs(Face::Bold, size, &text) {
            let width_pt = run.width();
            let tuck_pt = run.tuck().0;
            out.push(Piece { face: run.face, text: run.text, size_pt: run.size_pt, rise_pt: rise, tuck_pt, width_pt, after_pt: size * 0.02 });
        }
    }
    if let Some(last) = out.last_mut() {
        last.after_pt = 0.0;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fonts::{FIGURE_MIN_PT, covers};

    #[test]
    fn figures_are_high_enough_and_signs_are_real() {
        let names = ["Bbm7b5", "F#7#9", "C6/9", "Ebmaj7", "G13", "Dsus4/A", "Bbm7(b5)/Eb", "Cdim7", "Gaug", "Am(maj7)"];
        for (name, style) in names.iter().flat_map(|n| Style::ALL.map(|s| (n, s))) {
            let symbol = Symbol::parse(name).unwrap();
            let items = chord_name(50.0, 20.0, Anchor::Middle, 9.5, &symbol, style, Ink::Black);
            let mut text = String::new();
            for item in &items {
                let Item::Text(t) = item else { panic!("text only") };
                assert!(t.text.chars().all(|c| covers(t.face, c)), "{t:?}");
                for c in t.text.chars().filter(char::is_ascii_digit) {
                    assert!(ink_height(t.face, t.size_pt, &c.to_string()).0 >= FIGURE_MIN_PT, "{t:?}");
                }
                text.push_str(&t.text);
            }
            assert!(!text.contains(['#', '\u{fffd}']), "{text}");
            assert_eq!(text.replace('♭', "b").replace('♯', "#"), symbol.text(style));
            let (left, right) = (items[0].bounds().unwrap().left, items.last().unwrap().bounds().unwrap().right);
            // A sign at the end keeps its white beyond the width.
            if !text.ends_with(['♭', '♯']) {
                assert!((right - left - chord_name_width(&symbol, style, 9.5)).abs() < 1e-9);
            }
        }
    }
}
