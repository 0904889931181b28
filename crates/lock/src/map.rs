//! The lock map as data: every part's hits on one common grid of slots, and the chords over them.
//!
//! From the soundings of each part and the harmony of each beat. Swing does not count: all times are written ones.
//!
//! # Which parts
//! All but clicks and parts that are an easier way to play another. A part of drums has a row for each drum that it plays
//! (open and closed hats share one), every other part has one row.
//!
//! # The grid
//! Each bar has its own: the coarsest on which the slots of all parts in that bar and every onset in it lie, brackets included, up to
//! [`SLOTS_MAX`] slots a bar. An onset that would need a finer one counts in the slot in which it begins.

use crate::chords::{Chord, chords};
use crate::harmony::BeatHarmony;
use crate::steady::{Steady, arrival, heard_length};
use crate::ticks::ticks;
use lesson::{Attack, Beats, Drum, Kind, Part, Passage, Sounding, Source, soundings};
use pitch::Midi;

/// Most slots that a bar of the common grid has: enough for threes, fives and sevens in one bar of sixteenths.
pub const SLOTS_MAX: u32 = 1680;

/// What a drawing of the lock needs: time across, parts down. Empty where the passage has no bars or no parts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LockMap {
    /// One for each bar of the passage.
    pub bars: Vec<MapBar>,
    /// In the order of the lesson's text; the drums of a kit stand together.
    pub rows: Vec<Row>,
    /// In order of time; each lies within one bar, and together they cover all bars.
    pub chords: Vec<Chord>,
}

/// A bar and its grid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MapBar {
    /// As [`lesson::Bar::number`]: from 1 as played, 0 for a pickup.
    pub number: u32,
    /// From the passage's start.
    pub start: Beats,
    pub length: Beats,
    /// Length of a beat.
    pub beat: Beats,
    /// Slots of the common grid, all equally long; at least 1.
    pub slots: u32,
}

impl MapBar {
    /// Length of one slot of the common grid.
    pub fn slot(&self) -> Beats {
        self.length / Beats::from_integer(i64::from(self.slots.max(1)))
    }
}

/// One part, or one drum of a kit.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Index into the passage's parts.
    pub part: usize,
    /// Which drum, in a part of drums; [`Drum::Hats`] stands for open hats too.
    pub drum: Option<Drum>,
    /// The part's name; for a drum the drum's word.
    pub name: String,
    /// In order of time.
    pub hits: Vec<Hit>,
    /// Lowest and highest pitch of all hits; `None` without pitches.
    pub range: Option<Range>,
    /// Hits a full bar of the meter, on the average of the whole passage.
    pub density: f64,
}

/// A lowest and a highest pitch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Range {
    pub low: Midi,
    pub high: Midi,
}

impl Range {
    fn with(self, other: Range) -> Range {
        Range { low: self.low.min(other.low), high: self.high.max(other.high) }
    }

    /// Semitones that two ranges have in common: 5 where they share C4 to F4, 0 where they touch at one pitch, negative where
    /// a gap of so many semitones lies between them. The same from both sides.
    pub fn overlap(self, other: Range) -> i32 {
        i32::from(self.high.0.min(other.high.0)) - i32::from(self.low.0.max(other.low.0))
    }
}

/// One onset: all notes of a part (or of one drum) that begin at the same time.
///
/// Hammered, pulled and slid notes begin without a stroke and still count; a held note that is only bent or let down does not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hit {
    /// Index into the passage's bars.
    pub bar: usize,
    /// From the bar's start, exact.
    pub at: Beats,
    /// Slot of the common grid, from 1.
    pub slot: u32,
    /// How long its longest note sounds, over bar lines too; a short note counts half. A scratch or drum: its written length.
    pub length: Beats,
    /// Lowest and highest note, where slides and bends within the stroke arrive; `None` for scratches and drums.
    pub range: Option<Range>,
    pub scratch: bool,
    pub accent: bool,
    /// Every note of it is ghosted.
    pub ghost: bool,
    /// No note of it is struck: hammered, pulled off or slid into.
    pub legato: bool,
    /// Index into the events of the part's bar.
    pub event: usize,
}

/// Everything about a passage that the figures are taken from, computed once.
pub(crate) struct Heard {
    pub map: LockMap,
    /// For each part of the passage, in order of time; empty for parts that do not count.
    pub steady: Vec<Vec<Steady>>,
}

/// The lock map of a passage under a harmony (one entry a beat, as [`crate::harmony()`] gives it).
pub fn lock_map(passage: &Passage, harmony: &[BeatHarmony]) -> LockMap {
    heard(passage, harmony).map
}

/// Whether a part takes part.
pub(crate) fn counts(part: &Part) -> bool {
    part.easier_of.is_none() && part.kind != Kind::Click
}

