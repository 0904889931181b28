//! Beats from onset strength alone, without a network: what the network is held against, and falls back on.
//!
//! # Method
//! The record is cut into beats, each of a length of its own, by dynamic programming over all cuts (after D. Ellis, "Beat tracking by dynamic
//! programming", J. New Music Research 36(1), 2007, with tempo as a state of its own as in N. Whiteley, A. T. Cemgil and S. Godsill, "Bayesian modelling
//! of temporal structure in musical audio", ISMIR 2006). Unlike Ellis's, a beat is not judged by its own onset alone but by the whole beat: each
//! place of a grid (quarters of a beat; halves, also moved by swing; thirds) is worth the log odds of an onset there against one anywhere else, or of
//! silence. So playing that leaves the beat out for a few bars does not pull the taps over to the off-beat.
//! Each grid is tried on the whole record and the best is kept. How sure it is comes from holding it against itself moved by parts of a beat.
//!
//! # Constants
//! The odds are plain guesses rounded to a tenth, not trained (`checks/hear/beats.py` holds what they reach).

use crate::beats::{Activity, Beats, FASTEST_BPM, GRIDS, Grid, Held, Pins, SHIFTS, SLOWEST_BPM, USUAL_BPM, odds, settle, wide};
use crate::streams::onset_rate;

/// Ratio of neighbouring tempi that are tried.
const TEMPO_STEP: f64 = 1.02;
/// How many steps the tempo can move from a beat to the next, and what a step costs.
const MOST_STEPS: usize = 3;
const STEP_COST: f64 = 0.6;
/// Spread (in octaves) of tempi that players count in; a beat that lasts a second weighs by this much.
const SPREAD: f64 = 0.55;
const USUAL_WEIGHT: f64 = 3.0;
/// Hardly better than a half: compers often leave the beat to the bass.
const BEAT: (f64, f64) = (2.8, -0.9);
/// Onset strength cannot tell a stressed off-beat from a beat, so it is never surer than this.
const SUREST: f64 = 0.3;
/// What a full onset in the bass adds to a beat.
const LOW_WORTH: f64 = 2.0;

/// The beats; `None` where there are fewer than four.
pub(crate) fn onset_beats(activity: &Activity, pins: &Pins, held: &Held) -> Option<Beats> {
    let (grid, cuts) = onset_cuts(activity, pins, held)?;
    let (spacing, confidence) = confidence(activity, grid, &cuts);
    Some(Beats { times: settle(activity, &cuts, grid, held), grid, spacing, confidence, bars: None })
}

/// The best grid and the frames of its beats; `None` where there are fewer than four.
pub(crate) fn onset_cuts(activity: &Activity, pins: &Pins, held: &Held) -> Option<(usize, Vec<usize>)> {
    let lengths = lengths(pins);
    let mut best: Option<(f64, usize, Vec<usize>)> = None;
    for (g, grid) in GRIDS.iter().enumerate() {
        let (score, cuts) = cut(activity, grid, &lengths, held);
        if best.as_ref().is_none_or(|b| score > b.0) {
            best = Some((score, g, cuts));
        }
    }
    best.map(|b| (b.1, b.2)).filter(|b| b.1.len() >= 4)
}

/// What the cut is worth a beat; and that times how much more it is worth than the same cut half a beat, a quarter or a third to the side, under any grid.
fn confidence(activity: &Activity, grid: usize, cuts: &[usize]) -> (f64, f64) {
    let smooth = wide(&activity.all);
    let worth = |grid: &Grid, shift: f64| -> f64 {
        let at = |t: f64| smooth.get(t.max(0.0).round() as usize).copied().unwrap_or(0.0);
        let low = |t: f64| activity.low.get(t.max(0.0).round() as usize).copied().unwrap_or(0.0);
        let beats = cuts.windows(2).map(|w| {
            let length = (w[1] - w[0]) as f64;
            let start = w[0] as f64 + shift * length;
            let inside: f64 = grid.places.iter().map(|(place, on, off)| odds(at(start + place * length), (*on, *off))).sum();
            odds(at(start), BEAT) + LOW_WORTH * (low(start) - 0.25) + inside - grid.rare
        });
        beats.sum::<f64>() / (cuts.len() - 1) as f64
    };
    let own = worth(&GRIDS[grid], 0.0);
    let other = SHIFTS.iter().flat_map(|s| GRIDS.iter().map(move |g| (g, *s))).map(|(g, s)| worth(g, s)).fold(f64::MIN, f64::max);
    // A beat with an onset on it and nothing between is worth some 1.5 to 2.
    let spacing = (own / 4.0).clamp(0.0, 1.0);
    (spacing, SUREST * spacing * ((own - other) / 0.6).clamp(0.0, 1.0))
}

/// Beat lengths in frames that are tried, rising by [`TEMPO_STEP`].
fn lengths(pins: &Pins) -> Vec<f64> {
    let (low, high) = match pins.bpm.filter(|b| b.is_finite() && *b > 1.0) {
        Some(bpm) => (bpm / 1.1, bpm * 1.1),
        None => (SLOWEST_BPM, FASTEST_BPM),
    };
    let (shortest, longest) = (onset_rate() * 60.0 / high, onset_rate() * 60.0 / low);
    let count = (libm::log(longest / shortest) / libm::log(TEMPO_STEP)).ceil() as usize;
    (0..=count).map(|i| shortest * libm::pow(TEMPO_STEP, i as f64)).collect()
}

