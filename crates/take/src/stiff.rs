//! What speaks for a note's string in how its partials are stretched.
//!
//! # Conventions
//! B is the coefficient of a stiff string: partial k of a string whose fundamental without stiffness is f lies at k f sqrt(1 + B k^2). Logarithms of B are to base 2.
//!
//! # Method
//! B grows with the stopped string's thickness and shrinks with the square of its length: b + fret / 6 in octaves, b being the open string's. The same pitch on the next
//! string differs by a factor of two to six, so that B tells strings apart where pitch cannot. For each note a curve is measured: how far the spectrum stands over its
//! surroundings where the partials would be, for each B, tuned as serves that B best; where another note's partials lie nothing counts. A take has six strings and one b for
//! each, found together with which note lies on which string (expectation and maximisation), between what strings are made of ([`WOUND`], [`PLAIN`]: with a wound and with a plain
//! third string) and a share of notes that fit nowhere.
//!
//! # References
//! H. Fletcher, E. D. Blackham, R. Stratton, "Quality of piano tones", JASA 34, 1962 (B from a string's measures, eq. 3). I. Barbancho, L. J. Tardón, S. Sammartino,
//! A. M. Barbancho, "Inharmonicity-based method for the automatic generation of guitar tablature", IEEE TASLP 20(6), 2012. J. Abeßer, "Automatic string detection for bass
//! guitar and electric guitar", CMMR 2012. Ours is another estimate, by likelihood over the whole take, since notes sound together and strings are not known beforehand.

use crate::expected::{alone, believed};
use crate::heard::TakenNote;
use crate::network::STRINGS;
use crate::spectra::RATE_HZ;
use crate::stay::by_position;
use crate::write_out::{Settings, TOGETHER_S, places};
use lesson::Attack;
use neck::{Instrument, Unplaced};
use std::collections::BTreeMap;
use wave::fft::{RealFft, hann};

/// Samples of the transform; the window is the longest of [`LENGTHS`] that the note holds.
const SIZE: usize = 8192;
const LENGTHS: [usize; 7] = [1024, 1448, 2048, 2896, 4096, 5792, 8192];
/// Steps between two bins at which the spectrum is read.
const FINE: usize = 4;
/// Seconds from the onset to where a note is looked at, and to where it is looked at no more.
const AFTER_S: f64 = 0.015;
const UNTIL_S: f64 = 0.4;
/// Octaves of B, from 2^`LEAST_B` in steps of `STEP_B`.
const LEAST_B: f64 = -18.0;
const STEP_B: f64 = 0.125;
const CURVE: usize = 80;
/// Partials, and up to what frequency.
const PARTIALS: usize = 30;
const TOP_HZ: f64 = 9_000.0;
/// Cents to either side by which a note may be out of tune, and steps.
const OFF_CENTS: i32 = 20;
const OFF_STEP: usize = 2;
/// Width of the surroundings, and how much a partial counts at most (natural logarithm of power over theirs).
const AROUND_HZ: f64 = 200.0;
const MOST: f32 = 8.0;

/// Open strings' B, low to high, as strings of usual make have it: computed from core and tension (steel, scale 648 mm) and measured on the development excerpt and on the
/// open samples by string. A wound and a plain third string.
const WOUND: [f64; 6] = [1.1e-4, 5.5e-5, 4.7e-5, 2.7e-5, 6.3e-5, 2.0e-5];
const PLAIN: [f64; 6] = [1.2e-4, 6.0e-5, 4.7e-5, 1.1e-4, 4.2e-5, 1.45e-5];
const OPEN: [f64; 6] = [40.0, 45.0, 50.0, 55.0, 59.0, 64.0];
/// How far single strings differ from that, and a whole set's gauge, in octaves (standard deviation).
const OWN: [f64; 6] = [0.3, 0.3, 0.3, 0.25, 0.15, 0.15];
const GAUGE: f64 = 0.25;
/// Places of b that are weighed: so far to either side, in octaves.
const FAR: f64 = 1.2;
const PLACES: usize = 49;
/// How much a curve's rise by one counts as a logarithm of likelihood; set, like what is below, on takes made here of the open samples by string and of partials by formula.
const SHARP: f32 = 0.3;
/// How much a string counts where the hand was not put, before B is known.
const ELSEWHERE: f64 = 0.5;
/// The same where the hand is tried a string beside where it was put.
const BESIDE: f64 = 0.2;
/// No string is thought to be less likely than this before B is known.
const LEAST: f64 = 1e-3;
/// The share of notes that fit nowhere when strings are held against none.
const STRAY: f64 = 0.1;
/// How much sooner a take is believed to have been played on strings than not, as a logarithm: it is a guitar, after all.
const GUITAR: f64 = 3.0;
/// A note is not hammered or pulled to from the stroke before, or slid to, if it is less likely than this that both lie on one string: slides are surer, since what sounds between is heard.
const APART: f64 = 0.02;
const APART_SLID: f64 = 0.002;
/// Most notes that b is found from.
const ENOUGH: usize = 600;
const ROUNDS: usize = 8;

