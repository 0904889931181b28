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

use crate::heard::TakenNote;
use crate::network::STRINGS;
use crate::spectra::RATE_HZ;
use crate::stay::by_position;
use crate::write_out::{Settings, places};
use neck::{Instrument, Unplaced};
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
/// No string is thought to be less likely than this before B is known.
const LEAST: f64 = 1e-3;
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
    let mut at = places(notes, settings)?;
    if settings.bass || settings.instrument.strings() != STRINGS || notes.is_empty() {
        return Ok(at);
    }
    let (curves, over) = (curves(samples, a4_hz, notes), notes_over(notes, &settings.instrument));
    let heard: Vec<Vec<f64>> = notes.iter().map(|n| if n.strings.len() == STRINGS { n.strings.iter().map(|p| p + LEAST).collect() } else { vec![1.0; STRINGS] }).collect();
    for _ in 0..2 {
        let put = |i: usize, s: usize| if STRINGS - s == usize::from(at[i].0) { 1.0 } else { ELSEWHERE };
        let thought: Vec<[f64; STRINGS]> = heard.iter().enumerate().map(|(i, h)| std::array::from_fn(|s| h[s] * put(i, s))).collect();
        let fits = strings(&curves, &thought, &over);
        for ((n, h), fits) in notes.iter_mut().zip(&heard).zip(&fits) {
            n.strings = h.iter().zip(fits).map(|(h, f)| h * f).collect();
        }
        let known: Vec<Vec<f64>> = notes.iter().map(|n| n.strings.clone()).collect();
        let by = by_position(notes, &known, &settings.instrument);
        for (n, by) in notes.iter_mut().zip(&by) {
            n.strings.iter_mut().zip(by).for_each(|(p, by)| *p *= by);
        }
        at = places(notes, settings)?;
    }
    Ok(at)
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

/// How well each note's curve fits each string, by the B of strings that all of them together speak for: 1 is a curve that says nothing. `thought` is what is known of the strings otherwise.
fn strings(curves: &[Curve], thought: &[[f64; STRINGS]], over: &[[Option<f64>; STRINGS]]) -> Vec<[f64; STRINGS]> {
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
    let mut best: Option<Found> = None;
    for make in [WOUND, PLAIN] {
        let usual = make.map(libm::log2);
        let rows: Vec<Row> = few.iter().map(|i| row(&likely[*i], &usual, &over[*i])).collect();
        let known: Vec<[f64; STRINGS]> = few.iter().map(|i| thought[*i]).collect();
        for gauge in [-0.3, 0.0, 0.3] {
            let found = fit(&rows, &known, usual, gauge);
            if best.as_ref().is_none_or(|b| found.score > b.score) {
                best = Some(found);
            }
        }
    }
    let Some(found) = best else { return vec![[1.0; STRINGS]; curves.len()] };
    likely.iter().zip(over).map(|(l, o)| found.fits(&row(l, &found.usual, o))).collect()
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
}

/// B of the six strings by expectation and maximisation from a set of that gauge; `known`: what is thought of each note's strings.
fn fit(rows: &[Row], known: &[[f64; STRINGS]], usual: [f64; STRINGS], gauge: f64) -> Found {
    let prior = |s: usize, p: usize, gauge: f64| -0.5 * ((place(p) - gauge) / OWN[s]).powi(2);
    let priors = |gauge: f64| -> Vec<Vec<f64>> { (0..STRINGS).map(|s| (0..PLACES).map(|p| prior(s, p, gauge)).collect()).collect() };
    let mut gauge = gauge;
    let mut found = Found { score: f64::NEG_INFINITY, usual, places: priors(gauge).iter().map(|l| shares(l)).collect(), stray: 0.1 };
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
        found.score = log - 0.5 * ((0..STRINGS).map(|s| (means[s] - gauge).powi(2) * weight(s)).sum::<f64>() + (gauge / GAUGE).powi(2));
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
    use lesson::Attack;
    use pitch::Midi;

    /// Notes of 0.4 s, one after the other, on strings of that B: (string from the low one, fret).
    fn played(line: &[(usize, u8)], b: &[f64; 6]) -> (Vec<f32>, Vec<TakenNote>) {
        let rate = f64::from(RATE_HZ);
        let (mut samples, mut notes) = (vec![], vec![]);
        for (i, (s, fret)) in line.iter().enumerate() {
            let midi = OPEN[*s] + f64::from(*fret);
            let (hz, b) = (440.0 * libm::exp2((midi - 69.0) / 12.0), b[*s] * libm::exp2(f64::from(*fret) / 6.0));
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
    fn silence_says_nothing() {
        let (_, mut notes) = played(&[(4, 5), (5, 7)], &PLAIN);
        let fits = strings(&curves(&[], 440.0, &notes), &[[1.0; 6]; 2], &notes_over(&notes, &Instrument::guitar()));
        assert!(fits.iter().flatten().all(|f| *f == 0.0 || (*f - 1.0).abs() < 1e-3), "{fits:?}");
        let settings = Settings { instrument: Instrument::guitar(), bass: false, hand: neck::Hand::usual(), name: "take".into() };
        assert_eq!(placed(&[], 440.0, &mut [], &settings), Ok(vec![]));
        assert_eq!(placed(&[], 440.0, &mut notes, &settings).unwrap().len(), 2);
    }
}
