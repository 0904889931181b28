//! Chords heard in strummed grips made here from decaying partials.

use hear::{Pins, hear};
use wave::{Buffer, Seconds};

const RATE: u32 = 44_100;

/// Grips struck at times, each until the next; strings 12 ms apart.
fn strummed(strokes: &[(f64, &[i32])], seconds: f64) -> Buffer {
    let mut out = vec![0.0f32; (seconds * f64::from(RATE)) as usize];
    for (i, (start, grip)) in strokes.iter().enumerate() {
        let until = strokes.get(i + 1).map_or(seconds, |s| s.0);
        for (string, midi) in grip.iter().enumerate() {
            let begin = start + 0.012 * string as f64;
            let hz = 440.0 * libm::exp2((f64::from(*midi) - 69.0) / 12.0);
            for n in (begin * f64::from(RATE)) as usize..(until * f64::from(RATE)) as usize {
                let t = n as f64 / f64::from(RATE) - begin;
                let tone = |k: i32| libm::exp(-t * (1.5 + 0.5 * f64::from(k))) * libm::sin(std::f64::consts::TAU * hz * f64::from(k) * t) / f64::from(k * k);
                let fade = ((until - begin - t) / 0.02).min(1.0);
                out[n] += (0.08 * fade * (1..8).map(tone).sum::<f64>()) as f32;
            }
        }
    }
    Buffer::from_mono(RATE, out).unwrap()
}

fn chords(bars: &[&[i32]]) -> Vec<hear::ChordHeard> {
    // A bar of four strokes each, half a second apart; the low string alone on the third.
    let strokes: Vec<(f64, &[i32])> = (0..4 * bars.len()).map(|b| (0.5 * b as f64, if b % 4 == 2 { &bars[b / 4][..1] } else { bars[b / 4] })).collect();
    let record = strummed(&strokes, 2.0 * bars.len() as f64);
    let pins = Pins { beats: (0..4 * bars.len()).map(|b| Seconds(0.5 * b as f64)).collect(), ..Pins::default() };
    hear(&record, &pins, &|_| ()).unwrap().chords.unwrap()
}

#[test]
fn grips_are_named_over_their_bass() {
    // common practice: open A minor, D seventh, C over E, G, E minor seventh, F major seventh.
    let bars: [&[i32]; 6] = [&[45, 52, 57, 60, 64], &[50, 57, 60, 66], &[40, 55, 60, 64], &[43, 47, 50, 55, 59, 67], &[40, 47, 50, 55, 59, 64], &[41, 48, 57, 60, 64]];
    let found = chords(&bars);
    let names: Vec<&str> = found.iter().map(|c| c.harte.as_str()).collect();
    assert_eq!(names, ["A:min", "D:7", "C:maj/3", "G:maj", "E:min7", "F:maj7"], "{found:#?}");
    for (i, c) in found.iter().enumerate() {
        assert!((c.start.0 - 2.0 * i as f64).abs() < 0.3, "{c:?}");
        // E minor seventh is also what a ninth on C leaves without its root.
        let least = if c.harte == "E:min7" { 0.25 } else { 0.3 };
        assert!(c.confidence > least && c.confidence <= 1.0 && c.also.len() == 3 && !c.also.contains(&c.harte), "{c:?}");
    }
}

#[test]
fn chords_of_the_vocabulary_beyond_triads() {
    // common practice: D9, G sus4, E half-diminished seventh, B diminished seventh, C augmented, A minor sixth.
    let bars: [&[i32]; 6] = [&[50, 54, 60, 64, 69], &[43, 50, 55, 60, 67], &[40, 46, 50, 55], &[47, 53, 56, 62], &[48, 52, 56, 60, 64], &[45, 52, 57, 60, 66]];
    let found = chords(&bars);
    let heard = |at: f64| found.iter().find(|c| c.start.0 <= at && at < c.end.0).unwrap();
    let names: Vec<String> = (0..6).map(|b| heard(2.0 * f64::from(b) + 1.0).harte.clone()).collect();
    assert_eq!([&names[..4], &names[5..]].concat(), ["D:9", "G:sus4", "E:hdim7", "B:dim7", "A:min6"], "{found:#?}");
    // An augmented chord has its root from its bass alone.
    assert!(["C:aug", "E:aug", "Ab:aug"].iter().any(|n| names[4].starts_with(n)), "{names:?}");
}

#[test]
fn second_guesses_are_other_chords_and_stretches_have_no_gaps() {
    let grip: &[i32] = &[46, 53, 58, 62];
    let strokes: Vec<(f64, &[i32])> = (0..8).map(|b| (3.0 + 0.5 * f64::from(b), grip)).collect();
    let found = hear(&strummed(&strokes, 8.0), &Pins::default(), &|_| ()).unwrap().chords.unwrap();
    let heard = found.iter().find(|c| c.start.0 <= 5.0 && 5.0 < c.end.0).unwrap();
    assert_eq!(heard.harte, "Bb:maj", "{found:#?}");
    assert!(found.windows(2).all(|w| w[0].end == w[1].start) && found[0].start == Seconds(0.0) && found[found.len() - 1].end == Seconds(8.0));
    assert!(found.iter().all(|c| c.also.iter().all(|a| *a != c.harte)));
}

#[test]
fn silence_before_and_after_is_no_chord() {
    let grip: &[i32] = &[46, 53, 58, 62];
    let strokes: Vec<(f64, &[i32])> = (0..8).map(|b| (3.0 + 0.5 * f64::from(b), grip)).chain([(7.0, &[][..])]).collect();
    let found = hear(&strummed(&strokes, 10.0), &Pins::default(), &|_| ()).unwrap().chords.unwrap();
    let names: Vec<&str> = found.iter().map(|c| c.harte.as_str()).collect();
    assert_eq!(names, ["N", "Bb:maj", "N"], "{found:#?}");
    assert!((found[1].start.0 - 3.0).abs() < 0.3 && (found[1].end.0 - 7.0).abs() < 0.5, "{found:#?}");
}
