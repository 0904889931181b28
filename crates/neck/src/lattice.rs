//! All ways through a part at once: what each costs, which is cheapest, and how likely each place is.
//!
//! # Conventions
//! A state is a placement of a stroke with a hand position that serves it. Costs are natural logarithms: a way that costs 1 more is e times
//! less likely. Likelihoods sum to 1 over the ways that are kept.
//!
//! # Method
//! One pass forward finds the cheapest way to every placement (Viterbi) and hands on what it remembers of the strings, so that marks that
//! look further back than one stroke can be read; placements far dearer than the cheapest are dropped. What a step costs is then fixed,
//! and a pass forward and one back over those costs sum all ways (Rabiner 1989, section III). Sums and minima over placement and position
//! are taken one after the other, since the move of the hand and the past of the strings are separate terms.
//!
//! # References
//! L. R. Rabiner, "A tutorial on hidden Markov models", Proceedings of the IEEE 77(2), 1989. J. Lafferty, A. McCallum, F. Pereira,
//! "Conditional random fields", ICML 2001.

use crate::step::{Laid, MARKS, Marks, Memory, Sum, mark_laid, mark_past, mark_position, mark_shift, positions};
use crate::stroke::Stroke;

/// Placements that cost this much more than the cheapest way so far are given up.
const BEAM: f64 = 7.0;
/// Most placements of one stroke that are weighed, the cheapest by themselves.
const LAID_MAX: usize = 16;
/// Placements that by themselves cost this much more than the cheapest are not weighed.
const OWN_BEAM: f64 = 8.0;
/// See [`torn`]: less only than what cannot be.
const TORN: f64 = 40.0;
/// Positions are frets 1 to 36.
const POSITIONS: usize = 40;

/// One stroke's states and what leads to them.
struct Column {
    /// Placements that are weighed, by index into the stroke's.
    laid: Vec<usize>,
    /// First position and the own costs at each position, by placement.
    own: Vec<(u8, Vec<f64>)>,
    /// Costs of the strings' past, rows by placement before, columns by placement.
    past: Vec<f64>,
    shift: [f64; POSITIONS],
    /// Cheapest placement before, by placement.
    before: Vec<usize>,
    memory: Vec<Memory>,
    /// Cheapest way to each placement.
    cost: Vec<f64>,
}

/// See the module.
pub(crate) struct Lattice<'a> {
    strokes: &'a [Stroke],
    columns: Vec<Column>,
    strings: usize,
}

/// What the sums over all ways give.
pub(crate) struct Sums {
    /// Logarithm of the sum of all ways' likelihoods before they are made to sum to 1.
    pub(crate) log_sum: f64,
    /// Likelihood of each state, by stroke, placement, position.
    states: Vec<Vec<Vec<f64>>>,
    /// Likelihood of each pair of placements, as `past`.
    pairs: Vec<Vec<f64>>,
    /// Likelihood of each length of the hand's move.
    moves: Vec<[f64; POSITIONS]>,
}

