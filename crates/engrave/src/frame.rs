//! The frame: positioned text, music glyphs and paths, in points, that SVG and PDF both draw without laying out anything again.
//!
//! The origin is the top left corner, y grows downward. A point is 1/72 inch.

/// A laid-out picture: one neck diagram, one system, a whole strip.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Frame {
    pub width_pt: f64,
    pub height_pt: f64,
    pub items: Vec<Item>,
    /// The picture in words, for those who do not see it; never empty in a finished frame.
    pub alt: String,
}

/// Something drawn.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    Text(Text),
    /// A music sign as an outline, by its SMuFL code point; `space_pt` is the distance of two staff lines.
    Glyph { code: u32, x_pt: f64, y_pt: f64, space_pt: f64, ink: Ink },
    Path(Path),
    /// Items that belong together: what a page can light up, or a screen reader name.
    Group { what: What, items: Vec<Item> },
}

/// What a group shows.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// A printed bar over all parts; `played` are the bars (index into the passage's bars) that it stands for.
    Bar { played: Vec<usize>, x_pt: f64, width_pt: f64 },
    /// One stroke: bar (first played index), event index, part index.
    Stroke { part: usize, bar: usize, event: usize },
    /// A part's row in a system.
    Row { part: usize },
    Plain,
}

/// Real text, on its baseline. Set without kerning and ligatures, so that its width is the sum of the font's advances on every
/// output; every character is one that `face` holds (see [`crate::fonts::runs`]).
#[derive(Clone, Debug, PartialEq)]
pub struct Text {
    pub x_pt: f64,
    pub y_pt: f64,
    pub size_pt: f64,
    pub face: Face,
    pub anchor: Anchor,
    pub text: String,
    pub ink: Ink,
}

/// The faces in use; their metrics are those of the fonts that the PDF embeds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Face {
    Regular,
    Bold,
    Italic,
}

/// Which point of the text stands at x.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

/// Inks, all legible in black and white.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Ink {
    Black,
    /// Secondary lines: staff lines, nut shadows, parents.
    Grey,
    /// Paper colour, to clear the line behind a digit.
    Paper,
}

/// Straight and curved lines.
#[derive(Clone, Debug, PartialEq)]
pub struct Path {
    pub steps: Vec<Step>,
    pub fill: Option<Ink>,
    pub stroke: Option<Stroke>,
}

/// Pen of a path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    pub ink: Ink,
    pub width_pt: f64,
    /// Length of dash and gap.
    pub dash_pt: Option<f64>,
    pub round: bool,
}

/// A step of a path, absolute coordinates in points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Step {
    Move(f64, f64),
    Line(f64, f64),
    Curve { c1: (f64, f64), c2: (f64, f64), to: (f64, f64) },
    Close,
}

impl Frame {
    /// Every item that is no group, in drawing order.
    pub fn leaves(&self) -> Vec<&Item> {
        fn collect<'a>(items: &'a [Item], out: &mut Vec<&'a Item>) {
            for item in items {
                match item {
                    Item::Group { items, .. } => collect(items, out),
                    leaf => out.push(leaf),
                }
            }
        }
        let mut out = Vec::new();
        collect(&self.items, &mut out);
        out
    }
}

impl Item {
    /// A straight line.
    pub fn line(x0: f64, y0: f64, x1: f64, y1: f64, width_pt: f64, ink: Ink) -> Item {
        Item::Path(Path { steps: vec![Step::Move(x0, y0), Step::Line(x1, y1)], fill: None, stroke: Some(Stroke::plain(ink, width_pt)) })
    }

    /// A filled rectangle from its left top corner.
    pub fn rect(x: f64, y: f64, width: f64, height: f64, ink: Ink) -> Item {
        Item::polygon(&[(x, y), (x + width, y), (x + width, y + height), (x, y + height)], ink)
    }

    /// A filled polygon.
    pub fn polygon(points: &[(f64, f64)], ink: Ink) -> Item {
        let mut steps: Vec<Step> = Vec::with_capacity(points.len() + 1);
        for (i, &(x, y)) in points.iter().enumerate() {
            steps.push(if i == 0 { Step::Move(x, y) } else { Step::Line(x, y) });
        }
        steps.push(Step::Close);
        Item::Path(Path { steps, fill: Some(ink), stroke: None })
    }

    /// A filled rectangle with half-round short ends (a circle when it is as wide as high).
    pub fn pill(x: f64, y: f64, width: f64, height: f64, fill: Option<Ink>, stroke: Option<Stroke>) -> Item {
        // The usual cubic for a quarter circle.
        const K: f64 = 0.552_284_75;
        let r = width.min(height) / 2.0;
        let (l, t, rt, b) = (x, y, x + width, y + height);
        let k = r * (1.0 - K);
        let steps = vec![
            Step::Move(l + r, t),
            Step::Line(rt - r, t),
            Step::Curve { c1: (rt - k, t), c2: (rt, t + k), to: (rt, t + r) },
            Step::Line(rt, b - r),
            Step::Curve { c1: (rt, b - k), c2: (rt - k, b), to: (rt - r, b) },
            Step::Line(l + r, b),
            Step::Curve { c1: (l + k, b), c2: (l, b - k), to: (l, b - r) },
            Step::Line(l, t + r),
            Step::Curve { c1: (l, t + k), c2: (l + k, t), to: (l + r, t) },
            Step::Close,
        ];
        Item::Path(Path { steps, fill, stroke })
    }

