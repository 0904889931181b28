//! What a check of the open lesson found, and whether it still holds: a finding stands as long as what it speaks of does, that is its stroke, its grips and its place in
//! time. Once that has changed, nothing is done by it any more; when undo brings it back, it stands again.

use crate::differ::splice_between;
use crate::drawn::source;
use crate::lines;
use crate::strip::bars_around;
use check::{Checked, Finding, FindingKind, Settle};
use lesson::{Change, Lesson, Passage, Weight};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};

/// A passage of a check: held against its record, or against itself alone, and then why.
pub struct Passed {
    pub id: String,
    pub title: String,
    pub against: Result<(String, Checked), String>,
    /// The check has not come to it yet.
    pub waiting: bool,
    /// Its whole text, to say that it changed.
    whole: u64,
    /// To mend or to look at in the passage itself.
    problems: usize,
}

/// A finding in its place in the list.
pub struct Found {
    /// Index into [`Kept::passages`].
    pub passage: usize,
    pub finding: Finding,
    /// What it speaks of, as it was when the record was listened to.
    ground: Option<u64>,
    /// The same after it was accepted.
    accepted: Option<u64>,
    /// What accepting it would do, or why it is for the teacher's own hand.
    offer: Result<String, String>,
}

/// How a finding stands to the text of now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    Open,
    Accepted,
    AsWritten,
    /// What it speaks of is another now.
    Changed,
}

impl Standing {
    pub fn word(self) -> &'static str {
        match self {
            Standing::Open => "open",
            Standing::Accepted => "accepted",
            Standing::AsWritten => "as written",
            Standing::Changed => "changed",
        }
    }
}

/// A check and all that it found, most serious first.
pub struct Kept {
    /// Counts the checks of this bench, so that no page speaks of an earlier one.
    pub run: u64,
    /// As it was checked.
    pub lesson: Lesson,
    pub passages: Vec<Passed>,
    pub found: Vec<Found>,
}

/// Why a finding was not settled.
#[derive(Debug, PartialEq)]
pub struct Unsettled {
    pub found: String,
    pub right: String,
    /// The text is another than that of the check.
    pub moved: bool,
}

impl Kept {
    /// Before any passage was listened to.
    pub fn begun(run: u64, text: &str, lesson: Lesson, problems: &[lesson::Problem]) -> Kept {
        let passages = lesson
            .passages
            .iter()
            .enumerate()
            .map(|(i, p)| {
                let own = source(text, &lesson, i);
                let inside = |at: usize| at >= p.span.start && at < p.span.start + own.len();
                let problems = problems.iter().filter(|q| inside(q.span.start)).count();
                Passed { id: p.id.clone(), title: p.title.clone(), against: Err(String::new()), waiting: true, whole: hash(&own), problems }
            })
            .collect();
        Kept { run, lesson, passages, found: vec![] }
    }

    /// What a passage's check found, to be added; `text` and `lesson` are those of the check's beginning.
    pub fn found(text: &str, lesson: &Lesson, passage: usize, checked: &Checked) -> Vec<Found> {
        let Some(p) = lesson.passages.get(passage) else { return vec![] };
        checked.findings.iter().map(|f| Found { passage, finding: f.clone(), ground: ground(text, lesson, p, f, None), accepted: None, offer: offer(text, p, f) }).collect()
    }

    /// Adds a passage. Those that were found before keep their numbers, so that they can be worked on while the rest is listened to.
    pub fn add(&mut self, passage: usize, against: Result<(String, Checked), String>, found: Vec<Found>) {
        if let Some(p) = self.passages.get_mut(passage) {
            (p.against, p.waiting) = (against, false);
            self.found.extend(found);
        }
    }

    /// All passages are there: the most serious of all comes first, under a run of its own, for numbers change.
    pub fn finish(&mut self, run: u64) {
        self.run = run;
        self.found.sort_by(|a, b| b.finding.serious.total_cmp(&a.finding.serious));
    }

    /// How each finding stands to a text, and whether any passage is another than it was.
    pub fn standings(&self, text: &str, lesson: &Lesson) -> (Vec<Standing>, Vec<bool>) {
        let mut heads = BTreeMap::new();
        let standings = self.found.iter().map(|f| self.standing(f, text, lesson, &mut heads)).collect();
        let changed = self.passages.iter().map(|p| lesson.passages.iter().position(|q| q.id == p.id).is_none_or(|i| hash(&source(text, lesson, i)) != p.whole)).collect();
        (standings, changed)
    }

