//! From tokens to notes: what is written (events) and what is heard (soundings), bar after bar as played.
//!
//! The state that goes from slot to slot is what rings on each string. A token silences, holds or strikes; strings that a
//! stroke leaves are damped, except under `&`.

use crate::nodes::Text;
use crate::problem::{Problems, excerpt};
use crate::read::top_fret_hint;
use crate::resolve::{self, Cut, FINEST, RawPart};
use crate::stroke::{self, Item, Signs, Stroke, Token, TokenKind, What};
use crate::{Attack, Bar, Beats, Direction, Drum, Event, Kind, Part, Sounding, Source, Span, Spread, Tone, Tuplet, UsualHand};
use neck::{Grip, Instrument};
use pitch::Midi;
use std::collections::VecDeque;
use std::ops::Range;

/// General MIDI percussion key of a drum (General MIDI 1, percussion key map).
fn drum_key(d: Drum) -> Midi {
    Midi(match d {
        Drum::Kick => 36,
        Drum::Snare => 38,
        Drum::Hats => 42,
        Drum::OpenHats => 46,
        Drum::Ride => 51,
        Drum::Crash => 49,
        Drum::Tom => 45,
    })
}

/// Fills the part's bars with events and its list of soundings.
#[expect(clippy::too_many_arguments, reason = "one call, from one place")]
pub(crate) fn play(raw: &RawPart, cuts: &[Cut], order: &[Option<usize>], bars: &[Bar], slots: &[(Beats, u32)], passage_slot: Beats, part: &mut Part, problems: &mut Problems) {
    let end = bars.last().map_or(Beats::from_integer(0), |b| b.start + b.length);
    // The count of slots is a fault of its own; a line that is off is not played.
    let mut sound_bars = vec![false; bars.len()];
    for (i, w) in order.iter().enumerate() {
        let Some(w) = *w else { continue };
        let (_, want) = slots[i];
        let mut ok = want > 0;
        let mut lines: Vec<(&Text, &[Token])> = Vec::new();
        let b = &raw.written[w];
        if let Some(t) = &b.line {
            lines.push((t, &cuts[w].tokens));
        }
        for (row, tokens) in &cuts[w].rows {
            if let Some((_, t)) = b.rows.iter().find(|(r, _)| *r == crate::resolve::Row::Drum(*row)) {
                lines.push((t, tokens));
            }
        }
        for (text, tokens) in lines {
            ok &= want == 0 || fits(tokens, want, text, &bars[i], problems);
        }
        sound_bars[i] = ok && !b.rest;
    }
    if raw.kind == Kind::Drums {
        for (i, w) in order.iter().enumerate() {
            if let Some(w) = w.filter(|_| sound_bars[i]) {
                drums(raw, &cuts[w], w, i, &bars[i], slots[i].0, part, problems);
            }
        }
        part.heard.sort_by_key(|s| (s.at, s.midi));
        return;
    }
    let plays: Vec<Option<usize>> = order.iter().zip(&sound_bars).map(|(w, ok)| w.filter(|_| *ok)).collect();
    let places = if raw.by_name { find_places(raw, cuts, &plays, bars, slots, passage_slot, problems) } else { VecDeque::new() };
    if raw.by_name && places.is_empty() {
        // Said already, or there is no note at all.
        return;
    }
    let mut p = Player { raw, bars, part, problems, ringing: vec![], last: None, heard: vec![], shape: vec![], places };
    for (i, w) in order.iter().enumerate() {
        let Some(w) = w.filter(|_| sound_bars[i]) else {
            p.silence(bars[i].start);
            continue;
        };
        p.bar(i, w, &cuts[w].tokens, slots[i].0);
    }
    p.silence(end);
    let heard = p.heard;
    part.heard = heard;
}

/// Whether a line has the slots that its bar wants; says so where it does not. A torn line has had its message.
pub(crate) fn fits(tokens: &[Token], want: u32, line: &Text, bar: &Bar, problems: &mut Problems) -> bool {
    let Some(n) = stroke::slots(tokens) else { return false };
    if n != want {
        let what = if bar.number == 0 { "pickup" } else { "bar" };
        problems.error(
            line.inside(),
            format!("the {what} has {n} slot{}", if n == 1 { "" } else { "s" }),
            format!("{} of {} needs {want} here: one token a slot{}", if what == "bar" { "a bar" } else { "this pickup" }, bar.meter, if n < want { "; fill silence with . and ringing with -" } else { "" }),
        );
    }
    n == want
}

/// Plays bars of a part from number `from` on by themselves, from silence into silence: the events of each, and the soundings. `lines` has the tokens of each bar, which `raw` has as written in
/// the same order (`None` where it is silent), `slots` the length of its slots; `part` has no bars.
pub(crate) fn play_some(raw: &RawPart, from: usize, lines: &[Option<Vec<Token>>], bars: &[Bar], slots: &[Beats], mut part: Part, problems: &mut Problems) -> (Vec<Vec<Event>>, Vec<Sounding>) {
    part.bars = vec![crate::PartBar::default(); from + lines.len()];
    let mut p = Player { raw, bars, part: &mut part, problems, ringing: vec![], last: None, heard: vec![], shape: vec![], places: VecDeque::new() };
    for (k, tokens) in lines.iter().enumerate() {
        match tokens {
            Some(tokens) => p.bar(from + k, k, tokens, slots[k]),
            None => p.silence(bars[from + k].start),
        }
    }
    let end = bars.get(from + lines.len() - 1).map_or(Beats::from_integer(0), |b| b.start + b.length);
    p.silence(end);
    let heard = p.heard;
    (part.bars.into_iter().skip(from).map(|b| b.events).collect(), heard)
}

