//! Faults of a whole part or passage, which would otherwise show as a hundred faults of single notes: a part written some semitones off, tempo written at half or
//! double, another record, a record that ends early, silence.

use crate::judge::share;
use crate::moments::Moment;
use crate::score::{Score, ScorePart};

/// A fault of a whole part or passage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Whole {
    /// Nothing is heard in the stretch.
    Silent,
    /// The stretch does not sound like the passage at all.
    OtherRecord,
    /// The passage fits at this multiple of the written tempo.
    Tempo { times: f64 },
    /// The record ends (or falls silent) at this time of the record, in this bar.
    EndsEarly { time_s: f64, bar: u32 },
    /// The part is written this many semitones below (negative: above) what sounds.
    Semitones(i32),
    /// A part of which hardly a note is heard, though the passage is there.
    Absent,
}

/// Shares of a part's notes that the record supports as written, and moved by some semitones.
const MOVES: [i32; 12] = [-12, -7, -5, -3, -2, -1, 1, 2, 3, 5, 7, 12];

/// The move by which a part fits far better than as written: semitones and how sure.
pub(crate) fn moved_by(part: &ScorePart, moments: &[Moment]) -> Option<(i32, f64)> {
    let (low, _) = part.range();
    let mean = |d: i32| -> (f64, usize) {
        let all: Vec<f64> = moments
            .iter()
            .flat_map(|m| m.notes.iter().filter(|n| !part.notes[**n].unpitched).map(move |n| share(m.odds_of(low, part.notes[*n].midi + d))))
            .collect();
        (all.iter().sum::<f64>() / all.len().max(1) as f64, all.len())
    };
    let (here, count) = mean(0);
    if count < 6 || here > 0.35 {
        return None;
    }
    let (there, by) = MOVES.iter().map(|d| (mean(*d).0, *d)).max_by(|a, b| a.0.total_cmp(&b.0))?;
    (there > here + 0.15 && there > 2.0 * here && there > 0.25).then_some((by, ((there - here) / 0.5).min(1.0)))
}

/// Whether hardly a note of the part is heard.
pub(crate) fn absent(part: &ScorePart, moments: &[Moment]) -> bool {
    let (low, _) = part.range();
    let all: Vec<f64> = moments.iter().flat_map(|m| m.notes.iter().filter(|n| !part.notes[**n].unpitched).map(move |n| share(m.odds_of(low, part.notes[*n].midi)))).collect();
    all.len() >= 6 && all.iter().sum::<f64>() / (all.len() as f64) < 0.15
}

/// The score with each pair of notes of a unit (in beats) shared out anew: the first takes `percent`.
pub(crate) fn at_swing(score: &Score, unit: f64, percent: f64) -> Score {
    let mut out = score.clone();
    for n in out.parts.iter_mut().flat_map(|p| &mut p.notes) {
        let Some(bar) = score.bars.get(n.bar) else { continue };
        let pairs = (n.beat - 1.0) / (2.0 * unit);
        let (whole, into, first) = (pairs.floor(), pairs - pairs.floor(), percent / 100.0);
        let moved = if into <= 0.5 { into * 2.0 * first } else { first + (into - 0.5) * 2.0 * (1.0 - first) };
        n.at_s = bar.start_s + (whole + moved) * 2.0 * unit * bar.length_s / bar.beats.max(1e-9);
    }
    out
}

/// The score at another tempo.
pub(crate) fn at_tempo(score: &Score, times: f64) -> Score {
    let mut out = score.clone();
    out.length_s /= times;
    for b in &mut out.bars {
        b.start_s /= times;
        b.length_s /= times;
    }
    for n in out.parts.iter_mut().flat_map(|p| &mut p.notes) {
        n.at_s /= times;
        n.length_s /= times;
    }
    out
}
