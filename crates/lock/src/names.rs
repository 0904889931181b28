//! Names of what a part plays: each grip in the light of written harmony, bass part and key, and the names over the bars.

use crate::harmony::{Sign, bass_at, harmony, signs};
use lesson::{Beats, Passage};
use neck::{Grip, Instrument};
use pitch::{Context, Midi, Naming, Symbol, names};

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
    let Some(part) = passage.parts.get(part) else { return vec![] };
    let Some(neck) = &part.neck else { return vec![] };
    let all = signs(passage);
    part.grips
        .iter()
        .map(|g| {
            let mut first = None;
            'bars: for (b, bar) in part.bars.iter().enumerate() {
                for e in bar.events.iter().filter(|e| !e.scratch && !e.tie_in) {
                    if e.grip == Some(g.letter) && e.notes.iter().all(|n| n.place().is_some_and(|(s, f)| g.grip.fret(s) == Some(f))) {
                        first = Some((b, e.at));
                        break 'bars;
                    }
                }
            }
            let notes: Vec<Midi> = g.grip.midi(neck).into_iter().flatten().collect();
            let naming = name_under(passage, &all, &notes, first);
            let pinned = g.name.clone();
            let best = pinned.clone().or(naming.names.first().map(|n| n.symbol.clone()));
            GripName { letter: g.letter, grip: g.grip.clone(), first, naming, shape: best.and_then(|s| shape_of(&s, neck)), pinned }
        })
        .collect()
}

/// Names for notes that sound at a place of a passage, in the light of what the teacher wrote there, the bass part, the key and the harmony before and
/// after. The bass is weighed over the stretch that has one harmony, so that a passing note renames nothing; where the bass is silent there, over the
/// bar. Without a place only the key counts.
pub fn name_notes(passage: &Passage, notes: &[Midi], at: Option<(usize, Beats)>) -> Naming {
    name_under(passage, &signs(passage), notes, at)
}

/// As [`name_notes()`] for many, weighing the passage's harmony once: for each the notes and where they first sound.
pub fn name_all(passage: &Passage, wanted: &[(Vec<Midi>, Option<(usize, Beats)>)]) -> Vec<Naming> {
    let all = signs(passage);
    wanted.iter().map(|(notes, at)| name_under(passage, &all, notes, *at)).collect()
}

pub(crate) fn name_under(passage: &Passage, all: &[Sign], notes: &[Midi], at: Option<(usize, Beats)>) -> Naming {
    let mut context = Context { key: passage.key, ..Context::default() };
    if let Some((bar, at)) = at
        && let Some(b) = passage.bars.get(bar)
        && let Some(i) = all.iter().position(|s| s.bar == bar && s.from <= b.start + at && b.start + at < s.to)
    {
        let here = &all[i];
        context.bass = bass_at(passage, here.from, here.to).or_else(|| bass_at(passage, b.start, b.start + b.length));
        if here.written {
            context.written.clone_from(&here.symbol);
        }
        let other = |s: &&Sign| s.symbol.is_some() && s.symbol != here.symbol;
        context.before = all[..i].iter().rev().find(other).and_then(|s| s.symbol.clone());
        context.after = all[i + 1..].iter().find(other).and_then(|s| s.symbol.clone());
    }
    names(notes, &context)
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
    let mut out: Vec<BarName> = Vec::new();
    let mut last: Option<Symbol> = None;
    if !passage.harmony.is_empty() {
        for h in passage.harmony.iter().filter(|h| h.struck) {
            if let Some(s) = &h.symbol {
                out.push(BarName { bar: h.bar, at: h.at, symbol: s.clone() });
            }
        }
        return out;
    }
    for h in harmony(passage) {
        if h.symbol.is_some() && (h.symbol != last || h.beat == 1) {
            let at = passage.bars[h.bar].meter.beat() * Beats::from_integer(i64::from(h.beat) - 1);
            if let Some(symbol) = h.symbol.clone() {
                out.push(BarName { bar: h.bar, at, symbol });
            }
        }
        if h.symbol.is_some() {
            last = h.symbol;
        }
    }
    out
}
