//! Systems: a passage's parts one under the other, aligned in time, broken into lines, each line one frame.
//!
//! Passes, in order: [`measure_bars`] finds the columns and the room they need, [`crate::spacing::break_lines`] chooses the lines,
//! [`place_line`] justifies one, the rows are drawn ([`crate::tab`], [`crate::staff`], [`crate::rhythm`], [`crate::techniques`],
//! [`crate::words`]), [`stack_rows`] gives them their heights, [`crate::barlines`] and [`crate::heading`] draw over all of them.

use crate::barlines::{bar_lead, bar_tail, draw_barlines};
use crate::canvas::Canvas;
use crate::fonts;
use crate::frame::{Anchor, Bounds, Face, Frame, Ink, Item, What};
use crate::heading::{BarName, draw_heading, harmony_names, name_room};
use crate::line::{Line, PlacedBar};
use crate::meter::{draw_meter, meter_width};
use crate::setting::{Kept, LineKey};
use crate::rhythm::{draw_rhythm, is_empty_bar, measure_value};
use crate::sizes::Sizes;
use crate::spacing::{Block, Gap, break_lines, justify_gaps, optical_gap};
use crate::staff::{self, Lines, StaffRow, draw_staff};
use crate::tab::{self, Extent, draw_tab};
use crate::techniques::{StrokeSigns, draw_staff_techniques, draw_techniques};
use crate::words::draw_words;
use crate::wrap::{choose_cuts, close_beams, notate_cut};
use lesson::{Attack, Bar, Beats, Event, Kind, Meter, Part, PartBar, Passage, SheetBar, Tone, Written};
use std::collections::BTreeMap;
use std::sync::Arc;

/// When a five-line staff stands over the tab.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum StaffWish {
    /// Where the lesson asks for it.
    #[default]
    AsWritten,
    Always,
    Never,
}

/// How systems are set.
#[derive(Clone, Debug, PartialEq)]
pub struct SystemOptions {
    /// Width of every frame, 120 points at least.
    pub width_pt: f64,
    /// Distance of two staff lines, 3.5 to 12 points; everything else follows from it, and figures stay at least 2 mm high.
    pub space_pt: f64,
    /// Lines are broken as though there were so many times less room, 1 to 2: what was set smaller to save height keeps its bars apart.
    pub roomy: f64,
    pub staff: StaffWish,
    /// Which parts, as indices into the passage's; all but clicks and easier versions where `None`. The passage's order is kept.
    pub parts: Option<Vec<usize>>,
    pub stroke_signs: StrokeSigns,
    /// Part names before the rows.
    pub part_names: bool,
}

impl Default for SystemOptions {
    fn default() -> SystemOptions {
        SystemOptions { width_pt: 480.0, space_pt: 5.0, roomy: 1.0, staff: StaffWish::AsWritten, parts: None, stroke_signs: StrokeSigns::Written, part_names: true }
    }
}

/// The passage as systems, one frame a line, all of the same width. `names` stand over the bars; the written harmony where `None`.
/// A passage without bars, or none of whose parts is shown, gives no frame.
///
/// What is too full for a line goes on fewer bars to the line; a bar that is too full alone is parted at a beat and goes on in the next line,
/// its number in brackets. Only what no cut can bring into the width (a bracket of many notes in a very narrow frame) is drawn smaller.
pub fn systems(passage: &Passage, names: Option<&[BarName]>, options: &SystemOptions) -> Vec<Frame> {
    let mut kept = Kept::default();
    let frames = set(passage, names, options, &mut kept);
    // Nothing else holds them then.
    drop(kept);
    frames.into_iter().map(Arc::unwrap_or_clone).collect()
}

/// As [`systems()`], with what was measured and drawn before taken over as far as it is the same.
pub(crate) fn set(passage: &Passage, names: Option<&[BarName]>, options: &SystemOptions, kept: &mut Kept) -> Vec<Arc<Frame>> {
    let width = if options.width_pt.is_finite() { f64::max(options.width_pt, 120.0) } else { 480.0 };
    // What hangs over the end of a full line is known once the line is drawn: then its bars are shared out anew, with room for it.
    let mut over = Overhang::new();
    let mut frames = Vec::new();
    for _ in 0..6 {
        let score = measure_score(passage, names, options, Some(width), &over, kept);
        let found;
        (frames, found) = draw_lines(&score, width, kept);
        if found.iter().all(|(bar, o)| over.get(bar).is_some_and(|have| have >= o)) {
            break;
        }
        for (bar, o) in found {
            let have = over.entry(bar).or_insert(0.0);
            *have = have.max(o) + 0.5;
        }
    }
    frames
}

/// By played bar: how far ink reaches past the end of a line that ends with it.
type Overhang = BTreeMap<usize, f64>;