    /// The same item with every x, y replaced by `(x * scale + dx, y * scale + dy)`; sizes and pens grow by `scale`.
    pub fn placed(mut self, scale: f64, dx: f64, dy: f64) -> Item {
        let point = |x: f64, y: f64| (x * scale + dx, y * scale + dy);
        match &mut self {
            Item::Text(t) => {
                (t.x_pt, t.y_pt) = point(t.x_pt, t.y_pt);
                t.size_pt *= scale;
            }
            Item::Glyph { x_pt, y_pt, space_pt, .. } => {
                (*x_pt, *y_pt) = point(*x_pt, *y_pt);
                *space_pt *= scale;
            }
            Item::Path(path) => {
                for step in &mut path.steps {
                    *step = step.map(point);
                }
                if let Some(pen) = &mut path.stroke {
                    pen.width_pt *= scale;
                    pen.dash_pt = pen.dash_pt.map(|d| d * scale);
                }
            }
            Item::Group { what, items } => {
                if let What::Bar { x_pt, width_pt, .. } = what {
                    *x_pt = *x_pt * scale + dx;
                    *width_pt *= scale;
                }
                for item in items.iter_mut() {
                    let taken = std::mem::replace(item, Item::rect(0.0, 0.0, 0.0, 0.0, Ink::Black));
                    *item = taken.placed(scale, dx, dy);
                }
            }
        }
        self
    }

    /// The same item mirrored left for right about x = `axis`; text stays readable, its anchor changes sides.
    pub fn mirrored(mut self, axis: f64) -> Item {
        let flip = |x: f64| 2.0 * axis - x;
        match &mut self {
            Item::Text(t) => {
                t.x_pt = flip(t.x_pt);
                t.anchor = match t.anchor {
                    Anchor::Start => Anchor::End,
                    Anchor::Middle => Anchor::Middle,
                    Anchor::End => Anchor::Start,
                };
            }
            Item::Glyph { code, x_pt, space_pt, .. } => {
                let advance = crate::glyphs::advance(*code) * *space_pt;
                *x_pt = flip(*x_pt) - advance;
            }
            Item::Path(path) => {
                for step in &mut path.steps {
                    *step = step.map(|x, y| (flip(x), y));
                }
            }
            Item::Group { what, items } => {
                if let What::Bar { x_pt, width_pt, .. } = what {
                    *x_pt = flip(*x_pt) - *width_pt;
                }
                for item in items.iter_mut() {
                    let taken = std::mem::replace(item, Item::rect(0.0, 0.0, 0.0, 0.0, Ink::Black));
                    *item = taken.mirrored(axis);
                }
            }
        }
        self
    }

    /// The box that the ink lies in: left, top, right, bottom. Curves count with their control points, text with the font's
    /// own heights, pens with half their width. `None` for an empty group or path.
    pub fn bounds(&self) -> Option<Bounds> {
        match self {
            Item::Text(t) => {
                let (left, right) = crate::fonts::extent(t);
                let (up, down) = crate::fonts::ink_height(t.face, t.size_pt, &t.text);
                Some(Bounds { left, top: t.y_pt - up, right, bottom: t.y_pt + down })
            }
            Item::Glyph { code, x_pt, y_pt, space_pt, .. } => {
                let b = crate::glyphs::bounds(*code)?;
                Some(Bounds {
                    left: x_pt + b.left * space_pt,
                    top: y_pt + b.top * space_pt,
                    right: x_pt + b.right * space_pt,
                    bottom: y_pt + b.bottom * space_pt,
                })
            }
            Item::Path(path) => {
                let pen = path.stroke.map_or(0.0, |s| s.width_pt / 2.0);
                let mut out: Option<Bounds> = None;
                for step in &path.steps {
                    for (x, y) in step.points() {
                        let b = Bounds { left: x - pen, top: y - pen, right: x + pen, bottom: y + pen };
                        out = Some(out.map_or(b, |o| o.union(b)));
                    }
                }
                out
            }
            Item::Group { items, .. } => Bounds::of(items),
        }
    }
}

/// A box in points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Bounds {
    /// The box round both.
    pub fn union(self, other: Bounds) -> Bounds {
        Bounds {
            left: self.left.min(other.left),
            top: self.top.min(other.top),
            right: self.right.max(other.right),
            bottom: self.bottom.max(other.bottom),
        }
    }

    /// The box round all items; `None` when they draw nothing.
    pub fn of(items: &[Item]) -> Option<Bounds> {
        items.iter().filter_map(Item::bounds).reduce(Bounds::union)
    }
}

impl Stroke {
    /// A plain pen with flat ends.
    pub fn plain(ink: Ink, width_pt: f64) -> Stroke {
        Stroke { ink, width_pt, dash_pt: None, round: false }
    }

    /// A pen with round ends.
    pub fn round(ink: Ink, width_pt: f64) -> Stroke {
        Stroke { round: true, ..Stroke::plain(ink, width_pt) }
    }
}

impl Step {
    /// The step with every point replaced.
    pub fn map(self, point: impl Fn(f64, f64) -> (f64, f64)) -> Step {
        match self {
            Step::Move(x, y) => {
                let (x, y) = point(x, y);
                Step::Move(x, y)
            }
            Step::Line(x, y) => {
                let (x, y) = point(x, y);
                Step::Line(x, y)
            }
            Step::Curve { c1, c2, to } => {
                Step::Curve { c1: point(c1.0, c1.1), c2: point(c2.0, c2.1), to: point(to.0, to.1) }
            }
            Step::Close => Step::Close,
        }
    }

    /// Its points, control points among them.
    pub fn points(self) -> Vec<(f64, f64)> {
        match self {
            Step::Move(x, y) | Step::Line(x, y) => vec![(x, y)],
            Step::Curve { c1, c2, to } => vec![c1, c2, to],
            Step::Close => Vec::new(),
        }
    }
}