/// One note's curve over B; flat where nothing could be measured.
type Curve = [f32; CURVE];

/// A curve for each note, in order of their onsets; times of notes and samples have the same beginning.
fn curves(samples: &[f32], a4_hz: f64, notes: &[TakenNote]) -> Vec<Curve> {
    let windows: Vec<Vec<f32>> = LENGTHS
        .iter()
        .map(|l| {
            let mut w = hann(*l);
            w.resize(SIZE, 0.0);
            w
        })
        .collect();
    let mut fft = RealFft::new(SIZE);
    let (mut cut, mut magnitudes, mut fine) = (vec![0.0f32; SIZE], Vec::new(), Vec::new());
    let stretched: Vec<f64> = (0..CURVE).map(|i| libm::exp2(LEAST_B + STEP_B * i as f64)).collect();
    notes
        .iter()
        .map(|n| {
            let from = ((n.onset_s + AFTER_S) * f64::from(RATE_HZ)).max(0.0) as usize;
            let to = (n.offset_s.min(n.onset_s + UNTIL_S) * f64::from(RATE_HZ)).max(0.0) as usize;
            let i = LENGTHS.iter().rposition(|l| *l <= to.saturating_sub(from)).unwrap_or(0);
            for (k, c) in cut.iter_mut().enumerate() {
                *c = if k < LENGTHS[i] { samples.get(from + k).copied().unwrap_or(0.0) } else { 0.0 };
            }
            fft.magnitudes(&cut, &windows[i], &mut magnitudes);
            stand_out(&magnitudes, &mut fine);
            let hz = |midi: u8| a4_hz * libm::exp2((f64::from(midi) - 69.0) / 12.0);
            let end_s = n.offset_s.min(n.onset_s + 0.3);
            for o in notes.iter().take_while(|o| o.onset_s < end_s).filter(|o| o.midi != n.midi && o.offset_s > n.onset_s + 0.03) {
                blank(&mut fine, hz(o.midi.0), LENGTHS[i]);
            }
            curve(&fine, hz(n.midi.0), &stretched)
        })
        .collect()
}

/// Fine bins a hertz.
const FINE_A_HZ: f64 = (SIZE * FINE) as f64 / RATE_HZ as f64;

