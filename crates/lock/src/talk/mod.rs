//! The running order: what to say about each passage, computed from its parts as a draft, with the teacher's own words before it, and about how long
//! it takes.
//!
//! # What is drafted
//! For each part which grips it has, on which strings and frets, what they are called over the bass and of which full grip they are a part; for parts without
//! grips where they lie and how they are played. Then what moves from one grip to the next, and what comes back from bar to bar. At last how
//! the parts lock, from [`crate::Lock`].
//!
//! # What outranks it
//! The lesson's `note` and `say`. Words at a bar of a part stand in place of all that is drafted on that part's changes in that bar; a note at a bar and on no
//! part in place of all that is drafted on changes in that bar; a note on a part and at no bar in place of everything that is drafted on that
//! part. A note on the passage as a whole comes first and replaces nothing. So a draft is edited by writing what is right into the lesson.

mod changes;
mod grips;
mod lines;

use crate::findings::words::{Name, sentence};
use crate::harmony::{Sign, Signs};
use crate::share::lock;
use lesson::{Beats, Event, Kind, Lesson, Part, Passage};
use pitch::{Midi, Name as ChordName, Symbol};

pub use grips::parent_of;

/// One passage of the running order.
#[derive(Clone, Debug, PartialEq)]
pub struct Talk {
    /// Index into the lesson's passages.
    pub passage: usize,
    /// In the order in which they are said.
    pub points: Vec<Point>,
    /// About how long the words take.
    pub talking_s: f64,
    /// How long the passage takes to play as often as the pace says.
    pub playing_s: f64,
}

/// Something to say.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    pub topic: Topic,
    /// Index into the passage's parts; `None` where it is about all of them.
    pub part: Option<usize>,
    /// Index into the passage's bars, where it is about one.
    pub bar: Option<usize>,
    /// Whole sentences, without the place.
    pub text: String,
    /// The same in as few words as one reads from a stand; the teacher's own words are never shortened.
    pub short: String,
}

/// What a point is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Topic {
    /// A remark of the teacher's (`note`).
    Note,
    /// The teacher's words under a bar (`say`).
    Say,
    /// A grip: where it lies, its name, its parent.
    Grip,
    /// A part without grips: where it lies, how it is played.
    Line,
    /// From one grip to the next.
    Change,
    /// What comes back from bar to bar.
    Again,
    /// How the parts fit together.
    Lock,
}

/// How fast the teacher talks and how often a passage is played.
#[derive(Clone, Debug, PartialEq)]
pub struct Pace {
    pub words_a_minute: f64,
    /// Tempo of each round in per cent of the written one.
    pub rounds_percent: Vec<u32>,
}

impl Default for Pace {
    /// 130 words a minute, calm speech (value from memory); once slowly, twice at tempo.
    fn default() -> Pace {
        Pace { words_a_minute: 130.0, rounds_percent: vec![60, 100, 100] }
    }
}

/// The running order of a lesson, a passage after the other. Tempos of 0 and words a minute that are not above 0 count as no time.
///
/// ```
/// let text = r#"lesson "t" { passage "p" { tempo 90; slots 4; key "C minor"
///   part "chop" instrument="guitar" { grip "a" "x x 8 8 8 x"; grip "b" "x x 7 8 8 x"; bar "a - . ."; bar "b - . ." }
///   part "floor" instrument="bass" { bar "3:3 - - -"; bar "3:5 - - -" }
///   note "Only one finger moves." at="2.1" part="chop" } }"#;
/// let order = lock::running_order(&lesson::read(text).lesson, &lock::Pace::default());
/// let points = &order[0].points;
/// // Strings 4, 3 and 2 are string by string what the fuller grip has.
/// assert_eq!(points[0].text, "Grip a: strings 4, 3 and 2 at fret 8. Over the floor's C it is Cm7 without its root: seventh, third and fifth. \
///     It is part of the minor seventh at fret 8, root on string 6.");
/// // The note stands where the change was drafted.
/// assert!(points.iter().any(|p| p.text == "Only one finger moves."));
/// assert!(points.iter().all(|p| p.topic != lock::Topic::Change));
/// ```
pub fn running_order(lesson: &Lesson, pace: &Pace) -> Vec<Talk> {
    let one = |(index, passage): (usize, &Passage)| {
        let points = ordered(passage, own(passage), draft(passage));
        let words: usize = points.iter().map(|p| p.text.split_whitespace().count()).sum();
        let talking_s = if pace.words_a_minute > 0.0 { words as f64 / pace.words_a_minute * 60.0 } else { 0.0 };
        let rounds: f64 = pace.rounds_percent.iter().filter(|p| **p > 0).map(|p| 100.0 / f64::from(*p)).sum();
        Talk { passage: index, points, talking_s, playing_s: passage.duration() * rounds }
    };
    lesson.passages.iter().enumerate().map(one).collect()
}

