//! What lies under the cursor: the grip on the neck, its ranked names with reasons, the other places of the same notes.

use crate::lines;
use crate::places::to_units;
use lesson::{Beats, Event, Lesson, Part, Passage};
use lock::Signs;
use maud::html;
use neck::{Grip, Hand, Place, PlaceOptions, Wanted};
use pitch::{Midi, Symbol};
use serde_json::{Value, json};

/// A slot of a part: bar as played (0 is a pickup), slot from 1.
#[derive(Clone, Debug, PartialEq, Eq, serde::Deserialize, serde::Serialize)]
pub struct At {
    pub passage: String,
    pub part: String,
    pub bar: u32,
    pub slot: u32,
}

/// A slot found in the lesson.
pub struct Under<'a> {
    pub passage: &'a Passage,
    pub part: &'a Part,
    /// Index of the bar.
    pub index: usize,
    /// From the bar's start.
    pub at: Beats,
    /// What is struck there, or rings on.
    pub event: Option<&'a Event>,
}

/// Finds a slot; `None` where the lesson has no such passage, part or bar.
pub fn under<'a>(lesson: &'a Lesson, at: &At) -> Option<Under<'a>> {
    let passage = lesson.passages.iter().find(|p| p.id == at.passage)?;
    let part = passage.parts.iter().find(|p| p.name == at.part)?;
    let index = passage.bars.iter().position(|b| b.number == at.bar)?;
    let (bar, own) = (&passage.bars[index], part.bars.get(index)?);
    let time = bar.length * Beats::new(i64::from(at.slot.saturating_sub(1)), i64::from(own.slots.max(1)));
    let event = own.events.iter().rev().find(|e| e.at <= time && time < e.at + e.len);
    Some(Under { passage, part, index, at: time, event })
}

/// The notes of an event as a grip; `None` where it has no place on a neck.
pub fn grip_of(part: &Part, event: &Event) -> Option<Grip> {
    let strings = part.neck.as_ref()?.strings();
    let mut frets = vec![None; strings];
    for note in event.notes.iter().filter(|n| !n.dead) {
        let (string, fret) = note.place()?;
        *frets.get_mut(strings.checked_sub(usize::from(string))?)? = Some(fret);
    }
    frets.iter().any(Option::is_some).then_some(Grip { frets })
}

/// Other places of the same pitches, easiest first, at most eight.
pub fn elsewhere(grip: &Grip, part: &Part) -> Vec<Place> {
    let Some(neck) = &part.neck else { return vec![] };
    let pitches: Vec<Midi> = grip.midi(neck).into_iter().flatten().collect();
    let places = neck::place(&Wanted::Pitches(pitches), neck, &Hand::usual(), &PlaceOptions { max_results: 9, ..PlaceOptions::default() });
    places.into_iter().filter(|p| p.grip != *grip).take(8).collect()
}

