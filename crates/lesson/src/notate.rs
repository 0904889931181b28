//! How a bar's strokes are written in note values: split at beats, tied, dotted, beamed, grouped into tuplets.

use crate::{Bar, Beats, Event, Meter, PartBar};

/// A plain note value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Base {
    Whole,
    Half,
    Quarter,
    Eighth,
    Sixteenth,
    ThirtySecond,
    SixtyFourth,
}

impl Base {
    /// Flags of a single note, or beams of a group: 1 for an eighth, 4 for a sixty-fourth, 0 from the quarter up.
    pub fn flags(self) -> u32 {
        match self {
            Base::Whole | Base::Half | Base::Quarter => 0,
            Base::Eighth => 1,
            Base::Sixteenth => 2,
            Base::ThirtySecond => 3,
            Base::SixtyFourth => 4,
        }
    }

    /// Length of the plain value, without dots or tuplet, in quarter notes: 4 for a whole note, 1/16 for a sixty-fourth.
    pub fn length(self) -> Beats {
        Beats::new(4, 1 << (self as u8))
    }
}

impl Written {
    /// Whether value, dots and tuplet multiply out to `len`. A whole bar's rest, which has the bar's length, is no value.
    pub(crate) fn is_exact(&self) -> bool {
        let (actual, normal) = self.tuplet.unwrap_or((1, 1));
        let dotted = self.base.length() * (Beats::from_integer(2) - Beats::new(1, 1 << self.dots));
        dotted * Beats::new(i64::from(normal), i64::from(actual)) == self.len
    }
}

/// One written note value: a stroke, its continuation by a tie, or a rest.
#[derive(Clone, Debug, PartialEq)]
pub struct Written {
    /// From the bar's start.
    pub at: Beats,
    pub len: Beats,
    pub base: Base,
    pub dots: u8,
    /// `actual` notes in the time of `normal` of the same base.
    /// A pickup that begins within a tuplet has the rest of it.
    pub tuplet: Option<(u8, u8)>,
    /// First and last of its tuplet group.
    pub tuplet_start: bool,
    pub tuplet_stop: bool,
    /// Index into [`crate::PartBar::events`]; `None` is a rest.
    pub event: Option<usize>,
    /// First chunk of its event (where digits and attack marks stand).
    pub head: bool,
    /// Tied to the chunk before it (also over the bar line) and to the one after it.
    pub tie_in: bool,
    pub tie_out: bool,
    /// Beams, one a level from the eighth beam inward; empty for unbeamed notes and rests.
    pub beams: Vec<Beam>,
}

/// A beam at a note, as MusicXML counts them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Beam {
    Begin,
    Continue,
    End,
    HookForward,
    HookBack,
}

/// Note values as (base, dots, quarter notes), longest first.
fn values() -> [(Base, u8, Beats); 13] {
    let b = |n, d| Beats::new(n, d);
    [
        (Base::Whole, 1, b(6, 1)),
        (Base::Whole, 0, b(4, 1)),
        (Base::Half, 1, b(3, 1)),
        (Base::Half, 0, b(2, 1)),
        (Base::Quarter, 1, b(3, 2)),
        (Base::Quarter, 0, b(1, 1)),
        (Base::Eighth, 1, b(3, 4)),
        (Base::Eighth, 0, b(1, 2)),
        (Base::Sixteenth, 1, b(3, 8)),
        (Base::Sixteenth, 0, b(1, 4)),
        (Base::ThirtySecond, 1, b(3, 16)),
        (Base::ThirtySecond, 0, b(1, 8)),
        (Base::SixtyFourth, 0, b(1, 16)),
    ]
}

/// A stretch written under a tuplet: `actual` in the time of `normal`.
#[derive(Clone, Copy, Debug)]
struct Region {
    start: Beats,
    end: Beats,
    actual: i64,
    normal: i64,
}

/// A stroke or a rest, before it is cut into values.
#[derive(Clone, Copy, Debug)]
struct Piece {
    start: Beats,
    end: Beats,
    event: Option<usize>,
}

