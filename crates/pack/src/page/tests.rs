//! The page as files: what is in them, what cannot get into them, and that they are always the same.

use super::*;
use base64::Engine as _;

fn step(percent: f64) -> PageStep {
    PageStep {
        percent,
        rate_hz: 48_000,
        frames: 96_000,
        bar_starts_s: vec![0.0, 1.0],
        overlap_frames: 480,
        stems: vec![(0, vec![1, 2, 3]), (1, vec![255; 4])],
        heads: vec![PageSound { frames: 9_600, bytes: vec![4, 5] }, PageSound { frames: 9_600, bytes: vec![6] }],
        click: None,
        click_headroom_db: -1.5,
        count_in: Some(PageSound { frames: 48_000, bytes: vec![7] }),
    }
}

fn passage(id: &str) -> PagePassage {
    PagePassage {
        id: id.into(),
        title: "Verse".into(),
        bar_numbers: vec![1, 2],
        tempo_bpm: 102.0,
        parts: vec![PagePart { name: "chop".into(), ..PagePart::default() }, PagePart { name: "line".into(), ..PagePart::default() }],
        ladder: vec![step(100.0), step(62.5)],
        ..PagePassage::default()
    }
}

fn lesson(ids: &[&str]) -> PageInput {
    PageInput {
        title: "Rain".into(),
        mime: "audio/wav".into(),
        passages: ids.iter().map(|id| passage(id)).collect(),
        ..PageInput::default()
    }
}

fn text(files: &[(String, Vec<u8>)], path: &str) -> String {
    let (_, bytes) = files.iter().find(|(p, _)| p == path).unwrap_or_else(|| panic!("no {path}"));
    String::from_utf8(bytes.clone()).unwrap()
}

#[test]
fn sounds_stand_slowest_first_under_names_that_no_disk_confuses() {
    let files = page(&lesson(&["verse", "Verse", "a/../b c", "", "verse-2"]));
    let paths: Vec<&str> = files.iter().map(|(path, _)| path.as_str()).skip(4).collect();
    assert_eq!(
        paths,
        [
            "audio/verse-at-62.5.js",
            "audio/verse-at-100.js",
            "audio/Verse-2-at-62.5.js",
            "audio/Verse-2-at-100.js",
            "audio/a----b-c-at-62.5.js",
            "audio/a----b-c-at-100.js",
            "audio/passage-at-62.5.js",
            "audio/passage-at-100.js",
            "audio/verse-2-2-at-62.5.js",
            "audio/verse-2-2-at-100.js",
        ]
    );
}

#[test]
fn a_script_hands_over_the_very_bytes_of_the_stems() {
    let files = page(&lesson(&["verse"]));
    let script = text(&files, "audio/verse-at-100.js");
    let json = script.strip_prefix("partwright.sounds(\"verse-at-100\", ").unwrap().strip_suffix(");\n").unwrap();
    let value: serde_json::Value = serde_json::from_str(json).unwrap();
    let bytes = |v: &serde_json::Value| base64::engine::general_purpose::STANDARD.decode(v.as_str().unwrap()).unwrap();
    assert_eq!(bytes(&value["stems"][0]), [1, 2, 3]);
    assert_eq!(bytes(&value["stems"][1]), [255; 4]);
    assert_eq!((bytes(&value["heads"][0]), bytes(&value["heads"][1])), (vec![4, 5], vec![6]));
    assert_eq!(bytes(&value["countIn"]), [7]);
    assert_eq!(value["click"], serde_json::Value::Null);
    assert_eq!(value["mime"], "audio/wav");
}

#[test]
fn figures_name_the_script_that_is_written() {
    let files = page(&lesson(&["a b"]));
    let index = text(&files, "index.html");
    let json = index.split("type=\"application/json\">").nth(1).unwrap().split("</script>").next().unwrap();
    let figures: serde_json::Value = serde_json::from_str(json).unwrap();
    let steps = figures["passages"][0]["steps"].as_array().unwrap();
    assert_eq!(steps.len(), 2);
    for step in steps {
        text(&files, step["script"].as_str().unwrap());
        assert_eq!(step["borders"], serde_json::json!([0, 48_000, 96_000]));
        assert_eq!(step["countInFrames"], 48_000);
        assert_eq!((&step["overlapFrames"], &step["headFrames"]), (&serde_json::json!(480), &serde_json::json!(9_600)));
        assert!((step["clickHeadroom"].as_f64().unwrap() - 0.8414).abs() < 1e-4);
    }
    assert_eq!(steps[0]["percent"], 62.5);
}

