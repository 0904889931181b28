//! Verdicts on the written notes of a part, and pitches that it does not have, from the odds at its moments.
//!
//! # Method
//! A note's evidence is its log odds, less what speaks for a rival in its place: the semitones and whole tones beside it, the octaves, and any other pitch of the
//! instrument that is not written there, and how clear the stroke is: marks, weighed by logistic regression. Weights and limits were set by `checks/check/limits.py` on faults
//! planted in renders of GuitarSet's players 00 and 01 and in the development excerpt.

use crate::answer::{NoteChecked, Unwritten, Verdict};
use crate::moments::Moment;
use crate::score::{Score, ScorePart};

/// Limits of the log odds.
pub(crate) struct Limits {
    /// A note whose marks weigh more than the first is supported, where its own odds are above the second too: that it is likely right is no support.
    pub supported: f32,
    pub heard: f32,
    /// A note below is contradicted where a rival stands above `rival`.
    pub contradicted: f32,
    pub rival: f32,
    /// A note with odds of its own below the first is looked for at other moments, and said to be moved where its marks weigh more than the second.
    pub looked_for: f32,
    pub moved: f32,
    /// A pitch that nobody wrote is looked at above the first, and reported where its marks weigh more than the second.
    pub looked_at: f32,
    pub unwritten: f32,
}

/// Weights of the marks and limits of what they sum to.
struct Scale {
    limits: Limits,
    shift: f32,
    weights: [f32; MARKS],
    stray_shift: f32,
    stray_weights: [f32; STRAY_MARKS],
    moved_shift: f32,
    moved_weights: [f32; MOVED_MARKS],
}

/// Where the note network did not listen. That nothing begins says nothing here: notes of a deep bass are often unheard.
static PLAIN: Scale = Scale {
    limits: Limits { supported: 2.0, heard: -2.0, contradicted: 0.7, rival: -4.0, looked_for: -0.5, moved: 0.0, looked_at: -3.0, unwritten: -2.3 },
    shift: 7.4361,
    weights: [0.3529, 0.6705, 0.6493, 0.1020, -0.0162, -0.3157, 0.1013, -0.1464, -0.2362, -0.9610, -0.1171, 0.3422, -0.1930, 0.2939, 0.0, 0.0, 0.0],
    stray_shift: -6.6191,
    stray_weights: [0.7110, -0.1097, 0.2738, 0.5575, -0.5616, 1.8225, 0.0207, -0.4860, -0.2452, -0.1602, 0.0275, -0.2932, -0.3403, -3.6000, 0.0, 0.0, 0.0],
    // Clearly heard there.
    moved_shift: -1.0,
    moved_weights: [0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
};

/// Where it did.
static LISTENED: Scale = Scale {
    limits: Limits { supported: 2.0, heard: -2.0, contradicted: 0.0, rival: -4.0, looked_for: 2.0, moved: 0.0, looked_at: -3.0, unwritten: -1.5 },
    shift: 6.3903,
    weights: [0.1049, 0.4147, 0.6117, 0.0525, -0.1049, -0.1472, -0.2893, -0.0487, -2.1178, 0.8962, 0.5691, -0.0957, -0.0907, -0.0203, 1.7193, 0.2770, 1.2317],
    stray_shift: -6.8107,
    stray_weights: [
        0.3100, 0.1559, 0.6473, 0.0999, 0.3105, 2.0115, -0.0335, -1.4338, -0.0975, -0.2076, 0.0565, -0.1743, -0.2376, -4.5098, 1.4037, 1.5140, -0.3672,
    ],
    moved_shift: -1.0138,
    moved_weights: [-0.1017, 0.2704, -1.4001, 1.3030, 0.3219, -0.1541, -0.1038, 0.9205, -0.9669, -0.7815, -0.0664, 0.4605, -2.2611, -1.4246],
};

fn scale(moments: &[Moment]) -> &'static Scale {
    if moments.iter().any(|m| !m.chances.is_empty()) { &LISTENED } else { &PLAIN }
}

