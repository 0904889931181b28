//! The answer of a check: plain data that says what the JSON of `check` says.

use crate::findings::Finding;

/// What the record says of a passage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Checked {
    /// The passage's name.
    pub id: String,
    /// The record of which all times speak: that of the first stretch that sounds, else the one named first; empty for a take.
    pub file: String,
    /// Seconds of the record at which the passage begins, for each stretch in which it comes back.
    pub starts_s: Vec<f64>,
    /// The record of each of `starts_s`.
    pub files: Vec<String>,
    /// How sure the place of the passage is, 0 to 1, the least of all stretches.
    pub aligned: f64,
    /// Length in the record over the written length, in the first stretch.
    pub stretch: f64,
    /// The record's pitch against concert pitch, cents, where it was measured or given.
    pub cents: Option<f64>,
    /// Written and heard seconds of the first stretch, for drawing and for pinning it: see [`crate::Options::pins`].
    pub grid: Vec<(f64, f64)>,
    pub parts: Vec<PartChecked>,
    /// Most serious first.
    pub findings: Vec<Finding>,
    /// What could not be known, and why, in sentences.
    pub limits: Vec<String>,
}

/// What the record says of a part.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PartChecked {
    pub name: String,
    /// In the order of the part's notes.
    pub notes: Vec<NoteChecked>,
    pub unwritten: Vec<Unwritten>,
    /// Strokes without an onset, and onsets that nobody wrote.
    pub rhythm: Vec<Stray>,
    pub pocket: Option<Pocket>,
}

/// How far the record supports a note.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    Supported,
    Weak,
    /// Something else is clearly heard in its place.
    Contradicted,
    /// Masked: other sound covers all by which it could be told.
    NotAudible,
}

impl Verdict {
    /// The word for it in JSON.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Supported => "supported",
            Verdict::Weak => "weak",
            Verdict::Contradicted => "contradicted",
            Verdict::NotAudible => "not_audible",
        }
    }
}

/// A written note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoteChecked {
    /// Number of the bar as played, beat (from 1) and slot.
    pub bar: u32,
    pub beat: f64,
    pub slot: u32,
    pub string: Option<u8>,
    pub fret: Option<u8>,
    pub midi: i32,
    /// Seconds in the record.
    pub time_s: f64,
    pub verdict: Verdict,
    /// 0 to 1.
    pub evidence: f64,
    /// The pitch that the record has in its place.
    pub better: Option<i32>,
    /// Slots by which it seems to come later than written; negative: earlier.
    pub moved_slots: Option<i32>,
    /// Positive: ahead of the grid.
    pub ahead_ms: Option<f64>,
    /// A scratch or drum: judged as an onset without pitch.
    pub unpitched: bool,
    /// Heard as written, says the lesson.
    pub waved: bool,
    /// What the evidence is made from, for the script that sets its weights.
    #[doc(hidden)]
    pub marks: [f32; crate::judge::MARKS],
    /// What that it was moved is judged from, where it was looked for elsewhere.
    #[doc(hidden)]
    pub moved_marks: Option<[f32; crate::judge::MOVED_MARKS]>,
}

impl NoteChecked {
    /// Whether its pitch was heard more clearly, by odds of about four and a half to one, than any that is easily taken for it.
    pub(crate) fn stands_out(&self) -> bool {
        self.marks[0] > self.marks[5] + 1.5
    }
}

/// A pitch that nobody wrote.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unwritten {
    /// Seconds in the record.
    pub time_s: f64,
    pub bar: u32,
    pub beat: f64,
    pub slot: u32,
    pub midi: i32,
    /// 0 to 1.
    pub evidence: f64,
    /// A place for it beside what is written there, string and fret.
    pub place: Option<(u8, u8)>,
    /// It belongs to a stroke that is written: a note that the grip lacks.
    pub of_stroke: bool,
    /// What the evidence is made from, for the script that sets its weights.
    #[doc(hidden)]
    pub marks: [f32; crate::judge::STRAY_MARKS],
}

/// A stroke or onset that the other side does not have.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stray {
    pub time_s: f64,
    pub bar: u32,
    pub beat: f64,
    pub slot: u32,
    /// Written without an onset in the record (true), or the other way round.
    pub written: bool,
    /// 0 to 1.
    pub evidence: f64,
}

/// How a part lies against the beat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pocket {
    /// Median over strokes, positive: ahead of the grid that all parts make together.
    pub ahead_ms: f64,
    /// Half the distance between the quartiles.
    pub spread_ms: f64,
    /// Strokes that it is made of.
    pub strokes: usize,
    /// The first one's share of each pair, in percent, as measured, and of which notes (8 or 16).
    pub swing_percent: Option<f64>,
    pub swing_of: u8,
    /// As written.
    pub swing_written_percent: f64,
}
