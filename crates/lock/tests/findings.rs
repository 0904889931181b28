//! What is said about pairs and passages, rule by rule, each on a few bars that a musician can check by eye.
//!
//! Strings at frets: 3:5 = C4, 2:5 = E4, 2:6 = F4, 1:3 = G4, 2:1 = C4, 1:0 = E4, 4:2 = E3; bass 3:3 = C2, 4:3 = G1. Eight slots a bar in 4/4.

use lesson::Passage;
use lock::Lock;

fn passage(body: &str) -> Passage {
    let text = format!("lesson \"t\" {{ passage \"p\" {{ tempo 90; slots 8\n{body}\n}} }}");
    let reading = lesson::read(&text);
    assert!(reading.is_sound(), "{body}: {:?}", reading.problems);
    reading.lesson.passages[0].clone()
}

/// A passage of two guitars, the bars of each set apart by `|`.
fn two(head: &str, chop: &str, line: &str) -> Passage {
    passage(&format!("{head}\n{}{}", part("chop", "guitar", chop), part("line", "guitar", line)))
}

fn part(name: &str, instrument: &str, bars: &str) -> String {
    let bars: String = bars.split('|').map(|b| format!("bar \"{}\"; ", b.trim())).collect();
    format!("part \"{name}\" instrument=\"{instrument}\" {{ {bars} }}\n")
}

fn kit(kick: &str, snare: &str, bars: u32) -> String {
    format!("part \"kit\" instrument=\"drums\" {{ bar times={bars} {{ kick \"{kick}\"; snare \"{snare}\"; hats \"x x x x x x x x\" }} }}\n")
}

fn lock_of(p: &Passage) -> Lock {
    lock::lock(p)
}

#[track_caller]
fn pair_says(p: &Passage, sentence: &str) {
    let lock = lock_of(p);
    let all: Vec<&String> = lock.pairs.iter().flat_map(|p| &p.findings).collect();
    assert!(all.iter().any(|s| *s == sentence), "{sentence:?} not in {all:#?}");
}

#[track_caller]
fn pair_never_says(p: &Passage, words: &str) {
    let lock = lock_of(p);
    let all: Vec<&String> = lock.pairs.iter().flat_map(|p| &p.findings).collect();
    assert!(!all.iter().any(|s| s.contains(words)), "{words:?} in {all:#?}");
}

#[track_caller]
fn whole_says(p: &Passage, sentence: &str) {
    let all = lock_of(p).findings;
    assert!(all.iter().any(|s| s == sentence), "{sentence:?} not in {all:#?}");
}

#[track_caller]
fn whole_never_says(p: &Passage, words: &str) {
    let all = lock_of(p).findings;
    assert!(!all.iter().any(|s| s.contains(words)), "{words:?} in {all:#?}");
}

const BEATS: &str = "1:3 . 1:3 . 1:3 . 1:3 .";
const OFFBEATS: &str = ". 3:5 . 3:5 . 3:5 . 3:5";

#[test]
fn one_rhythm() {
    pair_says(&two("", "3:5 . 3:5 . 3:5 . 3:5 .", BEATS), "The chop and the line strike together every time: one rhythm on two instruments.");
}

#[test]
fn gaps_answered_and_beats_shared_out() {
    let p = two("", OFFBEATS, BEATS);
    pair_says(&p, "The chop and the line never strike together: the chop answers in the gaps that the line leaves.");
    pair_says(&p, "The line has the beats, the chop the offbeats.");
    // On the beat both: nothing to share out.
    pair_never_says(&two("", BEATS, BEATS), "offbeats");
}

#[test]
fn moving_over_what_rings() {
    pair_says(&two("", ". 3:5 . . . 3:5 . .", "1:3 - - - 1:3 - - -"), "The chop and the line never strike together: the chop moves over what the line lets ring.");
    // The busier part over the calmer one, whose strokes fall into its gaps.
    pair_says(&two("", "3:5 - - - 3:5 - - -", ". . 1:3 1:3 . . 1:3 1:3"), "The chop and the line never strike together: the line moves over what the chop lets ring.");
}

