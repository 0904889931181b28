//! Writing: from the model to the text of a lesson, in the house layout. What [`crate::read`] gives for it is the same model.

mod stretch;
mod tokens;

use crate::quote::{number, quoted};
use crate::{Bar, Beats, Kind, Lesson, Meter, NamedGrip, Note, Part, PartBar, Passage, UsualHand};
use neck::{Instrument, Tuning};
use pitch::Midi;
use std::fmt::Write;
use stretch::{BarLine, Item, WrittenBar};

/// The text of a lesson, ending in a line end.
///
/// [`crate::read`] gives the same lesson back, spans aside, whenever it was read from a text itself. A lesson that a program put together
/// comes back as it is if a text can say it: events begin on slots or in brackets of their bar, a scratch lies where the hand lay before, grips and parts
/// have names that may be written. What no text can say is written as near to it as can be; read the text again to be sure.
/// Places that were found for a part in note names are written as places. The same lesson gives the same text.
///
/// ```
/// let text = r#"lesson "First" {
///   passage "one" {
///     tempo 100
///     meter "4/4"
///     slots 8
///
///     part "chop" instrument="guitar" {
///       grip "a" "x x 8 8 8 x"
///       bar "a . x x  >a43 - ^1 ." times=2
///     }
///   }
/// }
/// "#;
/// let reading = lesson::read(text);
/// assert!(reading.is_sound());
/// // No passage is written without a blank line before it.
/// assert_eq!(lesson::write(&reading.lesson), text.replacen("\n", "\n\n", 1));
/// ```
pub fn write(lesson: &Lesson) -> String {
    let mut out = format!("lesson {}", quoted(&lesson.title));
    if !lesson.needs.is_empty() {
        let _ = write!(out, " needs={}", quoted(&lesson.needs.join(", ")));
    }
    if lesson.chord_names != pitch::Style::default() {
        let _ = write!(out, " chord-names={}", quoted(lesson.chord_names.name()));
    }
    out.push_str(" {\n");
    for n in &lesson.notes {
        let _ = writeln!(out, "  note {}", quoted(n));
    }
    for r in &lesson.revisions {
        let _ = writeln!(out, "  revision {} {}", quoted(&r.date), quoted(&r.text));
    }
    for p in &lesson.passages {
        out.push('\n');
        write_passage(p, &mut out);
    }
    out.push_str("}\n");
    out
}

/// One part alone, as [`write`] would write it in its passage, with no indent: `part "name" … { … }` (or `easier "name" { … }`) and a line end.
///
/// The passage says how long a slot is and which bars there are; the part need not be one of its parts, but has a bar for each of its bars.
pub fn write_part(passage: &Passage, part: &Part) -> String {
    let plan = Plan::of(passage);
    let base = part.easier_of.as_ref().and_then(|of| passage.parts.iter().find(|p| p.name == *of));
    let mut out = String::new();
    let says = changes(passage) && !passage.parts.iter().any(|p| p.name == part.name) || plan.lead.and_then(|i| passage.parts.get(i)).is_some_and(|p| p.name == part.name);
    part_text(passage, part, base, &plan, says, 0, &mut out);
    out
}

fn whole(n: u32) -> Beats {
    Beats::from_integer(i64::from(n))
}

/// What holds for the whole passage's text.
struct Plan {
    meter: Meter,
    tempo: f64,
    /// Length of the passage's slot.
    slot: Beats,
    /// The part that says meters and tempos on the way.
    lead: Option<usize>,
}

/// Whether meter or tempo change on the way.
fn changes(passage: &Passage) -> bool {
    passage.bars.windows(2).any(|w| w[0].meter != w[1].meter || w[0].tempo_bpm != w[1].tempo_bpm)
}

impl Plan {
    fn of(passage: &Passage) -> Plan {
        let meter = passage.bars.first().map_or(Meter { count: 4, unit: 4 }, |b| b.meter);
        let tempo = passage.bars.first().map_or(100.0, |b| b.tempo_bpm);
        let mut plan = Plan { meter, tempo, slot: slot(passage, meter), lead: None };
        if changes(passage) {
            // The first part whose bars, in the order of the text, can say it; any can once its repeats are written out.
            let can = |p: &Part| {
                let mut ok = true;
                stretch::each(&items(passage, p), &mut |w| ok &= w.played.iter().all(|i| (passage.bars[*i].meter, passage.bars[*i].tempo_bpm) == (passage.bars[w.played[0]].meter, passage.bars[w.played[0]].tempo_bpm)));
                ok
            };
            plan.lead = passage.parts.iter().position(|p| p.easier_of.is_none() && can(p)).or(Some(0));
        }
        plan
    }
}

