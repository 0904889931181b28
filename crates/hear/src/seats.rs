//! Who sits where in the stereo picture, from the level of the two channels in each short stretch of time and frequency.
//!
//! # Conventions
//! Azimuth -1 is left, 0 the centre, 1 right, by the law of equal power: an instrument at azimuth a has the gains cos((a + 1) π/4) on the left and
//! sin((a + 1) π/4) on the right.
//!
//! # Method
//! Windows of about 46 ms, every second one left out. Over three neighbouring bins the two channels' (real) covariance is taken; its main axis is
//! the azimuth (D. Barry, B. Lawlor, E. Coyle, "Sound source separation: azimuth discrimination and resynthesis", DAFx 2004, look for the pan that
//! cancels best, which is the same), and only where next to nothing lies beside the axis does one instrument sound alone (S. Arberet,
//! R. Gribonval, F. Bimbot, "A robust method to count and locate audio sources in a multichannel underdetermined mixture", IEEE Trans. SP 58(1), 2010).
//! Those points vote by their amplitude, in a histogram for each third of an octave; the square roots of the histograms are
//! added, so that one loud note does not outvote an instrument. Peaks that stand out are seats. Their shares come from the covariances of each
//! band over two seconds, as a sum of seats and, where the record is not dry, of sound from everywhere (see [`seat_powers`](crate::seat_powers)).
//!
//! The share of points where one instrument sounds alone tells how dry the record is: a room spoils them first.

use crate::hearing::Seat;
use crate::seat_powers::{Covariance, Directions};
use crate::stereo::{Frame, Spectra, size_of};
use wave::Buffer;

/// The stereo picture of a record.
#[derive(Clone, Debug, PartialEq)]
pub struct StereoPicture {
    /// From left to right. Shares are of the record's energy between 70 Hz and 8 kHz; what is missing to 1 comes from no seat: rooms, wide effects.
    pub seats: Vec<Seat>,
    /// 0 to 1: for how much of the time and frequency one seat sounds alone and exactly in its place. Over 0.25 the instruments are dry.
    pub dryness: f64,
}

const LOWEST_HZ: f64 = 70.0;
const HIGHEST_HZ: f64 = 8_000.0;
const BANDS: usize = 21;
/// Places of the histogram, a hundredth apart, from -1 to 1.
const PLACES: usize = 201;
/// The determinant of a covariance over the square of half its trace, up to which one instrument is alone. Set, as the next three, on mixes
/// of playing by players 00 and 01 with bass and drums, dry and in rooms.
const ALONE: f32 = 0.02;
/// How far a peak must stand out, as part of the highest one: for a dry record and for others.
const STANDS_OUT: [f64; 2] = [0.07, 0.14];
/// And over the mean of all places: noise has chance peaks.
const OVER_MEAN: f64 = 0.5;
/// Over this share of lonely points a record is dry.
pub(crate) const DRY: f64 = 0.25;
/// Under this share of lonely points nobody has a place: noise has 0.0002, a very wet room 0.05.
const PLACELESS: f64 = 0.005;
const LEAST_SHARE: f64 = 0.004;
const MOST_SEATS: usize = 8;
/// Channels nearer than this (as energy of their difference, -60 dB) are one and the same.
const SAME: f64 = 1e-6;

