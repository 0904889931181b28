//! Chords over time, from scores of stretches: Harte labels with bass, confidence and second guesses.
//!
//! # Method
//! The record is cut into half beats. Every run of 1 to 16 of them is scored as one chord (see [`chord_scorer`](crate::chord_scorer)); the best way to
//! fill the record with runs (Viterbi over runs of explicit length, a semi-Markov chain) pays for each beginning, least on a bar's first beat. A chord is
//! so judged by all that sounds in it, not beat by beat. Neighbours alike are joined and scored once more as a whole, then
//! each is named in the light of the others: roots like to fall a fifth, and what is at home in the key is likelier (common practice, not learned). What
//! sounds may also be what a larger chord leaves without its root. The key is read from the chords as they are before its light falls on them.
//!
//! # Constants
//! Tuned on renders of GuitarSet's comping annotations of players 00 and 01 (`training/chords/tune.py`); what the key counts and what a missing root costs
//! also on such without their roots or their two lowest strings.

use crate::chord_scorer::{CHORDS, KINDS, Pool, Scorer, Scores};
use crate::degrees::{self, FAMILIES, Family, Step, at_home};
use crate::hearing::ChordHeard;
use pitch::{Degree, Key, PitchClass, Symbol};
use wave::Seconds;

/// Lengths of runs, in half beats.
const RUNS: [usize; 8] = [1, 2, 3, 4, 6, 8, 12, 16];
/// What a chord's beginning costs by its place.
const BEGIN: [f64; 4] = [1.5, 2.4, 3.6, 6.0];
/// How much the bass counts beside the chord.
const BASS_WORTH: f32 = 0.3;
/// What a bass other than the root must be likelier by to be the bass, and what it costs the chord.
const INVERSION: f32 = 1.0;
const INVERTED: f32 = 2.0;
/// A run counts by its length in half seconds to this power: what sounds within one chord is not independent.
const POWER: f64 = 0.7;
/// What a second of silence within a chord costs.
const SILENCE_COST: f64 = 2.0;
/// What it is worth that a root falls a fifth, and that it does so from a dominant seventh. Set by hand.
const FALL: f64 = 0.8;
const DOMINANT: f64 = 0.6;
/// What it is worth, in the unit of the scores, to be at home in the key (`degrees`).
const AT_HOME: f64 = 1.0;
/// Scores are that much too sure of themselves for reading a key from all that is likely.
const DOUBT: f64 = 2.0;
/// The family of each kind.
const OF_KIND: [Family; KINDS.len()] = {
    let mut out = [Family::Open; KINDS.len()];
    let mut k = 0;
    while k < KINDS.len() {
        out[k] = Family::of(KINDS[k].tones);
        k += 1;
    }
    out
};
/// What it costs a chord's name that its root does not sound: what is left of it is heard, and may as well be itself.
const ROOTLESS: f64 = 3.0;
/// The same for the key, which has no use for the name: a guitar leaves roots to a bass, heard or not, and which reading is meant the rest of the record tells.
const ROOTLESS_FOR_KEY: f64 = 0.0;
/// Below every score.
const IMPOSSIBLE: f64 = -1e6;
/// How many second guesses are given.
const GUESSES: usize = 3;

/// Where in the bar a half beat begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Place {
    First = 0,
    Middle = 1,
    Beat = 2,
    Half = 3,
}

/// A half beat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Unit {
    pub start: Seconds,
    pub end: Seconds,
    pub place: Place,
}

/// A chord and its bass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sign {
    None,
    /// The chord's number among the scores; the bass as a class.
    Chord { chord: usize, bass: usize },
}

/// Chords found, before they have names.
pub(crate) struct Found(Vec<Run>);

struct Run {
    start: Seconds,
    end: Seconds,
    /// Of every chord by all its tones, and last of none.
    scores: Vec<f64>,
    /// What the bass of every chord is, should it be that.
    basses: Vec<usize>,
}

impl Found {
    /// Over the units, which follow each other without gaps. Empty without units.
    pub fn new(scorer: &Scorer, pool: &Pool, units: &[Unit]) -> Found {
        let mut runs = best_runs(scorer, pool, units);
        // Neighbours alike are one chord.
        runs.dedup_by(|next, before| {
            let same = next.2 == before.2;
            if same {
                before.1 = next.1;
            }
            same
        });
        let run = |(from, to, sign): &(usize, usize, Sign)| {
            let (start, end) = (units[*from].start, units[to - 1].end);
            let scores = scorer.scores(pool, start, end);
            Run { start, end, basses: (0..CHORDS).map(|c| bass_of(&scores, c).0).collect(), scores: all_of(&scores, *sign) }
        };
        Found(runs.iter().map(run).collect())
    }

