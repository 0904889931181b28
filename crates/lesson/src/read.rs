//! Reading: from the bytes of a lesson file to the document's raw parts. [`crate::resolve`] then plays out repeats and turns strokes into notes.
//!
//! Reading never stops half-way: what can be read is read, and every problem is kept with its place.

use crate::nodes::{Node, Text, span_of, unknown_node};
use crate::problem::{Problems, Weight, excerpt};
use crate::resolve::{self, RawBar, RawPart, RawPassage, Row};
use crate::stroke::SLOTS_MAX;
use crate::{Beats, Drum, Kind, Lesson, Meter, NamedGrip, Note, Passage, Problem, RecordSpan, Revision, Span, Swing, Take, UsualHand, scan};
use kdl::{KdlDocument, KdlValue};
use neck::{Finger, Grip, Instrument, Tuning};
use pitch::{Key, Style, Symbol};

/// The format version that this crate writes, and the newest that it reads.
pub const FORMAT: u32 = 1;
/// Bars that a passage may have, repeats played out.
pub const BARS_MAX: usize = 1000;
/// Bars of all passages and parts together.
pub const BARS_IN_ALL_MAX: usize = 20_000;

/// What reading gave.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reading {
    /// As much of the lesson as could be read; whole only when no problem is an error.
    pub lesson: Lesson,
    /// In order of place.
    pub problems: Vec<Problem>,
}

impl Reading {
    /// True when nothing weighs as an error.
    pub fn is_sound(&self) -> bool {
        self.problems.iter().all(|p| p.weight != Weight::Error)
    }
}

/// Reads a lesson from text. See [`read_bytes`].
pub fn read(text: &str) -> Reading {
    read_bytes(text.as_bytes())
}

/// Reads a lesson from the bytes of its file: UTF-8, with or without byte order mark, any line ends, at most 2 MiB.
///
/// Never panics; problems are collected, at most [`crate::PROBLEMS_MAX`].
pub fn read_bytes(bytes: &[u8]) -> Reading {
    let mut problems = Problems::default();
    let mut lesson = Lesson::default();
    match scan::decode(bytes) {
        Err((span, found, right)) => problems.error(span, found, right),
        Ok(text) => {
            if scan::balanced(text, &mut problems) {
                match KdlDocument::parse_v2(text) {
                    Ok(doc) => lesson = read_document(&doc, text, &mut problems),
                    Err(e) => syntax(&e, text, &mut problems),
                }
            }
        }
    }
    let mut list = problems.list;
    list.sort_by_key(|p| (p.span, p.weight));
    Reading { lesson, problems: list }
}

/// Parses another text in the lesson file's language, under the same limits of nesting.
///
/// # Errors
/// The problems, in the words of this crate.
pub fn document(text: &str) -> Result<KdlDocument, Vec<Problem>> {
    let mut problems = Problems::default();
    if scan::balanced(text, &mut problems) {
        match KdlDocument::parse_v2(text) {
            Ok(doc) => return Ok(doc),
            Err(e) => syntax(&e, text, &mut problems),
        }
    }
    Err(problems.list)
}

/// The document parser's complaints: one a line, the first of each run, in this project's words.
fn syntax(e: &kdl::KdlError, text: &str, problems: &mut Problems) {
    let mut last_line = usize::MAX;
    for d in &e.diagnostics {
        let span = span_of(d.span);
        let line = crate::Position::of(text, span.start).line;
        // What follows on the same or the next line is nearly always the same slip.
        if last_line != usize::MAX && line <= last_line + 1 {
            continue;
        }
        // "No closing" is a cascade here: braces have been counted already.
        if d.message.as_deref().is_some_and(|m| m.contains("closing")) && e.diagnostics.len() > 1 {
            continue;
        }
        last_line = line;
        let start = span.start.min(text.len());
        let shown = text.get(start..).map(|t| t.lines().next().unwrap_or("")).unwrap_or("");
        let found = if shown.trim().is_empty() { "something is missing at the end of this line".to_string() } else { format!("this cannot be read: {}", excerpt(shown)) };
        problems.error(span, found, "a line is a word, then values: texts in quotes, numbers plain, properties as name=value; { and } hold what belongs to it");
        if problems.list.len() >= 5 {
            break;
        }
    }
    if problems.list.is_empty() {
        problems.error(Span::default(), "the file cannot be read as a lesson", "a lesson begins with: lesson \"Title\" { passage \"verse\" { … } }");
    }
}

fn read_document(doc: &KdlDocument, source: &str, problems: &mut Problems) -> Lesson {
    let mut lesson = None;
    for node in doc.nodes() {
        let node = Node { node, source };
        if node.name() == "lesson" {
            if lesson.is_some() {
                problems.error(node.span(), "a second lesson stands in this file", "a file holds one lesson; give the other a folder of its own");
                continue;
            }
            lesson = Some(read_lesson(&node, problems));
        } else {
            unknown_node(&node, "a lesson file", &["lesson"], problems);
        }
    }
    lesson.unwrap_or_else(|| {
        if problems.list.is_empty() {
            problems.error(Span::default(), "there is no lesson in this file", "a lesson begins with: lesson \"Title\" { passage \"verse\" { … } }");
        }
        Lesson::default()
    })
}

