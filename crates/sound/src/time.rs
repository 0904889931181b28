//! Written time turned into frames, and what a loop's second round hears of the first.

use crate::RATE;
use lesson::{Beats, Passage, Sounding};

/// Frequency of a MIDI pitch (fractions allowed), hertz; equal temperament, 69 = 440 Hz.
pub fn hz(midi: f64) -> f64 {
    440.0 * libm::exp2((midi - 69.0) / 12.0)
}

/// A passage's time at one tempo.
#[derive(Clone, Copy, Debug)]
pub struct Clock<'a> {
    passage: &'a Passage,
    /// Seconds here for each second at full tempo.
    slower: f64,
}

impl<'a> Clock<'a> {
    /// The passage at `percent` of its tempo.
    pub fn new(passage: &'a Passage, percent: u32) -> Clock<'a> {
        Clock { passage, slower: 100.0 / f64::from(percent.max(1)) }
    }

    /// Seconds from the passage's beginning to a written time (swing and changes of tempo included).
    pub fn seconds(&self, at: Beats) -> f64 {
        self.passage.seconds_at(at) * self.slower
    }

    /// Seconds from the passage's beginning to a place in a bar.
    pub fn in_bar(&self, bar: usize, at: Beats) -> f64 {
        self.passage.seconds(bar, at) * self.slower
    }

    /// Length of the whole passage, seconds.
    pub fn length_s(&self) -> f64 {
        self.passage.duration() * self.slower
    }

    /// Nearest frame of a written time.
    pub fn frame(&self, at: Beats) -> i64 {
        frame(self.seconds(at))
    }

    /// The soundings with their times in frames.
    pub fn notes<'s>(&self, soundings: &'s [Sounding]) -> Vec<Note<'s>> {
        soundings.iter().map(|s| self.note(s)).collect()
    }

    fn note<'s>(&self, s: &'s Sounding) -> Note<'s> {
        let start = self.frame(s.at);
        let end = self.frame(s.at + s.len);
        let after = |t: Beats| self.frame(s.at + t) - start;
        Note {
            sounding: s,
            start,
            end,
            bend_at: s.bend.iter().map(|(t, _)| after(*t)).collect(),
            slide_at: s.slide.map(|(t, _)| after(t)),
            tremolo: if s.tremolo { self.tremolo(s) } else { Vec::new() },
        }
    }

    /// Tremolo strokes of a note, frames from its onset: the coarsest even division of a quarter that gives at least 9 strokes a second.
    fn tremolo(&self, s: &Sounding) -> Vec<i64> {
        let (start, end) = (self.seconds(s.at), self.seconds(s.at + s.len));
        let quarters = *s.len.numer() as f64 / *s.len.denom() as f64;
        let mut step = Beats::new(1, 2);
        while (end - start) / quarters.max(1e-9) * (*step.numer() as f64 / *step.denom() as f64) > 1.0 / 9.0 && *step.denom() < 64 {
            step /= 2;
        }
        let mut at = Beats::from(0);
        let mut out = Vec::new();
        while at < s.len && out.len() < 10_000 {
            out.push(self.frame(s.at + at) - frame(start));
            at += step;
        }
        out
    }
}

/// Nearest frame of a time in seconds.
pub fn frame(s: f64) -> i64 {
    libm::round(s * f64::from(RATE)) as i64
}

/// A sounding with its times in frames from the passage's beginning.
#[derive(Clone, Debug)]
pub struct Note<'a> {
    pub sounding: &'a Sounding,
    pub start: i64,
    pub end: i64,
    /// When each point of the bend is reached, frames from the onset.
    pub bend_at: Vec<i64>,
    pub slide_at: Option<i64>,
    /// Strokes of a tremolo, frames from the onset; empty without one.
    pub tremolo: Vec<i64>,
}

/// The frames for which an instrument sounds: a passage once, or one round of a loop with some of the round before, so that what rings over the seam is
/// there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// First frame, 0 or before.
    pub from: i64,
    /// End, exclusive.
    pub to: i64,
    /// Length of a round.
    pub round: Option<i64>,
}

