//! How well each chord explains a stretch of time: pooled note salience, turned to each root in turn, through one small network.
//!
//! # Conventions
//! Scores are natural logarithms of probabilities. Chords count root by root from C, in the order of [`KINDS`] on each.
//!
//! # Method
//! Rows of salience (see [`salience`](crate::salience)) are pooled over the stretch and folded to pitch classes in three registers of notes and two of
//! spectral peaks; the registers of notes also over either half of it. The network sees that turned so that the root comes first, the same weights for each of
//! twelve roots, so that it cannot know one key from another; all roots' answers together are one choice. Beside the kinds it says whether the stretch holds a
//! change of chord, or none, and how far the root is the bass. What follows what is unknown to it: it was trained on chords that each
//! had been moved by an interval of their own, and on invented ones (`training/chords`).

use crate::dense::added;
use crate::salience::{LOWEST_NOTE, NOTES, WIDTH, hop_s};
use wave::{Seconds, lanes};

/// A kind of chord: its tones over the root.
pub(crate) struct Kind {
    pub degrees: &'static [&'static str],
    /// The same in semitones.
    pub tones: &'static [usize],
}

const fn kind(degrees: &'static [&'static str], tones: &'static [usize]) -> Kind {
    Kind { degrees, tones }
}

/// In the order of the network's answers (`training/chords/labels.py`).
pub(crate) const KINDS: [Kind; 19] = [
    kind(&["3", "5"], &[0, 4, 7]),
    kind(&["b3", "5"], &[0, 3, 7]),
    kind(&["3", "5", "b7"], &[0, 4, 7, 10]),
    kind(&["3", "5", "7"], &[0, 4, 7, 11]),
    kind(&["b3", "5", "b7"], &[0, 3, 7, 10]),
    kind(&["3", "5", "b7", "9"], &[0, 4, 7, 10, 2]),
    kind(&["b3", "5", "b7", "9"], &[0, 3, 7, 10, 2]),
    kind(&["4", "5"], &[0, 5, 7]),
    kind(&["2", "5"], &[0, 2, 7]),
    kind(&["4", "5", "b7"], &[0, 5, 7, 10]),
    kind(&["b3", "b5"], &[0, 3, 6]),
    kind(&["b3", "b5", "bb7"], &[0, 3, 6, 9]),
    kind(&["b3", "b5", "b7"], &[0, 3, 6, 10]),
    kind(&["3", "#5"], &[0, 4, 8]),
    kind(&["3", "5", "6"], &[0, 4, 7, 9]),
    kind(&["b3", "5", "6"], &[0, 3, 7, 9]),
    kind(&["b3", "5", "7"], &[0, 3, 7, 11]),
    kind(&["3", "5", "7", "9"], &[0, 4, 7, 11, 2]),
    kind(&["5"], &[0, 7]),
];
pub(crate) const CHORDS: usize = 12 * KINDS.len();
const HIDDEN: [usize; 2] = [64, 32];
const OUT: usize = KINDS.len() + 3;
/// Five registers of the whole stretch, three of each half, and two values that do not turn.
const TURNED: usize = 11;
const INPUTS: usize = 12 * TURNED + 2;
/// The front of a stretch still holds what was before, for the spectra are 0.37 s long.
const LEAD_S: f64 = 0.06;
const TAIL_S: f64 = 0.02;
/// Added to the length of what sounds, so that noise stays small.
const FLOOR: f32 = 0.02;
/// How much of what a note never falls below (for seven tenths of the record) is taken off, up to A3: air and top of a guitar's body resonate below that.
const STEADY: f32 = 0.8;
const STEADY_HIGHEST: usize = 57;
/// A length of what sounds below which nothing does.
const SILENT: f32 = 0.03;

/// Sums of folded rows up to each row: any stretch is pooled at once.
pub(crate) struct Pool {
    sums: Vec<[f64; 60]>,
}

