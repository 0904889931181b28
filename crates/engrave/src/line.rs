//! A line of a system once its bars and columns have their places: what every row draws from.

use crate::rhythm::is_empty_bar;
use crate::spacing::to_f64;
use lesson::{Bar, Beats, Meter, Part, SheetBar, Tone, Written};

/// A printed bar, or a piece of one, in its place.
#[derive(Clone, Debug)]
pub(crate) struct PlacedBar<'a> {
    /// What is printed round it: a piece has the signs of its own end only.
    pub sheet: &'a SheetBar,
    /// The played bar that is drawn, an index into the passage's bars.
    pub index: usize,
    pub bar: &'a Bar,
    /// The stretch of the bar that it shows.
    pub from: Beats,
    pub to: Beats,
    /// Note values by shown part.
    pub written: &'a [Vec<Written>],
    /// Those of the whole bar, and how many of them earlier pieces have.
    pub whole: &'a [Vec<Written>],
    pub earlier: &'a [usize],
    pub left: f64,
    pub right: f64,
    /// Moments and their x, ascending.
    pub columns: Vec<(Beats, f64)>,
    /// Middle of the meter that is printed at its beginning, where it changes within a line.
    pub meter_x: Option<f64>,
}

impl PlacedBar<'_> {
    /// Whether a moment of the bar lies in this piece.
    pub fn holds(&self, at: Beats) -> bool {
        self.from <= at && at < self.to
    }

    /// Whether it is the bar's first piece.
    pub fn begins(&self) -> bool {
        self.from == Beats::from_integer(0)
    }

    /// Whether it is the bar's last piece.
    pub fn ends(&self) -> bool {
        self.to == self.bar.length
    }

    /// Whether a shown part is silent through the whole bar.
    pub fn is_silent(&self, shown: usize) -> bool {
        is_empty_bar(&self.whole[shown])
    }
}

/// One line.
#[derive(Clone, Debug)]
pub(crate) struct Line<'a> {
    pub bars: Vec<PlacedBar<'a>>,
    /// Where staff and tab lines begin and end.
    pub left: f64,
    pub right: f64,
    pub clef_x: f64,
    pub key_x: f64,
    /// Middle of the meter at its beginning.
    pub meter_x: Option<f64>,
    /// The passage's first line.
    pub first: bool,
    /// The passage's last line.
    pub last: bool,
    /// Middle of the meter that the line's end announces, and the meter.
    pub courtesy: Option<(f64, Meter)>,
}

impl Line<'_> {
    /// x of a moment in the bar at place `i` of the line; between columns in proportion to time.
    pub fn x(&self, i: usize, at: Beats) -> f64 {
        let b = &self.bars[i];
        let mut before = None;
        for &(t, x) in &b.columns {
            if t == at {
                return x;
            }
            if t > at {
                let (t0, x0) = before.unwrap_or((b.from, x));
                let k = if t > t0 { to_f64(at - t0) / to_f64(t - t0) } else { 0.0 };
                return x0 + (x - x0) * k;
            }
            before = Some((t, x));
        }
        let Some((t0, x0)) = before else { return b.left };
        let left_over = to_f64(b.to - t0);
        let k = if left_over > 0.0 { (to_f64(at - t0) / left_over).clamp(0.0, 1.0) } else { 1.0 };
        x0 + (b.right - x0) * k
    }

    /// The place in the line that stands for a played bar.
    pub fn place_of(&self, played: usize, at: Beats) -> Option<usize> {
        self.bars.iter().position(|b| b.sheet.played.contains(&played) && b.holds(at))
    }

    /// x of the last barline.
    pub fn end(&self) -> f64 {
        self.bars.last().map_or(self.right, |b| b.right)
    }

    /// x of the first thing in the line's bars.
    pub fn content_left(&self) -> f64 {
        self.bars.first().map_or(self.left, |b| b.left)
    }
}

/// The note before an event on the same string: played bar, event and note, as far as two bars back.
pub(crate) fn note_before(part: &Part, bar: usize, event: usize, string: u8) -> Option<(usize, usize, &Tone)> {
    let mut upto = event;
    for b in (bar.saturating_sub(2)..=bar).rev() {
        let events = &part.bars.get(b)?.events;
        for (e, ev) in events.iter().enumerate().take(upto).rev() {
            if let Some(tone) = ev.notes.iter().find(|t| t.place().is_some_and(|(s, _)| s == string)) {
                return Some((b, e, tone));
            }
        }
        upto = usize::MAX;
    }
    None
}
