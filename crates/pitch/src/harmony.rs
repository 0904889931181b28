//! Harmony over time: names for stretches of a passage, from all notes that sound in them and from the stretches around.
//!
//! # Conventions
//! Times are in any one unit; [`Timing`] says what is short in it. A stretch runs from `from` up to `to`. What sounds is all parts together.
//!
//! # Method
//! A grip is a set of notes; a stretch of playing is not: some notes ring on from before, some only pass by, the lowest string comes and
//! goes. So each stretch is first weighed (`evidence`): each class by how long it sounds, the bass by how long it is the lowest, by the
//! first strike and by register; notes that ring on from before count a fifth. Each of 12 roots with each of 15 cores (third, fifth, seventh)
//! then gets marks for what it explains and what it does not, and the marks a sum. The weights of the sum were tuned (`weights`).
//!
//! Two things bind the stretches, neither of them learned: a root likes to fall a fifth, from a dominant seventh more so; and where the passage comes
//! back after some stretches, those that sound alike also speak for each other. The best way through decides, and each core's rank is the best way
//! that goes through it (max-marginals, no sampling, so the same answer each time).
//!
//! For each root the best core is then written out as a name: core, and those other notes that have a tenth of the sound. `names` gives its
//! spelling and reasons.
//!
//! # References
//! Weighed pitch classes against chord patterns, and passing through the best sequence: usual since T. Fujishima, ICMC 1999, and A. Sheh and
//! D. Ellis, ISMIR 2003. Speaking for each other where a passage comes back: M. Mauch, K. Noland and S. Dixon, ISMIR 2009. The marks are our own.
//! Roots that fall a fifth are common practice.

mod evidence;
mod weights;

use crate::names::{Stretched, WEAK};
use crate::{Classes, Context, Key, Midi, Name, Naming, PitchClass, Symbol};
pub use evidence::{CORES, Core, MARKS};
use evidence::{Evidence, marks};
use std::collections::BTreeMap;

/// A note and when it sounds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    pub midi: Midi,
    pub from: f64,
    pub to: f64,
    /// Played by a bass part: where one sounds, it alone is the bass.
    pub bass: bool,
}

/// A stretch of time to be named.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    pub from: f64,
    pub to: f64,
}

/// What is short in the unit of time that is used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timing {
    /// Notes struck that little before a stretch belong to it.
    pub early: f64,
    /// Notes struck within it are struck together.
    pub together: f64,
}

impl Timing {
    /// Times in seconds, played by hand.
    pub const SECONDS: Timing = Timing { early: 0.08, together: 0.06 };
    /// Times in quarter notes, as written.
    pub const QUARTERS: Timing = Timing { early: 0.01, together: 0.12 };
}

/// What a stretch holds and what it can be called.
#[derive(Clone, Debug, PartialEq)]
pub struct Harmony {
    /// Best first, one name a root; `degrees` and `spelled` are those of `notes`.
    pub naming: Naming,
    /// Pitches that belong to the harmony, low to high.
    pub notes: Vec<Midi>,
    /// Pitches that only pass by, low to high.
    pub passing: Vec<Midi>,
    /// The class that is the bass for most of the time; `None` where nothing sounds.
    pub bass: Option<PitchClass>,
}

/// Part of the sound below which a note passes by, if the core has no place for it.
const PASSING: f64 = 0.1;
/// Without a bass part the lowest note comes and goes; from this part of the time on it is written after a slash.
const SLASH: f64 = 0.6;
/// Root falls a fifth; and that chord has a major third and minor seventh. Set by hand, in the unit of the sum of marks (natural logarithm of odds).
const FALL: f64 = 1.4;
const DOMINANT: f64 = 1.0;
/// How much stretches speak for each other where the passage comes back.
const AGAIN: f64 = 0.5;
/// How many rounds before and after are listened to.
const ROUNDS: usize = 8;
/// A passage comes back when its stretches are that much alike on average (cosine of their weighed classes) ...
const BACK: f64 = 0.7;
/// ... and two of them speak for each other when they are at least so much alike.
const ALIKE: f64 = 0.5;
/// Names that far behind the best are not shown; nor are weak ones after three others.
const SPREAD: f64 = 10.0;
/// How many names are shown.
const MOST: usize = 8;
/// Stretches that are named, at most; a lesson has far fewer.
const LIMIT: usize = 20_000;

