//! From written events back to stroke lines. Where one stroke can be written in several ways that read alike, all of them are
//! kept, the shortest first, so that bars of a repeat can agree on one.

use crate::{Attack, Bar, Beats, Drum, Event, Kind, NamedGrip, Part, Source, Spread, Tone, Tuplet};
use neck::{Grip, Instrument};
use std::collections::BTreeSet;

/// A stroke line (or a row): what may stand in each cell, and how cells group into slots and brackets.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    cells: Vec<Vec<String>>,
    /// Cells of each token, and the slots of a bracket.
    tokens: Vec<(usize, Option<u32>)>,
    /// Tokens before which a wider space stands.
    gaps: Vec<usize>,
}

impl Line {
    /// One line that reads as both, if there is one.
    pub fn joined(mut self, other: &Line) -> Option<Line> {
        if self.tokens != other.tokens {
            return None;
        }
        for (mine, theirs) in self.cells.iter_mut().zip(&other.cells) {
            mine.retain(|w| theirs.contains(w));
            if mine.is_empty() {
                return None;
            }
        }
        Some(self)
    }

    /// The text, without quotes.
    pub fn text(&self) -> String {
        let mut out = String::new();
        let mut cells = self.cells.iter().map(|c| c[0].as_str());
        for (i, (count, slots)) in self.tokens.iter().enumerate() {
            if i > 0 {
                out.push_str(if self.gaps.contains(&i) { "  " } else { " " });
            }
            let words: Vec<&str> = cells.by_ref().take(*count).collect();
            match slots {
                Some(n) => out.push_str(&format!("[{}]={n}", words.join(" "))),
                None => out.push_str(&words.concat()),
            }
        }
        out
    }
}

/// What the hand of a part has to remember between bars.
pub(super) struct Hand<'a> {
    part: &'a Part,
    /// Strings and frets of the last stroke, where a plain `x` falls.
    shape: Vec<(u8, u8)>,
}

fn whole(n: u32) -> Beats {
    Beats::from_integer(i64::from(n))
}