/// Writes a bar of a part in note values.
///
/// Every instant of the bar is covered once, in order. Values are cut at beats where they start off the beat, and at the
/// middle of 4/4 (common practice); rests are cut at every beat. Silence through the whole bar is one [`Base::Whole`] rest of
/// the bar's own length. Lengths that no value has stand in tuplets: the bracket's own, or one for the beat (where the beat is
/// dotted and that is simpler, one for each of its thirds). A pickup is written as the end of a full bar is.
/// In a bar that was read without a problem value, dots and tuplet multiply out to the length of each [`Written`], but for
/// the whole bar's rest.
pub fn notate(bar: &Bar, part: &PartBar) -> Vec<Written> {
    let zero = Beats::from_integer(0);
    let events = &part.events;
    if events.is_empty() {
        return vec![Written { at: zero, len: bar.length, base: Base::Whole, dots: 0, tuplet: None, tuplet_start: false, tuplet_stop: false, event: None, head: true, tie_in: false, tie_out: false, beams: vec![] }];
    }
    let cells = cells(bar);
    let mut pieces: Vec<Piece> = Vec::new();
    let mut t = zero;
    for (i, e) in events.iter().enumerate() {
        if e.at > t {
            pieces.push(Piece { start: t, end: e.at, event: None });
        }
        let next = events.get(i + 1).map_or(bar.length, |n| n.at);
        let end = (e.at + e.len).min(next);
        pieces.push(Piece { start: e.at, end, event: Some(i) });
        t = end;
    }
    if t < bar.length {
        pieces.push(Piece { start: t, end: bar.length, event: None });
    }
    let regions = regions(bar, &cells, &pieces, events);
    let mut out: Vec<Written> = Vec::new();
    for p in &pieces {
        let first = out.len();
        let mut t = p.start;
        while t < p.end {
            let region = regions.iter().find(|r| r.start <= t && t < r.end);
            match region {
                Some(r) => {
                    let end = p.end.min(r.end);
                    let scale = Beats::new(r.actual, r.normal);
                    for (s, l, base, dots) in cut_even((t - r.start) * scale, (end - t) * scale, p.event.is_none()) {
                        let at = r.start + s / scale;
                        out.push(blank(at, l / scale, base, dots, Some((r.actual as u8, r.normal as u8)), p.event));
                    }
                    t = end;
                }
                None => {
                    let end = regions.iter().map(|r| r.start).filter(|s| *s > t).min().map_or(p.end, |s| s.min(p.end));
                    for (s, l, base, dots) in cut_meter(bar, &cells, t, end, p.event.is_none()) {
                        out.push(blank(s, l, base, dots, None, p.event));
                    }
                    t = end;
                }
            }
        }
        let last = out.len();
        for (k, w) in out[first..last].iter_mut().enumerate() {
            w.head = k == 0;
            if let Some(e) = p.event {
                w.tie_in = k > 0 || events[e].tie_in;
                w.tie_out = k + 1 < last - first || events[e].tie_out;
            }
        }
    }
    for r in &regions {
        let inside: Vec<usize> = (0..out.len()).filter(|i| r.start <= out[*i].at && out[*i].at < r.end).collect();
        if let (Some(a), Some(b)) = (inside.first(), inside.last()) {
            out[*a].tuplet_start = true;
            out[*b].tuplet_stop = true;
        }
    }
    let groups = beam_groups(bar, &cells, &out, events);
    beam(&mut out, &groups);
    out
}

fn blank(at: Beats, len: Beats, base: Base, dots: u8, tuplet: Option<(u8, u8)>, event: Option<usize>) -> Written {
    Written { at, len, base, dots, tuplet, tuplet_start: false, tuplet_stop: false, event, head: false, tie_in: false, tie_out: false, beams: vec![] }
}

