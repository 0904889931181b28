//! Every way of playing a note is heard: each test fails when that way is left out.

use crate::measure::*;

/// Slots of half a second: the middle of slot `n` (from 0).
fn slot(n: f64) -> f64 {
    n * 0.5 + 0.25
}

#[test]
fn a_note_decays_and_stops_when_it_should() {
    let v = once(&guitar(&["6:3 - - - - . . ."]));
    assert!(db(&v, 0.1, 0.3) > db(&v, 2.0, 2.4) + 1.5, "decays");
    assert!(db(&v, 2.3, 2.5) > -45.0, "rings to its end");
    assert!(db(&v, 3.0, 3.5) < db(&v, 2.3, 2.5) - 40.0, "is stopped");
    // Higher notes die sooner.
    let fall = |v: &[f32]| db(v, 0.1, 0.4) - db(v, 1.9, 2.2);
    assert!(fall(&once(&guitar(&["1:20 - - - - - . ."]))) > fall(&v) + 3.0);
}

#[test]
fn a_string_cuts_its_old_note_and_others_ring_on() {
    let v = once(&guitar(&["6:0 - &6:5 - . . . ."]));
    let w = once(&guitar(&["6:0 - &5:0 - . . . ."]));
    let old = |v: &[f32]| bin(v, 1.4, 0.3, hz_of(40.0)).0 - bin(v, 0.8, 0.3, hz_of(40.0)).0;
    assert!(old(&v) < -25.0, "{}", old(&v));
    assert!(old(&w) > -8.0, "{}", old(&w));
}

#[test]
fn accents_and_ghosts() {
    let v = once(&guitar(&["5:3 . >5:3 . (5:3) . 5:3 ."]));
    let level = |n: f64| db(&v, n * 0.5, n * 0.5 + 0.3);
    assert!(level(2.0) > level(0.0) + 2.0 && level(4.0) < level(0.0) - 6.0);
    assert!((level(6.0) - level(0.0)).abs() < 2.0);
}

#[test]
fn short_notes_are_short() {
    let v = once(&guitar(&["5:3' - . . 5:3 - . ."]));
    assert!(db(&v, 0.7, 0.9) < db(&v, 2.7, 2.9) - 25.0);
}

#[test]
fn palm_muted_notes_are_darker_and_die_soon() {
    let v = once(&guitar(&["6:3 - . . M6:3 - . ."]));
    assert!(db(&v, 2.6, 2.9) < db(&v, 0.6, 0.9) - 20.0);
    let treble = |t: f64| bin(&v, t + 0.06, 0.08, 24.0 * hz_of(43.0)).0 - bin(&v, t + 0.06, 0.08, hz_of(43.0)).0;
    assert!(treble(2.0) < treble(0.0) - 3.0, "{} {}", treble(2.0), treble(0.0));
}

#[test]
fn scratches_are_short_and_have_no_pitch() {
    let v = once(&guitar(&["e . x . x654 . xe .", "5:3 . 3:9+x . . . . ."]));
    for n in [2.0, 4.0, 6.0] {
        let t = n * 0.5;
        assert!(db(&v, t, t + 0.04) > -40.0, "slot {n} is heard");
        assert!(db(&v, t + 0.15, t + 0.4) < db(&v, t, t + 0.04) - 30.0, "slot {n} is short");
        let (_, periodic) = pitch(&v, t + 0.04, 40.0, 76.0);
        assert!(periodic < 0.75, "slot {n}: {periodic}");
    }
    assert!(pitch(&v, 4.15, 40.0, 76.0).1 > 0.95, "a note has");
    // The low strings' scratch is darker than all strings'.
    let crossings = |t: f64| cut(&v, t, t + 0.05).windows(2).filter(|w| (w[0] < 0.0) != (w[1] < 0.0)).count();
    assert!(crossings(2.0) < crossings(1.0));
    // A note with dead neighbours has more noise at its beginning.
    let edges: Vec<f32> = v.windows(3).map(|w| w[2] - 2.0 * w[1] + w[0]).collect();
    let rough = |t: f64| db(&edges, t, t + 0.03) - db(&v, t + 0.2, t + 0.4);
    assert!(rough(5.0) > rough(4.0) + 3.0, "{} {}", rough(5.0), rough(4.0));
}

