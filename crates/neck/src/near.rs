//! From one grip to the next: how far its voices and the hand move, the nearest grips to a given one, and inversions along a set of strings.
//!
//! # Method
//! Voices are led in order of pitch with as few semitones as possible in all; where the two grips have different numbers of notes,
//! some notes are led to or from a doubled one (dynamic programming, after D. Tymoczko, "The geometry of musical chords", Science 313, 2006).
//! The hand moves by the distance between the lowest fretted places along the neck (Sayegh 1989: a change is a cost of its own).

use crate::finger::ends;
use crate::{Grip, Hand, Instrument, Place, PlaceOptions, RESULTS_MAX, Wanted, place};

/// What lies between two grips.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Semitones that the voices move in all.
    pub semitones: u32,
    /// How far the hand moves along the neck; 0 to or from a grip of open strings alone.
    pub hand_mm: f64,
    /// Strings that are stopped at the same fret in both, where a finger may stay.
    pub kept: u8,
}

/// What makes a grip near.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum By {
    /// Voices move least; of equals, the hand does.
    Voices,
    /// The hand moves least, easy grips first.
    Hand,
}

/// The change from one grip to another. Silent grips move nothing.
///
/// ```
/// use neck::{change, Grip, Instrument};
/// let (c, am) = (Grip::parse("x 3 2 0 1 0").unwrap(), Grip::parse("x 0 2 2 1 0").unwrap());
/// let change = change(&c, &am, &Instrument::guitar());
/// // C to A and G to A: 3 and 2 semitones; two fingers stay.
/// assert_eq!((change.semitones, change.kept), (5, 2));
/// ```
pub fn change(from: &Grip, to: &Grip, instrument: &Instrument) -> Change {
    let pitches = |g: &Grip| {
        let mut p: Vec<u32> = g.midi(instrument).into_iter().flatten().map(|m| u32::from(m.0)).collect();
        p.sort_unstable();
        p
    };
    let hand_mm = match (ends(&from.frets), ends(&to.frets)) {
        (Some((a, _)), Some((b, _))) => {
            let at = |f: u8| instrument.fret_mm(f.saturating_add(instrument.capo));
            (at(a) - at(b)).abs()
        }
        _ => 0.0,
    };
    let kept = from.frets.iter().zip(&to.frets).filter(|(a, b)| a == b && a.is_some_and(|f| f > 0)).count() as u8;
    Change { semitones: led(&pitches(from), &pitches(to)), hand_mm, kept }
}

/// Fewest semitones from one rising list of pitches to another.
fn led(a: &[u32], b: &[u32]) -> u32 {
    if a.is_empty() || b.is_empty() {
        return 0;
    }
    let mut row: Vec<u32> = Vec::with_capacity(b.len());
    for (i, x) in a.iter().enumerate() {
        let mut next: Vec<u32> = Vec::with_capacity(b.len());
        for (j, y) in b.iter().enumerate() {
            let before = match (i, j) {
                (0, 0) => 0,
                (0, _) => next[j - 1],
                (_, 0) => row[0],
                _ => row[j].min(row[j - 1]).min(next[j - 1]),
            };
            next.push(before + x.abs_diff(*y));
        }
        row = next;
    }
    row[b.len() - 1]
}

/// The grips for `wanted` nearest to `from`, at most `options.max_results`; `from` itself is left out.
///
/// ```
/// use neck::{nearest, By, Grip, Hand, Instrument, PlaceOptions, Wanted};
/// use pitch::PitchClass;
/// // common practice: from C on strings 4 3 2 to F without leaving the place: two voices move up a step, one stays.
/// let f = Wanted::Classes { classes: [5, 9, 0].map(PitchClass).to_vec(), bass: None, must: vec![], may_omit: vec![] };
/// let options = PlaceOptions { strings: Some(vec![4, 3, 2]), notes_min: 3, inversions: true, ..PlaceOptions::default() };
/// let from = Grip::parse("x x 5 5 5 x").unwrap();
/// let near = nearest(&from, By::Voices, &f, &Instrument::guitar(), &Hand::usual(), &options);
/// assert_eq!((near[0].0.grip.to_string().as_str(), near[0].1.semitones), ("x x 7 5 6 x", 3));
/// ```
pub fn nearest(from: &Grip, by: By, wanted: &Wanted, instrument: &Instrument, hand: &Hand, options: &PlaceOptions) -> Vec<(Place, Change)> {
    let all = PlaceOptions { max_results: RESULTS_MAX, ..options.clone() };
    let mut out: Vec<(Place, Change)> = place(wanted, instrument, hand, &all)
        .into_iter()
        .filter(|p| p.grip != *from)
        .map(|p| {
            let c = change(from, &p.grip, instrument);
            (p, c)
        })
        .collect();
    let hard = |x: &(Place, Change)| x.1.hand_mm + x.0.cost;
    match by {
        By::Voices => out.sort_by(|a, b| a.1.semitones.cmp(&b.1.semitones).then(hard(a).total_cmp(&hard(b)))),
        By::Hand => out.sort_by(|a, b| hard(a).total_cmp(&hard(b)).then(a.1.semitones.cmp(&b.1.semitones))),
    }
    out.truncate(options.max_results);
    out
}

/// A chord up the neck on one set of strings, all of which sound: for each lowest note the easiest grip, from low to high. The strings are those of
/// `options`, or all; its `notes_min`, `inversions` and `max_results` are not looked at.
///
/// ```
/// use neck::{along, Hand, Instrument, PlaceOptions, Wanted};
/// use pitch::PitchClass;
/// // common practice: C major on strings 4 3 2, from its lowest inversion up to fret 12.
/// let c = Wanted::Classes { classes: [0, 4, 7].map(PitchClass).to_vec(), bass: None, must: vec![], may_omit: vec![] };
/// let options = PlaceOptions { strings: Some(vec![4, 3, 2]), frets: 1..=12, ..PlaceOptions::default() };
/// let grips: Vec<String> = along(&c, &Instrument::guitar(), &Hand::usual(), &options).iter().map(|p| p.grip.to_string()).collect();
/// assert_eq!(grips, ["x x 2 0 1 x", "x x 5 5 5 x", "x x 10 9 8 x"]);
/// ```
pub fn along(wanted: &Wanted, instrument: &Instrument, hand: &Hand, options: &PlaceOptions) -> Vec<Place> {
    let strings = options.strings.as_ref().map_or(instrument.strings(), |s| {
        let mut s = s.clone();
        s.sort_unstable();
        s.dedup();
        s.len()
    });
    let all = PlaceOptions { max_results: RESULTS_MAX, notes_min: strings, inversions: true, ..options.clone() };
    let mut out: Vec<Place> = Vec::new();
    for p in place(wanted, instrument, hand, &all) {
        // Easiest first: the first of each lowest note stays.
        if out.iter().all(|o| o.lowest != p.lowest) {
            out.push(p);
        }
    }
    out.sort_by_key(|p| p.lowest);
    out
}
