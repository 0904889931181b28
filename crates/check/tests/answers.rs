//! What the crate answers about a few passages with faults, to the marks that evidence is made of, against `answers.table`, so that a change of any answer is seen. The table says nothing of
//! what is right: that is for the other tests. Where a change is meant, `ANSWERS=write cargo test --release -p check --test answers` writes it anew, and the difference is to be read.

#[allow(dead_code)]
#[path = "../../pitch/tests/table/mod.rs"]
mod table;

mod played;

use check::{Checked, Options};
use played::{LESSON, changed, read, sounded};
use std::fmt::Write;
use wave::Buffer;

/// A line with a slide and a hammered note over drums.
const LINE: &str = r#"lesson "Test" {
  passage "one" {
    tempo 100
    slots 16
    record "audio/one.wav" from=0 to=7.2 cents=3
    part "line" instrument="guitar" {
      bar "5:3 - - -  5:7 - - -  4:5 - x .  3:5 - - -"
      bar "5:5 - - -  4:3 - - -  4:7 - - -  3:4 - - -"
      bar "5:3 - H5:5 -  5:7 - - -  4:7 - /4:9 -  3:4 - - -"
    }
    part "kit" instrument="drums" {
      repeat times=3 { bar { kick "x . . . . . . . x . . . . . . ."; snare ". . . . x . . . . . . . x . . ."; hats "x . x . x . x . x . x . x . x ." } }
    }
  }
}
"#;

fn marks(list: &[f32]) -> String {
    list.iter().map(|m| format!(" {m:.3}")).collect()
}

/// Evidence as the log odds that it was made from: near 0 and 1 more is seen of them.
fn odds(share: f64) -> f64 {
    libm::log(share.max(1e-9) / (1.0 - share).max(1e-9))
}

/// Times in milliseconds.
fn said(name: &str, c: &Checked, out: &mut String) {
    let ms = |s: f64| 1000.0 * s;
    writeln!(out, "{name}: starts {:.2} aligned {:.3} stretch {:.5} cents {:.2}", ms(c.starts_s.first().copied().unwrap_or(0.0)), c.aligned, c.stretch, c.cents.unwrap_or(0.0)).unwrap();
    writeln!(out, "{} {} {:?}; grid {}", c.id, c.file, c.files, c.grid.iter().map(|(w, h)| format!(" {:.2} {:.2}", ms(*w), ms(*h))).collect::<String>()).unwrap();
    for p in &c.parts {
        for n in &p.notes {
            let (better, moved, ahead) = (n.better.unwrap_or(0), n.moved_slots.unwrap_or(0), n.ahead_ms.unwrap_or(0.0));
            let other = n.moved_marks.map_or(String::new(), |m| format!(" elsewhere{}", marks(&m)));
            writeln!(out, "{} bar {} slot {} midi {} {} at {:.2} {:.3} better {better} moved {moved} ahead {ahead:.2}:{}{other}", p.name, n.bar, n.slot, n.midi, n.verdict.word(), ms(n.time_s), odds(n.evidence), marks(&n.marks)).unwrap();
        }
        for u in &p.unwritten {
            writeln!(out, "{} unwritten bar {} slot {} midi {} at {:.2} {:.3} place {:?} {}:{}", p.name, u.bar, u.slot, u.midi, ms(u.time_s), odds(u.evidence), u.place, u.of_stroke, marks(&u.marks)).unwrap();
        }
        for s in &p.rhythm {
            writeln!(out, "{} stroke bar {} slot {} at {:.2} {:.3} {}", p.name, s.bar, s.slot, ms(s.time_s), s.evidence, s.written).unwrap();
        }
        if let Some(k) = p.pocket {
            writeln!(out, "{} pocket {:.2} {:.2} {} {:.2} {}", p.name, k.ahead_ms, k.spread_ms, k.strokes, k.swing_percent.unwrap_or(0.0), k.swing_of).unwrap();
        }
    }
    found(name, c, out);
    c.limits.iter().for_each(|l| writeln!(out, "limit: {l}").unwrap());
}

fn found(name: &str, c: &Checked, out: &mut String) {
    for f in &c.findings {
        writeln!(out, "{name} finding bars {:?} sure {:.3} serious {:.3} place {:?}: {}", f.bars, f.sure, f.serious, f.suggested_place, f.words).unwrap();
    }
}

/// Words alike, numbers within a twentieth: processors differ in their last digits.
fn close(a: &str, b: &str) -> bool {
    let number = |w: &str| w.trim_end_matches([':', ',', ']', ')']).trim_start_matches(['[', '(']).parse::<f64>().ok();
    let alike = |a: &str, b: &str| match (number(a), number(b)) {
        (Some(x), Some(y)) => (x - y).abs() <= 0.05,
        _ => a == b,
    };
    let (a, b): (Vec<&str>, Vec<&str>) = (a.split(' ').collect(), b.split(' ').collect());
    a.len() == b.len() && a.iter().zip(&b).all(|(a, b)| alike(a, b))
}

#[test]
fn answers_are_as_they_were() {
    let check = |text: &str, record: &Buffer| check::passage(&read(text), "one", &[("audio/one.wav", record)], &Options::default()).unwrap();
    // Two seats, a tempo that is not the record's, a start that is off.
    let two = changed(LESSON, &[("from=3 to=13", "from=0.6 to=10.6"), ("seat=\"centre\"", "seat=\"right\"")]);
    let faults = [("\"x x 7 5 6 5\"", "\"x x 7 5 5 5\""), ("bar \"a . a .  . a a .\"", "bar \"a . a .  . a . a\""), ("3:7  3:5 -", "3:7  3:6 -"), ("2:5 - 3:5 -\"", "2:5 - 3:7 -\"")];
    let others = [("4:3 - - -  4:7 - - -", "4:3 - - -  - 4:7 - -"), ("4:5 - x .", "4:5 - - ."), ("3:5 - - -\"", "3:6 - - -\"")];
    let records = [("two", &two[..], sounded(&changed(&two, &faults), 97)), ("line", LINE, sounded(&changed(LINE, &others), 100))];
    let mut out = String::new();
    for (name, text, record) in &records {
        said(name, &check(text, record), &mut out);
    }
    // The first once more as one channel: nobody sits anywhere.
    said("one channel", &check(&two, &records[0].2.mono()), &mut out);
    // A record that ends too early, and one that is another's.
    let short = records[0].2.slice_time(wave::Seconds(0.0)..wave::Seconds(6.0));
    said("ends early", &check(&two, &short), &mut out);
    // Where it seems to begin is chance.
    found("other music", &check(LINE, &records[0].2), &mut out);
    // Drums alone have no pitch that could be measured; a take is the pupil's.
    let drums = [&LINE[..LINE.find("    part \"line\"").unwrap()], &LINE[LINE.find("    part \"kit\"").unwrap()..]].concat().replace(" cents=3", "");
    let sound = sounded(&drums, 100);
    let struck = [("audio/one.wav", &sound)];
    said("drums", &check::passage(&read(&drums), "one", &struck, &Options::default()).unwrap(), &mut out);
    let played_in = check::passage(&read(&two), "one", &struck, &Options { voice: check::Voice::Take, ..Options::default() }).unwrap();
    found("drums played in", &played_in, &mut out);
    played_in.limits.iter().for_each(|l| writeln!(out, "limit: {l}").unwrap());
    let nothing = Buffer::silence(44_100, 2, 12 * 44_100).unwrap();
    said("silence", &check(&two, &nothing), &mut out);
    table::held_against(env!("CARGO_MANIFEST_DIR"), &out, close);
}
