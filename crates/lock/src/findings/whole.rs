//! Findings on all parts of a passage together.

use super::rhythm::{off_beat, ones};
use super::tones::over_all;
use super::words::{Name, a_bar, list, number, place, places, recurring, span};
use crate::clash::{ClashKind, Meaning};
use crate::map::{Hit, LockMap, Row};
use crate::share::Pair;
use crate::ticks::{beats, ticks};
use lesson::{Beats, Drum, Kind, Passage};

/// Most sentences on the whole; a rub is always told.
const MOST: usize = 7;

pub(super) fn sentences(passage: &Passage, map: &LockMap, pairs: &[Pair]) -> Vec<String> {
    let rows: Vec<&Row> = map.rows.iter().filter(|r| !r.hits.is_empty()).collect();
    let mut playing: Vec<usize> = rows.iter().map(|r| r.part).collect();
    playing.dedup();
    if playing.len() < 2 {
        return vec![];
    }
    let parts: Vec<&Row> = rows.iter().copied().filter(|r| r.drum.is_none()).collect();
    let mut out = Vec::new();
    out.extend(beat_one(passage, &rows));
    out.extend(offbeat_only(passage, &parts));
    out.extend(all_at_once(passage, map, &parts));
    out.extend(breath(passage, map, &parts));
    out.extend(busiest(&parts));
    out.extend(bottom_up(passage, &parts));
    out.extend(tightest(passage, map, pairs));
    out.extend(over_all(passage, &map.chords, |p| Name::of(&passage.parts[p])));
    let rubs = rubs(passage, pairs, playing.len());
    out.truncate(MOST - usize::from(rubs.is_some()));
    out.extend(rubs);
    out
}

fn name(row: &Row) -> Name {
    row.drum.map_or_else(|| Name::new(&row.name), Name::drum)
}

/// Whose beat one is, over at least two full bars: of all parts and of kick and snare, those that strike it in every bar, where at least one other
/// never does; or that nobody does.
fn beat_one(passage: &Passage, rows: &[&Row]) -> Option<String> {
    let rows: Vec<&&Row> = rows.iter().filter(|r| r.drum.is_none_or(|d| matches!(d, Drum::Kick | Drum::Snare))).collect();
    let counted: Vec<(usize, usize)> = rows.iter().map(|r| ones(passage, &r.hits.iter().collect::<Vec<_>>())).collect();
    let full = counted.first()?.0;
    if full < 2 {
        return None;
    }
    let always: Vec<String> = rows.iter().zip(&counted).filter(|(_, c)| c.1 == full).map(|(r, _)| name(r).text).collect();
    let never = rows.iter().zip(&counted).filter(|(r, c)| c.1 == 0 && r.drum.is_none()).count();
    if counted.iter().all(|c| c.1 == 0) {
        return Some("nobody strikes on beat one of any bar".into());
    }
    let clear = counted.iter().all(|c| c.1 == 0 || c.1 == full);
    (never > 0 && clear && !always.is_empty()).then(|| {
        let only = if always.len() == 1 { "has" } else { "have" };
        format!("{} {only} beat one of every bar, and nobody else strikes there", list(&always))
    })
}

/// Parts of at least four strokes that never strike on a beat.
fn offbeat_only(passage: &Passage, parts: &[&Row]) -> Option<String> {
    let all = |r: &&&Row| r.hits.len() >= 4 && off_beat(passage, &r.hits.iter().collect::<Vec<_>>()) == r.hits.len();
    let names: Vec<Name> = parts.iter().filter(all).map(|r| name(r)).collect();
    let words: Vec<String> = names.iter().map(|n| n.text.clone()).collect();
    match names.as_slice() {
        [] => None,
        [one] => Some(format!("{} never {} on a beat", one.text, one.verb("strikes", "strike"))),
        _ => Some(format!("{} never strike on a beat", list(&words))),
    }
}

/// Three parts or more (drums aside): that they never begin a note at once, or the few places (four at most, or such as come back in the
/// bars) where they do. A scratch is no note.
fn all_at_once(passage: &Passage, map: &LockMap, parts: &[&Row]) -> Option<String> {
    if parts.len() < 3 {
        return None;
    }
    let place = |h: &Hit| (h.bar, h.slot);
    let notes = |r: &Row| r.hits.iter().filter(|h| !h.scratch).map(place).collect::<Vec<_>>();
    let mut at: Vec<&Hit> = parts[0].hits.iter().filter(|h| !h.scratch).collect();
    for row in &parts[1..] {
        let notes = notes(row);
        at.retain(|h| notes.binary_search(&place(h)).is_ok());
    }
    at.dedup_by_key(|h| place(h));
    let at: Vec<(usize, Beats)> = at.iter().map(|h| (h.bar, h.at)).collect();
    let who = format!("{}all {}", aside(map), number(parts.len()));
    match at.len() {
        0 => Some(format!("{who} never begin a note together")),
        n if n > 1 && let Some((words, rest)) = recurring(&map.bars, &at) && rest.is_empty() => Some(format!("{who} begin a note together only on {words}")),
        1..=4 => Some(format!("{who} begin a note together only at {}", places(passage, &at))),
        _ => None,
    }
}

fn aside(map: &LockMap) -> &'static str {
    if map.rows.iter().any(|r| r.drum.is_some()) { "drums aside, " } else { "" }
}

