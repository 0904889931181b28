//! A token for another in a stroke line: what is read again is what reading the whole text gives.

mod dice;
use dice::Dice;
use lesson::{Change, Span, Weight, splice};

const LESSON: &str = r#"lesson "Again" {
  passage "p" {
    tempo 90
    slots 4
    key "C minor"
    part "one" instrument="guitar" {
      grip "a" "x x 8 8 8 x"
      grip "b" "x x 6 7 6 x" name="Bbm/Db"
      pickup "3:5 -"
      bar "a . x a"
      bar "- - 3:9 -" times=3
      bar "x x6 &a 5:3"
      repeat times=2 {
        bar "5:5 /5:7 H5:9 P5:7"
        bar "3:7^1 - ^0 -" ending=1
        bar "3:7 &4:9 &2:8 -" ending=2
      }
      rest
      bar "[a x a]=2 b b"
      rest times=2
      bar "xa . a43 b@-1/b" say="slowly"
      bar "x . . ." heard="as written"
      bar "3:5+4:5 - 2:6+x *a"
      name "Cm" at="11.1"
    }
    part "two" instrument="keys" {
      bar "C4 - Eb4+G4 -" times=6
      repeat times=2 { bar "- C2 . D2" }
      bar "C5 . . ."
      rest times=5
      bar "F4 - - -"
      bar "- - G4 ."
    }
    part "three" instrument="bass" {
      bar "3:3 - - -" times=4
      bar "- 3:5 H3:7 -" times=10
      bar "x 4:1 M4:1 -"
      bar "/4:3 - - -"
    }
    part "four" instrument="click" { bar "x . x ." times=16 }
    part "five" instrument="drums" { bar times=16 { kick "x . x ."; snare ". x . x" } }
    part "six" instrument="guitar" write="notes" { bar "C4 - Eb4 G4" times=16 }
  }
  passage "q" { tempo 100; slots 4; part "one" instrument="guitar" { bar "5:3 - x 5:3"; bar "- . . ." } }
}
"#;

fn whole(text: &str) -> (lesson::Lesson, Vec<lesson::Problem>) {
    let r = lesson::read(text);
    let mut problems = r.problems;
    if problems.iter().all(|p| p.weight != Weight::Error) {
        problems.extend(lesson::check(&r.lesson));
    }
    problems.sort_by(|a, b| (a.span, a.weight, &a.found).cmp(&(b.span, b.weight, &b.found)));
    (r.lesson, problems)
}

#[test]
fn a_line_read_again_is_the_line() {
    const TOKENS: [&str; 35] = [
        "a", "b", "-", ".", "x", "3:9", "/3:12", "H3:10", "P3:5", "^1", "^0", "3:7^1", "&2:8", "&a", "&5:3", "x6", "xa", "[a x a]=1", "[3:5 3:7]=2", "a43", "b@-1/b", "*a", ">a", "C4", "Eb4+G4", "4:5", "3:5+4:5", "1:20+6:1",
        "5:3", "2:6+x", "4:4/7", "", "o", ">x", "(x)",
    ];
    let (mut lesson, mut problems) = whole(LESSON);
    assert!(problems.iter().all(|p| p.weight == Weight::Remark), "{problems:?}");
    let mut text = LESSON.to_string();
    let mut dice = Dice(3);
    let (mut lines, mut others, mut refused, mut remarks, mut faulty, mut mended) = (0, 0, 0, 0, 0, 0);
    // The last text without errors.
    let mut back = text.clone();
    for round in 0..900 {
        // A token of a line, by the quotes around it.
        let quotes: Vec<usize> = text.match_indices('"').map(|m| m.0).collect();
        let k = 2 * dice.below(quotes.len() / 2);
        let (open, close) = (quotes[k] + 1, quotes[k + 1]);
        let cuts: Vec<usize> = std::iter::once(open).chain(text[open..close].match_indices(' ').flat_map(|m| [open + m.0, open + m.0 + 1])).chain([close]).collect();
        let c = 2 * dice.below(cuts.len() / 2);
        let with = if dice.below(3) == 0 { text[cuts[c]..cuts[c + 1]].to_string() + " " } else { TOKENS[dice.below(TOKENS.len())].to_string() };
        let was_sound = problems.iter().all(|p| p.weight == Weight::Remark);
        let changed = if was_sound || dice.below(2) == 0 { splice(&text, &[Change { at: Span { start: cuts[c], end: cuts[c + 1] }, with }]).expect("a place of the text") } else { back.clone() };
        let sound = whole(&changed).1.iter().all(|p| p.weight == Weight::Remark);
        match lesson::again(&text, &lesson, &problems, &changed) {
            Some(read) if changed != text => {
                let want = whole(&changed);
                assert_eq!(read.errors().is_empty(), sound, "round {round}\n{changed}");
                lines += usize::from(read.is_line());
                others += usize::from(!read.is_line());
                read.put(&mut lesson, &mut problems);
                problems.sort_by(|a, b| (a.span, a.weight, &a.found).cmp(&(b.span, b.weight, &b.found)));
                assert_eq!(problems, want.1, "round {round}\n{changed}");
                assert!(lesson == want.0, "round {round}: another lesson\n{changed}");
                remarks += usize::from(sound && !problems.is_empty());
                faulty += usize::from(!sound);
                mended += usize::from(sound && !was_sound);
                if sound {
                    back.clone_from(&changed);
                }
                text = changed;
            }
            _ => refused += 1,
        }
        // Back to where every kind of line stands.
        if round % 60 == 59 {
            (lesson, problems) = whole(LESSON);
            text = LESSON.to_string();
            back.clone_from(&text);
        }
    }
    let told = format!("{lines} lines, {others} passages, {refused} refused, {remarks} with remarks, {faulty} faulty, {mended} mended");
    assert!(lines > 250 && others > 80 && refused > 200 && remarks > 250 && faulty > 70 && mended > 60, "{told}");
}
