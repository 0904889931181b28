//! What is heard of a part: its strokes, and onsets that nobody wrote, each with the odds of every pitch that the instrument has, pooled over all
//! stretches of record in which the passage comes back.

use crate::align::{Alignment, Fine, Seen};
use crate::chances::{Hearings, NOTHING};
use crate::evidence::log_odds;
use crate::features::{Combs, listen};
use crate::score::{Score, ScorePart};
use lesson::Kind;
use crate::spectra::{Panorama, Place, Sound, seat_of};
use std::borrow::Cow;
use std::cell::{OnceCell, RefCell};

/// Notes of one part written within so many seconds are one stroke: strings are struck one after the other.
const STROKE_S: f64 = 0.045;
/// A chance of one in twelve, as `chances` has it.
const MAY_BEGIN: f32 = -0.6;
/// The note network listens so much longer than the passage at both ends.
const LISTEN_S: f64 = 0.5;
/// An onset this near to a written stroke is that stroke's.
const OWN_S: f64 = 0.06;

/// A stretch of record, with where the score lies in it.
pub(crate) struct Stretch {
    pub sound: Sound,
    pub seen: Seen,
    /// For the onsets of each seat, where there is more than one part.
    pub panorama: OnceCell<Option<Panorama>>,
    pub alignment: Alignment,
    pub combs: Combs,
    pub cents: f64,
    /// Seconds of the record at which the sound begins.
    pub from_s: f64,
    /// What the note network heard of it so far; `None` where it is not to listen.
    pub hearings: Option<RefCell<Hearings>>,
}

/// A moment of a part.
#[derive(Clone, Debug)]
pub(crate) struct Moment {
    pub written_s: f64,
    /// Seconds in the first stretch's sound.
    pub heard_s: f64,
    /// Written notes that begin here, as places in the part's list; empty for an onset that nobody wrote.
    pub notes: Vec<usize>,
    /// Other pitches of the part that ring here.
    pub ringing: Vec<i32>,
    /// Log odds of each pitch of the instrument's range.
    pub odds: Vec<f32>,
    /// Of each pitch of the range how likely the note network holds that it began (there, before, after), and how likely that it sounds (soon after, later, before), -2.3 to 2.3;
    /// empty where it did not listen.
    pub chances: Vec<[f32; 6]>,
    /// For each of `notes`, the odds of every pitch were that note not written.
    pub instead: Vec<Vec<f32>>,
    /// Of the onset found there, 1 usual.
    pub strength: f32,
    /// How much of its sound is new.
    pub newness: f32,
    /// Ahead of the grid, seconds; `None` where no onset was found.
    pub ahead_s: Option<f64>,
    /// In how many stretches it was heard.
    pub times: f32,
}

impl Moment {
    pub fn odds_of(&self, low: i32, midi: i32) -> f32 {
        usize::try_from(midi - low).ok().and_then(|n| self.odds.get(n)).copied().unwrap_or(-12.0)
    }

    /// How likely the note network holds that a pitch began (there, before, after) and that it sounds (soon after, later, before); 0 where it did not listen.
    pub fn chances_of(&self, low: i32, midi: i32) -> [f32; 6] {
        if self.chances.is_empty() { [0.0; 6] } else { usize::try_from(midi - low).ok().and_then(|n| self.chances.get(n)).copied().unwrap_or([NOTHING; 6]) }
    }
}

/// Strokes of a part: written time and the notes that belong to it.
pub(crate) fn strokes(part: &ScorePart) -> Vec<(f64, Vec<usize>)> {
    let mut out: Vec<(f64, Vec<usize>)> = Vec::new();
    for (n, note) in part.notes.iter().enumerate() {
        match out.last_mut() {
            Some((at, notes)) if note.at_s - *at <= STROKE_S => notes.push(n),
            _ => out.push((note.at_s, vec![n])),
        }
    }
    out
}

/// The moments of a part, each list in order of written time.
pub(crate) struct Moments {
    /// Its strokes, and onsets that nobody wrote.
    pub own: Vec<Moment>,
    /// Strokes of other parts alone: a note of this one may hide in them. Empty where the note network does not listen.
    pub beneath: Vec<Moment>,
}

