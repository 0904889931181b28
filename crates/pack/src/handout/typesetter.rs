//! The typesetter: its world (the template, the data, the embedded fonts, and nothing else), and the runs over it.

use serde_json::{Value, json};
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::ecow::EcoVec;
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::layout::{Frame as Sheet, FrameItem};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};
use typst_layout::{Page as SetPage, PagedDocument};
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

use super::input::{FOOT_PT, SIDE_PT, TOP_PT, content_width_pt};
use super::letters::{Cut, Letters};
use super::pages::Page;
use super::pieces::{CAPTION_PT, Kind, Piece};
use super::{HandoutError, HandoutInput};

const TEMPLATE: &str = include_str!("handout.typ");

/// Fonts and library, made once for the runs of one handout.
pub(crate) struct Typesetter {
    pub letters: Letters,
    library: LazyHash<Library>,
    book: LazyHash<FontBook>,
}

impl Typesetter {
    pub(crate) fn new() -> Self {
        let letters = Letters::new();
        let book = FontBook::from_fonts(&letters.fonts);
        Self { letters, library: LazyHash::new(Library::default()), book: LazyHash::new(book) }
    }

    /// Height of each piece in points, set alone on a page as wide as the type area.
    pub(super) fn measure(&self, input: &HandoutInput, pieces: &[Piece]) -> Result<Vec<f64>, HandoutError> {
        let pages: Vec<Value> = pieces.iter().map(|piece| json!([piece_of(piece, 0.0, false)])).collect();
        let document = self.lay_out(&self.data(input, pages, true, Vec::new()))?;
        let heights: Vec<f64> = document.pages().iter().map(|page| page.frame.height().to_pt()).collect();
        if heights.len() != pieces.len() {
            let message = format!("{} pieces came out as {} when measured", pieces.len(), heights.len());
            return Err(HandoutError::Typesetter(message));
        }
        Ok(heights)
    }

    /// The pages as planned, with the drawings put in, as PDF.
    pub(super) fn set(&self, input: &HandoutInput, pieces: &[Piece], plan: &[Page], drawings: &[Sheet]) -> Result<Vec<u8>, HandoutError> {
        let mut pages = Vec::new();
        let mut running = Vec::new();
        for page in plan {
            let parts = page.pieces.clone().zip(&page.before_pt).map(|(i, before)| piece_of(&pieces[i], *before, page.overflows));
            pages.push(Value::Array(parts.collect()));
            running.push(pieces[page.pieces.start].running.as_str());
        }
        let width = content_width_pt(input.paper);
        let running = running.iter().map(|text| self.letters.fit(Cut::Italic, RUNNING_PT, text, width * 0.45)).collect();
        let document = self.lay_out(&self.data(input, pages, false, running))?;
        let filled: EcoVec<SetPage> = document
            .pages()
            .iter()
            .map(|page| {
                let mut page = page.clone();
                fill(&mut page.frame, drawings);
                page
            })
            .collect();
        export(&PagedDocument::new(filled, typst::model::Document::info(&document).clone()))
    }

    /// A template over some data as PDF/UA-1; the template reads the data as `/lesson.json`.
    pub(crate) fn plain(&self, template: &str, data: &Value) -> Result<Vec<u8>, HandoutError> {
        export(&self.compile(template, data)?)
    }

    fn data(&self, input: &HandoutInput, pages: Vec<Value>, measuring: bool, running: Vec<String>) -> Value {
        let (width, height) = input.paper.size_pt();
        let title = self.letters.clean("title", Cut::Semibold, &input.title).unwrap_or_default();
        let short = self.letters.fit(Cut::Italic, RUNNING_PT, &title, content_width_pt(input.paper) * 0.5);
        let plain: String = title.chars().filter(|c| *c != super::letters::BREAK).collect();
        json!({
            "measuring": measuring,
            "language": input.language,
            "title": plain,
            "paper": {
                "width": width, "height": height, "side": SIDE_PT, "top": TOP_PT, "foot": FOOT_PT,
                "text_width": content_width_pt(input.paper),
            },
            "sizes": {"caption": CAPTION_PT, "running": RUNNING_PT},
            "running_title": short,
            "running": running,
            "pages": pages,
        })
    }

    fn lay_out(&self, data: &Value) -> Result<PagedDocument, HandoutError> {
        self.compile(TEMPLATE, data)
    }

    fn compile(&self, template: &str, data: &Value) -> Result<PagedDocument, HandoutError> {
        let desk = Desk { typesetter: self, template: Source::new(file("handout.typ"), template.into()), data: Bytes::from_string(data.to_string()) };
        let warned = typst::compile::<PagedDocument>(&desk);
        warned.output.map_err(complaint)
    }
}

/// Size of running title and page number; its figures are over 2 mm high.
const RUNNING_PT: f64 = 9.5;

fn piece_of(piece: &Piece, before_pt: f64, breakable: bool) -> Value {
    let mut data = piece.data.clone();
    data["before"] = before_pt.into();
    data["breakable"] = breakable.into();
    data["foot"] = (piece.kind == Kind::SmallPrint).into();
    data
}

/// Puts each drawing into the room that the template left for it.
fn fill(sheet: &mut Sheet, drawings: &[Sheet]) {
    let mut filled = Sheet::new(sheet.size(), sheet.kind());
    if sheet.has_baseline() {
        filled.set_baseline(sheet.baseline());
    }
    for (at, item) in sheet.items() {
        let mut item = item.clone();
        if let FrameItem::Group(group) = &mut item {
            let number = group.label.and_then(|label| label.resolve().as_str().strip_prefix("drawing-")?.parse::<usize>().ok());
            match number.and_then(|n| drawings.get(n)) {
                Some(drawing) => group.frame = drawing.clone(),
                None => fill(&mut group.frame, drawings),
            }
        }
        filled.push(*at, item);
    }
    *sheet = filled;
}

fn export(document: &PagedDocument) -> Result<Vec<u8>, HandoutError> {
    let options = PdfOptions {
        creator: Smart::Custom(Some("Partwright".into())),
        standards: PdfStandards::new(&[PdfStandard::Ua_1]).map_err(|e| HandoutError::Typesetter(format!("{e:?}")))?,
        ..PdfOptions::default()
    };
    let pdf = typst_pdf::pdf(document, &options).map_err(complaint);
    // The typesetter keeps what it computed for a next run; a few handouts are enough to keep.
    typst::comemo::evict(4);
    pdf
}

fn complaint(errors: EcoVec<SourceDiagnostic>) -> HandoutError {
    HandoutError::Typesetter(errors.iter().map(|e| e.message.to_string()).collect::<Vec<_>>().join("; "))
}

fn file(name: &str) -> FileId {
    // A plain name is always a valid path.
    match VirtualPath::new(name) {
        Ok(path) => FileId::new(RootedPath::new(VirtualRoot::Project, path)),
        Err(_) => unreachable!("{name} is a plain file name"),
    }
}

/// What the typesetter can see in one run.
struct Desk<'a> {
    typesetter: &'a Typesetter,
    template: Source,
    data: Bytes,
}

impl World for Desk<'_> {
    fn library(&self) -> &LazyHash<Library> {
        &self.typesetter.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.typesetter.book
    }

    fn main(&self) -> FileId {
        self.template.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.template.id() { Ok(self.template.clone()) } else { Err(FileError::AccessDenied) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        if id == file("lesson.json") { Ok(self.data.clone()) } else { Err(FileError::AccessDenied) }
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.typesetter.letters.fonts.get(index).cloned()
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}
