//! The teacher's rows under the bars, volume and wah, as curves over a part's sound.

use crate::RATE;
use crate::filter::Resonator;
use crate::time::{Clock, Stretch, frame};
use lesson::Part;

/// Centre of the wah closed and open, hertz (from memory: pedals reach from about 400 Hz to 2 kHz).
const WAH_HZ: (f64, f64) = (480.0, 1750.0);
const WAH_Q: f64 = 3.5;

/// Gain of a level, 0..=9: 9 is full, 0 is silence; a step is about 1 dB near the top, more further down.
fn gain(level: u8) -> f32 {
    libm::pow(f64::from(level.min(9)) / 9.0, 1.6) as f32
}

/// A move to another level is finished at its slot: it begins so many seconds earlier, at most half of the way back to the mark before.
const MOVE_S: f64 = 0.2;

/// Multiplies a part's sound by its `level` rows, taken relative to the highest level in them, and gives the gain of that highest level (1 without rows).
///
/// Each level holds until the next one, also over bar lines; before the first it is 9. A level is reached when its slot begins, as a hand on the knob does
/// it: a note struck at level 0 is not heard to be struck.
pub fn volume(part: &Part, clock: &Clock, stretch: &Stretch, samples: &mut [f32]) -> f32 {
    let mut marks: Vec<(i64, f32)> = vec![(0, 1.0)];
    for (i, bar) in part.bars.iter().enumerate() {
        for (at, level) in &bar.level {
            let mark = (frame(clock.in_bar(i, *at)), gain(*level));
            // Of two marks at one place the later written one holds.
            match marks.last_mut().filter(|m| m.0 >= mark.0) {
                Some(last) => *last = mark,
                None => marks.push(mark),
            }
        }
    }
    let most = marks.iter().fold(0.0f32, |m, (_, g)| m.max(*g));
    if most == 0.0 || marks.iter().all(|m| m.1 == 1.0) {
        samples.iter_mut().for_each(|s| *s *= most);
        return most;
    }
    let marks = spread(&marks, stretch);
    let mut now = marks[0];
    let mut next = marks[1..].iter().peekable();
    let longest = (MOVE_S * f64::from(RATE)) as i64;
    for (n, s) in (stretch.from..).zip(samples) {
        while let Some(m) = next.next_if(|m| m.0 <= n) {
            now = *m;
        }
        let mut level = now.1;
        if let Some((at, to)) = next.peek() {
            let length = longest.min((at - now.0) / 2).max(1);
            let u = 1.0 - (at - n) as f32 / length as f32;
            if u > 0.0 {
                level += (to - level) * u * u * (3.0 - 2.0 * u);
            }
        }
        *s *= level / most;
    }
    most
}

/// Sends a part's sound through its `wah` rows. The pedal is in for the bars that have a row; before a row's first mark it stands where the row before left it,
/// or where its own first mark will put it.
pub fn wah(part: &Part, clock: &Clock, stretch: &Stretch, samples: &mut [f32]) {
    // Frame, how much of the pedal is heard, how far it is open.
    let mut marks: Vec<(i64, (f64, f64))> = vec![(0, (0.0, 0.0))];
    let mut open = None;
    for (i, bar) in part.bars.iter().enumerate() {
        let at = |at| frame(clock.in_bar(i, at));
        let start = at(lesson::Beats::from(0));
        let Some((_, first)) = bar.wah.first() else {
            let stands = marks.last().map_or(0.0, |m| m.1.1);
            marks.push((start, (0.0, stands)));
            open = None;
            continue;
        };
        let value = |open: bool| if open { 1.0 } else { 0.0 };
        marks.push((start, (1.0, value(open.unwrap_or(*first)))));
        marks.extend(bar.wah.iter().map(|(b, o)| (at(*b), (1.0, value(*o)))));
        open = bar.wah.last().map(|m| m.1);
    }
    if marks.iter().all(|m| m.1.0 == 0.0) {
        return;
    }
    let marks = spread(&marks, stretch);
    let mut next = marks.iter().peekable();
    let mut filter = Resonator::default();
    let per_block = |s: f64| 1.0 - libm::exp(-16.0 / (s * f64::from(RATE)));
    let (quick, foot) = (per_block(0.006), per_block(0.035));
    let (mut target, mut wet, mut place) = ((0.0, 0.0), 0.0f64, 0.0f64);
    let mut n = stretch.from;
    for block in samples.chunks_mut(16) {
        while let Some(m) = next.next_if(|m| m.0 <= n) {
            target = m.1;
        }
        let before = wet;
        wet += quick * (target.0 - wet);
        place += foot * (target.1 - place);
        n += 16;
        if wet < 1e-4 && before < 1e-4 {
            continue;
        }
        filter.tune(WAH_HZ.0 * libm::pow(WAH_HZ.1 / WAH_HZ.0, place), WAH_Q);
        let step = (wet - before) as f32 / 16.0;
        let mut w = before as f32;
        for s in block {
            w += step;
            let (band, low) = filter.next(*s);
            *s += w * (1.9 * band + 0.25 * low - *s);
        }
    }
}

/// Marks of one round put where each round of the stretch has them.
fn spread<T: Copy>(marks: &[(i64, T)], stretch: &Stretch) -> Vec<(i64, T)> {
    let mut all: Vec<(i64, T)> =
        stretch.shifts().into_iter().flat_map(|by| marks.iter().map(move |(at, v)| (at + by, *v))).collect();
    // Stable: of two marks at one place the later written one holds.
    all.sort_by_key(|m| m.0);
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_fall_steadily() {
        assert_eq!((gain(9), gain(0)), (1.0, 0.0));
        assert!((0..9).all(|l| gain(l) < gain(l + 1)));
        let db = 20.0 * libm::log10(f64::from(gain(8)));
        assert!((-2.0..-1.0).contains(&db), "{db}");
    }
}
