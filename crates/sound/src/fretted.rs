//! Guitar and bass: a part's notes as strokes on its strings, then the sum of its strings.
//!
//! Each string is one line (see [`crate::string`]) from beginning to end. A stroke touches the string first, which ends the note that rang there;
//! hammered, pulled and slid notes go on with what rings.

use crate::course::Course;
use crate::pluck::{self, Pluck};
use crate::random::Random;
use crate::string::{self, Decay, LEAD};
use crate::time::{Note, Stretch};
use crate::RATE;
use lesson::{Attack, Direction, Source};

/// The pick or finger lies on the string for this long before it lets go, frames.
const TOUCH: i64 = 96;
/// Control of pitch and loss is renewed after so many frames.
const BLOCK: i64 = 32;
/// A string quieter than this (of a plain stroke's about 1) is at rest.
const REST: f32 = 2e-6;

/// What kind of strings, pick and pickup. Tuned by ear and by spectra.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Voice {
    /// Ringing time of the fundamental at MIDI 40, seconds, and how many octaves up it halves.
    pub ring_s: f64,
    pub halves_over_octaves: f64,
    /// Ringing time at 3 kHz, seconds, on every string alike (at most that of the fundamental): what is lost there is lost by bending and in the air.
    pub treble_s: f64,
    /// Places of pick and pickup, parts of the string from the bridge.
    pub pick: f64,
    pub pickup: f64,
    /// Low pass of a plain stroke, hertz.
    pub soft_hz: f64,
    pub noise: f64,
    /// Time to fall by 60 dB when the hand stops the string, seconds.
    pub release_s: f64,
    /// From string to string in a plain stroke, seconds.
    pub strum_s: f64,
    pub vibrato_semitones: f64,
    /// Ringing time under the palm at MIDI 40, seconds.
    pub palm_s: f64,
    /// Pitch of the dead strokes' colour on the lowest string, hertz.
    pub scratch_hz: f64,
}

/// Electric guitar, clean.
pub const GUITAR: Voice = Voice {
    ring_s: 10.0,
    halves_over_octaves: 3.0,
    treble_s: 1.9,
    pick: 0.13,
    pickup: 0.12,
    soft_hz: 3800.0,
    noise: 0.05,
    release_s: 0.09,
    strum_s: 0.0055,
    vibrato_semitones: 0.25,
    palm_s: 0.6,
    scratch_hz: 900.0,
};

/// Electric bass, played with the fingers.
pub const BASS: Voice = Voice {
    ring_s: 4.5,
    halves_over_octaves: 3.0,
    treble_s: 0.63,
    pick: 0.19,
    pickup: 0.17,
    soft_hz: 1000.0,
    noise: 0.02,
    release_s: 0.11,
    strum_s: 0.008,
    vibrato_semitones: 0.09,
    palm_s: 0.3,
    scratch_hz: 500.0,
};

impl Voice {
    /// Takes from the teacher's words on the tone what this model can do: which pickup, how bright.
    pub fn with_tone(mut self, tone: &str) -> Voice {
        let words = tone.to_lowercase();
        let says = |list: &[&str]| list.iter().any(|w| words.contains(w));
        if says(&["bridge"]) {
            (self.pickup, self.pick) = (0.07, 0.11);
        } else if says(&["neck"]) {
            (self.pickup, self.pick) = (0.22, 0.17);
        }
        if says(&["warm", "dark", "round", "mellow"]) {
            self.soft_hz *= 0.6;
            self.treble_s *= 0.7;
        } else if says(&["bright", "sharp", "crisp"]) {
            self.soft_hz *= 1.35;
            self.treble_s *= 1.2;
        }
        self
    }

    fn decay(&self, midi: f64) -> Decay {
        let low_s = self.ring_s * libm::exp2(-(midi - 40.0) / (12.0 * self.halves_over_octaves));
        Decay { low_s, treble_s: self.treble_s.min(low_s) }
    }
}

/// One thing that happens to a string.
#[derive(Clone, Debug)]
struct Act {
    /// Frames from the passage's beginning.
    start: i64,
    /// When the hand stops it.
    end: i64,
    /// Whether what rang before is stopped.
    struck: bool,
    midi: f64,
    course: Course,
    decay: Decay,
    release_s: f64,
    pluck: Option<Pluck>,
    /// Colour (hertz), length (seconds) and strength of a dead stroke.
    scratch: Option<(f64, f64, f64)>,
    seed: [u64; 3],
}

