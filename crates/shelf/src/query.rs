//! What `find` is asked: from the words typed to the things that must hold.
//!
//! The language is described for its users in `docs/find.md`. Here: words set apart by white space; a field word takes what belongs to it; all
//! terms must hold; `not` turns the next one round. Words that name a chord, a kind of chord or a technique are looked for as such *and* as words.

use crate::fold::tokens;
use crate::shape::Shape;
use crate::technique::Technique;
use lesson::{Problem, Span, Weight};
use neck::{Grip, Instrument, Tuning};
use pitch::{Mode, PitchClass, Spelling, Symbol};

/// Longest query that is read.
pub const QUERY_BYTES_MAX: usize = 1000;
/// Most terms of a query.
pub const TERMS_MAX: usize = 16;

/// Everything that must hold.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Query {
    pub terms: Vec<Term>,
}

/// One thing that must hold, or must not.
#[derive(Clone, Debug, PartialEq)]
pub struct Term {
    /// Any of these is enough; never empty.
    pub tests: Vec<Test>,
    /// None of them may hold.
    pub not: bool,
    /// Where it stands in the query.
    pub span: Span,
    /// As typed.
    pub typed: String,
}

/// What one thing asks.
#[derive(Clone, Debug, PartialEq)]
pub enum Test {
    /// These words stand one after the other; the last may go on.
    Words(Vec<String>),
    /// A grip that is a chord of one of these kinds (see [`crate::facts()`]); all kinds where empty.
    Kind { qualities: Vec<String>, rootless: bool },
    /// A grip or a sign of the harmony with this root and kind; any root where `None`.
    Sign { root: Option<PitchClass>, quality: String },
    /// A grip of these intervals.
    Grip(Shape),
    /// A grip that is a part of one of these forms, or all of it.
    Parent(Vec<&'static str>),
    Technique(Technique),
    /// Some bar's tempo lies in the range.
    Tempo(Range),
    Key { tonic: Option<PitchClass>, mode: Option<Mode> },
    /// Per cent; `None` asks for even time.
    Swing(Option<Range>),
    /// Some part's level.
    Level(Range),
    /// Some pair of parts.
    Lock(Figure, Range),
}

/// What of a pair of parts is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Figure {
    Shared,
    Alternating,
    Empty,
    Clashes,
    Overlap,
}

impl Figure {
    pub const ALL: [Figure; 5] = [Figure::Shared, Figure::Alternating, Figure::Empty, Figure::Clashes, Figure::Overlap];

    /// The word in a query.
    pub fn word(self) -> &'static str {
        ["shared", "alternating", "empty", "clashes", "overlap"][self as usize]
    }
}

/// Both ends belong to it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    pub from: f64,
    pub to: f64,
}

impl Range {
    pub fn holds(self, value: f64) -> bool {
        (self.from..=self.to).contains(&value)
    }
}

/// Words of kinds of chords, and how their signs go on after the root. common practice
const KINDS: &[(&str, &[&str])] = &[
    ("power chord", &["5"]),
    ("major triad", &[""]),
    ("minor triad", &["m"]),
    ("sixth", &["6"]),
    ("minor sixth", &["m6"]),
    ("six nine", &["6/9"]),
    ("minor six nine", &["m6/9"]),
    ("seventh", &["7"]),
    ("dominant seventh", &["7"]),
    ("minor seventh", &["m7"]),
    ("major seventh", &["maj7"]),
    ("minor major seventh", &["m(maj7)"]),
    ("half-diminished", &["m7b5"]),
    ("half diminished", &["m7b5"]),
    ("diminished", &["dim", "dim7"]),
    ("diminished seventh", &["dim7"]),
    ("augmented", &["aug", "7#5"]),
    ("augmented seventh", &["7#5"]),
    ("ninth", &["9"]),
    ("dominant ninth", &["9"]),
    ("minor ninth", &["m9"]),
    ("major ninth", &["maj9"]),
    ("added ninth", &["add9", "madd9"]),
    ("flat ninth", &["7b9"]),
    ("sharp ninth", &["7#9"]),
    ("eleventh", &["11"]),
    ("minor eleventh", &["m11"]),
    ("thirteenth", &["13"]),
    ("suspended", &["sus2", "sus4", "7sus4", "9sus4"]),
    ("suspended second", &["sus2"]),
    ("suspended fourth", &["sus4", "7sus4"]),
];

