//! The index: lessons' facts in an SQLite file, made from the lesson files and brought up to date when they change.
//!
//! # Conventions
//! The index holds nothing that the lessons do not: deleted, damaged or of another version, it is emptied and made again. A lesson is known by its
//! folder, a text that the caller chooses. Size and time of change are a hint: where they are as before, a lesson is taken as unchanged, unless it
//! was changed so shortly before it was read that another change may bear the same time. What decides is the digest of the bytes (SHA-256).
//!
//! # Two programs at once
//! Write-ahead log, one transaction for some lessons, and waiting up to [`WAIT_MS`] for the other's. Whoever comes second finds the lesson's digest
//! there and writes nothing. Even emptying a damaged index goes through SQLite's locks (its "reset database" switch), so nothing is unlinked under
//! another program. SQLite needs a disk of this machine for that, not a network folder.

use crate::facts::{Facts, PassageFacts, Text, facts, quality_of};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode, OptionalExtension, Transaction, TransactionBehavior, params};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// How long to wait for another program's write.
pub const WAIT_MS: u64 = 20_000;
/// A change this shortly before a lesson was read may be followed by another with the same time: coarse clocks of file systems have two seconds.
const COARSE_NS: i64 = 2_000_000_000;
/// Lessons in one transaction.
const BATCH: usize = 100;
/// Version of the tables; raised when they change.
const TABLES_VERSION: i32 = 2;
/// Ids of texts: that of their passage or lesson, shifted, and a number.
pub(crate) const TEXT_BITS: u32 = 20;

/// An index that is open.
pub struct Shelf {
    pub(crate) db: Connection,
}

/// What the caller knows of a lesson file without reading it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seen {
    /// The lesson's folder, as hits shall name it.
    pub folder: String,
    pub bytes: u64,
    /// Time of the last change, nanoseconds since 1970.
    pub modified_ns: i64,
}

/// How far size and time of change are trusted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Trust {
    /// Only what looks changed is read.
    #[default]
    Hint,
    /// Everything is read.
    Contents,
}

/// What an update found. Folders in the order of their names.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Update {
    pub added: Vec<String>,
    pub changed: Vec<String>,
    pub removed: Vec<String>,
    /// From and to: the same bytes under another name, the old name gone.
    pub moved: Vec<(String, String)>,
    /// Lessons with errors, among those read: what could be read of them is in the index.
    pub faulty: Vec<String>,
    /// Lessons that could not be read, and why. What the index had of them it keeps.
    pub unreadable: Vec<(String, String)>,
    pub unchanged: usize,
    /// The index was damaged and was made anew.
    pub rebuilt: bool,
}

/// Why the index cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ShelfError {
    /// It is damaged; [`Shelf::update`] makes it anew.
    Damaged(String),
    /// Another program has been writing for longer than [`WAIT_MS`].
    Busy,
    /// The file cannot be opened or written.
    File(String),
    /// Its name does not end in `.shelf`.
    Name,
}

impl std::fmt::Display for ShelfError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            ShelfError::Damaged(why) => write!(f, "the index of lessons is damaged ({why}); it can be made anew from the lessons"),
            ShelfError::Busy => write!(f, "another program keeps writing to the index of lessons; try again when it is done"),
            ShelfError::File(why) => write!(f, "the index of lessons cannot be used: {why}"),
            ShelfError::Name => write!(f, "an index of lessons has a name that ends in .shelf, so that no other file can be taken for a damaged one and emptied"),
        }
    }
}

impl std::error::Error for ShelfError {}

impl From<rusqlite::Error> for ShelfError {
    fn from(e: rusqlite::Error) -> ShelfError {
        match e.sqlite_error_code() {
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => ShelfError::Damaged(e.to_string()),
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => ShelfError::Busy,
            // A missing table, or a value of another kind than was written, is damage too.
            Some(ErrorCode::Unknown) => ShelfError::Damaged(e.to_string()),
            Some(_) => ShelfError::File(e.to_string()),
            None => ShelfError::Damaged(e.to_string()),
        }
    }
}

const TABLES: &str = "
CREATE TABLE lesson (id INTEGER PRIMARY KEY, folder TEXT NOT NULL UNIQUE, bytes INTEGER NOT NULL, modified_ns INTEGER NOT NULL, read_ns INTEGER NOT NULL,
  digest BLOB NOT NULL, title TEXT NOT NULL, faulty INTEGER NOT NULL);
