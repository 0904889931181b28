//! XML elements as a tree, and the tree as text. Everything that comes from a lesson passes through here as data.

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};
use std::fmt::Display;

/// An element: its name, its attributes, and either text or children.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Element {
    name: &'static str,
    attributes: Vec<(&'static str, String)>,
    text: String,
    children: Vec<Element>,
}

/// An element without content.
pub(super) fn el(name: &'static str) -> Element {
    Element { name, attributes: vec![], text: String::new(), children: vec![] }
}

/// An element that holds text.
pub(super) fn leaf(name: &'static str, text: impl Display) -> Element {
    Element { text: text.to_string(), ..el(name) }
}

impl Element {
    pub(super) fn attr(mut self, name: &'static str, value: impl Display) -> Element {
        self.attributes.push((name, value.to_string()));
        self
    }

    pub(super) fn with(mut self, child: Element) -> Element {
        self.children.push(child);
        self
    }

    pub(super) fn with_all(mut self, children: impl IntoIterator<Item = Element>) -> Element {
        self.children.extend(children);
        self
    }

    pub(super) fn push(&mut self, child: Element) {
        self.children.push(child);
    }

    pub(super) fn push_all(&mut self, children: impl IntoIterator<Item = Element>) {
        self.children.extend(children);
    }

    /// Puts a child before the first one of that name, or at the end.
    pub(super) fn insert_before(&mut self, name: &str, child: Element) {
        let at = self.children.iter().position(|c| c.name == name).unwrap_or(self.children.len());
        self.children.insert(at, child);
    }

    pub(super) fn is_empty(&self) -> bool {
        self.children.is_empty() && self.text.is_empty()
    }
}

/// The document, indented by one space a level.
pub(super) fn document(root: &Element, doctype: &str) -> String {
    let mut writer = Writer::new_with_indent(Vec::new(), b' ', 1);
    let mut write = || -> std::io::Result<()> {
        writer.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
        writer.write_event(Event::DocType(BytesText::from_escaped(doctype)))?;
        write_element(&mut writer, root)
    };
    write().expect("writing to memory does not fail");
    let mut text = String::from_utf8(writer.into_inner()).expect("only text was written");
    text.push('\n');
    text
}

fn write_element(writer: &mut Writer<Vec<u8>>, element: &Element) -> std::io::Result<()> {
    let mut start = BytesStart::new(element.name);
    for (name, value) in &element.attributes {
        start.push_attribute((*name, allowed(value).as_str()));
    }
    if element.is_empty() {
        return writer.write_event(Event::Empty(start));
    }
    writer.write_event(Event::Start(start))?;
    if element.children.is_empty() {
        writer.write_event(Event::Text(BytesText::new(&allowed(&element.text))))?;
    }
    for child in &element.children {
        write_element(writer, child)?;
    }
    writer.write_event(Event::End(BytesEnd::new(element.name)))
}

/// XML 1.0 (section 2.2) has no place for most control characters, not even escaped: they become U+FFFD.
fn allowed(text: &str) -> String {
    let fits = |c: char| matches!(c, '\t' | '\n' | '\r' | ' '..='\u{D7FF}' | '\u{E000}'..='\u{FFFD}' | '\u{10000}'..);
    text.chars().map(|c| if fits(c) { c } else { '\u{FFFD}' }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_attributes_are_data() {
        let root = el("a").attr("k", "\"<&'>").with(leaf("b", "</b>&amp;<c/>\u{1}\u{FFFE}")).with(el("d"));
        let text = document(&root, "a");
        assert!(text.starts_with("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!DOCTYPE a>\n<a k=\"&quot;&lt;&amp;"), "{text}");
        assert!(text.contains("<b>&lt;/b&gt;&amp;amp;&lt;c/&gt;\u{FFFD}\u{FFFD}</b>\n"), "{text}");
        assert!(text.ends_with(" <d/>\n</a>\n"), "{text}");
    }
}
