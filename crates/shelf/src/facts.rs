//! What a lesson holds, as flat facts: all that the index keeps, and all that a query asks about.
//!
//! From a lesson as it was read, and the names, harmony and lock that `lock` computes from it.
//!
//! # Which grips
//! The grips that a part names, played or not, and besides them every other set of two and more strings that a stroke of it strikes at once, so
//! that a grip typed as places is found too. Each counts once a part, with its number of strokes and the first bar.

use crate::level::level;
use crate::shape::Shape;
use crate::technique::{Use, techniques};
use lesson::{Beats, Kind, Lesson, Part, Passage};
use lock::{BeatHarmony, Pair};
use neck::{Grip, Instrument};
use pitch::{Key, Midi, Symbol};

/// Raised whenever the same lesson gives other facts than before, so that old indexes are made anew.
pub const FACTS_VERSION: i32 = 1;

/// A lesson's facts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Facts {
    pub title: String,
    /// The lesson's own words: title, needs, remarks, revisions.
    pub texts: Vec<Text>,
    pub passages: Vec<PassageFacts>,
    /// The lesson has an error; what could be read of it is here.
    pub faulty: bool,
}

/// Words, and where they stand.
#[derive(Clone, Debug, PartialEq)]
pub struct Text {
    pub kind: TextKind,
    /// Index into the passage's parts.
    pub part: Option<usize>,
    /// Number of the bar as played.
    pub bar: Option<u32>,
    pub words: String,
}

/// What the words are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum TextKind {
    Title,
    Needs,
    LessonNote,
    Revision,
    PassageTitle,
    PartName,
    Tone,
    Say,
    Note,
}

/// A passage's facts.
#[derive(Clone, Debug, PartialEq)]
pub struct PassageFacts {
    pub id: String,
    pub title: String,
    /// Slowest and fastest bar.
    pub tempo_bpm: [f64; 2],
    pub key: Option<Key>,
    /// Per cent that the first of a pair takes; `None` where it is even.
    pub swing_percent: Option<f64>,
    /// Full bars, as played.
    pub bars: u32,
    pub texts: Vec<Text>,
    pub parts: Vec<PartFacts>,
    /// Each sign of the harmony, written or weighed from all parts, in order of appearance.
    pub chords: Vec<ChordFacts>,
    pub pairs: Vec<PairFacts>,
}

/// A part's facts.
#[derive(Clone, Debug, PartialEq)]
pub struct PartFacts {
    /// As messages say it: an easier way to play "chop" is "chop, easier".
    pub name: String,
    pub kind: Kind,
    /// 1 to 5, see [`crate::level()`]; `None` for what is not a guitar or bass.
    pub level: Option<u8>,
    pub grips: Vec<GripFacts>,
    /// Their bars by number here, as played.
    pub techniques: Vec<Use>,
}

