//! The shelf on disk: which lessons lie below a folder, and the index beside them; and the verbs `find`, `requests` and `course` that ask it.

use crate::args::{Course as CourseAsked, Find, Make, Requests as RequestsAsked};
use crate::failure::{Failure, print, print_json, report};
use crate::folder::{LESSON_FILE, problems_json};
use crate::pages;
use crate::store;
use lesson::Weight;
use serde_json::{Value, json};
use shelf::{Coverage, Hit, Matched, Seen, Shelf, ShelfError, Trust, Update};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

/// Deepest folder below the shelf's own that is looked into, and most lessons that are taken up.
const DEPTH_MAX: usize = 8;
const LESSONS_MAX: usize = 50_000;
/// Answers that are shown of each request.
const MOST_ANSWERS: usize = 3;
/// What pupils asked for, where no other file is named.
const REQUESTS_FILE: &str = "requests.txt";

fn shelf_fault(e: ShelfError) -> Failure {
    Failure::NotPossible(e.to_string())
}

fn now_ns() -> i64 {
    SystemTime::now().duration_since(UNIX_EPOCH).ok().and_then(|d| i64::try_from(d.as_nanos()).ok()).unwrap_or(0)
}

/// The shelf of all lessons below a folder, brought up to date.
pub fn open(folder: &Path) -> Result<(Shelf, Update), Failure> {
    let shown = folder.display().to_string();
    std::fs::read_dir(folder).map_err(Failure::io(shown.clone()))?;
    let kept = own_folder(folder)?;
    let index = kept.join("all.shelf");
    for name in ["all.shelf", "all.shelf-wal", "all.shelf-shm"] {
        if std::fs::symlink_metadata(kept.join(name)).is_ok_and(|m| !m.is_file()) {
            return Err(Failure::NotPossible(format!("{}: a link or a folder stands where the program keeps its own file; take it away", kept.join(name).display())));
        }
    }
    let mut shelf = Shelf::open(&index).map_err(shelf_fault)?;
    let mut seen = Vec::new();
    lessons(folder, "", 0, &mut seen);
    seen.sort_by(|a, b| a.folder.cmp(&b.folder));
    if seen.len() > LESSONS_MAX {
        return Err(Failure::NotPossible(format!("{shown}: {} lessons lie here; one shelf holds {LESSONS_MAX}", seen.len())));
    }
    let mut read = |name: &str| lesson_bytes(&folder.join(name));
    let update = shelf.update(&seen, now_ns(), Trust::Hint, &mut read).map_err(shelf_fault)?;
    for (name, why) in &update.unreadable {
        eprintln!("partwright: {}: cannot be read ({why}); what the shelf had of it stays", folder.join(name).display());
    }
    Ok((shelf, update))
}

