//! Names as JSON, written straight from the names: a batch has many of them.

use super::Answer;
use crate::failure::Failure;
use pitch::{Degree, Interval, Spelled, Spelling, Style, Symbol};
use serde::{Serialize, Serializer};
use std::fmt::Display;

/// Anything that is written as its text.
pub(super) struct Shown<T>(T);

impl<T: Display> Serialize for Shown<T> {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(&self.0)
    }
}

#[derive(Serialize)]
struct AnswerJson<'a> {
    #[serde(skip_serializing_if = "Option::is_none")]
    schema: Option<&'a str>,
    frets: &'a [Option<u8>],
    midi: Vec<Option<u8>>,
    names: Vec<NameJson<'a>>,
    no_name: &'a Option<String>,
    interval: Option<Shown<Interval>>,
    remarks: &'a [String],
}

#[derive(Serialize)]
pub(super) struct NameJson<'a> {
    symbol: Shown<&'a Symbol>,
    /// In the spelling that was asked for.
    printed: String,
    root: Shown<Spelling>,
    harte: &'a Option<String>,
    /// The same without what is left out (the root stays).
    harte_sounding: Option<String>,
    bass: Shown<Spelling>,
    rootless: bool,
    omitted: Vec<Shown<Degree>>,
    degrees: Vec<Option<Shown<Degree>>>,
    spelled: Vec<Option<Shown<Spelled>>>,
    also_written: Option<Shown<&'a Symbol>>,
    why: &'a [String],
    /// What the shape would be called without capo, or in standard tuning, where that is another name.
    shape: Option<Shown<Symbol>>,
}

/// One answer as JSON. Arrays over strings run low to high, null where a string is not played.
pub(super) fn answer_json(answer: &Answer, style: Style, schema: bool) -> Result<String, Failure> {
    let Answer { neck, grip, notes, naming } = answer;
    let played: Vec<bool> = grip.frets.iter().map(Option::is_some).collect();
    let value = AnswerJson {
        schema: schema.then_some("partwright/name/1"),
        frets: &grip.frets,
        midi: over_strings(&played, notes.iter().map(|m| m.0)),
        names: naming.names.iter().map(|n| NameJson::of(n, style, &played, lock::shape_of(&n.symbol, neck))).collect(),
        no_name: &naming.no_name,
        interval: naming.interval.map(Shown),
        remarks: &naming.remarks,
    };
    serde_json::to_string(&value).map_err(|e| Failure::NotPossible(format!("could not write the answer: {e}")))
}

impl NameJson<'_> {
    /// `played` says for each place of the answer whether one of the name's notes stands there.
    pub(super) fn of<'a>(n: &'a pitch::Name, style: Style, played: &[bool], shape: Option<Symbol>) -> NameJson<'a> {
        NameJson {
            symbol: Shown(&n.symbol),
            printed: n.symbol.text(style),
            root: Shown(n.symbol.root),
            harte: &n.harte,
            harte_sounding: n.symbol.harte_without(&n.omitted),
            bass: Shown(n.symbol.bass.unwrap_or(n.symbol.root)),
            rootless: n.rootless,
            omitted: n.omitted.iter().copied().map(Shown).collect(),
            degrees: over_strings(played, n.degrees.iter().copied().map(Shown)),
            spelled: over_strings(played, n.spelled.iter().copied().map(Shown)),
            also_written: n.also_written.as_ref().map(Shown),
            why: &n.why,
            shape: shape.map(Shown),
        }
    }
}

fn over_strings<T>(played: &[bool], mut values: impl Iterator<Item = T>) -> Vec<Option<T>> {
    played.iter().map(|p| if *p { values.next() } else { None }).collect()
}
