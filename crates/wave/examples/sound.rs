//! The crate from the command line, for checks by other programs: reads a sound file, does one thing, writes another.
//!
//! `sound encode IN OUT.{wav,f32.wav,flac,opus} [BITS_PER_SECOND [loop]]`, `sound resample IN OUT.wav HZ`, `sound stretch IN OUT.wav RATIO [CENTS]`, `sound loudness IN`,
//! `sound digest`: hashes of everything this crate writes for a fixed signal, the same on every machine.

use wave::{Buffer, Limits, Seam, StretchConfig};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    match args[..] {
        ["encode", from, to, ref rest @ ..] => {
            let buffer = read(from)?;
            let bits = rest.first().map_or(Ok(96_000), |b| b.parse())?;
            let seam = if rest.get(1) == Some(&"loop") {
                Seam::Loop
            } else {
                Seam::Once
            };
            let bytes = match to {
                t if t.ends_with(".f32.wav") => wave::encode_wav_f32(&buffer)?,
                t if t.ends_with(".wav") => wave::encode_wav16(&buffer)?,
                t if t.ends_with(".flac") => wave::encode_flac16(&buffer)?,
                _ => wave::encode_ogg_opus_with(&buffer, bits, seam)?,
            };
            std::fs::write(to, bytes)?;
        }
        ["resample", from, to, hz] => {
            std::fs::write(
                to,
                wave::encode_wav_f32(&wave::resample(&read(from)?, hz.parse()?)?)?,
            )?;
        }
        ["stretch", from, to, ratio, ref rest @ ..] => {
            let cents = rest.first().map_or(Ok(0.0), |c| c.parse())?;
            let config = StretchConfig {
                ratio: ratio.parse()?,
                cents,
            };
            std::fs::write(
                to,
                wave::encode_wav_f32(&wave::stretch_with(&read(from)?, &config)?)?,
            )?;
        }
        ["loudness", from] => {
            let l = wave::loudness(&read(from)?);
            let show = |v: Option<f64>| v.map_or("none".to_owned(), |v| format!("{v:.3}"));
            println!("integrated {}", show(l.integrated_lufs));
            println!("momentary {}", show(l.momentary_max_lufs));
            println!("short-term {}", show(l.short_term_max_lufs));
            println!("true-peak {}", show(l.true_peak_dbtp));
        }
        ["digest"] => digest()?,
        _ => return Err("see the head of this file for what can be asked".into()),
    }
    Ok(())
}

fn read(path: &str) -> Result<Buffer, Box<dyn std::error::Error>> {
    Ok(wave::decode(
        &std::fs::read(path)?,
        None,
        &Limits::default(),
    )?)
}

/// Three seconds of stereo: plucked tones, noise and clicks.
fn signal() -> Result<Buffer, Box<dyn std::error::Error>> {
    let mut state = 1u32;
    let (mut left, mut right) = (Vec::new(), Vec::new());
    for n in 0..132_300 {
        let t = f64::from(n % 22_050) / 44_100.0;
        let tone: f64 = (1..20)
            .map(|h| {
                libm::exp(-3.0 * t * f64::from(h)) * libm::sin(f64::from(h) * 1_382.3 * t)
                    / f64::from(h)
            })
            .sum();
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let noise = f64::from(state >> 8) / 8_388_608.0 - 1.0;
        let click = if n % 11_025 == 0 { 0.3 } else { 0.0 };
        left.push((0.4 * tone + 0.02 * noise + click) as f32);
        right.push((0.2 * tone - 0.03 * noise) as f32);
    }
    Ok(Buffer::new(44_100, vec![left, right])?)
}

fn digest() -> Result<(), Box<dyn std::error::Error>> {
    let signal = signal()?;
    let resampled = wave::resample(&signal, 48_000)?;
    let floats = |b: &Buffer| {
        b.interleaved()
            .iter()
            .flat_map(|s| s.to_bits().to_le_bytes())
            .collect::<Vec<u8>>()
    };
    let show = |name: &str, bytes: &[u8]| {
        // FNV-1a.
        let hash = bytes.iter().fold(0xcbf2_9ce4_8422_2325u64, |h, b| {
            (h ^ u64::from(*b)).wrapping_mul(0x0100_0000_01b3)
        });
        println!("{name:<12} {hash:016x} {}", bytes.len());
    };
    show("signal", &floats(&signal));
    show("resample", &floats(&resampled));
    show("stretch", &floats(&wave::stretch(&signal, 1.0 / 0.6)?));
    show("stretch3", &floats(&wave::stretch(&signal, 3.0)?));
    show(
        "shift",
        &floats(&wave::stretch_with(
            &signal,
            &StretchConfig {
                ratio: 1.0,
                cents: 37.0,
            },
        )?),
    );
    let opus = wave::encode_ogg_opus_with(&resampled, 96_000, Seam::Loop)?;
    show("opus96", &opus);
    show("opus40", &wave::encode_ogg_opus(&resampled.mono(), 40_000)?);
    show(
        "opus decoded",
        &floats(&wave::decode(&opus, None, &Limits::default())?),
    );
    show("flac", &wave::encode_flac16(&signal)?);
    let l = wave::loudness(&signal);
    show("loudness", format!("{l:?}").as_bytes());
    show(
        "limiter",
        &wave::gain_curve(&signal, -12.0)
            .iter()
            .flat_map(|g| g.to_bits().to_le_bytes())
            .collect::<Vec<u8>>(),
    );
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/");
    for name in [
        "lame.mp3",
        "aac.m4a",
        "vorbis.ogg",
        "ffmpeg.opus",
        "s24.flac",
    ] {
        if let Ok(bytes) = std::fs::read(format!("{folder}{name}")) {
            show(
                name,
                &floats(&wave::decode(&bytes, None, &Limits::default())?),
            );
        }
    }
    Ok(())
}
