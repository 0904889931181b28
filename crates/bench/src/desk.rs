//! The lesson's text at work: edits with undo, the file it came from, and what happens when that file changes under it.
//!
//! Three texts matter: ours, what the file holds as far as we know (`disk`), and what the outside last gave us (`common`). When the file
//! changes and the new text still has all that was typed here since `common`, it is taken over as a step that can be undone. Where it lost some of
//! that, nothing is merged: both stand side by side until someone chooses.

use crate::beneath::Beneath;
use crate::differ::{holds, splice_between};
use crate::journal::{self, Step};
use crate::places::to_bytes;
use keep::{Lasting, Replaced};
use lesson::{Change, Lesson, Problem, Span, Weight, splice};
use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Name of the lesson file in its folder.
pub const LESSON_FILE: &str = "lesson.kdl";
/// Earlier texts that an edit may still speak of.
const PAST: usize = 64;
/// Typing within this time, right behind what was typed, is one step.
const TOGETHER: Duration = Duration::from_millis(900);
/// Lines from which a journal is written anew when it is opened.
const LINES_MAX: usize = 4_000;

/// Why a text was not changed.
#[derive(Clone, Debug, PartialEq)]
pub enum Refused {
    /// The text changed at the same place since; the edit speaks of a text that is no longer there.
    Moved,
    /// Offsets that are none, or a text larger than a lesson may be.
    Wrong(String),
    /// The lesson would have an error more: what was found, what would be right.
    Faulty(String, String),
}

pub struct Desk {
    pub folder: Beneath,
    file: PathBuf,
    text: Arc<str>,
    version: u64,
    past: VecDeque<(u64, Arc<str>)>,
    /// The file's bytes, as far as we know; no more than a lesson may have and one.
    disk: Vec<u8>,
    common: String,
    /// The file's text while it is in conflict with ours.
    theirs: Option<String>,
    /// What the file holds is no lesson's text: it cannot be taken over.
    unfit: bool,
    gone: bool,
    done: Vec<Step>,
    undone: Vec<Step>,
    typed: Option<(Instant, usize)>,
    /// Journal lines that are not written yet.
    waiting: String,
    /// Bytes of the journal that are written, and how many more an earlier failure may have left behind them.
    journal: (u64, u64),
    /// The journal is to be written anew, whole.
    anew: bool,
    pub lesson: Lesson,
    pub problems: Vec<Problem>,
}

/// What the saving thread writes, away from the desk.
pub struct Job {
    file: PathBuf,
    folder: Beneath,
    journal: Journal,
    /// What the file must hold, and what it is to hold; nothing while there is a conflict.
    text: Option<(Vec<u8>, Arc<str>)>,
}

enum Journal {
    Nothing,
    More { lines: String, known: u64, torn: u64 },
    Anew(String),
}

/// What became of a job.
#[derive(Debug)]
pub struct Outcome {
    journal: Journaled,
    saved: Option<(Arc<str>, Replaced)>,
    pub fault: Option<String>,
}

#[derive(Debug)]
enum Journaled {
    Nothing,
    /// So long is it now.
    Done(u64),
    /// These lines are not in it.
    Not(String),
    /// It is another, or could not be written anew.
    Lost,
}

/// A text that was read: whole, or one passage of it that differs from the text before.
enum Read {
    Whole(Box<lesson::Reading>),
    Passage(Box<lesson::Again>),
}

