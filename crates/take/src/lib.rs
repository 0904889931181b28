//! A clean take of one guitar, written out as a part.
//!
//! ```
//! use take::{Grid, Settings, TakenNote, TakenScratch, places, write_out};
//! // Three strings struck, a scratch, and the same again, to a click of 120.
//! let note = |t: f64, m: u8| TakenNote { onset_s: t, offset_s: t + 0.11, midi: pitch::Midi(m), confidence: 0.9, strings: vec![], attack: lesson::Attack::Struck };
//! let notes: Vec<TakenNote> = [0.0, 0.5].iter().flat_map(|t| [58, 63, 67].map(|m| note(*t, m))).collect();
//! let scratches = [TakenScratch { onset_s: 0.25, confidence: 0.8 }];
//! let grid = Grid::steady(120.0, 0.0, 2.0, lesson::Meter { count: 4, unit: 4 }, None).unwrap();
//! let settings = Settings { instrument: neck::Instrument::guitar(), bass: false, hand: neck::Hand::usual(), name: "chop".into() };
//! let places = places(&notes, &settings).unwrap();
//! let written = write_out(&notes, &places, &scratches, &grid, &settings);
//! assert!(lesson::read(&written.lesson).is_sound());
//! assert!(written.part.contains("bar \"a . x .  a . . .  . . . .  . . . .\""), "{}", written.part);
//! ```
//!
//! # What it must not do
//!
//! Open files, ask the clock, or invent: what is doubtful is marked in the text.

mod attack;
mod bounds;
mod chances;
mod decode;
mod expected;
mod grid;
mod heard;
mod listen;
mod network;
mod spectra;
mod stay;
mod stiff;
mod write_out;

pub use chances::{CHANCES_LOWEST, CHANCES_RATE_HZ, NoteChances};
pub use grid::{Grid, Place};
pub use heard::{TakenNote, TakenScratch};
pub use listen::{TakeError, Taken, Wishes, take};
pub use write_out::{Settings, WrittenOut, places, write_out};
