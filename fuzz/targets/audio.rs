//! Any bytes as a sound file, with any ending: a sound within the limits, or an error.
#![no_main]
use libfuzzer_sys::fuzz_target;
use wave::{Limits, Seconds};

const ENDINGS: [Option<&str>; 8] = [None, Some("wav"), Some("flac"), Some("mp3"), Some("ogg"), Some("opus"), Some("m4a"), Some("aac")];

fuzz_target!(|bytes: &[u8]| {
    let Some((first, rest)) = bytes.split_first() else { return };
    let limits = Limits { max_duration: Seconds(20.0), max_samples: 4_000_000, ..Limits::default() };
    if let Ok(sound) = wave::decode(rest, ENDINGS[usize::from(*first) % ENDINGS.len()], &limits) {
        assert!((1..=8).contains(&sound.channel_count()) && sound.frames() * sound.channel_count() <= 4_000_000);
        assert!(sound.channels().iter().all(|c| c.iter().all(|s| s.is_finite())));
    }
});
