//! Answers: which lessons and passages meet a query, in what order, and why.
//!
//! # Conventions
//! A passage meets a query when every term holds in it; words of the lesson itself (title, needs, remarks) count for each of its passages, but at
//! least one term must hold in the passage's own. A lesson whose own words meet the whole query is an answer of its own. Lessons stand first, then
//! passages: those with the closest grips first, then by the folder's name and the passage's place in the lesson.
//!
//! # How it is asked
//! Every term gives a set of passages from one index of the tables; sets are met in memory; only for what is shown are the reasons looked up. What
//! the user typed goes to SQLite as bound values alone, and words to the full text within quotes.

use crate::index::{Shelf, ShelfError, TEXT_BITS};
use crate::query::{Figure, Query, Range, Term, Test};
use crate::shape::Shape;
use rusqlite::{Params, ToSql, params, params_from_iter};
use std::collections::{BTreeMap, BTreeSet};

/// One answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hit {
    /// The lesson's folder and title.
    pub lesson: String,
    pub title: String,
    /// Id and title of the passage; `None` where the lesson as a whole is meant.
    pub passage: Option<String>,
    pub passage_title: Option<String>,
    pub part: Option<String>,
    /// Number of the bar as played.
    pub bar: Option<u32>,
    /// Sentences, one for each thing asked for.
    pub why: String,
}

/// Answers, and how many there are in all.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Found {
    pub hits: Vec<Hit>,
    /// Lessons and passages that meet the query, shown or not. A passage in which several parts meet it has several hits.
    pub total: usize,
}

/// Passages, rising, each with how far off its closest grip is (0 where the test is not of grips).
type Set = Vec<(i64, u8)>;

impl Shelf {
    /// Answers a query with the hits of the first `most` lessons and passages.
    ///
    /// # Errors
    /// As for all calls.
    pub fn find(&self, query: &Query, most: usize) -> Result<Found, ShelfError> {
        // One state of the index throughout, whatever another program writes.
        let tx = self.db.unchecked_transaction()?;
        let (lessons, passages) = self.meeting(query)?;
        let total = lessons.len() + passages.len();
        let mut hits = Vec::new();
        let mut titles: BTreeMap<i64, (String, String)> = BTreeMap::new();
        for id in self.lessons_in_order(&lessons)?.into_iter().take(most) {
            let (folder, title) = self.title(id)?;
            let mut why = Vec::new();
            for term in query.terms.iter().filter(|t| !t.not) {
                why.extend(self.why_lesson(id, term)?);
            }
            hits.push(Hit { lesson: folder, title, passage: None, passage_title: None, part: None, bar: None, why: why.join(" ") });
        }
        for (id, lesson) in self.passages_in_order(&passages, most.saturating_sub(hits.len()))? {
            if let std::collections::btree_map::Entry::Vacant(e) = titles.entry(lesson) {
                e.insert(self.title(lesson)?);
            }
            let Some((folder, title)) = titles.get(&lesson) else { continue };
            self.passage_hits(id, lesson, query, (folder, title), &mut hits)?;
        }
        tx.finish()?;
        Ok(Found { hits, total })
    }

    /// How many lessons and passages meet a query.
    pub(crate) fn count(&self, query: &Query) -> Result<usize, ShelfError> {
        let (lessons, passages) = self.meeting(query)?;
        Ok(lessons.len() + passages.len())
    }

