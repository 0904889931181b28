//! What is written is read back: the same samples, the same length, the same place in time, and no seam in a loop.

use wave::{
    Buffer, Limits, Seam, decode, encode_flac16, encode_ogg_opus, encode_ogg_opus_with,
    encode_wav_f32, encode_wav16,
};

const RATE_HZ: u32 = 48_000;

/// Deterministic noise, −1 to 1.
fn noise(seed: u32) -> impl Iterator<Item = f32> {
    let mut state = seed;
    std::iter::repeat_with(move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as f32 / 8_388_608.0 - 1.0
    })
}

fn again(bytes: &[u8]) -> Buffer {
    decode(bytes, None, &Limits::default()).unwrap()
}

#[test]
fn lossless_files_hold_the_samples() {
    for (channels, frames) in [(1, 1), (2, 4_096), (2, 4_097), (6, 10_000), (1, 47_999)] {
        let planes = (0..channels)
            .map(|c| noise(c as u32).take(frames).map(|s| s * 0.9).collect())
            .collect();
        let buffer = Buffer::new(44_100, planes).unwrap();
        assert_eq!(again(&encode_wav_f32(&buffer).unwrap()), buffer);
        let rounded = again(&encode_wav16(&buffer).unwrap());
        for (a, b) in rounded
            .channels()
            .iter()
            .flatten()
            .zip(buffer.channels().iter().flatten())
        {
            assert!((a - b).abs() <= 0.5 / 32_768.0);
        }
        assert_eq!(
            again(&encode_flac16(&buffer).unwrap()),
            rounded,
            "{channels} channels, {frames} frames"
        );
    }
}

#[test]
fn flac_packs_music_into_less_than_wav() {
    let samples = (0..RATE_HZ)
        .map(|n| 0.5 * libm::sinf(n as f32 * 0.05))
        .collect();
    let buffer = Buffer::from_mono(RATE_HZ, samples).unwrap();
    assert!(encode_flac16(&buffer).unwrap().len() < RATE_HZ as usize);
}

#[test]
fn opus_length_is_exact() {
    for frames in [1, 647, 648, 649, 959, 960, 961, 5_000, 48_000, 100_003] {
        for (channels, seam) in [
            (1, Seam::Once),
            (2, Seam::Once),
            (1, Seam::Loop),
            (2, Seam::Loop),
        ] {
            let planes = (0..channels)
                .map(|c| noise(c).take(frames).map(|s| s * 0.3).collect())
                .collect();
            let buffer = Buffer::new(RATE_HZ, planes).unwrap();
            let decoded = again(&encode_ogg_opus_with(&buffer, 96_000, seam).unwrap());
            assert_eq!(
                (decoded.frames(), decoded.channel_count()),
                (frames, channels as usize),
                "{seam:?}"
            );
        }
    }
}

#[test]
fn opus_at_another_rate_is_resampled() {
    let decoded =
        again(&encode_ogg_opus(&Buffer::silence(44_100, 2, 44_100).unwrap(), 64_000).unwrap());
    assert_eq!((decoded.rate_hz(), decoded.frames()), (48_000, 48_000));
}

/// Plucks: sharp beginnings, decaying, over one bar of a loop; the tail of the last one runs on into the first.
fn looped_plucks(frames: usize) -> Buffer {
    let mut samples = vec![0.0f64; frames];
    for (k, hz) in [110.0, 164.81, 220.0, 246.94, 329.63, 110.0]
        .iter()
        .enumerate()
    {
        let start = frames * k / 6;
        for n in 0..frames {
            let t = n as f64 / f64::from(RATE_HZ);
            let mut s = 0.0;
            for harmonic in 1..12 {
                let h = f64::from(harmonic);
                s += libm::exp(-t * (1.5 + h)) * libm::sin(std::f64::consts::TAU * hz * h * t) / h;
            }
            samples[(start + n) % frames] += 0.2 * s;
        }
    }
    Buffer::from_mono(RATE_HZ, samples.iter().map(|s| *s as f32).collect()).unwrap()
}

