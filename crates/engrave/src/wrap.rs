//! A bar that is too full for a line of its own: where it is cut, and how its values are written in pieces.
//!
//! common practice: a bar is parted at a beat, what sounds on past the cut is tied over it, no barline stands at the cut, and the line that
//! goes on has the bar's number in brackets. Figures never shrink for it. Only where not even a beat fits is a beat cut, at its half
//! first, then between any two strokes; never within a bracket that began in the same place.

use crate::spacing::Gap;
use lesson::{Bar, Base, Beam, Beats, Event, PartBar, Written};

/// The bar's values. Strokes that go on past a cut are written as tied values on both its sides, rests are cut there.
pub(crate) fn notate_cut(bar: &Bar, part: &PartBar, cuts: &[Beats]) -> Vec<Written> {
    if cuts.is_empty() || part.events.is_empty() {
        return lesson::notate(bar, part);
    }
    let mut events: Vec<Event> = Vec::new();
    // Which event each piece is of, and whether it is its first.
    let mut origin: Vec<(usize, bool)> = Vec::new();
    for (e, event) in part.events.iter().enumerate() {
        let (mut start, end) = (event.at, event.at + event.len);
        for cut in cuts.iter().copied().filter(|c| event.at < *c && *c < end).chain([end]) {
            let (first, last) = (start == event.at, cut == end);
            events.push(Event {
                at: start,
                len: cut - start,
                tie_in: if first { event.tie_in } else { true },
                tie_out: if last { event.tie_out } else { true },
                ..event.clone()
            });
            origin.push((e, first));
            start = cut;
        }
    }
    let mut out = Vec::new();
    for mut w in lesson::notate(bar, &PartBar { events, ..part.clone() }) {
        match w.event {
            Some(e) => {
                let (event, first) = origin[e];
                w.event = Some(event);
                w.head &= first;
                out.push(w);
            }
            None if w.tuplet.is_none() && cuts.iter().any(|c| w.at < *c && *c < w.at + w.len) => out.extend(cut_rest(bar, &w)),
            None => out.push(w),
        }
    }
    out
}

/// A rest of several beats as one a beat.
fn cut_rest(bar: &Bar, rest: &Written) -> Vec<Written> {
    let mut out = Vec::new();
    let end = rest.at + rest.len;
    for (a, b) in beats(bar) {
        let (a, b) = (a.max(rest.at), b.min(end));
        let value = [(Base::Half, 2, 1), (Base::Quarter, 1, 1), (Base::Eighth, 1, 2), (Base::Sixteenth, 1, 4)].into_iter().find_map(|(base, n, d)| {
            let plain = Beats::new(n, d);
            [(0, plain), (1, plain * Beats::new(3, 2))].into_iter().find(|v| v.1 == b - a).map(|v| (base, v.0))
        });
        if let (true, Some((base, dots))) = (a < b, value) {
            out.push(Written { at: a, len: b - a, base, dots, ..rest.clone() });
        }
    }
    if out.is_empty() { vec![rest.clone()] } else { out }
}

/// The beats that the bar is counted in, as start and end; a pickup has the last ones of its meter.
fn beats(bar: &Bar) -> Vec<(Beats, Beats)> {
    let zero = Beats::from_integer(0);
    let gap = bar.meter.length() - bar.length;
    let mut t = -gap;
    let mut out = Vec::new();
    for g in bar.meter.groups() {
        let (a, b) = (t.max(zero), (t + g).max(zero));
        if b > a {
            out.push((a, b));
        }
        t += g;
    }
    out
}

