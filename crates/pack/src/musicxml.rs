//! A passage as MusicXML 4.0: each fretted part on a five-line staff with linked tab, repeats folded as on the printed page.
//!
//! # Conventions
//! - Pitches are the sounding ones. Guitar and bass staves have a clef an octave down (which in MusicXML moves what is drawn, not
//!   what is meant), so there is no `transpose`. A capo stands in `staff-details`; frets count from it, pitches include it.
//! - Staff 1 and staff 2 (tab) hold the same notes, as voices 1 and 2. String, fret and what the hands do stand on the tab,
//!   articulations, ornaments and the sign for a spread stroke on the staff above.
//! - One written voice a part: what rings on past its stroke has its stroke's length and a let-ring tie.
//! - A slide within a stroke is a grace note on the struck fret, slid into the note where it arrives, which has the whole length.
//! - A measure's number is the number of the first played bar that it stands for.
//! - A part that is an easier way to play another has volume 0, so that both are read and one is heard.
//!
//! # What MusicXML has no element for
//! Palm muting is `other-technical` and `play/mute`; raking and a technique whose first note is not printed before it are
//! `other-technical`; volume and wah are words. Swing is the `swing` element, which can say eighths and sixteenths only.
//!
//! Source: W3C Music Notation Community Group, MusicXML 4.0 (schema `musicxml.xsd` and its documentation).

mod accidental;
mod chord;
mod clock;
mod element;
mod link;
mod measure;
mod note;
mod part;

use clock::Clock;
use element::{document, el, leaf};
use lesson::{HarmonySpan, Lesson, Passage, SheetBar};

/// What all parts of one score share.
struct Score<'a> {
    passage: &'a Passage,
    harmony: &'a [HarmonySpan],
    sheet: Vec<SheetBar>,
    clock: Clock,
}

/// The score of one passage. `harmony` is printed over the first part: the passage's own, or computed names where none was
/// written; empty for none.
///
/// A passage without parts or bars gives a single empty measure, so that the file is always valid.
pub fn musicxml(lesson: &Lesson, passage: &Passage, harmony: &[HarmonySpan]) -> String {
    let sheet = lesson::sheet(passage);
    let clock = Clock::of(passage, &sheet, harmony);
    let score = Score { passage, harmony, sheet, clock };
    let parts = &passage.parts;
    let (mut list, mut scores): (Vec<_>, Vec<_>) = parts.iter().enumerate().map(|(i, p)| (part::listed(i, p), part::part(&score, i, p))).unzip();
    if parts.is_empty() {
        list.push(el("score-part").attr("id", "P1").with(el("part-name")));
        scores.push(el("part").attr("id", "P1").with(el("measure").attr("number", 1)));
    }
    let root = el("score-partwise")
        .attr("version", "4.0")
        .with(el("work").with(leaf("work-title", &lesson.title)))
        .with(leaf("movement-title", if passage.title.is_empty() { &passage.id } else { &passage.title }))
        .with(el("part-list").with_all(list))
        .with_all(scores);
    document(&root, "score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\"")
}
