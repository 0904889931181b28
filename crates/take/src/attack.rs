//! How notes begin: struck, hammered, pulled off or slid to, from the energy of the attack and from what the pitch did before.
//!
//! # Method
//! A pick or finger that strikes a string makes a short broad noise; a hammering finger makes little of it, and a sliding one none. The noise is how far the spectrum over
//! [`BRIGHT`] rises in the shortest window. A note with less than [`SOFT`] of what the strokes of its take have, alone in its stroke, is joined to a note a few
//! semitones away that ends where it begins. A slide has no onset at all where the finger moves slowly: there the sounding pitch gives way to another one (the same conditions).
//!
//! Constants: set on lines played by `sound` and on struck lines from a soundfont; the noises of real guitars differ more.

use crate::decode::{HOP_S, KEEP_FRAMES, strings};
use crate::heard::TakenNote;
use crate::network::{LOWEST, PITCHES, Posteriors};
use crate::spectra::{BINS, Spectra};
use lesson::Attack;
use pitch::Midi;

/// First bin of what counts as a stroke's noise: 4 kHz.
const BRIGHT: usize = 3 * 67 + 1;
/// A joined note has at most this share of the noise that is usual for strokes of the take.
const SOFT: f32 = 0.5;
/// With less noise than this in its strokes a take is too dark to tell.
const DARK: f32 = 0.02;
/// Semitones that a finger hammers or pulls; that it slides.
const REACH: u8 = 4;
const SLIDE: u8 = 5;
/// Frames between the end of the one and the beginning of the other.
const GAP: usize = 6;
/// Sustain under which a pitch is silent, and over which it sounds.
const SILENT: f32 = 0.3;
const SOUNDS: f32 = 0.6;
/// Frames from where the pitch gives way to where a slide of more than a semitone arrives: the ear hears the new pitch before the finger stands still.
const ARRIVES: f64 = 3.0;

/// Says of each note how it begins, and adds notes that are slid to without an onset. Notes and frames have the same beginning; notes stay in order.
pub(crate) fn attacks(post: &Posteriors, spectra: &Spectra, notes: &mut Vec<TakenNote>) {
    let noise: Vec<f32> = notes.iter().map(|n| burst(spectra, frame(n))).collect();
    // Where notes begin together, none is hammered.
    let alone = |notes: &[TakenNote], i: usize| notes.iter().enumerate().all(|(j, o)| j == i || frame(o).abs_diff(frame(&notes[i])) > 4);
    // A strum makes more noise than a single string does, and tells nothing of those.
    let mut single: Vec<f32> = (0..notes.len()).filter(|i| alone(notes, *i)).map(|i| noise[i]).collect();
    single.sort_by(f32::total_cmp);
    let Some(usual) = single.get(single.len() * 2 / 3).copied().filter(|u| *u >= DARK) else { return };
    let soft = |k: usize| burst(spectra, k) < SOFT * usual;
    // Nor where another note rings through: in comping what seems pulled is a string that was let go.
    let through = |notes: &[TakenNote], k: usize| notes.iter().any(|n| frame(n) + 3 < k && n.offset_s / HOP_S > (k + 2 * GAP) as f64);
    for i in 0..notes.len() {
        let k = frame(&notes[i]);
        if noise[i] >= SOFT * usual || !alone(notes, i) {
            continue;
        }
        let p = notes[i].midi.0;
        if let Some(j) = left(post, notes, p, k, REACH).filter(|j| alone(notes, *j) && !through(notes, k)) {
            notes[i].attack = if notes[j].midi.0 < p { Attack::Hammered } else { Attack::Pulled };
        }
    }
    let mut slid = Vec::new();
    for p in 0..PITCHES {
        let midi = LOWEST + p as u8;
        let mut k = GAP;
        while k + KEEP_FRAMES < post.frames {
            let sounds = (k..k + KEEP_FRAMES).all(|j| post.sustain(j, p) >= SOUNDS) && (k.saturating_sub(3)..k).all(|j| post.sustain(j, p) < SOUNDS) && post.sustain(k - GAP, p) < SILENT;
            let known = |n: &TakenNote| frame(n).abs_diff(k) <= 2 * GAP && n.midi.0.abs_diff(midi) < 2 && n.midi.0 == midi || frame(n).abs_diff(k) <= 3;
            if sounds && !notes.iter().any(known) && soft(k)
                && let Some(j) = left(post, notes, midi, k, SLIDE)
            {
                let far = notes[j].midi.0.abs_diff(midi);
                let onset_s = (k as f64 + if far > 1 { ARRIVES } else { 0.0 }) * HOP_S;
                let mut z = k + 2;
                while z < post.frames && (z..(z + 3).min(post.frames)).any(|j| post.sustain(j, p) >= SILENT) && !notes.iter().any(|n| n.midi.0 == midi && frame(n) == z) {
                    z += 1;
                }
                let confidence = notes[j].confidence.min(0.7);
                slid.push(TakenNote { onset_s, offset_s: z as f64 * HOP_S, midi: Midi(midi), confidence, strings: strings(post, k, p), attack: Attack::Slid });
                k += KEEP_FRAMES;
            }
            k += 1;
        }
    }
    notes.extend(slid);
    notes.sort_by(|a, b| a.onset_s.total_cmp(&b.onset_s).then(a.midi.cmp(&b.midi)));
}

fn frame(n: &TakenNote) -> usize {
    (n.onset_s / HOP_S).round().max(0.0) as usize
}

/// The note within `reach` semitones of `midi` that sounded up to frame `k` and ends there: the nearest in pitch.
fn left(post: &Posteriors, notes: &[TakenNote], midi: u8, k: usize, reach: u8) -> Option<usize> {
    let ends = |n: &TakenNote| {
        let q = usize::from(n.midi.0 - LOWEST);
        let sounded = (k.saturating_sub(2 * GAP)..k).any(|j| post.sustain(j, q) >= SOUNDS * 0.5);
        sounded && ((n.offset_s / HOP_S).round() as usize).abs_diff(k) <= GAP && post.sustain((k + GAP).min(post.frames - 1), q) < SILENT
    };
    (0..notes.len())
        .filter(|j| {
            let n = &notes[*j];
            let off = n.midi.0.abs_diff(midi);
            n.midi.0 >= LOWEST && off >= 1 && off <= reach && frame(n) + 3 < k && ends(n)
        })
        .min_by_key(|j| (notes[*j].midi.0.abs_diff(midi), std::cmp::Reverse(*j)))
}

/// How far the spectrum's bright part rises at a frame, in the network's logarithmic measure.
fn burst(spectra: &Spectra, k: usize) -> f32 {
    let shortest = |k: usize| spectra.frame(2, k);
    let last = spectra.frames.saturating_sub(1);
    let top = |frames: std::ops::RangeInclusive<usize>, b: usize| frames.map(|j| shortest(j.min(last))[b]).fold(0.0, f32::max);
    let sum: f32 = (BRIGHT..BINS).map(|b| (top(k.saturating_sub(1)..=k + 2, b) - top(k.saturating_sub(4)..=k.saturating_sub(3), b)).max(0.0)).sum();
    sum / (BINS - BRIGHT) as f32
}
