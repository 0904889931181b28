//! Playing a part in: what was recorded is written out for bars of a part, and put in where the teacher takes it over. Everything here has passed the guard.
//!
//! A take comes in by `/takes`, is written out by the program around the bench, and set to the part's own slots and letters. Nothing is changed by that; what is taken over, whole
//! or bar by bar, is one step that can be undone.

use crate::desk::Refused;
use crate::differ::splice_between;
use crate::drawn::drawing;
use crate::lines::{self, Cell};
use crate::routes::{Shared, UPLOAD_MAX, at_desk, away, no_lesson, not_from_25_to_100, refusal, told, window};
use crate::services::{Played, Playing, Without};
use crate::state::State;
use axum::Router;
use axum::extract::{Json, State as Has};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::post;
use lesson::{BarAt, Edit, EditError, GRIP_LETTERS, Kind, Lesson, Owner, Part, Passage, Rounds, Span, Value as Set};
use neck::Grip;
use serde::Deserialize;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::Read;
use std::sync::Arc;
use wave::{Limits, Seconds};

/// Longest take that is written out, seconds.
pub const TAKE_MAX_S: f64 = 300.0;
/// A take that never gets louder than this is silent (60 dB under full scale).
const SILENT: f32 = 0.001;
/// Most bars that may be taken over at once.
const BARS_MAX: usize = 512;
/// Longest line that is taken over.
const LINE_MAX: usize = 4_000;

pub fn routes() -> Router<Arc<State>> {
    Router::new().route("/takes/written", post(written)).route("/takes/accept", post(accept))
}

// ------------------------------------------------------------------ writing out

#[derive(Clone, Deserialize)]
struct Recorded {
    /// As `/takes` answered.
    file: String,
    passage: String,
    part: String,
    /// Bars by index, the second behind the last.
    from: usize,
    to: usize,
    percent: u32,
    /// Where the first of these bars begins in the take, seconds.
    at: f64,
}

async fn written(Has(state): Shared, Json(r): Json<Recorded>) -> Response {
    let done = away(move || match write_out(&state, &r) {
        Ok(v) => Json(v).into_response(),
        Err(r) => r,
    });
    done.await.unwrap_or_else(|r| r)
}

fn no(found: impl Into<String>, right: impl Into<String>) -> Response {
    refusal(StatusCode::UNPROCESSABLE_ENTITY, found, right)
}

fn write_out(state: &State, r: &Recorded) -> Result<Value, Response> {
    if let Some(r) = not_from_25_to_100(r.percent) {
        return Err(r);
    }
    let Ok(_one) = state.taking.try_lock() else { return Err(refusal(StatusCode::CONFLICT, "a take is being written out already", "wait until it is done")) };
    let (folder, text, lesson) = {
        let open = state.open();
        let open = open.as_ref().ok_or_else(no_lesson)?;
        (open.desk.folder.clone(), open.desk.text().clone(), open.desk.lesson.clone())
    };
    let passage = lesson.passages.iter().find(|p| p.id == r.passage).ok_or_else(|| refusal(StatusCode::NOT_FOUND, "there is no such passage", "choose one of the page"))?;
    let part = passage.parts.iter().find(|p| p.name == r.part).ok_or_else(|| refusal(StatusCode::NOT_FOUND, "there is no such part", "choose one of the page"))?;
    let mut wanted = wanted(passage, part, r).map_err(|(found, right)| no(found, right))?;
    // Only what was handed in, by the name that it was given.
    let inside = r.file.strip_prefix("takes/").filter(|n| !n.contains('/'));
    let Some(file) = inside.and_then(|_| folder.open(&r.file).ok()) else { return Err(refusal(StatusCode::NOT_FOUND, "there is no such take", "record it again")) };
    let mut bytes = Vec::new();
    if file.take(UPLOAD_MAX as u64 + 1).read_to_end(&mut bytes).is_err() || bytes.len() > UPLOAD_MAX {
        return Err(no("the take cannot be read, or is larger than 200 MB", "record it again"));
    }
    let end = std::path::Path::new(&r.file).extension().and_then(|e| e.to_str());
    let limits = Limits { max_duration: Seconds(TAKE_MAX_S), max_channels: 2, ..Limits::default() };
    let audio = wave::decode(&bytes, end, &limits).map_err(|e| no(format!("{}: {e}", r.file), format!("hand in a take of at most {:.0} minutes", TAKE_MAX_S / 60.0)))?;
    if audio.peak() < SILENT {
        return Err(no("the take is silent", "look whether the right input is chosen, its lead is in and its level is up"));
    }
    if !(-1.0..audio.duration().0).contains(&r.at) {
        return Err(no("the bars begin outside the take", "record it again"));
    }
    wanted.beats.iter_mut().for_each(|b| *b += r.at);
    let tell = |part: f64, what: &str| state.tell("taking", &json!({ "part": part, "what": what }));
    let played = match state.services.take(&audio, &wanted, &tell) {
        Ok(p) => p,
        Err(Without::NotAvailable(why)) => return Err(refusal(StatusCode::NOT_IMPLEMENTED, why, "")),
        Err(Without::Failed(why)) => return Err(no(why, "play it again, clean and close to the microphone")),
    };
    Ok(proposal(&text, passage, part, &wanted, played))
}

