//! How each pair of parts shares time and register, in figures.
//!
//! # Pairs
//! Every two parts that count (see [`crate::LockMap`]), in the order of the lesson's text. A kit of drums stands in a pair with its kick
//! where the other part is a bass, otherwise with kick and snare: hats and cymbals that go on all the time lock with nothing.
//!
//! # Slots
//! Each slot of the common grid is one of: *shared* (both parts have an onset in it), *alternating* (one has, the other rests or
//! rings on), *empty* (neither has). The three add up to all slots. Within the empty ones those are *silent* in which neither
//! part sounds on from before. Scratches and ghosted strokes are onsets.

use crate::clash::{self, Clash, Judge, clashes};
use crate::findings;
use crate::harmony::{BeatHarmony, harmony};
use crate::map::{Heard, Hit, LockMap, MapBar, Range, counts, heard};
use crate::steady::Steady;
use crate::ticks::{quarters, ticks};
use lesson::{Drum, Kind, Passage};

/// A passage's lock: the map, every pair's figures and findings, and the findings on the whole.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Lock {
    pub map: LockMap,
    pub pairs: Vec<Pair>,
    /// Sentences on all parts together; one after another they are a paragraph.
    pub findings: Vec<String>,
}

/// Two parts.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    /// Indices into the passage's parts, the earlier first. Everything that stands twice below is in this order.
    pub parts: [usize; 2],
    /// The drums that stand for a kit in this pair; empty where neither part is one.
    pub drums: Vec<Drum>,
    /// Slots of the common grid in the whole passage.
    pub slots: u32,
    /// Slots struck by both.
    pub shared: u32,
    /// Shared slots in which both begin a note with a pitch.
    pub shared_pitched: u32,
    /// Slots struck by one of them.
    pub alternating: u32,
    /// The alternating slots by who strikes.
    pub alone: [u32; 2],
    /// Of those alone: slots in which the other is silent, and does not ring on.
    pub into_silence: [u32; 2],
    /// Slots struck by neither.
    pub empty: u32,
    /// Of the empty slots: those in which neither rings on.
    pub silent: u32,
    /// Onsets.
    pub onsets: [u32; 2],
    /// Onsets a full bar.
    pub density: [f64; 2],
    /// `None` unless both have pitches.
    pub register: Option<PairRegister>,
    /// Part of the passage's length in which pitches of both sound, 0..=1.
    pub together: f64,
    /// In order of time, the first [`crate::CLASHES_MAX`]; findings speak of these.
    pub clashes: Vec<Clash>,
    /// How many more there are.
    pub more_clashes: usize,
    /// Sentences; one after another they are a paragraph.
    pub findings: Vec<String>,
}

/// How two parts with pitches lie to each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PairRegister {
    pub ranges: [Range; 2],
    /// Semitones that the ranges have in common, see [`Range::overlap`].
    pub overlap: i32,
    /// The same for what sounds at each moment, on the average over the time in which both sound; `None` where they never do.
    pub sounding_overlap: Option<f64>,
    /// Part of that time in which all that sounds of the first lies over all of the second, and the reverse; 0..=1 each. The rest is
    /// interlocked.
    pub above: [f64; 2],
}

/// The lock of a passage under its own harmony, see [`crate::harmony()`].
///
/// ```
/// let text = r#"lesson "t" { passage "p" { tempo 90; slots 8
///   part "chop" instrument="guitar" { bar ". . 3:5 .  . . 3:5 ." }
///   part "floor" instrument="bass" { bar "4:3 - - .  4:3 . 4:3 ." } } }"#;
/// let lock = lock::lock(&lesson::read(text).lesson.passages[0]);
/// let pair = &lock.pairs[0];
/// // Eighths: the bass strikes on 1, 3 and 4, the guitar on 2 and 4. They meet on 4.
/// assert_eq!((pair.shared, pair.alternating, pair.empty), (1, 3, 4));
/// // On 2 the guitar strikes over a bass that rings on. Of the empty eighths the bass rings through the first alone.
/// assert_eq!((pair.alone, pair.into_silence, pair.silent), ([1, 2], [0, 2], 3));
/// // C4 lies 29 semitones over the bass's G1.
/// assert_eq!(pair.register.unwrap().overlap, -29);
/// ```
pub fn lock(passage: &Passage) -> Lock {
    lock_under(passage, &harmony(passage))
}