fn read_lesson(node: &Node, problems: &mut Problems) -> Lesson {
    let right = "lesson \"Title\" needs=\"barre\" { … }";
    // A newer format may have words that are not known here: say that alone, not a list of unknown words.
    let format = node.prop_count("format", 1..=9999, "format=1, the version of the lesson format", problems);
    if let Some((n, span)) = format.filter(|(n, _)| *n > FORMAT) {
        problems.error(span, format!("this lesson is written in format {n}"), format!("this program reads formats up to {FORMAT}: use a newer one"));
        return Lesson::default();
    }
    node.expect(1..=1, &["needs", "chord-names", "format"], true, right, problems);
    let mut lesson = Lesson { format: format.map_or(FORMAT, |(n, _)| n), ..Lesson::default() };
    lesson.title = node.text(0, right, problems).map(|t| t.value).unwrap_or_default();
    lesson.needs = node.prop_text("needs", "needs=\"barre, sixteenth scratch\"", problems).map(|t| split_list(&t.value)).unwrap_or_default();
    if let Some(t) = node.prop_text("chord-names", "chord-names=\"plain\", \"capital\" or \"signs\"", problems) {
        match Style::parse(&t.value) {
            Ok(style) => lesson.chord_names = style,
            Err(why) => problems.error(t.span, why, "write chord-names=\"plain\", \"capital\" or \"signs\""),
        }
    }
    let mut raw: Vec<RawPassage> = Vec::new();
    for child in node.children() {
        match child.name() {
            "passage" => {
                let p = read_passage(&child, raw.len(), problems);
                if raw.iter().any(|o| o.id == p.id) {
                    problems.error(p.span, format!("a second passage is called \"{}\"", p.id), "give each passage a name of its own");
                } else {
                    raw.push(p);
                }
            }
            "note" => {
                let right = "note \"Words about the whole lesson.\"";
                child.expect(1..=1, &[], false, right, problems);
                lesson.notes.extend(child.text(0, right, problems).map(|t| t.value));
            }
            "revision" => lesson.revisions.extend(read_revision(&child, problems)),
            _ => unknown_node(&child, "a lesson", &["passage", "note", "revision"], problems),
        }
    }
    if raw.is_empty() && problems.list.is_empty() {
        problems.error(node.span(), "the lesson has no passage", "put at least one into its braces: passage \"verse\" { tempo 100; part \"one\" instrument=\"guitar\" { bar \"…\" } }");
    }
    let bars: usize = raw.iter().flat_map(|p| &p.parts).map(|p| p.order.len()).sum();
    if bars > BARS_IN_ALL_MAX {
        problems.error(node.span(), format!("the lesson has {bars} bars in all its parts"), format!("a lesson has {BARS_IN_ALL_MAX} at most; make two of it"));
        return lesson;
    }
    let chord_names = lesson.chord_names;
    lesson.passages = raw.into_iter().map(|p| Passage { chord_names, ..resolve::passage(p, problems) }).collect();
    lesson
}

/// Comma-separated words.
fn split_list(text: &str) -> Vec<String> {
    text.split(',').map(str::trim).filter(|s| !s.is_empty()).map(str::to_string).collect()
}

fn read_revision(node: &Node, problems: &mut Problems) -> Option<Revision> {
    let right = "revision \"2027-01-04\" \"bar 3 had the wrong top note\"";
    node.expect(2..=2, &[], false, right, problems);
    let date = node.text(0, right, problems)?;
    let text = node.text(1, right, problems)?;
    if !is_date(&date.value) {
        problems.error(date.span, format!("\"{}\" is no date", excerpt(&date.value)), "write year-month-day, such as 2027-01-04");
        return None;
    }
    Some(Revision { date: date.value, text: text.value, span: node.span() })
}

/// `YYYY-MM-DD`, proleptic Gregorian (ISO 8601 calendar date).
fn is_date(text: &str) -> bool {
    let b = text.as_bytes();
    if b.len() != 10 || b[4] != b'-' || b[7] != b'-' || !text.is_ascii() {
        return false;
    }
    let n = |r: std::ops::Range<usize>| text[r].parse::<u32>().ok().filter(|_| true);
    let (Some(y), Some(m), Some(d)) = (n(0..4), n(5..7), n(8..10)) else { return false };
    if !text.bytes().enumerate().all(|(i, c)| c.is_ascii_digit() || i == 4 || i == 7) {
        return false;
    }
    let leap = y.is_multiple_of(4) && (!y.is_multiple_of(100) || y.is_multiple_of(400));
    let days = match m {
        4 | 6 | 9 | 11 => 30,
        2 if leap => 29,
        2 => 28,
        1..=12 => 31,
        _ => 0,
    };
    (1..=days).contains(&d)
}

/// Seconds from `12.4`, `"12.4"`, `"1:02.5"` or `"1:02:03"`.
pub(crate) fn read_time(text: &str) -> Option<f64> {
    let fields: Vec<&str> = text.trim().split(':').collect();
    if fields.len() > 3 {
        return None;
    }
    let mut total = 0.0;
    for (i, f) in fields.iter().enumerate() {
        let last = i + 1 == fields.len();
        let ok = !f.is_empty() && f.len() <= 9 && f.starts_with(|c: char| c.is_ascii_digit()) && f.ends_with(|c: char| c.is_ascii_digit()) && f.bytes().all(|b| b.is_ascii_digit() || (last && b == b'.'));
        let v: f64 = if ok { f.parse().ok()? } else { return None };
        if i > 0 && v >= 60.0 {
            return None;
        }
        total = total * 60.0 + v;
    }
    Some(total)
}

fn prop_time(node: &Node, key: &str, problems: &mut Problems) -> Option<f64> {
    let right = format!("{key}=\"0:12.40\", minutes and seconds");
    let (value, text, span) = node.prop_any(key)?;
    let seconds = match (value, text) {
        (_, Some(t)) => read_time(&t.value),
        (KdlValue::Integer(n), _) if (0..=86_400).contains(&n) => Some(n as f64),
        (KdlValue::Float(f), _) if (0.0..=86_400.0).contains(&f) => Some(f),
        _ => None,
    };
    if seconds.is_none() {
        problems.error(span, format!("the time after {key}= cannot be read"), format!("write {right}"));
    }
    seconds
}

