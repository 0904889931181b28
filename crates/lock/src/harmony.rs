//! Harmony over time: the sign of every beat, written or weighed from all parts, and what each part has of it.
//!
//! # Conventions
//! One entry a beat of every full bar and of a pickup's beats, in order. Parts that are an easier way to play another do not count.
//!
//! # Method
//! Each bar is cut into stretches: whole where one sign explains it and no half of it holds two plainer chords, else halves, else beats; written harmony is cut
//! as it is written. Within a stretch
//! every pitch is weighed by how long it sounds, and what has less than a tenth of the whole passes by. Then all stretches of the passage are
//! named together ([`pitch::harmony()`]), so that neighbours and bars that come back speak for each other. The bass is the bass part's pitch of the
//! greatest weight (its first note counts double), else the lowest note most of the time.

use crate::ticks::ticks;
use lesson::{Beats, HarmonySpan, Kind, Passage, soundings};
use pitch::{Classes, Context, Degree, First, FirstName, Harmony, Held, Midi, Naming, Stretch, Symbol, Timing, Weighed, first_name, first_names, names};
use std::collections::BTreeMap;

/// Part of the whole weight below which a pitch passes by, when a bar is cut up.
const PASSING: f64 = 0.1;

/// The harmony of one beat.
#[derive(Clone, Debug, PartialEq)]
pub struct BeatHarmony {
    /// Index into the passage's bars.
    pub bar: usize,
    /// From 1.
    pub beat: u32,
    /// `None` where nothing sounds, nothing has a name, or the teacher wrote that there is no chord.
    pub symbol: Option<Symbol>,
    /// From the teacher's `chords`.
    pub written: bool,
}

/// The harmony of a stretch of one bar.
#[derive(Clone, Debug, PartialEq)]
pub struct StretchHarmony {
    /// Index into the passage's bars.
    pub bar: usize,
    /// First beat, from 1, and how many.
    pub beat: u32,
    pub beats: u32,
    /// From the start of the passage.
    pub from: Beats,
    pub to: Beats,
    /// `None` where nothing sounds, nothing has a name, or the teacher wrote that there is no chord.
    pub symbol: Option<Symbol>,
    /// From the teacher's `chords`.
    pub written: bool,
    /// What is heard, whatever is written: ranked names of all parts together, with reasons.
    pub heard: Harmony,
    /// What each part has of it; parts that are silent here are left out.
    pub parts: Vec<PartHarmony>,
}

/// What one part has of the harmony of a stretch.
#[derive(Clone, Debug, PartialEq)]
pub struct PartHarmony {
    /// Index into the passage's parts.
    pub part: usize,
    /// What its notes would be called alone: one guitar's major triad over the bass can be the band's minor seventh.
    pub alone: Naming,
    /// Its degrees over the root of `symbol`, by number, each once; empty without a symbol.
    pub degrees: Vec<Degree>,
}

/// The harmony of every beat of a passage.
pub fn harmony(passage: &Passage) -> Vec<BeatHarmony> {
    Signs::of(passage).harmony()
}

/// The harmony of a passage, stretch by stretch.
///
/// ```
/// let text = r#"lesson "t" { passage "p" { tempo 90; slots 4; key "C minor"
///   part "chop" instrument="guitar" { grip "a" "x x 8 8 8 x"; bar "a - - -" }
///   part "floor" instrument="bass" { bar "3:3 - - -" } } }"#;
/// let lesson = lesson::read(text).lesson;
/// let first = &lock::stretches(&lesson.passages[0])[0];
/// // The band plays Cm7, the guitar alone Eb; the guitar has third, fifth and seventh.
/// assert_eq!(first.symbol.as_ref().unwrap().to_string(), "Cm7");
/// assert_eq!(first.parts[0].alone.names[0].symbol.to_string(), "Eb/Bb");
/// assert_eq!(first.parts[0].degrees.iter().map(|d| d.to_string()).collect::<Vec<_>>(), ["b3", "5", "b7"]);
/// assert_eq!(first.parts[1].degrees[0].to_string(), "R");
/// ```
pub fn stretches(passage: &Passage) -> Vec<StretchHarmony> {
    let sound = Sound::of(passage);
    let cuts = cut(passage, &sound, &mut BTreeMap::new());
    let (held, times) = asked(&sound, &cuts);
    let heard = pitch::harmony(&held, &times, passage.key, Timing::QUARTERS);
    cuts.into_iter()
        .zip(heard)
        .map(|(c, heard)| {
            let classes: Classes = heard.notes.iter().map(|n| n.class()).collect();
            let s = sign(passage, c, Some(First { symbol: heard.naming.names.first().map(|n| n.symbol.clone()), classes: classes.len() }));
            let parts = parts(&sound, passage, (s.from, s.to), s.symbol.as_ref());
            StretchHarmony { bar: s.bar, beat: s.beat, beats: s.beats, from: s.from, to: s.to, symbol: s.symbol, written: s.written, heard, parts }
        })
        .collect()
}

