//! Parts against the record: before a lesson is published, the machine listens to the record with the written parts in hand and says which notes it supports, which it
//! contradicts, what it hears that nobody wrote, and how each stroke lies against the beat.
//!
//! | module | computes |
//! |---|---|
//! | `score` | the written notes in seconds |
//! | `spectra`, `templates`, `features`, `chances`, `evidence` | how far a sound supports pitches at a stroke |
//! | `align` | where each stroke lies in the record |
//! | `moments` | what is heard of a part at its strokes and between them, over all stretches of record |
//! | `judge`, `rhythm`, `whole` | verdicts, unwritten notes, timing, faults of a whole part |
//! | `findings`, `accept` | sentences, and the edits that accept them or wave them through |
//!
//! ```
//! let text = r#"
//! lesson "Two bars" {
//!   passage "one" {
//!     tempo 100
//!     slots 8
//!     record "audio/bars.wav" from=0 to=4.8
//!     part "line" instrument="guitar" {
//!       bar "5:3 - 4:2 - 4:5 - 3:2 -"
//!       bar "5:5 - 4:2 - 4:5 - 3:4 -"
//!     }
//!   }
//! }"#;
//! // The record has another note on the third beat.
//! let record = lesson::read(&text.replacen("4:5", "4:4", 1)).lesson;
//! let once = sound::Options { looped: false, ..sound::Options::default() };
//! let record = sound::render(&record.passages[0], &once, &sound::Takes::new(), &|_| ()).unwrap().mix;
//! let records = [("audio/bars.wav", &record)];
//! let checked = check::passage(&lesson::read(text).lesson, "one", &records, &check::Options::default()).unwrap();
//! let wrong: Vec<_> = checked.parts[0].notes.iter().filter(|n| n.verdict == check::Verdict::Contradicted).collect();
//! assert_eq!(wrong.len(), 1);
//! assert_eq!((wrong[0].bar, wrong[0].slot, wrong[0].midi, wrong[0].better), (1, 5, 55, Some(54)));
//! // Accepted, the text has it.
//! let mended = check::accept(text, "one", &checked.findings[0], lesson::Rounds::All).unwrap();
//! assert_eq!(mended, text.replacen("4:5", "4:4", 1));
//! ```
//!
//! # What it must not do
//!
//! - Open files, ask the clock, know JSON: it takes buffers and values.
//! - Let the machine show in its numbers: plain arithmetic and `libm`.
//! - Claim more than is heard: what other sound covers is not audible, and a fault of a whole part is one finding.

mod accept;
mod align;
mod answer;
mod chances;
mod evidence;
mod features;
mod findings;
mod judge;
mod moments;
mod rhythm;
mod score;
mod spectra;
#[cfg(test)]
mod steps;
mod templates;
mod whole;

pub use answer::{Checked, NoteChecked, PartChecked, Pocket, Stray, Unwritten, Verdict};
pub use accept::{Settle, accept, settle, wave_through};
pub use findings::{Finding, FindingKind, Voice, note_name, sure_words};
pub use score::{Score, ScoreBar, ScoreNote, ScorePart};
pub use whole::Whole;

use lesson::Kind;
use wave::{Buffer, Seconds};

/// How a check goes about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// How far off the written beginning may be, seconds.
    pub start_within_s: f64,
    /// Points of the grid that the teacher fixed: written seconds from the passage's beginning, and seconds of the record. One fixes the start, more the
    /// tempo too. They hold for the stretch in which they lie, of the record that comes first.
    pub pins: Vec<(f64, f64)>,
    /// The record's pitch against concert pitch, cents; measured where it is not given.
    pub cents: Option<f64>,
    /// Whom the findings speak to.
    pub voice: Voice,
}

impl Default for Options {
    fn default() -> Options {
        Options { start_within_s: 2.0, pins: vec![], cents: None, voice: Voice::Record }
    }
}

/// More than is asked for is cut out of the record, so that a start that is written a little off can be found.
const AROUND_S: f64 = 2.5;

/// Why a passage is not checked.
#[derive(Clone, Debug, PartialEq)]
pub enum CheckError {
    /// No passage of that name.
    NoPassage { asked: String, have: Vec<String> },
    /// No part of that name.
    NoPart { asked: String, have: Vec<String> },
    /// The passage names no record.
    NoRecord { passage: String },
    /// None of the records that the passage names came along.
    NotThere { passage: String, files: Vec<String> },
}

