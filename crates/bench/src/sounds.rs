//! Parts as samples for the browser: a passage at one tempo, all its stems in one answer, kept while its text stays.

use crate::record::{Marks, laid};
use lesson::Passage;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex};
use wave::Buffer;

/// Passages kept, each at one tempo, and their bytes: a long one at a quarter of its tempo has 60 million. The newest is kept whatever its size.
const KEPT: usize = 6;
const KEPT_BYTES: usize = 80_000_000;

/// Sounds made before, by the text that they came from.
#[derive(Default)]
pub struct Sounds {
    kept: Mutex<VecDeque<(String, Arc<[u8]>)>>,
}

impl Sounds {
    /// What was made under this key, or what `make` gives now.
    pub fn get(&self, key: &str, make: impl FnOnce() -> Result<Vec<u8>, String>) -> Result<Arc<[u8]>, String> {
        let kept = || self.kept.lock().unwrap_or_else(|e| e.into_inner());
        if let Some((_, bytes)) = kept().iter().find(|(k, _)| k == key) {
            return Ok(bytes.clone());
        }
        let bytes: Arc<[u8]> = Arc::from(make()?);
        let mut kept = kept();
        kept.push_back((key.to_string(), bytes.clone()));
        while kept.len() > KEPT || (kept.len() > 1 && kept.iter().map(|k| k.1.len()).sum::<usize>() > KEPT_BYTES) {
            kept.pop_front();
        }
        Ok(bytes)
    }
}

/// The record under a passage: a stretch of it, where the passage's beats lie in it, and how far it lies over concert pitch.
pub struct Quoted<'a> {
    pub piece: &'a Buffer,
    /// Seconds from the stretch's beginning, and written time of the passage in seconds at full tempo.
    pub beats: Vec<(f64, f64)>,
    pub cents: f64,
    /// How well it was taken apart, in words; empty where all of it is let through.
    pub words: String,
}

/// A passage at a tempo, as the browser reads it: the length of a JSON head (u32, little end first), the head, padded to four bytes, then for
/// the count-in, the click and each part in order left and right as 16-bit samples, interleaved.
///
/// The head: `rate`, `frames`, `countIn` (frames), `bars` (first frame of each, and the end), `parts` (names), `inMix` (which are no easier
/// way to play another).
///
/// # Errors
/// What cannot be made to sound, in words. Takes are left to the computed sound: the page plays parts while they are written.
pub fn passage(passage: &Passage, percent: u32, record: Option<Quoted<'_>>) -> Result<Vec<u8>, String> {
    let made = sound::render(passage, &sound::Options { tempo_percent: percent, looped: true }, &sound::Takes::new(), &|_| ()).map_err(|e| e.to_string())?;
    let rate = f64::from(sound::RATE);
    let frame = |s: f64| ((s * 100.0 / f64::from(percent) * rate).round() as usize).min(made.frames);
    let bars: Vec<usize> = passage.bar_starts().iter().map(|s| frame(*s)).collect();
    let mut names: Vec<&str> = made.stems.iter().filter_map(|(i, _)| passage.parts.get(*i)).map(|p| p.name.as_str()).collect();
    // Brought to the passage's length, so that the two go round together; what cannot be stretched so far stays away.
    let words = record.as_ref().map(|q| q.words.clone()).unwrap_or_default();
    let quoted = record.and_then(|q| {
        let mut marks: Marks = q.beats.iter().map(|(s, written)| (*s, frame(*written))).collect();
        marks.last_mut()?.1 = made.frames;
        laid(q.piece, &marks, q.cents).ok()
    });
    if quoted.is_some() {
        names.push(RECORD);
    }
    let head = serde_json::json!({
        "rate": sound::RATE, "frames": made.frames, "countIn": made.count_in.frames(), "bars": bars, "parts": names, "inMix": made.in_mix,
        "clickHeadroomDb": made.click_headroom_db, "apart": words,
    })
    .to_string();
    let mut out = Vec::new();
    write_head(&mut out, &head);
    for buffer in [&made.count_in, &made.click].into_iter().chain(made.stems.iter().map(|(_, b)| b)).chain(&quoted) {
        write_samples(&mut out, buffer);
    }
    Ok(out)
}

