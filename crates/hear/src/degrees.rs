//! What chords say of the key: how well each stands on its degree, where it resolves, and with what the record begins and ends.
//!
//! # Method
//! A table of how much chords of each family are at home on each degree of major and minor, as textbooks of functional harmony have it (common practice):
//! tonic, dominant and subdominant before their stand-ins, seconds and sixths as minor, sevenths of the dominant family where they lead on. Chords count by
//! how long they last and as far as they are likely, for where no bass plays the roots the likeliest is often wrong. A dominant that falls to the tonic counts
//! besides, and so does the tonic at the end and at the beginning. A tonic with a minor seventh is that of a blues, whose subdominant has one, too: the two
//! together speak for the lower one (common practice of the blues), where functional harmony would hear a dominant and what it falls to. The table was set by
//! hand, on no record; what the rules beside it count was chosen on pieces of the kind that `checks/hear/pieces.py` makes: progressions of textbooks and of
//! functional harmony in many ways of playing.

use pitch::Key;

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

const ALL: [Family; FAMILIES] = [Family::Major, Family::Minor, Family::Dominant, Family::Diminished, Family::Open];

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

/// What sounds over some time, as far as it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Step {
    pub start_s: f64,
    pub end_s: f64,
    /// How likely each root (C first) and family is; together at most 1.
    pub likely: [[f64; FAMILIES]; 12],
}

pub(crate) const FAMILIES: usize = 5;

