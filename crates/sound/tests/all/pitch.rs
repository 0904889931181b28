//! Plucked pitch against equal temperament, over the whole neck, by a phase vocoder.

use crate::measure::*;

/// Place of a pitch on a guitar with 24 frets.
fn place(midi: u8) -> String {
    let (string, open) = [(6, 40), (5, 45), (4, 50), (3, 55), (2, 59), (1, 64)].into_iter().filter(|s| s.1 <= midi).last().unwrap();
    format!("{string}:{}", midi - open)
}

#[test]
fn every_note_from_e2_to_e6_is_within_a_cent() {
    let bars: Vec<String> = (40..=88).map(|m| format!("{} - - - . . . .", place(m))).collect();
    let v = once(&guitar(&bars.iter().map(String::as_str).collect::<Vec<_>>()));
    let mut worst = (0.0f64, 0);
    for (i, midi) in (40..=88u8).enumerate() {
        let exact = hz_of(f64::from(midi));
        let found = frequency(&v, 4.0 * i as f64 + 0.9, 0.25, 0.5, exact);
        let cents = 1200.0 * (found / exact).log2();
        if cents.abs() > worst.0.abs() {
            worst = (cents, midi);
        }
    }
    println!("worst {:.3} cents at {}", worst.0, worst.1);
    assert!(worst.0.abs() < 1.0, "MIDI {} is off by {:.2} cents", worst.1, worst.0);
}

/// A tempo is played, not stretched: pitch stays, and so does the length of an attack.
#[test]
fn pitch_is_the_same_at_every_tempo() {
    let p = guitar(&["5:0 - - - . . . ."]);
    for percent in [25, 60, 75, 90, 150, 200] {
        let r = render(&p, percent, false);
        let v = mono(&r.stems[0].1);
        let hz = frequency(&v, 0.45, 0.2, 0.1, 110.0);
        assert!((1200.0 * (hz / 110.0).log2()).abs() < 1.0, "{percent} %: {hz}");
    }
}

/// common practice: a bass sounds the written place, an octave under the guitar's lower strings; a capo raises all strings.
#[test]
fn basses_capos_and_tunings_sound_where_they_should() {
    let first = |head: &str, bar: &str| {
        once(&passage(&format!("tempo 60; meter \"4/4\"; slots 4\n part \"x\" {head} {{ bar \"{bar}\" }}")))
    };
    let at = |v: &[f32], midi: f64| 1200.0 * (frequency(v, 0.8, 0.3, 0.4, hz_of(midi)) / hz_of(midi)).log2();
    assert!(at(&first("instrument=\"bass\"", "4:0 - - ."), 28.0).abs() < 1.0);
    assert!(at(&first("instrument=\"bass\"", "1:7 - - ."), 50.0).abs() < 1.0);
    assert!(at(&first("instrument=\"guitar\" capo=3", "6:0 - - ."), 43.0).abs() < 1.0);
    assert!(at(&first("instrument=\"guitar\" tuning=\"drop D\"", "6:0 - - ."), 38.0).abs() < 1.0);
    assert!(at(&first("instrument=\"keys\"", "A4 - - ."), 69.0).abs() < 1.0);
    assert!(at(&first("instrument=\"horns\"", "A4 - - ."), 69.0).abs() < 1.0);
}
