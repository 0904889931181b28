//! What the note network of `take` hears of guitar parts, each from its own seat where the record is stereo; and the numbers by which it adds to `features`.
//!
//! # Method
//! A part's seat is let through (`hear::seat_only`), brought to one channel and put to the network; parts of one seat, and all parts of a mono record, share one hearing.
//! Of a pitch at a stroke it says how likely it began there, just before or after, and sounds; and the same of the pitches that it is easily taken for.

use crate::spectra::{RATE_HZ, Sound};
use hear::{SEAT_WIDTH, seat_only};
use take::{CHANCES_LOWEST, NoteChances};
use wave::Buffer;

/// How many numbers it gives of a pitch at a stroke.
pub(crate) const NUMBERS: usize = 18;
/// Seats nearer than this are one.
const SAME: f32 = 0.1;
/// Lowest pitch to which the network is moved down.
const DEEPEST: i32 = CHANCES_LOWEST - 12;

/// What was heard from one place.
pub(crate) struct Chances {
    seat: Option<f32>,
    lowest: i32,
    from_s: f64,
    heard: NoteChances,
}

/// What was heard of a sound so far.
#[derive(Default)]
pub(crate) struct Hearings(Vec<std::rc::Rc<Chances>>);

impl Hearings {
    /// Listens between two times (seconds) from a seat for pitches from `lowest` (MIDI) up; `None` for pitches too low.
    pub fn listen(&mut self, sound: &Sound, seat: Option<f32>, lowest: i32, cents: f64, (from_s, to_s): (f64, f64)) -> Option<std::rc::Rc<Chances>> {
        if lowest < DEEPEST {
            return None;
        }
        let lowest = lowest.min(CHANCES_LOWEST);
        let same = |c: &&std::rc::Rc<Chances>| c.lowest == lowest && match (c.seat, seat) {
            (None, None) => true,
            (Some(a), Some(b)) => (a - b).abs() < SAME,
            _ => false,
        };
        if let Some(known) = self.0.iter().find(same) {
            return Some(known.clone());
        }
        let at = |s: f64| ((s.max(0.0) * f64::from(RATE_HZ)) as usize).min(sound.middle.len());
        let range = at(from_s)..at(to_s).max(at(from_s));
        let own = match (&sound.right, seat) {
            (Some(right), Some(seat)) => {
                let pair = Buffer::new(RATE_HZ, vec![sound.left[range.clone()].to_vec(), right[range.clone()].to_vec()]).ok()?;
                // Where nothing can be taken apart all is listened to.
                seat_only(&pair, f64::from(seat), SEAT_WIDTH).ok().map(|s| s.mono().channel(0).to_vec())
            }
            _ => None,
        };
        let samples = own.unwrap_or_else(|| sound.middle[range.clone()].to_vec());
        let heard = NoteChances::of(&samples, 440.0 * libm::exp2(cents / 1200.0), lowest).ok()?;
        let chances = std::rc::Rc::new(Chances { seat, lowest, from_s: range.start as f64 / f64::from(RATE_HZ), heard });
        self.0.push(chances.clone());
        Some(chances)
    }
}

/// What is heard of all pitches at one stroke.
pub(crate) struct Here {
    lowest: i32,
    /// At the stroke, before and after it.
    begins: Vec<[f32; 3]>,
    /// Soon after, later, and before.
    sounds: Vec<[f32; 3]>,
}

/// -2.3 to 2.3, 0 for even odds.
fn even(p: f32) -> f32 {
    libm::logf((p + 1e-4) / (1.0 - p + 1e-4)) / 4.0
}

pub(crate) const NOTHING: f32 = -2.302_585;

impl Chances {
    /// At a time of the sound.
    pub fn at(&self, time_s: f64) -> Here {
        let t = time_s - self.from_s;
        let (h, all) = (&self.heard, self.heard.range());
        Here {
            lowest: *all.start(),
            begins: all.clone().map(|m| [h.begins(t - 0.03, t + 0.06, m), h.begins(t - 0.16, t - 0.042, m), h.begins(t + 0.072, t + 0.16, m)].map(even)).collect(),
            sounds: all.map(|m| [h.sounds(t + 0.01, t + 0.10, m), h.sounds(t + 0.10, t + 0.25, m), h.sounds(t - 0.10, t - 0.02, m)].map(even)).collect(),
        }
    }
}

impl Here {
    fn of(list: &[[f32; 3]], lowest: i32, midi: i32, n: usize) -> f32 {
        usize::try_from(midi - lowest).ok().and_then(|p| list.get(p)).map_or(NOTHING, |v| v[n])
    }

    /// How likely a pitch (MIDI) began: at the stroke (0), before (1), after (2); -2.3 to 2.3.
    pub fn begins(&self, midi: i32, n: usize) -> f32 {
        Self::of(&self.begins, self.lowest, midi, n)
    }

    /// How likely it sounds: soon after the stroke (0), later (1), before (2); -2.3 to 2.3.
    pub fn sounds(&self, midi: i32, n: usize) -> f32 {
        Self::of(&self.sounds, self.lowest, midi, n)
    }

    /// The numbers for a pitch (MIDI).
    pub fn numbers(&self, midi: i32) -> [f32; NUMBERS] {
        let on = |d: i32| self.begins(midi + d, 0);
        let on_for = |d: i32| self.sounds(midi + d, 0);
        let own = on(0);
        let top = self.begins.iter().map(|b| b[0]).fold(NOTHING, f32::max);
        let above = self.begins.iter().filter(|b| b[0] > own).count().min(12) as f32 / 12.0;
        let many = self.begins.iter().filter(|b| b[0] > 0.0).count().min(6) as f32 / 6.0;
        [
            own,
            on(-1).max(on(1)),
            on(-12),
            on(12),
            on(-19).max(on(-24)),
            on(-2).max(on(2)),
            self.begins(midi, 1),
            self.begins(midi, 2),
            on_for(0),
            self.sounds(midi, 1),
            self.sounds(midi, 2),
            on_for(-1).max(on_for(1)),
            on_for(-12),
            on_for(12),
            on_for(-19).max(on_for(-24)),
            top,
            above,
            many,
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chances_are_even_at_a_half_and_nothing_out_of_range() {
        assert!(even(0.5).abs() < 1e-6 && (even(0.0) + 2.3).abs() < 0.01 && (even(1.0) - 2.3).abs() < 0.01 && (even(0.8) + even(0.2)).abs() < 1e-5 && (4.0 * even(0.8) - libm::logf(4.0)).abs() < 1e-3);
        let here = Here { lowest: 40, begins: vec![[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]], sounds: vec![[7.0, 8.0, 9.0], [1.5, 2.5, 3.5]] };
        assert_eq!([(40, 0), (41, 2), (39, 0), (42, 1)].map(|(m, n)| here.begins(m, n)), [1.0, 6.0, NOTHING, NOTHING]);
        assert_eq!([(40, 1), (41, 0), (39, 2)].map(|(m, n)| here.sounds(m, n)), [8.0, 1.5, NOTHING]);
    }
}
