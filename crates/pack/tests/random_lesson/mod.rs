//! Random lesson texts that are valid by construction, from a seed: every meter, technique, tuning and kind of part that a lesson knows.
//!
//! What rings is followed from token to token, so that whatever hangs on it (holding, hammering, bending on) is only
//! written where it means something.

use std::fmt::Write;

/// The text of a lesson with one or two passages. The same seed gives the same text.
pub fn lesson(seed: u64) -> String {
    let mut r = Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0xD1B5_4A32_D192_ED03);
    let mut out = String::new();
    let title = r.pick(&["Rain & wind", "\\\"Quoted\\\" <title>", "Plain", "Ünïcödé ♭7", "A > B"]);
    let _ = writeln!(out, "lesson \"{title}\" needs=\"barre, slides\" {{");
    for i in 0..r.range(1, 2) {
        passage(&mut r, i, &mut out);
    }
    out.push_str("}\n");
    out
}

/// SplitMix64 (Steele, Lea & Flood 2014).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Inclusive.
    fn range(&mut self, low: i32, high: i32) -> i32 {
        low + (self.next() % (high - low + 1) as u64) as i32
    }

    fn percent(&mut self, n: u64) -> bool {
        self.next() % 100 < n
    }

    fn pick<T: Copy>(&mut self, list: &[T]) -> T {
        list[(self.next() % list.len() as u64) as usize]
    }
}

/// A bar of the passage's plan.
#[derive(Clone, Copy)]
struct Plan {
    meter: (i32, i32),
    tempo: Option<i32>,
    slots: i32,
    /// Slots of a quarter note.
    fine: i32,
    /// Its last stroke rings to its end.
    rings: bool,
    /// What is played before it rings, in every round.
    held: bool,
}

/// Bars in a row, or a repeat.
enum Stretch {
    Plain(Vec<Plan>),
    Repeat { times: i32, body: Vec<Plan>, endings: Vec<(Vec<i32>, Plan)> },
}

const METERS: &[(i32, i32)] = &[(4, 4), (4, 4), (2, 4), (3, 4), (5, 4), (6, 8), (9, 8), (12, 8), (7, 8), (3, 8), (2, 2)];

fn passage(r: &mut Dice, index: i32, out: &mut String) {
    let meter = r.pick(METERS);
    let changes_meter = r.percent(30);
    let changes_tempo = r.percent(25);
    // Slots of a quarter note: sixteenths mostly, also eighths, triplets and sextuplets.
    let per_quarter = if meter.1 == 8 || changes_meter { 4 } else { r.pick(&[4, 4, 4, 4, 2, 3, 6]) };
    let slots = |m: (i32, i32)| m.0 * 4 * per_quarter / m.1;
    let mut now = (meter, None);
    let plan = |r: &mut Dice, now: &mut ((i32, i32), Option<i32>)| {
        if changes_meter && r.percent(35) {
            now.0 = r.pick(METERS);
        }
        if changes_tempo && r.percent(35) {
            now.1 = Some(r.range(50, 180));
        }
        Plan { meter: now.0, tempo: now.1, slots: slots(now.0), fine: per_quarter, rings: r.percent(50), held: false }
    };
    let mut stretches = Vec::new();
    let mut played = 0;
    let length = r.range(2, 9);
    while played < length {
        if r.percent(45) {
            let times = r.range(2, 4);
            let body: Vec<Plan> = (0..r.range(1, 2)).map(|_| plan(r, &mut now)).collect();
            let mut endings = Vec::new();
            if r.percent(40) {
                // The last round has an ending of its own.
                let first = (1..times).collect();
                endings = vec![(first, plan(r, &mut now)), (vec![times], plan(r, &mut now))];
            }
            played += times * (body.len() as i32 + i32::from(!endings.is_empty()));
            stretches.push(Stretch::Repeat { times, body, endings });
        } else {
            let bars: Vec<Plan> = (0..r.range(1, 3)).map(|_| plan(r, &mut now)).collect();
            played += bars.len() as i32;
            stretches.push(Stretch::Plain(bars));
        }
    }
    let pickup = (r.percent(25) && slots(meter) > 2).then(|| r.range(1, (slots(meter) - 1).min(6)));
    let pickup = pickup.map(|n| Plan { meter, tempo: None, slots: n, fine: per_quarter, rings: r.percent(50), held: false });
    tie(&mut stretches, pickup.is_some_and(|p| p.rings));

    let title = r.pick(&["Verse & <chorus>", "Vamp", "'Odd' one"]);
    let _ = writeln!(out, "  passage \"p{index}\" title=\"{title}\" {{\n    tempo {}\n    meter \"{}/{}\"\n    slots {}", r.range(40, 200), meter.0, meter.1, slots(meter));
    if r.percent(40) {
        let _ = writeln!(out, "    swing {} of=\"{}\"", r.pick(&["54", "58.5", "66.7", "60", "50", "75"]), r.pick(&["1/8", "1/16"]));
    }
    if r.percent(80) {
        let _ = writeln!(out, "    key \"{}\"", r.pick(&["C minor", "E major", "Bb mixolydian", "F# minor", "D dorian", "Ab major", "G major", "C# minor", "Eb minor", "B major"]));
    }
    if r.percent(60) {
        // One sign for the whole passage always comes out even.
        let _ = writeln!(out, "    chords \"{}\"", r.pick(&["Cm7", "Bb7/D", "F#m7b5", "Asus4", "G13", "Ebmaj7#11", "C5", ".", "Dm9", "E7#9"]));
    }
    let count = r.range(1, 4);
    for i in 0..count {
        part(r, i, changes_meter, changes_tempo, pickup, &stretches, out);
    }
    if r.percent(30) {
        let _ = writeln!(out, "    note \"mind the \\\"gap\\\" & <breathe>\" at=\"1.1\"");
    }
    out.push_str("  }\n");
}

