//! A passage's beats in the record to about a millisecond: beats that were heard, moved to where the strokes that are written around them begin.
//!
//! # Method
//! What was heard of a beat is right to some 10 ms, which is enough to count by and too little to play to. The record's onset strength is how fast its amplitude rises, whole and in
//! its upper half (J. P. Bello et al., "A tutorial on onset detection in music signals", IEEE Trans. SAP 13(5), 2005). Each written stroke looks for the steepest rise near the place that the heard beats
//! give it; a beat moves by the weighted median of what the strokes around it found, so that single strokes ahead of the beat or behind it move nothing.

use std::collections::BTreeMap;

/// Frames of onset strength a second.
const HOP_HZ: f64 = 1_000.0;
/// How far from its place a stroke is looked for, seconds.
const REACH_S: f64 = 0.032;
/// A rise counts where it stands out from its neighbourhood by this much.
const STANDS_OUT: f64 = 4.0;
/// Strokes up to so many beats from a beat speak for it.
const AROUND_BEATS: f64 = 0.75;
/// Fewer strokes than these say nothing.
const LEAST: usize = 2;

/// The onset strength of mono samples, at [`HOP_HZ`].
fn rises(samples: &[f32], rate_hz: u32) -> Vec<f64> {
    let hop = f64::from(rate_hz) / HOP_HZ;
    let count = (samples.len() as f64 / hop) as usize;
    let level = |k: usize, high: bool| -> f64 {
        let (a, b) = ((k as f64 * hop) as usize, (((k + 1) as f64 * hop) as usize).min(samples.len()));
        (a.max(1)..b).map(|i| f64::from(if high { samples[i] - samples[i - 1] } else { samples[i] }).powi(2)).sum::<f64>().sqrt()
    };
    let mut out = vec![0.0; count];
    for high in [false, true] {
        let levels: Vec<f64> = (0..count).map(|k| level(k, high)).collect();
        let most = levels.iter().copied().fold(1e-9, f64::max);
        for k in 3..count.saturating_sub(3) {
            // Two milliseconds against the two before.
            let rise = levels[k] + levels[k + 1] - levels[k - 1] - levels[k - 2];
            out[k] += rise.max(0.0) / most;
        }
    }
    out
}

