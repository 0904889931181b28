//! The discrete Fourier transform of 2^n samples, in plain arithmetic: the same bits on every machine.
//!
//! # Method
//! Stockham's self-sorting transform in steps of radix 4 and a last one of radix 2 where needed (C. Van Loan, *Computational Frameworks for the Fast
//! Fourier Transform*, SIAM 1992, section 1.7); real input as half as many complex samples (H. Sorensen et al., IEEE Trans. ASSP 35(6), 1987).
//! Twiddles by `libm`. A library for this would have other sums for other processors, and so other last bits; here only the [`lanes`] differ.

use crate::lanes;
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
        lanes::widest(
            #[inline(always)]
            || self.transform(re, im),
        )
    }

    #[inline(always)]
    fn transform(&mut self, re: &mut [f32], im: &mut [f32]) {
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

/// One step: four samples a quarter apart, turned by the twiddles.
#[inline(always)]
fn butterfly(x_re: [f32; 4], x_im: [f32; 4], [w1r, w1i, w2r, w2i, w3r, w3i]: [f32; 6]) -> ([f32; 4], [f32; 4]) {
    let ([a, b, c, d], [ai, bi, ci, di]) = (x_re, x_im);
    let (sum_r, sum_i) = (a + c, ai + ci);
    let (dif_r, dif_i) = (a - c, ai - ci);
    let (odd_r, odd_i) = (b + d, bi + di);
    // i (b - d)
    let (turn_r, turn_i) = (di - bi, b - d);
    let (e1r, e1i) = (dif_r - turn_r, dif_i - turn_i);
    let (e2r, e2i) = (sum_r - odd_r, sum_i - odd_i);
    let (e3r, e3i) = (dif_r + turn_r, dif_i + turn_i);
    (
        [sum_r + odd_r, w1r * e1r - w1i * e1i, w2r * e2r - w2i * e2i, w3r * e3r - w3i * e3i],
        [sum_i + odd_i, w1r * e1i + w1i * e1r, w2r * e2i + w2i * e2r, w3r * e3i + w3i * e3r],
    )
}

#[inline(always)]
fn radix4(step: &[Vec<f32>; 6], s: usize, x: (&[f32], &[f32]), y: (&mut [f32], &mut [f32])) {
    match s {
        1 => first(step, x, y),
        4 => runs::<4>(step, 1, x, y),
        _ => runs::<16>(step, s / 16, x, y),
    }
}

/// The step of stride 1, where neighbours have twiddles of their own.
#[inline(always)]
fn first(step: &[Vec<f32>; 6], (x_re, x_im): (&[f32], &[f32]), (y_re, y_im): (&mut [f32], &mut [f32])) {
    const LANES: usize = 8;
    let quarter = step[0].len();
    let [w0, w1, w2, w3, w4, w5] = [0, 1, 2, 3, 4, 5].map(|i| &step[i][..quarter]);
    fn parts(x: &[f32], quarter: usize) -> [&[f32]; 4] {
        [0, 1, 2, 3].map(|i| &x[i * quarter..][..quarter])
    }
    let ([ar, br, cr, dr], [ai, bi, ci, di]) = (parts(x_re, quarter), parts(x_im, quarter));
    let whole = quarter / LANES * LANES;
    let (y_re, y_im) = (&mut y_re[..4 * quarter], &mut y_im[..4 * quarter]);
    for ((p, to_re), to_im) in (0..whole).step_by(LANES).zip(y_re.chunks_exact_mut(4 * LANES)).zip(y_im.chunks_exact_mut(4 * LANES)) {
        let cut = |x: &[f32]| -> [f32; LANES] { std::array::from_fn(|l| x[p + l]) };
        let (a, b, c, d, e, f, g, h) = (cut(ar), cut(br), cut(cr), cut(dr), cut(ai), cut(bi), cut(ci), cut(di));
        let w = [cut(w0), cut(w1), cut(w2), cut(w3), cut(w4), cut(w5)];
        let mut out = [[[0.0f32; LANES]; 4]; 2];
        for l in 0..LANES {
            let (re, im) = butterfly([a[l], b[l], c[l], d[l]], [e[l], f[l], g[l], h[l]], [w[0][l], w[1][l], w[2][l], w[3][l], w[4][l], w[5][l]]);
            for i in 0..4 {
                out[0][i][l] = re[i];
                out[1][i][l] = im[i];
            }
        }
        for l in 0..LANES {
            for i in 0..4 {
                to_re[4 * l + i] = out[0][i][l];
                to_im[4 * l + i] = out[1][i][l];
            }
        }
    }
    for p in whole..quarter {
        let (re, im) = butterfly([ar[p], br[p], cr[p], dr[p]], [ai[p], bi[p], ci[p], di[p]], [w0[p], w1[p], w2[p], w3[p], w4[p], w5[p]]);
        y_re[4 * p..4 * p + 4].copy_from_slice(&re);
        y_im[4 * p..4 * p + 4].copy_from_slice(&im);
    }
}

/// Steps of wider stride: `times` runs of N neighbours share their twiddles.
#[inline(always)]
fn runs<const N: usize>(step: &[Vec<f32>; 6], times: usize, (x_re, x_im): (&[f32], &[f32]), (y_re, y_im): (&mut [f32], &mut [f32])) {
    let s = N * times;
    let quarter = step[0].len();
    let block = s * quarter;
    fn run<const N: usize>(x: &[f32], at: usize) -> &[f32; N] {
        x[at..at + N].first_chunk().unwrap_or(&[0.0; N])
    }
    fn put<const N: usize>(y: &mut [f32], at: usize, with: &[f32; N]) {
        y[at..at + N].copy_from_slice(with);
    }
    let [w0, w1, w2, w3, w4, w5] = step;
    for p in 0..quarter {
        let w = [w0[p], w1[p], w2[p], w3[p], w4[p], w5[p]];
        for t in 0..times {
            let (from, to) = (s * p + N * t, 4 * s * p + N * t);
            let (ar, br, cr, dr) = (run::<N>(x_re, from), run::<N>(x_re, from + block), run::<N>(x_re, from + 2 * block), run::<N>(x_re, from + 3 * block));
            let (ai, bi, ci, di) = (run::<N>(x_im, from), run::<N>(x_im, from + block), run::<N>(x_im, from + 2 * block), run::<N>(x_im, from + 3 * block));
            let mut out = [[[0.0f32; N]; 4]; 2];
            for q in 0..N {
                let (re, im) = butterfly([ar[q], br[q], cr[q], dr[q]], [ai[q], bi[q], ci[q], di[q]], w);
                for i in 0..4 {
                    out[0][i][q] = re[i];
                    out[1][i][q] = im[i];
                }
            }
            for i in 0..4 {
                put(y_re, to + i * s, &out[0][i]);
                put(y_im, to + i * s, &out[1][i]);
            }
        }
    }
}

/// The magnitudes of a real signal's spectrum.
pub struct RealFft {
    half: Fft,
    /// Of bins 1 to size / 2 - 1.
    twiddle_re: Vec<f32>,
    twiddle_im: Vec<f32>,
    re: Vec<f32>,
    im: Vec<f32>,
    /// The same from the last to the second.
    back_re: Vec<f32>,
    back_im: Vec<f32>,
}

impl RealFft {
    /// `size` is a power of two, at least 8.
    pub fn new(size: usize) -> RealFft {
        let half = size / 2;
        let angle = |k: usize| TAU * k as f64 / size as f64;
        RealFft {
            half: Fft::new(half),
            twiddle_re: (1..half).map(|k| libm::cos(angle(k)) as f32).collect(),
            twiddle_im: (1..half).map(|k| -libm::sin(angle(k)) as f32).collect(),
            re: vec![0.0; half],
            im: vec![0.0; half],
            back_re: vec![0.0; half - 1],
            back_im: vec![0.0; half - 1],
        }
    }

    /// Magnitudes of bins 0 to size / 2 of `samples` times `window`, both of `size` samples.
    pub fn magnitudes(&mut self, samples: &[f32], window: &[f32], out: &mut Vec<f32>) {
        out.resize(self.re.len() + 1, 0.0);
        lanes::widest(
            #[inline(always)]
            || self.measure(samples, window, out),
        )
    }

    #[inline(always)]
    fn measure(&mut self, samples: &[f32], window: &[f32], out: &mut [f32]) {
        let half = self.re.len();
        for (((re, im), s), w) in self.re.iter_mut().zip(&mut self.im).zip(samples.as_chunks::<2>().0).zip(window.as_chunks::<2>().0) {
            *re = s[0] * w[0];
            *im = s[1] * w[1];
        }
        self.half.transform(&mut self.re, &mut self.im);
        for (back, there) in [(&mut self.back_re, &self.re), (&mut self.back_im, &self.im)] {
            back.iter_mut().zip(there[1..].iter().rev()).for_each(|(b, t)| *b = *t);
        }
        let there = self.re[1..].iter().zip(&self.im[1..]);
        let back = self.back_re.iter().zip(&self.back_im);
        let twiddles = self.twiddle_re.iter().zip(&self.twiddle_im);
        for (((o, (ar, ai)), (br, bi)), (wr, wi)) in out[1..half].iter_mut().zip(there).zip(back).zip(twiddles) {
            let bi = -bi;
            // Even and odd samples' spectra; the odd one turned by -i.
            let (even_r, even_i) = (0.5 * (ar + br), 0.5 * (ai + bi));
            let (odd_r, odd_i) = (0.5 * (ai - bi), -0.5 * (ar - br));
            let r = even_r + (wr * odd_r - wi * odd_i);
            let i = even_i + (wr * odd_i + wi * odd_r);
            *o = (r * r + i * i).sqrt();
        }
        out[0] = (self.re[0] + self.im[0]).abs();
        out[half] = (self.re[0] - self.im[0]).abs();
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
        let mut dice = crate::dice(7);
        (0..n).map(|_| dice()).collect()
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
        for size in [4, 8, 16, 32, 64, 128, 512, 1024] {
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
