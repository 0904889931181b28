//! Prints how well `find_in` finds play-along audio in simulated camera sound: `cargo run --release -p wave --example find -- [CASES] [FILE…]`; `-- long` prints the time for one
//! search in twenty minutes.
//!
//! Without files the music is made from seeds. With files (a pack's `audio/*-all.ogg`) each is played in turn, and looked for both where it was played and where
//! another one was.

#[path = "../tests/camera/mod.rs"]
mod camera;

use camera::{SCENE, Scene, music, shot};
use wave::find::compare;
use wave::{Buffer, Limits, decode};

fn main() {
    let mut arguments = std::env::args().skip(1).peekable();
    if arguments.next_if(|a| a == "long").is_some() {
        return long();
    }
    let cases: u64 = arguments.next_if(|a| a.parse::<u64>().is_ok()).and_then(|a| a.parse().ok()).unwrap_or(100);
    let files: Vec<Buffer> = arguments
        .map(|f| {
            let bytes = std::fs::read(&f).unwrap_or_else(|e| panic!("{f}: {e}"));
            decode(&bytes, f.rsplit('.').next(), &Limits::default()).unwrap_or_else(|e| panic!("{f}: {e}"))
        })
        .collect();
    let needle = |n: u64| if files.is_empty() { music(100_000 + n) } else { files[n as usize % files.len()].clone() };
    let other = |n: u64| if files.is_empty() { music(200_000 + n) } else { files[(n as usize + 1 + n as usize / files.len() % (files.len() - 1).max(1)) % files.len()].clone() };
    for (name, scene) in [
        ("room, noise at 10 dB, 100 ppm, talk as loud", SCENE),
        ("the same, talk 6 dB louder", Scene { talk_db: Some(6.0), ..SCENE }),
        ("the same, noise at 0 dB", Scene { snr_db: 0.0, ..SCENE }),
        ("no talk", Scene { talk_db: None, ..SCENE }),
    ] {
        let (mut close, mut missed, mut wrong, mut worst_ms, mut worst_ppm) = (0u64, 0u64, 0u64, 0.0f64, 0.0f64);
        let (mut true_likeness, mut false_likeness) = (Vec::new(), Vec::new());
        for n in 0..cases {
            let (played, s) = (needle(n), shot(&needle(n), scene, 7_000 + n));
            let e = compare(&played, &s.sound).expect("sound");
            true_likeness.push((e.likeness, e.agreeing));
            let off = (e.start.0 - s.start_s).abs() * 1e3;
            match () {
                () if e.confidence() == 0.0 => missed += 1,
                () if off > 20.0 => {
                    wrong += 1;
                    println!("  case {n}: {:.3} s off by {:.3}, {:.1} s long, {e:?}", s.start_s, e.start.0 - s.start_s, played.duration().0);
                }
                () => {
                    close += 1;
                    (worst_ms, worst_ppm) = (worst_ms.max(off), worst_ppm.max((e.ratio - s.ratio).abs() * 1e6));
                }
            }
        }
        let mut false_finds = 0u64;
        for n in 0..cases {
            let s = shot(&other(n), scene, 9_000 + n);
            let e = compare(&needle(n), &s.sound).expect("sound");
            false_likeness.push((e.likeness, e.agreeing));
            false_finds += u64::from(e.confidence() > 0.0);
        }
        let range = |of: &[(f64, f64)], p: f64| {
            let mut l: Vec<f64> = of.iter().map(|x| x.0).collect();
            let mut a: Vec<f64> = of.iter().map(|x| x.1).collect();
            l.sort_by(f64::total_cmp);
            a.sort_by(f64::total_cmp);
            let i = ((l.len() - 1) as f64 * p) as usize;
            format!("{:.3} {:.2}", l[i], a[i])
        };
        println!("{name}: within 20 ms {close} of {cases} (worst {worst_ms:.1} ms, ratio {worst_ppm:.0} ppm), missed {missed}, elsewhere {wrong}; false finds {false_finds} of {cases}");
        println!("  likeness and agreement, there: least {}, 5 % {}, middle {}; not there: middle {}, 95 % {}, most {}", range(&true_likeness, 0.0), range(&true_likeness, 0.05), range(&true_likeness, 0.5), range(&false_likeness, 0.5), range(&false_likeness, 0.95), range(&false_likeness, 1.0));
    }
}

/// One needle in twenty minutes of camera sound.
fn long() {
    let needle = music(1);
    let shot = shot(&needle, SCENE, 1);
    let (mut samples, rate) = (shot.sound.channel(0).to_vec(), shot.sound.rate_hz());
    let whole = 1_200 * rate as usize;
    while samples.len() < whole {
        samples.extend_from_slice(camera::shot(&music(samples.len() as u64), SCENE, samples.len() as u64).sound.channel(0));
    }
    samples.truncate(whole);
    let haystack = Buffer::from_mono(rate, samples).expect("finite");
    let begun = std::time::Instant::now();
    let found = wave::find_in(&needle, &haystack);
    println!("{found:?}, truth {:.3}: {:.2} s", shot.start_s, begun.elapsed().as_secs_f64());
}
