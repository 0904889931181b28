//! Chord labels in the syntax of Harte et al.: root, shorthand, degrees, bass; from and to [`Symbol`].
//!
//! # Conventions
//! `C:min7(11)/b3`: a root, a shorthand, degrees added in brackets (`*5` leaves one out), the bass as a degree over the root. The root
//! belongs to the chord even where the list does not name it.
//!
//! # Method
//! Written with the shorthand that needs the fewest corrections in brackets, leaving out and adding a seventh weighing more than adding
//! another note (so that C7#5 stays a seventh chord), the earlier in the list on a tie. Only shorthands of the
//! paper are written; those that later collections use beside them (`sus2`, `5`, `1`, `11`, `13`, `min11`, `maj11`, `min13`, `maj13`) are read.
//!
//! # References
//! C. Harte, M. Sandler, S. Abdallah, E. Gómez: Symbolic representation of musical chords: a proposed syntax for text annotations.
//! ISMIR 2005, section 4 (syntax) and the table of shorthands (quoted from memory).

use crate::{Degree, Spelling, Symbol};

const fn d(number: u8, alter: i8) -> Degree {
    Degree::new(number, alter)
}

/// A shorthand and what it holds over the root.
type Shorthand = (&'static str, &'static [Degree]);

/// Shorthands of the paper, in the order in which they are tried.
const SHORTHANDS: [Shorthand; 16] = [
    ("maj", &[d(3, 0), d(5, 0)]),
    ("min", &[d(3, -1), d(5, 0)]),
    ("dim", &[d(3, -1), d(5, -1)]),
    ("aug", &[d(3, 0), d(5, 1)]),
    ("maj7", &[d(3, 0), d(5, 0), d(7, 0)]),
    ("min7", &[d(3, -1), d(5, 0), d(7, -1)]),
    ("7", &[d(3, 0), d(5, 0), d(7, -1)]),
    ("dim7", &[d(3, -1), d(5, -1), d(7, -2)]),
    ("hdim7", &[d(3, -1), d(5, -1), d(7, -1)]),
    ("minmaj7", &[d(3, -1), d(5, 0), d(7, 0)]),
    ("maj6", &[d(3, 0), d(5, 0), d(6, 0)]),
    ("min6", &[d(3, -1), d(5, 0), d(6, 0)]),
    ("9", &[d(3, 0), d(5, 0), d(7, -1), d(9, 0)]),
    ("maj9", &[d(3, 0), d(5, 0), d(7, 0), d(9, 0)]),
    ("min9", &[d(3, -1), d(5, 0), d(7, -1), d(9, 0)]),
    ("sus4", &[d(4, 0), d(5, 0)]),
];

/// Read only.
const LATER: [Shorthand; 9] = [
    ("sus2", &[d(2, 0), d(5, 0)]),
    ("5", &[d(5, 0)]),
    ("1", &[]),
    ("11", &[d(3, 0), d(5, 0), d(7, -1), d(9, 0), d(11, 0)]),
    ("min11", &[d(3, -1), d(5, 0), d(7, -1), d(9, 0), d(11, 0)]),
    ("maj11", &[d(3, 0), d(5, 0), d(7, 0), d(9, 0), d(11, 0)]),
    ("13", &[d(3, 0), d(5, 0), d(7, -1), d(9, 0), d(11, 0), d(13, 0)]),
    ("min13", &[d(3, -1), d(5, 0), d(7, -1), d(9, 0), d(11, 0), d(13, 0)]),
    ("maj13", &[d(3, 0), d(5, 0), d(7, 0), d(9, 0), d(11, 0), d(13, 0)]),
];

impl Symbol {
    /// The label; `None` where the syntax cannot say it (an accidental beyond a double one on the root or the bass degree).
    ///
    /// ```
    /// use pitch::Symbol;
    /// let harte = |t: &str| Symbol::parse(t).unwrap().harte().unwrap();
    /// assert_eq!(harte("Am7"), "A:min7");
    /// assert_eq!(harte("D/F#"), "D:maj/3");
    /// assert_eq!(harte("G7b9"), "G:7(b9)");
    /// assert_eq!(harte("E5"), "E:(5)");
    /// assert_eq!(harte("Bb13"), "Bb:9(13)");
    /// ```
    pub fn harte(&self) -> Option<String> {
        self.harte_without(&[])
    }

    /// The label of what is left when `omitted` tones are taken out, with `*` degrees. The root stays in the label in any case.
    ///
    /// ```
    /// use pitch::{Degree, Symbol};
    /// let c9 = Symbol::parse("C9").unwrap();
    /// assert_eq!(c9.harte_without(&[Degree::parse("5").unwrap()]).unwrap(), "C:9(*5)");
    /// ```
    pub fn harte_without(&self, omitted: &[Degree]) -> Option<String> {
        let tones: Vec<Degree> = self.tones.iter().copied().filter(|t| *t != Degree::ROOT && !omitted.contains(t)).collect();
        let says = |d: &Degree| d.alter.abs() <= 2 && (1..=13).contains(&d.number);
        if self.root.alter.abs() > 2 || !tones.iter().all(says) {
            return None;
        }
        // A bare list needs every tone; a shorthand needs what it lacks and what it has too much, in brackets.
        let cost = |(name, holds): &Shorthand| -> usize {
            let lacks = tones.iter().filter(|t| !holds.contains(t)).map(|t| if t.number == 7 && *name != "sus4" { 6 } else { 2 });
            let over = holds.iter().filter(|t| !tones.contains(t)).map(|_| 3);
            lacks.sum::<usize>() + over.sum::<usize>()
        };
        let (name, holds) = SHORTHANDS.iter().min_by_key(|s| cost(s))?;
        let bare = !tones.is_empty() && cost(&(name, holds)) >= 2 * tones.len();
        let mut text = format!("{}:", self.root);
        let mut listed: Vec<String> = Vec::new();
        if bare {
            listed.extend(tones.iter().map(Degree::to_string));
        } else {
            text.push_str(name);
            listed.extend(holds.iter().filter(|t| !tones.contains(t)).map(|t| format!("*{t}")));
            listed.extend(tones.iter().filter(|t| !holds.contains(t)).map(Degree::to_string));
        }
        if !listed.is_empty() {
            text.push_str(&format!("({})", listed.join(",")));
        }
        if let Some(bass) = self.bass {
            let degree = Degree::between(self.root, bass);
            if !says(&degree) {
                return None;
            }
            text.push_str(&format!("/{}", if degree == Degree::ROOT { "1".to_string() } else { degree.to_string() }));
        }
        Some(text)
    }

