//! Beats: where a listener would tap, following players who speed up and slow down.
//!
//! # Conventions
//! A beat is the dotted one in compound meters. Times are those of the sound's onsets, not of the frames that show them.
//!
//! # Method
//! A network tells how likely each moment is a beat ([`pulse`](crate::pulse)), a search finds the likeliest way through beats and bars in each meter ([`beat_path`](crate::beat_path)); what onset
//! strength alone finds ([`onset_beats`](crate::onset_beats)) stands in where there is no way. All readings of these, and of the ways that keep their tempo ([`steady_beats`](crate::steady_beats)), are judged together
//! with the bars over them, and one is taken ([`beat_choice`](crate::beat_choice)). Each beat is moved onto the onsets around it and on its grid.
//!
//! How sure the beats are comes from holding them against the same beats moved by half a beat, a quarter or a third: where those
//! are nearly as likely, the phase is open, however clear the tempo is.

use crate::bars::Bars;
use crate::bar_path::bar_path;
use crate::beat_choice::{ALIKE, Cues, Judged, Reading, alike, choose, length_at, readings};
use crate::beat_path::{CHANGE, LONGEST, Path, SHORTEST, Worth, beat_worth, path};
use crate::hearing::Meter;
use crate::mono::RATE_HZ;
use crate::onset_beats::{onset_beats, onset_cuts};
use crate::pulse::{METERS, Pulse, near};
use crate::reading_score::{METERS as BAR_METERS, Networks, Scores, likeliest_meter};
use crate::steady_beats::{Follows, steady_beats};
use crate::streams::{GROUPS, ONSET_HOP, onset_rate};
use wave::Seconds;

/// Slowest and fastest beat.
pub(crate) const SLOWEST_BPM: f64 = 46.0;
pub(crate) const FASTEST_BPM: f64 = 208.0;
/// Middle of tempi that players count in.
pub(crate) const USUAL_BPM: f64 = 112.0;
/// The same of dotted beats in compound meters.
const USUAL_DOTTED_BPM: f64 = 76.0;
/// What a beat that lasts a second loses by being an octave off the usual.
const UNUSUAL: f32 = 0.75;
/// What meters must make up for, a beat.
const RARE_THREE: f32 = 0.06;
const RARE_COMPOUND: f32 = 0.06;
/// By what parts of a beat the beats are moved to see whether they could lie there as well.
pub(crate) const SHIFTS: [f64; 5] = [0.5, 0.25, 0.75, 1.0 / 3.0, 2.0 / 3.0];
/// With pins: the weight of the network, and by how much a change of tempo costs more.
const WITH_PINS: (f32, f32) = (0.4, 4.0);
/// What a second of a meter gains by the logarithm of how likely the network holds that meter.
const METER_WORTH: f32 = 1.0;

/// The teacher's word on time, which the beats obey.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pins {
    /// Times of beats, in any order. Where three or more follow each other at nearly even distances, they are taps: no beat lies between them, and they tell the tempo where `bpm` does not.
    pub beats: Vec<Seconds>,
    /// Times at which bars begin, in any order. Bars are shifted to begin there, all of them by the same where one is told, with several each stretch by the one nearest.
    pub bars: Vec<Seconds>,
    /// Beats a minute; beats keep within a tenth of it.
    pub bpm: Option<f64>,
    /// One of [`Meter::HEARD`]; any other is passed over.
    pub meter: Option<Meter>,
}

/// Beats keep so near to a tempo that was told, as a ratio.
const TOLD: f64 = 1.1;

impl Pins {
    /// The slowest and the fastest tempo, a tenth to each side of the one that was said; `None` where none was that could be one.
    pub(crate) fn tempi(&self) -> Option<(f64, f64)> {
        self.bpm.filter(|b| b.is_finite() && *b > 1.0).map(|bpm| (bpm / TOLD, TOLD * bpm))
    }
}

/// A grid within a beat, the beat itself left out.
pub(crate) struct Grid {
    /// How many of the smallest even parts a beat has.
    pub parts: u8,
    /// Place as a fraction, log odds of an onset there, and of none.
    pub places: &'static [(f64, f64, f64)],
    /// What the grid must be better by, a beat.
    pub rare: f64,
}

pub(crate) const GRIDS: [Grid; 5] = [
    // Sixteenths, and eighths.
    Grid { parts: 4, places: &[(0.25, 2.0, -0.3), (0.5, 2.7, -0.7), (0.75, 2.2, -0.3)], rare: 0.0 },
    Grid { parts: 2, places: &[(0.5, 2.7, -0.7)], rare: 0.0 },
    // Swung eighths, from light to a triplet's.
    Grid { parts: 2, places: &[(0.6, 2.6, -0.6)], rare: 0.1 },
    Grid { parts: 2, places: &[(0.66, 2.6, -0.6)], rare: 0.1 },
    // Triplets and compound time.
    Grid { parts: 3, places: &[(1.0 / 3.0, 2.3, -0.5), (2.0 / 3.0, 2.5, -0.5)], rare: 0.8 },
];

/// Beats of a record.
pub(crate) struct Beats {
    pub times: Vec<Seconds>,
    /// Which of [`GRIDS`] fitted best.
    pub grid: usize,
    /// How sure their distances are, 0 to 1, whatever their phase: enough for a grid.
    pub spacing: f64,
    /// How sure it is that the beats are these, 0 to 1.
    pub confidence: f64,
    /// Where the bars were found together with the beats.
    pub bars: Option<Bars>,
    /// What they could be instead, the likeliest first.
    pub others: Vec<Other>,
}

/// Other beats that it could be.
pub(crate) struct Other {
    pub times: Vec<Seconds>,
    pub bars: Bars,
    /// How likely it is that the beats are these, 0 to 1.
    pub likely: f64,
    /// Some of them that set them apart from all likelier ones that go through the pins; whether their tempo is needed besides.
    pub told_by: Vec<Seconds>,
    pub tempo: bool,
}

/// Onset activity, 0 to 1 a frame, against the strongest nearby.
pub(crate) struct Activity {
    pub all: Vec<f64>,
    /// Below 180 Hz alone.
    pub low: Vec<f64>,
}

