//! Access to document nodes that checks as it goes: every argument, property and child is either known and of the right kind, or a problem.

use crate::Span;
use crate::problem::{Problems, excerpt, nearest};
use kdl::{KdlEntry, KdlNode, KdlValue};
use std::ops::Range;

/// A text value and where its characters stand.
#[derive(Clone, Debug, Default)]
pub(crate) struct Text {
    pub value: String,
    /// The whole value with its quotes.
    pub span: Span,
    /// Byte offset of the first character inside `span`, where the text has no escapes and places can be told exactly.
    inner: Option<usize>,
}

impl Text {
    /// A text in quotes all of whose characters mean themselves; `inside` is where it stands between them.
    pub fn plain(value: &str, inside: Span) -> Text {
        Text { value: value.into(), span: Span { start: inside.start.saturating_sub(1), end: inside.end + 1 }, inner: Some(1) }
    }

    /// The place of a byte range of `value`; the whole value where escapes hide it.
    pub fn place(&self, range: Range<usize>) -> Span {
        match self.inner {
            Some(n) => Span { start: self.span.start + n + range.start, end: self.span.start + n + range.end },
            None => self.span,
        }
    }

    /// The place of all characters.
    pub fn inside(&self) -> Span {
        self.place(0..self.value.len())
    }
}

pub(crate) fn span_of(s: miette::SourceSpan) -> Span {
    Span { start: s.offset(), end: s.offset() + s.len() }
}

/// A node under reading.
pub(crate) struct Node<'a> {
    pub node: &'a KdlNode,
    pub source: &'a str,
}

