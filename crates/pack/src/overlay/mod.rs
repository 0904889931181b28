//! Overlays for video: a lesson's neck diagrams, chord names, tab lines and lock maps as pictures with a transparent ground, one for each, and its systems bar
//! by bar; as PNG of 1080 or 2160 lines and as SVG, in dark or light ink.
//!
//! # Method
//! Every overlay is laid out once, on a canvas of 1920 by 1080 units with the drawings of [`engrave`] as outlines; PNG of either size and SVG draw that one
//! layout. Nothing lies outside the safe area. What on paper is the paper's white (a figure in a black dot) is a hole here, so that dark ink over a white picture is
//! the printed page, and light ink over a black one its exact reverse; grey is ink that lets as much of the picture through.
//!
//! The overlays are no part of the pack that `make` writes by itself: they are for the teacher's own video, and there are many. Whoever writes them takes
//! [`overlays`] and [`turning()`] and draws each with [`png()`] and [`svg()`]; see `examples/overlays.rs`.
//!
//! Source of the safe area: EBU R 95, safe areas for 16:9 television (from memory: graphics keep to the inner 90 % of width and height).

mod canvas;
mod png;
mod svg;
mod turning;
pub mod video;

pub use canvas::{Canvas, HEIGHT, SAFE, WIDTH};
pub use png::png;
pub use svg::svg;
pub use turning::{Change, Turning, turning};

use crate::grip_diagrams::{DiagramWish, grip_diagrams};
use canvas::{CENTRE, Spot};
use engrave::{Anchor, BarName, Frame, Ink as FrameInk, LockMapOptions, SystemOptions, chord_name, lock_map_lines, systems};
use lesson::{Kind, Lesson, Passage};
use std::fmt;

/// What overlays show.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct OverlayOptions {
    pub diagrams: DiagramWish,
}

/// The ink's shade: dark for light pictures, light for dark ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Shade {
    Dark,
    Light,
}

impl Shade {
    pub const ALL: [Shade; 2] = [Shade::Dark, Shade::Light];

    /// As it stands in file names.
    pub fn word(self) -> &'static str {
        match self {
            Shade::Dark => "dark",
            Shade::Light => "light",
        }
    }

    /// Red, green and blue of the ink.
    fn level(self) -> u8 {
        match self {
            Shade::Dark => 0,
            Shade::Light => 255,
        }
    }
}

/// How a canvas is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drawn {
    pub shade: Shade,
    /// 0 to 1: a plate of the other shade behind what is drawn, for restless pictures; 0 draws none.
    pub plate: f64,
}

/// Lines of a PNG that are usual.
pub const LINES: [u32; 2] = [1080, 2160];

/// One overlay.
#[derive(Clone, Debug, PartialEq)]
pub struct Overlay {
    /// Small letters, digits and `-`: a number that runs through the lesson in order of use, the passage's id, what it shows. Without ending.
    pub name: String,
    pub canvas: Canvas,
}

/// All overlays of a lesson in order of use: passage by passage its grips as they are first struck, its chord names as they come, the tab lines of each guitar, the
/// lock map. A passage without any of these gives none.
///
/// ```
/// let text = r#"lesson "t" { passage "verse" { tempo 90; slots 4; chords "Am7"
///   part "chop" instrument="guitar" { grip "a" "x x 5 5 5 x"; bar "a - . x" }
///   part "floor" instrument="bass" { bar "4:5 - - -" } } }"#;
/// let all = pack::overlay::overlays(&lesson::read(text).lesson, &Default::default());
/// let names: Vec<&str> = all.iter().map(|o| o.name.as_str()).collect();
/// assert_eq!(names, ["001-verse-chop-grip-a", "002-verse-name-am7", "003-verse-chop-tab-1", "004-verse-lock-1"]);
/// ```
pub fn overlays(lesson: &Lesson, options: &OverlayOptions) -> Vec<Overlay> {
    let mut out: Vec<Overlay> = Vec::new();
    for passage in &lesson.passages {
        for (what, canvas) in of_passage(passage, options) {
            let name = format!("{:03}-{}-{what}", out.len() + 1, passage.id);
            out.push(Overlay { name, canvas });
        }
    }
    out
}

/// Size of the diagrams: units for a point.
const DIAGRAM_SCALE: f64 = 3.3;
/// Size of a name's letter.
const NAME_SIZE: f64 = 130.0;

