//! What chords say of the key: how well each stands on its degree, where it resolves, and with what the record begins and ends.
//!
//! # Method
//! A table of how much chords of each family are at home on each degree of major and minor, as textbooks of functional harmony have it (common practice): tonic, dominant
//! and subdominant before their stand-ins, seconds and sixths as minor, sevenths of the dominant family where they lead on. Every chord counts by how long it lasts; a dominant
//! that falls to the tonic counts besides, and so does the tonic at the end and at the beginning. Set by hand, on no record; how much of it counts beside the notes was
//! chosen on players 00 and 01.

/// What a chord's third and seventh make of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Family {
    Major,
    Minor,
    Dominant,
    /// With a minor third and a diminished fifth.
    Diminished,
    /// Without a third.
    Open,
}

impl Family {
    /// Of a chord's tones over its root.
    pub const fn of(tones: &[usize]) -> Family {
        if has(tones, 4) {
            if has(tones, 10) || has(tones, 8) { Family::Dominant } else { Family::Major }
        } else if has(tones, 3) {
            if has(tones, 6) { Family::Diminished } else { Family::Minor }
        } else {
            Family::Open
        }
    }
}

const fn has(tones: &[usize], tone: usize) -> bool {
    let mut k = 0;
    while k < tones.len() {
        if tones[k] == tone {
            return true;
        }
        k += 1;
    }
    false
}

/// A chord over some time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Step {
    pub start_s: f64,
    pub end_s: f64,
    /// C is 0.
    pub root: usize,
    pub family: Family,
}

/// By degree in semitones over the tonic: major, minor, dominant, diminished, open.
const STRANGE: f64 = -0.6;
#[rustfmt::skip]
const MAJOR: [[f64; 5]; 12] = {
    const X: f64 = STRANGE;
    [
        [ 1.5, -1.2,  0.9, X,    0.7],
        [ X,    X,    X,   X,    X],
        [ X,    0.6,  0.1, -0.2, X],
        [ X,    X,    X,   X,    X],
        [ X,    0.3,  0.0, X,    X],
        [ 0.7, -0.2,  0.4, X,    0.3],
        [ X,    X,    X,   X,    X],
        [ 0.8, -0.1,  1.0, X,    0.7],
        [ X,    X,    X,   X,    X],
        [ X,    0.6,  0.2, X,    X],
        [-0.1,  X,    0.1, X,    X],
        [ X,    X,    X,   0.3,  X],
    ]
};
#[rustfmt::skip]
const MINOR: [[f64; 5]; 12] = {
    const X: f64 = STRANGE;
    [
        [-1.0,  1.5, -0.3, X,    0.7],
        [ X,    X,    X,   X,    X],
        [ X,    0.1,  X,   0.6,  X],
        [ 0.5,  X,    0.1, X,    X],
        [ X,    X,    X,   X,    X],
        [ X,    0.8,  0.2, X,    X],
        [ X,    X,    X,   X,    X],
        [ 0.7,  0.4,  1.0, X,    0.6],
        [ 0.6,  X,    0.5, X,    X],
        [ X,    X,    X,   X,    X],
        [ 0.5,  X,    0.4, X,    X],
        [ X,    X,    X,   X,    X],
    ]
};
/// What it is worth, beside its length, that a dominant falls to the tonic; by the tonic's length up to so many seconds.
const FALLS: f64 = 1.5;
const LONGEST_S: f64 = 4.0;
/// That the record begins and ends on the tonic.
const BEGINS: f64 = 0.18;
const ENDS: f64 = 0.3;

/// How much a chord is at home in a key, `mode * 12 + tonic` with major before minor.
pub(crate) fn at_home(key: usize, root: usize, family: Family) -> f64 {
    let table = if key < 12 { &MAJOR } else { &MINOR };
    table[(root + 12 - key % 12) % 12][family as usize]
}

