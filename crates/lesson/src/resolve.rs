//! From raw parts to the model: one map of bars for all parts, written harmony and remarks put in their places.
//!
//! Strokes become notes in [`crate::strokes`].

use crate::nodes::Text;
use crate::problem::{Problems, excerpt};
use crate::stroke::{self, Alphabet, Token};
use crate::strokes;
use crate::{Bar, Beats, Drum, Fold, HarmonySpan, Kind, Meter, NamePin, NamedGrip, Note, Part, PartBar, Passage, RecordSpan, Span, Swing, Take, UsualHand};
use neck::Instrument;
use pitch::{Key, Symbol};

/// A passage as read, before its parts are put together.
#[derive(Clone, Debug)]
pub(crate) struct RawPassage {
    pub id: String,
    pub title: String,
    pub key: Option<Key>,
    pub meter: Meter,
    pub tempo: Option<f64>,
    pub tempo_said: bool,
    pub slots: Option<(u32, Span)>,
    pub swing: Option<Swing>,
    pub record: Vec<RecordSpan>,
    pub record_cents: Option<f64>,
    pub chords: Vec<Text>,
    pub chords_guess: bool,
    pub notes: Vec<RawNote>,
    pub parts: Vec<RawPart>,
    pub guess: bool,
    pub span: Span,
}

impl Default for RawPassage {
    fn default() -> Self {
        RawPassage {
            id: String::new(),
            title: String::new(),
            key: None,
            meter: Meter { count: 4, unit: 4 },
            tempo: None,
            tempo_said: false,
            slots: None,
            swing: None,
            record: vec![],
            record_cents: None,
            chords: vec![],
            chords_guess: false,
            notes: vec![],
            parts: vec![],
            guess: false,
            span: Span::default(),
        }
    }
}

#[derive(Clone, Debug)]
pub(crate) struct RawNote {
    pub note: Note,
    pub at: Option<Text>,
    pub part: Option<Text>,
}

/// The shortest slot or bracket member: a sixty-fourth triplet. Finer steps have no note value here.
pub(crate) const FINEST: Beats = Beats::new_raw(1, 24);

/// A part as read.
#[derive(Clone, Debug)]
pub(crate) struct RawPart {
    pub name: String,
    pub kind: Kind,
    /// False where the instrument, or the passage's slots or meter, could not be read: strokes are then not looked at.
    pub kind_known: bool,
    pub instrument: String,
    pub neck: Option<Instrument>,
    pub seat: f64,
    pub tone: Option<String>,
    pub staff: bool,
    pub slots: Option<(u32, Span)>,
    pub hand: UsualHand,
    /// Written in note names, places to be found.
    pub by_name: bool,
    pub easier_of: Option<String>,
    pub grips: Vec<NamedGrip>,
    pub names: Vec<(Symbol, Text, Span)>,
    pub places: Vec<(Text, Text)>,
    pub take: Option<Take>,
    pub pickup: bool,
    /// Bars in the order of the text.
    pub written: Vec<RawBar>,
    /// Indices into `written`, in the order of playing.
    pub order: Vec<usize>,
    pub folds: Vec<Fold>,
    pub guess: bool,
    pub span: Span,
}

impl Default for RawPart {
    fn default() -> Self {
        RawPart {
            name: String::new(),
            kind: Kind::Guitar,
            kind_known: true,
            instrument: String::new(),
            neck: None,
            seat: 0.0,
            tone: None,
            staff: false,
            slots: None,
            hand: UsualHand::Swing,
            by_name: false,
            easier_of: None,
            grips: vec![],
            names: vec![],
            places: vec![],
            take: None,
            pickup: false,
            written: vec![],
            order: vec![],
            folds: vec![],
            guess: false,
            span: Span::default(),
        }
    }
}

impl RawPart {
    fn alphabet(&self) -> Alphabet {
        match self.kind {
            Kind::Guitar | Kind::Bass if self.by_name => Alphabet::Names,
            Kind::Guitar | Kind::Bass => Alphabet::Strings,
            Kind::Other => Alphabet::Names,
            Kind::Drums => Alphabet::Drums { hats: false },
            Kind::Click => Alphabet::Click,
        }
    }
}

