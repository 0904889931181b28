//! Names, places and numbers as a teacher would say them.

use crate::map::{MapBar, Range, drum_word};
use lesson::{Beats, Drum, Part, Passage};
use pitch::{Interval, Key, Midi, Spelled, Spelling, Symbol};

/// A part as it is spoken of: "the chop", "the bells"; a name that begins with a capital or a digit stands without "the".
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Name {
    pub text: String,
    /// A name in the plural takes verbs in the plural.
    plural: bool,
}

impl Name {
    pub(crate) fn of(part: &Part) -> Name {
        Name::new(&part.name)
    }

    pub(crate) fn drum(drum: Drum) -> Name {
        Name::new(drum_word(drum))
    }

    pub(crate) fn new(name: &str) -> Name {
        let article = name.chars().next().is_some_and(char::is_lowercase);
        let plural = article && name.ends_with('s') && !["ss", "us", "is"].iter().any(|e| name.ends_with(e));
        Name { text: if article { format!("the {name}") } else { name.to_string() }, plural }
    }

    /// "the chop's", "the bells'", "the bass's".
    pub(crate) fn own(&self) -> String {
        format!("{}{}", self.text, if self.plural { "'" } else { "'s" })
    }

    /// The form of a verb that goes with it.
    pub(crate) fn verb<'a>(&self, one: &'a str, many: &'a str) -> &'a str {
        if self.plural { many } else { one }
    }
}

/// A sentence: a capital in front, a full stop behind.
pub(crate) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| format!("{}{}.", c.to_uppercase(), chars.as_str()))
}

/// "a", "a and b", "a, b and c".
pub(crate) fn list(of: &[String]) -> String {
    match of {
        [] => String::new(),
        [one] => one.clone(),
        [head @ .., last] => format!("{} and {last}", head.join(", ")),
    }
}

/// "once", "twice", "5 times".
pub(crate) fn times(n: usize) -> String {
    match n {
        1 => "once".into(),
        2 => "twice".into(),
        n => format!("{n} times"),
    }
}

