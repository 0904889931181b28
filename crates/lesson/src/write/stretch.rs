//! The bars of a part as its text has them: written once, played in several rounds.

use super::tokens::{self, Hand, Line};
use crate::{Fold, Kind, Part, Passage};

/// A bar, or a repeat of some.
#[derive(Clone, Debug)]
pub(super) enum Item {
    Bar(WrittenBar),
    Repeat { times: usize, items: Vec<Item> },
}

/// A bar of the text.
#[derive(Clone, Debug)]
pub(super) struct WrittenBar {
    /// The played bars that it stands for, the first one first.
    pub played: Vec<usize>,
    pub times: usize,
    /// Rounds that it ends, from 1.
    pub ending: Vec<usize>,
    pub line: BarLine,
}

/// What a bar plays, in the ways that it can be written.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum BarLine {
    /// No stroke, and nothing beside it that a `rest` could not carry.
    Rest,
    Line(Line),
    /// Rows of drums.
    Rows(Vec<(&'static str, Line)>),
}

/// One bar line for each played bar of a part.
pub(super) fn lines(passage: &Passage, part: &Part) -> Vec<BarLine> {
    let mut hand = Hand::new(part);
    let bars = passage.bars.iter().zip(&part.bars).enumerate();
    bars.map(|(i, (bar, own))| {
        let bare = own.events.is_empty() && own.say.is_none() && own.level.is_empty() && own.wah.is_empty() && !own.guess;
        if bare && (bar.number > 0 || own.slots == 0) {
            BarLine::Rest
        } else if part.kind == Kind::Drums {
            BarLine::Rows(tokens::drum_rows(bar, i, part))
        } else {
            BarLine::Line(hand.line(bar, i))
        }
    })
    .collect()
}

/// The part's bars from `from` on, folded as its folds say. A fold whose rounds do not read alike is written out.
pub(super) fn fold(passage: &Passage, part: &Part, lines: &[BarLine], from: usize, folds: &[Fold]) -> Vec<Item> {
    let source = Source { passage, part, lines, folds };
    source.stretch(from, part.bars.len().min(lines.len()), &[0], 0).unwrap_or_default()
}

struct Source<'a> {
    passage: &'a Passage,
    part: &'a Part,
    lines: &'a [BarLine],
    folds: &'a [Fold],
}

impl Source<'_> {
    /// Bars `from..to`, which come back at each of `offsets`; folds before `first` are open already. `None` when they do not come back alike.
    fn stretch(&self, from: usize, to: usize, offsets: &[usize], first: usize) -> Option<Vec<Item>> {
        let mut out = Vec::new();
        let mut i = from;
        'bars: while i < to {
            for (k, f) in self.folds.iter().enumerate().skip(first) {
                let length = f.body * f.endings.len() + f.endings.iter().sum::<usize>();
                if f.start == i && length > 0 && i + length <= to && f.endings.len() > 1
                    && let Some(item) = self.repeat(f, k, offsets)
                {
                    out.push(item);
                    i += length;
                    continue 'bars;
                }
            }
            out.push(Item::Bar(self.bar(&offsets.iter().map(|o| i + o).collect::<Vec<_>>())?));
            i += 1;
        }
        Some(out)
    }

    fn repeat(&self, f: &Fold, index: usize, offsets: &[usize]) -> Option<Item> {
        let mut rounds = Vec::with_capacity(f.endings.len());
        let mut at = 0;
        for e in &f.endings {
            rounds.push(at);
            at += f.body + e;
        }
        let all = |rounds: &[usize]| -> Vec<usize> { offsets.iter().flat_map(|o| rounds.iter().map(move |r| o + r)).collect() };
        let plain = f.endings.iter().all(|e| *e == 0);
        let mut items = self.stretch(f.start, f.start + f.body, &all(&rounds), index + 1)?;
        if plain
            && let [Item::Bar(b)] = items.as_mut_slice()
            && b.times == 1
        {
            b.times = rounds.len();
            return items.pop();
        }
        // Endings that read alike are written once, for all their rounds.
        let mut groups: Vec<(Vec<usize>, Vec<Item>)> = Vec::new();
        for (r, count) in f.endings.iter().enumerate().filter(|(_, c)| **c > 0) {
            let start = |r: usize| f.start + rounds[r] + f.body;
            let joined = groups.iter_mut().find_map(|(members, items)| {
                let first = members[0];
                if f.endings[first] != *count {
                    return None;
                }
                let both: Vec<usize> = members.iter().chain([&r]).map(|m| rounds[*m] - rounds[first]).collect();
                *items = self.stretch(start(first), start(first) + count, &all(&both), index + 1)?;
                members.push(r);
                Some(())
            });
            if joined.is_none() {
                groups.push((vec![r], self.stretch(start(r), start(r) + count, offsets, index + 1)?));
            }
        }
        for (members, list) in groups {
            for item in list {
                // An ending holds bars alone.
                let Item::Bar(mut b) = item else { return None };
                b.ending = members.iter().map(|r| r + 1).collect();
                if b.line == BarLine::Rest {
                    let i = b.played[0];
                    let (bar, own) = (&self.passage.bars[i], &self.part.bars[i]);
                    b.line = if self.part.kind == Kind::Drums { BarLine::Rows(vec![]) } else { BarLine::Line(tokens::silence(bar, own.slots)) };
                }
                items.push(Item::Bar(b));
            }
        }
        Some(Item::Repeat { times: rounds.len(), items })
    }

    /// One written bar for these played ones.
    fn bar(&self, played: &[usize]) -> Option<WrittenBar> {
        let first = *played.first()?;
        let mut line = self.lines.get(first)?.clone();
        let own = self.part.bars.get(first)?;
        for i in &played[1..] {
            let o = self.part.bars.get(*i)?;
            // A rest has the slots that its own meter gives it.
            let rests = line == BarLine::Rest && self.lines.get(*i) == Some(&BarLine::Rest);
            let alike = (o.slots == own.slots || rests) && o.say == own.say && o.guess == own.guess && o.level == own.level && o.wah == own.wah;
            if !alike {
                return None;
            }
            line = match (line, self.lines.get(*i)?) {
                (BarLine::Rest, BarLine::Rest) => BarLine::Rest,
                (BarLine::Line(a), BarLine::Line(b)) => BarLine::Line(a.joined(b)?),
                (BarLine::Rows(a), BarLine::Rows(b)) if a == *b => BarLine::Rows(a),
                _ => return None,
            };
        }
        Some(WrittenBar { played: played.to_vec(), times: 1, ending: vec![], line })
    }
}

/// Every written bar in the order of the text.
pub(super) fn each<'a>(items: &'a [Item], visit: &mut dyn FnMut(&'a WrittenBar)) {
    for item in items {
        match item {
            Item::Bar(b) => visit(b),
            Item::Repeat { items, .. } => each(items, visit),
        }
    }
}
