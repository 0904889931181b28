//! What the page's script needs to know of bars, parts and tempos, as one data block, from the page's input.

use super::input::{PageInput, PagePassage, PageStep};
use super::sounds;
use serde::Serialize;

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Figures<'a> {
    mime: &'a str,
    passages: Vec<Passage<'a>>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Passage<'a> {
    name: &'a str,
    title: &'a str,
    bars: &'a [u32],
    parts: Vec<Part<'a>>,
    /// From slow to fast.
    steps: Vec<Step>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Part<'a> {
    name: &'a str,
    easier_of: Option<usize>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Step {
    percent: f64,
    rate: u32,
    /// Where each bar starts, and last where the passage ends, in frames.
    borders: Vec<u64>,
    name: String,
    script: String,
    /// The part that each stem belongs to.
    stems: Vec<usize>,
    click: bool,
    /// Gain up to which all may be played with the click on.
    click_headroom: f64,
    /// 0 where there are none.
    overlap_frames: u64,
    head_frames: u64,
    /// 0 where there is none.
    count_in_frames: u64,
}

/// The data block of the whole page. `names` are those of [`sounds::names`].
pub(super) fn figures(input: &PageInput, names: &[String]) -> String {
    let passages = input.passages.iter().zip(names).map(|(passage, name)| Passage {
        name,
        title: &passage.title,
        bars: &passage.bar_numbers,
        parts: passage.parts.iter().map(|p| Part { name: &p.name, easier_of: p.easier_of }).collect(),
        steps: passage.steps().into_iter().map(|step| step_figures(passage, name, step)).collect(),
    });
    sounds::as_script(&Figures { mime: &input.mime, passages: passages.collect() })
}

fn step_figures(passage: &PagePassage, name: &str, step: &PageStep) -> Step {
    let name = sounds::step_name(name, step.percent);
    Step {
        percent: step.percent,
        rate: step.rate_hz,
        borders: borders(step, passage.bar_numbers.len()),
        script: sounds::path(&name),
        name,
        stems: step.stems.iter().map(|(part, _)| *part).collect(),
        click: step.click.is_some(),
        click_headroom: wave::gain_from_db(step.click_headroom_db.clamp(-60.0, 0.0)),
        overlap_frames: step.overlap_frames,
        head_frames: step.heads.first().map_or(0, |sound| sound.frames),
        count_in_frames: step.count_in.as_ref().map_or(0, |sound| sound.frames),
    }
}

/// Bar borders in whole frames, never falling, none past the end; a bar without a start begins at the end.
fn borders(step: &PageStep, bars: usize) -> Vec<u64> {
    let mut last = 0;
    let mut borders: Vec<u64> = (0..bars)
        .map(|bar| {
            let start = step.bar_starts_s.get(bar).map_or(step.frames, |s| (s * f64::from(step.rate_hz)).round() as u64);
            last = start.clamp(last, step.frames);
            last
        })
        .collect();
    borders.push(step.frames);
    borders
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn borders_are_whole_frames_in_order() {
        let step = PageStep { rate_hz: 48_000, frames: 100_000, bar_starts_s: vec![0.0, 1.000_011, 0.5, 9.0], ..PageStep::default() };
        assert_eq!(borders(&step, 4), [0, 48_001, 48_001, 100_000, 100_000]);
        assert_eq!(borders(&step, 5), [0, 48_001, 48_001, 100_000, 100_000, 100_000]);
        let unfit = PageStep { rate_hz: 48_000, frames: 10, bar_starts_s: vec![f64::NAN, -1.0, f64::INFINITY], ..PageStep::default() };
        assert_eq!(borders(&unfit, 3), [0, 0, 10, 10]);
    }
}
