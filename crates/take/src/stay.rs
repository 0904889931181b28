//! What speaks for a note's string in where the hand lies before and after it.
//!
//! # Conventions
//! The hand's position is the fret of the index finger: four frets from there lie under the fingers, one more to either side is reached by stretching. Frets count from the capo.
//!
//! # Method
//! A chain over strokes: hidden is the position, which stays or moves, the farther the less likely; a stroke is as likely in a position as its notes are on the strings that have them under
//! the fingers there. Sums over all ways before and after a stroke (forward and backward: L. R. Rabiner, Proc. IEEE 77(2), 1989, eqs. 20 and 25) give where the hand lies by all other
//! strokes, and with that how likely each string is for the stroke's note. Only for notes struck alone: what a chord needs `neck` knows better. Where nothing speaks for a position a hand
//! lies where hands do ([`MIDDLE`]), said once for a line, not once for each of its notes.
//!
//! It is said beside the hand's cost in `neck`, which knows single steps: where sound tells nothing of strings those add up to places that leap about, or to the low frets. For that the
//! likeliest position is made likelier still ([`DECIDED`]); what is told of a note's strings keeps it as open as it is. Constants are set on lines from a soundfont and on solos of players
//! 00 and 01 played by strings by formula (`checks/take/measure.py`, seeds 11, 13 and 17; `--solos`).

use crate::heard::TakenNote;
use crate::network::STRINGS;
use crate::write_out::TOGETHER_S;
use neck::Instrument;

/// Positions, from the first fret.
const POSITIONS: usize = 18;
/// How likely a place is beside one under the fingers: an open string, a stretch, all others.
const OPEN: f64 = 0.05;
const STRETCH: f64 = 0.2;
const OUT: f64 = 0.001;
/// What each fret that the hand moves costs, as a logarithm; how likely any position follows any other.
const MOVE: f64 = 3.0;
const FREE: f64 = 0.001;
/// How much it counts beside what is known otherwise: steps of a line are not independent of what `neck` makes of them.
const WEIGHT: f64 = 4.0;
/// Where a hand lies of which nothing is known, mean and spread in frets: measured on solos of players 00 and 01 (the four frets that hold most of sixteen notes).
const MIDDLE: f64 = 5.75;
const SPREAD: f64 = 2.9;
/// The power by which a likely position is made likelier: a line lies in one, not a little in each.
const DECIDED: f64 = 4.0;

type Places = [f64; POSITIONS];

/// How much each string of each note is to be believed, 0 to 1, low string first: 1 throughout for notes that are not struck alone. Notes are in order of their onsets; `strings` is how likely
/// each string is for each note otherwise, a list as long as the instrument has strings ([`STRINGS`]) for each.
/// Once as it is, and once decided: for one position.
pub(crate) fn by_position(notes: &[TakenNote], strings: &[Vec<f64>], instrument: &Instrument) -> [Vec<[f64; STRINGS]>; 2] {
    let fret = |i: usize, s: usize| notes[i].midi.0.checked_sub(instrument.tuning.open[s].0 + instrument.capo).filter(|f| *f <= instrument.top_fret());
    let mut strokes: Vec<Vec<usize>> = Vec::new();
    for (i, n) in notes.iter().enumerate() {
        match strokes.last_mut() {
            Some(l) if n.onset_s - notes[l[0]].onset_s < TOGETHER_S => l.push(i),
            _ => strokes.push(vec![i]),
        }
    }
    let seen: Vec<Places> = strokes
        .iter()
        .map(|stroke| {
            let note = |i: usize, p: usize| {
                let has = |s: &usize| fret(i, *s).is_some();
                let all: f64 = (0..STRINGS).filter(has).map(|s| strings[i][s]).sum();
                if all > 0.0 { (0..STRINGS).map(|s| strings[i][s] / all * under(fret(i, s), p)).sum() } else { 1.0 }
            };
            scaled(std::array::from_fn(|p| stroke.iter().map(|i| note(*i, p)).product()))
        })
        .collect();
    let n = strokes.len();
    let usual: Places = std::array::from_fn(usual);
    let (mut before, mut after) = (vec![usual; n], vec![[1.0; POSITIONS]; n]);
    for t in 1..n {
        before[t] = moved(&std::array::from_fn(|p| before[t - 1][p] * seen[t - 1][p]));
    }
    for t in (1..n).rev() {
        after[t - 1] = moved(&std::array::from_fn(|p| after[t][p] * seen[t][p]));
    }
    let mut out = [vec![[1.0; STRINGS]; notes.len()], vec![[1.0; STRINGS]; notes.len()]];
    for ((stroke, before), after) in strokes.iter().zip(&before).zip(&after) {
        let [i] = stroke[..] else { continue };
        let place = scaled(std::array::from_fn(|p| before[p] * after[p]));
        let lies = |place: &Places| -> [f64; STRINGS] {
            let all: f64 = place.iter().sum();
            std::array::from_fn(|s| (0..POSITIONS).map(|p| place[p] / all * under(fret(i, s), p)).sum())
        };
        out[0][i] = lies(&place);
        out[1][i] = lies(&place.map(|q| libm::pow(q, DECIDED))).map(|v| libm::pow(v, WEIGHT));
    }
    out
}

