//! Spectra of short stretches of a record, as heard from one seat: magnitudes of Hann windows before, at and after a time.
//!
//! # Method
//! The record is listened to at 22,050 Hz. Where it is stereo, each bin's place between left and right is read from the two magnitudes (constant-power law), and
//! bins away from the part's seat weigh less (D. Barry, B. Lawlor and E. Coyle, "Sound source separation: azimuth discrimination and
//! resynthesis", DAFx 2004, here with a soft border and without resynthesis).

use wave::fft::{RealFft, hann};
use wave::Buffer;

/// Samples a second of everything that is listened to here.
pub(crate) const RATE_HZ: u32 = 22_050;
/// Half the width of a seat, on a scale of -1 to 1, where a bin weighs 1/e.
const SEAT_WIDTH: f32 = 0.28;
/// Sides this far under the middle (-36 dB) make a record mono.
const MONO: f64 = 2.5e-4;

/// A stretch of record, ready to be listened to.
pub(crate) struct Sound {
    pub left: Vec<f32>,
    /// Absent for mono.
    pub right: Option<Vec<f32>>,
    /// The mean of both.
    pub middle: Vec<f32>,
    /// Root mean square of the middle.
    pub rms: f64,
    /// Seconds after which there is only silence.
    pub end_s: f64,
}

impl Sound {
    /// `None` where nothing can be heard.
    pub fn new(buffer: &Buffer) -> Option<Sound> {
        // Faults of the file must not spread.
        let clean = |c: &Vec<f32>| -> Vec<f32> { c.iter().map(|s| if s.is_finite() { s.clamp(-64.0, 64.0) } else { 0.0 }).collect() };
        let cleaned = Buffer::new(buffer.rate_hz(), buffer.channels().iter().take(2).map(clean).collect()).ok()?;
        let mut channels = wave::resample(&cleaned, RATE_HZ).ok()?.into_channels().into_iter();
        let left = channels.next()?;
        let right = channels.next();
        let (middle, right) = match right {
            None => (left.clone(), None),
            Some(r) => {
                let middle: Vec<f32> = left.iter().zip(&r).map(|(a, b)| 0.5 * (a + b)).collect();
                let side: f64 = left.iter().zip(&r).map(|(a, b)| f64::from(0.5 * (a - b))).map(|s| s * s).sum();
                let mid: f64 = middle.iter().map(|s| f64::from(*s) * f64::from(*s)).sum();
                let mono = side <= MONO * mid;
                (middle, (!mono).then_some(r))
            }
        };
        let rms = (middle.iter().map(|s| f64::from(*s) * f64::from(*s)).sum::<f64>() / (middle.len().max(1)) as f64).sqrt();
        // -90 dBFS.
        let last = middle.chunks(RATE_HZ as usize / 20).rposition(|c| c.iter().any(|s| f64::from(s.abs()) > 0.003 * rms));
        let end_s = last.map_or(0.0, |n| (n + 1) as f64 * 0.05).min(middle.len() as f64 / f64::from(RATE_HZ));
        (rms > 3e-5 && !middle.is_empty()).then_some(Sound { left, right, middle, rms, end_s })
    }
}

/// Where a part is listened for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Place {
    /// -1 left to 1 right; `None` listens to all.
    pub seat: Option<f32>,
}

/// Spectra of windows in even steps with the place of each bin between left and right, from which what each seat holds follows: one pass over the record for all parts.
pub(crate) struct Panorama {
    bins: usize,
    /// Frame by frame, bin by bin: level and place.
    points: Vec<(f32, f32)>,
}

impl Panorama {
    /// The first `bins` of windows of `size` samples around every `hop`th one; `None` for mono.
    pub fn new(sound: &Sound, size: usize, hop: usize, bins: usize) -> Option<Panorama> {
        let right = sound.right.as_ref()?;
        let (mut lens, mut l, mut r) = (Lens::new(), Vec::new(), Vec::new());
        let frames = sound.middle.len() / hop + 1;
        let mut points = Vec::with_capacity(frames * bins);
        for f in 0..frames {
            let from = (f * hop) as i64 - (size / 2) as i64;
            lens.one(&sound.left, from, size, &mut l);
            lens.one(right, from, size, &mut r);
            points.extend(l.iter().zip(&r).take(bins).map(|(l, r)| ((l * l + r * r).sqrt(), place_of(*l, *r))));
        }
        Some(Panorama { bins, points })
    }