/// The bar's beats as [start, end). A pickup has the last ones of its meter, whole: the first may begin before it.
fn cells(bar: &Bar) -> Vec<(Beats, Beats)> {
    let zero = Beats::from_integer(0);
    let mut t = bar.length - bar.meter.length();
    let mut out = Vec::new();
    for g in bar.meter.groups() {
        if t + g > zero {
            out.push((t, t + g));
        }
        t += g;
    }
    out
}

impl Meter {
    /// How the bar is counted for beaming: quarters in x/4 and x/2, dotted units in compound meters, twos and threes in the rest
    /// (5/8 as 3+2, 7/8 as 2+2+3; common practice).
    pub fn groups(self) -> Vec<Beats> {
        if self.is_compound() {
            return vec![self.beat(); self.beats() as usize];
        }
        if self.unit <= 4 {
            return vec![Beats::from_integer(1); (i64::from(self.count) * 4 / i64::from(self.unit)) as usize];
        }
        let unit = Beats::new(4, i64::from(self.unit));
        let n = i64::from(self.count);
        let mut sizes: Vec<i64> = match n {
            1 => vec![1],
            3 => vec![3],
            5 => vec![3, 2],
            _ => vec![2; (n / 2) as usize],
        };
        if n % 2 == 1 && n > 5 {
            *sizes.last_mut().expect("not empty") += 1;
        }
        sizes.into_iter().map(|s| unit * Beats::from_integer(s)).collect()
    }
}

/// The odd part of a time's denominator: 1 for plain note values, 3 for triplets.
fn odd(t: Beats) -> i64 {
    let d = *t.denom();
    d >> d.trailing_zeros()
}

/// How many plain values fill the stretch that `actual` notes are spread over: the most that are fewer than `actual`, or, where
/// there are none, the fewest that are more.
fn normal(length: Beats, actual: i64) -> Option<i64> {
    let fill: Vec<i64> = [4, 2, 1].iter().map(|n| Beats::from_integer(*n)).chain([2, 4, 8, 16].iter().map(|d| Beats::new(1, *d))).map(|v| length / v).filter(Beats::is_integer).map(|n| n.to_integer()).filter(|n| *n < 256).collect();
    fill.iter().copied().filter(|n| *n < actual).max().or_else(|| fill.into_iter().filter(|n| *n > actual).min())
}

/// Members of a tuplet that a beat is written in; more cannot be read.
const BEAT_TUPLET_MAX: i64 = 31;

/// The tuplet that all of `times` between `a` and `b` need, 1 where plain values do.
fn needed(times: &[Beats], a: Beats, b: Beats) -> i64 {
    let inside = || times.iter().filter(|t| a < **t && **t < b).map(|t| *t - a);
    if inside().all(|t| odd(t) == 1) {
        return 1;
    }
    inside().map(|t| odd(t / (b - a))).fold(1i64, |m, o| m.saturating_mul(o / gcd(m, o)))
}

