//! The bytes of an Ogg Opus file from a buffer: small files that browsers decode to the sample.
//!
//! # Method
//!
//! 48 kHz, 20 ms packets, constrained variable bitrate. Opus runs behind its input by a fixed delay, and its first packets still find
//! their feet. Both are hidden by *pre-skip* (RFC 7845 section 4.2): before the first frame the encoder is fed 80 ms that the
//! player throws away (the length that the section recommends), then the delay. What is fed is silence, or, for a loop, the
//! loop's own end ([`Seam::Loop`]), and after the last frame the loop's own beginning, so that neither side of the seam is coded as
//! a start or a stop. The last page's granule position (section 4.4) ends the sound at the exact frame.
//!
//! The encoder is held to its transform half (CELT, "restricted low delay"), which music at these rates uses anyway: no switch of mode, and
//! a shorter delay.
//!
//! # Determinism
//!
//! The reference encoder (libopus 1.3.1) translated to Rust without processor intrinsics, `unsafe-libopus`. The pure-Rust crate that
//! writes the container here has an encoder too, which is faster, but its search takes the processor's approximate
//! reciprocal root (`rsqrtps`), of which every maker of processors has another. The stream's serial number is derived from its
//! header; no clock is read.
//!
//! References: RFC 6716 (Opus), RFC 7845 (Ogg Opus).

use crate::Buffer;
use crate::encode_wav::EncodeError;
use opus_pure::{MAX_PACKET_BYTES, OggOpusWriter, OpusHead};
use unsafe_libopus::{
    OPUS_APPLICATION_RESTRICTED_LOWDELAY, OPUS_GET_LOOKAHEAD_REQUEST, OPUS_SET_BITRATE_REQUEST,
    OPUS_SET_COMPLEXITY_REQUEST, opus_encode_float, opus_encoder_create, opus_encoder_ctl,
    opus_encoder_destroy,
};

const FORMAT: &str = "Ogg Opus";
const RATE_HZ: u32 = 48_000;
/// 20 ms, the packet length for which the codec is tuned.
const PACKET_FRAMES: usize = 960;
/// RFC 7845 section 4.2: "at least 3840 samples (80 ms)".
const PRE_ROLL_FRAMES: usize = 3_840;
/// How hard the encoder tries, 0 to 10. On plucked strings at 128 kb/s its error is the same within 0.3 dB, one way or the other, for 4 and for 5, which
/// searches pitches for a third of the time more; 10 takes 1.8 times as long as 5 for 0.2 dB less.
const COMPLEXITY: i32 = 4;
const LEAST_BPS: u32 = 6_000;
const MOST_BPS: u32 = 510_000;

/// What lies before the first frame and after the last one, as far as the encoder is concerned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seam {
    /// Silence: the sound is played once.
    Once,
    /// The sound itself: it is played round and round.
    Loop,
    /// As `Loop`, and so many of the loop's first frames follow once more: the decoded length is that of the loop and these. The coding
    /// error of a loop's last frame has nothing to do with that of its first; a player that fades the frames behind the end into those at
    /// the beginning (`x[n] = x[n] * n / overlap + x[length + n] * (1 - n / overlap)`) leaves no step at all.
    Overlap { overlap_frames: usize },
}

/// An Ogg Opus file that plays once. As [`encode_ogg_opus_with`] with [`Seam::Once`].
pub fn encode_ogg_opus(buffer: &Buffer, bitrate_bps: u32) -> Result<Vec<u8>, EncodeError> {
    encode_ogg_opus_with(buffer, bitrate_bps, Seam::Once)
}

/// An Ogg Opus file of one or two channels at `bitrate_bps` (6000 to 510000 for the whole stream, all channels together).
///
/// At 48 kHz the decoded length is the buffer's to the frame; another rate is resampled to 48 kHz first, and the length is that of
/// [`resample`](crate::resample()).
///
/// Errors: no frames, more than two channels, a bitrate out of range.
pub fn encode_ogg_opus_with(
    buffer: &Buffer,
    bitrate_bps: u32,
    seam: Seam,
) -> Result<Vec<u8>, EncodeError> {
    let coded = Coded::new(buffer, bitrate_bps, seam)?;
    coded.file(coded.longest)
}

