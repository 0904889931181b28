//! Edits of the text: what is asked for changes, all else stays byte for byte.

#[path = "../../pack/tests/random_lesson/mod.rs"]
mod random_lesson;
mod dice;

use dice::Dice;
use lesson::{BarAt, Edit, Edited, Lesson, Owner, Rounds, Value, edit, read, splice};

const TEXT: &str = r##"// Head.
lesson "Tuesday \"group\"" needs="barre" { // after the title
  passage "verse"   title="Verse" {
    tempo 96 ; slots 8
    chords "Cm7 / / Bb7"   // a bar of it
    part "chop" instrument="guitar" /* nearly */ seat="left" {
      grip "a" "x x 8 8 8 x"   // the long one
      pickup ". a"
      bar  "a . x x   . a x ."  times=4 say="go"   // four

      repeat times=2 {
        bar #"a - - -  . . . ."# ; bar "[a x a]=2 . .  . . . x" // raw
      }
      rest
    }
    easier "chop" { bar "a . . .  a . . ." times=8; bar "a - - -  - - - -" }
    part "kit" instrument="drums" {
      bar times=9 { kick "x . . .  x . . ." /* k */; hats "x x x x  x x x x" }
    }
    note "one" at="2.1" part="chop"
    note "two" at="9.1"
  }
  revision "2027-01-04" "r"
}
"##;

fn at(part: &str, bar: u32) -> BarAt {
    BarAt { passage: "verse".into(), part: part.into(), bar }
}

fn text_of(s: &str) -> Option<Value> {
    Some(Value::Text(s.into()))
}

/// The edit's outcome, after what must hold of any.
fn done(before: &str, e: &Edit) -> Edited {
    let out = edit(before, e).unwrap_or_else(|x| panic!("{e:?}: {x}\n{}", x.outcome));
    hold(before, e, &out);
    out
}

fn hold(before: &str, e: &Edit, out: &Edited) {
    assert!(read(&out.text).is_sound(), "{e:?}\n{}", out.text);
    assert_eq!(splice(before, &out.changes).as_deref(), Some(out.text.as_str()), "{e:?}");
    assert_eq!(splice(&out.text, &out.undo).as_deref(), Some(before), "{e:?}");
    // What lies outside the changes is there, in order.
    let mut from = 0;
    let mut rest = out.text.as_str();
    for c in &out.changes {
        let kept = &before[from..c.at.start];
        assert!(rest.starts_with(kept), "{e:?}");
        rest = &rest[kept.len() + c.with.len()..];
        from = c.at.end;
    }
    assert_eq!(rest, &before[from..], "{e:?}");
}

/// One edit of `TEXT`: the one piece that goes, and the one that comes.
fn swap(e: Edit, old: &str, new: &str) -> Edited {
    assert_eq!(TEXT.matches(old).count(), 1, "{old}");
    let out = done(TEXT, &e);
    assert_eq!(out.text, TEXT.replace(old, new), "{e:?}");
    out
}

fn refused(before: &str, e: Edit, word: &str) {
    let x = edit(before, &e).expect_err("refused");
    assert!(x.found.contains(word) || x.right.contains(word), "{e:?}: {x}");
    assert!(!x.found.is_empty() && !x.right.is_empty());
}

#[test]
fn the_text_is_sound() {
    assert_eq!(read(TEXT).problems, vec![]);
}

