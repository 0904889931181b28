//! A part: its entry in the part list, its staves, its measures.

use super::element::{Element, el, leaf};
use super::link::links;
use super::measure::measure;
use super::{Score, note};
use lesson::{Drum, Kind, Part, Source};
use pitch::{Spelled, Spelling};

/// The staves that a part is written on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Staff {
    /// Five lines above a tab.
    Notation,
    Tab,
    /// Five lines alone.
    Alone,
    /// Five lines for unpitched strokes.
    Percussion,
}

impl Staff {
    /// The staves of a part, top to bottom.
    pub(super) fn of(part: &Part) -> &'static [Staff] {
        match part.kind {
            Kind::Guitar | Kind::Bass if part.neck.is_some() => &[Staff::Notation, Staff::Tab],
            Kind::Drums | Kind::Click => &[Staff::Percussion],
            Kind::Guitar | Kind::Bass | Kind::Other => &[Staff::Alone],
        }
    }

    /// Number within the part; `None` when the part has one staff only.
    pub(super) fn number(self) -> Option<u8> {
        match self {
            Staff::Notation => Some(1),
            Staff::Tab => Some(2),
            Staff::Alone | Staff::Percussion => None,
        }
    }
}

/// `P1`, `P2`, …
fn id(index: usize) -> String {
    format!("P{}", index + 1)
}

/// The id of an unpitched instrument of a part, by its General MIDI number.
pub(super) fn instrument_id(index: usize, midi: u8) -> String {
    format!("{}-I{midi}", id(index))
}

/// The part's entry in the part list.
pub(super) fn listed(index: usize, part: &Part) -> Element {
    // Channel 10 is the drums' own.
    let channel = if matches!(part.kind, Kind::Drums | Kind::Click) { 10 } else { [1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14, 15, 16][index % 15] };
    let volume = if part.easier_of.is_some() { 0 } else { 80 };
    let mut out = el("score-part").attr("id", id(index)).with(leaf("part-name", &part.name));
    let mut sounds = Vec::new();
    if channel == 10 {
        for (midi, name) in unpitched(part) {
            out.push(el("score-instrument").attr("id", instrument_id(index, midi)).with(leaf("instrument-name", name)));
            sounds.push((instrument_id(index, midi), leaf("midi-unpitched", u16::from(midi) + 1)));
        }
    } else {
        let instrument = format!("{}-I1", id(index));
        out.push(el("score-instrument").attr("id", &instrument).with(leaf("instrument-name", &part.instrument)));
        sounds.push((instrument, leaf("midi-program", u16::from(crate::midi::program(part)) + 1)));
    }
    for (instrument, sound) in sounds {
        // A seat of -1 is hard left, 90 degrees.
        let pan = (part.seat.clamp(-1.0, 1.0) * 90.0).round();
        out.push(
            el("midi-instrument")
                .attr("id", instrument)
                .with(leaf("midi-channel", channel))
                .with(sound)
                .with(leaf("volume", volume))
                .with(leaf("pan", if pan == 0.0 { 0.0 } else { pan })),
        );
    }
    out
}

