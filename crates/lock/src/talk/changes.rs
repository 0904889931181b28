//! Points on what changes: from one grip to the next, and from bar to bar.

use super::{Called, Heard, Point, Topic, places, strings_words};
use crate::findings::words::{Name, list, number, sentence};
use lesson::{Beats, Event, Passage};
use pitch::{Midi, Symbol};

/// A stroke of at least two notes.
struct Stop {
    bar: usize,
    at: Beats,
    /// Low string first, as (string, fret).
    shape: Vec<(u8, u8)>,
    called: Option<Called>,
}

/// What moves from one chord of a part to the next, each change once, at the bar where it is first played; the way back is not told.
pub(super) fn on_changes(heard: &Heard, index: usize) -> Vec<Point> {
    let part = &heard.passage.parts[index];
    let Some(neck) = &part.neck else { return vec![] };
    let mut out = Vec::new();
    let mut seen: Vec<(Vec<(u8, u8)>, Vec<(u8, u8)>, Option<Symbol>)> = Vec::new();
    let mut before: Option<Stop> = None;
    for (bar, b) in part.bars.iter().enumerate() {
        for e in b.events.iter().filter(|e| !e.scratch && !e.tie_in && !e.held) {
            let mut shape = places(e);
            shape.sort_unstable_by(|a, b| b.cmp(a));
            if shape.len() < 2 {
                continue;
            }
            let same = before.as_ref().is_some_and(|p| p.shape == shape);
            if same && before.as_ref().is_some_and(|p| heard.sign(p.bar, p.at).map(|s| &s.symbol) == heard.sign(bar, e.at).map(|s| &s.symbol)) {
                continue;
            }
            let notes: Vec<Midi> = shape.iter().filter_map(|(s, f)| neck.sounds(*s, *f)).collect();
            let fixed = e.grip.and_then(|l| part.grips.iter().find(|g| g.letter == l && g.grip.sounding().eq(shape.iter().copied()))).and_then(|g| g.name.as_ref());
            let stop = Stop { bar, at: e.at, called: heard.called(part, fixed, &notes, (bar, e.at)), shape };
            if let Some(p) = &before {
                let (a, b) = (p.shape.clone().min(stop.shape.clone()), p.shape.clone().max(stop.shape.clone()));
                let key = (a, b, if same { stop.called.as_ref().map(|c| c.symbol.clone()) } else { None });
                if !seen.contains(&key) {
                    out.extend(point(heard, index, p, &stop));
                    seen.push(key);
                }
            }
            before = Some(stop);
        }
    }
    out
}

fn point(heard: &Heard, index: usize, from: &Stop, to: &Stop) -> Option<Point> {
    let symbol = |s: &Stop| s.called.as_ref().map(|c| heard.text(&c.symbol));
    let (old, new) = (symbol(from), symbol(to));
    let renamed = old != new;
    let motion = if from.shape == to.shape {
        if !renamed {
            return None;
        }
        "nothing moves".to_string()
    } else {
        motion(&from.shape, &to.shape)?
    };
    let over = to.called.as_ref().and_then(|c| heard.over(index, to.bar, to.at, &c.symbol));
    let mut text = sentence(&motion);
    let mut short = motion;
    if let (true, Some(old), Some(new)) = (renamed, &old, &new) {
        let under = over.map_or(String::new(), |o| format!(" over {o}"));
        text.push_str(&format!(" {}", sentence(&format!("{old} becomes {new}{under}"))));
        short.push_str(&format!(", {old} to {new}"));
    }
    Some(Point { topic: Topic::Change, part: Some(index), bar: Some(to.bar), text, short })
}