#[test]
fn together_at_one_place() {
    let p = two("", ". 3:5 . . . 3:5 . . | . 3:5 . . . . 3:5 .", "1:3 . . . 1:3 . . . | 1:3 . . . . . 1:3 .");
    pair_says(&p, "The chop and the line strike together only at 2.4: the chop answers in the gaps that the line leaves.");
}

#[test]
fn together_on_the_same_beat_of_every_bar() {
    let p = two("", ". 3:5 . 3:5 . . 3:5 . | . 3:5 . 3:5 . . 3:5 .", "1:3 . 1:3 . . . 1:3 . | 1:3 . 1:3 . . . 1:3 .");
    pair_says(&p, "The chop and the line strike together only on four of every bar: the chop answers in the gaps that the line leaves.");
}

#[test]
fn one_within_the_other() {
    pair_says(&two("", "3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5", BEATS), "Every stroke of the line falls on one of the chop's; the chop has 4 more.");
}

#[test]
fn nearly_together() {
    let p = two("", "3:5 . 3:5 . 3:5 . 3:5 . | 3:5 . 3:5 . 3:5 . 3:5 .", "1:3 . 1:3 . 1:3 . 1:3 . | 1:3 . 1:3 . 1:3 . . 1:3");
    pair_says(&p, "The chop and the line strike together nearly every time, and part only at 2.4 and 2.4.2.");
}

#[test]
fn half_together() {
    let p = two("", "3:5 . 3:5 . 3:5 . 3:5 . | 3:5 . 3:5 . 3:5 . 3:5 .", "1:3 . . 1:3 1:3 . . 1:3 | 1:3 . . 1:3 1:3 . . 1:3");
    pair_says(&p, "Of the chop's 8 strokes and the line's 8, 4 fall together, always on one and three of every bar.");
}

#[test]
fn together_now_and_then() {
    let chop = "3:5 3:5 3:5 3:5 . . . 3:5 | . 3:5 3:5 3:5 3:5 . 3:5 . | 3:5 3:5 . 3:5 3:5 . . . | 3:5 3:5 3:5 3:5 . . . .";
    let line = "1:3 . . . 1:3 1:3 1:3 . | 1:3 1:3 . . . 1:3 1:3 . | . . 1:3 1:3 1:3 1:3 1:3 1:3 | . . . . 1:3 1:3 1:3 1:3";
    pair_says(&two("", chop, line), "The chop and the line strike together only 5 times, first at 1.1: the chop answers in the gaps that the line leaves.");
}

#[test]
fn against_scratches() {
    pair_says(&two("", "3:5 x x x 3:5 x x x", ". . 1:3 . . . 1:3 ."), "The line strikes only where the chop scratches or rests.");
    // Once over the chop's ringing note.
    pair_says(&two("", "3:5 - x x 3:5 x x x", ". 1:3 1:3 . . . 1:3 ."), "Where the chop and the line strike at once the chop scratches: no two notes begin together.");
    // With a note of the chop together, scratches are left aside.
    pair_says(&two("", "3:5 x x x 3:5 x x x", "1:3 . . . 1:3 . . ."), "Scratches aside, the chop and the line strike together every time: one rhythm on two instruments.");
}

#[test]
fn beat_one() {
    let p = two("", "3:5 . . . 3:5 . . . | 3:5 . . . 3:5 . . .", ". 1:3 . . 1:3 . . . | . 1:3 . . 1:3 . . .");
    pair_says(&p, "Beat one is the chop's alone: the line always leaves it free.");
    let p = two("", "3:5 . . . 3:5 . . . | 3:5 . . . 3:5 . . .", ". 1:3 . . 1:3 . . . | 1:3 . . . 1:3 . . .");
    pair_never_says(&p, "Beat one");
    // A line that plays in one bar of four leaves nothing free on purpose.
    let bars = "3:5 . . . 3:5 . . . | ".repeat(3);
    let p = two("", &format!("{bars} 3:5 . . . . . . ."), ". 1:3 . . . . . . | . . . . . . . . | . . . . . . . . | . . . . . . . .");
    pair_never_says(&p, "Beat one");
}