/// Log odds to 0..1.
pub(crate) fn share(odds: f32) -> f64 {
    1.0 / (1.0 + libm::exp(-f64::from(odds)))
}

/// Semitones from a written note at which its rivals lie: what is easily taken for it, or mistaken on the neck.
const RIVALS: [i32; 12] = [-12, -7, -5, -4, -3, -2, -1, 1, 2, 3, 4, 12];

/// Every note of the part. `beside` are pitches that other parts sound at a written time, where these cannot be told apart by their seats.
pub(crate) fn notes(score: &Score, index: usize, moments: &[Moment], beneath: &[Moment], beside: &dyn Fn(f64) -> Vec<i32>, from_s: f64, end_s: f64) -> Vec<NoteChecked> {
    let part = &score.parts[index];
    let (low, _) = part.range();
    let scale = scale(moments);
    let limits = &scale.limits;
    let mut out: Vec<Option<NoteChecked>> = vec![None; part.notes.len()];
    for (at, m) in moments.iter().enumerate() {
        let struck: Vec<i32> = m.notes.iter().filter(|n| !part.notes[**n].unpitched).map(|n| part.notes[*n].midi).collect();
        for (place, n) in m.notes.iter().enumerate() {
            let note = &part.notes[*n];
            let mut checked = NoteChecked {
                bar: score.bars.get(note.bar).map_or(0, |b| b.number),
                beat: note.beat,
                slot: note.slot,
                string: note.place.map(|p| p.0),
                fret: note.place.map(|p| p.1),
                midi: note.midi,
                time_s: from_s + m.heard_s,
                verdict: Verdict::Supported,
                evidence: 0.0,
                better: None,
                moved_slots: None,
                ahead_ms: m.ahead_s.map(|a| 1000.0 * a),
                unpitched: note.unpitched,
                waved: score.waved(index, score.bars.get(note.bar).map_or(0, |b| b.number), note.slot),
                marks: [0.0; MARKS],
                moved_marks: None,
            };
            if m.heard_s > end_s - 0.05 {
                // The record is over.
                checked.verdict = Verdict::NotAudible;
                out[*n] = Some(checked);
                continue;
            }
            if note.unpitched || !part.is_pitched() {
                // An onset of the whole, or of the part's own seat.
                let clear = (m.strength / 0.5).max(m.newness / 0.7).clamp(0.0, 1.0);
                checked.evidence = f64::from(clear);
                checked.verdict = if clear > 0.45 { Verdict::Supported } else { Verdict::Weak };
                out[*n] = Some(checked);
                continue;
            }
            // A note that moves is there where an end of its way is heard.
            let own = [note.midi, note.path.0, note.path.1].map(|p| m.odds_of(low, p)).into_iter().fold(f32::MIN, f32::max);
            let instead = &m.instead[place];
            let rival_at = |d: i32| -> Option<(f32, i32)> {
                let r = note.midi + d;
                if struck.contains(&r) || m.ringing.contains(&r) || passed(part, m, r) {
                    return None;
                }
                usize::try_from(r - low).ok().and_then(|i| instead.get(i)).map(|o| (*o, r))
            };
            let best = |list: &[i32]| list.iter().filter_map(|d| rival_at(*d)).max_by(|a, b| a.0.total_cmp(&b.0));
            let rival = best(&RIVALS);
            checked.marks = marks(part, moments, at, note.midi, own, &struck, [best(&[-1, 1, -2, 2]), best(&[-12, 12]), rival]);
            let odds = weigh(scale, &checked.marks);
            checked.evidence = share(odds);
            let masked = || {
                let mut all = m.ringing.clone();
                all.extend(beside(m.written_s));
                covered(note.midi, &struck, &all) >= 4
            };
            checked.verdict = if odds > limits.supported && own > limits.heard {
                Verdict::Supported
            } else if odds < limits.contradicted && rival.is_some_and(|r| r.0 > limits.rival) {
                checked.better = rival.map(|r| r.1);
                Verdict::Contradicted
            } else if masked() {
                Verdict::NotAudible
            } else if odds < limits.contradicted {
                Verdict::Contradicted
            } else {
                Verdict::Weak
            };
            // The same pitch, heard more clearly at a neighbouring moment where nobody wrote it.
            if own < limits.looked_for && note.path.0 == note.path.1 {
                let elsewhere = elsewhere(score, part, moments, beneath, at, note.midi, note.bar, odds);
                checked.moved_marks = elsewhere.map(|e| e.1);
                // Without the note network's word, another pitch in its place says more.
                let replaced = m.chances.is_empty() && checked.better.is_some() && own <= -6.0;
                if let Some((slots, marks)) = elsewhere && weigh_moved(scale, &marks) > limits.moved && !replaced {
                    (checked.moved_slots, checked.better, checked.verdict) = (Some(slots), None, Verdict::Weak);
                }
            }
            if note.hushed && checked.verdict != Verdict::Supported {
                // It comes up later than where it is looked for.
                (checked.verdict, checked.better, checked.moved_slots) = (Verdict::NotAudible, None, None);
            }
            out[*n] = Some(checked);
        }
    }
    out.into_iter().flatten().collect()
}

