//! Reading a part again after a change inside one stroke line: the bars from the last plain stroke before it up to the first one after it are played, everything else is kept.
//!
//! A stroke that begins a bar, is joined to nothing and lets nothing ring on ends whatever came before, wherever that came from. So what lies between two of them can be played by itself. Of drums each bar is by itself.

use crate::check::check_part;
use crate::nodes::{Node, Text};
use crate::problem::{PROBLEMS_MAX, Problems};
use crate::resolve::{Cut, RawBar, RawPart, Row, unwritable_bars};
use crate::stroke::{self, Alphabet, Signs, Token, TokenKind, What};
use crate::strokes::{drums as play_drums, fits, play_some};
use crate::{Beats, Drum, Kind, Lesson, Part, PartBar, Passage, Problem, Span, Weight, scan};

/// One part, read again.
#[derive(Clone, Debug)]
pub(super) struct Line {
    passage: usize,
    part: usize,
    new: Part,
    said: Said,
    /// Places of the old text from `end` on move by `by`.
    end: usize,
    by: isize,
}

/// What is to be said of the lesson then.
#[derive(Clone, Debug)]
enum Said {
    /// Errors, and nothing else.
    Errors(Vec<Problem>),
    /// No error is left of those before: all of it is looked at.
    Mended,
    /// What is likely wrong in the part, in the place of what was said of this stretch of the old text.
    Part(Vec<Problem>, Span),
}

/// Reads a part again where only a line of it changed, from byte `same` up to byte `end` of the old text; what follows moves by `by`. `None` where this is not plainly so. The line may have
/// faults, as it has while it is typed; before, the lesson may have had errors in the bars around it alone.
pub(super) fn line(before: &str, lesson: &Lesson, known: &[Problem], text: &str, same: usize, end: usize, by: isize) -> Option<Line> {
    let at = lesson.passages.iter().rposition(|p| p.span.start < same)?;
    let passage = &lesson.passages[at];
    let index = passage.parts.iter().rposition(|p| p.span.start < same)?;
    let part = &passage.parts[index];
    let had_errors = known.iter().any(|p| p.weight == Weight::Error);
    if part.kind == Kind::Drums {
        if had_errors {
            return None;
        }
        let new = drums(before, passage, part, text, same, end, by)?;
        return finish(before, known, (at, index), passage, part, new, end, by);
    }
    let holds = |b: &PartBar| b.span.start <= same && end <= b.span.end && is_line(before, b.span);
    let (first, last) = (part.bars.iter().position(holds)?, part.bars.iter().rposition(holds)?);
    let own = part.bars[first].span;
    let own_now = Span { start: own.start, end: own.end.checked_add_signed(by)? };
    if !is_line(text, own_now) {
        return None;
    }
    // A part in note names has its places found over all of it.
    let head = before.get(part.span.start..part.bars.iter().map(|b| b.span.start).filter(|s| *s > part.span.start).min()?)?;
    if head.contains("write") {
        return None;
    }
    let place = |s: Span| if s == own { own_now } else { moved(s, end, by) };
    let alphabet = match part.kind {
        Kind::Guitar | Kind::Bass => Alphabet::Strings,
        Kind::Click => Alphabet::Click,
        _ => Alphabet::Names,
    };
    let read = |text: &str, s: Span| text.get(s.start..s.end).map(|t| stroke::read_line(t, alphabet));
    // Bars of the line itself begin alike only where both texts do.
    let begins = |k: usize| {
        let b = &part.bars[k];
        let plain = |text: &str, s: Span| is_line(text, s) && read(text, s).is_some_and(|(t, faults)| faults.is_empty() && stroke::slots(&t) == Some(b.slots) && is_plain(&t));
        b.slots > 0 && plain(text, place(b.span)) && (b.span != own || plain(before, b.span))
    };
    let from = (0..=first).rev().find(|k| *k == 0 || begins(*k))?;
    let to = (last + 1..part.bars.len()).find(|k| begins(*k)).unwrap_or(part.bars.len());
    // What was wrong lies where all is played again.
    let again = |p: &Problem| part.bars[from..to].iter().any(|b| b.span.start <= p.span.start && p.span.end <= b.span.end && is_line(before, b.span));
    if known.iter().any(|p| p.weight == Weight::Error && !again(p)) {
        return None;
    }
    let mut problems = Problems::default();
    let mut raw = RawPart { kind: part.kind, hand: part.hand, neck: part.neck.clone(), grips: part.grips.clone(), instrument: part.instrument.clone(), ..RawPart::default() };
    let mut lines: Vec<Option<Vec<Token>>> = Vec::with_capacity(to - from);
    let mut slots: Vec<Beats> = Vec::with_capacity(to - from);
    for (b, bar) in part.bars[from..to].iter().zip(&passage.bars[from..to]) {
        slots.push(bar.length / Beats::from_integer(i64::from(b.slots.max(1))));
        let here = place(b.span);
        if is_line(text, here) {
            // A pickup is as long as its line; a bar without a number of slots has a fault of its own.
            if bar.number == 0 && b.span == own || b.slots == 0 {
                return None;
            }
            let (tokens, faults) = read(text, here)?;
            let line = Text::plain(text.get(here.start..here.end)?, here);
            faults.into_iter().for_each(|(range, found, right)| problems.error(line.place(range), found, right));
            let fits = fits(&tokens, b.slots, &line, bar, &mut problems);
            raw.written.push(RawBar { line: Some(line), ..RawBar::default() });
            lines.push(fits.then_some(tokens));
        } else {
            // A rest, or a bar that this part does not have.
            if b.slots > 0 && !before.get(b.span.start..b.span.end).is_some_and(|t| t.starts_with("rest")) {
                return None;
            }
            raw.written.push(RawBar { rest: true, ..RawBar::default() });
            lines.push(None);
        }
    }
    let (events, mut heard) = play_some(&raw, from, &lines, &passage.bars, &slots, part.without_bars(), &mut problems);
    let mut new = part.clone();
    super::part_spans(&mut new, &mut |s| *s = moved(*s, end, by));
    for ((bar, old), events) in new.bars[from..to].iter_mut().zip(&part.bars[from..to]).zip(events) {
        (bar.events, bar.span) = (events, place(old.span));
    }
    if problems.list.is_empty() {
        // While something was wrong no bar of the part was looked at for this.
        let looked_at = if had_errors { 0..new.bars.len() } else { from..to };
        unwritable_bars(&passage.bars[looked_at.clone()], &new.bars[looked_at], &mut problems);
    }
    // Soundings in the order of playing, so by bar.
    let (a, b) = (part.heard.partition_point(|s| s.bar < from), part.heard.partition_point(|s| s.bar < to));
    let count = heard.len();
    heard.iter_mut().for_each(|s| s.from = s.from.map(|f| f + a));
    for s in &mut new.heard[b..] {
        s.from = s.from.map(|f| (f + a + count).saturating_sub(b));
    }
    new.heard.splice(a..b, heard);
    if problems.list.len() >= PROBLEMS_MAX {
        return None;
    }
    let said = match problems.list {
        list if !list.is_empty() => Said::Errors(list),
        _ if had_errors => Said::Mended,
        _ => return finish(before, known, (at, index), passage, part, new, end, by),
    };
    Some(Line { passage: at, part: index, new, said, end, by })
}

