//! Nodes put in and taken out so that the lines around them stay as they are.

use super::Change;
use super::locate::Found;
use crate::{Span, scan};

/// The line end that the text uses.
pub(super) fn line_end(text: &str) -> &'static str {
    match text.find(['\n', '\r']) {
        Some(i) if text[i..].starts_with("\r\n") => "\r\n",
        Some(i) if text[i..].starts_with('\r') => "\r",
        _ => "\n",
    }
}

fn end_of_line(text: &str, from: usize) -> usize {
    text[from..].find(['\n', '\r']).map_or(text.len(), |n| from + n)
}

fn start_of_line(text: &str, at: usize) -> usize {
    text[..at].rfind(['\n', '\r']).map_or(0, |n| n + 1)
}

fn blank(s: &str) -> bool {
    s.chars().all(|c| c == ' ' || c == '\t' || c == '\u{feff}')
}

/// The white space that a node's line begins with, and whether the node is the first thing on it.
fn indent(text: &str, at: usize) -> (&str, bool) {
    let line = &text[start_of_line(text, at)..at];
    let n = line.find(|c| c != ' ' && c != '\t').unwrap_or(line.len());
    (&line[..n], n == line.len())
}

/// Braces that are opened on the line before `at` and not closed.
fn opened(text: &str, at: usize) -> usize {
    let (bytes, mut i, mut open) = (text.as_bytes(), start_of_line(text, at), 0usize);
    while i < at {
        match bytes[i] {
            b'{' => open += 1,
            b'}' => open = open.saturating_sub(1),
            _ => {}
        }
        i = scan::step(bytes, i);
    }
    open
}

/// Puts `new` behind a node: on a line of its own where the node ends its line, else behind a `;`.
pub(super) fn after(node: &Found, new: &str) -> Change {
    let (text, end) = (node.text, node.end());
    let eol = end_of_line(text, end);
    let rest = text[end..eol].trim_start_matches([' ', '\t']);
    // A remark behind the node stays there.
    if rest.is_empty() || rest.starts_with("//") {
        let (pad, first) = indent(text, node.start());
        let deeper = if first { 0 } else { opened(text, node.start()) };
        let pad = format!("{pad}{}", "  ".repeat(deeper));
        return Change { at: Span { start: eol, end: eol }, with: format!("{}{pad}{new}", line_end(text)) };
    }
    Change { at: Span { start: end, end }, with: format!("; {new}") }
}

/// Puts `new` before a node: on a line of its own where the node begins its line, else with a `;`.
pub(super) fn before(node: &Found, new: &str) -> Change {
    let (text, start) = (node.text, node.start());
    let (pad, first) = indent(text, start);
    if first {
        return Change { at: Span { start, end: start }, with: format!("{new}{}{pad}", line_end(text)) };
    }
    Change { at: Span { start, end: start }, with: format!("{new}; ") }
}

/// Takes a node out; its line too, when nothing else stands on it. A remark on the same line stays.
pub(super) fn without(node: &Found) -> Change {
    let (text, mut start, mut end) = (node.text, node.start(), node.end());
    let eol = end_of_line(text, end);
    let line = start_of_line(text, start);
    let after_end = text[end..eol].trim_start_matches([' ', '\t']);
    let semicolon = after_end.starts_with(';');
    let rest = after_end.strip_prefix(';').unwrap_or(after_end);
    if blank(&text[line..start]) && blank(rest) && !text[line..start].contains('\u{feff}') {
        let next = if text[eol..].starts_with("\r\n") { eol + 2 } else { (eol + 1).min(text.len()) };
        return Change { at: Span { start: line, end: next }, with: String::new() };
    }
    let before = text[line..start].trim_end_matches([' ', '\t']);
    if !semicolon && before.ends_with(';') {
        // The last of several on a line.
        start = line + before.len() - 1;
    } else if semicolon {
        end += text[end..eol].find(';').map_or(0, |n| n + 1);
        end += text[end..eol].len() - text[end..eol].trim_start_matches([' ', '\t']).len();
    }
    Change { at: Span { start, end }, with: String::new() }
}
