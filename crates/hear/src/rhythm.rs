//! What the network of [`pulse`](crate::pulse) sees of a record: onsets and levels in bands, and how much the harmony moves, 43 frames a second.
//!
//! # Method
//! Of each four hops of the onset stream: the rise of each group of bands, twice (the larger of two hops), and the mean level of each two groups. Change of
//! harmony (after J. Foote, "Automatic audio segmentation using a measure of audio novelty", ICME 2000) is one less the cosine of the pitch classes' weights
//! before and after, three times: over a third of a second, over a second and a half, and over a third of a second below middle C alone.

use crate::classes::{ALL, Classes, LOW, dot};
use crate::streams::{GROUPS, ONSET_HOP, Streams, TONE_HOP};

/// Hops of the onset stream in a frame.
pub(crate) const HOPS: usize = 4;
pub(crate) const CHANNELS: usize = 2 * GROUPS + GROUPS / 2 + NOVELTIES.len();
/// Tone frames left out next to the moment (the window is wide), tone frames compared, and notes that count.
const NOVELTIES: [(usize, usize, usize); 3] = [(2, 8, ALL), (2, 34, ALL), (2, 8, LOW)];

/// [`CHANNELS`] values a frame.
pub(crate) fn rhythm(streams: &Streams, classes: &Classes) -> Vec<f32> {
    let frames = streams.onsets.len().div_ceil(HOPS);
    let novelties = NOVELTIES.map(|(gap, reach, which)| novelty(classes, gap, reach, which));
    let mut out = Vec::with_capacity(frames * CHANNELS);
    let per_tone = TONE_HOP as f32 / (HOPS * ONSET_HOP) as f32;
    for frame in 0..frames {
        let hops = frame * HOPS..((frame + 1) * HOPS).min(streams.onsets.len());
        let (rises, levels) = (&streams.onsets[hops.clone()], &streams.levels[hops]);
        for group in 0..GROUPS {
            for half in 0..2 {
                out.push(rises.iter().skip(half * HOPS / 2).take(HOPS / 2).fold(0.0f32, |m, r| m.max(r[group])));
            }
        }
        for pair in 0..GROUPS / 2 {
            out.push(levels.iter().map(|l| l[pair]).sum::<f32>() / levels.len() as f32);
        }
        for change in &novelties {
            let at = (frame as f32 + 0.5) / per_tone;
            let low = at as usize;
            let part = at - low as f32;
            let get = |n: usize| change[n.min(change.len() - 1)];
            out.push(get(low) * (1.0 - part) + get(low + 1) * part);
        }
    }
    out
}

/// How differently the pitch classes are weighed before and after each tone frame, 0 to 1.
pub(crate) fn novelty(classes: &Classes, gap: usize, reach: usize, which: usize) -> Vec<f32> {
    (0..classes.frames())
        .map(|n| {
            let before = classes.between(n.saturating_sub(reach), n.saturating_sub(gap), which);
            let after = classes.between(n + gap, n + reach, which);
            let both = dot(&before, &before) * dot(&after, &after);
            if both <= 1e-12 { 0.0 } else { (1.0 - dot(&before, &after) / libm::sqrt(both)).clamp(0.0, 1.0) as f32 }
        })
        .collect()
}
