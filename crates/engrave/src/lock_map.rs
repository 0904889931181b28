//! The lock map: when each part strikes, how long and how high it sounds, and where parts strike together.
//!
//! # How it is read
//! Time goes across on one scale through the whole passage, parts go down. The ruler counts as the lesson file does: `2.1` is beat 1 of
//! bar 2. A stroke is an upright bar from its lowest to its highest note; all rows with pitches have one common scale of height, so that a row that
//! lies low is low in sound. Behind the bar a wedge thins out for as long as the sound lasts. A slender bar is a note that is not struck
//! (hammered, pulled off, slid into), a hollow one is ghosted, a broad one with an accent sign over it is accented, a cross is a scratch.
//! An upright line joins parts that strike at the same time, and the row at the foot counts them: a figure where several strike, a dot where
//! one strikes alone, nothing where nobody does. Of a kit kick and snare count, as one part; cymbals and hats that go on all the time lock
//! with nothing (see `lock`).
//!
//! Everything is said by shape, nothing by colour.

use crate::chord_name::{chord_name, chord_name_height, chord_name_width};
use crate::fonts::{self, figure_size_min};
use crate::frame::{Anchor, Bounds, Face, Frame, Ink, Item, Path, Step, Stroke, What};
use crate::glyphs::{self, ACCENT_ABOVE};
use crate::sizes::DIGITS;
use crate::spacing::to_f64;
use crate::spelling::spell;
use lesson::{Beats, Drum, Passage};
use lock::{Hit, LockMap, Range, Row};
use pitch::Style;

/// How a lock map is set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LockMapOptions {
    /// Width of every frame, 200 points at least.
    pub width_pt: f64,
    /// Bars that come back alike in every part are drawn once, as in the systems.
    pub fold: bool,
}

impl Default for LockMapOptions {
    fn default() -> LockMapOptions {
        LockMapOptions { width_pt: 480.0, fold: true }
    }
}

/// The map as one frame, its lines one below the other. A passage without bars or without parts that count gives an empty frame that says so.
///
/// ```
/// let text = "lesson \"t\" { passage \"p\" title=\"Verse\" { tempo 90; slots 4
///   part \"chop\" instrument=\"guitar\" { grip \"a\" \"x x 8 8 8 x\"; bar \"a x . a\" }
///   part \"floor\" instrument=\"bass\" { bar \"3:3 - . 3:3\" } } }";
/// let passage = &lesson::read(text).lesson.passages[0];
/// let map = lock::lock_map(passage, &lock::harmony(passage));
/// let frame = engrave::lock_map(passage, &map, &engrave::LockMapOptions::default());
/// assert!(frame.alt.contains("chop and floor strike together 2 times"), "{}", frame.alt);
/// ```
pub fn lock_map(passage: &Passage, map: &LockMap, options: &LockMapOptions) -> Frame {
    let lines = lock_map_lines(passage, map, options);
    if lines.is_empty() {
        return Frame { alt: format!("Lock map of {}: nothing to show.", passage.title), ..Frame::default() };
    }
    let mut out = Frame { width_pt: lines[0].width_pt, ..Frame::default() };
    for line in lines {
        let y = if out.items.is_empty() { 0.0 } else { out.height_pt + LINE_GAP };
        // A bar's field on a page is as high as its frame, which here holds other bars as well.
        let plain = |item: Item| match item {
            Item::Group { what: What::Bar { .. }, items } => Item::Group { what: What::Plain, items },
            other => other,
        };
        out.items.extend(line.items.into_iter().map(|i| plain(i).placed(1.0, 0.0, y)));
        out.height_pt = y + line.height_pt;
        out.alt = [out.alt, line.alt].into_iter().filter(|a| !a.is_empty()).collect::<Vec<_>>().join(" ");
    }
    out
}

