//! Key and mode, from how long and how strongly each pitch class sounds, in all, in the bass, at the beginning and at the end, and from the chords.
//!
//! # Method
//! Each of the 24 keys has a score, the logarithm of its odds. What is known beforehand: how well the classes correlate with the profile of the key (C. Krumhansl and E. Kessler, Psychological
//! Review 89(4), 1982), and what common practice makes of the chords ([`degrees`](crate::degrees)), the more the clearer they are. On top comes a sum of weights over the tonic, learned on pieces of the kind
//! that `checks/hear/pieces.py` makes and on players 00 and 01 (`training/chords/key.py`): of the classes, of how long chords last on each degree, how they follow each other, which comes first
//! and last; the classes and chords once more as far as the chords are clear. Dorian is minor whose sixth is heard raised, mixolydian major whose seventh is heard lowered. Stretches of
//! sixteen seconds are followed by the best way through all keys, in which a change costs.
//!
//! # Confidence
//! The odds of the key against the best one on other notes (a key and its modes and relatives share theirs), less where it hardly fits at all.

use crate::chord_scorer::halves;
use crate::degrees::{self, OVER, Progression, Step};
use crate::hearing::{KeyAt, KeyHeard};
use pitch::{Key, Letter, Mode, PitchClass, Spelling};
use wave::Seconds;

/// How well classes over the tonic fit major and minor: ratings of the probe tones.
const PROFILES: [[f64; 12]; 2] = [
    [6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88],
    [6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17],
];
/// What a full correlation with them counts.
const PROFILE_WORTH: f64 = 6.0;
/// What is learned: how much all that is known beforehand counts, an offset for major and minor, and the weights of each.
const LEARNED: &[u8] = include_bytes!("../weights/keys.f16");
const WEIGHTS: usize = 2 * 4 * 12 + OVER;
const _: () = assert!(LEARNED.len() == 2 * (1 + 2 + 2 * WEIGHTS), "the weights are of other sums");
/// Seconds at either end that speak for themselves.
const ENDS_S: f64 = 2.5;
const MODES: [Mode; 4] = [Mode::Major, Mode::Minor, Mode::Dorian, Mode::Mixolydian];
/// A sixth or seventh is that of the other mode where it sounds this much more than its neighbour.
const RATHER: f64 = 1.3;
/// What chords count beside the notes, whose fit is worth some units, if they are beyond doubt; by the square of how clear they are. It comes to some
/// eight for strummed grips, to three for a melody.
const CHORDS_WORTH: f64 = 24.0;
/// What a change of key costs, and what the key of the whole has as a head start, in the unit of the scores of a full stretch (`checks/hear/pieces.py`).
const CHANGE: f64 = 4.0;
const HEAD_START: f64 = 1.0;
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

/// What keys are judged by, for training it.
#[derive(Clone, Debug)]
pub struct KeyEvidence {
    /// How well each of the 24 keys, `mode * 12 + tonic` with major before minor, fits by what is known beforehand.
    pub fits: Vec<f64>,
    /// What the weights are for, over each of the twelve tonics, C first, less its mean over them.
    pub over: Vec<Vec<f64>>,
}

/// What is judged of the 24 keys, `mode * 12 + tonic`, over some time.
struct Judged {
    /// Logarithms of odds.
    scores: Vec<f64>,
    /// What is known beforehand says so much of each, and can say at most so much.
    fits: Vec<f64>,
    most: f64,
}

/// By classes in all, in the bass, in the last seconds and in the first, and by steps that are a part of all. The second value is the most that a key can fit; `None` where nothing sounds.
fn known(parts: &Parts, steps: &[Step], all: &[Step]) -> Option<(KeyEvidence, f64)> {
    let unit = |v: &[f64; 12]| {
        let norm = libm::sqrt(v.iter().map(|x| x * x).sum::<f64>());
        if norm > 1e-9 { v.map(|x| x / norm) } else { [0.0; 12] }
    };
    let parts = parts.map(|p| unit(&p));
    if parts[0] == [0.0; 12] {
        return None;
    }
    let chords = Progression::new(steps, all);
    let worth = CHORDS_WORTH * chords.clear * chords.clear;
    let classes = |tonic: usize| parts.iter().flat_map(move |p| (0..12).map(move |c| p[(c + tonic) % 12]));
    let over = |tonic: usize| classes(tonic).chain(classes(tonic).map(|c| c * chords.clear)).chain(chords.over(tonic)).collect();
    let mut over: Vec<Vec<f64>> = (0..12).map(over).collect();
    // What is the same over all tonics says nothing of any.
    for v in 0..WEIGHTS {
        let mean = over.iter().map(|o| o[v]).sum::<f64>() / 12.0;
        over.iter_mut().for_each(|o| o[v] -= mean);
    }
    let mut fits = degrees::keys(steps, all).map(|home| worth * home).to_vec();
    for (profile, fits) in PROFILES.iter().zip(fits.chunks_mut(12)) {
        let mean = profile.iter().sum::<f64>() / 12.0;
        let norm = libm::sqrt(profile.iter().map(|p| (p - mean) * (p - mean)).sum::<f64>());
        for (tonic, fit) in fits.iter_mut().enumerate() {
            *fit += PROFILE_WORTH * profile.iter().zip(classes(tonic)).map(|(p, c)| (p - mean) / norm * c).sum::<f64>();
        }
    }
    Some((KeyEvidence { fits, over }, PROFILE_WORTH + worth))
}

