//! Where the pitches of two parts sit close together or on top of each other.
//!
//! From the steady pitches of both parts and the chords. A second is counted at close distance (one or two semitones) and an octave
//! wider, as a ninth; wider still it is no clash. A unison is the very same pitch in both parts.

use crate::chords::Chord;
use crate::steady::Steady;
use crate::ticks::{beats, ticks};
use lesson::{Beats, Passage};
use pitch::{Classes, Midi, Symbol};

/// Most clashes of a pair that are kept, so that two parts that double each other through a long passage take no more room than a few bars.
pub const CLASHES_MAX: usize = 4096;

/// One meeting of two pitches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clash {
    /// Where both begin to sound at once: index into the passage's bars, and distance from the bar's start.
    pub bar: usize,
    pub at: Beats,
    /// For how long.
    pub length: Beats,
    /// The pitches, in the order of the pair's parts.
    pub notes: [Midi; 2],
    pub kind: ClashKind,
    pub meaning: Meaning,
    /// Which of the two is foreign to the chord, 0 or 1 (the first where both are); `None` for colour and where there is no sign.
    pub foreign: Option<usize>,
    /// The pitch a step away to which the foreign one moves on within a beat.
    pub moves_to: Option<Midi>,
}

/// How far apart two pitches are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ClashKind {
    Unison,
    /// One semitone.
    MinorSecond,
    /// Two semitones.
    MajorSecond,
    /// Thirteen semitones.
    MinorNinth,
    /// Fourteen semitones.
    MajorNinth,
}

impl ClashKind {
    /// The kind of a distance in semitones; `None` where it is no clash.
    fn of(semitones: u8) -> Option<ClashKind> {
        Some(match semitones {
            0 => ClashKind::Unison,
            1 => ClashKind::MinorSecond,
            2 => ClashKind::MajorSecond,
            13 => ClashKind::MinorNinth,
            14 => ClashKind::MajorNinth,
            _ => return None,
        })
    }

    /// The trade's word: `unison`, `minor second`, ...
    pub fn word(self) -> &'static str {
        match self {
            ClashKind::Unison => "unison",
            ClashKind::MinorSecond => "minor second",
            ClashKind::MajorSecond => "major second",
            ClashKind::MinorNinth => "minor ninth",
            ClashKind::MajorNinth => "major ninth",
        }
    }
}

/// What the chord at that place makes of a clash.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Meaning {
    /// Both pitches are tones of the chord (or its slash bass).
    Colour,
    /// A foreign pitch a whole tone (or a major ninth) from the other, and in the key where one is known: it adds to the chord.
    Added,
    /// A pitch is foreign to this chord and belongs to the next, which comes while it sounds or within a beat.
    Early,
    /// A foreign pitch lasts half a beat at most (in a bass a beat, as it walks), and its part moves on by a step within a beat.
    Passing,
    /// A foreign pitch stays, a half tone from the other or outside the key.
    Rub,
    /// No chord sign stands there to judge by.
    Unjudged,
}

impl Meaning {
    /// One word: `colour`, `added`, `early`, `passing`, `rub`, `unjudged`.
    pub fn word(self) -> &'static str {
        match self {
            Meaning::Colour => "colour",
            Meaning::Added => "added",
            Meaning::Early => "early",
            Meaning::Passing => "passing",
            Meaning::Rub => "rub",
            Meaning::Unjudged => "unjudged",
        }
    }
}

/// A chord as clashes are judged by it.
pub(crate) struct Under {
    start: i64,
    /// `None` without a sign.
    own: Option<Classes>,
    /// Where the next other chord begins, and its tones.
    next: Option<(i64, Option<Classes>)>,
    beat: i64,
}

/// The chords of a passage and the starts of its bars, made ready for [`clashes`].
pub(crate) struct Judge {
    chords: Vec<Under>,
    bars: Vec<i64>,
    /// The key's notes.
    scale: Option<Classes>,
}

impl Judge {
    pub(crate) fn of(passage: &Passage, chords: &[Chord]) -> Judge {
        let mut out: Vec<Under> = Vec::with_capacity(chords.len());
        for (i, c) in chords.iter().enumerate().rev() {
            let bar = &passage.bars[c.bar];
            let start = ticks(bar.start + c.at);
            let next = match chords.get(i + 1) {
                None => None,
                Some(n) if n.symbol == c.symbol => out.last().and_then(|u| u.next),
                Some(_) => out.last().map(|u| (u.start, u.own)),
            };
            out.push(Under { start, own: c.symbol.as_ref().map(Symbol::classes), next, beat: ticks(bar.meter.beat()) });
        }
        out.reverse();
        let scale = passage.key.map(|k| k.scale().into_iter().map(|s| s.class()).collect());
        Judge { chords: out, bars: passage.bars.iter().map(|b| ticks(b.start)).collect(), scale }
    }

