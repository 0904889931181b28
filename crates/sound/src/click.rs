//! The click and the count-in: a short knock on each beat, higher and louder on a bar's first.

use crate::RATE;
use crate::time::{Clock, Stretch, frame};
use lesson::{Beats, Passage};
use std::f64::consts::TAU;

/// What a knock stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Knock {
    /// First beat of a bar.
    Down,
    Beat,
    /// The units between the beats of a compound meter.
    Between,
}

/// Peak of the knock on a bar's first beat.
const PEAK: f64 = 0.3;

/// One knock: a dry, wooden sound of 60 ms.
pub fn knock(kind: Knock) -> Vec<f32> {
    let (hz, level) = match kind {
        Knock::Down => (1760.0, PEAK),
        Knock::Beat => (1174.66, PEAK * 0.7),
        Knock::Between => (1174.66, PEAK * 0.25),
    };
    let rate = f64::from(RATE);
    let frames = (0.06 * rate) as usize;
    (0..frames)
        .map(|n| {
            let t = n as f64 / rate;
            let rise = (t / 0.0008).min(1.0);
            let end = ((frames - n) as f64 / (0.01 * rate)).min(1.0);
            // Two modes of a small bar, the second dying sooner.
            let body = libm::sin(TAU * hz * t) * libm::exp(-t / 0.011);
            let top = 0.35 * libm::sin(TAU * hz * 2.76 * t) * libm::exp(-t / 0.004);
            (level * rise * end * (body + top) / 1.2) as f32
        })
        .collect()
}

/// The knocks of one full bar in `meter`: quarter notes from its beginning.
pub fn of_bar(meter: lesson::Meter) -> Vec<(Beats, Knock)> {
    let unit = Beats::new(4, i64::from(meter.unit.max(1)));
    (0..i64::from(meter.count))
        .map(|i| unit * i)
        .filter_map(|at| {
            let on_beat = (at / meter.beat()).is_integer();
            let kind = if *at.numer() == 0 { Knock::Down } else if on_beat { Knock::Beat } else { Knock::Between };
            (on_beat || meter.is_compound()).then_some((at, kind))
        })
        .collect()
}

/// The passage's click, mono, over `stretch`. A pickup has the knocks of its bar's end.
pub fn play(passage: &Passage, clock: &Clock, stretch: &Stretch) -> Vec<f32> {
    let mut out = vec![0.0f32; stretch.frames()];
    for (i, bar) in passage.bars.iter().enumerate() {
        let missing = (bar.meter.length() - bar.length).max(Beats::from(0));
        for (at, kind) in of_bar(bar.meter) {
            if at >= missing && at - missing < bar.length {
                stretch.add(&mut out, &knock(kind), frame(clock.in_bar(i, at - missing)), 1.0);
            }
        }
    }
    out
}

/// One bar in the first bar's meter and tempo, counted before the passage begins; where a pickup begins, the bar that it fills is counted up to it as
/// well. Its end is the passage's beginning. Empty for a passage without bars.
pub fn count_in(passage: &Passage, percent: u32) -> Vec<f32> {
    let Some(first) = passage.bars.first() else { return Vec::new() };
    let seconds = |at: Beats| {
        let beats = at / first.meter.beat();
        *beats.numer() as f64 / *beats.denom() as f64 * 60.0 / first.tempo_bpm * 100.0 / f64::from(percent.max(1))
    };
    let whole = first.meter.length();
    let missing = (whole - first.length).max(Beats::from(0));
    let frames = frame(seconds(whole + missing));
    let stretch = Stretch::once(frames, 0);
    let mut out = vec![0.0f32; stretch.frames()];
    for round in [Beats::from(0), whole] {
        for (at, kind) in of_bar(first.meter) {
            if round + at < whole + missing {
                stretch.add(&mut out, &knock(kind), frame(seconds(round + at)), 1.0);
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use lesson::Meter;

    /// common practice: four beats in 4/4, two in 6/8 with the eighths between them.
    #[test]
    fn beats_of_a_bar() {
        let kinds = |count, unit| of_bar(Meter { count, unit }).into_iter().map(|k| k.1).collect::<Vec<_>>();
        use Knock::{Beat, Between, Down};
        assert_eq!(kinds(4, 4), [Down, Beat, Beat, Beat]);
        assert_eq!(kinds(6, 8), [Down, Between, Between, Beat, Between, Between]);
        assert_eq!(kinds(5, 4).len(), 5);
        assert_eq!(kinds(3, 8), [Down, Beat, Beat]);
    }

    #[test]
    fn the_downbeat_stands_out() {
        let peak = |k| knock(k).iter().fold(0.0f32, |m, s| m.max(s.abs()));
        assert!(peak(Knock::Down) > 1.3 * peak(Knock::Beat) && peak(Knock::Beat) > 2.0 * peak(Knock::Between));
        assert!((0.7 * PEAK as f32..=PEAK as f32).contains(&peak(Knock::Down)), "{}", peak(Knock::Down));
    }
}
