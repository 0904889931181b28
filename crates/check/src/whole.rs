//! Faults of a whole part or passage, which would otherwise show as a hundred faults of single notes: a part written some semitones off, a string tuned otherwise than
//! written, tempo written at half or double, another record, a record that ends early, silence.

use crate::answer::NoteChecked;
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
    /// All notes of a string (1 = highest) sound this many semitones above what is written (negative: below).
    StringTuned { string: u8, by: i32 },
    /// A part of which hardly a note is heard, though the passage is there.
    Absent,
}

/// Shares of a part's notes that the record supports as written, and moved by some semitones.
const MOVES: [i32; 12] = [-12, -7, -5, -3, -2, -1, 1, 2, 3, 5, 7, 12];

/// The share of a part's notes that is heard, their mean, moved by so many semitones; and of how many. Only notes with a pitch and a beginning to be heard.
fn mean_share(part: &ScorePart, moments: &[Moment], by: i32) -> (f64, usize) {
    let (low, _) = part.range();
    let clear = moments.iter().flat_map(|m| m.notes.iter().map(move |n| (m, &part.notes[*n]))).filter(|(_, n)| n.is_clear());
    let all: Vec<f64> = clear.map(|(m, n)| share(m.odds_of(low, n.midi + by))).collect();
    (all.iter().sum::<f64>() / all.len().max(1) as f64, all.len())
}

/// The move by which a part fits far better than as written: semitones, the share that is heard then, and how sure.
pub(crate) fn moved_by(part: &ScorePart, moments: &[Moment]) -> Option<(i32, f64, f64)> {
    let (here, count) = mean_share(part, moments, 0);
    if count < 6 || here > 0.35 {
        return None;
    }
    let mut all: Vec<(f64, i32)> = MOVES.iter().map(|d| (mean_share(part, moments, *d).0, *d)).collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    let ((there, by), next) = (*all.first()?, all.get(1)?.0);
    // Other music fits several moves a little.
    (there > 1.4 * next && there > here + 0.15 && there > 2.0 * here && there > 0.25).then_some((by, there, ((there - here) / 0.5).min(1.0)))
}

/// Moves by which one string is tuned otherwise: the trade's lowered and raised tunings.
const RETUNED: [i32; 10] = [-5, -4, -3, -2, -1, 1, 2, 3, 4, 5];

/// Strings whose notes fit far better moved by one interval, beside strings whose notes fit as written: string, semitones and how sure. A string speaks with five
/// notes or more at two frets or more, or with open ones alone: one wrong fret is no wrong tuning. Notes say nothing of a move onto a pitch that is written there anyway.
pub(crate) fn strings_moved(part: &ScorePart, moments: &[Moment]) -> Vec<(u8, i32, f64)> {
    let (low, _) = part.range();
    let mut notes: Vec<(u8, u8, i32, &Moment)> = Vec::new();
    for m in moments {
        notes.extend(m.notes.iter().filter(|n| part.notes[**n].is_clear()).filter_map(|n| part.notes[*n].place.map(|(s, f)| (s, f, part.notes[*n].midi, m))));
    }
    let written = |m: &Moment, midi: i32| m.ringing.contains(&midi) || m.notes.iter().any(|n| part.notes[*n].midi == midi);
    let mean = |of: &dyn Fn(u8) -> bool, d: i32| -> (f64, usize) {
        let free = notes.iter().filter(|n| of(n.0) && (d == 0 || !written(n.3, n.2 + d)));
        let all: Vec<f64> = free.map(|n| share(n.3.odds_of(low, n.2 + d))).collect();
        (all.iter().sum::<f64>() / all.len().max(1) as f64, all.len())
    };
    let strings = part.neck.as_ref().map_or(0, |n| n.strings()) as u8;
    let mut out: Vec<(u8, i32, f64)> = Vec::new();
    for string in 1..=strings {
        let own = |s: u8| s == string;
        let mut frets: Vec<u8> = notes.iter().filter(|n| own(n.0)).map(|n| n.1).collect();
        frets.sort_unstable();
        frets.dedup();
        let (here, count) = mean(&own, 0);
        if count < 5 || here > 0.3 || (frets.len() < 2 && frets != [0]) {
            continue;
        }
        let fits = RETUNED.iter().map(|d| (mean(&own, *d), *d)).filter(|((_, n), _)| *n >= 5 && 10 * n >= 6 * count);
        let Some(((there, _), by)) = fits.max_by(|a, b| a.0.0.total_cmp(&b.0.0)) else { continue };
        if there > here + 0.25 && there > 2.0 * here && there > 0.4 {
            out.push((string, by, ((there - here) / 0.6).min(1.0)));
        }
    }
    // The rest has to fit, or it is another matter.
    let (others, count) = mean(&|s| !out.iter().any(|o| o.0 == s), 0);
    if count < 3 || others < 0.4 { vec![] } else { out }
}

