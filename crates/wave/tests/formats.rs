//! Every format that can be read, from files made by other encoders (`data/make.py`): rate, channels, length and place in time.

use wave::{Buffer, Limits, decode};

/// The signal of `data/make.py`.
fn sample(n: usize, rate_hz: u32) -> f64 {
    let t = n as f64 / f64::from(rate_hz);
    let mut s = 0.0;
    for (start, hz) in [(0.05, 440.0), (0.17, 659.0), (0.31, 330.0)] {
        if t >= start {
            s += 0.5
                * libm::exp(-40.0 * (t - start))
                * libm::sin(std::f64::consts::TAU * hz * (t - start));
        }
    }
    s + if n as f64 == (0.25 * f64::from(rate_hz)).round() {
        0.4
    } else {
        0.0
    }
}

fn read(name: &str) -> Buffer {
    let path = format!("{}/tests/data/{name}", env!("CARGO_MANIFEST_DIR"));
    let bytes = std::fs::read(path).unwrap();
    decode(&bytes, None, &Limits::default()).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// By how many frames the decoded sound is late, and how alike it is to the signal there (1: the same shape).
fn lag(buffer: &Buffer) -> (i64, f64) {
    let decoded = buffer.channel(0);
    let want: Vec<f64> = (0..decoded.len())
        .map(|n| sample(n, buffer.rate_hz()))
        .collect();
    let energy = |x: &mut dyn Iterator<Item = f64>| x.map(|v| v * v).sum::<f64>();
    let norm = libm::sqrt(
        energy(&mut want.iter().copied()) * energy(&mut decoded.iter().map(|s| f64::from(*s))),
    );
    (-3_000i64..=3_000)
        .map(|lag| {
            let sum: f64 = want
                .iter()
                .enumerate()
                .filter_map(|(n, w)| {
                    Some(w * f64::from(*decoded.get(usize::try_from(n as i64 + lag).ok()?)?))
                })
                .sum();
            (lag, sum / norm)
        })
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap()
}

#[test]
fn lossy_formats_begin_and_end_where_the_sound_did() {
    // The signal has 0.4 s: 17640 frames at 44.1 kHz, 19200 at 48 kHz. ffmpeg's AAC ends on a block.
    for (name, rate_hz, frames) in [
        ("lame.mp3", 44_100, 17_640..=17_640),
        ("aac.m4a", 44_100, 17_640..=17_640),
        ("front.m4a", 44_100, 17_640..=17_640),
        ("vorbis.ogg", 44_100, 17_640..=17_640),
        ("ffmpeg.opus", 48_000, 19_200..=19_200),
        ("opusenc.opus", 48_000, 19_200..=19_200),
    ] {
        let buffer = read(name);
        let (late, likeness) = lag(&buffer);
        println!(
            "{name}: {} frames, {late} late, {likeness:.4}",
            buffer.frames()
        );
        assert_eq!(
            (buffer.rate_hz(), buffer.channel_count()),
            (rate_hz, 2),
            "{name}"
        );
        assert!(
            frames.contains(&buffer.frames()),
            "{name}: {} frames",
            buffer.frames()
        );
        assert_eq!(late, 0, "{name}");
        assert!(likeness > 0.97, "{name}: {likeness}");
        // The right channel is half the left one.
        let ratio = buffer.slice_frames(7_000..9_000);
        let (left, right) = (ratio.channel(0), ratio.channel(1));
        let dot = |a: &[f32], b: &[f32]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f32>();
        assert!(
            (dot(left, right) / dot(left, left) - 0.5).abs() < 0.05,
            "{name}"
        );
    }
}

/// Without a tag nothing says where the sound begins: it is left as it comes, late by the encoder's and decoder's delay.
#[test]
fn formats_that_do_not_say_are_left_alone() {
    let (late, likeness) = lag(&read("untagged.mp3"));
    assert!(
        (1_000..1_300).contains(&late) && likeness > 0.97,
        "{late} {likeness}"
    );
    let (late, likeness) = lag(&read("adts.aac"));
    assert_eq!(late, 1_024);
    assert!(likeness > 0.97);
}

#[test]
fn lossless_formats_are_exact() {
    for (name, step) in [
        ("u8.wav", 1.0 / 128.0),
        ("s16.wav", 1.0 / 32_768.0),
        ("rf64.wav", 1.0 / 32_768.0),
        ("streamed.wav", 1.0 / 32_768.0),
        ("s16.flac", 1.0 / 32_768.0),
        ("flac.oga", 1.0 / 32_768.0),
        ("alac.m4a", 1.0 / 32_768.0),
        ("s24.wav", 1.0 / 8_388_608.0),
        ("s24.flac", 1.0 / 8_388_608.0),
        ("s32.wav", 1.0 / 8_388_608.0),
        ("f32.wav", 1.0 / 8_388_608.0),
        ("f64.wav", 1.0 / 8_388_608.0),
    ] {
        let buffer = read(name);
        assert_eq!(
            (buffer.rate_hz(), buffer.channel_count(), buffer.frames()),
            (8_000, 1, 800),
            "{name}"
        );
        for (n, s) in buffer.channel(0).iter().enumerate() {
            let off = (f64::from(*s) - sample(n, 8_000)).abs();
            // ffmpeg rounds or cuts off: at most one step.
            assert!(off <= step * 1.01 + 1e-7, "{name}: frame {n} is {off} off");
        }
    }
}

#[test]
fn other_wav_codings_are_near() {
    for (name, most) in [("alaw.wav", 0.005), ("adpcm.wav", 0.04)] {
        let buffer = read(name);
        assert_eq!(buffer.rate_hz(), 8_000, "{name}");
        let power = (0..800)
            .map(|n| (f64::from(buffer.channel(0)[n]) - sample(n, 8_000)).powi(2))
            .sum::<f64>()
            / 800.0;
        assert!(
            libm::sqrt(power) < most,
            "{name}: {} off on average",
            libm::sqrt(power)
        );
    }
}
