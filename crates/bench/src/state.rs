//! What the server holds: the open lesson with its drawings, and what it tells every page about it.

use crate::apart::Stretches;
use crate::beneath::Beneath;
use crate::desk::{self, Desk};
use crate::differ::splice_between;
use crate::drawn::{Drawn, Look, ShownPassage};
use crate::guard::Guard;
use crate::hand::{At, hand};
use crate::patch::patches;
use crate::places::to_units;
use crate::record::Records;
use crate::services::Services;
use crate::sounds::Sounds;
use lesson::{Position, Problem, Weight};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, MutexGuard};
use tokio::sync::broadcast;

/// Why the saving thread is woken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wake {
    Typed,
    File,
    Stop,
}

pub struct State {
    pub guard: Guard,
    pub services: Arc<dyn Services>,
    pub shelf: PathBuf,
    pub sounds: Sounds,
    pub stretches: Stretches,
    pub records: Records,
    /// Events for all pages: name and data.
    pub news: broadcast::Sender<(&'static str, Arc<str>)>,
    pub wake: Sender<Wake>,
    pub making: Mutex<()>,
    pub checking: Mutex<()>,
    pub taking: Mutex<()>,
    /// Passages of the last check, so that those that are as they were need no listening.
    pub known: Mutex<Vec<crate::checking::Known>>,
    /// Checks so far.
    pub checks: std::sync::atomic::AtomicU64,
    pub stopping: tokio::sync::watch::Sender<bool>,
    open: Mutex<Option<Open>>,
}

/// The lesson at work.
pub struct Open {
    pub desk: Desk,
    drawn: Drawn,
    look: Look,
    /// What the pages show, and of which text.
    shown: Vec<Arc<ShownPassage>>,
    shown_text: Arc<str>,
    shown_version: u64,
    /// The text cannot be read far enough to show passages: the last ones stay.
    stale: bool,
    pub fault: Option<String>,
    /// The last check, once there was one.
    pub kept: Option<crate::findings::Kept>,
    _watch: Option<notify::RecommendedWatcher>,
    /// Held as long as the lesson is open, so that a second bench says so.
    _lock: std::fs::File,
}

impl State {
    #[expect(clippy::too_many_arguments, reason = "one call, from one place")]
    pub fn new(guard: Guard, services: Arc<dyn Services>, shelf: PathBuf, news: broadcast::Sender<(&'static str, Arc<str>)>, wake: Sender<Wake>, stopping: tokio::sync::watch::Sender<bool>) -> State {
        State { guard, services, shelf, sounds: Sounds::default(), stretches: Stretches::default(), records: Records::default(), news, wake, making: Mutex::new(()), checking: Mutex::new(()), known: Mutex::default(), taking: Mutex::new(()), checks: 0.into(), stopping, open: Mutex::new(None) }
    }

    pub fn open(&self) -> MutexGuard<'_, Option<Open>> {
        self.open.lock().unwrap_or_else(|e| e.into_inner())
    }

    /// Opens the lesson in a folder, in place of the one that was open.
    ///
    /// # Errors
    /// A sentence; the one that was open stays then. It has to be saved, and nothing be made or checked of it.
    pub fn open_lesson(&self, folder: &Path) -> Result<(), String> {
        let beneath = Beneath::new(folder).map_err(|e| format!("{}: {e}", folder.display()))?;
        if self.open().as_ref().is_some_and(|o| o.desk.folder.root() == beneath.root()) {
            return Ok(());
        }
        const AT_WORK: &str = "the open lesson is being made or checked; wait until that is done";
        let (Ok(_no_making), Ok(_no_check)) = (self.making.try_lock(), self.checking.try_lock()) else { return Err(AT_WORK.into()) };
        // Before anything is made in it.
        beneath.open(desk::LESSON_FILE).map_err(|e| match e.kind() {
            std::io::ErrorKind::NotFound => format!("there is no {} in {}", desk::LESSON_FILE, folder.display()),
            std::io::ErrorKind::PermissionDenied => format!("{} in {} is a link or no plain file, or may not be read", desk::LESSON_FILE, folder.display()),
            _ => format!("{}: {e}", folder.display()),
        })?;
        let scratch = desk::scratch(&beneath).map_err(|e| format!("{}: {}", folder.display(), keep::words(&e)))?;
        let lock = lock(&scratch)?;
        let desk = Desk::open(beneath)?;
        let watch = crate::watch::watch(desk.folder.root(), self.wake.clone());
        let mut open = Open {
            shown_text: desk.text().clone(),
            shown_version: desk.version(),
            desk,
            drawn: Drawn::default(),
            look: Look::default(),
            shown: vec![],
            stale: false,
            fault: None,
            kept: None,
            _watch: watch,
            _lock: lock,
        };
        open.draw();
        {
            let mut at = self.open();
            if at.as_ref().is_some_and(|o| !o.desk.is_saved()) {
                return Err("what was typed in the open lesson is not in its file yet; try again in a moment, or see what stands in the way there".into());
            }
            *at = Some(open);
        }
        let _ = self.wake.send(Wake::Typed);
        // Windows that show the other one.
        self.tell("look", &json!({}));
        Ok(())
    }

