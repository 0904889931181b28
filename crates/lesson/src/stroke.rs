//! Stroke lines: the text of a bar cut into tokens, each for one slot. Nothing here knows of frets that exist or strings that ring.
//!
//! The grammar stands in `docs/lesson-file.md`; the functions follow it rule by rule.

use crate::problem::excerpt;
use crate::{Direction, Spread};
use pitch::Spelled;
use std::ops::Range;

/// Members of a bracket, and slots that it may take.
pub const BRACKET_MAX: usize = 16;
/// Tokens in a line.
pub const SLOTS_MAX: u32 = 192;

/// One token and where it stands in the line (bytes).
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Token {
    pub range: Range<usize>,
    pub kind: TokenKind,
}

#[derive(Clone, Debug, PartialEq)]
pub(crate) enum TokenKind {
    /// `-`
    Hold,
    /// `.`
    Silence,
    /// `^0` alone: the ringing note is bent on, or let down, to so many cents.
    BendTo(f64),
    Stroke(Box<Stroke>),
    /// So faulty that its slots cannot be told: the line is not counted.
    Torn,
    /// `[…]=n`
    Bracket { members: Vec<Token>, slots: u32 },
}

/// A struck (or hammered, pulled, slid) token.
#[derive(Clone, Debug, PartialEq, Default)]
pub(crate) struct Stroke {
    pub accent: bool,
    pub keep: bool,
    pub rake: bool,
    pub direction: Option<Direction>,
    pub spread: Option<Spread>,
    /// Signs before the first item: they govern all of it.
    pub all: Signs,
    pub items: Vec<Item>,
}

/// Signs that belong to notes.
#[derive(Clone, Debug, PartialEq, Default)]
pub(crate) struct Signs {
    pub hammered: bool,
    pub pulled: bool,
    pub slid: bool,
    pub palm: bool,
    pub harmonic: bool,
    pub tremolo: bool,
    pub ghost: bool,
    pub short: bool,
    pub vibrato: bool,
    pub accent: bool,
    pub bend_cents: Option<f64>,
    pub prebend_cents: Option<f64>,
}

/// What a stroke strikes: joined by `+`.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Item {
    pub range: Range<usize>,
    pub what: What,
    pub signs: Signs,
}

#[derive(Clone, Debug, PartialEq)]
pub(crate) enum What {
    /// `a`, `a43`, `a@-1`, `b@-1/b`.
    Grip { letter: char, strings: Vec<u8>, shift: i32, slide: Option<(char, i32)> },
    /// `5:7`, `4:6/7`.
    Place { string: u8, fret: u8, slide: Option<u8> },
    /// `x`, `x654`, `xa`; after a `+` the neighbours, dead.
    Scratch { strings: Vec<u8>, letter: Option<char> },
    /// `C4`.
    Named(Spelled),
    /// `x` or `o` in a drum row or a click.
    Hit { open: bool },
}

/// Which alphabet a line is written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Alphabet {
    Strings,
    Names,
    Drums { hats: bool },
    Click,
}

/// A fault in a line: where, what was found, what would be right.
pub(crate) type Fault = (Range<usize>, String, String);

/// Cuts a line into tokens. All faults are collected; a faulty token stands as silence, so that the count of slots stays right.
pub(crate) fn read_line(line: &str, alphabet: Alphabet) -> (Vec<Token>, Vec<Fault>) {
    let mut tokens = Vec::new();
    let mut faults = Vec::new();
    let mut i = 0;
    while let Some((start, end)) = next_word(line, i) {
        i = end;
        if line[start..].starts_with('[') {
            // A bracket runs to the word that has its `]`.
            let close = closing(&line[start..]).map(|n| start + n);
            let Some(close) = close else {
                faults.push((start..line.len(), "the bracket [ that begins here has no ]".into(), "close it and say how many slots it takes: [a x a]=2".into()));
                tokens.push(Token { range: start..line.len(), kind: TokenKind::Torn });
                break;
            };
            let tail_end = line[close..].find(char::is_whitespace).map_or(line.len(), |n| close + n);
            i = tail_end;
            tokens.push(read_bracket(line, start, close, tail_end, alphabet, &mut faults));
        } else if &line[start..end] == "|" {
            // Takes no slot, so that the count stays right.
            faults.push((start..end, "a bar line | stands inside a bar".into(), "a bar has a line of its own; spaces alone group its slots".into()));
        } else {
            tokens.push(read_word(line, start..end, alphabet, &mut faults));
        }
        if tokens.len() > SLOTS_MAX as usize {
            faults.push((0..line.len(), format!("more than {SLOTS_MAX} tokens stand in one bar"), format!("a bar has {SLOTS_MAX} slots at most")));
            tokens = vec![Token { range: 0..line.len(), kind: TokenKind::Torn }];
            break;
        }
    }
    (tokens, faults)
}

