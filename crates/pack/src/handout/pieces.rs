//! Pieces: the handout cut into what no page turn may divide, with the space that belongs before each.

use engrave::Frame;
use serde_json::{Value, json};
use typst::layout::Frame as Sheet;
use typst::text::Lang;

use super::drawing::draw;
use super::input::content_width_pt;
use super::letters::{Cut, Letters};
use super::typesetter::Typesetter;
use super::{Diagram, HandoutError, HandoutInput, Note, Passage};

/// What cannot be cut.
pub(super) struct Piece {
    pub kind: Kind,
    /// Pieces of one group stay on one page where the group fits on one.
    pub group: usize,
    /// The passage that it belongs to, counted from 1; 0 for what stands before and after them.
    pub passage: usize,
    /// The template's data: its kind, texts, and the numbers of the drawings it makes room for.
    pub data: Value,
    /// What stands at the top of a page that begins here: the passage's title.
    pub running: String,
}

/// Kind of a piece; decides the space before it and what may be parted from it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Title,
    Head,
    Diagrams,
    System,
    Subhead,
    Note,
    Section,
    Revision,
    SmallPrint,
}

/// Most passages of one handout.
const MOST_PASSAGES: usize = 300;
/// Most diagrams, systems, notes or findings of one passage.
const MOST_IN_PASSAGE: usize = 500;
/// Most grips of an index.
const MOST_GRIPS: usize = 2000;
/// White between two diagrams of a row.
const DIAGRAM_GAP_PT: f64 = 8.0;
/// The caption's size; its figures are over 2 mm high, as all others.
pub(super) const CAPTION_PT: f64 = 9.5;

/// Cuts the input into pieces, in reading order, and draws its drawings, in the order of their numbers. `settings` says for each passage
/// which of its smaller systems to take, counted from 1; 0 and numbers past the last mean the usual ones.
pub(super) fn cut(input: &HandoutInput, settings: &[usize], typesetter: &Typesetter) -> Result<(Vec<Piece>, Vec<Sheet>), HandoutError> {
    if !(2..=3).contains(&input.language.len()) || !input.language.bytes().all(|b| b.is_ascii_lowercase()) {
        return Err(HandoutError::Language { found: input.language.clone() });
    }
    let language = input.language.parse::<Lang>().map_err(|_| HandoutError::Language { found: input.language.clone() })?;
    limit("passages", input.passages.len(), MOST_PASSAGES)?;
    limit("notes", input.notes.len(), MOST_IN_PASSAGE)?;
    limit("revisions", input.revisions.len(), MOST_IN_PASSAGE)?;
    limit("grips", input.grips.len(), MOST_GRIPS)?;
    let mut cutter = Cutter {
        letters: &typesetter.letters,
        language,
        width: content_width_pt(input.paper),
        height: input.paper.text_height_pt(),
        pieces: Vec::new(),
        drawings: Vec::new(),
        group: 0,
        passage: 0,
        running: String::new(),
    };
    cutter.opening(input)?;
    for (i, passage) in input.passages.iter().enumerate() {
        cutter.group += 1;
        cutter.passage = i + 1;
        cutter.passage(i + 1, passage, settings[i])?;
    }
    cutter.passage = 0;
    cutter.fitting_together(input)?;
    cutter.group += 1;
    cutter.closing(input)?;
    Ok((cutter.pieces, cutter.drawings))
}

struct Cutter<'a> {
    letters: &'a Letters,
    language: Lang,
    width: f64,
    height: f64,
    pieces: Vec<Piece>,
    drawings: Vec<Sheet>,
    group: usize,
    passage: usize,
    running: String,
}

