//! What is done about a finding: the lesson's text is changed as it suggests, or the teacher says that they heard it as written. Both are edits of the text that leave
//! every other byte (`lesson::edit`).

use crate::findings::{Finding, FindingKind};
use lesson::{BarAt, Edit, EditError, Event, Owner, Reading, Rounds, Span, Value};

/// What a teacher does about a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Settle {
    /// The text becomes what the record suggests, in every round of the line.
    Accept,
    /// It was heard as written, and is not reported again.
    AsWritten,
}

/// The lesson's text with a finding settled one way or the other: what `--accept` and `--as-written` do, and the bench's buttons.
///
/// # Errors
/// Those of [`accept`] and [`wave_through`].
pub fn settle(text: &str, passage: &str, finding: &Finding, how: Settle) -> Result<String, EditError> {
    match how {
        Settle::Accept => accept(text, passage, finding, Rounds::All),
        Settle::AsWritten => wave_through(text, passage, finding),
    }
}

/// The lesson's text with a finding accepted.
///
/// # Errors
/// Findings of whole parts, of places that no token stands for alone (a bracket, a part in note names) and those that suggest nothing are for the teacher's own
/// hand: the error says so. So does an edit that would leave the lesson with a fault.
pub fn accept(text: &str, passage: &str, finding: &Finding, rounds: Rounds) -> Result<String, EditError> {
    let reading = lesson::read(text);
    let part = finding.part.as_deref().unwrap_or("");
    let bar = BarAt { passage: passage.into(), part: part.into(), bar: finding.bar };
    let put = |text: &str, slot: u32, with: String| lesson::edit(text, &Edit::Token { bar: bar.clone(), row: None, slot, with, rounds }).map(|e| e.text);
    let place = |p: Option<(u8, u8)>| p.ok_or_else(|| by_hand("no place on the neck was found for it"));
    match finding.kind {
        FindingKind::OtherPitch => {
            let (event, token) = token_at(&reading, text, passage, finding)?;
            let (string, new) = (finding.string.ok_or_else(|| by_hand("the note has no string"))?, place(finding.suggested_place)?);
            put(text, finding.slot, with_note(event, token, Some(string), Some(new))?)
        }
        FindingKind::NotThere => {
            let (event, token) = token_at(&reading, text, passage, finding)?;
            let string = finding.string.ok_or_else(|| by_hand("the note has no string"))?;
            put(text, finding.slot, with_note(event, token, Some(string), None)?)
        }
        FindingKind::GripNote => {
            let (event, token) = token_at(&reading, text, passage, finding)?;
            put(text, finding.slot, with_note(event, token, None, Some(place(finding.suggested_place)?))?)
        }
        FindingKind::Unwritten => {
            let (string, fret) = place(finding.suggested_place)?;
            put(text, finding.slot, format!("{string}:{fret}"))
        }
        FindingKind::Moved => {
            let (event, token) = token_at(&reading, text, passage, finding)?;
            if event.notes.len() > 1 {
                return Err(by_hand("one note of a stroke is struck at another time"));
            }
            let to = i64::from(finding.slot) + i64::from(finding.moved_slots.unwrap_or(0));
            let to = u32::try_from(to).ok().filter(|t| *t >= 1).ok_or_else(|| by_hand("it would move into another bar"))?;
            let moved = put(text, to, token.to_string())?;
            put(&moved, finding.slot, ".".into())
        }
        FindingKind::NoStroke => put(text, finding.slot, ".".into()),
        FindingKind::NoteOrScratch => put(text, finding.slot, "x".into()),
        FindingKind::Whole(_) => Err(by_hand("this is of a whole part or passage")),
    }
}

