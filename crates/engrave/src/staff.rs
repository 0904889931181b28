//! The five-line staff, and the lines of drums: heads, stems, beams, accidentals, ties, ledger lines.
//!
//! Conventions: a step is a diatonic place counted from the lowest line upward (0 = lowest line, 8 = top line of five). The guitar is written
//! in the treble clef with an 8 below, the bass in the bass clef with an 8 below, so what is written is what sounds. Accidentals hold for
//! their own octave to the end of the bar (common practice).

use crate::beams::{Beamed, beam_groups, draw_beams, flag, tuplets};
use crate::canvas::Canvas;
use crate::fonts;
use crate::frame::{Anchor, Bounds, Face, Ink, Item, Stroke, What};
use crate::glyphs::{self, *};
use crate::line::Line;
use crate::rhythm::{draw_bar_rest, draw_rest, draw_tuplet, rest_code};
use crate::shapes::{arc, arrowhead, upright_arc, upright_wave};
use crate::sizes::Sizes;
use crate::spelling::spell;
use crate::staff_small::{Small, angle, bent_to, draw_small, half_steps, moves, place_small, small_width};
use crate::tab::Extent;
use lesson::{Attack, Base, Drum, Event, Kind, Part, Source, Spread, Tone, Written};
use pitch::{Key, Letter, Midi, Spelled, Spelling};
use std::collections::BTreeMap;

/// What kind of lines a row has.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Lines {
    /// Steps at which lines are drawn.
    pub at: Vec<i32>,
    pub clef: Option<(u32, i32)>,
    /// The note on step 0, in diatonic steps above C0; unpitched rows have none.
    pub bottom: Option<i32>,
}

impl Lines {
    /// The lines that suit a part.
    pub fn of(part: &Part) -> Lines {
        let five = vec![0, 2, 4, 6, 8];
        match part.kind {
            // E3 sounding on the lowest line; the clef's origin is the G line.
            Kind::Guitar => Lines { at: five, clef: Some((G_CLEF_8VB, 2)), bottom: Some(23) },
            Kind::Bass => Lines { at: five, clef: Some((F_CLEF_8VB, 6)), bottom: Some(11) },
            Kind::Other => {
                let mut all: Vec<u8> = part.bars.iter().flat_map(|b| &b.events).flat_map(|e| &e.notes).map(|t| t.midi.0).collect();
                all.sort_unstable();
                // From A3 in the middle upward the treble clef.
                if all.get(all.len() / 2).is_none_or(|m| *m >= 57) {
                    Lines { at: five, clef: Some((G_CLEF, 2)), bottom: Some(30) }
                } else {
                    Lines { at: five, clef: Some((F_CLEF, 6)), bottom: Some(18) }
                }
            }
            Kind::Drums => {
                let mut kinds: Vec<Drum> = part
                    .bars
                    .iter()
                    .flat_map(|b| &b.events)
                    .flat_map(|e| &e.notes)
                    .filter_map(|t| if let Source::Drum(d) = t.source { Some(d) } else { None })
                    .collect();
                kinds.sort_unstable();
                kinds.dedup();
                // One drum needs no more than a line.
                match kinds.len() {
                    0 | 1 => Lines { at: vec![3], clef: Some((PERCUSSION_CLEF, 3)), bottom: None },
                    _ => Lines { at: five, clef: Some((PERCUSSION_CLEF, 4)), bottom: None },
                }
            }
            Kind::Click => Lines { at: vec![3], clef: Some((PERCUSSION_CLEF, 3)), bottom: None },
        }
    }

    fn top(&self) -> i32 {
        self.at.last().copied().unwrap_or(0)
    }

    /// Distance of the outer lines.
    pub fn height(&self, sizes: &Sizes) -> f64 {
        f64::from(self.top() - self.at.first().copied().unwrap_or(0)) * sizes.space / 2.0
    }

    /// y of a step, 0 at the top line.
    fn y(&self, step: i32, sizes: &Sizes) -> f64 {
        f64::from(self.top() - step) * sizes.space / 2.0
    }

    /// Steps of the short lines that a head on `step` needs.
    fn ledgers(&self, step: i32) -> Vec<i32> {
        let (bottom, top) = (self.at.first().copied().unwrap_or(0), self.top());
        let above = (top + 2..=step).filter(|s| (s - top) % 2 == 0 && (self.pitched() || step > top + 1));
        let below = (step..=bottom - 2).filter(|s| (s - bottom) % 2 == 0 && self.pitched());
        above.chain(below).collect()
    }

    fn middle(&self, sizes: &Sizes) -> f64 {
        self.height(sizes) / 2.0
    }

    fn pitched(&self) -> bool {
        self.bottom.is_some()
    }
}

/// A head on its place.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Head {
    step: i32,
    code: u32,
    accidental: Option<u32>,
    ghost: bool,
    /// A small ring over it (open hats).
    ring: bool,
    /// From the column: displaced in a second.
    dx: f64,
    /// Left end of its accidental, from the column.
    accidental_x: f64,
}

