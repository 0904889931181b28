//! How far a record lies from A = 440 Hz, and how that drifts, from the partials of its long windows.
//!
//! # Conventions
//! Cents are above the nearest tempered semitone, -50 to 50, so the semitone itself stays open: a record half a semitone sharp and one half a
//! semitone flat sound alike. The other reading is named wherever it is nearly as near.
//!
//! # Method
//! Deviations of the lowest partials from the tempered notes are angles on a circle of 100 cents (circular statistics: N. Fisher, *Statistical
//! Analysis of Circular Data*, 1993, section 2.3), weighed by the root of their level, by how steady they
//! are, and by whether the neighbouring windows agree. Windows of eight seconds give the drift; with it taken out, each
//! note's deviations are averaged robustly (Tukey's biweight), then the notes among each other with weights that saturate, so that one long or loud
//! string out of tune does not stand for all six.
//!
//! # Confidence
//! How much the deviations agree beyond what as many random ones would, times how many different notes speak: noise, speech and a single tone stay
//! low.

use crate::mono::RATE_HZ;
use crate::partials::{PARTIALS_HOP, Partial};
use std::collections::BTreeMap;
use wave::Seconds;

/// Pitch of the record against A = 440 Hz.
#[derive(Clone, Debug, PartialEq)]
pub struct PitchReference {
    /// The frequency of A4.
    pub hz: f64,
    /// Cents above the nearest reading, -50 to 50.
    pub cents: f64,
    /// 0 to 1; under 0.3 there is little to go by.
    pub confidence: f64,
    /// The same sound read a semitone away, where that is at most 70 cents off.
    pub other_reading_cents: Option<f64>,
    /// The way that it drifts; empty for a sound too short or without pitch. Cents follow on without jumps and so can leave -50 to 50.
    pub over_time: Vec<PitchAt>,
}

/// Pitch near one time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PitchAt {
    pub time: Seconds,
    pub cents: f64,
    pub confidence: f64,
}

/// Long windows that give one point of the drift (8 s), and from point to point (4 s).
const SPAN: usize = 43;
const STEP: usize = 21;
/// Points of the drift weaker than this are left out.
const WEAK: f64 = 0.15;

/// From the partials of each window, [`PARTIALS_HOP`] apart. `None` where there is no partial at all.
pub(crate) fn pitch_reference(windows: &[Vec<Partial>]) -> Option<PitchReference> {
    let windows = &agreeing(windows);
    let whole = Circle::of(windows.iter().flatten());
    if whole.weight == 0.0 {
        return None;
    }
    let mut over_time: Vec<PitchAt> = Vec::new();
    let mut before = whole.mean();
    for start in (0..windows.len()).step_by(STEP) {
        let part = &windows[start..(start + SPAN).min(windows.len())];
        if start > 0 && part.len() < SPAN {
            break;
        }
        let circle = Circle::of(part.iter().flatten());
        let confidence = circle.confidence();
        if confidence < WEAK {
            continue;
        }
        let coarse = before + wrapped(circle.mean() - before);
        let cents = steady_mean(part.iter().flatten(), &|_| coarse).unwrap_or(coarse);
        before = cents;
        let middle = start as f64 + (part.len() - 1) as f64 / 2.0;
        over_time.push(PitchAt { time: window_time(middle), cents, confidence });
    }
    let span = over_time.iter().fold((f64::MAX, f64::MIN), |(l, h), p| (l.min(p.cents), h.max(p.cents)));
    let drifts = span.1 - span.0 > 6.0;
    let centre = if drifts { over_time.iter().map(|p| p.cents).sum::<f64>() / over_time.len() as f64 } else { whole.mean() };
    let curve = |window: usize| {
        if drifts { at_time(&over_time, window_time(window as f64)) } else { centre }
    };
    let numbered = windows.iter().enumerate().flat_map(|(w, partials)| partials.iter().map(move |p| (w, p)));
    let cents = centre + steady_residual(numbered, &curve).unwrap_or(0.0);
    // A drifting record agrees with itself once its drift is known.
    let confidence = if drifts { over_time.iter().map(|p| p.confidence).sum::<f64>() / over_time.len() as f64 } else { whole.confidence() };
    let shift = cents - wrapped(cents);
    over_time.iter_mut().for_each(|p| p.cents -= shift);
    let cents = wrapped(cents);
    let other = cents - 100.0 * cents.signum();
    Some(PitchReference {
        hz: 440.0 * libm::exp2(cents / 1200.0),
        cents,
        confidence,
        other_reading_cents: (other.abs() <= 70.0).then_some(other),
        over_time,
    })
}