/// Names every stretch of a passage; one answer a stretch, in order. Stretches are taken in the order given, which should be that of time.
///
/// A stretch where nothing sounds has no name and says so. Notes with times that are no numbers, or that end before they begin, are
/// passed over. More than 20,000 stretches: those beyond it are not named.
///
/// ```
/// use pitch::{Held, Key, Midi, Stretch, Timing, harmony};
/// let note = |midi, from, to| Held { midi: Midi(midi), from, to, bass: midi < 40 };
/// // D F A C over D, with an E that passes by; then B F G over G; then C E G: D minor seventh, G seventh, C.
/// let notes = [
///     note(38, 0.0, 4.0), note(53, 0.0, 4.0), note(57, 0.0, 4.0), note(60, 0.0, 3.5), note(64, 3.5, 4.0),
///     note(31, 4.0, 8.0), note(59, 4.0, 8.0), note(53, 4.0, 8.0),
///     note(36, 8.0, 12.0), note(52, 8.0, 12.0), note(55, 8.0, 12.0),
/// ];
/// let bars = [0.0, 4.0, 8.0].map(|from| Stretch { from, to: from + 4.0 });
/// let found = harmony(&notes, &bars, Key::parse("C").ok(), Timing::QUARTERS);
/// let first: Vec<String> = found.iter().map(|h| h.naming.names[0].symbol.to_string()).collect();
/// assert_eq!(first, ["Dm7", "G7", "C"]);
/// assert_eq!(found[0].passing, [Midi(64)]);
/// ```
pub fn harmony(notes: &[Held], stretches: &[Stretch], key: Option<Key>, timing: Timing) -> Vec<Harmony> {
    let stretches = &stretches[..stretches.len().min(LIMIT)];
    let heard = evidence(notes, stretches, timing);
    let alone: Vec<Scores> = heard.iter().map(|e| scores(e, key)).collect();
    let ranked = through(&again(&alone.iter().collect::<Vec<_>>(), &heard.iter().collect::<Vec<_>>(), stretches));
    let mut out: Vec<Harmony> = Vec::with_capacity(heard.len());
    // The best roots first, so that each stretch knows its neighbours' names.
    let best: Vec<Option<Symbol>> = (0..heard.len()).map(|i| write_out(&heard[i], &ranked[i], key, None, None, 1).naming.names.first().map(|n| n.symbol.clone())).collect();
    for i in 0..heard.len() {
        let before = if i > 0 { best[i - 1].clone() } else { None };
        out.push(write_out(&heard[i], &ranked[i], key, before, best.get(i + 1).cloned().flatten(), MOST));
    }
    out
}

/// What is kept of stretches from one naming of a passage to the next ([`first_names`]), so that what sounds as it did is not weighed again.
#[derive(Default)]
pub struct Weighed {
    key: Option<Key>,
    timing: Option<Timing>,
    /// By the stretch and what sounds in it, as bits.
    list: BTreeMap<Vec<u64>, Box<Known>>,
}

struct Known {
    evidence: Evidence,
    alone: Scores,
    /// The first name as found last, without neighbours and with them.
    last: [Option<(Wanted, First)>; 2],
}

/// What a first name hangs on besides the evidence: the best root, its cores from the best down, the names before and after.
#[derive(PartialEq)]
struct Wanted {
    root: usize,
    cores: Vec<usize>,
    before: Option<Symbol>,
    after: Option<Symbol>,
}

/// The first name of a stretch.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct First {
    /// `None` where nothing sounds or nothing explains what does.
    pub symbol: Option<Symbol>,
    /// How many classes of pitch belong to the harmony.
    pub classes: usize,
}

