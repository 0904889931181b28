//! Practice cells: the bars of a passage two by two, from its bar numbers.

/// A stretch of bars, end exclusive.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Cell {
    pub from: usize,
    pub to: usize,
    /// The bar numbers, `3–4`.
    pub label: String,
}

/// Pairs of bars in order. A pickup belongs to the first pair; a last bar without a partner stands alone.
pub(super) fn cells(bar_numbers: &[u32]) -> Vec<Cell> {
    let mut cells = Vec::new();
    let mut from = 0;
    while from < bar_numbers.len() {
        let bars = if bar_numbers[from] == 0 { 3 } else { 2 };
        let to = (from + bars).min(bar_numbers.len());
        cells.push(Cell { from, to, label: label(bar_numbers, from, to) });
        from = to;
    }
    cells
}

/// `3–4`, or `3` for a single bar; a pickup is not counted unless it stands alone.
fn label(bar_numbers: &[u32], from: usize, to: usize) -> String {
    let first = if bar_numbers[from] == 0 && to > from + 1 { from + 1 } else { from };
    let (first, last) = (bar_numbers[first], bar_numbers[to - 1]);
    if first == last { first.to_string() } else { format!("{first}\u{2013}{last}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(bar_numbers: &[u32]) -> Vec<(usize, usize, String)> {
        cells(bar_numbers).into_iter().map(|c| (c.from, c.to, c.label)).collect()
    }

    #[test]
    fn bars_go_two_by_two() {
        assert_eq!(shown(&[1, 2, 3, 4]), [(0, 2, "1–2".into()), (2, 4, "3–4".into())]);
        assert_eq!(shown(&[1, 2, 3]), [(0, 2, "1–2".into()), (2, 3, "3".into())]);
        assert_eq!(shown(&[]), []);
    }

    #[test]
    fn a_pickup_goes_with_the_first_pair() {
        assert_eq!(shown(&[0, 1, 2, 3, 4]), [(0, 3, "1–2".into()), (3, 5, "3–4".into())]);
        assert_eq!(shown(&[0, 1]), [(0, 2, "1".into())]);
        assert_eq!(shown(&[0]), [(0, 1, "0".into())]);
    }
}