/// Marks the bars before which something rings in every round.
fn tie(stretches: &mut [Stretch], mut before: bool) {
    for s in stretches {
        match s {
            Stretch::Plain(bars) => {
                for b in bars {
                    b.held = before;
                    before = b.rings;
                }
            }
            Stretch::Repeat { body, endings, .. } => {
                let first_ending = endings.first().map(|e| e.1.rings);
                let round = first_ending.unwrap_or(body[body.len() - 1].rings);
                let mut prior = before && round;
                for b in body.iter_mut() {
                    b.held = prior;
                    prior = b.rings;
                }
                for (_, b) in endings.iter_mut() {
                    b.held = prior;
                }
                before = endings.last().map_or(prior, |e| e.1.rings);
            }
        }
    }
}

/// What plays a part.
#[derive(Clone)]
enum Player {
    Strings { open: usize, top: i32, grips: Vec<(char, Vec<Option<i32>>)>, bass: bool },
    Drums,
    Click,
    Named,
}

fn part(r: &mut Dice, index: i32, say_meter: bool, say_tempo: bool, pickup: Option<Plan>, stretches: &[Stretch], out: &mut String) {
    let (head, player) = instrument(r, index);
    let name = r.pick(&["chop", "line & bass", "floor <low>", "keys \\\"soft\\\""]);
    let _ = writeln!(out, "    part \"{name} {index}\" {head} {{");
    if let Player::Strings { grips, .. } = &player {
        for (letter, frets) in grips {
            let frets: Vec<String> = frets.iter().map(|f| f.map_or("x".into(), |n| n.to_string())).collect();
            let _ = writeln!(out, "      grip \"{letter}\" \"{}\"", frets.join(" "));
        }
    }
    bars(r, index, say_meter && index == 0, say_tempo && index == 0, pickup, stretches, &player, out);
    out.push_str("    }\n");
    if matches!(player, Player::Strings { .. }) && r.percent(8) {
        let _ = writeln!(out, "    easier \"{name} {index}\" {{");
        bars(r, index + 1, false, false, pickup, stretches, &player, out);
        out.push_str("    }\n");
    }
}