/// The share of a score's notes that a stretch holds, the mean of its pitched parts, each as written or moved by up to so many semitones; 0 where there are no notes.
pub(crate) fn held(score: &Score, stretch: &crate::moments::Stretch, moves: i32) -> f64 {
    let mut parts: Vec<f64> = Vec::new();
    for (n, part) in score.parts.iter().enumerate().filter(|(_, p)| p.is_pitched() && p.notes.iter().any(crate::score::ScoreNote::is_clear)) {
        let moments = crate::moments::moments(score, n, std::slice::from_ref(stretch)).own;
        parts.push((-moves..=moves).map(|by| mean_share(part, &moments, by).0).fold(0.0, f64::max));
    }
    parts.iter().sum::<f64>() / parts.len().max(1) as f64
}

/// The share of what is written that is heard, from each part's share and how many notes it has. A part of a few notes fits by chance, and one of many must not
/// outvote the rest. 1 where no part has enough.
pub(crate) fn held_by_parts(held: &[(f64, usize)]) -> f64 {
    const FEW: usize = 8;
    let of: Vec<f64> = held.iter().filter(|h| h.1 >= FEW).map(|h| h.0).collect();
    if of.is_empty() { 1.0 } else { of.iter().sum::<f64>() / of.len() as f64 }
}

/// What the parts' faults say of the passage: one finding where another tempo fits, where all are moved alike, or where next to nothing is heard of any. `share` is that of what is
/// written that is heard, `tempi` are other tempi that fit better: times the written one, and how sure; `turned` is by how many semitones the alignment found the record moved.
pub(crate) fn together(score: &Score, wholes: &mut Vec<(Option<usize>, Whole, f64)>, share: f64, tempi: &[(f64, f64)], turned: i32) {
    let pitched: Vec<usize> = score.parts.iter().enumerate().filter(|(_, p)| p.is_pitched() && !p.notes.is_empty()).map(|(n, _)| n).collect();
    let moved_of = |n: &usize| {
        wholes.iter().find_map(|(p, w, sure)| match w {
            Whole::Semitones(by) if *p == Some(*n) => Some((*by, *sure)),
            _ => None,
        })
    };
    let moved: Vec<(i32, f64)> = pitched.iter().filter_map(moved_of).collect();
    // Music of another kind fits one move or other by chance: the alignment has to have found it too, or it has to fit well.
    let believed = |by: i32| by == turned || share > 0.4;
    let all_moved = !moved.is_empty() && moved.len() == pitched.len() && moved.iter().all(|m| m.0 == moved[0].0);
    let tempo = tempi.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    let passage = if let Some((times, sure)) = tempo {
        Some((Whole::Tempo { times: *times }, *sure))
    } else if all_moved && believed(moved[0].0) {
        (moved.len() > 1).then(|| (Whole::Semitones(moved[0].0), moved.iter().map(|m| m.1).fold(1.0, f64::min)))
    } else if share < OTHER || all_moved {
        Some((Whole::OtherRecord, 1.0 - share))
    } else {
        None
    };
    if let Some((whole, sure)) = passage {
        wholes.retain(|(_, w, _)| matches!(w, Whole::EndsEarly { .. }) && matches!(whole, Whole::Semitones(_)));
        wholes.push((None, whole, sure));
    }
}

/// It is another record where less than this share is heard. Set on twelve pieces that the project sounds, each against others: at most .24 of
/// other music, at least .67 of its own.
const OTHER: f64 = 0.25;

/// Whether hardly a note of the part is heard: the record supports few, and at most half stand out from the pitches around them. A bass under a riff an octave above
/// is heard but faintly, and yet at its own pitch and no other.
pub(crate) fn absent(part: &ScorePart, moments: &[Moment], notes: &[NoteChecked]) -> bool {
    let (mean, count) = mean_share(part, moments, 0);
    let apart = part.notes.iter().zip(notes).filter(|(written, heard)| written.is_clear() && heard.stands_out()).count();
    count >= 6 && mean < 0.15 && 2 * apart <= count
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_of_a_few_notes_do_not_speak_for_the_passage() {
        assert!((held_by_parts(&[(0.9, 100), (0.5, 8), (0.0, 7)]) - 0.7).abs() < 1e-12);
        assert_eq!(held_by_parts(&[(0.0, 7)]), 1.0);
        assert_eq!(held_by_parts(&[]), 1.0);
    }
}
