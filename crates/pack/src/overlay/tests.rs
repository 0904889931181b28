use super::*;
use engrave::{Bounds, Item, Path};

fn demo() -> Lesson {
    lesson::read(include_str!("../../../../demo/ferry-road/lesson.kdl")).lesson
}

const DARK: Drawn = Drawn { shade: Shade::Dark, plate: 0.0 };
const LIGHT: Drawn = Drawn { shade: Shade::Light, plate: 0.0 };

/// A decoded picture.
struct Picture {
    width: usize,
    height: usize,
    rgba: Vec<u8>,
}

impl Picture {
    fn read(bytes: &[u8]) -> Picture {
        let mut reader = ::png::Decoder::new(std::io::Cursor::new(bytes)).read_info().unwrap();
        let mut rgba = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut rgba).unwrap();
        assert_eq!((info.color_type, info.bit_depth), (::png::ColorType::Rgba, ::png::BitDepth::Eight));
        Picture { width: info.width as usize, height: info.height as usize, rgba }
    }

    fn of(canvas: &Canvas, lines: u32, drawn: Drawn) -> Picture {
        Picture::read(&png(canvas, lines, drawn).unwrap())
    }

    fn pixel(&self, x: usize, y: usize) -> [u8; 4] {
        self.rgba[(y * self.width + x) * 4..][..4].try_into().unwrap()
    }

    fn alpha(&self, x: usize, y: usize) -> u8 {
        self.pixel(x, y)[3]
    }

    /// Alpha at a place in units.
    fn at(&self, x: f64, y: f64) -> u8 {
        let k = self.height as f64 / HEIGHT;
        self.alpha((x * k) as usize, (y * k) as usize)
    }

    /// Laid over a plain ground, one level for each pixel.
    fn over(&self, ground: u8) -> Vec<u8> {
        let one = |p: &[u8]| {
            assert!(p[0] == p[1] && p[1] == p[2]);
            let (c, a, g) = (u32::from(p[0]), u32::from(p[3]), u32::from(ground));
            ((c * a + g * (255 - a) + 127) / 255) as u8
        };
        self.rgba.chunks_exact(4).map(one).collect()
    }

    /// Where anything is drawn: left, top, right, bottom, the last two exclusive.
    fn extent(&self) -> (usize, usize, usize, usize) {
        let (mut l, mut t, mut r, mut b) = (usize::MAX, usize::MAX, 0, 0);
        for y in 0..self.height {
            for x in 0..self.width {
                if self.alpha(x, y) > 0 {
                    (l, t, r, b) = (l.min(x), t.min(y), r.max(x + 1), b.max(y + 1));
                }
            }
        }
        (l, t, r, b)
    }
}

fn named(all: &[Overlay], what: &str) -> Canvas {
    all.iter().find(|o| o.name.contains(what)).unwrap_or_else(|| panic!("{what}")).canvas.clone()
}