/// Where a bar is cut so that no piece is wider than `room`: as few pieces as do, and those as even as can be. `gaps` are the bar's, before
/// each of its columns and after the last. Empty when the bar fits, or when nothing can be done.
pub(crate) fn choose_cuts(bar: &Bar, parts: &[&PartBar], columns: &[Beats], gaps: &[Gap], room: f64) -> Vec<Beats> {
    let whole: f64 = gaps.iter().map(|g| g.least).sum();
    if whole <= room {
        return Vec::new();
    }
    let zero = Beats::from_integer(0);
    let mut xs = Vec::with_capacity(columns.len());
    let mut x = 0.0;
    for g in &gaps[..columns.len()] {
        x += g.least;
        xs.push(x);
    }
    // Left edge of what begins at or after a time; a piece has its first column's room, too.
    let edge = |t: Beats| if t == zero { 0.0 } else { columns.iter().position(|c| *c >= t).map_or(whole, |c| xs[c] - gaps[c].least * 0.5) };
    let inside = |t: Beats| parts.iter().flat_map(|p| &p.events).filter_map(|e| e.tuplet).any(|b| b.start < t && t < b.start + b.length);
    let open = |t: &Beats| zero < *t && *t < bar.length && !inside(*t);
    let starts: Vec<Beats> = beats(bar).iter().map(|b| b.0).filter(open).collect();
    let mut halves: Vec<Beats> = beats(bar).iter().flat_map(|(a, b)| [*a, (*a + *b) / Beats::from_integer(2)]).filter(open).collect();
    halves.sort_unstable();
    let all: Vec<Beats> = columns.iter().copied().filter(open).collect();
    // Tied values and brackets round figures that a cut adds need a little more.
    let limit = room * 0.94;
    for list in [starts, halves, all] {
        let mut points = vec![(zero, 0.0)];
        points.extend(list.iter().map(|t| (*t, edge(*t))));
        points.push((bar.length, whole));
        if let Some(cuts) = fewest(&points, limit) {
            return cuts;
        }
    }
    Vec::new()
}

/// The points to cut at: fewest pieces, then the least sum of squared widths.
fn fewest(points: &[(Beats, f64)], limit: f64) -> Option<Vec<Beats>> {
    let n = points.len();
    let mut best: Vec<Option<(u32, f64, usize)>> = vec![None; n];
    best[0] = Some((0, 0.0, 0));
    for end in 1..n {
        for start in 0..end {
            let Some((count, cost, _)) = best[start] else { continue };
            let width = points[end].1 - points[start].1;
            if width > limit {
                continue;
            }
            let next = (count + 1, cost + width * width, start);
            if best[end].is_none_or(|b| (next.0, next.1) < (b.0, b.1)) {
                best[end] = Some(next);
            }
        }
    }
    let mut cuts = Vec::new();
    let mut at = best[n - 1]?.2;
    while at > 0 {
        cuts.push(points[at].0);
        at = best[at]?.2;
    }
    cuts.reverse();
    Some(cuts)
}