impl<'a> Lattice<'a> {
    /// Weighs all ways. `strokes` each have at least one placement.
    ///
    /// With `led`, the memory before each stroke is given instead of that of the cheapest way.
    pub(crate) fn new(strokes: &'a [Stroke], weights: &[f64], strings: usize, led: Option<&[Memory]>) -> Lattice<'a> {
        let mut columns: Vec<Column> = Vec::with_capacity(strokes.len());
        // Cheapest way to each state of the newest column.
        let mut best: Vec<Vec<f64>> = Vec::new();
        for (i, stroke) in strokes.iter().enumerate() {
            let (laid, own) = own_costs(stroke, weights, strings);
            let n = laid.len();
            let mut column = Column {
                laid,
                own,
                past: Vec::new(),
                shift: [0.0; POSITIONS],
                before: vec![0; n],
                memory: Vec::with_capacity(n),
                cost: vec![0.0; n],
            };
            let mut new: Vec<Vec<f64>> = column.own.iter().map(|o| o.1.clone()).collect();
            match columns.last() {
                None => {
                    for l in 0..n {
                        let mut m = Memory::EMPTY;
                        m.struck(&stroke.laid[column.laid[l]], &stroke.pitch_end);
                        column.memory.push(m);
                        column.cost[l] = least(&new[l]);
                    }
                }
                Some(old) => {
                    let gap_s = stroke.onset_s - strokes[i - 1].onset_s;
                    for (d, s) in column.shift.iter_mut().enumerate() {
                        let mut sum = Sum { weights, total: 0.0 };
                        mark_shift(&mut sum, stroke.kind, d as u8, gap_s);
                        *s = sum.total;
                    }
                    let (low, high) = range(&column.own);
                    let mut came = vec![[0usize; POSITIONS]; n];
                    let mut cheapest = vec![[f64::INFINITY; POSITIONS]; n];
                    for j in 0..old.laid.len() {
                        let (from, _) = old.own[j];
                        let mut moved = [f64::INFINITY; POSITIONS];
                        for (p, m) in moved.iter_mut().enumerate().take(high + 1).skip(low) {
                            for (k, b) in best[j].iter().enumerate() {
                                *m = m.min(b + column.shift[p.abs_diff(usize::from(from) + k)]);
                            }
                        }
                        let before = (&strokes[i - 1].laid[old.laid[j]], &strokes[i - 1].pitch_end[..]);
                        for l in 0..n {
                            let mut sum = Sum { weights, total: 0.0 };
                            mark_past(&mut sum, stroke.kind, &old.memory[j], before, &stroke.laid[column.laid[l]], &stroke.pitch_end, stroke.onset_s);
                            sum.total += torn(stroke, &stroke.laid[column.laid[l]], before.0);
                            column.past.push(sum.total);
                            let (first, own) = &column.own[l];
                            for p in usize::from(*first)..usize::from(*first) + own.len() {
                                let total = sum.total + moved[p];
                                if total < cheapest[l][p] {
                                    cheapest[l][p] = total;
                                    came[l][p] = j;
                                }
                            }
                        }
                    }
                    for l in 0..n {
                        let (first, own) = &column.own[l];
                        let first = usize::from(*first);
                        for k in 0..own.len() {
                            new[l][k] = own[k] + cheapest[l][first + k];
                        }
                        let at = (0..own.len()).min_by(|a, b| new[l][*a].total_cmp(&new[l][*b])).unwrap_or(0);
                        column.before[l] = came[l][first + at];
                        column.cost[l] = new[l][at];
                        let mut m = led.map_or(old.memory[column.before[l]], |led| led[i]);
                        m.struck(&stroke.laid[column.laid[l]], &stroke.pitch_end);
                        column.memory.push(m);
                    }
                }
            }
            let most = least(&column.cost) + BEAM;
            let kept: Vec<bool> = column.cost.iter().map(|c| *c <= most).collect();
            column.keep(&kept);
            let mut k = kept.iter();
            new.retain(|_| *k.next().unwrap_or(&true));
            best = new;
            columns.push(column);
        }
        Lattice { strokes, columns, strings }
    }

    /// The placement of each stroke on the cheapest way, as index into the stroke's.
    pub(crate) fn cheapest(&self) -> Vec<usize> {
        let mut out = Vec::with_capacity(self.columns.len());
        let Some(last) = self.columns.last() else { return out };
        let mut at = (0..last.cost.len()).min_by(|a, b| last.cost[*a].total_cmp(&last.cost[*b])).unwrap_or(0);
        for c in self.columns.iter().rev() {
            out.push(c.laid[at]);
            at = c.before[at];
        }
        out.reverse();
        out
    }

    /// Sums over all ways.
    pub(crate) fn sums(&self) -> Sums {
        let n = self.columns.len();
        let mut log_sum = 0.0;
        let mut own: Vec<Vec<Vec<f64>>> = Vec::with_capacity(n);
        let mut past: Vec<Vec<f64>> = Vec::with_capacity(n);
        let mut shift: Vec<[f64; POSITIONS]> = Vec::with_capacity(n);
        for c in &self.columns {
            let base = c.own.iter().map(|o| least(&o.1)).fold(f64::INFINITY, f64::min);
            log_sum -= base;
            own.push(c.own.iter().map(|o| o.1.iter().map(|x| libm::exp(base - x)).collect()).collect());
            let base = least(&c.past);
            if base.is_finite() {
                log_sum -= base;
            }
            past.push(c.past.iter().map(|x| libm::exp(base - x)).collect());
            shift.push(shift_likely(&c.shift));
        }
        // Forward; `moved` holds for each placement before what reaches each position.
        let mut ahead: Vec<Vec<Vec<f64>>> = Vec::with_capacity(n);
        let mut moved: Vec<Vec<[f64; POSITIONS]>> = Vec::with_capacity(n);
        for i in 0..n {
            let c = &self.columns[i];
            let mut a = own[i].clone();
            let mut m: Vec<[f64; POSITIONS]> = Vec::new();
            if i > 0 {
                let (low, high) = range(&c.own);
                for (j, before) in ahead[i - 1].iter().enumerate() {
                    let from = usize::from(self.columns[i - 1].own[j].0);
                    let mut to = [0.0; POSITIONS];
                    for (p, t) in to.iter_mut().enumerate().take(high + 1).skip(low) {
                        *t = before.iter().enumerate().map(|(k, b)| b * shift[i][p.abs_diff(from + k)]).sum();
                    }
                    m.push(to);
                }
                for (l, a) in a.iter_mut().enumerate() {
                    let first = usize::from(c.own[l].0);
                    for (k, a) in a.iter_mut().enumerate() {
                        let sum: f64 = m.iter().enumerate().map(|(j, m)| past[i][j * c.laid.len() + l] * m[first + k]).sum();
                        *a *= sum;
                    }
                }
            }
            let total: f64 = a.iter().flatten().sum();
            log_sum += libm::log(total);
            a.iter_mut().flatten().for_each(|x| *x /= total);
            ahead.push(a);
            moved.push(m);
        }
        // Backward.
        let mut sums = Sums { log_sum, states: Vec::new(), pairs: vec![Vec::new(); n], moves: vec![[0.0; POSITIONS]; n] };
        let mut behind: Vec<Vec<f64>> = self.columns.last().map_or_else(Vec::new, |c| c.own.iter().map(|o| vec![1.0; o.1.len()]).collect());
        for i in (0..n).rev() {
            let c = &self.columns[i];
            let mut state: Vec<Vec<f64>> = ahead[i].iter().zip(&behind).map(|(a, b)| a.iter().zip(b).map(|(a, b)| a * b).collect()).collect();
            let total: f64 = state.iter().flatten().sum();
            state.iter_mut().flatten().for_each(|x| *x /= total);
            sums.states.push(state);
            if i == 0 {
                break;
            }
            // Own and what follows.
            let after: Vec<Vec<f64>> = own[i].iter().zip(&behind).map(|(o, b)| o.iter().zip(b).map(|(o, b)| o * b).collect()).collect();
            let (low, high) = range(&c.own);
            let before = &self.columns[i - 1];
            let mut pairs = vec![0.0; past[i].len()];
            let mut next: Vec<Vec<f64>> = Vec::with_capacity(before.laid.len());
            for j in 0..before.laid.len() {
                let mut to = [0.0; POSITIONS];
                for (l, after) in after.iter().enumerate() {
                    let first = usize::from(c.own[l].0);
                    let w = past[i][j * c.laid.len() + l];
                    let mut pair = 0.0;
                    for (k, x) in after.iter().enumerate() {
                        to[first + k] += w * x;
                        pair += x * moved[i][j][first + k];
                    }
                    pairs[j * c.laid.len() + l] = w * pair;
                }
                let from = usize::from(before.own[j].0);
                let mut b = vec![0.0; before.own[j].1.len()];
                for (k, b) in b.iter_mut().enumerate() {
                    for (p, t) in to.iter().enumerate().take(high + 1).skip(low) {
                        let d = p.abs_diff(from + k);
                        let x = shift[i][d] * t;
                        *b += x;
                        sums.moves[i][d] += ahead[i - 1][j][k] * x;
                    }
                }
                next.push(b);
            }
            let total: f64 = pairs.iter().sum();
            pairs.iter_mut().for_each(|x| *x /= total);
            sums.pairs[i] = pairs;
            let total: f64 = sums.moves[i].iter().sum();
            sums.moves[i].iter_mut().for_each(|x| *x /= total);
            let total: f64 = next.iter().flatten().sum();
            next.iter_mut().flatten().for_each(|x| *x /= total);
            behind = next;
        }
        sums.states.reverse();
        sums
    }

    /// How likely each placement of each stroke is, by index into the stroke's.
    pub(crate) fn likely(&self, sums: &Sums) -> Vec<Vec<f64>> {
        let mut out = Vec::with_capacity(self.columns.len());
        for ((c, states), stroke) in self.columns.iter().zip(&sums.states).zip(self.strokes) {
            let mut of = vec![0.0; stroke.laid.len()];
            for (l, s) in c.laid.iter().zip(states) {
                of[*l] = s.iter().sum();
            }
            out.push(of);
        }
        out
    }

    /// How often each mark is expected.
    pub(crate) fn expected(&self, sums: &Sums) -> Vec<f64> {
        let mut out = vec![0.0; MARKS];
        for (i, (c, stroke)) in self.columns.iter().zip(self.strokes).enumerate() {
            for (l, own) in c.own.iter().enumerate() {
                let laid = &stroke.laid[c.laid[l]];
                let whole: f64 = sums.states[i][l].iter().sum();
                mark_laid(&mut Times { of: &mut out, by: whole }, stroke, laid, self.strings);
                for (k, s) in sums.states[i][l].iter().enumerate() {
                    mark_position(&mut Times { of: &mut out, by: *s }, stroke.kind, laid, own.0 + k as u8);
                }
            }
            if i == 0 {
                continue;
            }
            let gap_s = stroke.onset_s - self.strokes[i - 1].onset_s;
            for (d, by) in sums.moves[i].iter().enumerate().filter(|m| *m.1 > 0.0) {
                mark_shift(&mut Times { of: &mut out, by: *by }, stroke.kind, d as u8, gap_s);
            }
            let old = &self.columns[i - 1];
            for j in 0..old.laid.len() {
                let before = (&self.strokes[i - 1].laid[old.laid[j]], &self.strokes[i - 1].pitch_end[..]);
                for l in 0..c.laid.len() {
                    let by = sums.pairs[i][j * c.laid.len() + l];
                    if by > 1e-6 {
                        let laid = &stroke.laid[c.laid[l]];
                        mark_past(&mut Times { of: &mut out, by }, stroke.kind, &old.memory[j], before, laid, &stroke.pitch_end, stroke.onset_s);
                    }
                }
            }
        }
        out
    }
}

impl Column {
    /// Drops placements.
    fn keep(&mut self, kept: &[bool]) {
        fn only<T>(list: &mut Vec<T>, kept: &[bool]) {
            let mut i = 0;
            list.retain(|_| {
                i += 1;
                kept[i - 1]
            });
        }
        if !self.past.is_empty() {
            let n = kept.len();
            let mut i = 0;
            self.past.retain(|_| {
                i += 1;
                kept[(i - 1) % n]
            });
        }
        only(&mut self.laid, kept);
        only(&mut self.own, kept);
        only(&mut self.before, kept);
        only(&mut self.memory, kept);
        only(&mut self.cost, kept);
    }
}

/// What joined notes cost that do not lie on a string of the stroke before.
fn torn(stroke: &Stroke, laid: &Laid, before: &Laid) -> f64 {
    let off = stroke.joined.iter().zip(&laid.at).filter(|(joined, (s, _))| **joined && before.at.iter().all(|(t, _)| t != s)).count();
    TORN * off as f64
}

struct Times<'a> {
    of: &'a mut [f64],
    by: f64,
}

