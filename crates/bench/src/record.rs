//! The record in bars: where its bars lie, how loud it is inside each, which of them a passage quotes; and stretches of it as sound.
//!
//! What was heard is kept in the bench's folder under the record's own bytes, so that the next opening need not listen again.

use crate::beneath::Beneath;
use crate::services::{Progress, Services};
use hear::{Hearing, Pins};
use lesson::Lesson;
use serde_json::{Value, json};
use std::io::Read;
use std::path::Path;
use std::sync::{Arc, Mutex};
use wave::{Buffer, Limits, Seconds, StretchConfig};

/// Largest record that is read.
const BYTES_MAX: u64 = 400 * 1024 * 1024;
/// Pieces that a bar is cut into to show its loudness.
const PIECES: usize = 24;
/// Range that is shown, under the loudest piece.
const RANGE_DB: f64 = 42.0;

/// A record decoded: 48 kHz stereo.
pub struct Record {
    pub file: String,
    digest: u64,
    pub sound: Buffer,
}

/// The record last used.
#[derive(Default)]
pub struct Records {
    kept: Mutex<Option<Arc<Record>>>,
}

/// The file that the lesson quotes first; `None` where it quotes none.
pub fn file_of(lesson: &Lesson) -> Option<String> {
    lesson.passages.iter().flat_map(|p| &p.record).map(|r| r.file.clone()).next()
}

impl Records {
    /// The record, decoded.
    ///
    /// # Errors
    /// A sentence: not there, or no sound that can be read.
    pub fn get(&self, folder: &Beneath, file: &str) -> Result<Arc<Record>, String> {
        let mut bytes = Vec::new();
        let opened = folder.open(file).map_err(|e| match e.kind() {
            std::io::ErrorKind::NotFound => format!("{file} is not in the lesson's folder"),
            _ => format!("{file}: {e}"),
        })?;
        opened.take(BYTES_MAX + 1).read_to_end(&mut bytes).map_err(|e| format!("{file}: {e}"))?;
        if bytes.len() as u64 > BYTES_MAX {
            return Err(format!("{file} is larger than {} MB", BYTES_MAX >> 20));
        }
        let digest = digest(&bytes);
        let mut kept = self.kept.lock().unwrap_or_else(|e| e.into_inner());
        if let Some(r) = kept.as_ref().filter(|r| r.digest == digest && r.file == file) {
            return Ok(r.clone());
        }
        let end = Path::new(file).extension().and_then(|e| e.to_str());
        let sound = wave::decode(&bytes, end, &Limits::default()).map_err(|e| format!("{file}: {e}"))?;
        let sound = if sound.rate_hz() == sound::RATE { sound } else { wave::resample(&sound, sound::RATE).map_err(|e| format!("{file}: {e}"))? };
        let record = Arc::new(Record { file: file.to_string(), digest, sound });
        *kept = Some(record.clone());
        Ok(record)
    }
}

/// FNV-1a, 64 bits: to know the same bytes again, not to guard them.
fn digest(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |h, b| (h ^ u64::from(*b)).wrapping_mul(0x0100_0000_01b3))
}

/// Beats that the teacher tapped, in seconds, rising; none where there are none.
pub fn taps(record: &Record, scratch: &Path) -> Vec<f64> {
    let file = taps_file(record, scratch);
    let Ok(text) = std::fs::read(&file) else { return vec![] };
    // Without a seal, as earlier programs wrote them.
    let text = std::str::from_utf8(&text).ok().and_then(|t| if t.starts_with('[') { Some(t) } else { keep::unseal(t) });
    let Some(read) = text.and_then(|t| serde_json::from_str::<Vec<f64>>(t).ok()) else {
        // What a hand tapped is not thrown away, even damaged.
        let _ = std::fs::rename(&file, file.with_extension("damaged"));
        return vec![];
    };
    read.into_iter().filter(|t| t.is_finite()).take(TAPS_MAX).collect()
}

fn taps_file(record: &Record, scratch: &Path) -> std::path::PathBuf {
    scratch.join(format!("taps-{:016x}.json", record.digest))
}

