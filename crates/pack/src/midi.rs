//! A passage as a Standard MIDI File: type 1, one track a part, as it is played: repeats played out, swing in the ticks, ties joined.
//!
//! # Conventions
//! - Track 0 has the title, the tempo map, the meters and the key. Each part has a track with its name. An easier way to play a part
//!   is left out, since it would sound on top of the part itself.
//! - 960 ticks a quarter note. A place is rounded to the nearest tick once, from its exact time; nothing adds up.
//! - A pickup has a meter of its own length, so that bar lines fall where they are written.
//! - Channel 10 is drums and click, each part in its track. Any other part's notes share a channel, except that notes which bend, slide within a stroke or have vibrato
//!   while others sound, and two strings on one pitch, go to a spare channel with the same program. When none is spare, a
//!   note that would bend others, or be bent by them, stays level, and the older of two notes on one pitch is cut.
//! - Pitch courses are pitch bend with a range of 24 semitones (registered parameter 0); vibrato is controller 1; the rows for
//!   volume are controller 11. Seats are controller 10.
//! - A dead note or scratch lasts [`DEAD_TICKS`] at most, a short one half its length. A stroke that is spread has
//!   [`SPREAD_TICKS`] from string to string, a raked one half of that, and at most half its length in all; other strokes are struck at once.
//! - Tremolo is written out in thirty-seconds.
//!
//! # What is not written
//! MIDI has no place for strings, frets, palm muting (softer here), stroke directions or wah.
//!
//! Source: MIDI Manufacturers Association, Standard MIDI Files 1.0 and MIDI 1.0 Detailed Specification; General MIDI 1 programs.

mod channel;

use channel::{DRUMS, assign};
use lesson::{Attack, Bar, Beats, Kind, Part, Passage, Sounding};
use midly::num::{u4, u7, u14, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, PitchBend, Smf, Timing, TrackEvent, TrackEventKind};
use pitch::Mode;

/// Ticks of a quarter note.
pub const TICKS: i64 = 960;
/// Longest dead note, in ticks: a thirty-second.
pub const DEAD_TICKS: i64 = 120;
/// From string to string of a stroke spread slowly, in ticks: about 25 ms at 100 beats a minute.
pub const SPREAD_TICKS: i64 = 40;
/// Reach of the pitch bend, in semitones up and down.
pub const BEND_SEMITONES: u8 = 24;
/// Distance of pitch bend events in a course, in ticks.
const COURSE_TICKS: i64 = 30;

/// The file's bytes. A passage without parts gives track 0 alone.
pub fn midi(passage: &Passage) -> Vec<u8> {
    let parts: Vec<&Part> = passage.parts.iter().filter(|p| p.easier_of.is_none()).collect();
    let notes: Vec<Vec<Strike>> = parts.iter().map(|p| strikes(passage, p)).collect();
    let end = passage.bars.last().map_or(0, |b| tick(passage, b.start + b.length));
    let assigned = assign(&parts.iter().map(|p| p.kind).collect::<Vec<_>>(), notes);
    let mut tracks = vec![finish(conductor(passage), end)];
    for (part, lanes) in parts.iter().zip(&assigned) {
        tracks.push(finish(track(passage, part, lanes), end));
    }
    let smf = Smf { header: Header::new(Format::Parallel, Timing::Metrical(u15::new(TICKS as u16))), tracks };
    let mut out = Vec::new();
    smf.write_std(&mut out).expect("writing to memory does not fail");
    out
}

/// One note as MIDI has it.
#[derive(Clone, Debug, PartialEq)]
struct Strike {
    on: i64,
    off: i64,
    key: u8,
    velocity: u8,
    motion: Motion,
}

/// What moves the pitch of a note while it sounds.
#[derive(Clone, Debug, PartialEq)]
enum Motion {
    Level,
    Vibrato,
    /// Cents at ticks from the onset, at least one.
    Course(Vec<(i64, f64)>),
}

impl Motion {
    /// What is left of it `ticks` after the onset, for the later strokes of a tremolo.
    fn from(&self, ticks: i64) -> Motion {
        match self {
            Motion::Course(points) if ticks > 0 => {
                let rest = points.iter().filter(|p| p.0 > ticks).map(|p| (p.0 - ticks, p.1));
                Motion::Course([(0, course_at(points, ticks))].into_iter().chain(rest).collect())
            }
            other => other.clone(),
        }
    }
}

