//! The record in bars: where its bars lie, how loud it is inside each, which of them a passage quotes; and stretches of it as sound.
//!
//! What was heard is kept in the bench's folder under the record's own bytes, so that the next opening need not listen again.

use crate::beneath::Beneath;
use crate::services::{Progress, Services};
use hear::{Hearing, Pins};
use lesson::Lesson;
use serde::{Deserialize, Serialize};
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
    pub digest: u64,
    pub sound: Buffer,
}

impl Record {
    /// A sound under a name, known again by both.
    #[cfg(test)]
    pub fn of(file: &str, sound: Buffer) -> Record {
        Record { file: file.into(), digest: digest(file.as_bytes()), sound }
    }

    /// To know the same record again.
    pub fn key(&self) -> String {
        format!("{:016x}", self.digest)
    }
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

/// The teacher's word on how a record is counted.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Told {
    /// Tapped beats in seconds, rising.
    pub taps: Vec<f64>,
    /// Where bars begin, in seconds, rising.
    pub bars: Vec<f64>,
    /// As printed; one of those that are heard.
    pub meter: Option<String>,
}

/// What was told of a record; nothing where that is nothing.
pub fn told(record: &Record, scratch: &Path) -> Told {
    let file = told_file(record, scratch);
    let Ok(text) = std::fs::read(&file) else { return Told::default() };
    // Without a seal, or the taps alone, as earlier programs wrote them.
    let text = std::str::from_utf8(&text).ok().and_then(|t| if t.starts_with('[') { Some(t) } else { keep::unseal(t) });
    let read = text.and_then(|t| serde_json::from_str::<Vec<f64>>(t).map(|taps| Told { taps, ..Told::default() }).or_else(|_| serde_json::from_str(t)).ok());
    let Some(Told { taps, bars, meter }) = read else {
        // What a hand tapped is not thrown away, even damaged.
        let _ = std::fs::rename(&file, file.with_extension("damaged"));
        return Told::default();
    };
    let sound = |times: Vec<f64>| times.into_iter().filter(|t| t.is_finite()).take(TOLD_MAX).collect();
    Told { taps: sound(taps), bars: sound(bars), meter: known(meter) }
}

/// A meter as far as it is one that is heard.
fn known(meter: Option<String>) -> Option<String> {
    meter.filter(|m| m.parse::<hear::Meter>().is_ok())
}

/// Keeps its name from when there were taps alone.
fn told_file(record: &Record, scratch: &Path) -> std::path::PathBuf {
    scratch.join(format!("taps-{:016x}.json", record.digest))
}

fn keep_told(record: &Record, scratch: &Path, told: &Told) -> std::io::Result<()> {
    keep::write(&told_file(record, scratch), keep::seal(&json!(told).to_string()).as_bytes(), keep::Lasting::Disk)
}

/// Most taps, and most beginnings of bars, that are kept.
const TOLD_MAX: usize = 10_000;

/// Those of the times that lie in the record, to a millisecond, rising.
fn within(record: &Record, times: &[f64]) -> Vec<f64> {
    let end = record.sound.duration().0;
    let mut out: Vec<f64> = times.iter().copied().filter(|t| (0.0..=end).contains(t)).map(|t| (t * 1000.0).round() / 1000.0).collect();
    out.sort_by(f64::total_cmp);
    // Twice on one beat is one.
    out.dedup_by(|b, a| *b - *a < 0.1);
    out.truncate(TOLD_MAX);
    out
}

/// Keeps taps in place of earlier ones between the first and the last of them, and lets go of where bars were said to begin; an empty list lets go of all, the meter too.
///
/// # Errors
/// What the system says.
pub fn keep_taps(record: &Record, scratch: &Path, new: &[f64]) -> std::io::Result<()> {
    let new = within(record, new);
    let mut all = Told::default();
    if let (Some(first), Some(last)) = (new.first().copied(), new.last().copied()) {
        // Where bars were said to begin was said of other beats.
        all = Told { bars: vec![], ..told(record, scratch) };
        all.taps.retain(|t| *t < first - 0.05 || *t > last + 0.05);
        all.taps = within(record, &[all.taps, new].concat());
    }
    keep_told(record, scratch, &all)
}

