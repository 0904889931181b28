//! Files that are not what they should be: each gets an error that says what was found and what would be right.

use wave::{
    Buffer, DecodeError, Limits, Seconds, decode, decode_reader, encode_ogg_opus, encode_wav16,
};

fn data(name: &str) -> Vec<u8> {
    std::fs::read(format!("{}/tests/data/{name}", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

fn fault(bytes: &[u8]) -> DecodeError {
    decode(bytes, None, &Limits::default()).expect_err("a fault")
}

fn message(bytes: &[u8]) -> String {
    fault(bytes).to_string()
}

/// A 16-bit WAV header with these values, and `sound` behind it.
fn wav(channels: u16, rate_hz: u32, declared: u32, sound: &[u8]) -> Vec<u8> {
    let mut bytes = b"RIFF\xff\xff\xff\x7fWAVEfmt \x10\0\0\0\x01\0".to_vec();
    bytes.extend(channels.to_le_bytes());
    bytes.extend(rate_hz.to_le_bytes());
    bytes.extend(rate_hz.wrapping_mul(2).to_le_bytes());
    bytes.extend(channels.wrapping_mul(2).to_le_bytes());
    bytes.extend(16u16.to_le_bytes());
    bytes.extend(b"data");
    bytes.extend(declared.to_le_bytes());
    bytes.extend(sound);
    bytes
}

#[test]
fn nothing_and_text() {
    assert_eq!(
        message(b""),
        "the file is empty; it should hold WAV, FLAC, MP3, OGG (Vorbis or Opus) or M4A (AAC or ALAC)"
    );
    let text = decode(b"passage \"verse\"\n", Some("mp3"), &Limits::default())
        .unwrap_err()
        .to_string();
    assert_eq!(
        text,
        "the name ends in .mp3, but the file holds text; it should hold WAV, FLAC, MP3, OGG (Vorbis or Opus) or M4A (AAC or ALAC)"
    );
}

#[test]
fn the_content_decides_over_the_name() {
    for (name, wrong) in [
        ("lame.mp3", "wav"),
        ("s16.wav", "mp3"),
        ("aac.m4a", "flac"),
        ("s16.flac", "ogg"),
        ("vorbis.ogg", "m4a"),
    ] {
        let right = decode(&data(name), None, &Limits::default()).unwrap();
        assert_eq!(
            decode(&data(name), Some(wrong), &Limits::default()),
            Ok(right),
            "{name} as .{wrong}"
        );
    }
}

#[test]
fn wav_headers() {
    assert_eq!(
        message(&wav(1, 0, 2, &[0, 0])),
        "WAV header: a sample rate of 0 Hz; right would be 1 to 192000 Hz"
    );
    assert_eq!(
        message(&wav(0, 44_100, 2, &[0, 0])),
        "WAV header: 0 channels; right would be 1 to 8"
    );
    assert_eq!(
        message(&wav(40_000, 44_100, 2, &[0, 0])),
        "channels: 40000; at most 8"
    );
    assert_eq!(
        message(&wav(1, 4_000_000_000, 2, &[0, 0])),
        "sample rate: 4000000000 Hz; at most 192000 Hz"
    );
    assert_eq!(
        message(&wav(1, 44_100, 0, &[])),
        "the WAV file has a header and no sound; it should hold at least one frame"
    );
    assert_eq!(
        message(&wav(1, 44_100, 4_000, &[0, 0])),
        "the WAV file is cut off: it holds 2 bytes of sound, its header declares 4000; copy or export it again"
    );
    let mut depth = wav(1, 44_100, 2, &[0, 0]);
    depth[34] = 12;
    assert_eq!(
        message(&depth),
        "WAV header: 12 bits a sample; right would be 8, 16, 24 or 32"
    );
    let mut align = wav(2, 44_100, 4, &[0; 4]);
    align[32] = 3;
    assert_eq!(
        message(&align),
        "WAV header: 3 bytes a frame; right would be 4 (2 channels of 16 bits)"
    );
    assert_eq!(
        message(b"RIFF\0\0\0\0WAVE"),
        "WAV header: no data chunk; right would be a fmt chunk and a data chunk behind it"
    );
    assert_eq!(
        message(b"RIFF\0\0\0\0WAVEdata\x02\0\0\0\0\0"),
        "WAV header: a data chunk before any fmt chunk; right would be the fmt chunk first"
    );
    let mut coding = wav(1, 44_100, 2, &[0, 0]);
    coding[20] = 0x55;
    assert!(message(&coding).contains("coding 0x0055"));
}

/// A sample that is not a number would spread through every filter behind it.
#[test]
fn samples_that_are_not_numbers() {
    let good = wave::encode_wav_f32(&Buffer::silence(44_100, 2, 400).unwrap()).unwrap();
    let at = good.len() - 400 * 8;
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        let mut bytes = good.clone();
        bytes[at + 8 * 100 + 4..at + 8 * 100 + 8].copy_from_slice(&bad.to_le_bytes());
        let said = message(&bytes);
        assert!(said.contains("100"), "{said}");
    }
    assert!(decode(&good, None, &Limits::default()).is_ok());
}

/// Small files that declare hours: read as far as there is something, if at all.
#[test]
fn declared_lengths_cost_nothing() {
    // FLAC: 36 bits of samples in STREAMINFO, behind the marker, its header and 13 bytes.
    let mut flac = data("s16.flac");
    flac[21] |= 0x0f;
    flac[22..26].fill(0xff);
    let mut ogg = data("vorbis.ogg");
    // The last page's granule position.
    let last = ogg.windows(4).rposition(|w| w == b"OggS").unwrap();
    ogg[last + 6..last + 14].copy_from_slice(&(1i64 << 55).to_le_bytes());
    let mut m4a = data("alac.m4a");
    let mdhd = m4a.windows(4).position(|w| w == b"mdhd").unwrap();
    m4a[mdhd + 20..mdhd + 24].fill(0xff);
    let stts = m4a.windows(4).position(|w| w == b"stts").unwrap();
    m4a[stts + 12..stts + 16].fill(0xff);
    for (name, bytes) in [("flac", flac), ("ogg", ogg), ("m4a", m4a)] {
        if let Ok(b) = decode(&bytes, None, &Limits::default()) {
            assert!(b.frames() <= 48_000, "{name}: {} frames", b.frames());
        }
    }
}

/// 2^60 bytes declared in the 64-bit header of an RF64 file.
#[test]
fn a_huge_declared_length_is_not_believed() {
    let mut bytes = data("rf64.wav");
    let at = bytes.windows(4).position(|w| w == b"ds64").unwrap();
    bytes[at + 16..at + 24].copy_from_slice(&(1u64 << 60).to_le_bytes());
    assert_eq!(
        message(&bytes),
        format!(
            "the WAV file is cut off: it holds 1600 bytes of sound, its header declares {}; copy or export it again",
            1u64 << 60
        )
    );
}

/// The second half cut off.
#[test]
fn cut_files_are_said_to_be_cut() {
    for name in [
        "s16.wav",
        "rf64.wav",
        "s16.flac",
        "aac.m4a",
        "front.m4a",
        "alac.m4a",
        "vorbis.ogg",
        "flac.oga",
        "ffmpeg.opus",
        "lame.mp3",
        "adts.aac",
    ] {
        let bytes = data(name);
        for cut in [bytes.len() / 2, bytes.len() - 20] {
            let error = fault(&bytes[..cut]);
            assert!(
                matches!(error, DecodeError::Truncated { .. }),
                "{name} at {cut}: {error}"
            );
        }
    }
}

/// Cut between two frames of 417 or 418 bytes, an MP3 is whole but for what its tag says.
#[test]
fn an_mp3_cut_between_frames_is_known_by_its_tag() {
    let bytes = data("lame.mp3");
    let sync = |at: usize| bytes[at..].starts_with(&[0xff, 0xfb]);
    let frames: Vec<usize> = (0..bytes.len() - 1).filter(|&at| sync(at)).collect();
    let error = fault(&bytes[..frames[frames.len() - 3]]);
    assert!(
        matches!(error, DecodeError::Truncated { format: "MP3", .. }),
        "{error}"
    );
}

#[test]
fn limits_hold() {
    let long = encode_wav16(&Buffer::silence(8_000, 1, 8_000 * 20).unwrap()).unwrap();
    let ten = Limits {
        max_duration: Seconds(10.0),
        ..Limits::default()
    };
    assert_eq!(
        decode(&long, None, &ten).unwrap_err().to_string(),
        "duration: 20 s or more; at most 10 s; cut the passage out first"
    );
    let opus = encode_ogg_opus(&Buffer::silence(48_000, 2, 48_000 * 2).unwrap(), 32_000).unwrap();
    let one = Limits {
        max_duration: Seconds(1.0),
        ..Limits::default()
    };
    assert!(matches!(
        decode(&opus, None, &one),
        Err(DecodeError::Limit {
            what: "duration",
            ..
        })
    ));
    let few = Limits {
        max_samples: 5_000,
        ..Limits::default()
    };
    for name in ["lame.mp3", "aac.m4a", "vorbis.ogg", "ffmpeg.opus"] {
        assert!(
            matches!(
                decode(&data(name), None, &few),
                Err(DecodeError::Limit {
                    what: "samples",
                    ..
                })
            ),
            "{name}"
        );
    }
    let small = Limits {
        max_bytes: 100,
        ..Limits::default()
    };
    for error in [
        decode(&long, None, &small).unwrap_err(),
        decode_reader(&long[..], None, &small).unwrap_err(),
    ] {
        assert!(
            matches!(
                error,
                DecodeError::Limit {
                    what: "file size",
                    ..
                }
            ),
            "{error}"
        );
    }
    assert_eq!(
        decode_reader(&long[..], None, &Limits::default())
            .unwrap()
            .frames(),
        160_000
    );
}

/// The AAC-LC file's configuration rewritten to say object type 5, spectral band replication.
#[test]
fn he_aac_is_named() {
    let mut bytes = data("aac.m4a");
    let at = bytes.windows(4).position(|w| w == b"esds").unwrap();
    let config = (at..at + 60)
        .find(|&i| bytes[i..i + 2] == [0x12, 0x10])
        .expect("AAC-LC, 44.1 kHz, stereo");
    bytes[config] = 0x2a;
    assert_eq!(
        message(&bytes),
        "this is HE-AAC (AAC with spectral band replication), which cannot be read; convert it to AAC-LC, FLAC or WAV"
    );
}

#[test]
fn a_movie_without_sound_and_other_files() {
    let mut bytes = data("aac.m4a");
    let at = bytes.windows(4).position(|w| w == b"soun").unwrap();
    bytes[at..at + 4].copy_from_slice(b"vide");
    assert_eq!(
        message(&bytes),
        "M4A header: no sound track; right would be one track of AAC or ALAC"
    );
    assert_eq!(
        message(b"FORM\0\0\0\0AIFFCOMM"),
        "this is an AIFF file, which cannot be read; export it as WAV, FLAC, MP3 or M4A"
    );
    assert!(message(b"MThd\0\0\0\x06").contains("a MIDI file, which has notes and no sound"));
}
