//! What is no clean take of one guitar in the tuning that was said: each is told, and nothing falls over.

use std::f64::consts::TAU;
use take::{Settings, TakeError, Taken, Wishes, take};
use wave::Buffer;

const RATE: u32 = 22_050;

fn wishes() -> Wishes {
    let settings = Settings { instrument: neck::Instrument::guitar(), bass: false, hand: neck::Hand::usual(), name: "take".into() };
    Wishes { bpm: Some(100.0), from_s: Some(0.0), meter: None, settings }
}

fn taken(samples: Vec<f32>) -> Taken {
    take(&Buffer::new(RATE, vec![samples]).unwrap(), &wishes(), &|_| ()).unwrap()
}

fn said(t: &Taken, words: &str) -> bool {
    t.remarks.iter().any(|r| r.contains(words))
}

/// Plucked partials: (onset s, midi, loudness, seconds to a third).
fn plucked(notes: &[(f64, f64, f64, f64)], seconds: f64, rate: u32) -> Vec<f32> {
    let mut out = vec![0.0f32; (seconds * f64::from(rate)) as usize];
    for (on, midi, loud, fade) in notes {
        let hz = 440.0 * libm::exp2((midi - 69.0) / 12.0);
        let first = (on * f64::from(rate)) as usize;
        for (n, o) in out.iter_mut().enumerate().skip(first) {
            let t = n as f64 / f64::from(rate) - on;
            for k in (1..=12).map(f64::from).filter(|k| k * hz < 9_000.0) {
                *o += (loud / k * libm::exp(-t * (1.0 + 0.3 * k) / fade) * libm::sin(TAU * k * hz * t) * (t / 0.002).min(1.0)) as f32;
            }
        }
    }
    out
}

/// Chords on every beat of a bar, in semitones against standard tuning.
fn chords(off: f64) -> Vec<f32> {
    let chord = |on: f64, low: f64| [0.0, 7.0, 12.0, 16.0].map(|s| (on, low + s + off, 0.1, 0.3));
    let notes: Vec<_> = [0.0, 0.6, 1.2, 1.8, 2.4, 3.0].iter().zip([40.0, 45.0, 40.0, 43.0, 45.0, 40.0]).flat_map(|(t, m)| chord(*t, m)).collect();
    plucked(&notes, 3.8, RATE)
}

#[test]
fn a_clean_take_is_told_nothing() {
    let t = taken(chords(0.0));
    assert!(t.notes.len() >= 20 && t.remarks.is_empty(), "{} {:?}", t.notes.len(), t.remarks);
}

#[test]
fn silence_holds_nothing() {
    for n in [0, 1, 4410, 44_100] {
        let t = taken(vec![0.0; n]);
        assert!(t.notes.is_empty() && t.written.is_none() && said(&t, "nothing was heard"), "{:?}", t.remarks);
    }
}

#[test]
fn a_guitar_a_semitone_down_is_offered_its_tuning() {
    let t = taken(chords(-1.0));
    assert!(said(&t, "half step down"), "{:?}", t.remarks);
    let instrument = neck::Instrument { tuning: neck::Tuning::guitar("half step down", 6).unwrap(), ..neck::Instrument::guitar() };
    let wishes = Wishes { settings: Settings { instrument, ..wishes().settings }, ..wishes() };
    let again = take(&Buffer::new(RATE, vec![chords(-1.0)]).unwrap(), &wishes, &|_| ()).unwrap();
    assert!(again.notes.iter().any(|n| n.midi.0 == 39) && !said(&again, "half step down"), "{:?}", again.remarks);
    assert!(again.written.unwrap().part.contains("tuning=\"half step down\""));
}

#[test]
fn a_quarter_of_a_semitone_is_counted_from() {
    let t = taken(chords(-0.25));
    assert!(said(&t, "25 cents low") || said(&t, "24 cents low") || said(&t, "26 cents low"), "{:?}", t.remarks);
    assert!(t.notes.iter().filter(|n| n.midi.0 == 40).count() >= 2);
}

#[test]
fn heavy_distortion_is_called_a_guess() {
    let driven: Vec<f32> = chords(0.0).iter().map(|s| 0.3 * libm::tanhf(60.0 * s)).collect();
    let t = taken(driven);
    assert!(said(&t, "driven hard"), "{:?}", t.remarks);
    assert!(t.written.is_none_or(|w| w.doubtful_bars == w.bars));
}

#[test]
fn a_band_is_more_than_one_instrument() {
    let mut band = chords(0.0);
    let bass: Vec<_> = (0..12).map(|i| (f64::from(i) * 0.3, [28.0, 33.0, 28.0, 31.0][i as usize / 2 % 4], 0.4, 0.5)).collect();
    for (o, b) in band.iter_mut().zip(plucked(&bass, 3.8, RATE)) {
        *o += b;
    }
    let t = taken(band);
    assert!(said(&t, "more than one instrument"), "{:?}", t.remarks);
}

/// Voiced syllables with a gliding pitch, through two moving resonances.
fn speech() -> Vec<f32> {
    let rate = f64::from(RATE);
    let (mut phase, mut states) = (0.0f64, [[0.0f64; 2]; 2]);
    (0..4 * RATE)
        .map(|n| {
            let t = f64::from(n) / rate;
            let syllable = (t / 0.21).floor();
            let inside = t / 0.21 - syllable;
            let hz = 118.0 + 24.0 * libm::sin(1.7 * syllable) + 22.0 * (0.5 - inside) + 6.0 * libm::sin(TAU * 3.1 * t);
            phase += hz / rate;
            if phase >= 1.0 {
                phase -= 1.0;
            }
            let mut y = (2.0 * phase - 1.0) * libm::sin(std::f64::consts::PI * inside).max(0.0) * 0.05;
            for (s, f) in states.iter_mut().zip([500.0 + 250.0 * libm::sin(2.3 * syllable), 1500.0 + 600.0 * libm::cos(1.1 * syllable)]) {
                let (r, w) = (libm::exp(-std::f64::consts::PI * 90.0 / rate), TAU * f / rate);
                let out = y * (1.0 - r) * 4.0 + 2.0 * r * libm::cos(w) * s[0] - r * r * s[1];
                (s[1], s[0]) = (s[0], out);
                y = out;
            }
            y as f32
        })
        .collect()
}

#[test]
fn speech_is_no_guitar() {
    let t = taken(speech());
    assert!(said(&t, "hardly sounds like one clean guitar") || said(&t, "nothing was heard"), "{} {:?}", t.notes.len(), t.remarks);
}

#[test]
fn odd_rates_and_channels() {
    let short = plucked(&[(0.0, 57.0, 0.2, 0.4)], 0.2, RATE);
    taken(short);
    let fast = plucked(&[(0.1, 57.0, 0.2, 0.4)], 0.7, 192_000);
    let t = take(&Buffer::new(192_000, vec![fast; 8]).unwrap(), &wishes(), &|_| ()).unwrap();
    assert_eq!(t.notes.iter().map(|n| n.midi.0).collect::<Vec<_>>(), [57]);
    assert!((t.notes[0].onset_s - 0.1).abs() < 0.02);
    // What is no number does not come this far.
    assert!(Buffer::new(RATE, vec![vec![0.0, f32::NAN]]).is_err());
    let slow = Buffer::new(2000, vec![vec![0.1; 4000]]).unwrap();
    assert!(matches!(take(&slow, &wishes(), &|_| ()), Err(TakeError::Hear(_))));
}
