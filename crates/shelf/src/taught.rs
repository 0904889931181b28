//! Where a grip was taught, and what never was although it is used often.

use crate::find::bar_in_words;
use crate::index::{Shelf, ShelfError};
use crate::shape::{Likeness, Shape};
use crate::technique::Technique;
use neck::{Grip, Instrument};
use rusqlite::params;
use std::collections::BTreeMap;

/// A place on the shelf that has a grip.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Taught {
    /// The lesson's folder and title.
    pub lesson: String,
    pub title: String,
    pub passage: String,
    pub passage_title: String,
    pub part: String,
    /// The grip's letter; `None` where it was only typed as places, and so has no diagram.
    pub letter: Option<char>,
    /// As it stands there, low string to high.
    pub frets: String,
    /// Number of the first bar that strikes it.
    pub bar: Option<u32>,
    /// How it is like the grip that was asked for.
    pub like: Likeness,
}

impl Taught {
    /// One sentence: "This grip was taught in “Harbour Steps”, verse (chop, from bar 2 on), 3 frets lower."
    pub fn sentence(&self) -> String {
        let at = self.bar.map(|b| format!(", from {} on", bar_in_words(b))).unwrap_or_default();
        let how = match self.like {
            Likeness::Same => String::new(),
            Likeness::Moved(by) => format!(", {}", frets_away(by)),
            Likeness::OtherStrings => format!(", on other strings: {}", self.frets),
        };
        let verb = if self.letter.is_some() { "taught" } else { "played" };
        format!("This grip was {verb} in \u{201c}{}\u{201d}, {} ({}{at}){how}.", self.title, if self.passage_title.is_empty() { &self.passage } else { &self.passage_title }, self.part)
    }
}

fn frets_away(by: i32) -> String {
    let n = by.unsigned_abs();
    format!("{n} fret{} {}", if n == 1 { "" } else { "s" }, if by > 0 { "higher" } else { "lower" })
}

/// What likeness means, after "plays x x 8 8 8 x, ".
pub(crate) fn in_words(like: Likeness, shape: &Shape) -> String {
    match like {
        Likeness::Same => "this very grip".into(),
        Likeness::Moved(by) => format!("the same grip {}", frets_away(by)),
        Likeness::OtherStrings => format!("the same notes to each other on {}", shape.strings_in_words()),
    }
}

/// Something that is used often and was never taught.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gap {
    pub kind: GapKind,
    /// The form, the kind of chord as its sign goes on after the root, or the technique's word.
    pub what: String,
    /// Strokes; for kinds of chords beats.
    pub uses: u64,
    /// Passages in which it is used.
    pub passages: u64,
    pub why: String,
}

/// What was never taught.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum GapKind {
    /// Fragments of a form are played, but no grip of the shelf is all of it.
    Parent,
    /// A kind of chord stands in the harmony, but no grip that a part names is one.
    Chord,
    /// Strokes have a technique that no words of the shelf speak of.
    Technique,
}

impl Shelf {
    /// Every place that has a grip, wherever on the neck and on whatever strings: the closest first, named grips before typed ones, then by folder and
    /// place in the lesson. `except` is a folder to leave out, such as the lesson that asks. Empty for a grip without a shape.
    ///
    /// # Errors
    /// As for all calls.
    pub fn taught(&self, grip: &Grip, instrument: &Instrument, except: Option<&str>) -> Result<Vec<Taught>, ShelfError> {
        let Some(wanted) = Shape::of(grip, instrument) else { return Ok(vec![]) };
        let mut rows = self.db.prepare_cached(
            "SELECT lesson.folder, lesson.title, passage.name, passage.title, part.name, letter, frets, bar, stack, places, fret, low, passage.nr, grip.part, grip.nr
             FROM grip JOIN passage ON passage.id = grip.passage JOIN lesson ON lesson.id = passage.lesson
             JOIN part ON part.passage = grip.passage AND part.nr = grip.part WHERE stack = ?1",
        )?;
        let mut rows = rows.query([wanted.stack_key()])?;
        let mut found = Vec::new();
        while let Some(r) = rows.next()? {
            let shape = Shape::from_keys(&r.get::<_, String>(8)?, &r.get::<_, String>(9)?, r.get(10)?, r.get(11)?);
            let Some(like) = shape.and_then(|s| s.like(&wanted)) else { continue };
            let taught = Taught {
                lesson: r.get(0)?,
                title: r.get(1)?,
                passage: r.get(2)?,
                passage_title: r.get(3)?,
                part: r.get(4)?,
                letter: r.get::<_, Option<String>>(5)?.and_then(|l| l.chars().next()),
                frets: r.get(6)?,
                bar: r.get(7)?,
                like,
            };
            if except != Some(taught.lesson.as_str()) {
                let place: (i64, i64, i64) = (r.get(12)?, r.get(13)?, r.get(14)?);
                found.push((taught, place));
            }
        }
        found.sort_by(|a, b| {
            let key = |t: &Taught| (t.like.rank(), t.letter.is_none());
            (key(&a.0), &a.0.lesson, a.1).cmp(&(key(&b.0), &b.0.lesson, b.1))
        });
        Ok(found.into_iter().map(|f| f.0).collect())
    }

