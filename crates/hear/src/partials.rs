//! The partials of a long window: where steady tones lie, to a fraction of a cent.
//!
//! # Method
//! A Hann window of 8,192 samples (0.37 s) and its derivative, transformed together as one complex signal; the frequency of a
//! peak is corrected by the imaginary part of the quotient of the two spectra, which is exact for a tone that dies away exponentially (F. Auger and
//! P. Flandrin, "Improving the readability of time-frequency and time-scale representations by the reassignment method", IEEE Trans. SP 43(5), 1995,
//! eq. 23). The real part tells how the tone swells or
//! dies within the window: where it is struck again, its phase jumps and its frequency means little, so it weighs little. Peaks that overlap with a neighbour, that lie 60 dB under the strongest, or that are whole multiples of a lower peak are left out:
//! overtones of a real string are sharp, and those of an ideal one lie off the tempered notes (the third 2 cents, the fifth 14).

use crate::fft::{Fft, hann};
use crate::mono::RATE_HZ;
use std::f64::consts::TAU;

pub(crate) const PARTIALS_SIZE: usize = 8_192;
pub(crate) const PARTIALS_HOP: usize = 4_096;
const LOWEST_HZ: f64 = 75.0;
const HIGHEST_HZ: f64 = 1_400.0;
/// Over the strongest peak (-60 dB).
const FLOOR: f32 = 1e-3;
/// Fourier bins within which another peak of a tenth or more disturbs.
const CLEAR_BINS: f64 = 5.0;
/// How near to a whole multiple an overtone lies.
const OVERTONE_CENTS: f64 = 14.0;
const MOST: usize = 32;
/// A tone that dies by this many nepers a radian of a turn a window weighs 1/e: some 3.4 nepers a second.
const SWELL: f64 = 0.2;

/// A steady tone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Partial {
    /// MIDI number with cents as a fraction, A4 = 440 Hz.
    pub midi: f64,
    /// Amplitude, about.
    pub level: f64,
    /// 1 for a tone that neither swells nor dies, towards 0 for one struck within the window.
    pub steady: f64,
}

pub(crate) struct Partials {
    fft: Fft,
    window: Vec<f32>,
    slope: Vec<f32>,
    re: Vec<f32>,
    im: Vec<f32>,
}

impl Partials {
    pub fn new() -> Partials {
        // The derivative for a turn of one bin a window: dh/dt * size / 2π.
        let slope = (0..PARTIALS_SIZE).map(|n| (0.5 * libm::sin(TAU * n as f64 / PARTIALS_SIZE as f64)) as f32).collect();
        Partials { fft: Fft::new(PARTIALS_SIZE), window: hann(PARTIALS_SIZE), slope, re: vec![0.0; PARTIALS_SIZE], im: vec![0.0; PARTIALS_SIZE] }
    }

    /// The partials of [`PARTIALS_SIZE`] samples, low to high.
    pub fn find(&mut self, samples: &[f32]) -> Vec<Partial> {
        for (n, s) in samples.iter().enumerate() {
            self.re[n] = s * self.window[n];
            self.im[n] = s * self.slope[n];
        }
        self.fft.forward(&mut self.re, &mut self.im);
        let per_hz = PARTIALS_SIZE as f64 / f64::from(RATE_HZ);
        let (low, high) = ((LOWEST_HZ * per_hz) as usize, (HIGHEST_HZ * per_hz) as usize);
        // The windowed signal's spectrum at k, and the sloped one's.
        let split = |k: usize| {
            let (ar, ai, br, bi) = (self.re[k], self.im[k], self.re[PARTIALS_SIZE - k], -self.im[PARTIALS_SIZE - k]);
            ((0.5 * (ar + br), 0.5 * (ai + bi)), (0.5 * (ai - bi), -0.5 * (ar - br)))
        };
        let levels: Vec<f32> = (low - 1..=high + 1)
            .map(|k| {
                let (r, i) = split(k).0;
                (r * r + i * i).sqrt()
            })
            .collect();
        let strongest = levels.iter().fold(0.0f32, |m, v| m.max(*v));
        let scale = 4.0 / PARTIALS_SIZE as f32;
        // -100 dBFS: there is nothing.
        if strongest * scale < 1e-5 {
            return Vec::new();
        }
        let mut peaks: Vec<(f64, f64, f64)> = Vec::new();
        for k in 2..levels.len() - 2 {
            let level = levels[k];
            if level < strongest * FLOOR || level <= levels[k - 1] || level < levels[k + 1] || level <= levels[k - 2] || level <= levels[k + 2] {
                continue;
            }
            let ((hr, hi), (sr, si)) = split(low - 1 + k);
            // Im(S / H): how many bins the tone lies above (the sign follows from d/dt of the window turning the phase).
            let above = f64::from(si * hr - sr * hi) / f64::from(hr * hr + hi * hi);
            if above.abs() < 0.8 {
                let swell = f64::from(sr * hr + si * hi) / f64::from(hr * hr + hi * hi) / SWELL;
                peaks.push(((low - 1 + k) as f64 - above, f64::from(level * scale), libm::exp(-swell * swell)));
            }
        }
        let clear: Vec<(f64, f64, f64)> = (0..peaks.len())
            .filter(|i| {
                let disturbs = |j: usize| (peaks[j].0 - peaks[*i].0).abs() < CLEAR_BINS && peaks[j].1 > 0.1 * peaks[*i].1;
                !(i.checked_sub(1).is_some_and(disturbs) || (i + 1 < peaks.len() && disturbs(i + 1)))
            })
            .map(|i| peaks[i])
            .collect();
        let mut found: Vec<Partial> = clear
            .iter()
            .filter(|(at, level, _)| {
                !peaks.iter().any(|(lower, other, _)| {
                    let ratio = at / lower;
                    let n = ratio.round();
                    n >= 2.0 && *other > 0.1 * level && (1200.0 * libm::log2(ratio / n)).abs() < OVERTONE_CENTS
                })
            })
            .map(|(at, level, steady)| Partial { midi: 69.0 + 12.0 * libm::log2(at / per_hz / 440.0), level: *level, steady: *steady })
            .collect();
        if found.len() > MOST {
            found.sort_by(|a, b| b.level.total_cmp(&a.level));
            found.truncate(MOST);
            found.sort_by(|a, b| a.midi.total_cmp(&b.midi));
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dying_tones_are_found_to_a_tenth_of_a_cent_and_overtones_left_out() {
        let midis = [40.13, 47.13, 54.31, 62.4, 65.02];
        let mut samples = vec![0.0f32; PARTIALS_SIZE];
        for (i, m) in midis.iter().enumerate() {
            let hz = 440.0 * libm::exp2((m - 69.0) / 12.0);
            for (n, s) in samples.iter_mut().enumerate() {
                let t = n as f64 / f64::from(RATE_HZ);
                let tone = |k: f64| libm::sin(TAU * k * hz * t + i as f64) / k;
                *s += (0.05 * libm::exp(-1.0 * t) * (tone(1.0) + tone(2.0))) as f32;
            }
        }
        let found = Partials::new().find(&samples);
        let nearest: Vec<f64> = found.iter().map(|p| midis.iter().map(|m| (m - p.midi).abs()).fold(f64::MAX, f64::min)).collect();
        assert!(nearest.iter().all(|d| *d < 0.001), "{found:?}");
        assert_eq!(found.len(), 5, "{found:?}");
    }

    #[test]
    fn nothing_in_silence() {
        assert!(Partials::new().find(&vec![0.0; PARTIALS_SIZE]).is_empty());
    }
}