fn draw_lines(score: &Score, width: f64, kept: &mut Kept) -> (Vec<Arc<Frame>>, Overhang) {
    let (first, other) = (width - score.prefix(true).content, width - score.prefix(false).content);
    let blocks: Vec<Block> = score.bars.iter().map(|b| b.block()).collect();
    let mut start = 0;
    let counts = break_lines(&blocks, first, other);
    let mut stretch: f64 = 1.15;
    let mut frames = Vec::new();
    let mut over = Overhang::new();
    for (k, count) in counts.iter().enumerate() {
        let last = k + 1 == counts.len();
        let range = start..start + count;
        let pieces = score.bars[range.clone()].iter().map(|b| (b.printed, b.cuts.clone(), b.piece)).collect();
        let key = LineKey { pieces, last, usual: if last { stretch.to_bits() } else { 0 } };
        let drawn = kept.line(key, || draw_line(score, range, width, Fill { last, usual: stretch }));
        stretch = drawn.stretch;
        start += count;
        if drawn.over > 0.0 && !drawn.shrunk {
            over.insert(score.bars[start - 1].index, drawn.over);
        }
        frames.push(drawn.frame.clone());
    }
    (frames, over)
}

/// The whole passage as one line of its natural width, for a page that scrolls.
pub fn system_strip(passage: &Passage, names: Option<&[BarName]>, options: &SystemOptions) -> Frame {
    let score = measure_score(passage, names, options, None, &Overhang::new(), &mut Kept::default());
    let natural: f64 = score.bars.iter().map(|b| b.block().natural).sum();
    if score.bars.is_empty() {
        return Frame { alt: format!("{}: nothing to show.", passage.title), ..Frame::default() };
    }
    let width = score.prefix(true).content + natural * 1.1;
    let frame = draw_line(&score, 0..score.bars.len(), width, Fill { last: false, usual: 1.0 }).frame;
    Arc::unwrap_or_clone(frame)
}

/// A part that is shown.
struct Shown<'a> {
    part: &'a Part,
    /// Its place in the passage.
    slot: usize,
    staff: Option<Lines>,
    tab: bool,
}

/// A printed bar, or a piece of one, with its columns measured.
pub(crate) struct Measured {
    sheet: SheetBar,
    /// Its place among the printed bars, where that bar was cut, and which piece of it this is.
    printed: usize,
    cuts: Vec<Beats>,
    piece: usize,
    /// The played bar that is drawn.
    index: usize,
    /// The stretch of it that is drawn.
    from: Beats,
    to: Beats,
    /// Values of the whole bar, and of this stretch, by shown part; how many stand before it.
    whole: Vec<Vec<Written>>,
    written: Vec<Vec<Written>>,
    earlier: Vec<usize>,
    columns: Vec<Beats>,
    /// Before the first column, between columns, after the last.
    gaps: Vec<Gap>,
    /// The meter is printed before it.
    meter_change: bool,
    /// The next bar has this new meter: a line that ends here announces it.
    courtesy: Option<Meter>,
    /// Room for that.
    tail: f64,
    /// How far what belongs to it hangs over a line's end.
    overhang: f64,
}

impl Measured {
    fn block(&self) -> Block {
        Block {
            least: self.gaps.iter().map(|g| g.least).sum(),
            natural: self.gaps.iter().map(|g| f64::max(g.least, g.natural)).sum(),
            good_end: self.sheet.repeat_end.is_some(),
            tail: self.tail + self.overhang,
        }
    }
}

struct Score<'a> {
    passage: &'a Passage,
    bars: Vec<Arc<Measured>>,
    shown: Vec<Shown<'a>>,
    names: Vec<BarName>,
    labels: Vec<Vec<String>>,
    /// The meter that the passage begins with.
    meter: Option<Meter>,
    sizes: Sizes,
    signs: StrokeSigns,
}

/// Where things stand before the first bar of a line.
#[derive(Clone, Copy, Debug)]
struct Prefix {
    left: f64,
    clef: f64,
    key: f64,
    meter: f64,
    content: f64,
}

impl Score<'_> {
    fn prefix(&self, first: bool) -> Prefix {
        let s = self.sizes.space;
        let label = self.labels.iter().flatten().map(|l| fonts::set_width(Face::Italic, self.sizes.word, l)).fold(0.0, f64::max);
        let left = if label > 0.0 { label + s * 1.4 } else { 1.0 + s * 0.6 };
        let clef = left + s * 0.9;
        let (mut clefs, mut keys): (f64, f64) = (0.0, 0.0);
        for shown in &self.shown {
            if let Some(lines) = &shown.staff {
                let (c, k) = staff::head_widths(lines, self.passage.key, &self.sizes);
                (clefs, keys) = (clefs.max(c), keys.max(k));
            }
            if shown.tab {
                clefs = clefs.max(tab::sign_width(shown.part, &self.sizes));
            }
        }
        let key = clef + clefs + s * 0.9;
        let meter = key + keys + if keys > 0.0 { s * 0.8 } else { 0.0 };
        let width = self.meter.map_or(0.0, |m| meter_width(m, &self.sizes));
        let content = if first { meter + width + s * 0.6 } else { meter };
        Prefix { left, clef, key, meter: meter + width / 2.0, content }
    }
}

