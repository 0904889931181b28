//! One seat of the stereo picture let through or taken out, with an estimate of how well it went.
//!
//! # Method
//! The seats are looked for first ([`stereo_picture`]). Two ways of taking one apart from the others are mixed, by how dry the record is:
//!
//! - Dry: the powers of all seats at each point of time and frequency, from the covariance over three frames, and Wiener's filter with them
//!   ([`seat_powers`](crate::seat_powers)), windows of 186 ms. Two seats at one point are parted exactly, three nearly.
//! - In a room, where nothing lies exactly in its place: windows of 93 ms, and the mean of two gains. One is the seat's share of the
//!   powers, with sound from everywhere beside the seats, the powers averaged over five frames and three bins; the other a bell around the seat's azimuth
//!   (as Barry et al. and O. Yilmaz, S. Rickard, "Blind separation of speech mixtures via time-frequency masking", IEEE Trans. SP 52(7), 2004).
//!
//! # The quality figure
//! Nobody knows the instruments apart, so the filter is tried on a mixture whose parts are known: the stretch of the result where it is loudest, up to 20 s, and
//! what was left out, moved by half the stretch against it. The ratio of what goes in to what comes out wrong, less an allowance for what this
//! trial cannot see (both parts are cleaner than the true ones and no longer play together), is the figure. What sits in one seat together stays
//! together: the figure says nothing about that.

use crate::seat_powers::{Covariance, Directions, MOST};
use crate::seats::stereo_picture;
use crate::stereo::{Frame, process, size_of};
use wave::Buffer;

/// What is done with the seat.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Keep {
    /// It is let through, all else is taken out.
    Only,
    /// It is taken out, all else is let through.
    Without,
}

/// Sound that was taken apart, as long as the record and at its rate, and how well that went.
#[derive(Clone, Debug, PartialEq)]
pub struct Separated {
    pub audio: Buffer,
    pub quality: Quality,
}

/// How well something was taken apart: an estimate, meant to be too low rather than too high.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quality {
    /// What was wanted over all that is wrong with the result (what is left of the rest, and damage), in dB, at most [`Quality::MOST_DB`].
    /// Over 10 the rest is hardly heard, under 4 it is plainly there.
    pub sdr_db: f64,
    /// By how much that is better than the record itself, in dB; not above 0: the record itself serves as well.
    pub gain_db: f64,
    /// The result's share of the record's energy, 0 to 1.
    pub share: f64,
}

impl Quality {
    /// No estimate is higher.
    pub const MOST_DB: f64 = 20.0;

    /// How well it went in words, never better than it is.
    pub fn words(&self) -> String {
        let how = match self.sdr_db {
            db if self.gain_db <= 0.0 => return format!("the record itself serves as well (an estimated {db:.0} dB)"),
            db if db >= 10.0 => "the rest should hardly be heard",
            db if db >= 4.0 => "the rest can still be heard",
            _ => "the rest is plainly there",
        };
        format!("{how} (an estimated {:.0} dB, {:.0} more than in the record)", self.sdr_db, self.gain_db)
    }
}

/// How far a seat reaches to either side of its azimuth where nobody says otherwise.
pub const SEAT_WIDTH: f64 = 0.2;

/// Why a seat cannot be taken apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SeatError {
    /// Not two channels.
    Channels { found: usize },
    /// Two channels with the same sound: everything sits in the centre.
    Centre,
    /// All that was found in the picture lies within the seat asked for.
    NothingElse,
    /// Silent, or shorter than a tenth of a second.
    Silent,
    /// Not a number from -1 to 1.
    Azimuth { found: f64 },
    /// Not a number from 0.02 to 1.
    Width { found: f64 },
    /// A rate below 4 kHz.
    Rate { found_hz: u32 },
}