/// Everything about a slot, for the page: `neck` for the drawing, `html` for the words. `signs` are the passage's, where they are known already.
pub fn hand(text: &str, lesson: &Lesson, signs: Option<&Signs>, at: &At) -> Value {
    let Some(u) = under(lesson, at) else { return json!({ "at": at, "neck": null, "html": "" }) };
    let grip = u.event.filter(|e| !e.scratch).and_then(|e| grip_of(u.part, e));
    let bar = u.part.bars.get(u.index);
    let token = bar.and_then(|b| lines::written(text, b)).map(lines::cells).unwrap_or_default();
    let token = token.iter().rev().find(|c| c.slot <= at.slot).map(|c| c.token.clone()).unwrap_or_default();
    // Where the bar stands in the text, for the text pane.
    let place = bar.map(|b| [to_units(text, b.span.start), to_units(text, b.span.end)]);
    let neck = u.part.neck.as_ref();
    let notes: Vec<Midi> = match (&grip, u.event) {
        (Some(g), _) => neck.map(|n| g.midi(n).into_iter().flatten().collect()).unwrap_or_default(),
        (None, Some(e)) if !e.scratch && u.part.kind == lesson::Kind::Other => e.notes.iter().map(|n| n.midi).collect(),
        _ => vec![],
    };
    let own = signs.is_none().then(|| Signs::of(u.passage));
    let signs = signs.or(own.as_ref());
    let naming = signs.filter(|_| !notes.is_empty()).map(|s| s.name_notes(u.passage, &notes, Some((u.index, u.at))));
    let pinned = pinned(&u);
    // One note has no name of its own: it is a degree of what all play there.
    let over = || {
        let bar = &u.passage.bars[u.index];
        let beat = (u.at / bar.meter.beat()).floor().to_integer() + 1;
        signs?.harmony().into_iter().find(|h| h.bar == u.index && i64::from(h.beat) == beat).and_then(|h| h.symbol)
    };
    let single = notes.len() == 1;
    let best: Option<Symbol> = pinned.clone().or(naming.as_ref().filter(|_| !single).and_then(|n| n.names.first()).map(|n| n.symbol.clone())).or_else(|| (!notes.is_empty()).then(over).flatten());
    let style = u.passage.chord_names;
    let drawn = neck.map(|neck| {
        let marks: Vec<Value> = grip
            .iter()
            .flat_map(|g| g.sounding())
            .filter_map(|(string, fret)| {
                let degree = best.as_ref().zip(neck.sounds(string, fret)).and_then(|(s, m)| s.degree_of(m.class()));
                Some(json!({ "string": string, "fret": fret, "text": degree.map(|d| d.to_string()).unwrap_or_default(), "root": degree == Some(pitch::Degree::ROOT) }))
            })
            .collect();
        let open: Vec<String> = neck.tuning.open.iter().map(|m| u.passage.key.unwrap_or(pitch::Key::PLAIN).spell(*m).name.to_string()).collect();
        json!({ "strings": neck.strings(), "frets": neck.top_fret(), "capo": neck.capo, "open": open, "marks": marks })
    });
    let places = grip.as_ref().map(|g| elsewhere(g, u.part)).unwrap_or_default();
    let parents = grip.as_ref().zip(neck).map(|(g, n)| neck::parents(g, n)).unwrap_or_default();
    let markup = html! {
        div.naming {
        p.where { b { (u.part.name) } ", bar " (at.bar) ", slot " (at.slot) @if !token.is_empty() { " " code { (token) } } }
        @if let Some(g) = &grip {
            p.frets { (g.to_string()) @if let Some(p) = parents.first() { span.form { ", of the " (p.form) @if p.base_fret > 0 { " at fret " (p.base_fret) } } } }
        } @else if notes.is_empty() {
            p.quiet { @if u.event.is_some_and(|e| e.scratch) { "A scratch: no pitch is meant." } @else { "Nothing sounds here." } }
        }
        @if let Some(naming) = &naming {
            @if single {
                @let note = u.passage.key.unwrap_or(pitch::Key::PLAIN).spell(notes[0]);
                p { b { (note) } @if let Some(s) = &best { @if let Some(d) = s.degree_of(notes[0].class()) { ", " (d) " of " b { (s.text(style)) } } @else { ", no note of " b { (s.text(style)) } } } }
            } @else if naming.names.is_empty() { p.quiet { (naming.no_name.clone().unwrap_or_else(|| "No name.".into())) } }
            @else {
                ol.names {
                    @for name in naming.names.iter().take(4) {
                        @let text = name.symbol.to_string();
                        @let on = pinned.as_ref() == Some(&name.symbol);
                        li {
                            button type="button" data-pin=(text) aria-pressed=(if on { "true" } else { "false" }) { (name.symbol.text(style)) }
                            " " span.degrees { @for (i, d) in name.degrees.iter().enumerate() { @if i > 0 { " " } (d) } }
                            @if !name.why.is_empty() { span.why { " " (sentences(&name.why)) } }
                        }
                    }
                }
                @if let Some(p) = &pinned { p.quiet { "Fixed in the text: " b { (p.text(style)) } } }
            }
        }
        }
        @if !places.is_empty() { div.elsewhere {
            h3 { "The same notes elsewhere" }
            ul.places {
                @for p in &places {
                    li { button type="button" data-move=(p.grip.to_string()) { code { (p.grip.to_string()) } " " span.reach { (p.fingering.span_mm.round()) " mm" } } }
                }
            }
        } }
    };
    json!({ "at": at, "neck": drawn, "html": markup.into_string(), "text": place })
}

/// Reasons as sentences.
fn sentences(why: &[String]) -> String {
    let one = |w: &String| {
        let mut c = w.chars();
        c.next().map_or(String::new(), |f| format!("{}{}.", f.to_uppercase(), c.as_str()))
    };
    why.iter().map(one).collect::<Vec<_>>().join(" ")
}

/// The name that the teacher fixed for what is under the cursor.
fn pinned(u: &Under) -> Option<Symbol> {
    let here = u.part.name_pins.iter().filter(|p| (p.bar, p.at) <= (u.index, u.at)).max_by_key(|p| (p.bar, p.at)).filter(|p| u.event.is_some_and(|e| p.bar == u.index && p.at == e.at));
    let grip = || u.event.and_then(|e| e.grip).and_then(|l| u.part.grips.iter().find(|g| g.letter == l)).and_then(|g| g.name.clone());
    here.map(|p| p.symbol.clone()).or_else(grip)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LESSON: &str = "lesson \"t\" { passage \"p\" { tempo 90; slots 4; key \"C minor\"
        part \"chop\" instrument=\"guitar\" { grip \"a\" \"x x 8 8 8 x\"; bar \"a - . x\" }
        part \"floor\" instrument=\"bass\" { bar \"3:3 - - -\" } } }";

    fn at(part: &str, bar: u32, slot: u32) -> Value {
        hand(LESSON, &lesson::read(LESSON).lesson, None, &At { passage: "p".into(), part: part.into(), bar, slot })
    }

    #[test]
    fn a_grip_is_named_with_its_bass_and_found_elsewhere() {
        let h = at("chop", 1, 2);
        let words = h["html"].as_str().unwrap();
        assert!(words.contains("data-pin=\"Cm7\""), "{words}");
        assert!(words.contains("data-move=\"x 13 13 12 x x\"") || words.contains("data-move="), "{words}");
        // Eb G Bb over C: third, fifth, seventh.
        let texts: Vec<&str> = h["neck"]["marks"].as_array().unwrap().iter().map(|m| m["text"].as_str().unwrap()).collect();
        assert_eq!(texts, ["b7", "b3", "5"]);
    }

    #[test]
    fn scratches_silence_and_what_is_not_there() {
        assert!(at("chop", 1, 4)["html"].as_str().unwrap().contains("scratch"));
        assert!(at("chop", 1, 3)["html"].as_str().unwrap().contains("Nothing sounds"));
        assert_eq!(at("none", 1, 1)["neck"], Value::Null);
        assert_eq!(at("chop", 9, 1)["neck"], Value::Null);
        assert_eq!(at("floor", 1, 1)["neck"]["marks"][0]["root"], true);
    }
}
