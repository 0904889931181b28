//! Properties of systems, on lessons made up at random and on one that holds every sign.

use super::*;
use crate::fonts::{FIGURE_MIN_PT, covers, ink_height};
use crate::frame::Text;
use crate::sizes::DIGITS;
use lesson::Lesson;
use proptest::prelude::*;

fn read(text: &str) -> Lesson {
    let reading = lesson::read(text);
    assert!(reading.is_sound(), "{:?}\n{text}", reading.problems);
    reading.lesson
}

/// A bar of `slots` tokens; the first is never a continuation.
fn bar(slots: usize) -> impl Strategy<Value = String> {
    let token = prop_oneof![
        4 => Just("."), 2 => Just("-"), 3 => Just("a"), 2 => Just("b"), 2 => Just("x"), 2 => Just("5:3"), 1 => Just("H4:5"), 1 => Just("/3:12"),
        1 => Just(">a"), 1 => Just("a'"), 1 => Just("2:8~"), 1 => Just("3:7^1"), 1 => Just("M6:0"), 1 => Just("(4:2)"), 1 => Just("N3:12"),
        1 => Just("b@-1/b"), 1 => Just("*a"), 1 => Just("Da"), 1 => Just("T1:15"), 1 => Just("3:9+x"), 1 => Just("3:17+4:17"),
    ];
    proptest::collection::vec(token, slots).prop_map(|mut tokens| {
        for i in 0..tokens.len() {
            // A hammered or slid note needs one before it on its string.
            let from = match tokens[i] {
                "H4:5" => "4:3",
                "/3:12" => "3:7",
                _ => continue,
            };
            match i.checked_sub(1) {
                Some(k) => tokens[k] = from,
                None => tokens[i] = from,
            }
        }
        // A continuation needs something that rings: only a plain stroke before it.
        for i in 0..tokens.len() {
            let rings = i > 0 && !matches!(tokens[i - 1], "." | "x" | "a'");
            if tokens[i] == "-" && !rings {
                tokens[i] = ".";
            }
        }
        tokens.join(" ")
    })
}

fn passage() -> impl Strategy<Value = (String, f64, f64)> {
    let meters = prop_oneof![Just(("4/4", 16usize)), Just(("4/4", 8)), Just(("3/4", 12)), Just(("6/8", 12)), Just(("5/4", 10)), Just(("12/8", 24))];
    (meters, 1usize..7).prop_flat_map(|((meter, slots), bars)| {
        let lines = || proptest::collection::vec(bar(slots), bars);
        (lines(), lines(), any::<bool>(), 300.0f64..620.0, 3.5f64..7.0).prop_map(move |(one, two, staff, width, space)| {
            let list = |bars: &[String]| bars.iter().map(|b| format!("bar \"{b}\"\n")).collect::<String>();
            let grips = "grip \"a\" \"x x 8 8 8 x\"\ngrip \"b\" \"x x 6 7 6 x\"\n";
            let staff = if staff { "staff=#true" } else { "" };
            let text = format!(
                "lesson \"Test\" {{ passage \"p\" title=\"Test\" {{\n tempo 90\n meter \"{meter}\"\n slots {slots}\n key \"C minor\"\n\
                 part \"one\" instrument=\"guitar\" {staff} {{\n{grips}{}}}\n part \"two\" instrument=\"guitar\" {{\n{grips}{}}}\n}}}}",
                list(&one),
                list(&two)
            );
            (text, width, space)
        })
    })
}

/// Stroke groups of a frame with the texts in each: part, bar, event, texts.
fn strokes(frame: &Frame) -> Vec<(usize, usize, usize, Vec<Text>)> {
    fn walk(items: &[Item], out: &mut Vec<(usize, usize, usize, Vec<Text>)>) {
        for item in items {
            if let Item::Group { what, items } = item {
                if let What::Stroke { part, bar, event } = what {
                    let texts = items.iter().filter_map(|i| if let Item::Text(t) = i { Some(t.clone()) } else { None }).collect();
                    out.push((*part, *bar, *event, texts));
                }
                walk(items, out);
            }
        }
    }
    let mut out = Vec::new();
    walk(&frame.items, &mut out);
    out
}

fn bars_of(frame: &Frame) -> Vec<(Vec<usize>, f64, f64)> {
    frame.items.iter().filter_map(|i| if let Item::Group { what: What::Bar { played, x_pt, width_pt }, .. } = i { Some((played.clone(), *x_pt, *width_pt)) } else { None }).collect()
}

