//! Made-up lessons that differ in every field that the index keeps, what was put into each, and a plain scan to compare answers with.

#![allow(dead_code)]

use shelf::{Facts, Figure, PassageFacts, Query, Seen, Test, quality_of};
use std::collections::BTreeSet;

/// Numbers that look random and are the same on every machine (xorshift64*, Vigna 2016).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Dice {
        Dice(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    pub fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 33) as usize % n
    }

    pub fn one<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[self.below(of.len())]
    }
}

pub const KEYS: [&str; 10] = ["C minor", "A dorian", "G major", "D major", "E minor", "Eb major", "F# minor", "Bb mixolydian", "B phrygian", "Ab lydian"];
pub const CHORDS: [&str; 12] = ["Am7", "D9", "Gmaj7", "C6", "E7", "F#m7b5", "Bb13", "Dsus4", "Ebmaj9", "Cm9", "B7#9", "G"];
pub const WORDS: [&str; 16] = ["harbour", "ferry", "lantern", "slowly", "thumb", "quiet", "market", "bend", "wrist", "river", "ninth", "loose", "counting", "père", "Übung", "over"];
/// Two slots each.
const PIECES: [&str; 14] = ["3:5 H3:7", "3:7 P3:5", "3:5 /3:7", "3:7^1 -", "3:5~ -", "M3:5 .", "N3:12 .", "T3:5 -", "(3:5) .", "x .", ">3:5 .", "3:5' .", "2:5+1:5 -", "3:7!1 ."];

/// A grip of three or four neighbouring strings within four frets.
pub fn grip(dice: &mut Dice) -> String {
    let (strings, fret) = (3 + dice.below(2), 1 + dice.below(11));
    let first = dice.below(7 - strings);
    (0..6).map(|s| if (first..first + strings).contains(&s) { (fret + dice.below(4)).to_string() } else { "x".into() }).collect::<Vec<_>>().join(" ")
}

/// A word that only one lesson has.
pub fn own_word(i: usize) -> String {
    let (a, b) = (["ba", "de", "fi", "go", "lu", "ma", "ne", "pi", "ro", "su"], ["th", "nd", "lk", "rs", "mp"]);
    let mut word = String::new();
    let mut n = i;
    for k in 0..5 {
        word += a[n % 10];
        n /= 10;
        if k == 1 {
            word += b[i % 5];
        }
    }
    word
}

/// What was put into a passage.
#[derive(Clone, Debug)]
pub struct Planted {
    pub folder: String,
    pub passage: &'static str,
    pub tempo: f64,
    pub key: &'static str,
    pub swing: Option<f64>,
    /// Named grips, with the number of frets by which the first bar moves the first.
    pub grips: [String; 2],
    pub word: String,
}