fn instrument(r: &mut Dice, index: i32) -> (String, Player) {
    let seat = r.pick(&["seat=\"left\"", "seat=\"right\"", "seat=0.25", ""]);
    let kind = if index == 0 { r.range(0, 7) } else { r.range(0, 11) };
    match kind {
        0..=5 => {
            let tuning = r.pick(&[
                ("", 6),
                ("", 6),
                ("tuning=\"drop D\"", 6),
                ("tuning=\"DADGAD\"", 6),
                ("tuning=\"half step down\"", 6),
                ("tuning=\"open G\"", 6),
                ("tuning=\"C2 G2 C3 G3 C4 E4\"", 6),
                ("strings=7", 7),
                ("strings=8", 8),
                ("strings=7 tuning=\"drop A\"", 7),
            ]);
            let capo = if r.percent(25) { r.range(1, 5) } else { 0 };
            let grips = grips(r, tuning.1);
            let hand = r.pick(&["", "", "hand=\"down\"", "hand=\"up\""]);
            let staff = r.pick(&["", "staff=#true"]);
            (format!("instrument=\"guitar\" {seat} capo={capo} {} {hand} {staff}", tuning.0), Player::Strings { open: tuning.1, top: 22 - capo, grips, bass: false })
        }
        6 | 7 => {
            let (text, open) = r.pick(&[("", 4), ("strings=5", 5), ("strings=6", 6), ("tuning=\"drop D\"", 4)]);
            (format!("instrument=\"bass\" {seat} {text}"), Player::Strings { open, top: 20, grips: vec![], bass: true })
        }
        8 => ("instrument=\"drums\"".into(), Player::Drums),
        9 => ("instrument=\"click\"".into(), Player::Click),
        _ => (format!("instrument=\"{}\" {seat}", r.pick(&["keys", "horns", "voice", "other"])), Player::Named),
    }
}

fn grips(r: &mut Dice, strings: usize) -> Vec<(char, Vec<Option<i32>>)> {
    let mut out = Vec::new();
    for letter in ['a', 'b', 'c'] {
        let base = r.range(1, 9);
        let mut frets: Vec<Option<i32>> = (0..strings).map(|_| if r.percent(60) { Some(base + r.range(0, 2)) } else { None }).collect();
        if frets.iter().all(Option::is_none) {
            frets[strings - 1] = Some(base);
        }
        out.push((letter, frets));
    }
    out
}

/// What rings in a part.
#[derive(Clone, Default)]
struct Ring {
    /// String, fret, bend in hundredths of a whole tone.
    strings: Vec<(i32, i32, i32)>,
    /// Strings of the stroke that `-` and `^` speak of; `None` when nothing rings.
    last: Option<Vec<i32>>,
    /// Something rings, but what it is depends on the round.
    unknown: bool,
}

#[expect(clippy::too_many_arguments, reason = "a test's own")]
fn bars(r: &mut Dice, index: i32, say_meter: bool, say_tempo: bool, pickup: Option<Plan>, stretches: &[Stretch], player: &Player, out: &mut String) {
    let mut ring = Ring::default();
    if let Some(p) = pickup {
        if matches!(player, Player::Drums) {
            let _ = writeln!(out, "      pickup {{ kick \"{}\" }}", drum_row(r, p.slots, false));
        } else {
            let _ = writeln!(out, "      pickup \"{}\"", line(r, p, player, &mut ring, true));
        }
    }
    // Now and then a part is written out where the others have a repeat.
    let folds = index == 0 || r.percent(75);
    let mut cx = Cx { say_meter, say_tempo, player };
    for s in stretches {
        match s {
            Stretch::Plain(list) => {
                for b in list {
                    cx.bar(r, *b, &mut ring, "", "      ", true, out);
                }
            }
            Stretch::Repeat { times, body, endings } if folds => {
                if body.len() == 1 && endings.is_empty() && r.percent(40) {
                    cx.bar(r, body[0], &mut ring, &format!(" times={times}"), "      ", false, out);
                    continue;
                }
                let _ = writeln!(out, "      repeat times={times} {{");
                for (i, b) in body.iter().enumerate() {
                    cx.bar(r, *b, &mut ring, "", "        ", i > 0, out);
                }
                let after_body = ring.clone();
                for (rounds, b) in endings {
                    ring = after_body.clone();
                    let list: Vec<String> = rounds.iter().map(i32::to_string).collect();
                    let mark = if list.len() == 1 { format!(" ending={}", list[0]) } else { format!(" ending=\"{}\"", list.join(", ")) };
                    cx.bar(r, *b, &mut ring, &mark, "        ", true, out);
                }
                let _ = writeln!(out, "      }}");
            }
            Stretch::Repeat { times, body, endings } => {
                for round in 1..=*times {
                    for b in body.iter().chain(endings.iter().filter(|e| e.0.contains(&round)).map(|e| &e.1)) {
                        cx.bar(r, *b, &mut ring, "", "      ", true, out);
                    }
                }
            }
        }
    }
}

