//! Reading a text again after a change inside one passage: that passage alone is read, everything else is kept with its places moved. Where the change lies inside one stroke line, only
//! the bars around it are ([`line`]).

mod line;

use crate::check::check_passage;
use crate::problem::{PROBLEMS_MAX, Problems};
use crate::read::BARS_IN_ALL_MAX;
use crate::{Lesson, Part, PartBar, Passage, Problem, Span, Weight, read, scan};

/// What of a lesson was read again: a passage, or a part of one. [`Again::put`] puts it into the lesson that the old text gave.
#[derive(Clone, Debug)]
pub struct Again(Read);

#[derive(Clone, Debug)]
enum Read {
    Passage(Box<Own>),
    Line(Box<line::Line>),
}

/// A passage read again.
#[derive(Clone, Debug)]
struct Own {
    index: usize,
    passage: Passage,
    problems: Vec<Problem>,
    /// From where on, and up to where, the old text holds the passage, and by how much what follows moves.
    old: Span,
    by: isize,
}

/// Reads what changed between `before` and `text`, where `lesson` and `known` are what [`crate::read`] and [`crate::check`] gave of `before`.
///
/// `None` where the whole has to be read: a change that is not inside one passage, a passage called otherwise, one that makes errors or was made where there were some, but for errors of one stroke line
/// and of the bars that it leads into.
///
/// ```
/// let before = r#"lesson "t" { passage "p" { tempo 90; slots 4; part "g" instrument="guitar" { bar "5:3 . . ." } } }"#;
/// let text = before.replace("5:3", "5:12");
/// let mut lesson = lesson::read(before).lesson;
/// let mut problems = lesson::check(&lesson);
/// lesson::again(before, &lesson, &problems, &text).unwrap().put(&mut lesson, &mut problems);
/// assert_eq!(lesson, lesson::read(&text).lesson);
/// ```
pub fn again(before: &str, lesson: &Lesson, known: &[Problem], text: &str) -> Option<Again> {
    if known.len() >= PROBLEMS_MAX {
        return None;
    }
    let (old, new) = (before.as_bytes(), text.as_bytes());
    let same = old.iter().zip(new).take_while(|(a, b)| a == b).count();
    let least = old.len().min(new.len()) - same;
    let after = old.iter().rev().zip(new.iter().rev()).take(least).take_while(|(a, b)| a == b).count();
    let by = new.len() as isize - old.len() as isize;
    if let Some(line) = line::line(before, lesson, known, text, same, old.len() - after, by) {
        return Some(Again(Read::Line(Box::new(line))));
    }
    if known.iter().any(|p| p.weight == Weight::Error) {
        return None;
    }
    let index = lesson.passages.iter().rposition(|p| p.span.start < same)?;
    let start = lesson.passages[index].span.start;
    let (first, last) = (lesson.passages.first()?.span.start, lesson.passages.last()?.span.start);
    let end = scan::end_of_node(old, start);
    // The brace that closes the passage stays where it is, and so does the word that opens it.
    let word = "passage".len();
    if same < start + word || old.len() - after >= end || old.get(end - 1) != Some(&b'}') || scan::end_of_node(new, start).checked_add_signed(-by) != Some(end) {
        return None;
    }
    let own = text.get(start..end.checked_add_signed(by)?)?;
    // A lesson of this passage alone, with all that stands before the first and after the last.
    let tail = before.get(scan::end_of_node(old, last)..)?;
    let reading = read(&[before.get(..first)?, own, tail].concat());
    let mut read = reading.lesson;
    let mut passage = read.passages.pop()?;
    let alike = read.passages.is_empty() && passage.id == lesson.passages[index].id && passage.span.start == first;
    let whole = (read.format, &read.title, &read.needs, read.chord_names) == (lesson.format, &lesson.title, &lesson.needs, lesson.chord_names);
    let bars = |p: &Passage| p.parts.iter().map(|part| part.bars.len()).sum::<usize>();
    let in_all = lesson.passages.iter().enumerate().map(|(i, p)| if i == index { bars(&passage) } else { bars(p) }).sum::<usize>();
    if !alike || !whole || in_all > BARS_IN_ALL_MAX || !reading.problems.iter().all(|p| p.weight == Weight::Remark) {
        return None;
    }
    let here = first..=first + own.len();
    let to_place = |s: &mut Span| {
        if here.contains(&s.start) {
            *s = Span { start: s.start - first + start, end: s.end - first + start };
        }
    };
    spans(&mut passage, &mut |s| to_place(s));
    let mut problems: Vec<Problem> = reading.problems.into_iter().filter(|p| here.contains(&p.span.start)).collect();
    problems.iter_mut().for_each(|p| to_place(&mut p.span));
    let mut found = Problems::default();
    check_passage(&passage, &mut found);
    problems.extend(found.list);
    let kept = known.iter().filter(|p| p.span.start < start || p.span.start >= end).count();
    (kept + problems.len() < PROBLEMS_MAX).then(|| Again(Read::Passage(Box::new(Own { index, passage, problems, old: Span { start, end }, by }))))
}

