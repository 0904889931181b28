//! Which pitches sound in a spectrum: harmonic templates with non-negative weights.
//!
//! # Method
//! Each pitch is a comb of Hann lobes at its partials; noise is a few flat bands. Weights by multiplicative updates for the Kullback-Leibler divergence
//! (D. Lee and S. Seung, NIPS 2001) with fixed templates, as in score-informed decomposition (S. Ewert and M. Müller, "Using score-informed constraints for
//! NMF-based source separation", ICASSP 2012); here all pitches of the instrument are allowed, so that the written ones can be judged against the rest.

use crate::spectra::RATE_HZ;

/// Candidates from E1 to G#6; from the lowest string on for an instrument that goes lower.
pub(crate) const LOWEST: i32 = 28;
pub(crate) const PITCHES: usize = 65;
/// Nothing above is looked at.
const HIGHEST_HZ: f64 = 5_000.0;
const PARTIALS: usize = 16;
/// Each partial against the one before, in a flattened spectrum.
const FALL: f64 = 0.82;
const NOISE_BANDS: usize = 6;
const ROUNDS: usize = 25;

/// Templates for one window length and one tuning, of pitches from the lowest on.
pub(crate) struct Templates {
    pub bins: usize,
    /// Sparse: bin and weight, first the pitches, then the noise bands. Each sums to 1.
    combs: Vec<Vec<(u32, f32)>>,
    /// Bins of each pitch's partials, as a fraction.
    at: Vec<Vec<f32>>,
}

impl Templates {
    pub fn new(size: usize, cents: f64, lowest: i32) -> Templates {
        let per_hz = size as f64 / f64::from(RATE_HZ);
        let bins = (HIGHEST_HZ * per_hz) as usize;
        let at: Vec<Vec<f32>> = (0..PITCHES)
            .map(|n| {
                let hz = 440.0 * libm::exp2((f64::from(lowest) + n as f64 - 69.0 + cents / 100.0) / 12.0);
                (1..=PARTIALS).map(|k| (hz * k as f64 * (1.0 + 2.5e-5 * (k * k) as f64) * per_hz) as f32).take_while(|b| (*b as usize) + 4 < bins).collect()
            })
            .collect();
        let mut combs: Vec<Vec<(u32, f32)>> = at
            .iter()
            .map(|partials| {
                let mut dense = std::collections::BTreeMap::new();
                for (k, middle) in partials.iter().enumerate() {
                    let height = libm::pow(FALL, k as f64);
                    let first = (middle - 2.0).ceil().max(0.0) as u32;
                    for b in first..=(middle + 2.0).floor() as u32 {
                        *dense.entry(b).or_insert(0.0) += height * lobe(f64::from(b) - f64::from(*middle));
                    }
                }
                let sum: f64 = dense.values().sum();
                dense.into_iter().map(|(b, w)| (b, (w / sum.max(1e-9)) as f32)).collect()
            })
            .collect();
        let edge = |n: usize| -> usize { (60.0 * libm::pow(HIGHEST_HZ / 60.0, n as f64 / NOISE_BANDS as f64) * per_hz) as usize };
        for n in 0..NOISE_BANDS {
            let (low, high) = (edge(n), edge(n + 1).min(bins));
            combs.push((low..high).map(|b| (b as u32, 1.0 / (high - low) as f32)).collect());
        }
        Templates { bins, combs, at }
    }

    /// Weights of the pitches in a spectrum, in its own unit summed over bins. All zero for silence.
    pub fn weights(&self, spectrum: &[f32]) -> [f32; PITCHES] {
        let v = &spectrum[..self.bins.min(spectrum.len())];
        let top = v.iter().fold(0.0f32, |m, x| m.max(*x));
        let mut out = [0.0f32; PITCHES];
        if top <= 1e-9 {
            return out;
        }
        let floor = 1e-3 * top;
        let mut h: Vec<f32> = self.combs.iter().map(|c| c.iter().map(|(b, w)| w * v[*b as usize]).sum::<f32>()).collect();
        let mut sum = vec![0.0f32; v.len()];
        let mut ratio = vec![0.0f32; v.len()];
        for _ in 0..ROUNDS {
            sum.fill(floor);
            for (c, h) in self.combs.iter().zip(&h) {
                for (b, w) in c {
                    sum[*b as usize] += h * w;
                }
            }
            for ((r, s), v) in ratio.iter_mut().zip(&sum).zip(v) {
                *r = v / s;
            }
            for (c, h) in self.combs.iter().zip(h.iter_mut()) {
                *h *= c.iter().map(|(b, w)| w * ratio[*b as usize]).sum::<f32>();
            }
        }
        out.copy_from_slice(&h[..PITCHES]);
        out
    }

