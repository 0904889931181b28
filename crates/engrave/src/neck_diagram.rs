//! Neck diagrams: a grip on the strings as method books draw it, with fingers, degrees or note names as figures.
//!
//! Vertical lines are strings (low string left, mirrored for left-handed players), horizontal lines are frets, the thick line at the
//! top is the nut (or the capo). A diagram that starts further up names its first fret beside it.

use crate::chord_name::{accidental_signs, chord_name, chord_name_height};
use crate::fonts::{self, figure_size_min, ink_height};
use crate::frame::{Anchor, Bounds, Face, Frame, Ink, Item, Path, Step, Stroke};
use neck::{Barre, Finger, Grip, Instrument};
use pitch::{Degree, Key, Spelling, Style, Symbol};

/// What stands in the dots.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Show {
    #[default]
    Fingers,
    Degrees,
    /// Note names.
    Notes,
    Plain,
}

/// What a diagram shows besides the grip. Lists over strings run low string to high; shorter ones count as empty at the end.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Diagram {
    pub show: Show,
    pub left_handed: bool,
    /// The fuller grip that this one comes from (see [`neck::parents`]): its further places in grey.
    pub parent: Option<Grip>,
    /// What that grip is called, under the grid: "E form".
    pub parent_name: Option<String>,
    /// The name of the shape, over the diagram.
    pub name: Option<Symbol>,
    /// What it sounds, where that differs (capo, lowered tuning): in brackets under the name.
    pub sounding: Option<Symbol>,
    /// How both names are printed.
    pub style: Style,
    /// A letter or word before the name ("a").
    pub label: Option<String>,
    pub fingers: Vec<Option<Finger>>,
    pub barres: Vec<Barre>,
    /// Degrees over the root; a root is ringed whatever is shown.
    pub degrees: Vec<Option<Degree>>,
    /// Spells note names; C major where there is none.
    pub key: Option<Key>,
    /// The teacher doubts it: a question mark after the name.
    pub guess: bool,
    /// Least number of frets drawn; 4 at least.
    pub rows: u8,
}

const STRING_GAP: f64 = 15.0;
const FRET_GAP: f64 = 17.0;
const DOT: f64 = 12.6;
const RING: f64 = 1.5;
const NAME_SIZE: f64 = 13.0;

/// The grip as a diagram. Strings beyond the instrument's are not drawn; an instrument without strings gives an empty grid.
pub fn neck_diagram(grip: &Grip, instrument: &Instrument, diagram: &Diagram) -> Frame {
    let strings = instrument.strings().max(1);
    let window = choose_frets(grip, diagram);
    let layout = Layout { strings, left_handed: diagram.left_handed, window };
    let mut items = draw_grid(&layout, instrument);
    if let Some(parent) = &diagram.parent {
        items.extend(draw_parent(&layout, grip, parent));
    }
    for barre in &diagram.barres {
        items.extend(draw_barre(&layout, barre));
    }
    for i in 0..strings {
        items.extend(draw_string(&layout, grip, instrument, diagram, i));
    }
    items.extend(draw_position(&layout));
    items.extend(draw_heading(&layout, grip, instrument, diagram));
    if let (Some(name), Some(_)) = (&diagram.parent_name, &diagram.parent) {
        let size = figure_size_min(Face::Italic);
        let (up, _) = ink_height(Face::Italic, size, "E");
        let y = layout.height() + 5.0 + up;
        for (k, text) in fonts::wrap(Face::Italic, size, &format!("of the {name}"), f64::max(layout.width() + 2.0 * STRING_GAP, 90.0)).iter().enumerate() {
            items.extend(fonts::set(layout.width() / 2.0, y + k as f64 * size * 1.15, Anchor::Middle, Face::Italic, size, text, Ink::Black));
        }
    }
    finish(items, describe(grip, instrument, diagram))
}

