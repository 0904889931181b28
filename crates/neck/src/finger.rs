//! Which finger stops which string of a grip, from the hand's reach and cost.
//!
//! # Conventions
//! Arrays over strings run low to high. A finger on several strings at one fret is a barre.
//!
//! # Method
//! Fretted strings are put in order of fret, and at one fret from the low string to the high one. In that order fingers
//! never go down (the index finger lies nearest the nut, and at one fret the lower finger takes the lower string: common
//! practice), so all ways to finger a grip are the rising sequences over four fingers, with or without the thumb on the lowest string.
//! Each is tried against the hand's reach, in millimetres where the grip lies, and against the rules for barres. Of those that pass the cheapest
//! stands, frets counting alike for this choice wherever they lie, so that a shape keeps its fingers along the neck; it
//! changes them only where its first choice is out of reach. The cost that is given is that of the place.
//!
//! # References
//! See [`Hand`](crate::Hand).

use crate::hand::{
    BARRE_ARCHED_MM, BARRE_MM, BARRE_MUTED_MM, BARRE_PASSED_MM, BARRE_STRING_MM, FINGER_MM, FROM_FIRST_MM, HELD_OFF_MM, LEANT_ON_MM,
    LITTLE_MM, REST_MM, SQUEEZE, THUMB_MM,
};
use crate::{Barre, FRETS_MAX, Finger, Grip, Hand, Instrument};
use std::fmt;

/// A grip's fingers.
#[derive(Clone, Debug, PartialEq)]
pub struct Fingering {
    /// Low string to high; `None` for open and silent strings.
    pub fingers: Vec<Option<Finger>>,
    /// Lowest finger first.
    pub barres: Vec<Barre>,
    /// Distance along the neck from the lowest fretted place to the highest.
    pub span_mm: f64,
    /// What it asks of the hand, in millimetres of stretch; 0 for open strings alone.
    pub cost: f64,
}

/// Why a grip cannot be held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unplayable {
    /// A sentence for the teacher, without a full stop.
    pub why: String,
}

impl fmt::Display for Unplayable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.why)
    }
}

impl std::error::Error for Unplayable {}

/// The fingering of `grip` that asks least of `hand`, as chosen in the module's method. Of equals, the one with the lower fingers.
///
/// A grip of open and silent strings alone needs no finger and costs nothing.
///
/// ```
/// use neck::{finger, Grip, Hand, Instrument};
/// // common practice: the F barre grip.
/// let f = finger(&Grip::parse("1 3 3 2 1 1").unwrap(), &Instrument::guitar(), &Hand::usual()).unwrap();
/// assert_eq!(f.to_string(), "1 3 4 2 1 1");
/// assert_eq!((f.barres[0].fret, f.barres[0].from_string, f.barres[0].to_string), (1, 6, 1));
/// ```
///
/// # Errors
/// [`Unplayable`]: the grip does not fit the instrument, or no four fingers and thumb can hold it.
pub fn finger(grip: &Grip, instrument: &Instrument, hand: &Hand) -> Result<Fingering, Unplayable> {
    fits(grip, instrument)?;
    let neck = Neck::new(instrument);
    match search(&grip.frets, &neck, Some(hand)) {
        Some(found) => Ok(found.fingering(&grip.frets, &neck)),
        None => Err(Unplayable { why: why_not(grip, &neck, hand) }),
    }
}

