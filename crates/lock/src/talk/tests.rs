use super::*;

fn read(parts: &str) -> Lesson {
    let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 120; slots 4; key \"C major\"; {parts} }} }}");
    let r = lesson::read(&text);
    assert!(r.problems.is_empty(), "{:?}", r.problems);
    r.lesson
}

fn points(parts: &str) -> Vec<Point> {
    running_order(&read(parts), &Pace::default()).remove(0).points
}

fn of(points: &[Point], topic: Topic) -> Vec<&str> {
    points.iter().filter(|p| p.topic == topic).map(|p| p.text.as_str()).collect()
}

const BASS: &str = "part \"floor\" instrument=\"bass\" { bar \"3:3 - - -\"; bar \"4:5 - - -\" };";

#[test]
fn grips_are_told_by_string_name_and_parent() {
    // common practice: E G C over A is A minor seventh; the open C form has an open string.
    let p = points("part \"chop\" instrument=\"guitar\" { grip \"c\" \"x 3 2 0 1 0\"; grip \"a\" \"x x 2 0 1 x\"; grip \"z\" \"x x 9 9 9 x\"; bar \"c - . .\"; bar \"a - . .\" }; part \"floor\" instrument=\"bass\" { bar \"3:3 - - -\"; bar \"4:5 - - -\" };");
    let grips = of(&p, Topic::Grip);
    assert_eq!(grips.len(), 2, "what is never struck is not told: {grips:?}");
    assert_eq!(grips[0], "Grip c: strings 5 to 1 at frets 3, 2, open, 1 and open. Over the floor's C it is C: root, third and fifth.");
    assert!(grips[1].starts_with("Grip a: strings 4, 3 and 2 at frets 2, open and 1. Over the floor's A it is Am7 without its root: fifth, seventh and third."), "{}", grips[1]);
    assert!(grips[1].contains("It is part of "), "{}", grips[1]);
    let lesson = read("part \"chop\" instrument=\"guitar\" { grip \"c\" \"x 3 2 0 1 0\"; bar \"c - . .\" }");
    let one = running_order(&lesson, &Pace::default()).remove(0);
    assert_eq!(one.points[0].at_a_glance(&lesson.passages[0]), "Chop c: x 3 2 0 1 0 = C");
    // Picked string by string it is the same grip; moved along the neck it is not.
    assert_eq!(of(&points("part \"p\" instrument=\"guitar\" { grip \"c\" \"x 3 2 0 1 0\"; bar \"c5 &c4 &c3 &c2\" }"), Topic::Grip).len(), 1);
    assert!(of(&points("part \"p\" instrument=\"guitar\" { grip \"b\" \"x x 5 5 5 x\"; bar \"b@2 . . .\" }"), Topic::Grip).is_empty());
    assert!(one.points[0].spoken(&lesson.passages[0]).starts_with("Chop: Grip c: strings 5 to 1"));
    let glance: Vec<&str> = p.iter().filter(|p| p.topic == Topic::Grip).map(|p| p.short.as_str()).collect();
    assert_eq!(glance[1], "a: x x 2 0 1 x = Am7, no root");
}

#[test]
fn one_grip_under_two_basses_has_two_names() {
    let p = points("chords \"D / / /\" \"Bm7 / / /\"; part \"hold\" instrument=\"guitar\" { grip \"d\" \"x x x 7 7 5\"; bar \"d - . .\"; bar \"d - . .\" }; part \"floor\" instrument=\"bass\" { bar \"3:5 - - -\"; bar \"3:2 - - -\" };");
    assert!(of(&p, Topic::Grip)[0].ends_with("The same grip is Bm7 in bar 2 over the floor's B."), "{:?}", of(&p, Topic::Grip));
    let change = p.iter().find(|p| p.topic == Topic::Change).unwrap();
    assert_eq!((change.text.as_str(), change.bar), ("Nothing moves. D becomes Bm7 over the floor's B.", Some(1)));
}

