//! What is written of a record for practice: a stretch, one seat let through or taken out, slowed, at concert pitch.

use super::{SCHEMA, progress};
use crate::args::{Hear as Asked, SeatArg};
use crate::audio::{self, parse_time};
use crate::failure::{Failure, print, print_json};
use crate::heard::heard;
use crate::store::write_whole;
use hear::{Keep, Pins, Quality};
use serde_json::json;
use std::path::Path;
use wave::{Buffer, Seconds};

pub fn write(a: &Asked, out: &Path, pins: &Pins, json: bool) -> Result<(), Failure> {
    let w = &a.written;
    let encode = match out.extension().and_then(|e| e.to_str()).map(str::to_lowercase).as_deref() {
        Some("wav") => wave::encode_wav16,
        Some("flac") => wave::encode_flac16,
        _ => return Err(Failure::Usage(format!("{}: write a name that ends in .wav or .flac", out.display()))),
    };
    if out.canonicalize().is_ok_and(|o| a.audio.canonicalize().is_ok_and(|i| i == o)) {
        return Err(Failure::Usage("the record itself is left as it is: write to another file".into()));
    }
    let fault = |e: &dyn std::fmt::Display| Failure::MaterialSaid(format!("{}: {e}", a.audio.display()));
    let time = |t: &Option<String>| t.as_deref().map(parse_time).transpose().map_err(Failure::Usage);
    let (from, to) = (time(&w.from)?, time(&w.to)?);
    let bytes = audio::read_bytes(&a.audio)?;
    let record = audio::decode(&a.audio, &bytes)?;
    let (from, to) = (from.unwrap_or(0.0), to.unwrap_or(record.duration().0).min(record.duration().0));
    if from >= to {
        return Err(Failure::Usage(format!("from {from:.2} s to {to:.2} s there is nothing; the record lasts {:.2} s", record.duration().0)));
    }
    let cents = if w.concert {
        let (heard, _) = heard(&a.audio, pins, &|_| ())?;
        let pitch = heard.pitch_reference.ok_or_else(|| fault(&"no pitch is heard that could be set right"))?;
        -pitch.cents
    } else {
        0.0
    };
    let bar = progress();
    let tell = |done: f64| bar.set_position((done * 100.0) as u64);
    let piece = record.slice_time(Seconds(from)..Seconds(to));
    let (piece, quality) = apart(a, piece, &tell).map_err(|e| fault(&e))?;
    let mut piece = wave::slow(&piece, w.speed, cents).map_err(|e| Failure::Usage(e.to_string()))?;
    bar.finish_and_clear();
    // What was taken apart can have higher peaks than the record.
    let peak = piece.peak();
    if peak > 0.999 {
        piece.scale(0.999 / peak);
    }
    let bytes = encode(&piece).map_err(|e| Failure::NotPossible(e.to_string()))?;
    write_whole(out, &bytes, true)?;
    if json {
        let quality = quality.map(|q| json!({ "sdr_db": (q.sdr_db * 10.0).round() / 10.0, "gain_db": (q.gain_db * 10.0).round() / 10.0, "share": (q.share * 1e3).round() / 1e3 }));
        return print_json(&json!({ "schema": SCHEMA, "written": { "path": out.display().to_string(), "bytes": bytes.len(), "duration": piece.duration().0, "cents": cents, "quality": quality } }));
    }
    let quality = quality.map(|q| format!("; {}", q.words())).unwrap_or_default();
    print(&format!("{}: {:.2} s{quality}. For your own practice: a record is not yours to hand on.\n", out.display(), piece.duration().0))
}

fn apart(a: &Asked, piece: Buffer, tell: &dyn Fn(f64)) -> Result<(Buffer, Option<Quality>), String> {
    let w = &a.written;
    if let Some(seat) = w.seat {
        let azimuth = match seat {
            SeatArg::At(azimuth) => azimuth,
            SeatArg::Left => strongest(&piece, -1.0)?,
            SeatArg::Right => strongest(&piece, 1.0)?,
        };
        let keep = if w.without { Keep::Without } else { Keep::Only };
        let s = hear::seat_filter(&piece, azimuth, w.width, keep, tell).map_err(|e| e.to_string())?;
        return Ok((s.audio, Some(s.quality)));
    }
    if let Some(keep) = &w.keep {
        let s = hear::harmonic_percussive(&piece, tell).map_err(|e| e.to_string())?;
        let of = if keep == "tones" { s.harmonic } else { s.percussive };
        return Ok((of.audio, Some(of.quality)));
    }
    Ok((piece, None))
}

/// The seat with most of the sound on a side, -1 left or 1 right.
fn strongest(piece: &Buffer, side: f64) -> Result<f64, String> {
    const APART: f64 = 0.08;
    let picture = hear::stereo_picture(piece).ok_or("the record is silent or too short to be told apart")?;
    let there = picture.seats.iter().filter(|s| s.azimuth * side > APART);
    let found = there.max_by(|a, b| a.share.total_cmp(&b.share)).map(|s| s.azimuth);
    found.ok_or_else(|| format!("nobody is heard on the {}; partwright hear lists the seats", if side < 0.0 { "left" } else { "right" }))
}
