//! A passage as pieces of the page: words over it, slots bar by bar, grips, tab line by line, the lock map. Only what changed is drawn anew.

use crate::slots::Slots;
use engrave::{BarName, Diagram, Frame, LockMapOptions, Setting, Show, SystemOptions, neck_diagram, svg};
use lesson::{Kind, Lesson, Passage};
use lock::{Signs, Worked};
use maud::{Markup, PreEscaped, html};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Width of the drawings, in points: on a desktop's page, and on a phone's.
const WIDE_PT: f64 = 640.0;
const NARROW_PT: f64 = 330.0;

/// A piece of a passage: its key within the passage, and its markup.
pub type Piece = (String, Arc<str>);

/// A passage's pieces in their order.
#[derive(Clone, Debug, PartialEq)]
pub struct ShownPassage {
    pub id: String,
    pub title: String,
    pub pieces: Vec<Piece>,
}

/// What the drawings depend on besides the lesson.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Look {
    pub narrow: bool,
    pub left_handed: bool,
}

/// Passages drawn before.
#[derive(Default)]
pub struct Drawn {
    kept: BTreeMap<String, Kept>,
    look: Look,
}

/// A passage drawn before: the text that it came from, its harmony, and what its pieces were made of.
struct Kept {
    key: String,
    shown: Arc<ShownPassage>,
    signs: Arc<Signs>,
    pieces: Pieces,
}

/// What is taken over piece by piece when a passage is drawn again.
#[derive(Default)]
struct Pieces {
    worked: Worked,
    slots: Slots,
    grips: Vec<(GripSeen, String)>,
    setting: Setting,
    lines: Vec<(Arc<Frame>, Arc<str>)>,
}

/// All that the drawing of a grip depends on but for the look.
#[derive(PartialEq)]
struct GripSeen {
    part: usize,
    part_name: String,
    letter: char,
    grip: neck::Grip,
    fingers: Vec<neck::Finger>,
    guess: bool,
    neck: neck::Instrument,
    name: Option<pitch::Symbol>,
    shape: Option<pitch::Symbol>,
    key: Option<pitch::Key>,
    style: pitch::Style,
}

impl Drawn {
    /// All passages of a lesson. What was drawn from the same text is not drawn again.
    pub fn passages(&mut self, text: &str, lesson: &Lesson, look: Look) -> Vec<Arc<ShownPassage>> {
        if look != self.look {
            self.kept.clear();
            self.look = look;
        }
        let mut kept = BTreeMap::new();
        let mut out = Vec::with_capacity(lesson.passages.len());
        for (i, passage) in lesson.passages.iter().enumerate() {
            let key = format!("{:?} {}", lesson.chord_names, source(text, lesson, i));
            let now = match self.kept.remove(&passage.id) {
                Some(k) if k.key == key => k,
                old => draw(key, text, passage, look, old),
            };
            out.push(now.shown.clone());
            kept.insert(passage.id.clone(), now);
        }
        self.kept = kept;
        out
    }

    /// The harmony of a passage that was drawn.
    pub fn signs(&self, passage: &str) -> Option<Arc<Signs>> {
        self.kept.get(passage).map(|k| k.signs.clone())
    }
}

/// A passage's own text, up to the next one.
pub fn source<'a>(text: &'a str, lesson: &Lesson, index: usize) -> &'a str {
    let start = lesson.passages[index].span.start;
    let end = lesson.passages.get(index + 1).map_or(text.len(), |p| p.span.start);
    text.get(start..end).unwrap_or(text)
}

fn draw(key: String, text: &str, passage: &Passage, look: Look, old: Option<Kept>) -> Kept {
    let mut own = old.map(|k| k.pieces).unwrap_or_default();
    let options = SystemOptions { width_pt: width_pt(look), ..SystemOptions::default() };
    let (frames, (signs, names)) = own.setting.systems_named(passage, &options, || {
        let signs = Signs::again(passage, &mut own.worked);
        let names = signs.bar_names(passage);
        let over = names.iter().map(|n| BarName { bar: n.bar, at: n.at, text: n.symbol.clone(), style: passage.chord_names }).collect();
        (over, (signs, names))
    });
    let mut pieces: Vec<Piece> = Vec::new();
    pieces.push(("head".into(), Arc::from(head(passage).into_string())));
    pieces.extend(own.slots.pieces(text, passage, &names));
    own.grips = grips(passage, &signs, look, own.grips);
    let drawings = html! { @for (seen, drawing) in &own.grips { figure { (PreEscaped(drawing)) figcaption { (seen.part_name) } } } };
    pieces.push(("grips".into(), Arc::from(drawings.into_string())));
    let mut before = std::mem::take(&mut own.lines).into_iter();
    for (k, frame) in frames.into_iter().enumerate() {
        // A line's drawing has its number in it.
        let markup = match before.next() {
            Some((old, markup)) if Arc::ptr_eq(&old, &frame) => markup,
            _ => Arc::from(drawing(&frame, &format!("{}-set{k}", passage.id)).into_string()),
        };
        pieces.push((format!("set-{k}"), markup.clone()));
        own.lines.push((frame, markup));
    }
    // Whether there is a lock map; it is drawn when a page looks at it.
    pieces.push(("fit".into(), Arc::from(if has_fit(passage) { "map" } else { "" })));
    Kept { key, shown: Arc::new(ShownPassage { id: passage.id.clone(), title: passage.title.clone(), pieces }), signs: Arc::new(signs), pieces: own }
}

