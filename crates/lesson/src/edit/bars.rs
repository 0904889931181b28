//! Edits of bars: a bar of the text is played several times where it has `times` or stands in a repeat.

use super::locate::{Found, body};
use super::{BarAt, Change, Desk, EditError, Rounds, Work, layout, point, refuse};
use crate::quote::quoted;
use crate::stroke::{self, Alphabet, TokenKind};
use crate::{Kind, Passage, Span};

/// A bar of the text and what it plays.
pub(super) struct Hit<'a> {
    pub node: Found<'a>,
    /// The child of the part that it is, or stands in.
    pub top: Found<'a>,
    /// Played bars, indices into the passage's bars.
    pub played: Vec<usize>,
    /// Index of the played bar that was asked for.
    index: usize,
}

/// What is done to the bars of one part.
enum Cut {
    /// A new bar behind the first so many rounds of this node.
    Behind(usize),
    /// One round less.
    Less,
    /// One round more, or a copy.
    Twice,
}

impl<'a> Desk<'a> {
    fn model(&self, passage: &str) -> Result<&'a Passage, EditError> {
        self.lesson.passages.iter().find(|p| p.id == passage).ok_or_else(|| refuse(self.root.name_span(), format!("the passage \"{passage}\" cannot be read"), "mend it first"))
    }

    pub(super) fn bar(&self, at: &BarAt) -> Result<Hit<'a>, EditError> {
        let part = self.part(&at.passage, &at.part)?;
        let p = self.model(&at.passage)?;
        let none = || refuse(part.name_span(), format!("the part has no bar {}", at.bar), "bars are counted as played, repeats played out; a pickup is bar 0");
        let index = p.bars.iter().position(|b| b.number == at.bar).ok_or_else(none)?;
        let bars = &p.parts.iter().find(|q| q.name == at.part).ok_or_else(none)?.bars;
        let span = bars.get(index).map(|b| b.span).filter(|s| s.end > 0).ok_or_else(none)?;
        let played = (0..bars.len()).filter(|i| bars[*i].span == span).collect();
        let holds = |f: &Found| f.start() <= span.start && span.start < f.end();
        let top = part.children().into_iter().find(|c| matches!(c.name(), "bar" | "rest" | "repeat" | "pickup") && holds(c)).ok_or_else(none)?;
        let mut node = top;
        while node.name() == "repeat" {
            node = node.children().into_iter().find(holds).ok_or_else(none)?;
        }
        Ok(Hit { node, top, played, index })
    }

    /// The text value of a bar's line or of a row under it.
    fn value(&self, hit: &Hit<'a>, row: Option<&str>) -> Result<Span, EditError> {
        match row {
            None => hit.node.arg(0).map(|a| a.1).ok_or_else(|| refuse(hit.node.name_span(), format!("this {} has no line of its own", hit.node.name()), "name the row: kick, snare, hats …, or set the whole line of a rest")),
            Some(r) => hit.node.child(r).and_then(|c| c.arg(0)).map(|a| a.1).ok_or_else(|| refuse(hit.node.name_span(), format!("this bar has no row {}", crate::problem::excerpt(r)), "set the whole row first")),
        }
    }

    pub(super) fn token(&self, at: &BarAt, row: Option<&str>, slot: u32, with: &str, rounds: Rounds) -> Work {
        let hit = self.bar(at)?;
        let value = self.value(&hit, row)?;
        let Some(inner) = body(self.text, value) else {
            return Err(refuse(value, "this line is written with escapes", "set the whole line, then its tokens"));
        };
        safe(with, value)?;
        let range = match self.slot_range(at, row, &self.text[inner.start..inner.end], slot) {
            Some(r) => Span { start: inner.start + r.0, end: inner.start + r.1 },
            None => return Err(refuse(value, format!("no token begins at slot {slot}"), "slots are counted from 1; a bracket is one token and begins at its first slot")),
        };
        self.rounds(&hit, rounds, vec![Change { at: range, with: with.to_string() }])
    }

    /// Bytes of the token that begins at a slot.
    fn slot_range(&self, at: &BarAt, row: Option<&str>, line: &str, slot: u32) -> Option<(usize, usize)> {
        if matches!(row, Some("level" | "wah")) {
            let word = line.split_whitespace().nth((slot as usize).checked_sub(1)?)?;
            let start = word.as_ptr() as usize - line.as_ptr() as usize;
            return Some((start, start + word.len()));
        }
        let part = self.lesson.passages.iter().find(|p| p.id == at.passage)?.parts.iter().find(|p| p.name == at.part)?;
        // Cutting a line into words and brackets is much the same for all of them.
        let alphabet = match part.kind {
            Kind::Guitar | Kind::Bass => Alphabet::Strings,
            Kind::Other => Alphabet::Names,
            Kind::Drums => Alphabet::Drums { hats: true },
            Kind::Click => Alphabet::Click,
        };
        let (tokens, _) = stroke::read_line(line, alphabet);
        let mut now = 1;
        for t in tokens {
            if now == slot {
                return Some((t.range.start, t.range.end));
            }
            now += match t.kind {
                TokenKind::Torn => return None,
                TokenKind::Bracket { slots, .. } => slots,
                _ => 1,
            };
        }
        None
    }

    pub(super) fn stroke(&self, at: &BarAt, row: Option<&str>, line: &str, rounds: Rounds) -> Work {
        let hit = self.bar(at)?;
        let change = match (self.value(&hit, row), row) {
            (Ok(value), _) => match body(self.text, value) {
                // The quotes that are there stay, where the line may stand between them.
                Some(inner) if safe(line, value).is_ok() && self.text[value.start..value.end].contains('"') => Change { at: inner, with: line.to_string() },
                _ => Change { at: value, with: quoted(line) },
            },
            (Err(_), None) if hit.node.name() == "rest" => Change { at: hit.node.name_span(), with: format!("bar {}", quoted(line)) },
            (Err(_), Some(r)) if hit.node.name() == "rest" => Change { at: Span { start: hit.node.start(), end: hit.node.end() }, with: format!("bar{} {{ {r} {} }}", &self.text[hit.node.name_span().end..hit.node.end()], quoted(line)) },
            (Err(e), None) => return Err(e),
            (Err(_), Some(r)) => {
                let new = format!("{r} {}", quoted(line));
                match hit.node.children().last() {
                    Some(last) => layout::after(last, &new),
                    None => Change { at: point(hit.node.head_end()), with: format!(" {{ {new} }}") },
                }
            }
        };
        self.rounds(&hit, rounds, vec![change])
    }

    /// Changes inside a bar, for all its rounds or for one.
    fn rounds(&self, hit: &Hit<'a>, rounds: Rounds, changes: Vec<Change>) -> Work {
        if rounds == Rounds::All || hit.played.len() == 1 {
            return Ok((changes, hit.played.len()));
        }
        if hit.top.name() == "repeat" {
            return Err(refuse(hit.node.name_span(), format!("this bar is played {} times by a repeat", hit.played.len()), "edit all rounds, give the round an ending of its own, or write the repeat out"));
        }
        let (start, end) = (hit.node.start(), hit.node.end());
        let here = &self.text[start..end];
        let inside: Vec<Change> = changes.into_iter().map(|c| Change { at: Span { start: c.at.start - start, end: c.at.end - start }, with: c.with }).collect();
        let round = hit.played.iter().position(|i| *i == hit.index).unwrap_or(0);
        let times = hit.played.len();
        // The one round loses its times=.
        let mut one = inside;
        for c in self.property(&hit.node, "times", None)? {
            one.push(Change { at: Span { start: c.at.start - start, end: c.at.end - start }, with: c.with });
        }
        one.sort_by_key(|c| c.at);
        let Some(edited) = super::splice(here, &one) else {
            return Err(refuse(hit.node.name_span(), "this bar cannot be split", "write its rounds out"));
        };
        let mut pieces = Vec::new();
        for (n, text) in [(round, None), (1, Some(edited)), (times - round - 1, None)] {
            match (n, text) {
                (0, _) => {}
                (_, Some(t)) => pieces.push(t),
                (n, None) => pieces.push(self.with_times(&hit.node, n).unwrap_or_default()),
            }
        }
        Ok((vec![Change { at: Span { start, end }, with: pieces.join(&self.between(&hit.node)) }], 1))
    }

    /// What sets two nodes apart where this one stands.
    fn between(&self, node: &Found) -> String {
        let new = layout::after(node, "").with;
        if new.starts_with(';') { "; ".into() } else { new }
    }

    /// A bar's text with another number of rounds.
    fn with_times(&self, node: &Found, times: usize) -> Option<String> {
        let (start, end) = (node.start(), node.end());
        let value = (times > 1).then_some(super::Value::Number(times as f64));
        let changes = self.property(node, "times", value.as_ref()).ok()?;
        let inside: Vec<Change> = changes.into_iter().map(|c| Change { at: Span { start: c.at.start - start, end: c.at.end - start }, with: c.with }).collect();
        super::splice(&self.text[start..end], &inside)
    }

    /// The part's child in which the boundary behind played bar `number` lies (0: before bar 1), and how many of its rounds lie before it.
    fn boundary(&self, part: &Found<'a>, number: usize) -> Result<(Found<'a>, usize), EditError> {
        let mut first = None;
        let mut seen = 0;
        for c in part.children().into_iter().filter(|c| matches!(c.name(), "bar" | "rest" | "repeat")) {
            first = first.or(Some((c, 0)));
            let n = c.plays();
            if number > 0 && seen < number && number <= seen + n {
                if c.name() == "repeat" && number < seen + n {
                    return Err(refuse(c.name_span(), format!("the place behind bar {number} lies inside a repeat of the part \"{}\"", part.arg_text(0).unwrap_or("")), "write the repeat out first"));
                }
                return Ok((c, if c.name() == "repeat" { 1 } else { number - seen }));
            }
            seen += n;
        }
        match first {
            Some(f) if number == 0 => Ok(f),
            _ => Err(refuse(part.name_span(), format!("there is no bar {number}"), format!("the part has bars 1 to {seen}"))),
        }
    }

    fn parts(&self, passage: &Found<'a>) -> Vec<Found<'a>> {
        passage.children().into_iter().filter(|c| matches!(c.name(), "part" | "easier")).collect()
    }

    fn cut(&self, node: &Found<'a>, cut: &Cut, new: &str) -> Result<Change, EditError> {
        let whole = Span { start: node.start(), end: node.end() };
        let times = if node.name() == "repeat" { 1 } else { node.prop_count("times").unwrap_or(1) };
        let torn = || refuse(node.name_span(), "this bar cannot be split", "write its rounds out");
        let text = |n: usize| self.with_times(node, n).ok_or_else(torn);
        Ok(match cut {
            Cut::Behind(0) => layout::before(node, new),
            Cut::Behind(n) if *n >= times => layout::after(node, new),
            Cut::Behind(n) => Change { at: whole, with: [text(*n)?, new.to_string(), text(times - n)?].join(&self.between(node)) },
            Cut::Less if times > 2 => Change { at: whole, with: text(times - 1)? },
            Cut::Less if times == 2 => Change { at: whole, with: text(1)? },
            Cut::Less => {
                if let Some((_, at, _)) = node.prop("meter").or(node.prop("tempo")) {
                    return Err(refuse(at, "this bar says a meter or a tempo for what follows", "write it at the next bar first"));
                }
                layout::without(node)
            }
            Cut::Twice if times > 1 => Change { at: whole, with: text(times + 1)? },
            Cut::Twice => {
                let start = node.start();
                let mut gone = Vec::new();
                for key in ["meter", "tempo"] {
                    gone.extend(self.property(node, key, None)?);
                }
                gone.sort_by_key(|c| c.at);
                let inside: Vec<Change> = gone.into_iter().map(|c| Change { at: Span { start: c.at.start - start, end: c.at.end - start }, with: c.with }).collect();
                let copy = super::splice(&self.text[start..node.end()], &inside).ok_or_else(torn)?;
                // A line that goes on behind the copy, or a remark in it, needs an end.
                layout::after(node, &copy)
            }
        })
    }

    pub(super) fn insert_bar(&self, passage: &str, after: u32, lines: &[(String, String)]) -> Work {
        let p = self.passage(passage)?;
        if let Some((name, _)) = lines.iter().find(|(n, _)| self.part(passage, n).is_err()) {
            return Err(self.part(passage, name).err().unwrap_or_else(|| refuse(p.name_span(), "no such part", "name a part of the passage")));
        }
        let mut changes = Vec::new();
        for part in self.parts(&p) {
            let name = self.part_name(&part);
            let new = lines.iter().find(|(n, _)| *n == name).map_or("rest".to_string(), |(_, l)| format!("bar {}", quoted(l)));
            let (node, n) = self.boundary(&part, after as usize)?;
            changes.push(self.cut(&node, &Cut::Behind(n), &new)?);
        }
        changes.extend(self.moved_places(&p, after as usize, 1)?);
        changes.extend(self.moved_chords(&p, passage, after as usize, 1));
        Ok((changes, 0))
    }

    pub(super) fn duplicate_bar(&self, passage: &str, bar: u32) -> Work {
        self.one_bar(passage, bar, &Cut::Twice, 1)
    }

    pub(super) fn delete_bar(&self, passage: &str, bar: u32) -> Work {
        self.one_bar(passage, bar, &Cut::Less, -1)
    }

    fn one_bar(&self, passage: &str, bar: u32, cut: &Cut, by: i64) -> Work {
        let p = self.passage(passage)?;
        if bar == 0 {
            return Err(refuse(p.name_span(), "a pickup is written once", "edit its line, or take it out in the text"));
        }
        let mut changes = Vec::new();
        for part in self.parts(&p) {
            let (node, _) = self.boundary(&part, bar as usize)?;
            if node.name() == "repeat" {
                return Err(refuse(node.name_span(), format!("bar {bar} lies inside a repeat of the part \"{}\"", part.arg_text(0).unwrap_or("")), "write the repeat out first"));
            }
            changes.push(self.cut(&node, cut, "")?);
        }
        changes.extend(self.moved_places(&p, bar as usize, by)?);
        changes.extend(self.moved_chords(&p, passage, bar as usize, by));
        Ok((changes, 0))
    }

    fn part_name(&self, part: &Found) -> String {
        let name = part.arg_text(0).unwrap_or("");
        if part.name() == "easier" { format!("{name}, easier") } else { name.to_string() }
    }

    /// Places behind bar `number` count on by `by`; with a bar that goes nothing may stand in it.
    fn moved_places(&self, passage: &Found<'a>, number: usize, by: i64) -> Result<Vec<Change>, EditError> {
        let mut out = Vec::new();
        let inside = self.parts(passage).into_iter().flat_map(|p| p.children());
        for node in passage.children().into_iter().chain(inside).filter(|c| matches!(c.name(), "note" | "name" | "place")) {
            let Some((value, _, at)) = node.prop("at") else { continue };
            let Some(text) = value.as_string() else { continue };
            let digits = text.trim().split('.').next().unwrap_or("");
            let Ok(bar) = digits.parse::<usize>() else { continue };
            if by < 0 && bar == number {
                return Err(refuse(at, format!("this {} stands in bar {number}", if node.name() == "note" { "remark" } else { node.name() }), "move it or take it away first"));
            }
            if bar <= number {
                continue;
            }
            let new = (bar as i64 + by).to_string();
            match body(self.text, at).and_then(|b| self.text[b.start..b.end].find(digits).map(|n| b.start + n)) {
                Some(start) => out.push(Change { at: Span { start, end: start + digits.len() }, with: new }),
                None => out.push(Change { at, with: quoted(&text.trim().replacen(digits, &new, 1)) }),
            }
        }
        Ok(out)
    }

    /// A harmony that has a sign for every beat of the passage gets (loses) those of the bar.
    fn moved_chords(&self, passage: &Found<'a>, id: &str, number: usize, by: i64) -> Vec<Change> {
        let (Some(node), Ok(p)) = (passage.child("chords"), self.model(id)) else { return vec![] };
        let mut signs: Vec<Span> = Vec::new();
        for i in 0.. {
            let Some((_, at)) = node.arg(i) else { break };
            let Some(inner) = body(self.text, at) else { return vec![] };
            let line = &self.text[inner.start..inner.end];
            let words = line.split_whitespace().filter(|w| *w != "|").map(|w| (w.as_ptr() as usize - line.as_ptr() as usize, w.len()));
            signs.extend(words.map(|(n, len)| Span { start: inner.start + n, end: inner.start + n + len }));
        }
        let beats = |upto: usize| p.bars.iter().filter(|b| b.number > 0 && b.number as usize <= upto).map(|b| b.meter.beats() as usize).sum::<usize>();
        if signs.len() != beats(usize::MAX) {
            return vec![];
        }
        if by > 0 {
            // The new bar has the meter of the one before it.
            let like = p.bars.iter().find(|b| b.number as usize == number.max(1)).map_or(0, |b| b.meter.beats() as usize);
            let n = beats(number);
            return match n.checked_sub(1).and_then(|i| signs.get(i)) {
                Some(s) => vec![Change { at: point(s.end), with: " /".repeat(like) }],
                None => signs.first().map(|s| Change { at: point(s.start), with: ". ".repeat(like) }).into_iter().collect(),
            };
        }
        let (from, to) = (beats(number - 1), beats(number));
        let mut out: Vec<Change> = Vec::new();
        for s in &signs[from..to.min(signs.len())] {
            let space = self.text[s.end..].len() - self.text[s.end..].trim_start_matches([' ', '\t']).len();
            out.push(Change { at: Span { start: s.start, end: s.end + space }, with: String::new() });
        }
        out
    }
}

/// Text that may stand between the quotes of a line as it is.
fn safe(text: &str, at: Span) -> Result<(), EditError> {
    match text.chars().find(|c| *c == '"' || *c == '\\' || c.is_control()) {
        Some(c) => Err(refuse(at, format!("{} cannot stand in a stroke line", if c.is_control() { "a control character".to_string() } else { c.to_string() }), "write tokens set apart by spaces")),
        None => Ok(()),
    }
}
