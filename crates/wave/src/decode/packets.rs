//! Packets read and decoded by symphonia, put together into a buffer, cut to where the sound begins and ends.

use super::{DecodeError, Limits, check_length, check_shape, finish};
use crate::Buffer;
use crate::units::Seconds;
use symphonia::core::codecs::CodecParameters;
use symphonia::core::codecs::audio::AudioDecoderOptions;
use symphonia::core::common::Limit;
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, TrackType};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::meta::MetadataOptions;

/// What a container says about its beginning and end beyond what symphonia applies itself. In ticks of `timescale`; 0 for frames.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Trim {
    pub timescale: u64,
    /// Cut off the beginning.
    pub start: u64,
    /// Kept after that.
    pub keep: Option<u64>,
    /// Silence put before all.
    pub silence: u64,
}

pub(super) fn decode(
    bytes: &[u8],
    format: &'static str,
    trim: Trim,
    limits: &Limits,
) -> Result<Buffer, DecodeError> {
    let stream = MediaSourceStream::new(
        Box::new(std::io::Cursor::new(bytes)),
        MediaSourceStreamOptions::default(),
    );
    let mut hint = Hint::new();
    hint.with_extension(match format {
        "MP3" => "mp3",
        "FLAC" => "flac",
        "M4A" => "m4a",
        "WAV" => "wav",
        "AAC (ADTS)" => "aac",
        _ => "ogg",
    });
    let tags = MetadataOptions::default()
        .limit_visual_bytes(Limit::Maximum(1 << 20))
        .limit_tag_bytes(Limit::Maximum(1 << 16));
    let mut reader = symphonia::default::get_probe()
        .probe(&hint, stream, FormatOptions::default(), tags)
        .map_err(|e| fault(format, None, &e))?;

    let track = reader
        .default_track(TrackType::Audio)
        .ok_or_else(|| DecodeError::Header {
            format,
            found: "no sound track".to_owned(),
            right: "one".to_owned(),
        })?;
    let track_id = track.id;
    let declared = track.num_frames;
    let Some(CodecParameters::Audio(params)) = track.codec_params.clone() else {
        return Err(DecodeError::Unsupported {
            found: format!("{format} of an unknown codec"),
            right: "export it as WAV or FLAC",
        });
    };
    if let Some(rate_hz) = params.sample_rate {
        check_shape(
            format,
            rate_hz,
            params.channels.as_ref().map_or(1, |c| c.count()),
            limits,
        )?;
        // Only FLAC states its length beyond doubt; the others are held to the limits as they are decoded.
        if let (Some(frames), "FLAC") = (declared, format) {
            check_length(frames, rate_hz, 1, limits)?;
        }
    }
    let mut decoder = symphonia::default::get_codecs()
        .make_audio_decoder(&params, &AudioDecoderOptions::default())
        .map_err(|e| fault(format, None, &e))?;

    let mut rate_hz = 0;
    let mut planes: Vec<Vec<f32>> = Vec::new();
    let mut block: Vec<Vec<f32>> = Vec::new();
    let mut packets = 0u64;
    loop {
        let at = Seconds::from_frames(planes.first().map_or(0, Vec::len), rate_hz);
        let packet = match reader.next_packet() {
            Ok(Some(packet)) => packet,
            Ok(None) => break,
            Err(Error::IoError(e)) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
                return Err(DecodeError::Truncated {
                    format,
                    found: at.to_string(),
                    declared: "more".to_owned(),
                });
            }
            Err(e) => return Err(fault(format, Some(at), &e)),
        };
        if packet.track_id != track_id {
            continue;
        }
        packets += 1;
        match decoder.decode(&packet) {
            Ok(decoded) => {
                let spec = decoded.spec();
                let (rate, count) = (spec.rate(), spec.channels().count());
                if planes.is_empty() {
                    check_shape(format, rate, count, limits)?;
                    rate_hz = rate;
                    planes = vec![Vec::new(); count];
                }
                if rate != rate_hz || count != planes.len() {
                    return Err(DecodeError::Damaged {
                        format,
                        at: Some(at),
                        detail: format!(
                            "from {rate_hz} Hz, {} channels to {rate} Hz, {count} channels",
                            planes.len()
                        ),
                    });
                }
                check_length(
                    (planes[0].len() + decoded.frames()) as u64,
                    rate_hz,
                    count,
                    limits,
                )?;
                decoded.copy_to_vecs_planar(&mut block);
                for (plane, samples) in planes.iter_mut().zip(&block) {
                    plane.extend_from_slice(samples);
                }
            }
            // An MP3 cut out of a longer one begins with frames that lean on what is gone: they count as silence.
            Err(Error::DecodeError(_)) if format == "MP3" && packets <= 3 && !planes.is_empty() => {
                let frames = usize::try_from(packet.dur.get()).unwrap_or(0).min(1_152);
                for plane in &mut planes {
                    plane.resize(plane.len() + frames, 0.0);
                }
            }
            Err(e) => return Err(fault(format, Some(at), &e)),
        }
    }
    if planes.is_empty() {
        return Err(DecodeError::NoSound { format });
    }
    let found = planes[0].len() as u64;
    // What is declared for an MP3 is a guess unless a tag says it; Ogg and M4A are checked where they are read.
    let sure = format == "FLAC" || format == "MP3" && super::sniff::states_frame_count(bytes);
    if let Some(declared) = declared
        && sure
        && found < declared
    {
        return Err(DecodeError::Truncated {
            format,
            found: format!("{found} frames"),
            declared: format!("{declared}"),
        });
    }
    cut(&mut planes, trim, rate_hz, format, limits)?;
    finish(format, rate_hz, planes)
}

/// Applies what the container said.
fn cut(
    planes: &mut [Vec<f32>],
    trim: Trim,
    rate_hz: u32,
    format: &'static str,
    limits: &Limits,
) -> Result<(), DecodeError> {
    let frames = |ticks: u64| -> u64 {
        if trim.timescale == 0 || trim.timescale == u64::from(rate_hz) {
            return ticks;
        }
        let exact = (u128::from(ticks) * u128::from(rate_hz) + u128::from(trim.timescale / 2))
            / u128::from(trim.timescale);
        u64::try_from(exact).unwrap_or(u64::MAX)
    };
    let found = planes[0].len() as u64;
    let start = frames(trim.start);
    if start >= found && start > 0 {
        return Err(DecodeError::Truncated {
            format,
            found: format!("{found} frames"),
            declared: format!("more than {start}"),
        });
    }
    let keep = trim.keep.map_or(u64::MAX, frames).min(found - start);
    let silence = frames(trim.silence);
    check_length(silence.saturating_add(keep), rate_hz, planes.len(), limits)?;
    for plane in planes {
        plane.truncate((start + keep) as usize);
        plane.splice(..start as usize, std::iter::repeat_n(0.0, silence as usize));
    }
    Ok(())
}

fn fault(format: &'static str, at: Option<Seconds>, error: &Error) -> DecodeError {
    match error {
        Error::IoError(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
            DecodeError::Truncated {
                format,
                found: at.map_or("part of a header".to_owned(), |a| a.to_string()),
                declared: "more".to_owned(),
            }
        }
        Error::Unsupported(what) => DecodeError::Unsupported {
            found: format!("{format} ({what})"),
            right: "export it as WAV, FLAC or AAC-LC",
        },
        Error::LimitError(what) => DecodeError::Limit {
            what: "size inside the file",
            found: (*what).to_owned(),
            most: "less".to_owned(),
        },
        e => DecodeError::Damaged {
            format,
            at,
            detail: e.to_string(),
        },
    }
}