/// All heads of one value.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Chord {
    /// Low to high.
    heads: Vec<Head>,
    up: bool,
    extent: Extent,
    /// Where slides and bends arrive.
    small: Vec<Small>,
    /// How far heads, flags and dots reach right of the column.
    reach: f64,
    /// Spread over its notes: a wavy line before it, and its place from the column.
    spread: Option<(Spread, f64)>,
}

/// The chords of a bar, one for each written value (`None` for rests).
pub(crate) fn measure_bar(part: &Part, bar: usize, written: &[Written], lines: &Lines, key: Option<Key>, sizes: &Sizes) -> Vec<Option<Chord>> {
    let Some(part_bar) = part.bars.get(bar) else { return vec![None; written.len()] };
    let mut memory: BTreeMap<i32, i8> = BTreeMap::new();
    let mut chords: Vec<Option<Chord>> = written
        .iter()
        .map(|w| {
            let index = w.event?;
            let event = part_bar.events.get(index)?;
            let mut small = Vec::new();
            let mut heads: Vec<Head> = Vec::new();
            for tone in &event.notes {
                let bent = half_steps(bent_to(part, bar, index, event, tone));
                let head = head_of(tone, bent, w, lines, key, &mut memory);
                if w.head && lines.pitched() {
                    small.extend(moves(event, tone).into_iter().map(|(by, bend, before, label)| {
                        let written = rising(key, tone.midi, by);
                        let step = written.step();
                        let in_force = memory.get(&step).copied().unwrap_or_else(|| signature_alter(key, written.name.letter));
                        Small {
                            from: head.step,
                            step: label.is_none().then(|| step - lines.bottom.unwrap_or(step)),
                            accidental: (label.is_none() && in_force != written.name.alter).then(|| accidental_code(written.name.alter)),
                            bend,
                            before,
                            label,
                            x: 0.0,
                        }
                    }));
                }
                heads.push(head);
            }
            heads.sort_by_key(|h| h.step);
            heads.dedup_by(|a, b| a.step == b.step && a.code == b.code);
            let spread = event.spread.filter(|_| w.head && !event.tie_in).map(|s| (s, 0.0));
            Some(Chord { heads, up: true, extent: Extent::default(), small, reach: 0.0, spread })
        })
        .collect();
    choose_stems(&mut chords, written, lines);
    for (chord, w) in chords.iter_mut().zip(written) {
        if let Some(c) = chord {
            place_heads(c, w, sizes);
        }
    }
    chords
}

impl Chord {
    pub fn extent(&self) -> Extent {
        self.extent
    }

    fn lowest(&self) -> i32 {
        self.heads.first().map_or(0, |h| h.step)
    }

    fn highest(&self) -> i32 {
        self.heads.last().map_or(0, |h| h.step)
    }

    /// On which side of a head its slurs lie, 1 = below: outer heads of a chord outside, single ones away from the stem.
    fn side(&self, step: i32) -> f64 {
        let below = if self.heads.len() > 1 { step == self.lowest() } else { self.up };
        if below { 1.0 } else { -1.0 }
    }

    /// How far the heads alone reach right of the column.
    fn heads_right(&self, sizes: &Sizes) -> f64 {
        self.heads.iter().map(|h| h.dx + head_width(h.code, sizes) / 2.0).fold(0.0, f64::max)
    }
}

/// What the signature does to a letter.
fn signature_alter(key: Option<Key>, letter: Letter) -> i8 {
    const SHARPS: [Letter; 7] = [Letter::F, Letter::C, Letter::G, Letter::D, Letter::A, Letter::E, Letter::B];
    let fifths = key.map_or(0, Key::fifths);
    let place = SHARPS.iter().position(|l| *l == letter).unwrap_or(0) as i32;
    if place < fifths {
        1
    } else if 6 - place < -fifths {
        -1
    } else {
        0
    }
}

