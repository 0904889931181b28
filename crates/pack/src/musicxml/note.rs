//! The notes of one written chunk of a stroke: pitch, length, ties, tuplets, beams, and what the hands do.

use super::accidental::Accidentals;
use super::element::{Element, el, leaf};
use super::link::{Ends, Link, Place};
use super::part::{Staff, instrument_id, spelled};
use super::Score;
use lesson::{Bar, Base, Beam, Beats, Direction, Drum, Event, Part, Source, Spread, Tone, Written};
use pitch::Midi;
use std::collections::BTreeMap;

/// The part that is being written.
pub(super) struct Cx<'a> {
    pub score: &'a Score<'a>,
    pub part: &'a Part,
    pub index: usize,
    pub links: &'a BTreeMap<Place, Ends>,
}

/// One written note value of an event.
pub(super) struct Chunk<'a> {
    pub bar: usize,
    /// The event's index in its bar.
    pub index: usize,
    pub event: &'a Event,
    pub written: &'a Written,
    /// Last chunk of its event.
    pub last: bool,
}

/// Rests through the bar: one as long as the bar, or, in a pickup (which is no whole bar to a reader), plain values as far as they go.
pub(super) fn silence(cx: &Cx, bar: &Bar, staff: Staff) -> Vec<Element> {
    let note = |rest: Element, at: Beats, len: Beats, value: Option<&str>| {
        let out = el("note").with(rest).with(leaf("duration", cx.score.clock.length(at, len))).with(voice(staff));
        out.with_all(value.map(|v| leaf("type", v))).with_all(staff_number(staff))
    };
    let mut at = Beats::from(0);
    if bar.length == bar.meter.length() {
        return vec![note(el("rest").attr("measure", "yes"), at, bar.length, None)];
    }
    let mut out = Vec::new();
    for (value, len) in [("whole", (4, 1)), ("half", (2, 1)), ("quarter", (1, 1)), ("eighth", (1, 2)), ("16th", (1, 4)), ("32nd", (1, 8)), ("64th", (1, 16))] {
        let len = Beats::new(len.0, len.1);
        while at + len <= bar.length {
            out.push(note(el("rest"), at, len, Some(value)));
            at += len;
        }
    }
    if at < bar.length {
        out.push(note(el("rest"), at, bar.length - at, None));
    }
    out
}

/// A rest.
pub(super) fn rest(cx: &Cx, w: &Written, staff: Staff) -> Element {
    let out = el("note").with(el("rest")).with(leaf("duration", cx.score.clock.length(w.at, w.len))).with(voice(staff));
    let mut notations = el("notations");
    notations.push_all(tuplet(w));
    let out = out.with_all(value(w)).with_all(time_modification(w)).with_all(staff_number(staff));
    if notations.is_empty() { out } else { out.with(notations) }
}

/// The notes of a chunk, low string to high; before them, at a stroke that slides, the grace notes that it slides from.
pub(super) fn notes(cx: &Cx, chunk: &Chunk, staff: Staff, accidentals: &mut Accidentals) -> Vec<Element> {
    let mut out = Vec::new();
    if chunk.written.head && struck(chunk.event) {
        let sliding = chunk.event.notes.iter().filter(|t| arrival(t).is_some());
        out.extend(sliding.enumerate().map(|(i, tone)| grace(cx, tone, i > 0, staff, accidentals)));
    }
    let before = came_from(cx.part, chunk.bar, chunk.index);
    let after = goes_on(cx.part, chunk.bar, chunk.index);
    for (n, tone) in chunk.event.notes.iter().enumerate() {
        let tie = Tie {
            stop: !chunk.written.head || before.is_some_and(|(b, e)| holds(&cx.part.bars[b].events[e], tone)),
            start: !chunk.last || after.is_some_and(|e| holds(e, tone)),
        };
        out.push(note(cx, chunk, n, tone, tie, staff, accidentals));
    }
    out
}

#[derive(Clone, Copy)]
struct Tie {
    stop: bool,
    start: bool,
}

/// Whether an event is a stroke of its own.
fn struck(event: &Event) -> bool {
    !event.tie_in && !event.held
}

/// The event before, when this one goes on from it.
fn came_from(part: &Part, bar: usize, index: usize) -> Option<(usize, usize)> {
    let event = &part.bars[bar].events[index];
    if struck(event) {
        return None;
    }
    match index.checked_sub(1) {
        Some(i) => Some((bar, i)),
        None => {
            let b = bar.checked_sub(1)?;
            Some((b, part.bars[b].events.len().checked_sub(1)?))
        }
    }
}

