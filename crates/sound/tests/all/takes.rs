//! The teacher's own audio: cut, lined up, stretched, levelled.

use crate::measure::*;
use sound::{Fault, Options, Takes};
use wave::Buffer;

/// A knock every half second from `first_s` on, `count` times, at another rate than ours.
fn knocks(first_s: f64, count: usize, length_s: f64) -> Buffer {
    let rate = 44_100.0;
    let mut v = vec![0.0f32; (length_s * rate) as usize];
    for k in 0..count {
        let at = ((first_s + 0.5 * k as f64) * rate) as usize;
        for n in 0..2000 {
            if let Some(s) = v.get_mut(at + n) {
                let t = n as f64 / rate;
                *s += (0.5 * (t * 900.0 * std::f64::consts::TAU).sin() * (-t / 0.006).exp()) as f32;
            }
        }
    }
    Buffer::from_mono(44_100, v).unwrap()
}

fn play(take: &str, file: Buffer, percent: u32) -> Result<Vec<f32>, Fault> {
    let p = passage(&format!("tempo 120; meter \"4/4\"; slots 4\n part \"g\" instrument=\"guitar\" {{ take \"t.wav\" {take}\n bar \"5:3 5:3 5:3 5:3\"\n bar \"5:3 5:3 5:3 5:3\" }}"));
    sound::render(&p, &Options { tempo_percent: percent, looped: true }, &Takes::from([(0, file)]), &|_| ()).map(|r| mono(&r.stems[0].1))
}

fn assert_beats(v: &[f32], beat_s: f64) {
    let found = onsets(v);
    for k in 1..8 {
        let t = beat_s * f64::from(k);
        assert!(found.iter().any(|f| (f - t).abs() < 0.012), "{t}: {found:?}");
    }
}

#[test]
fn a_take_is_lined_up_at_every_tempo() {
    for percent in [100, 75, 60] {
        let beat = 0.5 * 100.0 / f64::from(percent);
        let given = play("from=\"0:01.30\" to=\"0:05.30\"", knocks(1.3, 8, 7.0), percent).unwrap();
        assert_eq!(given.len(), (8.0 * beat * 48_000.0).round() as usize);
        assert_beats(&given, beat);
        let found = play("", knocks(0.83, 8, 7.0), percent).unwrap();
        assert_beats(&found, beat);
    }
}

/// A take that was played a little slow is brought to the passage's length.
#[test]
fn a_take_is_stretched_to_the_passage() {
    let mut slow = knocks(0.0, 9, 5.0);
    slow = wave::stretch(&slow, 1.1).unwrap();
    let v = play("from=\"0:00.00\" to=\"0:04.40\"", slow, 100).unwrap();
    assert_beats(&v, 0.5);
}

#[test]
fn without_its_file_the_part_is_synthesised() {
    let p = passage("tempo 120; meter \"4/4\"; slots 4\n part \"g\" instrument=\"guitar\" { take \"t.wav\"; bar \"5:3 5:3 5:3 5:3\" }");
    assert!(db(&mono(&render(&p, 100, true).mix), 0.0, 0.4) > -40.0);
}

#[test]
fn takes_that_cannot_fit_are_refused() {
    let says = |take: &str, file: Buffer| play(take, file, 100).unwrap_err().to_string();
    let late = says("from=\"0:09.00\"", knocks(0.0, 8, 5.0));
    assert!(late.contains("t.wav") && late.contains("5.00 s long") && late.contains("9.00 s"), "{late}");
    let short = says("from=\"0:00.00\" to=\"0:00.20\"", knocks(0.0, 8, 5.0));
    assert!(short.contains("factor"), "{short}");
    let past = says("from=\"0:01.00\" to=\"0:09.00\"", knocks(0.0, 8, 5.0));
    assert!(past.contains("end at 9.00 s"), "{past}");
    assert!(play("", Buffer::silence(48_000, 2, 240_000).unwrap(), 100).is_ok());
    assert!(play("", Buffer::silence(48_000, 2, 0).unwrap(), 100).is_err());
}

