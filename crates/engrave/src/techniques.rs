//! Marks over the tab: bends, hammer-ons and pull-offs, accents, vibrato, muting, ringing, stroke directions, doubts.
//!
//! Each kind is placed clear of what is already there, nearest to the strings first.

use crate::canvas::Canvas;
use crate::fonts;
use crate::frame::{Anchor, Face, Ink, Item, Path, Step, Stroke};
use crate::glyphs::{self, ACCENT_ABOVE, DOWN_STROKE, STACCATO_ABOVE, UP_STROKE};
use crate::line::{Line, note_before};
use crate::shapes::{arc, arrowhead, dashes, wave};
use crate::sizes::{DIGITS, Sizes};
use crate::tab::figure;
use lesson::{Attack, Direction, Event, Part};

/// Which stroke signs are printed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum StrokeSigns {
    /// Where the lesson writes a direction against the hand's usual swing.
    #[default]
    Written,
    /// Over every stroke.
    All,
}

/// An event in its place on the line.
struct Placed<'a> {
    i: usize,
    e: usize,
    event: &'a Event,
    x: f64,
    /// Where it stops.
    end: f64,
}

fn place_events<'a>(part: &'a Part, line: &Line) -> Vec<Placed<'a>> {
    let mut out = Vec::new();
    for (i, placed) in line.bars.iter().enumerate() {
        let Some(bar) = part.bars.get(placed.index) else { continue };
        for (e, event) in bar.events.iter().enumerate() {
            if placed.holds(event.at) {
                out.push(Placed { i, e, event, x: line.x(i, event.at), end: line.x(i, (event.at + event.len).min(placed.to)) });
            }
        }
    }
    out
}

/// Draws all marks over a tab row. `staff` tells that a staff above carries accents and short signs.
pub(crate) fn draw_techniques(part: &Part, line: &Line, staff: bool, signs: StrokeSigns, canvas: &mut Canvas, sizes: &Sizes) {
    let events = place_events(part, line);
    draw_bends(part, line, &events, canvas, sizes);
    draw_slurs(part, line, &events, canvas, sizes);
    if !staff {
        draw_articulations(&events, canvas, sizes);
    }
    draw_vibrato(&events, line.end(), canvas, sizes);
    draw_spans(&events, "P.M.", |e| e.notes.iter().any(|t| t.palm_mute), line.end(), canvas, sizes);
    draw_spans(&events, "let ring", |e| e.notes.iter().any(|t| t.rings_on), line.end(), canvas, sizes);
    draw_spans(&events, "rake", |e| e.rake, line.end(), canvas, sizes);
    draw_stroke_signs(&events, signs, canvas, sizes);
    draw_doubts(part, line, &events, canvas, sizes);
}

/// Marks of a part that has a staff alone: vibrato, ringing, doubts. Accents and short signs stand there already.
pub(crate) fn draw_staff_techniques(part: &Part, line: &Line, canvas: &mut Canvas, sizes: &Sizes) {
    let events = place_events(part, line);
    draw_vibrato(&events, line.end(), canvas, sizes);
    draw_spans(&events, "let ring", |e| e.notes.iter().any(|t| t.rings_on), line.end(), canvas, sizes);
    draw_doubts(part, line, &events, canvas, sizes);
}

/// y over which marks begin when nothing is in the way.
fn floor(sizes: &Sizes) -> f64 {
    -sizes.digit_height / 2.0
}

/// "full", "1/2", "1/4" and whole tones beyond, from cents.
pub(crate) fn bend_label(cents: f64) -> String {
    let quarters = libm::round(cents / 50.0) as i64;
    match (quarters / 4, quarters % 4) {
        (1, 0) => "full".into(),
        (whole, 0) => whole.to_string(),
        (0, 2) => "1/2".into(),
        (0, q) => format!("{q}/4"),
        (whole, 2) => format!("{whole} 1/2"),
        (whole, q) => format!("{whole} {q}/4"),
    }
}

