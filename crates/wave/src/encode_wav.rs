//! The bytes of a RIFF/WAVE file from a buffer: 16-bit integer, or 32-bit float without loss.
//!
//! Reference: IBM and Microsoft, "Multimedia Programming Interface and Data Specifications 1.0" (1991), Waveform Audio
//! File Format; format tag 3 (IEEE float) with its `fact` chunk from Microsoft's "New Multimedia Data Types" (1994).

use crate::Buffer;
use crate::buffer::BufferError;

/// Why a buffer cannot be written in the format asked for.
#[derive(Clone, Debug, PartialEq)]
pub enum EncodeError {
    /// The format has no room for so many channels.
    Channels {
        format: &'static str,
        found: usize,
        most: usize,
    },
    /// The format cannot state this rate.
    Rate {
        format: &'static str,
        found_hz: u32,
        most_hz: u32,
    },
    /// The file would be longer than its format can state.
    TooLong {
        format: &'static str,
        bytes: u64,
        most: u64,
    },
    /// No frames, where the format needs one.
    Empty { format: &'static str },
    /// A bitrate that the encoder does not offer.
    Bitrate {
        found_bps: u32,
        least_bps: u32,
        most_bps: u32,
    },
    /// The buffer had to be resampled for the format, and could not be.
    Resample(crate::resample::ResampleError),
    /// The samples do not make a buffer.
    Buffer(BufferError),
    /// The encoder refused, in its own words.
    Encoder {
        format: &'static str,
        detail: String,
    },
}

impl std::fmt::Display for EncodeError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            EncodeError::Channels {
                format,
                found,
                most,
            } => {
                write!(
                    f,
                    "{format} holds at most {most} channels, and there are {found}"
                )
            }
            EncodeError::Rate {
                format,
                found_hz,
                most_hz,
            } => {
                write!(
                    f,
                    "{format} holds at most {most_hz} Hz, and the rate is {found_hz} Hz; resample it first"
                )
            }
            EncodeError::TooLong {
                format,
                bytes,
                most,
            } => {
                write!(
                    f,
                    "{format} holds at most {most} bytes, and there would be {bytes}; cut it or use FLAC"
                )
            }
            EncodeError::Empty { format } => {
                write!(f, "{format} needs at least one frame, and there is none")
            }
            EncodeError::Bitrate {
                found_bps,
                least_bps,
                most_bps,
            } => {
                write!(
                    f,
                    "{found_bps} bits a second; it must be {least_bps} to {most_bps}"
                )
            }
            EncodeError::Resample(e) => e.fmt(f),
            EncodeError::Buffer(e) => e.fmt(f),
            EncodeError::Encoder { format, detail } => write!(f, "{format} encoder: {detail}"),
        }
    }
}

impl std::error::Error for EncodeError {}

impl From<BufferError> for EncodeError {
    fn from(e: BufferError) -> Self {
        EncodeError::Buffer(e)
    }
}

/// A 16-bit PCM WAV file. Samples are rounded to the nearest step (halves away from zero), without dither, and held to the
/// range −32768…32767; what is not a number becomes 0. An empty buffer gives a file with no samples.
///
/// No dither, so that silence stays silence and the same samples give the same bytes; the error is at most half a step, −96 dBFS.
///
/// Errors: a file of 4 GiB or more.
pub fn encode_wav16(buffer: &Buffer) -> Result<Vec<u8>, EncodeError> {
    let mut out = header(buffer, 1, 2)?;
    for_each_sample(buffer, |s| out.extend_from_slice(&to_i16(s).to_le_bytes()));
    Ok(out)
}

/// A 32-bit float WAV file: the samples bit for bit.
///
/// Errors: a file of 4 GiB or more.
pub fn encode_wav_f32(buffer: &Buffer) -> Result<Vec<u8>, EncodeError> {
    let mut out = header(buffer, 3, 4)?;
    for_each_sample(buffer, |s| out.extend_from_slice(&s.to_le_bytes()));
    Ok(out)
}

/// The nearest 16-bit step of a sample, halves away from zero, full scale at 32768.
pub(crate) fn to_i16(sample: f32) -> i16 {
    // The cast saturates at both ends and turns NaN into 0.
    (sample * 32_768.0).round() as i16
}

