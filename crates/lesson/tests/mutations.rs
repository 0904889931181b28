//! Lessons broken at random: whatever the bytes, reading ends, places lie in the text, and what was read can be notated.
//!
//! The seed is fixed, so that a find can be found again; the message of a failure holds the text.

mod dice;

use dice::Dice;
use lesson::{Base, Beats, Position, notate, read_bytes, sheet, soundings, write};
use std::path::{Path, PathBuf};

fn texts(folder: &str) -> Vec<Vec<u8>> {
    let at: PathBuf = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join(folder);
    let mut paths: Vec<PathBuf> = std::fs::read_dir(at).expect("a folder of lessons").map(|e| e.expect("an entry").path()).collect();
    paths.sort();
    paths.iter().map(|p| std::fs::read(p).expect("a lesson")).collect()
}

/// The whole lessons and the bars of the page on the lesson file.
fn documented() -> Vec<Vec<u8>> {
    let page = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/lesson-file.md")).expect("the page").replace("\r\n", "\n");
    let blocks = |language: &str| page.split(&format!("\n```{language}\n")).skip(1).map(|b| b.split("\n```").next().unwrap_or_default().to_string()).collect::<Vec<_>>();
    let mut out: Vec<Vec<u8>> = blocks("kdl").into_iter().map(String::into_bytes).collect();
    let bars: String = blocks("bar").join("\n").lines().map(|l| format!("bar \"{}\"\n", l.split("//").next().unwrap_or_default())).collect();
    out.push(format!("lesson \"t\" {{ passage \"p\" {{ tempo 96; slots 8\npart \"chop\" instrument=\"guitar\" {{ grip \"a\" \"x x 8 8 8 x\"; grip \"b\" \"x x 6 7 6 x\"\n{bars} }} }} }}").into_bytes());
    out
}

/// Pieces that a hand, or a bad tool, may put anywhere.
const PIECES: &[&str] = &[
    "{", "}", "\"", "\\", "/*", "*/", "//", "/-", "#", "#true", "#\"", "\"\"\"", ";", "\n", "\r", "=", "[", "]", "]=2", "]=99", "^", "^0", "^.", "!1", "@-1", "@99", "/", "/a", ":", "5:", ":7", "x", "x9", "-", ".", "+", "+x", "*", "&", ">", "(", ")", "H", "P", "N", "~", "'", "|", "0", "99999999999999999999", "-1", "1e999", "0.0001", "times=200 ", "slots=192 ", "slots=7 ",
    "meter=\"24/2\" ", "meter=\"1/16\" ", "tempo=400 ", "ending=\"1,2\" ", "repeat times=3 {", "pickup \"a\"\n", "rest times=200\n", "chords \"C\"\n", "capo=12 ", "tuning=\"E9 A9 D9 G9 B9 E9\" ", "\u{feff}", "\0", "é", "𝄞", "\u{202e}", "a . x x", "[a x a]=3", "5:7/9", "b@-1/b",
];

fn mutate(dice: &mut Dice, pool: &[Vec<u8>]) -> Vec<u8> {
    let mut text = pool[dice.below(pool.len())].clone();
    for _ in 0..=dice.below(4) {
        let (a, b) = (dice.below(text.len() + 1), dice.below(24));
        let end = (a + b).min(text.len());
        match dice.below(9) {
            0 => drop(text.drain(a..end)),
            1 => {
                let copy = text[a..end].to_vec();
                let at = dice.below(text.len() + 1);
                text.splice(at..at, copy);
            }
            2 => {
                if let Some(byte) = text.get_mut(a) {
                    *byte = dice.next() as u8;
                }
            }
            3 => text.truncate(a),
            4 => {
                let other = &pool[dice.below(pool.len())];
                let from = dice.below(other.len());
                let piece = other[from..(from + 60).min(other.len())].to_vec();
                text.splice(a..a, piece);
            }
            5 => {
                // A digit for another.
                let digits: Vec<usize> = (0..text.len()).filter(|i| text[*i].is_ascii_digit()).collect();
                if !digits.is_empty() {
                    text[digits[dice.below(digits.len())]] = b'0' + dice.below(10) as u8;
                }
            }
            6 => {
                // A token for another: the words of the text change places.
                let spaces: Vec<usize> = (0..text.len()).filter(|i| text[*i] == b' ').collect();
                if spaces.len() > 4 {
                    let k = dice.below(spaces.len() - 2);
                    let (p, q, r) = (spaces[k], spaces[k + 1], spaces[k + 2]);
                    text[p..r].rotate_left(q - p);
                }
            }
            _ => {
                let piece = PIECES[dice.below(PIECES.len())].as_bytes().to_vec();
                text.splice(a..a, piece);
            }
        }
    }
    text
}