/// Whether a note of the part that sounds at a moment is bent or slid through a pitch.
fn passed(part: &ScorePart, m: &Moment, midi: i32) -> bool {
    part.notes.iter().any(|n| n.passes(midi) && n.at_s < m.written_s + 0.1 && n.at_s + n.length_s > m.written_s - 0.1)
}

/// What a note's evidence is made from.
pub(crate) const MARKS: usize = 17;

/// The marks of a note: its own odds, those of rivals near it, an octave off and anywhere; how its odds lie among those of its stroke, how much is covered by
/// other notes, how clear the stroke is, and whether anything at all begins there.
fn marks(part: &ScorePart, moments: &[Moment], at: usize, midi: i32, own: f32, struck: &[i32], rivals: [Option<(f32, i32)>; 3]) -> [f32; MARKS] {
    let (low, _) = part.range();
    let m = &moments[at];
    let odds = |r: Option<(f32, i32)>| r.map_or(-8.0, |r| r.0.clamp(-8.0, 8.0));
    let mut beside: Vec<f32> = struck.iter().filter(|s| **s != midi).map(|s| m.odds_of(low, *s)).collect();
    beside.sort_by(f32::total_cmp);
    let others = beside.get(beside.len() / 2).copied().unwrap_or(0.0);
    // The loudest pitch that nobody wrote here.
    let stranger = m.odds.iter().enumerate().filter(|(i, _)| !struck.contains(&(low + *i as i32)) && !m.ringing.contains(&(low + *i as i32))).map(|(_, o)| *o).fold(-8.0f32, f32::max);
    // A note on a rest has no rivals, either: is even the likeliest of all pitches far from having been struck?
    let nothing = (m.odds.iter().copied().fold(-12.0f32, f32::max) + 4.5).clamp(-1.0, 0.0);
    let near = moments[at.saturating_sub(2)..(at + 3).min(moments.len())]
        .iter()
        .filter(|o| (o.written_s - m.written_s).abs() > 1e-6 && (o.written_s - m.written_s).abs() < 0.25)
        .map(|o| o.odds_of(low, midi))
        .fold(-8.0f32, f32::max);
    [
        own.max(-8.0),
        (own + 8.0).min(0.0),
        own.clamp(-4.0, 1.0),
        odds(rivals[0]),
        odds(rivals[1]),
        odds(rivals[2]),
        odds(rivals[2]).max(0.0),
        others,
        covered(midi, struck, &m.ringing) as f32 / 4.0,
        (struck.len().min(6) as f32 - 1.0) / 5.0,
        m.strength.min(1.5),
        m.newness,
        stranger,
        near,
        m.chances_of(low, midi)[0],
        // Of the rivals.
        rivals.iter().flatten().map(|r| m.chances_of(low, r.1)[0]).fold(if m.chances.is_empty() { 0.0 } else { crate::chances::NOTHING }, f32::max),
        nothing,
    ]
}

