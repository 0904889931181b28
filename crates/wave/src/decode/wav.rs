//! PCM and float samples from a RIFF/WAVE or RF64 file; other codings go on to symphonia.
//!
//! References: as in `encode_wav.rs`; `WAVE_FORMAT_EXTENSIBLE` (Microsoft, "Multiple channel audio data and WAVE files");
//! RF64 and its `ds64` chunk (EBU Tech 3306).

use super::guard::guard;
use super::{DecodeError, Limits, check_length, check_shape, finish, packets};
use crate::Buffer;

const FORMAT: &str = "WAV";

struct Shape {
    tag: u16,
    channels: usize,
    rate_hz: u32,
    align: usize,
    bits: u16,
}

pub(super) fn decode(bytes: &[u8], limits: &Limits) -> Result<Buffer, DecodeError> {
    let mut shape = None;
    let mut long_data = None;
    let mut at = 12usize;
    loop {
        let Some(head) = bytes.get(at..at + 8) else {
            return Err(DecodeError::Header {
                format: FORMAT,
                found: "no data chunk".to_owned(),
                right: "a fmt chunk and a data chunk behind it".to_owned(),
            });
        };
        let declared = u64::from(u32_at(head, 4));
        let body = &bytes[at + 8..];
        match &head[..4] {
            b"ds64" => {
                long_data = body
                    .get(8..16)
                    .map(|b| u64::from_le_bytes(b.try_into().unwrap_or([0; 8])))
            }
            b"fmt " => shape = Some(read_fmt(body, declared)?),
            b"data" => {
                let shape = shape.ok_or_else(|| DecodeError::Header {
                    format: FORMAT,
                    found: "a data chunk before any fmt chunk".to_owned(),
                    right: "the fmt chunk first".to_owned(),
                })?;
                return read_data(bytes, body, declared, long_data, &shape, limits);
            }
            _ => {}
        }
        // Chunks are padded to an even length.
        let step = 8 + declared + (declared & 1);
        at = usize::try_from(at as u64 + step)
            .unwrap_or(usize::MAX)
            .min(bytes.len());
    }
}

fn read_fmt(body: &[u8], declared: u64) -> Result<Shape, DecodeError> {
    if declared < 16 || body.len() < 16 {
        return Err(DecodeError::Header {
            format: FORMAT,
            found: format!("a fmt chunk of {} bytes", declared.min(body.len() as u64)),
            right: "at least 16 bytes".to_owned(),
        });
    }
    let mut tag = u16_at(body, 0);
    // The true tag of WAVE_FORMAT_EXTENSIBLE is the beginning of its sub-format.
    if tag == 0xfffe && declared >= 26 && body.len() >= 26 {
        tag = u16_at(body, 24);
    }
    Ok(Shape {
        tag,
        channels: usize::from(u16_at(body, 2)),
        rate_hz: u32_at(body, 4),
        align: usize::from(u16_at(body, 12)),
        bits: u16_at(body, 14),
    })
}

fn read_data(
    bytes: &[u8],
    body: &[u8],
    declared: u64,
    long_data: Option<u64>,
    shape: &Shape,
    limits: &Limits,
) -> Result<Buffer, DecodeError> {
    check_shape(FORMAT, shape.rate_hz, shape.channels, limits)?;
    // A writer that cannot seek back leaves all ones; then the sound goes on to the end.
    let streamed = declared == u64::from(u32::MAX);
    let declared = match long_data {
        Some(long) if streamed => long,
        None if streamed => body.len() as u64,
        _ => declared,
    };
    if declared > body.len() as u64 {
        return Err(DecodeError::Truncated {
            format: FORMAT,
            found: format!("{} bytes of sound", body.len()),
            declared: format!("{declared}"),
        });
    }
    let data = &body[..declared as usize];

    let read: fn(&[u8]) -> f32 = match (shape.tag, shape.bits) {
        (1, 8) => |b| (f32::from(b[0]) - 128.0) / 128.0,
        (1, 16) => |b| f32::from(i16::from_le_bytes([b[0], b[1]])) / 32_768.0,
        (1, 24) => |b| (i32::from_le_bytes([0, b[0], b[1], b[2]]) >> 8) as f32 / 8_388_608.0,
        (1, 32) => |b| i32::from_le_bytes([b[0], b[1], b[2], b[3]]) as f32 / 2_147_483_648.0,
        (3, 32) => |b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]),
        (3, 64) => |b| f64::from_le_bytes([b[0], b[1], b[2], b[3], b[4], b[5], b[6], b[7]]) as f32,
        (1, bits) => {
            return Err(DecodeError::Header {
                format: FORMAT,
                found: format!("{bits} bits a sample"),
                right: "8, 16, 24 or 32".to_owned(),
            });
        }
        (3, bits) => {
            return Err(DecodeError::Header {
                format: FORMAT,
                found: format!("{bits} bits a float sample"),
                right: "32 or 64".to_owned(),
            });
        }
        // Logarithmic and adaptive codings.
        (2 | 6 | 7 | 0x11, _) => {
            return guard(FORMAT, || {
                packets::decode(bytes, FORMAT, packets::Trim::default(), limits)
            });
        }
        (tag, _) => {
            return Err(DecodeError::Unsupported {
                found: format!("a WAV file of coding {tag:#06x}"),
                right: "export it as PCM (16 or 24 bits) or as float",
            });
        }
    };
    let width = usize::from(shape.bits / 8);
    let align = width * shape.channels;
    if shape.align != align {
        return Err(DecodeError::Header {
            format: FORMAT,
            found: format!("{} bytes a frame", shape.align),
            right: format!(
                "{align} ({} channels of {} bits)",
                shape.channels, shape.bits
            ),
        });
    }
    let frames = data.len() / align;
    check_length(frames as u64, shape.rate_hz, shape.channels, limits)?;
    let mut channels = vec![Vec::with_capacity(frames); shape.channels];
    for frame in data.chunks_exact(align) {
        for (channel, sample) in channels.iter_mut().zip(frame.chunks_exact(width)) {
            channel.push(read(sample));
        }
    }
    finish(FORMAT, shape.rate_hz, channels)
}

fn u16_at(bytes: &[u8], at: usize) -> u16 {
    bytes
        .get(at..at + 2)
        .map_or(0, |b| u16::from_le_bytes([b[0], b[1]]))
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    bytes
        .get(at..at + 4)
        .map_or(0, |b| u32::from_le_bytes([b[0], b[1], b[2], b[3]]))
}
