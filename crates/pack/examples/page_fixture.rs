//! A page to measure: steady tones instead of instruments, so that what sounds, how loud, in which bar and at which tempo, can be read off
//! the rendered samples. Written into a folder: `cargo run --release -p pack --example page_fixture -- DIR wav|opus`.
//!
//! | part | tone | |
//! |---|---|---|
//! | chop | 440 Hz | louder left than right |
//! | line | 1100 Hz | |
//! | floor | 110 Hz | |
//! | guide | 2400 Hz + 200 Hz for each bar | tells the bar |
//! | line, plain | 1700 Hz | the easier way to play the line |
//!
//! Clicks are at 7000 Hz, the count-in at 8000 Hz. Tones have a whole number of cycles in the passage, so that it goes round without a seam,
//! but not in a bar. The first round of the first passage begins with an eighth of a second of silence.

use engrave::{Anchor, Bounds, Face, Frame, Ink, Item, Stroke, Text, What};
use pack::page::{PageDiagram, PageInput, PageNote, PagePart, PagePassage, PageRevision, PageSound, PageStep, page};
use std::f64::consts::TAU;
use wave::Buffer;
use wave::encode_opus::Seam;

const RATE_HZ: u32 = 48_000;
const LEVEL: f64 = 0.12;
/// Frames behind the end of what goes round; length of the heads, the first half of them silent.
const OVERLAP: usize = 480;
const HEAD: usize = 12_000;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut arguments = std::env::args().skip(1);
    let (Some(folder), Some(format)) = (arguments.next(), arguments.next()) else {
        return Err("page_fixture DIR wav|opus".into());
    };
    let files = page(&lesson(&format)?);
    for (path, bytes) in files {
        let path = std::path::Path::new(&folder).join(path);
        if let Some(parent) = path.parent() {
            std::fs::create_dir_all(parent)?;
        }
        std::fs::write(path, bytes)?;
    }
    Ok(())
}

fn lesson(format: &str) -> Result<PageInput, Box<dyn std::error::Error>> {
    let wav = format == "wav";
    Ok(PageInput {
        title: "Rain on Wharf Street".into(),
        needs: vec!["a barre held for four bars".into(), "sixteenths with scratches".into()],
        about: vec!["Two guitars that never strike at the same time. Learn the chop first, then lay the line into its gaps.".into()],
        passages: vec![
            passage("verse", "Verse vamp", &[1, 2, 3, 4, 5, 6], &[60.0, 75.0, 90.0, 100.0], wav)?,
            passage("bridge", "Bridge, <b>\"ferry\" & bell</b><img src=x onerror=alert(1)>", &[0, 1, 2, 3], &[75.0, 100.0], wav)?,
        ],
        revisions: vec![PageRevision { date: "2027-01-04".into(), text: "Verse, bar 3 had the wrong top note. <script>alert(2)</script>".into() }],
        small_print: vec!["The music on this page was written for trying the page out.".into()],
        mime: if wav { "audio/wav" } else { "audio/ogg; codecs=opus" }.into(),
    })
}

