//! What the lock map must show: every stroke once, at its time and height, and nothing that is not played.

use super::*;
use crate::fonts::{FIGURE_MIN_PT, covers, ink_height};
use lesson::Lesson;
use proptest::prelude::*;

fn read(text: &str) -> Lesson {
    let reading = lesson::read(text);
    assert!(reading.is_sound(), "{:?}\n{text}", reading.problems);
    reading.lesson
}

fn drawn(text: &str, width_pt: f64, fold: bool) -> (Lesson, LockMap, Vec<Frame>) {
    let lesson = read(text);
    let passage = &lesson.passages[0];
    let map = lock::lock_map(passage, &lock::harmony(passage));
    let frames = lock_map_lines(passage, &map, &LockMapOptions { width_pt, fold });
    (lesson, map, frames)
}

/// Strokes of a frame: part, bar, event, box of the bar or cross.
fn strokes(frame: &Frame) -> Vec<(usize, usize, usize, Bounds)> {
    fn walk(items: &[Item], out: &mut Vec<(usize, usize, usize, Bounds)>) {
        for item in items {
            if let Item::Group { what, items } = item {
                if let What::Stroke { part, bar, event } = what {
                    out.push((*part, *bar, *event, items[0].bounds().unwrap()));
                }
                walk(items, out);
            }
        }
    }
    let mut out = Vec::new();
    walk(&frame.items, &mut out);
    out
}

fn texts(frame: &Frame) -> Vec<String> {
    frame.leaves().iter().filter_map(|i| if let Item::Text(t) = i { Some(t.text.clone()) } else { None }).collect()
}

const BAND: &str = "lesson \"T\" { passage \"p\" title=\"Vamp\" { tempo 96; slots 8; key \"C minor\"; chords \"Cm7 / Bb7 /\"
  part \"chop\" instrument=\"guitar\" { grip \"a\" \"x x 8 8 8 x\"; bar \">a - x (a) . 2:8 H2:10 -\" times=2 }
  part \"floor\" instrument=\"bass\" { bar \"3:3 - . . 3:3 - - .\" times=2 }
  part \"kit\" instrument=\"drums\" { bar { kick \"x . . . . . x .\"; hats \"x x x x x x x x\" }; bar { kick \"x . . . . . x .\"; hats \"x x x x x x x x\" } }
} }";

#[test]
fn strokes_stand_at_their_time_and_height() {
    let (lesson, map, frames) = drawn(BAND, 480.0, true);
    // The second bar is the first again.
    assert_eq!(frames.len(), 1);
    let frame = &frames[0];
    let list = strokes(frame);
    let hits: usize = map.rows.iter().flat_map(|r| &r.hits).filter(|h| h.bar == 0).count();
    assert_eq!(list.len(), hits);
    assert!(texts(frame).contains(&"1.1 (2×)".to_string()), "{:?}", texts(frame));
    let middle = |b: &Bounds| (b.left + b.right) / 2.0;
    let at = |part: usize, event: usize| list.iter().find(|s| (s.0, s.2) == (part, event)).unwrap().3;
    // One scale of time: an eighth is an eighth.
    let (first, scratch, low) = (at(0, 0), at(0, 1), at(1, 0));
    assert!((middle(&first) - middle(&low)).abs() < 1e-9, "struck together");
    let eighth = (middle(&scratch) - middle(&first)) / 2.0;
    assert!((middle(&at(1, 1)) - middle(&low) - 4.0 * eighth).abs() < 1e-9);
    // A grip is as high as its notes lie apart, on one scale for all rows: Bb3 to G4 are nine half steps.
    let (single, grip) = (at(0, 3), first);
    let unit = (grip.bottom - grip.top - (single.bottom - single.top)) / 9.0;
    assert!(unit > 0.5);
    // H2:10 lies two half steps over 2:8, and is a slender bar.
    let hammered = at(0, 4);
    assert!((single.top - hammered.top - 2.0 * unit).abs() < 1e-6);
    assert!(hammered.right - hammered.left < single.right - single.left);
    // The accent is broad.
    assert!(first.right - first.left > single.right - single.left);
    // Figures at the foot: beat 1 all three, beat 3 the bass and nobody else, beat 4 chop and kick (the hammered note).
    let foot: Vec<String> = frame.leaves().iter().filter_map(|i| if let Item::Text(t) = i { (t.face == DIGITS && t.anchor == Anchor::Middle).then(|| t.text.clone()) } else { None }).collect();
    assert_eq!(foot, ["3", "2"]);
    assert_eq!(lesson.passages[0].parts[0].bars[0].events.len(), 5);
    assert_eq!(
        frame.alt,
        "Lock map of Vamp, bar 1: time across, parts down. chop (guitar): 5 strokes, 1 of them scratched, B♭3 to A4. floor (bass): 2 strokes, C2. \
         kick: 2 strokes. hats: 8 strokes. chop and floor strike together 1 time, chop and kit strike together 2 times, floor and kit strike together 1 time."
    );
}