CREATE INDEX lesson_digest ON lesson (digest);
CREATE TABLE passage (id INTEGER PRIMARY KEY, lesson INTEGER NOT NULL, nr INTEGER NOT NULL, name TEXT NOT NULL, title TEXT NOT NULL, slowest REAL NOT NULL,
  fastest REAL NOT NULL, tonic INTEGER, mode TEXT, key TEXT, swing REAL, bars INTEGER NOT NULL, techniques INTEGER NOT NULL, shapes INTEGER NOT NULL,
  kinds INTEGER NOT NULL, shared REAL);
CREATE INDEX passage_lesson ON passage (lesson, nr);
CREATE TABLE part (passage INTEGER NOT NULL, nr INTEGER NOT NULL, name TEXT NOT NULL, level INTEGER, PRIMARY KEY (passage, nr)) WITHOUT ROWID;
CREATE TABLE grip (passage INTEGER NOT NULL, part INTEGER NOT NULL, nr INTEGER NOT NULL, letter TEXT, frets TEXT NOT NULL, stack TEXT NOT NULL, places TEXT NOT NULL,
  fret INTEGER NOT NULL, low INTEGER NOT NULL, strokes INTEGER NOT NULL, bar INTEGER, name TEXT, root INTEGER, kind TEXT, rootless INTEGER NOT NULL, parent TEXT,
  PRIMARY KEY (passage, part, nr)) WITHOUT ROWID;
CREATE INDEX grip_stack ON grip (stack, places, fret);
CREATE INDEX grip_kind ON grip (kind, rootless, root);
CREATE INDEX grip_parent ON grip (parent, strokes) WHERE parent IS NOT NULL;
CREATE INDEX grip_named ON grip (kind) WHERE letter IS NOT NULL;
CREATE TABLE form (passage INTEGER NOT NULL, part INTEGER NOT NULL, grip INTEGER NOT NULL, form TEXT NOT NULL, left_out INTEGER NOT NULL,
  PRIMARY KEY (passage, part, grip, form)) WITHOUT ROWID;
CREATE INDEX form_form ON form (form, left_out);
CREATE INDEX form_whole ON form (form) WHERE left_out = 0;
CREATE TABLE technique (passage INTEGER NOT NULL, part INTEGER NOT NULL, technique INTEGER NOT NULL, bar INTEGER NOT NULL, times INTEGER NOT NULL,
  PRIMARY KEY (passage, part, technique)) WITHOUT ROWID;
CREATE INDEX technique_technique ON technique (technique, times);
CREATE TABLE chord (passage INTEGER NOT NULL, nr INTEGER NOT NULL, name TEXT NOT NULL, root INTEGER NOT NULL, kind TEXT NOT NULL, written INTEGER NOT NULL,
  bar INTEGER NOT NULL, beats INTEGER NOT NULL, PRIMARY KEY (passage, nr)) WITHOUT ROWID;
CREATE INDEX chord_kind ON chord (kind, root, beats);
CREATE TABLE pair (passage INTEGER NOT NULL, a INTEGER NOT NULL, b INTEGER NOT NULL, shared REAL NOT NULL, alternating REAL NOT NULL, empty REAL NOT NULL,
  clashes INTEGER NOT NULL, overlap INTEGER, PRIMARY KEY (passage, a, b)) WITHOUT ROWID;
CREATE TABLE text (id INTEGER PRIMARY KEY, part INTEGER, bar INTEGER, what INTEGER NOT NULL);
CREATE VIRTUAL TABLE words USING fts5 (body, tokenize = 'unicode61 remove_diacritics 2');
";

const VERSION: i32 = TABLES_VERSION * 1000 + crate::facts::FACTS_VERSION;

/// A file's digest.
fn digest(bytes: &[u8]) -> [u8; 32] {
    Sha256::digest(bytes).into()
}