fn passage(id: &str, title: &str, bar_numbers: &[u32], ladder: &[f64], wav: bool) -> Result<PagePassage, Box<dyn std::error::Error>> {
    let part = |name: &str, seat: &str| PagePart { name: name.into(), seat: seat.into(), easier_of: None };
    let instrument = neck::Instrument::guitar();
    let mut diagrams = Vec::new();
    for (i, (name, frets)) in [("Cm7", "x x 8 8 8 x"), ("B♭7", "x x 6 7 6 x")].into_iter().enumerate() {
        let grip = neck::Grip::parse(frets)?;
        let frame = engrave::neck_diagram(&grip, &instrument, &engrave::Diagram::default());
        diagrams.push(PageDiagram { name: name.into(), svg: engrave::svg(&frame, &format!("{id}-grip-{i}")) });
    }
    let systems = |bars: usize, kind: &str, width_pt: f64| {
        let drawn = bar_numbers.chunks(bars).enumerate();
        drawn.map(|(s, numbers)| engrave::svg(&system(numbers, s * bars, width_pt), &format!("{id}-{kind}-{s}"))).collect::<Vec<String>>()
    };
    Ok(PagePassage {
        id: id.into(),
        title: title.into(),
        facts: vec!["C minor".into(), "4/4".into()],
        notes: vec![
            PageNote { place: Some("Bar 2, beat 1".into()), text: "Let the little finger do nothing here.".into() },
            PageNote { place: None, text: "The scratches are as loud as the grips. <i>Really.</i>".into() },
        ],
        systems: systems(3, "wide", 520.0),
        narrow_systems: if id == "verse" { systems(2, "narrow", 300.0) } else { Vec::new() },
        diagrams,
        bar_numbers: bar_numbers.to_vec(),
        tempo_bpm: 132.0,
        parts: vec![
            part("chop", "left"),
            part("line", "right"),
            part("floor", "centre"),
            part("guide", ""),
            PagePart { name: "line, plain".into(), seat: "right".into(), easier_of: Some(1) },
        ],
        ladder: ladder.iter().map(|percent| step(bar_numbers, *percent, wav)).collect::<Result<_, _>>()?,
        record: vec!["0:12.4 to 0:21.8".into()],
        cents_note: Some("It lies 12 cents above concert pitch.".into()),
    })
}

fn step(bar_numbers: &[u32], percent: f64, wav: bool) -> Result<PageStep, Box<dyn std::error::Error>> {
    let beat_s = 60.0 / (132.0 * percent / 100.0);
    let mut starts = Vec::new();
    let mut length_s = 0.0;
    for number in bar_numbers {
        starts.push(length_s);
        length_s += beat_s * if *number == 0 { 1.0 } else { 4.0 };
    }
    let frames = (length_s * f64::from(RATE_HZ)).round() as usize;
    let round = Seam::Overlap { overlap_frames: OVERLAP };
    let encode = |channels: Vec<Vec<f32>>, seam: Seam| -> Result<PageSound, Box<dyn std::error::Error>> {
        let frames = channels[0].len() as u64;
        let bytes = if wav {
            let behind = if seam == Seam::Once { 0 } else { OVERLAP };
            let channels = channels.iter().map(|c| c.iter().chain(&c[..behind]).copied().collect()).collect();
            wave::encode_wav_f32(&Buffer::new(RATE_HZ, channels)?)?
        } else {
            wave::encode_opus::encode_ogg_opus_with(&Buffer::new(RATE_HZ, channels)?, 96_000, seam)?
        };
        Ok(PageSound { frames, bytes })
    };
    let sound = |samples: Vec<f32>, seam: Seam| encode(vec![samples], seam);

    let chop = tone(440.0, frames);
    let right = chop.iter().map(|v| v * 0.3).collect();
    let mut parts: Vec<(usize, Vec<Vec<f32>>)> = vec![(0, vec![chop, right])];
    parts.extend([(1, 1100.0), (2, 110.0), (4, 1700.0)].map(|(part, hz)| (part, vec![tone(hz, frames)])));
    parts.push((3, vec![guide(&starts, frames)]));
    let head = |c: &Vec<f32>| (0..HEAD).map(|n| if n < HEAD / 2 { 0.0 } else { c[n] }).collect();
    let heads = if bar_numbers.contains(&0) { Vec::new() } else { parts.iter().map(|(_, c)| encode(c.iter().map(head).collect(), Seam::Once)).collect::<Result<_, _>>()? };
    let stems = parts.into_iter().map(|(part, c)| Ok((part, encode(c, round)?.bytes))).collect::<Result<_, Box<dyn std::error::Error>>>()?;
    let beat = beat_s * f64::from(RATE_HZ);
    Ok(PageStep {
        percent,
        rate_hz: RATE_HZ,
        frames: frames as u64,
        overlap_frames: OVERLAP as u64,
        bar_starts_s: starts,
        stems,
        heads,
        click: Some(sound(clicks(7000.0, beat, frames), round)?),
        click_headroom_db: -6.0,
        count_in: Some(sound(clicks(8000.0, beat, (4.0 * beat).round() as usize), Seam::Once)?),
    })
}

