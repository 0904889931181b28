//! The bytes of a FLAC file from a buffer, 16 bits a sample.
//!
//! Reference: RFC 9639, "Free Lossless Audio Codec (FLAC)".

use crate::Buffer;
use crate::encode_wav::{EncodeError, to_i16};
use flacenc::component::BitRepr;
use flacenc::error::Verify;

const FORMAT: &str = "FLAC";
/// RFC 9639 section 9.1.2: the highest rate that a frame header can state in full hertz beside the listed ones.
const MOST_HZ: u32 = 65_535;

/// A 16-bit FLAC file. Samples are rounded as in [`encode_wav16`](crate::encode_wav16), so that both hold the same sound. The encoder uses
/// one thread and integer arithmetic on a fixed block size: the same samples give the same bytes.
///
/// Errors: no frames; more than 8 channels (section 9.1.3); a rate above 65535 Hz that is not 88.2, 96, 176.4 or 192 kHz.
pub fn encode_flac16(buffer: &Buffer) -> Result<Vec<u8>, EncodeError> {
    let channels = buffer.channel_count();
    if channels > 8 {
        return Err(EncodeError::Channels {
            format: FORMAT,
            found: channels,
            most: 8,
        });
    }
    let rate_hz = buffer.rate_hz();
    if rate_hz > MOST_HZ && ![88_200, 96_000, 176_400, 192_000].contains(&rate_hz) {
        return Err(EncodeError::Rate {
            format: FORMAT,
            found_hz: rate_hz,
            most_hz: MOST_HZ,
        });
    }
    if buffer.is_empty() {
        return Err(EncodeError::Empty { format: FORMAT });
    }
    let samples: Vec<i32> = buffer
        .interleaved()
        .into_iter()
        .map(|s| i32::from(to_i16(s)))
        .collect();

    let mut config = flacenc::config::Encoder::default();
    config.multithread = false;
    let config = config.into_verified().map_err(|(_, e)| refused(e))?;
    let source = flacenc::source::MemSource::from_samples(&samples, channels, 16, rate_hz as usize);
    let stream = flacenc::encode_with_fixed_block_size(&config, source, config.block_size)
        .map_err(refused)?;
    let mut sink = flacenc::bitsink::ByteSink::new();
    stream.write(&mut sink).map_err(refused)?;
    let mut bytes = sink.as_slice().to_vec();

    // Section 8.2: the minimum block size leaves the last block out of account. The encoder counts it, and some decoders then
    // take the stream for one of variable block size and refuse it. STREAMINFO begins at byte 8: minimum, then maximum.
    if bytes.len() >= 12 && &bytes[..4] == b"fLaC" {
        bytes.copy_within(10..12, 8);
    }
    Ok(bytes)
}

fn refused(e: impl std::fmt::Display) -> EncodeError {
    EncodeError::Encoder {
        format: FORMAT,
        detail: e.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_short_last_block_does_not_count_in_the_minimum() {
        let buffer = Buffer::from_mono(48_000, vec![0.25; 5_000]).unwrap();
        let bytes = encode_flac16(&buffer).unwrap();
        assert_eq!(&bytes[..4], b"fLaC");
        assert_eq!(bytes[8..10], bytes[10..12]);
        assert_eq!(u16::from_be_bytes([bytes[8], bytes[9]]), 4_096);
    }

    #[test]
    fn what_the_format_cannot_hold_is_refused() {
        let most = EncodeError::Channels {
            format: FORMAT,
            found: 9,
            most: 8,
        };
        assert_eq!(
            encode_flac16(&Buffer::silence(48_000, 9, 1).unwrap()),
            Err(most)
        );
        assert!(matches!(
            encode_flac16(&Buffer::silence(70_000, 1, 1).unwrap()),
            Err(EncodeError::Rate { .. })
        ));
        assert!(matches!(
            encode_flac16(&Buffer::silence(48_000, 1, 0).unwrap()),
            Err(EncodeError::Empty { .. })
        ));
    }
}
