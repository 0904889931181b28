//! Edits of a lesson's text: what is asked for is changed, and every other byte (remarks, spacing, line ends) stays.
//!
//! An edit is worked out on the places that the document parser gives, as a list of pieces of text to put in place of others. The
//! outcome is read again: an edit that would leave a sound lesson with a fault is refused, with the fault.

mod bars;
mod layout;
mod locate;

use crate::quote::{number, quoted};
use crate::{Lesson, Problem, Reading, Span, Weight, read, scan};
use kdl::KdlDocument;
use locate::Found;

/// A bar of a part, as played: its number as in `at="2.1"`, 0 for the pickup.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BarAt {
    /// Name of the passage (not its title).
    pub passage: String,
    /// Name of the part; an easier way to play "chop" is "chop, easier".
    pub part: String,
    pub bar: u32,
}

/// What a property or a line of the lesson holds.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    Text(String),
    Number(f64),
    Flag(bool),
}

impl std::fmt::Display for Value {
    /// As it stands in the text.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Value::Text(t) => f.write_str(&quoted(t)),
            Value::Number(n) => f.write_str(&number(*n)),
            Value::Flag(b) => write!(f, "#{b}"),
        }
    }
}

/// Where a property stands.
#[derive(Clone, Debug, PartialEq)]
pub enum Owner {
    Lesson,
    Passage(String),
    Part { passage: String, part: String },
    Grip { passage: String, part: String, letter: char },
    /// The bar of the text that plays there; `times=` and `ending=` are its own.
    Bar(BarAt),
    /// A line of the passage of which there is one: `chords`, `swing`.
    Line { passage: String, word: String },
    /// The passage's remarks, counted from 0.
    Note { passage: String, index: usize },
}

/// One edit.
#[derive(Clone, Debug, PartialEq)]
pub enum Edit {
    /// Puts `with` (a token, or as many as take the same slots) in place of the token at a slot, counted from 1; a bracket is one token. `row` names a
    /// row of drums, or `level`, `wah`; without one it is the bar's own line.
    Token { bar: BarAt, row: Option<String>, slot: u32, with: String, rounds: Rounds },
    /// Puts a whole stroke line (or row) in place of the one that is there; a `rest` becomes a bar.
    Stroke { bar: BarAt, row: Option<String>, line: String, rounds: Rounds },
    /// Sets a property, or with no value takes it away.
    Property { of: Owner, key: String, value: Option<Value> },
    /// Sets a line of the passage of which there is one (`tempo`, `meter`, `slots`, `swing`, `key`, `chords`), or with no value takes it away.
    Line { passage: String, word: String, value: Option<Value> },
    /// The lesson's title.
    Title(String),
    /// Sets the frets of a grip, adds it below the part's other grips, or with no frets takes it away.
    Grip { passage: String, part: String, letter: char, frets: Option<String> },
    /// Adds a remark, at the end of a passage or at the head of the lesson.
    AddNote { passage: Option<String>, text: String, at: Option<String>, part: Option<String> },
    /// Takes a remark of a passage away, counted from 0.
    RemoveNote { passage: String, index: usize },
    /// Fixes the name of what a part plays from a place on; a name that is fixed there is replaced.
    PinName { passage: String, part: String, at: String, name: String },
    /// Adds a dated correction.
    AddRevision { date: String, text: String },
    RenamePassage { passage: String, to: String },
    /// Renames a part, and what speaks of it: remarks and the easier way.
    RenamePart { passage: String, part: String, to: String },
    /// Puts a bar behind bar number `after` (0: before bar 1) of every part; `lines` has parts and their stroke lines, all others rest. Places (`at=`) behind
    /// it count on, and a harmony that has a sign for every beat goes on through it.
    InsertBar { passage: String, after: u32, lines: Vec<(String, String)> },
    /// Puts the same bar behind a bar, in every part.
    DuplicateBar { passage: String, bar: u32 },
    /// Takes a bar out of every part, with the remarks inside its own text; refused while a remark, a name or a place stands in it.
    DeleteBar { passage: String, bar: u32 },
}

/// Which rounds an edit of a bar means, where the bar is played several times.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rounds {
    /// All that the bar's text plays.
    All,
    /// The one alone: `times=4` is split (2 and 1 and 1); within a `repeat { … }` it is refused, for its rounds are one text.
    This,
}

