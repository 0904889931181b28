//! How much a part asks of a player, roughly, from 1 to 5.
//!
//! # Method
//! Points, set by hand:
//! - strokes a second, counted over the whole passage at its own tempo: from 1.5 one point, from 3 two, from 5 three, from 8 four;
//! - the widest grip, in millimetres along the neck between its lowest and highest fretted place: from 60 one point, from 100 two;
//! - techniques other than accents, staccato, capo and tuning: from two one point, from four two.
//!
//! Half of the points, rounded down, and 1. It says nothing of how hard a rhythm is to feel: an order for the shelf, not a judgement.

use crate::technique::{Technique, Use};
use lesson::{Part, Passage};

/// The level of a part, 1 (plain) to 5; `None` where it is not for guitar or bass or nothing is struck.
///
/// ```
/// let text = r#"lesson "t" { passage "p" { tempo 120; slots 8
///   part "slow" instrument="guitar" { bar "3:5 - - -  - - - -" }
///   part "fast" instrument="guitar" { bar "3:5 H3:7 P3:5 3:7/9  3:9^1 3:7~ 3:5 3:7" } } }"#;
/// let passage = &lesson::read(text).lesson.passages[0];
/// let level = |i: usize| shelf::level(passage, &passage.parts[i], &shelf::techniques(&passage.parts[i]));
/// // Four strokes a second and five techniques: four points.
/// assert_eq!((level(0), level(1)), (Some(1), Some(3)));
/// ```
pub fn level(passage: &Passage, part: &Part, uses: &[Use]) -> Option<u8> {
    let neck = part.neck.as_ref()?;
    let events = || part.bars.iter().flat_map(|b| &b.events);
    let strokes = events().filter(|e| !e.tie_in && !e.held).count();
    let seconds = passage.duration();
    if strokes == 0 || seconds <= 0.0 {
        return None;
    }
    let widest_mm = events()
        .map(|e| {
            let frets = || e.notes.iter().filter_map(|n| n.place()).map(|(_, f)| f).filter(|f| *f > 0);
            let mm = |f: u8| neck.fret_mm(f.saturating_add(neck.capo));
            frets().max().map_or(0.0, mm) - frets().min().map_or(0.0, mm)
        })
        .fold(0.0, f64::max);
    let plain = [Technique::Accent, Technique::Staccato, Technique::Capo, Technique::OtherTuning];
    let techniques = uses.iter().filter(|u| !plain.contains(&u.technique)).count();
    let points = |value: f64, from: &[f64]| from.iter().filter(|f| value >= **f).count();
    let all = points(strokes as f64 / seconds, &[1.5, 3.0, 5.0, 8.0]) + points(widest_mm, &[60.0, 100.0]) + points(techniques as f64, &[2.0, 4.0]);
    Some(1 + all as u8 / 2)
}