struct Cx<'a> {
    say_meter: bool,
    say_tempo: bool,
    player: &'a Player,
}

impl Cx<'_> {
    /// One bar node. `known`: what rings before it is the same in every round.
    #[expect(clippy::too_many_arguments, reason = "a test's own")]
    fn bar(&mut self, r: &mut Dice, plan: Plan, ring: &mut Ring, mark: &str, indent: &str, known: bool, out: &mut String) {
        let mut props = mark.to_string();
        if self.say_meter {
            let _ = write!(props, " meter=\"{}/{}\"", plan.meter.0, plan.meter.1);
        }
        if let Some(t) = plan.tempo.filter(|_| self.say_tempo) {
            let _ = write!(props, " tempo={t}");
        }
        if r.percent(8) {
            props.push_str(" say=\"slide & hold <3 \\\"so\\\"\"");
        }
        if !known {
            *ring = Ring { last: ring.last.as_ref().map(|_| vec![]), unknown: true, strings: vec![] };
        }
        if matches!(self.player, Player::Drums) {
            let bracket = r.percent(15) && plan.slots >= 4 && plan.fine % 3 != 0;
            let mut rows: Vec<String> = Vec::new();
            for n in ["kick", "snare", "hats", "ride", "tom"] {
                if n == "hats" || r.percent(60) {
                    let row = if bracket { drum_bracket(r, plan.slots) } else { drum_row(r, plan.slots, n == "hats") };
                    rows.push(format!("{n} \"{row}\""));
                }
            }
            let _ = writeln!(out, "{indent}bar{props} {{ {} }}", rows.join("; "));
            return;
        }
        let text = line(r, plan, self.player, ring, known);
        let mut rows = String::new();
        if matches!(self.player, Player::Strings { .. }) && r.percent(6) {
            let row = |r: &mut Dice, signs: &[&'static str]| (0..plan.slots).map(|_| if r.percent(15) { r.pick(signs) } else { "-" }).collect::<Vec<_>>().join(" ");
            rows = format!(" {{ level \"{}\"; wah \"{}\" }}", row(r, &["0", "5", "9"]), row(r, &["o", "+"]));
        }
        let _ = writeln!(out, "{indent}bar \"{text}\"{props}{rows}");
    }
}

fn drum_row(r: &mut Dice, slots: i32, hats: bool) -> String {
    let signs: &[&str] = if hats { &["x", "x", "o", ">x", "(x)", "."] } else { &["x", ">x", "(x)", ".", ".", "."] };
    (0..slots).map(|_| r.pick(signs)).collect::<Vec<_>>().join(" ")
}

/// Two slots as a triplet in every row, so that the rows agree.
fn drum_bracket(r: &mut Dice, slots: i32) -> String {
    let tail = drum_row(r, slots - 2, false);
    format!("[x {} x]=2 {tail}", r.pick(&["x", "."]))
}

/// A stroke line that fits the plan.
fn line(r: &mut Dice, plan: Plan, player: &Player, ring: &mut Ring, known: bool) -> String {
    let mut words: Vec<String> = Vec::new();
    let mut left = plan.slots;
    // A bar whose neighbours in other rounds do not ring begins afresh.
    if !known && !plan.held {
        *ring = Ring::default();
        ring.unknown = true;
    }
    while left > 0 {
        let last = left == 1;
        let bracket = if left >= 2 && !matches!(player, Player::Click) && r.percent(8) { r.range(1, left.min(4)) } else { 0 };
        if bracket > 0 && !(last || bracket == left) {
            // A member is a sixty-fourth triplet at the finest.
            // Over slots that are triplets already stand twos and fours.
            let count = r.pick(if plan.fine % 3 == 0 { &[2, 4, 2, 4, 2, 4, 2, 4] } else { &[2, 3, 3, 3, 4, 5, 6, 7] });
            let count = count.min(24 * bracket / plan.fine);
            let count = if plan.fine % 3 == 0 && count == 3 { 2 } else { count };
            let members: Vec<String> = (0..count).map(|_| token(r, player, ring, Wish::Any)).collect();
            words.push(format!("[{}]={bracket}", members.join(" ")));
            left -= bracket;
            continue;
        }
        let wish = match (last, plan.rings) {
            (true, true) => Wish::Ring,
            (true, false) => Wish::Silence,
            _ => Wish::Any,
        };
        words.push(token(r, player, ring, wish));
        left -= 1;
    }
    words.join(" ")
}

