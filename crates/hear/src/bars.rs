//! Bars and meter over known beats, and swing.
//!
//! # Method
//! Each beat has three marks of a bar's beginning: how much the harmony changes there (the angle between the tones of the beat before
//! and after), how strong the bass sets in, how strong everything does. For each meter a pattern says what is to be expected of each beat of the bar;
//! the best way through the bar (Viterbi; a beat too many or too few costs) is found for each, and the meter that explains most is kept (after
//! M. Goto, "An audio-based real-time beat tracking system", J. New Music Research 30(2), 2001: chord changes fall on bar lines).

use crate::beats::{Activity, Beats, GRIDS, peak_time};
use crate::hearing::{Meter, Swing};
use crate::mono::RATE_HZ;
use crate::streams::{BINS, Streams, TONE_HOP, onset_rate};
use wave::Seconds;

/// What each beat of a bar shows in harmonic change, bass and level, in spreads of each mark.
struct Pattern {
    beats: usize,
    expect: &'static [[f64; 3]],
    /// What the meter must make up for, a beat.
    rare: f64,
}

const PATTERNS: [Pattern; 3] = [
    Pattern { beats: 4, expect: &[[1.0, 0.5, 0.2], [-0.4, -0.3, -0.1], [-0.1, 0.1, 0.0], [-0.5, -0.3, -0.1]], rare: 0.0 },
    Pattern { beats: 3, expect: &[[1.0, 0.5, 0.2], [-0.5, -0.3, -0.1], [-0.5, -0.2, -0.1]], rare: 0.08 },
    Pattern { beats: 2, expect: &[[0.8, 0.4, 0.1], [-0.8, -0.4, -0.1]], rare: 0.15 },
];
/// What a bar cut short or drawn out costs.
const BREAK: f64 = 8.0;

/// Bars over beats.
pub(crate) struct Bars {
    pub meter: Meter,
    /// Places in the list of beats at which a bar begins.
    pub starts: Vec<usize>,
}

pub(crate) fn bars(beats: &Beats, streams: &Streams, activity: &Activity) -> Option<Bars> {
    let marks = marks(&beats.times, streams, activity);
    if marks.len() < 6 {
        return None;
    }
    let thirds = GRIDS[beats.grid].parts == 3;
    let mut best: Option<(f64, &Pattern, Vec<usize>)> = None;
    for pattern in &PATTERNS {
        // Two dotted beats are 6/8; two plain ones are not told from 4/4 here.
        if (pattern.beats == 2) != thirds {
            continue;
        }
        let (score, starts) = through(&marks, pattern);
        let score = score - pattern.rare * marks.len() as f64;
        if best.as_ref().is_none_or(|b| score > b.0) {
            best = Some((score, pattern, starts));
        }
    }
    let (_, pattern, starts) = best?;
    let meter = if thirds { Meter { over: 6, under: 8 } } else { Meter { over: pattern.beats as u8, under: 4 } };
    Some(Bars { meter, starts })
}

/// The best way through bars: what it explains, and where they begin.
fn through(marks: &[[f64; 3]], pattern: &Pattern) -> (f64, Vec<usize>) {
    let m = pattern.beats;
    let fit = |mark: &[f64; 3], place: usize| -> f64 { (0..3).map(|i| mark[i] * pattern.expect[place][i]).sum() };
    let mut score: Vec<f64> = (0..m).map(|p| fit(&marks[0], p)).collect();
    let mut from: Vec<Vec<usize>> = vec![Vec::new()];
    for mark in &marks[1..] {
        let mut next = Vec::new();
        let mut back = Vec::new();
        for place in 0..m {
            let (before, reached) = (0..m)
                .map(|b| (b, score[b] - if (b + 1) % m == place { 0.0 } else { BREAK }))
                .fold((0, f64::NEG_INFINITY), |best, c| if c.1 > best.1 { c } else { best });
            next.push(reached + fit(mark, place));
            back.push(before);
        }
        score = next;
        from.push(back);
    }
    let (mut place, best) = score.iter().copied().enumerate().fold((0, f64::NEG_INFINITY), |b, c| if c.1 > b.1 { c } else { b });
    let mut starts = Vec::new();
    for beat in (0..marks.len()).rev() {
        if place == 0 {
            starts.push(beat);
        }
        if beat > 0 {
            place = from[beat][place];
        }
    }
    starts.reverse();
    (best, starts)
}

