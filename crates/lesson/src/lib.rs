//! The lesson document: model, reading, writing, edits that keep layout, time, validation.
//!
//! ```
//! let text = r#"lesson "First" {
//!   passage "one" { tempo 100
//!     part "chop" instrument="guitar" { grip "a" "x x 8 8 8 x"; bar "a . x x  . a x .  . x a x  a - . ." } }
//! }"#;
//! let reading = lesson::read(text);
//! assert!(reading.is_sound());
//! let passage = &reading.lesson.passages[0];
//! assert_eq!(passage.parts[0].bars[0].events.len(), 9);
//! assert_eq!(passage.duration(), 2.4);
//! ```
//!
//! What was read is written again by [`write()`], and changed in its own text by [`edit()`]:
//!
//! ```
//! # let text = "lesson \"First\" { passage \"one\" { tempo 100; part \"chop\" instrument=\"guitar\" { rest } } } // mine";
//! let edited = lesson::edit(text, &lesson::Edit::Title("Second".into())).unwrap();
//! assert_eq!(edited.text, text.replace("First", "Second"));
//! ```
//!
//! It must not open files, ask the clock, draw or sound.

mod again;
mod check;
mod edit;
mod model;
mod nodes;
mod notate;
mod problem;
mod quote;
mod read;
mod resolve;
mod scan;
mod sheet;
mod sounding;
mod stroke;
mod strokes;
mod time;
mod write;

pub use again::{Again, again, drum_row};
pub use check::check;
pub use edit::{BarAt, Change, Edit, EditError, Edited, Owner, Rounds, Value, edit, splice};
pub use model::*;
pub use notate::{Base, Beam, Written, notate};
pub use problem::{PROBLEMS_MAX, Position, Problem, Weight};
pub use quote::quoted;
pub use read::{BARS_IN_ALL_MAX, BARS_MAX, FORMAT, Reading, document, read, read_bytes};
pub use scan::{BYTES_MAX, DEPTH_MAX};
pub use sheet::{SheetBar, sheet};
pub use sounding::{Sounding, soundings};
pub use time::swung;
pub use write::{write, write_part};
