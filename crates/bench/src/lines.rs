//! A part's bars as slots: each slot with the token that stands in it, from the lesson's own text.

use lesson::{Beats, Drum, Kind, Part, PartBar, Passage, Source};

/// A token in its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cell {
    /// As it stands in the text; empty where nothing does.
    pub token: String,
    /// From 1.
    pub slot: u32,
    /// Slots that it takes.
    pub width: u32,
    /// Bytes of the line; empty where the line is not written.
    pub range: (usize, usize),
}

/// A line of a bar: the bar's own, or a drum's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    pub row: Option<&'static str>,
    pub cells: Vec<Cell>,
}

/// The tokens of a stroke line with their slots; a bracket is one token. What cannot be read stands as it is.
///
/// Tokens are cut as the lesson file says: by white space, brackets `[a x a]=2` whole.
pub fn cells(line: &str) -> Vec<Cell> {
    let mut out = Vec::new();
    let mut slot = 1;
    let mut rest = line.trim_start();
    while !rest.is_empty() {
        let end = match rest.starts_with('[').then(|| rest.find(']')).flatten() {
            Some(close) => close + rest[close..].find(char::is_whitespace).unwrap_or(rest.len() - close),
            None => rest.find(char::is_whitespace).unwrap_or(rest.len()),
        };
        let token = &rest[..end];
        let width = token.strip_prefix('[').and_then(|t| t.rsplit_once("]=")).and_then(|(_, n)| n.parse().ok()).unwrap_or(1u32).clamp(1, 16);
        out.push(Cell { token: token.split_whitespace().collect::<Vec<_>>().join(" "), slot, width, range: (line.len() - rest.len(), line.len() - rest.len() + end) });
        slot += width;
        rest = rest[end..].trim_start();
    }
    out
}

/// A row of a part of drums: its word and its drum.
pub type Row = (&'static str, Drum);

/// The drums that a part of drums uses anywhere, in the order of the lesson file; none for other parts.
pub fn rows(part: &Part) -> Vec<Row> {
    if part.kind != Kind::Drums {
        return vec![];
    }
    const ROWS: [Row; 6] = [("crash", Drum::Crash), ("ride", Drum::Ride), ("hats", Drum::Hats), ("tom", Drum::Tom), ("snare", Drum::Snare), ("kick", Drum::Kick)];
    let used = |drum: Drum| part.bars.iter().flat_map(|b| &b.events).flat_map(|e| &e.notes).any(|n| matches!(n.source, Source::Drum(d) if row_of(d) == drum));
    ROWS.into_iter().filter(|(_, d)| used(*d)).collect()
}

fn row_of(drum: Drum) -> Drum {
    if drum == Drum::OpenHats { Drum::Hats } else { drum }
}

/// The line of a bar inside its quotes; `None` for a silent bar and for drums, which have none of their own.
pub fn written<'a>(text: &'a str, bar: &PartBar) -> Option<&'a str> {
    let quoted = bar.span.start > 0 && text.as_bytes().get(bar.span.start - 1) == Some(&b'"');
    text.get(bar.span.start..bar.span.end).filter(|_| quoted && bar.span.end > bar.span.start)
}

/// The lines of a part's bar; `rows` are the part's. A silent bar has a line of empty slots.
pub fn lines(text: &str, passage: &Passage, part: &Part, index: usize, rows: &[Row]) -> Vec<Line> {
    let Some(bar) = part.bars.get(index) else { return vec![] };
    let empty = || (1..=bar.slots.min(192)).map(|slot| Cell { token: String::new(), slot, width: 1, range: (0, 0) }).collect::<Vec<_>>();
    if part.kind == Kind::Drums {
        let length = passage.bars.get(index).map_or(Beats::from_integer(4), |b| b.length);
        return rows.iter().map(|(row, drum)| Line { row: Some(row), cells: drum_cells(bar, *drum, length, empty()) }).collect();
    }
    let cells = written(text, bar).map_or_else(empty, cells);
    vec![Line { row: None, cells }]
}

/// Hits of one drum; several within one slot show as a bracket.
fn drum_cells(bar: &PartBar, drum: Drum, length: Beats, mut cells: Vec<Cell>) -> Vec<Cell> {
    for c in &mut cells {
        c.token = ".".into();
    }
    for e in &bar.events {
        let Some(note) = e.notes.iter().find(|n| matches!(n.source, Source::Drum(d) if row_of(d) == drum)) else { continue };
        let hit = if note.source == Source::Drum(Drum::OpenHats) { "o" } else { "x" };
        let token = if note.accent {
            format!(">{hit}")
        } else if note.ghost {
            format!("({hit})")
        } else {
            hit.to_string()
        };
        let at = (e.at / length * Beats::from_integer(i64::from(bar.slots))).floor().to_integer();
        if let Some(c) = usize::try_from(at).ok().and_then(|i| cells.get_mut(i)) {
            c.token = if e.tuplet.is_some() || c.token != "." { "[…]".into() } else { token };
        }
    }
    cells
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_a_slot_and_brackets_whole() {
        let c = cells("  a . [3:3 2:3  2:6]=2 x   b@-1/b ");
        let got: Vec<(&str, u32, u32)> = c.iter().map(|c| (c.token.as_str(), c.slot, c.width)).collect();
        assert_eq!(got, [("a", 1, 1), (".", 2, 1), ("[3:3 2:3 2:6]=2", 3, 2), ("x", 5, 1), ("b@-1/b", 6, 1)]);
        assert_eq!(&"  a . [3:3 2:3  2:6]=2 x"[c[2].range.0..c[2].range.1], "[3:3 2:3  2:6]=2");
        // Unfinished, as while it is being typed.
        assert_eq!(cells("a [x").len(), 2);
        assert_eq!(cells("[a x]=99999 b")[1].slot, 17);
        assert_eq!(cells(""), []);
    }

    #[test]
    fn lines_of_text_rests_and_drums() {
        let text = "lesson \"t\" { passage \"p\" { tempo 90; slots 4
            part \"line\" instrument=\"guitar\" { bar \"5:3 - . x\"; rest }
            part \"kit\" instrument=\"drums\" { bar { kick \"x . . >x\"; hats \"x o [x x]=1 (x)\" }; bar { kick \"x . . .\" } } } }";
        let reading = lesson::read(text);
        assert!(reading.is_sound(), "{:?}", reading.problems);
        let p = &reading.lesson.passages[0];
        let shown = |part: usize, bar: usize| -> Vec<String> { lines(text, p, &p.parts[part], bar, &rows(&p.parts[part])).iter().map(|l| l.cells.iter().map(|c| c.token.as_str()).collect::<Vec<_>>().join(" ")).collect() };
        assert_eq!(shown(0, 0), ["5:3 - . x"]);
        assert_eq!(shown(0, 1), ["   "]);
        assert_eq!(shown(1, 0), ["x o […] (x)", "x . . >x"]);
        assert_eq!(shown(1, 1), [". . . .", "x . . ."]);
    }
}
