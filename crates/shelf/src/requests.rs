//! What pupils asked for: a plain text file, one request a line, read and written with its layout kept, and held against the shelf.
//!
//! # The file
//! ```text
//! # What pupils asked for
//! 2026-11-03 3x rootless ninths
//! 2026-11-05    slow bends
//! how to mute the other strings -> ferry-road/low-water
//! 2x something in seven four -> none
//! ```
//! A line is a request: the day on which it was last asked for (may be missing), how often (once where missing), the words. After `->` the teacher
//! says what answers it, which outranks what is found: lessons by folder, or folder/passage, set apart by commas, or `none`. Empty lines and
//! lines that begin with `#` are for the eye.

use crate::find::Hit;
use crate::fold::tokens;
use crate::index::{Shelf, ShelfError};
use crate::query::{Query, free};
use lesson::{Problem, Span, Weight};

/// Largest file that is read.
pub const REQUESTS_BYTES_MAX: usize = 1 << 20;
/// Longest request in bytes.
pub const WORDS_BYTES_MAX: usize = 400;
/// Most often that a request can have been made.
pub const TIMES_MAX: u32 = 1_000_000;

/// The file as it stands, and what it says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Requests {
    text: String,
    list: Vec<Request>,
}

/// One request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Request {
    pub words: String,
    /// `YYYY-MM-DD`, when it was last made.
    pub date: Option<String>,
    pub times: u32,
    pub answer: Option<Answer>,
    /// Its line, without the line's end.
    pub span: Span,
}

/// What the teacher says answers a request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Nothing does, whatever is found.
    Nothing,
    /// Folders, or folder/passage, as written.
    Lessons(Vec<String>),
}

/// A request held against the shelf.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Matched {
    pub request: Request,
    pub coverage: Coverage,
}

/// Whether the shelf has what was asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Coverage {
    /// Found: the first few, and how many there are.
    Covered { hits: Vec<Hit>, total: usize },
    /// The teacher says so. `missing` are those of the answers that the shelf does not have (any more).
    Answered { by: Vec<String>, missing: Vec<String> },
    /// Nothing meets the whole request. `without` are its words that no lesson has; where that is empty, each is on the shelf, but nowhere together.
    NotCovered { without: Vec<String> },
}

/// Covered and not, each in the file's order, and what is wanted most.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wanted {
    pub covered: Vec<Matched>,
    pub not_covered: Vec<Matched>,
    /// Indices into `not_covered`: asked for most often first, then most lately, then in the file's order.
    pub most_wanted: Vec<usize>,
}

/// Reads a file of requests. Faulty lines are problems and count as no request; they stay in the text.
///
/// ```
/// let (requests, problems) = shelf::requests("# mine\n2026-11-03 3x rootless ninths\nslow bends\n");
/// assert!(problems.is_empty());
/// assert_eq!((requests.list()[0].times, requests.list()[1].times), (3, 1));
/// let (more, _) = requests.add("Slow bends", Some("2026-12-01"), 1).unwrap();
/// assert_eq!(more.text(), "# mine\n2026-11-03 3x rootless ninths\n2026-12-01 2x slow bends\n");
/// ```
pub fn requests(text: &str) -> (Requests, Vec<Problem>) {
    let mut problems = Vec::new();
    let mut list = Vec::new();
    if text.len() > REQUESTS_BYTES_MAX {
        let found = format!("the file has {} bytes", text.len());
        problems.push(Problem { span: Span::default(), found, right: format!("a file of requests has {REQUESTS_BYTES_MAX} bytes at most"), weight: Weight::Error });
        return (Requests { text: text.into(), list }, problems);
    }
    let mut start = 0;
    for line in text.split_inclusive('\n') {
        let bare = line.trim_end_matches(['\n', '\r']);
        let span = Span { start, end: start + bare.len() };
        start += line.len();
        match request(bare, span) {
            Ok(Some(r)) => list.push(r),
            Ok(None) => {}
            Err((found, right)) => problems.push(Problem { span, found, right: right.into(), weight: Weight::Error }),
        }
    }
    (Requests { text: text.into(), list }, problems)
}

const RIGHT: &str = "a line is a day, how often, and the words: 2026-11-03 3x rootless ninths";

