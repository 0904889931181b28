//! Names of what a part plays: each grip in the light of written harmony, bass part and key, and the names over the bars.

use crate::harmony::Signs;
use lesson::{Beats, Part, Passage};
use neck::{Grip, Instrument};
use pitch::{Context, Midi, Naming, Symbol, first_name, names};

/// A grip of a part and what it is called where it first stands.
#[derive(Clone, Debug, PartialEq)]
pub struct GripName {
    pub letter: char,
    /// The grip as it stands in the lesson.
    pub grip: Grip,
    /// Where it is first struck: bar (index) and distance from its start; `None` where nothing plays it.
    pub first: Option<(usize, Beats)>,
    /// Ranked names of the sounding notes.
    pub naming: Naming,
    /// The teacher's own name for it.
    pub pinned: Option<Symbol>,
    /// What the shape would be called without capo and in standard tuning, where that differs from what sounds.
    pub shape: Option<Symbol>,
}

impl GripName {
    /// The name to print: the pinned one, else the best.
    pub fn name(&self) -> Option<&Symbol> {
        self.pinned.as_ref().or(self.naming.names.first().map(|n| &n.symbol))
    }
}

/// Names of all grips of a part, in the order of the lesson's text.
pub fn grip_names(passage: &Passage, part: usize) -> Vec<GripName> {
    Signs::of(passage).grip_names(passage, part)
}

/// Names for notes that sound at a place of a passage, in the light of what the teacher wrote there, the bass part, the key and the harmony before and
/// after. The bass is weighed over the stretch that has one harmony, so that a passing note renames nothing; where the bass is silent there, over the
/// bar. Without a place only the key counts.
pub fn name_notes(passage: &Passage, notes: &[Midi], at: Option<(usize, Beats)>) -> Naming {
    Signs::of(passage).name_notes(passage, notes, at)
}

/// Where a grip is first struck: bar (index) and distance from its start.
fn first_struck(part: &Part, grip: &lesson::NamedGrip) -> Option<(usize, Beats)> {
    let as_written = |e: &lesson::Event| e.notes.iter().all(|n| n.place().is_some_and(|(s, f)| grip.grip.fret(s) == Some(f)));
    let struck = |e: &&lesson::Event| !e.scratch && !e.tie_in && e.grip == Some(grip.letter) && as_written(e);
    part.bars.iter().enumerate().find_map(|(b, bar)| bar.events.iter().find(struck).map(|e| (b, e.at)))
}

/// Of the passage that the signs are of.
impl Signs {
    /// As [`grip_names()`].
    pub fn grip_names(&self, passage: &Passage, part: usize) -> Vec<GripName> {
        let Some(part) = passage.parts.get(part) else { return vec![] };
        let Some(neck) = &part.neck else { return vec![] };
        part.grips
            .iter()
            .map(|g| {
                let first = first_struck(part, g);
                let notes: Vec<Midi> = g.grip.midi(neck).into_iter().flatten().collect();
                let naming = self.name_notes(passage, &notes, first);
                let pinned = g.name.clone();
                let best = pinned.clone().or(naming.names.first().map(|n| n.symbol.clone()));
                GripName { letter: g.letter, grip: g.grip.clone(), first, naming, shape: best.and_then(|s| shape_of(&s, neck)), pinned }
            })
            .collect()
    }

    /// What [`GripName::name`] says of each grip of a part, and its shape's name, without reasons and other names.
    pub fn grip_signs(&self, passage: &Passage, part: usize) -> Vec<(Option<Symbol>, Option<Symbol>)> {
        let Some(part) = passage.parts.get(part) else { return vec![] };
        let Some(neck) = &part.neck else { return vec![] };
        part.grips
            .iter()
            .map(|g| {
                let notes: Vec<Midi> = g.grip.midi(neck).into_iter().flatten().collect();
                let name = g.name.clone().or_else(|| self.first_name(passage, &notes, first_struck(part, g)));
                let shape = name.as_ref().and_then(|s| shape_of(s, neck));
                (name, shape)
            })
            .collect()
    }

