//! Parent grips: the full movable grips that a fragment is a part of.
//!
//! # Conventions
//! A form is named after the open grip that it is a shape of ("E form", "Am form"), or after what it is ("ninth, root on string 5").
//! Base fret is the fret at which the form's nut or barre would lie: the E form at base fret 1 is F. All forms are common practice,
//! in intervals of the standard tuning; other tunings have parents only where the strings in question keep those intervals.

use crate::{Grip, Instrument};

/// A full grip of which a fragment takes some strings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Parent {
    /// Trade words: "E form", "Am7 form", "ninth, root on string 5".
    pub form: &'static str,
    /// Suffix of the chord's symbol after its root: "", "m", "7", "m7", "maj7", "9", "13"…
    pub quality: &'static str,
    /// Where the form's barre or nut lies, 0 = the open grip, counted from the capo.
    pub base_fret: u8,
    /// The whole grip.
    pub grip: Grip,
    /// Its strings that the fragment sounds, high-numbered (low) first.
    pub taken: Vec<u8>,
    /// Its strings that the fragment leaves out, likewise.
    pub left_out: Vec<u8>,
    /// The string on which the form's lowest root lies, and its fret.
    pub root: (u8, u8),
}

/// The form's name, quality, frets at base 0 (`.` not played) low to high, string of the lowest root. Frets below 0 lie behind the base.
type Form = (&'static str, &'static str, [Option<i8>; 6], u8);

const X: Option<i8> = None;
const fn f(fret: i8) -> Option<i8> {
    Some(fret)
}

/// common practice
const FORMS: &[Form] = &[
    ("E form", "", [f(0), f(2), f(2), f(1), f(0), f(0)], 6),
    ("A form", "", [X, f(0), f(2), f(2), f(2), f(0)], 5),
    ("D form", "", [X, X, f(0), f(2), f(3), f(2)], 4),
    ("C form", "", [X, f(3), f(2), f(0), f(1), f(0)], 5),
    ("G form", "", [f(3), f(2), f(0), f(0), f(0), f(3)], 6),
    ("Em form", "m", [f(0), f(2), f(2), f(0), f(0), f(0)], 6),
    ("Am form", "m", [X, f(0), f(2), f(2), f(1), f(0)], 5),
    ("Dm form", "m", [X, X, f(0), f(2), f(3), f(1)], 4),
    ("Cm form", "m", [X, f(3), f(1), f(0), f(1), X], 5),
    ("Gm form", "m", [f(3), f(1), f(0), f(0), f(3), f(3)], 6),
    ("E7 form", "7", [f(0), f(2), f(0), f(1), f(0), f(0)], 6),
    ("A7 form", "7", [X, f(0), f(2), f(0), f(2), f(0)], 5),
    ("D7 form", "7", [X, X, f(0), f(2), f(1), f(2)], 4),
    ("C7 form", "7", [X, f(3), f(2), f(3), f(1), f(0)], 5),
    ("G7 form", "7", [f(3), f(2), f(0), f(0), f(0), f(1)], 6),
    ("Em7 form", "m7", [f(0), f(2), f(0), f(0), f(0), f(0)], 6),
    ("Am7 form", "m7", [X, f(0), f(2), f(0), f(1), f(0)], 5),
    ("Dm7 form", "m7", [X, X, f(0), f(2), f(1), f(1)], 4),
    ("minor seventh, root on string 6", "m7", [f(0), X, f(0), f(0), f(0), X], 6),
    ("Emaj7 form", "maj7", [f(0), X, f(1), f(1), f(0), X], 6),
    ("Amaj7 form", "maj7", [X, f(0), f(2), f(1), f(2), f(0)], 5),
    ("Dmaj7 form", "maj7", [X, X, f(0), f(2), f(2), f(2)], 4),
    ("ninth, root on string 5", "9", [X, f(0), f(-1), f(0), f(0), f(0)], 5),
    ("ninth, root on string 6", "9", [f(0), f(2), f(0), f(1), f(0), f(2)], 6),
    ("minor ninth, root on string 5", "m9", [X, f(0), f(-2), f(0), f(0), f(0)], 5),
    ("major ninth, root on string 5", "maj9", [X, f(0), f(-1), f(1), f(0), X], 5),
    ("thirteenth, root on string 6", "13", [f(0), X, f(0), f(1), f(2), f(2)], 6),
    ("thirteenth, root on string 5", "13", [X, f(0), f(-1), f(0), f(0), f(2)], 5),
    ("half-diminished, root on string 5", "m7b5", [X, f(0), f(1), f(0), f(1), X], 5),
    ("diminished, root on string 5", "dim7", [X, f(0), f(1), f(-1), f(1), X], 5),
    ("diminished, root on string 4", "dim7", [X, X, f(0), f(1), f(0), f(1)], 4),
    ("diminished, root on string 6", "dim7", [f(0), X, f(-1), f(0), f(-1), X], 6),
    ("sixth, root on string 6", "6", [f(0), X, f(-1), f(1), f(0), X], 6),
    ("A6 form", "6", [X, f(0), f(2), f(2), f(2), f(2)], 5),
    ("Esus4 form", "sus4", [f(0), f(2), f(2), f(2), f(0), f(0)], 6),
    ("Asus4 form", "sus4", [X, f(0), f(2), f(2), f(3), f(0)], 5),
    ("Asus2 form", "sus2", [X, f(0), f(2), f(2), f(0), f(0)], 5),
    ("half-diminished, root on string 6", "m7b5", [f(0), X, f(0), f(0), f(-1), X], 6),
];

