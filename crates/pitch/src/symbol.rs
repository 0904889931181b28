//! Chord symbols: a root, the degrees over it, perhaps another bass; read from and written as the trade writes them.

mod print;
mod read;

pub use print::{Part, PartKind, Style};

use crate::{Classes, Degree, Key, Letter, Midi, Mode, PitchClass, Spelling};

/// A chord sign as data. What it is called follows from its tones alone, so two ways of writing one chord give equal symbols.
///
/// ```
/// use pitch::Symbol;
/// let chord = Symbol::parse("C-7(b5)").unwrap();
/// assert_eq!(chord, Symbol::parse("Cø7").unwrap());
/// assert_eq!(chord.to_string(), "Cm7b5");
/// assert_eq!(chord.tones.iter().map(|d| d.to_string()).collect::<Vec<_>>(), ["R", "b3", "b5", "b7"]);
/// // A ninth chord holds five notes: C E G Bb D.
/// let notes: Vec<_> = Symbol::parse("C9").unwrap().spell().iter().map(|n| n.to_string()).collect();
/// assert_eq!(notes, ["C", "E", "G", "Bb", "D"]);
/// ```
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Symbol {
    /// The root as written.
    pub root: Spelling,
    /// What the sign promises, root first, sorted by number. A `13` promises a ninth but no eleventh over a major third; an `m13` both.
    pub tones: Vec<Degree>,
    /// The note after the slash; `None` when the root is the bass.
    pub bass: Option<Spelling>,
}

impl Symbol {
    /// A symbol from its parts: tones are sorted, doubles dropped, the root added where missing; a bass that is the root is dropped. Beside a
    /// third, a second and a fourth are added notes and so a ninth and an eleventh.
    pub fn new(root: Spelling, tones: impl IntoIterator<Item = Degree>, bass: Option<Spelling>) -> Symbol {
        let mut tones: Vec<Degree> = tones.into_iter().chain([Degree::ROOT]).collect();
        if tones.iter().any(|t| t.number == 3) {
            tones.iter_mut().filter(|t| matches!(t.number, 2 | 4)).for_each(|t| t.number += 7);
        }
        tones.sort();
        tones.dedup();
        Symbol { root, tones, bass: bass.filter(|b| b.class() != root.class()) }
    }

    /// Every class that the sign promises, the slash bass among them.
    pub fn classes(&self) -> Classes {
        let root = self.root.class();
        self.tones.iter().map(|d| d.class(root)).chain(self.bass.map(Spelling::class)).collect()
    }

    /// The class of the lowest note: the slash bass, or the root.
    pub fn bass_class(&self) -> PitchClass {
        self.bass.unwrap_or(self.root).class()
    }

    /// The tone that sounds `class`, if the sign has one (the slash bass is no tone).
    pub fn degree_of(&self, class: PitchClass) -> Option<Degree> {
        let root = self.root.class();
        self.tones.iter().copied().find(|d| d.class(root) == class)
    }

    /// The tone that sounds `class`, or, where the sign has none, the degree that the class usually is over its root: `b9 9 b3 3 11 #11 5 b13 13 b7 7`.
    pub fn degree_or_plain(&self, class: PitchClass) -> Degree {
        self.degree_of(class).unwrap_or_else(|| crate::names::plain_degree(self.root.class(), class))
    }

    /// Whether the sign promises this degree, written so.
    pub fn has(&self, number: u8, alter: i8) -> bool {
        self.tones.contains(&Degree::new(number, alter))
    }

    /// The notes that it does not hold, in the order given: where a pinned name and the notes disagree.
    ///
    /// ```
    /// use pitch::{Midi, Symbol};
    /// let c = Symbol::parse("C/Bb").unwrap();
    /// assert_eq!(c.lacks(&[Midi(46), Midi(60), Midi(63), Midi(67)]), [Midi(63)]); // Eb is no note of C/Bb
    /// ```
    pub fn lacks(&self, notes: &[Midi]) -> Vec<Midi> {
        let own = self.classes();
        notes.iter().copied().filter(|n| !own.holds(n.class())).collect()
    }

    /// The same chord `semitones` higher (lower when negative), written in `key` where there is one, otherwise with few accidentals:
    /// from the shape's name to the sounding name under a capo, and back.
    ///
    /// ```
    /// use pitch::Symbol;
    /// let shape = Symbol::parse("Am7/G").unwrap();
    /// assert_eq!(shape.up(3, None).to_string(), "Cm7/Bb"); // capo at the third fret
    /// assert_eq!(shape.up(3, None).up(-3, None), shape);
    /// ```
    pub fn up(&self, semitones: i32, key: Option<Key>) -> Symbol {
        let root = write_root(self.root.class().up(semitones), &self.tones, key, 0).0;
        let bass = self.bass.map(|b| {
            let exact = Degree::between(self.root, b).spell(root);
            if exact.alter.abs() < 2 { exact } else { key.unwrap_or(Key::PLAIN).spell_class(exact.class()) }
        });
        Symbol::new(root, self.tones.iter().copied(), bass)
    }

