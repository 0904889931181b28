//! Words of a text as the full-text index sees them: runs of letters and digits, in small letters, without their accents.
//!
//! The index itself folds by its own table; this one covers Latin letters. What is asked goes through both, so only the scan that tests compare
//! with, and the telling alike of requests, rest on this table.

/// The words of a text.
///
/// ```
/// assert_eq!(shelf::tokens("Hammer-on, père 12"), ["hammer", "on", "pere", "12"]);
/// ```
pub fn tokens(text: &str) -> Vec<String> {
    // Marks that stand after their letter belong to the word.
    let text: String = text.chars().filter(|c| !('\u{300}'..='\u{36f}').contains(c)).collect();
    text.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).map(|w| w.chars().flat_map(char::to_lowercase).map(plain).collect()).collect()
}

fn plain(c: char) -> char {
    match c {
        'à'..='å' | 'ā' | 'ă' | 'ą' => 'a',
        'ç' | 'ć' | 'č' => 'c',
        'ď' => 'd',
        'è'..='ë' | 'ē' | 'ę' | 'ě' => 'e',
        'ì'..='ï' | 'ī' | 'į' => 'i',
        'ñ' | 'ń' | 'ň' => 'n',
        'ò'..='ö' | 'ō' | 'ő' => 'o',
        'ŕ' | 'ř' => 'r',
        'ś' | 'š' | 'ş' => 's',
        'ť' | 'ţ' => 't',
        'ù'..='ü' | 'ū' | 'ů' | 'ű' => 'u',
        'ý' | 'ÿ' => 'y',
        'ź' | 'ż' | 'ž' => 'z',
        c => c,
    }
}