/// Indices of the parts to show.
fn choose_parts(passage: &Passage, options: &SystemOptions) -> Vec<usize> {
    (0..passage.parts.len())
        .filter(|i| match &options.parts {
            Some(list) => list.contains(i),
            None => passage.parts[*i].kind != Kind::Click && passage.parts[*i].easier_of.is_none(),
        })
        .collect()
}

fn measure_score<'a>(passage: &'a Passage, names: Option<&[BarName]>, options: &SystemOptions, width: Option<f64>, over: &Overhang, kept: &mut Kept) -> Score<'a> {
    let sizes = Sizes::from_space(options.space_pt);
    let shown: Vec<Shown> = choose_parts(passage, options)
        .into_iter()
        .map(|slot| {
            let part = &passage.parts[slot];
            let tab = part.neck.is_some();
            let wanted = match options.staff {
                StaffWish::AsWritten => part.staff,
                StaffWish::Always => true,
                StaffWish::Never => false,
            };
            Shown { part, slot, staff: (!tab || wanted).then(|| Lines::of(part)), tab }
        })
        .collect();
    let names: Vec<BarName> = names.map_or_else(|| harmony_names(passage), <[BarName]>::to_vec);
    let sheet = if shown.is_empty() { Vec::new() } else { lesson::sheet(passage) };
    let sheet: Vec<SheetBar> = sheet.into_iter().filter(|s| s.played.first().is_some_and(|b| *b < passage.bars.len())).collect();
    let labels = shown.iter().map(|s| if options.part_names { label_lines(s.part, &sizes) } else { Vec::new() }).collect();
    let meter = sheet.first().map(|s| passage.bars[s.played[0]].meter);
    let mut score = Score { passage, bars: Vec::new(), shown, names, labels, meter, sizes, signs: options.stroke_signs };
    let room = |first: bool| width.map_or(f64::INFINITY, |w| w - score.prefix(first).content);
    let rooms = (room(true), room(false));
    score.bars = measure_bars(&score, &sheet, rooms, over, kept);
    score
}

/// A part's name, broken to a narrow column, with what is unusual about its strings.
fn label_lines(part: &Part, sizes: &Sizes) -> Vec<String> {
    let width = sizes.space * 13.0;
    let name = if part.guess { format!("{} ?", part.name) } else { part.name.clone() };
    let mut lines = fonts::wrap(Face::Italic, sizes.word, &name, width);
    lines.truncate(3);
    if let Some(neck) = &part.neck {
        if neck.capo > 0 {
            lines.push(format!("capo {}", neck.capo));
        }
        if !neck.tuning.is_standard() {
            lines.extend(fonts::wrap(Face::Italic, sizes.word, &neck.tuning.name, width));
        }
    }
    lines
}

/// Columns and room of every printed bar; those that are wider than a line (`rooms`: the first one, the others) in pieces.
fn measure_bars(score: &Score, sheet: &[SheetBar], rooms: (f64, f64), over: &Overhang, kept: &mut Kept) -> Vec<Arc<Measured>> {
    let passage = score.passage;
    let mut out = Vec::new();
    let mut before = None;
    for (k, s) in sheet.iter().enumerate() {
        let bar = &passage.bars[s.played[0]];
        let meter_change = before.is_some_and(|m| m != bar.meter);
        before = Some(bar.meter);
        let next = sheet.get(k + 1).map(|n| passage.bars[n.played[0]].meter);
        let courtesy = next.filter(|m| *m != bar.meter);
        let over = over.get(&s.played[0]).copied().unwrap_or(0.0);
        out.extend(kept.bar(k, over, || {
            let pieces = |cuts: &[Beats]| measure_pieces(score, k, s, cuts, meter_change, courtesy);
            let mut whole = pieces(&[]);
            let room = if k == 0 { rooms.0 } else { rooms.1 } - over;
            let block = whole[0].block();
            if block.least > room - block.tail {
                let parts: Vec<&PartBar> = score.shown.iter().filter_map(|p| p.part.bars.get(s.played[0])).collect();
                let cuts = choose_cuts(bar, &parts, &whole[0].columns, &whole[0].gaps, room - block.tail);
                if !cuts.is_empty() {
                    whole = pieces(&cuts);
                }
            }
            if let Some(last) = whole.last_mut() {
                last.overhang = over;
            }
            whole
        }));
    }
    out
}

