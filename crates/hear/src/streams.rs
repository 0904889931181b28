//! What every later step works on, computed in one pass over the record: tone spectra on a log-frequency axis, onset strength and level in a few
//! bands, and the partials of long windows.
//!
//! # Conventions
//! Frame k of a stream lies at k hops; a window is centred on its frame's time, with silence beyond both ends of the record. All
//! levels are relative to the record's own (see [`mono`](crate::mono)).
//!
//! # Method
//! - **Tones**: Hann windows of 8,192 samples (0.37 s) every 1,024 (46 ms); magnitudes gathered at three bins a semitone by triangles that are
//!   a third of a semitone or one Fourier bin wide to each side, whichever is more, scaled so that a steady sine of amplitude a gives about a.
//! - **Onsets**: Hann windows of 1,024 samples (46 ms) every 128 (5.8 ms); logarithms of the magnitudes in bands of a sixth of an octave (at least one
//!   bin), and the rise of each band over what it and its neighbours held 23 ms before (Böck and Widmer, "Maximum filter vibrato
//!   suppression for onset detection", DAFx 2013), summed in eight groups of an octave or so; and the mean of the logarithms themselves in four.
//! - **Partials**: see [`partials`](crate::partials).

use crate::fft::{RealFft, hann};
use crate::logarithm::take_logarithms;
use crate::low_spectra::{DECIMATION, Decimation};
use crate::mono::{Mono, RATE_HZ};
use crate::partials::{PARTIALS_HOP, PARTIALS_SIZE, Partial, Partials};
use wave::Seconds;

/// Bins of a tone spectrum: three a semitone, from A0 to C8.
pub(crate) const BINS: usize = 88 * 3;
/// The MIDI note of bin 1 (bins 0 and 2 lie a third of a semitone to its sides).
pub(crate) const LOWEST_MIDI: usize = 21;
pub(crate) const TONE_SIZE: usize = 8_192;
pub(crate) const TONE_HOP: usize = 1_024;
const ONSET_SIZE: usize = 1_024;
pub(crate) const ONSET_HOP: usize = 128;
/// Hops over which a rise is measured.
const ONSET_LAG: usize = 4;
/// Groups of onset bands.
pub(crate) const GROUPS: usize = 8;
/// Their upper edges.
const GROUP_EDGES_HZ: [f64; GROUPS] = [90.0, 180.0, 350.0, 700.0, 1_400.0, 2_800.0, 5_000.0, 9_000.0];
/// Logarithms are taken of 1 + this times the magnitude (a sine of amplitude 0.1 has 0.1).
const COMPRESSION: f32 = 1_000.0;
/// Samples of one block of the pass.
const BLOCK: usize = 1 << 15;
const _: () = assert!(PARTIALS_SIZE <= TONE_SIZE && ONSET_SIZE <= TONE_SIZE);
const MARGIN: usize = TONE_SIZE / 2;

/// The streams of one record.
pub(crate) struct Streams {
    /// Length of the record at [`RATE_HZ`].
    pub samples: usize,
    /// Tone spectra, [`BINS`] values a frame.
    pub tones: Vec<f32>,
    /// Rise of level a hop, summed over the bands of each group.
    pub onsets: Vec<[f32; GROUPS]>,
    /// Mean level a hop, two groups at a time: below 180 Hz, to 700 Hz, to 2.8 kHz, above.
    pub levels: Vec<[f32; GROUPS / 2]>,
    /// Partials of each long window.
    pub partials: Vec<Vec<Partial>>,
    /// The record at an eighth of the rate, for its lower end (see [`low_spectra`](crate::low_spectra)).
    pub low: Vec<f32>,
}

impl Streams {
    pub fn tone_frames(&self) -> usize {
        self.tones.len() / BINS
    }

    pub fn tone(&self, frame: usize) -> &[f32] {
        &self.tones[frame * BINS..(frame + 1) * BINS]
    }

    pub fn duration(&self) -> Seconds {
        Seconds(self.samples as f64 / f64::from(RATE_HZ))
    }
}

/// Frames a second of the onset stream.
pub(crate) fn onset_rate() -> f64 {
    f64::from(RATE_HZ) / ONSET_HOP as f64
}