impl std::fmt::Display for CheckError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            CheckError::NoPassage { asked, have } => write!(f, "no passage is called \"{asked}\"; this lesson has {}", have.join(", ")),
            CheckError::NoPart { asked, have } => write!(f, "no part is called \"{asked}\"; this passage has {}", have.join(", ")),
            CheckError::NoRecord { passage } => write!(f, "passage \"{passage}\" names no record; write record \"audio/name.flac\" from=\"0:12.4\" to=\"0:21.8\""),
            CheckError::NotThere { passage, files } => write!(f, "the record of passage \"{passage}\" is not there: {}", files.join(", ")),
        }
    }
}

impl std::error::Error for CheckError {}

/// A stretch of a record.
#[derive(Clone, Copy, Debug)]
pub struct Span<'a> {
    /// The name under which the record is known.
    pub file: &'a str,
    pub record: &'a Buffer,
    /// Seconds of the record.
    pub from_s: f64,
    pub to_s: f64,
}

/// Checks a passage of a lesson against its records, which come decoded, each with the name that the lesson has for it. Every stretch that the passage names is looked for
/// in its own file, and all speak together. A file of several that did not come along is left out, and that is among the limits.
///
/// # Errors
/// No such passage; a passage that names no record; one none of whose records came along.
pub fn passage(lesson: &lesson::Lesson, id: &str, records: &[(&str, &Buffer)], options: &Options) -> Result<Checked, CheckError> {
    let Some(passage) = lesson.passages.iter().find(|p| p.id == id) else {
        return Err(CheckError::NoPassage { asked: id.into(), have: lesson.passages.iter().map(|p| p.id.clone()).collect() });
    };
    if passage.record.is_empty() {
        return Err(CheckError::NoRecord { passage: id.into() });
    }
    let mut missing: Vec<String> = Vec::new();
    let mut spans: Vec<Span> = Vec::new();
    for r in &passage.record {
        match records.iter().find(|(name, _)| *name == r.file) {
            Some((file, record)) => spans.push(Span { file, record, from_s: r.from_s, to_s: r.to_s }),
            None if !missing.contains(&r.file) => missing.push(r.file.clone()),
            None => {}
        }
    }
    if spans.is_empty() {
        return Err(CheckError::NotThere { passage: id.into(), files: missing });
    }
    let options = Options { cents: options.cents.or(passage.record_cents), ..options.clone() };
    let mut checked = against(&Score::of(passage), &spans, &options);
    checked.limits.extend(missing.iter().map(|file| format!("{file} is not there or cannot be read: what it holds of this passage was left out")));
    Ok(checked)
}

/// Checks a take of one part, a pupil's or the teacher's own, in place of the record: the same verdicts and timing, in words for whoever played. The passage
/// may begin anywhere in the first seconds of the take.
///
/// # Errors
/// No such passage or part.
pub fn take(lesson: &lesson::Lesson, id: &str, part: &str, take: &Buffer, options: &Options) -> Result<Checked, CheckError> {
    let Some(passage) = lesson.passages.iter().find(|p| p.id == id) else {
        return Err(CheckError::NoPassage { asked: id.into(), have: lesson.passages.iter().map(|p| p.id.clone()).collect() });
    };
    let mut score = Score::of(passage);
    score.parts.retain(|p| p.name == part);
    if score.parts.is_empty() {
        return Err(CheckError::NoPart { asked: part.into(), have: passage.parts.iter().map(|p| p.name.clone()).collect() });
    }
    // A take of one guitar has no seats.
    let mono = take.mono();
    // It begins with the first sound, or somewhat later than the file.
    let first = score.parts.iter().flat_map(|p| &p.notes).map(|n| n.at_s).fold(f64::MAX, f64::min);
    let samples = mono.channels().first().map_or(&[][..], |c| c.as_slice());
    let peak = samples.iter().fold(0.0f32, |m, s| m.max(s.abs()));
    let sounds = samples.iter().position(|s| s.abs() > 0.1 * peak).unwrap_or(0) as f64 / f64::from(mono.rate_hz());
    let from = sounds - first;
    let span = Span { file: "", record: &mono, from_s: from, to_s: from + score.length_s };
    Ok(against(&score, &[span], &Options { voice: Voice::Take, ..options.clone() }))
}

