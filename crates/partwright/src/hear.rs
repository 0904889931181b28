//! `hear`: what a record tells.

mod practice;

use crate::args::Hear as Asked;
use crate::audio::{clock, parse_time};
use crate::failure::{Failure, print, print_json};
use crate::heard::{Heard, OtherBeats, heard};
use hear::Pins;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde_json::json;
use wave::Seconds;

const SCHEMA: &str = "partwright/hear/1";
/// Under this a thing heard is called a guess.
const DOUBTFUL: f64 = 0.4;

pub fn run(a: &Asked, json: bool) -> Result<(), Failure> {
    let pins = pins(a)?;
    if let Some(out) = &a.written.write {
        return practice::write(a, out, &pins, json);
    }
    let bar = progress();
    let found = heard(&a.audio, &pins, &|done| bar.set_position((done * 100.0) as u64));
    bar.finish_and_clear();
    let (found, remark) = found?;
    if let Some(r) = remark {
        eprintln!("partwright: {r}");
    }
    if json {
        let mut out = json!({ "schema": SCHEMA });
        if let (Some(out), serde_json::Value::Object(fields)) = (out.as_object_mut(), serde_json::to_value(&found).unwrap_or_default()) {
            out.extend(fields);
        }
        return print_json(&out);
    }
    print(&text(&a.audio.display().to_string(), &found))
}

fn pins(a: &Asked) -> Result<Pins, Failure> {
    let times = |given: &[String]| given.iter().map(|t| parse_time(t).map(Seconds)).collect::<Result<Vec<Seconds>, String>>().map_err(Failure::Usage);
    Ok(Pins { beats: times(&a.beats)?, bars: times(&a.bars)?, bpm: a.tempo, meter: a.meter })
}

/// Drawn on a terminal alone.
pub fn progress() -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(100), ProgressDrawTarget::stderr());
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos} % {msg}") {
        bar.set_style(style.progress_chars("=> "));
    }
    bar.set_message("listening");
    bar
}

fn sure(confidence: f64) -> &'static str {
    match confidence {
        c if c >= 0.7 => "sure",
        c if c >= DOUBTFUL => "fairly sure",
        _ => "a guess",
    }
}

fn counted(n: usize, one: &str) -> String {
    format!("{n} {one}{}", if n == 1 { "" } else { "s" })
}

/// One line each, then the chords with their bar and beat.
fn text(file: &str, h: &Heard) -> String {
    let loudness = h.loudness_lufs.map_or("silent or too short to measure".to_string(), |l| format!("{l:.1} LUFS"));
    let mut out = format!("{file}: {}, {} Hz, {}, {loudness}\n", clock(h.duration), h.rate, counted(h.channels, "channel"));
    let mut line = |label: &str, text: String| out.push_str(&format!("{label:<7} {text}\n"));
    line("pitch", h.pitch_reference.as_ref().map_or("nothing heard that has one".into(), pitch_words));
    line(
        "tempo",
        h.tempo.as_ref().map_or("no beat heard".into(), |t| {
            let drift = if t.drift_percent < 0.5 { "steady".to_string() } else { format!("moving by {:.1} %", t.drift_percent) };
            format!("{:.1} beats a minute, {drift} ({})", t.bpm, sure(t.confidence))
        }),
    );
    for o in h.tempo.iter().flat_map(|t| &t.also) {
        line("", format!("or {}", other_words(o)));
    }
    if let (Some(meter), Some(first)) = (&h.meter, h.bars.first()) {
        line("bars", format!("{} in {meter}, the first at {}", counted(h.bars.len(), "bar"), clock(*first)));
    }
    if let Some(s) = &h.swing {
        line("swing", format!("{:.0} % of each pair of {}", s.percent, if s.of == "1/16" { "sixteenths" } else { "eighths" }));
    }
    line("key", h.key.as_ref().map_or("none heard".into(), key_words));
    if !h.bass.is_empty() {
        line("bass", format!("{} (--json lists them)", counted(h.bass.len(), "note")));
    }
    if !h.seats.is_empty() {
        line("seats", h.seats.iter().map(|s| format!("{} ({:.0} %)", seat_words(s.azimuth), 100.0 * s.share)).collect::<Vec<_>>().join(", "));
    }
    if !h.chords.is_empty() {
        out.push_str("chords\n");
        for c in &h.chords {
            let doubt = if c.confidence < DOUBTFUL { "?" } else { "" };
            let also: Vec<String> = c.also.iter().map(|a| sign(a)).collect();
            let also = if also.is_empty() { String::new() } else { format!("or {}", also.join(", ")) };
            out.push_str(format!("  {:>8}  {:>7}  {:<14} {also}", clock(c.start), place(h, c.start), format!("{}{doubt}", sign(&c.harte))).trim_end());
            out.push('\n');
        }
    }
    out
}

