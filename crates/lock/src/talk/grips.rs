//! Points on grips: strings and frets, the name over the bass, and the full grip that a fragment is a part of.

use super::{Called, Heard, Point, Topic, strings_words};
use crate::findings::words::{list, sentence};
use lesson::{Beats, Event, NamedGrip};
use neck::{Grip, Instrument, Parent};
use pitch::{Midi, PitchClass, Symbol};

/// The full grip that a fragment comes from: one on the root of its name where there is one, else the one of which it takes most. `None` for a grip that is
/// itself a full one, and where no full grip holds it.
pub fn parent_of(grip: &Grip, instrument: &Instrument, name: Option<&Symbol>) -> Option<Parent> {
    let parents = neck::parents(grip, instrument);
    let root = name.map(|n| n.root.class());
    let best = parents.iter().find(|p| root.is_some() && root_of(p, instrument) == root).or(parents.first())?;
    (!best.left_out.is_empty()).then(|| best.clone())
}

/// What a full grip's lowest root sounds.
fn root_of(p: &Parent, instrument: &Instrument) -> Option<PitchClass> {
    instrument.sounds(p.root.0, p.root.1).map(|m| m.class())
}

/// A part's grips in the order in which they are first struck; one that nothing strikes where it lies is left out.
pub(super) fn on_grips(heard: &Heard, index: usize) -> Vec<Point> {
    let part = &heard.passage.parts[index];
    let Some(neck) = &part.neck else { return vec![] };
    let mut found: Vec<(usize, Beats, Point)> = Vec::new();
    let mut told: Vec<&NamedGrip> = Vec::new();
    for grip in &part.grips {
        let mut struck: Vec<(usize, Beats)> = Vec::new();
        for (b, bar) in part.bars.iter().enumerate() {
            struck.extend(bar.events.iter().filter(|e| strikes(e, grip)).map(|e| (b, e.at)));
        }
        let Some(first) = struck.first().copied() else { continue };
        let notes: Vec<Midi> = grip.grip.midi(neck).into_iter().flatten().collect();
        let called = heard.called(part, grip.name.as_ref(), &notes, first);
        let over = called.as_ref().and_then(|c| heard.over(index, first.0, first.1, &c.symbol));
        let symbol = called.as_ref().map(|c| &c.symbol);
        if let Some(twin) = told.iter().find(|t| t.grip == grip.grip) {
            let (one, other) = (grip.letter, twin.letter);
            let text = format!("Grip {one}: the strings and frets of {other}, with other fingers.");
            found.push((first.0, first.1, Point { topic: Topic::Grip, part: Some(index), bar: None, text, short: format!("{one}: as {other}, other fingers") }));
            continue;
        }
        told.push(grip);
        // Two notes lie in many grips; only one on their own root says something.
        let parent = parent_of(&grip.grip, neck, symbol).filter(|p| notes.len() > 2 || root_of(p, neck) == symbol.map(|s| s.root.class()));
        let where_ = frets_words(&grip.grip);
        let mut sentences = vec![format!("grip {}: {where_}", grip.letter)];
        let mut short = format!("{}: {}", grip.letter, grip.grip);
        if let Some(c) = &called {
            sentences.push(name_words(heard, c, over.as_deref()));
            short.push_str(&format!(" = {}", heard.text(&c.symbol)));
            if c.name.as_ref().is_some_and(|n| n.rootless) {
                short.push_str(", no root");
            }
            let note = over.as_deref().and_then(|o| o.rsplit(' ').next()).filter(|n| *n != c.symbol.root.to_string() && c.symbol.bass.is_none());
            if let Some(o) = note {
                short.push_str(&format!(" over {o}"));
            }
        }
        if let Some(p) = &parent {
            let of = root_of(p, neck).filter(|r| Some(*r) != symbol.map(|s| s.root.class()));
            let chord = of.map_or(String::new(), |r| format!(", a grip of {}{}", heard.passage.key.unwrap_or(pitch::Key::PLAIN).spell_class(r), p.quality));
            sentences.push(format!("it is part of {}{chord}", parent_words(p)));
        }
        sentences.extend(other_names(heard, index, grip, &notes, called.as_ref(), &struck));
        let text = sentences.iter().map(|s| sentence(s)).collect::<Vec<_>>().join(" ");
        found.push((first.0, first.1, Point { topic: Topic::Grip, part: Some(index), bar: None, text, short }));
    }
    found.sort_by_key(|f| (f.0, f.1));
    found.into_iter().map(|f| f.2).collect()
}

