//! The lesson as it is after reading: every default filled in, every repeat played out, every grip turned into notes.
//!
//! Two views of a part stand side by side. [`PartBar::events`] is what is *written* (one event a stroke, for the page);
//! [`crate::sounding`] gives what is *heard* (one entry a note, ties and slides joined, for the ear).

use neck::{Finger, Grip, Instrument};
use num_rational::Ratio;
use pitch::{Key, Midi, Style, Symbol};

/// Written time in quarter notes, exact.
pub type Beats = Ratio<i64>;

/// A place in the lesson text: byte offsets, end exclusive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Span {
    pub start: usize,
    pub end: usize,
}

/// A whole lesson.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Lesson {
    /// Format version that the text says; 1 where it says none.
    pub format: u32,
    pub title: String,
    /// What one needs to be able to play, one entry a skill.
    pub needs: Vec<String>,
    /// How chord names are printed.
    pub chord_names: Style,
    /// Paragraphs about the whole lesson.
    pub notes: Vec<String>,
    pub passages: Vec<Passage>,
    pub revisions: Vec<Revision>,
}

/// A dated correction, printed in the handout.
#[derive(Clone, Debug, PartialEq)]
pub struct Revision {
    /// As written, `YYYY-MM-DD`, checked.
    pub date: String,
    pub text: String,
    pub span: Span,
}

/// One passage: some bars of music, all parts of which have the same bars.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Passage {
    /// Short name, used in file names: ASCII letters, digits, `-`; unique in the lesson.
    pub id: String,
    pub title: String,
    /// How chord names are printed: the lesson's own.
    pub chord_names: Style,
    pub key: Option<Key>,
    /// Where the passage lies in the record, as often as it comes back.
    pub record: Vec<RecordSpan>,
    /// How far the record's pitch lies above concert pitch (A4 = 440 Hz), where the teacher gave it.
    pub record_cents: Option<f64>,
    /// The teacher's written harmony, in order, covering every beat; empty when none was written.
    pub harmony: Vec<HarmonySpan>,
    /// The teacher doubts the written harmony.
    pub harmony_guess: bool,
    /// The bars as played, repeats played out; a pickup comes first.
    pub bars: Vec<Bar>,
    pub parts: Vec<Part>,
    pub notes: Vec<Note>,
    /// The teacher doubts the whole passage (`sure="guess"`).
    pub guess: bool,
    pub span: Span,
}

/// A stretch of the teacher's own copy of the record.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordSpan {
    /// Path as written, relative to the lesson's folder.
    pub file: String,
    pub from_s: f64,
    pub to_s: f64,
    pub span: Span,
}

/// Written harmony from a beat on. `symbol` is `None` where the teacher wrote that there is no chord.
#[derive(Clone, Debug, PartialEq)]
pub struct HarmonySpan {
    /// Index into [`Passage::bars`].
    pub bar: usize,
    /// From the bar's start.
    pub at: Beats,
    /// Length within this bar (a chord that goes on over the bar line is a second span).
    pub len: Beats,
    pub symbol: Option<Symbol>,
    /// True where the text has a sign, false where the chord merely goes on (`/`, or the next bar).
    pub struck: bool,
}

/// Beats of a bar: `count` of `1/unit` notes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Meter {
    pub count: u8,
    pub unit: u8,
}

impl Meter {
    /// Length of a full bar.
    pub fn length(self) -> Beats {
        Beats::new(i64::from(self.count) * 4, i64::from(self.unit))
    }

    /// Compound meters (6/8, 9/8, 12/8 and the same over 16) have three units to the beat.
    pub fn is_compound(self) -> bool {
        self.unit >= 8 && self.count > 3 && self.count.is_multiple_of(3)
    }

    /// Length of one beat, the one that a tempo counts: the unit, or three units in compound meters.
    pub fn beat(self) -> Beats {
        Beats::new(if self.is_compound() { 12 } else { 4 }, i64::from(self.unit))
    }

    /// Number of beats in a full bar.
    pub fn beats(self) -> u32 {
        if self.is_compound() { u32::from(self.count) / 3 } else { u32::from(self.count) }
    }
}

impl std::fmt::Display for Meter {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}/{}", self.count, self.unit)
    }
}