/// The lesson's text with `heard="as written"` for the strokes of a finding, so that it is not reported again.
///
/// # Errors
/// A finding of a whole part or passage; a bar that is not there any more.
pub fn wave_through(text: &str, passage: &str, finding: &Finding) -> Result<String, EditError> {
    let Some(part) = finding.part.as_deref().filter(|_| !matches!(finding.kind, FindingKind::Whole(_))) else {
        return Err(by_hand("this is of a whole part or passage"));
    };
    let reading = lesson::read(text);
    let before = bar_of(&reading, passage, finding).and_then(|b| b.heard.clone());
    let slots = match before {
        Some(s) if s.is_empty() => vec![],
        Some(mut s) => {
            s.push(finding.slot);
            s.sort_unstable();
            s.dedup();
            s
        }
        None => vec![finding.slot],
    };
    let list: Vec<String> = slots.iter().map(u32::to_string).collect();
    let words = match list.as_slice() {
        [] => "as written".to_string(),
        [one] => format!("as written at slot {one}"),
        many => format!("as written at slots {}", many.join(", ")),
    };
    let bar = BarAt { passage: passage.into(), part: part.into(), bar: finding.bar };
    lesson::edit(text, &Edit::Property { of: Owner::Bar(bar), key: "heard".into(), value: Some(Value::Text(words)) }).map(|e| e.text)
}

fn bar_of<'a>(reading: &'a Reading, passage: &str, finding: &Finding) -> Option<&'a lesson::PartBar> {
    let p = reading.lesson.passages.iter().find(|p| p.id == passage)?;
    let index = p.bars.iter().position(|b| b.number == finding.bar)?;
    p.parts.iter().find(|o| Some(o.name.as_str()) == finding.part.as_deref())?.bars.get(index)
}

fn token_at<'a>(reading: &'a Reading, text: &'a str, passage: &str, finding: &Finding) -> Result<(&'a Event, &'a str), EditError> {
    let event = bar_of(reading, passage, finding).and_then(|b| b.events.iter().find(|e| e.slot == finding.slot && !e.tie_in)).ok_or_else(|| by_hand("no stroke stands there any more"))?;
    if event.tuplet.is_some() {
        return Err(by_hand("the stroke stands in a bracket"));
    }
    let token = text.get(event.span.start..event.span.end).filter(|t| !t.is_empty()).ok_or_else(|| by_hand("its place in the text is not known"))?;
    Ok((event, token))
}

/// A token with the note on a string replaced, taken out, or one added.
fn with_note(event: &Event, token: &str, string: Option<u8>, new: Option<(u8, u8)>) -> Result<String, EditError> {
    let shown = |(s, f): (u8, u8)| format!("{s}:{f}");
    let notes: Vec<&str> = token.split('+').collect();
    let is_on = |n: &str, s: u8| n.find(&format!("{s}:")).is_some_and(|at| at == 0 || !n.as_bytes()[at - 1].is_ascii_digit());
    let explicit = token.contains(':');
    if explicit {
        let mut out: Vec<String> = Vec::new();
        for n in &notes {
            match string {
                Some(s) if is_on(n, s) => {
                    if let Some(new) = new {
                        let at = n.find(&format!("{s}:")).unwrap_or(0);
                        let tail = n[at + 2..].trim_start_matches(|c: char| c.is_ascii_digit());
                        out.push(format!("{}{}{tail}", &n[..at], shown(new)));
                    }
                }
                _ => out.push(n.to_string()),
            }
        }
        if string.is_none() {
            out.extend(new.map(shown));
        }
        return Ok(if out.is_empty() { ".".into() } else { out.join("+") });
    }
    // A grip's letter: its notes one by one, the signs before and behind kept.
    let letter = token.find(|c: char| c.is_ascii_lowercase() && c != 'x').ok_or_else(|| by_hand("the stroke is a scratch"))?;
    if token.contains(['/', '^', '!', '[', '+']) || event.grip.is_none() {
        return Err(by_hand("the stroke is bent or slid, or more than one grip"));
    }
    let tail = token[letter + 1..].trim_start_matches(|c: char| c.is_ascii_digit() || c == '@' || c == '-');
    let mut places: Vec<(u8, u8)> = event.notes.iter().filter(|n| !n.dead).filter_map(lesson::Tone::place).filter(|p| Some(p.0) != string).collect();
    places.extend(new);
    places.sort_by_key(|p| std::cmp::Reverse(p.0));
    if places.is_empty() {
        return Ok(".".into());
    }
    // Behind a note a sign is its own; what closes the stroke stands at its end.
    let (own, end): (String, String) = tail.chars().partition(|c| matches!(c, '\'' | '~'));
    let list: Vec<String> = places.into_iter().map(|p| format!("{}{own}", shown(p))).collect();
    Ok(format!("{}{}{end}", &token[..letter], list.join("+")))
}

