//! Reading a chord sign, in any of the usual spellings.

use super::Symbol;
use crate::{Degree, Spelling};

const D: fn(u8, i8) -> Degree = Degree::new;

/// The longest sign that is read, in bytes.
const LONGEST: usize = 64;

#[derive(Clone, Copy, PartialEq)]
enum Triad {
    Major,
    Minor,
    Diminished,
    HalfDiminished,
    Augmented,
    Power,
}

impl Symbol {
    /// Reads a chord sign: `C`, `Cm7`, `F#m7b5`, `Bb13(#11)`, `Ebmaj9`, `A7sus4`, `D/F#`, `C6/9`, `G7alt`, `CΔ7`, `C-7`, `Cø`, `C°7`,
    /// `C+`, `C(no3)`. Spaces inside are ignored.
    ///
    /// ```
    /// use pitch::Symbol;
    /// for (text, plain) in [("CM7", "Cmaj7"), ("C△", "Cmaj7"), ("Cmi7", "Cm7"), ("C+7", "C7#5"), ("Csus", "Csus4"), ("C7-9", "C7b9"), ("B♭°7", "Bbdim7")] {
    ///     assert_eq!(Symbol::parse(text).unwrap().to_string(), plain);
    /// }
    /// assert!(Symbol::parse("C2").unwrap_err().contains("Csus2"));
    /// ```
    ///
    /// # Errors
    /// A sentence saying what was found and what would be right.
    pub fn parse(text: &str) -> Result<Symbol, String> {
        let whole = text.trim();
        if whole.is_empty() {
            return Err("there is no chord sign here; one begins with a note, such as \"C\", \"Am7\" or \"Bb/D\"".into());
        }
        if whole.len() > LONGEST {
            return Err(format!("this chord sign is {} bytes long; the longest that is read has {LONGEST}", whole.len()));
        }
        let squeezed: String = whole.chars().filter(|c| !c.is_whitespace()).collect();
        let Some((root, rest)) = Spelling::parse_prefix(&squeezed) else {
            return Err(no_root(whole));
        };
        let (body, bass) = split_bass(rest, whole)?;
        let tones = Reader { whole, root, rest: body, depth: 0 }.read()?;
        Ok(Symbol::new(root, tones, bass))
    }
}

fn no_root(whole: &str) -> String {
    let first = whole.chars().next().unwrap_or(' ');
    if ('a'..='g').contains(&first) {
        return format!("\"{whole}\" begins with a small letter; the root is a capital, as in \"{}{}\"", first.to_ascii_uppercase(), &whole[1..]);
    }
    if matches!(whole, "N" | "NC" | "N.C." | "N.C") {
        return format!("\"{whole}\" says that no chord sounds, so there is no root to read");
    }
    format!("\"{whole}\" begins with \"{first}\", which is no note; a chord sign begins with a capital A to G, such as \"C\", \"Am7\" or \"Bb/D\"")
}

/// Splits off `/E`; `6/9` and slashes inside brackets stay.
fn split_bass<'a>(rest: &'a str, whole: &str) -> Result<(&'a str, Option<Spelling>), String> {
    let Some(at) = rest.rfind('/') else { return Ok((rest, None)) };
    let after = &rest[at + 1..];
    if after.ends_with(')') && rest[..at].contains('(') {
        return Ok((rest, None));
    }
    if let Some(bass) = Spelling::parse(after) {
        return Ok((&rest[..at], Some(bass)));
    }
    if rest[..at].ends_with('6') && after.starts_with('9') || rest[..at].ends_with(['m', 'n', '-']) {
        return Ok((rest, None));
    }
    Err(match after {
        "" => format!("\"{whole}\" ends in a slash; the bass note is missing, as in \"C/E\""),
        "9" | "2" | "11" | "4" => format!("\"{whole}\": \"{after}\" after the slash is no note; an added note is written \"add9\" or \"add11\""),
        _ => format!("\"{whole}\": \"{after}\" after the slash is no note; a slash is followed by the bass, as in \"C/E\" or \"Am7/G\""),
    })
}

struct Reader<'a> {
    whole: &'a str,
    root: Spelling,
    rest: &'a str,
    depth: u32,
}