/// How much each band group counts: a scratch is as loud as a chord in the highest.
const GROUP_WEIGHTS: [f64; GROUPS] = [1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.7, 0.7];

/// From the rises of the onset stream.
pub(crate) fn activity(onsets: &[[f32; GROUPS]]) -> Activity {
    let all: Vec<f64> = onsets.iter().map(|g| (0..GROUPS).map(|i| GROUP_WEIGHTS[i] * f64::from(g[i])).sum()).collect();
    let low: Vec<f64> = onsets.iter().map(|g| f64::from(g[0]) + f64::from(g[1])).collect();
    Activity { all: against_nearby(&all), low: against_nearby(&low) }
}

/// Each value over what the strong peaks within some four seconds reach, at most 1; values that are always there are taken off first.
pub(crate) fn against_nearby(values: &[f64]) -> Vec<f64> {
    let block = (onset_rate() * 1.0) as usize;
    // The middle value and the largest of each second.
    let blocks: Vec<(f64, f64)> = values
        .chunks(block)
        .map(|c| {
            let mut sorted = c.to_vec();
            sorted.sort_by(f64::total_cmp);
            (sorted[sorted.len() * 4 / 10], sorted[sorted.len() - 1])
        })
        .collect();
    let overall = blocks.iter().fold(0.0, |m: f64, b| m.max(b.1));
    values
        .iter()
        .enumerate()
        .map(|(n, v)| {
            let at = n / block;
            let near = &blocks[at.saturating_sub(3)..(at + 4).min(blocks.len())];
            let floor = near.iter().map(|b| b.0).fold(f64::MAX, f64::min);
            let mut tops: Vec<f64> = near.iter().map(|b| b.1).collect();
            tops.sort_by(f64::total_cmp);
            let top = tops[tops.len() / 2].max(0.2 * overall);
            ((v - floor) / (0.6 * (top - floor)).max(1e-9)).clamp(0.0, 1.0)
        })
        .collect()
}

/// The beats; `None` where there are fewer than four or nothing moves.
pub(crate) fn beats(activity: &Activity, pulse: &Pulse, cues: &Cues, pins: &Pins) -> Option<Beats> {
    if !moves(activity) {
        return None;
    }
    let held = Held::new(pins, activity.all.len());
    by_choice(activity, pulse, cues, pins, &held).or_else(|| by_pulse(activity, pulse, cues, pins, &held)).or_else(|| onset_beats(activity, pins, &held))
}

/// Something moves, for two seconds at least.
pub(crate) fn moves(activity: &Activity) -> bool {
    activity.all.len() >= onset_rate() as usize * 2 && activity.all.iter().any(|a| *a > 0.0)
}

/// Beats from onset strength alone.
pub(crate) fn plain(activity: &Activity, pins: &Pins) -> Option<Beats> {
    moves(activity).then(|| onset_beats(activity, pins, &Held::new(pins, activity.all.len()))).flatten()
}

/// All readings of the network's way, that of onset strength and those that keep their tempo, as far as they go through all pins, and what each is judged by. Ways are what they would be without
/// pins, as the choice was learned on such, but for the tempo; only where no reading of theirs goes through all pins, those that are bent to do so join them.
pub(crate) fn judged(activity: &Activity, pulse: &Pulse, cues: &Cues, pins: &Pins, held: &Held) -> Vec<Judged> {
    let exact = |frames: Vec<usize>| frames.iter().map(|f| *f as f64).collect::<Vec<f64>>();
    let searched = |pins: &Pins, held: &Held| {
        let network = way(activity, pulse, pins, held).map_or(Vec::new(), |(p, _)| exact(hops(&p)));
        [network, onset_cuts(activity, pins, held).map_or(Vec::new(), |c| exact(c.1))]
    };
    let lengths = |pins: &Pins| {
        let length = |bpm: f64| 60.0 / bpm * onset_rate();
        let (slowest, fastest) = pins.tempi().unwrap_or((SLOWEST_BPM, FASTEST_BPM));
        (length(fastest), length(slowest))
    };
    let free = |pins: &Pins| -> Vec<Vec<f64>> { searched(pins, &Held::default()).into_iter().chain(steady_ways(activity, pulse, lengths(pins))).collect() };
    let judged = |ways: &[Vec<f64>], pins: &Pins| -> Vec<Judged> {
        let all = readings(ways, lengths(pins), activity.all.len());
        all.into_iter().filter(|r| held.agree(&r.frames)).map(|r| Judged::new(r, ways, pulse, cues)).collect()
    };
    // Taps tell the tempo, too.
    let tapped = Pins { bpm: pins.bpm.or(held.tapped_bpm()), ..Pins::default() };
    let ways = free(&tapped);
    let found = judged(&ways, &tapped);
    if !found.is_empty() || held.frames.is_empty() {
        return found;
    }
    let mut ways = if tapped.bpm == pins.bpm { ways } else { free(pins) };
    ways.extend(searched(pins, held));
    judged(&ways, pins)
}

/// How much the network counts in ways that keep their tempo, and what onsets and bass on a beat are worth there.
const STEADY: (f32, f64, f64) = (0.6, 2.0, 1.5);
/// How many ways keep their tempo, and how strictly: those of a click or a band, and those of somebody who plays alone. None is a reading of another.
const STEADY_WAYS: [(usize, Follows); 2] = [(3, Follows { most: 1, cost: 0.7 }), (2, Follows { most: 2, cost: 0.3 })];