/// The pass. `progress` is told how much of it is done, 0 to 1.
pub(crate) fn streams(mono: &mut Mono, progress: &dyn Fn(f64)) -> Streams {
    let samples = mono.frames();
    let mut out = Streams { samples, tones: Vec::new(), onsets: Vec::new(), levels: Vec::new(), partials: Vec::new(), low: Vec::new() };
    out.tones.reserve_exact(samples.div_ceil(TONE_HOP) * BINS);
    out.onsets.reserve_exact(samples.div_ceil(ONSET_HOP));
    out.levels.reserve_exact(samples.div_ceil(ONSET_HOP));
    let mut tones = Tones::new();
    let mut rises = Rises::new();
    let mut partials = Partials::new();
    let decimation = Decimation::new();
    out.low.reserve_exact(samples.div_ceil(DECIMATION));
    // The block with as much before and after it as the longest window reaches.
    let mut block = vec![0.0f32; BLOCK + 2 * MARGIN];
    mono.read(-(MARGIN as i64), &mut block[..2 * MARGIN]);
    for start in (0..samples).step_by(BLOCK) {
        mono.read((start + MARGIN) as i64, &mut block[2 * MARGIN..]);
        for at in (0..BLOCK.min(samples - start)).step_by(ONSET_HOP) {
            let around = |size: usize| &block[at + MARGIN - size / 2..at + MARGIN + size / 2];
            let (rise, level) = rises.rise(around(ONSET_SIZE));
            out.onsets.push(rise);
            out.levels.push(level);
            if at.is_multiple_of(TONE_HOP) {
                tones.spectrum(around(TONE_SIZE), &mut out.tones);
            }
            if at.is_multiple_of(PARTIALS_HOP) {
                out.partials.push(partials.find(around(PARTIALS_SIZE)));
            }
        }
        decimation.add(&block, MARGIN, BLOCK.min(samples - start), &mut out.low);
        block.copy_within(BLOCK.., 0);
        progress((start + BLOCK).min(samples) as f64 / samples as f64);
    }
    out
}

/// Fourier bins that a log-frequency bin gathers, and their weights.
struct Gather {
    first: usize,
    weights: Vec<f32>,
}

fn gather(spectrum: &[f32], from: &Gather) -> f32 {
    from.weights.iter().zip(&spectrum[from.first..]).map(|(w, s)| w * s).sum()
}

/// The frequency of a tone bin, A4 = 440 Hz.
pub(crate) fn bin_hz(bin: f64) -> f64 {
    440.0 * libm::exp2(((bin - 1.0) / 3.0 + LOWEST_MIDI as f64 - 69.0) / 12.0)
}

struct Tones {
    fft: RealFft,
    window: Vec<f32>,
    bins: Vec<Gather>,
    spectrum: Vec<f32>,
}

impl Tones {
    fn new() -> Tones {
        let bins = (0..BINS).map(|b| triangle(bin_hz(b as f64))).collect();
        Tones { fft: RealFft::new(TONE_SIZE), window: hann(TONE_SIZE), bins, spectrum: Vec::new() }
    }

    fn spectrum(&mut self, samples: &[f32], out: &mut Vec<f32>) {
        self.fft.magnitudes(samples, &self.window, &mut self.spectrum);
        out.extend(self.bins.iter().map(|b| gather(&self.spectrum, b)));
    }
}

fn triangle(hz: f64) -> Gather {
    let at = hz * TONE_SIZE as f64 / f64::from(RATE_HZ);
    let half_width = (at * (libm::exp2(1.0 / 36.0) - 1.0)).max(1.0);
    let first = (at - half_width).ceil().max(0.0) as usize;
    let last = ((at + half_width).floor() as usize).min(TONE_SIZE / 2);
    let shape: Vec<f64> = (first..=last).map(|k| 1.0 - (k as f64 - at).abs() / half_width).collect();
    let sine: f64 = shape.iter().enumerate().map(|(i, w)| w * hann_lobe((first + i) as f64 - at)).sum();
    Gather { first, weights: shape.iter().map(|w| (w / sine / (TONE_SIZE as f64 / 4.0)) as f32).collect() }
}

/// A Hann window's transform `x` bins from its middle, where it is 1.
pub(crate) fn hann_lobe(x: f64) -> f64 {
    let x = x.abs();
    if x < 1e-6 {
        1.0
    } else if (x - 1.0).abs() < 1e-6 {
        0.5
    } else {
        libm::fabs(libm::sin(std::f64::consts::PI * x) / (std::f64::consts::PI * x * (1.0 - x * x)))
    }
}

/// What a steady sine of amplitude 1 gives in every tone bin.
pub(crate) fn sine_in_bins(hz: f64, bins: &mut [f32], amplitude: f64) {
    let at = hz * TONE_SIZE as f64 / f64::from(RATE_HZ);
    if at + 4.0 >= (TONE_SIZE / 2) as f64 {
        return;
    }
    let semitones = 12.0 * libm::log2(hz / 440.0) + 69.0 - LOWEST_MIDI as f64;
    let middle = 3.0 * semitones + 1.0;
    // The lobe is four Fourier bins wide; in the bass that is many tone bins.
    let reach = 2.0 + 3.0 * 12.0 * libm::log2(1.0 + 3.0 / at);
    let first = (middle - reach).ceil().max(0.0) as usize;
    let last = ((middle + reach).floor().max(0.0) as usize).min(bins.len().saturating_sub(1));
    for (b, bin) in bins.iter_mut().enumerate().take(last + 1).skip(first) {
        let from = triangle(bin_hz(b as f64));
        let sum: f64 = from.weights.iter().enumerate().map(|(i, w)| f64::from(*w) * hann_lobe((from.first + i) as f64 - at)).sum();
        *bin += (amplitude * sum * TONE_SIZE as f64 / 4.0) as f32;
    }
}