    /// Lessons that meet a query by their own words, and passages.
    fn meeting(&self, query: &Query) -> Result<(BTreeSet<i64>, Set), ShelfError> {
        let mut own: Vec<(bool, Set, BTreeSet<i64>)> = Vec::new();
        for term in &query.terms {
            let (mut set, mut lessons) = (Set::new(), BTreeSet::new());
            for test in &term.tests {
                self.passages_with(test, &mut set, &mut lessons)?;
            }
            set.sort_unstable();
            set.dedup_by_key(|p| p.0);
            own.push((term.not, set, lessons));
        }
        let wanted = || own.iter().filter(|o| !o.0);
        let mut lessons: BTreeSet<i64> = wanted().next().map(|o| o.2.clone()).unwrap_or_default();
        for o in &own {
            lessons.retain(|l| o.2.contains(l) != o.0);
        }
        // Only where a lesson's words meet a term do its passages have to be known.
        let of_lesson: Vec<(i64, i64)> = if own.iter().any(|o| !o.2.is_empty()) || wanted().next().is_none() { self.pairs("SELECT id, lesson FROM passage ORDER BY id", [])? } else { vec![] };
        let mut any: Option<Set> = None;
        let mut all: Option<Set> = None;
        for (not, set, from) in &own {
            let mut wide = set.clone();
            if !from.is_empty() {
                wide.extend(of_lesson.iter().filter(|p| from.contains(&p.1)).map(|p| (p.0, 0)));
                wide.sort_unstable();
                wide.dedup_by_key(|p| p.0);
            }
            if *not {
                continue;
            }
            any = Some(match any {
                None => set.clone(),
                Some(mut a) => {
                    a.extend(set);
                    a.sort_unstable();
                    a.dedup_by_key(|p| p.0);
                    a
                }
            });
            all = Some(match all {
                None => wide,
                Some(a) => meet(&a, &wide),
            });
        }
        let mut passages = match (all, any) {
            (Some(all), Some(any)) => {
                let ranks = all.clone();
                meet(&all, &any).into_iter().map(|(id, _)| (id, ranks.binary_search_by_key(&id, |p| p.0).map_or(0, |i| ranks[i].1))).collect()
            }
            _ => of_lesson.iter().map(|p| (p.0, 0)).collect::<Set>(),
        };
        for (_, set, from) in own.iter().filter(|o| o.0) {
            let mut out: BTreeSet<i64> = set.iter().map(|p| p.0).collect();
            out.extend(of_lesson.iter().filter(|p| from.contains(&p.1)).map(|p| p.0));
            passages.retain(|p| !out.contains(&p.0));
        }
        Ok((lessons, passages))
    }

    fn pairs(&self, sql: &str, of: impl Params) -> Result<Vec<(i64, i64)>, ShelfError> {
        let mut rows = self.db.prepare_cached(sql)?;
        Ok(rows.query_map(of, |r| Ok((r.get(0)?, r.get(1)?)))?.collect::<Result<_, _>>()?)
    }

    fn ids(&self, sql: &str, of: impl Params, set: &mut Set) -> Result<(), ShelfError> {
        let mut rows = self.db.prepare_cached(sql)?;
        let mut rows = rows.query(of)?;
        while let Some(r) = rows.next()? {
            set.push((r.get(0)?, 0));
        }
        Ok(())
    }