#[test]
fn busy_and_calm() {
    pair_says(&two("", "3:5 x 3:5 x 3:5 x 3:5 x", "1:3 - - - - - - -"), "The chop strikes 8 times a bar (4 of them scratches), the line 1.");
    pair_never_says(&two("", "3:5 . 3:5 . 3:5 . . .", "1:3 - - - 1:3 - - -"), "times a bar");
}

#[test]
fn registers() {
    // C4 to E4 under G4 to B4.
    pair_says(&two("", "3:5 . 2:5 . . . . .", ". 1:3 . 1:7 . . . ."), "The line lies wholly over the chop: a minor third parts E4 from G4.");
    // C4 to G4 and E4 to B4.
    pair_says(&two("", "3:5 . 1:3 . . . . .", ". 2:5 . 1:7 . . . ."), "The chop and the line share a minor third, E4 to G4.");
    pair_says(&two("", "3:5 . 2:5 . . . . .", ". 2:5 . 1:3 . . . ."), "The chop and the line touch at one note, E4.");
    pair_says(&two("", "3:5 . 1:7 . . . . .", ". 2:5 . 1:3 . . . ."), "The line lies inside the chop's range (E4 to G4 within C4 to B4).");
    pair_says(&two("", "3:5 . 1:3 . . . . .", ". 3:5 . 1:3 . . . ."), "The chop and the line keep to the same register, C4 to G4.");
    // The ranges cross, and still the line is over the chop at every moment.
    pair_says(&two("", "3:5 - . . 1:3 - . .", "2:5 - . . 1:7 - . ."), "The chop and the line share a minor third, E4 to G4, yet whenever both sound the line is on top.");
    // A guitar's usual place over a bass is no news; two octaves of room are.
    let over = |guitar: &str| passage(&format!("{}{}", part("line", "guitar", guitar), part("floor", "bass", "3:3 - - - . . . .")));
    pair_says(&over("3:5 - - - . . . ."), "The line's lowest note, C4, is two octaves over the floor's highest, C2.");
    pair_never_says(&over("5:0 - - - . . . ."), "lowest note");
}

#[test]
fn doubled() {
    // E4 F4 E4 G4, and the same an octave lower.
    let p = two("", "2:5 . 2:6 . 2:5 . 1:3 .", "4:2 . 4:3 . 4:2 . 3:0 .");
    pair_says(&p, "The chop doubles the line an octave higher.");
    let p = two("", "2:5 . 2:6 . 2:5 . 1:3 .", "2:5 . 2:6 . 2:5 . 1:3 .");
    pair_says(&p, "The chop doubles the line in unison.");
    pair_never_says(&p, "the same note");
    // In thirds.
    pair_never_says(&two("", "2:5 . 2:6 . 2:5 . 1:3 .", "2:1 . 2:3 . 2:1 . 2:5 ."), "doubles");
}

#[test]
fn meeting_on_a_note() {
    let p = two("", "3:5 - . . 2:5 . . . | 3:5 - . . 2:5 . . .", "1:3 2:1 . . 1:3 . . . | 1:3 2:1 . . 1:3 . . .");
    pair_says(&p, "The chop and the line meet on the same note, C4, at 1.1.2 and 2.1.2.");
    // Five times on C4, once on E4.
    let p = two("", "3:5 - - - - - - - | 3:5 - - - - - 2:5 -", "2:1 . 2:1 . 2:1 . . . | 2:1 . 2:1 . 1:3 . . 1:0");
    pair_says(&p, "The chop and the line meet on the same note, C4, 5 times, first at 1.1, and on E4.");
}