/// How many different notes speak in all windows; 0 where none does.
pub(crate) fn notes(windows: &[Vec<Partial>]) -> f64 {
    Circle::of(windows.iter().flatten()).notes()
}

/// Partials that the window before or after does not have at the same place weigh little: they were struck in between.
fn agreeing(windows: &[Vec<Partial>]) -> Vec<Vec<Partial>> {
    let apart = |p: &Partial, w: Option<&Vec<Partial>>| w.into_iter().flatten().map(|q| 100.0 * (p.midi - q.midi).abs()).fold(f64::MAX, f64::min);
    (0..windows.len())
        .map(|w| {
            let (before, after) = (w.checked_sub(1).and_then(|b| windows.get(b)), windows.get(w + 1));
            let weigh = |p: &Partial| {
                let off = apart(p, before).min(apart(p, after)) / AGREE_CENTS;
                Partial { steady: p.steady * (0.2 + libm::exp(-off * off)), ..*p }
            };
            windows[w].iter().map(weigh).collect()
        })
        .collect()
}

/// Neighbouring windows that lie this far apart agree by 1/e.
const AGREE_CENTS: f64 = 1.5;

/// The drift at a time, in a straight line between points and level beyond the first and the last.
pub(crate) fn at_time(points: &[PitchAt], time: Seconds) -> f64 {
    let after = points.partition_point(|p| p.time.0 <= time.0);
    match (after.checked_sub(1).map(|b| points[b]), points.get(after)) {
        (Some(a), Some(b)) => a.cents + (b.cents - a.cents) * (time.0 - a.time.0) / (b.time.0 - a.time.0),
        (Some(p), None) => p.cents,
        (None, Some(p)) => p.cents,
        (None, None) => 0.0,
    }
}

fn window_time(window: f64) -> Seconds {
    Seconds(window * PARTIALS_HOP as f64 / f64::from(RATE_HZ))
}

/// Into -50 to 50 cents.
fn wrapped(cents: f64) -> f64 {
    cents - 100.0 * (cents / 100.0).round()
}

fn deviation(partial: &Partial) -> f64 {
    100.0 * (partial.midi - partial.midi.round())
}

fn weight(partial: &Partial) -> f64 {
    libm::sqrt(partial.level) * partial.steady
}

/// Deviations added up as vectors.
#[derive(Default)]
struct Circle {
    cos: f64,
    sin: f64,
    weight: f64,
    squares: f64,
    notes: BTreeMap<i64, f64>,
}

impl Circle {
    fn of<'a>(partials: impl Iterator<Item = &'a Partial>) -> Circle {
        let mut c = Circle::default();
        for p in partials {
            let (w, angle) = (weight(p), std::f64::consts::TAU * deviation(p) / 100.0);
            c.cos += w * libm::cos(angle);
            c.sin += w * libm::sin(angle);
            c.weight += w;
            c.squares += w * w;
            // Notes by number of windows, so that a loud one counts once.
            *c.notes.entry(p.midi.round() as i64).or_default() += 1.0;
        }
        c
    }

    fn mean(&self) -> f64 {
        100.0 * libm::atan2(self.sin, self.cos) / std::f64::consts::TAU
    }

    /// How many different notes speak: as many as would if all spoke as long.
    fn notes(&self) -> f64 {
        let all: f64 = self.notes.values().sum();
        all * all / self.notes.values().map(|n| n * n).sum::<f64>().max(1e-9)
    }

    fn confidence(&self) -> f64 {
        if self.weight == 0.0 {
            return 0.0;
        }
        let agreement = libm::hypot(self.cos, self.sin) / self.weight;
        // Random angles agree by about 1 / √n; n counts partials as their weights do.
        let chance = libm::sqrt(self.squares) / self.weight;
        let beyond = ((agreement - 2.0 * chance) / (1.0 - 2.0 * chance).max(0.1)).clamp(0.0, 1.0);
        let notes = self.notes();
        beyond * ((notes - 0.8) / (notes + 1.0)).max(0.0)
    }
}

/// Mean of deviations that lie near `near`, note by note.
fn steady_mean<'a>(partials: impl Iterator<Item = &'a Partial>, near: &dyn Fn(usize) -> f64) -> Option<f64> {
    let near_all = near(0);
    steady_residual(partials.map(|p| (0, p)), &|_| near_all).map(|r| near_all + r)
}