/// A stretch and its sign, without what it is made of.
pub(crate) struct Sign {
    pub bar: usize,
    beat: u32,
    beats: u32,
    pub from: Beats,
    pub to: Beats,
    pub symbol: Option<Symbol>,
    pub written: bool,
}

/// The harmony of a passage and the sounds that it comes from, worked out once for all that asks for names: they are the slow part of naming.
pub struct Signs {
    pub(crate) list: Vec<Sign>,
    sound: Sound,
}

/// What was worked out of a passage's bars and stretches, so that [`Signs::again`] need not do so anew where nothing changed.
#[derive(Default)]
pub struct Worked {
    key: Option<pitch::Key>,
    /// How a bar was cut, by its place and what sounds in it.
    cells: BTreeMap<Inside, Vec<(u32, u32)>>,
    weighed: Weighed,
}

/// A time as numerator and denominator: compared sooner than as a number.
type Raw = (i64, i64);

/// A bar as it is cut: start, length and beat, and the notes that sound in it with their beginning and end.
type Inside = ([Raw; 3], Vec<(Raw, Raw, Midi, bool)>);

fn raw(b: Beats) -> Raw {
    (*b.numer(), *b.denom())
}

impl Signs {
    /// The signs of all stretches; what is heard counts only where something is not written.
    pub fn of(passage: &Passage) -> Signs {
        Signs::again(passage, &mut Worked::default())
    }

    /// As [`Signs::of`], with what was worked out before.
    pub fn again(passage: &Passage, worked: &mut Worked) -> Signs {
        let sound = Sound::of(passage);
        let list = if (0..passage.bars.len()).all(|i| !written_in(passage, i).is_empty()) {
            cut(passage, &Sound::default(), &mut BTreeMap::new()).into_iter().map(|c| sign(passage, c, None)).collect()
        } else {
            if worked.key != passage.key {
                *worked = Worked { key: passage.key, ..Worked::default() };
            }
            let cuts = cut(passage, &sound, &mut worked.cells);
            let (held, times) = asked(&sound, &cuts);
            let first = first_names(&held, &times, passage.key, Timing::QUARTERS, &mut worked.weighed);
            cuts.into_iter().zip(first).map(|(c, f)| sign(passage, c, Some(f))).collect()
        };
        Signs { list, sound }
    }

    /// As [`harmony`].
    pub fn harmony(&self) -> Vec<BeatHarmony> {
        let of = |s: &Sign| {
            let (bar, symbol, written) = (s.bar, s.symbol.clone(), s.written);
            (s.beat..s.beat + s.beats).map(move |beat| BeatHarmony { bar, beat, symbol: symbol.clone(), written })
        };
        self.list.iter().flat_map(of).collect()
    }

    /// As [`bass_at`].
    pub(crate) fn bass_at(&self, from: Beats, to: Beats) -> Option<Midi> {
        bass_of(&weigh(&self.sound, from, to))
    }
}

fn sign(passage: &Passage, c: Cut, heard: Option<First>) -> Sign {
    let written = c.written.is_some();
    let symbol = c.written.unwrap_or_else(|| {
        let First { symbol, classes } = heard?;
        // One note is no harmony, and two before the first bar are a step into it.
        let least = if passage.bars[c.bar].number == 0 { 3 } else { 2 };
        symbol.filter(|_| classes >= least)
    });
    Sign { bar: c.bar, beat: c.beat, beats: c.beats, from: c.from, to: c.to, symbol, written }
}

/// Notes and stretches in quarter notes.
fn asked(sound: &Sound, cuts: &[Cut]) -> (Vec<Held>, Vec<Stretch>) {
    let held = sound.notes.iter().map(|n| Held { midi: n.midi, from: quarters(n.from), to: quarters(n.to), bass: n.bass }).collect();
    (held, cuts.iter().map(|c| Stretch { from: quarters(c.from), to: quarters(c.to) }).collect())
}