fn head_of(tone: &Tone, bent: i32, w: &Written, lines: &Lines, key: Option<Key>, memory: &mut BTreeMap<i32, i8>) -> Head {
    let normal = match w.base {
        Base::Whole => HEAD_WHOLE,
        Base::Half => HEAD_HALF,
        _ => HEAD_BLACK,
    };
    let mut head = Head { step: 3, code: normal, accidental: None, ghost: tone.ghost, ring: false, dx: 0.0, accidental_x: 0.0 };
    let spelled: Spelled = match tone.source {
        Source::Drum(drum) => {
            (head.step, head.code) = match drum {
                // common practice: as a treble clef's F4, C5, E5, G5, F5 and A5.
                Drum::Kick => (1, normal),
                Drum::Snare => (5, normal),
                Drum::Tom => (7, normal),
                Drum::Hats | Drum::OpenHats => (9, HEAD_X),
                Drum::Ride => (8, HEAD_X),
                Drum::Crash => (10, HEAD_X),
            };
            if lines.at.len() == 1 {
                head.step = 3;
            }
            head.ring = drum == Drum::OpenHats;
            return head;
        }
        Source::Click => {
            head.code = HEAD_X;
            return head;
        }
        Source::Named(spelled) => spelled,
        Source::String { .. } => spell(key, tone.midi.up(bent).unwrap_or(tone.midi)),
    };
    let step = spelled.step();
    head.step = step - lines.bottom.unwrap_or(step);
    if tone.dead {
        head.code = HEAD_X;
        return head;
    }
    if tone.harmonic {
        head.code = if w.base <= Base::Half { HEAD_DIAMOND_OPEN } else { HEAD_DIAMOND };
    }
    // A note tied from before keeps its accidental unwritten.
    let in_force = memory.get(&step).copied().unwrap_or_else(|| signature_alter(key, spelled.name.letter));
    if in_force != spelled.name.alter && !w.tie_in {
        head.accidental = Some(accidental_code(spelled.name.alter));
    }
    if !w.tie_in || w.head {
        memory.insert(step, spelled.name.alter);
    }
    head
}

/// The note `by` half steps from a fretted one. Half a step up out of the key is the sharpened note (common practice of rising lines).
fn rising(key: Option<Key>, midi: Midi, by: i32) -> Spelled {
    let plain = spell(key, midi.up(by).unwrap_or(midi));
    let fretted = spell(key, midi);
    let out_of_key = plain.name.alter < 0 && signature_alter(key, plain.name.letter) != plain.name.alter;
    match midi.up(by) {
        Some(to) if by == 1 && out_of_key && fretted.name.alter == 0 => Spelled::from_midi(to, Spelling::new(fretted.name.letter, 1)),
        _ => plain,
    }
}

fn accidental_code(alter: i8) -> u32 {
    match alter {
        i8::MIN..=-2 => DOUBLE_FLAT,
        -1 => FLAT,
        0 => NATURAL,
        1 => SHARP,
        2..=i8::MAX => DOUBLE_SHARP,
    }
}

/// Stems by the note furthest from the middle line; a beam group by the furthest of all its notes; drums always up.
fn choose_stems(chords: &mut [Option<Chord>], written: &[Written], lines: &Lines) {
    let way = |some: &[Option<Chord>]| {
        if !lines.pitched() {
            return true;
        }
        let high = some.iter().flatten().map(Chord::highest).max().unwrap_or(4);
        let low = some.iter().flatten().map(Chord::lowest).min().unwrap_or(4);
        (high - 4) < (4 - low)
    };
    let groups = beam_groups(written);
    for i in 0..chords.len() {
        let range = groups.iter().find(|g| g.contains(&i)).cloned().unwrap_or(i..=i);
        let up = way(&chords[range]);
        if let Some(c) = &mut chords[i] {
            c.up = up;
        }
    }
}

fn head_width(code: u32, sizes: &Sizes) -> f64 {
    glyphs::advance(code) * sizes.space
}

/// Seconds change sides, accidentals stand in as few columns as they can.
fn place_heads(chord: &mut Chord, w: &Written, sizes: &Sizes) {
    let n = chord.heads.len();
    let order: Vec<usize> = if chord.up { (0..n).collect() } else { (0..n).rev().collect() };
    let mut before: Option<(i32, bool)> = None;
    for i in order {
        let displaced = before.is_some_and(|(step, moved)| (chord.heads[i].step - step).abs() <= 1 && !moved);
        before = Some((chord.heads[i].step, displaced));
        if displaced {
            let shift = head_width(chord.heads[i].code, sizes) - sizes.stem_width;
            chord.heads[i].dx = if chord.up { shift } else { -shift };
        }
    }
    let mut extent = Extent::default();
    for h in &chord.heads {
        let half = head_width(h.code, sizes) / 2.0 + if h.ghost { sizes.space * 0.9 } else { 0.0 };
        extent = extent.with(Extent { left: half - h.dx, right: half + h.dx });
    }
    // From the top: each accidental in the first column where the one above is far enough.
    let mut columns: Vec<Vec<i32>> = Vec::new();
    let heads_left = extent.left;
    let mut placed = Vec::new();
    for i in (0..n).rev() {
        if chord.heads[i].accidental.is_some() {
            let step = chord.heads[i].step;
            let column = columns.iter().position(|c| c.iter().all(|s| (s - step).abs() >= 6)).unwrap_or(columns.len());
            if column == columns.len() {
                columns.push(Vec::new());
            }
            columns[column].push(step);
            placed.push((i, column));
        }
    }
    let width = sizes.space * 1.05;
    for (i, column) in placed {
        let code = chord.heads[i].accidental.unwrap_or(NATURAL);
        let right = heads_left + sizes.space * 0.3 + column as f64 * width;
        let x = -right - glyphs::advance(code) * sizes.space;
        chord.heads[i].accidental_x = x;
        extent.left = extent.left.max(-x);
    }
    if chord.up && w.beams.is_empty() && w.base >= Base::Eighth {
        extent.right = extent.right.max(head_width(HEAD_BLACK, sizes) / 2.0 + sizes.space * 1.1);
    }
    if w.dots > 0 {
        extent.right += sizes.space * (0.3 + 0.55 * f64::from(w.dots));
    }
    chord.reach = extent.right;
    (extent.left, extent.right) = place_small(&mut chord.small, extent.left, extent.right, sizes);
    if let Some((_, x)) = &mut chord.spread {
        *x = -extent.left - sizes.space * 0.55;
        extent.left += sizes.space * 1.1;
    }
    chord.extent = extent;
}

