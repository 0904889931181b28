//! The answer of [`hear`](crate::hear()): plain data, in seconds, hertz and cents.

use crate::beats::Pins;
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
    /// What the beats could be instead, the likeliest first: three at most, and none that is less likely than one in fifty. Empty where the beats are beyond doubt.
    pub other_beats: Vec<OtherBeats>,
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

/// Another reading of the beat, for the teacher to take instead.
#[derive(Clone, Debug, PartialEq)]
pub struct OtherBeats {
    /// Beats a minute.
    pub bpm: f64,
    pub meter: Meter,
    /// Times of the beats, rising, four at least.
    pub beats: Vec<Seconds>,
    /// Which of these begin a bar.
    pub bars: Vec<usize>,
    /// How likely it is that the beats are these, 0 to 1.
    pub likely: f64,
    /// What sets it apart from likelier readings: besides what was told already some of its beats, and its tempo where these are not enough.
    pub told_by: Pins,
}

impl OtherBeats {
    /// By what part of a beat these lie later than beats of about the same tempo, from -0.5 to 0.5; `None` where they follow each other faster or slower, or lie now so and now so.
    pub fn later(&self, beats: &[Seconds]) -> Option<f64> {
        let length = |b: &[Seconds]| (b.last().map_or(0.0, |l| l.0) - b.first().map_or(0.0, |f| f.0)) / b.len().saturating_sub(1).max(1) as f64;
        if libm::fabs(length(&self.beats) / length(beats) - 1.0) > LIKE_TEMPO {
            return None;
        }
        let (mut across, mut up, mut count) = (0.0, 0.0, 0.0);
        for t in &self.beats {
            let after = beats.partition_point(|b| b.0 <= t.0);
            if let (Some(last), Some(next)) = (after.checked_sub(1).map(|n| beats[n]), beats.get(after)) {
                let turn = std::f64::consts::TAU * (t.0 - last.0) / (next.0 - last.0);
                (across, up, count) = (across + libm::cos(turn), up + libm::sin(turn), count + 1.0);
            }
        }
        (count > 0.0 && libm::hypot(across, up) > ONE_PLACE * count).then(|| libm::atan2(up, across) / std::f64::consts::TAU)
    }
}

impl Hearing {
    /// What each of the other beats is against those that were heard: `half a beat later`, `in places elsewhere`, of another tempo that, `88.4 a minute`, and `88.4 a minute half a beat later` where
    /// one of that tempo is named before; and the meter where it is another.
    pub fn other_beats_in_words(&self) -> Vec<String> {
        let bpm = self.tempo.map_or(0.0, |t| t.bpm);
        let near = |a: f64, b: f64| libm::fabs(a - b) < LIKE_TEMPO * b;
        let words = |(n, o): (usize, &OtherBeats)| {
            let before = self.other_beats[..n].iter().find(|b| near(o.bpm, b.bpm)).map(|b| b.beats.as_slice());
            let mut out = match (near(o.bpm, bpm), before) {
                (true, _) => shift(o.later(self.beats.as_deref().unwrap_or_default())),
                (_, Some(before)) => format!("{:.1} a minute {}", o.bpm, shift(o.later(before))),
                _ => format!("{:.1} a minute", o.bpm),
            };
            if self.meter.is_some_and(|m| m != o.meter) {
                out.push_str(&format!(" in {}", o.meter));
            }
            out
        };
        self.other_beats.iter().enumerate().map(words).collect()
    }
}

/// By what part of a beat, in words.
fn shift(later: Option<f64>) -> String {
    let Some(by) = later.filter(|by| libm::fabs(*by) > 0.125) else { return "in places elsewhere".to_owned() };
    let part = match libm::fabs(by) {
        p if p < 0.29 => "a quarter of a beat",
        p if p < 0.42 => "a third of a beat",
        _ => "half a beat",
    };
    // Half a beat is the same either way.
    format!("{part} {}", if (-0.42..0.0).contains(&by) { "earlier" } else { "later" })
}

/// Tempi that differ by this share are the same.
const LIKE_TEMPO: f64 = 0.04;
/// Beats whose places in other beats agree as much as this (the mean length of their directions, 0 to 1) lie at one place in them.
const ONE_PLACE: f64 = 0.8;

/// Beats of a bar and their note value, as printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Meter {
    pub over: u8,
    pub under: u8,
}

impl std::fmt::Display for Meter {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}/{}", self.over, self.under)
    }
}

/// One of those that are heard; else which these are.
impl std::str::FromStr for Meter {
    type Err = String;

    fn from_str(text: &str) -> Result<Meter, String> {
        let all = Meter::HEARD;
        all.into_iter().find(|m| m.to_string() == text).ok_or_else(|| format!("the meters that are heard are {}", all.map(|m| m.to_string()).join(", ")))
    }
}

impl Meter {
    /// The meters that are heard.
    pub const HEARD: [Meter; 3] = [Meter { over: 4, under: 4 }, Meter { over: 3, under: 4 }, Meter { over: 6, under: 8 }];
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
    /// What it could be instead, the likeliest first: three.
    pub also: Vec<Key>,
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

#[cfg(test)]
mod tests {
    use super::*;

    fn every(from: f64, step: f64, count: usize) -> Vec<Seconds> {
        (0..count).map(|n| Seconds(from + step * n as f64)).collect()
    }

    fn other(beats: Vec<Seconds>, bpm: f64, over: u8) -> OtherBeats {
        OtherBeats { bpm, meter: Meter { over, under: 4 }, bars: vec![0], likely: 0.2, told_by: Pins::default(), beats }
    }

    #[test]
    fn other_beats_are_told_by_what_sets_them_apart() {
        let record = wave::Buffer::silence(44_100, 1, 1_000).unwrap();
        let mut heard = crate::hear(&record, &Pins::default(), &|_| ()).unwrap();
        heard.beats = Some(every(1.0, 0.5, 40));
        heard.tempo = Some(Tempo { bpm: 120.0, drift_percent: 0.0, confidence: 0.3 });
        heard.meter = Some(Meter { over: 4, under: 4 });
        // The same until the middle, then half a beat later.
        let slipped: Vec<Seconds> = every(1.0, 0.5, 40).into_iter().map(|t| Seconds(t.0 + if t.0 > 11.0 { 0.25 } else { 0.0 })).collect();
        let each = [
            (every(1.25, 0.5, 39), 120.0, 4, "half a beat later"),
            (every(1.12, 0.5, 39), 120.0, 4, "a quarter of a beat later"),
            (every(1.333, 0.5, 39), 120.0, 4, "a third of a beat earlier"),
            (every(1.0, 1.0, 20), 60.0, 4, "60.0 a minute"),
            (every(1.0, 0.75, 27), 80.0, 3, "80.0 a minute in 3/4"),
            (every(1.5, 1.0, 20), 60.5, 4, "60.5 a minute half a beat later"),
            (slipped, 119.0, 4, "in places elsewhere"),
        ];
        heard.other_beats = each.iter().map(|(beats, bpm, over, _)| other(beats.clone(), *bpm, *over)).collect();
        assert_eq!(heard.other_beats_in_words(), each.map(|e| e.3));
        assert_eq!(other(every(1.2, 0.5, 9), 120.0, 4).later(&[]), None);
    }
}
