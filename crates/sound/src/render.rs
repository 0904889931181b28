//! A passage at one tempo as sound: stems of equal length, their mix, click and count-in.

use crate::drums;
use crate::fretted::{self, BASS, GUITAR};
use crate::keys::{self, Tone};
use crate::mix::{self, Gain};
use crate::time::{Clock, Note, Stretch, frame};
use crate::{RATE, click, level, take};
use lesson::{Kind, Part, Passage, Span};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use wave::{Buffer, db_from_gain};

/// The tempos of play-along audio, percent, slow to full.
pub const LADDER_PERCENT: [u32; 4] = [60, 75, 90, 100];
/// Tempos that can be asked for, percent.
pub const TEMPO_PERCENT: std::ops::RangeInclusive<u32> = 25..=200;
/// Longest passage, at the tempo asked for, seconds.
pub const LENGTH_MAX_S: f64 = 600.0;
/// Longest sum of all parts' lengths, seconds: their samples lie in memory together.
pub const STEMS_MAX_S: f64 = 3600.0;
/// How long a passage that is not a loop rings out, seconds.
pub const RING_OUT_S: f64 = 2.0;
/// Longest beginning that a first round has of its own, seconds.
pub const HEAD_MAX_S: f64 = 1.5;
/// Where a first round and the loop differ by less than this, about −80 dB, they are alike.
const ALIKE: f32 = 1e-4;
/// The first round goes on for so long after that, frames: room for a player to go over from one to the other.
const OVERLAP: usize = 480;

/// How a passage is to sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Options {
    /// Percent of the written tempo, see [`TEMPO_PERCENT`].
    pub tempo_percent: u32,
    /// One round of a loop: exactly the passage's length, what rings at its end heard at its beginning. Otherwise once from silence, with
    /// [`RING_OUT_S`] more at the end.
    pub looped: bool,
}

impl Default for Options {
    fn default() -> Options {
        Options { tempo_percent: 100, looped: true }
    }
}

/// Decoded audio for parts with a [`lesson::Take`]: index into [`Passage::parts`], and the whole file.
pub type Takes = BTreeMap<usize, Buffer>;

/// A passage as sound. All buffers are stereo at 48 kHz; all but the count-in are [`Render::frames`] long.
#[derive(Clone, Debug, PartialEq)]
pub struct Render {
    pub tempo_percent: u32,
    /// Length of a round: the passage's duration, rounded to the nearest frame.
    pub loop_frames: usize,
    /// Length of the buffers: the same for a loop, longer by the ring-out otherwise.
    pub frames: usize,
    /// Ends where the passage begins.
    pub count_in: Buffer,
    /// Not in the mix: see [`Render::click_headroom_db`].
    pub click: Buffer,
    /// Index into [`Passage::parts`] and sound, for every part, easier ways of playing included. Those that the mix is made of sum to it.
    pub stems: Vec<(usize, Buffer)>,
    /// The parts that the mix is made of: all but easier ways of playing.
    pub in_mix: Vec<usize>,
    /// The sum of the stems of [`Render::in_mix`].
    pub mix: Buffer,
    /// How a loop's first round begins, for each stem in the same order: from silence, where the stem has what rings on from the round before. All of one
    /// length, at most [`HEAD_MAX_S`], after which the two are alike; empty where they are alike from the start, and without a loop.
    pub heads: Vec<(usize, Buffer)>,
    /// What every stem was raised by to make the mix −16 LUFS, dB; 0 for silence.
    pub gain_db: f64,
    /// The most that the limiter took anywhere, dB, 0 or more.
    pub limited_db: f64,
    /// By how much everything must be turned down, dB, 0 or less, where the click is played beside any choice of stems, for their true peak to stay under
    /// [`CEILING_DBTP`](crate::CEILING_DBTP). Gains up to 1 for single stems are within it.
    pub click_headroom_db: f64,
}

impl Render {
    /// The mix without one part: the sum of the other stems in the mix, at the same gain. `None` for a part that is not in the mix or is all of it.
    pub fn left_out(&self, part: usize) -> Option<Buffer> {
        let others: Vec<&Buffer> = self.stems.iter().filter(|s| s.0 != part && self.in_mix.contains(&s.0)).map(|s| &s.1).collect();
        (self.in_mix.contains(&part) && !others.is_empty()).then(|| mix::sum(&others, self.frames))
    }
}

