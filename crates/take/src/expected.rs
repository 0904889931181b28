//! How far what the network says of strings is more than it expects of a pitch unheard.
//!
//! # Conventions
//! Places are strings, low to high, and frets as the network knows them: standard tuning, a lowered one moved up to it.
//!
//! # Method
//! The network's answer for a note is how likely each string is by the sound and by how often it met each place in training; of a sound that tells nothing it gives the second
//! alone, and that is no news. For each pitch of a take the mean answer is held against what is expected of that pitch, by how many nats it says more (S. Kullback, R. A. Leibler,
//! "On information and sufficiency", Annals of Mathematical Statistics 22(1), 1951, eq. 2.4), and the mean over pitches says how much the answers are to be gone by. The same
//! pitch again is nothing new.
//!
//! What is expected: a weight for each string and one for each fret, fitted to 12,000 clips of the training's own kind (`training/notes/clips.py`, notes struck alone).

use crate::heard::TakenNote;
use crate::network::{LOWEST, STRINGS};
use crate::write_out::TOGETHER_S;
use neck::Instrument;
use std::collections::BTreeMap;

/// Logarithms of how often the network met each string, and each fret.
const STRING: [f64; STRINGS] = [-4.34, -2.89, -1.2, 0.0, 0.37, 0.44];
const FRET: [f64; 24] = [
    -2.1, -1.75, -1.12, -0.64, -0.29, 0.0, 0.27, 0.43, 0.65, 0.77, 0.9, 0.98, 1.0, 0.93, 0.76, 0.65, 0.38, 0.07, -0.37, -0.95, -1.92, -2.84, -4.16, -4.07,
];
const OPEN: [u8; STRINGS] = [40, 45, 50, 55, 59, 64];
/// No string is expected less than this.
const LEAST: f64 = 0.01;
/// Nats more than expected from which answers are half believed, and over how many that changes by e. Sounds that the network knows have .3 to .7, others .04 to .3.
const NEWS: f64 = 0.25;
const NEWS_STEP: f64 = 0.03;

/// Which notes are struck alone. Notes are in order of their onsets.
pub(crate) fn alone(notes: &[TakenNote]) -> Vec<bool> {
    let near = |i: usize, j: Option<usize>| j.and_then(|j| notes.get(j)).is_some_and(|o| (notes[i].onset_s - o.onset_s).abs() < TOGETHER_S);
    (0..notes.len()).map(|i| !near(i, i.checked_sub(1)) && !near(i, Some(i + 1))).collect()
}

/// How much the network's answers about strings of notes struck alone are to be gone by, 0 to 1: 1 where there are none, or no such notes.
pub(crate) fn believed(notes: &[TakenNote], alone: &[bool], instrument: &Instrument) -> f64 {
    let lowest = (1..=instrument.strings()).filter_map(|s| instrument.sounds(s as u8, 0)).min().map_or(LOWEST, |m| m.0);
    let deeper = LOWEST.saturating_sub(lowest);
    let mut said: BTreeMap<u8, [f64; STRINGS]> = BTreeMap::new();
    for (n, _) in notes.iter().zip(alone).filter(|(n, alone)| **alone && n.strings.len() == STRINGS) {
        let sum = said.entry(n.midi.0.saturating_add(deeper)).or_insert([0.0; STRINGS]);
        sum.iter_mut().zip(&n.strings).for_each(|(sum, p)| *sum += p);
    }
    if said.is_empty() {
        return 1.0;
    }
    let news = said.iter().map(|(midi, p)| nats(&shares(p.map(|p| p.max(0.0))), &expected(*midi))).sum::<f64>() / said.len() as f64;
    1.0 / (1.0 + libm::exp(((NEWS - news) / NEWS_STEP).clamp(-50.0, 50.0)))
}

/// What the network says of a pitch's strings when it hears nothing of them.
fn expected(midi: u8) -> [f64; STRINGS] {
    let weight = |s: usize| midi.checked_sub(OPEN[s]).and_then(|f| FRET.get(usize::from(f))).map_or(0.0, |f| libm::exp(STRING[s] + f));
    shares(shares(std::array::from_fn(weight)).map(|q| q + LEAST))
}

/// By how much the first says more than the second.
fn nats(p: &[f64; STRINGS], q: &[f64; STRINGS]) -> f64 {
    p.iter().zip(q).filter(|(p, _)| **p > 0.0).map(|(p, q)| p * libm::log(p / q)).sum()
}

/// Shares of one; all alike where there is nothing.
fn shares(list: [f64; STRINGS]) -> [f64; STRINGS] {
    let all: f64 = list.iter().sum();
    if all > 0.0 { list.map(|v| v / all) } else { [1.0 / STRINGS as f64; STRINGS] }
}

#[cfg(test)]
mod tests {
    use super::*;
    use lesson::Attack;
    use pitch::Midi;

    fn note(t: f64, midi: u8, strings: Vec<f64>) -> TakenNote {
        TakenNote { onset_s: t, offset_s: t + 0.2, midi: Midi(midi), confidence: 0.9, strings, attack: Attack::Struck }
    }

    #[test]
    fn what_is_expected_is_not_believed_and_what_is_heard_is() {
        let guitar = Instrument::guitar();
        let line = [57, 60, 62, 64, 67, 69, 72, 74];
        let unheard: Vec<TakenNote> = line.iter().enumerate().map(|(i, m)| note(0.2 * i as f64, *m, expected(*m).to_vec())).collect();
        assert!(believed(&unheard, &alone(&unheard), &guitar) < 0.01);
        // Each sure of one string, the highest that has it.
        let sure = |m: u8| (0..STRINGS).map(|s| f64::from(u8::from(Some(s) == OPEN.iter().rposition(|o| *o <= m)))).collect();
        let heard: Vec<TakenNote> = line.iter().enumerate().map(|(i, m)| note(0.2 * i as f64, *m, sure(*m))).collect();
        assert!(believed(&heard, &alone(&heard), &guitar) > 0.99);
    }

    #[test]
    fn nothing_said_is_no_reason_for_doubt() {
        let guitar = Instrument::guitar();
        for notes in [vec![], vec![note(0.0, 60, vec![])], vec![note(0.0, 60, vec![1.0 / 6.0; 6]), note(0.01, 64, vec![1.0 / 6.0; 6])]] {
            assert_eq!(believed(&notes, &alone(&notes), &guitar), 1.0);
        }
        let odd = [note(0.0, 0, vec![0.0; 6]), note(1.0, 255, vec![-1.0; 6])];
        assert!((0.0..=1.0).contains(&believed(&odd, &alone(&odd), &guitar)));
    }
}
