//! What the bench asks of the program around it. A service that is not there answers so, in words for the teacher.

use check::Checked;
use hear::{Hearing, Keep, Pins, Separated};
use lesson::Lesson;
use std::path::Path;
use wave::Buffer;

/// Why a service gave nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Without {
    /// This program cannot do it.
    NotAvailable(String),
    /// It was tried.
    Failed(String),
}

impl std::fmt::Display for Without {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Without::NotAvailable(why) | Without::Failed(why) => f.write_str(why),
        }
    }
}

/// A lesson that comes with the program, to look at and to change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Demo {
    /// Name of the folder that it is copied to.
    pub folder: &'static str,
    pub text: &'static str,
}

/// A file that `make` wrote, relative to the lesson's folder, with `/`.
pub type Made = String;

/// A passage of another lesson that has what was looked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Hit {
    /// The lesson's folder as the shelf names it, with `/`; `.` is the shelf's own.
    pub lesson: String,
    pub title: String,
    pub passage: Option<String>,
    /// Part and bar, in words; may be empty.
    pub place: String,
    /// A sentence.
    pub why: String,
}

/// What the shelf has: the first few, and how many there are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Found {
    pub hits: Vec<Hit>,
    pub total: usize,
}

/// What a pupil asked for, held against the shelf.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wish {
    pub words: String,
    /// `YYYY-MM-DD`.
    pub day: Option<String>,
    pub times: u32,
    /// Lessons or passages that answer it; empty where nothing does.
    pub by: Vec<String>,
    /// Words of it that no lesson has.
    pub without: Vec<String>,
}

/// How far a long service is: a part of 1, and what it does now.
pub type Progress<'a> = &'a (dyn Fn(f64, &str) + Sync);

/// What of the record is let through.
pub use crate::apart::Apart;

/// What a take was played to.
#[derive(Clone, Debug, PartialEq)]
pub struct Playing {
    /// Strings, tuning and capo of the part.
    pub instrument: neck::Instrument,
    /// Each beat of the bars in the take, seconds, and last where the last bar ends. The first one begins a bar.
    pub beats: Vec<f64>,
    /// All bars have it.
    pub meter: lesson::Meter,
    pub swing: Option<lesson::Swing>,
    /// Index of the first bar in its passage.
    pub first: usize,
    pub bars: usize,
}

/// A take written out.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Played {
    /// Letters and frets (low string to high) of the grips in the lines.
    pub grips: Vec<(char, String)>,
    /// One for each bar that was played to.
    pub bars: Vec<PlayedBar>,
    /// What the teacher should know, in sentences without full stop.
    pub remarks: Vec<String>,
}

/// A bar of a take.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PlayedBar {
    /// A stroke line, in as many slots as the take is written in.
    pub line: String,
    /// It holds something that was not heard clearly.
    pub doubtful: bool,
}

