//! What the documentation shows is read without a fault, and every word that it names is known.

fn boxes(text: &str, kind: &str) -> Vec<String> {
    let found: Vec<String> = text.split(&format!("```{kind}\n")).skip(1).filter_map(|t| t.split("```").next()).map(str::to_string).collect();
    assert!(!found.is_empty());
    found
}

#[test]
fn every_query_is_read() {
    let text = include_str!("../../../docs/find.md");
    for line in boxes(text, "find").iter().flat_map(|b| b.lines()) {
        assert!(shelf::query(line).is_ok(), "{line}: {:?}", shelf::query(line));
    }
    // The table of techniques is whole.
    for t in shelf::Technique::ALL {
        assert!(text.contains(&format!("`{}`", t.word())), "{}", t.word());
    }
    for f in shelf::Figure::ALL {
        assert!(text.contains(&format!("`{}`", f.word())) || text.contains(&format!("lock {}", f.word())), "{}", f.word());
    }
}

#[test]
fn what_the_words_mean() {
    use shelf::Test;
    let first = |q: &str| shelf::query(q).unwrap().terms.into_iter().map(|t| t.tests[0].clone()).collect::<Vec<_>>();
    let nine = |rootless| Test::Kind { qualities: vec!["9".into()], rootless };
    assert_eq!(first("rootless ninth"), [nine(true)]);
    assert_eq!(first("ninth chord without its root"), [nine(true)]);
    assert_eq!(first("ninth fret"), [nine(false), Test::Words(vec!["fret".into()])]);
    assert_eq!(first("\"ninth\""), [Test::Words(vec!["ninth".into()])]);
    assert_eq!(first("minor seventh")[0], Test::Kind { qualities: vec!["m7".into()], rootless: false });
    assert_eq!(first("D9 bends"), [Test::Sign { root: Some(pitch::PitchClass(2)), quality: "9".into() }, Test::Technique(shelf::Technique::Bend)]);
    assert_eq!(first("name m7"), [Test::Sign { root: None, quality: "m7".into() }]);
    assert_eq!(first("A"), [Test::Words(vec!["a".into()])]);
    assert_eq!(first("parent ninth, root on string 5"), [Test::Parent(vec!["ninth, root on string 5"])]);
    assert_eq!(first("parent ninth"), [Test::Parent(vec!["ninth, root on string 5", "ninth, root on string 6"])]);
    assert_eq!(first("parent \"A form\" bend")[0], Test::Parent(vec!["A form"]));
    assert_eq!(first("key Cm"), first("key C minor"));
    assert_eq!(first("key c minor"), first("key C minor"));
    let range = |q: &str| match first(q).remove(0) {
        Test::Tempo(r) | Test::Lock(_, r) => (r.from, r.to),
        other => panic!("{other:?}"),
    };
    assert_eq!(range("tempo 90"), (90.0, 90.0));
    assert_eq!(range("tempo 90-110.5"), (90.0, 110.5));
    assert_eq!(range("tempo 90 to 110"), (90.0, 110.0));
    assert_eq!(range("tempo from 90 to 110"), (90.0, 110.0));
    assert_eq!(range("tempo from 90"), (90.0, 1000.0));
    assert_eq!(range("tempo to 90"), (0.0, 90.0));
    assert_eq!(range("lock overlap -5-3"), (-5.0, 3.0));
    assert_eq!(range("lock overlap from -5"), (-5.0, 200.0));
}

#[test]
fn faults_have_their_places() {
    for (text, at, found) in [
        ("", "", "nothing is asked for"),
        ("bend not", "not", "nothing follows"),
        ("tempo", "tempo", "nothing that fits follows"),
        ("tempo fast bend", "fast", "no number"),
        ("tempo 110-90", "110-90", "goes down"),
        ("tempo 9000", "9000", "outside"),
        ("key H minor", "H", "neither a note nor a mode"),
        ("key \"C minr\"", "\"C minr\"", "no mode"),
        ("grip red", "red", "neither a fret nor x"),
        ("grip 8 8 8", "8", "3 strings"),
        ("grip x x x x x 5", "x", "two strings"),
        ("grip x x 88 8 8 x", "x", "fret 88"),
        ("parent Q form", "Q", "no form"),
        ("name Hm7", "Hm7", "H"),
        ("technique whistling", "whistling", "none of scratch"),
        ("swing 20", "20", "outside"),
        ("level 9", "9", "outside"),
        ("lock tight 5", "tight", "none of shared"),
        ("lock shared", "lock", "nothing that fits"),
        ("bend ??", "??", "no letter"),
        ("say \"so", "\"so", "a quote is missing"),
    ] {
        let faults = shelf::query(text).unwrap_err();
        assert!(faults.iter().any(|f| f.found.contains(found) && &text[f.span.start..f.span.end] == at), "{text}: {faults:?}");
        assert!(faults.iter().all(|f| !f.right.is_empty()), "{text}: {faults:?}");
    }
    // Several at once.
    assert_eq!(shelf::query("tempo fast key H swing 90").unwrap_err().len(), 3);
    assert!(shelf::query(&"a ".repeat(17)).unwrap_err()[0].found.contains("17th"));
    assert!(shelf::query(&"a".repeat(1001)).unwrap_err()[0].found.contains("1001 bytes"));
}

#[test]
fn requests_and_course_are_read() {
    for text in boxes(include_str!("../../../docs/requests.md"), "requests") {
        let (requests, problems) = shelf::requests(&text);
        assert_eq!((problems, requests.list().len()), (vec![], 4));
    }
    for text in boxes(include_str!("../../../docs/course.md"), "course") {
        let (course, problems) = shelf::course(&text);
        assert_eq!((problems, course.lessons.len(), course.known.len()), (vec![], 2, 2));
    }
}