/// Width of the clef, signature and the air after each.
pub(crate) fn head_widths(lines: &Lines, key: Option<Key>, sizes: &Sizes) -> (f64, f64) {
    let clef = lines.clef.map_or(0.0, |(code, _)| glyphs::advance(code) * sizes.space);
    let signs = key.filter(|_| lines.pitched()).map_or(0, |k| k.fifths().unsigned_abs());
    (clef, f64::from(signs) * sizes.space * 0.98)
}

/// Steps of the signature's signs on the treble staff, in order (common practice).
const SHARP_STEPS: [i32; 7] = [8, 5, 9, 6, 3, 7, 4];
const FLAT_STEPS: [i32; 7] = [4, 7, 3, 6, 2, 5, 1];

fn draw_head_of_line(lines: &Lines, key: Option<Key>, line: &Line, sizes: &Sizes) -> Vec<Item> {
    let mut items = Vec::new();
    for step in &lines.at {
        let y = lines.y(*step, sizes);
        items.push(Item::line(line.left, y, line.right, y, sizes.line_width, Ink::Grey));
    }
    if let Some((code, step)) = lines.clef {
        items.push(Item::Glyph { code, x_pt: line.clef_x, y_pt: lines.y(step, sizes), space_pt: sizes.space, ink: Ink::Black });
    }
    if let (Some(key), true) = (key, lines.pitched()) {
        let fifths = key.fifths();
        // The bass clef stands two steps lower.
        let bass = matches!(lines.clef, Some((F_CLEF | F_CLEF_8VB, _)));
        let (steps, code) = if fifths > 0 { (SHARP_STEPS, SHARP) } else { (FLAT_STEPS, FLAT) };
        for (i, step) in steps.iter().take(fifths.unsigned_abs() as usize).enumerate() {
            let step = step - if bass { 2 } else { 0 };
            let x = line.key_x + i as f64 * sizes.space * 0.98;
            items.push(Item::Glyph { code, x_pt: x, y_pt: lines.y(step, sizes), space_pt: sizes.space, ink: Ink::Black });
        }
    }
    items
}

/// What a staff row is drawn from.
pub(crate) struct StaffRow<'a> {
    pub part: &'a Part,
    /// The part's place in the passage, and among the shown ones.
    pub slot: usize,
    pub shown: usize,
    pub key: Option<Key>,
    pub lines: &'a Lines,
}

