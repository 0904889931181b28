//! A course: several lessons in order, with what each builds on; checked, with an index of its grips.
//!
//! The file is KDL 2 like the lessons, in words described in `docs/course.md`.
//!
//! # The rule on fragments
//! A grip that a part names is a *fragment* when it is a part of some form, all of none, and sounds three strings at most or leaves out two or more of
//! every form: a barre grip without its top string is none. It may be used when a grip of the course that stands before it, or in the same passage, holds it as a part (moved along the neck or not), or when the course says that
//! pupils know one of its forms, or a grip that holds it. Each fragment is complained of once.

use crate::facts::{Facts, GripFacts};
use crate::shape::{Likeness, Shape, listed};
use crate::technique::Technique;
use kdl::{KdlNode, KdlValue};
use lesson::{Problem, Span, Weight};
use neck::{Grip, Instrument};
use std::collections::{BTreeMap, BTreeSet};

/// Largest course that is read.
pub const COURSE_BYTES_MAX: usize = 256 << 10;
/// Most lessons of a course.
pub const COURSE_LESSONS_MAX: usize = 500;

/// A course as written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Course {
    pub title: String,
    pub notes: Vec<String>,
    /// What pupils know beforehand.
    pub known: Vec<Known>,
    pub lessons: Vec<CourseLesson>,
}

/// A lesson of a course.
#[derive(Clone, Debug, PartialEq)]
pub struct CourseLesson {
    /// As written, relative to the course's own folder.
    pub folder: String,
    /// Folders of earlier lessons.
    pub builds_on: Vec<String>,
    /// What is told on the way, from this lesson on.
    pub known: Vec<Known>,
    pub notes: Vec<String>,
    pub span: Span,
}

/// Something that pupils know without having been taught it in the course.
#[derive(Clone, Debug, PartialEq)]
pub enum Known {
    /// A form by its name, such as "A form".
    Form(&'static str),
    /// A grip of a six-string guitar in standard tuning.
    Grip(Shape),
}

/// What checking a course gave.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Checked {
    /// Places are in the course's text.
    pub problems: Vec<Problem>,
    /// One for each lesson.
    pub chapters: Vec<Chapter>,
    /// By name, then by frets; grips without a name last.
    pub grips: Vec<IndexedGrip>,
}

/// What a lesson of the course brings, and what it takes up.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Chapter {
    pub folder: String,
    pub title: String,
    pub links: Vec<Link>,
    /// Grips that the course has not had before, as they stand.
    pub new_grips: Vec<String>,
    /// Techniques that the course has not had before.
    pub new_techniques: Vec<Technique>,
}

/// Something of an earlier lesson that comes back.
#[derive(Clone, Debug, PartialEq)]
pub struct Link {
    /// Index of the earlier lesson.
    pub lesson: usize,
    /// The grip as it stands here, and there.
    pub here: String,
    pub there: String,
    pub how: Taken,
    /// One sentence.
    pub sentence: String,
}

/// How a grip is taken from an earlier one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Taken {
    Again(Likeness),
    /// Some strings of it.
    Part,
}

/// A grip of the course, wherever on the neck.
#[derive(Clone, Debug, PartialEq)]
pub struct IndexedGrip {
    /// As it first stands, low string to high.
    pub frets: String,
    /// Its names, in order of appearance.
    pub names: Vec<String>,
    /// The form that it was first shown as a part of.
    pub parent: Option<&'static str>,
    pub places: Vec<GripPlace>,
}

/// Where a grip of the index stands.
#[derive(Clone, Debug, PartialEq)]
pub struct GripPlace {
    /// Index of the lesson in the course.
    pub lesson: usize,
    pub passage: String,
    pub part: String,
    pub letter: char,
    pub frets: String,
    /// Number of the first bar that strikes it.
    pub bar: Option<u32>,
}

const RIGHT: &str = "course \"Title\" { lesson \"folder\" builds-on=\"earlier folder\" }";