impl Pool {
    pub fn new(rows: &[[f32; WIDTH]]) -> Pool {
        let ramp = |n: usize, low: f32, high: f32| (((n + LOWEST_NOTE) as f32 - low) / (high - low)).clamp(0.0, 1.0);
        let registers: [(usize, [f32; NOTES]); 5] = [
            (0, std::array::from_fn(|n| 1.0 - ramp(n, 43.0, 55.0))),
            (0, std::array::from_fn(|n| ramp(n, 43.0, 55.0) * (1.0 - ramp(n, 60.0, 72.0)))),
            (0, std::array::from_fn(|n| ramp(n, 60.0, 72.0) * (1.0 - ramp(n, 84.0, 97.0)))),
            (NOTES, std::array::from_fn(|n| 1.0 - ramp(n, 46.0, 58.0))),
            (NOTES, std::array::from_fn(|n| ramp(n, 46.0, 58.0) * (1.0 - ramp(n, 84.0, 97.0)))),
        ];
        let steady = steady(rows);
        let mut sums = vec![[0.0; 60]];
        let mut sum = [0.0f64; 60];
        for row in rows {
            for (r, (part, weights)) in registers.iter().enumerate() {
                for n in 0..NOTES {
                    sum[12 * r + (n + LOWEST_NOTE) % 12] += f64::from((row[part + n] - steady[part + n]).max(0.0) * weights[n]);
                }
            }
            sums.push(sum);
        }
        Pool { sums }
    }

    fn at(&self, t: f64) -> [f64; 60] {
        // Row k covers from a quarter hop before it to three quarters after.
        let last = self.sums.len() - 1;
        let x = (t / hop_s() + 0.25).clamp(0.0, last as f64);
        let low = (x as usize).min(last.saturating_sub(1));
        let part = x - low as f64;
        let high = (low + 1).min(last);
        std::array::from_fn(|i| self.sums[low][i] * (1.0 - part) + self.sums[high][i] * part)
    }

    /// Pitch classes of a stretch: all registers of notes together, and the bass alone.
    pub fn classes(&self, start: Seconds, end: Seconds) -> ([f64; 12], [f64; 12]) {
        let mean = self.mean(start.0, end.0);
        (std::array::from_fn(|c| f64::from(mean[c] + mean[12 + c] + mean[24 + c])), std::array::from_fn(|c| f64::from(mean[c])))
    }

    /// Whether as good as nothing sounds.
    pub fn is_silent(&self, start: Seconds, end: Seconds) -> bool {
        norm(&self.mean(start.0, end.0)) < SILENT
    }

    fn mean(&self, start: f64, end: f64) -> [f32; 60] {
        let start = start + LEAD_S;
        let end = (end - TAIL_S).max(start + 0.05);
        let (a, b) = (self.at(start), self.at(end));
        std::array::from_fn(|i| ((b[i] - a[i]) * hop_s() / (end - start)) as f32)
    }
}

/// What is taken off each value of all rows: a low note that never stops is a body's resonance more often than a drone.
fn steady(rows: &[[f32; WIDTH]]) -> [f32; WIDTH] {
    let mut out = [0.0; WIDTH];
    let mut column: Vec<f32> = vec![0.0; rows.len()];
    for n in (0..WIDTH).filter(|n| n % NOTES + LOWEST_NOTE <= STEADY_HIGHEST && !rows.is_empty()) {
        column.iter_mut().zip(rows).for_each(|(c, row)| *c = row[n]);
        let (_, held, _) = column.select_nth_unstable_by(rows.len() * 3 / 10, f32::total_cmp);
        out[n] = STEADY * *held;
    }
    out
}

fn norm(mean: &[f32; 60]) -> f32 {
    mean[..36].iter().map(|v| v * v).sum::<f32>().sqrt()
}

/// What the network says of a stretch.
pub(crate) struct Scores {
    pub chords: [f32; CHORDS],
    /// That the stretch holds a change of chord.
    pub change: f32,
    pub none: f32,
    /// Of each class, that it is the bass.
    pub bass: [f32; 12],
}

/// The network.
pub(crate) struct Scorer {
    layers: Vec<Layer>,
}

/// Weights by input, then output; and the offsets.
pub(crate) type Layer = (Vec<f32>, Vec<f32>);

