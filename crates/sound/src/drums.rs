//! A plain kit: kick, snare, hats, ride, crash and tom, each made from tones that fall and from coloured noise.

use crate::RATE;
use crate::filter::{self, Section};
use crate::random::Random;
use crate::time::{Note, Stretch};
use lesson::{Drum, Source};
use std::collections::BTreeMap;
use std::f64::consts::TAU;

/// So many different hits of each drum, taken in turn, so that a roll does not sound like a machine.
const VARIANTS: u64 = 4;

/// The dry sound of a drum part over `stretch`, mono.
pub fn play(notes: &[Note], seed: u64, stretch: &Stretch) -> Vec<f32> {
    let mut out = vec![0.0f32; stretch.frames()];
    let mut hits: BTreeMap<(Drum, u64), Vec<f32>> = BTreeMap::new();
    for (i, note) in notes.iter().enumerate() {
        let Source::Drum(drum) = note.sounding.source else { continue };
        let variant = i as u64 % VARIANTS;
        let hit = hits.entry((drum, variant)).or_insert_with(|| hit(drum, variant));
        let mut random = Random::new(&[seed, i as u64]);
        let s = note.sounding;
        let level = if s.accent { 1.6 } else if s.ghost { 0.22 } else { 1.0 } * (1.0 + 0.05 * random.even());
        let hats = |d: Drum| matches!(d, Drum::Hats | Drum::OpenHats);
        let closed = hats(drum).then(|| notes.iter().filter(|n| n.start > note.start && matches!(n.sounding.source, Source::Drum(d) if hats(d))).map(|n| n.start).min()).flatten();
        match closed {
            // The pedal or the next stroke ends the ringing.
            Some(at) if ((at - note.start) as usize) < hit.len() => {
                let mut short = hit[..(at - note.start) as usize].to_vec();
                let fade = short.len().min(480);
                let from = short.len() - fade;
                for (k, v) in short[from..].iter_mut().enumerate() {
                    *v *= 1.0 - k as f32 / fade as f32;
                }
                stretch.add(&mut out, &short, note.start, level as f32);
            }
            _ => stretch.add(&mut out, hit, note.start, level as f32),
        }
    }
    out
}

/// One hit.
fn hit(drum: Drum, variant: u64) -> Vec<f32> {
    let mut random = Random::new(&[drum as u64, variant]);
    let vary = 1.0 + 0.02 * random.even();
    let mut hit = match drum {
        Drum::Kick => {
            let mut v = tone(0.42, 47.0 * vary, 118.0, 0.022, 0.12, 0.9);
            mix(&mut v, &noise(0.03, 0.004, [Section::low_pass(2600.0, 0.7), Section::high_pass(300.0, 0.7)], &mut random), 0.5);
            v
        }
        Drum::Snare => {
            let mut v = tone(0.25, 178.0 * vary, 60.0, 0.012, 0.055, 0.55);
            mix(&mut v, &tone(0.2, 324.0 * vary, 40.0, 0.01, 0.035, 0.28), 1.0);
            mix(&mut v, &noise(0.36, 0.09, [Section::high_pass(1100.0, 0.7), Section::peak(3800.0, 0.8, 4.0)], &mut random), 0.38);
            v
        }
        Drum::Hats => metal(0.11, 0.022, 7200.0, 0.42, vary, &mut random),
        Drum::OpenHats => metal(0.9, 0.19, 6400.0, 0.36, vary, &mut random),
        Drum::Ride => {
            let mut v = metal(1.6, 0.42, 4200.0, 0.14, vary * 0.82, &mut random);
            mix(&mut v, &metal(0.12, 0.02, 5200.0, 0.3, vary * 1.1, &mut random), 1.0);
            v
        }
        Drum::Crash => {
            let mut v = metal(2.2, 0.5, 2600.0, 0.24, vary * 0.7, &mut random);
            mix(&mut v, &noise(2.2, 0.42, [Section::high_pass(2400.0, 0.7), Section::low_pass(11_000.0, 0.7)], &mut random), 0.28);
            v
        }
        Drum::Tom => {
            let mut v = tone(0.6, 104.0 * vary, 46.0, 0.03, 0.16, 0.7);
            mix(&mut v, &noise(0.05, 0.009, [Section::low_pass(1800.0, 0.7), Section::high_pass(200.0, 0.7)], &mut random), 0.3);
            v
        }
    };
    // No edge at either end.
    let frames = hit.len();
    for (n, v) in hit.iter_mut().enumerate() {
        *v *= (n as f32 / 24.0).min(1.0) * ((frames - n) as f32 / 960.0).min(1.0);
    }
    hit
}