/// Harmonic change, bass and level at each beat, each in spreads from its mean.
fn marks(times: &[Seconds], streams: &Streams, activity: &Activity) -> Vec<[f64; 3]> {
    let frame_of = |t: f64| t * f64::from(RATE_HZ) / TONE_HOP as f64;
    let spectra: Vec<Vec<f64>> = (0..times.len())
        .map(|b| {
            let start = times[b].0;
            let end = times.get(b + 1).map_or(start + 0.5, |t| t.0);
            // The window is wide: the middle of the beat is its own.
            let (low, high) = (frame_of(start + 0.25 * (end - start)).round() as usize, frame_of(start + 0.85 * (end - start)).round() as usize);
            let mut sum = vec![0.0f64; BINS / 3];
            for frame in low..=high.max(low) {
                if frame < streams.tone_frames() {
                    for (s, bins) in sum.iter_mut().zip(streams.tone(frame).chunks_exact(3)) {
                        *s += f64::from(bins.iter().fold(0.0f32, |m, v| m.max(*v)));
                    }
                }
            }
            sum.iter().map(|v| libm::sqrt(*v)).collect()
        })
        .collect();
    let cosine = |a: &[f64], b: &[f64]| {
        let dot = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(p, q)| p * q).sum::<f64>();
        dot(a, b) / libm::sqrt(dot(a, a) * dot(b, b)).max(1e-12)
    };
    let near = |values: &[f64], t: f64| {
        let at = (t * onset_rate()).round() as usize;
        values[at.saturating_sub(4).min(values.len())..(at + 5).min(values.len())].iter().fold(0.0, |m: f64, v| m.max(*v))
    };
    let raw: Vec<[f64; 3]> = (0..times.len())
        .map(|b| {
            let change = if b == 0 { 0.3 } else { 1.0 - cosine(&spectra[b - 1], &spectra[b]) };
            [libm::sqrt(change.max(0.0)), near(&activity.low, times[b].0), near(&activity.all, times[b].0)]
        })
        .collect();
    let mut out = raw.clone();
    for i in 0..3 {
        let mean = raw.iter().map(|r| r[i]).sum::<f64>() / raw.len() as f64;
        let spread = libm::sqrt(raw.iter().map(|r| (r[i] - mean) * (r[i] - mean)).sum::<f64>() / raw.len() as f64);
        out.iter_mut().for_each(|r| r[i] = if spread > 1e-6 { ((r[i] - mean) / spread).clamp(-2.5, 2.5) } else { 0.0 });
    }
    out
}

/// How pairs of eighths, or of sixteenths, are shared out; `None` where fewer than eight pairs speak, or they do not agree.
pub(crate) fn swing(beats: &Beats, activity: &Activity) -> Option<Swing> {
    let parts = GRIDS[beats.grid].parts;
    if parts == 3 {
        return None;
    }
    let (of, halves) = if parts == 2 { (8, 1) } else { (16, 2) };
    let mut places: Vec<f64> = Vec::new();
    for pair in beats.times.windows(2) {
        let length = (pair[1].0 - pair[0].0) / f64::from(halves);
        for half in 0..halves {
            let start = pair[0].0 + f64::from(half) * length;
            let (low, high) = (((start + 0.4 * length) * onset_rate()).ceil() as usize, ((start + 0.78 * length) * onset_rate()) as usize);
            let peak = (low.max(1)..high.min(activity.all.len().saturating_sub(1)))
                .filter(|n| activity.all[*n] > 0.3 && activity.all[*n] >= activity.all[*n - 1] && activity.all[*n] >= activity.all[*n + 1])
                .max_by(|a, b| activity.all[*a].total_cmp(&activity.all[*b]));
            if let Some(n) = peak {
                places.push((peak_time(&activity.all, n) - start) / length);
            }
        }
    }
    if places.len() < 8 {
        return None;
    }
    places.sort_by(f64::total_cmp);
    let at = |q: f64| places[((places.len() - 1) as f64 * q).round() as usize];
    let agree = at(0.75) - at(0.25) < 0.12;
    agree.then(|| Swing { percent: 100.0 * at(0.5), of })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Marks of bars of `m` beats that begin at beat `first`: a change of harmony on each first beat, but for every third.
    fn played(m: usize, first: usize, beats: usize) -> Vec<[f64; 3]> {
        (0..beats)
            .map(|b| {
                let place = (b + m - first) % m;
                let bar = (b + m - first) / m;
                if place == 0 && bar % 3 != 0 { [1.6, 0.8, 0.2] } else { [-0.5, if place == 0 { 0.8 } else { -0.2 }, 0.0] }
            })
            .collect()
    }

    fn meter(marks: &[[f64; 3]]) -> (usize, Vec<usize>) {
        let score = |p: &Pattern| through(marks, p).0 - p.rare * marks.len() as f64;
        let best = PATTERNS[..2].iter().max_by(|a, b| score(a).total_cmp(&score(b))).unwrap();
        (best.beats, through(marks, best).1)
    }

    #[test]
    fn four_and_three_are_told_apart_and_bars_begin_where_the_harmony_changes() {
        for (m, first) in [(4, 0), (4, 1), (4, 3), (3, 0), (3, 2)] {
            let (found, starts) = meter(&played(m, first, 36));
            assert_eq!((found, starts[0]), (m, first));
            assert!(starts.windows(2).all(|w| w[1] - w[0] == m));
        }
    }

    #[test]
    fn a_bar_cut_short_is_followed() {
        let mut marks = played(4, 0, 22);
        marks.extend(played(4, 0, 24));
        let starts = through(&marks, &PATTERNS[0]).1;
        assert!(starts.contains(&16) && starts.contains(&22) && starts.contains(&42), "{starts:?}");
    }

    #[test]
    fn swing_is_the_share_of_the_first() {
        for (place, grid) in [(0.5, 1), (0.6, 2), (0.667, 3)] {
            let times: Vec<Seconds> = (0..20).map(|b| Seconds(0.5 + 0.5 * f64::from(b))).collect();
            let mut all = vec![0.0; (11.0 * onset_rate()) as usize];
            for t in &times {
                for at in [t.0, t.0 + 0.5 * place] {
                    all[(at * onset_rate()).round() as usize] = 1.0;
                }
            }
            let beats = Beats { times, grid, spacing: 1.0, confidence: 1.0, bars: None, others: Vec::new() };
            let found = swing(&beats, &Activity { low: Vec::new(), all }).unwrap();
            assert_eq!(found.of, 8);
            assert!((found.percent - 100.0 * place).abs() < 1.0, "{}", found.percent);
        }
    }
}