/// The next run of non-space from `from`.
fn next_word(line: &str, from: usize) -> Option<(usize, usize)> {
    let start = from + line[from..].find(|c: char| !c.is_whitespace())?;
    let end = line[start..].find(char::is_whitespace).map_or(line.len(), |n| start + n);
    Some((start, end))
}

/// Where the bracket that `text` begins with is closed.
fn closing(text: &str) -> Option<usize> {
    let mut depth = 0usize;
    for (i, c) in text.char_indices() {
        match c {
            '[' => depth += 1,
            ']' if depth == 1 => return Some(i),
            ']' => depth -= 1,
            _ => {}
        }
    }
    None
}

fn read_bracket(line: &str, start: usize, close: usize, end: usize, alphabet: Alphabet, faults: &mut Vec<Fault>) -> Token {
    let range = start..end;
    let tail = &line[close + 1..end];
    let slots = match tail.strip_prefix('=').and_then(|n| n.parse::<u32>().ok()) {
        Some(n) if (1..=BRACKET_MAX as u32).contains(&n) => n,
        _ => {
            let found = if tail.is_empty() { "the bracket does not say how many slots it takes".into() } else { format!("\"{}\" follows the bracket", excerpt(tail)) };
            faults.push((close..end, found, format!("write =1 to ={BRACKET_MAX} right after the ], as in [a x a]=2")));
            return Token { range, kind: TokenKind::Torn };
        }
    };
    let inside = &line[start + 1..close];
    let mut members = Vec::new();
    let mut i = 0;
    while let Some((s, e)) = next_word(inside, i) {
        i = e;
        if inside[s..e].contains('[') {
            faults.push((start + 1 + s..start + 1 + e, "a bracket stands inside a bracket".into(), "write the members one after the other in one bracket".into()));
            return Token { range, kind: TokenKind::Torn };
        }
        let mut inner = Vec::new();
        let mut token = read_word(inside, s..e, alphabet, &mut inner);
        shift_token(&mut token, start + 1);
        faults.extend(inner.into_iter().map(|(r, f, w)| (r.start + start + 1..r.end + start + 1, f, w)));
        members.push(token);
    }
    if !(2..=BRACKET_MAX).contains(&members.len()) {
        faults.push((range.clone(), format!("the bracket has {} member{}", members.len(), if members.len() == 1 { "" } else { "s" }), format!("a bracket spreads 2 to {BRACKET_MAX} members evenly over its slots")));
        return Token { range, kind: TokenKind::Bracket { members: vec![], slots } };
    }
    Token { range, kind: TokenKind::Bracket { members, slots } }
}

fn shift_token(token: &mut Token, by: usize) {
    token.range = token.range.start + by..token.range.end + by;
    if let TokenKind::Stroke(s) = &mut token.kind {
        for item in &mut s.items {
            item.range = item.range.start + by..item.range.end + by;
        }
    }
}

/// One word as a token.
fn read_word(line: &str, range: Range<usize>, alphabet: Alphabet, faults: &mut Vec<Fault>) -> Token {
    let word = &line[range.clone()];
    let kind = match word {
        "-" => TokenKind::Hold,
        "." => TokenKind::Silence,
        _ => {
            let mut c = Cursor { word, at: 0, base: range.start, alphabet };
            match c.token() {
                Ok(kind) => kind,
                Err((r, found, right)) => {
                    faults.push((range.start + r.start..range.start + r.end.max(r.start + 1).min(word.len()), found, right));
                    TokenKind::Silence
                }
            }
        }
    };
    Token { range, kind }
}

