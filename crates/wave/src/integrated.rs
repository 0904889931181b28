//! Integrated loudness: the K-weighted power of a whole buffer, gated.
//!
//! # Method
//! ITU-R BS.1770-4, annex 1: a shelf and a high-pass (tables 1 and 2), mean squares over blocks of 400 ms every 100 ms, channels weighted (table 3), the mean of
//! all blocks over −70 LUFS, then of those over 10 LU below that mean. The standard gives its filters for 48 kHz; for other rates their corners are kept. Squares are added
//! up in tenths of a second, of which four make a block, two channels beside each other.

use crate::Buffer;

/// Of both filters: two feedback coefficients at 48 kHz; of the shelf also those forward, where the high-pass has 1, -2, 1.
const STANDARD_HZ: f64 = 48_000.0;
const SHELF: [f64; 2] = [-1.690_659_293_182_41, 0.732_480_774_215_85];
const SHELF_FORWARD: [f64; 3] = [1.535_124_859_586_97, -2.691_696_189_406_38, 1.198_392_810_852_85];
const HIGH_PASS: [f64; 2] = [-1.990_047_454_833_98, 0.990_072_250_366_21];
/// What is added to the level of a mean square.
const OFFSET_LUFS: f64 = -0.691;
const ABSOLUTE_GATE_LUFS: f64 = -70.0;
const RELATIVE_GATE: f64 = 0.1;
const TENTHS_IN_BLOCK: usize = 4;
const SURROUND: f64 = 1.41;
/// A filter's memory below this is nothing; far smaller numbers would be slow.
const SILENT: f64 = 1e-30;

/// In LUFS; `None` where no block is over the absolute gate. The rate is 1 kHz or more.
pub(crate) fn integrated_lufs(buffer: &Buffer) -> Option<f64> {
    let tenth = (buffer.rate_hz() as usize + 5) / 10;
    let filter = Weighting::new(f64::from(buffer.rate_hz()));
    let mut powers = vec![0.0; buffer.frames() / tenth];
    let heard: Vec<(&[f32], f64)> = buffer.channels().iter().map(Vec::as_slice).zip(weights(buffer.channel_count())).filter(|(_, w)| *w > 0.0).collect();
    for two in heard.chunks(2) {
        match two {
            [a, b] => filter.add_powers([a.0, b.0], [a.1, b.1], tenth, &mut powers),
            one => one.iter().for_each(|a| filter.add_powers([a.0], [a.1], tenth, &mut powers)),
        }
    }
    let blocks: Vec<f64> = powers.windows(TENTHS_IN_BLOCK).map(|w| w.iter().sum::<f64>() / (TENTHS_IN_BLOCK * tenth) as f64).collect();
    let mean_over = |gate: f64| {
        let (count, sum) = blocks.iter().filter(|b| **b >= gate).fold((0, 0.0), |(n, sum), b| (n + 1, sum + b));
        (count > 0).then(|| sum / f64::from(count))
    };
    let absolute = libm::pow(10.0, (ABSOLUTE_GATE_LUFS - OFFSET_LUFS) / 10.0);
    let relative = RELATIVE_GATE * mean_over(absolute)?;
    mean_over(relative.max(absolute)).map(|power| 10.0 * libm::log10(power) + OFFSET_LUFS)
}

/// Of left and right; with four channels, two of surround; else centre, low frequency (not counted) and surround follow. Further ones do not count.
fn weights(channels: usize) -> impl Iterator<Item = f64> {
    let known: &[f64] = match channels {
        4 => &[1.0, 1.0, SURROUND, SURROUND],
        5 => &[1.0, 1.0, 1.0, SURROUND, SURROUND],
        _ => &[1.0, 1.0, 1.0, 0.0, SURROUND, SURROUND],
    };
    known.iter().copied()
}

/// Both filters as one: coefficients forward and back, the first one back being 1.
struct Weighting {
    forward: [f64; 5],
    back: [f64; 5],
}

impl Weighting {
    fn new(rate_hz: f64) -> Weighting {
        let (shelf, shelf_forward) = at_rate(SHELF, SHELF_FORWARD, rate_hz);
        let (high_pass, _) = at_rate(HIGH_PASS, [1.0, -2.0, 1.0], rate_hz);
        Weighting { forward: product(shelf_forward, [1.0, -2.0, 1.0]), back: product(shelf, high_pass) }
    }

