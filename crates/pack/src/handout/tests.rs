//! Tests of the handout as a whole: what comes out for which input.

use super::*;
use engrave::{Anchor, Face, Frame, Ink, Item, Path, Step, Stroke, Text};

/// A drawing with a digit, a flat sign and a line.
fn frame(width_pt: f64, height_pt: f64) -> Frame {
    let text = |text: &str, x_pt: f64| {
        Item::Text(Text { x_pt, y_pt: 20.0, size_pt: 10.0, face: Face::Bold, anchor: Anchor::Middle, text: text.into(), ink: Ink::Black })
    };
    let stroke = Stroke { ink: Ink::Grey, width_pt: 0.5, dash_pt: Some(2.0), round: true };
    let line = Path { steps: vec![Step::Move(0.0, 5.0), Step::Line(width_pt, 5.0)], fill: None, stroke: Some(stroke) };
    Frame { width_pt, height_pt, items: vec![text("12", 20.0), text("B♭7", 40.0), Item::Path(line)], alt: "twelve over B flat".into() }
}

fn passage(title: &str, systems: usize) -> Passage {
    Passage {
        title: title.into(),
        facts: "C minor · 4/4".into(),
        record_places: vec!["0:12.4 to 0:21.8".into()],
        record_pitch: "31 cents above concert pitch".into(),
        diagrams: vec![Diagram { frame: frame(80.0, 90.0), caption: "grip a".into() }; 3],
        systems: vec![frame(content_width_pt(Paper::A4), 80.0); systems],
        notes: vec![Note { at: "bar 2".into(), text: "Let it ring.".into() }],
        findings: vec!["The parts share four slots.".into()],
        ..Passage::default()
    }
}

fn lesson(passages: Vec<Passage>) -> HandoutInput {
    HandoutInput { title: "Rain on Wharf Street".into(), passages, ..HandoutInput::default() }
}

/// How the planned pages hold the pieces, as letters: T title, H head, D diagrams, S system, s subhead, n note, R section,
/// r revision, p small print.
fn planned(input: &HandoutInput) -> Vec<String> {
    let typesetter = typesetter::Typesetter::new();
    let (pieces, _, plan) = settle(input, &typesetter).unwrap();
    let letter = |i: usize| match pieces[i].kind {
        pieces::Kind::Title => 'T',
        pieces::Kind::Head => 'H',
        pieces::Kind::Diagrams => 'D',
        pieces::Kind::System => 'S',
        pieces::Kind::Subhead => 's',
        pieces::Kind::Note => 'n',
        pieces::Kind::Section => 'R',
        pieces::Kind::Revision => 'r',
        pieces::Kind::SmallPrint => 'p',
    };
    plan.iter().map(|page| page.pieces.clone().map(letter).collect()).collect()
}

/// Pages of a PDF, by its page objects' media boxes.
fn page_count(pdf: &[u8]) -> usize {
    let needle = b"/MediaBox";
    pdf.windows(needle.len()).filter(|w| w == needle).count()
}

fn contains(pdf: &[u8], words: &str) -> bool {
    pdf.windows(words.len()).any(|w| w == words.as_bytes())
}

#[test]
fn is_pdf_ua_1_with_title_language_and_bookmarks() {
    let pdf = handout(&lesson(vec![passage("Verse", 2)])).unwrap();
    assert!(pdf.starts_with(b"%PDF-1.7"));
    for words in ["pdfuaid:part>1<", "/Lang", "/StructTreeRoot", "/Outlines", "/MarkInfo", "/DisplayDocTitle true", "Rain on Wharf Street"] {
        assert!(contains(&pdf, words), "{words} is missing");
    }
    assert!(!contains(&pdf, "CreationDate"), "the clock got in");
}

#[test]
fn same_bytes_twice() {
    let input = lesson(vec![passage("Verse", 3), passage("Chorus", 4)]);
    assert_eq!(handout(&input).unwrap(), handout(&input).unwrap());
}

