//! What beats show of the bars that they belong to: marks of each beat, and how much beats are like those so many before.
//!
//! # Conventions
//! Beats are frames of the onset stream, with fractions.
//!
//! # Method
//! A bar's first beat is marked by changes of harmony, by the bass and by stress (M. Goto, "An audio-based real-time beat tracking system for music with or without drum-sounds", J. New
//! Music Research 30(2), 2001). What is played comes back after a bar, or after some of them, whatever its first beat: how alike beats are at each distance (as in J. Foote and S. Uchihashi,
//! "The beat spectrum", ICME 2001, there over time) shows how many beats a bar has (M. Gainza, "Automatic musical meter detection", ICASSP 2009; cited from memory).

use crate::beat_choice::{Cues, length_at, place};
use crate::classes::{ALL, LOW, dot};
use crate::pulse::{Pulse, first_share, near};
use crate::streams::{ONSET_HOP, TONE_HOP};

/// Marks of a beat.
pub(crate) const MARKS: usize = 8;
/// Distances at which beats are held against each other.
pub(crate) const LAGS: [usize; 11] = [1, 2, 3, 4, 5, 6, 7, 8, 9, 12, 16];
/// Places within a beat that make its rhythm: quarters and thirds.
const PLACES: usize = 12;
/// Streams of the cues that make a beat's rhythm: all onsets, low ones, high ones.
const RHYTHM: [usize; 3] = [1, 2, 4];

/// What beats show.
pub(crate) struct BarMarks {
    /// In spreads from the mean over all beats: the share of a bar's first by the network, change of harmony at once and over a longer while, low onsets, all onsets, high ones, how much the
    /// harmony of a beat differs from the one before, and that of the bass.
    pub marks: Vec<[f32; MARKS]>,
    /// How alike rhythms are at each of [`LAGS`], and harmonies, and basses; 1 for the same, 0 for no more than any two are.
    pub alike: [[f32; LAGS.len()]; 3],
    /// The beat on which the record begins.
    pub begun: Option<usize>,
}

/// How far off a beat, in beats, the record may begin on it.
const BEGINS: f64 = 0.12;

/// Of two beats or more.
pub(crate) fn bar_marks(beats: &[f64], pulse: &Pulse, cues: &Cues) -> BarMarks {
    let count = beats.len();
    let length = |b: usize| length_at(beats, b);
    let likely = |values: &[f32], frame: f64| near(values, (frame / 2.0).round() as usize);
    let at = |stream: usize, frame: f64| cues.stream(stream).get(frame.round().max(0.0) as usize).copied().unwrap_or(0.0);
    // The windows of the tones are wide: the middle of the beat is its own.
    let per_tone = (TONE_HOP / ONSET_HOP) as f64;
    let tones = |from: usize| -> Vec<[f64; 12]> {
        let own = |b: usize| {
            let tone = |part: f64| ((beats[b] + part * length(b)) / per_tone).round().max(0.0) as usize;
            let sums = cues.classes.between(tone(0.2), tone(0.9), from);
            let size = libm::sqrt(dot(&sums, &sums));
            if size > 1e-9 { sums.map(|v| v / size) } else { [0.0; 12] }
        };
        (0..count).map(own).collect()
    };
    let (all, low) = (tones(ALL), tones(LOW));
    let differs = |tones: &[[f64; 12]], b: usize| if b == 0 { 0.3 } else { libm::sqrt((1.0 - dot(&tones[b - 1], &tones[b])).max(0.0)) as f32 };
    let raw: Vec<[f32; MARKS]> = (0..count)
        .map(|b| {
            let f = beats[b];
            let share = first_share(likely(&pulse.down, f), likely(&pulse.beat, f));
            [libm::logf(share), at(7, f), at(6, f), at(2, f), at(1, f), at(4, f), differs(&all, b), differs(&low, b)]
        })
        .collect();
    let mut marks = raw.clone();
    for i in 0..MARKS {
        let mean = raw.iter().map(|r| r[i]).sum::<f32>() / count.max(1) as f32;
        let spread = (raw.iter().map(|r| (r[i] - mean) * (r[i] - mean)).sum::<f32>() / count.max(1) as f32).sqrt();
        marks.iter_mut().for_each(|m| m[i] = if spread > 1e-6 { ((m[i] - mean) / spread).clamp(-2.5, 2.5) } else { 0.0 });
    }
    let shapes: Vec<[f64; 3 * PLACES]> = (0..count)
        .map(|b| std::array::from_fn(|i| f64::from(at(RHYTHM[i / PLACES], beats[b] + (i % PLACES) as f64 / PLACES as f64 * length(b)))))
        .collect();
    let (beat, beginning) = place(beats, 0.0);
    let nearest = beginning.round();
    let there = (nearest - beginning).abs() < BEGINS && (0.0..2.0).contains(&nearest);
    let begun = there.then(|| beat + nearest as usize);
    BarMarks { marks, alike: [likeness(shapes), likeness(all), likeness(low)], begun }
}

