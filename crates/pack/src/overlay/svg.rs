//! A canvas as SVG 1.1 with outlines for all text, so that no program that reads it needs a font; fixed number format.
//!
//! What takes ink away is a mask over all that was drawn before it. Ink that is drawn later over such a hole stands in a layer above that mask: usually two layers do.

use super::canvas::{Canvas, HEIGHT, WIDTH, paths};
use super::png::{GREY, LIT, LIT_LINE, PLATE_PAD};
use super::{Drawn, Shade};
use engrave::{Bounds, Ink, Item, Path, Step, Stroke, escaped, number};
use std::fmt::Write;

/// The canvas as one `<svg>` element of 1920 by 1080 units.
pub fn svg(canvas: &Canvas, drawn: Drawn) -> String {
    let (ink, other) = match drawn.shade {
        Shade::Dark => ("#000", "#fff"),
        Shade::Light => ("#fff", "#000"),
    };
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\" role=\"img\"><title>{}</title>",
        escaped(&canvas.alt),
        w = number(WIDTH),
        h = number(HEIGHT)
    );
    let plate = drawn.plate.clamp(0.0, 1.0);
    if let (true, Some(b)) = (plate > 0.0, canvas.bounds()) {
        let p = PLATE_PAD;
        rect(&mut out, Bounds { left: b.left - p, top: b.top - p, right: b.right + p, bottom: b.bottom + p }, other, plate);
    }
    if let Some(b) = canvas.lit {
        rect(&mut out, b, ink, LIT);
        rect(&mut out, Bounds { top: b.bottom - LIT_LINE, ..b }, ink, 1.0);
    }
    let layers = layered(canvas);
    let top = layers.iter().map(|l| l.1).max().unwrap_or(0);
    for layer in 0..=top {
        // A hole cuts its own layer and all below it.
        let holes: Vec<&Piece> = layers.iter().filter(|l| l.0.hole && l.1 >= layer).map(|l| &l.0).collect();
        if !holes.is_empty() {
            let _ = write!(out, "<mask id=\"holes-{layer}\" maskUnits=\"userSpaceOnUse\" x=\"0\" y=\"0\" width=\"{w}\" height=\"{h}\"><rect width=\"{w}\" height=\"{h}\" fill=\"#fff\"/>", w = number(WIDTH), h = number(HEIGHT));
            holes.iter().for_each(|p| draw(&mut out, p, "#000"));
            out.push_str("</mask>");
        }
        let _ = write!(out, "<g{}>", if holes.is_empty() { String::new() } else { format!(" mask=\"url(#holes-{layer})\"") });
        layers.iter().filter(|l| !l.0.hole && l.1 == layer).for_each(|l| draw(&mut out, &l.0, ink));
        out.push_str("</g>");
    }
    out.push_str("</svg>\n");
    out
}

/// A filled or a drawn path with one ink.
struct Piece<'a> {
    steps: &'a [Step],
    /// `None`: filled.
    stroke: Option<Stroke>,
    alpha: f64,
    hole: bool,
    bounds: Bounds,
}

/// Each piece with its layer: ink over a hole stands one above it, a hole as high as the highest ink that it cuts.
fn layered(canvas: &Canvas) -> Vec<(Piece<'_>, usize)> {
    let mut all = Vec::new();
    paths(&canvas.items, &mut all);
    let mut out: Vec<(Piece, usize)> = Vec::new();
    for path in all {
        let of = |ink: Ink, stroke: Option<Stroke>| {
            let alone = Path { steps: path.steps.clone(), fill: None, stroke };
            let bounds = Item::Path(alone).bounds()?;
            Some(Piece { steps: &path.steps, stroke, alpha: if ink == Ink::Grey { GREY } else { 1.0 }, hole: ink == Ink::Paper, bounds })
        };
        for piece in [path.fill.and_then(|f| of(f, None)), path.stroke.and_then(|s| of(s.ink, Some(s)))].into_iter().flatten() {
            let meets = |p: &Piece| p.bounds.left < piece.bounds.right && p.bounds.right > piece.bounds.left && p.bounds.top < piece.bounds.bottom && p.bounds.bottom > piece.bounds.top;
            let under = out.iter().filter(|(p, _)| p.hole != piece.hole && meets(p)).map(|(_, layer)| *layer).max();
            let layer = match (piece.hole, under) {
                (true, under) => under.unwrap_or(0),
                (false, under) => under.map_or(0, |u| u + 1),
            };
            out.push((piece, layer));
        }
    }
    out
}

fn draw(out: &mut String, piece: &Piece, colour: &str) {
    let mut d = String::new();
    for step in piece.steps {
        let _ = match *step {
            Step::Move(x, y) => write!(d, "M{} {}", number(x), number(y)),
            Step::Line(x, y) => write!(d, "L{} {}", number(x), number(y)),
            Step::Curve { c1, c2, to } => write!(d, "C{} {} {} {} {} {}", number(c1.0), number(c1.1), number(c2.0), number(c2.1), number(to.0), number(to.1)),
            Step::Close => write!(d, "Z"),
        };
    }
    let faint = |what: &str| if piece.alpha < 1.0 { format!(" {what}-opacity=\"{:.4}\"", piece.alpha) } else { String::new() };
    match piece.stroke {
        None => {
            let _ = write!(out, "<path d=\"{d}\" fill=\"{colour}\"{}/>", faint("fill"));
        }
        Some(pen) => {
            let _ = write!(out, "<path d=\"{d}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{}\"{}", number(pen.width_pt), faint("stroke"));
            if let Some(dash) = pen.dash_pt.filter(|d| *d > 0.0) {
                let _ = write!(out, " stroke-dasharray=\"{0} {0}\"", number(dash));
            }
            if pen.round {
                out.push_str(" stroke-linecap=\"round\" stroke-linejoin=\"round\"");
            }
            out.push_str("/>");
        }
    }
}

fn rect(out: &mut String, b: Bounds, colour: &str, alpha: f64) {
    let _ = write!(out, "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{colour}\" fill-opacity=\"{alpha:.4}\"/>", number(b.left), number(b.top), number(b.right - b.left), number(b.bottom - b.top));
}
