//! Key and mode, from how long and how strongly each pitch class sounds, in all, in the bass, at the beginning and at the end.
//!
//! # Method
//! A sum of weights over the tonic for major and minor, as correlation with profiles of keys is (C. Krumhansl and E. Kessler, Psychological Review
//! 89(4), 1982), the weights learned from notes as played, beginning from those profiles and held near them (`training/chords/key.py`). What the chords
//! say counts beside ([`degrees`](crate::degrees)), the more the clearer they are. Dorian is minor whose sixth is heard raised,
//! mixolydian major whose seventh is heard lowered. Stretches of sixteen seconds are followed by the best way through all keys, in which a change costs.
//!
//! # Confidence
//! The odds of the key against the best one on other notes (a key and its modes and relatives share theirs), less where it hardly fits at all.

use crate::degrees::{self, Step};
use crate::hearing::{KeyAt, KeyHeard};
use pitch::{Key, Letter, Mode, PitchClass, Spelling};
use wave::Seconds;

/// For major and minor: weights of the classes over the tonic in all, in the bass, in the last seconds, in the first.
#[rustfmt::skip]
const WEIGHTS: [[[f64; 12]; 4]; 2] = [
    [
        [4.55, -1.93, -0.21, -1.48, 1.74, 0.48, -1.43, 2.59, -1.83, -0.17, -2.32, -0.25],
        [0.23, 0.00, 0.05, -0.24, -0.12, -0.04, -0.07, 0.10, -0.12, 0.08, -0.63, -0.05],
        [0.65, -0.17, 0.15, 0.14, 0.11, 0.00, -0.05, 0.34, -0.01, -0.45, -0.43, 0.35],
        [0.84, 0.03, 0.19, 0.19, 0.67, -0.60, 0.08, 0.19, -0.26, -0.97, -0.57, 0.38],
    ],
    [
        [4.08, -1.94, -0.03, 2.75, -1.95, -0.10, -1.78, 1.81, 0.59, -1.73, -0.62, -0.81],
        [0.37, -0.28, 0.44, 0.40, -0.15, -0.22, -0.09, 0.17, -0.13, 0.07, 0.11, 0.10],
        [1.07, -0.18, -0.14, -0.04, -0.19, -0.60, 0.03, 0.80, -0.57, -0.36, -0.38, -0.07],
        [-0.04, -0.37, 0.01, -0.26, -0.27, 1.14, -0.08, -0.39, 0.40, -0.09, -0.15, -0.05],
    ],
];
/// Seconds at either end that speak for themselves.
const ENDS_S: f64 = 2.5;
const MODES: [Mode; 4] = [Mode::Major, Mode::Minor, Mode::Dorian, Mode::Mixolydian];
/// A sixth or seventh is that of the other mode where it sounds this much more than its neighbour.
const RATHER: f64 = 1.3;
/// What chords count beside the notes, whose weights are worth some units, if they are beyond doubt; by the square of how clear they are. It comes to some
/// eight for strummed grips, to three for a melody.
const CHORDS_WORTH: f64 = 24.0;
/// What a change of key costs, in the unit of the weights of a full stretch (`checks/hear/pieces.py`).
const CHANGE: f64 = 4.0;
const STRETCH_S: f64 = 16.0;
/// Other keys that are named.
const ALSO: usize = 3;

/// Pitch classes over one stretch of time.
pub(crate) struct Sounding {
    pub start: Seconds,
    pub end: Seconds,
    /// Strength of each class, C first.
    pub classes: [f64; 12],
    /// The same of low notes alone.
    pub bass: [f64; 12],
}

/// Fit of the 24 keys, `mode * 12 + tonic`, each part made 1 long; `None` where nothing sounds.
fn fits(parts: &[[f64; 12]; 4]) -> Option<Vec<f64>> {
    let unit = |v: &[f64; 12]| {
        let norm = libm::sqrt(v.iter().map(|x| x * x).sum::<f64>());
        if norm > 1e-9 { v.map(|x| x / norm) } else { [0.0; 12] }
    };
    let parts = parts.map(|p| unit(&p));
    if parts[0] == [0.0; 12] {
        return None;
    }
    let mut out = Vec::with_capacity(24);
    for weights in &WEIGHTS {
        for tonic in 0..12 {
            out.push(weights.iter().zip(&parts).map(|(w, p)| (0..12).map(|c| w[c] * p[(c + tonic) % 12]).sum::<f64>()).sum());
        }
    }
    Some(out)
}

/// The number of a key among all modes, `mode * 12 + tonic`: major and minor with their sixth and seventh heard out.
fn with_mode(k: usize, classes: &[f64; 12]) -> usize {
    let (minor, tonic) = (k >= 12, k % 12);
    let over = |c: usize| classes[(tonic + c) % 12];
    match minor {
        true if over(9) > RATHER * over(8) => 24 + tonic,
        false if over(10) > RATHER * over(11) => 36 + tonic,
        _ => k,
    }
}

