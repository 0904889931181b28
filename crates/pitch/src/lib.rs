//! Pitches, intervals, spelling, keys, chord names and their reasons.
//!
//! What sounds is a [`Midi`] number; what is written is a [`Spelling`] (a letter and its accidental) or a [`Spelled`]
//! pitch (with octave, C4 = MIDI 60, as ISO 16 and common practice count). A [`Key`] chooses between the two names of one sound.
//! A [`Symbol`] is a chord sign as data; [`names()`] finds every sensible one for some notes in their context, with reasons, and [`harmony()`] does so for
//! stretches of playing, where notes pass by and neighbours tell what is left out.
//!
//! ```
//! use pitch::{Context, Midi, Symbol, names};
//! // The strings 4, 3 and 2 at the eighth fret sound Bb, Eb and G; the bass part plays C.
//! let grip = [Midi(58), Midi(63), Midi(67)];
//! let alone = names(&grip, &Context::default());
//! assert_eq!(alone.names[0].symbol.to_string(), "Eb/Bb");
//! let with_bass = names(&grip, &Context { bass: Some(Midi(36)), ..Context::default() });
//! assert_eq!(with_bass.names[0].symbol.to_string(), "Cm7");
//! assert!(with_bass.names[0].rootless);
//! ```
//!
//! This crate knows nothing of strings, frets, files or time.

mod classes;
mod degree;
mod harmony;
mod harte;
mod interval;
mod key;
mod names;
mod note;
mod symbol;

pub use classes::Classes;
pub use degree::Degree;
pub use harmony::{CORES, Core, First, Harmony, Held, MARKS, Stretch, Timing, Weighed, all_marks, first_names, harmony};
pub use interval::Interval;
pub use key::{Key, Mode};
pub use names::{Context, FirstName, Name, Naming, first_name, names};
pub use note::{Letter, Midi, PitchClass, Spelled, Spelling};
pub use symbol::{Part, PartKind, Style, Symbol};