/// How alike vectors are at each lag, their mean taken off.
fn likeness<const N: usize>(mut vectors: Vec<[f64; N]>) -> [f32; LAGS.len()] {
    let count = vectors.len();
    let mean: [f64; N] = std::array::from_fn(|i| vectors.iter().map(|v| v[i]).sum::<f64>() / count.max(1) as f64);
    vectors.iter_mut().for_each(|v| v.iter_mut().zip(&mean).for_each(|(x, m)| *x -= m));
    LAGS.map(|lag| {
        let (mut both, mut own) = (0.0, 1e-6);
        for b in 0..count.saturating_sub(lag) {
            both += dot(&vectors[b], &vectors[b + lag]);
            own += 0.5 * (dot(&vectors[b], &vectors[b]) + dot(&vectors[b + lag], &vectors[b + lag]));
        }
        (both / own) as f32
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::beats::tests::played;
    use crate::classes::Classes;
    use crate::pulse::METERS;
    use crate::streams::onset_rate;

    #[test]
    fn what_comes_back_after_three_beats_is_alike_at_three_and_six() {
        let bar = [[1.0, 0.0, 0.2], [0.0, 1.0, 0.1], [0.3, 0.2, 1.0]];
        let found = likeness((0..30).map(|b| bar[b % 3]).collect());
        let at = |lag: usize| found[LAGS.iter().position(|l| *l == lag).unwrap()];
        assert!([3, 6, 9, 12].iter().all(|l| at(*l) > 0.999), "{found:?}");
        assert!([1, 2, 4, 5, 7, 8, 16].iter().all(|l| at(*l) < 0.0), "{found:?}");
        // Nothing that differs has nothing alike.
        assert!(likeness(vec![[0.5; 3]; 30]).iter().all(|v| *v == 0.0));
        assert!(likeness(Vec::<[f64; 3]>::new()).iter().all(|v| *v == 0.0));
    }

    #[test]
    fn the_record_begins_on_a_beat_near_its_start_or_on_none() {
        let beats_from = |first: f64| (0..20).map(|n| first + 80.0 * f64::from(n)).collect::<Vec<f64>>();
        let pulse = Pulse { beat: vec![0.5; 1000], down: vec![0.1; 1000], meters: [1.0 / 3.0; METERS] };
        let cues = Cues::from(&played(&[], 2000.0 / onset_rate()), &pulse, &[], &[], Classes::of(&[]));
        for (first, begun) in [(0.0, Some(0)), (5.0, Some(0)), (40.0, None), (-76.0, Some(1))] {
            let found = bar_marks(&beats_from(first), &pulse, &cues);
            assert_eq!(found.begun, begun, "{first}");
            assert!(found.marks.iter().flatten().all(|m| m.abs() <= 2.5));
        }
    }
}
