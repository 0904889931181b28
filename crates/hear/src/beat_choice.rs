//! Which reading of the beat it is: the network's beats, those of onset strength and such as keep their tempo, each also at other rates and phases, are held side by side, and one is chosen.
//!
//! # Conventions
//! Frames are those of the onset stream, with fractions.
//!
//! # Method
//! What a tracker gets wrong is mostly the octave or the phase (M. Davies, N. Degara and M. Plumbley, "Evaluation methods for musical audio beat tracking algorithms",
//! 2009, list such readings of one beat), so all of them are made from a few ways through the record, and each is judged as a whole: how likely the network holds its beats and
//! the places between, how strong onsets, bass and changes of harmony are there, where long notes begin, which way strings are struck, how much bars are alike, how usual the tempo is and how much it
//! bends, whether all of the record speaks for it, and whether the sound begins on it. A small network gives each reading its odds; those were learned on playing made for it and on players 00 and 01 (`training/beats/choice.py`).

use crate::bar_marks::{BarMarks, bar_marks};
use crate::beats::{Activity, GRIDS, Held, odds, wide};
use crate::chord_scorer::log_sum;
use crate::classes::{ALL, Classes};
use crate::pulse::{Pulse, near};
use crate::reading_score::{Networks, Scores, likeliest_meter};
use crate::rhythm::novelty;
use crate::streams::{GROUPS, ONSET_HOP, Streams, TONE_HOP, onset_rate};

/// Readings of a way through the record: beats for each of its own, and where the first lies.
const READINGS: [(f64, f64); 28] = [
    (1.0, 0.0),
    (1.0, 0.5),
    (1.0, 0.25),
    (1.0, 0.75),
    (1.0, 1.0 / 3.0),
    (1.0, 2.0 / 3.0),
    (2.0, 0.0),
    (2.0, 0.25),
    (0.5, 0.0),
    (0.5, 1.0),
    (0.5, 0.5),
    (0.5, 1.5),
    (1.5, 0.0),
    (1.5, 1.0 / 3.0),
    (2.0 / 3.0, 0.0),
    (2.0 / 3.0, 0.5),
    (2.0 / 3.0, 1.0),
    (4.0 / 3.0, 0.0),
    (4.0 / 3.0, 0.25),
    (4.0 / 3.0, 0.5),
    (0.75, 0.0),
    (0.75, 1.0 / 3.0),
    (0.75, 2.0 / 3.0),
    (0.75, 1.0),
    (3.0, 0.0),
    (1.0 / 3.0, 0.0),
    (1.0 / 3.0, 1.0),
    (1.0 / 3.0, 2.0),
];
/// Places within a beat that are looked at.
const PLACES: [f64; 6] = [0.0, 0.5, 0.25, 0.75, 1.0 / 3.0, 2.0 / 3.0];
const STREAMS: usize = 9;
/// Streams whose even and odd beats are held against each other.
const ALTERNATING: [usize; 5] = [1, 2, 3, 4, 7];
/// What a reading is judged by.
pub(crate) const CUES: usize = STREAMS * PLACES.len() + 2 * ALTERNATING.len() + 4 + 2 + 2 + 2 + 2 + 9 + 3 + 1 + 3 + 4 + PLACES.len() + 2 + 2;

/// The cue that holds octaves from a usual tempo, and the first of those that hold what the network of beats tells of the meter.
pub(crate) const OCTAVES: usize = 72;
pub(crate) const TOLD_METERS: usize = 85;

/// What is known of each frame.
pub(crate) struct Cues {
    streams: [Vec<f32>; STREAMS],
    /// Places and heights of onsets.
    onsets: Vec<(f64, f64)>,
    /// Around each onset, how much longer it lasts until the next than it mostly does.
    held: Vec<f32>,
    first: f64,
    last: f64,
    meters: [f32; 3],
    smooth: Vec<f64>,
    low: Vec<f64>,
    pub classes: Classes,
}