/// What a hand types at a slot: a figure, a sign or a letter for another, or one more or fewer.
fn typed(dice: &mut Dice, mut text: Vec<u8>) -> Vec<u8> {
    let places: Vec<usize> = (0..text.len()).filter(|i| text[*i].is_ascii_digit() || b".-xab".contains(&text[*i])).collect();
    let at = places[dice.below(places.len())];
    match dice.below(4) {
        0 => text.insert(at, b"123 ./"[dice.below(6)]),
        1 => drop(text.remove(at)),
        _ => text[at] = if text[at].is_ascii_digit() { b'0' + dice.below(10) as u8 } else { b".-xab"[dice.below(5)] },
    }
    text
}

/// A change inside one passage is read as the whole text would be, places and problems included.
#[test]
fn a_passage_read_again_is_the_passage() {
    let whole = |text: &str| {
        let r = lesson::read(text);
        let mut problems = r.problems;
        if problems.iter().all(|p| p.weight != lesson::Weight::Error) {
            problems.extend(lesson::check(&r.lesson));
        }
        problems.sort_by_key(|p| (p.span, p.weight));
        (r.lesson, problems)
    };
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo");
    let mut pool: Vec<Vec<u8>> = ["ferry-road", "net-loft", "lantern-stairs"].iter().map(|n| std::fs::read(demo.join(n).join("lesson.kdl")).expect("a demo lesson")).collect();
    pool.push(b"lesson \"t\" { /* { */ note \"\xc3\xa9\"; passage \"p\" { tempo 90; slots 4; part \"g\" instrument=\"guitar\" { grip \"a\" \"x x 8 8 8 x\" name=\"C\"; bar \"a . x a\" } }; passage \"q\" { tempo 90; slots 4\r\n record \"audio/a.wav\" from=1 to=5; part \"g\" instrument=\"bass\" { bar \"3:3 - . 3:3\" sure=\"guess\"; rest }; note \"}\" at=\"1.1\" } // {\n revision \"2027-01-04\" \"{\"\n /- passage \"x\" { }\n passage \"r\" { tempo 90; slots 4; part \"g\" instrument=\"guitar\" { bar \"2:9 . . .\" } }; note \"last\" }".to_vec());
    let sound = |text: &[u8]| whole(std::str::from_utf8(text).expect("text")).1.iter().all(|p| p.weight == lesson::Weight::Remark);
    assert!(pool.iter().all(|text| sound(text)), "{:?}", pool.iter().map(|t| whole(std::str::from_utf8(t).expect("text")).1).collect::<Vec<_>>());
    let mut dice = Dice(5);
    let (mut again, mut lines, mut remarks) = (0, 0, 0);
    for round in 0..600 {
        let own = &pool[dice.below(pool.len())];
        let before = String::from_utf8(own.clone()).expect("text");
        let changed = if round % 4 == 0 { mutate(&mut dice, std::slice::from_ref(own)) } else { typed(&mut dice, own.clone()) };
        let Ok(text) = String::from_utf8(changed) else { continue };
        let (mut lesson, mut problems) = whole(&before);
        let Some(a) = lesson::again(&before, &lesson, &problems, &text) else { continue };
        lines += usize::from(a.is_line());
        a.put(&mut lesson, &mut problems);
        let (want, mut wanted) = whole(&text);
        assert!(lesson == want, "round {round}: another lesson\n{text}");
        // Two at the same place may stand either way round.
        problems.sort_by(|a, b| (a.span, a.weight, &a.found).cmp(&(b.span, b.weight, &b.found)));
        wanted.sort_by(|a, b| (a.span, a.weight, &a.found).cmp(&(b.span, b.weight, &b.found)));
        assert_eq!(problems, wanted, "round {round}\n{text}");
        again += 1;
        remarks += usize::from(!wanted.is_empty());
    }
    assert!(again > 80 && lines > 30 && remarks > 10, "{again} were read again, {lines} of them by a line, {remarks} with remarks: too few to say anything");
}

/// What value, dots and tuplet multiply out to: a dot adds half, `actual` notes take the time of `normal`.
fn value(w: &lesson::Written) -> Beats {
    let plain = match w.base {
        Base::Whole => Beats::new(4, 1),
        Base::Half => Beats::new(2, 1),
        Base::Quarter => Beats::new(1, 1),
        Base::Eighth => Beats::new(1, 2),
        Base::Sixteenth => Beats::new(1, 4),
        Base::ThirtySecond => Beats::new(1, 8),
        Base::SixtyFourth => Beats::new(1, 16),
    };
    let dotted = match w.dots {
        0 => plain,
        1 => plain * Beats::new(3, 2),
        n => panic!("{n} dots"),
    };
    let (actual, normal) = w.tuplet.unwrap_or((1, 1));
    dotted * Beats::new(normal.into(), actual.into())
}