/// The likeliest ways that keep their tempo, by the network and by onsets.
fn steady_ways(activity: &Activity, pulse: &Pulse, lengths: (f64, f64)) -> Vec<Vec<f64>> {
    let (all, low) = (wide(&activity.all), wide(&activity.low));
    let struck = |n: usize| all.get(n).map_or(0.0, |a| STEADY.1 * (a - 0.4) + STEADY.2 * (low[n] - 0.25)) as f32;
    let worth: Vec<f32> = pulse.beat.iter().enumerate().map(|(n, p)| STEADY.0 * beat_worth(*p) + struck(PULSE_HOPS as usize * n)).collect();
    let usual = |length: f64| usual(length.round() as usize, USUAL_BPM);
    let searched = (pulse_length(lengths.0), pulse_length(lengths.1));
    let (mut out, mut known): (Vec<Vec<f64>>, Vec<Reading>) = (Vec::new(), Vec::new());
    let mut wanted = 0;
    for (count, follows) in &STEADY_WAYS {
        wanted += count;
        for one in steady_beats(&worth, searched, follows, usual) {
            if out.len() == wanted {
                break;
            }
            let frames: Vec<f64> = one.iter().map(|f| f * PULSE_HOPS).collect();
            if !known.iter().any(|r| alike(&r.frames, &frames) > ALIKE) {
                out.push(frames);
                known = readings(&out, lengths, activity.all.len());
            }
        }
    }
    out
}

fn by_choice(activity: &Activity, pulse: &Pulse, cues: &Cues, pins: &Pins, held: &Held) -> Option<Beats> {
    let readings = judged(activity, pulse, cues, pins, held);
    let networks = Networks::new();
    let choice = choose(&networks, &readings, held)?;
    let laid = |n: usize, meter: usize| {
        let Judged { reading, cues, marks } = &readings[n];
        let cuts = held.moved(&reading.frames);
        let grid = grid_of(activity, &cuts);
        (settle(activity, &cuts, grid, held), grid, bar_path(&networks, meter, cues, marks, &held.bars_of(&reading.frames)))
    };
    let (times, grid, bars) = laid(choice.reading, choice.meter);
    // Where the network itself holds other places for as likely, the choice rests on less.
    let frames: Vec<usize> = readings[choice.reading].reading.frames.iter().map(|f| (f / PULSE_HOPS).round() as usize).collect();
    let confidence = choice.confidence * confidence(pulse, &frames).1.max(LESS_SURE);
    let others = choice.others.iter().map(|o| {
        let (times, _, bars) = laid(o.reading, o.meter);
        let (mut told, tempo) = told_by(&readings, &choice.scores, o.reading);
        told.sort_unstable();
        told.dedup();
        Other { told_by: told.iter().map(|b| times[*b]).collect(), tempo, times, bars, likely: o.likely }
    });
    Some(Beats { times, grid, spacing: choice.spacing, confidence, bars: Some(bars), others: others.collect() })
}

/// Most pins that tell a reading.
const MOST_TOLD: usize = 4;

/// Beats of a reading by which it becomes the likeliest, or if not by them alone, by them and its tempo: each is the one farthest from the likeliest reading that goes through those before. The
/// second value is whether the tempo must be told.
fn told_by(readings: &[Judged], scores: &[f32], which: usize) -> (Vec<usize>, bool) {
    let frames = |r: usize| &readings[r].reading.frames;
    let own = frames(which);
    let length = |r: usize| (frames(r)[frames(r).len() - 1] - frames(r)[0]) / (frames(r).len() - 1) as f64;
    let near = |r: &usize| libm::fabs(libm::log(length(*r) / length(which))) < libm::log(TOLD);
    let mut told = Vec::new();
    for tempo in [false, true] {
        told.clear();
        loop {
            let held = Held { frames: told.iter().map(|b: &usize| own[*b].round() as usize).collect(), ..Held::default() };
            let left = (0..readings.len()).filter(|r| (!tempo || near(r)) && held.agree(frames(*r)));
            let Some(top) = left.max_by(|a, b| scores[*a].total_cmp(&scores[*b])).map(frames) else { break };
            if !told.is_empty() && alike(own, top) > ALIKE {
                if tempo {
                    // Where the tempo is told, it is searched anew: two more hold what is found.
                    told.extend([own.len() / 8, own.len() - 1 - own.len() / 8]);
                }
                return (told, tempo);
            }
            if told.len() == MOST_TOLD {
                break;
            }
            let off = |b: &usize| top.iter().map(|o| (o - own[*b]).abs()).fold(f64::MAX, f64::min);
            // The first lies in the middle of the record.
            let mut within = if told.is_empty() { own.len() / 4..own.len() - own.len() / 4 } else { 0..own.len() };
            told.extend(within.next().map(|first| within.fold(first, |best, b| if off(&b) > off(&best) { b } else { best })));
        }
    }
    (told, true)
}

/// Frames of the onset stream.
fn hops(path: &Path) -> Vec<usize> {
    path.frames.iter().map(|f| f * PULSE_HOPS as usize).collect()
}

/// Of so many frames of the onset stream in frames of the pulse, as far as beats are searched for, whatever tempo was told.
fn pulse_length(frames: f64) -> f64 {
    (frames / PULSE_HOPS).clamp(8.0, 400.0)
}

fn pulse_lengths(pins: &Pins) -> (usize, usize) {
    let length = |bpm: f64| pulse_length(60.0 / bpm * onset_rate()).round() as usize;
    pins.tempi().map_or((SHORTEST, LONGEST), |(slowest, fastest)| (length(fastest), length(slowest)))
}

/// What a beat of so many frames of the pulse loses by an unusual tempo.
fn usual(length: usize, middle_bpm: f64) -> f32 {
    let seconds = length as f64 * PULSE_HOPS / onset_rate();
    let octaves = libm::log2(60.0 / seconds / middle_bpm);
    -UNUSUAL * (octaves * octaves * seconds) as f32
}

fn way(activity: &Activity, pulse: &Pulse, pins: &Pins, held: &Held) -> Option<(Path, Meter)> {
    // Where the teacher has spoken, the beats must go on from there, whatever the network holds of the rest.
    let (weight, change) = if held.frames.is_empty() { (1.0, CHANGE) } else { (WITH_PINS.0, WITH_PINS.1 * CHANGE) };
    let worth = Worth::new(pulse, weight, |n| held.worth(2 * n).max(held.worth(2 * n + 1)) as f32);
    let lengths = pulse_lengths(pins);
    // Two beats to the bar are 6/8 where the network or the grid says so; else they are half of 4/4.
    let dotted = |p: &Path| pulse.meters[2] > 0.5 || GRIDS[grid_of(activity, &hops(p))].parts == 3;
    likeliest(&worth, &pulse.meters, lengths, change, dotted).filter(|(path, _)| path.frames.len() >= 4)
}

