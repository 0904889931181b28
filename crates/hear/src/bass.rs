//! The bass line: notes with onsets and offsets, from mixes with drums and guitars.
//!
//! # Method
//! A small network reads the lower end row by row (see [`low_spectra`](crate::low_spectra)). For each of 34 notes the same weights see the levels at that note's partials, and at places
//! that tell it from an octave or a fifth; beside them stands, the same for all notes, what the whole lower end and the rises of all bands give. Convolutions over time whose gaps
//! double follow (F. Yu and V. Koltun, "Multi-scale context aggregation by dilated convolutions", ICLR 2016), each value by itself, then mixed with the others and with their means over all notes
//! (F. Chollet, "Xception: deep learning with depthwise separable convolutions", CVPR 2017, takes them apart so). It answers how likely each note sets in at each row,
//! and which one sounds, or none. A note begins where some note's onset is likely and likelier than just before and after; which one it is, onset and the rows behind it say together. It was
//! trained on mixes of soundfont basses and a plucked model under other instruments (`training/chords/bass.py`). A note lasts until the next one, or until it is no longer heard.
//!
//! # Where there is no bass
//! A guitar alone has low notes, too; where none of the notes lies below the guitar's lowest string, there is no line.

use crate::chord_scorer::halves;
use crate::dense::{added, added_to_two};
use crate::hearing::BassNote;
use crate::low_spectra::{LOWEST, LowSpectra, Row, SEMITONES, WIDTH, hop_s};
use pitch::Midi;
use wave::{Seconds, lanes};

const FIRST: usize = 24;
const PITCHES: usize = 34;
/// Semitones over the note at which the long window and the other three parts of a row are looked at: partials, an octave below, one and a half times and two and a half times, the
/// neighbours.
const LONG_AT: [i32; 13] = [0, 12, 19, 24, 28, 31, 34, 36, -12, 7, 16, -1, 1];
const SHORT_AT: [i32; 8] = [0, 12, 19, 24, 28, 31, -12, 7];
const INPUTS: usize = LONG_AT.len() + 3 * SHORT_AT.len() + 1;
const HIDDEN: usize = 48;
const TAPS: usize = 5;
const DILATIONS: [usize; 6] = [1, 2, 4, 8, 1, 16];
/// Rows that are asked for together: a long record must not be held many times over.
const TOGETHER: usize = 512;
/// A note begins from this probability on; from the second where so much more of it sounds behind than before.
const LEAST: f32 = 0.38;
const LEAST_OF_NEW: f32 = 0.15;
const NEW: f32 = 0.45;
/// Rows behind an onset that say which note it is; and those that say whether it is new.
const SAYING: usize = 3;
const BEHIND: usize = 5;
/// A note is over where this many rows in turn hold it for less likely than this.
const GONE: (usize, f32) = (3, 0.3);
const SHORTEST_S: f64 = 0.06;
/// The lowest open string of a guitar.
const GUITAR_LOWEST: u8 = 40;

/// Halves, little-endian.
const BYTES: &[u8] = include_bytes!("../weights/bass.f16");
const COUNT: usize = (TAPS * INPUTS + 1) * HIDDEN
    + (TAPS * WIDTH + 1) * HIDDEN
    + DILATIONS.len() * ((TAPS + 1) * HIDDEN + (HIDDEN + 1) * HIDDEN + HIDDEN * HIDDEN)
    + (HIDDEN + 1) * 2
    + HIDDEN
    + 1;
const _: () = assert!(BYTES.len() == 2 * COUNT, "the weights are of another network");

/// What the network says of one row.
#[derive(Clone, Copy)]
struct Told {
    /// How likely each note sets in.
    onset: [f32; PITCHES],
    /// How likely each note sounds.
    sounds: [f32; PITCHES],
}

/// The line; empty where no bass is heard.
pub(crate) fn bass(rows: &LowSpectra) -> Vec<BassNote> {
    line(&Network::new().told(rows.len(), TOGETHER, |stretch| rows.rows(stretch)))
}

