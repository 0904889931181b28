//! How long a take takes: ten seconds of plucked chords, all in all, and the writing out of 2,000 notes alone.

use divan::Bencher;
use std::f64::consts::TAU;
use take::{Grid, Settings, TakenNote, Wishes, places, take, write_out};

fn main() {
    divan::main();
}

fn settings() -> Settings {
    Settings { instrument: neck::Instrument::guitar(), bass: false, hand: neck::Hand::usual(), name: "take".into() }
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn ten_seconds(b: Bencher) {
    let rate = 44_100;
    let mut samples = vec![0.0f32; 10 * rate];
    for (i, midi) in [45.0, 52.0, 57.0, 60.0].iter().cycle().take(40).enumerate() {
        let hz = 440.0 * libm::exp2((midi - 69.0) / 12.0);
        for (n, s) in samples[i / 4 * rate..].iter_mut().take(rate).enumerate() {
            let t = n as f64 / rate as f64;
            *s += (1..=8).map(f64::from).map(|k| 0.1 / k * libm::exp(-t * (2.0 + k)) * libm::sin(TAU * k * hz * t)).sum::<f64>() as f32;
        }
    }
    let record = wave::Buffer::new(rate as u32, vec![samples]).expect("finite");
    let wishes = Wishes { bpm: Some(60.0), from_s: Some(0.0), meter: None, settings: settings() };
    b.bench_local(|| take(&record, &wishes, &|_| ()));
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn two_thousand_notes_written(b: Bencher) {
    let note = |i: usize| TakenNote {
        onset_s: i as f64 * 0.15,
        offset_s: i as f64 * 0.15 + 0.12,
        midi: pitch::Midi([57, 60, 62, 64, 67, 69, 67, 64][i % 8]),
        confidence: 0.9,
        strings: vec![],
        attack: lesson::Attack::Struck,
    };
    let notes: Vec<TakenNote> = (0..2000).map(note).collect();
    let grid = Grid::steady(100.0, 0.0, 300.0, lesson::Meter { count: 4, unit: 4 }, None).expect("steady");
    b.bench_local(|| places(&notes, &settings()).map(|at| write_out(&notes, &at, &[], &grid, &settings())));
}
