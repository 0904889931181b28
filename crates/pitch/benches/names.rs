//! How long a name takes, beside a plain matcher that compares the notes with 30 chord patterns on 12 roots.
//!
//! `cargo bench -p pitch`. A hundred grips of three to six notes, made by a fixed generator; the figures are for all of them.

use divan::{Bencher, black_box};
use pitch::{Context, Held, Key, Midi, Stretch, Symbol, Timing, harmony, names};

fn main() {
    divan::main();
}

/// A hundred grips in standard tuning, frets 0 to 15, from a linear congruential generator (Knuth's MMIX constants).
fn grips() -> Vec<Vec<Midi>> {
    let mut state = 1u64;
    let mut next = |n: u64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % n
    };
    (0..100)
        .map(|_| {
            let count = 3 + next(4) as usize;
            let mut strings: Vec<usize> = (0..6).collect();
            while strings.len() > count {
                strings.remove(next(strings.len() as u64) as usize);
            }
            strings.into_iter().map(|s| Midi([40, 45, 50, 55, 59, 64][s] + next(16) as u8)).collect()
        })
        .collect()
}

#[divan::bench]
fn ranked_names_with_reasons(bencher: Bencher) {
    let grips = grips();
    let context = Context::default();
    bencher.counter(grips.len()).bench(|| grips.iter().map(|g| names(black_box(g), &context).names.len()).sum::<usize>());
}

#[divan::bench]
fn ranked_names_in_context(bencher: Bencher) {
    let grips = grips();
    let context = Context {
        bass: Some(Midi(36)),
        key: Key::parse("C minor").ok(),
        before: Symbol::parse("Cm7").ok(),
        after: Symbol::parse("Fm7").ok(),
        written: None,
    };
    bencher.counter(grips.len()).bench(|| grips.iter().map(|g| names(black_box(g), &context).names.len()).sum::<usize>());
}

#[divan::bench]
fn plain_templates(bencher: Bencher) {
    let signs = "C Cm Cdim Caug C5 Csus2 Csus4 C6 Cm6 C7 Cmaj7 Cm7 Cm(maj7) Cm7b5 Cdim7 C7sus4 C9 Cm9 Cmaj9 C6/9 Cadd9 Cm(add9) C7b9 C7#9 C7b5 C7#5 C11 Cm11 C13 Cmaj13";
    let templates: Vec<u16> = signs.split(' ').map(|t| Symbol::parse(t).unwrap().classes().bits()).collect();
    let grips = grips();
    bencher.counter(grips.len()).bench(|| {
        let mut total = 0usize;
        for grip in &grips {
            let set = black_box(grip).iter().fold(0u16, |m, n| m | 1 << (n.0 % 12));
            // Notes that agree, less those that one has and the other lacks.
            let best = (0..12)
                .flat_map(|root| templates.iter().enumerate().map(move |(i, t)| (root, i, (t << root | t >> (12 - root)) & 0xfff)))
                .max_by_key(|(_, _, t)| (t & set).count_ones() as i32 - (t ^ set).count_ones() as i32);
            total += best.map_or(0, |b| b.1);
        }
        total
    });
}

/// Sixteen bars of three- to six-note grips, a stretch each, a bass note under each.
#[divan::bench]
fn harmony_of_sixteen_stretches(bencher: Bencher) {
    let notes: Vec<Held> = grips()
        .into_iter()
        .take(16)
        .enumerate()
        .flat_map(|(i, grip)| {
            let (from, to) = (4.0 * i as f64, 4.0 * i as f64 + 4.0);
            let bass = Held { midi: Midi(28 + (7 * i % 12) as u8), from, to, bass: true };
            grip.into_iter().map(move |midi| Held { midi, from, to, bass: false }).chain([bass])
        })
        .collect();
    let stretches: Vec<Stretch> = (0..16).map(|i| Stretch { from: 4.0 * f64::from(i), to: 4.0 * f64::from(i) + 4.0 }).collect();
    bencher.counter(stretches.len()).bench(|| harmony(black_box(&notes), &stretches, None, Timing::QUARTERS).len());
}
