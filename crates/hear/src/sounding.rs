//! The grid that harmony is read on: half beats, and where in the bar each lies; quarter seconds where no beat is sure.

use crate::bars::Bars;
use crate::beats::Beats;
use crate::chord_scorer::Pool;
use crate::chords::{Place, Unit};
use crate::key::Sounding;
use wave::Seconds;

/// Length of a unit where there are no beats; a beat that lasts longer than four of it is cut in more than two.
const PLAIN_S: f64 = 0.25;
/// Units shorter than this are joined to the next.
const SHORTEST_S: f64 = 0.1;

/// Units from the beginning to the end of a record, without gaps. Empty for a record shorter than the shortest.
pub(crate) fn units(duration: Seconds, beats: Option<&Beats>, bars: Option<&Bars>) -> Vec<Unit> {
    let end = duration.0;
    let mut starts: Vec<(f64, Place)> = vec![(0.0, Place::First)];
    let mut put = |t: f64, place: Place| {
        let last = starts[starts.len() - 1].0;
        if t - last >= SHORTEST_S && end - t >= SHORTEST_S {
            starts.push((t, place));
        }
    };
    let times: Vec<f64> = beats.map_or(Vec::new(), |b| b.times.iter().map(|t| t.0).collect());
    let fill = |put: &mut dyn FnMut(f64, Place), from: f64, to: f64| {
        // What lies outside the beats is cut evenly.
        let count = ((to - from) / PLAIN_S).round().max(1.0) as usize;
        (1..count).for_each(|i| put(from + (to - from) * i as f64 / count as f64, Place::Beat));
    };
    if times.len() < 2 {
        fill(&mut put, 0.0, end);
    } else {
        fill(&mut put, 0.0, times[0]);
        for (b, t) in times.iter().enumerate() {
            put(*t, place(b, bars));
            if let Some(next) = times.get(b + 1) {
                let parts = (((next - t) / 2.0 / (2.0 * PLAIN_S)).ceil() as usize).max(1) * 2;
                (1..parts).for_each(|i| put(t + (next - t) * i as f64 / parts as f64, Place::Half));
            }
        }
        fill(&mut put, times[times.len() - 1], end);
    }
    if end < SHORTEST_S {
        return Vec::new();
    }
    let ends = starts[1..].iter().map(|s| s.0).chain([end]);
    starts.iter().zip(ends).map(|(s, e)| Unit { start: Seconds(s.0), end: Seconds(e), place: s.1 }).collect()
}

fn place(beat: usize, bars: Option<&Bars>) -> Place {
    let Some(bars) = bars else { return Place::Beat };
    let after = bars.starts.partition_point(|s| *s <= beat);
    match after.checked_sub(1).map(|b| beat - bars.starts[b]) {
        Some(0) => Place::First,
        Some(2) if bars.meter.over == 4 => Place::Middle,
        _ => Place::Beat,
    }
}

/// Pitch classes of each unit, for the key.
pub(crate) fn soundings(pool: &Pool, units: &[Unit]) -> Vec<Sounding> {
    let of = |u: &Unit| {
        let (classes, bass) = pool.classes(u.start, u.end);
        Sounding { start: u.start, end: u.end, classes, bass }
    };
    units.iter().map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hearing::Meter;

    #[test]
    fn half_beats_fill_the_record_and_know_their_place() {
        let beats = Beats { times: (0..8).map(|b| Seconds(0.55 + 0.5 * f64::from(b))).collect(), grid: 0, spacing: 1.0, confidence: 1.0, bars: None, others: Vec::new() };
        let bars = Bars { meter: Meter { over: 4, under: 4 }, starts: vec![1, 5] };
        let found = units(Seconds(5.0), Some(&beats), Some(&bars));
        assert!(found.windows(2).all(|w| w[0].end == w[1].start));
        assert_eq!((found[0].start, found[found.len() - 1].end), (Seconds(0.0), Seconds(5.0)));
        let at = |t: f64| found.iter().find(|u| (u.start.0 - t).abs() < 1e-9).map(|u| u.place);
        assert_eq!((at(1.05), at(2.05), at(1.55), at(1.3), at(0.55)), (Some(Place::First), Some(Place::Middle), Some(Place::Beat), Some(Place::Half), Some(Place::Beat)));
        // Without beats: quarter seconds. A slow beat is cut in four.
        assert_eq!(units(Seconds(3.0), None, None).len(), 12);
        let slow = Beats { times: vec![Seconds(0.0), Seconds(1.3), Seconds(2.6)], grid: 0, spacing: 1.0, confidence: 1.0, bars: None, others: Vec::new() };
        assert_eq!(units(Seconds(2.6), Some(&slow), None).len(), 8);
        assert!(units(Seconds(0.05), None, None).is_empty());
    }
}
