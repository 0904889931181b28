//! What is heard in a take before it is written: notes and scratches in seconds.

use lesson::Attack;
use pitch::Midi;

/// One note of the take.
#[derive(Clone, Debug, PartialEq)]
pub struct TakenNote {
    /// Seconds from the take's beginning.
    pub onset_s: f64,
    pub offset_s: f64,
    pub midi: Midi,
    /// 0 to 1.
    pub confidence: f64,
    /// How likely each string is by its sound, and, of notes struck alone, by where the hand lies around it, low to high; shares of what they add up to. Empty where nothing is known.
    pub strings: Vec<f64>,
    /// How it begins.
    pub attack: Attack,
}

/// A muted stroke.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TakenScratch {
    pub onset_s: f64,
    /// 0 to 1.
    pub confidence: f64,
}