/// The stereo picture. Two equal channels give one seat in the centre with all of the energy.
///
/// `None` for silence, for anything but two channels (one channel has no picture), and for less than a tenth of a second.
///
/// ```
/// use wave::Buffer;
/// // A tone on the left of the centre: 0.924 and 0.383 are the gains at azimuth -0.5.
/// let tone = |gain: f64, hz: f64| (0..44_100).map(|n| (gain * libm::sin(hz * f64::from(n) * 0.000_142_5)) as f32).collect::<Vec<f32>>();
/// let record = Buffer::new(44_100, vec![tone(0.924, 440.0), tone(0.383, 440.0)]).unwrap();
/// let seats = hear::stereo_picture(&record).unwrap().seats;
/// assert!(seats.len() == 1 && (seats[0].azimuth + 0.5).abs() < 0.01 && seats[0].share > 0.95);
/// ```
pub fn stereo_picture(record: &Buffer) -> Option<StereoPicture> {
    let [left, right] = record.channels() else { return None };
    let (mut sum, mut difference) = (0.0f64, 0.0f64);
    for (l, r) in left.iter().zip(right) {
        let (l, r) = (crate::stereo::tamed(*l), crate::stereo::tamed(*r));
        sum += f64::from(l * l + r * r);
        difference += f64::from((l - r) * (l - r));
    }
    let rms = libm::sqrt(sum / 2.0 / record.frames().max(1) as f64);
    if rms < 3e-5 || record.duration().0 < 0.1 {
        return None;
    }
    if difference < SAME * sum {
        return Some(StereoPicture { seats: vec![Seat { azimuth: 0.0, share: 1.0 }], dryness: 1.0 });
    }
    let votes = votes([left, right], record.rate_hz());
    let dryness = votes.alone / votes.points.max(1.0);
    let places = if dryness < PLACELESS { Vec::new() } else { peaks(&votes.by_place(), STANDS_OUT[usize::from(dryness < DRY)]) };
    let shares = shares(&places, &votes.cells, dryness < DRY);
    let mut seats: Vec<Seat> = places.iter().zip(shares).map(|(azimuth, share)| Seat { azimuth: *azimuth, share }).collect();
    seats.retain(|s| s.share >= LEAST_SHARE);
    seats.sort_by(|a, b| b.share.total_cmp(&a.share).then(a.azimuth.total_cmp(&b.azimuth)));
    seats.truncate(MOST_SEATS);
    seats.sort_by(|a, b| a.azimuth.total_cmp(&b.azimuth));
    Some(StereoPicture { seats, dryness })
}

/// The gains of a seat.
pub(crate) fn gains(azimuth: f64) -> [f32; 2] {
    let angle = (azimuth + 1.0) * std::f64::consts::FRAC_PI_4;
    [libm::cos(angle) as f32, libm::sin(angle) as f32]
}

struct Votes {
    /// For each band the votes at each place.
    bands: Vec<[f64; PLACES]>,
    points: f64,
    alone: f64,
    /// Covariances of every band over about two seconds.
    cells: Vec<Covariance>,
}

impl Votes {
    fn by_place(&self) -> [f64; PLACES] {
        let mut all = [0.0; PLACES];
        for band in &self.bands {
            let even = smoothed(band, &[0.25, 0.75, 1.0, 0.75, 0.25]);
            for (a, v) in all.iter_mut().zip(even) {
                *a += libm::sqrt(v);
            }
        }
        all
    }
}

fn votes(pair: [&[f32]; 2], rate_hz: u32) -> Votes {
    let size = size_of(0.046, rate_hz);
    let hop = 2 * size;
    let bin_hz = f64::from(rate_hz) / size as f64;
    let first = ((LOWEST_HZ / bin_hz).ceil() as usize).max(2);
    let last = ((HIGHEST_HZ / bin_hz) as usize).min(size / 2 - 2);
    let band: Vec<usize> = (0..=last).map(|k| (3.0 * libm::log2((k.max(1) as f64 * bin_hz / LOWEST_HZ).max(1.0))) as usize).map(|b| b.min(BANDS - 1)).collect();
    let mut out = Votes { bands: vec![[0.0; PLACES]; BANDS], points: 0.0, alone: 0.0, cells: Vec::new() };
    let mut spectra = Spectra::new(size);
    let mut frame = Frame::default();
    let (mut cell, mut in_cell) = ([Covariance::default(); BANDS], 0);
    let in_cell_frames = (2 * rate_hz as usize / hop).max(1);
    let mut loudest = 0.0f32;
    let mut points = vec![Covariance::default(); last + 2];
    for start in (0..pair[0].len()).step_by(hop) {
        spectra.forward(pair, start as i64, &mut frame);
        for k in first - 1..=last + 1 {
            let (lr, li, rr, ri) = (frame.left_re[k], frame.left_im[k], frame.right_re[k], frame.right_im[k]);
            points[k] = Covariance { left: lr * lr + li * li, right: rr * rr + ri * ri, cross: lr * rr + li * ri };
        }
        for k in first..=last {
            let c = points[k - 1] + points[k] + points[k + 1];
            let power = c.left + c.right;
            loudest = loudest.max(power);
            // 80 dB down there is nothing to hear.
            if power <= 1e-8 * loudest {
                continue;
            }
            out.points += 1.0;
            cell[band[k]] = cell[band[k]] + points[k];
            let (sum, product) = (power * power, c.left * c.right - c.cross * c.cross);
            if 4.0 * product >= ALONE * sum {
                continue;
            }
            let azimuth = 2.0 / std::f32::consts::PI * libm::atan2f(2.0 * c.cross, c.left - c.right) - 1.0;
            // Beyond the sides the channels have opposite signs: no pan does that, only what is left of others beside a hard side.
            if azimuth.abs() < 1.06 {
                out.alone += 1.0;
                let place = ((azimuth.clamp(-1.0, 1.0) + 1.0) * 100.0).round() as usize;
                out.bands[band[k]][place] += f64::from(power.sqrt());
            }
        }
        in_cell += 1;
        if in_cell == in_cell_frames {
            out.cells.extend(cell.iter().filter(|c| c.left + c.right > 0.0));
            (cell, in_cell) = ([Covariance::default(); BANDS], 0);
        }
    }
    out.cells.extend(cell.iter().filter(|c| c.left + c.right > 0.0));
    out
}