fn draw_bends(part: &Part, line: &Line, events: &[Placed], canvas: &mut Canvas, sizes: &Sizes) {
    let top = -sizes.tab_gap * 1.25;
    let head = sizes.space * 0.85;
    let pen = Stroke::round(Ink::Black, sizes.stem_width);
    let curve = |steps: Vec<Step>| Item::Path(Path { steps, fill: None, stroke: Some(pen) });
    // A bend that is bent on further rises this much over the first.
    let further = top - head * 1.6;
    // Where the arrow of each string ended last, since its note was struck.
    let mut ended: std::collections::BTreeMap<u8, f64> = std::collections::BTreeMap::new();
    for p in events {
        let mut labels: Vec<(f64, f64, String)> = Vec::new();
        let mut items = Vec::new();
        for tone in &p.event.notes {
            let Some((string, _)) = tone.place() else { continue };
            let y = (f64::from(string) - 1.0) * sizes.tab_gap;
            let half = figure(tone, false).map_or(0.0, |t| fonts::width(DIGITS, sizes.digit, &t)) / 2.0;
            if p.event.held {
                let Some(cents) = tone.bend_cents else { continue };
                let prior = note_before(part, line.bars[p.i].index, p.e, string);
                let before = prior.map_or(0.0, |(_, _, t)| t.bend_cents.unwrap_or(t.prebend_cents));
                let prior_x = prior.and_then(|(b, e, _)| {
                    let at = part.bars[b].events[e].at;
                    Some(line.x(line.place_of(b, at)?, at))
                });
                let prior_x = prior_x.filter(|x| *x < p.x).unwrap_or(line.content_left());
                let from = ended.get(&string).copied().unwrap_or(prior_x + half + sizes.space * 1.6);
                if cents < before {
                    // Let down: over the top and down to the string.
                    let end = y - sizes.digit_height * 0.5;
                    items.push(curve(vec![
                        Step::Move(from, top),
                        Step::Curve { c1: (from + (p.x - from) * 0.6, top), c2: (p.x, top), to: (p.x, end - head * 0.8) },
                    ]));
                    items.push(arrowhead(p.x, end, head, true));
                    if cents > 0.0 {
                        labels.push((p.x, top, bend_label(cents)));
                    }
                } else if before <= 0.0 {
                    // From the plain note up.
                    let start = prior_x + half + 1.0;
                    items.push(curve(vec![Step::Move(start, y), Step::Curve { c1: (p.x, y), c2: (p.x, y), to: (p.x, top + head * 0.7) }]));
                    items.push(arrowhead(p.x, top, head, false));
                    labels.push((p.x, top, bend_label(cents)));
                } else {
                    items.push(curve(vec![Step::Move(from, top), Step::Curve { c1: (p.x, top), c2: (p.x, top), to: (p.x, further + head * 0.7) }]));
                    items.push(arrowhead(p.x, further, head, false));
                    labels.push((p.x, further, bend_label(cents)));
                }
                ended.insert(string, p.x);
                continue;
            }
            ended.remove(&string);
            let mut start_x = p.x + half + 1.0;
            let bent = tone.prebend_cents > 0.0;
            if bent && !p.event.tie_in {
                let from = y - sizes.digit_height * 0.62;
                items.push(curve(vec![Step::Move(p.x, from), Step::Line(p.x, top + head * 0.7)]));
                items.push(arrowhead(p.x, top, head, false));
                labels.push((p.x, top, bend_label(tone.prebend_cents)));
                ended.insert(string, p.x);
                start_x = p.x;
            }
            if let Some(cents) = tone.bend_cents.filter(|_| !p.event.tie_in) {
                let room = f64::max(p.end - p.x - half, sizes.space * 1.8);
                let x = p.x + half + f64::min(sizes.space * 1.8, room * 0.8);
                if bent && cents < tone.prebend_cents {
                    items.push(curve(vec![Step::Move(start_x, top), Step::Curve { c1: (x, top), c2: (x, top), to: (x, y - head) }]));
                    items.push(arrowhead(x, y - head * 0.2, head, true));
                } else {
                    let (y0, y1) = if bent { (top, further) } else { (y, top) };
                    items.push(curve(vec![Step::Move(start_x, y0), Step::Curve { c1: (x, y0), c2: (x, y0), to: (x, y1 + head * 0.7) }]));
                    items.push(arrowhead(x, y1, head, false));
                    labels.push((x, y1, bend_label(cents)));
                }
                ended.insert(string, x);
            }
        }
        canvas.draw(p.i, items);
        for (x, y, text) in labels {
            let width = fonts::width(Face::Regular, sizes.word, &text);
            let y = canvas.clear_above(x - width / 2.0, x + width / 2.0, y) - 1.5;
            canvas.draw(p.i, fonts::set(x, y, Anchor::Middle, Face::Regular, sizes.word, &text, Ink::Black));
        }
    }
}

