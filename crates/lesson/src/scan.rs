//! A first look at the text before the document parser sees it: size, encoding, nesting, quotes and braces.
//!
//! The document parser recurses and cascades; what it would choke on, or say in a dozen messages, is found here and said once.

use crate::Span;
use crate::problem::Problems;

/// The largest lesson that is read. A long lesson of forty passages has some 100 kB.
pub const BYTES_MAX: usize = 2 << 20;
/// Nesting of braces; a lesson needs six.
pub const DEPTH_MAX: usize = 24;

/// Turns bytes into text, or says why they are none.
///
/// # Errors
/// What was found and what would be right, with the byte where it shows.
pub(crate) fn decode(bytes: &[u8]) -> Result<&str, (Span, String, String)> {
    let at = |start: usize, end: usize| Span { start, end };
    if bytes.len() > BYTES_MAX {
        return Err((
            at(0, 0),
            format!("the file has {} bytes", bytes.len()),
            format!("a lesson has {BYTES_MAX} bytes at most; is this the lesson file?"),
        ));
    }
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err((at(0, 0), "the file is written in UTF-16".into(), "save it as UTF-8".into()));
    }
    match std::str::from_utf8(bytes) {
        Ok(text) if text.contains('\0') => {
            let i = text.find('\0').unwrap_or(0);
            Err((at(i, i + 1), "there is a zero byte: this is no text".into(), "a lesson is a plain text file in UTF-8".into()))
        }
        Ok(text) if text.trim_start_matches('\u{feff}').trim().is_empty() => Err((
            at(0, 0),
            "the file is empty".into(),
            "a lesson begins with: lesson \"Title\" { passage \"verse\" { … } }".into(),
        )),
        Ok(text) => Ok(text),
        Err(e) => {
            let i = e.valid_up_to();
            Err((
                at(i, i + 1),
                format!("the byte 0x{:02x} is not UTF-8 text", bytes[i]),
                "a lesson is a plain text file in UTF-8; if it is text in an older encoding, save it as UTF-8".into(),
            ))
        }
    }
}

/// Checks quotes, comments and braces. True when the document parser may go on.
pub(crate) fn balanced(text: &str, problems: &mut Problems) -> bool {
    let bytes = text.as_bytes();
    let mut open: Vec<usize> = Vec::new();
    let mut stray = None;
    let mut i = 0;
    while i < bytes.len() {
        match bytes[i] {
            b'/' if bytes.get(i + 1) == Some(&b'/') => {
                i = end_of_line(bytes, i);
            }
            b'/' if bytes.get(i + 1) == Some(&b'*') => match end_of_comment(bytes, i) {
                Some(end) => i = end,
                None => {
                    problems.error(Span { start: i, end: i + 2 }, "the comment that begins here with /* has no end", "close it with */");
                    return false;
                }
            },
            b'#' => {
                let hashes = bytes[i..].iter().take_while(|b| **b == b'#').count();
                if bytes.get(i + hashes) == Some(&b'"') {
                    let quotes = if bytes[i + hashes..].starts_with(b"\"\"\"") { 3 } else { 1 };
                    let mut close = vec![b'"'; quotes];
                    close.extend(std::iter::repeat_n(b'#', hashes));
                    let body = i + hashes + quotes;
                    match find(&bytes[body..], &close) {
                        Some(n) => i = body + n + close.len(),
                        None => {
                            problems.error(Span { start: i, end: body }, "the text that begins here has no closing quote", format!("close it with {}", String::from_utf8_lossy(&close)));
                            return false;
                        }
                    }
                } else {
                    i += hashes;
                }
            }
            b'"' if bytes[i..].starts_with(b"\"\"\"") => match end_of_quote(bytes, i + 3, true) {
                Some(end) => i = end,
                None => {
                    problems.error(Span { start: i, end: i + 3 }, "the text that begins here has no closing quotes", "close it with \"\"\" on a line of its own");
                    return false;
                }
            },
            b'"' => match end_of_quote(bytes, i + 1, false) {
                Some(end) => i = end,
                None => {
                    let end = end_of_line(bytes, i);
                    problems.error(
                        Span { start: i, end },
                        "a quote is missing: the text that begins here goes on to the end of the line",
                        "close it with \" on the same line",
                    );
                    return false;
                }
            },
            b'{' => {
                open.push(i);
                if open.len() > DEPTH_MAX {
                    problems.error(Span { start: i, end: i + 1 }, format!("braces are nested more than {DEPTH_MAX} deep"), "a lesson has passages, parts, repeats and bars: six levels");
                    return false;
                }
                i += 1;
            }
            b'}' => {
                if open.pop().is_none() {
                    stray.get_or_insert(i);
                }
                i += 1;
            }
            _ => i += 1,
        }
    }
    if let Some(i) = stray {
        problems.error(Span { start: i, end: i + 1 }, "this } closes nothing", "take it away, or look for a { that is missing before it");
        return false;
    }
    if let Some(i) = open.first() {
        // The outermost brace is where the count is off; the innermost is usually where the hand slipped.
        let inner = *open.last().unwrap_or(i);
        problems.error(
            Span { start: inner, end: inner + 1 },
            format!("{} left open: the last of them begins here", if open.len() == 1 { "a { is".to_string() } else { format!("{} {{ are", open.len()) }),
            "close each { with a }",
        );
        return false;
    }
    true
}

