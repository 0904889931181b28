//! Which note a hammered, pulled or slid note comes from, and whether the page shows it right before it.

use super::Score;
use lesson::{Attack, Part, Source};
use std::collections::BTreeMap;

/// A note of a part: bar, event, note.
pub(super) type Place = (usize, usize, usize);

/// What connects two notes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Link {
    Hammer,
    Pull,
    Slide,
}

/// Ends of links at one note, each with its number (MusicXML allows 1 to 16).
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Ends {
    pub starts: Vec<(Link, u8)>,
    pub stops: Vec<(Link, u8)>,
    /// The note begins by this link, but where it comes from is not printed right before it.
    pub alone: Option<Link>,
}

/// All link ends at the printed notes of a part.
pub(super) fn links(score: &Score, part: &Part) -> BTreeMap<Place, Ends> {
    let mut out: BTreeMap<Place, Ends> = BTreeMap::new();
    let mut before = None;
    for bar in score.sheet.iter().filter_map(|s| s.played.first().copied()) {
        let Some(events) = part.bars.get(bar).map(|b| &b.events) else { continue };
        for (e, event) in events.iter().enumerate() {
            for (n, tone) in event.notes.iter().enumerate() {
                let link = match tone.attack {
                    Attack::Struck => continue,
                    Attack::Hammered => Link::Hammer,
                    Attack::Pulled => Link::Pull,
                    Attack::Slid => Link::Slide,
                };
                let Source::String { string, .. } = tone.source else { continue };
                if event.tie_in || event.held {
                    continue;
                }
                match source(part, (bar, e), before, string) {
                    Some(from) => {
                        // Neighbouring links of one string take turns between two numbers.
                        let used = out.get(&from).and_then(|ends| ends.stops.first()).map(|s| s.1);
                        let number = if used == Some(string) { string + 8 } else { string };
                        out.entry(from).or_default().starts.push((link, number));
                        out.entry((bar, e, n)).or_default().stops.push((link, number));
                    }
                    None => out.entry((bar, e, n)).or_default().alone = Some(link),
                }
            }
        }
        before = Some(bar);
    }
    out
}

/// The latest note on `string` before an event: in its bar, or in the bar before when that is the one printed before it.
fn source(part: &Part, (bar, event): (usize, usize), before: Option<usize>, string: u8) -> Option<Place> {
    let find = |b: usize, end: usize| {
        part.bars[b].events[..end].iter().enumerate().rev().find_map(|(e, ev)| {
            let n = ev.notes.iter().position(|t| matches!(t.source, Source::String { string: s, .. } if s == string))?;
            Some((b, e, n))
        })
    };
    find(bar, event).or_else(|| {
        let b = before.filter(|b| b + 1 == bar)?;
        find(b, part.bars[b].events.len())
    })
}