/// Checks a score against stretches of one record or several.
///
/// Silence, a record that is too short and one that does not fit are findings, not errors.
pub fn against(score: &Score, spans: &[Span], options: &Options) -> Checked {
    let first_file = spans.first().map_or("", |s| s.file);
    let mut checked = Checked { id: score.id.clone(), file: first_file.into(), stretch: 1.0, aligned: 1.0, ..Checked::default() };
    let mut stretches: Vec<moments::Stretch> = Vec::new();
    let mut wholes: Vec<(Option<usize>, Whole, f64)> = Vec::new();
    // The first stretch: which it is, what was known of it, its pitch, and whether it is doubtful.
    let mut doubt: Option<(&Span, align::Known, f64, bool)> = None;
    for span in spans {
        let Span { file, record, from_s: from, to_s: to } = span;
        let from_s = (from - AROUND_S).max(0.0);
        let cut = record.slice_time(Seconds(from_s)..Seconds((to + AROUND_S).min(record.duration().0).max(from_s)));
        let Some(sound) = spectra::Sound::new(&cut) else { continue };
        let cents = options.cents.or_else(|| hear::pitch_reference(&cut).ok().flatten().filter(|p| p.confidence > 0.15).map(|p| p.cents));
        checked.cents = checked.cents.or(cents);
        let pins = options.pins.iter().filter(|p| *file == first_file && p.1 >= from_s && p.1 <= to + AROUND_S).map(|p| (p.0, p.1 - from_s)).collect();
        let known = align::Known { start_s: from - from_s, start_within_s: options.start_within_s, pins, turned: None };
        let cents = cents.unwrap_or(0.0);
        let seen = align::Seen::new(&sound, cents);
        let Some(alignment) = align::align(&seen, score, &known) else { continue };
        let alignment = if known.pins.len() < 2 { swung(score, &seen, &known, alignment) } else { alignment };
        let mut stretch = moments::Stretch { sound, seen, panorama: Default::default(), alignment, combs: features::Combs::new(cents), cents, from_s, hearings: None };
        if stretch.alignment.semitones != 0 {
            // One part moved and the others right can lead the search astray: is more heard where it lies as written?
            let plain = align::Known { turned: Some(0), ..known.clone() };
            if let Some(as_written) = align::align(&stretch.seen, score, &plain) {
                let moved = whole::held(score, &stretch, 3);
                let moved_alignment = std::mem::replace(&mut stretch.alignment, as_written);
                if whole::held(score, &stretch, 3) < moved {
                    stretch.alignment = moved_alignment;
                }
            }
        }
        let moments::Stretch { sound, alignment, .. } = &stretch;
        let early = ends_early(score, alignment, sound.end_s);
        checked.starts_s.push(from_s + alignment.heard(0.0));
        checked.files.push((*file).into());
        checked.aligned = checked.aligned.min(alignment.sure.clamp(0.0, 1.0));
        if stretches.is_empty() {
            doubt = Some((span, known.clone(), cents, alignment.sure < 1.6 * UNSURE || early.is_some()));
            checked.file = (*file).into();
            checked.stretch = alignment.stretch;
            checked.grid = alignment.grid.iter().map(|(w, h)| (*w, from_s + h)).collect();
            if let Some((time_s, bar)) = early {
                wholes.push((None, Whole::EndsEarly { time_s: from_s + time_s, bar }, 0.9));
            }
            if sound.right.is_none() && score.parts.len() > 1 {
                checked.limits.push("the record is mono: parts cannot be told apart by their seats, so notes that two parts share say less".into());
            }
        }
        stretch.hearings = Some(Default::default());
        stretches.push(stretch);
    }
    let Some(first) = stretches.first() else {
        if score.parts.iter().any(|p| !p.notes.is_empty()) {
            checked.aligned = 0.0;
            wholes.push((None, Whole::Silent, 1.0));
            checked.findings = findings::findings(score, &checked, &wholes, options.voice);
        }
        return checked;
    };
    if checked.cents.is_none() {
        let whose = if options.voice == Voice::Take { "your take's" } else { "the record's" };
        checked.limits.push(format!("{whose} pitch could not be measured: it is taken to be concert pitch"));
    }
    let (from_s, end_s) = (first.from_s, first.sound.end_s);
    // For each pitched part the share of its notes that is heard, and of how many.
    let mut held: Vec<(f64, usize)> = Vec::new();
    for (n, part) in score.parts.iter().enumerate() {
        let moments::Moments { own: moments, beneath } = moments::moments(score, n, &stretches);
        let mono = stretches.iter().any(|s| s.sound.right.is_none());
        let beside = |at: f64| sounding_beside(score, n, mono, at);
        let mut notes = judge::notes(score, n, &moments, &beneath, &beside, from_s, end_s);
        let taken = |at: f64, midi: i32| taken_elsewhere(score, n, at, midi);
        let mut unwritten = if part.is_pitched() { judge::unwritten(score, n, &moments, &notes, &taken, from_s) } else { vec![] };
        let alone = score.parts.len() == 1;
        let mut rhythm = rhythm::strays(score, n, &moments, &notes, alone, from_s);
        let pocket = rhythm::pocket(score, n, &moments, &notes);
        if part.is_pitched() {
            let own: Vec<f64> = notes.iter().filter(|n| !n.unpitched && n.verdict != Verdict::NotAudible).map(|n| judge::share(n.marks[0])).collect();
            let moved = whole::moved_by(part, &moments);
            // A part in another tuning is there, moved further it may as well be other music.
            let fits = moved.filter(|m| m.0.abs() <= 3).map(|m| m.1);
            held.push((fits.unwrap_or(own.iter().sum::<f64>() / own.len().max(1) as f64), own.len()));
            for (string, by, sure) in whole::strings_moved(part, &moments) {
                wholes.push((Some(n), Whole::StringTuned { string, by }, sure));
                for (note, c) in part.notes.iter().zip(&mut notes).filter(|(x, _)| x.place.is_some_and(|p| p.0 == string)) {
                    quiet(c);
                    // What it plays instead, and its overtones, are no notes that nobody wrote.
                    unwritten.retain(|u| !is_sound_of(u, note.midi + by, c.time_s));
                }
            }
            let whole = moved.map(|(by, _, sure)| (Whole::Semitones(by), sure)).or_else(|| whole::absent(part, &moments, &notes).then_some((Whole::Absent, 0.7)));
            if let Some((whole, sure)) = whole {
                wholes.push((Some(n), whole, sure));
                // One finding, not a hundred: single notes say nothing now.
                unwritten.clear();
                rhythm.clear();
                notes.iter_mut().for_each(quiet);
            }
        }
        checked.parts.push(PartChecked { name: part.name.clone(), notes, unwritten, rhythm, pocket });
    }
    let share = whole::held_by_parts(&held);
    let tempi = match &doubt {
        Some((span, known, cents, doubtful)) if known.pins.len() < 2 && (*doubtful || share < 0.5) => other_tempi(score, span, known, *cents, from_s, share),
        _ => vec![],
    };
    whole::together(score, &mut wholes, share, &tempi, first.alignment.semitones);
    if wholes.iter().any(|(p, w, _)| p.is_none() && !matches!(w, Whole::EndsEarly { .. })) {
        for part in &mut checked.parts {
            part.unwritten.clear();
            part.rhythm.clear();
            part.notes.iter_mut().for_each(quiet);
        }
    }
    checked.findings = findings::findings(score, &checked, &wholes, options.voice);
    checked
}

