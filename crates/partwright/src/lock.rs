//! `lock`: how the parts of each passage share time and register.
//!
//! What the JSON holds is what [`lock::Lock`] holds, parts by their names: for each passage `harmony` (one entry a chord and bar, with who
//! holds which tone), `findings` on the whole, and `pairs`. Where a pair's field holds two values they stand in the order of its `parts`.

use crate::args::Lock as Asked;
use crate::failure::{Failure, print, print_json};
use crate::folder::open_sound;
use lesson::{Beats, Passage};
use lock::{Chord, Clash, Lock, Pair};
use serde_json::{Value, json};

/// Widest line of the answer for people.
const WIDTH: usize = 96;

pub fn run(a: &Asked, json: bool) -> Result<(), Failure> {
    const SCHEMA: &str = "partwright/lock/1";
    let found = open_sound(&a.dir, json.then_some(SCHEMA))?;
    let passages = &found.lesson.passages;
    if json {
        let passages: Vec<Value> = passages.iter().map(|p| passage_json(p, &lock::lock(p))).collect();
        return print_json(&json!({ "schema": SCHEMA, "passages": passages }));
    }
    let texts: Vec<String> = passages.iter().map(|p| passage_text(p, &lock::lock(p))).collect();
    print(&texts.join("\n"))
}

fn float(b: Beats) -> f64 {
    *b.numer() as f64 / *b.denom() as f64
}

fn names(p: &Passage, parts: &[usize]) -> Vec<String> {
    parts.iter().filter_map(|i| p.parts.get(*i)).map(|q| q.name.clone()).collect()
}

fn passage_json(p: &Passage, lock: &Lock) -> Value {
    let harmony: Vec<Value> = lock.map.chords.iter().map(|c| chord_json(p, c)).collect();
    let pairs: Vec<Value> = lock.pairs.iter().map(|q| pair_json(p, q)).collect();
    json!({ "id": p.id, "harmony": harmony, "findings": lock.findings, "pairs": pairs })
}

/// One chord within a bar; `beats` is how long it lasts there.
fn chord_json(p: &Passage, c: &Chord) -> Value {
    let bar = &p.bars[c.bar];
    let tones: Vec<Value> = c.tones.iter().map(|t| json!({ "degree": t.degree.to_string(), "parts": names(p, &t.parts) })).collect();
    let key = p.key.unwrap_or(pitch::Key::PLAIN);
    let outside: Vec<Value> = c.outside.iter().map(|t| json!({ "note": key.spell_class(t.class).to_string(), "parts": names(p, &t.parts) })).collect();
    json!({
        "bar": bar.number,
        "beat": c.beat,
        "beats": float(c.length / bar.meter.beat()),
        "symbol": c.symbol.as_ref().map(ToString::to_string),
        "harte": c.symbol.as_ref().and_then(pitch::Symbol::harte),
        "written": c.written,
        "tones": tones,
        "outside": outside,
    })
}

fn pair_json(p: &Passage, q: &Pair) -> Value {
    let clashes: Vec<Value> = q.clashes.iter().map(|c| clash_json(p, c)).collect();
    json!({
        "parts": names(p, &q.parts),
        "drums": q.drums.iter().map(|d| lock::drum_word(*d)).collect::<Vec<_>>(),
        "slots": q.slots,
        "shared": q.shared,
        "shared_pitched": q.shared_pitched,
        "alternating": q.alternating,
        "alone": q.alone,
        "empty": q.empty,
        "silent": q.silent,
        "onsets": q.onsets,
        "density": q.density,
        "together": q.together,
        "register_overlap": q.register.map(|r| r.overlap),
        "sounding_overlap": q.register.and_then(|r| r.sounding_overlap),
        "ranges": q.register.map(|r| r.ranges.map(|r| [r.low.0, r.high.0])),
        "clashes": clashes,
        "more_clashes": q.more_clashes,
        "findings": q.findings,
    })
}

/// `beat` counts from 1 and has a fraction off the beat; `beats` is how long both sound.
fn clash_json(p: &Passage, c: &Clash) -> Value {
    let bar = &p.bars[c.bar];
    let beat = bar.meter.beat();
    json!({
        "bar": bar.number,
        "beat": float(c.at / beat) + 1.0,
        "beats": float(c.length / beat),
        "midi": c.notes.map(|n| n.0),
        "kind": c.kind.word(),
        "meaning": c.meaning.word(),
        "foreign": c.foreign.map(|i| c.notes[i].0),
    })
}

fn passage_text(p: &Passage, lock: &Lock) -> String {
    let mut out = if p.title.is_empty() { format!("{}\n", p.id) } else { format!("{} ({})\n", p.title, p.id) };
    let signs: Vec<String> = lock.map.chords.iter().map(|c| format!("{}.{} {}", p.bars[c.bar].number, c.beat, c.symbol.as_ref().map_or("none".to_string(), ToString::to_string))).collect();
    out.push_str(&wrapped(&format!("Harmony: {}", signs.join(", ")), "  "));
    out.push_str(&wrapped(&lock.findings.join(" "), "  "));
    for q in &lock.pairs {
        let drums = if q.drums.is_empty() { String::new() } else { format!(" ({})", q.drums.iter().map(|d| lock::drum_word(*d)).collect::<Vec<_>>().join(", ")) };
        let register = match q.register.map(|r| r.overlap) {
            None => String::new(),
            Some(0) => "; registers touch".into(),
            Some(n) => format!("; registers {} {} {}", if n < 0 { "apart by" } else { "overlap by" }, n.abs(), if n.abs() == 1 { "semitone" } else { "semitones" }),
        };
        out.push_str(&format!("  {}{drums}: {} shared, {} alternating, {} empty of {} slots{register}\n", names(p, &q.parts).join(" / "), q.shared, q.alternating, q.empty, q.slots));
        out.push_str(&wrapped(&q.findings.join(" "), "    "));
    }
    out
}

/// Text in lines of a readable width, each behind the indent; nothing for no text.
fn wrapped(text: &str, indent: &str) -> String {
    let mut out = String::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        if !line.is_empty() && indent.len() + line.chars().count() + 1 + word.chars().count() > WIDTH {
            out.push_str(&format!("{indent}{line}\n"));
            line.clear();
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    if !line.is_empty() {
        out.push_str(&format!("{indent}{line}\n"));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_broken_at_words() {
        let text = wrapped(&"onset ".repeat(40), "  ");
        assert!(text.lines().all(|l| l.len() <= WIDTH && l.starts_with("  onset")));
        assert_eq!(text.split_whitespace().count(), 40);
        assert_eq!(text.lines().count(), 3);
        assert_eq!(wrapped("", "  "), "");
    }
}