/// The first name that [`harmony()`] would give each stretch, without reasons and other names. `kept` is from the last time; what was not asked for again is let go.
pub fn first_names(notes: &[Held], stretches: &[Stretch], key: Option<Key>, timing: Timing, kept: &mut Weighed) -> Vec<First> {
    let stretches = &stretches[..stretches.len().min(LIMIT)];
    if kept.key != key || kept.timing != Some(timing) {
        *kept = Weighed { key, timing: Some(timing), ..Weighed::default() };
    }
    let notes = in_order(notes);
    let longest = longest(&notes);
    let mut places: Vec<Vec<u64>> = Vec::with_capacity(stretches.len());
    let mut known: Vec<Box<Known>> = Vec::with_capacity(stretches.len());
    for s in stretches {
        let near = near(&notes, longest, s);
        let mut place = vec![s.from.to_bits(), s.to.to_bits()];
        for n in near.iter().filter(|n| n.from < s.to && s.from < n.to) {
            place.extend([u64::from(n.midi.0) << 1 | u64::from(n.bass), n.from.to_bits(), n.to.to_bits()]);
        }
        let one = kept.list.remove(&place).unwrap_or_else(|| {
            let evidence = Evidence::of(near, *s, timing);
            Box::new(Known { alone: scores(&evidence, key), evidence, last: [None, None] })
        });
        places.push(place);
        known.push(one);
    }
    let heard: Vec<&Evidence> = known.iter().map(|k| &k.evidence).collect();
    let alone: Vec<&Scores> = known.iter().map(|k| &k.alone).collect();
    let ranked = through(&again(&alone, &heard, stretches));
    let best: Vec<Option<Symbol>> = known.iter_mut().zip(&ranked).map(|(k, r)| k.first(0, r, key, None, None).symbol).collect();
    let out = (0..known.len())
        .map(|i| {
            let before = if i > 0 { best[i - 1].clone() } else { None };
            known[i].first(1, &ranked[i], key, before, best.get(i + 1).cloned().flatten())
        })
        .collect();
    kept.list = places.into_iter().zip(known).collect();
    out
}

impl Known {
    fn first(&mut self, which: usize, ranked: &Scores, key: Option<Key>, before: Option<Symbol>, after: Option<Symbol>) -> First {
        let score = |root: usize| ranked[root].iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let root = (1..12).fold(0, |b, r| if score(r).total_cmp(&score(b)).is_gt() { r } else { b });
        let wanted = Wanted { root, cores: best_down(&ranked[root]), before, after };
        if let Some((w, first)) = &self.last[which]
            && *w == wanted
        {
            return first.clone();
        }
        let found = write_out(&self.evidence, ranked, key, wanted.before.clone(), wanted.after.clone(), 1);
        let classes: Classes = found.notes.iter().map(|n| n.class()).collect();
        let first = First { symbol: found.naming.names.into_iter().next().map(|n| n.symbol), classes: classes.len() };
        // A name on another root hangs on the rest of the ranking, too.
        let own = first.symbol.as_ref().is_some_and(|s| usize::from(s.root.class().0) == root);
        self.last[which] = own.then(|| (wanted, first.clone()));
        first
    }
}

/// Cores from the best down.
fn best_down(row: &[f64; CORES.len()]) -> Vec<usize> {
    let mut cores: Vec<usize> = (0..CORES.len()).collect();
    cores.sort_by(|a, b| row[*b].total_cmp(&row[*a]));
    cores
}

/// The marks of every root and core of every stretch, for tuning: stretch by stretch, root by root from C, core by core.
pub fn all_marks(notes: &[Held], stretches: &[Stretch], key: Option<Key>, timing: Timing) -> Vec<[f64; MARKS]> {
    let mut out = Vec::with_capacity(stretches.len() * 12 * CORES.len());
    for e in evidence(notes, stretches, timing) {
        out.extend(marks_of(&e, key).into_iter().flatten());
    }
    out
}

/// Each stretch's own notes, weighed.
fn evidence(notes: &[Held], stretches: &[Stretch], timing: Timing) -> Vec<Evidence> {
    let notes = in_order(notes);
    let longest = longest(&notes);
    stretches.iter().map(|s| Evidence::of(near(&notes, longest, s), *s, timing)).collect()
}