/// The notes of one channel of a part.
#[derive(Clone, Debug, PartialEq)]
struct Lane {
    channel: u8,
    strikes: Vec<Strike>,
}

/// An event at its tick; the rank orders events of one tick: off, then controls, then on.
type Timed<'a> = (i64, u8, TrackEventKind<'a>);

/// The tick of written time `t` from the passage's start, swung. A pickup's pairs count from the bar line that it leads to.
fn tick(passage: &Passage, t: Beats) -> i64 {
    let i = passage.bars.partition_point(|b| b.start <= t).saturating_sub(1);
    let Some(bar) = passage.bars.get(i) else { return 0 };
    let start = (bar.start * Beats::from(TICKS)).round().to_integer();
    let (at, gap) = ((t - bar.start).min(bar.length), bar.meter.length() - bar.length);
    let gap_quarters = *gap.numer() as f64 / *gap.denom() as f64;
    let quarters = lesson::swung(at + gap, bar.meter.length(), bar.swing) - gap_quarters;
    start + (quarters * TICKS as f64).round() as i64
}

fn strikes(passage: &Passage, part: &Part) -> Vec<Strike> {
    let list = lesson::soundings(part);
    let mut out = Vec::with_capacity(list.len());
    for s in list {
        let start = tick(passage, s.at);
        let end = tick(passage, s.at + s.len).max(start + 1);
        let (on, mut off) = (start + delay(s, end - start), end);
        if s.dead || matches!(part.kind, Kind::Drums | Kind::Click) {
            off = off.min(on + DEAD_TICKS);
        } else if s.short {
            off = on + ((off - on) / 2).max(1);
        }
        let velocity = velocity(s);
        let motion = motion(passage, s, start);
        let rounds = if s.tremolo && !s.dead { tremolo_strokes(s.len) } else { 1 };
        for i in 0..rounds {
            let at = |i: i64| on + (off - on) * i / rounds;
            let strike = Strike { on: at(i), off: at(i + 1).max(at(i) + 1), key: s.midi.0, velocity, motion: motion.from(at(i) - on) };
            out.push(strike);
        }
    }
    out.sort_by_key(|s| (s.on, s.key));
    out
}

/// Thirty-seconds in a length, at least 1.
fn tremolo_strokes(len: Beats) -> i64 {
    (len * Beats::from(8)).round().to_integer().clamp(1, 4096)
}

/// How long after the first string of its stroke a note is struck, in ticks.
fn delay(s: &Sounding, length: i64) -> i64 {
    let step = if s.spread {
        SPREAD_TICKS
    } else if s.rake {
        SPREAD_TICKS / 2
    } else {
        return 0;
    };
    i64::from(s.order) * step.min(length / 2 / i64::from(s.of.max(1)))
}

fn velocity(s: &Sounding) -> u8 {
    let mut v: i32 = match s.attack {
        Attack::Struck => 80,
        Attack::Hammered | Attack::Pulled | Attack::Slid => 64,
    };
    v += if s.accent { 24 } else { 0 };
    v -= if s.dead { 24 } else { 0 } + if s.ghost { 28 } else { 0 } + if s.palm_mute { 8 } else { 0 };
    v.clamp(1, 127) as u8
}

fn motion(passage: &Passage, s: &Sounding, start: i64) -> Motion {
    let mut points: Vec<(i64, f64)> = Vec::new();
    if s.dead {
        return Motion::Level;
    }
    let from_onset = |t: Beats| tick(passage, s.at + t) - start;
    if !s.bend.is_empty() {
        points.extend(s.bend.iter().map(|(t, cents)| (from_onset(*t), *cents)));
        if points[0].0 > 0 {
            points.insert(0, (0, 0.0));
        }
    }
    if let Some((t, semitones)) = s.slide {
        // A slide within the stroke sets out at once; a bend rides on it.
        let (reached, to) = (from_onset(t).max(1), f64::from(semitones) * 100.0);
        let slide = |at: i64| to * (at as f64 / reached as f64).min(1.0);
        let mut places: Vec<i64> = points.iter().map(|p| p.0).chain([0, reached]).collect();
        places.sort_unstable();
        places.dedup();
        points = places.into_iter().map(|at| (at, course_at(&points, at) + slide(at))).collect();
    }
    match (points.is_empty(), s.vibrato) {
        (false, _) => Motion::Course(points),
        (true, true) => Motion::Vibrato,
        (true, false) => Motion::Level,
    }
}

