//! The likeliest way through beats and bars, given how likely each moment is a beat.
//!
//! # Conventions
//! Frames here are those of [`pulse`](crate::pulse), 86 a second.
//!
//! # Method
//! A beat has a frame, the length of the beat before it, and a place in its bar; all ways through them are tried (after N. Whiteley, A. T. Cemgil and S. Godsill,
//! "Bayesian modelling of temporal structure in musical audio", ISMIR 2006, and F. Krebs, S. Böck and G. Widmer, "An efficient state-space model for joint tempo
//! and meter tracking", ISMIR 2015). Theirs steps from frame to frame; since a frame between beats weighs the same on every way, the sum here runs over beats
//! alone, each with the log odds of its probability. A change of length costs by its ratio, a bar cut short or drawn out costs [`BREAK`].

use crate::pulse::{Pulse, first_share};
use wave::lanes;

/// Frames of the shortest and the longest beat (207 and 46 bpm).
pub(crate) const SHORTEST: usize = 25;
pub(crate) const LONGEST: usize = 112;
/// Frames by which a beat's length differs from the one before at most, and what that costs for a ratio of 1.
const MOST_STEPS: usize = 3;
pub(crate) const CHANGE: f32 = 25.0;
const BREAK: f32 = 7.0;
/// What a beat is worth before the odds: between beats lie some fifteen moments of its kind.
const BEAT_WORTH: f32 = 3.0;
/// How much the place in the bar counts against the beat itself.
const PLACE_WEIGHT: f32 = 1.0;

/// Beats and their places in the bar.
pub(crate) struct Path {
    pub frames: Vec<usize>,
    /// 0 for the first of a bar.
    pub places: Vec<u8>,
    pub score: f32,
}

/// Worth of a beat on each frame as a bar's first and as another one.
pub(crate) struct Worth {
    first: Vec<f32>,
    other: Vec<f32>,
}

impl Worth {
    /// `weight` is that of the pulse; `own` adds what is known of a frame from elsewhere.
    pub fn new(pulse: &Pulse, weight: f32, own: impl Fn(usize) -> f32) -> Worth {
        let mut worth = Worth { first: Vec::new(), other: Vec::new() };
        for (n, (beat, down)) in pulse.beat.iter().zip(&pulse.down).enumerate() {
            let odds = weight * beat_worth(*beat) + own(n);
            let share = first_share(*down, *beat);
            worth.first.push(odds + PLACE_WEIGHT * weight * libm::logf(share));
            worth.other.push(odds + PLACE_WEIGHT * weight * libm::logf(1.0 - share));
        }
        worth
    }

    pub fn frames(&self) -> usize {
        self.first.len()
    }
}

/// What a beat of this probability is worth.
pub(crate) fn beat_worth(p: f32) -> f32 {
    log_odds(p) + BEAT_WORTH
}

pub(crate) fn log_odds(p: f32) -> f32 {
    let p = p.clamp(0.002, 0.998);
    libm::logf(p / (1.0 - p))
}

/// The best path in bars of `beats` beats, of lengths from `lengths.0` to `lengths.1` frames; `change` is what a doubled length would cost,
/// `usual` what a beat of each length gains. `None` for less than a beat.
pub(crate) fn path(worth: &Worth, beats: usize, lengths: (usize, usize), change: f32, usual: impl Fn(usize) -> f32) -> Option<Path> {
    lanes::widest(
        #[inline(always)]
        || path_plainly(worth, beats, lengths, change, usual),
    )
}