/// A grip in a part.
#[derive(Clone, Debug, PartialEq)]
pub struct GripFacts {
    /// Its letter, where the part names it.
    pub letter: Option<char>,
    pub grip: Grip,
    pub shape: Shape,
    /// Strokes that strike it, repeats played out.
    pub strokes: u32,
    /// Number of the first bar in which it is struck.
    pub bar: Option<u32>,
    /// The teacher's name for it, or the best one in its place.
    pub name: Option<Symbol>,
    /// The name's root does not sound.
    pub rootless: bool,
    /// The forms that it is a part of, each with the number of strings left out; most is taken of the first.
    pub forms: Vec<(&'static str, u8)>,
    /// The form that is shown for it: one on the root of its name where there is one. `None` where the grip is all of it.
    pub parent: Option<&'static str>,
}

/// A sign of the harmony.
#[derive(Clone, Debug, PartialEq)]
pub struct ChordFacts {
    pub symbol: Symbol,
    pub written: bool,
    /// Number of the first bar that has it, and beats in all.
    pub bar: u32,
    pub beats: u32,
}

/// How two parts share time and register.
#[derive(Clone, Debug, PartialEq)]
pub struct PairFacts {
    /// Indices into the passage's parts.
    pub parts: [usize; 2],
    /// Per cent of all slots.
    pub shared_percent: f64,
    pub alternating_percent: f64,
    pub empty_percent: f64,
    pub clashes: u32,
    /// Semitones; negative where a gap lies between them. `None` unless both have pitches.
    pub overlap: Option<i32>,
}

/// A sign's name without its root and bass ("" for major, "m7", "9"): what two chords of one kind have in common.
pub fn quality_of(symbol: &Symbol) -> String {
    let c = Key::PLAIN.tonic;
    let over_c = Symbol::new(c, symbol.tones.iter().copied(), None).to_string();
    over_c.strip_prefix('C').unwrap_or(&over_c).to_string()
}

/// The facts of a reading. A lesson with errors gives those of what could be read.
pub fn facts(reading: &lesson::Reading) -> Facts {
    let lesson: &Lesson = &reading.lesson;
    let mut texts = Vec::new();
    let mut add = |kind, words: &str| {
        if !words.trim().is_empty() {
            texts.push(Text { kind, part: None, bar: None, words: words.to_string() });
        }
    };
    add(TextKind::Title, &lesson.title);
    lesson.needs.iter().for_each(|n| add(TextKind::Needs, n));
    lesson.notes.iter().for_each(|n| add(TextKind::LessonNote, n));
    lesson.revisions.iter().for_each(|r| add(TextKind::Revision, &r.text));
    Facts { title: lesson.title.clone(), texts, passages: lesson.passages.iter().map(passage_facts).collect(), faulty: !reading.is_sound() }
}

fn passage_facts(passage: &Passage) -> PassageFacts {
    let signs = lock::Signs::of(passage);
    let harmony = signs.harmony();
    let tempi = || passage.bars.iter().map(|b| b.tempo_bpm);
    PassageFacts {
        id: passage.id.clone(),
        title: passage.title.clone(),
        tempo_bpm: [tempi().reduce(f64::min).unwrap_or(0.0), tempi().reduce(f64::max).unwrap_or(0.0)],
        key: passage.key,
        swing_percent: passage.bars.iter().find_map(|b| b.swing).map(|s| s.percent).filter(|p| *p > 50.0),
        bars: passage.bars.iter().filter(|b| b.number > 0).count() as u32,
        texts: texts(passage),
        parts: part_facts(passage, &signs),
        chords: chord_facts(passage, &harmony),
        pairs: lock::lock_under(passage, &harmony).pairs.iter().filter(|p| p.slots > 0).map(pair_facts).collect(),
    }
}

/// A part's name as messages say it.
pub(crate) fn part_name(part: &Part) -> String {
    match &part.easier_of {
        Some(of) => format!("{of}, easier"),
        None => part.name.clone(),
    }
}

fn texts(passage: &Passage) -> Vec<Text> {
    let mut out: Vec<Text> = Vec::new();
    let mut add = |kind, part, bar, words: &str| {
        let new = Text { kind, part, bar, words: words.to_string() };
        // What stands under a repeated bar stands there once.
        if !words.trim().is_empty() && !out.iter().any(|t| (t.kind, t.part, &t.words) == (kind, part, &new.words)) {
            out.push(new);
        }
    };
    add(TextKind::PassageTitle, None, None, if passage.title.is_empty() { &passage.id } else { &passage.title });
    for (i, part) in passage.parts.iter().enumerate() {
        add(TextKind::PartName, Some(i), None, &part.name);
        add(TextKind::Tone, Some(i), None, part.tone.as_deref().unwrap_or(""));
        for (bar, of) in part.bars.iter().zip(&passage.bars) {
            add(TextKind::Say, Some(i), Some(of.number), bar.say.as_deref().unwrap_or(""));
        }
    }
    for note in &passage.notes {
        let part = note.part.as_ref().and_then(|n| passage.parts.iter().position(|p| p.name == *n));
        let bar = note.at.and_then(|(b, _)| passage.bars.get(b)).map(|b| b.number);
        add(TextKind::Note, part, bar, &note.text);
    }
    out
}

/// A grip before its name is known.
struct Struck {
    letter: Option<char>,
    grip: Grip,
    shape: Shape,
    strokes: u32,
    first: Option<(usize, Beats)>,
}

fn struck(part: &Part, neck: &Instrument) -> Vec<Struck> {
    let mut out: Vec<Struck> = Vec::new();
    for g in &part.grips {
        if let Some(shape) = Shape::of(&g.grip, neck) {
            out.push(Struck { letter: Some(g.letter), grip: g.grip.clone(), shape, strokes: 0, first: None });
        }
    }
    for (b, bar) in part.bars.iter().enumerate() {
        for e in bar.events.iter().filter(|e| !e.scratch && !e.tie_in && !e.held) {
            let mut frets = vec![None; neck.strings()];
            for n in e.notes.iter().filter(|n| !n.dead && !n.harmonic) {
                if let Some((string, fret)) = n.place()
                    && let Some(at) = neck.strings().checked_sub(usize::from(string)).and_then(|i| frets.get_mut(i))
                {
                    *at = Some(fret);
                }
            }
            let grip = Grip { frets };
            let found = match out.iter_mut().find(|s| s.grip == grip && (s.letter.is_none() || s.letter == e.grip || e.grip.is_none())) {
                Some(s) => s,
                None => {
                    let Some(shape) = Shape::of(&grip, neck) else { continue };
                    out.push(Struck { letter: None, grip, shape, strokes: 0, first: None });
                    let Some(new) = out.last_mut() else { continue };
                    new
                }
            };
            found.strokes += 1;
            found.first.get_or_insert((b, e.at));
        }
    }
    out
}

fn part_facts(passage: &Passage, signs: &lock::Signs) -> Vec<PartFacts> {
    let found: Vec<Vec<Struck>> = passage.parts.iter().map(|p| p.neck.as_ref().map(|n| struck(p, n)).unwrap_or_default()).collect();
    let mut out = Vec::new();
    for (part, all) in passage.parts.iter().zip(found) {
        let mut uses = techniques(part);
        let mut grips = Vec::new();
        for s in all {
            let pinned = s.letter.and_then(|l| part.grips.iter().find(|g| g.letter == l)).and_then(|g| g.name.clone());
            let Some(neck) = &part.neck else { continue };
            let sounds = |root: pitch::PitchClass| s.grip.midi(neck).into_iter().flatten().any(|m| m.class() == root);
            let notes: Vec<Midi> = s.grip.midi(neck).into_iter().flatten().collect();
            let name = pinned.or_else(|| signs.first_name(passage, &notes, s.first));
            let parents = neck::parents(&s.grip, neck);
            let parent = lock::parent_of(&s.grip, neck, name.as_ref()).map(|p| p.form);
            grips.push(GripFacts {
                letter: s.letter,
                shape: s.shape,
                strokes: s.strokes,
                bar: s.first.and_then(|(b, _)| passage.bars.get(b)).map(|b| b.number),
                rootless: name.as_ref().is_some_and(|n| !sounds(n.root.class())),
                forms: parents.iter().map(|p| (p.form, p.left_out.len() as u8)).collect(),
                parent,
                name,
                grip: s.grip,
            });
        }
        let level = level(passage, part, &uses);
        uses.iter_mut().for_each(|u| u.bar = passage.bars.get(u.bar).map_or(0, |b| b.number as usize));
        out.push(PartFacts { name: part_name(part), kind: part.kind, level, grips, techniques: uses });
    }
    out
}

fn chord_facts(passage: &Passage, harmony: &[BeatHarmony]) -> Vec<ChordFacts> {
    let mut out: Vec<ChordFacts> = Vec::new();
    for h in harmony {
        let (Some(symbol), Some(bar)) = (&h.symbol, passage.bars.get(h.bar)) else { continue };
        match out.iter_mut().find(|c| c.symbol == *symbol) {
            Some(c) => c.beats += 1,
            None => out.push(ChordFacts { symbol: symbol.clone(), written: h.written, bar: bar.number, beats: 1 }),
        }
    }
    out
}

fn pair_facts(pair: &Pair) -> PairFacts {
    // A tenth of a per cent is exact enough to ask for, and reads well.
    let percent = |n: u32| (f64::from(n) * 1000.0 / f64::from(pair.slots)).round() / 10.0;
    PairFacts {
        parts: pair.parts,
        shared_percent: percent(pair.shared),
        alternating_percent: percent(pair.alternating),
        empty_percent: percent(pair.empty),
        clashes: u32::try_from(pair.clashes.len() + pair.more_clashes).unwrap_or(u32::MAX),
        overlap: pair.register.map(|r| r.overlap),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(text: &str) -> PassageFacts {
        let reading = lesson::read(text);
        assert!(reading.is_sound(), "{:?}", reading.problems);
        facts(&reading).passages.remove(0)
    }

    #[test]
    fn grips_by_letter_and_by_places() {
        let p = one(r#"lesson "t" { passage "p" { tempo 90; slots 4; chords "D9"; part "chop" instrument="guitar" { grip "b" "x x 4 5 5 x"; grip "c" "x x 5 5 5 x"; bar "b b . ."; bar "4:7+3:7+2:7 b43 b@2 x" }
          part "floor" instrument="bass" { bar "3:5 - - -"; bar "3:5 - - -" } } }"#);
        let grips: Vec<(Option<char>, String, u32, Option<u32>)> = p.parts[0].grips.iter().map(|g| (g.letter, g.grip.to_string(), g.strokes, g.bar)).collect();
        assert_eq!(
            grips,
            [
                (Some('b'), "x x 4 5 5 x".to_string(), 2, Some(1)),
                (Some('c'), "x x 5 5 5 x".to_string(), 0, None),
                (None, "x x 7 7 7 x".to_string(), 1, Some(2)),
                (None, "x x 4 5 x x".to_string(), 1, Some(2)),
                (None, "x x 6 7 7 x".to_string(), 1, Some(2)),
            ]
        );
        // common practice: F#, C and E are third, seventh and ninth of D9.
        let b = &p.parts[0].grips[0];
        assert_eq!((b.name.as_ref().unwrap().to_string().as_str(), b.rootless), ("D9", true));
        assert_eq!(b.parent, Some("ninth, root on string 5"));
        assert_eq!(p.chords.iter().map(|c| (quality_of(&c.symbol), c.bar, c.beats)).collect::<Vec<_>>(), [("9".to_string(), 1, 8)]);
        // Five strokes of four each: the scratch too. The bass strikes twice, both times with the guitar.
        assert_eq!((p.pairs[0].shared_percent, p.pairs[0].alternating_percent), (25.0, 50.0));
    }

    #[test]
    fn words_stand_once() {
        let p = one(r#"lesson "t" { passage "p" title="Verse" { tempo 90; slots 2; part "line" instrument="guitar" tone="clean" { bar "3:5 ." times=3 say="let go" }; note "Softly." at="2" part="line" } }"#);
        let found: Vec<_> = p.texts.iter().map(|t| (t.kind, t.part, t.bar, t.words.as_str())).collect();
        assert_eq!(
            found,
            [
                (TextKind::PassageTitle, None, None, "Verse"),
                (TextKind::PartName, Some(0), None, "line"),
                (TextKind::Tone, Some(0), None, "clean"),
                (TextKind::Say, Some(0), Some(1), "let go"),
                (TextKind::Note, Some(0), Some(2), "Softly."),
            ]
        );
    }

    #[test]
    fn an_empty_or_broken_lesson_has_no_facts() {
        for text in ["", "lesson", "no lesson", "lesson \"t\" {"] {
            let f = facts(&lesson::read(text));
            assert!(f.faulty && f.passages.is_empty(), "{text}");
        }
    }
}
