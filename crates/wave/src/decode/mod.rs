//! A buffer from the bytes of a sound file; what the bytes are decides, not what the file is called.
//!
//! | format | decoded by | start and end |
//! |---|---|---|
//! | WAV, RF64: PCM 8, 16, 24, 32 bits, float 32, 64 | `wav.rs` | as stored |
//! | other WAV (ADPCM, logarithmic) | symphonia | as stored |
//! | FLAC, also in Ogg | symphonia | as stored |
//! | MP3 | symphonia | encoder delay and padding from the LAME tag, plus the decoder's own 529 frames; without a tag nothing is known, and nothing is cut |
//! | Ogg Vorbis | symphonia | by granule position |
//! | Ogg Opus | opus-pure, at 48 kHz | pre-skip and last granule position (RFC 7845) |
//! | M4A: AAC-LC, ALAC | symphonia | edit list or iTunSMPB, read in `mp4.rs` |
//! | AAC in ADTS | symphonia | the format does not say; nothing is cut, so the sound begins some 1024 frames late |
//!
//! Decoded samples are the same on every CPU (symphonia is built without its vector code for that), with one exception: the last bits of Ogg
//! Opus depend on whether the CPU has AVX2 and FMA.
//!
//! A file that holds less than its header declares is an error and not half a sound. Nothing here allocates more than [`Limits`] allow: what
//! headers declare is never allocated before it is there.

mod guard;
mod mp4;
mod ogg;
mod packets;
mod sniff;
mod wav;

use crate::Buffer;
use crate::units::Seconds;
use std::io::Read;

/// What a file may hold at most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Longest sound. Default 30 minutes.
    pub max_duration: Seconds,
    /// Most channels. Default 8.
    pub max_channels: usize,
    /// Highest sample rate. Default 192 kHz.
    pub max_rate_hz: u32,
    /// Largest file. Default 1 GiB.
    pub max_bytes: u64,
    /// Most samples, all channels together; each takes 4 bytes of memory. Default 360 million: 30 minutes of 96 kHz stereo.
    pub max_samples: u64,
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            max_duration: Seconds(30.0 * 60.0),
            max_channels: 8,
            max_rate_hz: 192_000,
            max_bytes: 1 << 30,
            max_samples: 360_000_000,
        }
    }
}

/// Why bytes do not make a sound: what was found, and what would be right.
#[derive(Clone, Debug, PartialEq)]
pub enum DecodeError {
    /// No bytes at all.
    Empty,
    /// The bytes are something else. `found` says what, `extension` what the file name claims.
    NotAudio {
        found: &'static str,
        extension: Option<String>,
    },
    /// A sound file, but of a kind that cannot be read.
    Unsupported { found: String, right: &'static str },
    /// The header contradicts itself or the format.
    Header {
        format: &'static str,
        found: String,
        right: String,
    },
    /// The file ends before what its header declares.
    Truncated {
        format: &'static str,
        found: String,
        declared: String,
    },
    /// The header is in order, and there is not one frame of sound.
    NoSound { format: &'static str },
    /// Damage inside the sound.
    Damaged {
        format: &'static str,
        at: Option<Seconds>,
        detail: String,
    },
    /// More than [`Limits`] allow.
    Limit {
        what: &'static str,
        found: String,
        most: String,
    },
    /// The source could not be read.
    Read { detail: String },
}

/// What can be read, for messages.
const READABLE: &str = "WAV, FLAC, MP3, OGG (Vorbis or Opus) or M4A (AAC or ALAC)";

impl std::fmt::Display for DecodeError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            DecodeError::Empty => write!(f, "the file is empty; it should hold {READABLE}"),
            DecodeError::NotAudio { found, extension } => {
                match extension {
                    Some(e) => write!(f, "the name ends in .{e}, but the file holds {found}")?,
                    None => write!(f, "the file holds {found}")?,
                }
                write!(f, "; it should hold {READABLE}")
            }
            DecodeError::Unsupported { found, right } => {
                write!(f, "this is {found}, which cannot be read; {right}")
            }
            DecodeError::Header {
                format,
                found,
                right,
            } => write!(f, "{format} header: {found}; right would be {right}"),
            DecodeError::Truncated {
                format,
                found,
                declared,
            } => write!(
                f,
                "the {format} file is cut off: it holds {found}, its header declares {declared}; copy or export it again"
            ),
            DecodeError::NoSound { format } => {
                write!(
                    f,
                    "the {format} file has a header and no sound; it should hold at least one frame"
                )
            }
            DecodeError::Damaged { format, at, detail } => {
                write!(f, "the {format} file is damaged")?;
                if let Some(at) = at {
                    write!(f, " at {at}")?;
                }
                write!(f, " ({detail}); copy or export it again")
            }
            DecodeError::Limit { what, found, most } => {
                write!(f, "{what}: {found}; at most {most}")
            }
            DecodeError::Read { detail } => write!(f, "could not be read: {detail}"),
        }
    }
}

impl std::error::Error for DecodeError {}

