//! From the network's posteriors to notes and scratches.
//!
//! A note begins where the onset's probability peaks over a threshold and the pitch goes on sounding; it ends where the pitch stays silent for some frames, or is
//! struck again. Thresholds are set on the development excerpt and on renders, see `training/notes/README.md`.

use crate::heard::{TakenNote, TakenScratch};
use crate::network::{LOWEST, PITCHES, Posteriors, STRINGS};
use crate::spectra::{HOP, RATE_HZ};
use lesson::Attack;
use pitch::Midi;

/// Seconds from frame to frame.
pub(crate) const HOP_S: f64 = HOP as f64 / RATE_HZ as f64;

const ONSET: f32 = 0.60;
/// Mean sustain of the frames after an onset.
const KEEP: f32 = 0.35;
pub(crate) const KEEP_FRAMES: usize = 8;
/// A note ends where sustain stays under this.
const SILENT: f32 = 0.30;
const SILENT_FRAMES: usize = 3;
const SCRATCH: f32 = 0.5;
/// A peak is the highest within so many frames to either side.
const PEAK_FRAMES: usize = 3;
/// A scratch this near to a note's onset is the note's own noise.
const APART_S: f64 = 0.045;

/// Notes in order of their onsets, low before high.
pub(crate) fn notes(post: &Posteriors) -> Vec<TakenNote> {
    let mut out = Vec::new();
    for p in 0..PITCHES {
        let onset = |k: usize| post.onset(k, p);
        let peaks: Vec<usize> = peaks(post.frames, ONSET, &onset)
            .into_iter()
            .filter(|k| {
                let after = (k + 1)..(k + 1 + KEEP_FRAMES).min(post.frames);
                let n = after.len();
                n > 0 && after.map(|j| post.sustain(j, p)).sum::<f32>() / n as f32 >= KEEP
            })
            .collect();
        for (i, &k) in peaks.iter().enumerate() {
            let end = peaks.get(i + 1).copied().unwrap_or(post.frames);
            let mut z = k + 2;
            while z < end && (z..(z + SILENT_FRAMES).min(post.frames)).any(|j| post.sustain(j, p) >= SILENT) {
                z += 1;
            }
            let onset_s = (k as f64 + between(post.frames, k, &onset)) * HOP_S;
            out.push(TakenNote {
                onset_s,
                offset_s: z.max(k + 3) as f64 * HOP_S,
                midi: Midi(LOWEST + p as u8),
                confidence: f64::from(onset(k)),
                strings: strings(post, k, p),
                attack: Attack::Struck,
            });
        }
    }
    out.sort_by(|a, b| a.onset_s.total_cmp(&b.onset_s).then(a.midi.cmp(&b.midi)));
    out
}

/// Scratches that are not the noise of a note's own stroke.
pub(crate) fn scratches(post: &Posteriors, notes: &[TakenNote]) -> Vec<TakenScratch> {
    let value = |k: usize| post.scratch[k];
    peaks(post.frames, SCRATCH, &value)
        .into_iter()
        .map(|k| TakenScratch { onset_s: (k as f64 + between(post.frames, k, &value)) * HOP_S, confidence: f64::from(value(k)) })
        .filter(|s| notes.iter().all(|n| (n.onset_s - s.onset_s).abs() >= APART_S))
        .collect()
}

fn peaks(frames: usize, least: f32, value: &dyn Fn(usize) -> f32) -> Vec<usize> {
    (0..frames)
        .filter(|&k| {
            let v = value(k);
            v >= least && (k == 0 || v > value(k - 1)) && (k.saturating_sub(PEAK_FRAMES)..(k + PEAK_FRAMES + 1).min(frames)).all(|j| value(j) <= v)
        })
        .collect()
}

/// Where a peak lies between frames, by a parabola: -0.5 to 0.5.
fn between(frames: usize, k: usize, value: &dyn Fn(usize) -> f32) -> f64 {
    if k == 0 || k + 1 >= frames {
        return 0.0;
    }
    let (a, b, c) = (f64::from(value(k - 1)), f64::from(value(k)), f64::from(value(k + 1)));
    (0.5 * (a - c) / (a - 2.0 * b + c).min(-1e-6)).clamp(-0.5, 0.5)
}

/// How likely each string is, low to high: the evidence of the onset's frame and those after it.
pub(crate) fn strings(post: &Posteriors, k: usize, p: usize) -> Vec<f64> {
    let after = k..(k + 1 + KEEP_FRAMES).min(post.frames);
    let n = after.len().max(1) as f64;
    let mut mean = [0.0; STRINGS];
    for j in after {
        for (s, m) in mean.iter_mut().enumerate() {
            *m += f64::from(post.strings[(j * PITCHES + p) * STRINGS + s]) / n;
        }
    }
    let top = mean.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let parts: Vec<f64> = mean.iter().map(|m| libm::exp(m - top)).collect();
    let total: f64 = parts.iter().sum();
    parts.iter().map(|e| e / total).collect()
}