#[test]
fn each_kind_of_stroke_has_its_shape() {
    let shape = |token: &str| {
        let text = format!("lesson \"T\" {{ passage \"p\" {{ tempo 96; slots 4; part \"chop\" instrument=\"guitar\" {{ grip \"a\" \"x x 8 8 8 x\"; bar \"2:5 {token} . .\" }} }} }}");
        let (_, _, frames) = drawn(&text, 480.0, true);
        format!("{:?}", frames[0].leaves().iter().filter(|i| matches!(i, Item::Path(_) | Item::Glyph { .. })).map(|i| (*i).clone()).collect::<Vec<_>>())
    };
    let all = ["2:8", ">2:8", "(2:8)", "H2:8", "x", "2:8'", "a", "."].map(shape);
    for (i, a) in all.iter().enumerate() {
        for b in &all[i + 1..] {
            assert_ne!(a, b);
        }
    }
}

#[test]
fn long_passages_break_into_lines_of_one_scale() {
    let text = "lesson \"T\" { passage \"p\" title=\"Long\" { tempo 96; slots 16
      part \"one\" instrument=\"guitar\" { pickup \". . 3:5 3:7\"; bar \"5:3 5:5 4:3 4:5 3:3 3:5 2:3 2:5 1:3 1:5 2:3 2:5 3:3 3:5 4:3 4:5\"; bar \"5:5 5:5 4:3 4:5 3:3 3:5 2:3 2:5 1:3 1:5 2:3 2:5 3:3 3:5 4:3 4:5\" times=9 } } }";
    let (lesson, map, frames) = drawn(text, 480.0, false);
    assert!(frames.len() > 2);
    let bars: Vec<(usize, f64)> = frames
        .iter()
        .flat_map(|f| &f.items)
        .filter_map(|i| if let Item::Group { what: What::Bar { played, width_pt, .. }, .. } = i { Some((played[0], *width_pt)) } else { None })
        .collect();
    assert_eq!(bars.iter().map(|b| b.0).collect::<Vec<_>>(), (0..11).collect::<Vec<_>>());
    assert!(bars[1..].windows(2).all(|w| (w[0].1 - w[1].1).abs() < 1e-9), "all bars are as wide as they are long: {bars:?}");
    let one = lock_map(&lesson.passages[0], &map, &LockMapOptions { width_pt: 480.0, fold: false });
    assert_eq!(strokes(&one).len(), frames.iter().map(|f| strokes(f).len()).sum::<usize>());
    assert!(one.height_pt > frames.iter().map(|f| f.height_pt).sum());
    let empty = lock_map(&Passage::default(), &LockMap::default(), &LockMapOptions::default());
    assert!(empty.items.is_empty() && empty.alt.contains("nothing to show"));
}

fn bar(slots: usize) -> impl Strategy<Value = String> {
    let token = prop_oneof![4 => Just("."), 3 => Just("a"), 2 => Just("x"), 2 => Just("5:3"), 1 => Just(">a"), 1 => Just("a'"), 1 => Just("(4:2)"), 1 => Just("1:17"), 1 => Just("[a x a]=1")];
    proptest::collection::vec(token, slots).prop_map(|t| t.join(" "))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, ..ProptestConfig::default() })]

    #[test]
    fn every_stroke_is_drawn_once_and_inside(one in proptest::collection::vec(bar(16), 1..6), seed in proptest::collection::vec(bar(16), 6), width in 200.0f64..700.0, fold in any::<bool>()) {
        let list = |bars: &[String]| bars.iter().map(|b| format!("bar \"{b}\"\n")).collect::<String>();
        let grip = "grip \"a\" \"x x 8 8 8 x\"\n";
        let text = format!(
            "lesson \"T\" {{ passage \"p\" title=\"Test\" {{\n tempo 90\n slots 16\n key \"Eb\"\n chords \"Ebmaj7#11 Abm(maj7) / Bb7sus4\"\n part \"one\" instrument=\"guitar\" {{\n{grip}{}}}\n part \"two\" instrument=\"guitar\" {{\n{grip}{}}}\n}}}}",
            list(&one), list(&seed[..one.len()])
        );
        let (lesson, map, frames) = drawn(&text, width, fold);
        let mut seen: Vec<(usize, usize, usize)> = frames.iter().flat_map(strokes).map(|s| (s.0, s.1, s.2)).collect();
        let bars: Vec<usize> = choose_bars(&lesson.passages[0], &map, fold).iter().map(|d| d.index).collect();
        let mut want: Vec<(usize, usize, usize)> = map.rows.iter().flat_map(|r| r.hits.iter().filter(|h| bars.contains(&h.bar)).map(|h| (r.part, h.bar, h.event))).collect();
        seen.sort_unstable();
        want.sort_unstable();
        prop_assert_eq!(seen, want);
        for frame in &frames {
            prop_assert!(!frame.alt.is_empty() && frame.height_pt.is_finite());
            for item in frame.leaves() {
                let b = item.bounds().expect("drawn");
                prop_assert!(b.left >= -0.01 && b.top >= -0.01 && b.right <= frame.width_pt + 0.01 && b.bottom <= frame.height_pt + 0.01, "{b:?} {item:?} in {} x {}", frame.width_pt, frame.height_pt);
                if let Item::Text(t) = item {
                    prop_assert!(t.text.chars().all(|c| covers(t.face, c)), "{t:?}");
                    for c in t.text.chars().filter(char::is_ascii_digit) {
                        prop_assert!(ink_height(t.face, t.size_pt, &c.to_string()).0 >= FIGURE_MIN_PT, "{t:?}");
                    }
                }
            }
        }
    }
}