    /// Reads a label. Degrees are taken over as they are written, so `C:7(13)` holds no ninth.
    ///
    /// ```
    /// use pitch::Symbol;
    /// assert_eq!(Symbol::parse_harte("F#:hdim7/b3").unwrap().to_string(), "F#m7b5/A");
    /// assert_eq!(Symbol::parse_harte("C").unwrap().to_string(), "C");
    /// assert_eq!(Symbol::parse_harte("C:maj(*3,2)").unwrap().to_string(), "Csus2");
    /// assert!(Symbol::parse_harte("C:wide").unwrap_err().contains("wide"));
    /// ```
    ///
    /// # Errors
    /// A sentence saying what was found and what would be right; also for `N` and `X`, which name no chord.
    pub fn parse_harte(text: &str) -> Result<Symbol, String> {
        let right = "a label is a root, a colon and a shorthand, such as \"C:maj\", \"F#:min7(11)\" or \"Bb:7/3\"";
        if text.len() > 128 {
            return Err(format!("this label is {} bytes long; {right}", text.len()));
        }
        let text = text.trim();
        if matches!(text, "N" | "X") {
            return Err(format!("\"{text}\" says that there is no chord, or none that is known"));
        }
        let (root, rest) = Spelling::parse_prefix(text).ok_or_else(|| format!("\"{text}\" does not begin with a note; {right}"))?;
        let (rest, bass) = match rest.split_once('/') {
            Some((rest, bass)) => {
                let degree = Degree::parse(bass).ok_or_else(|| format!("\"{bass}\" after the slash is no degree, such as \"3\" or \"b7\"; {right}"))?;
                (rest, Some(degree.spell(root)))
            }
            None => (rest, None),
        };
        let (rest, list) = match rest.split_once('(') {
            Some((rest, list)) => {
                let list = list.strip_suffix(')').ok_or_else(|| format!("\"{text}\" opens a bracket and does not close it; {right}"))?;
                (rest, Some(list))
            }
            None => (rest, None),
        };
        let name = match rest.strip_prefix(':') {
            Some(name) => name,
            None if rest.is_empty() => "",
            None => return Err(format!("\"{rest}\" follows the root without a colon; {right}")),
        };
        let mut tones: Vec<Degree> = match (name, list) {
            ("", None) => vec![d(3, 0), d(5, 0)],
            ("", Some(_)) => Vec::new(),
            _ => {
                let (_, holds) = SHORTHANDS
                    .iter()
                    .chain(&LATER)
                    .find(|(n, _)| *n == name)
                    .ok_or_else(|| format!("\"{name}\" is no shorthand that is known here; {right}"))?;
                holds.to_vec()
            }
        };
        for item in list.unwrap_or("").split(',').map(str::trim).filter(|i| !i.is_empty()) {
            let (out, degree) = match item.strip_prefix('*') {
                Some(d) => (true, d),
                None => (false, item),
            };
            let degree = Degree::parse(degree).ok_or_else(|| format!("\"{item}\" in the brackets is no degree, such as \"9\", \"b13\" or \"*5\"; {right}"))?;
            if out {
                tones.retain(|t| *t != degree);
            } else {
                tones.push(degree);
            }
        }
        Ok(Symbol::new(root, tones, bass))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_read_back() {
        for sign in [
            "C", "Cm", "Cdim", "Caug", "C5", "Csus2", "Csus4", "Csus2sus4", "C6", "Cm6", "C6/9", "C7", "Cmaj7", "Cm7", "Cm(maj7)", "Cm7b5", "Cdim7",
            "C9", "Cm9", "Cmaj9", "C11", "Cm11", "C13", "Cm13", "C7b9", "C7(#5,#9)", "C7alt", "Cadd9", "Cm(add11)", "C9sus4", "C7(no3)", "Eb/G", "C/D", "F#m7/E",
        ] {
            let symbol = Symbol::parse(sign).unwrap();
            let label = symbol.harte().unwrap();
            assert_eq!(Symbol::parse_harte(&label).as_ref(), Ok(&symbol), "{sign} {label}");
        }
    }

    #[test]
    fn faults_are_said() {
        for (text, found) in [("H:maj", "H:maj"), ("C:maj(9", "bracket"), ("C:maj(q)", "\"q\""), ("C:maj/q", "\"q\""), ("Cmaj", "colon"), ("N", "no chord"), ("", "begin")] {
            assert!(Symbol::parse_harte(text).unwrap_err().contains(found), "{text}");
        }
    }
}