/// Keeps where bars begin, and the meter, in place of what was said of them before.
///
/// # Errors
/// What the system says.
pub fn keep_bars(record: &Record, scratch: &Path, bars: &[f64], meter: Option<String>) -> std::io::Result<()> {
    keep_told(record, scratch, &Told { bars: within(record, bars), meter: known(meter), ..told(record, scratch) })
}

/// What was heard of a record, kept or now: `{bars: [seconds…, end], loud: [[0..1; 24]…], beats, tempo, others: [{words, beats}…], meter, key, cents, off, seats: [[azimuth, share]…],
/// form, told: {taps, bars, meter}}`. Beats, bars and meter are what was told.
///
/// # Errors
/// A sentence: nothing to count by was heard, or listening failed.
pub fn heard(record: &Record, scratch: &Path, services: &dyn Services, progress: Progress<'_>) -> Result<Value, String> {
    let path = heard_file(record, scratch);
    let told = told(record, scratch);
    if let Some(v) = kept(record, scratch) {
        return Ok(v);
    }
    let seconds = |times: &[f64]| times.iter().map(|t| Seconds(*t)).collect();
    let pins = Pins { beats: seconds(&told.taps), bars: seconds(&told.bars), meter: told.meter.as_ref().and_then(|m| m.parse().ok()), bpm: None };
    let times = |beats: &[Seconds]| beats.iter().map(|b| (b.0 * 1000.0).round() / 1000.0).collect::<Vec<f64>>();
    let hearing = services.hear(&record.sound, &pins, progress).map_err(|w| w.to_string())?;
    let bars = bars(&hearing).ok_or("no steady beat was heard in the record, so it cannot be shown in bars")?;
    let value = json!({
        // Another build listens anew.
        "by": keep::build(),
        "told": told,
        "beats": times(hearing.beats.as_deref().unwrap_or_default()),
        "bars": bars,
        "loud": loudness(&record.sound, &bars),
        "tempo": hearing.tempo.map(|t| (t.bpm * 10.0).round() / 10.0),
        "sure": hearing.tempo.map(|t| t.confidence),
        // What the beats could be instead; counted by once they are kept as taps.
        "others": hearing.other_beats.iter().zip(hearing.other_beats_in_words()).map(|(o, words)| json!({ "words": words, "beats": times(&o.beats) })).collect::<Vec<_>>(),
        "meter": hearing.meter.map(|m| m.to_string()),
        "key": hearing.key.as_ref().map(key_words),
        "cents": hearing.pitch_reference.as_ref().map(|p| p.cents.round()),
        // What it takes to bring it to concert pitch; none where that is not sure.
        "off": hearing.pitch_reference.as_ref().filter(|p| p.confidence >= SURE).map(|p| (p.cents * 10.0).round() / 10.0),
        "seats": hearing.seats.iter().flatten().map(|s| [(s.azimuth * 100.0).round() / 100.0, (s.share * 100.0).round() / 100.0]).collect::<Vec<_>>(),
        "form": crate::form::bars(record, &bars, hearing.pitch_reference.as_ref().map_or(0.0, |p| p.cents)),
    });
    tidy(scratch);
    // Not being able to keep it is no fault of the record: it is listened to again.
    let _ = keep::write(&path, keep::seal(&value.to_string()).as_bytes(), keep::Lasting::MadeAgain);
    Ok(value)
}

/// What was heard of it before, as [`heard`] gives it; `None` where that is to be done yet.
pub fn kept(record: &Record, scratch: &Path) -> Option<Value> {
    let text = std::fs::read_to_string(heard_file(record, scratch)).ok()?;
    let value = serde_json::from_str::<Value>(keep::unseal(&text)?).ok()?;
    (value["by"] == keep::build() && value["told"] == json!(told(record, scratch))).then_some(value)
}

fn heard_file(record: &Record, scratch: &Path) -> std::path::PathBuf {
    scratch.join(format!("heard-{:016x}.json", record.digest))
}