/// The program around the bench. All calls come from threads that may wait.
pub trait Services: Send + Sync + 'static {
    /// What a record tells.
    ///
    /// # Errors
    /// A record that cannot be listened to.
    fn hear(&self, record: &Buffer, pins: &Pins, progress: Progress<'_>) -> Result<Hearing, Without> {
        hear::hear(record, pins, &|part| progress(part, "listening to the record")).map_err(|e| Without::Failed(e.to_string()))
    }

    /// A stretch of a record taken apart, as long as it was.
    ///
    /// # Errors
    /// A record in which nothing sits apart.
    fn apart(&self, piece: &Buffer, how: Apart, progress: Progress<'_>) -> Result<Separated, Without> {
        let tell = |part: f64| progress(part, "taking the record apart");
        let seat = |azimuth, keep| hear::seat_filter(piece, azimuth, hear::SEAT_WIDTH, keep, &tell);
        let found = match how {
            Apart::Only(azimuth) => seat(azimuth, Keep::Only),
            Apart::Without(azimuth) => seat(azimuth, Keep::Without),
            Apart::Tones => hear::harmonic_percussive(piece, &tell).map(|b| b.harmonic),
            Apart::Strokes => hear::harmonic_percussive(piece, &tell).map(|b| b.percussive),
            Apart::All => return Err(Without::Failed("all of the record is let through: there is nothing to take apart".into())),
        };
        found.map_err(|e| Without::Failed(e.to_string()))
    }

    /// A passage's parts against the records that it names, which come decoded, each by its name.
    ///
    /// # Errors
    /// A passage that cannot be checked.
    fn check(&self, lesson: &Lesson, passage: &str, records: &[(&str, &Buffer)]) -> Result<Checked, Without> {
        check::passage(lesson, passage, records, &check::Options::default()).map_err(|e| Without::Failed(e.to_string()))
    }

    /// Called when long work is over: what it held and the allocator kept can be given back to the system.
    fn rest(&self) {}

    /// A clean take of one guitar written out for the bars that it was played to.
    ///
    /// # Errors
    /// Where it is not built in, or fails; where nothing is heard in it.
    fn take(&self, _audio: &Buffer, _wanted: &Playing, _progress: Progress<'_>) -> Result<Played, Without> {
        Err(Without::NotAvailable("a take cannot be written out as a part yet".into()))
    }

    /// Makes the pack of the lesson in `folder` and gives its files.
    ///
    /// # Errors
    /// Where it is not built in, or fails.
    fn make(&self, _folder: &Path, _progress: Progress<'_>) -> Result<Vec<Made>, Without> {
        Err(Without::NotAvailable("this program cannot make the pack; use partwright make".into()))
    }

    /// Passages below the folder `shelf` that have all of `words`.
    ///
    /// # Errors
    /// Words that are no query (with the place under them), or where it is not built in.
    fn find(&self, _shelf: &Path, _words: &str) -> Result<Found, Without> {
        Err(no_shelf())
    }

    /// The passages that are most like one, nearest first.
    ///
    /// # Errors
    /// A passage that the shelf does not have, or where it is not built in.
    fn like(&self, _shelf: &Path, _lesson: &str, _passage: &str) -> Result<Found, Without> {
        Err(no_shelf())
    }

    /// What is used often below the folder and was never taught, a sentence each.
    ///
    /// # Errors
    /// Where it is not built in, or fails.
    fn never_taught(&self, _shelf: &Path) -> Result<Vec<String>, Without> {
        Err(no_shelf())
    }

    /// What pupils asked for: what nothing answers first, most wanted first.
    ///
    /// # Errors
    /// A file of requests with faults, or where it is not built in.
    fn wishes(&self, _shelf: &Path) -> Result<Vec<Wish>, Without> {
        Err(no_shelf())
    }

    /// Writes requests down, one a line, each counted once more where it is there already.
    ///
    /// # Errors
    /// Lines that are no requests, a file that cannot be written: nothing is written then. Or where it is not built in.
    fn wish(&self, _shelf: &Path, _lines: &str) -> Result<(), Without> {
        Err(no_shelf())
    }

    /// Lessons that come with the program.
    fn demos(&self) -> Vec<Demo> {
        Vec::new()
    }

    /// The text of a new lesson.
    fn starter(&self, title: &str) -> String {
        format!(
            "lesson {} {{\n  passage \"first\" title=\"First passage\" {{\n    tempo 84\n    meter \"4/4\"\n    slots 8\n    key \"G major\"\n\n    part \"strum\" instrument=\"guitar\" {{\n      grip \"g\" \"3 2 0 0 0 3\"\n      grip \"d\" \"x x 0 2 3 2\"\n      bar \"g - . g  . g g .\"\n      bar \"d - . d  . d d .\"\n    }}\n    part \"floor\" instrument=\"bass\" {{\n      bar \"4:3 - - .  4:3 - 3:2 -\"\n      bar \"3:5 - - .  3:5 - 4:5 -\"\n    }}\n  }}\n}}\n",
            lesson::quoted(title)
        )
    }
}

fn no_shelf() -> Without {
    Without::NotAvailable("this program has no shelf; use partwright find".into())
}

/// The bench by itself: it can hear and check, and says of everything else that it cannot.
#[derive(Clone, Copy, Debug, Default)]
pub struct Alone;

impl Services for Alone {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_starter_is_sound_whatever_the_title() {
        for title in ["A new lesson", "quotes \" and \\ backslashes", "{ } // #\"", "é ♭"] {
            let r = lesson::read(&Alone.starter(title));
            assert_eq!(r.problems, vec![], "{title}");
            assert_eq!(r.lesson.title, title);
        }
    }

    #[test]
    fn what_is_not_there_says_so() {
        let none: Progress<'_> = &|_, _| ();
        assert!(matches!(Alone.make(Path::new("."), none), Err(Without::NotAvailable(_))));
        assert!(matches!(Alone.check(&Lesson::default(), "verse", &[("a.wav", &Buffer::silence(48_000, 1, 10).unwrap())]), Err(Without::Failed(_))));
    }
}
