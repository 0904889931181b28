//! Notes and scratches on a grid, written out as a part in lesson text.
//!
//! Notes that begin together are a stroke; strings and frets are the cheapest way through the whole part ([`neck::path_with`], which also weighs what the
//! sound says of the strings); what is struck more than once as a whole gets a letter, and strokes of some of its strings are written with it. Bars that come
//! back one after the other are written once. A bar that holds anything doubtful is marked `sure="guess"`.

use crate::grid::{Grid, Place};
use crate::heard::{TakenNote, TakenScratch};
use lesson::{Attack, Beats, GRIP_LETTERS};
use neck::{Hand, Instrument, PathOptions, Timed, Unplaced};
use std::collections::BTreeMap;

/// Onsets closer than this are one stroke, as long as no string sounds twice (a slow strum's neighbouring strings).
pub(crate) const TOGETHER_S: f64 = 0.05;
/// Notes and scratches less sure than this, and notes struck alone whose string is, make their bar a guess.
const DOUBTFUL: f64 = 0.5;
/// A stroke this far from its place makes its bar a guess.
const OFF_S: f64 = 0.045;

/// What the part is written with.
#[derive(Clone, Debug)]
pub struct Settings {
    pub instrument: Instrument,
    /// A bass instead of a guitar.
    pub bass: bool,
    pub hand: Hand,
    /// Name of the part; small letters, digits and `-`.
    pub name: String,
}

/// A take, written out.
#[derive(Clone, Debug, PartialEq)]
pub struct WrittenOut {
    /// The part, `part "name" instrument="guitar" { … }`, without indent.
    pub part: String,
    /// A whole lesson with one passage that holds the part.
    pub lesson: String,
    /// Where the first full bar begins in the take, seconds.
    pub first_bar_s: f64,
    /// How many bars hold something doubtful, of how many that are written out.
    pub doubtful_bars: usize,
    pub bars: usize,
}

/// A stroke: which notes it has, or a scratch.
struct Stroke {
    at: Place,
    /// Where its sound ends.
    until: Place,
    /// Indices of notes; none in a scratch.
    notes: Vec<usize>,
    /// How its notes begin, all alike.
    attack: Attack,
    doubtful: bool,
}

/// Writes a take out, its notes at the places that [`places`] gave. Without notes and scratches the part has no bars.
pub fn write_out(notes: &[TakenNote], places: &[(u8, u8)], scratches: &[TakenScratch], grid: &Grid, settings: &Settings) -> WrittenOut {
    let strokes = strokes(notes, scratches, places, grid, settings);
    let bar = Beats::from_integer(i64::from(grid.meter.beats()));
    let bar_of = |p: Place| (p / bar).floor().to_integer();
    let first = strokes.first().map_or(0, |s| bar_of(s.at));
    let last = strokes.last().map_or(first - 1, |s| bar_of(s.at));
    let grips = grips(&strokes, places);
    let mut lines: Vec<(String, bool, usize)> = Vec::new();
    let mut doubtful_bars = 0;
    for b in first..=last {
        let line = line(&strokes, b, grid, places, &grips);
        let doubtful = strokes.iter().any(|s| bar_of(s.at) == b && s.doubtful);
        doubtful_bars += usize::from(doubtful);
        match lines.last_mut() {
            Some(l) if l.0 == line && l.1 == doubtful => l.2 += 1,
            _ => lines.push((line, doubtful, 1)),
        }
    }
    let mut part = format!("part \"{}\" instrument=\"{}\"", settings.name, if settings.bass { "bass" } else { "guitar" });
    part.push_str(&neck_words(settings));
    part.push_str(" {\n");
    for (letter, frets) in &grips {
        let shown: Vec<String> = frets.iter().map(|f| f.map_or("x".into(), |f| f.to_string())).collect();
        part.push_str(&format!("  grip \"{letter}\" \"{}\"\n", pad(&shown, settings.instrument.strings())));
    }
    for (line, doubtful, times) in &lines {
        let silent = line.split_whitespace().all(|t| t == ".");
        let mut text = if silent { "  rest".to_string() } else { format!("  bar \"{line}\"") };
        if *times > 1 {
            text.push_str(&format!(" times={times}"));
        }
        if *doubtful && !silent {
            text.push_str(" sure=\"guess\"");
        }
        part.push_str(&text);
        part.push('\n');
    }
    part.push_str("}\n");
    let lesson = whole(&part, grid);
    let first_bar_s = grid.time((first * bar.to_integer()) as f64);
    WrittenOut { part, lesson, first_bar_s, doubtful_bars, bars: (last - first + 1).max(0) as usize }
}

