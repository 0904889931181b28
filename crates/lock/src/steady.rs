//! What pitch sounds from when to when: each note's course cut into the stretches in which it holds still.

use crate::ticks::ticks;
use lesson::{Beats, Part, Sounding, soundings};
use pitch::Midi;

/// A pitch that holds still, in ticks from the passage's start.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Steady {
    pub from: i64,
    pub to: i64,
    pub midi: Midi,
    /// `from` in written time, exact.
    pub at: Beats,
}

/// How long a note is heard, counted in written time: one that is played short for half its length.
pub(crate) fn heard_length(s: &Sounding) -> Beats {
    if s.short { s.len / Beats::from_integer(2) } else { s.len }
}

/// Points of the pitch course: written time from the onset, cents from the note.
fn course(s: &Sounding) -> Vec<(Beats, f64)> {
    let zero = Beats::from_integer(0);
    let mut points = Vec::new();
    if let Some((reached, semitones)) = s.slide {
        points.push((zero, 0.0));
        points.push((reached, f64::from(semitones) * 100.0));
    }
    let base = s.slide.map_or(0.0, |(_, semitones)| f64::from(semitones) * 100.0);
    // A bend of a slid note begins where the slide has arrived.
    let after = s.slide.map_or(zero, |(reached, _)| reached);
    points.extend(s.bend.iter().filter(|(at, _)| s.slide.is_none() || *at > after).map(|(at, cents)| (*at, base + cents)));
    points
}

/// Whole semitones of a bend; the quarter tone that colours a note does not move it.
fn moved(midi: Midi, cents: f64) -> Midi {
    midi.up((cents / 100.0).trunc() as i32).unwrap_or(midi)
}

/// The first pitch on which a note rests: where a slide within the stroke or a bend arrives.
pub(crate) fn arrival(s: &Sounding) -> Midi {
    let points = course(s);
    let still = points.windows(2).find(|w| w[0].1 == w[1].1).map(|w| w[0].1);
    // A course that never holds still between two of its points arrives at the last.
    let cents = match (points.as_slice(), still) {
        ([], _) => 0.0,
        // Bent only later on.
        ([first, ..], _) if first.0 > Beats::from_integer(0) => 0.0,
        (_, Some(c)) => c,
        ([.., last], None) => last.1,
    };
    moved(s.midi, cents)
}

/// The steady pitches of a part in order of time. Dead notes have none, and a pitch in motion (a slide within the stroke, a bend
/// on its way) counts only from where it arrives.
pub(crate) fn steady(part: &Part) -> Vec<Steady> {
    let mut out = Vec::with_capacity(soundings(part).len());
    for s in soundings(part).iter().filter(|s| !s.dead) {
        let length = heard_length(s);
        let (from, to) = (ticks(s.at), ticks(s.at + length));
        if s.slide.is_none() && s.bend.is_empty() {
            if from < to {
                out.push(Steady { from, to, midi: s.midi, at: s.at });
            }
            continue;
        }
        let points = course(s);
        let mut push = |a: Beats, b: Beats, cents: f64| {
            let at = s.at + a;
            let (from, to) = (ticks(at), ticks(s.at + b).min(to));
            if from < to {
                out.push(Steady { from, to, midi: moved(s.midi, cents), at });
            }
        };
        if let Some(first) = points.first() {
            push(Beats::from_integer(0), first.0, 0.0);
        }
        for w in points.windows(2).filter(|w| w[0].1 == w[1].1) {
            push(w[0].0, w[1].0, w[0].1);
        }
        if let Some(last) = points.last() {
            push(last.0, length, last.1);
        }
    }
    out.sort_by_key(|s| (s.from, s.midi, s.to));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(bar: &str) -> Part {
        let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 90; slots 8; part \"g\" instrument=\"guitar\" {{ bar \"{bar}\" }} }} }}");
        let reading = lesson::read(&text);
        assert!(reading.is_sound(), "{:?}", reading.problems);
        reading.lesson.passages[0].parts[0].clone()
    }

    /// Steady pitches as (first eighth, end, midi).
    fn eighths(bar: &str) -> Vec<(f64, f64, u8)> {
        steady(&part(bar)).iter().map(|s| (crate::ticks::quarters(s.from) * 2.0, crate::ticks::quarters(s.to) * 2.0, s.midi.0)).collect()
    }

    #[test]
    fn pitches_count_where_they_hold_still() {
        // String 3, fret 5 is C4 (60).
        assert_eq!(eighths("3:5 - . .  . . . ."), [(0.0, 2.0, 60)]);
        // Short: half.
        assert_eq!(eighths("3:5' - . .  . . . ."), [(0.0, 1.0, 60)]);
        // Slid from fret 5 to 7 in the first half of its slot: D4 from there on.
        assert_eq!(eighths("3:5/7 - . .  . . . ."), [(0.5, 2.0, 62)]);
        // Bent a whole tone, let down again: D4, then C4.
        assert_eq!(eighths("3:5!1 - ^0 -  . . . ."), [(0.0, 2.0, 62), (2.5, 4.0, 60)]);
        // A quarter tone only colours.
        assert_eq!(eighths("3:5^.25 - . .  . . . ."), [(0.5, 2.0, 60)]);
        // A scratch has no pitch.
        assert_eq!(eighths("x . . .  . . . ."), []);
    }

    #[test]
    fn a_hit_has_the_pitch_where_it_arrives() {
        for (bar, midi) in [("3:5/7 - . .  . . . .", 62), ("3:5^1 - . .  . . . .", 62), ("3:5!1 - ^0 -  . . . .", 62), ("3:5 - . .  . . . .", 60), ("3:5 - ^1 -  . . . .", 60)] {
            assert_eq!(arrival(&soundings(&part(bar))[0]), Midi(midi), "{bar}");
        }
    }
}
