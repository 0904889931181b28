//! What a camera's microphone hears of a play-along: a room, noise, a clock of its own, and talk over it; and music to play, all from a seed.

use wave::{Buffer, Seconds, resample};
use wave::fft::Fft;

/// Everything here is at this rate.
pub const RATE_HZ: u32 = 16_000;

/// Random numbers: splitmix64 (Steele, Lea and Flood, OOPSLA 2014).
pub struct Dice(pub u64);

impl Dice {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// 0 to 1.
    pub fn part(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.part()
    }

    pub fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }

    /// Near enough to a normal distribution of unit variance.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.part()).sum::<f64>() - 6.0
    }
}

fn frames(seconds: f64) -> usize {
    Seconds(seconds).to_frames(RATE_HZ)
}

fn level(samples: &[f32]) -> f64 {
    (samples.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / samples.len().max(1) as f64).sqrt()
}

/// Count-in, then bars of plucked chords, bass and drums that come back as those of a lesson do: two bars, twice, with one change.
pub fn music(seed: u64) -> Buffer {
    let mut dice = Dice(seed);
    let beat = 60.0 / dice.between(70.0, 130.0);
    let (bars, slot) = (4 + 2 * dice.below(3), beat / 4.0);
    let mut out = vec![0.0f32; frames((bars + 1) as f64 * 4.0 * beat + 1.0)];
    // Drums sound alike in every lesson: their noise does not hang on the seed.
    let hit = |out: &mut Vec<f32>, at: f64, decay: f64, gain: f64, tone: f64| {
        let mut noise = Dice(77);
        for n in 0..frames(0.25) {
            let t = n as f64 / f64::from(RATE_HZ);
            let body = if tone > 0.0 { (std::f64::consts::TAU * tone * t * (1.0 - t)).sin() } else { noise.normal() * 0.5 };
            if let Some(o) = out.get_mut(frames(at) + n) {
                *o += (gain * (-t * decay).exp() * body) as f32;
            }
        }
    };
    let pluck = |out: &mut Vec<f32>, at: f64, length: f64, midi: f64, gain: f64| {
        let hz = 440.0 * ((midi - 69.0) / 12.0).exp2();
        for n in 0..frames(length) {
            let t = n as f64 / f64::from(RATE_HZ);
            let fade = (1.0 - t / length).min(0.1) * 10.0;
            let sum: f64 = (1..9).take_while(|h| hz * f64::from(*h) < 7_000.0).map(|h| (std::f64::consts::TAU * hz * f64::from(h) * t).sin() * (-t * (2.0 + 1.5 * f64::from(h))).exp() / f64::from(h)).sum();
            if let Some(o) = out.get_mut(frames(at) + n) {
                *o += (gain * fade * sum) as f32;
            }
        }
    };
    for b in 0..4 {
        hit(&mut out, b as f64 * beat, 60.0, 0.5, 1_500.0);
    }
    let root = 40.0 + dice.below(12) as f64;
    let plan: Vec<Vec<(usize, f64)>> = (0..3).map(|_| (0..16).filter_map(|s| (dice.part() < 0.4).then(|| (s, [0.0, 2.0, 5.0, 7.0, -2.0][dice.below(5)]))).collect()).collect();
    for bar in 0..bars {
        let start = (bar + 1) as f64 * 4.0 * beat;
        let of = if bar + 1 == bars { 2 } else { bar % 2 };
        let chord = root + [0.0, 5.0, 7.0][of];
        for (s, step) in &plan[of] {
            let at = start + *s as f64 * slot;
            for note in [12.0, 16.0, 19.0] {
                pluck(&mut out, at, slot * 2.0, chord + note + step, 0.12);
            }
        }
        for s in [0, 6, 10] {
            pluck(&mut out, start + f64::from(s) * slot, beat, chord - 12.0, 0.3);
        }
        for s in 0..16 {
            match s {
                0 | 10 => hit(&mut out, start + f64::from(s) * slot, 25.0, 0.6, 60.0),
                4 | 12 => hit(&mut out, start + f64::from(s) * slot, 30.0, 0.35, 0.0),
                s if s % 2 == 0 => hit(&mut out, start + f64::from(s) * slot, 120.0, 0.1, 0.0),
                _ => {}
            }
        }
    }
    Buffer::from_mono(RATE_HZ, out).unwrap()
}

/// A voice: gliding pulses through three resonances that change with every syllable, with pauses. Unit level where it speaks.
fn talk(dice: &mut Dice, length: usize) -> Vec<f32> {
    let mut out = Vec::with_capacity(length);
    let base = dice.between(95.0, 220.0);
    while out.len() < length {
        if dice.part() < 0.18 {
            out.resize(out.len() + frames(dice.between(0.2, 1.2)), 0.0);
            continue;
        }
        let n = frames(dice.between(0.12, 0.3));
        let (from, to) = (base * dice.between(0.85, 1.25), base * dice.between(0.85, 1.25));
        let formants = [dice.between(300.0, 800.0), dice.between(900.0, 2_200.0), dice.between(2_300.0, 3_200.0)];
        let mut state = [[0.0f64; 2]; 3];
        let mut phase = 0.0;
        for i in 0..n {
            let x = i as f64 / n as f64;
            phase += (from + (to - from) * x) / f64::from(RATE_HZ);
            let pulse = if phase >= 1.0 { 1.0 } else { 0.0 };
            phase -= pulse;
            let source = pulse + 0.02 * dice.normal();
            let mut sum = 0.0;
            for (f, s) in formants.iter().zip(&mut state) {
                let r = (-std::f64::consts::PI * 90.0 / f64::from(RATE_HZ)).exp();
                let y = source + 2.0 * r * (std::f64::consts::TAU * f / f64::from(RATE_HZ)).cos() * s[0] - r * r * s[1];
                *s = [y, s[0]];
                sum += y;
            }
            out.push((sum * (std::f64::consts::PI * x).sin()) as f32);
        }
    }
    out.truncate(length);
    let spoken: Vec<f32> = out.iter().copied().filter(|s| *s != 0.0).collect();
    let gain = 1.0 / level(&spoken).max(1e-9);
    out.iter().map(|s| (f64::from(*s) * gain) as f32).collect()
}

