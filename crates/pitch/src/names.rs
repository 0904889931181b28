//! Chord names for sounding notes: every sensible reading in the light of bass, key, written harmony and neighbours, best first, with reasons.
//!
//! # Conventions
//! What sounds is the notes given and the bass part's note together; the name is for the whole sound. `omitted` and `rootless` look at
//! the notes given alone: a grip without C over a bass part's C is a rootless C chord. Points count against a name; nothing is a probability.
//!
//! # Method
//! On each of the twelve roots all readings are formed (`readings`), with the bass inside the chord and, where the rest is a
//! complete chord by itself, under a slash. Each gets points for how unusual the chord is, for what is left out, for the place
//! of the bass, for a root outside the key, and gets points off where the neighbours or the lesson speak for it. The sum orders them; ties
//! go to the root nearest above the bass, then to the plainer set of degrees, so that the order never depends on anything else.
//!
//! # References
//! None is followed: the points are common practice as the table in `tests/names.table` states it, written before they were set.

pub(crate) mod readings;
mod why;

use crate::symbol::write_root;
use crate::{Classes, Degree, Interval, Key, Letter, Midi, Mode, PitchClass, Spelled, Spelling, Symbol};
use readings::{FLAT7, MAJOR, ROOT, TABLE};

/// What is known besides the notes.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Context {
    /// The bass part's note, if there is a bass part; otherwise the lowest note given is the bass.
    pub bass: Option<Midi>,
    /// The key, for spelling and for the choice among equals.
    pub key: Option<Key>,
    /// The teacher's own harmony. It comes first whatever else speaks against it, as long as it holds the notes.
    pub written: Option<Symbol>,
    /// The chord before.
    pub before: Option<Symbol>,
    /// The chord after.
    pub after: Option<Symbol>,
}

/// What the notes can be called.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Naming {
    /// Best first, eight at most.
    pub names: Vec<Name>,
    /// Why there is no name; `None` exactly when there is one.
    pub no_name: Option<String>,
    /// The interval from the lower to the higher, where exactly two different notes are given, or one in octaves, and no bass part.
    pub interval: Option<Interval>,
    /// Sentences on the notes themselves, whatever they are called: a stack of fourths, a note outside the written harmony.
    pub remarks: Vec<String>,
}

/// One name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Name {
    /// The chord, with its slash bass where the bass is not the root. A chord whose root nobody sounds, with no bass part given, has none.
    pub symbol: Symbol,
    /// Its Harte label, of the whole chord (with [`Symbol::harte_without`] one has it without what is left out).
    pub harte: Option<String>,
    /// Whether the notes given lack the root (a bass part may have it).
    pub rootless: bool,
    /// Tones of the symbol that none of the notes given sounds, in the symbol's order.
    pub omitted: Vec<Degree>,
    /// Each note's place over the root, in the order given. A slash bass from outside the chord has a degree too.
    pub degrees: Vec<Degree>,
    /// Each note as this name writes it, in the order given.
    pub spelled: Vec<Spelled>,
    /// The degree of the sounding bass.
    pub bass_degree: Degree,
    /// The same sign on the other name of its root, where the key leaves it open.
    pub also_written: Option<Symbol>,
    /// Points against it, less what speaks for it; only the order among the names of one call means something.
    pub points: i32,
    /// Why it is called so, in sentences.
    pub why: Vec<String>,
}

/// From this many points on a reading is called weak.
pub(crate) const WEAK: i32 = 24;
/// More than this many points against the best reading, and there is no name.
const LIMIT: i32 = 35;
/// Names that many points behind the best are not shown.
const SPREAD: i32 = 16;
/// How many names are shown.
const MOST: usize = 8;
/// Against a chord over a bass that is no note of it.
const FOREIGN_BASS: i32 = 12;

