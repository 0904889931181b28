//! From written time to seconds: tempo of each bar, beats of its meter, swing.

use crate::{Bar, Beats, Passage, Swing};

/// An exact time as a float, for the step to seconds.
fn float(b: Beats) -> f64 {
    *b.numer() as f64 / *b.denom() as f64
}

/// Where written time `at` (from the bar's start) lies when swung, in quarter notes from the bar's start.
///
/// Within each pair of `unit` notes the first is stretched to `percent` of the pair and the second shortened, linearly, so
/// that finer notes swing along. A pair that the bar does not hold whole stays even.
///
/// ```
/// use lesson::{Beats, Swing, swung};
/// let swing = Swing { percent: 60.0, unit: Beats::new(1, 2) };
/// assert!((swung(Beats::new(1, 2), Beats::from_integer(4), Some(swing)) - 0.6).abs() < 1e-12);
/// assert_eq!(swung(Beats::from_integer(1), Beats::from_integer(4), Some(swing)), 1.0);
/// ```
pub fn swung(at: Beats, bar_length: Beats, swing: Option<Swing>) -> f64 {
    let Some(swing) = swing else { return float(at) };
    let pair = swing.unit * Beats::from_integer(2);
    let start = pair * (at / pair).floor();
    if start + pair > bar_length {
        return float(at);
    }
    let (into, unit, first) = (float(at - start), float(swing.unit), float(pair) * swing.percent / 100.0);
    let moved = if into <= unit { into / unit * first } else { first + (into - unit) / unit * (2.0 * unit - first) };
    float(start) + moved
}

impl Bar {
    /// Seconds of a quarter note at the bar's tempo.
    fn quarter_s(&self) -> f64 {
        60.0 / self.tempo_bpm / float(self.meter.beat())
    }

    /// Seconds that the bar lasts at 100 % tempo.
    pub fn seconds(&self) -> f64 {
        float(self.length) * self.quarter_s()
    }

    /// Seconds from the bar's start to written time `at` in it, swung. A pickup's pairs count from the bar line it leads to.
    pub fn seconds_to(&self, at: Beats) -> f64 {
        let gap = self.meter.length() - self.length;
        (swung(at + gap, self.meter.length(), self.swing) - float(gap)) * self.quarter_s()
    }
}

impl Passage {
    /// Seconds at which each bar begins at 100 % tempo, and, last, the end.
    pub fn bar_starts(&self) -> Vec<f64> {
        let mut t = 0.0;
        let mut out = Vec::with_capacity(self.bars.len() + 1);
        for b in &self.bars {
            out.push(t);
            t += b.seconds();
        }
        out.push(t);
        out
    }

    /// Seconds from the passage's start to written time `at` in bar `bar` (index), at 100 % tempo, swung. Past the last bar: its end.
    pub fn seconds(&self, bar: usize, at: Beats) -> f64 {
        let start: f64 = self.bars.iter().take(bar).map(Bar::seconds).sum();
        start + self.bars.get(bar).map_or(0.0, |b| b.seconds_to(at))
    }

    /// Seconds at written time `t` from the passage's start (see [`crate::Sounding::at`]), swung.
    pub fn seconds_at(&self, t: Beats) -> f64 {
        let bar = self.bars.partition_point(|b| b.start <= t).saturating_sub(1);
        match self.bars.get(bar) {
            None => 0.0,
            Some(b) if t >= b.start + b.length => self.seconds(bar + 1, Beats::from_integer(0)),
            Some(b) => self.seconds(bar, t - b.start),
        }
    }

    /// Seconds that the passage lasts at 100 % tempo.
    pub fn duration(&self) -> f64 {
        self.bars.iter().map(Bar::seconds).sum()
    }

    /// Written length.
    pub fn length(&self) -> Beats {
        self.bars.last().map_or(Beats::from_integer(0), |b| b.start + b.length)
    }
}