/// How far the spectrum stands over its surroundings, 0 to [`MOST`], in fine bins.
fn stand_out(magnitudes: &[f32], fine: &mut Vec<f32>) {
    let level: Vec<f32> = magnitudes.iter().map(|m| 2.0 * libm::logf(m + 1e-7)).collect();
    let half = (AROUND_HZ * SIZE as f64 / f64::from(RATE_HZ) / 2.0) as usize;
    let mut middle: Vec<f32> = Vec::new();
    let mut part: Vec<f32> = Vec::new();
    let mut at = 0;
    while at + 2 * half <= level.len() {
        part.clear();
        part.extend_from_slice(&level[at..at + 2 * half]);
        let (_, m, _) = part.select_nth_unstable_by(half, f32::total_cmp);
        middle.push(*m);
        at += half;
    }
    let over: Vec<f32> = level
        .iter()
        .enumerate()
        .map(|(i, l)| {
            let x = (i as f32 / half as f32 - 1.0).clamp(0.0, (middle.len() - 1) as f32);
            let (a, t) = (x as usize, x - libm::floorf(x));
            l - (middle[a] * (1.0 - t) + middle[(a + 1).min(middle.len() - 1)] * t)
        })
        .collect();
    fine.clear();
    let last = over.len() - 1;
    for i in 0..=last {
        let (p0, p1, p2, p3) = (over[i.saturating_sub(1)], over[i], over[(i + 1).min(last)], over[(i + 2).min(last)]);
        for j in 0..FINE {
            let x = j as f32 / FINE as f32;
            // Catmull and Rom's curve through the bins.
            let v = p1 + 0.5 * x * (p2 - p0 + x * (2.0 * p0 - 5.0 * p1 + 4.0 * p2 - p3 + x * (3.0 * (p1 - p2) + p3 - p0)));
            fine.push(v.clamp(0.0, MOST));
        }
    }
}

/// Takes out where the partials of another note may be.
fn blank(fine: &mut [f32], hz: f64, length: usize) {
    let wide = 1.2 * f64::from(RATE_HZ) / length as f64;
    for k in (1..).map(f64::from).take_while(|k| k * hz < TOP_HZ) {
        let at = |b: f64, off: f64| ((k * hz * (1.0 + b * k * k).sqrt() + off) * FINE_A_HZ).max(0.0) as usize;
        let (from, to) = (at(3e-5, -wide), at(1.5e-4, wide).min(fine.len() - 1));
        if from < fine.len() {
            fine[from..=to].fill(0.0);
        }
    }
}

fn curve(fine: &[f32], hz: f64, stretched: &[f64]) -> Curve {
    let mut out = [0.0f32; CURVE];
    let partials = ((TOP_HZ / hz) as usize).min(PARTIALS);
    let tunings: Vec<f64> = (-OFF_CENTS..=OFF_CENTS).step_by(OFF_STEP).map(|c| hz * libm::exp2(f64::from(c) / 1200.0) * FINE_A_HZ).collect();
    let top = TOP_HZ * FINE_A_HZ;
    for (o, b) in out.iter_mut().zip(stretched) {
        let ratios: Vec<f64> = (1..=partials).map(|k| k as f64).map(|k| k * (1.0 + b * k * k).sqrt()).collect();
        *o = tunings.iter().map(|t| ratios.iter().map(|r| r * t).take_while(|x| *x < top).map(|x| fine[(x + 0.5) as usize]).sum::<f32>()).fold(0.0, f32::max);
    }
    out
}

/// Strings and frets of the notes, whose evidence for strings is joined with that of their partials and of where the hand lies around them. Twice: what is known of B tells where the hand
/// is, and the hand tells more of B. Only for guitars of six strings; else, and for no notes, the evidence stays as it was.
///
/// # Errors
/// [`Unplaced`]: a note that the instrument does not have.
pub(crate) fn placed(samples: &[f32], a4_hz: f64, notes: &mut [TakenNote], settings: &Settings) -> Result<Vec<(u8, u8)>, Unplaced> {
    let at = places(notes, settings)?;
    if settings.bass || settings.instrument.strings() != STRINGS || notes.is_empty() {
        return Ok(at);
    }
    let curves = curves(samples, a4_hz, notes);
    joined(&curves, notes, settings, at)
}

