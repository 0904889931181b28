//! Loudness, peaks, stems against mix, seats, click and count-in.

use crate::measure::*;
use sound::{Options, Takes};

/// Two guitars, bass and drums, four bars.
pub fn band() -> lesson::Passage {
    let text = include_str!("../texts/all.kdl");
    lesson::read(text).lesson.passages.into_iter().next().expect("a passage")
}

#[test]
fn the_text_is_sound() {
    let reading = lesson::read(include_str!("../texts/all.kdl"));
    assert!(reading.problems.is_empty(), "{:#?}", reading.problems);
}

#[test]
fn every_tempo_has_its_length_loudness_and_peak() {
    let p = band();
    for percent in sound::LADDER_PERCENT {
        let r = render(&p, percent, true);
        let exact = 4.0 * 4.0 * 60.0 / 102.0 * 100.0 / f64::from(percent) * 48_000.0;
        assert_eq!(r.frames, exact.round() as usize, "{percent} %");
        assert_eq!((r.mix.frames(), r.click.frames(), r.loop_frames), (r.frames, r.frames, r.frames));
        assert!(r.stems.iter().all(|s| s.1.frames() == r.frames && s.1.channel_count() == 2));
        let measured = wave::loudness(&r.mix);
        let lufs = measured.integrated_lufs.unwrap();
        assert!((lufs - sound::TARGET_LUFS).abs() < 0.1, "{percent} %: {lufs} LUFS");
        assert!(measured.true_peak_dbtp.unwrap() <= sound::CEILING_DBTP);
    }
}

#[test]
fn stems_sum_to_the_mix() {
    let r = render(&band(), 100, true);
    assert_eq!(r.in_mix, [0, 1, 2, 3]);
    for side in 0..2 {
        for f in 0..r.frames {
            let sum: f32 = r.stems.iter().map(|s| s.1.channel(side)[f]).sum();
            assert!((sum - r.mix.channel(side)[f]).abs() < 1e-6);
        }
    }
}

/// Every choice of stems, each as it goes round or as the first round begins.
fn choices(r: &sound::Render) -> Vec<wave::Buffer> {
    let mut all = Vec::new();
    for sounds in [&r.stems, &r.heads] {
        for choice in 1..1u32 << sounds.len() {
            let mut b = wave::Buffer::silence(48_000, 2, sounds[0].1.frames()).unwrap();
            for (i, s) in sounds.iter().enumerate().filter(|(i, _)| choice >> i & 1 == 1) {
                assert_eq!(i, s.0);
                b.mix_in(&s.1, 0, 1.0).unwrap();
            }
            all.push(b);
        }
    }
    all
}

#[test]
fn no_choice_of_stems_clips_with_the_click_or_without() {
    let r = render(&band(), 100, true);
    assert_eq!((r.heads.len(), choices(&r).len()), (4, 30));
    assert_none_clips(&r);
    // Few strokes, far apart and all on the beat: loud peaks, which the click adds to.
    let r = render(&passage("tempo 60; meter \"4/4\"; slots 4\n part \"d\" instrument=\"drums\" { bar { kick \"x . x x\"; snare \". x . x\"; } }\n part \"g\" instrument=\"guitar\" { bar \"5:3' . 5:3' 5:3\" }"), 100, true);
    let beside = assert_none_clips(&r);
    // Something must be taken, and no more is taken than must be.
    assert!((-3.0..-0.3).contains(&r.click_headroom_db) && beside > sound::CEILING_DBTP - 0.7, "{} {beside}", r.click_headroom_db);
}

/// Gives the highest true peak of all choices beside the click.
fn assert_none_clips(r: &sound::Render) -> f64 {
    let all = choices(r);
    let headroom = 10f32.powf((r.click_headroom_db / 20.0) as f32);
    let mut beside = f64::MIN;
    for (i, b) in all.iter().enumerate() {
        let peak = wave::true_peak_dbtp(b).unwrap();
        assert!(peak <= sound::CEILING_DBTP, "choice {i}: {peak} dBTP");
        let mut b = b.clone();
        let clicked: Vec<Vec<f32>> = b.channels().iter().zip(r.click.channels()).map(|(s, k)| s.iter().zip(k).map(|(s, k)| headroom * (s + k)).collect()).collect();
        b = wave::Buffer::new(48_000, clicked).unwrap();
        beside = beside.max(wave::true_peak_dbtp(&b).unwrap());
    }
    assert!(beside <= sound::CEILING_DBTP, "{beside} dBTP with the click");
    beside
}

#[test]
fn a_left_out_is_the_sum_of_the_others() {
    let r = render(&band(), 100, true);
    for part in 0..4 {
        let left = r.left_out(part).unwrap();
        for side in 0..2 {
            let others: Vec<f32> = (0..r.frames).map(|f| r.stems.iter().filter(|s| s.0 != part).fold(0.0, |sum, s| sum + s.1.channel(side)[f])).collect();
            assert!(left.channel(side) == others.as_slice(), "bit for bit");
        }
        assert!(wave::true_peak_dbtp(&left).unwrap() <= sound::CEILING_DBTP);
    }
    assert_eq!(r.left_out(4), None);
    assert_eq!(render(&guitar(&["5:3 - - - . . . ."]), 100, true).left_out(0), None, "nothing is left");
}

