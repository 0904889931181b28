//! How notes begin: struck, hammered, pulled off or slid to, from the energy of the attack and from what the pitch did before.
//!
//! # Method
//! A pick or finger that strikes a string makes a short broad noise; a hammering finger makes little of it, and a sliding one none. The noise is how far the spectrum over
//! [`BRIGHT`] rises in the shortest window. A note with less than [`SOFT`] of what single strokes of its take have, alone in its stroke, is joined to a note a few
//! semitones away. It is slid to where the pitches in between are heard, one after the other, from the end of the one to the beginning of the other ([`glide`]); else hammered or pulled off
//! where the one ends as the other begins. A slide has no onset at all where the finger moves slowly: there the sounding pitch gives way to another one (the same conditions).
//!
//! Constants: set on lines played by `sound` (`checks/take/attacks.py` by other seeds) and on struck lines from a soundfont; the noises of real guitars differ more.

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
/// Frames between the end of the one and the beginning of the other; and where a finger slides.
const GAP: usize = 6;
const UNDERWAY: usize = 14;
/// The pitches between two notes that are slid sound at least so loud, by [`glide`]: slides .85 to 1.03 but for one of 27, hammered and pulled notes .45 to .82.
const GLIDES: f32 = 0.84;
/// Bins over a pitch at which its first six partials lie.
const PARTIALS: [usize; 6] = [0, 36, 57, 72, 84, 93];
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
        if slid_from(spectra, notes, p, k).is_some_and(|j| alone(notes, j) && !through(notes, k)) {
            notes[i].attack = Attack::Slid;
        } else if let Some(j) = left(post, notes, p, k, REACH).filter(|j| alone(notes, *j) && !through(notes, k)) {
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
                && let Some(j) = slid_from(spectra, notes, midi, k).or_else(|| left(post, notes, midi, k, SLIDE))
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

/// The note within [`SLIDE`] semitones of `midi` that ended shortly before frame `k` and from which the pitch glides to it.
fn slid_from(spectra: &Spectra, notes: &[TakenNote], midi: u8, k: usize) -> Option<usize> {
    (0..notes.len())
        .filter_map(|j| {
            let n = &notes[j];
            let (off, end) = (n.midi.0.abs_diff(midi), (n.offset_s / HOP_S).round() as usize);
            let near = n.midi.0 >= LOWEST && off >= 1 && off <= SLIDE && frame(n) + 3 < k && end <= k + GAP && k <= end + UNDERWAY;
            near.then(|| (j, glide(spectra, n.midi.0, midi, end.min(k), k)))
        })
        .filter(|(_, g)| *g >= GLIDES)
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(j, _)| j)
}

/// How loud the pitches between two sound on the way from the one, which ends at frame `end`, to the other at `k`: 0 where no louder than before and after, 1 where as loud as the two
/// themselves. Each at its loudest, semitone by semitone, for neighbours at the thirds between them; the mean of six partials' logarithmic measure in the middle window.
fn glide(spectra: &Spectra, from: u8, to: u8, end: usize, k: usize) -> f32 {
    let last = spectra.frames.saturating_sub(1);
    // `bin`: thirds of a semitone over the lowest pitch, and one.
    let sounds = |bin: usize, t: usize| {
        let frame = spectra.frame(1, t.min(last));
        PARTIALS.iter().map(|p| frame.get(bin + p).copied().unwrap_or(0.0)).sum::<f32>() / PARTIALS.len() as f32
    };
    let bin = |midi: u8| 1 + 3 * usize::from(midi.saturating_sub(LOWEST));
    let (a, b) = (bin(from.min(to)), bin(from.max(to)));
    let between: Vec<usize> = if b - a == 3 { vec![a + 1, a + 2] } else { (a + 3..b).step_by(3).collect() };
    let (start, before) = (end.saturating_sub(3), end.saturating_sub(8));
    let mean = |of: &dyn Fn(usize) -> f32| between.iter().map(|x| of(*x)).sum::<f32>() / between.len().max(1) as f32;
    let loudest = mean(&|x| (start..=k + 1).map(|t| sounds(x, t)).fold(0.0, f32::max));
    let floor = mean(&|x| sounds(x, before).min(sounds(x, k + 10)));
    let ends = 0.5 * (sounds(bin(from), before) + sounds(bin(to), k + 6));
    if ends - floor < 1e-3 { 0.0 } else { (loudest - floor) / (ends - floor) }
}

/// How far the spectrum's bright part rises at a frame, in the network's logarithmic measure.
fn burst(spectra: &Spectra, k: usize) -> f32 {
    let shortest = |k: usize| spectra.frame(2, k);
    let last = spectra.frames.saturating_sub(1);
    let top = |frames: std::ops::RangeInclusive<usize>, b: usize| frames.map(|j| shortest(j.min(last))[b]).fold(0.0, f32::max);
    let sum: f32 = (BRIGHT..BINS).map(|b| (top(k.saturating_sub(1)..=k + 2, b) - top(k.saturating_sub(4)..=k.saturating_sub(3), b)).max(0.0)).sum();
    sum / (BINS - BRIGHT) as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spectra::RATE_HZ;

    /// Where a plucked string of that pitch (MIDI, second by second) has its first eight partials, which fade; a second of it.
    fn string(midi: impl Fn(f64) -> f64) -> Spectra {
        let rate = f64::from(RATE_HZ);
        let mut phase = 0.0;
        let samples: Vec<f32> = (0..RATE_HZ)
            .map(|n| {
                let t = f64::from(n) / rate;
                phase += std::f64::consts::TAU * 440.0 * libm::exp2((midi(t) - 69.0) / 12.0) / rate;
                (1..=8).map(f64::from).map(|k| 0.2 / k * libm::exp(-t * (1.0 + 0.3 * k)) * libm::sin(k * phase)).sum::<f64>() as f32
            })
            .collect();
        Spectra::new(&samples, 440.0)
    }

    #[test]
    fn what_is_slid_is_heard_on_the_way_and_what_is_hammered_is_not() {
        let frame = |t: f64| (t / HOP_S).round() as usize;
        for (from, to) in [(52u8, 53u8), (57, 55), (59, 64), (64, 62), (72, 67)] {
            let (a, b) = (f64::from(from), f64::from(to));
            // Fret by fret, 30 ms each and 50 ms to begin with, to arrive at half a second.
            let frets = (b - a).abs();
            let leave = 0.5 - (0.05 + 0.03 * frets);
            let slid = string(|t| a + (b - a) * (((t - leave) / (0.5 - leave)).clamp(0.0, 1.0) * frets).round() / frets);
            let slid = if frets > 1.0 { slid } else { string(|t| a + (b - a) * ((t - leave) / (0.5 - leave)).clamp(0.0, 1.0)) };
            let hammered = string(|t| if t < 0.5 { a } else { b });
            let (s, h) = (glide(&slid, from, to, frame(leave), frame(0.48)), glide(&hammered, from, to, frame(0.5), frame(0.49)));
            assert!(s >= GLIDES && h < GLIDES - 0.02, "{from} to {to}: slid {s:.2}, hammered {h:.2}");
        }
        let silent = Spectra::new(&[0.0; 22_050], 440.0);
        assert_eq!(glide(&silent, 57, 60, 40, 43), 0.0);
    }
}