/// A frame as SVG without the style attribute, which the page's policy does not let through: the style sheet says the same.
pub fn drawing(frame: &Frame, prefix: &str) -> Markup {
    let text = svg(frame, prefix);
    let bare = match text.split_once(" style=\"") {
        // The first one is the picture's own; text in it is escaped.
        Some((head, tail)) if !head.contains('>') => tail.split_once('"').map(|(_, rest)| format!("{head}{rest}")),
        _ => None,
    };
    PreEscaped(bare.unwrap_or(text))
}

fn head(passage: &Passage) -> Markup {
    let first = passage.bars.first();
    let mut facts: Vec<String> = Vec::new();
    if let Some(b) = first {
        facts.push(b.meter.to_string());
        facts.push(format!("{} a minute", b.tempo_bpm));
        if let Some(s) = b.swing {
            facts.push(format!("swing {} %", s.percent));
        }
    }
    if let Some(k) = passage.key {
        facts.push(format!("{} {}", k.tonic, k.mode.name()));
    }
    let bars = passage.bars.iter().filter(|b| b.number > 0).count();
    facts.push(format!("{bars} bar{}", if bars == 1 { "" } else { "s" }));
    html! {
        h2 id={ "title-" (passage.id) } { (passage.title) @if passage.guess { " ?" } }
        p.facts { (facts.join(" · ")) }
        @if !passage.record.is_empty() {
            p.facts.quotes { "In the record " @for (i, r) in passage.record.iter().enumerate() { @if i > 0 { ", " } "from " (clock(r.from_s)) " to " (clock(r.to_s)) } }
        }
        @for note in &passage.notes {
            p.note {
                @if let Some((bar, _)) = note.at { span.lead { "bar " (passage.bars.get(bar).map_or(0, |b| b.number)) @if let Some(part) = &note.part { ", " (part) } } " " }
                (note.text)
            }
        }
    }
}

/// Seconds as minutes and seconds.
fn clock(seconds: f64) -> String {
    let tenths = (seconds * 10.0).round() as u64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}

/// The grips of all parts as neck diagrams with their names. What looks as it did before is not drawn again.
fn grips(passage: &Passage, signs: &Signs, look: Look, mut old: Vec<(GripSeen, String)>) -> Vec<(GripSeen, String)> {
    let mut out = vec![];
    for (i, part) in passage.parts.iter().enumerate().filter(|(_, p)| p.easier_of.is_none()) {
        let Some(neck) = &part.neck else { continue };
        for ((name, shape), written) in signs.grip_signs(passage, i).into_iter().zip(&part.grips) {
            let seen = GripSeen {
                part: i,
                part_name: part.name.clone(),
                letter: written.letter,
                grip: written.grip.clone(),
                fingers: written.fingers.clone(),
                guess: written.guess,
                neck: neck.clone(),
                name,
                shape,
                key: passage.key,
                style: passage.chord_names,
            };
            let drawing = match old.iter().position(|(o, _)| *o == seen) {
                Some(at) => old.swap_remove(at).1,
                None => grip(passage, &seen, look),
            };
            out.push((seen, drawing));
        }
    }
    out
}

fn grip(passage: &Passage, g: &GripSeen, look: Look) -> String {
    let neck = &g.neck;
    let fingering = if g.fingers.is_empty() { neck::finger(&g.grip, neck, &neck::Hand::usual()).ok() } else { neck::fingers_given(&g.grip, &g.fingers, neck).ok() };
    let degrees = g.grip.midi(neck).into_iter().map(|m| m.and_then(|m| g.name.as_ref().and_then(|s| s.degree_of(m.class())))).collect();
    let (name, sounding) = match g.shape.clone() {
        Some(shape) => (Some(shape), g.name.clone()),
        None => (g.name.clone(), None),
    };
    let diagram = Diagram {
        show: Show::Degrees,
        left_handed: look.left_handed,
        name,
        sounding,
        style: g.style,
        label: Some(g.letter.to_string()),
        fingers: fingering.as_ref().map(|f| f.fingers.clone()).unwrap_or_default(),
        barres: fingering.map(|f| f.barres).unwrap_or_default(),
        degrees,
        key: g.key,
        guess: g.guess,
        ..Diagram::default()
    };
    drawing(&neck_diagram(&g.grip, neck, &diagram), &format!("{}-{}{}", passage.id, g.part, g.letter)).into_string()
}

fn has_fit(passage: &Passage) -> bool {
    passage.parts.iter().filter(|p| p.kind != Kind::Click && p.easier_of.is_none()).count() >= 2
}

