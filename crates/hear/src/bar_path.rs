//! Where bars begin over known beats of a known meter.
//!
//! # Method
//! Stretches of beats are judged by the network of their meter ([`reading_score`](crate::reading_score)); the best way through them is found by a Viterbi search in which a bar cut short or drawn out
//! costs [`BREAK`]. Where such a bar lies within its stretch, the network of beats and the changes of harmony at single beats tell; for where bars begin, what the networks of bars make of
//! these together is far better (of bar lines over right beats a tenth more were found by them alone).

use crate::bar_marks::BarMarks;
use crate::bars::Bars;
use crate::beat_choice::CUES;
use crate::chord_scorer::log_sum;
use crate::reading_score::{METERS, MOST, Networks};

/// Beats that are judged together, and from one such stretch to the next.
const STRETCH: usize = 32;
const STEP: usize = 16;
/// What a bar cut short or drawn out costs.
const BREAK: f32 = 5.0;

/// `told` are beats on which bars begin: bars are shifted to do so, each beat's by the told one nearest to it.
pub(crate) fn bar_path(networks: &Networks, meter: usize, cues: &[f32; CUES], marks: &BarMarks, told: &[usize]) -> Bars {
    let count = marks.marks.len();
    let (m, sign) = METERS[meter];
    // Of bars that begin on this beat and every so many, for each beat: the mean over its stretches.
    let mut worth = vec![[0.0f32; MOST]; count];
    let mut judged = vec![0.0f32; count];
    let last = count.saturating_sub(STRETCH).div_ceil(STEP);
    for stretch in (0..=last).map(|s| s * STEP..(s * STEP + STRETCH).min(count)) {
        let scores = networks.bars(meter, cues, marks, stretch.clone());
        let all = log_sum(scores[..m].iter().copied());
        for b in stretch.clone() {
            for first in 0..m {
                worth[b][first] += (scores[first] - all) / stretch.len() as f32;
            }
            judged[b] += 1.0;
        }
    }
    let mut score = vec![0.0f32; m];
    let mut from: Vec<[usize; MOST]> = Vec::with_capacity(count);
    for b in 0..count {
        let best = (0..m).fold(0, |x, y| if score[y] > score[x] { y } else { x });
        let mut back = [0; MOST];
        let before = score.clone();
        for first in 0..m {
            back[first] = if before[best] - BREAK > before[first] { best } else { first };
            let kept = if back[first] == first { before[first] } else { before[best] - BREAK };
            score[first] = kept + worth[b][first] / judged[b];
        }
        from.push(back);
    }
    let mut first = (0..m).fold(0, |x, y| if score[y] > score[x] { y } else { x });
    let mut firsts = vec![0; count];
    for b in (0..count).rev() {
        firsts[b] = first;
        first = from[b][first];
    }
    let heard = firsts.clone();
    for (b, first) in firsts.iter_mut().enumerate() {
        if let Some(t) = told.iter().min_by_key(|t| t.abs_diff(b)) {
            *first = (*first + m - heard[*t] + t % m) % m;
        }
    }
    settle_breaks(&mut firsts, m, marks, told);
    Bars { meter: sign, starts: (0..count).filter(|b| b % m == firsts[*b]).collect() }
}

