//! Harmony of whole passages: where bars are cut, what the bass does to it, and the names of parts beside the name of the sum.

use lesson::Passage;

fn passage(parts: &str) -> Passage {
    let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 90; meter \"4/4\"; slots 8; {parts} }} }}");
    let read = lesson::read(&text);
    assert!(read.problems.is_empty(), "{:?}", read.problems);
    read.lesson.passages.into_iter().next().unwrap()
}

fn beats(p: &Passage) -> String {
    let signs: Vec<String> = lock::harmony(p).iter().map(|h| h.symbol.as_ref().map_or("-".into(), |s| s.to_string())).collect();
    signs.join(" ")
}

const CHOP: &str = "part \"chop\" instrument=\"guitar\" { grip \"c\" \"x 3 2 0 1 0\"; grip \"g\" \"3 2 0 0 0 3\"; grip \"e\" \"x x 8 8 8 x\";";

#[test]
fn a_bar_with_two_chords_is_cut() {
    // C and G together would be Cmaj9.
    assert_eq!(beats(&passage(&format!("{CHOP} bar \"c - - - g - - -\" }}"))), "C C G G");
    assert_eq!(beats(&passage(&format!("{CHOP} bar \"c - - - c - g -\" }}"))), "C C C G");
    // An arpeggio is one chord, though its halves could be C and G.
    assert_eq!(beats(&passage("part \"line\" instrument=\"guitar\" { bar \"&5:3 &4:2 &4:5 &3:4 &5:3 &4:2 &4:5 &3:4\" }")), "Cmaj7 Cmaj7 Cmaj7 Cmaj7");
    // Over one bass the second half is no plainer chord by itself.
    let over_c = format!("{CHOP} bar \"e - - - e - - -\" }}; part \"floor\" instrument=\"bass\" {{ bar \"3:3 - - - - - - -\" }}");
    assert_eq!(beats(&passage(&over_c)), "Cm7 Cm7 Cm7 Cm7");
    assert_eq!(beats(&passage(&format!("{CHOP} bar \". . . . . . . .\" }}"))), "- - - -");
    // A single line of one note is no harmony.
    assert_eq!(beats(&passage("part \"line\" instrument=\"guitar\" { bar \"5:3 - 5:3 - 5:3 - 5:3 -\" }")), "- - - -");
}

#[test]
fn a_step_into_the_first_bar_is_no_chord() {
    assert_eq!(beats(&passage(&format!("{CHOP} pickup \"5:0 5:2\"; bar \"c - - - - - - -\" }}"))), "- C C C C");
    // A struck chord is one.
    assert_eq!(beats(&passage(&format!("{CHOP} pickup \"g -\"; bar \"c - - - - - - -\" }}"))), "G C C C C");
}

#[test]
fn a_passing_bass_note_renames_neither_bar_nor_grip() {
    let walk = format!("{CHOP} bar \"c - - - - - - c\" }}; part \"floor\" instrument=\"bass\" {{ bar \"3:3 - - - - - 3:5 3:7\" }}");
    let p = passage(&walk);
    assert_eq!(beats(&p), "C C C C");
    // The grip struck over the bass's E alone is C too.
    let naming = lock::name_notes(&p, &lock::grip_names(&p, 0)[0].grip.midi(p.parts[0].neck.as_ref().unwrap()).into_iter().flatten().collect::<Vec<_>>(), Some((0, lesson::Beats::new(7, 2))));
    assert_eq!(naming.names[0].symbol.to_string(), "C");
}

#[test]
fn parts_have_names_of_their_own() {
    let p = passage(&format!(
        "key \"C minor\"; {CHOP} bar \"e - - - - - - -\" }}; part \"line\" instrument=\"guitar\" {{ bar \"2:3 - - - - - - -\" }}; part \"floor\" instrument=\"bass\" {{ bar \"3:3 - - - - - - -\" }}"
    ));
    let s = &lock::stretches(&p)[0];
    assert_eq!(s.symbol.as_ref().unwrap().to_string(), "Cm9");
    assert_eq!((s.bar, s.beat, s.beats, s.written), (0, 1, 4, false));
    let told: Vec<String> = s
        .parts
        .iter()
        .map(|q| {
            let degrees: Vec<String> = q.degrees.iter().map(|d| d.to_string()).collect();
            format!("{}: {} alone, {}", p.parts[q.part].name, q.alone.names.first().map_or("nothing".into(), |n| n.symbol.to_string()), degrees.join(" "))
        })
        .collect();
    assert_eq!(told, ["chop: Eb/Bb alone, b3 5 b7", "line: nothing alone, 9", "floor: nothing alone, R"]);
}

