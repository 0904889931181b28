//! From dry parts to a mix: amplifier and speaker, levels between the parts, seats, room, and one gain for the whole.
//!
//! # Method
//!
//! Each part is set to its kind's loudness as it is where its volume row stands highest, so that parts stand level, a written fade stays one and a swell is
//! heard. Strokes are brought a little nearer to what rings after them ([`level_out`]). Seats are
//! panned with equal power (`cos`, `sin` of a quarter turn). The mix is measured (ITU-R BS.1770), one gain brings it to −16 LUFS, and one limiter curve keeps
//! it under the ceiling. Both are then laid over every stem.
//!
//! The limiter does not look at the mix alone: at each frame it sees the most that *any* choice of stems can add up to, the sum of all positive and the sum of
//! all negative samples. So a left-out, where a stem no longer cancels another, cannot pass the ceiling either.

use crate::filter::{self, Section, saturate};
use crate::time::Stretch;
use crate::{RATE, room};
use lesson::Kind;
use std::f64::consts::FRAC_PI_4;
use wave::limiter::{LimiterConfig, gain_curve_with};
use wave::{Buffer, db_from_gain, gain_from_db};

/// Integrated loudness of a passage's full mix.
pub const TARGET_LUFS: f64 = -16.0;
/// Highest true peak.
pub const CEILING_DBTP: f64 = -1.0;
/// The limiter works to a little less, for peaks between samples that its sums do not show.
const MARGIN_DB: f64 = 0.2;

/// Colours a dry part, mono, in place.
pub fn amplify(kind: Kind, taken: bool, samples: &mut [f32]) {
    if taken {
        filter::run([Section::high_pass(30.0, 0.7)], samples);
        return;
    }
    match kind {
        Kind::Guitar => {
            // A coil's resonance, a soft valve, a speaker in its box.
            filter::run([Section::high_pass(70.0, 0.7), Section::peak(3000.0, 0.9, 2.5)], samples);
            drive(samples, 0.6);
            filter::run(BOX.map(|hz| Section::all_pass(hz, 0.7)), samples);
            filter::run(
                [
                    Section::high_pass(85.0, 0.7),
                    Section::peak(125.0, 1.0, 1.5),
                    Section::peak(430.0, 0.8, -3.0),
                    Section::peak(2300.0, 0.9, 3.0),
                    Section::low_pass(4700.0, 0.75),
                    Section::low_pass(6800.0, 0.6),
                ],
                samples,
            );
        }
        Kind::Bass => {
            filter::run([Section::high_pass(30.0, 0.7), Section::peak(90.0, 0.8, 1.5)], samples);
            drive(samples, 0.35);
            filter::run(BOX.map(|hz| Section::all_pass(hz, 0.7)), samples);
            filter::run([Section::high_pass(26.0, 0.7), Section::peak(250.0, 0.8, -2.0), Section::peak(800.0, 0.9, 2.5), Section::low_pass(3200.0, 0.7)], samples);
        }
        Kind::Drums => {
            drive(samples, 0.5);
            filter::run([Section::high_pass(32.0, 0.7)], samples);
        }
        Kind::Other => filter::run([Section::high_pass(60.0, 0.7), Section::low_pass(7000.0, 0.7)], samples),
        Kind::Click => {}
    }
}

/// Speakers in boxes do not move all of a pulse at once: the phase turns once more in each octave, hertz. A string's pulse, one narrow peak a
/// period, is spread by it over a few milliseconds, and stands 1 to 2 dB less high at the same loudness.
const BOX: [f64; 5] = [120.0, 250.0, 500.0, 1000.0, 2000.0];

fn drive(samples: &mut [f32], amount: f32) {
    for s in samples {
        *s = saturate(*s * amount) / amount;
    }
}

/// Loudness of a kind of part in the mix, relative to a guitar, and how much of the room it has. Chosen by ear.
fn place(kind: Kind) -> (f64, f32) {
    match kind {
        Kind::Guitar => (0.0, 0.2),
        Kind::Bass => (-0.5, 0.05),
        Kind::Drums => (-1.0, 0.16),
        Kind::Other => (-2.0, 0.22),
        Kind::Click => (-4.0, 0.0),
    }
}

/// Where levelling sets in, of full scale, for a part at the loudness of its kind: the peaks of a note that rings lie about there, those of its stroke over it.
const LEVELLING_FROM: f32 = 0.2;
/// Time for levelling to let go, seconds.
const LEVELLING_RELEASE_S: f64 = 0.09;
/// It takes hold this long before a peak, seconds.
const LEVELLING_AHEAD_S: f64 = 0.0015;

