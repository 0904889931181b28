//! What one step of a path costs: the marks of a placement, of the hand's move to it, and of what the strings held before.
//!
//! # Conventions
//! A step is a set of notes struck together (often one) with the hand at a position: the fret of the index finger. Each mark is a
//! count or a measure, and the step's cost is their sum, each times its weight. Weights are plain numbers, low is good; only
//! differences mean anything.
//!
//! # Method
//! That one position serves several notes, that moving costs by distance and by the time there is, and that a string rings on until it
//! is struck again are the marks; how much each counts was learned (see `weights`). Marks that look further back than the step before
//! are read from the memory that each partial path carries.

use crate::FRETS_MAX;
use crate::parent::{FORMS_LEN, NO_BASE};
use crate::finger::STRINGS_MAX;
use crate::habit::HABITS;
use crate::stroke::Stroke;

/// Notes struck together are told apart by what surrounds them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A single note among single notes.
    Line,
    /// A single note near chords.
    Between,
    /// Two notes or more.
    Chord,
}

/// One way to put an event's notes on strings.
#[derive(Clone, Debug)]
pub(crate) struct Laid {
    /// String index from the low string, and fret, in the order of the event's notes.
    pub(crate) at: Vec<(u8, u8)>,
    /// Lowest and highest fretted place, (0, 0) where only open strings sound.
    pub(crate) low: u8,
    pub(crate) high: u8,
    /// The fingering's cost in millimetres.
    pub(crate) hand_mm: f64,
    /// Silent strings between sounding ones.
    pub(crate) gaps: u8,
    /// Pairs in which the higher note lies on the lower string.
    pub(crate) crossed: u8,
    /// Parent forms that hold it, by base fret.
    pub(crate) forms: [u8; FORMS_LEN],
    /// How often chords of its intervals lie on its strings elsewhere in the part, as a logarithm; 0 where that is not known.
    pub(crate) shape: f64,
    /// Taken off its cost; 0 but in tuning.
    pub(crate) handicap: f64,
}

/// What a partial path remembers.
#[derive(Clone, Copy)]
pub(crate) struct Memory {
    /// When the last note on each string ends; before all time where none was played.
    pub(crate) ends_s: [f64; STRINGS_MAX],
    /// The fret of that note.
    pub(crate) frets: [u8; STRINGS_MAX],
    /// Last notes, newest at `next - 1`: pitch and string index.
    recent: [(u8, u8); RECENT],
    next: usize,
    /// Forms that hold all strokes since the hand last let go of one.
    forms: [u8; FORMS_LEN],
}

const RECENT: usize = 16;
const NOTHING: u8 = 255;

impl Memory {
    pub(crate) const EMPTY: Memory =
        Memory { ends_s: [f64::NEG_INFINITY; STRINGS_MAX], frets: [0; STRINGS_MAX], recent: [(NOTHING, 0); RECENT], next: 0, forms: [NO_BASE; FORMS_LEN] };

    pub(crate) fn struck(&mut self, laid: &Laid, notes: &[(u8, f64)]) {
        for ((string, fret), (midi, end_s)) in laid.at.iter().zip(notes) {
            self.ends_s[usize::from(*string)] = *end_s;
            self.frets[usize::from(*string)] = *fret;
            self.recent[self.next % RECENT] = (*midi, *string);
            self.next += 1;
        }
        self.forms = self.held(laid).unwrap_or(laid.forms);
    }

    /// Forms that hold `laid` and all strokes before it in the same grip, if there is one.
    fn held(&self, laid: &Laid) -> Option<[u8; FORMS_LEN]> {
        let mut both = self.forms;
        let mut any = false;
        for (b, l) in both.iter_mut().zip(&laid.forms) {
            if b != l {
                *b = NO_BASE;
            }
            any |= *b != NO_BASE;
        }
        any.then_some(both)
    }

    /// How many notes ago `midi` was played last, and on which string.
    fn last(&self, midi: u8) -> Option<(usize, u8)> {
        (1..=RECENT.min(self.next)).find_map(|ago| {
            let (m, s) = self.recent[(self.next - ago) % RECENT];
            (m == midi).then_some((ago, s))
        })
    }
}

/// Takes marks: adds up their cost, or counts them.
pub(crate) trait Marks {
    fn mark(&mut self, which: usize, times: f64);
}

/// The sum of marks times weights.
pub(crate) struct Sum<'a> {
    pub(crate) weights: &'a [f64],
    pub(crate) total: f64,
}

impl Marks for Sum<'_> {
    #[inline]
    fn mark(&mut self, which: usize, times: f64) {
        self.total += self.weights[which] * times;
    }
}