/// The lock of a passage under a harmony (one entry a beat, in order).
pub fn lock_under(passage: &Passage, harmony: &[BeatHarmony]) -> Lock {
    let heard = heard(passage, harmony);
    let levels: Vec<Vec<Level>> = heard.steady.iter().map(|s| levels(s)).collect();
    let grid = Grid::of(&heard.map.bars);
    let sung: Vec<clash::Voice> = heard.steady.iter().zip(&passage.parts).map(|(notes, p)| clash::Voice { notes, bass: p.kind == Kind::Bass }).collect();
    let judge = Judge::of(passage, &heard.map.chords);
    let members: Vec<usize> = (0..passage.parts.len()).filter(|p| counts(&passage.parts[*p])).collect();
    let voices: Vec<Vec<(Vec<Drum>, Voice)>> = members.iter().map(|p| voices(passage, &heard, &grid, *p)).collect();
    let mut pairs = Vec::new();
    for (x, i) in members.iter().enumerate() {
        for (y, j) in members.iter().enumerate().skip(x + 1) {
            let (Some((drums_a, a)), Some((drums_b, b))) = (beside(&voices[x], passage, *j), beside(&voices[y], passage, *i)) else { continue };
            let mut pair = figures(&grid, [a, b]);
            pair.parts = [*i, *j];
            pair.drums = drums_a.iter().chain(drums_b).copied().collect();
            pair.drums.sort();
            pair.drums.dedup();
            let length = ticks(passage.length());
            register(&mut pair, [&levels[*i], &levels[*j]], [a.range, b.range], length);
            (pair.clashes, pair.more_clashes) = clashes(passage, &judge, [&sung[*i], &sung[*j]]);
            pairs.push(pair);
        }
    }
    for pair in &mut pairs {
        pair.findings = findings::on_pair(passage, &heard.map, pair);
    }
    let findings = findings::on_whole(passage, &heard.map, &pairs);
    Lock { map: heard.map, pairs, findings }
}

/// All slots of a passage in one line.
struct Grid {
    /// For each bar its start and length in ticks, its slots, and the slots before it.
    bars: Vec<(i64, i64, i64, usize)>,
    slots: usize,
}

impl Grid {
    fn of(bars: &[MapBar]) -> Grid {
        let mut slots = 0;
        let bars = bars
            .iter()
            .map(|b| {
                let before = slots;
                slots += b.slots as usize;
                (ticks(b.start), ticks(b.length).max(1), i64::from(b.slots), before)
            })
            .collect();
        Grid { bars, slots }
    }

    fn slot(&self, hit: &Hit) -> usize {
        self.bars.get(hit.bar).map_or(0, |b| b.3 + hit.slot as usize - 1)
    }

    /// The number of slots that begin before a time.
    fn begun(&self, at: i64) -> usize {
        let Some(&(start, length, slots, before)) = self.bars.partition_point(|b| b.0 < at).checked_sub(1).and_then(|i| self.bars.get(i)) else { return 0 };
        // A slot whose start is rounded to a tick may seem to begin two early.
        let into = (at - start - 2).max(0);
        before + ((into * slots).div_euclid(length) + i64::from(into * slots % length != 0)).min(slots) as usize
    }
}

/// A row of bits, one a slot.
#[derive(Clone, Debug)]
struct Bits(Vec<u64>);

impl Bits {
    fn none(slots: usize) -> Bits {
        Bits(vec![0; slots.div_ceil(64)])
    }

    fn set(&mut self, i: usize) {
        if let Some(w) = self.0.get_mut(i / 64) {
            *w |= 1 << (i % 64);
        }
    }
}

/// What one part brings into a pair.
struct Voice {
    struck: Bits,
    pitched: Bits,
    rings: Bits,
    onsets: u32,
    density: f64,
    range: Option<Range>,
}

/// The ways in which a part stands in pairs: one, or for a kit kick alone (first) and kick and snare.
fn voices(passage: &Passage, heard: &Heard, grid: &Grid, part: usize) -> Vec<(Vec<Drum>, Voice)> {
    let sets = if passage.parts[part].kind == Kind::Drums { vec![vec![Drum::Kick], vec![Drum::Kick, Drum::Snare]] } else { vec![vec![]] };
    let build = |drums: Vec<Drum>| {
        let mut v = Voice { struck: Bits::none(grid.slots), pitched: Bits::none(grid.slots), rings: Bits::none(grid.slots), onsets: 0, density: 0.0, range: None };
        let rows = heard.map.rows.iter().filter(|r| r.part == part && r.drum.is_none_or(|d| drums.contains(&d)));
        let (mut onsets, mut bars) = (Vec::new(), 0.0);
        for row in rows {
            v.range = row.range;
            bars = if row.density > 0.0 { row.hits.len() as f64 / row.density } else { bars };
            for h in &row.hits {
                let slot = grid.slot(h);
                v.struck.set(slot);
                onsets.push((h.bar, h.at));
                if h.range.is_some() {
                    v.pitched.set(slot);
                }
                if h.range.is_some()
                    && let Some(bar) = grid.bars.get(h.bar)
                {
                    let end = bar.0 + ticks(h.at + h.length);
                    (slot + 1..grid.begun(end)).for_each(|s| v.rings.set(s));
                }
            }
        }
        onsets.sort();
        onsets.dedup();
        v.onsets = onsets.len() as u32;
        v.density = if bars > 0.0 { onsets.len() as f64 / bars } else { 0.0 };
        (drums, v)
    };
    sets.into_iter().map(build).collect()
}