#[test]
fn tones_between_the_two() {
    let p = passage(&format!("chords \"C / / /\" \"G / / /\"\n{}{}", part("chop", "guitar", "2:5 - - - - - - - | 2:12 - - - - - - -"), part("floor", "bass", "3:3 - - - - - - - | 4:3 - - - - - - -")));
    pair_says(&p, "Between the two the third is always the chop's, the root is always the floor's.");
    // The chop has the root of C too: the root is not the floor's alone.
    let p = passage(&format!("chords \"C / / /\" \"G / / /\"\n{}{}", part("chop", "guitar", "2:5+3:5 - - - - - - - | 2:12 - - - - - - -"), part("floor", "bass", "3:3 - - - - - - - | 4:3 - - - - - - -")));
    pair_says(&p, "Between the two the third is always the chop's.");
}

#[test]
fn rubs_and_colour() {
    // E against F over C, and over Cmaj7 B against C.
    pair_says(&two("chords \"C / / /\"", "1:0 - - - - - - -", "2:6 - - - - - - -"), "The chop's E4 and the line's F4 rub at 1.1, a minor second: F is no note of C.");
    pair_says(&two("chords \"Cmaj7 / / /\"", "2:0 - - - - - - -", "2:1 - - - - - - -"), "The chop's B3 and the line's C4 sound a minor second apart at 1.1: both are notes of Cmaj7, so it is colour.");
    // C under D over C: a ninth that the sign has not; and over G7 a thirteenth beside the fifth.
    pair_says(&two("chords \"C / / /\"", "3:5 - - - - - - -", "2:3 - - - - - - -"), "The chop's C4 and the line's D4 sound a major second apart at 1.1: D adds the ninth to C.");
    pair_says(&two("chords \"G7 / / /\"", "2:3 - - - - - - -", "1:0 - - - - - - -"), "The chop's D4 and the line's E4 sound a major second apart at 1.1: E adds the thirteenth to G7.");
    // Outside the key a whole tone rubs as well: E over Ab's F.
    pair_says(&two("key \"C minor\"; chords \"Fm / / /\"", "1:1 - - - - - - -", "1:3 - - - - - - -"), "The chop's F4 and the line's G4 sound a major second apart at 1.1: G adds the ninth to Fm.");
    pair_says(&two("key \"C minor\"; chords \"Bb / / /\"", "2:3 - - - - - - -", "1:0 - - - - - - -"), "The chop's D4 and the line's E4 rub at 1.1, a major second: E is no note of Bb.");
    // A suspension: C held over G7, down to B.
    pair_says(&two("chords \"G7 / / /\"", "2:0 - - - - - - -", "2:1 - - - 2:0 - - -"), "The chop's B3 and the line's C4 rub at 1.1, a minor second: C is no note of G7, and moves on to B3.");
    // A bass that walks from A to F# and on to G plays no wrong note; one that stays on F# does.
    let walk = |bass: &str| passage(&format!("chords \"A7 / / /\"\n{}{}", part("comp", "guitar", "3:0 - - - - - - -"), part("bass", "bass", bass)));
    pair_never_says(&walk("4:5 - 3:4 - 2:4 - 2:5 -"), "rub");
    pair_says(&walk("4:5 - - - 2:4 - - -"), "The comp's G3 and the bass's F#2 rub at 1.3, a minor ninth: F# is no note of A7.");
    // F passes between E and G in an eighth.
    pair_never_says(&two("chords \"C / / /\"", "1:0 - - - - - - -", "2:5 2:6 1:3 - - - - -"), "rub");
    // As a long note it stays.
    pair_says(&two("chords \"C / / /\"", "1:0 - - - - - - -", ". . 2:6 - - - 1:3 -"), "The chop's E4 and the line's F4 rub at 1.2, a minor second: F is no note of C, and moves on to G4.");
    // F comes an eighth before the G7 that it belongs to.
    pair_says(&two("chords \"C / / G7\"", "1:0 - - - - - . .", "1:3 - - - - 2:6 - -"), "The line's F4 at 1.3.2 belongs to the G7 that comes.");
    pair_says(&two("chords \". / / /\"", "1:0 - - - - - - -", "2:6 - - - - - - -"), "The chop's E4 and the line's F4 sound a minor second apart at 1.1, and no chord stands there to judge it by.");
    // A tenth is far enough.
    pair_never_says(&two("chords \"C / / /\"", "4:2 - - - - - - -", "1:3 - - - - - - -"), "rub");
    // A minor ninth is not: E3 under F4.
    pair_says(&two("chords \"C / / /\"", "4:2 - - - - - - -", "2:6 - - - - - - -"), "The chop's E3 and the line's F4 rub at 1.1, a minor ninth: F is no note of C.");
}

