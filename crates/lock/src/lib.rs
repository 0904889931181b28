//! Harmony over time from all parts, the names of what each part plays in the light of it, and how parts share time and register.
//!
//! What the teacher wrote in `chords` outranks everything that is computed here; pinned names outrank both.
//!
//! ```
//! let text = r#"lesson "t" { passage "p" { tempo 90; slots 4; key "C minor"
//!   part "chop" instrument="guitar" { grip "a" "x x 8 8 8 x"; bar "a - - -" }
//!   part "floor" instrument="bass" { bar "3:3 - - -" } } }"#;
//! let lesson = lesson::read(text).lesson;
//! let names = lock::grip_names(&lesson.passages[0], 0);
//! // Three notes of Eb major over the bass's C: the band plays C minor seventh.
//! assert_eq!(names[0].name().unwrap().to_string(), "Cm7");
//! assert_eq!(lock::harmony(&lesson.passages[0])[0].symbol.as_ref().unwrap().to_string(), "Cm7");
//! // The guitar has the band's minor third, seventh and fifth; the root is the bass's.
//! let lock = lock::lock(&lesson.passages[0]);
//! assert_eq!(lock.pairs[0].findings[2], "Between the two the third, the fifth and the seventh are the chop's, the root is the floor's.");
//! ```
//!
//! It must not draw, sound, or know of files.

mod chords;
mod clash;
mod findings;
mod harmony;
mod map;
mod names;
mod share;
mod steady;
mod talk;
mod ticks;

pub use chords::{Chord, HeldTone, OutsideTone};
pub use clash::{CLASHES_MAX, Clash, ClashKind, Meaning};
pub use harmony::{BeatHarmony, PartHarmony, Signs, StretchHarmony, Worked, bass_at, harmony, stretches};
pub use map::{Hit, LockMap, MapBar, Range, Row, SLOTS_MAX, drum_word, lock_map};
pub use share::{Lock, Pair, PairRegister, lock, lock_under};
pub use names::{BarName, GripName, bar_names, grip_names, name_notes, shape_of};
pub use talk::{Pace, Point, Talk, Topic, draft, parent_of, running_order};