/// Lesson `i`, at some state: another state differs in words and tempo.
pub fn lesson(i: usize, state: usize) -> (String, String, Vec<Planted>) {
    let mut dice = Dice::new(i as u64 * 7 + 1);
    let folder = format!("shelf-{:02}/lesson-{i:05}", i % 17);
    let word = own_word(i);
    let mut text = format!("lesson \"{} {}, number {i}\" needs=\"barre, {}\" {{\n", dice.one(&WORDS), dice.one(&WORDS), dice.one(&WORDS));
    text += &format!("  note \"{} {} and {}\"\n", dice.one(&WORDS), dice.one(&WORDS), dice.one(&WORDS));
    let mut planted = Vec::new();
    for passage in ["verse", "bridge"] {
        let tempo = 40.0 + ((i * 2 + planted.len() + state * 31) % 6000) as f64 * 0.05;
        let tempo = (tempo * 100.0).round() / 100.0;
        let key = *dice.one(&KEYS);
        let swing = (dice.below(3) == 0).then(|| 51.0 + dice.below(290) as f64 / 10.0);
        let grips = [grip(&mut dice), grip(&mut dice)];
        text += &format!("  passage \"{passage}\" title=\"{} {}\" {{\n    tempo {tempo}\n    slots 8\n    key \"{key}\"\n", dice.one(&WORDS), dice.one(&WORDS));
        if let Some(s) = swing {
            text += &format!("    swing {s} of=\"1/8\"\n");
        }
        if dice.below(4) > 0 {
            text += &format!("    chords \"{} / {} /\"\n", dice.one(&CHORDS), dice.one(&CHORDS));
        }
        let tokens: Vec<&str> = (0..24).map(|_| *dice.one(&["a", "b", "x", ".", ".", "a'", "b"])).collect();
        text += &format!("    part \"chop\" instrument=\"guitar\" tone=\"{}\" {{\n      grip \"a\" \"{}\"\n      grip \"b\" \"{}\"\n", dice.one(&WORDS), grips[0], grips[1]);
        text += &format!("      bar \"a {}\" say=\"{} {} {word} {state}\"\n", tokens[..7].join(" "), dice.one(&WORDS), dice.one(&WORDS));
        text += &format!("      bar \"{}\"\n    }}\n", tokens[8..16].join(" "));
        let pieces: Vec<&str> = (0..8).map(|_| *dice.one(&PIECES)).collect();
        text += &format!("    part \"line\" instrument=\"guitar\" {{ bar \"{}\"; bar \"{}\" }}\n", pieces[..4].join(" "), pieces[4..].join(" "));
        let floor: Vec<String> = (0..8).map(|k| if dice.below(2) == 0 && k > 0 { ".".into() } else { format!("{}:{}", 2 + dice.below(3), 1 + dice.below(8)) }).collect();
        text += &format!("    part \"floor\" instrument=\"bass\" {{ bar \"{0}\"; bar \"{0}\" }}\n", floor.join(" "));
        text += &format!("    note \"{} {} {}\" at=\"2.1\" part=\"line\"\n  }}\n", dice.one(&WORDS), dice.one(&WORDS), dice.one(&WORDS));
        planted.push(Planted { folder: folder.clone(), passage, tempo, key, swing, grips, word: word.clone() });
    }
    (folder, text + "}\n", planted)
}

pub fn seen(folder: &str, text: &str, modified_ns: i64) -> Seen {
    Seen { folder: folder.into(), bytes: text.len() as u64, modified_ns }
}

/// The facts of lessons `0..n`.
pub fn all_facts(n: usize) -> Vec<(String, Facts)> {
    (0..n)
        .map(|i| {
            let (folder, text, _) = lesson(i, 0);
            let reading = lesson::read(&text);
            assert!(reading.is_sound(), "{:?}\n{text}", reading.problems);
            (folder, shelf::facts(&reading))
        })
        .collect()
}

/// Folder and passage (`None`: the lesson itself) of everything that meets a query, by looking at all of it.
pub fn scan(all: &[(String, Facts)], query: &Query) -> BTreeSet<(String, Option<String>)> {
    let mut out = BTreeSet::new();
    for (folder, facts) in all {
        let lesson_has = |t: &shelf::Term| t.tests.iter().any(|t| facts.texts.iter().any(|w| t.in_words(&w.words) == Some(true)));
        if query.terms.iter().any(|t| !t.not) && query.terms.iter().all(|t| lesson_has(t) != t.not) {
            out.insert((folder.clone(), None));
        }
        for p in &facts.passages {
            let own = |t: &shelf::Term| t.tests.iter().any(|t| holds(t, p));
            let wanted = || query.terms.iter().filter(|t| !t.not);
            if query.terms.iter().all(|t| (own(t) || lesson_has(t)) != t.not) && (wanted().next().is_none() || wanted().any(own)) {
                out.insert((folder.clone(), Some(p.id.clone())));
            }
        }
    }
    out
}