/// Names the notes. Doubled notes count once; the order of the notes matters only for `degrees` and `spelled`.
///
/// No note and no bass, or a single class that no written harmony explains, gives no name and says why.
///
/// ```
/// use pitch::{Context, Midi, names};
/// let plain = Context::default();
/// let first = |notes: &[u8]| names(&notes.iter().map(|&n| Midi(n)).collect::<Vec<_>>(), &plain).names[0].symbol.to_string();
/// // C E G A: over C a sixth chord, over A a minor seventh.
/// assert_eq!(first(&[48, 64, 67, 69]), "C6");
/// assert_eq!(first(&[45, 64, 67, 72]), "Am7");
/// // C D G is a suspended second; on G it is a suspended fourth, and that reading comes second.
/// let both = names(&[Midi(48), Midi(62), Midi(67)], &plain);
/// assert_eq!(both.names[0].symbol.to_string(), "Csus2");
/// assert_eq!(both.names[1].symbol.to_string(), "Gsus4/C");
/// ```
pub fn names(notes: &[Midi], context: &Context) -> Naming {
    let Some(view) = View::of(notes, context) else {
        return none("nothing sounds, so there is nothing to name".into());
    };
    let bass = view.bass;
    let mut remarks = Vec::new();
    let mut found = view.read(&mut remarks);
    let best = found.iter().map(|c| c.points).min().unwrap_or(i32::MAX).min(LIMIT);
    // What the lesson says stands far below zero and would hide the rest.
    let others = found.iter().filter(|c| c.from == From::Notes).map(|c| c.points).min().unwrap_or(best);
    let limit = others.max(best).saturating_add(SPREAD).min(LIMIT);
    found.retain(|c| c.points <= limit);
    found.sort_by_key(|c| c.rank(bass));

    let mut list: Vec<Name> = Vec::with_capacity(MOST);
    for candidate in &found {
        let (symbol, also) = view.symbol(candidate);
        if list.len() >= 3 && candidate.points >= WEAK {
            break;
        }
        if list.iter().all(|n| n.symbol != symbol) {
            list.push(view.finish(candidate, symbol, also));
        }
        if list.len() == MOST {
            break;
        }
    }
    why::compare(&mut list, &view);
    let no_name = list.is_empty().then(|| why::no_name(&view));
    remarks.extend(why::remarks(&view, list.first()));
    Naming { no_name, interval: view.interval(list.first()), names: list, remarks }
}

/// The first of [`names()`], without its words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FirstName {
    /// As in [`Name`].
    pub symbol: Symbol,
    /// As in [`Name`].
    pub omitted: Vec<Degree>,
    /// As in [`Name`].
    pub points: i32,
}

/// What the notes are called first, for many at once: no reasons, no other names. `None` where [`names()`] has none.
///
/// ```
/// use pitch::{Context, Midi, first_name, names};
/// let (notes, context) = ([Midi(48), Midi(64), Midi(67), Midi(69)], Context::default());
/// assert_eq!(first_name(&notes, &context).unwrap().symbol, names(&notes, &context).names[0].symbol);
/// assert_eq!(first_name(&[], &context), None);
/// ```
pub fn first_name(notes: &[Midi], context: &Context) -> Option<FirstName> {
    let view = View::of(notes, context)?;
    let found = view.read(&mut Vec::new());
    let best = found.iter().min_by_key(|c| c.rank(view.bass)).filter(|c| c.points <= LIMIT)?;
    let (symbol, _) = view.symbol(best);
    Some(FirstName { omitted: view.omitted(&symbol), points: best.points, symbol })
}

fn none(reason: String) -> Naming {
    Naming { names: Vec::new(), no_name: Some(reason), interval: None, remarks: Vec::new() }
}

/// What all steps look at.
struct View<'a> {
    notes: &'a [Midi],
    /// Classes of the notes given.
    grip: Classes,
    /// The same with the bass.
    sound: Classes,
    bass: PitchClass,
    context: &'a Context,
    /// The notes of the key.
    steps: Option<Classes>,
    /// The notes are what a stretch of time holds, so none of them need be the lowest all the time.
    over_time: bool,
}

