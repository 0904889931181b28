//! The fretting hand: how far its fingers reach along the neck, in millimetres, and what each thing asked of it costs.
//!
//! # Conventions
//! Distances run along the neck between the frets that two fingers stop. Costs are millimetres of stretch beyond a hand at
//! rest; everything else that makes a grip harder (a barre, the little finger, a string to be kept silent) is given as
//! the stretch that a player would rather have instead.
//!
//! # References
//! That a grip's cost is made of stretch between neighbouring fingers and of the barre follows D. P. Radicioni and
//! V. Lombardo, "Computational modeling of chord fingering for string instruments", CogSci 2005. The numbers are our own:
//! reach from memory of adult hands, weights set so that the fingerings printed in method books come first (common practice,
//! see the table in `finger`'s tests).

use crate::Finger;

/// Reach of a fretting hand: the longest distances along the neck at which two fingers both still stop a string.
#[derive(Clone, Debug, PartialEq)]
pub struct Hand {
    /// What a sentence calls it: "small", "usual", "large".
    pub name: &'static str,
    pub index_middle_mm: f64,
    pub index_ring_mm: f64,
    pub index_little_mm: f64,
    pub middle_ring_mm: f64,
    pub middle_little_mm: f64,
    pub ring_little_mm: f64,
    /// The thumb, round the neck, from the lowest-placed finger; `None` where the thumb is not to be used.
    pub thumb_mm: Option<f64>,
}

impl Hand {
    /// An adult hand of middling size (values from memory): index to little finger spans frets 1 to 4 with ease, 2 to 6 at a stretch.
    ///
    /// ```
    /// use neck::{finger, Grip, Hand, Instrument};
    /// let guitar = Instrument::guitar();
    /// let five_frets_low = Grip::parse("1 x x 5 x x").unwrap();
    /// assert!(finger(&five_frets_low, &guitar, &Hand::usual()).is_err());
    /// // The same five frets are closer together up the neck.
    /// let five_frets_high = Grip::parse("7 x x 11 x x").unwrap();
    /// assert!(finger(&five_frets_high, &guitar, &Hand::usual()).is_ok());
    /// ```
    pub const fn usual() -> Hand {
        Hand {
            name: "usual",
            index_middle_mm: 70.0,
            index_ring_mm: 98.0,
            index_little_mm: 122.0,
            middle_ring_mm: 60.0,
            middle_little_mm: 92.0,
            ring_little_mm: 60.0,
            thumb_mm: Some(40.0),
        }
    }

    /// A small hand: frets 1 to 4 are its limit, and it does not reach round the neck with the thumb (from memory).
    pub const fn small() -> Hand {
        Hand {
            name: "small",
            index_middle_mm: 67.0,
            index_ring_mm: 82.0,
            index_little_mm: 100.0,
            middle_ring_mm: 45.0,
            middle_little_mm: 74.0,
            ring_little_mm: 48.0,
            thumb_mm: None,
        }
    }

    /// A large hand: frets 1 to 5 (from memory).
    pub const fn large() -> Hand {
        Hand {
            name: "large",
            index_middle_mm: 80.0,
            index_ring_mm: 112.0,
            index_little_mm: 140.0,
            middle_ring_mm: 68.0,
            middle_little_mm: 106.0,
            ring_little_mm: 68.0,
            thumb_mm: Some(50.0),
        }
    }

    /// The longest distance between two fingers in millimetres; for the thumb, from any finger. 0 where one is not used.
    pub fn reach_mm(&self, a: Finger, b: Finger) -> f64 {
        use Finger::{Index, Little, Middle, Ring, Thumb};
        match if a <= b { (a, b) } else { (b, a) } {
            (_, Thumb) => self.thumb_mm.unwrap_or(0.0),
            (Index, Middle) => self.index_middle_mm,
            (Index, Ring) => self.index_ring_mm,
            (Index, Little) => self.index_little_mm,
            (Middle, Ring) => self.middle_ring_mm,
            (Middle, Little) => self.middle_little_mm,
            (Ring, Little) => self.ring_little_mm,
            _ => 0.0,
        }
    }
}

/// Distance of neighbouring fingertips in a hand at rest (about one fret between the third and the fifth; from memory).
pub(crate) const REST_MM: f64 = 30.0;
/// Share of the rest distance by which fingers are pressed together that counts as stretch.
pub(crate) const SQUEEZE: f64 = 0.2;
/// Each finger that is put down.
pub(crate) const FINGER_MM: f64 = 3.0;
/// The little finger on top of that.
pub(crate) const LITTLE_MM: f64 = 4.0;
/// The thumb on top of that: rarely printed, so it comes first only where nothing else is at hand.
pub(crate) const THUMB_MM: f64 = 40.0;
/// A barre over two strings, by finger 1, 2, 3, 4.
pub(crate) const BARRE_MM: [f64; 4] = [6.0, 15.0, 14.0, 16.0];
/// Each further string under a barre.
pub(crate) const BARRE_STRING_MM: f64 = 3.0;
/// Each string under a barre that another finger stops higher up, by the barre's finger.
pub(crate) const BARRE_PASSED_MM: [f64; 4] = [5.0, 15.0, 15.0, 15.0];
/// Each string under a barre that must not sound.
pub(crate) const BARRE_MUTED_MM: f64 = 15.0;
/// A barre beyond whose end a higher string sounds at a lower fret, so that the finger must arch over it.
pub(crate) const BARRE_ARCHED_MM: [f64; 4] = [25.0, 40.0, 40.0, 40.0];
/// A silent string between sounding ones, where the finger on the next lower string can lean against it.
pub(crate) const LEANT_ON_MM: f64 = 6.0;
/// A silent string between sounding ones that nothing leans against.
pub(crate) const HELD_OFF_MM: f64 = 12.0;
/// For each fret between the hand and first position, in a grip with open strings.
pub(crate) const FROM_FIRST_MM: f64 = 1.0;