/// The bass part's pitch between two written times of the passage, weighed so that a passing note does not count; `None`
/// where no bass part sounds.
pub fn bass_at(passage: &Passage, from: Beats, to: Beats) -> Option<Midi> {
    bass_of(&weigh(&Sound::of(passage), from, to))
}

/// A note of a part that counts.
struct Sounding {
    part: usize,
    midi: Midi,
    from: Beats,
    to: Beats,
    bass: bool,
}

/// All of them in order of time, so that a stretch can be looked up, and how long the longest is.
#[derive(Default)]
struct Sound {
    notes: Vec<Sounding>,
    longest: Beats,
}

impl Sound {
    fn of(passage: &Passage) -> Sound {
        let mut notes = Vec::new();
        let mut longest = (0, Beats::from_integer(0));
        for (part, p) in passage.parts.iter().enumerate() {
            if p.easier_of.is_some() || matches!(p.kind, Kind::Drums | Kind::Click) {
                continue;
            }
            let bass = p.kind == Kind::Bass;
            for s in soundings(p).iter().filter(|s| !s.dead) {
                notes.push(Sounding { part, midi: s.midi, from: s.at, to: s.at + s.len, bass });
                let length = ticks(s.len);
                if length > longest.0 {
                    longest = (length, s.len);
                }
            }
        }
        notes.sort_by_cached_key(|n| ticks(n.from));
        let longest = longest.1;
        Sound { notes, longest }
    }

    /// Notes that sound between two times.
    fn between(&self, from: Beats, to: Beats) -> impl Iterator<Item = &Sounding> {
        let begun = self.notes.partition_point(|n| n.from + self.longest <= from);
        self.notes[begun..].iter().take_while(move |n| n.from < to).filter(move |n| n.to > from)
    }
}

fn quarters(b: Beats) -> f64 {
    *b.numer() as f64 / *b.denom() as f64
}

/// A stretch before it is named.
struct Cut {
    bar: usize,
    beat: u32,
    beats: u32,
    from: Beats,
    to: Beats,
    written: Option<Option<Symbol>>,
}

/// The written harmony of a bar.
fn written_in(passage: &Passage, bar: usize) -> &[HarmonySpan] {
    let from = passage.harmony.partition_point(|h| h.bar < bar);
    let to = passage.harmony.partition_point(|h| h.bar <= bar);
    &passage.harmony[from..to]
}

/// `known` has bars that were cut before; those that are not asked for again are let go.
fn cut(passage: &Passage, sound: &Sound, known: &mut BTreeMap<Inside, Vec<(u32, u32)>>) -> Vec<Cut> {
    let mut now = BTreeMap::new();
    let mut out: Vec<Cut> = Vec::new();
    for (i, bar) in passage.bars.iter().enumerate() {
        let beat = bar.meter.beat();
        let count = ((bar.length / beat).ceil()).to_integer().max(1) as u32;
        let place = |n: u32| (beat * Beats::from_integer(i64::from(n))).min(bar.length);
        let one = |a: u32, b: u32, written| Cut { bar: i, beat: a + 1, beats: b - a, from: bar.start + place(a), to: bar.start + place(b), written };
        let written = written_in(passage, i);
        if !written.is_empty() {
            let span = |n: u32| written.iter().position(|h| h.at <= place(n) && place(n) < h.at + h.len);
            let mut a = 0;
            while a < count {
                let b = (a + 1..count).find(|&n| span(n) != span(a)).unwrap_or(count);
                out.push(one(a, b, Some(span(a).and_then(|s| written[s].symbol.clone()))));
                a = b;
            }
            continue;
        }
        let end = bar.start + bar.length;
        let notes = sound.between(bar.start, end).map(|n| (raw(n.from), raw(n.to), n.midi, n.bass)).collect();
        let inside: Inside = ([bar.start, bar.length, beat].map(raw), notes);
        let cells = known.remove(&inside).unwrap_or_else(|| cells(sound, passage, count, &|n| bar.start + place(n)));
        out.extend(cells.iter().map(|(a, b)| one(*a, *b, None)));
        now.insert(inside, cells);
    }
    *known = now;
    out
}

/// A bar of `count` beats cut into pieces of one harmony, in order: first beat from 0, and the one after the last. `time` gives the time of a beat.
fn cells(sound: &Sound, passage: &Passage, count: u32, time: &impl Fn(u32) -> Beats) -> Vec<(u32, u32)> {
    let mut out = Vec::new();
    let mut open: Vec<(u32, u32)> = vec![(0, count)];
    while let Some((a, b)) = open.pop() {
        if is_one(sound, passage, a, b, time) {
            out.push((a, b));
        } else {
            let middle = a + (b - a).div_ceil(2);
            open.push((middle, b));
            open.push((a, middle));
        }
    }
    out
}