#[test]
fn a_rub_is_told_however_much_there_is_to_say() {
    // Gaps, beat one, beats and offbeats, common ground, tones between the two, unisons, and E against F.
    let p = two("chords \"C / / /\"", "3:5 . 2:5+1:8 - 3:5 . 3:5 . | 3:5 . 2:5 - 3:5 . 3:5 .", ". 1:0 . 2:6 - . . 1:0 | . 1:0 . 2:6 - . . 1:0");
    let findings = &lock_of(&p).pairs[0].findings;
    assert!(findings.len() <= 6 && findings.iter().any(|s| s.contains("E4 and the line's F4 rub")), "{findings:#?}");
}

#[test]
fn bass_and_kick() {
    let with = |bass: &str, kick: &str| passage(&format!("{}{}", part("floor", "bass", &format!("{bass} | {bass}")), kit(kick, ". . x . . . x .", 2)));
    pair_says(&with("3:3 . . 3:3 . . 3:3 .", "x . . x . . x ."), "The floor and the kick strike as one.");
    pair_says(&with("3:3 . . 3:3 3:3 . 3:3 .", "x . . x . . x ."), "Every kick has a note of the floor with it, and the floor plays 2 more between.");
    pair_says(&with("3:3 - - - - - 3:3 .", "x . . x . . x ."), "Every note of the floor has the kick under it; the kick strikes twice more.");
    pair_says(&with("3:3 . 3:3 3:3 . . . 3:3", "x . . x . . . x").clone(), "Every kick has a note of the floor with it, and the floor plays 2 more between.");
    pair_says(&with("3:3 . 3:3 . 3:3 . 3:3 .", "x . x . x . . x"), "The floor goes with 6 of the 8 kicks; the kick stands alone at 1.4.2 and 2.4.2.");
    pair_says(&with(". 3:3 . 3:3 . 3:3 . 3:3", "x . x . x . x ."), "The floor and the kick never strike together.");
    pair_says(&with("3:3 3:3 . 3:3 . 3:3 . 3:3", "x . x . x . x ."), "The floor keeps out of the kick's way: the two strike together only on one of every bar.");
    pair_says(&with("3:3 . . 3:3 3:3 . . 3:3", "x . x . x . x ."), "The floor goes with 4 of the 8 kicks, on one and three of every bar.");
    // The snare is no business of the bass's.
    pair_never_says(&with("3:3 . 3:3 . . . 3:3 .", "x . . . . . . ."), "snare");
}