/// A row under a bar, or of a bar of drums.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Row {
    Drum(Drum),
    Level,
    Wah,
}

/// A written bar as read.
#[derive(Clone, Debug, Default)]
pub(crate) struct RawBar {
    pub line: Option<Text>,
    pub rows: Vec<(Row, Text)>,
    pub rest: bool,
    pub meter: Option<(Meter, Span)>,
    pub tempo: Option<(f64, Span)>,
    pub slots: Option<(u32, Span)>,
    pub ending: Vec<u32>,
    pub ending_span: Option<Span>,
    pub times: u32,
    pub say: Option<String>,
    /// Slots of `heard="as written"`, and where it stands.
    pub heard: Option<(Vec<u32>, Span)>,
    pub guess: bool,
    pub span: Span,
}

/// A written bar with its lines cut into tokens.
pub(crate) struct Cut {
    pub tokens: Vec<Token>,
    pub rows: Vec<(Drum, Vec<Token>)>,
}

/// Puts a passage together.
pub(crate) fn passage(raw: RawPassage, problems: &mut Problems) -> Passage {
    let mut out = Passage {
        id: raw.id.clone(),
        title: raw.title.clone(),
        key: raw.key,
        record: raw.record.clone(),
        record_cents: raw.record_cents,
        harmony_guess: raw.chords_guess,
        guess: raw.guess,
        span: raw.span,
        ..Passage::default()
    };
    let slot = slot_length(&raw);
    let cuts: Vec<Vec<Cut>> = raw.parts.iter().map(|p| p.written.iter().map(|b| cut(p, b, problems)).collect()).collect();
    let Some((bars, orders)) = bar_map(&raw, &cuts, slot, problems) else { return out };
    out.bars = bars;
    out.harmony = harmony(&raw.chords, &out.bars, problems);
    for ((part, cuts), order) in raw.parts.iter().zip(&cuts).zip(&orders) {
        out.parts.push(read_part(part, cuts, order, &out.bars, slot, problems));
    }
    for n in raw.notes {
        let mut note = n.note;
        if let Some(at) = n.at {
            note.at = place(&at, &out.bars, slot, problems);
        }
        if let Some(p) = &n.part
            && !out.parts.iter().any(|q| q.name == p.value)
        {
            let names: Vec<&str> = out.parts.iter().map(|p| p.name.as_str()).collect();
            problems.error(p.span, format!("no part is called \"{}\"", excerpt(&p.value)), format!("this passage has {}", names.join(", ")));
        }
        out.notes.push(note);
    }
    out
}

/// The passage's slot in quarter notes; a sixteenth where nothing is said.
fn slot_length(raw: &RawPassage) -> Beats {
    let Some((slots, _)) = raw.slots else { return Beats::new(1, 4) };
    raw.meter.length() / Beats::from_integer(i64::from(slots))
}

fn cut(part: &RawPart, bar: &RawBar, problems: &mut Problems) -> Cut {
    let mut out = Cut { tokens: vec![], rows: vec![] };
    if !part.kind_known {
        return out;
    }
    let read = |text: &Text, alphabet: Alphabet, problems: &mut Problems| {
        let (tokens, faults) = stroke::read_line(&text.value, alphabet);
        for (range, found, right) in faults {
            problems.error(text.place(range), found, right);
        }
        tokens
    };
    if let Some(line) = &bar.line {
        out.tokens = read(line, part.alphabet(), problems);
    }
    for (row, text) in &bar.rows {
        if let Row::Drum(d) = row {
            out.rows.push((*d, read(text, Alphabet::Drums { hats: *d == Drum::Hats }, problems)));
        }
    }
    out
}

/// The bars of the passage and, for each part, which written bar each of them plays (`None`: silence).
type Orders = Vec<Vec<Option<usize>>>;

