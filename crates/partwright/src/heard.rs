//! What was heard in a record, in the shape that `hear --json` prints, and how it is kept beside the record.
//!
//! Times are seconds to a tenth of a millisecond. What was not heard is `null`, and an empty list where a list would stand.

use crate::audio;
use crate::failure::Failure;
use crate::store::{self, digest};
use hear::{Hearing, Pins};
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// Hearings that are kept in one folder; the oldest go first.
const KEPT_MAX: usize = 200;

/// All that the record tells.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Heard {
    pub duration: f64,
    pub rate: u32,
    pub channels: usize,
    pub loudness_lufs: Option<f64>,
    pub pitch_reference: Option<Pitch>,
    pub tempo: Option<Tempo>,
    /// As printed: `4/4`.
    pub meter: Option<String>,
    pub swing: Option<Swing>,
    pub beats: Vec<f64>,
    /// Where bars begin.
    pub bars: Vec<f64>,
    pub key: Option<Key>,
    pub chords: Vec<Chord>,
    pub bass: Vec<BassNote>,
    pub seats: Vec<Seat>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pitch {
    pub hz: f64,
    pub cents: f64,
    pub confidence: f64,
    /// The same sound read from the other side, where that is nearly as near.
    pub other_reading_cents: Option<f64>,
    pub over_time: Vec<PitchAt>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PitchAt {
    pub time: f64,
    pub cents: f64,
    pub confidence: f64,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tempo {
    pub bpm: f64,
    pub drift_percent: f64,
    pub confidence: f64,
    /// What the beats could be instead, the likeliest first.
    pub also: Vec<OtherBeats>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OtherBeats {
    pub bpm: f64,
    pub meter: String,
    /// What they are against the beats that were heard.
    pub words: String,
    /// How likely it is that the beats are these, 0 to 1.
    pub likely: f64,
    /// What to say with `--beat`, `--bar`, `--tempo` and `--meter` so that the beats are these.
    pub told_by: Told,
    pub beats: Vec<f64>,
    pub bars: Vec<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Told {
    pub beats: Vec<f64>,
    pub bars: Vec<f64>,
    pub tempo: Option<f64>,
    pub meter: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Swing {
    pub percent: f64,
    /// The pair's notes: `1/8` or `1/16`.
    pub of: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Key {
    pub tonic: String,
    pub mode: String,
    pub confidence: f64,
    /// What it could be instead, the likeliest first: `Eb minor`.
    pub also: Vec<String>,
    pub over_time: Vec<KeyAt>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KeyAt {
    pub start: f64,
    pub end: f64,
    pub tonic: String,
    pub mode: String,
    pub confidence: f64,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Chord {
    pub start: f64,
    pub end: f64,
    pub harte: String,
    pub confidence: f64,
    pub also: Vec<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BassNote {
    pub onset: f64,
    pub offset: f64,
    pub midi: u8,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Seat {
    pub azimuth: f64,
    pub share: f64,
}

/// Listens to the record at `path`, or answers at once with what was kept of the same bytes, pins and program. The second value is a remark: why
/// nothing could be kept.
///
/// # Errors
/// A file that cannot be read, is no sound, or is too long.
pub fn heard(path: &Path, pins: &Pins, progress: &dyn Fn(f64)) -> Result<(Heard, Option<String>), Failure> {
    let bytes = audio::read_bytes(path)?;
    let key = digest(format!("{} {pins:?} {}", keep::build(), digest(&bytes)).as_bytes());
    let kept = path.parent().unwrap_or(Path::new("")).join(store::FOLDER).join("heard");
    let file = kept.join(format!("{key}.json"));
    if let Some(found) = kept_at(&file) {
        return Ok((found, None));
    }
    let record = audio::decode(path, &bytes)?;
    let hearing = hear::hear(&record, pins, progress).map_err(|e| Failure::MaterialSaid(format!("{}: {e}", path.display())))?;
    let heard = Heard::from(&hearing);
    let remark = keep(&kept, &file, &heard).err().map(|e| format!("what was heard could not be kept in {}: {}", kept.display(), keep::words(&e)));
    Ok((heard, remark))
}

/// The digest of what follows it stands in the first line; what does not agree is taken as absent.
fn kept_at(file: &Path) -> Option<Heard> {
    let text = std::fs::read_to_string(file).ok()?;
    let (sum, rest) = text.split_once('\n')?;
    if digest(rest.as_bytes()) != sum {
        return None;
    }
    serde_json::from_str(rest).ok()
}

fn keep(folder: &Path, file: &Path, heard: &Heard) -> std::io::Result<()> {
    let own = folder.parent().unwrap_or(Path::new(""));
    keep::own_folder(own.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new(".")), store::FOLDER).and_then(|own| keep::own_folder(&own, "heard"))?;
    tidy(folder);
    let text = serde_json::to_string(heard)?;
    keep::write(file, format!("{}\n{text}", digest(text.as_bytes())).as_bytes(), keep::Lasting::MadeAgain)
}

/// Makes room for one more, and clears away what a killed program left half-written.
fn tidy(folder: &Path) {
    keep::sweep(folder);
    let Ok(list) = std::fs::read_dir(folder) else { return };
    let age = |p: &Path| p.metadata().and_then(|m| m.modified()).ok().and_then(|t| t.elapsed().ok());
    let half = |p: &Path| p.file_name().is_some_and(|n| n.to_string_lossy().starts_with(keep::HALF));
    let mut whole: Vec<PathBuf> = list.flatten().map(|e| e.path()).filter(|p| !half(p)).collect();
    whole.sort_by_key(|p| std::cmp::Reverse(age(p)));
    for path in whole.iter().take((whole.len() + 1).saturating_sub(KEPT_MAX)) {
        let _ = std::fs::remove_file(path);
    }
}

fn to(v: f64, places: f64) -> f64 {
    (v * places).round() / places
}

fn time(s: wave::Seconds) -> f64 {
    to(s.0, 1e4)
}

fn share(v: f64) -> f64 {
    to(v, 1e3)
}

/// The times of bars by their places among beats.
fn bars<'a>(beats: &[f64], places: impl Iterator<Item = &'a usize>) -> Vec<f64> {
    places.filter_map(|i| beats.get(*i).copied()).collect()
}

fn other_beats((o, words): (&hear::OtherBeats, String)) -> OtherBeats {
    let times = |beats: &[wave::Seconds]| -> Vec<f64> { beats.iter().map(|t| time(*t)).collect() };
    let beats = times(&o.beats);
    let told = &o.told_by;
    let told_by = Told { beats: times(&told.beats), bars: times(&told.bars), tempo: told.bpm.map(|b| to(b, 1e3)), meter: told.meter.map(|m| m.to_string()) };
    OtherBeats { bpm: to(o.bpm, 1e3), meter: o.meter.to_string(), words, likely: share(o.likely), told_by, bars: bars(&beats, o.bars.iter()), beats }
}

impl From<&Hearing> for Heard {
    fn from(h: &Hearing) -> Heard {
        let beats: Vec<f64> = h.beats.iter().flatten().map(|t| time(*t)).collect();
        Heard {
            duration: time(h.duration),
            rate: h.rate_hz,
            channels: h.channels,
            loudness_lufs: h.loudness_lufs.map(|l| to(l, 1e2)),
            pitch_reference: h.pitch_reference.as_ref().map(|p| Pitch {
                hz: to(p.hz, 1e3),
                cents: to(p.cents, 1e2),
                confidence: share(p.confidence),
                other_reading_cents: p.other_reading_cents.map(|c| to(c, 1e2)),
                over_time: p.over_time.iter().map(|a| PitchAt { time: time(a.time), cents: to(a.cents, 1e2), confidence: share(a.confidence) }).collect(),
            }),
            tempo: h.tempo.map(|t| Tempo { bpm: to(t.bpm, 1e3), drift_percent: to(t.drift_percent, 1e2), confidence: share(t.confidence), also: h.other_beats.iter().zip(h.other_beats_in_words()).map(other_beats).collect() }),
            meter: h.meter.map(|m| m.to_string()),
            swing: h.swing.map(|s| Swing { percent: to(s.percent, 1e1), of: format!("1/{}", s.of) }),
            bars: bars(&beats, h.bars.iter().flatten()),
            beats,
            key: h.key.as_ref().map(|k| Key {
                tonic: k.key.tonic.to_string(),
                mode: k.key.mode.name().to_string(),
                confidence: share(k.confidence),
                also: k.also.iter().map(|k| format!("{} {}", k.tonic, k.mode.name())).collect(),
                over_time: k
                    .over_time
                    .iter()
                    .map(|a| KeyAt { start: time(a.start), end: time(a.end), tonic: a.key.tonic.to_string(), mode: a.key.mode.name().to_string(), confidence: share(a.confidence) })
                    .collect(),
            }),
            chords: h
                .chords
                .iter()
                .flatten()
                .map(|c| Chord { start: time(c.start), end: time(c.end), harte: c.harte.clone(), confidence: share(c.confidence), also: c.also.clone() })
                .collect(),
            bass: h.bass.iter().flatten().map(|b| BassNote { onset: time(b.onset), offset: time(b.offset), midi: b.midi.0 }).collect(),
            seats: h.seats.iter().flatten().map(|s| Seat { azimuth: share(s.azimuth), share: share(s.share) }).collect(),
        }
    }
}
