//! Numbers between the steps of a check, held against tables in `tests/steps`: a later step makes good what an earlier one gets a little wrong, so that the answers alone let most changes pass
//! unseen. The tables say nothing of right or wrong; where a change is meant, `ANSWERS=write cargo test --release -p check --lib` writes them anew, and the difference is to be read.

#[allow(dead_code)]
#[path = "../../pitch/tests/table/mod.rs"]
mod table;

pub(crate) use table::Dice;

/// Lines of a table, each a name and its numbers.
#[derive(Default)]
pub(crate) struct Steps(String);

impl Steps {
    pub fn say<N: Into<f64>>(&mut self, what: &str, numbers: impl IntoIterator<Item = N>) {
        let list: String = numbers.into_iter().map(|n| format!(" {:.4}", n.into())).collect();
        self.0 += &format!("{what}:{list}\n");
    }

    /// Holds the lines against the table of that name.
    pub fn held(&self, name: &str) {
        let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/steps/{name}.table"));
        table::held_in(&file, &self.0, close);
    }
}

/// Words alike, numbers within three in a thousand: processors differ in their last digits.
fn close(a: &str, b: &str) -> bool {
    let alike = |(a, b): (&str, &str)| match (a.parse::<f64>(), b.parse::<f64>()) {
        (Ok(x), Ok(y)) => (x - y).abs() <= 0.002 + 0.003 * x.abs(),
        _ => a == b,
    };
    let (a, b): (Vec<&str>, Vec<&str>) = (a.split(' ').collect(), b.split(' ').collect());
    a.len() == b.len() && a.into_iter().zip(b).all(alike)
}

use crate::moments::{Moment, Moments, strokes};
use crate::spectra::RATE_HZ;
use crate::score::{Score, ScorePart};

/// Two guitars, a bass and drums, with all that notes can do in a part: bars that come back, scratches, slides, bends, hammered, spread and swelling strokes, and some that were waved through.
const PARTS: &str = r#"lesson "t" {
  passage "p" {
    tempo 100
    slots 8
    swing 58 of="1/8"
    key "Bb major"
    part "chop" instrument="guitar" seat="left" {
      grip "a" "x x 5 5 5 5"
      grip "b" "x 3 5 5 x x"
      bar "a . x a  4:5 . 3:7 a" times=3
      bar "5:3 H5:5 - /5:7  3:7^1 - ^0 ." heard="as written at slot 4"
      bar "*a . a43 b  - 2:5 6:0 6:3"
      bar "a - a -  b - - -" { level "0 - 5 9  2 - - -" }
      bar "5:1 5:3 5:5 5:7  4:3 4:5 3:4 3:5"
      bar "a . b .  a' . 1:10 ." heard="as written"
    }
    part "line" instrument="guitar" seat="right" {
      bar "4:5 - - -  3:7 - 3:5 -" times=3
      bar "2:5 - 2:8 -  1:5 - - -"
      bar "3:5/7 - - .  2:5 - x ."
      bar "1:5 1:8 2:8 2:5  3:7 3:5 4:7 4:5"
      bar "4:5+3:7 . 2:5 .  4:5+3:7 . 2:5 ." times=2
    }
    part "floor" instrument="bass" tuning="drop D" {
      bar "4:0 - 4:3 -  3:3 - 3:5 -" times=4
      bar "2:5 - - 2:5  3:3 . 3:5 ."
      bar "4:5 . 4:3 4:0  4:5 . 4:3 4:0" times=3
    }
    part "kit" instrument="drums" {
      repeat times=8 { bar { kick "x . . x  . . . ."; snare ". . . .  x . . ." } }
    }
  }
}
"#;

fn number(dice: &mut Dice, from: f64, to: f64) -> f32 {
    (from + (to - from) * dice.below(10_001) as f64 / 10_000.0) as f32
}