impl<'a> Hand<'a> {
    pub fn new(part: &'a Part) -> Hand<'a> {
        Hand { part, shape: vec![] }
    }

    /// The stroke line of a bar of any part but drums. Bars are asked for in the order of playing.
    pub fn line(&mut self, bar: &Bar, index: usize) -> Line {
        let own = &self.part.bars[index];
        let brackets: Vec<Tuplet> = own.events.iter().filter_map(|e| e.tuplet).collect();
        let mut cell = |at: Beats, tuplet: Option<Tuplet>| -> Vec<String> {
            if let Some(e) = own.events.iter().find(|e| e.at == at && e.tuplet == tuplet) {
                return self.stroke(e, bar.start + at);
            }
            let goes_on = own.events.iter().any(|e| e.at < at && at < e.at + e.len && e.tuplet == tuplet);
            vec![if goes_on { "-" } else { "." }.into()]
        };
        lay_out(bar, own.slots, &brackets, &mut cell)
    }

    fn stroke(&mut self, e: &Event, t: Beats) -> Vec<String> {
        if e.tie_in {
            return vec!["-".into()];
        }
        if e.held {
            return vec![format!("^{}", amount(e.notes.first().and_then(|n| n.bend_cents).unwrap_or(0.0)))];
        }
        let out = self.struck(e, t);
        if self.part.kind != Kind::Other {
            let shape: Vec<(u8, u8)> = e.notes.iter().filter_map(|n| n.place().map(|(s, f)| (s, n.slide_to.unwrap_or(f)))).collect();
            if !e.notes.is_empty() {
                self.shape = shape;
            }
        }
        out
    }

    fn struck(&self, e: &Event, t: Beats) -> Vec<String> {
        if self.part.kind == Kind::Click {
            return vec![if e.accent { ">x" } else { "x" }.into()];
        }
        let live: Vec<&Tone> = e.notes.iter().filter(|n| !n.dead).collect();
        let dead: Vec<&Tone> = e.notes.iter().filter(|n| n.dead).collect();
        let neighbours = !live.is_empty() && !dead.is_empty() && beside(&live, self.strings()) == dead.iter().filter_map(|n| n.place().map(|p| p.0)).collect();
        let governed: Vec<&Tone> = if neighbours { live.clone() } else { e.notes.iter().collect() };
        let common = Before::common(&governed);
        // Each item: the ways to write it, its signs before (beyond the common ones) and after.
        let mut items: Vec<(Vec<String>, Before, String)> = Vec::new();
        let mut rest = live.clone();
        if !dead.is_empty() && !neighbours {
            items.push((self.scratch(e, &dead), Before::default(), after(dead[0])));
        } else if let Some((text, taken)) = e.grip.and_then(|letter| self.grip(letter, e, &live, &common, t)) {
            let tail = live.iter().find(|n| n.place().is_some_and(|p| taken.contains(&p.0))).map_or(String::new(), |n| after(n));
            rest.retain(|n| n.place().is_none_or(|p| !taken.contains(&p.0)));
            items.push((vec![text], Before::default(), tail));
        }
        if items.is_empty()
            && let Some(first) = rest.iter().position(|n| Before::of(n) == common)
        {
            let n = rest.remove(first);
            rest.insert(0, n);
        }
        for n in rest {
            let own = if items.is_empty() { Before::default() } else { Before::of(n).without(&common) };
            items.push((vec![body(n)], own, after(n)));
        }
        let mut front = String::new();
        for (sign, on) in [(">", common.accent), ("&", e.keep), ("*", e.spread == Some(Spread::LowToHigh))] {
            front.push_str(if on { sign } else { "" });
        }
        front.push_str(match e.direction {
            Some(crate::Direction::Down) => "D",
            Some(crate::Direction::Up) => "U",
            None => "",
        });
        front.push_str(if e.rake { "R" } else { "" });
        front.push_str(&Before { accent: false, ghost: false, ..common }.signs());
        front.push_str(if common.ghost { "(" } else { "" });
        let mut end = String::new();
        if neighbours {
            let accent = dead.iter().all(|n| n.accent) && !common.accent;
            end.push_str(if accent { "+>x" } else { "+x" });
        }
        end.push_str(if common.ghost { ")" } else { "" });
        end.push_str(if e.spread == Some(Spread::HighToLow) { "*" } else { "" });
        let first = items.first().map_or(vec![String::new()], |i| i.0.clone());
        let tail: String = items.iter().enumerate().map(|(i, (texts, own, after))| if i == 0 { after.clone() } else { format!("+{}{}{after}{}", Before { ghost: false, ..*own }.signs(), if own.ghost { format!("({}", texts[0]) } else { texts[0].clone() }, if own.ghost { ")" } else { "" }) }).collect();
        first.into_iter().map(|w| format!("{front}{w}{tail}{end}")).collect()
    }

    fn strings(&self) -> u8 {
        self.part.neck.as_ref().map_or(0, |n| n.strings() as u8)
    }

    /// A scratch on the strings of `dead`.
    fn scratch(&self, e: &Event, dead: &[&Tone]) -> Vec<String> {
        if let Some(letter) = e.grip {
            return vec![format!("x{letter}")];
        }
        let places: BTreeSet<(u8, u8)> = dead.iter().filter_map(|n| n.place()).collect();
        let count = self.strings();
        let plain: BTreeSet<(u8, u8)> = if !self.shape.is_empty() {
            self.shape.iter().copied().collect()
        } else if self.part.kind == Kind::Bass {
            [(count, 0)].into()
        } else {
            (2..count).map(|s| (s, 0)).collect()
        };
        let fret = |s: u8| self.shape.iter().find(|p| p.0 == s).or(self.shape.first()).map_or(0, |p| p.1);
        let named = format!("x{}", dead.iter().filter_map(|n| n.place().map(|p| p.0.to_string())).collect::<String>());
        let mut out = Vec::new();
        if places == plain {
            out.push("x".to_string());
        }
        if places.iter().all(|(s, f)| fret(*s) == *f) || out.is_empty() {
            out.push(named);
        }
        out
    }

    /// Those notes of a stroke that a grip's letter can stand for: the text, and their strings.
    fn grip(&self, letter: char, e: &Event, live: &[&Tone], common: &Before, t: Beats) -> Option<(String, Vec<u8>)> {
        let neck = self.part.neck.as_ref()?;
        let shape = &self.part.grips.iter().find(|g| g.letter == letter)?.grip;
        // Strings that a hammered (pulled, slid) grip finds where they are: they ring on.
        let stay: Vec<u8> = if common.attack == Attack::Struck || e.keep { vec![] } else { self.ringing_through(t, e) };
        let mut best: Option<(usize, String, Vec<u8>)> = None;
        for by in steps() {
            let Some(moved) = moved(shape, by, neck) else { continue };
            if stay.iter().any(|s| moved.fret(*s).is_none()) {
                continue;
            }
            let fits = |n: &&&Tone| n.place().is_some_and(|(s, f)| moved.fret(s) == Some(f)) && Before::of(n) == *common;
            let mut taken: Vec<&Tone> = live.iter().filter(fits).copied().collect();
            if let Some(first) = taken.first().map(|n| after(n)) {
                taken.retain(|n| after(n) == first);
            }
            let mut slide = String::new();
            if taken.iter().any(|n| n.slide_to.is_some()) {
                match self.slide(letter, &taken, &stay, neck) {
                    Some(text) => slide = text,
                    None => taken.retain(|n| n.slide_to.is_none()),
                }
            }
            if taken.is_empty() || best.as_ref().is_some_and(|b| b.0 >= taken.len()) {
                continue;
            }
            let mut strings: Vec<u8> = taken.iter().filter_map(|n| n.place().map(|p| p.0)).chain(stay.iter().copied()).collect();
            strings.sort_unstable_by(|a, b| b.cmp(a));
            let all: Vec<u8> = moved.sounding().map(|(s, _)| s).collect();
            let digits = if all.len() == strings.len() { String::new() } else { strings.iter().map(u8::to_string).collect() };
            best = Some((taken.len(), format!("{letter}{digits}{}{slide}", shift(by)), taken.iter().filter_map(|n| n.place().map(|p| p.0)).collect()));
        }
        best.map(|(_, text, taken)| (text, taken))
    }

    /// `/b@2` for the grip that these notes slide to.
    fn slide(&self, letter: char, notes: &[&Tone], stay: &[u8], neck: &Instrument) -> Option<String> {
        let own = |g: &&NamedGrip| g.letter != letter;
        let grips: Vec<&NamedGrip> = self.part.grips.iter().filter(|g| g.letter == letter).chain(self.part.grips.iter().filter(own)).collect();
        for g in grips {
            for by in steps() {
                let Some(target) = moved(&g.grip, by, neck) else { continue };
                let there = |n: &&Tone| n.place().is_some_and(|(s, f)| target.fret(s) == Some(n.slide_to.unwrap_or(f)));
                if notes.iter().all(there) && stay.iter().all(|s| target.fret(*s).is_some()) {
                    return Some(format!("/{}{}", g.letter, shift(by)));
                }
            }
        }
        None
    }

    /// Strings that ring before `t` and after it, not struck by `e`.
    fn ringing_through(&self, t: Beats, e: &Event) -> Vec<u8> {
        let struck: Vec<u8> = e.notes.iter().filter_map(|n| n.place().map(|p| p.0)).collect();
        let mut out: Vec<u8> = self
            .part
            .heard
            .iter()
            .filter(|s| s.at < t && s.at + s.len > t)
            .filter_map(|s| match s.source {
                Source::String { string, .. } if !struck.contains(&string) => Some(string),
                _ => None,
            })
            .collect();
        out.sort_unstable();
        out.dedup();
        out
    }
}

/// Cuts a bar into slots and brackets and asks for each cell.
fn lay_out(bar: &Bar, slots: u32, brackets: &[Tuplet], cell: &mut dyn FnMut(Beats, Option<Tuplet>) -> Vec<String>) -> Line {
    let slot = bar.length / whole(slots.max(1));
    let mut line = Line { cells: vec![], tokens: vec![], gaps: vec![] };
    let group = group(bar, slot);
    let mut i = 0;
    while i < slots {
        let at = slot * whole(i);
        if let Some(g) = group
            && i > 0
            && ((at + bar.meter.length() - bar.length) / g).is_integer()
        {
            line.gaps.push(line.tokens.len());
        }
        let bracket = brackets.iter().find(|b| b.start == at && (b.length / slot).is_integer() && b.members > 0 && b.start + b.length <= bar.length);
        match bracket {
            Some(b) => {
                let n = (b.length / slot).to_integer() as u32;
                for k in 0..b.members {
                    line.cells.push(cell(at + b.length * whole(k) / whole(b.members), Some(*b)));
                }
                line.tokens.push((b.members as usize, Some(n)));
                i += n;
            }
            None => {
                line.cells.push(cell(at, None));
                line.tokens.push((1, None));
                i += 1;
            }
        }
    }
    line
}

/// How far apart the wider spaces of a line stand: a beat, or two where a beat has two slots; none where the line is short.
fn group(bar: &Bar, slot: Beats) -> Option<Beats> {
    let beat = bar.meter.beat();
    let per_beat = beat / slot;
    if per_beat >= whole(3) {
        Some(beat)
    } else if per_beat == whole(2) && bar.meter.beats().is_multiple_of(2) {
        Some(beat * whole(2))
    } else {
        None
    }
}

/// The rows of a bar of drums: name and line. A bar without a hit has none.
pub(super) fn drum_rows(bar: &Bar, index: usize, part: &Part) -> Vec<(&'static str, Line)> {
    let own = &part.bars[index];
    let brackets: Vec<Tuplet> = own.events.iter().filter_map(|e| e.tuplet).collect();
    let mut out = Vec::new();
    for (name, drums) in [("kick", &[Drum::Kick][..]), ("snare", &[Drum::Snare]), ("hats", &[Drum::Hats, Drum::OpenHats]), ("ride", &[Drum::Ride]), ("crash", &[Drum::Crash]), ("tom", &[Drum::Tom])] {
        let mut hits: Vec<(Beats, Option<Tuplet>, String)> = own.events.iter().enumerate().flat_map(|(k, e)| e.notes.iter().enumerate().map(move |(j, n)| (k, e, j, n))).filter_map(|(k, e, j, n)| {
            let Source::Drum(d) = n.source else { return None };
            if !drums.contains(&d) {
                return None;
            }
            let sign = if d == Drum::OpenHats { "o" } else { "x" };
            let text = format!("{}{}", if n.accent { ">" } else { "" }, if n.ghost { format!("({sign})") } else { sign.to_string() });
            // A bracket of one row may begin with a plain hit of another.
            let heard = part.heard.iter().find(|s| s.bar == index && s.event == k && s.note == j);
            let member = |t: &&Tuplet| {
                let each = t.length / whole(t.members.max(1));
                let inside = t.start <= e.at && e.at < t.start + t.length && ((e.at - t.start) / each).is_integer();
                inside && heard.is_none_or(|s| s.len == each && Beats::from_integer(i64::from(s.slot) - 1) * bar.length / whole(own.slots.max(1)) == t.start)
            };
            let tuplet = e.tuplet.iter().chain(&brackets).find(member).copied();
            Some((e.at, tuplet, text))
        }).collect();
        if hits.is_empty() {
            continue;
        }
        // Where members are as long as slots, a first member alone may as well be a plain hit, unless the bracket is its stroke's own.
        let firm: Vec<Tuplet> = hits.iter().filter_map(|(at, t, _)| t.filter(|t| t.start != *at || t.length / whole(t.members) != bar.length / whole(own.slots))).collect();
        let alone = |at: Beats| own.events.iter().any(|e| e.at == at && e.notes.len() == 1);
        for (at, t, _) in &mut hits {
            if t.is_some_and(|t| !firm.contains(&t)) && !alone(*at) {
                *t = None;
            }
        }
        let used: Vec<Tuplet> = hits.iter().filter_map(|h| h.1).collect();
        let mut cell = |at: Beats, tuplet: Option<Tuplet>| vec![hits.iter().find(|h| h.0 == at && h.1 == tuplet).map_or(".".to_string(), |h| h.2.clone())];
        out.push((name, lay_out(bar, own.slots, &used, &mut cell)));
    }
    out
}

/// A row under a bar: a sign at each of the places, `-` elsewhere.
pub(super) fn row(bar: &Bar, slots: u32, signs: &[(Beats, String)]) -> String {
    let mut cell = |at: Beats, _: Option<Tuplet>| vec![signs.iter().find(|s| s.0 == at).map_or("-".to_string(), |s| s.1.clone())];
    lay_out(bar, slots, &[], &mut cell).text()
}

/// A line of nothing.
pub(super) fn silence(bar: &Bar, slots: u32) -> Line {
    lay_out(bar, slots, &[], &mut |_, _| vec![".".into()])
}

/// Signs before a note.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Before {
    accent: bool,
    ghost: bool,
    attack: Attack,
    palm: bool,
    harmonic: bool,
    tremolo: bool,
}