/// Whatever the file's rate and channels: the same strokes at the same places, and as loud.
#[test]
fn rates_and_channels_do_not_matter() {
    let plain = knocks(1.3, 8, 7.0);
    let given = |file: Buffer| play("from=\"0:01.30\" to=\"0:05.30\"", file, 100).unwrap();
    let loud = db(&given(plain.clone()), 0.0, 4.0);
    for rate in [8_000, 48_000, 96_000] {
        let v = given(wave::resample(&plain, rate).unwrap());
        assert_beats(&v, 0.5);
        assert!((db(&v, 0.0, 4.0) - loud).abs() < 1.0, "{rate} Hz");
    }
    let c = plain.channel(0);
    let quiet: Vec<f32> = c.iter().map(|s| 0.2 * s).collect();
    let v = given(Buffer::new(44_100, vec![c.to_vec(), quiet]).unwrap());
    assert_beats(&v, 0.5);
    assert!((db(&v, 0.0, 4.0) - loud).abs() < 0.5, "stereo");
}

/// The file ends in the passage: what it has is where it belongs, and the rest is silent.
#[test]
fn a_take_shorter_than_the_passage_leaves_the_rest_silent() {
    let whole = play("from=\"0:01.00\"", knocks(1.0, 8, 7.0), 100).unwrap();
    let v = play("from=\"0:01.00\"", knocks(1.0, 8, 3.2), 100).unwrap();
    assert_eq!(v.len(), whole.len());
    let found = onsets(&v);
    assert!([0.5, 1.0, 1.5, 2.0].iter().all(|t| found.iter().any(|f| (f - t).abs() < 0.012)), "{found:?}");
    assert!(db(&whole, 3.4, 3.9) > db(&v, 3.4, 3.9) + 60.0, "{} {}", db(&whole, 3.4, 3.9), db(&v, 3.4, 3.9));
    // One frame of sound is hardly a take, and no reason to stumble.
    let v = play("", Buffer::from_mono(44_100, vec![0.5]).unwrap(), 75).unwrap();
    assert!(v.iter().all(|s| s.is_finite()));
}

/// Times that no lesson file can hold are refused all the same.
#[test]
fn times_that_make_no_sense_are_refused() {
    let text = "tempo 120; meter \"4/4\"; slots 4\n part \"g\" instrument=\"guitar\" { take \"t.wav\"\n bar \"5:3 5:3 5:3 5:3\" }";
    let nan = f64::NAN;
    for (from_s, to_s) in [(Some(3.0), Some(2.0)), (Some(1.0), Some(1.0)), (Some(nan), None), (Some(0.0), Some(nan)), (None, Some(-5.0)), (Some(-1e300), None), (Some(f64::INFINITY), None)] {
        let mut p = passage(text);
        let take = p.parts[0].take.as_mut().unwrap();
        (take.from_s, take.to_s) = (from_s, to_s);
        let fault = sound::render(&p, &Options::default(), &Takes::from([(0, knocks(0.0, 8, 5.0))]), &|_| ()).unwrap_err();
        assert!(matches!(&fault, Fault::Take { file, .. } if file == "t.wav"), "{fault}");
    }
}

/// The take's last sound rings into the loop's beginning, and not into the first round.
#[test]
fn the_first_round_of_a_take_begins_from_silence() {
    let mut file = knocks(1.0, 8, 7.0);
    // Something that goes on past the last bar.
    let hum: Vec<f32> = (0..file.frames()).map(|n| (0.05 * (n as f64 / 44_100.0 * 300.0 * std::f64::consts::TAU).sin()) as f32).collect();
    let from = (4.6 * 44_100.0) as usize;
    file.channel_mut(0)[from..].iter_mut().zip(&hum[from..]).for_each(|(s, h)| *s += h);
    let p = passage("tempo 120; meter \"4/4\"; slots 4\n part \"g\" instrument=\"guitar\" { take \"t.wav\" from=\"0:00.90\" to=\"0:04.90\"\n bar \"5:3 5:3 5:3 5:3\"\n bar \"5:3 5:3 5:3 5:3\" }");
    let r = sound::render(&p, &Options::default(), &Takes::from([(0, file)]), &|_| ()).unwrap();
    let (head, looped) = (mono(&r.heads[0].1), mono(&r.stems[0].1));
    assert!(db(&head, 0.0, 0.08) < db(&looped, 0.0, 0.08) - 30.0, "{} {}", db(&head, 0.0, 0.08), db(&looped, 0.0, 0.08));
    assert!((db(&head, 0.1, 0.15) - db(&looped, 0.1, 0.15)).abs() < 1.5, "the first stroke is there");
}
