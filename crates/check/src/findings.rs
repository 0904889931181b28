//! Findings: what the record says against the lesson, one a line, in plain words, most serious first.

use crate::answer::{Checked, NoteChecked, PartChecked, Verdict};
use crate::score::Score;
use crate::whole::Whole;
use lesson::Span;
use pitch::{Key, Midi};

/// Something that the record says against the lesson.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    pub kind: FindingKind,
    pub part: Option<String>,
    /// Number of the first bar in which it shows, and of all: the rounds of a line of text that comes back are one finding.
    pub bar: u32,
    pub bars: Vec<u32>,
    pub beat: f64,
    pub slot: u32,
    /// Where it is written.
    pub string: Option<u8>,
    pub fret: Option<u8>,
    pub written: Option<i32>,
    /// What the record has, and a place for it.
    pub suggested: Option<i32>,
    pub suggested_place: Option<(u8, u8)>,
    /// Slots by which it seems to come later (negative: earlier).
    pub moved_slots: Option<i32>,
    /// 0 to 1.
    pub sure: f64,
    /// Seconds in the record.
    pub time_s: f64,
    /// The finding as a sentence without full stop.
    pub words: String,
    /// How much it weighs; findings stand in falling order.
    pub serious: f64,
}

/// What kind of thing was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FindingKind {
    Whole(Whole),
    /// Another pitch sounds in place of the written one.
    OtherPitch,
    /// The written pitch does not sound, and nothing in its place.
    NotThere,
    /// The written pitch sounds earlier or later.
    Moved,
    /// A stroke of which no onset is heard.
    NoStroke,
    /// A written stroke has one more note.
    GripNote,
    /// A pitch where nothing is written.
    Unwritten,
    /// An onset where nothing is written.
    NoteOrScratch,
}

impl FindingKind {
    /// Whether the record contradicts what is written; the rest is what it has besides.
    pub fn contradicts(self) -> bool {
        matches!(self, FindingKind::Whole(_) | FindingKind::OtherPitch | FindingKind::NotThere | FindingKind::Moved)
    }
}

/// Whom the findings speak to, and of what.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Voice {
    /// To the teacher, of the record.
    #[default]
    Record,
    /// To a pupil, of their own take.
    Take,
}

/// All findings on a checked passage. Parts of which a whole fault is known have no others.
pub(crate) fn findings(score: &Score, checked: &Checked, wholes: &[(Option<usize>, Whole, f64)], voice: Voice) -> Vec<Finding> {
    let mut out = Vec::new();
    for (part, whole, sure) in wholes {
        out.push(of_whole(score, checked, *part, *whole, *sure, voice));
    }
    let all = wholes.iter().any(|(p, w, _)| p.is_none() && !matches!(w, Whole::EndsEarly { .. }));
    for (n, part) in checked.parts.iter().enumerate() {
        if all || wholes.iter().any(|(p, w, _)| *p == Some(n) && !matches!(w, Whole::StringTuned { .. })) {
            continue;
        }
        let mut own = of_part(score, n, part, voice);
        own = merged(own);
        out.extend(own.into_iter().map(|(f, _)| f));
    }
    out.sort_by(|a, b| b.serious.total_cmp(&a.serious).then(a.time_s.total_cmp(&b.time_s)));
    out
}

pub(crate) fn blank(kind: FindingKind, sure: f64, serious: f64) -> Finding {
    Finding {
        kind,
        part: None,
        bar: 0,
        bars: vec![],
        beat: 1.0,
        slot: 1,
        string: None,
        fret: None,
        written: None,
        suggested: None,
        suggested_place: None,
        moved_slots: None,
        sure,
        time_s: 0.0,
        words: String::new(),
        serious: serious * (0.4 + 0.6 * sure),
    }
}

