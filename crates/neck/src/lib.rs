//! Tunings, capo, grips, playable places, the hand, parent grips, paths.
//!
//! Strings count as the trade counts them: string 1 is the highest. Arrays over strings run from the low string to the high
//! one. Frets count from the capo: fret 0 is the open string, or the string stopped by the capo.
//!
//! This crate knows nothing of time signatures, files or lessons.

mod finger;
mod grip;
mod habit;
mod hand;
mod instrument;
mod lattice;
mod near;
mod parent;
mod path;
mod place;
mod step;
mod stroke;
#[doc(hidden)]
pub mod weights;

pub use finger::{Fingering, Unplayable, finger, fingers_given};
pub use grip::{Barre, Finger, Grip};
pub use hand::Hand;
pub use instrument::{FRETS_MAX, Instrument, Tuning};
pub use near::{By, Change, along, change, nearest};
pub use parent::{Parent, forms, parents};
#[doc(hidden)]
pub use {path::Studied, step::{BY_KIND, BY_PLACE, SECOND, plain_weights, start_weights}};
pub use path::{NOTES_MAX, PathOptions, Pin, TOGETHER_S, Timed, Unplaced, alternatives, path, path_with};
pub use place::{Place, PlaceOptions, RESULTS_MAX, SILENT_MM, Wanted, place};
