//! A canvas as PNG: eight bits a channel, straight alpha, the ink's colour in every pixel (transparent ones too, so that scaling draws no fringe).
//!
//! Coverage is drawn by the rasteriser that the typesetter's pictures use. Lines and bars that run along the pixels are moved to whole ones first, so that they stay
//! sharp; outlines of letters are left where they are.

use super::canvas::{Canvas, HEIGHT, paths};
use super::{Drawn, OverlayError};
use ::png as file;
use engrave::{Ink, Path, Step, Stroke};
use tiny_skia::{BlendMode, Color, FillRule, LineCap, LineJoin, Paint, PathBuilder, Pixmap, Stroke as Pen, StrokeDash, Transform};

/// How much of the picture grey ink covers, so that over white it is the #777 of the print.
pub(super) const GREY: f64 = 136.0 / 255.0;
/// How much the field of the bar being played covers, and the line under it.
pub(super) const LIT: f64 = 0.22;
pub(super) const LIT_LINE: f64 = 6.0;
/// A plate reaches so far beyond what is drawn.
pub(super) const PLATE_PAD: f64 = 24.0;

/// The canvas as a PNG of so many lines (a multiple of 9 from 360 to 4320).
pub fn png(canvas: &Canvas, lines: u32, drawn: Drawn) -> Result<Vec<u8>, OverlayError> {
    if !(360..=4320).contains(&lines) || lines % 9 != 0 {
        return Err(OverlayError::Lines { found: lines });
    }
    let (width, height) = ((lines / 9 * 16) as usize, lines as usize);
    let k = f64::from(lines) / HEIGHT;
    let ink = drawn.shade.level();
    let mut pixels = vec![ink; width * height * 4];
    pixels.iter_mut().skip(3).step_by(4).for_each(|a| *a = 0);
    if let Some(b) = canvas.bounds() {
        // Only the part that is drawn on is rasterised.
        let edge = |v: f64, most: usize| (v.max(0.0) as usize).min(most);
        let pad = PLATE_PAD * k;
        let (left, right) = (edge((b.left * k - pad).floor(), width), edge((b.right * k + pad).ceil(), width));
        let (top, bottom) = (edge((b.top * k - pad).floor(), height), edge((b.bottom * k + pad).ceil(), height));
        let map = covered(canvas, k, (left, top), (right - left, bottom - top))?;
        let plate = (drawn.plate.clamp(0.0, 1.0) * 255.0).round() as u32;
        for y in top..bottom {
            for x in left..right {
                let a = u32::from(map.data()[((y - top) * (right - left) + x - left) * 4 + 3]);
                let pixel = &mut pixels[(y * width + x) * 4..][..4];
                let (level, alpha) = over(a, plate, ink);
                pixel[..3].fill(level);
                pixel[3] = alpha;
            }
        }
    }
    encode(&pixels, width as u32, height as u32)
}

/// Ink of coverage `a` over a plate of the other shade: level and alpha, 0 to 255.
pub(super) fn over(a: u32, plate: u32, ink: u8) -> (u8, u8) {
    let below = plate * (255 - a);
    let alpha = a * 255 + below;
    if below == 0 || alpha == 0 {
        return (ink, a as u8);
    }
    let part = |of: u32| ((of * 255 + alpha / 2) / alpha) as u8;
    (if ink == 0 { part(below) } else { part(a * 255) }, ((alpha + 127) / 255) as u8)
}

/// Coverage of the ink in the alpha channel.
fn covered(canvas: &Canvas, k: f64, at: (usize, usize), size: (usize, usize)) -> Result<Pixmap, OverlayError> {
    let fault = || OverlayError::Picture(format!("no picture of {} by {} pixels", size.0, size.1));
    let mut map = Pixmap::new(size.0.max(1) as u32, size.1.max(1) as u32).ok_or_else(fault)?;
    let shift = Transform::from_translate(-(at.0 as f32), -(at.1 as f32));
    if let Some(b) = canvas.lit {
        let field = |top: f64, bottom: f64| vec![Step::Move(b.left, top), Step::Line(b.right, top), Step::Line(b.right, bottom), Step::Line(b.left, bottom), Step::Close];
        fill(&mut map, &rectangle(&field(b.top, b.bottom), k), LIT, BlendMode::SourceOver, shift);
        fill(&mut map, &rectangle(&field(b.bottom - LIT_LINE, b.bottom), k), 1.0, BlendMode::SourceOver, shift);
    }
    let mut all = Vec::new();
    paths(&canvas.items, &mut all);
    for path in all {
        if let Some(ink) = path.fill {
            let (alpha, mode) = laid(ink);
            let steps = if is_rectangle(&path.steps) { rectangle(&path.steps, k) } else { scaled(&path.steps, k) };
            fill(&mut map, &steps, alpha, mode, shift);
        }
        if let Some(stroke) = path.stroke {
            draw(&mut map, path, stroke, k, shift);
        }
    }
    Ok(map)
}

/// How an ink is laid on: its alpha, and whether it adds or takes away.
fn laid(ink: Ink) -> (f64, BlendMode) {
    match ink {
        Ink::Black => (1.0, BlendMode::SourceOver),
        Ink::Grey => (GREY, BlendMode::SourceOver),
        Ink::Paper => (1.0, BlendMode::DestinationOut),
    }
}

fn paint(alpha: f64, blend_mode: BlendMode) -> Paint<'static> {
    let mut paint = Paint { blend_mode, anti_alias: true, force_hq_pipeline: true, ..Paint::default() };
    paint.set_color(Color::from_rgba(1.0, 1.0, 1.0, alpha as f32).unwrap_or(Color::WHITE));
    paint
}

