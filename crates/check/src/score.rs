//! What is written, laid out in time: the parts' notes in seconds from the passage's beginning, at the written tempo.

use lesson::{Attack, Beats, Kind, Passage, Source, soundings};
use neck::Instrument;

/// A passage's notes as they would fall at the written tempo.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Score {
    /// The passage's name.
    pub id: String,
    pub parts: Vec<ScorePart>,
    /// Bars as played, in order.
    pub bars: Vec<ScoreBar>,
    /// Length in seconds.
    pub length_s: f64,
    /// For the names of notes.
    pub key: Option<pitch::Key>,
}

/// A bar of a score.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScoreBar {
    /// Counted from 1; 0 for a pickup.
    pub number: u32,
    /// Seconds from the passage's beginning, and length.
    pub start_s: f64,
    pub length_s: f64,
    /// Beats in it.
    pub beats: f64,
}

/// A part of a score.
#[derive(Clone, Debug, PartialEq)]
pub struct ScorePart {
    pub name: String,
    pub kind: Kind,
    /// -1 left, 0 centre, 1 right.
    pub seat: f64,
    /// For guitar and bass.
    pub neck: Option<Instrument>,
    /// Slots in each of [`Score::bars`].
    pub slots: Vec<u32>,
    /// Heard as written, says the lesson: for each of [`Score::bars`] nothing, the whole bar (no slots), or slots of it.
    pub waved: Vec<Option<Vec<u32>>>,
    /// In order of time.
    pub notes: Vec<ScoreNote>,
    /// The swing that is written, percent of a pair and the pair's unit in quarter notes.
    pub swing: Option<(f64, f64)>,
}

/// One written note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScoreNote {
    /// Seconds from the passage's beginning.
    pub at_s: f64,
    pub length_s: f64,
    /// What sounds; without meaning for scratches and drums.
    pub midi: i32,
    /// String (1 = highest) and fret, counted from the capo.
    pub place: Option<(u8, u8)>,
    /// A scratch, a drum or a click: no pitch is meant.
    pub unpitched: bool,
    /// Slid, hammered or pulled: not struck.
    pub soft: bool,
    /// Struck while the volume is turned down to a third of the part's highest level or less: a swell, whose beginning is not to be heard.
    pub hushed: bool,
    /// Of a stroke that is spread slowly or raked: string by string.
    pub spread: bool,
    /// Lowest and highest pitch that it comes to, bent or slid: both its own where it stays.
    pub path: (i32, i32),
    /// Index into [`Score::bars`].
    pub bar: usize,
    /// Beat from 1, with its fraction, as written (before swing).
    pub beat: f64,
    /// Slot from 1.
    pub slot: u32,
    /// The stroke in the lesson's text: notes of one text in several rounds share it.
    pub text: Option<lesson::Span>,
}

impl ScoreNote {
    /// Whether it is bent or slid through or to a pitch, begun at another or come back to it.
    pub(crate) fn passes(&self, midi: i32) -> bool {
        self.path.0 < self.path.1 && (self.path.0..=self.path.1).contains(&midi)
    }

    /// Whether its pitch is meant, and its beginning is to be heard: what a part as a whole is judged by.
    pub(crate) fn is_clear(&self) -> bool {
        !self.unpitched && !self.hushed
    }
}

impl ScorePart {
    /// Lowest and highest pitch that the instrument has.
    pub fn range(&self) -> (i32, i32) {
        match &self.neck {
            Some(n) => {
                let open = || (1..=n.strings()).filter_map(|s| n.sounds(s as u8, 0)).map(|m| i32::from(m.0));
                (open().min().unwrap_or(40), open().max().unwrap_or(64) + i32::from(n.top_fret()))
            }
            None => (36, 92),
        }
    }

    /// Whether its pitches can be judged.
    pub fn is_pitched(&self) -> bool {
        !matches!(self.kind, Kind::Drums | Kind::Click)
    }
}