impl Cues {
    /// Of a record.
    pub fn new(streams: &Streams, activity: &Activity, pulse: &Pulse, classes: Classes) -> Cues {
        Cues::from(activity, pulse, &streams.onsets, &novelty(&classes, 2, 8, ALL), classes)
    }

    /// The stream of this number, a value a frame.
    pub fn stream(&self, number: usize) -> &[f32] {
        &self.streams[number]
    }

    /// `changes` are how much the harmony moves, a tone frame.
    pub fn from(activity: &Activity, pulse: &Pulse, onsets: &[[f32; GROUPS]], changes: &[f32], classes: Classes) -> Cues {
        let frames = activity.all.len();
        let part = |groups: std::ops::Range<usize>| -> Vec<f32> {
            let sums: Vec<f64> = onsets.iter().map(|g| g[groups.clone()].iter().map(|v| f64::from(*v)).sum()).collect();
            if sums.len() == frames { wide(&crate::beats::against_nearby(&sums)).iter().map(|v| *v as f32).collect() } else { vec![0.0; frames] }
        };
        let smooth = wide(&activity.all);
        let per_tone = (TONE_HOP / ONSET_HOP) as f32;
        let change: Vec<f32> = (0..frames)
            .map(|n| {
                let at = n as f32 / per_tone;
                let low = at as usize;
                let get = |i: usize| changes.get(i.min(changes.len().saturating_sub(1))).copied().unwrap_or(0.0);
                get(low) * (1.0 - (at - low as f32)) + get(low + 1) * (at - low as f32)
            })
            .collect();
        let struck: Vec<f32> = change.iter().zip(&smooth).map(|(c, a)| c * *a as f32).collect();
        let beat: Vec<f32> = (0..frames).map(|n| near(&pulse.beat, n / 2)).collect();
        let certain = beat.iter().map(|p| crate::beat_path::log_odds(*p) / 5.0).collect();
        let a = &activity.all;
        let struck_at: Vec<(f64, f64)> = (1..frames.saturating_sub(1)).filter(|n| a[*n] > 0.2 && a[*n] >= a[n - 1] && a[*n] > a[n + 1]).map(|n| (n as f64, a[n])).collect();
        let strong: Vec<usize> = (0..frames).filter(|n| activity.all[*n] > 0.3).collect();
        let mean_one = |v: Vec<f32>| -> Vec<f32> {
            let mean = v.iter().sum::<f32>() / v.len().max(1) as f32;
            v.iter().map(|x| if mean > 1e-6 { (x / mean / 4.0).min(3.0) } else { 0.0 }).collect()
        };
        let low = activity.low.clone();
        Cues {
            streams: [
                certain,
                smooth.iter().map(|v| *v as f32).collect(),
                wide(&activity.low).iter().map(|v| *v as f32).collect(),
                part(2..5),
                part(5..GROUPS),
                beat,
                mean_one(change),
                mean_one(struck),
                struck_down(activity, onsets),
            ],
            held: held(&struck_at, frames),
            onsets: struck_at,
            first: strong.first().copied().unwrap_or(0) as f64,
            last: strong.last().copied().unwrap_or(0) as f64,
            meters: pulse.meters,
            smooth,
            low,
            classes,
        }
    }
}

/// The logarithm of how long it is from each onset to the next, a second at most, over what it is on the average; a frame.
fn held(onsets: &[(f64, f64)], frames: usize) -> Vec<f32> {
    let lasts: Vec<f64> = onsets.windows(2).map(|o| libm::log((o[1].0 - o[0].0).min(onset_rate()))).collect();
    let mean = lasts.iter().sum::<f64>() / lasts.len().max(1) as f64;
    let mut out = vec![0.0; frames];
    for ((at, _), lasts) in onsets.iter().zip(&lasts) {
        let at = *at as usize;
        out[at.saturating_sub(3)..(at + 4).min(frames)].fill((lasts - mean).clamp(-1.5, 1.5) as f32);
    }
    out
}