/// Score and frames of the best cut into beats.
fn cut(activity: &Activity, grid: &Grid, lengths: &[f64], held: &Held) -> (f64, Vec<usize>) {
    let frames = activity.all.len();
    let count = lengths.len();
    let longest = lengths[count - 1].ceil() as usize + 1;
    // Best score of a cut whose last beat begins at a frame and follows one of the length; starts anywhere in the first beat.
    // Scores are kept for as long as a beat can reach back.
    let ring = longest + 1;
    let mut score = vec![f64::NEG_INFINITY; ring * count];
    let mut from = vec![u8::MAX; frames * count];
    let smooth = wide(&activity.all);
    let value = |at: f64| -> f64 {
        let low = at as usize;
        let part = at - low as f64;
        let get = |n: usize| smooth.get(n).copied().unwrap_or(0.0);
        get(low) * (1.0 - part) + get(low + 1) * part
    };
    let usual: Vec<f64> = lengths
        .iter()
        .map(|l| {
            let octaves = libm::log2(60.0 * onset_rate() / l / USUAL_BPM) / SPREAD;
            -0.5 * octaves * octaves * USUAL_WEIGHT * l / onset_rate()
        })
        .collect();
    let whole: Vec<usize> = lengths.iter().map(|l| l.round() as usize).collect();
    for frame in 0..frames {
        let own = odds(smooth[frame], BEAT) + LOW_WORTH * (activity.low[frame] - 0.25) + held.worth(frame);
        for (i, length) in lengths.iter().enumerate() {
            let at = frame * count + i;
            let mut best = if frame < longest.min(whole[i]) { own } else { f64::NEG_INFINITY };
            if let Some(before) = frame.checked_sub(whole[i]) {
                let (low, high) = (i.saturating_sub(MOST_STEPS), (i + MOST_STEPS).min(count - 1));
                let mut reached = f64::NEG_INFINITY;
                let mut step = u8::MAX;
                for j in low..=high {
                    let s = score[before % ring * count + j] - STEP_COST * j.abs_diff(i) as f64;
                    if s > reached {
                        reached = s;
                        step = j as u8;
                    }
                }
                if reached > f64::NEG_INFINITY {
                    let inside: f64 = grid.places.iter().map(|(place, on, off)| odds(value(before as f64 + place * length), (*on, *off))).sum();
                    let s = reached + inside + own + usual[i] - grid.rare;
                    if s > best {
                        best = s;
                        from[at] = step;
                    }
                }
            }
            score[frame % ring * count + i] = best;
        }
    }
    // The last beat lies within one length of the end.
    let (mut frame, mut i, mut best) = (0, 0, f64::NEG_INFINITY);
    for (l, length) in whole.iter().enumerate() {
        for f in frames.saturating_sub(*length)..frames {
            if score[f % ring * count + l] > best {
                (frame, i, best) = (f, l, score[f % ring * count + l]);
            }
        }
    }
    let mut cuts = vec![frame];
    while from[frame * count + i] != u8::MAX {
        let step = from[frame * count + i] as usize;
        frame -= whole[i];
        i = step;
        cuts.push(frame);
    }
    cuts.reverse();
    (best, cuts)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beats::tests::{played, worst};

    fn heard(activity: &Activity, pins: &Pins) -> Option<Beats> {
        onset_beats(activity, pins, &Held::new(pins, activity.all.len()))
    }

    #[test]
    fn beats_follow_a_tempo_that_moves() {
        // Eighths, beats louder; from 100 to 108 bpm over 40 beats.
        let time = |b: f64| 0.3 + 0.6 * b - 0.000_6 * b * b;
        let onsets: Vec<(f64, f64)> = (0..80).map(|e| (time(f64::from(e) / 2.0), if e % 2 == 0 { 1.0 } else { 0.4 })).collect();
        let found = heard(&played(&onsets, time(40.0)), &Pins::default()).unwrap();
        assert!(found.times.len().abs_diff(40) <= 1, "{}", found.times.len());
        let off = worst(&found.times[1..], |b| time((b + 1) as f64), 38);
        assert!(off < 0.012, "{off}");
        assert!(found.spacing > 0.3 && found.confidence > 0.03, "{} {}", found.spacing, found.confidence);
    }

    #[test]
    fn where_half_a_beat_later_is_as_good_the_beat_is_not_sure() {
        let onsets: Vec<(f64, f64)> = (0..80).map(|e| (0.3 + 0.3 * f64::from(e), 1.0)).collect();
        let found = heard(&played(&onsets, 25.0), &Pins { beats: Vec::new(), bpm: Some(100.0) }).unwrap();
        assert!(found.spacing > 0.3 && found.confidence < 0.015, "{} {}", found.spacing, found.confidence);
    }

    #[test]
    fn a_tempo_halves_the_beat() {
        let onsets: Vec<(f64, f64)> = (0..60).map(|e| (0.2 + 0.25 * f64::from(e), 1.0)).collect();
        let slow = heard(&played(&onsets, 15.3), &Pins { beats: Vec::new(), bpm: Some(60.0) }).unwrap();
        let length = slow.times[8].0 - slow.times[7].0;
        assert!((length - 1.0).abs() < 0.03, "{length}");
    }

    #[test]
    fn a_moment_has_no_beat() {
        assert!(heard(&played(&[(0.2, 1.0)], 1.0), &Pins::default()).is_none());
    }
}