#[test]
fn tokens() {
    let token = |part: &str, bar: u32, row: Option<&str>, slot: u32, with: &str, rounds: Rounds| Edit::Token { bar: at(part, bar), row: row.map(Into::into), slot, with: with.into(), rounds };
    assert_eq!(swap(token("chop", 2, None, 6, ">a43", Rounds::All), ". a x .\"  times", ". >a43 x .\"  times").played, 4);
    assert_eq!(swap(token("chop", 0, None, 2, "x", Rounds::All), "\". a\"", "\". x\"").played, 1);
    // Raw text; a bracket whole, by one token or several; a row.
    assert_eq!(swap(token("chop", 7, None, 1, "5:7", Rounds::All), "#\"a - -", "#\"5:7 - -").played, 2);
    swap(token("chop", 6, None, 1, "x a", Rounds::All), "[a x a]=2", "x a");
    swap(token("chop", 6, None, 8, ".", Rounds::All), ". . . x\" // raw", ". . . .\" // raw");
    assert_eq!(swap(token("kit", 3, Some("kick"), 5, "(x)", Rounds::All), "x . . .\" /* k", "(x) . . .\" /* k").played, 9);
    swap(token("chop, easier", 9, None, 1, "5:3", Rounds::All), "\"a - - -  - -", "\"5:3 - - -  - -");
    // One round of several.
    let out = swap(token("chop", 2, None, 1, "x", Rounds::This), "bar  \"a . x x   . a x .\"  times=4 say=\"go\"   // four", "bar  \"a . x x   . a x .\" say=\"go\"\n      bar  \"x . x x   . a x .\" say=\"go\"\n      bar  \"a . x x   . a x .\"  times=2 say=\"go\"   // four");
    assert_eq!(out.played, 1);
    let out = done(TEXT, &token("kit", 9, Some("hats"), 8, "o", Rounds::This));
    assert!(out.text.contains("      bar times=8 { kick \"x . . .  x . . .\" /* k */; hats \"x x x x  x x x x\" }\n      bar { kick \"x . . .  x . . .\" /* k */; hats \"x x x x  x x x o\" }\n"), "{}", out.text);
    let out = done(TEXT, &token("chop, easier", 1, None, 1, "x", Rounds::This));
    assert!(out.text.contains("{ bar \"x . . .  a . . .\"; bar \"a . . .  a . . .\" times=7; bar \"a - - -"), "{}", out.text);

    refused(TEXT, token("chop", 5, None, 1, "x", Rounds::This), "repeat");
    refused(TEXT, token("chop", 2, None, 9, "x", Rounds::All), "slot 9");
    refused(TEXT, token("chop", 6, None, 2, "x", Rounds::All), "slot 2");
    refused(TEXT, token("chop", 99, None, 1, "x", Rounds::All), "bar 99");
    refused(TEXT, token("chip", 1, None, 1, "x", Rounds::All), "chop");
    refused(TEXT, token("kit", 1, None, 1, "x", Rounds::All), "row");
    refused(TEXT, token("kit", 1, Some("tom"), 1, "x", Rounds::All), "tom");
    refused(TEXT, token("chop", 9, None, 1, "x", Rounds::All), "rest");
    // What would break the lesson, or get out of the quotes.
    for (with, word) in [("c", "no grip c"), ("a a", "9 slots"), ("", "7 slots"), ("x\" times=\"3", "cannot stand"), ("\\", "cannot stand"), ("x\n", "control")] {
        refused(TEXT, token("chop", 1, None, 1, with, Rounds::All), word);
    }
    let x = edit(TEXT, &token("chop", 1, None, 1, "c", Rounds::All)).unwrap_err();
    assert_eq!(&x.outcome[x.problems[0].span.start..x.problems[0].span.end], "c");
    // Over escapes the line is set whole.
    let escaped = TEXT.replace("\". a\"", "\"\\u{2e} a\"");
    refused(&escaped, token("chop", 0, None, 1, "x", Rounds::All), "escapes");
}

#[test]
fn whole_lines() {
    let line = |part: &str, bar: u32, row: Option<&str>, line: &str| Edit::Stroke { bar: at(part, bar), row: row.map(Into::into), line: line.into(), rounds: Rounds::All };
    swap(line("chop", 1, None, "x x x x x x x x"), "\"a . x x   . a x .\"", "\"x x x x x x x x\"");
    swap(line("chop", 5, None, "x x x x x x x x"), "#\"a - - -  . . . .\"#", "#\"x x x x x x x x\"#");
    swap(line("chop", 9, None, "a . . .  . . . ."), "      rest", "      bar \"a . . .  . . . .\"");
    swap(line("kit", 1, Some("hats"), "x . x .  x . x ."), "\"x x x x  x x x x\"", "\"x . x .  x . x .\"");
    swap(line("kit", 1, Some("snare"), ". . x .  . . x ."), "x x x x\" }", "x x x x\"; snare \". . x .  . . x .\" }");
    swap(line("chop", 1, Some("wah"), "o - - -  + - - -"), "say=\"go\"", "say=\"go\" { wah \"o - - -  + - - -\" }");
    refused(TEXT, line("chop", 1, None, "x x"), "2 slots");
    let drums = TEXT.replace("bar times=9 {", "rest; bar times=8 {");
    let out = done(&drums, &line("kit", 1, Some("ride"), "x . x .  x . x ."));
    assert_eq!(out.text, drums.replace("rest; bar t", "bar { ride \"x . x .  x . x .\" }; bar t"));
    // Several lines of text, with and without escapes.
    let many = TEXT.replace("#\"a - - -  . . . .\"#", "\"\"\"\n  a - - -\n  . . . .\n  \"\"\"");
    let out = done(&many, &Edit::Token { bar: at("chop", 5), row: None, slot: 5, with: "x".into(), rounds: Rounds::All });
    assert_eq!(out.text, many.replace("\n  . . . .\n", "\n  x . . .\n"));
}

