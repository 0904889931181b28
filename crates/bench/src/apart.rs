//! A stretch of the record as it is to sound: all of it, one seat let through or taken out, what rings or what strikes alone; with an estimate of how well that went.
//!
//! Taking apart costs more than playing, so what was made is kept while the program runs, whatever the tempo that it is asked for at.

use crate::record::Record;
use crate::services::Services;
use hear::Quality;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex};
use wave::{Buffer, Seconds};

/// What of the record is let through.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Apart {
    #[default]
    All,
    /// The seat at this azimuth alone, -1 left to 1 right.
    Only(f64),
    /// All but that seat.
    Without(f64),
    /// What rings.
    Tones,
    /// What strikes.
    Strokes,
}

impl Apart {
    /// `all`, `only:-0.45`, `without:-0.45`, `tones`, `strokes`.
    ///
    /// # Errors
    /// What was found instead.
    pub fn parse(text: &str) -> Result<Apart, String> {
        let seat = |t: &str| t.parse().ok().filter(|a: &f64| (-1.0..=1.0).contains(a));
        let found = match text.split_once(':') {
            None => match text {
                "" | "all" => Some(Apart::All),
                "tones" => Some(Apart::Tones),
                "strokes" => Some(Apart::Strokes),
                _ => None,
            },
            Some(("only", a)) => seat(a).map(Apart::Only),
            Some(("without", a)) => seat(a).map(Apart::Without),
            Some(_) => None,
        };
        found.ok_or_else(|| format!("\"{}\" is nothing that the record is taken apart by", text.chars().take(40).collect::<String>()))
    }
}

/// Stretches taken apart that are kept.
const KEPT: usize = 4;
/// Sound to each side that is listened to as well, so that the ends are taken apart as the middle is.
const AROUND_S: f64 = 1.0;

type Made = Arc<(Buffer, Option<Quality>)>;

/// Stretches taken apart before.
#[derive(Default)]
pub struct Stretches {
    kept: Mutex<VecDeque<(String, Made)>>,
}

impl Stretches {
    /// The record from `from_s` to `to_s`, taken apart now or before.
    ///
    /// # Errors
    /// Why it cannot be taken apart, in words.
    pub fn get(&self, record: &Record, from_s: f64, to_s: f64, how: Apart, services: &dyn Services) -> Result<Made, String> {
        let (from_s, to_s) = (from_s.max(0.0), to_s.min(record.sound.duration().0));
        let piece = |a: f64, b: f64| record.sound.slice_time(Seconds(a)..Seconds(b));
        if how == Apart::All {
            return Ok(Arc::new((piece(from_s, to_s), None)));
        }
        let key = format!("{} {from_s:.4} {to_s:.4} {how:?}", record.key());
        let kept = || self.kept.lock().unwrap_or_else(|e| e.into_inner());
        if let Some((_, made)) = kept().iter().find(|(k, _)| *k == key) {
            return Ok(made.clone());
        }
        let wide_from = (from_s - AROUND_S).max(0.0);
        let made = services.apart(&piece(wide_from, to_s + AROUND_S), how, &|_, _| ()).map_err(|w| w.to_string())?;
        let rate = record.sound.rate_hz();
        let (skip, frames) = (Seconds(from_s - wide_from).to_frames(rate), piece(from_s, to_s).frames());
        let made: Made = Arc::new((made.audio.slice_frames(skip..skip + frames), Some(made.quality)));
        let mut kept = kept();
        kept.push_back((key, made.clone()));
        if kept.len() > KEPT {
            kept.pop_front();
        }
        Ok(made)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::services::Alone;

    #[test]
    fn what_is_asked_for_is_read() {
        for (text, want) in [("", Some(Apart::All)), ("all", Some(Apart::All)), ("only:-0.45", Some(Apart::Only(-0.45))), ("without:1", Some(Apart::Without(1.0))), ("tones", Some(Apart::Tones)), ("strokes", Some(Apart::Strokes)), ("only:2", None), ("only:NaN", None), ("only:", None), ("drums", None), ("..:0", None)] {
            assert_eq!(Apart::parse(text).ok(), want, "{text}");
        }
    }

    /// Two tones, one on each side: with one seat let through the other is gone, and both ways add up to the record.
    #[test]
    fn one_seat_is_let_through_and_kept() {
        let tone = |hz: f64, n: usize| (0.3 * (std::f64::consts::TAU * hz * n as f64 / 48_000.0).sin()) as f32;
        let sides = [(0.95, 0.31), (0.31, 0.95)].map(|(a, b)| (0..4 * 48_000).map(|n| a * tone(330.0, n) + b * tone(523.0, n)).collect::<Vec<f32>>());
        let record = Record::of("a.wav", Buffer::new(48_000, sides.into()).unwrap());
        let level = |b: &Buffer, hz: f64| {
            let (re, im) = b.channel(0).iter().zip(b.channel(1)).enumerate().fold((0.0, 0.0), |(re, im), (n, (l, r))| {
                let (a, s) = (std::f64::consts::TAU * hz * n as f64 / 48_000.0, f64::from(l + r));
                (re + s * a.cos(), im + s * a.sin())
            });
            re.hypot(im)
        };
        let kept = Stretches::default();
        let get = |how| kept.get(&record, 1.0, 3.0, how, &Alone).unwrap();
        let picture = hear::stereo_picture(&record.sound).unwrap();
        let left = picture.seats[0].azimuth;
        assert!(left < -0.2, "{picture:?}");
        let (all, only, without) = (get(Apart::All), get(Apart::Only(left)), get(Apart::Without(left)));
        assert_eq!([all.0.frames(), only.0.frames(), without.0.frames()], [96_000; 3]);
        assert!(level(&only.0, 330.0) > 0.8 * level(&all.0, 330.0) && level(&only.0, 523.0) < 0.1 * level(&all.0, 523.0));
        assert!(level(&without.0, 523.0) > 0.8 * level(&all.0, 523.0) && level(&without.0, 330.0) < 0.1 * level(&all.0, 330.0));
        assert!(only.1.is_some() && all.1.is_none());
        assert!(Arc::ptr_eq(&only, &get(Apart::Only(left))));
        // A record in the centre says that nothing can be taken out.
        let mono: Vec<f32> = (0..96_000).map(|n| tone(330.0, n)).collect();
        let centre = Record::of("b.wav", Buffer::new(48_000, vec![mono.clone(), mono]).unwrap());
        assert!(kept.get(&centre, 0.0, 1.0, Apart::Only(0.0), &Alone).unwrap_err().contains("centre"));
    }
}