/// Whether a stroke sounds this grip where it lies, or some strings of it: picked one after the other it is the same grip.
fn strikes(e: &Event, grip: &NamedGrip) -> bool {
    let at = super::places(e);
    !e.scratch && !e.tie_in && !e.held && e.grip == Some(grip.letter) && !at.is_empty() && at.iter().all(|(s, f)| grip.grip.fret(*s) == Some(*f))
}

/// "strings 4, 3 and 2 at fret 5".
fn frets_words(grip: &Grip) -> String {
    let (strings, frets): (Vec<u8>, Vec<u8>) = grip.sounding().unzip();
    let word = |f: &u8| if *f == 0 { "open".to_string() } else { f.to_string() };
    let one = frets.iter().all(|f| *f == frets[0]);
    let at = match frets.first() {
        Some(0) if one => "open".to_string(),
        Some(f) if one => format!("at fret {f}"),
        _ => format!("at frets {}", list(&frets.iter().map(word).collect::<Vec<_>>())),
    };
    format!("{} {at}", strings_words(&strings))
}

/// "over the floor's A it is Am7 without its root: third, fifth and seventh".
fn name_words(heard: &Heard, called: &Called, over: Option<&str>) -> String {
    let symbol = heard.text(&called.symbol);
    let mut out = match over {
        Some(over) => format!("over {over} it is {symbol}"),
        None => format!("it is {symbol}"),
    };
    if let Some(name) = &called.name {
        if name.rootless {
            out.push_str(" without its root");
        }
        let mut degrees: Vec<String> = Vec::new();
        for d in &name.degrees {
            let word = d.word().to_string();
            if !degrees.contains(&word) {
                degrees.push(word);
            }
        }
        out.push_str(&format!(": {}", list(&degrees)));
    }
    out
}

/// "the A form at fret 3", "the open E form", "the minor seventh at fret 5, root on string 6".
fn parent_words(p: &Parent) -> String {
    match (p.form.split_once(", "), p.base_fret) {
        (Some((form, root)), base) => format!("the {form} at fret {base}, {root}"),
        (None, 0) => format!("the open {}", p.form),
        (None, base) => format!("the {} at fret {base}", p.form),
    }
}

/// What the same grip is called where it comes under another harmony, each name once.
fn other_names(heard: &Heard, index: usize, grip: &NamedGrip, notes: &[Midi], first: Option<&Called>, struck: &[(usize, Beats)]) -> Option<String> {
    let part = &heard.passage.parts[index];
    let mut told: Vec<Symbol> = first.map(|c| c.symbol.clone()).into_iter().collect();
    let mut words: Vec<String> = Vec::new();
    let mut last = None;
    for (bar, at) in struck {
        let sign = heard.sign(*bar, *at).map(|s| (s.symbol.clone(), s.from));
        if sign == last {
            continue;
        }
        last = sign;
        let Some(c) = heard.called(part, grip.name.as_ref(), notes, (*bar, *at)) else { continue };
        if told.contains(&c.symbol) {
            continue;
        }
        let number = heard.passage.bars.get(*bar).map_or(0, |b| b.number);
        let over = heard.over(index, *bar, *at, &c.symbol).map_or(String::new(), |o| format!(" over {o}"));
        words.push(format!("{} in bar {number}{over}", heard.text(&c.symbol)));
        told.push(c.symbol);
    }
    (!words.is_empty()).then(|| format!("the same grip is {}", list(&words)))
}