/// Notes with times in order of time, so that a stretch need not look at all of them.
fn in_order(notes: &[Held]) -> Vec<Held> {
    let mut notes: Vec<Held> = notes.iter().copied().filter(|n| n.from.is_finite() && n.to.is_finite() && n.from < n.to && n.midi.0 < 128).collect();
    notes.sort_by(|a, b| a.from.total_cmp(&b.from));
    notes
}

fn longest(notes: &[Held]) -> f64 {
    notes.iter().map(|n| n.to - n.from).fold(0.0, f64::max)
}

/// Those that may sound in a stretch.
fn near<'a>(notes: &'a [Held], longest: f64, s: &Stretch) -> &'a [Held] {
    let begun = notes.partition_point(|n| n.from + longest < s.from);
    let end = notes.partition_point(|n| n.from < s.to);
    &notes[begun.min(end)..end]
}

/// For each root and core.
type Scores = [[f64; CORES.len()]; 12];

fn scores(e: &Evidence, key: Option<Key>) -> Scores {
    marks_of(e, key).map(|row| row.map(|marks| marks.iter().zip(&weights::WEIGHTS).map(|(m, w)| m * w).sum()))
}

fn marks_of(e: &Evidence, key: Option<Key>) -> [[[f64; MARKS]; CORES.len()]; 12] {
    let strange = strangeness(e, key);
    let steps = key.map(crate::names::steps);
    std::array::from_fn(|root| std::array::from_fn(|core| marks(e, root, core, steps, strange[root][core])))
}

/// Points against the plainest name of each root and core for what is loud, in tens, five where there is none: what the namer of grips thinks of it.
fn strangeness(e: &Evidence, key: Option<Key>) -> Scores {
    const NONE: i32 = 50;
    let Some(lowest) = e.bass() else { return [[0.0; CORES.len()]; 12] };
    let context = Context { bass: e.bass_part(), key, ..Context::default() };
    let loud = loud(e);
    std::array::from_fn(|root| {
        let root = PitchClass(root as u8);
        let asked = Stretched { notes: &[], must: loud, bass: bass_under(root, e, lowest), context: &context };
        asked.points_on(root, |core, tones| CORES[core].fits(tones)).map(|p| f64::from(p.unwrap_or(NONE).min(NONE)) / 10.0)
    })
}

/// Classes that do not pass by.
fn loud(e: &Evidence) -> Classes {
    (0..12).map(PitchClass).filter(|c| e.share(*c) >= PASSING).collect()
}

/// The bass of a name on this root: the bass part's note; else the lowest note, where it is the lowest for long or the root does not sound at all.
fn bass_under(root: PitchClass, e: &Evidence, lowest: PitchClass) -> PitchClass {
    match e.bass_part() {
        Some(bass) => bass.class(),
        None if e.low_share(lowest) >= SLASH || e.share(root) == 0.0 => lowest,
        None => root,
    }
}

/// After how many stretches the passage comes back: the smallest that is about as good as any.
fn comes_back(heard: &[&Evidence], stretches: &[Stretch]) -> Option<usize> {
    let n = heard.len();
    let length = |i: usize| stretches[i].to - stretches[i].from;
    let mut best: Option<(f64, usize)> = None;
    // Forms longer than this are songs, not passages.
    for lag in 2..n.saturating_sub(2).min(129) {
        let pairs = n - lag;
        if pairs < lag && pairs < 3 {
            continue;
        }
        // The last stretch may be cut short.
        let fits = (0..pairs - 1).all(|i| (length(i + lag) - length(i)).abs() <= 0.06 * length(i));
        if !fits {
            continue;
        }
        let alike = (0..pairs).map(|i| heard[i].alike(heard[i + lag])).sum::<f64>() / pairs as f64;
        if alike >= BACK && best.is_none_or(|(a, _)| alike > a + 0.02) {
            best = Some((alike, lag));
        }
    }
    best.map(|b| b.1)
}

