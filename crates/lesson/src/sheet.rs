//! What is printed: bars that come back alike in every part fold into repeats with endings.

/// One printed bar.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SheetBar {
    /// The bars as played that it stands for, ascending; the first one is drawn.
    pub played: Vec<usize>,
    /// A repeat begins before it.
    pub repeat_start: bool,
    /// A repeat ends after it; the number is how many times the repeated stretch is played in all.
    pub repeat_end: Option<u32>,
    /// Rounds for which it is the (part of an) ending, from 1; empty when it is none.
    pub ending: Vec<u32>,
    /// First and last bar of that ending.
    pub ending_start: bool,
    pub ending_stop: bool,
}

use crate::{Fold, Passage};

/// The printed bars of a passage.
///
/// A repeat that any part writes is printed as one if every part's bars (and the written harmony, meter and tempo) come back
/// alike, and the rounds' endings are of one pattern; otherwise its bars are printed one by one. Of nested repeats the outermost that folds is taken.
/// Every played bar stands in exactly one printed bar.
pub fn sheet(passage: &Passage) -> Vec<SheetBar> {
    let mut folds: Vec<&Fold> = passage.parts.iter().filter(|p| p.easier_of.is_none()).flat_map(|p| &p.folds).filter(|f| folds_alike(passage, f)).collect();
    // The one that saves most bars first.
    let saved = |f: &Fold| f.body * (f.endings.len().saturating_sub(1));
    folds.sort_by_key(|f| (std::cmp::Reverse(saved(f)), f.start));
    let mut taken: Vec<&Fold> = Vec::new();
    for f in folds {
        let (a, b) = (f.start, f.start + length(f));
        if taken.iter().all(|t| t.start + length(t) <= a || b <= t.start) {
            taken.push(f);
        }
    }
    taken.sort_by_key(|f| f.start);
    let mut out = Vec::new();
    let mut i = 0;
    let mut next = taken.into_iter().peekable();
    while i < passage.bars.len() {
        if let Some(f) = next.next_if(|f| f.start == i) {
            i += length(f);
            print_fold(f, passage, &mut out);
        } else {
            out.push(plain(vec![i]));
            i += 1;
        }
    }
    out
}

fn plain(played: Vec<usize>) -> SheetBar {
    SheetBar { played, repeat_start: false, repeat_end: None, ending: vec![], ending_start: false, ending_stop: false }
}

/// Bars that a fold takes as played.
fn length(f: &Fold) -> usize {
    f.body * f.endings.len() + f.endings.iter().sum::<usize>()
}

/// First bar of each round.
fn rounds(f: &Fold) -> Vec<usize> {
    let mut at = f.start;
    f.endings
        .iter()
        .map(|e| {
            let here = at;
            at += f.body + e;
            here
        })
        .collect()
}

fn print_fold(f: &Fold, passage: &Passage, out: &mut Vec<SheetBar>) {
    let rounds = rounds(f);
    let times = rounds.len() as u32;
    let first = out.len();
    for k in 0..f.body {
        out.push(plain(rounds.iter().map(|r| r + k).collect()));
    }
    if let Some(b) = out.get_mut(first) {
        b.repeat_start = true;
    }
    if f.endings.iter().all(|e| *e == 0) {
        if let Some(b) = out.last_mut() {
            b.repeat_end = Some(times);
        }
        return;
    }
    // Endings of one kind stand together: rounds 1 and 3 may share one.
    let mut kinds: Vec<Vec<usize>> = Vec::new();
    for r in 0..rounds.len() {
        let same = kinds.iter_mut().find(|k| {
            let o = k[0];
            f.endings[o] == f.endings[r] && (0..f.endings[r]).all(|n| alike(passage, rounds[o] + f.body + n, rounds[r] + f.body + n))
        });
        match same {
            Some(k) => k.push(r),
            None => kinds.push(vec![r]),
        }
    }
    let last_kind = kinds.len() - 1;
    for (n, kind) in kinds.iter().enumerate() {
        let len = f.endings[kind[0]];
        let start = out.len();
        for k in 0..len {
            let mut bar = plain(kind.iter().map(|r| rounds[*r] + f.body + k).collect());
            bar.ending = kind.iter().map(|r| *r as u32 + 1).collect();
            out.push(bar);
        }
        if len == 0 {
            continue;
        }
        out[start].ending_start = true;
        let last = out.len() - 1;
        out[last].ending_stop = true;
        // After every ending but the one that goes on the music turns back.
        if n != last_kind || kind.len() > 1 {
            out[last].repeat_end = Some(times);
        }
    }
}

