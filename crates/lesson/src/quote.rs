//! Text values as the lesson file writes them: in quotes, with everything escaped that may not stand there plainly (KDL 2.0.0, 3.11 and 3.14).

/// `text` in quotes, on one line whatever it holds.
///
/// ```
/// assert_eq!(lesson::quoted("say \"so\"\n"), r#""say \"so\"\n""#);
/// ```
pub fn quoted(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 2);
    out.push('"');
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\r' => out.push_str("\\r"),
            '\t' => out.push_str("\\t"),
            c if hidden(c) => out.push_str(&format!("\\u{{{:x}}}", u32::from(c))),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// Characters that KDL forbids plainly, ends a line at, or that no eye sees.
fn hidden(c: char) -> bool {
    c.is_control() || matches!(c, '\u{200e}' | '\u{200f}' | '\u{2028}' | '\u{2029}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

/// A number as short as it reads back exactly.
pub(crate) fn number(value: f64) -> String {
    if value == 0.0 { "0".into() } else { format!("{value}") }
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_character_comes_back() {
        let odd: String = (0u32..0x300).chain(0x2000..0x2070).chain([0xfeff, 0xfffd, 0x1d11e]).filter_map(char::from_u32).collect();
        for text in ["", "plain", "a \"quoted\" \\ word", "two\nlines\r\nand\ttabs", "/* no */ // comment { } ; #\"", odd.as_str()] {
            let lesson = format!("lesson {} {{ passage \"p\" {{ tempo 90; slots 1; part \"g\" instrument=\"guitar\" {{ bar \".\" }} }} }}", super::quoted(text));
            let r = crate::read(&lesson);
            assert_eq!(r.problems, vec![], "{lesson}");
            assert_eq!(r.lesson.title, text);
        }
    }
}