/// Moves each change of where bars begin to where the marks of single beats have it, within a stretch and between beats that were told.
fn settle_breaks(firsts: &mut [usize], m: usize, marks: &BarMarks, told: &[usize]) {
    let mut b = 1;
    while b < firsts.len() {
        let (before, after) = (firsts[b - 1], firsts[b]);
        if before != after {
            let low = (0..b).rev().take(STRETCH).take_while(|n| firsts[*n] == before).last().unwrap_or(b - 1) + 1;
            let high = (b..firsts.len()).take(STRETCH).take_while(|n| firsts[*n] == after).last().unwrap_or(b);
            let low = told.iter().filter(|t| **t < b).map(|t| t + 1).fold(low, usize::max);
            let high = told.iter().filter(|t| **t >= b).copied().fold(high, usize::min);
            // What the old bars explain up to each beat, and the new ones from there.
            let own = |n: usize, first: usize| {
                let value = marks.marks[n][0] + marks.marks[n][1];
                if n % m == first { value } else { -value / (m as f32 - 1.0) }
            };
            let mut sum = 0.0;
            let mut best = (f32::MIN, b);
            for n in low..=high {
                if sum > best.0 {
                    best = (sum, n);
                }
                sum += own(n, before) - own(n, after);
            }
            for (n, first) in firsts.iter_mut().enumerate().take(high + 1).skip(low) {
                *first = if n < best.1 { before } else { after };
            }
            b = high;
        }
        b += 1;
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::beat_choice::{Cues, Judged, Reading};
    use crate::beats::Activity;
    use crate::classes::Classes;
    use crate::pulse::{METERS as TOLD, Pulse};
    use crate::reading_score::likeliest_meter;
    use crate::streams::{ONSET_HOP, TONE_HOP, onset_rate};

    const BEAT: f64 = 86.0;

    /// Even beats with the places given: each bar has a harmony of its own, and on its first beat the low strings sound and the network of beats has its odds.
    pub(crate) fn marked(told: usize, places: &[usize]) -> (Vec<f64>, Activity, Pulse, Cues) {
        let beats: Vec<f64> = (0..places.len()).map(|n| 30.0 + BEAT * n as f64).collect();
        let frames = (BEAT as usize) * (places.len() + 1);
        let mut pulse = Pulse { beat: vec![0.01; frames / 2], down: vec![0.002; frames / 2], meters: [0.1; TOLD] };
        pulse.meters[told] = 0.8;
        let mut struck = Vec::new();
        for (b, place) in beats.iter().zip(places) {
            pulse.beat[(b / 2.0).round() as usize] = 0.8;
            pulse.down[(b / 2.0).round() as usize] = if *place == 0 { 0.6 } else { 0.05 };
            struck.push((b / onset_rate(), if *place == 0 { 1.0 } else { 0.6 }));
            if told == 2 {
                struck.extend([1.0, 2.0].map(|third| ((b + third * BEAT / 3.0) / onset_rate(), 0.5)));
            }
        }
        let firsts: Vec<(f64, f64)> = struck.iter().copied().filter(|s| s.1 == 1.0).collect();
        let seconds = frames as f64 / onset_rate();
        let mut activity = crate::beats::tests::played(&struck, seconds);
        activity.low = crate::beats::tests::played(&firsts, seconds).all;
        let per_tone = TONE_HOP / ONSET_HOP;
        let near = |frame: usize, reach: f64| firsts.iter().any(|f| (f.0 * onset_rate() - (frame * per_tone) as f64).abs() < reach);
        let changes: Vec<f32> = (0..frames / per_tone).map(|frame| if near(frame, 12.0) { 0.6 } else { 0.0 }).collect();
        let bar = |frame: usize| firsts.iter().filter(|f| f.0 * onset_rate() <= (frame * per_tone) as f64).count();
        let classes: Vec<usize> = (0..frames / per_tone).map(|frame| 5 * bar(frame) % 12).collect();
        let cues = Cues::from(&activity, &pulse, &[], &changes, Classes::of(&classes));
        (beats, activity, pulse, cues)
    }

    /// Bars over such beats.
    fn found(told: usize, places: &[usize]) -> (usize, Bars) {
        pinned(told, places, &[])
    }

    /// The same where bars are known to begin on some of the beats.
    fn pinned(told: usize, places: &[usize], firsts: &[usize]) -> (usize, Bars) {
        let (beats, _, pulse, cues) = marked(told, places);
        let reading = Reading { frames: beats.clone(), way: 0, own: true };
        let judged = Judged::new(reading, &[beats], &pulse, &cues);
        let networks = Networks::new();
        let meter = likeliest_meter(&networks.scores(&judged.cues, &judged.marks));
        (METERS[meter].0, bar_path(&networks, meter, &judged.cues, &judged.marks, firsts))
    }

    #[test]
    fn bars_begin_where_the_marks_have_them_in_the_meter_that_fits() {
        for (told, beats_in_bar, first) in [(0, 4, 2), (0, 4, 0), (1, 3, 1), (2, 2, 1)] {
            let places: Vec<usize> = (0..48).map(|n| (n + beats_in_bar - first) % beats_in_bar).collect();
            let (meter, bars) = found(told, &places);
            assert_eq!((meter, bars.starts[0]), (beats_in_bar, first));
            assert!(bars.starts.windows(2).all(|w| w[1] - w[0] == beats_in_bar), "{:?}", bars.starts);
        }
    }

    #[test]
    fn a_bar_cut_short_is_one_bar() {
        // Sixty beats in fours, one that is left of a bar, and sixty more.
        let places: Vec<usize> = (0..61).chain(0..60).map(|n| n % 4).collect();
        let (_, bars) = found(0, &places);
        let odd: Vec<usize> = bars.starts.windows(2).filter(|w| w[1] - w[0] != 4).map(|w| w[1]).collect();
        assert!(bars.starts.contains(&8) && bars.starts.contains(&101) && odd == [61], "{:?}", bars.starts);
    }

    #[test]
    fn bars_begin_where_they_are_told_to() {
        let places: Vec<usize> = (0..61).chain(0..60).map(|n| n % 4).collect();
        let starts = |firsts: &[usize]| pinned(0, &places, firsts).1.starts;
        let odd = |starts: &[usize]| starts.windows(2).filter(|w| w[1] - w[0] != 4).map(|w| w[1]).collect::<Vec<usize>>();
        // What was told of one bar holds for all, and the bar that is cut short stays one.
        let one = starts(&[10]);
        assert!(one.contains(&2) && one.contains(&10) && one.contains(&107) && odd(&one).len() == 1, "{one:?}");
        // What is right already changes nothing.
        assert_eq!(starts(&[8]), starts(&[]));
        // Two that differ each have the beats near them, and what is odd lies between.
        let two = starts(&[10, 21]);
        assert!(two.contains(&2) && two.contains(&10) && two.contains(&21) && odd(&two).iter().filter(|b| (11..=21).contains(*b)).count() == 1, "{two:?}");
    }
}