/// The map as one frame a line, for a page that lights up bars.
pub fn lock_map_lines(passage: &Passage, map: &LockMap, options: &LockMapOptions) -> Vec<Frame> {
    let bars = choose_bars(passage, map, options.fold);
    if bars.is_empty() || map.rows.is_empty() {
        return Vec::new();
    }
    let width = if options.width_pt.is_finite() { options.width_pt.clamp(200.0, 5000.0) } else { 480.0 };
    let layout = measure(passage, map, &bars, width);
    let mut out = Vec::new();
    let mut start = 0;
    for count in layout.lines.iter().copied() {
        let last = start + count == bars.len();
        out.push(draw_line(passage, map, &layout, &bars[start..start + count], width, start == 0, last));
        start += count;
    }
    out
}

const LINE_GAP: f64 = 14.0;
/// Height of a row with pitches, of a row without, and of the air between rows.
const PITCHED: f64 = 36.0;
const FLAT: f64 = 12.0;
const ROW_GAP: f64 = 3.0;
/// White above and below the pitches of a row.
const PAD: f64 = 5.0;
/// From a barline to its first moment, and from the last moment to the next barline.
const LEAD: f64 = 5.0;
/// Least distance of two strokes of different parts.
const APART: f64 = 7.0;
const BAR_WIDTH: f64 = 2.4;
const SLIM: f64 = 0.8;
const BROAD: f64 = 3.6;

/// A bar that is drawn, and the played ones that it stands for.
struct Drawn {
    index: usize,
    played: Vec<usize>,
}

struct Layout {
    label: f64,
    /// Points a quarter note.
    scale: f64,
    /// Bars in each line.
    lines: Vec<usize>,
    /// What the rows with pitches reach over, together.
    low: f64,
    unit: f64,
}

fn choose_bars(passage: &Passage, map: &LockMap, fold: bool) -> Vec<Drawn> {
    let known = |i: &usize| *i < map.bars.len() && *i < passage.bars.len();
    if fold {
        let sheet = lesson::sheet(passage).into_iter().filter(|s| s.played.iter().all(&known));
        return sheet.filter_map(|s| Some(Drawn { index: *s.played.first()?, played: s.played })).collect();
    }
    (0..map.bars.len()).filter(known).map(|index| Drawn { index, played: vec![index] }).collect()
}

fn measure(passage: &Passage, map: &LockMap, bars: &[Drawn], width: f64) -> Layout {
    let size = figure_size_min(Face::Italic);
    let most = f64::max(width * 0.2, 55.0);
    let labels = map.rows.iter().flat_map(|r| label_lines(passage, r, most)).chain([TOGETHER.to_string()]);
    let label = labels.map(|l| fonts::set_width(Face::Italic, size, &l)).fold(0.0, f64::max) + 8.0;
    let field = width - label - 1.0;
    let length = |d: &Drawn| to_f64(map.bars[d.index].length);
    // So that the nearest two moments of any bar keep apart.
    let wanted = bars
        .iter()
        .map(|d| {
            let mut at: Vec<Beats> = map.rows.iter().flat_map(|r| &r.hits).filter(|h| h.bar == d.index).map(|h| h.at).collect();
            at.push(map.bars[d.index].length);
            at.sort_unstable();
            at.dedup();
            at.windows(2).map(|w| APART / to_f64(w[1] - w[0])).fold(24.0, f64::max)
        })
        .fold(24.0, f64::max);
    let longest = bars.iter().map(length).fold(0.25, f64::max);
    let least = f64::min(wanted, (field - 2.0 * LEAD) / longest);
    let room = |some: &[Drawn], scale: f64| some.iter().map(|d| length(d) * scale + 2.0 * LEAD).sum::<f64>();
    // As many lines as are needed, with bars shared out evenly where that fits.
    let lines_of = |most: usize| {
        let mut lines: Vec<usize> = Vec::new();
        let mut start = 0;
        while start < bars.len() {
            let mut n = 1;
            while n < most && start + n < bars.len() && room(&bars[start..=start + n], least) <= field + 1e-6 {
                n += 1;
            }
            lines.push(n);
            start += n;
        }
        lines
    };
    let full = lines_of(usize::MAX);
    let even = lines_of(bars.len().div_ceil(full.len()));
    let lines = if even.len() == full.len() { even } else { full };
    let mut start = 0;
    let mut scale = f64::INFINITY;
    for n in &lines {
        let some = &bars[start..start + n];
        let quarters: f64 = some.iter().map(length).sum();
        scale = scale.min((field - 2.0 * LEAD * *n as f64) / f64::max(quarters, 1e-6));
        start += n;
    }
    // A short passage is not pulled apart.
    scale = scale.min(f64::max(least, 120.0));
    let range = map.rows.iter().filter_map(|r| r.range).reduce(|a, b| Range { low: a.low.min(b.low), high: a.high.max(b.high) });
    let (low, high) = range.map_or((48.0, 60.0), |r| (f64::from(r.low.0), f64::from(r.high.0)));
    // An octave at least, the passage in its middle.
    let reach = f64::max(high - low, 12.0);
    Layout { label, scale, lines, low: (low + high - reach) / 2.0, unit: (PITCHED - 2.0 * PAD) / reach }
}