impl Shelf {
    /// Opens an index, or makes an empty one. The file's name ends in `.shelf`; two more of SQLite's lie beside it while it is in use.
    ///
    /// A file that is no index, or of another version, is emptied: [`Shelf::update`] fills it.
    ///
    /// # Errors
    /// [`ShelfError::File`] where the folder cannot be written, [`ShelfError::Busy`], [`ShelfError::Name`].
    pub fn open(path: &Path) -> Result<Shelf, ShelfError> {
        if path.extension().is_none_or(|e| e != "shelf") {
            return Err(ShelfError::Name);
        }
        let db = Connection::open(path)?;
        db.busy_timeout(std::time::Duration::from_millis(WAIT_MS))?;
        let mut shelf = Shelf { db };
        match shelf.prepare() {
            Err(ShelfError::Damaged(_)) => shelf.rebuild()?,
            other => other?,
        }
        Ok(shelf)
    }

    fn version(&self) -> Result<i32, ShelfError> {
        Ok(self.db.query_row("PRAGMA user_version", [], |r| r.get(0))?)
    }

    fn prepare(&mut self) -> Result<(), ShelfError> {
        // Going over to the log is the one step that does not wait for others by itself.
        let mut tries = 0;
        loop {
            match self.db.query_row("PRAGMA journal_mode = WAL", [], |_| Ok(())).map_err(ShelfError::from) {
                Err(ShelfError::Busy) if tries < 200 => std::thread::sleep(std::time::Duration::from_millis(50)),
                other => break other?,
            }
            tries += 1;
        }
        self.db.execute_batch("PRAGMA synchronous = NORMAL; PRAGMA temp_store = MEMORY; PRAGMA cache_size = -32000; PRAGMA trusted_schema = OFF")?;
        self.db.set_prepared_statement_cache_capacity(64);
        match self.version()? {
            VERSION => Ok(()),
            0 => self.create(),
            _ => self.rebuild(),
        }
    }

    fn create(&mut self) -> Result<(), ShelfError> {
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let version: i32 = tx.query_row("PRAGMA user_version", [], |r| r.get(0))?;
        // Another program may have been faster.
        if version != VERSION {
            tx.execute_batch(TABLES)?;
            tx.pragma_update(None, "user_version", VERSION)?;
        }
        Ok(tx.commit()?)
    }

    /// Empties the index, whatever is in the file.
    ///
    /// # Errors
    /// [`ShelfError::Busy`], [`ShelfError::File`].
    pub fn rebuild(&mut self) -> Result<(), ShelfError> {
        self.db.flush_prepared_statement_cache();
        // Read the schema once, as the switch's description asks for; that this may fail is why we are here.
        let _ = self.db.query_row("SELECT count(*) FROM sqlite_schema", [], |_| Ok(()));
        self.db.set_db_config(DbConfig::SQLITE_DBCONFIG_RESET_DATABASE, true)?;
        let emptied = self.db.execute_batch("VACUUM");
        self.db.set_db_config(DbConfig::SQLITE_DBCONFIG_RESET_DATABASE, false)?;
        emptied?;
        self.db.query_row("PRAGMA journal_mode = WAL", [], |_| Ok(()))?;
        self.create()
    }

    /// Whether SQLite finds the file whole: pages, indexes, full text. Reads all of it.
    ///
    /// # Errors
    /// [`ShelfError::Damaged`] with the first fault; others as for all calls.
    pub fn verify(&self) -> Result<(), ShelfError> {
        let first: String = self.db.query_row("PRAGMA integrity_check(1)", [], |r| r.get(0))?;
        if first != "ok" {
            return Err(ShelfError::Damaged(first));
        }
        self.db.execute("INSERT INTO words (words) VALUES ('integrity-check')", [])?;
        Ok(())
    }

    /// Brings the index up to date with all lessons that there are: `seen` is the whole list, and what is not in it is taken off the shelf. `read`
    /// gives the bytes of a folder's lesson file; `now_ns` is the time, nanoseconds since 1970.
    ///
    /// A damaged index is emptied and made anew.
    ///
    /// # Errors
    /// [`ShelfError::Busy`], [`ShelfError::File`]. What was written before stays; the next update goes on from there.
    pub fn update(&mut self, seen: &[Seen], now_ns: i64, trust: Trust, read: &mut dyn FnMut(&str) -> std::io::Result<Vec<u8>>) -> Result<Update, ShelfError> {
        match self.update_once(seen, now_ns, trust, read) {
            Err(ShelfError::Damaged(_)) => {
                self.rebuild()?;
                Ok(Update { rebuilt: true, ..self.update_once(seen, now_ns, trust, read)? })
            }
            other => other,
        }
    }