/// "string 4 falls a fret, strings 3 and 2 stay"; `None` where one shape is only some strings of the other, or they have nothing in common.
fn motion(from: &[(u8, u8)], to: &[(u8, u8)]) -> Option<String> {
    let fret = |of: &[(u8, u8)], string: u8| of.iter().find(|p| p.0 == string).map(|p| p.1);
    let common: Vec<(u8, u8, u8)> = from.iter().filter_map(|(s, f)| Some((*s, *f, fret(to, *s)?))).collect();
    let moved: Vec<&(u8, u8, u8)> = common.iter().filter(|c| c.1 != c.2).collect();
    let kept: Vec<u8> = common.iter().filter(|c| c.1 == c.2).map(|c| c.0).collect();
    let new: Vec<u8> = to.iter().filter(|p| fret(from, p.0).is_none()).map(|p| p.0).collect();
    let gone: Vec<u8> = from.iter().filter(|p| fret(to, p.0).is_none()).map(|p| p.0).collect();
    if common.is_empty() {
        return Some(format!("the hand changes to {}", strings_words(&new)));
    }
    if moved.is_empty() && (new.is_empty() || gone.is_empty()) {
        return None;
    }
    let step = |c: &(u8, u8, u8)| i32::from(c.2) - i32::from(c.1);
    // An open string does not move along with a shape.
    let shifted = new.is_empty() && gone.is_empty() && kept.is_empty() && moved.len() > 1 && moved.iter().all(|c| step(c) == step(moved[0]) && c.1 > 0 && c.2 > 0);
    if shifted {
        return Some(format!("the same shape {} {}", frets_words(step(moved[0])), if step(moved[0]) > 0 { "higher" } else { "lower" }));
    }
    let mut out: Vec<String> = Vec::new();
    if moved.len() > 2 {
        out.push(format!("{} move", strings_words(&moved.iter().map(|c| c.0).collect::<Vec<_>>())));
    } else {
        out.extend(moved.iter().map(|c| match (c.1, c.2) {
            (_, 0) => format!("string {} opens", c.0),
            (0, f) => format!("string {} is stopped at fret {f}", c.0),
            _ => format!("string {} {} {}, to fret {}", c.0, if step(c) > 0 { "rises" } else { "falls" }, frets_words(step(c)), c.2),
        }));
    }
    if !new.is_empty() {
        out.push(format!("{} {} in", strings_words(&new), if new.len() == 1 { "comes" } else { "come" }));
    }
    if !gone.is_empty() {
        out.push(format!("{} {} out", strings_words(&gone), if gone.len() == 1 { "goes" } else { "go" }));
    }
    if !kept.is_empty() {
        out.push(format!("{} {}", strings_words(&kept), if kept.len() == 1 { "stays" } else { "stay" }));
    }
    Some(out.join("; "))
}

fn frets_words(step: i32) -> String {
    match step.unsigned_abs() {
        1 => "a fret".into(),
        n => format!("{} frets", number(n as usize)),
    }
}

fn times(n: usize) -> String {
    if n == 2 { "twice".into() } else { format!("{} times", number(n)) }
}

/// What a bar is made of: times and notes, without its place in the text.
type Strokes = Vec<(Beats, Beats, bool, bool, Vec<(u8, u8)>, Option<lesson::Spread>)>;

fn strokes(events: &[Event]) -> Strokes {
    events.iter().map(|e| (e.at, e.len, e.scratch, e.tie_in, places(e), e.spread)).collect()
}

/// What comes back from bar to bar in a part: one bar all along, a few bars over and over, or one rhythm under changing notes. At least two full bars,
/// and nothing for a part that is silent in all.
pub(super) fn on_bars(passage: &Passage, index: usize) -> Option<Point> {
    let part = &passage.parts[index];
    let full: Vec<&lesson::PartBar> = part.bars.iter().zip(&passage.bars).filter(|(_, b)| b.number > 0).map(|(p, _)| p).collect();
    let meters_differ = passage.bars.iter().filter(|b| b.number > 0).any(|b| b.meter != passage.bars[passage.bars.len() - 1].meter);
    if full.len() < 2 || meters_differ || full.iter().all(|b| b.events.is_empty()) {
        return None;
    }
    let bars: Vec<Strokes> = full.iter().map(|b| strokes(&b.events)).collect();
    let period = (1..bars.len()).find(|p| bars.len() % p == 0 && (*p..bars.len()).all(|i| bars[i] == bars[i - p]));
    let name = Name::of(part);
    let plays = name.verb("plays", "play");
    let short;
    let text = match period {
        Some(1) => {
            short = "one bar all along".to_string();
            format!("{} {plays} one bar {}", name.text, times(bars.len()))
        }
        Some(p) => {
            short = format!("{} bars over and over", number(p));
            format!("{} {plays} the same {} bars {}", name.text, number(p), times(bars.len() / p))
        }
        None => {
            let rhythm = |b: &Strokes| b.iter().map(|s| (s.0, s.2, s.3)).collect::<Vec<_>>();
            let of_first: Vec<usize> = (1..bars.len()).filter(|i| rhythm(&bars[*i]) != rhythm(&bars[0])).collect();
            match of_first.as_slice() {
                [] => {
                    short = "one rhythm, the notes change".to_string();
                    format!("{} {} one rhythm in every bar, and only the notes change", name.text, name.verb("keeps", "keep"))
                }
                few if few.len() * 4 <= bars.len() => {
                    let numbers: Vec<usize> = few.iter().map(|i| i + 1).collect();
                    let words: Vec<String> = numbers.iter().map(usize::to_string).collect();
                    short = format!("one rhythm but for bar {}", list(&words));
                    format!("{} {} one rhythm but for bar {}", name.text, name.verb("keeps", "keep"), list(&words))
                }
                _ => return None,
            }
        }
    };
    Some(Point { topic: Topic::Again, part: Some(index), bar: None, text: sentence(&text), short })
}