/// The length of slot that suits most bars, fine enough for every place that is written as `bar.beat.slot`.
fn slot(passage: &Passage, meter: Meter) -> Beats {
    let mut counts: Vec<(Beats, usize)> = Vec::new();
    for (bar, own) in passage.parts.iter().flat_map(|p| passage.bars.iter().zip(&p.bars)).filter(|(_, o)| o.slots > 0) {
        let len = bar.length / whole(own.slots);
        match counts.iter_mut().find(|c| c.0 == len) {
            Some(c) => c.1 += 1,
            None => counts.push((len, 1)),
        }
    }
    // The sort is stable: of equals the first.
    counts.sort_by_key(|c| std::cmp::Reverse(c.1));
    let sixteenth = Beats::new(1, 4);
    let offsets: Vec<Beats> = passage
        .parts
        .iter()
        .flat_map(|p| p.name_pins.iter().map(|n| (n.bar, n.at)))
        .chain(passage.notes.iter().filter_map(|n| n.at))
        .filter_map(|(i, at)| passage.bars.get(i).map(|b| at - b.meter.beat() * (at / b.meter.beat()).floor()))
        .collect();
    let counted = |s: Beats| (meter.length() / s).is_integer() && (1..=192).contains(&(meter.length() / s).to_integer());
    let wanted: Vec<Beats> = counts.iter().map(|c| c.0).chain([sixteenth]).filter(|s| counted(*s)).collect();
    let exact = |s: &Beats| offsets.iter().all(|o| (*o / *s).is_integer());
    let finer = wanted.iter().flat_map(|s| (2..=24).map(move |k| *s / whole(k))).filter(|s| counted(*s));
    wanted.iter().copied().find(exact).or_else(|| finer.into_iter().find(exact)).or(wanted.first().copied()).unwrap_or(sixteenth)
}

fn write_passage(p: &Passage, out: &mut String) {
    let plan = Plan::of(p);
    let _ = write!(out, "  passage {}", quoted(&p.id));
    if p.title != p.id {
        let _ = write!(out, " title={}", quoted(&p.title));
    }
    let _ = writeln!(out, "{} {{", sure(p.guess));
    let _ = writeln!(out, "    tempo {}\n    meter \"{}\"", number(plan.tempo), plan.meter);
    let slots = plan.meter.length() / plan.slot;
    if slots.is_integer() {
        let _ = writeln!(out, "    slots {slots}");
    }
    if let Some(s) = p.bars.first().and_then(|b| b.swing) {
        let unit = if s.unit == Beats::new(1, 4) { "1/16" } else { "1/8" };
        let _ = writeln!(out, "    swing {} of=\"{unit}\"", number(s.percent));
    }
    if let Some(k) = p.key {
        let _ = writeln!(out, "    key {}", quoted(&k.to_string()));
    }
    for (i, r) in p.record.iter().enumerate() {
        let cents = p.record_cents.filter(|_| i == 0).map_or(String::new(), |c| format!(" cents={}", number(c)));
        let _ = writeln!(out, "    record {} from={} to={}{cents}", quoted(&r.file), time(r.from_s), time(r.to_s));
    }
    if let Some(chords) = chords(p) {
        let _ = writeln!(out, "    chords {}{}", quoted(&chords), sure(p.harmony_guess));
    }
    out.push('\n');
    for (i, part) in p.parts.iter().enumerate() {
        let base = part.easier_of.as_ref().and_then(|of| p.parts.iter().find(|b| b.name == *of));
        part_text(p, part, base, &plan, plan.lead == Some(i), 4, out);
    }
    for n in &p.notes {
        note(p, n, plan.slot, out);
    }
    out.push_str("  }\n");
}

fn note(p: &Passage, n: &Note, slot: Beats, out: &mut String) {
    let _ = write!(out, "    note {}", quoted(&n.text));
    if let Some((bar, at)) = n.at {
        let _ = write!(out, " at=\"{}\"", place(p, bar, at, slot));
    }
    if let Some(part) = &n.part {
        let _ = write!(out, " part={}", quoted(part));
    }
    out.push('\n');
}

/// `bar.beat` or `bar.beat.slot`.
fn place(p: &Passage, bar: usize, at: Beats, slot: Beats) -> String {
    let Some(b) = p.bars.get(bar) else { return "1.1".into() };
    let beat = (at / b.meter.beat()).floor();
    let sub = ((at - beat * b.meter.beat()) / slot).to_integer();
    let tail = if sub > 0 { format!(".{}", sub + 1) } else { String::new() };
    format!("{}.{}{tail}", b.number, beat.to_integer() + 1)
}