/// Reads a course. What can be read is there, whatever the problems.
///
/// ```
/// let (course, problems) = shelf::course("course \"Winter\" { known \"A form\"; lesson \"one\"; lesson \"two\" builds-on=\"one\" }");
/// assert!(problems.is_empty());
/// assert_eq!((course.lessons.len(), course.lessons[1].builds_on[0].as_str()), (2, "one"));
/// ```
pub fn course(text: &str) -> (Course, Vec<Problem>) {
    let mut reader = Reader { problems: vec![] };
    let mut course = Course::default();
    if text.len() > COURSE_BYTES_MAX {
        reader.error(Span::default(), format!("the file has {} bytes", text.len()), format!("a course has {COURSE_BYTES_MAX} bytes at most"));
        return (course, reader.problems);
    }
    match lesson::document(text) {
        Err(problems) => reader.problems = problems,
        Ok(doc) => {
            let mut seen = false;
            for node in doc.nodes() {
                if node.name().value() != "course" || seen {
                    reader.error(span(node), format!("\"{}\" stands here", shown(node.name().value())), format!("a file holds one course: {RIGHT}"));
                    continue;
                }
                seen = true;
                reader.course(node, &mut course);
            }
            if !seen && reader.problems.is_empty() {
                reader.error(Span::default(), "there is no course in this file", RIGHT);
            }
        }
    }
    (course, reader.problems)
}

fn span(node: &KdlNode) -> Span {
    let s = node.name().span();
    Span { start: s.offset(), end: s.offset() + s.len() }
}

fn shown(text: &str) -> String {
    text.chars().take(40).map(|c| if c.is_control() { '?' } else { c }).collect()
}

struct Reader {
    problems: Vec<Problem>,
}

impl Reader {
    fn error(&mut self, span: Span, found: impl Into<String>, right: impl Into<String>) {
        if self.problems.len() < lesson::PROBLEMS_MAX {
            self.problems.push(Problem { span, found: found.into(), right: right.into(), weight: Weight::Error });
        }
    }

    /// Texts of a node, with their places; anything else than the known is a problem.
    fn texts(&mut self, node: &KdlNode, props: &[&str], children: bool, right: &str) -> (Vec<(String, Span)>, BTreeMap<String, String>) {
        let (mut texts, mut named) = (Vec::new(), BTreeMap::new());
        for e in node.entries() {
            let at = Span { start: e.span().offset(), end: e.span().offset() + e.span().len() };
            let key = e.name().map(|n| n.value().to_string());
            if node.ty().is_some() || e.ty().is_some() {
                self.error(at, "a type mark stands here", "a course has none: take it away");
            }
            match (e.value(), key) {
                (KdlValue::String(t), None) => texts.push((t.clone(), at)),
                (KdlValue::String(t), Some(k)) if props.contains(&k.as_str()) => {
                    if named.insert(k.clone(), t.clone()).is_some() {
                        self.error(at, format!("{k}= stands twice"), "write it once");
                    }
                }
                (_, Some(k)) => self.error(at, format!("{}= is not what {} takes", shown(&k), shown(node.name().value())), format!("write {right}")),
                _ => self.error(at, format!("this is not what {} takes", shown(node.name().value())), format!("write {right}")),
            }
        }
        if !children && node.children().is_some() {
            self.error(span(node), format!("{} has braces", shown(node.name().value())), format!("write {right}"));
        }
        (texts, named)
    }

    fn one_text(&mut self, node: &KdlNode, props: &[&str], children: bool, right: &str) -> (String, BTreeMap<String, String>) {
        let (texts, named) = self.texts(node, props, children, right);
        if texts.len() != 1 || texts[0].0.trim().is_empty() {
            self.error(span(node), format!("{} has {} texts", shown(node.name().value()), texts.iter().filter(|t| !t.0.trim().is_empty()).count()), format!("write {right}"));
        }
        (texts.into_iter().next().map(|t| t.0).unwrap_or_default(), named)
    }