/// The event after, when it goes on from this one.
fn goes_on(part: &Part, bar: usize, index: usize) -> Option<&Event> {
    let next = match part.bars[bar].events.get(index + 1) {
        Some(e) => e,
        None => part.bars.get(bar + 1)?.events.first()?,
    };
    (!struck(next)).then_some(next)
}

/// Whether a stroke holds the same string, drum or named note.
fn holds(event: &Event, tone: &Tone) -> bool {
    event.notes.iter().any(|t| match (&t.source, &tone.source) {
        (Source::String { string: a, .. }, Source::String { string: b, .. }) => a == b,
        (a, b) => a == b,
    })
}

/// Where a slide within the stroke arrives: fret and pitch.
fn arrival(tone: &Tone) -> Option<(u8, Midi)> {
    let (_, fret) = tone.place()?;
    let to = tone.slide_to?;
    Some((to, tone.midi.up(i32::from(to) - i32::from(fret))?))
}

fn grace(cx: &Cx, tone: &Tone, chord: bool, staff: Staff, accidentals: &mut Accidentals) -> Element {
    let mut out = el("note").with(el("grace").attr("slash", "no"));
    if chord {
        out.push(el("chord"));
    }
    let (sound, accidental) = sound(cx, tone, tone.midi, staff, Some(accidentals));
    let string = tone.place().map_or(1, |(s, _)| s);
    let mut notations = el("notations").with(slide("start", string + 8));
    if let (Staff::Tab, Some((string, fret))) = (staff, tone.place()) {
        notations.push(el("technical").with(leaf("string", string)).with(leaf("fret", fret)));
    }
    out = out.with(sound).with(voice(staff)).with(leaf("type", "eighth"));
    out.with_all(accidental).with_all(notehead(tone)).with_all(staff_number(staff)).with(notations)
}

fn note(cx: &Cx, chunk: &Chunk, n: usize, tone: &Tone, tie: Tie, staff: Staff, accidentals: &mut Accidentals) -> Element {
    let w = chunk.written;
    let (fret, midi) = match arrival(tone) {
        Some((fret, midi)) => (Some(fret), midi),
        None => (tone.place().map(|p| p.1), tone.midi),
    };
    let mut out = el("note");
    if n > 0 {
        out.push(el("chord"));
    }
    // A tied note needs no accidental of its own.
    let (sound, accidental) = sound(cx, tone, midi, staff, (!tie.stop).then_some(accidentals));
    out.push(sound);
    out.push(leaf("duration", cx.score.clock.length(w.at, w.len)));
    let ties = [(tie.stop, "stop"), (tie.start, "start")].into_iter().filter(|t| t.0).map(|t| t.1);
    out.push_all(ties.clone().map(|t| el("tie").attr("type", t)));
    if staff == Staff::Percussion {
        out.push(el("instrument").attr("id", instrument_id(cx.index, tone.midi.0)));
    }
    out = out.with(voice(staff)).with_all(value(w)).with_all(accidental).with_all(time_modification(w)).with_all(notehead(tone));
    out = out.with_all(staff_number(staff));
    if n == 0 {
        out.push_all(w.beams.iter().take(8).enumerate().map(|(i, b)| leaf("beam", beam(*b)).attr("number", i + 1)));
    }
    let mut notations = el("notations");
    notations.push_all(ties.map(|t| el("tied").attr("type", t)));
    if tone.rings_on && chunk.last && !tie.start {
        notations.push(el("tied").attr("type", "let-ring"));
    }
    let none = Ends::default();
    let ends = cx.links.get(&(chunk.bar, chunk.index, n)).unwrap_or(&none);
    let head = w.head && struck(chunk.event);
    let stops = ends.stops.iter().filter(|_| w.head).copied().collect::<Vec<_>>();
    // A slide leaves from the end of a tied note, the others bind it from its beginning.
    let starts = ends.starts.iter().filter(|(l, _)| if *l == Link::Slide { chunk.last } else { w.head }).copied().collect::<Vec<_>>();
    if staff == Staff::Notation {
        let slur = |how: &'static str| move |(_, n): &(Link, u8)| el("slur").attr("type", how).attr("number", n);
        notations.push_all(stops.iter().filter(|s| s.0 != Link::Slide).map(slur("stop")));
        notations.push_all(starts.iter().filter(|s| s.0 != Link::Slide).map(slur("start")));
    }
    if n == 0 {
        notations.push_all(tuplet(w));
    }
    if head && arrival(tone).is_some() {
        notations.push(slide("stop", tone.place().map_or(1, |p| p.0) + 8));
    }
    notations.push_all(stops.iter().filter(|s| s.0 == Link::Slide).map(|s| slide("stop", s.1)));
    notations.push_all(starts.iter().filter(|s| s.0 == Link::Slide).map(|s| slide("start", s.1)));
    let first = n == 0;
    let some = |e: Element| if e.is_empty() { None } else { Some(e) };
    if staff != Staff::Tab {
        notations.push_all(some(ornaments(chunk.event, tone, w.head, first)));
    } else {
        notations.push_all(some(technical(cx, chunk, tone, fret, first, ends.alone, &stops, &starts)));
    }
    if head && staff != Staff::Tab {
        let short = if chunk.event.notes.iter().all(|t| t.short) { first } else { tone.short };
        let mut articulations = el("articulations");
        if chunk.event.accent && first {
            articulations.push(el("accent"));
        }
        if short && tone.short {
            articulations.push(el("staccato"));
        }
        notations.push_all(some(articulations));
        if let (Some(spread), true) = (chunk.event.spread, chunk.event.notes.len() > 1) {
            notations.push(el("arpeggiate").attr("direction", if spread == Spread::LowToHigh { "up" } else { "down" }));
        }
    }
    if !notations.is_empty() {
        out.push(notations);
    }
    if tone.palm_mute {
        out.push(el("play").with(leaf("mute", "palm")));
    }
    out
}

