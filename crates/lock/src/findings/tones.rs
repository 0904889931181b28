//! Findings on the chords' tones: who has which, and the seconds that two parts make.

use super::Pairing;
use super::words::{list, note, place, spelling, times};
use crate::chords::Chord;
use crate::clash::{Clash, ClashKind, Meaning};
use lesson::{Beats, Passage};
use pitch::{Midi, Symbol};

/// The tones that findings speak of.
const SPOKEN: [(u8, &str); 4] = [(1, "root"), (3, "third"), (5, "fifth"), (7, "seventh")];

/// Whose tones are whose, over all chords under which both parts have pitches: of root, third, fifth and seventh those that one of the two
/// has under each such chord whose sign promises it (two chords at least, or the only one) and the other never. Silent where
/// that is the fifth alone.
pub(super) fn split(p: &Pairing) -> Option<String> {
    let [a, b] = p.pair.parts;
    let plays = |c: &Chord, part: usize| c.tones.iter().any(|t| t.parts.contains(&part)) || c.outside.iter().any(|t| t.parts.contains(&part));
    let chords: Vec<&Chord> = p.map.chords.iter().filter(|c| c.symbol.is_some() && plays(c, a) && plays(c, b)).collect();
    let mut alone: [Vec<&str>; 2] = [vec![], vec![]];
    for (number, word) in SPOKEN {
        let held: Vec<[bool; 2]> = chords.iter().filter_map(|c| c.holders(number)).map(|h| [h.contains(&a), h.contains(&b)]).collect();
        if held.len() < 2.min(chords.len()) || held.is_empty() {
            continue;
        }
        for i in 0..2 {
            if held.iter().all(|h| h[i] && !h[1 - i]) {
                alone[i].push(word);
            }
        }
    }
    if !alone.iter().flatten().any(|w| *w != "fifth") {
        return None;
    }
    let words = |i: usize| {
        let the: Vec<String> = alone[i].iter().map(|w| format!("the {w}")).collect();
        format!("{} {} always {}", list(&the), if the.len() == 1 { "is" } else { "are" }, p.sides[i].name.own())
    };
    let parts: Vec<String> = (0..2).filter(|i| !alone[*i].is_empty()).map(words).collect();
    let always = parts.join(", ");
    Some(format!("between the two {}", if chords.len() == 1 { always.replace(" always", "") } else { always }))
}

/// The seconds of a pair, at most three sentences, in order of weight:
/// - rubs, each foreign note once, the longest first, at most two: which chord it is foreign to, and the note that it moves on to by step;
/// - a note that is early: the chord it belongs to;
/// - a minor second or ninth (failing that, a major second that lasts a beat in all) that the chord itself holds: colour; else a
///   major second, as long, with a note that the chord lacks: what it adds;
/// - a minor second where there is no chord to judge by.
///
/// Passing notes are not spoken of.
pub(super) fn clashes(p: &Pairing) -> Vec<String> {
    let of = |m: Meaning| grouped(p.pair.clashes.iter().filter(move |c| c.meaning == m && c.kind != ClashKind::Unison));
    let mut rubs = of(Meaning::Rub);
    let mut told: Vec<(usize, u8)> = Vec::new();
    rubs.retain(|g| {
        let foreign = g.first.foreign.map_or((2, 0), |i| (i, g.first.notes[i].0));
        let first = !told.contains(&foreign);
        told.push(foreign);
        first
    });
    let mut out: Vec<String> = rubs.iter().take(2).map(|g| rub(p, g)).collect();
    out.extend(of(Meaning::Early).first().and_then(|g| early(p, g)));
    let colours = of(Meaning::Colour);
    let minor = colours.iter().find(|g| matches!(g.first.kind, ClashKind::MinorSecond | ClashKind::MinorNinth));
    let beat = p.passage.bars.first().map_or(Beats::from_integer(1), |b| b.meter.beat());
    let long = |g: &&Group| g.first.kind == ClashKind::MajorSecond && g.length >= beat;
    match minor.or(colours.iter().find(long)) {
        Some(g) => out.extend(colour(p, g)),
        None => out.extend(of(Meaning::Added).iter().find(long).and_then(|g| added(p, g))),
    }
    if let Some(g) = of(Meaning::Unjudged).iter().find(|g| g.first.kind == ClashKind::MinorSecond) {
        out.push(format!("{} sound a minor second apart{}, and no chord stands there to judge it by", both(p, g), where_(p, g)));
    }
    out.truncate(3);
    out
}

/// The same two pitches, as often as they meet.
struct Group {
    first: Clash,
    count: usize,
    length: Beats,
}

/// By pitches and kind, the longest in all first, then the earliest.
fn grouped<'a>(clashes: impl Iterator<Item = &'a Clash>) -> Vec<Group> {
    let mut out: Vec<Group> = Vec::new();
    for c in clashes {
        match out.iter_mut().find(|g| g.first.notes == c.notes) {
            Some(g) => {
                g.count += 1;
                g.length += c.length;
            }
            None => out.push(Group { first: *c, count: 1, length: c.length }),
        }
    }
    out.sort_by(|a, b| b.length.cmp(&a.length).then((a.first.bar, a.first.at).cmp(&(b.first.bar, b.first.at))));
    out
}

/// "the chop's F#3 and the line's G3".
fn both(p: &Pairing, g: &Group) -> String {
    let said = [0, 1].map(|i| format!("{} {}", p.sides[i].name.own(), spoken(p, g, i)));
    said.join(" and ")
}

