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
use wave::lanes;

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
    Some(Beats { times: settle(activity, &cuts, grid, held), grid, spacing, confidence, bars: None, others: Vec::new() })
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
    let (slowest, fastest) = pins.tempi().unwrap_or((SLOWEST_BPM, FASTEST_BPM));
    let (shortest, longest) = (onset_rate() * 60.0 / fastest, onset_rate() * 60.0 / slowest);
    let count = (libm::log(longest / shortest) / libm::log(TEMPO_STEP)).ceil() as usize;
    (0..=count).map(|i| shortest * libm::pow(TEMPO_STEP, i as f64)).collect()
}

/// Frames for which the insides of beats are weighed together.
const BLOCK: usize = 256;

/// What lies inside a beat that begins at each of [`BLOCK`] frames from `first` on, for each length: the odds of all places of a grid.
#[inline(always)]
fn insides(grid: &Grid, lengths: &[f64], smooth: &[f64], first: usize, out: &mut [f64]) {
    for (length, row) in lengths.iter().zip(out.chunks_exact_mut(BLOCK)) {
        row.fill(0.0);
        for (place, on, off) in grid.places {
            // Between two frames in a straight line.
            let low = (place * length) as usize;
            let part = place * length - low as f64;
            let from = &smooth[(first + low).min(smooth.len())..];
            let worth = |p: f64| odds(p, (*on, *off));
            let inside = from.len().saturating_sub(1).min(BLOCK);
            for (r, pair) in row[..inside].iter_mut().zip(from.windows(2)) {
                *r += worth(pair[0] * (1.0 - part) + pair[1] * part);
            }
            for (n, r) in row.iter_mut().enumerate().skip(inside) {
                *r += worth(from.get(n).copied().unwrap_or(0.0) * (1.0 - part));
            }
        }
    }
}

/// Score and frames of the best cut into beats.
fn cut(activity: &Activity, grid: &Grid, lengths: &[f64], held: &Held) -> (f64, Vec<usize>) {
    lanes::widest(
        #[inline(always)]
        || cut_plainly(activity, grid, lengths, held),
    )
}

#[inline(always)]
fn cut_plainly(activity: &Activity, grid: &Grid, lengths: &[f64], held: &Held) -> (f64, Vec<usize>) {
    let frames = activity.all.len();
    let count = lengths.len();
    let smooth = wide(&activity.all);
    let usual: Vec<f64> = lengths
        .iter()
        .map(|l| {
            let octaves = libm::log2(60.0 * onset_rate() / l / USUAL_BPM) / SPREAD;
            -0.5 * octaves * octaves * USUAL_WEIGHT * l / onset_rate() - grid.rare
        })
        .collect();
    let whole: Vec<usize> = lengths.iter().map(|l| l.round().max(1.0) as usize).collect();
    let longest = lengths[count - 1].ceil() as usize + 1;
    // Best score of a cut that has a beat on a frame and goes on with a beat of each length; kept for as long as a beat can reach back.
    let ring = longest + 1;
    let mut leaving = vec![f64::NEG_INFINITY; ring * count];
    // The length of the beat before that one, counted from it.
    let mut from = vec![0u8; frames * count];
    let mut inside = vec![0.0; BLOCK * count];
    // The same of a beat that follows one of the length; cuts start anywhere in the first beat.
    let mut arrived = vec![f64::NEG_INFINITY; count];
    let mut step = vec![0u64; count];
    let mut best = (f64::NEG_INFINITY, 0, 0);
    for frame in 0..frames {
        let own = odds(smooth[frame], BEAT) + LOW_WORTH * (activity.low[frame] - 0.25) + held.worth(frame);
        let here = frame % ring;
        for (i, a) in arrived.iter_mut().enumerate() {
            let there = if here < whole[i] { here + ring - whole[i] } else { here - whole[i] };
            *a = if frame < whole[i] { own } else { leaving[there * count + i] + own + usual[i] };
        }
        // The last beat lies within one length of the end.
        if frame + longest >= frames {
            for i in (0..count).filter(|i| frame + whole[*i] >= frames) {
                if arrived[i] > best.0 {
                    best = (arrived[i], frame, i);
                }
            }
        }
        if frame % BLOCK == 0 {
            insides(grid, lengths, &smooth, frame, &mut inside);
        }
        let leaving = &mut leaving[frame % ring * count..(frame % ring + 1) * count];
        leaving.fill(f64::NEG_INFINITY);
        for k in 0..=2 * MOST_STEPS {
            // Length i now, i + k - MOST_STEPS before.
            let (low, high) = (MOST_STEPS.saturating_sub(k), (count + MOST_STEPS).saturating_sub(k).min(count));
            if low >= high {
                continue;
            }
            let cost = STEP_COST * k.abs_diff(MOST_STEPS) as f64;
            let before = &arrived[low + k - MOST_STEPS..high + k - MOST_STEPS];
            for ((l, s), b) in leaving[low..high].iter_mut().zip(&mut step[low..high]).zip(before) {
                let reached = b - cost;
                // Without a branch, so that several are compared at once.
                let better = u64::from(reached > *l).wrapping_neg();
                *s = (k as u64 & better) | (*s & !better);
                *l = if reached > *l { reached } else { *l };
            }
        }
        for (i, l) in leaving.iter_mut().enumerate() {
            *l += inside[i * BLOCK + frame % BLOCK];
            from[frame * count + i] = step[i] as u8;
        }
    }
    let (best, mut frame, mut i) = best;
    let mut cuts = vec![frame];
    while frame >= whole[i] {
        frame -= whole[i];
        i = i + usize::from(from[frame * count + i]) - MOST_STEPS;
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
        let found = heard(&played(&onsets, 25.0), &Pins { bpm: Some(100.0), ..Pins::default() }).unwrap();
        assert!(found.spacing > 0.3 && found.confidence < 0.015, "{} {}", found.spacing, found.confidence);
    }

    #[test]
    fn a_tempo_halves_the_beat() {
        let onsets: Vec<(f64, f64)> = (0..60).map(|e| (0.2 + 0.25 * f64::from(e), 1.0)).collect();
        let slow = heard(&played(&onsets, 15.3), &Pins { bpm: Some(60.0), ..Pins::default() }).unwrap();
        let length = slow.times[8].0 - slow.times[7].0;
        assert!((length - 1.0).abs() < 0.03, "{length}");
    }

    #[test]
    fn a_tempo_that_nobody_plays_is_survived() {
        let onsets: Vec<(f64, f64)> = (0..8).map(|e| (0.2 + 0.25 * f64::from(e), 1.0)).collect();
        for bpm in [1e4, 2e4, 1e5, 1e300] {
            heard(&played(&onsets, 2.5), &Pins { bpm: Some(bpm), ..Pins::default() });
        }
    }

    #[test]
    fn a_moment_has_no_beat() {
        assert!(heard(&played(&[(0.2, 1.0)], 1.0), &Pins::default()).is_none());
    }
}