#[test]
fn twins_and_strange_parents() {
    let p = points("part \"hold\" instrument=\"guitar\" { grip \"e\" \"x x x 9 8 7\"; grip \"f\" \"x x x 9 8 7\"; grip \"t\" \"x x x x 8 8\"; bar \"e - . .\"; bar \"f . t .\" }; part \"floor\" instrument=\"bass\" { bar \"3:3 - - -\"; bar \"3:3 - - -\" };");
    let grips = of(&p, Topic::Grip);
    // common practice: E G B over C is Cmaj7, and as a shape the top of an E minor.
    assert!(grips[0].ends_with("it is Cmaj7 without its root: third, fifth and seventh. It is part of the Am form at fret 7, a grip of Em."), "{grips:?}");
    assert_eq!(grips[1], "Grip f: the strings and frets of e, with other fingers.");
    // G and C over C: no grip on C at this place holds both and leaves something out that would tell more.
    assert!(!grips[2].contains("a grip of"), "{grips:?}");
}

#[test]
fn changes_tell_what_moves() {
    let bars = |a: &str, b: &str| points(&format!("part \"chop\" instrument=\"guitar\" {{ grip \"a\" \"{a}\"; grip \"b\" \"{b}\"; bar \"a - . .\"; bar \"b - a b\" }}; {BASS}"));
    let change = |a: &str, b: &str| of(&bars(a, b), Topic::Change).iter().map(|s| s.split(". ").next().unwrap().to_string()).collect::<Vec<_>>();
    assert_eq!(change("x x 5 5 5 x", "x x 4 5 5 x")[0], "String 4 falls a fret, to fret 4; strings 3 and 2 stay");
    assert_eq!(change("x x 5 5 5 x", "x x 7 7 7 x")[0], "The same shape two frets higher");
    assert_eq!(change("x x 2 2 2 x", "x x 2 0 3 x")[0], "String 3 opens; string 2 rises a fret, to fret 3; string 4 stays");
    assert_eq!(change("x x 5 5 5 x", "x x x 5 5 5")[0], "String 1 comes in; string 4 goes out; strings 3 and 2 stay");
    assert_eq!(change("x x 5 5 x x", "x x x x 5 5")[0], "The hand changes to strings 2 and 1");
    // Once, though the bar goes there and back again; some strings of the same grip are no change.
    assert_eq!(change("x x 5 5 5 x", "x x 4 5 5 x").len(), 1);
    assert!(change("x x 5 5 5 x", "x x 5 5 x x").is_empty());
}

#[test]
fn bars_that_come_back() {
    let again = |bars: &str| of(&points(&format!("part \"line\" instrument=\"guitar\" {{ {bars} }}")), Topic::Again).join("|");
    assert_eq!(again("bar \"3:5 . 3:7 .\" times=4"), "The line plays one bar four times.");
    assert_eq!(again("repeat times=3 { bar \"3:5 . 3:7 .\"; bar \"3:5 - - .\" }"), "The line plays the same two bars three times.");
    assert_eq!(again("bar \"3:5 . 3:7 .\"; bar \"3:5 . 3:8 .\""), "The line keeps one rhythm in every bar, and only the notes change.");
    assert_eq!(again("bar \"3:5 . 3:7 .\"; bar \"3:5 . 3:8 .\" times=2; bar \"3:5 - - .\""), "The line keeps one rhythm but for bar 4.");
    assert_eq!(again("bar \"3:5 . 3:7 .\"; bar \"3:5 - - .\""), "");
    assert_eq!(again("rest times=2"), "");
}

#[test]
fn lines_are_told_by_place_and_way() {
    let line = |bars: &str| of(&points(&format!("part \"line\" instrument=\"guitar\" {{ {bars} }}")), Topic::Line).join("|");
    assert_eq!(line("bar \"M5:3 M4:2 M3:0 M4:5\""), "Single notes on strings 5, 4 and 3, open and between frets 2 and 5; all palm muted.");
    assert_eq!(line("bar \"3:5 H3:7 3:5 3:5\"; bar \"3:5/7 . . .\""), "Single notes on string 3, between frets 5 and 7; hammered in bar 1 and slid in bar 2.");
    assert_eq!(line("bar \"3:5+2:5 - . .\""), "Notes together on strings 3 and 2, at fret 5.");
    assert_eq!(line("rest"), "");
}

