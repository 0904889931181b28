//! A whole take: listening, beats, writing out, and what is to be said about it.

use crate::attack;
use crate::bounds::{below, driven, under_the_guitar};
use crate::decode;
use crate::grid::Grid;
use crate::heard::{TakenNote, TakenScratch};
use crate::network::{self, LOWEST};
use crate::spectra::{RATE_HZ, Spectra};
use crate::stiff;
use crate::write_out::{Settings, TOGETHER_S, WrittenOut, write_out};
use hear::{HearError, Hearing, Pins};
use lesson::{Beats, Meter, Swing};
use pitch::Midi;
use wave::Buffer;

/// What the teacher says of the take beforehand.
#[derive(Clone, Debug)]
pub struct Wishes {
    /// Beats a minute of the click.
    pub bpm: Option<f64>,
    /// Where a bar begins, seconds; heard where it is not said.
    pub from_s: Option<f64>,
    /// Heard where it is not said, 4/4 where it cannot be heard.
    pub meter: Option<Meter>,
    pub settings: Settings,
}

/// What was taken down.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    pub notes: Vec<TakenNote>,
    /// String (1 = highest) and fret of each note.
    pub places: Vec<(u8, u8)>,
    pub scratches: Vec<TakenScratch>,
    /// `None` where nothing was heard, or no beat in it.
    pub written: Option<WrittenOut>,
    pub tempo: Option<hear::Tempo>,
    /// The frequency of A4 that was listened with.
    pub a4_hz: f64,
    /// What the teacher should know, in sentences.
    pub remarks: Vec<String>,
}

/// Why nothing was taken down.
#[derive(Clone, Debug, PartialEq)]
pub enum TakeError {
    Hear(HearError),
    /// Lower than the network hears, at any pitch.
    Tuning { lowest: Midi },
    /// The program's own fault.
    Network(String),
    /// A note that the instrument does not have.
    Neck(String),
}

impl std::fmt::Display for TakeError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            TakeError::Hear(e) => e.fmt(f),
            TakeError::Tuning { lowest } => write!(f, "the lowest string sounds MIDI {}; a take is heard from MIDI {} up", lowest.0, LOWEST - DEEPER_MAX),
            TakeError::Network(e) | TakeError::Neck(e) => f.write_str(e),
        }
    }
}

impl std::error::Error for TakeError {}

/// Semitones that the network can be moved down by.
const DEEPER_MAX: u8 = 12;
/// Pitch and beats less sure than this are not gone by.
const SURE: f64 = 0.3;
/// The share of energy below all strings from which another instrument is heard.
const OTHERS: f64 = 0.06;
/// What a driven take's notes are sure of at most.
const GUESS: f64 = 0.45;

