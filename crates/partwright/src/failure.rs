//! Why a command did not do what it was asked, and the exit code that says so.

use lesson::{Position, Problem, Weight};
use std::io::Write;
use std::path::Path;

/// Fault in the user's material.
pub const IN_MATERIAL: u8 = 1;
/// Called wrongly.
pub const CALLED_WRONGLY: u8 = 2;
/// Could not read, write or go on.
pub const NOT_POSSIBLE: u8 = 3;

/// A failure to tell the user.
#[derive(Debug)]
pub enum Failure {
    /// Said already, in the command's own output.
    Material,
    /// A fault in what was given, in one sentence.
    MaterialSaid(String),
    Usage(String),
    /// A file or folder: what was tried, on what, and the system's words.
    Io { what: String, error: std::io::Error },
    NotPossible(String),
    /// Whoever read our output has gone.
    ClosedPipe,
}

impl Failure {
    /// For `map_err`: what was tried.
    pub fn io(what: impl Into<String>) -> impl FnOnce(std::io::Error) -> Failure {
        let what = what.into();
        move |error| Failure::Io { what, error }
    }

    pub fn code(&self) -> u8 {
        match self {
            Failure::Material | Failure::MaterialSaid(_) => IN_MATERIAL,
            Failure::Usage(_) => CALLED_WRONGLY,
            Failure::Io { .. } | Failure::NotPossible(_) => NOT_POSSIBLE,
            Failure::ClosedPipe => 0,
        }
    }

    /// What is said of it; empty where all was said already.
    pub fn text(&self) -> String {
        match self {
            Failure::Material | Failure::ClosedPipe => String::new(),
            Failure::MaterialSaid(t) | Failure::Usage(t) | Failure::NotPossible(t) => t.clone(),
            Failure::Io { what, error } => format!("{what}: {}", keep::words(error)),
        }
    }

    pub fn print(&self) {
        let text = self.text();
        if !text.is_empty() {
            let _ = writeln!(std::io::stderr(), "partwright: {text}");
        }
    }
}

/// Writes to standard output; a reader that has gone is no fault.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes()).and_then(|()| out.flush()).map_err(|e| match e.kind() {
        std::io::ErrorKind::BrokenPipe => Failure::ClosedPipe,
        _ => Failure::Io { what: "could not write the answer".into(), error: e },
    })
}

/// Prints one JSON object.
pub fn print_json(value: &serde_json::Value) -> Result<(), Failure> {
    print(&format!("{value}\n"))
}

/// Problems with their place and the line they stand in, for people.
pub fn report(path: &Path, text: &str, problems: &[Problem]) -> String {
    let mut out = String::new();
    for p in problems {
        let at = Position::of(text, p.span.start);
        let weight = if p.weight == Weight::Remark { "remark: " } else { "" };
        out.push_str(&format!("{}:{}:{}: {weight}{}\n", path.display(), at.line, at.column, p.found));
        if let Some((line, from, to)) = excerpt(text, p.span.start, p.span.end) {
            let number = at.line.to_string();
            out.push_str(&format!("  {number} | {line}\n"));
            out.push_str(&format!("  {} | {}{}\n", " ".repeat(number.len()), " ".repeat(from), "^".repeat(to.saturating_sub(from).max(1))));
        }
        out.push_str(&format!("  right: {}\n", p.right));
    }
    out
}

/// The line of a place, cut to a readable width, and the columns that the place takes in it.
fn excerpt(text: &str, start: usize, end: usize) -> Option<(String, usize, usize)> {
    const WIDTH: usize = 110;
    let start = (0..=start.min(text.len())).rev().find(|i| text.is_char_boundary(*i))?;
    let line_start = text[..start].rfind('\n').map_or(0, |i| i + 1);
    let line = text[line_start..].lines().next()?;
    if line.trim().is_empty() {
        return None;
    }
    let chars: Vec<char> = line.chars().filter(|c| *c != '\u{feff}').map(|c| if c.is_control() { ' ' } else { c }).collect();
    let from = text[line_start..start].chars().filter(|c| *c != '\u{feff}').count();
    let len = text.get(start..end.min(line_start + line.len())).map_or(1, |t| t.chars().count());
    let skip = from.saturating_sub(WIDTH / 2).min(chars.len().saturating_sub(WIDTH));
    let shown: String = chars.iter().skip(skip).take(WIDTH).collect();
    let from = from - skip;
    Some((shown.trim_end().to_string(), from, (from + len).min(WIDTH)))
}