/// Drums and clicks that a part strikes: General MIDI number and name, in order of the number.
fn unpitched(part: &Part) -> Vec<(u8, &'static str)> {
    let mut out: Vec<(u8, &'static str)> = Vec::new();
    for tone in part.bars.iter().flat_map(|b| &b.events).flat_map(|e| &e.notes) {
        let name = match tone.source {
            Source::Drum(Drum::Kick) => "kick",
            Source::Drum(Drum::Snare) => "snare",
            Source::Drum(Drum::Hats) => "hats",
            Source::Drum(Drum::OpenHats) => "open hats",
            Source::Drum(Drum::Ride) => "ride",
            Source::Drum(Drum::Crash) => "crash",
            Source::Drum(Drum::Tom) => "tom",
            _ => "click",
        };
        if out.iter().all(|(midi, _)| *midi != tone.midi.0) {
            out.push((tone.midi.0, name));
        }
    }
    out.sort_unstable();
    out
}

/// The whole part.
pub(super) fn part(score: &Score, index: usize, part: &Part) -> Element {
    let links = links(score, part);
    let out = el("part").attr("id", id(index));
    if score.sheet.is_empty() {
        return out.with(el("measure").attr("number", 1).with(first_attributes(score, part, None)));
    }
    let cx = note::Cx { score, part, index, links: &links };
    out.with_all((0..score.sheet.len()).map(|i| measure(&cx, i)))
}

/// Divisions, key, meter, clefs and strings, as they stand at the beginning.
pub(super) fn first_attributes(score: &Score, part: &Part, time: Option<Element>) -> Element {
    let mut key = el("key").with(leaf("fifths", score.passage.key.map_or(0, |k| k.fifths())));
    if let Some(k) = score.passage.key {
        key.push(leaf("mode", k.mode.name()));
    }
    let staves = Staff::of(part);
    let mut out = el("attributes").with(leaf("divisions", score.clock.divisions)).with(key).with_all(time);
    if staves.len() > 1 {
        out.push(leaf("staves", staves.len()));
    }
    for staff in staves {
        out.push(clef(part, *staff));
    }
    if let (Some(neck), true) = (&part.neck, staves.contains(&Staff::Tab)) {
        let mut details = el("staff-details").attr("number", 2).with(leaf("staff-lines", neck.strings()));
        for (i, open) in neck.tuning.open.iter().enumerate() {
            // Lines count from the bottom, as the open strings do.
            let note = open_string(&neck.tuning.name, i, *open);
            let mut tuning = el("staff-tuning").attr("line", i + 1).with(leaf("tuning-step", note.name.letter.to_char()));
            if note.name.alter != 0 {
                tuning.push(leaf("tuning-alter", note.name.alter));
            }
            details.push(tuning.with(leaf("tuning-octave", note.octave)));
        }
        if neck.capo > 0 {
            details.push(leaf("capo", neck.capo));
        }
        out.push(details);
    }
    out
}

/// The name of an open string: as the teacher wrote the tuning, otherwise by C major's neighbours.
fn open_string(tuning: &str, i: usize, open: pitch::Midi) -> Spelled {
    let written = tuning.split_whitespace().nth(i).and_then(Spelled::parse).filter(|s| s.midi() == Some(open));
    written.unwrap_or_else(|| spelled(None, open))
}

/// A sounding pitch as the passage's key writes it.
pub(super) fn spelled(key: Option<pitch::Key>, midi: pitch::Midi) -> Spelled {
    let plain = pitch::Key { tonic: Spelling::new(pitch::Letter::C, 0), mode: pitch::Mode::Major };
    key.unwrap_or(plain).spell(midi)
}

fn clef(part: &Part, staff: Staff) -> Element {
    let (sign, line, octave) = match staff {
        Staff::Tab => ("TAB", Some(5), 0),
        Staff::Percussion => ("percussion", None, 0),
        Staff::Notation if part.kind == Kind::Bass => ("F", Some(4), -1),
        Staff::Notation => ("G", Some(2), -1),
        Staff::Alone if lies_low(part) => ("F", Some(4), 0),
        Staff::Alone => ("G", Some(2), 0),
    };
    let mut out = el("clef").with(leaf("sign", sign)).with_all(line.map(|l| leaf("line", l)));
    if let Some(n) = staff.number() {
        out = out.attr("number", n);
    }
    if octave != 0 { out.with(leaf("clef-octave-change", octave)) } else { out }
}

/// Whether a part lies below middle C on the whole.
fn lies_low(part: &Part) -> bool {
    let notes = || part.bars.iter().flat_map(|b| &b.events).flat_map(|e| &e.notes);
    let sum: i64 = notes().map(|t| i64::from(t.midi.0) - 60).sum();
    sum < 0
}