/// The limiter has little to do: strokes are brought nearer to what rings before it.
#[test]
fn the_limiter_hardly_works() {
    for percent in [60, 100] {
        let r = render(&band(), percent, true);
        assert!(r.limited_db < 2.0, "{percent} %: {} dB", r.limited_db);
    }
}

#[test]
fn seats_are_left_and_right() {
    let r = render(&band(), 100, true);
    let side = |i: usize, c: usize| db(r.stems[i].1.channel(c), 0.0, 9.0);
    assert!(side(0, 0) > side(0, 1) + 8.0, "the first guitar sits on the left");
    assert!(side(1, 1) > side(1, 0) + 8.0, "the second on the right");
    assert!((side(2, 0) - side(2, 1)).abs() < 0.5, "the bass in the centre");
}

#[test]
fn parts_stand_level() {
    let r = render(&band(), 100, true);
    let lufs: Vec<f64> = r.stems.iter().map(|s| wave::loudness(&s.1).integrated_lufs.unwrap()).collect();
    let most = lufs.iter().copied().fold(f64::MIN, f64::max);
    let least = lufs.iter().copied().fold(f64::MAX, f64::min);
    assert!(most - least < 3.5, "{lufs:?}");
}

#[test]
fn an_easier_way_is_a_stem_and_not_in_the_mix() {
    let both = passage(
        "tempo 100; meter \"4/4\"; slots 4\n part \"a\" instrument=\"guitar\" { bar \"5:3 4:2 4:5 3:2\" }\n easier \"a\" { bar \"5:3 - 4:5 -\" }",
    );
    let alone = passage("tempo 100; meter \"4/4\"; slots 4\n part \"a\" instrument=\"guitar\" { bar \"5:3 4:2 4:5 3:2\" }");
    let (both, alone) = (render(&both, 100, true), render(&alone, 100, true));
    assert_eq!(both.stems.len(), 2);
    for (a, b) in both.mix.channel(0).iter().zip(both.stems[0].1.channel(0)) {
        assert_eq!(a, b);
    }
    assert!(db(&mono(&both.stems[1].1), 0.0, 1.0) > -40.0);
    assert!((both.gain_db - alone.gain_db).abs() < 0.1);
    assert_eq!((both.in_mix.as_slice(), both.left_out(0), both.left_out(1)), (&[0][..], None, None));
}

#[test]
fn the_click_has_every_beat() {
    let p = band();
    let r = render(&p, 100, true);
    let beat = 60.0 / 102.0;
    let at = onsets(&mono(&r.click));
    assert_eq!(at.len(), 15, "the first lies at the very beginning: {at:?}");
    for (i, t) in at.iter().enumerate() {
        assert!((t - beat * (i + 1) as f64).abs() < 0.005, "{i}: {t}");
    }
    let level = |i: usize| db(&mono(&r.click), beat * i as f64, beat * i as f64 + 0.03);
    assert!(level(4) > level(3) + 1.5 && level(8) > level(5) + 1.5);
}

/// common practice: a bar is counted before the music; before a pickup the rest of its bar as well.
#[test]
fn a_bar_is_counted_in() {
    let count = |inside: &str, percent| {
        let r = render(&passage(inside), percent, true);
        (r.count_in.frames(), onsets(&mono(&r.count_in)).len() + 1)
    };
    assert_eq!(count("tempo 120; meter \"4/4\"; slots 4\n part \"g\" instrument=\"guitar\" { bar \"5:3 - - .\" }", 100), (96_000, 4));
    assert_eq!(count("tempo 120; meter \"4/4\"; slots 4\n part \"g\" instrument=\"guitar\" { bar \"5:3 - - .\" }", 50), (192_000, 4));
    assert_eq!(count("tempo 60; meter \"6/8\"; slots 6\n part \"g\" instrument=\"guitar\" { bar \"5:3 - - - - .\" }", 100), (96_000, 6));
    assert_eq!(
        count("tempo 120; meter \"4/4\"; slots 4\n part \"g\" instrument=\"guitar\" { pickup \"5:3\"; bar \"5:3 - - .\" }", 100),
        (168_000, 7)
    );
}

#[test]
fn threads_do_not_show() {
    let p = band();
    let with = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| sound::render(&p, &Options::default(), &Takes::new(), &|_| ()).unwrap())
    };
    assert!(with(1) == with(3));
}

/// The samples are plain arithmetic and `libm`: the same on every machine. A change in the sound changes this number; then look at the sound, and write the new one.
#[test]
fn the_same_samples_on_every_machine() {
    let r = render(&band(), 90, true);
    let mut hash = 0xcbf2_9ce4_8422_2325u64;
    for s in r.stems.iter().flat_map(|s| s.1.channels()).chain(r.click.channels()).flatten() {
        hash = (hash ^ u64::from(s.to_bits())).wrapping_mul(0x0100_0000_01b3);
    }
    assert_eq!(format!("{hash:016x}"), PINNED);
}

const PINNED: &str = "bc04c4ca462b12fd";

#[test]
fn progress_rises_to_one() {
    let seen = std::sync::Mutex::new(Vec::new());
    sound::render(&band(), &Options::default(), &Takes::new(), &|p| seen.lock().unwrap().push(p)).unwrap();
    let mut seen = seen.into_inner().unwrap();
    assert_eq!(seen.len(), 6);
    seen.sort_by(f64::total_cmp);
    assert!((seen[5] - 1.0).abs() < 1e-12 && seen[0] > 0.0);
}