/// The part as read, with what is likely wrong in it now.
#[expect(clippy::too_many_arguments, reason = "two calls, from one place")]
fn finish(before: &str, known: &[Problem], (at, index): (usize, usize), passage: &Passage, part: &Part, new: Part, end: usize, by: isize) -> Option<Line> {
    // What an easier way uses counts for the part that it is an easier way of.
    if part.easier_of.is_some() {
        return None;
    }
    let mut problems = Problems::default();
    check_part(passage, &new, &mut problems);
    let own = Span { start: part.span.start, end: scan::end_of_node(before.as_bytes(), part.span.start) };
    let kept = known.iter().filter(|p| !is_in(own, p)).count();
    (kept + problems.list.len() < PROBLEMS_MAX).then_some(Line { passage: at, part: index, new, said: Said::Part(problems.list, own), end, by })
}

/// A part of drums, where the change lies inside one row: each bar is by itself.
fn drums(before: &str, passage: &Passage, part: &Part, text: &str, same: usize, end: usize, by: isize) -> Option<Part> {
    let span = part.bars.iter().map(|b| b.span).filter(|s| s.start <= same).max()?;
    let (old, now) = (rows(before, span)?, rows(text, span)?);
    let inside = old.iter().map(|(_, t)| t.inside()).find(|s| s.start <= same && end <= s.end)?;
    let alike = old.len() == now.len() && old.iter().zip(&now).all(|(a, b)| a.0 == b.0 && (a.1.inside().start == inside.start || a.1.value == b.1.value));
    if !alike {
        return None;
    }
    let mut cut = Cut { tokens: vec![], rows: vec![] };
    for (drum, t) in &now {
        let (tokens, faults) = stroke::read_line(&t.value, Alphabet::Drums { hats: *drum == Drum::Hats });
        if !faults.is_empty() {
            return None;
        }
        cut.rows.push((*drum, tokens));
    }
    let raw = RawPart { kind: Kind::Drums, written: vec![RawBar { rows: now.into_iter().map(|(d, t)| (Row::Drum(d), t)).collect(), ..RawBar::default() }], ..RawPart::default() };
    let mut new = part.clone();
    super::part_spans(&mut new, &mut |s| *s = moved(*s, end, by));
    let mut problems = Problems::default();
    for (i, bar) in passage.bars.iter().enumerate().filter(|(i, _)| part.bars[*i].span == span) {
        let slots = part.bars[i].slots;
        if bar.number == 0 || slots == 0 || cut.rows.iter().any(|(_, tokens)| stroke::slots(tokens) != Some(slots)) {
            return None;
        }
        let mut own = part.without_bars();
        own.bars = vec![PartBar::default(); i + 1];
        play_drums(&raw, &cut, 0, i, bar, bar.length / Beats::from_integer(i64::from(slots)), &mut own, &mut problems);
        new.bars[i].events = own.bars.swap_remove(i).events;
        own.heard.sort_by_key(|s| (s.at, s.midi));
        let (a, b) = (new.heard.partition_point(|s| s.bar < i), new.heard.partition_point(|s| s.bar <= i));
        new.heard.splice(a..b, own.heard);
    }
    unwritable_bars(&passage.bars, &new.bars, &mut problems);
    problems.list.is_empty().then_some(new)
}