/// String (1 = highest) and fret of each note: the cheapest way through the whole part, in the light of what the sound says of the strings.
///
/// # Errors
/// [`Unplaced`]: a note that the instrument does not have.
pub fn places(notes: &[TakenNote], settings: &Settings) -> Result<Vec<(u8, u8)>, Unplaced> {
    let timed: Vec<Timed> = notes.iter().map(|n| Timed { onset_s: n.onset_s, duration_s: (n.offset_s - n.onset_s).max(0.0), midi: n.midi }).collect();
    let joined: Vec<usize> = (0..notes.len()).filter(|i| notes[*i].attack != Attack::Struck).collect();
    let strings: Vec<Vec<f64>> = notes.iter().map(|n| n.strings.clone()).collect();
    let options = PathOptions { joined: &joined, strings: &strings, ..PathOptions::default() };
    neck::path_with(&timed, &settings.instrument, &settings.hand, &options)
}

fn pad(shown: &[String], strings: usize) -> String {
    let mut all = vec!["x".to_string(); strings.saturating_sub(shown.len())];
    all.extend_from_slice(shown);
    all.join(" ")
}

/// Tuning and capo, where they are not the usual ones.
fn neck_words(settings: &Settings) -> String {
    let i = &settings.instrument;
    let usual = if settings.bass { Instrument::bass() } else { Instrument::guitar() };
    let mut out = String::new();
    if i.strings() != usual.strings() {
        out.push_str(&format!(" strings={}", i.strings()));
    }
    if !i.tuning.is_standard() {
        out.push_str(&format!(" tuning=\"{}\"", i.tuning.name));
    }
    if i.capo != 0 {
        out.push_str(&format!(" capo={}", i.capo));
    }
    out
}

/// The part as the one of a lesson.
fn whole(part: &str, grid: &Grid) -> String {
    let mut out = "lesson \"A take\" {\n  passage \"take\" {\n".to_string();
    out.push_str(&format!("    tempo {}\n    meter \"{}\"\n", (grid.bpm() * 10.0).round() / 10.0, grid.meter));
    out.push_str(&format!("    slots {}\n", grid.slots_per_beat() * grid.meter.beats()));
    if let Some(s) = grid.swing {
        out.push_str(&format!("    swing {} of=\"1/{}\"\n", s.percent.round(), (Beats::from_integer(4) / s.unit).to_integer()));
    }
    for line in part.lines() {
        out.push_str(&format!("    {line}\n"));
    }
    out.push_str("  }\n}\n");
    out
}

/// Strokes in order, each on a place of its own.
fn strokes(notes: &[TakenNote], scratches: &[TakenScratch], places: &[(u8, u8)], grid: &Grid, settings: &Settings) -> Vec<Stroke> {
    // Onset, notes (none: a scratch), confidence.
    let mut found: Vec<(f64, Vec<usize>, f64)> = Vec::new();
    let mut order: Vec<usize> = (0..notes.len()).collect();
    order.sort_by(|a, b| notes[*a].onset_s.total_cmp(&notes[*b].onset_s));
    for i in order {
        let n = &notes[i];
        match found.last_mut() {
            Some((t, list, sure)) if n.onset_s - *t < TOGETHER_S && list.iter().all(|j| places[*j].0 != places[i].0 && notes[*j].attack == n.attack) => {
                list.push(i);
                *sure = sure.min(n.confidence);
            }
            _ => found.push((n.onset_s, vec![i], n.confidence)),
        }
    }
    for s in scratches {
        if found.iter().all(|f| f.1.is_empty() || (f.0 - s.onset_s).abs() >= TOGETHER_S) {
            found.push((s.onset_s, vec![], s.confidence));
        }
    }
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let onsets: Vec<f64> = found.iter().map(|f| f.0).collect();
    let at = grid.places(&onsets);
    let mut out: Vec<Stroke> = Vec::with_capacity(found.len());
    for ((onset, list, sure), (place, off)) in found.into_iter().zip(at) {
        let doubtful = sure < DOUBTFUL || off.abs() > OFF_S || matches!(list[..], [i] if elsewhere(&notes[i], places[i], settings));
        let mut ends: Vec<f64> = list.iter().map(|i| notes[*i].offset_s).collect();
        ends.sort_by(f64::total_cmp);
        let length = ends.get(ends.len() / 2).map_or(0.0, |e| (e - onset).max(0.0));
        let until = place + slots_of(grid, length);
        match out.last_mut() {
            // Two strokes that fell on one place are one.
            Some(s) if s.at >= place => {
                s.notes.extend(list.iter().filter(|i| !s.notes.iter().any(|j| places[*j].0 == places[**i].0)).copied().collect::<Vec<_>>());
                s.until = s.until.max(until);
                s.doubtful = true;
            }
            _ => {
                let attack = list.first().map_or(Attack::Struck, |i| notes[*i].attack);
                out.push(Stroke { at: place, until, notes: list, attack, doubtful });
            }
        }
    }
    join(&mut out, places);
    out
}