#[derive(Clone, Copy, PartialEq)]
enum Wish {
    Any,
    Ring,
    Silence,
}

fn token(r: &mut Dice, player: &Player, ring: &mut Ring, wish: Wish) -> String {
    if let Player::Click = player {
        return r.pick(&["x", ">x", "."]).to_string();
    }
    let dice = r.range(0, 99);
    if wish == Wish::Silence || (wish == Wish::Any && dice < 14) {
        *ring = Ring::default();
        return ".".into();
    }
    if ring.last.is_some() && dice < 50 {
        return "-".into();
    }
    match player {
        Player::Named => named(r, ring),
        Player::Strings { open, top, grips, bass } => strings(r, *open as i32, *top, grips, *bass, ring, wish),
        _ => unreachable!("drums have rows"),
    }
}

fn named(r: &mut Dice, ring: &mut Ring) -> String {
    let mut notes: Vec<&str> = Vec::new();
    for _ in 0..r.range(1, 4) {
        let n = r.pick(&["C3", "E3", "G3", "Bb3", "C4", "D4", "Eb4", "F#4", "A4", "Cb5", "E5"]);
        if !notes.contains(&n) {
            notes.push(n);
        }
    }
    let keep = if ring.last.is_some() && r.percent(15) { "&" } else { "" };
    *ring = Ring { last: Some(vec![]), strings: vec![], unknown: false };
    let accent = if r.percent(15) { ">" } else { "" };
    let tail = r.pick(&["", "", "", "'", "~"]);
    format!("{accent}{keep}{}{tail}", notes.join("+"))
}

