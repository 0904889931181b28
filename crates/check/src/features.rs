//! What can be said of one pitch at one stroke: the numbers that the judgement in `evidence` is made from.
//!
//! # Method
//! Spectra of three window lengths from the stroke on and two before it, flattened by the record's own colour, and the rise from before to after; all taken apart
//! into pitches (`templates`). A pitch is described by its weights beside those of the pitches that could be taken for it (semitones, octaves, twelfths), by
//! the height, rise and sharpness of its first partials, and by which of these belong to other written notes too.

use crate::spectra::{Lens, Place, RATE_HZ, Sound};
use crate::templates::{LOWEST, PITCHES, Templates, colour};

const LONG: usize = 8_192;
const MIDDLE: usize = 4_096;
const SHORT: usize = 2_048;
/// The windows before a stroke end this long before it.
const LEAD_S: f64 = 0.006;

/// Pitches below this one (27.5 Hz) are never judged.
const DEEPEST: i32 = 21;

/// How many numbers describe a pitch at a stroke.
pub(crate) const FEATURES: usize = 70;

/// Templates of all window lengths for one tuning, for pitches from the lowest on.
pub(crate) struct Combs {
    lowest: i32,
    long: Templates,
    middle: Templates,
    short: Templates,
}

impl Combs {
    pub fn new(cents: f64) -> Combs {
        Combs::from(cents, LOWEST)
    }

    fn from(cents: f64, lowest: i32) -> Combs {
        let of = |size| Templates::new(size, cents, lowest);
        Combs { lowest, long: of(LONG), middle: of(MIDDLE), short: of(SHORT) }
    }

    /// Those of an instrument whose lowest string these do not reach; `None` where they do.
    pub fn deeper(cents: f64, low: i32) -> Option<Combs> {
        (low < LOWEST).then(|| Combs::from(cents, low.max(DEEPEST)))
    }
}

/// A stroke as heard: spectra and weights.
pub(crate) struct Heard {
    long: Vec<f32>,
    after: Vec<f32>,
    before: Vec<f32>,
    w_long: [f32; PITCHES],
    w_after: [f32; PITCHES],
    w_before: [f32; PITCHES],
    w_rise: [f32; PITCHES],
    w_short: [f32; PITCHES],
    w_short_rise: [f32; PITCHES],
    /// The strongest weight after.
    top: f32,
    top_rise: f32,
    top_short: f32,
    /// The loudest bin after.
    loudest: f32,
    /// Broad rise of the short window, in nepers.
    onset: f32,
    gap_before_s: f32,
    gap_after_s: f32,
}

impl Heard {
    /// What of this stroke is new, the flattened spectrum's rise over all pitches.
    pub fn newness(&self) -> f32 {
        self.onset
    }
}

/// Listens to strokes at the given times (seconds, rising) from one place; of what has no pitches alone the short windows, for how much is new.
pub(crate) fn listen(sound: &Sound, place: Place, combs: &Combs, times: &[f64], pitched: bool) -> Vec<Heard> {
    let weights = |t: &Templates, spectrum: &[f32]| if pitched { t.weights(spectrum) } else { [0.0; PITCHES] };
    let mut lens = Lens::new();
    let frame = |t: f64| (t * f64::from(RATE_HZ)).round() as i64;
    let bins = |size: usize| [(LONG, &combs.long), (MIDDLE, &combs.middle), (SHORT, &combs.short)].iter().find(|c| c.0 == size).map_or(size / 2, |c| c.1.bins) + 1;
    let mut look = |from: i64, size: usize| {
        let mut out = Vec::new();
        lens.look_to(sound, place, from, size, bins(size), &mut out);
        out
    };
    let raw: Vec<[Vec<f32>; 5]> = times
        .iter()
        .map(|t| {
            let (on, before) = (frame(*t), frame(*t - LEAD_S));
            let tonal = if pitched { [look(on, LONG), look(on, MIDDLE), look(before - MIDDLE as i64, MIDDLE)] } else { Default::default() };
            let [long, after, earlier] = tonal;
            [long, after, earlier, look(on, SHORT), look(before - SHORT as i64, SHORT)]
        })
        .collect();
    let colours: Vec<Vec<f32>> = [(0, &combs.long), (1, &combs.middle), (3, &combs.short)]
        .iter()
        .map(|(n, t)| colour(&raw.iter().map(|r| r[*n].clone()).collect::<Vec<_>>(), t.bins))
        .collect();
    let mut heard: Vec<Heard> = raw
        .into_iter()
        .enumerate()
        .map(|(n, [long, after, before, short, short_before])| {
            let flat = |s: Vec<f32>, c: &[f32]| -> Vec<f32> { s.iter().zip(c).map(|(a, b)| a * b).collect() };
            let rise = |a: &[f32], b: &[f32]| -> Vec<f32> { a.iter().zip(b).map(|(a, b)| (a - b).max(0.0)).collect() };
            let (long, after, before) = (flat(long, &colours[0]), flat(after, &colours[1]), flat(before, &colours[1]));
            let (short, short_before) = (flat(short, &colours[2]), flat(short_before, &colours[2]));
            let sum = |s: &[f32]| s.iter().sum::<f32>();
            let onset = libm::logf((sum(&short) + 1e-7) / (sum(&short_before) + 1e-7)).clamp(-2.0, 3.0);
            let w_after = weights(&combs.middle, &after);
            let w_rise = weights(&combs.middle, &rise(&after, &before));
            let w_short = weights(&combs.short, &short);
            let gap = |d: f64| (d.clamp(0.0, 1.0)) as f32;
            Heard {
                w_long: weights(&combs.long, &long),
                w_before: weights(&combs.middle, &before),
                w_short_rise: weights(&combs.short, &rise(&short, &short_before)),
                top: top(&w_after),
                top_rise: top(&w_rise),
                top_short: top(&w_short),
                loudest: after.iter().fold(0.0, |m, v| v.max(m)),
                w_after,
                w_rise,
                w_short,
                long,
                after,
                before,
                onset,
                gap_before_s: gap(n.checked_sub(1).map_or(1.0, |p| times[n] - times[p])),
                gap_after_s: gap(times.get(n + 1).map_or(1.0, |t| t - times[n])),
            }
        })
        .collect();
    // Strokes much softer than the rest are held against the rest, or their noise would pass for notes.
    let mut tops: Vec<[f32; 4]> = heard.iter().map(|h| [h.top, h.top_rise, h.top_short, h.loudest]).collect();
    let mut least = [0.0f32; 4];
    for (n, l) in least.iter_mut().enumerate() {
        tops.sort_by(|a, b| a[n].total_cmp(&b[n]));
        *l = tops.get(tops.len() / 2).map_or(1e-9, |t| 0.15 * t[n]).max(1e-9);
    }
    for h in &mut heard {
        h.top = h.top.max(least[0]);
        h.top_rise = h.top_rise.max(least[1]);
        h.top_short = h.top_short.max(least[2]);
        h.loudest = h.loudest.max(least[3]);
    }
    heard
}

