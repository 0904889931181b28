//! The sounds of a passage at a tempo as a classic script: file names and base64, from ids and encoded bytes.

use super::input::{PagePassage, PageStep};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde::Serialize;
use std::collections::BTreeSet;

/// What a script hands over. Stems and heads stand in the order of [`PageStep::stems`].
#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Sounds<'a> {
    mime: &'a str,
    stems: Vec<String>,
    heads: Vec<String>,
    click: Option<String>,
    count_in: Option<String>,
}

/// A name for each passage that is safe in a file name, a link and an attribute: the id, everything but ASCII letters, digits and `-` made
/// `-`, and a number added where two would be alike on a disk that takes capitals for small letters.
pub(super) fn names(passages: &[PagePassage]) -> Vec<String> {
    let mut taken = BTreeSet::new();
    passages
        .iter()
        .map(|passage| {
            let safe = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
            let base: String = passage.id.chars().take(60).map(safe).collect();
            let base = if base.is_empty() { "passage".to_owned() } else { base };
            let mut name = base.clone();
            let mut count = 2;
            while !taken.insert(name.to_ascii_lowercase()) {
                name = format!("{base}-{count}");
                count += 1;
            }
            name
        })
        .collect()
}

/// `verse-at-75`. The word between keeps passage `a-2` at 60 apart from passage `a` with a number added.
pub(super) fn step_name(passage: &str, percent: f64) -> String {
    format!("{passage}-at-{percent}")
}

/// `audio/verse-at-75.js`.
pub(super) fn path(step_name: &str) -> String {
    format!("audio/{step_name}.js")
}

/// The script: one call with the name and the sounds.
pub(super) fn script(step_name: &str, mime: &str, step: &PageStep) -> String {
    let sounds = Sounds {
        mime,
        stems: step.stems.iter().map(|(_, bytes)| STANDARD.encode(bytes)).collect(),
        heads: step.heads.iter().map(|sound| STANDARD.encode(&sound.bytes)).collect(),
        click: step.click.as_ref().map(|sound| STANDARD.encode(&sound.bytes)),
        count_in: step.count_in.as_ref().map(|sound| STANDARD.encode(&sound.bytes)),
    };
    format!("partwright.sounds({}, {});\n", as_script(&step_name), as_script(&sounds))
}

/// A value as JSON that stands safely in a script file and in a data block of an HTML page: no `<`, `>` or `&`, and none of the two line
/// ends that JSON allows in a string and older scripts do not.
pub(super) fn as_script<T: Serialize>(value: &T) -> String {
    // Strings, numbers and lists only: writing them cannot fail.
    let json = serde_json::to_string(value).unwrap_or_else(|_| "null".to_owned());
    let mut safe = String::with_capacity(json.len());
    for c in json.chars() {
        match c {
            '<' | '>' | '&' | '\u{2028}' | '\u{2029}' => safe.push_str(&format!("\\u{:04x}", u32::from(c))),
            c => safe.push(c),
        }
    }
    safe
}