/// What the service is told of the bars: beats from the first one's beginning, in seconds at the tempo that was played to. A pickup stays as it is.
fn wanted(passage: &Passage, part: &Part, r: &Recorded) -> Result<Playing, (String, String)> {
    let no = |found: &str, right: &str| Err((found.to_string(), right.to_string()));
    let (Kind::Guitar, Some(neck)) = (part.kind, &part.neck) else { return no("only guitars are written out from a take", "type this part, or choose a guitar's") };
    let bars = passage.bars.get(r.from..r.to.min(passage.bars.len())).unwrap_or_default();
    let first = bars.iter().position(|b| b.length == b.meter.length()).unwrap_or(bars.len());
    let Some(one) = bars.get(first) else { return no("there are no whole bars among these", "choose the bars to play in") };
    if bars[first..].iter().any(|b| b.meter != one.meter || b.length != one.length) {
        return no("these bars have several meters", "play in bars of one meter at a time");
    }
    let starts = passage.bar_starts();
    let slower = 100.0 / f64::from(r.percent);
    let from = r.from + first;
    let mut beats = Vec::new();
    for i in from..from + bars.len() - first {
        let beat = (starts[i + 1] - starts[i]) / f64::from(one.meter.beats());
        beats.extend((0..one.meter.beats()).map(|k| (starts[i] + beat * f64::from(k) - starts[r.from]) * slower));
    }
    beats.push((starts[from + bars.len() - first] - starts[r.from]) * slower);
    Ok(Playing { instrument: neck.clone(), beats, meter: one.meter, swing: one.swing, first: from, bars: bars.len() - first })
}

/// The take in the part's own letters and slots, beside what stands there; and how it would look.
fn proposal(text: &str, passage: &Passage, part: &Part, wanted: &Playing, played: Played) -> Value {
    let (grips, renamed) = lettered(part, &played.grips);
    let mut remarks = played.remarks;
    let mut bars = Vec::new();
    let mut taken = Vec::new();
    for (k, p) in played.bars.iter().take(wanted.bars).enumerate() {
        let index = wanted.first + k;
        let (Some(bar), Some(own)) = (passage.bars.get(index), part.bars.get(index)) else { break };
        let now = lines::written(text, own).unwrap_or("").split_whitespace().collect::<Vec<_>>().join(" ");
        let line = reslotted(&renamed_line(&p.line, &renamed), wanted.meter.beats(), own.slots);
        if line.is_none() {
            remarks.push(format!("bar {} is divided more finely than its {} slots can say: give it slots=16 in the text, and play it in again", bar.number, own.slots));
        }
        if let Some(l) = &line {
            taken.push(Bar { bar: bar.number, line: l.clone(), guess: p.doubtful });
        }
        bars.push(json!({ "bar": bar.number, "now": now, "line": line, "guess": p.doubtful }));
    }
    let grips: Vec<(String, String)> = grips.into_iter().map(|(l, f)| (l.to_string(), f)).collect();
    let drawn = as_printed(part, passage.bars.get(wanted.first).map_or(100.0, |b| b.tempo_bpm), wanted, &grips, &taken);
    json!({ "grips": grips, "bars": bars, "remarks": remarks, "drawn": drawn })
}

