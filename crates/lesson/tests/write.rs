//! What is written reads back as the same lesson: every lesson of the documents, the demo, and lessons drawn at random.

#[path = "../../pack/tests/random_lesson/mod.rs"]
mod random_lesson;

use lesson::{Lesson, read, write, write_part};
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// Everything in a lesson but where it stands in a text.
fn bare(lesson: &Lesson) -> String {
    let text = format!("{lesson:?}");
    let mut pieces = text.split("span: Span { start: ");
    let mut out = pieces.next().unwrap_or_default().to_string();
    for piece in pieces {
        out.push_str(&piece[piece.find(" }").expect("the end of a span") + 2..]);
    }
    out
}

/// Reads, writes, reads again, writes again.
fn round(text: &str) {
    let r = read(text);
    assert_eq!(r.problems, vec![], "{text}");
    let written = write(&r.lesson);
    let again = read(&written);
    assert_eq!(again.problems, vec![], "{text}\n{written}");
    let (a, b) = (bare(&r.lesson), bare(&again.lesson));
    if a != b {
        let at = a.bytes().zip(b.bytes()).position(|(x, y)| x != y).unwrap_or(0);
        let near = |s: &str| String::from_utf8_lossy(&s.as_bytes()[at.saturating_sub(300)..(at + 300).min(s.len())]).into_owned();
        panic!("{text}\nwas written as\n{written}\nread before\n{}\nread after\n{}", near(&a), near(&b));
    }
    assert_eq!(write(&again.lesson), written);
}

#[test]
fn lessons_of_the_document_come_back() {
    let page = std::fs::read_to_string(root().join("docs/lesson-file.md")).expect("the page").replace("\r\n", "\n");
    let mut count = 0;
    for block in page.split("\n```kdl\n").skip(1) {
        round(block.split("\n```").next().unwrap_or_default());
        count += 1;
    }
    let mut bars = 0;
    for block in page.split("\n```bar\n").skip(1) {
        for line in block.split("\n```").next().unwrap_or_default().lines() {
            let line = line.split("//").next().unwrap_or_default().trim();
            round(&format!("lesson \"t\" {{ passage \"p\" {{ tempo 96; slots 8; part \"chop\" instrument=\"guitar\" {{ grip \"a\" \"x x 8 8 8 x\"; grip \"b\" \"x x 6 7 6 x\"; bar \"{line}\" }} }} }}"));
            bars += 1;
        }
    }
    assert!(count >= 6 && bars >= 15, "{count} lessons, {bars} bars");
}

#[test]
fn the_demo_comes_back() {
    let mut count = 0;
    for folder in std::fs::read_dir(root().join("demo")).expect("the demos") {
        let file = folder.expect("an entry").path().join("lesson.kdl");
        if let Ok(text) = std::fs::read_to_string(file) {
            round(&text);
            count += read(&text).lesson.passages.len();
        }
    }
    assert!(count >= 6, "{count} passages");
}

#[test]
fn random_lessons_come_back() {
    for seed in 0..320 {
        round(&random_lesson::lesson(seed));
    }
}

/// A bar of eight slots in a guitar part with three grips.
fn bar(line: &str) -> String {
    let line = format!("{line}{}", " .".repeat(8 - line.split(' ').count()));
    part(&format!("bar \"{line}\""))
}

fn part(lines: &str) -> String {
    format!("lesson \"t\" {{ passage \"p\" {{ tempo 96; slots 8; part \"g\" instrument=\"guitar\" {{ grip \"a\" \"x x 8 8 8 x\"; grip \"b\" \"x x 6 7 6 x\"; grip \"c\" \"x x 8 10 8 x\"; {lines} }} }} }}")
}

