//! Second-order filters, a resonator whose centre moves, and soft saturation, all in a fixed order of plain arithmetic.
//!
//! Sections follow the W3C note "Audio EQ Cookbook" (2021): low pass, high pass, all pass, peaking. The moving resonator is the trapezoidal
//! state-variable filter (Zavalishin 2012, "The Art of VA Filter Design", ch. 4).

use crate::RATE;
use std::f64::consts::PI;

/// Five coefficients of a second-order section, the leading one of the denominator divided out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Section {
    b: [f32; 3],
    a: [f32; 2],
}

impl Section {
    /// From the two polynomials, lowest order first.
    pub fn from(b: [f64; 3], a: [f64; 3]) -> Section {
        Section { b: b.map(|v| (v / a[0]) as f32), a: [(a[1] / a[0]) as f32, (a[2] / a[0]) as f32] }
    }

    /// Passes what lies under `hz`; `q` 0.707 is flat, more is a bump at the edge.
    pub fn low_pass(hz: f64, q: f64) -> Section {
        let (c, alpha) = angle(hz, q);
        let half = (1.0 - c) / 2.0;
        Section::from([half, 1.0 - c, half], [1.0 + alpha, -2.0 * c, 1.0 - alpha])
    }

    /// Passes what lies over `hz`.
    pub fn high_pass(hz: f64, q: f64) -> Section {
        let (c, alpha) = angle(hz, q);
        let half = (1.0 + c) / 2.0;
        Section::from([half, -1.0 - c, half], [1.0 + alpha, -2.0 * c, 1.0 - alpha])
    }

    /// Passes everything at its level and turns its phase, by half a turn at `hz`.
    pub fn all_pass(hz: f64, q: f64) -> Section {
        let (c, alpha) = angle(hz, q);
        Section::from([1.0 - alpha, -2.0 * c, 1.0 + alpha], [1.0 + alpha, -2.0 * c, 1.0 - alpha])
    }

    /// Raises or lowers what lies around `hz` by `db`.
    pub fn peak(hz: f64, q: f64, db: f64) -> Section {
        let (c, alpha) = angle(hz, q);
        let a = libm::pow(10.0, db / 40.0);
        Section::from([1.0 + alpha * a, -2.0 * c, 1.0 - alpha * a], [1.0 + alpha / a, -2.0 * c, 1.0 - alpha / a])
    }
}

fn angle(hz: f64, q: f64) -> (f64, f64) {
    let w = 2.0 * PI * hz / f64::from(RATE);
    (libm::cos(w), libm::sin(w) / (2.0 * q))
}

/// Runs `N` sections one after the other over `samples`, in place, from rest. `N` is known, so that the sections overlap in time.
pub fn run<const N: usize>(sections: [Section; N], samples: &mut [f32]) {
    let mut state = [[0.0f32; 2]; N];
    for s in samples.iter_mut() {
        let mut x = *s;
        for (section, z) in sections.iter().zip(&mut state) {
            // Transposed direct form II.
            let y = section.b[0] * x + z[0];
            z[0] = section.b[1] * x - section.a[0] * y + z[1];
            z[1] = section.b[2] * x - section.a[1] * y;
            x = y;
        }
        // Keeps the states out of the range where arithmetic is slow.
        *s = x;
        if x.abs() < 1e-25 {
            for z in state.iter_mut().flatten() {
                if z.abs() < 1e-25 {
                    *z = 0.0;
                }
            }
        }
    }
}

/// A rounded shape that grows straight near 0 and levels off at ±1: `x (27 + x²) / (27 + 9 x²)`, the Padé approximant of tanh.
pub fn saturate(x: f32) -> f32 {
    let x = x.clamp(-3.0, 3.0);
    let s = x * x;
    x * (27.0 + s) / (27.0 + 9.0 * s)
}

/// Band pass and low pass at one moving centre.
#[derive(Clone, Debug, Default)]
pub struct Resonator {
    s1: f32,
    s2: f32,
    g: f32,
    k: f32,
}

impl Resonator {
    /// Moves the centre to `hz` with quality `q`.
    pub fn tune(&mut self, hz: f64, q: f64) {
        self.g = libm::tan(PI * hz / f64::from(RATE)) as f32;
        self.k = (1.0 / q) as f32;
    }

    /// Next sample: (band pass with gain 1 at the centre, low pass).
    pub fn next(&mut self, x: f32) -> (f32, f32) {
        let (g, k) = (self.g, self.k);
        let high = (x - (k + g) * self.s1 - self.s2) / (1.0 + k * g + g * g);
        let band = g * high + self.s1;
        self.s1 = g * high + band;
        let low = g * band + self.s2;
        self.s2 = g * band + low;
        (band * k, low)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::FRAC_1_SQRT_2;

    /// Level of a steady tone after the sections over that before.
    fn gain<const N: usize>(sections: [Section; N], hz: f64) -> f64 {
        let tone: Vec<f32> =
            (0..48_000).map(|n| libm::sin(2.0 * PI * hz * f64::from(n) / f64::from(RATE)) as f32).collect();
        let mut out = tone.clone();
        run(sections, &mut out);
        let power = |v: &[f32]| v[24_000..].iter().map(|s| f64::from(*s) * f64::from(*s)).sum::<f64>();
        10.0 * libm::log10(power(&out) / power(&tone))
    }

    #[test]
    fn sections_do_what_they_are_called() {
        assert!((gain([Section::low_pass(1000.0, FRAC_1_SQRT_2)], 1000.0) + 3.01).abs() < 0.02);
        assert!((gain([Section::low_pass(1000.0, FRAC_1_SQRT_2)], 4000.0) + 24.0).abs() < 1.0);
        assert!((gain([Section::high_pass(1000.0, FRAC_1_SQRT_2)], 250.0) + 24.0).abs() < 1.0);
        assert!((gain([Section::peak(1000.0, 1.0, 6.0)], 1000.0) - 6.0).abs() < 0.02);
        assert!((gain([Section::low_pass(1000.0, FRAC_1_SQRT_2); 2], 1000.0) + 6.02).abs() < 0.03);
        assert!([250.0, 1000.0, 4000.0].iter().all(|hz| gain([Section::all_pass(1000.0, 0.7)], *hz).abs() < 0.02));
    }

    #[test]
    fn the_resonator_peaks_at_its_centre() {
        let level = |hz: f64| {
            let mut r = Resonator::default();
            r.tune(900.0, 4.0);
            let y: Vec<f32> =
                (0..9600).map(|n| r.next(libm::sin(2.0 * PI * hz * f64::from(n) / f64::from(RATE)) as f32).0).collect();
            y[4800..].iter().fold(0.0f32, |p, s| p.max(s.abs()))
        };
        assert!((level(900.0) - 1.0).abs() < 0.02);
        assert!(level(450.0) < 0.3 && level(1800.0) < 0.3);
    }

    #[test]
    fn saturation_is_straight_at_first_and_bounded() {
        assert!((saturate(0.05) - 0.05).abs() < 1e-4);
        assert!(saturate(100.0) <= 1.0 && saturate(-100.0) >= -1.0 && saturate(1.0) > 0.7);
    }
}