/// Brings a part to the loudness of its kind and its strokes nearer to what rings after them: two decibels over the threshold become one, with a soft bend.
/// The gain follows the peaks down at once (a little ahead of them) and rises slowly. It is what a player's compressor does, and keeps the limiter over the
/// whole mix, which turns down everything, out of work.
///
/// The loudness is set before and after; gives both gains. A part's first round takes those of its loop (`given`).
pub fn level_out(kind: Kind, samples: &mut [f32], stretch: &Stretch, given: Option<[f32; 2]>) -> [f32; 2] {
    let scale = |samples: &mut [f32], given: Option<f32>| {
        let gain = given.unwrap_or_else(|| level_gain(kind, samples, stretch));
        samples.iter_mut().for_each(|s| *s *= gain);
        gain
    };
    let before = scale(samples, given.map(|g| g[0]));
    if kind == Kind::Click {
        return [before, 1.0];
    }
    let fall = libm::exp(-1.0 / (LEVELLING_RELEASE_S * f64::from(RATE))) as f32;
    let rise = 1.0 - libm::exp(-1.0 / (LEVELLING_AHEAD_S * f64::from(RATE))) as f32;
    let mut peak = 0.0f32;
    let gains: Vec<f32> = samples
        .iter()
        .map(|s| {
            peak = s.abs().max(peak * fall);
            let over = peak / LEVELLING_FROM;
            // (1 + over²)^(-1/4): no edge, and half the decibels far above.
            1.0 / (1.0 + over * over).sqrt().sqrt()
        })
        .collect();
    let mut ahead = 1.0f32;
    for (s, g) in samples.iter_mut().zip(&gains).rev() {
        ahead = g.min(ahead + (1.0 - ahead) * rise);
        *s *= ahead;
    }
    [before, scale(samples, given.map(|g| g[1]))]
}

/// The gain that sets a part of this kind level with the others; 1 for a part that is silent. Within 24 dB, so that a hardly audible part is not blown up, and
/// with peaks at most 16 dB over the loudness aimed at: short notes far apart measure quiet, and would be all limiter if they were raised to it.
fn level_gain(kind: Kind, samples: &[f32], stretch: &Stretch) -> f32 {
    let kept = &samples[samples.len() - stretch.kept().min(samples.len())..];
    let Some(found) = loudness_lufs(&[kept]) else { return 1.0 };
    let aim = -20.0 + place(kind).0;
    let peak_db = db_from_gain(f64::from(kept.iter().fold(0.0f32, |m, s| m.max(s.abs()))));
    gain_from_db((aim - found).clamp(-24.0, 24.0).min(aim + 16.0 - peak_db)) as f32
}

/// Integrated loudness at 48 kHz, as ITU-R BS.1770-4 annex 1 has it (filters of its tables 1 and 2, gates at −70 LUFS and −10 LU), channels left and right or one.
/// It is `wave::loudness` without the peaks and the moving values, which take most of its time. `None` for silence or less than 400 ms.
fn loudness_lufs(channels: &[&[f32]]) -> Option<f64> {
    let step = RATE as usize / 10;
    let mut tenths: Vec<f64> = Vec::new();
    for samples in channels {
        let mut v = samples.to_vec();
        filter::run(
            [
                Section::from([1.535_124_859_586_97, -2.691_696_189_406_38, 1.198_392_810_852_85], [1.0, -1.690_659_293_182_41, 0.732_480_774_215_85]),
                Section::from([1.0, -2.0, 1.0], [1.0, -1.990_047_454_833_98, 0.990_072_250_366_21]),
            ],
            &mut v,
        );
        tenths.resize(v.len() / step, 0.0);
        for (sum, chunk) in tenths.iter_mut().zip(v.chunks_exact(step)) {
            *sum += chunk.iter().map(|s| f64::from(*s) * f64::from(*s)).sum::<f64>() / step as f64;
        }
    }
    let blocks: Vec<f64> = tenths.windows(4).map(|w| w.iter().sum::<f64>() / 4.0).collect();
    let lufs = |power: f64| -0.691 + 10.0 * libm::log10(power);
    let mean_over = |gate: f64| {
        let loud: Vec<f64> = blocks.iter().copied().filter(|p| *p > 0.0 && lufs(*p) > gate).collect();
        (!loud.is_empty()).then(|| loud.iter().sum::<f64>() / loud.len() as f64)
    };
    let first = mean_over(-70.0)?;
    mean_over(lufs(first) - 10.0).map(lufs)
}