/// Why a passage cannot be made to sound.
#[derive(Clone, Debug, PartialEq)]
pub enum Fault {
    /// Outside [`TEMPO_PERCENT`].
    Tempo { found_percent: u32 },
    /// Longer than [`LENGTH_MAX_S`], or longer in all its parts together than [`STEMS_MAX_S`].
    TooLong { passage: String, seconds: f64, parts: usize, span: Span },
    /// A part's own audio cannot be used.
    Take { part: String, file: String, why: String, span: Span },
}

impl std::fmt::Display for Fault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Fault::Tempo { found_percent } => {
                write!(f, "{found_percent} % of the tempo; it must be {} to {} %", TEMPO_PERCENT.start(), TEMPO_PERCENT.end())
            }
            Fault::TooLong { passage, seconds, parts, .. } => write!(
                f,
                "passage \"{passage}\" would be {seconds:.0} s long with {parts} parts; sound is made for up to {LENGTH_MAX_S} s, and {STEMS_MAX_S} s of all parts together: split it into shorter passages"
            ),
            Fault::Take { part, file, why, .. } => write!(f, "the take \"{file}\" of part \"{part}\": {why}"),
        }
    }
}

impl std::error::Error for Fault {}

/// Renders a passage at one tempo. `progress` is called with the part that is done, 0 to 1, from whichever thread got there.
///
/// The result does not depend on the number of threads. A passage without bars gives empty buffers, one without notes silence; both have a gain of 0 dB. A
/// part with a take that is not among `takes` is synthesised.
///
/// # Errors
/// See [`Fault`]. Nothing is rendered then.
pub fn render(passage: &Passage, options: &Options, takes: &Takes, progress: &(dyn Fn(f64) + Sync)) -> Result<Render, Fault> {
    let percent = options.tempo_percent;
    if !TEMPO_PERCENT.contains(&percent) {
        return Err(Fault::Tempo { found_percent: percent });
    }
    let clock = Clock::new(passage, percent);
    let seconds = clock.length_s();
    let parts = passage.parts.len();
    if !(0.0..=LENGTH_MAX_S).contains(&seconds) || seconds * parts as f64 > STEMS_MAX_S {
        return Err(Fault::TooLong { passage: passage.id.clone(), seconds, parts, span: passage.span });
    }
    let length = frame(seconds);
    let stretch = if options.looped { Stretch::round(length) } else { Stretch::once(length, if length > 0 { frame(RING_OUT_S) } else { 0 }) };
    let done = AtomicUsize::new(0);
    let step = || progress((done.fetch_add(1, Ordering::Relaxed) + 1) as f64 / (parts + 2) as f64);

    let head = Stretch::once(length.min(frame(HEAD_MAX_S)), 0);
    let (mut stems, mut heads): (Vec<Buffer>, Vec<Buffer>) = passage
        .parts
        .par_iter()
        .enumerate()
        .map(|(i, part)| {
            let source = source(part, passage, percent, &clock, takes.get(&i))?;
            let (looped, gains) = stem(part, &source, &clock, &stretch, None);
            let head = if options.looped { stem(part, &source, &clock, &head, Some(gains)).0 } else { centred(Vec::new()) };
            step();
            Ok((looped, head))
        })
        .collect::<Result<Vec<_>, Fault>>()?
        .into_iter()
        .unzip();

    let members = members(&passage.parts);
    let Gain { factor, curve, loudest } = mix::set_gain(&stems, &heads, &members, options.looped);
    step();
    stems.par_iter_mut().chain(&mut heads).for_each(|s| {
        s.scale(factor as f32);
        wave::apply_gain_curve(s, &curve);
    });
    cut_to_difference(&mut heads, &stems);
    let in_mix: Vec<usize> = (0..stems.len()).filter(|i| members[*i].1).collect();
    let mix = mix::sum(&in_mix.iter().map(|i| &stems[*i]).collect::<Vec<_>>(), stretch.kept());
    let mut click = click::play(passage, &clock, &stretch);
    click.drain(..click.len() - stretch.kept());
    let result = Render {
        tempo_percent: percent,
        loop_frames: length as usize,
        frames: stretch.kept(),
        count_in: centred(click::count_in(passage, percent)),
        click_headroom_db: mix::click_headroom_db(&loudest, &click),
        click: centred(click),
        stems: stems.into_iter().enumerate().collect(),
        heads: heads.into_iter().enumerate().collect(),
        in_mix,
        mix,
        gain_db: db_from_gain(factor),
        limited_db: -db_from_gain(f64::from(curve.iter().fold(1.0f32, |m, c| m.min(*c)))) + 0.0,
    };
    step();
    Ok(result)
}