#[test]
fn in_order_of_use_by_plain_names() {
    let all = overlays(&demo(), &OverlayOptions::default());
    let names: Vec<&str> = all.iter().map(|o| o.name.as_str()).collect();
    assert_eq!(names[..6], ["001-verse-chop-grip-a", "002-verse-gaps-grip-c", "003-verse-chop-grip-b", "004-verse-gaps-grip-d", "005-verse-name-am7", "006-verse-name-d9"]);
    let mut sorted = names.clone();
    sorted.sort_unstable();
    assert_eq!(names, sorted);
    assert!(names.iter().all(|n| n.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')), "{names:?}");
    for what in ["-verse-chop-tab-1", "-verse-lock-1", "-slack-tide-name-bb-over-d", "-six-eight-name-em-maj7"] {
        named(&all, what);
    }
    assert_eq!(name_word("F#7#9"), "fsharp7sharp9");
    assert_eq!(name_word("C-7"), "c-minor-7");
    assert_eq!(overlays(&Lesson::default(), &OverlayOptions::default()), []);
}

/// Dark over white and light over black are one picture and its reverse, to the last level; nothing lies outside the safe area; the ink's colour is in every pixel.
#[test]
fn alpha_is_right_over_black_and_white() {
    let all = overlays(&demo(), &OverlayOptions { diagrams: DiagramWish { parents: true, ..DiagramWish::default() } });
    for what in ["verse-chop-grip-b", "name-d9", "verse-chop-tab-1", "verse-lock-1"] {
        let canvas = named(&all, what);
        let (dark, light) = (Picture::of(&canvas, 1080, DARK), Picture::of(&canvas, 1080, LIGHT));
        assert!(dark.rgba.chunks_exact(4).all(|p| p[..3] == [0, 0, 0]) && light.rgba.chunks_exact(4).all(|p| p[..3] == [255, 255, 255]));
        let (on_white, on_black) = (dark.over(255), light.over(0));
        assert!(on_white.iter().zip(&on_black).all(|(a, b)| *a == 255 - *b), "{what}");
        // And over the ground of their own shade they leave nothing.
        assert!(dark.over(0).iter().all(|l| *l == 0) && light.over(255).iter().all(|l| *l == 255));
        assert!(on_white.contains(&0), "{what}: no full ink");
        assert!(on_white.iter().filter(|l| **l == 255).count() > 1920 * 1080 / 2, "{what}");
    }
}

#[test]
fn figures_are_holes_and_grey_lets_through() {
    // A dot with a hole in it, over a grey line, and ink in the hole.
    let square = |x: f64, y: f64, r: f64, ink| Item::rect(x - r, y - r, 2.0 * r, 2.0 * r, ink);
    let line = Item::line(200.0, 500.0, 800.0, 500.0, 4.0, FrameInk::Grey);
    let items = vec![line, square(400.0, 500.0, 60.0, FrameInk::Black), square(400.0, 500.0, 30.0, FrameInk::Paper), square(400.0, 500.0, 10.0, FrameInk::Black)];
    let canvas = Canvas { items, alt: "x".into(), lit: None };
    for lines in LINES {
        let p = Picture::of(&canvas, lines, DARK);
        assert_eq!([p.at(350.0, 470.0), p.at(378.0, 500.0), p.at(400.0, 500.0), p.at(600.0, 500.0), p.at(600.0, 520.0)], [255, 0, 255, 136, 0]);
        // #777 over white, as on paper.
        assert_eq!(p.over(255)[500 * lines as usize / 1080 * p.width + 600 * lines as usize / 1080], 119);
    }
    // The same from the SVG, by a reader of SVG that is not ours.
    let drawn = rendered(&svg(&canvas, DARK));
    assert_eq!([drawn.at(350.0, 470.0), drawn.at(378.0, 500.0), drawn.at(400.0, 500.0), drawn.at(600.0, 500.0), drawn.at(600.0, 520.0)], [255, 0, 255, 136, 0]);
}

/// An SVG as a picture of 1080 lines.
fn rendered(text: &str) -> Picture {
    let tree = resvg::usvg::Tree::from_str(text, &resvg::usvg::Options::default()).unwrap();
    assert_eq!((tree.size().width(), tree.size().height()), (1920.0, 1080.0));
    let mut map = tiny_skia::Pixmap::new(1920, 1080).unwrap();
    resvg::render(&tree, tiny_skia::Transform::identity(), &mut map.as_mut());
    Picture { width: 1920, height: 1080, rgba: map.take_demultiplied() }
}

#[test]
fn png_and_svg_are_one_picture() {
    let all = overlays(&demo(), &OverlayOptions { diagrams: DiagramWish { parents: true, ..DiagramWish::default() } });
    let lesson = demo();
    let turned = turning(&lesson.passages[0], 100.0).pictures.remove(0).1;
    for (what, canvas) in [("grip", named(&all, "verse-chop-grip-b")), ("tab", named(&all, "line-line-tab-1")), ("lock", named(&all, "last-boat-lock-1")), ("turning", turned)] {
        for (drawn, plate) in [(DARK, 0.0), (LIGHT, 0.6)] {
            let drawn = Drawn { plate, ..drawn };
            let text = svg(&canvas, drawn);
            assert!(!text.contains("<text") && !text.contains("font"), "{what}");
            assert_eq!(text, svg(&canvas, drawn));
            let (a, b) = (Picture::of(&canvas, 1080, drawn), rendered(&text));
            for ground in [0, 255] {
                let (a, b) = (a.over(ground), b.over(ground));
                // Level lines are moved to whole pixels in the PNG alone: so much may differ, and no more.
                let ink = a.iter().filter(|l| **l != ground).count().max(1);
                let apart: u64 = a.iter().zip(&b).map(|(x, y)| u64::from(x.abs_diff(*y))).sum();
                let strong = a.iter().zip(&b).filter(|(x, y)| x.abs_diff(**y) > 200).count();
                assert!(apart < ink as u64 * 45 && strong * 200 < ink, "{what} {plate} over {ground}: {} a pixel, {strong} of {ink}", apart / ink as u64);
            }
        }
    }
}

#[test]
fn nothing_is_clipped() {
    let lesson = demo();
    let mut all = overlays(&lesson, &OverlayOptions { diagrams: DiagramWish { parents: true, ..DiagramWish::default() } });
    for passage in &lesson.passages {
        all.extend(turning(passage, 100.0).pictures.into_iter().map(|(name, canvas)| Overlay { name, canvas }));
    }
    assert!(all.len() > 100, "{}", all.len());
    for o in &all {
        let b = o.canvas.bounds().unwrap();
        assert!(b.left >= SAFE.left && b.top >= SAFE.top && b.right <= SAFE.right && b.bottom <= SAFE.bottom, "{}: {b:?}", o.name);
        assert!(!o.canvas.alt.is_empty(), "{}", o.name);
    }
    // What the layout says is what the pixels say, in either size: no row or column is missing, none hangs out.
    for what in ["verse-chop-grip-a", "low-water-riff-tab-1", "chorus-lock-1", "verse-turning-001"] {
        let canvas = named(&all, what);
        let b = canvas.bounds().unwrap();
        for lines in LINES {
            let k = f64::from(lines) / HEIGHT;
            let (l, t, r, bottom) = Picture::of(&canvas, lines, LIGHT).extent();
            // Bounds count control points and the whole pen, so ink may end a few units short of them, never beyond.
            for (found, said, inward) in [(l, b.left, 1.0), (t, b.top, 1.0), (r, b.right, -1.0), (bottom, b.bottom, -1.0)] {
                let short = (found as f64 - said * k) * inward;
                assert!((-1.01..8.0 * k).contains(&short), "{what} {lines}: {found} {}", said * k);
            }
        }
    }
}

/// Edges of figures turn from nothing to full within two pixels at either size, and the larger picture has its own edges: half as many soft pixels for its ink.
#[test]
fn text_is_sharp_at_both_sizes() {
    let canvas = named(&overlays(&demo(), &OverlayOptions::default()), "verse-name-d9");
    let mut soft_parts = Vec::new();
    for lines in LINES {
        let p = Picture::of(&canvas, lines, DARK);
        let (l, t, r, b) = p.extent();
        let (mut full, mut soft, mut wide) = (0u64, 0u64, 0u64);
        for y in t..b {
            let mut run = 0;
            for x in l..r {
                match p.alpha(x, y) {
                    0 => run = 0,
                    255 => {
                        full += 1;
                        run = 0;
                    }
                    _ => {
                        soft += 1;
                        run += 1;
                        // Along a level edge every pixel may be soft: those are told by their neighbours above and below.
                        let level = y > 0 && y + 1 < p.height && p.alpha(x, y - 1).abs_diff(p.alpha(x, y + 1)) > 128;
                        wide += u64::from(run > 2 && !level);
                    }
                }
            }
        }
        assert!(wide * 50 < soft, "{lines}: {wide} of {soft} soft pixels in wide edges");
        soft_parts.push(soft as f64 / full as f64);
    }
    assert!(soft_parts[1] < 0.6 * soft_parts[0], "{soft_parts:?}");
    // Level and upright lines stand on whole pixels.
    let tab = named(&overlays(&demo(), &OverlayOptions::default()), "verse-chop-tab-1");
    for lines in LINES {
        let p = Picture::of(&tab, lines, DARK);
        let (l, t, _, b) = p.extent();
        let strings: Vec<usize> = (t..b).filter(|y| (l..l + p.width / 2).filter(|x| p.alpha(*x, *y) == 136).count() > p.width / 8).collect();
        assert!(strings.len() >= 6, "{lines}: {strings:?}");
        let blurred = (t..b).filter(|y| (l..l + p.width / 2).filter(|x| (1..120).contains(&p.alpha(*x, *y))).count() > p.width / 8).count();
        assert_eq!(blurred, 0, "{lines}");
    }
}

#[test]
fn a_plate_lies_under_the_ink() {
    let items = vec![Item::rect(400.0, 400.0, 100.0, 100.0, FrameInk::Black)];
    let canvas = Canvas { items, alt: "x".into(), lit: None };
    let p = Picture::of(&canvas, 1080, Drawn { shade: Shade::Light, plate: 0.6 });
    assert_eq!((p.pixel(450, 450), p.pixel(390, 450), p.pixel(300, 450)[3]), ([255, 255, 255, 255], [0, 0, 0, 153], 0));
    // Half ink over a plate is what laying one over the other gives.
    for (a, plate) in [(0, 0), (128, 153), (64, 255), (255, 153), (136, 51)] {
        for (ink, other) in [(0u8, 255.0), (255u8, 0.0)] {
            let (level, alpha) = png_over(a, plate, ink);
            let (fa, fp) = (f64::from(a) / 255.0, f64::from(plate) / 255.0);
            let whole = fa + fp * (1.0 - fa);
            assert!((f64::from(alpha) / 255.0 - whole).abs() < 0.003, "{a} {plate}");
            let want = if whole > 0.0 { (f64::from(ink) * fa + other * fp * (1.0 - fa)) / whole } else { f64::from(ink) };
            assert!((f64::from(level) - want).abs() < 1.0, "{a} {plate} {ink}: {level} {want}");
        }
    }
}

use super::png::over as png_over;

#[test]
fn lines_that_make_no_picture() {
    let canvas = Canvas { items: vec![], alt: "x".into(), lit: None };
    for lines in [0, 351, 1081, 4329, u32::MAX] {
        assert_eq!(png(&canvas, lines, DARK), Err(OverlayError::Lines { found: lines }));
    }
    let empty = Picture::of(&canvas, 720, LIGHT);
    assert_eq!((empty.width, empty.height), (1280, 720));
    assert!(empty.rgba.chunks_exact(4).all(|p| p == [255, 255, 255, 0]));
    // Paths that say nothing, or too much, draw nothing and do no harm.
    let odd = vec![Item::Path(Path { steps: vec![], fill: Some(FrameInk::Black), stroke: None }), Item::line(f64::NAN, 1.0, 2.0, f64::INFINITY, 1.0, FrameInk::Black)];
    png(&Canvas { items: odd, alt: "x".into(), lit: Some(Bounds { left: 0.0, top: 0.0, right: 0.0, bottom: 0.0 }) }, 1080, DARK).unwrap();
}

#[test]
fn pictures_turn_with_the_bars() {
    let lesson = demo();
    for passage in &lesson.passages {
        let t = turning(passage, 100.0);
        let starts = passage.bar_starts();
        let times: Vec<f64> = t.changes.iter().map(|c| c.start_s).collect();
        // Where no bar is parted between systems, the changes are the bars.
        assert_eq!(times, starts[..starts.len() - 1], "{}", passage.id);
        assert_eq!(t.end_s, *starts.last().unwrap());
        assert!(t.changes.windows(2).all(|w| w[0].picture != w[1].picture));
        for (_, canvas) in &t.pictures {
            let lit = canvas.lit.unwrap();
            assert!(lit.right - lit.left > 50.0 && lit.left >= SAFE.left && lit.right <= SAFE.right);
        }
        let slow = turning(passage, 50.0);
        assert!(slow.changes.iter().zip(&t.changes).all(|(a, b)| (a.start_s - 2.0 * b.start_s).abs() < 1e-9));
    }
    // The verse is two bars, twice: two pictures, shown in turn.
    let verse = turning(&lesson.passages[0], 100.0);
    assert_eq!(verse.changes.iter().map(|c| c.picture).collect::<Vec<_>>()[..], [0, 1, 0, 1]);
    assert_eq!(verse.pictures.len(), 2);
    let later = verse.moved(|t| 3.0 + 1.5 * t);
    assert!((later.changes[1].start_s - (3.0 + 1.5 * verse.changes[1].start_s)).abs() < 1e-12 && (later.end_s - (3.0 + 1.5 * verse.end_s)).abs() < 1e-12);
    assert_eq!(turning(&Passage::default(), 100.0), Turning::default());
    assert_eq!(turning(&lesson.passages[0], 0.0), Turning::default());
}

#[test]
fn a_bar_that_goes_on_in_the_next_system_turns_at_its_beat() {
    // 64 slots of two-figure frets in one bar: no line holds them.
    let slots: Vec<String> = (0..64).map(|i| format!("{}:{}", 1 + i % 6, 10 + i % 9)).collect();
    let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 60; slots 64; part \"g\" instrument=\"guitar\" {{ bar \"{}\"; bar \"{}\" }} }} }}", slots.join(" "), slots.join(" "));
    let lesson = lesson::read(&text).lesson;
    let t = turning(&lesson.passages[0], 100.0);
    assert!(t.pictures.len() > 2, "{}", t.pictures.len());
    let times: Vec<f64> = t.changes.iter().map(|c| c.start_s).collect();
    assert!(times.windows(2).all(|w| w[0] < w[1]), "{times:?}");
    // A beat lasts a second.
    assert!(times.iter().all(|t| t.fract() == 0.0) && times.contains(&4.0) && times[0] == 0.0, "{times:?}");
}

#[test]
fn the_encoders_list() {
    let verse = turning(&demo().passages[0], 100.0);
    let video = video::Video::default();
    let list = video::list(&verse.moved(|t| t + 1.0), &video);
    let lines: Vec<&str> = list.lines().collect();
    // 3.448980 s is 172.45 pictures.
    assert_eq!(lines[..4], ["ffconcat version 1.0", "file 'verse-turning-001.png'", "option framerate 50", "duration 3.440000"]);
    assert_eq!(lines.len(), 1 + 3 * verse.changes.len() + 2);
    let durations: Vec<f64> = lines.iter().filter_map(|l| l.strip_prefix("duration ")).map(|d| d.parse::<f64>().unwrap()).collect();
    // No change is further off than half a picture, however many went before.
    let mut at = 0.0;
    for (d, change) in durations.iter().zip(verse.changes.iter().skip(1).map(|c| c.start_s + 1.0).chain([verse.end_s + 1.0])) {
        at += d;
        assert!((at - change).abs() <= 0.0101, "{at} {change}");
    }
    // What was cut off at the beginning of a recording is no picture; the next one begins at once.
    let cut = video::list(&verse.moved(|t| t - 3.0), &video);
    assert!(cut.starts_with("ffconcat version 1.0\nfile 'verse-turning-002.png'\noption framerate 50\nduration 1.900000\n"), "{cut}");
    assert_eq!(video::list(&Turning::default(), &video), "ffconcat version 1.0\n");
    let a = video::arguments("l", f64::NAN, "o.mov", &video::Video { rate: 0 });
    assert!(a.contains(&"1".to_string()) && a.contains(&"fps=1".to_string()));
}