#[test]
fn a4_and_letter_differ_in_size_only() {
    assert!((content_width_pt(Paper::A4) - 487.2756).abs() < 1e-3);
    assert_eq!(content_width_pt(Paper::Letter), 504.0);
    let a4 = lesson(vec![passage("Verse", 2)]);
    let letter = HandoutInput { paper: Paper::Letter, ..a4.clone() };
    let (a4, letter) = (handout(&a4).unwrap(), handout(&letter).unwrap());
    assert!(contains(&letter, "[0 0 612 792]") && !contains(&a4, "[0 0 612 792]"));
    assert_eq!((page_count(&a4), page_count(&letter)), (1, 1));
}

#[test]
fn markup_is_printed_as_itself() {
    let wild = "#panic() *x* $y$ <b> @a `r` \\ [z] // = - + / \"q\" #{1/0} %PDF ~ ---";
    let mut input = lesson(vec![passage(wild, 1)]);
    input.title = wild.into();
    input.needs = wild.into();
    input.revisions = vec![Revision { date: wild.into(), text: wild.into() }];
    input.passages[0].notes[0].text = wild.into();
    input.passages[0].diagrams[0].caption = wild.into();
    input.passages[0].diagrams[0].frame.alt = wild.into();
    let pdf = handout(&input).unwrap();
    // The document's title in the metadata is the text, character for character.
    let metadata = String::from_utf8_lossy(&pdf);
    let title = metadata.split("x-default\">").nth(1).and_then(|rest| rest.split("</rdf:li>").next()).unwrap();
    let plain = title.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&");
    assert_eq!(plain, wild);
}

#[test]
fn an_empty_lesson_gives_one_page() {
    assert_eq!(page_count(&handout(&lesson(Vec::new())).unwrap()), 1);
    assert_eq!(page_count(&handout(&HandoutInput { care: String::new(), rights: String::new(), ..lesson(Vec::new()) }).unwrap()), 1);
    assert_eq!(handout(&lesson(Vec::new())).map(|_| ()), Ok(()));
    assert_eq!(handout(&HandoutInput::default()), Err(HandoutError::Empty { place: "title".into() }));
    let bare = Passage::default();
    assert_eq!(page_count(&handout(&lesson(vec![bare])).unwrap()), 1);
}

#[test]
fn forty_passages_keep_together() {
    let input = lesson((0..40).map(|i| passage(&format!("Passage {i}"), 1 + i % 4)).collect());
    let pages = planned(&input);
    assert_eq!(page_count(&handout(&input).unwrap()), pages.len());
    for page in &pages[1..] {
        assert!(page.starts_with(['H', 'R', 's', 'p']), "a page begins in a passage: {pages:?}");
    }
}

#[test]
fn a_passage_that_fits_is_not_parted_and_a_longer_one_is_shared_out() {
    // Five systems and the rest fill more than half a page each, so each passage takes a page of its own.
    let two = planned(&lesson(vec![passage("A", 4), passage("B", 4)]));
    assert_eq!(two, ["THDSSSSn", "HDSSSSnRsnsnp"]);
    // Eleven do not fit on one page: both pages hold about as many, and the heading stays with its music.
    let long = planned(&lesson(vec![passage("A", 11)]));
    assert_eq!(long.len(), 2);
    let systems: Vec<usize> = long.iter().map(|p| p.matches('S').count()).collect();
    assert!(systems[0].abs_diff(systems[1]) <= 3, "{long:?}");
    assert!(long[0].starts_with("THDS"));
}

#[test]
fn systems_are_set_smaller_where_that_saves_a_page_turn() {
    let at = |height: f64, count: usize| vec![frame(content_width_pt(Paper::A4), height); count];
    let mut input = lesson(vec![passage("A", 0)]);
    input.passages[0].findings.clear();
    input.passages[0].systems = at(150.0, 4);
    input.passages[0].smaller_systems = vec![at(120.0, 4), at(75.0, 4)];
    assert_eq!(planned(&input), ["THDSSSSnp"]);
    let smaller = input.clone();
    // It is the first that fits which is taken: the drawings show which.
    let (_, drawings, _) = settle(&smaller, &typesetter::Typesetter::new()).unwrap();
    let heights: Vec<f64> = drawings.iter().map(|d| d.height().to_pt()).filter(|h| *h > 95.0 || *h == 75.0).collect();
    input.passages[0].smaller_systems.clear();
    assert_eq!(planned(&input).len(), 2);
    assert!(heights == [75.0; 4], "{heights:?}");
    // Where nothing helps, the usual size is kept.
    input.passages[0].smaller_systems = vec![at(149.0, 4), at(148.0, 4)];
    let (_, drawings, plan) = settle(&input, &typesetter::Typesetter::new()).unwrap();
    assert_eq!(plan.len(), 2);
    assert_eq!(drawings.iter().filter(|d| d.height().to_pt() == 150.0).count(), 4);
}