/// First fret drawn (1 = from the nut) and how many.
#[derive(Clone, Copy, Debug)]
struct Window {
    first: u8,
    rows: u8,
}

fn choose_frets(grip: &Grip, diagram: &Diagram) -> Window {
    let rows = diagram.rows.clamp(4, 12);
    let parent = diagram.parent.iter().flat_map(|p| p.frets.iter());
    let fretted = || grip.frets.iter().chain(parent.clone()).flatten().copied().filter(|f| *f > 0);
    let (low, high) = (fretted().min().unwrap_or(1), fretted().max().unwrap_or(1));
    if high <= rows {
        Window { first: 1, rows }
    } else {
        Window { first: low, rows: rows.max(high - low + 1) }
    }
}

struct Layout {
    strings: usize,
    left_handed: bool,
    window: Window,
}

impl Layout {
    /// x of string index `i` (0 = lowest); the grid spans 0..=width.
    fn x(&self, i: usize) -> f64 {
        let i = if self.left_handed { self.strings - 1 - i } else { i };
        i as f64 * STRING_GAP
    }

    fn width(&self) -> f64 {
        (self.strings - 1) as f64 * STRING_GAP
    }

    /// y of the middle of a fret's field; the grid begins at 0.
    fn y(&self, fret: u8) -> f64 {
        (f64::from(fret) - f64::from(self.window.first) + 0.5) * FRET_GAP
    }

    fn height(&self) -> f64 {
        f64::from(self.window.rows) * FRET_GAP
    }

    /// Centre of the marks above the grid.
    fn above(&self) -> f64 {
        -10.0
    }
}

fn draw_grid(layout: &Layout, instrument: &Instrument) -> Vec<Item> {
    let (w, h) = (layout.width(), layout.height());
    let mut items = Vec::new();
    for row in 0..=layout.window.rows {
        let y = f64::from(row) * FRET_GAP;
        items.push(Item::line(-0.3, y, w + 0.3, y, 0.6, Ink::Black));
    }
    for i in 0..layout.strings {
        let x = layout.x(i);
        items.push(Item::line(x, 0.0, x, h, 0.6, Ink::Black));
    }
    if layout.window.first == 1 {
        if instrument.capo > 0 {
            // The capo: a rounded bar across all strings.
            items.push(Item::pill(-3.5, -2.9, w + 7.0, 3.6, Some(Ink::Black), None));
        } else {
            items.push(Item::rect(-0.3, -2.4, w + 0.6, 2.7, Ink::Black));
        }
    }
    items
}

fn draw_parent(layout: &Layout, grip: &Grip, parent: &Grip) -> Vec<Item> {
    let mut items = Vec::new();
    for (i, fret) in parent.frets.iter().enumerate().take(layout.strings) {
        let Some(fret) = *fret else { continue };
        if grip.frets.get(i).copied().flatten() == Some(fret) {
            continue;
        }
        let pen = Some(Stroke::plain(Ink::Grey, 1.0));
        let (d, y) = if fret == 0 { (6.4, layout.above()) } else { (DOT - 2.4, layout.y(fret)) };
        items.push(Item::pill(layout.x(i) - d / 2.0, y - d / 2.0, d, d, Some(Ink::Paper), pen));
    }
    items
}

fn draw_barre(layout: &Layout, barre: &Barre) -> Option<Item> {
    let n = layout.strings;
    let index = |string: u8| n.checked_sub(usize::from(string)).filter(|_| string >= 1);
    let (low, high) = (index(barre.from_string)?, index(barre.to_string)?);
    if barre.fret < layout.window.first || barre.fret >= layout.window.first + layout.window.rows {
        return None;
    }
    let (a, b) = (layout.x(low), layout.x(high));
    let (left, right) = (a.min(b), a.max(b));
    let height = DOT * 0.62;
    Some(Item::pill(left - height / 2.0, layout.y(barre.fret) - height / 2.0, right - left + height, height, Some(Ink::Black), None))
}

