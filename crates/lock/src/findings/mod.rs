//! What is telling about a lock, in sentences that a teacher could read out.
//!
//! From the figures of [`crate::Pair`] and the map. Each rule stands at its function: what must hold for it to speak, and what it then
//! says; a rule that has nothing to tell is silent. A pair says at most [`MOST`] things: rhythm first, and a rub always.
//! Places are `bar.beat`, or `bar.beat.slot` off the beat.

mod kit;
mod register;
mod rhythm;
mod tones;
mod whole;
pub(crate) mod words;

use crate::map::{Hit, LockMap};
use crate::share::Pair;
use crate::ticks::ticks;
use lesson::{Kind, Passage};
use words::Name;

/// Most sentences on one pair.
pub(crate) const MOST: usize = 6;

/// One of the two parts of a pair, or a part of the whole.
pub(crate) struct Side<'a> {
    name: Name,
    kind: Kind,
    /// Of a kit those of the drums that stand for it here, doubled ones once.
    hits: Vec<&'a Hit>,
}

impl Side<'_> {
    fn scratches(&self) -> usize {
        self.hits.iter().filter(|h| h.scratch).count()
    }

    /// What its onsets are called.
    fn onsets(&self, n: usize) -> &'static str {
        match (self.kind, n) {
            (Kind::Guitar | Kind::Drums, 1) => "stroke",
            (Kind::Guitar | Kind::Drums, _) => "strokes",
            (_, 1) => "note",
            _ => "notes",
        }
    }
}

/// A pair with all that its rules look at.
pub(crate) struct Pairing<'a> {
    passage: &'a Passage,
    map: &'a LockMap,
    pair: &'a Pair,
    sides: [Side<'a>; 2],
    /// Onsets that fall in the same slot.
    shared: Vec<(&'a Hit, &'a Hit)>,
}

fn side<'a>(passage: &Passage, map: &'a LockMap, pair: &Pair, part: usize) -> Side<'a> {
    let p = &passage.parts[part];
    let rows = map.rows.iter().filter(|r| r.part == part && r.drum.is_none_or(|d| pair.drums.contains(&d)));
    let mut hits: Vec<&Hit> = rows.flat_map(|r| &r.hits).collect();
    if pair.drums.len() > 1 && p.kind == Kind::Drums {
        hits.sort_by_key(|h| (h.bar, ticks(h.at)));
        hits.dedup_by_key(|h| (h.bar, h.at));
    }
    let name = match pair.drums.as_slice() {
        [one] if p.kind == Kind::Drums => Name::drum(*one),
        _ => Name::of(p),
    };
    Side { name, kind: p.kind, hits }
}

fn together<'a>(a: &Side<'a>, b: &Side<'a>) -> Vec<(&'a Hit, &'a Hit)> {
    let place = |h: &Hit| (h.bar, h.slot);
    let mut out = Vec::new();
    let mut j = 0;
    for x in &a.hits {
        while j < b.hits.len() && place(b.hits[j]) < place(x) {
            j += 1;
        }
        if let Some(y) = b.hits.get(j).filter(|y| place(y) == place(x)) {
            out.push((*x, *y));
        }
    }
    out
}

/// The paragraph on a pair; empty where neither part plays.
pub(crate) fn on_pair(passage: &Passage, map: &LockMap, pair: &Pair) -> Vec<String> {
    let sides = pair.parts.map(|p| side(passage, map, pair, p));
    let shared = together(&sides[0], &sides[1]);
    let p = Pairing { passage, map, pair, sides, shared };
    let silent: Vec<&Side> = p.sides.iter().filter(|s| s.hits.is_empty()).collect();
    match silent.as_slice() {
        [] => {}
        [one] if one.kind != Kind::Drums => return vec![words::sentence(&format!("{} {} silent here", one.name.text, one.name.verb("is", "are")))],
        _ => return vec![],
    }
    let mut out: Vec<String> = Vec::new();
    if p.sides.iter().any(|s| s.kind == Kind::Drums) {
        out.extend(kit::with_drums(&p));
        return out.iter().map(|s| words::sentence(s)).collect();
    }
    let clashes = tones::clashes(&p);
    out.push(rhythm::relation(&p));
    out.extend(rhythm::beat_one(&p));
    out.extend(rhythm::beats_and_offbeats(&p));
    let doubled = register::doubling(&p);
    out.extend(doubled.clone());
    out.extend(register::ground(&p));
    out.extend(rhythm::density(&p));
    out.extend(tones::split(&p));
    out.truncate(MOST - clashes.len().min(3));
    out.extend(clashes);
    if doubled.is_none() {
        out.extend(register::unisons(&p));
    }
    out.truncate(MOST);
    out.iter().map(|s| words::sentence(s)).collect()
}

/// The paragraph on the passage; empty where fewer than two parts play.
pub(crate) fn on_whole(passage: &Passage, map: &LockMap, pairs: &[Pair]) -> Vec<String> {
    whole::sentences(passage, map, pairs).iter().map(|s| words::sentence(s)).collect()
}
