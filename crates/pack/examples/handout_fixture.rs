//! Writes a handout of a made-up lesson, and beside it what must be found in it, for `checks/handout`.
//!
//! `handout_fixture OUT.pdf [a4|letter] [PASSAGES] [left]`

use std::error::Error;

use engrave::{Frame, Item, SystemOptions, neck_diagram, systems};
use neck::{Grip, Hand, Instrument, finger};
use pack::handout::{Diagram, HandoutInput, Note, Paper, Passage, Revision, content_width_pt, handout};
use pitch::Symbol;

fn main() -> Result<(), Box<dyn Error>> {
    let mut args = std::env::args().skip(1);
    let out = args.next().ok_or("usage: handout_fixture OUT.pdf [a4|letter] [PASSAGES] [left]")?;
    let paper = if args.next().as_deref() == Some("letter") { Paper::Letter } else { Paper::A4 };
    let passages = args.next().map_or(Ok(6), |n| n.parse())?;
    let input = lesson(paper, passages, args.next().is_some());
    let start = std::time::Instant::now();
    let pdf = handout(&input)?;
    eprintln!("{} bytes in {} ms", pdf.len(), start.elapsed().as_millis());
    std::fs::write(&out, pdf)?;
    std::fs::write(format!("{out}.json"), expected(&input).to_string())?;
    Ok(())
}

/// What a reader of the PDF must find.
fn expected(input: &HandoutInput) -> serde_json::Value {
    let frames = |p: &Passage| p.diagrams.iter().map(|d| d.frame.clone()).chain(p.systems.clone()).collect::<Vec<_>>();
    let all: Vec<Frame> = input.passages.iter().flat_map(frames).collect();
    let drawn: Vec<String> = all.iter().flat_map(|f| texts(&f.items)).collect();
    serde_json::json!({
        "title": input.title,
        "language": input.language,
        "paper": input.paper.size_pt(),
        "side": (input.paper.size_pt().0 - content_width_pt(input.paper)) / 2.0,
        "passages": input.passages.iter().map(|p| &p.title).collect::<Vec<_>>(),
        "words": std::iter::once(&input.needs)
            .chain(input.notes.iter().map(|n| &n.text))
            .chain(input.passages.iter().flat_map(|p| {
                std::iter::once(&p.facts)
                    .chain(&p.record_places)
                    .chain(std::iter::once(&p.record_pitch))
                    .chain(p.notes.iter().flat_map(|n| [&n.at, &n.text]))
                    .chain(p.diagrams.iter().map(|d| &d.caption))
                    .chain(&p.findings)
            }))
            .chain(input.revisions.iter().flat_map(|r| [&r.date, &r.text]))
            .chain([&input.care, &input.rights])
            .filter(|w| !w.is_empty())
            .collect::<Vec<_>>(),
        "drawn": drawn,
        "alts": all.iter().map(|f| &f.alt).collect::<Vec<_>>(),
    })
}

fn texts(items: &[Item]) -> Vec<String> {
    items
        .iter()
        .flat_map(|item| match item {
            Item::Text(text) => vec![text.text.clone()],
            Item::Group { items, .. } => texts(items),
            _ => Vec::new(),
        })
        .collect()
}

