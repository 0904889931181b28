//! Records that are no music, or hardly: a result that holds little and says so, or a clear error; never a panic, never a confident invention.

use hear::{Hearing, Keep, Pins, harmonic_percussive, hear, seat_filter, stereo_picture};
use std::f64::consts::TAU;
use wave::{Buffer, DecodeError, Limits};

const RATE_HZ: u32 = 44_100;

fn listen(buffer: &Buffer) -> Hearing {
    let heard = hear(buffer, &Pins::default(), &|_| ()).unwrap();
    check(&heard, buffer);
    heard
}

/// What must be true of every result.
fn check(h: &Hearing, buffer: &Buffer) {
    let unit = |c: f64| assert!((0.0..=1.0).contains(&c), "{h:?}");
    assert_eq!((h.rate_hz, h.channels), (buffer.rate_hz(), buffer.channel_count()));
    let end = buffer.duration().0 + 1.0;
    if let Some(p) = &h.pitch_reference {
        unit(p.confidence);
        assert!(p.hz.is_finite() && p.cents.abs() <= 50.0 && p.over_time.iter().all(|a| a.cents.is_finite()));
    }
    if let Some(t) = h.tempo {
        unit(t.confidence);
        assert!(t.bpm.is_finite() && t.bpm > 0.0 && t.drift_percent >= 0.0);
    }
    let beats = h.beats.as_deref().unwrap_or(&[]);
    assert!(beats.windows(2).all(|w| w[0].0 < w[1].0) && beats.iter().all(|b| (-1.0..=end).contains(&b.0)));
    assert!(h.bars.iter().flatten().all(|b| *b < beats.len()));
    if let Some(k) = &h.key {
        unit(k.confidence);
    }
    let chords = h.chords.as_deref().unwrap_or(&[]);
    assert!(chords.windows(2).all(|w| (w[0].end.0 - w[1].start.0).abs() < 1e-6) && chords.iter().all(|c| c.start.0 < c.end.0));
    chords.iter().for_each(|c| unit(c.confidence));
    let seats = h.seats.as_deref().unwrap_or(&[]);
    assert!(seats.iter().all(|s| (-1.0..=1.0).contains(&s.azimuth) && (0.0..=1.0).contains(&s.share)));
    assert!(seats.iter().map(|s| s.share).sum::<f64>() < 1.001);
}

/// How sure it is of beats, of a key and, over time, of chords.
fn sureness(h: &Hearing) -> [f64; 3] {
    let chords = h.chords.as_deref().unwrap_or(&[]);
    let named: f64 = chords.iter().filter(|c| c.harte != "N").map(|c| (c.end.0 - c.start.0) * c.confidence).sum();
    [h.tempo.map_or(0.0, |t| t.confidence), h.key.as_ref().map_or(0.0, |k| k.confidence), named / h.duration.0.max(0.01)]
}

fn assert_unsure(what: &str, h: &Hearing, most: [f64; 3]) {
    let sure = sureness(h);
    println!("{what}: sure of beats {:.2}, key {:.2}, chords {:.2}; pitch {:?}; {:?}", sure[0], sure[1], sure[2], h.pitch_reference.as_ref().map(|p| p.confidence), h.seats);
    for (found, most) in sure.iter().zip(most) {
        assert!(*found <= most, "{what}: {sure:?}");
    }
}

struct Noise(u32);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(self.0 >> 8) / 8_388_608.0 - 1.0
    }
}

fn made(rate_hz: u32, seconds: f64, mut sample: impl FnMut(f64) -> f64) -> Vec<f32> {
    (0..(seconds * f64::from(rate_hz)) as usize).map(|n| sample(n as f64 / f64::from(rate_hz)) as f32).collect()
}

/// A plain vamp of three chords with a bass, 120 beats a minute.
fn vamp(rate_hz: u32, seconds: f64) -> Vec<f32> {
    let chords = [[45.0, 57.0, 60.0, 64.0], [50.0, 57.0, 62.0, 65.0], [52.0, 56.0, 59.0, 64.0], [45.0, 57.0, 60.0, 64.0]];
    made(rate_hz, seconds, |t| {
        let (chord, since) = (chords[(t / 2.0) as usize % 4], t % 0.5);
        let string = |midi: f64| -> f64 {
            let hz = 440.0 * libm::exp2((midi - 69.0) / 12.0);
            (1..=6).filter(|h| hz * f64::from(*h) < f64::from(rate_hz) * 0.45).map(|h| libm::sin(TAU * hz * f64::from(h) * since) / f64::from(h)).sum()
        };
        0.08 * libm::exp(-4.0 * since) * chord.iter().map(|m| string(*m)).sum::<f64>()
    })
}

