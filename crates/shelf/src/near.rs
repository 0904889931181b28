//! The passages nearest to a given one.
//!
//! # Method
//! Six likenesses from 0 to 1, weighed and added; the weights are set by hand:
//!
//! | weight | likeness |
//! |---|---|
//! | .35 | grips: shapes in common over all shapes of both (Jaccard), whatever their place |
//! | .20 | techniques: in common over all of both |
//! | .20 | kinds of chords in the harmony: in common over all of both |
//! | .10 | tempo: 1 at the same tempo, falling with the faster over the slower, 0 from twice on |
//! | .10 | swing: 1 where equal, 0 from 10 % apart on; even time is 50 % |
//! | .05 | mode of the key: 1 where both have the same |
//!
//! Two sets without a member are not alike.

use crate::index::{Shelf, ShelfError};
use crate::shape::listed;
use crate::technique::Technique;
use rusqlite::{OptionalExtension, params};
use std::collections::BTreeMap;

/// A passage near to another.
#[derive(Clone, Debug, PartialEq)]
pub struct Near {
    pub lesson: String,
    pub title: String,
    pub passage: String,
    pub passage_title: String,
    /// 0 to 1.
    pub likeness: f64,
    /// What the two have in common.
    pub why: String,
}

/// What is compared of a passage.
#[derive(Clone, Debug, Default)]
struct Row {
    id: i64,
    tempo_bpm: f64,
    swing_percent: f64,
    mode: Option<pitch::Mode>,
    techniques: i64,
    shapes: i64,
    kinds: i64,
}

impl Shelf {
    /// The passages nearest to one of the shelf, nearest first, at most so many; equals by folder and place in the lesson. `None` where the shelf has
    /// no such passage. Passages with nothing in common but tempo, swing and mode are left out.
    ///
    /// # Errors
    /// As for all calls.
    pub fn nearest(&self, lesson: &str, passage: &str, most: usize) -> Result<Option<Vec<Near>>, ShelfError> {
        let tx = self.db.unchecked_transaction()?;
        let id: Option<i64> = self
            .db
            .prepare_cached("SELECT passage.id FROM passage JOIN lesson ON lesson.id = passage.lesson WHERE folder = ?1 AND name = ?2")?
            .query_row([lesson, passage], |r| r.get(0))
            .optional()?;
        let Some(id) = id else { return Ok(None) };
        let shapes = self.in_common("SELECT passage, COUNT(DISTINCT stack) FROM grip WHERE stack IN (SELECT stack FROM grip WHERE passage = ?1) GROUP BY passage", id)?;
        let kinds = self.in_common("SELECT passage, COUNT(DISTINCT kind) FROM chord WHERE kind IN (SELECT kind FROM chord WHERE passage = ?1) GROUP BY passage", id)?;
        let mut rows = self.db.prepare_cached("SELECT id, slowest, COALESCE(swing, 50.0), mode, techniques, shapes, kinds FROM passage")?;
        let mut rows = rows.query([])?;
        let mut all: Vec<Row> = Vec::new();
        while let Some(r) = rows.next()? {
            let mode = r.get_ref(3)?.as_str().ok().and_then(|m| pitch::Mode::ALL.into_iter().find(|w| w.name() == m));
            all.push(Row { id: r.get(0)?, tempo_bpm: r.get(1)?, swing_percent: r.get(2)?, mode, techniques: r.get(4)?, shapes: r.get(5)?, kinds: r.get(6)? });
        }
        let Some(own) = all.iter().find(|r| r.id == id).cloned() else { return Ok(None) };
        let common = |of: &BTreeMap<i64, i64>, id: i64| of.get(&id).copied().unwrap_or(0);
        let mut scored: Vec<(f64, i64)> = all
            .iter()
            .filter(|r| r.id != id && (r.techniques & own.techniques != 0 || shapes.contains_key(&r.id) || kinds.contains_key(&r.id)))
            .map(|r| (likeness(&own, r, common(&shapes, r.id), common(&kinds, r.id)), r.id))
            .collect();
        scored.sort_by(|a, b| b.0.total_cmp(&a.0));
        // Equals at the end of the list are ordered before it is cut.
        let least = scored.get(most.saturating_sub(1)).map_or(0.0, |s| s.0);
        scored.retain(|s| s.0 >= least);
        let mut out = Vec::new();
        for (likeness, other) in scored.into_iter().take(most.saturating_add(500)) {
            let mut row = self.db.prepare_cached("SELECT folder, lesson.title, name, passage.title, nr FROM passage JOIN lesson ON lesson.id = passage.lesson WHERE passage.id = ?1")?;
            let (near, nr) = row.query_row([other], |r| {
                Ok((Near { lesson: r.get(0)?, title: r.get(1)?, passage: r.get(2)?, passage_title: r.get(3)?, likeness, why: String::new() }, r.get::<_, i64>(4)?))
            })?;
            out.push((near, nr, other));
        }
        out.sort_by(|a, b| b.0.likeness.total_cmp(&a.0.likeness).then_with(|| (&a.0.lesson, a.1).cmp(&(&b.0.lesson, b.1))));
        out.truncate(most);
        let mut nearest = Vec::new();
        for (near, _, other) in out {
            let row = all.iter().find(|r| r.id == other).cloned().unwrap_or_default();
            nearest.push(Near { why: self.in_common_words(&own, &row)?, ..near });
        }
        tx.finish()?;
        Ok(Some(nearest))
    }

