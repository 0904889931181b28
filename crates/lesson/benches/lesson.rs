//! How long the demo takes to be read, written, and edited in one place: `cargo bench -p lesson`.

use lesson::{BarAt, Edit, Rounds};

const DEMO: &str = include_str!("../../../demo/ferry-road/lesson.kdl");

fn main() {
    divan::main();
}

#[divan::bench]
fn read() -> lesson::Reading {
    lesson::read(divan::black_box(DEMO))
}

#[divan::bench]
fn write(bencher: divan::Bencher) {
    let lesson = lesson::read(DEMO).lesson;
    bencher.bench_local(|| lesson::write(&lesson));
}

/// One token of one bar: the text is read before and after.
#[divan::bench]
fn edit(bencher: divan::Bencher) {
    let bar = BarAt { passage: "verse".into(), part: "chop".into(), bar: 1 };
    let edit = Edit::Token { bar, row: None, slot: 2, with: "x".into(), rounds: Rounds::All };
    bencher.bench_local(|| lesson::edit(DEMO, &edit).expect("an edit"));
}