fn bar_map(raw: &RawPassage, cuts: &[Vec<Cut>], slot: Beats, problems: &mut Problems) -> Option<(Vec<Bar>, Orders)> {
    let pickup = raw.parts.iter().any(|p| p.pickup);
    let mut orders: Orders = raw
        .parts
        .iter()
        .map(|p| {
            let gap = (pickup && !p.pickup).then_some(None);
            gap.into_iter().chain(p.order.iter().map(|i| Some(*i))).collect()
        })
        .collect();
    let count = orders.iter().map(Vec::len).max()?;
    let longest = raw.parts.iter().zip(&orders).find(|(_, o)| o.len() == count).map(|(p, _)| p.name.clone()).unwrap_or_default();
    let shown = |n: usize| n - usize::from(pickup);
    for (p, o) in raw.parts.iter().zip(&mut orders) {
        if o.len() < count && !p.order.is_empty() {
            let (has, wants) = (shown(o.len()), shown(count));
            problems.error(
                p.span,
                format!("the part \"{}\" has {has} bar{}, but \"{}\" has {wants}", excerpt(&p.name), if has == 1 { "" } else { "s" }, excerpt(&longest)),
                format!("all parts of a passage have the same bars; where it is silent write rest times={}", wants - has),
            );
        }
        o.resize(count, None);
    }
    // Meter and tempo hold in the order of the text, as in print, from the part that says them first.
    let held = |part: &RawPart, meter: bool| -> Option<Vec<f64>> {
        let mut any = false;
        let mut m = raw.meter;
        let mut t = raw.tempo.unwrap_or(100.0);
        let out = part
            .written
            .iter()
            .map(|b| {
                if let Some((new, _)) = b.meter {
                    m = new;
                    any |= meter;
                }
                if let Some((new, _)) = b.tempo {
                    t = new;
                    any |= !meter;
                }
                if meter { f64::from(m.count) * 100.0 + f64::from(m.unit) } else { t }
            })
            .collect();
        any.then_some(out)
    };
    let lead_meter = raw.parts.iter().position(|p| p.written.iter().any(|b| b.meter.is_some()));
    let lead_tempo = raw.parts.iter().position(|p| p.written.iter().any(|b| b.tempo.is_some()));
    let meters = lead_meter.and_then(|i| held(&raw.parts[i], true).map(|v| (i, v)));
    let tempos = lead_tempo.and_then(|i| held(&raw.parts[i], false).map(|v| (i, v)));
    let mut bars: Vec<Bar> = Vec::with_capacity(count);
    let mut start = Beats::from_integer(0);
    for i in 0..count {
        let of = |lead: &Option<(usize, Vec<f64>)>| lead.as_ref().and_then(|(p, v)| orders[*p][i].map(|w| v[w]));
        let meter = match of(&meters) {
            Some(code) => Meter { count: (code / 100.0) as u8, unit: (code % 100.0) as u8 },
            None => raw.meter,
        };
        let tempo_bpm = of(&tempos).unwrap_or(raw.tempo.unwrap_or(100.0));
        for (p, o) in raw.parts.iter().zip(&orders) {
            let Some(b) = o[i].map(|w| &p.written[w]) else { continue };
            if let Some((m, span)) = b.meter.filter(|(m, _)| *m != meter) {
                problems.error(span, format!("the part \"{}\" is in {m} here, another part in {meter}", excerpt(&p.name)), "a bar has one meter: write it the same in every part that says it, or in one part alone");
            }
            if let Some((t, span)) = b.tempo.filter(|(t, _)| *t != tempo_bpm) {
                problems.error(span, format!("the part \"{}\" has tempo {t} here, another part {tempo_bpm}", excerpt(&p.name)), "a bar has one tempo: write it in one part alone");
            }
        }
        let is_pickup = pickup && i == 0;
        let mut length = meter.length();
        if is_pickup {
            let mut found = None;
            for ((p, o), c) in raw.parts.iter().zip(&orders).zip(cuts) {
                let Some(w) = o[i] else { continue };
                let tokens = c[w].rows.first().map_or(&c[w].tokens, |(_, t)| t);
                let n = stroke::slots(tokens)?;
                let len = slot_of(p, &p.written[w], meter, slot) * Beats::from_integer(i64::from(n));
                if n == 0 || len >= meter.length() {
                    problems.error(p.written[w].span, format!("the pickup has {n} slots"), "a pickup is shorter than a bar and not empty");
                    return None;
                }
                if found.is_some_and(|f| f != len) {
                    problems.error(p.written[w].span, "this pickup is not as long as another part's", "write the pickups of all parts equally long");
                    return None;
                }
                found = Some(len);
            }
            length = found?;
        }
        bars.push(Bar { number: (i + usize::from(!pickup)) as u32, meter, length, start, tempo_bpm, swing: raw.swing });
        start += length;
    }
    Some((bars, orders))
}

