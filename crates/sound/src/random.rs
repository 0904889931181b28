//! Small random numbers from a seed: the same on every machine, so that noise in a sound is the same noise each time.

/// A stream of random numbers. SplitMix64 (Steele, Lea & Flood 2014, "Fast splittable pseudorandom number generators", fig. 16).
#[derive(Clone, Debug)]
pub struct Random(u64);

impl Random {
    /// A stream of its own for each set of words (part, note, repetition).
    pub fn new(words: &[u64]) -> Random {
        let mut r = Random(0x5eed);
        for w in words {
            r.0 = r.0.wrapping_add(*w).wrapping_mul(0x9e37_79b9_7f4a_7c15);
            r.0 = r.next();
        }
        r
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly spread over -1..1.
    pub fn even(&mut self) -> f64 {
        (self.next() >> 11) as f64 * (2.0 / 9_007_199_254_740_992.0) - 1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spread_evenly_and_differently_for_each_seed() {
        let mut r = Random::new(&[1, 2]);
        let values: Vec<f64> = (0..10_000).map(|_| r.even()).collect();
        assert!(values.iter().all(|v| (-1.0..1.0).contains(v)));
        let mean = values.iter().sum::<f64>() / 1e4;
        let square = values.iter().map(|v| v * v).sum::<f64>() / 1e4;
        assert!(mean.abs() < 0.02 && (square - 1.0 / 3.0).abs() < 0.01, "{mean} {square}");
        assert_ne!(Random::new(&[1, 2]).even(), Random::new(&[2, 1]).even());
        assert_eq!(Random::new(&[7]).even(), Random::new(&[7]).even());
    }
}
