//! The letters that can be printed: cleans texts, and checks each character against the fonts that the PDF embeds.

use typst::text::{Font, FontInstance, FontStyle, FontVariant, FontWeight, FontStretch};
use typst::foundations::Bytes;
use typst::layout::Abs;

use super::HandoutError;

/// The faces that pages and drawings are set in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Cut {
    Regular,
    Italic,
    Semibold,
    Bold,
}

/// Longest text, in bytes; a glyph's place in its text is a 16-bit number in the typesetter.
const LONGEST_TEXT: usize = 30_000;
/// A run without a space longer than this gets places where a line may end.
const LONGEST_WORD: usize = 36;

/// The embedded fonts, and which of them prints what.
pub(crate) struct Letters {
    /// In the order of the typesetter's font book.
    pub(super) fonts: Vec<Font>,
    /// Regular, italic, semibold, bold, and the music and mathematics face that stands in.
    instances: [FontInstance; 5],
}

impl Letters {
    pub(crate) fn new() -> Self {
        let fonts: Vec<Font> = typst_assets::fonts()
            .filter_map(|data| Font::new(Bytes::new(data), 0))
            .filter(|font| {
                let info = font.info();
                info.family == "Libertinus Serif"
                    || (info.family == "New Computer Modern Math" && info.variant.weight == FontWeight::REGULAR)
            })
            .collect();
        let find = |family: &str, style, weight| {
            fonts
                .iter()
                .find(|font| {
                    let info = font.info();
                    info.family == family && info.variant.style == style && info.variant.weight == weight
                })
                .map(|font| {
                    let variant = FontVariant::new(style, weight, FontStretch::NORMAL);
                    font.clone().instantiate(variant, Abs::pt(10.0), &Default::default())
                })
                .unwrap_or_else(|| unreachable!("{family} is compiled in"))
        };
        let serif = |style, weight| find("Libertinus Serif", style, weight);
        let instances = [
            serif(FontStyle::Normal, FontWeight::REGULAR),
            serif(FontStyle::Italic, FontWeight::REGULAR),
            serif(FontStyle::Normal, FontWeight::SEMIBOLD),
            serif(FontStyle::Normal, FontWeight::BOLD),
            find("New Computer Modern Math", FontStyle::Normal, FontWeight::REGULAR),
        ];
        Self { fonts, instances }
    }

    /// The font that prints `character` when the text is set in `cut`, and the glyph in it: the cut itself, else the regular
    /// face (which alone holds ♭ ♯ ♮), else the mathematics face.
    pub(crate) fn glyph(&self, cut: Cut, character: char) -> Option<(&FontInstance, u16)> {
        let own = &self.instances[cut as usize];
        [own, &self.instances[0], &self.instances[4]]
            .into_iter()
            .find_map(|font| font.ttf().glyph_index(character).filter(|glyph| glyph.0 != 0).map(|glyph| (font, glyph.0)))
    }

    /// Characters that no font here prints, once each, in order of appearance.
    pub(crate) fn uncovered(&self, text: &str) -> Vec<char> {
        let mut out = Vec::new();
        for c in text.chars().filter(|c| !c.is_whitespace() && !c.is_control() && !is_direction_mark(*c)) {
            if self.glyph(Cut::Regular, c).is_none() && !out.contains(&c) {
                out.push(c);
            }
        }
        out
    }

    /// Width of a line of text, without kerning; characters without a glyph count nothing.
    pub(crate) fn width_pt(&self, cut: Cut, size_pt: f64, text: &str) -> f64 {
        text.chars()
            .filter_map(|c| self.glyph(cut, c))
            .map(|(font, glyph)| font.x_advance(glyph).map_or(0.0, |em| em.get()) * size_pt)
            .sum()
    }

    /// The text as it will be printed: white space (line ends too) becomes one space, invisible direction marks go, and words too
    /// long for a line get places to break. Fails on control characters, characters without a glyph, and texts past the limit.
    pub(crate) fn clean(&self, place: &str, cut: Cut, text: &str) -> Result<String, HandoutError> {
        if text.len() > LONGEST_TEXT {
            return Err(HandoutError::TooMuch { place: format!("{place}, bytes of text"), found: text.len(), limit: LONGEST_TEXT });
        }
        let words = text.split_whitespace().map(|word| {
            let mut clean = String::with_capacity(word.len());
            for character in word.chars().filter(|c| !is_direction_mark(*c)) {
                if character.is_control() {
                    return Err(HandoutError::Control { place: place.into(), character });
                }
                if self.glyph(cut, character).is_none() {
                    return Err(HandoutError::NoGlyph { place: place.into(), character, text: shorten(text) });
                }
                clean.push(character);
            }
            Ok(if clean.chars().count() > LONGEST_WORD { with_breaks(&clean) } else { clean })
        });
        Ok(words.collect::<Result<Vec<_>, _>>()?.into_iter().filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" "))
    }

    /// As much of the text as fits the width, with an ellipsis where something is left out.
    pub(crate) fn fit(&self, cut: Cut, size_pt: f64, text: &str, width_pt: f64) -> String {
        let plain: String = text.chars().filter(|c| *c != BREAK).collect();
        if self.width_pt(cut, size_pt, &plain) <= width_pt {
            return plain;
        }
        let room = width_pt - self.width_pt(cut, size_pt, "…");
        let mut used = 0.0;
        let kept: String = plain
            .chars()
            .take_while(|c| {
                used += self.width_pt(cut, size_pt, c.encode_utf8(&mut [0; 4]));
                used <= room
            })
            .collect();
        format!("{}…", kept.trim_end())
    }
}

/// A place where a line may end, with no width (zero width space).
pub(crate) const BREAK: char = '\u{200B}';

fn with_breaks(word: &str) -> String {
    let mut broken = String::new();
    for (i, character) in word.chars().enumerate() {
        if i > 0 && i % 12 == 0 {
            broken.push(BREAK);
        }
        broken.push(character);
    }
    broken
}

/// Direction marks and joiners of Unicode have no ink; a stray one would turn the words after it around.
fn is_direction_mark(c: char) -> bool {
    matches!(c, '\u{200B}'..='\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2060}'..='\u{2069}' | '\u{FEFF}' | '\u{00AD}')
}

/// The beginning of a text, for an error message.
fn shorten(text: &str) -> String {
    let mut short: String = text.chars().take(40).collect();
    if text.chars().nth(40).is_some() {
        short.push('…');
    }
    short
}