/// The rows of the bar of drums whose word stands at `word`; `None` where it is not plainly such a bar.
fn rows(text: &str, word: Span) -> Option<Vec<(Drum, Text)>> {
    let source = text.get(word.start..scan::end_of_node(text.as_bytes(), word.start))?;
    let doc = kdl::KdlDocument::parse_v2(source).ok()?;
    let [node] = doc.nodes() else { return None };
    let node = Node { node, source };
    let mut out: Vec<(Drum, Text)> = Vec::new();
    for child in node.children() {
        let drum = Drum::of_row(child.name())?;
        let mut t = child.text(0, "", &mut Problems::default())?;
        t.span = Span { start: t.span.start + word.start, end: t.span.end + word.start };
        if child.node.entries().len() != 1 || !is_line(text, t.inside()) || out.iter().any(|(d, _)| *d == drum) {
            return None;
        }
        out.push((drum, t));
    }
    (node.name() == "bar").then_some(out)
}

/// Where the text has the row `word` (`kick`, …) of a bar of drums, inside its quotes; `None` where it has none, or not plainly.
pub(super) fn drum_row(text: &str, bar: &PartBar, word: &str) -> Option<Span> {
    let drum = Drum::of_row(word)?;
    rows(text, bar.span)?.into_iter().find(|(d, _)| *d == drum).map(|(_, t)| t.inside())
}

/// Whether what a problem speaks of begins in a stretch of the text.
fn is_in(stretch: Span, p: &Problem) -> bool {
    stretch.start <= p.span.start && p.span.start < stretch.end
}

impl Line {
    pub(super) fn errors(&self) -> &[Problem] {
        match &self.said {
            Said::Errors(list) => list,
            Said::Mended | Said::Part(..) => &[],
        }
    }

    pub(super) fn put(self, lesson: &mut Lesson, problems: &mut Vec<Problem>) {
        let Line { passage: at, part: index, new, said, end, by } = self;
        let move_on = |s: &mut Span| *s = moved(*s, end, by);
        if by != 0 {
            for (i, p) in lesson.passages.iter_mut().enumerate().skip(at) {
                for (k, part) in p.parts.iter_mut().enumerate() {
                    if (i, k) > (at, index) {
                        super::part_spans(part, &mut |s| move_on(s));
                    }
                }
                super::own_spans(p, &mut |s| move_on(s));
            }
            lesson.revisions.iter_mut().for_each(|r| move_on(&mut r.span));
        }
        if let Some(part) = lesson.passages.get_mut(at).and_then(|p: &mut Passage| p.parts.get_mut(index)) {
            *part = new;
        }
        match said {
            Said::Errors(list) => *problems = list,
            Said::Mended => *problems = crate::check(lesson),
            Said::Part(list, own) => {
                problems.retain(|p| !is_in(own, p));
                problems.iter_mut().for_each(|p| move_on(&mut p.span));
                problems.extend(list);
            }
        }
        problems.sort_by_key(|p| (p.span, p.weight));
    }
}

fn moved(s: Span, end: usize, by: isize) -> Span {
    let on = |place: usize| if place >= end { place.saturating_add_signed(by) } else { place };
    Span { start: on(s.start), end: on(s.end) }
}

/// Whether a span is the inside of a plain text in quotes, all of whose characters mean themselves.
fn is_line(text: &str, s: Span) -> bool {
    let b = text.as_bytes();
    let Some(inside) = b.get(s.start..s.end) else { return false };
    let opens = s.start >= 2 && b[s.start - 1] == b'"' && matches!(b[s.start - 2], b' ' | b'\t');
    opens && b.get(s.end) == Some(&b'"') && !inside.is_empty() && inside.iter().all(|c| matches!(c, b' '..=b'~') && !matches!(c, b'"' | b'\\'))
}

/// Whether a line begins with a stroke that ends all that rings and needs nothing that was.
fn is_plain(tokens: &[Token]) -> bool {
    let joined = |s: &Signs| s.hammered || s.pulled || s.slid;
    let Some(TokenKind::Stroke(s)) = tokens.first().map(|t| &t.kind) else { return false };
    let own = s.items.first().is_some_and(|i| !matches!(i.what, What::Scratch { .. }));
    !s.keep && own && !joined(&s.all) && !s.items.iter().any(|i| joined(&i.signs))
}