#[inline(always)]
fn path_plainly(worth: &Worth, beats: usize, lengths: (usize, usize), change: f32, usual: impl Fn(usize) -> f32) -> Option<Path> {
    let (shortest, longest) = lengths;
    let count = longest - shortest + 1;
    let frames = worth.first.len();
    let rows = beats * count;
    let usual: Vec<f32> = (shortest..=longest).map(usual).collect();
    let cost: Vec<Vec<f32>> =
        (0..=2 * MOST_STEPS).map(|k| (shortest..=longest).map(|l| change * k.abs_diff(MOST_STEPS) as f32 / l as f32).collect()).collect();
    // Of each frame, for each place and length to come: the best that leads there, kept for as long as a beat reaches back.
    let ring = longest + 1;
    let mut leaving = vec![f32::NEG_INFINITY; ring * rows];
    // By which place and change of length.
    let mut from = vec![0u8; frames * rows];
    let mut arrived = vec![f32::NEG_INFINITY; rows];
    let mut spread = vec![f32::NEG_INFINITY; rows];
    // As wide as what is compared.
    let mut step = vec![0u32; rows];
    let mut by = vec![0u32; count];
    let mut best = (f32::NEG_INFINITY, 0, 0, 0);
    for frame in 0..frames {
        for l in 0..count {
            let length = shortest + l;
            let left = frame.checked_sub(length).map(|f| f % ring * rows + l);
            for place in 0..beats {
                let own = if place == 0 { worth.first[frame] } else { worth.other[frame] };
                let reached = left.map_or(0.0, |left| leaving[left + place * count] + usual[l]);
                arrived[place * count + l] = reached + own;
            }
        }
        if frame + longest >= frames {
            for place in 0..beats {
                for l in 0..count {
                    if frame + shortest + l >= frames && arrived[place * count + l] > best.0 {
                        best = (arrived[place * count + l], frame, place, l);
                    }
                }
            }
        }
        // The best change of length out of each place.
        for place in 0..beats {
            let row = place * count..(place + 1) * count;
            let arrived = &arrived[row.clone()];
            let (spread, step) = (&mut spread[row.clone()], &mut step[row]);
            spread.copy_from_slice(arrived);
            step.fill(MOST_STEPS as u32);
            for k in (0..=2 * MOST_STEPS).filter(|k| *k != MOST_STEPS) {
                // Length l now, l + k - MOST_STEPS before.
                let low = MOST_STEPS.saturating_sub(k);
                let high = (count + MOST_STEPS).saturating_sub(k).min(count);
                if low >= high {
                    continue;
                }
                let before = &arrived[low + k - MOST_STEPS..high + k - MOST_STEPS];
                for (((now, step), before), cost) in spread[low..high].iter_mut().zip(&mut step[low..high]).zip(before).zip(&cost[k][low..high]) {
                    let reached = before - cost;
                    // Without a branch, so that several are compared at once.
                    let better = u32::from(reached > *now).wrapping_neg();
                    *step = (k as u32 & better) | (*step & !better);
                    *now = if reached > *now { reached } else { *now };
                }
            }
        }
        let leaving = &mut leaving[frame % ring * rows..(frame % ring + 1) * rows];
        let from = &mut from[frame * rows..(frame + 1) * rows];
        for place in 0..beats {
            let before = (place + beats - 1) % beats;
            let leaving = &mut leaving[place * count..(place + 1) * count];
            leaving.copy_from_slice(&spread[before * count..(before + 1) * count]);
            by.iter_mut().zip(&step[before * count..(before + 1) * count]).for_each(|(b, s)| *b = (before << 4) as u32 | s);
            // A bar may break off, and the next begin.
            for other in (0..before).filter(|_| place == 0) {
                let row = other * count..(other + 1) * count;
                for (((now, by), spread), step) in leaving.iter_mut().zip(&mut by).zip(&spread[row.clone()]).zip(&step[row]) {
                    let reached = spread - BREAK;
                    let better = u32::from(reached > *now).wrapping_neg();
                    *by = (((other << 4) as u32 | step) & better) | (*by & !better);
                    *now = if reached > *now { reached } else { *now };
                }
            }
            from[place * count..(place + 1) * count].iter_mut().zip(&by).for_each(|(f, b)| *f = *b as u8);
        }
    }
    let (score, mut frame, mut place, mut l) = best;
    if score == f32::NEG_INFINITY {
        return None;
    }
    let mut out = Path { frames: vec![frame], places: vec![place as u8], score };
    while frame >= shortest + l {
        frame -= shortest + l;
        let by = from[frame * rows + place * count + l];
        place = usize::from(by >> 4);
        l = l + usize::from(by & 15) - MOST_STEPS;
        out.frames.push(frame);
        out.places.push(place as u8);
    }
    out.frames.reverse();
    out.places.reverse();
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Beats at the given frames, a bar's first where the place is 0.
    fn shown(beats: &[(usize, bool)], frames: usize) -> Pulse {
        let mut pulse = Pulse { beat: vec![0.01; frames], down: vec![0.002; frames], meters: [1.0 / 3.0; 3] };
        for (at, first) in beats {
            pulse.beat[*at] = 0.7;
            pulse.down[*at] = if *first { 0.6 } else { 0.03 };
        }
        pulse
    }

    fn best(pulse: &Pulse, beats: usize) -> Path {
        path(&Worth::new(pulse, 1.0, |_| 0.0), beats, (SHORTEST, LONGEST), CHANGE, |_| 0.0).unwrap()
    }

    #[test]
    fn a_moving_tempo_is_followed_and_the_meter_is_the_one_that_fits() {
        let mut at = 20.0;
        let beats: Vec<(usize, bool)> = (0..48)
            .map(|b| {
                at += 43.0 + 4.0 * libm::sin(f64::from(b) / 6.0);
                (at as usize, b % 3 == 1)
            })
            .collect();
        let pulse = shown(&beats, 2_200);
        let three = best(&pulse, 3);
        let found: Vec<(usize, bool)> = three.frames.iter().zip(&three.places).map(|(f, p)| (*f, *p == 0)).collect();
        assert!(beats.iter().all(|b| found.contains(b)), "{found:?}");
        assert!(three.score > best(&pulse, 4).score + 10.0);
    }

    #[test]
    fn a_beat_left_out_is_bridged_and_a_bar_cut_short_is_followed() {
        let mut beats: Vec<(usize, bool)> = (0..40).map(|b| (10 + 40 * b, if b < 22 { b % 4 == 0 } else { (b - 22) % 4 == 0 })).collect();
        beats.remove(13);
        let found = best(&shown(&beats, 1_600), 4);
        assert_eq!(found.frames, (0..40).map(|b| 10 + 40 * b).collect::<Vec<_>>());
        assert_eq!(found.places[20..24], [0, 1, 0, 1]);
    }

    #[test]
    fn nothing_gives_no_path() {
        assert!(path(&Worth::new(&shown(&[], 0), 1.0, |_| 0.0), 4, (SHORTEST, LONGEST), CHANGE, |_| 0.0).is_none());
    }
}