#[test]
fn every_way_of_playing_comes_back() {
    for line in [
        "a43+>1:5 1:5+>a43 >a43+1:5", "3:9+x 3:9+>x >3:9+x (3:9+x)", "a Hc Pa", "a &H3:10 &P3:8", "a4 &a3 &a2", "*a a* *3:7+2:5", "(3:7')~ (a)^1 (a')", "3:7+(1:7) 3:7+(1:7') 3:7+>(1:7)", "x x32 xa >x (x) Mx Dx", "a x x43 x", "b@-1/b b43@-1/b43@1",
        "a/b b/a@2", "a@2 a43@-1", "4:6/7 H4:9 /4:5", "a /b /b@1", "M6:3+5:5 6:3+M5:5 M6:3+5:5'", "N4:12 T1:8 Ra DRa U&a", "2:8^1 ^0 ^.5 ^.25", "2:8!1 ^0", "2:8!.5^1.5 -", "3:7^1+2:8 3:7+2:8^1", "x654+1:3 xa+1:3", "a'~+1:3^.0625", "4:5 H4:7+3:5",
        "Na N3:12+2:12", "MNT4:12 TM4:5", ">&*DRMa", "(>a)",
    ] {
        // What the language refuses is no matter here.
        let text = bar(line);
        let r = read(&text);
        if line == "4:5 H4:7+3:5" || line == "Na N3:12+2:12" || line == "b@-1/b b43@-1/b43@1" {
            assert!(!r.is_sound(), "{line}");
            continue;
        }
        round(&text);
    }
    for line in ["[a x a]=2 . . . . . .", "a - [- - b]=1 - . [. . a]=2 .", "[a a a]=3 [a b]=5", "a [- ^1]=1 . . . . . .", "[4:5 H4:7 P4:5 x]=2 [x x]=1 . . . . ."] {
        round(&part(&format!("bar \"{line}\"")));
    }
}