/// A string (or named note) that rings.
#[derive(Clone, Debug)]
struct Ring {
    /// String, or MIDI number for named notes.
    key: u8,
    /// Fret now, after slides within the stroke.
    fret: u8,
    /// Bend now, in cents.
    cents: f64,
    sounding: usize,
    event: (usize, usize),
    note: usize,
}

struct Player<'a> {
    raw: &'a RawPart,
    bars: &'a [Bar],
    part: &'a mut Part,
    problems: &'a mut Problems,
    ringing: Vec<Ring>,
    /// The event that `-` holds on: bar and index.
    last: Option<(usize, usize)>,
    heard: Vec<Sounding>,
    /// Where the hand lies: strings and frets of the last stroke.
    shape: Vec<(u8, u8)>,
    /// Places found for parts that are written by note name, in order.
    places: VecDeque<(u8, u8)>,
}

/// Where a token stands.
#[derive(Clone, Copy)]
struct Now {
    bar: usize,
    slot: u32,
    /// From the bar's start.
    at: Beats,
    len: Beats,
    tuplet: Option<Tuplet>,
    hand: Direction,
}

impl Player<'_> {
    fn time(&self, now: Now) -> Beats {
        self.bars[now.bar].start + now.at
    }

    fn silence(&mut self, t: Beats) {
        for r in self.ringing.drain(..) {
            let s = &mut self.heard[r.sounding];
            s.len = t - s.at;
        }
        self.last = None;
    }

    /// Ends what rings on `keys` at `t`.
    fn damp(&mut self, t: Beats, keys: &dyn Fn(u8) -> bool) {
        let heard = &mut self.heard;
        self.ringing.retain(|r| {
            if keys(r.key) {
                heard[r.sounding].len = t - heard[r.sounding].at;
            }
            !keys(r.key)
        });
    }

    fn bar(&mut self, bar: usize, written: usize, tokens: &[Token], slot: Beats) {
        let mut index = 0u32;
        for token in tokens {
            let at = slot * Beats::from_integer(i64::from(index));
            match &token.kind {
                TokenKind::Bracket { members, slots } => {
                    let length = slot * Beats::from_integer(i64::from(*slots));
                    let n = members.len().max(1) as i64;
                    let each = length / Beats::from_integer(n);
                    let span = self.span(written, token.range.clone());
                    if let Some((found, right)) = unwritable(slot, length, n) {
                        self.problems.error(span, found, right);
                    }
                    let tuplet = Some(Tuplet { members: n as u32, start: at, length });
                    for (k, m) in members.iter().enumerate() {
                        let hand = match self.raw.hand {
                            UsualHand::Swing if k % 2 == 1 => Direction::Up,
                            UsualHand::Up => Direction::Up,
                            _ => Direction::Down,
                        };
                        let now = Now { bar, slot: index + 1, at: at + each * Beats::from_integer(k as i64), len: each, tuplet, hand };
                        self.token(m, written, now);
                    }
                    index += slots;
                }
                _ => {
                    let now = Now { bar, slot: index + 1, at, len: slot, tuplet: None, hand: self.usual_hand(bar, at, slot) };
                    self.token(token, written, now);
                    index += 1;
                }
            }
        }
    }

    /// Down on the first of each pair of slots, up on the second; where a beat has three (or six …) slots, down, up, down from each beat.
    fn usual_hand(&self, bar: usize, at: Beats, slot: Beats) -> Direction {
        match self.raw.hand {
            UsualHand::Down => return Direction::Down,
            UsualHand::Up => return Direction::Up,
            UsualHand::Swing => {}
        }
        let b = &self.bars[bar];
        // A pickup counts from the bar line that it leads to.
        let at = at + b.meter.length() - b.length;
        let beat = b.meter.beat();
        let per_beat = beat / slot;
        let from_beat = at - beat * (at / beat).floor();
        let from = if per_beat.is_integer() && per_beat.to_integer() > 1 { from_beat } else { at };
        let odd = (from / slot).to_integer() % 2 == 1;
        if odd { Direction::Up } else { Direction::Down }
    }

    fn span(&self, written: usize, range: Range<usize>) -> Span {
        self.raw.written[written].line.as_ref().map_or(Span::default(), |t| t.place(range))
    }

    fn token(&mut self, token: &Token, written: usize, now: Now) {
        let span = self.span(written, token.range.clone());
        match &token.kind {
            TokenKind::Silence | TokenKind::Torn | TokenKind::Bracket { .. } => {
                let t = self.time(now);
                self.silence(t);
            }
            TokenKind::Hold => self.hold(span, now),
            TokenKind::BendTo(cents) => self.bend_on(*cents, span, now),
            TokenKind::Stroke(s) => self.stroke(s, written, span, now),
        }
    }

    fn hold(&mut self, span: Span, now: Now) {
        let Some((bar, i)) = self.last else {
            self.problems.error(span, "nothing rings that - could let go on", "strike a note before it, or write . for silence");
            return;
        };
        if bar == now.bar && self.part.bars[bar].events[i].tuplet == now.tuplet {
            self.part.bars[bar].events[i].len += now.len;
            return;
        }
        // Over the bar line, or out of (into) a bracket: the same stroke, written once more and tied.
        let before = &mut self.part.bars[bar].events[i];
        before.tie_out = true;
        let mut e = goes_on(before, span, now);
        e.tie_in = true;
        self.last = Some((now.bar, self.part.bars[now.bar].events.len()));
        self.part.bars[now.bar].events.push(e);
    }

    fn bend_on(&mut self, cents: f64, span: Span, now: Now) {
        let t = self.time(now);
        let Some((bar, i)) = self.last.filter(|_| !self.ringing.is_empty()) else {
            self.problems.error(span, "nothing rings that could be bent", "a ^ of its own bends on, or lets down, the note before it");
            return;
        };
        let event = &self.part.bars[bar].events[i];
        let keys: Vec<u8> = event.notes.iter().filter_map(|n| n.place().map(|p| p.0)).collect();
        let mut e = goes_on(event, span, now);
        let any = self.ringing.iter().any(|r| keys.contains(&r.key) && r.cents != cents);
        if !any {
            self.problems.error(span, "the note before is bent so far already", "^0 lets a bent note down; ^1 as a slot of its own bends it on");
            return;
        }
        for r in self.ringing.iter_mut().filter(|r| keys.contains(&r.key)) {
            let s = &mut self.heard[r.sounding];
            s.bend.push((t - s.at, r.cents));
            s.bend.push((t - s.at + now.len / Beats::from_integer(2), cents));
            r.cents = cents;
        }
        e.held = true;
        e.keep = false;
        e.notes.iter_mut().for_each(|n| n.bend_cents = Some(cents));
        self.last = Some((now.bar, self.part.bars[now.bar].events.len()));
        self.part.bars[now.bar].events.push(e);
    }

    fn stroke(&mut self, s: &Stroke, written: usize, span: Span, now: Now) {
        let t = self.time(now);
        let built = match self.raw.kind {
            Kind::Other => self.named(s),
            Kind::Click => self.click(s),
            _ => self.strings(s),
        };
        let (mut notes, stay) = match built {
            Ok(b) => b,
            Err(faults) => {
                for (range, found, right) in faults {
                    let span = range.map_or(span, |r| self.span(written, r));
                    self.problems.error(span, found, right);
                }
                self.silence(t);
                return;
            }
        };
        if s.accent {
            notes.iter_mut().for_each(|n| n.accent = true);
        }
        // Low string first: the high string number; named notes by pitch.
        notes.sort_by_key(|n| match n.source {
            Source::String { string, .. } => 200 - i32::from(string),
            _ => i32::from(n.midi.0),
        });
        let key_of = |n: &Tone| match n.source {
            Source::String { string, .. } => string,
            _ => n.midi.0,
        };
        let before: Vec<Ring> = self.ringing.clone();
        let struck: Vec<u8> = notes.iter().map(key_of).collect();
        if s.keep {
            self.damp(t, &|k| struck.contains(&k));
            for r in &self.ringing {
                self.part.bars[r.event.0].events[r.event.1].notes[r.note].rings_on = true;
            }
        } else {
            self.damp(t, &|k| !stay.contains(&k));
        }
        let hand = s.direction.unwrap_or(now.hand);
        let event_index = self.part.bars[now.bar].events.len();
        let plucked: Vec<usize> = (0..notes.len()).filter(|i| notes[*i].attack == Attack::Struck).collect();
        let downward = match s.spread {
            Some(Spread::LowToHigh) => true,
            Some(Spread::HighToLow) => false,
            None => hand == Direction::Down,
        };
        for (k, n) in notes.iter().enumerate() {
            let rank = plucked.iter().position(|p| *p == k);
            let of = plucked.len().max(1);
            let order = rank.map_or(0, |r| if downward { r } else { of - 1 - r });
            let ring = before.iter().find(|r| r.key == key_of(n));
            let mut bend = Vec::new();
            let zero = Beats::from_integer(0);
            if n.prebend_cents != 0.0 {
                bend.push((zero, n.prebend_cents));
            }
            if let Some(c) = n.bend_cents {
                bend.push((zero, n.prebend_cents));
                bend.push((now.len / Beats::from_integer(2), c));
                bend.dedup();
            }
            let slide = match (n.source, n.slide_to) {
                (Source::String { fret, .. }, Some(to)) => Some((now.len / Beats::from_integer(2), i32::from(to) - i32::from(fret))),
                _ => None,
            };
            self.heard.push(Sounding {
                at: t,
                len: now.len,
                bar: now.bar,
                slot: now.slot,
                event: event_index,
                note: k,
                source: n.source,
                midi: n.midi,
                dead: n.dead,
                attack: n.attack,
                from: if n.attack == Attack::Struck { None } else { ring.map(|r| r.sounding) },
                bend,
                slide,
                accent: n.accent,
                ghost: n.ghost,
                short: n.short,
                palm_mute: n.palm_mute,
                harmonic: n.harmonic,
                vibrato: n.vibrato,
                tremolo: n.tremolo,
                order: order as u32,
                of: of as u32,
                hand,
                spread: s.spread.is_some(),
                rake: s.rake,
                span,
            });
            if !n.dead && self.raw.kind != Kind::Click {
                self.ringing.push(Ring {
                    key: key_of(n),
                    fret: n.slide_to.or(n.place().map(|p| p.1)).unwrap_or(0),
                    cents: n.bend_cents.unwrap_or(n.prebend_cents),
                    sounding: self.heard.len() - 1,
                    event: (now.bar, event_index),
                    note: k,
                });
            }
        }
        let scratch = notes.iter().all(|n| n.dead);
        if !notes.is_empty() && self.raw.kind != Kind::Other {
            self.shape = notes.iter().filter_map(|n| n.place().map(|(s, f)| (s, n.slide_to.unwrap_or(f)))).collect();
        }
        let grip = match &s.items[0].what {
            What::Grip { letter, .. } => Some(*letter),
            What::Scratch { letter, .. } => *letter,
            _ => None,
        };
        let accent = notes.iter().any(|n| n.accent);
        self.part.bars[now.bar].events.push(Event {
            at: now.at,
            len: now.len,
            slot: now.slot,
            notes,
            scratch,
            tie_in: false,
            tie_out: false,
            held: false,
            keep: s.keep,
            accent,
            rake: s.rake,
            spread: s.spread,
            direction: s.direction,
            hand,
            grip,
            tuplet: now.tuplet,
            span,
        });
        let goes_on = !scratch && self.raw.kind != Kind::Click;
        self.last = goes_on.then_some((now.bar, event_index));
    }

    fn click(&mut self, _: &Stroke) -> Built {
        Ok((vec![tone(Source::Click, Midi(76), &Signs::default(), &Signs::default(), false)], vec![]))
    }

    fn named(&mut self, s: &Stroke) -> Built {
        let mut notes: Vec<Tone> = Vec::new();
        let mut faults = Vec::new();
        for item in &s.items {
            if let What::Named(n) = item.what
                && let Some(midi) = n.midi()
            {
                // A piano has the keys A0 to C8 (common practice); other instruments know their own range.
                if self.raw.instrument == "keys" && !(21..=108).contains(&midi.0) {
                    faults.push((Some(item.range.clone()), format!("{n} is not on the keys"), "keys go from A0 to C8".to_string()));
                }
                if notes.iter().any(|o| o.midi == midi) {
                    faults.push((Some(item.range.clone()), format!("{n} stands twice in this slot"), "write each note once".to_string()));
                }
                notes.push(tone(Source::Named(n), midi, &s.all, &item.signs, false));
            }
        }
        if faults.is_empty() { Ok((notes, vec![])) } else { Err(faults) }
    }

    fn strings(&mut self, s: &Stroke) -> Built {
        let Some(neck) = &self.raw.neck else { return Err(vec![]) };
        let mut notes: Vec<Tone> = Vec::new();
        let mut stay: Vec<u8> = Vec::new();
        let mut faults: Vec<(Option<Range<usize>>, String, String)> = Vec::new();
        let mut neighbours: Option<&Item> = None;
        for (i, item) in s.items.iter().enumerate() {
            let places = match self.places_of(item, i == 0, neck) {
                Ok(Some(p)) => p,
                Ok(None) => {
                    neighbours = Some(item);
                    continue;
                }
                Err((found, right)) => {
                    faults.push((Some(item.range.clone()), found, right));
                    continue;
                }
            };
            for (string, fret, slide_to, dead) in places {
                let mut signs = item.signs.clone();
                for (all, own) in [
                    (s.all.hammered, &mut signs.hammered),
                    (s.all.pulled, &mut signs.pulled),
                    (s.all.slid, &mut signs.slid),
                ] {
                    *own |= all;
                }
                let grip_item = matches!(item.what, What::Grip { .. });
                let joined = signs.hammered || signs.pulled || signs.slid;
                if joined && !dead {
                    match self.join(string, fret, &signs, grip_item) {
                        Ok(true) => {}
                        Ok(false) => {
                            stay.push(string);
                            continue;
                        }
                        Err((found, right)) => {
                            faults.push((Some(item.range.clone()), found, right));
                            continue;
                        }
                    }
                }
                if notes.iter().any(|n| n.place().is_some_and(|p| p.0 == string)) {
                    faults.push((Some(item.range.clone()), format!("string {string} stands twice in this slot"), "a string sounds one note at a time".into()));
                    continue;
                }
                let harmonic = s.all.harmonic || signs.harmonic;
                match sounding(neck, string, fret, harmonic && !dead) {
                    Ok(midi) => {
                        if let Some(to) = slide_to
                            && neck.sounds(string, to).is_none()
                        {
                            faults.push((Some(item.range.clone()), format!("fret {to} is past the neck"), top_fret_hint(neck)));
                            continue;
                        }
                        let mut n = tone(Source::String { string, fret }, midi, &s.all, &signs, dead);
                        n.slide_to = slide_to;
                        notes.push(n);
                    }
                    Err((found, right)) => faults.push((Some(item.range.clone()), found, right)),
                }
            }
        }
        if let Some(item) = neighbours {
            let strings: Vec<(u8, u8)> = notes.iter().filter_map(Tone::place).collect();
            let count = neck.strings() as u8;
            let mut dead: Vec<(u8, u8)> = Vec::new();
            for (string, fret) in &strings {
                for other in [string.wrapping_sub(1), string + 1] {
                    if (1..=count).contains(&other) && !strings.iter().any(|p| p.0 == other) && !dead.iter().any(|p| p.0 == other) {
                        dead.push((other, *fret));
                    }
                }
            }
            if dead.is_empty() && faults.is_empty() {
                faults.push((Some(item.range.clone()), "+x finds no neighbouring string to deaden".into(), "write +x after places that leave a string free beside them".into()));
            }
            for (string, fret) in dead {
                if let Ok(midi) = sounding(neck, string, fret, false) {
                    let own = Signs { accent: item.signs.accent, ..Signs::default() };
                    notes.push(tone(Source::String { string, fret }, midi, &Signs::default(), &own, true));
                }
            }
        }
        if notes.is_empty() && faults.is_empty() {
            faults.push((None, "nothing changes: every string holds this fret already".into(), "strike it, or write - to let it ring on".into()));
        }
        if faults.is_empty() { Ok((notes, stay)) } else { Err(faults) }
    }

    /// Whether a hammered, pulled or slid note can come from what rings: `Ok(true)` it does, `Ok(false)` the string stays as it is (within a grip).
    fn join(&self, string: u8, fret: u8, signs: &Signs, in_grip: bool) -> Result<bool, (String, String)> {
        let how = if signs.hammered {
            "hammered"
        } else if signs.pulled {
            "pulled off"
        } else {
            "slid"
        };
        let Some(ring) = self.ringing.iter().find(|r| r.key == string) else {
            let right = match how {
                "slid" => "strike the string before it, or slide within the stroke: 4:5/7",
                _ => "strike a lower fret (for P a higher one) on the same string right before it",
            };
            return Err((format!("string {string} is {how} from nothing: it does not ring"), right.into()));
        };
        if ring.fret == fret {
            if in_grip {
                return Ok(false);
            }
            return Err((format!("string {string} is {how} to fret {fret}, where it is already"), "write - to let it ring on, or the fret that it goes to".into()));
        }
        match how {
            "hammered" if ring.fret > fret => Err((format!("string {string} is hammered from fret {} down to {fret}", ring.fret), "a hammer goes up; write P for a pull-off or / for a slide".into())),
            "pulled off" if ring.fret < fret => Err((format!("string {string} is pulled off from fret {} up to {fret}", ring.fret), "a pull-off goes down; write H for a hammer-on or / for a slide".into())),
            _ => Ok(true),
        }
    }

    /// String, fret, slide within the stroke, dead; `None` for `+x`.
    #[expect(clippy::type_complexity, reason = "a plain list")]
    fn places_of(&mut self, item: &Item, first: bool, neck: &Instrument) -> Result<Option<Vec<(u8, u8, Option<u8>, bool)>>, (String, String)> {
        let count = neck.strings() as u8;
        let known = |raw: &RawPart| raw.grips.iter().map(|g| g.letter.to_string()).collect::<Vec<_>>().join(", ");
        let grip = |raw: &RawPart, letter: char| -> Result<Grip, (String, String)> {
            raw.grips.iter().find(|g| g.letter == letter).map(|g| g.grip.clone()).ok_or_else(|| {
                let have = known(raw);
                let right = if have.is_empty() { format!("write it above the bars: grip \"{letter}\" \"x x 8 8 8 x\"") } else { format!("this part has the grips {have}; write another above the bars: grip \"{letter}\" \"x x 8 8 8 x\"") };
                (format!("there is no grip {letter}"), right)
            })
        };
        match &item.what {
            What::Place { string, fret, slide } => {
                if *string > count {
                    return Err((format!("there is no string {string}"), format!("this instrument has {count} strings, 1 is the highest")));
                }
                Ok(Some(vec![(*string, *fret, *slide, false)]))
            }
            What::Grip { letter, strings, shift, slide } => {
                let whole = grip(self.raw, *letter)?;
                let shape = moved(&whole, *shift, *letter, neck)?;
                let target = match slide {
                    Some((l, by)) => Some((*l, moved(&grip(self.raw, *l)?, *by, *l, neck)?)),
                    None => None,
                };
                let mut out = Vec::new();
                for s in strings {
                    if shape.fret(*s).is_none() {
                        let has: Vec<String> = shape.sounding().map(|(s, _)| s.to_string()).collect();
                        return Err((format!("string {s} does not sound in grip {letter}"), format!("grip {letter} has the strings {}", has.join(", "))));
                    }
                }
                for (string, fret) in shape.sounding() {
                    if !strings.is_empty() && !strings.contains(&string) {
                        continue;
                    }
                    let to = match &target {
                        None => None,
                        Some((l, t)) => match t.fret(string) {
                            Some(f) if f != fret => Some(f),
                            Some(_) => None,
                            None => return Err((format!("grip {letter} cannot slide to {l}: string {string} does not sound there"), "slide between grips on the same strings".into())),
                        },
                    };
                    out.push((string, fret, to, false));
                }
                if target.is_some() && out.iter().all(|p| p.2.is_none()) {
                    return Err(("the slide ends where it begins".into(), "write b@-1/b, or leave the slide out".into()));
                }
                Ok(Some(out))
            }
            What::Scratch { .. } if !first => Ok(None),
            What::Scratch { strings, letter } => {
                let places: Vec<(u8, u8)> = if let Some(l) = letter {
                    grip(self.raw, *l)?.sounding().collect()
                } else if !strings.is_empty() {
                    if let Some(s) = strings.iter().find(|s| **s > count) {
                        return Err((format!("there is no string {s}"), format!("this instrument has {count} strings, 1 is the highest")));
                    }
                    strings.iter().map(|s| (*s, self.shape.iter().find(|p| p.0 == *s).or(self.shape.first()).map_or(0, |p| p.1))).collect()
                } else if !self.shape.is_empty() {
                    self.shape.clone()
                } else if self.raw.kind == Kind::Bass {
                    vec![(count, 0)]
                } else {
                    (2..count).map(|s| (s, 0)).collect()
                };
                Ok(Some(places.into_iter().map(|(s, f)| (s, f, None, true)).collect()))
            }
            What::Named(n) => match self.places.pop_front() {
                Some((string, fret)) => Ok(Some(vec![(string, fret, None, false)])),
                None => Err((format!("{n} has no place on this neck"), "mend the note or the tuning".into())),
            },
            What::Hit { .. } => Err(("a drum's sign stands in a string part".into(), "write places such as 5:7".into())),
        }
    }
}