/// Cents at a tick of a course: straight lines between its points, level outside.
fn course_at(points: &[(i64, f64)], at: i64) -> f64 {
    match points.iter().position(|p| p.0 > at) {
        None => points.last().map_or(0.0, |p| p.1),
        Some(0) => points[0].1,
        Some(i) => {
            let ((t0, a), (t1, b)) = (points[i - 1], points[i]);
            a + (b - a) * (at - t0) as f64 / (t1 - t0) as f64
        }
    }
}

/// Title, tempo map, meters, key.
fn conductor(passage: &Passage) -> Vec<Timed<'_>> {
    let title = if passage.title.is_empty() { &passage.id } else { &passage.title };
    let mut out: Vec<Timed> = vec![(0, 0, TrackEventKind::Meta(MetaMessage::TrackName(title.as_bytes())))];
    let mut meta = |at, m| out.push((at, 1, TrackEventKind::Meta(m)));
    if let Some(key) = passage.key {
        let minor = matches!(key.mode, Mode::Minor | Mode::Dorian | Mode::Phrygian | Mode::Locrian);
        meta(0, MetaMessage::KeySignature(key.fifths() as i8, minor));
    }
    let mut before = (None, None);
    for bar in &passage.bars {
        // A pickup may begin within a swung pair; its bar begins where it is written.
        let at = (bar.start * Beats::from(TICKS)).round().to_integer();
        let time = time_signature(bar);
        let tempo = micros(bar);
        if before.0 != Some(time) {
            meta(at, MetaMessage::TimeSignature(time.0, time.1, time.2, 8));
        }
        if before.1 != Some(tempo) {
            meta(at, MetaMessage::Tempo(u24::new(tempo)));
        }
        before = (Some(time), Some(tempo));
    }
    out
}

/// Numerator, power of two of the denominator, MIDI clocks a beat. A bar that is shorter than its meter gets the meter of its
/// length, in the smallest unit from the meter's own down to 64ths that divides it; where none does, the meter stays.
fn time_signature(bar: &Bar) -> (u8, u8, u8) {
    let clocks = (bar.meter.beat() * Beats::from(24)).to_integer().clamp(1, 255) as u8;
    let power = |unit: u8| unit.max(1).trailing_zeros() as u8;
    if bar.length != bar.meter.length() {
        for p in power(bar.meter.unit)..=6 {
            let count = bar.length * Beats::new(1 << p, 4);
            if count.is_integer() && (1..=255).contains(count.numer()) {
                return (*count.numer() as u8, p, clocks);
            }
        }
    }
    (bar.meter.count, power(bar.meter.unit), clocks)
}

/// Microseconds of a quarter note.
fn micros(bar: &Bar) -> u32 {
    let beat = bar.meter.beat();
    let quarters = bar.tempo_bpm * *beat.numer() as f64 / *beat.denom() as f64;
    (60e6 / quarters).round().clamp(1.0, 16_777_215.0) as u32
}

