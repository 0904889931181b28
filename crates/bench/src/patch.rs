//! What differs between two markups, as few elements as say it: a page takes over these and leaves the rest of what it shows untouched.
//!
//! # Method
//! Both are read as trees of elements. Where two elements open alike, their children are compared from both ends; what is left between is compared one by one where it is as many on
//! both sides, else replaced together. An element that holds text is never looked into. This is not the least difference (which K. Zhang and D. Shasha, "Simple fast algorithms for
//! the editing distance between trees", SIAM J. Comput. 18(6), 1989, find in more than quadratic time), but one found by reading each markup once.

/// A patch: of the element that `path` leads to (child by child, elements alone counted; the piece itself where it is empty), `count` children from `from` on give way to `markup`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Patch<'a> {
    pub path: Vec<u32>,
    pub from: u32,
    pub count: u32,
    pub markup: &'a str,
}

/// How deep elements are looked into; what lies deeper is replaced with what holds it.
const DEEP: usize = 24;

struct Node<'a> {
    /// All of it, and its opening tag.
    whole: &'a str,
    open: &'a str,
    children: Vec<Node<'a>>,
    /// It holds text besides elements, or is too deep to be looked into.
    closed: bool,
}

/// The patches that turn `old` into `new`; none for equal ones. `None` where one of them is no markup of whole elements, or their outermost elements have text between them.
pub fn patches<'a>(old: &str, new: &'a str) -> Option<Vec<Patch<'a>>> {
    let mut out = vec![];
    if old != new {
        let (a, b) = (read(old)?, read(new)?);
        compare(&a, &b, new, &mut vec![], &mut out);
    }
    Some(out)
}

fn compare<'b>(a: &[Node], b: &[Node<'b>], inside: &'b str, path: &mut Vec<u32>, out: &mut Vec<Patch<'b>>) {
    let least = a.len().min(b.len());
    let same = a.iter().zip(b).take_while(|(a, b)| a.whole == b.whole).count();
    let after = a.iter().rev().zip(b.iter().rev()).take(least - same).take_while(|(a, b)| a.whole == b.whole).count();
    let (a, rest) = (&a[same..a.len() - after], &b[same..b.len() - after]);
    if a.len() == rest.len() {
        for (i, (a, b)) in a.iter().zip(rest).enumerate().filter(|(_, (a, b))| a.whole != b.whole) {
            let place = (same + i) as u32;
            if a.open == b.open && !a.closed && !b.closed {
                path.push(place);
                compare(&a.children, &b.children, b.whole, path, out);
                path.pop();
            } else {
                out.push(Patch { path: path.clone(), from: place, count: 1, markup: b.whole });
            }
        }
    } else {
        let markup = match (rest.first(), rest.last()) {
            (Some(first), Some(last)) => between(inside, first.whole, last.whole),
            _ => "",
        };
        out.push(Patch { path: path.clone(), from: same as u32, count: a.len() as u32, markup });
    }
}

/// From the beginning of one part of a text to the end of another.
fn between<'a>(text: &'a str, first: &str, last: &str) -> &'a str {
    let start = first.as_ptr() as usize - text.as_ptr() as usize;
    let end = last.as_ptr() as usize + last.len() - text.as_ptr() as usize;
    text.get(start..end).unwrap_or("")
}

fn read(text: &str) -> Option<Vec<Node<'_>>> {
    let mut at = 0;
    let (nodes, plain) = children(text, &mut at, 0)?;
    (at == text.len() && !plain).then_some(nodes)
}

/// Elements up to a closing tag or the end; whether there is text between them.
fn children<'a>(text: &'a str, at: &mut usize, deep: usize) -> Option<(Vec<Node<'a>>, bool)> {
    let mut nodes = vec![];
    let mut plain = false;
    while *at < text.len() {
        if !text[*at..].starts_with('<') {
            plain = true;
            *at = text[*at..].find('<').map_or(text.len(), |i| *at + i);
        } else if text[*at..].starts_with("</") {
            break;
        } else {
            nodes.push(element(text, at, deep)?);
        }
    }
    Some((nodes, plain))
}

