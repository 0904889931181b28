//! One vibrating string: a delay line closed through a loss filter and a fractional delay, played by adding to its samples.
//!
//! # Method
//!
//! `y[n] = x[n] + Σ c[j] y[n - lag - j]`: Jaffe & Smith 1983, eq. 1, with the mean of two neighbours there replaced by ten weights `c`.
//! They are the product of
//!
//! - a loss filter with weights symmetric around its middle, `g (b, 1-2b, b) * (b, 1-2b, b)`. It does what decay stretching and shortening do there
//!   (their sections on decay alteration): `g` sets how long the fundamental rings, `b` how much faster the treble dies;
//! - a fractional delay, Lagrange's interpolation of fifth order in its middle interval (Laakso, Välimäki, Karjalainen & Laine 1996, eq. 42).
//!
//! # Departures
//!
//! The paper tunes by a first-order allpass and corrects for the two-point mean's half sample. Here the loss filter is symmetric, so its phase delay is
//! exactly two samples at every frequency and every pitch; nothing is left to correct, and partials stay in tune with each other. All weights are
//! feed-forward within one period, so that a stretch of samples is computed at once.
//!
//! # References
//!
//! - Karplus & Strong 1983, "Digital synthesis of plucked-string and drum timbres", Computer Music Journal 7(2).
//! - Jaffe & Smith 1983, "Extensions of the Karplus-Strong plucked-string algorithm", Computer Music Journal 7(2).
//! - Laakso et al. 1996, "Splitting the unit delay", IEEE Signal Processing Magazine 13(1).

use crate::RATE;
use std::f64::consts::PI;

/// Weights of the loop: loss (5) by interpolation (6).
const TAPS: usize = 10;
/// Delay of the loss filter.
const LOSS_DELAY: f64 = 2.0;
/// Longest period, in frames, of a string that sounds as written: 19.2 Hz.
const PERIOD_MAX: f64 = 2500.0;
/// Silent frames that a line needs before the first sounding one.
pub const LEAD: usize = 2560;
/// Where the decay of the treble is set.
const TREBLE_HZ: f64 = 3000.0;

/// How fast a string loses its sound: times to fall by 60 dB.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decay {
    /// Of the fundamental, seconds.
    pub low_s: f64,
    /// At 3 kHz, seconds. A string whose fundamental is near or above that decays as `low_s` says.
    pub treble_s: f64,
}

/// A string's loop at one pitch.
#[derive(Clone, Copy, Debug)]
pub struct Loop {
    lag: usize,
    taps: [f32; TAPS],
}

/// Frames in one period at `hz`, kept to what a line can hold.
pub fn period(hz: f64) -> f64 {
    (f64::from(RATE) / hz.max(1.0)).clamp(8.0, PERIOD_MAX)
}

impl Decay {
    /// The loss filter for a string of that many frames a period.
    pub fn loss(self, period: f64) -> Loss {
        let hz = f64::from(RATE) / period;
        let per_round = |t60_s: f64| libm::pow(10.0, -3.0 / (t60_s.max(1e-3) * hz));
        let fall = |b: f64, hz: f64| 1.0 - 2.0 * b * (1.0 - libm::cos(2.0 * PI * hz / f64::from(RATE)));
        let low = per_round(self.low_s);
        // Of two equal filters each takes half of the extra loss at the treble, less what the fundamental has of it already (first order).
        let ratio = libm::sqrt((per_round(self.treble_s) / low).min(1.0));
        let b = (0.5 * (1.0 - ratio) / (1.0 - libm::cos(2.0 * PI * TREBLE_HZ / f64::from(RATE)))).clamp(0.0, 0.25);
        let at_fundamental = fall(b, hz);
        Loss { g: (low / (at_fundamental * at_fundamental)).min(0.99995), b }
    }
}

/// The two settings of the loss filter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loss {
    g: f64,
    b: f64,
}

impl Loss {
    fn weights(self) -> [f64; 5] {
        let (b, m) = (self.b, 1.0 - 2.0 * self.b);
        [b * b, 2.0 * b * m, m * m + 2.0 * b * b, 2.0 * b * m, b * b].map(|w| w * self.g)
    }

    /// The loop of that many frames a period (at least 8).
    pub fn at(self, period: f64) -> Loop {
        let delay = period - LOSS_DELAY;
        let whole = libm::floor(delay);
        let between = lagrange(2.0 + delay - whole);
        let mut taps = [0.0f64; TAPS];
        for (i, w) in self.weights().iter().enumerate() {
            for (k, h) in between.iter().enumerate() {
                taps[i + k] += w * h;
            }
        }
        Loop { lag: whole as usize - 2, taps: taps.map(|t| t as f32) }
    }
}

/// Lagrange's weights for a delay of `x` samples, 2 to 3, by six neighbours.
fn lagrange(x: f64) -> [f64; 6] {
    const BELOW: [f64; 6] = [-120.0, 24.0, -12.0, 12.0, -24.0, 120.0];
    let d: [f64; 6] = std::array::from_fn(|m| x - m as f64);
    std::array::from_fn(|k| (0..6).filter(|m| *m != k).fold(1.0, |p, m| p * d[m]) / BELOW[k])
}

