//! What a key or a click on the page does to the lesson's text, by way of [`lesson::edit`].

use crate::hand::{At, grip_of, under};
use crate::lines;
use lesson::{BarAt, Edit, EditError, Edited, Lesson, Owner, Rounds, Span, Value};
use neck::Grip;

/// Something done on the page.
#[derive(Clone, Debug, PartialEq, Eq, serde::Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case")]
pub enum Act {
    /// A token at a slot.
    Token { at: At, row: Option<String>, with: String },
    /// A bar's whole line.
    Line { at: At, row: Option<String>, line: String },
    /// A bar so many frets up or down the neck.
    Shift { at: At, by: i32 },
    /// What is under the cursor, at other frets (low string to high). A grip by its letter is moved wherever it stands.
    Move { at: At, frets: String },
    /// A name fixed for what is under the cursor; none leaves it to the computer again.
    Pin { at: At, name: Option<String> },
    /// The bar once more behind itself, in every part.
    Again { at: At },
    /// A silent bar behind it.
    Silent { at: At },
    /// The bar taken out of every part.
    Out { at: At },
}

/// What an act wants to change. Its outcome is not read yet: [`crate::desk::Desk::change_if_sound`] does.
#[derive(Debug)]
pub struct Acted {
    pub edited: Edited,
    /// For undo.
    pub said: String,
}

/// Longest token or line that a page may send.
const LONGEST: usize = 4_000;

