//! Every way of reading a set of sounding classes as a chord on one root, as sets of degrees; and what speaks against each.
//!
//! # Method
//! Over the root, each semitone is given a place: a third (or what stands for it), a fifth, a sixth or seventh, and the notes on top. Where
//! a semitone has two places (6 semitones: b5 or #11), both are tried. What the trade takes for granted though it does not sound (a third,
//! a fifth, the ninth under a thirteenth) is put in, and is found again as left out. Nothing here is learned; the weights are set by hand so that
//! the table of tests holds, in points, where one more left-out fifth is 1 and a note that is no part of the usual chord about 14.

use crate::Degree;

/// Degrees that a name can hold, in the order of their bits.
pub(crate) const TABLE: [Degree; 20] = [
    Degree::new(1, 0),
    Degree::new(2, 0),
    Degree::new(3, -1),
    Degree::new(3, 0),
    Degree::new(4, 0),
    Degree::new(5, -1),
    Degree::new(5, 0),
    Degree::new(5, 1),
    Degree::new(6, -1),
    Degree::new(6, 0),
    Degree::new(7, -2),
    Degree::new(7, -1),
    Degree::new(7, 0),
    Degree::new(9, -1),
    Degree::new(9, 0),
    Degree::new(9, 1),
    Degree::new(11, 0),
    Degree::new(11, 1),
    Degree::new(13, -1),
    Degree::new(13, 0),
];

/// Semitones of the table's degrees, folded into one octave.
const SEMITONES: [u8; 20] = [0, 2, 3, 4, 5, 6, 7, 8, 8, 9, 9, 10, 11, 1, 2, 3, 5, 6, 8, 9];

pub(crate) const ROOT: u32 = 1;
pub(crate) const SECOND: u32 = 1 << 1;
pub(crate) const MINOR: u32 = 1 << 2;
pub(crate) const MAJOR: u32 = 1 << 3;
pub(crate) const FOURTH: u32 = 1 << 4;
pub(crate) const FLAT5: u32 = 1 << 5;
pub(crate) const FIFTH: u32 = 1 << 6;
pub(crate) const SHARP5: u32 = 1 << 7;
pub(crate) const FLAT6: u32 = 1 << 8;
pub(crate) const SIXTH: u32 = 1 << 9;
pub(crate) const DOUBLE7: u32 = 1 << 10;
pub(crate) const FLAT7: u32 = 1 << 11;
pub(crate) const SEVENTH: u32 = 1 << 12;
pub(crate) const FLAT9: u32 = 1 << 13;
pub(crate) const NINTH: u32 = 1 << 14;
pub(crate) const SHARP9: u32 = 1 << 15;
pub(crate) const ELEVENTH: u32 = 1 << 16;
pub(crate) const SHARP11: u32 = 1 << 17;
pub(crate) const FLAT13: u32 = 1 << 18;
pub(crate) const THIRTEENTH: u32 = 1 << 19;

/// The altered dominant: third, seventh, both altered fifths and both altered ninths.
pub(crate) const ALTERED: u32 = ROOT | MAJOR | FLAT5 | SHARP5 | FLAT7 | FLAT9 | SHARP9;

/// The degrees that `over` can sound (bit 0 = the root).
pub(crate) fn present(over: u16) -> u32 {
    const BY_SEMITONE: [u32; 12] = {
        let mut by = [0; 12];
        let mut i = 0;
        while i < SEMITONES.len() {
            by[SEMITONES[i] as usize] |= 1 << i;
            i += 1;
        }
        by
    };
    (0..12).filter(|n| over >> n & 1 == 1).fold(0, |set, n| set | BY_SEMITONE[n])
}

/// The table places of a set of degrees.
pub(crate) fn each(tones: u32) -> impl Iterator<Item = usize> {
    (0..TABLE.len()).filter(move |i| tones >> i & 1 == 1)
}

