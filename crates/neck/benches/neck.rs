//! How long fingers, places and a path through a 200-bar part take, the path beside the lowest-fret rule.

use divan::{Bencher, black_box};
use neck::{Grip, Hand, Instrument, PlaceOptions, Timed, Wanted, finger, path, place};
use pitch::{Midi, PitchClass};

fn main() {
    divan::main();
}

#[divan::bench]
fn finger_barre(b: Bencher) {
    let (guitar, hand, grip) = (Instrument::guitar(), Hand::usual(), Grip { frets: [1, 3, 3, 2, 1, 1].map(Some).to_vec() });
    b.bench_local(|| finger(black_box(&grip), &guitar, &hand));
}

#[divan::bench]
fn place_dominant_seventh(b: Bencher) {
    let (guitar, hand) = (Instrument::guitar(), Hand::usual());
    let wanted = Wanted::Classes { classes: [0, 4, 7, 10].map(PitchClass).to_vec(), bass: None, must: vec![], may_omit: vec![PitchClass(7)] };
    b.bench_local(|| place(black_box(&wanted), &guitar, &hand, &PlaceOptions::default()));
}

/// 200 bars of sixteenths: two-bar strums of four notes in eighths, two bars of single sixteenths, and so on.
fn part() -> Vec<Timed> {
    let mut notes = Vec::new();
    let chords = [[48, 55, 60, 64], [45, 52, 60, 64], [50, 57, 60, 65], [43, 50, 59, 65]];
    let line = [60, 62, 64, 67, 69, 67, 64, 62, 65, 64, 62, 60, 57, 60, 62, 59];
    for bar in 0..200u32 {
        let at = |slot: u32| f64::from(bar) * 2.0 + f64::from(slot) * 0.125;
        if bar % 4 < 2 {
            for slot in (0..16).step_by(2) {
                notes.extend(chords[(bar / 2 % 4) as usize].map(|m| Timed { onset_s: at(slot), duration_s: 0.2, midi: Midi(m) }));
            }
        } else {
            notes.extend((0..16).map(|s| Timed { onset_s: at(s), duration_s: 0.12, midi: Midi(line[s as usize] + (bar % 5) as u8) }));
        }
    }
    notes
}

#[divan::bench]
fn path_200_bars(b: Bencher) {
    let (guitar, hand, notes) = (Instrument::guitar(), Hand::usual(), part());
    b.bench_local(|| path(black_box(&notes), &guitar, &hand, &[]));
}

#[divan::bench]
fn lowest_fret_200_bars(b: Bencher) {
    let (guitar, notes) = (Instrument::guitar(), part());
    b.bench_local(|| {
        let lowest = |n: &Timed| (1..=6u8).flat_map(|s| (0..=22).map(move |f| (s, f))).filter(|(s, f)| guitar.sounds(*s, *f) == Some(n.midi)).min_by_key(|p| p.1);
        black_box(&notes).iter().map(lowest).collect::<Vec<_>>()
    });
}