/// As [`loudness_lufs`].
fn loudness_of(buffer: &Buffer) -> Option<f64> {
    loudness_lufs(&buffer.channels().iter().map(Vec::as_slice).collect::<Vec<_>>())
}

/// A mono part put on its seat in the room: left and right from frame 0 on.
pub fn seat(kind: Kind, seat: f64, samples: &[f32], stretch: &Stretch) -> [Vec<f32>; 2] {
    let turn = (seat.clamp(-1.0, 1.0) + 1.0) * FRAC_PI_4;
    let gains = [libm::cos(turn) as f32, libm::sin(turn) as f32];
    let mut sides = gains.map(|g| samples.iter().map(|s| g * s).collect::<Vec<f32>>());
    let wet = place(kind).1;
    if wet > 0.0 {
        let answer = room::answer(&sides[0], &sides[1]);
        for (side, more) in sides.iter_mut().zip(answer) {
            for (s, r) in side.iter_mut().zip(more) {
                *s += wet * r;
            }
        }
    }
    sides.map(|mut side| side.split_off(samples.len() - stretch.kept().min(samples.len())))
}

/// One gain and one curve for all stems.
#[derive(Clone, Debug, PartialEq)]
pub struct Gain {
    /// Linear.
    pub factor: f64,
    /// Over the frames, above 0 and at most 1.
    pub curve: Vec<f32>,
    /// The largest size that any choice of stems reaches, gain and curve applied.
    pub loudest: Buffer,
}

/// Finds gain and curve for stems whose sum is the mix. `members` says for each stem which voice of the mix it is, and whether it is in the mix: of an
/// original and its easier ways only one is heard at a time. `heads` are other beginnings of the same stems. A silent mix has the factor 1.
pub fn set_gain(stems: &[Buffer], heads: &[Buffer], members: &[(usize, bool)], cyclic: bool) -> Gain {
    let Some(first) = stems.first() else { return Gain { factor: 1.0, curve: Vec::new(), loudest: sum(&[], 0) } };
    let frames = first.frames();
    let in_mix: Vec<&Buffer> = stems.iter().zip(members).filter(|(_, m)| m.1).map(|(s, _)| s).collect();
    let mix = sum(&in_mix, frames);
    let mut factor = match loudness_of(&mix) {
        Some(found) => gain_from_db((TARGET_LUFS - found).clamp(-60.0, 60.0)),
        None => 1.0,
    };
    // Where sounds stay 5 dB under the ceiling, what lies between their samples does not reach it.
    let floor = gain_from_db(CEILING_DBTP - 5.0) / factor;
    let extremes = extremes(stems, heads, members, frames, floor as f32);
    let config = LimiterConfig { ceiling_dbtp: CEILING_DBTP - MARGIN_DB, cyclic, ..LimiterConfig::default() };
    let mut curve = vec![1.0f32; frames];
    // What the limiter takes is given back; three rounds bring it within a twentieth of a unit unless the mix is nothing but peaks.
    for round in 0..3 {
        let mut loudest = extremes.clone();
        loudest.scale(factor as f32);
        curve = gain_curve_with(&loudest, &config);
        if round == 2 || curve.iter().all(|c| *c == 1.0) {
            break;
        }
        let mut limited = mix.clone();
        limited.scale(factor as f32);
        wave::apply_gain_curve(&mut limited, &curve);
        let Some(found) = loudness_of(&limited) else { break };
        if (TARGET_LUFS - found).abs() < 0.04 {
            break;
        }
        factor *= gain_from_db((TARGET_LUFS - found).clamp(-6.0, 6.0));
    }
    let mut loudest = extremes;
    loudest.scale(factor as f32);
    wave::apply_gain_curve(&mut loudest, &curve);
    Gain { factor, curve, loudest }
}

/// How far everything must be turned down, dB, 0 or less, so that no choice of the stems that reach `loudest` passes the ceiling with the click beside it.
pub fn click_headroom_db(loudest: &Buffer, click: &[f32]) -> f64 {
    let beside = loudest.channels().iter().map(|c| c.iter().zip(click).map(|(s, k)| s + k.abs()).collect()).collect();
    let beside = Buffer::new(RATE, beside).expect("finite samples of one length");
    // -0.0 is written 0.0.
    wave::true_peak_dbtp(&beside).map_or(0.0, |peak| (CEILING_DBTP - MARGIN_DB - peak).min(0.0)) + 0.0
}