    fn course(&mut self, node: &KdlNode, course: &mut Course) {
        course.title = self.one_text(node, &[], true, RIGHT).0;
        for child in node.children().into_iter().flat_map(|c| c.nodes()) {
            match child.name().value() {
                "known" => self.known(child, &mut course.known),
                "note" => course.notes.push(self.one_text(child, &[], false, "note \"…\"").0),
                "lesson" => self.lesson(child, course),
                other => self.error(span(child), format!("\"{}\" is not known in a course", shown(other)), "a course holds lesson, known and note"),
            }
        }
        if course.lessons.is_empty() {
            self.error(span(node), "this course has no lesson", RIGHT);
        }
    }

    fn lesson(&mut self, node: &KdlNode, course: &mut Course) {
        let right = "lesson \"folder\" builds-on=\"earlier folder, another\" { known \"A form\"; note \"…\" }";
        let (folder, named) = self.one_text(node, &["builds-on"], true, right);
        let folder = folder.trim_end_matches('/').to_string();
        if folder.starts_with('/') || folder.contains('\\') || folder.contains(':') {
            self.error(span(node), format!("\"{}\" is no folder beside this course", shown(&folder)), "write it relative to the course's own folder, with / between");
        }
        let builds_on: Vec<String> = named.get("builds-on").map(|t| t.split(',').map(|f| f.trim().trim_end_matches('/').to_string()).filter(|f| !f.is_empty()).collect()).unwrap_or_default();
        let mut lesson = CourseLesson { folder, builds_on, known: vec![], notes: vec![], span: span(node) };
        for child in node.children().into_iter().flat_map(|c| c.nodes()) {
            match child.name().value() {
                "known" => self.known(child, &mut lesson.known),
                "note" => lesson.notes.push(self.one_text(child, &[], false, "note \"…\"").0),
                other => self.error(span(child), format!("\"{}\" is not known in a lesson of a course", shown(other)), "it holds known and note"),
            }
        }
        if course.lessons.iter().any(|l| l.folder == lesson.folder) {
            self.error(lesson.span, format!("\"{}\" stands twice", shown(&lesson.folder)), "a lesson stands once in a course");
        } else if course.lessons.len() >= COURSE_LESSONS_MAX {
            if course.lessons.len() == COURSE_LESSONS_MAX {
                self.error(lesson.span, format!("this is lesson {}", COURSE_LESSONS_MAX + 1), format!("a course has {COURSE_LESSONS_MAX} lessons at most"));
            }
        } else {
            course.lessons.push(lesson);
        }
    }

    fn known(&mut self, node: &KdlNode, known: &mut Vec<Known>) {
        let right = "known \"A form\" \"x 3 2 0 1 0\": forms by name, or grips, low string to high";
        let (texts, _) = self.texts(node, &[], false, right);
        if texts.is_empty() {
            self.error(span(node), "known has no value", format!("write {right}"));
        }
        for (text, at) in texts {
            let form = neck::forms().find(|f| f.eq_ignore_ascii_case(text.trim()));
            let grip = || Grip::parse(&text).ok().and_then(|g| Shape::of(&g, &Instrument::guitar()));
            match form.map(Known::Form).or_else(|| grip().map(Known::Grip)) {
                Some(k) => known.push(k),
                None => self.error(at, format!("\"{}\" is neither a form that is known nor a grip of six strings", shown(&text)), format!("write {right}")),
            }
        }
    }
}

/// A named grip of a lesson and its place.
struct Shown<'a> {
    lesson: usize,
    passage: &'a str,
    part: &'a str,
    letter: char,
    grip: &'a GripFacts,
}

impl Shown<'_> {
    fn fragment(&self) -> bool {
        let few = self.grip.shape.places.len() <= 3;
        !self.grip.forms.is_empty() && self.grip.forms.iter().all(|f| f.1 >= if few { 1 } else { 2 })
    }
}