impl Act {
    fn period_at(&self, frame: i64) -> f64 {
        let t_s = frame as f64 / f64::from(RATE);
        string::period(crate::time::hz(self.midi + self.course.at(t_s)))
    }
}

/// The dry sound of a fretted part over `stretch`, mono. `open` gives the strings' open pitches, low to high.
pub fn play(notes: &[Note], voice: &Voice, open: &[f64], seed: u64, stretch: &Stretch) -> Vec<f32> {
    let mut out = vec![0.0f32; stretch.frames()];
    for string in 1..=open.len() as u8 {
        let acts = acts_of(notes, voice, open, string, seed);
        sound_string(&stretch.unroll(acts, |a| a.start, |a| a.struck, |a, by| Act { start: a.start + by, end: a.end + by, ..a.clone() }), stretch, &mut out);
    }
    out
}

/// All strokes on one string, in order of time.
fn acts_of(notes: &[Note], voice: &Voice, open: &[f64], string: u8, seed: u64) -> Vec<Act> {
    let rate = f64::from(RATE);
    let lowest = open.first().copied().unwrap_or(40.0);
    let mut acts: Vec<Act> = Vec::new();
    // For each sounding on this string the act that it became.
    let mut act_of: Vec<Option<usize>> = vec![None; notes.len()];
    for (index, note) in notes.iter().enumerate() {
        let s = note.sounding;
        let seeds = [seed, index as u64, 0];
        let mut random = Random::new(&[seed, index as u64, 1]);
        let here = matches!(s.source, Source::String { string: it, .. } if it == string);
        let open_midi = open[open.len() - usize::from(string)];
        let scratch_hz = voice.scratch_hz * libm::exp2((open_midi - lowest) / 36.0);
        if !here {
            if let Some(lead) = raked_into(s, notes, string, index) {
                let start = note.start - (f64::from(lead) * 0.024 * rate) as i64;
                acts.push(dead(start, start + (0.03 * rate) as i64, open_midi, scratch_hz, 0.6, seeds));
            }
            continue;
        }
        let len_s = (note.end - note.start) as f64 / rate;
        let (delay_s, fall) = strum(s, voice, len_s);
        let strength = (if s.accent { 2.1 } else { 1.0 })
            * (if s.ghost { 0.26 } else { 1.0 })
            * fall
            * (1.0 + 0.06 * random.even());
        let delay = ((delay_s + 0.0004 * random.even().abs() * f64::from(s.order.min(1))) * rate) as i64;
        let start = note.start + delay;
        let mut end = note.end.max(start + 64);
        if s.short {
            end = start + ((note.end - note.start) as f64 * 0.45) as i64;
        }
        if s.dead {
            act_of[index] = Some(acts.len());
            acts.push(dead(start, end, open_midi, scratch_hz, strength * 1.1, seeds));
            continue;
        }
        let midi = f64::from(s.midi.0);
        // The note that a hammered, pulled or slid one comes from, when it still rings.
        let before = s.from.and_then(|f| Some((act_of.get(f).copied()??, notes[f].end))).filter(|(a, end)| {
            *end + (0.03 * rate) as i64 >= note.start && acts[*a].scratch.is_none() && *a + 1 == acts.len()
        });
        let mut course = Course::default();
        let mut pluck = Pluck {
            strength,
            pick: (voice.pick * (1.0 + 0.12 * random.even())).clamp(0.02, 0.5),
            pickup: voice.pickup,
            soft_hz: voice.soft_hz * libm::sqrt(strength.clamp(0.1, 2.0)),
            noise: voice.noise,
        };
        let mut decay = voice.decay(midi);
        let mut struck = true;
        match (s.attack, before) {
            (Attack::Struck, _) => {}
            (Attack::Slid, Some((a, _))) => {
                // The finger moves before the beat and arrives on it.
                struck = false;
                pluck.strength = 0.0;
                let from = &mut acts[a];
                from.end = from.end.max(start);
                let to = midi - from.midi;
                let arrive = (start - from.start) as f64 / rate;
                from.course.slide(arrive * 0.4, arrive, to);
            }
            (Attack::Slid, None) => {
                pluck.strength *= 0.6;
                course.begin(-2.0, 0.07);
            }
            (attack, before) => {
                // A fingertip instead of the pick: softer, darker, without its noise; what rang goes on.
                let tap = if attack == Attack::Hammered { 0.32 } else { 0.5 };
                pluck = Pluck { strength: strength * tap, pick: 0.24, soft_hz: voice.soft_hz * 0.45, noise: 0.0, ..pluck };
                match before {
                    Some((a, _)) => {
                        struck = false;
                        acts[a].end = acts[a].end.max(start);
                        course.begin(acts[a].midi + acts[a].course.last() - midi, 0.004);
                    }
                    None => pluck.strength *= 1.8,
                }
            }
        }
        bend_and_slide(&mut course, s, note, rate);
        if s.vibrato {
            course.shake(voice.vibrato_semitones);
        }
        if s.harmonic {
            pluck = Pluck { strength: pluck.strength * 0.85, pick: 0.29, pickup: voice.pickup * 0.5, soft_hz: pluck.soft_hz * 0.7, noise: 0.02 };
            decay.low_s *= 1.2;
        }
        if s.ghost {
            decay = Decay { low_s: decay.low_s.min(0.5), treble_s: decay.treble_s.min(0.16) };
        }
        if s.palm_mute {
            let low_s = voice.palm_s * libm::exp2(-(midi - 40.0) / 40.0);
            decay = Decay { low_s, treble_s: low_s * 0.13 };
            pluck.soft_hz *= 0.38;
            pluck.strength *= 1.25;
        }
        let act = Act {
            start,
            end,
            struck,
            midi,
            course,
            decay,
            release_s: voice.release_s,
            pluck: Some(pluck),
            scratch: None,
            seed: seeds,
        };
        act_of[index] = Some(acts.len());
        if !s.tremolo {
            acts.push(act);
            continue;
        }
        for (i, at) in note.tremolo.iter().enumerate() {
            let back = if i % 2 == 1 { 0.85 } else { 1.0 };
            acts.push(Act {
                start: start + at,
                struck: struck || i > 0,
                pluck: Some(Pluck { strength: pluck.strength.max(strength * 0.3) * back, ..pluck }),
                course: if i == 0 { act.course.clone() } else { Course::default() },
                seed: [seed, index as u64, i as u64 + 2],
                ..act.clone()
            });
        }
    }
    acts.sort_by_key(|a| a.start);
    acts
}

