//! Horizontal spacing: how wide the time between two columns is drawn, and how a line is stretched to its width.
//!
//! Conventions: a column is a moment at which some part begins a note, a continuation or a rest; all parts of a system share the
//! columns. Method: optical spacing, in which twice the time takes about one and a half times the room (common practice in engraving),
//! as springs with a least length each; a line is justified by one common stretch of all springs.

use lesson::Beats;

/// Room between two columns.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Gap {
    /// What stands there needs so much.
    pub least: f64,
    /// What looks right unstretched.
    pub natural: f64,
}

/// Exponent of the optical spacing: 2^0.6 = 1.52.
const GROWTH: f64 = 0.6;

/// Natural room of a note lasting `beats` quarter notes, in units of that of a sixteenth.
pub(crate) fn optical(beats: f64) -> f64 {
    libm::pow(f64::max(beats, 1.0 / 64.0) * 4.0, GROWTH)
}

/// Natural room from one column to the next, `step` quarter notes later, while the shortest note lasts `shortest`.
pub(crate) fn optical_gap(step: Beats, shortest: Beats) -> f64 {
    let (step, shortest) = (to_f64(step), to_f64(shortest));
    if shortest <= 0.0 || shortest <= step { optical(step) } else { optical(shortest) * step / shortest }
}

pub(crate) fn to_f64(beats: Beats) -> f64 {
    *beats.numer() as f64 / *beats.denom() as f64
}

/// Widths that add up to `total`: every gap takes `natural` times one common stretch, but never less than `least`. Where even the
/// least widths are more than `total`, all shrink alike (the caller then scales the drawing).
pub(crate) fn justify_gaps(gaps: &[Gap], total: f64) -> Vec<f64> {
    let least: f64 = gaps.iter().map(|g| g.least).sum();
    if gaps.is_empty() {
        return Vec::new();
    }
    if least >= total {
        let k = if least > 0.0 { total / least } else { 0.0 };
        return gaps.iter().map(|g| g.least * k).collect();
    }
    // Gaps in the order in which they begin to stretch.
    let mut order: Vec<usize> = (0..gaps.len()).filter(|&i| gaps[i].natural > 0.0).collect();
    order.sort_by(|&a, &b| (gaps[a].least / gaps[a].natural).total_cmp(&(gaps[b].least / gaps[b].natural)).then(a.cmp(&b)));
    let (mut rigid, mut elastic) = (least, 0.0);
    let mut stretch = 0.0;
    for (k, &i) in order.iter().enumerate() {
        rigid -= gaps[i].least;
        elastic += gaps[i].natural;
        stretch = (total - rigid) / elastic;
        let next = order.get(k + 1).map_or(f64::INFINITY, |&j| gaps[j].least / gaps[j].natural);
        if stretch <= next {
            break;
        }
    }
    let mut widths: Vec<f64> = gaps.iter().map(|g| f64::max(g.least, g.natural * stretch)).collect();
    // What rounding left over goes to the widest gap.
    let rest = total - widths.iter().sum::<f64>();
    if let Some(widest) = (0..widths.len()).max_by(|&a, &b| widths[a].total_cmp(&widths[b])) {
        widths[widest] += rest;
    }
    widths
}

/// A bar (or a line's worth of bars) as the line breaker sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Block {
    pub least: f64,
    pub natural: f64,
    /// A line would rather end after it (a repeat ends).
    pub good_end: bool,
    /// Room that a line needs after it if it ends there (a new meter is announced).
    pub tail: f64,
}

