//! Findings on register: gap, common ground, doubling, meeting on one note.

use super::Pairing;
use super::tones::chord_at;
use super::words::{interval, list, note, place, places, span, times};
use crate::clash::ClashKind;
use crate::map::Range;
use lesson::{Beats, Kind};
use pitch::Midi;

/// Where the two ranges lie:
/// - apart: which is over which, and the interval between; with a bass only where an octave or more stays free;
/// - touching or in common: the notes, the interval that they span, and which stays over the other whenever both sound, or that they
///   cross for at least half of that time.
pub(super) fn ground(p: &Pairing) -> Option<String> {
    let r = p.pair.register?;
    let [x, y] = [&p.sides[0].name, &p.sides[1].name];
    let [ra, rb] = r.ranges;
    let key = p.passage.key;
    if r.overlap < 0 {
        let first_over = ra.low > rb.high;
        let (over, under) = if first_over { (x, y) } else { (y, x) };
        let (top, low) = if first_over { (rb.high, ra.low) } else { (ra.high, rb.low) };
        let gap = interval(key, top, low);
        if p.sides.iter().any(|s| s.kind == Kind::Bass) {
            return (r.overlap <= -12).then(|| format!("{} lowest note, {}, is {gap} over {} highest, {}", over.own(), note(key, None, low), under.own(), note(key, None, top)));
        }
        return Some(format!("{} {} wholly over {}: {gap} parts {} from {}", over.text, over.verb("lies", "lie"), under.text, note(key, None, top), note(key, None, low)));
    }
    let shared = Range { low: ra.low.max(rb.low), high: ra.high.min(rb.high) };
    let course = match (r.above, r.sounding_overlap) {
        ([n, _], Some(_)) if n >= 0.9 => format!(", yet whenever both sound {} {} on top", x.text, x.verb("is", "are")),
        ([_, n], Some(_)) if n >= 0.9 => format!(", yet whenever both sound {} {} on top", y.text, y.verb("is", "are")),
        ([m, n], Some(_)) if m + n <= 0.5 => ", and mostly cross while both sound".into(),
        _ => String::new(),
    };
    if r.overlap == 0 {
        return Some(format!("{} and {} touch at one note, {}", x.text, y.text, note(key, None, shared.low)));
    }
    let gap = interval(key, shared.low, shared.high);
    if ra == rb {
        return Some(format!("{} and {} keep to the same register, {}{course}", x.text, y.text, span(key, ra)));
    }
    for (inner, outer, ri, ro) in [(x, y, ra, rb), (y, x, rb, ra)] {
        if ri == shared {
            return Some(format!("{} {} inside {} range ({} within {}){course}", inner.text, inner.verb("lies", "lie"), outer.own(), span(key, ri), span(key, ro)));
        }
    }
    Some(format!("{} and {} share {gap}, {} to {}{course}", x.text, y.text, note(key, None, shared.low), note(key, None, shared.high)))
}

/// At least four shared strokes with pitches, and in four fifths of the sparer part's notes the other has the same, in unison or at the octave:
/// who doubles whom.
pub(super) fn doubling(p: &Pairing) -> Option<String> {
    let both: Vec<(Range, Range)> = p.shared.iter().filter_map(|(a, b)| Some((a.range?, b.range?))).collect();
    let pitched = |i: usize| p.sides[i].hits.iter().filter(|h| h.range.is_some()).count();
    let least = pitched(0).min(pitched(1));
    if both.len() < 4 {
        return None;
    }
    for (semitones, words) in [(0, "in unison"), (12, "an octave higher"), (-12, "an octave lower"), (24, "two octaves higher"), (-24, "two octaves lower")] {
        let up = |m: Midi| m.up(semitones);
        let same = both.iter().filter(|(a, b)| up(b.low) == Some(a.low) && up(b.high) == Some(a.high)).count();
        if same >= 4 && 5 * same >= 4 * least {
            return Some(format!("{} {} {} {words}", p.sides[0].name.text, p.sides[0].name.verb("doubles", "double"), p.sides[1].name.text));
        }
    }
    None
}

/// Both on the very same pitch at a time: which, how often, where first. Of several the one that they meet on most.
pub(super) fn unisons(p: &Pairing) -> Option<String> {
    let mut seen: Vec<(Midi, Vec<(usize, Beats)>)> = Vec::new();
    for c in p.pair.clashes.iter().filter(|c| c.kind == ClashKind::Unison) {
        match seen.iter_mut().find(|s| s.0 == c.notes[0]) {
            Some(s) => s.1.push((c.bar, c.at)),
            None => seen.push((c.notes[0], vec![(c.bar, c.at)])),
        }
    }
    seen.sort_by_key(|s| (std::cmp::Reverse(s.1.len()), s.1[0]));
    let said = |(midi, at): &(Midi, Vec<(usize, Beats)>)| {
        let chord = chord_at(&p.map.chords, at[0].0, at[0].1).map(|(s, _)| s);
        note(p.passage.key, chord, *midi)
    };
    let first = seen.first()?;
    let (what, at) = (said(first), &first.1);
    let both = format!("{} and {}", p.sides[0].name.text, p.sides[1].name.text);
    let others: Vec<String> = seen[1..].iter().take(2).map(said).collect();
    let also = if others.is_empty() { String::new() } else { format!(", and on {}", list(&others)) };
    Some(if at.len() <= 4 {
        format!("{both} meet on the same note, {what}, at {}{also}", places(p.passage, at))
    } else {
        format!("{both} meet on the same note, {what}, {}, first at {}{also}", times(at.len()), place(p.passage, at[0].0, at[0].1))
    })
}