/// One printed bar in the pieces that `cuts` make of it.
fn measure_pieces(score: &Score, printed: usize, sheet: &SheetBar, cuts: &[Beats], meter_change: bool, courtesy: Option<Meter>) -> Vec<Measured> {
    let index = sheet.played[0];
    let bar = &score.passage.bars[index];
    let whole: Vec<Vec<Written>> = score.shown.iter().map(|p| p.part.bars.get(index).map_or_else(Vec::new, |b| notate_cut(bar, b, cuts))).collect();
    let zero = Beats::from_integer(0);
    let mut from = zero;
    cuts.iter()
        .copied()
        .chain([bar.length])
        .enumerate()
        .map(|(piece, to)| {
            let (first, last) = (from == zero, to == bar.length);
            let mut written: Vec<Vec<Written>> = whole.iter().map(|list| list.iter().filter(|w| from <= w.at && w.at < to).cloned().collect()).collect();
            if !(first && last) {
                written.iter_mut().for_each(|list| close_beams(list));
            }
            let mut m = Measured {
                sheet: SheetBar {
                    repeat_start: sheet.repeat_start && first,
                    repeat_end: sheet.repeat_end.filter(|_| last),
                    ending_start: sheet.ending_start && first,
                    ending_stop: sheet.ending_stop && last,
                    ..sheet.clone()
                },
                printed,
                cuts: cuts.to_vec(),
                piece,
                index,
                from,
                to,
                earlier: whole.iter().map(|list| list.iter().filter(|w| w.at < from).count()).collect(),
                whole: whole.clone(),
                columns: Vec::new(),
                written,
                gaps: Vec::new(),
                meter_change: meter_change && first,
                courtesy: courtesy.filter(|_| last),
                tail: 0.0,
                overhang: 0.0,
            };
            m.tail = m.courtesy.map_or(0.0, |c| meter_width(c, &score.sizes) + score.sizes.space * 1.6);
            m.columns = collect_columns(&m, &score.names, bar);
            m.gaps = measure_gaps(&m, score);
            from = to;
            m
        })
        .collect()
}

/// Every moment at which a part writes something or a name begins.
fn collect_columns(m: &Measured, names: &[BarName], bar: &Bar) -> Vec<Beats> {
    let named = names.iter().filter(|n| n.bar == m.index && n.at >= m.from && n.at < m.to && n.at < bar.length).map(|n| n.at);
    let heard = m.written.iter().zip(&m.whole).filter(|(_, whole)| !is_empty_bar(whole)).flat_map(|(w, _)| w);
    let mut columns: Vec<Beats> = heard.map(|w| w.at).chain(named).collect();
    columns.sort_unstable();
    columns.dedup();
    if columns.is_empty() {
        columns.push(m.from);
    }
    columns
}

fn measure_gaps(m: &Measured, score: &Score) -> Vec<Gap> {
    let (passage, sizes) = (score.passage, &score.sizes);
    let n = m.columns.len();
    let bar = &passage.bars[m.index];
    let silent = |shown: usize| is_empty_bar(&m.whole[shown]);
    let mut extents = vec![Extent { left: 0.5, right: 0.5 }; n];
    for (shown, p) in score.shown.iter().enumerate() {
        if silent(shown) {
            continue;
        }
        let chords = p.staff.as_ref().map(|lines| staff::measure_bar(p.part, m.index, &m.whole[shown], lines, passage.key, sizes));
        for (k, w) in m.written[shown].iter().enumerate() {
            let Ok(c) = m.columns.binary_search(&w.at) else { continue };
            let mut e = Extent::default();
            if p.staff.is_none() || w.event.is_none() {
                e = e.with(measure_value(w, sizes));
            }
            if let Some(chord) = chords.as_ref().and_then(|list| list[m.earlier[shown] + k].as_ref()) {
                e = e.with(chord.extent());
            }
            let struck = w.event.filter(|_| p.tab && w.head);
            if let Some((i, event)) = struck.and_then(|i| Some((i, p.part.bars.get(m.index)?.events.get(i)?))) {
                e = e.with(tab::measure_event(p.part, m.index, i, event, sizes));
            }
            extents[c] = extents[c].with(e);
        }
    }
    let air = sizes.space * 0.36;
    let unit = sizes.space * 2.35;
    let begins = m.from == Beats::from_integer(0);
    let lead = match begins {
        true => bar_lead(&m.sheet, sizes) + if m.meter_change { meter_width(bar.meter, sizes) + sizes.space } else { 0.0 },
        false => sizes.space * 0.6,
    };
    let mut gaps = vec![Gap { least: lead + extents[0].left, natural: lead + extents[0].left }];
    for c in 0..n {
        let next = m.columns.get(c + 1).copied().unwrap_or(m.to);
        let step = next - m.columns[c];
        let sounding = |w: &&Written| w.at <= m.columns[c] && w.at + w.len > m.columns[c];
        let heard = m.written.iter().enumerate().filter(|(shown, _)| !silent(*shown)).map(|(_, w)| w);
        let shortest = heard.filter_map(|w| w.iter().find(sounding)).map(|w| w.len).min().unwrap_or(step);
        let natural = unit * optical_gap(step, shortest);
        let least = match extents.get(c + 1) {
            Some(e) => extents[c].right + air + e.left,
            None => extents[c].right + sizes.space * 0.7 + bar_tail(&m.sheet, sizes),
        };
        // The last note of a bar stands a little nearer to the barline than to a next note.
        let natural = if c + 1 == n { natural * 0.85 + bar_tail(&m.sheet, sizes) } else { natural };
        gaps.push(Gap { least, natural });
    }
    make_room_for_names(&mut gaps, m, &score.names, sizes);
    gaps
}

