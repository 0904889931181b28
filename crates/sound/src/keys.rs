//! Instruments written by note name: a gentle tone that is struck and dies (keys), or one that is held (horns, voice, organ).

use crate::RATE;
use crate::course::Course;
use crate::fretted::bend_and_slide;
use crate::time::{Note, Stretch, hz};

/// How the tone lives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// Struck, dying away: pianos and whatever is not known.
    Struck,
    /// Held as long as written.
    Held,
}

impl Tone {
    /// From the instrument's word.
    pub fn of(instrument: &str) -> Tone {
        const HELD: &[&str] =
            &["organ", "horn", "brass", "voice", "vocal", "sing", "choir", "sax", "flute", "reed", "string", "violin", "cello", "trumpet", "trombone", "pad"];
        let word = instrument.to_lowercase();
        if HELD.iter().any(|w| word.contains(w)) { Tone::Held } else { Tone::Struck }
    }
}

/// The dry sound of such a part over `stretch`, mono.
pub fn play(notes: &[Note], tone: Tone, stretch: &Stretch) -> Vec<f32> {
    let mut out = vec![0.0f32; stretch.frames()];
    for note in notes {
        stretch.add(&mut out, &sound(note, tone), note.start, 1.0);
    }
    out
}

/// One note with its release.
fn sound(note: &Note, tone: Tone) -> Vec<f32> {
    let rate = f64::from(RATE);
    let s = note.sounding;
    let midi = f64::from(s.midi.0);
    let mut course = Course::default();
    bend_and_slide(&mut course, s, note, rate);
    if s.vibrato {
        course.shake(0.2);
    }
    let held = ((note.end - note.start).max(0) as f64 * if s.short { 0.45 } else { 1.0 }) as usize;
    let release_s = if tone == Tone::Struck { 0.16 } else { 0.1 };
    let frames = held + (release_s * rate) as usize;
    let strength = (if s.accent { 1.6 } else { 1.0 }) * if s.ghost { 0.27 } else { 1.0 };
    // Higher notes die sooner (the time to a thousandth).
    let t60 = 7.0 * libm::exp2(-(midi - 48.0) / 22.0);
    let per_frame = |s: f64| libm::exp(-6.9 / (s.max(0.02) * rate)) as f32;
    let (fall, tine_fall) = (per_frame(t60), per_frame(0.22));
    let let_go = per_frame(release_s);
    let rise = 1.0 / (rate * if tone == Tone::Struck { 0.002 } else { 0.035 }) as f32;
    let (mut level, mut tine, mut gone) = (strength as f32, strength as f32, 1.0f32);
    let (mut turn, mut high) = (0.0f32, 0.0f32);
    let mut step = (hz(midi + course.at(0.0)) / rate) as f32;
    // Partials of the held tone that would lie above the audible are left out.
    let partials: usize = (1..=6).take_while(|k| f64::from(*k) * hz(midi) < 9000.0).count();
    let mut v = Vec::with_capacity(frames);
    for n in 0..frames {
        if n % 32 == 0 && !course.rests_from(n as f64 / rate) {
            step = (hz(midi + course.at(n as f64 / rate)) / rate) as f32;
        }
        let onset = (n as f32 * rise).min(1.0);
        let wave = match tone {
            Tone::Struck => {
                // A tone whose phase its own octave moves, more while it is loud; a small bell at the beginning.
                let push = sine(wrap(turn + turn)) * level * 0.09;
                sine(wrap(turn + push)) * level + sine(high) * tine * 0.06
            }
            Tone::Held => {
                let mut sum = 0.0;
                for k in 1..=partials {
                    const LEVELS: [f32; 6] = [1.0, 0.42, 0.24, 0.12, 0.06, 0.03];
                    sum += sine(wrap(turn * k as f32)) * LEVELS[k - 1];
                }
                sum * 0.55 * strength as f32
            }
        };
        v.push(wave * onset * gone);
        turn = wrap(turn + step);
        high = wrap(high + step * 7.0);
        level *= fall;
        tine *= tine_fall;
        if n >= held {
            gone *= let_go;
        }
    }
    // Drawn to nothing at the very end.
    let end = v.len().min(480);
    let from = v.len() - end;
    for (k, s) in v[from..].iter_mut().enumerate() {
        *s *= 1.0 - k as f32 / end as f32;
    }
    v
}

/// Back into 0..1 from anything not far outside.
fn wrap(turns: f32) -> f32 {
    turns - turns.floor()
}

/// Sine of a phase in turns, 0..1: Taylor's polynomial of ninth order over a quarter turn, within 4e-6.
fn sine(turns: f32) -> f32 {
    let half = if turns >= 0.5 { turns - 1.0 } else { turns };
    let quarter = if half > 0.25 { 0.5 - half } else if half < -0.25 { -0.5 - half } else { half };
    let x = quarter * std::f32::consts::TAU;
    let s = x * x;
    x * (1.0 - s * (1.0 / 6.0 - s * (1.0 / 120.0 - s * (1.0 / 5040.0 - s / 362_880.0))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sine_is_the_sine() {
        for i in 0..1000 {
            let t = i as f32 / 1000.0;
            let exact = libm::sin(std::f64::consts::TAU * f64::from(t));
            assert!((f64::from(sine(t)) - exact).abs() < 1e-5, "{t}");
        }
    }

    #[test]
    fn words_choose_the_tone() {
        assert_eq!(Tone::of("keys"), Tone::Struck);
        assert_eq!(Tone::of("Horns"), Tone::Held);
        assert_eq!(Tone::of("voice"), Tone::Held);
    }
}