/// All that can be drafted on a passage, whatever the teacher wrote. Empty for a passage in which nothing is played.
pub fn draft(passage: &Passage) -> Vec<Point> {
    let heard = Heard { passage, signs: Signs::of(passage) };
    let mut out = Vec::new();
    for index in (0..passage.parts.len()).filter(|i| speaks(&passage.parts[*i])) {
        let grips = grips::on_grips(&heard, index);
        if grips.is_empty() {
            out.extend(lines::on_line(passage, index));
        }
        out.extend(grips);
        out.extend(changes::on_changes(&heard, index));
        out.extend(changes::on_bars(passage, index));
    }
    let lock = lock(passage);
    let guitars = |p: &&crate::Pair| p.parts.iter().all(|i| passage.parts[*i].kind == Kind::Guitar);
    let of_pairs = lock.pairs.iter().filter(guitars).flat_map(|p| p.findings.iter().take(2));
    for text in of_pairs.chain(lock.findings.iter().take(3)) {
        out.push(Point { topic: Topic::Lock, part: None, bar: None, text: text.clone(), short: text.trim_end_matches('.').to_string() });
    }
    out
}

impl Point {
    /// The point with its place before it: "Chop, bar 2: …".
    pub fn spoken(&self, passage: &Passage) -> String {
        placed(passage, self, &self.text)
    }

    /// The short form with its place before it: "Chop a: …" for a grip.
    pub fn at_a_glance(&self, passage: &Passage) -> String {
        let out = placed(passage, self, &self.short);
        if self.topic == Topic::Grip { out.replacen(": ", " ", 1) } else { out }
    }
}

fn placed(passage: &Passage, point: &Point, text: &str) -> String {
    let part = point.part.and_then(|i| passage.parts.get(i)).map(|p| p.name.clone());
    let bar = point.bar.and_then(|b| passage.bars.get(b)).map(|b| if b.number == 0 { "pickup".to_string() } else { format!("bar {}", b.number) });
    let place: Vec<String> = [part, bar].into_iter().flatten().collect();
    if place.is_empty() { text.to_string() } else { format!("{}: {text}", sentence(&place.join(", ")).trim_end_matches('.')) }
}

/// Whether a part is spoken of by itself: those on strings that are no easier way to play another.
fn speaks(part: &Part) -> bool {
    part.easier_of.is_none() && part.neck.is_some() && matches!(part.kind, Kind::Guitar | Kind::Bass)
}

/// The teacher's words, each once.
fn own(passage: &Passage) -> Vec<Point> {
    let mut out: Vec<Point> = Vec::new();
    let mut add = |topic: Topic, part: Option<usize>, bar: Option<usize>, text: &str| {
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        if !text.is_empty() && !out.iter().any(|p| p.part == part && p.text == text) {
            out.push(Point { topic, part, bar, short: text.clone(), text });
        }
    };
    for note in &passage.notes {
        let part = note.part.as_ref().and_then(|n| passage.parts.iter().position(|p| p.name == *n && p.easier_of.is_none()));
        add(Topic::Note, part, note.at.map(|at| at.0), &note.text);
    }
    for (i, part) in passage.parts.iter().enumerate().filter(|(_, p)| p.easier_of.is_none()) {
        for (b, bar) in part.bars.iter().enumerate() {
            if let Some(say) = &bar.say {
                add(Topic::Say, Some(i), Some(b), say);
            }
        }
    }
    out
}