/// Does it to a text that was read as `lesson`.
///
/// # Errors
/// The text is as it was; the error says what would be right.
pub fn act(text: &str, lesson: &Lesson, act: &Act) -> Result<Acted, EditError> {
    let at = act.at();
    let bar = BarAt { passage: at.passage.clone(), part: at.part.clone(), bar: at.bar };
    let said = format!("{}, bar {}", at.part, at.bar);
    let done = |edit: Edit| lesson::edit(text, &edit).map(|edited| Acted { edited, said: said.clone() });
    let line_now = |row: Option<&str>| -> Option<Vec<lines::Cell>> {
        let u = under(lesson, at)?;
        lines::lines(text, u.passage, u.part, u.index, &lines::rows(u.part)).into_iter().find(|l| l.row == row).map(|l| l.cells)
    };
    match act {
        Act::Token { row, with, .. } => {
            fits(with)?;
            if with.split_whitespace().count() != 1 && !with.starts_with('[') {
                return Err(refused("this is not one token", "write one token, such as a, 5:7, x, - or ."));
            }
            if row.is_none()
                && let Some(u) = under(lesson, at)
                && let Some((own, line)) = u.part.bars.get(u.index).and_then(|b| lines::written(text, b).map(|l| (b, l)))
                && !line.contains('\\')
            {
                let cells = lines::cells(line);
                let cell = cells.iter().find(|c| c.slot == at.slot).ok_or_else(|| refused("no token begins at this slot", "slots are counted from 1; a bracket is one token and begins at its first slot"))?;
                let span = Span { start: own.span.start + cell.range.0, end: own.span.start + cell.range.1 };
                return direct(&u, span, with, said);
            }
            if let Some(word) = row
                && let Some(u) = under(lesson, at).filter(|u| u.part.kind == lesson::Kind::Drums)
                && let Some(inside) = u.part.bars.get(u.index).and_then(|b| lesson::drum_row(text, b, word))
                && let Some(cell) = text.get(inside.start..inside.end).and_then(|l| lines::cells(l).into_iter().find(|c| c.slot == at.slot))
            {
                return direct(&u, Span { start: inside.start + cell.range.0, end: inside.start + cell.range.1 }, with, said);
            }
            // A rest, or a drum that this bar does not have yet, gets a line of its own.
            let silent = under(lesson, at).is_some_and(|u| row.is_none() && u.part.bars.get(u.index).is_some_and(|b| lines::written(text, b).is_none()));
            let token = Edit::Token { bar: bar.clone(), row: row.clone(), slot: at.slot, with: with.clone(), rounds: Rounds::All };
            match done(token) {
                Err(_) if silent || row.is_some() => {
                    let cells = line_now(row.as_deref()).ok_or_else(|| refused("there is no such bar", "choose a bar of the page"))?;
                    let tokens: Vec<String> = cells.iter().map(|c| if c.slot == at.slot { with.clone() } else if c.token.is_empty() { ".".into() } else { c.token.clone() }).collect();
                    if tokens.iter().any(|t| t == "[…]") {
                        return Err(refused("this row has a bracket", "change it in the text"));
                    }
                    done(Edit::Stroke { bar, row: row.clone(), line: tokens.join(" "), rounds: Rounds::All })
                }
                other => other,
            }
        }
        Act::Line { row, line, .. } => {
            fits(line)?;
            if row.is_none()
                && let Some(u) = under(lesson, at)
                && let Some(own) = u.part.bars.get(u.index).filter(|b| lines::written(text, b).is_some())
            {
                return direct(&u, own.span, line, said);
            }
            done(Edit::Stroke { bar, row: row.clone(), line: line.clone(), rounds: Rounds::All })
        }
        Act::Shift { by, .. } => {
            let u = under(lesson, at).ok_or_else(|| refused("there is no such bar", "choose a bar of the page"))?;
            let line = u.part.bars.get(u.index).and_then(|b| lines::written(text, b)).ok_or_else(|| refused("this bar has no frets", "choose a bar with strokes on strings"))?;
            if u.part.neck.is_none() {
                return Err(refused("this part has no neck", "choose a part for guitar or bass"));
            }
            let line = shifted(line, *by).ok_or_else(|| refused("a note would lie below the open string or off the neck", "choose another place for it first"))?;
            direct(&u, u.part.bars[u.index].span, &line, said)
        }
        Act::Move { frets, .. } => {
            let u = under(lesson, at).ok_or_else(|| refused("there is no such bar", "choose a bar of the page"))?;
            let event = u.event.ok_or_else(|| refused("nothing sounds here", "choose a slot with a stroke"))?;
            let (to, neck) = Grip::parse(frets).ok().zip(u.part.neck.as_ref()).filter(|(g, n)| g.frets.len() == n.strings()).ok_or_else(|| refused("these are no frets for this neck", "write one a string, low to high"))?;
            let whole = event.grip.and_then(|l| u.part.grips.iter().find(|g| g.letter == l)).filter(|g| grip_of(u.part, event).as_ref() == Some(&g.grip));
            if let Some(g) = whole {
                // Fingers that were fixed belong to the old place.
                let of = Owner::Grip { passage: at.passage.clone(), part: at.part.clone(), letter: g.letter };
                let freed = lesson::edit(text, &Edit::Property { of, key: "fingers".into(), value: None })?;
                let moved = lesson::edit(&freed.text, &Edit::Grip { passage: at.passage.clone(), part: at.part.clone(), letter: g.letter, frets: Some(to.to_string()) })?;
                let changes = crate::differ::splice_between(text, &moved.text).into_iter().collect();
                return Ok(Acted { edited: Edited { changes, ..moved }, said: format!("grip {} moved", g.letter) });
            }
            let n = neck.strings();
            let places: Vec<String> = to.frets.iter().enumerate().filter_map(|(i, f)| f.map(|f| format!("{}:{f}", n - i))).collect();
            let slot = slot_of(text, &u, event);
            done(Edit::Token { bar, row: None, slot, with: places.join("+"), rounds: Rounds::All })
        }
        Act::Pin { name, .. } => {
            let u = under(lesson, at).ok_or_else(|| refused("there is no such bar", "choose a bar of the page"))?;
            let event = u.event.ok_or_else(|| refused("nothing sounds here", "choose a slot with a stroke"))?;
            if let Some(letter) = event.grip {
                let of = Owner::Grip { passage: at.passage.clone(), part: at.part.clone(), letter };
                let mut acted = done(Edit::Property { of, key: "name".into(), value: name.clone().map(Value::Text) })?;
                acted.said = format!("name of grip {letter}");
                return Ok(acted);
            }
            let Some(name) = name else { return Err(refused("this name is fixed by a line of its own", "take it away in the text")) };
            done(Edit::PinName { passage: at.passage.clone(), part: at.part.clone(), at: place_of(&u, event), name: name.clone() })
        }
        Act::Again { .. } => done(Edit::DuplicateBar { passage: at.passage.clone(), bar: at.bar }),
        Act::Silent { .. } => done(Edit::InsertBar { passage: at.passage.clone(), after: at.bar, lines: vec![] }),
        Act::Out { .. } => done(Edit::DeleteBar { passage: at.passage.clone(), bar: at.bar }),
    }
}

impl Act {
    pub fn at(&self) -> &At {
        match self {
            Act::Token { at, .. } | Act::Line { at, .. } | Act::Shift { at, .. } | Act::Move { at, .. } | Act::Pin { at, .. } | Act::Again { at } | Act::Silent { at } | Act::Out { at } => at,
        }
    }
}