    /// Tells all pages something.
    pub fn tell(&self, event: &'static str, data: &Value) {
        let _ = self.news.send((event, Arc::from(data.to_string())));
    }
}

/// The bench's lock in its folder.
fn lock(scratch: &Path) -> Result<std::fs::File, String> {
    use std::io::{Read, Seek, Write};
    let path = scratch.join("lock");
    let fail = |e: std::io::Error| format!("{}: {}", path.display(), keep::words(&e));
    let mut file = keep::lock(&path).map_err(fail)?;
    match file.try_lock() {
        Ok(()) => {}
        Err(std::fs::TryLockError::WouldBlock) => {
            let mut who = String::new();
            let _ = file.take(40).read_to_string(&mut who);
            return Err(format!("this lesson is open in another bench (process {}); work on there, or close it first", who.trim()));
        }
        Err(std::fs::TryLockError::Error(e)) => return Err(fail(e)),
    }
    let _ = file.set_len(0).and_then(|()| file.rewind()).and_then(|()| write!(file, "{}", std::process::id()));
    Ok(file)
}

impl Open {
    fn draw(&mut self) {
        let lesson = &self.desk.lesson;
        self.stale = lesson.passages.is_empty() && self.desk.has_errors() && !self.shown.is_empty();
        if !self.stale {
            self.shown = self.drawn.passages(self.desk.text(), lesson, self.look);
        }
        self.shown_text = self.desk.text().clone();
        self.shown_version = self.desk.version();
    }

    pub fn look(&self) -> Look {
        self.look
    }

    /// Draws for another width or hand; true when that changed anything.
    pub fn set_look(&mut self, look: Look) -> bool {
        let other = look != self.look;
        if other {
            self.look = look;
            self.draw();
        }
        other
    }

    /// What lies at a slot.
    pub fn hand(&self, at: &At) -> Value {
        // While the last passages stay on the page their harmony is of another text.
        let signs = self.drawn.signs(&at.passage).filter(|_| !self.stale);
        hand(self.desk.text(), &self.desk.lesson, signs.as_deref(), at)
    }

    /// How the parts of a passage fit, drawn for the pages' look.
    pub fn fit(&self, passage: &str) -> Option<String> {
        let lesson = &self.desk.lesson;
        lesson.passages.iter().find(|p| p.id == passage).map(|p| crate::drawn::fit(p, self.look).into_string())
    }

    /// Everything that a page needs when it is opened.
    pub fn everything(&self) -> Value {
        let passages: Vec<Value> = self.shown.iter().map(|p| json!({ "id": p.id, "title": p.title, "pieces": p.pieces.iter().map(|(k, m)| json!([k, &**m])).collect::<Vec<_>>() })).collect();
        self.with_state(json!({ "text": &**self.desk.text(), "passages": passages }))
    }

