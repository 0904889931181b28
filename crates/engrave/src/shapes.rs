//! Curved and jagged marks: slurs, ties, waves, arrows, dashed spans.

use crate::frame::{Ink, Item, Path, Step, Stroke};

/// A slur or tie as a lens: thick in the middle, pointed at the ends. `bow` is its height, negative upward.
pub(crate) fn arc(x0: f64, x1: f64, y: f64, bow: f64, thick: f64) -> Item {
    let (a, b) = (x0 + (x1 - x0) * 0.25, x1 - (x1 - x0) * 0.25);
    let outer = y + bow * 4.0 / 3.0;
    let inner = outer - thick * bow.signum();
    let steps = vec![
        Step::Move(x0, y),
        Step::Curve { c1: (a, outer), c2: (b, outer), to: (x1, y) },
        Step::Curve { c1: (b, inner), c2: (a, inner), to: (x0, y) },
        Step::Close,
    ];
    Item::Path(Path { steps, fill: Some(Ink::Black), stroke: None })
}

/// One side of a tall pair of brackets; `bow` is how far it bulges, negative to the left.
pub(crate) fn upright_arc(x: f64, y0: f64, y1: f64, bow: f64, pen: f64) -> Item {
    let k = (y1 - y0) * 0.25;
    let steps = vec![Step::Move(x, y0), Step::Curve { c1: (x + bow, y0 + k), c2: (x + bow, y1 - k), to: (x, y1) }];
    Item::Path(Path { steps, fill: None, stroke: Some(Stroke::round(Ink::Black, pen)) })
}

/// A wave along the x axis.
pub(crate) fn wave(x0: f64, x1: f64, y: f64, height: f64, length: f64, pen: f64) -> Item {
    let count = f64::max(libm::round((x1 - x0) / length), 1.0);
    let half = (x1 - x0) / count / 2.0;
    let mut steps = vec![Step::Move(x0, y)];
    let mut x = x0;
    for i in 0..(count as usize) * 2 {
        let bow = if i % 2 == 0 { -height } else { height };
        steps.push(Step::Curve { c1: (x + half * 0.4, y + bow), c2: (x + half * 0.6, y + bow), to: (x + half, y) });
        x += half;
    }
    Item::Path(Path { steps, fill: None, stroke: Some(Stroke::round(Ink::Black, pen)) })
}

/// A wave along the y axis.
pub(crate) fn upright_wave(x: f64, y0: f64, y1: f64, width: f64, length: f64, pen: f64) -> Item {
    let Item::Path(mut path) = wave(y0, y1, 0.0, width, length, pen) else { unreachable!("a wave is a path") };
    for step in &mut path.steps {
        *step = step.map(|a, b| (x + b, a));
    }
    Item::Path(path)
}

/// A filled arrowhead with its point at (x, y); `down` points down.
pub(crate) fn arrowhead(x: f64, y: f64, size: f64, down: bool) -> Item {
    let d = if down { -size } else { size };
    Item::polygon(&[(x, y), (x + size * 0.42, y + d), (x, y + d * 0.78), (x - size * 0.42, y + d)], Ink::Black)
}

/// A dashed line with a short tick down at its end.
pub(crate) fn dashes(x0: f64, x1: f64, y: f64, tick: f64, pen: f64) -> Vec<Item> {
    let line = Path {
        steps: vec![Step::Move(x0, y), Step::Line(x1, y)],
        fill: None,
        stroke: Some(Stroke { ink: Ink::Black, width_pt: pen, dash_pt: Some(3.0), round: false }),
    };
    vec![Item::Path(line), Item::line(x1, y, x1, y + tick, pen, Ink::Black)]
}