fn for_each_sample(buffer: &Buffer, mut write: impl FnMut(f32)) {
    for frame in 0..buffer.frames() {
        for channel in buffer.channels() {
            write(channel[frame]);
        }
    }
}

fn header(buffer: &Buffer, tag: u16, bytes_per_sample: u16) -> Result<Vec<u8>, EncodeError> {
    let channels = buffer.channel_count() as u16;
    let align = channels * bytes_per_sample;
    let data_bytes = buffer.frames() as u64 * u64::from(align);
    let fact = tag != 1;
    let before_data: u64 = if fact { 58 } else { 44 };
    let most = u64::from(u32::MAX);
    // The data chunk is padded to an even length; every sample here is 2 or 4 bytes, so it is even already.
    if before_data + data_bytes > most {
        return Err(EncodeError::TooLong {
            format: "WAV",
            bytes: before_data + data_bytes,
            most,
        });
    }
    let mut out = Vec::with_capacity((before_data + data_bytes) as usize);
    out.extend_from_slice(b"RIFF");
    out.extend_from_slice(&((before_data + data_bytes - 8) as u32).to_le_bytes());
    out.extend_from_slice(b"WAVEfmt ");
    out.extend_from_slice(&(if fact { 18u32 } else { 16 }).to_le_bytes());
    out.extend_from_slice(&tag.to_le_bytes());
    out.extend_from_slice(&channels.to_le_bytes());
    out.extend_from_slice(&buffer.rate_hz().to_le_bytes());
    out.extend_from_slice(
        &buffer
            .rate_hz()
            .saturating_mul(u32::from(align))
            .to_le_bytes(),
    );
    out.extend_from_slice(&align.to_le_bytes());
    out.extend_from_slice(&(bytes_per_sample * 8).to_le_bytes());
    if fact {
        out.extend_from_slice(&0u16.to_le_bytes());
        out.extend_from_slice(b"fact");
        out.extend_from_slice(&4u32.to_le_bytes());
        out.extend_from_slice(&(buffer.frames() as u32).to_le_bytes());
    }
    out.extend_from_slice(b"data");
    out.extend_from_slice(&(data_bytes as u32).to_le_bytes());
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_is_to_the_nearest_step_and_saturates() {
        let step = 1.0 / 32_768.0;
        assert_eq!(to_i16(0.49 * step), 0);
        assert_eq!(to_i16(0.5 * step), 1);
        assert_eq!(to_i16(-0.5 * step), -1);
        assert_eq!(to_i16(1.0), 32_767);
        assert_eq!(to_i16(-1.0), -32_768);
        assert_eq!(to_i16(9.0), 32_767);
        assert_eq!(to_i16(f32::NAN), 0);
    }

    /// Read by another crate's WAV reader.
    #[test]
    fn an_independent_reader_gets_the_same_samples() {
        let buffer =
            Buffer::new(44_100, vec![vec![0.5, -0.25, 1.5], vec![0.0, -1.0, 0.125]]).unwrap();
        let mut reader =
            hound::WavReader::new(std::io::Cursor::new(encode_wav16(&buffer).unwrap())).unwrap();
        let spec = reader.spec();
        assert_eq!(
            (spec.channels, spec.sample_rate, spec.bits_per_sample),
            (2, 44_100, 16)
        );
        let samples: Vec<i16> = reader.samples().map(Result::unwrap).collect();
        assert_eq!(samples, [16_384, 0, -8_192, -32_768, 32_767, 4_096]);

        let mut reader =
            hound::WavReader::new(std::io::Cursor::new(encode_wav_f32(&buffer).unwrap())).unwrap();
        assert_eq!(reader.spec().sample_format, hound::SampleFormat::Float);
        assert_eq!(reader.duration(), 3);
        let samples: Vec<f32> = reader.samples().map(Result::unwrap).collect();
        assert_eq!(samples, buffer.interleaved());
    }

    #[test]
    fn an_empty_buffer_gives_a_bare_header() {
        let empty = Buffer::silence(48_000, 2, 0).unwrap();
        assert_eq!(encode_wav16(&empty).unwrap().len(), 44);
        assert_eq!(encode_wav_f32(&empty).unwrap().len(), 58);
    }
}
