//! What a part tells of its player's habits: where the same pitch, the same shape of chord and the notes nearby lie elsewhere in the part.
//!
//! # Method
//! Players keep to their places: in the open annotations nine notes in ten lie on the string on which their pitch lies most often in the
//! piece. So the part is gone through twice. The first time gives each note's likelihood on each string; pooled over the rest of the
//! part, once near in time and once as a whole, they are marks for the second time (as in two-stage models for
//! consistent labels: V. Krishnan, C. D. Manning, "An effective two-stage model for exploiting non-local dependencies", ACL 2006). A
//! stroke's own likelihoods are left out of what is pooled for it.

use crate::finger::STRINGS_MAX;
use crate::stroke::Stroke;
use std::collections::BTreeMap;

/// Number of marks for each note on each string.
pub(crate) const HABITS: usize = 5;

/// How fast what was played is forgotten, in seconds.
const NEAR_S: f64 = 3.0;
/// Weight of knowing nothing, in notes.
const NOTHING: f64 = 0.5;
/// Frets around a place that count as its region.
const REGION: usize = 4;

const FRETS: usize = crate::FRETS_MAX as usize + 1;

/// What was heard of pitches, frets and strings, each with a weight.
#[derive(Clone)]
struct Pool {
    pitches: Vec<[f64; STRINGS_MAX]>,
    frets: [f64; FRETS],
    strings: [f64; STRINGS_MAX],
}

impl Pool {
    fn new() -> Pool {
        Pool { pitches: vec![[0.0; STRINGS_MAX]; 256], frets: [0.0; FRETS], strings: [0.0; STRINGS_MAX] }
    }

    fn add(&mut self, note: &Note, by: f64) {
        for (s, (q, fret)) in note.q.iter().zip(&note.frets).enumerate() {
            let Some(fret) = fret else { continue };
            self.pitches[usize::from(note.midi)][s] += q * by;
            self.strings[s] += q * by;
            if *fret > 0 {
                self.frets[usize::from(*fret)] += q * by;
            }
        }
    }

    fn fade(&mut self, by: f64) {
        self.pitches.iter_mut().flatten().for_each(|x| *x *= by);
        self.frets.iter_mut().for_each(|x| *x *= by);
    }
}

struct Note {
    midi: u8,
    q: [f64; STRINGS_MAX],
    frets: [Option<u8>; STRINGS_MAX],
}

/// Writes the habits into `strokes`; `likely` is how likely each of their placements is.
pub(crate) fn habits(strokes: &mut [Stroke], likely: &[Vec<f64>]) {
    let notes: Vec<Vec<Note>> = strokes.iter().zip(likely).map(|(s, q)| notes(s, q)).collect();
    let mut whole = Pool::new();
    notes.iter().flatten().for_each(|n| whole.add(n, 1.0));
    // Near in time: what came before, then what comes after.
    let mut near: Vec<Vec<([f64; STRINGS_MAX], [f64; STRINGS_MAX])>> = notes.iter().map(|n| vec![Default::default(); n.len()]).collect();
    for backward in [false, true] {
        let mut pool = Pool::new();
        let mut at_s = 0.0;
        for k in 0..notes.len() {
            let i = if backward { notes.len() - 1 - k } else { k };
            let onset_s = strokes[i].onset_s;
            if k > 0 {
                pool.fade(libm::exp(-(onset_s - at_s).abs() / NEAR_S));
            }
            at_s = onset_s;
            for (n, near) in notes[i].iter().zip(&mut near[i]) {
                for s in 0..STRINGS_MAX {
                    near.0[s] += pool.pitches[usize::from(n.midi)][s];
                    near.1[s] += n.frets[s].map_or(0.0, |f| region(&pool.frets, f));
                }
            }
            notes[i].iter().for_each(|n| pool.add(n, 1.0));
        }
    }
    for (i, stroke) in strokes.iter_mut().enumerate() {
        notes[i].iter().for_each(|n| whole.add(n, -1.0));
        stroke.habits.clear();
        for (n, near) in notes[i].iter().zip(&near[i]) {
            let mut of = [[0.0; HABITS]; STRINGS_MAX];
            let open: Vec<usize> = (0..STRINGS_MAX).filter(|s| n.frets[*s].is_some()).collect();
            let share = |x: &dyn Fn(usize) -> f64, s: usize| {
                let (u, all) = (1.0 / open.len() as f64, open.iter().map(|s| x(*s)).sum::<f64>());
                libm::log((x(s) + NOTHING * u) / (all + NOTHING))
            };
            let frets = |s: usize| n.frets[s].map_or(0.0, |f| region(&whole.frets, f));
            let pitches = &whole.pitches[usize::from(n.midi)];
            for s in &open {
                of[*s] = [share(&|s| near.0[s], *s), share(&|s| pitches[s], *s), 0.0, 0.0, share(&|s| whole.strings[s], *s)];
                if n.frets[*s] != Some(0) {
                    of[*s][2] = share(&|s| near.1[s], *s);
                    of[*s][3] = share(&frets, *s);
                }
            }
            stroke.habits.push(of);
        }
        notes[i].iter().for_each(|n| whole.add(n, 1.0));
    }
    shapes(strokes, likely);
}

