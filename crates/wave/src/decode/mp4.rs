//! Where the sound begins and ends in an M4A file: its edit list, or the iTunSMPB note; and whether it is HE-AAC.
//!
//! An AAC encoder puts some 1024 or 2112 frames before the sound. The track's edit list (ISO/IEC 14496-12 section 8.6.6) says from
//! which media time on it is to be presented, and for how long; files without one may say the same in a comment named iTunSMPB: four hexadecimal
//! numbers, of which the second is the frames before the sound, the third those behind it and the fourth the sound's own (common practice).

use super::DecodeError;
use super::packets::Trim;

const FORMAT: &str = "M4A";
/// Boxes nest eight deep to a sample description; nothing needed lies deeper.
const DEEPEST: usize = 10;

#[derive(Default)]
struct Track {
    is_sound: bool,
    timescale: u64,
    duration: u64,
    /// Media time at which the presentation begins, and its length in the movie's timescale (0: to the end).
    edit: Option<(u64, u64)>,
    /// Silence before the presentation, in the movie's timescale.
    empty: u64,
}

#[derive(Default)]
struct Movie {
    timescale: u64,
    tracks: Vec<Track>,
    note: Option<Trim>,
    fragmented: bool,
    he_aac: bool,
}

/// The facts of the first sound track.
pub(super) fn read(bytes: &[u8]) -> Result<Trim, DecodeError> {
    let mut movie = Movie::default();
    let mut found_movie = false;
    for (kind, body, whole) in boxes(bytes) {
        match kind {
            b"moov" => {
                // Cut off within, it is as good as not there.
                found_movie = whole;
                walk(body, 1, &mut movie);
            }
            b"moof" => movie.fragmented = true,
            b"mdat" if !whole => {
                return Err(DecodeError::Truncated {
                    format: FORMAT,
                    found: format!("{} bytes of sound", body.len()),
                    declared: "more".to_owned(),
                });
            }
            _ => {}
        }
    }
    if !found_movie {
        return Err(DecodeError::Truncated {
            format: FORMAT,
            found: "no whole table of contents (moov)".to_owned(),
            declared: "one".to_owned(),
        });
    }
    if movie.he_aac {
        return Err(DecodeError::Unsupported {
            found: "HE-AAC (AAC with spectral band replication)".to_owned(),
            right: "convert it to AAC-LC, FLAC or WAV",
        });
    }
    let Some(track) = movie.tracks.iter().find(|t| t.is_sound) else {
        return Err(DecodeError::Header {
            format: FORMAT,
            found: "no sound track".to_owned(),
            right: "one track of AAC or ALAC".to_owned(),
        });
    };
    let mut trim = movie.note.unwrap_or_default();
    if let Some((start, length)) = track.edit {
        trim.start = start;
        let to_end = track.duration.saturating_sub(start);
        // The movie's clock is coarse (often milliseconds): a length is taken as the last tick's end.
        let presented = if length == 0 || movie.timescale == 0 {
            to_end
        } else {
            let ticks = (u128::from(length) + 1) * u128::from(track.timescale)
                / u128::from(movie.timescale);
            u64::try_from(ticks).unwrap_or(u64::MAX)
        };
        // The comment, where there is one too, counts in frames.
        trim.keep = trim
            .keep
            .or((track.duration > 0 && !movie.fragmented).then_some(presented.min(to_end)));
    }
    if movie.timescale > 0 {
        let silence =
            u128::from(track.empty) * u128::from(track.timescale) / u128::from(movie.timescale);
        trim.silence = u64::try_from(silence).unwrap_or(u64::MAX);
    }
    trim.timescale = track.timescale;
    Ok(trim)
}