/// Swing: of each pair of `unit` notes the first takes `percent`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swing {
    /// 50 = even, 66.7 = triplet; 50..=80.
    pub percent: f64,
    /// Written length of one of the pair: 1/2 for eighths, 1/4 for sixteenths (in quarter notes).
    pub unit: Beats,
}

/// One bar of the passage as played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bar {
    /// Counted from 1 as played; 0 for a pickup.
    pub number: u32,
    pub meter: Meter,
    /// Length; shorter than the meter's for a pickup.
    pub length: Beats,
    /// Start, in written time from the passage's beginning.
    pub start: Beats,
    /// Beats (see [`Meter::beat`]) a minute.
    pub tempo_bpm: f64,
    pub swing: Option<Swing>,
}

/// What kind of instrument plays a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    Guitar,
    Bass,
    Drums,
    /// Anything written by note name: keys, horns, voice.
    Other,
    Click,
}

/// One instrument's part in a passage.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    pub name: String,
    pub kind: Kind,
    /// The instrument's word as written ("guitar", "keys").
    pub instrument: String,
    /// Strings, tuning, capo; for guitar and bass only.
    pub neck: Option<Instrument>,
    /// -1 left, 0 centre, 1 right.
    pub seat: f64,
    /// The teacher's words on the sound.
    pub tone: Option<String>,
    /// How the stroking hand moves where nothing is written.
    pub hand: UsualHand,
    /// A five-line staff above the tab was asked for.
    pub staff: bool,
    /// The name of the part that this is an easier way to play.
    pub easier_of: Option<String>,
    pub grips: Vec<NamedGrip>,
    /// One for each of [`Passage::bars`].
    pub bars: Vec<PartBar>,
    /// Pinned names, at a bar and beat.
    pub name_pins: Vec<NamePin>,
    /// The teacher's own audio in place of the synthesised part.
    pub take: Option<Take>,
    pub guess: bool,
    /// Repeats as this part's text has them; see [`crate::sheet`].
    pub folds: Vec<Fold>,
    /// What is heard, in order of time; see [`crate::soundings`].
    pub(crate) heard: Vec<crate::Sounding>,
    pub span: Span,
}

impl Part {
    /// A part without bars, for a program that puts one together: `instrument` is a word of the lesson file (`guitar`, `bass`, `drums`, `click`,
    /// `keys`, `horns`, `voice`, `strings`, `other`), `None` where it is none. Guitar and bass have their standard tuning, the seat is the centre.
    ///
    /// What is heard of it is known only once it was written and read again.
    ///
    /// ```
    /// let part = lesson::Part::new("line", "bass").unwrap();
    /// assert_eq!(part.neck.unwrap().strings(), 4);
    /// assert!(lesson::Part::new("line", "kazoo").is_none());
    /// ```
    pub fn new(name: &str, instrument: &str) -> Option<Part> {
        let kind = crate::read::INSTRUMENTS.iter().find(|(n, _)| *n == instrument)?.1;
        let neck = match kind {
            Kind::Guitar => Some(Instrument::guitar()),
            Kind::Bass => Some(Instrument::bass()),
            _ => None,
        };
        Some(Part {
            name: name.into(),
            kind,
            instrument: instrument.into(),
            neck,
            seat: 0.0,
            tone: None,
            hand: UsualHand::Swing,
            staff: false,
            easier_of: None,
            grips: vec![],
            bars: vec![],
            name_pins: vec![],
            take: None,
            guess: false,
            folds: vec![],
            heard: vec![],
            span: Span::default(),
        })
    }

    /// All but its bars, places in the text left out: what is equal in two parts that differ in their bars alone.
    pub fn without_bars(&self) -> Part {
        let mut out = Part {
            name: self.name.clone(),
            kind: self.kind,
            instrument: self.instrument.clone(),
            neck: self.neck.clone(),
            seat: self.seat,
            tone: self.tone.clone(),
            hand: self.hand,
            staff: self.staff,
            easier_of: self.easier_of.clone(),
            grips: self.grips.clone(),
            bars: vec![],
            name_pins: self.name_pins.clone(),
            take: self.take.clone(),
            guess: self.guess,
            folds: self.folds.clone(),
            heard: vec![],
            span: Span::default(),
        };
        crate::again::part_spans(&mut out, &mut |s| *s = Span::default());
        out
    }
}