fn line(told: &[Told]) -> Vec<BassNote> {
    let any: Vec<f32> = told.iter().map(|t| t.onset.iter().fold(0.0f32, |m, v| m.max(*v))).collect();
    let struck: Vec<(usize, usize)> =
        moments(&any).into_iter().map(|at| (at, note_at(told, at))).filter(|(at, pitch)| any[*at] > LEAST || newly(told, *at, *pitch) > NEW).collect();
    if !struck.iter().any(|(_, p)| ((FIRST + p) as u8) < GUITAR_LOWEST) {
        return Vec::new();
    }
    let mut out: Vec<BassNote> = Vec::with_capacity(struck.len());
    for (i, (at, pitch)) in struck.iter().enumerate() {
        let next = struck.get(i + 1).map_or(told.len(), |s| s.0);
        let gone = |k: &usize| told[*k..(*k + GONE.0).min(told.len())].iter().all(|t| t.sounds[*pitch] < GONE.1);
        let end = (at + 2..next).find(gone).unwrap_or(next);
        let onset = (between(&any, *at) * hop_s()).max(0.0);
        let offset = (end as f64 * hop_s()).max(onset + SHORTEST_S);
        // A note ends where the next begins, at the latest.
        if let Some(last) = out.last_mut().filter(|l| l.offset.0 > onset) {
            last.offset = Seconds(onset);
        }
        out.push(BassNote { onset: Seconds(onset), offset: Seconds(offset), midi: Midi((FIRST + pitch) as u8) });
    }
    out
}

/// Rows at which a note may set in: not quite unlikely, and the likeliest of five.
fn moments(any: &[f32]) -> Vec<usize> {
    let most = |from: usize, to: usize| any[from..to.min(any.len())].iter().fold(0.0f32, |m, v| m.max(*v));
    (0..any.len()).filter(|k| any[*k] > LEAST_OF_NEW && any[*k] > most(k.saturating_sub(2), *k) && any[*k] >= most(*k, k + 3)).collect()
}

/// The place of a peak between rows, by a parabola.
fn between(any: &[f32], at: usize) -> f64 {
    let get = |k: Option<usize>| k.and_then(|k| any.get(k)).copied().map_or(0.0, f64::from);
    let (a, b, c) = (get(at.checked_sub(1)), get(Some(at)), get(Some(at + 1)));
    let bend = a - 2.0 * b + c;
    at as f64 + if bend < -1e-9 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}

/// The likeliest note that sets in at a row.
fn note_at(told: &[Told], at: usize) -> usize {
    let mut worth = [0.0f32; PITCHES];
    for t in &told[at.saturating_sub(1)..(at + 2).min(told.len())] {
        worth.iter_mut().zip(&t.onset).for_each(|(w, o)| *w += 2.0 * o / 3.0);
    }
    for t in &told[(at + 1).min(told.len())..(at + 1 + SAYING).min(told.len())] {
        worth.iter_mut().zip(&t.sounds).for_each(|(w, s)| *w += s / SAYING as f32);
    }
    (0..PITCHES).fold(0, |b, p| if worth[p] > worth[b] { p } else { b })
}

/// How much more a note sounds behind a row than before.
fn newly(told: &[Told], at: usize, pitch: usize) -> f32 {
    let mean = |rows: &[Told]| rows.iter().map(|t| t.sounds[pitch]).sum::<f32>() / BEHIND as f32;
    let end = told.len();
    mean(&told[(at + 2).min(end)..(at + 2 + BEHIND).min(end)]) - mean(&told[at.saturating_sub(1 + BEHIND)..at.saturating_sub(1)])
}

/// Weights `[tap][in][out]`, and offsets.
struct Convolution {
    weights: Vec<f32>,
    offsets: Vec<f32>,
}

struct Block {
    /// Over time, each value by itself: weights `[tap][value]`.
    wide: Convolution,
    mix: Convolution,
    /// What the mean of all notes adds.
    others: Vec<f32>,
}

/// A block on its way through the rows, with as many of them as it reaches.
struct Pass<'a> {
    block: &'a Block,
    dilation: usize,
    length: usize,
    /// How many rows have come.
    come: usize,
    kept: Vec<Notes>,
}