impl Cutter<'_> {
    fn opening(&mut self, input: &HandoutInput) -> Result<(), HandoutError> {
        let title = self.letters.clean("title", Cut::Semibold, &input.title)?;
        if title.is_empty() {
            return Err(HandoutError::Empty { place: "title".into() });
        }
        let needs = self.letters.clean("needs", Cut::Regular, &input.needs)?;
        self.push(Kind::Title, json!({"title": title, "needs": needs, "left_handed": input.left_handed}));
        self.notes("note", &input.notes)
    }

    fn passage(&mut self, number: usize, passage: &Passage, setting: usize) -> Result<(), HandoutError> {
        let place = format!("passage {number}");
        let systems = setting.checked_sub(1).and_then(|i| passage.smaller_systems.get(i)).unwrap_or(&passage.systems);
        for (what, count) in [
            ("diagrams", passage.diagrams.len()),
            ("systems", systems.len()),
            ("notes", passage.notes.len()),
            ("findings", passage.findings.len()),
            ("places in the record", passage.record_places.len()),
        ] {
            limit(&format!("{place}, {what}"), count, MOST_IN_PASSAGE)?;
        }
        let title = self.letters.clean(&format!("{place}, title"), Cut::Semibold, &passage.title)?;
        self.running = if title.is_empty() { format!("Passage {number}") } else { title.clone() };
        let facts = self.letters.clean(&format!("{place}, facts"), Cut::Regular, &passage.facts)?;
        let mut record = Vec::new();
        for span in &passage.record_places {
            record.push(self.letters.clean(&format!("{place}, place in the record"), Cut::Regular, span)?);
        }
        let pitch = self.letters.clean(&format!("{place}, pitch of the record"), Cut::Regular, &passage.record_pitch)?;
        self.push(
            Kind::Head,
            json!({"number": number, "title": title, "facts": facts, "record": record.join(", "), "pitch": pitch}),
        );
        self.diagrams(&place, &passage.diagrams)?;
        for (i, system) in systems.iter().enumerate() {
            let room = self.room(&format!("{place}, system {}", i + 1), system)?;
            self.push(Kind::System, room);
        }
        self.notes(&format!("{place}, note"), &passage.notes)?;
        Ok(())
    }

    /// How the parts of each passage fit together: behind the music, so that a passage keeps to its page.
    fn fitting_together(&mut self, input: &HandoutInput) -> Result<(), HandoutError> {
        self.running = "How the parts fit together".into();
        let mut first = true;
        for (i, passage) in input.passages.iter().enumerate() {
            if passage.map.is_none() && passage.findings.is_empty() {
                continue;
            }
            let (number, place) = (i + 1, format!("passage {}", i + 1));
            self.group += 1;
            if first {
                self.push(Kind::Section, json!({"text": self.running}));
                first = false;
            }
            let title = self.letters.clean(&format!("{place}, title"), Cut::Semibold, &passage.title)?;
            let title = if title.is_empty() { format!("Passage {number}") } else { format!("{number}\u{2002}{title}") };
            self.push(Kind::Subhead, json!({"text": title}));
            if let Some(map) = &passage.map {
                let room = self.room(&format!("{place}, map of its parts"), map)?;
                self.push(Kind::System, room);
            }
            for (k, finding) in passage.findings.iter().enumerate() {
                let text = self.letters.clean(&format!("{place}, finding {}", k + 1), Cut::Regular, finding)?;
                self.push(Kind::Note, json!({"at": "", "text": text}));
            }
        }
        Ok(())
    }

    fn closing(&mut self, input: &HandoutInput) -> Result<(), HandoutError> {
        self.running = String::new();
        if !input.grips.is_empty() {
            self.running = "Grips".into();
            self.push(Kind::Section, json!({"text": self.running}));
            for (i, grip) in input.grips.iter().enumerate() {
                let place = format!("grip {}", i + 1);
                let at = self.letters.clean(&place, Cut::Italic, &grip.at)?;
                let text = self.letters.clean(&place, Cut::Regular, &grip.text)?;
                self.push(Kind::Revision, json!({"at": at, "text": text}));
            }
            self.running = String::new();
            self.group += 1;
        }
        if !input.revisions.is_empty() {
            self.push(Kind::Section, json!({"text": "Revisions"}));
        }
        for (i, revision) in input.revisions.iter().enumerate() {
            let place = format!("revision {}", i + 1);
            let date = self.letters.clean(&place, Cut::Regular, &revision.date)?;
            let text = self.letters.clean(&place, Cut::Regular, &revision.text)?;
            self.push(Kind::Revision, json!({"at": date, "text": text}));
        }
        let care = self.letters.clean("line of care", Cut::Regular, &input.care)?;
        let rights = self.letters.clean("line of rights", Cut::Regular, &input.rights)?;
        if !care.is_empty() || !rights.is_empty() {
            self.push(Kind::SmallPrint, json!({"care": care, "rights": rights}));
        }
        Ok(())
    }

    fn notes(&mut self, place: &str, notes: &[Note]) -> Result<(), HandoutError> {
        for (i, note) in notes.iter().enumerate() {
            let place = format!("{place} {}", i + 1);
            let at = self.letters.clean(&place, Cut::Italic, &note.at)?;
            let text = self.letters.clean(&place, Cut::Regular, &note.text)?;
            self.push(Kind::Note, json!({"at": at, "text": text}));
        }
        Ok(())
    }

    /// Diagrams stand in columns of one width over all rows, so that grips can be compared down the page.
    fn diagrams(&mut self, place: &str, diagrams: &[Diagram]) -> Result<(), HandoutError> {
        let mut cells = Vec::new();
        let (mut column, mut widest): (f64, f64) = (0.0, 0.0);
        for (i, diagram) in diagrams.iter().enumerate() {
            let place = format!("{place}, diagram {}", i + 1);
            let caption = self.letters.clean(&format!("{place}, caption"), Cut::Regular, &diagram.caption)?;
            let mut cell = self.room(&place, &diagram.frame)?;
            let frame = cell["width"].as_f64().unwrap_or(0.0);
            let words = self.letters.width_pt(Cut::Regular, CAPTION_PT, &caption);
            column = column.max(frame);
            widest = widest.max(words);
            cell["caption"] = caption.into();
            cells.push(cell);
        }
        column = column.min(self.width);
        let across = (((self.width + DIAGRAM_GAP_PT) / (column + DIAGRAM_GAP_PT)).floor() as usize).max(1);
        // Captions take what the columns leave over.
        let column = column.max(widest.min((self.width + DIAGRAM_GAP_PT) / across as f64 - DIAGRAM_GAP_PT - 0.01));
        for row in balanced_rows(&cells, across) {
            self.push(Kind::Diagrams, json!({"cells": row, "column": column, "gap": DIAGRAM_GAP_PT}));
        }
        Ok(())
    }

    /// Draws a frame and describes the room it needs. A frame larger than the type area is drawn smaller.
    fn room(&mut self, place: &str, frame: &Frame) -> Result<Value, HandoutError> {
        let alt = self.letters_of_alt(place, &frame.alt)?;
        let fault = |found: String, right: &str| HandoutError::Drawing { place: place.into(), found, right: right.into() };
        if !(frame.width_pt > 0.0 && frame.height_pt > 0.0) {
            return Err(fault(format!("a drawing of {} by {} pt", frame.width_pt, frame.height_pt), "a drawing with an area"));
        }
        let scale = (self.width / frame.width_pt).min(self.height * 0.95 / frame.height_pt);
        // A hair too wide is rounding.
        let scale = if scale > 0.998 { 1.0 } else { scale };
        if scale < 0.5 {
            return Err(fault(
                format!("a drawing of {:.0} by {:.0} pt", frame.width_pt, frame.height_pt),
                &format!("one that fits the {:.0} by {:.0} pt of a page at half its size", self.width, self.height),
            ));
        }
        let sheet = draw(self.letters, self.language, place, frame, scale)?;
        let number = self.drawings.len();
        let room = json!({"drawing": number, "width": sheet.width().to_pt(), "height": sheet.height().to_pt(), "alt": alt});
        self.drawings.push(sheet);
        Ok(room)
    }

    /// The alternative text is heard, not printed: any letter will do.
    fn letters_of_alt(&self, place: &str, alt: &str) -> Result<String, HandoutError> {
        limit(&format!("{place}, bytes of alternative text"), alt.len(), 60_000)?;
        let alt = alt.split(|c: char| c.is_whitespace() || c.is_control()).filter(|w| !w.is_empty()).collect::<Vec<_>>().join(" ");
        if alt.is_empty() {
            return Err(HandoutError::Empty { place: format!("{place}, alternative text") });
        }
        Ok(alt)
    }

    fn push(&mut self, kind: Kind, mut data: Value) {
        data["kind"] = kind.name().into();
        self.pieces.push(Piece { kind, group: self.group, passage: self.passage, data, running: self.running.clone() });
    }
}

impl Kind {
    fn name(self) -> &'static str {
        match self {
            Self::Title => "title",
            Self::Head => "head",
            Self::Diagrams => "diagrams",
            Self::System => "system",
            Self::Subhead => "subhead",
            Self::Note => "note",
            Self::Section => "section",
            Self::Revision => "revision",
            Self::SmallPrint => "small-print",
        }
    }
}

/// As many rows as needed, filled as evenly as can be: five in rows of four make three and two.
fn balanced_rows(cells: &[Value], across: usize) -> Vec<&[Value]> {
    let rows = cells.len().div_ceil(across).max(1);
    cells.chunks(cells.len().div_ceil(rows).max(1)).collect()
}

fn limit(place: &str, found: usize, limit: usize) -> Result<(), HandoutError> {
    if found > limit { Err(HandoutError::TooMuch { place: place.into(), found, limit }) } else { Ok(()) }
}