/// The marks weighed: log odds that the note is right. Set by `checks/check/limits.py`.
fn weigh(scale: &Scale, marks: &[f32; MARKS]) -> f32 {
    scale.shift + marks.iter().zip(&scale.weights).map(|(m, w)| m * w).sum::<f32>()
}

/// How many of a pitch's first four partials belong to other notes too.
fn covered(midi: i32, struck: &[i32], ringing: &[i32]) -> usize {
    let others = || struck.iter().chain(ringing).filter(|o| **o != midi);
    (1..=4)
        .filter(|k| {
            let place = f64::from(midi) + 12.0 * libm::log2(f64::from(*k));
            others().any(|o| (1..=8).any(|j| (f64::from(*o) + 12.0 * libm::log2(f64::from(j)) - place).abs() < 0.4))
        })
        .count()
}

/// What a moved note is judged by.
pub(crate) const MOVED_MARKS: usize = 14;

/// Where within a beat a pitch is heard more clearly than at moment `at`, and nobody wrote it: slots by which it comes later (earlier), and the marks of that.
#[allow(clippy::too_many_arguments)]
fn elsewhere(score: &Score, part: &ScorePart, moments: &[Moment], beneath: &[Moment], at: usize, midi: i32, bar: usize, evidence: f32) -> Option<(i32, [f32; MOVED_MARKS])> {
    let (low, _) = part.range();
    let slot_s = score.bars.get(bar)?.length_s / f64::from(part.slots.get(bar).copied().unwrap_or(16).max(1));
    let beat_s = score.bars[bar].length_s / score.bars[bar].beats.max(1e-9);
    let here = &moments[at];
    let reach_s = (0.6 * beat_s).min(0.3);
    let near = |m: &&Moment| (m.written_s - here.written_s).abs() < reach_s && (m.written_s - here.written_s).abs() > 0.4 * slot_s.min(0.12);
    // Not where it is written too.
    let has = |m: &Moment| moments.iter().filter(|o| (o.written_s - m.written_s).abs() < 0.06).any(|o| o.notes.iter().any(|n| part.notes[*n].midi == midi));
    let clear = |m: &Moment| m.odds_of(low, midi) + 2.0 * m.chances_of(low, midi)[0];
    let first = moments.partition_point(|m| m.written_s < here.written_s - reach_s);
    let own = moments[first..].iter().take_while(|m| m.written_s < here.written_s + reach_s);
    let there = own.chain(beneath).filter(near).filter(|m| !has(m)).max_by(|a, b| clear(a).total_cmp(&clear(b)))?;
    let slots = ((there.written_s - here.written_s) / slot_s).round() as i32;
    if slots == 0 {
        return None;
    }
    let flag = |b: bool| f32::from(u8::from(b));
    let (c_here, c_there) = (here.chances_of(low, midi), there.chances_of(low, midi));
    // Written within the second before, it may ring on.
    let before = moments[..at].iter().rev().take_while(|o| here.written_s - o.written_s < 1.2);
    let rang = before.clone().any(|o| o.notes.iter().any(|n| part.notes[*n].midi == midi));
    let off = (there.written_s - here.written_s) / slot_s;
    Some((
        slots,
        [
            here.odds_of(low, midi).clamp(-8.0, 8.0),
            there.odds_of(low, midi).clamp(-8.0, 8.0),
            c_here[0],
            c_there[0],
            c_here[3],
            c_there[5],
            evidence.clamp(-8.0, 12.0),
            flag(there.notes.is_empty()),
            flag(here.notes.len() > 1),
            here.strength.min(1.5),
            there.strength.min(1.5),
            flag(rang),
            (off - f64::from(slots)).abs() as f32,
            slots.abs().min(4) as f32,
        ],
    ))
}