impl std::fmt::Display for SeatError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            SeatError::Channels { found: 1 } => write!(f, "the record is mono: nobody sits apart in it; a stereo copy is needed"),
            SeatError::Channels { found } => write!(f, "the record has {found} channels; a seat is looked for in two: mix it down to stereo first"),
            SeatError::Centre => write!(f, "both channels hold the same sound: everything sits in the centre, and no seat can be taken out"),
            SeatError::NothingElse => write!(f, "all that can be told apart sits within this seat; choose a smaller width or another seat"),
            SeatError::Silent => write!(f, "the record is silent or shorter than 0.1 s; there is nothing to take apart"),
            SeatError::Azimuth { found } => write!(f, "the seat is {found}; it must be -1 (left) to 1 (right)"),
            SeatError::Width { found } => write!(f, "the seat's width is {found}; it must be {LEAST_WIDTH} to 1"),
            SeatError::Rate { found_hz } => write!(f, "the sample rate is {found_hz} Hz; it must be {} Hz or more", crate::LOWEST_RATE_HZ),
        }
    }
}

impl std::error::Error for SeatError {}

const LEAST_WIDTH: f64 = 0.02;
const STEPS: usize = 15;
const FEWER_STEPS: usize = 5;
/// Up to the first the record counts as roomy, from the second as dry.
const ROOMY_TO_DRY: [f64; 2] = [0.10, 0.40];
/// Taken off the trial's figure: as much as it was too high at most, on mixes of players 00 and 01 (`checks/hear/seats.py` with DEVELOP set).
pub(crate) const ALLOWANCE_DB: f64 = 4.5;
/// Taken off the improvement where the record is roomy, for the seats' shares are known less well there.
const ROOM_DB: f64 = 3.5;
/// Longest stretch of a trial.
const TRIAL_S: f64 = 20.0;

/// Lets one seat through or takes it out: the seats within `width` (0.02 to 1) to each side of `azimuth` (-1 left to 1 right), or that place itself where
/// no seat was found. `progress` is told how much is done, 0 to 1.
///
/// The two ways of keeping add up to the record, sample by sample. The seat keeps its place in the picture.
///
/// ```
/// use hear::{Keep, SeatError, seat_filter};
/// use wave::Buffer;
/// let mono = Buffer::silence(44_100, 1, 44_100).unwrap();
/// let refused = seat_filter(&mono, -0.6, 0.2, Keep::Only, &|_| ()).unwrap_err();
/// assert_eq!(refused, SeatError::Channels { found: 1 });
/// ```
///
/// # Errors
/// Anything but two channels that differ, silence, everything within the seat asked for, an azimuth or a width out of range, a rate too low.
pub fn seat_filter(record: &Buffer, azimuth: f64, width: f64, keep: Keep, progress: &dyn Fn(f64)) -> Result<Separated, SeatError> {
    let (filter, picture) = prepare(record, azimuth, width, STEPS)?;
    let [left, right] = record.channels() else { return Err(SeatError::Channels { found: record.channel_count() }) };
    let seat = filter.apply([left, right], &|p| progress(0.8 * p));
    let rest: [Vec<f32>; 2] = [0, 1].map(|c| record.channel(c).iter().zip(&seat[c]).map(|(r, s)| crate::stereo::tamed(*r) - s).collect());
    let trial = trial(&seat, &rest, record.rate_hz(), &|pair| filter.apply(pair, &|p| progress(0.8 + 0.2 * p)));
    let (seat_power, rest_power) = (power(&seat), power(&rest));
    let share = seat_power / (seat_power + rest_power).max(1e-30);
    // In a room the result is weaker than the seat itself, whose share the picture knows better, if not well.
    let seen: f64 = picture.seats.iter().zip(&filter.wanted).filter(|(_, w)| **w).map(|(s, _)| s.share).sum();
    let seen = seen / picture.seats.iter().map(|s| s.share).sum::<f64>().max(1e-9);
    let unsure_db = ROOM_DB * (1.0 - filter.dry);
    let (audio, quality) = match keep {
        Keep::Only => (seat, trial.quality(trial.first, share, share.max(seen), unsure_db)),
        Keep::Without => (rest, trial.quality(trial.second, 1.0 - share, 1.0 - share.min(seen), unsure_db)),
    };
    progress(1.0);
    let audio = Buffer::new(record.rate_hz(), audio.to_vec()).map_err(|_| SeatError::Silent)?;
    Ok(Separated { audio, quality })
}