/// Whether a drafted point gives way to words of the teacher's.
fn gives_way(draft: &Point, own: &Point) -> bool {
    match (own.part, own.bar) {
        (Some(part), None) => draft.part == Some(part),
        (part, Some(bar)) => draft.topic == Topic::Change && draft.bar == Some(bar) && (part.is_none() || draft.part == part),
        (None, None) => false,
    }
}

/// First what is about all, then part by part (where it lies, then bar by bar), then how they fit together.
fn ordered(passage: &Passage, own: Vec<Point>, drafted: Vec<Point>) -> Vec<Point> {
    let mut all: Vec<Point> = drafted.into_iter().filter(|d| !own.iter().any(|o| gives_way(d, o))).collect();
    // The teacher's words stand before what was drafted for the same place.
    all.splice(0..0, own);
    let parts = passage.parts.len();
    all.sort_by_key(|p| match (p.topic, p.part, p.bar) {
        (Topic::Lock, ..) => (parts + 2, 0, 0),
        (_, None, None) => (0, 0, 0),
        (_, None, Some(bar)) => (parts + 1, 2, bar),
        (Topic::Grip | Topic::Line, Some(part), _) | (Topic::Note, Some(part), None) => (1 + part, 0, 0),
        (Topic::Again, Some(part), _) => (1 + part, 1, 0),
        (_, Some(part), bar) => (1 + part, 2, bar.unwrap_or(0)),
    });
    all
}

/// A passage and the signs of its stretches.
struct Heard<'a> {
    passage: &'a Passage,
    signs: Signs,
}

/// What notes at a place are called.
struct Called {
    symbol: Symbol,
    /// `None` where the teacher fixed the name.
    name: Option<ChordName>,
}

impl Heard<'_> {
    /// The name of notes of a part at a place: a name fixed for the grip, one fixed from a bar on, else the best.
    fn called(&self, part: &Part, fixed: Option<&Symbol>, notes: &[Midi], (bar, at): (usize, Beats)) -> Option<Called> {
        let pin = part.name_pins.iter().rev().find(|n| (n.bar, n.at) <= (bar, at)).map(|n| &n.symbol);
        if let Some(symbol) = pin.or(fixed) {
            return Some(Called { symbol: symbol.clone(), name: None });
        }
        let name = self.signs.name_notes(self.passage, notes, Some((bar, at))).names.into_iter().next()?;
        Some(Called { symbol: name.symbol.clone(), name: Some(name) })
    }

    /// The sign at a place.
    fn sign(&self, bar: usize, at: Beats) -> Option<&Sign> {
        let start = self.passage.bars.get(bar)?.start;
        self.signs.list.iter().find(|s| s.bar == bar && s.from <= start + at && start + at < s.to)
    }

    /// "the floor's A": the bass part's note under a place; `None` without a bass part, for the bass itself, and where it is silent.
    fn over(&self, part: usize, bar: usize, at: Beats, symbol: &Symbol) -> Option<String> {
        let bass = self.passage.parts.iter().position(|p| p.kind == Kind::Bass && p.easier_of.is_none()).filter(|b| *b != part)?;
        let sign = self.sign(bar, at)?;
        let midi = self.signs.bass_at(sign.from, sign.to)?;
        let note = crate::findings::words::spelling(self.passage.key, Some(symbol), midi);
        Some(format!("{} {note}", Name::of(&self.passage.parts[bass]).own()))
    }

    fn text(&self, symbol: &Symbol) -> String {
        symbol.text(self.passage.chord_names)
    }
}

/// Where a stroke's pitched notes arrive, low string first, as (string, fret).
fn places(event: &Event) -> Vec<(u8, u8)> {
    event.notes.iter().filter(|n| !n.dead).filter_map(|n| n.place().map(|(s, f)| (s, n.slide_to.unwrap_or(f)))).collect()
}

/// "strings 4, 3 and 2", "strings 5 to 1", "string 3".
fn strings_words(strings: &[u8]) -> String {
    let words: Vec<String> = strings.iter().map(u8::to_string).collect();
    let run = strings.windows(2).all(|w| w[0] == w[1] + 1);
    match strings {
        [one] => format!("string {one}"),
        [first, .., last] if run && strings.len() > 3 => format!("strings {first} to {last}"),
        _ => format!("strings {}", crate::findings::words::list(&words)),
    }
}

#[cfg(test)]
mod tests;
