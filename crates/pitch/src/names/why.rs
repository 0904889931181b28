//! The reasons for a name, in sentences a guitar teacher would say.

use super::readings::{self, DOUBLE7, FIFTH, FLAT5, FLAT7, FOURTH, MAJOR, MINOR, NINTH, ROOT, SECOND, SEVENTH, SHARP5, SIXTH, THIRTEENTH};
use super::{Candidate, From, Name, View, bits};
use crate::{Degree, PitchClass, Spelling};

/// What speaks for this name by itself.
pub(super) fn sentences(name: &Name, candidate: &Candidate, view: &View) -> Vec<String> {
    let symbol = &name.symbol;
    let tones = bits(symbol);
    let root = symbol.root;
    let mut out = Vec::with_capacity(5);
    match candidate.from {
        From::Lesson => out.push("it is written so in the lesson".to_string()),
        From::LessonAndMore => out.push("it is the chord written in the lesson, with what the notes add".to_string()),
        From::Notes => {}
    }
    let bass = view.spell(symbol, view.bass);
    let bass_part = view.context.bass.is_some();
    let in_bass = view.bass == root.class();

    // Root and bass.
    if name.rootless {
        out.push(if in_bass && bass_part {
            "no root: the bass part has it".to_string()
        } else {
            format!("no root: {root} is not among the notes and has to come from another part")
        });
    } else if in_bass && (bass_part || !view.over_time) {
        out.push(if bass_part { format!("the bass part has the root {root}") } else { format!("the root {root} is the lowest note") });
    }
    if candidate.foreign {
        out.push(format!("the upper notes are a chord by themselves, and {bass} under them is no note of it"));
    } else if !in_bass && (bass_part || !name.rootless) && let Some(tone) = symbol.degree_of(view.bass) {
        let place = match tone.number {
            3 => ": first inversion",
            5 => ": second inversion",
            7 => ": third inversion",
            _ => "",
        };
        let whole = if name.rootless { "" } else { place };
        let when = if view.over_time && !bass_part { "mostly in" } else { "in" };
        out.push(format!("{bass}, the {}, is {when} the bass{whole}", word(tone)));
    }

    // Third and what stands in its place.
    let missing = |t: u32| readings::each(tones & t).any(|i| name.omitted.contains(&readings::TABLE[i]) && !view.sound.holds(readings::TABLE[i].class(root.class())));
    if tones == ROOT | FIFTH {
        out.push("root and fifth alone are neither major nor minor".into());
    } else if missing(MAJOR) {
        out.push("the third is missing, so it could be minor too".into());
    } else if missing(MINOR) && tones & DOUBLE7 != 0 {
        out.push("the third is missing, but the other two notes leave no other choice".into());
    } else if missing(MINOR) {
        out.push("the third is missing, so it could be major too".into());
    } else if tones & SECOND != 0 && tones & FOURTH != 0 {
        let (second, fourth) = (Degree::new(2, 0).spell(root), Degree::new(4, 0).spell(root));
        out.push(format!("there is no third: {second} and {fourth}, second and fourth, both stand in its place"));
    } else if tones & SECOND != 0 {
        out.push(format!("{}, the second, stands in place of the third", Degree::new(2, 0).spell(root)));
    } else if tones & FOURTH != 0 {
        out.push(format!("{}, the fourth, stands in place of the third", Degree::new(4, 0).spell(root)));
    }

    // What is left out above it.
    if missing(FIFTH) {
        out.push("the fifth is left out, which the name does not need".into());
    }
    if missing(NINTH) {
        let top = if tones & THIRTEENTH != 0 { "thirteenth" } else { "eleventh" };
        out.push(format!("the ninth is left out; the chord keeps the name of its {top}"));
    }
    let supposed: Vec<String> = readings::each(tones & (DOUBLE7 | FLAT7 | SEVENTH | SIXTH | FLAT5 | SHARP5))
        .map(|i| readings::TABLE[i])
        .filter(|d| name.omitted.contains(d) && !view.sound.holds(d.class(root.class())))
        .map(|d| d.to_string())
        .collect();
    if !supposed.is_empty() {
        out.push(format!("{} not sounding, but meant by the name", list(&supposed, "is", "are")));
    }

    // What is added.
    if tones & (MAJOR | MINOR) != 0 && tones & (FLAT7 | SEVENTH | DOUBLE7 | SIXTH) == 0 {
        for tone in symbol.tones.iter().filter(|t| t.number >= 9) {
            out.push(format!("{} is added to the triad, with no seventh under it", tone.spell(root)));
        }
    }
    if tones & DOUBLE7 != 0 && symbol.tones.len() == 4 {
        out.push("each note of a diminished seventh can be its root".into());
    }
    if tones == ROOT | MAJOR | SHARP5 {
        out.push("each note of an augmented triad can be its root".into());
    }

    // Key and neighbours.
    if let (Some(key), Some(steps)) = (view.context.key, view.steps)
        && !steps.holds(root.class())
    {
        out.push(format!("its root {root} is no step of {key}"));
    }
    if let Some(before) = &view.context.before
        && before.root.class() == root.class()
    {
        out.push(format!("the root stays as in {before} before it"));
    }
    if let Some(after) = &view.context.after
        && tones & MAJOR != 0
        && tones & FLAT7 != 0
        && after.root.class().up(7) == root.class()
    {
        out.push(format!("it leads a fifth down to {after}"));
    }
    if candidate.from == From::Notes && name.points >= super::WEAK {
        out.push("a weak name: the notes fit, but few players would think of this chord".into());
    }
    out
}