/// Lets one seat through as [`seat_filter`] does, for listening on: in about a quarter of the time, without an estimate of how well it went, and without what lies 50 dB under the
/// loudest of its moment.
///
/// # Errors
/// Those of [`seat_filter`].
pub fn seat_only(record: &Buffer, azimuth: f64, width: f64) -> Result<Buffer, SeatError> {
    let (mut filter, _) = prepare(record, azimuth, width, FEWER_STEPS)?;
    filter.least = 1e-5;
    let [left, right] = record.channels() else { return Err(SeatError::Channels { found: record.channel_count() }) };
    let seat = filter.apply([left, right], &|_| ());
    Buffer::new(record.rate_hz(), seat.to_vec()).map_err(|_| SeatError::Silent)
}

/// What is let through, and how the picture was found.
fn prepare(record: &Buffer, azimuth: f64, width: f64, steps: usize) -> Result<(Filter, crate::seats::StereoPicture), SeatError> {
    if !(-1.0..=1.0).contains(&azimuth) {
        return Err(SeatError::Azimuth { found: azimuth });
    }
    if !(LEAST_WIDTH..=1.0).contains(&width) {
        return Err(SeatError::Width { found: width });
    }
    let [_, _] = record.channels() else { return Err(SeatError::Channels { found: record.channel_count() }) };
    if record.rate_hz() < crate::LOWEST_RATE_HZ {
        return Err(SeatError::Rate { found_hz: record.rate_hz() });
    }
    let picture = stereo_picture(record).ok_or(SeatError::Silent)?;
    if picture.dryness >= 1.0 {
        return Err(SeatError::Centre);
    }
    let mut azimuths: Vec<f64> = picture.seats.iter().map(|s| s.azimuth).collect();
    let mut wanted: Vec<bool> = azimuths.iter().map(|a| (a - azimuth).abs() <= width).collect();
    if !wanted.contains(&true) {
        azimuths.truncate(MOST - 1);
        azimuths.push(azimuth);
        wanted = azimuths.iter().map(|a| *a == azimuth).collect();
    }
    if !wanted.contains(&false) {
        return Err(SeatError::NothingElse);
    }
    Ok((Filter::new(&azimuths, wanted, picture.dryness, record.rate_hz(), steps), picture))
}

struct Filter {
    exact: Directions,
    roomy: Directions,
    wanted: Vec<bool>,
    azimuths: Vec<f64>,
    /// Half the bell's width where it has fallen to 0.61.
    bell: f32,
    /// 0 roomy, 1 dry.
    dry: f64,
    steps: usize,
    /// Points under this share of the loudest one of their frame are left out.
    least: f32,
    size: usize,
}

impl Filter {
    fn new(azimuths: &[f64], wanted: Vec<bool>, dryness: f64, rate_hz: u32, steps: usize) -> Filter {
        let [roomy, all_dry] = ROOMY_TO_DRY;
        let dry = ((dryness - roomy) / (all_dry - roomy)).clamp(0.0, 1.0);
        let of = |w: bool| azimuths.iter().zip(&wanted).filter(move |(_, x)| **x == w).map(|(a, _)| *a);
        let nearest = of(true).flat_map(|a| of(false).map(move |b| (a - b).abs())).fold(2.0f64, f64::min);
        Filter {
            exact: Directions::new(azimuths, false),
            roomy: Directions::new(azimuths, true),
            bell: (nearest / 3.0).clamp(0.05, 0.2) as f32,
            azimuths: azimuths.to_vec(),
            dry,
            size: size_of(if dry >= 0.5 { 0.186 } else { 0.093 }, rate_hz),
            wanted,
            steps,
            least: 0.0,
        }
    }

    fn apply(&self, pair: [&[f32]; 2], progress: &dyn Fn(f64)) -> [Vec<f32>; 2] {
        process(pair, self.size, CONTEXT, progress, &mut |frames| self.change(frames))
    }