const TOGETHER: &str = "together";

/// The row's name within `width`, and its lowest and highest note.
fn label_lines(passage: &Passage, row: &Row, width: f64) -> Vec<String> {
    let size = figure_size_min(Face::Italic);
    let mut out = fonts::wrap(Face::Italic, size, &row.name, width);
    let most = if row.range.is_some() { 2 } else { 1 };
    if out.len() > most {
        out.truncate(most);
        if let Some(last) = out.last_mut() {
            last.push('…');
            while last.chars().count() > 1 && fonts::set_width(Face::Italic, size, last) > width {
                *last = last.chars().take(last.chars().count() - 2).chain(['…']).collect();
            }
        }
    }
    if let Some(range) = row.range {
        out.push(range_words(passage, range, "–"));
    }
    out
}

fn range_words(passage: &Passage, range: Range, between: &str) -> String {
    let note = |midi| crate::chord_name::accidental_signs(&spell(passage.key, midi).to_string());
    if range.low == range.high { note(range.low) } else { format!("{}{between}{}", note(range.low), note(range.high)) }
}

/// Whether there are two parts that could strike together.
fn several_lock(map: &LockMap) -> bool {
    let mut parts = map.rows.iter().filter(|r| locks(r)).map(|r| r.part);
    let first = parts.next();
    parts.any(|p| Some(p) != first)
}

/// Whether a row counts where parts strike together.
fn locks(row: &Row) -> bool {
    matches!(row.drum, None | Some(Drum::Kick | Drum::Snare))
}

/// A bar in its place on the line.
struct Placed<'a> {
    drawn: &'a Drawn,
    left: f64,
    right: f64,
}

struct Line<'a> {
    map: &'a LockMap,
    scale: f64,
    bars: Vec<Placed<'a>>,
}

impl Line<'_> {
    /// x of a moment in the bar at place `i`; what lies past its end goes on in the next bar where that is the next one played. Also tells
    /// which part of `from..at` has room.
    fn reach(&self, mut i: usize, from: Beats, length: Beats) -> (f64, f64) {
        let whole = f64::max(to_f64(length), 1e-9);
        let mut at = from + length;
        loop {
            let bar = &self.bars[i];
            let end = self.map.bars[bar.drawn.index].length;
            if at <= end {
                return (bar.left + LEAD + to_f64(at) * self.scale, 1.0);
            }
            match self.bars.get(i + 1) {
                Some(next) if next.drawn.index == bar.drawn.index + 1 => {
                    at -= end;
                    i += 1;
                }
                _ => return (bar.right, (1.0 - to_f64(at - end) / whole).clamp(0.0, 1.0)),
            }
        }
    }

    fn x(&self, i: usize, at: Beats) -> f64 {
        self.bars[i].left + LEAD + to_f64(at) * self.scale
    }
}

