//! What a handout is made from, and the measures of its page.

use engrave::Frame;

/// Everything that the handout shows. Texts are plain: no character in them is markup.
#[derive(Clone, Debug, PartialEq)]
pub struct HandoutInput {
    pub paper: Paper,
    /// ISO 639 code, for hyphenation and screen readers.
    pub language: String,
    pub title: String,
    /// What one needs to be able to play; empty: no such line.
    pub needs: String,
    /// Notes on the whole lesson.
    pub notes: Vec<Note>,
    pub passages: Vec<Passage>,
    /// Grips and where they stand, for a handout of several lessons; `at` is the grip. Empty: no such section.
    pub grips: Vec<Note>,
    pub revisions: Vec<Revision>,
    /// One line of care, see [`CARE`].
    pub care: String,
    /// One line of rights, see [`RIGHTS`].
    pub rights: String,
    /// Adds a line that says so; the drawings come mirrored already.
    pub left_handed: bool,
}

impl Default for HandoutInput {
    /// An A4 handout without a title, with the usual small print.
    fn default() -> Self {
        Self {
            paper: Paper::A4,
            language: "en".into(),
            title: String::new(),
            needs: String::new(),
            notes: Vec::new(),
            passages: Vec::new(),
            grips: Vec::new(),
            revisions: Vec::new(),
            care: CARE.into(),
            rights: RIGHTS.into(),
            left_handed: false,
        }
    }
}

/// One passage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Passage {
    /// Empty: the passage goes by its number alone.
    pub title: String,
    /// Key, tempo, meter, swing, tuning, capo, as one line; empty: left out.
    pub facts: String,
    /// Where it lies in the pupil's own copy of the record, such as `0:12.4 to 0:21.8`; empty: no such line.
    pub record_places: Vec<String>,
    /// How far the record is from concert pitch, such as `31 cents above concert pitch`; empty: left out.
    pub record_pitch: String,
    pub diagrams: Vec<Diagram>,
    /// Laid out to [`content_width_pt`].
    pub systems: Vec<Frame>,
    /// The same systems set ever smaller. The first that brings the passage onto one page is printed; where none does, `systems` is.
    pub smaller_systems: Vec<Vec<Frame>>,
    pub notes: Vec<Note>,
    /// A drawing of how the parts share time and register; those of all passages stand together behind the music.
    pub map: Option<Frame>,
    /// How the parts share time and register, a paragraph each.
    pub findings: Vec<String>,
}

/// A neck diagram and the words under it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Diagram {
    pub frame: Frame,
    pub caption: String,
}

/// A teacher's note.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Note {
    /// Where it belongs, such as `bar 2, beat 1`; empty: to the whole.
    pub at: String,
    pub text: String,
}

/// A correction since an earlier handout.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Revision {
    pub date: String,
    pub text: String,
}

/// The line of care, for [`HandoutInput::care`].
pub const CARE: &str = "Warm up, take rests, and stop at pain: pain that stays or comes back is for a clinician to judge, not \
for this sheet. Keep play-along audio and amplifier at a level you can talk over, and give your ears pauses.";

/// The line of rights, for [`HandoutInput::rights`].
pub const RIGHTS: &str = "Passages quoted from records are for the teacher to clear with whoever holds the rights; local law \
decides what may be copied and handed on.";

/// Size of the sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Paper {
    /// ISO 216: 210 mm by 297 mm.
    #[default]
    A4,
    /// US Letter: 8.5 in by 11 in.
    Letter,
}

/// Width of the type area: what systems are laid out to. 19.05 mm (54 pt) are left free at each side.
pub fn content_width_pt(paper: Paper) -> f64 {
    paper.size_pt().0 - 2.0 * SIDE_PT
}

/// Free paper at the left and right.
pub(super) const SIDE_PT: f64 = 54.0;
/// Free paper above the type area; the running title stands in it.
pub(super) const TOP_PT: f64 = 64.0;
/// Free paper below the type area; the page number stands in it.
pub(super) const FOOT_PT: f64 = 62.0;

impl Paper {
    /// Width and height.
    pub fn size_pt(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0),
            Self::Letter => (612.0, 792.0),
        }
    }

    /// Height of the type area.
    pub(super) fn text_height_pt(self) -> f64 {
        self.size_pt().1 - TOP_PT - FOOT_PT
    }
}
