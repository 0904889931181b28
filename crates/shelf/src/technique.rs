//! Techniques of the playing hand and the fretting hand, as the stroke lines of guitar and bass parts have them.

use lesson::{Attack, Part};

/// One technique. The order is that of the lesson file's signs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Technique {
    Scratch,
    Accent,
    LetRing,
    HammerOn,
    PullOff,
    Slide,
    PalmMute,
    Harmonic,
    Tremolo,
    Rake,
    Ghost,
    Spread,
    DeadNote,
    Staccato,
    Vibrato,
    Bend,
    PreBend,
    Triplet,
    Bracket,
    Barre,
    Capo,
    OtherTuning,
    Volume,
    Wah,
}

/// The word that is printed, then what else is read for it.
const WORDS: [&[&str]; 24] = [
    &["scratch", "muted stroke"],
    &["accent"],
    &["let ring", "ring on"],
    &["hammer-on", "hammer on", "hammer"],
    &["pull-off", "pull off"],
    &["slide"],
    &["palm mute", "palm muting", "palm-mute"],
    &["natural harmonic", "harmonic"],
    &["tremolo picking", "tremolo"],
    &["rake"],
    &["ghost note", "ghost stroke"],
    &["spread grip", "spread chord", "spread"],
    &["dead note", "dead string"],
    &["staccato"],
    &["vibrato"],
    &["bend", "bending", "string bend"],
    &["bend before the stroke", "prebend"],
    &["triplet"],
    &["bracket"],
    &["barre"],
    &["capo"],
    &["other tuning", "altered tuning"],
    &["volume swell", "swell"],
    &["wah"],
];

impl Technique {
    pub const ALL: [Technique; 24] = [
        Technique::Scratch,
        Technique::Accent,
        Technique::LetRing,
        Technique::HammerOn,
        Technique::PullOff,
        Technique::Slide,
        Technique::PalmMute,
        Technique::Harmonic,
        Technique::Tremolo,
        Technique::Rake,
        Technique::Ghost,
        Technique::Spread,
        Technique::DeadNote,
        Technique::Staccato,
        Technique::Vibrato,
        Technique::Bend,
        Technique::PreBend,
        Technique::Triplet,
        Technique::Bracket,
        Technique::Barre,
        Technique::Capo,
        Technique::OtherTuning,
        Technique::Volume,
        Technique::Wah,
    ];

    /// The word that is printed.
    pub fn word(self) -> &'static str {
        WORDS[self as usize][0]
    }

    /// Everything that is read for it, the printed word first.
    pub fn words(self) -> &'static [&'static str] {
        WORDS[self as usize]
    }

    /// Reads a technique, in the singular or with an s, in small or capital letters.
    ///
    /// ```
    /// use shelf::Technique;
    /// assert_eq!(Technique::read("Pull-offs"), Some(Technique::PullOff));
    /// assert_eq!(Technique::read("whistle"), None);
    /// ```
    pub fn read(text: &str) -> Option<Technique> {
        let text = text.to_lowercase();
        let singular = text.strip_suffix('s').or(text.strip_suffix("es"));
        Technique::ALL.into_iter().find(|t| t.words().iter().any(|w| *w == text || Some(*w) == singular))
    }
}

/// A technique of a part: how many strokes have it, and the first bar (index) in which one does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Use {
    pub technique: Technique,
    pub bar: usize,
    pub times: u32,
}