/// Mean of deviations less the curve: within each note, then over the notes.
fn steady_residual<'a>(partials: impl Iterator<Item = (usize, &'a Partial)>, curve: &dyn Fn(usize) -> f64) -> Option<f64> {
    let mut notes: BTreeMap<i64, Vec<(f64, f64)>> = BTreeMap::new();
    for (window, p) in partials {
        let residual = wrapped(deviation(p) - curve(window));
        // The note as the curve has it, so that one near the border of two semitones is not split.
        let note = (p.midi - curve(window) / 100.0).round() as i64;
        notes.entry(note).or_default().push((residual, weight(p)));
    }
    let means: Vec<(f64, f64)> = notes.values().filter_map(|n| biweight(n, 8.0)).collect();
    let typical = means.iter().map(|m| m.1).sum::<f64>() / means.len().max(1) as f64;
    let saturated: Vec<(f64, f64)> = means.iter().map(|(m, w)| (*m, w / (w + 0.15 * typical))).collect();
    biweight(&saturated, 8.0).map(|m| m.0)
}

/// Tukey's biweight mean round the weighed median, and the weight it rests on. Values further than 3 times `scale` from it have no say.
fn biweight(values: &[(f64, f64)], scale: f64) -> Option<(f64, f64)> {
    let mut sorted = values.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = sorted.iter().map(|v| v.1).sum::<f64>() / 2.0;
    let mut passed = 0.0;
    let median = sorted.iter().find(|v| {
        passed += v.1;
        passed >= half
    })?;
    let mut mean = median.0;
    let mut total = 0.0;
    for _ in 0..4 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (v, w) in &sorted {
            let u = (v - mean) / (3.0 * scale);
            if u.abs() < 1.0 {
                let w = w * (1.0 - u * u) * (1.0 - u * u);
                sum += w * v;
                weights += w;
            }
        }
        if weights <= 0.0 {
            return None;
        }
        mean = sum / weights;
        total = weights;
    }
    Some((mean, total))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chords(cents: &dyn Fn(usize) -> f64, windows: usize) -> Vec<Vec<Partial>> {
        let grips = [[40, 47, 52, 56, 59, 64], [45, 52, 57, 61, 64, 69], [42, 50, 57, 62, 66, 71]];
        // Strings out of tune by these, which cancel.
        let strings = [3.0, -2.0, 1.0, -4.0, 4.0, -2.0];
        (0..windows)
            .map(|w| {
                let grip = grips[w / 8 % 3];
                (0..6).map(|s| Partial { midi: f64::from(grip[s]) + (cents(w) + strings[s]) / 100.0, level: 0.1 / (s + 1) as f64, steady: 1.0 }).collect()
            })
            .collect()
    }

    #[test]
    fn every_offset_is_found_and_the_other_reading_named() {
        for cents in -50..50 {
            let cents = f64::from(cents);
            let found = pitch_reference(&chords(&|_| cents, 40)).unwrap();
            assert!(wrapped(found.cents - cents).abs() < 0.6, "{cents}: {}", found.cents);
            assert!(found.confidence > 0.6);
            assert_eq!(found.other_reading_cents.is_some(), found.cents.abs() >= 30.0);
            assert!((1200.0 * libm::log2(found.hz / 440.0) - found.cents).abs() < 1e-9);
        }
    }

    #[test]
    fn drift_is_followed_across_the_border_of_a_semitone() {
        let found = pitch_reference(&chords(&|w| 30.0 + w as f64 / 8.0, 320)).unwrap();
        let (first, last) = (found.over_time[0], found.over_time[found.over_time.len() - 1]);
        // Windows lie 0.1858 s apart.
        let rise = 0.125 * (last.time.0 - first.time.0) / 0.185_76;
        assert!((last.cents - first.cents - rise).abs() < 1.0, "{first:?} {last:?}");
        assert!((wrapped(found.cents - 50.0)).abs() < 1.5, "{}", found.cents);
        assert!(found.confidence > 0.5);
        assert!(at_time(&found.over_time, Seconds(-5.0)) == first.cents && at_time(&found.over_time, Seconds(1e9)) == last.cents);
    }

    #[test]
    fn random_pitches_and_one_tone_give_no_confidence() {
        let mut seed = 3u32;
        let mut next = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(seed >> 8) / 16_777_216.0
        };
        let noise: Vec<Vec<Partial>> = (0..100).map(|_| (0..8).map(|_| Partial { midi: 40.0 + 40.0 * next(), level: 0.01, steady: 1.0 }).collect()).collect();
        assert!(pitch_reference(&noise).unwrap().confidence < 0.1);
        let tone = vec![vec![Partial { midi: 69.2, level: 0.1, steady: 1.0 }]; 100];
        let found = pitch_reference(&tone).unwrap();
        assert!((found.cents - 20.0).abs() < 1e-6 && found.confidence < 0.2);
        assert_eq!(pitch_reference(&[Vec::new(), Vec::new()]), None);
    }
}