/// What a stretch of time holds, for a name on a given root.
pub(crate) struct Stretched<'a> {
    pub notes: &'a [Midi],
    /// Classes that the name must hold; other notes pass by.
    pub must: Classes,
    pub bass: PitchClass,
    pub context: &'a Context,
}

impl Stretched<'_> {
    /// Points against the plainest reading on `root` of those whose degrees, as bits, fit; one entry for each of `fits`, `None` where none does.
    pub(crate) fn points_on<const N: usize>(&self, root: PitchClass, fits: impl Fn(usize, u32) -> bool) -> [Option<i32>; N] {
        let mut found = Vec::new();
        self.view().read_on(root.0, &mut found);
        std::array::from_fn(|i| found.iter().filter(|c| fits(i, c.tones)).map(|c| c.points).min())
    }

    fn view(&self) -> View<'_> {
        let steps = self.context.key.map(steps);
        View { notes: self.notes, grip: self.must, sound: self.must.with(self.bass), bass: self.bass, context: self.context, steps, over_time: true }
    }

    /// The plainest name on `root` whose degrees, as bits, `fit`; `None` where there is none. `points` are the name's.
    pub(crate) fn name_on(&self, root: PitchClass, fit: impl Fn(u32) -> bool, points: i32) -> Option<Name> {
        let view = self.view();
        let mut found = Vec::new();
        view.read_on(root.0, &mut found);
        found.retain(|c| fit(c.tones));
        let mut best = found.into_iter().min_by_key(|c| (c.points, c.foreign, c.tones))?;
        let (symbol, also) = view.symbol(&best);
        best.points = points;
        Some(view.finish(&best, symbol, also))
    }
}

/// A reading before it is written out.
#[derive(Clone, Debug)]
struct Candidate {
    root: u8,
    tones: u32,
    /// The bass is no note of the chord.
    foreign: bool,
    points: i32,
    from: From,
}

/// Where a reading comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum From {
    /// The lesson's own sign as it stands.
    Lesson,
    /// The lesson's own sign with notes added.
    LessonAndMore,
    Notes,
}

impl Candidate {
    /// What is first comes first.
    fn rank(&self, bass: PitchClass) -> (i32, u8, bool, u32, From) {
        (self.points, (self.root + 12 - bass.0) % 12, self.foreign, self.tones, self.from)
    }
}

impl<'a> View<'a> {
    /// `None` where nothing sounds.
    fn of(notes: &'a [Midi], context: &'a Context) -> Option<View<'a>> {
        let grip: Classes = notes.iter().map(|n| n.class()).collect();
        let bass = context.bass.or(notes.iter().min().copied())?.class();
        Some(View { notes, grip, sound: grip.with(bass), bass, context, steps: context.key.map(steps), over_time: false })
    }
}