struct Rises {
    fft: RealFft,
    window: Vec<f32>,
    bands: Vec<(usize, Gather)>,
    spectrum: Vec<f32>,
    /// The last frames' levels, a ring of [`ONSET_LAG`].
    before: Vec<Vec<f32>>,
    next: usize,
    /// One over the number of bands in two groups.
    shares: [f32; GROUPS / 2],
}

impl Rises {
    fn new() -> Rises {
        let bin_hz = f64::from(RATE_HZ) / ONSET_SIZE as f64;
        let mut bands = Vec::new();
        let (mut low, top) = (40.0, GROUP_EDGES_HZ[GROUPS - 1]);
        while low < top {
            let high = (low * libm::exp2(1.0 / 6.0)).max(low + bin_hz);
            let (first, last) = ((low / bin_hz).round() as usize, (high / bin_hz).round() as usize);
            let group = GROUP_EDGES_HZ.iter().position(|e| low < *e).unwrap_or(GROUPS - 1);
            let scale = 4.0 / ONSET_SIZE as f32;
            bands.push((group, Gather { first, weights: vec![scale; last - first] }));
            low = high;
        }
        let empty = vec![0.0; bands.len()];
        let shares = std::array::from_fn(|pair| 1.0 / bands.iter().filter(|(g, _)| g / 2 == pair).count().max(1) as f32);
        Rises { fft: RealFft::new(ONSET_SIZE), window: hann(ONSET_SIZE), bands, spectrum: Vec::new(), before: vec![empty; ONSET_LAG], next: 0, shares }
    }

    /// How much each group rises, and how high each two groups stand.
    fn rise(&mut self, samples: &[f32]) -> ([f32; GROUPS], [f32; GROUPS / 2]) {
        self.fft.magnitudes(samples, &self.window, &mut self.spectrum);
        let mut levels: Vec<f32> = self.bands.iter().map(|(_, b)| COMPRESSION * gather(&self.spectrum, b)).collect();
        take_logarithms(&mut levels);
        let before = &mut self.before[self.next];
        let mut out = [0.0f32; GROUPS];
        let mut stands = [0.0f32; GROUPS / 2];
        for (b, level) in levels.iter().enumerate() {
            let around = before[b.saturating_sub(1)..(b + 2).min(before.len())].iter().fold(0.0f32, |m, v| m.max(*v));
            let group = self.bands[b].0;
            out[group] += (level - around).max(0.0);
            stands[group / 2] += level * self.shares[group / 2];
        }
        *before = levels;
        self.next = (self.next + 1) % ONSET_LAG;
        (out, stands)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use wave::Buffer;

    fn listen(samples: Vec<f32>) -> Streams {
        let buffer = Buffer::from_mono(RATE_HZ, samples).unwrap();
        streams(&mut Mono::new(&buffer).unwrap(), &|_| ())
    }

    #[test]
    fn a_sine_stands_in_its_own_bin_at_its_own_height_and_as_the_template_says() {
        // E2, A4 and G6, two of them a third of a semitone beside the note.
        for (midi, thirds) in [(40, 0), (69, 1), (91, -1)] {
            let bin = 3 * (midi - LOWEST_MIDI as i32) + 1 + thirds;
            let hz = bin_hz(f64::from(bin));
            let s = listen((0..44_100).map(|n| (0.3 * libm::sin(std::f64::consts::TAU * hz * f64::from(n) / f64::from(RATE_HZ))) as f32).collect());
            let tone = s.tone(20);
            let top = (0..BINS).max_by(|a, b| tone[*a].total_cmp(&tone[*b])).unwrap();
            assert_eq!(top, bin as usize);
            // RMS 0.1 is an amplitude of 0.1414.
            assert!((tone[top] - 0.141_4).abs() < 0.003, "{}", tone[top]);
            let mut template = vec![0.0; BINS];
            sine_in_bins(hz, &mut template, 0.141_4);
            for (b, (t, w)) in tone.iter().zip(&template).enumerate() {
                assert!((t - w).abs() < 0.003, "bin {b}: {t} {w}");
            }
        }
    }

    #[test]
    fn frames_lie_at_whole_hops() {
        let s = listen(vec![0.1; BLOCK + 5_000]);
        assert_eq!(s.tone_frames(), (BLOCK + 5_000usize).div_ceil(TONE_HOP));
        assert_eq!(s.onsets.len(), (BLOCK + 5_000usize).div_ceil(ONSET_HOP));
        assert_eq!(s.partials.len(), (BLOCK + 5_000usize).div_ceil(PARTIALS_HOP));
    }
}