impl Passage {
    /// All but its bars and parts, places in the text left out: what is equal in two passages that differ in their bars alone.
    pub fn without_parts(&self) -> Passage {
        let mut out = Passage {
            id: self.id.clone(),
            title: self.title.clone(),
            chord_names: self.chord_names,
            key: self.key,
            record: self.record.clone(),
            record_cents: self.record_cents,
            harmony: self.harmony.clone(),
            harmony_guess: self.harmony_guess,
            bars: vec![],
            parts: vec![],
            notes: self.notes.clone(),
            guess: self.guess,
            span: Span::default(),
        };
        crate::again::own_spans(&mut out, &mut |s| *s = Span::default());
        out
    }
}

impl PartBar {
    /// Equal in all that is drawn: but for places in the text, and for what the teacher says of a check.
    pub fn is_alike(&self, other: &PartBar) -> bool {
        let PartBar { events, slots, say, level, wah, guess, heard: _, span: _ } = self;
        let o = other;
        (*slots, say, level, wah, *guess) == (o.slots, &o.say, &o.level, &o.wah, o.guess)
            && events.len() == o.events.len()
            && events.iter().zip(&o.events).all(|(a, b)| a.is_alike(b))
    }
}

impl Event {
    /// Equal but for the place in the text.
    pub fn is_alike(&self, other: &Event) -> bool {
        let Event { at, len, slot, notes, scratch, tie_in, tie_out, held, keep, accent, rake, spread, direction, hand, grip, tuplet, span: _ } = self;
        let o = other;
        (at, len, slot, notes) == (&o.at, &o.len, &o.slot, &o.notes)
            && (*scratch, *tie_in, *tie_out, *held, *keep, *accent, *rake) == (o.scratch, o.tie_in, o.tie_out, o.held, o.keep, o.accent, o.rake)
            && (spread, direction, *hand, grip, tuplet) == (&o.spread, &o.direction, o.hand, &o.grip, &o.tuplet)
    }
}

/// How the stroking hand moves where no direction is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum UsualHand {
    /// Down and up in turn, counted in slots (see [`Event::hand`]).
    #[default]
    Swing,
    Down,
    Up,
}

/// Letters that a grip may have, in order.
pub const GRIP_LETTERS: &str = "abcdefghijklmnopqrstuvwyz";

/// A grip with its letter.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedGrip {
    /// One of [`GRIP_LETTERS`]: `x` is the scratch.
    pub letter: char,
    pub grip: Grip,
    /// Pinned fingers over the fretted strings, low to high; empty when left to the machine.
    pub fingers: Vec<Finger>,
    /// Pinned name.
    pub name: Option<Symbol>,
    pub guess: bool,
    pub span: Span,
}

/// A name that the teacher fixed for what a part plays from a place on.
#[derive(Clone, Debug, PartialEq)]
pub struct NamePin {
    pub bar: usize,
    pub at: Beats,
    pub symbol: Symbol,
    pub span: Span,
}

/// The teacher's own playing of a part.
#[derive(Clone, Debug, PartialEq)]
pub struct Take {
    /// Path as written, relative to the lesson's folder.
    pub file: String,
    /// Where the first bar begins in the file; the first sound when absent.
    pub from_s: Option<f64>,
    /// Where the last bar ends; the passage's own length after `from` when absent.
    pub to_s: Option<f64>,
    pub span: Span,
}

/// A remark.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    pub text: String,
    /// Part that it speaks of.
    pub part: Option<String>,
    /// Bar (index into [`Passage::bars`]) and distance from its start.
    pub at: Option<(usize, Beats)>,
    pub span: Span,
}

/// A repeat in a part's text: rounds of `body` bars, then the round's own ending.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fold {
    /// First bar, index into [`Passage::bars`].
    pub start: usize,
    /// Bars that every round has.
    pub body: usize,
    /// For each round the number of ending bars that follow the body.
    pub endings: Vec<usize>,
}