/// A token for a fretted part, and what rings after it.
fn strings(r: &mut Dice, open: i32, top: i32, grips: &[(char, Vec<Option<i32>>)], bass: bool, ring: &mut Ring, wish: Wish) -> String {
    let dice = r.range(0, 99);
    // A scratch does not ring.
    if wish == Wish::Any && dice < 12 {
        *ring = Ring::default();
        let shape = if grips.is_empty() { "" } else { "a" };
        return r.pick(&["x", "x", ">x", "x32", if shape.is_empty() { "x" } else { "xa" }]).to_string();
    }
    // Bend on, or let down.
    if dice < 24
        && !ring.unknown
        && let Some(keys) = ring.last.clone()
    {
        let target = r.pick(&[0, 100, 50]);
        if ring.strings.iter().any(|s| keys.contains(&s.0) && s.2 != target) {
            ring.strings.iter_mut().filter(|s| keys.contains(&s.0)).for_each(|s| s.2 = target);
            return format!("^{}", ["0", ".5", "1"][(target / 50) as usize]);
        }
    }
    // From a ringing note.
    if dice < 45 && !ring.strings.is_empty() {
        let (string, fret, _) = ring.strings[(r.next() % ring.strings.len() as u64) as usize];
        let to = r.range(0, top.min(20));
        if to != fret {
            let how = if r.percent(40) { '/' } else if to > fret { 'H' } else { 'P' };
            let keep = ring.strings.len() > 1 && r.percent(60);
            let (tail, bend) = after(r);
            ring.strings.retain(|s| keep && s.0 != string);
            ring.strings.push((string, to, bend));
            ring.last = Some(vec![string]);
            return format!("{}{how}{string}:{to}{tail}", if keep { "&" } else { "" });
        }
    }
    let mut before = String::new();
    for (sign, share) in [(">", 12), ("M", 10), ("T", 5), ("R", 4)] {
        if r.percent(share) {
            before.push_str(sign);
        }
    }
    before.push_str(r.pick(&["", "", "", "", "", "D", "U"]));
    let keep = !ring.unknown && !ring.strings.is_empty() && r.percent(10);
    if keep {
        before.push('&');
    }
    let (mut tail, bend) = after(r);
    let ghost = r.percent(8);
    let mut struck: Vec<(i32, i32, i32)> = Vec::new();
    let mut body = String::new();
    if !grips.is_empty() && dice < 75 {
        let (letter, frets) = &grips[(r.next() % grips.len() as u64) as usize];
        let n = frets.len() as i32;
        let all: Vec<(i32, i32)> = frets.iter().enumerate().filter_map(|(i, f)| f.map(|f| (n - i as i32, f))).collect();
        let low = all.iter().map(|s| s.1).min().unwrap_or(0);
        let high = all.iter().map(|s| s.1).max().unwrap_or(0);
        let shift = if r.percent(25) { r.range(-low.min(3), (top - high).min(3)) } else { 0 };
        let _ = write!(body, "{letter}");
        let mut chosen = all.clone();
        if r.percent(30) {
            chosen.retain(|_| r.percent(60));
            if chosen.is_empty() {
                chosen.push(all[0]);
            }
            chosen.iter().for_each(|s| body.push_str(&s.0.to_string()));
        }
        if shift != 0 {
            let _ = write!(body, "@{shift}");
        }
        let mut to = shift;
        if r.percent(12) {
            to = r.range(-low.min(2), (top - high).min(2));
            if to != shift {
                let _ = write!(body, "/{letter}");
                if to != 0 {
                    let _ = write!(body, "@{to}");
                }
            } else {
                to = shift;
            }
        }
        struck = chosen.iter().map(|s| (s.0, s.1 + to, bend)).collect();
        if r.percent(10) && chosen.len() > 1 && !ghost {
            if r.percent(50) {
                before.insert(0, '*');
            } else {
                tail.push('*');
            }
        }
    } else {
        let harmonic = r.percent(8);
        let count = if bass || harmonic { 1 } else { r.pick(&[1, 1, 1, 2, 3]) };
        let from = r.range(1, open - count + 1);
        let base = r.range(0, top - 4);
        for i in 0..count {
            let string = from + i;
            let fret = if harmonic { r.pick(&[12, 7, 5]) } else { base + r.range(0, 3) };
            if i > 0 {
                body.push('+');
            }
            let _ = write!(body, "{string}:{fret}");
            let mut now = fret;
            if !harmonic && count == 1 && r.percent(12) {
                now = r.range(0, top);
                if now != fret {
                    let _ = write!(body, "/{now}");
                }
            }
            // Signs after the last note govern that note alone; on one note there is no difference.
            struck.push((string, now, if i + 1 == count { bend } else { 0 }));
        }
        if harmonic {
            before.push('N');
        }
        if count == 1 && open > 2 && !ghost && tail.is_empty() && r.percent(10) {
            body.push_str("+x");
            // The neighbours are struck dead.
            ring.strings.retain(|s| (s.0 - from).abs() != 1);
        }
    }
    ring.strings.retain(|s| keep && struck.iter().all(|n| n.0 != s.0));
    ring.last = Some(struck.iter().map(|s| s.0).collect());
    ring.strings.extend(struck);
    ring.unknown = false;
    if ghost { format!("{before}({body}{tail})") } else { format!("{before}{body}{tail}") }
}

/// Signs after a note, and how far it is bent in the end.
fn after(r: &mut Dice) -> (String, i32) {
    let mut out = String::new();
    let mut bend = 0;
    if r.percent(8) {
        out.push('~');
    }
    match r.range(0, 99) {
        0..=7 => {
            bend = r.pick(&[100, 50]);
            out.push_str(if bend == 100 { "^1" } else { "^.5" });
        }
        8..=11 => {
            bend = 100;
            out.push_str("!1");
        }
        12..=14 => out.push_str("!.5^0"),
        15..=24 => out.push('\''),
        _ => {}
    }
    (out, bend)
}
