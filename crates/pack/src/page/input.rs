//! The plain values that a page is made from. Bars and parts are indices into the passage's own lists.

/// A lesson, ready to be shown. Every `String` is text and never markup, except where a field says that it holds a drawing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PageInput {
    pub title: String,
    /// What one needs to be able to play, one entry a skill.
    pub needs: Vec<String>,
    /// Paragraphs about the whole lesson.
    pub about: Vec<String>,
    pub passages: Vec<PagePassage>,
    pub revisions: Vec<PageRevision>,
    /// Paragraphs at the foot, below the page's own lines on hearing, strain and rights.
    pub small_print: Vec<String>,
    /// What the sounds are, for the message to a browser that cannot read them: `audio/ogg; codecs=opus`, `audio/wav`…
    pub mime: String,
}

/// One passage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PagePassage {
    /// Short name, used in links and file names.
    pub id: String,
    pub title: String,
    /// A line of facts under the title: key, tempo, meter, tuning, capo.
    pub facts: Vec<String>,
    pub notes: Vec<PageNote>,
    /// Drawings (whole `<svg>` elements made by `engrave`), one a system, from top to bottom.
    pub systems: Vec<String>,
    /// The same music laid out for a phone; where empty, the wide drawings scroll sideways in their own box.
    pub narrow_systems: Vec<String>,
    pub diagrams: Vec<PageDiagram>,
    /// Each bar's printed number as played, 0 for a pickup.
    pub bar_numbers: Vec<u32>,
    /// Beats a minute in the first bar at full tempo; 0 where it is not to be shown.
    pub tempo_bpm: f64,
    pub parts: Vec<PagePart>,
    /// The tempos that can be chosen, in any order.
    pub ladder: Vec<PageStep>,
    /// Where the passage lies in the pupil's own copy of the record, in words, one entry a place.
    pub record: Vec<String>,
    /// How far the record lies from concert pitch, in words.
    pub cents_note: Option<String>,
}

impl PagePassage {
    /// The ladder from slow to fast; of two steps with the same percentage the first stands.
    pub(crate) fn steps(&self) -> Vec<&PageStep> {
        let mut steps: Vec<&PageStep> = self.ladder.iter().collect();
        steps.sort_by(|a, b| a.percent.total_cmp(&b.percent));
        steps.dedup_by(|b, a| a.percent == b.percent);
        steps
    }
}

/// The teacher's word on a place or on the whole passage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PageNote {
    /// As printed, `bar 2, beat 1`.
    pub place: Option<String>,
    pub text: String,
}

/// A neck diagram with the grip's name.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PageDiagram {
    /// Printed under the drawing; empty where the drawing holds it.
    pub name: String,
    /// A drawing.
    pub svg: String,
}

/// One part of a passage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PagePart {
    pub name: String,
    /// Where it sits in the stereo picture, in words (`left`); may be empty.
    pub seat: String,
    /// Index of the part that this is an easier way to play. Such a part rests at first, and only one of the two sounds at a time.
    pub easier_of: Option<usize>,
}

/// A passage at one tempo. All sounds have the same rate, begin at the passage's beginning, and go round without a seam: what rings on after
/// the last bar is mixed into the first. Their first round begins with the heads instead, where nothing rings yet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PageStep {
    /// Of full tempo.
    pub percent: f64,
    pub rate_hz: u32,
    /// Length of the passage and of each of its sounds.
    pub frames: u64,
    /// So many frames of its own beginning stand once more behind the end of each stem and of the click (lossy coding leaves a step at a
    /// seam, which is faded away with them); 0 where there are none.
    pub overlap_frames: u64,
    /// Start of each bar, in seconds from the passage's beginning, rising; as many as the passage has bar numbers.
    pub bar_starts_s: Vec<f64>,
    /// Part index and encoded bytes. The gains are set: played together as they are, they make the full mix.
    pub stems: Vec<(usize, Vec<u8>)>,
    /// How the first round of each stem begins, all of one length; none where it begins as every round.
    pub heads: Vec<PageSound>,
    /// The click through the whole passage.
    pub click: Option<PageSound>,
    /// By how much all is turned down with the click on, dB, 0 or less, so that nothing is louder than full scale.
    pub click_headroom_db: f64,
    /// What is heard before the first bar.
    pub count_in: Option<PageSound>,
}

/// An encoded sound.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PageSound {
    /// Length after decoding.
    pub frames: u64,
    pub bytes: Vec<u8>,
}

/// A dated correction.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PageRevision {
    pub date: String,
    pub text: String,
}