/// The fingering that a teacher wrote: `fingers` over the fretted sounding strings, low to high, one finger given on several strings
/// being a barre. Reach is not judged, and fingers may cross where a teacher wants it so.
///
/// ```
/// use neck::{fingers_given, Finger, Grip, Instrument};
/// let grip = Grip::parse("x x 6 7 6 x").unwrap();
/// let f = fingers_given(&grip, &[Finger::Index, Finger::Middle, Finger::Index], &Instrument::guitar()).unwrap();
/// assert_eq!(f.to_string(), "- - 1 2 1 -");
/// assert_eq!(f.barres.len(), 1);
/// ```
///
/// # Errors
/// A sentence: too few or too many fingers, one finger at two frets, a barre over an open or lower string, the thumb elsewhere than on the
/// lowest string, or a place that the instrument does not have.
pub fn fingers_given(grip: &Grip, fingers: &[Finger], instrument: &Instrument) -> Result<Fingering, String> {
    fits(grip, instrument).map_err(|u| u.why)?;
    let n = grip.frets.len();
    let fretted: Vec<usize> = (0..n).filter(|i| grip.frets[*i].is_some_and(|f| f > 0)).collect();
    if fretted.len() != fingers.len() {
        return Err(format!(
            "{} {} given, but the grip {grip} has {} fretted string{}; give one for each, low string to high, and none for open strings",
            fingers.len(),
            if fingers.len() == 1 { "finger is" } else { "fingers are" },
            fretted.len(),
            if fretted.len() == 1 { "" } else { "s" }
        ));
    }
    let mut taken = Taken::default();
    for (i, finger) in fretted.iter().zip(fingers) {
        taken.finger[*i] = Some(*finger);
    }
    for f in ALL {
        let held: Vec<usize> = fretted.iter().copied().filter(|i| taken.finger[*i] == Some(f)).collect();
        let Some((&low, &high)) = held.first().zip(held.last()) else { continue };
        let fret = grip.frets[low].unwrap_or(0);
        if let Some(other) = held.iter().find(|i| grip.frets[**i] != Some(fret)) {
            return Err(format!(
                "finger {} is given at fret {fret} and at fret {}; one finger stops one fret",
                f.to_char(),
                grip.frets[*other].unwrap_or(0)
            ));
        }
        if f == Finger::Thumb && (low, high) != (0, 0) {
            return Err(format!("the thumb (T) reaches string {n} only, not string {}", n - high));
        }
        if let Some(under) = (low..=high).find(|i| grip.frets[*i].is_some_and(|g| g < fret)) {
            let g = grip.frets[under].unwrap_or(0);
            let is = if g == 0 { "is open".to_string() } else { format!("is at fret {g}") };
            return Err(format!("finger {} lies across string {} at fret {fret}, but that string {is}", f.to_char(), n - under));
        }
    }
    let neck = Neck::new(instrument);
    taken.cost = cost(&taken, &grip.frets, |a, b| neck.between(a, b));
    Ok(taken.fingering(&grip.frets, &neck))
}

impl fmt::Display for Fingering {
    /// A figure a string, low to high, `-` where there is no finger: `1 3 4 2 1 1`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, finger) in self.fingers.iter().enumerate() {
            if i > 0 {
                f.write_str(" ")?;
            }
            write!(f, "{}", finger.map_or('-', Finger::to_char))?;
        }
        Ok(())
    }
}

const ALL: [Finger; 5] = [Finger::Index, Finger::Middle, Finger::Ring, Finger::Little, Finger::Thumb];

/// More strings than any instrument that is meant here has.
pub(crate) const STRINGS_MAX: usize = 12;

/// Where each fret lies, in millimetres from the nut, frets counted from the capo.
pub(crate) struct Neck {
    at_mm: [f64; FRETS_MAX as usize + 1],
    pub(crate) top: u8,
}

impl Neck {
    pub(crate) fn new(instrument: &Instrument) -> Neck {
        let mut at_mm = [0.0; FRETS_MAX as usize + 1];
        for (f, at) in at_mm.iter_mut().enumerate() {
            *at = instrument.fret_mm((f as u8).saturating_add(instrument.capo));
        }
        Neck { at_mm, top: instrument.top_fret().min(FRETS_MAX) }
    }

    /// Millimetres from the lower of two frets to the higher.
    pub(crate) fn between(&self, a: u8, b: u8) -> f64 {
        let at = |f: u8| self.at_mm[usize::from(f.min(FRETS_MAX))];
        (at(b) - at(a)).abs()
    }
}

/// Fingers on the strings, low to high, and what that costs.
#[derive(Clone, Copy, Default)]
pub(crate) struct Taken {
    finger: [Option<Finger>; STRINGS_MAX],
    pub(crate) cost: f64,
}

impl Taken {
    fn fingering(&self, frets: &[Option<u8>], neck: &Neck) -> Fingering {
        let n = frets.len();
        let mut barres = Vec::new();
        for f in ALL {
            let held: Vec<usize> = (0..n).filter(|i| self.finger[*i] == Some(f)).collect();
            if let [low, .., high] = held[..] {
                let fret = frets[low].unwrap_or(0);
                barres.push(Barre { finger: f, fret, from_string: (n - low) as u8, to_string: (n - high) as u8 });
            }
        }
        let span_mm = ends(frets).map_or(0.0, |(a, b)| neck.between(a, b));
        Fingering { fingers: self.finger[..n].to_vec(), barres, span_mm, cost: self.cost }
    }
}