/// Widens gaps so that neighbouring names over a bar do not touch.
fn make_room_for_names(gaps: &mut [Gap], m: &Measured, names: &[BarName], sizes: &Sizes) {
    let mut list: Vec<&BarName> = names.iter().filter(|n| n.bar == m.index && n.at >= m.from && n.at < m.to).collect();
    list.sort_by_key(|n| n.at);
    for (k, name) in list.iter().enumerate() {
        let width = name_room(name, sizes);
        let place = |at: Beats| m.columns.iter().rposition(|c| *c <= at).unwrap_or(0);
        let from = place(name.at) + 1;
        let to = list.get(k + 1).map_or(gaps.len(), |n| f64::max(place(n.at) as f64 + 1.0, from as f64 + 1.0) as usize).min(gaps.len());
        let have: f64 = gaps[from..to].iter().map(|g| g.least).sum();
        if have < width && to > from {
            let more = (width - have) / (to - from) as f64;
            for g in &mut gaps[from..to] {
                g.least += more;
            }
        }
    }
}

/// How far the least room between columns may be pressed together: the air between two figures, not the figures.
const SQUEEZE: f64 = 0.92;

/// How full a line is drawn.
#[derive(Clone, Copy)]
struct Fill {
    last: bool,
    /// Stretch of the line before, which a short last line keeps.
    usual: f64,
}

/// Bars and columns of a line in their places, the stretch used, and how much the drawing must shrink to fit (1 = not at all).
fn place_line<'a>(score: &'a Score, range: std::ops::Range<usize>, width: f64, fill: Fill) -> (Line<'a>, f64, f64) {
    let first = range.start == 0;
    let last = range.end == score.bars.len();
    let prefix = score.prefix(first);
    let bars = &score.bars[range];
    let mut gaps: Vec<Gap> = bars.iter().flat_map(|b| b.gaps.iter().copied()).collect();
    // The meter at a line's beginning stands before the first bar, not in it.
    let opening_meter = first || bars[0].meter_change;
    let mut content = prefix.content;
    if bars[0].meter_change {
        let meter = meter_width(score.passage.bars[bars[0].index].meter, &score.sizes) + score.sizes.space;
        gaps[0].least -= meter;
        gaps[0].natural -= meter;
        content += meter;
    }
    let end = bars.last().filter(|_| !last);
    let tail = end.map_or(0.0, |b| b.tail);
    let least: f64 = gaps.iter().map(|g| g.least).sum();
    let natural: f64 = gaps.iter().map(|g| f64::max(g.least, g.natural)).sum();
    let room = width - content - tail;
    let mut target = room;
    // A last line that is far from full is set as the line before, not pulled apart.
    if fill.last && natural * fill.usual < room * 0.82 {
        target = f64::max(natural * f64::min(fill.usual, 1.6), least);
    }
    // Spacing gives a little before figures do.
    let squeezed = least * SQUEEZE;
    let shrink = if squeezed > room { (width - 1.0) / (content + tail + squeezed) } else { 1.0 };
    if shrink < 1.0 {
        target = squeezed;
    }
    let widths = justify_gaps(&gaps, target);
    let mut x = content;
    let mut k = 0;
    let mut placed = Vec::new();
    for b in bars {
        let left = x;
        let mut columns = Vec::with_capacity(b.columns.len());
        for at in &b.columns {
            x += widths[k];
            k += 1;
            columns.push((*at, x));
        }
        x += widths[k];
        k += 1;
        let bar = &score.passage.bars[b.index];
        let inline = b.meter_change && !placed.is_empty();
        let meter_x = inline.then(|| left + bar_lead(&b.sheet, &score.sizes) + meter_width(bar.meter, &score.sizes) / 2.0);
        placed.push(PlacedBar {
            sheet: &b.sheet,
            index: b.index,
            bar,
            from: b.from,
            to: b.to,
            written: &b.written,
            whole: &b.whole,
            earlier: &b.earlier,
            left,
            right: x,
            columns,
            meter_x,
        });
    }
    let line = Line {
        bars: placed,
        left: prefix.left,
        right: x + tail,
        clef_x: prefix.clef,
        key_x: prefix.key,
        meter_x: opening_meter.then_some(prefix.meter),
        first,
        last,
        courtesy: end.and_then(|b| b.courtesy).map(|m| (x + tail - score.sizes.space * 0.5 - meter_width(m, &score.sizes) / 2.0, m)),
    };
    (line, target / f64::max(natural, 1.0), shrink)
}