/// How likely a fret is with the index finger at fret `p` + 1; 0 for none.
fn under(fret: Option<u8>, p: usize) -> f64 {
    match fret.map(|f| (f, i32::from(f) - (p as i32 + 1))) {
        None => 0.0,
        Some((0, _)) => OPEN,
        Some((_, 0..=3)) => 1.0,
        Some((_, -1 | 4)) => STRETCH,
        Some(_) => OUT,
    }
}

/// How likely the hand lies in a position of which nothing is known.
fn usual(p: usize) -> f64 {
    let off = (p as f64 + 1.0 - MIDDLE) / SPREAD;
    libm::exp(-0.5 * off * off)
}

/// Where the hand is a stroke later.
fn moved(from: &Places) -> Places {
    let all: f64 = from.iter().sum();
    scaled(std::array::from_fn(|p| FREE * all * usual(p) + (0..POSITIONS).map(|q| from[q] * libm::exp(-MOVE * p.abs_diff(q) as f64)).sum::<f64>()))
}

/// The greatest is one.
fn scaled(list: Places) -> Places {
    let top = list.iter().copied().fold(0.0, f64::max);
    if top > 0.0 { list.map(|v| v / top) } else { [1.0; POSITIONS] }
}

#[cfg(test)]
mod tests {
    use super::*;
    use lesson::Attack;
    use pitch::Midi;

    fn notes(line: &[(f64, u8)]) -> Vec<TakenNote> {
        line.iter().map(|(t, m)| TakenNote { onset_s: *t, offset_s: t + 0.2, midi: Midi(*m), confidence: 0.9, strings: vec![], attack: Attack::Struck }).collect()
    }

    fn best(list: &[f64; STRINGS]) -> usize {
        (0..STRINGS).max_by(|a, b| list[*a].total_cmp(&list[*b])).unwrap()
    }

    #[test]
    fn a_line_between_two_grips_stays_where_they_are() {
        // x x 9 8 7 x, then D4 E4 F#4 in the seventh position: 5:5 lies away and the open string is no neighbour.
        let line = notes(&[(0.0, 59), (0.0, 63), (0.0, 66), (0.5, 62), (0.75, 64), (1.0, 66), (1.5, 59), (1.5, 63), (1.5, 66)]);
        let mut strings = vec![vec![1.0; STRINGS]; line.len()];
        for (i, s) in [(0, 2), (1, 3), (2, 4), (6, 2), (7, 3), (8, 4)] {
            strings[i] = vec![0.01; STRINGS];
            strings[i][s] = 1.0;
        }
        let [open, by] = by_position(&line, &strings, &Instrument::guitar());
        assert!((0..line.len()).all(|i| best(&open[i]) == best(&by[i])));
        // common practice: G string frets 7 and 9, B string fret 7.
        assert_eq!([3, 4, 5].map(|i| best(&by[i])), [3, 3, 4]);
        assert!([0, 1, 2, 6, 7, 8].iter().all(|i| by[*i] == [1.0; STRINGS]));
    }

    #[test]
    fn a_line_of_which_nothing_is_known_lies_in_one_position() {
        // common practice: the minor pentatonic of A, frets 5 to 8.
        let line = notes(&[57, 60, 62, 64, 67, 69, 72, 74, 72, 69, 67, 64, 62, 60, 57].iter().enumerate().map(|(i, m)| (0.25 * i as f64, *m)).collect::<Vec<_>>());
        let [_, by] = by_position(&line, &vec![vec![1.0; STRINGS]; line.len()], &Instrument::guitar());
        let frets: Vec<u8> = line.iter().zip(&by).map(|(n, by)| n.midi.0 - Instrument::guitar().tuning.open[best(by)].0).collect();
        assert!(frets.iter().max().unwrap() - frets.iter().min().unwrap() <= 3, "{frets:?}");
    }

    #[test]
    fn nothing_and_what_no_string_has_are_no_fault() {
        let guitar = Instrument::guitar();
        assert!(by_position(&[], &[], &guitar).iter().all(Vec::is_empty));
        let line = notes(&[(0.0, 20), (0.5, 60), (1.0, 110)]);
        let by = by_position(&line, &vec![vec![0.0; STRINGS]; 3], &guitar);
        assert!(by.iter().flatten().flatten().all(|v| (0.0..=1.0).contains(v)));
        assert!(by.iter().all(|by| by[0] == [0.0; STRINGS]));
    }
}