fn by_pulse(activity: &Activity, pulse: &Pulse, cues: &Cues, pins: &Pins, held: &Held) -> Option<Beats> {
    let (path, _) = way(activity, pulse, pins, held)?;
    let cuts = hops(&path);
    let grid = grid_of(activity, &cuts);
    let (spacing, confidence) = confidence(pulse, &path.frames);
    // The beats stand; which of them begin bars is another question.
    let reading = Reading { frames: cuts.iter().map(|c| *c as f64).collect(), way: 0, own: true };
    let ways = [reading.frames.clone()];
    let Judged { reading, cues, marks } = Judged::new(reading, &ways, pulse, cues);
    let networks = Networks::new();
    let meter = likeliest_meter(&held.told(&reading.frames, networks.scores(&cues, &marks)));
    let bars = bar_path(&networks, meter, &cues, &marks, &held.bars_of(&reading.frames));
    Some(Beats { times: settle(activity, &cuts, grid, held), grid, spacing, confidence, bars: Some(bars), others: Vec::new() })
}

/// The best path in any meter. `dotted` says whether a path of two beats to the bar is one in compound time.
fn likeliest(worth: &Worth, meters: &[f32; METERS], lengths: (usize, usize), change: f32, dotted: impl Fn(&Path) -> bool) -> Option<(Path, Meter)> {
    let through = |beats: usize, middle_bpm: f64, rare: f32| path(worth, beats, lengths, change, |l| usual(l, middle_bpm) - rare);
    let seconds = (worth.frames() as f64 * PULSE_HOPS / onset_rate()) as f32;
    let mut ways = Vec::new();
    for (n, (beats, middle_bpm, rare, meter)) in [
        (4, USUAL_BPM, 0.0, Meter { over: 4, under: 4 }),
        (3, USUAL_BPM, RARE_THREE, Meter { over: 3, under: 4 }),
        (2, USUAL_DOTTED_BPM, RARE_COMPOUND, Meter { over: 6, under: 8 }),
    ]
    .into_iter()
    .enumerate()
    {
        let told = METER_WORTH * seconds * libm::logf(meters[n].max(0.02));
        ways.extend(through(beats, middle_bpm, rare).map(|p| (Path { score: p.score + told, ..p }, meter)));
    }
    ways.sort_by(|a, b| b.0.score.total_cmp(&a.0.score));
    ways.into_iter().find(|(p, meter)| meter.under == 4 || dotted(p))
}

/// Hops of the onset stream to a frame of the pulse.
const PULSE_HOPS: f64 = 2.0;

/// How likely the beats or the same beats moved are on the average, and how much likelier the beats are.
fn confidence(pulse: &Pulse, frames: &[usize]) -> (f64, f64) {
    let likely = |shift: f64| -> f64 {
        let each = frames.windows(2).map(|w| {
            let at = (w[0] as f64 + shift * (w[1] - w[0]) as f64).round() as usize;
            near(&pulse.beat, at)
        });
        f64::from(each.sum::<f32>()) / (frames.len() - 1).max(1) as f64
    };
    let (own, other) = (likely(0.0), SHIFTS.iter().map(|s| likely(*s)).fold(0.0, f64::max));
    ((own.max(other) / SURE).clamp(0.0, 1.0), ((own - other) / SURE).clamp(0.0, 1.0))
}

/// What a choice is worth in which the network does not prefer these beats to all others.
const LESS_SURE: f64 = 0.5;
/// Beats as likely as this, with nothing between them, are sure.
const SURE: f64 = 0.9;

/// The grid that explains most of what lies between known beats (frames of the onset stream).
fn grid_of(activity: &Activity, cuts: &[usize]) -> usize {
    let smooth = wide(&activity.all);
    let worth = |grid: &Grid| -> f64 {
        let beats = cuts.windows(2).map(|w| {
            let at = |place: f64| smooth.get((w[0] as f64 + place * (w[1] - w[0]) as f64).round() as usize).copied().unwrap_or(0.0);
            grid.places.iter().map(|(place, on, off)| odds(at(*place), (*on, *off))).sum::<f64>() - grid.rare
        });
        beats.sum()
    };
    (0..GRIDS.len()).map(|g| (g, worth(&GRIDS[g]))).fold((0, f64::MIN), |best, c| if c.1 > best.1 { c } else { best }).0
}

pub(crate) fn odds(p: f64, (on, off): (f64, f64)) -> f64 {
    p * on + (1.0 - p) * off
}

/// Pinned beats as frames of the onset stream.
#[derive(Default)]
pub(crate) struct Held {
    frames: Vec<usize>,
    /// Those of them on which bars begin.
    bars: Vec<usize>,
    /// Place of the meter that was told in [`METERS`](crate::reading_score::METERS).
    meter: Option<usize>,
    /// Frames of taps that follow each other with no beat between.
    taps: Vec<(usize, usize)>,
}

/// How near to a pin its beat lies, in frames (23 ms).
const PIN_REACH: usize = 4;
const PIN_WORTH: f64 = 60.0;
/// A reading's beat is meant by a pin as far off as hands and ears are (99 ms), and this share of a beat.
const MEANT: f64 = 17.0;
const MEANT_SHARE: f64 = 0.24;
/// Taps follow each other at distances that differ by this ratio at most.
const EVEN_TAPS: f64 = 1.25;

impl Held {
    pub fn new(pins: &Pins, frames: usize) -> Held {
        let within = |times: &[Seconds]| -> Vec<usize> {
            let mut at: Vec<usize> = times.iter().filter(|t| t.0.is_finite() && t.0 >= 0.0).map(|t| (t.0 * onset_rate()).round() as usize).filter(|f| *f < frames).collect();
            at.sort_unstable();
            at.dedup();
            at
        };
        let (at, bars) = (within(&pins.beats), within(&pins.bars));
        let slowest = 60.0 / SLOWEST_BPM * onset_rate();
        let gap = |n: usize| (at[n + 1] - at[n]) as f64;
        let even = |a: f64, b: f64| a.max(b) <= EVEN_TAPS * a.min(b) && a.max(b) <= slowest;
        let mut taps = Vec::new();
        for n in 0..at.len().saturating_sub(2) {
            if even(gap(n), gap(n + 1)) {
                taps.extend([(at[n], at[n + 1]), (at[n + 1], at[n + 2])]);
            }
        }
        taps.dedup();
        let mut all = [at, bars.clone()].concat();
        all.sort_unstable();
        all.dedup();
        Held { frames: all, bars, meter: pins.meter.and_then(|told| BAR_METERS.iter().position(|m| m.1 == told)), taps }
    }