    fn change(&self, frames: &mut [Frame]) {
        let bins = frames[0].left_re.len();
        let covariances: Vec<Vec<Covariance>> = frames
            .iter()
            .map(|f| {
                (0..bins)
                    .map(|k| {
                        let (lr, li, rr, ri) = (f.left_re[k], f.left_im[k], f.right_re[k], f.right_im[k]);
                        Covariance { left: lr * lr + li * li, right: rr * rr + ri * ri, cross: lr * rr + li * ri }
                    })
                    .collect()
            })
            .collect();
        let dry = self.dry as f32;
        let shares = if dry < 1.0 { self.shares(&covariances) } else { Vec::new() };
        for t in CONTEXT..frames.len() - CONTEXT {
            let least = self.least * covariances[t].iter().map(|c| c.left + c.right).fold(0.0, f32::max);
            for first in (0..bins).step_by(LANES) {
                let at: [usize; LANES] = std::array::from_fn(|l| (first + l).min(bins - 1));
                // What is too soft to be heard beside the rest is left out.
                let heard = at.map(|k| covariances[t][k].left + covariances[t][k].right >= least);
                let mut matrices = [[0.0f32; LANES]; 4];
                if dry > 0.0 && heard.contains(&true) {
                    let around = at.map(|k| covariances[t - 1][k] + covariances[t][k] + covariances[t][k] + covariances[t + 1][k]);
                    matrices = self.exact.filter(&self.exact.powers_of(&around, self.steps), &around.map(|c| c.left + c.right), &self.wanted);
                }
                for (l, k) in (first..bins.min(first + LANES)).enumerate() {
                    let mut m = if heard[l] { matrices.map(|row| row[l] * dry) } else { [0.0; 4] };
                    if dry < 1.0 && heard[l] {
                        let gain = 0.5 * (1.0 - dry) * (shares[t - CONTEXT][k] + self.near(covariances[t][k]));
                        m[0] += gain;
                        m[3] += gain;
                    }
                    let f = &mut frames[t];
                    (f.left_re[k], f.right_re[k]) = (m[0] * f.left_re[k] + m[1] * f.right_re[k], m[2] * f.left_re[k] + m[3] * f.right_re[k]);
                    (f.left_im[k], f.right_im[k]) = (m[0] * f.left_im[k] + m[1] * f.right_im[k], m[2] * f.left_im[k] + m[3] * f.right_im[k]);
                }
            }
        }
    }

    /// The wanted seats' share of the averaged powers, for each frame but the context.
    fn shares(&self, covariances: &[Vec<Covariance>]) -> Vec<Vec<f32>> {
        let n = self.azimuths.len().min(MOST);
        // Wanted and all, over three bins.
        let of_frames: Vec<Vec<[f32; 2]>> = covariances
            .iter()
            .map(|row| {
                let powers: Vec<[f32; 2]> = row
                    .chunks(LANES)
                    .flat_map(|c| {
                        let v = self.roomy.powers_of::<LANES>(&std::array::from_fn(|l| c.get(l).copied().unwrap_or_default()), self.steps);
                        (0..c.len()).map(move |l| {
                            let wanted: f32 = v.iter().zip(&self.wanted).take(n).filter(|(_, w)| **w).map(|(p, _)| p[l]).sum();
                            [wanted, v.iter().map(|p| p[l]).sum()]
                        })
                    })
                    .collect();
                (0..row.len())
                    .map(|k| {
                        let [a, b, c] = [powers[k.saturating_sub(1)], powers[k], powers[(k + 1).min(row.len() - 1)]];
                        [0, 1].map(|i| a[i] + 2.0 * b[i] + c[i])
                    })
                    .collect()
            })
            .collect();
        const OVER_TIME: [f32; 5] = [0.25, 0.75, 1.0, 0.75, 0.25];
        (CONTEXT..covariances.len() - CONTEXT)
            .map(|t| {
                (0..covariances[t].len())
                    .map(|k| {
                        let [wanted, all] = [0, 1].map(|i| OVER_TIME.iter().enumerate().map(|(j, w)| w * of_frames[t + j - 2][k][i]).sum::<f32>());
                        if all > 0.0 { (wanted / all).clamp(0.0, 1.0) } else { 0.0 }
                    })
                    .collect()
            })
            .collect()
    }

