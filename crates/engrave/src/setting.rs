//! Systems set again after a change: bars that are the same are not measured again, lines of them not drawn again.
//!
//! A bar is drawn from itself, from its two neighbours before it (where a slide, a slur or a bend comes from), and, where a tie or a held bend leads into it, from all that leads
//! there. What a passage has besides bars and names is compared whole: a change there sets everything anew.

use crate::frame::Frame;
use crate::heading::{BarName, harmony_names};
use crate::system::{DrawnLine, Measured, SystemOptions, set};
use lesson::{Bar, Beats, Part, PartBar, Passage, SheetBar};
use std::collections::BTreeMap;
use std::sync::Arc;

/// What was measured and drawn, and in which run it was last asked for.
#[derive(Default)]
pub(crate) struct Kept {
    run: u64,
    /// By printed bar and what hangs over a line's end behind it: its pieces.
    bars: BTreeMap<(usize, u64), (u64, Vec<Arc<Measured>>)>,
    lines: BTreeMap<LineKey, (u64, Arc<DrawnLine>)>,
}

/// What a line is drawn from, but for the music itself.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct LineKey {
    /// Printed bar, where it was cut, which of its pieces.
    pub pieces: Vec<(usize, Vec<Beats>, usize)>,
    pub last: bool,
    /// Stretch of the line before, as bits; it counts in the last line alone.
    pub usual: u64,
}

impl Kept {
    /// The pieces of printed bar `k`, measured where they are not known.
    pub fn bar(&mut self, k: usize, over: f64, measure: impl FnOnce() -> Vec<Measured>) -> Vec<Arc<Measured>> {
        let kept = self.bars.entry((k, over.to_bits())).or_insert_with(|| (0, measure().into_iter().map(Arc::new).collect()));
        kept.0 = self.run;
        kept.1.clone()
    }

    pub fn line(&mut self, key: LineKey, draw: impl FnOnce() -> DrawnLine) -> Arc<DrawnLine> {
        let kept = self.lines.entry(key).or_insert_with(|| (0, Arc::new(draw())));
        kept.0 = self.run;
        kept.1.clone()
    }
}

/// Systems as they were set last.
#[derive(Default)]
pub struct Setting {
    kept: Kept,
    seen: Option<Seen>,
}

/// What the systems were set from.
struct Seen {
    options: SystemOptions,
    head: Head,
    names: Vec<Vec<BarName>>,
    /// By part and bar.
    music: Vec<Vec<PartBar>>,
}

/// All but bars of parts, and names.
#[derive(PartialEq)]
struct Head {
    /// Without bars and parts.
    passage: Passage,
    bars: Vec<Bar>,
    parts: Vec<Part>,
    /// Clefs follow from all notes of a part.
    staffs: Vec<crate::staff::Lines>,
    sheet: Vec<SheetBar>,
}

/// From so many bars of all parts on they are looked at while names are worked out: below, a thread costs more than it saves.
const MANY: usize = 500;

impl Setting {
    /// As [`crate::systems()`] would give it; a line that is as it was before is the same frame.
    pub fn systems(&mut self, passage: &Passage, names: Option<&[BarName]>, options: &SystemOptions) -> Vec<Arc<Frame>> {
        self.systems_named(passage, options, || (names.map_or_else(|| harmony_names(passage), <[BarName]>::to_vec), ())).0
    }

    /// The same with names that are worked out first, and whatever else comes of that; in a long passage it is looked at meanwhile for what changed.
    pub fn systems_named<T>(&mut self, passage: &Passage, options: &SystemOptions, names: impl FnOnce() -> (Vec<BarName>, T)) -> (Vec<Arc<Frame>>, T) {
        let (changed, (names, more)) = if passage.bars.len() * passage.parts.len() < MANY {
            (self.look(passage, options), names())
        } else {
            std::thread::scope(|s| {
                let look = s.spawn(|| self.look(passage, options));
                let names = names();
                (look.join().unwrap_or_else(|fault| std::panic::resume_unwind(fault)), names)
            })
        };
        self.forget(passage, &names, changed);
        self.kept.run += 1;
        let frames = set(passage, Some(&names), options, &mut self.kept);
        let run = self.kept.run;
        self.kept.bars.retain(|_, k| k.0 == run);
        self.kept.lines.retain(|_, k| k.0 == run);
        (frames, more)
    }

    /// Takes down what the passage is, and says which bars are others than before; `None` where all may be.
    fn look(&mut self, passage: &Passage, options: &SystemOptions) -> Option<Vec<bool>> {
        let head = Head {
            passage: passage.without_parts(),
            bars: passage.bars.clone(),
            parts: passage.parts.iter().map(Part::without_bars).collect(),
            staffs: passage.parts.iter().map(crate::staff::Lines::of).collect(),
            sheet: lesson::sheet(passage),
        };
        let count = passage.bars.len();
        let whole = passage.parts.iter().all(|p| p.bars.len() == count);
        let Some(seen) = self.seen.as_mut().filter(|s| whole && s.options == *options && s.head == head) else {
            let music = passage.parts.iter().map(|p| p.bars.clone()).collect();
            self.seen = whole.then(|| Seen { options: options.clone(), head, names: vec![], music });
            return None;
        };
        let mut changed = vec![false; count];
        for (part, old) in passage.parts.iter().zip(&mut seen.music) {
            for (i, (new, old)) in part.bars.iter().zip(old).enumerate() {
                if !new.is_alike(old) {
                    old.clone_from(new);
                    changed[i] = true;
                }
            }
        }
        Some(changed)
    }

    /// Lets go of what is drawn from what changed.
    fn forget(&mut self, passage: &Passage, names: &[BarName], changed: Option<Vec<bool>>) {
        let count = passage.bars.len();
        let mut by_bar: Vec<Vec<BarName>> = vec![Vec::new(); count];
        for n in names {
            if let Some(list) = by_bar.get_mut(n.bar) {
                list.push(n.clone());
            }
        }
        let (Some(mut changed), Some(seen)) = (changed, self.seen.as_mut()) else {
            self.kept = Kept::default();
            if let Some(seen) = &mut self.seen {
                seen.names = by_bar;
            }
            return;
        };
        for (changed, (a, b)) in changed.iter_mut().zip(seen.names.iter().zip(&by_bar)) {
            *changed |= a != b;
        }
        seen.names = by_bar;
        // What changed reaches two bars on, and further through ties.
        let mut stale = changed.clone();
        for i in 0..count {
            let led_into = || passage.parts.iter().any(|p| p.bars[i].events.iter().any(|e| e.tie_in || e.held));
            let near = |list: &[bool]| (1..=2).any(|d| i >= d && list[i - d]);
            stale[i] |= near(&changed) || (near(&stale) && led_into());
        }
        if stale.iter().all(|s| !s) {
            return;
        }
        let drawn = |k: usize| seen.head.sheet.get(k).and_then(|s| s.played.first()).is_none_or(|b| stale.get(*b).copied().unwrap_or(true));
        self.kept.bars.retain(|(k, _), _| !drawn(*k));
        self.kept.lines.retain(|key, _| !key.pieces.iter().any(|(k, ..)| drawn(*k)));
    }
}

#[cfg(test)]
mod tests;