    /// A frame as heard from a seat.
    pub fn from_seat(&self, frame: usize, seat: f32, out: &mut Vec<f32>) {
        out.clear();
        let row = self.points.get(frame * self.bins..(frame + 1) * self.bins).unwrap_or(&[]);
        out.extend(row.iter().map(|(level, at)| let_through(*level, *at, seat)));
    }
}

/// A bin's level from a seat.
fn let_through(level: f32, at: f32, seat: f32) -> f32 {
    let away = (at - seat) / SEAT_WIDTH;
    level * libm::expf(-away * away)
}

/// Takes spectra.
pub(crate) struct Lens {
    sizes: Vec<(usize, RealFft, Vec<f32>)>,
    cut: Vec<f32>,
    other: Vec<f32>,
}

impl Lens {
    pub fn new() -> Lens {
        Lens { sizes: vec![], cut: vec![], other: vec![] }
    }

    /// Magnitudes of bins 0 to size / 2 of a window of `size` samples from sample `from` on, a sine of amplitude 1 giving about 1.
    pub fn look(&mut self, sound: &Sound, place: Place, from: i64, size: usize, out: &mut Vec<f32>) {
        self.look_to(sound, place, from, size, size / 2 + 1, out);
    }

    /// The first bins alone.
    pub fn look_to(&mut self, sound: &Sound, place: Place, from: i64, size: usize, bins: usize, out: &mut Vec<f32>) {
        match (&sound.right, place.seat) {
            (Some(right), Some(seat)) => {
                self.one(&sound.left, from, size, out);
                let mut other = std::mem::take(&mut self.other);
                self.one(right, from, size, &mut other);
                for (l, r) in out.iter_mut().zip(&other).take(bins) {
                    *l = let_through((*l * *l + *r * *r).sqrt(), place_of(*l, *r), seat);
                }
                self.other = other;
            }
            _ => self.one(&sound.middle, from, size, out),
        }
        out.truncate(bins);
    }

    fn one(&mut self, samples: &[f32], from: i64, size: usize, out: &mut Vec<f32>) {
        self.cut.clear();
        self.cut.resize(size, 0.0);
        let skip = (-from).max(0) as usize;
        let source = samples.get(from.max(0) as usize..).unwrap_or(&[]);
        if skip < size {
            for (c, s) in self.cut[skip..].iter_mut().zip(source) {
                *c = *s;
            }
        }
        let n = match self.sizes.iter().position(|s| s.0 == size) {
            Some(n) => n,
            None => {
                self.sizes.push((size, RealFft::new(size), hann(size)));
                self.sizes.len() - 1
            }
        };
        let (_, fft, window) = &mut self.sizes[n];
        fft.magnitudes(&self.cut, window, out);
        let scale = 4.0 / size as f32;
        out.iter_mut().for_each(|m| *m *= scale);
    }
}

/// Where two magnitudes put a sound: -1 left to 1 right.
fn place_of(left: f32, right: f32) -> f32 {
    if left + right <= 0.0 {
        return 0.0;
    }
    // atan by its two-sided polynomial would do; libm keeps it exact.
    libm::atan2f(right, left) * (4.0 / std::f32::consts::PI) - 1.0
}