/// Onsets a bar, to a tenth.
pub(crate) fn a_bar(density: f64) -> String {
    let text = format!("{density:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_string)
}

/// `bar.beat`, or `bar.beat.slot` off the beat, as the lesson file counts; the slots are those of the first part that has one
/// there. In a bracket `bar.beat` alone.
pub(crate) fn place(passage: &Passage, bar: usize, at: Beats) -> String {
    let Some(b) = passage.bars.get(bar) else { return String::new() };
    let beat = b.meter.beat();
    let full = (at / beat).floor();
    let into = at - full * beat;
    let head = format!("{}.{}", b.number, full.to_integer() + 1);
    if into == Beats::from_integer(0) {
        return head;
    }
    let slots = passage.parts.iter().filter_map(|p| p.bars.get(bar)).filter(|p| p.slots > 0).map(|p| b.length / Beats::from_integer(i64::from(p.slots)));
    match slots.map(|s| into / s).find(|n| n.is_integer()) {
        Some(n) => format!("{head}.{}", n.to_integer() + 1),
        None => head,
    }
}

/// Several places; of more than four the first three.
pub(crate) fn places(passage: &Passage, at: &[(usize, Beats)]) -> String {
    let mut all: Vec<String> = at.iter().map(|(b, a)| place(passage, *b, *a)).collect();
    all.dedup();
    if all.len() > 4 {
        let more = all.len() - 3;
        all.truncate(3);
        return format!("{} and {more} more", all.join(", "));
    }
    list(&all)
}

const NUMBERS: [&str; 12] = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"];
const ORDINALS: [&str; 2] = ["second", "third"];

/// A place in a bar that comes back, counted aloud: "one", "the and of two", "the last sixteenth of four", "the third eighth of two" in
/// compound time; `None` in between.
pub(crate) fn position(bar: &MapBar, at: Beats) -> Option<String> {
    let full = (at / bar.beat).floor();
    let number = NUMBERS.get(usize::try_from(full.to_integer()).ok()?)?;
    let into = (at - full * bar.beat) / bar.beat;
    let compound = *bar.beat.numer() == 3;
    let part = |of: i64| {
        let n = into * Beats::from_integer(of);
        n.is_integer().then(|| n.to_integer())
    };
    if into == Beats::from_integer(0) {
        return Some((*number).to_string());
    }
    let unit = |quarters: Beats| match (*quarters.numer(), *quarters.denom()) {
        (1, 1) => "quarter",
        (1, 2) => "eighth",
        (1, 4) => "sixteenth",
        _ => "part",
    };
    if compound {
        let n = part(3)?;
        return Some(format!("the {} {} of {number}", ORDINALS.get(n as usize - 1)?, unit(bar.beat / Beats::from_integer(3))));
    }
    match part(4)? {
        2 => Some(format!("the and of {number}")),
        n => Some(format!("the {} {} of {number}", if n == 1 { "second" } else { "last" }, unit(bar.beat / Beats::from_integer(4)))),
    }
}

/// Places that come back in most of the bars: those positions that at least three of four full bars (two at least) have, as
/// "one and three of every bar"; and the places that are left. `None` where no position comes back.
pub(crate) fn recurring(bars: &[MapBar], at: &[(usize, Beats)]) -> Option<(String, Vec<(usize, Beats)>)> {
    let full: Vec<usize> = (0..bars.len()).filter(|b| bars[*b].number > 0).collect();
    let mut seen: Vec<(Beats, usize)> = Vec::new();
    for (_, at) in at.iter().filter(|(b, _)| bars[*b].number > 0) {
        match seen.iter_mut().find(|s| s.0 == *at) {
            Some(s) => s.1 += 1,
            None => seen.push((*at, 1)),
        }
    }
    seen.retain(|s| s.1 >= 2 && 4 * s.1 >= 3 * full.len());
    seen.sort();
    // Bars of several meters have no common positions to count by.
    if seen.is_empty() || seen.len() > 4 || full.iter().any(|b| bars[*b].length != bars[full[0]].length || bars[*b].beat != bars[full[0]].beat) {
        return None;
    }
    let words: Option<Vec<String>> = seen.iter().map(|s| position(&bars[full[0]], s.0)).collect();
    let every = if seen.iter().all(|s| s.1 == full.len()) { "of every bar" } else { "of most bars" };
    let rest = at.iter().copied().filter(|(b, a)| bars[*b].number == 0 || !seen.iter().any(|s| s.0 == *a)).collect();
    Some((format!("{} {every}", list(&words?)), rest))
}

/// A pitch with its octave: as the chord at its place spells it, otherwise as the key does.
pub(crate) fn note(key: Option<Key>, chord: Option<&Symbol>, midi: Midi) -> String {
    Spelled::from_midi(midi, spelling(key, chord, midi)).to_string()
}

/// "C4 to G4", or the one note.
pub(crate) fn span(key: Option<Key>, r: Range) -> String {
    if r.low == r.high { note(key, None, r.low) } else { format!("{} to {}", note(key, None, r.low), note(key, None, r.high)) }
}

/// A pitch's name without its octave.
pub(crate) fn spelling(key: Option<Key>, chord: Option<&Symbol>, midi: Midi) -> Spelling {
    let tone = chord.and_then(|s| Some(s.degree_of(midi.class())?.spell(s.root))).filter(|s| s.alter.abs() <= 2);
    tone.unwrap_or_else(|| key.unwrap_or(Key::PLAIN).spell_class(midi.class()))
}

/// How far a pitch lies over another: "a minor third", "an octave", "two octaves and a perfect fifth".
pub(crate) fn interval(key: Option<Key>, low: Midi, high: Midi) -> String {
    let semitones = high.0.saturating_sub(low.0);
    let octaves = semitones / 12;
    let key = key.unwrap_or(Key::PLAIN);
    let rest = Interval::between(key.spell(low), key.spell(Midi(high.0.saturating_sub(12 * octaves)))).to_string();
    let rest = format!("{} {rest}", if rest.starts_with('a') { "an" } else { "a" });
    let many = match octaves {
        0 => return rest,
        1 => "an octave".to_string(),
        n => format!("{} octaves", number(usize::from(n))),
    };
    if semitones.is_multiple_of(12) { many } else { format!("{many} and {rest}") }
}

/// Small numbers in words.
pub(crate) fn number(n: usize) -> String {
    n.checked_sub(1).and_then(|i| NUMBERS.get(i)).map_or(n.to_string(), |w| (*w).to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_take_their_verbs() {
        for (name, text, own, verb) in [
            ("chop", "the chop", "the chop's", "strikes"),
            ("bells", "the bells", "the bells'", "strike"),
            ("bass", "the bass", "the bass's", "strikes"),
            ("chorus", "the chorus", "the chorus's", "strikes"),
            ("Ines", "Ines", "Ines's", "strikes"),
            ("2nd guitar", "2nd guitar", "2nd guitar's", "strikes"),
        ] {
            let n = Name::new(name);
            assert_eq!((n.text.as_str(), n.own().as_str(), n.verb("strikes", "strike")), (text, own, verb));
        }
        assert_eq!(sentence("the chop rests"), "The chop rests.");
    }

    #[test]
    fn intervals_as_spoken() {
        // common practice
        for (low, high, words) in [(60, 63, "a minor third"), (60, 72, "an octave"), (40, 64, "two octaves"), (40, 67, "two octaves and a minor third"), (60, 62, "a major second"), (53, 59, "an augmented fourth")] {
            assert_eq!(interval(None, Midi(low), Midi(high)), words);
        }
        // Over D7 the note is F#, whatever the key of F says.
        let (key, chord) = (Key::parse("F major").ok(), Symbol::parse("D7").unwrap());
        assert_eq!(note(key, Some(&chord), Midi(54)), "F#3");
        assert_eq!(note(key, None, Midi(54)), "Gb3");
    }

    #[test]
    fn positions_are_counted_aloud() {
        // common practice
        let bar = |beat: Beats, length: i64| MapBar { number: 1, start: Beats::default(), length: Beats::from_integer(length), beat, slots: 16 };
        let four = bar(Beats::from_integer(1), 4);
        for (n, d, words) in [(0, 1, "one"), (3, 1, "four"), (3, 2, "the and of two"), (15, 4, "the last sixteenth of four"), (1, 4, "the second sixteenth of one")] {
            assert_eq!(position(&four, Beats::new(n, d)).as_deref(), Some(words));
        }
        assert_eq!(position(&four, Beats::new(1, 3)), None);
        let six_eight = bar(Beats::new(3, 2), 3);
        assert_eq!(position(&six_eight, Beats::new(5, 2)).as_deref(), Some("the third eighth of two"));
        assert_eq!(position(&six_eight, Beats::new(3, 2)).as_deref(), Some("two"));
    }

    #[test]
    fn places_count_as_the_lesson_file_does() {
        let text = r#"lesson "t" { passage "p" { tempo 90; slots 16; part "g" instrument="guitar" { pickup ". 3:5"; bar "3:5 . . .  . . . .  . . . .  [3:5 3:5 3:5]=2 . ." } } }"#;
        let p = &lesson::read(text).lesson.passages[0];
        let at = |n, d| Beats::new(n, d);
        assert_eq!(place(p, 0, at(1, 4)), "0.1.2");
        assert_eq!(place(p, 1, at(0, 1)), "1.1");
        assert_eq!(place(p, 1, at(11, 4)), "1.3.4");
        // The second of three in the time of two sixteenths.
        assert_eq!(place(p, 1, at(19, 6)), "1.4");
    }

    #[test]
    fn a_place_in_every_bar_is_said_once() {
        let bars: Vec<MapBar> = (0..4).map(|b| MapBar { number: b + 1, start: Beats::from_integer(4 * i64::from(b)), length: Beats::from_integer(4), beat: Beats::from_integer(1), slots: 8 }).collect();
        let on = |at: &[(usize, i64)]| at.iter().map(|(b, h)| (*b, Beats::new(*h, 2))).collect::<Vec<_>>();
        // One of each bar, and the and of four in three of them.
        let (words, rest) = recurring(&bars, &on(&[(0, 0), (0, 7), (1, 0), (1, 7), (2, 0), (2, 7), (3, 0), (3, 3)])).unwrap();
        assert_eq!(words, "one and the and of four of most bars");
        assert_eq!(rest, on(&[(3, 3)]));
        assert_eq!(recurring(&bars, &on(&[(0, 0), (1, 0), (2, 0), (3, 0)])).unwrap().0, "one of every bar");
        assert_eq!(recurring(&bars, &on(&[(0, 0), (1, 2)])), None);
    }
}