/// What is heard of a part, over all stretches.
pub(crate) fn moments(score: &Score, part: usize, stretches: &[Stretch]) -> Moments {
    let own = &score.parts[part];
    let strokes = strokes(own);
    let (low, high) = own.range();
    let ringing = |at: f64, except: &[usize]| -> Vec<i32> {
        let mut out: Vec<i32> = own
            .notes
            .iter()
            .enumerate()
            .filter(|(n, o)| !except.contains(n) && !o.unpitched && o.at_s < at - 0.02 && o.at_s + o.length_s > at + 0.05)
            .map(|(_, o)| o.midi)
            .collect();
        out.sort_unstable();
        out.dedup();
        out
    };
    let (mut moments, mut beneath): (Vec<Moment>, Vec<Moment>) = Default::default();
    for stretch in stretches {
        let align = &stretch.alignment;
        let mut times: Vec<(f64, f64, f32, Vec<usize>)> = strokes
            .iter()
            .map(|(at, notes)| {
                // The first onset among the stroke's notes that was found.
                let found: Vec<&crate::align::Stroke> = notes.iter().filter_map(|n| align.stroke(own.notes[*n].at_s)).collect();
                let first = found.iter().find(|s| s.strength > 0.2).or(found.first());
                let (heard, strength) = first.map_or((align.heard(*at), 0.0), |s| (s.heard_s, s.strength));
                (*at, heard, strength, notes.clone())
            })
            .collect();
        let (first, last) = (align.heard(0.0) - 0.05, align.heard(score.length_s) - 0.02);
        let written: Vec<f64> = times.iter().map(|t| t.1).collect();
        let all: Vec<f64> = align.strokes.iter().map(|s| s.heard_s).collect();
        for (t, strength) in &align.onsets {
            let near = |list: &[f64]| list.iter().any(|w| (w - t).abs() < OWN_S);
            // Other parts' strokes are no onsets of this one's, but a note of this part may hide in them.
            if *t >= first && *t < last && !near(&written) && !near(&all) {
                times.push((align.written(*t), *t, *strength, vec![]));
            }
        }
        times.sort_by(|a, b| a.1.total_cmp(&b.1));
        let begin = |notes: &[usize]| -> Vec<i32> { notes.iter().map(|n| &own.notes[*n]).filter(|n| own.is_pitched() && !n.unpitched).map(|n| n.midi + align.semitones).collect() };
        let seat = seat_of(&stretch.sound, own.seat, &times.iter().map(|t| (t.1, begin(&t.3))).collect::<Vec<_>>(), stretch.cents);
        // Where several parts sound, each part's own onsets are looked for at its seat and its pitches.
        let several = score.parts.len() > 1;
        let fine: Option<Cow<Fine>> = several.then(|| match (seat, stretch.panorama.get_or_init(|| Fine::panorama(&stretch.sound))) {
            (Some(seat), Some(panorama)) => Cow::Owned(Fine::from_seat(&stretch.sound, panorama, seat)),
            _ => Cow::Borrowed(&stretch.seen.fine),
        });
        let own_onset = |heard_s: f64, notes: &[usize]| -> Option<(f64, f32)> {
            let pitches: Vec<i32> = notes.iter().map(|n| &own.notes[*n]).filter(|n| own.is_pitched() && !n.unpitched).map(|n| n.midi + align.semitones).collect();
            fine.as_ref()?.near(heard_s, &pitches, stretch.cents)
        };
        let onsets: Vec<Option<f64>> = times
            .iter()
            .map(|(_, heard_s, strength, notes)| {
                if several && !notes.is_empty() { own_onset(*heard_s, notes).filter(|o| o.1 > 0.3).map(|o| o.0) } else { (*strength > 0.25).then_some(*heard_s) }
            })
            .collect();
        for (t, o) in times.iter_mut().zip(&onsets) {
            t.1 = o.unwrap_or(t.1);
        }
        // An own onset may lie behind the next stroke's.
        for n in 1..times.len() {
            times[n].1 = times[n].1.max(times[n - 1].1);
        }
        let heard_times: Vec<f64> = times.iter().map(|t| t.1).collect();
        let deeper = Combs::deeper(stretch.cents, low);
        let combs = deeper.as_ref().unwrap_or(&stretch.combs);
        let heard = listen(&stretch.sound, Place { seat }, combs, &heard_times, own.is_pitched());
        let chances = stretch.hearings.as_ref().filter(|_| own.kind == Kind::Guitar).and_then(|h| {
            let within = (align.heard(0.0) - LISTEN_S, align.heard(score.length_s) + LISTEN_S);
            h.borrow_mut().listen(&stretch.sound, seat, low - align.semitones.max(0), stretch.cents, within)
        });
        let own_seat = Listened { own, combs, low, high, chances: chances.as_deref() };
        for (((written_s, heard_s, strength, notes), h), onset) in times.into_iter().zip(&heard).zip(onsets) {
            let rings = ringing(written_s, &notes);
            let ahead_s = onset.map(|o| align.heard(written_s) - o);
            pool(&mut moments, own_seat.moment((written_s, heard_s, strength), notes, rings, h, ahead_s));
        }
        if let Some(c) = &chances {
            // Only where the network holds that something may begin.
            let may = |at: f64| {
                let here = c.at(at);
                (low..=high).any(|m| here.begins(m, 0) > MAY_BEGIN)
            };
            let apart = |s: &&crate::align::Stroke| s.strength > 0.25 && !written.iter().any(|w| (w - s.heard_s).abs() < OWN_S) && may(s.heard_s);
            let others: Vec<&crate::align::Stroke> = align.strokes.iter().filter(apart).collect();
            let heard = listen(&stretch.sound, Place { seat }, combs, &others.iter().map(|s| s.heard_s).collect::<Vec<f64>>(), true);
            for (s, h) in others.iter().zip(&heard) {
                pool(&mut beneath, own_seat.moment((s.written_s, s.heard_s, s.strength), vec![], ringing(s.written_s, &[]), h, None));
            }
        }
    }
    // An onset that nobody wrote counts where most of the stretches have it.
    let count = stretches.len() as f32;
    moments.retain(|m| !m.notes.is_empty() || m.times > 0.5 * count);
    moments.sort_by(|a, b| a.written_s.total_cmp(&b.written_s));
    beneath.sort_by(|a, b| a.written_s.total_cmp(&b.written_s));
    Moments { own: moments, beneath }
}