/// What sounds, and the accidental to print with it (`accidentals` absent: none).
fn sound(cx: &Cx, tone: &Tone, midi: Midi, staff: Staff, accidentals: Option<&mut Accidentals>) -> (Element, Option<Element>) {
    if staff == Staff::Percussion {
        let (step, octave) = line(&tone.source);
        return (el("unpitched").with(leaf("display-step", step)).with(leaf("display-octave", octave)), None);
    }
    let written = match tone.source {
        Source::Named(s) => s,
        _ => spelled(cx.score.passage.key, midi),
    };
    let mut pitch = el("pitch").with(leaf("step", written.name.letter.to_char()));
    if written.name.alter != 0 {
        pitch.push(leaf("alter", written.name.alter));
    }
    let printed = accidentals.filter(|_| staff != Staff::Tab).and_then(|a| a.printed(written));
    (pitch.with(leaf("octave", written.octave)), printed.map(|p| leaf("accidental", p)))
}

/// Line or space of an unpitched stroke, named as in the treble clef (common practice for drums on five lines).
fn line(source: &Source) -> (char, u8) {
    match source {
        Source::Drum(Drum::Kick) => ('F', 4),
        Source::Drum(Drum::Snare) => ('C', 5),
        Source::Drum(Drum::Hats | Drum::OpenHats) => ('G', 5),
        Source::Drum(Drum::Ride) => ('F', 5),
        Source::Drum(Drum::Crash) => ('A', 5),
        Source::Drum(Drum::Tom) => ('E', 5),
        _ => ('B', 4),
    }
}

fn notehead(tone: &Tone) -> Option<Element> {
    let shape = match tone.source {
        Source::Drum(Drum::OpenHats) => "circle-x",
        Source::Drum(Drum::Hats | Drum::Ride | Drum::Crash) | Source::Click => "x",
        _ if tone.dead => "x",
        _ if tone.harmonic => "diamond",
        _ => "normal",
    };
    let out = leaf("notehead", shape);
    match (shape, tone.ghost) {
        ("normal", false) => None,
        (_, true) => Some(out.attr("parentheses", "yes")),
        _ => Some(out),
    }
}

fn ornaments(event: &Event, tone: &Tone, head: bool, first: bool) -> Element {
    let mut out = el("ornaments");
    if head && tone.vibrato {
        // The number keeps the strings of a chord apart.
        let number = tone.place().map_or(1, |(s, _)| s);
        out.push(el("wavy-line").attr("type", "start").attr("number", number));
        out.push(el("wavy-line").attr("type", "stop").attr("number", number));
    }
    let all = event.notes.iter().all(|t| t.tremolo);
    if tone.tremolo && (first || !all) {
        out.push(leaf("tremolo", 3).attr("type", "single"));
    }
    out
}

