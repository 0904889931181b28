//! Where a part's row is drawn before it gets its place on the page: items by bar, and the boxes that later marks must clear.

use crate::frame::{Bounds, Item};

/// One row of a system, y = 0 at its top line.
#[derive(Clone, Debug, Default)]
pub(crate) struct Canvas {
    /// What belongs to the line as a whole: lines, clefs, names.
    pub line: Vec<Item>,
    /// What belongs to a bar of the line.
    pub bars: Vec<Vec<Item>>,
    taken: Vec<Bounds>,
}

impl Canvas {
    pub fn new(bars: usize) -> Canvas {
        Canvas { bars: vec![Vec::new(); bars], ..Canvas::default() }
    }

    /// Draws into a bar and keeps the room.
    pub fn draw(&mut self, bar: usize, items: impl IntoIterator<Item = Item>) {
        for item in items {
            if let Some(b) = item.bounds() {
                self.taken.push(b);
            }
            if let Some(list) = self.bars.get_mut(bar) {
                list.push(item);
            }
        }
    }

    /// Draws for the whole line and keeps the room.
    pub fn draw_line(&mut self, items: impl IntoIterator<Item = Item>) {
        for item in items {
            if let Some(b) = item.bounds() {
                self.taken.push(b);
            }
            self.line.push(item);
        }
    }

    /// Keeps room without drawing.
    pub fn keep(&mut self, b: Bounds) {
        self.taken.push(b);
    }

    /// The lowest y at which something `left..right` wide may end so that it stands clear above all that is drawn there; `start` is
    /// where it would stand with nothing in the way.
    pub fn clear_above(&self, left: f64, right: f64, start: f64) -> f64 {
        self.taken.iter().filter(|b| b.right > left && b.left < right).map(|b| b.top).fold(start, f64::min)
    }

    /// As [`Canvas::clear_above`], downward.
    pub fn clear_below(&self, left: f64, right: f64, start: f64) -> f64 {
        self.taken.iter().filter(|b| b.right > left && b.left < right).map(|b| b.bottom).fold(start, f64::max)
    }

    /// How far below this canvas' y = 0 another's must lie so that nothing of the two comes nearer than `gap`.
    pub fn distance_to(&self, below: &Canvas, gap: f64) -> f64 {
        let mut distance = f64::MIN;
        for a in &self.taken {
            for b in below.taken.iter().filter(|b| b.left < a.right + 2.0 && b.right > a.left - 2.0) {
                distance = distance.max(a.bottom - b.top + gap);
            }
        }
        distance
    }
}