/// The notes of a stroke and the strings that it leaves as they are; or the faults.
type Built = Result<(Vec<Tone>, Vec<u8>), Vec<(Option<Range<usize>>, String, String)>>;

fn tone(source: Source, midi: Midi, all: &Signs, own: &Signs, dead: bool) -> Tone {
    let attack = if dead {
        Attack::Struck
    } else if own.hammered || all.hammered {
        Attack::Hammered
    } else if own.pulled || all.pulled {
        Attack::Pulled
    } else if own.slid || all.slid {
        Attack::Slid
    } else {
        Attack::Struck
    };
    Tone {
        source,
        midi,
        dead,
        attack,
        slide_to: None,
        prebend_cents: own.prebend_cents.or(all.prebend_cents).unwrap_or(0.0),
        bend_cents: own.bend_cents.or(all.bend_cents),
        accent: own.accent || all.accent,
        vibrato: own.vibrato || all.vibrato,
        harmonic: (own.harmonic || all.harmonic) && !dead,
        palm_mute: own.palm || all.palm,
        ghost: own.ghost || all.ghost,
        short: own.short || all.short,
        tremolo: own.tremolo || all.tremolo,
        rings_on: false,
    }
}

/// What is written where a stroke goes on: its notes, not struck anew. Dead strings do not go on.
fn goes_on(from: &Event, span: Span, now: Now) -> Event {
    let mut e = from.clone();
    (e.at, e.len, e.slot, e.tuplet, e.hand, e.span) = (now.at, now.len, now.slot, now.tuplet, now.hand, span);
    (e.tie_in, e.tie_out, e.held) = (false, false, false);
    (e.accent, e.direction, e.spread, e.rake) = (false, None, None, false);
    e.notes.retain(|n| !n.dead);
    for n in &mut e.notes {
        (n.attack, n.accent, n.bend_cents, n.prebend_cents) = (Attack::Struck, false, None, 0.0);
        arrive(n);
    }
    e
}