/// The seat at which a stereo record sounds most, near the one that is written: the lesson's left may lie further in on the record. `strokes` are heard times, each with the pitches
/// that begin there; where another seat explains these far better, it is that one.
pub(crate) fn seat_of(sound: &Sound, written: f64, strokes: &[(f64, Vec<i32>)], cents: f64) -> Option<f32> {
    let right = sound.right.as_ref()?;
    const CELLS: usize = 41;
    let mut cells = [0.0f64; CELLS];
    let (mut lens, mut l, mut r) = (Lens::new(), Vec::new(), Vec::new());
    let step = strokes.len().div_ceil(60).max(1);
    for (t, _) in strokes.iter().step_by(step) {
        let from = (t * f64::from(RATE_HZ)) as i64;
        lens.one(&sound.left, from, 4_096, &mut l);
        lens.one(right, from, 4_096, &mut r);
        for (a, b) in l.iter().zip(&r).skip(20).take(600) {
            let cell = ((place_of(*a, *b) + 1.0) / 2.0 * (CELLS - 1) as f32).round().clamp(0.0, (CELLS - 1) as f32);
            cells[cell as usize] += f64::from(a * a + b * b).sqrt();
        }
    }
    let smooth = |n: usize| -> f64 { (0..CELLS).map(|m| cells[m] * libm::exp(-((m as f64 - n as f64) / 2.5).powi(2))).sum() };
    let all: Vec<(f64, f64)> = (0..CELLS).map(|n| (smooth(n), n as f64 / (CELLS - 1) as f64 * 2.0 - 1.0)).collect();
    let near = all.iter().filter(|(_, at)| (at - written).abs() <= 0.45).map(|(level, at)| (level * (1.0 - 0.5 * (at - written).abs()), *at)).max_by(|a, b| a.0.total_cmp(&b.0))?.1 as f32;
    // Elsewhere only where its notes are clearly better explained: the record need not sit as the lesson has it.
    let tops = (0..CELLS).filter(|n| all[*n].0 > 0.05 * all.iter().map(|a| a.0).sum::<f64>() / 5.0 && (*n == 0 || all[*n].0 >= all[*n - 1].0) && (*n + 1 == CELLS || all[*n].0 > all[*n + 1].0));
    let mut seats: Vec<f32> = tops.map(|n| all[n].1 as f32).filter(|s| (s - near).abs() > 0.3).collect();
    seats.push(near);
    let explained = explained(sound, right, &seats, strokes, cents);
    let here = explained.last().copied().unwrap_or(0.0).max(0.0);
    let best = seats.iter().zip(&explained).max_by(|a, b| a.1.total_cmp(b.1))?;
    Some(if *best.1 > ELSEWHERE * here && *best.1 > 0.0 { *best.0 } else { near })
}

/// By how much more another seat has to explain a part's notes than the one near the written seat.
const ELSEWHERE: f32 = 2.0;

/// How much of each seat's sound lies on the partials of the notes that begin there, above what lies a semitone beside them.
fn explained(sound: &Sound, right: &[f32], seats: &[f32], strokes: &[(f64, Vec<i32>)], cents: f64) -> Vec<f32> {
    const SIZE: usize = 4_096;
    let (mut lens, mut l, mut r) = (Lens::new(), Vec::new(), Vec::new());
    let mut out = vec![0.0f32; seats.len()];
    let step = strokes.len().div_ceil(40).max(1);
    for (t, pitches) in strokes.iter().filter(|s| !s.1.is_empty()).step_by(step) {
        let from = (t * f64::from(RATE_HZ)) as i64;
        lens.one(&sound.left, from, SIZE, &mut l);
        lens.one(right, from, SIZE, &mut r);
        for p in pitches {
            for (d, sign) in [(0.0, 1.0f32), (-1.0, -0.5), (1.0, -0.5)] {
                let hz = 440.0 * libm::exp2((f64::from(*p) + d - 69.0 + cents / 100.0) / 12.0);
                for k in 2..=6 {
                    let bin = (hz * f64::from(k) * SIZE as f64 / f64::from(RATE_HZ)).round() as usize;
                    let (Some(a), Some(b)) = (l.get(bin), r.get(bin)) else { continue };
                    let (level, at) = ((a * a + b * b).sqrt(), place_of(*a, *b));
                    for (o, seat) in out.iter_mut().zip(seats) {
                        *o += sign * let_through(level, at, *seat);
                    }
                }
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_go_from_left_to_right_and_a_seat_lets_through_what_is_near() {
        assert_eq!([(1.0, 0.0), (0.0, 1.0), (0.0, 0.0), (0.5, 0.5)].map(|(l, r)| (100.0 * place_of(l, r)).round()), [-100.0, 100.0, 0.0, 0.0]);
        // Constant power: cosine and sine of the place's angle.
        let angle = |p: f32| (p + 1.0) * std::f32::consts::FRAC_PI_4;
        assert!([-0.7f32, -0.2, 0.4, 0.9].iter().all(|p| (place_of(libm::cosf(angle(*p)), libm::sinf(angle(*p))) - p).abs() < 1e-5));
        assert_eq!(let_through(2.0, 0.3, 0.3), 2.0);
        assert!((let_through(2.0, 0.3 + SEAT_WIDTH, 0.3) - 2.0 * libm::expf(-1.0)).abs() < 1e-5 && (let_through(2.0, 0.3 - 2.0 * SEAT_WIDTH, 0.3) - 2.0 * libm::expf(-4.0)).abs() < 1e-5);
    }
}