impl Pass<'_> {
    /// Takes the next row, and gives the one that has all it needs by now with what the block adds to it, silence past the last; false before the first.
    #[inline(always)]
    fn next(&mut self, notes: &mut Notes) -> bool {
        let (kept, reach) = (self.kept.len(), TAPS / 2 * self.dilation);
        self.kept[self.come % kept] = *notes;
        self.come += 1;
        let Some(done) = self.come.checked_sub(reach + 1) else { return false };
        if done >= self.length {
            *notes = SILENCE;
            return true;
        }
        // Before the first row is silence, for nothing has come there yet.
        let near: [&Notes; TAPS] = std::array::from_fn(|k| &self.kept[(done + kept + k * self.dilation - reach) % kept]);
        let own = near[TAPS / 2];
        let Block { wide, mix, others } = self.block;
        let weights: [Hidden; TAPS] = std::array::from_fn(|k| std::array::from_fn(|o| wide.weights[k * HIDDEN + o]));
        let [wide_offsets, mix_offsets]: [Hidden; 2] = [wide, mix].map(|c| std::array::from_fn(|o| c.offsets[o]));
        let shared = added(&mix_offsets, others, &mean(own));
        for (two, to) in notes.as_chunks_mut::<2>().0.iter_mut().enumerate() {
            let inner: [Hidden; 2] = std::array::from_fn(|n| {
                let near = near.map(|notes| &notes[2 * two + n]);
                let mut sums = wide_offsets;
                for o in 0..HIDDEN {
                    sums[o] = (0..TAPS).fold(sums[o], |sum, k| sum + weights[k][o] * near[k][o]).max(0.0);
                }
                sums
            });
            let sums = added_to_two([shared; 2], &mix.weights, inner.each_ref());
            for (n, (to, sums)) in to.iter_mut().zip(sums).enumerate() {
                *to = std::array::from_fn(|o| own[2 * two + n][o] + sums[o]);
            }
        }
        true
    }
}

struct Network {
    own: Convolution,
    all: Convolution,
    blocks: Vec<Block>,
    last: Convolution,
    none: Convolution,
}

type Hidden = [f32; HIDDEN];
type Notes = [Hidden; PITCHES];
const SILENCE: Notes = [[0.0; HIDDEN]; PITCHES];

impl Network {
    fn new() -> Network {
        let mut values = halves(BYTES);
        let mut convolution = |inputs: usize, outputs: usize, with_offsets: bool| Convolution {
            weights: values.by_ref().take(inputs * outputs).collect(),
            offsets: values.by_ref().take(if with_offsets { outputs } else { 0 }).collect(),
        };
        let own = convolution(TAPS * INPUTS, HIDDEN, true);
        let all = convolution(TAPS * WIDTH, HIDDEN, true);
        let mut blocks = Vec::new();
        for _ in DILATIONS {
            let (wide, mix) = (convolution(TAPS, HIDDEN, true), convolution(HIDDEN, HIDDEN, true));
            blocks.push(Block { wide, mix, others: convolution(HIDDEN, HIDDEN, false).weights });
        }
        Network { own, all, blocks, last: convolution(HIDDEN, 2, true), none: convolution(HIDDEN, 1, true) }
    }

    /// Row by row; silence lies beyond both ends. `together` rows are asked for at a time.
    fn told(&self, length: usize, together: usize, rows: impl Fn(std::ops::Range<usize>) -> Vec<Row>) -> Vec<Told> {
        let pass = |(block, dilation)| Pass { block, dilation, length, come: 0, kept: vec![SILENCE; (TAPS - 1) * dilation + 1] };
        let mut passes: Vec<Pass> = self.blocks.iter().zip(DILATIONS).map(pass).collect();
        let mut out = Vec::with_capacity(length);
        let mut notes = SILENCE;
        for start in (0..length).step_by(together) {
            let end = (start + together).min(length);
            let from = start.saturating_sub(TAPS / 2);
            let rows = rows(from..(end + TAPS / 2).min(length));
            let seen: Vec<[[f32; INPUTS]; PITCHES]> = rows.iter().map(|row| std::array::from_fn(|p| inputs(row, p))).collect();
            for at in start - from..end - from {
                out.extend(lanes::widest(
                    #[inline(always)]
                    || {
                        self.first(&rows, &seen, at, &mut notes);
                        self.pass(&mut passes, &mut notes)
                    },
                ));
            }
        }
        while out.len() < length {
            notes = SILENCE;
            out.extend(lanes::widest(
                #[inline(always)]
                || self.pass(&mut passes, &mut notes),
            ));
        }
        out
    }