/// Whether a fold can be printed as a repeat.
fn folds_alike(passage: &Passage, f: &Fold) -> bool {
    let rounds = rounds(f);
    let n = passage.bars.len();
    if f.body == 0 || rounds.len() < 2 || f.start + length(f) > n {
        return false;
    }
    let body = rounds.iter().skip(1).all(|r| (0..f.body).all(|k| alike(passage, rounds[0] + k, r + k)));
    if !body {
        return false;
    }
    let with = f.endings.iter().filter(|e| **e > 0).count();
    if with == 0 {
        return true;
    }
    // Endings print only where every round has one, and rounds that share one do not come after it went on.
    with == f.endings.len() && {
        let last = rounds.len() - 1;
        let (a, e) = (rounds[last] + f.body, f.endings[last]);
        !(0..last).any(|r| f.endings[r] == e && (0..e).all(|k| alike(passage, rounds[r] + f.body + k, a + k)))
    }
}

/// Whether two played bars print alike in every part.
fn alike(passage: &Passage, a: usize, b: usize) -> bool {
    let (x, y) = (&passage.bars[a], &passage.bars[b]);
    if x.meter != y.meter || x.tempo_bpm != y.tempo_bpm || x.length != y.length {
        return false;
    }
    let harmony = |bar: usize| passage.harmony.iter().filter(move |h| h.bar == bar).map(|h| (h.at, h.len, &h.symbol, h.struck)).collect::<Vec<_>>();
    let pins = |bar: usize| passage.parts.iter().map(move |p| p.name_pins.iter().filter(|n| n.bar == bar).map(|n| (n.at, &n.symbol)).collect::<Vec<_>>()).collect::<Vec<_>>();
    let notes = |bar: usize| passage.notes.iter().any(|n| n.at.is_some_and(|at| at.0 == bar));
    // A remark on a later round needs its bar printed; on the first it may stand at the repeat.
    harmony(a) == harmony(b)
        && pins(a) == pins(b)
        && !notes(b)
        && passage.parts.iter().all(|p| p.bars[a].is_alike(&p.bars[b]))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn show(parts: &str) -> String {
        let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 90; slots 4; {parts} }} }}");
        let r = crate::read(&text);
        assert!(r.problems.is_empty(), "{:?}", r.problems);
        let sheet = sheet(&r.lesson.passages[0]);
        let mut all: Vec<usize> = sheet.iter().flat_map(|b| b.played.clone()).collect();
        all.sort_unstable();
        assert_eq!(all, (0..r.lesson.passages[0].bars.len()).collect::<Vec<_>>());
        let bar = |b: &SheetBar| {
            let played: Vec<String> = b.played.iter().map(usize::to_string).collect();
            let ending: Vec<String> = b.ending.iter().map(u32::to_string).collect();
            format!(
                "{}{}{}{}",
                if b.repeat_start { "|:" } else { "" },
                if b.ending_start { format!("[{}]", ending.join(",")) } else { String::new() },
                played.join(","),
                b.repeat_end.map(|n| format!(":|x{n}")).unwrap_or_default()
            )
        };
        sheet.iter().map(bar).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn repeats_print_where_all_parts_agree() {
        let one = "part \"a\" instrument=\"guitar\" { repeat times=3 { bar \"1:0 . . .\" }; bar \"1:3 . . .\" }";
        assert_eq!(show(one), "|:0,1,2:|x3 3");
        // Another part that differs in the second bar keeps the bars apart.
        let two = format!("{one}; part \"b\" instrument=\"guitar\" {{ bar \"1:0 . . .\"; bar \"1:1 . . .\"; bar \"1:0 . . .\" times=2 }}");
        assert_eq!(show(&two), "0 1 2 3");
        // One that is alike all along does not.
        let three = format!("{one}; part \"b\" instrument=\"guitar\" {{ repeat times=4 {{ bar \"2:0 . . .\" }} }}");
        assert_eq!(show(&three), "|:0,1,2:|x3 3");
    }

    #[test]
    fn endings_print() {
        let part = "part \"a\" instrument=\"guitar\" { repeat times=3 { bar \"1:0 . . .\"; bar \"1:1 . . .\" ending=\"1, 2\"; bar \"1:2 . . .\" ending=3 }; bar \"1:5 . . .\" }";
        assert_eq!(show(part), "|:0,2,4 [1,2]1,3:|x3 [3]5 6");
    }

    #[test]
    fn remarks_on_a_later_round_keep_their_bar() {
        let part = "part \"a\" instrument=\"guitar\" { repeat times=2 { bar \"1:0 . . .\" } }";
        assert_eq!(show(&format!("{part}; note \"here\" at=\"1.1\"")), "|:0,1:|x2");
        assert_eq!(show(&format!("{part}; note \"here\" at=\"2.1\"")), "0 1");
    }

    #[test]
    fn a_note_that_rings_into_the_repeat_keeps_the_first_round_apart() {
        let part = "part \"a\" instrument=\"guitar\" { repeat times=3 { bar \"- . . 1:0\" } }";
        let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 90; slots 4; {part} }} }}");
        // Nothing rings before the first round.
        assert_eq!(crate::read(&text).problems.len(), 1);
    }
}