fn by_hand(found: &str) -> EditError {
    EditError { found: found.into(), right: "change it in the text by hand".into(), span: Span::default(), problems: vec![], outcome: String::new() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::blank;
    use crate::whole::Whole;

    const TEXT: &str = r#"lesson "t" {
  passage "p" {
    tempo 100
    slots 8
    part "g" instrument="guitar" {
      grip "a" "x x 5 5 5 x"
      bar "5:3 . 4:2 - a' . 4:2+3:2~ x"   // kept
      bar ">a43 . a~ . D4:5 [4:5 4:7]=2 ."  heard="as written at slot 3"
      bar "5:10+4:9 . . . . . . ." times=2 heard="as written"
    }
  }
}
"#;

    fn at(kind: FindingKind, bar: u32, slot: u32) -> Finding {
        Finding { part: Some("g".into()), bar, bars: vec![bar], slot, ..blank(kind, 0.9, 1.0) }
    }

    fn note(kind: FindingKind, bar: u32, slot: u32, string: u8, place: Option<(u8, u8)>) -> Finding {
        Finding { string: Some(string), suggested_place: place, ..at(kind, bar, slot) }
    }

    /// The text with one piece changed by accepting.
    fn becomes(f: &Finding, from: &str, to: &str) {
        assert!(lesson::read(TEXT).is_sound(), "{:?}", lesson::read(TEXT).problems);
        let text = TEXT.to_string();
        assert!(text.contains(from), "{from}");
        assert_eq!(accept(&text, "p", f, Rounds::All).map_err(|e| e.found), Ok(text.replacen(from, to, 1)), "{f:?}");
    }

    fn refused(f: &Finding, why: &str) {
        let found = accept(TEXT, "p", f, Rounds::All).map_err(|e| e.found);
        assert!(found.as_ref().is_err_and(|e| e.contains(why)), "{found:?} for {why}");
    }

    #[test]
    fn each_kind_of_finding_changes_its_own_token_alone() {
        use FindingKind::{GripNote, Moved, NoStroke, NotThere, NoteOrScratch, OtherPitch, Unwritten};
        // Another pitch: of a single note, of one of two with its sign kept, of a grip's, which is written out.
        becomes(&note(OtherPitch, 1, 3, 4, Some((4, 12))), "4:2 - a'", "4:12 - a'");
        becomes(&note(OtherPitch, 1, 7, 3, Some((3, 4))), "4:2+3:2~", "4:2+3:4~");
        becomes(&note(OtherPitch, 1, 7, 4, Some((5, 7))), "4:2+3:2~", "5:7+3:2~");
        becomes(&note(OtherPitch, 1, 5, 3, Some((3, 4))), "a' . 4:2", "4:5'+3:4'+2:5' . 4:2");
        becomes(&note(OtherPitch, 2, 1, 3, Some((3, 6))), ">a43", ">4:5+3:6");
        becomes(&note(OtherPitch, 2, 5, 4, Some((4, 7))), "D4:5 [", "D4:7 [");
        becomes(&note(OtherPitch, 3, 1, 5, Some((5, 9))), "5:10+4:9", "5:9+4:9");
        // Not there: the note goes, or the whole stroke.
        becomes(&note(NotThere, 1, 7, 4, None), "4:2+3:2~", "3:2~");
        becomes(&note(NotThere, 1, 1, 5, None), "5:3 .", ". .");
        becomes(&note(NotThere, 2, 3, 4, None), "a~ .", "3:5~+2:5~ .");
        // One more of a stroke, behind the others or in the grip's order; one where nothing was.
        becomes(&note(GripNote, 1, 3, 0, Some((2, 3))), "4:2 - a'", "4:2+2:3 - a'");
        becomes(&note(GripNote, 2, 1, 0, Some((2, 5))), ">a43", ">4:5+3:5+2:5");
        becomes(&note(Unwritten, 1, 2, 0, Some((6, 1))), "5:3 . ", "5:3 6:1 ");
        becomes(&at(NoStroke, 1, 8), "3:2~ x", "3:2~ .");
        becomes(&at(NoteOrScratch, 1, 2), "5:3 . ", "5:3 x ");
        // A single note goes elsewhere; in all rounds of its line.
        becomes(&Finding { moved_slots: Some(1), ..at(Moved, 1, 1) }, "5:3 . ", ". 5:3 ");
        becomes(&Finding { moved_slots: Some(-1), ..at(Moved, 2, 5) }, ". D4:5 [", "D4:5 . [");
    }

    #[test]
    fn what_no_token_stands_for_alone_is_for_the_hand() {
        use FindingKind::{GripNote, Moved, NotThere, OtherPitch, Unwritten};
        refused(&Finding { moved_slots: Some(1), ..at(Moved, 1, 7) }, "one note of a stroke");
        refused(&Finding { moved_slots: Some(-1), ..at(Moved, 1, 1) }, "into another bar");
        refused(&note(OtherPitch, 2, 6, 4, Some((4, 6))), "bracket");
        refused(&note(OtherPitch, 1, 2, 4, Some((4, 6))), "no stroke stands there");
        refused(&note(OtherPitch, 4, 3, 4, Some((4, 6))), "no stroke stands there");
        refused(&note(OtherPitch, 1, 3, 4, None), "no place on the neck");
        refused(&Finding { suggested_place: Some((4, 3)), ..at(OtherPitch, 1, 3) }, "no string");
        refused(&at(NotThere, 1, 3), "no string");
        refused(&at(GripNote, 1, 3), "no place on the neck");
        refused(&at(Unwritten, 1, 2), "no place on the neck");
        refused(&note(GripNote, 1, 8, 0, Some((2, 5))), "scratch");
        refused(&at(FindingKind::Whole(Whole::Absent), 1, 1), "whole part");
    }

    #[test]
    fn what_was_heard_as_written_is_added_to_what_the_bar_says_already() {
        let text = TEXT.to_string();
        let waved = |f: &Finding| settle(&text, "p", f, Settle::AsWritten).map_err(|e| e.found);
        assert_eq!(waved(&at(FindingKind::NoStroke, 1, 8)), Ok(text.replacen("3:2~ x\"", "3:2~ x\" heard=\"as written at slot 8\"", 1)));
        assert_eq!(waved(&at(FindingKind::NotThere, 2, 1)), Ok(text.replacen("at slot 3\"", "at slots 1, 3\"", 1)));
        assert_eq!(waved(&at(FindingKind::NotThere, 2, 3)), Ok(text.clone()));
        assert_eq!(waved(&at(FindingKind::NotThere, 3, 1)), Ok(text.clone()));
        assert!(waved(&at(FindingKind::Whole(Whole::Silent), 1, 1)).is_err() && waved(&Finding { part: None, ..at(FindingKind::NoStroke, 1, 8) }).is_err());
        assert_eq!(settle(&text, "p", &at(FindingKind::NoStroke, 1, 8), Settle::Accept).ok(), accept(&text, "p", &at(FindingKind::NoStroke, 1, 8), Rounds::All).ok());
    }
}