/// A steady tone near `hz` that goes round in `frames`. One cycle more than a multiple of 6, so that no few bars of it go round.
fn tone(hz: f64, frames: usize) -> Vec<f32> {
    let cycles = (hz * frames as f64 / f64::from(RATE_HZ) / 6.0).round() * 6.0 + 1.0;
    (0..frames).map(|n| (LEVEL * (TAU * cycles * n as f64 / frames as f64).sin()) as f32).collect()
}

/// A tone of its own for each bar, silent at the bar lines.
fn guide(starts: &[f64], frames: usize) -> Vec<f32> {
    let border = |bar: usize| starts.get(bar).map_or(frames, |s| (s * f64::from(RATE_HZ)).round() as usize);
    let mut out = vec![0.0; frames];
    for bar in 0..starts.len() {
        let (from, to) = (border(bar), border(bar + 1));
        let hz = 2400.0 + 200.0 * bar as f64;
        for n in from..to {
            let edge = ((n - from).min(to - 1 - n) as f64 / 960.0).min(1.0);
            let swell = (TAU / 4.0 * edge).sin().powi(2);
            out[n] = (LEVEL * swell * (TAU * hz * n as f64 / f64::from(RATE_HZ)).sin()) as f32;
        }
    }
    out
}

/// 20 ms at the start of every beat.
fn clicks(hz: f64, beat: f64, frames: usize) -> Vec<f32> {
    let mut out = vec![0.0; frames];
    let mut at = 0.0;
    while (at as usize) + 960 < frames {
        for n in 0..960 {
            let swell = (TAU / 2.0 * n as f64 / 960.0).sin().powi(2);
            out[at as usize + n] = (0.3 * swell * (TAU * hz * n as f64 / f64::from(RATE_HZ)).sin()) as f32;
        }
        at += beat;
    }
    out
}

/// Six lines, bar lines, and a few figures in each bar.
fn system(numbers: &[u32], first: usize, width_pt: f64) -> Frame {
    let gap = 8.0;
    let top = 24.0;
    let text = |x: f64, y: f64, size: f64, text: &str| {
        Item::Text(Text { x_pt: x, y_pt: y, size_pt: size, face: Face::Regular, anchor: Anchor::Middle, text: text.into(), ink: Ink::Black })
    };
    let bar_width = (width_pt - 2.0) / numbers.len() as f64;
    let mut items = Vec::new();
    for (i, number) in numbers.iter().enumerate() {
        let x = 1.0 + bar_width * i as f64;
        let mut drawn = vec![text(x + 14.0, 14.0, 13.0, if number % 2 == 1 { "Cm7" } else { "B♭7" })];
        for line in 0..6 {
            let y = top + gap * f64::from(line);
            drawn.push(Item::line(x, y, x + bar_width, y, 0.5, Ink::Grey));
        }
        for slot in 0..8 {
            let at = x + bar_width * (f64::from(slot) + 0.7) / 8.5;
            let line = (slot * 2 + *number as i32) % 4 + 1;
            let y = top + gap * f64::from(line);
            drawn.push(Item::rect(at - 3.0, y - 3.5, 6.0, 7.0, Ink::Paper));
            drawn.push(text(at, y + 3.1, 9.0, ["8", "x", "6", "7"][slot as usize % 4]));
            drawn.push(Item::Path(engrave::Path {
                steps: vec![engrave::Step::Move(at, top + gap * 5.0 + 5.0), engrave::Step::Line(at, top + gap * 5.0 + 19.0)],
                fill: None,
                stroke: Some(Stroke::plain(Ink::Black, 0.8)),
            }));
        }
        for edge in [x, x + bar_width] {
            drawn.push(Item::line(edge, top, edge, top + gap * 5.0, 0.8, Ink::Black));
        }
        items.push(Item::Group { what: What::Bar { played: vec![first + i], x_pt: x, width_pt: bar_width }, items: drawn });
    }
    let height_pt = Bounds::of(&items).map_or(0.0, |b| b.bottom) + 6.0;
    let names: Vec<String> = numbers.iter().map(u32::to_string).collect();
    Frame { width_pt, height_pt, items, alt: format!("Tab, bars {}.", names.join(", ")) }
}