/// Slurs of hammer-ons and pull-offs with their letter; in a chord one slur, over the highest string that has one.
fn draw_slurs(part: &Part, line: &Line, events: &[Placed], canvas: &mut Canvas, sizes: &Sizes) {
    for p in events.iter().filter(|p| !p.event.tie_in) {
        let tones = p.event.notes.iter().filter(|t| matches!(t.attack, Attack::Hammered | Attack::Pulled));
        let Some(tone) = tones.min_by_key(|t| t.place().map_or(u8::MAX, |(s, _)| s)) else { continue };
        let Some((string, _)) = tone.place() else { continue };
        let y = (f64::from(string) - 1.0) * sizes.tab_gap - sizes.digit_height * 0.62;
        let prior = note_before(part, line.bars[p.i].index, p.e, string);
        let from = prior.and_then(|(b, e, _)| {
            let at = part.bars[b].events[e].at;
            let place = line.place_of(b, at).filter(|&place| place <= p.i)?;
            Some(line.x(place, at))
        });
        let from = from.filter(|x| *x < p.x).unwrap_or(f64::max(line.content_left(), p.x - sizes.space * 3.0));
        let bow = sizes.space * 0.4 + f64::min((p.x - from) * 0.03, sizes.space * 0.5);
        canvas.draw(p.i, [arc(from, p.x, y, -bow, sizes.space * 0.2)]);
        let letter = if tone.attack == Attack::Hammered { "H" } else { "P" };
        let middle = (from + p.x) / 2.0;
        let width = fonts::width(Face::Italic, sizes.word, letter);
        let base = canvas.clear_above(middle - width / 2.0, middle + width / 2.0, floor(sizes)) - 1.2;
        canvas.draw(p.i, fonts::set(middle, base, Anchor::Middle, Face::Italic, sizes.word, letter, Ink::Black));
    }
}

/// Accents and short dots over the strokes, each on its own height.
fn draw_articulations(events: &[Placed], canvas: &mut Canvas, sizes: &Sizes) {
    for p in events.iter().filter(|p| !p.event.tie_in && !p.event.held) {
        if p.event.notes.iter().any(|t| t.short) {
            draw_sign(p, STACCATO_ABOVE, sizes.space * 0.45, canvas, sizes);
        }
        if p.event.accent {
            draw_sign(p, ACCENT_ABOVE, sizes.space * 0.4, canvas, sizes);
        }
    }
}

fn draw_sign(p: &Placed, code: u32, gap: f64, canvas: &mut Canvas, sizes: &Sizes) {
    let Some(b) = glyphs::bounds(code) else { return };
    let (left, right) = (p.x - (b.right - b.left) * sizes.space / 2.0, p.x + (b.right - b.left) * sizes.space / 2.0);
    let y = canvas.clear_above(left, right, floor(sizes)) - gap;
    canvas.draw(p.i, [Item::Glyph { code, x_pt: left - b.left * sizes.space, y_pt: y, space_pt: sizes.space, ink: Ink::Black }]);
}

fn draw_vibrato(events: &[Placed], end: f64, canvas: &mut Canvas, sizes: &Sizes) {
    for p in events.iter().filter(|p| p.event.notes.iter().any(|t| t.vibrato)) {
        let (x0, x1) = (p.x - sizes.space * 0.5, f64::max(p.end - sizes.space * 0.8, p.x + sizes.space * 1.6).min(end));
        let y = canvas.clear_above(x0, x1, floor(sizes)) - sizes.space * 0.65;
        canvas.draw(p.i, [wave(x0, x1, y, sizes.space * 0.42, sizes.space * 0.85, sizes.stem_width * 1.3)]);
    }
}