/// Most taps that are kept.
const TAPS_MAX: usize = 10_000;

/// Keeps taps in place of earlier ones between the first and the last of them; an empty list lets go of all.
///
/// # Errors
/// What the system says.
pub fn keep_taps(record: &Record, scratch: &Path, new: &[f64]) -> std::io::Result<()> {
    let end = record.sound.duration().0;
    let mut new: Vec<f64> = new.iter().copied().filter(|t| (0.0..=end).contains(t)).map(|t| (t * 1000.0).round() / 1000.0).collect();
    new.sort_by(f64::total_cmp);
    let mut all = Vec::new();
    if let (Some(first), Some(last)) = (new.first().copied(), new.last().copied()) {
        all = taps(record, scratch);
        all.retain(|t| *t < first - 0.05 || *t > last + 0.05);
        all.extend(new);
        all.sort_by(f64::total_cmp);
        // Twice on one beat is one.
        all.dedup_by(|b, a| *b - *a < 0.1);
        all.truncate(TAPS_MAX);
    }
    keep::write(&taps_file(record, scratch), keep::seal(&json!(all).to_string()).as_bytes(), keep::Lasting::Disk)
}

/// What was heard of a record, kept or now: `{bars: [seconds…, end], loud: [[0..1; 24]…], beats, tempo, meter, key, cents, taps}`. Beats obey the taps.
///
/// # Errors
/// A sentence: nothing to count by was heard, or listening failed.
pub fn heard(record: &Record, scratch: &Path, services: &dyn Services, progress: Progress<'_>) -> Result<Value, String> {
    let path = scratch.join(format!("heard-{:016x}.json", record.digest));
    let taps = taps(record, scratch);
    let kept = std::fs::read_to_string(&path).ok().and_then(|t| serde_json::from_str::<Value>(keep::unseal(&t)?).ok());
    if let Some(v) = kept.filter(|v| v["format"] == 2 && v["taps"] == json!(taps)) {
        return Ok(v);
    }
    let pins = Pins { beats: taps.iter().map(|t| Seconds(*t)).collect(), ..Pins::default() };
    let hearing = services.hear(&record.sound, &pins, progress).map_err(|w| w.to_string())?;
    let bars = bars(&hearing).ok_or("no steady beat was heard in the record, so it cannot be shown in bars")?;
    let value = json!({
        "format": 2,
        "taps": taps,
        "beats": hearing.beats.iter().flatten().map(|b| (b.0 * 1000.0).round() / 1000.0).collect::<Vec<f64>>(),
        "bars": bars,
        "loud": loudness(&record.sound, &bars),
        "tempo": hearing.tempo.map(|t| (t.bpm * 10.0).round() / 10.0),
        "sure": hearing.tempo.map(|t| t.confidence),
        "meter": hearing.meter.map(|m| format!("{}/{}", m.over, m.under)),
        "key": hearing.key.as_ref().map(|k| format!("{} {}", k.key.tonic, k.key.mode.name())),
        "cents": hearing.pitch_reference.as_ref().map(|p| p.cents.round()),
    });
    tidy(scratch);
    // Not being able to keep it is no fault of the record: it is listened to again.
    let _ = keep::write(&path, keep::seal(&value.to_string()).as_bytes(), keep::Lasting::MadeAgain);
    Ok(value)
}

/// Hearings kept in one bench's folder; the oldest go first.
const HEARD_MAX: usize = 20;

/// Makes room for one more hearing.
fn tidy(scratch: &Path) {
    let Ok(list) = std::fs::read_dir(scratch) else { return };
    let heard = |p: &std::path::PathBuf| p.file_name().is_some_and(|n| n.to_string_lossy().starts_with("heard-"));
    let mut whole: Vec<_> = list.flatten().map(|e| e.path()).filter(heard).collect();
    whole.sort_by_key(|p| std::fs::symlink_metadata(p).and_then(|m| m.modified()).ok());
    for path in whole.iter().take((whole.len() + 1).saturating_sub(HEARD_MAX)) {
        let _ = std::fs::remove_file(path);
    }
}

