//! A bass line heard under strummed chords and a kick, all made here.

use hear::{Pins, hear};
use wave::Buffer;

const RATE: u32 = 44_100;

fn hz(midi: i32) -> f64 {
    440.0 * libm::exp2((f64::from(midi) - 69.0) / 12.0)
}

/// A string struck at `start`, damped at `until`.
fn pluck(out: &mut [f32], midi: i32, start: f64, until: f64, level: f64) {
    for n in (start * f64::from(RATE)) as usize..((until * f64::from(RATE)) as usize).min(out.len()) {
        let t = n as f64 / f64::from(RATE) - start;
        let tone = |k: i32| libm::exp(-t * (0.8 + 0.7 * f64::from(k))) * libm::sin(std::f64::consts::TAU * hz(midi) * f64::from(k) * t) / f64::from(k);
        out[n] += (level * ((until - start - t) / 0.02).min(1.0) * (1..9).map(tone).sum::<f64>()) as f32;
    }
}

#[test]
fn notes_of_a_line_are_found_with_their_onsets() {
    // Roots, fifths and octaves under A minor, D minor, G, C: two notes a second.
    let line = [33, 33, 40, 33, 38, 38, 33, 38, 31, 31, 38, 31, 36, 36, 31, 36];
    let grips = [[57, 60, 64], [57, 62, 65], [55, 59, 62], [55, 60, 64]];
    let mut out = vec![0.0f32; 9 * RATE as usize];
    for (i, midi) in line.iter().enumerate() {
        let at = 0.5 + 0.5 * i as f64;
        pluck(&mut out, *midi, at, at + 0.45, 0.2);
        for (string, note) in grips[i / 4].iter().enumerate() {
            pluck(&mut out, *note, at + 0.25 + 0.01 * string as f64, at + 0.45, 0.06);
        }
        // A kick with every second note.
        if i % 2 == 0 {
            for n in 0..6_000 {
                let t = f64::from(n) / f64::from(RATE);
                let phase = 55.0 * t - 2.5 * libm::exp(-t / 0.02);
                out[(at * f64::from(RATE)) as usize + n as usize] += (0.3 * libm::exp(-t / 0.05) * libm::sin(std::f64::consts::TAU * phase)) as f32;
            }
        }
    }
    let found = hear(&Buffer::from_mono(RATE, out).unwrap(), &Pins::default(), &|_| ()).unwrap().bass.unwrap();
    let hit = |i: usize| found.iter().any(|n| n.midi.0 as i32 == line[i] && (n.onset.0 - 0.5 - 0.5 * i as f64).abs() < 0.05);
    let hits = (0..line.len()).filter(|i| hit(*i)).count();
    assert!(hits >= 14 && found.len() <= 18, "{hits} of {}, {found:#?}", line.len());
    assert!(found.iter().all(|n| n.offset.0 > n.onset.0) && found.windows(2).all(|w| w[0].offset <= w[1].onset));
}

#[test]
fn a_high_guitar_alone_has_no_bass_line() {
    let mut out = vec![0.0f32; 5 * RATE as usize];
    for i in 0..8 {
        for note in [57, 60, 64, 69] {
            pluck(&mut out, note, 0.5 * f64::from(i), 0.5 * f64::from(i) + 0.45, 0.1);
        }
    }
    let found = hear(&Buffer::from_mono(RATE, out).unwrap(), &Pins::default(), &|_| ()).unwrap().bass.unwrap();
    assert!(found.is_empty(), "{found:#?}");
}
