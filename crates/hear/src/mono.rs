//! A record as one channel at 22,050 samples a second and a steady level, computed block by block from the channels of a buffer.
//!
//! # Method
//! A windowed sinc (Kaiser 1974), one row of coefficients for each fraction of a sample (Smith and Gossett, ICASSP 1984), its transition from 82 to
//! 118 % of the lower Nyquist frequency: nothing here listens above 9 kHz. The channels' mean is taken, or the loudest channel alone where the
//! mean all but cancels. The level is brought to an RMS of 0.1, so that every later step works the same on a quiet and on a loud copy.

use wave::{Buffer, lanes};

/// Samples a second of everything that listens.
pub(crate) const RATE_HZ: u32 = 22_050;
const ATTENUATION_DB: f64 = 70.0;
const MOST_PHASES: u64 = 1_024;
/// An RMS below this (-90 dBFS) is silence.
const SILENCE: f64 = 3e-5;
/// What lies beyond this is a fault of the file and would drown the rest.
const CLIP: f32 = 64.0;

/// The record, to be read in blocks.
pub(crate) struct Mono<'a> {
    channels: Vec<&'a [f32]>,
    gain: f32,
    /// Output sample n lies at input time n * step / parts.
    parts: u64,
    step: u64,
    phases: u64,
    half: usize,
    table: Vec<f32>,
    frames: usize,
    input: Vec<f32>,
}

impl<'a> Mono<'a> {
    /// `None` for silence and for an empty buffer.
    pub fn new(buffer: &'a Buffer) -> Option<Mono<'a>> {
        let (channels, rms) = loudest_mix(buffer)?;
        let from_hz = buffer.rate_hz();
        let divisor = gcd(from_hz, RATE_HZ);
        let (parts, step) = (u64::from(RATE_HZ / divisor), u64::from(from_hz / divisor));
        let phases = parts.min(MOST_PHASES);
        // Cutoff over the input's Nyquist frequency.
        let cutoff = (f64::from(RATE_HZ) / f64::from(from_hz)).min(1.0);
        let width = (ATTENUATION_DB - 8.0) / (2.285 * std::f64::consts::PI * 0.36 * cutoff) / 2.0;
        let half = (width.ceil() as usize).next_multiple_of(4);
        let mut table = Vec::with_capacity(phases as usize * 2 * half);
        for phase in 0..phases {
            let fraction = phase as f64 / phases as f64;
            let row: Vec<f64> = (0..2 * half)
                .map(|j| {
                    let t = j as f64 - (half - 1) as f64 - fraction;
                    sinc(cutoff * t) * kaiser(t / width)
                })
                .collect();
            let sum: f64 = row.iter().sum();
            table.extend(row.iter().map(|v| (v / sum) as f32));
        }
        let frames = (buffer.frames() as u64 * parts).div_ceil(step) as usize;
        let gain = (0.1 / rms) as f32 / channels.len() as f32;
        Some(Mono { channels, gain, parts, step, phases, half, table, frames, input: Vec::new() })
    }

    /// How many samples there are at [`RATE_HZ`].
    pub fn frames(&self) -> usize {
        self.frames
    }

    /// The samples from `start` on; silence before the beginning and past the end.
    pub fn read(&mut self, start: i64, out: &mut [f32]) {
        lanes::widest(
            #[inline(always)]
            || self.read_plainly(start, out),
        );
    }

    #[inline(always)]
    fn read_plainly(&mut self, start: i64, out: &mut [f32]) {
        let source = |n: i64| n.max(0) as u64 * self.step / self.parts;
        let end = start + out.len() as i64;
        let first = source(start) as i64 - (self.half as i64 - 1);
        let length = (source(end) as i64 - first) as usize + self.half + 1;
        self.input.clear();
        self.input.resize(length, 0.0);
        for channel in &self.channels {
            let skip = (-first).max(0) as usize;
            let from = channel.get(first.max(0) as usize..).unwrap_or(&[]);
            for (i, s) in self.input.iter_mut().skip(skip).zip(from) {
                *i += tamed(*s) * self.gain;
            }
        }
        let taps = 2 * self.half;
        // Silence outside the record.
        let sounding = (-start).clamp(0, out.len() as i64) as usize..(self.frames as i64 - start).clamp(0, out.len() as i64) as usize;
        out[..sounding.start].fill(0.0);
        out[sounding.end.max(sounding.start)..].fill(0.0);
        let n = start.max(0) as u64;
        let (mut at, mut part) = ((source(start) as i64 - (self.half as i64 - 1) - first) as usize, n * self.step % self.parts);
        let (whole, rest) = ((self.step / self.parts) as usize, self.step % self.parts);
        for o in out.get_mut(sounding).unwrap_or(&mut []) {
            let row = if self.phases == self.parts { part } else { part * self.phases / self.parts } as usize * taps;
            *o = dot(&self.input[at..at + taps], &self.table[row..row + taps]);
            at += whole;
            part += rest;
            if part >= self.parts {
                part -= self.parts;
                at += 1;
            }
        }
    }
}

/// The channels to add up, and the RMS of their mean.
fn loudest_mix(buffer: &Buffer) -> Option<(Vec<&[f32]>, f64)> {
    let all: Vec<&[f32]> = buffer.channels().iter().map(Vec::as_slice).collect();
    let frames = buffer.frames();
    let mut mixed = 0.0f64;
    let mut each = vec![0.0f64; all.len()];
    const BLOCK: usize = 4_096;
    let mut sum = [0.0f32; BLOCK];
    for start in (0..frames).step_by(BLOCK) {
        let length = BLOCK.min(frames - start);
        sum[..length].fill(0.0);
        for (c, channel) in all.iter().enumerate() {
            let part = &channel[start..start + length];
            for (s, x) in sum.iter_mut().zip(part) {
                *s += tamed(*x);
            }
            each[c] += power(part);
        }
        mixed += power(&sum[..length]);
    }
    let rms = |p: f64| libm::sqrt(p / frames.max(1) as f64);
    let mean = rms(mixed) / all.len() as f64;
    let loudest = (0..all.len()).max_by(|a, b| each[*a].total_cmp(&each[*b]).then(b.cmp(a)))?;
    // The mean of channels that have nothing in common lies 3 dB down for two, 9 dB for eight; below a tenth they cancel.
    let (channels, level) = if mean < 0.1 * rms(each[loudest]) { (vec![all[loudest]], rms(each[loudest])) } else { (all, mean) };
    (level > SILENCE).then_some((channels, level))
}

fn power(samples: &[f32]) -> f64 {
    let mut sums = [0.0f32; 8];
    for chunk in samples.chunks(8) {
        for (s, x) in sums.iter_mut().zip(chunk) {
            let x = tamed(*x);
            *s += x * x;
        }
    }
    sums.iter().map(|s| f64::from(*s)).sum()
}

/// A sample that is no number counts as none.
#[inline(always)]
fn tamed(sample: f32) -> f32 {
    if sample.is_nan() { 0.0 } else { sample.clamp(-CLIP, CLIP) }
}

#[inline(always)]
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0f32; 8];
    for (x, y) in a.chunks_exact(8).zip(b.chunks_exact(8)) {
        for i in 0..8 {
            sums[i] += x[i] * y[i];
        }
    }
    ((sums[0] + sums[4]) + (sums[1] + sums[5])) + ((sums[2] + sums[6]) + (sums[3] + sums[7]))
}