/// From what sounds and from the chords, both in the order of time. `None` where nothing sounds.
pub(crate) fn key(sounding: &[Sounding], steps: &[Step]) -> Option<KeyHeard> {
    let (first, last) = (sounding.first()?.start.0, sounding.last()?.end.0);
    let mut all = [[0.0; 12]; 4];
    // Classes and bass of each stretch.
    let mut stretches: Vec<(Seconds, Seconds, [[f64; 12]; 4])> = Vec::new();
    for s in sounding {
        let weight = (s.end.0 - s.start.0).max(0.0);
        if stretches.last().is_none_or(|l| s.end.0 - l.0.0 > STRETCH_S) {
            stretches.push((s.start, s.end, [[0.0; 12]; 4]));
        }
        let middle = (s.start.0 + s.end.0) / 2.0;
        for c in 0..12 {
            all[0][c] += weight * s.classes[c];
            all[1][c] += weight * s.bass[c];
            if middle > last - ENDS_S {
                all[2][c] += weight * s.classes[c];
            }
            if middle < first + ENDS_S {
                all[3][c] += weight * s.classes[c];
            }
        }
        if let Some(last) = stretches.last_mut() {
            last.1 = s.end;
            for c in 0..12 {
                last.2[0][c] += weight * s.classes[c];
                last.2[1][c] += weight * s.bass[c];
            }
        }
    }
    let with_chords = |mut fits: Vec<f64>, part: &[Step]| {
        let clear = degrees::clear(part);
        let worth = CHORDS_WORTH * clear * clear;
        fits.iter_mut().zip(degrees::keys(part, steps)).for_each(|(f, c)| *f += worth * c);
        (fits, worth)
    };
    let (whole, worth) = with_chords(fits(&all)?, steps);
    let best = largest(&whole);
    let heard = with_mode(best, &all[0]);
    let within = |from: f64, to: f64| -> Vec<Step> {
        let cut = steps.iter().map(|s| Step { start_s: s.start_s.max(from), end_s: s.end_s.min(to), ..*s });
        cut.filter(|s| s.end_s > s.start_s).collect()
    };
    let (per, worths): (Vec<Vec<f64>>, Vec<f64>) = stretches.iter().map(|s| with_chords(fits(&s.2).unwrap_or_else(|| vec![0.0; 24]), &within(s.0.0, s.1.0))).unzip();
    let shares: Vec<f64> = stretches.iter().map(|s| ((s.1.0 - s.0.0) / STRETCH_S).clamp(0.0, 1.0)).collect();
    let kept = way(&per, &shares, best);
    let mut over_time: Vec<KeyAt> = Vec::new();
    for (((s, k), f), worth) in stretches.iter().zip(&kept).zip(&per).zip(&worths) {
        // The mode of a key is heard in all stretches that it holds for.
        let mut own = [0.0; 12];
        for (other, _) in stretches.iter().zip(&kept).filter(|(_, o)| *o == k) {
            own.iter_mut().zip(&other.2[0]).for_each(|(o, c)| *o += c);
        }
        let (at, confidence) = (spelled(with_mode(*k, &own)), confidence(f, *k, *worth));
        match over_time.last_mut() {
            Some(last) if last.key == at => {
                last.end = s.1;
                last.confidence = last.confidence.max(confidence);
            }
            _ => over_time.push(KeyAt { start: s.0, end: s.1, key: at, confidence }),
        }
    }
    let mut ranked: Vec<usize> = (0..24).filter(|k| *k != best).collect();
    ranked.sort_by(|a, b| whole[*b].total_cmp(&whole[*a]));
    let also = ranked.iter().take(ALSO).map(|k| spelled(with_mode(*k, &all[0]))).collect();
    Some(KeyHeard { key: spelled(heard), confidence: confidence(&whole, best, worth), also, over_time })
}

/// The best way through stretches, which count by their share of a full one's length: what is left over at the end is no key of its own. The key of the whole has
/// a head start.
fn way(fits: &[Vec<f64>], shares: &[f64], whole: usize) -> Vec<usize> {
    const HEAD_START: f64 = 1.0;
    let own = |(f, share): (&Vec<f64>, &f64), k: usize| f[k] * share + if k == whole { HEAD_START } else { 0.0 };
    let mut parts = fits.iter().zip(shares);
    let Some(first) = parts.next() else { return Vec::new() };
    let mut score: Vec<f64> = (0..24).map(|k| own(first, k)).collect();
    let mut from: Vec<Vec<usize>> = vec![Vec::new()];
    for f in parts {
        let top = largest(&score);
        let back: Vec<usize> = (0..24).map(|k| if score[top] - CHANGE > score[k] { top } else { k }).collect();
        score = (0..24).map(|k| score[back[k]] - if back[k] == k { 0.0 } else { CHANGE } + own(f, k)).collect();
        from.push(back);
    }
    let mut at = largest(&score);
    let mut out = vec![at];
    for back in from[1..].iter().rev() {
        at = back[at];
        out.push(at);
    }
    out.reverse();
    out
}