impl Marks for Vec<f64> {
    fn mark(&mut self, which: usize, times: f64) {
        self[which] += times;
    }
}

// Where each group of marks begins. Groups by kind have three blocks.
const FRET_BINS: usize = 4;
const FRET: usize = 0;
const STRING: usize = FRET + 3 * FRET_BINS;
const FINGER: usize = STRING + 3 * 6;
const FINGER_BINS: usize = 8;
const OPEN: usize = FINGER + 3 * FINGER_BINS;
const SHIFT: usize = OPEN + 3 * 4;
const SHIFT_BINS: usize = 8;
const TIME_BINS: usize = 5;
const INTERVAL: usize = SHIFT + 3 * SHIFT_BINS + 2 * TIME_BINS;
const INTERVAL_BINS: usize = 4;
const CROSS_BINS: usize = 8;
const RING: usize = INTERVAL + INTERVAL_BINS * CROSS_BINS;
const RING_BINS: usize = 8;
const LEFT: usize = RING + 3 * RING_BINS;
const AGAIN: usize = LEFT + 3 * RING_BINS;
const SPAN: usize = AGAIN + 6;
const HAND: usize = SPAN + 7;
const KEPT: usize = HAND + 8;
const FORM: usize = KEPT + 12;
const HELD: usize = FORM + 5;
const BASS: usize = HELD + 6;
const STRUM: usize = BASS + 8;
const STALE: usize = STRUM + 2;
const HABIT: usize = STALE + 3 * RING_BINS;
/// Number of marks.
pub(crate) const MARKS: usize = HABIT + 3 * HABITS + 1;

/// Where the marks begin that only the second time through a part has.
#[doc(hidden)]
pub const SECOND: usize = HABIT;

/// Blocks of marks that differ by kind only: where the first kind's begins, and how long it is. The other kinds' follow.
#[doc(hidden)]
pub const BY_KIND: [(usize, usize); 8] = [
    (FRET, FRET_BINS),
    (STRING, 6),
    (FINGER, FINGER_BINS),
    (OPEN, 4),
    (SHIFT, SHIFT_BINS),
    (RING, RING_BINS),
    (LEFT, RING_BINS),
    (STALE, RING_BINS),
];

/// Marks by fret, string and open string, of single notes among single notes and of the others: by these players differ most.
#[doc(hidden)]
pub const BY_PLACE: [&[(usize, usize)]; 3] =
    [&[(FRET, FRET_BINS), (STRING, 6)], &[(FRET + FRET_BINS, 2 * FRET_BINS), (STRING + 6, 12)], &[(OPEN, 12)]];

/// Where tuning starts, and what it keeps to where data say nothing: a string that still rings is not struck for another note, and of two places
/// that are alike in all else the lower one is taken (common practice).
#[doc(hidden)]
pub fn start_weights() -> Vec<f64> {
    let mut w = vec![0.0; MARKS];
    for kind in 0..3 {
        w[RING + kind * RING_BINS..][..3].fill(6.0);
        w[FRET + kind * FRET_BINS + 1] = 0.06;
    }
    w
}

/// Plain costs to compare with: height, leaving the position by a finger, moving, open strings away from the nut; and strings that still ring.
#[doc(hidden)]
pub fn plain_weights() -> Vec<f64> {
    let mut w = start_weights();
    for kind in 0..3 {
        w[FRET + kind * FRET_BINS + 1] = 0.3;
        for finger in [0, 5, 6, 7] {
            w[FINGER + kind * FINGER_BINS + finger] = 1.5;
        }
        for (k, w) in w[SHIFT + kind * SHIFT_BINS..][..SHIFT_BINS].iter_mut().enumerate() {
            *w = 0.6 * k as f64;
        }
        for (k, w) in w[OPEN + kind * 4..][..4].iter_mut().enumerate() {
            *w = 0.5 * k as f64;
        }
    }
    w
}

