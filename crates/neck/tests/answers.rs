//! What the crate answers to some hundreds of questions drawn at random, against `answers.table`, so that a change of any answer is seen. The table says nothing of what is right: that is
//! for the other tests. Where a change is meant, `ANSWERS=write cargo test -p neck --test answers` writes it anew, and the difference is to be read.

#[path = "../../pitch/tests/table/mod.rs"]
mod table;

use neck::{By, Finger, Fingering, Grip, Hand, Instrument, PathOptions, Pin, Place, PlaceOptions, Studied, Timed, Tuning, Wanted, along, alternatives, change, finger, fingers_given, nearest, parents, path, path_with, place};
use pitch::{Midi, PitchClass};
use std::fmt::Write;
use table::{Dice, held_against};

impl Dice {
    fn hand(&mut self) -> Hand {
        [Hand::usual(), Hand::small(), Hand::large()][self.below(3)].clone()
    }

    fn instrument(&mut self) -> Instrument {
        match self.below(6) {
            0 => Instrument::bass(),
            1 => Instrument { tuning: Tuning::guitar("drop D", 6).unwrap(), ..Instrument::guitar() },
            2 => Instrument { capo: 3, ..Instrument::guitar() },
            3 => Instrument { tuning: Tuning::bass("standard", 5).unwrap(), ..Instrument::bass() },
            _ => Instrument::guitar(),
        }
    }

    fn grip(&mut self, strings: usize) -> Grip {
        let low = self.below(11) as u8;
        let frets = (0..strings).map(|_| match self.below(9) {
            0..=2 => None,
            3 => Some(0),
            n => Some(low + (n as u8 - 4).min(4)),
        });
        Grip { frets: frets.collect() }
    }
}

fn held(f: &Fingering) -> String {
    let fingers: String = f.fingers.iter().map(|f| f.map_or('-', Finger::to_char)).collect();
    let barres: Vec<String> = f.barres.iter().map(|b| format!("{} at {} from {} to {}", b.finger.to_char(), b.fret, b.from_string, b.to_string)).collect();
    format!("{fingers} {:.2} mm, {:.4}{}{}", f.span_mm, f.cost, if barres.is_empty() { "" } else { ", barre " }, barres.join(", "))
}

fn placed(p: &Place) -> String {
    format!("{} in {}, {:.4}, lowest {}: {}", p.grip, p.position, p.cost, p.lowest.0, held(&p.fingering))
}

fn grips(out: &mut String, dice: &mut Dice) {
    let fingers = [Finger::Index, Finger::Middle, Finger::Ring, Finger::Little, Finger::Thumb];
    for _ in 0..150 {
        let (instrument, hand) = (dice.instrument(), dice.hand());
        let grip = dice.grip(instrument.strings());
        writeln!(out, "{grip} on {}, capo {}, a {} hand", instrument.tuning.name, instrument.capo, hand.name).unwrap();
        match finger(&grip, &instrument, &hand) {
            Ok(f) => writeln!(out, "  {}", held(&f)).unwrap(),
            Err(e) => writeln!(out, "  {}", e.why).unwrap(),
        }
        let given: Vec<Finger> = grip.frets.iter().flatten().filter(|f| **f > 0).map(|_| fingers[dice.below(5)]).collect();
        let letters: String = given.iter().map(|f| f.to_char()).collect();
        match fingers_given(&grip, &given, &instrument) {
            Ok(f) => writeln!(out, "  {letters}: {}", held(&f)).unwrap(),
            Err(words) => writeln!(out, "  {letters}: {words}").unwrap(),
        }
        for p in parents(&grip, &instrument).iter().take(2) {
            writeln!(out, "  of {} {} at {}: {}, {:?} left out {:?}, root {:?}", p.form, p.quality, p.base_fret, p.grip, p.taken, p.left_out, p.root).unwrap();
        }
        let other = dice.grip(instrument.strings());
        let c = change(&grip, &other, &instrument);
        writeln!(out, "  to {other}: {} semitones, {:.2} mm, {} stay", c.semitones, c.hand_mm, c.kept).unwrap();
    }
}