/// One moment by the dice: the notes of a stroke well heard, faintly or not at all, rivals of some, and what begins beside.
fn invented(part: &ScorePart, dice: &mut Dice, (written_s, notes): (f64, Vec<usize>), listened: bool) -> Moment {
    let (low, high) = part.range();
    let pitches: Vec<i32> = notes.iter().map(|n| part.notes[*n].midi).collect();
    let still = dice.below(6) == 0;
    let mut odds: Vec<f32> = (low..=high).map(|_| number(dice, -12.0, -5.0)).collect();
    let mut chances: Vec<[f32; 6]> = if listened { (low..=high).map(|_| [0; 6].map(|_| number(dice, -2.3, -1.6))).collect() } else { vec![] };
    let mut set = |midi: i32, to: f32, chance: f32| {
        if let Some(n) = usize::try_from(midi - low).ok().filter(|n| *n < odds.len()) {
            odds[n] = odds[n].max(to);
            if let Some(c) = chances.get_mut(n) {
                (c[0], c[3], c[5]) = (c[0].max(chance), c[3].max(chance + 0.1), c[5].max(-chance));
            }
        }
    };
    if !still {
        for midi in &pitches {
            match dice.below(4) {
                0 => set(midi + [-12, -2, -1, 1, 2, 7, 12][dice.below(7)], number(dice, -4.0, 8.0), number(dice, -1.0, 0.6)),
                1 => set(*midi, number(dice, -7.0, 2.0), number(dice, -2.0, 0.0)),
                _ => set(*midi, number(dice, 0.0, 11.0), number(dice, -0.5, 0.7)),
            }
        }
        // What nobody wrote, and a moment with no notes has for the most part one.
        if pitches.is_empty() || dice.below(3) == 0 {
            let near: Vec<i32> = part.notes.iter().filter(|n| (n.at_s - written_s).abs() < 0.31 && (n.at_s - written_s).abs() > 0.04).map(|n| n.midi).collect();
            let midi = if near.is_empty() || dice.below(2) == 0 { low + dice.below((high - low) as usize) as i32 } else { near[dice.below(near.len())] };
            set(midi, number(dice, -3.0, 9.0), number(dice, -1.0, 0.7));
        }
    }
    let ringing: Vec<i32> = part.notes.iter().filter(|n| n.at_s < written_s - 0.02 && n.at_s + n.length_s > written_s + 0.05 && !n.unpitched).map(|n| n.midi).collect();
    let instead = notes.iter().map(|_| odds.iter().map(|o| o + number(dice, -0.5, 1.5)).collect()).collect();
    let ahead_s = (dice.below(5) > 0).then(|| f64::from(number(dice, -0.02, 0.03)));
    let (strength, newness) = if still { (number(dice, 0.0, 0.3), number(dice, -2.0, 0.2)) } else { (number(dice, 0.1, 2.0), number(dice, -0.3, 3.0)) };
    Moment { written_s, heard_s: 0.5 + 1.01 * written_s, notes, ringing, odds, chances, instead, strength, newness, ahead_s, times: 1.0 }
}

/// The moments of a part by the dice.
fn moments_of(part: &ScorePart, length_s: f64, dice: &mut Dice, listened: bool) -> Moments {
    let mut own: Vec<Moment> = strokes(part).into_iter().map(|s| invented(part, dice, s, listened)).collect();
    for _ in 0..own.len() / 2 {
        let at = f64::from(number(dice, 0.0, length_s));
        if own.iter().all(|m| (m.written_s - at).abs() > 0.05) {
            own.push(invented(part, dice, (at, vec![]), listened));
        }
    }
    own.sort_by(|a, b| a.written_s.total_cmp(&b.written_s));
    let beneath = if listened { (0..6).map(|n| invented(part, dice, (0.7 + 2.0 * f64::from(n), vec![]), true)).collect() } else { vec![] };
    Moments { own, beneath }
}