fn lesson_bytes(folder: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    std::fs::File::open(folder.join(LESSON_FILE))?.take(lesson::BYTES_MAX as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Lesson folders below `folder`; packs, hidden folders and links are not looked into.
fn lessons(folder: &Path, name: &str, depth: usize, seen: &mut Vec<Seen>) {
    if let Ok(meta) = std::fs::metadata(folder.join(LESSON_FILE))
        && meta.is_file()
    {
        let modified = meta.modified().ok().and_then(|t| t.duration_since(UNIX_EPOCH).ok()).and_then(|d| i64::try_from(d.as_nanos()).ok());
        seen.push(Seen { folder: if name.is_empty() { ".".into() } else { name.into() }, bytes: meta.len(), modified_ns: modified.unwrap_or(0) });
    }
    let Ok(list) = std::fs::read_dir(folder) else { return };
    if depth >= DEPTH_MAX || seen.len() > LESSONS_MAX {
        return;
    }
    for entry in list.flatten() {
        // A name that is no Unicode cannot be shown again.
        let Ok(own) = entry.file_name().into_string() else { continue };
        let is_folder = entry.file_type().is_ok_and(|t| t.is_dir());
        if is_folder && !own.starts_with('.') && own != "pack" && own != "practice" {
            let below = if name.is_empty() { own.clone() } else { format!("{name}/{own}") };
            lessons(&entry.path(), &below, depth + 1, seen);
        }
    }
}

/// Sentences on where a grip stands in the lessons below a folder.
pub fn taught(folder: &Path, grip: &neck::Grip, instrument: &neck::Instrument) -> Result<Vec<String>, Failure> {
    const MOST: usize = 5;
    let (shelf, _) = open(folder)?;
    let found = shelf.taught(grip, instrument, None).map_err(shelf_fault)?;
    Ok(found.iter().take(MOST).map(shelf::Taught::sentence).collect())
}

/// Where another lesson taught a grip with a letter: the closest. `own` is the folder of the lesson that asks, as the shelf names it.
pub fn taught_elsewhere(shelf: &Shelf, grip: &neck::Grip, instrument: &neck::Instrument, own: Option<&str>) -> Result<Option<shelf::Taught>, Failure> {
    Ok(shelf.taught(grip, instrument, own).map_err(shelf_fault)?.into_iter().find(|t| t.letter.is_some()))
}

fn hit_json(h: &Hit) -> Value {
    json!({ "lesson": h.lesson, "title": h.title, "passage": h.passage, "passage_title": h.passage_title, "part": h.part, "bar": h.bar, "why": h.why })
}

/// The lesson, or the passage in it.
fn where_found(h: &Hit) -> String {
    h.passage.as_ref().map_or(h.lesson.clone(), |p| format!("{}/{p}", h.lesson))
}

fn hit_text(h: &Hit) -> String {
    let mut at = where_found(h);
    let place = place_text(h.part.as_deref(), h.bar);
    if !place.is_empty() {
        at.push_str(&format!(", {place}"));
    }
    format!("{at}\n    {}\n", h.why)
}

/// Part and bar of a hit, in words.
fn place_text(part: Option<&str>, bar: Option<u32>) -> String {
    let bar = bar.map(|b| if b == 0 { "pickup".to_string() } else { format!("bar {b}") });
    part.map(str::to_string).into_iter().chain(bar).collect::<Vec<_>>().join(", ")
}

/// Faults in what was typed, with the place under the text.
fn query_faults(text: &str, problems: &[lesson::Problem]) -> String {
    let mut out = String::from("the query cannot be read");
    for p in problems {
        let before = text.get(..p.span.start).map_or(0, |t| t.chars().count());
        let long = text.get(p.span.start..p.span.end).map_or(1, |t| t.chars().count().max(1));
        out.push_str(&format!("\n  {text}\n  {}{}\n  {}; {}", " ".repeat(before), "^".repeat(long), p.found, p.right));
    }
    out
}

/// What the page of the bench shows of the shelf.
mod shown {
    use super::*;
    use bench::services::{Found, Hit, Wish};

    const MOST: usize = 20;
    /// Uses from which on it is worth saying that something was never taught.
    const OFTEN: u64 = 3;

    pub fn find(folder: &Path, words: &str) -> Result<Found, Failure> {
        let query = shelf::query(words).map_err(|p| Failure::Usage(query_faults(words, &p)))?;
        let found = open(folder)?.0.find(&query, MOST).map_err(shelf_fault)?;
        let hits = found.hits.into_iter().map(|h| Hit { place: place_text(h.part.as_deref(), h.bar), lesson: h.lesson, title: h.title, passage: h.passage, why: h.why }).collect();
        Ok(Found { hits, total: found.total })
    }

    pub fn like(folder: &Path, lesson: &str, passage: &str) -> Result<Found, Failure> {
        let found = open(folder)?.0.nearest(lesson, passage, MOST).map_err(shelf_fault)?;
        let found = found.ok_or_else(|| Failure::MaterialSaid(format!("the shelf has no passage \"{passage}\" in \"{lesson}\"")))?;
        let hits: Vec<Hit> = found.into_iter().map(|n| Hit { lesson: n.lesson, title: n.title, passage: Some(n.passage), place: String::new(), why: n.why }).collect();
        Ok(Found { total: hits.len(), hits })
    }

    pub fn never_taught(folder: &Path) -> Result<Vec<String>, Failure> {
        Ok(open(folder)?.0.never_taught(OFTEN).map_err(shelf_fault)?.into_iter().map(|g| g.why).collect())
    }

    pub fn wishes(folder: &Path) -> Result<Vec<Wish>, Failure> {
        let (_, list) = sound_list(folder)?;
        let wanted = open(folder)?.0.wanted(&list, MOST_ANSWERS).map_err(shelf_fault)?;
        let one = |m: &Matched| {
            let (hits, by, without) = coverage(m);
            let by = hits.iter().map(where_found).chain(by.iter().cloned()).collect();
            Wish { words: m.request.words.clone(), day: m.request.date.clone(), times: m.request.times, by, without: without.to_vec() }
        };
        Ok(wanted.most_wanted.iter().map(|i| one(&wanted.not_covered[*i])).chain(wanted.covered.iter().map(one)).collect())
    }

    pub fn wish(folder: &Path, lines: &str) -> Result<(), Failure> {
        let _one = one_at_a_time(folder)?;
        let (text, list) = sound_list(folder)?;
        let (list, _) = list.import(lines, Some(&today())).map_err(|p| Failure::Usage(report(Path::new("what was typed"), lines, &p)))?;
        if list.text() != text { store::write_whole(&folder.join(REQUESTS_FILE), list.text().as_bytes(), true) } else { Ok(()) }
    }

    /// The shelf's requests and their text, where no line of it is faulty.
    fn sound_list(folder: &Path) -> Result<(String, shelf::Requests), Failure> {
        let file = folder.join(REQUESTS_FILE);
        let text = requests_text(&file, true)?;
        let (list, problems) = shelf::requests(&text);
        if problems.is_empty() { Ok((text, list)) } else { Err(Failure::MaterialSaid(report(&file, &text, &problems))) }
    }
}

pub use shown::{find as find_shown, like, never_taught, wish, wishes};

pub fn find(a: &Find, json: bool) -> Result<(), Failure> {
    const SCHEMA: &str = "partwright/find/1";
    let most = usize::from(a.most);
    let (shelf, _) = open(&a.shelf)?;
    if let Some(least) = a.never_taught {
        let gaps = shelf.never_taught(least).map_err(shelf_fault)?;
        if json {
            let list: Vec<Value> = gaps.iter().map(|g| json!({ "what": g.what, "uses": g.uses, "passages": g.passages, "why": g.why })).collect();
            return print_json(&json!({ "schema": SCHEMA, "never_taught": list }));
        }
        let lines: Vec<String> = gaps.iter().map(|g| format!("{}\n", g.why)).collect();
        return print(&if lines.is_empty() { "everything that is used often was taught\n".into() } else { lines.concat() });
    }
    if let Some(near) = &a.near {
        let (folder, passage) = near.rsplit_once('/').ok_or_else(|| Failure::Usage(format!("\"{near}\" is no passage; write the lesson's folder and the passage: ferry-road/verse")))?;
        let found = shelf.nearest(folder, passage, most).map_err(shelf_fault)?;
        let found = found.ok_or_else(|| Failure::MaterialSaid(format!("the shelf has no passage \"{passage}\" in \"{folder}\"")))?;
        if json {
            let list: Vec<Value> = found.iter().map(|n| json!({ "lesson": n.lesson, "title": n.title, "passage": n.passage, "passage_title": n.passage_title, "part": null, "bar": null, "likeness": (n.likeness * 1e3).round() / 1e3, "why": n.why })).collect();
            return print_json(&json!({ "schema": SCHEMA, "hits": list }));
        }
        let lines: Vec<String> = found.iter().map(|n| format!("{}/{}\n    {}\n", n.lesson, n.passage, n.why)).collect();
        return print(&if lines.is_empty() { "no other passage has anything in common with it\n".into() } else { lines.concat() });
    }
    let words = a.words.join(" ");
    let query = shelf::query(&words).map_err(|p| Failure::Usage(query_faults(&words, &p)))?;
    let found = shelf.find(&query, most).map_err(shelf_fault)?;
    if json {
        return print_json(&json!({ "schema": SCHEMA, "hits": found.hits.iter().map(hit_json).collect::<Vec<_>>(), "total": found.total }));
    }
    let mut out: String = found.hits.iter().map(hit_text).collect();
    if found.total == 0 {
        out.push_str("nothing on the shelf has all of that\n");
    } else if found.total > most {
        out.push_str(&format!("{} in all; --most shows more\n", found.total));
    }
    print(&out)
}

/// The day of a time in seconds since 1970, `YYYY-MM-DD`, UTC (the days of the Gregorian calendar counted from March on).
fn day(seconds: i64) -> String {
    let days = seconds.div_euclid(86_400) + 719_468;
    let era = days.div_euclid(146_097);
    let of_era = days.rem_euclid(146_097);
    let year = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let month = (5 * of_year + 2) / 153;
    let day = of_year - (153 * month + 2) / 5 + 1;
    let month = if month < 10 { month + 3 } else { month - 9 };
    format!("{:04}-{month:02}-{day:02}", year + 400 * era + i64::from(month <= 2))
}

fn today() -> String {
    day(now_ns() / 1_000_000_000)
}

fn read_text(path: &Path, most: usize) -> Result<String, Failure> {
    let shown = path.display().to_string();
    let mut bytes = Vec::new();
    std::fs::File::open(path).map_err(Failure::io(shown.clone()))?.take(most as u64 + 1).read_to_end(&mut bytes).map_err(Failure::io(shown.clone()))?;
    String::from_utf8(bytes).map_err(|_| Failure::MaterialSaid(format!("{shown}: this is no text in UTF-8")))
}

/// A file of requests; one that is not there holds nothing yet where that `may_begin` it.
fn requests_text(file: &Path, may_begin: bool) -> Result<String, Failure> {
    match read_text(file, shelf::REQUESTS_BYTES_MAX) {
        Err(Failure::Io { error, .. }) if may_begin && error.kind() == std::io::ErrorKind::NotFound => Ok(String::new()),
        other => other,
    }
}

/// What answers a request: what was found, what the teacher says; and its words that no lesson has.
fn coverage(m: &Matched) -> (&[Hit], &[String], &[String]) {
    match &m.coverage {
        Coverage::Covered { hits, .. } => (hits, &[], &[]),
        Coverage::Answered { by, .. } => (&[], by, &[]),
        Coverage::NotCovered { without } => (&[], &[], without),
    }
}

/// Waits until no other program changes the requests of this shelf.
fn one_at_a_time(folder: &Path) -> Result<std::fs::File, Failure> {
    let kept = own_folder(folder)?;
    let shown = kept.display().to_string();
    let lock = keep::lock(&kept.join("requests.lock")).map_err(Failure::io(shown.clone()))?;
    lock.lock().map_err(Failure::io(shown))?;
    keep::sweep(folder);
    Ok(lock)
}

/// The program's own folder in a shelf's.
fn own_folder(folder: &Path) -> Result<PathBuf, Failure> {
    let beside = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    keep::own_folder(beside, store::FOLDER).map_err(Failure::io(folder.join(store::FOLDER).display().to_string()))
}

pub fn requests(a: &RequestsAsked, json: bool) -> Result<(), Failure> {
    const SCHEMA: &str = "partwright/requests/1";
    let file = a.file.clone().unwrap_or_else(|| a.shelf.join(REQUESTS_FILE));
    // Two that add at the same time must not lose each other's words.
    let adds = a.add.is_some() || a.import.is_some();
    let _one = if adds { Some(one_at_a_time(&a.shelf)?) } else { None };
    let text = requests_text(&file, adds)?;
    let (mut list, problems) = shelf::requests(&text);
    if !problems.is_empty() {
        if json {
            print_json(&json!({ "schema": SCHEMA, "problems": problems_json(&text, &problems) }))?;
        } else {
            eprint!("{}", report(&file, &text, &problems));
        }
        return Err(Failure::Material);
    }
    let today = a.day.clone().unwrap_or_else(today);
    if let Some(words) = &a.add {
        list = list.add(words, Some(&today), a.times).map_err(Failure::Usage)?.0;
    }
    if let Some(import) = &a.import {
        let theirs = read_text(import, shelf::REQUESTS_BYTES_MAX)?;
        match list.import(&theirs, Some(&today)) {
            Ok((more, _)) => list = more,
            Err(problems) => {
                eprint!("{}", report(import, &theirs, &problems));
                return Err(Failure::Material);
            }
        }
    }
    if list.text() != text {
        store::write_whole(&file, list.text().as_bytes(), true)?;
    }
    let (shelf, _) = open(&a.shelf)?;
    let wanted = shelf.wanted(&list, MOST_ANSWERS).map_err(shelf_fault)?;
    if json {
        let one = |m: &Matched| {
            let (hits, by, without) = coverage(m);
            let covered = !matches!(m.coverage, Coverage::NotCovered { .. });
            json!({ "words": m.request.words, "day": m.request.date, "times": m.request.times, "covered": covered, "hits": hits.iter().map(hit_json).collect::<Vec<_>>(), "answered_by": by, "without": without })
        };
        let wanted_first = wanted.most_wanted.iter().map(|i| one(&wanted.not_covered[*i]));
        return print_json(&json!({ "schema": SCHEMA, "not_covered": wanted_first.collect::<Vec<_>>(), "covered": wanted.covered.iter().map(one).collect::<Vec<_>>() }));
    }
    let mut out = String::new();
    for i in &wanted.most_wanted {
        let m = &wanted.not_covered[*i];
        let (_, _, without) = coverage(m);
        let without = if without.is_empty() { String::new() } else { format!(" (no lesson has: {})", without.join(", ")) };
        out.push_str(&format!("wanted {:>4}x  {}{without}\n", m.request.times, m.request.words));
    }
    for m in &wanted.covered {
        let (hits, by, _) = coverage(m);
        let by = hits.first().map_or_else(|| by.join(", "), where_found);
        out.push_str(&format!("there  {:>4}x  {} -> {by}\n", m.request.times, m.request.words));
    }
    print(&if out.is_empty() { "nothing was asked for yet\n".into() } else { out })
}

pub fn course(a: &CourseAsked, json: bool) -> Result<(), Failure> {
    const SCHEMA: &str = "partwright/course/1";
    let text = read_text(&a.file, shelf::COURSE_BYTES_MAX)?;
    let (course, mut problems) = shelf::course(&text);
    let folder: PathBuf = a.file.parent().unwrap_or(Path::new("")).to_path_buf();
    let read: Vec<Option<lesson::Reading>> = course.lessons.iter().map(|l| lesson_bytes(&folder.join(&l.folder)).ok().map(|bytes| lesson::read_bytes(&bytes))).collect();
    let facts: Vec<Option<shelf::Facts>> = read.iter().map(|r| r.as_ref().map(shelf::facts)).collect();
    let checked = shelf::check_course(&course, &facts.iter().map(Option::as_ref).collect::<Vec<_>>());
    problems.extend(checked.problems.clone());
    problems.sort_by_key(|p| (p.span, p.weight));
    let faulty = problems.iter().any(|p| p.weight == Weight::Error);
    let title = |i: usize| checked.chapters.get(i).map_or("", |c| c.title.as_str());
    if let Some(out) = &a.handout {
        let lessons: Vec<lesson::Lesson> = read.into_iter().flatten().filter(lesson::Reading::is_sound).map(|r| r.lesson).collect();
        if lessons.len() < course.lessons.len() {
            eprint!("{}", report(&a.file, &text, &problems));
            return Err(Failure::MaterialSaid("no handout was written: every lesson of the course must be there and have no errors".into()));
        }
        let grips = checked.grips.iter().map(|g| {
            let places: Vec<String> = g.places.iter().map(|p| format!("{}, {} ({} {})", title(p.lesson), p.passage, p.part, p.letter)).collect();
            let names = if g.names.is_empty() { String::new() } else { format!("{}: ", g.names.join(", ")) };
            (g.frets.clone(), format!("{names}{}", places.join("; ")))
        });
        let wishes = Make { paper: a.paper, ..Make::plain(folder.clone()) };
        let pdf = pages::course_handout(&course.title, &course.notes, &lessons, grips.collect(), &wishes).map_err(Failure::MaterialSaid)?;
        store::write_whole(out, &pdf, true)?;
    }
    if json {
        let chapters: Vec<Value> = checked
            .chapters
            .iter()
            .map(|c| json!({ "lesson": c.folder, "title": c.title, "takes_up": c.links.iter().map(|l| &l.sentence).collect::<Vec<_>>(), "new_grips": c.new_grips, "new_techniques": c.new_techniques.iter().map(|t| t.word()).collect::<Vec<_>>() }))
            .collect();
        let grips: Vec<Value> = checked
            .grips
            .iter()
            .map(|g| {
                let places: Vec<Value> = g.places.iter().map(|p| json!({ "lesson": course.lessons[p.lesson].folder, "passage": p.passage, "part": p.part, "letter": p.letter.to_string(), "frets": p.frets, "bar": p.bar })).collect();
                json!({ "frets": g.frets, "names": g.names, "parent": g.parent, "places": places })
            })
            .collect();
        print_json(&json!({ "schema": SCHEMA, "title": course.title, "chapters": chapters, "grips": grips, "problems": problems_json(&text, &problems) }))?;
        return if faulty { Err(Failure::Material) } else { Ok(()) };
    }
    let mut out = format!("{}\n", course.title);
    for (i, c) in checked.chapters.iter().enumerate() {
        out.push_str(&format!("\n{}. {} ({})\n", i + 1, c.title, c.folder));
        for l in &c.links {
            out.push_str(&format!("   {}\n", l.sentence));
        }
        if !c.new_grips.is_empty() {
            out.push_str(&format!("   new grips: {}\n", c.new_grips.join("; ")));
        }
        if !c.new_techniques.is_empty() {
            out.push_str(&format!("   new: {}\n", c.new_techniques.iter().map(|t| t.word()).collect::<Vec<_>>().join(", ")));
        }
    }
    if !checked.grips.is_empty() {
        out.push_str("\nGrips\n");
        for g in &checked.grips {
            let places: Vec<String> = g.places.iter().map(|p| format!("{}, {} {}", title(p.lesson), p.passage, p.letter)).collect();
            out.push_str(&format!("  {:<20} {:<14} {}\n", g.frets, g.names.join(", "), places.join("; ")));
        }
    }
    print(&out)?;
    eprint!("{}", report(&a.file, &text, &problems));
    if faulty { Err(Failure::Material) } else { Ok(()) }
}

#[cfg(test)]
mod tests {
    use super::day;

    #[test]
    fn days_of_the_calendar() {
        assert_eq!(day(0), "1970-01-01");
        assert_eq!(day(951_782_400), "2000-02-29");
        assert_eq!(day(951_868_800), "2000-03-01");
        assert_eq!(day(1_767_225_599), "2025-12-31");
        assert_eq!(day(-1), "1969-12-31");
    }
}
