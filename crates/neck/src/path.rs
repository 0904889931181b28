//! Which string and fret each note of a part is played at: the cheapest way through the whole part.
//!
//! # Conventions
//! Notes that begin within [`TOGETHER_S`] of each other while the earlier ones still sound are one stroke. Each stroke has a
//! placement (strings and frets) and a hand position (the fret of the index finger).
//!
//! # Method
//! All placements of a stroke that the hand can hold, with all positions that serve them, are the states (Sayegh 1989; that the hand's position is
//! a cost of its own beside the reach between fingers: Radicioni & Lombardo 2005, Heijink & Meulenbroek 2002). A step's cost is made of marks and
//! weights, see `step` and `weights`; `lattice` sums all ways through. The part is gone through twice, the second time with what the first
//! told of its player's habits (see `habit`). Of each stroke the placement is taken that has most notes expected on their right strings.
//!
//! # References
//! S. I. Sayegh, "Fingering for string instruments with the optimum path paradigm", Computer Music Journal 13(3), 1989. D. P. Radicioni,
//! V. Lombardo, "Computational modeling of chord fingering for string instruments", CogSci 2005. H. Heijink, R. G. J. Meulenbroek, "On the
//! complexity of classical guitar playing: functional adaptations to task constraints", Journal of Motor Behavior 34(4), 2002.

use crate::finger::{Neck, STRINGS_MAX};
use crate::habit::habits;
use crate::lattice::Lattice;
use crate::step::Memory;
use crate::stroke::{Stroke, fret_on, strokes};
use crate::weights::{FIRST, SECOND};
use crate::{Hand, Instrument};
use pitch::Midi;
use std::fmt;

/// A note in time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timed {
    pub onset_s: f64,
    pub duration_s: f64,
    pub midi: Midi,
}

/// A note that must lie on a string; the fret follows from its pitch.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Pin {
    /// Index into the notes.
    pub note: usize,
    /// 1 = highest.
    pub string: u8,
}

/// A note that cannot be placed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unplaced {
    /// Index into the notes.
    pub note: usize,
    /// A sentence for the teacher, without a full stop.
    pub why: String,
}

impl fmt::Display for Unplaced {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "note {}: {}", self.note + 1, self.why)
    }
}

impl std::error::Error for Unplaced {}

/// Most notes in one part.
pub const NOTES_MAX: usize = 200_000;

/// Notes of one stroke follow each other within this time (a slow strum's neighbouring strings; tuned with the weights).
pub const TOGETHER_S: f64 = 0.05;

/// How much what is told of strings weighs beside the hand: both are logarithms of likelihoods, so as much.
const LISTEN: f64 = 1.0;
/// No string is told to be less likely than this.
const LEAST: f64 = 1e-3;

/// Placements less likely than this the first time are not weighed the second.
const UNLIKELY: f64 = 1e-5;

/// String (1 = highest) and fret (from the capo) for each note, in the order given; notes need not be sorted. No notes, no places.
///
/// Notes struck together lie on different strings, in a grip that `hand` can hold; where no grip holds them, they are taken one after
/// the other, as a player would have to.
///
/// ```
/// use neck::{path, Hand, Instrument, Timed};
/// use pitch::Midi;
/// // C3 E3 G3 C4 E4 struck together: the open C grip.
/// let notes = [48, 52, 55, 60, 64].map(|m| Timed { onset_s: 0.0, duration_s: 1.0, midi: Midi(m) });
/// let places = path(&notes, &Instrument::guitar(), &Hand::usual(), &[]).unwrap();
/// assert_eq!(places, [(5, 3), (4, 2), (3, 0), (2, 1), (1, 0)]);
/// ```
///
/// # Errors
/// [`Unplaced`]: a time that is no number, a note that the instrument does not have, a pin to a note or string that does not exist or cannot sound
/// the note, two pins at odds, or more than [`NOTES_MAX`] notes.
pub fn path(notes: &[Timed], instrument: &Instrument, hand: &Hand, pins: &[Pin]) -> Result<Vec<(u8, u8)>, Unplaced> {
    path_with(notes, instrument, hand, &PathOptions { pins, ..PathOptions::default() })
}

