//! Neck diagrams, tab and staff, laid out as one frame of positioned glyphs and paths.
//!
//! [`neck_diagram`] draws a grip, [`systems`] sets a passage line by line, [`Setting`] does so again and again while it is edited, [`system_strip`] in one line, [`svg`] writes any [`Frame`] for a page. A frame holds positions only: whoever draws it (SVG here, PDF in
//! `pack`) measures nothing anew. Text is set without kerning and ligatures in the faces of [`fonts::font_files`], music signs are the
//! outlines of [`glyphs::glyph_outline`].
//!
//! ```
//! use engrave::{SystemOptions, svg, systems};
//! let text = "lesson \"Rain\" { passage \"verse\" { tempo 96; key \"C minor\"; chords \"Cm7\"; part \"chop\" instrument=\"guitar\" {
//!     grip \"a\" \"x x 8 8 8 x\"
//!     bar \"a . x x . a x . . x a x a - . .\"
//! } } }";
//! let reading = lesson::read(text);
//! let frames = systems(&reading.lesson.passages[0], None, &SystemOptions { width_pt: 400.0, ..SystemOptions::default() });
//! assert_eq!(frames.len(), 1);
//! assert_eq!(frames[0].width_pt, 400.0);
//! assert!(frames[0].alt.contains("Cm7 in bar 1"));
//! assert!(svg(&frames[0], "verse-1").starts_with("<svg"));
//! ```
//!
//! This crate knows nothing of files, pages or sound.

mod barlines;
mod beams;
mod canvas;
pub mod chord_name;
pub mod fonts;
mod frame;
pub mod glyphs;
mod heading;
mod line;
mod lock_map;
mod meter;
mod neck_diagram;
mod outlines;
mod rhythm;
mod setting;
mod shapes;
mod sizes;
mod spacing;
mod spelling;
mod staff;
mod staff_small;
mod svg;
mod system;
mod tab;
mod techniques;
mod words;
mod wrap;

pub use fonts::font_files;
pub use frame::{Anchor, Bounds, Face, Frame, Ink, Item, Path, Step, Stroke, Text, What};
pub use glyphs::glyph_outline;
pub use neck_diagram::{Diagram, Show, neck_diagram};
pub use heading::{BarName, harmony_names};
pub use lock_map::{LockMapOptions, lock_map, lock_map_lines};
pub use outlines::outlined;
pub use setting::Setting;
pub use svg::{escaped, number, svg};
pub use system::{StaffWish, SystemOptions, system_strip, systems};
pub use techniques::StrokeSigns;