/// What goes on after a slide within the stroke lies, and sounds, where the slide arrived.
fn arrive(n: &mut Tone) {
    if let (Source::String { fret, .. }, Some(to)) = (&mut n.source, n.slide_to.take()) {
        n.midi = n.midi.up(i32::from(to) - i32::from(*fret)).unwrap_or(n.midi);
        *fret = to;
    }
}

/// A grip's shape moved along the neck.
fn moved(grip: &Grip, by: i32, letter: char, neck: &Instrument) -> Result<Grip, (String, String)> {
    if by == 0 {
        return Ok(grip.clone());
    }
    let shape = grip.shifted(by).ok_or_else(|| (format!("grip {letter} cannot move by {by} frets: a string would fall off the nut"), "move it less, or write the grip out".to_string()))?;
    let past = shape.sounding().find(|(_, f)| *f > neck.top_fret());
    match past {
        Some((s, f)) => Err((format!("grip {letter} moved by {by} frets reaches fret {f} on string {s}, past the neck"), top_fret_hint(neck))),
        None => Ok(shape),
    }
}

/// Why a bracket cannot be written in note values, if it cannot.
fn unwritable(slot: Beats, length: Beats, members: i64) -> Option<(String, String)> {
    let plain = |n: i64| n > 0 && n & (n - 1) == 0;
    if members > 0 && length / Beats::from_integer(members) < FINEST {
        return Some(("the bracket's members are finer than can be written".into(), "a member is a sixty-fourth triplet at the finest: give the bracket more slots".into()));
    }
    let triplet_slots = !plain(*slot.denom());
    if triplet_slots && !plain(members) {
        return Some((format!("{members} members stand over slots that are triplets already"), "in such a bar a bracket has 2, 4, 8 or 16 members; or write slots= for this bar so that none is needed".into()));
    }
    None
}