/// A lesson in an invented scenario, with as many passages as asked for.
fn lesson(paper: Paper, passages: usize, left_handed: bool) -> HandoutInput {
    let titles = ["Verse vamp", "Turn into the chorus", "Chorus, two guitars", "The B♭ climb", "Sixths in pairs", "Last bars"];
    let mut input = HandoutInput {
        paper,
        title: "Rain on Wharf Street".into(),
        needs: "a barre over three strings, scratches on sixteenths, a slide between two grips without losing the beat".into(),
        notes: vec![Note { at: String::new(), text: "Everything here sits on one quiet right hand: keep it swinging in sixteenths even where nothing sounds.".into() }],
        left_handed,
        revisions: vec![
            Revision { date: "2027-01-04".into(), text: "Bar 3 of the verse vamp had the wrong top note.".into() },
            Revision { date: "2027-02-19".into(), text: "The climb now shows the easier fingering first.".into() },
        ],
        ..HandoutInput::default()
    };
    for i in 0..passages {
        let round = i / titles.len();
        let title = if round == 0 { titles[i].to_string() } else { format!("{} ({})", titles[i % titles.len()], round + 1) };
        let grips: &[(&str, &str, &str)] = &[
            ("Cm7", "x x 8 8 8 x", "grip a, no root: the bass has it"),
            ("Bb7", "x x 6 7 6 x", "grip b"),
            ("Ebmaj9", "x 6 5 7 6 x", "grip c, fifth left out"),
            ("Fsus4", "x 8 10 10 11 x", "grip d, also read B♭sus2"),
            ("G7#5", "3 x 3 4 4 x", "grip e"),
            ("Ab6", "4 x 3 5 4 x", "grip f"),
        ];
        let many = 2 + (i * 2) % 5;
        input.passages.push(Passage {
            title,
            facts: "C minor · 102 beats a minute · 4/4 · sixteenths swung 54 % · standard tuning, no capo".into(),
            record_places: vec!["0:12.40 to 0:21.81".into(), "1:05.02 to 1:14.43".into()],
            record_pitch: "31 cents above concert pitch".into(),
            diagrams: grips.iter().take(many).map(|(name, frets, caption)| Diagram { frame: neck(name, frets, left_handed), caption: (*caption).into() }).collect(),
            systems: music(2 + (i * 3) % 7, 1 + i % 3, content_width_pt(paper)),
            smaller_systems: vec![],
            notes: vec![
                Note { at: "bar 2, beat 1".into(), text: "Let the little finger do nothing here.".into() },
                Note {
                    at: "bar 3".into(),
                    text: "The scratch before the beat is as loud as the chord. Hear it as a snare drum's ghost stroke, and leave the \
                           left hand lying on the strings without pressing; two fingers are safer than one, or a harmonic rings."
                        .into(),
                },
            ],
            map: None,
            findings: if i % 2 == 0 {
                vec![
                    "The two guitars share 3 of 16 slots a bar; elsewhere one fills what the other leaves.".into(),
                    "The line stays above the grips: they overlap by a tone only in bar 4.".into(),
                ]
            } else {
                Vec::new()
            },
        });
    }
    input
}

/// A grip as a neck diagram.
fn neck(name: &str, frets: &str, left_handed: bool) -> Frame {
    let guitar = Instrument::guitar();
    let grip = Grip::parse(frets).expect("a grip");
    let hand = finger(&grip, &guitar, &Hand::usual()).ok();
    let diagram = engrave::Diagram {
        left_handed,
        name: Symbol::parse(name).ok(),
        fingers: hand.as_ref().map(|h| h.fingers.clone()).unwrap_or_default(),
        barres: hand.as_ref().map(|h| h.barres.clone()).unwrap_or_default(),
        ..engrave::Diagram::default()
    };
    neck_diagram(&grip, &guitar, &diagram)
}

/// Systems of so many bars, one to three parts, set to the width.
fn music(bars: usize, parts: usize, width_pt: f64) -> Vec<Frame> {
    let chop = [
        r#"bar "a . x x  . a x .  . x a x  b@-1/b - . .""#,
        r#"bar "a . x x  . a x .  . x >a x  b@-1/b - a43' .""#,
    ];
    let line = [r#"bar "5:3 . . 5:3  . 4:3 H4:5 .  . . 5:3 .  x . 5:1 .""#, r#"bar "5:3 . 3:5^1 -  - . 4:5~ -  - . P4:3 .  . 5:3 /5:5 .""#];
    let floor = [r#"bar "3:3 . . .  . . 3:3 .  2:5 - . .  3:1 - . 3:3""#];
    let rows = |from: &[&str]| (0..bars).map(|i| from[i % from.len()]).collect::<Vec<_>>().join("\n");
    let mut text = String::from("lesson \"Rain on Wharf Street\" {\n passage \"p\" {\n tempo 102\n meter \"4/4\"\n slots 16\n key \"C minor\"\n chords \"Cm7 / / Bb7\"\n");
    text += &format!("part \"chop\" instrument=\"guitar\" {{\n grip \"a\" \"x x 8 8 8 x\"\n grip \"b\" \"x x 6 7 6 x\"\n{}\n}}\n", rows(&chop));
    if parts > 1 {
        text += &format!("part \"line\" instrument=\"guitar\" {{\n{}\n}}\n", rows(&line));
    }
    if parts > 2 {
        text += &format!("part \"floor\" instrument=\"bass\" {{\n{}\n}}\n", rows(&floor));
    }
    text += "}\n}\n";
    let reading = lesson::read(&text);
    assert!(!reading.lesson.passages.is_empty(), "{:?}", reading.problems);
    systems(&reading.lesson.passages[0], None, &SystemOptions { width_pt, ..SystemOptions::default() })
}
