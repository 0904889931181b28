//! How much each pitch class sounds, summed up to each tone frame, so that every stretch costs the same.

use crate::streams::{BINS, LOWEST_MIDI, Streams};

/// Which notes count: all, or those below middle C; the first of their twelve sums.
pub(crate) const ALL: usize = 0;
pub(crate) const LOW: usize = 12;

/// Sums of all notes' classes, then of the low ones', up to each frame.
pub(crate) struct Classes {
    sums: Vec<[f64; 24]>,
}

impl Classes {
    pub fn new(streams: &Streams) -> Classes {
        let mut sums = vec![[0.0f64; 24]];
        for frame in 0..streams.tone_frames() {
            let mut next = sums[frame];
            for (semitone, thirds) in streams.tone(frame)[..BINS].chunks_exact(3).enumerate() {
                let midi = semitone + LOWEST_MIDI;
                let strongest = f64::from(thirds.iter().fold(0.0f32, |m, v| m.max(*v)).sqrt());
                next[ALL + midi % 12] += strongest;
                if midi < 60 {
                    next[LOW + midi % 12] += strongest;
                }
            }
            sums.push(next);
        }
        Classes { sums }
    }

    /// Of one class in each tone frame, in every register.
    #[cfg(test)]
    pub fn of(classes: &[usize]) -> Classes {
        let mut sums = vec![[0.0; 24]];
        for (frame, class) in classes.iter().enumerate() {
            let mut next: [f64; 24] = sums[frame];
            next[ALL + *class] += 1.0;
            next[LOW + *class] += 1.0;
            sums.push(next);
        }
        Classes { sums }
    }

    pub fn frames(&self) -> usize {
        self.sums.len() - 1
    }

    /// From one tone frame to before another; what lies past the end is silence.
    pub fn between(&self, start: usize, end: usize, which: usize) -> [f64; 12] {
        let low = start.min(self.frames());
        let high = end.clamp(low, self.frames());
        std::array::from_fn(|c| self.sums[high][which + c] - self.sums[low][which + c])
    }
}

pub(crate) fn dot<const N: usize>(a: &[f64; N], b: &[f64; N]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_of_a_stretch_are_what_sounds_there() {
        let classes = Classes::of(&[[2; 10], [7; 10]].concat());
        let found = classes.between(5, 12, ALL);
        assert_eq!((found[2], found[7]), (5.0, 2.0));
        // Past the end there is nothing, and an end before its start is no stretch.
        assert_eq!(classes.between(30, 40, ALL), [0.0; 12]);
        assert_eq!(classes.between(8, 3, ALL), [0.0; 12]);
    }
}
