//! The ears: from a record's samples to how far it lies from A = 440 Hz and how that drifts, its beats, bars and swing, its key,
//! chords and bass line, and who sits where in the stereo picture; one seat let through or taken out, strokes taken apart from tones.
//!
//! ```
//! use wave::Buffer;
//! // Three seconds of a plain chord of sines, 20 cents sharp.
//! let tones = [45, 52, 57, 61, 64].map(|m| 440.0 * libm::exp2((f64::from(m) + 0.2 - 69.0) / 12.0));
//! let sample = |n: i32| tones.iter().map(|hz| 0.1 * libm::sin(std::f64::consts::TAU * hz * f64::from(n) / 44_100.0)).sum::<f64>() as f32;
//! let record = Buffer::from_mono(44_100, (0..132_300).map(sample).collect()).unwrap();
//! let heard = hear::hear(&record, &hear::Pins::default(), &|_| ()).unwrap();
//! let pitch = heard.pitch_reference.unwrap();
//! assert!((pitch.cents - 20.0).abs() < 0.2 && pitch.confidence > 0.5);
//! assert_eq!(hear::pitch_reference(&record).unwrap().unwrap().cents, pitch.cents);
//! // Silence tells nothing.
//! let silence = Buffer::silence(44_100, 2, 44_100).unwrap();
//! assert_eq!(hear::hear(&silence, &hear::Pins::default(), &|_| ()).unwrap().pitch_reference, None);
//! ```
//!
//! # What it must not do
//!
//! - Read files, the clock or the environment: it takes buffers.
//! - Let the machine show in its numbers: plain arithmetic in one order, `libm`, no hash order. How many numbers are worked out at once
//!   ([`wave::lanes`]) does not show.
//! - Invent: what is not heard is `None`, what is weak has a low confidence.
//!

mod bar_marks;
mod bar_path;
mod bars;
mod bass;
mod beat_choice;
mod beat_path;
mod beats;
mod chord_scorer;
mod chords;
mod classes;
mod degrees;
mod dense;
mod fft;
mod hearing;
mod key;
mod logarithm;
mod low_spectra;
mod mono;
mod onset_beats;
mod partials;
mod percussion;
mod pitch_reference;
mod pulse;
mod reading_score;
mod rhythm;
mod salience;
mod seat_filter;
mod seat_powers;
mod seats;
mod sounding;
mod stereo;
mod steady_beats;
mod streams;

pub use beats::Pins;
pub use key::KeyEvidence;
pub use hearing::{BassNote, ChordHeard, Hearing, KeyAt, KeyHeard, Meter, OtherBeats, Seat, Swing, Tempo};
pub use percussion::{HarmonicPercussive, harmonic_percussive};
pub use pitch_reference::{PitchAt, PitchReference};
pub use seat_filter::{Keep, Quality, SEAT_WIDTH, SeatError, Separated, seat_filter, seat_only};
pub use seats::{StereoPicture, stereo_picture};

use wave::{Buffer, Seconds};

/// The longest record that is listened to.
pub const LONGEST: Seconds = Seconds(30.0 * 60.0);
/// The lowest sample rate that is listened to.
pub const LOWEST_RATE_HZ: u32 = 4_000;

/// Pitch less sure than this gives no key and no chords; the second where so many notes speak: instruments that are not in tune with each other are music all the same, one
/// tone is not.
const LEAST_PITCH: f64 = 0.15;
const LEAST_PITCH_OF_MANY: f64 = 0.03;
const MANY_NOTES: f64 = 5.0;
/// Beats whose spacing is less sure than this are no grid for chords.
const LEAST_BEAT: f64 = 0.2;

/// Why a record is not listened to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HearError {
    /// Longer than [`LONGEST`].
    TooLong { found: Seconds },
    /// A rate below [`LOWEST_RATE_HZ`].
    Rate { found_hz: u32 },
}

impl std::fmt::Display for HearError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            HearError::TooLong { found } => write!(f, "the record lasts {found}; it must be {LONGEST} or shorter: cut out what you need"),
            HearError::Rate { found_hz } => write!(f, "the sample rate is {found_hz} Hz; it must be {LOWEST_RATE_HZ} Hz or more"),
        }
    }
}