/// The boxes of a stretch of bytes: kind, body, and whether the body is all there.
fn boxes(bytes: &[u8]) -> impl Iterator<Item = (&[u8; 4], &[u8], bool)> {
    let mut rest = bytes;
    std::iter::from_fn(move || {
        let (head, _) = rest.split_first_chunk::<8>()?;
        let kind: &[u8; 4] = rest[4..8].try_into().ok()?;
        let size = u64::from(u32::from_be_bytes([head[0], head[1], head[2], head[3]]));
        let (size, header) = match size {
            0 => (rest.len() as u64, 8),
            1 => (be(rest.get(8..16)?), 16),
            n => (n, 8),
        };
        if size < header {
            return None;
        }
        let whole = size <= rest.len() as u64;
        let end = usize::try_from(size).unwrap_or(usize::MAX).min(rest.len());
        let body = rest.get(header as usize..end)?;
        rest = &rest[end..];
        Some((kind, body, whole))
    })
}

fn walk(bytes: &[u8], depth: usize, movie: &mut Movie) {
    if depth > DEEPEST {
        return;
    }
    for (kind, body, _) in boxes(bytes) {
        let long = body.first() == Some(&1);
        let field = |at: usize, bytes: usize| body.get(at..at + bytes).map_or(0, be);
        match kind {
            b"mvhd" => movie.timescale = if long { field(20, 4) } else { field(12, 4) },
            b"trak" => {
                movie.tracks.push(Track::default());
                walk(body, depth + 1, movie);
            }
            b"mdia" | b"minf" | b"stbl" | b"edts" | b"udta" | b"ilst" => {
                walk(body, depth + 1, movie)
            }
            // A full box with a version before its children; older writers leave the version out.
            b"meta" => walk(body.get(4..).unwrap_or(&[]), depth + 1, movie),
            b"mvex" => movie.fragmented = true,
            b"----" => movie.note = movie.note.or(note(body)),
            b"stsd" => movie.he_aac |= says_he_aac(body),
            _ => {}
        }
        let Some(track) = movie.tracks.last_mut() else {
            continue;
        };
        match kind {
            b"hdlr" if body.get(8..12) == Some(b"soun") => track.is_sound = true,
            b"mdhd" => {
                (track.timescale, track.duration) = if long {
                    (field(20, 4), field(24, 8))
                } else {
                    (field(12, 4), field(16, 4))
                };
            }
            b"elst" => {
                let (width, entry) = if long { (8, 20) } else { (4, 12) };
                // Only the first presented stretch: a track cut into several is beyond what music files do.
                for e in body.get(8..).unwrap_or(&[]).chunks_exact(entry) {
                    let (length, start) = (be(&e[..width]), be(&e[width..2 * width]));
                    let empty = if long {
                        start == u64::MAX
                    } else {
                        start == u64::from(u32::MAX)
                    };
                    if !empty {
                        track.edit = Some((start, length));
                        break;
                    }
                    track.empty = track.empty.saturating_add(length);
                }
            }
            _ => {}
        }
    }
}

fn be(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0, |n, b| n << 8 | u64::from(*b))
}

/// Reads an iTunSMPB comment: ` 00000000 00000840 000001C0 0000000000AC4400 …`.
fn note(body: &[u8]) -> Option<Trim> {
    let part = |kind: &[u8; 4], skip: usize| {
        boxes(body)
            .find(|(k, ..)| *k == kind)
            .and_then(|(_, b, _)| b.get(skip..))
    };
    if part(b"name", 4)? != b"iTunSMPB" {
        return None;
    }
    let text = std::str::from_utf8(part(b"data", 8)?).ok()?;
    let numbers: Vec<u64> = text
        .split_whitespace()
        .take(4)
        .filter_map(|n| u64::from_str_radix(n, 16).ok())
        .collect();
    match numbers[..] {
        [_, start, _, keep] if keep > 0 => Some(Trim {
            start,
            keep: Some(keep),
            ..Trim::default()
        }),
        _ => None,
    }
}