/// A part, and what it is listened for with.
struct Listened<'a> {
    own: &'a ScorePart,
    combs: &'a Combs,
    low: i32,
    high: i32,
    chances: Option<&'a crate::chances::Chances>,
}

impl Listened<'_> {
    /// A moment: written and heard time and the onset's strength, the notes that begin, and what else of the part rings.
    fn moment(&self, (written_s, heard_s, strength): (f64, f64, f32), notes: Vec<usize>, ringing: Vec<i32>, h: &crate::features::Heard, ahead_s: Option<f64>) -> Moment {
        let Listened { own, combs, low, high, chances } = *self;
        let mut others: Vec<i32> = notes.iter().filter(|n| !own.notes[**n].unpitched).map(|n| own.notes[*n].midi).chain(ringing.iter().copied()).collect();
        others.sort_unstable();
        others.dedup();
        let here = chances.map(|c| c.at(heard_s));
        let odds: Vec<f32> = if own.is_pitched() { (low..=high).map(|m| log_odds(combs, h, here.as_ref(), m, &others)).collect() } else { vec![] };
        let chances = here.as_ref().map_or(vec![], |c| (low..=high).map(|m| [c.begins(m, 0), c.begins(m, 1), c.begins(m, 2), c.sounds(m, 0), c.sounds(m, 1), c.sounds(m, 2)]).collect());
        let instead = notes
            .iter()
            .map(|n| {
                let midi = own.notes[*n].midi;
                // Where the note is well heard, nothing stands in for it.
                if !own.is_pitched() || own.notes[*n].unpitched || odds.get((midi - low).max(0) as usize).is_none_or(|o| *o > 1.5) {
                    return vec![];
                }
                let without: Vec<i32> = others.iter().copied().filter(|o| *o != midi).collect();
                (low..=high).map(|m| log_odds(combs, h, here.as_ref(), m, &without)).collect()
            })
            .collect();
        Moment { written_s, heard_s, notes, ringing, odds, chances, instead, strength, newness: h.newness(), ahead_s, times: 1.0 }
    }
}

/// Puts a moment of a further stretch to the same one of those before: means of what was heard.
fn pool(moments: &mut Vec<Moment>, new: Moment) {
    let same = |m: &&mut Moment| if new.notes.is_empty() { m.notes.is_empty() && m.times > 0.0 && (m.written_s - new.written_s).abs() < 0.03 } else { m.notes == new.notes };
    let Some(old) = moments.iter_mut().find(same) else {
        moments.push(new);
        return;
    };
    let n = old.times;
    let mean = |a: f32, b: f32| (a * n + b) / (n + 1.0);
    let means = |a: &mut Vec<f32>, b: Vec<f32>| {
        if a.is_empty() {
            *a = b;
        } else {
            a.iter_mut().zip(b).for_each(|(a, b)| *a = mean(*a, b));
        }
    };
    means(&mut old.odds, new.odds);
    old.chances.iter_mut().zip(new.chances).for_each(|(a, b)| a.iter_mut().zip(b).for_each(|(a, b)| *a = mean(*a, b)));
    for (a, b) in old.instead.iter_mut().zip(new.instead) {
        means(a, b);
    }
    old.strength = mean(old.strength, new.strength);
    old.newness = mean(old.newness, new.newness);
    old.ahead_s = match (old.ahead_s, new.ahead_s) {
        (Some(a), Some(b)) => Some((a * f64::from(n) + b) / f64::from(n + 1.0)),
        (a, b) => a.or(b),
    };
    old.times += 1.0;
}
