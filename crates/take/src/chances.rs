//! How likely each pitch of a guitar begins and sounds at a time: the note network by itself, for whoever holds written notes against a sound.
//!
//! # Method
//! The spectra and the network that takes are written down with, without their decoding: a threshold would throw away what a written note can still be weighed by.

use crate::decode::HOP_S;
use crate::network::{self, LOWEST, PITCHES};
use crate::spectra::Spectra;

/// The rate that it listens at, hertz.
pub const CHANCES_RATE_HZ: u32 = crate::spectra::RATE_HZ;
/// The lowest pitch (MIDI) that a guitar in standard tuning needs.
pub const CHANCES_LOWEST: i32 = LOWEST as i32;

/// Chances of 49 semitones, frame by frame (11.6 ms).
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NoteChances {
    lowest: i32,
    frames: usize,
    onset: Vec<f32>,
    sustain: Vec<f32>,
}

impl NoteChances {
    /// Of one channel at [`CHANCES_RATE_HZ`], with A4 at `a4_hz`. `lowest` (MIDI) is the lowest pitch that is asked for: below [`CHANCES_LOWEST`] all that the network knows is
    /// moved down, as for a lowered tuning. Silence has no chances; neither has nothing.
    ///
    /// # Errors
    /// A sentence where the network does not run: a fault of the program, not of the sound.
    pub fn of(samples: &[f32], a4_hz: f64, lowest: i32) -> Result<NoteChances, String> {
        let lowest = lowest.min(CHANCES_LOWEST);
        let a4_hz = a4_hz * libm::exp2(f64::from(lowest - CHANCES_LOWEST) / 12.0);
        let post = network::onset_and_sustain(&Spectra::new(samples, a4_hz))?;
        Ok(NoteChances { lowest, frames: post.frames, onset: post.onset, sustain: post.sustain })
    }

    fn frames_of(&self, from_s: f64, to_s: f64) -> std::ops::Range<usize> {
        let at = |s: f64| ((s / HOP_S).round().max(0.0) as usize).min(self.frames);
        at(from_s)..(at(to_s) + 1).min(self.frames)
    }

    fn pitch(&self, midi: i32) -> Option<usize> {
        usize::try_from(midi - self.lowest).ok().filter(|p| *p < PITCHES)
    }

    /// The highest chance, 0 to 1, that a pitch (MIDI) begins within a stretch of seconds; 0 beyond the sound and for pitches out of range.
    pub fn begins(&self, from_s: f64, to_s: f64, midi: i32) -> f32 {
        let Some(p) = self.pitch(midi) else { return 0.0 };
        self.frames_of(from_s, to_s).map(|k| self.onset[k * PITCHES + p]).fold(0.0, f32::max)
    }

    /// The mean chance, 0 to 1, that a pitch (MIDI) sounds over a stretch of seconds; 0 beyond the sound and for pitches out of range.
    pub fn sounds(&self, from_s: f64, to_s: f64, midi: i32) -> f32 {
        let Some(p) = self.pitch(midi) else { return 0.0 };
        let frames = self.frames_of(from_s, to_s);
        let n = frames.len().max(1) as f32;
        frames.map(|k| self.sustain[k * PITCHES + p]).sum::<f32>() / n
    }

    /// The pitches (MIDI) that it knows.
    pub fn range(&self) -> std::ops::RangeInclusive<i32> {
        self.lowest..=self.lowest + PITCHES as i32 - 1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Plucked partials of a pitch for two seconds, from half a second on.
    fn plucked(midi: f64) -> Vec<f32> {
        let rate = f64::from(CHANCES_RATE_HZ);
        let hz = 440.0 * libm::exp2((midi - 69.0) / 12.0);
        (0..(2.5 * rate) as usize)
            .map(|n| n as f64 / rate - 0.5)
            .map(|t| if t < 0.0 { 0.0 } else { (1..=10).map(f64::from).map(|k| 0.2 / k * libm::exp(-t * (1.0 + 0.3 * k)) * libm::sin(std::f64::consts::TAU * k * hz * t)).sum::<f64>() as f32 })
            .collect()
    }

    #[test]
    fn a_plucked_string_begins_where_it_does_and_sounds_after() {
        let c = NoteChances::of(&plucked(52.0), 440.0, 40).unwrap();
        assert!(c.begins(0.45, 0.56, 52) > 0.5 && c.begins(0.0, 0.4, 52) < 0.2 && c.begins(0.45, 0.56, 53) < 0.3, "{}", c.begins(0.45, 0.56, 52));
        assert!(c.sounds(0.55, 0.8, 52) > 0.5 && c.sounds(0.1, 0.4, 52) < 0.2);
        // Out of range and beyond the sound.
        assert_eq!((c.begins(0.0, 3.0, 39), c.begins(0.0, 3.0, 89), c.begins(9.0, 10.0, 52), c.sounds(9.0, 10.0, 52)), (0.0, 0.0, 0.0, 0.0));
        // A low tuning, and a pitch reference.
        let low = NoteChances::of(&plucked(38.0), 440.0, 36).unwrap();
        assert!(low.begins(0.45, 0.56, 38) > 0.5 && *low.range().start() == 36);
        let sharp = NoteChances::of(&plucked(52.4), 440.0 * libm::exp2(0.4 / 12.0), 40).unwrap();
        assert!(sharp.begins(0.45, 0.56, 52) > 0.5);
    }

    #[test]
    fn silence_and_nothing_have_no_chances() {
        for n in [0, 1, 30_000] {
            let c = NoteChances::of(&vec![0.0; n], 440.0, 40).unwrap();
            assert!((40..89).all(|m| c.begins(0.0, 2.0, m) < 0.3 && c.sounds(0.0, 2.0, m) < 0.3), "{n}");
        }
    }
}