/// The sum of stereo buffers, in their order.
pub fn sum(stems: &[&Buffer], frames: usize) -> Buffer {
    let mut channels = vec![vec![0.0f32; frames]; 2];
    for stem in stems {
        for (out, channel) in channels.iter_mut().zip(stem.channels()) {
            for (o, s) in out.iter_mut().zip(channel) {
                *o += s;
            }
        }
    }
    Buffer::new(RATE, channels).expect("finite stems of one length")
}

/// The largest size that any choice of stems adds up to, for left and right: the sum of what is positive, or of what is negative, whichever is larger.
/// Where that is over `floor`, the three points between each sample and the next are looked at as well. Where there are heads, a stem may sound as its
/// head does.
fn extremes(stems: &[Buffer], heads: &[Buffer], members: &[(usize, bool)], frames: usize, floor: f32) -> Buffer {
    let voices = members.iter().map(|m| m.0 + 1).max().unwrap_or(0);
    let between = between();
    let side = |side: usize| {
        // Of an original and its easier ways one is heard: the one that reaches furthest.
        let ways: Vec<Vec<&[f32]>> = (0..voices)
            .map(|voice| {
                let members = || members.iter().cycle();
                let all = stems.iter().zip(members()).chain(heads.iter().zip(members()));
                all.filter(|(_, m)| m.0 == voice).map(|(b, _)| b.channel(side)).collect()
            })
            .collect();
        let furthest = |at: &dyn Fn(&[f32]) -> f32| {
            let (mut most, mut least) = (0.0f32, 0.0f32);
            for voice in &ways {
                let (up, down) = voice.iter().map(|c| at(c)).fold((0.0f32, 0.0f32), |(u, d), s| (if s > u { s } else { u }, if s < d { s } else { d }));
                most += up;
                least += down;
            }
            if most > -least { most } else { -least }
        };
        let mut out: Vec<f32> = (0..frames).map(|n| furthest(&|c| c.get(n).copied().unwrap_or(0.0))).collect();
        let loud: Vec<usize> = (0..frames).filter(|n| out[*n] > floor).collect();
        for n in loud {
            for weights in &between {
                let at = |c: &[f32]| weights.iter().enumerate().map(|(k, w)| w * (n + k).checked_sub(REACH - 1).and_then(|i| c.get(i)).copied().unwrap_or(0.0)).sum();
                let found = furthest(&at);
                // On both sides of the gap.
                out.iter_mut().skip(n).take(2).for_each(|o| *o = if found > *o { found } else { *o });
                let found = furthest(&|c: &[f32]| {
                    weights.iter().rev().enumerate().map(|(k, w)| w * (n + k).checked_sub(REACH).and_then(|i| c.get(i)).copied().unwrap_or(0.0)).sum()
                });
                out[n] = if found > out[n] { found } else { out[n] };
            }
        }
        out
    };
    Buffer::new(RATE, vec![side(0), side(1)]).expect("finite stems of one length")
}

/// Samples on either side of a gap from which what lies in it is computed.
const REACH: usize = 10;

