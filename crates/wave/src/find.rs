//! Where one sound lies inside another, and how much faster or slower the other's clock ran: from both sounds alone, by cross-correlation.
//!
//! # Conventions
//! The *needle* is what is looked for (a pack's own play-along track), the *haystack* the sound it is looked for in (what a camera's microphone
//! heard in a room, with noise, talk and a clock of its own). Each counts its own seconds.
//!
//! # Method
//! 1. Both become one channel at 4,000 Hz and are whitened: short-time spectra, each value over the mean magnitude round it in time and frequency, from 150 to
//!    1,900 Hz. So neither a loud voice nor one held note decides (a smooth form of the phase transform of C. Knapp and G. Carter, IEEE Trans. ASSP 24(4), 1976).
//! 2. The needle is cut into segments of at most two seconds, short enough that clocks some hundred millionths apart shift nothing within one.
//! 3. Each segment is correlated with the whole haystack by FFT (overlap-save), over the energies of both; kept are the largest magnitudes of every 2 ms, over
//!    their own median: what chance gives is about one.
//! 4. For each start and each ratio of the clocks the roots of the segments' values at their places are added up, so that no single one can decide. The best
//!    few starts go on.
//! 5. Near each of them every segment's own place is found to the sample, and a line through these places gives start and ratio. The start at
//!    which the segments are most alike to the haystack wins: a held chord is like itself a few periods later, but less so.
//!
//! Music is like itself: another passage on the same chords and drums agrees with a needle in places. A find is therefore believed only where most
//! segments agree, and agree better than such likeness does; the two thresholds were set on simulated rooms (`examples/find.rs`).

use crate::fft::{Fft, hann};
use crate::{Buffer, Seconds, resample};

/// Where the needle is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// Time in the haystack at which the needle begins; below zero where its beginning was cut off.
    pub start: Seconds,
    /// Seconds of the haystack for one second of the needle, near 1.
    pub ratio: f64,
    /// 0 to 1: how far above the threshold the segments agree. Above 0.5 nothing is in doubt.
    pub confidence: f64,
}

impl Found {
    /// The haystack's time for a time of the needle.
    pub fn at(&self, needle: Seconds) -> Seconds {
        Seconds(self.start.0 + self.ratio * needle.0)
    }
}

/// Shortest needle that is looked for.
pub const NEEDLE_MIN: Seconds = Seconds(1.5);
/// Of a longer needle so much is looked for, from its beginning.
pub const NEEDLE_MAX: Seconds = Seconds(120.0);
/// How far the clocks may be apart, as part of the ratio.
pub const CLOCK_MAX: f64 = 300e-6;

/// Finds where `needle` lies in `haystack`, whatever their rates and channels. `None` where it is not there, where less than half of it is, and where either is
/// silent or shorter than [`NEEDLE_MIN`]. Level, polarity, a room, noise and talk over it do not matter as long as about half of the needle can be told.
///
/// Twenty minutes of haystack take some seconds and 300 MB.
///
/// ```
/// use wave::{Buffer, Seconds, find_in};
/// // A second and a half of noise, two seconds into a longer one.
/// let mut seed = 1u32;
/// let mut noise = |n: usize| -> Vec<f32> {
///     (0..n).map(|_| { seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223); (seed >> 9) as f32 / 4_194_304.0 - 1.0 }).collect()
/// };
/// let haystack = Buffer::from_mono(8_000, noise(48_000)).unwrap();
/// let found = find_in(&haystack.slice_frames(16_000..28_000), &haystack).unwrap();
/// assert!((found.start.0 - 2.0).abs() < 0.001);
/// // Other noise is not there.
/// assert_eq!(find_in(&Buffer::from_mono(8_000, noise(12_000)).unwrap(), &haystack), None);
/// ```
pub fn find_in(needle: &Buffer, haystack: &Buffer) -> Option<Found> {
    let evidence = compare(needle, haystack)?;
    let confidence = evidence.confidence();
    (confidence > 0.0).then_some(Found { start: evidence.start, ratio: evidence.ratio, confidence })
}

/// The best place, whether or not it is believed.
#[doc(hidden)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    pub start: Seconds,
    pub ratio: f64,
    /// Mean over the segments of their correlation at their place, 0 to 1.
    pub likeness: f64,
    /// Part of the segments that agree on the place.
    pub agreeing: f64,
    pub segments: usize,
}