    /// Adds the passages for which a test holds, and the lessons whose own words hold it.
    fn passages_with(&self, test: &Test, set: &mut Set, lessons: &mut BTreeSet<i64>) -> Result<(), ShelfError> {
        match test {
            Test::Words(words) => {
                let mut rows = self.db.prepare_cached("SELECT rowid FROM words WHERE words MATCH ?1")?;
                let mut rows = rows.query([phrase(words)])?;
                while let Some(r) = rows.next()? {
                    let of = r.get::<_, i64>(0)? >> TEXT_BITS;
                    if of < 0 {
                        lessons.insert(-of);
                    } else if set.last() != Some(&(of, 0)) {
                        set.push((of, 0));
                    }
                }
            }
            Test::Kind { qualities, rootless } => {
                if qualities.is_empty() {
                    self.ids("SELECT DISTINCT passage FROM grip WHERE rootless = 1", [], set)?;
                }
                for q in qualities {
                    self.ids("SELECT DISTINCT passage FROM grip WHERE kind = ?1 AND rootless >= ?2", params![q, rootless], set)?;
                }
            }
            Test::Sign { root: Some(root), quality } => {
                self.ids("SELECT passage FROM grip WHERE kind = ?1 AND root = ?2 UNION SELECT passage FROM chord WHERE kind = ?1 AND root = ?2", params![quality, root.0], set)?;
            }
            Test::Sign { root: None, quality } => {
                self.ids("SELECT passage FROM grip WHERE kind = ?1 UNION SELECT passage FROM chord WHERE kind = ?1", [quality], set)?;
            }
            Test::Grip(shape) => {
                let mut rows = self.db.prepare_cached("SELECT passage, places, fret FROM grip WHERE stack = ?1")?;
                let mut rows = rows.query([shape.stack_key()])?;
                let places = shape.place_key();
                while let Some(r) = rows.next()? {
                    let rank = match (r.get_ref(1)?.as_str().is_ok_and(|p| p == places), r.get::<_, u8>(2)? == shape.fret) {
                        (true, true) => 0,
                        (true, false) => 1,
                        (false, _) => 2,
                    };
                    set.push((r.get(0)?, rank));
                }
            }
            Test::Parent(forms) => {
                for form in forms {
                    self.ids("SELECT DISTINCT passage FROM form WHERE form = ?1", [form], set)?;
                }
            }
            Test::Technique(t) => self.ids("SELECT DISTINCT passage FROM technique WHERE technique = ?1", [*t as i64], set)?,
            Test::Tempo(r) => self.ids("SELECT id FROM passage WHERE slowest <= ?2 AND fastest >= ?1", [r.from, r.to], set)?,
            Test::Key { tonic, mode } => {
                self.ids("SELECT id FROM passage WHERE (?1 IS NULL OR tonic = ?1) AND (?2 IS NULL OR mode = ?2) AND key IS NOT NULL", params![tonic.map(|t| t.0), mode.map(|m| m.name())], set)?;
            }
            Test::Swing(None) => self.ids("SELECT id FROM passage WHERE swing IS NULL", [], set)?,
            Test::Swing(Some(r)) => self.ids("SELECT id FROM passage WHERE swing BETWEEN ?1 AND ?2", [r.from, r.to], set)?,
            Test::Level(r) => self.ids("SELECT DISTINCT passage FROM part WHERE level BETWEEN ?1 AND ?2", [r.from, r.to], set)?,
            Test::Lock(figure, r) => self.ids(&format!("SELECT DISTINCT passage FROM pair WHERE {} BETWEEN ?1 AND ?2", figure.word()), [r.from, r.to], set)?,
        }
        Ok(())
    }

    fn title(&self, lesson: i64) -> Result<(String, String), ShelfError> {
        Ok(self.db.prepare_cached("SELECT folder, title FROM lesson WHERE id = ?1")?.query_row([lesson], |r| Ok((r.get(0)?, r.get(1)?)))?)
    }

    fn lessons_in_order(&self, ids: &BTreeSet<i64>) -> Result<Vec<i64>, ShelfError> {
        if ids.is_empty() {
            return Ok(vec![]);
        }
        let mut all = Set::new();
        self.ids("SELECT id FROM lesson ORDER BY folder", [], &mut all)?;
        Ok(all.into_iter().map(|p| p.0).filter(|id| ids.contains(id)).collect())
    }

