//! Sets of pitch classes, as twelve bits.

use crate::PitchClass;

/// A set of pitch classes. Bit 0 is C.
///
/// ```
/// use pitch::{Classes, PitchClass, Symbol};
/// let a_minor_seventh = Symbol::parse("Am7").unwrap().classes();
/// let c_sixth = Symbol::parse("C6").unwrap().classes();
/// assert_eq!(a_minor_seventh, c_sixth); // the same four notes
/// assert!(c_sixth.holds(PitchClass(9)));
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Classes(u16);

impl Classes {
    /// No class at all.
    pub const EMPTY: Classes = Classes(0);

    /// From twelve bits, bit 0 = C; higher bits are dropped.
    pub const fn from_bits(bits: u16) -> Classes {
        Classes(bits & 0xfff)
    }

    /// The twelve bits.
    pub const fn bits(self) -> u16 {
        self.0
    }

    /// Whether `class` is in it.
    pub fn holds(self, class: PitchClass) -> bool {
        self.0 >> (class.0 % 12) & 1 == 1
    }

    /// Whether all of `other` is in it.
    pub fn contains(self, other: Classes) -> bool {
        other.0 & !self.0 == 0
    }

    /// This set and `class`.
    pub fn with(self, class: PitchClass) -> Classes {
        Classes(self.0 | 1 << (class.0 % 12))
    }

    /// This set without `class`.
    pub fn without(self, class: PitchClass) -> Classes {
        Classes(self.0 & !(1 << (class.0 % 12)))
    }

    /// What is in either.
    pub fn union(self, other: Classes) -> Classes {
        Classes(self.0 | other.0)
    }

    /// What is in this and not in `other`.
    pub fn minus(self, other: Classes) -> Classes {
        Classes(self.0 & !other.0)
    }

    /// The bits as seen from `root`: bit 0 is the root.
    pub fn over(self, root: PitchClass) -> u16 {
        let r = u32::from(root.0 % 12);
        (self.0 >> r | self.0 << (12 - r)) & 0xfff
    }

    /// How many.
    pub fn len(self) -> usize {
        self.0.count_ones() as usize
    }

    /// Whether there is none.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// From C up.
    pub fn iter(self) -> impl Iterator<Item = PitchClass> {
        (0..12).map(PitchClass).filter(move |&c| self.holds(c))
    }
}

impl FromIterator<PitchClass> for Classes {
    fn from_iter<T: IntoIterator<Item = PitchClass>>(iter: T) -> Classes {
        iter.into_iter().fold(Classes::EMPTY, Classes::with)
    }
}