/// Reads `4/4`.
fn read_meter(t: &Text, problems: &mut Problems) -> Option<Meter> {
    let right = "write beats and their unit, such as \"4/4\", \"6/8\" or \"5/4\"; units are 2, 4, 8, 16";
    let meter = t.value.split_once('/').and_then(|(a, b)| Some(Meter { count: a.trim().parse().ok()?, unit: b.trim().parse().ok()? }));
    match meter {
        Some(m) if (1..=24).contains(&m.count) && [2, 4, 8, 16].contains(&m.unit) => Some(m),
        _ => {
            problems.error(t.span, format!("\"{}\" is no meter", excerpt(&t.value)), right);
            None
        }
    }
}

const TEMPO: &str = "tempo 102, in beats a minute, 20 to 400";

fn read_passage(node: &Node, index: usize, problems: &mut Problems) -> RawPassage {
    let right = "passage \"verse\" title=\"Verse vamp\" { … }";
    node.expect(1..=1, &["title", "sure"], true, right, problems);
    let id = node.text(0, right, problems);
    let mut raw = RawPassage { span: node.span(), guess: node.guess(problems), ..RawPassage::default() };
    match id {
        Some(t) => {
            let ok = !t.value.is_empty() && t.value.len() <= 40 && t.value.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-') && !t.value.starts_with('-');
            if !ok {
                problems.error(t.span, format!("\"{}\" cannot name a passage", excerpt(&t.value)), "its name becomes part of file names: small letters a to z, digits and -, at most 40; the title may be anything");
            }
            raw.id = t.value;
        }
        None => raw.id = format!("passage-{}", index + 1),
    }
    raw.title = node.prop_text("title", right, problems).map_or_else(|| raw.id.clone(), |t| t.value);
    let once = ["tempo", "meter", "slots", "swing", "key"];
    let mut seen: Vec<&str> = Vec::new();
    // Without a readable meter and number of slots the bars are not counted: that message alone helps.
    let mut counted = true;
    for child in node.children() {
        let name = child.name();
        if once.contains(&name) {
            if seen.contains(&name) {
                problems.error(child.span(), format!("{name} stands twice in this passage"), format!("write it once; for a change on the way write {name}= at a bar"));
                continue;
            }
            seen.push(name);
        }
        match name {
            "tempo" => {
                child.expect(1..=1, &[], false, TEMPO, problems);
                raw.tempo = child.number(0, 20.0..=400.0, TEMPO, problems).map(|(n, _)| n);
                raw.tempo_said = true;
            }
            "meter" => {
                child.expect(1..=1, &[], false, "meter \"4/4\"", problems);
                match child.text(0, "meter \"4/4\"", problems).and_then(|t| read_meter(&t, problems)) {
                    Some(m) => raw.meter = m,
                    None => counted = false,
                }
            }
            "slots" => {
                let right = "slots 16, the number of slots in a bar, 1 to 192";
                child.expect(1..=1, &[], false, right, problems);
                raw.slots = child.count(0, 1..=SLOTS_MAX, right, problems);
                counted &= raw.slots.is_some();
            }
            "swing" => {
                let right = "swing 58 of=\"1/16\": the per cent of each pair that the first one takes, 50 to 80, of eighths (1/8) or sixteenths (1/16)";
                child.expect(1..=1, &["of"], false, right, problems);
                let percent = child.number(0, 50.0..=80.0, right, problems);
                let unit = match child.prop_text("of", right, problems) {
                    None => Some(Beats::new(1, 2)),
                    Some(t) if t.value == "1/8" => Some(Beats::new(1, 2)),
                    Some(t) if t.value == "1/16" => Some(Beats::new(1, 4)),
                    Some(t) => {
                        problems.error(t.span, format!("swing of \"{}\" is not known", excerpt(&t.value)), "write of=\"1/8\" or of=\"1/16\"");
                        None
                    }
                };
                raw.swing = percent.zip(unit).map(|((percent, _), unit)| Swing { percent, unit });
            }
            "key" => {
                child.expect(1..=1, &[], false, "key \"C minor\"", problems);
                if let Some(t) = child.text(0, "key \"C minor\"", problems) {
                    match Key::parse(&t.value) {
                        Ok(k) => raw.key = Some(k),
                        Err(e) => problems.error(t.span, e, "write key \"C minor\", \"F# dorian\", \"Bb major\""),
                    }
                }
            }
            "record" => {
                let right = "record \"audio/name.flac\" from=\"0:12.40\" to=\"0:21.81\"";
                child.expect(1..=1, &["from", "to", "cents"], false, right, problems);
                let file = child.text(0, right, problems);
                let from_s = prop_time(&child, "from", problems);
                let to_s = prop_time(&child, "to", problems);
                if let Some((c, _)) = child.prop_number("cents", -150.0..=150.0, "cents=-12, how far the record lies above (or below) concert pitch, -150 to 150", problems) {
                    raw.record_cents = Some(c);
                }
                match (file, from_s, to_s) {
                    (Some(f), Some(a), Some(b)) if a < b => {
                        if let Some(why) = outside(&f.value) {
                            problems.error(f.span, why, "name a file inside the lesson's folder");
                        } else {
                            raw.record.push(RecordSpan { file: f.value, from_s: a, to_s: b, span: child.span() });
                        }
                    }
                    (Some(_), Some(_), Some(_)) => problems.error(child.span(), "the stretch of record ends before it begins", format!("write {right}")),
                    _ if child.prop_any("from").is_none() || child.prop_any("to").is_none() => {
                        problems.error(child.span(), "the record does not say from where to where", format!("write {right}"));
                    }
                    _ => {}
                }
            }
            "chords" => {
                let right = "chords \"Cm7 / / Bb7\", a sign a beat";
                child.expect(1..=64, &["sure"], false, right, problems);
                raw.chords_guess |= child.guess(problems);
                for i in 0..64 {
                    raw.chords.extend(child.text(i, right, problems));
                }
            }
            "note" => raw.notes.extend(read_note(&child, problems)),
            "part" => {
                let part = read_part(&child, None, problems);
                if raw.parts.iter().any(|p| p.name == part.name) {
                    problems.error(part.span, format!("a second part is called \"{}\"", excerpt(&part.name)), "give each part of a passage a name of its own");
                } else if raw.parts.len() >= 16 {
                    problems.error(part.span, "the passage has more than 16 parts", "leave out what the lesson does not need");
                } else {
                    raw.parts.push(part);
                }
            }
            "easier" => {
                let right = "easier \"chop\" { … } with the name of the part before it";
                let of = child.text(0, right, problems);
                if let Some(of) = of {
                    match raw.parts.iter().find(|p| p.name == of.value && p.easier_of.is_none()).cloned() {
                        None => problems.error(of.span, format!("no part is called \"{}\" before this", excerpt(&of.value)), format!("write {right}")),
                        Some(model) => {
                            let part = read_part(&child, Some(&model), problems);
                            if raw.parts.iter().any(|p| p.easier_of.as_ref() == Some(&of.value)) {
                                problems.error(child.span(), format!("a second easier way is given for \"{}\"", excerpt(&of.value)), "give one easier way a part");
                            } else {
                                raw.parts.push(part);
                            }
                        }
                    }
                } else {
                    child.expect(1..=1, &["sure"], true, right, problems);
                }
            }
            _ => unknown_node(
                &child,
                "a passage",
                &["tempo", "meter", "slots", "swing", "key", "record", "chords", "part", "easier", "note"],
                problems,
            ),
        }
    }
    if !counted {
        raw.parts.iter_mut().for_each(|p| p.kind_known = false);
    }
    if !raw.tempo_said {
        problems.error(node.span(), format!("the passage \"{}\" has no tempo", excerpt(&raw.id)), format!("write {TEMPO}"));
    }
    if raw.parts.is_empty() {
        problems.error(node.span(), format!("the passage \"{}\" has no part", excerpt(&raw.id)), "write at least one: part \"chop\" instrument=\"guitar\" { bar \"…\" }");
    }
    raw
}

