//! Findings on rhythm: who strikes with whom, who has the beats, who is busy.

use super::words::{a_bar, places, recurring, times};
use super::Pairing;
use crate::map::Hit;
use crate::ticks::ticks;
use lesson::{Beats, Kind, Passage};

/// How the strokes of a pair fall to each other; always one sentence. In this order:
/// - all that fall together are scratches on one side: the other strikes only where it scratches or rests;
/// - from here on, where a part scratches and still has notes, scratches are left aside, and the sentence says so;
/// - every stroke of both together: one rhythm;
/// - none together, or at most a third of the sparer part's: where they are, and whether one moves over what the other lets ring (two
///   thirds of its lone strokes, two at least, fall there) or answers into its gaps (two thirds fall where it is silent);
/// - all of the sparer part's with the other's; at least four fifths of both: where they part;
/// - else how many, and which places of the bar come back.
pub(super) fn relation(p: &Pairing) -> String {
    if let Some(text) = against_scratches(p) {
        return text;
    }
    let notes = |i: usize| p.sides[i].hits.iter().copied().filter(|h| !h.scratch).collect::<Vec<_>>();
    let (notes, scratched) = ([notes(0), notes(1)], p.sides.iter().any(|s| s.scratches() > 0));
    let aside = scratched && notes.iter().all(|n| !n.is_empty());
    let all = [p.sides[0].hits.clone(), p.sides[1].hits.clone()];
    let hits = if aside { &notes } else { &all };
    let shared = common(&hits[0], &hits[1]);
    let text = fall(p, hits, &shared);
    if aside { format!("scratches aside, {text}") } else { text }
}

fn fall(p: &Pairing, hits: &[Vec<&Hit>; 2], shared: &[(usize, Beats)]) -> String {
    let [a, b] = &p.sides;
    let (x, y) = (&a.name.text, &b.name.text);
    let (na, nb, s) = (hits[0].len(), hits[1].len(), shared.len());
    if s == na && s == nb {
        return format!("{x} and {y} strike together every time: one rhythm on two instruments");
    }
    if 3 * s <= na.min(nb) {
        let end = answer(p, hits, shared).map_or(String::new(), |t| format!(": {t}"));
        if s == 0 {
            return format!("{x} and {y} never strike together{end}");
        }
        let only = match recurring(&p.map.bars, shared) {
            Some((words, rest)) if rest.is_empty() => format!("only on {words}"),
            _ if s <= 4 => format!("only at {}", places(p.passage, shared)),
            _ => format!("only {}, first at {}", times(s), places(p.passage, &shared[..1])),
        };
        return format!("{x} and {y} strike together {only}{end}");
    }
    let (few, many) = if na <= nb { (a, b) } else { (b, a) };
    if s == na.min(nb) {
        let more = na.max(nb) - s;
        return format!("every {} of {} falls on one of {}; {} {} {more} more", few.onsets(1), few.name.text, many.name.own(), many.name.text, many.name.verb("has", "have"));
    }
    if 5 * s >= 4 * na.max(nb) {
        let mut apart: Vec<(usize, Beats)> = hits.iter().flatten().map(|h| (h.bar, h.at)).filter(|h| shared.binary_search(h).is_err()).collect();
        apart.sort();
        return format!("{x} and {y} strike together nearly every time, and part only at {}", places(p.passage, &apart));
    }
    let end = match recurring(&p.map.bars, shared) {
        Some((words, rest)) if rest.is_empty() => format!(", always on {words}"),
        Some((words, _)) => format!(", among them on {words}"),
        None if s <= 4 => format!(", at {}", places(p.passage, shared)),
        None => String::new(),
    };
    format!("of {} {na} {} and {} {nb}, {s} fall together{end}", a.name.own(), a.onsets(na), b.name.own())
}

/// Places at which both have an onset.
fn common(a: &[&Hit], b: &[&Hit]) -> Vec<(usize, Beats)> {
    let place = |h: &Hit| (h.bar, h.slot);
    a.iter().filter(|x| b.binary_search_by_key(&place(x), |h| place(h)).is_ok()).map(|x| (x.bar, x.at)).collect()
}

/// All shared strokes are scratches of one side and notes of the other.
fn against_scratches(p: &Pairing) -> Option<String> {
    if p.shared.is_empty() || p.pair.shared_pitched > 0 {
        return None;
    }
    let (muted, other) = if p.shared.iter().all(|(a, _)| a.scratch) {
        (0, 1)
    } else if p.shared.iter().all(|(_, b)| b.scratch) {
        (1, 0)
    } else {
        return None;
    };
    let (m, o) = (&p.sides[muted].name, &p.sides[other].name);
    if p.sides[other].scratches() > 0 {
        return Some(format!("where {} and {} strike at once {} {}: no two notes begin together", m.text, o.text, m.text, m.verb("scratches", "scratch")));
    }
    if p.pair.into_silence[other] == p.pair.alone[other] {
        return Some(format!("{} {} only where {} {} or {}", o.text, o.verb("strikes", "strike"), m.text, m.verb("scratches", "scratch"), m.verb("rests", "rest")));
    }
    Some(format!("where {} and {} strike at once {} {}: no two notes begin together", m.text, o.text, m.text, m.verb("scratches", "scratch")))
}