fn top(weights: &[f32; PITCHES]) -> f32 {
    weights.iter().fold(0.0, |m, w| w.max(m))
}

/// 0 for a thousandth of the reference or less, 1 for the reference.
fn log(x: f32, reference: f32) -> f32 {
    libm::log10f(x / reference + 1e-3) / 3.0 + 1.0
}

/// The numbers for a pitch (MIDI) at a stroke; `others` are the other pitches written there, struck or ringing, of all parts in the same seat. All zero for a pitch out of range.
pub(crate) fn features(combs: &Combs, h: &Heard, midi: i32, others: &[i32]) -> [f32; FEATURES] {
    let mut out = [0.0f32; FEATURES];
    let p = midi - combs.lowest;
    if !(0..PITCHES as i32).contains(&p) {
        return out;
    }
    let mut n = 0;
    let mut put = |v: f32| {
        out[n] = v;
        n += 1;
    };
    let near = |w: &[f32; PITCHES], d: i32, reference: f32| -> f32 {
        let q = p + d;
        if (0..PITCHES as i32).contains(&q) { log(w[q as usize], reference) } else { 0.0 }
    };
    for d in [0, -1, 1, -12, 12, -19, 19, -24, -7, 7, -2, 2] {
        put(near(&h.w_after, d, h.top));
    }
    for d in [0, -1, 1, -12, 12, -19, -24] {
        put(near(&h.w_rise, d, h.top_rise));
    }
    for d in [0, -1, 1, -12, 12, -19] {
        put(near(&h.w_long, d, h.top));
    }
    for d in [0, -12, 12] {
        put(near(&h.w_before, d, h.top));
    }
    for d in [0, -12, 12] {
        put(near(&h.w_short, d, h.top_short));
    }
    for d in [0, -12, 12] {
        put(near(&h.w_short_rise, d, h.top_short));
    }
    let p = p as usize;
    for k in 0..7 {
        let (a, b) = (combs.middle.level(&h.after, p, k), combs.middle.level(&h.before, p, k));
        put(log(a, h.loudest));
        put((libm::log10f((a + 1e-3 * h.loudest) / (b + 1e-3 * h.loudest)) / 1.5).clamp(-1.0, 1.5));
    }
    for k in 0..5 {
        put(combs.long.peak(&h.long, p, k));
    }
    for k in 1..=6 {
        // Near a partial of another written note?
        let place = f64::from(midi) + 12.0 * libm::log2(f64::from(k));
        let shared = others.iter().filter(|o| **o != midi).any(|o| (1..=8).any(|j| (f64::from(*o) + 12.0 * libm::log2(f64::from(j)) - place).abs() < 0.4));
        put(f32::from(u8::from(shared)));
    }
    let has = |d: i32| f32::from(u8::from(others.contains(&(midi + d))));
    put(has(-12));
    put(has(12));
    put(has(-19).max(has(-24)));
    put((midi as f32 - 60.0) / 24.0);
    put(others.len().min(8) as f32 / 8.0);
    put(h.onset);
    put(h.gap_before_s);
    put(h.gap_after_s);
    // Rank of its weight among all.
    let above = |w: &[f32; PITCHES]| w.iter().filter(|x| **x > w[p]).count().min(12) as f32 / 12.0;
    put(above(&h.w_after));
    put(above(&h.w_rise));
    put(above(&h.w_long));
    debug_assert_eq!(n, FEATURES);
    out
}
