//! A passage's slots as markup, bar by bar. A bar that is as it was is not written out again.

use crate::lines::{self, Line, Row};
use lesson::{Beats, Kind, Part, PartBar, Passage};
use maud::{Markup, html};
use std::sync::Arc;

/// Bars as they were written out last.
#[derive(Default)]
pub struct Slots {
    parts: Vec<PartSeen>,
    bars: Vec<Kept>,
}

/// What all bars of a part have in common.
#[derive(Clone, PartialEq)]
struct PartSeen {
    name: String,
    guess: bool,
    rows: Vec<Row>,
}

/// A bar and what it was written from.
struct Kept {
    number: u32,
    length: Beats,
    beat: Beats,
    names: Vec<(f64, String)>,
    sources: Vec<Source>,
    /// How high each part's row is here, and in the whole passage.
    high: Vec<usize>,
    drawn: Option<(Vec<usize>, Arc<str>)>,
}

/// What the lines of a part's bar come from.
enum Source {
    Line(String),
    Silent(u32),
    Drums(Box<PartBar>),
}

impl Source {
    fn of(text: &str, part: &Part, bar: &PartBar) -> Source {
        match lines::written(text, bar) {
            _ if part.kind == Kind::Drums => Source::Drums(Box::new(bar.clone())),
            Some(line) => Source::Line(line.into()),
            None => Source::Silent(bar.slots),
        }
    }

    fn is(&self, text: &str, part: &Part, bar: &PartBar) -> bool {
        match self {
            Source::Drums(old) => part.kind == Kind::Drums && old.is_alike(bar),
            Source::Line(old) => part.kind != Kind::Drums && lines::written(text, bar) == Some(old.as_str()),
            Source::Silent(slots) => part.kind != Kind::Drums && lines::written(text, bar).is_none() && *slots == bar.slots,
        }
    }
}

impl Slots {
    /// The parts' labels, and each bar's slots, with the names over it.
    pub fn pieces(&mut self, text: &str, passage: &Passage, names: &[lock::BarName]) -> Vec<(String, Arc<str>)> {
        let parts: Vec<PartSeen> = passage.parts.iter().map(|p| PartSeen { name: p.name.clone(), guess: p.guess, rows: lines::rows(p) }).collect();
        if parts != self.parts {
            (self.parts, self.bars) = (parts, Vec::new());
        }
        self.bars.truncate(passage.bars.len());
        let mut by_bar: Vec<Vec<(f64, String)>> = vec![Vec::new(); passage.bars.len()];
        for n in names {
            if let Some((list, bar)) = by_bar.get_mut(n.bar).zip(passage.bars.get(n.bar)) {
                list.push((part_of(n.at, bar.length), n.symbol.text(passage.chord_names)));
            }
        }
        for (index, (bar, names)) in passage.bars.iter().zip(by_bar).enumerate() {
            let (number, length, beat) = (bar.number, bar.length, bar.meter.beat());
            let own = || passage.parts.iter().filter_map(move |p| Some((p, p.bars.get(index)?)));
            let same = self.bars.get(index).is_some_and(|k| {
                (k.number, k.length, k.beat) == (number, length, beat) && k.names == names && k.sources.len() == own().count() && k.sources.iter().zip(own()).all(|(s, (p, b))| s.is(text, p, b))
            });
            if same {
                continue;
            }
            let high = passage.parts.iter().zip(&self.parts).map(|(p, seen)| height(&lines::lines(text, passage, p, index, &seen.rows))).collect();
            let kept = Kept { number, length, beat, names, sources: own().map(|(p, b)| Source::of(text, p, b)).collect(), high, drawn: None };
            match self.bars.get_mut(index) {
                Some(old) => *old = kept,
                None => self.bars.push(kept),
            }
        }
        let high: Vec<usize> = (0..passage.parts.len()).map(|p| self.bars.iter().filter_map(|b| b.high.get(p)).copied().max().unwrap_or(1).clamp(1, 4)).collect();
        let mut out = vec![("labels".to_string(), Arc::from(labels(text, passage, &self.parts, &high).into_string()))];
        for (index, kept) in self.bars.iter_mut().enumerate() {
            let drawn = match kept.drawn.take() {
                Some(d) if d.0 == high => d,
                _ => (high.clone(), Arc::from(bar_slots(text, passage, index, &kept.names, &high, &self.parts).into_string())),
            };
            out.push((format!("bar-{index}"), drawn.1.clone()));
            kept.drawn = Some(drawn);
        }
        out
    }
}