/// What the placement itself costs, wherever the hand is.
pub(crate) fn mark_laid(out: &mut impl Marks, stroke: &Stroke, laid: &Laid, strings: usize) {
    let k = stroke.kind as usize;
    for (string, fret) in &laid.at {
        let fret_marks = FRET + k * FRET_BINS;
        out.mark(fret_marks, f64::from(u8::from(*fret == 0)));
        out.mark(fret_marks + 1, f64::from(*fret) / 5.0);
        out.mark(fret_marks + 2, f64::from(fret.saturating_sub(7)) / 5.0);
        out.mark(fret_marks + 3, f64::from(fret.saturating_sub(12)) / 5.0);
        // Strings count from the high one; further ones below count as the sixth.
        let from_top = (strings - 1 - usize::from(*string)).min(5);
        out.mark(STRING + k * 6 + from_top, 1.0);
    }
    for ((string, _), habits) in laid.at.iter().zip(&stroke.habits) {
        for (h, x) in habits[usize::from(*string)].iter().enumerate() {
            out.mark(HABIT + k * HABITS + h, -x);
        }
    }
    let n = laid.at.len();
    if n > 1 {
        out.mark(HABIT + 3 * HABITS, -laid.shape);
        out.mark(SPAN + usize::from((laid.high - laid.low).min(6)), 1.0);
        let mm = laid.hand_mm / 50.0;
        out.mark(HAND, mm);
        out.mark(HAND + 1, mm * mm);
        out.mark(HAND + 2, f64::from(laid.gaps));
        out.mark(HAND + 3, f64::from(laid.crossed));
        let part = laid.forms.iter().any(|b| *b != NO_BASE);
        if part {
            out.mark(FORM + n.min(6) - 2, 1.0);
        }
        if n > 3 {
            out.mark(HAND + 4, f64::from(laid.gaps));
            out.mark(HAND + 5, mm);
        }
    }
    if n > 2 {
        let bass = laid.at.iter().map(|a| strings - 1 - usize::from(a.0)).max().unwrap_or(0);
        out.mark(BASS + usize::from(n > 3) * 4 + 5usize.saturating_sub(bass).min(3), 1.0);
        if let Some(off) = strum_off(stroke, laid) {
            out.mark(STRUM + usize::from(n > 3), off);
        }
    }
}

/// How far the order and the times of a strum are from strings crossed at an even pace, 0 to 2; none for notes at the same time.
fn strum_off(stroke: &Stroke, laid: &Laid) -> Option<f64> {
    let mut order = [0usize; STRINGS_MAX];
    let n = laid.at.len().min(STRINGS_MAX);
    for (i, o) in order.iter_mut().enumerate().take(n) {
        *o = i;
    }
    order[..n].sort_by(|a, b| stroke.onsets_s[*a].total_cmp(&stroke.onsets_s[*b]));
    let at = |k: usize| stroke.onsets_s[order[k]];
    let string = |k: usize| f64::from(laid.at[order[k]].0);
    let (time_s, across) = (at(n - 1) - at(0), string(n - 1) - string(0));
    if time_s < 0.004 {
        return None;
    }
    let off: f64 = (1..n).map(|k| ((at(k) - at(k - 1)) / time_s - (string(k) - string(k - 1)) / across).abs()).sum();
    Some(off.min(2.0))
}

/// What the placement costs with the hand at `position`, beyond what it costs anywhere.
pub(crate) fn mark_position(out: &mut impl Marks, kind: Kind, laid: &Laid, position: u8) {
    let k = kind as usize;
    for (_, fret) in &laid.at {
        if *fret == 0 {
            let far = match position {
                0..=2 => 0,
                3..=4 => 1,
                5..=7 => 2,
                _ => 3,
            };
            out.mark(OPEN + k * 4 + far, 1.0);
        } else {
            let finger = (i32::from(*fret) - i32::from(position) + 1).clamp(0, FINGER_BINS as i32 - 1) as usize;
            out.mark(FINGER + k * FINGER_BINS + finger, 1.0);
        }
    }
}

/// What moving the hand by `frets` costs, with `gap_s` seconds between the strokes.
pub(crate) fn mark_shift(out: &mut impl Marks, kind: Kind, frets: u8, gap_s: f64) {
    let far = match frets {
        n @ 0..=4 => usize::from(n),
        5..=6 => 5,
        7..=9 => 6,
        _ => 7,
    };
    let time = match gap_s {
        t if t < 0.16 => 0,
        t if t < 0.32 => 1,
        t if t < 0.64 => 2,
        t if t < 1.3 => 3,
        _ => 4,
    };
    out.mark(SHIFT + kind as usize * SHIFT_BINS + far, 1.0);
    // The less time, the more each move costs: any move at all, and its length.
    if frets > 0 {
        let hurry = SHIFT + 3 * SHIFT_BINS + 2 * time;
        out.mark(hurry, 1.0);
        out.mark(hurry + 1, f64::from(frets.min(12)) / 4.0);
    }
}

/// Which mark the time makes for which a string has been silent at a stroke; below 0 it still rings, and striking it would cut it
/// off. A note that ends just as the next begins had to give way to it; how long before the next a note ends otherwise is the player's way
/// of letting go, which differs from one to the other and tells nothing. Times that meet within half a millisecond are written and not
/// played; they stand apart.
fn silence_bin(silent_s: f64) -> Option<usize> {
    match silent_s {
        t if t.abs() < 0.0005 => Some(7),
        t if t < -0.1 => Some(0),
        t if t < -0.02 => Some(1),
        t if t < -0.001 => Some(2),
        t if t < 0.007 => Some(3),
        t if t < 0.2 => None,
        t if t < 0.6 => Some(4),
        t if t < 2.0 => Some(5),
        _ => Some(6),
    }
}