#[test]
fn a_heading_is_never_left_behind() {
    for systems in 1..24 {
        for height in [60.0, 101.0, 170.0, 240.0] {
            let mut input = lesson(vec![passage("A", 2), passage("B", systems), passage("C", 1)]);
            input.passages[1].systems.iter_mut().for_each(|s| s.height_pt = height);
            let typesetter = typesetter::Typesetter::new();
            let (pieces, _) = pieces::cut(&input, &[0; 3], &typesetter).unwrap();
            // Heights near those measured; the planner alone is under test here.
            let heights: Vec<f64> = pieces.iter().map(|p| if p.kind == pieces::Kind::System { height } else { 40.0 }).collect();
            for page in pages::plan(&pieces, &heights, input.paper.text_height_pt()) {
                let last = pieces[page.pieces.end - 1].kind;
                assert!(!matches!(last, pieces::Kind::Head | pieces::Kind::Subhead | pieces::Kind::Section), "{systems} {height}");
                let used: f64 = page.pieces.clone().map(|i| heights[i]).sum::<f64>() + page.before_pt.iter().sum::<f64>();
                assert!(used <= input.paper.text_height_pt(), "{systems} {height}: {used}");
            }
        }
    }
}

#[test]
fn the_pages_set_are_the_pages_planned() {
    for systems in [1, 5, 6, 7, 8, 9, 15] {
        let input = lesson(vec![passage("A", systems), passage("B", 3), passage("C", systems)]);
        assert_eq!(page_count(&handout(&input).unwrap()), planned(&input).len(), "{systems} systems");
    }
}

#[test]
fn very_long_texts_run_over_pages() {
    let long = "Keep the wrist low and the thumb behind the neck. ".repeat(400);
    let mut input = lesson(vec![passage("Verse", 1)]);
    input.title = "A title that goes on ".repeat(30);
    input.passages[0].notes[0].text = long.clone();
    input.passages[0].title = "w".repeat(900);
    let pdf = handout(&input).unwrap();
    assert!(page_count(&pdf) >= 4);
    input.passages[0].notes[0].text = "x".repeat(40_000);
    assert!(matches!(handout(&input), Err(HandoutError::TooMuch { found: 40_000, .. })));
}

#[test]
fn letters_without_a_glyph_are_named() {
    let mut input = lesson(vec![passage("Verse", 1), passage("雨の街", 1)]);
    let error = handout(&input).unwrap_err();
    assert_eq!(error, HandoutError::NoGlyph { place: "passage 2, title".into(), character: '雨', text: "雨の街".into() });
    assert!(error.to_string().contains("U+96E8"), "{error}");
    input.passages[1].title = "Ζέφυρος, Дождь, Łódź, naïve, B♭ F♯ C♮, e\u{301}".into();
    handout(&input).unwrap();
    if let Item::Text(text) = &mut input.passages[1].systems[0].items[0] {
        text.text = "雨".into();
    }
    let error = handout(&input).unwrap_err();
    assert!(matches!(&error, HandoutError::NoGlyph { place, .. } if place == "passage 2, system 1"), "{error}");
}

