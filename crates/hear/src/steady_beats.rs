//! Ways through a record that keep their tempo: for each tempo the best of them, whose beats neither slip nor go over to the off-beat where the playing leaves them open.
//!
//! # Conventions
//! Frames here are those of [`pulse`](crate::pulse), 86 a second, with fractions.
//!
//! # Method
//! A beat's length in whole frames is off by up to a fiftieth, which in a minute adds up to a beat: what follows bare frames slips unseen where nothing holds it. Here each tempo, 4 % from the next, has
//! beats of [`PARTS`] parts, of which a beat is up to [`MOST`] longer or shorter; all ways through (position, length) are tried (after N. Whiteley, A. T. Cemgil and S. Godsill, "Bayesian modelling of
//! temporal structure in musical audio", ISMIR 2006), and from a beat to the next its length changes by a part or two at most, at a cost ([`Follows`]). So a tempo follows players, but not within a few beats.

use wave::lanes;

/// Parts of a beat that positions are told to.
const PARTS: usize = 256;
/// Parts by which a beat is longer or shorter than the tempo's (4 %).
const MOST: usize = 10;
const LENGTHS: usize = 2 * MOST + 1;
/// Ratio of a tempo to the next.
const STEP: f64 = 1.04;
/// Positions that are worked out together; less than a beat.
const BLOCK: usize = 128;
const REACH: usize = PARTS + MOST;

/// By how many parts a beat is longer or shorter than the one before at most, and what each costs.
pub(crate) struct Follows {
    pub most: u8,
    pub cost: f32,
}

/// The best way at each tempo with beats of `lengths.0` to `lengths.1` frames, likeliest first. `worth` is that of a beat on each frame, `usual` what a beat of a length gains. What is shorter than four
/// beats of a tempo has none.
pub(crate) fn steady_beats(worth: &[f32], lengths: (f64, f64), follows: &Follows, usual: impl Fn(f64) -> f32) -> Vec<Vec<f64>> {
    let count = (libm::log(lengths.1 / lengths.0) / libm::log(STEP)).ceil() as usize;
    let mut out: Vec<(f32, Vec<f64>)> = (0..=count)
        .filter_map(|n| {
            let length = lengths.0 * libm::pow(STEP, n as f64);
            lanes::widest(
                #[inline(always)]
                || at_tempo(worth, length, follows, usual(length)),
            )
        })
        .collect();
    out.sort_by(|a, b| b.0.total_cmp(&a.0));
    out.into_iter().map(|(_, frames)| frames).collect()
}

