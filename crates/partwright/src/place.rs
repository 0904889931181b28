//! `place`: where notes or a chord lie on the neck.

use crate::args::Place;
use crate::failure::{Failure, print, print_json};
use crate::json_file;
use crate::name::instrument;
use neck::{By, Change, Grip, Hand, PathOptions, Pin, Place as Found, PlaceOptions, Timed, Wanted};
use pitch::{Degree, Midi, Spelled, Symbol};
use serde_json::{Value, json};

pub fn run(a: &Place, json: bool) -> Result<(), Failure> {
    if let Some(path) = &a.sequence {
        return sequence(a, path, json);
    }
    let neck = instrument(&a.neck).map_err(Failure::MaterialSaid)?;
    let wanted = read_wanted(a).map_err(Failure::MaterialSaid)?;
    let frets = match &a.frets {
        None => 1..=neck.top_fret(),
        Some(t) => read_range(t).ok_or_else(|| Failure::Usage(format!("\"{t}\" is no range of frets; write --frets 5-9")))?,
    };
    if let Some(s) = a.on.iter().flatten().find(|s| !(1..=neck.strings() as u8).contains(*s)) {
        return Err(Failure::Usage(format!("there is no string {s}; this instrument has {} strings, 1 is the highest", neck.strings())));
    }
    let options = PlaceOptions { strings: a.on.clone(), frets, max_results: a.most.into(), inversions: a.inversions, ..PlaceOptions::default() };
    let hand = hand(&a.hand);
    let places: Vec<(Found, Option<Change>)> = if a.up_the_neck {
        neck::along(&wanted, &neck, &hand, &options).into_iter().map(|p| (p, None)).collect()
    } else if let Some(near) = &a.near {
        let from = Grip::parse(near).map_err(Failure::MaterialSaid)?;
        if from.frets.len() != neck.strings() {
            return Err(Failure::MaterialSaid(format!("\"{near}\" is written for {} strings; this instrument has {}", from.frets.len(), neck.strings())));
        }
        let by = if a.near_by == "hand" { By::Hand } else { By::Voices };
        neck::nearest(&from, by, &wanted, &neck, &hand, &options).into_iter().map(|(p, c)| (p, Some(c))).collect()
    } else {
        neck::place(&wanted, &neck, &hand, &options).into_iter().map(|p| (p, None)).collect()
    };
    if json {
        let grips: Vec<Value> = places
            .iter()
            .map(|(p, change)| {
                let mut grip = json!({
                    "frets": p.grip.frets,
                    "fingers": p.fingering.fingers.iter().map(|f| f.map(|f| f.to_char().to_string())).collect::<Vec<_>>(),
                    "barres": p.fingering.barres.iter().map(|b| json!({ "finger": b.finger.to_char().to_string(), "fret": b.fret, "from_string": b.from_string, "to_string": b.to_string })).collect::<Vec<_>>(),
                    "span_mm": p.fingering.span_mm,
                    "cost": p.cost,
                });
                if let Some(c) = change {
                    grip["semitones"] = c.semitones.into();
                    grip["hand_mm"] = c.hand_mm.into();
                    grip["kept"] = c.kept.into();
                }
                grip
            })
            .collect();
        return print_json(&json!({ "schema": "partwright/place/1", "grips": grips }));
    }
    if places.is_empty() {
        return print("no grip within reach holds these notes\n");
    }
    let mut out = String::new();
    for (p, change) in &places {
        out.push_str(&format!("{:<20} fingers {:<14} {:>4.0} mm", p.grip.to_string(), p.fingering.to_string(), p.fingering.span_mm));
        if let Some(c) = change {
            out.push_str(&format!("   voices move {} semitones, the hand {:.0} mm", c.semitones, c.hand_mm));
        }
        out.push('\n');
    }
    print(&out)
}

fn hand(name: &str) -> Hand {
    match name {
        "small" => Hand::small(),
        "large" => Hand::large(),
        _ => Hand::usual(),
    }
}

fn read_range(text: &str) -> Option<std::ops::RangeInclusive<u8>> {
    let (a, b) = text.split_once('-').unwrap_or((text, text));
    let (a, b) = (a.trim().parse().ok()?, b.trim().parse().ok()?);
    (a <= b).then_some(a..=b)
}

fn read_wanted(a: &Place) -> Result<Wanted, String> {
    let words: Vec<&str> = a.notes.iter().flat_map(|n| n.split_whitespace()).collect();
    let notes: Option<Vec<Midi>> = words.iter().map(|w| Spelled::parse(w).and_then(Spelled::midi)).collect();
    if let Some(notes) = notes.filter(|n| !n.is_empty()) {
        if notes.len() > 8 {
            return Err(format!("{} notes are more than any instrument here has strings", notes.len()));
        }
        return Ok(Wanted::Pitches(notes));
    }
    let [word] = words.as_slice() else {
        return Err(format!("\"{}\" is neither notes with their octaves (C4 E4 G4) nor one chord sign (Cm7)", words.join(" ")));
    };
    let symbol = Symbol::parse(word)?;
    let root = symbol.root.class();
    let read = |list: &[String]| -> Result<Vec<_>, String> {
        list.iter()
            .map(|d| Degree::parse(d).map(|d| d.class(root)).ok_or_else(|| format!("\"{d}\" is no degree; write R, b3, 5, b7, 9 …")))
            .collect()
    };
    let (may_omit, must) = (read(&a.may_omit)?, read(&a.must)?);
    let mut classes: Vec<_> = symbol.tones.iter().map(|d| d.class(root)).collect();
    classes.dedup();
    Ok(Wanted::Classes { classes, bass: symbol.bass.map(|b| b.class()), must, may_omit })
}