    fn in_common(&self, sql: &str, id: i64) -> Result<BTreeMap<i64, i64>, ShelfError> {
        let mut rows = self.db.prepare_cached(sql)?;
        Ok(rows.query_map([id], |r| Ok((r.get(0)?, r.get(1)?)))?.collect::<Result<_, _>>()?)
    }

    fn texts(&self, sql: &str, a: i64, b: i64) -> Result<Vec<String>, ShelfError> {
        let mut rows = self.db.prepare_cached(sql)?;
        Ok(rows.query_map(params![a, b], |r| r.get(0))?.collect::<Result<_, _>>()?)
    }

    fn in_common_words(&self, a: &Row, b: &Row) -> Result<String, ShelfError> {
        let grips = self.texts("SELECT MIN(frets) FROM grip WHERE passage = ?1 AND stack IN (SELECT stack FROM grip WHERE passage = ?2) GROUP BY stack ORDER BY MIN(frets) LIMIT 4", a.id, b.id)?;
        let kinds = self.texts("SELECT DISTINCT 'C' || kind FROM chord WHERE passage = ?1 AND kind IN (SELECT kind FROM chord WHERE passage = ?2) ORDER BY 1 LIMIT 4", a.id, b.id)?;
        let techniques: Vec<&str> = Technique::ALL.into_iter().filter(|t| a.techniques & b.techniques & (1 << *t as i64) != 0).map(Technique::word).collect();
        let mut out = Vec::new();
        match grips.len() {
            0 => {}
            1 => out.push(format!("Both have the grip {}.", grips[0])),
            _ => out.push(format!("Both have the grips {}.", listed(&grips))),
        }
        if !techniques.is_empty() {
            out.push(format!("Both have {}.", listed(&techniques)));
        }
        if !kinds.is_empty() {
            out.push(format!("Both have chords like {}.", listed(&kinds)));
        }
        if a.tempo_bpm == b.tempo_bpm {
            out.push("Both have the same tempo.".into());
        }
        Ok(out.join(" "))
    }
}

fn likeness(a: &Row, b: &Row, shapes: i64, kinds: i64) -> f64 {
    let over = |both: i64, of_a: i64, of_b: i64| if both > 0 { both as f64 / (of_a + of_b - both).max(both) as f64 } else { 0.0 };
    let techniques = over(i64::from((a.techniques & b.techniques).count_ones()), i64::from(a.techniques.count_ones()), i64::from(b.techniques.count_ones()));
    let ratio = if a.tempo_bpm > 0.0 && b.tempo_bpm > 0.0 { (a.tempo_bpm / b.tempo_bpm).max(b.tempo_bpm / a.tempo_bpm) } else { 2.0 };
    let tempo = (2.0 - ratio).max(0.0);
    let swing = (1.0 - (a.swing_percent - b.swing_percent).abs() / 10.0).max(0.0);
    let mode = f64::from(u8::from(a.mode.is_some() && a.mode == b.mode));
    0.35 * over(shapes, a.shapes, b.shapes) + 0.2 * techniques + 0.2 * over(kinds, a.kinds, b.kinds) + 0.1 * tempo + 0.1 * swing + 0.05 * mode
}