/// A pitch and for how long it sounds in a stretch, in quarter notes.
#[derive(Clone, Copy, Debug)]
struct Weight {
    midi: Midi,
    length: f64,
    bass: bool,
    first: Beats,
}

fn bass_of(weights: &[Weight]) -> Option<Midi> {
    let first = weights.iter().filter(|w| w.bass).map(|w| w.first).min()?;
    let score = |w: &Weight| w.length * if w.first == first { 2.0 } else { 1.0 };
    weights.iter().filter(|w| w.bass).max_by(|a, b| score(a).total_cmp(&score(b)).then(b.midi.cmp(&a.midi))).map(|w| w.midi)
}

/// Pitches that sound between two written times.
fn weigh(sound: &Sound, from: Beats, to: Beats) -> Vec<Weight> {
    let mut out: Vec<Weight> = Vec::new();
    for n in sound.between(from, to) {
        let (a, b) = (n.from.max(from), n.to.min(to));
        match out.iter_mut().find(|w| w.midi == n.midi && w.bass == n.bass) {
            Some(w) => {
                w.length += quarters(b - a);
                w.first = w.first.min(a);
            }
            None => out.push(Weight { midi: n.midi, length: quarters(b - a), bass: n.bass, first: a }),
        }
    }
    out.sort_by_key(|w| (w.midi, w.bass));
    out
}

/// The plainest name of what does not pass by, if one sign explains it well enough; the outer `None` where nothing sounds.
fn clear_name(weights: &[Weight], passage: &Passage) -> Option<Option<FirstName>> {
    if weights.is_empty() {
        return None;
    }
    // By class: a note doubled at the octave is one tone of the chord.
    let mut by_class = [0.0f64; 12];
    for w in weights {
        by_class[usize::from(w.midi.class().0)] += w.length;
    }
    let total: f64 = by_class.iter().sum();
    let stays = |m: Midi| by_class[usize::from(m.class().0)] >= PASSING * total;
    let mut notes: Vec<Midi> = weights.iter().map(|w| w.midi).filter(|m| stays(*m)).collect();
    notes.dedup();
    let context = Context { bass: bass_of(weights), key: passage.key, ..Context::default() };
    let distinct = by_class.iter().filter(|w| **w >= PASSING * total).count();
    Some(first_name(&notes, &context).filter(|n| distinct <= 5 && n.omitted.len() <= 1))
}

/// Whether the beats `a` up to `b` of a bar have one harmony: one sign explains them, and no half of them holds two plainer, complete chords on different
/// roots. `time` gives the time of a beat.
fn is_one(sound: &Sound, passage: &Passage, a: u32, b: u32, time: &impl Fn(u32) -> Beats) -> bool {
    let name = |a: u32, b: u32| clear_name(&weigh(sound, time(a), time(b)), passage);
    if b - a <= 1 {
        return true;
    }
    let Some(name_of_all) = name(a, b) else { return true };
    let Some(all) = name_of_all else { return false };
    let middle = a + (b - a).div_ceil(2);
    let complete = |n: &FirstName| n.omitted.is_empty() && n.symbol.tones.len() > 2;
    let two = match (name(a, middle).flatten(), name(middle, b).flatten()) {
        (Some(x), Some(y)) => complete(&x) && complete(&y) && x.symbol.root.class() != y.symbol.root.class() && x.points.max(y.points) < all.points,
        _ => false,
    };
    !two && is_one(sound, passage, a, middle, time) && is_one(sound, passage, middle, b, time)
}

/// What each part has of a stretch.
fn parts(sound: &Sound, passage: &Passage, (from, to): (Beats, Beats), symbol: Option<&Symbol>) -> Vec<PartHarmony> {
    let mut out = Vec::new();
    for part in 0..passage.parts.len() {
        let mut notes: Vec<Midi> = sound.between(from, to).filter(|n| n.part == part).map(|n| n.midi).collect();
        if notes.is_empty() {
            continue;
        }
        notes.sort();
        notes.dedup();
        let alone = names(&notes, &Context { key: passage.key, ..Context::default() });
        let mut degrees: Vec<Degree> = symbol.map_or(vec![], |s| notes.iter().map(|n| s.degree_or_plain(n.class())).collect());
        degrees.sort();
        degrees.dedup();
        out.push(PartHarmony { part, alone, degrees });
    }
    out
}
