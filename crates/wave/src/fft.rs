//! The discrete Fourier transform of 2^n samples, in plain scalar arithmetic: the same bits on every machine.
//!
//! # Method
//! Stockham's self-sorting transform in steps of radix 4 and a last one of radix 2 where needed (C. Van Loan, *Computational Frameworks for the Fast
//! Fourier Transform*, SIAM 1992, section 1.7); real input as half as many complex samples (H. Sorensen et al., IEEE Trans. ASSP 35(6), 1987).
//! Twiddles by `libm`. A library with CPU dispatch would be faster and would give other last bits on other machines.

use std::f64::consts::TAU;

/// The plan for one size, with its working space.
pub struct Fft {
    size: usize,
    /// For each step of radix 4, for each `p`: the twiddles `w`, `w²`, `w³`, real parts and imaginary parts.
    steps: Vec<[Vec<f32>; 6]>,
    work_re: Vec<f32>,
    work_im: Vec<f32>,
}

impl Fft {
    /// `size` is a power of two, at least 4.
    pub fn new(size: usize) -> Fft {
        debug_assert!(size.is_power_of_two() && size >= 4);
        let mut steps = Vec::new();
        let mut n = size;
        while n >= 4 {
            let mut step: [Vec<f32>; 6] = Default::default();
            for p in 0..n / 4 {
                for k in 1..=3 {
                    let angle = TAU * (k * p) as f64 / n as f64;
                    step[2 * k - 2].push(libm::cos(angle) as f32);
                    step[2 * k - 1].push(-libm::sin(angle) as f32);
                }
            }
            steps.push(step);
            n /= 4;
        }
        Fft { size, steps, work_re: vec![0.0; size], work_im: vec![0.0; size] }
    }

    /// Transforms in place, `X[k] = Σ x[n] e^(-2πikn/size)`. Both slices have `size` samples.
    pub fn forward(&mut self, re: &mut [f32], im: &mut [f32]) {
        let (re, im) = (&mut re[..self.size], &mut im[..self.size]);
        let mut stride = 1;
        let mut in_work = false;
        for step in &self.steps {
            if in_work {
                radix4(step, stride, (&self.work_re, &self.work_im), (re, im));
            } else {
                radix4(step, stride, (re, im), (&mut self.work_re, &mut self.work_im));
            }
            in_work = !in_work;
            stride *= 4;
        }
        if stride < self.size {
            let (from_re, from_im): (&mut [f32], &mut [f32]) = if in_work { (&mut self.work_re, &mut self.work_im) } else { (re, im) };
            for half in [from_re, from_im] {
                let (low, high) = half.split_at_mut(stride);
                for (a, b) in low.iter_mut().zip(high) {
                    (*a, *b) = (*a + *b, *a - *b);
                }
            }
        }
        if in_work {
            re.copy_from_slice(&self.work_re);
            im.copy_from_slice(&self.work_im);
        }
    }
}

fn radix4(step: &[Vec<f32>; 6], s: usize, (x_re, x_im): (&[f32], &[f32]), (y_re, y_im): (&mut [f32], &mut [f32])) {
    let quarter = step[0].len();
    let block = s * quarter;
    for p in 0..quarter {
        let [w1r, w1i, w2r, w2i, w3r, w3i] = [0, 1, 2, 3, 4, 5].map(|i| step[i][p]);
        let at = |i: usize| i * block + s * p..i * block + s * p + s;
        let (ar, br, cr, dr) = (&x_re[at(0)], &x_re[at(1)], &x_re[at(2)], &x_re[at(3)]);
        let (ai, bi, ci, di) = (&x_im[at(0)], &x_im[at(1)], &x_im[at(2)], &x_im[at(3)]);
        let (y0r, rest) = y_re[4 * s * p..4 * s * (p + 1)].split_at_mut(s);
        let (y1r, rest) = rest.split_at_mut(s);
        let (y2r, y3r) = rest.split_at_mut(s);
        let (y0i, rest) = y_im[4 * s * p..4 * s * (p + 1)].split_at_mut(s);
        let (y1i, rest) = rest.split_at_mut(s);
        let (y2i, y3i) = rest.split_at_mut(s);
        for q in 0..s {
            let (sum_r, sum_i) = (ar[q] + cr[q], ai[q] + ci[q]);
            let (dif_r, dif_i) = (ar[q] - cr[q], ai[q] - ci[q]);
            let (odd_r, odd_i) = (br[q] + dr[q], bi[q] + di[q]);
            // i (b - d)
            let (turn_r, turn_i) = (di[q] - bi[q], br[q] - dr[q]);
            y0r[q] = sum_r + odd_r;
            y0i[q] = sum_i + odd_i;
            let (er, ei) = (dif_r - turn_r, dif_i - turn_i);
            y1r[q] = w1r * er - w1i * ei;
            y1i[q] = w1r * ei + w1i * er;
            let (er, ei) = (sum_r - odd_r, sum_i - odd_i);
            y2r[q] = w2r * er - w2i * ei;
            y2i[q] = w2r * ei + w2i * er;
            let (er, ei) = (dif_r + turn_r, dif_i + turn_i);
            y3r[q] = w3r * er - w3i * ei;
            y3i[q] = w3r * ei + w3i * er;
        }
    }
}