impl Desk {
    /// Opens the lesson of a folder with its journal.
    ///
    /// # Errors
    /// A sentence: no lesson there, a lesson that is no plain file or no text, a folder that cannot be written.
    pub fn open(folder: Beneath) -> Result<Desk, String> {
        let file = folder.root().join(LESSON_FILE);
        let shown = file.display();
        folder.open(LESSON_FILE).map_err(|e| match e.kind() {
            std::io::ErrorKind::NotFound => format!("there is no {LESSON_FILE} in this folder"),
            std::io::ErrorKind::PermissionDenied => format!("{shown} is a link or no plain file, or may not be read; put the file itself there"),
            _ => format!("{shown}: {e}"),
        })?;
        let bytes = keep::read(&file, lesson::BYTES_MAX).map_err(|e| format!("{shown}: {}", keep::words(&e)))?;
        let disk = text_of(bytes).map_err(|why| format!("{shown} {why}"))?;
        let scratch = scratch(&folder).map_err(|e| format!("{}: {}", folder.root().display(), keep::words(&e)))?;
        keep::sweep(&scratch);
        let steps = scratch.join("steps");
        let bytes = std::fs::symlink_metadata(&steps).is_ok_and(|m| m.is_file()).then(|| std::fs::read(&steps).ok()).flatten();
        // What follows a damaged byte is no text; the lines before it are.
        let journal = bytes.as_deref().map(|b| std::str::from_utf8(b).unwrap_or_else(|e| std::str::from_utf8(&b[..e.valid_up_to()]).unwrap_or_default()));
        let found = journal.and_then(|j| journal::replay(j, &disk));
        let mut desk = Desk {
            folder,
            file,
            text: Arc::from(disk.as_str()),
            version: 1,
            past: VecDeque::new(),
            common: disk.clone(),
            disk: disk.clone().into_bytes(),
            theirs: None,
            unfit: false,
            gone: false,
            done: vec![],
            undone: vec![],
            typed: None,
            waiting: String::new(),
            journal: (0, 0),
            anew: true,
            lesson: Lesson::default(),
            problems: vec![],
        };
        if let Some(all) = &bytes {
            let rest = &all[found.as_ref().map_or(0, |r| r.bytes).min(all.len())..];
            desk.journal = ((all.len() - rest.len()) as u64, rest.len() as u64);
            // A line torn off at the end was never said to be kept; whole lines that do not fit may be somebody's words.
            let damaged = rest.contains(&b'\n');
            desk.anew = found.as_ref().is_none_or(|r| damaged || r.lines > LINES_MAX || r.bytes > journal::BYTES_MAX);
            if damaged || (found.is_none() && !all.is_empty()) {
                keep::write(&scratch.join("steps.damaged"), all, Lasting::Disk).map_err(|e| format!("{}: {}", scratch.display(), keep::words(&e)))?;
            }
        }
        if let Some(r) = found {
            (desk.done, desk.undone) = (r.done, r.undone);
            desk.text = Arc::from(r.text.as_str());
            if r.text != disk {
                if r.saved == r.text {
                    desk.put(&disk, "changed while the bench was closed");
                    desk.waiting.push_str(&journal::saved());
                } else if !r.passed_disk {
                    desk.theirs = Some(disk);
                    desk.common = r.saved;
                }
            } else if r.saved != disk {
                desk.waiting.push_str(&journal::saved());
            }
        }
        desk.took(lesson::read(&desk.text));
        Ok(desk)
    }

    pub fn text(&self) -> &Arc<str> {
        &self.text
    }

    pub fn version(&self) -> u64 {
        self.version
    }

    /// The file's text, while it stands against ours.
    pub fn theirs(&self) -> Option<&str> {
        self.theirs.as_deref()
    }

    /// Whether the file's text could be taken over; false for what is no UTF-8, or longer than a lesson.
    pub fn theirs_fits(&self) -> bool {
        !self.unfit
    }

    pub fn is_gone(&self) -> bool {
        self.gone
    }

    pub fn is_saved(&self) -> bool {
        self.waiting.is_empty() && !self.anew && *self.disk == *self.text.as_bytes()
    }

    /// What undo and redo would take back or do again.
    pub fn next(&self) -> (Option<&str>, Option<&str>) {
        (self.done.last().map(|s| s.said.as_str()), self.undone.last().map(|s| s.said.as_str()))
    }

    pub fn has_errors(&self) -> bool {
        self.problems.iter().any(|p| p.weight == Weight::Error)
    }

    /// An edit in UTF-16 offsets of the text as it was at version `base`. Typing that goes on where it left off joins the step before.
    ///
    /// # Errors
    /// The text is as it was.
    pub fn edit(&mut self, base: u64, start: usize, end: usize, with: &str, said: &str) -> Result<(), Refused> {
        let wrong = || Refused::Wrong("the place of the edit is none in this text".into());
        let then = if base == self.version { self.text.clone() } else { self.past.iter().find(|(v, _)| *v == base).map(|(_, t)| t.clone()).ok_or(Refused::Moved)? };
        let (mut start, mut end) = (to_bytes(&then, start).ok_or_else(wrong)?, to_bytes(&then, end).ok_or_else(wrong)?);
        if start > end {
            return Err(wrong());
        }
        if let Some(since) = splice_between(&then, &self.text) {
            if start > since.at.end || (start == since.at.end && since.at.start < since.at.end) {
                let moved = |i: usize| i + since.with.len() - (since.at.end - since.at.start);
                (start, end) = (moved(start), moved(end));
            } else if end > since.at.start || (end == since.at.start && start == end) {
                return Err(Refused::Moved);
            }
        }
        if self.text.len() - (end - start) + with.len() > lesson::BYTES_MAX {
            return Err(Refused::Wrong(format!("a lesson has at most {} bytes", lesson::BYTES_MAX)));
        }
        let goes_on = self.typed.is_some_and(|(when, at)| when.elapsed() < TOGETHER && (at == start || at == end));
        let small = with.chars().count() <= 2 && end - start <= 4 && !with.contains('\n');
        self.change(vec![Change { at: Span { start, end }, with: with.into() }], said, goes_on && small)?;
        self.typed = small.then(|| (Instant::now(), start + with.len()));
        Ok(())
    }