/// A part's findings, each with the place in the text that it speaks of.
fn of_part(score: &Score, index: usize, part: &PartChecked, voice: Voice) -> Vec<(Finding, Option<Span>)> {
    let written = &score.parts[index];
    let name = |midi: i32| note_name(score.key, midi);
    let take = voice == Voice::Take;
    let mut out: Vec<(Finding, Option<Span>)> = Vec::new();
    for (n, note) in part.notes.iter().zip(&written.notes) {
        if n.waved || n.unpitched || n.verdict == Verdict::Supported || n.verdict == Verdict::NotAudible {
            continue;
        }
        let sure = 1.0 - n.evidence;
        let place = place_words(n);
        let (kind, serious) = match (n.verdict, n.better, n.moved_slots) {
            (_, None, Some(_)) => (FindingKind::Moved, 2.6),
            (Verdict::Contradicted, Some(_), _) => (FindingKind::OtherPitch, 3.0),
            (Verdict::Contradicted, None, None) => (FindingKind::NotThere, 2.8),
            _ => continue,
        };
        let mut f = blank(kind, sure, serious);
        f.written = Some(n.midi);
        (f.string, f.fret, f.beat, f.slot, f.bar, f.time_s) = (n.string, n.fret, n.beat, n.slot, n.bar, n.time_s);
        match kind {
            FindingKind::OtherPitch => {
                let better = n.better.unwrap_or(n.midi);
                f.suggested = Some(better);
                f.suggested_place = place_of_better(score, index, n, better);
                let at = match (f.suggested_place, n.string) {
                    (Some((s, fret)), Some(own)) if s == own => format!(", fret {fret}"),
                    (Some((s, fret)), _) => format!(", string {s} fret {fret}"),
                    _ => String::new(),
                };
                f.words = if take {
                    format!("you played {} where {} is written{place}{at}", name(better), name(n.midi))
                } else {
                    format!("{}{place} is written, the record has {}{at}", name(n.midi), name(better))
                };
            }
            FindingKind::Moved => {
                f.moved_slots = n.moved_slots;
                let by = n.moved_slots.unwrap_or(0);
                let much = if by.abs() == 1 { "a slot".to_string() } else { format!("{} slots", by.abs()) };
                let way = if by > 0 { "later" } else { "earlier" };
                f.words = if take { format!("{}{place} came {much} {way} than written", name(n.midi)) } else { format!("{}{place} seems to come {much} {way}", name(n.midi)) };
            }
            _ => {
                f.words = if take { format!("{}{place} was not heard", name(n.midi)) } else { format!("{}{place} is written, and the record does not have it", name(n.midi)) };
            }
        }
        out.push((f, note.text));
    }
    let waved = |bar: u32, slot: u32| score.waved(index, bar, slot);
    for u in part.unwritten.iter().filter(|u| !waved(u.bar, u.slot)) {
        // What a moved note is moved to is not a second finding.
        let moved = part.notes.iter().any(|n| n.midi == u.midi && n.moved_slots.is_some() && (n.time_s - u.time_s).abs() < 1.0);
        // Nor are the overtones of a pitch that is heard in place of a written one.
        let overtone = part.notes.iter().any(|n| (n.bar, n.slot) == (u.bar, u.slot) && n.verdict == Verdict::Contradicted && n.better.is_some_and(|b| matches!(u.midi - b, 12 | 19 | 24 | 28 | 31)));
        if moved || overtone {
            continue;
        }
        let kind = if u.of_stroke { FindingKind::GripNote } else { FindingKind::Unwritten };
        let mut f = blank(kind, u.evidence, if u.of_stroke { 2.0 } else { 1.5 });
        (f.suggested, f.suggested_place, f.beat, f.slot, f.bar, f.time_s) = (Some(u.midi), u.place, u.beat, u.slot, u.bar, u.time_s);
        let at = u.place.map_or(String::new(), |(s, fret)| format!(", string {s} fret {fret}"));
        f.words = match (u.of_stroke, take) {
            (true, false) => format!("the record also has {} here{at}", name(u.midi)),
            (true, true) => format!("{} sounded too{at}", name(u.midi)),
            (false, false) => format!("the record has {} that nobody wrote{at}", name(u.midi)),
            (false, true) => format!("you played {} where nothing is written", name(u.midi)),
        };
        let text = written.notes.iter().find(|n| score.bars.get(n.bar).is_some_and(|b| b.number == u.bar) && n.slot == u.slot).and_then(|n| n.text);
        out.push((f, text));
    }
    for s in part.rhythm.iter().filter(|s| !waved(s.bar, s.slot)) {
        // The notes of that stroke have said it, or a pitch was heard.
        let said = out.iter().any(|(f, _)| f.bar == s.bar && f.slot == s.slot && (f.time_s - s.time_s).abs() < 0.12);
        let moved = part.notes.iter().any(|n| n.moved_slots.is_some() && (n.time_s - s.time_s).abs() < 0.7);
        if said || (!s.written && moved) {
            continue;
        }
        let mut f = blank(if s.written { FindingKind::NoStroke } else { FindingKind::NoteOrScratch }, s.evidence, if s.written { 2.2 } else { 1.0 });
        (f.beat, f.slot, f.bar, f.time_s) = (s.beat, s.slot, s.bar, s.time_s);
        f.words = match (s.written, take) {
            (true, false) => "a stroke is written here, and nothing begins in the record".into(),
            (true, true) => "this stroke was not heard".into(),
            (false, false) => "something is struck here that nobody wrote".into(),
            (false, true) => "you struck something here that is not written".into(),
        };
        let text = written.notes.iter().find(|n| score.bars.get(n.bar).is_some_and(|b| b.number == s.bar) && n.slot == s.slot).and_then(|n| n.text);
        out.push((f, if s.written { text } else { None }));
    }
    for (f, _) in &mut out {
        f.part = Some(part.name.clone());
        f.bars = vec![f.bar];
    }
    out
}