fn draw_line(passage: &Passage, map: &LockMap, layout: &Layout, bars: &[Drawn], width: f64, first: bool, last: bool) -> Frame {
    let mut x = layout.label;
    let placed = bars
        .iter()
        .map(|drawn| {
            let left = x;
            x += to_f64(map.bars[drawn.index].length) * layout.scale + 2.0 * LEAD;
            Placed { drawn, left, right: x }
        })
        .collect();
    let line = Line { map, scale: layout.scale, bars: placed };
    let end = x;
    // Rows from y = 0 down; a drum that is silent through the line has none.
    let mut tops: Vec<(f64, f64)> = Vec::new();
    let mut y = 0.0;
    for row in &map.rows {
        let height = match row.range {
            Some(_) => PITCHED,
            None if row.drum.is_some() && on_line(&line, row).next().is_none() => 0.0,
            None => FLAT,
        };
        tops.push((y, height));
        y += if height > 0.0 { height + ROW_GAP } else { 0.0 };
    }
    let bottom = y - ROW_GAP;
    let mut of_line = draw_labels(passage, map, layout.label - 8.0 + 1e-6, &tops, bottom);
    of_line.extend(draw_frame(layout, &tops, bottom, end));
    let mut of_bars: Vec<Vec<Item>> = vec![Vec::new(); line.bars.len()];
    for (i, bar) in line.bars.iter().enumerate() {
        of_bars[i].extend(draw_grid(map, bar, &line, i, bottom));
    }
    let moments = moments(map, &line);
    for (r, row) in map.rows.iter().enumerate() {
        for (i, hit) in on_line(&line, row) {
            of_bars[i].extend(draw_wedge(layout, &line, i, hit, tops[r]));
        }
    }
    let several = several_lock(map);
    for m in moments.iter().filter(|_| several) {
        of_bars[m.place].extend(draw_moment(layout, map, m, &tops, bottom));
    }
    for (r, row) in map.rows.iter().enumerate() {
        for (i, hit) in on_line(&line, row) {
            let what = What::Stroke { part: row.part, bar: hit.bar, event: hit.event };
            of_bars[i].push(Item::Group { what, items: draw_hit(layout, line.x(i, hit.at), row, hit, tops[r]) });
        }
    }
    for (i, items) in draw_chords(map, &line, passage.chord_names).into_iter().enumerate() {
        of_bars[i].extend(items);
    }
    if last {
        of_line.extend(draw_legend(several, layout.label, width, bottom + if several { COUNT_ROW + 4.0 } else { 7.0 }));
    }
    let mut items = of_line;
    for (bar, list) in line.bars.iter().zip(of_bars) {
        let what = What::Bar { played: bar.drawn.played.clone(), x_pt: bar.left, width_pt: bar.right - bar.left };
        items.push(Item::Group { what, items: list });
    }
    let b = Bounds::of(&items).unwrap_or(Bounds { left: 0.0, top: 0.0, right: 0.0, bottom: 0.0 });
    let over = f64::max(b.right - (width - 0.2), 0.0);
    // Nothing should hang over; what does must not leave the frame.
    let fit = if over > 0.0 { (width - 0.2) / b.right } else { 1.0 };
    let items = items.into_iter().map(|i| i.placed(fit, 0.0, (1.0 - b.top) * fit)).collect();
    Frame { width_pt: width, height_pt: (b.bottom - b.top + 2.0) * fit, items, alt: describe(passage, map, &line, first) }
}

/// A row's hits in the line's bars, with the bar's place.
fn on_line<'a>(line: &'a Line, row: &'a Row) -> impl Iterator<Item = (usize, &'a Hit)> {
    row.hits.iter().filter_map(|h| Some((line.bars.iter().position(|b| b.drawn.index == h.bar)?, h)))
}