fn element<'a>(text: &'a str, at: &mut usize, deep: usize) -> Option<Node<'a>> {
    let start = *at;
    // Values are quoted, and no quoted value here holds a sign that ends a tag.
    let end = start + text[start..].find('>')? + 1;
    let open = &text[start..end];
    let name = open[1..].split([' ', '>', '/']).next().filter(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_alphanumeric()))?;
    *at = end;
    // HTML, "Void elements".
    let void = open.ends_with("/>") || matches!(name, "area" | "base" | "br" | "col" | "embed" | "hr" | "img" | "input" | "link" | "meta" | "source" | "track" | "wbr");
    if void {
        return Some(Node { whole: open, open, children: vec![], closed: false });
    }
    if deep > 4 * DEEP {
        return None;
    }
    let (nodes, plain) = children(text, at, deep + 1)?;
    let close = format!("</{name}>");
    if !text[*at..].starts_with(&close) {
        return None;
    }
    *at += close.len();
    Some(Node { whole: &text[start..*at], open, children: nodes, closed: plain || deep > DEEP })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Markup with the patches in it, by a reading of its own.
    fn patched(old: &str, patches: &[Patch]) -> String {
        let mut text = old.to_string();
        for p in patches {
            let nodes = read(&text).unwrap();
            let mut list = &nodes;
            // Where children of the element stand: behind its opening tag, or at the beginning.
            let mut inner = 0;
            for i in &p.path {
                let node = &list[*i as usize];
                inner = node.whole.as_ptr() as usize - text.as_ptr() as usize + node.open.len();
                list = &node.children;
            }
            let of = |n: &Node| n.whole.as_ptr() as usize - text.as_ptr() as usize;
            let start = list.get(p.from as usize).map_or_else(|| list.last().map_or(inner, |n| of(n) + n.whole.len()), of);
            let end = if p.count == 0 { start } else { list.get((p.from + p.count) as usize - 1).map(|n| of(n) + n.whole.len()).unwrap() };
            let text_with = format!("{}{}{}", &text[..start], p.markup, &text[end..]);
            text = text_with;
        }
        text
    }

    fn tree(dice: &mut impl FnMut(u32) -> u32, deep: u32) -> String {
        let mut out = String::new();
        for _ in 0..dice(5) {
            let class = dice(2);
            match dice(4) {
                0 => out += &format!("<i class=\"{class}\">t{}<br>&lt;</i>", dice(3)),
                1 => out += &format!("<path d=\"{}\"/>", dice(3)),
                _ if deep < 4 => out += &format!("<g class=\"{class}\">{}</g>", tree(dice, deep + 1)),
                _ => out += "<b></b>",
            }
        }
        out
    }

    #[test]
    fn patches_lead_from_one_tree_to_another() {
        let mut seed = 7u32;
        let mut dice = move |n: u32| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 16) % n
        };
        let mut small = 0;
        for _ in 0..2_000 {
            let (a, b) = (tree(&mut dice, 0), tree(&mut dice, 0));
            let list = patches(&a, &b).unwrap();
            assert_eq!(patched(&a, &list), b, "{a} to {b}");
            small += usize::from(!b.is_empty() && list.iter().map(|p| p.markup.len()).sum::<usize>() < b.len());
        }
        // Trees that have nothing to do with each other share little; some do.
        assert!(small > 100, "{small}: a patch is always the whole");
    }

    #[test]
    fn one_slot_is_one_slot() {
        let old = "<div class=\"row\"><span data-slot=\"1\">a</span><span data-slot=\"2\">5:3<br>4:2</span></div><div class=\"row\"></div>";
        let new = old.replace("4:2", "4:3");
        assert_eq!(patches(old, &new), Some(vec![Patch { path: vec![0], from: 1, count: 1, markup: "<span data-slot=\"2\">5:3<br>4:3</span>" }]));
        assert_eq!(patches(old, old), Some(vec![]));
    }

    #[test]
    fn what_is_no_markup_is_not_compared() {
        for bad in ["words", "<g>", "</g>", "<g></h>", "<g", "<>", "a<g></g>", &"<g>".repeat(500)] {
            assert_eq!(patches(bad, "<g></g>"), None, "{bad}");
            assert_eq!(patches("<g></g>", bad), None, "{bad}");
        }
    }
}