#[test]
fn properties() {
    let set = |of: Owner, key: &str, value: Option<Value>| Edit::Property { of, key: key.into(), value };
    let bar = |n: u32| Owner::Bar(at("chop", n));
    let part = Owner::Part { passage: "verse".into(), part: "chop".into() };
    let grip = Owner::Grip { passage: "verse".into(), part: "chop".into(), letter: 'a' };
    assert_eq!(swap(set(bar(1), "say", text_of("a \"b\"\\")), "say=\"go\"", "say=\"a \\\"b\\\"\\\\\"").played, 4);
    swap(set(bar(1), "say", None), "times=4 say=\"go\"", "times=4");
    swap(set(bar(1), "sure", text_of("guess")), "say=\"go\"", "say=\"go\" sure=\"guess\"");
    swap(set(bar(9), "sure", None), "rest", "rest");
    swap(set(part.clone(), "seat", Some(Value::Number(-0.5))), "seat=\"left\"", "seat=-0.5");
    swap(set(part.clone(), "staff", Some(Value::Flag(true))), "seat=\"left\"", "seat=\"left\" staff=#true");
    swap(set(part, "seat", None), " seat=\"left\"", "");
    swap(set(grip.clone(), "fingers", text_of("1 1 1")), "8 8 8 x\"", "8 8 8 x\" fingers=\"1 1 1\"");
    swap(set(Owner::Lesson, "needs", text_of("barre, slides")), "\"barre\"", "\"barre, slides\"");
    swap(set(Owner::Passage("verse".into()), "title", text_of("Vamp")), "\"Verse\"", "\"Vamp\"");
    swap(set(Owner::Line { passage: "verse".into(), word: "chords".into() }, "sure", text_of("guess")), "Bb7\"", "Bb7\" sure=\"guess\"");
    swap(set(Owner::Note { passage: "verse".into(), index: 1 }, "at", text_of("8.3")), "9.1", "8.3");
    refused(TEXT, set(grip, "fingers", text_of("1 1")), "2 fingers");
    refused(TEXT, set(bar(1), "sya", text_of("x")), "say=");
    refused(TEXT, set(bar(1), "a b", text_of("x")), "no property");
    refused(TEXT, set(bar(1), "times", Some(Value::Number(3.0))), "bars");
    refused(TEXT, set(Owner::Note { passage: "verse".into(), index: 2 }, "at", None), "number 3");
    // A name in quotes, white space around the sign.
    let odd = TEXT.replace("say=\"go\"", "\"say\" = \"go\"");
    assert_eq!(done(&odd, &set(bar(1), "say", text_of("now"))).text, odd.replace("\"go\"", "\"now\""));
}

#[test]
fn lines_of_a_passage() {
    let set = |word: &str, value: Option<Value>| Edit::Line { passage: "verse".into(), word: word.into(), value };
    swap(set("tempo", Some(Value::Number(102.5))), "tempo 96", "tempo 102.5");
    swap(set("key", text_of("C minor")), "slots 8", "slots 8\n    key \"C minor\"");
    swap(set("meter", text_of("4/4")), "tempo 96", "tempo 96; meter \"4/4\"");
    swap(set("chords", text_of("F . . .")), "\"Cm7 / / Bb7\"", "\"F . . .\"");
    swap(set("chords", None), "chords \"Cm7 / / Bb7\"   // a bar", "   // a bar");
    refused(TEXT, set("tempo", None), "no tempo");
    refused(TEXT, set("tempo", Some(Value::Number(0.0))), "tempo 102");
    refused(TEXT, set("meter", text_of("4/0")), "no meter");
    refused(TEXT, set("title", text_of("x")), "title");
    swap(Edit::Title("A\nB".into()), "\"Tuesday \\\"group\\\"\"", "\"A\\nB\"");
}