/// Checks a course against its lessons: `lessons` has the facts of each lesson in order, `None` where it could not be read.
///
/// Problems of weight error: a lesson that is missing or faulty, something built on that does not stand before, a fragment used before its parent grip
/// was taught. Remarks: a lesson that says what it builds on, but has nothing of it.
pub fn check_course(course: &Course, lessons: &[Option<&Facts>]) -> Checked {
    let mut out = Checked::default();
    let mut before: Vec<Shown> = Vec::new();
    let mut known: Vec<&Known> = course.known.iter().collect();
    let mut complained: BTreeSet<(Vec<(u8, u8)>, Vec<u8>)> = BTreeSet::new();
    let mut techniques: BTreeSet<Technique> = BTreeSet::new();
    let title = |i: usize| lessons.get(i).copied().flatten().map_or_else(|| course.lessons[i].folder.clone(), |f| f.title.clone());
    for (i, entry) in course.lessons.iter().enumerate() {
        let mut problem = |weight, found: String, right: String| out.problems.push(Problem { span: entry.span, found, right, weight });
        let mut chapter = Chapter { folder: entry.folder.clone(), title: title(i), ..Chapter::default() };
        known.extend(&entry.known);
        let facts = lessons.get(i).copied().flatten();
        match facts {
            None => problem(Weight::Error, format!("there is no lesson to be read in \"{}\"", entry.folder), "write the lesson's folder, relative to the course's own".into()),
            Some(f) if f.faulty => problem(Weight::Error, format!("the lesson \"{}\" has errors", f.title), "mend them first; partwright check says where they are".into()),
            Some(_) => {}
        }
        for passage in facts.map(|f| f.passages.as_slice()).unwrap_or_default() {
            let here: Vec<Shown> = passage
                .parts
                .iter()
                .flat_map(|p| p.grips.iter().filter_map(|g| Some(Shown { lesson: i, passage: &passage.id, part: &p.name, letter: g.letter?, grip: g })))
                .collect();
            for g in &here {
                link(&mut chapter, g, &before, &title);
                let shape = &g.grip.shape;
                let told = || known.iter().any(|k| match k {
                    Known::Form(form) => g.grip.forms.iter().any(|f| f.0 == *form),
                    Known::Grip(k) => k.holds_part(shape) || matches!(k.like(shape), Some(Likeness::Same | Likeness::Moved(_))),
                });
                let taught = || before.iter().chain(&here).any(|b| b.grip.shape.holds_part(shape));
                if g.fragment() && !taught() && !told() && complained.insert((shape.places.clone(), shape.stack.clone())) {
                    let form = g.grip.parent.or(g.grip.forms.first().map(|f| f.0)).unwrap_or_default();
                    problem(
                        Weight::Error,
                        format!("in \"{}\", {}, {} plays {} (grip {}), a part of the {form}, and no grip before it holds it", title(i), passage.id, g.part, g.grip.grip, g.letter),
                        format!("put a lesson that has the whole grip before it, or say that pupils know it: known \"{form}\""),
                    );
                }
            }
            for t in passage.parts.iter().flat_map(|p| &p.techniques) {
                if techniques.insert(t.technique) {
                    chapter.new_techniques.push(t.technique);
                }
            }
            before.extend(here);
        }
        chapter.new_techniques.sort();
        for folder in &entry.builds_on {
            match course.lessons.iter().position(|l| l.folder == *folder) {
                Some(j) if j < i => {
                    if !chapter.links.iter().any(|l| l.lesson == j) && facts.is_some() && lessons.get(j).copied().flatten().is_some() {
                        problem(Weight::Remark, format!("\"{}\" builds on \"{folder}\", but none of its grips comes back", entry.folder), "take it away, or leave it where something else is meant".into());
                    }
                }
                Some(j) if j == i => problem(Weight::Error, format!("\"{folder}\" builds on itself"), "take it away".into()),
                Some(_) => problem(Weight::Error, format!("\"{}\" builds on \"{folder}\", which comes later", entry.folder), "change their order".into()),
                None => problem(Weight::Error, format!("\"{}\" builds on \"{folder}\", which is no lesson of this course", entry.folder), format!("write one of {}", listed(&course.lessons[..i].iter().map(|l| format!("\"{}\"", l.folder)).collect::<Vec<_>>()))),
            }
        }
        out.chapters.push(chapter);
    }
    out.grips = index_of_grips(&before);
    out
}