    fn update_once(&mut self, seen: &[Seen], now_ns: i64, trust: Trust, read: &mut dyn FnMut(&str) -> std::io::Result<Vec<u8>>) -> Result<Update, ShelfError> {
        let fault: String = self.db.query_row("PRAGMA quick_check(1)", [], |r| r.get(0))?;
        if fault != "ok" {
            return Err(ShelfError::Damaged(fault));
        }
        let known = self.known()?;
        let mut out = Update::default();
        let listed: BTreeMap<&str, &Seen> = seen.iter().map(|s| (s.folder.as_str(), s)).collect();
        let mut gone: BTreeSet<&str> = known.keys().map(String::as_str).filter(|f| !listed.contains_key(f)).collect();
        let due: Vec<&Seen> = listed
            .values()
            .copied()
            .filter(|s| {
                let fresh = known.get(&s.folder).is_some_and(|k| k.fresh(s));
                out.unchanged += usize::from(fresh && trust == Trust::Hint);
                !fresh || trust == Trust::Contents
            })
            .collect();
        for batch in due.chunks(BATCH) {
            let mut ready: Vec<(&Seen, [u8; 32], Option<Facts>)> = Vec::new();
            for s in batch {
                match read(&s.folder) {
                    Err(e) => out.unreadable.push((s.folder.clone(), e.to_string())),
                    Ok(bytes) => {
                        let digest = digest(&bytes);
                        let before = known.get(&s.folder);
                        if before.is_some_and(|k| k.digest == digest) {
                            out.unchanged += 1;
                            ready.push((s, digest, None));
                            continue;
                        }
                        let from = if before.is_none() { gone.iter().copied().find(|g| known.get(*g).is_some_and(|k| k.digest == digest)) } else { None };
                        if let Some(from) = from {
                            gone.remove(from);
                            out.moved.push((from.to_string(), s.folder.clone()));
                            ready.push((s, digest, None));
                            continue;
                        }
                        let found = facts(&lesson::read_bytes(&bytes));
                        if found.faulty {
                            out.faulty.push(s.folder.clone());
                        }
                        if before.is_some() { &mut out.changed } else { &mut out.added }.push(s.folder.clone());
                        ready.push((s, digest, Some(found)));
                    }
                }
            }
            let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            for (from, to) in &out.moved {
                tx.prepare_cached("UPDATE OR IGNORE lesson SET folder = ?2 WHERE folder = ?1")?.execute([from, to])?;
            }
            for (s, digest, found) in &ready {
                put(&tx, s, digest, now_ns, found.as_ref())?;
            }
            tx.commit()?;
        }
        if !gone.is_empty() {
            let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            for folder in &gone {
                take_off(&tx, folder)?;
            }
            tx.commit()?;
            out.removed = gone.into_iter().map(str::to_string).collect();
        }
        out.moved.sort();
        Ok(out)
    }

    /// Puts one lesson on the shelf, or brings it up to date; true where it was new or had changed. For a program that knows which one was saved.
    ///
    /// # Errors
    /// As [`Shelf::update`]; a damaged index has to be updated as a whole.
    pub fn put(&mut self, seen: &Seen, now_ns: i64, bytes: &[u8]) -> Result<bool, ShelfError> {
        let digest = digest(bytes);
        let before: Option<Vec<u8>> = self.db.prepare_cached("SELECT digest FROM lesson WHERE folder = ?1")?.query_row([&seen.folder], |r| r.get(0)).optional()?;
        let found = (before.as_deref() != Some(&digest)).then(|| facts(&lesson::read_bytes(bytes)));
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        put(&tx, seen, &digest, now_ns, found.as_ref())?;
        tx.commit()?;
        Ok(found.is_some())
    }

    /// Takes one lesson off the shelf; false where it was not on it.
    ///
    /// # Errors
    /// As [`Shelf::put`].
    pub fn take_off(&mut self, folder: &str) -> Result<bool, ShelfError> {
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let was = take_off(&tx, folder)?;
        tx.commit()?;
        Ok(was)
    }