#[test]
fn grips_remarks_names_revisions() {
    let grip = |letter: char, frets: Option<&str>| Edit::Grip { passage: "verse".into(), part: "chop".into(), letter, frets: frets.map(Into::into) };
    swap(grip('a', Some("x x 7 8 8 x")), "x x 8 8 8 x", "x x 7 8 8 x");
    swap(grip('b', Some("x x 6 7 6 x")), "// the long one", "// the long one\n      grip \"b\" \"x x 6 7 6 x\"");
    refused(TEXT, grip('a', None), "no grip a");
    refused(TEXT, grip('b', None), "no grip b");
    refused(TEXT, grip('b', Some("x x 6 7")), "tokens");
    let two = done(TEXT, &grip('b', Some("x x 6 7 6 x"))).text;
    assert_eq!(done(&two, &grip('b', None)).text, TEXT);

    swap(Edit::AddNote { passage: Some("verse".into()), text: "three".into(), at: Some("3.2".into()), part: Some("kit".into()) }, "at=\"9.1\"", "at=\"9.1\"\n    note \"three\" at=\"3.2\" part=\"kit\"");
    refused(TEXT, Edit::AddNote { passage: Some("verse".into()), text: "x".into(), at: Some("12.1".into()), part: None }, "bar 12");
    let out = done(TEXT, &Edit::AddNote { passage: None, text: "for all".into(), at: None, part: None });
    assert!(out.text.contains("// after the title\n  note \"for all\"\n  passage"), "{}", out.text);
    swap(Edit::RemoveNote { passage: "verse".into(), index: 0 }, "    note \"one\" at=\"2.1\" part=\"chop\"\n", "");
    let pin = |name: &str| Edit::PinName { passage: "verse".into(), part: "chop".into(), at: "2.1".into(), name: name.into() };
    swap(pin("Eb"), "// the long one", "// the long one\n      name \"Eb\" at=\"2.1\"");
    let once = done(TEXT, &pin("Eb")).text;
    assert_eq!(done(&once, &pin("Gm")).text, once.replace("\"Eb\"", "\"Gm\""));
    swap(Edit::AddRevision { date: "2027-02-01".into(), text: "s".into() }, "\"r\"", "\"r\"\n  revision \"2027-02-01\" \"s\"");
    refused(TEXT, Edit::AddRevision { date: "2027-02-30".into(), text: "s".into() }, "date");
}

#[test]
fn renaming() {
    swap(Edit::RenamePassage { passage: "verse".into(), to: "chorus".into() }, "\"verse\"", "\"chorus\"");
    refused(TEXT, Edit::RenamePassage { passage: "verse".into(), to: "a b".into() }, "cannot name");
    let out = done(TEXT, &Edit::RenamePart { passage: "verse".into(), part: "chop".into(), to: "left \"one\"".into() });
    assert_eq!(out.text, TEXT.replace("\"chop\"", "\"left \\\"one\\\"\""));
    refused(TEXT, Edit::RenamePart { passage: "verse".into(), part: "chop".into(), to: "kit".into() }, "kit");
    refused(TEXT, Edit::RenamePart { passage: "verse".into(), part: "chop, easier".into(), to: "x".into() }, "easier");
}