/// What a path is to keep to.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PathOptions<'a> {
    /// Notes that must lie on a string: one, or a bar of them.
    pub pins: &'a [Pin],
    /// Notes that are slid, hammered or pulled to: each lies on a string of the stroke before.
    pub joined: &'a [usize],
    /// The hand is drawn to this position, the fret of the index finger, as far as the notes allow.
    pub around: Option<u8>,
    /// What else is known of the strings: for each note the likelihood of each string, low to high, such as a sound tells; a note's list may be
    /// empty. Weighed with the hand and the whole part, not obeyed. Numbers that are none count as nothing known.
    pub strings: &'a [Vec<f64>],
}

/// As [`path`], kept to more. A joined note lies on a string of the stroke before; where none has its pitch, or a pin forbids it, it is placed as
/// if it were struck.
///
/// ```
/// use neck::{path_with, Hand, Instrument, PathOptions, Timed};
/// use pitch::Midi;
/// // B3 slid up an octave stays on one string.
/// let notes = [(0.0, 59), (0.5, 71)].map(|(t, m)| Timed { onset_s: t, duration_s: 0.5, midi: Midi(m) });
/// let options = PathOptions { joined: &[1], ..PathOptions::default() };
/// let places = path_with(&notes, &Instrument::guitar(), &Hand::usual(), &options).unwrap();
/// assert_eq!(places[0].0, places[1].0);
/// ```
///
/// # Errors
/// As [`path`], and for a joined note that the part does not have.
pub fn path_with(notes: &[Timed], instrument: &Instrument, hand: &Hand, options: &PathOptions<'_>) -> Result<Vec<(u8, u8)>, Unplaced> {
    let pinned = check(notes, instrument, options.pins)?;
    if let Some(n) = options.joined.iter().find(|n| **n >= notes.len()) {
        return Err(Unplaced { note: *n, why: format!("is joined to the one before, but the part has {} notes", notes.len()) });
    }
    let neck = Neck::new(instrument);
    let mut strokes = strokes(notes, &pinned, instrument, hand, &neck);
    for s in &mut strokes {
        s.joined = s.notes.iter().map(|n| options.joined.contains(n)).collect();
        for l in &mut s.laid {
            l.handicap = s.notes.iter().zip(&l.at).map(|(n, (string, _))| LISTEN * told(options.strings.get(*n), *string)).sum();
        }
        if let Some(around) = options.around {
            for l in s.laid.iter_mut().filter(|l| l.high > 0) {
                let off = around.saturating_sub(l.low).max(l.high.saturating_sub(around.saturating_add(3)));
                l.handicap -= AROUND * f64::from(off);
            }
        }
    }
    let likely = through(&strokes, &FIRST, instrument.strings()).0;
    habits(&mut strokes, &likely);
    // What was out of the question the first time is not weighed again.
    for (stroke, likely) in strokes.iter_mut().zip(&likely) {
        if likely.iter().all(|q| q.is_nan() || *q <= UNLIKELY) {
            continue;
        }
        let mut l = likely.iter();
        stroke.laid.retain(|_| l.next().is_none_or(|q| *q > UNLIKELY));
    }
    let (likely, cheapest) = through(&strokes, &SECOND, instrument.strings());
    // Joined notes need one way through; else each stroke is right as often as it can be.
    let laid = if options.joined.is_empty() { best(&strokes, &likely) } else { cheapest };
    Ok(places(notes.len(), &strokes, &laid, instrument.strings()))
}

/// What the likelihoods of a note's strings say of one of them, as a logarithm below 0; 0 where they say nothing.
fn told(strings: Option<&Vec<f64>>, string: u8) -> f64 {
    let Some(list) = strings.filter(|l| !l.is_empty() && l.iter().all(|p| (0.0..=1e6).contains(p))) else { return 0.0 };
    let total: f64 = list.iter().sum();
    let own = list.get(usize::from(string)).copied().unwrap_or(0.0);
    if total > 0.0 { libm::log((own / total).max(LEAST)) } else { 0.0 }
}