#[test]
fn silence_tells_nothing() {
    for (channels, frames) in [(1, 441_000), (2, 441_000), (2, 1), (2, 0)] {
        let h = listen(&Buffer::silence(RATE_HZ, channels, frames).unwrap());
        assert_eq!(sureness(&h), [0.0; 3], "{h:?}");
        assert!(h.pitch_reference.is_none() && h.beats.is_none() && h.key.is_none() && h.seats.is_none() && h.loudness_lufs.is_none());
    }
}

#[test]
fn noise_is_no_music() {
    let mut noise = Noise(3);
    let mono = made(RATE_HZ, 15.0, |_| 0.2 * noise.next());
    assert_unsure("white noise, mono", &listen(&Buffer::from_mono(RATE_HZ, mono).unwrap()), [0.3, 0.3, 0.3]);
    let both = [0, 1].map(|_| made(RATE_HZ, 15.0, |_| 0.2 * noise.next()));
    let h = listen(&Buffer::new(RATE_HZ, both.to_vec()).unwrap());
    assert_unsure("white noise, stereo", &h, [0.3, 0.3, 0.3]);
    assert!(h.seats.unwrap().is_empty());
}

#[test]
fn a_sine_is_a_pitch_and_no_more() {
    let sine = made(RATE_HZ, 15.0, |t| 0.3 * libm::sin(TAU * 440.0 * t));
    let h = listen(&Buffer::from_mono(RATE_HZ, sine).unwrap());
    assert!(h.pitch_reference.as_ref().is_none_or(|p| p.cents.abs() < 1.0));
    assert_unsure("a sine", &h, [0.3, 0.5, 0.5]);
}

#[test]
fn a_fifth_of_a_second_is_too_little() {
    for channels in [1, 2] {
        let h = listen(&Buffer::new(RATE_HZ, vec![vamp(RATE_HZ, 0.2); channels]).unwrap());
        assert!(h.beats.is_none() && h.bars.is_none() && h.tempo.is_none(), "{h:?}");
        assert_unsure("0.2 s", &h, [0.0, 0.5, 0.6]);
    }
}

#[test]
fn speech_like_sound_is_no_music() {
    // A buzz that glides and is cut into syllables of uneven length, through two resonances; hiss for some of them.
    let mut noise = Noise(11);
    let (mut phase, mut state) = (0.0f64, [[0.0f64; 2]; 2]);
    let (mut end, mut from_hz, mut to_hz, mut start, mut formants_hz, mut voiced) = (0.0, 110.0, 120.0, 0.0, [500.0, 1_500.0], true);
    let speech = made(RATE_HZ, 20.0, |t| {
        if t >= end {
            start = t;
            end = t + 0.12 + 0.11 * (noise.next() + 1.0);
            from_hz = to_hz;
            to_hz = 115.0 + 40.0 * noise.next();
            formants_hz = [500.0 + 220.0 * noise.next(), 1_600.0 + 600.0 * noise.next()];
            voiced = noise.next() > -0.6;
        }
        let along = (t - start) / (end - start);
        phase += (from_hz + (to_hz - from_hz) * along) / f64::from(RATE_HZ);
        let source = if voiced { 2.0 * (phase % 1.0) - 1.0 } else { 0.4 * noise.next() };
        let mut out = 0.0;
        for (s, hz) in state.iter_mut().zip(formants_hz) {
            let (r, turn) = (0.985, TAU * hz / f64::from(RATE_HZ));
            let y = (1.0 - r) * source + 2.0 * r * libm::cos(turn) * s[0] - r * r * s[1];
            *s = [y, s[0]];
            out += y;
        }
        0.5 * out * libm::sin(std::f64::consts::PI * along)
    });
    assert_unsure("speech-like", &listen(&Buffer::from_mono(RATE_HZ, speech).unwrap()), [0.3, 0.3, 0.3]);
}

