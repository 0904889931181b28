//! A chord sign as a MusicXML `harmony`: root, the kind that fits best, degrees for what the kind does not say, bass.
//!
//! Source: MusicXML 4.0, elements `kind`, `degree`, `degree-alter`. Added degrees count from a dominant chord (major and
//! perfect intervals, but a minor seventh), altered ones from the note that the kind already has.

use super::element::{Element, el, leaf};
use pitch::{Degree, Spelling, Symbol};

const fn d(number: u8, alter: i8) -> Degree {
    Degree::new(number, alter)
}

/// Kinds and their degrees above the root, as MusicXML 4.0 defines them. Where two fit equally well, the first is taken.
const KINDS: &[(&str, &[Degree])] = &[
    ("major", &[d(3, 0), d(5, 0)]),
    ("minor", &[d(3, -1), d(5, 0)]),
    ("dominant", &[d(3, 0), d(5, 0), d(7, -1)]),
    ("minor-seventh", &[d(3, -1), d(5, 0), d(7, -1)]),
    ("major-seventh", &[d(3, 0), d(5, 0), d(7, 0)]),
    ("major-minor", &[d(3, -1), d(5, 0), d(7, 0)]),
    ("half-diminished", &[d(3, -1), d(5, -1), d(7, -1)]),
    ("diminished", &[d(3, -1), d(5, -1)]),
    ("diminished-seventh", &[d(3, -1), d(5, -1), d(7, -2)]),
    ("augmented", &[d(3, 0), d(5, 1)]),
    ("augmented-seventh", &[d(3, 0), d(5, 1), d(7, -1)]),
    ("major-sixth", &[d(3, 0), d(5, 0), d(6, 0)]),
    ("minor-sixth", &[d(3, -1), d(5, 0), d(6, 0)]),
    ("dominant-ninth", &[d(3, 0), d(5, 0), d(7, -1), d(9, 0)]),
    ("minor-ninth", &[d(3, -1), d(5, 0), d(7, -1), d(9, 0)]),
    ("major-ninth", &[d(3, 0), d(5, 0), d(7, 0), d(9, 0)]),
    ("dominant-11th", &[d(3, 0), d(5, 0), d(7, -1), d(9, 0), d(11, 0)]),
    ("minor-11th", &[d(3, -1), d(5, 0), d(7, -1), d(9, 0), d(11, 0)]),
    ("major-11th", &[d(3, 0), d(5, 0), d(7, 0), d(9, 0), d(11, 0)]),
    ("dominant-13th", &[d(3, 0), d(5, 0), d(7, -1), d(9, 0), d(11, 0), d(13, 0)]),
    ("minor-13th", &[d(3, -1), d(5, 0), d(7, -1), d(9, 0), d(11, 0), d(13, 0)]),
    ("major-13th", &[d(3, 0), d(5, 0), d(7, 0), d(9, 0), d(11, 0), d(13, 0)]),
    ("suspended-second", &[d(2, 0), d(5, 0)]),
    ("suspended-fourth", &[d(4, 0), d(5, 0)]),
    ("power", &[d(5, 0)]),
    ("other", &[]),
];