/// Chords that have forms, or parts of them.
fn forms(out: &mut String, dice: &mut Dice) {
    let shapes = ["x 3 2 0 1 0", "1 3 3 2 1 1", "x 1 3 3 3 1", "x x 0 2 3 2", "3 2 0 0 0 3", "x 1 3 1 2 1", "1 3 1 1 1 1", "x 1 0 1 2 x", "x 1 2 1 2 x", "1 x 1 1 1 x", "x x 1 3 2 3", "x 3 5 4 5 3", "1 3 1 2 1 1", "x 2 1 2 2 x", "x x 1 2 1 2"];
    for shape in shapes {
        let whole = Grip::parse(shape).unwrap();
        let grip = whole.shifted(dice.below(6) as i32).unwrap();
        let strings: Vec<u8> = (1..=6).filter(|_| dice.below(4) > 0).collect();
        let part = grip.only(&strings);
        for g in [&grip, &part] {
            writeln!(out, "{g}").unwrap();
            for p in parents(g, &Instrument::guitar()) {
                writeln!(out, "  of {} {} at {}: {}, {:?} left out {:?}, root {:?}", p.form, p.quality, p.base_fret, p.grip, p.taken, p.left_out, p.root).unwrap();
            }
        }
    }
}

fn chords(out: &mut String, dice: &mut Dice) {
    for _ in 0..24 {
        let (instrument, hand, root) = (dice.instrument(), dice.hand(), dice.below(12) as u8);
        let classes: Vec<PitchClass> = [&[0u8, 4, 7][..], &[0, 3, 7, 10], &[0, 4, 7, 10], &[0, 4, 10, 2], &[0, 3, 6, 10]][dice.below(5)].iter().map(|t| PitchClass((root + t) % 12)).collect();
        let (bass, inversions) = (if dice.below(3) == 0 { Some(classes[1]) } else { None }, dice.below(2) == 0);
        let first = dice.below(8) as u8;
        let options = PlaceOptions { strings: if dice.below(3) == 0 { Some(vec![1, 2, 3, 4]) } else { None }, frets: first..=first + 7, open_strings: dice.below(2) == 0, notes_min: 2 + dice.below(2), max_results: 3, inversions };
        let wanted = Wanted::Classes { may_omit: vec![classes[2], classes[0]], must: vec![classes[1]], bass, classes: classes.clone() };
        writeln!(out, "{:?} over {:?} on {}, a {} hand, {options:?}", classes.iter().map(|c| c.0).collect::<Vec<_>>(), bass.map(|b| b.0), instrument.tuning.name, hand.name).unwrap();
        for p in place(&wanted, &instrument, &hand, &options) {
            writeln!(out, "  {}", placed(&p)).unwrap();
        }
        let from = dice.grip(instrument.strings());
        for by in [By::Voices, By::Hand] {
            for (p, c) in nearest(&from, by, &wanted, &instrument, &hand, &options).iter().take(2) {
                writeln!(out, "  near {from} by {by:?}: {}, {} semitones, {:.2} mm, {} stay", placed(p), c.semitones, c.hand_mm, c.kept).unwrap();
            }
        }
        for p in along(&wanted, &instrument, &hand, &options).iter().take(4) {
            writeln!(out, "  along: {}", placed(p)).unwrap();
        }
    }
}