/// Least part of the segments that must agree, and least likeness; full confidence is twice the latter. Set by `examples/find.rs`.
const AGREEING_MIN: f64 = 0.5;
const LIKENESS_MIN: f64 = 0.14;

impl Evidence {
    /// 0 where it is not believed.
    pub fn confidence(&self) -> f64 {
        if self.agreeing < AGREEING_MIN || self.likeness < LIKENESS_MIN {
            return 0.0;
        }
        ((self.likeness / LIKENESS_MIN - 1.0) * 0.5 + (self.agreeing - AGREEING_MIN)).clamp(0.01, 1.0)
    }
}

const RATE_HZ: u32 = 4_000;
/// Whitening: window and hop in samples (128 and 64 ms), bins of the band, and how far the mean reaches in bins and frames.
const WINDOW: usize = 512;
const HOP: usize = 256;
const BAND: std::ops::RangeInclusive<usize> = 20..=243;
const BINS_ROUND: usize = 4;
const FRAMES_ROUND: usize = 2;
/// Longest segment in samples, and most segments.
const SEGMENT: usize = 8_000;
const SEGMENTS_MAX: usize = 16;
/// Transform of the correlation.
const BLOCK: usize = 32_768;
/// Samples of one step of the kept values: 2 ms.
const STEP: usize = 8;
/// A segment agrees where its value is so many times what chance gives.
const AGREES: f32 = 3.0;
/// Most starts that are looked at closely, and how far they lie apart at least: 10 ms.
const STARTS_MAX: usize = 12;
const APART: i64 = 5;
/// How far from its place a segment is looked for at last, in samples: 8 ms.
const NEAR: usize = 32;

#[doc(hidden)]
pub fn compare(needle: &Buffer, haystack: &Buffer) -> Option<Evidence> {
    let needle = needle.slice_time(Seconds(0.0)..NEEDLE_MAX);
    if needle.duration() < NEEDLE_MIN || haystack.duration() < NEEDLE_MIN {
        return None;
    }
    let needle = whitened(&needle)?;
    let haystack = whitened(haystack)?;
    let segments = cut(&needle);
    if segments.len() < 3 {
        return None;
    }
    let energy = running_energy(&haystack);
    let tracks = correlate(&segments, &haystack, &energy);
    let lines = best_lines(&segments, &tracks, haystack.len());
    let all = lines.into_iter().map(|(start, ratio)| refine(&segments, &tracks, &haystack, &energy, start, ratio));
    all.reduce(|best, e| if e.likeness * e.agreeing > best.likeness * best.agreeing { e } else { best })
}

/// A stretch of the needle.
struct Segment {
    /// First sample in the needle.
    at: usize,
    /// Unit energy.
    samples: Vec<f32>,
}

/// A segment's correlation with the haystack: the largest magnitude of each [`STEP`] samples over the median of all.
struct Track {
    values: Vec<f32>,
    /// That median.
    chance: f32,
}