    /// How near a point lies to the wanted seats, by its levels.
    fn near(&self, c: Covariance) -> f32 {
        let azimuth = 4.0 / std::f32::consts::PI * libm::atan2f(c.right.sqrt(), c.left.sqrt()) - 1.0;
        let wanted = self.azimuths.iter().zip(&self.wanted).filter(|(_, w)| **w);
        let off = wanted.map(|(a, _)| (azimuth - *a as f32).abs() / self.bell).fold(f32::INFINITY, f32::min);
        libm::expf(-0.5 * off * off)
    }
}

/// Bins that are worked on at once.
const LANES: usize = 8;
/// Frames that the averages reach before and after.
const CONTEXT: usize = 2;

/// What a trial gave, in energies.
pub(crate) struct Trial {
    pub first: f64,
    pub second: f64,
    pub wrong: f64,
}

impl Trial {
    /// Of one part: its energy in the trial, its result's share of the record's energy and its own, and how unsure that one is.
    pub fn quality(&self, own: f64, share: f64, own_share: f64, unsure_db: f64) -> Quality {
        let db = |a: f64, b: f64| 10.0 * libm::log10((a + 1e-12) / (b + 1e-12));
        let sdr_db = (db(own, self.wrong) - ALLOWANCE_DB).clamp(-Quality::MOST_DB, Quality::MOST_DB);
        Quality { sdr_db, gain_db: sdr_db - db(own_share, 1.0 - own_share) - unsure_db, share }
    }
}

/// Takes a mixture of known parts apart again: `first` where it is loudest, and `second` from half a stretch away.
pub(crate) fn trial(first: &[Vec<f32>; 2], second: &[Vec<f32>; 2], rate_hz: u32, apart: &dyn Fn([&[f32]; 2]) -> [Vec<f32>; 2]) -> Trial {
    let frames = first[0].len();
    let length = ((TRIAL_S * f64::from(rate_hz)) as usize).min(frames);
    let step = (length / 8).max(1);
    let energy = |part: &[Vec<f32>; 2], from: usize, to: usize| -> f64 { part.iter().flat_map(|c| &c[from..to]).map(|s| f64::from(s * s)).sum() };
    let blocks: Vec<f64> = (0..frames / step).map(|b| energy(first, b * step, (b + 1) * step)).collect();
    let within = (length / step).clamp(1, blocks.len().max(1));
    let start = blocks
        .windows(within)
        .map(|w| w.iter().sum::<f64>())
        .enumerate()
        .fold((0, 0.0), |best, (i, e)| if e > best.1 { (i, e) } else { best })
        .0
        * step;
    let end = (start + length).min(frames);
    let own: [Vec<f32>; 2] = [0, 1].map(|c| first[c][start..end].to_vec());
    let other: [Vec<f32>; 2] = [0, 1].map(|c| {
        let part = &second[c][start..end];
        let half = part.len() / 2;
        part[half..].iter().chain(&part[..half]).copied().collect()
    });
    let mixed: [Vec<f32>; 2] = [0, 1].map(|c| own[c].iter().zip(&other[c]).map(|(a, b)| a + b).collect());
    let found = apart([&mixed[0], &mixed[1]]);
    let wrong: [Vec<f32>; 2] = [0, 1].map(|c| found[c].iter().zip(&own[c]).map(|(a, b)| a - b).collect());
    Trial { first: power(&own), second: power(&other), wrong: power(&wrong) }
}

