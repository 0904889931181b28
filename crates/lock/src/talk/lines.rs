//! Points on parts without grips: where they lie and how they are played.

use super::{Point, Topic, places, strings_words};
use crate::findings::words::{list, sentence};
use lesson::{Attack, Event, Passage, Tone};

/// Strings, frets and ways of playing of a part; `None` where it is silent.
pub(super) fn on_line(passage: &Passage, index: usize) -> Option<Point> {
    let part = &passage.parts[index];
    let mut events: Vec<(usize, &Event)> = Vec::new();
    for (b, bar) in part.bars.iter().enumerate() {
        events.extend(bar.events.iter().filter(|e| !e.scratch && !e.tie_in).map(|e| (b, e)));
    }
    let at: Vec<(u8, u8)> = events.iter().flat_map(|(_, e)| places(e)).collect();
    let mut strings: Vec<u8> = at.iter().map(|p| p.0).collect();
    strings.sort_unstable_by(|a, b| b.cmp(a));
    strings.dedup();
    let fretted = || at.iter().map(|p| p.1).filter(|f| *f > 0);
    let open = at.iter().any(|p| p.1 == 0);
    let many = events.iter().filter(|(_, e)| places(e).len() > 1).count();
    let what = if many * 2 > events.len() { "notes together" } else { "single notes" };
    let frets = match (fretted().min(), fretted().max()) {
        (None, _) | (_, None) => "open".to_string(),
        (Some(a), Some(b)) => {
            let span = if a == b { format!("at fret {a}") } else { format!("between frets {a} and {b}") };
            if open { format!("open and {span}") } else { span }
        }
    };
    if strings.is_empty() {
        return None;
    }
    let where_ = format!("{what} on {}, {frets}", strings_words(&strings));
    let ways = ways(passage, &events);
    let text = if ways.is_empty() { where_.clone() } else { format!("{where_}; {}", list(&ways)) };
    let plain: Vec<String> = strings.iter().map(u8::to_string).collect();
    let short = format!("strings {}, {}", plain.join(" "), frets.replace("between frets", "frets").replace(" and ", " to "));
    Some(Point { topic: Topic::Line, part: Some(index), bar: None, text: sentence(&text), short })
}

/// Ways of playing, with the bars where they are few.
fn ways(passage: &Passage, events: &[(usize, &Event)]) -> Vec<String> {
    let mut out = Vec::new();
    let mut way = |words: &str, has: &dyn Fn(&Tone) -> bool| {
        let with: Vec<usize> = events.iter().filter(|(_, e)| e.notes.iter().any(has)).map(|(b, _)| *b).collect();
        let mut bars: Vec<String> = with.iter().filter_map(|b| passage.bars.get(*b)).map(|b| b.number.to_string()).collect();
        bars.dedup();
        match () {
            () if with.is_empty() => {}
            () if with.len() == events.len() => out.push(format!("all {words}")),
            () if with.len() * 3 >= events.len() * 2 => out.push(format!("mostly {words}")),
            () if bars.len() > 3 => out.push(format!("some {words}")),
            () => out.push(format!("{words} in bar {}", list(&bars))),
        }
    };
    way("palm muted", &|t| t.palm_mute);
    way("harmonics", &|t| t.harmonic);
    way("hammered", &|t| t.attack == Attack::Hammered);
    way("pulled off", &|t| t.attack == Attack::Pulled);
    way("slid", &|t| t.attack == Attack::Slid || t.slide_to.is_some());
    way("bent", &|t| t.bend_cents.is_some_and(|c| c > 0.0) || t.prebend_cents > 0.0);
    way("with vibrato", &|t| t.vibrato);
    way("tremolo picked", &|t| t.tremolo);
    out
}