/// Whether a note may as well lie on another string than that where it was put, by what is known of its strings; grips are held by the hand, and not asked.
fn elsewhere(note: &TakenNote, place: (u8, u8), settings: &Settings) -> bool {
    let strings = settings.instrument.strings();
    let all: f64 = note.strings.iter().sum();
    let own = strings.checked_sub(usize::from(place.0)).and_then(|s| note.strings.get(s));
    note.strings.len() == strings && all > 0.0 && own.is_some_and(|p| p / all < DOUBTFUL)
}

/// A stroke that is slid, hammered or pulled to must find each of its strings ringing, at a fret from which that can be done; else it is struck.
fn join(strokes: &mut [Stroke], places: &[(u8, u8)]) {
    for i in 0..strokes.len() {
        let attack = strokes[i].attack;
        if attack == Attack::Struck {
            continue;
        }
        let (before, now) = strokes.split_at_mut(i);
        let (before, now) = (before.last_mut(), &mut now[0]);
        let can = |from: u8, to: u8| match attack {
            Attack::Hammered => from < to,
            Attack::Pulled => from > to,
            _ => from != to && to > 0,
        };
        let from = |b: &Stroke, string: u8| b.notes.iter().map(|j| places[*j]).find(|p| p.0 == string).map(|p| p.1);
        match before {
            Some(b) if now.notes.iter().all(|n| from(b, places[*n].0).is_some_and(|f| can(f, places[*n].1))) => b.until = b.until.max(now.at),
            _ => now.attack = Attack::Struck,
        }
    }
}

/// A length in beats, to half a slot.
fn slots_of(grid: &Grid, seconds: f64) -> Beats {
    let per_beat = i64::from(grid.slots_per_beat()) * 2;
    Beats::new((seconds * grid.bpm() / 60.0 * per_beat as f64).round() as i64, per_beat)
}

/// Frets of a stroke, low string to high.
fn shape(notes: &[usize], places: &[(u8, u8)]) -> Vec<Option<u8>> {
    let strings = notes.iter().map(|i| usize::from(places[*i].0)).max().unwrap_or(0);
    (1..=strings).rev().map(|s| notes.iter().find(|i| usize::from(places[**i].0) == s).map(|i| places[*i].1)).collect()
}

type Frets = Vec<Option<u8>>;

/// Whether the second is the first, or some of its strings. Both run to string 1.
fn holds(grip: &Frets, some: &Frets) -> bool {
    some.len() <= grip.len() && grip[grip.len() - some.len()..].iter().zip(some).all(|(g, s)| s.is_none() || s == g)
}