fn sinc(x: f64) -> f64 {
    if x == 0.0 { 1.0 } else { libm::sin(std::f64::consts::PI * x) / (std::f64::consts::PI * x) }
}

fn kaiser(x: f64) -> f64 {
    let beta = 0.1102 * (ATTENUATION_DB - 8.7);
    if x.abs() >= 1.0 { 0.0 } else { bessel_i0(beta * libm::sqrt(1.0 - x * x)) / bessel_i0(beta) }
}

/// Modified Bessel function of the first kind, order 0, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > sum * 1e-12 {
        term *= x * x / 4.0 / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sine(rate_hz: u32, hz: f64, level: f64) -> Vec<f32> {
        (0..rate_hz).map(|n| (level * libm::sin(std::f64::consts::TAU * hz * f64::from(n) / f64::from(rate_hz))) as f32).collect()
    }

    fn whole(buffer: &Buffer, block: usize) -> Vec<f32> {
        let mut mono = Mono::new(buffer).unwrap();
        let mut out = vec![0.0; mono.frames()];
        let mut at = 0;
        for part in out.chunks_mut(block) {
            mono.read(at, part);
            at += part.len() as i64;
        }
        out
    }

    #[test]
    fn a_tone_keeps_its_time_at_every_rate_and_is_brought_to_one_level() {
        for rate in [8_000, 16_000, 22_050, 32_000, 44_100, 47_999, 48_000, 96_000, 192_000] {
            let out = whole(&Buffer::from_mono(rate, sine(rate, 1_000.0, 0.003)).unwrap(), 1_000);
            assert_eq!(out.len(), 22_050);
            for n in 2_000..20_000 {
                let want = 0.141_421 * libm::sin(std::f64::consts::TAU * 1_000.0 * n as f64 / 22_050.0);
                assert!((f64::from(out[n]) - want).abs() < 3e-4, "{rate} Hz, sample {n}");
            }
        }
    }

    #[test]
    fn blocks_of_any_size_give_the_same_samples() {
        let buffer = Buffer::from_mono(48_000, sine(48_000, 700.0, 0.3)).unwrap();
        assert_eq!(whole(&buffer, 22_050), whole(&buffer, 777));
    }

    #[test]
    fn what_would_fold_down_is_gone() {
        let mut both = sine(48_000, 500.0, 0.3);
        for (b, s) in both.iter_mut().zip(sine(48_000, 14_000.0, 0.3)) {
            *b += s;
        }
        let (out, alone) = (whole(&Buffer::from_mono(48_000, both).unwrap(), 999), sine(22_050, 500.0, 0.1));
        let worst = (2_000..20_000).map(|n| (out[n] - alone[n]).abs()).fold(0.0, f32::max);
        assert!(worst < 1e-3, "{worst}");
    }

    #[test]
    fn silence_is_none_and_opposite_channels_are_heard() {
        assert!(Mono::new(&Buffer::silence(44_100, 2, 44_100).unwrap()).is_none());
        assert!(Mono::new(&Buffer::silence(44_100, 2, 0).unwrap()).is_none());
        let left = sine(44_100, 440.0, 0.2);
        let right = left.iter().map(|s| -s).collect();
        let out = whole(&Buffer::new(44_100, vec![left, right]).unwrap(), 500);
        assert!(out.iter().fold(0.0f32, |m, s| m.max(s.abs())) > 0.13);
    }

    #[test]
    fn faults_of_a_file_do_not_spread() {
        let mut buffer = Buffer::from_mono(44_100, sine(44_100, 440.0, 0.2)).unwrap();
        buffer.channel_mut(0)[5_000] = f32::NAN;
        buffer.channel_mut(0)[6_000] = f32::INFINITY;
        buffer.channel_mut(0)[7_000] = 3e38;
        assert!(whole(&buffer, 500).iter().all(|s| s.is_finite()));
    }
}
