//! A lesson folder: where its file is, and reading it with limits.

use crate::failure::{Failure, print_json, report};
use crate::letters;
use lesson::{Lesson, Position, Problem, Weight};
use std::io::Read;
use std::path::{Path, PathBuf};

/// Name of the lesson file in its folder.
pub const LESSON_FILE: &str = "lesson.kdl";

/// A lesson as found on disk.
pub struct Found {
    pub folder: PathBuf,
    pub file: PathBuf,
    pub bytes: Vec<u8>,
    pub lesson: Lesson,
    /// All problems, remarks among them.
    pub problems: Vec<Problem>,
}

impl Found {
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.bytes).into_owned()
    }

    pub fn has_errors(&self) -> bool {
        self.problems.iter().any(|p| p.weight == Weight::Error)
    }
}

/// Reads the lesson in `dir` (a folder, or the lesson file itself).
pub fn open(dir: &Path) -> Result<Found, Failure> {
    let (folder, file) = if dir.is_dir() { (dir.to_path_buf(), dir.join(LESSON_FILE)) } else { (dir.parent().unwrap_or(Path::new("")).to_path_buf(), dir.to_path_buf()) };
    let shown = file.display().to_string();
    if dir.is_dir() && !file.exists() {
        return Err(Failure::Io { what: format!("{}: there is no {LESSON_FILE} in this folder (partwright new makes one)", dir.display()), error: std::io::Error::from(std::io::ErrorKind::NotFound) });
    }
    let opened = std::fs::File::open(&file).map_err(Failure::io(shown.clone()))?;
    if !opened.metadata().map_err(Failure::io(shown.clone()))?.is_file() {
        return Err(Failure::NotPossible(format!("{shown}: this is no plain file")));
    }
    let mut bytes = Vec::new();
    // One byte past the limit is enough to say that it is passed.
    opened.take(lesson::BYTES_MAX as u64 + 1).read_to_end(&mut bytes).map_err(Failure::io(shown))?;
    let reading = lesson::read_bytes(&bytes);
    let mut problems = reading.problems;
    problems.extend(letters::problems(&String::from_utf8_lossy(&bytes), &reading.lesson));
    problems.sort_by_key(|p| (p.span, p.weight));
    Ok(Found { folder, file, bytes, lesson: reading.lesson, problems })
}

/// As [`open`], but errors in the lesson end the command: they are printed, nothing is made.
pub fn open_sound(dir: &Path, json: Option<&str>) -> Result<Found, Failure> {
    let found = open(dir)?;
    if !found.has_errors() {
        return Ok(found);
    }
    match json {
        Some(schema) => print_json(&serde_json::json!({ "schema": schema, "problems": problems_json(&found.text(), &found.problems) }))?,
        None => {
            let errors = found.problems.iter().filter(|p| p.weight == Weight::Error).count();
            eprint!("{}", report(&found.file, &found.text(), &found.problems));
            eprintln!("{errors} problem{}; nothing was made", if errors == 1 { "" } else { "s" });
        }
    }
    Err(Failure::Material)
}

/// Problems as JSON.
pub fn problems_json(text: &str, problems: &[Problem]) -> serde_json::Value {
    problems
        .iter()
        .map(|p| {
            let (a, b) = (Position::of(text, p.span.start), Position::of(text, p.span.end));
            serde_json::json!({
                "line": a.line, "column": a.column, "end_line": b.line, "end_column": b.column,
                "weight": if p.weight == Weight::Error { "error" } else { "remark" },
                "found": p.found, "right": p.right,
            })
        })
        .collect()
}
