//! The shelf: an index over many lessons, what pupils asked for, and courses.
//!
//! ```
//! use shelf::{Seen, Shelf, Trust};
//! let text = r#"lesson "Harbour steps" { passage "verse" { tempo 92; slots 4; chords "D9"
//!   part "chop" instrument="guitar" { grip "a" "x x 4 5 5 x"; bar "a - a -" }
//!   part "floor" instrument="bass" { bar "3:5 - - -" } } }"#;
//! # let folder = tempfile::tempdir().unwrap();
//! # let path = folder.path().join("all.shelf");
//! let mut shelf = Shelf::open(&path).unwrap();
//! // The caller lists the lessons that there are, and hands in what is asked to be read.
//! let seen = [Seen { folder: "steps".into(), bytes: text.len() as u64, modified_ns: 0 }];
//! shelf.update(&seen, 1, Trust::Hint, &mut |_folder| Ok(text.into())).unwrap();
//! let found = shelf.find(&shelf::query("rootless ninth tempo 90-110").unwrap(), 10).unwrap();
//! assert_eq!(found.hits[0].why, "chop plays grip a, x x 4 5 5 x, first in bar 1, which is D9 without its root. Its tempo is 92.");
//! // The same grip two frets higher was taught there.
//! let taught = shelf.taught(&neck::Grip::parse("x x 6 7 7 x").unwrap(), &neck::Instrument::guitar(), None).unwrap();
//! assert_eq!(taught[0].sentence(), "This grip was taught in “Harbour steps”, verse (chop, from bar 1 on), 2 frets lower.");
//! ```
//!
//! The one file that this crate opens is the index itself, because SQLite does. It must not look for lessons, read or write any other file, or ask
//! the clock, and nothing outside it may know of SQLite.

mod course;
mod facts;
mod find;
mod fold;
mod index;
mod level;
mod near;
mod query;
mod requests;
mod shape;
mod taught;
mod technique;

pub use course::{COURSE_BYTES_MAX, COURSE_LESSONS_MAX, Chapter, Checked, Course, CourseLesson, GripPlace, IndexedGrip, Known, Link, Taken, check_course, course};
pub use facts::*;
pub use find::{Found, Hit};
pub use fold::tokens;
pub use index::{Seen, Shelf, ShelfError, Trust, Update, WAIT_MS};
pub use level::level;
pub use near::Near;
pub use query::{Figure, QUERY_BYTES_MAX, Query, Range, TERMS_MAX, Term, Test, query};
pub use requests::{Answer, Coverage, Matched, REQUESTS_BYTES_MAX, Request, Requests, TIMES_MAX, WORDS_BYTES_MAX, Wanted, requests};
pub use shape::{Likeness, Shape};
pub use taught::{Gap, GapKind, Taught};
pub use technique::{Technique, Use, techniques};
