//! Sound files of the user: read with a limit, decoded; and stretches of time in them as people write them.

use crate::failure::Failure;
use crate::store::digest;
use std::path::Path;
use wave::{Buffer, Limits};

/// Largest sound file that is read.
const BYTES_MAX: u64 = 1 << 30;

/// The bytes of a sound file.
pub fn read_bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    let shown = path.display().to_string();
    let meta = std::fs::metadata(path).map_err(Failure::io(shown.clone()))?;
    if !meta.is_file() || meta.len() > BYTES_MAX {
        return Err(Failure::NotPossible(format!("{shown}: this is no audio file of at most {BYTES_MAX} bytes")));
    }
    std::fs::read(path).map_err(Failure::io(shown))
}

/// The sound in the bytes of the file at `path`, whose ending helps to tell what it is.
pub fn decode(path: &Path, bytes: &[u8]) -> Result<Buffer, Failure> {
    let extension = path.extension().and_then(|e| e.to_str());
    wave::decode(bytes, extension, &Limits::default()).map_err(|e| Failure::MaterialSaid(format!("{}: {e}", path.display())))
}

/// The sound of a file, and the digest of its bytes.
pub fn read(path: &Path) -> Result<(Buffer, String), Failure> {
    let bytes = read_bytes(path)?;
    Ok((decode(path, &bytes)?, digest(&bytes)))
}

/// Seconds, written `1:02.5` or `62.5`.
pub fn parse_time(text: &str) -> Result<f64, String> {
    let wrong = || format!("\"{text}\" is no time; write minutes and seconds (1:02.5) or seconds (62.5)");
    let (minutes, seconds) = match text.split_once(':') {
        Some((m, s)) => (f64::from(m.parse::<u16>().map_err(|_| wrong())?), s),
        None => (0.0, text),
    };
    let plain = !seconds.is_empty() && seconds.chars().all(|c| c.is_ascii_digit() || c == '.');
    let seconds: f64 = seconds.parse().ok().filter(|_| plain).ok_or_else(wrong)?;
    if text.contains(':') && seconds >= 60.0 {
        return Err(wrong());
    }
    Ok(60.0 * minutes + seconds)
}

/// `62.5` as `1:02.50`.
pub fn clock(seconds: f64) -> String {
    let hundredths = (seconds.max(0.0) * 100.0).round() as u64;
    format!("{}:{:02}.{:02}", hundredths / 6000, hundredths / 100 % 60, hundredths % 100)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_and_written() {
        assert_eq!(parse_time("1:02.5"), Ok(62.5));
        assert_eq!(parse_time("62.5"), Ok(62.5));
        assert_eq!(parse_time("0:00"), Ok(0.0));
        for wrong in ["", ":", "1:", "1:60", "-3", "1e3", "inf", "1:-2", "a", "1:2:3"] {
            assert!(parse_time(wrong).is_err(), "{wrong}");
        }
        assert_eq!(clock(62.5), "1:02.50");
        assert_eq!(clock(59.999), "1:00.00");
    }
}