/// A room: the direct sound, some walls, and a tail of noise that falls by 60 dB in 0.25 to 0.6 s, in all as strong as the direct sound.
fn in_room(dice: &mut Dice, samples: &[f32]) -> Vec<f32> {
    let decay = 6.91 / dice.between(0.25, 0.6);
    let mut answer = vec![0.0f32; frames(0.5)];
    for (n, a) in answer.iter_mut().enumerate().skip(frames(0.004)) {
        *a = (dice.normal() * (-decay * n as f64 / f64::from(RATE_HZ)).exp()) as f32;
    }
    for _ in 0..6 {
        let at = frames(dice.between(0.002, 0.03));
        answer[at] += (dice.normal() * 6.0) as f32;
    }
    let tail = answer.iter().map(|a| f64::from(*a).powi(2)).sum::<f64>().sqrt();
    answer.iter_mut().for_each(|a| *a = (f64::from(*a) / tail) as f32);
    answer[0] = 1.0;
    let size = (samples.len() + answer.len()).next_power_of_two();
    let mut fft = Fft::new(size);
    let mut spectrum = |x: &[f32]| {
        let (mut re, mut im) = (x.to_vec(), vec![0.0; size]);
        re.resize(size, 0.0);
        fft.forward(&mut re, &mut im);
        (re, im)
    };
    let (a, b) = (spectrum(samples), spectrum(&answer));
    let mut re: Vec<f32> = (0..size).map(|k| a.0[k] * b.0[k] - a.1[k] * b.1[k]).collect();
    let mut im: Vec<f32> = (0..size).map(|k| a.0[k] * b.1[k] + a.1[k] * b.0[k]).collect();
    fft.forward(&mut im, &mut re);
    re.truncate(samples.len() + answer.len());
    re.iter().map(|s| s / size as f32).collect()
}

/// The same sound by a clock that gives `ratio` times as many samples (cubic Hermite).
fn clocked(samples: &[f32], ratio: f64) -> Vec<f32> {
    let at = |i: i64| usize::try_from(i).ok().and_then(|i| samples.get(i)).map_or(0.0, |s| f64::from(*s));
    (0..(samples.len() as f64 * ratio) as usize)
        .map(|n| {
            let x = n as f64 / ratio;
            let i = x.floor();
            let (t, i) = (x - i, i as i64);
            let (a, b, c, d) = (at(i - 1), at(i), at(i + 1), at(i + 2));
            (b + 0.5 * t * (c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a)))) as f32
        })
        .collect()
}

/// What was recorded, and the truth about it.
pub struct Shot {
    pub sound: Buffer,
    pub start_s: f64,
    pub ratio: f64,
}

/// How a shot is made.
#[derive(Clone, Copy, Debug)]
pub struct Scene {
    /// Level of the play-along over the noise.
    pub snr_db: f64,
    /// Level of the voice over the play-along; `None` without talk.
    pub talk_db: Option<f64>,
    pub clock_ppm: f64,
}

pub const SCENE: Scene = Scene { snr_db: 10.0, talk_db: Some(0.0), clock_ppm: 100.0 };

/// The play-along somewhere in a longer recording.
pub fn shot(played: &Buffer, scene: Scene, seed: u64) -> Shot {
    let mut dice = Dice(seed);
    let played = resample(&played.mono(), RATE_HZ).unwrap();
    let ratio = 1.0 + scene.clock_ppm * 1e-6 * if dice.part() < 0.5 { -1.0 } else { 1.0 };
    let heard = clocked(&in_room(&mut dice, played.channel(0)), ratio);
    let lead = frames(dice.between(2.0, 25.0));
    let mut sound = vec![0.0f32; lead + heard.len() + frames(dice.between(1.0, 15.0))];
    let turned = if dice.part() < 0.5 { -1.0 } else { 1.0 };
    for (o, h) in sound[lead..].iter_mut().zip(&heard) {
        *o = turned * h;
    }
    let loud = level(&heard);
    // Noise of a room: falling with frequency, and a hum.
    let (mut low, mut noise) = (0.0, Vec::with_capacity(sound.len()));
    for n in 0..sound.len() {
        let white = dice.normal();
        low = 0.97 * low + 0.3 * white;
        noise.push((0.3 * white + low + 0.3 * (std::f64::consts::TAU * 50.0 * n as f64 / f64::from(RATE_HZ)).sin()) as f32);
    }
    let gain = loud / level(&noise) * 10f64.powf(-scene.snr_db / 20.0);
    sound.iter_mut().zip(&noise).for_each(|(o, n)| *o += (gain * f64::from(*n)) as f32);
    if let Some(db) = scene.talk_db {
        let voice = talk(&mut dice, sound.len());
        let gain = loud * 10f64.powf(db / 20.0);
        sound.iter_mut().zip(&voice).for_each(|(o, v)| *o += (gain * f64::from(*v)) as f32);
    }
    Shot { sound: Buffer::from_mono(RATE_HZ, sound).unwrap(), start_s: lead as f64 / f64::from(RATE_HZ), ratio }
}