/// A piece of text in place of another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// The bytes that go.
    pub at: Span,
    pub with: String,
}

/// What an edit gave.
#[derive(Clone, Debug, PartialEq)]
pub struct Edited {
    pub text: String,
    /// What was put where, in places of the old text, ascending and apart from each other.
    pub changes: Vec<Change>,
    /// The way back: what [`splice`] makes of the new text is the old one.
    pub undo: Vec<Change>,
    /// Played bars whose text was changed: 4 for one stroke of a bar with `times=4`. 0 where no bar's own text was.
    pub played: usize,
}

/// Why an edit was not made. The text is as it was.
#[derive(Clone, Debug, PartialEq)]
pub struct EditError {
    /// What was found, a sentence without full stop.
    pub found: String,
    /// What would be right.
    pub right: String,
    /// Where in the text it shows; the whole text where it shows nowhere.
    pub span: Span,
    /// What would be wrong with the lesson after the edit, in places of `outcome`.
    pub problems: Vec<Problem>,
    /// The text that the edit would have led to, for those places; empty without problems.
    pub outcome: String,
}

impl std::fmt::Display for EditError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}; {}", self.found, self.right)
    }
}

impl std::error::Error for EditError {}

/// Makes an edit.
///
/// ```
/// use lesson::{BarAt, Edit, Rounds};
/// let text = r#"lesson "First" {
///   passage "one" { tempo 100; slots 4
///     part "chop" instrument="guitar" {
///       bar "5:3 . .   5:3" times=3  // the same all along
///     }
///   }
/// }"#;
/// let bar = BarAt { passage: "one".into(), part: "chop".into(), bar: 2 };
/// let edited = lesson::edit(text, &Edit::Token { bar, row: None, slot: 4, with: "5:5".into(), rounds: Rounds::All }).unwrap();
/// assert_eq!(edited.text, text.replace("5:3\" times", "5:5\" times"));
/// assert_eq!(edited.played, 3);
/// assert_eq!(lesson::splice(&edited.text, &edited.undo).unwrap(), text);
/// ```
///
/// # Errors
/// Nothing is changed when what the edit names is not there, when the text cannot be read far enough to find it, or when the outcome would have an error that the
/// text did not have.
pub fn edit(text: &str, edit: &Edit) -> Result<Edited, EditError> {
    let before = read(text);
    // Line ends that only this document language knows: places could not be told.
    if let Some(i) = text.find(['\u{b}', '\u{c}', '\u{85}', '\u{2028}', '\u{2029}']) {
        return Err(refuse(Span { start: i, end: i }, "an unusual line end stands here", "replace it by a usual one; then the text can be edited"));
    }
    let unread = || {
        let p = before.problems.first();
        refuse(p.map_or(Span::default(), |p| p.span), "the text cannot be read, so nothing can be found in it", p.map_or("mend it first".into(), |p| format!("mend this first: {}", p.found)))
    };
    let mut ignored = crate::problem::Problems::default();
    let doc = if text.len() <= crate::BYTES_MAX && scan::balanced(text, &mut ignored) { KdlDocument::parse_v2(text).ok() } else { None };
    let Some(doc) = doc else {
        return Err(unread());
    };
    let Some(root) = doc.nodes().iter().find(|n| n.name().value() == "lesson") else {
        return Err(unread());
    };
    let desk = Desk { text, lesson: &before.lesson, root: Found { node: root, text } };
    let (mut changes, played) = desk.work(edit)?;
    changes.retain(|c| text.get(c.at.start..c.at.end) != Some(c.with.as_str()));
    changes.sort_by_key(|c| c.at);
    let Some(outcome) = splice(text, &changes) else {
        return Err(refuse(Span::default(), "the edit's places overlap", "make it in two steps"));
    };
    let after = read(&outcome);
    let errors = |r: &Reading| r.problems.iter().filter(|p| p.weight == Weight::Error).count();
    if errors(&after) > errors(&before) {
        let problems: Vec<Problem> = after.problems.into_iter().filter(|p| !before.problems.iter().any(|o| (&o.found, &o.right) == (&p.found, &p.right))).collect();
        let first = problems.first().cloned();
        return Err(EditError {
            found: first.as_ref().map_or("the lesson would have a fault".into(), |p| p.found.clone()),
            right: first.map_or("undo what was asked for".into(), |p| p.right),
            span: changes.first().map_or(Span::default(), |c| c.at),
            problems,
            outcome,
        });
    }
    let undo = inverse(text, &changes);
    Ok(Edited { text: outcome, changes, undo, played })
}