#[test]
fn bars_put_in_and_taken_out() {
    let insert = |after: u32, lines: &[(&str, &str)]| Edit::InsertBar { passage: "verse".into(), after, lines: lines.iter().map(|(a, b)| (a.to_string(), b.to_string())).collect() };
    let out = done(TEXT, &insert(2, &[("chop", "x . . .  . . . .")]));
    let want = TEXT
        .replace("bar  \"a . x x   . a x .\"  times=4 say=\"go\"", "bar  \"a . x x   . a x .\"  times=2 say=\"go\"\n      bar \"x . . .  . . . .\"\n      bar  \"a . x x   . a x .\"  times=2 say=\"go\"")
        .replace("bar \"a . . .  a . . .\" times=8", "bar \"a . . .  a . . .\" times=2; rest; bar \"a . . .  a . . .\" times=6")
        .replace("bar times=9 { kick \"x . . .  x . . .\" /* k */; hats \"x x x x  x x x x\" }", "bar times=2 { kick \"x . . .  x . . .\" /* k */; hats \"x x x x  x x x x\" }\n      rest\n      bar times=7 { kick \"x . . .  x . . .\" /* k */; hats \"x x x x  x x x x\" }")
        .replace("at=\"9.1\"", "at=\"10.1\"");
    assert_eq!(out.text, want);
    assert_eq!(read(&out.text).lesson.passages[0].bars.len(), read(TEXT).lesson.passages[0].bars.len() + 1);
    let out = done(TEXT, &insert(9, &[]));
    assert!(out.text.contains("      rest\n      rest\n    }\n    easier") && out.text.contains("- - - -\"; rest }"), "{}", out.text);
    let out = done(TEXT, &insert(0, &[]));
    assert!(out.text.contains("pickup \". a\"\n      rest\n      bar  \"a") && out.text.contains("at=\"3.1\" part"), "{}", out.text);
    refused(TEXT, insert(5, &[]), "repeat");
    refused(TEXT, insert(10, &[]), "bars 1 to 9");
    refused(TEXT, insert(1, &[("nobody", ".")]), "nobody");
    refused(TEXT, insert(1, &[("chop", ". .")]), "2 slots");

    let out = done(TEXT, &Edit::DuplicateBar { passage: "verse".into(), bar: 9 });
    assert!(out.text.contains("      rest\n      rest\n") && out.text.contains("bar \"a - - -  - - - -\"; bar \"a - - -  - - - -\" }") && out.text.contains("times=10 {"), "{}", out.text);
    let out = done(TEXT, &Edit::DuplicateBar { passage: "verse".into(), bar: 1 });
    assert!(out.text.contains("times=5 say") && out.text.contains("at=\"3.1\""), "{}", out.text);
    refused(TEXT, Edit::DuplicateBar { passage: "verse".into(), bar: 5 }, "repeat");
    refused(TEXT, Edit::DuplicateBar { passage: "verse".into(), bar: 0 }, "pickup");

    let delete = |bar: u32| Edit::DeleteBar { passage: "verse".into(), bar };
    let out = done(TEXT, &delete(3));
    assert_eq!(out.text, TEXT.replace("times=4", "times=3").replace("times=8", "times=7").replace("times=9", "times=8").replace("9.1", "8.1"));
    refused(TEXT, delete(2), "stands in bar 2");
    refused(TEXT, delete(9), "stands in bar 9");
    refused(TEXT, delete(6), "repeat");
    let later = done(TEXT, &insert(9, &[("chop", "x . . .  . . . .")])).text;
    assert_eq!(done(&later, &delete(10)).text, TEXT);
    // A sign for every beat goes with its bar.
    let signs = TEXT.replace("\"Cm7 / / Bb7\"", &format!("\"{}\"", (1..=9).map(|n| format!("C{} / / /", ["", "m", "7", "5", "6", "9", "m7", "m9", "13"][n - 1])).collect::<Vec<_>>().join(" | ")));
    assert!(done(&signs, &delete(3)).text.contains("Cm / / / | | C5 /"));
    assert!(done(&signs, &insert(1, &[])).text.contains("\"C / / / / / / / | Cm"));
    assert!(done(&signs, &insert(0, &[])).text.contains("\". . . . C / /"));
    // What says a meter for later bars stays.
    let meters = TEXT.replace("bar times=9 {", "rest meter=\"4/4\"; bar times=8 {");
    refused(&meters, delete(1), "meter");
    assert!(done(&meters, &Edit::DuplicateBar { passage: "verse".into(), bar: 1 }).text.contains("rest meter=\"4/4\"; rest; bar times=8"));
}

#[test]
fn texts_that_cannot_be_read() {
    let e = Edit::Title("x".into());
    refused("", e.clone(), "empty");
    refused("lesson \"a\" {", e.clone(), "open");
    refused("nothing", e.clone(), "not known in a lesson file");
    refused(&TEXT.replace("// four", "// four\u{2028}"), e.clone(), "line end");
    // A faulty lesson may be mended, and made no worse.
    let faulty = TEXT.replace("tempo 96", "tempo 9");
    assert_eq!(edit(&faulty, &Edit::Line { passage: "verse".into(), word: "tempo".into(), value: Some(Value::Number(96.0)) }).map(|o| o.text).as_deref(), Ok(TEXT));
    assert!(edit(&faulty, &e).is_ok());
    // Marks and line ends stay.
    for other in [format!("\u{feff}{TEXT}"), TEXT.replace('\n', "\r\n"), TEXT.replace('\n', "\r")] {
        let out = done(&other, &Edit::AddRevision { date: "2027-02-01".into(), text: "s".into() });
        let end = if other.contains("\r\n") { "\r\n" } else if other.contains('\r') { "\r" } else { "\n" };
        assert_eq!(out.text, other.replace("\"r\"", &format!("\"r\"{end}  revision \"2027-02-01\" \"s\"")));
        let out = done(&other, &Edit::RemoveNote { passage: "verse".into(), index: 0 });
        assert_eq!(out.text, other.replace(&format!("    note \"one\" at=\"2.1\" part=\"chop\"{end}"), ""));
    }
}

