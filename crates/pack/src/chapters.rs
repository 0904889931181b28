//! Chapters of one continuous play-along track as WebVTT, from where each stretch begins and ends.
//!
//! The track plays the passages in order, each at every step of its tempo ladder; a chapter is one passage at one tempo. Who
//! lays out the track knows the times, so the chapters come in as times and titles.
//!
//! After a recording the times come from elsewhere: from taps, or from where the pack's own sound was found in it ([`wave::find_in`]).
//!
//! Source: W3C, WebVTT: The Web Video Text Tracks Format, sections 4.1 (file structure), 4.3 (chapters) and 6.4 (cue text).

use lesson::Lesson;
use std::fmt;
use wave::{Found, Seconds};

/// One chapter, in seconds from the track's beginning.
#[derive(Clone, Debug, PartialEq)]
pub struct Chapter {
    pub start_s: f64,
    pub end_s: f64,
    /// Any text; line breaks and runs of space become one space.
    pub title: String,
}

/// The chapter file. Chapters are put in order of their start; times below zero (or not a number) become zero, an end that
/// is not after its start becomes a millisecond after it, and a chapter without a title is called by its number. No chapters
/// give a file with its head alone.
///
/// ```
/// use pack::{Chapter, chapters};
/// let lesson = lesson::Lesson { title: "Rain & wind".into(), ..Default::default() };
/// let list = [Chapter { start_s: 0.0, end_s: 61.5, title: "Verse <slow>".into() }];
/// let text = chapters(&lesson, &list);
/// assert_eq!(text, "WEBVTT Rain & wind\n\n1\n00:00:00.000 --> 00:01:01.500\nVerse &lt;slow&gt;\n");
/// ```
pub fn chapters(lesson: &Lesson, chapters: &[Chapter]) -> String {
    let mut sorted: Vec<(u64, u64, &str)> = Vec::with_capacity(chapters.len());
    for c in chapters {
        let start = milliseconds(c.start_s);
        sorted.push((start, milliseconds(c.end_s).max(start + 1), &c.title));
    }
    sorted.sort_by_key(|(start, end, _)| (*start, *end));
    let mut out = String::from("WEBVTT");
    // The head's own line is plain text, but an arrow would make it a cue.
    let title = one_line(&lesson.title).replace("-->", "->");
    if !title.is_empty() {
        out.push(' ');
        out.push_str(&title);
    }
    out.push('\n');
    for (i, (start, end, title)) in sorted.into_iter().enumerate() {
        let mut title = escaped(&one_line(title));
        if title.is_empty() {
            title = format!("Chapter {}", i + 1);
        }
        out.push_str(&format!("\n{}\n{} --> {}\n{title}\n", i + 1, timestamp(start), timestamp(end)));
    }
    out
}

/// The chapters as plain text, a line each: `0:00 Title`, `1:02:05 Title`, whole seconds rounded down, in order of their starts. Titles as in [`chapters()`].
///
/// ```
/// let list = [pack::Chapter { start_s: 61.9, end_s: 70.0, title: "Verse & chorus".into() }];
/// assert_eq!(pack::chapters_text(&list), "1:01 Verse & chorus\n");
/// ```
pub fn chapters_text(chapters: &[Chapter]) -> String {
    let mut sorted: Vec<(u64, &str)> = chapters.iter().map(|c| (milliseconds(c.start_s), c.title.as_str())).collect();
    sorted.sort_by_key(|c| c.0);
    let mut out = String::new();
    for (i, (start, title)) in sorted.into_iter().enumerate() {
        let (h, m, s) = (start / 3_600_000, start / 60_000 % 60, start / 1000 % 60);
        let time = if h > 0 { format!("{h}:{m:02}:{s:02}") } else { format!("{m}:{s:02}") };
        let title = one_line(title);
        out.push_str(&if title.is_empty() { format!("{time} Chapter {}\n", i + 1) } else { format!("{time} {title}\n") });
    }
    out
}

/// Taps that do not make chapters.
#[derive(Clone, Debug, PartialEq)]
pub enum TapsError {
    /// Not one tap for each title.
    Count { found: usize, right: usize },
    /// A tap (counted from 1) that is no time after the one before, or not before the end.
    Order { tap: usize, found_s: f64, after_s: f64, before_s: f64 },
}

