//! What the crate answers to some hundreds of questions drawn at random, against `answers.table`, so that a change of any answer is seen. The table says nothing of what is right: that is
//! for the other tests. Where a change is meant, `ANSWERS=write cargo test -p pitch --test answers` writes it anew, and the difference is to be read.

mod table;

use pitch::{Context, Degree, Held, Interval, Key, Midi, Naming, PitchClass, Spelled, Spelling, Stretch, Style, Symbol, Timing, all_marks, first_name, harmony, names};
use std::fmt::Write;
use table::{Dice, held_against};

impl Dice {
    fn one<'a, T: ?Sized>(&mut self, of: &[&'a T]) -> &'a T {
        of[self.below(of.len())]
    }

    fn key(&mut self) -> Option<Key> {
        let tonic = self.one(&["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]);
        let mode = self.one(&["major", "minor", "dorian", "mixolydian"]);
        if self.below(3) == 0 { None } else { Key::parse(&format!("{tonic} {mode}")).ok() }
    }

    fn sign(&mut self) -> String {
        let root = self.one(&["C", "C#", "Db", "D", "Eb", "E", "F", "F#", "Gb", "G", "Ab", "A", "Bb", "B"]);
        let kind = self.one(&["", "m", "7", "maj7", "m7", "9", "m9", "sus4", "7sus4", "6", "m6", "dim7", "m7b5", "13", "7(b9)", "7(#9)", "7(b9,#11)", "maj9", "add9", "5", "aug", "m(maj7)", "6/9", "11"]);
        let bass = if self.below(5) == 0 { self.one(&["/C", "/E", "/G", "/Bb", "/F#"]) } else { "" };
        format!("{root}{kind}{bass}")
    }

    fn symbol(&mut self, one_in: usize) -> Option<Symbol> {
        let sign = self.sign();
        if self.below(one_in) == 0 { Symbol::parse(&sign).ok() } else { None }
    }
}

fn list<T: ToString>(of: &[T]) -> String {
    of.iter().map(T::to_string).collect::<Vec<_>>().join(" ")
}

fn told(out: &mut String, naming: &Naming, most: usize) {
    for n in naming.names.iter().take(most) {
        let styles: Vec<String> = Style::ALL.iter().map(|s| n.symbol.text(*s)).collect();
        let also = n.also_written.as_ref().map(Symbol::to_string);
        let (harte, rootless) = (n.harte.as_deref().unwrap_or("-"), if n.rootless { " rootless" } else { "" });
        writeln!(out, "  {} | {harte}{rootless} | without {} | {} | {} | bass {} | {} | {}", styles.join(" "), list(&n.omitted), list(&n.degrees), list(&n.spelled), n.bass_degree, also.unwrap_or_default(), n.points).unwrap();
        writeln!(out, "    {}", n.why.join("; ")).unwrap();
    }
    if naming.names.len() > most {
        writeln!(out, "  then {}", naming.names[most..].iter().map(|n| format!("{} {}", n.symbol, n.points)).collect::<Vec<_>>().join(", ")).unwrap();
    }
    let interval = naming.interval.map(|i| i.to_string());
    for words in naming.no_name.iter().chain(&interval).chain(&naming.remarks) {
        writeln!(out, "  : {words}").unwrap();
    }
}

fn grips(out: &mut String, dice: &mut Dice) {
    for n in 0..160 {
        // Some of any notes, some that lie in thirds and fourths as grips do.
        let mut notes: Vec<Midi> = vec![Midi(40 + dice.below(20) as u8)];
        for _ in 0..1 + dice.below(5) {
            let last = notes[notes.len() - 1].0;
            notes.push(Midi(last + if n % 3 == 0 { dice.below(13) } else { [3, 4, 4, 3, 5, 7, 2][dice.below(7)] } as u8));
        }
        let context = Context { bass: if dice.below(3) == 0 { Some(Midi(28 + dice.below(16) as u8)) } else { None }, key: dice.key(), written: dice.symbol(4), before: dice.symbol(4), after: dice.symbol(4) };
        let sign = |s: &Option<Symbol>| s.as_ref().map_or("-".to_string(), Symbol::to_string);
        let key = context.key.map_or("-".to_string(), |k| k.to_string());
        writeln!(out, "{} over {:?} in {key}, written {}, {} before, {} after", list(&notes.iter().map(|m| m.0).collect::<Vec<_>>()), context.bass.map(|b| b.0), sign(&context.written), sign(&context.before), sign(&context.after)).unwrap();
        let naming = names(&notes, &context);
        assert_eq!(first_name(&notes, &context).map(|f| f.symbol), naming.names.first().map(|f| f.symbol.clone()));
        told(out, &naming, 2);
    }
}

fn progressions(out: &mut String, dice: &mut Dice) {
    for _ in 0..18 {
        let (key, round, rounds) = (dice.key(), 2 + dice.below(3), 1 + dice.below(3));
        let signs: Vec<Symbol> = (0..round).map(|_| loop { if let Some(s) = dice.symbol(1) { break s } }).collect();
        let mut notes = Vec::new();
        let count = (round * rounds - dice.below(2)).max(2);
        let seconds = dice.below(2) == 0;
        let length = if seconds { 1.7 } else { 4.0 };
        for i in 0..count {
            let (symbol, from) = (&signs[i % round], length * i as f64);
            for d in &symbol.tones {
                if dice.below(5) == 0 {
                    continue;
                }
                let at = from + length * [0.0, 0.0, 0.25, 0.5][dice.below(4)];
                let midi = Midi(52 + d.class(symbol.root.class()).0 + 12 * dice.below(2) as u8);
                notes.push(Held { midi, from: at - if dice.below(6) == 0 { 0.05 } else { 0.0 }, to: at + length * [0.5, 1.0, 1.3][dice.below(3)], bass: false });
            }
            if dice.below(3) > 0 {
                notes.push(Held { midi: Midi(36 + symbol.bass_class().0), from, to: from + length * 0.6, bass: dice.below(2) == 0 });
            }
            // One that passes by.
            notes.push(Held { midi: Midi(60 + dice.below(14) as u8), from: from + 0.7 * length, to: from + (0.72 + 0.1 * dice.below(3) as f64) * length, bass: false });
        }
        // Now and then a silent one.
        let silent = usize::from(dice.below(3) == 0);
        let stretches: Vec<Stretch> = (0..count + silent).map(|i| Stretch { from: length * i as f64, to: length * (i + 1) as f64 }).collect();
        let timing = if seconds { Timing::SECONDS } else { Timing::QUARTERS };
        let key_text = key.map_or("-".to_string(), |k| k.to_string());
        writeln!(out, "{} in {key_text}, {rounds} rounds, {count} of {length}", list(&signs)).unwrap();
        let sums = all_marks(&notes, &stretches, key, timing).iter().fold(vec![0.0; pitch::MARKS], |sum: Vec<f64>, m| sum.iter().zip(m).enumerate().map(|(i, (s, v))| s + v * (1.0 + i as f64)).collect());
        writeln!(out, "  marks {}", sums.iter().map(|s| format!("{s:.3}")).collect::<Vec<_>>().join(" ")).unwrap();
        for h in harmony(&notes, &stretches, key, timing) {
            let some = |m: &[Midi]| list(&m.iter().map(|m| m.0).collect::<Vec<_>>());
            writeln!(out, "  over {:?}, {}; by pass {}", h.bass.map(|b| b.0), some(&h.notes), some(&h.passing)).unwrap();
            told(out, &h.naming, 1);
        }
    }
}

fn signs(out: &mut String, dice: &mut Dice) {
    for _ in 0..120 {
        // Whole signs, and signs with a letter changed, left out or put in.
        let mut text: Vec<char> = dice.sign().chars().collect();
        for _ in 0..dice.below(3) {
            let at = dice.below(text.len());
            match dice.below(3) {
                0 => text[at] = dice.one(&["7", "m", "(", ")", "b", "#", "/", "9", "1", "sus", "add", "Δ", "°", "+", "no3", " "]).chars().next().unwrap(),
                1 if text.len() > 1 => drop(text.remove(at)),
                _ => text.insert(at, dice.one(&["7", "b", "#", "5", "3", "(", "m", "M", "-", "o", "ø", "6"]).chars().next().unwrap()),
            }
        }
        let text: String = text.into_iter().collect();
        match Symbol::parse(&text) {
            Ok(s) => {
                let (moved, key) = (dice.below(23) as i32 - 11, dice.key());
                let parts: Vec<String> = s.parts(Style::Signs).iter().map(|p| format!("{}:{:?}", p.text, p.kind)).collect();
                writeln!(out, "{text}: {s} | {} | {} | up {moved} {} | {}", list(&s.spell()), s.harte().as_deref().unwrap_or("-"), s.up(moved, key), parts.join(" ")).unwrap();
                if let Some(harte) = s.harte() {
                    writeln!(out, "  {harte} is {:?}, without the third {:?}", Symbol::parse_harte(&harte).map(|h| h.to_string()), s.harte_without(&[Degree::new(3, 0), Degree::new(3, -1)])).unwrap();
                }
            }
            Err(words) => writeln!(out, "{text}: {words}").unwrap(),
        }
        let label = text.replacen('m', ":min", 1).replacen('7', ":7", 1);
        writeln!(out, "  {label}: {:?}", Symbol::parse_harte(&label).map(|h| h.to_string())).unwrap();
    }
}

fn scales(out: &mut String, dice: &mut Dice) {
    for text in ["C", "a", "Eb minor", "F# dorian", "Bb mixolydian", "G phrygian", "C# locrian", "Ab lydian", "Fb major", "H minor", "C moll", "c", "E#", "D  major", ""] {
        match Key::parse(text) {
            Ok(k) => {
                let classes: Vec<Spelling> = (0..12).map(|c| k.spell_class(PitchClass(c))).collect();
                writeln!(out, "{text}: {k}, {} fifths, {} | {} | {} {}", k.fifths(), list(&k.scale()), list(&classes), k.spell(Midi(61)), k.up(dice.below(12) as i32)).unwrap();
            }
            Err(words) => writeln!(out, "{text}: {words}").unwrap(),
        }
    }
    for _ in 0..60 {
        let note = |dice: &mut Dice| Spelled { name: Spelling::new(pitch::Letter::from_char(dice.one(&["C", "D", "E", "F", "G", "A", "B"]).chars().next().unwrap()).unwrap(), dice.below(5) as i8 - 2), octave: 1 + dice.below(5) as i8 };
        let (a, b) = (note(dice), note(dice));
        let degree = Degree::between(a.name, b.name);
        writeln!(out, "{a} {b}: {:?} {:?}, {}, {degree} {} {}", a.midi().map(|m| m.0), b.midi().map(|m| m.0), Interval::between(a, b), degree.word(), degree.spell(b.name)).unwrap();
    }
}

#[test]
fn answers_are_those_of_the_table() {
    let mut out = String::new();
    let mut dice = Dice(1);
    for (title, part) in [("Grips", grips as fn(&mut String, &mut Dice)), ("Progressions", progressions), ("Signs", signs), ("Scales", scales)] {
        writeln!(out, "# {title}").unwrap();
        part(&mut out, &mut dice);
    }
    held_against(env!("CARGO_MANIFEST_DIR"), &out, |a, b| a == b);
}