    fn standing(&self, f: &Found, text: &str, lesson: &Lesson, heads: &mut BTreeMap<usize, u64>) -> Standing {
        let id = &self.passages[f.passage].id;
        let Some(p) = lesson.passages.iter().find(|p| p.id == *id) else { return Standing::Changed };
        let head = *heads.entry(f.passage).or_insert_with(|| head_of(p));
        let now = ground(text, lesson, p, &f.finding, Some(head));
        if now.is_none() {
            Standing::Changed
        } else if now == f.ground {
            if waved(p, &f.finding) { Standing::AsWritten } else { Standing::Open }
        } else if now == f.accepted {
            Standing::Accepted
        } else {
            Standing::Changed
        }
    }

    /// The change of the text by which a finding is settled. Nothing is changed yet, and nothing is kept but what an accepted finding would then stand on.
    ///
    /// # Errors
    /// A finding that does not stand any more, or that is for the teacher's own hand.
    pub fn settle(&mut self, number: usize, how: Settle, text: &str, lesson: &Lesson) -> Result<Change, Unsettled> {
        let no = |found: &str, right: &str, moved: bool| Unsettled { found: found.into(), right: right.into(), moved };
        let Some(f) = self.found.get(number) else { return Err(no("there is no such finding", "choose one of the list", false)) };
        match self.standing(f, text, lesson, &mut BTreeMap::new()) {
            Standing::Open => {}
            Standing::Accepted => return Err(no("this finding is accepted already", "Undo takes it back", true)),
            Standing::AsWritten => return Err(no("this is kept as written already", "Undo takes it back", true)),
            Standing::Changed => return Err(no("what this finding speaks of has changed since the record was listened to", "check again", true)),
        }
        let id = self.passages[f.passage].id.clone();
        let mended = check::settle(text, &id, &f.finding, how).map_err(|e| no(&e.found, &e.right, false))?;
        let change = splice_between(text, &mended).ok_or_else(|| no("the text has it already", "check again", true))?;
        if how == Settle::Accept {
            let after = lesson::read(&mended).lesson;
            let accepted = after.passages.iter().find(|p| p.id == id).and_then(|p| ground(&mended, &after, p, &f.finding, None));
            self.found[number].accepted = accepted;
        }
        Ok(change)
    }

    /// For every update of the page: which check, how its findings stand, and which passages have changed.
    pub fn brief(&self, text: &str, lesson: &Lesson) -> Value {
        let (standings, changed) = self.standings(text, lesson);
        json!({ "run": self.run, "standing": standings.iter().map(|s| s.word()).collect::<Vec<_>>(), "changed": changed })
    }

    /// All of it, for the page.
    pub fn full(&self, text: &str, lesson: &Lesson) -> Value {
        let mut all = self.brief(text, lesson);
        all["passages"] = self.passages.iter().map(|p| json!({ "id": p.id, "title": p.title, "waiting": p.waiting, "record": p.against.as_ref().ok().map(|a| &a.0), "words": p.words(), "limits": p.limits() })).collect();
        all["findings"] = self
            .found
            .iter()
            .map(|f| {
                let (p, x) = (&self.passages[f.passage], &f.finding);
                let around = self.around(f);
                json!({
                    "passage": p.id, "title": p.title, "part": x.part, "bar": x.bar, "bars": x.bars, "slot": x.slot, "words": sentence(&x.words), "sure": check::sure_words(x.sure),
                    "whole": matches!(x.kind, FindingKind::Whole(_)), "offer": f.offer.as_ref().ok(), "by_hand": f.offer.as_ref().err(), "from": around.0, "to": around.1,
                })
            })
            .collect();
        all
    }

    /// The bars that are played for a finding, see [`bars_around`].
    pub fn around(&self, f: &Found) -> (usize, usize, Vec<f64>) {
        match (self.lesson.passages.get(f.passage), &self.passages[f.passage].against) {
            (Some(p), Ok((_, c))) => bars_around(p, c, &f.finding),
            _ => (0, 0, vec![]),
        }
    }
}

impl Passed {
    /// How the passage fared, as a sentence without full stop.
    pub fn words(&self) -> String {
        if self.waiting {
            return "not listened to yet".into();
        }
        let itself = match self.problems {
            0 => "nothing to mend".to_string(),
            1 => "one thing to look at, among the problems".into(),
            n => format!("{n} things to look at, among the problems"),
        };
        let (file, checked) = match &self.against {
            Ok(against) => against,
            Err(why) => return format!("{why}: checked against itself alone, {itself}"),
        };
        let mut files: Vec<&str> = checked.files.iter().map(String::as_str).collect();
        files.sort_unstable();
        files.dedup();
        let named = if files.len() > 1 { files.join(" and ") } else { file.clone() };
        format!("{named}, {}", crate::report::fared(checked))
    }

