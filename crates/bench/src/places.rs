//! Places in a text as the browser counts them (UTF-16 units) and as Rust does (bytes).

/// UTF-16 units before a byte offset; past the end counts as the end.
pub fn to_units(text: &str, byte: usize) -> usize {
    let byte = floor(text, byte);
    let head = &text[..byte];
    if head.is_ascii() { byte } else { head.chars().map(char::len_utf16).sum() }
}

/// The byte offset of a UTF-16 offset. `None` past the end or inside a character.
pub fn to_bytes(text: &str, unit: usize) -> Option<usize> {
    if text.is_ascii() {
        return (unit <= text.len()).then_some(unit);
    }
    let mut units = 0;
    for (byte, c) in text.char_indices() {
        if units >= unit {
            return (units == unit).then_some(byte);
        }
        units += c.len_utf16();
    }
    (units == unit).then_some(text.len())
}

fn floor(text: &str, byte: usize) -> usize {
    let mut byte = byte.min(text.len());
    while !text.is_char_boundary(byte) {
        byte -= 1;
    }
    byte
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back() {
        let text = "a♭é𝄞z";
        for (byte, _) in text.char_indices().chain([(text.len(), ' ')]) {
            assert_eq!(to_bytes(text, to_units(text, byte)), Some(byte));
        }
        // Inside the pair that makes up the clef.
        assert_eq!(to_bytes(text, 4), None);
        assert_eq!(to_bytes(text, 7), None);
        assert_eq!(to_units(text, 99), 6);
    }
}
