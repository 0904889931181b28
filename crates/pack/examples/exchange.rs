//! Writes, for every passage of some lessons, its MusicXML and MIDI files and beside them what the model itself says is written and heard.
//!
//! `exchange OUT LESSON.kdl …` takes lesson files, `exchange OUT --random COUNT FIRST_SEED` makes random ones. The facts (`.json`) come
//! straight from the model's events and soundings, not through the writers, so that a reader of the files can be held against them.

use lesson::{Beats, Event, Kind, Part, Passage, Source, Tone};
use serde_json::{Value, json};
use std::path::Path;

#[path = "../tests/random_lesson/mod.rs"]
mod random_lesson;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let usage = "usage: exchange OUT LESSON.kdl … | exchange OUT --random COUNT FIRST_SEED";
    let [out, rest @ ..] = args.as_slice() else { panic!("{usage}") };
    let out = Path::new(out);
    std::fs::create_dir_all(out).expect("the folder can be made");
    if let [flag, count, first] = rest
        && flag == "--random"
    {
        let (count, first): (u64, u64) = (count.parse().expect(usage), first.parse().expect(usage));
        for seed in first..first + count {
            let text = random_lesson::lesson(seed);
            std::fs::write(out.join(format!("random-{seed}.kdl")), &text).expect("the file can be written");
            write(out, &format!("random-{seed}"), &text);
        }
        return;
    }
    for file in rest {
        let text = std::fs::read_to_string(file).expect("the lesson can be read");
        let folder = Path::new(file).parent().and_then(Path::file_name).map_or("lesson".into(), |n| n.to_string_lossy());
        write(out, &folder, &text);
    }
}

fn write(out: &Path, name: &str, text: &str) {
    let reading = lesson::read(text);
    assert!(reading.is_sound(), "{name}: {:?}\n{text}", reading.problems);
    for passage in &reading.lesson.passages {
        let file = |ext: &str| out.join(format!("{name}-{}.{ext}", passage.id));
        let xml = pack::musicxml(&reading.lesson, passage, &passage.harmony);
        std::fs::write(file("musicxml"), xml).expect("the file can be written");
        std::fs::write(file("mid"), pack::midi(passage)).expect("the file can be written");
        std::fs::write(file("json"), facts(passage).to_string()).expect("the file can be written");
    }
}

fn exact(b: Beats) -> String {
    format!("{}/{}", b.numer(), b.denom())
}

fn facts(passage: &Passage) -> Value {
    let starts = passage.bar_starts();
    let bars: Vec<Value> = passage
        .bars
        .iter()
        .zip(&starts)
        .map(|(b, s)| {
            let beat = *b.meter.beat().numer() as f64 / *b.meter.beat().denom() as f64;
            json!({
                "number": b.number, "start": exact(b.start), "length": exact(b.length), "start_s": s,
                "meter": [b.meter.count, b.meter.unit], "quarters_a_minute": b.tempo_bpm * beat,
            })
        })
        .collect();
    json!({
        "bars": bars,
        "key": passage.key.map(|k| k.fifths()),
        "swing": passage.bars.first().and_then(|b| b.swing).map(|s| json!({"percent": s.percent, "of": exact(s.unit)})),
        "duration_s": passage.duration(),
        "harmony": passage.harmony.iter().filter(|h| h.struck).map(|h| json!({
            "at": exact(passage.bars[h.bar].start + h.at),
            "classes": h.symbol.as_ref().map(|s| (0..12).filter(|c| s.classes().holds(pitch::PitchClass(*c))).collect::<Vec<u8>>()),
            "root": h.symbol.as_ref().map(|s| s.root.class().0),
            "bass": h.symbol.as_ref().map(|s| s.bass_class().0),
        })).collect::<Vec<_>>(),
        "parts": passage.parts.iter().map(|p| part(passage, p)).collect::<Vec<_>>(),
    })
}

fn part(passage: &Passage, part: &Part) -> Value {
    let (written, graces) = written(passage, part);
    let heard: Vec<Value> = lesson::soundings(part)
        .iter()
        .map(|s| {
            json!({
                "on_s": passage.seconds_at(s.at), "off_s": passage.seconds_at(s.at + s.len), "len": exact(s.len),
                "midi": s.midi.0, "dead": s.dead, "short": s.short, "tremolo": s.tremolo,
                "spread": s.spread, "rake": s.rake, "order": s.order, "of": s.of,
                "bend": s.bend.iter().map(|(t, c)| json!([passage.seconds_at(s.at + t), c])).collect::<Vec<_>>(),
                "slide": s.slide.map(|(t, n)| json!([passage.seconds_at(s.at + t), n])),
            })
        })
        .collect();
    json!({
        "name": part.name,
        "kind": match part.kind { Kind::Guitar => "guitar", Kind::Bass => "bass", Kind::Drums => "drums", Kind::Other => "other", Kind::Click => "click" },
        "easier": part.easier_of.is_some(),
        "tuning": part.neck.as_ref().map(|n| n.tuning.open.iter().map(|m| m.0).collect::<Vec<_>>()),
        "capo": part.neck.as_ref().map(|n| n.capo),
        "written": written,
        "graces": graces,
        "heard": heard,
    })
}

/// Written notes, ties joined, as played; and the places that slides within a stroke set out from.
fn written(passage: &Passage, part: &Part) -> (Vec<Value>, Vec<Value>) {
    struct Open {
        at: Beats,
        end: Beats,
        tone: Tone,
        fret: Option<u8>,
        midi: u8,
    }
    let close = |o: &Open| {
        json!({"at": exact(o.at), "len": exact(o.end - o.at), "midi": o.midi, "string": o.tone.place().map(|p| p.0), "fret": o.fret, "dead": o.tone.dead})
    };
    let (mut out, mut graces, mut open): (Vec<Value>, Vec<Value>, Vec<Open>) = (vec![], vec![], vec![]);
    for (bar, pb) in passage.bars.iter().zip(&part.bars) {
        for event in &pb.events {
            let at = bar.start + event.at;
            let mut now: Vec<Open> = Vec::new();
            for tone in &event.notes {
                let held = going_on(event).then(|| open.iter().position(|o| o.end == at && same(&o.tone.source, &tone.source))).flatten();
                if let Some(i) = held {
                    let mut o = open.remove(i);
                    o.end = at + event.len;
                    now.push(o);
                    continue;
                }
                let (mut fret, mut midi) = (tone.place().map(|p| p.1), tone.midi.0);
                if let (Some(from), Some(to)) = (fret, tone.slide_to) {
                    graces.push(json!({"at": exact(at), "midi": midi, "string": tone.place().map(|p| p.0), "fret": from}));
                    midi = (i32::from(midi) + i32::from(to) - i32::from(from)) as u8;
                    fret = Some(to);
                }
                now.push(Open { at, end: at + event.len, tone: tone.clone(), fret, midi });
            }
            out.extend(open.iter().map(close));
            open = now;
        }
    }
    out.extend(open.iter().map(close));
    (out, graces)
}

fn going_on(event: &Event) -> bool {
    event.tie_in || event.held
}

fn same(a: &Source, b: &Source) -> bool {
    match (a, b) {
        (Source::String { string: a, .. }, Source::String { string: b, .. }) => a == b,
        _ => a == b,
    }
}