/// Why a path leads out of the lesson's folder; `None` when it stays inside.
fn outside(path: &str) -> Option<String> {
    let bad = path.starts_with('/') || path.starts_with('\\') || path.contains('\\') || path.split('/').any(|s| s == "..") || path.as_bytes().get(1) == Some(&b':');
    if path.is_empty() {
        return Some("the file name is empty".into());
    }
    bad.then(|| format!("\"{}\" leads out of the lesson's folder", excerpt(path)))
}

fn read_note(node: &Node, problems: &mut Problems) -> Option<resolve::RawNote> {
    let right = "note \"Let the little finger do nothing here.\" at=\"2.1\"";
    node.expect(1..=1, &["at", "part"], false, right, problems);
    let text = node.text(0, right, problems)?;
    let at = node.prop_text("at", right, problems);
    let part = node.prop_text("part", right, problems);
    Some(resolve::RawNote { note: Note { text: text.value, part: part.as_ref().map(|p| p.value.clone()), at: None, span: node.span() }, at, part })
}

pub(crate) const INSTRUMENTS: &[(&str, Kind)] = &[
    ("guitar", Kind::Guitar),
    ("bass", Kind::Bass),
    ("drums", Kind::Drums),
    ("click", Kind::Click),
    ("keys", Kind::Other),
    ("horns", Kind::Other),
    ("voice", Kind::Other),
    ("strings", Kind::Other),
    ("other", Kind::Other),
];