/// Draws the row.
pub(crate) fn draw_staff(row: &StaffRow, line: &Line, sizes: &Sizes) -> Canvas {
    let lines = row.lines;
    let mut canvas = Canvas::new(line.bars.len());
    canvas.draw_line(draw_head_of_line(lines, row.key, line, sizes));
    canvas.keep(Bounds { left: line.left, top: 0.0, right: line.right, bottom: lines.height(sizes) });
    let mut before: Option<(f64, Chord)> = None;
    for (i, placed) in line.bars.iter().enumerate() {
        let written = &placed.written[row.shown];
        if placed.is_silent(row.shown) {
            canvas.draw(i, draw_bar_rest(placed, row.shown, lines.middle(sizes), sizes));
            before = None;
            continue;
        }
        let mut chords = measure_bar(row.part, placed.index, &placed.whole[row.shown], lines, row.key, sizes);
        chords.drain(..placed.earlier[row.shown]);
        chords.truncate(written.len());
        let stems = measure_stems(&chords, written, lines, line, i, sizes);
        let beams = beam_lines(&chords, written, &stems, line, i, sizes);
        for (k, w) in written.iter().enumerate() {
            let x = line.x(i, w.at);
            let (Some(chord), Some(e)) = (&chords[k], w.event) else {
                let beam = beams.iter().find(|b| b.range.contains(&k));
                canvas.draw(i, draw_rest(w, x, rest_middle(w, x, beam, lines, sizes), sizes));
                before = None;
                continue;
            };
            let event = &row.part.bars[placed.index].events[e];
            let mut items = draw_chord(chord, w, x, lines, sizes);
            if w.head && lines.pitched() {
                items.extend(draw_joins(event, chord, before.as_ref(), x, line, lines, sizes));
                items.extend(draw_small(&chord.small, x, chord.reach, |step| chord.side(step), |step| lines.y(step, sizes), |step| lines.ledgers(step), sizes));
            }
            if let Some((spread, dx)) = chord.spread {
                items.extend(draw_spread(chord, spread, x + dx, lines, sizes));
            }
            items.extend(draw_stem(chord, w, x, stems[k], event, lines, sizes));
            if w.tie_in {
                let from = before.as_ref().map(|(x, c)| (*x, c.heads_right(sizes)));
                items.extend(draw_ties(chord, from, x, line, lines, sizes));
            }
            let last = i + 1 == line.bars.len() && k + 1 == written.len();
            if w.tie_out && last {
                for (step, bow) in tie_sides(chord, sizes) {
                    let start = x + chord.heads_right(sizes) + 1.0;
                    items.push(arc(start, f64::max(placed.right - 1.0, start + 3.0), lines.y(step, sizes) + bow * 0.8, bow, sizes.space * 0.2));
                }
            }
            canvas.draw(i, [Item::Group { what: What::Stroke { part: row.slot, bar: placed.index, event: e }, items }]);
            before = Some((x, chord.clone()));
        }
        for beam in &beams {
            let stems: Vec<Beamed> = beam
                .range
                .clone()
                .filter_map(|k| Some(Beamed { x: line.x(i, written[k].at) + stem_dx(chords[k].as_ref()?, sizes), beams: &written[k].beams }))
                .collect();
            canvas.draw(i, draw_beams(&stems, |x| beam.y(x), if beam.up { 1.0 } else { -1.0 }, sizes));
        }
        draw_staff_tuplets(&chords, written, &stems, line, i, &mut canvas, sizes);
        draw_staff_signs(row, &chords, written, line, i, &mut canvas, sizes);
    }
    canvas
}

/// The outer edge of a group's beam.
struct BeamLine {
    range: std::ops::RangeInclusive<usize>,
    up: bool,
    from: (f64, f64),
    slope: f64,
    /// Thickness of all its beams.
    thick: f64,
}

impl BeamLine {
    fn y(&self, x: f64) -> f64 {
        self.from.1 + (x - self.from.0) * self.slope
    }
}

fn beam_lines(chords: &[Option<Chord>], written: &[Written], stems: &[Option<f64>], line: &Line, i: usize, sizes: &Sizes) -> Vec<BeamLine> {
    let mut out = Vec::new();
    for range in beam_groups(written) {
        let ends: Vec<(f64, f64)> =
            range.clone().filter_map(|k| Some((line.x(i, written[k].at) + stem_dx(chords[k].as_ref()?, sizes), stems[k]?))).collect();
        let (Some(&from), Some(&to)) = (ends.first(), ends.last()) else { continue };
        let count = written[range.clone()].iter().map(|w| w.beams.len()).max().unwrap_or(1) as f64;
        out.push(BeamLine {
            up: chords[*range.start()].as_ref().is_none_or(|c| c.up),
            from,
            slope: if to.0 > from.0 { (to.1 - from.1) / (to.0 - from.0) } else { 0.0 },
            thick: count * sizes.beam + (count - 1.0) * sizes.beam_gap,
            range,
        });
    }
    out
}

/// Where a rest stands: in the middle of the staff, or by whole spaces further away from a beam that runs over it.
fn rest_middle(w: &Written, x: f64, beam: Option<&BeamLine>, lines: &Lines, sizes: &Sizes) -> f64 {
    let middle = lines.middle(sizes);
    let (Some(beam), Some(b)) = (beam, glyphs::bounds(rest_code(w.base))) else { return middle };
    let air = sizes.space * 0.35;
    let lack = if beam.up {
        beam.y(x) + beam.thick + air - (middle + b.top * sizes.space)
    } else {
        middle + b.bottom * sizes.space - (beam.y(x) - beam.thick - air)
    };
    let spaces = libm::ceil(f64::max(lack, 0.0) / sizes.space) * sizes.space;
    if beam.up { middle + spaces } else { middle - spaces }
}

/// A wavy line before the heads, with an arrow where the hand goes.
fn draw_spread(chord: &Chord, spread: Spread, x: f64, lines: &Lines, sizes: &Sizes) -> Vec<Item> {
    let s = sizes.space;
    let (top, bottom) = (lines.y(chord.highest(), sizes) - s * 0.8, lines.y(chord.lowest(), sizes) + s * 0.8);
    let head = s * 0.9;
    vec![
        upright_wave(x, top, bottom, s * 0.22, s * 0.8, sizes.stem_width),
        match spread {
            Spread::LowToHigh => arrowhead(x, top - head * 0.7, head, false),
            Spread::HighToLow => arrowhead(x, bottom + head * 0.7, head, true),
        },
    ]
}