/// The demo's course: in order as it stands, and what it claims about grips is found.
#[test]
fn the_demo_course() {
    let (course, problems) = shelf::course(include_str!("../../../demo/course.kdl"));
    assert_eq!(problems, []);
    let lessons = [include_str!("../../../demo/net-loft/lesson.kdl"), include_str!("../../../demo/lantern-stairs/lesson.kdl"), include_str!("../../../demo/ferry-road/lesson.kdl")];
    assert_eq!(course.lessons.iter().map(|l| l.folder.as_str()).collect::<Vec<_>>(), ["net-loft", "lantern-stairs", "ferry-road"]);
    let facts: Vec<shelf::Facts> = lessons.iter().map(|l| shelf::facts(&lesson::read(l))).collect();
    let checked = shelf::check_course(&course, &facts.iter().map(Some).collect::<Vec<_>>());
    assert_eq!(checked.problems, []);
    // Every fragment of the second evening comes out of a whole grip of the first.
    assert_eq!(checked.chapters[1].new_grips, [""; 0]);
    let links: Vec<&str> = checked.chapters[1].links.iter().map(|l| l.sentence.as_str()).collect();
    assert_eq!(
        links,
        [
            "x x 7 7 7 x is a part of 5 x 5 5 5 x from “Net Loft: the whole grip first”, sails.",
            "x x 6 7 7 x is a part of x 5 4 5 5 5 from “Net Loft: the whole grip first”, sails.",
            "x x 5 5 5 x is a part of 5 x 5 5 5 x from “Net Loft: the whole grip first”, sails.",
        ]
    );
    assert!(checked.chapters[2].links.iter().any(|l| l.sentence.starts_with("x x 4 5 5 x is x x 6 7 7 x, 2 frets lower")), "{:?}", checked.chapters[2].links);
    // Each thing that pupils are said to know is needed; the other way round the fragments come too early.
    let needless: Vec<_> = (0..course.lessons[2].known.len())
        .filter(|i| {
            let mut less = course.clone();
            less.lessons[2].known.remove(*i);
            shelf::check_course(&less, &facts.iter().map(Some).collect::<Vec<_>>()).problems.is_empty()
        })
        .map(|i| course.lessons[2].known[i].clone())
        .collect();
    assert_eq!(needless, []);
    let mut turned = course.clone();
    turned.lessons.swap(0, 1);
    let early = shelf::check_course(&turned, &[Some(&facts[1]), Some(&facts[0]), Some(&facts[2])]).problems;
    assert!(early.iter().any(|p| p.found.contains("a part of the")) && early.iter().any(|p| p.found.contains("comes later")), "{early:?}");
}

/// What pupils ask for, held against the demo.
#[test]
fn requests_against_the_demo() {
    use shelf::Coverage;
    let folder = tempfile::tempdir().unwrap();
    let mut shelf = shelf::Shelf::open(&folder.path().join("demo.shelf")).unwrap();
    for (name, text) in [("demo/net-loft", include_str!("../../../demo/net-loft/lesson.kdl")), ("demo/ferry-road", include_str!("../../../demo/ferry-road/lesson.kdl"))] {
        shelf.put(&shelf::Seen { folder: name.into(), bytes: text.len() as u64, modified_ns: 0 }, 1, text.as_bytes()).unwrap();
    }
    let text = "2026-11-03 3x how do I play rootless ninths?\n2x bends on the whammy bar\n2026-10-01 2x tapping, please\nslow bends -> ferry-road/last-boat\nbarre -> none\nold tune -> gone\nharmonics\n2x what\n";
    let (requests, problems) = shelf::requests(text);
    assert_eq!(problems, []);
    let wanted = shelf.wanted(&requests, 2).unwrap();
    let words = |m: &[shelf::Matched]| m.iter().map(|m| m.request.words.clone()).collect::<Vec<_>>();
    assert_eq!(words(&wanted.covered), ["how do I play rootless ninths?", "slow bends", "harmonics"]);
    let Coverage::Covered { hits, total } = &wanted.covered[0].coverage else { panic!("{:?}", wanted.covered[0]) };
    assert!(*total >= 1 && hits[0].why.contains("without its root"), "{hits:?}");
    assert_eq!(wanted.covered[1].coverage, Coverage::Answered { by: vec!["ferry-road/last-boat".into()], missing: vec![] });
    let order: Vec<&str> = wanted.most_wanted.iter().map(|i| wanted.not_covered[*i].request.words.as_str()).collect();
    assert_eq!(order, ["tapping, please", "bends on the whammy bar", "what", "barre", "old tune"]);
    let Coverage::NotCovered { without } = &wanted.not_covered[0].coverage else { panic!() };
    assert_eq!(without, &["whammy"]);
    // Never taught: techniques without a word, kinds of chords without a grip.
    let gaps = shelf.never_taught(2).unwrap();
    assert!(gaps.iter().any(|g| g.kind == shelf::GapKind::Technique && g.what == "palm mute"), "{gaps:?}");
    assert!(gaps.iter().all(|g| g.uses >= 2 && g.passages >= 1));
    assert!(!gaps.iter().any(|g| g.kind == shelf::GapKind::Technique && g.what == "slide"), "{gaps:?}");
    assert!(gaps.iter().any(|g| g.kind == shelf::GapKind::Parent) && gaps.iter().any(|g| g.kind == shelf::GapKind::Chord), "{gaps:?}");
    // Taught once whole, no gap any more.
    let form = gaps.iter().find(|g| g.kind == shelf::GapKind::Parent).unwrap();
    assert!(!shelf.find(&shelf::query(&format!("parent {}", form.what)).unwrap(), 1).unwrap().hits.is_empty());
}