/// These bars alone, as tab.
fn as_printed(part: &Part, tempo_bpm: f64, wanted: &Playing, grips: &[(String, String)], bars: &[Bar]) -> String {
    let own = part.grips.iter().map(|g| (g.letter.to_string(), g.grip.to_string())).filter(|(l, _)| grips.iter().all(|(o, _)| o != l));
    let grips: String = own.chain(grips.iter().cloned()).map(|(l, f)| format!("grip \"{l}\" \"{f}\"\n")).collect();
    // Nothing is there to ring into the first of them.
    let shown = |(k, b): (usize, &Bar)| if k == 0 { silent_start(&b.line) } else { b.line.clone() };
    let lines: String = bars.iter().enumerate().map(shown).map(|l| format!("bar {} slots={}\n", lesson::quoted(&l), lines::cells(&l).iter().map(|c| c.width).sum::<u32>())).collect();
    let text = format!("lesson \"t\" {{ passage \"t\" {{ meter \"{}\"\ntempo {tempo_bpm}\npart \"t\" instrument=\"guitar\" strings={} {{\n{grips}{lines}}} }} }}", wanted.meter, wanted.instrument.strings());
    let mut lesson = lesson::read(&text).lesson;
    let Some(passage) = lesson.passages.first_mut() else { return String::new() };
    for (bar, taken) in passage.bars.iter_mut().zip(bars) {
        bar.number = taken.bar;
    }
    let options = engrave::SystemOptions { width_pt: 560.0, part_names: false, ..engrave::SystemOptions::default() };
    let frames = engrave::systems(passage, Some(&[]), &options);
    frames.iter().enumerate().map(|(k, f)| drawing(f, &format!("taken-{k}")).into_string()).collect()
}

/// The take's grips under letters of the part: its own where it has the same grip, else free ones. And what each letter became.
fn lettered(part: &Part, grips: &[(char, String)]) -> (Vec<(char, String)>, BTreeMap<char, char>) {
    let mut used: Vec<char> = part.grips.iter().map(|g| g.letter).collect();
    let mut out = Vec::new();
    let mut renamed = BTreeMap::new();
    for (letter, frets) in grips {
        let same = Grip::parse(frets).ok().and_then(|g| part.grips.iter().find(|o| o.grip == g));
        let to = match same {
            Some(own) => own.letter,
            None => match GRIP_LETTERS.chars().find(|c| !used.contains(c)) {
                Some(free) => {
                    used.push(free);
                    free
                }
                // All letters are taken: the tokens say so when they are put in.
                None => *letter,
            },
        };
        renamed.insert(*letter, to);
        out.push((to, frets.clone()));
    }
    (out, renamed)
}

/// A line with its grips' letters exchanged. In a token a letter that is no technique (those are capitals) and no `x` is a grip.
fn renamed_line(line: &str, renamed: &BTreeMap<char, char>) -> String {
    line.chars().map(|c| renamed.get(&c).copied().unwrap_or(c)).collect()
}

// ------------------------------------------------------------------ a line in other slots

/// A line of a bar of so many beats, said in `slots` slots; `None` where they cannot say it.
fn reslotted(line: &str, beats: u32, slots: u32) -> Option<String> {
    let cells = lines::cells(line);
    let have: u32 = cells.iter().map(|c| c.width).sum();
    if have == slots {
        return Some(cells.iter().map(|c| c.token.as_str()).collect::<Vec<_>>().join(" "));
    }
    let groups = if have.is_multiple_of(beats) && slots.is_multiple_of(beats) { beats } else { 1 };
    let (from, to) = (have / groups, slots / groups);
    let mut out = Vec::new();
    for g in 0..groups {
        let inside: Vec<Cell> = cells.iter().filter(|c| (c.slot - 1) / from == g).cloned().collect();
        if inside.iter().map(|c| c.width).sum::<u32>() != from {
            return None;
        }
        out.extend(group(&inside, from, to)?);
    }
    Some(out.join(" "))
}