/// Where bars begin, and last where the last one ends, in seconds. Without heard bars four beats make one.
fn bars(h: &Hearing) -> Option<Vec<f64>> {
    let beats: Vec<f64> = h.beats.as_ref()?.iter().map(|s| s.0).collect();
    let starts: Vec<usize> = match &h.bars {
        Some(b) if b.len() > 1 => b.clone(),
        _ => (0..beats.len()).step_by(4).collect(),
    };
    let mut out: Vec<f64> = starts.iter().filter_map(|i| beats.get(*i)).copied().collect();
    if out.len() < 2 {
        return None;
    }
    let last = out[out.len() - 1] + (out[out.len() - 1] - out[out.len() - 2]);
    if last <= h.duration.0 + 0.05 {
        out.push(last.min(h.duration.0));
    }
    out.dedup_by(|a, b| *a <= *b);
    (out.len() > 1).then_some(out)
}

/// The mean level of each bar's pieces, 0 at [`RANGE_DB`] under the loudest of all or less, 1 at it.
fn loudness(sound: &Buffer, bars: &[f64]) -> Vec<Vec<f64>> {
    let mono = sound.mono();
    let samples = mono.channel(0);
    let at = |s: f64| Seconds(s.max(0.0)).to_frames(sound.rate_hz()).min(samples.len());
    let level = |from: usize, to: usize| {
        let piece = &samples[from..to.max(from)];
        let power = piece.iter().map(|s| f64::from(*s) * f64::from(*s)).sum::<f64>() / piece.len().max(1) as f64;
        // For the eye alone: nothing that is kept for others hangs on its last digit.
        10.0 * power.max(1e-12).log10()
    };
    let levels: Vec<Vec<f64>> = bars.windows(2).map(|b| (0..PIECES).map(|k| {
        let edge = |k: usize| at(b[0] + (b[1] - b[0]) * k as f64 / PIECES as f64);
        level(edge(k), edge(k + 1))
    }).collect()).collect();
    let most = levels.iter().flatten().copied().fold(-120.0, f64::max);
    levels.into_iter().map(|bar| bar.into_iter().map(|l| (((l - most) / RANGE_DB + 1.0).clamp(0.0, 1.0) * 100.0).round() / 100.0).collect()).collect()
}

/// Where the lesson quotes the record: passage, from, to in seconds, and whether it lies barest there (the quietest of its places).
pub fn quoted(lesson: &Lesson, record: &Record) -> Vec<Value> {
    let mut out = Vec::new();
    for p in &lesson.passages {
        let mut places: Vec<(f64, f64, f64)> = p
            .record
            .iter()
            .filter(|r| r.file == record.file)
            .map(|r| {
                let piece = record.sound.slice_time(Seconds(r.from_s)..Seconds(r.to_s)).mono();
                let power = piece.channel(0).iter().map(|s| f64::from(*s) * f64::from(*s)).sum::<f64>() / piece.frames().max(1) as f64;
                (r.from_s, r.to_s, power)
            })
            .collect();
        places.sort_by(|a, b| a.0.total_cmp(&b.0));
        let barest = places.iter().map(|p| p.2).fold(f64::INFINITY, f64::min);
        let several = places.len() > 1;
        out.extend(places.into_iter().enumerate().map(|(k, (from, to, power))| json!({ "passage": p.id, "title": p.title, "time": k + 1, "from": from, "to": to, "barest": several && power <= barest })));
    }
    out
}