#[test]
fn every_printed_text_is_checked() {
    let spoil: [(&str, fn(&mut HandoutInput, String)); 12] = [
        ("title", |i, t| i.title = t),
        ("needs", |i, t| i.needs = t),
        ("note 1", |i, t| i.notes = vec![Note { at: t, text: String::new() }]),
        ("passage 1, title", |i, t| i.passages[0].title = t),
        ("passage 1, facts", |i, t| i.passages[0].facts = t),
        ("passage 1, place in the record", |i, t| i.passages[0].record_places[0] = t),
        ("passage 1, pitch of the record", |i, t| i.passages[0].record_pitch = t),
        ("passage 1, diagram 2, caption", |i, t| i.passages[0].diagrams[1].caption = t),
        ("passage 1, note 1", |i, t| i.passages[0].notes[0].text = t),
        ("passage 1, finding 1", |i, t| i.passages[0].findings[0] = t),
        ("revision 1", |i, t| i.revisions = vec![Revision { date: String::new(), text: t }]),
        ("line of care", |i, t| i.care = t),
    ];
    for (place, spoil) in spoil {
        let mut input = lesson(vec![passage("Verse", 1)]);
        spoil(&mut input, "late 😀 rain".into());
        let found = handout(&input).unwrap_err();
        assert_eq!(found, HandoutError::NoGlyph { place: place.into(), character: '😀', text: "late 😀 rain".into() });
        spoil(&mut input, "bell \u{7} here".into());
        assert_eq!(handout(&input).unwrap_err(), HandoutError::Control { place: place.into(), character: '\u{7}' });
    }
}

#[test]
fn faulty_drawings_are_named() {
    let with = |change: fn(&mut Frame)| {
        let mut input = lesson(vec![passage("Verse", 1)]);
        change(&mut input.passages[0].systems[0]);
        handout(&input).unwrap_err().to_string()
    };
    assert!(with(|f| f.alt.clear()).starts_with("passage 1, system 1, alternative text: is empty"));
    assert!(with(|f| f.width_pt = f64::NAN).contains("area"));
    assert!(with(|f| f.height_pt = 3000.0).contains("487 by 2850") || with(|f| f.height_pt = 3000.0).contains("at half its size"));
    let path = |steps| Item::Path(Path { steps, fill: None, stroke: None });
    assert!(with(|f| f.items.push(Item::Glyph { code: 0x41, x_pt: 0.0, y_pt: 0.0, space_pt: 5.0, ink: Ink::Black })).contains("U+0041"));
    let mut input = lesson(vec![passage("Verse", 1)]);
    input.passages[0].systems[0].items.push(path(vec![Step::Line(1.0, 1.0)]));
    assert!(handout(&input).unwrap_err().to_string().contains("begin with a move"));
    input.passages[0].systems[0].items.pop();
    input.passages[0].systems[0].items.push(path(vec![Step::Move(1.0, f64::INFINITY)]));
    assert!(handout(&input).unwrap_err().to_string().contains("inf pt"));
}

#[test]
fn a_large_drawing_is_made_smaller() {
    let mut input = lesson(vec![passage("Verse", 1)]);
    input.passages[0].systems[0] = frame(700.0, 900.0);
    assert!(planned(&input).iter().any(|page| page.contains('S')));
    assert_eq!(page_count(&handout(&input).unwrap()), planned(&input).len());
}

#[test]
fn language_is_checked() {
    for wrong in ["", "e", "EN", "english", "e\""] {
        let input = HandoutInput { language: wrong.into(), ..lesson(Vec::new()) };
        assert_eq!(handout(&input), Err(HandoutError::Language { found: wrong.into() }));
    }
    let german = HandoutInput { language: "de".into(), ..lesson(Vec::new()) };
    assert!(contains(&handout(&german).unwrap(), "/Lang(de)"));
}

#[test]
fn white_space_and_direction_marks_are_cleaned() {
    let letters = letters::Letters::new();
    let clean = |text: &str| letters.clean("x", letters::Cut::Regular, text);
    assert_eq!(clean(" a\n\tb  \u{202E}c ").unwrap(), "a b c");
    assert_eq!(clean("\u{200B} ").unwrap(), "");
    assert_eq!(clean(&"w".repeat(37)).unwrap().matches(letters::BREAK).count(), 3);
    assert_eq!(letters.fit(letters::Cut::Regular, 10.0, "short", 100.0), "short");
    let fitted = letters.fit(letters::Cut::Regular, 10.0, &"long ".repeat(50), 100.0);
    assert!(fitted.ends_with('…') && letters.width_pt(letters::Cut::Regular, 10.0, &fitted) <= 100.0);
}