/// What the strings' past makes of it: `before` is the placement of the step before, `notes` pitch and end of each note now.
pub(crate) fn mark_past(
    out: &mut impl Marks,
    kind: Kind,
    memory: &Memory,
    (old, old_notes): (&Laid, &[(u8, f64)]),
    laid: &Laid,
    notes: &[(u8, f64)],
    onset_s: f64,
) {
    let k = kind as usize;
    for ((string, _), (midi, _)) in laid.at.iter().zip(notes) {
        if let Some(bin) = silence_bin(onset_s - memory.ends_s[usize::from(*string)]) {
            out.mark(RING + k * RING_BINS + bin, 1.0);
        }
        if kind == Kind::Line
            && let Some((ago, s)) = memory.last(*midi)
        {
            let age = if ago <= 2 {
                0
            } else if ago <= 6 {
                1
            } else {
                2
            };
            out.mark(AGAIN + age * 2 + usize::from(s != *string), 1.0);
        }
    }
    if kind != Kind::Line {
        let held = memory.held(laid).is_some();
        out.mark(HELD + k * 2 + usize::from(held), 1.0);
    }
    // Strings that are left alone: of the step before, and further back.
    for (string, end_s) in memory.ends_s.iter().enumerate() {
        let silent_s = onset_s - end_s;
        if silent_s > 0.6 || laid.at.iter().any(|(s, _)| usize::from(*s) == string) {
            continue;
        }
        let block = if old.at.iter().any(|(s, _)| usize::from(*s) == string) { LEFT } else { STALE };
        if let Some(bin) = silence_bin(silent_s) {
            out.mark(block + k * RING_BINS + bin, 1.0);
        }
    }
    if laid.at.len() == 1 && old.at.len() == 1 {
        let by = i32::from(notes[0].0) - i32::from(old_notes[0].0);
        let strings = i32::from(laid.at[0].0) - i32::from(old.at[0].0);
        let size = match by.abs() {
            0 => 0,
            1..=2 => 1,
            3..=4 => 2,
            _ => 3,
        };
        // Strings crossed in the direction of the pitch.
        let across = (if by < 0 { -strings } else if by == 0 { strings.abs() } else { strings }).clamp(-3, 4) + 3;
        out.mark(INTERVAL + size * CROSS_BINS + across as usize, 1.0);
    }
    if laid.at.len() > 1 || old.at.len() > 1 {
        let both = laid.at.len() > 1 && old.at.len() > 1;
        let block = KEPT + if both { 0 } else { 6 };
        let mut same_strings = 0;
        let mut same_place = 0;
        let mut moves: Option<i32> = None;
        let mut parallel = both && laid.at.len() == old.at.len();
        for (s, f) in &laid.at {
            match old.at.iter().find(|(t, _)| t == s) {
                Some((_, g)) => {
                    same_strings += 1;
                    same_place += i32::from(f == g);
                    let by = i32::from(*f) - i32::from(*g);
                    parallel &= *moves.get_or_insert(by) == by;
                }
                None => parallel = false,
            }
        }
        let n = laid.at.len().min(old.at.len());
        out.mark(block, f64::from(same_strings));
        out.mark(block + 1, f64::from(same_place));
        if same_strings as usize == n && laid.at.len() == old.at.len() {
            out.mark(block + 2, 1.0);
        }
        if parallel {
            out.mark(block + 3, 1.0);
        }
        let top = |l: &Laid| l.at.iter().map(|(s, _)| *s).max().unwrap_or(0);
        let bottom = |l: &Laid| l.at.iter().map(|(s, _)| *s).min().unwrap_or(0);
        out.mark(block + 4, f64::from(top(laid).abs_diff(top(old))));
        out.mark(block + 5, f64::from(bottom(laid).abs_diff(bottom(old))));
    }
}

/// Positions from which `laid` can be played, lowest first: the index finger from well below its lowest place to just above it.
pub(crate) fn positions(laid: &Laid) -> std::ops::RangeInclusive<u8> {
    if laid.high == 0 {
        return 1..=FRETS_MAX.min(18);
    }
    let from = laid.high.saturating_sub(4).max(1).min(laid.low);
    let to = if laid.at.len() == 1 { laid.low + 1 } else { laid.low };
    from..=to
}