/// What the record is called among the parts.
pub const RECORD: &str = "the record";

/// Bars of the record at a tempo, in the same form, without count-in and click. `bars` are their beginnings and the end, in seconds of the record; `piece` is what sounds
/// in them, `cents` what its pitch is moved down by, `words` how well it was taken apart.
///
/// # Errors
/// What cannot be slowed down, in words.
pub fn of_record(piece: &Buffer, bars: &[f64], percent: u32, cents: f64, words: &str) -> Result<Vec<u8>, String> {
    let (Some(first), Some(last)) = (bars.first(), bars.last()) else { return Err("there are no such bars".into()) };
    let at = |s: f64| ((s - first) * 100.0 / f64::from(percent) * f64::from(sound::RATE)).round() as usize;
    let slow = laid(piece, &[(0.0, 0), (last - first, at(*last))], cents)?;
    let starts: Vec<usize> = bars.iter().map(|b| at(*b)).collect();
    let head = serde_json::json!({ "rate": sound::RATE, "frames": slow.frames(), "countIn": 0, "bars": starts, "parts": [RECORD], "inMix": [0], "clickHeadroomDb": 0.0, "apart": words }).to_string();
    let mut out = Vec::new();
    write_head(&mut out, &head);
    let silence = Buffer::silence(sound::RATE, 2, slow.frames()).map_err(|e| e.to_string())?;
    for buffer in [&silence, &slow] {
        write_samples(&mut out, buffer);
    }
    Ok(out)
}

fn write_head(out: &mut Vec<u8>, head: &str) {
    let padded = head.len().next_multiple_of(4);
    out.extend_from_slice(&(padded as u32).to_le_bytes());
    out.extend_from_slice(head.as_bytes());
    out.resize(4 + padded, b' ');
}

fn write_samples(out: &mut Vec<u8>, buffer: &Buffer) {
    let (left, right) = (buffer.channel(0), buffer.channel(if buffer.channel_count() > 1 { 1 } else { 0 }));
    out.reserve(left.len() * 4);
    for (l, r) in left.iter().zip(right) {
        for s in [l, r] {
            out.extend_from_slice(&((s.clamp(-1.0, 1.0) * 32767.0).round() as i16).to_le_bytes());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_passage_is_as_long_as_its_head_says() {
        let text = "lesson \"t\" { passage \"p\" { tempo 120; slots 4; part \"line\" instrument=\"guitar\" { bar \"5:3 . 4:2 .\" times=2 } } }";
        let lesson = lesson::read(text).lesson;
        let bytes = passage(&lesson.passages[0], 50, None).unwrap();
        let padded = u32::from_le_bytes(bytes[..4].try_into().unwrap()) as usize;
        let head: serde_json::Value = serde_json::from_slice(&bytes[4..4 + padded]).unwrap();
        // Two bars of four beats at 60 a minute.
        assert_eq!(head["frames"], 8 * 48_000);
        assert_eq!(head["bars"], serde_json::json!([0, 4 * 48_000, 8 * 48_000]));
        let frames = head["countIn"].as_u64().unwrap() as usize + 2 * 8 * 48_000;
        assert_eq!(bytes.len(), 4 + padded + frames * 4);
        assert!(passage(&lesson.passages[0], 1, None).is_err());
        let sounds = Sounds::default();
        let one = sounds.get("k", || Ok(vec![1])).unwrap();
        assert_eq!(sounds.get("k", || panic!("made twice")).unwrap(), one);
        assert!(sounds.get("other", || Err("no".into())).is_err());
    }

    #[test]
    fn what_is_kept_is_bounded_by_count_and_by_bytes() {
        let sounds = Sounds::default();
        let made = |key: &str, bytes: usize| {
            let mut anew = false;
            sounds.get(key, || {
                anew = true;
                Ok(vec![0; bytes])
            })
            .unwrap();
            anew
        };
        for n in 0..=KEPT {
            assert!(made(&n.to_string(), 10));
        }
        assert!(!made("1", 10) && made("0", 10));
        // A large one drives all others out, and stays itself until the next one comes.
        assert!(made("large", KEPT_BYTES + 1));
        assert!(!made("large", 0) && made("6", 10));
        assert!(made("large", KEPT_BYTES - 10) && !made("6", 10));
    }
}