    /// How likely each root and family is over each run, from which the key is read.
    pub fn steps(&self) -> Vec<Step> {
        let own = self.or_rootless(ROOTLESS_FOR_KEY);
        let step = |(run, among): (&Run, Vec<f64>)| {
            let best = among.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let odds: Vec<f64> = among.iter().map(|a| libm::exp((a - best) / DOUBT)).collect();
            let total: f64 = odds.iter().sum();
            let mut likely = [[0.0; FAMILIES]; 12];
            for (c, odds) in odds[..CHORDS].iter().enumerate() {
                likely[c / KINDS.len()][OF_KIND[c % KINDS.len()] as usize] += odds / total;
            }
            Step { start_s: run.start.0, end_s: run.end.0, likely }
        };
        // Silence is no step.
        let sounds = |s: &Step| s.likely.iter().flatten().sum::<f64>() > 0.5;
        self.0.iter().zip(in_context(&own)).map(step).filter(sounds).collect()
    }

    /// The scores of each run's chords, their roots sounding or not.
    fn or_rootless(&self, cost: f64) -> Vec<Vec<f64>> {
        let left = left();
        self.0.iter().map(|r| or_rootless(&r.scores, &left, cost)).collect()
    }

    /// By name. What is at home in the key is likelier; the key also spells them.
    pub fn named(&self, key: Option<Key>) -> Vec<ChordHeard> {
        let home = |c: usize| key.map(degrees::number).map_or(0.0, |k| AT_HOME * at_home(k, c / KINDS.len(), OF_KIND[c % KINDS.len()]));
        let lit = |(c, score): (usize, &f64)| if c < CHORDS { score + home(c) } else { *score };
        let own: Vec<Vec<f64>> = self.or_rootless(ROOTLESS).iter().map(|scores| scores.iter().enumerate().map(lit).collect()).collect();
        let mut out: Vec<ChordHeard> = Vec::new();
        for (run, among) in self.0.iter().zip(in_context(&own)) {
            let name = |at: usize| label(if at < CHORDS { Sign::Chord { chord: at, bass: run.basses[at] } } else { Sign::None }, key);
            let mut order: Vec<usize> = (0..=CHORDS).filter(|c| run.scores[*c] > IMPOSSIBLE).collect();
            order.sort_by(|a, b| among[*b].total_cmp(&among[*a]).then(a.cmp(b)));
            let best = order[0];
            let total: f64 = order.iter().map(|c| libm::exp(among[*c] - among[best])).sum();
            let also = order.iter().skip(1).take(GUESSES).map(|c| name(*c)).collect();
            let next = ChordHeard { start: run.start, end: run.end, harte: name(best), confidence: 1.0 / total, also };
            match out.last_mut() {
                // In context neighbours can come out alike.
                Some(last) if last.harte == next.harte => {
                    last.end = run.end;
                    last.confidence = last.confidence.max(next.confidence);
                }
                _ => out.push(next),
            }
        }
        out
    }
}

/// The score of every chord over a stretch, and of none; where none was found, none alone is possible.
fn all_of(scores: &Scores, sign: Sign) -> Vec<f64> {
    if sign == Sign::None {
        return (0..=CHORDS).map(|c| if c == CHORDS { 0.0 } else { 2.0 * IMPOSSIBLE }).collect();
    }
    (0..CHORDS).map(|c| f64::from(scores.chords[c] + BASS_WORTH * bass_of(scores, c).1)).chain([f64::from(scores.none)]).collect()
}

/// What is left of each kind without its root: how far over it, and which kind; `None` where that is no kind.
fn left() -> [Option<(usize, usize)>; KINDS.len()] {
    std::array::from_fn(|k| {
        let upper = &KINDS[k].tones[1..];
        // Its lowest tone is the third.
        [3, 4].into_iter().find_map(|up| KINDS.iter().position(|of| of.tones.len() == upper.len() && of.tones.iter().all(|t| upper.contains(&((t + up) % 12)))).map(|of| (up, of)))
    })
}

/// The scores of a run's chords, which may also have left their roots to a bass that is not there: what is left of them is then heard as a chord of its own.
fn or_rootless(own: &[f64], left: &[Option<(usize, usize)>; KINDS.len()], cost: f64) -> Vec<f64> {
    let with = |c: usize| {
        let (root, kind) = (c / KINDS.len(), c % KINDS.len());
        left[kind].map_or(own[c], |(up, of)| sum_of(own[c], own[(root + up) % 12 * KINDS.len() + of] - cost))
    };
    (0..CHORDS).map(with).chain([own[CHORDS]]).collect()
}

