//! Loops: what rings at the end is heard at the beginning, and nothing marks the seam.

use crate::measure::*;
use sound::RATE;

/// A chord that rings at the bar's end, and a rest at its beginning.
fn ringing() -> lesson::Passage {
    guitar(&[". . e - . 5:3 . e"])
}

/// Largest second difference (what a click is made of) within 3 ms around each frame given, of the loop played twice.
fn roughness(v: &[f32], at: usize) -> f32 {
    let n = v.len();
    (at + n - 144..at + n + 144).map(|i| (v[(i + 1) % n] - 2.0 * v[i % n] + v[(i + n - 1) % n]).abs()).fold(0.0, f32::max)
}

/// The seam's roughness over the greatest in the tenth of a second on both sides of it.
fn seam_over_neighbours(v: &[f32]) -> f32 {
    let n = v.len();
    let near = (2..16).flat_map(|k| [roughness(v, n - k * 300), roughness(v, k * 300)]).fold(0.0, f32::max);
    roughness(v, 0) / near.max(1e-9)
}

/// Level above 6 kHz of 5 ms around a frame of the loop, dB.
fn treble(v: &[f32], at: usize) -> f64 {
    let n = v.len();
    let window: Vec<f32> = (0..240).map(|i| v[(at + n - 120 + i) % n] * (0.5 - 0.5 * (std::f32::consts::TAU * i as f32 / 240.0).cos())).collect();
    let power: f64 = (30..110)
        .map(|k| {
            let (mut c, mut s) = (0.0, 0.0);
            for (i, x) in window.iter().enumerate() {
                let turn = std::f64::consts::TAU * k as f64 * i as f64 / 240.0;
                c += f64::from(*x) * turn.cos();
                s += f64::from(*x) * turn.sin();
            }
            c * c + s * s
        })
        .sum();
    10.0 * (power + 1e-14).log10()
}

#[test]
fn what_rings_at_the_end_goes_on_at_the_beginning() {
    let p = ringing();
    let looped = mono(&render(&p, 100, true).stems[0].1);
    let plain = mono(&render(&p, 100, false).stems[0].1);
    assert_eq!(looped.len(), 4 * RATE as usize);
    assert!(db(&looped, 0.0, 0.03) > -45.0, "{}", db(&looped, 0.0, 0.03));
    assert!(db(&plain, 0.0, 0.03) < -100.0);
    // Later both are alike.
    assert!((db(&looped, 1.0, 2.0) - db(&plain, 1.0, 2.0)).abs() < 0.5);
}

/// The first round has no round before it.
#[test]
fn a_first_round_begins_from_silence_and_becomes_the_loop() {
    let r = render(&ringing(), 100, true);
    let (head, looped) = (mono(&r.heads[0].1), mono(&r.stems[0].1));
    assert_eq!((r.heads.len(), r.heads[0].0), (1, 0));
    assert!((head.len() as f64) < sound::HEAD_MAX_S * 48_000.0 && head.len() > 12_000, "{}", head.len());
    assert!(db(&head, 0.0, 0.03) < -100.0 && db(&looped, 0.0, 0.03) > -45.0);
    // Where it ends it has become the loop, and so it sounds when played once, but for the gain of the whole.
    let end = head.len();
    assert!((end - 480..end).all(|n| (head[n] - looped[n]).abs() <= 1e-4));
    let p = guitar(&["5:3 - e - . 5:3 . e"]);
    let (r, once) = (render(&p, 100, true), render(&p, 100, false));
    let head = mono(&r.heads[0].1);
    let (plain, gain) = (mono(&once.stems[0].1), 10f32.powf(((r.gain_db - once.gain_db) / 20.0) as f32));
    let (most, off) = (0..head.len()).fold((0.0f32, 0.0f32), |(m, o), n| (m.max(head[n].abs()), o.max((head[n] - gain * plain[n]).abs())));
    assert!(most > 0.01 && off < 0.05 * most, "{off} of {most}");
}

#[test]
fn a_round_that_ends_in_silence_needs_no_beginning_of_its_own() {
    assert!(render(&guitar(&["5:3 - . . . . . ."]), 100, true).heads.is_empty());
    assert!(render(&ringing(), 100, false).heads.is_empty());
}

#[test]
fn the_seam_is_smooth() {
    for percent in [60, 75, 90, 100, 137] {
        let r = render(&ringing(), percent, true);
        let v = mono(&r.mix);
        let over = seam_over_neighbours(&v);
        assert!(over < 1.2, "{percent} %: {over}");
        let n = v.len();
        let near = (1..12).map(|k| treble(&v, n - 240 * k).max(treble(&v, 240 * k))).fold(f64::MIN, f64::max);
        assert!(treble(&v, 0) <= near + 3.0, "{percent} %: {} {near}", treble(&v, 0));
    }
}

/// The same measure finds the seam of a passage that was merely cut off.
#[test]
fn a_cut_off_passage_would_be_found_out() {
    let r = render(&ringing(), 100, false);
    let v = mono(&r.mix)[..r.loop_frames].to_vec();
    let n = v.len();
    let near = (1..12).map(|k| treble(&v, n - 240 * k).max(treble(&v, 240 * k))).fold(f64::MIN, f64::max);
    assert!(seam_over_neighbours(&v) > 2.0 || treble(&v, 0) > near + 3.0);
}

/// A band that plays through the seam, with a limiter at work: the first bar begins no more roughly than the others.
#[test]
fn a_whole_band_loops() {
    let r = render(&crate::mixing::band(), 100, true);
    for (i, b) in r.stems.iter().map(|s| &s.1).chain([&r.mix]).enumerate() {
        let v = mono(b);
        let others = (1..4).map(|k| roughness(&v, v.len() * k / 4)).fold(0.0, f32::max);
        assert!(roughness(&v, 0) < 1.4 * others, "{i}: {} {others}", roughness(&v, 0));
    }
}

/// A passage shorter than what rings: one beat, over and over.
#[test]
fn a_very_short_loop() {
    let p = passage("tempo 240; meter \"2/4\"; slots 2\n part \"g\" instrument=\"guitar\" { bar \"6:0+1:0 .\" }");
    let r = render(&p, 200, true);
    assert_eq!(r.frames, 12_000);
    assert!(seam_over_neighbours(&mono(&r.mix)) < 1.5);
}
