//! What a file's first bytes say it is.

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Found {
    /// RIFF/WAVE, RF64.
    Wav,
    /// Opus in Ogg.
    OggOpus,
    /// Another codec in Ogg that symphonia reads.
    Ogg(&'static str),
    /// An ISO base media file (M4A, MP4).
    Mp4,
    /// FLAC, MP3, ADTS: a stream of packets that symphonia reads.
    Packets(&'static str),
    /// A sound file of another kind.
    Unsupported {
        found: &'static str,
        right: &'static str,
    },
    /// No sound file.
    Other(&'static str),
}

const EXPORT: &str = "export it as WAV, FLAC, MP3 or M4A";

pub(super) fn sniff(bytes: &[u8]) -> Found {
    let unsupported = |found| Found::Unsupported {
        found,
        right: EXPORT,
    };
    let tagged = after_id3(bytes);
    if starts(bytes, 0, b"RIFF") || starts(bytes, 0, b"RF64") {
        return match bytes.get(8..12) {
            Some(b"WAVE") => Found::Wav,
            Some(b"AVI ") => Found::Other("a video (AVI)"),
            Some(b"WEBP") => Found::Other("a picture (WebP)"),
            _ => Found::Other("a RIFF file that is not WAVE"),
        };
    }
    if starts(bytes, 0, b"OggS") {
        return sniff_ogg(bytes);
    }
    if starts(bytes, 4, b"ftyp") {
        return Found::Mp4;
    }
    if starts(tagged, 0, b"fLaC") {
        return Found::Packets("FLAC");
    }
    if starts(bytes, 0, b"FORM") && (starts(bytes, 8, b"AIFF") || starts(bytes, 8, b"AIFC")) {
        return unsupported("an AIFF file");
    }
    let kinds: [(&[u8], &'static str); 8] = [
        (b"RIFX", "a big-endian WAV file (RIFX)"),
        (b"riff", "a Wave64 file"),
        (&[0x1a, 0x45, 0xdf, 0xa3], "a Matroska or WebM file"),
        (&[0x30, 0x26, 0xb2, 0x75], "a Windows Media file"),
        (b"caff", "a Core Audio file"),
        (b".snd", "an AU file"),
        (b"wvpk", "a WavPack file"),
        (b"MAC ", "a Monkey's Audio file"),
    ];
    if let Some((_, found)) = kinds.iter().find(|(magic, _)| bytes.starts_with(magic)) {
        return unsupported(found);
    }
    if bytes.starts_with(b"MThd") {
        return Found::Other("a MIDI file, which has notes and no sound");
    }
    let others: [(&[u8], &'static str); 6] = [
        (b"\x89PNG", "a picture (PNG)"),
        (&[0xff, 0xd8, 0xff], "a picture (JPEG)"),
        (b"GIF8", "a picture (GIF)"),
        (b"%PDF", "a PDF"),
        (b"PK\x03\x04", "a ZIP archive"),
        (&[0x1f, 0x8b], "a gzip archive"),
    ];
    if let Some((_, found)) = others.iter().find(|(magic, _)| bytes.starts_with(magic)) {
        return Found::Other(found);
    }
    if let Some(format) = frame_sync(tagged) {
        return Found::Packets(format);
    }
    let head = &bytes[..bytes.len().min(4_096)];
    let control = |b: &u8| *b < 32 && !matches!(b, b'\t' | b'\n' | b'\r' | 12);
    if bytes.iter().all(|b| *b == 0) {
        return Found::Other("nothing but zero bytes");
    }
    // A character may be cut at the end of the part that is looked at.
    let text = match std::str::from_utf8(head) {
        Ok(_) => true,
        Err(e) => e.error_len().is_none(),
    };
    if text && !head.iter().any(control) {
        return Found::Other("text");
    }
    Found::Other("bytes of no known kind")
}

fn starts(bytes: &[u8], at: usize, magic: &[u8]) -> bool {
    bytes.get(at..).is_some_and(|b| b.starts_with(magic))
}

/// The bytes after an ID3v2 tag (id3.org, ID3v2.4 section 3.1), where there is one.
fn after_id3(bytes: &[u8]) -> &[u8] {
    match bytes {
        [b'I', b'D', b'3', _, _, flags, s @ ..]
            if s.len() >= 4 && s[..4].iter().all(|b| *b < 128) =>
        {
            let size = s[..4].iter().fold(0usize, |n, b| n << 7 | usize::from(*b));
            let footer = if flags & 0x10 != 0 { 10 } else { 0 };
            bytes.get(10 + size + footer..).unwrap_or(&[])
        }
        _ => bytes,
    }
}

fn sniff_ogg(bytes: &[u8]) -> Found {
    // RFC 3533 section 6: the segment table's length stands at byte 26, the first packet behind the table.
    let packet = bytes
        .get(26)
        .and_then(|n| bytes.get(27 + usize::from(*n)..))
        .unwrap_or(&[]);
    if packet.starts_with(b"OpusHead") {
        Found::OggOpus
    } else if packet.starts_with(b"\x01vorbis") {
        Found::Ogg("Ogg Vorbis")
    } else if packet.starts_with(b"\x7fFLAC") {
        Found::Ogg("Ogg FLAC")
    } else if packet.starts_with(b"Speex") {
        Found::Unsupported {
            found: "Speex in Ogg",
            right: EXPORT,
        }
    } else if packet.starts_with(b"\x80theora") {
        Found::Other("a video (Ogg Theora)")
    } else {
        Found::Unsupported {
            found: "an Ogg file of an unknown codec",
            right: EXPORT,
        }
    }
}

/// Looks for an MPEG audio or ADTS frame in the first bytes that is followed by another one (or by the end).
fn frame_sync(bytes: &[u8]) -> Option<&'static str> {
    const SEARCH: usize = 4_096;
    (0..bytes.len().min(SEARCH)).find_map(|at| {
        let (format, length) = frame_at(bytes, at)?;
        match bytes.get(at + length..) {
            Some(rest) if rest.len() >= 4 => frame_at(bytes, at + length)
                .filter(|(f, _)| *f == format)
                .map(|_| format),
            // The only frame: believed only at the very beginning.
            _ => (at == 0).then_some(format),
        }
    })
}

/// Whether an MP3 file begins with a frame that holds no sound but the number of frames: the tag "Xing", "Info" or "VBRI" (common
/// practice; no standard has it) behind the header and the side information, which take 4 and up to 32 bytes.
pub(super) fn states_frame_count(bytes: &[u8]) -> bool {
    let tagged = after_id3(bytes);
    let first = (0..tagged.len().min(4_096)).find(|&at| frame_at(tagged, at).is_some());
    let Some(head) = first.and_then(|at| tagged.get(at + 4..at + 44)) else {
        return false;
    };
    head.windows(8).any(|w| {
        (w.starts_with(b"Xing") || w.starts_with(b"Info")) && w[7] & 1 != 0
            || w.starts_with(b"VBRI")
    })
}

/// Format and length in bytes of the frame whose header stands at `at`.
fn frame_at(bytes: &[u8], at: usize) -> Option<(&'static str, usize)> {
    let header = bytes.get(at..at + 4)?;
    if header[0] != 0xff || header[1] & 0xe0 != 0xe0 {
        return None;
    }
    let (version, layer) = (header[1] >> 3 & 3, header[1] >> 1 & 3);
    if header[1] & 0xf6 == 0xf0 {
        // ISO/IEC 13818-7, adts_fixed_header: sync of 12 ones, layer 0; the length has 13 bits from bit 30 on.
        let tail = bytes.get(at + 4..at + 6)?;
        let length = usize::from(header[3] & 3) << 11
            | usize::from(tail[0]) << 3
            | usize::from(tail[1]) >> 5;
        let rate = header[2] >> 2 & 15;
        return (rate < 13 && length >= 7).then_some(("AAC (ADTS)", length));
    }
    // ISO/IEC 11172-3 section 2.4.2.3. Layer III only; bit rate index 0 (free) and 15 are not accepted.
    let (rate_index, bit_index) = (usize::from(header[2] >> 2 & 3), usize::from(header[2] >> 4));
    if version == 1 || layer != 1 || rate_index == 3 || bit_index == 0 || bit_index == 15 {
        return None;
    }
    const MPEG1_KBPS: [usize; 15] = [
        0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320,
    ];
    const MPEG2_KBPS: [usize; 15] = [0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160];
    let mpeg1 = version == 3;
    let kbps = if mpeg1 { MPEG1_KBPS } else { MPEG2_KBPS }[bit_index];
    let rate_hz = [44_100, 48_000, 32_000][rate_index]
        >> match version {
            3 => 0,
            2 => 1,
            _ => 2,
        };
    let padding = usize::from(header[2] >> 1 & 1);
    Some((
        "MP3",
        if mpeg1 { 144 } else { 72 } * kbps * 1_000 / rate_hz + padding,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn other_things_are_called_by_their_name() {
        let cases: [(&[u8], &str); 8] = [
            (b"lesson \"x\" { }\n", "text"),
            ("Gr\u{fc}n, gr\u{fc}n".as_bytes(), "text"),
            (&[0; 64], "nothing but zero bytes"),
            (b"\x89PNG\r\n\x1a\n", "a picture (PNG)"),
            (b"%PDF-1.7", "a PDF"),
            (
                b"MThd\0\0\0\x06",
                "a MIDI file, which has notes and no sound",
            ),
            (&[1, 2, 3, 250], "bytes of no known kind"),
            (&[0xff], "bytes of no known kind"),
        ];
        for (bytes, want) in cases {
            assert_eq!(sniff(bytes), Found::Other(want));
        }
    }

    #[test]
    fn sound_files_that_cannot_be_read_are_named() {
        for bytes in [
            &b"FORM\0\0\0\0AIFF"[..],
            b"caff",
            &[0x1a, 0x45, 0xdf, 0xa3],
            b"riff..",
        ] {
            assert!(
                matches!(sniff(bytes), Found::Unsupported { .. }),
                "{bytes:?}"
            );
        }
    }

    #[test]
    fn a_lone_sync_word_in_noise_is_no_mp3() {
        let mut bytes = vec![7u8; 4_000];
        bytes[100..104].copy_from_slice(&[0xff, 0xfb, 0x90, 0x64]);
        assert_eq!(sniff(&bytes), Found::Other("bytes of no known kind"));
        // 128 kb/s at 44.1 kHz: frames of 417 bytes.
        bytes[517..521].copy_from_slice(&[0xff, 0xfb, 0x90, 0x64]);
        assert_eq!(sniff(&bytes), Found::Packets("MP3"));
    }
}