const WITHOUT_ROOT: [&str; 3] = ["without root", "without its root", "without a root"];

/// Field words, and what is right after each.
const FIELDS: [(&str, &str); 9] = [
    ("grip", "grip x x 8 8 8 x: a fret or x for each string, low to high"),
    ("parent", "parent A form, or parent ninth, root on string 5"),
    ("name", "name Cm7, or name m7 for every root"),
    ("technique", "technique bend"),
    ("tempo", "tempo 90, tempo 90-110, tempo from 90, tempo to 110"),
    ("key", "key C minor, key C or key minor"),
    ("swing", "swing 54-60, swing from 54 or swing none"),
    ("level", "level 2, level 1-3, level to 3"),
    ("lock", "lock shared 20-40, lock alternating from 50, lock empty to 30, lock clashes 0, lock overlap from -5"),
];

/// A piece of the query between white space, or between quotes.
#[derive(Clone, Debug)]
struct Piece {
    text: String,
    span: Span,
    quoted: bool,
}

/// Reads a query.
///
/// ```
/// use shelf::{Test, query};
/// let q = query("rootless ninth tempo 90-110").unwrap();
/// assert_eq!(q.terms.len(), 2);
/// assert_eq!(q.terms[0].tests[0], Test::Kind { qualities: vec!["9".into()], rootless: true });
/// assert_eq!(query("rootless ninths").unwrap().terms[0].tests[0], q.terms[0].tests[0]);
/// let faults = query("tempo fast").unwrap_err();
/// assert_eq!(&"tempo fast"[faults[0].span.start..faults[0].span.end], "fast");
/// ```
///
/// # Errors
/// Every fault with its place in the query (in bytes), what was found and what would be right. A query without a term is one.
pub fn query(text: &str) -> Result<Query, Vec<Problem>> {
    if text.len() > QUERY_BYTES_MAX {
        return Err(vec![fault(Span { start: 0, end: text.len() }, format!("this has {} bytes", text.len()), format!("ask in {QUERY_BYTES_MAX} bytes at most"))]);
    }
    let mut faults = Vec::new();
    let pieces = pieces(text, &mut faults);
    let mut reader = Reader { pieces: &pieces, at: 0, faults, text };
    let mut terms = Vec::new();
    while reader.at < pieces.len() {
        let start = reader.at;
        let mut not = false;
        while reader.bare(0) == Some("not") {
            not = !not;
            reader.at += 1;
        }
        if reader.at >= pieces.len() {
            let span = pieces[start].span;
            reader.fault(span, "nothing follows \"not\"", "write what must not be, such as: not bend");
            break;
        }
        let from = pieces[start].span.start;
        if let Some(tests) = reader.term() {
            let span = Span { start: from, end: pieces[reader.at - 1].span.end };
            terms.push(Term { tests, not, span, typed: text.get(span.start..span.end).unwrap_or("").to_string() });
        }
    }
    if terms.len() > TERMS_MAX {
        let span = terms[TERMS_MAX].span;
        reader.fault(span, format!("this is the {}th thing asked for", TERMS_MAX + 1), format!("ask for {TERMS_MAX} at most"));
    }
    if terms.is_empty() && reader.faults.is_empty() {
        reader.fault(Span::default(), "nothing is asked for", "write words, such as: rootless ninth tempo 90-110");
    }
    if reader.faults.is_empty() { Ok(Query { terms }) } else { Err(reader.faults) }
}