fn largest(values: &[f64]) -> usize {
    (0..values.len()).fold(0, |b, i| if values[i] > values[b] { i } else { b })
}

/// As much as chords count among what was heard, so much more is needed to be as sure.
fn confidence(fits: &[f64], best: usize, more: f64) -> f64 {
    let notes = |k: usize| spelled(k).fifths().rem_euclid(12);
    let rival = (0..24).filter(|k| notes(*k) != notes(best)).map(|k| fits[k]).fold(f64::MIN, f64::max);
    ((fits[best] - rival) / (3.0 + more)).clamp(0.0, 1.0) * (fits[best] / (6.0 + more)).clamp(0.0, 1.0)
}

/// On the tonic's name that needs fewer accidentals.
fn spelled(k: usize) -> Key {
    let plain = Key { tonic: Spelling::new(Letter::C, 0), mode: MODES[k / 12] };
    debug_assert_eq!(plain.tonic.class(), PitchClass(0));
    plain.up((k % 12) as i32)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scale(text: &str, from: f64) -> Sounding {
        let key = Key::parse(text).unwrap();
        let mut classes = [0.0; 12];
        for (degree, note) in key.scale().iter().enumerate() {
            // common practice: tonic, fifth and third are heard most.
            classes[note.class().0 as usize] = [1.0, 0.4, 0.7, 0.4, 0.8, 0.4, 0.35][degree];
        }
        Sounding { start: Seconds(from), end: Seconds(from + 8.0), classes, bass: [0.0; 12] }
    }

    #[test]
    fn each_mode_is_told_from_its_relatives() {
        for text in ["C major", "A minor", "D dorian", "G mixolydian", "Eb major", "F# minor", "B dorian", "Bb mixolydian"] {
            let heard = key(&[scale(text, 0.0)], &[]).unwrap();
            assert_eq!(heard.key.to_string(), text);
            // A fifth or a third away, or with other thirds: what shares most notes is named besides, and never the key itself.
            assert!(heard.also.len() == 3 && heard.also.iter().all(|k| *k != heard.key && (k.fifths() - heard.key.fifths()).rem_euclid(12).min((heard.key.fifths() - k.fifths()).rem_euclid(12)) <= 3), "{:?}", heard.also);
            assert!(heard.confidence > 0.02, "{text}: {}", heard.confidence);
        }
    }

    #[test]
    fn chords_count_as_far_as_they_are_clear() {
        // Notes of A minor under a cadence in C: common practice goes by the cadence, if it is one.
        let cadence = |share: f64| -> Vec<Step> {
            let chord = |(i, (root, family)): (usize, &(usize, degrees::Family))| {
                let mut likely = [[(1.0 - share) / 60.0; degrees::FAMILIES]; 12];
                likely[*root][*family as usize] += share;
                Step { start_s: 2.0 * i as f64, end_s: 2.0 * i as f64 + 2.0, likely }
            };
            [(2, degrees::Family::Minor), (7, degrees::Family::Dominant), (0, degrees::Family::Major), (0, degrees::Family::Major)].iter().enumerate().map(chord).collect()
        };
        let heard = |share: f64| key(&[scale("A minor", 0.0)], &cadence(share)).unwrap();
        assert_eq!((heard(1.0).key.to_string(), heard(0.4).key.to_string()), ("C major".to_owned(), "A minor".to_owned()));
        // Where both say the same, clear chords make surer.
        let same = |share: f64| key(&[scale("C major", 0.0)], &cadence(share)).unwrap();
        assert!(same(1.0).confidence > same(0.4).confidence + 0.1);
    }

    #[test]
    fn a_change_of_key_is_followed_and_silence_has_none() {
        let record: Vec<Sounding> = (0..12).map(|i| scale(if i < 6 { "C major" } else { "A major" }, 8.0 * f64::from(i))).collect();
        let heard = key(&record, &[]).unwrap();
        let found: Vec<String> = heard.over_time.iter().map(|k| k.key.to_string()).collect();
        assert_eq!(found, ["C major", "A major"]);
        assert_eq!((heard.over_time[0].end, heard.over_time[1].start), (Seconds(48.0), Seconds(48.0)));
        // A second of something else at the end is no change.
        let mut rest = vec![scale("C major", 0.0), scale("C major", 8.0)];
        rest.push(Sounding { end: Seconds(17.0), ..scale("A major", 16.0) });
        assert_eq!(key(&rest, &[]).unwrap().over_time.len(), 1);
        assert_eq!(key(&[Sounding { start: Seconds(0.0), end: Seconds(9.0), classes: [0.0; 12], bass: [0.0; 12] }], &[]), None);
        assert_eq!(key(&[], &[]), None);
        // All classes alike: no confidence.
        let mut flat = [1.0; 12];
        flat[3] = 1.01;
        assert!(key(&[Sounding { start: Seconds(0.0), end: Seconds(9.0), classes: flat, bass: [0.0; 12] }], &[]).unwrap().confidence < 0.3);
    }
}