pub(crate) fn heard(passage: &Passage, harmony: &[BeatHarmony]) -> Heard {
    let mut bars: Vec<MapBar> = passage
        .bars
        .iter()
        .enumerate()
        .map(|(i, b)| MapBar { number: b.number, start: b.start, length: b.length, beat: b.meter.beat(), slots: written_slots(passage, i) })
        .collect();
    for part in passage.parts.iter().filter(|p| counts(p)) {
        for s in soundings(part) {
            if let Some(bar) = bars.get_mut(s.bar) {
                refine(bar, s.at - bar.start);
            }
        }
    }
    let full_bars: Beats = passage.bars.iter().map(|b| b.length / b.meter.length()).sum();
    let full_bars = *full_bars.numer() as f64 / *full_bars.denom() as f64;
    let mut rows = Vec::new();
    let mut steady = Vec::with_capacity(passage.parts.len());
    for (index, part) in passage.parts.iter().enumerate() {
        let mut notes = Vec::new();
        if counts(part) {
            let all: Vec<&Sounding> = soundings(part).iter().collect();
            let mut add = |drum: Option<Drum>, name: &str, of: &[&Sounding]| {
                let hits = hits(of, &bars);
                let range = hits.iter().filter_map(|h| h.range).reduce(Range::with);
                let density = if full_bars > 0.0 { hits.len() as f64 / full_bars } else { 0.0 };
                rows.push(Row { part: index, drum, name: name.to_string(), hits, range, density });
            };
            if part.kind == Kind::Drums {
                for drum in [Drum::Kick, Drum::Snare, Drum::Hats, Drum::Ride, Drum::Crash, Drum::Tom] {
                    let of: Vec<&Sounding> = all.iter().copied().filter(|s| row_drum(s) == Some(drum)).collect();
                    if !of.is_empty() {
                        add(Some(drum), drum_word(drum), &of);
                    }
                }
            } else {
                add(None, &part.name, &all);
                notes = crate::steady::steady(part);
            }
        }
        steady.push(notes);
    }
    let chords = chords(passage, harmony, &steady);
    Heard { map: LockMap { bars, rows, chords }, steady }
}

/// Slots that hold those of every part in a bar.
fn written_slots(passage: &Passage, bar: usize) -> u32 {
    let of_parts = passage.parts.iter().filter(|p| counts(p)).filter_map(|p| p.bars.get(bar)).map(|b| b.slots);
    of_parts.filter(|s| *s > 0).fold(1, |all, s| within(lcm(all, s)).unwrap_or(all))
}

/// Cuts a bar's slots finer until an onset lies on one.
fn refine(bar: &mut MapBar, at: Beats) {
    let (at_ticks, length) = (ticks(at), ticks(bar.length));
    if length <= 0 || at_ticks * i64::from(bar.slots) % length == 0 {
        return;
    }
    let share = at / bar.length;
    if let Some(finer) = u32::try_from(*share.denom()).ok().and_then(|d| within(lcm(bar.slots, d))) {
        bar.slots = finer;
    }
}

fn within(slots: u64) -> Option<u32> {
    u32::try_from(slots).ok().filter(|s| (1..=SLOTS_MAX).contains(s))
}

fn lcm(a: u32, b: u32) -> u64 {
    let (mut x, mut y) = (a, b);
    while y != 0 {
        (x, y) = (y, x % y);
    }
    u64::from(a) * u64::from(b / x.max(1))
}

/// Slot of the common grid, from 1, in which a distance from the bar's start lies.
fn slot_at(bar: &MapBar, at: Beats) -> u32 {
    // Two ticks' grace for times that are no whole number of ticks.
    let slot = (ticks(at) + 2) * i64::from(bar.slots) / ticks(bar.length).max(1);
    (slot.max(0) as u32 + 1).min(bar.slots.max(1))
}

fn row_drum(s: &Sounding) -> Option<Drum> {
    match s.source {
        Source::Drum(Drum::OpenHats) => Some(Drum::Hats),
        Source::Drum(d) => Some(d),
        _ => None,
    }
}

/// The trade's word for a drum.
pub fn drum_word(drum: Drum) -> &'static str {
    match drum {
        Drum::Kick => "kick",
        Drum::Snare => "snare",
        Drum::Hats | Drum::OpenHats => "hats",
        Drum::Ride => "ride",
        Drum::Crash => "crash",
        Drum::Tom => "tom",
    }
}

fn hits(soundings: &[&Sounding], bars: &[MapBar]) -> Vec<Hit> {
    let mut out = Vec::new();
    for notes in soundings.chunk_by(|a, b| a.at == b.at) {
        let first = notes[0];
        let Some(bar) = bars.get(first.bar) else { continue };
        let pitched = |s: &&Sounding| !s.dead && !matches!(s.source, Source::Drum(_) | Source::Click);
        let one = |s: &Sounding| Range { low: arrival(s), high: arrival(s) };
        let range = notes.iter().copied().filter(pitched).map(one).reduce(Range::with);
        let drum = matches!(first.source, Source::Drum(_));
        let at = first.at - bar.start;
        out.push(Hit {
            bar: first.bar,
            at,
            slot: slot_at(bar, at),
            length: notes.iter().filter(|s| range.is_none() || pitched(s)).map(|s| heard_length(s)).max().unwrap_or_default(),
            range,
            scratch: range.is_none() && !drum,
            accent: notes.iter().any(|s| s.accent),
            ghost: notes.iter().all(|s| s.ghost),
            legato: notes.iter().all(|s| s.attack != Attack::Struck),
            event: first.event,
        });
    }
    out
}