/// One channel at [`RATE_HZ`], every time and frequency about equally loud; `None` for silence.
fn whitened(sound: &Buffer) -> Option<Vec<f32>> {
    // The mean of the channels would cancel what a microphone pair has in opposite phase; the louder channel keeps it.
    let loud = (0..sound.channel_count()).map(|c| power(sound.channel(c))).collect::<Vec<f64>>();
    let best = (0..loud.len()).fold(0, |b, c| if loud[c] > 2.0 * loud[b] { c } else { b });
    let mixed = sound.mono();
    let one = if power(mixed.channel(0)) * 4.0 < loud[best] { Buffer::from_mono(sound.rate_hz(), sound.channel(best).to_vec()).ok()? } else { mixed };
    let samples = resample(&one, RATE_HZ).ok()?.into_channels().swap_remove(0);
    let window: Vec<f32> = hann(WINDOW).iter().map(|w| w.sqrt()).collect();
    let frames = samples.len() / HOP + 2;
    let mut fft = Fft::new(WINDOW);
    let bins = WINDOW / 2 + 1;
    let mut spectra_re = vec![0.0f32; frames * bins];
    let mut spectra_im = vec![0.0f32; frames * bins];
    let (mut re, mut im) = (vec![0.0f32; WINDOW], vec![0.0f32; WINDOW]);
    for t in 0..frames {
        for (n, w) in window.iter().enumerate() {
            // Frame t lies round sample t * HOP.
            let at = (t * HOP + n).checked_sub(WINDOW / 2);
            re[n] = at.and_then(|i| samples.get(i)).copied().unwrap_or(0.0) * w;
            im[n] = 0.0;
        }
        fft.forward(&mut re, &mut im);
        spectra_re[t * bins..(t + 1) * bins].copy_from_slice(&re[..bins]);
        spectra_im[t * bins..(t + 1) * bins].copy_from_slice(&im[..bins]);
    }
    let magnitude: Vec<f32> = spectra_re.iter().zip(&spectra_im).map(|(a, b)| (a * a + b * b).sqrt()).collect();
    let all: f64 = magnitude.iter().map(|m| f64::from(*m)).sum();
    let floor = (all / magnitude.len() as f64 * 1e-3) as f32;
    if floor <= 0.0 {
        return None;
    }
    // Means over bins first, then over frames.
    let mut along = vec![0.0f32; frames * bins];
    for t in 0..frames {
        let row = &magnitude[t * bins..(t + 1) * bins];
        for k in BAND {
            let (a, b) = (k - BINS_ROUND, (k + BINS_ROUND).min(bins - 1));
            along[t * bins + k] = row[a..=b].iter().sum::<f32>() / (b - a + 1) as f32;
        }
    }
    let mut out = vec![0.0f32; samples.len()];
    for t in 0..frames {
        let (a, b) = (t.saturating_sub(FRAMES_ROUND), (t + FRAMES_ROUND).min(frames - 1));
        re.fill(0.0);
        im.fill(0.0);
        for k in BAND {
            let mean = (a..=b).map(|u| along[u * bins + k]).sum::<f32>() / (b - a + 1) as f32;
            let over = 1.0 / (mean + floor);
            let (x, y) = (spectra_re[t * bins + k] * over, spectra_im[t * bins + k] * over);
            (re[k], im[k]) = (x, y);
            (re[WINDOW - k], im[WINDOW - k]) = (x, -y);
        }
        // The inverse by the forward transform with real and imaginary parts exchanged.
        fft.forward(&mut im, &mut re);
        for (n, w) in window.iter().enumerate() {
            let at = (t * HOP + n).checked_sub(WINDOW / 2);
            if let Some(o) = at.and_then(|i| out.get_mut(i)) {
                *o += re[n] * w / WINDOW as f32;
            }
        }
    }
    Some(out)
}

fn power(samples: &[f32]) -> f64 {
    samples.iter().map(|s| f64::from(*s) * f64::from(*s)).sum()
}

/// Segments spread evenly over the needle, those that are nearly silent left out.
fn cut(needle: &[f32]) -> Vec<Segment> {
    let length = (needle.len() / 3).min(SEGMENT);
    if length < RATE_HZ as usize / 3 {
        return vec![];
    }
    let all: Vec<usize> = (0..needle.len() / length).map(|i| i * length).collect();
    let powers: Vec<f64> = all.iter().map(|at| power(&needle[*at..at + length])).collect();
    let mut sorted = powers.clone();
    sorted.sort_by(f64::total_cmp);
    let least = sorted[sorted.len() / 2] * 0.25;
    let loud: Vec<usize> = all.iter().zip(&powers).filter(|(_, p)| **p >= least && **p > 0.0).map(|(at, _)| *at).collect();
    let count = loud.len().min(SEGMENTS_MAX);
    (0..count)
        .map(|i| {
            let at = loud[i * loud.len() / count];
            let gain = 1.0 / libm::sqrt(power(&needle[at..at + length]));
            Segment { at, samples: needle[at..at + length].iter().map(|s| (f64::from(*s) * gain) as f32).collect() }
        })
        .collect()
}

/// Energy before each sample.
fn running_energy(samples: &[f32]) -> Vec<f64> {
    let mut sum = 0.0;
    let mut out = Vec::with_capacity(samples.len() + 1);
    out.push(0.0);
    for s in samples {
        sum += f64::from(*s) * f64::from(*s);
        out.push(sum);
    }
    out
}