    /// Changes of the text as it is now.
    ///
    /// # Errors
    /// Places that are none; the text is as it was.
    pub fn change(&mut self, forth: Vec<Change>, said: &str, joined: bool) -> Result<(), Refused> {
        let text = splice(&self.text, &forth).ok_or_else(|| Refused::Wrong("the place of the edit is none in this text".into()))?;
        if *text == *self.text {
            return Ok(());
        }
        let step = Step { back: journal::inverse(&self.text, &forth), forth, said: said.into(), joined: joined && !self.done.is_empty() };
        self.waiting.push_str(&journal::done(&step));
        self.done.push(step);
        self.undone.clear();
        self.become_text(text);
        Ok(())
    }

    /// As [`Desk::change`], but only where the lesson has no more errors than before.
    ///
    /// # Errors
    /// The first error that would be new, or places that are none; the text is as it was.
    pub fn change_if_sound(&mut self, forth: Vec<Change>, said: &str) -> Result<(), Refused> {
        let text = splice(&self.text, &forth).ok_or_else(|| Refused::Wrong("the place of the edit is none in this text".into()))?;
        if *text == *self.text {
            return Ok(());
        }
        let errors = |list: &[Problem]| list.iter().filter(|p| p.weight == Weight::Error).count();
        let read = self.read(&text);
        let found: &[Problem] = match &read {
            Read::Whole(reading) => &reading.problems,
            Read::Passage(again) => again.errors(),
        };
        if errors(found) > errors(&self.problems) {
            let known = |p: &&Problem| !self.problems.iter().any(|o| (&o.found, &o.right) == (&p.found, &p.right));
            let new = found.iter().filter(|p| p.weight == Weight::Error).find(known).or(found.first());
            return Err(new.map_or(Refused::Moved, |p| Refused::Faulty(p.found.clone(), p.right.clone())));
        }
        let step = Step { back: journal::inverse(&self.text, &forth), forth, said: said.into(), joined: false };
        self.waiting.push_str(&journal::done(&step));
        self.done.push(step);
        self.undone.clear();
        self.become_read(text, read);
        Ok(())
    }

    /// The whole text replaced.
    fn put(&mut self, text: &str, said: &str) {
        if let Some(c) = splice_between(&self.text, text) {
            // The places are the texts' own.
            let _ = self.change(vec![c], said, false);
        }
    }

    /// Takes the last step back; false where there is none.
    pub fn undo(&mut self) -> bool {
        let mut count = 0;
        while let Some(step) = self.done.pop() {
            let Some(text) = splice(&self.text, &step.back) else { break };
            let joined = step.joined;
            self.undone.push(step);
            self.become_text(text);
            count += 1;
            if !joined {
                break;
            }
        }
        if count > 0 {
            self.waiting.push_str(&journal::undone(count));
        }
        count > 0
    }

    /// Does again what was taken back.
    pub fn redo(&mut self) -> bool {
        let mut count = 0;
        while let Some(step) = self.undone.pop() {
            let Some(text) = splice(&self.text, &step.forth) else { break };
            self.done.push(step);
            self.become_text(text);
            count += 1;
            if !self.undone.last().is_some_and(|s| s.joined) {
                break;
            }
        }
        if count > 0 {
            self.waiting.push_str(&journal::redone(count));
        }
        count > 0
    }

    fn become_text(&mut self, text: String) {
        let read = self.read(&text);
        self.become_read(text, read);
    }

    /// The text that comes next, read as far as it has to be.
    fn read(&self, text: &str) -> Read {
        match lesson::again(&self.text, &self.lesson, &self.problems, text) {
            Some(again) => Read::Passage(Box::new(again)),
            None => Read::Whole(Box::new(lesson::read(text))),
        }
    }