/// Letters for what is struck as a whole: first the largest, lettered in the order of playing.
fn grips(strokes: &[Stroke], places: &[(u8, u8)]) -> Vec<(char, Frets)> {
    let mut counts: BTreeMap<Frets, (usize, usize)> = BTreeMap::new();
    for (i, s) in strokes.iter().enumerate().filter(|(_, s)| s.notes.len() >= 2) {
        let mut frets = shape(&s.notes, places);
        // To string 1, so that shapes compare string by string.
        let lowest = s.notes.iter().map(|i| usize::from(places[*i].0)).max().unwrap_or(0);
        frets.resize(lowest, None);
        let entry = counts.entry(frets).or_insert((0, i));
        entry.0 += 1;
    }
    let size = |f: &Frets| f.iter().flatten().count();
    let mut list: Vec<(Frets, usize, usize)> = counts.into_iter().map(|(f, (n, first))| (f, n, first)).collect();
    // What is struck alone and once, with two strings, is written as it is.
    list.retain(|(f, n, _)| *n >= 2 || size(f) >= 3);
    list.sort_by_key(|(f, n, first)| (std::cmp::Reverse(size(f)), std::cmp::Reverse(*n), *first));
    let mut taken: Vec<(Frets, usize)> = Vec::new();
    for (f, _, first) in list {
        if !taken.iter().any(|(g, _)| holds(g, &f)) && taken.len() < GRIP_LETTERS.len() {
            taken.push((f, first));
        }
    }
    taken.sort_by_key(|t| t.1);
    GRIP_LETTERS.chars().zip(taken).map(|(c, (f, _))| (c, f)).collect()
}

/// A stroke as a token.
fn token(s: &Stroke, places: &[(u8, u8)], grips: &[(char, Frets)]) -> String {
    if s.notes.is_empty() {
        return "x".into();
    }
    let sign = match s.attack {
        Attack::Struck => "",
        Attack::Hammered => "H",
        Attack::Pulled => "P",
        Attack::Slid => "/",
    };
    let frets = shape(&s.notes, places);
    if s.notes.len() >= 2
        && let Some((letter, grip)) = grips.iter().filter(|(_, g)| holds(g, &frets)).min_by_key(|(_, g)| g.iter().flatten().count())
    {
        let mut strings: Vec<u8> = s.notes.iter().map(|i| places[*i].0).collect();
        strings.sort_unstable_by(|a, b| b.cmp(a));
        let all = grip.iter().flatten().count() == strings.len();
        let some: String = strings.iter().map(u8::to_string).collect();
        return if all { format!("{sign}{letter}") } else { format!("{sign}{letter}{some}") };
    }
    let mut own: Vec<(u8, u8)> = s.notes.iter().map(|i| places[*i]).collect();
    own.sort_unstable_by(|a, b| b.cmp(a));
    format!("{sign}{}", own.iter().map(|(s, f)| format!("{s}:{f}")).collect::<Vec<_>>().join("+"))
}

/// One bar as a stroke line: slots, or brackets where a beat has triplets, sextuplets or halved slots.
fn line(strokes: &[Stroke], bar: i64, grid: &Grid, places: &[(u8, u8)], grips: &[(char, Frets)]) -> String {
    let slots = i64::from(grid.slots_per_beat());
    let beats = i64::from(grid.meter.beats());
    let cell = |at: Beats, len: Beats| -> String {
        if let Some(s) = strokes.iter().find(|s| s.at == at) {
            return token(s, places, grips);
        }
        let rings = strokes.iter().rev().find(|s| s.at < at).is_some_and(|s| !s.notes.is_empty() && s.until >= at + len / Beats::from_integer(2));
        if rings { "-" } else { "." }.into()
    };
    let run = |from: Beats, len: Beats, n: i64| -> Vec<String> { (0..n).map(|k| cell(from + len * Beats::new(k, n), len / Beats::from_integer(n))).collect() };
    let mut out: Vec<String> = Vec::new();
    for b in 0..beats {
        let from = Beats::from_integer(bar * beats + b);
        let inside: Vec<Beats> = strokes.iter().map(|s| s.at - from).filter(|p| *p >= Beats::from_integer(0) && *p < Beats::from_integer(1)).collect();
        let on = |n: i64| inside.iter().all(|p| (p * Beats::from_integer(n)).is_integer());
        let one = Beats::from_integer(1);
        let words = if on(slots) {
            run(from, one, slots)
        } else if slots == 4 && (on(3) || on(6)) {
            vec![format!("[{}]=4", run(from, one, if on(3) { 3 } else { 6 }).join(" "))]
        } else {
            (0..slots)
                .map(|k| {
                    let at = from + Beats::new(k, slots);
                    let half = at + Beats::new(1, 2 * slots);
                    if strokes.iter().any(|s| s.at == half) { format!("[{}]=1", run(at, Beats::new(1, slots), 2).join(" ")) } else { cell(at, Beats::new(1, slots)) }
                })
                .collect()
        };
        out.push(words.join(" "));
    }
    out.join("  ")
}