    /// Height of the spectrum at a pitch's partial `k` (from 0), 0 where there is none.
    pub fn level(&self, spectrum: &[f32], pitch: usize, k: usize) -> f32 {
        self.at[pitch].get(k).map_or(0.0, |b| height(spectrum, *b))
    }

    /// How far partial `k` stands above the spectrum 60 cents beside it: 0 none, towards 1 a clear peak in its place.
    pub fn peak(&self, spectrum: &[f32], pitch: usize, k: usize) -> f32 {
        let Some(b) = self.at[pitch].get(k) else { return 0.0 };
        let away = (b * 0.035).max(2.5);
        let here = height(spectrum, *b);
        let beside = height(spectrum, b - away).max(height(spectrum, b + away));
        if here + beside <= 0.0 { 0.0 } else { here / (here + beside) }
    }
}

/// The spectrum near a fractional bin.
fn height(spectrum: &[f32], at: f32) -> f32 {
    let n = at.round().max(0.0) as usize;
    let low = n.saturating_sub(1);
    spectrum.get(low..(n + 2).min(spectrum.len())).map_or(0.0, |s| s.iter().fold(0.0f32, |m, x| m.max(*x)))
}

/// A Hann window's transform `x` bins from its middle.
fn lobe(x: f64) -> f64 {
    let x = x.abs();
    if x < 1e-6 {
        1.0
    } else if (x - 1.0).abs() < 1e-6 {
        0.5
    } else {
        (libm::sin(std::f64::consts::PI * x) / (std::f64::consts::PI * x * (1.0 - x * x))).abs()
    }
}

/// The record's own colour: the mean of some spectra, smoothed over two thirds of an octave, by which spectra are flattened.
pub(crate) fn colour(spectra: &[Vec<f32>], bins: usize) -> Vec<f32> {
    let mut mean = vec![0.0f64; bins + 1];
    for s in spectra {
        mean.iter_mut().zip(s).for_each(|(m, v)| *m += f64::from(*v));
    }
    let mut sums = vec![0.0f64; bins + 2];
    for b in 0..=bins {
        sums[b + 1] = sums[b] + mean[b];
    }
    let smooth: Vec<f64> = (0..=bins)
        .map(|b| {
            let low = ((b as f64 * 0.79) as usize).min(b.saturating_sub(3));
            let high = ((b as f64 * 1.26) as usize).max(b + 3).min(bins);
            (sums[high + 1] - sums[low]) / (high + 1 - low) as f64
        })
        .collect();
    let top = smooth.iter().fold(0.0f64, |m, v| m.max(*v)).max(1e-12);
    smooth.iter().map(|s| libm::pow(s / top + 0.01, -0.7) as f32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lobe_is_that_of_a_hann_window() {
        // By the definition: the sum over the window, which is 1 in its middle.
        let n = 4096;
        let by_sum = |x: f64| {
            let turn = std::f64::consts::TAU / f64::from(n);
            let (re, im) = (0..n).map(f64::from).fold((0.0, 0.0), |(re, im), k| {
                let w = 0.5 - 0.5 * libm::cos(turn * k);
                (re + w * libm::cos(turn * x * k), im - w * libm::sin(turn * x * k))
            });
            libm::hypot(re, im) / (f64::from(n) / 2.0)
        };
        for x in [0.0, 0.3, 0.7, 1.0, 1.5, 2.0, 2.7, -0.7, -1.0] {
            assert!((lobe(x) - by_sum(x)).abs() < 1e-4, "{x}: {} and {}", lobe(x), by_sum(x));
        }
    }

    #[test]
    fn a_height_is_the_highest_of_three_bins() {
        let spectrum = [0.1, 0.5, 0.2, 0.9, 0.3];
        assert_eq!([0.0, 0.6, 1.4, 2.0, 3.5, 4.4, 9.0].map(|at| height(&spectrum, at)), [0.5, 0.5, 0.5, 0.9, 0.9, 0.9, 0.0]);
    }
}