    /// The beats on which bars begin.
    pub fn bars_of(&self, beats: &[f64]) -> Vec<usize> {
        self.bars.iter().filter_map(|f| Held::meant(beats, *f)).collect()
    }

    /// Scores of bars as far as they are what was told.
    pub fn told(&self, beats: &[f64], mut scores: Scores) -> Scores {
        let bars = self.bars_of(beats);
        for (m, (count, _)) in BAR_METERS.iter().enumerate() {
            for (first, score) in scores[m].iter_mut().enumerate() {
                if self.meter.is_some_and(|told| told != m) || !bars.is_empty() && !bars.iter().any(|b| b % count == first) {
                    *score = f32::NEG_INFINITY;
                }
            }
        }
        scores
    }

    /// Beats a minute of taps, where there are any: the middle one of their distances.
    fn tapped_bpm(&self) -> Option<f64> {
        let mut gaps: Vec<usize> = self.taps.iter().map(|(a, b)| b - a).collect();
        gaps.sort_unstable();
        gaps.get(gaps.len() / 2).map(|g| 60.0 * onset_rate() / *g as f64)
    }

    /// The beat (rising frames) that is meant by a pinned frame; `None` where none is so near.
    fn meant(beats: &[f64], frame: usize) -> Option<usize> {
        let frame = frame as f64;
        let after = beats.partition_point(|b| *b < frame);
        let off = |b: usize| (beats[b] - frame).abs();
        let nearest = (after.saturating_sub(1)..(after + 1).min(beats.len())).min_by(|a, b| off(*a).total_cmp(&off(*b)))?;
        (off(nearest) <= MEANT.min(MEANT_SHARE * length_at(beats, nearest))).then_some(nearest)
    }

    /// Whether beats go through all pins, and none lies between taps.
    pub fn agree(&self, beats: &[f64]) -> bool {
        let meant = |frame: &usize| Held::meant(beats, *frame);
        self.frames.iter().all(|f| meant(f).is_some()) && self.taps.iter().all(|(a, b)| meant(a).map(|n| n + 1) == meant(b))
    }

    /// Beats as whole frames, those that are pinned where their pins are.
    fn moved(&self, beats: &[f64]) -> Vec<usize> {
        let mut cuts: Vec<usize> = beats.iter().map(|b| b.round() as usize).collect();
        self.frames.iter().for_each(|f| if let Some(b) = Held::meant(beats, *f) { cuts[b] = *f });
        cuts
    }

    /// What a beat at this frame gains.
    pub fn worth(&self, frame: usize) -> f64 {
        let near = self.frames.partition_point(|f| f + PIN_REACH < frame);
        match self.frames.get(near) {
            Some(f) if f.abs_diff(frame) <= PIN_REACH => PIN_WORTH - f.abs_diff(frame) as f64,
            _ if self.taps.iter().any(|(a, b)| (a + PIN_REACH + 1..b.saturating_sub(PIN_REACH)).contains(&frame)) => -PIN_WORTH,
            _ => 0.0,
        }
    }
}

/// The largest value within two frames (12 ms): how exactly players meet a grid.
pub(crate) fn wide(values: &[f64]) -> Vec<f64> {
    (0..values.len()).map(|n| values[n.saturating_sub(2)..(n + 3).min(values.len())].iter().fold(0.0, |m: f64, v| m.max(*v))).collect()
}

/// How long after its onset a sound rises the most, in frames (2 ms): a single pluck at once, a strum of several strings some 4 ms after its first.
const LATE: f64 = 0.35;

/// Beats back or on from the first and the last one struck that say how far apart those are on which nothing is.
const TEMPO_FROM: usize = 8;

/// Beats moved onto the onsets near them and their grid, along a line through their neighbours. Beats before the first and after the last that is struck are where the tempo there puts
/// them: where the search has cut is by chance, and would move its neighbours too.
pub(crate) fn settle(activity: &Activity, cuts: &[usize], grid: usize, held: &Held) -> Vec<Seconds> {
    let mut at: Vec<f64> = cuts.iter().map(|c| *c as f64).collect();
    let mut seen = struck(activity, &at, grid);
    let mut beyond = vec![false; cuts.len()];
    let heard: Vec<usize> = (0..cuts.len()).filter(|b| !seen[*b].found.is_empty()).collect();
    let own: Vec<usize> = (0..cuts.len()).filter(|b| seen[*b].own).collect();
    if let (Some(first), Some(last), Some(one), Some(other)) = (heard.first(), heard.last(), own.first(), own.last()) {
        let place = |b: usize| at[b] + if seen[b].own { seen[b].found[0].0 } else { 0.0 };
        let tempo = |from: usize, to: usize| if to > from { (place(to) - place(from)) / (to - from) as f64 } else { 0.0 };
        let (begun, ended) = (own.iter().rev().find(|b| *b - one <= TEMPO_FROM), own.iter().find(|b| other - *b <= TEMPO_FROM));
        let before = (*first, place(*first), begun.map_or(0.0, |b| tempo(*one, *b)));
        let after = (*last, place(*last), ended.map_or(0.0, |b| tempo(*b, *other)));
        for (b, (from, place, step)) in (0..*first).map(|b| (b, before)).chain((last + 1..cuts.len()).map(|b| (b, after))) {
            if step > 0.0 {
                at[b] = place + (b as f64 - from as f64) * step;
                beyond[b] = true;
            }
        }
        seen = struck(activity, &at, grid);
    }
    (0..cuts.len())
        .map(|b| {
            let near = b.saturating_sub(3)..(b + 4).min(cuts.len());
            // Straight lines: through the cuts themselves, and through what the onsets add.
            let mut sums = [0.0f64; 5];
            for n in near {
                let x = n as f64 - b as f64;
                let fall = 1.0 / (1.0 + x * x / 2.0);
                for (off, trust) in &seen[n].found {
                    let y = at[n] + off;
                    let w = fall * trust;
                    for (s, v) in sums.iter_mut().zip([1.0, x, x * x, y, x * y]) {
                        *s += w * v;
                    }
                }
            }
            let [w, x, xx, y, xy] = sums;
            let det = w * xx - x * x;
            let fitted = if det > 1e-6 && !beyond[b] { (xx * y - x * xy) / det } else { at[b] };
            let fitted = at[b] + (fitted - at[b]).clamp(-6.0, 6.0);
            let frame = held.frames.iter().find(|f| f.abs_diff(cuts[b]) <= PIN_REACH).map_or(fitted - LATE, |f| *f as f64);
            Seconds((frame * ONSET_HOP as f64 / f64::from(RATE_HZ)).max(0.0))
        })
        .collect()
}