    /// Its tones as written notes, in the order of `tones`.
    pub fn spell(&self) -> Vec<Spelling> {
        self.tones.iter().map(|d| d.spell(self.root)).collect()
    }
}

/// The written names of a root that carries these tones: as the key has it, otherwise with the fewest accidentals in the chord (leaning to
/// sharps where `lean` is positive, to flats where it is negative); the second name only where little separates the two.
pub(crate) fn write_root(class: PitchClass, tones: &[Degree], key: Option<Key>, lean: i32) -> (Spelling, Option<Spelling>) {
    let key_says = key.map(|k| (k.tonic.fifths(), k.spell_class(class)));
    let against = |s: Spelling| {
        let (mut signs, mut doubles) = (0, 0);
        for tone in tones {
            let alter = i32::from(tone.spell(s).alter.abs());
            signs += alter;
            doubles += 6 * i32::from(alter == 2) + 20 * i32::from(alter > 2);
        }
        if let Some((tonic, says)) = key_says {
            return doubles + if s == says { 0 } else { 8 + (s.fifths() - tonic).abs() };
        }
        // B# and E#, Cb and Fb only where a key asks for them.
        let odd = 12 * i32::from(s.alter != 0 && Letter::ALL.iter().any(|l| l.semitones() == i32::from(class.0)));
        2 * signs + doubles + odd + 2 * i32::from(i32::from(s.alter) * lean < 0)
    };
    let all = Letter::ALL.into_iter().flat_map(|letter| [0i8, -1, 1].map(|alter| Spelling::new(letter, alter)));
    let double = key_says.map(|k| k.1).filter(|k| k.alter.abs() > 1);
    // On a tie the plain letter, then the flat; but F#, which lies under a guitarist's hand in the keys of open strings, before Gb.
    let flat_first = if class.0 == 6 { -1 } else { 1 };
    let rank = |&(points, s): &(i32, Spelling)| (points, s.alter.abs(), flat_first * s.alter);
    let mut best: Option<(i32, Spelling)> = None;
    let mut next: Option<(i32, Spelling)> = None;
    for spelling in all.chain(double).filter(|s| s.class() == class) {
        let one = (against(spelling), spelling);
        if best.is_none_or(|b| rank(&one) < rank(&b)) {
            next = best;
            best = Some(one);
        } else if next.is_none_or(|n| rank(&one) < rank(&n)) {
            next = Some(one);
        }
    }
    match best {
        Some((points, spelling)) => {
            let open = |n: &(i32, Spelling)| match key {
                None => n.0 - points <= 4,
                Some(key) => is_open(key, spelling) && is_open(key, n.1),
            };
            (spelling, next.filter(open).map(|n| n.1))
        }
        // Every class has a name with one accidental at most; a class beyond 11 is no class.
        None => (Spelling::new(Letter::C, 0), None),
    }
}

/// Whether a key leaves this name of a note open: no step of it (nor the raised seventh of minor), yet within six fifths down and seven up from its tonic. That
/// holds for both names of the raised tonic and lowered second, and of the raised fourth and lowered fifth; other notes have one name in a key.
fn is_open(key: Key, name: Spelling) -> bool {
    let own = key.scale().iter().any(|s| s.class() == name.class()) || (key.mode == Mode::Minor && name.class() == key.tonic.class().up(-1));
    !own && (-6..=7).contains(&(name.fifths() - key.tonic.fifths()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_root_without_a_key_leans_as_its_neighbours_do() {
        let written = |class: u8, tones: [&str; 3], lean: i32| write_root(PitchClass(class), &tones.map(|t| Degree::parse(t).unwrap()), None, lean).0.to_string();
        // common practice: three accidentals either way; alone E flat minor, and F sharp on a guitar.
        let (minor, major) = (["1", "b3", "5"], ["1", "3", "5"]);
        assert_eq!([-2, 0, 2].map(|lean| written(3, minor, lean)), ["Eb", "Eb", "D#"]);
        assert_eq!([-2, 0, 2].map(|lean| written(6, major, lean)), ["Gb", "F#", "F#"]);
        // Nobody leans to A sharp major; one sign more is leant to, as in D flat minor beside A flat minor.
        assert_eq!([-9, 0, 9].map(|lean| written(10, major, lean)), ["Bb", "Bb", "Bb"]);
        assert_eq!([-9, 0, 9].map(|lean| written(1, minor, lean)), ["Db", "C#", "C#"]);
    }
}
