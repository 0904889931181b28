//! Time taken for ten seconds of stereo at 48 kHz, beside a plain copy of the same samples. `cargo bench -p wave`.

use divan::{Bencher, black_box, counter::ItemsCount};
use wave::{Buffer, Limits, Seam};

fn main() {
    divan::main();
}

const FRAMES: usize = 480_000;

/// Plucked tones with some noise.
fn sound() -> Buffer {
    let mut state = 1u32;
    let mut plane = |share: f32| {
        (0..FRAMES)
            .map(|n| {
                let t = (n % 24_000) as f32 / 48_000.0;
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = (state >> 8) as f32 / 8_388_608.0 - 1.0;
                let tone: f32 = (1..8)
                    .map(|h| libm::sinf(1_382.3 * h as f32 * t) / h as f32)
                    .sum();
                share * libm::expf(-4.0 * t) * tone + 0.003 * noise
            })
            .collect()
    };
    Buffer::new(48_000, vec![plane(0.3), plane(0.2)]).expect("a buffer")
}

/// The reference: nothing here can be faster than copying.
#[divan::bench]
fn copy(bencher: Bencher) {
    let sound = sound();
    bencher
        .counter(ItemsCount::new(FRAMES))
        .bench(|| black_box(&sound).clone());
}

#[divan::bench(args = ["wav", "flac", "opus"])]
fn decode(bencher: Bencher, format: &str) {
    let sound = sound();
    let bytes = match format {
        "wav" => wave::encode_wav16(&sound),
        "flac" => wave::encode_flac16(&sound),
        _ => wave::encode_ogg_opus(&sound, 96_000),
    }
    .expect("a file");
    bencher
        .counter(ItemsCount::new(FRAMES))
        .bench(|| wave::decode(black_box(&bytes), None, &Limits::default()));
}

/// 0.4 s each, as other encoders wrote them.
#[divan::bench(args = ["lame.mp3", "aac.m4a", "vorbis.ogg"])]
fn decode_short(bencher: Bencher, name: &str) {
    let bytes = std::fs::read(format!("{}/tests/data/{name}", env!("CARGO_MANIFEST_DIR")))
        .expect("a fixture");
    bencher
        .counter(ItemsCount::new(17_640usize))
        .bench(|| wave::decode(black_box(&bytes), None, &Limits::default()));
}

#[divan::bench(args = ["wav16", "flac16", "opus 64", "opus 96"])]
fn encode(bencher: Bencher, format: &str) {
    let sound = sound();
    bencher
        .counter(ItemsCount::new(FRAMES))
        .bench(|| match format {
            "wav16" => wave::encode_wav16(black_box(&sound)),
            "flac16" => wave::encode_flac16(black_box(&sound)),
            "opus 64" => wave::encode_ogg_opus_with(black_box(&sound), 64_000, Seam::Loop),
            _ => wave::encode_ogg_opus_with(black_box(&sound), 96_000, Seam::Loop),
        });
}

#[divan::bench(args = [44_100, 96_000, 47_999])]
fn resample(bencher: Bencher, rate_hz: u32) {
    let sound = sound();
    bencher
        .counter(ItemsCount::new(FRAMES))
        .bench(|| wave::resample(black_box(&sound), rate_hz));
}

#[divan::bench(args = [1.25, 1.6667])]
fn stretch(bencher: Bencher, ratio: f64) {
    let sound = sound();
    bencher
        .counter(ItemsCount::new(FRAMES))
        .bench(|| wave::stretch(black_box(&sound), ratio));
}

#[divan::bench]
fn loudness(bencher: Bencher) {
    let sound = sound();
    bencher
        .counter(ItemsCount::new(FRAMES))
        .bench(|| wave::loudness(black_box(&sound)));
}

#[divan::bench]
fn limiter(bencher: Bencher) {
    let sound = sound();
    bencher
        .counter(ItemsCount::new(FRAMES))
        .bench(|| wave::gain_curve(black_box(&sound), -12.0));
}