/// Other ways through a part, from low on the neck to high: as [`path_with`] drawn to one position after the other, each way given once, the
/// one that is not drawn anywhere first.
///
/// # Errors
/// As [`path_with`].
pub fn alternatives(notes: &[Timed], instrument: &Instrument, hand: &Hand, options: &PathOptions<'_>) -> Result<Vec<Vec<(u8, u8)>>, Unplaced> {
    let mut out = vec![path_with(notes, instrument, hand, &PathOptions { around: None, ..*options })?];
    for around in [1, 3, 5, 7, 9, 12] {
        let way = path_with(notes, instrument, hand, &PathOptions { around: Some(around), ..*options })?;
        if !out.contains(&way) {
            out.push(way);
        }
    }
    Ok(out)
}

/// What each fret away from the position that is wished for costs.
const AROUND: f64 = 2.0;

/// How likely each placement of each stroke is, and the cheapest way.
fn through(strokes: &[Stroke], weights: &[f64], strings: usize) -> (Vec<Vec<f64>>, Vec<usize>) {
    let lattice = Lattice::new(strokes, weights, strings, None);
    (lattice.likely(&lattice.sums()), lattice.cheapest())
}

/// For each stroke the placement with most notes expected on their right strings.
fn best(strokes: &[Stroke], likely: &[Vec<f64>]) -> Vec<usize> {
    let mut out = Vec::with_capacity(strokes.len());
    for (stroke, likely) in strokes.iter().zip(likely) {
        let mut q = vec![[0.0; STRINGS_MAX]; stroke.notes.len()];
        for (laid, by) in stroke.laid.iter().zip(likely) {
            for (q, (s, _)) in q.iter_mut().zip(&laid.at) {
                q[usize::from(*s)] += by;
            }
        }
        let right = |l: &usize| -> f64 { stroke.laid[*l].at.iter().zip(&q).map(|((s, _), q)| q[usize::from(*s)]).sum() };
        out.push((0..stroke.laid.len()).max_by(|a, b| right(a).total_cmp(&right(b)).then(b.cmp(a))).unwrap_or(0));
    }
    out
}

fn places(notes: usize, strokes: &[Stroke], laid: &[usize], strings: usize) -> Vec<(u8, u8)> {
    let mut places = vec![(0, 0); notes];
    for (stroke, l) in strokes.iter().zip(laid) {
        for (note, (string, fret)) in stroke.notes.iter().zip(&stroke.laid[*l].at) {
            places[*note] = ((strings - usize::from(*string)) as u8, *fret);
        }
    }
    places
}

/// A part made ready for tuning.
#[doc(hidden)]
#[derive(Clone, Default)]
pub struct Studied {
    strokes: Vec<Stroke>,
    /// The same with only the right placements; all of a stroke's where none is right.
    right: Vec<Stroke>,
    /// What the strings hold before each stroke on the right way.
    led: Vec<Memory>,
    notes: usize,
    strings: usize,
    /// Strokes of which no placement is right.
    pub strange: usize,
}

#[doc(hidden)]
impl Studied {
    /// `right`: a string for each note, 1 = highest.
    pub fn new(notes: &[Timed], right: &[u8], instrument: &Instrument, hand: &Hand) -> Result<Studied, Unplaced> {
        let pinned = check(notes, instrument, &[])?;
        let strings = instrument.strings();
        let strokes = strokes(notes, &pinned, instrument, hand, &Neck::new(instrument));
        let mut strange = 0;
        let mut only = strokes.clone();
        for s in &mut only {
            let right = |l: &crate::step::Laid| s.notes.iter().zip(&l.at).all(|(n, a)| strings - usize::from(a.0) == usize::from(right[*n]));
            let laid: Vec<_> = s.laid.iter().filter(|l| right(l)).cloned().collect();
            if laid.is_empty() {
                strange += 1;
            } else {
                s.laid = laid;
            }
        }
        let mut led = Vec::new();
        let mut memory = Memory::EMPTY;
        for s in &only {
            led.push(memory);
            memory.struck(&s.laid[0], &s.pitch_end);
        }
        Ok(Studied { strokes, right: only, led, notes: notes.len(), strings, strange })
    }

    /// Notes.
    pub fn len(&self) -> usize {
        self.notes
    }

    pub fn is_empty(&self) -> bool {
        self.notes == 0
    }

    pub fn strokes(&self) -> usize {
        self.strokes.len()
    }