/// Decodes the bytes of a whole file. `extension` (without the dot) only serves the error message: the content decides.
///
/// Never panics; memory is bounded by `limits`.
pub fn decode(
    bytes: &[u8],
    extension: Option<&str>,
    limits: &Limits,
) -> Result<Buffer, DecodeError> {
    if bytes.is_empty() {
        return Err(DecodeError::Empty);
    }
    if bytes.len() as u64 > limits.max_bytes {
        return Err(too_many_bytes(format!("{} bytes", bytes.len()), limits));
    }
    let packets =
        |format, trim| guard::guard(format, || packets::decode(bytes, format, trim, limits));
    match sniff::sniff(bytes) {
        sniff::Found::Wav => wav::decode(bytes, limits),
        sniff::Found::OggOpus => guard::guard(ogg::OPUS, || ogg::decode_opus(bytes, limits)),
        sniff::Found::Ogg(format) => {
            ogg::check_complete(bytes, format)?;
            packets(format, packets::Trim::default())
        }
        sniff::Found::Mp4 => packets("M4A", mp4::read(bytes)?),
        sniff::Found::Packets(format) => packets(format, packets::Trim::default()),
        sniff::Found::Unsupported { found, right } => Err(DecodeError::Unsupported {
            found: found.to_owned(),
            right,
        }),
        sniff::Found::Other(found) => Err(DecodeError::NotAudio {
            found,
            extension: extension
                .map(|e| {
                    e.trim_start_matches('.')
                        .chars()
                        .take(12)
                        .collect::<String>()
                })
                .filter(|e| !e.is_empty()),
        }),
    }
}

/// Decodes everything that `source` gives, reading at most [`Limits::max_bytes`]. As [`decode`](decode()).
pub fn decode_reader(
    source: impl Read,
    extension: Option<&str>,
    limits: &Limits,
) -> Result<Buffer, DecodeError> {
    let mut bytes = Vec::new();
    source
        .take(limits.max_bytes.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(|e| DecodeError::Read {
            detail: e.to_string(),
        })?;
    if bytes.len() as u64 > limits.max_bytes {
        return Err(too_many_bytes(
            format!("more than {} bytes", limits.max_bytes),
            limits,
        ));
    }
    decode(&bytes, extension, limits)
}

fn too_many_bytes(found: String, limits: &Limits) -> DecodeError {
    DecodeError::Limit {
        what: "file size",
        found,
        most: format!("{} bytes", limits.max_bytes),
    }
}

/// Rate and channels as a header states them, checked against the format and the limits.
fn check_shape(
    format: &'static str,
    rate_hz: u32,
    channels: usize,
    limits: &Limits,
) -> Result<(), DecodeError> {
    let header = |found: String, right: String| {
        Err(DecodeError::Header {
            format,
            found,
            right,
        })
    };
    if rate_hz == 0 {
        return header(
            "a sample rate of 0 Hz".to_owned(),
            format!("1 to {} Hz", limits.max_rate_hz),
        );
    }
    if channels == 0 {
        return header(
            "0 channels".to_owned(),
            format!("1 to {}", limits.max_channels),
        );
    }
    let most_hz = limits.max_rate_hz.min(Buffer::MAX_RATE_HZ);
    if rate_hz > most_hz {
        return Err(DecodeError::Limit {
            what: "sample rate",
            found: format!("{rate_hz} Hz"),
            most: format!("{most_hz} Hz"),
        });
    }
    let most = limits.max_channels.min(Buffer::MAX_CHANNELS);
    if channels > most {
        return Err(DecodeError::Limit {
            what: "channels",
            found: channels.to_string(),
            most: most.to_string(),
        });
    }
    Ok(())
}

/// Whether so many frames are within the limits.
fn check_length(
    frames: u64,
    rate_hz: u32,
    channels: usize,
    limits: &Limits,
) -> Result<(), DecodeError> {
    let seconds = frames as f64 / f64::from(rate_hz.max(1));
    if seconds > limits.max_duration.0 {
        return Err(DecodeError::Limit {
            what: "duration",
            found: format!("{seconds:.0} s or more"),
            most: format!("{:.0} s; cut the passage out first", limits.max_duration.0),
        });
    }
    let samples = frames.saturating_mul(channels as u64);
    if samples > limits.max_samples {
        return Err(DecodeError::Limit {
            what: "samples",
            found: format!("{samples} or more"),
            most: format!(
                "{}; cut the passage out or lower the rate first",
                limits.max_samples
            ),
        });
    }
    Ok(())
}

/// A buffer of what was decoded; at least one frame, all finite.
fn finish(
    format: &'static str,
    rate_hz: u32,
    channels: Vec<Vec<f32>>,
) -> Result<Buffer, DecodeError> {
    if channels.first().is_none_or(Vec::is_empty) {
        return Err(DecodeError::NoSound { format });
    }
    Buffer::new(rate_hz, channels).map_err(|e| {
        let at = match e {
            crate::BufferError::NotFinite { frame, .. } => {
                Some(Seconds::from_frames(frame, rate_hz))
            }
            _ => None,
        };
        DecodeError::Damaged {
            format,
            at,
            detail: e.to_string(),
        }
    })
}