#[test]
fn repeats_and_what_changes_on_the_way_come_back() {
    for lines in [
        "repeat times=3 { bar \"a . . .  . . . .\"; repeat times=2 { bar \"b . . .  . . . .\" times=2; rest } }",
        "repeat times=2 { repeat times=2 { repeat times=2 { bar \"a . . .  . . . .\"; bar \"b . . .  . . . .\" } } }",
        "repeat times=3 { bar \"a . . .  . . . 5:3\"; bar \"- . . .  . . . b\" ending=\"1, 3\"; bar \"x . . .  . . . .\" ending=2 }; bar \"x . . .  . . . .\"",
        "repeat times=2 { bar \"a . . .  . . . .\" ending=1; bar \". . . .  . . . .\" ending=2; bar \"b . . .  . . . .\" ending=2 times=3 }",
        "repeat times=3 { bar \"a . . .  . . . .\"; bar \"b . . .  . . . .\" ending=2 }; rest times=3; rest",
        // The scratch falls where the hand lay: another shape in the second round.
        "bar \"a . . .  . . . .\"; repeat times=2 { bar \"x x432 . .  b . . .\" }",
        "repeat times=2 { bar \"x x432 . .  . . . .\"; bar \". . . .  . 3:5 . .\" }",
        "pickup \". a\" say=\"in\" sure=\"guess\" tempo=80; bar \"a . x x  . .\" meter=\"3/4\" tempo=84; bar \"[a x a]=3 . . .\" sure=\"guess\"; bar \"a . x  a . x  a . x\" slots=9 times=2 heard=\"as written at slots 1, 4\"; bar \"a . x  a . x  . .\" slots=8 heard=\"as written\"; rest meter=\"4/4\" tempo=100",
        "repeat times=2 { bar \"a . . .  . . . .\"; bar \"a . . .  . .\" meter=\"3/4\"; bar \"a . . .  . . . .\" meter=\"4/4\" tempo=70.5 }",
        "bar \"a . . .  . . . .\" { level \"0 - - 4  - - 9 -\"; wah \"o - + -  o - + -\" }",
        "bar \". . . .  . . . .\" say=\"count\"; bar \". . . .\" slots=4; rest",
        "take \"takes/one.wav\" from=\"0:01.2\" to=75.125; name \"Fm9/Ab\" at=\"1.2.2\"; name \"Bb7\" at=\"1.1\"; bar \"a a a a  a a a a\"",
        "grip \"d\" \"x x 8 8 8 x\" fingers=\"1 1 1\" name=\"Eb/Bb\" sure=\"guess\"; bar \"a a a a  a a a d\"",
    ] {
        round(&part(lines));
    }
    let inside = |lines: &str| format!("lesson \"t\" format=1 {{ note \"one \\\"two\\\"\\nthree\"; passage \"p\" title=\"P\" sure=\"guess\" {{ {lines} }}; revision \"2027-01-04\" \"x\" }}");
    let guitar = "part \"g\" instrument=\"guitar\"";
    for lines in [
        // The second part says what changes; the first one folds over it.
        format!("tempo 90; slots 4; part \"d\" instrument=\"bass\" {{ rest times=2 }}; {guitar} {{ bar \"1:0 . . .\"; bar \"1:0 . .\" meter=\"3/4\" tempo=60 }}"),
        format!("tempo 90; meter \"6/8\"; slots 6; swing 66.7 of=\"1/16\"; key \"F# dorian\"; chords \"C . | / D/F#\" sure=\"guess\"; record \"a/b.flac\" from=1.5 to=\"1:02:03.04\" cents=-12.5; record \"a/b.flac\" from=200 to=201.123; {guitar} {{ bar \"1:0 . . . . .\"; bar \"1:0 . . . . .\" }}; note \"x\" at=\"1.2.3\" part=\"g\"; note \"y\" at=\"2\""),
        // A place that is finer than most slots.
        format!("tempo 90; slots 16; {guitar} slots=4 {{ bar \"1:0 . . .\" times=3 }}; note \"x\" at=\"1.1.2\""),
        format!("tempo 90; slots 12; {guitar} {{ pickup \"1:0\"; bar \"1:0 . .  . . .  . . .  . . .\" }}; part \"h\" instrument=\"guitar\" slots=24 {{ pickup \"1:0 1:1\"; bar \"[1:0 1:1]=4 . . . . . . . . . . . . . . . . . . . .\" }}; part \"k\" instrument=\"bass\" {{ rest }}"),
        format!("tempo 90; slots 2; {guitar} seat=-0.4 tone=\"a \\\\ b\" staff=#true tuning=\"half step down\" capo=2 frets=24 scale=648 hand=\"down\" sure=\"guess\" {{ bar \"1:0 1:1\" }}; part \"i\" instrument=\"guitar\" strings=7 tuning=\"drop A\" seat=\"left\" hand=\"up\" {{ bar \"7:0 1:1\" }}; part \"j\" instrument=\"bass\" tuning=\"B0 E1 A1 D2 G2\" seat=\"right\" {{ bar \"5:0 x\" }}"),
        format!("tempo 90; slots 2; {guitar} slots=4 {{ grip \"a\" \"x x 8 8 8 x\"; grip \"b\" \"x x 7 7 7 x\"; bar \"a . b .\" }}; easier \"g\" sure=\"guess\" {{ grip \"a\" \"x x 8 8 x x\"; grip \"e\" \"0 x x x x x\"; bar \"a b e .\" }}"),
        "tempo 90; slots 8; part \"line\" instrument=\"guitar\" write=\"notes\" { bar \"C4 - D4 - E4+G4 - >G4' -\"; place \"3:5\" at=\"1.1\" }".to_string(),
        "tempo 90; slots 8; part \"kit\" instrument=\"drums\" { pickup { kick \"x\" }; bar times=2 { kick \"x . . .  x . . .\"; snare \". . >x (x)  . . >x .\"; hats \"x x x x  x >o x (o)\" }; bar { crash \"x . . .  . . [x x]=2\"; ride \"[x x x]=2 x x  x x x x\"; tom \"x . . .  . . x .\" }; bar { kick \". . . .  . . . .\" }; bar { kick \"x . x .  . . . .\"; snare \"[. x x]=4 . . . .\" } }".to_string(),
        "tempo 90; slots 8; part \"keys\" instrument=\"keys\" { bar \"C4+Eb4+G4 - - .  Bb3' . >F#3~ (G3)\"; bar \"C3 &C4 &E4 -  *C4+E4 . C4+E4* [Cb4 - B#3]=1\" }; part \"count\" instrument=\"click\" { bar \">x . x .  x . [x x x]=2\" { }; rest }".replace(" { };", ";"),
    ] {
        round(&inside(&lines));
    }
}

/// A part alone reads, in its passage, as it did among the others.
#[test]
fn a_part_alone_comes_back() {
    for seed in 400..420 {
        let lesson = read(&random_lesson::lesson(seed)).lesson;
        for p in &lesson.passages {
            let written = write(&lesson);
            for q in &p.parts {
                let indented: String = write_part(p, q).lines().map(|l| format!("    {l}\n")).collect();
                assert!(written.contains(&indented), "{indented}\nis not part of\n{written}");
            }
        }
    }
}