/// What must hold of any bytes. Returns whether a passage was read and whether the lesson is sound.
fn hold(bytes: &[u8]) -> (bool, bool) {
    let shown = || String::from_utf8_lossy(bytes).into_owned();
    let reading = read_bytes(bytes);
    assert!(reading.problems.len() <= lesson::PROBLEMS_MAX);
    for p in &reading.problems {
        assert!(p.span.start <= p.span.end && p.span.end <= bytes.len(), "{p:?}\n{}", shown());
        if let Ok(text) = std::str::from_utf8(bytes) {
            assert!(text.is_char_boundary(p.span.start) && text.is_char_boundary(p.span.end), "{p:?}\n{}", shown());
            let at = Position::of(text, p.span.start);
            assert!(at.line >= 1 && at.column >= 1);
        }
        assert!(!p.found.is_empty() && !p.right.is_empty() && p.found.chars().count() < 400 && !p.found.chars().any(char::is_control), "{p:?}\n{}", shown());
    }
    let sound = reading.is_sound();
    for passage in &reading.lesson.passages {
        let zero = Beats::from_integer(0);
        for part in &passage.parts {
            assert_eq!(part.bars.len(), passage.bars.len(), "{}", shown());
            for (bar, own) in passage.bars.iter().zip(&part.bars) {
                let mut t = zero;
                for w in notate(bar, own) {
                    assert_eq!(w.at, t, "a gap or an overlap in bar {}\n{}", bar.number, shown());
                    assert!(w.len > zero, "{}", shown());
                    assert!(w.event.is_none_or(|e| e < own.events.len()));
                    assert!(w.base <= Base::SixtyFourth);
                    assert!(!sound || own.events.is_empty() || w.len == value(&w), "{w:?} in bar {}\n{}", bar.number, shown());
                    t += w.len;
                }
                assert_eq!(t, bar.length, "bar {} is not covered\n{}", bar.number, shown());
                for e in &own.events {
                    assert!(!e.notes.is_empty() && e.at >= zero && e.len > zero && e.at + e.len <= bar.length, "{e:?}\n{}", shown());
                }
            }
            let heard = soundings(part);
            for (i, s) in heard.iter().enumerate() {
                assert!(s.bar < passage.bars.len() && s.at >= zero && s.len > zero && s.at + s.len <= passage.length(), "{s:?}\n{}", shown());
                assert!(s.order < s.of, "{s:?}\n{}", shown());
                assert!(s.from.is_none_or(|f| f < i), "{s:?}\n{}", shown());
                let e = &part.bars[s.bar].events[s.event];
                assert_eq!(e.notes[s.note].midi, s.midi, "{}", shown());
                assert!(passage.seconds_at(s.at).is_finite());
            }
        }
        let mut printed: Vec<usize> = sheet(passage).iter().flat_map(|b| b.played.clone()).collect();
        printed.sort_unstable();
        assert_eq!(printed, (0..passage.bars.len()).collect::<Vec<_>>(), "{}", shown());
    }
    if sound {
        let written = write(&reading.lesson);
        let again = read_bytes(written.as_bytes());
        assert!(again.is_sound(), "{:?}\n{}\nwas written as\n{written}", again.problems, shown());
        assert_eq!(write(&again.lesson), written, "{}", shown());
    }
    (!reading.lesson.passages.is_empty(), sound)
}

fn pool() -> Vec<Vec<u8>> {
    let mut pool = texts("texts");
    let good = documented();
    assert!(good.len() > 5);
    // The good ones as often as the many faulty ones together.
    for _ in 0..20 {
        pool.extend(good.iter().cloned());
    }
    pool.extend(texts("faulty"));
    pool
}

#[test]
fn broken_lessons_are_read_to_the_end() {
    let pool = pool();
    let mut dice = Dice(20_270_104);
    let (mut with_passages, mut sound) = (0, 0);
    for _ in 0..12_000 {
        let (some, whole) = hold(&mutate(&mut dice, &pool));
        with_passages += usize::from(some);
        sound += usize::from(whole);
    }
    // The breaking is neither so coarse that nothing is read nor so fine that nothing is broken.
    assert!(with_passages > 2_000, "{with_passages} with passages");
    assert!((200..9_000).contains(&sound), "{sound} sound");
}

/// Every beginning of a lesson, as a file cut off while it was written.
#[test]
fn cut_off_lessons_are_read() {
    for text in texts("texts").iter().chain(&documented()) {
        for end in 0..text.len() {
            hold(&text[..end]);
        }
    }
}