#[test]
fn hammered_and_pulled_notes_go_on_without_the_pick() {
    let v = once(&guitar(&["4:5 - 4:7 - 4:5 - H4:7 -", "4:7 - P4:5 - . . . ."]));
    for (t, midi) in [(slot(7.0), 57.0), (4.0 + slot(3.0), 55.0)] {
        assert!((pitch(&v, t, 45.0, 70.0).0 - midi).abs() < 0.08, "{midi}");
    }
    // Struck, the beginning is much brighter than hammered.
    let edge = |t: f64| bin(&v, t + 0.02, 0.03, 3000.0).0;
    assert!(edge(1.0) > edge(3.0) + 6.0 && edge(4.0) > edge(5.0) + 6.0, "{} {} {} {}", edge(1.0), edge(3.0), edge(4.0), edge(5.0));
    // What rang goes on: no gap, no jump in level.
    assert!((db(&v, 2.9, 3.0) - db(&v, 3.02, 3.12)).abs() < 6.0);
}

#[test]
fn slides_glide_over_the_frets() {
    let v = once(&guitar(&["4:5/9 - - - . . . .", "4:5 - - /4:9 - - - ."]));
    assert!((pitch(&v, 0.08, 50.0, 66.0).0 - 55.0).abs() < 0.1);
    assert!((pitch(&v, 1.7, 50.0, 66.0).0 - 59.0).abs() < 0.1);
    // Slid into: still below before the beat, there on the beat, and passing between.
    assert!((pitch(&v, 5.2, 50.0, 66.0).0 - 55.0).abs() < 0.1);
    assert!((pitch(&v, 5.54, 50.0, 66.0).0 - 59.0).abs() < 0.1);
    let seen: Vec<f64> = (0..16).map(|i| pitch(&v, 5.33 + 0.01 * f64::from(i), 50.0, 66.0).0).collect();
    assert!(seen.iter().any(|p| (56.0..58.0).contains(p)), "{seen:?}");
    // Not struck: nothing of a pick's edge.
    let w = once(&guitar(&["4:5/9 - - - . . . .", "4:5 - - 4:9 - - - ."]));
    let edge = |v: &[f32]| db(&v.windows(3).map(|w| w[2] - 2.0 * w[1] + w[0]).collect::<Vec<f32>>(), 5.5, 5.53);
    assert!(edge(&v) < edge(&w) - 10.0, "{} {}", edge(&v), edge(&w));
}

#[test]
fn bends_rise_and_are_let_down() {
    let v = once(&guitar(&["3:7^1 - - - ^0 - - .", "3:7!1 - - - 3:7^.5 - - ."]));
    let p = |t: f64| pitch(&v, t, 56.0, 70.0).0;
    // Where it was struck, on the way, and up.
    assert!((p(0.035) - 62.0).abs() < 0.3, "{}", p(0.035));
    assert!((62.3..63.7).contains(&p(0.14)), "{}", p(0.14));
    assert!((p(1.8) - 64.0).abs() < 0.05, "{}", p(1.8));
    assert!((p(3.3) - 62.0).abs() < 0.05, "{}", p(3.3));
    assert!((p(4.1) - 64.0).abs() < 0.05, "bent before it is struck");
    assert!((p(7.3) - 63.0).abs() < 0.05);
}

#[test]
fn vibrato_swings_around_its_note() {
    let v = once(&guitar(&["3:7~ - - - 3:7 - - ."]));
    let swing = |from: f64| {
        let p: Vec<f64> = (0..60).map(|i| frequency(&v, from + 0.01 * f64::from(i), 0.04, 0.01, hz_of(62.0))).map(midi_of).collect();
        (p.iter().copied().fold(f64::MIN, f64::max) - p.iter().copied().fold(f64::MAX, f64::min), p.iter().sum::<f64>() / 60.0)
    };
    let (wide, mean) = swing(0.9);
    assert!(wide > 0.15 && (mean - 62.0).abs() < 0.05, "{wide} {mean}");
    assert!(swing(2.7).0 < 0.04);
}

#[test]
fn natural_harmonics_sound_their_partial() {
    let v = once(&guitar(&["N6:12 - - - N5:7 - - ."]));
    assert!((pitch(&v, 0.8, 45.0, 75.0).0 - 52.0).abs() < 0.05);
    assert!((pitch(&v, 2.8, 45.0, 75.0).0 - 64.0).abs() < 0.05);
    // Purer than a plain note of the same pitch.
    let w = once(&guitar(&["5:7 - - - . . . ."]));
    let edge = |v: &[f32]| bin(v, 0.1, 0.1, 12.0 * hz_of(52.0)).0 - bin(v, 0.1, 0.1, hz_of(52.0)).0;
    assert!(edge(&v) < edge(&w) - 3.0);
}

