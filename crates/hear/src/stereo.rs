//! Short-time spectra of two channels, there and back, and what is done to them frame by frame.
//!
//! # Conventions
//! Periodic Hann windows, a quarter of their length apart, on the way there and on the way back; their squares add up to 1.5. What lies beyond
//! both ends counts as silence. Two real channels go through one complex transform, left as its real and right as its imaginary part.

use crate::fft::{Fft, hann};

/// One frame's spectra, bins 0 to size / 2: left and right, real and imaginary parts.
#[derive(Clone, Default)]
pub(crate) struct Frame {
    pub left_re: Vec<f32>,
    pub left_im: Vec<f32>,
    pub right_re: Vec<f32>,
    pub right_im: Vec<f32>,
}

impl Frame {
    fn resize(&mut self, bins: usize) {
        for part in [&mut self.left_re, &mut self.left_im, &mut self.right_re, &mut self.right_im] {
            part.resize(bins, 0.0);
        }
    }
}

/// Makes spectra of one size.
pub(crate) struct Spectra {
    fft: Fft,
    size: usize,
    window: Vec<f32>,
    re: Vec<f32>,
    im: Vec<f32>,
}

impl Spectra {
    /// `size` is a power of two, at least 8.
    pub fn new(size: usize) -> Spectra {
        Spectra { fft: Fft::new(size), size, window: hann(size), re: vec![0.0; size], im: vec![0.0; size] }
    }

    /// The spectra of `size` samples from `start` on.
    pub fn forward(&mut self, pair: [&[f32]; 2], start: i64, out: &mut Frame) {
        let half = self.size / 2;
        out.resize(half + 1);
        for (samples, part) in pair.iter().zip([&mut self.re, &mut self.im]) {
            for (n, (p, w)) in part.iter_mut().zip(&self.window).enumerate() {
                let sample = usize::try_from(start + n as i64).ok().and_then(|at| samples.get(at)).copied().unwrap_or(0.0);
                *p = tamed(sample) * w;
            }
        }
        self.fft.forward(&mut self.re, &mut self.im);
        for k in 0..=half {
            let m = (self.size - k) % self.size;
            let (ar, ai, br, bi) = (self.re[k], self.im[k], self.re[m], self.im[m]);
            out.left_re[k] = 0.5 * (ar + br);
            out.left_im[k] = 0.5 * (ai - bi);
            out.right_re[k] = 0.5 * (ai + bi);
            out.right_im[k] = 0.5 * (br - ar);
        }
    }

    /// Adds the samples of `frame` to `out` from `start` on.
    pub fn back(&mut self, frame: &Frame, out: &mut [Vec<f32>; 2], start: i64) {
        let half = self.size / 2;
        // The inverse is the transform with real and imaginary parts exchanged.
        for k in 0..=half {
            let (lr, li, rr, ri) = (frame.left_re[k], frame.left_im[k], frame.right_re[k], frame.right_im[k]);
            (self.im[k], self.re[k]) = (lr - ri, li + rr);
            if k > 0 && k < half {
                (self.im[self.size - k], self.re[self.size - k]) = (lr + ri, rr - li);
            }
        }
        self.fft.forward(&mut self.re, &mut self.im);
        let scale = 1.0 / (1.5 * self.size as f32);
        let [left, right] = out;
        for n in 0..self.size {
            let Ok(at) = usize::try_from(start + n as i64) else { continue };
            if at >= left.len() {
                break;
            }
            left[at] += self.im[n] * self.window[n] * scale;
            right[at] += self.re[n] * self.window[n] * scale;
        }
    }
}

/// Both channels changed frame by frame: `change` gets as many frames as [`CHUNK`] with `context` more before and after them, and changes
/// those between. The answer is as long as what came in.
pub(crate) fn process(pair: [&[f32]; 2], size: usize, context: usize, progress: &dyn Fn(f64), change: &mut dyn FnMut(&mut [Frame])) -> [Vec<f32>; 2] {
    let (hop, frames) = ((size / 4) as i64, pair[0].len().min(pair[1].len()));
    let mut spectra = Spectra::new(size);
    let mut out = [vec![0.0; frames], vec![0.0; frames]];
    let first = -3i64;
    let last = (frames as i64 + hop - 1) / hop;
    let mut chunk = vec![Frame::default(); CHUNK + 2 * context];
    let mut at = first;
    while frames > 0 && at < last {
        for (i, frame) in chunk.iter_mut().enumerate() {
            spectra.forward(pair, (at + i as i64 - context as i64) * hop, frame);
        }
        change(&mut chunk);
        for (i, frame) in chunk[context..context + CHUNK].iter().enumerate() {
            spectra.back(frame, &mut out, (at + i as i64) * hop);
        }
        at += CHUNK as i64;
        progress((at.min(last) - first) as f64 / (last - first) as f64);
    }
    out
}

/// Frames of one chunk.
pub(crate) const CHUNK: usize = 32;

/// The power of two nearest to so many seconds, 64 to 65,536.
pub(crate) fn size_of(seconds: f64, rate_hz: u32) -> usize {
    let exact = libm::log2(seconds * f64::from(rate_hz)).round().clamp(6.0, 16.0);
    1 << exact as u32
}

/// A sample that is no number counts as none, and what lies beyond 36 dB over full scale is a fault of the file.
pub(crate) fn tamed(sample: f32) -> f32 {
    if sample.is_nan() { 0.0 } else { sample.clamp(-64.0, 64.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(n: usize, mut seed: u32) -> Vec<f32> {
        (0..n)
            .map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (seed >> 8) as f32 / 8_388_608.0 - 1.0
            })
            .collect()
    }

    #[test]
    fn what_is_not_changed_comes_back() {
        for length in [0, 1, 100, 5_000] {
            let (left, right) = (noise(length, 1), noise(length, 2));
            let out = process([&left, &right], 256, 2, &|_| (), &mut |_| ());
            for n in 0..length {
                assert!((out[0][n] - left[n]).abs() < 1e-5 && (out[1][n] - right[n]).abs() < 1e-5, "{length}, sample {n}");
            }
        }
    }

    #[test]
    fn each_channel_has_its_own_spectrum() {
        let size = 64;
        let tone = |bin: f32| -> Vec<f32> { (0..size).map(|n| libm::cosf(std::f32::consts::TAU * bin * n as f32 / size as f32)).collect() };
        let mut frame = Frame::default();
        Spectra::new(size).forward([&tone(5.0), &tone(9.0)], 0, &mut frame);
        let power = |re: &[f32], im: &[f32]| -> Vec<f32> { re.iter().zip(im).map(|(r, i)| r * r + i * i).collect() };
        let (left, right) = (power(&frame.left_re, &frame.left_im), power(&frame.right_re, &frame.right_im));
        // A cosine under a Hann window: a quarter of the length.
        assert!((left[5] - 256.0).abs() < 0.1 && left[9] < 0.01 && (right[9] - 256.0).abs() < 0.1 && right[5] < 0.01);
    }

    #[test]
    fn sizes_are_near() {
        assert_eq!([size_of(0.093, 44_100), size_of(0.093, 48_000), size_of(0.046, 8_000), size_of(10.0, 192_000)], [4_096, 4_096, 512, 65_536]);
    }
}