/// The voice with which a part stands beside another.
fn beside<'a>(voices: &'a [(Vec<Drum>, Voice)], passage: &Passage, other: usize) -> Option<(&'a [Drum], &'a Voice)> {
    let chosen = if passage.parts[other].kind == Kind::Bass { voices.first() } else { voices.last() };
    chosen.map(|(d, v)| (d.as_slice(), v))
}

fn figures(grid: &Grid, v: [&Voice; 2]) -> Pair {
    let words = grid.slots.div_ceil(64);
    let count = |f: &dyn Fn(usize) -> u64| (0..words).map(|w| f(w).count_ones()).sum::<u32>();
    let (s, r) = ([&v[0].struck.0, &v[1].struck.0], [&v[0].rings.0, &v[1].rings.0]);
    let shared = count(&|w| s[0][w] & s[1][w]);
    let alone = [count(&|w| s[0][w] & !s[1][w]), count(&|w| s[1][w] & !s[0][w])];
    let empty = grid.slots as u32 - shared - alone[0] - alone[1];
    Pair {
        parts: [0, 0],
        drums: vec![],
        slots: grid.slots as u32,
        shared,
        shared_pitched: count(&|w| v[0].pitched.0[w] & v[1].pitched.0[w]),
        alternating: alone[0] + alone[1],
        alone,
        into_silence: [count(&|w| s[0][w] & !s[1][w] & !r[1][w]), count(&|w| s[1][w] & !s[0][w] & !r[0][w])],
        empty,
        silent: empty - count(&|w| (r[0][w] | r[1][w]) & !s[0][w] & !s[1][w]),
        onsets: [v[0].onsets, v[1].onsets],
        density: [v[0].density, v[1].density],
        register: None,
        together: 0.0,
        clashes: vec![],
        more_clashes: 0,
        findings: vec![],
    }
}

/// Lowest and highest pitch of a part in a stretch of time.
#[derive(Clone, Copy, Debug)]
struct Level {
    from: i64,
    to: i64,
    range: Range,
}

/// What a part's pitches span from moment to moment.
fn levels(notes: &[Steady]) -> Vec<Level> {
    let mut out: Vec<Level> = Vec::new();
    let mut on: Vec<&Steady> = Vec::new();
    let mut now = 0;
    let mut until = |on: &mut Vec<&Steady>, now: i64, end: i64| {
        let mut now = now;
        while now < end && !on.is_empty() {
            let to = on.iter().map(|n| n.to).min().unwrap_or(end).min(end);
            let (low, high) = (on.iter().map(|n| n.midi).min(), on.iter().map(|n| n.midi).max());
            if let (Some(low), Some(high)) = (low, high) {
                out.push(Level { from: now, to, range: Range { low, high } });
            }
            on.retain(|n| n.to > to);
            now = to;
        }
    };
    for n in notes {
        until(&mut on, now, n.from);
        now = n.from;
        on.push(n);
    }
    until(&mut on, now, i64::MAX);
    out
}

fn register(pair: &mut Pair, levels: [&[Level]; 2], ranges: [Option<Range>; 2], length: i64) {
    let [Some(a), Some(b)] = ranges else { return };
    let (mut i, mut j) = (0, 0);
    let (mut both, mut weighed, mut over) = (0i64, 0.0, [0i64; 2]);
    while let (Some(x), Some(y)) = (levels[0].get(i), levels[1].get(j)) {
        let span = x.to.min(y.to) - x.from.max(y.from);
        if span > 0 {
            both += span;
            weighed += quarters(span) * f64::from(x.range.overlap(y.range));
            over[0] += if x.range.low > y.range.high { span } else { 0 };
            over[1] += if y.range.low > x.range.high { span } else { 0 };
        }
        if x.to <= y.to {
            i += 1;
        } else {
            j += 1;
        }
    }
    let part = |t: i64, of: i64| if of > 0 { quarters(t) / quarters(of) } else { 0.0 };
    pair.together = part(both, length).min(1.0);
    pair.register = Some(PairRegister {
        ranges: [a, b],
        overlap: a.overlap(b),
        sounding_overlap: (both > 0).then(|| weighed / quarters(both)),
        above: over.map(|o| part(o, both)),
    });
}