/// Splits bars into lines: for each line the number of bars. `first` and `other` are the widths that the first and the other lines
/// have for bars. Chooses the lines whose stretches differ least from 1 over the whole (dynamic programming), a little in favour of
/// two or four bars to the line. A bar wider than a line stands alone.
pub(crate) fn break_lines(blocks: &[Block], first: f64, other: f64) -> Vec<usize> {
    let n = blocks.len();
    let mut best = vec![(f64::INFINITY, 0usize); n + 1];
    best[0].0 = 0.0;
    for end in 1..=n {
        let (mut least, mut natural) = (0.0, 0.0);
        for start in (0..end).rev() {
            least += blocks[start].least;
            natural += blocks[start].natural;
            let room = if start == 0 { first } else { other } - blocks[end - 1].tail;
            let count = end - start;
            if least > room && count > 1 {
                break;
            }
            let stretch = room / f64::max(natural, 1.0);
            let last = end == n;
            // Squeezing hurts more than stretching; a short last line is no fault.
            let strain = if stretch < 1.0 {
                2.5 * (1.0 / stretch - 1.0)
            } else if last {
                0.25 * f64::min(stretch - 1.0, 1.0)
            } else {
                stretch - 1.0
            };
            let mut cost = strain * strain + 0.02;
            if !matches!(count, 2 | 4 | 8) {
                cost += if last && count == 1 && n > 1 { 0.3 } else { 0.04 };
            }
            if blocks[end - 1].good_end {
                cost -= 0.03;
            }
            let whole = best[start].0 + cost;
            if whole < best[end].0 {
                best[end] = (whole, start);
            }
        }
    }
    let mut lines = Vec::new();
    let mut end = n;
    while end > 0 {
        let start = best[end].1;
        lines.push(end - start);
        end = start;
    }
    lines.reverse();
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn twice_the_time_takes_half_as_much_room_again() {
        assert!((optical(0.25) - 1.0).abs() < 1e-12);
        assert!((optical(0.5) / optical(0.25) - 1.516).abs() < 0.001);
        assert!(optical_gap(Beats::new(1, 4), Beats::new(1, 2)) < optical(0.25));
        assert_eq!(optical_gap(Beats::new(1, 4), Beats::new(1, 4)), optical(0.25));
    }

    proptest! {
        #[test]
        fn justified_width_is_exact(gaps in proptest::collection::vec((0.0f64..30.0, 0.5f64..40.0), 1..60), more in 0.0f64..900.0) {
            let gaps: Vec<Gap> = gaps.into_iter().map(|(least, natural)| Gap { least, natural }).collect();
            let total = gaps.iter().map(|g| g.least).sum::<f64>() + more;
            let widths = justify_gaps(&gaps, total);
            prop_assert!((widths.iter().sum::<f64>() - total).abs() < 1e-9);
            // One stretch for all that are not at their least.
            let mut stretches = gaps.iter().zip(&widths).filter(|(g, w)| **w > g.least + 1e-6).map(|(g, w)| *w / g.natural);
            if let Some(first) = stretches.next() {
                prop_assert!(stretches.all(|s| (s - first).abs() < 1e-6));
            }
            prop_assert!(gaps.iter().zip(&widths).all(|(g, w)| *w >= g.least - 1e-9));
        }

        #[test]
        fn lines_hold_every_bar_once(widths in proptest::collection::vec(20.0f64..400.0, 0..30)) {
            let blocks: Vec<Block> = widths.iter().map(|w| Block { least: w * 0.7, natural: *w, good_end: false, tail: 0.0 }).collect();
            let lines = break_lines(&blocks, 420.0, 480.0);
            prop_assert_eq!(lines.iter().sum::<usize>(), blocks.len());
            let mut start = 0;
            for (i, count) in lines.iter().enumerate() {
                let least: f64 = blocks[start..start + count].iter().map(|b| b.least).sum();
                let room = if i == 0 { 420.0 } else { 480.0 };
                prop_assert!(*count == 1 || least <= room);
                start += count;
            }
        }
    }

    #[test]
    fn four_alike_bars_make_two_lines_of_two() {
        let b = Block { least: 120.0, natural: 200.0, good_end: false, tail: 0.0 };
        assert_eq!(break_lines(&[b; 4], 440.0, 480.0), [2, 2]);
        assert_eq!(break_lines(&[b; 5], 440.0, 480.0).len(), 3);
        assert_eq!(break_lines(&[], 440.0, 480.0), Vec::<usize>::new());
        // What must stand after a line's end is counted.
        let t = Block { tail: 300.0, ..b };
        assert_eq!((break_lines(&[b; 4], 440.0, 480.0), break_lines(&[b, t, b, b], 440.0, 480.0)), (vec![2, 2], vec![3, 1]));
        assert_eq!(break_lines(&[Block { least: 900.0, natural: 900.0, good_end: false, tail: 0.0 }; 2], 440.0, 480.0), [1, 1]);
    }
}