/// Length of a slot in a bar of a part: its own `slots`, the part's, or the passage's.
fn slot_of(part: &RawPart, bar: &RawBar, meter: Meter, passage: Beats) -> Beats {
    // A part's number holds for every bar of it, whatever the meter; the passage's fixes the length of a slot.
    match bar.slots.or(part.slots) {
        Some((n, _)) => meter.length() / Beats::from_integer(i64::from(n)),
        None => passage,
    }
}

fn read_part(raw: &RawPart, cuts: &[Cut], order: &[Option<usize>], bars: &[Bar], slot: Beats, problems: &mut Problems) -> Part {
    let mut part = Part {
        name: raw.name.clone(),
        kind: raw.kind,
        instrument: raw.instrument.clone(),
        neck: raw.neck.clone(),
        seat: raw.seat,
        tone: raw.tone.clone(),
        hand: raw.hand,
        staff: raw.staff,
        easier_of: raw.easier_of.clone(),
        grips: raw.grips.clone(),
        bars: Vec::with_capacity(bars.len()),
        name_pins: vec![],
        take: raw.take.clone(),
        guess: raw.guess,
        folds: raw.folds.clone(),
        heard: vec![],
        span: raw.span,
    };
    if bars.first().is_some_and(|b| b.number == 0) && !raw.pickup {
        for f in &mut part.folds {
            f.start += 1;
        }
    }
    let mut slot_counts = Vec::with_capacity(bars.len());
    for (bar, written) in bars.iter().zip(order) {
        let Some(b) = written.map(|w| &raw.written[w]) else {
            part.bars.push(PartBar { slots: 0, ..PartBar::default() });
            slot_counts.push((Beats::from_integer(1), 0));
            continue;
        };
        let len = slot_of(raw, b, bar.meter, slot);
        let exact = bar.length / len;
        let mut n = exact.to_integer() as u32;
        if !exact.is_integer() {
            let span = b.slots.map_or(b.span, |(_, s)| s);
            problems.error(span, format!("a bar of {} cannot be cut into slots of this length", bar.meter), "say how many slots this bar has: slots=12");
            n = 0;
        }
        if let Some((slots, span)) = b.heard.as_ref().filter(|(h, _)| n > 0 && h.iter().any(|s| *s > n)) {
            let far = slots.iter().find(|s| **s > n).copied().unwrap_or(0);
            let found = format!("this bar has no slot {far}");
            if !problems.list.iter().any(|p| p.span == *span && p.found == found) {
                problems.error(*span, found, format!("it has slots 1 to {n}"));
            }
        }
        let heard = b.heard.as_ref().map(|h| h.0.clone());
        part.bars.push(PartBar { slots: n, say: b.say.clone(), guess: b.guess, heard, span: b.line.as_ref().map_or(b.span, Text::inside), ..PartBar::default() });
        if len < FINEST {
            let span = b.slots.or(raw.slots).map_or(b.span, |(_, s)| s);
            problems.error(span, format!("a bar of {} with {n} slots is finer than can be written", bar.meter), "a slot is a sixty-fourth triplet (96 in a bar of 4/4) at the finest");
            n = 0;
        }
        slot_counts.push((len, n));
    }
    for (i, written) in order.iter().enumerate() {
        let Some(w) = *written else { continue };
        let b = &raw.written[w];
        let (len, n) = slot_counts[i];
        for (row, text) in &b.rows {
            read_row(*row, text, len, n, &mut part.bars[i], problems);
        }
    }
    if raw.kind_known {
        let before = problems.list.len();
        strokes::play(raw, cuts, order, bars, &slot_counts, slot, &mut part, problems);
        if problems.list.len() == before {
            unwritable_bars(bars, &part.bars, problems);
        }
    }
    for (symbol, at, span) in &raw.names {
        if let Some((bar, at)) = place(at, bars, slot, problems) {
            part.name_pins.push(NamePin { bar, at, symbol: symbol.clone(), span: *span });
        }
    }
    part.name_pins.sort_by_key(|p| (p.bar, p.at));
    part
}