/// Takes down one guitar. `progress` is told how much is done, 0 to 1.
///
/// Silence, and what is no guitar, is no error: it gives no notes or doubtful ones, and a remark.
///
/// # Errors
/// A take too long or of too low a rate, a tuning lower than is heard.
pub fn take(record: &Buffer, wishes: &Wishes, progress: &dyn Fn(f64)) -> Result<Taken, TakeError> {
    let bars = wishes.from_s.map(wave::Seconds).into_iter().collect();
    let pins = Pins { bpm: wishes.bpm, bars, meter: wishes.meter.map(|m| hear::Meter { over: m.count, under: m.unit }), ..Pins::default() };
    let hearing = hear::hear_beats(record, &pins, &|d| progress(0.2 * d)).map_err(TakeError::Hear)?;
    let pitch = hearing.pitch_reference.as_ref().filter(|p| p.confidence >= SURE);
    let a4_hz = pitch.map_or(440.0, |p| p.hz);
    let instrument = &wishes.settings.instrument;
    let lowest = (1..=instrument.strings()).filter_map(|s| instrument.sounds(s as u8, 0)).min().unwrap_or(Midi(LOWEST));
    let deeper = LOWEST.saturating_sub(lowest.0);
    if deeper > DEEPER_MAX {
        return Err(TakeError::Tuning { lowest });
    }
    let mono = wave::resample(&record.mono(), RATE_HZ).map_err(|e| TakeError::Network(e.to_string()))?;
    let samples: Vec<f32> = mono.channel(0).iter().map(|s| if s.is_finite() { *s } else { 0.0 }).collect();
    let mut remarks = Vec::new();
    let (mut notes, mut scratches) = (vec![], vec![]);
    if samples.iter().any(|s| s.abs() > 1e-5) {
        // For a lowered tuning all that the network knows is moved down.
        let spectra = Spectra::new(&samples, a4_hz * libm::exp2(-f64::from(deeper) / 12.0));
        let post = network::posteriors(&spectra, &|d| progress(0.2 + 0.75 * d)).map_err(TakeError::Network)?;
        notes = decode::notes(&post);
        attack::attacks(&post, &spectra, &mut notes);
        for n in &mut notes {
            n.midi.0 -= deeper;
        }
        scratches = decode::scratches(&post, &notes);
        let top = (1..=instrument.strings()).filter_map(|s| instrument.sounds(s as u8, instrument.top_fret())).max().unwrap_or(Midi(127));
        notes.retain(|n| n.midi >= lowest && n.midi <= top);
    }
    if driven(&samples) {
        remarks.push("the sound is driven hard: confidence is low, what is written is a guess; a clean take is heard far better".into());
        // Its overtones are written as notes, and sure of themselves.
        for n in &mut notes {
            n.confidence = n.confidence.min(GUESS);
        }
    }
    let under = if notes.is_empty() { None } else { below(&samples, a4_hz, lowest) };
    say(&mut remarks, &samples, &notes, &scratches, &hearing);
    if let Some(note) = under.filter(|_| under_the_guitar(&samples) <= OTHERS) {
        remarks.push(tuned_lower(note, lowest));
    }
    let places = stiff::placed(&samples, a4_hz, &mut notes, &wishes.settings).map_err(|e| TakeError::Neck(e.to_string()))?;
    let grid = grid(&hearing, wishes, &notes, &scratches).map(|g| g.swung_as(&struck(&notes, &scratches)));
    if grid.is_none() && !notes.is_empty() {
        remarks.push("no beat was heard: give the click's tempo, and where a bar begins".into());
    }
    let written = match &grid {
        Some(g) if !(notes.is_empty() && scratches.is_empty()) => Some(write_out(&notes, &places, &scratches, g, &wishes.settings)),
        _ => None,
    };
    let tempo = match wishes.bpm {
        Some(bpm) => Some(hear::Tempo { bpm, drift_percent: 0.0, confidence: 1.0 }),
        None => hearing.tempo,
    };
    if let (Some(g), None) = (&grid, wishes.bpm)
        && hearing.tempo.is_none_or(|t| t.confidence < 0.5)
    {
        remarks.push(format!("the tempo of {:.0} is a guess: give the click's tempo if the bars are wrong", g.bpm()));
    }
    progress(1.0);
    Ok(Taken { notes, places, scratches, written, tempo, a4_hz, remarks })
}