/// Tokens that fill `from` slots, in `to` slots.
fn group(cells: &[Cell], from: u32, to: u32) -> Option<Vec<String>> {
    // What rings on and what stays silent belongs to the token before it.
    let mut merged: Vec<(String, u32)> = Vec::new();
    for c in cells {
        match merged.last_mut() {
            Some((before, width)) if (c.token == "-" && before != "." && !before.starts_with('[')) || (c.token == "." && (before == "." || is_scratch(before))) => *width += c.width,
            _ => merged.push((c.token.clone(), c.width)),
        }
    }
    let mut at = 0;
    let fits = merged.iter().all(|(_, w)| {
        at += w;
        (at * to).is_multiple_of(from)
    });
    if fits {
        let mut out = Vec::new();
        for (token, width) in merged {
            let n = width * to / from;
            match token.strip_prefix('[').and_then(|t| t.rsplit_once("]=")) {
                Some((inside, _)) => out.push(format!("[{inside}]={n}")),
                None => {
                    let goes_on = if token == "." || is_scratch(&token) { "." } else { "-" };
                    out.push(token);
                    out.extend((1..n).map(|_| goes_on.to_string()));
                }
            }
        }
        return Some(out);
    }
    // By halves, so that a bracket is as short as it can be.
    if from.is_multiple_of(2) && to.is_multiple_of(2) {
        let half = from / 2;
        let first = cells[0].slot;
        let (a, b): (Vec<Cell>, Vec<Cell>) = cells.iter().cloned().partition(|c| c.slot - first < half);
        if a.iter().map(|c| c.width).sum::<u32>() == half {
            let mut out = group(&a, half, to / 2)?;
            out.extend(group(&b, half, to / 2)?);
            return Some(out);
        }
    }
    if cells.iter().any(|c| c.token.starts_with('[')) || cells.len() < 2 {
        return None;
    }
    let inside: Vec<&str> = cells.iter().map(|c| c.token.as_str()).collect();
    Some(vec![format!("[{}]={to}", inside.join(" "))])
}

/// A stroke without pitch, which ends by itself.
fn is_scratch(token: &str) -> bool {
    let plain = token.trim_start_matches(['>', '(', 'D', 'U']).trim_end_matches(')');
    plain.starts_with('x') && !plain.contains(':')
}

// ------------------------------------------------------------------ taking over

#[derive(Clone, Deserialize)]
struct Bar {
    /// As played, from 1.
    bar: u32,
    line: String,
    #[serde(default)]
    guess: bool,
}

#[derive(Clone, Deserialize)]
struct Taking {
    passage: String,
    part: String,
    /// Letters and frets.
    grips: Vec<(String, String)>,
    bars: Vec<Bar>,
}

async fn accept(Has(state): Shared, headers: HeaderMap, Json(t): Json<Taking>) -> Response {
    let by = window(&headers);
    at_desk(state, move |state, open| {
        let text = open.desk.text().clone();
        let (new, said) = match put_in(&text, &open.desk.lesson, &t) {
            Ok(done) => done,
            Err(e) => return no(e.found, e.right),
        };
        let Some(change) = splice_between(&text, &new) else { return no("this is what the part plays already", "") };
        match open.desk.change_if_sound(vec![change], &said) {
            Ok(()) => {}
            Err(Refused::Faulty(found, right)) => return no(found, right),
            Err(_) => return refusal(StatusCode::CONFLICT, "the text changed meanwhile", "do it again"),
        }
        told(state, &open.update(&by))
    })
    .await
}

fn refused(found: impl Into<String>, right: impl Into<String>) -> EditError {
    EditError { found: found.into(), right: right.into(), span: Span::default(), problems: vec![], outcome: String::new() }
}

