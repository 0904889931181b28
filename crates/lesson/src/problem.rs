//! Problems found in a lesson: where, what was found, what would be right.

use crate::Span;

/// One problem, tied to a place in the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    pub span: Span,
    /// What was found, a sentence without full stop.
    pub found: String,
    /// What would be right, a sentence without full stop.
    pub right: String,
    pub weight: Weight,
}

/// How much a problem weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Weight {
    /// Nothing is made until this is mended.
    Error,
    /// Worth a look; everything can be made all the same.
    Remark,
}

/// Line and column, both from 1; columns count characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Position {
    pub line: usize,
    pub column: usize,
}

impl Position {
    /// The position of a byte offset; past the end counts as the end. A byte order mark is no column.
    pub fn of(text: &str, offset: usize) -> Position {
        let mut offset = offset.min(text.len());
        while !text.is_char_boundary(offset) {
            offset -= 1;
        }
        let before = &text[..offset];
        let line_start = before.rfind('\n').map_or(0, |i| i + 1);
        let line = before.matches('\n').count() + 1;
        let column = before[line_start..].chars().filter(|c| *c != '\u{feff}').count() + 1;
        Position { line, column }
    }
}

/// Collects problems while reading goes on.
#[derive(Debug, Default)]
pub(crate) struct Problems {
    pub list: Vec<Problem>,
}

/// More than this many problems are not listed: the rest mostly follow from the first.
pub const PROBLEMS_MAX: usize = 100;

impl Problems {
    pub fn error(&mut self, span: Span, found: impl Into<String>, right: impl Into<String>) {
        self.push(span, found.into(), right.into(), Weight::Error);
    }

    pub fn remark(&mut self, span: Span, found: impl Into<String>, right: impl Into<String>) {
        self.push(span, found.into(), right.into(), Weight::Remark);
    }

    fn push(&mut self, span: Span, found: String, right: String, weight: Weight) {
        let new = Problem { span, found, right, weight };
        // A bar that is played several times has its faults once.
        if self.list.len() < PROBLEMS_MAX && !self.list.contains(&new) {
            self.list.push(new);
        }
    }
}

/// `text` cut to a length that fits into a message, control characters shown as `?`.
pub(crate) fn excerpt(text: &str) -> String {
    let mut out: String = text.chars().take(40).map(|c| if c.is_control() { '?' } else { c }).collect();
    if text.chars().nth(40).is_some() {
        out.push('…');
    }
    out
}

/// The known word nearest to `found`, if it is near enough to be a slip of the hand.
pub(crate) fn nearest<'a>(found: &str, known: &[&'a str]) -> Option<&'a str> {
    if found.len() > 40 {
        return None;
    }
    let limit = if found.chars().count() <= 3 { 1 } else { 2 };
    known.iter().map(|k| (distance(found, k), *k)).filter(|(d, _)| *d <= limit).min_by_key(|(d, _)| *d).map(|(_, k)| k)
}

/// Edit distance (Levenshtein 1966) over characters.
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let replace = diagonal + usize::from(!ca.eq_ignore_ascii_case(cb));
            diagonal = row[j + 1];
            row[j + 1] = replace.min(row[j] + 1).min(row[j + 1] + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_count_characters() {
        let text = "\u{feff}ab\r\né x\n";
        assert_eq!(Position::of(text, 0), Position { line: 1, column: 1 });
        assert_eq!(Position::of(text, 3), Position { line: 1, column: 1 });
        assert_eq!(Position::of(text, text.find('x').unwrap()), Position { line: 2, column: 3 });
        assert_eq!(Position::of(text, 999), Position { line: 3, column: 1 });
    }

    #[test]
    fn slips_of_the_hand() {
        assert_eq!(nearest("tempp", &["tempo", "meter"]), Some("tempo"));
        assert_eq!(nearest("zzz", &["tempo", "meter"]), None);
    }
}