/// What has to be said beside the kind: degree, how it differs (`add`, `alter`, `subtract`), and its `degree-alter`.
type Change = (u8, &'static str, i8);

/// The `harmony` element of a sign, without its place in time; `None` stands for "no chord".
pub(super) fn harmony(symbol: Option<&Symbol>) -> Element {
    let Some(symbol) = symbol else {
        return el("harmony").with(el("root").with(leaf("root-step", "C").attr("text", ""))).with(leaf("kind", "none").attr("text", "N.C."));
    };
    let (kind, changes) = kind_of(symbol);
    let degrees = changes.into_iter().map(|(number, how, alter)| {
        // The kind's own text says it all; the degrees are for the ear.
        el("degree").attr("print-object", "no").with(leaf("degree-value", number)).with(leaf("degree-alter", alter)).with(leaf("degree-type", how))
    });
    el("harmony")
        .with(note("root", "root-step", "root-alter", symbol.root))
        .with(leaf("kind", kind).attr("text", suffix(symbol)))
        .with_all(symbol.bass.map(|b| note("bass", "bass-step", "bass-alter", b)))
        .with_all(degrees)
}

/// The printed sign without its root and bass.
fn suffix(symbol: &Symbol) -> String {
    let plain = Symbol { bass: None, ..symbol.clone() }.to_string();
    plain.strip_prefix(&symbol.root.to_string()).unwrap_or(&plain).to_string()
}

fn note(name: &'static str, step: &'static str, alter: &'static str, spelling: Spelling) -> Element {
    let out = el(name).with(leaf(step, spelling.letter.to_char()));
    if spelling.alter == 0 { out } else { out.with(leaf(alter, spelling.alter)) }
}

/// The kind that leaves the fewest changes.
fn kind_of(symbol: &Symbol) -> (&'static str, Vec<Change>) {
    KINDS
        .iter()
        .map(|(name, tones)| (*name, changes(&symbol.tones, tones)))
        .min_by_key(|(name, changes)| (changes.len(), *name == "other"))
        .expect("there are kinds")
}

fn changes(wanted: &[Degree], kind: &[Degree]) -> Vec<Change> {
    let wanted: Vec<Degree> = wanted.iter().copied().filter(|d| *d != Degree::ROOT).collect();
    let mut missing: Vec<Degree> = kind.iter().copied().filter(|d| !wanted.contains(d)).collect();
    let mut out = Vec::new();
    for tone in wanted.iter().filter(|d| !kind.contains(d)) {
        match missing.iter().position(|m| m.number == tone.number) {
            Some(i) => out.push((tone.number, "alter", tone.alter - missing.remove(i).alter)),
            None => out.push((tone.number, "add", tone.alter - if tone.number == 7 { -1 } else { 0 })),
        }
    }
    out.extend(missing.into_iter().map(|m| (m.number, "subtract", 0)));
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use pitch::Classes;

    fn kind(sign: &str) -> (&'static str, Vec<Change>) {
        kind_of(&Symbol::parse(sign).unwrap())
    }

    /// What a reader of the standard makes of kind and changes.
    fn sounding(root: Spelling, kind: &str, changes: &[Change]) -> Classes {
        let mut tones = KINDS.iter().find(|k| k.0 == kind).unwrap().1.to_vec();
        for (number, how, alter) in changes {
            match *how {
                "add" => tones.push(d(*number, alter + if *number == 7 { -1 } else { 0 })),
                "alter" => tones.iter_mut().find(|t| t.number == *number).unwrap().alter += alter,
                _ => tones.retain(|t| t.number != *number),
            }
        }
        tones.into_iter().chain([Degree::ROOT]).map(|t| t.class(root.class())).collect()
    }

    #[test]
    fn usual_signs_need_no_degrees() {
        for (sign, want) in [
            ("C", "major"),
            ("Cm7", "minor-seventh"),
            ("Bb7", "dominant"),
            ("F#m7b5", "half-diminished"),
            ("Cdim7", "diminished-seventh"),
            ("C6", "major-sixth"),
            ("C9", "dominant-ninth"),
            ("Csus2", "suspended-second"),
            ("C5", "power"),
        ] {
            assert_eq!(kind(sign), (want, vec![]), "{sign}");
        }
    }

    #[test]
    fn other_signs_say_what_differs() {
        assert_eq!(kind("C7sus4"), ("suspended-fourth", vec![(7, "add", 0)]));
        assert_eq!(kind("Cadd9"), ("major", vec![(9, "add", 0)]));
        assert_eq!(kind("C7b9"), ("dominant", vec![(9, "add", -1)]));
    }

    #[test]
    fn sounds_as_the_sign_says() {
        for root in ["C", "F#", "Ab"] {
            for body in ["", "m", "7", "maj7", "m7", "m7b5", "dim", "dim7", "aug", "6", "m6", "6/9", "9", "m9", "maj9", "11", "m11", "13", "m13", "7#9", "7b5", "7#11", "sus2", "sus4", "7sus4", "9sus4", "add9", "5", "mmaj7", "maj7#11"] {
                let symbol = Symbol::parse(&format!("{root}{body}")).unwrap();
                let (kind, changes) = kind_of(&symbol);
                assert_eq!(sounding(symbol.root, kind, &changes), symbol.classes(), "{symbol}: {kind} {changes:?}");
            }
        }
    }
}