#[test]
fn guitar_and_drums() {
    let with = |guitar: &str, kick: &str| passage(&format!("{}{}", part("chop", "guitar", &format!("{guitar} | {guitar}")), kit(kick, ". . x . . . x .", 2)));
    pair_says(&with(". . 3:5 . . . 3:5 .", "x . . . x . . ."), "Every stroke of the snare has a stroke of the chop with it.");
    pair_says(&with(". . x . 3:5 . x .", "x . . . . . . ."), "Every stroke of the snare has a scratch of the chop with it.");
    pair_says(&with("3:5 . . . 3:5 . . .", "x . . . . . . ."), "The chop keeps clear of the snare.");
    pair_says(&with("3:5 . 3:5 . 3:5 . . .", "x . . . x . . ."), "The chop strikes on every kick.");
    pair_says(&with(". . 3:5 . . . 3:5 .", "x . . . x . . ."), "The chop and the kick never strike together.");
    // A ghosted snare is no backbeat.
    let p = passage(&format!("{}part \"kit\" instrument=\"drums\" {{ bar {{ kick \"x . . . . . . .\"; snare \". (x) x . . (x) x (x)\" }} }}", part("chop", "guitar", ". . 3:5 . . . 3:5 .")));
    pair_says(&p, "Every stroke of the snare has a stroke of the chop with it.");
    // Who strikes every eighth meets everything.
    pair_never_says(&with("x x 3:5 x x x 3:5 x", "x . . . x . . ."), "snare");
}

#[test]
fn silence_of_one_part() {
    let p = two("", "3:5 . . . . . . .", ". . . . . . . .");
    assert_eq!(lock_of(&p).pairs[0].findings, ["The line is silent here."]);
    assert_eq!(lock_of(&p).findings, Vec::<String>::new());
    let p = two("", ". . . . . . . .", ". . . . . . . .");
    assert_eq!(lock_of(&p).pairs[0].findings, Vec::<String>::new());
}

const FLOOR: &str = "3:3 - - - 3:3 - - . | 3:3 - - - 3:3 - - .";

#[test]
fn whole_beat_one_and_offbeats() {
    let p = passage(&format!("{}{}", part("chop", "guitar", &format!("{OFFBEATS} | {OFFBEATS}")), part("floor", "bass", FLOOR)));
    whole_says(&p, "The floor has beat one of every bar, and nobody else strikes there.");
    whole_says(&p, "The chop never strikes on a beat.");
    let p = two("", &format!("{OFFBEATS} | {OFFBEATS}"), ". . 1:3 . . . . . | . . 1:3 . . . . .");
    whole_says(&p, "Nobody strikes on beat one of any bar.");
}

fn three(chop: &str, line: &str, floor: &str) -> Passage {
    passage(&format!("{}{}{}", part("chop", "guitar", chop), part("line", "guitar", line), part("floor", "bass", floor)))
}

#[test]
fn whole_all_at_once() {
    whole_says(&three("3:5 . 3:5 . . . . .", "1:3 . . . 1:3 . . .", "3:3 - - - 3:3 - . ."), "All three begin a note together only at 1.1.");
    // A scratch is no note.
    whole_says(&three("x . 3:5 . . . . .", "1:3 . . . 1:3 . . .", "3:3 - - - 3:3 - . ."), "All three never begin a note together.");
    whole_never_says(&two("", BEATS, BEATS), "begin a note together");
}

#[test]
fn whole_breath() {
    whole_says(&two("", "3:5 - - - . . . .", ". . . . 1:3 - . ."), "Nothing sounds at 1.4.");
    whole_says(&two("", "3:5 . 3:5 . 3:5 . 3:5 .", ". 1:3 . 1:3 . 1:3 . 1:3"), "They leave no slot unstruck between them.");
    whole_never_says(&two("", "3:5 - - - - - - -", ". . . . 1:3 - . ."), "othing sounds");
    // A sixteenth's rest is no breath, an eighth's is.
    let rest = |bar: &str| passage(&format!("part \"one\" instrument=\"guitar\" slots=16 {{ bar \"{bar}\" }}; {}", part("two", "guitar", "3:5 . . . . . . .")));
    whole_never_says(&rest("1:3 - - - - - - - - - - - - - - ."), "othing sounds");
    whole_says(&rest("1:3 - - - - - - - - - - - - - . ."), "Nothing sounds at 1.4.3.");
}