/// The same thing found in several rounds of one line of text is one finding, and more sure.
fn merged(all: Vec<(Finding, Option<Span>)>) -> Vec<(Finding, Option<Span>)> {
    let mut out: Vec<(Finding, Option<Span>)> = Vec::new();
    for (f, text) in all {
        let same = |o: &&mut (Finding, Option<Span>)| {
            text.is_some() && o.1 == text && (o.0.kind, o.0.slot, o.0.string, o.0.suggested, o.0.moved_slots) == (f.kind, f.slot, f.string, f.suggested, f.moved_slots)
        };
        match out.iter_mut().find(same) {
            Some((old, _)) => {
                old.bars.push(f.bar);
                // What hides a stroke in one round hides it in all.
                old.sure = if f.kind == FindingKind::NoStroke { old.sure.max(f.sure) } else { 1.0 - (1.0 - old.sure) * (1.0 - 0.5 * f.sure) };
                old.serious += 0.15;
            }
            None => out.push((f, text)),
        }
    }
    for (f, _) in &mut out {
        let bars = match f.bars.as_slice() {
            [one] => format!("bar {one}"),
            many => format!("bars {}", many.iter().map(u32::to_string).collect::<Vec<_>>().join(", ")),
        };
        let whole = f.beat.floor();
        let off = if (f.beat - whole).abs() > 0.01 { format!(" (slot {})", f.slot) } else { String::new() };
        f.words = format!("{bars}, beat {whole}{off}: {} ({})", f.words, sure_words(f.sure));
    }
    out
}