fn read_part(node: &Node, easier: Option<&RawPart>, problems: &mut Problems) -> RawPart {
    let right = "part \"chop\" instrument=\"guitar\" seat=\"left\" { … }";
    let mut raw = RawPart { span: node.span(), ..RawPart::default() };
    raw.guess = node.guess(problems);
    if let Some(model) = easier {
        node.expect(1..=1, &["sure"], true, "easier \"chop\" { … }", problems);
        raw.name = format!("{}, easier", model.name);
        raw.easier_of = Some(model.name.clone());
        raw.kind = model.kind;
        raw.instrument.clone_from(&model.instrument);
        raw.neck.clone_from(&model.neck);
        raw.seat = model.seat;
        raw.staff = model.staff;
        raw.hand = model.hand;
        raw.slots = model.slots;
        raw.by_name = model.by_name;
        raw.grips.clone_from(&model.grips);
    } else {
        node.expect(1..=1, &["instrument", "seat", "tone", "tuning", "capo", "strings", "scale", "frets", "hand", "staff", "slots", "write", "sure"], true, right, problems);
        let name = node.text(0, right, problems);
        if let Some(t) = &name
            && (t.value.trim().is_empty() || t.value.chars().count() > 40 || t.value.chars().any(char::is_control))
        {
            problems.error(t.span, "this cannot name a part", "a part's name has 1 to 40 characters");
        }
        raw.name = name.map(|t| t.value).unwrap_or_default();
        match node.prop_text("instrument", right, problems) {
            None => {
                if node.prop_any("instrument").is_none() {
                    problems.error(node.span(), format!("the part \"{}\" has no instrument", excerpt(&raw.name)), "write instrument=\"guitar\", \"bass\", \"drums\", \"click\", \"keys\", \"horns\", \"voice\", \"strings\" or \"other\"");
                }
                raw.kind_known = false;
            }
            Some(t) => match INSTRUMENTS.iter().find(|(n, _)| *n == t.value) {
                Some((n, k)) => {
                    raw.kind = *k;
                    raw.instrument = (*n).to_string();
                }
                None => {
                    let names: Vec<&str> = INSTRUMENTS.iter().map(|(n, _)| *n).collect();
                    let hint = crate::problem::nearest(&t.value, &names).map_or_else(|| format!("write one of {}", names.join(", ")), |n| format!("did you mean \"{n}\"?"));
                    problems.error(t.span, format!("the instrument \"{}\" is not known", excerpt(&t.value)), hint);
                    raw.kind_known = false;
                }
            },
        }
        raw.neck = read_neck(node, raw.kind, problems);
        raw.seat = read_seat(node, problems);
        raw.tone = node.prop_text("tone", "tone=\"clean, bridge pickup\"", problems).map(|t| t.value);
        raw.staff = node.prop_flag("staff", problems).unwrap_or(false);
        raw.slots = node.prop_count("slots", 1..=SLOTS_MAX, "slots=12, the number of slots in a bar of this part", problems);
        if let Some(t) = node.prop_text("hand", "hand=\"down\"", problems) {
            raw.hand = match t.value.as_str() {
                "swing" => UsualHand::Swing,
                "down" => UsualHand::Down,
                "up" => UsualHand::Up,
                _ => {
                    problems.error(t.span, format!("hand=\"{}\" is not known", excerpt(&t.value)), "write hand=\"down\" (all strokes down), \"up\", or \"swing\" (down and up in turn, as usual)");
                    UsualHand::Swing
                }
            };
        }
        if let Some(t) = node.prop_text("write", "write=\"notes\"", problems) {
            raw.by_name = t.value == "notes" && matches!(raw.kind, Kind::Guitar | Kind::Bass);
            if !raw.by_name {
                problems.error(t.span, format!("write=\"{}\" is not known here", excerpt(&t.value)), "write=\"notes\" on a guitar or bass part says that its bars hold note names, and that their places are to be found");
            }
        }
    }
    let strings = raw.neck.as_ref().map_or(0, Instrument::strings);
    let mut budget = BARS_MAX;
    let mut past_start = false;
    for child in node.children() {
        match child.name() {
            "grip" => read_grip(&child, strings, &mut raw, problems),
            "name" => {
                let right = "name \"Fm9\" at=\"2.1\"";
                child.expect(1..=1, &["at"], false, right, problems);
                let symbol = child.text(0, right, problems).and_then(|t| read_symbol(&t, problems));
                let at = child.prop_text("at", right, problems);
                if at.is_none() && child.prop_any("at").is_none() {
                    problems.error(child.span(), "the name does not say where it stands", format!("write {right}"));
                }
                if let (Some(symbol), Some(at)) = (symbol, at) {
                    raw.names.push((symbol, at, child.span()));
                }
            }
            "place" => {
                let right = "place \"5:7\" at=\"2.1\"";
                child.expect(1..=1, &["at"], false, right, problems);
                let (place, at) = (child.text(0, right, problems), child.prop_text("at", right, problems));
                if !raw.by_name {
                    problems.error(child.span(), "this part's places are written already", "place pins a place in a part with write=\"notes\"; here write it in the bar, such as 5:7");
                } else if let (Some(place), Some(at)) = (place, at) {
                    raw.places.push((place, at));
                } else {
                    problems.error(child.span(), "the place does not say where it stands", format!("write {right}"));
                }
            }
            "take" => {
                let right = "take \"takes/chop.wav\" from=\"0:01.2\"";
                child.expect(1..=1, &["from", "to"], false, right, problems);
                let (from_s, to_s) = (prop_time(&child, "from", problems), prop_time(&child, "to", problems));
                if raw.take.is_some() {
                    problems.error(child.span(), "a second take stands in this part", "a part has one take");
                }
                if let (Some(a), Some(b)) = (from_s, to_s)
                    && a >= b
                {
                    problems.error(child.span(), "the take ends before it begins", format!("write {right}"));
                }
                if let Some(f) = child.text(0, right, problems) {
                    match outside(&f.value) {
                        Some(why) => problems.error(f.span, why, "name a file inside the lesson's folder, such as \"takes/chop.wav\""),
                        None => raw.take = Some(Take { file: f.value, from_s, to_s, span: child.span() }),
                    }
                }
            }
            "pickup" => {
                if past_start {
                    problems.error(child.span(), "the pickup stands after a bar", "a pickup comes before the first bar");
                    continue;
                }
                past_start = true;
                if let Some(bar) = read_bar(&child, &raw, true, problems) {
                    raw.pickup = true;
                    raw.written.push(bar);
                    raw.order.push(0);
                }
            }
            "bar" | "repeat" | "rest" => {
                past_start = true;
                read_stretch(&child, &mut raw, 0, &mut budget, problems);
            }
            _ => unknown_node(&child, "a part", &["grip", "bar", "repeat", "rest", "pickup", "name", "place", "take"], problems),
        }
    }
    if !past_start {
        problems.error(node.span(), format!("the part \"{}\" has no bar", excerpt(&raw.name)), "write at least one: bar \"…\"");
    }
    raw
}

fn read_symbol(t: &Text, problems: &mut Problems) -> Option<Symbol> {
    match Symbol::parse(&t.value) {
        Ok(s) => Some(s),
        Err(e) => {
            problems.error(t.inside(), e, "write a chord sign such as Cm7, Bb7, F#m7b5 or Ab/C");
            None
        }
    }
}

