//! Sample buffers, decoding, encoding, resampling, stretching and loudness: bytes and samples in, bytes and samples out.
//!
//! | module | computes |
//! |---|---|
//! | [`buffer`] | [`Buffer`]: planar `f32` samples with a rate; slicing, mixing, peak |
//! | [`decode`](mod@decode) | a buffer from the bytes of a WAV, FLAC, MP3, Ogg Vorbis, Ogg Opus, M4A (AAC, ALAC) or ADTS file |
//! | [`encode_wav`], [`encode_flac`], [`encode_opus`] | the bytes of such a file from a buffer |
//! | [`resample`](mod@resample) | the same sound at another sample rate |
//! | [`stretch`](mod@stretch) | the same sound slower or faster, pitch kept or moved |
//! | [`slow`](mod@slow) | a passage at 25 to 200 % of its tempo, put right by some cents |
//! | [`loudness`](mod@loudness) | LUFS by ITU-R BS.1770, true peak |
//! | [`limiter`] | one gain curve from a mix, to be shared by all its stems |
//! | [`find`] | where one sound lies inside another, and how far their clocks are apart |
//! | [`fft`] | the discrete Fourier transform, the same bits on every machine |
//! | [`lanes`] | loops on as many numbers at once as the processor can, the same bits on every machine |
//!
//! ```
//! use wave::{Buffer, Limits, Seconds};
//!
//! // A second of a quiet 440 Hz tone.
//! let tone: Vec<f32> = (0..48_000)
//!     .map(|n| 0.1 * libm::sinf(n as f32 * 440.0 * std::f32::consts::TAU / 48_000.0))
//!     .collect();
//! let tone = Buffer::from_mono(48_000, tone).unwrap();
//!
//! // Written as a FLAC file and read again, whatever the file was called.
//! let bytes = wave::encode_flac16(&tone).unwrap();
//! let again = wave::decode(&bytes, Some("wav"), &Limits::default()).unwrap();
//! assert_eq!(again.frames(), 48_000);
//! assert_eq!(again.duration(), Seconds(1.0));
//!
//! // At half the speed it is twice as long and still 440 Hz.
//! let slow = wave::stretch(&again, 2.0).unwrap();
//! assert_eq!(slow.frames(), 96_000);
//! ```
//!
//! # What it must not do
//!
//! - Open files, read the clock or the environment: callers hand in bytes and get bytes.
//! - Know of lessons, notes or instruments.
//! - Let the machine show in the samples: what is written is the same on every CPU (see "Determinism" in [`stretch`](mod@stretch)
//!   and [`encode_opus`]).
//! - Panic on any input: sizes meet [`Limits`], faults come back as errors that say what was found and what would be right.
//!
//! # Units
//!
//! A *frame* is one sample of every channel. Positions and lengths are counted in frames (`_frames`, `usize`) or given
//! as [`Seconds`]; rates are whole hertz (`_hz`); levels are dBFS, dBTP or LUFS, named in full. Samples are `f32` with full scale
//! at ±1; values beyond it are kept until something is written to integers.

pub mod buffer;
pub mod decode;
pub mod encode_flac;
pub mod encode_opus;
pub mod encode_wav;
pub mod fft;
pub mod find;
mod fir;
mod integrated;
pub mod lanes;
pub mod limiter;
pub mod loudness;
pub mod resample;
pub mod slow;
pub mod stretch;
pub mod units;

pub use buffer::{Buffer, BufferError};
pub use decode::{DecodeError, Limits, decode, decode_reader};
pub use encode_flac::encode_flac16;
pub use encode_opus::{Seam, encode_ogg_opus, encode_ogg_opus_loop, encode_ogg_opus_with};
pub use encode_wav::{EncodeError, encode_wav_f32, encode_wav16};
pub use find::{Found, find_in};
pub use limiter::{apply_gain_curve, gain_curve};
pub use loudness::{Loudness, integrated_lufs, loudness, true_peak_dbtp};
pub use resample::resample;
pub use slow::slow;
pub use stretch::{StretchConfig, StretchError, stretch, stretch_with};
pub use units::{Seconds, db_from_gain, gain_from_db};

/// Numbers from -1 to 1 that are the same in every test that begins with the same one.
#[cfg(test)]
fn dice(mut seed: u32) -> impl FnMut() -> f32 {
    move || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (seed >> 8) as f32 / 8_388_608.0 - 1.0
    }
}