/// A chord that has no place in the key.
const STRANGE: f64 = -0.6;
/// By degree in semitones over the tonic, then by family in the order of [`Family`].
#[rustfmt::skip]
const MAJOR: [[f64; FAMILIES]; 12] = {
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
const MINOR: [[f64; FAMILIES]; 12] = {
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
/// That two dominant sevenths a fourth apart sound as tonic and subdominant of a blues, by the geometric mean of how long.
const BLUES: f64 = 2.0;
/// That the record begins and ends on the tonic.
const BEGINS: f64 = 0.4;
const ENDS: f64 = 0.3;

/// A key's number among major and minor, `mode * 12 + tonic`; dorian counts as minor, mixolydian as major.
pub(crate) fn number(key: Key) -> usize {
    let minor = key.scale()[2].class() == key.tonic.class().up(3);
    usize::from(key.tonic.class().0) + if minor { 12 } else { 0 }
}

/// How much a chord is at home in a key, `mode * 12 + tonic` with major before minor.
pub(crate) fn at_home(key: usize, root: usize, family: Family) -> f64 {
    let table = if key < 12 { &MAJOR } else { &MINOR };
    table[(root + 12 - key % 12) % 12][family as usize]
}

fn length(s: &Step) -> f64 {
    (s.end_s - s.start_s).max(0.0)
}

/// How clear the chords are, 0 to 1: one less the entropy of their likelihoods as a share of its most, by length. A melody leaves many chords possible, a
/// strummed grip few.
pub(crate) fn clear(steps: &[Step]) -> f64 {
    let total: f64 = steps.iter().map(length).sum();
    if total <= 0.0 {
        return 0.0;
    }
    let most = libm::log((12 * FAMILIES) as f64);
    let entropy = |s: &Step| s.likely.iter().flatten().filter(|p| **p > 0.0).map(|p| -p * libm::log(*p)).sum::<f64>() / most;
    steps.iter().map(|s| length(s) * (1.0 - entropy(s))).sum::<f64>() / total
}

/// What chords over some time hold, whatever the key.
pub(crate) struct Progression {
    /// 0 to 1 ([`clear`]).
    pub clear: f64,
    /// How long each root and family lasts, as a share of all.
    shares: [[f64; FAMILIES]; 12],
    /// From each root to the next, and from each dominant seventh to what lies a fifth below, by the length of what comes after.
    moves: [[f64; 12]; 12],
    falls: [f64; 12],
    /// Of the record's first and last step, zeros where they are not among these.
    first: [[f64; FAMILIES]; 12],
    last: [[f64; FAMILIES]; 12],
}

/// Numbers that [`Progression::over`] gives of a tonic.
pub(crate) const OVER: usize = 12 * (4 * FAMILIES + 12 + 1);

impl Progression {
    /// Of steps that are a part of `all`.
    pub fn new(steps: &[Step], all: &[Step]) -> Progression {
        let none = [[0.0; FAMILIES]; 12];
        let mut held = Progression { clear: clear(steps), shares: none, moves: [[0.0; 12]; 12], falls: [0.0; 12], first: none, last: none };
        let total: f64 = steps.iter().map(length).sum();
        if total <= 0.0 {
            return held;
        }
        for s in steps {
            let share = length(s) / total;
            held.shares.iter_mut().flatten().zip(s.likely.iter().flatten()).for_each(|(h, l)| *h += share * l);
        }
        let roots = |s: &Step| s.likely.map(|f| f.iter().sum::<f64>());
        for w in steps.windows(2) {
            let share = length(&w[1]).min(LONGEST_S) / total;
            let (from, to) = (roots(&w[0]), roots(&w[1]));
            for a in 0..12 {
                held.moves[a].iter_mut().zip(&to).for_each(|(m, t)| *m += share * from[a] * t);
                held.falls[a] += share * w[0].likely[a][Family::Dominant as usize] * to[(a + 5) % 12];
            }
        }
        let (begins, ends) = ends_of(steps, all);
        held.first = steps.first().filter(|_| begins).map_or(none, |s| s.likely);
        held.last = steps.last().filter(|_| ends).map_or(none, |s| s.likely);
        held
    }

    /// All of it by degrees over a tonic: shares, shares as far as the chords are clear, moves, falls, the first step, the last.
    pub fn over(&self, tonic: usize) -> impl Iterator<Item = f64> + '_ {
        let at = move |d: usize| (tonic + d) % 12;
        let table = move |t: &[[f64; FAMILIES]; 12]| (0..12).flat_map(|d| t[at(d)]).collect::<Vec<f64>>();
        let shares = table(&self.shares);
        let clear: Vec<f64> = shares.iter().map(|s| s * self.clear).collect();
        let moves = (0..12).flat_map(move |a| (0..12).map(move |b| self.moves[at(a)][at(b)]));
        let falls = (0..12).map(move |d| self.falls[at(d)]);
        shares.into_iter().chain(clear).chain(moves).chain(falls).chain(table(&self.first)).chain(table(&self.last))
    }
}

/// Whether steps are those at the beginning and at the end of all.
fn ends_of(steps: &[Step], all: &[Step]) -> (bool, bool) {
    let later = |(a, s): (&Step, &Step)| a.start_s < s.start_s;
    let sooner = |(a, s): (&Step, &Step)| a.end_s > s.end_s;
    (!all.first().zip(steps.first()).is_some_and(later), !all.last().zip(steps.last()).is_some_and(sooner))
}

/// How well each of the 24 keys explains chords, some -0.6 to 2; zeros without any. They are a part of `all`, of which the beginning and the end count.
pub(crate) fn keys(steps: &[Step], all: &[Step]) -> [f64; 24] {
    let total: f64 = steps.iter().map(length).sum();
    let (Some(first), Some(last)) = (steps.first(), steps.last()) else { return [0.0; 24] };
    if total <= 0.0 {
        return [0.0; 24];
    }
    let (begins, ends) = ends_of(steps, all);
    let (begins, ends) = (if begins { BEGINS } else { 0.0 }, if ends { ENDS } else { 0.0 });
    let sevenths: [f64; 12] = std::array::from_fn(|root| steps.iter().map(|s| length(s) * s.likely[root][Family::Dominant as usize]).sum::<f64>() / total);
    std::array::from_fn(|key| {
        let home = |s: &Step| (0..12).map(|root| ALL.iter().map(|f| s.likely[root][*f as usize] * at_home(key, root, *f)).sum::<f64>()).sum::<f64>();
        // How likely a step is the tonic, and what falls to it.
        let [own, open, seventh] = [if key < 12 { Family::Major } else { Family::Minor }, Family::Open, Family::Dominant].map(|f| f as usize);
        let plain = |s: &Step| s.likely[key % 12][own] + s.likely[key % 12][open];
        let blues = |s: &Step| if key < 12 { s.likely[key % 12][seventh] } else { 0.0 };
        let leading = |s: &Step| [Family::Dominant, Family::Major, Family::Open].iter().map(|f| s.likely[(key + 7) % 12][*f as usize]).sum::<f64>();
        let lasting: f64 = steps.iter().map(|s| length(s) * home(s)).sum();
        let falls: f64 = steps.windows(2).map(|w| leading(&w[0]) * (plain(&w[1]) + 0.5 * blues(&w[1])) * length(&w[1]).min(LONGEST_S)).sum();
        let tonic = |s: &Step| plain(s) + blues(s);
        let two = if key < 12 { libm::sqrt(sevenths[key] * sevenths[(key + 5) % 12]) } else { 0.0 };
        (lasting + FALLS * falls) / total + BLUES * two + begins * tonic(first) + ends * tonic(last)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use Family::{Diminished, Dominant, Major, Minor, Open};

    fn step(start_s: f64, end_s: f64, root: usize, family: Family) -> Step {
        let mut likely = [[0.0; FAMILIES]; 12];
        likely[root][family as usize] = 1.0;
        Step { start_s, end_s, likely }
    }

    /// Two seconds of each.
    fn best(chords: &[(usize, Family)]) -> String {
        let steps: Vec<Step> = chords.iter().enumerate().map(|(i, (root, family))| step(2.0 * i as f64, 2.0 * i as f64 + 2.0, *root, *family)).collect();
        let fit = keys(&steps, &steps);
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
    fn a_blues_is_no_chain_of_dominants() {
        let [i, iv, v] = [(0, Dominant), (5, Dominant), (7, Dominant)];
        // common practice: twelve bars on dominant sevenths alone, to the tonic, with the turn to the dominant, and twice from the fifth bar on.
        let form = [i, i, i, i, iv, iv, i, i, v, iv, i, i];
        assert_eq!(best(&form), "C major");
        assert_eq!(best(&[i, iv, i, i, iv, iv, i, i, v, iv, i, v]), "C major");
        assert_eq!(best(&[&form[4..], &form[..]].concat()), "C major");
        // Dominants that lead on remain dominants.
        assert_eq!(best(&[(9, Minor), (2, Dominant), (7, Dominant), (0, Major), (2, Dominant), (7, Dominant), (0, Major)]), "C major");
        assert_eq!(best(&[(4, Dominant), (9, Dominant), (2, Dominant), (7, Dominant), (0, Major), (0, Major)]), "C major");
    }

    #[test]
    fn only_the_record_s_own_ends_are_ends() {
        let all: Vec<Step> = (0..4).map(|i| step(f64::from(i), f64::from(i) + 1.0, 0, Major)).collect();
        let fit = |part: &[Step]| keys(part, &all)[0];
        assert!((fit(&all[..2]) - fit(&all[1..3]) - BEGINS).abs() < 1e-9);
        assert!((fit(&all[2..]) - fit(&all[1..3]) - ENDS).abs() < 1e-9);
    }

    #[test]
    fn what_chords_hold_is_the_same_over_any_tonic() {
        let chords = [(2, Minor), (7, Dominant), (0, Major), (0, Major)];
        let steps = |up: usize| -> Vec<Step> { chords.iter().enumerate().map(|(i, (root, family))| step(2.0 * i as f64, 2.0 * i as f64 + 2.0, (root + up) % 12, *family)).collect() };
        let over = |up: usize, tonic: usize| Progression::new(&steps(up), &steps(up)).over(tonic).collect::<Vec<f64>>();
        let own = over(0, 0);
        assert_eq!(own.len(), OVER);
        assert!((1..12).all(|up| over(up, up) == own) && over(0, 7) != own);
        // A quarter on the second, a quarter on the fifth, half on the tonic; all of it clear; three moves of two seconds in eight, of which one is a dominant's fall.
        let part = |from: usize, n: usize| &own[from..from + n];
        let (shares, clear, moves, falls) = (part(0, 60), part(60, 60), part(120, 144), part(264, 12));
        assert_eq!((shares[0], shares[2 * FAMILIES + 1], shares[7 * FAMILIES + 2]), (0.5, 0.25, 0.25));
        assert_eq!(shares, clear);
        assert_eq!((moves[2 * 12 + 7], moves[7 * 12], moves[0], moves.iter().sum::<f64>()), (0.25, 0.25, 0.25, 0.75));
        assert_eq!((falls[7], falls.iter().sum::<f64>()), (0.25, 0.25));
        let (first, last) = (part(276, 60), part(336, 60));
        assert_eq!((first[2 * FAMILIES + 1], last[0], first.iter().chain(last).sum::<f64>()), (1.0, 1.0, 2.0));
        // Inside a record there are no ends, and nothing holds nothing.
        assert_eq!(Progression::new(&steps(0)[1..3], &steps(0)).over(0).skip(276).sum::<f64>(), 0.0);
        assert_eq!(Progression::new(&[], &[]).over(3).sum::<f64>(), 0.0);
    }

    #[test]
    fn what_is_clear() {
        let sure = step(0.0, 3.0, 7, Minor);
        let any = Step { start_s: 3.0, end_s: 4.0, likely: [[1.0 / (12 * FAMILIES) as f64; FAMILIES]; 12] };
        assert!((clear(&[sure]) - 1.0).abs() < 1e-9 && clear(&[any]).abs() < 1e-9 && clear(&[]) == 0.0);
        assert!((clear(&[sure, any]) - 0.75).abs() < 1e-9);
        let mut of_two = sure;
        of_two.likely = [[0.0; FAMILIES]; 12];
        (of_two.likely[0][0], of_two.likely[9][1]) = (0.5, 0.5);
        assert!((0.8..0.9).contains(&clear(&[of_two])));
    }

    #[test]
    fn nothing_says_nothing() {
        assert_eq!(keys(&[], &[]), [0.0; 24]);
        assert_eq!(keys(&[step(1.0, 1.0, 0, Major)], &[]), [0.0; 24]);
        // A longer chord counts for more.
        let of = |long_s: f64| keys(&[step(0.0, 2.0, 0, Minor), step(2.0, 2.0 + long_s, 5, Major)], &[]);
        assert!(of(8.0)[5] > of(1.0)[5] && of(8.0)[12] < of(1.0)[12]);
    }

    #[test]
    fn families_of_kinds() {
        for (tones, family) in [(&[0, 4, 7][..], Major), (&[0, 4, 7, 11, 2], Major), (&[0, 4, 7, 10], Dominant), (&[0, 4, 8], Dominant), (&[0, 3, 7, 10], Minor), (&[0, 3, 6, 10], Diminished), (&[0, 5, 7, 10], Open), (&[0, 7], Open)] {
            assert_eq!(Family::of(tones), family, "{tones:?}");
        }
    }
}