impl Default for Before {
    fn default() -> Self {
        Before { accent: false, ghost: false, attack: Attack::Struck, palm: false, harmonic: false, tremolo: false }
    }
}

impl Before {
    fn of(n: &Tone) -> Before {
        Before { accent: n.accent, ghost: n.ghost, attack: n.attack, palm: n.palm_mute, harmonic: n.harmonic, tremolo: n.tremolo }
    }

    /// What all notes have.
    fn common(notes: &[&Tone]) -> Before {
        let all = |f: fn(&Tone) -> bool| !notes.is_empty() && notes.iter().all(|n| f(n));
        let attack = notes.iter().find(|n| !n.dead).map_or(Attack::Struck, |n| n.attack);
        let attack = if notes.iter().filter(|n| !n.dead).all(|n| n.attack == attack) { attack } else { Attack::Struck };
        Before { accent: all(|n| n.accent), ghost: all(|n| n.ghost), attack, palm: all(|n| n.palm_mute), harmonic: all(|n| n.harmonic), tremolo: all(|n| n.tremolo) }
    }

    fn without(self, common: &Before) -> Before {
        Before {
            accent: self.accent && !common.accent,
            ghost: self.ghost && !common.ghost,
            attack: if self.attack == common.attack { Attack::Struck } else { self.attack },
            palm: self.palm && !common.palm,
            harmonic: self.harmonic && !common.harmonic,
            tremolo: self.tremolo && !common.tremolo,
        }
    }