    /// Through all blocks: what is told of the row that is through, once there is one.
    #[inline(always)]
    fn pass(&self, passes: &mut [Pass], notes: &mut Notes) -> Option<Told> {
        for pass in passes {
            if !pass.next(notes) {
                return None;
            }
        }
        Some(self.answer(notes))
    }

    /// What each note of a row is before the blocks.
    #[inline(always)]
    fn first(&self, rows: &[Row], seen: &[[[f32; INPUTS]; PITCHES]], at: usize, out: &mut Notes) {
        // Rows that are there, and their taps.
        let near = || (0..TAPS).filter_map(|k| (at + k).checked_sub(TAPS / 2).filter(|r| *r < rows.len()).map(|r| (k, r)));
        let mut all: Hidden = std::array::from_fn(|o| self.all.offsets[o] + self.own.offsets[o]);
        for (k, row) in near() {
            all = added(&all, &self.all.weights[k * WIDTH * HIDDEN..], &rows[row]);
        }
        out.fill(all);
        // Tap by tap, so that its weights stay near while all notes need them.
        for (k, row) in near() {
            for (to, [a, b]) in out.as_chunks_mut::<2>().0.iter_mut().zip(seen[row].as_chunks::<2>().0) {
                *to = added_to_two(*to, &self.own.weights[k * INPUTS * HIDDEN..], [a, b]);
            }
        }
        out.as_flattened_mut().iter_mut().for_each(|v| *v = v.max(0.0));
    }

    #[inline(always)]
    fn answer(&self, notes: &Notes) -> Told {
        let mut told = Told { onset: [0.0; PITCHES], sounds: [0.0; PITCHES] };
        let notes = notes.map(|n| n.map(|v| v.max(0.0)));
        let offsets = [self.last.offsets[0], self.last.offsets[1]];
        for (p, note) in notes.iter().enumerate() {
            let [onset, sounds] = added(&offsets, &self.last.weights, note);
            told.onset[p] = 1.0 / (1.0 + libm::expf(-onset));
            told.sounds[p] = sounds;
        }
        let [none] = added(&[self.none.offsets[0]], &self.none.weights, &mean(&notes));
        let top = told.sounds.iter().fold(none, |m, v| m.max(*v));
        let odds = told.sounds.map(|s| libm::expf(s - top));
        let total = odds.iter().sum::<f32>() + libm::expf(none - top);
        told.sounds = odds.map(|o| o / total);
        told
    }
}

/// What a note sees of a row.
fn inputs(row: &Row, pitch: usize) -> [f32; INPUTS] {
    let base = (FIRST + pitch) as i32 - LOWEST as i32;
    let level = |part: usize, semitone: i32| if (0..SEMITONES as i32).contains(&semitone) { row[part * SEMITONES + semitone as usize] } else { 0.0 };
    let mut out = [((FIRST + pitch) as f32 - 40.0) / 12.0; INPUTS];
    let levels = LONG_AT.iter().map(|o| level(0, base + o)).chain((1..4).flat_map(|part| SHORT_AT.iter().map(move |o| level(part, base + o))));
    out.iter_mut().zip(levels).for_each(|(to, v)| *to = v);
    out
}