/// What of the earlier lessons a grip takes up: the closest likeness, else the first grip that it is a part of.
fn link(chapter: &mut Chapter, g: &Shown, before: &[Shown], title: &dyn Fn(usize) -> String) {
    let shape = &g.grip.shape;
    let earlier = || before.iter().filter(|b| b.lesson < g.lesson);
    let again = earlier().filter_map(|b| Some((b.grip.shape.like(shape)?, b))).min_by_key(|(like, b)| (like.rank(), b.lesson));
    let part = || earlier().find(|b| b.grip.shape.holds_part(shape));
    let here = g.grip.grip.to_string();
    let (how, b) = match again {
        // The likeness is told from here: where this one lies, seen from the earlier.
        Some((_, b)) => (Taken::Again(shape.like(&b.grip.shape).unwrap_or(Likeness::OtherStrings)), b),
        None => match part() {
            Some(b) => (Taken::Part, b),
            None => {
                let seen = before.iter().any(|b| b.lesson == g.lesson && b.grip.shape.like(shape).is_some()) || chapter.new_grips.contains(&here);
                if !seen {
                    chapter.new_grips.push(here);
                }
                return;
            }
        },
    };
    let there = b.grip.grip.to_string();
    if chapter.links.iter().any(|l| (l.lesson, &l.here, &l.there) == (b.lesson, &here, &there)) {
        return;
    }
    let told = match how {
        Taken::Again(Likeness::Same) => format!("{here} comes back from"),
        Taken::Again(Likeness::Moved(by)) => format!("{here} is {there}, {} fret{} {}, from", by.unsigned_abs(), if by.abs() == 1 { "" } else { "s" }, if by > 0 { "higher" } else { "lower" }),
        Taken::Again(Likeness::OtherStrings) => format!("{here} has the notes of {there} to each other, on other strings, from"),
        Taken::Part => format!("{here} is a part of {there} from"),
    };
    let sentence = format!("{told} \u{201c}{}\u{201d}, {}.", title(b.lesson), b.passage);
    chapter.links.push(Link { lesson: b.lesson, here, there, how, sentence });
}