    fn become_read(&mut self, text: String, read: Read) {
        self.past.push_back((self.version, self.text.clone()));
        if self.past.len() > PAST {
            self.past.pop_front();
        }
        self.version += 1;
        self.text = Arc::from(text);
        self.typed = None;
        match read {
            Read::Whole(reading) => self.took(*reading),
            Read::Passage(again) => again.put(&mut self.lesson, &mut self.problems),
        }
    }

    fn took(&mut self, reading: lesson::Reading) {
        self.problems = reading.problems;
        if !self.problems.iter().any(|p| p.weight == Weight::Error) {
            self.problems.extend(lesson::check(&reading.lesson));
            self.problems.sort_by_key(|p| (p.span, p.weight));
        }
        self.lesson = reading.lesson;
    }

    /// What is to be written now; `None` when nothing is.
    pub fn job(&mut self) -> Option<Job> {
        let text = (self.theirs.is_none() && *self.disk != *self.text.as_bytes()).then(|| (self.disk.clone(), self.text.clone()));
        self.anew |= self.journal.0 > journal::BYTES_MAX as u64;
        if text.is_none() && self.waiting.is_empty() && !self.anew {
            return None;
        }
        let lines = std::mem::take(&mut self.waiting);
        let journal = if self.anew {
            let disk = if self.theirs.is_some() { self.common.clone() } else { String::from_utf8_lossy(&self.disk).into_owned() };
            Journal::Anew(journal::whole(&self.text, &disk, &mut self.done, &self.undone))
        } else if lines.is_empty() {
            Journal::Nothing
        } else {
            Journal::More { lines, known: self.journal.0, torn: self.journal.1 }
        };
        Some(Job { file: self.file.clone(), folder: self.folder.clone(), journal, text })
    }

    /// Takes in what became of a job; true when the text or the conflict changed.
    pub fn after(&mut self, outcome: Outcome) -> bool {
        match outcome.journal {
            Journaled::Nothing => {}
            Journaled::Done(length) => (self.journal, self.anew) = ((length, 0), false),
            Journaled::Not(lines) => {
                self.journal.1 = self.journal.1.max(lines.len() as u64);
                self.waiting.insert_str(0, &lines);
            }
            Journaled::Lost => self.anew = true,
        }
        match outcome.saved {
            None => false,
            Some((text, Replaced::Done)) => {
                self.gone = false;
                self.disk = text.as_bytes().to_vec();
                if *self.text == *text {
                    self.waiting.push_str(&journal::saved());
                }
                false
            }
            Some((_, Replaced::Other(bytes))) => self.outside(bytes),
        }
    }

    /// The file was looked at; true when the text or the conflict changed.
    pub fn seen(&mut self, found: std::io::Result<Vec<u8>>) -> bool {
        match found {
            Ok(bytes) => {
                let back = std::mem::replace(&mut self.gone, false);
                self.outside(bytes) || back
            }
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => !std::mem::replace(&mut self.gone, true),
            Err(_) => false,
        }
    }

    fn outside(&mut self, bytes: Vec<u8>) -> bool {
        if bytes == self.disk {
            return false;
        }
        self.disk.clone_from(&bytes);
        self.unfit = bytes.len() > lesson::BYTES_MAX;
        let theirs = String::from_utf8(bytes).unwrap_or_else(|e| {
            self.unfit = true;
            String::from_utf8_lossy(e.as_bytes()).into_owned()
        });
        if !self.unfit && theirs == *self.text {
            self.common = theirs;
            self.waiting.push_str(&journal::saved());
            return self.theirs.take().is_some();
        }
        // What is no lesson's text is shown, and nothing is written over it.
        if !self.unfit && self.theirs.is_none() && holds(&self.common, &self.text, &theirs) {
            self.common.clone_from(&theirs);
            self.put(&theirs, "changed in another program");
            self.waiting.push_str(&journal::saved());
        } else {
            self.theirs = Some(theirs);
        }
        true
    }