/// The scores with what the same place of the passage says when it comes back.
fn again(alone: &[&Scores], heard: &[&Evidence], stretches: &[Stretch]) -> Vec<Scores> {
    let mut out: Vec<Scores> = alone.iter().map(|s| **s).collect();
    let Some(lag) = comes_back(heard, stretches) else { return out };
    for (i, mine) in out.iter_mut().enumerate() {
        // The same place in the rounds around.
        let first = i - lag * (i / lag).min(ROUNDS);
        let last = (i + ROUNDS * lag).min(alone.len() - 1);
        let others: Vec<usize> = (first..=last).step_by(lag).filter(|&j| j != i && heard[i].alike(heard[j]) >= ALIKE).collect();
        let each = AGAIN / others.len() as f64;
        for &j in &others {
            for (score, other) in mine.as_flattened_mut().iter_mut().zip(alone[j].as_flattened()) {
                *score += each * other;
            }
        }
    }
    out
}

/// For each stretch, root and core the sum of the best way through all stretches that passes there.
fn through(own: &[Scores]) -> Vec<Scores> {
    let dominant = CORES.iter().position(|c| c.is_dominant());
    // Of all steps only the fall of a fifth is worth something, so each root has one that matters.
    let falls_to = |from: usize| (from + 5) % 12;
    let worth = |core: usize| if Some(core) == dominant { FALL + DOMINANT } else { FALL };
    let best = |row: &[f64]| row.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let but = |list: &[f64; 12], out: usize| (0..12).filter(|i| *i != out).map(|i| list[i]).fold(f64::NEG_INFINITY, f64::max);
    let mut ahead = own.to_vec();
    for i in 1..own.len() {
        let last = &ahead[i - 1];
        let tops: [f64; 12] = std::array::from_fn(|from| best(&last[from]));
        let arrive: [f64; 12] = std::array::from_fn(|to| {
            let from = (to + 7) % 12;
            let falls = (0..CORES.len()).map(|core| last[from][core] + worth(core)).fold(f64::NEG_INFINITY, f64::max);
            falls.max(but(&tops, from))
        });
        for (row, arrive) in ahead[i].iter_mut().zip(arrive) {
            row.iter_mut().for_each(|s| *s += arrive);
        }
    }
    // What follows, from the last stretch back: the best way on from each root and core.
    let mut behind = [[0.0; CORES.len()]; 12];
    for i in (0..own.len()).rev() {
        let next: [f64; 12] = std::array::from_fn(|to| best(&std::array::from_fn::<f64, { CORES.len() }, _>(|c| own[i][to][c] + behind[to][c])));
        for (a, b) in ahead[i].iter_mut().flatten().zip(behind.iter().flatten()) {
            *a += b;
        }
        for (from, row) in behind.iter_mut().enumerate() {
            let to = falls_to(from);
            let others = but(&next, to);
            for (core, score) in row.iter_mut().enumerate() {
                *score = others.max(next[to] + worth(core));
            }
        }
    }
    ahead
}

