//! Sound files taken down, a line of JSON each: `cargo run --release -p take --example take -- [--tempo N] [--from S] [--meter A/B] FILE…`
//!
//! For the checks. Options hold for the files after them; `--tempo 0` and `--from -` take them back. A line has the notes with string and fret, scratches,
//! remarks, the lesson's text and what it reads as (`written`: beats from the first bar, length, string, fret, whether dead, how struck; `guesses`: bars so marked), where its first bar begins,
//! and `seconds`, what it took on the clock without the decoding of the file; `error` alone where nothing could be taken down.

use lesson::{Attack, Meter, Source};
use serde_json::{Value, json};
use take::{Settings, Taken, Wishes, take};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let settings = Settings { instrument: neck::Instrument::guitar(), bass: false, hand: neck::Hand::usual(), name: "take".into() };
    let mut wishes = Wishes { bpm: None, from_s: None, meter: None, settings };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut value = || words.next().ok_or("an option without its value");
        match word.as_str() {
            "--tempo" => wishes.bpm = Some(value()?.parse()?).filter(|b: &f64| *b > 0.0),
            "--from" => wishes.from_s = value()?.parse().ok(),
            "--meter" => {
                let value = value()?;
                let (count, unit) = value.split_once('/').ok_or("a meter is two numbers, as in 4/4")?;
                wishes.meter = Some(Meter { count: count.parse()?, unit: unit.parse()? });
            }
            file => {
                let record = wave::decode(&std::fs::read(file)?, None, &wave::Limits::default())?;
                let start = std::time::Instant::now();
                let taken = take(&record, &wishes, &|_| ());
                let seconds = start.elapsed().as_secs_f64();
                println!("{}", taken.map_or_else(|e| json!({ "error": e.to_string() }), |t| line(&t, seconds)));
            }
        }
    }
    Ok(())
}

fn line(t: &Taken, seconds: f64) -> Value {
    let notes: Vec<Value> = t
        .notes
        .iter()
        .zip(&t.places)
        .map(|(n, (string, fret))| {
            json!({ "onset": n.onset_s, "offset": n.offset_s, "midi": n.midi.0, "string": string, "fret": fret, "confidence": n.confidence, "strings": n.strings, "attack": sign(n.attack) })
        })
        .collect();
    json!({
        "seconds": seconds,
        "a4_hz": t.a4_hz,
        "remarks": t.remarks,
        "notes": notes,
        "scratches": t.scratches.iter().map(|s| json!({ "onset": s.onset_s, "confidence": s.confidence })).collect::<Vec<_>>(),
        "first_bar": t.written.as_ref().map(|w| w.first_bar_s),
        "guesses": t.written.as_ref().map(|w| guesses(&w.lesson)),
        "bars": t.written.as_ref().map_or(0, |w| w.bars),
        "doubtful_bars": t.written.as_ref().map_or(0, |w| w.doubtful_bars),
        "lesson": t.written.as_ref().map(|w| &w.lesson),
        "written": t.written.as_ref().map(|w| written(&w.lesson)),
    })
}

/// What the text reads as; `null` where it does not read.
fn written(text: &str) -> Value {
    let reading = lesson::read(text);
    let Some(part) = reading.lesson.passages.first().and_then(|p| p.parts.first()).filter(|_| reading.is_sound()) else { return Value::Null };
    let beats = |b: lesson::Beats| *b.numer() as f64 / *b.denom() as f64;
    lesson::soundings(part)
        .iter()
        .map(|s| {
            let (string, fret) = if let Source::String { string, fret } = s.source { (Some(string), Some(fret)) } else { (None, None) };
            json!({ "at": beats(s.at), "len": beats(s.len), "midi": s.midi.0, "string": string, "fret": fret, "dead": s.dead, "attack": sign(s.attack) })
        })
        .collect()
}

/// Bars that are marked as guesses, counted from the first one, 0.
fn guesses(text: &str) -> Vec<usize> {
    let reading = lesson::read(text);
    let Some(part) = reading.lesson.passages.first().and_then(|p| p.parts.first()) else { return vec![] };
    part.bars.iter().enumerate().filter(|(_, b)| b.guess).map(|(i, _)| i).collect()
}

fn sign(attack: Attack) -> &'static str {
    match attack {
        Attack::Struck => "",
        Attack::Hammered => "H",
        Attack::Pulled => "P",
        Attack::Slid => "/",
    }
}