/// A row in its place: canvas, y of its top line, height between its outer lines.
struct Row {
    canvas: Canvas,
    height: f64,
    y: f64,
}

/// The rows of one part in a line.
pub(crate) struct PartRows {
    /// y of the first row's top line and of the last row's bottom line.
    pub top: f64,
    pub bottom: f64,
    /// Each row's top and bottom line.
    pub rows: Vec<(f64, f64)>,
}

fn draw_line(score: &Score, range: std::ops::Range<usize>, width: f64, fill: Fill) -> DrawnLine {
    // What hangs over the right end (a flag, a name) draws the bars in a little: nothing is made smaller for it.
    let mut inner = width;
    let mut drawn = draw_within(score, range.clone(), width, inner, fill);
    for _ in 0..6 {
        if drawn.over <= 0.0 || drawn.shrunk {
            break;
        }
        inner -= drawn.over + 0.1;
        let again = draw_within(score, range.clone(), width, inner, fill);
        if again.shrunk {
            break;
        }
        drawn = again;
    }
    drawn
}

pub(crate) struct DrawnLine {
    frame: Arc<Frame>,
    stretch: f64,
    /// How far ink reaches past the frame's width before it is drawn smaller.
    over: f64,
    /// The columns alone were too wide.
    shrunk: bool,
}

/// A line whose bars end at `inner`, in a frame `width` wide.
fn draw_within(score: &Score, range: std::ops::Range<usize>, width: f64, inner: f64, fill: Fill) -> DrawnLine {
    let (line, stretch, shrink) = place_line(score, range, inner, fill);
    let sizes = &score.sizes;
    let mut parts: Vec<Vec<Row>> = score.shown.iter().enumerate().map(|(shown, p)| draw_rows(score, p, shown, &line)).collect();
    let heading = parts.first_mut().and_then(|rows| rows.first_mut()).map(|row| {
        draw_heading(score.passage, &score.names, &line, &mut row.canvas, sizes)
    });
    let outline = stack_rows(&mut parts, &score.labels, sizes);

    let mut line_items = Vec::new();
    let mut bar_items: Vec<Vec<Item>> = vec![Vec::new(); line.bars.len()];
    for (p, rows) in score.shown.iter().zip(&mut parts) {
        let what = What::Row { part: p.slot };
        let mut of_line = Vec::new();
        let mut of_bars: Vec<Vec<Item>> = vec![Vec::new(); line.bars.len()];
        for row in rows {
            of_line.extend(std::mem::take(&mut row.canvas.line).into_iter().map(|i| i.placed(1.0, 0.0, row.y)));
            for (list, items) in of_bars.iter_mut().zip(std::mem::take(&mut row.canvas.bars)) {
                list.extend(items.into_iter().map(|i| i.placed(1.0, 0.0, row.y)));
            }
        }
        line_items.push(Item::Group { what: what.clone(), items: of_line });
        for (list, items) in bar_items.iter_mut().zip(of_bars) {
            if !items.is_empty() {
                list.push(Item::Group { what: what.clone(), items });
            }
        }
    }
    line_items.extend(draw_labels(score, &outline, sizes));
    line_items.extend(draw_barlines(&line, &outline, sizes));
    if let (Some(heading), Some(first)) = (heading, parts.first().and_then(|r| r.first())) {
        for (i, items) in heading.into_iter().enumerate() {
            bar_items[i].extend(items.into_iter().map(|item| item.placed(1.0, 0.0, first.y)));
        }
    }
    let mut items = line_items;
    for (placed, list) in line.bars.iter().zip(bar_items) {
        let what = What::Bar { played: placed.sheet.played.clone(), x_pt: placed.left, width_pt: placed.right - placed.left };
        items.push(Item::Group { what, items: list });
    }
    // Top and bottom are what is drawn; the width is the one asked for.
    let b = Bounds::of(&items).unwrap_or(Bounds { left: 0.0, top: 0.0, right: 0.0, bottom: 0.0 });
    let pad = 1.0;
    let reach = b.right + f64::max(-b.left, 0.0);
    let over = reach - width;
    let fit = f64::min(shrink, if over > 0.0 { (width - 0.2) / reach } else { 1.0 });
    let items = items.into_iter().map(|i| i.placed(fit, f64::max(0.0, -b.left * fit), (pad - b.top) * fit)).collect();
    let alt = describe(score, &line);
    let frame = Arc::new(Frame { width_pt: width, height_pt: (b.bottom - b.top + 2.0 * pad) * fit, items, alt });
    DrawnLine { frame, stretch, over, shrunk: shrink < 1.0 }
}