impl std::error::Error for HearError {}

/// Listens to a record; its beats obey the pins. `progress` is told how much is done, 0 to 1.
///
/// Silent, empty and very short records are no error: they give a [`Hearing`] that holds little.
///
/// # Errors
/// A record too long, or a sample rate too low.
pub fn hear(record: &Buffer, pins: &Pins, progress: &dyn Fn(f64)) -> Result<Hearing, HearError> {
    listen(record, pins, true, progress)
}

/// As [`hear`], without harmony, loudness and seats: pitch reference, tempo, beats and bars alone, in less time.
///
/// # Errors
/// As [`hear`].
pub fn hear_beats(record: &Buffer, pins: &Pins, progress: &dyn Fn(f64)) -> Result<Hearing, HearError> {
    listen(record, pins, false, progress)
}

fn listen(record: &Buffer, pins: &Pins, all: bool, progress: &dyn Fn(f64)) -> Result<Hearing, HearError> {
    within_limits(record)?;
    let mut heard = Hearing {
        duration: record.duration(),
        rate_hz: record.rate_hz(),
        channels: record.channel_count(),
        loudness_lufs: if all { wave::integrated_lufs(record) } else { None },
        pitch_reference: None,
        tempo: None,
        meter: None,
        swing: None,
        beats: None,
        bars: None,
        other_beats: Vec::new(),
        key: None,
        chords: None,
        bass: None,
        seats: if all { stereo_picture(record).map(|p| p.seats) } else { None },
    };
    let Some(mut mono) = mono::Mono::new(record) else {
        return Ok(heard);
    };
    let Followed { streams, pitch, activity, beats, bars } = follow(&mut mono, pins, progress);
    heard.pitch_reference = pitch;
    // Without pitch there is no harmony to speak of.
    let pitched = |p: &PitchReference| {
        p.confidence >= LEAST_PITCH || p.confidence >= LEAST_PITCH_OF_MANY && pitch_reference::notes(&streams.partials) >= MANY_NOTES
    };
    if let Some(pitch) = heard.pitch_reference.as_ref().filter(|p| all && pitched(p)) {
        let (sounding, chords) = harmony(&streams, pitch, beats.as_ref(), bars.as_ref());
        heard.key = key::key(&sounding, &chords.steps());
        heard.bass = Some(bass::bass(&low_spectra::LowSpectra::new(&streams, pitch)));
        heard.chords = Some(chords.named(heard.key.as_ref().map(|k| k.key)));
    }
    if let Some(beats) = beats {
        let (bpm, drift_percent) = tempo(&beats.times);
        heard.tempo = Some(Tempo { bpm, drift_percent, confidence: beats.confidence });
        heard.swing = bars::swing(&beats, &activity);
        let other = |o: beats::Other| {
            let bpm = tempo(&o.times).0;
            let told_by = Pins { beats: [pins.beats.clone(), o.told_by].concat(), bpm: pins.bpm.or(o.tempo.then_some(bpm)), ..pins.clone() };
            OtherBeats { bpm, meter: o.bars.meter, beats: o.times, bars: o.bars.starts, likely: o.likely, told_by }
        };
        heard.other_beats = beats.others.into_iter().map(other).collect();
        heard.beats = Some(beats.times);
    }
    if let Some(bars) = bars {
        heard.meter = Some(bars.meter);
        heard.bars = Some(bars.starts);
    }
    Ok(heard)
}

/// What is followed through a record before its harmony.
struct Followed {
    streams: streams::Streams,
    pitch: Option<PitchReference>,
    activity: beats::Activity,
    beats: Option<beats::Beats>,
    bars: Option<bars::Bars>,
}

/// What beats are found by.
fn attended(streams: &streams::Streams) -> (beats::Activity, pulse::Pulse, beat_choice::Cues) {
    let activity = beats::activity(&streams.onsets);
    let classes = classes::Classes::new(streams);
    let pulse = pulse::pulse(&rhythm::rhythm(streams, &classes));
    let cues = beat_choice::Cues::new(streams, &activity, &pulse, classes);
    (activity, pulse, cues)
}