fn draw_string(layout: &Layout, grip: &Grip, instrument: &Instrument, diagram: &Diagram, i: usize) -> Vec<Item> {
    let x = layout.x(i);
    let Some(fret) = grip.frets.get(i).copied().flatten() else {
        if diagram.parent.as_ref().is_some_and(|p| p.frets.get(i).copied().flatten() == Some(0)) {
            return Vec::new();
        }
        let (r, y) = (2.7, layout.above());
        let path = Path {
            steps: vec![Step::Move(x - r, y - r), Step::Line(x + r, y + r), Step::Move(x - r, y + r), Step::Line(x + r, y - r)],
            fill: None,
            stroke: Some(Stroke::plain(Ink::Black, 0.9)),
        };
        return vec![Item::Path(path)];
    };
    let root = diagram.degrees.get(i).copied().flatten() == Some(Degree::ROOT);
    let figure = figure(layout, grip, instrument, diagram, i);
    let size = figure_size_min(Face::Bold);
    let open = fret == 0;
    let y = if open { layout.above() - if figure.is_some() { 1.5 } else { 0.0 } } else { layout.y(fret) };
    let text_width = figure.as_ref().map_or(0.0, |f| fonts::set_width(Face::Bold, size, f));
    let height = if open && figure.is_none() { 6.4 } else { DOT };
    let width = if figure.is_some() { height.max(text_width + 4.2) } else { height };
    let mut items = Vec::new();
    let circle = |grow: f64, fill, stroke| Item::pill(x - width / 2.0 - grow, y - height / 2.0 - grow, width + 2.0 * grow, height + 2.0 * grow, fill, stroke);
    if root {
        items.push(circle(RING + 0.4, None, Some(Stroke::plain(Ink::Black, 0.8))));
    }
    if open {
        items.push(circle(-0.45, None, Some(Stroke::plain(Ink::Black, 0.9))));
    } else {
        items.push(circle(0.0, Some(Ink::Black), None));
    }
    if let Some(figure) = figure {
        let (up, _) = ink_height(Face::Bold, size, "0");
        let ink = if open { Ink::Black } else { Ink::Paper };
        items.extend(fonts::set(x, y + up / 2.0, Anchor::Middle, Face::Bold, size, &figure, ink));
    }
    items
}

/// What stands in the dot of string index `i`; fingers of a barre stand once, on its lowest string.
fn figure(layout: &Layout, grip: &Grip, instrument: &Instrument, diagram: &Diagram, i: usize) -> Option<String> {
    match diagram.show {
        Show::Plain => None,
        Show::Fingers => {
            let finger = diagram.fingers.get(i).copied().flatten()?;
            let fret = grip.frets.get(i).copied().flatten()?;
            let string = (layout.strings - i) as u8;
            let under = diagram.barres.iter().find(|b| {
                b.finger == finger && b.fret == fret && (b.to_string..=b.from_string).contains(&string)
            });
            let first = under.is_none_or(|b| {
                let lowest = grip.sounding().find(|(s, f)| *f == b.fret && (b.to_string..=b.from_string).contains(s));
                lowest.is_none_or(|(s, _)| s == string)
            });
            first.then(|| finger.to_char().to_string())
        }
        Show::Degrees => diagram.degrees.get(i).copied().flatten().map(|d| accidental_signs(&d.to_string())),
        Show::Notes => note_name(grip, instrument, diagram, i).map(|n| accidental_signs(&n.to_string())),
    }
}

fn note_name(grip: &Grip, instrument: &Instrument, diagram: &Diagram, i: usize) -> Option<Spelling> {
    let midi = grip.midi(instrument).get(i).copied().flatten()?;
    Some(crate::spelling::spell(diagram.key, midi).name)
}