    /// As [`name_notes()`].
    pub fn name_notes(&self, passage: &Passage, notes: &[Midi], at: Option<(usize, Beats)>) -> Naming {
        names(notes, &self.context(passage, at))
    }

    /// The first of [`name_notes()`], without reasons.
    pub fn first_name(&self, passage: &Passage, notes: &[Midi], at: Option<(usize, Beats)>) -> Option<Symbol> {
        first_name(notes, &self.context(passage, at)).map(|n| n.symbol)
    }

    /// What is known at a place besides the notes.
    fn context(&self, passage: &Passage, at: Option<(usize, Beats)>) -> Context {
        let all = &self.list;
        let mut context = Context { key: passage.key, ..Context::default() };
        if let Some((bar, at)) = at
            && let Some(b) = passage.bars.get(bar)
            && let Some(i) = all.iter().position(|s| s.bar == bar && s.from <= b.start + at && b.start + at < s.to)
        {
            let here = &all[i];
            context.bass = self.bass_at(here.from, here.to).or_else(|| self.bass_at(b.start, b.start + b.length));
            if here.written {
                context.written.clone_from(&here.symbol);
            }
            let other = |s: &&crate::harmony::Sign| s.symbol.is_some() && s.symbol != here.symbol;
            context.before = all[..i].iter().rev().find(other).and_then(|s| s.symbol.clone());
            context.after = all[i + 1..].iter().find(other).and_then(|s| s.symbol.clone());
        }
        context
    }

    /// As [`bar_names`].
    pub fn bar_names(&self, passage: &Passage) -> Vec<BarName> {
        if !passage.harmony.is_empty() {
            return written_names(passage);
        }
        let mut out: Vec<BarName> = Vec::new();
        let mut last: Option<Symbol> = None;
        for h in self.harmony() {
            let Some(symbol) = h.symbol else { continue };
            if h.beat == 1 || last.as_ref() != Some(&symbol) {
                let at = passage.bars[h.bar].meter.beat() * Beats::from_integer(i64::from(h.beat) - 1);
                out.push(BarName { bar: h.bar, at, symbol: symbol.clone() });
            }
            last = Some(symbol);
        }
        out
    }
}

/// What a player would call the shape of a sounding chord: as without capo, and as in standard tuning where the tuning is
/// the standard one lowered (or raised) on every string alike. `None` where shape and sound agree or no such name exists.
pub fn shape_of(sounding: &Symbol, neck: &Instrument) -> Option<Symbol> {
    let standard = match (neck.strings(), neck.tuning.open.first().map(|m| m.0)) {
        (6, Some(28..)) => "E2 A2 D3 G3 B3 E4",
        _ => "",
    };
    let mut down = -i32::from(neck.capo);
    if !standard.is_empty() {
        let steps: Vec<i32> = standard.split(' ').zip(&neck.tuning.open).filter_map(|(n, m)| Some(i32::from(pitch::Spelled::parse(n)?.midi()?.0) - i32::from(m.0))).collect();
        if let Some(first) = steps.first()
            && steps.iter().all(|s| s == first)
        {
            down += first;
        }
    }
    (down != 0).then(|| sounding.up(down, None))
}

/// A name to print over a bar.
#[derive(Clone, Debug, PartialEq)]
pub struct BarName {
    /// Index into the passage's bars.
    pub bar: usize,
    pub at: Beats,
    pub symbol: Symbol,
}

/// The names to print over the bars of a passage: written harmony where there is some, else the harmony weighed from all
/// parts, at the beginning of each bar and where it changes.
pub fn bar_names(passage: &Passage) -> Vec<BarName> {
    if passage.harmony.is_empty() { Signs::of(passage).bar_names(passage) } else { written_names(passage) }
}

fn written_names(passage: &Passage) -> Vec<BarName> {
    let of = |h: &lesson::HarmonySpan| Some(BarName { bar: h.bar, at: h.at, symbol: h.symbol.clone()? });
    passage.harmony.iter().filter(|h| h.struck).filter_map(of).collect()
}