fn sequence(a: &Place, path: &std::path::Path, json: bool) -> Result<(), Failure> {
    let shown = path.display().to_string();
    let fault = |t: String| Failure::MaterialSaid(format!("{shown}: {t}"));
    let value = json_file::read(path)?;
    let mut want = a.neck.clone();
    match value.get("tuning") {
        None | Some(Value::Null) => {}
        Some(Value::String(t)) => want.tuning.clone_from(t),
        Some(Value::Array(list)) => {
            let open: Option<Vec<Midi>> = list.iter().map(|m| m.as_u64().filter(|m| *m < 128).map(|m| Midi(m as u8))).collect();
            let open = open.ok_or_else(|| fault("\"tuning\" is a name, notes low to high, or their MIDI numbers".into()))?;
            // Spelled so that the one reader of tunings checks it.
            let key = pitch::Key::parse("C").expect("a key");
            want.tuning = open.iter().map(|m| key.spell(*m).to_string()).collect::<Vec<_>>().join(" ");
        }
        Some(_) => return Err(fault("\"tuning\" is a name or notes low to high".into())),
    }
    match value.get("capo") {
        None | Some(Value::Null) => {}
        Some(c) => want.capo = c.as_u64().filter(|c| *c <= 12).ok_or_else(|| fault("\"capo\" is a fret, 0 to 12".into()))? as u8,
    }
    let neck = instrument(&want).map_err(&fault)?;
    let list = value.get("notes").and_then(Value::as_array).ok_or_else(|| fault("\"notes\" is a list of {\"onset\", \"duration\", \"midi\"}".into()))?;
    let mut notes = Vec::with_capacity(list.len());
    for (i, n) in list.iter().enumerate() {
        let number = |key: &str| n.get(key).and_then(Value::as_f64).filter(|v| v.is_finite());
        let (Some(onset_s), Some(duration_s), Some(midi)) = (number("onset"), number("duration"), number("midi")) else {
            return Err(fault(format!("note {} lacks a number \"onset\", \"duration\" or \"midi\"", i + 1)));
        };
        if !(0.0..=127.0).contains(&midi) || duration_s < 0.0 {
            return Err(fault(format!("note {} has midi {midi} and duration {duration_s}; midi goes from 0 to 127, durations are not negative", i + 1)));
        }
        notes.push(Timed { onset_s, duration_s, midi: Midi(midi.round() as u8) });
    }
    let (pins, joined) = kept(list).map_err(&fault)?;
    let options = PathOptions { pins: &pins, joined: &joined, around: a.around, strings: &[] };
    let hand = hand(&a.hand);
    let ways = if a.ways {
        neck::alternatives(&notes, &neck, &hand, &options)
    } else {
        neck::path_with(&notes, &neck, &hand, &options).map(|places| vec![places])
    };
    let ways = ways.map_err(|e| fault(e.to_string()))?;
    if json {
        let shown = |places: &[(u8, u8)]| -> Vec<Value> {
            list.iter()
                .zip(places)
                .map(|(n, (string, fret))| {
                    let mut o = n.as_object().cloned().unwrap_or_default();
                    o.insert("string".into(), (*string).into());
                    o.insert("fret".into(), (*fret).into());
                    Value::Object(o)
                })
                .collect()
        };
        let mut out = json!({ "schema": "partwright/place/1", "notes": shown(&ways[0]) });
        if a.ways {
            out["ways"] = ways[1..].iter().map(|w| Value::from(shown(w))).collect();
        }
        return print_json(&out);
    }
    let mut out = String::new();
    for (k, places) in ways.iter().enumerate() {
        if k > 0 {
            out.push_str(&format!("\nanother way, {k}\n"));
        }
        for (n, (s, f)) in notes.iter().zip(places) {
            out.push_str(&format!("{:>9.3} s  midi {:<3}  {s}:{f}\n", n.onset_s, n.midi.0));
        }
    }
    print(&out)
}

/// What the notes are to keep to: `"pin"` is a string, `"joined"` says that the note is slid, hammered or pulled to.
fn kept(list: &[Value]) -> Result<(Vec<Pin>, Vec<usize>), String> {
    let (mut pins, mut joined) = (Vec::new(), Vec::new());
    for (note, n) in list.iter().enumerate() {
        match n.get("pin") {
            None | Some(Value::Null) => {}
            Some(p) => {
                let string = p.as_u64().and_then(|p| u8::try_from(p).ok()).ok_or_else(|| format!("note {} has a \"pin\" that is no string; write 1 for the highest", note + 1))?;
                pins.push(Pin { note, string });
            }
        }
        match n.get("joined") {
            None | Some(Value::Null | Value::Bool(false)) => {}
            Some(Value::Bool(true)) => joined.push(note),
            Some(_) => return Err(format!("note {} has a \"joined\" that is neither true nor false", note + 1)),
        }
    }
    Ok((pins, joined))
}