/// The logarithm of the sum of two numbers given by theirs.
fn sum_of(a: f64, b: f64) -> f64 {
    a.max(b) + libm::log1p(libm::exp(-(a - b).abs()))
}

/// For each stretch and chord the sum of the best way through all stretches that passes there: a root likes to fall a fifth, from a dominant seventh more
/// so, as in `pitch::harmony`. Nothing else is known of what follows what.
fn in_context(own: &[impl AsRef<[f64]>]) -> Vec<Vec<f64>> {
    let own: Vec<&[f64]> = own.iter().map(AsRef::as_ref).collect();
    let bonus = |from: usize| FALL + if KINDS[from % KINDS.len()].tones.starts_with(&[0, 4, 7, 10]) { DOMINANT } else { 0.0 };
    let most = |values: &mut dyn Iterator<Item = f64>| values.fold(f64::NEG_INFINITY, f64::max);
    let on = |root: usize| root * KINDS.len()..(root + 1) * KINDS.len();
    let mut ahead: Vec<Vec<f64>> = own.iter().map(|o| o.to_vec()).collect();
    for i in 1..own.len() {
        let last = ahead[i - 1].clone();
        let any = most(&mut last.iter().copied());
        let falls: Vec<f64> = (0..12).map(|to| most(&mut on((to + 7) % 12).map(|from| last[from] + bonus(from)))).collect();
        for (to, score) in ahead[i].iter_mut().enumerate() {
            *score += if to < CHORDS { any.max(falls[to / KINDS.len()]) } else { any };
        }
    }
    let mut behind = vec![0.0; CHORDS + 1];
    let mut out = ahead.clone();
    for i in (0..own.len()).rev() {
        for (sum, b) in out[i].iter_mut().zip(&behind) {
            *sum += b;
        }
        let next: Vec<f64> = own[i].iter().zip(&behind).map(|(o, b)| o + b).collect();
        let any = most(&mut next.iter().copied());
        let reached: Vec<f64> = (0..12).map(|to| most(&mut next[on(to)].iter().copied())).collect();
        for (from, score) in behind.iter_mut().enumerate() {
            *score = if from < CHORDS { any.max(bonus(from) + reached[(from / KINDS.len() + 5) % 12]) } else { any };
        }
    }
    out
}

/// The best way to fill the units with runs: first unit, the one after the last, what it is.
fn best_runs(scorer: &Scorer, pool: &Pool, units: &[Unit]) -> Vec<(usize, usize, Sign)> {
    // For each place between units the best score up to it, and the run that ends there.
    let mut best: Vec<(f64, usize, Sign)> = vec![(f64::NEG_INFINITY, 0, Sign::None); units.len() + 1];
    best[0].0 = 0.0;
    // Silent seconds up to each unit.
    let mut silent = vec![0.0];
    for u in units {
        let here = if pool.is_silent(u.start, u.end) { u.end.0 - u.start.0 } else { 0.0 };
        silent.push(silent[silent.len() - 1] + here);
    }
    for from in 0..units.len() {
        let before = best[from].0 - if from == 0 { 0.0 } else { BEGIN[units[from].place as usize] };
        for length in RUNS.into_iter().filter(|l| from + l <= units.len()) {
            let (start, end) = (units[from].start, units[from + length - 1].end);
            let quiet = silent[from + length] - silent[from];
            let (sign, score) = if quiet > 0.9 * (end.0 - start.0) { (Sign::None, 0.0) } else { top(&scorer.scores(pool, start, end)) };
            let quiet = if sign == Sign::None { 0.0 } else { quiet };
            let reached = before - SILENCE_COST * quiet + libm::pow((end.0 - start.0) / 0.5, POWER) * f64::from(score);
            if reached > best[from + length].0 {
                best[from + length] = (reached, from, sign);
            }
        }
    }
    let mut out = Vec::new();
    let mut to = units.len();
    while to > 0 {
        let (_, from, sign) = best[to];
        out.push((from, to, sign));
        to = from;
    }
    out.reverse();
    out
}

/// The best sign and its score.
fn top(scores: &Scores) -> (Sign, f32) {
    let mut best = (Sign::None, scores.none);
    for chord in 0..CHORDS {
        // The bass adds at most nothing.
        if scores.chords[chord] > best.1 {
            let (bass, worth) = bass_of(scores, chord);
            let score = scores.chords[chord] + BASS_WORTH * worth;
            if score > best.1 {
                best = (Sign::Chord { chord, bass }, score);
            }
        }
    }
    best
}