/// The same from the notes' curves, and from where they lie by the network's evidence alone.
fn joined(curves: &[Curve], notes: &mut [TakenNote], settings: &Settings, mut at: Vec<(u8, u8)>) -> Result<Vec<(u8, u8)>, Unplaced> {
    let over = notes_over(notes, &settings.instrument);
    let pitches: Vec<u8> = notes.iter().map(|n| n.midi.0).collect();
    let heard: Vec<[f64; STRINGS]> = notes.iter().map(|n| if n.strings.len() == STRINGS { std::array::from_fn(|s| n.strings[s].max(0.0) + LEAST) } else { [1.0; STRINGS] }).collect();
    // What the network says of strings, as far as it is to be gone by.
    let alone = alone(notes);
    let believed = believed(notes, &alone, &settings.instrument);
    let weighed: Vec<[f64; STRINGS]> = heard.iter().zip(&alone).map(|(h, alone)| if *alone { h.map(|h| libm::pow(h, believed)) } else { *h }).collect();
    for round in 0..2 {
        // Where the hand was put, or so many strings beside it: a whole take a string off is where the search ends up otherwise.
        let put = |i: usize, s: usize, beside: i32| match beside {
            _ if STRINGS as i32 - s as i32 + beside == i32::from(at[i].0) => 1.0,
            0 => ELSEWHERE,
            _ => BESIDE,
        };
        let thought = |list: &[[f64; STRINGS]], beside: i32| -> Vec<[f64; STRINGS]> { list.iter().enumerate().map(|(i, h)| std::array::from_fn(|s| h[s] * put(i, s, beside))).collect() };
        let mut thoughts = vec![thought(&heard, 0), thought(&weighed, 0)];
        if round == 0 {
            let nothing = vec![[1.0; STRINGS]; notes.len()];
            thoughts.extend([1, -1].map(|beside| thought(&nothing, beside)));
        }
        let fits = strings(curves, &pitches, &thoughts, &over);
        for ((n, w), fits) in notes.iter_mut().zip(&weighed).zip(&fits) {
            n.strings = w.iter().zip(fits).map(|(w, f)| w * f).collect();
        }
        let known: Vec<Vec<f64>> = notes.iter().map(|n| n.strings.clone()).collect();
        let [by, decided] = by_position(notes, &known, &settings.instrument);
        let both = |by: &[[f64; STRINGS]]| -> Vec<Vec<f64>> { known.iter().zip(by).map(|(k, by)| k.iter().zip(by).map(|(k, by)| k * by).collect()).collect() };
        let open = both(&by);
        part_from_others(notes, &open);
        notes.iter_mut().zip(both(&decided)).for_each(|(n, p)| n.strings = p);
        at = places(notes, settings)?;
        // What is told of the strings leaves open what is open.
        notes.iter_mut().zip(open).for_each(|(n, p)| n.strings = p);
    }
    Ok(at)
}

/// A note that is slid, hammered or pulled to lies on a string of the stroke before; where what is known of both their strings speaks against that, it was struck.
fn part_from_others(notes: &mut [TakenNote], strings: &[Vec<f64>]) {
    let share = |i: usize, s: usize| {
        let all: f64 = strings[i].iter().sum();
        if all > 0.0 { strings[i][s] / all } else { 0.0 }
    };
    let mut before: Vec<usize> = Vec::new();
    let mut now: Vec<usize> = Vec::new();
    for i in 0..notes.len() {
        if now.first().is_some_and(|j| notes[i].onset_s - notes[*j].onset_s >= TOGETHER_S) {
            before = std::mem::take(&mut now);
        }
        now.push(i);
        let same: f64 = (0..STRINGS).map(|s| share(i, s) * before.iter().map(|j| share(*j, s)).sum::<f64>().min(1.0)).sum();
        let least = match notes[i].attack {
            Attack::Struck => continue,
            Attack::Slid => APART_SLID,
            _ => APART,
        };
        if !before.is_empty() && same < least {
            notes[i].attack = Attack::Struck;
        }
    }
}

/// For each note, string by string, how far in octaves its B lies over that of the open string at usual tension; none where the string does not have it. A string tuned lower is slacker,
/// and its B the greater by the square of that.
fn notes_over(notes: &[TakenNote], instrument: &Instrument) -> Vec<[Option<f64>; STRINGS]> {
    let over = |midi: u8, s: usize| {
        let open = instrument.tuning.open[s].0;
        let fret = midi.checked_sub(open).filter(|f| *f >= instrument.capo && *f <= instrument.capo + instrument.top_fret())?;
        Some((f64::from(fret) + OPEN[s] - f64::from(open)) / 6.0)
    };
    notes.iter().map(|n| std::array::from_fn(|s| over(n.midi.0, s))).collect()
}