impl Reader<'_> {
    fn take(&mut self, words: &[&str]) -> bool {
        for w in words {
            if let Some(rest) = self.rest.strip_prefix(w) {
                self.rest = rest;
                return true;
            }
        }
        false
    }

    fn number(&mut self) -> Option<u32> {
        let end = self.rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(self.rest.len()).min(2);
        let n = self.rest[..end].parse().ok()?;
        self.rest = &self.rest[end..];
        Some(n)
    }

    /// Flats and sharps before a number, also `+` and `-` as older books print them.
    fn sign(&mut self) -> i8 {
        if self.take(&["bb", "♭♭"]) {
            -2
        } else if self.take(&["b", "♭", "-"]) {
            -1
        } else if self.take(&["##", "♯♯"]) {
            2
        } else if self.take(&["#", "♯", "+"]) {
            1
        } else {
            0
        }
    }

    fn bad(&self, right: &str) -> String {
        format!("\"{}\": \"{}\" is not understood here; {right}", self.whole, self.rest)
    }

    fn major_word(&mut self) -> bool {
        // "madd9" is a minor chord with something added.
        !self.rest.starts_with("madd") && self.take(&["major", "Major", "maj", "Maj", "MAJ", "ma", "Ma", "MA", "M", "Δ", "△"])
    }

    fn read(mut self) -> Result<Vec<Degree>, String> {
        let mut triad = Triad::Major;
        let mut major_seventh = false;
        let mut seventh_meant = false; // a sign that means a seventh without saying 7: Δ, ø

        // The word for the triad.
        if self.rest.starts_with(['Δ', '△']) {
            (major_seventh, seventh_meant) = (true, true);
            self.major_word();
        } else if self.major_word() {
            major_seventh = true;
        } else if self.take(&["minor", "Minor", "min", "Min", "MIN", "mi", "Mi", "MI"]) || (!self.rest.starts_with("maj") && self.take(&["m", "-"])) {
            triad = Triad::Minor;
        } else if self.take(&["dim", "Dim", "°", "º", "o"]) {
            triad = Triad::Diminished;
        } else if self.take(&["ø", "Ø", "hdim"]) {
            (triad, seventh_meant) = (Triad::HalfDiminished, true);
        } else if self.take(&["aug", "Aug", "+"]) {
            triad = Triad::Augmented;
        } else {
            self.take(&["dom", "Dom"]);
        }
        if matches!(triad, Triad::Minor | Triad::Diminished | Triad::Augmented) {
            let before = self.rest;
            let open = self.take(&["("]);
            let slash = !open && self.take(&["/"]);
            let delta = self.rest.starts_with(['Δ', '△']);
            if self.major_word() {
                (major_seventh, seventh_meant) = (true, delta);
                self.depth = u32::from(open);
            } else {
                self.rest = before;
                if slash {
                    return Err(self.bad("a slash is followed by the bass, as in \"C/E\" or \"Am7/G\""));
                }
            }
        }

        // The figure.
        let mut tones = Tones::default();
        let mut figure = 0;
        if self.rest.starts_with(|c: char| c.is_ascii_digit()) {
            let at = self.rest;
            figure = if self.take(&["6/9", "69", "6(9)"]) { 69 } else { self.number().unwrap_or(0) };
            let say = self.root;
            match figure {
                5 if triad == Triad::Major && !major_seventh => triad = Triad::Power,
                6 | 7 | 9 | 11 | 13 | 69 => {}
                2 => return Err(format!("\"{}\": the 2 can mean {say}sus2 (in place of the third) or {say}add9 (beside it); write one of these", self.whole)),
                4 => return Err(format!("\"{}\": the 4 can mean {say}sus4 (in place of the third) or {say}add11 (beside it); write one of these", self.whole)),
                _ => {
                    self.rest = at;
                    return Err(self.bad("the figure after the root is 5, 6, 6/9, 7, 9, 11 or 13"));
                }
            }
        }
        if major_seventh && triad != Triad::Major && figure < 7 && !seventh_meant {
            return Err(self.bad("\"maj\" after a minor sign is followed by 7, 9, 11 or 13, as in \"Cm(maj7)\""));
        }
        tones.triad(triad);
        let has_seventh = matches!(figure, 7 | 9 | 11 | 13) || (seventh_meant && figure == 0);
        if has_seventh {
            tones.add(match triad {
                _ if major_seventh => D(7, 0),
                Triad::Diminished => D(7, -2),
                _ => D(7, -1),
            });
        }
        match figure {
            6 if triad == Triad::Diminished => tones.add(D(7, -2)),
            6 => tones.add(D(6, 0)),
            69 => tones.extend([D(6, 0), D(9, 0)]),
            9 => tones.imply(D(9, 0)),
            11 => {
                tones.imply(D(9, 0));
                tones.imply(D(11, 0));
            }
            13 => {
                tones.imply(D(9, 0));
                if matches!(triad, Triad::Minor | Triad::HalfDiminished) {
                    tones.imply(D(11, 0));
                }
                tones.imply(D(13, 0));
            }
            _ => {}
        }
        if self.depth > 0 && self.take(&[")"]) {
            self.depth = 0;
        }

        // What follows it.
        let mut removed = Vec::new();
        while !self.rest.is_empty() {
            if self.take(&["("]) {
                self.depth += 1;
                continue;
            }
            if self.rest.starts_with(')') {
                if self.depth == 0 {
                    return Err(format!("\"{}\" closes a bracket that was never opened", self.whole));
                }
                self.depth -= 1;
                self.take(&[")"]);
                continue;
            }
            if self.depth > 0 && self.take(&[",", "/"]) {
                continue;
            }
            if self.take(&["sus24", "sus42", "sus2sus4", "sus4sus2", "sus2/4"]) {
                tones.suspend(&[D(2, 0), D(4, 0)]);
            } else if self.take(&["sus2"]) {
                tones.suspend(&[D(2, 0)]);
            } else if self.take(&["sus4", "sus"]) {
                tones.suspend(&[D(4, 0)]);
            } else if self.take(&["alt"]) {
                if triad != Triad::Major || major_seventh || !matches!(figure, 0 | 7) {
                    return Err(format!("\"{}\": \"alt\" belongs to a dominant seventh, as in \"{}7alt\"", self.whole, self.root));
                }
                tones.remove_number(5);
                tones.extend([D(5, -1), D(5, 1), D(7, -1), D(9, -1), D(9, 1)]);
            } else if self.take(&["add", "Add"]) {
                let alter = if self.major_word() { 0 } else { self.sign() };
                match self.number() {
                    Some(n @ (2 | 4)) => tones.add(D(n as u8 + 7, alter)),
                    Some(n @ (3 | 5..=7 | 9 | 11 | 13)) => tones.add(D(n as u8, alter)),
                    _ => return Err(self.bad("after \"add\" comes the note that is added: 9, 11, 13, 6, b9 or #11")),
                }
            } else if self.take(&["no", "omit", "No", "Omit"]) {
                match self.number() {
                    Some(n @ (3 | 5 | 7 | 9 | 11)) => removed.push(n as u8),
                    _ => return Err(self.bad("after \"no\" comes what is left out: 3, 5, 7, 9 or 11")),
                }
            } else {
                let at = self.rest;
                let (natural_seventh, alter) = if self.depth > 0 && self.major_word() { (true, 0) } else { (false, self.sign()) };
                let number = self.number();
                match (number, alter) {
                    (Some(7), 0) if natural_seventh => tones.add(D(7, 0)),
                    _ if natural_seventh => return Err(self.bad("a \"maj\" in brackets is followed by 7")),
                    (Some(5), -1 | 1) => tones.alter(D(5, alter)),
                    (Some(6), -1) => tones.add(D(6, -1)),
                    (Some(9), -1 | 1) | (Some(11), 1) | (Some(13), -1) => tones.alter(D(number.unwrap_or(0) as u8, alter)),
                    (Some(n @ (9 | 11 | 13)), 0) => tones.add(D(n as u8, 0)),
                    // "C7+": the plus alone raises the fifth.
                    (None, 1) if at == "+" => tones.alter(D(5, 1)),
                    _ => {
                        self.rest = at;
                        return Err(self.bad("what may follow is b5 #5 b9 #9 #11 b13, sus2 sus4, add9 add11, alt, no3 no5, or a slash and the bass"));
                    }
                }
            }
        }
        if self.depth > 0 {
            return Err(format!("\"{}\" opens a bracket and does not close it", self.whole));
        }
        removed.into_iter().for_each(|n| tones.remove_number(n));
        Ok(tones.list)
    }
}