fn check_inside(frame: &Frame) -> Result<(), TestCaseError> {
    for item in frame.leaves() {
        let b = item.bounds().expect("drawn");
        prop_assert!(b.left >= -0.01 && b.top >= -0.01 && b.right <= frame.width_pt + 0.01 && b.bottom <= frame.height_pt + 0.01, "{b:?} {item:?} in {} x {}", frame.width_pt, frame.height_pt);
        if let Item::Text(t) = item {
            prop_assert!(t.text.chars().all(|c| covers(t.face, c)), "{t:?}");
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn systems_hold((text, width, space) in passage()) {
        let lesson = read(&text);
        let p = &lesson.passages[0];
        let options = SystemOptions { width_pt: width, space_pt: space, ..SystemOptions::default() };
        let frames = systems(p, None, &options);
        prop_assert_eq!(&frames, &systems(p, None, &options), "the same twice");

        // Every printed bar once, in order.
        let mut printed: Vec<Vec<usize>> = frames.iter().flat_map(|f| bars_of(f).into_iter().map(|b| b.0)).collect();
        // A bar too full for its line comes in pieces.
        printed.dedup();
        let sheet: Vec<Vec<usize>> = lesson::sheet(p).into_iter().map(|s| s.played).collect();
        prop_assert_eq!(&printed, &sheet);

        for (k, frame) in frames.iter().enumerate() {
            check_inside(frame)?;
            prop_assert!((frame.width_pt - width).abs() < 1e-9);
            prop_assert!(!frame.alt.is_empty());
            let bars = bars_of(frame);
            // Bars join without gap; full lines end exactly at the width, unless they had to be drawn smaller.
            for w in bars.windows(2) {
                prop_assert!((w[0].1 + w[0].2 - w[1].1).abs() < 1e-6);
            }
            let shrunk = frame.leaves().iter().any(|i| matches!(i, Item::Text(t) if t.face == DIGITS && t.size_pt < Sizes::from_space(space).digit - 1e-9));
            prop_assert!(!shrunk, "figures keep their size");
            if k + 1 < frames.len() {
                let ink = frame.leaves().iter().filter_map(|i| i.bounds()).map(|b| b.right).fold(0.0, f64::max);
                prop_assert!(ink <= width + 0.01 && ink > width - 0.5, "ends at {ink} of {width}");
            }
            if !shrunk {
                for item in frame.leaves() {
                    if let Item::Text(t) = item {
                        for c in t.text.chars().filter(char::is_ascii_digit) {
                            prop_assert!(ink_height(t.face, t.size_pt, &c.to_string()).0 >= FIGURE_MIN_PT, "{t:?}");
                        }
                    }
                }
            }
        }

        // Figures: one a note that is struck, one more a slide within the stroke, brackets for notes tied into a line.
        let mut drawn: BTreeMap<(usize, usize, usize), usize> = BTreeMap::new();
        for frame in &frames {
            for (part, bar, event, texts) in strokes(frame) {
                *drawn.entry((part, bar, event)).or_default() += texts.iter().filter(|t| t.face == DIGITS && t.text.chars().any(|c| c.is_ascii_digit())).count();
            }
        }
        let line_starts: Vec<usize> = frames.iter().filter_map(|f| bars_of(f).first().map(|b| b.0[0])).collect();
        for (s, part) in p.parts.iter().enumerate() {
            for played in &sheet {
                let b = played[0];
                for (e, event) in part.bars[b].events.iter().enumerate() {
                    let bracketed = event.tie_in;
                    let want = if event.held || (bracketed && !line_starts.contains(&b)) {
                        0
                    } else {
                        event.notes.iter().filter(|t| !t.dead).map(|t| 1 + usize::from(t.slide_to.is_some() && !bracketed)).sum()
                    };
                    let have = drawn.get(&(s, b, e)).copied().unwrap_or(0);
                    // What sounds on past a cut is written again, in brackets.
                    let pieces = frames.iter().flat_map(bars_of).filter(|p| p.0[0] == b).count();
                    prop_assert!(have == want || (pieces > 1 && have > want && event.len > Beats::new(1, 4)), "part {} bar {} event {}: {} of {}", s, b, e, have, want);
                }
            }
        }

        // One moment, one x: single figures are centred on their column in every part.
        let mut columns: BTreeMap<(usize, Beats), f64> = BTreeMap::new();
        for frame in &frames {
            for (part, bar, event, texts) in strokes(frame) {
                let ev = &p.parts[part].bars[bar].events[event];
                if ev.notes.iter().any(|t| t.slide_to.is_some() || t.dead) {
                    continue;
                }
                // In a bar that comes in pieces, a note may have a second figure in brackets.
                let pieces = frames.iter().flat_map(bars_of).filter(|p| p.0[0] == bar).count();
                for t in texts.iter().filter(|t| pieces == 1 && t.face == DIGITS && t.anchor == Anchor::Middle) {
                    let x = columns.entry((bar, ev.at)).or_insert(t.x_pt);
                    prop_assert!((*x - t.x_pt).abs() < 1e-6, "bar {} at {}: {} and {}", bar, ev.at, x, t.x_pt);
                }
            }
        }

        let strip = system_strip(p, None, &options);
        check_inside(&strip)?;
        prop_assert_eq!(bars_of(&strip).len(), sheet.len());
    }
}

/// One part with the given bars, as frames.
fn set(head: &str, part: &str, bars: &[&str]) -> Vec<Frame> {
    let bars: String = bars.iter().map(|b| if b.contains('"') { format!("{b}\n") } else { format!("bar \"{b}\"\n") }).collect();
    let grips = "grip \"a\" \"x x 8 8 8 x\"\ngrip \"c\" \"x 3 2 0 1 0\" sure=\"guess\"\n";
    let text = format!(
        "lesson \"Test\" {{ passage \"p\" title=\"Test\" {{\n tempo 90\n meter \"4/4\"\n slots 8\n{head}\n part \"one\" instrument=\"guitar\" {part} {{\n{grips}{bars}}}\n}}}}"
    );
    systems(&read(&text).passages[0], None, &SystemOptions { width_pt: 700.0, ..SystemOptions::default() })
}

fn texts(frames: &[Frame]) -> Vec<String> {
    frames.iter().flat_map(|f| f.leaves()).filter_map(|i| if let Item::Text(t) = i { Some(t.text.clone()) } else { None }).collect()
}

fn glyphs_of(frames: &[Frame]) -> Vec<u32> {
    frames.iter().flat_map(|f| f.leaves()).filter_map(|i| if let Item::Glyph { code, .. } = i { Some(*code) } else { None }).collect()
}

fn paths(frames: &[Frame]) -> usize {
    frames.iter().flat_map(|f| f.leaves()).filter(|i| matches!(i, Item::Path(_))).count()
}

/// Each sign on its own against the same bar without it: what must be added.
#[test]
fn every_sign_is_drawn() {
    use crate::glyphs::*;
    let plain = |bar: &str| set("", "", &[bar]);
    let base = plain("a - 3:5 - 3:7 - - -");
    for (bar, words) in [
        ("a - 3:5 - H3:7 - - -", vec!["H"]),
        ("a - 3:7 - P3:5 - - -", vec!["P"]),
        ("a - 3:5 - M3:7 - - -", vec!["P.M."]),
        ("a - 3:5 - 3:7^1 - - -", vec!["full"]),
        ("a - 3:5 - 3:7^.5 - - -", vec!["1/2"]),
        ("a - 3:5 - 3:7!1 - - -", vec!["full"]),
        ("4:8 &3:8 &2:8 - 3:7 - - -", vec!["let ring"]),
        ("Ra - 3:5 - 3:7 - - -", vec!["rake"]),
        ("c - 3:5 - 3:7 - - -", vec!["?"]),
        ("a - 3:5 - (3:7) - - -", vec!["(7)"]),
        ("a - 3:5 - 3:7/9 - - -", vec!["9"]),
    ] {
        let drawn = texts(&plain(bar));
        for w in words {
            assert!(drawn.iter().any(|t| t == w), "{bar}: no {w} in {drawn:?}");
            assert!(!texts(&base).iter().any(|t| t == w), "{w} stands there without its sign");
        }
    }
    for (bar, code) in [
        (">a - 3:5 - 3:7 - - -", ACCENT_ABOVE),
        ("a' - 3:5 - 3:7 - - -".replace("a' -", "a' .").as_str(), STACCATO_ABOVE),
        ("Da - 3:5 - 3:7 - - -", DOWN_STROKE),
        ("Ua - 3:5 - 3:7 - - -", UP_STROKE),
        ("Ta - 3:5 - 3:7 - - -", TREMOLO_3),
        ("a - 3:5 - 3:7 - . .", REST_WHOLE + 2),
        ("a . 3:5 - 3:7 - - -", REST_WHOLE + 3),
    ] {
        assert!(glyphs_of(&plain(bar)).contains(&code), "{bar}: no U+{code:X}");
        assert!(!glyphs_of(&base).contains(&code), "U+{code:X} stands there without its sign");
    }
    // Signs that are paths: slides, vibrato, harmonics, a spread, dead notes, bends let down.
    // Every step of a bend is named.
    let named = texts(&plain("a - 3:5 - 3:7!.5^1 - ^.5 -"));
    assert_eq!(named.iter().filter(|t| *t == "1/2").count(), 2, "{named:?}");
    assert!(named.iter().any(|t| t == "full"));
    let release = (plain("a - 3:5 - 3:7^1 - ^0 -"), plain("a - 3:5 - 3:7^1 - - -"));
    assert!(paths(&release.0) > paths(&release.1));
    for bar in ["a - 3:5 - /3:7 - - -", "a - 3:5 - 3:7~ - - -", "a - 3:5 - N3:7 - - -", "*a - 3:5 - 3:7 - - -", "a* - 3:5 - 3:7 - - -"] {
        assert!(paths(&plain(bar)) > paths(&base), "{bar}");
    }
    // A down arrow and an up arrow differ.
    assert_ne!(plain("*a - 3:5 - 3:7 - - -"), plain("a* - 3:5 - 3:7 - - -"));
    let dead = plain("a - 3:5 - x . . .");
    assert_eq!(texts(&dead).iter().filter(|t| *t == "7").count(), 0);
}

#[test]
fn heading_and_words() {
    let text = texts(&set("swing 60 of=\"1/8\"\nchords \"Bbm7b5\"", "capo=2 sure=\"guess\"", &[
        "bar \"a - - - - - - -\" say=\"let it ring\" { level \"0 - - - 9 - - -\"; wah \"o - - - + - - -\" }",
        "repeat times=3 { bar \"a - - - - - - .\"; bar \"x x x x x x x x\" ending=\"1, 2\"; bar \"a - - - a - - -\" ending=3 }",
        "bar \"a - - - - -\" meter=\"3/4\" tempo=70 slots=6",
    ]));
    for want in ["= 90", "= 70", "swung eighths, 60 %", "capo 2", "one ?", "let it ring", "vol.", "0", "9", "wah", "o", "+", "1. 2.", "3.", "B", "♭", "m"] {
        assert!(text.iter().any(|t| t == want), "no {want} in {text:?}");
    }
    let lesson = read("lesson \"T\" { passage \"p\" sure=\"guess\" { tempo 90; part \"one\" instrument=\"guitar\" { bar \". . . . . . . . . . . . . . . .\" } } }");
    assert!(texts(&systems(&lesson.passages[0], None, &SystemOptions::default())).iter().any(|t| t.trim() == "?"));
    let text = texts(&set("", "", &["repeat times=3 { bar \"a - - - - - - .\" }", "x x x x x x x x"]));
    assert!(text.iter().any(|t| t == "3×"), "{text:?}");
}

#[test]
fn staff_writes_what_sounds() {
    use crate::glyphs::*;
    let frames = set("key \"D major\"", "staff=#true", &["5:3 - 5:4 - 5:3 - 4:4 -", "3:7 - - - - - - -"]);
    let codes = glyphs_of(&frames);
    // common practice: D major has two sharps; C natural needs a natural once, C sharp after it a sharp, the next C a natural again.
    assert_eq!(codes.iter().filter(|c| **c == SHARP).count(), 2 + 1);
    assert_eq!(codes.iter().filter(|c| **c == NATURAL).count(), 2);
    assert!(codes.contains(&G_CLEF_8VB) && codes.contains(&HEAD_WHOLE) && codes.contains(&HEAD_BLACK));
    // C3 lies on the second space from the top in the treble clef with an 8 below: y of its head = one and a half spaces.
    let frame = &frames[0];
    let heads: Vec<f64> = frame.leaves().iter().filter_map(|i| if let Item::Glyph { code: HEAD_BLACK, y_pt, .. } = i { Some(*y_pt) } else { None }).collect();
    let clef = frame.leaves().iter().find_map(|i| if let Item::Glyph { code: G_CLEF_8VB, y_pt, .. } = i { Some(*y_pt) } else { None }).unwrap();
    // The clef stands on G3; C3 is four steps, that is two spaces, below it.
    assert!((heads[0] - clef - 10.0).abs() < 1e-9, "{heads:?} {clef}");
}

/// Heads of a frame: code, x, y and size, in drawing order.
fn heads(frames: &[Frame]) -> Vec<(u32, f64, f64, f64)> {
    use crate::glyphs::*;
    frames
        .iter()
        .flat_map(|f| f.leaves())
        .filter_map(|i| match i {
            Item::Glyph { code, x_pt, y_pt, space_pt, .. } if matches!(*code, HEAD_WHOLE | HEAD_HALF | HEAD_BLACK | HEAD_X | HEAD_DIAMOND | HEAD_DIAMOND_OPEN) => {
                Some((*code, *x_pt, *y_pt, *space_pt))
            }
            _ => None,
        })
        .collect()
}

/// common practice: a slide or bend within the stroke goes to a small head; a pre-bent note stands where it sounds.
#[test]
fn slides_and_bends_stand_on_the_staff() {
    // y of heads in steps (half spaces) over the first head, small ones apart.
    let steps = |bar: &str| {
        let frames = set("key \"C major\"", "staff=#true", &[bar]);
        let all = heads(&frames);
        let zero = all[0].2;
        let list = |small: bool| all.iter().filter(|h| (h.3 < 4.9) == small).map(|h| libm::round((zero - h.2) / 2.5) as i32).collect::<Vec<i32>>();
        (list(false), list(true))
    };
    // C4 (string 3, fret 5) to D4, up an octave, down to A3.
    assert_eq!(steps("3:5/7 - - - - - - -"), (vec![0], vec![1]));
    assert_eq!(steps("3:5/17 - - - - - - -"), (vec![0], vec![7]));
    assert_eq!(steps("3:5/2 - - - - - - -"), (vec![0], vec![-2]));
    assert_eq!(steps("3:5^1 - - - - - - -"), (vec![0], vec![1]));
    assert_eq!(steps("3:5^1 - - - ^0 - - -"), (vec![0, 0], vec![1]));
    assert_eq!(steps("3:5 - ^1 - ^0 - - ."), (vec![0, 1, 0], vec![]));
    // D4 sounds, C4 is fretted; tied over, it goes on sounding D4.
    assert_eq!(steps("3:5!1 - - - ^0 - - -"), (vec![0, -1], vec![-1]));
    let tied = heads(&set("key \"C major\"", "staff=#true", &["3:5!1 - - - - - - -", "- - - - 3:7 - - -"]));
    let big: Vec<f64> = tied.iter().filter(|h| h.3 > 4.9).map(|h| h.2).collect();
    assert_eq!(big.len(), 3);
    assert!(big.iter().all(|y| (y - big[0]).abs() < 1e-9), "{big:?}");
    // A quarter tone has no head of its own but its figure, once on the staff and once on the tab.
    assert_eq!(steps("3:5^.25 - - - - - - -"), (vec![0], vec![]));
    assert_eq!(texts(&set("", "staff=#true", &["3:5^.25 - - - - - - -"])).iter().filter(|t| *t == "1/4").count(), 2);
    // A half step gets its sign.
    assert!(glyphs_of(&set("key \"C major\"", "staff=#true", &["3:5^.5 - - - - - - -"])).iter().any(|c| [crate::glyphs::SHARP, crate::glyphs::FLAT].contains(c)));
    // Each note of a grip slides to its own.
    assert_eq!(steps("a@-2/a - - - - - - -").1.len(), 3);
}

/// Every way of playing that a staff can say leaves its mark there, not on the tab alone.
#[test]
fn staff_says_how_it_is_played() {
    use crate::glyphs::*;
    // Drawings of the staff row alone: what stands higher than the first tab figure's row.
    let count = |bar: &str| {
        let frames = set("", "staff=#true", &[bar]);
        let floor = frames[0].leaves().iter().filter_map(|i| if let Item::Text(t) = i { (t.face == DIGITS && t.text == "T").then_some(t.y_pt) } else { None }).next().unwrap() - 30.0;
        frames[0].leaves().iter().filter(|i| i.bounds().is_some_and(|b| b.bottom < floor + 5.0)).count()
    };
    let plain = count("a - - - 3:5 - 3:7 -");
    for bar in ["*a - - - 3:5 - 3:7 -", "a* - - - 3:5 - 3:7 -", "a - - - 3:5 - H3:7 -", "a - - - 3:5 - /3:7 -", "a - - - 3:5/8 - 3:7 -", "a - - - 3:5^1 - 3:7 -", "a - - - 3:5!1 - 3:7 -", "a - - - (3:5) - 3:7 -", "a - - - T3:5 - 3:7 -", ">a - - - 3:5 - 3:7 -"] {
        assert!(count(bar) > plain, "{bar}: {} is no more than {plain}", count(bar));
    }
    assert!(glyphs_of(&set("", "staff=#true", &["T3:5 - - - - - - -"])).contains(&TREMOLO_3), "over a whole note");
    assert!(heads(&set("", "staff=#true", &["N3:12 - - - N3:7 - - -"])).iter().all(|h| h.0 == HEAD_DIAMOND_OPEN));
    assert_eq!(heads(&set("", "staff=#true", &["x654 - - - . . . ."].map(|b| b.replace(" -", " .")).each_ref().map(String::as_str))).iter().filter(|h| h.0 == HEAD_X).count(), 3);
    // A staff without a tab has all of them itself.
    let keys = |bar: &str| {
        let text = format!("lesson \"T\" {{ passage \"p\" {{ tempo 90; slots 8; part \"one\" instrument=\"keys\" {{ bar \"{bar}\" sure=\"guess\" }} }} }}");
        systems(&read(&text).passages[0], None, &SystemOptions::default())
    };
    let plain = keys("C4+E4 - - - . . . .");
    for bar in ["*C4+E4 - - - . . . .", "C4+E4* - - - . . . .", "C4~+E4 - - - . . . ."] {
        assert!(paths(&keys(bar)) > paths(&plain), "{bar}");
    }
    assert!(texts(&keys("C4 &E4 &G4 - . . . .")).iter().any(|t| t == "let ring"));
    assert!(texts(&plain).iter().any(|t| t == "?"), "the bar is doubted");
}

#[test]
fn drums_stand_where_drummers_look() {
    use crate::glyphs::*;
    let text = "lesson \"T\" { passage \"p\" { tempo 90; slots 8; part \"kit\" instrument=\"drums\" { bar { kick \"x . . . . . . .\"; snare \". x . . . . . .\"; tom \". . x . . . . .\"; ride \". . . x . . . .\"; hats \". . . . x o . .\"; crash \". . . . . . x .\" } } } }";
    let frames = systems(&read(text).passages[0], None, &SystemOptions::default());
    let mut all = heads(&frames);
    all.sort_by(|a, b| a.1.total_cmp(&b.1));
    // common practice, in steps over the kick: snare C5, tom E5, ride F5, hats G5, crash A5; cymbals with crosses.
    let steps: Vec<(i32, bool)> = all.iter().map(|h| (libm::round((all[0].2 - h.2) / 2.5) as i32, h.0 == HEAD_X)).collect();
    assert_eq!(steps, [(0, false), (4, false), (6, false), (7, true), (8, true), (8, true), (9, true)]);
}

/// A rest within a beamed group does not touch the beam.
#[test]
fn rests_keep_clear_of_beams() {
    use crate::glyphs::REST_WHOLE;
    for bar in ["bar \"1:15 2:13 . 2:13 1:3 1:5 . 1:3 5:3 . 5:5 6:3 5:3 . 5:7 6:3\" slots=16", "bar \"[2:8 . 2:5]=2 [5:8 . 5:5]=2 1:12 - 5:3 -\""] {
        let frames = set("", "staff=#true", &[bar]);
        let leaves = frames[0].leaves();
        let beams: Vec<Bounds> = leaves.iter().filter(|i| matches!(i, Item::Path(p) if p.fill == Some(Ink::Black) && p.steps.len() == 5)).filter_map(|i| i.bounds()).filter(|b| b.right - b.left > b.bottom - b.top).collect();
        let rests: Vec<Bounds> = leaves.iter().filter(|i| matches!(i, Item::Glyph { code, .. } if (REST_WHOLE..REST_WHOLE + 7).contains(code))).filter_map(|i| i.bounds()).collect();
        assert!(rests.len() >= 2 && beams.len() >= 2);
        for r in &rests {
            // Slanted beams have tall boxes: only those that reach over the rest's middle and are nearly level count.
            let hit = beams.iter().any(|b| b.left < r.left && b.right > r.right && b.bottom - b.top < 4.0 && b.top < r.bottom && b.bottom > r.top);
            assert!(!hit, "{bar}: {r:?} {beams:?}");
        }
    }
}

#[test]
fn nothing_to_show_gives_nothing() {
    let lesson = read("lesson \"T\" { passage \"p\" { tempo 90; part \"one\" instrument=\"guitar\" { bar \". . . . . . . . . . . . . . . .\" } } }");
    let p = &lesson.passages[0];
    assert!(systems(p, None, &SystemOptions { parts: Some(vec![]), ..SystemOptions::default() }).is_empty());
    assert!(systems(p, None, &SystemOptions { parts: Some(vec![7]), ..SystemOptions::default() }).is_empty());
    assert!(systems(&Passage::default(), None, &SystemOptions::default()).is_empty());
    let strip = system_strip(&Passage::default(), None, &SystemOptions::default());
    assert!(strip.items.is_empty() && !strip.alt.is_empty());
    for width_pt in [f64::NAN, -5.0, 0.0, 1e9] {
        let frames = systems(p, None, &SystemOptions { width_pt, space_pt: f64::NAN, ..SystemOptions::default() });
        assert!(frames.iter().all(|f| f.width_pt >= 120.0 && f.height_pt.is_finite()));
    }
}

/// A bar too full for its line goes on in the next one; its figures keep their size down to the narrowest frame.
#[test]
fn a_full_bar_is_parted_at_its_beats() {
    let full = format!("bar \"{}\" slots=48", ["3:17+4:15"; 48].join(" "));
    let text = |beside: &str| format!("lesson \"T\" {{ passage \"p\" {{ tempo 90; meter \"4/4\"; part \"one\" instrument=\"guitar\" staff=#true {{\n{full}\n}}\n{beside}\n}}\n}}");
    let lesson = read(&text("part \"two\" instrument=\"bass\" { bar \"4:0 - - - - - . .\" slots=8 }"));
    for (width_pt, lines) in [(510.0, 2), (330.0, 2), (120.0, 8)] {
        let frames = systems(&lesson.passages[0], None, &SystemOptions { width_pt, part_names: false, ..SystemOptions::default() });
        assert!(frames.len() >= lines && frames.len() <= lines * 3 / 2, "{width_pt}: {}", frames.len());
        let mut struck = 0;
        for (k, frame) in frames.iter().enumerate() {
            check_inside(frame).unwrap();
            let all: Vec<Text> = strokes(frame).into_iter().flat_map(|s| s.3).collect();
            struck += all.iter().filter(|t| t.text == "17").count();
            for t in all.iter().filter(|t| t.face == DIGITS) {
                assert!(t.text.contains(|c: char| !c.is_ascii_digit()) || ink_height(t.face, t.size_pt, &t.text).0 >= FIGURE_MIN_PT * 1.01, "{t:?}");
            }
            let said: Vec<String> = texts(std::slice::from_ref(frame));
            assert_eq!(said.iter().any(|t| t == "(1)"), k > 0, "the number of the bar that goes on");
            assert!(frame.alt.contains("bar 1"), "{}", frame.alt);
            assert_eq!(frame.alt.contains("goes on in the next line"), k == 0);
        }
        assert_eq!(struck, 48, "{width_pt}");
        // The bass note that sounds on is written again, in brackets.
        assert!(texts(&frames[1..2]).iter().any(|t| t == "(0)"), "{width_pt}");
    }
    // Two beats of twelve each: two cuts of the four that there might be would do, and they fall on beats.
    let frames = systems(&lesson.passages[0], None, &SystemOptions { width_pt: 510.0, ..SystemOptions::default() });
    let counts: Vec<usize> = frames.iter().map(|f| strokes(f).iter().flat_map(|s| &s.3).filter(|t| t.text == "17").count()).collect();
    assert!(counts.iter().all(|c| c % 12 == 0), "{counts:?}");
}

#[test]
fn a_new_meter_is_announced_at_the_line_before() {
    use crate::glyphs::TIME_0;
    // So many bars before the change that a line ends there.
    let found = (2..12).find_map(|n| {
        let bars: Vec<&str> = [["a a a a 3:5 a a a", "a a 3:7 a a a a a"].repeat(n), vec!["bar \"a a a a a .\" meter=\"3/4\" slots=6", "bar \"a a a a . .\" slots=6"]].concat();
        let frames = set("", "staff=#true", &bars);
        frames.iter().any(|f| bars_of(f)[0].0[0] == n * 2).then_some((n * 2, frames))
    });
    let (change, frames) = found.expect("some count of bars fills its lines");
    let threes = |f: &Frame| glyphs_of(std::slice::from_ref(f)).iter().filter(|c| **c == TIME_0 + 3).count();
    let breaks: Vec<Vec<usize>> = frames.iter().map(|f| bars_of(f).into_iter().map(|b| b.0[0]).collect()).collect();
    let at = breaks.iter().position(|b| b[0] == change).unwrap();
    // Once on the staff and once on the tab, at the end of one line and at the beginning of the next.
    assert_eq!((threes(&frames[at - 1]), threes(&frames[at])), (2, 2));
    assert!(frames[at - 1].alt.contains("The next line goes on in 3/4."), "{}", frames[at - 1].alt);
    let last_bar = bars_of(&frames[at - 1]).last().map(|b| b.1 + b.2).unwrap();
    let sign = frames[at - 1].leaves().iter().find_map(|i| if let Item::Glyph { code, x_pt, .. } = i { (*code == TIME_0 + 3).then_some(*x_pt) } else { None }).unwrap();
    assert!(sign > last_bar, "after the last barline");
    check_inside(&frames[at - 1]).unwrap();
}

/// Both lessons of the project that have everything in them, at the widths of a handout, a desktop and a phone, with and without staves: nothing
/// leaves the frame, every figure is 2 mm high, and no two words or figures run into each other.
#[test]
fn proof_sheets_hold() {
    use crate::glyphs::*;
    let lessons = [include_str!("../../examples/torture.kdl"), include_str!("../../../../demo/ferry-road/lesson.kdl")];
    let mut faults = Vec::new();
    for passage in lessons.iter().flat_map(|text| read(text).passages) {
        for width_pt in [330.0, 482.0, 700.0] {
            for staff in [StaffWish::AsWritten, StaffWish::Always, StaffWish::Never] {
                for stroke_signs in [StrokeSigns::Written, StrokeSigns::All] {
                    let options = SystemOptions { width_pt, staff, stroke_signs, ..SystemOptions::default() };
                    for (k, frame) in systems(&passage, None, &options).iter().enumerate() {
                        let place = format!("{} {width_pt} {staff:?} line {k}", passage.id);
                        check_inside(frame).unwrap_or_else(|e| panic!("{place}: {e}"));
                        let texts: Vec<&Text> = frame.leaves().into_iter().filter_map(|i| if let Item::Text(t) = i { Some(t) } else { None }).collect();
                        let inks: Vec<Bounds> = texts.iter().map(|t| Item::Text((*t).clone()).bounds().unwrap()).collect();
                        let signs = frame.leaves().into_iter().filter(|i| matches!(i, Item::Glyph { code, .. } if (REST_WHOLE..REST_WHOLE + 7).contains(code) || *code == ACCENT_ABOVE || *code == DOWN_STROKE || *code == UP_STROKE));
                        for (sign, b) in signs.filter_map(|i| Some((i, i.bounds()?))) {
                            let hit = inks.iter().zip(&texts).find(|(a, _)| a.right.min(b.right) - a.left.max(b.left) > 0.6 && a.bottom.min(b.bottom) - a.top.max(b.top) > 0.6);
                            if let (Some((_, t)), Item::Glyph { code, .. }) = (hit, sign) {
                                faults.push(format!("U+{code:X} and \"{}\", {place}", t.text));
                            }
                        }
                        for (i, t) in texts.iter().enumerate() {
                            for c in t.text.chars().filter(char::is_ascii_digit) {
                                let height = ink_height(t.face, t.size_pt, &c.to_string()).0;
                                if height < FIGURE_MIN_PT * 1.01 - 1e-9 {
                                    faults.push(format!("{place}: {t:?} is {height} high"));
                                }
                            }
                            for j in i + 1..texts.len() {
                                let (a, b) = (inks[i], inks[j]);
                                // The parts of a chord sign may be tucked under each other.
                                let (x, y) = (a.right.min(b.right) - a.left.max(b.left), a.bottom.min(b.bottom) - a.top.max(b.top));
                                if x > 1.6 && y > 0.8 {
                                    faults.push(format!("\"{}\" and \"{}\" by {x:.1} x {y:.1}, {place}", t.text, texts[j].text));
                                }
                            }
                        }
                    }
                }
            }
        }
    }
    faults.sort();
    assert!(faults.is_empty(), "{} faults:\n{}", faults.len(), faults.iter().step_by(faults.len() / 40 + 1).cloned().collect::<Vec<_>>().join("\n"));
}

#[test]
fn the_alternative_says_what_is_played() {
    let alt = &set("chords \"Am7\"", "", &["a . x x 3:5 H3:7 3:9/12 -", "2:8^1 - 2:8~ - M6:3 N4:12 *a -", ". . . . . . . ."])[0].alt;
    assert!(alt.contains("In 4/4, 90 beats a minute."), "{alt}");
    assert!(alt.contains("one (guitar, tab, 11 strokes with scratches, hammer-ons, slides, bends, vibrato, palm muting, harmonics and spread chords)"), "{alt}");
}

/// The drawing as text: one line an item, rounded to tenths, so that a change of layout reads well.
fn dump(frame: &Frame) -> String {
    use std::fmt::Write;
    fn walk(items: &[Item], depth: usize, out: &mut String) {
        for item in items {
            let pad = "  ".repeat(depth);
            let _ = match item {
                Item::Text(t) => writeln!(out, "{pad}\"{}\" {:?} {:.1} at {:.1} {:.1}", t.text, t.face, t.size_pt, t.x_pt, t.y_pt),
                Item::Glyph { code, x_pt, y_pt, .. } => writeln!(out, "{pad}U+{code:X} at {x_pt:.1} {y_pt:.1}"),
                Item::Path(p) => {
                    let b = item.bounds().unwrap();
                    writeln!(out, "{pad}path of {} from {:.1} {:.1} to {:.1} {:.1}", p.steps.len(), b.left, b.top, b.right, b.bottom)
                }
                Item::Group { what, .. } => writeln!(out, "{pad}{}", match what {
                    What::Bar { played, x_pt, width_pt } => format!("bar {played:?} at {x_pt:.1}, {width_pt:.1} wide"),
                    What::Row { part } => format!("row of part {part}"),
                    What::Stroke { bar, event, .. } => format!("stroke {event} of bar {bar}"),
                    What::Plain => "group".into(),
                }),
            };
            if let Item::Group { items, .. } = item {
                walk(items, depth + 1, out);
            }
        }
    }
    let mut out = format!("{:.1} x {:.1}\n{}\n", frame.width_pt, frame.height_pt, frame.alt);
    walk(&frame.items, 0, &mut out);
    out
}

#[test]
fn a_whole_system() {
    let frames = set("key \"C minor\"\nchords \"Cm7 / Bb7 /\"", "staff=#true", &[">a . x 3:5 H3:7 - [1:8 1:10 1:11]=2", "a - - - 3:7^1 - 2:8~ ."]);
    insta::assert_snapshot!(dump(&frames[0]));
}