/// How well each note's curve fits each string, by the B of strings that all of them together speak for: 1 is a curve that says nothing, and so do all where six strings explain the take
/// worse than none. `thoughts`: what may be known of the strings otherwise, one way or the other.
fn strings(curves: &[Curve], pitches: &[u8], thoughts: &[Vec<[f64; STRINGS]>], over: &[[Option<f64>; STRINGS]]) -> Vec<[f64; STRINGS]> {
    // Each curve as a likelihood that is 1 on the mean.
    let likely: Vec<Vec<f32>> = curves
        .iter()
        .map(|c| {
            let top = c.iter().copied().fold(0.0, f32::max);
            let e: Vec<f32> = c.iter().map(|v| libm::expf(SHARP * (v - top))).collect();
            let mean = e.iter().sum::<f32>() / CURVE as f32;
            e.iter().map(|e| e / mean).collect()
        })
        .collect();
    let few: Vec<usize> = (0..curves.len()).step_by(curves.len().div_ceil(ENOUGH).max(1)).collect();
    let few_pitches: Vec<u8> = few.iter().map(|i| pitches[*i]).collect();
    let usuals = [WOUND, PLAIN].map(|make| make.map(libm::log2));
    let rows = usuals.map(|usual| -> Vec<Row> { few.iter().map(|i| row(&likely[*i], &usual, &over[*i])).collect() });
    let mut best: Option<(f64, Found)> = None;
    for thought in thoughts {
        let known: Vec<[f64; STRINGS]> = few.iter().map(|i| thought[*i]).collect();
        let mut found: Option<(&Vec<Row>, Found)> = None;
        for (usual, rows) in usuals.iter().zip(&rows) {
            for gauge in [-0.3, 0.0, 0.3] {
                let f = fit(rows, &known, *usual, gauge);
                if found.as_ref().is_none_or(|b| f.score > b.1.score) {
                    found = Some((rows, f));
                }
            }
        }
        if let Some((rows, f)) = found {
            let explained = f.explains(rows, &few_pitches);
            if best.as_ref().is_none_or(|b| explained > b.0) {
                best = Some((explained, f));
            }
        }
    }
    let Some((explained, found)) = best else { return vec![[1.0; STRINGS]; curves.len()] };
    let without: f64 = without_strings(&few.iter().map(|i| likely[*i].as_slice()).collect::<Vec<_>>(), &few_pitches);
    let odds = explained - without + GUITAR;
    let trust = 1.0 / (1.0 + libm::exp((-odds).clamp(-50.0, 50.0)));
    likely.iter().zip(over).map(|(l, o)| found.fits(&row(l, &found.usual, o)).map(|f| if f > 0.0 { libm::pow(f, trust) } else { 0.0 })).collect()
}

/// Likelihood of a take, as a logarithm, by a B of its own for each pitch and anywhere: what there is without strings.
fn without_strings(likely: &[&[f32]], pitches: &[u8]) -> f64 {
    let mut sums: BTreeMap<u8, [f64; CURVE]> = BTreeMap::new();
    for (l, pitch) in likely.iter().zip(pitches) {
        let sum = sums.entry(*pitch).or_insert([0.0; CURVE]);
        sum.iter_mut().zip(l.iter()).for_each(|(sum, e)| *sum += libm::log(STRAY + (1.0 - STRAY) * f64::from(*e)));
    }
    sums.values().map(|logs| mean_of_logs(logs)).sum()
}

/// The logarithm of the mean of what these are logarithms of; none counts as nothing.
fn mean_of_logs(logs: &[f64]) -> f64 {
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if top.is_finite() { top + libm::log(logs.iter().map(|l| libm::exp(l - top)).sum::<f64>() / logs.len() as f64) } else { 0.0 }
}

/// A curve, read where each string's B may lie: [`PLACES`] a string, none where the string does not have the note.
type Row = [Option<Vec<f32>>; STRINGS];