fn request(line: &str, span: Span) -> Result<Option<Request>, (String, &'static str)> {
    let line = line.trim_start_matches('\u{feff}').trim();
    if line.is_empty() || line.starts_with('#') {
        return Ok(None);
    }
    let (body, answer) = match line.split_once("->") {
        None => (line, None),
        Some((body, says)) => {
            let by: Vec<String> = says.split(',').map(|s| s.trim().trim_end_matches('/').to_string()).filter(|s| !s.is_empty()).collect();
            let answer = match by.as_slice() {
                [] => return Err(("nothing stands after ->".into(), "write the folder of the lesson that answers it, or none")),
                [one] if one == "none" => Answer::Nothing,
                _ => Answer::Lessons(by),
            };
            (body.trim(), Some(answer))
        }
    };
    let (mut date, mut times, mut rest) = (None, 1, body);
    let (first, after) = split(rest);
    if looks_like_date(first) {
        if !is_date(first) {
            return Err((format!("\"{first}\" is no day that there is"), RIGHT));
        }
        date = Some(first.to_string());
        rest = after;
    }
    let (first, after) = split(rest);
    if let Some(n) = first.strip_suffix(['x', 'X']).filter(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit())) {
        times = n.parse().ok().filter(|n| (1..=TIMES_MAX).contains(n)).ok_or_else(|| (format!("\"{first}\" is no count from 1x to {TIMES_MAX}x"), RIGHT))?;
        rest = after;
    }
    if rest.is_empty() {
        return Err(("no words stand in this line".into(), RIGHT));
    }
    if rest.len() > WORDS_BYTES_MAX {
        return Err((format!("this request has {} bytes", rest.len()), "ask for one thing a line, in 400 bytes at most"));
    }
    Ok(Some(Request { words: rest.to_string(), date, times, answer, span }))
}

fn split(text: &str) -> (&str, &str) {
    match text.split_once(char::is_whitespace) {
        Some((a, b)) => (a, b.trim_start()),
        None => (text, ""),
    }
}

fn looks_like_date(text: &str) -> bool {
    text.len() == 10 && text.bytes().enumerate().all(|(i, b)| if i == 4 || i == 7 { b == b'-' } else { b.is_ascii_digit() })
}

/// A day of the Gregorian calendar (ISO 8601, 4.1.2.2).
fn is_date(text: &str) -> bool {
    if !looks_like_date(text) {
        return false;
    }
    let n = |r: std::ops::Range<usize>| text[r].parse::<u32>().unwrap_or(0);
    let (year, month, day) = (n(0..4), n(5..7), n(8..10));
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let days = match month {
        2 => 28 + u32::from(leap),
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => 0,
    };
    (1..=days).contains(&day)
}

impl Requests {
    /// The file's text.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The requests in the order of the lines.
    pub fn list(&self) -> &[Request] {
        &self.list
    }

    /// Adds a request, made so many times on a day: where one of the same words is there (capitals, accents and signs apart), its count grows and
    /// its day becomes the later one; everything else of the line and the file stays. Otherwise a line is put at the end. The second value is true
    /// where it was there.
    ///
    /// # Errors
    /// A sentence: no words, too many, more than one line, `->`, `#` or a count in front, a day that does not exist.
    pub fn add(&self, words: &str, date: Option<&str>, times: u32) -> Result<(Requests, bool), String> {
        let words = words.trim();
        if words.chars().any(char::is_control) {
            return Err("a request is one line without control characters".into());
        }
        if words.contains("->") || words.starts_with('#') {
            return Err("a request holds no \"->\" and does not begin with #".into());
        }
        if let Some(date) = date.filter(|d| !is_date(d)) {
            return Err(format!("\"{date}\" is no day; write it as 2026-11-03"));
        }
        if !(1..=TIMES_MAX).contains(&times) {
            return Err(format!("a request was made 1 to {TIMES_MAX} times"));
        }
        let key = tokens(words);
        if key.is_empty() {
            return Err("there is no letter and no digit in this request".into());
        }
        if words.len() > WORDS_BYTES_MAX {
            return Err(format!("a request has {WORDS_BYTES_MAX} bytes at most"));
        }
        let mut text = self.text.clone();
        let same = self.list.iter().find(|r| tokens(&r.words) == key);
        if let Some(r) = same {
            let day = r.date.as_deref().max(date);
            let line = line_with(&text[r.span.start..r.span.end], r, day, r.times.saturating_add(times).min(TIMES_MAX));
            text.replace_range(r.span.start..r.span.end, &line);
        } else {
            let end = if text.contains("\r\n") { "\r\n" } else { "\n" };
            if !text.is_empty() && !text.ends_with('\n') {
                text += end;
            }
            // The count is always written, so that words that look like one are none.
            text += &format!("{}{times}x {words}{end}", date.map(|d| format!("{d} ")).unwrap_or_default());
        }
        if text.len() > REQUESTS_BYTES_MAX {
            return Err(format!("the file of requests would have more than {REQUESTS_BYTES_MAX} bytes"));
        }
        Ok((requests(&text).0, same.is_some()))
    }