/// Pitches that other parts sound at a written time where these cannot be told apart from a part by their seats.
fn sounding_beside(score: &Score, index: usize, mono: bool, at_s: f64) -> Vec<i32> {
    let seat = score.parts[index].seat;
    let near = score.parts.iter().enumerate().filter(|(o, p)| *o != index && p.is_pitched() && (mono || (p.seat - seat).abs() < 0.5));
    near.flat_map(|(_, p)| p.notes.iter().filter(|x| !x.unpitched && x.at_s < at_s + 0.05 && x.at_s + x.length_s > at_s).map(|x| x.midi)).collect()
}

/// Whether a pitch at a written time is what another part sounds there, or a bass's own octave, by which it is heard as much as by itself.
fn taken_elsewhere(score: &Score, index: usize, at_s: f64, midi: i32) -> bool {
    score.parts.iter().enumerate().filter(|(_, p)| p.is_pitched()).any(|(o, p)| {
        let is_it = |x: &ScoreNote| if o == index { p.kind == Kind::Bass && x.midi + 12 == midi } else { x.midi == midi || x.passes(midi) };
        p.notes.iter().any(|x| !x.unpitched && is_it(x) && x.at_s < at_s + 0.1 && x.at_s + x.length_s > at_s - 0.05)
    })
}

/// Whether an unwritten note is a pitch that sounds at a time of the record, or an overtone of it.
fn is_sound_of(u: &Unwritten, midi: i32, time_s: f64) -> bool {
    matches!(u.midi - midi, 0 | 12 | 19 | 24 | 28 | 31) && (u.time_s - time_s).abs() <= 0.1
}

