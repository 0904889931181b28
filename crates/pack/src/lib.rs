//! Handout, pupil's page, MusicXML, MIDI, chapters; the teacher's stand-up sheet and overlays for video.

mod captions;
mod chapters;
pub mod grip_diagrams;
pub mod handout;
mod midi;
mod musicxml;
pub mod overlay;
pub mod page;
pub mod running_order;

pub use captions::captions;
pub use chapters::{Chapter, TapsError, chapters, chapters_from_finds, chapters_from_taps, chapters_moved, chapters_text};
pub use midi::{BEND_SEMITONES, DEAD_TICKS, SPREAD_TICKS, TICKS, midi};
pub use musicxml::musicxml;