/// What is struck on a beat and on its grid.
struct Struck {
    /// How far onsets lie from their places, and how sure.
    found: Vec<(f64, f64)>,
    /// The first of them is the beat's own.
    own: bool,
}

fn struck(activity: &Activity, at: &[f64], grid: usize) -> Vec<Struck> {
    let places = GRIDS[grid].places;
    (0..at.len())
        .map(|b| {
            let length = if b + 1 < at.len() { at[b + 1] - at[b] } else { at[b] - at[b - 1] };
            let (mut found, mut own) = (Vec::new(), false);
            for place in std::iter::once(0.0).chain(places.iter().map(|p| p.0)) {
                let want = at[b] + place * length;
                if let Some((peak, height)) = peak_near(&activity.all, want, 5) {
                    own |= place == 0.0;
                    found.push((peak - want, height * if place == 0.0 { 1.0 } else { 0.3 }));
                }
            }
            Struck { found, own }
        })
        .collect()
}

/// The highest peak within `reach` frames: where, and how high.
fn peak_near(values: &[f64], want: f64, reach: usize) -> Option<(f64, f64)> {
    let middle = want.round() as usize;
    let (low, high) = (middle.saturating_sub(reach).max(1), (middle + reach).min(values.len().saturating_sub(2)));
    let at = (low..=high).filter(|n| values[*n] >= values[n - 1] && values[*n] >= values[n + 1]).max_by(|a, b| values[*a].total_cmp(&values[*b]))?;
    (values[at] > 0.15).then_some((top(values, at), values[at]))
}

/// Where between the frames a peak has its top, by a parabola. It has a frame to each side.
fn top(values: &[f64], at: usize) -> f64 {
    let (a, b, c) = (values[at - 1], values[at], values[at + 1]);
    let bend = a - 2.0 * b + c;
    at as f64 + if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}

