//! Findings on a part beside the drums: bass with kick, everything else with snare and kick.

use super::words::{places, recurring, times};
use super::{Pairing, Side, together};
use crate::map::Hit;
use lesson::{Beats, Drum, Kind};

/// A part fills the bar where it strikes more than so many hundredths of the slots: then it meets every drum, and that tells nothing.
const FULL: usize = 60;

pub(super) fn with_drums(p: &Pairing) -> Vec<String> {
    let (drums, other) = if p.sides[0].kind == Kind::Drums { (0, 1) } else { (1, 0) };
    if p.sides[other].kind == Kind::Drums {
        return vec![];
    }
    if p.sides[other].kind == Kind::Bass {
        return bass_and_kick(p, &p.sides[other], &p.sides[drums]).into_iter().collect();
    }
    let part = p.pair.parts[drums];
    let only = |d: Drum| -> Vec<&Hit> { p.map.rows.iter().filter(|r| r.part == part && r.drum == Some(d)).flat_map(|r| &r.hits).filter(|h| !h.ghost).collect() };
    let side = |d: Drum| Side { name: super::Name::drum(d), kind: Kind::Drums, hits: only(d) };
    [snare(p, &p.sides[other], &side(Drum::Snare)), kick(p, &p.sides[other], &side(Drum::Kick))].into_iter().flatten().collect()
}

/// How far bass and kick go together: all of both, all of one, seven tenths of the kick and where they part, little (three tenths) and
/// where, or how many and on which places that come back.
fn bass_and_kick(p: &Pairing, bass: &Side, kick: &Side) -> Option<String> {
    let met = together(bass, kick);
    let (n, k, s) = (bass.hits.len(), kick.hits.len(), met.len());
    if k == 0 || n == 0 {
        return None;
    }
    let name = &bass.name;
    let at: Vec<(usize, Beats)> = met.iter().map(|(h, _)| (h.bar, h.at)).collect();
    let often = match recurring(&p.map.bars, &at) {
        Some((words, rest)) if rest.is_empty() => Some(format!("on {words}")),
        Some((words, _)) => Some(format!("among them on {words}")),
        _ if at.len() <= 4 => Some(format!("at {}", places(p.passage, &at))),
        _ => None,
    };
    Some(if s == n && s == k {
        format!("{} and the kick strike as one", name.text)
    } else if s == k {
        format!("every kick has a note of {} with it, and {} {} {} more between", name.text, name.text, name.verb("plays", "play"), n - s)
    } else if s == n {
        format!("every note of {} has the kick under it; the kick strikes {} more", name.text, times(k - s))
    } else if 10 * s >= 7 * k {
        let apart: Vec<(usize, Beats)> = kick.hits.iter().filter(|h| !met.iter().any(|(_, m)| (m.bar, m.slot) == (h.bar, h.slot))).map(|h| (h.bar, h.at)).collect();
        format!("{} {} with {s} of the {k} kicks; the kick stands alone at {}", name.text, name.verb("goes", "go"), places(p.passage, &apart))
    } else if s == 0 {
        format!("{} and the kick never strike together", name.text)
    } else if 10 * s <= 3 * k {
        let only = often.unwrap_or_else(|| times(s));
        format!("{} {} out of the kick's way: the two strike together only {only}", name.text, name.verb("keeps", "keep"))
    } else {
        let often = often.map_or(String::new(), |t| format!(", {t}"));
        format!("{} {} with {s} of the {k} kicks{often}", name.text, name.verb("goes", "go"))
    })
}

/// Loud strokes of the snare, two at least, beside a part that does not fill the bar: all of them doubled, or none.
fn snare(p: &Pairing, part: &Side, snare: &Side) -> Option<String> {
    if snare.hits.len() < 2 || full(p, part) {
        return None;
    }
    let met = together(part, snare);
    if met.is_empty() {
        return (part.hits.len() >= 4).then(|| format!("{} {} clear of the snare", part.name.text, part.name.verb("keeps", "keep")));
    }
    if met.len() < snare.hits.len() {
        return None;
    }
    let what = if met.iter().all(|(h, _)| h.scratch) { "a scratch" } else { "a stroke" };
    Some(format!("every stroke of the snare has {what} of {} with it", part.name.text))
}

/// Kicks, four at least, beside a part that does not fill the bar: all of them doubled, or none.
fn kick(p: &Pairing, part: &Side, kick: &Side) -> Option<String> {
    if kick.hits.len() < 4 || full(p, part) {
        return None;
    }
    let met = together(part, kick);
    if met.is_empty() && part.hits.len() >= 4 {
        return Some(format!("{} and the kick never strike together", part.name.text));
    }
    (met.len() == kick.hits.len()).then(|| format!("{} {} on every kick", part.name.text, part.name.verb("strikes", "strike")))
}

fn full(p: &Pairing, part: &Side) -> bool {
    100 * part.hits.len() > FULL * p.pair.slots as usize
}
