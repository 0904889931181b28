//! What sounds in a stretch, weighed by class, bass and register; and the marks that a root and core get for it.

use super::{Held, Stretch, Timing};
use crate::names::readings::{DOUBLE7, FLAT5, FLAT7, MAJOR, MINOR, SEVENTH, SIXTH};
use crate::{Classes, Midi, PitchClass};
use std::collections::BTreeSet;

/// Third, fifth and seventh over a root, in semitones; a sixth stands in the seventh's place. No third: suspended, or root and fifth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Core {
    pub third: Option<u8>,
    pub fifth: u8,
    pub seventh: Option<u8>,
}

const fn core(third: Option<u8>, fifth: u8, seventh: Option<u8>) -> Core {
    Core { third, fifth, seventh }
}

/// All cores, in the order of their marks.
pub const CORES: [Core; 15] = [
    core(Some(4), 7, None),
    core(Some(4), 7, Some(10)),
    core(Some(4), 7, Some(11)),
    core(Some(4), 7, Some(9)),
    core(Some(3), 7, None),
    core(Some(3), 7, Some(10)),
    core(Some(3), 7, Some(11)),
    core(Some(3), 7, Some(9)),
    core(None, 7, None),
    core(None, 7, Some(10)),
    core(None, 7, Some(11)),
    core(None, 7, Some(9)),
    core(Some(3), 6, None),
    core(Some(3), 6, Some(10)),
    core(Some(3), 6, Some(9)),
];

impl Core {
    pub(super) fn is_dominant(&self) -> bool {
        self.third == Some(4) && self.seventh == Some(10)
    }

    fn tones(&self) -> impl Iterator<Item = u8> {
        [Some(0), self.third, Some(self.fifth), self.seventh].into_iter().flatten()
    }

    /// Its tones on a root.
    pub(super) fn classes(&self, root: PitchClass) -> Classes {
        self.tones().map(|t| root.up(t.into())).collect()
    }

    /// Whether a set of degrees (bits of the namer's table) is this core with something on top. A third may be supposed where the core has none.
    pub(super) fn fits(&self, tones: u32) -> bool {
        let third = match self.third {
            Some(4) => tones & MAJOR != 0,
            Some(_) => tones & MINOR != 0,
            None => true,
        };
        let fifth = if self.fifth == 6 { tones & FLAT5 != 0 } else { self.third != Some(3) || tones & FLAT5 == 0 };
        let seventh = match self.seventh {
            None => tones & (DOUBLE7 | FLAT7 | SEVENTH | SIXTH) == 0,
            Some(9) if self.fifth == 6 => tones & DOUBLE7 != 0,
            Some(9) => tones & SIXTH != 0,
            Some(10) => tones & FLAT7 != 0,
            Some(_) => tones & SEVENTH != 0,
        };
        third && fifth && seventh
    }
}

/// What sounds in a stretch. Every list runs over the classes from C and sums to 1 (or is empty of sound and all 0).
#[derive(Clone, Debug)]
pub(super) struct Evidence {
    /// Time each class sounds.
    weight: [f64; 12],
    /// The square root of that: how far it is heard.
    heard: [f64; 12],
    /// Time each class is the lowest.
    low: [f64; 12],
    /// The lowest note of all.
    lowest: [f64; 12],
    /// The lowest note of the first strike.
    first: [f64; 12],
    /// Time each class sounds, a note half an octave higher half as much.
    deep: [f64; 12],
    /// All that sounds, low to high.
    pitches: Vec<Midi>,
    bass_part: Option<Midi>,
}

/// A note that rings on from before the stretch counts that much.
const RINGS_ON: f64 = 0.2;
/// 2 to the power -1/6: one semitone of the half octave after which a note counts half.
const SEMITONE: f64 = 0.890_898_718_140_339_3;

