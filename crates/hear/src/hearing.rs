//! The answer of [`hear`](crate::hear()): plain data, in seconds, hertz and cents.

use crate::pitch_reference::PitchReference;
use pitch::{Key, Midi};
use wave::Seconds;

/// What a record tells. A field that is `None` was not heard: the sound gives too little, or this crate does not listen for it yet (said at the
/// field). Nothing here is a default value.
#[derive(Clone, Debug, PartialEq)]
pub struct Hearing {
    pub duration: Seconds,
    /// Of the record as given.
    pub rate_hz: u32,
    pub channels: usize,
    /// Integrated, ITU-R BS.1770; `None` for silence and for less than 0.4 s.
    pub loudness_lufs: Option<f64>,
    pub pitch_reference: Option<PitchReference>,
    pub tempo: Option<Tempo>,
    pub meter: Option<Meter>,
    pub swing: Option<Swing>,
    /// Times of the beats, rising.
    pub beats: Option<Vec<Seconds>>,
    /// Which beats begin a bar, as places in `beats`.
    pub bars: Option<Vec<usize>>,
    pub key: Option<KeyHeard>,
    /// One after the other, without gaps; what sounds like no chord is a stretch labelled `N`.
    pub chords: Option<Vec<ChordHeard>>,
    /// In the order of time, one at a time; empty where no bass is heard.
    pub bass: Option<Vec<BassNote>>,
    /// From left to right. `None` for silence and for anything but two channels: a mono record has no picture. Two equal channels are one seat in
    /// the centre.
    pub seats: Option<Vec<Seat>>,
}

/// The tempo of the whole record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tempo {
    /// Beats a minute; in compound meters the beat is dotted.
    pub bpm: f64,
    /// How far the tempo moves, slowest to fastest, in percent of it.
    pub drift_percent: f64,
    /// 0 to 1; under 0.3 there is little to go by.
    pub confidence: f64,
}

/// Beats of a bar and their note value, as printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Meter {
    pub over: u8,
    pub under: u8,
}

/// The first one's share of each pair of notes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swing {
    /// 50 is even, 66.7 a triplet's two thirds.
    pub percent: f64,
    /// The pair's notes: 8 for eighths, 16 for sixteenths.
    pub of: u8,
}

/// A key, and where another one holds.
#[derive(Clone, Debug, PartialEq)]
pub struct KeyHeard {
    pub key: Key,
    pub confidence: f64,
    pub over_time: Vec<KeyAt>,
}

/// A key over a stretch of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeyAt {
    pub start: Seconds,
    pub end: Seconds,
    pub key: Key,
    pub confidence: f64,
}

/// A chord over a stretch of time.
#[derive(Clone, Debug, PartialEq)]
pub struct ChordHeard {
    pub start: Seconds,
    pub end: Seconds,
    /// A label in the syntax of Harte et al., with bass; `N` where there is no chord.
    pub harte: String,
    /// 0 to 1.
    pub confidence: f64,
    /// What it could be instead, likeliest first.
    pub also: Vec<String>,
}

/// A note of the bass line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BassNote {
    pub onset: Seconds,
    pub offset: Seconds,
    pub midi: Midi,
}

/// A seat in the stereo picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seat {
    /// -1 left to 1 right, by the law of equal power.
    pub azimuth: f64,
    /// Of the record's energy between 70 Hz and 8 kHz, 0 to 1. What is missing to 1 over all seats comes from no seat.
    pub share: f64,
}