/// Staff and tab rows of a part, each with its values, marks and words.
fn draw_rows(score: &Score, p: &Shown, shown: usize, line: &Line) -> Vec<Row> {
    let sizes = &score.sizes;
    let mut rows = Vec::new();
    if let Some(lines) = &p.staff {
        let row = StaffRow { part: p.part, slot: p.slot, shown, key: score.passage.key, lines };
        let mut canvas = draw_staff(&row, line, sizes);
        let height = lines.height(sizes);
        draw_meters(line, height, &mut canvas, sizes);
        if !p.tab {
            draw_staff_techniques(p.part, line, &mut canvas, sizes);
        }
        rows.push(Row { canvas, height, y: 0.0 });
    }
    if p.tab {
        let mut canvas = draw_tab(p.part, p.slot, line, sizes);
        let height = tab::height(p.part, sizes);
        canvas.keep(Bounds { left: line.left, top: 0.0, right: line.right, bottom: height });
        draw_meters(line, height, &mut canvas, sizes);
        if p.staff.is_none() {
            draw_rhythm(p.part, shown, line, height, &mut canvas, sizes);
        }
        draw_techniques(p.part, line, p.staff.is_some(), score.signs, &mut canvas, sizes);
        rows.push(Row { canvas, height, y: 0.0 });
    }
    if let Some(last) = rows.last_mut() {
        draw_words(p.part, line, last.height, &mut last.canvas, sizes);
    }
    rows
}

fn draw_meters(line: &Line, height: f64, canvas: &mut Canvas, sizes: &Sizes) {
    if let (Some(x), Some(b)) = (line.meter_x, line.bars.first()) {
        canvas.draw_line(draw_meter(b.bar.meter, x, height / 2.0, sizes));
    }
    for (i, b) in line.bars.iter().enumerate() {
        if let Some(x) = b.meter_x {
            canvas.draw(i, draw_meter(b.bar.meter, x, height / 2.0, sizes));
        }
    }
    if let Some((x, meter)) = line.courtesy {
        canvas.draw_line(draw_meter(meter, x, height / 2.0, sizes));
    }
}

/// Gives each row its y: as near to the row above as what is drawn allows, parts further apart than the rows of one part.
fn stack_rows(parts: &mut [Vec<Row>], labels: &[Vec<String>], sizes: &Sizes) -> Vec<PartRows> {
    let mut outline = Vec::new();
    let mut above: Vec<(f64, Canvas)> = Vec::new();
    // Lowest line so far, with the room that the part's label takes below it.
    let mut bottom: Option<f64> = None;
    for (rows, label) in parts.iter_mut().zip(labels) {
        let whole: f64 = rows.iter().map(|r| r.height).sum();
        // A tall label needs its room, too.
        let spill = f64::max((label.len() as f64 * sizes.word * 1.1 - whole) / 2.0, 0.0);
        let count = rows.len();
        for (k, row) in rows.iter_mut().enumerate() {
            let (gap, least) = if k > 0 { (sizes.space * 0.7, sizes.space * 3.2) } else { (sizes.space * 1.5, sizes.space * 4.5 + spill) };
            row.y = bottom.map_or(0.0, |b| b + least);
            for (y, canvas) in &above {
                row.y = row.y.max(y + canvas.distance_to(&row.canvas, gap));
            }
            bottom = Some(row.y + row.height + if k + 1 == count { spill } else { 0.0 });
            // Only the two rows nearest above can reach down to the next one.
            above.push((row.y, row.canvas.clone()));
            if above.len() > 2 {
                above.remove(0);
            }
        }
        let edges: Vec<(f64, f64)> = rows.iter().map(|r| (r.y, r.y + r.height)).collect();
        outline.push(PartRows { top: edges.first().map_or(0.0, |e| e.0), bottom: edges.last().map_or(0.0, |e| e.1), rows: edges });
    }
    outline
}