impl Evidence {
    /// From notes with finite times.
    pub(super) fn of(notes: &[Held], s: Stretch, timing: Timing) -> Evidence {
        struct Piece {
            from: f64,
            to: f64,
            struck: f64,
            midi: Midi,
            bass: bool,
            factor: f64,
        }
        let mut pieces: Vec<Piece> = Vec::new();
        for n in notes {
            let (from, to) = (n.from.max(s.from), n.to.min(s.to));
            if from < to {
                let factor = if n.from < s.from - timing.early { RINGS_ON } else { 1.0 };
                pieces.push(Piece { from, to, struck: n.from, midi: n.midi, bass: n.bass, factor });
            }
        }
        pieces.sort_by(|a, b| a.midi.cmp(&b.midi).then(a.from.total_cmp(&b.from)).then(a.to.total_cmp(&b.to)));
        let mut out = Evidence { weight: [0.0; 12], heard: [0.0; 12], low: [0.0; 12], lowest: [0.0; 12], first: [0.0; 12], deep: [0.0; 12], pitches: Vec::new(), bass_part: None };
        let at = |m: Midi| usize::from(m.class().0);
        for p in &pieces {
            let weight = p.factor * (p.to - p.from);
            out.weight[at(p.midi)] += weight;
            // From the low E of a guitar.
            let above = i32::from(p.midi.0) - 40;
            let factor = (0..above.abs()).fold(1.0, |f, _| if above > 0 { f * SEMITONE } else { f / SEMITONE });
            out.deep[at(p.midi)] += weight * factor;
        }
        out.pitches = pieces.iter().map(|p| p.midi).collect();
        out.pitches.dedup();
        // Where a bass part sounds, it alone is the bass.
        let bass_part = pieces.iter().any(|p| p.bass);
        let below: Vec<&Piece> = pieces.iter().filter(|p| p.bass == bass_part).collect();
        // Through the times at which a note begins or ends, with all that sounds between two of them.
        let mut events: Vec<(f64, bool, usize)> = below.iter().enumerate().flat_map(|(i, p)| [(p.from, true, i), (p.to, false, i)]).collect();
        events.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.cmp(&b.2)));
        let mut sounding = BTreeSet::new();
        let mut last = s.from;
        for (time, begins, i) in events {
            if let Some(lowest) = sounding.first().map(|i: &usize| below[*i]) {
                out.low[at(lowest.midi)] += lowest.factor * (time - last);
            }
            last = time;
            if begins {
                sounding.insert(i);
            } else {
                sounding.remove(&i);
            }
        }
        if let Some(p) = below.first() {
            out.lowest[at(p.midi)] = 1.0;
        }
        if let Some(start) = below.iter().map(|p| p.from).min_by(f64::total_cmp)
            && let Some(p) = below.iter().find(|p| p.from < start + timing.together)
        {
            out.first[at(p.midi)] = 1.0;
        }
        if bass_part {
            // The pitch that lasts; the first counts double, as the one that a bass player gives the chord by.
            let start = below.iter().map(|p| p.struck.max(s.from)).min_by(f64::total_cmp).unwrap_or(s.from);
            let mut best: Option<(f64, Midi)> = None;
            for m in &out.pitches {
                let time: f64 = below.iter().filter(|p| p.midi == *m).map(|p| (p.to - p.from) * if p.from <= start { 2.0 } else { 1.0 }).sum();
                if best.is_none_or(|b| time > b.0) {
                    best = Some((time, *m));
                }
            }
            out.bass_part = best.map(|b| b.1);
        }
        for list in [&mut out.weight, &mut out.low, &mut out.deep] {
            let sum: f64 = list.iter().sum();
            if sum > 0.0 {
                list.iter_mut().for_each(|v| *v /= sum);
            }
        }
        out.heard = out.weight.map(f64::sqrt);
        out
    }

    /// Part of the sound that a class has.
    pub(super) fn share(&self, class: PitchClass) -> f64 {
        self.weight[usize::from(class.0 % 12)]
    }

    /// Part of the time in which a class is the lowest.
    pub(super) fn low_share(&self, class: PitchClass) -> f64 {
        self.low[usize::from(class.0 % 12)]
    }

    /// The class that is the lowest for the longest time.
    pub(super) fn bass(&self) -> Option<PitchClass> {
        let best = (0..12).fold(0, |b, i| if self.low[i] > self.low[b] { i } else { b });
        (self.low[best] > 0.0).then_some(PitchClass(best as u8))
    }

    pub(super) fn bass_part(&self) -> Option<Midi> {
        self.bass_part
    }

    pub(super) fn pitches(&self) -> &[Midi] {
        &self.pitches
    }

    /// How alike two stretches sound: the cosine of their weighed classes, 0..=1.
    pub(super) fn alike(&self, other: &Evidence) -> f64 {
        let dot = |a: &[f64; 12], b: &[f64; 12]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let (a, b) = (dot(&self.weight, &self.weight), dot(&other.weight, &other.weight));
        if a > 0.0 && b > 0.0 { dot(&self.weight, &other.weight) / (a * b).sqrt() } else { 0.0 }
    }
}

