//! Writes drawings for looking at, as SVG files: `cargo run --release -p engrave --example gallery -- OUT_DIR [LESSON.kdl [SPACE_PT [WIDTH_PT [all-strokes]]]]`.
//!
//! One sheet a passage, its systems one below the other, and its lock map; without a lesson the passages of `torture.kdl` and a set of neck diagrams.

use engrave::{Diagram, Frame, Item, Show, StrokeSigns, SystemOptions, LockMapOptions, lock_map, neck_diagram, svg, systems};
use neck::{Grip, Hand, Instrument, finger};
use pitch::{Degree, Key, Symbol};
use std::path::{Path, PathBuf};

fn main() -> std::io::Result<()> {
    let mut args = std::env::args().skip(1);
    let out = PathBuf::from(args.next().unwrap_or_else(|| "gallery".into()));
    std::fs::create_dir_all(&out)?;
    let Some(file) = args.next() else {
        passages(&out, include_str!("torture.kdl"), &SystemOptions { width_pt: 510.0, ..SystemOptions::default() })?;
        return diagrams(&out);
    };
    let number = |text: Option<String>, usual: f64| text.and_then(|t| t.parse().ok()).unwrap_or(usual);
    let space_pt = number(args.next(), 5.0);
    let width_pt = number(args.next(), 510.0);
    let stroke_signs = if args.next().is_some() { StrokeSigns::All } else { StrokeSigns::Written };
    passages(&out, &std::fs::read_to_string(file)?, &SystemOptions { space_pt, width_pt, stroke_signs, ..SystemOptions::default() })
}

fn passages(out: &Path, text: &str, options: &SystemOptions) -> std::io::Result<()> {
    let reading = lesson::read(text);
    for problem in &reading.problems {
        eprintln!("{problem:?}");
    }
    for passage in &reading.lesson.passages {
        let sheet = stacked(&systems(passage, None, options), 14.0);
        std::fs::write(out.join(format!("{}.svg", passage.id)), svg(&sheet, &passage.id))?;
        println!("{}\n", sheet.alt);
        let map = lock_map(passage, &lock::lock_map(passage, &lock::harmony(passage)), &LockMapOptions { width_pt: options.width_pt, ..LockMapOptions::default() });
        std::fs::write(out.join(format!("{}-lock.svg", passage.id)), svg(&map, &passage.id))?;
        println!("{}\n", map.alt);
    }
    Ok(())
}

/// Frames one below the other.
fn stacked(frames: &[Frame], gap: f64) -> Frame {
    let mut sheet = Frame::default();
    for frame in frames {
        let y = if sheet.items.is_empty() { 0.0 } else { sheet.height_pt + gap };
        sheet.items.extend(frame.items.iter().cloned().map(|i: Item| i.placed(1.0, 0.0, y)));
        sheet.width_pt = sheet.width_pt.max(frame.width_pt);
        sheet.height_pt = y + frame.height_pt;
        sheet.alt += &format!("{} ", frame.alt);
    }
    sheet
}

fn diagrams(out: &std::path::Path) -> std::io::Result<()> {
    let guitar = Instrument::guitar();
    let cases = [
        ("x 3 2 0 1 0", "C", Show::Fingers, "x R 3 5 R 3"),
        ("1 3 3 2 1 1", "F", Show::Fingers, "R 5 R 3 5 R"),
        ("x 10 12 10 11 10", "Gm7", Show::Degrees, "x R 5 b7 b3 5"),
        ("x x 8 8 8 x", "Cm7", Show::Notes, "x x b7 b3 5 x"),
        ("x 2 1 2 3 x", "B7#9", Show::Degrees, "x R 3 b7 #9 x"),
        ("x 0 2 2 1 0", "Am", Show::Degrees, "x R 5 R b3 5"),
        ("x x 8 10 9 12", "Bb7#11", Show::Degrees, "x x R b5 b7 #11"),
        ("3 x 0 0 0 3", "G", Show::Plain, "R x 5 R 3 R"),
    ];
    for (i, (frets, name, show, degrees)) in cases.into_iter().enumerate() {
        let grip = Grip::parse(frets).expect("a grip");
        let hand = finger(&grip, &guitar, &Hand::usual()).ok();
        for left_handed in [false, true] {
            let diagram = Diagram {
                show,
                left_handed,
                name: Symbol::parse(name).ok(),
                fingers: hand.as_ref().map(|h| h.fingers.clone()).unwrap_or_default(),
                barres: hand.as_ref().map(|h| h.barres.clone()).unwrap_or_default(),
                degrees: degrees.split(' ').map(Degree::parse).collect(),
                parent: (i == 3).then(|| Grip::parse("8 10 8 8 8 8").expect("a grip")),
                parent_name: (i == 3).then(|| "Em7 form".to_string()),
                key: Key::parse("C minor").ok(),
                guess: i == 6,
                ..Diagram::default()
            };
            let frame = neck_diagram(&grip, &guitar, &diagram);
            let hand = if left_handed { "left" } else { "right" };
            std::fs::write(out.join(format!("diagram-{i}-{hand}.svg")), svg(&frame, &format!("d{i}")))?;
        }
    }
    let capo = Instrument { capo: 3, ..Instrument::guitar() };
    let diagram = Diagram {
        name: Symbol::parse("Am7").ok(),
        sounding: Symbol::parse("Cm7").ok(),
        label: Some("b".into()),
        fingers: finger(&Grip::parse("x 0 2 0 1 0").expect("a grip"), &capo, &Hand::usual()).map(|h| h.fingers).unwrap_or_default(),
        ..Diagram::default()
    };
    std::fs::write(out.join("diagram-capo.svg"), svg(&neck_diagram(&Grip::parse("x 0 2 0 1 0").expect("a grip"), &capo, &diagram), "c"))?;
    let seven = Instrument { tuning: neck::Tuning::guitar("standard", 7).expect("a tuning"), ..Instrument::guitar() };
    let grip = Grip::parse("1 x 3 4 3 x x").expect("a grip");
    let hand = finger(&grip, &seven, &Hand::usual()).expect("playable");
    let diagram = Diagram { fingers: hand.fingers, barres: hand.barres, name: Symbol::parse("Cm").ok(), ..Diagram::default() };
    std::fs::write(out.join("diagram-seven.svg"), svg(&neck_diagram(&grip, &seven, &diagram), "s"))?;
    let bass = Instrument::bass();
    let diagram = Diagram { show: Show::Degrees, degrees: ["R", "x", "b7", "b3"].map(Degree::parse).to_vec(), ..Diagram::default() };
    std::fs::write(out.join("diagram-bass.svg"), svg(&neck_diagram(&Grip::parse("8 x 8 8").expect("a grip"), &bass, &diagram), "b"))
}
