//! The canvas: 1920 by 1080 units, and how a drawing is put into its safe area.

use engrave::{Bounds, Frame, Item, outlined};

pub const WIDTH: f64 = 1920.0;
pub const HEIGHT: f64 = 1080.0;
/// The inner 90 % of width and height.
pub const SAFE: Bounds = Bounds { left: 96.0, top: 54.0, right: 1824.0, bottom: 1026.0 };

/// A picture's layout in units, origin at the top left, y downward: paths alone, none of which leaves [`SAFE`].
#[derive(Clone, Debug, PartialEq)]
pub struct Canvas {
    pub items: Vec<Item>,
    /// The picture in words; never empty.
    pub alt: String,
    /// The field of the bar that is being played, where one is.
    pub lit: Option<Bounds>,
}

/// Where in the safe area: 0 to 1 from the left and from the top, and how much of its height may be taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spot {
    pub x: f64,
    pub y: f64,
    pub height: f64,
}

/// At the foot, in the middle.
pub(super) const CENTRE: Spot = Spot { x: 0.5, y: 1.0, height: 1.0 };

/// How a frame's points became units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Placing {
    pub scale: f64,
    pub x: f64,
    pub y: f64,
}

impl Canvas {
    /// A frame at `scale` units for a point, smaller where its ink would not fit the safe area or the spot's height.
    pub(super) fn of(frame: &Frame, scale: f64, spot: Spot) -> Canvas {
        Canvas::placed(frame, scale, spot).0
    }

    pub(super) fn placed(frame: &Frame, scale: f64, spot: Spot) -> (Canvas, Placing) {
        let outlines = outlined(frame);
        let ink = Bounds::of(&outlines.items).unwrap_or(Bounds { left: 0.0, top: 0.0, right: 1.0, bottom: 1.0 });
        let (width, height) = (f64::max(ink.right - ink.left, 1e-3), f64::max(ink.bottom - ink.top, 1e-3));
        let (room_x, room_y) = (SAFE.right - SAFE.left, (SAFE.bottom - SAFE.top) * spot.height);
        // A hair less than fits: the pens are snapped to whole pixels later.
        let scale = scale.min((room_x - 4.0) / width).min((room_y - 4.0) / height);
        let x = SAFE.left + 2.0 + (room_x - 4.0 - width * scale) * spot.x - ink.left * scale;
        let y = SAFE.top + 2.0 + (SAFE.bottom - SAFE.top - 4.0 - height * scale) * spot.y - ink.top * scale;
        let items = outlines.items.into_iter().map(|i| i.placed(scale, x, y)).collect();
        (Canvas { items, alt: outlines.alt, lit: None }, Placing { scale, x, y })
    }

    /// The box of all that is drawn.
    pub fn bounds(&self) -> Option<Bounds> {
        let ink = Bounds::of(&self.items);
        match (ink, self.lit) {
            (Some(a), Some(b)) => Some(a.union(b)),
            (a, b) => a.or(b),
        }
    }
}

/// Every path of the items, in drawing order.
pub(super) fn paths<'a>(items: &'a [Item], out: &mut Vec<&'a engrave::Path>) {
    for item in items {
        match item {
            Item::Path(p) => out.push(p),
            Item::Group { items, .. } => paths(items, out),
            // Outlines only: a canvas holds neither.
            Item::Text(_) | Item::Glyph { .. } => {}
        }
    }
}