impl fmt::Display for TapsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            TapsError::Count { found, right } => write!(f, "found {found} taps for {right} chapters; right is one at the beginning of each"),
            TapsError::Order { tap, found_s, after_s, before_s } => write!(f, "tap {tap} at {found_s:.3} s; right is a time after {after_s:.3} s and before {before_s:.3} s"),
        }
    }
}

impl std::error::Error for TapsError {}

/// Chapters of a recording that ends at `end_s`, from one tap in it at the beginning of each, in the order of the titles. Each goes on to the next one.
pub fn chapters_from_taps(titles: &[String], taps_s: &[f64], end_s: f64) -> Result<Vec<Chapter>, TapsError> {
    if titles.len() != taps_s.len() {
        return Err(TapsError::Count { found: taps_s.len(), right: titles.len() });
    }
    let mut after = 0.0;
    for (i, tap) in taps_s.iter().enumerate() {
        if !(tap.is_finite() && (*tap > after || i == 0 && *tap >= 0.0) && *tap < end_s) {
            return Err(TapsError::Order { tap: i + 1, found_s: *tap, after_s: after, before_s: end_s });
        }
        after = *tap;
    }
    Ok(through(titles.iter().zip(taps_s).map(|(t, s)| (*s, t.clone())).collect(), end_s))
}

/// Chapters of a recording that ends at `end_s`, from where each title's sound was found in it, in whatever order they were played. What was not found has no
/// chapter, one whose beginning was cut off begins at 0; each goes on to the next one.
pub fn chapters_from_finds(titles: &[String], finds: &[Option<Found>], end_s: f64) -> Vec<Chapter> {
    let mut starts: Vec<(f64, String)> = titles.iter().zip(finds).filter_map(|(t, f)| Some((f.as_ref()?.start.0.max(0.0), t.clone()))).filter(|s| s.0 < end_s).collect();
    starts.sort_by(|a, b| a.0.total_cmp(&b.0));
    through(starts, end_s)
}

/// The chapters of a track at their times in a recording that ends at `end_s` and in which the track was found. What lies outside the recording is left out.
pub fn chapters_moved(track: &[Chapter], found: &Found, end_s: f64) -> Vec<Chapter> {
    let at = |s: f64| found.at(Seconds(s)).0;
    let moved = track.iter().map(|c| Chapter { start_s: at(c.start_s).max(0.0), end_s: at(c.end_s).min(end_s), title: c.title.clone() });
    moved.filter(|c| c.start_s < c.end_s).collect()
}

/// Each from its start to the next one's.
fn through(starts: Vec<(f64, String)>, end_s: f64) -> Vec<Chapter> {
    let ends: Vec<f64> = starts.iter().skip(1).map(|s| s.0).chain([end_s]).collect();
    starts.into_iter().zip(ends).map(|((start_s, title), end_s)| Chapter { start_s, end_s, title }).collect()
}