/// A loop as two files from one run of the encoder: the bytes of [`Seam::Loop`], for players that repeat a file, and those of
/// [`Seam::Overlap`], for a player that fades the seam. As [`encode_ogg_opus_with`].
pub fn encode_ogg_opus_loop(
    buffer: &Buffer,
    bitrate_bps: u32,
    overlap_frames: usize,
) -> Result<(Vec<u8>, Vec<u8>), EncodeError> {
    let coded = Coded::new(buffer, bitrate_bps, Seam::Overlap { overlap_frames })?;
    Ok((coded.file(coded.length)?, coded.file(coded.longest)?))
}

/// A sound in packets, and how many of its frames can be played.
struct Coded {
    head: OpusHead,
    packets: Vec<Vec<u8>>,
    /// Frames of the sound, and with what follows it.
    length: usize,
    longest: usize,
}

impl Coded {
    fn new(buffer: &Buffer, bitrate_bps: u32, seam: Seam) -> Result<Coded, EncodeError> {
        let channels = buffer.channel_count();
        if channels > 2 {
            return Err(EncodeError::Channels {
                format: FORMAT,
                found: channels,
                most: 2,
            });
        }
        if !(LEAST_BPS..=MOST_BPS).contains(&bitrate_bps) {
            return Err(EncodeError::Bitrate {
                found_bps: bitrate_bps,
                least_bps: LEAST_BPS,
                most_bps: MOST_BPS,
            });
        }
        let resampled;
        let buffer = if buffer.rate_hz() == RATE_HZ {
            buffer
        } else {
            resampled = crate::resample(buffer, RATE_HZ).map_err(EncodeError::Resample)?;
            &resampled
        };
        let length = buffer.frames();
        if length == 0 {
            return Err(EncodeError::Empty { format: FORMAT });
        }
        let total = match seam {
            Seam::Overlap { overlap_frames } => length + overlap_frames.min(length),
            Seam::Once | Seam::Loop => length,
        };

        let mut encoder = Encoder::new(channels, bitrate_bps)?;
        let mut head = OpusHead::new(channels as u8, RATE_HZ).map_err(refused)?;
        let pre_skip = PRE_ROLL_FRAMES + encoder.delay_frames()?;
        head.pre_skip = u16::try_from(pre_skip).map_err(|_| told("a delay out of range"))?;
        let count = packets(pre_skip + total);
        let mut packets = Vec::with_capacity(count);
        let mut packet = vec![0u8; MAX_PACKET_BYTES];
        let mut block = vec![0.0f32; PACKET_FRAMES * channels];
        for index in 0..count {
            for n in 0..PACKET_FRAMES {
                let position = (index * PACKET_FRAMES + n) as i64 - PRE_ROLL_FRAMES as i64;
                let frame = match seam {
                    Seam::Loop | Seam::Overlap { .. } => {
                        Some(position.rem_euclid(length as i64) as usize)
                    }
                    Seam::Once => usize::try_from(position).ok().filter(|&p| p < length),
                };
                for (c, samples) in buffer.channels().iter().enumerate() {
                    block[n * channels + c] = frame.map_or(0.0, |f| finite(samples[f]));
                }
            }
            let bytes = encoder.encode(&block, &mut packet)?;
            packets.push(packet[..bytes].to_vec());
        }
        Ok(Coded { head, packets, length, longest: total })
    }

    /// The file whose decoded length is `frames`, at most [`Coded::longest`].
    fn file(&self, frames: usize) -> Result<Vec<u8>, EncodeError> {
        // Granule positions count every decoded frame, the skipped ones too.
        let skipped = usize::from(self.head.pre_skip);
        let count = packets(skipped + frames);
        let mut writer = OggOpusWriter::new(Vec::new(), self.head.clone()).map_err(refused)?;
        for (index, packet) in self.packets.iter().take(count).enumerate() {
            if index + 1 == count {
                let duration = ((skipped + frames) as i64 - writer.granule()) as u32;
                writer
                    .write_packet_with_duration(packet, duration)
                    .map_err(refused)?;
            } else {
                writer.write_packet(packet).map_err(refused)?;
            }
        }
        writer.finish().map_err(refused)
    }
}