    /// Ends a conflict with one of the two texts, or with one put together from both. False where there is none, or the file's text cannot be taken.
    pub fn resolve(&mut self, with: Resolve) -> bool {
        if with == Resolve::Theirs && self.unfit {
            return false;
        }
        let Some(theirs) = self.theirs.take() else { return false };
        match with {
            // We have not seen all of what is no lesson's text: it keeps a name.
            Resolve::Mine if self.unfit => self.unfit = !set_aside(&self.file),
            Resolve::Mine => {}
            Resolve::Theirs => self.put(&theirs.clone(), "took the file's words"),
        }
        if self.unfit {
            self.theirs = Some(theirs);
            return false;
        }
        self.common = theirs;
        true
    }
}

/// Gives the file another name beside its own; false where that cannot be done.
fn set_aside(file: &std::path::Path) -> bool {
    for n in 1..1000 {
        let mut name = file.as_os_str().to_owned();
        name.push(format!(".aside-{n}"));
        let aside = PathBuf::from(name);
        if aside.symlink_metadata().is_err() {
            return std::fs::rename(file, aside).is_ok();
        }
    }
    false
}

/// Which text is to stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Resolve {
    Mine,
    Theirs,
}

impl Job {
    /// Writes the journal's lines, then the lesson, whether or not the journal could be written.
    pub fn run(self) -> Outcome {
        let scratch = scratch(&self.folder);
        let steps = scratch.as_ref().map(|s| s.join("steps")).map_err(|e| keep::words(e));
        let mut fault = None;
        let mut failed = |what: &str, why: String| fault = Some(format!("{what}: {why}"));
        let journal = match (self.journal, &steps) {
            (Journal::Nothing, _) => Journaled::Nothing,
            (Journal::Anew(all), Ok(path)) => match keep::write(path, all.as_bytes(), Lasting::Disk) {
                Ok(()) => Journaled::Done(all.len() as u64),
                Err(e) => {
                    failed("the steps could not be written", keep::words(&e));
                    Journaled::Lost
                }
            },
            (Journal::More { lines, known, torn }, Ok(path)) => match keep::append(path, known, torn, lines.as_bytes()) {
                Ok(Some(length)) => Journaled::Done(length),
                Ok(None) => Journaled::Lost,
                Err(e) => {
                    failed("the steps could not be written", keep::words(&e));
                    Journaled::Not(lines)
                }
            },
            (journal, Err(why)) => {
                failed("the steps could not be written", why.clone());
                if let Journal::More { lines, .. } = journal { Journaled::Not(lines) } else { Journaled::Lost }
            }
        };
        let mut saved = None;
        if let Some((expected, text)) = self.text {
            let written = match &scratch {
                Ok(s) => keep::replace(&self.file, &expected, text.as_bytes(), s, lesson::BYTES_MAX),
                Err(_) => keep::replace(&self.file, &expected, text.as_bytes(), self.folder.root(), lesson::BYTES_MAX),
            };
            match written {
                Ok(done) => saved = Some((text, done)),
                // The file was taken away: it is written anew, whole, unless it is back.
                Err(e) if e.kind() == std::io::ErrorKind::NotFound => match keep::write_new(&self.file, text.as_bytes()) {
                    Ok(()) => saved = Some((text, Replaced::Done)),
                    Err(e) => failed("the lesson could not be written", keep::words(&e)),
                },
                Err(e) => failed("the lesson could not be written", keep::words(&e)),
            }
        }
        Outcome { journal, saved, fault }
    }
}

/// The bench's own folder inside the lesson's.
pub fn scratch(folder: &Beneath) -> std::io::Result<PathBuf> {
    Beneath::new(&folder.folder(".partwright")?)?.folder("bench")
}