/// Energy of the haystack under a segment that begins at `at`, which may lie outside; never less than a hundredth of what is usual, so that silence
/// is like nothing.
fn under(energy: &[f64], at: i64, length: usize) -> f64 {
    let end = energy.len() as i64 - 1;
    let (a, b) = (at.clamp(0, end), (at + length as i64).clamp(0, end));
    let usual = energy[end as usize] / end as f64 * length as f64;
    (energy[b as usize] - energy[a as usize]).max(usual * 0.01)
}

/// Every segment with the whole haystack. A track's first value is that of a segment that begins a segment's length before the haystack.
fn correlate(segments: &[Segment], haystack: &[f32], energy: &[f64]) -> Vec<Track> {
    let length = segments[0].samples.len();
    let valid = (BLOCK - length) / STEP * STEP;
    let places = haystack.len() + length;
    let mut fft = Fft::new(BLOCK);
    // Two segments at once: one in the real, one in the imaginary part of what the inverse gives.
    let spectra: Vec<(Vec<f32>, Vec<f32>)> = segments
        .iter()
        .map(|s| {
            let (mut re, mut im) = (s.samples.clone(), vec![0.0; BLOCK]);
            re.resize(BLOCK, 0.0);
            fft.forward(&mut re, &mut im);
            (re, im)
        })
        .collect();
    let mut tracks: Vec<Vec<f32>> = vec![Vec::with_capacity(places / STEP + 1); segments.len()];
    let (mut hay_re, mut hay_im) = (vec![0.0f32; BLOCK], vec![0.0f32; BLOCK]);
    let (mut re, mut im) = (vec![0.0f32; BLOCK], vec![0.0f32; BLOCK]);
    let mut first = -(length as i64);
    while first < haystack.len() as i64 {
        for (n, h) in hay_re.iter_mut().enumerate() {
            *h = usize::try_from(first + n as i64).ok().and_then(|i| haystack.get(i)).copied().unwrap_or(0.0);
        }
        hay_im.fill(0.0);
        fft.forward(&mut hay_re, &mut hay_im);
        for pair in 0..segments.len().div_ceil(2) {
            let a = &spectra[2 * pair];
            let b = spectra.get(2 * pair + 1);
            for k in 0..BLOCK {
                let (hr, hi) = (hay_re[k], hay_im[k]);
                // Haystack times the conjugate of each segment.
                let (ar, ai) = (hr * a.0[k] + hi * a.1[k], hi * a.0[k] - hr * a.1[k]);
                let (br, bi) = b.map_or((0.0, 0.0), |b| (hr * b.0[k] + hi * b.1[k], hi * b.0[k] - hr * b.1[k]));
                (re[k], im[k]) = (ar - bi, ai + br);
            }
            fft.forward(&mut im, &mut re);
            for (which, part) in [(2 * pair, &re), (2 * pair + 1, &im)] {
                let Some(track) = tracks.get_mut(which) else { continue };
                for step in 0..valid / STEP {
                    let at = first + (step * STEP) as i64;
                    if at >= haystack.len() as i64 {
                        break;
                    }
                    let most = part[step * STEP..(step + 1) * STEP].iter().fold(0.0f32, |m, v| m.max(v.abs()));
                    track.push((f64::from(most / BLOCK as f32) / libm::sqrt(under(energy, at, length))) as f32);
                }
            }
        }
        first += valid as i64;
    }
    tracks
        .into_iter()
        .map(|mut values| {
            let mut sorted: Vec<f32> = values.iter().copied().filter(|v| *v > 0.0).collect();
            let middle = sorted.len() / 2;
            let chance = if sorted.is_empty() { 1.0 } else { *sorted.select_nth_unstable_by(middle, f32::total_cmp).1 };
            for v in &mut values {
                *v /= chance;
            }
            Track { values, chance }
        })
        .collect()
}