#[inline(always)]
fn mean(notes: &Notes) -> Hidden {
    let mut out = [0.0; HIDDEN];
    for note in notes {
        out.iter_mut().zip(note).for_each(|(o, v)| *o += v);
    }
    out.map(|v| v / notes.len() as f32)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn silent() -> Told {
        Told { onset: [0.01; PITCHES], sounds: [0.01; PITCHES] }
    }

    /// One note from a row to a row.
    fn played(told: &mut [Told], from: usize, to: usize, midi: usize) {
        for t in &mut told[from..to] {
            t.sounds[midi - FIRST] = 0.9;
        }
        for (row, likely) in [(from - 1, 0.4), (from, 0.8), (from + 1, 0.5)] {
            told[row].onset[midi - FIRST] = likely;
        }
    }

    #[test]
    fn a_note_begins_at_the_peak_and_ends_with_the_next_or_when_it_is_gone() {
        let mut told = vec![silent(); 200];
        played(&mut told, 40, 80, 33);
        played(&mut told, 80, 120, 33);
        played(&mut told, 150, 190, 40);
        let found = line(&told);
        let rows = |s: Seconds| s.0 / hop_s();
        assert_eq!(found.iter().map(|n| n.midi.0).collect::<Vec<_>>(), [33, 33, 40]);
        for (note, (from, to)) in found.iter().zip([(40.0, 80.0), (80.0, 120.0), (150.0, 190.0)]) {
            assert!((rows(note.onset) - from).abs() < 0.5 && (rows(note.offset) - to).abs() < 1.0, "{note:?}");
        }
    }

    #[test]
    fn nothing_and_a_guitars_own_low_notes_are_no_line() {
        let network = Network::new();
        let silence = |length| network.told(length, TOGETHER, |stretch| vec![[0.0; WIDTH]; stretch.len()]);
        assert!(silence(0).is_empty() && line(&silence(40)).is_empty());
        let mut told = vec![silent(); 100];
        played(&mut told, 20, 60, 45);
        assert!(line(&told).is_empty());
        played(&mut told, 60, 90, 38);
        assert_eq!(line(&told).len(), 2);
    }

    #[test]
    fn stretches_of_a_long_record_join_without_a_seam() {
        let mut seed = 1u32;
        let mut dice = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 8) as f32 / 16_777_216.0
        };
        let rows: Vec<Row> = (0..200).map(|_| std::array::from_fn(|_| dice())).collect();
        let told = |together| Network::new().told(rows.len(), together, |stretch| rows[stretch].to_vec());
        let once = told(rows.len());
        for together in [1, 2, 63] {
            let all = told(together);
            assert!(all.len() == rows.len() && all.iter().zip(&once).all(|(a, b)| a.onset == b.onset && a.sounds == b.sounds));
        }
    }

    #[test]
    fn the_answer_is_that_of_the_trained_network() {
        // As `training/chords/bass.py` prints it with `reference`: A1 from row 20 on, D2 from 40 on.
        let mut rows = vec![[0.05f32; WIDTH]; 60];
        for (r, row) in rows.iter_mut().enumerate().skip(20) {
            for over in [0, 12, 19, 24, 28] {
                let at = if r < 40 { 33 } else { 38 } - LOWEST + over;
                for part in 0..3 {
                    row[part * SEMITONES + at] = 0.7 - 0.1 * over as f32 / 12.0;
                }
                row[3 * SEMITONES + at] = if r % 20 < 2 { 0.6 } else { 0.1 };
            }
            if r % 20 == 0 {
                row[4 * SEMITONES..].fill(0.8);
            }
        }
        let told = Network::new().told(rows.len(), TOGETHER, |stretch| rows[stretch].to_vec());
        for (row, pitch, onset, sounds) in REFERENCE {
            let got = (told[row].onset[pitch], told[row].sounds[pitch]);
            assert!((got.0 - onset).abs() < 2e-4 && (got.1 - sounds).abs() < 2e-4, "row {row}, note {pitch}: {got:?}, should be {onset}, {sounds}");
        }
    }

    const REFERENCE: [(usize, usize, f32, f32); 8] = [
        (10, 9, 0.00000, 0.00303),
        (19, 9, 0.59466, 0.39316),
        (20, 9, 0.71749, 0.99715),
        (21, 9, 0.02876, 0.99729),
        (40, 14, 0.77985, 0.98270),
        (41, 14, 0.08151, 0.85818),
        (50, 14, 0.00000, 0.98991),
        (50, 9, 0.00000, 0.00000),
    ];
}