/// One part.
fn track<'a>(passage: &Passage, part: &'a Part, lanes: &[Lane]) -> Vec<Timed<'a>> {
    let mut out: Vec<Timed> = vec![(0, 0, TrackEventKind::Meta(MetaMessage::TrackName(part.name.as_bytes())))];
    for lane in lanes {
        let mut send = |at, rank, message| out.push((at, rank, TrackEventKind::Midi { channel: u4::new(lane.channel), message }));
        let control = |controller: u8, value: u8| MidiMessage::Controller { controller: u7::new(controller), value: u7::new(value) };
        if lane.channel != DRUMS {
            send(0, 1, MidiMessage::ProgramChange { program: u7::new(program(part)) });
            let pan = (64.0 + part.seat.clamp(-1.0, 1.0) * 63.0).round() as u8;
            send(0, 1, control(10, pan));
            // Registered parameter 0, and none chosen afterwards.
            for (c, v) in [(101, 0), (100, 0), (6, BEND_SEMITONES), (38, 0), (101, 127), (100, 127)] {
                send(0, 1, control(c, v));
            }
        }
        for (bar, pb) in passage.bars.iter().zip(&part.bars) {
            for (at, level) in &pb.level {
                send(tick(passage, bar.start + at), 1, control(11, (u32::from(*level).min(9) * 127 / 9) as u8));
            }
        }
        let mut bent = bend_value(0.0);
        let mut wheel = 0;
        for (i, s) in lane.strikes.iter().enumerate() {
            let key = u7::new(s.key.min(127));
            send(s.on, 2, MidiMessage::NoteOn { key, vel: u7::new(s.velocity) });
            send(s.off, 0, MidiMessage::NoteOff { key, vel: u7::new(64) });
            // Notes that share a channel while they move, move alike.
            if i > 0 && s.motion != Motion::Level && lane.strikes[i - 1].on == s.on {
                continue;
            }
            let points = match &s.motion {
                Motion::Course(p) => p.as_slice(),
                _ => &[],
            };
            for (at, value) in course(points, s.off - s.on) {
                if value != bent {
                    send(s.on + at, 1, MidiMessage::PitchBend { bend: PitchBend(u14::new(value)) });
                    bent = value;
                }
            }
            let want = if s.motion == Motion::Vibrato { 64 } else { 0 };
            if want != wheel {
                send(s.on, 1, control(1, want));
                wheel = want;
            }
        }
    }
    out
}

/// Pitch bend values of a note, at ticks from its onset; a level note has one.
fn course(points: &[(i64, f64)], length: i64) -> Vec<(i64, u16)> {
    let Some(last) = points.last() else { return vec![(0, bend_value(0.0))] };
    let end = last.0.min(length - 1).max(0);
    let mut places: Vec<i64> = (0..=end / COURSE_TICKS).map(|i| i * COURSE_TICKS).chain(points.iter().map(|p| p.0)).filter(|t| *t <= end).chain([end]).collect();
    places.sort_unstable();
    places.dedup();
    places.into_iter().map(|at| (at, bend_value(course_at(points, at)))).collect()
}

/// Cents as a 14-bit value, 8192 = level.
fn bend_value(cents: f64) -> u16 {
    (8192.0 + cents / 100.0 / f64::from(BEND_SEMITONES) * 8192.0).round().clamp(0.0, 16383.0) as u16
}

/// Sorts, turns ticks into distances, and ends the track at `end` or after its last event.
fn finish(mut events: Vec<Timed>, end: i64) -> Vec<TrackEvent> {
    events.sort_by_key(|(at, rank, _)| (*at, *rank));
    let last = events.last().map_or(0, |e| e.0).max(end);
    events.push((last, 9, TrackEventKind::Meta(MetaMessage::EndOfTrack)));
    let mut now = 0;
    let mut out = Vec::with_capacity(events.len());
    for (at, _, kind) in events {
        let at = at.max(now);
        out.push(TrackEvent { delta: u28::new((at - now).min(0x0FFF_FFFF) as u32), kind });
        now = at;
    }
    out
}

/// General MIDI program of a part, from 0: by its instrument's word.
pub(crate) fn program(part: &Part) -> u8 {
    let word = part.instrument.to_lowercase();
    let has = |w: &str| word.contains(w);
    match part.kind {
        Kind::Guitar => 27,
        Kind::Bass => 33,
        Kind::Drums | Kind::Click => 0,
        Kind::Other if has("organ") => 16,
        Kind::Other if has("string") => 48,
        Kind::Other if has("voice") || has("voc") || has("choir") => 53,
        Kind::Other if has("horn") || has("brass") => 61,
        Kind::Other if has("sax") => 65,
        Kind::Other if has("trumpet") => 56,
        Kind::Other if has("flute") => 73,
        Kind::Other if has("electric") => 4,
        Kind::Other => 0,
    }
}
