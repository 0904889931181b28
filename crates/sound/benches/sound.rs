//! How long a passage takes, a part alone, and a string beside the plain formula: `cargo bench -p sound`.

use sound::{Options, Takes};

fn main() {
    divan::main();
}

fn band() -> lesson::Passage {
    let text = include_str!("../tests/texts/all.kdl");
    lesson::read(text).lesson.passages.swap_remove(0)
}

/// Two guitars, bass and drums, four bars (9.4 s at full tempo): stems, mix, gain.
#[divan::bench(args = [60, 100], sample_count = 10)]
fn passage(bencher: divan::Bencher, tempo_percent: u32) {
    let p = band();
    bencher.bench_local(|| sound::render(&p, &Options { tempo_percent, looped: true }, &Takes::new(), &|_| ()).unwrap());
}

/// The first guitar of it alone.
#[divan::bench(sample_count = 10)]
fn guitar(bencher: divan::Bencher) {
    let mut p = band();
    p.parts.truncate(1);
    bencher.bench_local(|| sound::render(&p, &Options::default(), &Takes::new(), &|_| ()).unwrap());
}

/// For scale: one string of as many seconds by Karplus & Strong's two-point mean, a sample at a time, and nothing else.
#[divan::bench]
fn plain_string(bencher: divan::Bencher) {
    bencher.with_inputs(|| 218usize).bench_local_values(|period| {
        let mut y = vec![0.0f32; 451_765];
        for (n, s) in y[..period].iter_mut().enumerate() {
            *s = ((n * 7919) % 101) as f32 / 50.0 - 1.0;
        }
        for n in period + 1..y.len() {
            y[n] += 0.5 * (y[n - period] + y[n - period - 1]);
        }
        y
    });
}