/// What a place sounds; a natural harmonic sounds the partial whose node lies there (nodes at simple fractions of the
/// string: 1/2 at fret 12, 1/3 at 7 and 19, 1/4 at 5 and 24, 1/5 near 4, 9 and 16, 1/6 near 3).
fn sounding(neck: &Instrument, string: u8, fret: u8, harmonic: bool) -> Result<Midi, (String, String)> {
    let high = || (format!("string {string}, fret {fret} sounds higher than any note that is known here"), "mend the tuning or the fret".to_string());
    if harmonic {
        let up = match fret {
            12 => 12,
            7 | 19 => 19,
            5 | 24 => 24,
            4 | 9 | 16 => 28,
            3 => 31,
            _ => return Err((format!("there is no natural harmonic at fret {fret}"), "natural harmonics lie at frets 12, 7, 19, 5, 24, 4, 9, 16 and 3".into())),
        };
        return neck.sounds(string, 0).and_then(|m| m.up(up)).ok_or_else(high);
    }
    if fret > neck.top_fret() {
        return Err((format!("fret {fret} is past the neck"), top_fret_hint(neck)));
    }
    neck.sounds(string, fret).ok_or_else(high)
}

/// A bar of drums: the rows' hits, those at one time as one event.
#[expect(clippy::too_many_arguments, reason = "one call, from one place")]
pub(crate) fn drums(raw: &RawPart, cut: &Cut, written: usize, index: usize, bar: &Bar, slot: Beats, part: &mut Part, problems: &mut Problems) {
    struct Hit {
        at: Beats,
        len: Beats,
        slot: u32,
        drum: Drum,
        accent: bool,
        ghost: bool,
        tuplet: Option<Tuplet>,
        span: Span,
    }
    let mut hits: Vec<Hit> = Vec::new();
    for (drum, tokens) in &cut.rows {
        let text = raw.written[written].rows.iter().find(|(r, _)| *r == crate::resolve::Row::Drum(*drum)).map(|(_, t)| t);
        let mut n = 0u32;
        let mut hit = |token: &Token, at: Beats, len: Beats, slot: u32, tuplet: Option<Tuplet>, problems: &mut Problems| {
            let span = text.map_or(Span::default(), |t| t.place(token.range.clone()));
            match &token.kind {
                TokenKind::Stroke(s) => {
                    let open = matches!(s.items[0].what, What::Hit { open: true });
                    let drum = if open { Drum::OpenHats } else { *drum };
                    if s.items.len() > 1 {
                        problems.error(span, "two hits stand in one slot of one drum", "write one sign a slot; each drum has a row of its own");
                    }
                    hits.push(Hit { at, len, slot, drum, accent: s.accent, ghost: s.all.ghost, tuplet, span });
                }
                TokenKind::Hold => problems.error(span, "a drum does not go on with -", "write . where it is not hit"),
                _ => {}
            }
        };
        for token in tokens {
            let at = slot * Beats::from_integer(i64::from(n));
            if let TokenKind::Bracket { members, slots } = &token.kind {
                let length = slot * Beats::from_integer(i64::from(*slots));
                let each = length / Beats::from_integer(members.len().max(1) as i64);
                if let Some((found, right)) = unwritable(slot, length, members.len() as i64) {
                    let span = text.map_or(Span::default(), |t| t.place(token.range.clone()));
                    problems.error(span, found, right);
                }
                let tuplet = Some(Tuplet { members: members.len() as u32, start: at, length });
                for (k, m) in members.iter().enumerate() {
                    hit(m, at + each * Beats::from_integer(k as i64), each, n + 1, tuplet, problems);
                }
                n += slots;
            } else {
                hit(token, at, slot, n + 1, None, problems);
                n += 1;
            }
        }
    }
    hits.sort_by_key(|h| (h.at, h.drum));
    let mut i = 0;
    while i < hits.len() {
        let at = hits[i].at;
        let here: Vec<&Hit> = hits[i..].iter().take_while(|h| h.at == at).collect();
        let event = part.bars[index].events.len();
        let next = hits.get(i + here.len()).map_or(bar.length, |h| h.at);
        // Written to the next hit, but not over the beat: drums have no length, the eye wants few rests.
        let beat = bar.meter.beat();
        let beat_end = (beat * ((at / beat).floor() + Beats::from_integer(1))).min(bar.length);
        let tuplet = here.iter().find_map(|h| h.tuplet);
        let len = if tuplet.is_some() { here[0].len } else { next.min(beat_end) - at };
        let of = here.len() as u32;
        let notes: Vec<Tone> = here
            .iter()
            .map(|h| {
                let own = Signs { ghost: h.ghost, accent: h.accent, ..Signs::default() };
                tone(Source::Drum(h.drum), drum_key(h.drum), &own, &own, false)
            })
            .collect();
        for (k, h) in here.iter().enumerate() {
            part.heard.push(Sounding {
                at: bar.start + at,
                len: h.len,
                bar: index,
                slot: h.slot,
                event,
                note: k,
                source: Source::Drum(h.drum),
                midi: drum_key(h.drum),
                dead: false,
                attack: Attack::Struck,
                from: None,
                bend: vec![],
                slide: None,
                accent: h.accent,
                ghost: h.ghost,
                short: false,
                palm_mute: false,
                harmonic: false,
                vibrato: false,
                tremolo: false,
                order: 0,
                of,
                hand: Direction::Down,
                spread: false,
                rake: false,
                span: h.span,
            });
        }
        part.bars[index].events.push(Event {
            at,
            len,
            slot: here[0].slot,
            notes,
            scratch: false,
            tie_in: false,
            tie_out: false,
            held: false,
            keep: false,
            accent: here.iter().any(|h| h.accent),
            rake: false,
            spread: None,
            direction: None,
            hand: Direction::Down,
            grip: None,
            tuplet,
            span: here[0].span,
        });
        i += here.len();
    }
}