fn follow(mono: &mut mono::Mono<'_>, pins: &Pins, progress: &dyn Fn(f64)) -> Followed {
    let streams = streams::streams(mono, progress);
    let pitch = pitch_reference::pitch_reference(&streams.partials);
    let (activity, pulse, cues) = attended(&streams);
    let mut beats = beats::beats(&activity, &pulse, &cues, pins);
    let bars = beats.as_mut().and_then(|b| b.bars.take().or_else(|| bars::bars(b, &streams, &activity)));
    Followed { streams, pitch, activity, beats, bars }
}

/// Pitch classes and chords.
fn harmony(streams: &streams::Streams, pitch: &PitchReference, beats: Option<&beats::Beats>, bars: Option<&bars::Bars>) -> (Vec<key::Sounding>, chords::Found) {
    let sure = beats.filter(|b| b.spacing >= LEAST_BEAT);
    let pool = chord_scorer::Pool::new(&salience::salience(streams, pitch));
    let units = sounding::units(streams.duration(), sure, sure.and(bars));
    (sounding::soundings(&pool, &units), chords::Found::new(&chord_scorer::Scorer::new(), &pool, &units))
}

/// What keys are judged by, for training that (module `key`); `None` where nothing has a pitch.
///
/// # Errors
/// As [`hear()`].
pub fn key_evidence(record: &Buffer) -> Result<Option<KeyEvidence>, HearError> {
    within_limits(record)?;
    let Some(mut mono) = mono::Mono::new(record) else { return Ok(None) };
    let Followed { streams, pitch, beats, bars, .. } = follow(&mut mono, &Pins::default(), &|_| ());
    Ok(pitch.and_then(|p| {
        let (sounding, chords) = harmony(&streams, &p, beats.as_ref(), bars.as_ref());
        key::evidence(&sounding, &chords.steps())
    }))
}

/// The pitch reference alone, of a stretch of a record. `None` for silence and where nothing has a pitch.
///
/// # Errors
/// As [`hear`].
pub fn pitch_reference(record: &Buffer) -> Result<Option<PitchReference>, HearError> {
    within_limits(record)?;
    let Some(mut mono) = mono::Mono::new(record) else { return Ok(None) };
    let mut finder = partials::Partials::new();
    let mut block = vec![0.0f32; partials::PARTIALS_SIZE];
    let windows: Vec<Vec<partials::Partial>> = (0..mono.frames())
        .step_by(partials::PARTIALS_HOP)
        .map(|at| {
            mono.read(at as i64 - (partials::PARTIALS_SIZE / 2) as i64, &mut block);
            finder.find(&block)
        })
        .collect();
    Ok(pitch_reference::pitch_reference(&windows))
}

/// Beats from onset strength alone and how sure they are, 0 to 1: the plain method, for comparison with what [`hear`] finds by its network.
///
/// # Errors
/// As [`hear`].
pub fn plain_beats(record: &Buffer, pins: &Pins) -> Result<Option<(Vec<Seconds>, f64)>, HearError> {
    within_limits(record)?;
    let Some(mut mono) = mono::Mono::new(record) else {
        return Ok(None);
    };
    let streams = streams::streams(&mut mono, &|_| ());
    Ok(beats::plain(&beats::activity(&streams.onsets), pins).map(|b| (b.times, b.confidence)))
}

/// A reading of a record's beats, for training the choice between them (module `beat_choice`).
#[derive(Clone, Debug)]
pub struct BeatReading {
    pub beats: Vec<Seconds>,
    /// What it is judged by.
    pub cues: Vec<f32>,
    /// Whether it is the network's own (0) or that of onset strength (1).
    pub own: Option<usize>,
    /// Marks of bars, a row for each beat.
    pub marks: Vec<[f32; bar_marks::MARKS]>,
    /// How alike beats are at each distance: rhythms, harmonies, basses.
    pub alike: [[f32; bar_marks::LAGS.len()]; 3],
    /// The beat on which the record begins.
    pub begun: Option<usize>,
}

