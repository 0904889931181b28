//! A small, quiet room around everything: early reflections, then four lines that feed each other and lose their treble.
//!
//! References: Schroeder 1962, "Natural sounding artificial reverberation", J. Audio Eng. Soc. 10(3) (the allpass diffuser); Jot & Chaigne 1991,
//! "Digital delay networks for designing artificial reverberators", AES preprint 3030 (loss by delay length). Linear and the same for every part, so that
//! the rooms of the stems add up to the room of the mix. Everything is feed-forward over the shortest delay, so that stretches are computed at once.

use crate::RATE;
use crate::filter::{self, Section};

/// Time to fall by 60 dB, seconds.
pub const RING_S: f64 = 0.55;
/// Lengths of the four lines, frames: no common divisors, 21 to 43 ms.
const LINES: [usize; 4] = [1013, 1361, 1693, 2053];
/// Diffusers for left and right, frames.
const DIFFUSERS: [[usize; 2]; 2] = [[149, 397], [163, 431]];
/// Early reflections for left and right: frames after the sound, and level.
const EARLY: [[(usize, f32); 3]; 2] = [[(557, 0.42), (941, -0.31), (1471, 0.24)], [(617, 0.42), (1033, -0.31), (1381, 0.24)]];

/// The room's answer to a left and a right sound, without the sound itself.
pub fn answer(left: &[f32], right: &[f32]) -> [Vec<f32>; 2] {
    let frames = left.len().min(right.len());
    let mut spread: Vec<Vec<f32>> = Vec::with_capacity(2);
    let mut early: Vec<Vec<f32>> = Vec::with_capacity(2);
    for (side, source) in [left, right].into_iter().enumerate() {
        let mut v = source[..frames].to_vec();
        // Low notes stay dry, and no hiss goes round.
        filter::run([Section::high_pass(180.0, 0.7), Section::low_pass(6500.0, 0.7)], &mut v);
        let mut e = vec![0.0f32; frames];
        for (delay, level) in EARLY[side] {
            for (o, s) in e.iter_mut().skip(delay).zip(&v) {
                *o += level * s;
            }
        }
        early.push(e);
        for delay in DIFFUSERS[side] {
            diffuse(&mut v, delay);
        }
        spread.push(v);
    }
    let lines = network(&spread[0], &spread[1]);
    for (side, out) in early.iter_mut().enumerate() {
        for ((o, a), b) in out.iter_mut().zip(&lines[side]).zip(&lines[side + 2]) {
            *o += 0.5 * (a + b);
        }
    }
    [early.remove(0), early.remove(0)]
}

/// An allpass of `delay` frames, in place: `v[n] = x[n] + g v[n-M]`, `y[n] = v[n-M] - g v[n]`.
fn diffuse(samples: &mut [f32], delay: usize) {
    const G: f32 = 0.58;
    let mut v = vec![0.0f32; delay + samples.len()];
    let mut n = 0;
    while n < samples.len() {
        let m = delay.min(samples.len() - n);
        let (past, now) = v.split_at_mut(delay + n);
        let past = &past[n..n + m];
        for ((y, now), past) in samples[n..n + m].iter_mut().zip(&mut now[..m]).zip(past) {
            let inner = *y + G * past;
            *now = inner;
            *y = past - G * inner;
        }
        n += m;
    }
}

/// Four lines mixed by a Hadamard matrix; left goes into the first and third, right into the others.
fn network(left: &[f32], right: &[f32]) -> [Vec<f32>; 4] {
    let frames = left.len();
    let lead = LINES[3] + 2;
    let mut lines: [Vec<f32>; 4] = std::array::from_fn(|_| vec![0.0f32; lead + frames]);
    // The treble (a quarter each of the neighbours) dies sooner.
    let weights = LINES.map(|m| {
        let g = libm::pow(10.0, -3.0 * m as f64 / f64::from(RATE) / RING_S) as f32;
        [0.22 * g, 0.56 * g, 0.22 * g]
    });
    let mut n = 0;
    let mut back: [Vec<f32>; 4] = std::array::from_fn(|_| vec![0.0f32; LINES[0] - 1]);
    while n < frames {
        let m = (LINES[0] - 1).min(frames - n);
        for i in 0..4 {
            let at = lead + n - LINES[i];
            let source = &lines[i][at - 1..at + m + 1];
            let [a, b, c] = weights[i];
            for (k, y) in back[i][..m].iter_mut().enumerate() {
                *y = a * source[k] + b * source[k + 1] + c * source[k + 2];
            }
        }
        let range = lead + n..lead + n + m;
        let [l0, l1, l2, l3] = &mut lines;
        let [b0, b1, b2, b3] = &back;
        let (l0, l1, l2, l3) = (&mut l0[range.clone()], &mut l1[range.clone()], &mut l2[range.clone()], &mut l3[range]);
        for k in 0..m {
            let (p, q) = (b0[k] + b1[k], b0[k] - b1[k]);
            let (r, s) = (b2[k] + b3[k], b2[k] - b3[k]);
            l0[k] = left[n + k] + 0.5 * (p + r);
            l1[k] = right[n + k] + 0.5 * (q + s);
            l2[k] = left[n + k] + 0.5 * (p - r);
            l3[k] = right[n + k] + 0.5 * (q - s);
        }
        n += m;
    }
    // Nothing below this is heard; it would only make arithmetic slow.
    lines.map(|l| l[lead..].iter().map(|s| if s.abs() < 1e-20 { 0.0 } else { *s }).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_room_dies_away_and_is_gentle() {
        let mut knock = vec![0.0f32; 96_000];
        knock[0] = 1.0;
        let [l, r] = answer(&knock, &vec![0.0; 96_000]);
        let power = |v: &[f32], a: usize, b: usize| v[a..b].iter().map(|s| f64::from(*s) * f64::from(*s)).sum::<f64>();
        let whole = power(&l, 0, 96_000) + power(&r, 0, 96_000);
        let late = power(&l, 48_000, 72_000) + power(&r, 48_000, 72_000);
        assert!(whole < 1.2, "{whole}");
        assert!(10.0 * libm::log10(late / whole) < -60.0);
        // A sound from the left is heard on the right as well, a little later.
        assert!(power(&r, 0, 96_000) > 0.05 * power(&l, 0, 96_000));
    }

    #[test]
    fn rooms_add_up() {
        let a: Vec<f32> = (0..4000).map(|n| ((n * 7919) % 101) as f32 / 101.0 - 0.5).collect();
        let b: Vec<f32> = (0..4000).map(|n| ((n * 104_729) % 97) as f32 / 97.0 - 0.5).collect();
        let both: Vec<f32> = a.iter().zip(&b).map(|(x, y)| x + y).collect();
        let (ra, rb, rc) = (answer(&a, &b), answer(&b, &a), answer(&both, &both));
        for side in 0..2 {
            for n in 0..4000 {
                let off = (ra[side][n] + rb[side][n] - rc[side][n]).abs();
                assert!(off < 5e-5, "{off}");
            }
        }
    }

    #[test]
    fn nothing_gives_nothing() {
        assert_eq!(answer(&[], &[]), [vec![], vec![]]);
    }
}