/// Ends the beams that a cut within a beat has left open on either side of a piece.
pub(crate) fn close_beams(piece: &mut [Written]) {
    let notes: Vec<usize> = (0..piece.len()).filter(|i| piece[*i].event.is_some() && !piece[*i].beams.is_empty()).collect();
    let deepest = notes.iter().map(|i| piece[*i].beams.len()).max().unwrap_or(0);
    for level in 0..deepest {
        let mut open = false;
        let mut last: Option<usize> = None;
        for &i in &notes {
            let Some(beam) = piece[i].beams.get(level).copied() else { continue };
            match beam {
                Beam::Begin => open = true,
                // Nothing to the left to go on from.
                Beam::Continue if !open => {
                    piece[i].beams[level] = Beam::Begin;
                    open = true;
                }
                Beam::End if !open => piece[i].beams[level] = Beam::HookForward,
                Beam::End => open = false,
                Beam::Continue | Beam::HookForward | Beam::HookBack => {}
            }
            last = Some(i);
        }
        if let (true, Some(i)) = (open, last) {
            piece[i].beams[level] = if piece[i].beams[level] == Beam::Begin { Beam::HookBack } else { Beam::End };
        }
    }
    // A note alone has flags.
    for w in piece {
        if matches!(w.beams.first(), Some(Beam::HookForward | Beam::HookBack)) {
            w.beams.clear();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar_of(slots: u32, line: &str) -> (lesson::Bar, PartBar) {
        let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 90; slots {slots}; part \"g\" instrument=\"guitar\" {{ grip \"a\" \"x x 2 2 2 x\"; bar \"{line}\" }} }} }}");
        let r = lesson::read(&text);
        assert!(r.problems.is_empty(), "{:?}", r.problems);
        let p = &r.lesson.passages[0];
        (p.bars[0], p.parts[0].bars[0].clone())
    }

    #[test]
    fn what_sounds_past_a_cut_is_tied() {
        let (bar, part) = bar_of(4, "a - - -");
        let written = notate_cut(&bar, &part, &[Beats::from_integer(2)]);
        let show: Vec<_> = written.iter().map(|w| (w.base, w.head, w.tie_in, w.tie_out, w.event)).collect();
        assert_eq!(show, [
            (Base::Half, true, false, true, Some(0)),
            (Base::Half, false, true, false, Some(0)),
        ]);
        let (bar, part) = bar_of(4, "a . . .");
        let written = notate_cut(&bar, &part, &[Beats::from_integer(3)]);
        assert_eq!(written.iter().map(|w| w.base).collect::<Vec<_>>(), [Base::Quarter; 4]);
        assert_eq!(written.iter().map(|w| w.at + w.len).max(), Some(bar.length));
    }

    #[test]
    fn cuts_fall_on_beats_and_spare_brackets() {
        let gaps = |n: usize, least: f64| vec![Gap { least, natural: least }; n + 1];
        let columns = |n: i64| (0..n).map(|k| Beats::new(4 * k, n)).collect::<Vec<_>>();
        let (bar, part) = bar_of(16, &["a"; 16].join(" "));
        let beats = |list: &[i64]| list.iter().map(|b| Beats::from_integer(*b)).collect::<Vec<_>>();
        assert_eq!(choose_cuts(&bar, &[&part], &columns(16), &gaps(16, 10.0), 170.0), []);
        assert_eq!(choose_cuts(&bar, &[&part], &columns(16), &gaps(16, 10.0), 120.0), beats(&[2]));
        assert_eq!(choose_cuts(&bar, &[&part], &columns(16), &gaps(16, 10.0), 60.0), beats(&[1, 2, 3]));
        // Not even a beat fits: its half.
        assert_eq!(choose_cuts(&bar, &[&part], &columns(16), &gaps(16, 10.0), 35.0).len(), 7);
        let (bar, part) = bar_of(16, "a a a a [a a a]=8 a a a a");
        assert_eq!(choose_cuts(&bar, &[&part], &columns(16), &gaps(16, 10.0), 120.0), beats(&[1, 3]), "not within the bracket");
    }

    #[test]
    fn open_beams_are_closed() {
        use Beam::{Begin, Continue, End, HookBack};
        let (bar, part) = bar_of(16, &["a"; 16].join(" "));
        let written = lesson::notate(&bar, &part);
        let mut piece = written[0..3].to_vec();
        close_beams(&mut piece);
        assert_eq!(piece.iter().map(|w| w.beams[0]).collect::<Vec<_>>(), [Begin, Continue, End]);
        let mut piece = written[1..4].to_vec();
        close_beams(&mut piece);
        assert_eq!(piece[0].beams, [Begin, Begin]);
        let mut piece = written[3..4].to_vec();
        close_beams(&mut piece);
        assert!(piece[0].beams.is_empty());
        let (bar, part) = bar_of(16, "a - a a a - a a a - a a a - a a");
        let mut piece = lesson::notate(&bar, &part)[0..2].to_vec();
        close_beams(&mut piece);
        assert_eq!(piece[1].beams, [End, HookBack]);
    }
}