/// `values` under a symmetric kernel, mirrored at both ends, the kernel's sum taken as 1.
fn smoothed(values: &[f64; PLACES], kernel: &[f64]) -> [f64; PLACES] {
    let half = kernel.len() as i64 / 2;
    let sum: f64 = kernel.iter().sum();
    std::array::from_fn(|i| {
        let at = |j: i64| values[if j < 0 { -j } else if j >= PLACES as i64 { 2 * (PLACES as i64 - 1) - j } else { j } as usize];
        kernel.iter().enumerate().map(|(k, w)| w * at(i as i64 + k as i64 - half)).sum::<f64>() / sum
    })
}

/// The places of the peaks that stand out.
fn peaks(votes: &[f64; PLACES], stands_out: f64) -> Vec<f64> {
    let kernel: Vec<f64> = (-8..=8).map(|i| libm::exp(-0.5 * f64::from(i * i) / 4.0)).collect();
    let even = smoothed(votes, &kernel);
    let highest = even.iter().fold(0.0, |m: f64, v| m.max(*v));
    let least = (stands_out * highest).max(OVER_MEAN * even.iter().sum::<f64>() / PLACES as f64);
    let mut found = Vec::new();
    for (i, v) in even.iter().enumerate() {
        let around = &even[i.saturating_sub(6)..(i + 7).min(PLACES)];
        if *v <= 0.0 || around.iter().any(|a| a > v) || even[i.saturating_sub(6)..i].contains(v) {
            continue;
        }
        // How low it goes to either side before it goes higher.
        let valley = |side: &mut dyn Iterator<Item = &f64>| side.take_while(|s| *s <= v).fold(*v, |m, s| m.min(*s));
        let low = (if i > 0 { valley(&mut even[..i].iter().rev()) } else { 0.0 }).max(if i + 1 < PLACES { valley(&mut even[i + 1..].iter()) } else { 0.0 });
        if v - low > least {
            let near = i.saturating_sub(4)..(i + 5).min(PLACES);
            let weight: f64 = votes[near.clone()].iter().sum();
            let middle = near.map(|j| j as f64 * votes[j]).sum::<f64>() / weight.max(1e-30);
            found.push((middle - 100.0) / 100.0);
        }
    }
    found
}

