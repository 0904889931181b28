//! The steps of a lesson's text, a line of sealed JSON each, so that undo survives a restart and what was typed survives a crash.
//!
//! `{"format":1,"base":TEXT}` begins a journal; then `{"do":[[START,END,WITH],…],"said":WORDS,"join":BOOL}` (bytes of the text before),
//! `{"undo":N}`, `{"redo":N}`, and `{"saved":true}` where the lesson file held the text as it was there. A line torn off at the end is left out. Lines
//! without a seal, as earlier programs wrote them, are read too.

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
    /// Lines and bytes read.
    pub lines: usize,
    pub bytes: usize,
    /// The file's text is one that the steps passed through since it was last said to be saved: we wrote it.
    pub passed_disk: bool,
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
    keep::seal(&value.to_string()) + "\n"
}

fn unsealed(line: &str) -> Option<Value> {
    let text = if line.starts_with('{') { line } else { keep::unseal(line)? };
    serde_json::from_str(text).ok()
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

/// Plays a journal through, beside the text that the file holds now; `None` when its first line is no base. What does not fit ends it: the steps before stay good.
pub fn replay(journal: &str, disk: &str) -> Option<Replayed> {
    // A line without its end was not written whole.
    let mut lines = journal.split_inclusive('\n').filter_map(|l| l.strip_suffix('\n'));
    let head = lines.next()?;
    let first = unsealed(head)?;
    if first.get("format").and_then(Value::as_u64) != Some(1) {
        return None;
    }
    let text = first.get("base")?.as_str()?.to_string();
    let mut r = Replayed { saved: text.clone(), passed_disk: text == disk, text, done: vec![], undone: vec![], lines: 1, bytes: head.len() + 1 };
    for l in lines {
        let Some(value) = unsealed(l) else { break };
        if take(&mut r, &value).is_none() {
            break;
        }
        r.passed_disk = r.text == disk || (r.passed_disk && value.get("saved").is_none());
        r.lines += 1;
        r.bytes += l.len() + 1;
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

/// A journal anew: of a text, the steps that led to it (no more than [`BYTES_MAX`] allows) and those that were taken back, with the place where the file held it. The steps
/// that no longer fit are taken off `done`.
pub fn whole(text: &str, disk: &str, done: &mut Vec<Step>, undone: &[Step]) -> String {
    let (mut first, mut bytes, mut base_text) = (done.len(), 0, text.to_string());
    while first > 0 && done.len() - first < STEPS_KEPT && bytes < BYTES_MAX / 2 {
        let Some(before) = splice(&base_text, &done[first - 1].back) else { break };
        bytes += done[first - 1].forth.iter().map(|c| c.with.len()).sum::<usize>();
        base_text = before;
        first -= 1;
    }
    done.drain(..first);
    let mut out = base(&base_text);
    let mut now = base_text;
    let mark = |out: &mut String, now: &str| if now == disk { out.push_str(&saved()) };
    mark(&mut out, &now);
    for step in &*done {
        out.push_str(&self::done(step));
        now = splice(&now, &step.forth).unwrap_or(now);
        mark(&mut out, &now);
    }
    let back: Vec<&Step> = undone.iter().rev().take(STEPS_KEPT).collect();
    out.extend(back.iter().map(|s| self::done(s)));
    if !back.is_empty() {
        out.push_str(&self::undone(back.len()));
        mark(&mut out, text);
    }
    out
}

/// Steps kept when a journal is written anew.
pub const STEPS_KEPT: usize = 1_000;
/// Largest journal that is not written anew, in bytes.
pub const BYTES_MAX: usize = 32 << 20;

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
        let r = replay(&j, "ab").unwrap();
        assert_eq!((r.text.as_str(), r.saved.as_str()), ("a\"\n♭", "a\"\n♭"));
        assert_eq!((r.done.clone(), r.undone.clone()), (vec![a], vec![b]));
        let whole = j.len();
        j.push_str(&done(&step("a\"\n♭", 0, 0, "xyz")));
        for end in whole..j.len() {
            if j.is_char_boundary(end) {
                assert_eq!(replay(&j[..end], "").unwrap().text, "a\"\n♭", "torn at {end}");
            }
        }
        assert_eq!(replay(&j, "").unwrap().text, "xyza\"\n♭");
        assert_eq!(replay("", ""), None);
        assert_eq!(replay("{\"format\":2,\"base\":\"\"}\n", ""), None);
        // As earlier programs wrote it.
        assert_eq!(replay("{\"format\":1,\"base\":\"ab\"}\n{\"do\":[[0,1,\"c\"]],\"said\":\"typed\",\"join\":false}\n", "").unwrap().text, "cb");
    }

    #[test]
    fn a_flipped_bit_ends_a_journal_where_it_stands() {
        let mut j = base("ab");
        let mut texts = vec!["ab".to_string()];
        for i in 0..6 {
            let now = texts.last().unwrap().clone();
            let s = step(&now, now.len(), now.len(), &format!("{i}\n"));
            texts.push(splice(&now, &s.forth).unwrap());
            j.push_str(&done(&s));
        }
        let mut bytes = j.into_bytes();
        for bit in 0..bytes.len() * 8 {
            bytes[bit / 8] ^= 1 << (bit % 8);
            if let Ok(j) = std::str::from_utf8(&bytes) {
                let lines = bytes[..bit / 8].iter().filter(|b| **b == b'\n').count();
                let found = replay(j, "");
                assert_eq!(found.as_ref().map(|r| r.text.as_str()), lines.checked_sub(1).map(|n| texts[n].as_str()), "bit {bit}");
            }
            bytes[bit / 8] ^= 1 << (bit % 8);
        }
    }

    #[test]
    fn a_journal_anew_keeps_text_steps_and_what_was_saved() {
        let (mut text, mut steps, mut texts) = (String::new(), vec![], vec![String::new()]);
        for i in 0..50 {
            let s = step(&text, text.len(), text.len(), &i.to_string());
            text = splice(&text, &s.forth).unwrap();
            texts.push(text.clone());
            steps.push(s);
        }
        let (mut now, undone) = (steps[..40].to_vec(), steps[40..].iter().rev().cloned().collect::<Vec<_>>());
        let j = whole(&texts[40], &texts[30], &mut now, &undone);
        let r = replay(&j, &texts[30]).unwrap();
        assert_eq!((&r.text, &r.saved, r.bytes, &r.done, &r.undone), (&texts[40], &texts[30], j.len(), &now, &undone));
        assert!(r.passed_disk && now.len() == 40);
        // Saved words that the steps do not know: what is here stands against them.
        let r = replay(&whole(&texts[40], "other", &mut now, &[]), "other").unwrap();
        assert!(!r.passed_disk && r.saved != "other");
        let mut many: Vec<Step> = (0..3000).map(|i| step(if i % 2 == 0 { "a" } else { "b" }, 0, 1, if i % 2 == 0 { "b" } else { "a" })).collect();
        let r = replay(&whole("a", "a", &mut many, &[]), "a").unwrap();
        assert_eq!((r.text.as_str(), r.done.len(), many.len()), ("a", STEPS_KEPT, STEPS_KEPT));
    }
}
