//! Where wanted notes or a chord lie on the neck: every playable grip, easiest for the hand first.
//!
//! # Method
//! String by string from the low one, each place that sounds something wanted, or silence, is tried, and a branch is left as soon
//! as its frets lie further apart than the hand spans. What remains is fingered; grips that no hand holds fall out. A
//! branch is also left when its cost, of which parts are known beforehand, can no longer reach the list. Both bounds are exact: the
//! list is what trying everything would give.

use crate::finger::{Neck, STRINGS_MAX, search};
use crate::hand::HELD_OFF_MM;
use crate::hand::LEANT_ON_MM;
use crate::{Fingering, Grip, Hand, Instrument, finger};
use pitch::{Midi, PitchClass};
use std::ops::RangeInclusive;

/// What is looked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// Exactly these pitches, each on a string of its own.
    Pitches(Vec<Midi>),
    /// A chord, in any voicing.
    Classes {
        /// The chord's tones, root first. Nothing else may sound (but see `bass`).
        classes: Vec<PitchClass>,
        /// The class of the lowest sounding note; it need not be one of `classes`. `None`: see [`PlaceOptions::inversions`].
        bass: Option<PitchClass>,
        /// Tones that must sound even if `may_omit` names them.
        must: Vec<PitchClass>,
        /// Tones that may be left out; all others of `classes` must sound.
        may_omit: Vec<PitchClass>,
    },
}

/// Where to look and how much to give.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlaceOptions {
    /// Only these strings may sound (1 = highest); `None`: all.
    pub strings: Option<Vec<u8>>,
    /// Fretted notes lie in this range, counted from the capo.
    pub frets: RangeInclusive<u8>,
    /// Whether open strings may sound.
    pub open_strings: bool,
    /// Fewest strings that sound.
    pub notes_min: usize,
    /// Longest list; at most [`RESULTS_MAX`].
    pub max_results: usize,
    /// Whether any chord tone may be the lowest; otherwise the first of `classes` is, unless a bass is wanted.
    pub inversions: bool,
}

/// The longest list that is given.
pub const RESULTS_MAX: usize = 10_000;

impl Default for PlaceOptions {
    /// The whole neck, all strings, the twenty easiest in root position.
    fn default() -> PlaceOptions {
        PlaceOptions { strings: None, frets: 1..=crate::FRETS_MAX, open_strings: true, notes_min: 1, max_results: 20, inversions: false }
    }
}

/// One playable grip.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    pub grip: Grip,
    pub fingering: Fingering,
    /// What the list is ordered by, in millimetres: the fingering's cost, and for a chord [`SILENT_MM`] for each string that could
    /// sound and does not, so that the full grip comes before its fragments.
    pub cost: f64,
    /// Lowest fretted place, 0 where only open strings sound.
    pub position: u8,
    /// The lowest sounding note.
    pub lowest: Midi,
}

/// See [`Place::cost`].
pub const SILENT_MM: f64 = 8.0;

/// All playable grips for `wanted`, easiest first, at most `options.max_results`; of equals the lower on the neck.
///
/// Nothing wanted, or nothing that the instrument has, gives an empty list.
///
/// ```
/// use neck::{place, Hand, Instrument, PlaceOptions, Wanted};
/// use pitch::PitchClass;
/// // common practice: C major in root position begins with the open grip.
/// let c = Wanted::Classes { classes: [0, 4, 7].map(PitchClass).to_vec(), bass: None, must: vec![], may_omit: vec![] };
/// let grips = place(&c, &Instrument::guitar(), &Hand::usual(), &PlaceOptions::default());
/// assert_eq!(grips[0].grip.to_string(), "x 3 2 0 1 0");
/// assert_eq!(grips[0].fingering.to_string(), "- 3 2 - 1 -");
/// ```
pub fn place(wanted: &Wanted, instrument: &Instrument, hand: &Hand, options: &PlaceOptions) -> Vec<Place> {
    let n = instrument.strings();
    if n == 0 || n > STRINGS_MAX || options.max_results == 0 {
        return Vec::new();
    }
    let (pitches, chord) = match wanted {
        Wanted::Pitches(p) if p.is_empty() || p.len() > n => return Vec::new(),
        Wanted::Pitches(p) => {
            let mut p = p.clone();
            p.sort_unstable();
            (p, None)
        }
        Wanted::Classes { classes, bass, must, may_omit } => {
            let allowed = mask(classes) | mask(must);
            if allowed == 0 && bass.is_none() {
                return Vec::new();
            }
            let needed = (mask(classes) & !mask(may_omit)) | mask(must);
            let bass = bass.or(if options.inversions { None } else { classes.first().copied() });
            (Vec::new(), Some(Chord { allowed, needed, bass: bass.map(|b| b.0 % 12) }))
        }
    };
    let usable: Vec<bool> =
        (0..n).map(|i| options.strings.as_ref().is_none_or(|s| s.contains(&((n - i) as u8)))).collect();
    let neck = Neck::new(instrument);
    let mut seek = Seek {
        instrument,
        hand,
        options,
        most: options.max_results.min(RESULTS_MAX),
        usable: &usable,
        pitches: &pitches,
        chord,
        neck: &neck,
        frets: vec![None; n],
        found: Vec::new(),
    };
    seek.string(0, &State { used: 0, sounds: 0, heard: 0, low: u8::MAX, high: 0, bass: None });
    seek.cut();
    seek.found
        .into_iter()
        .filter_map(|(cost, frets)| {
            let grip = Grip { frets };
            let fingering = finger(&grip, instrument, hand).ok()?;
            let position = grip.frets.iter().flatten().copied().filter(|f| *f > 0).min().unwrap_or(0);
            let lowest = grip.midi(instrument).into_iter().flatten().min()?;
            Some(Place { grip, fingering, cost, position, lowest })
        })
        .collect()
}

