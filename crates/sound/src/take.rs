//! The teacher's own playing of a part: cut out of its file, lined up with the passage, stretched to the tempo.

use crate::time::{Clock, Stretch, frame};
use crate::{Fault, RATE};
use lesson::{Part, Take};
use wave::Buffer;

/// Fades at the two ends of the cut, frames: 8 ms before the first bar, up to a quarter of a second after the last.
const FADE_IN: i64 = 384;
const FADE_OUT: i64 = 12_000;

/// The take of `part`, mono, [`FADE_IN`] frames before the passage's first bar to [`FADE_OUT`] after its last.
///
/// Without `from` the file's first sound is taken for the part's first written note. Silence where the file has no more.
///
/// # Errors
/// `from` or `to` outside the file, or so far apart that stretching would have to be by more than a factor four either way; a rate or length that cannot be
/// worked with.
pub fn cut_out(file: &Buffer, part: &Part, take: &Take, percent: u32, clock: &Clock, full: &Clock) -> Result<Vec<f32>, Fault> {
    let fault = |why: String| Fault::Take { part: part.name.clone(), file: take.file.clone(), why, span: take.span };
    let file = wave::resample(&file.mono(), RATE).map_err(|e| fault(e.to_string()))?;
    let length_s = file.duration().0;
    // Time in the file at which the passage begins.
    let from_s = match take.from_s {
        Some(s) => s,
        None => first_sound_s(file.channel(0)) - lesson::soundings(part).first().map_or(0.0, |s| full.seconds(s.at)),
    };
    if from_s >= length_s {
        return Err(fault(format!("it is {length_s:.2} s long, and the first bar is said to begin at {from_s:.2} s; write a time within the file")));
    }
    let to_s = take.to_s.unwrap_or(from_s + full.length_s());
    if take.to_s.is_some_and(|t| t > length_s + 0.5) {
        return Err(fault(format!("it is {length_s:.2} s long, and the last bar is said to end at {to_s:.2} s; write a time within the file")));
    }
    let ratio = clock.length_s() / (to_s - from_s);
    if !(0.125..=8.0).contains(&ratio) || !(0.25..=4.0).contains(&(full.length_s() / (to_s - from_s))) {
        return Err(fault(format!(
            "from {from_s:.2} s to {to_s:.2} s it is {:.2} s, and the passage is {:.2} s long at full tempo; they must be alike (at most a factor four apart)",
            to_s - from_s,
            full.length_s()
        )));
    }
    // Some sound before the first bar and after the last goes with it, to be faded.
    let lead_s = FADE_IN as f64 / f64::from(RATE) / ratio;
    let tail_s = FADE_OUT as f64 / f64::from(RATE) / ratio;
    let cut = cut(file.channel(0), frame(from_s - lead_s), frame(to_s + tail_s));
    let cut = Buffer::from_mono(RATE, cut).map_err(|e| fault(e.to_string()))?;
    let own_tempo = percent == 100 && (ratio - 1.0).abs() < 1e-4;
    let stretched = if own_tempo { cut } else { wave::stretch(&cut, ratio).map_err(|e| fault(e.to_string()))? };
    let mut v = stretched.into_channels().swap_remove(0);
    let body = frame(clock.length_s());
    v.resize((FADE_IN + body + FADE_OUT) as usize, 0.0);
    let end = v.len();
    for (n, s) in v[..FADE_IN as usize].iter_mut().enumerate() {
        *s *= soft(n as f64 / FADE_IN as f64);
    }
    for (n, s) in v[end - FADE_OUT as usize..].iter_mut().enumerate() {
        *s *= soft(1.0 - n as f64 / FADE_OUT as f64);
    }
    Ok(v)
}

/// What [`cut_out`] gave, over `stretch`. A first round begins within the take: softly, in a thousandth of a second.
pub fn play(cut: &[f32], stretch: &Stretch) -> Vec<f32> {
    let mut out = vec![0.0f32; stretch.frames()];
    stretch.add(&mut out, cut, -FADE_IN, 1.0);
    if stretch.round.is_none() {
        for (n, s) in out.iter_mut().take(48).enumerate() {
            *s *= soft(n as f64 / 48.0);
        }
    }
    out
}

fn soft(u: f64) -> f32 {
    (u * u * (3.0 - 2.0 * u)) as f32
}

/// The frames from `from` to `to`, silence where there are none.
fn cut(samples: &[f32], from: i64, to: i64) -> Vec<f32> {
    (from..to).map(|n| usize::try_from(n).ok().and_then(|n| samples.get(n)).copied().unwrap_or(0.0)).collect()
}

/// Where the sound begins: the first frame within 30 dB of the loudest, less 3 ms for its rise. 0 for silence.
pub fn first_sound_s(samples: &[f32]) -> f64 {
    let loudest = samples.iter().fold(0.0f32, |m, s| m.max(s.abs()));
    let first = samples.iter().position(|s| loudest > 0.0 && s.abs() > loudest * 0.0316).unwrap_or(0);
    (first as f64 / f64::from(RATE) - 0.003).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_sound_is_found() {
        let mut v = vec![1e-4f32; 48_000];
        v[24_000..].iter_mut().for_each(|s| *s = 0.5);
        assert!((first_sound_s(&v) - 0.497).abs() < 1e-3);
        assert_eq!(first_sound_s(&[0.0; 10]), 0.0);
        assert_eq!(first_sound_s(&[]), 0.0);
    }

    #[test]
    fn cuts_outside_are_silent() {
        assert_eq!(cut(&[1.0, 2.0], -1, 4), [0.0, 1.0, 2.0, 0.0, 0.0]);
    }
}