impl Again {
    /// Puts the passage in the place of the old one. `problems` are in order of place then, as those of [`crate::read`] and [`crate::check`] together.
    pub fn put(self, lesson: &mut Lesson, problems: &mut Vec<Problem>) {
        match self.0 {
            Read::Passage(own) => own.put(lesson, problems),
            Read::Line(line) => line.put(lesson, problems),
        }
    }

    /// What is an error in the new text; none where all is sound. Only a line that is read again may have some.
    pub fn errors(&self) -> &[Problem] {
        match &self.0 {
            Read::Passage(_) => &[],
            Read::Line(line) => line.errors(),
        }
    }

    /// Whether no more than the bars around one stroke line were read.
    pub fn is_line(&self) -> bool {
        matches!(self.0, Read::Line(_))
    }
}

impl Own {
    fn put(self, lesson: &mut Lesson, problems: &mut Vec<Problem>) {
        let Own { index, passage, problems: own, old, by } = self;
        let move_on = |s: &mut Span| {
            for place in [&mut s.start, &mut s.end] {
                if *place >= old.end {
                    *place = place.saturating_add_signed(by);
                }
            }
        };
        for p in lesson.passages.iter_mut().skip(index + 1) {
            spans(p, &mut |s| move_on(s));
        }
        lesson.revisions.iter_mut().for_each(|r| move_on(&mut r.span));
        if let Some(at) = lesson.passages.get_mut(index) {
            *at = passage;
        }
        problems.retain(|p| !(old.start <= p.span.start && p.span.start < old.end));
        problems.iter_mut().for_each(|p| move_on(&mut p.span));
        problems.extend(own);
        problems.sort_by_key(|p| (p.span, p.weight));
    }
}

/// Where the text has the row `word` (`kick`, `snare`, …) of a bar of drums, inside its quotes; `None` where it has none, or where its characters do not all mean themselves.
pub fn drum_row(text: &str, bar: &PartBar, word: &str) -> Option<Span> {
    line::drum_row(text, bar, word)
}

/// Every place that a passage knows of.
fn spans(passage: &mut Passage, go: &mut dyn FnMut(&mut Span)) {
    own_spans(passage, go);
    for part in &mut passage.parts {
        part_spans(part, go);
    }
}

/// All but those of its parts.
pub(crate) fn own_spans(passage: &mut Passage, go: &mut dyn FnMut(&mut Span)) {
    go(&mut passage.span);
    passage.record.iter_mut().for_each(|r| go(&mut r.span));
    passage.notes.iter_mut().for_each(|n| go(&mut n.span));
}

pub(crate) fn part_spans(part: &mut Part, go: &mut dyn FnMut(&mut Span)) {
    go(&mut part.span);
    part.grips.iter_mut().for_each(|g| go(&mut g.span));
    part.name_pins.iter_mut().for_each(|n| go(&mut n.span));
    part.take.iter_mut().for_each(|t| go(&mut t.span));
    part.heard.iter_mut().for_each(|s| go(&mut s.span));
    for bar in &mut part.bars {
        go(&mut bar.span);
        bar.events.iter_mut().for_each(|e| go(&mut e.span));
    }
}
