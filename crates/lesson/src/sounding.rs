//! What is heard: one entry a sounding note, ties joined, with exact written onset and length, over the passage as played.

use crate::{Attack, Beats, Direction, Part, Source, Span};
use pitch::Midi;

/// One sounding note (or one dead stroke on one string, drum or click) of a part.
#[derive(Clone, Debug, PartialEq)]
pub struct Sounding {
    /// Onset in written time from the passage's start.
    pub at: Beats,
    /// Sounding length in written time: ties joined, ringing on under `&` counted, cut where the string is struck anew.
    pub len: Beats,
    /// Index of the bar in which it begins, and slot (from 1).
    pub bar: usize,
    pub slot: u32,
    /// Index into the bar's events and into the event's notes.
    pub event: usize,
    pub note: usize,
    pub source: Source,
    /// Pitch when it begins.
    pub midi: Midi,
    pub dead: bool,
    pub attack: Attack,
    /// For hammered, pulled and slid notes: index (in the same list) of the note on the same string that they come from.
    pub from: Option<usize>,
    /// Pitch course: offsets in cents from `midi`, each reached at a written time from the onset (bends, let-downs). Empty when level.
    pub bend: Vec<(Beats, f64)>,
    /// Slide within the stroke: the pitch reached, in semitones from `midi`, and the written time from the onset when it is reached.
    pub slide: Option<(Beats, i32)>,
    pub accent: bool,
    pub ghost: bool,
    pub short: bool,
    pub palm_mute: bool,
    pub harmonic: bool,
    pub vibrato: bool,
    pub tremolo: bool,
    /// Order in the stroke, 0 = struck first, and how many notes the stroke has; `None` direction for instruments without strings.
    pub order: u32,
    pub of: u32,
    pub hand: Direction,
    /// Spread slowly, or raked.
    pub spread: bool,
    pub rake: bool,
    pub span: Span,
}

/// The soundings of a part in order of time. Notes that begin together stand low string first.
pub fn soundings(part: &Part) -> &[Sounding] {
    &part.heard
}