fn read_neck(node: &Node, kind: Kind, problems: &mut Problems) -> Option<Instrument> {
    let bass = match kind {
        Kind::Guitar => false,
        Kind::Bass => true,
        _ => {
            for key in ["tuning", "capo", "strings", "scale", "frets", "hand", "write"] {
                if let Some((_, _, span)) = node.prop_any(key) {
                    problems.error(span, format!("{key}= stands at an instrument without a neck"), "it belongs to guitar and bass");
                }
            }
            return None;
        }
    };
    let mut neck = if bass { Instrument::bass() } else { Instrument::guitar() };
    let range = if bass { 4..=6 } else { 6..=8 };
    let right = format!("strings={} to {}", range.start(), range.end());
    let strings = node.prop_count("strings", range, &right, problems).map(|(n, _)| n as usize);
    let text = node.prop_text("tuning", "tuning=\"drop D\" or the notes low to high", problems);
    // Notes written out say themselves how many strings there are.
    let written = text.as_ref().filter(|t| t.value.split_whitespace().all(|w| pitch::Spelled::parse(w).is_some())).map(|t| t.value.split_whitespace().count());
    let count = strings.or(written.filter(|n| (4..=8).contains(n))).unwrap_or(neck.strings());
    let name = text.as_ref().map_or("standard", |t| t.value.as_str());
    match if bass { Tuning::bass(name, count) } else { Tuning::guitar(name, count) } {
        Ok(t) => neck.tuning = t,
        Err(e) => problems.error(text.map_or(node.span(), |t| t.span), e, "write tuning=\"standard\", \"half step down\", \"drop D\", \"open G\", \"DADGAD\" or the notes low to high"),
    }
    if let Some((n, _)) = node.prop_count("frets", 12..=u32::from(neck::FRETS_MAX), "frets=22, 12 to 36", problems) {
        neck.frets = n as u8;
    }
    if let Some((n, _)) = node.prop_count("capo", 0..=12, "capo=2, the fret that it lies at, 0 to 12", problems) {
        neck.capo = n as u8;
    }
    if let Some((mm, _)) = node.prop_number("scale", 300.0..=1200.0, "scale=648, the length of the open string in millimetres, 300 to 1200", problems) {
        neck.scale_mm = mm;
    }
    Some(neck)
}

fn read_seat(node: &Node, problems: &mut Problems) -> f64 {
    let right = "seat=\"left\", \"centre\", \"right\" or a number from -1 (left) to 1 (right)";
    match node.prop_any("seat") {
        None => 0.0,
        Some((_, Some(t), _)) => match t.value.as_str() {
            "left" => -1.0,
            "centre" | "center" => 0.0,
            "right" => 1.0,
            _ => {
                problems.error(t.span, format!("the seat \"{}\" is not known", excerpt(&t.value)), format!("write {right}"));
                0.0
            }
        },
        Some(_) => node.prop_number("seat", -1.0..=1.0, right, problems).map_or(0.0, |(n, _)| n),
    }
}

fn read_grip(node: &Node, strings: usize, raw: &mut RawPart, problems: &mut Problems) {
    let right = "grip \"a\" \"x x 8 8 8 x\"";
    node.expect(2..=2, &["fingers", "name", "sure"], false, right, problems);
    if strings == 0 {
        if raw.kind_known {
            problems.error(node.span(), "a grip stands at an instrument without a neck", "grips belong to guitar and bass");
        }
        return;
    }
    if raw.by_name {
        problems.error(node.span(), "a grip stands in a part that is written in note names", "leave out write=\"notes\" and write grips and places");
        return;
    }
    let (Some(letter), Some(frets)) = (node.text(0, right, problems), node.text(1, right, problems)) else { return };
    let c = letter.value.chars().next().filter(|c| letter.value.len() == 1 && crate::GRIP_LETTERS.contains(*c));
    let Some(c) = c else {
        problems.error(letter.span, format!("\"{}\" cannot name a grip", excerpt(&letter.value)), "a grip is named by one small letter, a to z, but not x, which is the scratch");
        return;
    };
    let at = raw.grips.iter().position(|g| g.letter == c);
    if at.is_some() && raw.easier_of.is_none() {
        problems.error(letter.span, format!("the grip {c} is given twice"), "give each grip a letter of its own");
        return;
    }
    let grip = match Grip::parse(&frets.value) {
        Ok(g) => g,
        Err(e) => {
            problems.error(frets.inside(), e, "write one token a string, low to high: a fret or x");
            return;
        }
    };
    if grip.frets.len() != strings {
        problems.error(frets.inside(), format!("the grip has {} tokens", grip.frets.len()), format!("this instrument has {strings} strings: write one token a string, low to high"));
        return;
    }
    let Some(neck) = &raw.neck else { return };
    if let Some((s, f)) = grip.sounding().find(|(_, f)| *f > neck.top_fret()) {
        problems.error(frets.inside(), format!("fret {f} on string {s} is past the neck"), top_fret_hint(neck));
        return;
    }
    if grip.sounding().next().is_none() {
        problems.error(frets.inside(), "no string of this grip sounds", "write a fret for at least one string");
        return;
    }
    let mut fingers = Vec::new();
    if let Some(t) = node.prop_text("fingers", "fingers=\"1 2 1\"", problems) {
        for w in t.value.split_whitespace() {
            match Finger::parse(w) {
                Some(f) => fingers.push(f),
                None => {
                    problems.error(t.span, format!("\"{}\" is no finger", excerpt(w)), "fingers are 1 2 3 4 and T for the thumb");
                    fingers.clear();
                    break;
                }
            }
        }
        let fretted = grip.sounding().filter(|(_, f)| *f > 0).count();
        if !fingers.is_empty() && fingers.len() != fretted {
            problems.error(t.span, format!("there are {} fingers for {fretted} fretted strings", fingers.len()), "write a finger for each fretted string, low to high; a barre repeats its finger");
            fingers.clear();
        }
    }
    if !fingers.is_empty()
        && let Err(e) = neck::fingers_given(&grip, &fingers, neck)
    {
        problems.error(node.span(), e, "mend the fingers, or leave them out to have them found");
        fingers.clear();
    }
    let name = node.prop_text("name", "name=\"Ab/C\"", problems).and_then(|t| read_symbol(&t, problems));
    let new = NamedGrip { letter: c, grip, fingers, name, guess: node.guess(problems), span: node.span() };
    match at {
        Some(i) => raw.grips[i] = new,
        None => raw.grips.push(new),
    }
}