fn stem_dx(chord: &Chord, sizes: &Sizes) -> f64 {
    let code = if chord.up { chord.heads.first() } else { chord.heads.last() }.map_or(HEAD_BLACK, |h| h.code);
    let half = head_width(code, sizes) / 2.0 - sizes.stem_width / 2.0;
    if chord.up { half } else { -half }
}

/// y of each value's stem tip; `None` for rests and wholes.
fn measure_stems(chords: &[Option<Chord>], written: &[Written], lines: &Lines, line: &Line, i: usize, sizes: &Sizes) -> Vec<Option<f64>> {
    let middle = lines.middle(sizes);
    let length = |w: &Written| sizes.space * (3.4 + 0.75 * f64::from(w.base.flags().saturating_sub(2)));
    let mut tips: Vec<Option<f64>> = chords
        .iter()
        .zip(written)
        .map(|(chord, w)| {
            let c = chord.as_ref()?;
            if w.base == Base::Whole {
                return None;
            }
            Some(if c.up {
                let tip = lines.y(c.highest(), sizes) - length(w);
                if lines.pitched() { tip.min(middle) } else { tip.min(-sizes.space * 2.6) }
            } else {
                (lines.y(c.lowest(), sizes) + length(w)).max(middle)
            })
        })
        .collect();
    for group in beam_groups(written) {
        let ks: Vec<usize> = group.filter(|k| tips[*k].is_some()).collect();
        let (Some(&a), Some(&b)) = (ks.first(), ks.last()) else { continue };
        let up = chords[a].as_ref().is_none_or(|c| c.up);
        let x = |k: usize| line.x(i, written[k].at);
        let tip = |k: usize| tips[k].unwrap_or(0.0);
        // The slant of the outer notes, never more than a space over the group.
        let rise = if lines.pitched() { (tip(b) - tip(a)).clamp(-sizes.space, sizes.space) * 0.8 } else { 0.0 };
        let slope = if x(b) > x(a) { (rise / (x(b) - x(a))).clamp(-0.2, 0.2) } else { 0.0 };
        let at = |k: usize| slope * (x(k) - x(a));
        let start = ks.iter().map(|&k| tip(k) - at(k)).fold(if up { f64::MAX } else { f64::MIN }, |m, v| if up { m.min(v) } else { m.max(v) });
        for &k in &ks {
            tips[k] = Some(start + at(k));
        }
    }
    tips
}

fn draw_chord(chord: &Chord, w: &Written, x: f64, lines: &Lines, sizes: &Sizes) -> Vec<Item> {
    let mut items = Vec::new();
    let mut ledgers: Vec<i32> = chord.heads.iter().flat_map(|h| lines.ledgers(h.step)).collect();
    ledgers.sort_unstable();
    ledgers.dedup();
    for step in ledgers {
        let half = head_width(HEAD_BLACK, sizes) / 2.0 + sizes.space * 0.35;
        let y = lines.y(step, sizes);
        items.push(Item::line(x - half, y, x + half, y, sizes.line_width * 1.2, Ink::Black));
    }
    // A whole chord that is ghosted stands in one pair of brackets.
    let all_ghosted = chord.heads.len() > 1 && chord.heads.iter().all(|h| h.ghost);
    if all_ghosted {
        let (top, bottom) = (lines.y(chord.highest(), sizes) - sizes.space * 0.7, lines.y(chord.lowest(), sizes) + sizes.space * 0.7);
        let left = chord.heads.iter().map(|h| h.dx - head_width(h.code, sizes) / 2.0).fold(0.0, f64::min);
        items.push(upright_arc(x + left - sizes.space * 0.2, top, bottom, -sizes.space * 0.6, sizes.stem_width));
        items.push(upright_arc(x + chord.heads_right(sizes) + sizes.space * 0.2, top, bottom, sizes.space * 0.6, sizes.stem_width));
    }
    let mut dot_steps: Vec<i32> = Vec::new();
    for h in &chord.heads {
        let y = lines.y(h.step, sizes);
        let width = head_width(h.code, sizes);
        let left = x + h.dx - width / 2.0;
        items.push(Item::Glyph { code: h.code, x_pt: left, y_pt: y, space_pt: sizes.space, ink: Ink::Black });
        if let Some(code) = h.accidental {
            items.push(Item::Glyph { code, x_pt: x + h.accidental_x, y_pt: y, space_pt: sizes.space, ink: Ink::Black });
        }
        if h.ghost && !all_ghosted {
            let base = y + sizes.word * 0.24;
            items.extend(fonts::set(left - sizes.space * 0.2, base, Anchor::End, Face::Regular, sizes.word, "(", Ink::Black));
            items.extend(fonts::set(left + width + sizes.space * 0.2, base, Anchor::Start, Face::Regular, sizes.word, ")", Ink::Black));
        }
        if h.ring {
            let d = sizes.space * 0.62;
            items.push(Item::pill(x - d / 2.0, y - sizes.space * 1.5, d, d, None, Some(Stroke::plain(Ink::Black, sizes.stem_width))));
        }
        // Dots stand in spaces, each in one of its own.
        if w.dots > 0 {
            let on_line = lines.at.contains(&h.step) || h.step.rem_euclid(2) == 0;
            let mut step = if on_line { h.step + 1 } else { h.step };
            while dot_steps.contains(&step) {
                step -= 2;
            }
            dot_steps.push(step);
        }
    }
    let right = chord.heads_right(sizes);
    for step in dot_steps {
        for d in 0..w.dots {
            let dx = right + sizes.space * (0.3 + 0.55 * f64::from(d));
            items.push(Item::Glyph { code: DOT, x_pt: x + dx, y_pt: lines.y(step, sizes), space_pt: sizes.space, ink: Ink::Black });
        }
    }
    items
}

