//! What is heard in sound files, a line of JSON each: `cargo run --release -p hear --example hear -- FILE…`
//!
//! For the checks: every field of [`hear::Hearing`], times in seconds, and `seconds`, what the listening took on the clock without the decoding. First may stand
//! `--plain` (only `beats` and their `confidence`, from onset strength alone), `--pins=SECONDS,…`, `--bars=SECONDS,…`, `--bpm=NUMBER` and `--meter=OVER/UNDER`.

use hear::{Hearing, Pins};
use std::fmt::Display;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (mut plain, mut pins) = (false, Pins::default());
    for file in std::env::args().skip(1) {
        if file == "--plain" {
            plain = true;
            continue;
        } else if let Some(at) = file.strip_prefix("--pins=") {
            pins.beats = times(at)?;
            continue;
        } else if let Some(at) = file.strip_prefix("--bars=") {
            pins.bars = times(at)?;
            continue;
        } else if let Some((over, under)) = file.strip_prefix("--meter=").and_then(|m| m.split_once('/')) {
            pins.meter = Some(hear::Meter { over: over.parse()?, under: under.parse()? });
            continue;
        } else if let Some(bpm) = file.strip_prefix("--bpm=") {
            pins.bpm = Some(bpm.parse()?);
            continue;
        }
        let bytes = std::fs::read(&file)?;
        let record = wave::decode(&bytes, None, &wave::Limits::default())?;
        if plain {
            let (times, confidence) = hear::plain_beats(&record, &pins)?.unwrap_or_default();
            println!("{{\"beats\":{},\"confidence\":{confidence}}}", list(&times, |t| t.0.to_string()));
            continue;
        }
        let start = std::time::Instant::now();
        let heard = hear::hear(&record, &pins, &|_| ())?;
        println!("{{\"seconds\":{:.4},{}}}", start.elapsed().as_secs_f64(), fields(&heard));
    }
    Ok(())
}

fn times(list: &str) -> Result<Vec<wave::Seconds>, std::num::ParseFloatError> {
    list.split(',').map(|t| t.parse().map(wave::Seconds)).collect()
}

fn fields(h: &Hearing) -> String {
    let pitch = h.pitch_reference.as_ref().map(|p| {
        let over_time = list(&p.over_time, |a| format!("{{\"time\":{},\"cents\":{},\"confidence\":{}}}", a.time.0, a.cents, a.confidence));
        let other = maybe(&p.other_reading_cents);
        format!("{{\"hz\":{},\"cents\":{},\"confidence\":{},\"other_reading_cents\":{other},\"over_time\":{over_time}}}", p.hz, p.cents, p.confidence)
    });
    let tempo = h.tempo.map(|t| format!("{{\"bpm\":{},\"drift_percent\":{},\"confidence\":{}}}", t.bpm, t.drift_percent, t.confidence));
    let meter = h.meter.map(|m| format!("\"{m}\""));
    let swing = h.swing.map(|s| format!("{{\"percent\":{},\"of\":\"1/{}\"}}", s.percent, s.of));
    let beats = h.beats.as_ref().map(|b| list(b, |t| t.0.to_string()));
    let bars = h.bars.as_ref().map(|b| list(b, usize::to_string));
    let other_beats = list(&h.other_beats, |o| {
        format!("{{\"bpm\":{},\"meter\":\"{}\",\"beats\":{},\"bars\":{},\"likely\":{},\"told_by\":{},\"told_bpm\":{}}}", o.bpm, o.meter, list(&o.beats, |t| t.0.to_string()), list(&o.bars, usize::to_string), o.likely, list(&o.told_by.beats, |t| t.0.to_string()), maybe(&o.told_by.bpm))
    });
    let key = h.key.as_ref().map(|k| {
        let one = |k: &pitch::Key, c: f64| format!("\"tonic\":\"{}\",\"mode\":\"{}\",\"confidence\":{c}", k.tonic, k.mode.name());
        let over_time = list(&k.over_time, |a| format!("{{\"start\":{},\"end\":{},{}}}", a.start.0, a.end.0, one(&a.key, a.confidence)));
        let also = list(&k.also, |k| format!("{{\"tonic\":\"{}\",\"mode\":\"{}\"}}", k.tonic, k.mode.name()));
        format!("{{{},\"also\":{also},\"over_time\":{over_time}}}", one(&k.key, k.confidence))
    });
    let chords = h.chords.as_ref().map(|c| {
        list(c, |c| {
            let also = list(&c.also, |a| format!("\"{a}\""));
            format!("{{\"start\":{},\"end\":{},\"harte\":\"{}\",\"confidence\":{},\"also\":{also}}}", c.start.0, c.end.0, c.harte, c.confidence)
        })
    });
    let seats = h.seats.as_ref().map(|s| list(s, |s| format!("{{\"azimuth\":{},\"share\":{}}}", s.azimuth, s.share)));
    let bass = h.bass.as_ref().map(|b| list(b, |n| format!("{{\"onset\":{},\"offset\":{},\"midi\":{}}}", n.onset.0, n.offset.0, n.midi.0)));
    format!(
        "\"duration\":{},\"rate\":{},\"channels\":{},\"loudness_lufs\":{},\"pitch_reference\":{},\"tempo\":{},\"meter\":{},\"swing\":{},\"beats\":{},\"bars\":{},\"other_beats\":{other_beats},\"key\":{},\"chords\":{},\"bass\":{},\"seats\":{}",
        h.duration.0,
        h.rate_hz,
        h.channels,
        maybe(&h.loudness_lufs),
        maybe(&pitch),
        maybe(&tempo),
        maybe(&meter),
        maybe(&swing),
        maybe(&beats),
        maybe(&bars),
        maybe(&key),
        maybe(&chords),
        maybe(&bass),
        maybe(&seats),
    )
}

fn maybe<T: Display>(value: &Option<T>) -> String {
    value.as_ref().map_or("null".to_owned(), T::to_string)
}

fn list<T>(values: &[T], show: impl Fn(&T) -> String) -> String {
    format!("[{}]", values.iter().map(show).collect::<Vec<_>>().join(","))
}