/// A pupil's own words as a query: chord signs, kinds of chords and techniques are known, everything else is words, and words that say nothing
/// ("how do I play the …") are left out. Empty where nothing is left.
pub(crate) fn free(text: &str) -> Query {
    let mut end = text.len().min(QUERY_BYTES_MAX);
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    let text = &text[..end];
    let pieces: Vec<Piece> = pieces(text, &mut vec![]).into_iter().filter(|p| !tokens(&p.text).is_empty()).collect();
    let mut reader = Reader { pieces: &pieces, at: 0, faults: vec![], text };
    let mut terms = Vec::new();
    while reader.at < pieces.len() && terms.len() < TERMS_MAX {
        let piece = &pieces[reader.at];
        let tests = match reader.known() {
            Some(tests) => tests,
            None => {
                reader.at += 1;
                let words = tokens(&piece.text);
                if words.iter().all(|w| EMPTY_WORDS.contains(&w.as_str())) {
                    continue;
                }
                vec![Test::Words(vec_singular(words))]
            }
        };
        let span = Span { start: piece.span.start, end: pieces[reader.at - 1].span.end };
        terms.push(Term { tests, not: false, span, typed: text.get(span.start..span.end).unwrap_or("").to_string() });
    }
    Query { terms }
}

/// The last word without its plural s: the search takes a beginning for the whole.
fn vec_singular(mut words: Vec<String>) -> Vec<String> {
    if let Some(last) = words.last_mut()
        && last.len() > 3
        && last.ends_with('s')
        && !last.ends_with("ss")
    {
        last.pop();
    }
    words
}

/// Words of a request that no lesson is looked up by.
const EMPTY_WORDS: &[&str] = &[
    "a", "about", "again", "all", "an", "and", "another", "any", "are", "as", "at", "be", "by", "can", "chord", "chords", "could", "do", "does", "for", "from", "get", "grip", "grips",
    "guitar", "have", "help", "how", "i", "in", "into", "is", "it", "its", "learn", "lesson", "lessons", "like", "make", "me", "more", "my", "of", "on", "one", "or", "our", "play",
    "playing", "please", "show", "some", "something", "teach", "that", "the", "them", "these", "they", "this", "those", "to", "up", "us", "use", "using", "want", "we", "what", "when",
    "where", "which", "with", "would", "you", "your",
];

fn fault(span: Span, found: impl Into<String>, right: impl Into<String>) -> Problem {
    Problem { span, found: found.into(), right: right.into(), weight: Weight::Error }
}

fn pieces(text: &str, faults: &mut Vec<Problem>) -> Vec<Piece> {
    let gap = |c: char| c.is_whitespace() || c.is_control();
    let mut out = Vec::new();
    let mut rest = text.char_indices().peekable();
    while let Some((start, c)) = rest.next() {
        if gap(c) {
            continue;
        }
        if c == '"' {
            let mut close = None;
            for (i, c) in rest.by_ref() {
                if c == '"' {
                    close = Some(i);
                    break;
                }
            }
            if close.is_none() {
                faults.push(fault(Span { start, end: text.len() }, "a quote is missing: the words that begin here go on to the end", "close them with \""));
            }
            let end = close.unwrap_or(text.len());
            out.push(Piece { text: text[start + 1..end].to_string(), span: Span { start, end: (end + 1).min(text.len()) }, quoted: true });
            continue;
        }
        let mut end = start + c.len_utf8();
        while let Some((i, c)) = rest.peek().copied().filter(|(_, c)| !gap(*c) && *c != '"') {
            end = i + c.len_utf8();
            rest.next();
        }
        out.push(Piece { text: text[start..end].to_string(), span: Span { start, end }, quoted: false });
    }
    out
}

struct Reader<'a> {
    pieces: &'a [Piece],
    at: usize,
    faults: Vec<Problem>,
    text: &'a str,
}