fn draw_stem(chord: &Chord, w: &Written, x: f64, tip: Option<f64>, event: &Event, lines: &Lines, sizes: &Sizes) -> Vec<Item> {
    let tremolo = event.notes.iter().any(|t| t.tremolo);
    let Some(tip) = tip else {
        // Without a stem it stands over the heads.
        let y = lines.y(chord.highest(), sizes) - sizes.space * 1.7;
        return if tremolo { vec![Item::Glyph { code: TREMOLO_3, x_pt: x, y_pt: y, space_pt: sizes.space, ink: Ink::Black }] } else { Vec::new() };
    };
    let x = x + stem_dx(chord, sizes);
    let foot = if chord.up { lines.y(chord.lowest(), sizes) - sizes.space * 0.16 } else { lines.y(chord.highest(), sizes) + sizes.space * 0.16 };
    let mut items = vec![Item::line(x, foot, x, tip, sizes.stem_width, Ink::Black)];
    if w.beams.is_empty() {
        items.extend(flag(w.base, x, tip, chord.up, sizes));
    }
    if tremolo {
        let end = if chord.up { lines.y(chord.highest(), sizes) } else { lines.y(chord.lowest(), sizes) };
        let y = end + (tip - end) * 0.52;
        items.push(Item::Glyph { code: TREMOLO_3, x_pt: x, y_pt: y, space_pt: sizes.space, ink: Ink::Black });
    }
    items
}

/// For each head the step and bow of its tie: the upper half of a chord bows up, the lower down; single notes away from the stem.
fn tie_sides(chord: &Chord, sizes: &Sizes) -> Vec<(i32, f64)> {
    let n = chord.heads.len();
    let bow = sizes.space * 0.7;
    chord
        .heads
        .iter()
        .enumerate()
        .map(|(k, h)| {
            let upward = if n == 1 { !chord.up } else { k * 2 >= n };
            (h.step, if upward { -bow } else { bow })
        })
        .collect()
}

fn draw_ties(chord: &Chord, from: Option<(f64, f64)>, x: f64, line: &Line, lines: &Lines, sizes: &Sizes) -> Vec<Item> {
    let end = x - head_width(HEAD_BLACK, sizes) / 2.0 - 0.5;
    let start = from.map_or(f64::max(line.content_left() - sizes.space * 0.8, end - sizes.space * 3.0), |(x, right)| x + right + 0.5);
    if end - start < 2.0 {
        return Vec::new();
    }
    tie_sides(chord, sizes).into_iter().map(|(step, bow)| arc(start, end, lines.y(step, sizes) + bow * 0.8, bow, sizes.space * 0.2)).collect()
}

/// A slur into a note that is hammered, pulled off or slid to; a line for a slide, into the note or within it.
fn draw_joins(event: &Event, chord: &Chord, before: Option<&(f64, Chord)>, x: f64, line: &Line, lines: &Lines, sizes: &Sizes) -> Vec<Item> {
    let mut items = Vec::new();
    let joined = |t: &&Tone| t.attack != Attack::Struck;
    if let Some(tone) = event.notes.iter().find(joined) {
        let half = head_width(HEAD_BLACK, sizes) / 2.0;
        let from = before.map_or(f64::max(line.content_left(), x - sizes.space * 3.0), |b| b.0);
        let step_before = before.map_or(chord.highest(), |b| if chord.up { b.1.lowest() } else { b.1.highest() });
        let side = if chord.up { 1.0 } else { -1.0 };
        let edge = if chord.up { chord.lowest() } else { chord.highest() };
        let y0 = lines.y(step_before, sizes) + side * sizes.space * 0.8;
        let y1 = lines.y(edge, sizes) + side * sizes.space * 0.8;
        let y = if chord.up { y0.max(y1) } else { y0.min(y1) };
        items.push(arc(from, x, y, side * sizes.space * 0.7, sizes.space * 0.2));
        if tone.attack == Attack::Slid {
            if let Some((_, c)) = before.filter(|b| x - b.0 > half * 4.0) {
                let pairs: Vec<(i32, i32)> = if c.heads.len() == chord.heads.len() {
                    c.heads.iter().map(|h| h.step).zip(chord.heads.iter().map(|h| h.step)).collect()
                } else {
                    vec![(c.highest(), chord.highest())]
                };
                for (a, b) in pairs {
                    let (a, b) = (lines.y(a, sizes), lines.y(b, sizes));
                    items.push(Item::line(from + c.extent.right + 1.0, a, x - chord.extent.left - 1.0, b, sizes.stem_width, Ink::Black));
                }
            }
        }
    }
    // Bent on or let down: an angle from the head before.
    if let (true, Some((from, c))) = (event.held, before) {
        let (side, edge): (f64, fn(&Chord) -> i32) = if chord.up { (sizes.space, Chord::lowest) } else { (-sizes.space, Chord::highest) };
        // From the small head that the bend before arrived at, where there is one.
        let arrived = c.small.iter().find_map(|s| Some((from + s.x + small_width(sizes) / 2.0, s.step.filter(|_| s.bend && !s.before)?)));
        let (from, step) = arrived.unwrap_or((*from, edge(c)));
        items.push(angle((from, lines.y(step, sizes)), (x, lines.y(edge(chord), sizes)), side, sizes));
    }
    items
}