/// Where the beats of a passage lie in the record from `from_s` to `to_s`: seconds from there, and written time in seconds at full tempo. Beats that were heard hold where there are as many of
/// them as the passage has; else its two ends alone.
pub fn under(passage: &lesson::Passage, from_s: f64, to_s: f64, beats: &[f64]) -> Vec<(f64, f64)> {
    let starts = passage.bar_starts();
    let written: Vec<f64> = passage
        .bars
        .iter()
        .zip(starts.windows(2))
        .flat_map(|(bar, w)| {
            let (length, beat) = (bar.length, bar.meter.beat());
            // A pickup's beats count from its end.
            let count = (length / beat).ceil().to_integer().max(1);
            let short = beat * count - length;
            (0..count).filter_map(move |k| {
                let at = beat * k - short;
                let share = at / length;
                (k == 0 || *at.numer() >= 0).then(|| w[0] + (w[1] - w[0]) * (*share.numer() as f64 / *share.denom() as f64).max(0.0))
            })
        })
        .chain(starts.last().copied())
        .collect();
    let ends = || vec![(0.0, 0.0), (to_s - from_s, starts.last().copied().unwrap_or(0.0))];
    let n = written.len() - 1;
    let beat = (to_s - from_s) / n.max(1) as f64;
    let nearest = |t: f64| (0..beats.len()).min_by(|a, b| (beats[*a] - t).abs().total_cmp(&(beats[*b] - t).abs())).filter(|i| (beats[*i] - t).abs() < 0.25 * beat);
    let (Some(a), Some(b)) = (nearest(from_s), nearest(to_s)) else { return ends() };
    // Twice as many where the half beat was taken for the beat.
    let step = match b.saturating_sub(a) {
        d if d == n => 1,
        d if d == 2 * n => 2,
        _ => return ends(),
    };
    let mut out: Vec<(f64, f64)> = written.iter().enumerate().map(|(k, w)| (beats[a + k * step] - from_s, *w)).collect();
    // The ends are where the teacher wrote them.
    out[0].0 = 0.0;
    out[n].0 = to_s - from_s;
    // A beat that would stretch its neighbours out of all measure was misheard.
    let even = out.windows(2).all(|w| (0.6..1.6).contains(&((w[1].0 - w[0].0) / (w[1].1 - w[0].1) * (starts.last().unwrap_or(&1.0) / (to_s - from_s)))));
    if even { out } else { ends() }
}

/// Sound that is taken along to each side of a quoted stretch, seconds.
pub const BESIDE_S: f64 = 0.3;
/// The ends are where the teacher wrote them, but for this much: to that the strokes know better.
const ROUNDED_S: f64 = 0.02;

/// Beats as [`under`] gives them, moved to where the strokes of the parts begin in the record ([`crate::step`]).
pub fn in_step(passage: &lesson::Passage, record: &Record, from_s: f64, to_s: f64, heard: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let before = from_s.min(BESIDE_S);
    let mono = record.sound.slice_time(Seconds(from_s - before)..Seconds(to_s + BESIDE_S)).mono();
    let strokes: Vec<f64> = passage.parts.iter().filter(|p| p.easier_of.is_none() && p.kind != lesson::Kind::Click).flat_map(lesson::soundings).map(|s| passage.seconds_at(s.at)).collect();
    let inside: Vec<(f64, f64)> = heard.iter().map(|(s, w)| (s + before, *w)).collect();
    let mut out: Vec<(f64, f64)> = crate::step::moved(mono.channel(0), mono.rate_hz(), &inside, &strokes).into_iter().map(|(s, w)| (s - before, w)).collect();
    let n = out.len() - 1;
    for (k, end) in [(0, 0.0), (n, to_s - from_s)] {
        if (out[k].0 - end).abs() > ROUNDED_S {
            out[k].0 = end;
        }
    }
    if out.windows(2).all(|w| w[1].0 > w[0].0) { out } else { heard.to_vec() }
}

