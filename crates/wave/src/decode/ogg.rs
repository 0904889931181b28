//! Ogg files: whether the last page is there, and Opus decoded with its pre-skip and its end.
//!
//! References: RFC 3533 (Ogg), RFC 7845 (Ogg Opus).

use super::{DecodeError, Limits, check_length, check_shape, finish};
use crate::Buffer;
use crate::units::Seconds;
use opus_pure::{MAX_PACKET_SAMPLES, OggOpusReader, Trim};

const RATE_HZ: u32 = 48_000;
pub(super) const OPUS: &str = "Ogg Opus";

/// Walks the pages: the file must end with a whole page, and that page must be marked as a stream's last (RFC 3533 section 6,
/// header type flag 4).
pub(super) fn check_complete(bytes: &[u8], format: &'static str) -> Result<(), DecodeError> {
    let cut = |found: &str| DecodeError::Truncated {
        format,
        found: found.to_owned(),
        declared: "a last page marked as the end".to_owned(),
    };
    let (mut at, mut ended) = (0usize, false);
    while let Some(head) = bytes.get(at..at + 27) {
        if &head[..4] != b"OggS" {
            // Tags or padding behind the last page do no harm.
            break;
        }
        let segments = usize::from(head[26]);
        let table = bytes
            .get(at + 27..at + 27 + segments)
            .ok_or_else(|| cut("part of a page"))?;
        let body: usize = table.iter().map(|n| usize::from(*n)).sum();
        at += 27 + segments + body;
        if at > bytes.len() {
            return Err(cut("part of a page"));
        }
        ended = head[5] & 4 != 0;
    }
    if ended {
        Ok(())
    } else {
        Err(cut("pages without an end"))
    }
}

pub(super) fn decode_opus(bytes: &[u8], limits: &Limits) -> Result<Buffer, DecodeError> {
    let damaged = |at: Option<Seconds>| {
        move |e: opus_pure::Error| DecodeError::Damaged {
            format: OPUS,
            at,
            detail: e.to_string(),
        }
    };
    check_complete(bytes, OPUS)?;
    let mut reader = OggOpusReader::new(bytes).map_err(damaged(None))?;
    let channels = usize::from(reader.head().channel_count);
    check_shape(OPUS, RATE_HZ, channels, limits)?;
    if reader.head().mapping_family != 0 {
        return Err(DecodeError::Unsupported {
            found: format!("Ogg Opus of {channels} channels (surround)"),
            right: "mix it down to stereo first",
        });
    }
    let mut decoder = reader
        .head()
        .decoder(RATE_HZ as i32)
        .map_err(damaged(None))?;
    let mut trim = Trim::new(reader.head(), RATE_HZ as i32, channels).map_err(damaged(None))?;
    let mut block = vec![0.0f32; MAX_PACKET_SAMPLES * channels];
    let mut planes = vec![Vec::new(); channels];
    while let Some(packet) = reader
        .read_packet()
        .map_err(damaged(Some(Seconds::from_frames(
            planes[0].len(),
            RATE_HZ,
        ))))?
    {
        let at = Some(Seconds::from_frames(planes[0].len(), RATE_HZ));
        let frames = decoder
            .decode(&packet.data, MAX_PACKET_SAMPLES, &mut block)
            .map_err(damaged(at))?;
        let decoded = block.get(..frames * channels).unwrap_or(&[]);
        let kept = trim.keep(&packet, decoded);
        check_length(
            (planes[0].len() + kept.len() / channels) as u64,
            RATE_HZ,
            channels,
            limits,
        )?;
        for frame in kept.chunks_exact(channels) {
            for (plane, sample) in planes.iter_mut().zip(frame) {
                plane.push(*sample);
            }
        }
    }
    finish(OPUS, RATE_HZ, planes)
}