/// The techniques of a part for guitar or bass, in the order of [`Technique::ALL`]; none for other instruments.
///
/// Strokes are counted. Capo and tuning count once; a barre counts each grip of the part that the hand model fingers with one; volume and wah
/// count each change written.
///
/// ```
/// use shelf::{Technique, techniques};
/// let text = r#"lesson "t" { passage "p" { tempo 90; slots 4; part "line" instrument="guitar" { bar "3:5 H3:7 x 3:9^1" } } }"#;
/// let found = techniques(&lesson::read(text).lesson.passages[0].parts[0]);
/// assert_eq!(found.iter().map(|u| u.technique).collect::<Vec<_>>(), [Technique::Scratch, Technique::HammerOn, Technique::Bend]);
/// ```
pub fn techniques(part: &Part) -> Vec<Use> {
    let Some(neck) = &part.neck else { return vec![] };
    let mut found: Vec<Option<Use>> = vec![None; Technique::ALL.len()];
    let mut add = |technique: Technique, bar: usize| {
        found[technique as usize].get_or_insert(Use { technique, bar, times: 0 }).times += 1;
    };
    for (b, bar) in part.bars.iter().enumerate() {
        for e in &bar.events {
            let any = |f: &dyn Fn(&lesson::Tone) -> bool| e.notes.iter().any(f);
            if any(&|n| n.bend_cents.is_some_and(|c| c > 0.0)) {
                add(Technique::Bend, b);
            }
            if any(&|n| n.vibrato) {
                add(Technique::Vibrato, b);
            }
            // What goes on was counted where it began.
            if e.tie_in || e.held {
                continue;
            }
            if any(&|n| n.prebend_cents > 0.0) {
                add(Technique::PreBend, b);
            }
            if any(&|n| n.attack == Attack::Hammered) {
                add(Technique::HammerOn, b);
            }
            if any(&|n| n.attack == Attack::Pulled) {
                add(Technique::PullOff, b);
            }
            if any(&|n| n.attack == Attack::Slid || n.slide_to.is_some()) {
                add(Technique::Slide, b);
            }
            for (is, technique) in [
                (e.scratch, Technique::Scratch),
                (e.accent, Technique::Accent),
                (e.keep, Technique::LetRing),
                (e.rake, Technique::Rake),
                (e.spread.is_some(), Technique::Spread),
                (any(&|n| n.palm_mute), Technique::PalmMute),
                (any(&|n| n.harmonic), Technique::Harmonic),
                (any(&|n| n.tremolo), Technique::Tremolo),
                (any(&|n| n.ghost), Technique::Ghost),
                (any(&|n| n.dead) && !e.scratch, Technique::DeadNote),
                (any(&|n| n.short), Technique::Staccato),
            ] {
                if is {
                    add(technique, b);
                }
            }
            if let Some(t) = e.tuplet
                && t.start == e.at
            {
                add(if t.members == 3 { Technique::Triplet } else { Technique::Bracket }, b);
            }
        }
        (0..bar.level.len()).for_each(|_| add(Technique::Volume, b));
        (0..bar.wah.len()).for_each(|_| add(Technique::Wah, b));
    }
    for g in &part.grips {
        let fingered = if g.fingers.is_empty() { neck::finger(&g.grip, neck, &neck::Hand::usual()).ok() } else { neck::fingers_given(&g.grip, &g.fingers, neck).ok() };
        if fingered.is_some_and(|f| !f.barres.is_empty()) {
            let first = part.bars.iter().position(|b| b.events.iter().any(|e| e.grip == Some(g.letter)));
            add(Technique::Barre, first.unwrap_or(0));
        }
    }
    if neck.capo > 0 {
        add(Technique::Capo, 0);
    }
    if !neck.tuning.is_standard() {
        add(Technique::OtherTuning, 0);
    }
    found.into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(head: &str, bars: &str) -> Vec<(Technique, u32)> {
        let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 90; slots 4; part \"line\" instrument=\"guitar\" {head} {{ grip \"a\" \"x x 5 5 5 x\"; grip \"b\" \"x 3 2 0 1 0\"; {bars} }} }} }}");
        let r = lesson::read(&text);
        assert!(r.is_sound(), "{:?}", r.problems);
        techniques(&r.lesson.passages[0].parts[0]).iter().map(|u| (u.technique, u.times)).filter(|t| t.0 != Technique::Barre).collect()
    }

    /// Each sign of the lesson file, and the technique that it stands for; taken away, it is gone.
    #[test]
    fn every_sign_is_found() {
        use Technique::*;
        for (bar, expected) in [
            ("x . . .", Scratch),
            (">3:5 . . .", Accent),
            ("a4 &a3 - .", LetRing),
            ("3:5 H3:7 . .", HammerOn),
            ("3:7 P3:5 . .", PullOff),
            ("3:5/7 - . .", Slide),
            ("3:5 /3:7 . .", Slide),
            ("M3:5 . . .", PalmMute),
            ("N3:12 . . .", Harmonic),
            ("T3:5 - . .", Tremolo),
            ("Rb - . .", Rake),
            ("(3:5) . . .", Ghost),
            ("*a - . .", Spread),
            ("3:9+x . . .", DeadNote),
            ("3:5' . . .", Staccato),
            ("3:5~ . . .", Vibrato),
            ("3:7^1 . . .", Bend),
            ("3:7!1 . . .", PreBend),
            ("[a x a]=2 . .", Triplet),
            ("[a a a a a]=4", Bracket),
        ] {
            let found = of("", &format!("bar \"{bar}\""));
            assert!(found.iter().any(|f| f.0 == expected), "{bar}: {found:?}");
        }
        assert_eq!(of("", "bar \"3:5 - 1:5 .\""), []);
        assert_eq!(of("capo=2", "bar \"3:5 - 1:5 .\""), [(Capo, 1)]);
        assert_eq!(of("tuning=\"drop D\"", "bar \"3:5 - 1:5 .\""), [(OtherTuning, 1)]);
        assert_eq!(of("", "bar \"a - a -\" { level \"0 9 0 9\" }"), [(Volume, 4)]);
        assert_eq!(of("", "bar \"a - a -\" { wah \"o + o +\" }"), [(Wah, 4)]);
    }

    #[test]
    fn a_barre_is_one_finger_across() {
        let text = r#"lesson "t" { passage "p" { tempo 90; slots 4; part "g" instrument="guitar" { grip "a" "x x 5 5 5 x" fingers="1 1 1"; bar ". . . ."; bar "a - - -" } } }"#;
        let found = techniques(&lesson::read(text).lesson.passages[0].parts[0]);
        assert_eq!(found, [Use { technique: Technique::Barre, bar: 1, times: 1 }]);
    }

    #[test]
    fn every_word_reads_back() {
        for t in Technique::ALL {
            for w in t.words() {
                assert_eq!(Technique::read(w), Some(t), "{w}");
            }
        }
    }
}
