//! Figures of the shelf on 5,000 generated lessons: time of a full index, of one changed lesson, of every query, and whether each answer is that of a
//! plain scan over all facts. Takes the number of lessons and of queries; ends with 1 where an answer differs.
//!
//! Times are of this thread on a processor where Linux tells (`/proc/thread-self/schedstat`), so that other programs do not count; elsewhere by the
//! clock. Linux counts in ticks of some milliseconds, so what is short is done many times over, and the mean taken.

#[path = "../tests/generated/mod.rs"]
mod generated;

use generated::{all_facts, lesson, scan, seen, some_query};
use shelf::{Shelf, Trust, query};
use std::collections::{BTreeMap, BTreeSet};
use std::process::ExitCode;
use std::time::Instant;

/// By the clock, and on a processor.
#[derive(Clone, Copy)]
struct Start(Instant, Option<f64>);

fn on_processor_ms() -> Option<f64> {
    Some(std::fs::read_to_string("/proc/thread-self/schedstat").ok()?.split(' ').next()?.parse::<f64>().ok()? / 1e6)
}

impl Start {
    fn now() -> Start {
        Start(Instant::now(), on_processor_ms())
    }
}

fn ms(since: Start) -> f64 {
    match (since.1, on_processor_ms()) {
        (Some(from), Some(to)) => to - from,
        _ => since.0.elapsed().as_secs_f64() * 1000.0,
    }
}

/// The mean of doing something 20 times over, and what came of it.
fn mean(what: impl Fn() -> usize) -> (f64, usize) {
    let start = Start::now();
    let mut count = 0;
    for _ in 0..20 {
        count = what();
    }
    (ms(start) / 20.0, count)
}

fn spread(mut times: Vec<f64>) -> String {
    times.sort_by(f64::total_cmp);
    let at = |part: f64| times[((times.len() - 1) as f64 * part) as usize];
    format!("median {:.2} ms, 95 of 100 within {:.2}, longest {:.2}", at(0.5), at(0.95), at(1.0))
}

fn main() -> ExitCode {
    let n: usize = std::env::args().nth(1).and_then(|a| a.parse().ok()).unwrap_or(5000);
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("all.shelf");
    let texts: BTreeMap<String, String> = (0..n).map(|i| lesson(i, 0)).map(|l| (l.0, l.1)).collect();
    let list: Vec<_> = texts.iter().map(|(f, t)| seen(f, t, 1)).collect();
    let queries: usize = std::env::args().nth(2).and_then(|a| a.parse().ok()).unwrap_or(300);
    println!("{n} lessons, {} kB of text", texts.values().map(String::len).sum::<usize>() / 1000);

    let start = Start::now();
    let mut shelf = Shelf::open(&path).expect("an index");
    let update = shelf.update(&list, 1 << 60, Trust::Hint, &mut |f| Ok(texts[f].clone().into_bytes())).expect("an update");
    println!("full index: {:.1} s ({:.1} by the clock), {} faulty", ms(start) / 1000.0, start.0.elapsed().as_secs_f64(), update.faulty.len());
    println!("its file: {:.1} MB", std::fs::metadata(&path).map_or(0, |m| m.len()) as f64 / 1e6);
    let start = Start::now();
    shelf.update(&list, 1 << 60, Trust::Hint, &mut |_| unreachable!()).expect("an update");
    println!("nothing changed: {:.0} ms", ms(start));

    let changed: Vec<_> = (0..n.min(200)).map(|i| lesson(i * n / n.min(200), 1)).collect();
    let start = Start::now();
    for (f, text, _) in &changed {
        assert!(shelf.put(&seen(f, text, 2), 1 << 60, text.as_bytes()).expect("a lesson"));
    }
    println!("one lesson changed: {:.1} ms (mean of {})", ms(start) / changed.len() as f64, changed.len());
    let demo = include_str!("../../../demo/ferry-road/lesson.kdl");
    let start = Start::now();
    for i in 0..20 {
        let text = format!("{demo}// {i}");
        shelf.put(&seen("ferry-road", &text, 2), 1 << 60, text.as_bytes()).expect("a lesson");
    }
    println!("the demo of eight passages changed: {:.1} ms (mean of 20)", ms(start) / 20.0);
    shelf.take_off("ferry-road").expect("a lesson less");
    for (f, _, _) in &changed {
        shelf.put(&seen(f, &texts[f], 1), 1 << 60, texts[f].as_bytes()).expect("a lesson");
    }

    let start = Start::now();
    let one = Shelf::open(&path).expect("an index");
    one.find(&query("rootless ninth").expect("a query"), 50).expect("an answer");
    println!("opened and asked once: {:.2} ms", ms(start));
    // Each kind of question alone.
    let kinds = [
        "bend", "\"river bend\"", "rootless ninth", "minor seventh", "rootless", "Cm7", "name m7", "grip x x 5 5 5 x", "grip x x 5 5 x x", "parent A form", "parent ninth", "technique slide", "tempo 90-110",
        "tempo from 1", "key C minor", "swing none", "swing 54-60", "level to 3", "lock shared 20-40", "lock clashes 0", "not bend", "tempo from 1 swing none not scratch",
    ];
    for words in kinds {
        let q = query(words).expect("a query");
        let (took, total) = mean(|| one.find(&q, 50).expect("an answer").total);
        println!("  {took:6.2} ms  {words} ({total})");
    }
    let (f, _, planted) = lesson(n / 3, 0);
    let grip = neck::Grip::parse(&planted[0].grips[0]).expect("a grip");
    type Ask<'a> = (&'a str, &'a dyn Fn() -> usize);
    let questions: [Ask; 3] = [
        ("taught in", &|| one.taught(&grip, &neck::Instrument::guitar(), None).map_or(0, |t| t.len())),
        ("nearest passages", &|| one.nearest(&f, "verse", 10).ok().flatten().map_or(0, |t| t.len())),
        ("never taught", &|| one.never_taught(10).map_or(0, |t| t.len())),
    ];
    for (what, ask) in questions {
        let (took, count) = mean(ask);
        println!("  {took:6.2} ms  {what} ({count})");
    }
    let start = Start::now();
    let all = all_facts(n);
    println!("the facts alone, without an index: {:.1} s", ms(start) / 1000.0);
    let (mut times, mut scans, mut wrong, mut longest) = (Vec::new(), Vec::new(), 0, (0.0, String::new()));
    for i in 0..queries {
        let words = some_query(i);
        let q = query(&words).expect("a query");
        let took = mean(|| one.find(&q, 50).expect("an answer").total).0;
        times.push(took);
        if took > longest.0 {
            longest = (took, words.clone());
        }
        let start = Start::now();
        let expected = scan(&all, &q);
        scans.push(ms(start));
        let got: BTreeSet<_> = one.find(&q, usize::MAX).expect("an answer").hits.into_iter().map(|h| (h.lesson, h.passage)).collect();
        if got != expected {
            wrong += 1;
            println!("differs: {words}: {} for {}", got.len(), expected.len());
        }
    }
    println!("{queries} queries, 50 hits: {}; longest: {}", spread(times), longest.1);
    println!("the scan over facts in memory: {}", spread(scans));
    println!("answers that differ from the scan: {wrong}");
    if wrong == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