fn of_passage(passage: &Passage, options: &OverlayOptions) -> Vec<(String, Canvas)> {
    let mut out = Vec::new();
    let mut diagrams = grip_diagrams(passage, &options.diagrams);
    // What nothing strikes comes last.
    diagrams.sort_by_key(|d| (d.first.is_none(), d.first, d.part));
    for d in diagrams {
        let part = file_word(&passage.parts[d.part].name);
        out.push((format!("{part}-grip-{}", d.letter), Canvas::of(&d.frame, DIAGRAM_SCALE, Spot { x: 1.0, y: 1.0, height: 0.6 })));
    }
    let mut named: Vec<String> = Vec::new();
    for n in lock::bar_names(passage) {
        let text = n.symbol.text(passage.chord_names);
        if named.contains(&text) {
            continue;
        }
        let items = chord_name::chord_name(0.0, 0.0, Anchor::Start, NAME_SIZE, &n.symbol, passage.chord_names, FrameInk::Black);
        let frame = Frame { items, alt: format!("Chord name {text}."), ..Frame::default() };
        out.push((format!("name-{}", name_word(&text)), Canvas::of(&frame, 1.0, Spot { x: 0.0, y: 1.0, height: 0.4 })));
        named.push(text);
    }
    for part in guitars(passage) {
        let word = file_word(&passage.parts[part].name);
        for (i, frame) in lines(passage, &[part], false, TAB_HEIGHT).iter().enumerate() {
            out.push((format!("{word}-tab-{}", i + 1), Canvas::of(frame, fill(frame), Spot { height: TAB_HEIGHT, ..CENTRE })));
        }
    }
    let lock = lock::lock(passage);
    if !lock.pairs.is_empty() {
        let wide = |width_pt: f64| lock_map_lines(passage, &lock.map, &LockMapOptions { width_pt, fold: true });
        for (i, frame) in fitting(&wide, LOCK_HEIGHT).iter().enumerate() {
            out.push((format!("lock-{}", i + 1), Canvas::of(frame, fill(frame), Spot { height: LOCK_HEIGHT, ..CENTRE })));
        }
    }
    out
}

/// Most of the safe area's height that tab lines, lock maps and turning systems take.
const TAB_HEIGHT: f64 = 0.42;
const LOCK_HEIGHT: f64 = 0.75;
const SYSTEM_HEIGHT: f64 = 0.62;

/// Indices of the guitar parts that are no easier way to play another.
fn guitars(passage: &Passage) -> Vec<usize> {
    (0..passage.parts.len()).filter(|i| passage.parts[*i].kind == Kind::Guitar && passage.parts[*i].easier_of.is_none()).collect()
}

/// The systems of some parts, as large as the height allows.
fn lines(passage: &Passage, parts: &[usize], part_names: bool, height: f64) -> Vec<Frame> {
    let names: Vec<BarName> = lock::bar_names(passage).into_iter().map(|n| BarName { bar: n.bar, at: n.at, text: n.symbol, style: passage.chord_names }).collect();
    let wide = |width_pt: f64| systems(passage, Some(&names), &SystemOptions { width_pt, part_names, parts: Some(parts.to_vec()), ..SystemOptions::default() });
    fitting(&wide, height)
}

/// Lays lines out ever wider (and so drawn ever smaller) until each of them is low enough; the widest try where none is.
fn fitting(wide: &dyn Fn(f64) -> Vec<Frame>, height: f64) -> Vec<Frame> {
    let mut last = Vec::new();
    for width_pt in [430.0, 520.0, 620.0, 740.0] {
        last = wide(width_pt);
        if last.iter().all(|f| f.height_pt * fill(f) <= height * (SAFE.bottom - SAFE.top)) {
            break;
        }
    }
    last
}

/// Units for a point at which a frame is as wide as the safe area.
fn fill(frame: &Frame) -> f64 {
    (SAFE.right - SAFE.left) / frame.width_pt.max(1.0)
}

/// Words as they stand in file names: small letters, digits and single dashes.
fn file_word(text: &str) -> String {
    let plain: String = text.to_lowercase().chars().map(|c| if c.is_ascii_alphanumeric() { c } else { ' ' }).collect();
    let words: Vec<&str> = plain.split_whitespace().collect();
    if words.is_empty() { "part".into() } else { words.join("-") }
}

/// A chord sign likewise; the running number keeps those apart that differ in capitals alone.
fn name_word(text: &str) -> String {
    file_word(&text.replace('#', "sharp").replace('/', " over ").replace('Δ', " maj").replace('-', " minor "))
}

/// Why an overlay was not drawn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum OverlayError {
    /// Lines that give no 16:9 picture of whole pixels, or too small or large a one.
    Lines { found: u32 },
    /// The picture could not be written; a fault of this program.
    Picture(String),
}

impl fmt::Display for OverlayError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            OverlayError::Lines { found } => write!(f, "{found} lines; right is a multiple of 9 from 360 to 4320, such as 1080 or 2160"),
            OverlayError::Picture(message) => write!(f, "the picture could not be written: {message}"),
        }
    }
}

impl std::error::Error for OverlayError {}

#[cfg(test)]
mod tests;