/// Stroke lines of tokens drawn at random: the count of slots is right, so that much of it is played.
#[test]
fn random_bars_are_covered() {
    const TOKENS: &[&str] = &[
        ".", "-", "x", "a", "b", "a43", "5:7", "4:5", "4:7", "H4:7", "P4:5", "/4:9", "3:7+1:7", "3:9+x", "x654", "xa", ">a", "&H3:10", "&a2", "Ma", "Da", "Ua", "N4:12", "T1:8", "Ra", "(a)", "*a", "a*", "4:6/7", "b@-1/b", "a@2", "a'", "4:7~", "4:7^1", "4:7!1", "^0", "^.5", "[a x a]=1", "[4:5 H4:7]=1", "[- . a b x]=1",
    ];
    let mut dice = Dice(7);
    let mut sound = 0;
    for _ in 0..6_000 {
        let (meter, slots) = [("4/4", 16), ("6/8", 12), ("5/4", 10), ("3/4", 12), ("12/8", 12), ("7/8", 14), ("2/4", 6), ("4/4", 12)][dice.below(8)];
        let line = |dice: &mut Dice| {
            // Mostly what always rings or never needs to.
            let token = |dice: &mut Dice| if dice.below(3) > 0 { [".", "x", "a", "5:7", "b"][dice.below(5)] } else { TOKENS[dice.below(TOKENS.len())] };
            (0..slots).map(|_| token(dice)).collect::<Vec<_>>().join(" ")
        };
        let (one, two) = (line(&mut dice), line(&mut dice));
        let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 96; meter \"{meter}\"; slots {slots}; swing 62 of=\"1/16\"; part \"chop\" instrument=\"guitar\" {{ grip \"a\" \"x x 8 8 8 x\"; grip \"b\" \"x x 6 7 6 x\"; repeat times=2 {{ bar \"{one}\"; bar \"{two}\" }} }} }} }}");
        sound += usize::from(hold(text.as_bytes()).1);
    }
    assert!(sound > 50, "{sound} sound");
}

/// Any number of slots, any bracket, pickups of any length: what is read without a word multiplies out in note values, and most
/// of what a teacher would write is read.
#[test]
fn lengths_multiply_out() {
    let mut dice = Dice(11);
    let (mut sound, mut usual, mut usual_sound, mut refused) = (0, 0, 0, 0);
    for _ in 0..3_000 {
        let (meter, beats) = [("4/4", 4), ("3/4", 3), ("2/4", 2), ("5/4", 5), ("2/2", 4), ("6/8", 6), ("9/8", 9), ("12/8", 12), ("3/8", 3), ("5/8", 5), ("7/8", 7), ("15/16", 15)][dice.below(12)];
        let common = dice.below(2) > 0;
        let slots = if common { beats * [1, 2, 3, 4][dice.below(4)] } else { 1 + dice.below(64) };
        let line = |dice: &mut Dice, n: usize| {
            let (mut words, mut left, mut rings) = (Vec::new(), n, false);
            while left > 0 {
                let token = |dice: &mut Dice, rings: &mut bool| match dice.below(5) {
                    0 | 1 if *rings => "-",
                    2 => {
                        *rings = false;
                        "."
                    }
                    _ => {
                        *rings = true;
                        "3:5"
                    }
                };
                let wide = 1 + dice.below(6);
                if !common && dice.below(8) == 0 && wide <= left {
                    let members: Vec<&str> = (0..2 + dice.below(8)).map(|_| token(dice, &mut rings)).collect();
                    words.push(format!("[{}]={wide}", members.join(" ")));
                    left -= wide;
                } else {
                    words.push(token(dice, &mut rings).to_string());
                    left -= 1;
                }
            }
            words.join(" ")
        };
        let pickup = if slots > 1 && dice.below(2) > 0 { format!("pickup \"{}\"; ", { let n = 1 + dice.below(slots - 1); line(&mut dice, n) }) } else { String::new() };
        let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 96; meter \"{meter}\"; slots {slots}; part \"g\" instrument=\"guitar\" {{ {pickup}bar \"{}\" }} }} }}", line(&mut dice, slots));
        let whole = hold(text.as_bytes()).1;
        sound += usize::from(whole);
        usual += usize::from(common);
        usual_sound += usize::from(common && whole);
        refused += usize::from(read_bytes(text.as_bytes()).problems.iter().any(|p| p.found.contains("note values")));
    }
    assert_eq!(usual, usual_sound);
    assert!(sound > usual + 200 && refused > 40, "{sound} of 3000 sound, {usual} usual, {refused} refused");
}
