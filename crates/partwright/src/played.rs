//! A take written out for the bars that it was played to, for the bench: beats, meter, swing and tuning are known, none of them is heard.

use bench::services::{Played, PlayedBar, Playing, Progress, Without};
use take::{Grid, Settings, TakenNote, Wishes, WrittenOut};
use wave::Buffer;

/// Writes out `audio`, played to the beats of `wanted`.
///
/// # Errors
/// A take that cannot be listened to, silence, and what holds nothing that sounds like a guitar.
pub fn played(audio: &Buffer, wanted: &Playing, progress: Progress<'_>) -> Result<Played, Without> {
    let failed = |why: &str| Without::Failed(why.into());
    let settings = Settings { instrument: wanted.instrument.clone(), bass: false, hand: neck::Hand::usual(), name: "take".into() };
    let (Some(first), Some(last)) = (wanted.beats.first(), wanted.beats.last()) else { return Err(failed("there are no bars")) };
    let minutes = (last - first) / 60.0;
    let bpm = (wanted.beats.len() - 1) as f64 / minutes;
    let wishes = Wishes { bpm: Some(bpm), from_s: Some(first.max(0.0)), meter: Some(wanted.meter), settings: settings.clone() };
    let taken = take::take(audio, &wishes, &|part| progress(part, "Writing the take out")).map_err(|e| Without::Failed(e.to_string()))?;
    if taken.notes.is_empty() && taken.scratches.is_empty() {
        return Err(failed(taken.remarks.first().map_or("nothing was heard that sounds like a guitar", |r| r)));
    }
    // The bars that were played to, which need not go at one tempo.
    let grid = Grid::heard(wanted.beats.clone(), 0, wanted.meter, wanted.swing).ok_or_else(|| failed("the bars are too short to be played to"))?;
    // What is played before them, such as a try at the count-in, is none of theirs.
    let beat = 60.0 / bpm;
    let inside = |t: f64| t > first - 0.4 * beat && t < last - 0.1 * beat;
    let keep: Vec<usize> = (0..taken.notes.len()).filter(|i| inside(taken.notes[*i].onset_s)).collect();
    let notes: Vec<TakenNote> = keep.iter().map(|i| taken.notes[*i].clone()).collect();
    let places: Vec<(u8, u8)> = keep.iter().map(|i| taken.places[*i]).collect();
    let scratches: Vec<_> = taken.scratches.iter().filter(|s| inside(s.onset_s)).cloned().collect();
    if notes.is_empty() && scratches.is_empty() {
        return Err(failed("nothing was played in these bars, only before or after them"));
    }
    let written = take::write_out(&notes, &places, &scratches, &grid, &settings);
    let (grips, bars) = bars_of(&written, &grid, wanted);
    Ok(Played { grips, bars, remarks: taken.remarks })
}

/// The letters and frets of its grips, and a line for each bar, silent where nothing was played.
fn bars_of(written: &WrittenOut, grid: &Grid, wanted: &Playing) -> (Vec<(char, String)>, Vec<PlayedBar>) {
    let silent = vec!["."; (grid.slots_per_beat() * wanted.meter.beats()) as usize].join(" ");
    let mut out = vec![PlayedBar { line: silent, doubtful: false }; wanted.bars];
    let lesson = lesson::read(&written.lesson).lesson;
    let Some(part) = lesson.passages.first().and_then(|p| p.parts.first()) else { return (vec![], out) };
    // Which of the bars the first one written is.
    let starts = |k: usize| grid.time(k as f64 * f64::from(wanted.meter.beats()));
    let early = i64::from(written.first_bar_s < starts(0) - 0.01);
    let first = (0..wanted.bars).min_by(|a, b| (starts(*a) - written.first_bar_s).abs().total_cmp(&(starts(*b) - written.first_bar_s).abs())).unwrap_or(0) as i64 - early;
    for (i, bar) in part.bars.iter().enumerate() {
        let line = written.lesson.get(bar.span.start..bar.span.end).filter(|_| written.lesson.as_bytes().get(bar.span.start.wrapping_sub(1)) == Some(&b'"'));
        let to = usize::try_from(first + i as i64).ok().and_then(|k| out.get_mut(k));
        if let (Some(line), Some(to)) = (line, to) {
            *to = PlayedBar { line: line.to_string(), doubtful: bar.guess };
        }
    }
    (part.grips.iter().map(|g| (g.letter, g.grip.to_string())).collect(), out)
}