/// A stretch of the record at a tempo, so many frames long, at concert pitch where `cents` says how far it lies from it.
///
/// # Errors
/// A stretch or tempo out of range, in words.
pub fn slowed(record: &Record, from_s: f64, to_s: f64, frames: usize, cents: f64) -> Result<Buffer, String> {
    let piece = record.sound.slice_time(Seconds(from_s)..Seconds(to_s));
    if piece.is_empty() {
        return Err("the record is over there".into());
    }
    let ratio = frames as f64 / piece.frames() as f64;
    let mut out = wave::stretch_with(&piece, &StretchConfig { ratio, cents: -cents }).map_err(|e| e.to_string())?;
    out.resize_frames(frames);
    // As loud as the parts together are.
    if let Some(found) = wave::loudness(&out).integrated_lufs {
        out.scale(wave::gain_from_db((sound::TARGET_LUFS - found).clamp(-30.0, 12.0)) as f32);
        let peak = out.peak();
        if peak > 0.98 {
            out.scale(0.98 / peak);
        }
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record() -> Record {
        // A second of silence, a second of a tone, at 48 kHz.
        let samples: Vec<f32> = (0..96_000).map(|n| if n < 48_000 { 0.0 } else { 0.3 * (n as f32 * 0.0576).sin() }).collect();
        Record { file: "audio/a.wav".into(), digest: 1, sound: Buffer::new(48_000, vec![samples.clone(), samples]).unwrap() }
    }

    #[test]
    fn loudness_lies_inside_each_bar() {
        let l = loudness(&record().sound, &[0.5, 1.5, 2.0]);
        assert_eq!((l.len(), l[0].len()), (2, PIECES));
        assert!(l[0][..12].iter().all(|v| *v == 0.0) && l[0][13..].iter().all(|v| *v > 0.9) && l[1].iter().all(|v| *v > 0.9), "{l:?}");
    }

    #[test]
    fn taps_take_the_place_of_those_that_they_span() {
        let (dir, r) = (tempfile::tempdir().unwrap(), record());
        assert_eq!(taps(&r, dir.path()), Vec::<f64>::new());
        keep_taps(&r, dir.path(), &[1.5, 0.5, 1.0, 1.04, 99.0, f64::NAN]).unwrap();
        assert_eq!(taps(&r, dir.path()), [0.5, 1.0, 1.5]);
        keep_taps(&r, dir.path(), &[0.9, 1.2]).unwrap();
        assert_eq!(taps(&r, dir.path()), [0.5, 0.9, 1.2, 1.5]);
        keep_taps(&r, dir.path(), &[]).unwrap();
        assert_eq!(taps(&r, dir.path()), Vec::<f64>::new());
    }

    #[test]
    fn a_stretch_is_as_long_as_asked() {
        let r = record();
        assert_eq!(slowed(&r, 1.0, 1.5, 48_000, 0.0).unwrap().frames(), 48_000);
        assert!(slowed(&r, 5.0, 6.0, 48_000, 0.0).is_err());
        assert!(slowed(&r, 1.0, 1.1, 480_000, 0.0).is_err());
    }

    #[test]
    fn places_of_a_passage_are_told_apart() {
        let text = "lesson \"t\" { passage \"p\" { tempo 90; slots 4; record \"audio/a.wav\" from=1 to=2; record \"audio/a.wav\" from=0.5 to=1.5; record \"audio/b.wav\" from=0 to=1
            part \"line\" instrument=\"guitar\" { bar \"5:3 . . .\" } } }";
        let lesson = lesson::read(text).lesson;
        assert_eq!(file_of(&lesson).as_deref(), Some("audio/a.wav"));
        let q = quoted(&lesson, &record());
        let got: Vec<(f64, u64, bool)> = q.iter().map(|q| (q["from"].as_f64().unwrap(), q["time"].as_u64().unwrap(), q["barest"].as_bool().unwrap())).collect();
        assert_eq!(got, [(0.5, 1, true), (1.0, 2, false)]);
    }

    #[test]
    fn bars_are_heard_or_counted() {
        let mut h = hear::hear(&Buffer::silence(48_000, 1, 4_800).unwrap(), &Pins::default(), &|_| ()).unwrap();
        assert_eq!(bars(&h), None);
        h.duration = Seconds(10.0);
        h.beats = Some((0..10).map(|i| Seconds(f64::from(i))).collect());
        assert_eq!(bars(&h), Some(vec![0.0, 4.0, 8.0]));
        h.bars = Some(vec![1, 4, 7]);
        assert_eq!(bars(&h), Some(vec![1.0, 4.0, 7.0, 10.0]));
    }
}