/// Text on one line: breaks, other control characters and runs of space become one space.
fn one_line(text: &str) -> String {
    let plain: String = text.chars().map(|c| if c.is_control() || matches!(c, '\u{2028}' | '\u{2029}') { ' ' } else { c }).collect();
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Cue text may not hold `&` or `<`; `>` is escaped too, so that no `-->` can arise.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

/// Rounded; the ceiling (about 11 years) keeps the sums far from overflow.
fn milliseconds(seconds: f64) -> u64 {
    if seconds.is_nan() { 0 } else { (seconds * 1000.0).round().clamp(0.0, 3.5e11) as u64 }
}

fn timestamp(ms: u64) -> String {
    format!("{:02}:{:02}:{:02}.{:03}", ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60, ms % 1000)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn chapter(start_s: f64, end_s: f64, title: &str) -> Chapter {
        Chapter { start_s, end_s, title: title.into() }
    }

    fn file(title: &str, list: &[Chapter]) -> String {
        chapters(&Lesson { title: title.into(), ..Default::default() }, list)
    }

    #[test]
    fn in_order_with_whole_times() {
        let text = file("", &[chapter(3725.0625, 3800.0, "second"), chapter(0.0, 59.9996, "first")]);
        let want = "WEBVTT\n\n1\n00:00:00.000 --> 00:01:00.000\nfirst\n\n2\n01:02:05.063 --> 01:03:20.000\nsecond\n";
        assert_eq!(text, want);
    }

    #[test]
    fn titles_are_data() {
        let text = file("a --> b\nWEBVTT", &[chapter(0.0, 1.0, "A & B\r\n\n00:00 --> <b>x</b>\u{2028}end"), chapter(1.0, 2.0, " \n")]);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines[0], "WEBVTT a -> b WEBVTT");
        assert_eq!(lines[4], "A &amp; B 00:00 --&gt; &lt;b&gt;x&lt;/b&gt; end");
        assert_eq!(lines[8], "Chapter 2");
        assert_eq!(lines.len(), 9);
    }

    #[test]
    fn odd_times_stay_times() {
        let text = file("", &[chapter(f64::NAN, -5.0, "a"), chapter(2.0, 2.0, "b"), chapter(400_000.0, f64::INFINITY, "c")]);
        assert!(text.contains("\n00:00:00.000 --> 00:00:00.001\na\n"), "{text}");
        assert!(text.contains("\n00:00:02.000 --> 00:00:02.001\nb\n"), "{text}");
        assert!(text.contains("\n111:06:40.000 --> "), "{text}");
        assert_eq!(file("", &[]), "WEBVTT\n");
    }

    #[test]
    fn plain_text_in_order() {
        let list = [chapter(3725.9, 3800.0, "b\nc"), chapter(59.999, 60.0, " "), chapter(-4.0, 1.0, "a")];
        assert_eq!(chapters_text(&list), "0:00 a\n0:59 Chapter 2\n1:02:05 b c\n");
        assert_eq!(chapters_text(&[]), "");
    }

    #[test]
    fn taps_begin_chapters() {
        let titles = ["a".to_string(), "b".to_string()];
        assert_eq!(chapters_from_taps(&titles, &[0.0, 61.5], 90.0).unwrap(), [chapter(0.0, 61.5, "a"), chapter(61.5, 90.0, "b")]);
        assert_eq!(chapters_from_taps(&titles, &[1.0], 90.0), Err(TapsError::Count { found: 1, right: 2 }));
        for (taps, wrong) in [([5.0, 5.0], 2), ([-1.0, 5.0], 1), ([5.0, 90.0], 2), ([f64::NAN, 5.0], 1), ([5.0, f64::INFINITY], 2)] {
            let Err(TapsError::Order { tap, .. }) = chapters_from_taps(&titles, &taps, 90.0) else { panic!("{taps:?}") };
            assert_eq!(tap, wrong, "{taps:?}");
        }
        let said = chapters_from_taps(&titles, &[5.0, 4.0], 90.0).unwrap_err().to_string();
        assert_eq!(said, "tap 2 at 4.000 s; right is a time after 5.000 s and before 90.000 s");
    }

    #[test]
    fn finds_begin_chapters() {
        let found = |start: f64| Some(Found { start: Seconds(start), ratio: 1.0, confidence: 1.0 });
        let titles = ["a", "b", "c", "d"].map(String::from);
        // Played in another order, one cut off at its beginning, one not found.
        let list = chapters_from_finds(&titles, &[found(40.0), None, found(-2.0), found(99.0)], 60.0);
        assert_eq!(list, [chapter(0.0, 40.0, "c"), chapter(40.0, 60.0, "a")]);
        let track = [chapter(0.0, 10.0, "a"), chapter(10.0, 20.0, "b"), chapter(20.0, 30.0, "c")];
        let moved = chapters_moved(&track, &Found { start: Seconds(-11.0), ratio: 1.5, confidence: 1.0 }, 30.0);
        assert_eq!(moved, [chapter(0.0, 4.0, "a"), chapter(4.0, 19.0, "b"), chapter(19.0, 30.0, "c")]);
        assert!(chapters_moved(&track, &found(60.0).unwrap(), 30.0).is_empty());
    }

    proptest! {
        /// Whatever the titles hold, each chapter is four lines and only timing lines hold an arrow.
        #[test]
        fn shape_holds(title in any::<String>(), list in prop::collection::vec((0f64..1e5, 0f64..1e5, any::<String>()), 0..6)) {
            let list: Vec<Chapter> = list.iter().map(|(s, e, t)| chapter(*s, *e, t)).collect();
            let text = file(&title, &list);
            prop_assert!(!text.contains('\r'));
            let lines: Vec<&str> = text.split('\n').collect();
            prop_assert_eq!(lines.len(), 2 + 4 * list.len());
            for (i, line) in lines.iter().enumerate() {
                prop_assert_eq!(line.contains("-->"), i >= 3 && (i - 3) % 4 == 0, "{}", line);
            }
        }
    }
}
