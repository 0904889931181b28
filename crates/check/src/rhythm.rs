//! Time: strokes that the record does not have, onsets that nobody wrote, and how a part lies against the beat.
//!
//! # Conventions
//! Ahead is positive: the stroke comes before its place on the grid. The grid is the smooth curve that all parts' strokes make together, so that a part
//! that lies behind lies behind the others.

use crate::answer::{NoteChecked, Pocket, Stray, Verdict};
use crate::judge::share;
use crate::moments::Moment;
use crate::score::{Score, ScoreNote};

/// An onset weaker than this is none (1: usual in this record).
const NONE: f32 = 0.22;
/// Onsets that nobody wrote are reported from here on.
const CLEAR: f32 = 0.55;

/// Strokes without an onset, and onsets without a stroke. `alone`: no other part could have made them.
pub(crate) fn strays(score: &Score, index: usize, moments: &[Moment], notes: &[NoteChecked], alone: bool, from_s: f64) -> Vec<Stray> {
    let part = &score.parts[index];
    let mut out = Vec::new();
    for m in moments {
        if m.notes.is_empty() {
            let pitched = m.odds.iter().fold(-12.0f32, |a, b| a.max(*b));
            // A string that is bent, let down or slid swells as though it were struck; a stroke that is spread sets in string by string.
            let goes_on = |n: &ScoreNote| (n.path.0 < n.path.1 && n.at_s + n.length_s > m.written_s - 0.05) || (n.spread && m.written_s < n.at_s + SPREAD_S);
            let own = part.notes.iter().any(|n| n.at_s < m.written_s && goes_on(n));
            if m.strength > CLEAR && m.newness > 0.25 && (alone || pitched > 1.0) && !own {
                let Some((bar, beat, slot)) = score.slot_at(index, m.written_s) else { continue };
                let evidence = f64::from((m.strength / 1.5).min(1.0)).max(share(pitched) * 0.9);
                out.push(Stray { time_s: from_s + m.heard_s, bar: score.bars[bar].number, beat, slot, written: false, evidence });
            }
            continue;
        }
        let best = m.notes.iter().filter_map(|n| notes.get(*n)).map(|n| if n.unpitched { 0.0 } else { n.evidence }).fold(0.0, f64::max);
        let audible = m.notes.iter().filter_map(|n| notes.get(*n)).all(|n| n.verdict != Verdict::NotAudible && !n.waved);
        // Slid, hammered and pulled notes begin softly, those of a swell unheard.
        let soft = m.notes.iter().all(|n| part.notes[*n].soft || part.notes[*n].hushed);
        if m.strength < NONE && m.newness < 0.12 && best < 0.5 && audible && !soft {
            let note = &part.notes[m.notes[0]];
            let bar = score.bars.get(note.bar).map_or(0, |b| b.number);
            let evidence = (1.0 - best) * f64::from(1.0 - m.strength / NONE).clamp(0.3, 1.0);
            // What was struck just before may cover a drum.
            let covered = note.unpitched && score.parts.iter().flat_map(|p| &p.notes).any(|o| o.at_s < note.at_s - 0.02 && o.at_s > note.at_s - COVERS_S);
            let evidence = if covered { evidence.min(A_GUESS) } else { evidence };
            out.push(Stray { time_s: from_s + m.heard_s, bar, beat: note.beat, slot: note.slot, written: true, evidence });
        }
    }
    out
}

/// A spread stroke is over by then (common practice).
const SPREAD_S: f64 = 0.3;
/// So long a stroke may cover what is struck after it, and so sure is then at most that nothing was struck: a guess.
const COVERS_S: f64 = 0.2;
const A_GUESS: f64 = 0.7;

/// How a part lies against the beat; `None` with fewer than four clear strokes.
pub(crate) fn pocket(score: &Score, index: usize, moments: &[Moment], notes: &[NoteChecked]) -> Option<Pocket> {
    let part = &score.parts[index];
    let heard = |m: &&Moment| m.notes.iter().filter_map(|n| notes.get(*n)).any(|n| n.verdict == Verdict::Supported);
    let strokes: Vec<(&Moment, f64)> = moments.iter().filter(heard).filter_map(|m| m.ahead_s.map(|a| (m, 1000.0 * a))).collect();
    if strokes.len() < 4 {
        return None;
    }
    let all: Vec<f64> = strokes.iter().map(|s| s.1).collect();
    let beat_ms = score.bars.first().map_or(500.0, |b| 1000.0 * b.length_s / b.beats.max(1e-9));
    // Strokes on the pairs' first and second notes.
    let halves = |unit: f64| -> (Vec<f64>, Vec<f64>) {
        let at = |into: f64| -> Vec<f64> {
            strokes
                .iter()
                .filter(|(m, _)| {
                    let phase = (part.notes[m.notes[0]].beat - 1.0) / (2.0 * unit);
                    let off = (phase - phase.floor() - into).abs();
                    off.min(1.0 - off) < 0.04
                })
                .map(|s| s.1)
                .collect()
        };
        (at(0.0), at(0.5))
    };
    let written = part.swing.map_or((50.0, None), |(p, unit)| (p, Some(unit)));
    // The written pair, else the finer one that is played.
    let unit = written.1.unwrap_or_else(|| if halves(0.25).1.len() >= 4 { 0.25 } else { 0.5 });
    let (first, second) = halves(unit);
    let swing = (first.len() >= 3 && second.len() >= 3).then(|| written.0 + 100.0 * (median(&first) - median(&second)) / (2.0 * unit * beat_ms));
    let quarter = |q: f64| quantile(&all, q);
    Some(Pocket {
        ahead_ms: median(&all),
        spread_ms: 0.5 * (quarter(0.75) - quarter(0.25)),
        strokes: all.len(),
        swing_percent: swing,
        swing_of: if unit < 0.4 { 16 } else { 8 },
        swing_written_percent: written.0,
    })
}

fn median(values: &[f64]) -> f64 {
    quantile(values, 0.5)
}

fn quantile(values: &[f64], q: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    match sorted.len() {
        0 => 0.0,
        n => {
            let at = q * (n - 1) as f64;
            let low = at as usize;
            let high = (low + 1).min(n - 1);
            sorted[low] + (at - low as f64) * (sorted[high] - sorted[low])
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_lie_between_the_values_in_their_order() {
        let v = [4.0, 1.0, 3.0, 2.0];
        assert_eq!([0.0, 0.25, 0.5, 1.0].map(|q| quantile(&v, q)), [1.0, 1.75, 2.5, 4.0]);
        assert_eq!((median(&[]), median(&[7.0]), median(&[9.0, 1.0, 2.0])), (0.0, 7.0, 2.0));
    }
}