pub(crate) fn power(pair: &[Vec<f32>; 2]) -> f64 {
    pair.iter().flatten().map(|s| f64::from(s * s)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::seats::gains;

    const RATE_HZ: u32 = 44_100;

    /// A plucked line, and its image at an azimuth.
    fn line(notes: &[f64], every: f64) -> Vec<f32> {
        (0..4 * RATE_HZ)
            .map(|n| {
                let t = f64::from(n) / f64::from(RATE_HZ);
                let (note, since) = ((t / every) as usize % notes.len(), t % every);
                // Partials of real strings keep no step with each other.
                let phase = |h: i32| f64::from(h * h) * notes[note] * t.trunc();
                let tone: f64 = (1..=10).map(|h| libm::sin(std::f64::consts::TAU * notes[note] * f64::from(h) * since + phase(h)) / f64::from(h)).sum();
                (0.15 * libm::exp(-6.0 * since) * (1.0 - libm::exp(-400.0 * since)) * tone) as f32
            })
            .collect()
    }

    fn image(line: &[f32], azimuth: f64) -> [Vec<f32>; 2] {
        gains(azimuth).map(|g| line.iter().map(|s| g * s).collect())
    }

    fn sum(parts: &[[Vec<f32>; 2]]) -> Buffer {
        let channels = (0..2).map(|c| (0..parts[0][c].len()).map(|n| parts.iter().map(|p| p[c][n]).sum()).collect()).collect();
        Buffer::new(RATE_HZ, channels).unwrap()
    }

    fn sdr(want: &[Vec<f32>; 2], found: &Buffer) -> f64 {
        let wrong: [Vec<f32>; 2] = [0, 1].map(|c| want[c].iter().zip(found.channel(c)).map(|(a, b)| a - b).collect());
        10.0 * libm::log10(power(want) / power(&wrong))
    }

    fn parts() -> [[Vec<f32>; 2]; 3] {
        [
            image(&line(&[220.0, 261.6, 329.6, 392.0], 0.25), -0.6),
            image(&line(&[277.2, 311.1, 370.0, 415.3, 466.2], 0.2), 0.5),
            image(&line(&[98.0, 116.5, 130.8], 0.37), 0.0),
        ]
    }

    #[test]
    fn each_of_three_seats_comes_out_and_no_more_is_claimed() {
        let parts = parts();
        let record = sum(&parts);
        for (azimuth, part) in [-0.6, 0.5, 0.0].into_iter().zip(&parts) {
            let only = seat_filter(&record, azimuth, 0.1, Keep::Only, &|_| ()).unwrap();
            let (was, is) = (sdr(part, &record), sdr(part, &only.audio));
            assert!(is - was > 15.0, "{azimuth}: from {was} to {is} dB");
            assert!(only.quality.sdr_db <= is && only.quality.gain_db <= is - was && only.quality.sdr_db > 6.0, "{azimuth}: {is} dB, said {:?}", only.quality);
            let without = seat_filter(&record, azimuth, 0.1, Keep::Without, &|_| ()).unwrap();
            for c in 0..2 {
                for n in 0..record.frames() {
                    let both = only.audio.channel(c)[n] + without.audio.channel(c)[n];
                    assert!((both - record.channel(c)[n]).abs() < 1e-5, "channel {c}, sample {n}");
                }
            }
            assert!((only.quality.share + without.quality.share - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn a_seat_where_nobody_sits_is_nearly_empty_and_claims_nothing() {
        let parts = parts();
        let nobody = seat_filter(&sum(&parts), -0.95, 0.1, Keep::Only, &|_| ()).unwrap();
        assert!(nobody.quality.share < 0.1, "{:?}", nobody.quality);
    }

    #[test]
    fn what_cannot_be_taken_apart_is_refused_with_the_reason() {
        let parts = parts();
        let [left, _] = parts[2].clone();
        let refused = |buffer: &Buffer, azimuth: f64, width: f64| seat_filter(buffer, azimuth, width, Keep::Only, &|_| ()).unwrap_err();
        assert_eq!(refused(&Buffer::from_mono(RATE_HZ, left.clone()).unwrap(), 0.0, 0.1), SeatError::Channels { found: 1 });
        assert_eq!(refused(&Buffer::new(RATE_HZ, vec![left.clone(), left.clone()]).unwrap(), 0.0, 0.1), SeatError::Centre);
        assert_eq!(refused(&Buffer::silence(RATE_HZ, 2, 44_100).unwrap(), 0.0, 0.1), SeatError::Silent);
        assert_eq!(refused(&sum(&parts), 0.0, 1.0), SeatError::NothingElse);
        assert_eq!(refused(&sum(&parts), 1.5, 0.1), SeatError::Azimuth { found: 1.5 });
        assert!(matches!(refused(&sum(&parts), f64::NAN, 0.1), SeatError::Azimuth { .. }));
        assert_eq!(refused(&sum(&parts), 0.0, 0.0), SeatError::Width { found: 0.0 });
        assert_eq!(refused(&Buffer::silence(2_000, 2, 2_000).unwrap(), 0.0, 0.1), SeatError::Rate { found_hz: 2_000 });
    }
}