/// Says so where a bar's lengths have no note values, alone or in tuplets.
pub(crate) fn unwritable_bars(bars: &[Bar], own: &[PartBar], problems: &mut Problems) {
    for (bar, own) in bars.iter().zip(own) {
        // Sixty-fourths, the finest plain value, always can.
        let plain = |t: Beats| (t * Beats::from_integer(16)).is_integer();
        if own.events.is_empty() || (own.events.iter().all(|e| plain(e.at) && plain(e.len)) && plain(bar.length)) {
            continue;
        }
        if let Some(w) = crate::notate(bar, own).iter().find(|w| !w.is_exact()) {
            let span = w.event.and_then(|e| own.events.get(e)).map_or(own.span, |e| e.span);
            problems.error(span, "this cannot be written in note values", "let each beat have a whole number of slots, 31 at most, and brackets take whole beats");
        }
    }
}

/// Volume and wah rows.
fn read_row(row: Row, text: &Text, slot: Beats, slots: u32, bar: &mut PartBar, problems: &mut Problems) {
    if matches!(row, Row::Drum(_)) {
        return;
    }
    let mut count = 0u32;
    let mut from = 0;
    for word in text.value.split_whitespace() {
        let start = from + text.value[from..].find(word).unwrap_or(0);
        from = start + word.len();
        let at = slot * Beats::from_integer(i64::from(count));
        count += 1;
        match (row, word) {
            (_, "-" | ".") => {}
            (Row::Level, w) if w.len() == 1 && w.as_bytes()[0].is_ascii_digit() => bar.level.push((at, w.as_bytes()[0] - b'0')),
            (Row::Wah, "o") => bar.wah.push((at, true)),
            (Row::Wah, "+") => bar.wah.push((at, false)),
            _ => {
                let right = if row == Row::Level { "level takes 0 (silent) to 9 (full), and - where it stays" } else { "wah takes o (open), + (closed), and - where it stays" };
                problems.error(text.place(start..from), format!("\"{}\" is not understood in this row", excerpt(word)), right);
            }
        }
    }
    if slots > 0 && count != slots {
        problems.error(text.inside(), format!("the row has {count} signs"), format!("the bar has {slots} slots: write one sign a slot"));
    }
}