#[test]
fn tremolo_is_struck_again_and_again() {
    let v = once(&guitar(&["T1:5 - - - 1:5 - - ."]));
    let edges = |from: f64| {
        let levels: Vec<f64> = (0..400).map(|i| bin(&v, from + 0.1 + 0.004 * f64::from(i), 0.012, 4000.0).0.max(-80.0)).collect();
        levels.windows(6).filter(|w| w[5] - w[0] > 6.0).count()
    };
    assert!(edges(0.0) > 10, "{}", edges(0.0));
    assert_eq!(edges(2.0), 0);
}

/// Seconds from the slot's beginning at which a string's pitch is first there.
fn arrives(v: &[f32], slot_s: f64, midi: f64) -> f64 {
    let level = |t: f64| bin(v, t, 0.03, hz_of(midi)).0;
    let full = (0..60).map(|i| level(slot_s + 0.005 * f64::from(i))).fold(f64::MIN, f64::max);
    (-30..400).map(|i| 0.001 * f64::from(i)).find(|t| level(slot_s + t) > full - 8.0).unwrap()
}

#[test]
fn strokes_cross_the_strings_in_their_direction() {
    // Down on the first of a pair, up on the second: how much later the high string is reached than the low one.
    let v = once(&guitar(&[". . 2:12+1:17 . . 2:12+1:17 . ."]));
    let later = |t: f64| arrives(&v, t, 81.0) - arrives(&v, t, 71.0);
    assert!(later(1.0) > later(2.5) + 0.005, "{} {}", later(1.0), later(2.5));
    let slow = once(&guitar(&[". . *2:12+1:17 . 2:12+1:17* - - ."]));
    let first = |t: f64| arrives(&slow, t, 81.0) - arrives(&slow, t, 71.0);
    assert!(first(1.0) > 0.04 && first(2.0) < -0.04, "{} {}", first(1.0), first(2.0));
}

#[test]
fn a_rake_drags_over_dead_strings_into_its_note() {
    let v = once(&guitar(&[". . 2:5 . . . R2:5 ."]));
    let before = |t: f64| db(&v, t - 0.04, t - 0.004);
    assert!(before(3.0) > before(1.0) + 20.0, "{} {}", before(3.0), before(1.0));
    let w = once(&guitar(&[". . 2:12+1:17 . R2:12+1:17 - . ."]));
    let (raked, plain) = (arrives(&w, 2.0, 81.0), arrives(&w, 1.0, 81.0));
    assert!(raked > plain + 0.015, "{raked} {plain}");
}

#[test]
fn levels_and_wah_are_heard() {
    let v = once(&guitar(&["bar \"5:3 - - - - - - -\" { level \"9 - 3 - 0 - 9 -\" }"]));
    let flat = once(&guitar(&["5:3 - - - - - - -"]));
    let step = |n: f64| (db(&v, n * 0.5 + 0.2, n * 0.5 + 0.45) - db(&flat, n * 0.5 + 0.2, n * 0.5 + 0.45)) - (db(&v, 0.2, 0.45) - db(&flat, 0.2, 0.45));
    assert!(step(2.0) < -10.0 && step(4.0) < -50.0 && step(6.0).abs() < 1.5, "{} {} {}", step(2.0), step(4.0), step(6.0));
    // A level holds over the bar line.
    let held = once(&guitar(&["bar \"5:3 - 5:3 - 5:3 - 5:3 -\" { level \"9 - - - 2 - - -\" }", "5:3 - 5:3 - 5:3 - 5:3 -"]));
    assert!(db(&held, 5.0, 5.4) < db(&held, 0.0, 0.4) - 8.0);
    let w = once(&guitar(&["bar \"e - - - e - - -\" { wah \"+ - - - o - - -\" }", "e - - - . . . ."]));
    let bright = |t: f64| db(&band(&w, 1800.0), t, t + 0.8) - db(&band(&w, 450.0), t, t + 0.8);
    assert!(bright(2.1) > bright(0.1) + 8.0, "{} {}", bright(2.1), bright(0.1));
    assert!(bright(4.1) < bright(2.1) - 4.0, "without a row the pedal is out");
}