fn mix(into: &mut Vec<f32>, other: &[f32], gain: f32) {
    into.resize(into.len().max(other.len()), 0.0);
    for (a, b) in into.iter_mut().zip(other) {
        *a += gain * b;
    }
}

/// A tone that begins `above` hertz over `hz` and falls to it with `sink_s`, dying with `fade_s`.
fn tone(length_s: f64, hz: f64, above: f64, sink_s: f64, fade_s: f64, level: f64) -> Vec<f32> {
    let rate = f64::from(RATE);
    let mut turn = 0.0f64;
    (0..(length_s * rate) as usize)
        .map(|n| {
            let t = n as f64 / rate;
            turn += (hz + above * libm::exp(-t / sink_s)) / rate;
            (level * libm::sin(TAU * turn) * libm::exp(-t / fade_s)) as f32
        })
        .collect()
}

/// Coloured noise that dies with `fade_s`.
fn noise(length_s: f64, fade_s: f64, colour: [Section; 2], random: &mut Random) -> Vec<f32> {
    let rate = f64::from(RATE);
    let mut v: Vec<f32> = (0..(length_s * rate) as usize)
        .map(|n| (random.even() * libm::exp(-(n as f64) / rate / fade_s)) as f32)
        .collect();
    filter::run(colour, &mut v);
    v
}

/// Struck metal: six square tones out of tune with each other, and noise, over `floor_hz`.
fn metal(length_s: f64, fade_s: f64, floor_hz: f64, level: f64, tune: f64, random: &mut Random) -> Vec<f32> {
    // Partials of no common root, as thin plates have (chosen by ear).
    const HZ: [f64; 6] = [263.0, 417.0, 553.0, 691.0, 812.0, 1129.0];
    let rate = f64::from(RATE);
    let mut turns: [f64; 6] = std::array::from_fn(|_| 0.5 + 0.5 * random.even());
    let mut v: Vec<f32> = (0..(length_s * rate) as usize)
        .map(|n| {
            let t = n as f64 / rate;
            let mut sum = 0.0;
            for (turn, hz) in turns.iter_mut().zip(HZ) {
                *turn += 1.7 * hz * tune / rate;
                if *turn >= 1.0 {
                    *turn -= 1.0;
                }
                sum += if *turn < 0.5 { 1.0 } else { -1.0 };
            }
            let rough = sum / 6.0 + 1.1 * random.even();
            (level * rough * (0.75 * libm::exp(-t / fade_s) + 0.25 * libm::exp(-t / (0.25 * fade_s)))) as f32
        })
        .collect();
    filter::run([Section::high_pass(floor_hz, 0.7), Section::high_pass(floor_hz * 0.6, 0.7), Section::low_pass(13_500.0, 0.6)], &mut v);
    v
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean frequency by crossings of zero, hertz.
    fn brightness(v: &[f32]) -> f64 {
        let loud: Vec<f32> = v.iter().copied().take(4800).collect();
        loud.windows(2).filter(|w| (w[0] < 0.0) != (w[1] < 0.0)).count() as f64 * 24_000.0 / loud.len() as f64
    }

    #[test]
    fn each_drum_lies_where_it_should() {
        let b = |d| brightness(&hit(d, 0));
        assert!(b(Drum::Kick) < 150.0, "{}", b(Drum::Kick));
        assert!((90.0..400.0).contains(&b(Drum::Tom)), "{}", b(Drum::Tom));
        assert!(b(Drum::Snare) > 300.0 && b(Drum::Snare) < b(Drum::Hats));
        assert!(b(Drum::Hats) > 5000.0);
        for d in [Drum::Kick, Drum::Snare, Drum::Hats, Drum::OpenHats, Drum::Ride, Drum::Crash, Drum::Tom] {
            let v = hit(d, 1);
            assert!(v.iter().all(|s| s.abs() < 1.5) && v.iter().any(|s| s.abs() > 0.05), "{d:?}");
            assert!(v[v.len() - 1].abs() < 1e-3 && v[0] == 0.0, "{d:?} ends softly");
            assert_ne!(v, hit(d, 2), "{d:?} varies");
        }
        assert!(hit(Drum::OpenHats, 0).len() > 4 * hit(Drum::Hats, 0).len());
    }
}