/// The parts as sound of their own, each from its seat: sums of partials that die away, drums as noise, and a hiss.
fn panned(score: &Score, begin_s: f64, seats: &[f64], hiss: f64) -> wave::Buffer {
    let rate = f64::from(RATE_HZ);
    let mut dice = Dice(11);
    let frames = ((begin_s + score.length_s + 0.4) * rate) as usize;
    let mut sides: Vec<Vec<f64>> = (0..2).map(|_| (0..frames).map(|_| f64::from(number(&mut dice, -hiss, hiss))).collect()).collect();
    for (part, seat) in score.parts.iter().zip(seats) {
        let angle = (seat + 1.0) * std::f64::consts::FRAC_PI_4;
        let gains = [libm::cos(angle), libm::sin(angle)];
        for (n, note) in part.notes.iter().enumerate() {
            let hz = 440.0 * libm::exp2((f64::from(note.midi) - 69.0 + 0.05) / 12.0);
            let level = 0.02 + 0.02 * (n % 4) as f64;
            let from = ((begin_s + note.at_s) * rate) as usize;
            for k in 0..(note.length_s.clamp(0.08, 1.2) * rate) as usize {
                let t = k as f64 / rate;
                let tone = if part.is_pitched() && !note.unpitched {
                    (1..=8).map(f64::from).map(|j| level / j * libm::sin(std::f64::consts::TAU * j * hz * t + j) * libm::exp(-1.5 * j * t)).sum::<f64>()
                } else {
                    f64::from(number(&mut dice, -level, level)) * libm::exp(-25.0 * t)
                };
                for (side, gain) in sides.iter_mut().zip(gains) {
                    if let Some(sample) = side.get_mut(from + k) {
                        *sample += (t / 0.005).min(1.0) * gain * tone;
                    }
                }
            }
        }
    }
    wave::Buffer::new(RATE_HZ, sides.into_iter().map(|s| s.into_iter().map(|v| v as f32).collect()).collect()).unwrap()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::align::{Alignment, Known, Seen, align};
    use crate::answer::{Checked, PartChecked, Unwritten};
    use crate::chances::Hearings;
    use crate::evidence::log_odds;
    use crate::features::{Combs, features, listen};
    use crate::moments::{Stretch, moments};
    use crate::spectra::{Lens, Panorama, Place, Sound, seat_of};
    use crate::templates::{Templates, colour};
    use crate::findings::{FindingKind, Voice, findings};
    use crate::whole::Whole;
    use crate::{judge, rhythm, whole};

    fn odds(share: f64) -> f64 {
        libm::log(share.max(1e-9) / (1.0 - share).max(1e-9))
    }

    fn score() -> Score {
        let reading = lesson::read(PARTS);
        assert!(reading.is_sound(), "{:?}", reading.problems);
        Score::of(&reading.lesson.passages[0])
    }

    #[test]
    fn what_is_said_of_invented_moments_is_as_kept() {
        let score = score();
        let mut out = Steps::default();
        for (seed, listened) in [(1, true), (2, true), (3, false), (4, false)] {
            let mut dice = Dice(seed);
            let mut checked = Checked { id: score.id.clone(), file: "a.wav".into(), ..Checked::default() };
            for (index, part) in score.parts.iter().enumerate() {
                // Of the network's kind only guitars were listened to.
                let Moments { own, beneath } = moments_of(part, score.length_s, &mut dice, listened && index < 2);
                let beside = |at: f64| if index == 1 { score.parts[0].notes.iter().filter(|n| (n.at_s - at).abs() < 0.05).map(|n| n.midi).collect() } else { vec![] };
                let taken = |at: f64, midi: i32| score.parts[1 - index.min(1)].notes.iter().any(|n| n.midi == midi && (n.at_s - at).abs() < 0.1);
                let notes = judge::notes(&score, index, &own, &beneath, &beside, 3.0, 0.5 + 1.01 * score.length_s - 0.4);
                for n in &notes {
                    let said = format!("{} bar {} slot {} midi {} {} better {:?} moved {:?}", part.name, n.bar, n.slot, n.midi, n.verdict.word(), n.better, n.moved_slots);
                    let marks: Vec<f32> = if seed == 1 || seed == 3 && n.slot % 2 == 1 { n.marks.into_iter().chain(n.moved_marks.into_iter().flatten()).collect() } else { vec![] };
                    out.say(&said, [n.time_s, odds(n.evidence), n.ahead_ms.unwrap_or(0.0)].into_iter().chain(marks.into_iter().map(f64::from)));
                }
                let unwritten = if part.is_pitched() { judge::unwritten(&score, index, &own, &notes, &taken, 3.0) } else { vec![] };
                for u in &unwritten {
                    out.say(&format!("{} unwritten bar {} slot {} midi {} place {:?} {}", part.name, u.bar, u.slot, u.midi, u.place, u.of_stroke), [u.time_s, u.beat, odds(u.evidence)].into_iter().chain(u.marks.map(f64::from)));
                }
                let mut all = Vec::new();
                for alone in [true, false] {
                    let strays = rhythm::strays(&score, index, &own, &notes, alone, 3.0);
                    strays.iter().for_each(|s| out.say(&format!("{} stroke {alone} bar {} slot {} {}", part.name, s.bar, s.slot, s.written), [s.time_s, s.beat, s.evidence]));
                    all = strays;
                }
                let pocket = rhythm::pocket(&score, index, &own, &notes);
                if let Some(k) = pocket {
                    out.say(&format!("{} pocket {} of {}", part.name, k.strokes, k.swing_of), [k.ahead_ms, k.spread_ms, k.swing_percent.unwrap_or(0.0), k.swing_written_percent]);
                }
                if part.is_pitched() {
                    out.say(&format!("{} absent {}", part.name, whole::absent(part, &own, &notes)), [0.0]);
                    for by in -12..=12 {
                        // The same moments with all pitches shifted: is it told?
                        let shifted: Vec<Moment> = own.iter().map(|m| shifted(m, by)).collect();
                        let moved = whole::moved_by(part, &shifted);
                        let strings = whole::strings_moved(part, &shifted_string(part, &own, 3, by));
                        if moved.is_some() || !strings.is_empty() {
                            let list = strings.iter().flat_map(|s| [f64::from(s.0), f64::from(s.1), s.2]);
                            out.say(&format!("{} shifted by {by}", part.name), moved.iter().flat_map(|m| [f64::from(m.0), m.1, m.2]).chain(list).collect::<Vec<f64>>());
                        }
                    }
                }
                checked.parts.push(PartChecked { name: part.name.clone(), notes, unwritten, rhythm: all, pocket });
            }
            let wholes = [
                vec![],
                vec![(Some(2), Whole::Absent, 0.7), (Some(0), Whole::StringTuned { string: 6, by: -2 }, 0.9)],
                vec![(None, Whole::EndsEarly { time_s: 12.0, bar: 6 }, 0.9), (Some(1), Whole::Semitones(-1), 0.8)],
                vec![(None, Whole::Tempo { times: [0.5, 0.9, 1.2, 2.0][seed as usize - 1] }, 0.6)],
                vec![(None, Whole::Semitones(2), 0.6)],
                vec![(Some(0), Whole::Semitones(12), 0.6), (Some(1), Whole::StringTuned { string: 1, by: 1 }, 0.97)],
            ];
            for (n, list) in wholes.iter().enumerate() {
                for voice in [Voice::Record, Voice::Take] {
                    let all = findings(&score, &checked, list, voice);
                    out.say(&format!("{n} {voice:?}"), [all.len() as f64]);
                    // Those of single notes once.
                    for f in all.iter().filter(|f| n == 0 && seed < 3 || matches!(f.kind, FindingKind::Whole(_))) {
                        let place = f.suggested_place.map(|p| [p.0, p.1]);
                        out.say(&format!("{:?} {:?} {:?}, {}; {place:?} {:?}", f.part, f.bars, f.kind, f.words, f.suggested), [f.sure, f.serious, f.beat, f.time_s]);
                    }
                }
            }
        }
        out.held("judged");
    }

    /// The odds of all pitches moved up.
    fn shifted(m: &Moment, by: i32) -> Moment {
        let at = |n: usize| usize::try_from(n as i32 - by).ok().and_then(|n| m.odds.get(n)).copied().unwrap_or(-12.0);
        Moment { odds: (0..m.odds.len()).map(at).collect(), ..m.clone() }
    }

    /// Only where a note of that string is written.
    fn shifted_string(part: &ScorePart, moments: &[Moment], string: u8, by: i32) -> Vec<Moment> {
        let on = |m: &Moment| m.notes.iter().any(|n| part.notes[*n].place.is_some_and(|p| p.0 == string));
        moments.iter().map(|m| if on(m) { shifted(m, by) } else { m.clone() }).collect()
    }

    #[test]
    fn what_other_parts_sound_takes_a_pitch_for_so_long() {
        let text = r#"lesson "t" { passage "p" { tempo 120; slots 4
            part "g" instrument="guitar" seat="left" { bar "5:3 - . ." }
            part "h" instrument="guitar" seat="right" { bar ". 4:2 2:5/7 x" }
            part "b" instrument="bass" seat=-0.6 { bar "3:5 . . 4:3" }
            part "k" instrument="drums" { bar { kick "x x x x" } } } }"#;
        let reading = lesson::read(text);
        assert!(reading.is_sound(), "{:?}", reading.problems);
        let score = Score::of(&reading.lesson.passages[0]);
        // Half a second a slot. For the first guitar the bass sits beside it; in mono the other one too; from 50 ms before a note begins until it ends.
        let beside = |mono: bool, at: f64| crate::sounding_beside(&score, 0, mono, at);
        assert_eq!([0.0, 0.3, 0.6, 1.4, 1.46, 1.9].map(|at| beside(false, at)), [vec![38], vec![38], vec![], vec![], vec![31], vec![31]]);
        assert_eq!([0.0, 0.44, 0.46, 0.6, 1.2].map(|at| beside(true, at)), [vec![38], vec![38], vec![52, 38], vec![52], vec![64]]);
        // Another part's pitch, also on its way, from 100 ms before until 50 ms behind.
        let taken = |index: usize, midi: i32| [0.39, 0.41, 0.7, 0.96, 1.04, 1.06, 1.3, 1.54, 1.56].map(|at| crate::taken_elsewhere(&score, index, at, midi));
        assert_eq!(taken(0, 52), [false, true, true, true, true, false, false, false, false]);
        for midi in 64..=66 {
            assert_eq!(taken(0, midi), [false, false, false, true, true, true, true, true, false], "{midi}");
        }
        assert!(taken(0, 63).iter().chain(&taken(0, 67)).chain(&taken(1, 52)).all(|t| !t));
        // Its own octave for a bass alone.
        let own = |index: usize, midi: i32| crate::taken_elsewhere(&score, index, 0.2, midi);
        assert_eq!([own(2, 50), own(2, 38), own(0, 60), own(0, 48), own(1, 48), own(2, 48)], [true, false, false, false, true, true]);
        let u = |midi: i32, time_s: f64| Unwritten { time_s, bar: 1, beat: 1.0, slot: 1, midi, evidence: 0.5, place: None, of_stroke: true, marks: [0.0; judge::STRAY_MARKS] };
        assert_eq!([50, 62, 69, 74, 78, 81, 51, 38, 86].map(|midi| crate::is_sound_of(&u(midi, 3.0), 50, 3.05)), [true, true, true, true, true, true, false, false, false]);
        assert_eq!([2.9, 2.96, 3.14, 3.2].map(|at| crate::is_sound_of(&u(50, at), 50, 3.05)), [false, true, true, false]);
    }

    #[test]
    fn what_is_said_of_a_passage_and_other_ways_to_lay_it_out_are_as_kept() {
        let score = score();
        let mut out = Steps::default();
        for (unit, percent) in [(0.5, 50.0), (0.5, 65.0), (0.25, 60.0), (1.0, 70.0)] {
            let swung = whole::at_swing(&score, unit, percent);
            out.say(&format!("swung {unit} {percent}"), swung.parts.iter().flat_map(|p| p.notes.iter().step_by(3).map(|n| n.at_s)));
        }
        for times in [0.5, 2.0] {
            let other = whole::at_tempo(&score, times);
            out.say(&format!("tempo {times}"), other.parts.iter().flat_map(|p| p.notes.iter().step_by(5).flat_map(|n| [n.at_s, n.length_s])).chain(other.bars.iter().flat_map(|b| [b.start_s, b.length_s])).chain([other.length_s]));
        }
        let alike = |by: i32| vec![(Some(0), Whole::Semitones(by), 0.9), (Some(1), Whole::Semitones(by), 0.7), (Some(2), Whole::Semitones(by), 0.8)];
        let lists = [vec![], alike(1), alike(-2), vec![(Some(0), Whole::Semitones(1), 0.9), (Some(1), Whole::Semitones(2), 0.7), (Some(2), Whole::Semitones(1), 0.8)], vec![(None, Whole::EndsEarly { time_s: 3.0, bar: 2 }, 0.9), (Some(1), Whole::Absent, 0.7)]];
        for list in &lists {
            for share in [0.0, 0.24, 0.25, 0.26, 0.4, 0.41, 0.9] {
                for tempi in [&[][..], &[(0.5, 0.5), (2.0, 0.7)]] {
                    for turned in [0, 1, -2] {
                        let mut wholes = list.clone();
                        whole::together(&score, &mut wholes, share, tempi, turned);
                        let said: Vec<String> = wholes.iter().map(|(p, w, sure)| format!("{p:?} {w:?} {sure:.3}")).collect();
                        out.say(&format!("{} of {} with {} at {turned}: {}", share, list.len(), tempi.len(), said.join(", ")), [0.0]);
                    }
                }
            }
        }
        // Slots near times, in all parts.
        for part in 0..score.parts.len() {
            out.say(&format!("slots {part}"), (0..60).flat_map(|n| score.slot_at(part, -0.3 + 0.35 * f64::from(n)).map_or([-1.0; 3], |s| [s.0 as f64, s.1, f64::from(s.2)])));
        }
        // What a part's notes are, laid out.
        for p in &score.parts {
            for n in &p.notes {
                out.say(&format!("{} {:?} {:?} {} {} {} {}", p.name, n.place, n.path, n.unpitched, n.soft, n.hushed, n.spread), [n.at_s, n.length_s, f64::from(n.midi), n.beat, f64::from(n.slot)]);
            }
        }
        out.held("passage");
    }

    /// Two bars of two guitars, a bass and drums.
    const SHORT: &str = r#"lesson "t" { passage "p" { tempo 112; slots 8
        part "chop" instrument="guitar" seat="left" { grip "a" "x x 5 5 5 x"; bar "a . a x  4:7 3:5 a -"; bar "a - 5:3 .  a . 2:8 ." }
        part "line" instrument="guitar" seat="right" { bar "1:5 - 2:8 -  1:8 . 4:5 -"; bar "3:7 - . 3:5  - - 2:5 -" }
        part "floor" instrument="bass" tuning="drop D" { bar "4:0 - - 4:3  3:3 - . ."; bar "4:5 - 3:5 -  . . 4:0 -" }
        part "kit" instrument="drums" { repeat times=2 { bar { kick "x . . x  . . . ."; snare ". . . .  x . . ." } } } } }"#;

    fn stretch(buffer: &wave::Buffer, score: &Score, start_s: f64, semitones: Option<usize>, hearings: bool) -> Stretch {
        let sound = Sound::new(buffer).unwrap();
        let seen = Seen::new(&sound, 5.0);
        let alignment = align(&seen, score, &Known { start_s, start_within_s: 0.2, pins: vec![], turned: semitones }).unwrap();
        Stretch { sound, seen, panorama: Default::default(), alignment, combs: Combs::new(5.0), cents: 5.0, from_s: 0.0, hearings: hearings.then(Default::default) }
    }

    #[test]
    fn what_is_heard_of_a_part_is_as_kept() {
        let reading = lesson::read(SHORT);
        assert!(reading.is_sound(), "{:?}", reading.problems);
        let score = Score::of(&reading.lesson.passages[0]);
        let mut out = Steps::default();
        let stereo = panned(&score, 0.4, &[-0.7, 0.6, 0.0, 0.1], 0.004);
        let sound = Sound::new(&stereo).unwrap();
        let mono = Sound::new(&stereo.mono()).unwrap();
        out.say("sound", [sound.rms, sound.end_s, mono.rms, mono.end_s, f64::from(u8::from(sound.right.is_some())), f64::from(u8::from(mono.right.is_some()))]);
        // Spectra, from within, before and behind.
        let mut lens = Lens::new();
        let mut spectrum = Vec::new();
        for (name, sound) in [("stereo", &sound), ("mono", &mono)] {
            for seat in [None, Some(-0.7), Some(0.0), Some(0.6)] {
                for from in [-900, 9_000, 40_000, sound.middle.len() as i64 - 700, sound.middle.len() as i64 + 5] {
                    lens.look_to(sound, Place { seat }, from, 2_048, 120, &mut spectrum);
                    out.say(&format!("{name} {seat:?} {from} of {}", spectrum.len()), spectrum.iter().step_by(6).map(|v| 1_000.0 * v));
                }
            }
        }
        let panorama = Panorama::new(&sound, 1_024, 2_000, 60).unwrap();
        for seat in [-0.7, 0.2] {
            for frame in [0, 7, 20, 400] {
                panorama.from_seat(frame, seat, &mut spectrum);
                out.say(&format!("panorama {seat} {frame}"), spectrum.iter().step_by(4).map(|v| 1_000.0 * v));
            }
        }
        // Seats: as they are, written elsewhere, and with pitches that only another one has.
        let strokes: Vec<Vec<(f64, Vec<i32>)>> = score.parts.iter().map(|p| crate::moments::strokes(p).iter().map(|(at, notes)| (0.4 + at, notes.iter().map(|n| p.notes[*n].midi).collect())).collect()).collect();
        for (n, list) in strokes.iter().enumerate() {
            out.say(&format!("seat {n}"), [-1.0, -0.6, -0.2, 0.0, 0.3, 0.8].map(|written| seat_of(&sound, written, list, 5.0).unwrap()));
        }
        assert!(seat_of(&mono, 0.0, &strokes[0], 5.0).is_none());
        // Pitches of a spectrum.
        for (size, cents, lowest) in [(4_096, 0.0, 28), (2_048, 12.0, 40), (8_192, -20.0, 23)] {
            let t = Templates::new(size, cents, lowest);
            lens.look_to(&mono, Place { seat: None }, 9_000, size, t.bins + 1, &mut spectrum);
            let own = colour(&[spectrum.clone(), spectrum.iter().rev().copied().collect()], t.bins);
            out.say(&format!("colour {size}"), own.iter().copied().step_by(own.len() / 30));
            let flat: Vec<f32> = spectrum.iter().zip(&own).map(|(a, b)| a * b).collect();
            let weights = t.weights(&flat);
            let top = weights.iter().fold(1e-9f32, |m, w| w.max(m));
            out.say(&format!("weights {size} of {}", t.bins), weights.iter().map(|w| w / top));
            for pitch in [0, 12, 20, 32, 60] {
                out.say(&format!("partials {size} {pitch}"), (0..10).flat_map(|k| [100.0 * t.level(&flat, pitch, k), t.peak(&flat, pitch, k)]));
            }
            assert!(t.weights(&vec![0.0; t.bins]).iter().all(|w| *w == 0.0));
        }
        // Strokes in numbers, and what the networks make of them.
        let times = [0.4, 0.93, 1.2, 1.47, 2.54, 3.3, 3.31];
        let mut hearings = Hearings::default();
        for (name, sound, seat, lowest) in [("left", &sound, Some(-0.7), 40), ("all", &mono, None, 40), ("deep", &mono, None, 26)] {
            let chances = hearings.listen(sound, seat, lowest, 5.0, (0.2, 3.5));
            let deeper = Combs::deeper(5.0, lowest);
            assert_eq!(deeper.is_some(), lowest < 28);
            let combs = deeper.unwrap_or_else(|| Combs::new(5.0));
            for pitched in [true, false] {
                for (n, h) in listen(sound, Place { seat }, &combs, &times, pitched).iter().enumerate() {
                    out.say(&format!("{name} {n} {pitched}: newness"), [h.newness()]);
                    for midi in [26, 45, 55, 60, 64, 77, 120].into_iter().filter(|_| pitched && n % 2 == 0) {
                        let others = [40, 55, 60, 64];
                        out.say(&format!("{name} {n} {midi}"), features(&combs, h, midi, &others));
                        let here = chances.as_ref().map(|c| c.at(times[n]));
                        out.say(&format!("{name} {n} {midi} odds"), [log_odds(&combs, h, None, midi, &others), here.as_ref().map_or(0.0, |c| log_odds(&combs, h, Some(c), midi, &others))]);
                        if let Some(here) = &here {
                            out.say(&format!("{name} {n} {midi} chances"), here.numbers(midi));
                        }
                    }
                }
            }
        }
        assert!(hearings.listen(&sound, Some(-0.7), 20, 5.0, (0.2, 3.5)).is_none());
        // All parts over one stretch, and over two that were played apart, the second from the middle alone.
        let later = panned(&score, 0.55, &[-0.6, 0.5, 0.1, 0.0], 0.004);
        let stretches = [stretch(&stereo, &score, 0.5, None, true), stretch(&later.mono(), &score, 0.5, None, true), stretch(&later, &score, 0.5, Some(1), false)];
        for (name, range) in [("one", 0..1), ("two", 0..2), ("turned", 2..3)] {
            for (n, part) in score.parts.iter().enumerate() {
                let (low, _) = part.range();
                let Moments { own, beneath } = moments(&score, n, &stretches[range.clone()]);
                for (kind, m) in own.iter().map(|m| ("own", m)).chain(beneath.iter().map(|m| ("beneath", m))) {
                    let written = m.notes.iter().map(|n| part.notes[*n].midi);
                    let numbers = [m.written_s, m.heard_s, f64::from(m.strength), f64::from(m.newness), m.ahead_s.unwrap_or(-1.0), f64::from(m.times)];
                    let odds = written.flat_map(|p| [f64::from(m.odds_of(low, p)), f64::from(m.chances_of(low, p)[0]), f64::from(m.chances_of(low, p)[5])]);
                    let sums = [m.odds.iter().map(|o| f64::from(*o)).sum::<f64>() / 40.0, m.instead.iter().flatten().map(|o| f64::from(*o)).sum::<f64>() / 40.0, m.chances.iter().flatten().map(|o| f64::from(*o)).sum::<f64>() / 200.0];
                    out.say(&format!("{name} {} {kind} {:?} {:?}", part.name, m.notes, m.ringing), numbers.into_iter().chain(odds).chain(sums).collect::<Vec<f64>>());
                }
            }
            out.say(&format!("{name} held"), [0, 3].map(|moves| whole::held(&score, &stretches[range.start], moves)));
        }
        out.held("heard");
    }

    #[test]
    fn what_is_asked_of_a_whole_record_is_as_kept() {
        let reading = lesson::read(SHORT);
        let score = Score::of(&reading.lesson.passages[0]);
        let mut out = Steps::default();
        // A record that ends: the last stroke is written 3.75 s in, heard at 4.33.
        let grid = vec![(0.0, 0.5), (2.0, 2.6), (4.2, 4.7)];
        let alignment = Alignment { strokes: vec![], grid, sure: 1.0, semitones: 0, stretch: 1.0, onsets: vec![] };
        for end in [0.2, 1.0, 2.7, 3.5, 3.8, 3.9, 3.95, 4.0, 4.4, 5.0] {
            out.say(&format!("ends at {end}"), crate::ends_early(&score, &alignment, end).map_or([0.0, -1.0], |(at, bar)| [at, f64::from(bar)]));
        }
        // Swung by more and by less than written, and as written.
        let known = Known { start_s: 0.4, start_within_s: 0.2, pins: vec![], turned: None };
        let slow = r#"lesson "t" { passage "p" { tempo 66; slots 8; part "g" instrument="guitar" { bar "5:3 4:2 4:5 3:2 3:5 3:2 4:5 4:2" times=2 } } }"#;
        let slow = Score::of(&lesson::read(slow).lesson.passages[0]);
        for (score, unit, percent) in [(&score, 0.5, 66.0), (&slow, 0.5, 50.0), (&slow, 0.5, 59.0), (&slow, 0.5, 66.0), (&slow, 0.5, 74.0)] {
            let seen = Seen::new(&Sound::new(&panned(&whole::at_swing(score, unit, percent), 0.4, &[0.0; 4], 0.0)).unwrap(), 5.0);
            let as_written = align(&seen, score, &known).unwrap();
            let found = as_written.found();
            let a = crate::swung(score, &seen, &known, as_written);
            out.say(&format!("swung {unit} {percent}"), [found, a.found()].into_iter().chain(a.strokes.iter().flat_map(|s| [s.written_s, s.heard_s, f64::from(s.strength)])));
        }
        // At another tempo, against what is heard as written.
        for times in [0.5, 1.0, 2.0] {
            let played = panned(&whole::at_tempo(&score, times), 0.4, &[-0.7, 0.6, 0.0, 0.1], 0.004);
            let span = crate::Span { file: "a.wav", record: &played, from_s: 0.4, to_s: 0.4 + score.length_s };
            for share in [0.0, 0.5, 0.9] {
                out.say(&format!("tempo {times} beside {share}"), crate::other_tempi(&score, &span, &known, 5.0, 0.0, share).into_iter().flat_map(|t| [t.0, t.1]));
            }
        }
        out.held("record");
    }
}
