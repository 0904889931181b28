use super::*;

fn lesson() -> Lesson {
    let text = include_str!("../../../../demo/ferry-road/lesson.kdl");
    lesson::read(text).lesson
}

fn count(pdf: &[u8], needle: &[u8]) -> usize {
    pdf.windows(needle.len()).filter(|w| *w == needle).count()
}

#[test]
fn a_page_a_passage_and_the_same_bytes_twice() {
    let lesson = lesson();
    let order = RunningOrder::of(&lesson, &lock::running_order(&lesson, &lock::Pace::default()), Paper::A4);
    let pdf = running_order(&order).unwrap();
    assert!(pdf.starts_with(b"%PDF"));
    assert_eq!(count(&pdf, b"/MediaBox"), lesson.passages.len());
    assert_eq!(pdf, running_order(&order).unwrap());
    let letter = running_order(&RunningOrder { paper: Paper::Letter, ..order }).unwrap();
    assert_eq!(count(&letter, b"/MediaBox"), lesson.passages.len());
}

#[test]
fn capitals_are_high_enough_and_nothing_runs_over() {
    let points = |n: usize, words: usize| (0..n).map(|i| ("string ".repeat(words).trim().to_string(), (i % 4) as u8)).collect::<Vec<_>>();
    assert!(size_min() * fonts::cap_height(Face::Regular) >= 9.3 / 25.4 * 72.0);
    assert!(SIZES.iter().all(|s| *s > size_min()));
    let (width, height) = (760.0, 400.0);
    for (n, words) in [(1, 3), (3, 6), (6, 9), (20, 12), (200, 2), (1, 400)] {
        let p = plan(&points(n, words), width, height);
        let lines: usize = p.points.iter().map(Vec::len).sum();
        let tall = lines as f64 * PITCH * p.size_pt + p.points.len().saturating_sub(1) as f64 * GAP * p.size_pt;
        assert!(tall <= height && p.size_pt >= size_min(), "{n} of {words}: {tall}");
        assert_eq!(p.points.len() + p.left_off, n);
        for line in p.points.iter().flatten() {
            assert!(fonts::set_width(Face::Regular, p.size_pt, line) <= width - INDENT * p.size_pt);
        }
    }
    // What fits is set as large as it can be, and all of it.
    assert_eq!((plan(&points(1, 3), width, height).size_pt, plan(&points(1, 3), width, height).left_off), (60.0, 0));
}

#[test]
fn own_words_come_first_and_leave_room() {
    let text = |what: &str, i: usize| format!("{what} {i} and some more words to fill a line of it");
    let mut points: Vec<(String, u8)> = (0..6).map(|i| (text("own", i), 0)).collect();
    points.extend((0..6).map(|i| (text("draft", i), 1 + (i / 3) as u8)));
    let p = plan(&points, 760.0, 420.0);
    let kept: Vec<&str> = p.points.iter().map(|l| l[0].split(' ').next().unwrap()).collect();
    assert!(kept.contains(&"own") && kept.contains(&"draft"), "{kept:?}");
    assert!(kept.iter().filter(|k| **k == "own").count() * 2 >= kept.len(), "{kept:?}");
    // In their own order, the heavier draft first.
    assert_eq!(p.points[0][0].chars().take(5).collect::<String>(), "own 0");
    assert!(p.points.iter().any(|l| l[0].starts_with("draft 0")) && !p.points.iter().any(|l| l[0].starts_with("draft 5")));
    // Alone they may take the page.
    let alone = plan(&points[..6], 760.0, 420.0);
    assert!(alone.points.len() > kept.iter().filter(|k| **k == "own").count());
}

#[test]
fn faults_are_named() {
    let order = |title: &str| RunningOrder { language: "en".into(), title: "t".into(), pages: vec![Stand { title: title.into(), ..Stand::default() }], ..RunningOrder::default() };
    assert!(matches!(running_order(&order("雨")), Err(HandoutError::NoGlyph { place, .. }) if place == "passage 1, title"));
    assert!(matches!(running_order(&RunningOrder { pages: vec![], ..order("a") }), Err(HandoutError::Empty { .. })));
    assert!(matches!(running_order(&RunningOrder { language: "EN".into(), ..order("a") }), Err(HandoutError::Language { .. })));
    let mut many = order("a");
    many.pages[0].points = vec![StandPoint::default(); MOST_POINTS + 1];
    assert!(matches!(running_order(&many), Err(HandoutError::TooMuch { .. })));
    // A page without points, and a title that fills more than two lines, are set all the same.
    running_order(&order(&"long words ".repeat(40))).unwrap();
}