/// The text with these bars in it, and what is said of it for undo. Remarks, spacing and all other bars stay.
fn put_in(text: &str, lesson: &Lesson, t: &Taking) -> Result<(String, String), EditError> {
    if t.bars.is_empty() || t.bars.len() > BARS_MAX || t.bars.iter().any(|b| b.line.len() > LINE_MAX || b.line.chars().any(char::is_control)) {
        return Err(refused("these are no bars to take over", "choose bars of the take"));
    }
    let passage = lesson.passages.iter().find(|p| p.id == t.passage).ok_or_else(|| refused("there is no such passage", "play it in again"))?;
    let part = passage.parts.iter().find(|p| p.name == t.part).ok_or_else(|| refused("there is no such part", "play it in again"))?;
    let mut text = text.to_string();
    let mut step = |edit: Edit| -> Result<(), EditError> {
        text = lesson::edit(&text, &edit)?.text;
        Ok(())
    };
    let at = |bar: u32| BarAt { passage: t.passage.clone(), part: t.part.clone(), bar };
    let used = |letter: char| t.bars.iter().any(|b| lines::cells(&b.line).iter().any(|c| c.token.contains(letter)));
    for (letter, frets) in &t.grips {
        let letter = letter.chars().next().filter(|c| letter.len() == 1 && GRIP_LETTERS.contains(*c)).ok_or_else(|| refused(format!("\"{letter}\" is no letter for a grip"), "play it in again"))?;
        let grip = Grip::parse(frets).map_err(|_| refused(format!("\"{frets}\" is no grip"), "play it in again"))?;
        match part.grips.iter().find(|g| g.letter == letter) {
            Some(own) if own.grip == grip => {}
            Some(_) if used(letter) => return Err(refused(format!("grip {letter} is another one by now"), "play it in again")),
            Some(_) => {}
            None if used(letter) => step(Edit::Grip { passage: t.passage.clone(), part: t.part.clone(), letter, frets: Some(grip.to_string()) })?,
            None => {}
        }
    }
    // From the last bar to the first, so that nothing is left ringing on from a bar that has become silent.
    let mut bars: Vec<(&Bar, Rounds)> = Vec::new();
    let index = |b: &Bar| passage.bars.iter().position(|o| o.number == b.bar).filter(|i| part.bars.get(*i).is_some());
    for b in &t.bars {
        let i = index(b).ok_or_else(|| refused(format!("there is no bar {}", b.bar), "play it in again"))?;
        // Rounds of one text, all taken over and all alike, stay one text.
        let own = part.bars[i].span;
        let rounds: Vec<u32> = part.bars.iter().zip(&passage.bars).filter(|(o, _)| o.span == own).map(|(_, p)| p.number).collect();
        let whole = rounds.iter().all(|n| t.bars.iter().any(|o| o.bar == *n && o.line == b.line && o.guess == b.guess));
        if whole && rounds.first() != Some(&b.bar) {
            continue;
        }
        bars.push((b, if whole { Rounds::All } else { Rounds::This }));
    }
    bars.sort_by_key(|(b, _)| std::cmp::Reverse(b.bar));
    for (b, rounds) in &bars {
        let line = silent_start(&b.line);
        step(Edit::Stroke { bar: at(b.bar), row: None, line, rounds: *rounds })?;
        let own = index(b).map(|i| &part.bars[i]);
        let of = || Owner::Bar(at(b.bar));
        if b.guess != own.is_some_and(|o| o.guess) {
            step(Edit::Property { of: of(), key: "sure".into(), value: b.guess.then(|| Set::Text("guess".into())) })?;
        }
        // What was said of the strokes that stood here does not hold for the new ones.
        if own.is_some_and(|o| o.heard.is_some()) {
            step(Edit::Property { of: of(), key: "heard".into(), value: None })?;
        }
    }
    for (b, rounds) in bars.iter().rev().filter(|(b, _)| silent_start(&b.line) != b.line) {
        // Where nothing rings into it, it begins silent.
        let _ = step(Edit::Stroke { bar: at(b.bar), row: None, line: b.line.clone(), rounds: *rounds });
    }
    let (first, last) = (t.bars.iter().map(|b| b.bar).min().unwrap_or(0), t.bars.iter().map(|b| b.bar).max().unwrap_or(0));
    let which = if first == last { format!("bar {first}") } else { format!("bars {first} to {last}") };
    Ok((text, format!("take of {}, {which}", t.part)))
}