fn row(likely: &[f32], usual: &[f64; STRINGS], over: &[Option<f64>; STRINGS]) -> Row {
    let read = |b: f64| {
        let x = ((b - LEAST_B) / STEP_B).clamp(0.0, (CURVE - 1) as f64);
        let (i, t) = (x as usize, (x - libm::floor(x)) as f32);
        likely[i] * (1.0 - t) + likely[(i + 1).min(CURVE - 1)] * t
    };
    std::array::from_fn(|s| over[s].map(|o| (0..PLACES).map(|p| read(usual[s] + o + place(p))).collect()))
}

/// Octaves from the usual B.
fn place(p: usize) -> f64 {
    2.0 * FAR * p as f64 / (PLACES - 1) as f64 - FAR
}

/// Strings of a take as found.
struct Found {
    score: f64,
    /// What of that is off for strings that are unlike any usual ones.
    unusual: f64,
    /// Logarithms of B around which [`PLACES`] lie.
    usual: [f64; STRINGS],
    /// How likely each place is, string by string.
    places: Vec<Vec<f32>>,
    /// The share of notes that fit nowhere.
    stray: f64,
}

impl Found {
    /// How well a note fits each string; 0 where the string does not have it.
    fn fits(&self, row: &Row) -> [f64; STRINGS] {
        let fit = |r: &Vec<f32>, s: usize| self.stray + (1.0 - self.stray) * f64::from(r.iter().zip(&self.places[s]).map(|(e, q)| e * q).sum::<f32>());
        std::array::from_fn(|s| row[s].as_ref().map_or(0.0, |r| fit(r, s)))
    }

    /// Likelihood of the take, as a logarithm, by these strings: each pitch on one of those that have it, all of which are alike.
    fn explains(&self, rows: &[Row], pitches: &[u8]) -> f64 {
        let mut sums: BTreeMap<u8, [Option<f64>; STRINGS]> = BTreeMap::new();
        for (row, pitch) in rows.iter().zip(pitches) {
            let sum = sums.entry(*pitch).or_insert([Some(0.0); STRINGS]);
            for ((sum, row), places) in sum.iter_mut().zip(row).zip(&self.places) {
                let mean = |r: &Vec<f32>| f64::from(r.iter().zip(places).map(|(e, q)| e * q).sum::<f32>());
                *sum = sum.zip(row.as_ref()).map(|(sum, r)| sum + libm::log(STRAY + (1.0 - STRAY) * mean(r)));
            }
        }
        sums.values().map(|logs| mean_of_logs(&logs.iter().flatten().copied().collect::<Vec<_>>())).sum::<f64>() - self.unusual
    }
}

/// B of the six strings by expectation and maximisation from a set of that gauge; `known`: what is thought of each note's strings.
fn fit(rows: &[Row], known: &[[f64; STRINGS]], usual: [f64; STRINGS], gauge: f64) -> Found {
    let prior = |s: usize, p: usize, gauge: f64| -0.5 * ((place(p) - gauge) / OWN[s]).powi(2);
    let priors = |gauge: f64| -> Vec<Vec<f64>> { (0..STRINGS).map(|s| (0..PLACES).map(|p| prior(s, p, gauge)).collect()).collect() };
    let mut gauge = gauge;
    let mut found = Found { score: f64::NEG_INFINITY, unusual: 0.0, usual, places: priors(gauge).iter().map(|l| shares(l)).collect(), stray: 0.1 };
    for _ in 0..ROUNDS {
        let mut sums = priors(gauge);
        let (mut strays, mut log) = (0.0, 0.0);
        for (row, known) in rows.iter().zip(known) {
            let total: f64 = (0..STRINGS).filter(|s| row[*s].is_some()).map(|s| known[s]).sum();
            if total <= 0.0 {
                continue;
            }
            let fits = found.fits(row);
            let parts: [f64; STRINGS] = std::array::from_fn(|s| known[s] / total * fits[s]);
            let all = parts.iter().sum::<f64>().max(1e-12);
            log += libm::log(all);
            strays += found.stray / all;
            for ((row, sums), part) in row.iter().zip(&mut sums).zip(&parts) {
                let by = part / all;
                if let (Some(row), true) = (row, by > 0.01) {
                    for (sum, e) in sums.iter_mut().zip(row) {
                        *sum += by * libm::log(found.stray + (1.0 - found.stray) * f64::from(*e));
                    }
                }
            }
        }
        // As if 20 notes had been seen before, 2 of them strays.
        found.stray = ((strays + 2.0) / (rows.len() as f64 + 20.0)).clamp(0.02, 0.9);
        found.places = sums.iter().map(|l| shares(l)).collect();
        let means: Vec<f64> = found.places.iter().map(|q| q.iter().enumerate().map(|(p, q)| f64::from(*q) * place(p)).sum()).collect();
        let weight = |s: usize| 1.0 / (OWN[s] * OWN[s]);
        gauge = (0..STRINGS).map(|s| means[s] * weight(s)).sum::<f64>() / ((0..STRINGS).map(weight).sum::<f64>() + 1.0 / (GAUGE * GAUGE));
        found.unusual = 0.5 * ((0..STRINGS).map(|s| (means[s] - gauge).powi(2) * weight(s)).sum::<f64>() + (gauge / GAUGE).powi(2));
        found.score = log - found.unusual;
    }
    found
}