#[inline(always)]
fn at_tempo(worth: &[f32], length: f64, follows: &Follows, usual: f32) -> Option<(f32, Vec<f64>)> {
    let part = length / PARTS as f64;
    let count = (worth.len() as f64 / part) as usize;
    if count < 4 * PARTS {
        return None;
    }
    let own = |at: usize| -> f32 {
        let at = at as f64 * part;
        let low = at as usize;
        let get = |n: usize| worth.get(n).copied().unwrap_or(0.0);
        let share = (at - low as f64) as f32;
        usual + get(low) * (1.0 - share) + get(low + 1) * share
    };
    // For each length, the best that has a beat on a position and goes on with that length: of the positions that a beat reaches back to, and then those of this block.
    let mut leaving = vec![[0.0f32; REACH + BLOCK]; LENGTHS];
    let mut arrived = vec![[0.0f32; BLOCK]; LENGTHS];
    let mut by = vec![0i8; count.div_ceil(BLOCK) * BLOCK * LENGTHS];
    let mut best = (f32::NEG_INFINITY, 0, 0);
    for first in (0..count).step_by(BLOCK) {
        let values: [f32; BLOCK] = std::array::from_fn(|n| own(first + n));
        for (l, arrived) in arrived.iter_mut().enumerate() {
            // Before the first beat there is nothing.
            leaving[l].copy_within(BLOCK.., 0);
            let from = &leaving[l][REACH - (PARTS + l - MOST)..][..BLOCK];
            for ((a, f), v) in arrived.iter_mut().zip(from).zip(&values) {
                *a = f + v;
            }
        }
        for l in 0..LENGTHS {
            let now = &mut leaving[l][REACH..];
            now.copy_from_slice(&arrived[l]);
            let steps = &mut by[(first / BLOCK * LENGTHS + l) * BLOCK..][..BLOCK];
            for step in (1..=follows.most as i8).flat_map(|s| [-s, s]) {
                let Some(other) = l.checked_add_signed(step.into()).filter(|o| *o < LENGTHS) else { continue };
                let cost = follows.cost * f32::from(step.abs());
                for ((now, s), before) in now.iter_mut().zip(steps.iter_mut()).zip(&arrived[other]) {
                    let reached = before - cost;
                    *s = if reached > *now { step } else { *s };
                    *now = if reached > *now { reached } else { *now };
                }
            }
        }
        if first + BLOCK + REACH >= count {
            for (l, arrived) in arrived.iter().enumerate() {
                for (n, a) in arrived.iter().enumerate() {
                    let at = first + n;
                    if at < count && at + PARTS + l - MOST >= count && *a > best.0 {
                        best = (*a, at, l);
                    }
                }
            }
        }
    }
    let (score, mut at, mut l) = best;
    let mut frames = vec![at as f64 * part];
    while at >= PARTS + l - MOST {
        at -= PARTS + l - MOST;
        let step = by[(at / BLOCK * LENGTHS + l) * BLOCK + at % BLOCK];
        l = (l as isize + isize::from(step)) as usize;
        frames.push(at as f64 * part);
    }
    frames.reverse();
    Some((score, frames))
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAMES: usize = 3_000;

    /// What beats at these places are worth, and everything else.
    fn shown(beats: &[f64]) -> Vec<f32> {
        let mut worth = vec![-3.0; FRAMES];
        for at in beats {
            let low = *at as usize;
            worth[low] = 3.0;
            worth[low + 1] = 3.0;
        }
        worth
    }

    fn found(worth: &[f32]) -> Vec<Vec<f64>> {
        steady_beats(worth, (25.0, 112.0), &Follows { most: 1, cost: 0.7 }, |_| 0.0)
    }

    fn farthest(way: &[f64], beats: &[f64]) -> f64 {
        beats.iter().map(|b| way.iter().map(|w| (w - b).abs()).fold(f64::MAX, f64::min)).fold(0.0, f64::max)
    }

    #[test]
    fn beats_between_frames_are_kept_through_a_gap_and_through_off_beats() {
        let every = |n: f64| 20.0 + 43.37 * n;
        let all: Vec<f64> = (0..68).map(|n| every(f64::from(n))).collect();
        // Eight beats without anything, and later ten on which only the places between are struck.
        let played: Vec<f64> = (0..68).filter(|n| !(16..24).contains(n)).map(|n| every(f64::from(n) + if (40..50).contains(&n) { 0.5 } else { 0.0 })).collect();
        let ways = found(&shown(&played));
        assert!(farthest(&ways[0], &all) < 2.5, "{}", farthest(&ways[0], &all));
        assert!((ways[0].len() as i64 - 68).abs() <= 1);
    }

    #[test]
    fn a_tempo_that_moves_slowly_is_followed() {
        let mut at = 20.0;
        let beats: Vec<f64> = (0..60)
            .map(|n| {
                at += 45.0 * (1.0 + 0.025 * libm::sin(f64::from(n) / 12.0));
                at
            })
            .collect();
        let ways = found(&shown(&beats));
        assert!(farthest(&ways[0], &beats) < 3.0, "{}", farthest(&ways[0], &beats));
    }

    #[test]
    fn each_tempo_has_a_way_and_each_way_keeps_to_it() {
        let ways = found(&shown(&(0..60).map(|n| 20.0 + 45.0 * f64::from(n)).collect::<Vec<_>>()));
        assert!(ways.len() > 30);
        for way in &ways {
            let lengths: Vec<f64> = way.windows(2).map(|w| w[1] - w[0]).collect();
            let (least, most) = lengths.iter().fold((f64::MAX, 0.0), |(a, b): (f64, f64), l| (a.min(*l), b.max(*l)));
            assert!(least > 0.0 && most / least < 1.085, "{least} to {most}");
            assert!(lengths.windows(2).all(|l| (l[1] - l[0]).abs() < 0.005 * l[0]));
        }
    }

    #[test]
    fn what_is_shorter_than_four_beats_has_no_way() {
        assert!(found(&[]).is_empty());
        assert!(found(&[1.0; 90]).is_empty());
        assert!(!found(&[1.0; 120]).is_empty());
    }
}
