//! Time signatures, drawn large over each other in the middle of a row.

use crate::frame::{Ink, Item};
use crate::glyphs::{TIME_0, advance};
use crate::sizes::Sizes;
use lesson::Meter;

fn digits(n: u8) -> Vec<u32> {
    n.to_string().bytes().map(|b| TIME_0 + u32::from(b - b'0')).collect()
}

fn width_of(n: u8, sizes: &Sizes) -> f64 {
    digits(n).iter().map(|c| advance(*c)).sum::<f64>() * sizes.space
}

/// Width of a meter's wider figure.
pub(crate) fn meter_width(meter: Meter, sizes: &Sizes) -> f64 {
    f64::max(width_of(meter.count, sizes), width_of(meter.unit, sizes))
}

/// The meter centred on (x, middle): count above, unit below.
pub(crate) fn draw_meter(meter: Meter, x: f64, middle: f64, sizes: &Sizes) -> Vec<Item> {
    let mut items = Vec::new();
    // On tab, which is higher than a staff, the figures keep apart.
    let off = sizes.space * if middle > sizes.space * 2.1 { 1.15 } else { 1.0 };
    for (n, dy) in [(meter.count, -1.0), (meter.unit, 1.0)] {
        let mut at = x - width_of(n, sizes) / 2.0;
        for code in digits(n) {
            items.push(Item::Glyph { code, x_pt: at, y_pt: middle + dy * off, space_pt: sizes.space, ink: Ink::Black });
            at += advance(code) * sizes.space;
        }
    }
    items
}