/// What one part, never the bass, does between the other's strokes; of two answers into gaps the sparer part's.
fn answer(p: &Pairing, hits: &[Vec<&Hit>; 2], shared: &[(usize, Beats)]) -> Option<String> {
    let start = |h: &Hit| p.map.bars[h.bar].start + h.at;
    // Lone strokes of a part, and those of them that fall where the other is silent.
    let lone = |i: usize| {
        let alone: Vec<Beats> = hits[i].iter().filter(|h| shared.binary_search(&(h.bar, h.at)).is_err()).map(|h| start(h)).collect();
        let notes: Vec<(Beats, Beats)> = hits[1 - i].iter().filter(|h| h.range.is_some()).map(|h| (start(h), start(h) + h.length)).collect();
        (alone.len(), alone.len() - ringing(&alone, &notes))
    };
    let mut order = if hits[0].len() <= hits[1].len() { vec![0, 1] } else { vec![1, 0] };
    order.retain(|i| p.sides[*i].kind != Kind::Bass);
    let lone: Vec<(usize, (usize, usize))> = order.into_iter().map(|i| (i, lone(i))).filter(|(_, l)| l.0 >= 2).collect();
    let names = |i: usize| (&p.sides[i].name, &p.sides[1 - i].name);
    if let Some((i, _)) = lone.iter().find(|(_, (alone, silent))| 3 * silent <= *alone) {
        let (x, y) = names(*i);
        return Some(format!("{} {} over what {} {} ring", x.text, x.verb("moves", "move"), y.text, y.verb("lets", "let")));
    }
    let (i, _) = lone.iter().find(|(_, (alone, silent))| 3 * silent >= 2 * alone)?;
    let (x, y) = names(*i);
    Some(format!("{} {} in the gaps that {} {}", x.text, x.verb("answers", "answer"), y.text, y.verb("leaves", "leave")))
}

/// How many of some times (in order) lie within a stretch; stretches in the order of their starts.
fn ringing(at: &[Beats], stretches: &[(Beats, Beats)]) -> usize {
    let (mut k, mut until, mut n) = (0, Beats::from_integer(-1), 0);
    for t in at {
        while let Some((_, end)) = stretches.get(k).filter(|s| s.0 < *t) {
            until = until.max(*end);
            k += 1;
        }
        n += usize::from(until > *t);
    }
    n
}

/// The full bars, and in which of them a part strikes on beat one.
pub(super) fn ones(passage: &Passage, hits: &[&Hit]) -> (usize, usize) {
    let full = passage.bars.iter().filter(|b| b.number > 0).count();
    let on = hits.iter().filter(|h| passage.bars[h.bar].number > 0 && h.at == Beats::from_integer(0)).count();
    (full, on)
}

/// Two guitars or other instruments over at least two bars, one of which strikes every beat one and the other, which strikes in at
/// least half of the bars, none: whose it is. A bass or kick on one is no news beside them.
pub(super) fn beat_one(p: &Pairing) -> Option<String> {
    if p.sides.iter().any(|s| s.kind == Kind::Bass) {
        return None;
    }
    let [(full, a), (_, b)] = [0, 1].map(|i| ones(p.passage, &p.sides[i].hits));
    let (has, leaves) = match (a, b) {
        (n, 0) if n == full => (0, 1),
        (0, n) if n == full => (1, 0),
        _ => return None,
    };
    let mut bars: Vec<usize> = p.sides[leaves].hits.iter().map(|h| h.bar).collect();
    bars.dedup();
    let (has, leaves) = (&p.sides[has].name, &p.sides[leaves].name);
    (full >= 2 && 2 * bars.len() >= full).then(|| format!("beat one is {} alone: {} always {} it free", has.own(), leaves.text, leaves.verb("leaves", "leave")))
}

/// Strokes that lie off the beat.
pub(super) fn off_beat(passage: &Passage, hits: &[&Hit]) -> usize {
    let beats: Vec<i64> = passage.bars.iter().map(|b| ticks(b.meter.beat())).collect();
    hits.iter().filter(|h| ticks(h.at) % beats[h.bar] != 0).count()
}

/// One part off the beat (nine of ten strokes), the other on it (three of four), four strokes at least: they share beats and offbeats out.
pub(super) fn beats_and_offbeats(p: &Pairing) -> Option<String> {
    let [a, b] = [0, 1].map(|i| (off_beat(p.passage, &p.sides[i].hits), p.sides[i].hits.len()));
    let off = |s: (usize, usize)| s.1 >= 4 && 10 * s.0 >= 9 * s.1;
    let on = |s: (usize, usize)| s.1 >= 4 && 4 * s.0 <= s.1;
    let (x, y) = match (off(a) && on(b), off(b) && on(a)) {
        (true, _) => (0, 1),
        (_, true) => (1, 0),
        _ => return None,
    };
    let (x, y) = (&p.sides[x].name, &p.sides[y].name);
    Some(format!("{} {} the beats, {} the offbeats", y.text, y.verb("has", "have"), x.text))
}

/// One strikes at least twice as often, and four times a bar: by how much, and how many of them are scratches (where a quarter
/// are).
pub(super) fn density(p: &Pairing) -> Option<String> {
    let [a, b] = p.pair.density;
    let (busy, calm) = if a >= b { (0, 1) } else { (1, 0) };
    let (most, least) = (a.max(b), a.min(b));
    if most < 4.0 || most < 2.0 * least || least <= 0.0 {
        return None;
    }
    let (x, y) = (&p.sides[busy], &p.sides[calm]);
    let scratches = x.scratches() as f64 * most / x.hits.len() as f64;
    let of_them = if 4 * x.scratches() >= x.hits.len() { format!(" ({} of them scratches)", a_bar(scratches)) } else { String::new() };
    Some(format!("{} {} {} times a bar{of_them}, {} {}", x.name.text, x.name.verb("strikes", "strike"), a_bar(most), y.name.text, a_bar(least)))
}