/// Lowest and highest fretted place.
pub(crate) fn ends(frets: &[Option<u8>]) -> Option<(u8, u8)> {
    let fretted = || frets.iter().flatten().copied().filter(|f| *f > 0);
    fretted().min().zip(fretted().max())
}

fn fits(grip: &Grip, instrument: &Instrument) -> Result<(), Unplayable> {
    let (n, has) = (grip.frets.len(), instrument.strings());
    if n != has || n > STRINGS_MAX {
        return Err(Unplayable { why: format!("the grip {grip} is written for {n} strings, and the instrument has {has}") });
    }
    let top = instrument.top_fret();
    if let Some((s, f)) = grip.sounding().find(|(_, f)| *f > top.min(FRETS_MAX)) {
        return Err(Unplayable { why: format!("fret {f} on string {s} is past the neck, whose last fret is {top} counted from the nut or capo") });
    }
    Ok(())
}

/// The cheapest fingering; with no hand, whatever the reach, but without the thumb.
pub(crate) fn search(frets: &[Option<u8>], neck: &Neck, hand: Option<&Hand>) -> Option<Taken> {
    // Fretted strings by fret, then from the low string to the high one.
    let mut order = [0usize; STRINGS_MAX];
    let mut m = 0;
    for (i, f) in frets.iter().enumerate() {
        if f.is_some_and(|f| f > 0) {
            order[m] = i;
            m += 1;
        }
    }
    order[..m].sort_by_key(|i| (frets[*i], *i));
    let mut best: Option<Taken> = None;
    let mut seek = Seek { frets, neck, hand, taken: Taken::default(), best: &mut best };
    seek.from(&order[..m], 0);
    let thumb = hand.is_some_and(|h| h.thumb_mm.is_some()) && frets.first().copied().flatten().is_some_and(|f| f > 0);
    if thumb {
        let rest: Vec<usize> = order[..m].iter().copied().filter(|i| *i != 0).collect();
        seek.taken = Taken::default();
        seek.taken.finger[0] = Some(Finger::Thumb);
        seek.from(&rest, 0);
    }
    if let Some(best) = &mut best {
        best.cost = cost(best, frets, |a, b| neck.between(a, b));
    }
    best
}

struct Seek<'a> {
    frets: &'a [Option<u8>],
    neck: &'a Neck,
    hand: Option<&'a Hand>,
    taken: Taken,
    best: &'a mut Option<Taken>,
}

impl Seek<'_> {
    /// Gives a finger to each string of `order` from place `k` on.
    fn from(&mut self, order: &[usize], k: usize) {
        if k == order.len() {
            if self.within_reach() {
                let total = cost(&self.taken, self.frets, |a, b| f64::from(a.abs_diff(b)) * REST_MM);
                if self.best.as_ref().is_none_or(|b| total < b.cost - 1e-9) {
                    self.taken.cost = total;
                    *self.best = Some(self.taken);
                }
            }
            return;
        }
        let here = order[k];
        let mut first = 0;
        if let Some(before) = k.checked_sub(1).map(|j| order[j]) {
            let last = self.taken.finger[before].map_or(0, |f| f as usize);
            first = last + 1;
            // The same finger again, where it can lie flat over what is between.
            let fret = self.frets[here];
            let flat = self.frets[before] == fret && self.frets[before..here].iter().all(|f| f.is_none() || *f >= fret);
            if flat {
                first = last;
            }
        }
        for f in ALL.iter().take(4).skip(first) {
            self.taken.finger[here] = Some(*f);
            self.from(order, k + 1);
        }
        self.taken.finger[here] = None;
    }

    fn within_reach(&self) -> bool {
        let Some(hand) = self.hand else { return true };
        let at = frets_by_finger(&self.taken, self.frets);
        for a in 0..5 {
            for b in a + 1..5 {
                if let (Some(x), Some(y)) = (at[a], at[b])
                    && self.neck.between(x, y) > hand.reach_mm(ALL[a], ALL[b])
                {
                    return false;
                }
            }
        }
        true
    }
}