/// The time in seconds of the onset that a peak at this frame shows.
pub(crate) fn peak_time(values: &[f64], at: usize) -> f64 {
    (top(values, at) - LATE) / onset_rate()
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// Onsets of the given heights as they stand in the stream, a few frames wide.
    pub(crate) fn played(onsets: &[(f64, f64)], seconds: f64) -> Activity {
        let mut all = vec![0.0; (seconds * onset_rate()) as usize];
        for (time, height) in onsets {
            let at = time * onset_rate();
            for n in (at as usize).saturating_sub(4)..(at as usize + 6).min(all.len()) {
                all[n] = f64::max(all[n], height * (1.0 - (n as f64 - at).abs() / 5.0));
            }
        }
        Activity { low: vec![0.0; all.len()], all }
    }

    pub(crate) fn worst(found: &[Seconds], truth: impl Fn(usize) -> f64, count: usize) -> f64 {
        (0..count).map(|b| found.iter().map(|t| (t.0 - truth(b)).abs()).fold(f64::MAX, f64::min)).fold(0.0, f64::max)
    }

    /// The beats, with no more known than onsets and pulse.
    fn found_in(activity: &Activity, pulse: &Pulse, pins: &Pins) -> Option<Beats> {
        beats(activity, pulse, &Cues::from(activity, pulse, &[], &[], crate::classes::Classes::of(&[])), pins)
    }

    /// A pulse of this likelihood on each of the times, every fourth a bar's first.
    fn beating(times: &[(f64, f32)], seconds: f64) -> Pulse {
        let frames = (seconds * onset_rate() / PULSE_HOPS) as usize;
        let mut pulse = Pulse { beat: vec![0.01; frames], down: vec![0.003; frames], meters: [1.0 / 3.0; METERS] };
        for (n, (time, likely)) in times.iter().enumerate() {
            let at = (time * onset_rate() / PULSE_HOPS).round() as usize;
            pulse.beat[at] = *likely;
            pulse.down[at] = if n % 4 == 0 { 0.8 * likely } else { 0.1 * likely };
        }
        pulse
    }

    fn every(seconds: f64, count: usize) -> Vec<f64> {
        (0..count).map(|n| 0.3 + seconds * n as f64).collect()
    }

    fn sounding(times: &[f64], seconds: f64) -> Activity {
        played(&times.iter().map(|t| (*t, 1.0)).collect::<Vec<_>>(), seconds)
    }

    /// Eighths alike, and a pulse that holds each of the two halves of the beat for as likely.
    fn open() -> (Activity, Pulse) {
        let times = every(0.3, 60);
        (sounding(&times, 18.5), beating(&times.iter().map(|t| (*t, 0.4)).collect::<Vec<_>>(), 18.5))
    }

    #[test]
    fn beats_lie_on_their_onsets_and_bars_on_their_first_beats() {
        let times = every(0.5, 40);
        let found = found_in(&sounding(&times, 20.2), &beating(&times.iter().map(|t| (*t, 0.8)).collect::<Vec<_>>(), 20.2), &Pins::default()).unwrap();
        assert_eq!(found.times.len(), 40);
        assert!(worst(&found.times, |b| times[b] - 0.002, 40) < 0.003);
        let bars = found.bars.unwrap();
        assert_eq!((bars.meter, &bars.starts[..3]), (Meter { over: 4, under: 4 }, &[0, 4, 8][..]));
        // Strokes of one kind at one pitch leave open how they are grouped.
        assert!(found.confidence > 0.2, "{}", found.confidence);
    }

    #[test]
    fn bars_and_meter_are_what_was_told() {
        let (_, activity, pulse, cues) = crate::bar_path::tests::marked(0, &(0..48).map(|n| n % 4).collect::<Vec<_>>());
        let found = |pins: &Pins| beats(&activity, &pulse, &cues, pins).unwrap();
        let free = found(&Pins::default());
        let at = free.times[free.bars.as_ref().unwrap().starts[2] + 1];
        let moved = found(&Pins { bars: vec![at], ..Pins::default() });
        let bars = moved.bars.unwrap();
        assert_eq!(bars.meter, Meter::HEARD[0]);
        assert!(bars.starts.windows(2).all(|w| w[1] - w[0] == 4) && bars.starts.iter().any(|b| (moved.times[*b].0 - at.0).abs() < 0.004), "{:?}", bars.starts);
        for meter in Meter::HEARD {
            assert_eq!(found(&Pins { meter: Some(meter), ..Pins::default() }).bars.unwrap().meter, meter);
        }
        // What is none of these is passed over.
        let odd = found(&Pins { meter: Some(Meter { over: 7, under: 8 }), bars: vec![Seconds(f64::NAN), Seconds(-1.0), Seconds(1e9)], ..Pins::default() });
        assert_eq!((odd.times, odd.bars.unwrap().starts), (free.times, free.bars.unwrap().starts));
    }

    #[test]
    fn beats_of_bars_that_are_marked_are_sure() {
        let (_, activity, pulse, cues) = crate::bar_path::tests::marked(0, &(0..48).map(|n| n % 4).collect::<Vec<_>>());
        let found = beats(&activity, &pulse, &cues, &Pins::default()).unwrap();
        assert!(found.confidence > 0.7, "{}", found.confidence);
    }

    #[test]
    fn beats_lie_where_the_sound_begins_within_three_milliseconds() {
        let rate = 44_100u32;
        let mut seed = 1u32;
        let mut dice = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(seed >> 8) / 8_388_608.0 - 1.0
        };
        let times: Vec<f64> = (0..24).map(|n| 0.4 + 0.5 * f64::from(n) + 0.000_4 * f64::from(n * n % 7)).collect();
        for noise in [false, true] {
            let mut samples = vec![0.0f32; 13 * rate as usize];
            for (n, time) in times.iter().enumerate() {
                let first = (time * f64::from(rate)).ceil() as usize;
                let hz = 110.0 * libm::exp2((n * 5 % 24) as f64 / 12.0);
                for (i, sample) in samples[first..first + rate as usize / 3].iter_mut().enumerate() {
                    let t = i as f64 / f64::from(rate);
                    let tone: f64 =
                        (1..12).map(|k| libm::sin(std::f64::consts::TAU * hz * f64::from(k) * t) / f64::from(k) * libm::exp(-t * f64::from(4 + k))).sum();
                    *sample += 0.2 * if noise { dice() * libm::exp(-t / 0.03) } else { tone } as f32;
                }
            }
            let record = wave::Buffer::from_mono(rate, samples).unwrap();
            let streams = crate::streams::streams(&mut crate::mono::Mono::new(&record).unwrap(), &|_| ());
            let known = beating(&times.iter().map(|t| (*t, 0.8)).collect::<Vec<_>>(), 13.0);
            let sound = activity(&streams.onsets);
            let found = beats(&sound, &known, &Cues::new(&streams, &sound, &known, crate::classes::Classes::new(&streams)), &Pins::default()).unwrap();
            let mut off: Vec<f64> = times.iter().map(|t| found.times.iter().map(|f| f.0 - t).min_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap()).collect();
            off.sort_by(f64::total_cmp);
            assert!(off[12].abs() < 0.003 && off[0] > -0.008 && off[23] < 0.008, "noise {noise}: {off:?}");
        }
    }

    #[test]
    fn beats_on_which_nothing_is_struck_any_more_follow_the_tempo_wherever_the_search_cut() {
        let times = every(0.577, 14);
        // On beats and between them, up to the one after the twelfth.
        let eighths: Vec<f64> = (0..24).map(|n| 0.3 + 0.577 / 2.0 * f64::from(n)).collect();
        let activity = sounding(&eighths, 9.0);
        let cuts: Vec<usize> = times.iter().map(|t| (t * onset_rate()).round() as usize).collect();
        let none = Held::new(&Pins::default(), activity.all.len());
        for off in [-4, -2, 0, 3] {
            let mut moved = cuts.clone();
            moved[12] = moved[12].saturating_add_signed(off);
            moved[13] = moved[13].saturating_add_signed(2 * off);
            let found = settle(&activity, &moved, 0, &none);
            // The stream shows onsets a little late.
            assert!(found.iter().zip(&times).all(|(f, t)| (f.0 - (t - LATE / onset_rate())).abs() < 0.002), "{off}: {found:?}");
        }
        // What comes before the first onset likewise.
        let activity = sounding(&eighths[4..], 9.0);
        let mut moved = cuts.clone();
        (moved[0], moved[1]) = (moved[0] + 5, moved[1] + 3);
        let found = settle(&activity, &moved, 0, &none);
        assert!(found.iter().zip(&times).all(|(f, t)| (f.0 - (t - LATE / onset_rate())).abs() < 0.002), "{found:?}");
        // A pin is the teacher's, struck or not.
        let pinned = Held::new(&Pins { beats: vec![Seconds(times[13] + 0.01)], ..Pins::default() }, activity.all.len());
        let found = settle(&sounding(&eighths, 9.0), &cuts, 0, &pinned);
        assert!((found[13].0 - times[13] - 0.01).abs() < 0.003);
    }

    #[test]
    fn a_phase_that_could_as_well_be_the_other_is_never_sure() {
        let (activity, pulse) = open();
        let found = found_in(&activity, &pulse, &Pins { bpm: Some(100.0), ..Pins::default() }).unwrap();
        // That the record begins on it speaks a little for it.
        assert!(found.confidence < 0.5, "{}", found.confidence);
    }

    #[test]
    fn a_pin_turns_the_beat_over_and_lies_where_it_was_put() {
        // The network would have it half a beat later.
        let (activity, mut pulse) = open();
        for n in 0..30 {
            let at = ((0.6 + 0.6 * f64::from(n)) * onset_rate() / PULSE_HOPS).round() as usize;
            pulse.beat[at] = 0.7;
        }
        for pin in [5.1, 5.4] {
            // Ten milliseconds beside the onset: the teacher is right.
            let found = found_in(&activity, &pulse, &Pins { beats: vec![Seconds(pin + 0.01)], bpm: Some(100.0), ..Pins::default() }).unwrap();
            let near = found.times.iter().map(|t| (t.0 - pin - 0.01).abs()).fold(f64::MAX, f64::min);
            assert!(near < 0.004, "{pin}: {near}");
            assert!(worst(&found.times, |b| pin + 0.6 * b as f64, 20) < 0.025);
            assert!(found.times.windows(2).all(|w| (w[1].0 - w[0].0 - 0.6).abs() < 0.07));
        }
    }

    #[test]
    fn taps_are_beats_with_none_between() {
        let (activity, pulse) = open();
        // Tapped in half the tempo that the rest is heard in.
        let taps: Vec<Seconds> = (0..4).map(|n| Seconds(6.3 + 1.2 * f64::from(n))).collect();
        let found = found_in(&activity, &pulse, &Pins { beats: taps.clone(), ..Pins::default() }).unwrap();
        let within: Vec<f64> = found.times.iter().map(|t| t.0).filter(|t| (6.2..10.0).contains(t)).collect();
        assert_eq!(within.len(), 4, "{within:?}");
        assert!(within.iter().zip(&taps).all(|(a, b)| (a - b.0).abs() < 0.004));
    }

    #[test]
    fn a_reading_goes_through_pins_or_is_none() {
        let step = 0.5 * onset_rate();
        let beats: Vec<f64> = (0..20).map(|n| 40.0 + step * f64::from(n)).collect();
        let at = |seconds: &[f64]| Held::new(&Pins { beats: seconds.iter().map(|s| Seconds(40.0 / onset_rate() + s)).collect(), ..Pins::default() }, 4_000);
        // Nearly a tenth of a second off is meant, an eighth of a second (an off-beat's half) is not.
        assert!(at(&[2.0, 5.09]).agree(&beats) && !at(&[2.0, 5.125]).agree(&beats) && !at(&[2.25]).agree(&beats));
        assert!(!at(&[11.0]).agree(&beats) && !at(&[2.0]).agree(&[]));
        // Single pins may have beats between, taps none.
        assert!(at(&[2.0, 3.0]).agree(&beats) && !at(&[2.0, 3.0, 4.0]).agree(&beats) && at(&[2.0, 2.5, 3.0]).agree(&beats));
        let moved = at(&[5.05]).moved(&beats);
        assert_eq!((moved[9], moved[11]), (beats[9].round() as usize, beats[11].round() as usize));
        assert!((moved[10] as f64 - beats[10] - 0.05 * onset_rate()).abs() <= 1.0);
    }

    #[test]
    fn what_the_beats_could_be_instead_is_had_by_what_tells_it() {
        // Each half of the beat is as likely: the other half is named, and comes when it is asked for.
        let (activity, pulse) = open();
        let found = found_in(&activity, &pulse, &Pins::default()).unwrap();
        assert!(!found.others.is_empty() && found.others.len() <= 3);
        let frames = |times: &[Seconds]| times.iter().map(|t| t.0 * onset_rate()).collect::<Vec<f64>>();
        let mut known = vec![frames(&found.times)];
        for o in &found.others {
            assert!((0.02..=1.0).contains(&o.likely) && (1..=4).contains(&o.told_by.len()));
            assert!(known.iter().all(|k| alike(k, &frames(&o.times)) <= 0.81));
            known.push(frames(&o.times));
        }
        let other = &found.others[0];
        let bpm = (other.times.len() - 1) as f64 * 60.0 / (other.times[other.times.len() - 1].0 - other.times[0].0);
        let asked = found_in(&activity, &pulse, &Pins { beats: other.told_by.clone(), bpm: other.tempo.then_some(bpm), ..Pins::default() }).unwrap();
        assert!(alike(&frames(&asked.times), &frames(&other.times)) > 0.9);
        // All of its beats as pins are it.
        let asked = found_in(&activity, &pulse, &Pins { beats: other.times.clone(), ..Pins::default() }).unwrap();
        assert!(asked.times.iter().zip(&other.times).all(|(a, b)| (a.0 - b.0).abs() < 0.004), "{:?}", asked.times);
        assert_eq!(asked.times.len(), other.times.len());
    }

    #[test]
    fn senseless_pins_are_passed_over() {
        let (activity, pulse) = open();
        let odd = Pins { beats: vec![Seconds(f64::NAN), Seconds(-3.0), Seconds(1e12)], bpm: Some(f64::NAN), ..Pins::default() };
        assert_eq!(found_in(&activity, &pulse, &odd).unwrap().times, found_in(&activity, &pulse, &Pins::default()).unwrap().times);
        for bpm in [1e-300, 1e300, -5.0, 2.0, 5_000.0] {
            found_in(&activity, &pulse, &Pins { beats: vec![Seconds(1.0), Seconds(1.0), Seconds(1.001)], bpm: Some(bpm), ..Pins::default() });
        }
    }

    #[test]
    fn silence_and_a_moment_have_no_beat() {
        assert!(found_in(&played(&[], 10.0), &beating(&[], 10.0), &Pins::default()).is_none());
        assert!(found_in(&played(&[(0.2, 1.0)], 1.0), &beating(&[(0.2, 0.5)], 1.0), &Pins::default()).is_none());
    }
}