#[test]
fn clipping_and_a_constant_offset_change_little() {
    let plain = vamp(RATE_HZ, 16.0);
    let cents = listen(&Buffer::from_mono(RATE_HZ, plain.clone()).unwrap()).pitch_reference.unwrap().cents;
    for (what, changed) in [
        ("clipped", plain.iter().map(|s| (s * 5.0).clamp(-1.0, 1.0)).collect::<Vec<f32>>()),
        ("offset", plain.iter().map(|s| s + 0.4).collect()),
    ] {
        let h = listen(&Buffer::from_mono(RATE_HZ, changed).unwrap());
        let off = h.pitch_reference.as_ref().map(|p| (p.cents - cents).abs());
        assert!(off.is_some_and(|o| o < 2.0), "{what}: {off:?}");
    }
}

#[test]
fn every_rate_and_number_of_channels_is_taken() {
    let at_44_khz = vamp(RATE_HZ, 10.0);
    let mono = listen(&Buffer::from_mono(RATE_HZ, at_44_khz.clone()).unwrap());
    assert!(mono.seats.is_none());
    let cents = mono.pitch_reference.unwrap().cents;
    for rate_hz in [8_000, 192_000] {
        let h = listen(&Buffer::new(rate_hz, vec![vamp(rate_hz, 10.0); 2]).unwrap());
        assert!((h.pitch_reference.as_ref().unwrap().cents - cents).abs() < 2.0, "{rate_hz}");
        assert_eq!(h.seats.as_ref().unwrap().len(), 1);
    }
    let eight = listen(&Buffer::new(RATE_HZ, vec![at_44_khz; 8]).unwrap());
    assert!(eight.seats.is_none() && (eight.pitch_reference.unwrap().cents - cents).abs() < 0.5);
}

#[test]
fn a_float_file_with_a_sample_that_is_no_number_is_an_error_that_says_where() {
    let mut bytes = wave::encode_wav_f32(&Buffer::from_mono(RATE_HZ, vamp(RATE_HZ, 2.0)).unwrap()).unwrap();
    let at = bytes.len() - 4 * 44_100;
    bytes[at..at + 4].copy_from_slice(&f32::NAN.to_le_bytes());
    let error = wave::decode(&bytes, None, &Limits::default()).unwrap_err();
    assert!(matches!(&error, DecodeError::Damaged { at: Some(at), .. } if (at.0 - 1.0).abs() < 0.01), "{error}");
    assert!(error.to_string().contains("not a finite number"), "{error}");
}

#[test]
fn what_takes_records_apart_stands_all_of_it_too() {
    for rate_hz in [8_000, 192_000] {
        for frames in [0, 1, 100, rate_hz as usize / 5] {
            let left: Vec<f32> = (0..frames).map(|n| libm::sinf(n as f32 * 0.3) * 5.0).collect();
            let right: Vec<f32> = (0..frames).map(|n| libm::sinf(n as f32 * 0.37)).collect();
            let buffer = Buffer::new(rate_hz, vec![left, right]).unwrap();
            let _ = (stereo_picture(&buffer), seat_filter(&buffer, -0.5, 0.1, Keep::Without, &|_| ()));
            let parts = harmonic_percussive(&buffer, &|_| ()).unwrap();
            assert_eq!((parts.harmonic.audio.frames(), parts.percussive.audio.frames()), (frames, frames));
        }
    }
    let mut noise = Noise(5);
    let mut broken = Buffer::new(RATE_HZ, vec![vamp(RATE_HZ, 1.0), made(RATE_HZ, 1.0, |_| 0.1 * noise.next())]).unwrap();
    broken.channel_mut(0)[1_000] = f32::NAN;
    broken.channel_mut(1)[2_000] = f32::INFINITY;
    let parts = harmonic_percussive(&broken, &|_| ()).unwrap();
    assert!(parts.percussive.audio.channels().iter().flatten().all(|s| s.is_finite()));
    let apart = seat_filter(&broken, -1.0, 0.3, Keep::Only, &|_| ()).unwrap();
    assert!(apart.audio.channels().iter().flatten().all(|s| s.is_finite()) && apart.quality.sdr_db <= hear::Quality::MOST_DB);
}