fn frets_by_finger(taken: &Taken, frets: &[Option<u8>]) -> [Option<u8>; 5] {
    let mut at = [None; 5];
    for (i, f) in frets.iter().enumerate() {
        if let Some(finger) = taken.finger[i] {
            at[finger as usize] = *f;
        }
    }
    at
}

/// What a fingering asks of the hand (see the weights in `hand`).
fn cost(taken: &Taken, frets: &[Option<u8>], between_mm: impl Fn(u8, u8) -> f64) -> f64 {
    let at = frets_by_finger(taken, frets);
    let mut mm = 0.0;
    let mut before: Option<(usize, u8)> = None;
    for (f, fret) in at.iter().enumerate() {
        let Some(fret) = *fret else { continue };
        mm += FINGER_MM;
        match f {
            3 => mm += LITTLE_MM,
            4 => {
                mm += THUMB_MM;
                continue;
            }
            _ => {}
        }
        if let Some((g, low)) = before {
            // Crossed fingers (only a teacher's own) count by the distance they lie apart.
            let rest = (f - g) as f64 * REST_MM;
            let apart = between_mm(low, fret);
            mm += if apart > rest { apart - rest } else { (rest - apart) * SQUEEZE };
        }
        before = Some((f, fret));
    }
    for f in 0..4 {
        mm += barre_mm(taken, frets, f);
    }
    let sounding = || frets.iter().enumerate().filter(|(_, f)| f.is_some()).map(|(i, _)| i);
    if let Some((low, high)) = sounding().next().zip(sounding().next_back()) {
        for i in low..high {
            if frets[i].is_none() {
                mm += if i > 0 && taken.finger[i - 1].is_some() { LEANT_ON_MM } else { HELD_OFF_MM };
            }
        }
    }
    if frets.contains(&Some(0)) {
        let first = (0..4).find_map(|f| Some((f as f64, f64::from(at[f]?))));
        if let Some((f, fret)) = first {
            mm += FROM_FIRST_MM * (fret - f - 1.0).abs();
        }
    }
    mm
}

fn barre_mm(taken: &Taken, frets: &[Option<u8>], f: usize) -> f64 {
    let held = || (0..frets.len()).filter(|i| taken.finger[*i] == Some(ALL[f]));
    let (Some(low), Some(high)) = (held().next(), held().next_back()) else { return 0.0 };
    if low == high {
        return 0.0;
    }
    let fret = frets[low];
    let mut mm = BARRE_MM[f] + BARRE_STRING_MM * (high - low - 1) as f64;
    for g in &frets[low..=high] {
        if g.is_none() {
            mm += BARRE_MUTED_MM;
        } else if *g != fret {
            mm += BARRE_PASSED_MM[f];
        }
    }
    if frets[high + 1..].iter().any(|g| g.is_some() && *g < fret) {
        mm += BARRE_ARCHED_MM[f];
    }
    mm
}

