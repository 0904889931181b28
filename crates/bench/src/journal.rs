//! The steps of a lesson's text, a line of JSON each, so that undo survives a restart and what was typed survives a crash.
//!
//! `{"format":1,"base":TEXT}` begins a journal; then `{"do":[[START,END,WITH],…],"said":WORDS,"join":BOOL}` (bytes of the text before),
//! `{"undo":N}`, `{"redo":N}`, and `{"saved":true}` where the lesson file held the text as it was there. A line torn off at the end is left out.

use lesson::{Change, Span, splice};
use serde_json::{Value, json};

/// A change of the text that can be taken back.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    pub forth: Vec<Change>,
    pub back: Vec<Change>,
    /// What it was, for the page: "typed", "chop, bar 2".
    pub said: String,
    /// Taken back together with the step before.
    pub joined: bool,
}

/// A journal read again.
#[derive(Clone, Debug, PartialEq)]
pub struct Replayed {
    pub text: String,
    /// What the lesson file held when it was last saved.
    pub saved: String,
    pub done: Vec<Step>,
    /// The next to be done again last.
    pub undone: Vec<Step>,
    /// Lines read.
    pub lines: usize,
}

pub fn base(text: &str) -> String {
    line(json!({ "format": 1, "base": text }))
}

pub fn done(step: &Step) -> String {
    let list: Vec<Value> = step.forth.iter().map(|c| json!([c.at.start, c.at.end, c.with])).collect();
    line(json!({ "do": list, "said": step.said, "join": step.joined }))
}

pub fn undone(count: usize) -> String {
    line(json!({ "undo": count }))
}

pub fn redone(count: usize) -> String {
    line(json!({ "redo": count }))
}

pub fn saved() -> String {
    line(json!({ "saved": true }))
}

fn line(value: Value) -> String {
    format!("{value}\n")
}

/// The changes that lead back from what `changes` make of `text`.
pub fn inverse(text: &str, changes: &[Change]) -> Vec<Change> {
    let (mut grown, mut shrunk) = (0, 0);
    changes
        .iter()
        .map(|c| {
            let start = c.at.start + grown - shrunk;
            grown += c.with.len();
            shrunk += c.at.end - c.at.start;
            Change { at: Span { start, end: start + c.with.len() }, with: text[c.at.start..c.at.end].to_string() }
        })
        .collect()
}

/// Plays a journal through; `None` when its first line is no base. What does not fit ends it: the steps before stay good.
pub fn replay(journal: &str) -> Option<Replayed> {
    // A line without its end was not written whole.
    let whole = &journal[..journal.rfind('\n').map_or(0, |i| i + 1)];
    let mut lines = whole.lines();
    let first: Value = serde_json::from_str(lines.next()?).ok()?;
    if first.get("format").and_then(Value::as_u64) != Some(1) {
        return None;
    }
    let text = first.get("base")?.as_str()?.to_string();
    let mut r = Replayed { saved: text.clone(), text, done: vec![], undone: vec![], lines: 1 };
    for l in lines {
        let Ok(value) = serde_json::from_str::<Value>(l) else { break };
        if take(&mut r, &value).is_none() {
            break;
        }
        r.lines += 1;
    }
    Some(r)
}

fn take(r: &mut Replayed, value: &Value) -> Option<()> {
    let count = |key: &str| value.get(key).and_then(Value::as_u64).map(|n| n as usize);
    if let Some(list) = value.get("do") {
        let forth = list
            .as_array()?
            .iter()
            .map(|c| Some(Change { at: Span { start: c.get(0)?.as_u64()? as usize, end: c.get(1)?.as_u64()? as usize }, with: c.get(2)?.as_str()?.to_string() }))
            .collect::<Option<Vec<Change>>>()?;
        let text = splice(&r.text, &forth)?;
        let back = inverse(&r.text, &forth);
        r.text = text;
        r.undone.clear();
        let said = value.get("said").and_then(Value::as_str).unwrap_or_default().to_string();
        r.done.push(Step { forth, back, said, joined: value.get("join").and_then(Value::as_bool).unwrap_or(false) });
    } else if let Some(n) = count("undo") {
        for _ in 0..n {
            let step = r.done.pop()?;
            r.text = splice(&r.text, &step.back)?;
            r.undone.push(step);
        }
    } else if let Some(n) = count("redo") {
        for _ in 0..n {
            let step = r.undone.pop()?;
            r.text = splice(&r.text, &step.forth)?;
            r.done.push(step);
        }
    } else if value.get("saved").is_some() {
        r.saved.clone_from(&r.text);
    } else {
        return None;
    }
    Some(())
}

/// A shorter journal of the same text with its last `keep` steps.
pub fn shortened(r: &Replayed, keep: usize) -> String {
    let kept = &r.done[r.done.len().saturating_sub(keep)..];
    let mut text = r.text.clone();
    for step in kept.iter().rev() {
        match splice(&text, &step.back) {
            Some(t) => text = t,
            None => return base(&r.text),
        }
    }
    let mut out = base(&text);
    out.extend(kept.iter().map(done));
    if r.saved == r.text {
        out.push_str(&saved());
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(text: &str, start: usize, end: usize, with: &str) -> Step {
        let forth = vec![Change { at: Span { start, end }, with: with.into() }];
        Step { back: inverse(text, &forth), forth, said: "typed".into(), joined: false }
    }

    #[test]
    fn a_journal_plays_through_and_forgets_a_torn_line() {
        let (a, b) = (step("ab", 1, 2, "\"\n♭"), step("a\"\n♭", 0, 1, ""));
        let mut j = base("ab") + &done(&a) + &saved() + &done(&b) + &undone(2) + &redone(1);
        let r = replay(&j).unwrap();
        assert_eq!((r.text.as_str(), r.saved.as_str()), ("a\"\n♭", "a\"\n♭"));
        assert_eq!((r.done.clone(), r.undone.clone()), (vec![a], vec![b]));
        let whole = j.len();
        j.push_str(&done(&step("a\"\n♭", 0, 0, "xyz")));
        for end in whole..j.len() {
            if j.is_char_boundary(end) {
                assert_eq!(replay(&j[..end]).unwrap().text, "a\"\n♭", "torn at {end}");
            }
        }
        assert_eq!(replay(&j).unwrap().text, "xyza\"\n♭");
        assert_eq!(replay(""), None);
        assert_eq!(replay("{\"format\":2,\"base\":\"\"}\n"), None);
    }

    #[test]
    fn a_shortened_journal_keeps_text_and_last_steps() {
        let mut text = String::new();
        let mut j = base("");
        for i in 0..50 {
            let s = step(&text, text.len(), text.len(), &i.to_string());
            text = splice(&text, &s.forth).unwrap();
            j.push_str(&done(&s));
        }
        j.push_str(&saved());
        let long = replay(&j).unwrap();
        let short = replay(&shortened(&long, 10)).unwrap();
        assert_eq!((&short.text, &short.saved, short.done.len()), (&text, &text, 10));
        assert_eq!(short.done[..], long.done[40..]);
    }
}