/// Reads `bar.beat` or `bar.beat.slot`: the bar's index and the distance from its start.
pub(crate) fn place(text: &Text, bars: &[Bar], slot: Beats, problems: &mut Problems) -> Option<(usize, Beats)> {
    let right = "a place is bar.beat or bar.beat.slot, counted from 1, such as 2.1 or 2.1.3";
    let fields: Option<Vec<u32>> = text.value.trim().split('.').map(|f| f.parse().ok().filter(|_| f.len() <= 4 && f.bytes().all(|b| b.is_ascii_digit()))).collect();
    let Some(fields) = fields.filter(|f| (1..=3).contains(&f.len())) else {
        problems.error(text.span, format!("\"{}\" is no place", excerpt(&text.value)), right);
        return None;
    };
    let number = fields[0];
    let Some(index) = bars.iter().position(|b| b.number == number) else {
        let last = bars.last().map_or(0, |b| b.number);
        let first = bars.first().map_or(1, |b| b.number);
        let right = if first == last { format!("this passage has bar {last} alone") } else { format!("this passage has bars {first} to {last}, repeats counted as played") };
        problems.error(text.span, format!("there is no bar {number}"), right);
        return None;
    };
    let bar = &bars[index];
    let beat = fields.get(1).copied().unwrap_or(1);
    let sub = fields.get(2).copied().unwrap_or(1);
    if beat == 0 || sub == 0 {
        problems.error(text.span, format!("\"{}\" counts from 0", excerpt(&text.value)), right);
        return None;
    }
    let step = |n: u32| Beats::from_integer(i64::from(n) - 1);
    let into = step(sub) * slot;
    let at = step(beat) * bar.meter.beat() + into;
    if at >= bar.length || (sub > 1 && into >= bar.meter.beat()) {
        problems.error(text.span, format!("bar {number} has no place {}", excerpt(&text.value)), format!("bar {number} has {} beats of {} slots", bar.length / bar.meter.beat(), bar.meter.beat() / slot));
        return None;
    }
    Some((index, at))
}

/// Written harmony: a sign a beat; fewer signs than beats come round again.
fn harmony(texts: &[Text], bars: &[Bar], problems: &mut Problems) -> Vec<HarmonySpan> {
    let mut signs: Vec<(Option<Option<Symbol>>, Span)> = Vec::new();
    let mut first = true;
    for text in texts {
        let mut from = 0;
        for word in text.value.split_whitespace() {
            let start = from + text.value[from..].find(word).unwrap_or(0);
            from = start + word.len();
            let span = text.place(start..from);
            match word {
                // Bar lines may stand there for the eye.
                "|" => continue,
                "/" if first => {
                    problems.error(span, "the harmony begins with /, which lets a chord go on", "write a chord sign first, or . for none");
                    signs.push((Some(None), span));
                }
                "/" => signs.push((None, span)),
                "." => signs.push((Some(None), span)),
                _ => match Symbol::parse(word) {
                    Ok(s) => signs.push((Some(Some(s)), span)),
                    Err(e) => {
                        problems.error(span, e, "write a chord sign such as Cm7, Bb7 or Ab/C, / where it goes on, . where there is none");
                        signs.push((Some(None), span));
                    }
                },
            }
            first = false;
        }
    }
    if signs.is_empty() {
        if let Some(t) = texts.first() {
            problems.error(t.span, "the harmony is empty", "write a sign a beat, such as chords \"Cm7 / / Bb7\"");
        }
        return vec![];
    }
    let full: Vec<usize> = (0..bars.len()).filter(|i| bars[*i].number > 0).collect();
    let beats: usize = full.iter().map(|i| bars[*i].meter.beats() as usize).sum();
    if signs.len() > beats || !beats.is_multiple_of(signs.len()) {
        let span = Span { start: texts[0].span.start, end: texts[texts.len() - 1].span.end };
        problems.error(
            span,
            format!("the harmony has {} signs", signs.len()),
            format!("the passage has {beats} beats: write a sign a beat (/ where a chord goes on), or a part of it that comes round again, such as one bar"),
        );
        return vec![];
    }
    let mut out: Vec<HarmonySpan> = Vec::new();
    let mut n = 0;
    let mut now = None;
    for i in full {
        let bar = &bars[i];
        for beat in 0..bar.meter.beats() {
            let at = bar.meter.beat() * Beats::from_integer(i64::from(beat));
            let (sign, _) = &signs[n % signs.len()];
            n += 1;
            if let Some(s) = sign {
                now.clone_from(s);
            }
            let struck = sign.is_some();
            match out.last_mut().filter(|l| l.bar == i && !struck) {
                Some(l) => l.len += bar.meter.beat(),
                None => out.push(HarmonySpan { bar: i, at, len: bar.meter.beat(), symbol: now.clone(), struck }),
            }
        }
    }
    out
}
