//! What rings and what strikes, taken apart: guitars, bass and voices from drums, picks and scratches.
//!
//! # Method
//! In the spectrum over time, what rings is smooth along time and what strikes along frequency, so medians along the one and the other tell them apart,
//! and the share of their squares is the gain (D. Fitzgerald, "Harmonic/percussive separation using median filtering", DAFx 2010). Windows of 46 ms, medians over
//! 31 frames and 31 bins. Both channels share their gains, so that nothing moves in the picture. Two passes with long and short windows (J. Driedger,
//! M. Müller, S. Disch, "Extending harmonic-percussive separation of audio signals", ISMIR 2014) were tried and left: with a kit's drum that rings they parted less.
//!
//! # The quality figure
//! What the gains themselves leave open: the energy of the result over the sum of g (1 - g) |X|², less an allowance for the drum's own ringing, which no gain can know
//! and which stays with the tones. The allowance is large, for with a booming drum the method helps little; no improvement is ever claimed.

use crate::seat_filter::{Quality, SeatError, Separated, power};
use crate::stereo::{CHUNK, Frame, process, size_of, tamed};
use wave::Buffer;

/// Both parts; they add up to the record, sample by sample.
#[derive(Clone, Debug, PartialEq)]
pub struct HarmonicPercussive {
    pub harmonic: Separated,
    pub percussive: Separated,
}

const WINDOW_S: f64 = 0.046;
/// Frames and bins to each side of a median.
const REACH: usize = 15;
/// Taken off what the gains leave open, for strokes and for tones: as much as it was too high at most, on eighteen mixes of guitars of players 00 and 01 with a kit, with
/// and without a bass.
const ALLOWANCE_DB: [f64; 2] = [10.0, 15.0];
/// By so much the record itself was nearer at most.
const NO_GAIN_DB: f64 = -4.5;

/// Takes what rings and what strikes apart. One or two channels; the parts are as long as the record. `progress` is told how much is done, 0 to 1.
///
/// Silence gives two silences of low quality.
///
/// # Errors
/// More than two channels, a rate below 4 kHz.
pub fn harmonic_percussive(record: &Buffer, progress: &dyn Fn(f64)) -> Result<HarmonicPercussive, SeatError> {
    let (left, right) = match record.channels() {
        [one] => (one, one),
        [left, right] => (left, right),
        more => return Err(SeatError::Channels { found: more.len() }),
    };
    let rate_hz = record.rate_hz();
    if rate_hz < crate::LOWEST_RATE_HZ {
        return Err(SeatError::Rate { found_hz: rate_hz });
    }
    let mut gains = Gains::default();
    let percussive = process([left, right], size_of(WINDOW_S, rate_hz), REACH, progress, &mut |frames| keep_strokes(frames, &mut gains));
    let harmonic = [0, 1].map(|c| [left, right][c].iter().zip(&percussive[c]).map(|(r, p)| tamed(*r) - p).collect::<Vec<f32>>());
    let share = power(&percussive) / (power(&percussive) + power(&harmonic)).max(1e-30);
    let quality = |own: f64, allowance_db: f64, share: f64| {
        let open_db = 10.0 * libm::log10((own + 1e-12) / (gains.open + 1e-12));
        Quality { sdr_db: (open_db - allowance_db).clamp(-Quality::MOST_DB, Quality::MOST_DB), gain_db: NO_GAIN_DB, share }
    };
    let qualities = [quality(gains.rings, ALLOWANCE_DB[1], 1.0 - share), quality(gains.strikes, ALLOWANCE_DB[0], share)];
    let separated = |pair: [Vec<f32>; 2], quality| {
        let channels = pair.into_iter().take(record.channel_count()).collect();
        Buffer::new(rate_hz, channels).map(|audio| Separated { audio, quality }).map_err(|_| SeatError::Silent)
    };
    progress(1.0);
    Ok(HarmonicPercussive { harmonic: separated(harmonic, qualities[0])?, percussive: separated(percussive, qualities[1])? })
}

/// Energies by the gains: of what strikes, of what rings, and of what they leave open.
#[derive(Default)]
struct Gains {
    strikes: f64,
    rings: f64,
    open: f64,
}