/// Positive where the low strings sound before the high ones, negative where after them; weighted by the onset.
fn struck_down(activity: &Activity, onsets: &[[f32; GROUPS]]) -> Vec<f32> {
    let frames = activity.all.len();
    let mut out = vec![0.0f32; frames];
    if onsets.len() != frames {
        return out;
    }
    let middle = |at: usize, groups: std::ops::Range<usize>| -> Option<f32> {
        let (mut sum, mut moment) = (0.0f32, 0.0f32);
        for n in at.saturating_sub(6)..(at + 7).min(frames) {
            let v: f32 = onsets[n][groups.clone()].iter().sum();
            sum += v;
            moment += v * (n as f32 - at as f32);
        }
        (sum > 1e-3).then_some(moment / sum)
    };
    for at in 1..frames.saturating_sub(1) {
        let a = &activity.all;
        if a[at] > 0.15 && a[at] >= a[at - 1] && a[at] > a[at + 1] {
            if let (Some(low), Some(high)) = (middle(at, 1..4), middle(at, 5..GROUPS)) {
                let value = a[at] as f32 * (high - low).clamp(-2.0, 2.0);
                for o in &mut out[at.saturating_sub(3)..(at + 4).min(frames)] {
                    *o = value;
                }
            }
        }
    }
    out
}

/// A reading of the beat.
#[derive(Clone, Debug)]
pub(crate) struct Reading {
    /// Rising.
    pub frames: Vec<f64>,
    /// Which of the ways it is a reading of, and whether it is that way itself.
    pub way: usize,
    pub own: bool,
}

/// Readings that have more than this in common are the same.
pub(crate) const ALIKE: f64 = 0.97;

/// All readings of the ways (each frames of beats) whose beats are within the lengths.
pub(crate) fn readings(ways: &[Vec<f64>], lengths: (f64, f64), frames: usize) -> Vec<Reading> {
    let mut out: Vec<Reading> = Vec::new();
    for (w, way) in ways.iter().enumerate().filter(|(_, w)| w.len() >= 4) {
        let last = way.len() - 1;
        // On past both ends at the tempo there.
        let at = |place: f64| -> f64 {
            if place < 0.0 {
                return way[0] + place * (way[2] - way[0]) / 2.0;
            }
            if place >= last as f64 {
                return way[last] + (place - last as f64) * (way[last] - way[last - 2]) / 2.0;
            }
            let low = place as usize;
            way[low] + (place - low as f64) * (way[low + 1] - way[low])
        };
        for (rate, phase) in READINGS {
            let own = rate == 1.0 && phase == 0.0;
            let step = 1.0 / rate;
            let found: Vec<f64> = if own {
                way.clone()
            } else {
                let first = phase - (phase / step).ceil() * step - step;
                (0..)
                    .map(|k| first + f64::from(k) * step)
                    .take_while(|p| *p < way.len() as f64 + 1.0)
                    .map(at)
                    .filter(|f| (0.0..frames as f64).contains(f))
                    .collect()
            };
            if found.len() < 4 {
                continue;
            }
            let length = (found[found.len() - 1] - found[0]) / (found.len() - 1) as f64;
            let there = |r: &Reading| alike(&r.frames, &found) > ALIKE;
            if length >= lengths.0 && length <= lengths.1 && !out.iter().any(there) {
                out.push(Reading { frames: found, way: w, own });
            }
        }
    }
    out
}

/// The share of beats that two readings have in common (within 40 ms), as an F-measure.
pub(crate) fn alike(a: &[f64], b: &[f64]) -> f64 {
    let near = 0.04 * onset_rate();
    let (mut i, mut j, mut hits) = (0, 0, 0);
    while i < a.len() && j < b.len() {
        if (a[i] - b[j]).abs() <= near {
            hits += 1;
            i += 1;
            j += 1;
        } else if a[i] < b[j] {
            i += 1;
        } else {
            j += 1;
        }
    }
    2.0 * f64::from(hits) / (a.len() + b.len()).max(1) as f64
}