impl Marks for Times<'_> {
    #[inline]
    fn mark(&mut self, which: usize, times: f64) {
        self.of[which] += times * self.by;
    }
}

/// Placements that are weighed, and their costs at each position.
fn own_costs(stroke: &Stroke, weights: &[f64], strings: usize) -> (Vec<usize>, Vec<(u8, Vec<f64>)>) {
    let own: Vec<(u8, Vec<f64>)> = stroke
        .laid
        .iter()
        .map(|laid: &Laid| {
            let mut whole = Sum { weights, total: -laid.handicap };
            mark_laid(&mut whole, stroke, laid, strings);
            let at = positions(laid);
            let first = *at.start();
            let costs = at
                .map(|p| {
                    let mut sum = Sum { weights, total: whole.total };
                    mark_position(&mut sum, stroke.kind, laid, p);
                    sum.total
                })
                .collect();
            (first, costs)
        })
        .collect();
    if stroke.notes.len() == 1 {
        return ((0..own.len()).collect(), own);
    }
    let most = own.iter().map(|o| least(&o.1)).fold(f64::INFINITY, f64::min) + OWN_BEAM;
    let mut order: Vec<usize> = (0..own.len()).filter(|l| least(&own[*l].1) <= most).collect();
    if order.len() > LAID_MAX {
        order.sort_by(|a, b| least(&own[*a].1).total_cmp(&least(&own[*b].1)));
        order.truncate(LAID_MAX);
        order.sort_unstable();
    }
    let own = order.iter().map(|l| own[*l].clone()).collect();
    (order, own)
}

/// Likelihoods of moves; long ones cost alike, so that few differ from the one before.
fn shift_likely(costs: &[f64; POSITIONS]) -> [f64; POSITIONS] {
    let mut out = [0.0; POSITIONS];
    for d in 0..POSITIONS {
        out[d] = if d > 0 && costs[d] == costs[d - 1] { out[d - 1] } else { libm::exp(-costs[d]) };
    }
    out
}

fn least(of: &[f64]) -> f64 {
    of.iter().copied().fold(f64::INFINITY, f64::min)
}

/// Lowest and highest position of a column.
fn range(own: &[(u8, Vec<f64>)]) -> (usize, usize) {
    let low = own.iter().map(|o| usize::from(o.0)).min().unwrap_or(0);
    let high = own.iter().map(|o| usize::from(o.0) + o.1.len() - 1).max().unwrap_or(0);
    (low, high)
}