fn of_whole(score: &Score, checked: &Checked, part: Option<usize>, whole: Whole, sure: f64, voice: Voice) -> Finding {
    let take = voice == Voice::Take;
    let what = if take { "your take" } else { "the record" };
    let mut f = blank(FindingKind::Whole(whole), sure, 10.0);
    f.part = part.and_then(|p| score.parts.get(p)).map(|p| p.name.clone());
    f.bar = score.bars.first().map_or(0, |b| b.number);
    f.bars = vec![f.bar];
    f.time_s = checked.starts_s.first().copied().unwrap_or(0.0);
    let name = f.part.clone().unwrap_or_default();
    f.words = match whole {
        Whole::Silent => format!("nothing is heard in this stretch of {what}"),
        Whole::OtherRecord => {
            if take {
                "this does not seem to be this passage: is it the right passage, and the right take?".into()
            } else {
                format!("this does not seem to be the passage \"{}\": is it the right record, and the right place in it?", score.id)
            }
        }
        Whole::Tempo { times } => {
            let word = if times > 1.5 { "twice" } else if times < 0.67 { "half" } else { "another tempo than" };
            if take { format!("you played at {word} the written tempo") } else { format!("the passage fits at {word} the written tempo: is the tempo right?") }
        }
        Whole::EndsEarly { bar, time_s } => {
            f.bar = bar;
            f.bars = vec![bar];
            f.time_s = time_s;
            format!("{what} ends in bar {bar}: nothing is known of what comes after")
        }
        Whole::Semitones(by) => {
            let (much, way, side) = (interval_words(by), if by > 0 { "higher" } else { "lower" }, if by > 0 { "low" } else { "high" });
            match (take, part) {
                (true, _) => format!("all that you played sounds {much} {way} than written: is your guitar tuned right, and the capo where it belongs?"),
                (false, Some(_)) => format!("the whole part \"{name}\" seems {much} {side}: is the tuning (or the capo) right?"),
                (false, None) => format!("all parts seem {much} {side}: is the tuning right, or does this copy of the record run {way}?"),
            }
        }
        Whole::StringTuned { string, by } => {
            let open = part.and_then(|p| score.parts.get(p)).and_then(|p| p.neck.as_ref()?.sounds(string, 0)).map_or(0, |m| i32::from(m.0));
            (f.string, f.written) = (Some(string), Some(open));
            let (written, sounds) = (note_name(score.key, open), note_name(score.key, open + by));
            let (much, way) = (interval_words(by), if by > 0 { "higher" } else { "lower" });
            if take {
                format!("every note on your string {string} sounds {much} {way} than written: tune it to {written} (it seems to be at {sounds})")
            } else {
                format!("all notes on string {string} of \"{name}\" sound {much} {way} than written: is that string tuned to {sounds} there, not {written}?")
            }
        }
        Whole::Absent if take => "hardly a note of this part is heard in your take: is it the right part?".into(),
        Whole::Absent => format!("hardly a note of the part \"{name}\" is heard in {what}"),
    };
    f.suggested = match whole {
        Whole::Semitones(by) => Some(by),
        Whole::StringTuned { by, .. } => f.written.map(|w| w + by),
        _ => None,
    };
    f
}

fn interval_words(semitones: i32) -> String {
    match semitones.abs() {
        1 => "a semitone".into(),
        2 => "a whole tone".into(),
        12 => "an octave".into(),
        n => format!("{n} semitones"),
    }
}

/// The better pitch on the same string, else a free one near by.
fn place_of_better(score: &Score, index: usize, n: &NoteChecked, better: i32) -> Option<(u8, u8)> {
    let part = &score.parts[index];
    let neck = part.neck.as_ref()?;
    let (string, fret) = (n.string?, i32::from(n.fret?) + better - n.midi);
    if (0..=i32::from(neck.top_fret())).contains(&fret) && (better - n.midi).abs() <= 4 {
        return Some((string, fret as u8));
    }
    let beside: Vec<usize> = part.notes.iter().enumerate().filter(|(_, o)| score.bars.get(o.bar).is_some_and(|b| b.number == n.bar) && o.slot == n.slot && o.place.map(|p| p.0) != Some(string)).map(|(i, _)| i).collect();
    crate::judge::place_for(part, better, &beside)
}

fn place_words(n: &NoteChecked) -> String {
    match (n.string, n.fret) {
        (Some(s), Some(f)) => format!(" (string {s} fret {f})"),
        _ => String::new(),
    }
}

/// How sure a finding is, in words; 0 to 1.
pub fn sure_words(sure: f64) -> &'static str {
    match sure {
        s if s > 0.95 => "quite sure",
        s if s > 0.8 => "fairly sure",
        _ => "a guess",
    }
}

/// A pitch by its name in a key, C major where there is none; its number where it is no MIDI pitch.
pub fn note_name(key: Option<Key>, midi: i32) -> String {
    let c = Key::parse("C major").ok();
    match (key.or(c), u8::try_from(midi)) {
        (Some(k), Ok(m)) => k.spell(Midi(m)).to_string(),
        _ => midi.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_sureness_and_notes_have_their_words() {
        assert_eq!([1, -1, 2, 12, -12, 7].map(interval_words), ["a semitone", "a semitone", "a whole tone", "an octave", "an octave", "7 semitones"]);
        assert_eq!([0.99, 0.95, 0.81, 0.8, 0.0].map(sure_words), ["quite sure", "fairly sure", "fairly sure", "a guess", "a guess"]);
        assert_eq!([note_name(Key::parse("E major").ok(), 61), note_name(Key::parse("Ab major").ok(), 61), note_name(None, 300), note_name(None, -1)], ["C#4", "Db4", "300", "-1"]);
    }
}