/// Puts the changes into a text: each takes the place of what stood there. `None` when they overlap, are not in order, or do not lie on
/// the borders of characters.
pub fn splice(text: &str, changes: &[Change]) -> Option<String> {
    let mut out = String::with_capacity(text.len());
    let mut from = 0;
    for c in changes {
        if c.at.start < from || c.at.end < c.at.start {
            return None;
        }
        out.push_str(text.get(from..c.at.start)?);
        text.get(c.at.start..c.at.end)?;
        out.push_str(&c.with);
        from = c.at.end;
    }
    out.push_str(text.get(from..)?);
    Some(out)
}

/// The changes that lead back.
fn inverse(text: &str, changes: &[Change]) -> Vec<Change> {
    let (mut grown, mut shrunk) = (0, 0);
    let mut out = Vec::with_capacity(changes.len());
    for c in changes {
        let start = c.at.start + grown - shrunk;
        out.push(Change { at: Span { start, end: start + c.with.len() }, with: text[c.at.start..c.at.end].to_string() });
        grown += c.with.len();
        shrunk += c.at.end - c.at.start;
    }
    out
}

fn refuse(span: Span, found: impl Into<String>, right: impl Into<String>) -> EditError {
    EditError { found: found.into(), right: right.into(), span, problems: vec![], outcome: String::new() }
}

type Work = Result<(Vec<Change>, usize), EditError>;

/// A text, what it was read as, and where its words stand.
struct Desk<'a> {
    text: &'a str,
    lesson: &'a Lesson,
    root: Found<'a>,
}

impl<'a> Desk<'a> {
    fn work(&self, edit: &Edit) -> Work {
        let one = |c: Change| -> Work { Ok((vec![c], 0)) };
        match edit {
            Edit::Token { bar, row, slot, with, rounds } => self.token(bar, row.as_deref(), *slot, with, *rounds),
            Edit::Stroke { bar, row, line, rounds } => self.stroke(bar, row.as_deref(), line, *rounds),
            Edit::Property { of, key, value } => {
                let (node, played) = self.owner(of)?;
                let changes = self.property(&node, key, value.as_ref())?;
                Ok((changes, played))
            }
            Edit::Line { passage, word, value } => self.line(passage, word, value.as_ref()),
            Edit::Title(title) => match self.root.arg(0) {
                Some((_, at)) => one(Change { at, with: quoted(title) }),
                None => one(Change { at: point(self.root.name_span().end), with: format!(" {}", quoted(title)) }),
            },
            Edit::Grip { passage, part, letter, frets } => self.grip(passage, part, *letter, frets.as_deref()),
            Edit::AddNote { passage, text, at, part } => {
                let mut new = format!("note {}", quoted(text));
                for (key, value) in [("at", at), ("part", part)] {
                    if let Some(v) = value {
                        new.push_str(&format!(" {key}={}", quoted(v)));
                    }
                }
                match passage {
                    Some(id) => one(self.last(&self.passage(id)?, &new)?),
                    None => one(self.head(&["note"], &new)?),
                }
            }
            Edit::RemoveNote { passage, index } => one(layout::without(&self.note(passage, *index)?)),
            Edit::PinName { passage, part, at, name } => {
                let part = self.part(passage, part)?;
                if let Some((_, span)) = part.children().iter().filter(|c| c.name() == "name" && c.prop_text("at").map(str::trim) == Some(at.trim())).find_map(|c| c.arg(0)) {
                    return one(Change { at: span, with: quoted(name) });
                }
                let new = format!("name {} at={}", quoted(name), quoted(at));
                one(self.among(&part, &["name", "take", "grip"], &new)?)
            }
            Edit::AddRevision { date, text } => one(self.head(&["revision", "note"], &format!("revision {} {}", quoted(date), quoted(text)))?),
            Edit::RenamePassage { passage, to } => match self.passage(passage)?.arg(0) {
                Some((_, at)) => one(Change { at, with: quoted(to) }),
                None => Err(refuse(Span::default(), "the passage has no name", "write one in the text")),
            },
            Edit::RenamePart { passage, part, to } => self.rename_part(passage, part, to),
            Edit::InsertBar { passage, after, lines } => self.insert_bar(passage, *after, lines),
            Edit::DuplicateBar { passage, bar } => self.duplicate_bar(passage, *bar),
            Edit::DeleteBar { passage, bar } => self.delete_bar(passage, *bar),
        }
    }

