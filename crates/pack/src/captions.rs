//! What is being played, bar by bar, as captions for a recording in which the play-along was found.

use crate::chapters::Chapter;
use lesson::{Beats, Passage};
use lock::{BarName, bar_names};

/// A caption for each bar as it is played at `tempo_percent` of the written tempo: passage, bar number, the names over the bar. Times are seconds from the beginning of
/// the first bar; the name of the bar before goes on where a bar brings none at its beginning. A tempo that is not above 0 gives none.
///
/// ```
/// let text = r#"lesson "t" { passage "verse" title="Verse" { tempo 120; slots 4; chords "Am7 / / / | D9 / G /"
///   part "g" instrument="guitar" { bar "3:5 . . ."; bar "3:7 . . ." } } }"#;
/// let list = pack::captions(&lesson::read(text).lesson.passages[0], 50.0);
/// assert_eq!(list.iter().map(|c| (c.start_s, c.end_s, c.title.as_str())).collect::<Vec<_>>(), [(0.0, 4.0, "Verse, bar 1: Am7"), (4.0, 8.0, "Verse, bar 2: D9, G")]);
/// ```
pub fn captions(passage: &Passage, tempo_percent: f64) -> Vec<Chapter> {
    if !(tempo_percent > 0.0) {
        return vec![];
    }
    let slower = 100.0 / tempo_percent;
    let title = if passage.title.is_empty() { &passage.id } else { &passage.title };
    let names = bar_names(passage);
    let start = Beats::from_integer(0);
    let end = passage.duration();
    let mut going_on: Option<&BarName> = None;
    let mut out = Vec::with_capacity(passage.bars.len());
    for (i, bar) in passage.bars.iter().enumerate() {
        let own: Vec<&BarName> = names.iter().filter(|n| n.bar == i).collect();
        let before = going_on.filter(|_| own.first().is_none_or(|n| n.at > start));
        let mut said: Vec<String> = before.into_iter().chain(own.iter().copied()).map(|n| n.symbol.text(passage.chord_names)).collect();
        said.dedup();
        going_on = own.last().copied().or(going_on);
        let place = if bar.number == 0 { "pickup".to_string() } else { format!("bar {}", bar.number) };
        let what = if said.is_empty() { String::new() } else { format!(": {}", said.join(", ")) };
        let to = if i + 1 < passage.bars.len() { passage.seconds(i + 1, start) } else { end };
        out.push(Chapter { start_s: passage.seconds(i, start) * slower, end_s: to * slower, title: format!("{title}, {place}{what}") });
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(inner: &str) -> Vec<Chapter> {
        captions(&lesson::read(&format!("lesson \"t\" {{ passage \"p\" {{ tempo 60; slots 4; {inner} }} }}")).lesson.passages[0], 100.0)
    }

    #[test]
    fn names_go_on_until_the_next_one() {
        let list = of("chords \"Am7 / / / | / / / / | / / D9 /\"; part \"g\" instrument=\"guitar\" { bar \"3:5 . . .\" times=3 }");
        assert_eq!(list.iter().map(|c| c.title.as_str()).collect::<Vec<_>>(), ["p, bar 1: Am7", "p, bar 2: Am7", "p, bar 3: Am7, D9"]);
    }

    #[test]
    fn bars_come_as_often_as_they_are_played_and_end_where_the_next_begins() {
        let list = of("part \"g\" instrument=\"guitar\" { repeat times=2 { bar \"3:5 . . .\" } }");
        assert_eq!(list.iter().map(|c| (c.start_s, c.end_s)).collect::<Vec<_>>(), [(0.0, 4.0), (4.0, 8.0)]);
        assert!(list.iter().all(|c| c.title.starts_with("p, bar ")));
    }

    #[test]
    fn nothing_gives_nothing() {
        assert_eq!(of(""), vec![]);
        let p = lesson::read("lesson \"t\" { passage \"p\" { tempo 60; slots 4; part \"g\" instrument=\"guitar\" { bar \"3:5 . . .\" } } }").lesson.passages.remove(0);
        assert_eq!((captions(&p, 0.0), captions(&p, f64::NAN)), (vec![], vec![]));
    }
}