    fn signs(self) -> String {
        let attack = match self.attack {
            Attack::Struck => "",
            Attack::Hammered => "H",
            Attack::Pulled => "P",
            Attack::Slid => "/",
        };
        let sign = |on: bool, s: &'static str| if on { s } else { "" };
        format!("{}{attack}{}{}{}{}", sign(self.accent, ">"), sign(self.palm, "M"), sign(self.harmonic, "N"), sign(self.tremolo, "T"), sign(self.ghost, "("))
    }
}

/// Signs after a note.
fn after(n: &Tone) -> String {
    let mut out = String::new();
    out.push_str(if n.short { "'" } else { "" });
    out.push_str(if n.vibrato { "~" } else { "" });
    if n.prebend_cents != 0.0 {
        out.push_str(&format!("!{}", amount(n.prebend_cents)));
    }
    if let Some(c) = n.bend_cents {
        out.push_str(&format!("^{}", amount(c)));
    }
    out
}

/// Cents as whole tones: 1, .5, .25.
fn amount(cents: f64) -> String {
    let text = format!("{:.4}", (cents / 200.0).clamp(0.0, 3.0));
    let text = text.trim_end_matches('0').trim_end_matches('.');
    match text.strip_prefix("0.") {
        Some(rest) => format!(".{rest}"),
        None => text.to_string(),
    }
}