    /// Folders and titles of all lessons, in the order of the folders' names.
    ///
    /// # Errors
    /// As for all calls.
    pub fn lessons(&self) -> Result<Vec<(String, String)>, ShelfError> {
        let mut all = self.db.prepare_cached("SELECT folder, title FROM lesson ORDER BY folder")?;
        Ok(all.query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?.collect::<Result<_, _>>()?)
    }

    fn known(&self) -> Result<BTreeMap<String, Known>, ShelfError> {
        let mut all = self.db.prepare_cached("SELECT folder, bytes, modified_ns, read_ns, digest FROM lesson")?;
        let rows = all.query_map([], |r| {
            let digest: Vec<u8> = r.get(4)?;
            Ok((r.get(0)?, Known { bytes: r.get(1)?, modified_ns: r.get(2)?, read_ns: r.get(3)?, digest: digest.try_into().unwrap_or_default() }))
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}

/// What the index knows of a lesson's file.
struct Known {
    bytes: i64,
    modified_ns: i64,
    read_ns: i64,
    digest: [u8; 32],
}

impl Known {
    fn fresh(&self, seen: &Seen) -> bool {
        (u64::try_from(self.bytes), self.modified_ns) == (Ok(seen.bytes), seen.modified_ns) && self.modified_ns.saturating_add(COARSE_NS) < self.read_ns
    }
}

fn lesson_id(tx: &Transaction, folder: &str) -> Result<Option<i64>, ShelfError> {
    Ok(tx.prepare_cached("SELECT id FROM lesson WHERE folder = ?1")?.query_row([folder], |r| r.get(0)).optional()?)
}

/// Deletes all facts of a lesson.
fn clear(tx: &Transaction, lesson: i64) -> Result<(), ShelfError> {
    let ids: Vec<i64> = tx.prepare_cached("SELECT id FROM passage WHERE lesson = ?1")?.query_map([lesson], |r| r.get(0))?.collect::<Result<_, _>>()?;
    let mut texts: Vec<i64> = ids.clone();
    texts.push(-lesson);
    for id in texts {
        for table in ["DELETE FROM words WHERE rowid >= ?1 AND rowid < ?2", "DELETE FROM text WHERE id >= ?1 AND id < ?2"] {
            tx.prepare_cached(table)?.execute([id << TEXT_BITS, (id + 1) << TEXT_BITS])?;
        }
    }
    for id in ids {
        for table in [
            "DELETE FROM part WHERE passage = ?1",
            "DELETE FROM grip WHERE passage = ?1",
            "DELETE FROM form WHERE passage = ?1",
            "DELETE FROM technique WHERE passage = ?1",
            "DELETE FROM chord WHERE passage = ?1",
            "DELETE FROM pair WHERE passage = ?1",
            "DELETE FROM passage WHERE id = ?1",
        ] {
            tx.prepare_cached(table)?.execute([id])?;
        }
    }
    Ok(())
}

fn take_off(tx: &Transaction, folder: &str) -> Result<bool, ShelfError> {
    let Some(id) = lesson_id(tx, folder)? else { return Ok(false) };
    clear(tx, id)?;
    tx.prepare_cached("DELETE FROM lesson WHERE id = ?1")?.execute([id])?;
    Ok(true)
}

/// Writes a lesson; without facts only what is known of its file. Where another program wrote these bytes already, nothing but that.
fn put(tx: &Transaction, seen: &Seen, digest: &[u8; 32], now_ns: i64, facts: Option<&Facts>) -> Result<(), ShelfError> {
    let bytes = i64::try_from(seen.bytes).unwrap_or(i64::MAX);
    let same = tx
        .prepare_cached("UPDATE lesson SET bytes = ?2, modified_ns = ?3, read_ns = ?4 WHERE folder = ?1 AND digest = ?5")?
        .execute(params![seen.folder, bytes, seen.modified_ns, now_ns, digest])?;
    let Some(facts) = facts.filter(|_| same == 0) else { return Ok(()) };
    if let Some(id) = lesson_id(tx, &seen.folder)? {
        clear(tx, id)?;
    }
    tx.prepare_cached(
        "INSERT INTO lesson (folder, bytes, modified_ns, read_ns, digest, title, faulty) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT (folder) DO UPDATE
         SET bytes = ?2, modified_ns = ?3, read_ns = ?4, digest = ?5, title = ?6, faulty = ?7",
    )?
    .execute(params![seen.folder, bytes, seen.modified_ns, now_ns, digest, facts.title, facts.faulty])?;
    let lesson = lesson_id(tx, &seen.folder)?.unwrap_or_default();
    put_texts(tx, -lesson, &facts.texts)?;
    for (nr, passage) in (0i64..).zip(&facts.passages) {
        put_passage(tx, lesson, nr, passage)?;
    }
    Ok(())
}

fn put_texts(tx: &Transaction, of: i64, texts: &[Text]) -> Result<(), ShelfError> {
    for (i, t) in (0..1i64 << TEXT_BITS).zip(texts) {
        let id = (of << TEXT_BITS) + i;
        tx.prepare_cached("INSERT INTO text VALUES (?1, ?2, ?3, ?4)")?.execute(params![id, t.part.map(|p| p as i64), t.bar, t.kind as i64])?;
        tx.prepare_cached("INSERT INTO words (rowid, body) VALUES (?1, ?2)")?.execute(params![id, t.words])?;
    }
    Ok(())
}

fn put_passage(tx: &Transaction, lesson: i64, nr: i64, p: &PassageFacts) -> Result<(), ShelfError> {
    let mut stacks = BTreeSet::new();
    let mut kinds = BTreeSet::new();
    let mut techniques = 0i64;
    for part in &p.parts {
        stacks.extend(part.grips.iter().map(|g| g.shape.stack_key()));
        techniques |= part.techniques.iter().fold(0, |all, u| all | 1 << u.technique as i64);
    }
    kinds.extend(p.chords.iter().map(|c| quality_of(&c.symbol)));
    let shared = p.pairs.iter().map(|p| p.shared_percent).reduce(f64::max);
    tx.prepare_cached("INSERT INTO passage VALUES (NULL, ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)")?.execute(params![
        lesson,
        nr,
        p.id,
        p.title,
        p.tempo_bpm[0],
        p.tempo_bpm[1],
        p.key.map(|k| k.tonic.class().0),
        p.key.map(|k| k.mode.name()),
        p.key.map(|k| k.to_string()),
        p.swing_percent,
        p.bars,
        techniques,
        stacks.len() as i64,
        kinds.len() as i64,
        shared
    ])?;
    let id = tx.last_insert_rowid();
    put_texts(tx, id, &p.texts)?;
    for (nr, part) in (0i64..).zip(&p.parts) {
        tx.prepare_cached("INSERT INTO part VALUES (?1, ?2, ?3, ?4)")?.execute(params![id, nr, part.name, part.level])?;
        for (g_nr, g) in (0i64..).zip(&part.grips) {
            let name = g.name.as_ref();
            tx.prepare_cached("INSERT INTO grip VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16)")?.execute(params![
                id,
                nr,
                g_nr,
                g.letter.map(String::from),
                g.grip.to_string(),
                g.shape.stack_key(),
                g.shape.place_key(),
                g.shape.fret,
                g.shape.low,
                g.strokes,
                g.bar,
                name.map(ToString::to_string),
                name.map(|n| n.root.class().0),
                name.map(quality_of),
                g.rootless,
                g.parent
            ])?;
            for (form, left_out) in &g.forms {
                tx.prepare_cached("INSERT OR IGNORE INTO form VALUES (?1, ?2, ?3, ?4, ?5)")?.execute(params![id, nr, g_nr, form, left_out])?;
            }
        }
        for u in &part.techniques {
            tx.prepare_cached("INSERT INTO technique VALUES (?1, ?2, ?3, ?4, ?5)")?.execute(params![id, nr, u.technique as i64, u.bar as i64, u.times])?;
        }
    }
    for (nr, c) in (0i64..).zip(&p.chords) {
        tx.prepare_cached("INSERT INTO chord VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)")?.execute(params![id, nr, c.symbol.to_string(), c.symbol.root.class().0, quality_of(&c.symbol), c.written, c.bar, c.beats])?;
    }
    for pair in &p.pairs {
        tx.prepare_cached("INSERT INTO pair VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)")?.execute(params![
            id,
            pair.parts[0] as i64,
            pair.parts[1] as i64,
            pair.shared_percent,
            pair.alternating_percent,
            pair.empty_percent,
            pair.clashes,
            pair.overlap
        ])?;
    }
    Ok(())
}
