//! A measure: bar lines, what changes at it, words, and the voices of its staves.

use super::accidental::Accidentals;
use super::chord::harmony;
use super::element::{Element, el, leaf};
use super::note::{Cx, Chunk, notes, rest, silence};
use super::part::{Staff, first_attributes};
use lesson::{Bar, Beats, HarmonySpan, Meter, SheetBar, Swing};
use pitch::Symbol;

/// The measure of one printed bar.
pub(super) fn measure(cx: &Cx, index: usize) -> Element {
    let printed = &cx.score.sheet[index];
    let bars = &cx.score.passage.bars;
    let first = printed.played[0];
    let bar = &bars[first];
    let mut out = el("measure").attr("number", bar.number);
    if bar.number == 0 {
        out = out.attr("implicit", "yes");
    }
    if let Some(line) = barline_left(printed) {
        out.push(line);
    }
    // What was in force before it, in any of the rounds in which it is played.
    let changed = |differs: &dyn Fn(&Bar, &Bar) -> bool| printed.played.iter().any(|p| *p == 0 || differs(&bars[p - 1], bar));
    let time = changed(&|a, b| a.meter != b.meter).then(|| {
        el("time").with(leaf("beats", bar.meter.count)).with(leaf("beat-type", bar.meter.unit))
    });
    if index == 0 {
        out.push(first_attributes(cx.score, cx.part, time));
    } else if let Some(time) = time {
        out.push(el("attributes").with(time));
    }
    if cx.index == 0 {
        let tempo = changed(&|a, b| a.tempo_bpm != b.tempo_bpm || a.meter.beat() != b.meter.beat());
        let swing = printed.played.iter().any(|p| match p.checked_sub(1) {
            Some(before) => bars[before].swing != bar.swing,
            None => bar.swing.is_some(),
        });
        out.push_all(tempo_and_swing(bar, tempo, swing));
    }
    let marks = Marks::of(cx, index);
    for (i, staff) in Staff::of(cx.part).iter().enumerate() {
        if i > 0 {
            out.push(el("backup").with(leaf("duration", cx.score.clock.place(bar.length))));
        }
        voice(cx, first, *staff, if i == 0 { Some(&marks) } else { None }, &mut out);
    }
    if let Some(line) = barline_right(printed) {
        out.push(line);
    }
    out
}

fn barline_left(printed: &SheetBar) -> Option<Element> {
    let mut out = el("barline").attr("location", "left");
    if printed.ending_start {
        out.push(el("ending").attr("number", rounds(printed)).attr("type", "start"));
    }
    if printed.repeat_start {
        out.push(el("repeat").attr("direction", "forward"));
    }
    (!out.is_empty()).then_some(out)
}

fn barline_right(printed: &SheetBar) -> Option<Element> {
    let mut out = el("barline").attr("location", "right");
    if printed.ending_stop {
        out.push(el("ending").attr("number", rounds(printed)).attr("type", "stop"));
    }
    if let Some(times) = printed.repeat_end {
        let repeat = el("repeat").attr("direction", "backward");
        // With endings, their numbers say how often.
        out.push(if printed.ending.is_empty() && times > 2 { repeat.attr("times", times) } else { repeat });
    }
    (!out.is_empty()).then_some(out)
}

fn rounds(printed: &SheetBar) -> String {
    printed.ending.iter().map(u32::to_string).collect::<Vec<_>>().join(",")
}

/// The metronome mark and the swing from a bar on, each only where asked for.
fn tempo_and_swing(bar: &Bar, tempo: bool, swing: bool) -> Vec<Element> {
    let mut out = Vec::new();
    if tempo {
        let beat = bar.meter.beat();
        let quarters = bar.tempo_bpm * *beat.numer() as f64 / *beat.denom() as f64;
        let mark = el("metronome").with_all(beat_unit(bar.meter)).with(leaf("per-minute", bar.tempo_bpm));
        out.push(
            el("direction")
                .attr("placement", "above")
                .with(el("direction-type").with(mark))
                .with(el("sound").attr("tempo", quarters)),
        );
    }
    if swing {
        let (words, sound) = match bar.swing.and_then(swing_sound) {
            Some(s) => s,
            None => ("even".to_string(), el("swing").with(el("straight"))),
        };
        out.push(
            el("direction")
                .attr("placement", "above")
                .with(el("direction-type").with(leaf("words", words)))
                .with(el("sound").with(sound)),
        );
    }
    out
}

/// The note value that a tempo counts.
fn beat_unit(meter: Meter) -> Vec<Element> {
    let names = [(1, "whole"), (2, "half"), (4, "quarter"), (8, "eighth"), (16, "16th"), (32, "32nd"), (64, "64th")];
    // Three eighths are a dotted quarter.
    let unit = if meter.is_compound() { meter.unit / 2 } else { meter.unit };
    let name = names.iter().find(|(n, _)| *n == unit).map_or("quarter", |(_, name)| name);
    let mut out = vec![leaf("beat-unit", name)];
    if meter.is_compound() {
        out.push(el("beat-unit-dot"));
    }
    out
}