    /// Adds every line of a plain list, read as lines of a file of requests; `-`, `*` or a bullet in front is taken away. Lines without a day get
    /// `date`. Gives the new file and how many were new.
    ///
    /// # Errors
    /// Problems of the list, with their places in it; then nothing is added.
    pub fn import(&self, list: &str, date: Option<&str>) -> Result<(Requests, usize), Vec<Problem>> {
        let mut problems = Vec::new();
        let (mut all, mut new) = (self.clone(), 0);
        let mut start = 0;
        if list.len() > REQUESTS_BYTES_MAX {
            return Err(requests(list).1);
        }
        for line in list.split_inclusive('\n') {
            let span = Span { start, end: start + line.trim_end_matches(['\n', '\r']).len() };
            start += line.len();
            let bare = line.trim_start_matches('\u{feff}').trim();
            let bare = ["- ", "* ", "\u{2022} ", "\u{2022}"].iter().find_map(|b| bare.strip_prefix(b)).unwrap_or(bare);
            let added = match request(bare, span) {
                Ok(None) => continue,
                Ok(Some(r)) => all.add(&r.words, r.date.as_deref().or(date), r.times).map_err(|found| (found, RIGHT)),
                Err(e) => Err(e),
            };
            match added {
                Ok((more, there)) => {
                    all = more;
                    new += usize::from(!there);
                }
                Err((found, right)) => problems.push(Problem { span, found, right: right.into(), weight: Weight::Error }),
            }
        }
        if problems.is_empty() { Ok((all, new)) } else { Err(problems) }
    }
}

/// The line with another day and count, everything else as it was.
fn line_with(line: &str, r: &Request, day: Option<&str>, times: u32) -> String {
    let body = line.split("->").next().unwrap_or("").trim_end();
    let (head, tail) = line.split_at(body.len().saturating_sub(r.words.len()));
    let indent = &head[..head.len() - head.trim_start_matches('\u{feff}').trim_start().len()];
    let gap = &head[head.trim_end().len()..];
    let gap = if gap.is_empty() || head.trim().is_empty() { " " } else { gap };
    let day = day.map(|d| format!("{d} ")).unwrap_or_default();
    format!("{indent}{day}{times}x{gap}{tail}")
}

impl Shelf {
    /// Holds requests against the shelf. Words that say nothing ("how do I play the …") are passed over; the rest must be met by one passage or
    /// lesson, as `find` would. At most `most` hits are given for each.
    ///
    /// # Errors
    /// As for all calls.
    pub fn wanted(&self, requests: &Requests, most: usize) -> Result<Wanted, ShelfError> {
        let mut out = Wanted::default();
        for request in requests.list() {
            let coverage = self.coverage(request, most)?;
            let of = if matches!(coverage, Coverage::NotCovered { .. }) { &mut out.not_covered } else { &mut out.covered };
            of.push(Matched { request: request.clone(), coverage });
        }
        out.most_wanted = (0..out.not_covered.len()).collect();
        out.most_wanted.sort_by(|a, b| {
            let key = |i: &usize| (out.not_covered[*i].request.times, out.not_covered[*i].request.date.clone());
            key(b).cmp(&key(a)).then(a.cmp(b))
        });
        Ok(out)
    }