fn part_of(at: Beats, length: Beats) -> f64 {
    let share = at / length;
    *share.numer() as f64 / *share.denom() as f64
}

/// Notes that stand one over the other in the fullest slot.
fn height(lines: &[Line]) -> usize {
    lines.iter().flat_map(|l| &l.cells).map(|c| c.token.split('+').count()).max().unwrap_or(1)
}

fn labels(text: &str, passage: &Passage, seen: &[PartSeen], high: &[usize]) -> Markup {
    html! {
        div.over {}
        @for ((part, seen), high) in passage.parts.iter().zip(seen).zip(high) {
            @let rows = lines::lines(text, passage, part, 0, &seen.rows);
            @for (k, line) in rows.iter().enumerate() {
                div class={ "label high-" (if line.row.is_some() { 1 } else { *high }) } {
                    @if k == 0 { b { (part.name) @if part.guess { " ?" } } " " }
                    @if let Some(row) = line.row { span.drum { (row) } }
                }
            }
        }
    }
}

fn bar_slots(text: &str, passage: &Passage, index: usize, names: &[(f64, String)], high: &[usize], seen: &[PartSeen]) -> Markup {
    let bar = &passage.bars[index];
    html! {
        div.over {
            span.number { (bar.number) }
            @for (at, name) in names { span class={ "name at-" ((at * 16.0).floor().clamp(0.0, 15.0) as u32) } { (name) } }
        }
        @for ((part, seen), high) in passage.parts.iter().zip(seen).zip(high) {
            @let high = *high;
            @let slots = part.bars.get(index).map_or(0, |b| b.slots).max(1);
            @let beats = u32::try_from((bar.length / bar.meter.beat()).ceil().to_integer()).unwrap_or(1).max(1);
            @let step = (slots / beats).max(1);
            @for line in lines::lines(text, passage, part, index, &seen.rows) { (slot_row(part, bar.number, &line, if line.row.is_some() { 1 } else { high }, step)) }
        }
    }
}

fn slot_row(part: &Part, number: u32, line: &Line, high: usize, step: u32) -> Markup {
    let name = match line.row {
        Some(row) => format!("{}, {row}, bar {number}", part.name),
        None => format!("{}, bar {number}", part.name),
    };
    html! {
        div class={ "row high-" (high) } role=[(!line.cells.is_empty()).then_some("row")] aria-label=[(!line.cells.is_empty()).then_some(name)] data-part=(part.name) data-row=[line.row] {
            @for c in &line.cells {
                span class={ "slot " (kind(&c.token)) @if (c.slot - 1).is_multiple_of(step) { " beat" } (length(&c.token)) } role="gridcell" tabindex="-1" data-slot=(c.slot) data-width=[(c.width > 1).then_some(c.width)] {
                    @for (k, note) in stacked(&c.token).into_iter().enumerate() { @if k > 0 { br; } (note) }
                }
            }
        }
    }
}

/// How a token looks: struck, ringing on, silent, dead.
fn kind(token: &str) -> &'static str {
    match token {
        "" | "." => "still",
        "-" => "rings",
        t if t.starts_with('x') => "dead",
        _ => "struck",
    }
}

/// Long tokens are set narrower.
fn length(token: &str) -> &'static str {
    match stacked(token).iter().map(|n| n.chars().count()).max().unwrap_or(0) {
        0..=2 => "",
        3 | 4 => " mid",
        5 => " long",
        _ => " longer",
    }
}

/// The notes of a token one over the other, as strings lie in tab: the highest string first.
fn stacked(token: &str) -> Vec<String> {
    if token.starts_with('[') || !token.contains('+') {
        return vec![token.to_string()];
    }
    let mut notes: Vec<&str> = token.split('+').collect();
    let string = |n: &str| n.find(':').and_then(|i| n[..i].chars().last()).and_then(|c| c.to_digit(10));
    notes.sort_by_key(|n| string(n).unwrap_or(9));
    notes.into_iter().map(str::to_string).collect()
}