/// Places for a part that is written in note names: the cheapest path for the hand over the whole part, pins obeyed.
/// In the order in which [`Player`] asks for them; empty where the path cannot be found, which is then a problem.
fn find_places(raw: &RawPart, cuts: &[Cut], plays: &[Option<usize>], bars: &[Bar], slots: &[(Beats, u32)], passage_slot: Beats, problems: &mut Problems) -> VecDeque<(u8, u8)> {
    let Some(neck) = &raw.neck else { return VecDeque::new() };
    let mut notes: Vec<neck::Timed> = Vec::new();
    // Bar, distance from its start, and place in the text of each note.
    let mut whence: Vec<(usize, Beats, Span)> = Vec::new();
    let mut names: Vec<pitch::Spelled> = Vec::new();
    let mut start_s = 0.0;
    for (i, bar) in bars.iter().enumerate() {
        if let Some(w) = plays[i] {
            let line = raw.written[w].line.as_ref();
            let mut add = |token: &Token, at: Beats, len: Beats| {
                let TokenKind::Stroke(s) = &token.kind else { return };
                for item in &s.items {
                    if let What::Named(n) = item.what
                        && let Some(midi) = n.midi()
                    {
                        let (onset_s, end_s) = (start_s + bar.seconds_to(at), start_s + bar.seconds_to(at + len));
                        names.push(n);
                        notes.push(neck::Timed { onset_s, duration_s: (end_s - onset_s).max(0.01), midi });
                        whence.push((i, at, line.map_or(Span::default(), |t| t.place(item.range.clone()))));
                    }
                }
            };
            let slot = slots[i].0;
            let mut n = 0u32;
            for token in &cuts[w].tokens {
                let at = slot * Beats::from_integer(i64::from(n));
                if let TokenKind::Bracket { members, slots } = &token.kind {
                    let each = slot * Beats::new(i64::from(*slots), members.len().max(1) as i64);
                    for (k, m) in members.iter().enumerate() {
                        add(m, at + each * Beats::from_integer(k as i64), each);
                    }
                    n += slots;
                } else {
                    add(token, at, slot);
                    n += 1;
                }
            }
        }
        start_s += bar.seconds();
    }
    let mut pins = Vec::new();
    for (place, at) in &raw.places {
        let right = "write place \"5:7\" at=\"2.1\", where a note of this part begins that string 5 sounds at fret 7";
        let Some((bar, at)) = resolve::place(at, bars, passage_slot, problems) else { continue };
        let (tokens, _) = stroke::read_line(&place.value, stroke::Alphabet::Strings);
        let one = match tokens.as_slice() {
            [Token { kind: TokenKind::Stroke(s), .. }] => match s.items.as_slice() {
                [Item { what: What::Place { string, fret, slide: None }, .. }] => Some((*string, *fret)),
                _ => None,
            },
            _ => None,
        };
        let Some((string, fret)) = one else {
            problems.error(place.span, format!("\"{}\" is no place on the neck", excerpt(&place.value)), right);
            continue;
        };
        let midi = neck.sounds(string, fret);
        match (0..notes.len()).find(|k| (whence[*k].0, whence[*k].1) == (bar, at) && Some(notes[*k].midi) == midi) {
            Some(note) => pins.push(neck::Pin { note, string }),
            None => problems.error(place.span, format!("no note that {} sounds begins there", excerpt(&place.value)), right),
        }
    }
    match neck::path(&notes, neck, &neck::Hand::usual(), &pins) {
        Ok(places) => places.into(),
        Err(e) => {
            let span = whence.get(e.note).map_or(raw.span, |w| w.2);
            let named = notes.get(e.note).map_or(String::new(), |n| e.why.replace(&format!("MIDI pitch {}", n.midi.0), &names[e.note].to_string()));
            problems.error(span, named, "mend the note, the tuning or the pin; notes of one slot need a string each within the hand's reach");
            VecDeque::new()
        }
    }
}
