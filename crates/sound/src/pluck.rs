//! What a pick, a finger or a hand puts into a string: the pulse that sets it going, as a pickup at its place hears it.
//!
//! A string pulled aside at a place and let go sends two steps round the loop, a pulse as long as the way to that place (Jaffe & Smith 1983, "Pick
//! position": the comb `1 - z^(-pN)`). A pickup hears the difference of two such pulses, apart by its own place. A harder or stronger pick is
//! brighter (there "Dynamics": a low pass that opens with loudness).

use crate::RATE;
use crate::random::Random;
use std::f64::consts::PI;

/// One stroke on one string.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pluck {
    /// 1 is a plain stroke.
    pub strength: f64,
    /// Place of the pick, as a part of the string's length from the bridge; 0..0.5.
    pub pick: f64,
    /// Place of the pickup, likewise; 0 hears the string itself.
    pub pickup: f64,
    /// Where the low pass of the pick begins, hertz.
    pub soft_hz: f64,
    /// Level of the pick's own noise, 1 = as strong as the pulse.
    pub noise: f64,
}

/// Adds the pluck to `line` from `at` on, for a string of `period` frames. What lies past the end is dropped.
pub fn add(line: &mut [f32], at: usize, period: f64, pluck: &Pluck, random: &mut Random) {
    let width = (period * pluck.pick).max(2.0);
    let apart = period * pluck.pickup;
    let ease = 1.0 - libm::exp(-2.0 * PI * pluck.soft_hz / f64::from(RATE));
    // Until the smoothed pulse has died away: eight time constants of each of two low passes.
    let frames = (width + apart + 16.0 / ease) as usize + 2;
    let (mut one, mut two) = (0.0f64, 0.0f64);
    // Picks scrape for a few milliseconds.
    let fade = libm::exp(-1.0 / (0.0022 * f64::from(RATE)));
    let mut scrape = pluck.noise;
    let mut before = 0.0;
    let Some(line) = line.get_mut(at..) else { return };
    for (n, y) in line.iter_mut().take(frames).enumerate() {
        let t = n as f64;
        let mut x = pulse(t, width);
        if apart > 0.0 {
            x -= pulse(t - apart, width);
        }
        let noise = random.even();
        x += scrape * (noise - before);
        before = noise;
        scrape *= fade;
        one += ease * (x - one);
        two += ease * (one - two);
        *y += (two * pluck.strength) as f32;
    }
}

/// A pulse of height 1 from 0 to `width`, its edges shared between the two neighbouring samples.
fn pulse(t: f64, width: f64) -> f64 {
    let step = |t: f64| (t + 0.5).clamp(0.0, 1.0);
    step(t) - step(t - width)
}

/// A dead stroke: noise with a quick beginning and a short end, coloured around `hz`.
pub fn add_scratch(line: &mut [f32], at: usize, hz: f64, length_s: f64, strength: f64, random: &mut Random) {
    let frames = (length_s * f64::from(RATE)) as usize;
    let fade = libm::exp(-5.0 / frames.max(1) as f64);
    let rise = (0.0006 * f64::from(RATE)) as usize;
    let mut band = crate::filter::Resonator::default();
    band.tune(hz, 0.8);
    let mut level = strength;
    let Some(line) = line.get_mut(at..) else { return };
    for (n, y) in line.iter_mut().take(frames).enumerate() {
        // In the last quarter the fade is drawn to nothing.
        let end = ((frames - n) as f64 / (frames / 4).max(1) as f64).min(1.0);
        let start = (n as f64 / rise.max(1) as f64).min(1.0);
        let (b, _) = band.next((random.even() * level * start * end) as f32);
        *y += b;
        level *= fade;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: Pluck = Pluck { strength: 1.0, pick: 0.2, pickup: 0.1, soft_hz: 4000.0, noise: 0.0 };

    fn partial(p: &Pluck, k: f64) -> f64 {
        let period = 400.0;
        let mut line = vec![0.0; 4000];
        add(&mut line, 0, period, p, &mut Random::new(&[1]));
        let (mut c, mut s) = (0.0, 0.0);
        for (n, y) in line.iter().enumerate() {
            let w = 2.0 * PI * k * n as f64 / period;
            c += f64::from(*y) * libm::cos(w);
            s += f64::from(*y) * libm::sin(w);
        }
        libm::sqrt(c * c + s * s)
    }

    /// A string plucked at a fifth of its length lacks every fifth partial; a pickup at a tenth takes every tenth.
    #[test]
    fn the_pick_place_takes_its_partials_out() {
        assert!(partial(&PLAIN, 5.0) < 0.02 * partial(&PLAIN, 4.0));
        let elsewhere = Pluck { pick: 0.13, ..PLAIN };
        assert!(partial(&elsewhere, 5.0) > 0.2 * partial(&elsewhere, 4.0));
        assert!(partial(&elsewhere, 10.0) < 0.02 * partial(&elsewhere, 9.0));
    }

    #[test]
    fn soft_strokes_are_darker_and_nothing_stands_still() {
        let dark = Pluck { soft_hz: 900.0, ..PLAIN };
        assert!(partial(&dark, 9.0) / partial(&dark, 1.0) < 0.5 * partial(&PLAIN, 9.0) / partial(&PLAIN, 1.0));
        assert!(partial(&PLAIN, 0.0) < 1e-3 * partial(&PLAIN, 1.0));
    }

    #[test]
    fn past_the_end_is_dropped() {
        add(&mut [0.0; 3], 1, 100.0, &PLAIN, &mut Random::new(&[1]));
        add(&mut [0.0; 3], 9, 100.0, &PLAIN, &mut Random::new(&[1]));
        add_scratch(&mut [0.0; 3], 9, 900.0, 0.05, 1.0, &mut Random::new(&[1]));
    }
}