/// "8fr" beside the first row, on the side of the high string.
fn draw_position(layout: &Layout) -> Vec<Item> {
    if layout.window.first == 1 {
        return Vec::new();
    }
    let size = figure_size_min(Face::Italic);
    let y = layout.y(layout.window.first) + ink_height(Face::Italic, size, "0").0 / 2.0;
    let text = format!("{}fr", layout.window.first);
    let gap = DOT / 2.0 + RING + 2.0;
    if layout.left_handed {
        fonts::set(-gap, y, Anchor::End, Face::Italic, size, &text, Ink::Black)
    } else {
        fonts::set(layout.width() + gap, y, Anchor::Start, Face::Italic, size, &text, Ink::Black)
    }
}

fn draw_heading(layout: &Layout, grip: &Grip, instrument: &Instrument, diagram: &Diagram) -> Vec<Item> {
    let middle = layout.width() / 2.0;
    let small = figure_size_min(Face::Italic);
    let mut items = Vec::new();
    // Baselines upward from the marks over the grid.
    let figures_above = (0..layout.strings).any(|i| grip.frets.get(i) == Some(&Some(0)) && figure(layout, grip, instrument, diagram, i).is_some());
    let mut y = layout.above() - if figures_above { DOT / 2.0 + 7.0 } else { 8.5 };
    let mut note = String::new();
    if instrument.capo > 0 {
        note = format!("capo {}", instrument.capo);
    }
    if let Some(sounding) = &diagram.sounding {
        let mut words = fonts::set_width(Face::Italic, small, &note);
        let gap = if note.is_empty() { 0.0 } else { 4.0 };
        let lead = "sounds ";
        let lead_width = fonts::set_width(Face::Italic, small, lead);
        words += gap + lead_width + crate::chord_name::chord_name_width(sounding, diagram.style, small);
        let mut x = middle - words / 2.0;
        if !note.is_empty() {
            items.extend(fonts::set(x, y, Anchor::Start, Face::Italic, small, &note, Ink::Black));
            x += fonts::set_width(Face::Italic, small, &note) + gap;
        }
        items.extend(fonts::set(x, y, Anchor::Start, Face::Italic, small, lead, Ink::Black));
        items.extend(chord_name(x + lead_width, y, Anchor::Start, small, sounding, diagram.style, Ink::Black));
        y -= chord_name_height(sounding, diagram.style, small).0 + 4.0;
    } else if !note.is_empty() {
        items.extend(fonts::set(middle, y, Anchor::Middle, Face::Italic, small, &note, Ink::Black));
        y -= small * 0.7 + 4.0;
    }
    let name_width = diagram.name.as_ref().map_or(0.0, |n| crate::chord_name::chord_name_width(n, diagram.style, NAME_SIZE));
    let label = diagram.label.as_deref().unwrap_or("");
    let label_width = if label.is_empty() { 0.0 } else { fonts::set_width(Face::Italic, NAME_SIZE, label) + if name_width > 0.0 { 6.0 } else { 0.0 } };
    let doubt = if diagram.guess { "?" } else { "" };
    let doubt_gap = if diagram.guess { 3.0 } else { 0.0 };
    let doubt_width = doubt_gap + fonts::set_width(Face::Italic, NAME_SIZE, doubt);
    let mut x = middle - (label_width + name_width + doubt_width) / 2.0;
    if !label.is_empty() {
        items.extend(fonts::set(x, y, Anchor::Start, Face::Italic, NAME_SIZE, label, Ink::Black));
    }
    x += label_width;
    if let Some(name) = &diagram.name {
        items.extend(chord_name(x, y, Anchor::Start, NAME_SIZE, name, diagram.style, Ink::Black));
    }
    if diagram.guess {
        items.extend(fonts::set(x + name_width + doubt_gap, y, Anchor::Start, Face::Italic, NAME_SIZE, doubt, Ink::Black));
    }
    items
}