    /// What changed since the pages were last told; `by` is the window that asked for it.
    pub fn update(&mut self, by: &str) -> Value {
        let (before, text, from) = (std::mem::take(&mut self.shown), self.shown_text.clone(), self.shown_version);
        self.shown.clone_from(&before);
        self.draw();
        let passages: Vec<Value> = self
            .shown
            .iter()
            .map(|p| {
                let old = before.iter().find(|o| o.id == p.id);
                if old.is_some_and(|o| Arc::ptr_eq(o, p)) {
                    return json!({ "id": p.id });
                }
                let known: BTreeMap<&str, &Arc<str>> = old.iter().flat_map(|o| &o.pieces).map(|(k, m)| (k.as_str(), m)).collect();
                let pieces: Vec<Value> = p.pieces.iter().map(|(key, markup)| piece(key, markup, known.get(key.as_str()).copied())).collect();
                json!({ "id": p.id, "title": p.title, "pieces": pieces })
            })
            .collect();
        let splice = splice_between(&text, self.desk.text()).map(|c| json!([to_units(&text, c.at.start), to_units(&text, c.at.end), c.with]));
        self.with_state(json!({ "from": from, "by": by, "splice": splice, "passages": passages }))
    }

    fn with_state(&self, mut value: Value) -> Value {
        let desk = &self.desk;
        let (undo, redo) = desk.next();
        value["version"] = desk.version().into();
        // A page that was drawn for another width or hand cannot take over what changed.
        value["look"] = json!([self.look.narrow, self.look.left_handed]);
        value["title"] = desk.lesson.title.clone().into();
        value["needs"] = desk.lesson.needs.clone().into();
        value["problems"] = desk.problems.iter().map(|p| self.problem(p)).collect();
        value["stale"] = self.stale.into();
        value["undo"] = json!(undo);
        value["redo"] = json!(redo);
        value["checked"] = self.kept.as_ref().map(|k| k.brief(desk.text(), &desk.lesson)).into();
        merge(&mut value, self.saving());
        value
    }

    /// Whether what stands here is in the file.
    pub fn saving(&self) -> Value {
        json!({ "saved": self.desk.is_saved(), "conflict": self.desk.theirs().is_some(), "gone": self.desk.is_gone(), "fault": self.fault })
    }

    fn problem(&self, p: &Problem) -> Value {
        let text = self.desk.text();
        let at = Position::of(text, p.span.start);
        let holds = |s: lesson::Span| s.start <= p.span.start && p.span.start < s.end.max(s.start + 1);
        let passage = self.desk.lesson.passages.iter().rev().find(|q| q.span.start <= p.span.start);
        let part = passage.and_then(|q| q.parts.iter().rev().find(|r| r.span.start <= p.span.start));
        let bar = passage.zip(part).and_then(|(q, r)| r.bars.iter().position(|b| holds(b.span)).and_then(|i| q.bars.get(i)).map(|b| b.number));
        json!({
            "from": to_units(text, p.span.start), "to": to_units(text, p.span.end), "line": at.line, "column": at.column,
            "error": p.weight == Weight::Error, "found": p.found, "right": p.right,
            "passage": passage.map(|q| &q.id), "part": bar.and(part).map(|r| &r.name), "bar": bar,
        })
    }
}

/// A piece for a page that shows `old`: its key alone where it is the same, the patches that lead to it where they are shorter, else all of it.
fn piece(key: &str, markup: &Arc<str>, old: Option<&Arc<str>>) -> Value {
    match old {
        Some(old) if Arc::ptr_eq(old, markup) || **old == **markup => json!([key]),
        // The labels are laid out once a line, from their text.
        Some(_) if key == "labels" => json!([key, &**markup]),
        Some(old) => match patches(old, markup) {
            Some(list) if list.iter().map(|p| p.markup.len() + 24).sum::<usize>() < markup.len() => {
                let list: Vec<Value> = list.iter().map(|p| json!([p.path, p.from, p.count, p.markup])).collect();
                json!([key, null, list])
            }
            _ => json!([key, &**markup]),
        },
        None => json!([key, &**markup]),
    }
}

fn merge(into: &mut Value, from: Value) {
    if let (Value::Object(a), Value::Object(b)) = (into, from) {
        a.extend(b);
    }
}