fn sure(guess: bool) -> &'static str {
    if guess { " sure=\"guess\"" } else { "" }
}

/// Seconds as minutes and seconds where that reads back exactly, else as a number.
fn time(seconds: f64) -> String {
    let minutes = (seconds / 60.0).floor();
    let text = format!("{minutes}:{:05.2}", seconds - minutes * 60.0);
    if crate::read::read_time(&text) == Some(seconds) { format!("\"{text}\"") } else { number(seconds) }
}

/// The harmony, a sign a beat, bars set apart; as much of it as comes round again.
fn chords(p: &Passage) -> Option<String> {
    let mut bars: Vec<Vec<String>> = Vec::new();
    if p.harmony.is_empty() {
        return None;
    }
    for (i, bar) in p.bars.iter().enumerate().filter(|(_, b)| b.number > 0) {
        let sign = |k: u32| {
            let at = bar.meter.beat() * whole(k);
            match p.harmony.iter().find(|h| h.bar == i && h.at == at && h.struck) {
                Some(h) => h.symbol.as_ref().map_or(".".to_string(), ToString::to_string),
                None => "/".to_string(),
            }
        };
        bars.push((0..bar.meter.beats()).map(sign).collect());
    }
    let signs: Vec<&String> = bars.iter().flatten().collect();
    // Whole bars only: a shorter piece is hard to count.
    let mut ends = 0;
    for n in 1..=bars.len() {
        ends += bars[n - 1].len();
        if signs.len().is_multiple_of(ends) && (ends..signs.len()).all(|i| signs[i] == signs[i % ends]) {
            bars.truncate(n);
            break;
        }
    }
    Some(bars.iter().map(|b| b.join(" ")).collect::<Vec<_>>().join(" | "))
}

fn items(passage: &Passage, part: &Part) -> Vec<Item> {
    let lines = stretch::lines(passage, part);
    stretch::fold(passage, part, &lines, usize::from(has_pickup(passage)), &part.folds)
}

fn has_pickup(passage: &Passage) -> bool {
    passage.bars.first().is_some_and(|b| b.number == 0)
}

/// Slots in each bar of a part, where they are not the passage's.
fn part_slots(passage: &Passage, part: &Part, plan: &Plan) -> Option<u32> {
    let mut wanted = None;
    for (bar, own) in passage.bars.iter().zip(&part.bars).filter(|(_, o)| o.slots > 0) {
        let len = bar.length / whole(own.slots);
        let full = bar.meter.length() / len;
        if bar.number == 0 {
            // A pickup cannot say its own.
            if len != plan.slot && full.is_integer() {
                return Some(full.to_integer() as u32);
            }
            continue;
        }
        match wanted {
            None => wanted = Some(own.slots),
            Some(n) if n != own.slots => return None,
            _ => {}
        }
    }
    let pickup = passage.bars.iter().zip(&part.bars).find(|(b, o)| b.number == 0 && o.slots > 0);
    let n = wanted?;
    let differs = passage.bars.iter().zip(&part.bars).any(|(b, o)| o.slots > 0 && b.number > 0 && b.length / plan.slot != whole(n));
    let pickup_fits = pickup.is_none_or(|(b, o)| b.meter.length() / whole(n) == b.length / whole(o.slots));
    (differs && pickup_fits).then_some(n)
}