/// The starts, in samples of the haystack, and the ratios at which the segments agree best.
fn best_lines(segments: &[Segment], tracks: &[Track], haystack: usize) -> Vec<(f64, f64)> {
    let (Some(first), Some(last)) = (segments.first(), segments.last()) else { return vec![] };
    let length = first.samples.len();
    // Each value gives way to the larger of its neighbours: two steps of rounding, and the ratio's own.
    let wide: Vec<Vec<f32>> = tracks
        .iter()
        .map(|t| {
            let v = &t.values;
            (0..v.len()).map(|i| v[i].max(if i > 0 { v[i - 1] } else { 0.0 }).max(v.get(i + 1).copied().unwrap_or(0.0)).sqrt()).collect()
        })
        .collect();
    let (from, to) = (-(last.at as i64) / STEP as i64, haystack as i64 / STEP as i64);
    let far = last.at as f64 / STEP as f64 * CLOCK_MAX;
    let ratios = libm::ceil(far) as i64;
    // For each start the best sum over the ratios, and the ratio.
    let mut best = vec![(0.0f32, 1.0f64); (to - from) as usize];
    let mut sums = vec![0.0f32; best.len()];
    for r in -ratios..=ratios {
        let ratio = if ratios == 0 { 1.0 } else { 1.0 + CLOCK_MAX * r as f64 / ratios as f64 };
        sums.fill(0.0);
        for (s, track) in segments.iter().zip(&wide) {
            // The track's value for a start at step `i` lies so much further on.
            let offset = libm::round(s.at as f64 * ratio / STEP as f64) as i64 + (length / STEP) as i64;
            let skip = (-(from + offset)).max(0) as usize;
            let values = track.iter().skip((from + offset + skip as i64) as usize);
            for (sum, v) in sums.iter_mut().skip(skip).zip(values) {
                *sum += v;
            }
        }
        for (b, sum) in best.iter_mut().zip(&sums) {
            if *sum > b.0 {
                *b = (*sum, ratio);
            }
        }
    }
    let mut order: Vec<usize> = (0..best.len()).filter(|i| best[*i].0 > 0.0).collect();
    order.sort_by(|a, b| best[*b].0.total_cmp(&best[*a].0).then(a.cmp(b)));
    let mut out: Vec<i64> = Vec::new();
    for i in order.into_iter().take(100 * STARTS_MAX) {
        let i = i as i64;
        if out.len() < STARTS_MAX && out.iter().all(|o| (o - i).abs() >= APART) {
            out.push(i);
        }
    }
    out.iter().map(|i| ((from + i) as f64 * STEP as f64, best[*i as usize].1)).collect()
}

/// Start and ratio by a line through the segments' own places, and how far they agree.
fn refine(segments: &[Segment], tracks: &[Track], haystack: &[f32], energy: &[f64], start: f64, ratio: f64) -> Evidence {
    let length = segments[0].samples.len();
    // Each segment's best place near the one foretold: offset in the needle, sample in the haystack, correlation, over chance.
    let mut places: Vec<(f64, f64, f64, f32)> = Vec::new();
    for (s, track) in segments.iter().zip(tracks) {
        let foretold = libm::round(start + s.at as f64 * ratio) as i64;
        let mut best = (0i64, 0.0f64);
        for d in -(NEAR as i64)..=NEAR as i64 + STEP as i64 {
            let at = foretold + d;
            let mut sum = 0.0f64;
            for (n, x) in s.samples.iter().enumerate() {
                if let Some(h) = usize::try_from(at + n as i64).ok().and_then(|i| haystack.get(i)) {
                    sum += f64::from(x * h);
                }
            }
            let value = sum.abs() / libm::sqrt(under(energy, at, length));
            if value > best.1 {
                best = (at, value);
            }
        }
        places.push((s.at as f64, best.0 as f64, best.1, best.1 as f32 / track.chance));
    }
    let count = places.len();
    let likeness = places.iter().map(|p| p.2).sum::<f64>() / count as f64;
    let mut good: Vec<(f64, f64, f64)> = places.iter().filter(|p| p.3 >= AGREES).map(|p| (p.0, p.1, p.2)).collect();
    let mut line = (start, ratio);
    // Places off the line by more than a millisecond or two go, and the line is drawn again.
    for limit in [f64::INFINITY, 12.0, 6.0] {
        good.retain(|(x, y, _)| (y - (line.0 + line.1 * x)).abs() <= limit);
        line = fit(&good, line);
    }
    let agreeing = good.len() as f64 / count as f64;
    Evidence { start: Seconds(line.0 / f64::from(RATE_HZ)), ratio: line.1, likeness, agreeing, segments: count }
}

