//! How long the lock of 500 bars in eight parts takes, with and without the harmony, beside a plain count of shared onsets.

use divan::{Bencher, black_box};
use lesson::{Passage, soundings};

fn main() {
    divan::main();
}

/// 500 bars of sixteenths: five guitars, a bass, keys and drums; chords written or not.
fn passage(written: bool) -> Passage {
    let chop = "a . x x  . a x .  . x a x  b@-1/b - . .";
    let line = "5:3 . . 5:3  . 4:3 H4:5 .  . . 5:3 .  x . 5:1 .";
    let grips = "grip \"a\" \"x x 8 8 8 x\"; grip \"b\" \"x x 6 7 6 x\"; ";
    let mut text = "lesson \"t\" { passage \"p\" { tempo 100; key \"C minor\"\n".to_string();
    if written {
        text += "chords \"Cm7 / / Bb7\"\n";
    }
    for (i, bar) in [chop, line, chop, line, chop].into_iter().enumerate() {
        text += &format!("part \"guitar {i}\" instrument=\"guitar\" {{ {grips} repeat times=125 {{ bar \"{bar}\"; bar \"{line}\"; bar \"{chop}\"; bar \"{bar}\" }} }}\n");
    }
    text += "part \"floor\" instrument=\"bass\" { repeat times=125 { bar \"3:3 . . .  . . 3:3 .  2:5 - . .  3:1 - . 3:3\" times=4 } }\n";
    text += "part \"keys\" instrument=\"keys\" { repeat times=125 { bar \"C4+Eb4+G4 - - .  Bb3' . F3 .  C4+Eb4 - - -  - - - .\" times=4 } }\n";
    text += "part \"kit\" instrument=\"drums\" { repeat times=125 { bar times=4 { kick \"x . . . . . x . . x . . . . . .\"; snare \". . . . x . . . . . . . x . . .\"; hats \"x . x . x . x . x . x . x . x .\" } } }\n";
    let reading = lesson::read(&(text + "} }"));
    assert!(reading.is_sound(), "{:?}", reading.problems.first());
    let passage = reading.lesson.passages[0].clone();
    assert_eq!((passage.bars.len(), passage.parts.len()), (500, 8));
    passage
}

#[divan::bench]
fn lock_500_bars_8_parts(b: Bencher) {
    let passage = passage(true);
    b.bench_local(|| lock::lock(black_box(&passage)));
}

#[divan::bench]
fn lock_500_bars_8_parts_harmony_computed(b: Bencher) {
    let passage = passage(false);
    b.bench_local(|| lock::lock(black_box(&passage)));
}

#[divan::bench]
fn shared_onsets_alone_500_bars_8_parts(b: Bencher) {
    let passage = passage(true);
    b.bench_local(|| {
        let at: Vec<Vec<lesson::Beats>> = passage.parts.iter().map(|p| soundings(p).iter().map(|s| s.at).collect()).collect();
        let mut n = 0;
        for i in 0..at.len() {
            for j in i + 1..at.len() {
                n += at[i].iter().filter(|t| at[j].binary_search(t).is_ok()).count();
            }
        }
        black_box(n)
    });
}