/// The magnitudes of a real signal's spectrum.
pub struct RealFft {
    half: Fft,
    twiddle_re: Vec<f32>,
    twiddle_im: Vec<f32>,
    re: Vec<f32>,
    im: Vec<f32>,
}

impl RealFft {
    /// `size` is a power of two, at least 8.
    pub fn new(size: usize) -> RealFft {
        let half = size / 2;
        let angle = |k: usize| TAU * k as f64 / size as f64;
        RealFft {
            half: Fft::new(half),
            twiddle_re: (0..=half).map(|k| libm::cos(angle(k)) as f32).collect(),
            twiddle_im: (0..=half).map(|k| -libm::sin(angle(k)) as f32).collect(),
            re: vec![0.0; half],
            im: vec![0.0; half],
        }
    }

    /// Magnitudes of bins 0 to size / 2 of `samples` times `window`, both of `size` samples.
    pub fn magnitudes(&mut self, samples: &[f32], window: &[f32], out: &mut Vec<f32>) {
        let half = self.re.len();
        for (n, (s, w)) in samples.chunks_exact(2).zip(window.chunks_exact(2)).enumerate() {
            self.re[n] = s[0] * w[0];
            self.im[n] = s[1] * w[1];
        }
        self.half.forward(&mut self.re, &mut self.im);
        out.clear();
        out.push((self.re[0] + self.im[0]).abs());
        for k in 1..half {
            let (ar, ai) = (self.re[k], self.im[k]);
            let (br, bi) = (self.re[half - k], -self.im[half - k]);
            // Even and odd samples' spectra; the odd one turned by -i.
            let (even_r, even_i) = (0.5 * (ar + br), 0.5 * (ai + bi));
            let (odd_r, odd_i) = (0.5 * (ai - bi), -0.5 * (ar - br));
            let (wr, wi) = (self.twiddle_re[k], self.twiddle_im[k]);
            let r = even_r + (wr * odd_r - wi * odd_i);
            let i = even_i + (wr * odd_i + wi * odd_r);
            out.push((r * r + i * i).sqrt());
        }
        out.push((self.re[0] - self.im[0]).abs());
    }
}

/// A periodic Hann window of `size` samples.
pub fn hann(size: usize) -> Vec<f32> {
    (0..size).map(|n| (0.5 - 0.5 * libm::cos(TAU * n as f64 / size as f64)) as f32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(n: usize) -> Vec<f32> {
        let mut seed = 7u32;
        (0..n)
            .map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (seed >> 8) as f32 / 8_388_608.0 - 1.0
            })
            .collect()
    }

    fn slow(re: &[f32], im: &[f32], k: usize) -> (f64, f64) {
        let n = re.len();
        (0..n).fold((0.0, 0.0), |(sr, si), t| {
            let a = -TAU * ((k * t) % n) as f64 / n as f64;
            let (c, s) = (libm::cos(a), libm::sin(a));
            let (r, i) = (f64::from(re[t]), f64::from(im[t]));
            (sr + r * c - i * s, si + r * s + i * c)
        })
    }

    #[test]
    fn the_fast_transform_is_the_slow_formula() {
        for size in [4, 8, 16, 32, 512, 1024] {
            let (re, im) = (noise(size), noise(2 * size)[size..].to_vec());
            let (mut fr, mut fi) = (re.clone(), im.clone());
            Fft::new(size).forward(&mut fr, &mut fi);
            for k in 0..size {
                let (r, i) = slow(&re, &im, k);
                assert!((f64::from(fr[k]) - r).abs() + (f64::from(fi[k]) - i).abs() < 1e-3, "size {size}, bin {k}");
            }
        }
    }

    #[test]
    fn magnitudes_of_real_samples_are_those_of_the_slow_formula() {
        for size in [8, 64, 128, 1024] {
            let x = noise(size);
            let mut out = Vec::new();
            RealFft::new(size).magnitudes(&x, &vec![1.0; size], &mut out);
            assert_eq!(out.len(), size / 2 + 1);
            for (k, m) in out.iter().enumerate() {
                let (r, i) = slow(&x, &vec![0.0; size], k);
                assert!((f64::from(*m) - libm::hypot(r, i)).abs() < 1e-3, "size {size}, bin {k}");
            }
        }
    }
}