/// Weighted least squares; with fewer than two places, or too close together, only the start moves.
fn fit(places: &[(f64, f64, f64)], before: (f64, f64)) -> (f64, f64) {
    let weight: f64 = places.iter().map(|p| p.2).sum();
    if weight <= 0.0 {
        return before;
    }
    let mean = |of: &dyn Fn(&(f64, f64, f64)) -> f64| places.iter().map(|p| of(p) * p.2).sum::<f64>() / weight;
    let (x, y) = (mean(&|p| p.0), mean(&|p| p.1));
    let spread = mean(&|p| (p.0 - x) * (p.0 - x));
    // A sample of error at each end must not turn the line by more than clocks can differ.
    let slope = if libm::sqrt(spread) * CLOCK_MAX < 0.5 { before.1 } else { mean(&|p| (p.0 - x) * (p.1 - y)) / spread };
    let slope = slope.clamp(1.0 - 2.0 * CLOCK_MAX, 1.0 + 2.0 * CLOCK_MAX);
    (y - slope * x, slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(seed: &mut u32, n: usize) -> Vec<f32> {
        (0..n)
            .map(|_| {
                *seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (*seed >> 9) as f32 / 4_194_304.0 - 1.0
            })
            .collect()
    }

    fn sound(samples: Vec<f32>) -> Buffer {
        Buffer::from_mono(RATE_HZ, samples).unwrap()
    }

    #[test]
    fn correlation_by_transform_is_the_slow_sum() {
        let mut seed = 3;
        let hay = whitened(&sound(noise(&mut seed, 60_000))).unwrap();
        let segments = cut(&whitened(&sound(noise(&mut seed, 26_000))).unwrap());
        let energy = running_energy(&hay);
        let tracks = correlate(&segments, &hay, &energy);
        let length = segments[0].samples.len();
        assert_eq!(length, SEGMENT);
        for (s, t) in segments.iter().zip(&tracks) {
            assert_eq!(t.values.len(), (hay.len() + length).div_ceil(STEP));
            // Before the haystack, across the seam of two transforms, at its end.
            for step in [0, 500, 1_000, 3_090, 3_095, 3_100, 7_000, t.values.len() - 2] {
                let mut most = 0.0f64;
                for n in 0..STEP {
                    let at = (step * STEP + n) as i64 - length as i64;
                    let sum: f64 = s.samples.iter().enumerate().filter_map(|(i, x)| Some(f64::from(x * hay.get(usize::try_from(at + i as i64).ok()?)?))).sum();
                    most = most.max(sum.abs());
                }
                let want = most / libm::sqrt(under(&energy, (step * STEP) as i64 - length as i64, length));
                let got = f64::from(t.values[step] * t.chance);
                assert!((got - want).abs() < 1e-4, "step {step}: {got} {want}");
            }
        }
    }

    #[test]
    fn a_beginning_that_was_cut_off_lies_before_zero() {
        let mut seed = 9;
        let needle = sound(noise(&mut seed, 40_000));
        let mut hay = needle.slice_frames(12_000..40_000).channel(0).to_vec();
        hay.extend(noise(&mut seed, 20_000));
        let found = find_in(&needle, &sound(hay)).unwrap();
        assert!((found.start.0 + 3.0).abs() < 0.001, "{found:?}");
        assert!((found.at(Seconds(5.0)).0 - 2.0).abs() < 0.001);
        // A third of it is not enough.
        let mut hay = needle.slice_frames(27_000..40_000).channel(0).to_vec();
        hay.extend(noise(&mut seed, 40_000));
        assert_eq!(find_in(&needle, &sound(hay)), None);
    }

    #[test]
    fn opposite_phase_and_silence() {
        let mut seed = 5;
        let mut hay = noise(&mut seed, 48_000);
        let needle = sound(hay[8_000..40_000].to_vec());
        hay.iter_mut().for_each(|s| *s *= -0.01);
        // A pair of microphones of which one is wired the other way round: their mean is silent.
        let other: Vec<f32> = hay.iter().map(|s| -s).collect();
        let pair = Buffer::new(RATE_HZ, vec![hay, other]).unwrap();
        let found = find_in(&needle, &pair).unwrap();
        assert!((found.start.0 - 2.0).abs() < 0.001 && found.confidence > 0.5, "{found:?}");
        let silent = Buffer::silence(RATE_HZ, 1, 48_000).unwrap();
        assert_eq!(find_in(&needle, &silent), None);
        assert_eq!(find_in(&silent, &pair), None);
        assert_eq!(find_in(&needle.slice_frames(0..5_000), &pair), None);
        assert_eq!(find_in(&Buffer::silence(RATE_HZ, 1, 0).unwrap(), &pair), None);
    }
}
