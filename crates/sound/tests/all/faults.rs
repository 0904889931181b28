//! What cannot be played, and what is silent.

use crate::measure::*;
use sound::{Fault, Options, Takes};

fn try_render(p: &lesson::Passage, tempo_percent: u32) -> Result<sound::Render, Fault> {
    sound::render(p, &Options { tempo_percent, looped: true }, &Takes::new(), &|_| ())
}

#[test]
fn tempos_have_bounds() {
    let p = guitar(&["5:3 - - - . . . ."]);
    for percent in [0, 24, 201, u32::MAX] {
        let fault = try_render(&p, percent).unwrap_err();
        assert_eq!(fault, Fault::Tempo { found_percent: percent });
        assert!(fault.to_string().contains("25 to 200"));
    }
    assert!(try_render(&p, 25).is_ok() && try_render(&p, 200).is_ok());
}

#[test]
fn lengths_have_bounds() {
    let p = passage("tempo 20; meter \"12/4\"; slots 12\n part \"g\" instrument=\"guitar\" { repeat times=20 { bar \"5:3 - - - . . . . . . . .\" } }");
    let fault = try_render(&p, 100).unwrap_err();
    assert!(matches!(fault, Fault::TooLong { parts: 1, .. }));
    assert!(fault.to_string().contains("720 s") && fault.to_string().contains("600 s"), "{fault}");
}

#[test]
fn silence_stays_silent() {
    for looped in [true, false] {
        for p in [lesson::Passage::default(), passage("tempo 90; meter \"4/4\"; slots 4\n part \"g\" instrument=\"guitar\" { rest }")] {
            let r = render(&p, 100, looped);
            assert_eq!((r.gain_db, r.limited_db), (0.0, 0.0));
            assert_eq!(r.mix.peak(), 0.0);
            assert_eq!(r.mix.frames(), r.frames);
            assert!(p.bars.is_empty() == (r.frames == 0));
        }
    }
}

#[test]
fn one_quiet_ghost_is_no_reason_to_roar() {
    let p = guitar(&["(1:5)' . . . . . . ."]);
    let r = render(&p, 100, true);
    assert!(r.gain_db.is_finite() && r.mix.channels().iter().flatten().all(|s| s.is_finite()));
    assert!(wave::true_peak_dbtp(&r.mix).unwrap() <= sound::CEILING_DBTP);
}
