//! What lies between two texts: one splice for small edits, and lines for the eye.

use lesson::{Change, Span};

/// The one splice that makes `new` of `old`; `None` where they are alike.
pub fn splice_between(old: &str, new: &str) -> Option<Change> {
    if old == new {
        return None;
    }
    let mut start = old.bytes().zip(new.bytes()).take_while(|(a, b)| a == b).count();
    while !old.is_char_boundary(start) || !new.is_char_boundary(start) {
        start -= 1;
    }
    let most = old.len().min(new.len()) - start;
    let mut end = old.bytes().rev().zip(new.bytes().rev()).take(most).take_while(|(a, b)| a == b).count();
    while !old.is_char_boundary(old.len() - end) || !new.is_char_boundary(new.len() - end) {
        end -= 1;
    }
    Some(Change { at: Span { start, end: old.len() - end }, with: new[start..new.len() - end].to_string() })
}

/// A line of two texts laid side by side.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Line<'a> {
    Both(&'a str),
    Left(&'a str),
    Right(&'a str),
}

/// Most line pairs that are compared; beyond it the differing middle counts as wholly different.
const PAIRS_MAX: usize = 4_000_000;

/// Two texts line by line, by their longest common run of lines.
pub fn lines<'a>(left: &'a str, right: &'a str) -> Vec<Line<'a>> {
    let (a, b): (Vec<&str>, Vec<&str>) = (left.lines().collect(), right.lines().collect());
    let head = a.iter().zip(&b).take_while(|(x, y)| x == y).count();
    let tail = a[head..].iter().rev().zip(b[head..].iter().rev()).take_while(|(x, y)| x == y).count();
    let (ma, mb) = (&a[head..a.len() - tail], &b[head..b.len() - tail]);
    let mut out: Vec<Line> = a[..head].iter().map(|l| Line::Both(l)).collect();
    if ma.len().saturating_mul(mb.len()) > PAIRS_MAX {
        out.extend(ma.iter().map(|l| Line::Left(l)));
        out.extend(mb.iter().map(|l| Line::Right(l)));
    } else {
        let width = mb.len() + 1;
        let mut common = vec![0u32; (ma.len() + 1) * width];
        for i in (0..ma.len()).rev() {
            for j in (0..mb.len()).rev() {
                common[i * width + j] = if ma[i] == mb[j] { common[(i + 1) * width + j + 1] + 1 } else { common[(i + 1) * width + j].max(common[i * width + j + 1]) };
            }
        }
        let (mut i, mut j) = (0, 0);
        while i < ma.len() || j < mb.len() {
            if i < ma.len() && j < mb.len() && ma[i] == mb[j] {
                out.push(Line::Both(ma[i]));
                (i, j) = (i + 1, j + 1);
            } else if i < ma.len() && (j == mb.len() || common[(i + 1) * width + j] >= common[i * width + j + 1]) {
                out.push(Line::Left(ma[i]));
                i += 1;
            } else {
                out.push(Line::Right(mb[j]));
                j += 1;
            }
        }
    }
    out.extend(a[a.len() - tail..].iter().map(|l| Line::Both(l)));
    out
}

/// Whether `theirs` still holds what was changed between `common` and `ours`: every line that we added is there, and no line that we took
/// away is back. Lines are counted, so that a line that stands twice is missed when one of it goes.
pub fn holds(common: &str, ours: &str, theirs: &str) -> bool {
    let count = |text: &str, line: &str| text.lines().filter(|l| *l == line).count();
    lines(common, ours).iter().all(|l| match l {
        Line::Both(_) => true,
        Line::Right(added) => count(theirs, added) >= count(ours, added),
        Line::Left(gone) => count(theirs, gone) <= count(ours, gone),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_splice_leads_there() {
        for (a, b) in [("", "x"), ("abc", "abxc"), ("aaa", "aa"), ("aé", "aè"), ("♭♭", "♭"), ("same", ""), ("ab ab", "ab ab ab")] {
            let c = splice_between(a, b).unwrap();
            assert_eq!(lesson::splice(a, &[c]).unwrap(), b, "{a} {b}");
        }
        assert_eq!(splice_between("a", "a"), None);
    }

    #[test]
    fn lines_side_by_side() {
        assert_eq!(lines("a\nb\nc", "a\nx\nc"), [Line::Both("a"), Line::Left("b"), Line::Right("x"), Line::Both("c")]);
    }

    #[test]
    fn another_editor_may_keep_or_lose_what_was_typed() {
        let (common, ours) = ("a\nb\nc\n", "a\nB\nc\n");
        assert!(holds(common, ours, "a\nB\nc\nd\n"));
        assert!(!holds(common, ours, "a\nb\nc\nd\n"));
        assert!(!holds(common, ours, "a\nc\n"));
    }
}