    /// What was never taught, given what is used at least so often: most used first within each kind.
    ///
    /// A form counts as taught where some grip is all of it, moved along the neck or not; a kind of chord where a part names a grip that is one, its
    /// root sounding or not; a technique where the shelf's words (titles, needs, remarks, words under bars) have its word. Accents, staccato and
    /// brackets are not looked at.
    ///
    /// # Errors
    /// As for all calls.
    pub fn never_taught(&self, least_uses: u64) -> Result<Vec<Gap>, ShelfError> {
        let tx = self.db.unchecked_transaction()?;
        let least = i64::try_from(least_uses).unwrap_or(i64::MAX);
        let mut out = self.gaps(
            "SELECT parent, SUM(strokes) AS uses, COUNT(DISTINCT passage) FROM grip WHERE parent IS NOT NULL
             AND parent NOT IN (SELECT form FROM form WHERE left_out = 0) GROUP BY parent HAVING uses >= ?1 ORDER BY uses DESC, parent",
            least,
            GapKind::Parent,
            |what, uses, passages| format!("Parts of the {what} are struck {uses} times in {}, and no lesson shows the whole grip.", in_passages(passages)),
        )?;
        out.extend(self.gaps(
            "SELECT kind, SUM(beats) AS uses, COUNT(DISTINCT passage) FROM chord
             WHERE kind NOT IN (SELECT kind FROM grip WHERE letter IS NOT NULL AND kind IS NOT NULL) GROUP BY kind HAVING uses >= ?1 ORDER BY uses DESC, kind",
            least,
            GapKind::Chord,
            |what, uses, passages| {
                let sign = format!("C{what}");
                format!("Chords like {sign} stand for {uses} beats in {}, and no lesson has a grip of that kind.", in_passages(passages))
            },
        )?);
        let mut uses: BTreeMap<i64, (u64, u64)> = BTreeMap::new();
        {
            let mut rows = self.db.prepare_cached("SELECT technique, SUM(times) AS uses, COUNT(DISTINCT passage) FROM technique GROUP BY technique HAVING uses >= ?1")?;
            let mut rows = rows.query([least])?;
            while let Some(r) = rows.next()? {
                uses.insert(r.get(0)?, (number(r.get(1)?), number(r.get(2)?)));
            }
        }
        let mut techniques = Vec::new();
        let plain = [Technique::Accent, Technique::Staccato, Technique::Bracket];
        for t in Technique::ALL.into_iter().filter(|t| !plain.contains(t)) {
            let Some((uses, passages)) = uses.get(&(t as i64)).copied() else { continue };
            let mut spoken = false;
            for word in t.words() {
                // The trade's own words of this crate; still quoted like any other.
                let phrase = format!("\"{}\" *", word.replace('-', " "));
                spoken |= self.db.prepare_cached("SELECT 1 FROM words WHERE words MATCH ?1 LIMIT 1")?.exists(params![phrase])?;
            }
            if !spoken {
                let why = format!("{} is used {uses} times in {}, and no lesson says a word about it.", capital(t.word()), in_passages(passages));
                techniques.push(Gap { kind: GapKind::Technique, what: t.word().into(), uses, passages, why });
            }
        }
        techniques.sort_by(|a, b| b.uses.cmp(&a.uses).then(a.what.cmp(&b.what)));
        out.extend(techniques);
        tx.finish()?;
        Ok(out)
    }

    fn gaps(&self, sql: &str, least: i64, kind: GapKind, say: impl Fn(&str, u64, u64) -> String) -> Result<Vec<Gap>, ShelfError> {
        let mut rows = self.db.prepare_cached(sql)?;
        let rows = rows.query_map([least], |r| {
            let (what, uses, passages): (String, u64, u64) = (r.get(0)?, number(r.get(1)?), number(r.get(2)?));
            let why = say(&what, uses, passages);
            Ok(Gap { kind, what, uses, passages, why })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}

fn number(n: i64) -> u64 {
    u64::try_from(n).unwrap_or(0)
}

fn in_passages(n: u64) -> String {
    if n == 1 { "one passage".into() } else { format!("{n} passages") }
}

fn capital(word: &str) -> String {
    let mut c = word.chars();
    c.next().map(|f| f.to_uppercase().chain(c).collect()).unwrap_or_default()
}