/// Level of the coding error in the frames around the seam, and anywhere else, in dB over full scale.
fn errors(buffer: &Buffer, decoded: &Buffer) -> (f64, f64) {
    let (want, got) = (buffer.channel(0), decoded.channel(0));
    let len = want.len();
    let power = |range: &mut dyn Iterator<Item = usize>| {
        let (mut sum, mut count) = (0.0, 0);
        for n in range {
            sum += f64::from(want[n % len] - got[n % len]).powi(2);
            count += 1;
        }
        10.0 * libm::log10(sum / f64::from(count) + 1e-20)
    };
    (
        power(&mut (len - 240..len + 240)),
        power(&mut (240..len - 240)),
    )
}

#[test]
fn opus_is_in_place() {
    let buffer = looped_plucks(96_000);
    let decoded = again(&encode_ogg_opus(&buffer, 96_000).unwrap());
    let (want, got) = (buffer.channel(0), decoded.channel(0));
    let likeness = |lag: i64| -> f64 {
        (1_000..95_000)
            .map(|n| f64::from(want[n]) * f64::from(got[(n as i64 + lag) as usize]))
            .sum()
    };
    let best = (-500..500).max_by(|a, b| likeness(*a).total_cmp(&likeness(*b)));
    assert_eq!(best, Some(0));
    let (_, elsewhere) = errors(&buffer, &decoded);
    assert!(elsewhere < -44.0, "{elsewhere} dB");
}

/// Notes that sound through the seam at full level: whole numbers of periods in the loop.
fn looped_chord(frames: usize) -> Buffer {
    let sample = |n: usize| -> f64 {
        let turn = std::f64::consts::TAU * n as f64 / frames as f64;
        [220.0, 277.0, 330.0, 660.0, 1_109.0, 2_217.0]
            .iter()
            .map(|k| libm::cos(turn * k) / libm::sqrt(*k))
            .sum()
    };
    Buffer::from_mono(
        RATE_HZ,
        (0..frames).map(|n| sample(n) as f32 * 2.0).collect(),
    )
    .unwrap()
}

#[test]
fn an_opus_loop_is_as_good_at_its_seam_as_elsewhere() {
    for (name, buffer) in [
        ("plucks", looped_plucks(96_000)),
        ("chord", looped_chord(48_000)),
    ] {
        for bitrate_bps in [48_000, 96_000] {
            let decoded = again(&encode_ogg_opus_with(&buffer, bitrate_bps, Seam::Loop).unwrap());
            let (seam, elsewhere) = errors(&buffer, &decoded);
            println!("{name} {bitrate_bps}: {seam:.1} dB at the seam, {elsewhere:.1} dB elsewhere");
            // The error of 10 ms of a steady chord lies up to 5 dB from its own average.
            assert!(
                seam < elsewhere + 6.0,
                "{name} {bitrate_bps}: {seam:.1} dB at the seam, {elsewhere:.1} dB elsewhere"
            );
        }
    }
}

/// Frames that the player throws away, made audible by a header that skips the encoder's delay alone: a loop hears its own end there.
#[test]
fn before_a_loop_comes_its_end() {
    let buffer = looped_chord(48_000);
    for (seam, want) in [(Seam::Loop, 1.0), (Seam::Once, 0.0)] {
        let mut bytes = encode_ogg_opus_with(&buffer, 96_000, seam).unwrap();
        let head = bytes.windows(8).position(|w| w == b"OpusHead").unwrap();
        assert_eq!(
            u16::from_le_bytes([bytes[head + 10], bytes[head + 11]]),
            3_840 + 120
        );
        bytes[head + 10..head + 12].copy_from_slice(&120u16.to_le_bytes());
        mend_first_page(&mut bytes);
        let decoded = again(&bytes);
        let (got, end) = (
            &decoded.channel(0)[1_920..3_840],
            &buffer.channel(0)[46_080..],
        );
        let dot = |a: &[f32], b: &[f32]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f32>();
        let share = dot(got, end) / dot(end, end);
        assert!((share - want).abs() < 0.05, "{seam:?}: {share}");
    }
}