/// A word over a run of events that all have a property, with dashes to the run's end where it is longer than the word.
fn draw_spans(events: &[Placed], word: &str, has: impl Fn(&Event) -> bool, line_end: f64, canvas: &mut Canvas, sizes: &Sizes) {
    let mut k = 0;
    while k < events.len() {
        if !has(events[k].event) {
            k += 1;
            continue;
        }
        let start = k;
        while k + 1 < events.len() && has(events[k + 1].event) {
            k += 1;
        }
        let (first, last) = (&events[start], &events[k]);
        let width = fonts::width(Face::Italic, sizes.word, word);
        // At the end of a line the word draws back.
        let left = f64::min(first.x - sizes.space * 0.5, line_end - width);
        let dash_from = left + width + 2.5;
        // Muting ends with the last stroke, ringing with the last sound.
        let end = if word == "let ring" { f64::max(last.x, last.end - sizes.space) } else { last.x + sizes.space * 0.5 };
        let dashed = end > dash_from + 4.0;
        let right = if dashed { end } else { left + width };
        let base = canvas.clear_above(left, right, floor(sizes)) - sizes.space * 0.55;
        let mut items = fonts::set(left, base, Anchor::Start, Face::Italic, sizes.word, word, Ink::Black);
        if dashed {
            items.extend(dashes(dash_from, end, base - sizes.word * 0.25, sizes.space * 0.7, sizes.line_width * 1.3));
        }
        canvas.draw(first.i, items);
        k += 1;
    }
}

/// Down and up signs, all of a line on one height.
fn draw_stroke_signs(events: &[Placed], signs: StrokeSigns, canvas: &mut Canvas, sizes: &Sizes) {
    let shown: Vec<(&Placed, u32)> = events
        .iter()
        .filter(|p| !p.event.tie_in && !p.event.held)
        .filter(|p| p.event.notes.iter().any(|t| t.attack == Attack::Struck))
        .filter_map(|p| {
            let way = match signs {
                StrokeSigns::Written => p.event.direction?,
                StrokeSigns::All => p.event.direction.unwrap_or(p.event.hand),
            };
            Some((p, if way == Direction::Down { DOWN_STROKE } else { UP_STROKE }))
        })
        .collect();
    let half = sizes.space * 0.62;
    let level = shown.iter().map(|(p, _)| canvas.clear_above(p.x - half, p.x + half, floor(sizes))).fold(floor(sizes), f64::min);
    let y = level - sizes.space * 0.5;
    for (p, code) in shown {
        let Some(b) = glyphs::bounds(code) else { continue };
        let x = p.x - (b.left + b.right) / 2.0 * sizes.space;
        canvas.draw(p.i, [Item::Glyph { code, x_pt: x, y_pt: y, space_pt: sizes.space, ink: Ink::Black }]);
    }
}

/// Question marks: over a stroke of a doubted grip, at the head of a doubted bar.
fn draw_doubts(part: &Part, line: &Line, events: &[Placed], canvas: &mut Canvas, sizes: &Sizes) {
    let mut places: Vec<(usize, f64)> = Vec::new();
    for (i, placed) in line.bars.iter().enumerate() {
        if part.bars.get(placed.index).is_some_and(|b| b.guess && placed.begins()) {
            places.push((i, placed.columns.first().map_or(placed.left, |c| c.1)));
            continue;
        }
        let doubted = |p: &&Placed| p.i == i && p.event.grip.is_some_and(|g| part.grips.iter().any(|n| n.letter == g && n.guess));
        places.extend(events.iter().filter(|p| !p.event.tie_in).filter(doubted).map(|p| (i, p.x)));
    }
    for (i, x) in places {
        let half = fonts::width(Face::Bold, sizes.word, "?") / 2.0;
        let base = canvas.clear_above(x - half, x + half, floor(sizes)) - 1.5;
        canvas.draw(i, fonts::set(x, base, Anchor::Middle, Face::Bold, sizes.word, "?", Ink::Black));
    }
}

#[cfg(test)]
mod tests {
    use super::bend_label;

    #[test]
    fn bends_are_named_in_whole_tones() {
        // common practice: "full" is a whole tone.
        for (cents, name) in [(200.0, "full"), (100.0, "1/2"), (50.0, "1/4"), (150.0, "3/4"), (300.0, "1 1/2"), (400.0, "2"), (250.0, "1 1/4")] {
            assert_eq!(bend_label(cents), name);
        }
    }
}