#[test]
fn whole_busiest_and_registers() {
    let p = three("3:5 3:5 3:5 3:5 3:5 3:5 3:5 3:5", "1:3 . . . 1:7 . . .", "3:3 - - - 4:3 - - -");
    whole_says(&p, "The chop is the busiest with 8 onsets a bar, the line the sparest with 2.");
    whole_says(&p, "From the bottom up: the floor (G1 to C2), the chop (C4) and the line (G4 to B4), and none crosses another.");
    let p = three("3:5 . 1:7 . . . . .", "1:3 . . . 1:7 . . .", "3:3 - - - 4:3 - - -");
    whole_says(&p, "From the bottom up: the floor (G1 to C2), the chop (C4 to B4) and the line (G4 to B4), and only the chop and the line cross.");
    // Too tangled to be told in a line.
    let p = passage(&format!("{}{}{}", part("one", "guitar", "3:5 . 1:7 . . . . ."), part("two", "guitar", "2:5 . 1:7 . . . . ."), part("three", "guitar", "1:3 . 1:8 . . . . .")));
    whole_never_says(&p, "bottom up");
}

#[test]
fn whole_tones() {
    let over = |chop: &str, floor: &str| passage(&format!("chords \"C / / /\" \"G / / /\"\n{}{}", part("chop", "guitar", chop), part("floor", "bass", floor)));
    let p = over("2:5 - - - - - - - | 2:12 - - - - - - -", "3:3 - - - - - - - | 4:3 - - - - - - -");
    whole_says(&p, "The root of every chord is in the floor alone.");
    whole_says(&p, "The third under every chord that has one is in the chop alone.");
    // C and G without E; then G and B.
    let p = over("3:5+1:3 - - - - - - - | 2:12 - - - - - - -", "3:3 - - - - - - - | 4:3 - - - - - - -");
    whole_says(&p, "Nobody plays the third of C at 1.1.");
    // Bare fifths.
    let p = over("3:5+1:3 - - - - - - - | 3:7 - - - - - - -", "3:3 - - - - - - - | 4:3 - - - - - - -");
    whole_says(&p, "Nobody plays the third of any chord.");
}

#[test]
fn whole_tightest() {
    let p = three("3:5 3:5 3:5 3:5 . . . .", "1:3 . . . . 1:3 . 1:3", "3:3 3:3 3:3 3:3 3:3 - - -");
    whole_says(&p, "The tightest pair is the chop and the floor: of 5 places where either strikes they share 4.");
    // Less than half is not tight.
    whole_never_says(&three("3:5 3:5 3:5 . . . . .", "1:3 . . . . 1:3 . 1:3", "3:3 . . 3:3 3:3 - - -"), "tightest");
    // The bass with the kick, which has one more.
    let p = passage(&format!("{}{}{}", part("chop", "guitar", ". x . x . 3:5 . 3:5"), part("floor", "bass", "3:3 . . 3:3 . . 3:3 ."), kit("x . . x . . x x", ". . . . . . . .", 1)));
    whole_says(&p, "The tightest pair is the floor and the kick: of 4 places where either strikes they share 3.");
    // Two pairs alike: none is the tightest.
    whole_never_says(&three(BEATS, BEATS, "3:3 . 3:3 . 3:3 . 3:3 ."), "tightest");
}

#[test]
fn whole_rubs() {
    let p = passage(&format!("chords \"C / / /\"\n{}{}{}", part("chop", "guitar", "1:0 - - - - - - -"), part("line", "guitar", "2:6 - - - 2:6 - - -"), part("floor", "bass", "3:3 - - - - - - -")));
    whole_says(&p, "Notes foreign to the chord rub: the chop with the line at 1.1 (1 more).");
}