fn draw_staff_tuplets(
    chords: &[Option<Chord>], written: &[Written], stems: &[Option<f64>], line: &Line, i: usize, canvas: &mut Canvas, sizes: &Sizes,
) {
    let groups = beam_groups(written);
    for (range, figure) in tuplets(written) {
        let (x0, x1) = (line.x(i, written[*range.start()].at), line.x(i, written[*range.end()].at));
        let beamed = groups.iter().any(|g| g.start() == range.start() && g.end() == range.end());
        let above = range.clone().filter_map(|k| chords[k].as_ref()).all(|c| c.up) || stems[range.clone()].iter().all(Option::is_none);
        let gap = sizes.space * 0.5;
        let y = if above { canvas.clear_above(x0, x1, 0.0) - gap } else { canvas.clear_below(x0, x1, 0.0) + gap };
        canvas.draw(i, draw_tuplet(x0, x1, y, figure, beamed, above, sizes));
    }
}

/// Accents above, short dots on the side of the heads.
fn draw_staff_signs(
    row: &StaffRow, chords: &[Option<Chord>], written: &[Written], line: &Line, i: usize, canvas: &mut Canvas, sizes: &Sizes,
) {
    let events = &row.part.bars[line.bars[i].index].events;
    for (chord, w) in chords.iter().zip(written) {
        let (Some(chord), Some(event)) = (chord, w.event.and_then(|e| events.get(e))) else { continue };
        if !w.head || event.tie_in || event.held {
            continue;
        }
        let x = line.x(i, w.at);
        if event.notes.iter().any(|t| t.short) {
            let (code, y) = if chord.up {
                (STACCATO_BELOW, f64::max(row.lines.y(chord.lowest(), sizes) + sizes.space * 0.9, 0.0))
            } else {
                (STACCATO_ABOVE, row.lines.y(chord.highest(), sizes) - sizes.space * 0.9)
            };
            let half = glyphs::advance(code) * sizes.space / 2.0;
            canvas.draw(i, [Item::Glyph { code, x_pt: x - half, y_pt: y, space_pt: sizes.space, ink: Ink::Black }]);
        }
        if event.accent {
            let half = glyphs::advance(ACCENT_ABOVE) * sizes.space / 2.0;
            let y = canvas.clear_above(x - half, x + half, 0.0) - sizes.space * 0.45;
            canvas.draw(i, [Item::Glyph { code: ACCENT_ABOVE, x_pt: x - half, y_pt: y, space_pt: sizes.space, ink: Ink::Black }]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signatures_alter_letters() {
        // common practice: three flats are B, E, A; two sharps F and C.
        let flats = Key::parse("C minor").ok();
        let sharps = Key::parse("D").ok();
        let altered = |key| Letter::ALL.into_iter().filter(|l| signature_alter(key, *l) != 0).collect::<Vec<_>>();
        assert_eq!(altered(flats), [Letter::E, Letter::A, Letter::B]);
        assert_eq!(altered(sharps), [Letter::C, Letter::F]);
        assert_eq!(signature_alter(flats, Letter::B), -1);
        assert!(altered(None).is_empty());
    }

    #[test]
    fn half_a_step_up_is_sharpened() {
        let g = Key::parse("G").ok();
        assert_eq!(rising(g, Midi(67), 1).to_string(), "G#4");
        assert_eq!(rising(g, Midi(67), 2).to_string(), "A4");
        assert_eq!(rising(g, Midi(66), 1).to_string(), "G4");
        // In the key, the key's own note.
        assert_eq!(rising(Key::parse("Eb").ok(), Midi(67), 1).to_string(), "Ab4");
    }
}