/// Logarithms as shares of one.
fn shares(logs: &[f64]) -> Vec<f32> {
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let e: Vec<f64> = logs.iter().map(|l| libm::exp(l - top)).collect();
    let all: f64 = e.iter().sum();
    e.iter().map(|e| (e / all) as f32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use pitch::Midi;

    /// Notes of 0.4 s, one after the other, on strings of that B: (string from the low one, fret).
    fn played(line: &[(usize, u8)], b: &[f64; 6]) -> (Vec<f32>, Vec<TakenNote>) {
        let each: Vec<(f64, f64)> = line.iter().map(|(s, fret)| (OPEN[*s] + f64::from(*fret), b[*s] * libm::exp2(f64::from(*fret) / 6.0))).collect();
        sounded(&each)
    }

    /// The same of (MIDI, B).
    fn sounded(each: &[(f64, f64)]) -> (Vec<f32>, Vec<TakenNote>) {
        let rate = f64::from(RATE_HZ);
        let (mut samples, mut notes) = (vec![], vec![]);
        for (i, (midi, b)) in each.iter().copied().enumerate() {
            let hz = 440.0 * libm::exp2((midi - 69.0) / 12.0);
            samples.extend((0..(0.4 * rate) as usize).map(|n| n as f64 / rate).map(|t| {
                let partial = |k: f64| {
                    let f = k * hz * (1.0 + b * k * k).sqrt();
                    if f < 9500.0 { 0.2 / k * libm::exp(-t * (2.0 + 0.2 * k)) * libm::sin(std::f64::consts::TAU * f * t) } else { 0.0 }
                };
                // A little noise, since a spectrum without any has no level to stand out of.
                let noise = libm::sin(12.9898 * (i as f64 + 1.0) * (t * rate + 1.0) * (t * rate + 1.0)) * 1e-4;
                ((1..=30).map(f64::from).map(partial).sum::<f64>() + noise) as f32
            }));
            notes.push(TakenNote {
                onset_s: 0.4 * i as f64,
                offset_s: 0.4 * (i + 1) as f64 - 0.01,
                midi: Midi(midi as u8),
                confidence: 0.9,
                strings: vec![1.0 / 6.0; 6],
                attack: Attack::Struck,
            });
        }
        (samples, notes)
    }

    #[test]
    fn a_curve_is_highest_at_the_strings_b() {
        let (samples, notes) = played(&[(1, 3), (2, 9), (3, 4), (4, 12)], &WOUND);
        for (c, (s, fret)) in curves(&samples, 440.0, &notes).iter().zip([(1, 3.0), (2, 9.0), (3, 4.0), (4, 12.0)]) {
            let top = (0..CURVE).max_by(|a, b| c[*a].total_cmp(&c[*b])).unwrap();
            let b = LEAST_B + STEP_B * top as f64;
            assert!((b - libm::log2(WOUND[s]) - fret / 6.0).abs() < 0.3, "string {s}: {b}");
        }
    }

    #[test]
    fn the_same_line_in_two_places_is_told_apart() {
        let settings = Settings { instrument: Instrument::guitar(), bass: false, hand: neck::Hand::usual(), name: "take".into() };
        // The same pitches at the fifth and at the tenth fret, on strings a little lighter than usual.
        let light = WOUND.map(|b| 0.85 * b);
        for line in [[(4, 5), (4, 8), (5, 5), (5, 7), (5, 8), (4, 8)], [(3, 9), (3, 12), (4, 10), (4, 12), (4, 13), (3, 12)]] {
            let (samples, mut notes) = played(&line, &light);
            let at = placed(&samples, 440.0, &mut notes, &settings).unwrap();
            assert_eq!(at, line.map(|(s, f)| (6 - s as u8, f)));
        }
    }

    #[test]
    fn partials_that_no_strings_have_say_nothing_of_strings() {
        let (samples, mut notes) = sounded(&[57.0, 60.0, 62.0, 64.0, 67.0, 69.0, 72.0, 67.0, 64.0].map(|midi| (midi, 3e-6)));
        let over = notes_over(&notes, &Instrument::guitar());
        let pitches: Vec<u8> = notes.iter().map(|n| n.midi.0).collect();
        let fits = strings(&curves(&samples, 440.0, &notes), &pitches, &[vec![[1.0; 6]; notes.len()]], &over);
        assert!(fits.iter().zip(&over).all(|(fits, over)| fits.iter().zip(over).all(|(f, o)| if o.is_some() { (f - 1.0).abs() < 0.05 } else { *f == 0.0 })), "{fits:?}");
        // The hand alone is left: one position, all four fingers on four frets.
        let settings = Settings { instrument: Instrument::guitar(), bass: false, hand: neck::Hand::usual(), name: "take".into() };
        let frets: Vec<u8> = placed(&samples, 440.0, &mut notes, &settings).unwrap().iter().map(|p| p.1).filter(|f| *f > 0).collect();
        assert!(frets.iter().max().unwrap() - frets.iter().min().unwrap() <= 4, "{frets:?}");
    }

    #[test]
    fn a_note_on_another_string_was_not_hammered() {
        let (_, mut notes) = played(&[(3, 9), (4, 8), (4, 10), (4, 8)], &WOUND);
        for (n, attack) in notes.iter_mut().zip([Attack::Struck, Attack::Hammered, Attack::Hammered, Attack::Pulled]) {
            n.attack = attack;
        }
        let sure = |s: usize| -> Vec<f64> { (0..STRINGS).map(|t| if t == s { 1.0 } else { 1e-3 }).collect() };
        part_from_others(&mut notes, &[3, 4, 4, 4].map(sure));
        assert_eq!(notes.iter().map(|n| n.attack).collect::<Vec<_>>(), [Attack::Struck, Attack::Struck, Attack::Hammered, Attack::Pulled]);
        // Where nothing is known nothing is parted.
        notes[1].attack = Attack::Hammered;
        part_from_others(&mut notes, &[sure(3), vec![1.0; STRINGS], vec![1.0; STRINGS], vec![0.0; STRINGS]]);
        assert_eq!(notes[1].attack, Attack::Hammered);
    }

    #[test]
    fn silence_says_nothing() {
        let (_, mut notes) = played(&[(4, 5), (5, 7)], &PLAIN);
        let fits = strings(&curves(&[], 440.0, &notes), &[69, 71], &[vec![[1.0; 6]; 2]], &notes_over(&notes, &Instrument::guitar()));
        assert!(fits.iter().flatten().all(|f| *f == 0.0 || (*f - 1.0).abs() < 1e-3), "{fits:?}");
        let settings = Settings { instrument: Instrument::guitar(), bass: false, hand: neck::Hand::usual(), name: "take".into() };
        assert_eq!(placed(&[], 440.0, &mut [], &settings), Ok(vec![]));
        assert_eq!(placed(&[], 440.0, &mut notes, &settings).unwrap().len(), 2);
    }
}