/// The marks weighed: log odds that the note was moved there.
fn weigh_moved(scale: &Scale, marks: &[f32; MOVED_MARKS]) -> f32 {
    scale.moved_shift + marks.iter().zip(&scale.moved_weights).map(|(m, w)| m * w).sum::<f32>()
}

/// Pitches that the part does not have. `taken` are pitches that other parts of the passage sound around a written time.
pub(crate) fn unwritten(score: &Score, index: usize, moments: &[Moment], notes: &[NoteChecked], taken: &dyn Fn(f64, i32) -> bool, from_s: f64) -> Vec<Unwritten> {
    let part = &score.parts[index];
    let (low, high) = part.range();
    let scale = scale(moments);
    let limits = &scale.limits;
    let mut out: Vec<(f64, Unwritten)> = Vec::new();
    for (at, m) in moments.iter().enumerate() {
        if !m.notes.is_empty() && m.notes.iter().all(|n| part.notes[*n].hushed) {
            // Nothing of this part is struck to be heard here.
            continue;
        }
        let struck: Vec<i32> = m.notes.iter().map(|n| part.notes[*n].midi).collect();
        let better: Vec<i32> = m.notes.iter().filter_map(|n| notes.get(*n).and_then(|c| c.better)).collect();
        for midi in low..=high {
            let odds = m.odds_of(low, midi);
            if odds <= limits.looked_at || struck.contains(&midi) || better.contains(&midi) || taken(m.written_s, midi) || passed(part, m, midi) {
                continue;
            }
            // Stronger beside it: that one is meant.
            if [midi - 1, midi + 1].iter().any(|o| m.odds_of(low, *o) > odds) {
                continue;
            }
            // Written a little later or earlier, or the same one seen twice.
            let near = |o: &Moment| (o.written_s - m.written_s).abs() < 0.09 && o.notes.iter().any(|n| part.notes[*n].midi == midi);
            if moments[at.saturating_sub(3)..(at + 4).min(moments.len())].iter().any(near) {
                continue;
            }
            let marks = stray_marks(part, moments, at, midi, odds);
            let weighed = weigh_stray(scale, &marks);
            if weighed < limits.unwritten {
                continue;
            }
            // At the limit, a quarter.
            let odds = weighed - limits.unwritten - 1.1;
            if let Some((_, last)) = out.iter_mut().rev().find(|(w, u)| u.midi == midi && m.written_s - w < 0.12) {
                if share(odds) > last.evidence {
                    last.evidence = share(odds);
                }
                continue;
            }
            let Some((bar, beat, slot)) = score.slot_at(index, m.written_s) else { continue };
            let place = place_for(part, midi, &m.notes).filter(|p| within_reach(part, *p, &m.notes));
            let of_stroke = !m.notes.is_empty();
            out.push((m.written_s, Unwritten { time_s: from_s + m.heard_s, bar: score.bars[bar].number, beat, slot, midi, evidence: share(odds), place, of_stroke, marks }));
        }
    }
    out.into_iter().map(|(_, u)| u).collect()
}

/// What a pitch that nobody wrote is weighed by.
pub(crate) const STRAY_MARKS: usize = 17;