    /// Adds the squares of C weighted channels, by tenths of a second.
    fn add_powers<const C: usize>(&self, channels: [&[f32]; C], weights: [f64; C], tenth: usize, powers: &mut [f64]) {
        let ([b0, b1, b2, b3, b4], [_, a1, a2, a3, a4]) = (self.forward, self.back);
        let mut memory = [[0.0f64; C]; 4];
        for (at, power) in powers.iter_mut().enumerate() {
            let parts = channels.map(|c| &c[at * tenth..(at + 1) * tenth]);
            let mut squares = [0.0; C];
            for n in 0..tenth {
                let [m1, m2, m3, m4] = memory;
                let mut next = [0.0; C];
                for c in 0..C {
                    // What was worked out last comes last, so that nothing else waits for it.
                    next[c] = f64::from(parts[c][n]) - a4 * m4[c] - a3 * m3[c] - a2 * m2[c] - a1 * m1[c];
                    let out = b4 * m4[c] + b3 * m3[c] + b2 * m2[c] + b1 * m1[c] + b0 * next[c];
                    squares[c] += out * out;
                }
                memory = [next, m1, m2, m3];
            }
            *power += squares.iter().zip(&weights).map(|(s, w)| s * w).sum::<f64>();
            memory.iter_mut().flatten().filter(|m| m.abs() < SILENT).for_each(|m| *m = 0.0);
        }
    }
}

/// A filter of second order given for the standard's rate, at another rate: coefficients back and forward. It is taken to (h p² + v p + 1) / (p² + q p + 1) of p = s / ω by
/// the bilinear transform that keeps its corner ω, and back.
fn at_rate(back: [f64; 2], forward: [f64; 3], rate_hz: f64) -> ([f64; 3], [f64; 3]) {
    let ([a1, a2], [b0, b1, b2]) = (back, forward);
    let scale = 1.0 - a1 + a2;
    let corner = libm::sqrt((1.0 + a1 + a2) / scale);
    let q = 2.0 * (1.0 - a2) / scale / corner;
    let (h, v) = ((b0 - b1 + b2) / scale, 2.0 * (b0 - b2) / scale / corner);
    let k = libm::tan(libm::atan(corner) * STANDARD_HZ / rate_hz);
    let sides = |h: f64, v: f64, low: f64| [h + v * k + low * k * k, 2.0 * (low * k * k - h), h - v * k + low * k * k];
    let [a0, a1, a2] = sides(1.0, q, 1.0);
    ([1.0, a1 / a0, a2 / a0], sides(h, v, 1.0).map(|b| b / a0))
}

fn product(a: [f64; 3], b: [f64; 3]) -> [f64; 5] {
    let mut out = [0.0; 5];
    for (i, x) in a.iter().enumerate() {
        for (j, y) in b.iter().enumerate() {
            out[i + j] += x * y;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use ebur128::{EbuR128, Mode};

    #[test]
    fn every_layout_and_rate_is_as_loud_as_another_meter_says() {
        let mut dice = crate::dice(5);
        for (rate_hz, channels) in [(48_000, 1), (44_100, 2), (22_050, 3), (8_000, 4), (96_000, 5), (32_000, 6), (11_025, 8)] {
            // Louder and softer by the second, from about -40 LUFS; some under the absolute gate, some under the other.
            let gains = [0.01, 0.3, 0.0001, 0.1, 0.03, 0.000_01, 0.2];
            let frames = rate_hz as usize * 7 - 321;
            let planes: Vec<Vec<f32>> = (0..channels).map(|c| (0..frames).map(|n| dice() * gains[(n / rate_hz as usize + c) % 7]).collect()).collect();
            let mut meter = EbuR128::new(channels as u32, rate_hz, Mode::I).unwrap();
            meter.add_frames_planar_f32(&planes.iter().map(Vec::as_slice).collect::<Vec<_>>()).unwrap();
            let found = integrated_lufs(&Buffer::new(rate_hz, planes).unwrap()).unwrap();
            assert!((found - meter.loudness_global().unwrap()).abs() < 1e-6, "{rate_hz} Hz, {channels}: {found}, {:?}", meter.loudness_global());
        }
        assert_eq!(integrated_lufs(&Buffer::silence(48_000, 2, 48_000).unwrap()), None);
    }
}