    pub fn limits(&self) -> &[String] {
        self.against.as_ref().map_or(&[], |a| &a.1.limits)
    }
}

/// Words that begin a sentence.
pub fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}

fn hash(what: &impl Hash) -> u64 {
    let mut h = DefaultHasher::new();
    what.hash(&mut h);
    h.finish()
}

/// Where a passage lies in time and in the record.
fn head_of(p: &Passage) -> u64 {
    let record: Vec<(&str, u64, u64)> = p.record.iter().map(|r| (r.file.as_str(), r.from_s.to_bits(), r.to_s.to_bits())).collect();
    hash(&(record, format!("{:?}{:?}", p.bars, p.record_cents)))
}

/// What a finding speaks of; `None` where that is not there any more.
fn ground(text: &str, lesson: &Lesson, p: &Passage, f: &Finding, head: Option<u64>) -> Option<u64> {
    let head = head.unwrap_or_else(|| head_of(p));
    if matches!(f.kind, FindingKind::Whole(_)) {
        let i = lesson.passages.iter().position(|q| q.id == p.id)?;
        return Some(hash(&source(text, lesson, i)));
    }
    let part = p.parts.iter().find(|q| Some(&q.name) == f.part.as_ref())?;
    let bar = p.bars.iter().position(|b| b.number == f.bar)?;
    let grips: Vec<(char, String)> = part.grips.iter().map(|g| (g.letter, g.grip.to_string())).collect();
    // A stroke that is moved takes two slots.
    let to = f.moved_slots.map(|by| i64::from(f.slot) + i64::from(by)).and_then(|t| u32::try_from(t).ok());
    let tokens: Vec<String> = [Some(f.slot), to].into_iter().flatten().map(|slot| token(text, p, f, bar, slot)).collect();
    Some(hash(&(head, format!("{:?}{}", part.neck, part.seat), grips, part.bars.get(bar)?.slots, tokens)))
}

/// What stands at a slot; of drums, one token a row.
fn token(text: &str, p: &Passage, f: &Finding, bar: usize, slot: u32) -> String {
    let Some(part) = p.parts.iter().find(|q| Some(&q.name) == f.part.as_ref()) else { return String::new() };
    let cell = |l: lines::Line| l.cells.into_iter().rev().find(|c| c.slot <= slot).map(|c| if c.token.is_empty() { ".".into() } else { c.token }).unwrap_or_default();
    lines::lines(text, p, part, bar, &lines::rows(part)).into_iter().map(cell).collect::<Vec<String>>().join(" ")
}

fn waved(p: &Passage, f: &Finding) -> bool {
    let bar = p.bars.iter().position(|b| b.number == f.bar);
    let own = p.parts.iter().find(|q| Some(&q.name) == f.part.as_ref()).zip(bar).and_then(|(q, i)| q.bars.get(i)).and_then(|b| b.heard.as_ref());
    !matches!(f.kind, FindingKind::Whole(_)) && own.is_some_and(|slots| slots.is_empty() || slots.contains(&f.slot))
}

/// What accepting would write, in words; the lesson is left as it is.
fn offer(text: &str, p: &Passage, f: &Finding) -> Result<String, String> {
    let mended = check::settle(text, &p.id, f, Settle::Accept).map_err(|e| format!("{}: {}", e.found, e.right))?;
    let after = lesson::read(&mended);
    if after.problems.iter().filter(|q| q.weight == Weight::Error).count() > 0 && lesson::read(text).is_sound() {
        return Err("the lesson would have a fault then: change it in the text by hand".into());
    }
    let bar = p.bars.iter().position(|b| b.number == f.bar).unwrap_or(0);
    let part = p.parts.iter().find(|q| Some(&q.name) == f.part.as_ref());
    let old = token(text, p, f, bar, f.slot);
    let words = match f.kind {
        FindingKind::Moved => format!("moves {old} to slot {}", i64::from(f.slot) + i64::from(f.moved_slots.unwrap_or(0))),
        _ => {
            let new = after.lesson.passages.iter().find(|q| q.id == p.id).map_or(String::new(), |q| token(&mended, q, f, bar, f.slot));
            format!("writes {new} for {old}")
        }
    };
    let played = part.and_then(|q| q.bars.get(bar).map(|own| q.bars.iter().filter(|b| b.span == own.span).count())).unwrap_or(1);
    Ok(if played > 1 { format!("{words}, in all {played} rounds of this line") } else { words })
}
