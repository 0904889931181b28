//! Play-along sound from a lesson's passage: instruments made here, seats, room, one loudness, a ladder of tempos, loops without a seam.
//!
//! | module | computes |
//! |---|---|
//! | `render` | [`render()`]: a passage at one tempo as stems, mix, click and count-in |
//! | `string`, `pluck`, `fretted` | guitar and bass: a string's loop, what sets it going, a part's strokes on its strings |
//! | `course` | a note's pitch over time: bends, slides, vibrato |
//! | `drums`, `keys`, `click` | the kit, instruments by note name, the click |
//! | `take` | the teacher's own playing in place of a part |
//! | `level` | the rows for volume and wah |
//! | `room`, `mix` | room, levels, seats, the gain for all |
//! | `time` | written time in frames, and what a loop hears of its round before |
//! | `filter`, `random` | what these are made of |
//!
//! ```
//! let text = r#"
//! lesson "Two bars" {
//!   passage "one" {
//!     tempo 100
//!     meter "4/4"
//!     slots 8
//!     part "line" instrument="guitar" {
//!       bar "5:3 - 4:2 - 4:5 - 3:2 ."
//!     }
//!   }
//! }"#;
//! let lesson = lesson::read(text).lesson;
//! let passage = &lesson.passages[0];
//! let sound = sound::render(passage, &sound::Options::default(), &sound::Takes::new(), &|_| ()).unwrap();
//! // Four beats at 100 a minute, to the frame, for a loop.
//! assert_eq!(sound.frames, 115_200);
//! assert_eq!(sound.stems.len(), 1);
//! let lufs = wave::loudness(&sound.mix).integrated_lufs.unwrap();
//! assert!((lufs + 16.0).abs() < 0.1);
//! ```
//!
//! # Why 48 kHz
//!
//! The stems are written as Opus, which works at 48 kHz inside: any other rate would be converted, and a loop's length in frames would no longer be exact.
//!
//! # What it must not do
//!
//! - Open files or read the clock: takes come in as decoded buffers.
//! - Stretch what it synthesises: each tempo is played anew. Only takes are stretched.
//! - Let machine or thread count show in the samples: plain arithmetic and `libm` alone, sums in a fixed order.
//! - Write: encoding belongs to `wave`, files to the shell.

mod click;
mod course;
mod drums;
mod filter;
mod fretted;
mod keys;
mod level;
mod mix;
mod pluck;
mod random;
mod render;
mod room;
mod string;
mod take;
mod time;

pub use mix::{CEILING_DBTP, TARGET_LUFS};
pub use render::{
    Fault, HEAD_MAX_S, LADDER_PERCENT, LENGTH_MAX_S, Options, RING_OUT_S, Render, STEMS_MAX_S, TEMPO_PERCENT, Takes, render,
};

/// Frames a second of everything here.
pub const RATE: u32 = 48_000;
