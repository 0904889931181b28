//! Answers of the index against what was put into the lessons, and against a plain scan of all their facts.

mod generated;

use generated::{all_facts, lesson, own_word, scan, seen, some_query};
use shelf::{Likeness, Shelf, Trust, query};
use std::collections::{BTreeMap, BTreeSet};

const LESSONS: usize = 250;

fn filled(n: usize) -> (tempfile::TempDir, Shelf) {
    let folder = tempfile::tempdir().unwrap();
    let mut shelf = Shelf::open(&folder.path().join("all.shelf")).unwrap();
    let texts: BTreeMap<String, String> = (0..n).map(|i| lesson(i, 0)).map(|l| (l.0, l.1)).collect();
    let list: Vec<_> = texts.iter().map(|(f, t)| seen(f, t, 1)).collect();
    let update = shelf.update(&list, i64::MAX, Trust::Hint, &mut |f| Ok(texts[f].clone().into_bytes())).unwrap();
    assert_eq!((update.added.len(), update.faulty.len(), update.rebuilt), (n, 0, false));
    (folder, shelf)
}

fn found(shelf: &Shelf, words: &str) -> BTreeSet<(String, Option<String>)> {
    let found = shelf.find(&query(words).unwrap_or_else(|e| panic!("{words}: {e:?}")), usize::MAX).unwrap();
    let set: BTreeSet<_> = found.hits.iter().map(|h| (h.lesson.clone(), h.passage.clone())).collect();
    assert_eq!(set.len(), found.total, "{words}");
    set
}

#[test]
fn answers_are_those_of_a_scan() {
    let (_folder, shelf) = filled(LESSONS);
    let all = all_facts(LESSONS);
    let (mut some, mut none) = (0, 0);
    for i in 0..400 {
        let words = some_query(i);
        let expected = scan(&all, &query(&words).unwrap());
        if expected.is_empty() { none += 1 } else { some += 1 }
        assert_eq!(found(&shelf, &words), expected, "{words}");
        // Fewer of the same, in the same order, each with a reason.
        let few = shelf.find(&query(&words).unwrap(), 3).unwrap();
        let more = shelf.find(&query(&words).unwrap(), usize::MAX).unwrap();
        assert_eq!(few.hits[..], more.hits[..few.hits.len()], "{words}");
        assert!(few.total == more.total && more.hits.iter().all(|h| !h.why.is_empty()), "{words}");
    }
    assert!(some > 130 && none > 15, "{some} with answers, {none} without");
}

#[test]
fn answers_are_what_was_put_in() {
    let (_folder, shelf) = filled(LESSONS);
    let planted: Vec<_> = (0..LESSONS).flat_map(|i| lesson(i, 0).2).collect();
    let expect = |words: &str, holds: &dyn Fn(&generated::Planted) -> bool| {
        let expected: BTreeSet<_> = planted.iter().filter(|p| holds(p)).map(|p| (p.folder.clone(), Some(p.passage.to_string()))).collect();
        assert!(!expected.is_empty(), "{words}");
        assert_eq!(found(&shelf, words), expected, "{words}");
    };
    expect("tempo 50-60.5", &|p| (50.0..=60.5).contains(&p.tempo));
    expect("tempo to 45", &|p| p.tempo <= 45.0);
    expect("key C minor", &|p| p.key == "C minor");
    expect("key D#", &|p| p.key == "Eb major");
    expect("swing none", &|p| p.swing.is_none());
    expect("swing 60 to 66", &|p| p.swing.is_some_and(|s| (60.0..=66.0).contains(&s)));
    expect(&own_word(77), &|p| p.word == own_word(77));
    expect(&format!("{} tempo from 50", own_word(150)), &|p| p.word == own_word(150) && p.tempo >= 50.0);
    for i in [3, 99, 200] {
        let grip = &planted[i].grips[0];
        let hits = shelf.find(&query(&format!("grip {grip}")).unwrap(), usize::MAX).unwrap().hits;
        let own = hits.iter().find(|h| (h.lesson.as_str(), h.passage.as_deref(), h.part.as_deref()) == (planted[i].folder.as_str(), Some(planted[i].passage), Some("chop")));
        assert!(own.is_some_and(|h| h.bar == Some(1) && h.why.contains("this very grip")), "{own:?}");
        // The very grip first, then moved ones, then those on other strings.
        let closeness: Vec<usize> = hits.iter().map(|h| ["this very grip", "the same grip", "the same notes"].iter().position(|w| h.why.contains(w)).unwrap()).collect();
        assert!(closeness[0] == 0 && closeness.is_sorted(), "{closeness:?}");
        let taught = shelf.taught(&neck::Grip::parse(grip).unwrap(), &neck::Instrument::guitar(), None).unwrap();
        assert!(taught.iter().any(|t| t.like == Likeness::Same && t.letter == Some('a') && t.lesson == planted[i].folder));
        let others = shelf.taught(&neck::Grip::parse(grip).unwrap(), &neck::Instrument::guitar(), Some(&planted[i].folder)).unwrap();
        assert!(others.iter().all(|t| t.lesson != planted[i].folder));
    }
}

