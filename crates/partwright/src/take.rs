//! `take`: a clean take of one guitar, written out as a part.

use crate::args::{Neck, Take as Asked};
use crate::audio;
use crate::failure::{Failure, print, print_json};
use crate::hear::progress;
use crate::name::instrument;
use lesson::Meter;
use serde_json::json;
use take::{Settings, TakeError, Taken, Wishes};

const SCHEMA: &str = "partwright/take/1";

pub fn run(a: &Asked, json: bool) -> Result<(), Failure> {
    let neck = Neck { tuning: a.tuning.clone(), capo: a.capo, on_bass: false, strings: a.strings };
    let instrument = instrument(&neck).map_err(Failure::Usage)?;
    let from_s = a.from.as_deref().map(audio::parse_time).transpose().map_err(Failure::Usage)?;
    let meter = a.meter.map(|(count, unit)| Meter { count, unit });
    let settings = Settings { instrument, bass: false, hand: neck::Hand::usual(), name: part_name(&a.name)? };
    let (record, _) = audio::read(&a.audio)?;
    let bar = progress();
    let taken = take::take(&record, &Wishes { bpm: a.tempo, from_s, meter, settings }, &|done| bar.set_position((done * 100.0) as u64));
    bar.finish_and_clear();
    let taken = taken.map_err(|e| match e {
        TakeError::Network(_) => Failure::NotPossible(e.to_string()),
        _ => Failure::MaterialSaid(format!("{}: {e}", a.audio.display())),
    })?;
    for r in &taken.remarks {
        eprintln!("partwright: {r}");
    }
    if json {
        print_json(&shape(&taken))?;
    }
    match &taken.written {
        None => Err(Failure::Material),
        Some(_) if json => Ok(()),
        Some(w) => {
            if w.doubtful_bars > 0 {
                eprintln!("partwright: {} of {} bars hold something doubtful; they are marked sure=\"guess\"", w.doubtful_bars, w.bars);
            }
            print(&w.lesson)
        }
    }
}

/// A part's name stands in quotes in the text.
fn part_name(text: &str) -> Result<String, Failure> {
    let plain = !text.is_empty() && text.len() <= 40 && text.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == ' ');
    plain.then(|| text.to_string()).ok_or_else(|| Failure::Usage(format!("\"{text}\" is no name for a part here; use letters, digits, spaces and -, at most 40")))
}

/// How a note begins.
fn attack(a: lesson::Attack) -> &'static str {
    match a {
        lesson::Attack::Struck => "struck",
        lesson::Attack::Hammered => "hammered",
        lesson::Attack::Pulled => "pulled",
        lesson::Attack::Slid => "slid",
    }
}

fn shape(t: &Taken) -> serde_json::Value {
    let to = |v: f64| (v * 1e4).round() / 1e4;
    let notes: Vec<_> = t
        .notes
        .iter()
        .zip(&t.places)
        .map(|(n, (string, fret))| json!({ "onset": to(n.onset_s), "offset": to(n.offset_s), "midi": n.midi.0, "string": string, "fret": fret, "confidence": (n.confidence * 1e3).round() / 1e3, "attack": attack(n.attack) }))
        .collect();
    json!({
        "schema": SCHEMA,
        "notes": notes,
        "scratches": t.scratches.iter().map(|s| json!({ "onset": to(s.onset_s), "confidence": (s.confidence * 1e3).round() / 1e3 })).collect::<Vec<_>>(),
        "tempo": t.tempo.map(|t| json!({ "bpm": (t.bpm * 1e3).round() / 1e3, "drift_percent": (t.drift_percent * 1e2).round() / 1e2, "confidence": (t.confidence * 1e3).round() / 1e3 })),
        "a4_hz": (t.a4_hz * 1e3).round() / 1e3,
        "first_bar": t.written.as_ref().map(|w| to(w.first_bar_s)),
        "bars": t.written.as_ref().map_or(0, |w| w.bars),
        "doubtful_bars": t.written.as_ref().map_or(0, |w| w.doubtful_bars),
        "part": t.written.as_ref().map(|w| &w.part),
        "lesson": t.written.as_ref().map(|w| &w.lesson),
        "remarks": t.remarks,
    })
}