/// How well each of the 24 keys explains the chords, some -0.6 to 2; zeros without any.
pub(crate) fn keys(steps: &[Step]) -> [f64; 24] {
    let length = |s: &Step| (s.end_s - s.start_s).max(0.0);
    let total: f64 = steps.iter().map(length).sum();
    let (Some(first), Some(last)) = (steps.first(), steps.last()) else { return [0.0; 24] };
    if total <= 0.0 {
        return [0.0; 24];
    }
    std::array::from_fn(|key| {
        let tonic = |s: &Step| {
            let own = if key < 12 { Family::Major } else { Family::Minor };
            s.root == key % 12 && (s.family == own || s.family == Family::Open || key < 12 && s.family == Family::Dominant)
        };
        let lasting: f64 = steps.iter().map(|s| length(s) * at_home(key, s.root, s.family)).sum();
        let falls: f64 = steps
            .windows(2)
            .filter(|w| tonic(&w[1]) && (w[0].root + 5) % 12 == key % 12 && matches!(w[0].family, Family::Dominant | Family::Major | Family::Open))
            .map(|w| length(&w[1]).min(LONGEST_S) * if w[1].family == Family::Dominant { 0.5 } else { 1.0 })
            .sum();
        let at_ends = if tonic(first) { BEGINS } else { 0.0 } + if tonic(last) { ENDS } else { 0.0 };
        (lasting + FALLS * falls) / total + at_ends
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use Family::{Diminished, Dominant, Major, Minor, Open};
    use pitch::Key;

    /// Two seconds of each.
    fn best(chords: &[(usize, Family)]) -> String {
        let steps: Vec<Step> = chords.iter().enumerate().map(|(i, (root, family))| Step { start_s: 2.0 * i as f64, end_s: 2.0 * i as f64 + 2.0, root: *root, family: *family }).collect();
        let fit = keys(&steps);
        let k = (0..24).fold(0, |b, k| if fit[k] > fit[b] { k } else { b });
        Key::parse(if k < 12 { "C major" } else { "C minor" }).unwrap().up((k % 12) as i32).to_string()
    }

    #[test]
    fn keys_of_progressions() {
        // common practice: the keys of these.
        for (chords, key) in [
            (&[(2, Minor), (7, Dominant), (0, Major), (0, Major)][..], "C major"),
            (&[(11, Diminished), (4, Dominant), (9, Minor), (9, Minor)], "A minor"),
            // Relatives, by where they come to rest.
            (&[(9, Minor), (5, Major), (0, Major), (7, Major), (0, Major)], "C major"),
            (&[(9, Minor), (7, Major), (5, Major), (4, Dominant), (9, Minor)], "A minor"),
            (&[(9, Dominant), (2, Dominant), (9, Dominant), (4, Dominant), (2, Dominant), (9, Dominant)], "A major"),
            (&[(3, Major), (8, Major), (10, Open), (10, Dominant), (3, Major)], "Eb major"),
            (&[(6, Minor), (2, Major), (4, Major), (6, Minor)], "F# minor"),
        ] {
            assert_eq!(best(chords), key, "{chords:?}");
        }
    }

    #[test]
    fn nothing_says_nothing() {
        assert_eq!(keys(&[]), [0.0; 24]);
        assert_eq!(keys(&[Step { start_s: 1.0, end_s: 1.0, root: 0, family: Major }]), [0.0; 24]);
        // A longer chord counts for more.
        let of = |long_s: f64| keys(&[Step { start_s: 0.0, end_s: 2.0, root: 0, family: Minor }, Step { start_s: 2.0, end_s: 2.0 + long_s, root: 5, family: Major }]);
        assert!(of(8.0)[5] > of(1.0)[5] && of(8.0)[12] < of(1.0)[12]);
    }

    #[test]
    fn families_of_kinds() {
        for (tones, family) in [(&[0, 4, 7][..], Major), (&[0, 4, 7, 11, 2], Major), (&[0, 4, 7, 10], Dominant), (&[0, 4, 8], Dominant), (&[0, 3, 7, 10], Minor), (&[0, 3, 6, 10], Diminished), (&[0, 5, 7, 10], Open), (&[0, 7], Open)] {
            assert_eq!(Family::of(tones), family, "{tones:?}");
        }
    }
}