/// Each place's share of the energy of all cells.
fn shares(places: &[f64], cells: &[Covariance], everywhere: bool) -> Vec<f64> {
    let directions = Directions::new(places, everywhere);
    let mut shares = vec![0.0f64; places.len()];
    let mut all = 0.0f64;
    for cell in cells {
        let powers = directions.powers(*cell, 200);
        for (s, p) in shares.iter_mut().zip(&powers) {
            *s += f64::from(*p);
        }
        all += f64::from(cell.left + cell.right);
    }
    shares.iter().map(|s| (s / all.max(1e-30)).clamp(0.0, 1.0)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A plucked line: notes of ten partials, one every 0.25 s, each from `line`.
    fn plucked(line: &[f64], rate_hz: u32, seconds: f64) -> Vec<f32> {
        let n = (seconds * f64::from(rate_hz)) as usize;
        (0..n)
            .map(|n| {
                let t = n as f64 / f64::from(rate_hz);
                let every = 0.17 + 0.02 * line.len() as f64;
                let (note, since) = ((t / every) as usize % line.len(), t % every);
                let hz = line[note];
                // Partials of real strings keep no step with each other.
                let phase = |h: i32| f64::from(h * h) * hz * (t / every).trunc();
                let tone: f64 = (1..=10).map(|h| libm::sin(std::f64::consts::TAU * hz * f64::from(h) * since + phase(h)) / f64::from(h)).sum();
                (0.15 * libm::exp(-6.0 * since) * (1.0 - libm::exp(-400.0 * since)) * tone) as f32
            })
            .collect()
    }

    fn mix(parts: &[(f64, &[f32])], rate_hz: u32) -> Buffer {
        let frames = parts[0].1.len();
        let channels = (0..2).map(|c| (0..frames).map(|n| parts.iter().map(|(a, s)| gains(*a)[c] * s[n]).sum()).collect()).collect();
        Buffer::new(rate_hz, channels).unwrap()
    }

    #[test]
    fn three_seats_are_found_where_they_are_with_their_shares() {
        for rate_hz in [22_050, 44_100, 48_000] {
            let a = plucked(&[220.0, 261.6, 329.6, 392.0], rate_hz, 6.0);
            let b = plucked(&[277.2, 311.1, 370.0, 415.3, 466.2], rate_hz, 6.0);
            let c = plucked(&[98.0, 116.5, 130.8], rate_hz, 6.0);
            let power = |s: &[f32]| s.iter().map(|x| f64::from(x * x)).sum::<f64>();
            let all = power(&a) + power(&b) + power(&c);
            let picture = stereo_picture(&mix(&[(-0.7, &a), (0.45, &b), (0.0, &c)], rate_hz)).unwrap();
            assert_eq!(picture.seats.len(), 3, "{rate_hz}: {picture:?}");
            for (seat, (azimuth, line)) in picture.seats.iter().zip([(-0.7, &a), (0.0, &c), (0.45, &b)]) {
                assert!((seat.azimuth - azimuth).abs() < 0.02, "{rate_hz}: {picture:?}");
                assert!((seat.share - power(line) / all).abs() < 0.08, "{rate_hz}: {picture:?}, {azimuth} has {}", power(line) / all);
            }
            assert!(picture.dryness > DRY);
        }
    }

    #[test]
    fn hard_sides_are_at_the_sides() {
        let (a, b) = (plucked(&[220.0, 330.0], 44_100, 3.0), plucked(&[294.0, 392.0, 247.0], 44_100, 3.0));
        let seats = stereo_picture(&mix(&[(-1.0, &a), (1.0, &b)], 44_100)).unwrap().seats;
        assert_eq!(seats.len(), 2, "{seats:?}");
        assert!((seats[0].azimuth + 1.0).abs() < 0.02 && (seats[1].azimuth - 1.0).abs() < 0.02, "{seats:?}");
    }

    #[test]
    fn one_channel_equal_channels_and_silence() {
        let a = plucked(&[220.0, 330.0], 44_100, 2.0);
        assert_eq!(stereo_picture(&Buffer::from_mono(44_100, a.clone()).unwrap()), None);
        assert_eq!(stereo_picture(&Buffer::new(44_100, vec![a.clone(); 8]).unwrap()), None);
        let centre = stereo_picture(&Buffer::new(44_100, vec![a.clone(), a]).unwrap()).unwrap();
        assert_eq!(centre.seats, [Seat { azimuth: 0.0, share: 1.0 }]);
        assert_eq!(stereo_picture(&Buffer::silence(44_100, 2, 44_100).unwrap()), None);
        assert_eq!(stereo_picture(&Buffer::silence(44_100, 2, 0).unwrap()), None);
    }

    #[test]
    fn noise_that_fills_the_room_is_no_seat() {
        let mut seed = 5u32;
        let mut noise = || -> Vec<f32> {
            (0..132_300)
                .map(|_| {
                    seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    (seed >> 8) as f32 / 83_886_080.0 - 0.1
                })
                .collect()
        };
        let picture = stereo_picture(&Buffer::new(44_100, vec![noise(), noise()]).unwrap()).unwrap();
        assert!(picture.dryness < 0.01 && picture.seats.is_empty(), "{picture:?}");
    }
}