fn packets(frames: usize) -> usize {
    frames.div_ceil(PACKET_FRAMES)
}

/// A safe hold on the translated encoder.
struct Encoder {
    state: *mut unsafe_libopus::OpusEncoder,
    channels: usize,
}

impl Encoder {
    fn new(channels: usize, bitrate_bps: u32) -> Result<Encoder, EncodeError> {
        let mut error = 0;
        // SAFETY: plain numbers and a place for the error; the state is freed in `drop` alone.
        let state = unsafe {
            opus_encoder_create(
                RATE_HZ as i32,
                channels as i32,
                OPUS_APPLICATION_RESTRICTED_LOWDELAY,
                &mut error,
            )
        };
        if state.is_null() {
            return Err(status(error));
        }
        let encoder = Encoder { state, channels };
        // SAFETY: the state is alive, and each request takes one number.
        let answers = unsafe {
            [
                opus_encoder_ctl!(encoder.state, OPUS_SET_BITRATE_REQUEST, bitrate_bps as i32),
                opus_encoder_ctl!(encoder.state, OPUS_SET_COMPLEXITY_REQUEST, COMPLEXITY),
            ]
        };
        answers
            .into_iter()
            .find(|a| *a < 0)
            .map_or(Ok(encoder), |a| Err(status(a)))
    }

    fn delay_frames(&mut self) -> Result<usize, EncodeError> {
        let mut frames = 0i32;
        // SAFETY: the state is alive, and the request writes one number.
        let answer =
            unsafe { opus_encoder_ctl!(self.state, OPUS_GET_LOOKAHEAD_REQUEST, &mut frames) };
        if answer < 0 {
            Err(status(answer))
        } else {
            usize::try_from(frames).map_err(|_| told("a negative delay"))
        }
    }

    /// Encodes one packet of interleaved samples; gives its length in bytes.
    fn encode(&mut self, block: &[f32], packet: &mut [u8]) -> Result<usize, EncodeError> {
        if block.len() != PACKET_FRAMES * self.channels {
            return Err(told("a block of a wrong length"));
        }
        // SAFETY: the block holds as many frames of as many channels as stated, and the packet's length is given.
        let bytes = unsafe {
            opus_encode_float(
                self.state,
                block.as_ptr(),
                PACKET_FRAMES as i32,
                packet.as_mut_ptr(),
                packet.len() as i32,
            )
        };
        usize::try_from(bytes).map_err(|_| status(bytes))
    }
}

impl Drop for Encoder {
    fn drop(&mut self) {
        // SAFETY: made by `opus_encoder_create`, freed once.
        unsafe { opus_encoder_destroy(self.state) }
    }
}

fn finite(sample: f32) -> f32 {
    if sample.is_finite() { sample } else { 0.0 }
}

fn status(code: i32) -> EncodeError {
    told(&format!("code {code}"))
}

fn told(detail: &str) -> EncodeError {
    EncodeError::Encoder {
        format: FORMAT,
        detail: detail.to_owned(),
    }
}

fn refused(e: opus_pure::Error) -> EncodeError {
    told(&e.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_format_cannot_hold_is_refused() {
        let most = EncodeError::Channels {
            format: FORMAT,
            found: 3,
            most: 2,
        };
        assert_eq!(
            encode_ogg_opus(&Buffer::silence(48_000, 3, 9).unwrap(), 64_000),
            Err(most)
        );
        let one = Buffer::silence(48_000, 1, 9).unwrap();
        assert!(matches!(
            encode_ogg_opus(&one, 5_999),
            Err(EncodeError::Bitrate { .. })
        ));
        assert!(matches!(
            encode_ogg_opus(&one, 510_001),
            Err(EncodeError::Bitrate { .. })
        ));
        let none = Buffer::silence(48_000, 1, 0).unwrap();
        assert!(matches!(
            encode_ogg_opus(&none, 64_000),
            Err(EncodeError::Empty { .. })
        ));
    }
}