/// The last beat before a frame, the first before all of them, and the beats since it.
pub(crate) fn place(beats: &[f64], frame: f64) -> (usize, f64) {
    let at = beats.partition_point(|b| *b <= frame).clamp(1, beats.len() - 1);
    (at - 1, (frame - beats[at - 1]) / (beats[at] - beats[at - 1]))
}

/// Beats since the last beat.
fn phase(beats: &[f64], frame: f64) -> f64 {
    place(beats, frame).1
}

/// How far beats are from even ones, in beats: the root mean square over so many of them, where it is most.
fn bent(beats: &[f64], together: usize) -> f64 {
    let together = together.min(beats.len());
    let middle = (together - 1) as f64 / 2.0;
    let spread: f64 = (0..together).map(|n| (n as f64 - middle) * (n as f64 - middle)).sum();
    let window = |own: &[f64]| {
        let mean = own.iter().sum::<f64>() / together as f64;
        let slope = own.iter().enumerate().map(|(n, b)| (n as f64 - middle) * b).sum::<f64>() / spread;
        let left = own.iter().enumerate().map(|(n, b)| b - mean - slope * (n as f64 - middle)).map(|l| l * l).sum::<f64>();
        (left / together as f64).sqrt() / slope
    };
    beats.windows(together).step_by((together / 4).max(1)).map(window).fold(0.0, f64::max)
}

/// How far the next beat is from one; the last is as long as the one before.
pub(crate) fn length_at(beats: &[f64], b: usize) -> f64 {
    if b + 1 < beats.len() { beats[b + 1] - beats[b] } else { beats[b] - beats[b - 1] }
}