fn draw_labels(passage: &Passage, map: &LockMap, width: f64, tops: &[(f64, f64)], bottom: f64) -> Vec<Item> {
    let size = figure_size_min(Face::Italic);
    let (up, _) = fonts::ink_height(Face::Italic, size, "h");
    let mut items = Vec::new();
    for (row, (top, height)) in map.rows.iter().zip(tops).filter(|(_, t)| t.1 > 0.0) {
        let lines = label_lines(passage, row, width);
        let lead = size * 1.15;
        let mut y = top + height / 2.0 - (lines.len() as f64 - 1.0) * lead / 2.0 + up / 2.0;
        for text in &lines {
            items.extend(fonts::set(0.0, y, Anchor::Start, Face::Italic, size, text, Ink::Black));
            y += lead;
        }
    }
    if !several_lock(map) {
        return items;
    }
    items.extend(fonts::set(0.0, bottom + COUNT_ROW - 3.5, Anchor::Start, Face::Italic, size, TOGETHER, Ink::Black));
    items
}

/// Height of the row of figures at the foot.
const COUNT_ROW: f64 = 14.0;

/// Each row's edges: thin lines left to right.
fn draw_frame(layout: &Layout, tops: &[(f64, f64)], bottom: f64, end: f64) -> Vec<Item> {
    let mut items = Vec::new();
    for (top, _) in tops.iter().filter(|t| t.1 > 0.0) {
        let y = top - ROW_GAP / 2.0;
        items.push(Item::line(layout.label, y, end, y, 0.4, Ink::Grey));
    }
    items.push(Item::line(layout.label, bottom + ROW_GAP / 2.0, end, bottom + ROW_GAP / 2.0, 0.4, Ink::Grey));
    items
}

/// Barline, beats and the ruler over a bar.
fn draw_grid(map: &LockMap, bar: &Placed, line: &Line, i: usize, bottom: f64) -> Vec<Item> {
    let b = &map.bars[bar.drawn.index];
    let size = figure_size_min(Face::Regular);
    let mut items = Vec::new();
    let edge = if i == 0 { &[bar.left, bar.right][..] } else { &[bar.right][..] };
    for x in edge {
        items.push(Item::line(*x, -ROW_GAP / 2.0, *x, bottom + ROW_GAP / 2.0, 0.9, Ink::Black));
    }
    let zero = Beats::from_integer(0);
    // A pickup has the last beats of its meter.
    let mut beats = Vec::new();
    let mut at = b.length - b.beat * (b.length / b.beat).ceil();
    while at < b.length {
        beats.push(at.max(zero));
        at += b.beat;
    }
    let mut free = f64::MIN;
    for (k, at) in beats.iter().enumerate() {
        let x = line.x(i, *at);
        let dash = Stroke { ink: Ink::Grey, width_pt: 0.4, dash_pt: Some(1.2), round: false };
        items.push(Item::Path(Path { steps: vec![Step::Move(x, -ROW_GAP / 2.0), Step::Line(x, bottom + ROW_GAP / 2.0)], fill: None, stroke: Some(dash) }));
        let (face, text) = match (k, bar.drawn.played.len()) {
            (0, 1) => (Face::Bold, format!("{}.1", b.number)),
            (0, n) => (Face::Bold, format!("{}.1 ({n}×)", b.number)),
            _ => (Face::Regular, (k + 1).to_string()),
        };
        let half = if k == 0 { 2.0 } else { fonts::set_width(face, size, &text) / 2.0 };
        if x - half < free {
            continue;
        }
        free = x - half + fonts::set_width(face, size, &text) + 2.0;
        items.extend(fonts::set(x - half, RULER, Anchor::Start, face, size, &text, Ink::Black));
    }
    items
}

/// Baseline of the ruler.
const RULER: f64 = -5.0;