/// Puts the first page's checksum right (RFC 3533 section 6).
fn mend_first_page(bytes: &mut [u8]) {
    let end = 28 + usize::from(bytes[27]);
    bytes[22..26].fill(0);
    let crc = bytes[..end].iter().fold(0u32, |crc, b| {
        (0..8).fold(crc ^ u32::from(*b) << 24, |c, _| {
            c << 1 ^ if c >> 31 == 1 { 0x04c1_1db7 } else { 0 }
        })
    });
    bytes[22..26].copy_from_slice(&crc.to_le_bytes());
}

/// One run of the encoder gives what two would.
#[test]
fn a_loop_as_two_files() {
    for length in [47_999, 48_000, 400] {
        let buffer = looped_chord(length);
        let (plain, overlapping) = wave::encode_ogg_opus_loop(&buffer, 64_000, 480).unwrap();
        assert!(plain == encode_ogg_opus_with(&buffer, 64_000, Seam::Loop).unwrap());
        let seam = Seam::Overlap {
            overlap_frames: 480,
        };
        assert!(overlapping == encode_ogg_opus_with(&buffer, 64_000, seam).unwrap());
        assert_eq!(again(&plain).frames(), length);
        assert_eq!(again(&overlapping).frames(), length + 480.min(length));
    }
    assert!(wave::encode_ogg_opus_loop(&looped_chord(9), 1, 480).is_err());
}

/// Faded as the documentation says, the last frame and the first one meet as any two neighbours do.
#[test]
fn an_overlap_takes_the_step_out_of_the_seam() {
    let (length, overlap) = (48_000, 480);
    let buffer = looped_chord(length);
    let bytes = encode_ogg_opus_with(
        &buffer,
        48_000,
        Seam::Overlap {
            overlap_frames: overlap,
        },
    )
    .unwrap();
    let decoded = again(&bytes);
    assert_eq!(decoded.frames(), length + overlap);
    let mut x = decoded.channel(0).to_vec();
    for n in 0..overlap {
        let share = n as f32 / overlap as f32;
        x[n] = x[n] * share + x[length + n] * (1.0 - share);
    }
    x.truncate(length);
    let error = |n: usize| x[n % length] - buffer.channel(0)[n % length];
    let step = |n: usize| (error(n + 1) - error(n)).abs();
    let most = (0..length - 1).map(step).fold(0.0, f32::max);
    assert!(
        step(length - 1) <= most,
        "{} at the seam, {most} at most elsewhere",
        step(length - 1)
    );
    let plain = |n: usize| decoded.channel(0)[n] - buffer.channel(0)[n];
    println!(
        "step of the error at the seam: {} faded, {} plain",
        step(length - 1),
        (plain(0) - plain(length - 1)).abs()
    );
}

#[test]
fn the_same_bytes_twice() {
    let buffer = looped_plucks(30_000);
    let all = || {
        (
            encode_wav16(&buffer).unwrap(),
            encode_flac16(&buffer).unwrap(),
            encode_ogg_opus_with(&buffer, 64_000, Seam::Loop).unwrap(),
        )
    };
    assert_eq!(all(), all());
}

#[test]
fn samples_that_are_not_numbers_do_no_harm() {
    let mut buffer = Buffer::silence(RATE_HZ, 1, 5_000).unwrap();
    for (n, s) in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 1e30, -1e30]
        .into_iter()
        .enumerate()
    {
        buffer.channel_mut(0)[1_000 * n] = s;
    }
    for bytes in [
        encode_wav16(&buffer).unwrap(),
        encode_flac16(&buffer).unwrap(),
        encode_ogg_opus(&buffer, 64_000).unwrap(),
    ] {
        assert_eq!(again(&bytes).frames(), 5_000);
    }
    wave::stretch(&buffer, 1.5).unwrap();
    wave::loudness(&buffer);
    wave::gain_curve(&buffer, -1.0);
    let _ = wave::resample(&buffer, 44_100);
}