#[test]
fn nearest_is_the_order_of_a_scan() {
    let (_folder, shelf) = filled(60);
    let all = all_facts(60);
    for (folder, facts) in &all[..20] {
        let own = &facts.passages[0];
        let near = shelf.nearest(folder, &own.id, 7).unwrap().unwrap();
        let mut expected: Vec<(f64, &str, usize)> = Vec::new();
        for (f, other) in &all {
            for (nr, p) in other.passages.iter().enumerate() {
                let (likeness, common) = like(own, p);
                if common && !(f == folder && nr == 0) {
                    expected.push((likeness, f, nr));
                }
            }
        }
        expected.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
        for (n, e) in near.iter().zip(&expected) {
            assert!((n.likeness - e.0).abs() < 1e-12 && n.lesson == e.1, "{n:?} {e:?}");
        }
        assert_eq!(near.len(), 7);
    }
    assert_eq!(shelf.nearest("nowhere", "verse", 5).unwrap(), None);
}

/// The likeness that the documentation of `nearest` defines, from the facts.
fn like(a: &shelf::PassageFacts, b: &shelf::PassageFacts) -> (f64, bool) {
    fn over<T: Ord>(a: &BTreeSet<T>, b: &BTreeSet<T>) -> (f64, bool) {
        let both = a.intersection(b).count();
        (if both > 0 { both as f64 / a.union(b).count() as f64 } else { 0.0 }, both > 0)
    }
    let stacks = |p: &shelf::PassageFacts| p.parts.iter().flat_map(|p| p.grips.iter().map(|g| g.shape.stack.clone())).collect::<BTreeSet<_>>();
    let kinds = |p: &shelf::PassageFacts| p.chords.iter().map(|c| shelf::quality_of(&c.symbol)).collect::<BTreeSet<_>>();
    let techniques = |p: &shelf::PassageFacts| p.parts.iter().flat_map(|p| p.techniques.iter().map(|u| u.technique)).collect::<BTreeSet<_>>();
    let (s, k, t) = (over(&stacks(a), &stacks(b)), over(&kinds(a), &kinds(b)), over(&techniques(a), &techniques(b)));
    let ratio = (a.tempo_bpm[0] / b.tempo_bpm[0]).max(b.tempo_bpm[0] / a.tempo_bpm[0]);
    let swing = |p: &shelf::PassageFacts| p.swing_percent.unwrap_or(50.0);
    let all = 0.35 * s.0
        + 0.2 * t.0
        + 0.2 * k.0
        + 0.1 * (2.0 - ratio).max(0.0)
        + 0.1 * (1.0 - (swing(a) - swing(b)).abs() / 10.0).max(0.0)
        + 0.05 * f64::from(u8::from(a.key.is_some() && a.key.map(|k| k.mode) == b.key.map(|k| k.mode)));
    (all, s.1 || k.1 || t.1)
}
