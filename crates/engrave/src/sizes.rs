//! Sizes of everything in a system, derived from the staff space and from the height that a figure must have.

use crate::fonts::{figure_height, figure_size_min};
use crate::frame::Face;

/// Lengths in points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Sizes {
    /// Distance of two staff lines.
    pub space: f64,
    /// Distance of two tab lines.
    pub tab_gap: f64,
    /// Size and height of tab figures.
    pub digit: f64,
    pub digit_height: f64,
    /// Size of small italic words and figures.
    pub word: f64,
    /// Size of chord names.
    pub name: f64,
    pub line_width: f64,
    pub stem_width: f64,
    pub bar_width: f64,
    /// Beams: thickness, and white between two.
    pub beam: f64,
    pub beam_gap: f64,
}

impl Sizes {
    /// From a staff space between 3.5 and 12 points (others are brought to the nearer end).
    pub fn from_space(space_pt: f64) -> Sizes {
        let space = if space_pt.is_finite() { space_pt.clamp(3.5, 12.0) } else { 5.0 };
        let digit = f64::max(figure_size_min(DIGITS), space * 1.9);
        let digit_height = digit * figure_height(DIGITS);
        Sizes {
            space,
            // A figure stands between its neighbours with at least a fifth of its height of air.
            tab_gap: f64::max(space * 1.5, digit_height * 1.22),
            digit,
            digit_height,
            word: figure_size_min(Face::Italic).max(figure_size_min(Face::Regular)).max(space * 1.8),
            name: f64::max(12.0, space * 2.5),
            line_width: space * 0.11,
            stem_width: space * 0.15,
            bar_width: space * 0.18,
            beam: space * 0.48,
            beam_gap: space * 0.27,
        }
    }
}

/// The face of tab figures.
pub(crate) const DIGITS: Face = Face::Bold;