/// Lines that go on, and what is taken out by `/-`.
#[test]
fn lines_that_go_on_and_what_is_taken_out() {
    let text = r#"lesson "t" { passage "p" { tempo 96; slots 4
  part "g" instrument="guitar" {
    /- bar "x x x x"
    bar \ // goes on
      "1:0 . . ." /-"old" say="a" /-{ level "0 - - -" }
    bar "1:1 . . ." // last
  }
} }
"#;
    assert_eq!(read(text).problems, vec![]);
    let at = |bar: u32| BarAt { passage: "p".into(), part: "g".into(), bar };
    let out = done(text, &Edit::Token { bar: at(1), row: None, slot: 2, with: "x".into(), rounds: Rounds::All });
    assert_eq!(out.text, text.replace("1:0 . . .", "1:0 x . ."));
    let out = done(text, &Edit::Property { of: Owner::Bar(at(1)), key: "say".into(), value: text_of("b") });
    assert_eq!(out.text, text.replace("say=\"a\"", "say=\"b\""));
    let out = done(text, &Edit::Property { of: Owner::Bar(at(1)), key: "sure".into(), value: text_of("guess") });
    assert_eq!(out.text, text.replace("say=\"a\"", "say=\"a\" sure=\"guess\""));
    let out = done(text, &Edit::Property { of: Owner::Bar(at(1)), key: "say".into(), value: None });
    assert_eq!(out.text, text.replace(" say=\"a\"", ""));
    let out = done(text, &Edit::InsertBar { passage: "p".into(), after: 1, lines: vec![("g".into(), "x . . .".into())] });
    assert_eq!(out.text, text.replace("- - -\" }\n", "- - -\" }\n    bar \"x . . .\"\n"));
    let out = done(text, &Edit::InsertBar { passage: "p".into(), after: 2, lines: vec![] });
    assert_eq!(out.text, text.replace("// last\n", "// last\n    rest\n"));
    let out = done(text, &Edit::DeleteBar { passage: "p".into(), bar: 2 });
    assert_eq!(out.text, text.replace("bar \"1:1 . . .\" // last", " // last"));
    let out = done(text, &Edit::DuplicateBar { passage: "p".into(), bar: 1 });
    assert_eq!(read(&out.text).lesson.passages[0].bars.len(), 3);
    assert_eq!(edit("", &Edit::Title("x".into())).map_err(|e| e.to_string()), Err("the text cannot be read, so nothing can be found in it; mend this first: the file is empty".into()));
}

/// A lesson with remarks, odd spacing, raw texts and other line ends; and its remarks.
fn sprinkled(seed: u64, dice: &mut Dice) -> (String, Vec<String>) {
    let mut remarks = Vec::new();
    let mut out = String::new();
    for line in random_lesson::lesson(seed).lines() {
        let mut line = line.to_string();
        let mut remark = |open: &str, close: &str| {
            let r = format!("{open} remark {}{close}", remarks.len());
            remarks.push(r.clone());
            r
        };
        if dice.below(6) == 0 && line.contains("bar \"") {
            line = line.replacen("bar \"", &format!("bar {} \"", remark("/*", " \"{ */")), 1);
        } else if dice.below(6) == 0 && line.contains("bar \"") && !line.contains('\\') {
            line = line.replacen("bar \"", "bar  #\"", 1);
            let close = line.find("#\"").map_or(0, |n| n + 2);
            let at = line[close..].find('"').map_or(line.len(), |n| close + n);
            line.insert(at + 1, '#');
        }
        if dice.below(8) == 0 {
            line = line.replace("; ", " ;  ");
        }
        if dice.below(8) == 0 {
            line.insert_str(0, "\t ");
        }
        if dice.below(4) == 0 {
            line.push_str("  ");
            line.push_str(&remark("//", " } \""));
        }
        out.push_str(&line);
        out.push('\n');
        if dice.below(10) == 0 {
            out.push_str(&format!("   {}\n\n", remark("//", "")));
        }
    }
    match dice.below(4) {
        0 => out = out.replace('\n', "\r\n"),
        1 => out.insert(0, '\u{feff}'),
        _ => {}
    }
    (out, remarks)
}

/// Everything in a lesson but where it stands in a text.
fn bare(what: &impl std::fmt::Debug) -> String {
    let text = format!("{what:?}");
    let mut pieces = text.split("span: Span { start: ");
    let mut out = pieces.next().unwrap_or_default().to_string();
    for piece in pieces {
        out.push_str(&piece[piece.find(" }").expect("the end of a span") + 2..]);
    }
    out
}