/// A note of a group, as the chord at its place or the key spells it.
fn spoken(p: &Pairing, g: &Group, i: usize) -> String {
    let chord = chord_at(&p.map.chords, g.first.bar, g.first.at).map(|(s, _)| s);
    note(p.passage.key, chord, g.first.notes[i])
}

/// " at 3.2", " at 3.2 and 3 times more".
fn where_(p: &Pairing, g: &Group) -> String {
    let at = place(p.passage, g.first.bar, g.first.at);
    if g.count == 1 { format!(" at {at}") } else { format!(" at {at} and {} more", times(g.count - 1)) }
}

/// The sign at a place, and the next other one.
pub(super) fn chord_at(chords: &[Chord], bar: usize, at: Beats) -> Option<(&Symbol, Option<&Symbol>)> {
    let i = chords.partition_point(|c| (c.bar, c.at) <= (bar, at)).checked_sub(1)?;
    let here = chords[i].symbol.as_ref()?;
    let next = chords[i + 1..].iter().find(|c| c.symbol != chords[i].symbol).and_then(|c| c.symbol.as_ref());
    Some((here, next))
}

fn rub(p: &Pairing, g: &Group) -> String {
    let key = p.passage.key;
    let c = &g.first;
    let (sign, _) = chord_at(&p.map.chords, c.bar, c.at).unzip();
    let end = match (sign, c.foreign) {
        (Some(s), Some(_)) if s.lacks(&c.notes).len() == 2 && c.notes[0] != c.notes[1] => format!(": neither belongs to {s}"),
        (Some(s), Some(i)) => {
            let on = c.moves_to.map_or(String::new(), |m| format!(", and moves on to {}", note(key, Some(s), m)));
            format!(": {} is no note of {s}{on}", spelling(key, None, c.notes[i]))
        }
        _ => String::new(),
    };
    format!("{} rub{}, a {}{end}", both(p, g), where_(p, g), c.kind.word())
}

fn added(p: &Pairing, g: &Group) -> Option<String> {
    let c = &g.first;
    let (sign, _) = chord_at(&p.map.chords, c.bar, c.at)?;
    let midi = c.notes[c.foreign?];
    let note = spelling(p.passage.key, None, midi);
    Some(format!("{} sound a {} apart{}: {note} adds the {} to {sign}", both(p, g), c.kind.word(), where_(p, g), what_it_adds(sign, midi)))
}

/// What a foreign note is over a chord's root.
fn what_it_adds(sign: &Symbol, midi: Midi) -> &'static str {
    let seventh = sign.tones.iter().any(|t| t.number == 7);
    match (midi.0 + 12 - sign.root.class().0) % 12 {
        0 => "root",
        1 => "flat ninth",
        2 => "ninth",
        3 if sign.has(3, 0) => "sharp ninth",
        3 => "minor third",
        4 => "major third",
        5 if sign.tones.iter().any(|t| t.number == 3) => "eleventh",
        5 => "fourth",
        6 => "sharp eleventh",
        7 => "fifth",
        8 => "flat thirteenth",
        9 if seventh => "thirteenth",
        9 => "sixth",
        10 => "minor seventh",
        _ => "major seventh",
    }
}

fn early(p: &Pairing, g: &Group) -> Option<String> {
    let (_, next) = chord_at(&p.map.chords, g.first.bar, g.first.at)?;
    let (i, next) = (g.first.foreign?, next?);
    Some(format!("{} {}{} belongs to the {next} that comes", p.sides[i].name.own(), note(p.passage.key, Some(next), g.first.notes[i]), where_(p, g)))
}

fn colour(p: &Pairing, g: &Group) -> Option<String> {
    let (here, _) = chord_at(&p.map.chords, g.first.bar, g.first.at)?;
    Some(format!("{} sound a {} apart{}: both are notes of {here}, so it is colour", both(p, g), g.first.kind.word(), where_(p, g)))
}

/// Findings for all parts together: tones that one part alone has, and tones that nobody plays.
pub(super) fn over_all(passage: &Passage, chords: &[Chord], name_of: impl Fn(usize) -> super::Name) -> Vec<String> {
    let signed: Vec<&Chord> = chords.iter().filter(|c| c.symbol.is_some() && (c.tones.iter().any(|t| !t.parts.is_empty()) || !c.outside.is_empty())).collect();
    let mut out = Vec::new();
    for (number, word) in [(1, "root"), (3, "third"), (7, "seventh")] {
        let held: Vec<(&Chord, &[usize])> = signed.iter().filter_map(|c| Some((*c, c.holders(number)?))).collect();
        let Some((_, first)) = held.first() else { continue };
        if let [one] = first
            && held.iter().all(|h| h.1 == [*one])
        {
            let every = if held.len() == 1 { String::new() } else { " under every chord that has one".into() };
            let every = if number == 1 && held.len() > 1 { " of every chord".into() } else { every };
            out.push(format!("the {word}{every} is in {} alone", name_of(*one).text));
            continue;
        }
        let nobody: Vec<&Chord> = held.iter().filter(|h| h.1.is_empty()).map(|h| h.0).collect();
        if nobody.len() == held.len() && held.len() > 1 {
            out.push(format!("nobody plays the {word} of any chord"));
        } else if let Some(c) = nobody.first() {
            let sign = c.symbol.as_ref().map_or(String::new(), ToString::to_string);
            let more = if nobody.len() > 1 { format!(", nor in {} more", nobody.len() - 1) } else { String::new() };
            out.push(format!("nobody plays the {word} of {sign} at {}{more}", place(passage, c.bar, c.at)));
        }
    }
    out
}