fn holds(test: &Test, p: &PassageFacts) -> bool {
    let grips = || p.parts.iter().flat_map(|p| &p.grips);
    match test {
        Test::Words(_) => p.texts.iter().any(|w| test.in_words(&w.words) == Some(true)),
        Test::Kind { qualities, rootless } => {
            grips().any(|g| g.name.as_ref().is_some_and(|n| (qualities.is_empty() && g.rootless) || (qualities.contains(&quality_of(n)) && (!rootless || g.rootless))))
        }
        Test::Sign { root, quality } => {
            let is = |n: &pitch::Symbol| quality_of(n) == *quality && root.is_none_or(|r| n.root.class() == r);
            grips().filter_map(|g| g.name.as_ref()).any(is) || p.chords.iter().any(|c| is(&c.symbol))
        }
        Test::Grip(shape) => grips().any(|g| g.shape.like(shape).is_some()),
        Test::Parent(forms) => grips().any(|g| g.forms.iter().any(|f| forms.contains(&f.0))),
        Test::Technique(t) => p.parts.iter().any(|p| p.techniques.iter().any(|u| u.technique == *t)),
        Test::Tempo(r) => p.tempo_bpm[0] <= r.to && p.tempo_bpm[1] >= r.from,
        Test::Key { tonic, mode } => p.key.is_some_and(|k| tonic.is_none_or(|t| k.tonic.class() == t) && mode.is_none_or(|m| k.mode == m)),
        Test::Swing(None) => p.swing_percent.is_none(),
        Test::Swing(Some(r)) => p.swing_percent.is_some_and(|s| r.holds(s)),
        Test::Level(r) => p.parts.iter().any(|p| p.level.is_some_and(|l| r.holds(f64::from(l)))),
        Test::Lock(figure, r) => p.pairs.iter().any(|q| match figure {
            Figure::Shared => r.holds(q.shared_percent),
            Figure::Alternating => r.holds(q.alternating_percent),
            Figure::Empty => r.holds(q.empty_percent),
            Figure::Clashes => r.holds(f64::from(q.clashes)),
            Figure::Overlap => q.overlap.is_some_and(|o| r.holds(f64::from(o))),
        }),
    }
}

/// Queries that touch every field; number `i` of them.
pub fn some_query(i: usize) -> String {
    let mut dice = Dice::new(i as u64 * 13 + 5);
    let one = |dice: &mut Dice| match dice.below(16) {
        0 | 1 => dice.one(&WORDS).to_string(),
        2 => (*dice.one(&["rootless ninth", "minor seventh", "rootless", "thirteenth", "half-diminished", "major seventh chord", "ninth without its root"])).to_string(),
        3 => (*dice.one(&["Cm7", "D9", "Bb13", "name G", "name m7", "name maj7", "Ebmaj9"])).to_string(),
        4 => format!("grip {}", grip(dice)),
        5 => (*dice.one(&["parent A form", "parent ninth root on string 5", "parent E", "parent diminished", "parent Am7 form"])).to_string(),
        6 => (*dice.one(&["bends", "technique slide", "hammer-on", "palm mute", "scratch", "technique natural harmonic", "ghost note"])).to_string(),
        7 => format!("tempo {0}-{1}", 40 + dice.below(100), 150 + dice.below(100)),
        8 => format!("tempo from {}", 40 + dice.below(290)),
        9 => (*dice.one(&["key C minor", "key E", "key minor", "key Ab", "key D#"])).to_string(),
        10 => (*dice.one(&["swing none", "swing from 60", "swing 51-55", "swing 66.7"])).to_string(),
        11 => format!("level {}", 1 + dice.below(5)),
        12 => format!("level to {}", 1 + dice.below(3)),
        13 => (*dice.one(&["lock shared 20-40", "lock alternating from 60", "lock empty to 20", "lock clashes 0", "lock clashes from 3", "lock overlap from -5 to 3"])).to_string(),
        14 => format!("\"{} {}\"", dice.one(&WORDS), dice.one(&WORDS)),
        _ => own_word(dice.below(250)),
    };
    let n = 1 + dice.below(3);
    (0..n).map(|_| if dice.below(6) == 0 { format!("not {}", one(&mut dice)) } else { one(&mut dice) }).collect::<Vec<_>>().join(" ")
}