fn keep_strokes(frames: &mut [Frame], gains: &mut Gains) {
    let bins = frames[0].left_re.len();
    let levels: Vec<Vec<f32>> = frames
        .iter()
        .map(|f| (0..bins).map(|k| (f.left_re[k] * f.left_re[k] + f.left_im[k] * f.left_im[k] + f.right_re[k] * f.right_re[k] + f.right_im[k] * f.right_im[k]).sqrt()).collect())
        .collect();
    let mut sorted = Vec::new();
    for t in REACH..REACH + CHUNK {
        let mut sums = [0.0f32; 3];
        for k in 0..bins {
            sorted.clear();
            sorted.extend(levels[t - REACH..=t + REACH].iter().map(|row| row[k]));
            let rings = median(&mut sorted);
            sorted.clear();
            sorted.extend_from_slice(&levels[t][k.saturating_sub(REACH)..(k + REACH + 1).min(bins)]);
            let strikes = median(&mut sorted);
            let (r, s) = (rings * rings, strikes * strikes);
            let gain = if s > 0.0 { s / (r + s) } else { 0.0 };
            let energy = levels[t][k] * levels[t][k];
            sums = [sums[0] + gain * energy, sums[1] + (1.0 - gain) * energy, sums[2] + gain * (1.0 - gain) * energy];
            let f = &mut frames[t];
            for part in [&mut f.left_re, &mut f.left_im, &mut f.right_re, &mut f.right_im] {
                part[k] *= gain;
            }
        }
        gains.strikes += f64::from(sums[0]);
        gains.rings += f64::from(sums[1]);
        gains.open += f64::from(sums[2]);
    }
}

fn median(values: &mut [f32]) -> f32 {
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f32::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: u32 = 44_100;

    fn tones() -> Vec<f32> {
        (0..3 * RATE_HZ).map(|n| [220.0, 277.2, 329.6].iter().map(|hz| (0.1 * libm::sin(std::f64::consts::TAU * hz * f64::from(n) / f64::from(RATE_HZ))) as f32).sum()).collect()
    }

    fn strokes_of_noise() -> Vec<f32> {
        let mut seed = 3u32;
        (0..3 * RATE_HZ)
            .map(|n| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let since = f64::from(n % 17_640) / f64::from(RATE_HZ);
                (f64::from(seed >> 8) / 8_388_608.0 - 1.0) as f32 * (0.5 * libm::exp(-60.0 * since)) as f32
            })
            .collect()
    }

    #[test]
    fn tones_and_strokes_come_apart_and_no_more_is_claimed() {
        let (tones, noise) = (tones(), strokes_of_noise());
        let both: Vec<f32> = tones.iter().zip(&noise).map(|(a, b)| a + b).collect();
        let record = Buffer::from_mono(RATE_HZ, both.clone()).unwrap();
        let parts = harmonic_percussive(&record, &|_| ()).unwrap();
        for (part, want, least) in [(&parts.harmonic, &tones, 12.0), (&parts.percussive, &noise, 6.0)] {
            let found = part.audio.channel(0);
            let energy = |x: &mut dyn Iterator<Item = f32>| x.map(|s| f64::from(s * s)).sum::<f64>();
            let sdr = 10.0 * libm::log10(energy(&mut want.iter().copied()) / energy(&mut want.iter().zip(found).map(|(a, b)| a - b)));
            assert!(sdr > least && part.quality.sdr_db <= sdr && part.quality.gain_db < 0.0, "{sdr} dB, said {:?}", part.quality);
        }
        for (n, sample) in both.iter().enumerate() {
            assert!((parts.harmonic.audio.channel(0)[n] + parts.percussive.audio.channel(0)[n] - sample).abs() < 1e-5, "sample {n}");
        }
    }

    #[test]
    fn silence_and_nothing_stay_so() {
        for frames in [0, 1, 20_000] {
            let parts = harmonic_percussive(&Buffer::silence(RATE_HZ, 2, frames).unwrap(), &|_| ()).unwrap();
            assert_eq!((parts.harmonic.audio.peak(), parts.percussive.audio.frames()), (0.0, frames));
            assert!(parts.harmonic.quality.sdr_db <= 0.0);
        }
        assert_eq!(harmonic_percussive(&Buffer::silence(RATE_HZ, 3, 10).unwrap(), &|_| ()).unwrap_err(), SeatError::Channels { found: 3 });
    }
}