fn part_text(passage: &Passage, part: &Part, base: Option<&Part>, plan: &Plan, says: bool, indent: usize, out: &mut String) {
    let pad = " ".repeat(indent);
    let slots = part_slots(passage, base.unwrap_or(part), plan);
    match base {
        Some(b) => {
            let _ = write!(out, "{pad}easier {}{}", quoted(&b.name), sure(part.guess));
        }
        None => {
            let _ = write!(out, "{pad}part {}{}", quoted(&part.name), head(part));
            if let Some(n) = slots {
                let _ = write!(out, " slots={n}");
            }
            out.push_str(sure(part.guess));
        }
    }
    out.push_str(" {\n");
    for g in &part.grips {
        let same = |o: &NamedGrip| (o.letter, &o.grip, &o.fingers, &o.name, o.guess) == (g.letter, &g.grip, &g.fingers, &g.name, g.guess);
        if !base.is_some_and(|b| b.grips.iter().any(same)) {
            grip(g, &pad, out);
        }
    }
    if let Some(t) = &part.take {
        let _ = write!(out, "{pad}  take {}", quoted(&t.file));
        for (key, at) in [("from", t.from_s), ("to", t.to_s)] {
            if let Some(at) = at {
                let _ = write!(out, " {key}={}", time(at));
            }
        }
        out.push('\n');
    }
    for n in &part.name_pins {
        let _ = writeln!(out, "{pad}  name {} at=\"{}\"", quoted(&n.symbol.to_string()), place(passage, n.bar, n.at, plan.slot));
    }
    let lines = stretch::lines(passage, part);
    let pickup = has_pickup(passage);
    let mut cx = Bars { passage, part, plan, slots, meter: plan.meter, tempo: plan.tempo, says };
    if pickup
        && let (Some(own), Some(line)) = (part.bars.first(), lines.first())
        && own.slots > 0
    {
        cx.written("pickup", &WrittenBar { played: vec![0], times: 1, ending: vec![], line: line.clone() }, indent + 2, out);
    }
    let folds: &[crate::Fold] = if says && !cx.can_say(&stretch::fold(passage, part, &lines, usize::from(pickup), &part.folds)) { &[] } else { &part.folds };
    let items = stretch::fold(passage, part, &lines, usize::from(pickup), folds);
    cx.items(&items, indent + 2, out);
    let _ = writeln!(out, "{pad}}}");
}

/// What stands behind a part's name.
fn head(part: &Part) -> String {
    let mut out = format!(" instrument={}", quoted(&part.instrument));
    match part.seat {
        -1.0 => out.push_str(" seat=\"left\""),
        0.0 => {}
        1.0 => out.push_str(" seat=\"right\""),
        s => {
            let _ = write!(out, " seat={}", number(s));
        }
    }
    if let Some(t) = &part.tone {
        let _ = write!(out, " tone={}", quoted(t));
    }
    if part.staff {
        out.push_str(" staff=#true");
    }
    if let Some(neck) = &part.neck {
        neck_text(neck, part.kind == Kind::Bass, &mut out);
    }
    match part.hand {
        UsualHand::Swing => {}
        UsualHand::Down => out.push_str(" hand=\"down\""),
        UsualHand::Up => out.push_str(" hand=\"up\""),
    }
    out
}

fn neck_text(neck: &Instrument, bass: bool, out: &mut String) {
    let usual = if bass { Instrument::bass() } else { Instrument::guitar() };
    let count = neck.strings();
    if count != usual.strings() {
        let _ = write!(out, " strings={count}");
    }
    let read = |name: &str| if bass { Tuning::bass(name, count) } else { Tuning::guitar(name, count) };
    if read("standard").as_ref() != Ok(&neck.tuning) {
        let named = read(&neck.tuning.name).as_ref() == Ok(&neck.tuning);
        let text = if named { neck.tuning.name.clone() } else { neck.tuning.open.iter().map(|m| note_name(*m)).collect::<Vec<_>>().join(" ") };
        let _ = write!(out, " tuning={}", quoted(&text));
    }
    if neck.capo > 0 {
        let _ = write!(out, " capo={}", neck.capo);
    }
    if neck.frets != usual.frets {
        let _ = write!(out, " frets={}", neck.frets);
    }
    if neck.scale_mm != usual.scale_mm {
        let _ = write!(out, " scale={}", number(neck.scale_mm));
    }
}

/// C4 = 60, black keys as sharps.
fn note_name(m: Midi) -> String {
    let names = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
    format!("{}{}", names[usize::from(m.0 % 12)], i32::from(m.0) / 12 - 1)
}

fn grip(g: &NamedGrip, pad: &str, out: &mut String) {
    let _ = write!(out, "{pad}  grip \"{}\" \"{}\"", g.letter, g.grip);
    if !g.fingers.is_empty() {
        let _ = write!(out, " fingers=\"{}\"", g.fingers.iter().map(|f| f.to_char().to_string()).collect::<Vec<_>>().join(" "));
    }
    if let Some(n) = &g.name {
        let _ = write!(out, " name={}", quoted(&n.to_string()));
    }
    let _ = writeln!(out, "{}", sure(g.guess));
}

/// Bars on their way into the text, and what holds there.
struct Bars<'a> {
    passage: &'a Passage,
    part: &'a Part,
    plan: &'a Plan,
    /// The part's own number of slots.
    slots: Option<u32>,
    meter: Meter,
    tempo: f64,
    /// Says changes of meter and tempo for all parts.
    says: bool,
}