/// Tones being gathered; those that a figure implies give way to alterations, those that are named do not.
#[derive(Default)]
struct Tones {
    list: Vec<Degree>,
    implied: Vec<Degree>,
}

impl Tones {
    fn add(&mut self, d: Degree) {
        if !self.list.contains(&d) {
            self.list.push(d);
        }
    }

    fn extend(&mut self, more: impl IntoIterator<Item = Degree>) {
        more.into_iter().for_each(|d| self.add(d));
    }

    fn imply(&mut self, d: Degree) {
        self.add(d);
        self.implied.push(d);
    }

    fn triad(&mut self, triad: Triad) {
        let (third, fifth) = match triad {
            Triad::Major => (Some(0), 0),
            Triad::Minor => (Some(-1), 0),
            Triad::Diminished | Triad::HalfDiminished => (Some(-1), -1),
            Triad::Augmented => (Some(0), 1),
            Triad::Power => (None, 0),
        };
        self.add(Degree::ROOT);
        third.into_iter().for_each(|alter| self.add(D(3, alter)));
        self.imply(D(5, fifth));
    }

    fn suspend(&mut self, by: &[Degree]) {
        self.remove_number(3);
        by.iter().for_each(|&d| self.add(d));
        // "11sus4" says the fourth twice.
        if by.contains(&D(4, 0)) {
            let implied = &self.implied;
            self.list.retain(|d| *d != D(11, 0) || !implied.contains(d));
        }
    }

    /// Puts an altered tone in place of the implied one of the same number.
    fn alter(&mut self, d: Degree) {
        let implied = &self.implied;
        self.list.retain(|t| t.number != d.number || !implied.contains(t));
        self.add(d);
    }

    fn remove_number(&mut self, number: u8) {
        self.list.retain(|t| t.number != number);
    }
}
