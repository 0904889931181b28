//! The neck diagrams of a passage's grips: fingers, degrees, names and parents put together from the crates below.

use engrave::{Diagram, Frame, Show, neck_diagram};
use lesson::{Beats, Passage};

/// What the diagrams show.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct DiagramWish {
    /// Degrees in the dots instead of fingers.
    pub degrees: bool,
    pub left_handed: bool,
    /// In grey the full grip that a fragment comes from.
    pub parents: bool,
}

/// One grip's diagram.
#[derive(Clone, Debug, PartialEq)]
pub struct GripDiagram {
    /// Index into the passage's parts.
    pub part: usize,
    pub letter: char,
    /// Where it is first struck: bar (index) and distance from its start; `None` where nothing plays it.
    pub first: Option<(usize, Beats)>,
    /// The grip sounds no root of its own name.
    pub rootless: bool,
    pub frame: Frame,
}

/// A diagram for every grip of every part that is no easier way to play another, in the order of the text.
pub fn grip_diagrams(passage: &Passage, wish: &DiagramWish) -> Vec<GripDiagram> {
    let mut out = Vec::new();
    for (part, p) in passage.parts.iter().enumerate().filter(|(_, p)| p.easier_of.is_none()) {
        let Some(neck) = &p.neck else { continue };
        for (named, written) in lock::grip_names(passage, part).into_iter().zip(&p.grips) {
            let fingering = if written.fingers.is_empty() {
                neck::finger(&written.grip, neck, &neck::Hand::usual()).or_else(|_| neck::finger(&written.grip, neck, &neck::Hand::large())).ok()
            } else {
                neck::fingers_given(&written.grip, &written.fingers, neck).ok()
            };
            let best = named.naming.names.first();
            // Degrees belong to the name that is printed; a pinned name has its own.
            let degrees = match (&named.pinned, best) {
                (Some(pinned), _) => written.grip.midi(neck).into_iter().map(|m| m.and_then(|m| pinned.degree_of(m.class()))).collect(),
                (None, Some(name)) => {
                    let mut d = name.degrees.iter();
                    written.grip.frets.iter().map(|f| f.and_then(|_| d.next().copied())).collect()
                }
                _ => vec![],
            };
            let sounding = named.name().cloned();
            let parent = wish.parents.then(|| lock::parent_of(&written.grip, neck, sounding.as_ref())).flatten();
            let rootless = named.pinned.is_none() && best.is_some_and(|n| n.rootless);
            let (name, sounding) = match named.shape.clone() {
                Some(shape) => (Some(shape), sounding),
                None => (sounding, None),
            };
            let diagram = Diagram {
                show: if wish.degrees { Show::Degrees } else { Show::Fingers },
                left_handed: wish.left_handed,
                name,
                sounding,
                style: passage.chord_names,
                label: Some(written.letter.to_string()),
                fingers: fingering.as_ref().map(|f| f.fingers.clone()).unwrap_or_default(),
                barres: fingering.map(|f| f.barres).unwrap_or_default(),
                degrees,
                key: passage.key,
                guess: written.guess,
                parent_name: parent.as_ref().map(|p| p.form.to_string()),
                parent: parent.map(|p| p.grip),
                ..Diagram::default()
            };
            out.push(GripDiagram { part, letter: written.letter, first: named.first, rootless, frame: neck_diagram(&written.grip, neck, &diagram) });
        }
    }
    out
}