    /// The first passages of a set, each with its lesson.
    pub(crate) fn passages_in_order(&self, set: &Set, most: usize) -> Result<Vec<(i64, i64)>, ShelfError> {
        let mut by_rank: [Vec<(i64, i64)>; 3] = Default::default();
        if set.len() <= 200 {
            let mut rows = self.db.prepare_cached("SELECT lesson.folder, passage.nr, lesson.id FROM passage JOIN lesson ON lesson.id = passage.lesson WHERE passage.id = ?1")?;
            let mut placed: Vec<(u8, String, i64, i64, i64)> = Vec::new();
            for (id, rank) in set {
                placed.push(rows.query_row([id], |r| Ok((*rank, r.get(0)?, r.get(1)?, *id, r.get(2)?)))?);
            }
            placed.sort();
            return Ok(placed.into_iter().take(most).map(|p| (p.3, p.4)).collect());
        }
        let mut rows = self.db.prepare_cached("SELECT passage.id, passage.lesson FROM lesson JOIN passage ON passage.lesson = lesson.id ORDER BY lesson.folder, passage.nr")?;
        let mut rows = rows.query([])?;
        while let Some(r) = rows.next()? {
            let id: i64 = r.get(0)?;
            let Ok(i) = set.binary_search_by_key(&id, |p| p.0) else { continue };
            by_rank[usize::from(set[i].1.min(2))].push((id, r.get(1)?));
            if by_rank[0].len() >= most {
                break;
            }
        }
        Ok(by_rank.into_iter().flatten().take(most).collect())
    }

    fn passage_hits(&self, id: i64, lesson: i64, query: &Query, (folder, title): (&str, &str), hits: &mut Vec<Hit>) -> Result<(), ShelfError> {
        let (name, passage_title): (String, String) = self.db.prepare_cached("SELECT name, title FROM passage WHERE id = ?1")?.query_row([id], |r| Ok((r.get(0)?, r.get(1)?)))?;
        let mut reasons: Vec<Vec<Reason>> = Vec::new();
        for term in query.terms.iter().filter(|t| !t.not) {
            let mut found = self.why_passage(id, term)?;
            if found.is_empty() {
                found.extend(self.why_lesson(lesson, term)?.map(|why| Reason { part: None, bar: None, why }));
            }
            reasons.push(found);
        }
        // The first term that speaks of a part says which; each part in which it holds is a hit.
        let leading = reasons.iter().position(|r| r.iter().any(|r| r.part.is_some())).unwrap_or(0);
        let places: Vec<Reason> = reasons.get(leading).filter(|r| !r.is_empty()).cloned().unwrap_or_else(|| vec![Reason { part: None, bar: None, why: String::new() }]);
        let mut seen: Vec<Option<String>> = Vec::new();
        for place in places {
            if seen.contains(&place.part) {
                continue;
            }
            seen.push(place.part.clone());
            let why: Vec<&str> = reasons.iter().enumerate().filter_map(|(i, r)| if i == leading { Some(place.why.as_str()) } else { r.iter().find(|r| r.part == place.part).or(r.first()).map(|r| r.why.as_str()) }).filter(|w| !w.is_empty()).collect();
            let why = if why.is_empty() { "Nothing of what was ruled out stands in it.".to_string() } else { why.join(" ") };
            hits.push(Hit { lesson: folder.into(), title: title.into(), passage: Some(name.clone()), passage_title: Some(passage_title.clone()), part: place.part, bar: place.bar, why });
        }
        Ok(())
    }

    fn why_lesson(&self, lesson: i64, term: &Term) -> Result<Option<String>, ShelfError> {
        for test in &term.tests {
            if let Test::Words(words) = test
                && let Some(reason) = self.why_words(-lesson, words)?.into_iter().next()
            {
                return Ok(Some(reason.why));
            }
        }
        Ok(None)
    }

    /// Why a term holds in a passage, the closest first.
    fn why_passage(&self, id: i64, term: &Term) -> Result<Vec<Reason>, ShelfError> {
        for test in &term.tests {
            let found = self.why(id, test)?;
            if !found.is_empty() {
                return Ok(found);
            }
        }
        Ok(vec![])
    }