/// Says in plain words what keeps the hand from holding `grip`.
fn why_not(grip: &Grip, neck: &Neck, hand: &Hand) -> String {
    let frets = &grip.frets;
    let n = frets.len();
    let Some((low, high)) = ends(frets) else { return "no string is fretted".into() };
    let apart = neck.between(low, high);
    if apart > hand.index_little_mm {
        return format!(
            "frets {low} to {high} are {apart:.0} mm apart; the {} hand spans {:.0} mm from index to little finger",
            hand.name, hand.index_little_mm
        );
    }
    let mut places: Vec<u8> = frets.iter().flatten().copied().filter(|f| *f > 0).collect();
    places.sort_unstable();
    places.dedup();
    if places.len() > 4 {
        return format!("it stops {} different frets, and there are four fingers", places.len());
    }
    if let Some(free) = search(frets, neck, None) {
        let at = frets_by_finger(&free, frets);
        for a in 0..5 {
            for b in a + 1..5 {
                if let (Some(x), Some(y)) = (at[a], at[b]) {
                    let (apart, reach) = (neck.between(x, y), hand.reach_mm(ALL[a], ALL[b]));
                    if apart > reach {
                        return format!(
                            "finger {} at fret {x} and finger {} at fret {y} would be {apart:.0} mm apart; the {} hand reaches {reach:.0} mm there",
                            ALL[a].to_char(),
                            ALL[b].to_char(),
                            hand.name
                        );
                    }
                }
            }
        }
    }
    // Too many places for four fingers: say what keeps a barre from helping.
    let count = frets.iter().flatten().filter(|f| **f > 0).count();
    for i in 0..n {
        for j in i + 2..n {
            let fret = frets[i];
            if fret.is_some_and(|f| f > 0)
                && frets[j] == fret
                && let Some(k) = (i + 1..j).find(|k| frets[*k].is_some_and(|g| Some(g) < fret))
            {
                let is = if frets[k] == Some(0) { "open".to_string() } else { format!("at fret {}", frets[k].unwrap_or(0)) };
                return format!(
                    "it stops {count} strings with four fingers, and no barre at fret {} can help, because string {} between is {is}",
                    fret.unwrap_or(0),
                    n - k
                );
            }
        }
    }
    format!("it stops {count} strings, more than four fingers and a barre can hold")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fingered(frets: &str) -> Result<Fingering, Unplayable> {
        finger(&Grip::parse(frets).unwrap(), &Instrument::guitar(), &Hand::usual())
    }

    /// common practice: fingerings as method books print them; where books differ, the one most of them give (from memory).
    const TEXTBOOK: &[(&str, &str, &str)] = &[
        ("E", "0 2 2 1 0 0", "- 2 3 1 - -"),
        ("A", "x 0 2 2 2 0", "- - 1 2 3 -"),
        ("D", "x x 0 2 3 2", "- - - 1 3 2"),
        ("C", "x 3 2 0 1 0", "- 3 2 - 1 -"),
        ("G", "3 2 0 0 0 3", "2 1 - - - 3"),
        ("Am", "x 0 2 2 1 0", "- - 2 3 1 -"),
        ("Em", "0 2 2 0 0 0", "- 2 3 - - -"),
        ("Dm", "x x 0 2 3 1", "- - - 2 3 1"),
        ("E7", "0 2 0 1 0 0", "- 2 - 1 - -"),
        ("A7", "x 0 2 0 2 0", "- - 2 - 3 -"),
        ("D7", "x x 0 2 1 2", "- - - 2 1 3"),
        ("C7", "x 3 2 3 1 0", "- 3 2 4 1 -"),
        ("G7", "3 2 0 0 0 1", "3 2 - - - 1"),
        ("B7", "x 2 1 2 0 2", "- 2 1 3 - 4"),
        ("Am7", "x 0 2 0 1 0", "- - 2 - 1 -"),
        ("Em7", "0 2 0 0 0 0", "- 2 - - - -"),
        ("Cmaj7", "x 3 2 0 0 0", "- 3 2 - - -"),
        ("Fmaj7", "x x 3 2 1 0", "- - 3 2 1 -"),
        ("Asus4", "x 0 2 2 3 0", "- - 1 2 3 -"),
        ("small F", "x x 3 2 1 1", "- - 3 2 1 1"),
        ("F barre", "1 3 3 2 1 1", "1 3 4 2 1 1"),
        ("Fm barre", "1 3 3 1 1 1", "1 3 4 1 1 1"),
        ("F7 barre", "1 3 1 2 1 1", "1 3 1 2 1 1"),
        ("A barre, E form", "5 7 7 6 5 5", "1 3 4 2 1 1"),
        ("Bm barre", "x 2 4 4 3 2", "- 1 3 4 2 1"),
        ("B7 barre", "x 2 4 2 4 2", "- 1 3 1 4 1"),
        ("Bm7 barre", "x 2 4 2 3 2", "- 1 3 1 2 1"),
        ("D, A form, inner strings", "x 5 7 7 7 x", "- 1 3 3 3 -"),
        ("power chord, string 6", "3 5 5 x x x", "1 3 4 - - -"),
        ("power chord, string 5", "x 5 7 7 x x", "- 1 3 4 - -"),
        ("fifth alone", "3 5 x x x x", "1 3 - - - -"),
        ("power chord in drop D", "5 5 5 x x x", "1 1 1 - - -"),
        ("fourth", "x x 5 5 x x", "- - 1 1 - -"),
        ("ninth, string 5", "x 3 2 3 3 3", "- 2 1 3 3 3"),
        ("thirteenth, string 6", "3 x 3 4 5 x", "1 - 2 3 4 -"),
        ("thirteenth with ninth", "3 x 3 4 5 5", "1 - 2 3 4 4"),
        ("minor seventh, string 6", "5 x 5 5 5 x", "2 - 3 3 3 -"),
        ("major seventh, string 6", "3 x 4 4 3 x", "1 - 3 4 2 -"),
        ("major seventh, string 5", "x 3 5 4 5 x", "- 1 3 2 4 -"),
        ("half-diminished, string 5", "x 3 4 3 4 x", "- 1 3 2 4 -"),
        ("diminished seventh", "x 3 4 2 4 x", "- 2 3 1 4 -"),
        ("sixth, string 6", "3 x 2 4 3 x", "2 - 1 4 3 -"),
        ("top-string minor triad", "x x x 5 5 5", "- - - 1 1 1"),
        ("top-string triad, E form", "x x x 4 3 3", "- - - 2 1 1"),
        ("top-string triad, A form", "x x x 9 8 7", "- - - 3 2 1"),
        ("top-string triad, D form", "x x x 7 8 7", "- - - 1 3 2"),
        ("triad on strings 4 3 2", "x x 8 8 8 x", "- - 1 1 1 -"),
    ];

    #[test]
    fn textbook_fingerings_come_first() {
        let wrong: Vec<String> = TEXTBOOK
            .iter()
            .filter_map(|(name, frets, fingers)| {
                let got = fingered(frets).map_or_else(|u| u.why, |f| format!("{f} ({:.1})", f.cost));
                let given = Grip::parse(frets).unwrap();
                let list: Vec<Finger> = fingers.split(' ').filter_map(Finger::parse).collect();
                let want = fingers_given(&given, &list, &Instrument::guitar()).map_or_else(|e| e, |f| format!("{f} ({:.1})", f.cost));
                (got != want).then(|| format!("{name} {frets}: {got}, not {want}"))
            })
            .collect();
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }

    #[test]
    fn what_cannot_be_held_says_why() {
        for (frets, part) in [
            ("3 x x x x 11", "frets 3 to 11 are 202 mm apart; the usual hand spans 122 mm"),
            ("8 9 10 11 12 x", "5 different frets"),
            ("x x 1 5 0 x", "frets 1 to 5 are 126 mm apart"),
            ("4 0 3 4 2 4", "string 5 between is open"),
            ("x x x x x 23", "past the neck"),
            ("1 1 1", "written for 3 strings"),
        ] {
            let why = fingered(frets).expect_err(frets).why;
            assert!(why.contains(part), "{frets}: {why}");
        }
        // Ring and little finger cannot part by two low frets.
        let why = fingered("x 1 2 3 5 x").unwrap_err().why;
        assert!(why.contains("mm apart"), "{why}");
        for free in ["x x x x x x", "0 0 0 0 0 0"] {
            let f = fingered(free).unwrap();
            assert!(f.fingers.iter().all(Option::is_none) && f.cost == 0.0 && f.span_mm == 0.0);
        }
    }

    #[test]
    fn given_fingers_are_taken_or_refused() {
        let guitar = Instrument::guitar();
        let give = |frets: &str, fingers: &str| {
            let list: Vec<Finger> = fingers.split(' ').filter_map(Finger::parse).collect();
            fingers_given(&Grip::parse(frets).unwrap(), &list, &guitar)
        };
        // common practice: the other fingering of A crosses fingers; a teacher may want it.
        assert_eq!(give("x 0 2 2 2 0", "2 1 3").unwrap().to_string(), "- - 2 1 3 -");
        let thumb = give("1 3 3 2 1 1", "T 3 4 2 1 1").unwrap();
        assert_eq!(thumb.barres, [Barre { finger: Finger::Index, fret: 1, from_string: 2, to_string: 1 }]);
        for (frets, fingers, part) in [
            ("x 0 2 2 2 0", "1 2", "2 fingers are given"),
            ("x 0 2 2 1 0", "1 1 1", "at fret 2 and at fret 1"),
            ("x 2 0 2 x x", "1 1", "string 4 at fret 2, but that string is open"),
            ("x 3 2 3 x x", "1 2 1", "that string is at fret 2"),
            ("x 3 2 x x x", "T 1", "the thumb (T) reaches string 6 only"),
        ] {
            let why = give(frets, fingers).expect_err(frets);
            assert!(why.contains(part), "{frets}: {why}");
        }
    }
}