/// One bar of a part.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PartBar {
    /// Strokes in order of time; silence is where there is none.
    pub events: Vec<Event>,
    /// Slots in the bar.
    pub slots: u32,
    /// The teacher's words under the bar.
    pub say: Option<String>,
    /// Volume, 0..=9, from a place in the bar on.
    pub level: Vec<(Beats, u8)>,
    /// Wah: true = open, from a place in the bar on.
    pub wah: Vec<(Beats, bool)>,
    pub guess: bool,
    /// Heard as written, says the teacher, whatever a check against the record found: `None` where nothing is said, no slots for the whole bar, else
    /// the slots (from 1) that it holds for.
    pub heard: Option<Vec<u32>>,
    /// The stroke line in the text (inside the quotes).
    pub span: Span,
}

/// Direction of a stroke across the strings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Direction {
    Down,
    Up,
}

/// A grip spread slowly over its strings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Spread {
    LowToHigh,
    HighToLow,
}

/// One stroke, or the going on of one.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// From the bar's start, as written (before swing).
    pub at: Beats,
    /// Written length, within this bar.
    pub len: Beats,
    /// Slot in which it begins, from 1.
    pub slot: u32,
    /// Notes, low string to high; never empty.
    pub notes: Vec<Tone>,
    /// A scratch: every note dead, no pitch meant.
    pub scratch: bool,
    /// First in its bar and going on from the bar before: nothing is struck.
    pub tie_in: bool,
    /// Goes on in the next bar.
    pub tie_out: bool,
    /// Nothing is struck, only bent or let down (`^0` as a slot of its own).
    pub held: bool,
    /// The other strings ring on (`&`).
    pub keep: bool,
    /// A note of it is accented; [`Tone::accent`] says which.
    pub accent: bool,
    /// Raked.
    pub rake: bool,
    pub spread: Option<Spread>,
    /// Written against the hand's usual swing; `None` where nothing is written.
    pub direction: Option<Direction>,
    /// What the hand does, written or usual.
    pub hand: Direction,
    /// Letter of the grip that it strikes.
    pub grip: Option<char>,
    /// Member of a bracket (`[a x a]=2`).
    pub tuplet: Option<Tuplet>,
    pub span: Span,
}

/// Membership in a bracket of evenly spread strokes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tuplet {
    /// How many members the bracket has.
    pub members: u32,
    /// Start of the bracket from the bar's start, and its length.
    pub start: Beats,
    pub length: Beats,
}

/// How a note begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Attack {
    Struck,
    Hammered,
    Pulled,
    /// Slid into from the note before on the same string, not struck.
    Slid,
}

/// What makes the sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Source {
    /// A place on the neck; `fret` counts from the capo.
    String { string: u8, fret: u8 },
    /// A note by name.
    Named(pitch::Spelled),
    Drum(Drum),
    Click,
}

/// Drums that a lesson knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Drum {
    Kick,
    Snare,
    Hats,
    OpenHats,
    Ride,
    Crash,
    Tom,
}

impl Drum {
    /// The drum that a row of this word is for; `None` where there is no such row.
    pub fn of_row(word: &str) -> Option<Drum> {
        Some(match word {
            "kick" => Drum::Kick,
            "snare" => Drum::Snare,
            "hats" => Drum::Hats,
            "ride" => Drum::Ride,
            "crash" => Drum::Crash,
            "tom" => Drum::Tom,
            _ => return None,
        })
    }
}

/// One note of a stroke.
#[derive(Clone, Debug, PartialEq)]
pub struct Tone {
    pub source: Source,
    /// What sounds when it begins (a natural harmonic sounds its partial). Drums have their General MIDI number.
    pub midi: Midi,
    /// Muted: struck without pitch.
    pub dead: bool,
    pub attack: Attack,
    /// Slid within the stroke to this fret.
    pub slide_to: Option<u8>,
    /// Bent by so many cents when struck (`!1` = 200); 0 otherwise.
    pub prebend_cents: f64,
    /// Bent after it is struck to so many cents (`^1` = 200); on a held event the new target.
    pub bend_cents: Option<f64>,
    /// Accented, by itself or with its whole stroke.
    pub accent: bool,
    pub vibrato: bool,
    pub harmonic: bool,
    pub palm_mute: bool,
    pub ghost: bool,
    pub short: bool,
    pub tremolo: bool,
    /// Rings on past the written length of its stroke.
    pub rings_on: bool,
}

impl Tone {
    /// String number and fret, for notes on a neck.
    pub fn place(&self) -> Option<(u8, u8)> {
        match self.source {
            Source::String { string, fret } => Some((string, fret)),
            _ => None,
        }
    }
}
