//! A passage's systems that turn in time, the bar being played lit: one picture for each printed bar, and when each of them is shown.

use super::canvas::{CENTRE, Canvas, Spot};
use super::{SYSTEM_HEIGHT, fill, guitars, lines};
use engrave::{Bounds, Item, What};
use lesson::{Beats, Passage};

/// The pictures of a passage and their times.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Turning {
    /// Name (without ending, in order of first use) and picture.
    pub pictures: Vec<(String, Canvas)>,
    /// In order of time, at least one where there is a picture; two that follow each other differ.
    pub changes: Vec<Change>,
    /// When the last bar ends.
    pub end_s: f64,
}

/// From when on a picture is shown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    pub start_s: f64,
    /// Index into [`Turning::pictures`].
    pub picture: usize,
}

/// The passage's guitars as systems (all its parts on strings where it has no guitar), each bar lit while it is played, at `tempo_percent` of the written
/// tempo. Times are seconds from the beginning of the first bar. A passage without bars or such parts, or a tempo that is not above 0, gives no picture.
///
/// A bar that is printed once and played in every round of a repeat has one picture and as many changes. One that is parted between two
/// systems changes at the beat where the second begins.
pub fn turning(passage: &Passage, tempo_percent: f64) -> Turning {
    let mut parts = guitars(passage);
    if parts.is_empty() {
        parts = (0..passage.parts.len()).filter(|i| passage.parts[*i].neck.is_some() && passage.parts[*i].easier_of.is_none()).collect();
    }
    if parts.is_empty() || passage.bars.is_empty() || !(tempo_percent > 0.0) {
        return Turning::default();
    }
    let mut shown: Vec<Shown> = Vec::new();
    for frame in lines(passage, &parts, parts.len() > 1, SYSTEM_HEIGHT) {
        let (canvas, placing) = Canvas::placed(&frame, fill(&frame), Spot { height: SYSTEM_HEIGHT, ..CENTRE });
        let all = canvas.bounds();
        for item in &frame.items {
            let Item::Group { what: What::Bar { played, x_pt, width_pt }, items } = item else { continue };
            let Some(all) = all else { continue };
            let left = x_pt * placing.scale + placing.x;
            let mut canvas = canvas.clone();
            canvas.lit = Some(Bounds { left, right: left + width_pt * placing.scale, ..all });
            shown.push(Shown { played: played.clone(), from: first_stroke(passage, items), canvas });
        }
    }
    let slower = 100.0 / tempo_percent;
    let mut out = Turning { end_s: passage.duration() * slower, ..Turning::default() };
    let mut numbers: Vec<Option<usize>> = vec![None; shown.len()];
    for bar in 0..passage.bars.len() {
        let pieces = shown.iter().enumerate().filter(|(_, s)| s.played.contains(&bar));
        for (k, (i, s)) in pieces.enumerate() {
            // The first piece begins with the bar, a later one on the beat of its first stroke.
            let at = if k == 0 { Beats::from_integer(0) } else { s.from.unwrap_or_default() };
            let picture = *numbers[i].get_or_insert_with(|| {
                out.pictures.push((format!("{}-turning-{:03}", passage.id, out.pictures.len() + 1), s.canvas.clone()));
                out.pictures.len() - 1
            });
            if out.changes.last().is_none_or(|c| c.picture != picture) {
                out.changes.push(Change { start_s: passage.seconds(bar, at) * slower, picture });
            }
        }
    }
    out
}

struct Shown {
    played: Vec<usize>,
    /// The beat on which the first stroke of this piece falls.
    from: Option<Beats>,
    canvas: Canvas,
}

/// The beat of the earliest stroke that is drawn in a bar's group.
fn first_stroke(passage: &Passage, items: &[Item]) -> Option<Beats> {
    let mut out: Option<Beats> = None;
    for item in items {
        let Item::Group { what, items } = item else { continue };
        let at = match what {
            What::Stroke { part, bar, event } => {
                let e = passage.parts.get(*part).and_then(|p| p.bars.get(*bar)).and_then(|b| b.events.get(*event));
                let beat = passage.bars.get(*bar).map(|b| b.meter.beat());
                e.zip(beat).map(|(e, beat)| beat * (e.at / beat).floor())
            }
            _ => first_stroke(passage, items),
        };
        out = match (out, at) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
    }
    out
}

impl Turning {
    /// The same pictures at other times: `at` gives the new time for an old one and must not turn the order round. For a recording in which the
    /// play-along was found it is `|t| found.at(Seconds(t)).0`.
    pub fn moved(&self, at: impl Fn(f64) -> f64) -> Turning {
        let changes = self.changes.iter().map(|c| Change { start_s: at(c.start_s), ..*c }).collect();
        Turning { pictures: self.pictures.clone(), changes, end_s: at(self.end_s) }
    }

    /// One line a change, set apart by tabs: seconds from and to, with six decimals, and the file's name with `ending`.
    ///
    /// ```
    /// let text = r#"lesson "t" { passage "p" { tempo 120; slots 4; part "g" instrument="guitar" { bar "3:5 . . ."; bar "3:7 . . ." } } }"#;
    /// let t = pack::overlay::turning(&lesson::read(text).lesson.passages[0], 100.0);
    /// assert_eq!(t.list(".png"), "0.000000\t2.000000\tp-turning-001.png\n2.000000\t4.000000\tp-turning-002.png\n");
    /// ```
    pub fn list(&self, ending: &str) -> String {
        self.spans().map(|(from, to, name)| format!("{from:.6}\t{to:.6}\t{name}{ending}\n")).collect()
    }

    /// Each change with its end and its picture's name.
    pub(super) fn spans(&self) -> impl Iterator<Item = (f64, f64, &str)> {
        self.changes.iter().enumerate().filter_map(|(i, c)| {
            let end = self.changes.get(i + 1).map_or(self.end_s, |n| n.start_s);
            Some((c.start_s, end, self.pictures.get(c.picture)?.0.as_str()))
        })
    }
}
