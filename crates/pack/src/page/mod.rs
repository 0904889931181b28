//! The pupil's page, as files: from a lesson's words, drawings and sounds to `index.html` with the scripts and the style sheet beside it.
//!
//! | module | computes |
//! |---|---|
//! | [`page`] | all files, in a fixed order |
//! | `input` | the plain values that a page is made from |
//! | `markup` | `index.html` |
//! | `figures` | bars, parts and tempos as the page's own data block |
//! | `cells` | the two-bar practice cells |
//! | `sounds` | one script for each passage and tempo that hands its sounds to the page |
//!
//! The page opens from disk: classic scripts only, nothing fetched, nothing stored, no font but the reader's own. Sounds come as base64
//! in a script, because a page opened from disk may not read the files beside it. A script is loaded when its tempo is first asked for.
//!
//! # What it must not do
//!
//! - Let a title, note or name be read as markup: everything but the drawings goes through the template as text.
//! - Know of lessons: it sees plain values only, so that any of them can be tried without a lesson.
//! - Open files or read the clock: the same input gives the same bytes.
//!
//! ```
//! use pack::page::{PageInput, page};
//!
//! let files = page(&PageInput { title: "Slow & <easy>".into(), ..PageInput::default() });
//! let paths: Vec<&str> = files.iter().map(|(path, _)| path.as_str()).collect();
//! assert_eq!(paths, ["index.html", "page.css", "play.js", "page.js"]);
//! assert!(String::from_utf8_lossy(&files[0].1).contains("<h1>Slow &amp; &lt;easy&gt;</h1>"));
//! ```

mod cells;
mod figures;
mod input;
mod markup;
mod sounds;

pub use input::{PageDiagram, PageInput, PageNote, PagePart, PagePassage, PageRevision, PageSound, PageStep};

/// All files of the page: a path relative to the page's folder (`/` between folders, ASCII, no two alike even where case does not
/// count), and the bytes. `index.html` comes first, then the style sheet, the two scripts, and the sounds in the order of the passages,
/// slowest first. A lesson without passages gives a page that says so.
pub fn page(input: &PageInput) -> Vec<(String, Vec<u8>)> {
    let names = sounds::names(&input.passages);
    let mut files = vec![
        ("index.html".to_owned(), markup::index(input, &names).into_bytes()),
        ("page.css".to_owned(), include_bytes!("page.css").to_vec()),
        ("play.js".to_owned(), include_bytes!("play.js").to_vec()),
        ("page.js".to_owned(), include_bytes!("page.js").to_vec()),
    ];
    for (passage, names) in input.passages.iter().zip(&names) {
        for step in passage.steps() {
            let name = sounds::step_name(names, step.percent);
            files.push((sounds::path(&name), sounds::script(&name, &input.mime, step).into_bytes()));
        }
    }
    files
}

#[cfg(test)]
mod tests;