/// The line without what comes into it from the bar before: nothing rings on, and its first stroke is struck, not hammered, pulled or slid to.
fn silent_start(line: &str) -> String {
    let (mut rings, mut begun) = (true, false);
    let mut one = |token: &str| -> String {
        rings &= token == "-";
        let first = !begun && token != "-" && token != ".";
        begun |= first;
        match first {
            true => token.split('+').map(struck).collect::<Vec<_>>().join("+"),
            false if rings => ".".into(),
            false => token.into(),
        }
    };
    let tokens = lines::cells(line).into_iter().map(|c| match c.token.strip_prefix('[').and_then(|t| t.rsplit_once(']')) {
        Some((members, slots)) => format!("[{}]{slots}", members.split_whitespace().map(&mut one).collect::<Vec<_>>().join(" ")),
        None => one(&c.token),
    });
    tokens.collect::<Vec<_>>().join(" ")
}

/// A token without a sign that it is joined to the one before.
fn struck(token: &str) -> String {
    let signs = token.find(|c: char| c.is_ascii_digit() || c.is_ascii_lowercase()).unwrap_or(0);
    format!("{}{}", token[..signs].replace(['H', 'P', '/'], ""), &token[signs..])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_said_in_other_slots() {
        for (line, beats, slots, want) in [
            ("a - . . x . a - - - . . a . x a", 4, 16, Some("a - . . x . a - - - . . a . x a")),
            ("a - . . x . a - - - . . a - x a", 4, 8, Some("a . x a - . a [x a]=1")),
            ("a . . . x . . . . . . . a - - -", 4, 4, Some("[a . . .]=1 x . a")),
            ("[a x a]=4 a - - - . . . . x . . .", 4, 8, Some("[a x a]=2 a - . . x .")),
            ("[a x a]=4 a - - - . . . . x . . .", 4, 12, Some("[a x a]=3 a - - . . . x . .")),
            ("a - x . . .", 2, 12, Some("a - - - x . . . . . . .")),
            ("a x [a x a]=2 a - - - . . . . x . . .", 4, 4, None),
            ("a - x .", 4, 32, Some("a - - - - - - - - - - - - - - - x . . . . . . . . . . . . . . .")),
        ] {
            assert_eq!(reslotted(line, beats, slots).as_deref(), want, "{line} in {slots}");
        }
    }

    const TEXT: &str = "// mine\nlesson \"t\" { passage \"p\" { tempo 90; slots 4
  part \"chop\" instrument=\"guitar\" {
    grip \"a\" \"x x 8 8 8 x\" // Eb
    bar \"a . x  a\" // first
    bar \"a - - -\" times=2
    rest
    bar \". . a .\"   // last
  }
} }\n";

    fn taking(grips: &[(&str, &str)], bars: &[(u32, &str)]) -> Taking {
        Taking {
            passage: "p".into(),
            part: "chop".into(),
            grips: grips.iter().map(|(l, f)| (l.to_string(), f.to_string())).collect(),
            bars: bars.iter().map(|(bar, line)| Bar { bar: *bar, line: (*line).into(), guess: false }).collect(),
        }
    }

    #[test]
    fn bars_go_in_and_all_else_stays() {
        let put = |t: &Taking| {
            let (text, said) = put_in(TEXT, &lesson::read(TEXT).lesson, t)?;
            assert!(lesson::read(&text).is_sound(), "{said}: {text}");
            Ok::<_, EditError>(text)
        };
        assert_eq!(put(&taking(&[], &[(1, "x a . .")])).unwrap(), TEXT.replace("a . x  a", "x a . ."));
        // One of two rounds is parted from the other, both alike stay one text.
        let parted = put(&taking(&[], &[(3, "5:3 - . .")])).unwrap();
        assert!(parted.contains("bar \"a - - -\"\n    bar \"5:3 - . .\""), "{parted}");
        assert_eq!(put(&taking(&[], &[(2, "x . . ."), (3, "x . . .")])).unwrap(), TEXT.replace("a - - -", "x . . ."));
        // A rest becomes a bar, a new grip is added under the others.
        let with = put(&taking(&[("a", "x x 8 8 8 x"), ("b", "x x 6 7 6 x")], &[(4, "b - a -")])).unwrap();
        assert_eq!(with, TEXT.replace("rest", "bar \"b - a -\"").replace("// Eb\n", "// Eb\n    grip \"b\" \"x x 6 7 6 x\"\n"));
        // What rings over a bar line does so where it can.
        let over = put(&taking(&[], &[(1, "a - - -"), (2, "- - x ."), (3, "- x . .")])).unwrap();
        // A stroke that is joined to the bar before is struck where nothing rings there.
        let joined = put(&taking(&[], &[(1, "H5:7 . . .")])).unwrap();
        assert_eq!(joined, TEXT.replace("a . x  a", "5:7 . . ."));
        for (line, want) in [("- - >H4:5+/3:7 H4:7", ". . >4:5+3:7 H4:7"), (". P4:3 -", ". 4:3 -"), ("[H4:5 4:7]=2 .", "[4:5 4:7]=2 ."), ("- [- H5:7]=1 - [- 3:0]=1", ". [. 5:7]=1 - [- 3:0]=1"), ("4:6/7 - H4:9 .", "4:6/7 - H4:9 .")] {
            assert_eq!(silent_start(line), want);
        }
        assert!(over.contains("bar \"a - - -\" // first\n    bar \"- - x .\"\n    bar \". x . .\""), "{over}");
    }

    #[test]
    fn what_does_not_fit_is_refused_with_words() {
        for (t, want) in [
            (taking(&[("a", "x x 5 5 5 x")], &[(1, "a . . .")]), "another one by now"),
            (taking(&[], &[(1, "a . .")]), "slot"),
            (taking(&[], &[(9, "a . . .")]), "no bar 9"),
            (taking(&[], &[(1, "q . . .")]), "q"),
            (taking(&[], &[(1, "a . . .\" }")]), ""),
            (taking(&[("ab", "x x 5 5 5 x")], &[(1, "a . . .")]), "letter"),
            (taking(&[("c", "<b>")], &[(1, "c . . .")]), "no grip"),
            (taking(&[], &[]), "no bars"),
        ] {
            let why = put_in(TEXT, &lesson::read(TEXT).lesson, &t).map(|(text, _)| text).expect_err("refused").to_string();
            assert!(why.contains(want), "{why}");
        }
    }

    #[test]
    fn grips_keep_the_parts_letters() {
        let lesson = lesson::read(TEXT).lesson;
        let part = &lesson.passages[0].parts[0];
        let (grips, renamed) = lettered(part, &[('a', "x x 5 5 5 x".into()), ('b', "x x 8 8 8 x".into())]);
        assert_eq!(grips, [('b', "x x 5 5 5 x".to_string()), ('a', "x x 8 8 8 x".to_string())]);
        assert_eq!(renamed_line("a43 x [b x a]=2 H3:5 xb >a'", &renamed), "b43 x [a x b]=2 H3:5 xa >b'");
    }

    #[test]
    fn beats_of_the_bars_are_those_of_the_tempo() {
        let text = "lesson \"t\" { passage \"p\" { tempo 120; slots 4; part \"chop\" instrument=\"guitar\" { pickup \"5:3\"; bar \"5:3 . . .\" times=3 }; part \"floor\" instrument=\"bass\" { pickup \".\"; rest times=3 } } }";
        let lesson = lesson::read(text).lesson;
        let p = &lesson.passages[0];
        let r = Recorded { file: String::new(), passage: "p".into(), part: "chop".into(), from: 0, to: 3, percent: 50, at: 0.0 };
        let w = wanted(p, &p.parts[0], &r).unwrap();
        // The pickup's beat takes a second at half the tempo.
        assert_eq!((w.first, w.bars, w.beats.len()), (1, 2, 9));
        assert!(w.beats.iter().enumerate().all(|(i, b)| (b - 1.0 - i as f64).abs() < 1e-9), "{:?}", w.beats);
        assert!(wanted(p, &p.parts[1], &r).is_err());
        assert!(wanted(p, &p.parts[0], &Recorded { from: 4, to: 9, ..r.clone() }).is_err());
    }
}