pub(crate) fn top_fret_hint(neck: &Instrument) -> String {
    if neck.capo > 0 {
        format!("with the capo at {} the frets go to {} here, counted from it", neck.capo, neck.top_fret())
    } else {
        format!("this neck has {} frets; if yours has more, say so: frets=24", neck.frets)
    }
}

/// A bar, repeat or rest: written bars are kept once, their order of playing is played out.
fn read_stretch(node: &Node, raw: &mut RawPart, depth: usize, budget: &mut usize, problems: &mut Problems) {
    let right_times = "times=4, how often it is played, 1 to 200";
    match node.name() {
        "rest" => {
            let right = "rest, or rest times=4";
            node.expect(0..=0, &["times", "meter", "tempo"], false, right, problems);
            let times = node.prop_count("times", 1..=200, right_times, problems).map_or(1, |(n, _)| n);
            let bar = RawBar {
                rest: true,
                span: node.span(),
                meter: node.prop_text("meter", "meter=\"3/4\"", problems).and_then(|t| read_meter(&t, problems).map(|m| (m, t.span))),
                tempo: node.prop_number("tempo", 20.0..=400.0, "tempo=96", problems),
                ..RawBar::default()
            };
            play_times(raw, bar, times, budget, node.span(), problems);
        }
        "bar" => {
            if let Some(bar) = read_bar(node, raw, false, problems) {
                if let Some(span) = bar.ending_span.filter(|_| depth == 0) {
                    problems.error(span, "an ending stands outside a repeat", "write it in the braces of its repeat: repeat times=2 { bar \"…\"; bar \"…\" ending=1; bar \"…\" ending=2 }");
                }
                let times = bar.times;
                play_times(raw, bar, times, budget, node.span(), problems);
            }
        }
        _ => {
            let right = "repeat times=4 { bar \"…\" }";
            node.expect(0..=0, &["times"], true, right, problems);
            if node.prop_any("times").is_none() {
                problems.error(node.span(), "the repeat does not say how often", format!("write {right}"));
            }
            let times = node.prop_count("times", 2..=200, "times=4, how often it is played, 2 to 200", problems).map_or(1, |(n, _)| n);
            if depth >= 3 {
                problems.error(node.span(), "repeats are nested more than three deep", "write the inner bars out");
                return;
            }
            // Read once into a part of its own, then play the rounds.
            let mut inner = std::mem::take(raw);
            let (order, folds) = (std::mem::take(&mut inner.order), std::mem::take(&mut inner.folds));
            // For each child the rounds that it ends, what it plays, its own repeats, its place.
            type Child = (Vec<u32>, Vec<usize>, Vec<crate::Fold>, Span);
            let mut items: Vec<Child> = Vec::new();
            let mut endings = false;
            let mut inner_budget = BARS_MAX;
            let mut empty = true;
            for child in node.children() {
                if !matches!(child.name(), "bar" | "repeat" | "rest") {
                    unknown_node(&child, "a repeat", &["bar", "repeat", "rest"], problems);
                    continue;
                }
                empty = false;
                let first_written = inner.written.len();
                read_stretch(&child, &mut inner, depth + 1, &mut inner_budget, problems);
                let rounds = if child.name() == "bar" { inner.written.get(first_written).map(|b| b.ending.clone()).unwrap_or_default() } else { vec![] };
                if rounds.is_empty() && endings {
                    problems.error(child.span(), "a bar without an ending stands after the endings", "the endings are the last bars of a repeat");
                }
                if let Some(n) = rounds.iter().find(|n| **n > times) {
                    problems.error(child.span(), format!("there is an ending for round {n}, but the repeat has {times}"), format!("count the rounds from 1 to {times}"));
                }
                endings |= !rounds.is_empty();
                items.push((rounds, std::mem::take(&mut inner.order), std::mem::take(&mut inner.folds), child.span()));
            }
            if empty {
                problems.error(node.span(), "the repeat has no bar", format!("write {right}"));
            }
            *raw = RawPart { order, folds, ..inner };
            let start = raw.order.len();
            let mut fold = crate::Fold { start, body: 0, endings: Vec::new() };
            let mut inner_folds = Vec::new();
            'rounds: for round in 1..=times {
                let mut ending = 0;
                for (rounds, order, folds, span) in &items {
                    if !rounds.is_empty() && !rounds.contains(&round) {
                        continue;
                    }
                    let here = raw.order.len();
                    inner_folds.extend(folds.iter().map(|f| crate::Fold { start: here + f.start, ..f.clone() }));
                    for id in order {
                        if !play(raw, *id, budget, *span, problems) {
                            break 'rounds;
                        }
                    }
                    if rounds.is_empty() {
                        if round == 1 {
                            fold.body += order.len();
                        }
                    } else {
                        ending += order.len();
                    }
                }
                fold.endings.push(ending);
            }
            if fold.body > 0 || endings {
                raw.folds.push(fold);
            }
            raw.folds.extend(inner_folds);
        }
    }
}