/// Past the comment, text or single byte that stands at `i`. The text is balanced.
pub(crate) fn step(bytes: &[u8], i: usize) -> usize {
    let to_end = |n: Option<usize>| n.unwrap_or(bytes.len());
    match bytes.get(i) {
        Some(b'/') if bytes.get(i + 1) == Some(&b'/') => end_of_line(bytes, i),
        Some(b'/') if bytes.get(i + 1) == Some(&b'*') => to_end(end_of_comment(bytes, i)),
        Some(b'#') => {
            let hashes = bytes[i..].iter().take_while(|b| **b == b'#').count();
            if bytes.get(i + hashes) != Some(&b'"') {
                return i + hashes;
            }
            let quotes = if bytes[i + hashes..].starts_with(b"\"\"\"") { 3 } else { 1 };
            let mut close = vec![b'"'; quotes];
            close.extend(std::iter::repeat_n(b'#', hashes));
            let body = i + hashes + quotes;
            to_end(find(&bytes[body..], &close).map(|n| body + n + close.len()))
        }
        Some(b'"') if bytes[i..].starts_with(b"\"\"\"") => to_end(end_of_quote(bytes, i + 3, true)),
        Some(b'"') => to_end(end_of_quote(bytes, i + 1, false)),
        _ => i + 1,
    }
}

/// Where the node ends whose values end at `from`: before the line end, `;` or `}` that sets it apart, braces of its own included.
/// White space and remarks at its end are not part of it.
pub(crate) fn end_of_node(bytes: &[u8], from: usize) -> usize {
    let (mut i, mut end, mut depth) = (from, from, 0usize);
    while i < bytes.len() {
        let next = step(bytes, i);
        match bytes[i] {
            b'{' => depth += 1,
            b'}' if depth == 0 => break,
            b'}' => {
                depth -= 1;
                end = next;
            }
            b'\n' | b'\r' | b';' if depth == 0 => break,
            b'/' if depth == 0 && bytes.get(i + 1) == Some(&b'/') => break,
            // A line that goes on.
            b'\\' if depth == 0 => {
                i = end_of_line(bytes, i);
                i += if bytes[i..].starts_with(b"\r\n") { 2 } else { 1 };
                continue;
            }
            b'/' if depth == 0 && bytes.get(i + 1) == Some(&b'*') => {}
            b' ' | b'\t' => {}
            _ if depth == 0 => end = next,
            _ => {}
        }
        i = next;
    }
    end
}

fn end_of_line(bytes: &[u8], from: usize) -> usize {
    bytes[from..].iter().position(|b| *b == b'\n' || *b == b'\r').map_or(bytes.len(), |n| from + n)
}

fn find(bytes: &[u8], what: &[u8]) -> Option<usize> {
    bytes.windows(what.len()).position(|w| w == what)
}

/// KDL's block comments nest.
fn end_of_comment(bytes: &[u8], from: usize) -> Option<usize> {
    let mut depth = 0usize;
    let mut i = from;
    while i + 1 < bytes.len() {
        match &bytes[i..i + 2] {
            b"/*" => {
                depth += 1;
                i += 2;
            }
            b"*/" => {
                depth -= 1;
                i += 2;
                if depth == 0 {
                    return Some(i);
                }
            }
            _ => i += 1,
        }
        if depth > DEPTH_MAX {
            return None;
        }
    }
    None
}

fn end_of_quote(bytes: &[u8], from: usize, multi: bool) -> Option<usize> {
    let mut i = from;
    while i < bytes.len() {
        match bytes[i] {
            // A backslash before white space swallows it, line ends included.
            b'\\' => {
                i += 1;
                if bytes.get(i).is_some_and(u8::is_ascii_whitespace) {
                    while bytes.get(i).is_some_and(u8::is_ascii_whitespace) {
                        i += 1;
                    }
                } else {
                    i += 1;
                }
            }
            b'"' if multi => {
                if bytes[i..].starts_with(b"\"\"\"") {
                    return Some(i + 3);
                }
                i += 1;
            }
            b'"' => return Some(i + 1),
            b'\n' | b'\r' if !multi => return None,
            _ => i += 1,
        }
    }
    None
}
