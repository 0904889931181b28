//! Where the words of a lesson stand in its text: nodes, their values and properties, as byte ranges.

use crate::Span;
use crate::nodes::span_of;
use crate::scan;
use kdl::{KdlDocument, KdlEntry, KdlNode, KdlValue};

/// A node and its place.
#[derive(Clone, Copy)]
pub(super) struct Found<'a> {
    pub node: &'a KdlNode,
    pub text: &'a str,
}

impl<'a> Found<'a> {
    pub fn name(&self) -> &'a str {
        self.node.name().value()
    }

    pub fn name_span(&self) -> Span {
        span_of(self.node.name().span())
    }

    pub fn start(&self) -> usize {
        self.name_span().start
    }

    /// Where its last value ends (its name, if it has none).
    pub fn head_end(&self) -> usize {
        self.node.entries().iter().map(|e| span_of(e.span()).end).max().unwrap_or(0).max(self.name_span().end)
    }

    /// Where it ends, braces included; what sets it apart from the next one is not part of it.
    pub fn end(&self) -> usize {
        scan::end_of_node(self.text.as_bytes(), self.head_end())
    }

    pub fn children(&self) -> Vec<Found<'a>> {
        self.node.children().into_iter().flat_map(KdlDocument::nodes).map(|node| Found { node, text: self.text }).collect()
    }

    pub fn child(&self, name: &str) -> Option<Found<'a>> {
        self.children().into_iter().find(|c| c.name() == name)
    }

    fn args(&self) -> impl Iterator<Item = &'a KdlEntry> {
        self.node.entries().iter().filter(|e| e.name().is_none())
    }

    /// The value at `index` and its place.
    pub fn arg(&self, index: usize) -> Option<(&'a KdlValue, Span)> {
        self.args().nth(index).map(|e| (e.value(), span_of(e.span())))
    }

    pub fn arg_text(&self, index: usize) -> Option<&'a str> {
        self.arg(index).and_then(|(v, _)| v.as_string())
    }

    /// The property's value, its own place (with its name) and that of the value.
    pub fn prop(&self, key: &str) -> Option<(&'a KdlValue, Span, Span)> {
        let e = self.node.entries().iter().find(|e| e.name().is_some_and(|n| n.value() == key))?;
        let span = span_of(e.span());
        let bytes = self.text.as_bytes();
        // The name may be in quotes, and hold a = of its own.
        let mut i = scan::step(bytes, span.start);
        while i < span.end && bytes[i] != b'=' {
            i = scan::step(bytes, i);
        }
        i += 1;
        while i < span.end && bytes[i].is_ascii_whitespace() {
            i += 1;
        }
        Some((e.value(), span, Span { start: i.min(span.end), end: span.end }))
    }

    pub fn prop_text(&self, key: &str) -> Option<&'a str> {
        self.prop(key).and_then(|(v, _, _)| v.as_string())
    }

    pub fn prop_count(&self, key: &str) -> Option<usize> {
        self.prop(key).and_then(|(v, _, _)| v.as_integer()).and_then(|n| usize::try_from(n).ok())
    }

    /// How many bars it plays: 1 for a bar, more with `times`, none for what is no bar.
    pub fn plays(&self) -> usize {
        match self.name() {
            "bar" | "rest" => self.prop_count("times").unwrap_or(1),
            "repeat" => {
                let children: Vec<(Vec<usize>, usize)> = self.children().iter().map(|c| (c.endings(), c.plays())).collect();
                let times = self.prop_count("times").unwrap_or(1).min(200);
                (1..=times).map(|r| children.iter().filter(|(e, _)| e.is_empty() || e.contains(&r)).map(|(_, n)| n).sum::<usize>()).sum()
            }
            _ => 0,
        }
    }

    fn endings(&self) -> Vec<usize> {
        match self.prop("ending") {
            Some((KdlValue::Integer(n), _, _)) => usize::try_from(*n).into_iter().collect(),
            Some((KdlValue::String(s), _, _)) => s.split([',', ' ']).filter_map(|w| w.parse().ok()).collect(),
            _ => vec![],
        }
    }
}

/// The characters between the quotes of a text value, when they stand for themselves: no escape hides any.
pub(super) fn body(text: &str, value: Span) -> Option<Span> {
    let raw = text.get(value.start..value.end)?;
    let hashes = raw.len() - raw.trim_start_matches('#').len();
    let inner = raw.get(hashes..raw.len().checked_sub(hashes)?)?;
    let quotes = if inner.starts_with("\"\"\"") && inner.len() >= 6 { 3 } else { usize::from(inner.starts_with('"') && inner.len() >= 2) };
    if quotes == 0 && hashes > 0 {
        return None;
    }
    let span = Span { start: value.start + hashes + quotes, end: value.end.checked_sub(hashes + quotes)? };
    let plain = hashes > 0 || !text.get(span.start..span.end)?.contains('\\');
    plain.then_some(span)
}