/// The picture in words.
fn describe(grip: &Grip, instrument: &Instrument, diagram: &Diagram) -> String {
    let mut alt = match (&diagram.name, &diagram.label) {
        (Some(name), Some(label)) => format!("Neck diagram of {name} (grip {label}): "),
        (Some(name), None) => format!("Neck diagram of {name}: "),
        (None, Some(label)) => format!("Neck diagram of grip {label}: "),
        (None, None) => "Neck diagram: ".into(),
    };
    let n = instrument.strings();
    let mut said = Vec::new();
    for i in 0..n {
        let string = n - i;
        said.push(match grip.frets.get(i).copied().flatten() {
            None => format!("string {string} not played"),
            Some(fret) => {
                let mut s = if fret == 0 { format!("string {string} open") } else { format!("string {string} fret {fret}") };
                if let Some(f) = diagram.fingers.get(i).copied().flatten().filter(|_| diagram.show == Show::Fingers) {
                    s += &format!(" finger {}", f.to_char());
                }
                if let Some(d) = diagram.degrees.get(i).copied().flatten() {
                    s += &if d == Degree::ROOT { " (root)".to_string() } else { format!(" ({d})") };
                }
                s
            }
        });
    }
    alt += &said.join(", ");
    for b in &diagram.barres {
        alt += &format!("; barre at fret {} over strings {} to {}", b.fret, b.from_string, b.to_string);
    }
    if instrument.capo > 0 {
        alt += &format!("; capo at fret {}, frets counted from it", instrument.capo);
    }
    if let Some(parent) = &diagram.parent {
        alt += &match &diagram.parent_name {
            Some(name) => format!("; part of the {name}, {parent}, whose other places are shown in grey"),
            None => format!("; part of the grip {parent}, whose other places are shown in grey"),
        };
    }
    if diagram.guess {
        alt += "; doubted";
    }
    alt + "."
}