/// The likeliest bass among the tones of a chord, and its score.
fn bass_of(scores: &Scores, chord: usize) -> (usize, f32) {
    let root = chord / KINDS.len();
    let cost = |c: usize, inverted: f32| if c == root { 0.0 } else { inverted };
    let tones = KINDS[chord % KINDS.len()].tones.iter().map(|t| (root + t) % 12);
    let best = tones.fold(root, |best, c| if scores.bass[c] - cost(c, INVERSION) > scores.bass[best] - cost(best, INVERSION) { c } else { best });
    (best, scores.bass[best] - cost(best, INVERTED))
}

fn label(sign: Sign, key: Option<Key>) -> String {
    let Sign::Chord { chord, bass } = sign else { return "N".to_owned() };
    let class = PitchClass((chord / KINDS.len()) as u8);
    let root = key.unwrap_or(Key::PLAIN).spell_class(class);
    let degrees: Vec<Degree> = KINDS[chord % KINDS.len()].degrees.iter().filter_map(|d| Degree::parse(d)).collect();
    let bass = degrees.iter().find(|d| d.class(class) == PitchClass(bass as u8)).map(|d| d.spell(root));
    Symbol::new(root, degrees, bass).harte().unwrap_or_else(|| "N".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    const C: usize = 0;

    /// A chord's number, by its root and its tones over it.
    fn chord(root: usize, tones: &[usize]) -> usize {
        root * KINDS.len() + KINDS.iter().position(|k| k.tones == tones).unwrap()
    }

    #[test]
    fn what_is_left_of_a_chord_without_its_root() {
        // common practice: Cmaj7 leaves Em, C9 E half-diminished, Cmaj9 Em7, C7 E diminished, Cm7 Eb, Cm9 Ebmaj7, C half-diminished Ebm, Cm(maj7) Eb augmented.
        for (whole, root, part) in [
            (&[0, 4, 7, 11][..], 4, &[0, 3, 7][..]),
            (&[0, 4, 7, 10, 2], 4, &[0, 3, 6, 10]),
            (&[0, 4, 7, 11, 2], 4, &[0, 3, 7, 10]),
            (&[0, 4, 7, 10], 4, &[0, 3, 6]),
            (&[0, 3, 7, 10], 3, &[0, 4, 7]),
            (&[0, 3, 7, 10, 2], 3, &[0, 4, 7, 11]),
            (&[0, 3, 6, 10], 3, &[0, 3, 7]),
            (&[0, 3, 7, 11], 3, &[0, 4, 8]),
        ] {
            let mut own = vec![-20.0; CHORDS + 1];
            own[chord(root, part)] = -1.0;
            let with = or_rootless(&own, &left(), ROOTLESS);
            assert!((with[chord(C, whole)] - (-1.0 - ROOTLESS)).abs() < 1e-6, "{whole:?}: {}", with[chord(C, whole)]);
            // It stays likelier itself, and nothing else changes but what leaves it, too.
            assert_eq!(with[chord(root, part)].max(with[chord(C, whole)]), with[chord(root, part)]);
            assert!(with.iter().zip(&own).filter(|(a, b)| *a - *b > 1.0).count() <= 2, "{whole:?}");
        }
        // A triad leaves two tones, which are no kind; neither is anything left of silence.
        assert_eq!(left()[KINDS.iter().position(|k| k.tones == [0, 4, 7]).unwrap()], None);
        let mut none = vec![2.0 * IMPOSSIBLE; CHORDS + 1];
        none[CHORDS] = 0.0;
        let with = or_rootless(&none, &left(), ROOTLESS);
        assert!(with[..CHORDS].iter().all(|s| *s <= IMPOSSIBLE) && with[CHORDS] == 0.0);
    }

    #[test]
    fn a_key_is_read_from_chords_whose_roots_nobody_plays() {
        // A blues in C on ninths, its roots left out: E, A and B half-diminished, and as little of anything else.
        let (i, iv, v) = (4, 9, 11);
        let run = |(n, root): (usize, &usize)| {
            let mut scores = vec![-9.0; CHORDS + 1];
            scores[chord(*root, &[0, 3, 6, 10])] = -0.1;
            Run { start: Seconds(2.0 * n as f64), end: Seconds(2.0 * n as f64 + 2.0), scores, basses: vec![0; CHORDS] }
        };
        let found = Found([i, iv, i, v, iv, i].iter().enumerate().map(run).collect());
        let steps = found.steps();
        let fit = degrees::keys(&steps, &steps);
        assert_eq!((0..24).fold(0, |b, k| if fit[k] > fit[b] { k } else { b }), C);
        // A name is that of what is heard.
        assert_eq!(found.named(None)[0].harte, "E:hdim7");
    }
}