/// Bottom and top of a hit in its row.
fn span(layout: &Layout, hit: &Hit, (top, height): (f64, f64)) -> (f64, f64) {
    let y = |midi: f64| top + height - PAD - (midi - layout.low) * layout.unit;
    match hit.range {
        Some(r) => (y(f64::from(r.low.0)) + 2.2, y(f64::from(r.high.0)) - 2.2),
        None => (top + height / 2.0 + 3.2, top + height / 2.0 - 3.2),
    }
}

/// The sound dying away.
fn draw_wedge(layout: &Layout, line: &Line, i: usize, hit: &Hit, row: (f64, f64)) -> Option<Item> {
    hit.range?;
    let (low, high) = span(layout, hit, row);
    let x = line.x(i, hit.at);
    let (end, share) = line.reach(i, hit.at, hit.length);
    let middle = (low + high) / 2.0;
    let left = (low - high) / 2.0 * (1.0 - share) + 0.25;
    (end > x + 0.5).then(|| Item::polygon(&[(x, low - 0.7), (x, high + 0.7), (end, middle - left), (end, middle + left)], Ink::Grey))
}

fn draw_hit(layout: &Layout, x: f64, row: &Row, hit: &Hit, place: (f64, f64)) -> Vec<Item> {
    let (low, high) = span(layout, hit, place);
    let mut items = Vec::new();
    if hit.scratch {
        let (middle, r) = ((low + high) / 2.0, if hit.ghost { 2.0 } else { 2.6 });
        let steps = vec![Step::Move(x - r, middle - r), Step::Line(x + r, middle + r), Step::Move(x - r, middle + r), Step::Line(x + r, middle - r)];
        items.push(Item::Path(Path { steps, fill: None, stroke: Some(Stroke::plain(Ink::Black, 1.1)) }));
    } else {
        let width = match () {
            () if hit.legato => SLIM,
            () if hit.accent => BROAD,
            () => BAR_WIDTH,
        };
        if hit.ghost {
            items.push(Item::rect(x - width / 2.0, high, width, low - high, Ink::Paper));
            let pen = 0.6;
            let (l, r, t, b) = (x - width / 2.0 + pen / 2.0, x + width / 2.0 - pen / 2.0, high + pen / 2.0, low - pen / 2.0);
            let steps = vec![Step::Move(l, t), Step::Line(r, t), Step::Line(r, b), Step::Line(l, b), Step::Close];
            items.push(Item::Path(Path { steps, fill: None, stroke: Some(Stroke::plain(Ink::Black, pen)) }));
        } else {
            items.push(Item::rect(x - width / 2.0, high, width, low - high, Ink::Black));
        }
    }
    // In a flat row the broad bar says it alone.
    if let (true, true, Some(b)) = (hit.accent, row.range.is_some(), glyphs::bounds(ACCENT_ABOVE)) {
        let space = 3.2;
        let left = x - (b.left + b.right) / 2.0 * space;
        items.push(Item::Glyph { code: ACCENT_ABOVE, x_pt: left, y_pt: high - 1.2, space_pt: space, ink: Ink::Black });
    }
    items
}

/// A moment at which something that locks is struck.
struct Moment {
    place: usize,
    x: f64,
    /// Rows and hits, from the top.
    rows: Vec<(usize, Hit)>,
    /// Parts, the kit as one.
    parts: Vec<usize>,
}

fn moments(map: &LockMap, line: &Line) -> Vec<Moment> {
    let mut out: Vec<(usize, Beats, Moment)> = Vec::new();
    for (r, row) in map.rows.iter().enumerate().filter(|(_, row)| locks(row)) {
        for (place, hit) in on_line(line, row) {
            let k = match out.iter().position(|m| (m.0, m.1) == (place, hit.at)) {
                Some(k) => k,
                None => {
                    out.push((place, hit.at, Moment { place, x: line.x(place, hit.at), rows: Vec::new(), parts: Vec::new() }));
                    out.len() - 1
                }
            };
            let m = &mut out[k].2;
            m.rows.push((r, *hit));
            if !m.parts.contains(&row.part) {
                m.parts.push(row.part);
            }
        }
    }
    out.sort_by_key(|m| (m.0, m.1));
    out.into_iter().map(|m| m.2).collect()
}