/// Part names before the rows, in the middle of their height.
fn draw_labels(score: &Score, outline: &[PartRows], sizes: &Sizes) -> Vec<Item> {
    let mut items = Vec::new();
    let (up, _) = fonts::ink_height(Face::Italic, sizes.word, "h");
    for (label, rows) in score.labels.iter().zip(outline) {
        let lead = sizes.word * 1.1;
        let middle = (rows.top + rows.bottom) / 2.0;
        let mut y = middle - (label.len() as f64 - 1.0) * lead / 2.0 + up / 2.0;
        for text in label {
            items.extend(fonts::set(0.0, y, Anchor::Start, Face::Italic, sizes.word, text, Ink::Black));
            y += lead;
        }
    }
    items
}

/// The line in words.
fn describe(score: &Score, line: &Line) -> String {
    let numbers: Vec<u32> = line.bars.iter().map(|b| b.bar.number).collect();
    let piece = line.bars.iter().find(|b| !(b.begins() && b.ends())).map(|b| match (b.begins(), b.ends()) {
        (true, _) => format!(" Bar {} goes on in the next line.", b.bar.number),
        (false, true) => format!(" Bar {} goes on from the line before.", b.bar.number),
        (false, false) => format!(" The middle of bar {}.", b.bar.number),
    });
    let mut alt = match (numbers.first(), numbers.last()) {
        (Some(a), Some(b)) if a != b => format!("{}, bars {a} to {b}.", score.passage.title),
        (Some(a), _) => format!("{}, bar {a}.", score.passage.title),
        _ => format!("{}.", score.passage.title),
    };
    let parts: Vec<String> = score
        .shown
        .iter()
        .map(|p| {
            let how = match (&p.staff, p.tab) {
                (Some(_), true) => "staff and tab",
                (None, true) => "tab",
                _ if matches!(p.part.kind, Kind::Drums | Kind::Click) => "drum lines",
                _ => "staff",
            };
            format!("{} ({}, {how}{})", p.part.name, p.part.instrument, played(p.part, line))
        })
        .collect();
    if let (true, Some(b)) = (line.first, line.bars.first()) {
        let beats = if b.bar.meter.is_compound() { "dotted beats" } else { "beats" };
        alt += &format!(" In {}, {} {beats} a minute.", b.bar.meter, crate::svg::number(b.bar.tempo_bpm));
    }
    alt += &format!(" Parts: {}.", parts.join(", "));
    let chords: Vec<String> = line
        .bars
        .iter()
        .flat_map(|b| score.names.iter().filter(|n| n.bar == b.index && b.holds(n.at)).map(|n| format!("{} in bar {}", n.text, b.bar.number)))
        .collect();
    if !chords.is_empty() {
        alt += &format!(" Chords: {}.", chords.join(", "));
    }
    if line.bars.iter().any(|b| b.sheet.repeat_end.is_some()) {
        alt += " With repeats.";
    }
    if let Some((_, meter)) = line.courtesy {
        alt += &format!(" The next line goes on in {meter}.");
    }
    alt += piece.as_deref().unwrap_or("");
    alt
}

/// How many strokes a part has in the line, and the ways of playing among them.
fn played(part: &Part, line: &Line) -> String {
    let of_bar = |b: &PlacedBar| part.bars.get(b.index).map_or(&[][..], |p| &p.events).iter().filter(|e| b.holds(e.at)).collect::<Vec<_>>();
    let events: Vec<&Event> = line.bars.iter().flat_map(of_bar).filter(|e| !e.tie_in && !e.held).collect();
    let any = |has: &dyn Fn(&Tone) -> bool| events.iter().any(|e| e.notes.iter().any(has));
    let ways: Vec<&str> = [
        (events.iter().any(|e| e.scratch), "scratches"),
        (any(&|t| t.attack == Attack::Hammered), "hammer-ons"),
        (any(&|t| t.attack == Attack::Pulled), "pull-offs"),
        (any(&|t| t.attack == Attack::Slid || t.slide_to.is_some()), "slides"),
        (any(&|t| t.bend_cents.is_some() || t.prebend_cents > 0.0), "bends"),
        (any(&|t| t.vibrato), "vibrato"),
        (any(&|t| t.palm_mute), "palm muting"),
        (any(&|t| t.harmonic), "harmonics"),
        (any(&|t| t.tremolo), "tremolo"),
        (events.iter().any(|e| e.spread.is_some()), "spread chords"),
        (events.iter().any(|e| e.rake), "rakes"),
    ]
    .into_iter()
    .filter_map(|(is, word)| is.then_some(word))
    .collect();
    let count = match events.len() {
        0 => return ", silent".into(),
        1 => "1 stroke".to_string(),
        n => format!("{n} strokes"),
    };
    match ways.split_last() {
        None => format!(", {count}"),
        Some((last, [])) => format!(", {count} with {last}"),
        Some((last, rest)) => format!(", {count} with {} and {last}", rest.join(", ")),
    }
}

#[cfg(test)]
mod tests;