#[expect(clippy::too_many_arguments, reason = "all of it is one note's own")]
fn technical(
    cx: &Cx,
    chunk: &Chunk,
    tone: &Tone,
    fret: Option<u8>,
    first: bool,
    alone: Option<Link>,
    stops: &[(Link, u8)],
    starts: &[(Link, u8)],
) -> Element {
    let mut out = el("technical");
    let head = chunk.written.head;
    if head && struck(chunk.event) && first {
        match chunk.event.direction {
            Some(Direction::Down) => out.push(el("down-bow")),
            Some(Direction::Up) => out.push(el("up-bow")),
            None => {}
        }
    }
    if tone.harmonic {
        out.push(el("harmonic").with(el("natural")).with(el("sounding-pitch")));
    }
    if let (Some((string, _)), Some(fret)) = (tone.place(), fret) {
        out.push(leaf("string", string));
        out.push(leaf("fret", fret));
    }
    for (how, ends) in [("stop", stops), ("start", starts)] {
        for (link, number) in ends {
            let (name, sign) = match link {
                Link::Hammer => ("hammer-on", "H"),
                Link::Pull => ("pull-off", "P"),
                Link::Slide => continue,
            };
            out.push(leaf(name, if how == "start" { sign } else { "" }).attr("type", how).attr("number", number));
        }
    }
    if head {
        out.push_all(bends(cx, chunk, tone));
        let link = alone.map(|l| match l {
            Link::Hammer => "hammered",
            Link::Pull => "pulled off",
            Link::Slide => "slid into",
        });
        let words = [link, tone.tremolo.then_some("tremolo"), tone.palm_mute.then_some("palm mute"), (chunk.event.rake && first && struck(chunk.event)).then_some("rake")];
        out.push_all(words.into_iter().flatten().map(|w| leaf("other-technical", w)));
    }
    out
}

/// Bends of a note: before it is struck, after it, and on a held event from where it was.
fn bends(cx: &Cx, chunk: &Chunk, tone: &Tone) -> Vec<Element> {
    let mut out = Vec::new();
    let bend = |cents: f64| el("bend").with(leaf("bend-alter", cents / 100.0));
    let mut now = 0.0;
    if struck(chunk.event) {
        now = tone.prebend_cents;
        if now != 0.0 {
            out.push(bend(now).with(el("pre-bend")));
        }
    } else if let Some(place) = came_from(cx.part, chunk.bar, chunk.index) {
        now = bent(cx.part, place, tone);
    }
    // A tied note repeats its bend in the model; only one that moves is written.
    if let Some(target) = tone.bend_cents.filter(|t| *t != now && (struck(chunk.event) || chunk.event.held)) {
        let step = bend(target - now);
        out.push(if target < now { step.with(el("release")) } else { step });
    }
    out
}

/// How far a tone's string is bent at the end of an event, in cents.
fn bent(part: &Part, mut place: (usize, usize), tone: &Tone) -> f64 {
    loop {
        let event = &part.bars[place.0].events[place.1];
        let same = event.notes.iter().find(|t| t.place().map(|p| p.0) == tone.place().map(|p| p.0));
        if let Some(cents) = same.and_then(|t| t.bend_cents) {
            return cents;
        }
        if struck(event) {
            return same.map_or(0.0, |t| t.prebend_cents);
        }
        match came_from(part, place.0, place.1) {
            Some(p) => place = p,
            None => return 0.0,
        }
    }
}

fn slide(how: &str, number: u8) -> Element {
    el("slide").attr("type", how).attr("line-type", "solid").attr("number", number)
}

fn beam(beam: Beam) -> &'static str {
    match beam {
        Beam::Begin => "begin",
        Beam::Continue => "continue",
        Beam::End => "end",
        Beam::HookForward => "forward hook",
        Beam::HookBack => "backward hook",
    }
}

fn voice(staff: Staff) -> Element {
    leaf("voice", if staff == Staff::Tab { 2 } else { 1 })
}

fn staff_number(staff: Staff) -> Option<Element> {
    staff.number().map(|n| leaf("staff", n))
}

/// Note value and dots.
fn value(w: &Written) -> Vec<Element> {
    let name = match w.base {
        Base::Whole => "whole",
        Base::Half => "half",
        Base::Quarter => "quarter",
        Base::Eighth => "eighth",
        Base::Sixteenth => "16th",
        Base::ThirtySecond => "32nd",
        Base::SixtyFourth => "64th",
    };
    let mut out = vec![leaf("type", name)];
    out.extend((0..w.dots).map(|_| el("dot")));
    out
}

fn time_modification(w: &Written) -> Option<Element> {
    let (actual, normal) = w.tuplet?;
    Some(el("time-modification").with(leaf("actual-notes", actual)).with(leaf("normal-notes", normal)))
}

fn tuplet(w: &Written) -> Vec<Element> {
    let mut out = Vec::new();
    if w.tuplet.is_some() {
        if w.tuplet_start {
            out.push(el("tuplet").attr("type", "start").attr("bracket", "yes").attr("number", 1));
        }
        if w.tuplet_stop {
            out.push(el("tuplet").attr("type", "stop").attr("number", 1));
        }
    }
    out
}