/// The names of all forms that are known, as [`Parent::form`] gives them.
pub fn forms() -> impl Iterator<Item = &'static str> {
    FORMS.iter().map(|f| f.0)
}

/// The full grips that `grip` is a part of: every sounding note of it lies in them, and at least two do. Those of which most is taken come
/// first. Open strings are taken as the nut of a form at base fret 0 only.
///
/// An empty grip, a single note, or an instrument with other than six strings has none.
///
/// ```
/// use neck::{parents, Grip, Instrument};
/// // common practice: the top of the F barre grip.
/// let p = parents(&Grip::parse("x x x 2 1 1").unwrap(), &Instrument::guitar());
/// assert!(p.iter().any(|p| p.form == "E form" && p.base_fret == 1 && p.left_out == [6, 5, 4]));
/// ```
pub fn parents(grip: &Grip, instrument: &Instrument) -> Vec<Parent> {
    let sounding: Vec<(u8, u8)> = grip.sounding().collect();
    if sounding.len() < 2 || grip.frets.len() != 6 || instrument.strings() != 6 {
        return Vec::new();
    }
    let mut out: Vec<Parent> = Vec::new();
    for (form, quality, shape, root_string) in FORMS {
        // The tuning must keep the standard intervals on the form's strings.
        let (string, fret) = sounding[0];
        let Some(shape_fret) = shape[6 - usize::from(string)] else { continue };
        let Some(base) = fret.checked_add_signed(-shape_fret) else { continue };
        if !sounding.iter().all(|(s, f)| shape[6 - usize::from(*s)].is_some_and(|g| base.checked_add_signed(g) == Some(*f))) {
            continue;
        }
        let frets: Option<Vec<Option<u8>>> = shape
            .iter()
            .map(|g| match g {
                None => Some(None),
                Some(g) => base.checked_add_signed(*g).filter(|f| *f <= instrument.top_fret()).map(Some),
            })
            .collect();
        let Some(frets) = frets else { continue };
        if !standard_intervals(&frets, instrument) {
            continue;
        }
        let whole = Grip { frets };
        let (taken, left_out): (Vec<u8>, Vec<u8>) =
            whole.sounding().map(|(s, _)| s).partition(|s| sounding.iter().any(|(t, _)| t == s));
        let Some(root_fret) = whole.fret(*root_string) else { continue };
        out.push(Parent { form, quality, base_fret: base, grip: whole, taken, left_out, root: (*root_string, root_fret) });
    }
    out.sort_by_key(|p| p.left_out.len());
    out
}

/// Whether the strings in use stand to each other as E A D G B E do.
fn standard_intervals(frets: &[Option<u8>], instrument: &Instrument) -> bool {
    const STANDARD: [i32; 6] = [40, 45, 50, 55, 59, 64];
    let mut off = frets.iter().zip(&instrument.tuning.open).zip(STANDARD).filter(|((f, _), _)| f.is_some()).map(|((_, o), s)| i32::from(o.0) - s);
    let first = off.next();
    off.all(|d| Some(d) == first)
}

