//! The lesson against itself: what can be read and played back, but is likely wrong. Nothing here needs the record.

use crate::problem::Problems;
use crate::{Lesson, Part, Passage, Problem, Span};
use neck::{Grip, Hand, Instrument};
use pitch::{Midi, Symbol};
use std::collections::BTreeSet;

/// Looks for what is likely wrong in a lesson that was read without errors: strokes that no hand can hold, pinned names that
/// contradict their notes, grips that nothing plays, parts that are silent throughout. All weigh as remarks; none stops `make`.
pub fn check(lesson: &Lesson) -> Vec<Problem> {
    let mut problems = Problems::default();
    for passage in &lesson.passages {
        check_passage(passage, &mut problems);
    }
    let mut list = problems.list;
    list.sort_by_key(|p| p.span);
    list
}

pub(crate) fn check_passage(passage: &Passage, problems: &mut Problems) {
    for part in &passage.parts {
        check_part(passage, part, problems);
    }
}

pub(crate) fn check_part(passage: &Passage, part: &Part, problems: &mut Problems) {
    if part.bars.iter().all(|b| b.events.is_empty()) && part.take.is_none() {
        problems.remark(part.span, format!("the part \"{}\" is silent throughout", part.name), "write its bars, or leave it out");
    }
    let Some(neck) = &part.neck else { return };
    let hand = Hand::large();
    let mut used: BTreeSet<char> = BTreeSet::new();
    for g in &part.grips {
        if let Some(why) = unplayable(&g.grip, neck, &hand).filter(|_| g.fingers.is_empty()) {
            problems.remark(g.span, format!("grip {} is out of reach: {why}", g.letter), "write it in another place, or pin the fingers that hold it: fingers=\"1 3 4\"");
        }
        if let Some(name) = &g.name {
            let notes: Vec<Midi> = g.grip.midi(neck).into_iter().flatten().collect();
            contradiction(name, &notes, g.span, problems);
        }
    }
    let mut seen: BTreeSet<Vec<(u8, u8)>> = BTreeSet::new();
    for bar in &part.bars {
        for e in &bar.events {
            used.extend(e.grip);
            let places: Vec<(u8, u8)> = e.notes.iter().filter(|n| !n.dead && !n.harmonic).filter_map(|n| n.place()).collect();
            // Grips have been looked at where they are written; places of a stroke are looked at once each.
            if e.grip.is_some() || places.len() < 2 || !seen.insert(places.clone()) {
                continue;
            }
            let mut frets = vec![None; neck.strings()];
            for (s, f) in &places {
                if let Some(slot) = neck.strings().checked_sub(usize::from(*s)).and_then(|i| frets.get_mut(i)) {
                    *slot = Some(*f);
                }
            }
            if let Some(why) = unplayable(&Grip { frets }, neck, &hand) {
                problems.remark(e.span, format!("this stroke is out of reach: {why}"), "write it in another place on the neck");
            }
        }
    }
    if part.easier_of.is_none() {
        for g in part.grips.iter().filter(|g| !used.contains(&g.letter)) {
            let wanted = passage.parts.iter().any(|p| p.easier_of.as_deref() == Some(&part.name) && p.bars.iter().flat_map(|b| &b.events).any(|e| e.grip == Some(g.letter)));
            if !wanted {
                problems.remark(g.span, format!("nothing plays the grip {}", g.letter), "leave it out, or use it in a bar");
            }
        }
    }
    for pin in &part.name_pins {
        let notes: Vec<Midi> = part.bars[pin.bar].events.iter().filter(|e| e.at == pin.at).flat_map(|e| e.notes.iter().filter(|n| !n.dead).map(|n| n.midi)).collect();
        if notes.is_empty() {
            problems.remark(pin.span, format!("the part \"{}\" strikes nothing where the name {} stands", part.name, pin.symbol), "move the name to a stroke");
        }
        contradiction(&pin.symbol, &notes, pin.span, problems);
    }
}

fn unplayable(grip: &Grip, neck: &Instrument, hand: &Hand) -> Option<String> {
    neck::finger(grip, neck, hand).err().map(|u| u.why)
}

/// Says so when a pinned name does not hold what sounds.
fn contradiction(name: &Symbol, notes: &[Midi], span: Span, problems: &mut Problems) {
    let major = pitch::Key { tonic: name.root, mode: pitch::Mode::Major };
    let mut foreign: Vec<String> = name.lacks(notes).into_iter().map(|n| major.spell_class(n.class()).to_string()).collect();
    foreign.dedup();
    if !foreign.is_empty() {
        problems.remark(
            span,
            format!("the name {name} is pinned, but {} sound{} too", foreign.join(" and "), if foreign.len() == 1 { "s" } else { "" }),
            format!("{name} has the notes {}; mend the name or the notes", name.spell().iter().map(ToString::to_string).collect::<Vec<_>>().join(" ")),
        );
    }
}