/// A chord as players write it.
fn sign(harte: &str) -> String {
    match harte {
        "N" => "no chord".into(),
        _ => pitch::Symbol::parse_harte(harte).map_or_else(|_| harte.to_string(), |s| s.to_string()),
    }
}

fn pitch_words(p: &crate::heard::Pitch) -> String {
    let way = |c: f64| match c {
        c if c.abs() < 0.5 => "at concert pitch".to_string(),
        c if c > 0.0 => format!("{c:.1} cents high"),
        c => format!("{:.1} cents low", -c),
    };
    let mut out = format!("A = {:.1} Hz, {} ({})", p.hz, way(p.cents), sure(p.confidence));
    let low = p.over_time.iter().map(|a| a.cents).fold(f64::INFINITY, f64::min);
    let high = p.over_time.iter().map(|a| a.cents).fold(f64::NEG_INFINITY, f64::max);
    if high - low >= 3.0 {
        out.push_str(&format!(", drifting between {low:.0} and {high:.0} cents"));
    }
    if let Some(o) = p.other_reading_cents {
        out.push_str(&format!("; or all a semitone {} and {}", if o > p.cents { "lower" } else { "higher" }, way(o)));
    }
    out
}

/// What other beats are, and how to ask for them.
fn other_words(o: &OtherBeats) -> String {
    let told = &o.told_by;
    let mut asked: Vec<String> = told.beats.iter().map(|t| format!("--beat {}", clock(*t))).collect();
    asked.extend(told.bars.iter().map(|t| format!("--bar {}", clock(*t))));
    asked.extend(told.tempo.map(|t| format!("--tempo {t:.1}")));
    asked.extend(told.meter.as_ref().map(|m| format!("--meter {m}")));
    format!("{}: {}", o.words, asked.join(" "))
}

fn key_words(k: &crate::heard::Key) -> String {
    let mut out = format!("{} {} ({})", k.tonic, k.mode, sure(k.confidence));
    if k.confidence < DOUBTFUL && !k.also.is_empty() {
        out.push_str(&format!(", or {}", k.also.join(", ")));
    }
    if k.over_time.len() > 1 {
        let parts: Vec<String> = k.over_time.iter().map(|a| format!("{} {} from {}", a.tonic, a.mode, clock(a.start))).collect();
        out.push_str(&format!("; {}", parts.join(", ")));
    }
    out
}

fn seat_words(azimuth: f64) -> String {
    match azimuth {
        a if a.abs() < 0.08 => "centre".to_string(),
        a if a < 0.0 => format!("left {:.2}", -a),
        a => format!("right {a:.2}"),
    }
}

/// Bar and beat of a time, counted from 1: the nearest beat. Empty where no bars were heard.
fn place(h: &Heard, t: f64) -> String {
    const EARLY_S: f64 = 0.07;
    let Some(bar) = h.bars.iter().rposition(|b| *b <= t + EARLY_S) else { return String::new() };
    let from = h.bars[bar] - EARLY_S;
    let beats = h.beats.iter().filter(|b| **b >= from && **b <= t + EARLY_S).count();
    format!("{}.{}", bar + 1, beats.max(1))
}