/// A note alone: `5:7`, `4:6/7`, `Eb4`.
fn body(n: &Tone) -> String {
    match n.source {
        Source::String { string, fret } => format!("{string}:{fret}{}", n.slide_to.map_or(String::new(), |to| format!("/{to}"))),
        Source::Named(name) => name.to_string(),
        Source::Drum(_) | Source::Click => "x".into(),
    }
}

/// Strings beside those of `live` that it leaves free.
fn beside(live: &[&Tone], count: u8) -> BTreeSet<u8> {
    let own: Vec<u8> = live.iter().filter_map(|n| n.place().map(|p| p.0)).collect();
    own.iter().flat_map(|s| [s.wrapping_sub(1), s + 1]).filter(|s| (1..=count).contains(s) && !own.contains(s)).collect()
}

fn shift(by: i32) -> String {
    if by == 0 { String::new() } else { format!("@{by}") }
}

/// 0, 1, -1, 2, -2 …
fn steps() -> impl Iterator<Item = i32> {
    (0..=2 * i32::from(neck::FRETS_MAX)).map(|n| if n % 2 == 1 { (n + 1) / 2 } else { -n / 2 })
}

fn moved(grip: &Grip, by: i32, neck: &Instrument) -> Option<Grip> {
    if by == 0 {
        return Some(grip.clone());
    }
    grip.shifted(by).filter(|g| g.sounding().all(|(_, f)| f <= neck.top_fret()))
}