/// Text put in place of a piece of a stroke line, without reading the lesson for it: a key must show at once, and whoever takes the change reads
/// its outcome in any case. It holds in all rounds that this line plays.
fn direct(u: &crate::hand::Under, span: Span, with: &str, said: String) -> Result<Acted, EditError> {
    if with.contains(['"', '\\', '\n', '\r']) {
        return Err(refused("this cannot stand in a stroke line", "write a token a slot, such as a, 5:7, x, - or ."));
    }
    let own = u.part.bars[u.index].span;
    let played = u.part.bars.iter().filter(|b| b.span == own).count();
    let changes = vec![lesson::Change { at: span, with: with.to_string() }];
    Ok(Acted { edited: Edited { text: String::new(), changes, undo: vec![], played }, said })
}

fn fits(text: &str) -> Result<(), EditError> {
    if text.trim().is_empty() || text.len() > LONGEST || text.chars().any(char::is_control) {
        return Err(refused("this is no line of tokens", "write a token a slot, in one line"));
    }
    Ok(())
}

fn refused(found: &str, right: &str) -> EditError {
    EditError { found: found.into(), right: right.into(), span: Span::default(), problems: vec![], outcome: String::new() }
}

/// The slot of the token that an event begins in.
fn slot_of(text: &str, u: &crate::hand::Under, event: &lesson::Event) -> u32 {
    let cells = u.part.bars.get(u.index).and_then(|b| lines::written(text, b)).map(lines::cells).unwrap_or_default();
    cells.iter().rev().find(|c| c.slot <= event.slot).map_or(event.slot, |c| c.slot)
}

/// `bar.beat` or `bar.beat.slot` of an event, as the lesson file counts.
fn place_of(u: &crate::hand::Under, event: &lesson::Event) -> String {
    let bar = &u.passage.bars[u.index];
    let beat = bar.meter.beat();
    let beats = (event.at / beat).floor();
    let into = event.at - beats * beat;
    let slots = u.part.bars.get(u.index).map_or(1, |b| b.slots.max(1));
    let slot = (into / bar.length * lesson::Beats::from_integer(i64::from(slots))).floor().to_integer() + 1;
    let head = format!("{}.{}", bar.number, beats.to_integer() + 1);
    if slot > 1 { format!("{head}.{slot}") } else { head }
}

