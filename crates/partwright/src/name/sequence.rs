//! `name --sequence`: the harmony of stretches of time, each in the light of the others.

use super::answer::NameJson;
use super::naming_text;
use crate::args::Name;
use crate::failure::{Failure, print, print_json};
use crate::json_file;
use pitch::{Held, Key, Midi, Stretch, Timing};
use serde_json::{Value, json};
use std::path::Path;

/// Most stretches, and most notes, of one file.
const MOST: usize = 20_000;
/// Most notes in all stretches together: one that sounds in several counts in each.
const TOGETHER_MAX: usize = 2_000_000;

pub fn run(a: &Name, path: &Path, json: bool) -> Result<(), Failure> {
    let shown = path.display().to_string();
    let fault = |t: String| Failure::MaterialSaid(format!("{shown}: {t}"));
    let value = json_file::read(path)?;
    let (notes, stretches) = read(&value).map_err(&fault)?;
    let key = match value.get("key") {
        None | Some(Value::Null) => a.key.as_deref().map(Key::parse).transpose(),
        Some(Value::String(k)) => Key::parse(k).map(Some),
        Some(_) => Err("\"key\" is a text such as \"C minor\"".into()),
    };
    let found = pitch::harmony(&notes, &stretches, key.map_err(&fault)?, Timing::SECONDS);
    if json {
        let list: Vec<Value> = stretches
            .iter()
            .zip(&found)
            .map(|(s, h)| {
                let midi = |list: &[Midi]| list.iter().map(|m| m.0).collect::<Vec<_>>();
                json!({
                    "start": s.from,
                    "end": s.to,
                    "midi": midi(&h.notes),
                    "passing": midi(&h.passing),
                    "names": h.naming.names.iter().map(|n| NameJson::of(n, a.style, &vec![true; h.notes.len()], None)).collect::<Vec<_>>(),
                    "no_name": h.naming.no_name,
                    "remarks": h.naming.remarks,
                })
            })
            .collect();
        return print_json(&json!({ "schema": "partwright/name/1", "stretches": list }));
    }
    let mut out = String::new();
    for (s, h) in stretches.iter().zip(&found) {
        out.push_str(&format!("{:.2} to {:.2}\n{}", s.from, s.to, naming_text(&h.naming, a.style, |_| None)));
    }
    print(&out)
}

fn read(value: &Value) -> Result<(Vec<Held>, Vec<Stretch>), String> {
    let list = |key: &str, right: &str| {
        let list = value.get(key).and_then(Value::as_array).ok_or_else(|| format!("\"{key}\" is a list of {right}"))?;
        if list.len() > MOST { Err(format!("\"{key}\" has {} entries; {MOST} is the most", list.len())) } else { Ok(list) }
    };
    let number = |v: &Value, key: &str| v.get(key).and_then(Value::as_f64).filter(|v| v.is_finite());
    let mut notes = Vec::new();
    for (i, n) in list("notes", "{\"onset\", \"duration\", \"midi\"}")?.iter().enumerate() {
        let (Some(from), Some(duration), Some(midi)) = (number(n, "onset"), number(n, "duration"), number(n, "midi")) else {
            return Err(format!("note {} lacks a number \"onset\", \"duration\" or \"midi\"", i + 1));
        };
        if !(0.0..=127.0).contains(&midi) || duration < 0.0 {
            return Err(format!("note {} has midi {midi} and duration {duration}; midi goes from 0 to 127, durations are not negative", i + 1));
        }
        let bass = n.get("bass").and_then(Value::as_bool).unwrap_or(false);
        notes.push(Held { midi: Midi(midi.round() as u8), from, to: from + duration, bass });
    }
    let mut stretches = Vec::new();
    for (i, s) in list("stretches", "{\"start\", \"end\"}")?.iter().enumerate() {
        let (Some(from), Some(to)) = (number(s, "start"), number(s, "end")) else {
            return Err(format!("stretch {} lacks a number \"start\" or \"end\"", i + 1));
        };
        if to <= from || stretches.last().is_some_and(|l: &Stretch| from < l.from) {
            return Err(format!("stretch {} goes from {from} to {to}; each ends after it begins, and they stand in the order of time", i + 1));
        }
        stretches.push(Stretch { from, to });
    }
    let together: usize = stretches.iter().map(|s| notes.iter().filter(|n| n.from < s.to && n.to > s.from).count()).sum();
    if together > TOGETHER_MAX {
        return Err(format!("{together} notes sound in all stretches together; {TOGETHER_MAX} is the most: name it in several files"));
    }
    Ok((notes, stretches))
}
