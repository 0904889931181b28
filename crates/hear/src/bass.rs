//! The bass line: notes with onsets and offsets, from mixes with drums and guitars.
//!
//! # Method
//! Moments at which the lower end rises (see [`low_spectra`](crate::low_spectra)) are judged one by one. A small network, the same for each of 34 notes, sees the levels at a
//! note's partials before and after, and at places that tell it from an octave or a fifth; it answers how likely that note sets in there in
//! the bass, and whether none does; all notes together are one choice. It was trained on mixes of soundfont basses and a plucked model under other instruments
//! (`training/chords/bass.py`). A note lasts until the next one, or until its partials have fallen by 20 dB.
//!
//! # Where there is no bass
//! A guitar alone has low notes, too; where few moments are a bass note's, and none of them lies below the guitar's lowest string, there is no line.

use crate::chord_scorer::{Layer, layer, layers};
use crate::hearing::BassNote;
use crate::low_spectra::{LOWEST, SEMITONES, WIDTH, hop_s};
use pitch::Midi;
use wave::Seconds;

const FIRST: usize = 24;
const PITCHES: usize = 34;
/// Rows before and after at which the long and the short window are looked at, and at which semitones over the note: partials, an octave below, one and a
/// half times and two and a half times, the neighbours.
const LONG_TIMES: [i32; 6] = [-16, -8, -3, 4, 8, 14];
const LONG_AT: [i32; 13] = [0, 12, 19, 24, 28, 31, 34, 36, -12, 7, 16, -1, 1];
const SHORT_TIMES: [i32; 10] = [-6, -3, -1, 0, 1, 2, 3, 4, 6, 9];
const SHORT_AT: [i32; 8] = [0, 12, 19, 24, 28, 31, -12, 7];
const FIXED: usize = 5;
const INPUTS: usize = LONG_TIMES.len() * LONG_AT.len() + SHORT_TIMES.len() * SHORT_AT.len() + FIXED;
const HIDDEN: [usize; 2] = [64, 24];
/// A moment is a note's from this probability on.
const LEAST: f32 = 0.4;
/// Levels are logarithms over 7: 20 dB.
const FALLEN: f32 = 0.33;
const SHORTEST_S: f64 = 0.06;
/// The lowest open string of a guitar.
const GUITAR_LOWEST: u8 = 40;

const WEIGHTS: &[u8] = include_bytes!("../weights/bass.f16");
const _: () = assert!(WEIGHTS.len() == 2 * ((INPUTS + 1) * HIDDEN[0] + (HIDDEN[0] + 1) * HIDDEN[1] + (HIDDEN[1] + 1) * 2));

/// The line; empty where no bass is heard.
pub(crate) fn bass(rows: &[[f32; WIDTH]]) -> Vec<BassNote> {
    let layers = layers(WEIGHTS, &[INPUTS, HIDDEN[0], HIDDEN[1], 2]);
    let rise = rises(rows);
    let mut struck: Vec<(usize, usize)> = Vec::new();
    for at in moments(&rise) {
        if let Some(pitch) = set_in(&layers, rows, &rise, at) {
            struck.push((at, pitch));
        }
    }
    if !struck.iter().any(|(_, p)| ((FIRST + p) as u8) < GUITAR_LOWEST) {
        return Vec::new();
    }
    let mut out = Vec::with_capacity(struck.len());
    for (i, (at, pitch)) in struck.iter().enumerate() {
        let next = struck.get(i + 1).map_or(rows.len(), |s| s.0);
        let end = falls(rows, *at, next, FIRST + pitch);
        let onset = between(&rise, *at) * hop_s();
        let offset = (end as f64 * hop_s()).max(onset + SHORTEST_S);
        out.push(BassNote { onset: Seconds(onset.max(0.0)), offset: Seconds(offset), midi: Midi((FIRST + pitch) as u8) });
    }
    // A note ends where the next begins, at the latest.
    for i in 1..out.len() {
        let next = out[i].onset;
        if out[i - 1].offset > next {
            out[i - 1].offset = next;
        }
    }
    out
}

/// How much the lower end rises around each row, over what it and its neighbours held two rows before.
fn rises(rows: &[[f32; WIDTH]]) -> Vec<f32> {
    let mut out = vec![0.0; rows.len()];
    for k in 1..rows.len().saturating_sub(1) {
        let before = &rows[k - 1][SEMITONES..];
        let around = |s: usize| before[s.saturating_sub(1)..(s + 2).min(SEMITONES)].iter().fold(0.0f32, |m, v| m.max(*v));
        out[k] = (0..42).map(|s| (rows[k + 1][SEMITONES + s] - around(s)).max(0.0)).sum();
    }
    out
}