/// Cuts all heads to the length at which every one has become like its stem; takes them away where they are alike throughout.
fn cut_to_difference(heads: &mut Vec<Buffer>, stems: &[Buffer]) {
    let differ = |(head, stem): (&Buffer, &Buffer)| {
        let last = |(h, s): (&Vec<f32>, &Vec<f32>)| h.iter().zip(s).rposition(|(a, b)| (a - b).abs() > ALIKE).map_or(0, |i| i + 1);
        head.channels().iter().zip(stem.channels()).map(last).max().unwrap_or(0)
    };
    let differing = heads.iter().zip(stems).map(differ).max().unwrap_or(0);
    if differing == 0 {
        heads.clear();
    }
    for head in heads {
        let frames = (differing + OVERLAP).min(head.frames());
        *head = Buffer::new(RATE, head.channels().iter().map(|c| c[..frames].to_vec()).collect()).expect("finite samples of one length");
    }
}

/// The same sound left and right.
fn centred(samples: Vec<f32>) -> Buffer {
    Buffer::new(RATE, vec![samples.clone(), samples]).expect("finite samples")
}

/// For each part the voice of the mix that it is (an easier way shares its original's), and whether it is in the mix.
fn members(parts: &[Part]) -> Vec<(usize, bool)> {
    parts
        .iter()
        .enumerate()
        .map(|(i, part)| match &part.easier_of {
            Some(name) => (parts.iter().position(|p| p.easier_of.is_none() && p.name == *name).unwrap_or(i), false),
            None => (i, true),
        })
        .collect()
}

/// What a part is played from.
enum Source<'a> {
    Take(Vec<f32>),
    Notes(Vec<Note<'a>>),
}

fn source<'a>(part: &'a Part, passage: &Passage, percent: u32, clock: &Clock, file: Option<&Buffer>) -> Result<Source<'a>, Fault> {
    Ok(match part.take.as_ref().zip(file) {
        Some((of, file)) => Source::Take(take::cut_out(file, part, of, percent, clock, &Clock::new(passage, 100))?),
        None => Source::Notes(clock.notes(lesson::soundings(part))),
    })
}

/// One part, seated, before the common gain; and its own two gains, found or `given`.
fn stem(part: &Part, source: &Source, clock: &Clock, stretch: &Stretch, given: Option<[f32; 2]>) -> (Buffer, [f32; 2]) {
    // Noise and small unevenness are the part's own, at every tempo and whatever stands beside it.
    let seed = part.name.bytes().fold(0xcbf2_9ce4_8422_2325u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3));
    let mut dry = match source {
        Source::Take(cut) => take::play(cut, stretch),
        Source::Notes(notes) => match part.kind {
            Kind::Guitar | Kind::Bass => {
                let voice = if part.kind == Kind::Bass { BASS } else { GUITAR };
                let voice = part.tone.as_deref().map_or(voice, |t| voice.with_tone(t));
                let open: Vec<f64> = match &part.neck {
                    Some(neck) => neck.tuning.open.iter().map(|m| f64::from(m.0) + f64::from(neck.capo)).collect(),
                    None => Vec::new(),
                };
                fretted::play(notes, &voice, &open, seed, stretch)
            }
            Kind::Drums => drums::play(notes, seed, stretch),
            Kind::Other => keys::play(notes, Tone::of(&part.instrument), stretch),
            Kind::Click => {
                let mut out = vec![0.0; stretch.frames()];
                for note in notes.iter().filter(|n| n.sounding.source == lesson::Source::Click) {
                    let kind = if note.sounding.accent { click::Knock::Down } else { click::Knock::Beat };
                    stretch.add(&mut out, &click::knock(kind), note.start, 1.0);
                }
                out
            }
        },
    };
    level::wah(part, clock, stretch, &mut dry);
    mix::amplify(part.kind, matches!(source, Source::Take(_)), &mut dry);
    let most = level::volume(part, clock, stretch, &mut dry);
    let gains = mix::level_out(part.kind, &mut dry, stretch, given);
    dry.iter_mut().for_each(|s| *s *= most);
    let sides = mix::seat(part.kind, part.seat, &dry, stretch);
    (Buffer::new(RATE, sides.to_vec()).expect("finite samples of one length"), gains)
}