const WEIGHTS: &[u8] = include_bytes!("../weights/chords.f16");
const _: () = assert!(WEIGHTS.len() == 2 * ((INPUTS + 1) * HIDDEN[0] + (HIDDEN[0] + 1) * HIDDEN[1] + (HIDDEN[1] + 1) * OUT));

impl Scorer {
    pub fn new() -> Scorer {
        Scorer { layers: layers(WEIGHTS, &[INPUTS, HIDDEN[0], HIDDEN[1], OUT]) }
    }

    pub fn scores(&self, pool: &Pool, start: Seconds, end: Seconds) -> Scores {
        let (start, end) = (start.0, end.0);
        let middle = (start + end) / 2.0;
        let whole = pool.mean(start, end);
        let norm = norm(&whole);
        let scale = 1.0 / (norm + FLOOR);
        let mut turned = [0.0f32; 12 * TURNED];
        let halves = [pool.mean(start, middle), pool.mean(middle, end)];
        for (to, from) in turned.iter_mut().zip(whole.iter().chain(&halves[0][..36]).chain(&halves[1][..36])) {
            *to = from * scale;
        }
        let fixed = [(libm::log2((end - start).max(0.1)) / 3.0) as f32, norm.min(2.0)];
        let mut out = Scores { chords: [0.0; CHORDS], change: 0.0, none: 0.0, bass: [0.0; 12] };
        lanes::widest(
            #[inline(always)]
            || self.by_root(turned, &fixed, &mut out),
        );
        let total = log_sum(out.chords.iter().copied().chain([out.change, out.none]));
        out.chords.iter_mut().for_each(|s| *s -= total);
        out.change -= total;
        out.none -= total;
        let total = log_sum(out.bass.iter().copied());
        out.bass.iter_mut().for_each(|s| *s -= total);
        out
    }

    /// What the network answers to each root's turn, before all are held against each other.
    #[inline(always)]
    fn by_root(&self, mut turned: [f32; 12 * TURNED], fixed: &[f32; 2], out: &mut Scores) {
        // What the fixed inputs give is the same for every root.
        let (weights, offsets) = &self.layers[0];
        let base: [f32; HIDDEN[0]] = std::array::from_fn(|j| offsets[j]);
        let base = added(&base, &weights[12 * TURNED * HIDDEN[0]..], fixed);
        for root in 0..12 {
            let first = added(&base, weights, &turned);
            turned.as_chunks_mut::<12>().0.iter_mut().for_each(|band| band.rotate_left(1));
            let second: [f32; HIDDEN[1]] = layer(&self.layers[1], &first.map(|v| v.max(0.0)));
            let last: [f32; OUT] = layer(&self.layers[2], &second.map(|v| v.max(0.0)));
            out.chords[root * KINDS.len()..(root + 1) * KINDS.len()].copy_from_slice(&last[..KINDS.len()]);
            out.change += last[KINDS.len()] / 12.0;
            out.none += last[KINDS.len() + 1] / 12.0;
            out.bass[root] = last[KINDS.len() + 2];
        }
    }
}

/// Layers of these sizes from 16-bit floats.
pub(crate) fn layers(bytes: &[u8], sizes: &[usize]) -> Vec<Layer> {
    let mut values = halves(bytes);
    sizes.windows(2).map(|s| (values.by_ref().take(s[0] * s[1]).collect(), values.by_ref().take(s[1]).collect())).collect()
}

/// Little-endian numbers of half precision.
pub(crate) fn halves(bytes: &[u8]) -> impl Iterator<Item = f32> {
    bytes.chunks_exact(2).map(|b| half(u16::from_le_bytes([b[0], b[1]])))
}

/// What a layer makes of its inputs.
#[inline(always)]
pub(crate) fn layer<const N: usize>((weights, offsets): &Layer, before: &[f32]) -> [f32; N] {
    added(&std::array::from_fn(|j| offsets[j]), weights, before)
}