/// Of a note that a larger fault speaks for, nothing is said by itself.
fn quiet(note: &mut NoteChecked) {
    (note.better, note.moved_slots) = (None, None);
    if note.verdict == Verdict::Contradicted {
        note.verdict = Verdict::Weak;
    }
}

/// Alignments less sure than this are doubted.
const UNSURE: f64 = 0.35;

/// Half and double the written tempo where the passage fits a stretch better: times the written one, and how sure.
fn other_tempi(score: &Score, span: &Span, known: &align::Known, cents: f64, from_s: f64, share: f64) -> Vec<(f64, f64)> {
    let mut out = Vec::new();
    for times in [0.5, 2.0] {
        // At half the tempo it goes on for twice as long.
        let end = if times < 1.0 { span.to_s.max(span.from_s + score.length_s / times) } else { span.to_s };
        let cut = span.record.slice_time(Seconds(from_s)..Seconds((end + AROUND_S).min(span.record.duration().0).max(from_s)));
        let at_tempo = whole::at_tempo(score, times);
        let Some(sound) = spectra::Sound::new(&cut) else { continue };
        let seen = align::Seen::new(&sound, cents);
        let Some(alignment) = align::align(&seen, &at_tempo, known) else { continue };
        let stretch = moments::Stretch { sound, seen, panorama: Default::default(), alignment, combs: features::Combs::new(cents), cents, from_s, hearings: None };
        let held = whole::held(&at_tempo, &stretch, 0);
        // Played at another tempo, clearly more is heard than as written; other music fits neither way.
        if held > TEMPO_HELD && held > share + TEMPO_MORE {
            out.push((times, held));
        }
    }
    out
}

/// Another tempo is believed where more than this share of the notes is heard at it, and so much more than as written.
const TEMPO_HELD: f64 = 0.4;
const TEMPO_MORE: f64 = 0.15;

/// Where a good part of the strokes has no onset, the record may swing otherwise than written: the score is swung in other ways, and the one by which
/// clearly more strokes are found is kept.
fn swung(score: &Score, seen: &align::Seen, known: &align::Known, as_written: align::Alignment) -> align::Alignment {
    if as_written.found() > 0.8 {
        return as_written;
    }
    let ways = [(0.5, 50.0), (0.5, 58.0), (0.5, 65.0), (0.25, 58.0), (0.25, 65.0)];
    let others = ways.iter().filter_map(|(unit, percent)| align::align(seen, &whole::at_swing(score, *unit, *percent), known)?.written_at(score));
    let best = others.max_by(|a, b| a.found().total_cmp(&b.found()));
    match best {
        Some(b) if b.found() > as_written.found() + 0.12 => b,
        _ => as_written,
    }
}

/// Where a sound ends though the score goes on for more than a beat or so.
fn ends_early(score: &Score, alignment: &align::Alignment, end_s: f64) -> Option<(f64, u32)> {
    let last = score.parts.iter().flat_map(|p| &p.notes).map(|n| n.at_s).fold(0.0, f64::max);
    (alignment.heard(last) > end_s + 0.4).then(|| {
        let at = alignment.written(end_s);
        (end_s, score.bars.get(score.bar_at(at)).map_or(0, |b| b.number))
    })
}

/// The numbers that the judgement is made from, for the script that sets its weights: for each stroke (seconds, other written pitches) and each pitch from `low` to
/// `high` a row.
#[doc(hidden)]
pub fn describe(record: &Buffer, seat: Option<f32>, cents: Option<f64>, strokes: &[(f64, Vec<i32>)], (low, high): (i32, i32)) -> Vec<f32> {
    let Some(sound) = spectra::Sound::new(record) else { return vec![] };
    let cents = cents.unwrap_or_else(|| hear::pitch_reference(record).ok().flatten().filter(|p| p.confidence > 0.15).map_or(0.0, |p| p.cents));
    let combs = features::Combs::new(cents);
    let times: Vec<f64> = strokes.iter().map(|s| s.0).collect();
    let heard = features::listen(&sound, spectra::Place { seat }, &combs, &times, true);
    let end_s = sound.middle.len() as f64 / f64::from(spectra::RATE_HZ);
    let Some(chances) = chances::Hearings::default().listen(&sound, seat, low, cents, (0.0, end_s)) else { return vec![] };
    let rows = heard.iter().zip(strokes).flat_map(|(h, s)| {
        let here = chances.at(s.0);
        (low..=high).flat_map(|m| evidence::numbers(&combs, h, Some(&here), m, &s.1)).collect::<Vec<f32>>()
    });
    rows.collect()
}