/// The key, and where it is a guess the next likely one.
fn key_words(k: &hear::KeyHeard) -> String {
    let one = |k: &pitch::Key| format!("{} {}", k.tonic, k.mode.name());
    match k.also.first() {
        Some(other) if k.confidence < SURE => format!("{} or {}", one(&k.key), one(other)),
        _ => one(&k.key),
    }
}

/// What is less sure than this is not gone by.
const SURE: f64 = 0.3;

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

/// A place is the barest where all others have this much more power.
const BARER: f64 = 1.1;

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
        let mut powers: Vec<f64> = places.iter().map(|p| p.2).collect();
        powers.sort_by(f64::total_cmp);
        // Where all are as loud, none is barer.
        let several = places.len() > 1 && powers[0] * BARER < powers[1];
        let barest = powers.first().copied().unwrap_or(0.0);
        out.extend(places.into_iter().enumerate().map(|(k, (from, to, power))| json!({ "passage": p.id, "title": p.title, "time": k + 1, "from": from, "to": to, "barest": several && power <= barest })));
    }
    out
}

/// Where a stretch of the record lies under frames that are played: seconds from its beginning, and the frame that each of them falls on. Both rise, the first is 0 and 0, the last is
/// the end of both.
pub type Marks = Vec<(f64, usize)>;

/// Sound that two neighbouring pieces share, so that none begins or ends at once.
const SEAM_S: f64 = 0.012;
/// Sound that a piece is stretched with to each side, so that the stretching has settled where it is heard.
const MARGIN_S: f64 = 0.12;