/// Beats (seconds in the samples, written seconds; both rise) moved to the strokes, whose written times are given in seconds.
pub fn moved(samples: &[f32], rate_hz: u32, beats: &[(f64, f64)], strokes: &[f64]) -> Vec<(f64, f64)> {
    if beats.len() < 3 {
        return beats.to_vec();
    }
    let rises = rises(samples, rate_hz);
    let place = |w: f64| -> f64 {
        let i = beats.partition_point(|b| b.1 <= w).clamp(1, beats.len() - 1) - 1;
        let (a, b) = (beats[i], beats[i + 1]);
        a.0 + (w - a.1) / (b.1 - a.1) * (b.0 - a.0)
    };
    let at = |k: i64| usize::try_from(k).ok().and_then(|k| rises.get(k)).copied().unwrap_or(0.0);
    // Written time in milliseconds, so that strokes of several parts at once count once.
    let mut found: BTreeMap<i64, f64> = BTreeMap::new();
    for w in strokes {
        let middle = place(*w) * HOP_HZ;
        let reach = (REACH_S * HOP_HZ) as i64;
        let near = middle.round() as i64;
        let Some(best) = (near - reach..=near + reach).max_by(|a, b| at(*a).total_cmp(&at(*b))) else { continue };
        let around = (near - 150..=near + 150).map(at).sum::<f64>() / 301.0;
        // A rise at the border belongs to something else.
        if at(best) > STANDS_OUT * around && at(best) > 1e-3 && (best - near).abs() < reach {
            let (l, m, r) = (at(best - 1), at(best), at(best + 1));
            let bend = l - 2.0 * m + r;
            let between = if bend < 0.0 { (0.5 * (l - r) / bend).clamp(-0.5, 0.5) } else { 0.0 };
            found.insert((w * 1e3).round() as i64, (best as f64 + between - middle) / HOP_HZ);
        }
    }
    let beat = (beats[beats.len() - 1].1 - beats[0].1) / (beats.len() - 1) as f64;
    let off = |w: f64| -> Option<f64> {
        let reach = AROUND_BEATS * beat;
        let mut near: Vec<(f64, f64)> = found.iter().map(|(ms, off)| (*off, 1.0 - (*ms as f64 / 1e3 - w).abs() / reach)).filter(|n| n.1 > 0.0).collect();
        if near.len() < LEAST {
            return None;
        }
        near.sort_by(|a, b| a.0.total_cmp(&b.0));
        let half = near.iter().map(|n| n.1).sum::<f64>() / 2.0;
        let mut sum = 0.0;
        near.iter().find(|n| {
            sum += n.1;
            sum >= half
        }).map(|n| n.0)
    };
    let offs: Vec<Option<f64>> = beats.iter().map(|b| off(b.1)).collect();
    // A beat without strokes goes with its neighbours.
    let near = |k: usize| (0..beats.len()).filter_map(|d| k.checked_sub(d).and_then(|i| offs[i]).or_else(|| offs.get(k + d).copied().flatten())).next();
    let out: Vec<(f64, f64)> = beats.iter().enumerate().map(|(k, b)| (b.0 + offs[k].or_else(|| near(k)).unwrap_or(0.0), b.1)).collect();
    if out.windows(2).all(|w| w[1].0 > w[0].0) { out } else { beats.to_vec() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{laid, under};
    use hear::Pins;
    use lesson::{Lesson, Passage};
    use wave::Buffer;

    /// Twelve bars whose tempo wanders by 4 % to either side, and the same written at an even tempo.
    fn wandering() -> (Lesson, Lesson) {
        let bars = |wander: bool| -> String {
            (0..12)
                .map(|i| {
                    let tempo = 100.0 + if wander { 4.0 * (f64::from(i) * 1.1).sin() } else { 0.0 };
                    format!("bar \"5:3 . 4:2 .  5:3 5:3 4:2 .  5:5 . 4:2 .  3:2 . 4:5 .\" tempo={tempo:.3}\n")
                })
                .collect()
        };
        let kit = "repeat times=12 { bar { kick \"x . . . . . x . x . . . . . . .\"; snare \". . . . x . . . . . . . x . . .\"; hats \"x . x . x . x . x . x . x . x .\" } }";
        let text = |wander| format!("lesson \"t\" {{ passage \"p\" {{ tempo 100; slots 16; part \"line\" instrument=\"guitar\" {{ {} }}; part \"kit\" instrument=\"drums\" {{ {kit} }} }} }}", bars(wander));
        let of = |wander| {
            let r = lesson::read(&text(wander));
            assert!(r.is_sound(), "{:?}", r.problems);
            r.lesson
        };
        (of(true), of(false))
    }

    /// A knock that is heard exactly: 2 kHz dying within milliseconds.
    fn knock() -> Vec<f32> {
        (0..384).map(|n| (0.5 * (f64::from(n) * 0.262).sin() * (-f64::from(n) / 96.0).exp()) as f32).collect()
    }

    /// Where the knock lies nearest to a frame, in milliseconds behind it.
    fn behind(samples: &[f32], frame: usize) -> f64 {
        let knock = knock();
        let score = |lag: i64| -> f64 { knock.iter().enumerate().map(|(i, k)| f64::from(*k) * f64::from(usize::try_from(frame as i64 + lag + i as i64).ok().and_then(|n| samples.get(n)).copied().unwrap_or(0.0))).sum::<f64>().abs() };
        (-4_800..=4_800).max_by(|a, b| score(*a).total_cmp(&score(*b))).unwrap_or(0) as f64 / 48.0
    }

    fn strokes(p: &Passage) -> Vec<f64> {
        p.parts.iter().flat_map(lesson::soundings).map(|s| p.seconds_at(s.at)).collect()
    }

    /// Each figure is how far the record's own beats, knocked on the other channel where nobody listens, lie from the beats that the parts are played to.
    #[test]
    fn the_record_lies_in_step_with_the_parts() {
        let (played, written) = wandering();
        let p = &written.passages[0];
        let made = sound::render(&played.passages[0], &sound::Options { tempo_percent: 100, looped: false }, &sound::Takes::new(), &|_| ()).unwrap();
        let starts = played.passages[0].bar_starts();
        let end = *starts.last().unwrap();
        let truth: Vec<f64> = starts.windows(2).flat_map(|w| (0..4).map(move |k| w[0] + (w[1] - w[0]) * f64::from(k) / 4.0)).collect();
        let mono = made.mix.mono().channel(0).to_vec();
        let mut knocks = vec![0f32; mono.len()];
        for t in &truth {
            for (i, k) in knock().iter().enumerate() {
                if let Some(s) = knocks.get_mut((t * 48_000.0).round() as usize + i) {
                    *s += k;
                }
            }
        }
        let both = Buffer::new(48_000, vec![mono.clone(), knocks]).unwrap();
        let hearing = hear::hear_beats(&Buffer::from_mono(48_000, mono.clone()).unwrap(), &Pins::default(), &|_| ()).unwrap();
        let heard: Vec<f64> = hearing.beats.iter().flatten().map(|b| b.0).collect();
        let ways = [("its two ends", under(p, 0.0, end, &[])), ("heard beats", under(p, 0.0, end, &heard)), ("moved to the strokes", moved(&mono, 48_000, &under(p, 0.0, end, &heard), &strokes(p)))];
        for percent in [100u32, 60] {
            let frame = |s: f64| (s * 100.0 / f64::from(percent) * 48_000.0).round() as usize;
            for (name, beats) in &ways {
                let marks: Vec<(f64, usize)> = beats.iter().map(|(s, w)| (*s, frame(*w))).collect();
                let out = laid(&both, &marks, 0.0).unwrap();
                let first = marks[0].1;
                let signed: Vec<f64> = (1..truth.len()).map(|k| behind(out.channel(1), frame(0.6 * k as f64) - first)).collect();
                let mut off: Vec<f64> = signed.iter().map(|o| o.abs()).collect();
                off.sort_by(f64::total_cmp);
                let (middle, most) = (off[off.len() / 2], off[off.len() - 1]);
                eprintln!("at {percent} %, {name}: {middle:.2} ms in the middle, nine of ten within {:.2}, most {most:.2}; mean {:.2}", off[off.len() * 9 / 10], signed.iter().sum::<f64>() / signed.len() as f64);
                if *name == "moved to the strokes" {
                    assert!(middle < 2.0 && most < 4.0, "{middle}, {most}");
                }
            }
        }
    }
}