    /// What a clash means, which of the two is foreign, and where that one moves on to.
    fn meaning(&self, kind: ClashKind, sides: [&Voice; 2], at: [usize; 2]) -> (Meaning, Option<usize>, Option<Midi>) {
        let unjudged = (Meaning::Unjudged, None, None);
        let from = sides[0].notes[at[0]].from.max(sides[1].notes[at[1]].from);
        let Some(chord) = self.chords.partition_point(|c| c.start <= from).checked_sub(1).map(|i| &self.chords[i]) else { return unjudged };
        let Some(own) = chord.own else { return unjudged };
        let soft = matches!(kind, ClashKind::MajorSecond | ClashKind::MajorNinth);
        let judge = |i: usize| {
            let (notes, k) = (sides[i].notes, at[i]);
            let n = &notes[k];
            if own.holds(n.midi.class()) {
                return (Meaning::Colour, None);
            }
            let next = steps_to(notes, k, chord.beat);
            let early = chord.next.is_some_and(|(start, tones)| start < n.to.max(from + chord.beat + 1) && tones.is_some_and(|t| t.holds(n.midi.class())));
            let short = if sides[i].bass { chord.beat } else { chord.beat / 2 };
            let meaning = if early {
                Meaning::Early
            } else if n.to - n.from <= short && next.is_some() {
                Meaning::Passing
            } else if soft && self.scale.is_none_or(|s| s.holds(n.midi.class())) {
                Meaning::Added
            } else {
                Meaning::Rub
            };
            (meaning, next)
        };
        let [a, b] = [judge(0), judge(1)];
        let i = usize::from(b.0 > a.0);
        let (meaning, next) = if i == 0 { a } else { b };
        (meaning, (meaning != Meaning::Colour).then_some(i), next)
    }
}

/// A part as a pair's clashes are looked for in it.
pub(crate) struct Voice<'a> {
    pub notes: &'a [Steady],
    pub bass: bool,
}

/// The clashes of two parts in order of time, and how many more there are than are kept.
pub(crate) fn clashes(passage: &Passage, judge: &Judge, sides: [&Voice; 2]) -> (Vec<Clash>, usize) {
    let [a, b] = sides.map(|s| s.notes);
    let mut out = Vec::new();
    let mut more = 0;
    let (mut i, mut j) = (0, 0);
    let (mut on_a, mut on_b): (Vec<usize>, Vec<usize>) = (vec![], vec![]);
    while i < a.len() || j < b.len() {
        let a_next = i < a.len() && (j >= b.len() || a[i].from <= b[j].from);
        let from = if a_next { a[i].from } else { b[j].from };
        on_a.retain(|k| a[*k].to > from);
        on_b.retain(|k| b[*k].to > from);
        let mut meet = |x: usize, y: usize, at: Beats| {
            let Some(kind) = ClashKind::of(a[x].midi.0.abs_diff(b[y].midi.0)) else { return };
            if out.len() == CLASHES_MAX {
                more += 1;
                return;
            }
            let bar = judge.bars.partition_point(|b| *b <= from).saturating_sub(1);
            let Some(start) = passage.bars.get(bar).map(|b| b.start) else { return };
            let (meaning, foreign, moves_to) = judge.meaning(kind, sides, [x, y]);
            let length = beats(a[x].to.min(b[y].to) - from);
            out.push(Clash { bar, at: at - start, length, notes: [a[x].midi, b[y].midi], kind, meaning, foreign, moves_to });
        };
        if a_next {
            on_b.iter().for_each(|y| meet(i, *y, a[i].at));
            on_a.push(i);
            i += 1;
        } else {
            on_a.iter().for_each(|x| meet(*x, j, b[j].at));
            on_b.push(j);
            j += 1;
        }
    }
    (out, more)
}

/// The pitch one or two semitones away with which the part's next onset comes, within a beat of this note's end; the lower of two.
fn steps_to(notes: &[Steady], k: usize, beat: i64) -> Option<Midi> {
    let n = &notes[k];
    let mut later = notes[k + 1..].iter().skip_while(|m| m.from <= n.from).peekable();
    let next = later.peek().map(|m| m.from).filter(|f| *f < n.to + beat)?;
    later.take_while(|m| m.from == next).map(|m| m.midi).find(|m| matches!(m.0.abs_diff(n.midi.0), 1 | 2))
}