#[test]
fn the_teachers_words_outrank_the_draft() {
    let part = "part \"chop\" instrument=\"guitar\" { grip \"a\" \"x x 5 5 5 x\"; grip \"b\" \"x x 4 5 5 x\"; bar \"a - . .\"; bar \"b - . .\" }";
    let topics = |more: &str| {
        let p = points(&format!("{part}; {BASS} {more}"));
        let has = |t: Topic| p.iter().filter(|p| p.topic == t && p.part == Some(0)).count();
        (has(Topic::Grip), has(Topic::Change), has(Topic::Again), p.iter().filter(|p| p.topic == Topic::Note).count())
    };
    assert_eq!(topics(""), (2, 1, 1, 0));
    assert_eq!(topics("note \"w\" at=\"2.1\" part=\"chop\""), (2, 0, 1, 1));
    assert_eq!(topics("note \"w\" at=\"2.1\""), (2, 0, 1, 1));
    // Another bar, another part, the passage as a whole: nothing gives way.
    assert_eq!(topics("note \"w\" at=\"1.1\" part=\"chop\""), (2, 1, 1, 1));
    assert_eq!(topics("note \"w\" at=\"2.1\" part=\"floor\""), (2, 1, 1, 1));
    assert_eq!(topics("note \"w\""), (2, 1, 1, 1));
    // A note on the part takes its whole draft away.
    assert_eq!(topics("note \"w\" part=\"chop\""), (0, 0, 0, 1));
    // Words under a bar count as well, once however often the bar comes back.
    let p = points("part \"chop\" instrument=\"guitar\" { grip \"a\" \"x x 5 5 5 x\"; grip \"b\" \"x x 4 5 5 x\"; repeat times=2 { bar \"a - . .\"; bar \"b - . .\" say=\"one  finger\" } }");
    let own: Vec<(&str, Option<usize>)> = p.iter().filter(|p| p.topic == Topic::Say).map(|p| (p.text.as_str(), p.bar)).collect();
    assert_eq!(own, [("one finger", Some(1))]);
    // The words stand at the change; the way back in bar 3 is not told.
    assert!(p.iter().all(|p| p.topic != Topic::Change));
}

#[test]
fn order_and_time() {
    let lesson = read(&format!("part \"chop\" instrument=\"guitar\" {{ grip \"a\" \"x x 5 5 5 x\"; bar \"a - . .\" times=2 }}; {BASS} note \"first of all\"; note \"second bar\" at=\"2.1\""));
    let talk = running_order(&lesson, &Pace { words_a_minute: 60.0, rounds_percent: vec![50, 100, 0] }).remove(0);
    assert_eq!(talk.points[0].text, "first of all");
    let place = |text: &str| talk.points.iter().position(|p| p.text.starts_with(text)).unwrap();
    assert!(place("Grip a") < place("The chop plays") && place("The chop plays") < place("Single notes") && place("Single notes") < place("second bar"));
    assert_eq!(talk.points.last().unwrap().topic, Topic::Lock);
    assert_eq!(talk.points[1].spoken(&lesson.passages[0]), format!("Chop: {}", talk.points[1].text));
    assert_eq!(talk.points[place("second bar")].spoken(&lesson.passages[0]), "Bar 2: second bar");
    // Two bars of two seconds, at half speed and at full speed; a word a second.
    assert!((talk.playing_s - 12.0).abs() < 1e-9);
    let words: usize = talk.points.iter().map(|p| p.text.split_whitespace().count()).sum();
    assert!((talk.talking_s - words as f64).abs() < 1e-9);
    // Nothing to say about nothing.
    let empty = running_order(&Lesson { passages: vec![Passage::default()], ..Lesson::default() }, &Pace::default());
    assert_eq!((empty[0].points.len(), empty[0].playing_s), (0, 0.0));
}
