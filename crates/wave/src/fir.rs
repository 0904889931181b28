//! Windowed-sinc interpolation kernels as tables of phases, and their dot product, from a cutoff and a length.
//!
//! Method: ideal low-pass times a Kaiser window (J. F. Kaiser, "Nonrecursive digital filter design using the I0-sinh window function",
//! 1974), tabulated at equally spaced fractions of a sample (J. O. Smith and P. Gossett, "A flexible sampling-rate conversion
//! method", ICASSP 1984). Plain scalar arithmetic and `libm`: the same numbers on every CPU.

/// `phases + 1` rows of `taps` coefficients. Row `p` interpolates at the fraction `p / phases` after a sample.
pub(crate) struct Kernel {
    /// Taps before and up to the sample itself, and as many after it. A multiple of 4.
    pub half: usize,
    table: Vec<f32>,
}

impl Kernel {
    /// `cutoff`: the middle of the transition band over the Nyquist frequency of the input, above 0 and up to 1. `half_width`: one half of
    /// the kernel's length in input samples. `beta`: Kaiser's parameter.
    pub fn new(phases: usize, cutoff: f64, half_width: f64, beta: f64) -> Kernel {
        let half = (half_width.ceil() as usize).next_multiple_of(4);
        let taps = 2 * half;
        let mut table = Vec::with_capacity((phases + 1) * taps);
        let mut row = vec![0.0f64; taps];
        for phase in 0..=phases {
            let fraction = phase as f64 / phases as f64;
            for (j, value) in row.iter_mut().enumerate() {
                let t = j as f64 - (half - 1) as f64 - fraction;
                *value = cutoff * sinc(cutoff * t) * kaiser(t / half_width, beta);
            }
            // Every phase has the same gain at 0 Hz, so that a constant stays constant.
            let sum: f64 = row.iter().sum();
            table.extend(row.iter().map(|v| (v / sum) as f32));
        }
        Kernel { half, table }
    }

    pub fn taps(&self) -> usize {
        2 * self.half
    }

    pub fn row(&self, phase: usize) -> &[f32] {
        let taps = self.taps();
        &self.table[phase * taps..(phase + 1) * taps]
    }
}

/// Sum of products in eight running sums: an order that the compiler can keep in vector registers without changing the result.
pub(crate) fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0f32; 8];
    let (a8, b8) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f32 = a8
        .remainder()
        .iter()
        .zip(b8.remainder())
        .map(|(x, y)| x * y)
        .sum();
    for (x, y) in a8.zip(b8) {
        for i in 0..8 {
            sums[i] += x[i] * y[i];
        }
    }
    ((sums[0] + sums[4]) + (sums[1] + sums[5])) + ((sums[2] + sums[6]) + (sums[3] + sums[7])) + rest
}

/// Kaiser's beta for a stop band `attenuation_db` down (above 50 dB; Kaiser 1974, as in Oppenheim & Schafer, eq. 7.75).
pub(crate) fn kaiser_beta(attenuation_db: f64) -> f64 {
    0.1102 * (attenuation_db - 8.7)
}

fn sinc(x: f64) -> f64 {
    if x == 0.0 {
        1.0
    } else {
        libm::sin(std::f64::consts::PI * x) / (std::f64::consts::PI * x)
    }
}

fn kaiser(x: f64, beta: f64) -> f64 {
    if x.abs() > 1.0 {
        0.0
    } else {
        bessel_i0(beta * libm::sqrt(1.0 - x * x)) / bessel_i0(beta)
    }
}

/// Modified Bessel function of the first kind, order 0, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > sum * 1e-17 {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bessel_values() {
        // Abramowitz & Stegun, table 9.8 (e^-x I0(x) there; from memory).
        assert!((bessel_i0(1.0) - 1.266_065_877_752).abs() < 1e-11);
        assert!((bessel_i0(5.0) - 27.239_871_823_604).abs() < 1e-10);
    }

    #[test]
    fn the_fast_sum_is_the_sum() {
        let a: Vec<f32> = (0..29).map(|i| i as f32 * 0.37 - 3.0).collect();
        let b: Vec<f32> = (0..29).map(|i| (i % 7) as f32 - 2.5).collect();
        let slow: f64 = a
            .iter()
            .zip(&b)
            .map(|(x, y)| f64::from(*x) * f64::from(*y))
            .sum();
        assert!((f64::from(dot(&a, &b)) - slow).abs() < 1e-4);
    }

    #[test]
    fn phase_zero_of_a_full_band_kernel_is_the_sample_itself() {
        let kernel = Kernel::new(4, 1.0, 12.0, 8.0);
        for (j, v) in kernel.row(0).iter().enumerate() {
            let want = if j == kernel.half - 1 { 1.0 } else { 0.0 };
            assert!((v - want).abs() < 1e-6, "{j}: {v}");
        }
        // The last row is row 0 a sample later.
        assert!((kernel.row(4)[kernel.half] - 1.0).abs() < 1e-6);
    }
}