/// How much of the round before is played into a loop: rooms and filters have died away after this long, frames.
const LEAD_IN: i64 = RATE as i64 * 3 / 2;

impl Stretch {
    /// Once through `length` frames, with `tail` more to ring out.
    pub fn once(length: i64, tail: i64) -> Stretch {
        Stretch { from: 0, to: length + tail, round: None }
    }

    /// A round of `length` frames that comes back.
    pub fn round(length: i64) -> Stretch {
        Stretch { from: -LEAD_IN, to: length, round: (length > 0).then_some(length) }
    }

    /// All frames, those before 0 included.
    pub fn frames(&self) -> usize {
        (self.to - self.from).max(0) as usize
    }

    /// Frames from 0 on.
    pub fn kept(&self) -> usize {
        self.to.max(0) as usize
    }

    /// By how many frames each round that is heard here is moved: 0 alone, or the rounds before, this one and the next.
    pub fn shifts(&self) -> Vec<i64> {
        match self.round {
            None => vec![0],
            Some(length) => {
                let before = (-self.from + length - 1) / length + 1;
                (-before..=1).map(|k| k * length).collect()
            }
        }
    }

    /// What happens in one round, repeated over the rounds heard here, in order. The first is the last one before the stretch that makes a new start, so that
    /// nothing before it matters; where there is none, nothing is left out.
    pub fn unroll<A>(
        &self,
        acts: Vec<A>,
        start: impl Fn(&A) -> i64,
        fresh: impl Fn(&A) -> bool,
        moved: impl Fn(&A, i64) -> A,
    ) -> Vec<A> {
        if self.round.is_none() {
            return acts;
        }
        let mut all: Vec<A> = self.shifts().into_iter().flat_map(|by| acts.iter().map(move |a| (a, by))).map(|(a, by)| moved(a, by)).collect();
        all.sort_by_key(&start);
        let first = all.iter().rposition(|a| fresh(a) && start(a) <= self.from).unwrap_or(0);
        all.drain(..first);
        all
    }

    /// Adds `gain` times a sample that begins at `at` in each round to `out` (the frames of this stretch).
    pub fn add(&self, out: &mut [f32], sample: &[f32], at: i64, gain: f32) {
        for by in self.shifts() {
            let begin = at + by - self.from;
            let skip = (-begin).max(0) as usize;
            let Some(source) = sample.get(skip..) else { continue };
            let Some(target) = out.get_mut(begin.max(0) as usize..) else { continue };
            for (o, s) in target.iter_mut().zip(source) {
                *o += gain * s;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_loop_hears_the_round_before_and_the_touch_of_the_next() {
        let s = Stretch::round(24_000);
        // Struck at 100, gone on with at 12 000.
        let all = s.unroll(vec![(100, true), (12_000, false)], |a| a.0, |a| a.1, |a, by| (a.0 + by, a.1));
        assert_eq!(all.first(), Some(&(100 - 96_000, true)));
        assert_eq!(all.last(), Some(&(36_000, false)));
        assert!(all.windows(2).all(|w| w[0].0 < w[1].0));
        assert_eq!(Stretch::once(10, 5).unroll(vec![3], |a| *a, |_| true, |a, by| a + by), vec![3]);
    }

    #[test]
    fn samples_wrap_round() {
        let s = Stretch { from: -4, to: 6, round: Some(6) };
        let mut out = vec![0.0; s.frames()];
        s.add(&mut out, &[1.0, 2.0, 3.0], 5, 1.0);
        assert_eq!(out, [0.0, 0.0, 0.0, 1.0, 2.0, 3.0, 0.0, 0.0, 0.0, 1.0]);
    }

    #[test]
    fn concert_pitch() {
        assert_eq!(hz(69.0), 440.0);
        assert!((hz(40.0) - 82.4069).abs() < 1e-4);
    }
}