/// Keeps a written bar and plays it so many times; more than once is a repeat of one bar.
fn play_times(raw: &mut RawPart, bar: RawBar, times: u32, budget: &mut usize, span: Span, problems: &mut Problems) {
    raw.written.push(bar);
    let id = raw.written.len() - 1;
    let start = raw.order.len();
    for _ in 0..times {
        play(raw, id, budget, span, problems);
    }
    if times > 1 {
        raw.folds.push(crate::Fold { start, body: 1, endings: vec![0; times as usize] });
    }
}

/// Appends a written bar to the order of playing, as long as the passage does not grow past all bounds.
fn play(raw: &mut RawPart, id: usize, budget: &mut usize, span: Span, problems: &mut Problems) -> bool {
    if *budget == 0 {
        problems.error(span, format!("the part grows past {BARS_MAX} bars with its repeats played out"), format!("a passage has {BARS_MAX} bars at most; a lesson's passages are short"));
        return false;
    }
    *budget -= 1;
    raw.order.push(id);
    true
}

/// `heard="as written"`, for the whole bar or for slots of it.
fn read_heard(node: &Node, problems: &mut Problems) -> Option<(Vec<u32>, Span)> {
    let right = "heard=\"as written\" for the whole bar, heard=\"as written at slots 3, 7\" for some of it";
    let t = node.prop_text("heard", right, problems)?;
    let words: Vec<&str> = t.value.split([' ', ',', '\t']).filter(|w| !w.is_empty()).collect();
    let slots = match words.as_slice() {
        ["as", "written"] => Some(vec![]),
        ["as", "written", "at", "slot" | "slots", list @ ..] if !list.is_empty() => list.iter().map(|w| w.parse().ok().filter(|n| (1..=SLOTS_MAX).contains(n))).collect(),
        _ => None,
    };
    if slots.is_none() {
        problems.error(t.span, format!("heard=\"{}\" says nothing that is known", excerpt(&t.value)), format!("write {right}"));
    }
    slots.map(|s| (s, t.span))
}

fn read_bar(node: &Node, part: &RawPart, pickup: bool, problems: &mut Problems) -> Option<RawBar> {
    let rows = part.kind == Kind::Drums;
    let right = match (rows, pickup) {
        (true, _) => "bar { kick \"x . . .\"; snare \". . x .\"; hats \"x x x x\" }",
        (_, true) => "pickup \". a a .\"",
        _ => "bar \"a . x x …\"",
    };
    let props: &[&str] = if pickup { &["say", "sure", "heard", "tempo"] } else { &["meter", "tempo", "slots", "ending", "times", "say", "sure", "heard"] };
    node.expect(usize::from(!rows)..=usize::from(!rows), props, true, right, problems);
    let mut bar = RawBar { span: node.span(), times: 1, ..RawBar::default() };
    bar.line = if rows { None } else { node.text(0, right, problems) };
    bar.meter = node.prop_text("meter", "meter=\"3/4\"", problems).and_then(|t| read_meter(&t, problems).map(|m| (m, t.span)));
    bar.tempo = node.prop_number("tempo", 20.0..=400.0, "tempo=96, in beats a minute, 20 to 400", problems);
    bar.slots = node.prop_count("slots", 1..=SLOTS_MAX, "slots=12, the number of slots in this bar", problems);
    bar.times = node.prop_count("times", 1..=200, "times=4, how often it is played, 1 to 200", problems).map_or(1, |(n, _)| n);
    bar.say = node.prop_text("say", "say=\"slide in from a fret below\"", problems).map(|t| t.value);
    bar.guess = node.guess(problems);
    bar.heard = read_heard(node, problems);
    if let Some((value, text, span)) = node.prop_any("ending") {
        bar.ending_span = Some(span);
        let numbers: Option<Vec<u32>> = match (value, text) {
            (KdlValue::Integer(n), _) if (1..=200).contains(&n) => Some(vec![n as u32]),
            (_, Some(t)) => t.value.split([',', ' ']).filter(|s| !s.is_empty()).map(|s| s.parse().ok().filter(|n| (1..=200).contains(n))).collect(),
            _ => None,
        };
        match numbers {
            Some(n) if !n.is_empty() => bar.ending = n,
            _ => problems.error(span, "the ending does not say for which round it is", "write ending=1, or ending=\"1, 2\" for several rounds"),
        }
    }
    for child in node.children() {
        let name = child.name();
        let drum = Drum::of_row(name);
        let row = match (rows, name, drum) {
            (true, _, Some(d)) => Row::Drum(d),
            (false, "level", _) if !matches!(part.kind, Kind::Click) => Row::Level,
            (false, "wah", _) if part.kind == Kind::Guitar || part.kind == Kind::Bass || part.kind == Kind::Other => Row::Wah,
            (true, ..) => {
                unknown_node(&child, "a bar of drums", &["kick", "snare", "hats", "ride", "crash", "tom"], problems);
                continue;
            }
            _ => {
                unknown_node(&child, "a bar", &["level", "wah"], problems);
                continue;
            }
        };
        let right = format!("{name} \"…\", a sign a slot");
        child.expect(1..=1, &[], false, &right, problems);
        if bar.rows.iter().any(|(r, _)| *r == row) {
            problems.error(child.span(), format!("{name} stands twice in this bar"), "write it once");
            continue;
        }
        if let Some(t) = child.text(0, &right, problems) {
            bar.rows.push((row, t));
        }
    }
    if rows && bar.rows.is_empty() {
        // A line in place of rows has had its message.
        if node.node.entries().iter().any(|e| e.name().is_none()) {
            return None;
        }
        problems.error(node.span(), "this bar of drums has no row", format!("write {right}, or rest for a silent bar"));
        return None;
    }
    if !rows && bar.line.is_none() {
        return None;
    }
    Some(bar)
}