fn stray_marks(part: &ScorePart, moments: &[Moment], at: usize, midi: i32, odds: f32) -> [f32; STRAY_MARKS] {
    let (low, _) = part.range();
    let m = &moments[at];
    let struck: Vec<i32> = m.notes.iter().filter(|n| !part.notes[**n].unpitched).map(|n| part.notes[*n].midi).collect();
    let flag = |b: bool| f32::from(u8::from(b));
    let has = |d: i32| struck.contains(&(midi + d)) || m.ringing.contains(&(midi + d));
    let mut beside: Vec<f32> = struck.iter().map(|s| m.odds_of(low, *s)).collect();
    beside.sort_by(f32::total_cmp);
    // The same pitch struck, or heard, within the second before: it may only ring on.
    let before: Vec<&Moment> = moments[..at].iter().rev().take_while(|o| m.written_s - o.written_s < 1.2).collect();
    let rang = before.iter().any(|o| o.notes.iter().any(|n| part.notes[*n].midi == midi));
    let heard = before.iter().map(|o| o.odds_of(low, midi)).fold(-8.0f32, f32::max);
    let neighbour = m.odds_of(low, midi - 1).max(m.odds_of(low, midi + 1)).max(-8.0);
    // A note of the stroke that is not heard may be this one.
    let missing = beside.first().copied().unwrap_or(0.0).clamp(-6.0, 0.0);
    [
        odds,
        (odds - 2.0).max(0.0),
        flag(has(-12) || has(-24)),
        flag(has(12)),
        flag(has(-19) || has(-7)),
        flag(rang),
        heard,
        flag(m.notes.is_empty()),
        m.strength.min(1.5),
        m.newness,
        beside.get(beside.len() / 2).copied().unwrap_or(0.0),
        neighbour,
        missing,
        flag(m.ringing.contains(&midi)),
        m.chances_of(low, midi)[0],
        m.chances_of(low, midi)[3],
        // A chance that rose within the last second rings on.
        before.iter().map(|o| o.chances_of(low, midi)[0]).fold(if m.chances.is_empty() { 0.0 } else { crate::chances::NOTHING }, f32::max),
    ]
}

/// The marks weighed: log odds that the pitch was struck, and nobody wrote it.
fn weigh_stray(scale: &Scale, marks: &[f32; STRAY_MARKS]) -> f32 {
    scale.stray_shift + marks.iter().zip(&scale.stray_weights).map(|(m, w)| m * w).sum::<f32>()
}

/// Whether the hand that holds the notes of a stroke comes to a place, too: an open string, or four frets from their middle at most (common practice).
fn within_reach(part: &ScorePart, place: (u8, u8), beside: &[usize]) -> bool {
    let fretted: Vec<f64> = beside.iter().filter_map(|n| part.notes[*n].place).map(|p| f64::from(p.1)).filter(|f| *f > 0.0).collect();
    place.1 == 0 || fretted.is_empty() || (f64::from(place.1) - fretted.iter().sum::<f64>() / fretted.len() as f64).abs() <= 4.0
}

/// String and fret for a pitch beside the notes of a stroke: a free string, as near to their frets as can be.
pub(crate) fn place_for(part: &ScorePart, midi: i32, beside: &[usize]) -> Option<(u8, u8)> {
    let neck = part.neck.as_ref()?;
    let held: Vec<(u8, u8)> = beside.iter().filter_map(|n| part.notes[*n].place).collect();
    let fretted: Vec<u8> = held.iter().map(|p| p.1).filter(|f| *f > 0).collect();
    let hand = if fretted.is_empty() { 4.0 } else { fretted.iter().map(|f| f64::from(*f)).sum::<f64>() / fretted.len() as f64 };
    (1..=neck.strings() as u8)
        .filter(|s| !held.iter().any(|h| h.0 == *s))
        .flat_map(|s| (0..=neck.top_fret()).filter(move |f| neck.sounds(s, *f).is_some_and(|m| i32::from(m.0) == midi)).map(move |f| (s, f)))
        .min_by(|a, b| {
            let cost = |p: &(u8, u8)| if p.1 == 0 { 1.5 } else { (f64::from(p.1) - hand).abs() };
            cost(a).total_cmp(&cost(b))
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn partials_that_belong_to_other_notes_too() {
        // By the harmonic series: an octave above gives E2 its second and fourth, a fifth above its third, an octave below all of E3's.
        assert_eq!(covered(40, &[52], &[]), 2);
        assert_eq!(covered(40, &[], &[47]), 1);
        assert_eq!(covered(52, &[40], &[]), 4);
        assert_eq!(covered(40, &[52], &[47]), 3);
        // Not by itself, and not by a semitone.
        assert_eq!(covered(40, &[40], &[40, 41]), 0);
        assert_eq!(covered(40, &[], &[]), 0);
    }
}