/// Moves everything into a frame just large enough.
fn finish(items: Vec<Item>, alt: String) -> Frame {
    let b = Bounds::of(&items).unwrap_or(Bounds { left: 0.0, top: 0.0, right: 0.0, bottom: 0.0 });
    let pad = 1.0;
    let items = items.into_iter().map(|i| i.placed(1.0, pad - b.left, pad - b.top)).collect();
    Frame { width_pt: b.right - b.left + 2.0 * pad, height_pt: b.bottom - b.top + 2.0 * pad, items, alt }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fonts::FIGURE_MIN_PT;
    use neck::{Hand, Tuning, finger};
    use proptest::prelude::*;

    fn instruments() -> Vec<Instrument> {
        let mut out = vec![];
        for n in 6..=8 {
            out.push(Instrument { tuning: Tuning::guitar("standard", n).unwrap(), ..Instrument::guitar() });
        }
        for n in 4..=6 {
            out.push(Instrument { tuning: Tuning::bass("standard", n).unwrap(), ..Instrument::bass() });
        }
        out.push(Instrument { capo: 3, ..Instrument::guitar() });
        out
    }

    fn case() -> impl Strategy<Value = (Grip, Instrument, Diagram)> {
        let frets = proptest::collection::vec(proptest::option::weighted(0.8, 0u8..5), 8);
        (frets, 0u8..12, 0usize..7, 0usize..4, any::<bool>()).prop_map(|(frets, up, which, show, named)| {
            let instrument = instruments().swap_remove(which);
            let n = instrument.strings();
            let frets: Vec<Option<u8>> = frets.into_iter().take(n).map(|f| f.map(|f| if f == 0 { 0 } else { f + up })).collect();
            let grip = Grip { frets };
            let hand = finger(&grip, &instrument, &Hand::usual()).ok();
            let parent = neck::parents(&grip, &instrument).into_iter().next();
            let diagram = Diagram {
                parent_name: parent.as_ref().map(|p| p.form.to_string()),
                parent: parent.map(|p| p.grip),
                show: [Show::Fingers, Show::Degrees, Show::Notes, Show::Plain][show],
                name: named.then(|| Symbol::parse("Bbm7").unwrap()),
                fingers: hand.as_ref().map(|h| h.fingers.clone()).unwrap_or_default(),
                barres: hand.map(|h| h.barres).unwrap_or_default(),
                degrees: ["R", "b3", "5", "b7", "9", "#11", "13", "R"].map(Degree::parse)[..n].to_vec(),
                ..Diagram::default()
            };
            (grip, instrument, diagram)
        })
    }

    /// What matters of an item for a mirror: text with its centre, or a path's points in an order that does not depend on side.
    fn essence(frame: &Frame, mirror: bool) -> Vec<String> {
        let flip = |x: f64| if mirror { frame.width_pt - x } else { x };
        let mut out = Vec::new();
        for item in frame.leaves() {
            match item {
                // A sign and its figure stand in reading order on either hand; whatever is set in one piece is mirrored by its middle.
                Item::Text(t) if t.size_pt < NAME_SIZE * 0.8 => {
                    let (a, b) = fonts::extent(t);
                    let middle = if t.anchor == Anchor::Middle || t.face == Face::Italic { format!("{:.3}", flip((a + b) / 2.0) + 1e-6) } else { String::new() };
                    out.push(format!("{} {middle} {:.6}", t.text, t.y_pt));
                }
                Item::Path(p) => {
                    let mut points: Vec<String> =
                        p.steps.iter().flat_map(|s| s.points()).map(|(x, y)| format!("{:.3} {y:.3}", flip(x) + 1e-6)).collect();
                    points.sort();
                    points.dedup();
                    out.push(points.join(", "));
                }
                _ => {}
            }
        }
        out.sort();
        out
    }

    proptest! {
        #[test]
        fn left_handed_mirrors_exactly((grip, instrument, diagram) in case()) {
            // The name is not mirrored; without it the frames must be mirror images.
            let diagram = Diagram { name: None, ..diagram };
            let right = neck_diagram(&grip, &instrument, &diagram);
            let left = neck_diagram(&grip, &instrument, &Diagram { left_handed: true, ..diagram });
            prop_assert!((right.width_pt - left.width_pt).abs() < 1e-9);
            prop_assert_eq!(essence(&right, true), essence(&left, false));
        }

        #[test]
        fn everything_is_drawn_inside_and_large_enough((grip, instrument, diagram) in case()) {
            let frame = neck_diagram(&grip, &instrument, &diagram);
            for item in frame.leaves() {
                let b = item.bounds().unwrap();
                prop_assert!(b.left >= 0.0 && b.top >= 0.0 && b.right <= frame.width_pt && b.bottom <= frame.height_pt, "{item:?}");
                if let Item::Text(t) = item {
                    prop_assert!(t.text.chars().all(|c| fonts::covers(t.face, c)));
                    for c in t.text.chars().filter(char::is_ascii_digit) {
                        prop_assert!(ink_height(t.face, t.size_pt, &c.to_string()).0 >= FIGURE_MIN_PT);
                    }
                }
            }
            // One dot a sounding string: black discs for fretted ones, rings for open ones; one cross a silent one.
            let fretted = grip.frets.iter().flatten().filter(|f| **f > 0).count();
            let discs = frame.leaves().iter().filter(|i| matches!(i, Item::Path(p) if p.fill == Some(Ink::Black) && p.steps.len() == 10)).count();
            let capo = usize::from(instrument.capo > 0 && choose_frets(&grip, &diagram).first == 1);
            prop_assert_eq!(discs, fretted + diagram.barres.len() + capo);
            // Every place of the parent that the grip leaves out is a grey ring, on the string of its own.
            let rings = frame.leaves().iter().filter(|i| matches!(i, Item::Path(p) if p.stroke.is_some_and(|s| s.ink == Ink::Grey) && p.steps.len() == 10)).count();
            let left_out = |i: usize| diagram.parent.as_ref().and_then(|p| p.frets[i]).filter(|f| grip.frets[i] != Some(*f));
            prop_assert_eq!(rings, (0..grip.frets.len()).filter(|i| left_out(*i).is_some()).count());
            prop_assert_eq!(frame.alt.contains("in grey"), diagram.parent.is_some());
            let silent = grip.frets.iter().enumerate().filter(|(i, f)| f.is_none() && left_out(*i) != Some(0)).count();
            let crosses = frame.leaves().iter().filter(|i| matches!(i, Item::Path(p) if p.steps.len() == 4 && p.fill.is_none())).count();
            prop_assert_eq!(crosses, silent);
            if diagram.show == Show::Degrees {
                let figures: String = frame.leaves().iter().filter_map(|i| match i { Item::Text(t) if t.size_pt < 13.0 => Some(t.text.as_str()), _ => None }).collect();
                for (fret, degree) in grip.frets.iter().zip(&diagram.degrees) {
                    if let (Some(_), Some(d)) = (fret, degree) {
                        prop_assert!(figures.contains(&accidental_signs(&d.to_string())), "{d} in {figures}");
                    }
                }
            }
        }
    }

    #[test]
    fn position_barre_and_words() {
        let guitar = Instrument::guitar();
        let grip = Grip::parse("x 10 12 10 11 10").unwrap();
        let hand = finger(&grip, &guitar, &Hand::usual()).unwrap();
        let diagram = Diagram {
            name: Symbol::parse("Gm7").ok(),
            fingers: hand.fingers,
            barres: hand.barres,
            degrees: "x R 5 b7 b3 5".split(' ').map(Degree::parse).collect(),
            ..Diagram::default()
        };
        let frame = neck_diagram(&grip, &guitar, &diagram);
        let words: Vec<_> = frame.leaves().into_iter().filter_map(|i| if let Item::Text(t) = i { Some(t.text.clone()) } else { None }).collect();
        // The index finger's figure stands once although it holds three strings.
        assert_eq!(words, ["1", "3", "2", "10fr", "G", "m", "7"]);
        insta::assert_snapshot!(frame.alt, @"Neck diagram of Gm7: string 6 not played, string 5 fret 10 finger 1 (root), string 4 fret 12 finger 3 (5), string 3 fret 10 finger 1 (b7), string 2 fret 11 finger 2 (b3), string 1 fret 10 finger 1 (5); barre at fret 10 over strings 5 to 1.");
    }

    #[test]
    fn a_fragment_in_its_parent() {
        let guitar = Instrument::guitar();
        let grip = Grip::parse("x x x 9 8 8").unwrap();
        let parent = neck::parents(&grip, &guitar).into_iter().find(|p| p.form == "E form").unwrap();
        let diagram = Diagram { parent_name: Some(parent.form.into()), parent: Some(parent.grip.clone()), ..Diagram::default() };
        let frame = neck_diagram(&grip, &guitar, &diagram);
        assert!(frame.alt.contains(&format!("part of the {}, {}", parent.form, parent.grip)), "{}", frame.alt);
        let words: Vec<_> = frame.leaves().into_iter().filter_map(|i| if let Item::Text(t) = i { Some(t.text.clone()) } else { None }).collect();
        assert!(words.contains(&format!("of the {}", parent.form)), "{words:?}");
        let plain = neck_diagram(&grip, &guitar, &Diagram::default());
        assert!(frame.leaves().len() > plain.leaves().len() + parent.left_out.len() - 1);
    }

    #[test]
    fn a_shape_near_the_nut_starts_at_the_nut() {
        for (frets, first, rows) in [("x 3 2 0 1 0", 1, 4), ("x x 4 4 4 4", 1, 4), ("x x x 5 5 5", 5, 4), ("x x 1 x x 6", 1, 6), ("x x x x x x", 1, 4)] {
            let w = choose_frets(&Grip::parse(frets).unwrap(), &Diagram::default());
            assert_eq!((w.first, w.rows), (first, rows), "{frets}");
        }
    }
}