fn fill(map: &mut Pixmap, steps: &[Step], alpha: f64, mode: BlendMode, shift: Transform) {
    if let Some(path) = built(steps) {
        map.fill_path(&path, &paint(alpha, mode), FillRule::Winding, shift, None);
    }
}

fn draw(map: &mut Pixmap, path: &Path, stroke: Stroke, k: f64, shift: Transform) {
    let (alpha, mode) = laid(stroke.ink);
    let along = along_pixels(&path.steps);
    let width = if along { f64::max((stroke.width_pt * k).round(), 1.0) } else { stroke.width_pt * k };
    let steps = if along { snapped(&path.steps, k, width) } else { scaled(&path.steps, k) };
    let Some(built) = built(&steps) else { return };
    let dash = stroke.dash_pt.filter(|d| *d > 0.0).and_then(|d| StrokeDash::new(vec![(d * k) as f32; 2], 0.0));
    let pen = Pen {
        width: width as f32,
        line_cap: if stroke.round { LineCap::Round } else { LineCap::Butt },
        line_join: if stroke.round { LineJoin::Round } else { LineJoin::Miter },
        miter_limit: 4.0,
        dash,
    };
    map.stroke_path(&built, &paint(alpha, mode), &pen, shift, None);
}

fn scaled(steps: &[Step], k: f64) -> Vec<Step> {
    steps.iter().map(|s| s.map(|x, y| (x * k, y * k))).collect()
}

/// Whether these are four edges along the pixels.
fn is_rectangle(steps: &[Step]) -> bool {
    matches!(steps, [Step::Move(..), Step::Line(..), Step::Line(..), Step::Line(..), Step::Close]) && along_pixels(steps)
}

/// Whether every segment is upright or level.
fn along_pixels(steps: &[Step]) -> bool {
    let mut last: Option<(f64, f64)> = None;
    for step in steps {
        match *step {
            Step::Move(x, y) => last = Some((x, y)),
            Step::Line(x, y) => {
                let Some((a, b)) = last else { return false };
                if (x - a).abs() > 1e-9 && (y - b).abs() > 1e-9 {
                    return false;
                }
                last = Some((x, y));
            }
            Step::Curve { .. } => return false,
            Step::Close => {}
        }
    }
    true
}

/// A rectangle in pixels, its edges on whole ones, at least one wide and high.
fn rectangle(steps: &[Step], k: f64) -> Vec<Step> {
    let points: Vec<(f64, f64)> = steps.iter().flat_map(|s| s.points()).collect();
    let least = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).fold(f64::MAX, f64::min) * k;
    let most = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).fold(f64::MIN, f64::max) * k;
    let (l, t) = (least(|p| p.0).round(), least(|p| p.1).round());
    let (r, b) = (most(|p| p.0).round().max(l + 1.0), most(|p| p.1).round().max(t + 1.0));
    vec![Step::Move(l, t), Step::Line(r, t), Step::Line(r, b), Step::Line(l, b), Step::Close]
}

/// Upright and level segments in pixels, moved so that a pen of whole pixels covers whole ones.
fn snapped(steps: &[Step], k: f64, width: f64) -> Vec<Step> {
    let snap = |v: f64| (v * k - width / 2.0).round() + width / 2.0;
    let at = |i: usize| match steps[i] {
        Step::Move(x, y) | Step::Line(x, y) => Some((x, y)),
        _ => None,
    };
    let mut out = Vec::with_capacity(steps.len());
    for (i, step) in steps.iter().enumerate() {
        let Some((x, y)) = at(i) else {
            out.push(*step);
            continue;
        };
        // Level towards a neighbour: its height is a line's middle; upright: its side is.
        let before = (i > 0 && matches!(step, Step::Line(..))).then(|| at(i - 1)).flatten();
        let after = (i + 1 < steps.len() && matches!(steps[i + 1], Step::Line(..))).then(|| at(i + 1)).flatten();
        let near = [before, after].into_iter().flatten();
        let level = near.clone().any(|p| (p.1 - y).abs() <= 1e-9);
        let upright = near.clone().any(|p| (p.0 - x).abs() <= 1e-9);
        let (px, py) = (if upright { snap(x) } else { x * k }, if level { snap(y) } else { y * k });
        out.push(if matches!(step, Step::Move(..)) { Step::Move(px, py) } else { Step::Line(px, py) });
    }
    out
}

fn built(steps: &[Step]) -> Option<tiny_skia::Path> {
    let mut path = PathBuilder::new();
    for step in steps {
        match *step {
            Step::Move(x, y) => path.move_to(x as f32, y as f32),
            Step::Line(x, y) => path.line_to(x as f32, y as f32),
            Step::Curve { c1, c2, to } => path.cubic_to(c1.0 as f32, c1.1 as f32, c2.0 as f32, c2.1 as f32, to.0 as f32, to.1 as f32),
            Step::Close => path.close(),
        }
    }
    path.finish()
}

fn encode(pixels: &[u8], width: u32, height: u32) -> Result<Vec<u8>, OverlayError> {
    let fault = |e: file::EncodingError| OverlayError::Picture(e.to_string());
    let mut out = Vec::new();
    let mut encoder = file::Encoder::new(&mut out, width, height);
    encoder.set_color(file::ColorType::Rgba);
    encoder.set_depth(file::BitDepth::Eight);
    encoder.set_compression(file::Compression::Fast);
    let mut writer = encoder.write_header().map_err(fault)?;
    writer.write_image_data(pixels).map_err(fault)?;
    writer.finish().map_err(fault)?;
    Ok(out)
}