/// Lets the string ring over `from..to` of its line: what stands there already (the pluck) is added to what comes round the loop, scaled by `gain`.
/// `from` is at least [`LEAD`].
pub fn ring(line: &mut [f32], from: usize, to: usize, closed: &Loop, gain: f32) {
    let taps = closed.taps.map(|t| t * gain);
    let mut n = from;
    while n < to {
        let m = (to - n).min(closed.lag);
        let (past, now) = line.split_at_mut(n);
        // The oldest sample needed is lag + 9 back.
        let start = n - closed.lag - (TAPS - 1);
        let source = &past[start..start + m + TAPS - 1];
        let now = &mut now[..m];
        for (i, y) in now.iter_mut().enumerate() {
            let window: &[f32; TAPS] = source[i..i + TAPS].try_into().expect("ten long");
            let mut sum = 0.0f32;
            for (w, t) in window.iter().rev().zip(&taps) {
                sum += w * t;
            }
            *y += sum;
        }
        n += m;
    }
}

/// As [`ring`], while the period glides from one length to another and the loss stays.
pub fn glide(line: &mut [f32], from: usize, to: usize, loss: Loss, periods: (f64, f64)) {
    let weights = loss.weights();
    let step = (periods.1 - periods.0) / (to - from).max(1) as f64;
    let mut delay = periods.0 - LOSS_DELAY;
    for n in from..to {
        delay += step;
        let whole = libm::floor(delay);
        let between = lagrange(2.0 + delay - whole);
        let at = n - (whole as usize - 2);
        let window: &[f32; TAPS] = line[at - (TAPS - 1)..=at].try_into().expect("ten long");
        let mut sum = 0.0f64;
        for (i, w) in weights.iter().enumerate() {
            let mut part = 0.0f64;
            for (k, h) in between.iter().enumerate() {
                part += h * f64::from(window[TAPS - 1 - i - k]);
            }
            sum += w * part;
        }
        line[n] += sum as f32;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEADY: Decay = Decay { low_s: 6.0, treble_s: 2.0 };

    /// Five milliseconds of the same rough pulse, then `frames` of ringing.
    fn plucked(period: f64, decay: Decay, frames: usize) -> Vec<f32> {
        let mut line = vec![0.0; LEAD + frames];
        let mut r = crate::random::Random::new(&[3]);
        for s in &mut line[LEAD..LEAD + (period as usize).min(frames)] {
            *s = r.even() as f32;
        }
        ring(&mut line, LEAD, LEAD + frames, &decay.loss(period).at(period), 1.0);
        line.split_off(LEAD)
    }

    /// The plain formula, a sample at a time in double precision.
    fn reference(period: f64, decay: Decay, input: &[f32]) -> Vec<f64> {
        let closed = decay.loss(period).at(period);
        let mut y = vec![0.0f64; input.len()];
        for n in 0..input.len() {
            y[n] = f64::from(input[n]);
            for (j, c) in closed.taps.iter().enumerate() {
                if let Some(back) = n.checked_sub(closed.lag + j) {
                    y[n] += f64::from(*c) * y[back];
                }
            }
        }
        y
    }

    #[test]
    fn the_fast_loop_is_the_plain_formula() {
        for p in [8.0, 21.3, 36.4, 109.09, 582.5, 1165.0, 2500.0] {
            let fast = plucked(p, STEADY, 9000);
            let mut input = vec![0.0; 9000];
            let mut r = crate::random::Random::new(&[3]);
            for s in &mut input[..p as usize] {
                *s = r.even() as f32;
            }
            for (a, b) in fast.iter().zip(reference(p, STEADY, &input)) {
                assert!((f64::from(*a) - b).abs() < 2e-5, "period {p}: {a} {b}");
            }
        }
    }

    #[test]
    fn gliding_from_a_pitch_to_the_same_is_ringing() {
        let p = 218.18;
        let fast = plucked(p, STEADY, 6000);
        let mut slow = vec![0.0; LEAD + 6000];
        let mut r = crate::random::Random::new(&[3]);
        for s in &mut slow[LEAD..LEAD + 218] {
            *s = r.even() as f32;
        }
        glide(&mut slow, LEAD, LEAD + 6000, STEADY.loss(p), (p, p));
        for (a, b) in fast.iter().zip(&slow[LEAD..]) {
            assert!((a - b).abs() < 2e-5);
        }
    }

    /// The fundamental falls by 60 dB in the time asked for, within a tenth, from the lowest string to the highest fret.
    #[test]
    fn strings_ring_as_long_as_asked() {
        for hz in [41.2, 82.4, 220.0, 659.3, 1318.5] {
            let decay = Decay { low_s: 3.0, treble_s: 0.9 };
            let y = plucked(period(hz), decay, 96_000);
            let level = |from: usize| {
                let (mut c, mut s) = (0.0, 0.0);
                for (n, y) in y.iter().enumerate().skip(from).take(24_000) {
                    let w = 2.0 * PI * hz * n as f64 / f64::from(RATE);
                    c += f64::from(*y) * libm::cos(w);
                    s += f64::from(*y) * libm::sin(w);
                }
                20.0 * libm::log10(libm::sqrt(c * c + s * s))
            };
            let t60 = 60.0 / (level(12_000) - level(60_000));
            assert!((t60 - 3.0).abs() < 0.3, "{hz} Hz rings {t60} s");
        }
    }

    #[test]
    fn no_loop_grows() {
        for p in [8.0, 9.5, 30.25, 100.5, 2499.9] {
            for decay in [STEADY, Decay { low_s: 1e9, treble_s: 1e9 }, Decay { low_s: 0.0, treble_s: 0.0 }] {
                let y = plucked(p, decay, 48_000);
                let end = y[47_000..].iter().fold(0.0f32, |m, s| m.max(s.abs()));
                assert!(end < 2.0, "period {p} {decay:?}: {end}");
            }
        }
    }
}