/// A dead stroke on one string.
fn dead(start: i64, end: i64, midi: f64, hz: f64, strength: f64, seed: [u64; 3]) -> Act {
    Act {
        start,
        end: end.max(start + 64),
        struck: true,
        midi,
        course: Course::default(),
        // The hand lies on the string: hardly one round of it is heard.
        decay: Decay { low_s: 0.022, treble_s: 0.006 },
        release_s: 0.03,
        pluck: Some(Pluck { strength: strength * 0.3, pick: 0.1, pickup: 0.1, soft_hz: hz * 1.2, noise: 0.0 }),
        scratch: Some((hz, 0.055, strength)),
        seed,
    }
}

/// How many strings before its note a rake touches this string: 1 and 2 for the two strings below a single raked note.
fn raked_into(s: &lesson::Sounding, notes: &[Note], string: u8, index: usize) -> Option<u8> {
    let Source::String { string: target, .. } = s.source else { return None };
    let lead = string.checked_sub(target)?;
    let free = |n: &Note| {
        !matches!(n.sounding.source, Source::String { string: it, .. } if it == string && n.start <= notes[index].start && n.end >= notes[index].start)
    };
    (s.rake && s.of == 1 && (1..=2).contains(&lead) && notes.iter().all(free)).then_some(lead)
}

/// Seconds after the stroke's beginning at which this note's string is reached, and how much softer it is.
fn strum(s: &lesson::Sounding, voice: &Voice, len_s: f64) -> (f64, f64) {
    if s.of <= 1 {
        return (0.0, 1.0);
    }
    let gaps = f64::from(s.of - 1);
    let order = f64::from(s.order);
    let step = if s.spread {
        0.06f64.min(len_s * 0.6 / gaps)
    } else if s.rake {
        0.028f64.min(len_s * 0.5 / gaps)
    } else {
        voice.strum_s.min(len_s * 0.3 / gaps)
    };
    let fall = match s.hand {
        Direction::Down => 1.0,
        Direction::Up => 0.93 * (1.0 - 0.05 * order).max(0.7),
    };
    (order * step * if s.hand == Direction::Up { 0.85 } else { 1.0 }, fall)
}