struct Chord {
    allowed: u16,
    needed: u16,
    bass: Option<u8>,
}

fn mask(classes: &[PitchClass]) -> u16 {
    classes.iter().fold(0, |m, c| m | 1 << (c.0 % 12))
}

struct Seek<'a> {
    instrument: &'a Instrument,
    hand: &'a Hand,
    options: &'a PlaceOptions,
    most: usize,
    usable: &'a [bool],
    pitches: &'a [Midi],
    chord: Option<Chord>,
    neck: &'a Neck,
    frets: Vec<Option<u8>>,
    found: Vec<(f64, Vec<Option<u8>>)>,
}

/// What the strings so far hold.
#[derive(Clone, Copy)]
struct State {
    /// Which of the wanted pitches are placed.
    used: u32,
    sounds: usize,
    /// Classes that sound.
    heard: u16,
    low: u8,
    high: u8,
    /// The lowest sounding note.
    bass: Option<Midi>,
}

impl Seek<'_> {
    fn string(&mut self, i: usize, state: &State) {
        let n = self.frets.len();
        if i == n {
            self.take(state);
            return;
        }
        if self.usable[i] {
            let string = (n - i) as u8;
            if self.chord.is_some() {
                for fret in 0..=self.neck.top {
                    if let Some(m) = self.instrument.sounds(string, fret) {
                        self.put(i, fret, m, None, state);
                    }
                }
            } else {
                for k in 0..self.pitches.len() {
                    // Equal pitches are the same note: the first that is free stands for all.
                    let free = |k: usize| state.used & 1 << k == 0;
                    if !free(k) || (k > 0 && self.pitches[k - 1] == self.pitches[k] && free(k - 1)) {
                        continue;
                    }
                    let wanted = self.pitches[k];
                    let open = self.instrument.sounds(string, 0);
                    let fret = open.and_then(|o| wanted.0.checked_sub(o.0)).filter(|f| *f <= self.neck.top);
                    if let Some(fret) = fret {
                        self.put(i, fret, wanted, Some(k), state);
                    }
                }
            }
        }
        self.frets[i] = None;
        let left = n - i - 1;
        if self.chord.is_some() || state.sounds + left >= self.pitches.len() {
            self.string(i + 1, state);
        }
    }

    fn put(&mut self, i: usize, fret: u8, m: Midi, k: Option<usize>, state: &State) {
        if fret == 0 && !self.options.open_strings || fret > 0 && !self.options.frets.contains(&fret) {
            return;
        }
        let mut next = *state;
        next.sounds += 1;
        if let Some(k) = k {
            next.used |= 1 << k;
        }
        if let Some(chord) = &self.chord {
            let class = 1u16 << (m.0 % 12);
            let is_bass = chord.bass == Some(m.0 % 12);
            if chord.allowed & class == 0 && !is_bass {
                return;
            }
            next.heard |= class;
        }
        if fret > 0 {
            next.low = next.low.min(fret);
            next.high = next.high.max(fret);
            let reach = self.hand.index_little_mm.max(self.hand.thumb_mm.unwrap_or(0.0));
            if self.neck.between(next.low, next.high) > reach {
                return;
            }
        }
        next.bass = Some(next.bass.map_or(m, |b| b.min(m)));
        self.frets[i] = Some(fret);
        self.string(i + 1, &next);
        self.frets[i] = None;
    }

    fn take(&mut self, state: &State) {
        let Some(lowest) = state.bass else { return };
        if state.sounds < self.options.notes_min {
            return;
        }
        let mut known = 0.0;
        match &self.chord {
            None if state.sounds < self.pitches.len() => return,
            None => {}
            Some(chord) => {
                if chord.needed & !state.heard != 0 || chord.bass.is_some_and(|b| b != lowest.0 % 12) {
                    return;
                }
                // A bass beside the chord's own tones is the lowest note and nothing else.
                if let Some(b) = chord.bass.filter(|b| chord.allowed & 1 << *b == 0) {
                    let again = |m: &Midi| m.0 % 12 == b;
                    if (Grip { frets: self.frets.clone() }).midi(self.instrument).iter().flatten().filter(|m| again(m)).count() > 1 {
                        return;
                    }
                }
                known += SILENT_MM * (self.usable.iter().filter(|u| **u).count() - state.sounds) as f64;
            }
        }
        // What the fingering costs at least.
        let bound = known + held_off_mm(&self.frets);
        if self.found.len() >= self.most && bound > self.found[self.most - 1].0 {
            return;
        }
        if let Some(taken) = search(&self.frets, self.neck, Some(self.hand)) {
            self.found.push((known + taken.cost, self.frets.clone()));
            // Sorting now and then keeps the bound tight and the memory small.
            if self.found.len() >= 2 * self.most.max(64) {
                self.cut();
            }
        }
    }

    fn cut(&mut self) {
        let position = |f: &[Option<u8>]| f.iter().flatten().copied().filter(|f| *f > 0).min().unwrap_or(0);
        self.found.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| position(&a.1).cmp(&position(&b.1))).then_with(|| b.1.cmp(&a.1)));
        self.found.truncate(self.most);
    }
}

/// The least that silent strings between sounding ones add.
fn held_off_mm(frets: &[Option<u8>]) -> f64 {
    let sounding = || (0..frets.len()).filter(|i| frets[*i].is_some());
    let Some((low, high)) = sounding().next().zip(sounding().next_back()) else { return 0.0 };
    (low..high).filter(|i| frets[*i].is_none()).count() as f64 * LEANT_ON_MM.min(HELD_OFF_MM)
}