/// Swing as words and as sound; `None` for pairs that MusicXML cannot name.
fn swing_sound(swing: Swing) -> Option<(String, Element)> {
    let (value, word) = if swing.unit == Beats::new(1, 2) {
        ("eighth", "eighths")
    } else if swing.unit == Beats::new(1, 4) {
        ("16th", "sixteenths")
    } else {
        return None;
    };
    // The element takes whole numbers: as many decimal places as the percentage has, three at most.
    let scale = [1.0, 10.0, 100.0].into_iter().find(|s| ((swing.percent * s).round() - swing.percent * s).abs() < 1e-9).unwrap_or(1000.0);
    let first = (swing.percent * scale).round() as i64;
    let second = (100.0 * scale) as i64 - first;
    let sound = el("swing").with(leaf("first", first)).with(leaf("second", second)).with(leaf("swing-type", value));
    Some((format!("{word} swung, {} : {}", swing.percent, second as f64 / scale), sound))
}

/// What stands over or under the staves at places of a bar, in order of place.
struct Marks {
    list: Vec<(Beats, Element)>,
}

impl Marks {
    fn of(cx: &Cx, index: usize) -> Marks {
        let printed = &cx.score.sheet[index];
        let passage = cx.score.passage;
        let first = printed.played[0];
        let staves = Staff::of(cx.part);
        let mut list: Vec<(Beats, Element)> = Vec::new();
        let mut say = |at: Beats, placement: &str, text: String| {
            let staff = if placement == "below" { staves.last() } else { staves.first() };
            let staff = staff.and_then(|s| s.number()).map(|n| leaf("staff", n));
            let out = el("direction").attr("placement", placement).with(el("direction-type").with(leaf("words", text)));
            list.push((at, out.with_all(staff)));
        };
        if let Some(pb) = cx.part.bars.get(first) {
            if pb.guess {
                say(Beats::from(0), "above", "(?)".into());
            }
            if let Some(text) = &pb.say {
                say(Beats::from(0), "below", text.clone());
            }
            pb.level.iter().for_each(|(at, n)| say(*at, "below", format!("volume {n}")));
            pb.wah.iter().for_each(|(at, open)| say(*at, "below", format!("wah {}", if *open { "open" } else { "closed" })));
        }
        for note in &passage.notes {
            let mine = note.part.as_ref().map_or(cx.index == 0, |p| *p == cx.part.name);
            if let Some((_, at)) = note.at.filter(|(bar, _)| mine && printed.played.contains(bar)) {
                say(at, "above", note.text.clone());
            }
        }
        let staff = || staves.first().and_then(|s| s.number()).map(|n| leaf("staff", n));
        let mut name = |at: Beats, symbol: Option<&Symbol>| list.push((at, harmony(symbol).with_all(staff())));
        if cx.index == 0 {
            let here = |h: &&HarmonySpan| h.bar == first && h.struck;
            cx.score.harmony.iter().filter(here).for_each(|h| name(h.at, h.symbol.as_ref()));
        }
        cx.part.name_pins.iter().filter(|p| p.bar == first).for_each(|p| name(p.at, Some(&p.symbol)));
        list.sort_by_key(|(at, _)| *at);
        Marks { list }
    }
}

/// The notes of one staff, with the marks that stand over it.
fn voice(cx: &Cx, bar: usize, staff: Staff, marks: Option<&Marks>, out: &mut Element) {
    let info = &cx.score.passage.bars[bar];
    let part_bar = cx.part.bars.get(bar).filter(|pb| !pb.events.is_empty());
    let mut marks = marks.map(|m| m.list.as_slice()).unwrap_or(&[]);
    // Marks up to the end of a chunk stand before it, with the distance from its start.
    let mut push_marks = |out: &mut Element, at: Beats, end: Option<Beats>| {
        let n = marks.iter().take_while(|(m, _)| end.is_none_or(|e| *m < e)).count();
        for (m, mark) in &marks[..n] {
            let offset = cx.score.clock.place(*m) - cx.score.clock.place(at);
            out.push(with_offset(mark.clone(), offset));
        }
        marks = &marks[n..];
    };
    let Some(part_bar) = part_bar else {
        push_marks(out, Beats::from(0), None);
        out.push_all(silence(cx, info, staff));
        return;
    };
    let mut accidentals = Accidentals::new(cx.score.passage.key);
    let written = lesson::notate(info, part_bar);
    for (i, w) in written.iter().enumerate() {
        push_marks(out, w.at, if i + 1 < written.len() { Some(w.at + w.len) } else { None });
        match w.event.and_then(|e| part_bar.events.get(e).map(|event| (e, event))) {
            None => out.push(rest(cx, w, staff)),
            Some((index, event)) => {
                let last = written.get(i + 1).is_none_or(|n| n.event != w.event);
                let chunk = Chunk { bar, index, event, written: w, last };
                out.push_all(notes(cx, &chunk, staff, &mut accidentals));
            }
        }
    }
}

/// `offset` comes before `staff` (and before nothing else that is written here).
fn with_offset(mut mark: Element, offset: i64) -> Element {
    if offset != 0 {
        mark.insert_before("staff", leaf("offset", offset));
    }
    mark
}