/// All readings of the beats that [`hear()`] chooses from; empty where nothing moves.
///
/// # Errors
/// As [`hear()`].
pub fn beat_readings(record: &Buffer) -> Result<Vec<BeatReading>, HearError> {
    within_limits(record)?;
    let Some(mut mono) = mono::Mono::new(record) else { return Ok(Vec::new()) };
    let streams = streams::streams(&mut mono, &|_| ());
    let (activity, pulse, cues) = attended(&streams);
    let seconds = |f: &f64| Seconds(f / streams::onset_rate());
    if !beats::moves(&activity) {
        return Ok(Vec::new());
    }
    let none = Pins::default();
    let all = beats::judged(&activity, &pulse, &cues, &none, &beats::Held::new(&none, activity.all.len()));
    Ok(all
        .into_iter()
        .map(|r| BeatReading {
            beats: r.reading.frames.iter().map(seconds).collect(),
            cues: r.cues.to_vec(),
            own: r.reading.own.then_some(r.reading.way),
            marks: r.marks.marks,
            alike: r.marks.alike,
            begun: r.marks.begun,
        })
        .collect())
}

/// Values a frame of [`rhythm()`].
pub const RHYTHM_CHANNELS: usize = rhythm::CHANNELS;
/// Frames a second of [`rhythm()`].
pub const RHYTHM_RATE_HZ: f64 = mono::RATE_HZ as f64 / (rhythm::HOPS * streams::ONSET_HOP) as f64;

/// What the network of beats sees of a record, [`RHYTHM_CHANNELS`] values a frame, for its training alone. Empty for silence.
///
/// # Errors
/// As [`hear`].
pub fn rhythm(record: &Buffer) -> Result<Vec<f32>, HearError> {
    within_limits(record)?;
    Ok(mono::Mono::new(record).map_or(Vec::new(), |mut mono| {
        let streams = streams::streams(&mut mono, &|_| ());
        rhythm::rhythm(&streams, &classes::Classes::new(&streams))
    }))
}

fn within_limits(record: &Buffer) -> Result<(), HearError> {
    if record.duration().0 > LONGEST.0 {
        return Err(HearError::TooLong { found: record.duration() });
    }
    if record.rate_hz() < LOWEST_RATE_HZ {
        return Err(HearError::Rate { found_hz: record.rate_hz() });
    }
    Ok(())
}

/// What chords and the bass line are read from, for training what reads them (`training`).
#[derive(Clone, Debug, Default)]
pub struct Evidence {
    /// Rows of note salience (module `salience`).
    pub notes: Vec<[f32; salience::WIDTH]>,
    /// Rows of the lower spectra (module `low_spectra`).
    pub low: Vec<low_spectra::Row>,
}

/// The evidence of a record; empty where there is no pitch.
///
/// # Errors
/// As [`hear()`].
pub fn evidence(record: &Buffer) -> Result<Evidence, HearError> {
    within_limits(record)?;
    let Some(mut mono) = mono::Mono::new(record) else { return Ok(Evidence::default()) };
    let streams = streams::streams(&mut mono, &|_| ());
    let Some(pitch) = pitch_reference::pitch_reference(&streams.partials) else { return Ok(Evidence::default()) };
    let low = low_spectra::LowSpectra::new(&streams, &pitch);
    Ok(Evidence { notes: salience::salience(&streams, &pitch), low: low.rows(0..low.len()) })
}

/// The middle of the beats' tempi in beats a minute, and how far the tempo moves when read over eight beats, in percent of it.
fn tempo(beats: &[Seconds]) -> (f64, f64) {
    let over = |n: usize| -> Vec<f64> {
        let mut bpm: Vec<f64> = beats.windows(n + 1).map(|w| 60.0 * n as f64 / (w[n].0 - w[0].0).max(1e-3)).collect();
        bpm.sort_by(f64::total_cmp);
        bpm
    };
    let all = over(beats.len().saturating_sub(1).clamp(1, 8));
    let bpm = all[all.len() / 2];
    (bpm, 100.0 * (all[all.len() - 1] - all[0]) / bpm)
}