impl Reader<'_> {
    fn fault(&mut self, span: Span, found: impl Into<String>, right: impl Into<String>) {
        self.faults.push(fault(span, found, right));
    }

    /// The text of an unquoted piece so many further on.
    fn bare(&self, ahead: usize) -> Option<&str> {
        self.bare_at(self.at + ahead)
    }

    fn bare_at(&self, at: usize) -> Option<&str> {
        self.pieces.get(at).filter(|p| !p.quoted).map(|p| p.text.as_str())
    }

    /// Reads one term; on a fault the field word and one piece more are passed over.
    fn term(&mut self) -> Option<Vec<Test>> {
        let word = self.bare(0).map(str::to_lowercase);
        if let Some((field, right)) = word.as_deref().and_then(|w| FIELDS.iter().find(|f| f.0 == w)) {
            let own = self.pieces[self.at].span;
            self.at += 1;
            let before = self.at;
            let read = match *field {
                "grip" => self.grip(),
                "parent" => self.parent(),
                "name" => self.sign(),
                "technique" => self.technique(),
                "tempo" => self.range(0.0, 1000.0).map(|r| vec![Test::Tempo(r)]),
                "key" => self.key(),
                "swing" => self.swing(),
                "level" => self.range(1.0, 5.0).map(|r| vec![Test::Level(r)]),
                _ => self.lock(),
            };
            if let Err(found) = read {
                let (span, found) = match self.pieces.get(self.at) {
                    Some(p) => (p.span, found),
                    None => (own, format!("nothing that fits follows \"{field}\"")),
                };
                self.fault(span, found, format!("write {right}; to look for the word itself, put it in quotes"));
                self.at = (before + 1).max(self.at + 1).min(self.pieces.len());
                return None;
            }
            return read.ok();
        }
        if let Some(tests) = self.known() {
            return Some(tests);
        }
        let piece = &self.pieces[self.at];
        self.at += 1;
        let words = tokens(&piece.text);
        if words.is_empty() {
            let span = piece.span;
            self.fault(span, "there is no letter and no digit in this", "write a word");
            return None;
        }
        Some(vec![Test::Words(words)])
    }

    /// The words of the next pieces, unquoted ones, in small letters, with the number of pieces.
    fn phrase(&self, pieces: usize) -> Option<String> {
        let all: Option<Vec<String>> = (0..pieces).map(|i| self.bare(i).map(|t| t.trim_matches(|c: char| matches!(c, ',' | '.' | '?' | '!' | ';' | ':')).to_lowercase())).collect();
        all.map(|a| a.join(" "))
    }

    /// A kind of chord, a chord sign or a technique, which is looked for as words too; passes over nothing otherwise.
    fn known(&mut self) -> Option<Vec<Test>> {
        let start = self.at;
        let as_words = |r: &Reader| Test::Words(tokens(r.text.get(r.pieces[start].span.start..r.pieces[r.at - 1].span.end).unwrap_or("")));
        let mut rootless = self.phrase(1).as_deref() == Some("rootless");
        self.at += usize::from(rootless);
        let kind = (1..=4).rev().find_map(|n| self.phrase(n).and_then(|p| KINDS.iter().find(|k| k.0 == p || Some(k.0) == p.strip_suffix('s'))).map(|k| (n, k.1)));
        if let Some((n, _)) = kind {
            self.at += n;
        }
        if kind.is_some() || rootless {
            let mut words = as_words(self);
            if matches!(self.phrase(1).as_deref(), Some("chord" | "chords" | "grip" | "grips" | "voicing" | "voicings")) && kind.is_some() && self.bare(1).is_none_or(|t| Grip::parse(t).is_err()) {
                self.at += 1;
            }
            if let Some(n) = (2..=3).find(|n| self.phrase(*n).is_some_and(|p| WITHOUT_ROOT.contains(&p.as_str()))) {
                self.at += n;
                rootless = true;
                words = as_words(self);
            }
            if let Test::Words(w) = &words {
                words = Test::Words(vec_singular(w.clone()));
            }
            let qualities = kind.map(|k| k.1.iter().filter_map(|s| canonical(s)).collect()).unwrap_or_default();
            return Some(vec![Test::Kind { qualities, rootless }, words]);
        }
        self.at = start;
        if let Some((n, t)) = (1..=4).rev().find_map(|n| self.phrase(n).and_then(|p| Technique::read(&p)).map(|t| (n, t))) {
            self.at += n;
            let mut words = match as_words(self) {
                Test::Words(w) => w,
                other => return Some(vec![Test::Technique(t), other]),
            };
            words = vec_singular(words);
            return Some(vec![Test::Technique(t), Test::Words(words)]);
        }
        // A single capital may be any word; a sign has more to it.
        if let Some(text) = self.bare(0).filter(|t| t.chars().count() >= 2 && t.starts_with(|c: char| ('A'..='G').contains(&c)))
            && let Ok(symbol) = Symbol::parse(text)
        {
            self.at += 1;
            let sign = Test::Sign { root: Some(symbol.root.class()), quality: crate::facts::quality_of(&symbol) };
            // Of "F#" the words would be all that begin with f.
            let whole = self.bare_at(start).is_some_and(|t| t.chars().all(char::is_alphanumeric));
            return Some(if whole { vec![sign, as_words(self)] } else { vec![sign] });
        }
        None
    }

    fn grip(&mut self) -> Result<Vec<Test>, String> {
        let quoted = self.pieces.get(self.at).filter(|p| p.quoted).map(|p| p.text.clone());
        let (frets, pieces) = match quoted {
            Some(t) => (t, 1),
            None => {
                let mut n = 0;
                while self.bare(n).is_some_and(|t| t.eq_ignore_ascii_case("x") || (t.len() <= 2 && t.bytes().all(|b| b.is_ascii_digit()))) {
                    n += 1;
                }
                ((0..n).filter_map(|i| self.bare(i)).collect::<Vec<_>>().join(" "), n)
            }
        };
        if frets.is_empty() {
            return Err(match self.bare(0) {
                Some(t) => format!("\"{}\" is neither a fret nor x", shown(t)),
                None => String::new(),
            });
        }
        let grip = Grip::parse(&frets)?;
        let instrument = instrument(grip.frets.len()).ok_or_else(|| format!("{} strings are given", grip.frets.len()))?;
        let shape = Shape::of(&grip, &instrument).ok_or("a grip sounds two strings at least, at frets that there are")?;
        self.at += pieces;
        Ok(vec![Test::Grip(shape)])
    }

    fn parent(&mut self) -> Result<Vec<Test>, String> {
        let plain = |t: &str| t.to_lowercase().replace(',', "");
        for n in (1..=7).rev() {
            let text = match self.pieces.get(self.at) {
                Some(p) if p.quoted && n == 1 => plain(&p.text),
                _ => match self.phrase(n) {
                    Some(p) => plain(&p),
                    None => continue,
                },
            };
            let wanted: Vec<&str> = text.split_whitespace().collect();
            let forms: Vec<&'static str> = neck::forms().filter(|f| !wanted.is_empty() && plain(f).split_whitespace().take(wanted.len()).eq(wanted.iter().copied())).collect();
            if !forms.is_empty() {
                self.at += n;
                return Ok(vec![Test::Parent(forms)]);
            }
        }
        Err(self.pieces.get(self.at).map(|p| format!("\"{}\" is no form that is known", shown(&p.text))).unwrap_or_default())
    }

    fn sign(&mut self) -> Result<Vec<Test>, String> {
        let Some(text) = self.pieces.get(self.at).map(|p| p.text.as_str()) else { return Err(String::new()) };
        let test = match Symbol::parse(text) {
            Ok(symbol) => Test::Sign { root: Some(symbol.root.class()), quality: crate::facts::quality_of(&symbol) },
            Err(why) => Test::Sign { root: None, quality: canonical(text).ok_or(why)? },
        };
        self.at += 1;
        Ok(vec![test])
    }

    fn technique(&mut self) -> Result<Vec<Test>, String> {
        if let Some(t) = self.pieces.get(self.at).filter(|p| p.quoted).and_then(|p| Technique::read(&p.text)) {
            self.at += 1;
            return Ok(vec![Test::Technique(t)]);
        }
        let found = (1..=4).rev().find_map(|n| self.phrase(n).and_then(|p| Technique::read(&p)).map(|t| (n, t)));
        let (n, technique) = found.ok_or_else(|| {
            let all: Vec<&str> = Technique::ALL.iter().map(|t| t.word()).collect();
            self.pieces.get(self.at).map(|p| format!("\"{}\" is none of {}", shown(&p.text), all.join(", "))).unwrap_or_default()
        })?;
        self.at += n;
        Ok(vec![Test::Technique(technique)])
    }

    fn key(&mut self) -> Result<Vec<Test>, String> {
        let mode_of = |t: &str| Mode::ALL.into_iter().find(|m| m.name() == t.to_lowercase());
        let quoted = self.pieces.get(self.at).filter(|p| p.quoted).map(|p| p.text.clone());
        let words: Vec<String> = match &quoted {
            Some(t) => t.split_whitespace().map(str::to_string).collect(),
            None => (0..2).map_while(|i| self.bare(i)).map(str::to_string).collect(),
        };
        let Some(first) = words.first() else { return Err(String::new()) };
        // A small letter names the note as well.
        let mut first = first.clone();
        if let Some(letter) = first.get_mut(..1) {
            letter.make_ascii_uppercase();
        }
        let first = first.as_str();
        let (tonic, mut mode, mut used) = match (mode_of(first), Spelling::parse(first)) {
            (Some(m), _) => (None, Some(m), 1),
            (None, Some(s)) => (Some(s.class()), None, 1),
            (None, None) => match first.strip_suffix('m').and_then(Spelling::parse) {
                Some(s) => (Some(s.class()), Some(Mode::Minor), 1),
                None => return Err(format!("\"{}\" is neither a note nor a mode", shown(first))),
            },
        };
        if tonic.is_some()
            && mode.is_none()
            && let Some(m) = words.get(1).and_then(|w| mode_of(w))
        {
            mode = Some(m);
            used = 2;
        }
        if quoted.is_some() && used < words.len() {
            return Err(format!("\"{}\" is no mode that is known", shown(&words[used])));
        }
        self.at += if quoted.is_some() { 1 } else { used };
        Ok(vec![Test::Key { tonic, mode }])
    }

    fn swing(&mut self) -> Result<Vec<Test>, String> {
        if self.bare(0).is_some_and(|t| t.eq_ignore_ascii_case("none")) {
            self.at += 1;
            return Ok(vec![Test::Swing(None)]);
        }
        Ok(vec![Test::Swing(Some(self.range(50.0, 80.0)?))])
    }

    fn lock(&mut self) -> Result<Vec<Test>, String> {
        let word = self.bare(0).unwrap_or("").to_lowercase();
        let Some(figure) = Figure::ALL.into_iter().find(|f| f.word() == word) else {
            let all: Vec<&str> = Figure::ALL.iter().map(|f| f.word()).collect();
            return Err(format!("\"{}\" is none of {}", shown(&word), all.join(", ")));
        };
        self.at += 1;
        let (low, high) = match figure {
            Figure::Overlap => (-200.0, 200.0),
            Figure::Clashes => (0.0, f64::from(u32::MAX)),
            _ => (0.0, 100.0),
        };
        Ok(vec![Test::Lock(figure, self.range(low, high)?)])
    }

    /// `90`, `90-110`, `90 to 110`, `from 90`, `to 110`, `from 90 to 110`; open ends are `low` and `high`.
    fn range(&mut self, low: f64, high: f64) -> Result<Range, String> {
        let word = |r: &Reader, i: usize, w: &str| r.bare(i).is_some_and(|t| t.eq_ignore_ascii_case(w));
        let number = |r: &Reader, i: usize| r.bare(i).and_then(numeral);
        let mut used;
        let mut range = Range { from: low, to: high };
        let explicit = word(self, 0, "from");
        if let (true, Some(n)) = (explicit, number(self, 1)) {
            range.from = n;
            used = 2;
        } else if let Some(n) = number(self, 0) {
            (range.from, range.to) = (n, n);
            used = 1;
        } else if let Some((a, b)) = self.bare(0).and_then(|t| t.char_indices().skip(1).find_map(|(i, c)| (c == '-').then(|| Some((numeral(&t[..i])?, numeral(&t[i + 1..])?))).flatten())) {
            (range.from, range.to) = (a, b);
            used = 1;
        } else if let (true, Some(n)) = (word(self, 0, "to"), number(self, 1)) {
            range.to = n;
            self.at += 2;
            return self.within(range, low, high);
        } else {
            return Err(self.bare(0).map(|t| format!("\"{}\" is no number and no range", shown(t))).unwrap_or_default());
        }
        if (explicit || range.from == range.to)
            && word(self, used, "to")
            && let Some(n) = number(self, used + 1)
        {
            range.to = n;
            used += 2;
        }
        self.at += used;
        self.within(range, low, high)
    }

    fn within(&mut self, range: Range, low: f64, high: f64) -> Result<Range, String> {
        let found = if range.from > range.to {
            format!("the range goes down, from {} to {}", range.from, range.to)
        } else if range.to < low || range.from > high {
            format!("this lies outside {low} to {high}")
        } else {
            return Ok(range);
        };
        // The fault lies at the number.
        self.at = self.at.saturating_sub(1);
        Err(found)
    }
}