/// common practice: with the volume knob down the stroke is not heard, and the note swells; it is as loud as other parts are.
#[test]
fn a_swell_has_no_stroke_and_is_loud() {
    let v = render(&guitar(&["bar \"e - - - e - - -\" { level \"0 4 7 9 0 4 7 9\" }"]), 100, true);
    let v = mono(&v.stems[0].1);
    for stroke in [0.0, 2.0] {
        assert!(db(&v, stroke, stroke + 0.1) < db(&v, stroke + 1.5, stroke + 1.7) - 12.0);
        // No step on the way up.
        let rise: Vec<f64> = (0..40).map(|i| db(&v, stroke + 0.5 + 0.025 * f64::from(i), stroke + 0.525 + 0.025 * f64::from(i))).collect();
        assert!(rise.windows(2).all(|w| (w[1] - w[0]).abs() < 6.0), "{rise:?}");
    }
    let beside = passage(
        "tempo 60; meter \"4/4\"; slots 8\n part \"a\" instrument=\"guitar\" { grip \"e\" \"0 2 2 1 0 0\"; bar \"e - - - e - - -\" { level \"0 4 7 9 0 4 7 9\" }; }
         part \"b\" instrument=\"guitar\" { bar \"5:3 - - - 5:3 - - -\"; }
         part \"c\" instrument=\"guitar\" { bar \"5:3 - - - 5:3 - - -\" { level \"4 - - - - - - -\" }; }",
    );
    let r = render(&beside, 100, true);
    let lufs: Vec<f64> = r.stems.iter().map(|s| wave::loudness(&s.1).integrated_lufs.unwrap()).collect();
    assert!((lufs[0] - lufs[1]).abs() < 3.0, "a swell stands level: {lufs:?}");
    assert!(((lufs[2] - lufs[1]) + 11.3).abs() < 0.5, "a part written quiet stays so: {lufs:?}");
}

/// What lies around `hz`, by a plain resonator.
fn band(v: &[f32], hz: f64) -> Vec<f32> {
    let w = std::f64::consts::TAU * hz / 48_000.0;
    let r = 0.99f64;
    let (mut a, mut b) = (0.0, 0.0);
    v.iter()
        .map(|x| {
            let y = f64::from(*x) * (1.0 - r) + 2.0 * r * w.cos() * a - r * r * b;
            (a, b) = (y, a);
            y as f32
        })
        .collect()
}

#[test]
fn drums_keys_and_clicks_are_where_they_are_written() {
    let p = passage(
        "tempo 60; meter \"4/4\"; slots 4\n part \"d\" instrument=\"drums\" { bar { kick \"x . . .\"; snare \". x . .\"; hats \". . o x\"; } }",
    );
    let v = once(&p);
    let found = onsets(&v);
    for t in [0.0, 1.0, 2.0, 3.0] {
        assert!(found.iter().any(|f| (f - t).abs() < 0.012) || t == 0.0, "{t}: {found:?}");
    }
    let crossings = |t: f64| cut(&v, t, t + 0.06).windows(2).filter(|w| (w[0] < 0.0) != (w[1] < 0.0)).count();
    assert!(crossings(0.0) < 30 && crossings(1.0) > 60 && crossings(2.0) > 400);
    // Open hats ring, closed ones do not, and the kick is down.
    assert!(db(&v, 2.3, 2.4) > db(&v, 3.3, 3.4) + 20.0);
    // Closed hats end the open ones.
    let q = passage("tempo 60; meter \"4/4\"; slots 4\n part \"d\" instrument=\"drums\" { bar { hats \"o [. x]=1 . .\" } }");
    let w = once(&q);
    assert!(db(&w, 1.75, 1.85) < db(&w, 1.3, 1.45) || db(&w, 1.75, 1.85) < -50.0);
    let keys = once(&passage("tempo 60; meter \"4/4\"; slots 4\n part \"k\" instrument=\"keys\" { bar \". C4+E4 - .\" }"));
    assert!(db(&keys, 0.5, 0.95) < -100.0 && db(&keys, 1.1, 1.9) > -40.0 && db(&keys, 3.5, 3.9) < -60.0);
    let click = once(&passage("tempo 60; meter \"4/4\"; slots 4\n part \"c\" instrument=\"click\" { bar \"x x . x\" }"));
    let at = onsets(&click);
    assert_eq!(at.iter().map(|t| t.round() as i32).collect::<Vec<_>>(), [1, 3].to_vec().into_iter().collect::<Vec<_>>(), "{at:?}");
}