/// Lines and strums, as they lie when nothing is known and when something is.
fn parts(out: &mut String, dice: &mut Dice) {
    for n in 0..100 {
        let (instrument, hand) = (dice.instrument(), dice.hand());
        let lowest = instrument.sounds(instrument.strings() as u8, 0).unwrap().0;
        let top = instrument.sounds(1, instrument.top_fret()).unwrap().0;
        let mut notes: Vec<Timed> = Vec::new();
        let (mut at, mut pitch) = (0.0, lowest + 8 + dice.below(18) as u8);
        let mut strum: Vec<u8> = Vec::new();
        for _ in 0..6 + dice.below(12) {
            at += [0.12, 0.25, 0.25, 0.5, 1.5][dice.below(5)];
            pitch = (i32::from(pitch) + [-7, -5, -3, -2, -1, 1, 2, 2, 3, 4, 5, 12][dice.below(12)]).clamp(i32::from(lowest), i32::from(top.min(lowest + 34))) as u8;
            // A chord, the same one again, or a note of a line.
            let pitches = match (n % 3, dice.below(3)) {
                (0, _) | (2, 0) => vec![pitch],
                (_, 1) if !strum.is_empty() => strum.clone(),
                _ => (0..2 + dice.below(2)).map(|k| pitch + [0, 4, 7, 12][k]).filter(|p| *p <= top).collect(),
            };
            if pitches.len() > 1 {
                strum.clone_from(&pitches);
            }
            notes.extend(pitches.iter().map(|p| Timed { onset_s: at, duration_s: 0.2 + 0.2 * dice.below(3) as f64, midi: Midi(*p) }));
        }
        let told = |way: Result<Vec<(u8, u8)>, neck::Unplaced>| match way {
            Ok(way) => way.iter().map(|(s, f)| format!("{s}:{f}")).collect::<Vec<_>>().join(" "),
            Err(e) => format!("note {} {}", e.note, e.why),
        };
        let sum = |list: &[f64]| list.iter().enumerate().map(|(i, s)| s * (1.0 + i as f64)).sum::<f64>();
        writeln!(out, "{} on {}, capo {}, a {} hand", notes.iter().map(|n| format!("{}@{:.2}", n.midi.0, n.onset_s)).collect::<Vec<_>>().join(" "), instrument.tuning.name, instrument.capo, hand.name).unwrap();
        writeln!(out, "  {}", told(path(&notes, &instrument, &hand, &[]))).unwrap();
        let pins = [Pin { note: dice.below(notes.len()), string: 1 + dice.below(4) as u8 }];
        writeln!(out, "  {pins:?}: {}", told(path(&notes, &instrument, &hand, &pins))).unwrap();
        let joined = [1 + dice.below(notes.len() - 1)];
        let around = if dice.below(2) == 0 { Some(dice.below(12) as u8) } else { None };
        let strings: Vec<Vec<f64>> = notes.iter().map(|_| if dice.below(4) == 0 { Vec::new() } else { (0..instrument.strings()).map(|_| [0.02, 0.1, 0.9][dice.below(3)]).collect() }).collect();
        let options = PathOptions { joined: if n % 2 == 0 { &joined } else { &[] }, around, strings: &strings, ..PathOptions::default() };
        writeln!(out, "  joined {:?}, around {around:?}, listened to: {}", options.joined, told(path_with(&notes, &instrument, &hand, &options))).unwrap();
        if n % 5 == 0 {
            for way in alternatives(&notes, &instrument, &hand, &PathOptions::default()).unwrap_or_default() {
                writeln!(out, "  or {}", told(Ok(way))).unwrap();
            }
        }
        // As if what was listened to were right.
        if n % 7 == 0 && let Ok(way) = path_with(&notes, &instrument, &hand, &options) {
            let right: Vec<u8> = way.iter().map(|w| w.0).collect();
            if let Ok(mut studied) = Studied::new(&notes, &right, &instrument, &hand) {
                studied.second(&neck::start_weights());
                let (loss, slope) = studied.slope(&neck::plain_weights());
                let (places, difference) = (studied.places(&neck::plain_weights()), studied.difference(&neck::plain_weights(), 0.5));
                writeln!(out, "  studied: {} strokes, {} strange, {loss:.4}, {:.4}, {:.4}, {}", studied.strokes(), studied.strange, sum(&slope), sum(&difference), places.map(|p| told(Ok(p))).join(" or ")).unwrap();
            }
        }
    }
}

fn words(out: &mut String, _: &mut Dice) {
    for text in ["standard", "drop D", "E A D G B E", "D2 A2 D3 G3 A3 D4", "open G", "half step down", "E2 A2", "E2 A2 D3 G3 B3 H4", "", "E1 A1 D2 G2"] {
        for (kind, tuning) in [("guitar", Tuning::guitar(text, 6)), ("bass", Tuning::bass(text, 4)), ("guitar of 7", Tuning::guitar(text, 7))] {
            match tuning {
                Ok(t) => writeln!(out, "{kind} {text}: {} {:?} standard {}", t.name, t.open.iter().map(|m| m.0).collect::<Vec<_>>(), t.is_standard()).unwrap(),
                Err(words) => writeln!(out, "{kind} {text}: {words}").unwrap(),
            }
        }
    }
    for text in ["x 3 2 0 1 0", "x3201", "x32010", "10 12 12 11 10 10", "x x 25 1 1 1", "1 2", "a b c d e f", "", "x x x x x x"] {
        writeln!(out, "{text}: {:?}", Grip::parse(text).map(|g| g.to_string())).unwrap();
    }
}

#[test]
fn answers_are_those_of_the_table() {
    let mut out = String::new();
    let mut dice = Dice(1);
    for (title, part) in [("Grips", grips as fn(&mut String, &mut Dice)), ("Forms", forms), ("Chords", chords), ("Parts", parts), ("Words", words)] {
        writeln!(out, "# {title}").unwrap();
        part(&mut out, &mut dice);
    }
    held_against(env!("CARGO_MANIFEST_DIR"), &out, |a, b| a == b);
}