    /// Takes habits from the likelihoods under first weights.
    pub fn second(&mut self, first: &[f64]) {
        let likely = through(&self.strokes, first, self.strings).0;
        habits(&mut self.strokes, &likely);
        for (a, b) in self.right.iter_mut().zip(&self.strokes) {
            a.habits.clone_from(&b.habits);
            for l in &mut a.laid {
                l.shape = b.laid.iter().find(|m| m.at == l.at).map_or(0.0, |m| m.shape);
            }
        }
    }

    /// Negative log-likelihood of the right places, and its slope by each weight; what the strings hold is taken from the right way.
    pub fn slope(&self, weights: &[f64]) -> (f64, Vec<f64>) {
        let one = |strokes: &[Stroke]| {
            let l = Lattice::new(strokes, weights, self.strings, Some(&self.led));
            let s = l.sums();
            (s.log_sum, l.expected(&s))
        };
        let (all, right) = (one(&self.strokes), one(&self.right));
        (all.0 - right.0, right.1.iter().zip(&all.1).map(|(a, b)| a - b).collect())
    }

    /// How marks of the right places differ from those of the cheapest way when each wrong note is `margin` cheaper than it is; nothing where
    /// that is right.
    pub fn difference(&self, weights: &[f64], margin: f64) -> Vec<f64> {
        let mut strokes = self.strokes.clone();
        for (s, right) in strokes.iter_mut().zip(&self.right) {
            if right.laid.len() == s.laid.len() {
                continue;
            }
            let at = &right.laid[0].at;
            for l in &mut s.laid {
                l.handicap = margin * l.at.iter().zip(at).filter(|(a, b)| a != b).count() as f64;
            }
        }
        let cheapest = Lattice::new(&strokes, weights, self.strings, None).cheapest();
        for (s, l) in strokes.iter_mut().zip(cheapest) {
            s.laid = vec![s.laid[l].clone()];
        }
        let one = |strokes: &[Stroke]| {
            let l = Lattice::new(strokes, weights, self.strings, None);
            l.expected(&l.sums())
        };
        let (got, right) = (one(&strokes), one(&self.right));
        right.iter().zip(&got).map(|(a, b)| a - b).collect()
    }

    /// Places by the cheapest way, and by the most notes expected right.
    pub fn places(&self, weights: &[f64]) -> [Vec<(u8, u8)>; 2] {
        let (likely, cheapest) = through(&self.strokes, weights, self.strings);
        [cheapest, best(&self.strokes, &likely)].map(|l| places(self.notes, &self.strokes, &l, self.strings))
    }
}