/// What a reading is judged by.
pub(crate) fn judge(reading: &Reading, ways: &[Vec<f64>], cues: &Cues) -> [f32; CUES] {
    let beats = &reading.frames;
    let count = beats.len();
    let length = |b: usize| length_at(beats, b);
    let mut out: Vec<f32> = Vec::with_capacity(CUES);
    // At each place of each beat.
    let at = |stream: &[f32], b: usize, place: f64| stream.get((beats[b] + place * length(b)).round() as usize).copied().unwrap_or(0.0);
    for stream in &cues.streams {
        for place in PLACES {
            out.push((0..count).map(|b| at(stream, b, place)).sum::<f32>() / count as f32);
        }
    }
    for s in ALTERNATING {
        for place in [0.0, 0.5] {
            let mean = |odd: usize| -> f32 {
                let own: Vec<f32> = (odd..count).step_by(2).map(|b| at(&cues.streams[s], b, place)).collect();
                own.iter().sum::<f32>() / own.len().max(1) as f32
            };
            out.push((mean(0) - mean(1)).abs());
        }
    }
    // How alike beats are that follow each other by one to four.
    let shapes: Vec<[f32; PLACES.len()]> = (0..count).map(|b| PLACES.map(|p| at(&cues.streams[1], b, p))).collect();
    for lag in 1..=4 {
        let (mut both, mut own) = (0.0f32, 1e-6f32);
        for b in 0..count.saturating_sub(lag) {
            let dot = |a: &[f32; 6], b: &[f32; 6]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f32>();
            both += dot(&shapes[b], &shapes[b + lag]);
            own += 0.5 * (dot(&shapes[b], &shapes[b]) + dot(&shapes[b + lag], &shapes[b + lag]));
        }
        out.push(both / own);
    }
    // What the plain method would say: the best grid, a beat and a second.
    let value = |t: f64| cues.smooth.get(t.max(0.0).round() as usize).copied().unwrap_or(0.0);
    let low = |t: f64| cues.low.get(t.max(0.0).round() as usize).copied().unwrap_or(0.0);
    let worth = GRIDS
        .iter()
        .map(|grid| {
            (0..count)
                .map(|b| {
                    let inside: f64 = grid.places.iter().map(|(place, on, off)| odds(value(beats[b] + place * length(b)), (*on, *off))).sum();
                    odds(value(beats[b]), (2.8, -0.9)) + 2.0 * (low(beats[b]) - 0.25) + inside - grid.rare
                })
                .sum::<f64>()
        })
        .fold(f64::MIN, f64::max);
    let seconds = (beats[count - 1] - beats[0] + length(count - 1)) / onset_rate();
    out.push((worth / count as f64 / 4.0) as f32);
    out.push((worth / seconds.max(1.0) / 8.0) as f32);
    // The network's worth a second, as its own search counts it.
    let own: f32 = (0..count).map(|b| 5.0 * at(&cues.streams[0], b, 0.0) + 3.0).sum();
    out.push(own / seconds.max(1.0) as f32 / 8.0);
    // How much of what is struck lies on even parts of a beat, as near as a sixteenth of it.
    let struck: Vec<(f64, f64)> = cues.onsets.iter().map(|(frame, height)| (phase(beats, *frame), *height)).collect();
    let explained = |parts: f64| -> f32 {
        let (mut explained, mut all) = (0.0, 1e-6);
        for (phase, height) in &struck {
            let place = parts * phase;
            all += height;
            explained += height * (1.0 - (place - place.round()).abs() * 16.0 / parts).max(0.0);
        }
        (explained / all) as f32
    };
    out.push(explained(4.0));
    let bpm = 60.0 / (seconds / count as f64);
    let octaves = libm::log2(bpm / 112.0) as f32;
    out.extend([octaves, octaves * octaves]);
    for way in 0..2 {
        out.push(ways.get(way).map_or(0.0, |w| alike(w, beats)) as f32);
    }
    // Where the file and the playing begin, and where the playing ends.
    for frame in [0.0, cues.first, cues.last] {
        let p = phase(beats, frame);
        let near = |place: f64| {
            let d = p - place;
            (1.0 - (d - d.round()).abs() / 0.12).max(0.0) as f32
        };
        out.extend([near(0.0), near(0.5), near(0.25).max(near(0.75))]);
    }
    out.extend(cues.meters);
    out.push((cues.first / onset_rate() < 0.06) as u8 as f32);
    out.push(ways.get(2).map_or(0.0, |w| alike(w, beats)) as f32);
    // How much the tempo moves from two beats to the next two: on the average, and at most.
    let turns: Vec<f64> = beats.windows(5).map(|w| libm::fabs(libm::log((w[4] - w[2]) / (w[2] - w[0])))).collect();
    out.push((20.0 * turns.iter().sum::<f64>() / turns.len().max(1) as f64) as f32);
    out.push((5.0 * turns.iter().fold(0.0, |m: f64, v| m.max(*v))) as f32);
    // How much more the beats hold than the places halfway between them, by the network and by onsets: in the quarter of the record where it is least, and where it is most.
    for stream in &cues.streams[..2] {
        let quarters: [f32; 4] = std::array::from_fn(|q| {
            let (from, to) = (q * count / 4, (q + 1) * count / 4);
            (from..to).map(|b| at(stream, b, 0.0) - at(stream, b, 0.5)).sum::<f32>() / (to - from).max(1) as f32
        });
        out.push(quarters.iter().fold(f32::MAX, |m, v| m.min(*v)));
        out.push(quarters.iter().fold(f32::MIN, |m, v| m.max(*v)));
    }
    // Long notes mostly begin on beats.
    out.extend(PLACES.map(|place| (0..count).map(|b| at(&cues.held, b, place)).sum::<f32>() / count as f32));
    out.extend([2.0, 3.0].map(explained));
    out.extend([16, 32].map(|together| 4.0 * bent(beats, together) as f32));
    std::array::from_fn(|i| out[i])
}

/// A reading, and what it is judged by.
pub(crate) struct Judged {
    pub reading: Reading,
    pub cues: [f32; CUES],
    pub marks: BarMarks,
}