impl Bars<'_> {
    fn can_say(&self, items: &[Item]) -> bool {
        let held = |i: usize| (self.passage.bars[i].meter, self.passage.bars[i].tempo_bpm);
        let mut ok = true;
        stretch::each(items, &mut |w| ok &= w.played.iter().all(|i| held(*i) == held(w.played[0])));
        ok
    }

    fn items(&mut self, items: &[Item], indent: usize, out: &mut String) {
        for item in items {
            match item {
                Item::Bar(b) => self.written("bar", b, indent, out),
                Item::Repeat { times, items } => {
                    let pad = " ".repeat(indent);
                    let _ = writeln!(out, "{pad}repeat times={times} {{");
                    self.items(items, indent + 2, out);
                    let _ = writeln!(out, "{pad}}}");
                }
            }
        }
    }

    /// Slots that a bar has if it says nothing.
    fn usual_slots(&self, bar: &Bar) -> Beats {
        match self.slots {
            Some(n) => bar.length / (bar.meter.length() / whole(n)),
            None => bar.length / self.plan.slot,
        }
    }

    fn written(&mut self, word: &str, w: &WrittenBar, indent: usize, out: &mut String) {
        let pad = " ".repeat(indent);
        let i = w.played[0];
        let (bar, own) = (&self.passage.bars[i], &self.part.bars[i]);
        let mut all = w.played.iter().filter_map(|i| Some((self.passage.bars.get(*i)?, self.part.bars.get(*i)?)));
        let usual = all.all(|(b, o)| o.slots == 0 || self.usual_slots(b) == whole(o.slots));
        let rest = w.line == BarLine::Rest && usual && word == "bar";
        let mut props = String::new();
        if self.says {
            if bar.meter != self.meter && word == "bar" {
                let _ = write!(props, " meter=\"{}\"", bar.meter);
                self.meter = bar.meter;
            }
            if bar.tempo_bpm != self.tempo {
                let _ = write!(props, " tempo={}", number(bar.tempo_bpm));
                self.tempo = bar.tempo_bpm;
            }
        }
        if !usual && word == "bar" {
            let _ = write!(props, " slots={}", own.slots);
        }
        match w.ending.as_slice() {
            [] => {}
            [n] => {
                let _ = write!(props, " ending={n}");
            }
            list => {
                let _ = write!(props, " ending=\"{}\"", list.iter().map(usize::to_string).collect::<Vec<_>>().join(", "));
            }
        }
        if w.times > 1 {
            let _ = write!(props, " times={}", w.times);
        }
        if rest {
            let _ = writeln!(out, "{pad}rest{props}");
            return;
        }
        if let Some(s) = &own.say {
            let _ = write!(props, " say={}", quoted(s));
        }
        props.push_str(sure(own.guess));
        if let Some(slots) = &own.heard {
            let list: Vec<String> = slots.iter().map(u32::to_string).collect();
            let _ = write!(props, " heard=\"as written{}{}\"", if list.is_empty() { "" } else { " at slots " }, list.join(", "));
        }
        let (text, mut rows) = match &w.line {
            BarLine::Line(l) => (format!(" \"{}\"", l.text()), vec![]),
            BarLine::Rest if self.part.kind != Kind::Drums => (format!(" \"{}\"", stretch_silence(bar, own)), vec![]),
            BarLine::Rest => (String::new(), vec![]),
            BarLine::Rows(list) => (String::new(), list.iter().map(|(name, l)| format!("{name} \"{}\"", l.text())).collect()),
        };
        if self.part.kind == Kind::Drums && rows.is_empty() {
            rows.push(format!("kick \"{}\"", stretch_silence(bar, own)));
        }
        let signs: Vec<(Beats, String)> = own.level.iter().map(|(at, v)| (*at, v.to_string())).collect();
        if !signs.is_empty() {
            rows.push(format!("level \"{}\"", tokens::row(bar, own.slots, &signs)));
        }
        let signs: Vec<(Beats, String)> = own.wah.iter().map(|(at, open)| (*at, if *open { "o" } else { "+" }.to_string())).collect();
        if !signs.is_empty() {
            rows.push(format!("wah \"{}\"", tokens::row(bar, own.slots, &signs)));
        }
        let _ = write!(out, "{pad}{word}{text}{props}");
        match rows.as_slice() {
            [] => out.push('\n'),
            [one] => {
                let _ = writeln!(out, " {{ {one} }}");
            }
            many => {
                let _ = writeln!(out, " {{");
                for r in many {
                    let _ = writeln!(out, "{pad}  {r}");
                }
                let _ = writeln!(out, "{pad}}}");
            }
        }
    }
}

fn stretch_silence(bar: &Bar, own: &PartBar) -> String {
    tokens::silence(bar, own.slots.max(1)).text()
}
