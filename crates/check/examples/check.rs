//! A score against a record, as JSON: `check AUDIO LESSON.kdl PASSAGE` or `check AUDIO SCORE.json`.
//!
//! The second form is for the checks: `{"tempo", "from", "to", "pins"?, "parts": [{"name", "instrument", "seat", "notes": [[seconds, length, midi, string, fret]…]}]}`,
//! times from the passage's beginning, string 0 a scratch or drum; bars of four beats.

use check::{Checked, Options, Score, ScoreBar, ScoreNote, ScorePart, Span};
use serde_json::{Value, json};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let record = wave::decode(&std::fs::read(&args[0])?, None, &wave::Limits::default())?;
    let text = std::fs::read_to_string(&args[1])?;
    let start = std::time::Instant::now();
    let checked = if args[1].ends_with(".kdl") {
        let lesson = lesson::read(&text).lesson;
        let id = args.get(2).ok_or("name a passage")?;
        // Whatever the lesson calls its record, here it is.
        let files = lesson.passages.iter().filter(|p| p.id == *id).flat_map(|p| &p.record).map(|r| (r.file.as_str(), &record));
        check::passage(&lesson, id, &files.collect::<Vec<_>>(), &Options::default())?
    } else {
        let asked: Value = serde_json::from_str(&text)?;
        let number = |v: &Value| v.as_f64().unwrap_or(0.0);
        let pins = asked["pins"].as_array().map_or(vec![], |p| p.iter().map(|p| (number(&p[0]), number(&p[1]))).collect());
        let options = Options { pins, ..Options::default() };
        let span = Span { file: "", record: &record, from_s: number(&asked["from"]), to_s: number(&asked["to"]) };
        check::against(&score(&asked), &[span], &options)
    };
    println!("{}", shown(&checked, start.elapsed().as_secs_f64()));
    Ok(())
}

fn score(asked: &Value) -> Score {
    let number = |v: &Value| v.as_f64().unwrap_or(0.0);
    let beat = 60.0 / number(&asked["tempo"]).max(1.0);
    let parts: Vec<ScorePart> = asked["parts"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|p| {
            let (kind, neck) = match p["instrument"].as_str() {
                Some("bass") => (lesson::Kind::Bass, Some(neck::Instrument::bass())),
                Some("drums") => (lesson::Kind::Drums, None),
                _ => (lesson::Kind::Guitar, Some(neck::Instrument::guitar())),
            };
            let notes = p["notes"]
                .as_array()
                .into_iter()
                .flatten()
                .map(|n| {
                    let (at_s, string) = (number(&n[0]), number(&n[3]) as u8);
                    let beats = at_s / beat;
                    let bar = (beats / 4.0 + 1e-6) as usize;
                    ScoreNote {
                        at_s,
                        length_s: number(&n[1]),
                        midi: number(&n[2]) as i32,
                        place: (string > 0).then_some((string, number(&n[4]) as u8)),
                        unpitched: string == 0,
                        soft: false,
                        hushed: false,
                        spread: false,
                        path: (number(&n[2]) as i32, number(&n[2]) as i32),
                        bar,
                        beat: 1.0 + beats - 4.0 * bar as f64,
                        slot: ((beats - 4.0 * bar as f64) * 4.0).round() as u32 + 1,
                        text: None,
                    }
                })
                .collect();
            ScorePart { name: p["name"].as_str().unwrap_or("part").into(), kind, seat: number(&p["seat"]), neck, slots: vec![], waved: vec![], notes, swing: None }
        })
        .collect();
    let end = parts.iter().flat_map(|p| &p.notes).map(|n| n.at_s + n.length_s).fold(0.0, f64::max);
    let count = (end / beat / 4.0).ceil().max(1.0) as usize;
    let bars = (0..count).map(|n| ScoreBar { number: n as u32 + 1, start_s: n as f64 * 4.0 * beat, length_s: 4.0 * beat, beats: 4.0 }).collect();
    let parts = parts.into_iter().map(|p| ScorePart { slots: vec![16; count], ..p }).collect();
    Score { id: "excerpt".into(), parts, bars, length_s: count as f64 * 4.0 * beat, key: None }
}

fn shown(c: &Checked, seconds: f64) -> Value {
    let parts: Vec<Value> = c
        .parts
        .iter()
        .map(|p| {
            let notes: Vec<Value> = p
                .notes
                .iter()
                .map(|n| {
                    json!({"bar": n.bar, "beat": n.beat, "slot": n.slot, "string": n.string, "fret": n.fret, "midi": n.midi, "time": n.time_s, "verdict": n.verdict.word(),
                        "evidence": n.evidence, "better": n.better, "moved": n.moved_slots, "ahead_ms": n.ahead_ms, "marks": n.marks, "moved_marks": n.moved_marks})
                })
                .collect();
            let unwritten: Vec<Value> = p
                .unwritten
                .iter()
                .map(|u| json!({"time": u.time_s, "bar": u.bar, "beat": u.beat, "slot": u.slot, "midi": u.midi, "evidence": u.evidence, "of_stroke": u.of_stroke, "marks": u.marks, "place": u.place.map(|p| [p.0, p.1])}))
                .collect();
            let rhythm: Vec<Value> = p.rhythm.iter().map(|s| json!({"time": s.time_s, "bar": s.bar, "slot": s.slot, "written": s.written, "evidence": s.evidence})).collect();
            let pocket = p.pocket.map(|k| json!({"ahead_ms": k.ahead_ms, "spread_ms": k.spread_ms, "strokes": k.strokes, "swing": k.swing_percent, "of": k.swing_of}));
            json!({"name": p.name, "notes": notes, "unwritten": unwritten, "rhythm": rhythm, "pocket": pocket})
        })
        .collect();
    let findings: Vec<&str> = c.findings.iter().map(|f| f.words.as_str()).collect();
    json!({"id": c.id, "seconds": seconds, "starts": c.starts_s, "aligned": c.aligned, "stretch": c.stretch, "cents": c.cents, "parts": parts, "findings": findings, "limits": c.limits})
}