/// The line that joins parts, and their number at the foot.
fn draw_moment(layout: &Layout, map: &LockMap, m: &Moment, tops: &[(f64, f64)], bottom: f64) -> Vec<Item> {
    let mut items = Vec::new();
    let base = bottom + COUNT_ROW - 3.5;
    if m.parts.len() < 2 {
        let d = 1.8;
        items.push(Item::pill(m.x - d / 2.0, base - 4.0, d, d, Some(Ink::Black), None));
        return items;
    }
    let ys: Vec<(f64, f64)> = m.rows.iter().map(|(r, hit)| span(layout, hit, tops[*r])).collect();
    // From the first row's stroke to the last one's.
    if let (Some(first), Some(last), true) = (ys.first(), ys.last(), map.rows.len() > 1) {
        items.push(Item::line(m.x, first.0, m.x, last.1, 0.7, Ink::Black));
    }
    let size = figure_size_min(DIGITS);
    items.extend(fonts::set(m.x, base, Anchor::Middle, DIGITS, size, &m.parts.len().to_string(), Ink::Black));
    items
}

/// Chord signs over the ruler, each where it begins; one that has no room goes a step higher.
fn draw_chords(map: &LockMap, line: &Line, style: Style) -> Vec<Vec<Item>> {
    let size = 11.0;
    let mut out = vec![Vec::new(); line.bars.len()];
    let mut levels: Vec<f64> = Vec::new();
    let mut before = None;
    // All of a level on one height.
    let of_line = map.chords.iter().filter(|c| line.bars.iter().any(|b| b.drawn.index == c.bar)).filter_map(|c| c.symbol.as_ref());
    let drop = of_line.map(|s| chord_name_height(s, style, size).1).fold(0.0, f64::max);
    for chord in &map.chords {
        let Some(i) = line.bars.iter().position(|b| b.drawn.index == chord.bar) else { continue };
        let Some(symbol) = &chord.symbol else {
            before = None;
            continue;
        };
        if before.as_ref() == Some(&symbol) {
            continue;
        }
        before = Some(symbol);
        // At the end of the line a name draws back.
        let room = line.bars.last().map_or(0.0, |b| b.right) - chord_name_width(symbol, style, size);
        let x = f64::min(line.x(i, chord.at) - 2.0, f64::max(room, 0.0));
        let level = levels.iter().position(|end| *end <= x).unwrap_or(levels.len());
        if level == levels.len() {
            levels.push(0.0);
        }
        levels[level] = x + chord_name_width(symbol, style, size) + 4.0;
        let y = RULER - 12.5 - drop - level as f64 * 14.0;
        out[i].extend(chord_name(x, y, Anchor::Start, size, symbol, style, Ink::Black));
    }
    out
}

