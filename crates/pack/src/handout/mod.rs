//! The handout as PDF/UA-1: computed from titles, notes and laid-out drawings; the same bytes for the same input.
//!
//! # Method
//!
//! Three steps. Every *piece* that a page turn must not cut (a heading, a row of diagrams, a system, a note) is first set alone,
//! to learn its height. Then [`pages`] chooses the page breaks. Then the pages are set as planned.
//!
//! Words travel to the typesetter as a JSON file, never as markup, so that a title like `#panic() *x*` prints as itself.
//! Drawings never travel through it at all: the template leaves labelled room for each, and after layout the drawing's texts
//! and paths are put into that room as the typesetter's own frame items. Positions stay exact, a page of a thousand signs costs
//! no more layout than an empty box, and the items land inside the tagged figure that carries the alternative text.
//!
//! # What it must not do
//!
//! Read files, fonts of the system, or the clock.

mod drawing;
mod input;
pub(crate) mod letters;
mod pages;
mod pieces;
pub(crate) mod typesetter;

pub use input::{CARE, Diagram, HandoutInput, Note, Paper, Passage, RIGHTS, Revision, content_width_pt};

use std::fmt;
use typst::layout::Frame as Sheet;

/// Sets the handout and returns it as PDF/UA-1 (ISO 14289-1), fonts embedded, with a bookmark for each passage.
///
/// A lesson without passages gives a page with its title and small print. Errors name the text or drawing at fault.
pub fn handout(input: &HandoutInput) -> Result<Vec<u8>, HandoutError> {
    let typesetter = typesetter::Typesetter::new();
    let (pieces, drawings, plan) = settle(input, &typesetter)?;
    typesetter.set(input, &pieces, &plan, &drawings)
}

/// Cuts, measures and plans, until every passage that can stand on one page does: the first one with the title over it, if that can be.
fn settle(input: &HandoutInput, typesetter: &typesetter::Typesetter) -> Result<(Vec<pieces::Piece>, Vec<Sheet>, Vec<pages::Page>), HandoutError> {
    let room_pt = input.paper.text_height_pt();
    // Which setting of its systems each passage has, and which ones need not be tried any more. 0 is the usual one.
    let mut settings = vec![0; input.passages.len()];
    let mut settled = vec![false; input.passages.len()];
    let mut under_title = true;
    loop {
        let (pieces, drawings) = pieces::cut(input, &settings, typesetter)?;
        let heights = typesetter.measure(input, &pieces)?;
        let fits = pages::groups_that_fit(&pieces, &heights, room_pt, under_title);
        let mut changed = false;
        for head in pieces.iter().filter(|p| p.kind == pieces::Kind::Head && !fits[p.group]) {
            let i = head.passage - 1;
            if settled[i] || input.passages[i].smaller_systems.is_empty() {
                continue;
            }
            changed = true;
            settings[i] += 1;
            if settings[i] > input.passages[i].smaller_systems.len() {
                settings[i] = 0;
                // Without the title the first passage has another try.
                settled[i] = i > 0 || !under_title;
                under_title &= i > 0;
            }
        }
        if !changed {
            let plan = pages::plan(&pieces, &heights, room_pt);
            return Ok((pieces, drawings, plan));
        }
    }
}

/// Characters of `text` that no embedded font can print, once each, in order of appearance; such a text ends in
/// [`HandoutError::NoGlyph`]. Direction marks and white space always can, control characters are not counted.
pub fn uncovered(text: &str) -> Vec<char> {
    letters::Letters::new().uncovered(text)
}

/// Why no handout came to be.
#[derive(Clone, Debug, PartialEq)]
pub enum HandoutError {
    /// A character that no embedded font can print.
    NoGlyph { place: String, character: char, text: String },
    /// A control character inside a text.
    Control { place: String, character: char },
    /// A text that must not be empty is.
    Empty { place: String },
    /// A language that is not a two- or three-letter code of ISO 639.
    Language { found: String },
    /// A drawing that cannot be printed as it is.
    Drawing { place: String, found: String, right: String },
    /// More than the handout takes.
    TooMuch { place: String, found: usize, limit: usize },
    /// The typesetter's or the PDF writer's own complaint; a fault of this program.
    Typesetter(String),
}

impl fmt::Display for HandoutError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoGlyph { place, character, text } => write!(
                f,
                "{place}: the fonts have no sign for '{character}' (U+{:04X}) in \"{text}\"; \
                 Latin, Greek and Cyrillic letters and the signs ♭ ♯ ♮ can be printed",
                u32::from(*character)
            ),
            Self::Control { place, character } => {
                write!(f, "{place}: found the control character U+{:04X}; plain text is right", u32::from(*character))
            }
            Self::Empty { place } => write!(f, "{place}: is empty; a handout needs words here"),
            Self::Language { found } => {
                write!(f, "language: found \"{found}\"; a code of two or three small letters is right, such as \"en\"")
            }
            Self::Drawing { place, found, right } => write!(f, "{place}: found {found}; right is {right}"),
            Self::TooMuch { place, found, limit } => write!(f, "{place}: found {found}, more than the {limit} that a handout takes"),
            Self::Typesetter(message) => write!(f, "the handout could not be set: {message}"),
        }
    }
}

impl std::error::Error for HandoutError {}

#[cfg(test)]
mod tests;
