//! Letters that cannot be printed: every text of a lesson against the fonts of the handout and of the drawings.

use lesson::{Lesson, Problem, Span, Weight};

/// A problem for each letter that no font has, at the first text that holds it. `source` is the lesson's text.
pub fn problems(source: &str, lesson: &Lesson) -> Vec<Problem> {
    let printed = printed(lesson);
    // Fonts are opened for letters past ASCII alone; the fonts have all of those.
    let rare: String = printed.chars().filter(|c| !c.is_ascii()).collect();
    if rare.is_empty() {
        return vec![];
    }
    let mut missing = pack::handout::uncovered(&rare);
    missing.extend(engrave::fonts::uncovered(&rare).into_iter().filter(|c| !missing.contains(c)).collect::<Vec<_>>());
    missing
        .into_iter()
        .map(|c| Problem {
            span: place(source, c),
            found: format!("the fonts have no sign for '{c}' (U+{:04X})", u32::from(c)),
            right: "write it in Latin, Greek or Cyrillic letters; the signs ♭ ♯ ♮ can be printed, too".into(),
            weight: Weight::Error,
        })
        .collect()
}

/// All words of a lesson that reach the page, one after the other.
fn printed(lesson: &Lesson) -> String {
    let mut out = vec![lesson.title.as_str()];
    out.extend(lesson.needs.iter().chain(&lesson.notes).map(String::as_str));
    out.extend(lesson.revisions.iter().map(|r| r.text.as_str()));
    for p in &lesson.passages {
        out.push(&p.title);
        out.extend(p.notes.iter().map(|n| n.text.as_str()));
        for part in &p.parts {
            out.extend([part.name.as_str(), part.instrument.as_str()]);
            out.extend(part.tone.as_deref());
            out.extend(part.neck.as_ref().map(|n| n.tuning.name.as_str()));
            out.extend(part.bars.iter().filter_map(|b| b.say.as_deref()));
        }
    }
    out.join("\n")
}

/// Where a letter stands first, outside lines that are comments; the beginning where it is written as an escape.
fn place(source: &str, c: char) -> Span {
    let mut start = 0;
    for line in source.split_inclusive('\n') {
        if !line.trim_start().starts_with("//")
            && let Some(i) = line.find(c)
        {
            return Span { start: start + i, end: start + i + c.len_utf8() };
        }
        start += line.len();
    }
    Span::default()
}