/// Drums aside: stretches of at least half a beat in which nothing sounds, four at most; else that some part strikes in every slot of every
/// bar.
fn breath(passage: &Passage, map: &LockMap, parts: &[&Row]) -> Option<String> {
    let start = |h: &Hit| map.bars[h.bar].start + h.at;
    let mut spans: Vec<(i64, i64)> = parts.iter().flat_map(|r| &r.hits).map(|h| (ticks(start(h)), ticks(start(h) + h.length))).collect();
    spans.sort();
    let mut still: Vec<(usize, Beats)> = Vec::new();
    let mut now = 0;
    let starts: Vec<(i64, i64)> = map.bars.iter().map(|b| (ticks(b.start), ticks(b.beat))).collect();
    for (from, to) in spans.into_iter().chain([(ticks(passage.length()), i64::MAX)]) {
        if from > now {
            let bar = starts.partition_point(|b| b.0 <= now).saturating_sub(1);
            if 2 * (from - now) >= starts[bar].1 {
                still.push((bar, beats(now) - map.bars[bar].start));
            }
        }
        now = now.max(to);
    }
    match still.len() {
        0 => {
            let mut slots: Vec<(usize, u32)> = parts.iter().flat_map(|r| &r.hits).map(|h| (h.bar, h.slot)).collect();
            slots.sort();
            slots.dedup();
            let all: u32 = map.bars.iter().map(|b| b.slots).sum();
            (slots.len() == all as usize).then(|| format!("{}they leave no slot unstruck between them", aside(map)))
        }
        n if n > 1 && let Some((words, rest)) = recurring(&map.bars, &still) && rest.is_empty() => Some(format!("{}nothing sounds on {words}", aside(map))),
        1..=4 => Some(format!("{}nothing sounds at {}", aside(map), places(passage, &still))),
        _ => None,
    }
}

/// Three parts or more, the busiest of which strikes at least twice as often as the sparest.
fn busiest(parts: &[&Row]) -> Option<String> {
    let most = parts.iter().max_by(|a, b| a.density.total_cmp(&b.density))?;
    let least = parts.iter().min_by(|a, b| a.density.total_cmp(&b.density))?;
    (parts.len() >= 3 && most.density >= 2.0 * least.density).then(|| {
        let (m, l) = (name(most), name(least));
        format!("{} {} the busiest with {} onsets a bar, {} the sparest with {}", m.text, m.verb("is", "are"), a_bar(most.density), l.text, a_bar(least.density))
    })
}

/// Three parts with pitches or more, in the order of their lowest notes: their ranges, and which neighbours cross.
fn bottom_up(passage: &Passage, parts: &[&Row]) -> Option<String> {
    let mut pitched: Vec<(&Row, crate::Range)> = parts.iter().filter_map(|r| Some((*r, r.range?))).collect();
    if pitched.len() < 3 {
        return None;
    }
    pitched.sort_by_key(|(r, range)| (range.low, range.high, r.part));
    let words: Vec<String> = pitched.iter().map(|(r, range)| format!("{} ({})", name(r).text, span(passage.key, *range))).collect();
    let mut crossing = Vec::new();
    for (i, (a, ra)) in pitched.iter().enumerate() {
        for (b, rb) in &pitched[i + 1..] {
            if ra.overlap(*rb) > 0 {
                crossing.push(format!("{} and {}", name(a).text, name(b).text));
            }
        }
    }
    let end = match crossing.as_slice() {
        [] => "and none crosses another".into(),
        [one] => format!("and only {one} cross"),
        _ => return None,
    };
    Some(format!("from the bottom up: {}, {end}", list(&words)))
}

/// The two, of three parts or more, that share most of their strokes (at least half of all that either has), and no other two as much.
fn tightest(passage: &Passage, map: &LockMap, pairs: &[Pair]) -> Option<String> {
    let with_kick = |p: &Pair| p.drums.is_empty() || p.parts.iter().any(|i| passage.parts[*i].kind == Kind::Bass);
    let share = |p: &Pair| f64::from(p.shared) / f64::from((p.shared + p.alternating).max(1));
    let mut order: Vec<&Pair> = pairs.iter().filter(|p| with_kick(p) && p.shared > 0).collect();
    order.sort_by(|a, b| share(b).total_cmp(&share(a)).then(a.parts.cmp(&b.parts)));
    let best = order.first()?;
    if pairs.len() < 3 || share(best) < 0.5 || order.get(1).is_some_and(|o| share(o) == share(best)) {
        return None;
    }
    let spoken = |i: usize| match best.drums.as_slice() {
        [one] if map.rows.iter().any(|r| r.part == i && r.drum.is_some()) => Name::drum(*one).text,
        _ => Name::of(&passage.parts[i]).text,
    };
    let all = best.shared + best.alternating;
    let both = format!("{} and {}", spoken(best.parts[0]), spoken(best.parts[1]));
    Some(if best.shared == all { format!("the tightest pair is {both}: they strike as one") } else { format!("the tightest pair is {both}: of {all} places where either strikes they share {}", best.shared) })
}

/// Three parts or more: where the first rubs are, two at most, each pair of parts once, with their number.
fn rubs(passage: &Passage, pairs: &[Pair], playing: usize) -> Option<String> {
    if playing < 3 {
        return None;
    }
    let mut at: Vec<String> = Vec::new();
    for p in pairs {
        let mut all = p.clashes.iter().filter(|c| c.meaning == Meaning::Rub && c.kind != ClashKind::Unison);
        if let Some(c) = all.next() {
            let more = match all.count() {
                0 => String::new(),
                n => format!(" ({n} more)"),
            };
            let [a, b] = p.parts.map(|i| Name::of(&passage.parts[i]).text);
            at.push(format!("{a} with {b} at {}{more}", place(passage, c.bar, c.at)));
        }
    }
    let more = at.len().saturating_sub(2);
    at.truncate(2);
    let end = if more > 0 { format!("; so do {more} other pairs") } else { String::new() };
    (!at.is_empty()).then(|| format!("notes foreign to the chord rub: {}{end}", list(&at)))
}