fn text_of(bytes: Vec<u8>) -> Result<String, String> {
    if bytes.len() > lesson::BYTES_MAX {
        return Err(format!("is longer than {} bytes", lesson::BYTES_MAX));
    }
    String::from_utf8(bytes).map_err(|e| format!("is no UTF-8 text (byte {}); save it as UTF-8", e.utf8_error().valid_up_to() + 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    const LESSON: &str = "lesson \"One\" {\n  passage \"p\" { tempo 90; slots 4\n    part \"line\" instrument=\"guitar\" {\n      bar \"5:3 . . .\"\n      bar \"5:5 . . .\"\n    }\n  }\n}\n";

    fn on(dir: &tempfile::TempDir) -> Desk {
        Desk::open(Beneath::new(dir.path()).unwrap()).unwrap()
    }

    fn fresh() -> (tempfile::TempDir, Desk) {
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join(LESSON_FILE), LESSON).unwrap();
        let desk = on(&dir);
        (dir, desk)
    }

    fn replace(desk: &mut Desk, old: &str, new: &str) {
        let at = desk.text.find(old).unwrap();
        desk.edit(desk.version, at, at + old.len(), new, "typed").unwrap();
    }

    fn settle(desk: &mut Desk) {
        while let Some(job) = desk.job() {
            let outcome = job.run();
            assert_eq!(outcome.fault, None);
            desk.after(outcome);
        }
    }

    fn file(dir: &tempfile::TempDir) -> String {
        std::fs::read_to_string(dir.path().join(LESSON_FILE)).unwrap()
    }

    #[test]
    fn five_hundred_steps_come_back_after_a_restart() {
        let (dir, mut desk) = fresh();
        let mut texts = vec![desk.text.clone()];
        for i in 0..600 {
            replace(&mut desk, "5:3 .", if i % 2 == 0 { "5:3 . 5:3 ." } else { "5:3 .\n" });
            desk.typed = None;
            texts.push(desk.text.clone());
        }
        settle(&mut desk);
        assert_eq!(file(&dir), *desk.text);
        drop(desk);
        let mut desk = on(&dir);
        for t in texts.iter().rev().skip(1) {
            assert!(desk.undo());
            assert_eq!(desk.text, *t);
        }
        assert!(!desk.undo());
        settle(&mut desk);
        let mut desk = on(&dir);
        for t in &texts[1..] {
            assert!(desk.redo());
            assert_eq!(desk.text, *t);
        }
        assert!(!desk.redo());
    }

    #[test]
    fn a_change_that_would_break_the_lesson_is_not_made() {
        let (_dir, mut desk) = fresh();
        let at = LESSON.find("5:3").unwrap();
        let put = |with: &str| vec![Change { at: Span { start: at, end: at + 3 }, with: with.into() }];
        assert!(matches!(desk.change_if_sound(put("5:99"), "x"), Err(Refused::Faulty(_, right)) if !right.is_empty()));
        assert_eq!((&*desk.text, desk.version, desk.done.len()), (LESSON, 1, 0));
        desk.change_if_sound(put("5:4"), "x").unwrap();
        assert!(desk.text.contains("5:4") && desk.lesson.passages[0].parts[0].bars[0].events[0].notes[0].place() == Some((5, 4)));
    }

    #[test]
    fn typing_on_is_one_step() {
        let (_dir, mut desk) = fresh();
        for (i, c) in ["w", "o", "w"].iter().enumerate() {
            let at = 8 + i;
            desk.edit(desk.version, at, at, c, "typed").unwrap();
        }
        assert!(desk.text.starts_with("lesson \"wowOne\""));
        assert!(desk.undo());
        assert_eq!(*desk.text, *LESSON);
        assert!(desk.redo());
        assert!(desk.text.starts_with("lesson \"wowOne\""));
    }

    #[test]
    fn what_was_typed_and_not_saved_is_there_after_a_crash() {
        let (dir, mut desk) = fresh();
        settle(&mut desk);
        replace(&mut desk, "5:3", "5:8");
        // The journal's lines reach the disk, the lesson does not.
        let mut job = desk.job().unwrap();
        job.text = None;
        job.run();
        drop(desk);
        assert_eq!(file(&dir), LESSON);
        let mut desk = on(&dir);
        assert!(desk.text.contains("5:8") && desk.theirs.is_none());
        settle(&mut desk);
        assert!(file(&dir).contains("5:8"));
        // As before, but the file changes too: both are kept, neither is written.
        replace(&mut desk, "5:8", "5:9");
        let mut job = desk.job().unwrap();
        job.text = None;
        job.run();
        drop(desk);
        std::fs::write(dir.path().join(LESSON_FILE), LESSON.replace("5:5", "5:6")).unwrap();
        let mut desk = on(&dir);
        assert!(desk.text.contains("5:9") && desk.theirs().unwrap().contains("5:6"));
        settle(&mut desk);
        assert!(file(&dir).contains("5:6"));
    }

    #[test]
    fn another_program_is_taken_over_or_stands_against_us() {
        let (dir, mut desk) = fresh();
        settle(&mut desk);
        let path = dir.path().join(LESSON_FILE);
        // Nothing was typed here: theirs is taken, and can be undone.
        std::fs::write(&path, LESSON.replace("5:5", "5:6")).unwrap();
        assert!(desk.seen(keep::read(&path, lesson::BYTES_MAX)));
        assert!(desk.text.contains("5:6") && desk.theirs.is_none());
        assert!(!desk.seen(keep::read(&path, lesson::BYTES_MAX)));
        // Typed here and kept there.
        replace(&mut desk, "5:3", "5:8");
        settle(&mut desk);
        std::fs::write(&path, desk.text.replace("One", "Two")).unwrap();
        assert!(desk.seen(keep::read(&path, lesson::BYTES_MAX)));
        assert!(desk.text.contains("Two") && desk.text.contains("5:8") && desk.theirs.is_none());
        // Typed here and lost there: a conflict, and what is typed on is not written.
        replace(&mut desk, "5:8", "5:9");
        settle(&mut desk);
        let theirs = LESSON.replace("One", "Three");
        std::fs::write(&path, &theirs).unwrap();
        assert!(desk.seen(keep::read(&path, lesson::BYTES_MAX)));
        assert_eq!(desk.theirs(), Some(theirs.as_str()));
        replace(&mut desk, "5:9", "5:10");
        settle(&mut desk);
        assert_eq!(file(&dir), theirs);
        assert!(desk.resolve(Resolve::Mine));
        settle(&mut desk);
        assert!(file(&dir).contains("5:10"));
        // And the other way round, with undo across it.
        std::fs::write(&path, &theirs).unwrap();
        desk.seen(keep::read(&path, lesson::BYTES_MAX));
        assert!(desk.resolve(Resolve::Theirs));
        settle(&mut desk);
        assert_eq!((file(&dir), &*desk.text), (theirs.clone(), theirs.as_str()));
        assert!(desk.undo() && desk.text.contains("5:10"));
    }

    #[test]
    fn a_write_between_look_and_save_is_not_lost() {
        let (dir, mut desk) = fresh();
        settle(&mut desk);
        replace(&mut desk, "5:3", "5:8");
        let job = desk.job().unwrap();
        let theirs = LESSON.replace("5:3", "5:1");
        std::fs::write(dir.path().join(LESSON_FILE), &theirs).unwrap();
        let outcome = job.run();
        assert!(desk.after(outcome));
        assert_eq!((file(&dir), desk.theirs()), (theirs.clone(), Some(theirs.as_str())));
    }

    #[test]
    fn a_file_taken_away_is_written_again() {
        let (dir, mut desk) = fresh();
        settle(&mut desk);
        std::fs::remove_file(dir.path().join(LESSON_FILE)).unwrap();
        assert!(desk.seen(keep::read(&dir.path().join(LESSON_FILE), lesson::BYTES_MAX)));
        assert!(desk.is_gone());
        replace(&mut desk, "5:3", "5:8");
        settle(&mut desk);
        assert!(file(&dir).contains("5:8") && !desk.is_gone());
    }

    #[test]
    fn edits_of_an_earlier_text_find_their_place_or_are_refused() {
        let (_dir, mut desk) = fresh();
        let base = desk.version;
        replace(&mut desk, "One", "Eleven");
        let at = LESSON.find("5:5").unwrap();
        desk.edit(base, at, at + 3, "5:7", "typed").unwrap();
        assert!(desk.text.contains("Eleven") && desk.text.contains("bar \"5:7 "));
        let one = LESSON.find("One").unwrap();
        assert_eq!(desk.edit(base, one, one + 1, "x", "typed"), Err(Refused::Moved));
        assert_eq!(desk.edit(base + 1000, 0, 0, "x", "typed"), Err(Refused::Moved));
        assert!(matches!(desk.edit(desk.version, 5, 100_000, "x", "typed"), Err(Refused::Wrong(_))));
        assert!(matches!(desk.edit(desk.version, 5, 4, "x", "typed"), Err(Refused::Wrong(_))));
    }

    #[test]
    fn no_lesson_no_desk() {
        let dir = tempfile::tempdir().unwrap();
        let open = || Desk::open(Beneath::new(dir.path()).unwrap()).err().unwrap();
        assert!(open().contains("no lesson.kdl"));
        std::fs::write(dir.path().join(LESSON_FILE), [0xff, 0xfe]).unwrap();
        assert!(open().contains("UTF-8"));
        #[cfg(unix)]
        {
            std::fs::remove_file(dir.path().join(LESSON_FILE)).unwrap();
            std::os::unix::fs::symlink("/etc/hostname", dir.path().join(LESSON_FILE)).unwrap();
            assert!(open().contains("link"));
        }
    }
}