/// Calls `out` with each set of degrees that holds all of `over` (bit 0 = the root, which need not sound).
pub(crate) fn readings(over: u16, out: &mut impl FnMut(u32)) {
    let has = |n: u32| over >> n & 1 == 1;
    if has(10) && has(11) {
        return; // two sevenths: not one chord on this root
    }
    let seventh = if has(10) {
        FLAT7
    } else if has(11) {
        SEVENTH
    } else {
        0
    };
    if over & !0b1000_0001 == 0 {
        out(ROOT | FIFTH);
    }
    let thirds: &[u32] = match (has(4), has(3), has(5), has(2)) {
        (true, ..) => &[MAJOR],
        (_, true, ..) => &[MINOR],
        (_, _, true, true) if seventh == 0 => &[FOURTH | SECOND],
        (_, _, true, _) => &[FOURTH],
        (_, _, _, true) if seventh == 0 => &[SECOND],
        (_, _, _, true) => &[SECOND, MAJOR, MINOR],
        _ => &[MAJOR, MINOR],
    };
    for &third in thirds {
        // Each choice: fifths, and which of 6 and 8 semitones they use up.
        let fifths: &[(u32, u16)] = match (has(7), has(6), has(8)) {
            (true, ..) | (_, false, false) => &[(FIFTH, 0)],
            (_, true, false) if third == MAJOR => &[(FLAT5, 1 << 6), (FIFTH, 0)],
            (_, true, false) => &[(FLAT5, 1 << 6)],
            (_, false, true) if third == MAJOR => &[(SHARP5, 1 << 8), (FIFTH, 0)],
            (_, false, true) => &[(FIFTH, 0)],
            (_, true, true) if third == MAJOR => &[(FLAT5 | SHARP5, 1 << 6 | 1 << 8), (SHARP5, 1 << 8), (FLAT5, 1 << 6), (FIFTH, 0)],
            (_, true, true) => &[(FLAT5, 1 << 6)],
        };
        for &(fifth, used) in fifths {
            out(ROOT | third | fifth | seventh | on_top(over & !used, third, fifth, seventh));
        }
    }
    let altered = 0b0001_0100_1010;
    if seventh == FLAT7 && has(4) && over & !(altered | 1 | 1 << 4 | 1 << 10) == 0 && (over & altered).count_ones() >= 2 {
        out(ALTERED);
    }
}

/// The places of everything that third, fifth and seventh do not hold.
fn on_top(over: u16, third: u32, fifth: u32, mut seventh: u32) -> u32 {
    let has = |n: u32| over >> n & 1 == 1;
    let mut top = 0;
    let mut put = |there: bool, tone: u32| {
        if there {
            top |= tone;
        }
    };
    if has(9) && seventh == 0 {
        if third == MINOR && fifth == FLAT5 {
            seventh = DOUBLE7;
            put(true, DOUBLE7);
        } else {
            put(true, SIXTH);
        }
    }
    let full = seventh == FLAT7 || seventh == SEVENTH;
    put(has(9) && full, THIRTEENTH);
    put(has(1), FLAT9);
    put(has(2) && third & SECOND == 0, NINTH);
    put(has(3) && third != MINOR, SHARP9);
    put(has(5) && third & FOURTH == 0, ELEVENTH);
    put(has(6), SHARP11);
    put(has(8), if full { FLAT13 } else { FLAT6 });
    // What the name implies below its highest figure.
    let ninths = FLAT9 | NINTH | SHARP9;
    if full && top & (THIRTEENTH | ELEVENTH) != 0 && top & ninths == 0 && third & SECOND == 0 {
        top |= NINTH;
    }
    if full && third == MINOR && top & THIRTEENTH != 0 && top & (ELEVENTH | SHARP11) == 0 {
        top |= ELEVENTH;
    }
    top
}