fn index_of_grips(all: &[Shown]) -> Vec<IndexedGrip> {
    let mut order: Vec<(&Shape, IndexedGrip)> = Vec::new();
    for g in all {
        let place = GripPlace { lesson: g.lesson, passage: g.passage.into(), part: g.part.into(), letter: g.letter, frets: g.grip.grip.to_string(), bar: g.grip.bar };
        let name = g.grip.name.as_ref().map(ToString::to_string);
        let same = order.iter().position(|(s, _)| matches!(s.like(&g.grip.shape), Some(Likeness::Same | Likeness::Moved(_))));
        let entry = match same {
            Some(i) => &mut order[i].1,
            None => {
                order.push((&g.grip.shape, IndexedGrip { frets: place.frets.clone(), names: vec![], parent: g.grip.parent, places: vec![] }));
                let Some(new) = order.last_mut() else { continue };
                &mut new.1
            }
        };
        entry.places.push(place);
        if let Some(name) = name.filter(|n| !entry.names.contains(n)) {
            entry.names.push(name);
        }
    }
    let mut out: Vec<IndexedGrip> = order.into_iter().map(|o| o.1).collect();
    out.sort_by(|a, b| (a.names.is_empty(), &a.names, &a.frets).cmp(&(b.names.is_empty(), &b.names, &b.frets)));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn facts(title: &str, passages: &[&str]) -> Facts {
        let passages: Vec<String> = passages
            .iter()
            .enumerate()
            .map(|(i, grips)| {
                let grips: Vec<String> = grips.split(';').enumerate().map(|(k, g)| format!("grip \"{}\" \"{}\"", ["a", "b", "c"][k], g.trim())).collect();
                format!("passage \"p{i}\" {{ tempo 90; slots 2; part \"chop\" instrument=\"guitar\" {{ {}; bar \"a .\" }} }}", grips.join("; "))
            })
            .collect();
        let reading = lesson::read(&format!("lesson \"{title}\" {{ {} }}", passages.join("; ")));
        assert!(reading.is_sound(), "{:?}", reading.problems);
        crate::facts(&reading)
    }

    fn errors(text: &str, lessons: &[&Facts]) -> Vec<String> {
        let (course, problems) = course(text);
        assert_eq!(problems, []);
        check_course(&course, &lessons.iter().map(|l| Some(*l)).collect::<Vec<_>>()).problems.into_iter().filter(|p| p.weight == Weight::Error).map(|p| p.found).collect()
    }

    /// common practice: three strings at one fret on D, G and B are the inside of the A barre grip.
    #[test]
    fn a_fragment_comes_after_its_parent() {
        let whole = facts("Whole", &["x 3 5 5 5 3"]);
        let part = facts("Part", &["x x 7 7 7 x"]);
        assert_eq!(errors("course \"c\" { lesson \"a\"; lesson \"b\" }", &[&whole, &part]), [""; 0]);
        let found = errors("course \"c\" { lesson \"a\"; lesson \"b\" }", &[&part, &whole]);
        assert_eq!(found, ["in \"Part\", p0, chop plays x x 7 7 7 x (grip a), a part of the A form, and no grip before it holds it"]);
        // Said otherwise: by form, by grip, for the course or the lesson, but not for a later one.
        for known in ["known \"A form\"", "known \"x 3 5 5 5 3\"", "known \"x x 2 2 2 x\""] {
            assert_eq!(errors(&format!("course \"c\" {{ {known}; lesson \"a\"; lesson \"b\" }}"), &[&part, &whole]), [""; 0], "{known}");
            assert_eq!(errors(&format!("course \"c\" {{ lesson \"a\" {{ {known} }}; lesson \"b\" }}"), &[&part, &whole]), [""; 0], "{known}");
            assert_eq!(errors(&format!("course \"c\" {{ lesson \"a\"; lesson \"b\" {{ {known} }} }}"), &[&part, &whole]).len(), 1, "{known}");
        }
        assert_eq!(errors("course \"c\" { known \"Dm form\"; lesson \"a\"; lesson \"b\" }", &[&part, &whole]).len(), 1);
        // In the same passage it may stand beside it; an earlier passage counts, a later one does not; each fragment is named once.
        assert_eq!(errors("course \"c\" { lesson \"a\" }", &[&facts("One", &["x x 7 7 7 x; x 3 5 5 5 3"])]), [""; 0]);
        assert_eq!(errors("course \"c\" { lesson \"a\" }", &[&facts("One", &["x 3 5 5 5 3", "x x 7 7 7 x"])]), [""; 0]);
        assert_eq!(errors("course \"c\" { lesson \"a\" }", &[&facts("One", &["x x 7 7 7 x", "x x 9 9 9 x", "x 3 5 5 5 3"])]).len(), 1);
    }

    #[test]
    fn what_a_lesson_builds_on() {
        let (one, two) = (facts("One", &["x 3 5 5 5 3"]), facts("Two", &["x x 7 7 7 x; x 5 7 7 7 5; 3 2 0 0 0 3"]));
        let (c, _) = course("course \"c\" { lesson \"one\"; lesson \"two\" builds-on=\"one\" }");
        let checked = check_course(&c, &[Some(&one), Some(&two)]);
        assert_eq!(checked.problems, []);
        let links: Vec<&str> = checked.chapters[1].links.iter().map(|l| l.sentence.as_str()).collect();
        assert_eq!(links, ["x x 7 7 7 x is a part of x 3 5 5 5 3 from \u{201c}One\u{201d}, p0.", "x 5 7 7 7 5 is x 3 5 5 5 3, 2 frets higher, from \u{201c}One\u{201d}, p0."]);
        assert_eq!(checked.chapters[1].new_grips, ["3 2 0 0 0 3"]);
        // The index has the moved grip under one entry.
        let barre = checked.grips.iter().find(|g| g.frets == "x 3 5 5 5 3").unwrap();
        assert_eq!(barre.places.iter().map(|p| (p.lesson, p.frets.as_str())).collect::<Vec<_>>(), [(0, "x 3 5 5 5 3"), (1, "x 5 7 7 7 5")]);
        assert_eq!(barre.names, ["C", "D"]);
        assert_eq!(checked.grips.len(), 3);
        // Order, names, and what is missing.
        for (text, found) in [
            ("course \"c\" { lesson \"one\" builds-on=\"two\"; lesson \"two\" }", "comes later"),
            ("course \"c\" { lesson \"one\" builds-on=\"one\"; lesson \"two\" }", "builds on itself"),
            ("course \"c\" { lesson \"one\"; lesson \"two\" builds-on=\"three\" }", "no lesson of this course"),
        ] {
            assert!(errors(text, &[&one, &two]).iter().any(|e| e.contains(found)), "{text}");
        }
        let remark = check_course(&c, &[Some(&facts("One", &["x 0 2 2 1 0"])), Some(&two)]);
        assert!(remark.problems.iter().any(|p| p.weight == Weight::Remark && p.found.contains("none of its grips comes back")));
        assert!(check_course(&c, &[None, Some(&two)]).problems[0].found.contains("no lesson to be read"));
        assert!(check_course(&c, &[]).problems.len() >= 2);
    }

    #[test]
    fn faults_have_their_places() {
        for (text, at, found) in [
            ("", "", "no course"),
            ("course", "course", "0 texts"),
            ("course \"c\"", "course", "no lesson"),
            ("course \"c\" { lesson }", "lesson", "0 texts"),
            ("course \"c\" { lesson \"a\"; lesson \"a\" }", "lesson", "twice"),
            ("course \"c\" { lesson \"/a\" }", "lesson", "no folder"),
            ("course \"c\" { lesson \"a\" builds=\"b\" }", "builds=\"b\"", "builds="),
            ("course \"c\" { lesson \"a\"; known \"Q form\" }", "\"Q form\"", "neither"),
            ("course \"c\" { lesson \"a\"; known }", "known", "no value"),
            ("course \"c\" { lesson \"a\"; tempo 90 }", "tempo", "not known"),
            ("course \"c\" { lesson \"a\" 5 }", "5", "not what lesson takes"),
            ("course \"c\" { lesson \"a\" }\nlesson \"b\"", "lesson", "stands here"),
            ("course \"c\" { lesson \"a\"", "{", "left open"),
            ("course \"c\" { lesson \"a }", "", "quote is missing"),
        ] {
            let problems = course(text).1;
            let p = problems.iter().find(|p| p.found.contains(found)).unwrap_or_else(|| panic!("{text}: {problems:?}"));
            assert!(at.is_empty() || &text[p.span.start..p.span.end] == at, "{text}: {p:?}");
        }
        for deep in ["{", "/*", "a \"}\" { ", "/-{"] {
            assert_eq!(course(&deep.repeat(30_000)).1.len(), 1, "{deep}");
        }
    }
}