impl Judged {
    pub fn new(reading: Reading, ways: &[Vec<f64>], pulse: &Pulse, cues: &Cues) -> Judged {
        Judged { cues: judge(&reading, ways, cues), marks: bar_marks(&reading.frames, pulse, cues), reading }
    }
}

/// A choice among readings.
pub(crate) struct Choice {
    pub reading: usize,
    /// Place of the bars' meter in [`METERS`](crate::reading_score::METERS).
    pub meter: usize,
    /// How sure the distances of the beats are, whatever their phase.
    pub spacing: f64,
    /// The odds of this reading less those of the next likely one, 0 to 1.
    pub confidence: f64,
    /// What it could be instead, the likeliest first, none like another.
    pub others: Vec<Instead>,
    /// Of each reading, whatever its bars.
    pub scores: Vec<f32>,
}

/// Another reading.
pub(crate) struct Instead {
    pub reading: usize,
    pub meter: usize,
    /// Its odds and those of readings like it, 0 to 1.
    pub likely: f64,
}

/// Readings that have so much in common are one.
const SAME: f64 = 0.8;
/// At most so many others are named, and none that is less likely than this.
const OTHERS: usize = 3;
const LEAST_ODDS: f64 = 0.02;

/// The likeliest reading, whatever its bars, and its likeliest meter, as far as they are what was told; `None` where there is none.
pub(crate) fn choose(networks: &Networks, readings: &[Judged], held: &Held) -> Option<Choice> {
    let each: Vec<Scores> = readings.iter().map(|r| held.told(&r.reading.frames, networks.scores(&r.cues, &r.marks))).collect();
    let scores: Vec<f32> = each.iter().map(|s| log_sum(s.iter().flatten().copied())).collect();
    let best = (0..scores.len()).max_by(|a, b| scores[*a].total_cmp(&scores[*b]))?;
    // That none of them is right has odds of 1.
    let top = scores[best].max(0.0);
    let odds: Vec<f64> = scores.iter().map(|s| f64::from(libm::expf(s - top))).collect();
    let all = odds.iter().sum::<f64>() + f64::from(libm::expf(-top));
    let frames = |r: usize| &readings[r].reading.frames;
    let same = |a: usize, b: usize| alike(frames(a), frames(b)) > SAME;
    let like = |r: usize| -> f64 { (0..odds.len()).filter(|o| same(r, *o)).map(|o| odds[o] / all).sum() };
    let mut ranked: Vec<usize> = (0..odds.len()).collect();
    ranked.sort_by(|a, b| scores[*b].total_cmp(&scores[*a]));
    let mut apart: Vec<usize> = vec![best];
    for o in ranked {
        if apart.len() <= OTHERS && !apart.iter().any(|a| same(*a, o)) {
            apart.push(o);
        }
    }
    let instead = |o: &usize| Instead { reading: *o, meter: likeliest_meter(&each[*o]), likely: like(*o) };
    let others = apart[1..].iter().map(instead).filter(|o| o.likely >= LEAST_ODDS).collect();
    let rival = (0..odds.len()).filter(|o| odds[*o] / all > LEAST_ODDS && !same(best, *o)).map(like).fold(0.0, f64::max);
    let length = |r: usize| (frames(r)[frames(r).len() - 1] - frames(r)[0]) / (frames(r).len() - 1) as f64;
    let spacing = (0..odds.len()).filter(|o| (length(*o) / length(best) - 1.0).abs() < 0.04).map(|o| odds[o] / all).sum();
    Some(Choice { reading: best, meter: likeliest_meter(&each[best]), spacing, confidence: (like(best) - rival).clamp(0.0, 1.0), others, scores })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every(from: f64, step: f64, count: usize) -> Vec<f64> {
        (0..count).map(|n| from + step * n as f64).collect()
    }

    #[test]
    fn what_is_moved_by_half_a_beat_has_nothing_in_common() {
        let beats = every(20.0, 100.0, 30);
        assert_eq!(alike(&beats, &beats), 1.0);
        assert_eq!(alike(&beats, &every(70.0, 100.0, 30)), 0.0);
        assert!((alike(&beats, &every(20.0, 50.0, 60)) - 2.0 / 3.0).abs() < 1e-9);
        assert_eq!(alike(&[], &beats), 0.0);
    }

    #[test]
    fn readings_hold_the_way_its_halves_and_octaves_and_no_two_alike() {
        let way = every(20.0, 100.0, 30);
        let found = readings(&[way.clone(), Vec::new(), way.clone()], (49.0, 230.0), 3_000);
        let has = |beats: &[f64]| found.iter().any(|r| alike(&r.frames, beats) > 0.95);
        assert!(found[0].own && found[0].frames == way);
        assert!(has(&every(70.0, 100.0, 29)) && has(&every(20.0, 50.0, 60)) && has(&every(120.0, 200.0, 15)) && has(&every(20.0, 200.0, 15)));
        for (n, one) in found.iter().enumerate() {
            assert!(one.frames.windows(2).all(|w| w[0] < w[1]) && one.frames.iter().all(|f| (0.0..3_000.0).contains(f)));
            let length = (one.frames[one.frames.len() - 1] - one.frames[0]) / (one.frames.len() - 1) as f64;
            assert!((49.0..=230.0).contains(&length));
            assert!(found[..n].iter().all(|other| alike(&other.frames, &one.frames) <= 0.97));
        }
    }

    #[test]
    fn cues_lie_where_the_networks_look_for_them() {
        let step = 60.0 / 112.0 * onset_rate();
        let beats = every(20.0, step, 30);
        let pulse = Pulse { beat: vec![0.2; 2_000], down: vec![0.1; 2_000], meters: [0.7, 0.2, 0.1] };
        let struck: Vec<(f64, f64)> = beats.iter().map(|b| (b / onset_rate(), 1.0)).collect();
        let activity = crate::beats::tests::played(&struck, 20.0);
        let reading = Reading { frames: beats, way: 0, own: true };
        let found = judge(&reading, std::slice::from_ref(&reading.frames), &Cues::from(&activity, &pulse, &[], &[], Classes::of(&[])));
        assert!(found[OCTAVES].abs() < 0.01, "{}", found[OCTAVES]);
        assert_eq!(found[TOLD_METERS..TOLD_METERS + 3], pulse.meters);
        // Odds by the network at places of a beat, then all onsets there.
        assert!(found[..6].iter().all(|odds| *odds < 0.0 && (odds - found[0]).abs() < 1e-6));
        assert!(found[6] > 0.8 && found[7..12].iter().all(|v| *v < 0.1), "{:?}", &found[6..12]);
        // The last: how far they are from even ones.
        assert!(found[CUES - 2..].iter().all(|b| b.abs() < 1e-3));
    }

    #[test]
    fn beats_that_go_over_to_the_off_beat_are_bent_and_even_ones_are_not() {
        let even = every(20.0, 100.0, 60);
        assert!(bent(&even, 32) < 1e-9 && bent(&even[..5], 32) < 1e-9);
        // Half a beat is lost over ten beats.
        let slipped: Vec<f64> = even.iter().enumerate().map(|(n, b)| b - 50.0 * ((n as f64 - 25.0) / 10.0).clamp(0.0, 1.0)).collect();
        assert!(bent(&slipped, 32) > 0.08, "{}", bent(&slipped, 32));
    }

    #[test]
    fn what_lasts_until_the_next_onset_is_held_against_the_rest() {
        let found = held(&[(10.0, 1.0), (30.0, 1.0), (50.0, 1.0), (130.0, 1.0)], 200);
        assert!(found[50] > 0.5 && found[10] < 0.0 && found[30] == found[10]);
        // The last one lasts nobody knows how long.
        assert!(found[130] == 0.0 && found[90] == 0.0);
        assert!(held(&[], 0).is_empty());
    }
}