fn regions(bar: &Bar, cells: &[(Beats, Beats)], pieces: &[Piece], events: &[Event]) -> Vec<Region> {
    let mut out: Vec<Region> = Vec::new();
    for e in events {
        if let Some(t) = e.tuplet {
            let each = t.length / Beats::from_integer(i64::from(t.members));
            let outer = odd(t.start).max(odd(t.length));
            let plain = (each * Beats::from_integer(16)).is_integer();
            if (odd(each) > outer || (odd(each) == 1 && !plain))
                && !out.iter().any(|r| r.start == t.start)
                && let Some(normal) = normal(t.length, i64::from(t.members))
            {
                out.push(Region { start: t.start, end: t.start + t.length, actual: i64::from(t.members), normal });
            }
        }
    }
    let brackets = out.clone();
    let times: Vec<Beats> = pieces.iter().flat_map(|p| [p.start, p.end]).filter(|t| !brackets.iter().any(|r| r.start < *t && *t < r.end)).collect();
    let unit = Beats::new(4, i64::from(bar.meter.unit));
    let mut beats: Vec<(Beats, Beats, i64)> = Vec::new();
    for (a, b) in cells {
        let whole = needed(&times, *a, *b);
        let thirds: Vec<(Beats, Beats, i64)> = (0..((*b - *a) / unit).to_integer()).map(|k| *a + unit * Beats::from_integer(k)).map(|t| (t, t + unit, needed(&times, t, t + unit))).collect();
        if thirds.len() > 1 && thirds.iter().all(|t| t.2 < whole) {
            beats.extend(thirds);
        } else {
            beats.push((*a, *b, whole));
        }
    }
    for (a, b, m) in beats {
        // A beat that a bracket reaches into has no tuplet of its own.
        if (2..=BEAT_TUPLET_MAX).contains(&m)
            && !brackets.iter().any(|r| r.start < b && a < r.end)
            && let Some(normal) = normal(b - a, m)
        {
            out.push(Region { start: a, end: b, actual: m, normal });
        }
    }
    out.sort_by_key(|r| r.start);
    out
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

type Cut = (Beats, Beats, Base, u8);

/// The single value of a length, if there is one; rests are not dotted unless asked.
fn single(len: Beats, dotted: bool) -> Option<(Base, u8)> {
    values().into_iter().find(|(_, d, l)| *l == len && (dotted || *d == 0)).map(|(b, d, _)| (b, d))
}

/// Cuts a stretch that lies within one beat (or tuplet): one value where there is one, else the longest that keeps to its own grid.
fn cut_even(start: Beats, len: Beats, rest: bool) -> Vec<Cut> {
    let mut out = Vec::new();
    let (mut t, end) = (start, start + len);
    while t < end {
        let left = end - t;
        if let Some((base, dots)) = single(left, !rest) {
            out.push((t, left, base, dots));
            break;
        }
        // The longest plain value that begins on its own grid and fits.
        let fit = values().into_iter().filter(|(_, d, l)| *d == 0 && *l <= left).find(|(_, _, l)| (t / *l).is_integer());
        match fit {
            Some((base, dots, l)) => {
                out.push((t, l, base, dots));
                t += l;
            }
            None => {
                // No value fits; reading refuses such bars, so this only closes the bar.
                out.push((t, left, Base::SixtyFourth, 0));
                break;
            }
        }
    }
    out
}

/// Cuts a plain stretch by the meter.
fn cut_meter(bar: &Bar, cells: &[(Beats, Beats)], start: Beats, end: Beats, rest: bool) -> Vec<Cut> {
    let gap = bar.meter.length() - bar.length;
    let compound = bar.meter.is_compound();
    let beat_of = |t: Beats| cells.iter().find(|(a, b)| *a <= t && t < *b).copied();
    let middle = (bar.meter.unit == 4 && bar.meter.count == 4).then(|| Beats::from_integer(2) - gap).filter(|m| *m > Beats::from_integer(0));
    let mut out = Vec::new();
    let mut t = start;
    while t < end {
        let Some((a, b)) = beat_of(t) else {
            out.extend(cut_even(t, end - t, rest));
            break;
        };
        let stop = if end <= b {
            end
        } else if t > a {
            // Off the beat: to the beat's end; but a syncopated whole beat from half to half stays one note.
            let half = (b - a) / Beats::from_integer(2);
            let syncopated = !rest && !compound && t == a + half && end == b + half && middle != Some(b) && bar.meter.unit == 4;
            // Eighth and dotted quarter fill a half bar (common practice).
            let next = b + (b - a);
            let fills = !rest && middle.is_some() && t == a + half && end >= next && ((next + gap) / Beats::from_integer(2)).is_integer();
            if syncopated {
                end
            } else if fills {
                next
            } else {
                b
            }
        } else {
            // On the beat: whole beats as far as one value and the middle of the bar allow.
            let limit = match middle {
                Some(m) if t < m && end > m && !(t + gap == Beats::from_integer(0) && end >= m + Beats::from_integer(1)) => m,
                _ => end,
            };
            let ends: Vec<Beats> = cells.iter().map(|c| c.1).filter(|e| *e > t && *e < limit).chain([limit]).collect();
            // A rest longer than a beat begins on its own grid.
            let fits = |e: Beats| {
                single(e - t, !rest || compound).is_some() && (!rest || compound || e - t <= b - a || ((t + gap) / (e - t)).is_integer())
            };
            ends.into_iter().rev().find(|e| fits(*e)).unwrap_or_else(|| limit.min(b))
        };
        match single(stop - t, !rest || compound) {
            Some((base, dots)) if !(rest && compound && dots > 0 && (t != a || stop < b)) => out.push((t, stop - t, base, dots)),
            // Within a beat: on the grid that counts from the beat.
            _ => out.extend(cut_even(t - a, stop - t, rest).into_iter().map(|(s, l, base, dots)| (s + a, l, base, dots))),
        }
        t = stop;
    }
    out
}

/// Beam groups as [start, end): beats, and in 4/4 the halves that hold nothing finer than eighths and no rest.
fn beam_groups(bar: &Bar, cells: &[(Beats, Beats)], written: &[Written], events: &[Event]) -> Vec<(Beats, Beats)> {
    let mut out: Vec<(Beats, Beats)> = Vec::new();
    let mut i = 0;
    while i < cells.len() {
        let (a, b) = cells[i];
        let pair = cells.get(i + 1).copied();
        let on_half = ((a + bar.meter.length() - bar.length) / Beats::from_integer(2)).is_integer();
        if let Some((_, end)) = pair.filter(|_| bar.meter.unit == 4 && bar.meter.count == 4 && on_half) {
            let plain = written.iter().filter(|w| a <= w.at && w.at < end).all(|w| w.event.is_some() && w.base == Base::Eighth && w.dots == 0 && w.tuplet.is_none());
            if plain {
                out.push((a, end));
                i += 2;
                continue;
            }
        }
        out.push((a, b));
        i += 1;
    }
    // A bracket over several beats is one group, if its notes have beams at all.
    for e in events {
        if let Some(t) = e.tuplet {
            let (a, b) = (t.start, t.start + t.length);
            if out.iter().any(|g| g.0 < a && a < g.1 && b > g.1) || out.iter().filter(|g| a <= g.0 && g.1 <= b).count() > 1 {
                out.retain(|g| g.1 <= a || g.0 >= b || (g.0 < a) || (g.1 > b));
                out.push((a, b));
            }
        }
    }
    out.sort_by_key(|g| (g.0, g.1));
    out
}

fn beam(written: &mut [Written], groups: &[(Beats, Beats)]) {
    let mut start = 0;
    for (a, b) in groups {
        let here: Vec<usize> = (start..written.len()).filter(|i| *a <= written[*i].at && written[*i].at < *b).collect();
        if let Some(last) = here.last() {
            start = last + 1;
        }
        // Runs of notes with flags; rests between them do not break the primary beam, longer values do.
        let mut run: Vec<usize> = Vec::new();
        let mut runs: Vec<Vec<usize>> = Vec::new();
        for i in here {
            if written[i].base.flags() == 0 {
                runs.push(std::mem::take(&mut run));
            } else {
                run.push(i);
            }
        }
        runs.push(run);
        for run in runs {
            let notes: Vec<usize> = run.iter().copied().filter(|i| written[*i].event.is_some()).collect();
            if notes.len() < 2 {
                continue;
            }
            let deepest = notes.iter().map(|i| written[*i].base.flags()).max().unwrap_or(0);
            for level in 1..=deepest {
                // Neighbours on this level: notes with the beam, with nothing coarser between them.
                let mut k = 0;
                while k < notes.len() {
                    if written[notes[k]].base.flags() < level {
                        k += 1;
                        continue;
                    }
                    let mut e = k;
                    while e + 1 < notes.len() && written[notes[e + 1]].base.flags() >= level && (notes[e] + 1..notes[e + 1]).all(|r| written[r].base.flags() >= level || level == 1) {
                        e += 1;
                    }
                    if e == k {
                        let w = &written[notes[k]];
                        let forward = k == 0 || (k + 1 < notes.len() && ((w.at - *a) * Beats::from_integer(1 << (level - 1))).is_integer());
                        written[notes[k]].beams.push(if forward { Beam::HookForward } else { Beam::HookBack });
                    } else {
                        for (n, i) in notes[k..=e].iter().enumerate() {
                            written[*i].beams.push(if n == 0 {
                                Beam::Begin
                            } else if n == e - k {
                                Beam::End
                            } else {
                                Beam::Continue
                            });
                        }
                    }
                    k = e + 1;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Note values of a bar as a compact line: value, dots, ties, tuplets, beams; rests in small letters.
    fn show(meter: &str, slots: u32, line: &str) -> String {
        let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 90; meter \"{meter}\"; slots {slots}; part \"g\" instrument=\"guitar\" {{ grip \"a\" \"x x 2 2 2 x\"; {line} }} }} }}");
        let r = crate::read(&text);
        assert!(r.problems.is_empty(), "{:?}", r.problems);
        let p = &r.lesson.passages[0];
        let written = notate(&p.bars[0], &p.parts[0].bars[0]);
        // Every instant is covered once.
        let mut t = Beats::from_integer(0);
        for w in &written {
            assert_eq!(w.at, t);
            t += w.len;
        }
        assert_eq!(t, p.bars[0].length);
        assert!(p.parts[0].bars[0].events.is_empty() || written.iter().all(Written::is_exact));
        let words: Vec<String> = written
            .iter()
            .map(|w| {
                let value = ["1", "2", "4", "8", "16", "32", "64"][w.base as usize];
                let beams: String = w.beams.iter().map(|b| ['[', '=', ']', '>', '<'][*b as usize]).collect();
                format!(
                    "{}{}{value}{}{}{}{beams}{}",
                    if w.tuplet_start { format!("{}:{}(", w.tuplet.unwrap().0, w.tuplet.unwrap().1) } else { String::new() },
                    if w.event.is_some() { "" } else { "r" },
                    ".".repeat(w.dots.into()),
                    if w.tie_out { "~" } else { "" },
                    "",
                    if w.tuplet_stop { ")" } else { "" },
                )
            })
            .collect();
        words.join(" ")
    }

    #[test]
    fn values_follow_the_meter() {
        // common practice
        for (meter, slots, line, want) in [
            ("4/4", 4, ". . . .", "r1"),
            ("3/4", 3, ". . .", "r1"),
            ("4/4", 4, "a - - -", "1"),
            ("4/4", 4, "a - - .", "2. r4"),
            ("4/4", 4, ". a - .", "r4 4~ 4 r4"),
            ("4/4", 8, "a a - a a a a a", "8 4 8 8[ 8= 8= 8]"),
            ("4/4", 8, "a a - - - a - -", "8 4.~ 8 4."),
            ("4/4", 16, "a . x x . a x . . x a x a - . .", "16[[ r16 16== 16]] r16 16[[ 16]] r16 r16 16[[ 16== 16]] 8 r8"),
            ("4/4", 16, "a - - a . . . . a a - a . . . a", "8.[ 16]< r4 16[> 8= 16]< r8 r16 16"),
            ("3/4", 6, "a a a a a a", "8[ 8] 8[ 8] 8[ 8]"),
            ("3/4", 3, "a - -", "2."),
            ("6/8", 6, "a - a a a a", "4 8 8[ 8= 8]"),
            ("6/8", 6, "a - - - - -", "2."),
            ("6/8", 6, "a - - . . .", "4. r4."),
            ("6/8", 6, "a . . . . a", "8 r4 r4 8"),
            ("5/4", 5, "a - - - -", "1~ 4"),
            ("2/4", 8, "a - - - a - a -", "4 8[ 8]"),
            ("4/4", 12, "a a a a - a a - - - - -", "3:2(8[ 8= 8]) 3:2(4 8) 2"),
            ("4/4", 16, "[a a a]=2 a - a - - - a - - - - - - -", "3:2(16[[ 16== 16=]) 8] 4 2"),
            ("4/4", 4, "[a a a]=2 a -", "3:2(4 4 4) 2"),
            ("4/4", 16, "[a a a a a]=4 a - - - - - - - - - - -", "5:4(16[[ 16== 16== 16== 16]]) 4~ 2"),
            ("12/8", 12, "a - - - - - a - - . . .", "2. 4. r4."),
            ("7/8", 7, "a a a a a a a", "8[ 8] 8[ 8] 8[ 8= 8]"),
        ] {
            let got = show(meter, slots, &format!("bar \"{line}\""));
            assert_eq!(got, want, "{meter} {line}");
        }
    }

    #[test]
    fn ties_lead_on_from_heads() {
        let text = "lesson \"t\" { passage \"p\" { tempo 90; slots 4; part \"g\" instrument=\"guitar\" { bar \". 1:0 - 1:1\"; bar \"- . . .\" } } }";
        let p = &crate::read(text).lesson.passages[0];
        let of = |bar: usize| notate(&p.bars[bar], &p.parts[0].bars[bar]).iter().map(|w| (w.head, w.tie_in, w.tie_out)).collect::<Vec<_>>();
        assert_eq!(of(0), [(true, false, false), (true, false, true), (false, true, false), (true, false, true)]);
        assert_eq!(of(1)[0], (true, true, false));
    }

    /// The end of a full bar, its first tuplet cut off.
    #[test]
    fn pickups_are_written_as_the_end_of_a_bar() {
        // common practice
        for (meter, slots, line, want) in [
            ("4/4", 8, "a a a", "8[ 8= 8]"),
            ("4/4", 8, "a - -", "8~ 4"),
            ("4/4", 16, "a a a", "16[[ 16== 16]]"),
            ("4/4", 12, "a", "3:2(8)"),
            ("4/4", 12, "a a", "3:2(8[ 8])"),
            ("4/4", 12, "a -", "3:2(4)"),
            ("4/4", 12, "a a a a", "3:2(8) 3:2(8[ 8= 8])"),
            ("4/4", 12, "a a - -", "3:2(8) 4"),
            ("4/4", 24, "a a a a a", "3:2(16[[ 16== 16== 16== 16]])"),
            ("4/4", 12, "[a a]=1", "3:2(16[[ 16]])"),
            ("3/4", 9, "a . a a", "3:2(8) 3:2(r8 8[ 8])"),
            ("2/2", 12, "a", "3:2(8)"),
            ("6/8", 6, "a", "8"),
            ("6/8", 6, "a a", "8[ 8]"),
            ("6/8", 6, "a a - -", "8 4."),
            // Two in the time of three are dotted.
            ("6/8", 4, "a", "8."),
            ("6/8", 8, "a a a", "16.[[ 16.== 16.]]"),
            // Thirds of an eighth: each eighth has its own triplet.
            ("6/8", 18, "a a a a", "3:2(16[[) 3:2(16== 16== 16]])"),
            ("6/8", 10, "a a", "5:3(8[ 8])"),
        ] {
            let got = show(meter, slots, &format!("pickup \"{line}\"; bar \"a{}\"", " a".repeat(slots as usize - 1)));
            assert_eq!(got, want, "{meter} {line}");
        }
    }

    #[test]
    fn odd_brackets_and_slots_multiply_out() {
        for (meter, slots, line, want) in [
            ("4/4", 64, format!("[a a]=3 a{}", " -".repeat(60)).as_str(), "2:3(64[[[[ 64====) 64~=]]] 8.~] 4~ 2"),
            ("4/4", 16, "[a a a]=5 a a a . . . . . . . .", "3:5(16[[ 16== 16]]) 16[[ 16== 16]] r2"),
            ("6/8", 18, "a - a . . . a - - - - - - - - a a a", "3:2(8[ 16=<) r8 8~] 4 3:2(16[[ 16== 16]])"),
        ] {
            let got = show(meter, slots, &format!("bar \"{line}\""));
            assert_eq!(got, want, "{meter} {line}");
        }
    }
}