/// Number of forms.
pub(crate) const FORMS_LEN: usize = FORMS.len();

/// For each form the base fret at which it holds all the given places (string index from the low string, and fret) of a six-string
/// in standard intervals; [`NO_BASE`] where it does not.
pub(crate) fn bases(at: &[(u8, u8)]) -> [u8; FORMS_LEN] {
    let mut out = [NO_BASE; FORMS_LEN];
    for (base, (_, _, shape, _)) in out.iter_mut().zip(FORMS) {
        let base_of = |(s, f): &(u8, u8)| shape.get(usize::from(*s)).copied().flatten().and_then(|g| f.checked_add_signed(-g));
        let first = at.first().and_then(base_of);
        if let Some(b) = first.filter(|_| at.iter().all(|a| base_of(a) == first)) {
            *base = b;
        }
    }
    out
}

/// See [`bases`].
pub(crate) const NO_BASE: u8 = 255;

#[cfg(test)]
mod tests {
    use super::*;

    /// common practice: fragments that players use, and what they are taken from.
    #[test]
    fn fragments_know_their_parents() {
        for (frets, form, base, taken, root) in [
            ("x x 8 8 8 x", "A form", 6, vec![4, 3, 2], (5, 6)),
            ("x x x 5 5 5", "Am7 form", 3, vec![], (5, 3)),
            ("x x x 8 8 8", "Em form", 8, vec![3, 2, 1], (6, 8)),
            ("x x x 3 5 3", "A7 form", 3, vec![3, 2, 1], (5, 3)),
            ("x x x 7 8 7", "D form", 5, vec![3, 2, 1], (4, 5)),
            ("x x 7 5 6 x", "C form", 5, vec![4, 3, 2], (5, 8)),
            ("x x x 5 5 8", "G form", 5, vec![3, 2, 1], (6, 8)),
            ("x x 9 10 10 10", "ninth, root on string 5", 10, vec![4, 3, 2, 1], (5, 10)),
            ("x x 5 6 7 x", "thirteenth, root on string 6", 5, vec![4, 3, 2], (6, 5)),
            ("x x 5 5 5 x", "minor seventh, root on string 6", 5, vec![4, 3, 2], (6, 5)),
        ] {
            let all = parents(&Grip::parse(frets).unwrap(), &Instrument::guitar());
            let found = all.iter().find(|p| p.form == form);
            match found {
                Some(p) => assert_eq!((p.base_fret, &p.taken, p.root), (base, &taken, root), "{frets}"),
                None => assert!(taken.is_empty(), "{frets} has no {form}: {all:?}"),
            }
        }
    }

    #[test]
    fn every_form_is_its_own_parent_and_can_be_held() {
        for (name, _, shape, root) in FORMS {
            let frets = shape.iter().map(|g| g.map(|g| (g + 5) as u8)).collect();
            let grip = Grip { frets };
            let all = parents(&grip, &Instrument::guitar());
            let own = all.iter().find(|p| p.form == *name).unwrap();
            assert!(own.left_out.is_empty() && own.grip == grip && own.root.0 == *root, "{name}");
            // Movable: in any key, though some are held in part only.
            if !["G form", "Gm form", "G7 form", "Cm form", "C7 form"].contains(name) {
                crate::finger(&grip, &Instrument::guitar(), &crate::Hand::usual()).expect(name);
            }
        }
    }

    #[test]
    fn none_where_there_is_none() {
        let guitar = Instrument::guitar();
        for frets in ["x x x x x x", "x x 5 x x x", "1 9 2 8 3 7"] {
            assert_eq!(parents(&Grip::parse(frets).unwrap(), &guitar), []);
        }
        // In drop D the low string has no standard interval to the next; the five others do.
        let drop = Instrument { tuning: crate::Tuning::guitar("drop D", 6).unwrap(), ..Instrument::guitar() };
        let p = parents(&Grip::parse("x 3 5 5 5 x").unwrap(), &drop);
        assert!(p.iter().any(|p| p.form == "A form") && p.iter().all(|p| p.form != "E form"));
    }
}