/// Beats and bars: the click that was named, or what was heard.
fn grid(hearing: &Hearing, wishes: &Wishes, notes: &[TakenNote], scratches: &[TakenScratch]) -> Option<Grid> {
    let heard_meter = hearing.meter.map(|m| Meter { count: m.over, unit: m.under });
    let meter = wishes.meter.or(heard_meter).unwrap_or(Meter { count: 4, unit: 4 });
    let swing = hearing.swing.filter(|s| s.percent >= 53.0 && s.percent <= 80.0).map(|s| Swing { percent: s.percent, unit: Beats::new(4, i64::from(s.of)) });
    let end = hearing.duration.0;
    let first = notes.iter().map(|n| n.onset_s).chain(scratches.iter().map(|s| s.onset_s)).fold(f64::INFINITY, f64::min);
    if let (Some(bpm), Some(from)) = (wishes.bpm, wishes.from_s) {
        return Grid::steady(bpm, from, end, meter, swing);
    }
    let beats: Vec<f64> = hearing.beats.iter().flatten().map(|b| b.0).collect();
    let sure = hearing.tempo.is_some_and(|t| t.confidence >= SURE);
    let bar = match wishes.from_s {
        // The beat nearest to where a bar was said to begin.
        Some(from) => (0..beats.len()).min_by(|a, b| (beats[*a] - from).abs().total_cmp(&(beats[*b] - from).abs())),
        None => hearing.bars.as_ref().and_then(|b| b.first().copied()),
    };
    if let (true, Some(bar)) = (beats.len() >= 2 && (sure || wishes.bpm.is_none()), bar)
        && let Some(g) = Grid::heard(beats, bar, meter, swing)
    {
        return Some(match wishes.bpm {
            // A click does not drift: its beats are those of the tempo named, laid through the ones that were heard.
            Some(bpm) => g.straight(bpm, end).unwrap_or(g),
            None => g,
        });
    }
    // Nothing but a tempo: the first stroke begins the first bar.
    Grid::steady(wishes.bpm?, if first.is_finite() { first } else { 0.0 }, end, meter, swing)
}

/// When strokes begin, seconds, rising: what begins together is one.
fn struck(notes: &[TakenNote], scratches: &[TakenScratch]) -> Vec<f64> {
    let mut all: Vec<f64> = notes.iter().map(|n| n.onset_s).chain(scratches.iter().map(|s| s.onset_s)).collect();
    all.sort_by(f64::total_cmp);
    let mut out: Vec<f64> = Vec::new();
    for t in all {
        if out.last().is_none_or(|l| t - l >= TOGETHER_S) {
            out.push(t);
        }
    }
    out
}

/// Offers the tuning in which a note under the lowest string is there.
fn tuned_lower(note: Midi, lowest: Midi) -> String {
    let down = lowest.0 - note.0;
    let offer = match (lowest.0, down) {
        (40, 1) => "if the guitar is tuned a half step down, take it with the tuning \"half step down\"".to_string(),
        (40, 2) => "if it is, take it with the tuning \"drop D\" or \"whole step down\"".to_string(),
        _ => "take it with the tuning that the guitar has".to_string(),
    };
    let steps = if down == 1 { "a semitone".to_string() } else { format!("{down} semitones") };
    format!("a note {steps} under the lowest string is heard, which is written wrongly or not at all: {offer}")
}

/// What the teacher should know.
fn say(remarks: &mut Vec<String>, samples: &[f32], notes: &[TakenNote], scratches: &[TakenScratch], hearing: &Hearing) {
    if notes.is_empty() {
        remarks.push(if scratches.is_empty() { "nothing was heard that sounds like a guitar".into() } else { "only muted strokes were heard".into() });
        return;
    }
    let mean = notes.iter().map(|n| n.confidence).sum::<f64>() / notes.len() as f64;
    if mean < 0.55 || hearing.pitch_reference.as_ref().is_none_or(|p| p.confidence < 0.2) {
        remarks.push("this hardly sounds like one clean guitar (speech, heavy distortion or noise?): what is written is a guess".into());
    }
    if under_the_guitar(samples) > OTHERS {
        remarks.push("more than one instrument is heard: there is sound below a guitar's lowest string, such as a bass or a bass drum; what is written may be theirs".into());
    }
    if let Some(p) = hearing.pitch_reference.as_ref().filter(|p| p.confidence >= SURE && p.cents.abs() >= 12.0) {
        let way = if p.cents > 0.0 { "high" } else { "low" };
        remarks.push(format!("the guitar is tuned {:.0} cents {way} (A = {:.1} Hz); notes are counted from there", p.cents.abs(), p.hz));
    }
}