fn judge(learned: &[f64], parts: &Parts, steps: &[Step], all: &[Step]) -> Option<Judged> {
    let (KeyEvidence { fits, over }, most) = known(parts, steps, all)?;
    let (before, weights) = learned.split_at(3);
    let score = |k: usize| {
        let own = &weights[k / 12 * WEIGHTS..(k / 12 + 1) * WEIGHTS];
        before[0] * fits[k] + before[1 + k / 12] + over[k % 12].iter().zip(own).map(|(v, w)| v * w).sum::<f64>()
    };
    Some(Judged { scores: (0..24).map(score).collect(), fits, most })
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

/// Classes over some time: in all, in the bass, in the last seconds, in the first.
type Parts = [[f64; 12]; 4];

/// From when to when, and what sounds in it.
type Stretch = (Seconds, Seconds, Parts);

/// Those of the whole, and of each stretch.
fn gathered(sounding: &[Sounding]) -> Option<(Parts, Vec<Stretch>)> {
    let (first, last) = (sounding.first()?.start.0, sounding.last()?.end.0);
    let mut all = Parts::default();
    let mut stretches: Vec<Stretch> = Vec::new();
    for s in sounding {
        if stretches.last().is_none_or(|l| s.end.0 - l.0.0 > STRETCH_S) {
            stretches.push((s.start, s.end, Parts::default()));
        }
        let stretch = stretches.last_mut()?;
        stretch.1 = s.end;
        let (weight, middle) = ((s.end.0 - s.start.0).max(0.0), (s.start.0 + s.end.0) / 2.0);
        let at = |end: bool| if end { s.classes } else { [0.0; 12] };
        let own = [s.classes, s.bass, at(middle > last - ENDS_S), at(middle < first + ENDS_S)];
        for parts in [&mut all, &mut stretch.2] {
            parts.iter_mut().flatten().zip(own.iter().flatten()).for_each(|(p, o)| *p += weight * o);
        }
    }
    Some((all, stretches))
}

/// Of a whole record.
pub(crate) fn evidence(sounding: &[Sounding], steps: &[Step]) -> Option<KeyEvidence> {
    Some(known(&gathered(sounding)?.0, steps, steps)?.0)
}

/// From what sounds and from the chords, both in the order of time. `None` where nothing sounds.
pub(crate) fn key(sounding: &[Sounding], steps: &[Step]) -> Option<KeyHeard> {
    let learned: Vec<f64> = halves(LEARNED).map(f64::from).collect();
    let (all, stretches) = gathered(sounding)?;
    let whole = judge(&learned, &all, steps, steps)?;
    let best = largest(&whole.scores);
    let heard = with_mode(best, &all[0]);
    let within = |from: f64, to: f64| -> Vec<Step> {
        let cut = steps.iter().map(|s| Step { start_s: s.start_s.max(from), end_s: s.end_s.min(to), ..*s });
        cut.filter(|s| s.end_s > s.start_s).collect()
    };
    let silent = || Judged { scores: vec![0.0; 24], fits: vec![0.0; 24], most: PROFILE_WORTH };
    let per: Vec<Judged> = stretches.iter().map(|s| judge(&learned, &s.2, &within(s.0.0, s.1.0), steps).unwrap_or_else(silent)).collect();
    let shares: Vec<f64> = stretches.iter().map(|s| ((s.1.0 - s.0.0) / STRETCH_S).clamp(0.0, 1.0)).collect();
    let kept = way(&per, &shares, best);
    let mut over_time: Vec<KeyAt> = Vec::new();
    for ((s, k), own) in stretches.iter().zip(&kept).zip(&per) {
        // The mode of a key is heard in all stretches that it holds for.
        let mut classes = [0.0; 12];
        for (other, _) in stretches.iter().zip(&kept).filter(|(_, o)| *o == k) {
            classes.iter_mut().zip(&other.2[0]).for_each(|(o, c)| *o += c);
        }
        let (at, confidence) = (spelled(with_mode(*k, &classes)), confidence(own, *k));
        match over_time.last_mut() {
            Some(last) if last.key == at => {
                last.end = s.1;
                last.confidence = last.confidence.max(confidence);
            }
            _ => over_time.push(KeyAt { start: s.0, end: s.1, key: at, confidence }),
        }
    }
    let mut ranked: Vec<usize> = (0..24).filter(|k| *k != best).collect();
    ranked.sort_by(|a, b| whole.scores[*b].total_cmp(&whole.scores[*a]));
    let also = ranked.iter().take(ALSO).map(|k| spelled(with_mode(*k, &all[0]))).collect();
    Some(KeyHeard { key: spelled(heard), confidence: confidence(&whole, best), also, over_time })
}

/// The best way through stretches, which count by their share of a full one's length: what is left over at the end is no key of its own. The key of the whole has
/// a head start.
fn way(per: &[Judged], shares: &[f64], whole: usize) -> Vec<usize> {
    let own = |(j, share): (&Judged, &f64), k: usize| j.scores[k] * share + if k == whole { HEAD_START } else { 0.0 };
    let mut parts = per.iter().zip(shares);
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

fn confidence(judged: &Judged, best: usize) -> f64 {
    let notes = |k: usize| spelled(k).fifths().rem_euclid(12);
    let all: f64 = judged.scores.iter().map(|s| libm::exp(s - judged.scores[best])).sum();
    let odds = |k: usize| libm::exp(judged.scores[k] - judged.scores[best]) / all;
    let rival = (0..24).filter(|k| notes(*k) != notes(best)).map(odds).fold(0.0, f64::max);
    (odds(best) - rival).clamp(0.0, 1.0) * (judged.fits[best] / judged.most).clamp(0.0, 1.0)
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
        assert_eq!((heard(1.0).key.to_string(), heard(0.1).key.to_string()), ("C major".to_owned(), "A minor".to_owned()));
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