/// How the parts fit, as a lock map; empty where there are not two of them.
pub fn fit(passage: &Passage, look: Look) -> Markup {
    if !has_fit(passage) {
        return html! {};
    }
    let map = lock::lock_map(passage, &lock::harmony(passage));
    let frame = engrave::lock_map(passage, &map, &LockMapOptions { width_pt: width_pt(look), ..LockMapOptions::default() });
    html! { (drawing(&frame, &format!("{}-fit", passage.id))) }
}

fn width_pt(look: Look) -> f64 {
    if look.narrow { NARROW_PT } else { WIDE_PT }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lesson_of(bar: &str) -> String {
        format!(
            "lesson \"t\" {{ passage \"p\" title=\"<b>P</b>\" {{ tempo 90; slots 4; key \"C minor\"
              part \"<i>chop\" instrument=\"guitar\" {{ grip \"a\" \"x x 8 8 8 x\" name=\"Cm7\"; bar \"{bar}\"; bar \"a - - -\" }}
              part \"floor\" instrument=\"bass\" {{ bar \"3:3 - . 3:3\"; rest }}
              note \"<script>alert(1)</script>\" at=\"1.1\" }}
              passage \"q\" {{ tempo 90; slots 4; part \"line\" instrument=\"guitar\" {{ bar \"5:3+3:5 . . .\" }} }} }}"
        )
    }

    fn all(text: &str, drawn: &mut Drawn) -> Vec<Arc<ShownPassage>> {
        let reading = lesson::read(text);
        assert!(reading.is_sound(), "{:?}", reading.problems);
        drawn.passages(text, &reading.lesson, Look::default())
    }

    #[test]
    fn words_are_words_and_styles_stay_out() {
        let shown = all(&lesson_of("a . x a"), &mut Drawn::default());
        let markup: String = shown.iter().flat_map(|p| &p.pieces).map(|(_, m)| m.to_string()).collect();
        assert!(markup.contains("&lt;b&gt;P&lt;/b&gt;") && markup.contains("&lt;i&gt;chop") && markup.contains("&lt;script&gt;"));
        assert!(!markup.contains("<script") && !markup.contains("<i>") && !markup.contains("<b>P") && !markup.contains(" style="));
        assert!(markup.contains("<svg") && markup.contains("5:3"));
    }

    #[test]
    fn only_what_changed_is_drawn_anew() {
        let mut drawn = Drawn::default();
        let before = all(&lesson_of("a . x a"), &mut drawn);
        let after = all(&lesson_of("a . x ."), &mut drawn);
        assert!(Arc::ptr_eq(&before[1], &after[1]));
        let differing: Vec<&str> = before[0].pieces.iter().zip(&after[0].pieces).filter(|(a, b)| a != b).map(|(a, _)| a.0.as_str()).collect();
        assert_eq!(differing, ["bar-0", "set-0"]);
        let lesson = lesson::read(&lesson_of("a . x a")).lesson;
        assert!(fit(&lesson.passages[0], Look::default()).into_string().starts_with("<svg") && fit(&lesson.passages[1], Look::default()).into_string().is_empty());
        assert_eq!((before[0].pieces.last().map(|p| &*p.1), before[1].pieces.last().map(|p| &*p.1)), (Some("map"), Some("")));
    }

    #[test]
    fn what_is_drawn_again_is_what_is_drawn_anew() {
        let demo = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo/ferry-road/lesson.kdl")).unwrap();
        let lesson = lesson::read(&demo).lesson;
        // Figures, silences and scratches inside stroke lines, drums' rows among them.
        let lines = lesson.passages.iter().flat_map(|p| &p.parts).flat_map(|part| part.bars.iter().flat_map(|b| if part.kind == Kind::Drums { lesson::drum_row(&demo, b, "kick") } else { Some(b.span) }));
        let places: Vec<usize> = lines.flat_map(|s| s.start..s.end).filter(|i| demo.as_bytes()[*i].is_ascii_digit() || b".x".contains(&demo.as_bytes()[*i])).collect();
        let (mut drawn, mut seed, mut text, mut again) = (Drawn::default(), 11u64, demo.clone(), 0);
        let mut dice = |below: usize| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 33) as usize % below
        };
        for step in 0..60 {
            let at = places[dice(places.len())];
            let with = match demo.as_bytes()[at] {
                b'.' => "x",
                b'x' => ".",
                _ => ["0", "2", "3", "4", "5", "7", "9"][dice(7)],
            };
            let mut changed = if step % 7 == 6 { demo.clone() } else { text.clone() };
            changed.replace_range(at..=at, with);
            let reading = lesson::read(&changed);
            if !reading.is_sound() {
                continue;
            }
            let kept: Vec<ShownPassage> = drawn.passages(&changed, &reading.lesson, Look::default()).iter().map(|p| (**p).clone()).collect();
            let anew: Vec<ShownPassage> = Drawn::default().passages(&changed, &reading.lesson, Look::default()).iter().map(|p| (**p).clone()).collect();
            assert_eq!(kept, anew, "step {step}");
            again += usize::from(changed != text);
            text = changed;
        }
        assert!(again > 15, "{again}");
    }
}