    fn coverage(&self, request: &Request, most: usize) -> Result<Coverage, ShelfError> {
        match &request.answer {
            Some(Answer::Nothing) => return Ok(Coverage::NotCovered { without: vec![] }),
            Some(Answer::Lessons(by)) => {
                let mut missing = Vec::new();
                for b in by {
                    if !self.has(b)? {
                        missing.push(b.clone());
                    }
                }
                // An answer that is gone is none.
                if missing.len() < by.len() {
                    return Ok(Coverage::Answered { by: by.clone(), missing });
                }
            }
            None => {}
        }
        let query = free(&request.words);
        if query.terms.is_empty() {
            return Ok(Coverage::NotCovered { without: vec![] });
        }
        let found = self.find(&query, most)?;
        if found.total > 0 {
            return Ok(Coverage::Covered { hits: found.hits, total: found.total });
        }
        let mut without = Vec::new();
        for term in query.terms {
            let typed = term.typed.clone();
            if self.count(&Query { terms: vec![term] })? == 0 {
                without.push(typed);
            }
        }
        Ok(Coverage::NotCovered { without })
    }

    /// Whether the shelf has a lesson of that folder (or of a folder that ends so), or such a passage of it.
    fn has(&self, answer: &str) -> Result<bool, ShelfError> {
        let lesson = "SELECT 1 FROM lesson WHERE folder = ?1 OR substr(folder, -length(?1) - 1) = '/' || ?1";
        if self.db.prepare_cached(lesson)?.exists([answer])? {
            return Ok(true);
        }
        let Some((folder, passage)) = answer.rsplit_once('/') else { return Ok(false) };
        let both = "SELECT 1 FROM lesson JOIN passage ON passage.lesson = lesson.id WHERE (folder = ?1 OR substr(folder, -length(?1) - 1) = '/' || ?1) AND name = ?2";
        Ok(self.db.prepare_cached(both)?.exists([folder, passage])?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_read() {
        let text = "\u{feff}# head\r\n\r\n2026-11-03 3x rootless ninths\r\n  2026-02-29 bends\n2024-02-29\t2X  bends  -> a/b, c\n0x one\n-> x\n5x\nin 12 bars -> none\n3 times ->\n";
        let (r, problems) = requests(text);
        let list: Vec<_> = r.list().iter().map(|r| (r.words.as_str(), r.date.as_deref(), r.times, r.answer.clone())).collect();
        assert_eq!(
            list,
            [
                ("rootless ninths", Some("2026-11-03"), 3, None),
                ("bends", Some("2024-02-29"), 2, Some(Answer::Lessons(vec!["a/b".into(), "c".into()]))),
                ("in 12 bars", None, 1, Some(Answer::Nothing)),
            ]
        );
        let places: Vec<&str> = problems.iter().map(|p| &text[p.span.start..p.span.end]).collect();
        assert_eq!(places, ["  2026-02-29 bends", "0x one", "-> x", "5x", "3 times ->"]);
        assert_eq!(r.text(), text);
    }

    #[test]
    fn adding_keeps_the_layout() {
        let text = "# mine\n\n2026-11-03   rootless ninths   -> x\n\t4x Bends, slowly\nlast";
        let (r, _) = requests(text);
        let (r, there) = r.add("bends slowly", Some("2026-12-01"), 2).unwrap();
        assert!(there);
        let (r, there) = r.add("rootless  NINTHS", Some("2026-11-01"), 1).unwrap();
        assert!(there);
        let (r, there) = r.add("3x faster", None, 1).unwrap();
        assert!(!there);
        assert_eq!(r.text(), "# mine\n\n2026-11-03 2x   rootless ninths   -> x\n\t2026-12-01 6x Bends, slowly\nlast\n1x 3x faster\n");
        assert_eq!(r.list().last().unwrap().words, "3x faster");
        for bad in ["", "  ", "?!", "a\nb", "# a", "a -> b"] {
            assert!(r.add(bad, None, 1).is_err(), "{bad:?}");
        }
        assert!(r.add("a", Some("2026-13-01"), 1).is_err() && r.add("a", None, 0).is_err());
    }

    #[test]
    fn importing_a_list() {
        let (r, _) = requests("2x bends\n");
        let (r, new) = r.import("- slow bends\n* Bends\n\n# no\n\u{2022} 2026-10-01 3x slides\nslow bends\n", Some("2026-11-25")).unwrap();
        assert_eq!((r.text(), new), ("2026-11-25 3x bends\n2026-11-25 2x slow bends\n2026-10-01 3x slides\n", 2));
        let faults = r.import("good\n2026-99-01 bad\n", None).unwrap_err();
        assert_eq!(faults[0].span, Span { start: 5, end: 19 });
    }
}