    fn passage(&self, id: &str) -> Result<Found<'a>, EditError> {
        self.root.children().into_iter().find(|c| c.name() == "passage" && c.arg_text(0) == Some(id)).ok_or_else(|| {
            let have: Vec<&str> = self.lesson.passages.iter().map(|p| p.id.as_str()).collect();
            refuse(self.root.name_span(), format!("no passage is called \"{id}\""), format!("this lesson has {}", have.join(", ")))
        })
    }

    fn part(&self, passage: &str, name: &str) -> Result<Found<'a>, EditError> {
        let p = self.passage(passage)?;
        let is = |c: &Found| match c.name() {
            "part" => c.arg_text(0) == Some(name),
            "easier" => c.arg_text(0).is_some_and(|of| format!("{of}, easier") == name),
            _ => false,
        };
        p.children().into_iter().find(is).ok_or_else(|| {
            let have: Vec<&str> = self.lesson.passages.iter().filter(|p| p.id == passage).flat_map(|p| &p.parts).map(|p| p.name.as_str()).collect();
            refuse(p.name_span(), format!("no part of \"{passage}\" is called \"{name}\""), format!("it has {}", have.join("; ")))
        })
    }

    fn note(&self, passage: &str, index: usize) -> Result<Found<'a>, EditError> {
        let p = self.passage(passage)?;
        p.children().into_iter().filter(|c| c.name() == "note").nth(index).ok_or_else(|| refuse(p.name_span(), format!("the passage \"{passage}\" has no remark number {}", index + 1), "remarks are counted in the order of the text"))
    }

    fn owner(&self, of: &Owner) -> Result<(Found<'a>, usize), EditError> {
        let plain = |f: Found<'a>| (f, 0);
        match of {
            Owner::Lesson => Ok(plain(self.root)),
            Owner::Passage(id) => self.passage(id).map(plain),
            Owner::Part { passage, part } => self.part(passage, part).map(plain),
            Owner::Grip { passage, part, letter } => {
                let p = self.part(passage, part)?;
                self.find_grip(&p, *letter).map(plain).ok_or_else(|| refuse(p.name_span(), format!("the part has no grip {letter}"), "add it first"))
            }
            Owner::Bar(at) => {
                let hit = self.bar(at)?;
                Ok((hit.node, hit.played.len()))
            }
            Owner::Line { passage, word } => {
                let p = self.passage(passage)?;
                p.child(word).map(plain).ok_or_else(|| refuse(p.name_span(), format!("the passage has no line {word}"), "add it first"))
            }
            Owner::Note { passage, index } => self.note(passage, *index).map(plain),
        }
    }

    fn find_grip(&self, part: &Found<'a>, letter: char) -> Option<Found<'a>> {
        part.children().into_iter().find(|c| c.name() == "grip" && c.arg_text(0).is_some_and(|l| l.chars().eq([letter])))
    }

    fn property(&self, node: &Found, key: &str, value: Option<&Value>) -> Result<Vec<Change>, EditError> {
        let word = !key.is_empty() && key.bytes().all(|b| b.is_ascii_lowercase() || b == b'-') && !key.starts_with('-');
        if !word {
            return Err(refuse(node.name_span(), format!("\"{}\" is no property", crate::problem::excerpt(key)), "properties are words of small letters"));
        }
        Ok(match (node.prop(key), value) {
            (Some((_, _, at)), Some(v)) => vec![Change { at, with: v.to_string() }],
            (None, Some(v)) => vec![Change { at: point(node.head_end()), with: format!(" {key}={v}") }],
            (Some((_, at, _)), None) => {
                // With the white space before it; a remark there stays.
                let space = self.text[..at.start].len() - self.text[..at.start].trim_end_matches([' ', '\t']).len();
                vec![Change { at: Span { start: at.start - space, end: at.end }, with: String::new() }]
            }
            (None, None) => vec![],
        })
    }

    fn line(&self, passage: &str, word: &str, value: Option<&Value>) -> Work {
        const WORDS: [&str; 6] = ["tempo", "meter", "slots", "swing", "key", "chords"];
        let p = self.passage(passage)?;
        let Some(rank) = WORDS.iter().position(|w| *w == word) else {
            return Err(refuse(p.name_span(), format!("\"{}\" is no line of which a passage has one", crate::problem::excerpt(word)), format!("these are {}", WORDS.join(", "))));
        };
        let change = match (p.child(word), value) {
            (Some(node), None) => layout::without(&node),
            (None, None) => return Ok((vec![], 0)),
            (Some(node), Some(v)) => {
                let spans: Vec<Span> = (0..).map_while(|i| node.arg(i).map(|a| a.1)).collect();
                match (spans.first(), spans.last()) {
                    // Harmony may stand in several texts.
                    (Some(a), Some(b)) => Change { at: Span { start: a.start, end: b.end }, with: v.to_string() },
                    _ => Change { at: point(node.name_span().end), with: format!(" {v}") },
                }
            }
            (None, Some(v)) => {
                let new = format!("{word} {v}");
                let earlier = WORDS[..rank].iter().rev().find_map(|w| p.child(w));
                match (earlier, p.children().first()) {
                    (Some(node), _) => layout::after(&node, &new),
                    (None, Some(first)) => layout::before(first, &new),
                    _ => return Err(refuse(p.name_span(), "the passage is empty", "write it in the text")),
                }
            }
        };
        Ok((vec![change], 0))
    }

    fn grip(&self, passage: &str, part: &str, letter: char, frets: Option<&str>) -> Work {
        let p = self.part(passage, part)?;
        let change = match (self.find_grip(&p, letter), frets) {
            (Some(node), None) => layout::without(&node),
            (None, None) => return Err(refuse(p.name_span(), format!("the part has no grip {letter}"), "nothing is to be taken away")),
            (Some(node), Some(f)) => match node.arg(1) {
                Some((_, at)) => Change { at, with: quoted(f) },
                None => Change { at: point(node.head_end()), with: format!(" {}", quoted(f)) },
            },
            (None, Some(f)) => self.among(&p, &["grip"], &format!("grip {} {}", quoted(&letter.to_string()), quoted(f)))?,
        };
        Ok((vec![change], 0))
    }

    /// Behind the last child of the first of these words that there is, else before everything.
    fn among(&self, parent: &Found<'a>, words: &[&str], new: &str) -> Result<Change, EditError> {
        let children = parent.children();
        for w in words {
            if let Some(node) = children.iter().rfind(|c| c.name() == *w) {
                return Ok(layout::after(node, new));
            }
        }
        match children.first() {
            Some(first) => Ok(layout::before(first, new)),
            None => Err(refuse(parent.name_span(), "the braces are empty", "write a first line in the text")),
        }
    }

    fn head(&self, words: &[&str], new: &str) -> Result<Change, EditError> {
        self.among(&self.root, words, new)
    }

    fn last(&self, parent: &Found<'a>, new: &str) -> Result<Change, EditError> {
        match parent.children().last() {
            Some(node) => Ok(layout::after(node, new)),
            None => Err(refuse(parent.name_span(), "the braces are empty", "write a first line in the text")),
        }
    }

    fn rename_part(&self, passage: &str, part: &str, to: &str) -> Work {
        let p = self.passage(passage)?;
        let node = self.part(passage, part)?;
        if node.name() == "easier" {
            return Err(refuse(node.name_span(), "an easier way has the name of its part", "rename the part"));
        }
        let mut changes = Vec::new();
        for c in p.children() {
            let at = match c.name() {
                "part" | "easier" if c.arg_text(0) == Some(part) => c.arg(0).map(|a| a.1),
                "note" => c.prop("part").filter(|_| c.prop_text("part") == Some(part)).map(|a| a.2),
                _ => None,
            };
            changes.extend(at.map(|at| Change { at, with: quoted(to) }));
            // A remark may speak of the easier way.
            if let Some((_, _, at)) = c.prop("part").filter(|_| c.name() == "note" && c.prop_text("part") == Some(&format!("{part}, easier"))) {
                changes.push(Change { at, with: quoted(&format!("{to}, easier")) });
            }
        }
        Ok((changes, 0))
    }
}

fn point(at: usize) -> Span {
    Span { start: at, end: at }
}