/// The names of one stretch.
fn write_out(e: &Evidence, ranked: &Scores, key: Option<Key>, before: Option<Symbol>, after: Option<Symbol>, most: usize) -> Harmony {
    let Some(lowest) = e.bass() else {
        return Harmony { naming: crate::names(&[], &Context::default()), notes: vec![], passing: vec![], bass: None };
    };
    // For each root its cores, best first; and the roots by their best core.
    let mut roots: Vec<(usize, Vec<usize>)> = (0..12).map(|root| (root, best_down(&ranked[root]))).collect();
    let score = |r: &(usize, Vec<usize>)| ranked[r.0][r.1[0]];
    roots.sort_by(|a, b| score(b).total_cmp(&score(a)));
    let top = score(&roots[0]);
    // What belongs to the harmony is settled by the best reading; the others have to do with the same notes.
    let loud = loud(e);
    let best_core = CORES[roots[0].1[0]].classes(PitchClass(roots[0].0 as u8));
    let kept: Classes = loud.union(best_core.iter().filter(|c| e.share(*c) > 0.0).collect());
    let notes: Vec<Midi> = e.pitches().iter().copied().filter(|m| kept.holds(m.class())).collect();
    let passing: Vec<Midi> = e.pitches().iter().copied().filter(|m| !kept.holds(m.class())).collect();
    let bass_part = e.bass_part();
    let context = Context { bass: bass_part, key, written: None, before, after };
    let mut lights: Vec<PitchClass> = kept.iter().collect();
    lights.sort_by(|a, b| e.share(*a).total_cmp(&e.share(*b)));
    let mut names: Vec<Name> = Vec::with_capacity(most);
    for one in roots.iter().take_while(|r| top - score(r) <= SPREAD) {
        let points = (10.0 * (top - score(one))) as i32;
        if names.len() == most || (names.len() >= 3 && points >= WEAK) {
            break;
        }
        let root = PitchClass(one.0 as u8);
        let bass = bass_under(root, e, lowest);
        // Cores from the best down; within one, notes that it has no place for pass by in this reading, the lightest first.
        let tries = one.1.iter().map(|c| &CORES[*c]).flat_map(|core| {
            let own = core.classes(root);
            let mut must = kept;
            let rest = lights.iter().filter(move |c| !own.holds(**c)).map(move |c| {
                must = must.without(*c);
                must
            });
            std::iter::once(kept).chain(rest).map(move |must| (core, must))
        });
        let mut found = tries.filter_map(|(core, must)| {
            let name = Stretched { notes: &notes, must, bass, context: &context }.name_on(root, |tones| core.fits(tones), points)?;
            Some((name, must))
        });
        let Some((mut name, must)) = found.next() else { continue };
        let out: Vec<String> = kept.minus(must).iter().map(|c| said(&name, &notes, c)).collect();
        if !out.is_empty() {
            name.why.push(format!("{} would have to pass by, though heard for long", out.join(" and ")));
        }
        let share = (100.0 * e.low_share(root)).round();
        if bass_part.is_none() && lowest == root && share < 100.0 {
            name.why.push(format!("its root is the lowest note for {share} % of the time"));
        }
        names.push(name);
    }
    let mut remarks = Vec::new();
    if !passing.is_empty() {
        let mut list: Vec<String> = Vec::new();
        for m in &passing {
            let text = key.unwrap_or(Key::PLAIN).spell_class(m.class()).to_string();
            if !list.contains(&text) {
                list.push(text);
            }
        }
        let many = list.len() > 1;
        remarks.push(format!("{} {} by: less than a tenth of the sound", list.join(", "), if many { "pass" } else { "passes" }));
    }
    let no_name = names.is_empty().then(|| "no root explains these notes together".to_string());
    Harmony { naming: Naming { names, no_name, interval: None, remarks }, notes, passing, bass: Some(bass_part.map_or(lowest, Midi::class)) }
}

/// The degree that a name gives a class, in words of signs.
fn said(name: &Name, notes: &[Midi], class: PitchClass) -> String {
    notes.iter().position(|n| n.class() == class).map_or(String::new(), |i| name.degrees[i].to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_passage_comes_back() {
        // Four chords, each bar its own; then cut off.
        let chords = [[48, 52, 55], [45, 48, 52], [41, 45, 48], [43, 47, 50]];
        let of = |bars: &[usize], last_s: f64| {
            let stretches: Vec<Stretch> = (0..bars.len()).map(|i| Stretch { from: 2.0 * i as f64, to: 2.0 * i as f64 + if i + 1 == bars.len() { last_s } else { 2.0 } }).collect();
            let notes: Vec<Held> = bars.iter().zip(&stretches).flat_map(|(b, s)| chords[*b].map(|m| Held { midi: Midi(m), from: s.from, to: s.to, bass: false })).collect();
            comes_back(&evidence(&notes, &stretches, Timing::SECONDS).iter().collect::<Vec<_>>(), &stretches)
        };
        assert_eq!(of(&[0, 1, 2, 3, 0, 1, 2, 3], 2.0), Some(4));
        // Three bars of it are enough, and the last may be cut short; two are not.
        assert_eq!(of(&[0, 1, 2, 3, 0, 1, 2], 2.0), Some(4));
        assert_eq!(of(&[0, 1, 2, 3, 0, 1, 2], 0.7), Some(4));
        assert_eq!(of(&[0, 1, 2, 3, 0, 1], 2.0), None);
        // The smallest that is as good as any; nothing where nothing comes back.
        assert_eq!(of(&[0, 3, 0, 3, 0, 3, 0, 3], 2.0), Some(2));
        assert_eq!(of(&[0, 1, 2, 3], 2.0), None);
    }
}