/// The logarithm of the sum of their exponentials.
pub(crate) fn log_sum(values: impl Iterator<Item = f32> + Clone) -> f32 {
    let top = values.clone().fold(f32::MIN, f32::max);
    top + libm::logf(values.map(|v| libm::expf(v - top)).sum())
}

/// A 16-bit float (IEEE 754 binary16).
fn half(bits: u16) -> f32 {
    let (sign, exponent, fraction) = (bits >> 15, (bits >> 10) & 31, bits & 1023);
    let size = match exponent {
        0 => f32::from(fraction) * f32::from_bits((127 - 24) << 23),
        e => f32::from_bits(((u32::from(e) + 112) << 23) | (u32::from(fraction) << 13)),
    };
    if sign == 1 { -size } else { size }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows in which notes sound at one level.
    pub(crate) fn rows(midis: &[usize], count: usize) -> Vec<[f32; WIDTH]> {
        let mut row = [0.0; WIDTH];
        for m in midis {
            row[m - LOWEST_NOTE] = 0.5;
            row[NOTES + m - LOWEST_NOTE] = 0.5;
        }
        vec![row; count]
    }

    fn chord_then_silence() -> Vec<[f32; WIDTH]> {
        let mut all = rows(&[45, 52, 57, 60], 40);
        all.extend(rows(&[], 40));
        all
    }

    #[test]
    fn a_chord_a_fourth_higher_scores_the_same_on_its_own_root() {
        let scorer = Scorer::new();
        let low = scorer.scores(&Pool::new(&chord_then_silence()), Seconds(0.0), Seconds(2.0));
        // The same classes in the same registers: a twelfth of an octave is not, so the rows are turned by hand.
        let mut pool = Pool::new(&chord_then_silence());
        for sum in &mut pool.sums {
            *sum = std::array::from_fn(|i| sum[i / 12 * 12 + (i + 12 - 5) % 12]);
        }
        let high = scorer.scores(&pool, Seconds(0.0), Seconds(2.0));
        for c in 0..CHORDS {
            let moved = (c / KINDS.len() + 5) % 12 * KINDS.len() + c % KINDS.len();
            assert!((low.chords[c] - high.chords[moved]).abs() < 1e-3);
        }
        let sum: f32 = low.chords.iter().chain([&low.change, &low.none]).map(|s| libm::expf(*s)).sum();
        assert!((sum - 1.0).abs() < 1e-3);
    }

    #[test]
    fn pools_are_means_over_any_stretch() {
        // With as much silence after them, so that no note never stops.
        let mut all = rows(&[45], 10);
        all.extend(rows(&[48], 10));
        all.extend(rows(&[], 20));
        let pool = Pool::new(&all);
        // Rows 2 to 8 hold an A alone, rows 10 on a C; over both, in proportion to time.
        let a = pool.mean(2.0 * hop_s(), 8.0 * hop_s());
        let c = pool.mean(11.0 * hop_s(), 18.0 * hop_s());
        assert!(a[9] > 0.2 && a[0] == 0.0 && c[0] > 0.2 && c[9] == 0.0);
        let edge = 9.75 * hop_s();
        let both = pool.mean(edge - 0.4 - LEAD_S, edge + 0.4 + TAIL_S);
        assert!((both[9] / a[9] - 0.5).abs() < 1e-3 && (both[0] / c[0] - 0.5).abs() < 1e-3);
    }

    #[test]
    fn a_low_note_that_never_stops_counts_little() {
        let mut all = rows(&[44, 64], 10);
        all.extend(rows(&[44], 10));
        let mean = Pool::new(&all).mean(0.0, 10.0 * hop_s());
        assert!(mean[8] > 0.0 && mean[8] < 0.12 && mean[24 + 4] > 0.1, "{mean:?}");
    }

    #[test]
    fn halves_are_read() {
        for (bits, value) in [(0x3c00u16, 1.0f32), (0xc000, -2.0), (0x3555, 0.333_25), (0x0001, 5.960_464_5e-8), (0x7bff, 65_504.0), (0, 0.0)] {
            assert!((half(bits) - value).abs() <= value.abs() * 1e-5, "{bits:x}");
        }
    }
}