/// The signs and their words, in one line or as many as it takes.
fn draw_legend(several: bool, left: f64, width: f64, top: f64) -> Vec<Item> {
    let size = figure_size_min(Face::Italic);
    /// Draws a sign from its left end on the baseline.
    type Sign = fn(f64, f64) -> Vec<Item>;
    let signs: [(&str, Sign); 6] = [
        ("struck, dying away", |x, y| vec![Item::polygon(&[(x, y - 5.5), (x, y - 0.5), (x + 13.0, y - 2.75), (x + 13.0, y - 3.25)], Ink::Grey), Item::rect(x - BAR_WIDTH / 2.0, y - 6.0, BAR_WIDTH, 6.0, Ink::Black)]),
        ("not struck", |x, y| vec![Item::rect(x + 5.0, y - 6.0, SLIM, 6.0, Ink::Black)]),
        ("accented", |x, y| vec![Item::rect(x + 4.0, y - 6.0, BROAD, 6.0, Ink::Black)]),
        ("soft", |x, y| {
            let steps = vec![Step::Move(x + 4.3, y - 5.7), Step::Line(x + 6.1, y - 5.7), Step::Line(x + 6.1, y - 0.3), Step::Line(x + 4.3, y - 0.3), Step::Close];
            vec![Item::Path(Path { steps, fill: None, stroke: Some(Stroke::plain(Ink::Black, 0.6)) })]
        }),
        ("scratch", |x, y| {
            let (a, b, m) = (x + 2.4, x + 7.6, y - 3.0);
            let steps = vec![Step::Move(a, m - 2.6), Step::Line(b, m + 2.6), Step::Move(a, m + 2.6), Step::Line(b, m - 2.6)];
            vec![Item::Path(Path { steps, fill: None, stroke: Some(Stroke::plain(Ink::Black, 1.1)) })]
        }),
        ("line and figure: parts that strike together", |x, y| vec![Item::line(x + 5.0, y - 8.0, x + 5.0, y + 1.5, 0.7, Ink::Black)]),
    ];
    let mut items = Vec::new();
    let (mut x, mut y) = (left, top + size);
    for (words, sign) in signs.into_iter().take(if several { 6 } else { 5 }) {
        let need = 16.0 + fonts::set_width(Face::Italic, size, words) + 10.0;
        if x + need - 10.0 > width {
            // In a narrow frame the longest words begin at its very edge.
            y += if x > left { size * 1.25 } else { 0.0 };
            x = if left + need - 10.0 > width { 0.0 } else { left };
        }
        items.extend(sign(x + 1.5, y));
        items.extend(fonts::set(x + 16.0, y, Anchor::Start, Face::Italic, size, words, Ink::Black));
        x += need;
    }
    items
}

/// The line in words.
fn describe(passage: &Passage, map: &LockMap, line: &Line, first: bool) -> String {
    let numbers: Vec<u32> = line.bars.iter().map(|b| map.bars[b.drawn.index].number).collect();
    let bars = match (numbers.first(), numbers.last()) {
        (Some(a), Some(b)) if a != b => format!("bars {a} to {b}"),
        (Some(a), _) => format!("bar {a}"),
        _ => String::new(),
    };
    let mut alt = if first { format!("Lock map of {}, {bars}: time across, parts down.", passage.title) } else { format!("Lock map of {}, {bars}.", passage.title) };
    for row in &map.rows {
        let hits: Vec<&Hit> = on_line(line, row).map(|h| h.1).collect();
        let scratches = hits.iter().filter(|h| h.scratch).count();
        let name = match row.drum {
            Some(_) => row.name.clone(),
            None => passage.parts.get(row.part).map_or_else(|| row.name.clone(), |p| format!("{} ({})", row.name, p.instrument)),
        };
        alt += &format!(" {name}: {}", counted(hits.len(), "stroke"));
        if scratches > 0 {
            alt += &format!(", {scratches} of them scratched");
        }
        let range = hits.iter().filter_map(|h| h.range).reduce(|a, b| Range { low: a.low.min(b.low), high: a.high.max(b.high) });
        if let Some(range) = range {
            alt += &format!(", {}", range_words(passage, range, " to "));
        }
        alt.push('.');
    }
    let all = moments(map, line);
    let parts: Vec<usize> = {
        let mut list: Vec<usize> = map.rows.iter().filter(|r| locks(r)).map(|r| r.part).collect();
        list.dedup();
        list
    };
    let name = |p: usize| passage.parts.get(p).map_or("", |p| p.name.as_str());
    let mut pairs = Vec::new();
    for (k, a) in parts.iter().enumerate() {
        for b in &parts[k + 1..] {
            let times = all.iter().filter(|m| m.parts.contains(a) && m.parts.contains(b)).count();
            pairs.push(format!("{} and {} strike together {}", name(*a), name(*b), counted(times, "time")));
        }
    }
    if !pairs.is_empty() {
        alt += &format!(" {}.", pairs.join(", "));
    }
    alt
}

fn counted(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

#[cfg(test)]
mod tests;