/// A stroke line so many frets up or down: places count on, grips are moved by their shape (`a` becomes `a@2`), scratches and
/// silences stay. `None` where a fret would fall below 0 or over 36.
fn shifted(line: &str, by: i32) -> Option<String> {
    let b = line.as_bytes();
    let mut out = String::with_capacity(line.len() + 8);
    let mut i = 0;
    let digits = |mut j: usize| {
        while b.get(j).is_some_and(u8::is_ascii_digit) {
            j += 1;
        }
        j
    };
    let fret = |t: &str| t.parse::<i32>().ok().map(|f| f + by).filter(|f| (0..=36).contains(f));
    while i < b.len() {
        let c = b[i];
        if c.is_ascii_digit() && b.get(digits(i)) == Some(&b':') {
            // string:fret, and where it slides to.
            let colon = digits(i);
            out.push_str(&line[i..=colon]);
            let end = digits(colon + 1);
            out.push_str(&fret(&line[colon + 1..end])?.to_string());
            i = end;
            if b.get(i) == Some(&b'/') && b.get(i + 1).is_some_and(u8::is_ascii_digit) {
                let end = digits(i + 1);
                out.push('/');
                out.push_str(&fret(&line[i + 1..end])?.to_string());
                i = end;
            }
        } else if c.is_ascii_lowercase() && c != b'x' {
            let strings = digits(i + 1);
            out.push_str(&line[i..strings]);
            i = strings;
            let mut shift = 0;
            if b.get(i) == Some(&b'@') {
                let end = digits(if b.get(i + 1) == Some(&b'-') { i + 2 } else { i + 1 });
                shift = line[i + 1..end].parse().ok()?;
                i = end;
            }
            if shift + by != 0 {
                out.push_str(&format!("@{}", shift + by));
            }
        } else if c == b'x' {
            // xa: the shape of a grip stays that of the grip.
            let mut end = digits(i + 1);
            if end == i + 1 && b.get(end).is_some_and(|c| c.is_ascii_lowercase()) {
                end += 1;
            }
            out.push_str(&line[i..end]);
            i = end;
        } else if matches!(c, b'^' | b'!' | b'=') {
            // Amounts, not frets.
            let mut end = i + 1;
            while b.get(end).is_some_and(|c| c.is_ascii_digit() || *c == b'.') {
                end += 1;
            }
            out.push_str(&line[i..end]);
            i = end;
        } else {
            let step = line[i..].chars().next().map_or(1, char::len_utf8);
            out.push_str(&line[i..i + step]);
            i += step;
        }
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LESSON: &str = "lesson \"t\" { // mine
  passage \"p\" { tempo 90; slots 4; key \"C minor\"
    part \"chop\" instrument=\"guitar\" {
      grip \"a\" \"x x 8 8 8 x\" fingers=\"1 1 1\"
      bar \"a . x  5:7\" // keep
      rest
    }
    part \"kit\" instrument=\"drums\" { bar { kick \"x . . .\" }; bar { kick \"x . . .\"; snare \". . x .\" } }
  }
}";

    fn at(part: &str, bar: u32, slot: u32) -> At {
        At { passage: "p".into(), part: part.into(), bar, slot }
    }

    fn after(a: Act) -> String {
        lesson::splice(LESSON, &act(LESSON, &lesson::read(LESSON).lesson, &a).unwrap().edited.changes).unwrap()
    }

    #[test]
    fn tokens_go_in_where_they_are_typed() {
        assert_eq!(after(Act::Token { at: at("chop", 1, 2), row: None, with: "x".into() }), LESSON.replace("a . x  5:7", "a x x  5:7"));
        assert_eq!(after(Act::Token { at: at("chop", 2, 3), row: None, with: "a".into() }), LESSON.replace("rest", "bar \". . a .\""));
        assert_eq!(after(Act::Token { at: at("kit", 2, 1), row: Some("snare".into()), with: "x".into() }), LESSON.replace(". . x .", "x . x ."));
        let with_snare = after(Act::Token { at: at("kit", 1, 3), row: Some("snare".into()), with: "x".into() });
        assert!(with_snare.contains("snare \". . x .\"") && with_snare.matches("snare").count() == 2, "{with_snare}");
        for with in ["", "a b", "\"", "\n", "\\"] {
            assert!(act(LESSON, &lesson::read(LESSON).lesson, &Act::Token { at: at("chop", 1, 1), row: None, with: with.into() }).is_err(), "{with:?}");
        }
    }

    #[test]
    fn bars_move_along_the_neck() {
        assert_eq!(shifted("a43@-1 b . x xa  5:7/9+3:7^1 - [b a]=2 >&H3:7' 2:8!1 (a)", 1).unwrap(), "a43 b@1 . x xa  5:8/10+3:8^1 - [b@1 a@1]=2 >&H3:8' 2:9!1 (a@1)");
        assert_eq!(shifted("x654 3:9+x b@-1/b ^0", -1).unwrap(), "x654 3:8+x b@-2/b@-1 ^0");
        assert_eq!(shifted("5:0", -1), None);
        assert_eq!(after(Act::Shift { at: at("chop", 1, 1), by: 2 }), LESSON.replace("a . x  5:7", "a@2 . x  5:9"));
    }

    #[test]
    fn a_grip_moves_with_its_letter_and_a_place_where_it_stands() {
        let moved = after(Act::Move { at: at("chop", 1, 1), frets: "x 13 13 12 x x".into() });
        assert_eq!(moved, LESSON.replace("\"x x 8 8 8 x\" fingers=\"1 1 1\"", "\"x 13 13 12 x x\""));
        assert_eq!(after(Act::Move { at: at("chop", 1, 4), frets: "12 x x x x x".into() }), LESSON.replace("5:7", "6:12"));
    }

    #[test]
    fn names_are_fixed_in_the_text() {
        assert_eq!(after(Act::Pin { at: at("chop", 1, 1), name: Some("Cm7".into()) }), LESSON.replace("fingers=\"1 1 1\"", "fingers=\"1 1 1\" name=\"Cm7\""));
        let pinned = after(Act::Pin { at: at("chop", 1, 4), name: Some("E5".into()) });
        assert!(pinned.contains("name \"E5\" at=\"1.4\""), "{pinned}");
        assert!(act(LESSON, &lesson::read(LESSON).lesson, &Act::Pin { at: at("chop", 1, 1), name: Some("what".into()) }).is_err());
    }

    #[test]
    fn bars_come_again_and_go() {
        assert_eq!(after(Act::Again { at: at("chop", 1, 1) }).matches("a . x  5:7").count(), 2);
        assert!(!after(Act::Out { at: at("chop", 1, 1) }).contains("a . x  5:7"));
        assert!(after(Act::Silent { at: at("chop", 1, 1) }).matches("rest").count() > 1);
    }
}