impl View<'_> {
    /// All readings, the lesson's own sign first.
    fn read(&self, remarks: &mut Vec<String>) -> Vec<Candidate> {
        let mut found: Vec<Candidate> = Vec::with_capacity(64);
        if let Some(written) = &self.context.written {
            self.read_written(written, &mut found, remarks);
        }
        if self.sound.len() > 1 {
            self.read_all(&mut found);
        }
        found
    }

    fn omitted(&self, symbol: &Symbol) -> Vec<Degree> {
        let root = symbol.root.class();
        symbol.tones.iter().copied().filter(|t| !self.grip.holds(t.class(root))).collect()
    }

    fn read_all(&self, found: &mut Vec<Candidate>) {
        (0..12).for_each(|root| self.read_on(root, found));
    }

    fn read_on(&self, root: u8, found: &mut Vec<Candidate>) {
        let class = PitchClass(root);
        let over = self.sound.over(class);
        let present = readings::present(over);
        readings::readings(over, &mut |tones| found.push(self.weigh(root, tones, tones & !present, false)));
        let upper = self.sound.without(self.bass);
        if root != self.bass.0 && upper.len() >= 3 {
            let over = upper.over(class);
            // Complete by itself, the bass aside.
            let present = readings::present(over);
            readings::readings(over, &mut |tones| {
                if tones & !present == 0 {
                    found.push(self.weigh(root, tones, 0, true));
                }
            });
        }
    }

    /// `missing`: tones that nobody sounds.
    fn weigh(&self, root: u8, tones: u32, missing: u32, foreign: bool) -> Candidate {
        let rootless = missing & ROOT != 0;
        let interval = u32::from((self.bass.0 + 12 - root) % 12);
        let mut points = readings::strangeness(tones) + readings::gaps(tones, missing, self.sound.len() as u32);
        points += match foreign {
            // A sixth below the root is a sixth chord, or the seventh chord on the bass.
            true if interval == 9 => FOREIGN_BASS + 4,
            true => FOREIGN_BASS,
            false => readings::bass_points(tones, interval, rootless),
        };
        points += self.key_points(root, tones, missing);
        points -= self.neighbour_points(root, tones, rootless);
        Candidate { root, tones, foreign, points, from: From::Notes }
    }

    /// A root outside the key, or a tone outside it that is only supposed.
    fn key_points(&self, root: u8, tones: u32, missing: u32) -> i32 {
        let Some(scale) = self.steps else { return 0 };
        let root = PitchClass(root);
        let outside = readings::each(tones & missing).filter(|&i| !scale.holds(TABLE[i].class(root))).count();
        2 * i32::from(!scale.holds(root)) + outside as i32
    }

    fn neighbour_points(&self, root: u8, tones: u32, rootless: bool) -> i32 {
        let mut points = 0;
        if let Some(before) = &self.context.before {
            // A chord that has just sounded is still heard under a fragment of it.
            points += if rootless { 8 } else { 3 } * i32::from(before.root.class().0 == root);
        }
        if let Some(after) = &self.context.after {
            let to = after.root.class();
            points += 3 * i32::from(to.0 == root);
            points += 5 * i32::from(tones & MAJOR != 0 && tones & FLAT7 != 0 && to.up(7).0 == root);
        }
        points
    }

    /// The lesson's own sign first: as it stands, or with the notes it lacks.
    fn read_written(&self, written: &Symbol, found: &mut Vec<Candidate>, remarks: &mut Vec<String>) {
        const FIRST: i32 = -1000;
        let root = written.root.class();
        let own: Classes = written.tones.iter().map(|d| d.class(root)).collect();
        if written.classes().contains(self.grip) {
            found.push(Candidate { root: root.0, tones: 0, foreign: false, points: FIRST, from: From::Lesson });
            if !written.classes().holds(self.bass) {
                let bass = self.spell_plain(self.bass, written.root);
                remarks.push(format!("the bass part's {bass} is no note of the written {written}: it passes by, or the chord is {written}/{bass}"));
            }
            return;
        }
        let extra = self.sound.minus(written.classes());
        let names: Vec<String> = extra.iter().map(|c| self.spell_plain(c, written.root).to_string()).collect();
        let known: Option<u32> = written.tones.iter().try_fold(0u32, |m, d| TABLE.iter().position(|t| t == d).map(|i| m | 1 << i));
        let before = found.len();
        // A minor third beside a plain major one contradicts it; two sevenths or a raised third give no reading at all. Anything else enriches.
        let over = own.union(self.sound).over(root);
        if let Some(known) = known {
            let clash = known & MAJOR != 0 && over & 1 << 3 != 0 && known & FLAT7 == 0;
            if !clash {
                readings::readings(over, &mut |tones| {
                    if tones & known == known {
                        let missing = tones & !readings::present(self.sound.over(root));
                        let mut c = self.weigh(root.0, tones, missing, false);
                        c.points += FIRST / 2;
                        c.from = From::LessonAndMore;
                        found.push(c);
                    }
                });
            }
        }
        let list = names.join(" and ");
        remarks.push(if found.len() > before {
            format!("the written {written} does not have {list}; it is named here with {}", if names.len() == 1 { "it" } else { "them" })
        } else {
            format!("the written {written} and the notes disagree: {list} {} not in it", if names.len() == 1 { "is" } else { "are" })
        });
    }

    /// How a class is written beside a root when no chord says it: as the key has it, or plainly, with the root's kind of accidental.
    fn spell_plain(&self, class: PitchClass, root: Spelling) -> Spelling {
        if let Some(key) = self.context.key {
            let says = key.spell_class(class);
            if Degree::between(root, says).alter.abs() < 2 {
                return says;
            }
            return self.write(plain_degree(root.class(), class), root, true);
        }
        let plain = Letter::ALL.into_iter().find(|l| l.semitones() == i32::from(class.0)).map(|l| Spelling::new(l, 0));
        plain.unwrap_or_else(|| plain_degree(root.class(), class).spell(root))
    }

    /// The reading as a sign, and the same sign on the root's other name where nothing decides between the two.
    fn symbol(&self, candidate: &Candidate) -> (Symbol, Option<Symbol>) {
        let written = self.context.written.as_ref().filter(|_| candidate.from != From::Notes);
        if let Some(written) = written
            && candidate.from == From::Lesson
        {
            return (written.clone(), None);
        }
        let tones: Vec<Degree> = readings::each(candidate.tones).map(|i| TABLE[i]).collect();
        if let Some(written) = written {
            return (Symbol::new(written.root, tones, written.bass), None);
        }
        let class = PitchClass(candidate.root);
        // Who plays a chord without its root leaves the bass to others; its lowest note is no bass then.
        let open = self.context.bass.is_none() && !self.grip.holds(class);
        let slash = !open && self.bass != class;
        let over = |root: Spelling, tones: Vec<Degree>| {
            let bass = slash.then(|| match tones.iter().find(|t| t.class(class) == self.bass) {
                Some(&tone) if !candidate.foreign => self.write(tone, root, true),
                _ => self.spell_plain(self.bass, root),
            });
            Symbol::new(root, tones, bass)
        };
        let (root, other) = self.roots(class, &tones);
        let also = other.map(|other| over(other, tones.clone()));
        (over(root, tones), also)
    }

    /// The root's written name, and its other one where little separates the two: without a key a neighbour on the same root decides.
    fn roots(&self, class: PitchClass, tones: &[Degree]) -> (Spelling, Option<Spelling>) {
        let near = || [&self.context.written, &self.context.before, &self.context.after].into_iter().flatten();
        if self.context.key.is_none()
            && let Some(same) = near().find(|s| s.root.class() == class)
        {
            return (same.root, None);
        }
        if let Some(leading) = self.leading_note(class, tones) {
            return (leading, None);
        }
        let lean: i32 = near().flat_map(Symbol::spell).map(|n| i32::from(n.alter)).sum();
        write_root(class, tones, self.context.key, lean)
    }

    /// A diminished chord a semitone under the next root is written as the note that leads there: G#dim7 before Am, in any key (common practice).
    fn leading_note(&self, class: PitchClass, tones: &[Degree]) -> Option<Spelling> {
        let after = self.context.after.as_ref().filter(|a| a.root.class() == class.up(1))?;
        let has = |number, alter| tones.contains(&Degree::new(number, alter));
        let diminished = has(3, -1) && has(5, -1) && !has(7, -1) && !has(7, 0);
        Some(Degree::new(7, 0).spell(after.root)).filter(|s| diminished && s.alter.abs() < 2)
    }

    /// How a degree is written over a root. A double accidental stays only where the key has it too; otherwise the plain note stands for it, as
    /// in guitar music (the seventh of Cdim7 is written A). So does it for an altered note that would be B#, E#, Cb or Fb, where the key says
    /// how, or in the bass: Emaj7#5 stands over C, not over B#.
    fn write(&self, degree: Degree, root: Spelling, in_bass: bool) -> Spelling {
        let exact = degree.spell(root);
        let odd = exact.alter != 0 && Letter::ALL.iter().any(|l| l.semitones() == i32::from(exact.class().0));
        let altered = degree.alter != 0 && !matches!(degree.number, 3 | 7);
        if exact.alter.abs() >= 2 || (odd && altered && (in_bass || self.context.key.is_some())) {
            return self.context.key.unwrap_or(Key::PLAIN).spell_class(exact.class());
        }
        exact
    }

    fn degree(&self, symbol: &Symbol, class: PitchClass) -> Degree {
        symbol.degree_or_plain(class)
    }

    /// How this name writes a class.
    fn spell(&self, symbol: &Symbol, class: PitchClass) -> Spelling {
        match symbol.bass {
            Some(bass) if bass.class() == class => bass,
            _ => self.write(self.degree(symbol, class), symbol.root, false),
        }
    }

    fn finish(&self, candidate: &Candidate, symbol: Symbol, also_written: Option<Symbol>) -> Name {
        let root = symbol.root.class();
        let mut name = Name {
            harte: symbol.harte(),
            rootless: !self.grip.holds(root),
            omitted: self.omitted(&symbol),
            degrees: self.notes.iter().map(|n| self.degree(&symbol, n.class())).collect(),
            spelled: self.notes.iter().map(|&n| Spelled::from_midi(n, self.spell(&symbol, n.class()))).collect(),
            bass_degree: self.degree(&symbol, self.bass),
            also_written,
            points: candidate.points,
            why: Vec::new(),
            symbol,
        };
        name.why = why::sentences(&name, candidate, self);
        name
    }

    fn interval(&self, first: Option<&Name>) -> Option<Interval> {
        if self.grip.len() > 2 || self.context.bass.is_some() {
            return None;
        }
        let low = self.notes.iter().min()?;
        // Of one class alone, the octave; doubled notes of two do not count.
        let high = self.notes.iter().filter(|n| if self.grip.len() == 2 { n.class() != low.class() } else { *n > low }).min()?;
        let spell = |n: &Midi| match first {
            Some(name) => self.notes.iter().position(|m| m == n).map(|i| name.spelled[i]),
            None => Some(Spelled::from_midi(*n, self.spell_plain(n.class(), self.roots(low.class(), &[]).0))),
        };
        Some(Interval::between(spell(low)?, spell(high)?))
    }
}

/// The notes of a key; in minor the raised seventh too, which its dominant needs.
pub(crate) fn steps(key: Key) -> Classes {
    let scale: Classes = key.scale().iter().map(|s| s.class()).collect();
    if key.mode == Mode::Minor { scale.with(key.tonic.class().up(-1)) } else { scale }
}

/// The everyday degree of a class over a root when no chord says which.
pub(crate) fn plain_degree(root: PitchClass, class: PitchClass) -> Degree {
    const PLAIN: [Degree; 12] = [
        Degree::ROOT,
        Degree::new(9, -1),
        Degree::new(9, 0),
        Degree::new(3, -1),
        Degree::new(3, 0),
        Degree::new(11, 0),
        Degree::new(11, 1),
        Degree::new(5, 0),
        Degree::new(13, -1),
        Degree::new(13, 0),
        Degree::new(7, -1),
        Degree::new(7, 0),
    ];
    PLAIN[usize::from((class.0 + 12 - root.0) % 12)]
}

/// Degrees of the candidate as bits; of a written sign, those that the table knows.
fn bits(symbol: &Symbol) -> u32 {
    symbol.tones.iter().filter_map(|d| TABLE.iter().position(|t| t == d)).fold(0, |m, i| m | 1 << i)
}