fn random_edit(dice: &mut Dice, l: &Lesson) -> Edit {
    let p = &l.passages[dice.below(l.passages.len())];
    let q = &p.parts[dice.below(p.parts.len())];
    let number = p.bars[dice.below(p.bars.len())].number;
    let (passage, part) = (p.id.clone(), q.name.clone());
    let bar = BarAt { passage: passage.clone(), part: part.clone(), bar: number };
    let rounds = [Rounds::All, Rounds::This][dice.below(2)];
    let odd = ["plain", "a \"b\" \\ {c}", "// no", "two\nlines", "é♭"][dice.below(5)].to_string();
    let row = (q.kind == lesson::Kind::Drums).then(|| ["kick", "hats", "snare"][dice.below(3)].to_string());
    match dice.below(16) {
        0..=3 => Edit::Token { bar, row, slot: 1 + dice.below(16) as u32, with: ["x", ".", "x", "[x x]=1"][dice.below(4)].into(), rounds },
        4 => {
            let slots = p.bars.iter().position(|b| b.number == number).map_or(1, |i| q.bars[i].slots.max(1));
            Edit::Stroke { bar, row, line: vec!["."; slots as usize].join("  "), rounds }
        }
        5 => Edit::Property { of: Owner::Bar(bar), key: "say".into(), value: if dice.below(3) > 0 { Some(Value::Text(odd)) } else { None } },
        6 => Edit::Property { of: Owner::Part { passage, part }, key: "tone".into(), value: Some(Value::Text(odd)) },
        7 => Edit::Line { passage, word: ["tempo", "key", "swing", "chords"][dice.below(4)].into(), value: Some([Value::Number(61.5), Value::Text("F minor".into()), Value::Text("C".into())][dice.below(3)].clone()) },
        8 => Edit::Title(odd),
        9 => Edit::Grip { passage, part, letter: ['a', 'q'][dice.below(2)], frets: ["3 x x x x x", "x x 5 5 5 x"].get(dice.below(3)).map(ToString::to_string) },
        10 => Edit::AddNote { passage: Some(passage), text: odd, at: Some(format!("{number}.1")), part: None },
        11 => Edit::AddRevision { date: "2027-01-04".into(), text: odd },
        12 => Edit::RenamePart { passage, part, to: odd },
        13 => Edit::InsertBar { passage, after: number, lines: vec![] },
        14 => Edit::DuplicateBar { passage, bar: number },
        _ => Edit::DeleteBar { passage, bar: number },
    }
}

/// Random edits of random lessons: remarks stay, the way back is exact, and the model differs only where it was meant to.
#[test]
fn random_edits() {
    let mut dice = Dice(3);
    let mut made = [0usize; 12];
    for seed in 0..36 {
        let (mut text, mut remarks) = sprinkled(seed, &mut dice);
        let first = read(&text);
        assert_eq!(first.problems, vec![], "{text}");
        let mut lesson = first.lesson;
        for _ in 0..14 {
            let e = random_edit(&mut dice, &lesson);
            let Ok(out) = edit(&text, &e) else { continue };
            hold(&text, &e, &out);
            if matches!(e, Edit::DeleteBar { .. }) {
                // A remark within a bar goes with it.
                remarks.retain(|r| !r.starts_with("/*") || out.text.contains(r.as_str()));
            }
            for r in &remarks {
                assert!(out.text.contains(r.as_str()), "{e:?} lost {r}\n{text}\nbecame\n{}", out.text);
            }
            let now = read(&out.text).lesson;
            let kind = meant(&e, &lesson, &now, out.played);
            made[kind] += 1;
            (text, lesson) = (out.text, now);
        }
    }
    assert!(made.iter().all(|n| *n >= 3), "{made:?}");
}