fn numeral(text: &str) -> Option<f64> {
    let plain = text.len() <= 10 && text.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-'));
    plain.then(|| text.parse().ok()).flatten().filter(|n: &f64| n.is_finite())
}

/// The kind of chord as the index writes it, from what follows the root in a sign.
fn canonical(suffix: &str) -> Option<String> {
    Symbol::parse(&format!("C{suffix}")).ok().filter(|s| s.root.class() == PitchClass(0)).map(|s| crate::facts::quality_of(&s))
}

/// Standard tuning for so many strings.
fn instrument(strings: usize) -> Option<Instrument> {
    match strings {
        4 => Some(Instrument::bass()),
        5 => Some(Instrument { tuning: Tuning::bass("standard", 5).ok()?, ..Instrument::bass() }),
        6 => Some(Instrument::guitar()),
        7 | 8 => Some(Instrument { tuning: Tuning::guitar("standard", strings).ok()?, ..Instrument::guitar() }),
        _ => None,
    }
}

/// Cut to a length that fits into a message.
fn shown(text: &str) -> String {
    let mut out: String = text.chars().take(30).collect();
    if text.chars().nth(30).is_some() {
        out.push('…');
    }
    out
}

impl Test {
    /// Whether words of a text hold this test's words; `None` for other tests. What the full-text index answers, by a plain scan.
    pub fn in_words(&self, text: &str) -> Option<bool> {
        let Test::Words(words) = self else { return None };
        let text = tokens(text);
        let fits = |at: usize| words.iter().enumerate().all(|(i, w)| text.get(at + i).is_some_and(|t| if i + 1 == words.len() { t.starts_with(w.as_str()) } else { t == w }));
        Some(!words.is_empty() && (0..text.len()).any(fits))
    }
}