#[test]
fn what_is_written_outranks_what_is_heard() {
    let p = passage(&format!("chords \"F / G /\"; {CHOP} bar \"c - - - g - - -\" }}"));
    assert_eq!(beats(&p), "F F G G");
    let all = lock::stretches(&p);
    assert_eq!((all.len(), all[0].written, all[0].beats, all[1].beat), (2, true, 2, 3));
    // What is heard stays known.
    assert_eq!(all[0].heard.naming.names[0].symbol.to_string(), "C");
    // C E G over the root F: fifth, seventh, ninth.
    assert_eq!(all[0].parts[0].degrees.iter().map(|d| d.to_string()).collect::<Vec<_>>(), ["5", "7", "9"]);
}

#[test]
fn shape_beside_sound_under_a_capo() {
    let p = passage(&format!("{} bar \"c - - - - - - -\" }}", CHOP.replace("instrument=\"guitar\"", "instrument=\"guitar\" capo=3")));
    let names = lock::grip_names(&p, 0);
    assert_eq!(names[0].name().unwrap().to_string(), "Eb");
    assert_eq!(names[0].shape.as_ref().unwrap().to_string(), "C");
}

#[test]
fn what_is_worked_out_once_is_what_is_worked_out_each_time() {
    let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo/ferry-road/lesson.kdl")).unwrap();
    let lesson = lesson::read(&text).lesson;
    let mut named = 0;
    for p in &lesson.passages {
        let signs = lock::Signs::of(p);
        assert_eq!((signs.harmony(), signs.bar_names(p)), (lock::harmony(p), lock::bar_names(p)));
        for part in 0..p.parts.len() {
            let names = lock::grip_names(p, part);
            assert_eq!(signs.grip_names(p, part), names);
            let brief: Vec<_> = names.iter().map(|g| (g.name().cloned(), g.shape.clone())).collect();
            assert_eq!(signs.grip_signs(p, part), brief);
            named += names.len();
        }
    }
    assert!(named > 20, "{named}");
}

/// Numbers without a library: the same each time.
fn dice(seed: &mut u64, below: u64) -> u64 {
    *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*seed >> 33) % below
}

#[test]
fn what_is_worked_out_again_is_what_is_worked_out_anew() {
    const BARS: [&str; 8] = ["a - - -", "a . b .", "c - b -", "d - - c", "- - - -", ". . . .", "5:3 4:5 - 3:7", "b . . d"];
    const LOW: [&str; 6] = ["3:3 - - -", "4:5 - 3:5 -", "2:5 - - -", ". . . .", "- - 4:3 -", "3:8 . 4:1 ."];
    let mut seed = 7;
    let mut changed = 0;
    let mut worked = lock::Worked::default();
    let mut bars: Vec<(usize, usize)> = (0..12).map(|_| (0, 0)).collect();
    let mut key = "C minor";
    for step in 0..120 {
        let before = bars.clone();
        match dice(&mut seed, 12) {
            0 => key = if key == "C minor" { "Ab major" } else { "C minor" },
            1 if bars.len() < 40 => bars.insert(dice(&mut seed, 8) as usize, (1, 1)),
            2 => {
                bars.remove(5);
                bars.push((3, 2));
            }
            _ => {
                let at = dice(&mut seed, bars.len() as u64) as usize;
                bars[at] = (dice(&mut seed, 8) as usize, dice(&mut seed, 6) as usize);
            }
        }
        let list = |of: &dyn Fn(&(usize, usize)) -> &'static str| bars.iter().map(|b| format!("bar \"{}\"\n", of(b))).collect::<String>();
        let text = format!(
            "lesson \"t\" {{ passage \"p\" {{ tempo 90; slots 4; key \"{key}\"
              part \"chop\" instrument=\"guitar\" {{ grip \"a\" \"x x 8 8 8 x\"; grip \"b\" \"x x 7 7 8 x\"; grip \"c\" \"x 3 5 3 4 x\"; grip \"d\" \"4 6 6 5 4 4\"\n{} }}
              part \"floor\" instrument=\"bass\" {{ {} }} }} }}",
            list(&|b| BARS[b.0]),
            list(&|b| LOW[b.1])
        );
        let reading = lesson::read(&text);
        if !reading.is_sound() {
            bars = before;
            continue;
        }
        let p = &reading.lesson.passages[0];
        let (again, anew) = (lock::Signs::again(p, &mut worked), lock::harmony(p));
        assert_eq!(again.harmony(), anew, "step {step}");
        // The whole way, with reasons and all names, has the same first ones.
        let whole: Vec<_> = lock::stretches(p).into_iter().flat_map(|s| (s.beat..s.beat + s.beats).map(move |beat| (s.bar, beat, s.symbol.clone()))).collect();
        assert_eq!(whole, anew.into_iter().map(|h| (h.bar, h.beat, h.symbol)).collect::<Vec<_>>(), "step {step}");
        assert_eq!(again.bar_names(p), lock::bar_names(p));
        changed += 1;
    }
    assert!(changed > 60, "{changed}");
}
