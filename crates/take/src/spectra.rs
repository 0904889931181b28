//! What the note network sees of a take: three log-frequency spectra of different length, three bins a semitone, every 256 samples at 22,050 Hz.
//!
//! The recipe is that of `training/notes/features.py`, which the network was trained with; a test in `network` holds the two against each other.

use wave::fft::RealFft;

/// The rate that the network listens at.
pub(crate) const RATE_HZ: u32 = 22_050;
pub(crate) const HOP: usize = 256;
/// Samples of each window, longest first.
const WINDOWS: [usize; 3] = [8192, 2048, 512];
/// Bins from a third of a semitone under MIDI 40 up.
pub(crate) const BINS: usize = 249;
/// Frames whose level counts for the scale, and which of them, from quiet to loud, is brought to [`LEVEL`].
const LEVEL_FRAME: usize = 2048;
const LOUD: f64 = 0.9;
const LEVEL: f64 = 0.1;

/// Spectra of a take.
pub(crate) struct Spectra {
    pub frames: usize,
    /// Window by window, frame by frame, [`BINS`] each.
    values: Vec<f32>,
}

impl Spectra {
    /// Of one channel at [`RATE_HZ`], with A4 at `a4_hz`.
    pub fn new(samples: &[f32], a4_hz: f64) -> Spectra {
        let scale = scale(samples);
        let frames = samples.len() / HOP + 1;
        let mut values = Vec::with_capacity(3 * frames * BINS);
        // With silence on either side, so that each frame lies within.
        let side = WINDOWS[0] / 2;
        let mut padded = vec![0.0f32; samples.len() + 2 * side];
        padded[side..side + samples.len()].copy_from_slice(samples);
        for size in WINDOWS {
            let window: Vec<f32> = (0..size).map(|n| (0.5 - 0.5 * libm::cos(std::f64::consts::TAU * n as f64 / size as f64)) as f32).collect();
            // The window's sum is half its length.
            let norm = scale * (4.0 / size as f64) as f32;
            let bins = bins(size, a4_hz);
            let mut fft = RealFft::new(size);
            let mut magnitudes = Vec::new();
            for k in 0..frames {
                let from = side - size / 2 + k * HOP;
                fft.magnitudes(&padded[from..from + size], &window, &mut magnitudes);
                for (first, weights) in &bins {
                    let m: f32 = weights.iter().zip(&magnitudes[*first..]).map(|(w, m)| w * m).sum();
                    values.push(libm::log1pf(2000.0 * m * norm) / 4.0);
                }
            }
        }
        Spectra { frames, values }
    }

    /// One frame of one window, 0 the longest.
    pub fn frame(&self, window: usize, k: usize) -> &[f32] {
        let at = (window * self.frames + k) * BINS;
        &self.values[at..at + BINS]
    }

    /// The frames `from..to` of all windows, for the network: [3, to - from, BINS].
    pub fn cut(&self, from: usize, to: usize) -> Vec<f32> {
        let size = self.frames * BINS;
        (0..3).flat_map(|w| &self.values[w * size + from * BINS..w * size + to * BINS]).copied().collect()
    }
}

/// What brings the take to its level.
fn scale(samples: &[f32]) -> f32 {
    let mut sums = Vec::with_capacity(samples.len().max(LEVEL_FRAME) + 1);
    let mut sum = 0.0f64;
    sums.push(0.0);
    for n in 0..samples.len().max(LEVEL_FRAME) {
        let s = f64::from(samples.get(n).copied().unwrap_or(0.0));
        sum += s * s;
        sums.push(sum);
    }
    let mut rms: Vec<f64> = (0..=sums.len() - 1 - LEVEL_FRAME).step_by(HOP).map(|i| ((sums[i + LEVEL_FRAME] - sums[i]).max(0.0) / LEVEL_FRAME as f64).sqrt()).collect();
    rms.sort_by(f64::total_cmp);
    let at = LOUD * (rms.len() - 1) as f64;
    let (low, part) = (at.floor() as usize, at.fract());
    let loud = rms[low] + part * (rms[(low + 1).min(rms.len() - 1)] - rms[low]);
    (LEVEL / loud.max(1e-6)) as f32
}

/// For each bin the first of the transform's bins and the weights from there on.
fn bins(size: usize, a4_hz: f64) -> Vec<(usize, Vec<f32>)> {
    let step = f64::from(RATE_HZ) / size as f64;
    (0..BINS)
        .map(|i| {
            let hz = a4_hz * libm::exp2((40.0 + (i as f64 - 1.0) / 3.0 - 69.0) / 12.0);
            let half = step.max(hz * (libm::exp2(1.0 / 36.0) - 1.0));
            let first = ((hz - half) / step).ceil().max(0.0) as usize;
            let last = (((hz + half) / step).floor() as usize).min(size / 2);
            let raw: Vec<f64> = (first..=last.max(first)).map(|j| (1.0 - (j as f64 * step - hz).abs() / half).max(0.0)).collect();
            let total: f64 = raw.iter().sum::<f64>().max(1e-12);
            (first, raw.iter().map(|w| (w / total) as f32).collect())
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sine_stands_in_its_bin_whatever_the_take_is_loud() {
        let hz = 440.0 * libm::exp2((76.0 - 69.0) / 12.0);
        let mut tops = vec![];
        for loud in [0.5, 0.002] {
            let sine: Vec<f32> = (0..22_050).map(|n| (loud * libm::sin(std::f64::consts::TAU * hz * f64::from(n) / 22_050.0)) as f32).collect();
            let s = Spectra::new(&sine, 440.0);
            assert_eq!(s.frames, 22_050 / HOP + 1);
            let frame = s.cut(40, 41);
            for window in frame.chunks(BINS).take(2) {
                let top = window.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).unwrap().0;
                assert_eq!(top, 3 * 36 + 1);
            }
            tops.push(frame[109]);
        }
        // A little under an amplitude of 0.141 (RMS 0.1), for a bin gathers its neighbours too.
        assert!((tops[0] - tops[1]).abs() < 1e-3 && (1.0..libm::log1pf(2000.0 * 0.1414) / 4.0).contains(&tops[0]), "{tops:?}");
    }

    #[test]
    fn silence_and_nothing_are_zero() {
        for n in [0, 1, 5000] {
            let s = Spectra::new(&vec![0.0; n], 440.0);
            assert_eq!(s.frames, n / HOP + 1);
            assert!(s.cut(0, s.frames).iter().all(|v| *v == 0.0));
        }
    }
}