    fn why(&self, id: i64, test: &Test) -> Result<Vec<Reason>, ShelfError> {
        match test {
            Test::Words(words) => self.why_words(id, words),
            Test::Kind { qualities, rootless } => {
                let mut out = self.why_grips(id, "kind IS NOT NULL", &[], &|g| (qualities.is_empty() || qualities.contains(&g.kind)) && (!*rootless || g.rootless), &|g| {
                    format!("{}, which is {}{}", g.at(), g.name, if g.rootless { " without its root" } else { "" })
                })?;
                out.sort_by_key(|r| r.bar.is_none());
                Ok(out)
            }
            Test::Sign { root, quality } => {
                let of = |g: &GripRow| g.kind == *quality && root.is_none_or(|r| g.root == Some(i64::from(r.0)));
                let mut out = self.why_grips(id, "kind = ?2", &[quality], &of, &|g| format!("{}, which is {}{}", g.at(), g.name, if g.rootless { " without its root" } else { "" }))?;
                out.sort_by_key(|r| r.bar.is_none());
                if out.is_empty() {
                    let mut rows = self.db.prepare_cached("SELECT name, bar, written, root FROM chord WHERE passage = ?1 AND kind = ?2 ORDER BY nr")?;
                    let rows = rows.query_map(params![id, quality], |r| Ok((r.get::<_, String>(0)?, r.get::<_, u32>(1)?, r.get::<_, bool>(2)?, r.get::<_, i64>(3)?)))?;
                    for row in rows {
                        let (name, bar, written, at) = row?;
                        if root.is_none_or(|r| i64::from(r.0) == at) {
                            out.push(Reason { part: None, bar: Some(bar), why: format!("The {} has {name} in {}.", if written { "written harmony" } else { "harmony of all parts" }, bar_in_words(bar)) });
                        }
                    }
                }
                Ok(out)
            }
            Test::Grip(wanted) => {
                let mut found: Vec<(u8, Reason)> = Vec::new();
                let stack = wanted.stack_key();
                for g in self.grips(id, "stack = ?2", &[&stack])? {
                    let Some(like) = g.shape.like(wanted) else { continue };
                    found.push((like.rank(), Reason { part: Some(g.part.clone()), bar: g.bar, why: format!("{}, {}.", g.at(), crate::taught::in_words(like, &g.shape)) }));
                }
                found.sort_by_key(|f| (f.0, f.1.bar.is_none()));
                Ok(found.into_iter().map(|f| f.1).collect())
            }
            Test::Parent(forms) => {
                let mut out: Vec<(i64, Reason)> = Vec::new();
                for form in forms {
                    let mut rows = self.db.prepare_cached("SELECT part, grip, left_out FROM form WHERE passage = ?1 AND form = ?2 ORDER BY part, grip")?;
                    let rows: Vec<(i64, i64, i64)> = rows.query_map(params![id, form], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?.collect::<Result<_, _>>()?;
                    for (part, nr, left_out) in rows {
                        for g in self.grips(id, "grip.part = ?2 AND grip.nr = ?3", &[&part, &nr])? {
                            let how = match left_out {
                                0 => format!("all of the {form}"),
                                n => format!("the {form} without {n} of its strings"),
                            };
                            out.push((left_out, Reason { part: Some(g.part.clone()), bar: g.bar, why: format!("{}: {how}.", g.at()) }));
                        }
                    }
                }
                out.sort_by_key(|r| (r.0, r.1.bar.is_none()));
                Ok(out.into_iter().map(|r| r.1).collect())
            }
            Test::Technique(t) => {
                let mut rows = self.db.prepare_cached("SELECT part.name, bar, times FROM technique JOIN part ON part.passage = technique.passage AND part.nr = technique.part WHERE technique.passage = ?1 AND technique = ?2 ORDER BY part.nr")?;
                let rows = rows.query_map(params![id, *t as i64], |r| {
                    let (part, bar, times): (String, u32, u32) = (r.get(0)?, r.get(1)?, r.get(2)?);
                    let count = if times == 1 { "once".into() } else { format!("{times} times, first") };
                    Ok(Reason { why: format!("{part} has {} {count} in {}.", t.word(), bar_in_words(bar)), part: Some(part), bar: Some(bar) })
                })?;
                Ok(rows.collect::<Result<_, _>>()?)
            }
            Test::Tempo(_) => self.why_passage_row(id, "SELECT slowest, fastest FROM passage WHERE id = ?1 AND slowest <= ?3 AND fastest >= ?2", test, |r| {
                let (slow, fast): (f64, f64) = (r.get(0)?, r.get(1)?);
                Ok(if slow == fast { format!("Its tempo is {slow}.") } else { format!("Its tempo goes from {slow} to {fast}.") })
            }),
            Test::Key { tonic, mode } => {
                let mut rows = self.db.prepare_cached("SELECT key FROM passage WHERE id = ?1 AND (?2 IS NULL OR tonic = ?2) AND (?3 IS NULL OR mode = ?3) AND key IS NOT NULL")?;
                let rows = rows.query_map(params![id, tonic.map(|t| t.0), mode.map(|m| m.name())], |r| Ok(plain(format!("Its key is {}.", r.get::<_, String>(0)?))))?;
                Ok(rows.collect::<Result<_, _>>()?)
            }
            Test::Swing(None) => {
                let mut rows = self.db.prepare_cached("SELECT 1 FROM passage WHERE id = ?1 AND swing IS NULL")?;
                Ok(if rows.exists([id])? { vec![plain("It is played even, without swing.".into())] } else { vec![] })
            }
            Test::Swing(Some(_)) => self.why_passage_row(id, "SELECT swing FROM passage WHERE id = ?1 AND swing BETWEEN ?2 AND ?3", test, |r| Ok(format!("It swings at {} %.", r.get::<_, f64>(0)?))),
            Test::Level(range) => {
                let mut rows = self.db.prepare_cached("SELECT name, level FROM part WHERE passage = ?1 AND level BETWEEN ?2 AND ?3 ORDER BY nr")?;
                let rows = rows.query_map(params![id, range.from, range.to], |r| {
                    let part: String = r.get(0)?;
                    Ok(Reason { why: format!("{part} is of level {}.", r.get::<_, i64>(1)?), part: Some(part), bar: None })
                })?;
                Ok(rows.collect::<Result<_, _>>()?)
            }
            Test::Lock(figure, range) => self.why_lock(id, *figure, *range),
        }
    }

    fn why_passage_row(&self, id: i64, sql: &str, test: &Test, say: impl Fn(&rusqlite::Row) -> rusqlite::Result<String>) -> Result<Vec<Reason>, ShelfError> {
        let (Test::Tempo(range) | Test::Swing(Some(range))) = test else { return Ok(vec![]) };
        let mut rows = self.db.prepare_cached(sql)?;
        let rows = rows.query_map(params![id, range.from, range.to], |r| say(r).map(plain))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    fn why_lock(&self, id: i64, figure: Figure, range: Range) -> Result<Vec<Reason>, ShelfError> {
        let sql = format!(
            "SELECT a.name, b.name, {0} FROM pair JOIN part a ON a.passage = pair.passage AND a.nr = pair.a JOIN part b ON b.passage = pair.passage AND b.nr = pair.b
             WHERE pair.passage = ?1 AND {0} BETWEEN ?2 AND ?3 ORDER BY pair.a, pair.b",
            figure.word()
        );
        let mut rows = self.db.prepare_cached(&sql)?;
        let rows = rows.query_map(params![id, range.from, range.to], |r| {
            let (a, b, value): (String, String, f64) = (r.get(0)?, r.get(1)?, r.get(2)?);
            let why = match figure {
                Figure::Shared => format!("{a} and {b} strike together in {value} % of the slots."),
                Figure::Alternating => format!("Only one of {a} and {b} strikes in {value} % of the slots."),
                Figure::Empty => format!("Neither {a} nor {b} strikes in {value} % of the slots."),
                Figure::Clashes if value == 1.0 => format!("{a} and {b} rub once."),
                Figure::Clashes => format!("{a} and {b} rub {value} times."),
                Figure::Overlap if value < 0.0 => format!("A gap of {} semitones lies between {a} and {b}.", -value),
                Figure::Overlap => format!("{a} and {b} have {value} semitones in common."),
            };
            Ok(Reason { part: Some(a), bar: None, why })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    fn why_words(&self, of: i64, words: &[String]) -> Result<Vec<Reason>, ShelfError> {
        // A passage has few texts: looking at them is quicker than asking the full text again, which goes through all places of the words.
        let of_texts = "SELECT text.what, part.name, text.bar, words.body FROM text JOIN words ON words.rowid = text.id LEFT JOIN part ON part.passage = ?3 AND part.nr = text.part
             WHERE text.id >= ?1 AND text.id < ?2 ORDER BY text.id";
        let wanted = Test::Words(words.to_vec());
        let mut found = self.texts_with(of_texts, params![of << TEXT_BITS, (of + 1) << TEXT_BITS, of], words, &|body| wanted.in_words(body) == Some(true))?;
        if found.is_empty() {
            // Letters that the full text folds otherwise than this crate.
            let again = "SELECT text.what, part.name, text.bar, words.body FROM words JOIN text ON text.id = words.rowid LEFT JOIN part ON part.passage = ?3 AND part.nr = text.part
             WHERE words MATCH ?4 AND words.rowid >= ?1 AND words.rowid < ?2 ORDER BY words.rowid";
            found = self.texts_with(again, params![of << TEXT_BITS, (of + 1) << TEXT_BITS, of, phrase(words)], words, &|_| true)?;
        }
        Ok(found)
    }

    fn texts_with(&self, sql: &str, of: impl Params, words: &[String], holds: &dyn Fn(&str) -> bool) -> Result<Vec<Reason>, ShelfError> {
        let mut rows = self.db.prepare_cached(sql)?;
        let mut rows = rows.query(of)?;
        let mut out = Vec::new();
        while let Some(r) = rows.next()? {
            let body: String = r.get(3)?;
            if holds(&body) {
                let (kind, part, bar): (i64, Option<String>, Option<u32>) = (r.get(0)?, r.get(1)?, r.get(2)?);
                out.push(Reason { why: format!("{} \u{201c}{}\u{201d}.", heading(kind, part.as_deref(), bar), excerpt(&body, words)), part, bar });
            }
        }
        Ok(out)
    }

    fn why_grips(&self, id: i64, which: &str, of: &[&dyn ToSql], holds: &dyn Fn(&GripRow) -> bool, say: &dyn Fn(&GripRow) -> String) -> Result<Vec<Reason>, ShelfError> {
        Ok(self.grips(id, which, of)?.iter().filter(|g| holds(g)).map(|g| Reason { part: Some(g.part.clone()), bar: g.bar, why: format!("{}.", say(g)) }).collect())
    }

    /// Grips of a passage. `which` is a condition of this module's own.
    pub(crate) fn grips(&self, id: i64, which: &str, of: &[&dyn ToSql]) -> Result<Vec<GripRow>, ShelfError> {
        let sql = format!(
            "SELECT part.name, letter, frets, stack, places, fret, low, bar, grip.name, root, kind, rootless FROM grip JOIN part ON part.passage = grip.passage AND part.nr = grip.part
             WHERE grip.passage = ?1 AND {which} ORDER BY grip.part, grip.nr"
        );
        let mut rows = self.db.prepare_cached(&sql)?;
        let all: Vec<&dyn ToSql> = std::iter::once(&id as &dyn ToSql).chain(of.iter().copied()).collect();
        let mut rows = rows.query(params_from_iter(all))?;
        let mut out = Vec::new();
        while let Some(r) = rows.next()? {
            let Some(shape) = Shape::from_keys(&r.get::<_, String>(3)?, &r.get::<_, String>(4)?, r.get(5)?, r.get(6)?) else { return Err(ShelfError::Damaged("a grip cannot be read".into())) };
            out.push(GripRow {
                part: r.get(0)?,
                letter: r.get(1)?,
                frets: r.get(2)?,
                shape,
                bar: r.get(7)?,
                name: r.get::<_, Option<String>>(8)?.unwrap_or_default(),
                root: r.get(9)?,
                kind: r.get::<_, Option<String>>(10)?.unwrap_or_default(),
                rootless: r.get(11)?,
            });
        }
        Ok(out)
    }
}

/// A grip as the index has it.
pub(crate) struct GripRow {
    pub part: String,
    pub letter: Option<String>,
    pub frets: String,
    pub shape: Shape,
    pub bar: Option<u32>,
    pub name: String,
    pub root: Option<i64>,
    pub kind: String,
    pub rootless: bool,
}

impl GripRow {
    /// "chop has grip a, x x 8 8 8 x, from bar 2 on"
    pub(crate) fn at(&self) -> String {
        let grip = self.letter.as_ref().map(|l| format!("grip {l}, ")).unwrap_or_default();
        match self.bar {
            Some(bar) => format!("{} plays {grip}{}, first in {}", self.part, self.frets, bar_in_words(bar)),
            None => format!("{} shows {grip}{}, and never strikes it", self.part, self.frets),
        }
    }
}

/// Why something holds, and where.
#[derive(Clone, Debug)]
struct Reason {
    part: Option<String>,
    bar: Option<u32>,
    why: String,
}

fn plain(why: String) -> Reason {
    Reason { part: None, bar: None, why }
}

pub(crate) fn bar_in_words(bar: u32) -> String {
    match bar {
        0 => "the pickup".into(),
        n => format!("bar {n}"),
    }
}

/// What both sets have; the worse rank of the two.
fn meet(a: &Set, b: &Set) -> Set {
    let (mut i, mut j, mut out) = (0, 0, Set::new());
    while let (Some(x), Some(y)) = (a.get(i), b.get(j)) {
        match x.0.cmp(&y.0) {
            std::cmp::Ordering::Less => i += 1,
            std::cmp::Ordering::Greater => j += 1,
            std::cmp::Ordering::Equal => {
                out.push((x.0, x.1.max(y.1)));
                i += 1;
                j += 1;
            }
        }
    }
    out
}

/// Words one after the other, the last perhaps going on, for the full text: each within quotes, and nothing but letters and digits in them.
fn phrase(words: &[String]) -> String {
    let clean: Vec<String> = words.iter().map(|w| w.chars().filter(|c| c.is_alphanumeric()).collect()).collect();
    format!("\"{}\" *", clean.join(" "))
}

fn heading(kind: i64, part: Option<&str>, bar: Option<u32>) -> String {
    let bar = bar.map(bar_in_words);
    let part_of = part.map(|p| format!(" of {p}")).unwrap_or_default();
    match (kind, bar) {
        (0, _) => "The lesson is called".into(),
        (1, _) => "It needs".into(),
        (2, _) => "A remark on the lesson says".into(),
        (3, _) => "A correction says".into(),
        (4, _) => "The passage is called".into(),
        (5, _) => "A part is called".into(),
        (6, _) => format!("The sound{part_of} is"),
        (7, Some(bar)) => format!("Under {bar}{part_of} stands"),
        (_, Some(bar)) => format!("A remark at {bar}{part_of} says"),
        (_, None) => format!("A remark{} says", part.map(|p| format!(" on {p}")).unwrap_or_default()),
    }
}

/// Some words round the place where the words stand.
fn excerpt(body: &str, words: &[String]) -> String {
    let all: Vec<&str> = body.split_whitespace().collect();
    let wanted = words.first().map_or("", String::as_str);
    let at = all.iter().position(|w| crate::fold::tokens(w).iter().any(|t| t.starts_with(wanted))).unwrap_or(0);
    let (from, to) = (at.saturating_sub(5), (at + 7).min(all.len()));
    let mut out: String = all[from..to].join(" ").chars().filter(|c| !c.is_control()).take(160).collect();
    if from > 0 {
        out.insert(0, '…');
    }
    if to < all.len() {
        out.push('…');
    }
    out
}