/// What tells the names of one sound apart.
pub(super) fn compare(names: &mut [Name], view: &View) {
    let Some((first, rest)) = names.split_first_mut() else { return };
    let root_in_bass = first.symbol.root.class() == view.bass;
    let mut told = false;
    for other in rest {
        if first.symbol.classes() != other.symbol.classes() || first.symbol.root.class() == other.symbol.root.class() {
            continue;
        }
        // A chord over a foreign bass is no name of its own for these notes, and a weak one no rival.
        let rival = other.symbol.degree_of(view.bass).is_some() && other.points < super::WEAK && first.points > -100;
        if !told && rival {
            let bass = view.spell(&first.symbol, view.bass);
            first.why.push(if root_in_bass {
                format!("same notes as {}; preferred because the bass is {bass}", other.symbol)
            } else {
                format!("same notes as {}; preferred as the plainer reading over {bass}", other.symbol)
            });
            told = true;
        }
        other.why.push(format!("same notes as {} on another root", first.symbol));
    }
}

/// Why nothing fits.
pub(super) fn no_name(view: &View) -> String {
    let spelled: Vec<String> = view.sound.iter().map(|c| plain(c, view).to_string()).collect();
    match spelled.as_slice() {
        [one] if view.notes.iter().any(|n| *n != view.notes[0]) => format!("{one} in octaves names no chord; a bass note or the written harmony would"),
        [one] => format!("one note alone, {one}, names no chord; a bass note or the written harmony would"),
        [a, b] => format!("{a} and {b} alone say too little for a chord; a bass note or the written harmony would help"),
        many => format!("{} lie too close for one chord: on every root some of them clash with its third, fifth or seventh", list_plain(many)),
    }
}

/// What is true of the notes whatever they are called.
pub(super) fn remarks(view: &View, first: Option<&Name>) -> Vec<String> {
    let mut sorted: Vec<u8> = view.notes.iter().map(|n| n.0).collect();
    sorted.sort_unstable();
    sorted.dedup();
    let mut out = Vec::new();
    if sorted.len() >= 3 && sorted.windows(2).all(|w| w[1] - w[0] == 5) {
        out.push("the notes stand in fourths, one above the other: such a stack has no root of its own, and takes one from the bass".into());
    }
    out.extend(upper_triad(&sorted, view, first));
    out
}

/// The three highest notes as a triad by themselves, where the first name is a larger chord on another root.
fn upper_triad(sorted: &[u8], view: &View, first: Option<&Name>) -> Option<String> {
    let name = first.filter(|n| n.symbol.tones.len() >= 5)?;
    let upper = sorted.get(sorted.len().checked_sub(3)?..)?;
    let set: crate::Classes = upper.iter().map(|n| PitchClass(n % 12)).collect();
    let (root, minor) = set.iter().find_map(|root| match set.over(root) {
        0b1001_0001 => Some((root, false)),
        0b1000_1001 => Some((root, true)),
        _ => None,
    })?;
    if root == name.symbol.root.class() {
        return None;
    }
    let root = view.spell(&name.symbol, root);
    Some(format!("its three highest notes are a triad of {root}{} by themselves", if minor { " minor" } else { "" }))
}

fn plain(class: PitchClass, view: &View) -> Spelling {
    view.roots(class, &[]).0
}

fn word(degree: Degree) -> String {
    let kind = match (degree.number, degree.alter) {
        (3 | 7, -1) => "minor ",
        (3 | 7, 0) => "major ",
        (7, -2) => "diminished ",
        (5 | 6 | 9 | 11 | 13, -1) => "lowered ",
        (_, 1) => "raised ",
        _ => "",
    };
    format!("{kind}{}", degree.word())
}

fn list(items: &[String], one: &str, many: &str) -> String {
    format!("{} {}", list_plain(items), if items.len() == 1 { one } else { many })
}

fn list_plain(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [front @ .., last] => format!("{} and {last}", front.join(", ")),
    }
}