/// A stretch of the record brought under marks, mark by mark, at its own pitch or moved by `-cents`.
///
/// # Errors
/// A stretch or tempo out of range, in words.
pub fn laid(piece: &Buffer, marks: &[(f64, usize)], cents: f64) -> Result<Buffer, String> {
    let (Some(first), Some(last)) = (marks.first(), marks.last()) else { return Err("the record is over there".into()) };
    if piece.is_empty() || marks.len() < 2 || marks.windows(2).any(|w| w[1].0 <= w[0].0 || w[1].1 <= w[0].1) {
        return Err("the record is over there".into());
    }
    let (rate, frames) = (piece.rate_hz(), last.1 - first.1);
    let seam = (SEAM_S * f64::from(rate)).round() as usize;
    let mut channels = vec![vec![0f32; frames]; piece.channel_count()];
    let n = marks.len() - 1;
    for (k, w) in marks.windows(2).enumerate() {
        let (from, to) = (w[0].0 * f64::from(rate), w[1].0 * f64::from(rate));
        let (begins, ends) = (w[0].1 - first.1, w[1].1 - first.1);
        // Whole frames may make a quarter of the tempo a hair less than that.
        let exact = (ends - begins) as f64 / (to - from);
        let ratio = if (0.249..4.01).contains(&exact) { exact.clamp(0.25, 4.0) } else { exact };
        // Whole frames of input, so that what lies before the mark is known exactly.
        let margin = (MARGIN_S * f64::from(rate)).max(2.0 * seam as f64 / ratio);
        let start = (from - margin).max(0.0).floor();
        let end = ((to + margin).ceil() as usize).min(piece.frames());
        let cut = piece.slice_frames(start as usize..end.max(start as usize + 1));
        let out = wave::stretch_with(&cut, &StretchConfig { ratio, cents: -cents }).map_err(|e| e.to_string())?;
        // Frame of the output that the mark falls on, less the half seam that is shared with the piece before.
        let lead = ((from - start) * ratio).round() as i64;
        let (half, last_piece) = (seam as i64 / 2, k + 1 == n);
        let (a, b) = (if k == 0 { 0 } else { begins as i64 - half }, if last_piece { ends as i64 } else { ends as i64 + seam as i64 - half });
        for (side, samples) in channels.iter_mut().zip(out.channels()) {
            for at in a..b {
                let Some(s) = usize::try_from(at - begins as i64 + lead).ok().and_then(|i| samples.get(i)) else { continue };
                let up = if k == 0 { 1.0 } else { ((at - a) as f32 + 0.5) / seam as f32 };
                let down = if last_piece { 1.0 } else { ((b - at) as f32 - 0.5) / seam as f32 };
                if let Some(o) = usize::try_from(at).ok().and_then(|i| side.get_mut(i)) {
                    *o += s * up.min(down).clamp(0.0, 1.0);
                }
            }
        }
    }
    let mut out = Buffer::new(rate, channels).map_err(|e| e.to_string())?;
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
        let taps = || told(&r, dir.path()).taps;
        assert_eq!(told(&r, dir.path()), Told::default());
        keep_taps(&r, dir.path(), &[1.5, 0.5, 1.0, 1.04, 99.0, f64::NAN]).unwrap();
        assert_eq!(taps(), [0.5, 1.0, 1.5]);
        keep_taps(&r, dir.path(), &[0.9, 1.2]).unwrap();
        assert_eq!(taps(), [0.5, 0.9, 1.2, 1.5]);
        keep_taps(&r, dir.path(), &[]).unwrap();
        assert_eq!(told(&r, dir.path()), Told::default());
        // As they were kept before there was more to tell.
        std::fs::write(told_file(&r, dir.path()), "[0.25, 0.75]").unwrap();
        assert_eq!(taps(), [0.25, 0.75]);
        std::fs::write(told_file(&r, dir.path()), keep::seal("[0.5]")).unwrap();
        assert_eq!(taps(), [0.5]);
        std::fs::write(told_file(&r, dir.path()), "neither").unwrap();
        assert_eq!((told(&r, dir.path()), told_file(&r, dir.path()).with_extension("damaged").exists()), (Told::default(), true));
    }

    #[test]
    fn bars_and_meter_stay_until_beats_are_tapped_anew() {
        let (dir, r) = (tempfile::tempdir().unwrap(), record());
        keep_taps(&r, dir.path(), &[0.5, 1.0]).unwrap();
        keep_bars(&r, dir.path(), &[1.0, -2.0, f64::NAN], Some("3/4".into())).unwrap();
        assert_eq!(told(&r, dir.path()), Told { taps: vec![0.5, 1.0], bars: vec![1.0], meter: Some("3/4".into()) });
        keep_bars(&r, dir.path(), &[], Some("7/8".into())).unwrap();
        assert_eq!(told(&r, dir.path()), Told { taps: vec![0.5, 1.0], ..Told::default() });
        keep_bars(&r, dir.path(), &[1.0], Some("6/8".into())).unwrap();
        keep_taps(&r, dir.path(), &[0.7]).unwrap();
        assert_eq!(told(&r, dir.path()), Told { taps: vec![0.5, 0.7, 1.0], bars: vec![], meter: Some("6/8".into()) });
    }

    #[test]
    fn a_quarter_of_the_tempo_is_in_range_whatever_the_frames() {
        let sound = Buffer::from_mono(44_100, vec![0.1; 60_000]).unwrap();
        let laid = laid(&sound, &[(0.0, 0), (0.444_444_4, 78_401), (0.888_888_8, 156_801)], 0.0).unwrap();
        assert_eq!(laid.frames(), 156_801);
        assert!(super::laid(&sound, &[(0.0, 0), (0.4, 80_000)], 0.0).is_err());
    }

    #[test]
    fn a_stretch_is_as_long_as_asked() {
        let r = record();
        let piece = |a, b| r.sound.slice_time(Seconds(a)..Seconds(b));
        assert_eq!(laid(&piece(1.0, 1.5), &[(0.0, 0), (0.5, 48_000)], 0.0).unwrap().frames(), 48_000);
        assert_eq!(laid(&piece(1.0, 1.5), &[(0.0, 0), (0.2, 30_000), (0.5, 48_000)], 10.0).unwrap().frames(), 48_000);
        assert!(laid(&piece(5.0, 6.0), &[(0.0, 0), (1.0, 48_000)], 0.0).is_err());
        assert!(laid(&piece(1.0, 1.1), &[(0.0, 0), (0.1, 480_000)], 0.0).is_err());
        assert!(laid(&piece(1.0, 1.5), &[(0.0, 0), (0.2, 30_000), (0.2, 48_000)], 0.0).is_err());
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