/// How densely the region around `fret` is played.
fn region(frets: &[f64; FRETS], fret: u8) -> f64 {
    if fret == 0 {
        return 0.0;
    }
    let f = usize::from(fret);
    (f.saturating_sub(REGION)..=(f + REGION).min(FRETS - 1)).map(|g| frets[g] * (1.0 - g.abs_diff(f) as f64 / (REGION + 1) as f64)).sum()
}

/// Each note's likelihood on each string.
fn notes(stroke: &Stroke, likely: &[f64]) -> Vec<Note> {
    let mut out: Vec<Note> = stroke.pitch_end.iter().map(|(midi, _)| Note { midi: *midi, q: [0.0; STRINGS_MAX], frets: [None; STRINGS_MAX] }).collect();
    for (laid, q) in stroke.laid.iter().zip(likely) {
        for (n, (s, f)) in out.iter_mut().zip(&laid.at) {
            n.q[usize::from(*s)] += q;
            n.frets[usize::from(*s)] = Some(*f);
        }
    }
    out
}

/// For chords: how often chords of the same intervals lie on the same strings.
fn shapes(strokes: &mut [Stroke], likely: &[Vec<f64>]) {
    let key = |s: &Stroke| -> Vec<u8> { s.pitch_end.windows(2).map(|w| w[1].0 - w[0].0).collect() };
    let mut all: BTreeMap<Vec<u8>, (f64, BTreeMap<Vec<u8>, f64>)> = BTreeMap::new();
    let on = |at: &[(u8, u8)]| -> Vec<u8> { at.iter().map(|a| a.0).collect() };
    for (stroke, likely) in strokes.iter().zip(likely).filter(|s| s.0.laid.len() > 1 && s.0.notes.len() > 1) {
        let of = all.entry(key(stroke)).or_default();
        of.0 += 1.0;
        for (laid, q) in stroke.laid.iter().zip(likely).filter(|l| *l.1 > 0.001) {
            *of.1.entry(on(&laid.at)).or_default() += q;
        }
    }
    for (stroke, likely) in strokes.iter_mut().zip(likely) {
        let n = stroke.laid.len() as f64;
        let Some(of) = all.get(&key(stroke)) else { continue };
        if stroke.laid.len() < 2 || stroke.notes.len() < 2 {
            continue;
        }
        for (laid, q) in stroke.laid.iter_mut().zip(likely) {
            let others = (of.1.get(&on(&laid.at)).copied().unwrap_or(0.0) - q).max(0.0);
            laid.shape = libm::log((others + NOTHING / n) / (of.0 - 1.0 + NOTHING));
        }
    }
}