/// Checks that what changed is what the edit names. Returns the kind of edit.
fn meant(e: &Edit, old: &Lesson, new: &Lesson, played: usize) -> usize {
    // The passage that the edit names aside, nothing changes; then that passage is looked at.
    let aside = |l: &Lesson, id: &str| -> Lesson {
        let mut l = l.clone();
        l.passages.retain(|p| p.id != id);
        l
    };
    let pair = |id: &str| {
        assert_eq!(bare(&aside(old, id)), bare(&aside(new, id)), "{e:?}");
        let find = |l: &Lesson| l.passages.iter().find(|p| p.id == id).expect("the passage").clone();
        (find(old), find(new))
    };
    // All parts but one alike, and the passage's own lines.
    let only_part = |id: &str, part: &str, spare: &dyn Fn(&mut lesson::Part)| {
        let (mut a, mut b) = pair(id);
        for p in [&mut a, &mut b] {
            p.parts.iter_mut().filter(|q| q.name == part).for_each(spare);
        }
        // An easier way takes grips over.
        for p in [&mut a, &mut b] {
            p.parts.retain(|q| q.name == part || q.easier_of.as_deref() != Some(part));
        }
        assert_eq!(bare(&a), bare(&b), "{e:?}");
    };
    match e {
        Edit::Token { bar, .. } | Edit::Stroke { bar, .. } => {
            let (a, b) = pair(&bar.passage);
            let mut touched = 0;
            for (p, q) in a.parts.iter().zip(&b.parts) {
                if p.name != bar.part {
                    assert_eq!(bare(p), bare(q), "{e:?}");
                    continue;
                }
                assert_eq!((p.bars.len(), bare(&p.grips)), (q.bars.len(), bare(&q.grips)));
                for (x, y) in p.bars.iter().zip(&q.bars) {
                    assert_eq!((x.slots, &x.say, x.guess, &x.level, &x.wah), (y.slots, &y.say, y.guess, &y.level, &y.wah), "{e:?}");
                    // A scratch falls where the hand lay before it, maybe in another bar.
                    let struck = |b: &lesson::PartBar| bare(&b.events.iter().filter(|e| !e.tie_in).map(|e| (e.at, if e.scratch { 0 } else { e.notes.len() }, e.accent, e.grip)).collect::<Vec<_>>());
                    touched += usize::from(struck(x) != struck(y));
                }
            }
            assert!(touched <= played, "{e:?}: {touched} bars changed, {played} said");
            usize::from(matches!(e, Edit::Stroke { .. }))
        }
        Edit::Property { of: Owner::Bar(bar), value, .. } => {
            let (_, b) = pair(&bar.passage);
            let want = match value {
                Some(Value::Text(t)) => Some(t.clone()),
                _ => None,
            };
            let own = b.parts.iter().find(|q| q.name == bar.part).expect("the part");
            let at = b.bars.iter().position(|x| x.number == bar.bar).expect("the bar");
            assert_eq!(own.bars[at].say, want);
            only_part(&bar.passage, &bar.part, &|q| q.bars.iter_mut().for_each(|b| b.say = None));
            2
        }
        Edit::Property { of: Owner::Part { passage, part }, .. } => {
            only_part(passage, part, &|q| q.tone = None);
            3
        }
        Edit::Line { passage, .. } => {
            let (a, b) = pair(passage);
            for (p, q) in a.parts.iter().zip(&b.parts) {
                assert_eq!(bare(&p.bars), bare(&q.bars), "{e:?}");
            }
            assert_eq!(bare(&a.notes), bare(&b.notes));
            4
        }
        Edit::Title(t) => {
            assert_eq!(bare(&Lesson { title: t.clone(), ..old.clone() }), bare(new));
            5
        }
        Edit::Grip { passage, part, .. } => {
            only_part(passage, part, &|q| {
                let (name, span) = (q.name.clone(), q.span);
                *q = lesson::Part::new(&name, "guitar").expect("a part");
                q.span = span;
            });
            6
        }
        Edit::AddNote { passage, text, .. } => {
            let (a, mut b) = pair(passage.as_deref().unwrap_or_default());
            assert_eq!(b.notes.pop().map(|n| n.text).as_ref(), Some(text));
            assert_eq!(bare(&a), bare(&b));
            7
        }
        Edit::AddRevision { .. } => {
            let mut less = new.clone();
            less.revisions.pop();
            assert_eq!(bare(old), bare(&less));
            8
        }
        Edit::RenamePart { passage, part, to } => {
            let (mut a, b) = pair(passage);
            for q in &mut a.parts {
                if q.name == *part {
                    q.name.clone_from(to);
                }
                if q.easier_of.as_ref() == Some(part) {
                    q.easier_of = Some(to.clone());
                    q.name = format!("{to}, easier");
                }
            }
            assert_eq!(bare(&a), bare(&b));
            9
        }
        Edit::InsertBar { passage, after, .. } => {
            let (a, b) = pair(passage);
            assert_eq!(a.bars.len() + 1, b.bars.len());
            let at = b.bars.iter().position(|x| x.number == after + 1).expect("the new bar");
            for (p, q) in a.parts.iter().zip(&b.parts) {
                assert!(q.bars[at].events.is_empty(), "{e:?}");
                assert_eq!(p.bars.iter().map(|b| b.say.clone()).collect::<Vec<_>>(), q.bars.iter().enumerate().filter(|(i, _)| *i != at).map(|(_, b)| b.say.clone()).collect::<Vec<_>>());
            }
            10
        }
        Edit::DuplicateBar { passage, .. } | Edit::DeleteBar { passage, .. } => {
            let (a, b) = pair(passage);
            let by = if matches!(e, Edit::DeleteBar { .. }) { -1 } else { 1 };
            assert_eq!(a.bars.len() as i64 + by, b.bars.len() as i64);
            11
        }
        _ => unreachable!("not drawn"),
    }
}