/// How many marks there are.
pub const MARKS: usize = 38 + CORES.len();
/// A class with a smaller part of the sound is as good as absent.
const ABSENT: f64 = 0.02;

/// The marks of one root and core (by its place in [`CORES`]). In order: how far root, third, fifth and seventh sound; how far each interval outside the core does (a semitone
/// to a major seventh without the fifth, then a fifth beside a lowered one); whether root, third, fifth, seventh are absent; root, third, fifth and
/// seventh as the lowest for a time, as the lowest of all, as the lowest of the first strike, and by depth; whether the root is a step of the key, and how many
/// tones are none; which core it is; and how strange its plainest name is. How far a class sounds is the square root of its part, so that a short note is still heard.
pub(super) fn marks(e: &Evidence, root: usize, which: usize, steps: Option<Classes>, strange: f64) -> [f64; MARKS] {
    let mut out = [0.0; MARKS];
    let core = &CORES[which];
    let at = |list: &[f64; 12], over: u8| list[(root + usize::from(over)) % 12];
    let heard = |over: u8| at(&e.heard, over);
    let tones = [Some(0), core.third, Some(core.fifth), core.seventh];
    for (i, tone) in tones.iter().enumerate() {
        let Some(tone) = *tone else { continue };
        out[i] = heard(tone);
        out[15 + i] = f64::from(at(&e.weight, tone) < ABSENT);
        for (j, list) in [&e.low, &e.lowest, &e.first, &e.deep].into_iter().enumerate() {
            out[19 + 4 * j + i] = at(list, tone);
        }
    }
    for (i, over) in [1, 2, 3, 4, 5, 6, 8, 9, 10, 11].into_iter().enumerate() {
        if !tones.contains(&Some(over)) {
            out[4 + i] = heard(over);
        }
    }
    if core.fifth == 6 {
        out[14] = heard(7);
    }
    out[35] = 1.0;
    // The steps of the key, where there is one.
    if let Some(steps) = steps {
        let inside = |over: u8| steps.holds(PitchClass(root as u8).up(over.into()));
        out[35] = f64::from(inside(0));
        out[36] = core.tones().filter(|t| !inside(*t)).count() as f64;
    }
    out[37 + which] = 1.0;
    out[MARKS - 1] = strange;
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each core takes the degrees that make it, with whatever leaves it what it is, and no set that lacks one of them or has another core's seventh.
    #[test]
    fn a_core_takes_its_own_degrees_and_no_others() {
        let own = |c: &Core| {
            let third = match c.third {
                Some(4) => MAJOR,
                Some(_) => MINOR,
                None => 0,
            };
            let seventh = match c.seventh {
                None => 0,
                Some(9) if c.fifth == 6 => DOUBLE7,
                Some(9) => SIXTH,
                Some(10) => FLAT7,
                Some(_) => SEVENTH,
            };
            (third, if c.fifth == 6 { FLAT5 } else { 0 }, seventh)
        };
        for c in &CORES {
            let (third, fifth, seventh) = own(c);
            let whole = third | fifth | seventh;
            assert!(c.fits(whole), "{c:?}");
            for needed in [third, fifth, seventh].into_iter().filter(|t| *t != 0) {
                assert!(!c.fits(whole & !needed), "{c:?} without {needed:b}");
            }
            // A third that is none of its own is some other chord's; a suspended one may be anything.
            let other = if third == MAJOR { MINOR } else { MAJOR };
            assert_eq!(c.fits(whole & !third | other), third == 0, "{c:?}");
            // A seventh where none belongs.
            if seventh == 0 {
                for more in [DOUBLE7, FLAT7, SEVENTH, SIXTH] {
                    assert!(!c.fits(whole | more), "{c:?} with {more:b}");
                }
            }
            // A minor third over a lowered fifth is a core of its own; a major one stays what it is.
            if fifth == 0 {
                assert_eq!(c.fits(whole | FLAT5), third != MINOR, "{c:?}");
            }
        }
    }
}