/// Whether a sample description holds an MPEG-4 audio configuration with spectral band replication, stated outright (object type 5 or 29)
/// or by the backward-compatible mark 0x2b7 (ISO/IEC 14496-3 section 1.6.5).
fn says_he_aac(stsd: &[u8]) -> bool {
    // The configuration is the body of descriptor 5 inside the esds box; its length is 1 byte, or 4 with continuation bits.
    let Some(at) = stsd.windows(4).position(|w| w == b"esds") else {
        return false;
    };
    let esds = &stsd[at + 4..];
    // Behind the decoder description (tag 4: object type 0x40 is MPEG-4 audio) comes the configuration.
    let Some(start) = esds
        .windows(2)
        .position(|w| w == [0x05, 0x80] || (w[0] == 0x05 && (2..=16).contains(&w[1])))
    else {
        return false;
    };
    let mut rest = &esds[start + 1..];
    let mut length = 0usize;
    while let Some((b, tail)) = rest.split_first() {
        length = length << 7 | usize::from(b & 0x7f);
        rest = tail;
        if b & 0x80 == 0 {
            break;
        }
    }
    let config = &rest[..length.min(rest.len()).min(64)];
    let bit = |i: usize| {
        config
            .get(i / 8)
            .map_or(0u32, |b| u32::from(b >> (7 - i % 8) & 1))
    };
    let bits = |from: usize, count: usize| (from..from + count).fold(0u32, |n, i| n << 1 | bit(i));
    if matches!(bits(0, 5), 5 | 29) {
        return true;
    }
    // The mark stands behind the core's own fields, at a place that depends on them: it is looked for from bit 13 on.
    let end = config.len() * 8;
    (13..end.saturating_sub(16))
        .any(|i| bits(i, 11) == 0x2b7 && bits(i + 11, 5) == 5 && bit(i + 16) == 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn boxed(kind: &[u8; 4], body: &[u8]) -> Vec<u8> {
        let mut out = (body.len() as u32 + 8).to_be_bytes().to_vec();
        out.extend_from_slice(kind);
        out.extend_from_slice(body);
        out
    }

    #[test]
    fn a_comment_gives_start_and_length() {
        let mut body = boxed(b"mean", b"\0\0\0\0com.apple.iTunes");
        body.extend(boxed(b"name", b"\0\0\0\0iTunSMPB"));
        body.extend(boxed(
            b"data",
            b"\0\0\0\x01\0\0\0\0 00000000 00000840 000001C0 00000000000AC440 00000000",
        ));
        assert_eq!(
            note(&body),
            Some(Trim {
                start: 0x840,
                keep: Some(0xac440),
                ..Trim::default()
            })
        );
    }

    #[test]
    fn band_replication_is_seen_in_both_forms() {
        let esds = |config: &[u8]| {
            let mut descriptor = vec![0x05, config.len() as u8];
            descriptor.extend_from_slice(config);
            boxed(b"esds", &descriptor)
        };
        // AAC-LC, 44.1 kHz, stereo.
        assert!(!says_he_aac(&esds(&[0x12, 0x10])));
        // Object type 5.
        assert!(says_he_aac(&esds(&[0x2b, 0x92, 0x08, 0x00])));
        // AAC-LC, 22.05 kHz, then 0x2b7, object type 5, present.
        assert!(says_he_aac(&esds(&[0x13, 0x90, 0x56, 0xe5, 0xa0])));
        // The same mark, not present.
        assert!(!says_he_aac(&esds(&[0x13, 0x90, 0x56, 0xe5, 0x00])));
    }

    #[test]
    fn boxes_end_where_the_bytes_end() {
        assert_eq!(boxes(&[0, 0, 0, 4, b'f', b'r', b'e', b'e']).count(), 0);
        let (kind, body, whole) = boxes(&[0, 0, 0, 20, b'm', b'd', b'a', b't', 1])
            .next()
            .unwrap();
        assert_eq!((kind, body, whole), (b"mdat", &[1u8][..], false));
        assert_eq!(
            boxes(&[
                0, 0, 0, 1, b'm', b'd', b'a', b't', 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff
            ])
            .count(),
            1
        );
    }
}