/// The pinned string index of each note, after all that can be wrong with notes and pins.
fn check(notes: &[Timed], instrument: &Instrument, pins: &[Pin]) -> Result<Vec<Option<u8>>, Unplaced> {
    let fault = |note: usize, why: String| Err(Unplaced { note, why });
    if notes.len() > NOTES_MAX {
        return fault(NOTES_MAX, format!("a part has {NOTES_MAX} notes at most, and this one has {}", notes.len()));
    }
    let strings = instrument.strings();
    if strings > STRINGS_MAX {
        return fault(0, format!("the instrument has {strings} strings; {STRINGS_MAX} is the most here"));
    }
    let mut pinned = vec![None; notes.len()];
    for (i, n) in notes.iter().enumerate() {
        if !n.onset_s.is_finite() || !n.duration_s.is_finite() || n.duration_s < 0.0 {
            return fault(i, format!("begins at {} s and lasts {} s; both must be numbers, the duration not below 0", n.onset_s, n.duration_s));
        }
        if !(0..strings).any(|s| fret_on(instrument, s, n.midi).is_some()) {
            return fault(i, format!("MIDI pitch {} lies on no string of the instrument within its {} frets", n.midi.0, instrument.top_fret()));
        }
    }
    for pin in pins {
        let Some(slot) = pinned.get_mut(pin.note) else {
            return fault(pin.note, format!("is pinned to string {}, but the part has {} notes", pin.string, notes.len()));
        };
        let Some(s) = strings.checked_sub(usize::from(pin.string)).filter(|_| pin.string > 0) else {
            return fault(pin.note, format!("is pinned to string {}, and the instrument has {strings}", pin.string));
        };
        if fret_on(instrument, s, notes[pin.note].midi).is_none() {
            return fault(pin.note, format!("is pinned to string {}, which does not have MIDI pitch {}", pin.string, notes[pin.note].midi.0));
        }
        if slot.is_some_and(|other| usize::from(other) != s) {
            return fault(pin.note, "is pinned to two different strings".into());
        }
        *slot = Some(s as u8);
    }
    Ok(pinned)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_sound_tells_of_strings_is_weighed() {
        // B3 alone: open, or on the third string's fourth fret.
        let notes = [Timed { onset_s: 0.0, duration_s: 1.0, midi: Midi(59) }];
        let with = |strings: &[Vec<f64>]| path_with(&notes, &Instrument::guitar(), &Hand::usual(), &PathOptions { strings, ..PathOptions::default() }).unwrap()[0];
        assert_eq!(with(&[vec![0.0, 0.0, 0.02, 0.96, 0.02, 0.0]]), (3, 4));
        assert_eq!(with(&[vec![0.0, 0.0, 0.02, 0.02, 0.96, 0.0]]), (2, 0));
        let plain = with(&[]);
        for nothing in [vec![], vec![0.0; 6], vec![f64::NAN; 6], vec![-1.0; 6]] {
            assert_eq!(with(&[nothing]), plain);
        }
    }

    fn note(onset_s: f64, duration_s: f64, midi: u8) -> Timed {
        Timed { onset_s, duration_s, midi: Midi(midi) }
    }

    fn placed(notes: &[Timed], pins: &[Pin]) -> Vec<(u8, u8)> {
        path(notes, &Instrument::guitar(), &Hand::usual(), pins).unwrap()
    }

    #[test]
    fn a_ringing_string_is_not_struck_for_another_note() {
        // The first note could share its string with each of the others, but rings through.
        let notes = [note(0.0, 2.0, 64), note(0.5, 0.5, 66), note(1.0, 0.5, 67)];
        let places = placed(&notes, &[]);
        assert_ne!(places[0].0, places[1].0);
        assert_ne!(places[0].0, places[2].0);
    }

    #[test]
    fn the_hand_stays_where_it_is_put() {
        // common practice: the minor pentatonic from string 6, fret 5, up and down, lies on frets 5 to 8, two notes a string.
        let up = [45, 48, 50, 52, 55, 57, 60, 62, 64, 67, 69, 72];
        let scale: Vec<Timed> = up.iter().chain(up.iter().rev()).enumerate().map(|(i, m)| note(i as f64 * 0.2, 0.2, *m)).collect();
        let places = placed(&scale, &[Pin { note: 0, string: 6 }]);
        assert_eq!(places[0], (6, 5));
        assert!(places.iter().all(|p| (5..=8).contains(&p.1)), "{places:?}");
        // The lowest note may also be the open string 5; then the rest lies lower too.
        let low = placed(&scale, &[Pin { note: 0, string: 5 }]);
        assert_eq!(low[0], (5, 0));
        let mean = |places: &[(u8, u8)]| places.iter().map(|p| f64::from(p.1)).sum::<f64>() / places.len() as f64;
        assert!(mean(&low) < mean(&places), "{low:?}");
    }

    #[test]
    fn other_ways_lie_elsewhere_and_keep_the_pins() {
        let line: Vec<Timed> = [60, 62, 64, 65, 67, 65, 64, 62].iter().enumerate().map(|(i, m)| note(i as f64 * 0.25, 0.25, *m)).collect();
        let ways = alternatives(&line, &Instrument::guitar(), &Hand::usual(), &PathOptions::default()).unwrap();
        assert_eq!(ways[0], placed(&line, &[]));
        let mean = |w: &Vec<(u8, u8)>| w.iter().map(|p| f64::from(p.1)).sum::<f64>() / w.len() as f64;
        let (low, high) = (ways.iter().map(mean).fold(99.0, f64::min), ways.iter().map(mean).fold(0.0, f64::max));
        assert!(low < 3.5 && high > 8.0, "{ways:?}");
        let pins = [Pin { note: 3, string: 3 }];
        let options = PathOptions { pins: &pins, ..PathOptions::default() };
        assert!(alternatives(&line, &Instrument::guitar(), &Hand::usual(), &options).unwrap().iter().all(|w| w[3] == (3, 10)));
    }

    #[test]
    fn joined_notes_stay_on_their_string() {
        // A run in which each second note is hammered, over intervals that would change the string if struck.
        let line: Vec<Timed> = [57, 62, 60, 65, 62, 67].iter().enumerate().map(|(i, m)| note(i as f64 * 0.25, 0.25, *m)).collect();
        let with = |joined: &[usize]| path_with(&line, &Instrument::guitar(), &Hand::usual(), &PathOptions { joined, ..PathOptions::default() }).unwrap();
        let on = |w: &[(u8, u8)]| [1, 3, 5].iter().filter(|k| w[**k].0 == w[**k - 1].0).count();
        assert_eq!(on(&with(&[1, 3, 5])), 3);
        assert!(on(&with(&[])) < 3);
        assert!(path_with(&line, &Instrument::guitar(), &Hand::usual(), &PathOptions { joined: &[6], ..PathOptions::default() }).is_err());
    }

    #[test]
    fn a_grip_is_kept_between_its_strokes() {
        // An E form at fret 5, then its three low and its three high strings; common practice: the hand does not move.
        let mut notes: Vec<Timed> = [45, 52, 57, 61, 64, 69].iter().map(|m| note(0.0, 0.3, *m)).collect();
        notes.extend([45, 52, 57].iter().map(|m| note(0.4, 0.3, *m)));
        notes.extend([61, 64, 69].iter().map(|m| note(0.8, 0.3, *m)));
        let places = placed(&notes, &[]);
        assert_eq!(places[..6], [(6, 5), (5, 7), (4, 7), (3, 6), (2, 5), (1, 5)]);
        assert_eq!(places[6..], places[..6]);
    }

    #[test]
    fn what_cannot_be_held_at_once_is_taken_in_turn() {
        // Seven notes on six strings, and three low semitones that have but one string and two.
        for midi in [vec![40, 47, 52, 56, 59, 64, 68], vec![40, 41, 42]] {
            let notes: Vec<Timed> = midi.iter().map(|m| note(0.0, 1.0, *m)).collect();
            for (n, (string, fret)) in notes.iter().zip(placed(&notes, &[])) {
                assert_eq!(Instrument::guitar().sounds(string, fret), Some(n.midi));
            }
        }
        assert_eq!(placed(&[], &[]), []);
    }

    #[test]
    fn faults_name_the_note() {
        let good = note(0.0, 1.0, 60);
        let pin = |note, string| Pin { note, string };
        for (bad, pins, at, part) in [
            (note(0.0, 1.0, 30), vec![], 1, "MIDI pitch 30 lies on no string"),
            (note(0.0, 1.0, 100), vec![], 1, "within its 22 frets"),
            (note(f64::NAN, 1.0, 60), vec![], 1, "must be numbers"),
            (note(0.0, -1.0, 60), vec![], 1, "not below 0"),
            (good, vec![pin(2, 1)], 2, "the part has 2 notes"),
            (good, vec![pin(0, 7)], 0, "the instrument has 6"),
            (good, vec![pin(0, 0)], 0, "the instrument has 6"),
            (good, vec![pin(1, 1)], 1, "does not have MIDI pitch 60"),
            (good, vec![pin(1, 2), pin(1, 3)], 1, "two different strings"),
        ] {
            let fault = path(&[good, bad], &Instrument::guitar(), &Hand::usual(), &pins).unwrap_err();
            assert_eq!(fault.note, at, "{fault}");
            assert!(fault.to_string().starts_with(&format!("note {}", at + 1)) && fault.why.contains(part), "{fault}");
        }
    }

    #[test]
    fn the_capo_and_the_tuning_count() {
        let capo = Instrument { capo: 3, ..Instrument::guitar() };
        assert_eq!(path(&[note(0.0, 1.0, 43)], &capo, &Hand::usual(), &[]).unwrap(), [(6, 0)]);
        assert!(path(&[note(0.0, 1.0, 42)], &capo, &Hand::usual(), &[]).is_err());
        let drop = Instrument { tuning: crate::Tuning::guitar("drop D", 6).unwrap(), ..Instrument::guitar() };
        // common practice: the power chord in drop D is one finger.
        let chord = [43, 50, 55].map(|m| note(0.0, 1.0, m));
        assert_eq!(path(&chord, &drop, &Hand::usual(), &[]).unwrap(), [(6, 5), (5, 5), (4, 5)]);
    }
}