struct Cursor<'a> {
    word: &'a str,
    at: usize,
    base: usize,
    alphabet: Alphabet,
}

type Parsed<T> = Result<T, Fault>;

impl Cursor<'_> {
    fn rest(&self) -> &str {
        &self.word[self.at..]
    }

    fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    fn take(&mut self, c: char) -> bool {
        let hit = self.peek() == Some(c);
        if hit {
            self.at += c.len_utf8();
        }
        hit
    }

    fn fault<T>(&self, from: usize, found: impl Into<String>, right: impl Into<String>) -> Parsed<T> {
        let end = self.at.max(from + self.word[from..].chars().next().map_or(0, char::len_utf8));
        Err((from..end, found.into(), right.into()))
    }

    /// token := '^' number | signs-before item ('+' signs-before item)* 
    fn token(&mut self) -> Parsed<TokenKind> {
        if self.alphabet == Alphabet::Strings && self.peek() == Some('^') {
            self.at += 1;
            let cents = self.amount(0)?;
            return if self.at == self.word.len() {
                Ok(TokenKind::BendTo(cents))
            } else {
                self.fault(self.at, format!("\"{}\" follows the bend", excerpt(self.rest())), "a bend of its own is ^ and whole tones, such as ^0 or ^.5, and nothing more")
            };
        }
        let mut stroke = Stroke::default();
        let mut open = false;
        self.before(&mut stroke, None, &mut open)?;
        loop {
            let first = stroke.items.is_empty();
            let mut signs = Signs::default();
            let mut item_open = false;
            if !first {
                self.before(&mut stroke, Some(&mut signs), &mut item_open)?;
            }
            let start = self.at;
            let what = self.what(first)?;
            self.after(&mut signs)?;
            if item_open {
                signs.ghost = true;
                if !self.take(')') {
                    return self.fault(self.at.min(self.word.len()), "the ghosted note has no )", "close it: 3:7+(1:7)");
                }
                self.after(&mut signs)?;
            }
            stroke.items.push(Item { range: self.base + start..self.base + self.at, what, signs });
            if !self.take('+') {
                break;
            }
        }
        if open {
            if !self.take(')') {
                return self.fault(0, "the ghosted stroke has no )", "close it: (3:7)");
            }
            stroke.all.ghost = true;
            let mut signs = Signs::default();
            self.after(&mut signs)?;
            if let Some(item) = stroke.items.last_mut() {
                merge(&mut item.signs, &signs);
            }
        }
        if self.peek() == Some('*') && matches!(self.alphabet, Alphabet::Strings | Alphabet::Names) {
            let from = self.at;
            self.at += 1;
            if stroke.spread.is_some() {
                return self.fault(from, "the spread * stands on both sides", "*a spreads from the low string up, a* from the high string down");
            }
            stroke.spread = Some(Spread::HighToLow);
        }
        if self.at < self.word.len() {
            let from = self.at;
            let rest = excerpt(self.rest());
            self.at = self.word.len();
            return self.fault(from, format!("\"{rest}\" is not understood at the end of \"{}\"", excerpt(self.word)), self.right_end());
        }
        Ok(TokenKind::Stroke(Box::new(stroke)))
    }

    fn right_end(&self) -> &'static str {
        match self.alphabet {
            Alphabet::Strings => "after a grip or a place may stand ' ~ ^1 !1 ) * or +; set tokens apart by spaces",
            Alphabet::Names => "after a note may stand ' ~ ) * or +; set tokens apart by spaces",
            Alphabet::Drums { .. } | Alphabet::Click => "one sign a slot, set apart by spaces",
        }
    }

    /// Signs before an item. With `own` they belong to that item only (it follows a `+`).
    fn before(&mut self, stroke: &mut Stroke, mut own: Option<&mut Signs>, open: &mut bool) -> Parsed<()> {
        loop {
            let from = self.at;
            let Some(c) = self.peek() else { return Ok(()) };
            let strings = self.alphabet == Alphabet::Strings;
            let twice = |s: &Self| s.fault(from, format!("the sign {c} stands twice"), "write it once");
            let whole = |s: &Self| s.fault(from, format!("the sign {c} governs the whole stroke"), format!("write it at the token's beginning, before the first note: {c}3:7+1:7"));
            let inner = own.is_some();
            match c {
                '>' => {
                    let flag = match own.as_deref_mut() {
                        Some(s) => &mut s.accent,
                        None => &mut stroke.accent,
                    };
                    if std::mem::replace(flag, true) {
                        return twice(self);
                    }
                }
                '(' if self.alphabet != Alphabet::Click => {
                    if std::mem::replace(open, true) {
                        return twice(self);
                    }
                }
                '&' | '*' if inner => return whole(self),
                '&' if matches!(self.alphabet, Alphabet::Strings | Alphabet::Names) => {
                    if std::mem::replace(&mut stroke.keep, true) {
                        return twice(self);
                    }
                }
                '*' if matches!(self.alphabet, Alphabet::Strings | Alphabet::Names) => {
                    if stroke.spread.replace(Spread::LowToHigh).is_some() {
                        return twice(self);
                    }
                }
                'D' | 'U' | 'R' if strings && inner => return whole(self),
                'D' | 'U' if strings => {
                    if stroke.direction.replace(if c == 'D' { Direction::Down } else { Direction::Up }).is_some() {
                        return self.fault(from, "two stroke directions stand at one stroke", "write D for down or U for up");
                    }
                }
                'R' if strings => {
                    if std::mem::replace(&mut stroke.rake, true) {
                        return twice(self);
                    }
                }
                'H' | 'P' | '/' | 'M' | 'N' | 'T' if strings => {
                    let s = match own.as_deref_mut() {
                        Some(s) => s,
                        None => &mut stroke.all,
                    };
                    let begun = s.hammered || s.pulled || s.slid;
                    let flag = match c {
                        'H' => &mut s.hammered,
                        'P' => &mut s.pulled,
                        '/' => &mut s.slid,
                        'M' => &mut s.palm,
                        'N' => &mut s.harmonic,
                        _ => &mut s.tremolo,
                    };
                    if std::mem::replace(flag, true) {
                        return twice(self);
                    }
                    if begun && matches!(c, 'H' | 'P' | '/') {
                        return self.fault(from, "a note begins in two ways at once", "write one of H (hammered), P (pulled off), / (slid into)");
                    }
                }
                _ => return Ok(()),
            }
            self.at += c.len_utf8();
        }
    }

    fn after(&mut self, signs: &mut Signs) -> Parsed<()> {
        loop {
            let from = self.at;
            match self.peek() {
                Some('\'') if matches!(self.alphabet, Alphabet::Strings | Alphabet::Names) => {
                    if std::mem::replace(&mut signs.short, true) {
                        return self.fault(from, "the sign ' stands twice", "write it once");
                    }
                    self.at += 1;
                }
                Some('~') if matches!(self.alphabet, Alphabet::Strings | Alphabet::Names) => {
                    if std::mem::replace(&mut signs.vibrato, true) {
                        return self.fault(from, "the sign ~ stands twice", "write it once");
                    }
                    self.at += 1;
                }
                Some('^') if self.alphabet == Alphabet::Strings => {
                    self.at += 1;
                    let cents = self.amount(from)?;
                    if signs.bend_cents.replace(cents).is_some() {
                        return self.fault(from, "two bends stand at one note", "write one ^ and, for what follows, ^ as a slot of its own");
                    }
                }
                Some('!') if self.alphabet == Alphabet::Strings => {
                    self.at += 1;
                    let cents = self.amount(from)?;
                    if cents == 0.0 {
                        return self.fault(from, "!0 bends nothing", "write the whole tones that the string is bent by before it is struck, such as !1");
                    }
                    if signs.prebend_cents.replace(cents).is_some() {
                        return self.fault(from, "two bends before the stroke stand at one note", "write one !");
                    }
                }
                _ => return Ok(()),
            }
        }
    }

    /// Whole tones as cents: 1, .5, .25, 1.5, 2; up to 3.
    fn amount(&mut self, from: usize) -> Parsed<f64> {
        let len = self.rest().find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(self.rest().len());
        let text = &self.rest()[..len];
        let value = match text.strip_prefix('.') {
            Some(_) => format!("0{text}").parse::<f64>(),
            None => text.parse::<f64>(),
        };
        let shown = excerpt(text);
        self.at += len;
        match value {
            Ok(v) if (0.0..=3.0).contains(&v) && len <= 5 => Ok(v * 200.0),
            Ok(_) => self.fault(from, format!("a bend of {shown} whole tones is out of reach"), "bends go from ^0 to ^3 whole tones; ^1 is a whole tone, ^.5 a half"),
            Err(_) => self.fault(from, "the bend does not say how far", "write whole tones: ^1 a whole tone, ^.5 a half, ^.25 a quarter, ^0 let down"),
        }
    }

    fn digits(&mut self) -> String {
        let len = self.rest().bytes().take_while(u8::is_ascii_digit).count();
        let text = self.rest()[..len].to_string();
        self.at += len;
        text
    }

    fn what(&mut self, first: bool) -> Parsed<What> {
        let from = self.at;
        let Some(c) = self.peek() else {
            return self.fault(from, format!("\"{}\" ends where a note should stand", excerpt(self.word)), self.right_note());
        };
        match self.alphabet {
            Alphabet::Drums { hats } => match c {
                'x' => {
                    self.at += 1;
                    Ok(What::Hit { open: false })
                }
                'o' if hats => {
                    self.at += 1;
                    Ok(What::Hit { open: true })
                }
                _ => self.unknown(),
            },
            Alphabet::Click => match c {
                'x' => {
                    self.at += 1;
                    Ok(What::Hit { open: false })
                }
                _ => self.unknown(),
            },
            Alphabet::Names => {
                let len = self.rest().find(|c: char| !(c.is_ascii_alphanumeric() || c == '#')).unwrap_or(self.rest().len());
                // A minus belongs to the octave only.
                let minus = self.rest()[len..].starts_with("-1") && !self.rest()[..len].ends_with(|c: char| c.is_ascii_digit());
                let len = if minus { len + 2 } else { len };
                let text = &self.rest()[..len];
                match Spelled::parse(text).filter(|s| s.midi().is_some()) {
                    Some(s) => {
                        self.at += len;
                        Ok(What::Named(s))
                    }
                    None => self.unknown(),
                }
            }
            Alphabet::Strings => match c {
                'x' => {
                    self.at += 1;
                    if !first {
                        return Ok(What::Scratch { strings: vec![], letter: None });
                    }
                    if let Some(l) = self.peek().filter(|c| c.is_ascii_lowercase() && *c != 'x') {
                        self.at += 1;
                        return Ok(What::Scratch { strings: vec![], letter: Some(l) });
                    }
                    let strings = self.strings(from)?;
                    Ok(What::Scratch { strings, letter: None })
                }
                'a'..='z' => {
                    self.at += 1;
                    let strings = self.strings(from)?;
                    let shift = self.shift()?;
                    let slide = if self.take('/') {
                        let at = self.at;
                        match self.peek() {
                            Some(l) if l.is_ascii_lowercase() && l != 'x' => {
                                self.at += 1;
                                Some((l, self.shift()?))
                            }
                            _ => return self.fault(at.min(self.word.len()), "the slide after / leads to no grip", "write the grip where it ends: b@-1/b"),
                        }
                    } else {
                        None
                    };
                    Ok(What::Grip { letter: c, strings, shift, slide })
                }
                '0'..='9' => {
                    let string = self.digits();
                    if !self.take(':') {
                        return self.fault(from, format!("\"{string}\" has no fret"), "a place is string:fret, such as 5:7 for string 5, fret 7");
                    }
                    let string: u8 = match string.parse() {
                        Ok(s @ 1..=8) => s,
                        _ => return self.fault(from, format!("there is no string {string}"), "strings are counted from 1, the highest; a guitar has 6 to 8, a bass 4 to 6"),
                    };
                    let fret = self.fret(from)?;
                    let slide = if self.take('/') { Some(self.fret(from)?) } else { None };
                    Ok(What::Place { string, fret, slide })
                }
                _ => self.unknown(),
            },
        }
    }

    fn fret(&mut self, from: usize) -> Parsed<u8> {
        let text = self.digits();
        match text.parse::<u8>() {
            Ok(f) if f <= neck::FRETS_MAX => Ok(f),
            _ if text.is_empty() => self.fault(from, "a fret is missing", "a place is string:fret, such as 5:7 for string 5, fret 7; a slide within the stroke is 4:6/7"),
            _ => self.fault(from, format!("fret {} is past any neck", excerpt(&text)), format!("frets go to {} at most", neck::FRETS_MAX)),
        }
    }

    fn strings(&mut self, from: usize) -> Parsed<Vec<u8>> {
        let text = self.digits();
        let mut out = Vec::new();
        for b in text.bytes() {
            let s = b - b'0';
            if !(1..=8).contains(&s) {
                return self.fault(from, format!("there is no string {s}"), "strings are counted from 1, the highest");
            }
            if out.contains(&s) {
                return self.fault(from, format!("string {s} is named twice"), "name each string once, such as a43");
            }
            out.push(s);
        }
        Ok(out)
    }

    fn shift(&mut self) -> Parsed<i32> {
        let from = self.at;
        if !self.take('@') {
            return Ok(0);
        }
        let down = self.take('-');
        let text = self.digits();
        match text.parse::<i32>() {
            Ok(n) if (1..=i32::from(neck::FRETS_MAX)).contains(&n) => Ok(if down { -n } else { n }),
            _ => self.fault(from, format!("\"@{}{}\" does not say by how many frets the shape moves", if down { "-" } else { "" }, excerpt(&text)), "write a@-1 for the shape a fret lower, a@2 for two frets higher"),
        }
    }

    fn right_note(&self) -> &'static str {
        match self.alphabet {
            Alphabet::Strings => "a slot holds a grip's letter, a place such as 5:7, x (scratch), - (goes on ringing) or . (silence)",
            Alphabet::Names => "a slot holds a note such as C4, F#3 or Bb3, several joined by +, - (goes on sounding) or . (silence)",
            Alphabet::Drums { hats: true } => "a slot of the hats holds x (closed), o (open), >x (accented), (x) (soft) or . (nothing)",
            Alphabet::Drums { hats: false } => "a slot of a drum holds x (a hit), >x (accented), (x) (soft) or . (nothing)",
            Alphabet::Click => "a slot of the click holds x, >x (accented) or . (nothing)",
        }
    }

    fn unknown<T>(&mut self) -> Parsed<T> {
        let from = self.at;
        let c = self.peek().unwrap_or(' ');
        let word = excerpt(self.word);
        self.at = from + c.len_utf8();
        let mut right = self.right_note().to_string();
        if self.alphabet == Alphabet::Strings {
            if c.is_ascii_uppercase() {
                right = "capitals are techniques: H P M D U N T R before a note; grips are small letters".into();
            }
            if c == ')' {
                right = "ghost a stroke with a pair: (3:7)".into();
            }
        }
        if c == '|' {
            right = "a bar has a line of its own; spaces alone group its slots".into();
        }
        let shown = excerpt(&c.to_string());
        let found = if shown == word { format!("\"{word}\" is not understood") } else { format!("\"{shown}\" in \"{word}\" is not understood") };
        self.fault(from, found, right)
    }
}

fn merge(into: &mut Signs, from: &Signs) {
    into.short |= from.short;
    into.vibrato |= from.vibrato;
    if from.bend_cents.is_some() {
        into.bend_cents = from.bend_cents;
    }
    if from.prebend_cents.is_some() {
        into.prebend_cents = from.prebend_cents;
    }
}

/// How many slots a line takes; `None` where a faulty token hides it.
pub(crate) fn slots(tokens: &[Token]) -> Option<u32> {
    let of = |t: &Token| match t.kind {
        TokenKind::Torn => None,
        TokenKind::Bracket { slots, .. } => Some(slots),
        _ => Some(1),
    };
    tokens.iter().map(of).sum()
}