#[test]
fn the_house_layout() {
    let text = "lesson \"T\" needs=\"barre, slides\" chord-names=\"signs\" {
  note \"n\"
  revision \"2027-01-04\" \"r\"

  passage \"verse\" title=\"Verse vamp\" {
    tempo 102
    meter \"4/4\"
    slots 16
    swing 54 of=\"1/16\"
    key \"C minor\"
    record \"audio/w.flac\" from=\"0:12.40\" to=\"1:21.81\"
    chords \"Cm7 / / Bb7\"

    part \"chop\" instrument=\"guitar\" seat=\"left\" {
      grip \"a\" \"x x 8 8 8 x\"
      grip \"b\" \"x x 6 7 6 x\" fingers=\"1 2 1\"
      repeat times=3 {
        bar \"a . x x  . a x .  . x a x  b@-1/b - . .\" say=\"slide in\"
        bar \"a . x x  . a x .  . x >a x  b@-1/b - a43' .\" ending=1
        bar \"- - - -  . . . .  . . . .  . . . a\" ending=\"2, 3\" { level \"9 - - -  0 - - -  - - - -  - - - -\" }
      }
    }
    part \"kit\" instrument=\"drums\" {
      bar times=6 {
        kick \"x . . .  x . . .  x . . .  x . . .\"
        hats \"x . o .  x . x .  x . x .  x . x .\"
      }
    }
    note \"here\" at=\"2.1.2\" part=\"chop\"
  }
}
";
    let text = text.replace("\"- - - -", "\"a - - -");
    let r = read(&text);
    assert_eq!(r.problems, vec![]);
    assert_eq!(write(&r.lesson), text);
}

/// A part that no text has said yet: two strokes, a tie over the bar line, a rest.
#[test]
fn a_part_put_together_by_a_program() {
    use lesson::{Attack, Bar, Beats, Direction, Event, Meter, Part, PartBar, Passage, Source, Tone};
    let b = Beats::new;
    let tone = |string: u8, fret: u8, midi: u8| Tone { source: Source::String { string, fret }, midi: pitch::Midi(midi), dead: false, attack: Attack::Struck, slide_to: None, prebend_cents: 0.0, bend_cents: None, accent: false, vibrato: false, harmonic: false, palm_mute: false, ghost: false, short: false, tremolo: false, rings_on: false };
    let event = |at: Beats, len: Beats, slot: u32, notes: Vec<Tone>| Event { at, len, slot, notes, scratch: false, tie_in: false, tie_out: false, held: false, keep: false, accent: false, rake: false, spread: None, direction: None, hand: Direction::Down, grip: None, tuplet: None, span: Default::default() };
    let mut part = Part::new("line", "guitar").expect("an instrument");
    let mut tied = event(b(0, 1), b(1, 2), 1, vec![tone(3, 7, 62)]);
    tied.tie_in = true;
    part.bars = vec![
        PartBar { slots: 8, events: vec![event(b(0, 1), b(1, 1), 1, vec![tone(5, 7, 52), tone(4, 7, 57)]), event(b(7, 2), b(1, 2), 8, vec![tone(3, 7, 62)])], ..PartBar::default() },
        PartBar { slots: 8, events: vec![tied], ..PartBar::default() },
        PartBar { slots: 8, ..PartBar::default() },
    ];
    let meter = Meter { count: 4, unit: 4 };
    let bars = (0..3u32).map(|i| Bar { number: i + 1, meter, length: meter.length(), start: meter.length() * b(i64::from(i), 1), tempo_bpm: 90.5, swing: None }).collect();
    let passage = Passage { id: "taken".into(), title: "taken".into(), bars, parts: vec![part], ..Passage::default() };
    assert_eq!(
        write_part(&passage, &passage.parts[0]),
        "part \"line\" instrument=\"guitar\" {\n  bar \"5:7+4:7 - . .  . . . 3:7\"\n  bar \"- . . .  . . . .\"\n  rest\n}\n"
    );
    let lesson = Lesson { title: "T".into(), passages: vec![passage], ..Lesson::default() };
    let r = read(&write(&lesson));
    assert_eq!(r.problems, vec![]);
    assert_eq!(r.lesson.passages[0].bars, lesson.passages[0].bars);
    assert_eq!(r.lesson.passages[0].parts[0].bars[0].events.len(), 2);
}
