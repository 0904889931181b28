//! How far a sound supports pitches at strokes: the numbers of `features`, weighed by a small network.
//!
//! # Method
//! Two hidden layers of rectified units. Its weights were set by `checks/check/train.py` on renders of GuitarSet's players 00 and 01 alone. What comes out is the log of the
//! odds that a pitch was struck there; it has never seen which pitch is written, only which others are. Guitars are judged by what the note network hears too (`chances`), all
//! else, and guitars tuned too low for it, without.

use crate::chances::{Here, NUMBERS};
use crate::features::{Combs, FEATURES, Heard, features};
use std::sync::OnceLock;

const HIDDEN: [usize; 2] = [48, 24];
static PLAIN: &[u8] = include_bytes!("weights.bin");
static WITH_CHANCES: &[u8] = include_bytes!("weights_chances.bin");

struct Network {
    mean: Vec<f32>,
    scale: Vec<f32>,
    layers: Vec<Layer>,
}

struct Layer {
    weights: Vec<f32>,
    shift: Vec<f32>,
}

/// How many numbers go in: without or with the chances.
const fn inputs(chances: bool) -> usize {
    if chances { FEATURES + NUMBERS } else { FEATURES }
}

fn network(chances: bool) -> &'static Network {
    static NETWORKS: [OnceLock<Network>; 2] = [const { OnceLock::new() }; 2];
    NETWORKS[usize::from(chances)].get_or_init(|| {
        let bytes = if chances { WITH_CHANCES } else { PLAIN };
        let inputs = inputs(chances);
        let mut numbers = bytes.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]));
        let mut take = |n: usize| -> Vec<f32> { numbers.by_ref().take(n).collect() };
        let (mean, scale) = (take(inputs), take(inputs));
        let sizes = [inputs, HIDDEN[0], HIDDEN[1], 1];
        let layers = sizes.windows(2).map(|w| Layer { weights: take(w[0] * w[1]), shift: take(w[1]) }).collect();
        Network { mean, scale, layers }
    })
}

/// The numbers of `features`, then those of the chances where there are any.
pub(crate) fn numbers(combs: &Combs, heard: &Heard, here: Option<&Here>, midi: i32, others: &[i32]) -> Vec<f32> {
    let mut raw = features(combs, heard, midi, others).to_vec();
    raw.extend(here.iter().flat_map(|h| h.numbers(midi)));
    raw
}

/// Log odds that a pitch (MIDI) was struck at a stroke, -12 to 12; `others` as in [`features`].
pub(crate) fn log_odds(combs: &Combs, heard: &Heard, here: Option<&Here>, midi: i32, others: &[i32]) -> f32 {
    let net = network(here.is_some());
    let raw = numbers(combs, heard, here, midi, others);
    let mut values: Vec<f32> = raw.iter().zip(&net.mean).zip(&net.scale).map(|((x, m), s)| ((x - m) * s).clamp(-6.0, 6.0)).collect();
    for (n, layer) in net.layers.iter().enumerate() {
        let last = n + 1 == net.layers.len();
        values = layer
            .weights
            .chunks_exact(values.len())
            .zip(&layer.shift)
            .map(|(row, shift)| {
                let sum = shift + row.iter().zip(&values).map(|(w, v)| w * v).sum::<f32>();
                if last { sum } else { sum.max(0.0) }
            })
            .collect();
    }
    values.first().map_or(-12.0, |v| v.clamp(-12.0, 12.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_weights_are_as_many_as_the_network_has() {
        for (chances, bytes) in [(false, PLAIN), (true, WITH_CHANCES)] {
            let inputs = inputs(chances);
            let count = 2 * inputs + inputs * HIDDEN[0] + HIDDEN[0] + HIDDEN[0] * HIDDEN[1] + HIDDEN[1] + HIDDEN[1] + 1;
            assert_eq!(bytes.len(), 4 * count);
        }
    }
}
