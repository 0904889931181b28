//! The bench: the local page where a teacher works on a lesson, and the server behind it.
//!
//! | module | computes |
//! |---|---|
//! | [`start`], [`serve`] | a server on the loopback for one lesson folder |
//! | [`services`] | what the bench asks of the program around it: making, checking, hearing |
//! | `guard` | who may ask: key, cookie, host, origin, headers |
//! | `beneath` | files of the lesson's folder and none outside it |
//! | `desk` | the lesson's text at work: edits, undo, conflicts with the file |
//! | `journal` | what makes a typed word last |
//! | `lines`, `drawn`, `patch` | slots, tab and lock map as pieces of the page; what of a piece changed |
//! | `hand` | the grip under the cursor: names, reasons, other places |
//! | `act` | what a key or a click on the page does to the text |
//! | `record` | the record in bars, and stretches of it slowed down |
//! | `step` | where a passage's beats lie in the record, to about a millisecond |
//! | `apart`, `form` | one seat of the record, what rings, what strikes; which bars sound alike, where least sounds in them |
//! | `findings`, `checking` | what a check found and whether it still holds; what is answered about it |
//! | [`report`], `strip` | the findings report, with what the record holds drawn under the notes |
//! | `taking` | what was played in: written out for bars of a part, and put into the text |
//! | `sounds` | parts and record as samples for the browser |
//! | `shelf`, `shelf_page` | the lessons that lie about; looking in all of them, and what pupils asked for |
//! | `routes`, `page` | what is answered where, and the page itself |
//!
//! ```
//! let dir = tempfile::tempdir().unwrap();
//! std::fs::write(dir.path().join("lesson.kdl"), "lesson \"First\" { passage \"one\" { tempo 90; slots 4
//!   part \"line\" instrument=\"guitar\" { bar \"5:3 . 4:2 .\" } } }").unwrap();
//! let options = bench::Options { lesson: Some(dir.path().into()), ..bench::Options::default() };
//! let running = bench::start(options, std::sync::Arc::new(bench::services::Alone)).unwrap();
//! assert!(running.address().starts_with("http://127.0.0.1:"));
//! running.stop();
//! ```
//!
//! # What it must not do
//!
//! - Know the typesetter or encode audio for pupils: `make` is asked of [`services::Services`].
//! - Answer anyone but the browser that came with the key, or open anything outside the lesson's folder.
//! - Write a lesson other than whole, or over words that it has not seen.

mod act;
mod apart;
mod beneath;
mod checking;
mod desk;
mod differ;
mod drawn;
mod findings;
mod form;
mod guard;
mod hand;
mod journal;
mod lines;
mod page;
mod patch;
mod places;
mod record;
pub mod report;
mod routes;
mod serve;
pub mod services;
mod shelf;
mod shelf_page;
mod slots;
mod sounds;
mod state;
mod step;
mod strip;
mod taking;
mod watch;

pub use serve::{Fault, Options, Running, serve, start};