impl<'a> Node<'a> {
    pub fn name(&self) -> &'a str {
        self.node.name().value()
    }

    /// The node's name, the best place to point at.
    pub fn span(&self) -> Span {
        span_of(self.node.name().span())
    }

    pub fn children(&self) -> impl Iterator<Item = Node<'a>> + 'a + use<'a> {
        let source = self.source;
        self.node.children().into_iter().flat_map(|c| c.nodes()).map(move |node| Node { node, source })
    }

    /// Arguments (values without a name).
    fn args(&self) -> impl Iterator<Item = &'a KdlEntry> {
        self.node.entries().iter().filter(|e| e.name().is_none())
    }

    /// Says which properties and how many arguments are known; everything else is a problem. `children` says whether braces may follow.
    pub fn expect(&self, args: std::ops::RangeInclusive<usize>, props: &[&str], children: bool, right: &str, problems: &mut Problems) {
        let name = self.name();
        if let Some(ty) = self.node.ty() {
            problems.error(span_of(ty.span()), format!("({}) stands before {name}", excerpt(ty.value())), "a lesson has no type marks: take it away");
        }
        let count = self.args().count();
        if !args.contains(&count) {
            let found = match count {
                0 => format!("{name} has no value"),
                1 if *args.end() == 0 => format!("{name} has a value"),
                1 => format!("{name} has only one value"),
                n => format!("{name} has {n} values"),
            };
            let span = self.args().nth(*args.end()).map_or(self.span(), |e| span_of(e.span()));
            problems.error(span, found, format!("write {right}"));
        }
        let mut seen: Vec<&str> = Vec::new();
        for e in self.node.entries() {
            if let Some(ty) = e.ty() {
                problems.error(span_of(e.span()), format!("({}) stands before a value", excerpt(ty.value())), "a lesson has no type marks: take it away");
            }
            let Some(key) = e.name().map(kdl::KdlIdentifier::value) else { continue };
            let place = span_of(e.span());
            if seen.contains(&key) {
                problems.error(place, format!("{}= stands twice at {name}", excerpt(key)), "write it once");
            }
            seen.push(key);
            if !props.contains(&key) {
                let hint = match nearest(key, props) {
                    Some(k) => format!("did you mean {k}= ?"),
                    None if props.is_empty() => format!("{name} takes no properties; write {right}"),
                    None => format!("{name} knows {}", props.iter().map(|p| format!("{p}=")).collect::<Vec<_>>().join(" ")),
                };
                problems.error(place, format!("{name} has no {}=", excerpt(key)), hint);
            }
        }
        if !children && self.node.children().is_some() {
            problems.error(self.span(), format!("{name} has braces"), format!("write {right}, without braces"));
        }
    }

    fn text_of(&self, e: &KdlEntry) -> Option<Text> {
        let KdlValue::String(value) = e.value() else { return None };
        let span = span_of(e.span());
        let raw = self.source.get(span.start..span.end).unwrap_or("");
        let after_name = match e.name() {
            Some(_) => raw.find('=').map_or(0, |n| n + 1),
            None => 0,
        };
        let body = &raw[after_name..];
        let quote = body.find('"');
        let inner = match quote {
            // A bare word is its own text.
            None => Some(after_name),
            Some(q) => Some(after_name + q + 1),
        }
        .filter(|n| raw[*n..].starts_with(value.as_str()));
        Some(Text { value: value.clone(), span, inner })
    }

    fn entry(&self, key: &str) -> Option<&'a KdlEntry> {
        self.node.entries().iter().find(|e| e.name().is_some_and(|n| n.value() == key))
    }

    fn arg_entry(&self, index: usize) -> Option<&'a KdlEntry> {
        self.args().nth(index)
    }

    fn wrong<T>(&self, e: &KdlEntry, right: &str, problems: &mut Problems) -> Option<T> {
        let span = span_of(e.span());
        let raw = self.source.get(span.start..span.end).unwrap_or("");
        problems.error(span, format!("{} is not what {} takes", excerpt(raw), self.name()), format!("write {right}"));
        None
    }

    fn as_text(&self, e: Option<&KdlEntry>, right: &str, problems: &mut Problems) -> Option<Text> {
        let e = e?;
        match self.text_of(e) {
            Some(t) => Some(t),
            None => self.wrong(e, right, problems),
        }
    }

    /// The argument at `index` as text.
    pub fn text(&self, index: usize, right: &str, problems: &mut Problems) -> Option<Text> {
        self.as_text(self.arg_entry(index), right, problems)
    }

    /// The property `key` as text.
    pub fn prop_text(&self, key: &str, right: &str, problems: &mut Problems) -> Option<Text> {
        self.as_text(self.entry(key), right, problems)
    }

    fn as_number(&self, e: Option<&KdlEntry>, range: std::ops::RangeInclusive<f64>, right: &str, problems: &mut Problems) -> Option<(f64, Span)> {
        let e = e?;
        let value = match e.value() {
            KdlValue::Integer(n) => *n as f64,
            KdlValue::Float(f) => *f,
            _ => return self.wrong(e, right, problems),
        };
        if range.contains(&value) { Some((value, span_of(e.span()))) } else { self.wrong(e, right, problems) }
    }

    /// The argument at `index` as a number within `range`.
    pub fn number(&self, index: usize, range: std::ops::RangeInclusive<f64>, right: &str, problems: &mut Problems) -> Option<(f64, Span)> {
        self.as_number(self.arg_entry(index), range, right, problems)
    }

    /// The property `key` as a number within `range`.
    pub fn prop_number(&self, key: &str, range: std::ops::RangeInclusive<f64>, right: &str, problems: &mut Problems) -> Option<(f64, Span)> {
        self.as_number(self.entry(key), range, right, problems)
    }

    fn as_count(&self, e: Option<&KdlEntry>, range: std::ops::RangeInclusive<u32>, right: &str, problems: &mut Problems) -> Option<(u32, Span)> {
        let e = e?;
        match e.value() {
            KdlValue::Integer(n) if range.contains(&u32::try_from(*n).unwrap_or(u32::MAX)) => Some((*n as u32, span_of(e.span()))),
            _ => self.wrong(e, right, problems),
        }
    }

    /// The argument at `index` as a whole number within `range`.
    pub fn count(&self, index: usize, range: std::ops::RangeInclusive<u32>, right: &str, problems: &mut Problems) -> Option<(u32, Span)> {
        self.as_count(self.arg_entry(index), range, right, problems)
    }

    /// The property `key` as a whole number within `range`.
    pub fn prop_count(&self, key: &str, range: std::ops::RangeInclusive<u32>, right: &str, problems: &mut Problems) -> Option<(u32, Span)> {
        self.as_count(self.entry(key), range, right, problems)
    }

    /// The property `key` as `#true` or `#false`.
    pub fn prop_flag(&self, key: &str, problems: &mut Problems) -> Option<bool> {
        let e = self.entry(key)?;
        match e.value() {
            KdlValue::Bool(b) => Some(*b),
            _ => self.wrong(e, &format!("{key}=#true or {key}=#false"), problems),
        }
    }

    /// `sure="guess"`.
    pub fn guess(&self, problems: &mut Problems) -> bool {
        let Some(t) = self.prop_text("sure", "sure=\"guess\"", problems) else { return false };
        if t.value != "guess" {
            problems.error(t.span, format!("sure=\"{}\" says nothing that is known", excerpt(&t.value)), "write sure=\"guess\" on what you doubt, and nothing on what you know");
        }
        t.value == "guess"
    }

    /// The property `key`, raw: text or a number, for values that may be either.
    pub fn prop_any(&self, key: &str) -> Option<(KdlValue, Option<Text>, Span)> {
        let e = self.entry(key)?;
        Some((e.value().clone(), self.text_of(e), span_of(e.span())))
    }
}

/// A word that no reader knows.
pub(crate) fn unknown_node(node: &Node, place: &str, known: &[&str], problems: &mut Problems) {
    let hint = match nearest(node.name(), known) {
        Some(k) => format!("did you mean {k}?"),
        None => format!("{place} holds {}", known.join(", ")),
    };
    problems.error(node.span(), format!("\"{}\" is not known in {place}", excerpt(node.name())), hint);
}