/// The note's own bends and slides.
pub(crate) fn bend_and_slide(course: &mut Course, s: &lesson::Sounding, note: &Note, rate: f64) {
    let mut left_s = 0.0;
    for (i, ((_, cents), at)) in s.bend.iter().zip(&note.bend_at).enumerate() {
        let t_s = *at as f64 / rate;
        if i == 0 && *at <= 0 {
            course.begin_at(cents / 100.0);
        } else {
            course.bend(left_s, t_s, cents / 100.0);
        }
        left_s = t_s;
    }
    if let (Some((_, semitones)), Some(at)) = (s.slide, note.slide_at) {
        course.slide(0.0, (at as f64 / rate).max(0.03), f64::from(semitones));
    }
}

/// Adds one string's sound to `out`.
fn sound_string(acts: &[Act], stretch: &Stretch, out: &mut [f32]) {
    let Some(first) = acts.first() else { return };
    let origin = first.start - TOUCH;
    let Ok(length) = usize::try_from(stretch.to - origin) else { return };
    let mut line = vec![0.0f32; LEAD + length];
    let place = |n: i64| LEAD + (n - origin) as usize;
    for (i, act) in acts.iter().enumerate() {
        let (stop, next_struck) = match acts.get(i + 1) {
            Some(next) if next.struck => ((next.start - TOUCH).max(act.start), true),
            Some(next) => (next.start, false),
            None => (stretch.to, false),
        };
        let stop = stop.min(stretch.to);
        if act.start >= stretch.to {
            break;
        }
        let mut random = Random::new(&act.seed);
        if act.struck {
            // What an unfinished stroke left for later.
            line[place(act.start)..].iter_mut().take(12_000).for_each(|s| *s = 0.0);
        }
        let period = act.period_at(0);
        if let Some(p) = act.pluck.filter(|p| p.strength > 0.0) {
            pluck::add(&mut line, place(act.start), period, &p, &mut random);
        }
        if let Some((hz, length_s, strength)) = act.scratch {
            pluck::add_scratch(&mut line, place(act.start), hz, length_s, strength, &mut random);
        }
        // A struck string knows nothing of what rang before: its first round is the pluck alone.
        let mut n = if act.struck { (act.start + period as i64).min(stop) } else { act.start };
        let loss = act.decay.loss(string::period(crate::time::hz(act.midi)));
        let mut rest = stop;
        while n < stop {
            let t_s = (n - act.start) as f64 / f64::from(RATE);
            let m = if act.course.rests_from(t_s) { stop.min(n + 4096) } else { stop.min(n + BLOCK) };
            let (a, b) = (act.period_at(n - act.start), act.period_at(m - act.start));
            if a == b && act.course.rests_in(t_s, (m - act.start) as f64 / f64::from(RATE)) {
                string::ring(&mut line, place(n), place(m), &loss.at(a), 1.0);
            } else {
                string::glide(&mut line, place(n), place(m), loss, (a, b));
            }
            n = m;
            let round = &line[place(n) - (a as usize).min(place(n))..place(n)];
            if n - act.start > 8192 && round.iter().all(|s| s.abs() < REST) {
                rest = n;
                break;
            }
        }
        // The pick or finger comes down on the string.
        let mut off = rest;
        if next_struck && rest == stop {
            off = (stop + TOUCH).min(stretch.to);
            let closed = loss.at(act.period_at(stop - act.start));
            string::ring(&mut line, place(stop), place(off), &closed, 1.0);
            let fade = (TOUCH - 10) as f32;
            for (k, s) in line[place(stop)..place(off)].iter_mut().enumerate() {
                let u = (1.0 - k as f32 / fade).max(0.0);
                *s *= u * u * (3.0 - 2.0 * u);
            }
        }
        release(act, &line, place(act.start), off, stretch, out);
    }
}

/// Adds `act` from its start to `off` to `out`, falling away from its end on.
fn release(act: &Act, line: &[f32], at: usize, off: i64, stretch: &Stretch, out: &mut [f32]) {
    let fall = libm::pow(10.0, -3.0 / (act.release_s * f64::from(RATE))) as f32;
    let (mut level, mut speed) = (1.0f32, 1.0f32);
    let from = act.start.max(stretch.from);
    let source = &line[at + (from - act.start).max(0) as usize..];
    for (n, s) in (from..off).zip(source) {
        if n >= act.end {
            // The hand needs a few milliseconds to take hold.
            speed += (fall - speed) * 0.01;
            level *= speed;
            if level < 1e-5 {
                break;
            }
        }
        out[(n - stretch.from) as usize] += s * level;
    }
}