/// Weights of the samples `n - REACH + 1 ..= n + REACH` for the points a quarter, half and three quarters of the way from `n` to `n + 1`: a sinc under a
/// Hann window, four times oversampled as ITU-R BS.1770-4 annex 2 has it.
fn between() -> [[f32; 2 * REACH]; 3] {
    std::array::from_fn(|p| {
        let part = (p + 1) as f64 / 4.0;
        std::array::from_fn(|k| {
            let t = std::f64::consts::PI * (k as f64 - (REACH - 1) as f64 - part);
            (libm::sin(t) / t * (0.5 + 0.5 * libm::cos(t / (REACH as f64 + 0.5)))) as f32
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(hz: f64, level: f64, frames: usize) -> Vec<f32> {
        (0..frames)
            .map(|n| (level * libm::sin(std::f64::consts::TAU * hz * n as f64 / f64::from(RATE))) as f32)
            .collect()
    }

    /// BS.1770-4: a 997 Hz tone at full scale in one channel is −3.01 LUFS.
    #[test]
    fn loudness_of_the_standard_tone() {
        let found = loudness_lufs(&[&tone(997.0, 1.0, 96_000)]).unwrap();
        assert!((found + 3.01).abs() < 0.02, "{found}");
        assert_eq!(loudness_lufs(&[&[0.0; 96_000]]), None);
        assert_eq!(loudness_lufs(&[&[]]), None);
    }

    #[test]
    fn loudness_is_that_of_the_meter() {
        let mut random = crate::random::Random::new(&[5]);
        let mut side = || (0..200_000).map(|n| (random.even() * if n < 90_000 { 0.4 } else { 0.02 }) as f32).collect::<Vec<f32>>();
        let noise = Buffer::new(RATE, vec![side(), side()]).unwrap();
        let (ours, meter) = (loudness_of(&noise).unwrap(), wave::loudness(&noise).integrated_lufs.unwrap());
        assert!((ours - meter).abs() < 0.02, "{ours} {meter}");
    }

    #[test]
    fn seats_keep_their_power() {
        let t = tone(500.0, 0.5, 4800);
        let stretch = Stretch::once(4800, 0);
        let power = |at: f64| {
            let [l, r] = seat(Kind::Click, at, &t, &stretch);
            let p = |v: &[f32]| v.iter().map(|s| f64::from(*s) * f64::from(*s)).sum::<f64>();
            (p(&l), p(&r))
        };
        let (l, r) = power(-1.0);
        assert!(r < 1e-9 * l);
        for at in [-0.6, 0.0, 0.3, 1.0] {
            let (a, b) = power(at);
            assert!(((a + b) / l - 1.0).abs() < 1e-5);
        }
        let (a, b) = power(0.0);
        assert!((a / b - 1.0).abs() < 1e-5);
    }

    #[test]
    fn stems_that_cancel_cannot_pass_the_ceiling_alone() {
        let a = tone(300.0, 0.8, 96_000);
        let b: Vec<f32> = a.iter().map(|s| -0.9 * s).collect();
        let stems = [a, b].map(|v| Buffer::new(RATE, vec![v.clone(), v]).unwrap());
        let gain = set_gain(&stems, &[], &[(0, true), (1, true)], true);
        for s in &stems {
            let mut s = s.clone();
            s.scale(gain.factor as f32);
            wave::apply_gain_curve(&mut s, &gain.curve);
            assert!(wave::true_peak_dbtp(&s).unwrap() <= CEILING_DBTP);
        }
    }

    #[test]
    fn strokes_are_brought_nearer_to_what_rings() {
        // A stroke of six times the size of what rings, twice a second.
        let v: Vec<f32> = tone(220.0, 0.1, 96_000).iter().enumerate().map(|(n, s)| s * if n % 24_000 < 1200 { 6.0 } else { 1.0 }).collect();
        let crest = |v: &[f32]| db_from_gain(f64::from(v.iter().fold(0.0f32, |m, s| m.max(s.abs())))) - loudness_lufs(&[v]).unwrap();
        let stretch = Stretch::once(96_000, 0);
        let mut levelled = v.clone();
        let gains = level_out(Kind::Guitar, &mut levelled, &stretch, None);
        assert!(crest(&levelled) < crest(&v) - 1.5, "{} {}", crest(&levelled), crest(&v));
        assert!((loudness_lufs(&[&levelled]).unwrap() + 20.0).abs() < 0.1);
        // The same gains on the first half make the same first half.
        let mut first = v[..48_000].to_vec();
        level_out(Kind::Guitar, &mut first, &Stretch::once(48_000, 0), Some(gains));
        assert!(first[..47_000] == levelled[..47_000]);
    }

    /// A tone at a quarter of the rate whose samples all lie 3 dB under its peaks, in short bursts far apart.
    #[test]
    fn what_lies_between_the_samples_is_limited() {
        let burst = |sign: f64| -> Vec<f32> {
            (0..96_000).map(|n| if n % 48_000 < 120 { (sign * libm::sin(std::f64::consts::PI * (n as f64 / 2.0 + 0.25))) as f32 } else { 0.0 }).collect()
        };
        let stems = [1.0, 0.4].map(|s| Buffer::new(RATE, vec![burst(s), burst(s)]).unwrap());
        let gain = set_gain(&stems, &[], &[(0, true), (1, true)], false);
        let mut mix = sum(&stems.iter().collect::<Vec<_>>(), 96_000);
        mix.scale(gain.factor as f32);
        assert!(wave::true_peak_dbtp(&mix).unwrap() > 1.0, "it needs limiting");
        wave::apply_gain_curve(&mut mix, &gain.curve);
        let peak = wave::true_peak_dbtp(&mix).unwrap();
        assert!(peak <= CEILING_DBTP && peak > CEILING_DBTP - 1.5, "{peak}");
    }

    #[test]
    fn silence_has_a_finite_gain() {
        let silent = Buffer::silence(RATE, 2, 48_000).unwrap();
        assert_eq!(set_gain(std::slice::from_ref(&silent), &[], &[(0, true)], true).factor, 1.0);
        assert_eq!(set_gain(&[], &[], &[], true).factor, 1.0);
    }
}