/// Rows at which it sets in: the highest of five, and a twentieth of the most within two seconds.
fn moments(rise: &[f32]) -> Vec<usize> {
    let reach = (2.0 / hop_s()).round() as usize;
    let most = |from: usize, to: usize| rise[from..to.min(rise.len())].iter().fold(0.0f32, |m, v| m.max(*v));
    (2..rise.len().saturating_sub(2))
        .filter(|k| {
            let k = *k;
            rise[k] > 0.15 && rise[k] >= most(k - 2, k + 3) && rise[k] > rise[k - 1] && rise[k] > most(k.saturating_sub(reach), k + reach + 1) / 20.0
        })
        .collect()
}

/// The place of a peak between rows, by a parabola.
fn between(rise: &[f32], at: usize) -> f64 {
    let (a, b, c) = (f64::from(rise[at - 1]), f64::from(rise[at]), f64::from(rise[at + 1]));
    let bend = a - 2.0 * b + c;
    at as f64 + if bend < -1e-9 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}

/// The note that sets in at a moment, counted from [`FIRST`]; `None` where none does.
fn set_in(layers: &[Layer], rows: &[[f32; WIDTH]], rise: &[f32], at: usize) -> Option<usize> {
    let level = |row: i32, part: usize, semitone: i32| -> f32 {
        let (row, inside) = (at as i32 + row, (0..SEMITONES as i32).contains(&semitone));
        if inside && row >= 0 { rows.get(row as usize).map_or(0.0, |r| r[part * SEMITONES + semitone as usize]) } else { 0.0 }
    };
    let after = &rows[(at + 2).min(rows.len() - 1)][SEMITONES..];
    let mean = |part: &[f32]| part.iter().sum::<f32>() / part.len() as f32;
    let all = [rise[at] / 10.0, mean(&after[..20]), mean(&after[20..40]), mean(&after[40..])];
    let mut scores = [0.0f32; PITCHES + 1];
    for pitch in 0..PITCHES {
        let base = (FIRST + pitch) as i32 - LOWEST as i32;
        let mut inputs = [0.0f32; INPUTS];
        let long = LONG_TIMES.iter().flat_map(|t| LONG_AT.map(|o| level(*t, 0, base + o)));
        let short = SHORT_TIMES.iter().flat_map(|t| SHORT_AT.map(|o| level(*t, 1, base + o)));
        let own = ((FIRST + pitch) as f32 - 40.0) / 12.0;
        inputs.iter_mut().zip(long.chain(short).chain(all).chain([own])).for_each(|(i, v)| *i = v);
        let first: [f32; HIDDEN[0]] = layer(&layers[0], &inputs);
        let second: [f32; HIDDEN[1]] = layer(&layers[1], &first.map(|v| v.max(0.0)));
        let last: [f32; 2] = layer(&layers[2], &second.map(|v| v.max(0.0)));
        scores[pitch] = last[0];
        scores[PITCHES] += last[1] / PITCHES as f32;
    }
    let top = scores.iter().fold(f32::MIN, |m, v| m.max(*v));
    let odds = scores.map(|s| libm::expf(s - top));
    let total: f32 = odds.iter().sum();
    let best = (0..PITCHES).fold(0, |b, p| if odds[p] > odds[b] { p } else { b });
    // Any note rather than none; which one it is may be less sure.
    (1.0 - odds[PITCHES] / total >= LEAST).then_some(best)
}

/// The row at which a note struck at `from` has died away, before `until`.
fn falls(rows: &[[f32; WIDTH]], from: usize, until: usize, midi: usize) -> usize {
    let at = midi - LOWEST;
    let level = |k: usize| rows[k][SEMITONES + at].max(rows[k][SEMITONES + at + 12]);
    let mut top = 0.0f32;
    for k in from + 1..until {
        top = top.max(level(k));
        if k > from + 3 && level(k) < top - FALLEN {
            return k;
        }
    }
    until
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_are_rises_that_stand_out() {
        let mut rise = vec![0.0f32; 400];
        for (k, v) in [(50, 6.0), (51, 5.0), (100, 1.0), (120, 0.2), (300, 0.2)] {
            rise[k] = v;
        }
        // The small one near a strong one is left out, the other, on its own, is not.
        assert_eq!(moments(&rise), [50, 100, 300]);
        assert!((between(&rise, 50) - 50.36).abs() < 0.2);
        assert!(moments(&[]).is_empty() && rises(&[]).is_empty() && bass(&[]).is_empty());
    }

    #[test]
    fn a_note_ends_when_its_partials_have_died() {
        let mut rows = vec![[0.0f32; WIDTH]; 100];
        for (k, row) in rows.iter_mut().enumerate().skip(10) {
            row[SEMITONES + 33 - LOWEST] = (0.9 - 0.01 * (k - 10) as f32).max(0.0);
        }
        assert_eq!(falls(&rows, 10, 100, 33), 45);
        assert_eq!(falls(&rows, 10, 30, 33), 30);
    }
}