impl Score {
    /// The score of a passage. Easier ways of playing a part and clicks are no parts of the record and are left out.
    pub fn of(passage: &Passage) -> Score {
        let starts = passage.bar_starts();
        let float = |b: Beats| *b.numer() as f64 / *b.denom() as f64;
        let bars = passage
            .bars
            .iter()
            .zip(&starts)
            .map(|(b, s)| ScoreBar { number: b.number, start_s: *s, length_s: b.seconds(), beats: float(b.length) / float(b.meter.beat()) })
            .collect();
        let parts = passage
            .parts
            .iter()
            .filter(|p| p.easier_of.is_none() && p.kind != Kind::Click)
            .map(|p| {
                let levels = Levels::of(p);
                let notes = soundings(p)
                    .iter()
                    .map(|s| {
                        let at_s = passage.seconds_at(s.at);
                        let bar = &passage.bars[s.bar];
                        ScoreNote {
                            at_s,
                            length_s: (passage.seconds_at(s.at + s.len) - at_s).max(0.0),
                            midi: i32::from(s.midi.0),
                            place: match s.source {
                                Source::String { string, fret } => Some((string, fret)),
                                _ => None,
                            },
                            unpitched: s.dead || matches!(s.source, Source::Drum(_) | Source::Click),
                            soft: s.attack != Attack::Struck,
                            hushed: levels.hushed(s.bar, s.at - bar.start),
                            spread: s.spread || s.rake,
                            path: path(s),
                            bar: s.bar,
                            beat: 1.0 + float(s.at - bar.start) / float(bar.meter.beat()),
                            slot: s.slot,
                            text: Some(s.span),
                        }
                    })
                    .collect();
                ScorePart {
                    name: p.name.clone(),
                    kind: p.kind,
                    seat: p.seat,
                    neck: p.neck.clone(),
                    slots: p.bars.iter().map(|b| b.slots.max(1)).collect(),
                    waved: p.bars.iter().map(|b| b.heard.clone()).collect(),
                    notes,
                    swing: passage.bars.iter().find_map(|b| b.swing).map(|s| (s.percent, float(s.unit))),
                }
            })
            .collect();
        Score { id: passage.id.clone(), parts, bars, length_s: passage.duration(), key: passage.key }
    }

    /// Whether the lesson says of a slot (in a bar by its number) that it was heard as written.
    pub fn waved(&self, part: usize, bar: u32, slot: u32) -> bool {
        let index = self.bars.iter().position(|b| b.number == bar);
        index.and_then(|b| self.parts.get(part)?.waved.get(b)?.as_ref()).is_some_and(|slots| slots.is_empty() || slots.contains(&slot))
    }

    /// Index of the bar in which a time lies, the first or last one for times outside.
    pub fn bar_at(&self, at_s: f64) -> usize {
        self.bars.partition_point(|b| b.start_s <= at_s + 1e-6).saturating_sub(1)
    }

    /// Bar, beat and slot of the slot nearest to a time, in a part's slots; `None` where that is the beginning of the bar after the last, which is the record's next and not this
    /// passage's.
    pub fn slot_at(&self, part: usize, at_s: f64) -> Option<(usize, f64, u32)> {
        let mut bar = self.bar_at(at_s);
        let slots = |bar: usize| self.parts[part].slots.get(bar).copied().unwrap_or(16).max(1);
        let b = self.bars.get(bar)?;
        let mut slot = ((at_s - b.start_s) / b.length_s.max(1e-9) * f64::from(slots(bar))).round().max(0.0);
        if slot >= f64::from(slots(bar)) {
            (bar, slot) = (bar + 1, 0.0);
        }
        let b = self.bars.get(bar)?;
        Some((bar, 1.0 + slot / f64::from(slots(bar)) * b.beats, slot as u32 + 1))
    }
}

/// The pitches between which a note moves; a bend by less than a quarter tone is none.
fn path(s: &lesson::Sounding) -> (i32, i32) {
    let midi = i32::from(s.midi.0);
    let bent = s.bend.iter().map(|b| (b.1 / 100.0).round() as i32);
    let all: Vec<i32> = bent.chain(s.slide.map(|x| x.1)).map(|d| midi + d).chain([midi]).collect();
    (all.iter().copied().min().unwrap_or(midi), all.iter().copied().max().unwrap_or(midi))
}

/// The volume that a part's `level` rows ask for.
struct Levels {
    /// Bar, place in it, level, in order of time: each holds until the next.
    marks: Vec<(usize, Beats, u8)>,
    most: u8,
}

impl Levels {
    fn of(part: &lesson::Part) -> Levels {
        let mut marks: Vec<(usize, Beats, u8)> = part.bars.iter().enumerate().flat_map(|(n, b)| b.level.iter().map(move |(at, level)| (n, *at, *level))).collect();
        marks.sort_by_key(|m| (m.0, m.1));
        let most = marks.iter().map(|m| m.2).max().unwrap_or(9);
        Levels { marks, most }
    }

    /// Whether the volume is down at a place: a third of the highest level, 15 dB below it in what `sound` makes of the rows, or less.
    fn hushed(&self, bar: usize, at: Beats) -> bool {
        let level = self.marks.iter().take_while(|m| (m.0, m.1) <= (bar, at)).last().map_or(self.most, |m| m.2);
        3 * u32::from(level) <= u32::from(self.most) && level < self.most
    }
}