/// Points against a set of degrees in itself: how far it is from the everyday chord.
pub(crate) fn strangeness(tones: u32) -> i32 {
    let is = |t: u32| tones & t != 0;
    if tones == ALTERED {
        return 13;
    }
    let (major, minor) = (is(MAJOR), is(MINOR));
    let sus = is(FOURTH | SECOND);
    let b7 = is(FLAT7);
    let maj7 = is(SEVENTH);
    let dominant = major && b7;
    let pick = |cases: &[(bool, i32)], other: i32| cases.iter().find(|c| c.0).map_or(other, |c| c.1);
    let mut points = match (is(SECOND), is(FOURTH)) {
        (true, true) => 8,
        (true, false) => 6,
        (false, true) => 5 - 2 * i32::from(b7),
        _ if major || minor => 0,
        _ => 2,
    };
    points += match (is(FLAT5), is(SHARP5)) {
        (true, true) => 9,
        (true, false) => pick(&[(minor, pick(&[(b7 || is(DOUBLE7), 3), (maj7, 3)], 6)), (dominant, 6), (major && maj7, 7), (major, 11)], 15),
        (false, true) => pick(&[(b7, 5), (maj7, 6)], 7),
        _ => 0,
    };
    if b7 {
        points += 3;
    }
    if maj7 {
        points += pick(&[(major, 4), (minor, 8)], 9);
    }
    let full = b7 || maj7;
    if is(SIXTH) {
        points += pick(&[(sus, 10), (is(FLAT5 | SHARP5), 10), (minor, 6)], 5);
    }
    if is(NINTH) {
        points += pick(&[(is(FOURTH) && b7, 1), (full, 2), (is(DOUBLE7), 8), (is(SIXTH) && !is(FOURTH), 2), (minor, 6)], 5);
    }
    if is(ELEVENTH) {
        points += pick(&[(minor && full, 3), (full, 9), (is(DOUBLE7), 8), (minor, 7)], 8);
    }
    if is(THIRTEENTH) {
        points += pick(&[(dominant && is(FLAT5), 5), (dominant || sus && b7, 3), (is(FLAT5), 12), (minor, 6)], 3);
    }
    if is(FLAT9) {
        points += pick(&[(dominant, 5), (sus && b7, 7), (is(DOUBLE7), 14), (minor && b7, 14)], 17);
    }
    if is(SHARP9) {
        points += pick(&[(dominant, 5)], 17);
    }
    if is(SHARP11) {
        points += pick(&[(dominant, 5), (major && maj7, 4), (major, 10)], 14);
    }
    if is(FLAT13) {
        points += pick(&[(dominant, 5), (minor && b7, 8), (sus && b7, 8)], 14);
    }
    if is(FLAT6) {
        points += pick(&[(minor && !is(FLAT5), 12)], 16);
    }
    points
}

/// Points against what is left out: `missing` are degrees of the name that nobody sounds, `sounding` how many different notes there are.
pub(crate) fn gaps(tones: u32, missing: u32, sounding: u32) -> i32 {
    if tones == ALTERED {
        let root = if missing & ROOT != 0 { 13 } else { 0 };
        return root + (missing & !ROOT).count_ones() as i32;
    }
    let mut points = 0;
    if missing & ROOT != 0 {
        // Third and seventh together tell a dominant without its root.
        let tells = tones & (MAJOR | FLAT7) == MAJOR | FLAT7 && missing & (MAJOR | FLAT7) == 0;
        points += if tells { 7 } else { 10 };
    }
    if missing & (MAJOR | MINOR) != 0 {
        points += match () {
            _ if tones & FLAT5 != 0 => 16,
            _ if tones & (FLAT7 | SEVENTH | SIXTH) != 0 => 7,
            _ => 11,
        };
    }
    if missing & (FIFTH | FLAT5 | SHARP5) != 0 {
        points += if sounding < 3 { 3 } else { 1 };
        // Without its fifth a sixth chord is the triad a third below.
        if tones & SIXTH != 0 && tones & NINTH == 0 {
            points += if tones & MINOR != 0 { 6 } else { 4 };
        }
        // And a raised eleventh is heard as the fifth itself, lowered, unless a thirteenth stands above it.
        if tones & SHARP11 != 0 && tones & THIRTEENTH == 0 {
            points += 3;
        }
    }
    points + (missing & !(ROOT | MAJOR | MINOR | FIFTH | FLAT5 | SHARP5)).count_ones() as i32
}

/// Points against a bass note that many semitones over the root.
pub(crate) fn bass_points(tones: u32, interval: u32, rootless: bool) -> i32 {
    let holds = |t: u32, n: u32| tones & t != 0 && interval == n;
    if interval == 0 {
        return 0;
    }
    let points = if holds(MAJOR, 4) || holds(MINOR, 3) {
        6
    } else if holds(FIFTH, 7) || (holds(FLAT5, 6) && tones & MINOR != 0) {
        5
    } else if holds(FLAT5, 6) || holds(SHARP5, 8) {
        8
    } else if holds(FLAT7, 10) || holds(SEVENTH, 11) || holds(SECOND, 2) || holds(FOURTH, 5) {
        8
    } else if holds(SIXTH, 9) || holds(DOUBLE7, 9) {
        9
    } else {
        13
    };
    if rootless { points.min(3) } else { points }
}
