//! How likely a reading of the beat is, and bars over it: small networks' answer to what is known of it.
//!
//! # Conventions
//! Scores are natural logarithms of odds against there being no beat that anybody could find.
//!
//! # Method
//! One network scores a reading by its cues ([`judge`](crate::beat_choice::judge)). Three more, one for each meter, add to it, for each beat on which bars could begin, what the marks of beats
//! ([`bar_marks`](crate::bar_marks)) say once they are put one bar over the other from there, and how alike beats are at each distance: so beats and bars are judged together (as in F. Krebs,
//! S. Böck and G. Widmer, "An efficient state-space model for joint tempo and meter tracking", ISMIR 2015, though there by a search). Learned on playing made for it and on players
//! 00 and 01 (`training/beats/choice.py`).

use crate::bar_marks::{BarMarks, LAGS, MARKS};
use crate::beat_choice::{CUES, OCTAVES, TOLD_METERS};
use crate::chord_scorer::{Layer, layer, layers, log_sum};
use crate::hearing::Meter;

/// Beats to a bar, and the meter; beats of 6/8 are dotted.
pub(crate) const METERS: [(usize, Meter); 3] = [(4, Meter::HEARD[0]), (3, Meter::HEARD[1]), (2, Meter::HEARD[2])];
/// Most beats to a bar.
pub(crate) const MOST: usize = 4;
/// Scores of the bars that begin on the first beat, on the second and so on, for each meter; what a meter has not is as unlikely as can be.
pub(crate) type Scores = [[f32; MOST]; METERS.len()];

/// Spread, in octaves, of the tempi that players count in; their middles (112, and of dotted beats 76 a minute) are this far from 112.
const SPREAD: f32 = 0.55;
const MIDDLES: [f32; METERS.len()] = [0.0, 0.0, -0.56];
/// Records are in 4/4 more often than what was learned from.
const RARE: [f32; METERS.len()] = [0.0, 0.25, 0.25];

const HIDDEN: usize = 768;
const HIDDEN_BARS: usize = 256;
/// What is the same for all bars over a reading: how alike beats are, the meters that the network of beats tells, onsets and its odds at places of a beat, the tempo.
const SHARED: usize = 3 * LAGS.len() + METERS.len() + 2 * 6 + 1;
/// With each beat's marks, and whether the record begins with a bar, or begins on a beat at all.
const fn inputs(meter: usize) -> usize {
    SHARED + METERS[meter].0 * MARKS + 2
}

const WEIGHTS: &[u8] = include_bytes!("../weights/choice.f16");
const SIZES: [[usize; 3]; 4] = [[CUES, HIDDEN, 1], [inputs(0), HIDDEN_BARS, 1], [inputs(1), HIDDEN_BARS, 1], [inputs(2), HIDDEN_BARS, 1]];
const fn bytes_of([a, b, c]: [usize; 3]) -> usize {
    2 * ((a + 1) * b + (b + 1) * c)
}
const _: () = assert!(WEIGHTS.len() == bytes_of(SIZES[0]) + bytes_of(SIZES[1]) + bytes_of(SIZES[2]) + bytes_of(SIZES[3]), "the weights are of another network");

pub(crate) struct Networks {
    reading: Vec<Layer>,
    bars: [Vec<Layer>; METERS.len()],
}

fn answer<const HIDDEN: usize>(layers: &[Layer], inputs: &[f32]) -> f32 {
    let hidden: [f32; HIDDEN] = layer(&layers[0], inputs);
    let [out] = layer(&layers[1], &hidden.map(|v| v.max(0.0)));
    out
}

impl Networks {
    pub fn new() -> Networks {
        let mut rest = WEIGHTS;
        let mut next = |sizes: [usize; 3]| {
            let (own, after) = rest.split_at(bytes_of(sizes));
            rest = after;
            layers(own, &sizes)
        };
        Networks { reading: next(SIZES[0]), bars: [next(SIZES[1]), next(SIZES[2]), next(SIZES[3])] }
    }

    /// Of a reading, whatever its bars are, and of each bars over it.
    pub fn scores(&self, cues: &[f32; CUES], marks: &BarMarks) -> Scores {
        let own = answer::<HIDDEN>(&self.reading, cues);
        std::array::from_fn(|m| {
            let octaves = (cues[OCTAVES] - MIDDLES[m]) / SPREAD;
            self.bars(m, cues, marks, 0..marks.marks.len()).map(|bars| own + bars - 0.5 * octaves * octaves - RARE[m])
        })
    }

    /// What bars of a meter that begin on each of its beats are worth by the marks of some beats alone, counted from the record's first beat.
    pub fn bars(&self, meter: usize, cues: &[f32; CUES], marks: &BarMarks, beats: std::ops::Range<usize>) -> [f32; MOST] {
        let count = METERS[meter].0;
        let mut inputs: Vec<f32> = marks.alike.iter().flatten().copied().collect();
        inputs.extend(cues[TOLD_METERS..TOLD_METERS + METERS.len()].iter().map(|p| libm::logf(p.max(0.02))));
        inputs.extend(&cues[6..12]);
        inputs.extend(&cues[..6]);
        inputs.push(cues[OCTAVES]);
        // The mean of each mark over beats that are so many bars apart.
        let mut means = vec![([0.0f32; MARKS], 0.0f32); count];
        for b in beats.clone() {
            let (sums, n) = &mut means[b % count];
            sums.iter_mut().zip(&marks.marks[b]).for_each(|(s, m)| *s += m);
            *n += 1.0;
        }
        // The record's first beat counts where it is among these.
        let begun = marks.begun.filter(|b| beats.contains(b));
        std::array::from_fn(|first| {
            if first >= count {
                return f32::NEG_INFINITY;
            }
            let mut own = inputs.clone();
            for place in 0..count {
                let (sums, n) = &means[(place + first) % count];
                own.extend(sums.iter().map(|s| s / n.max(1.0)));
            }
            own.push(begun.is_some_and(|b| b % count == first) as u8 as f32);
            own.push(begun.is_some() as u8 as f32);
            answer::<HIDDEN_BARS>(&self.bars[meter], &own)
        })
    }
}

/// The place in [`METERS`] of the meter that is likeliest, wherever its bars begin.
pub(crate) fn likeliest_meter(scores: &Scores) -> usize {
    let worth = scores.map(|own| log_sum(own.iter().copied()));
    (0..METERS.len()).fold(0, |best, m| if worth[m] >= worth[best] { m } else { best })
}