/// Every text field set to markup: none of it comes through as such, in the page or in the data block.
#[test]
fn text_never_becomes_markup() {
    const EVIL: &str = "</title></script><script>alert(1)</script><img src=x onerror=\"alert(2)\">\u{2028}&amp;";
    let evil = || EVIL.to_owned();
    let mut lesson = lesson(&[EVIL]);
    lesson.title = evil();
    lesson.needs = vec![evil()];
    lesson.about = vec![evil()];
    lesson.small_print = vec![evil()];
    lesson.mime = evil();
    lesson.revisions = vec![PageRevision { date: evil(), text: evil() }];
    let passage = &mut lesson.passages[0];
    passage.title = evil();
    passage.facts = vec![evil()];
    passage.notes = vec![PageNote { place: Some(evil()), text: evil() }];
    passage.diagrams = vec![PageDiagram { name: evil(), svg: String::new() }];
    passage.record = vec![evil()];
    passage.cents_note = Some(evil());
    passage.parts = vec![PagePart { name: evil(), seat: evil(), easier_of: None }, PagePart { name: evil(), seat: evil(), easier_of: Some(0) }];
    for (path, bytes) in page(&lesson) {
        if matches!(path.as_str(), "play.js" | "page.js" | "page.css") {
            continue;
        }
        let text = String::from_utf8(bytes).unwrap();
        assert!(!text.contains("<script>"), "{path}");
        assert!(!text.contains("<img"), "{path}");
        assert!(path == "index.html" || !text.contains(['<', '>', '&', '\u{2028}']), "{path}");
        if path == "index.html" {
            // Its own three script elements and no more.
            assert_eq!(text.matches("</script>").count(), 3);
            // Title twice, needs, about, small print, revision twice, passage title six times at least, and the rest.
            assert!(text.matches("&lt;img src=x onerror=").count() >= 20, "{}", text.matches("&lt;img").count());
        }
    }
}

#[test]
fn the_page_loads_its_own_files_and_nothing_else() {
    let files = page(&lesson(&["verse"]));
    let index = text(&files, "index.html");
    assert!(index.contains("default-src 'none'"));
    for reference in index.split(" src=\"").skip(1).chain(index.split(" href=\"").skip(1)) {
        let target = reference.split('"').next().unwrap();
        assert!(target.starts_with('#') || files.iter().any(|(path, _)| path == target), "{target}");
    }
    for (path, bytes) in &files {
        let text = String::from_utf8_lossy(bytes);
        for word in ["http:", "https:", "fetch(", "XMLHttpRequest", "localStorage", "import ", "type=\"module\"", "@font-face", "url("] {
            assert!(!text.contains(word), "{word} in {path}");
        }
    }
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let input = lesson(&["verse", "bridge"]);
    assert_eq!(page(&input), page(&input.clone()));
    let mut other = input.clone();
    other.passages[1].ladder[0].stems[0].1[0] ^= 1;
    let (a, b) = (page(&input), page(&other));
    let changed: Vec<&str> = a.iter().zip(&b).filter(|(x, y)| x != y).map(|(x, _)| x.0.as_str()).collect();
    assert_eq!(changed, ["audio/bridge-at-100.js"]);
}

#[test]
fn an_easier_part_rests_at_first() {
    let mut lesson = lesson(&["verse"]);
    lesson.passages[0].parts[1].easier_of = Some(0);
    let index = text(&page(&lesson), "index.html");
    assert!(index.contains("name=\"part-0-0\" value=\"joins\" data-part=\"0\" checked"));
    assert!(index.contains("name=\"part-0-1\" value=\"rests\" data-part=\"1\" checked"));
    assert!(index.contains("easier than chop"));
}

#[test]
fn odd_lessons_still_give_a_page() {
    assert!(text(&page(&PageInput::default()), "index.html").contains("no passages yet"));
    let mut bare = lesson(&["verse"]);
    bare.passages[0] = PagePassage { id: "verse".into(), ..PagePassage::default() };
    assert_eq!(page(&bare).len(), 4);
    let mut twice = lesson(&["verse"]);
    twice.passages[0].ladder = vec![step(75.0), step(75.0), step(f64::NAN)];
    assert_eq!(page(&twice).len(), 6);
}
