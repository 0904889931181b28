//! Writing a chord sign: plain text in one of three spellings, or runs for typesetting. What is written follows from the tones.

use super::Symbol;
use crate::{Degree, Spelling};
use std::fmt;

const fn d(number: u8, alter: i8) -> Degree {
    Degree::new(number, alter)
}

/// Three usual ways of spelling the same sign, as chord books print them (common practice).
///
/// ```
/// use pitch::{Style, Symbol};
/// let all = |t| Style::ALL.map(|s| Symbol::parse(t).unwrap().text(s));
/// assert_eq!(all("Cmaj7"), ["Cmaj7", "CM7", "CΔ7"]);
/// assert_eq!(all("Cm7"), ["Cm7", "Cmin7", "C-7"]);
/// assert_eq!(all("Cm7b5"), ["Cm7b5", "Cmin7b5", "Cø7"]);
/// assert_eq!(all("Cdim7"), ["Cdim7", "Cdim7", "C°7"]);
/// assert_eq!(all("Caug"), ["Caug", "Caug", "C+"]);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Style {
    /// `maj7`, `m7`, `m7b5`, `dim7`, `aug`.
    #[default]
    Plain,
    /// `M7`, `min7`, `min7b5`, `dim7`, `aug`.
    Capital,
    /// `Δ7`, `-7`, `ø7`, `°7`, `+`.
    Signs,
}

impl Style {
    pub const ALL: [Style; 3] = [Style::Plain, Style::Capital, Style::Signs];

    /// The word for it in a lesson: `plain`, `capital`, `signs`.
    pub fn name(self) -> &'static str {
        ["plain", "capital", "signs"][self as usize]
    }

    /// Reads that word.
    ///
    /// # Errors
    /// A sentence saying what was found and what would be right.
    pub fn parse(text: &str) -> Result<Style, String> {
        Style::ALL.into_iter().find(|s| s.name() == text).ok_or_else(|| {
            let text: String = text.chars().take(40).map(|c| if c.is_control() { '?' } else { c }).collect();
            format!("\"{text}\" is no spelling of chord signs; they are \"plain\" (Cmaj7 Cm7), \"capital\" (CM7 Cmin7) and \"signs\" (CΔ7 C-7)")
        })
    }

    fn minor(self) -> &'static str {
        ["m", "min", "-"][self as usize]
    }

    fn major_seventh(self) -> &'static str {
        ["maj", "M", "Δ"][self as usize]
    }

    fn diminished(self) -> &'static str {
        ["dim", "dim", "°"][self as usize]
    }

    fn augmented(self) -> &'static str {
        ["aug", "aug", "+"][self as usize]
    }
}

/// One run of a chord sign.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Part {
    pub kind: PartKind,
    /// Plain text; in an accidental `b`, `#`, `bb`, `##`.
    pub text: String,
    /// Whether it is set small and high after the root and quality.
    pub raised: bool,
}

/// What a run of a chord sign is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PartKind {
    /// The letter of the root or of the slash bass.
    Letter,
    /// Flats or sharps, to be set with music signs: after a letter, or (raised) before a figure.
    Accidental,
    /// `m`, `maj`, `dim`, `sus`, `add`, `alt`, `no`.
    Quality,
    /// Figures: `7`, `6/9`, `13`.
    Figure,
    /// Brackets, commas, and the slash before the bass.
    Mark,
}

impl Symbol {
    /// The sign as plain text in the given spelling.
    pub fn text(&self, style: Style) -> String {
        self.parts(style).into_iter().map(|p| p.text).collect()
    }

    /// The sign as runs for typesetting, in reading order; joined together they are [`Symbol::text`].
    ///
    /// ```
    /// use pitch::{PartKind, Style, Symbol};
    /// let parts = Symbol::parse("F#m7b5/A").unwrap().parts(Style::Plain);
    /// let runs: Vec<_> = parts.iter().map(|p| (p.kind, p.text.as_str(), p.raised)).collect();
    /// use PartKind::*;
    /// assert_eq!(runs, [
    ///     (Letter, "F", false), (Accidental, "#", false), (Quality, "m", false),
    ///     (Figure, "7", true), (Accidental, "b", true), (Figure, "5", true),
    ///     (Mark, "/", false), (Letter, "A", false),
    /// ]);
    /// ```
    pub fn parts(&self, style: Style) -> Vec<Part> {
        let mut out = Runs(Vec::with_capacity(10));
        out.note(self.root);
        let body = Body::of(&self.tones, style);
        if body.minor {
            out.quality(style.minor());
        }
        if !body.word.is_empty() {
            out.quality(body.word);
        }
        if body.major_seventh {
            if body.bracket_seventh {
                out.mark("(", false);
            }
            out.quality(style.major_seventh());
        }
        if !body.figure.is_empty() {
            out.push(PartKind::Figure, body.figure, true);
        }
        if body.bracket_seventh {
            out.mark(")", false);
        }
        for n in &body.suspended {
            out.quality("sus");
            out.push(PartKind::Figure, n, true);
        }
        let bare = match body.extras.as_slice() {
            // "7b9": the figure before it keeps the flat from being read as the root's.
            [Extra::Altered(_)] => !body.figure.is_empty() && !body.bracket_seventh && body.suspended.is_empty(),
            [Extra::Word(_)] => true,
            [Extra::Added(a)] => {
                let root_only = !body.minor && !body.major_seventh && body.figure.is_empty() && body.word.is_empty();
                root_only && body.suspended.is_empty() && a.alter == 0
            }
            _ => false,
        };
        if !body.extras.is_empty() && !bare {
            out.mark("(", true);
        }
        for (i, extra) in body.extras.iter().enumerate() {
            if i > 0 {
                out.mark(",", true);
            }
            match *extra {
                Extra::Altered(a) => out.degree(a),
                Extra::Added(a) => {
                    out.push(PartKind::Quality, "add", true);
                    out.degree(a);
                }
                Extra::Missing(n) => {
                    out.push(PartKind::Quality, "no", true);
                    out.push(PartKind::Figure, &n.to_string(), true);
                }
                Extra::Word(w) => out.quality(w),
            }
        }
        if !body.extras.is_empty() && !bare {
            out.mark(")", true);
        }
        if let Some(bass) = self.bass {
            out.mark("/", false);
            out.note(bass);
        }
        out.0
    }
}

impl fmt::Display for Symbol {
    /// The house spelling, in plain ASCII: [`Style::Plain`].
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text(Style::Plain))
    }
}

struct Runs(Vec<Part>);

impl Runs {
    fn push(&mut self, kind: PartKind, text: &str, raised: bool) {
        self.0.push(Part { kind, text: text.to_string(), raised });
    }

    fn quality(&mut self, text: &str) {
        self.push(PartKind::Quality, text, false);
    }

    fn mark(&mut self, text: &str, raised: bool) {
        self.push(PartKind::Mark, text, raised);
    }

    fn accidental(&mut self, alter: i8, raised: bool) {
        if alter != 0 {
            let one = if alter > 0 { "#" } else { "b" };
            self.push(PartKind::Accidental, &one.repeat(alter.unsigned_abs().into()), raised);
        }
    }

    fn note(&mut self, note: Spelling) {
        self.push(PartKind::Letter, note.letter.to_char().encode_utf8(&mut [0; 4]), false);
        self.accidental(note.alter, false);
    }

    fn degree(&mut self, degree: Degree) {
        self.accidental(degree.alter, true);
        self.push(PartKind::Figure, &degree.number.to_string(), true);
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Extra {
    /// `b9`: stands in place of the plain note that the figure promises.
    Altered(Degree),
    Added(Degree),
    Missing(u8),
    Word(&'static str),
}

/// What stands between the root and the slash.
struct Body {
    minor: bool,
    word: &'static str,
    major_seventh: bool,
    bracket_seventh: bool,
    figure: &'static str,
    suspended: Vec<&'static str>,
    extras: Vec<Extra>,
}

impl Body {
    fn of(tones: &[Degree], style: Style) -> Body {
        let has = |number, alter| tones.contains(&d(number, alter));
        let mut left: Vec<Degree> = tones.iter().copied().filter(|t| *t != Degree::ROOT).collect();
        let mut body = Body {
            minor: false,
            word: "",
            major_seventh: false,
            bracket_seventh: false,
            figure: "",
            suspended: Vec::new(),
            extras: Vec::new(),
        };
        let altered: [Degree; 6] = [d(3, 0), d(5, -1), d(5, 1), d(7, -1), d(9, -1), d(9, 1)];
        if left == altered {
            body.figure = "7";
            body.extras.push(Extra::Word("alt"));
            return body;
        }
        let mut use_up = |t: Degree| left.iter().position(|&l| l == t).map(|i| left.remove(i)).is_some();

        // Third and what stands in its place.
        let major = use_up(d(3, 0));
        let minor = !major && use_up(d(3, -1));
        if !major && !minor {
            for (n, text) in [(2, "2"), (4, "4")] {
                if use_up(d(n, 0)) {
                    body.suspended.push(text);
                }
            }
        }
        let third = major || minor;
        let sus = !body.suspended.is_empty();

        // Fifth and seventh.
        let perfect = use_up(d(5, 0));
        let low = !perfect && has(5, -1);
        let high = !perfect && has(5, 1);
        let dim = minor && low && !high;
        let double_flat = dim && has(7, -2);
        let seventh = double_flat || has(7, -1) || has(7, 0);
        let half = dim && !double_flat && has(7, -1);
        body.major_seventh = !double_flat && !has(7, -1) && has(7, 0);
        use_up(if double_flat { d(7, -2) } else if has(7, -1) { d(7, -1) } else { d(7, 0) });
        body.minor = minor && !dim;
        if dim {
            use_up(d(5, -1));
            body.word = style.diminished();
            if half {
                if style == Style::Signs {
                    body.word = "ø";
                } else {
                    (body.minor, body.word) = (true, "");
                    body.extras.push(Extra::Altered(d(5, -1)));
                }
            }
        } else if major && high && !low && !seventh {
            use_up(d(5, 1));
            body.word = style.augmented();
        } else {
            for (alter, there) in [(-1, low), (1, high)] {
                if there && use_up(d(5, alter)) {
                    body.extras.push(Extra::Altered(d(5, alter)));
                }
            }
        }
        body.bracket_seventh = body.major_seventh && (body.minor || dim);

        // The figure.
        if seventh {
            let ninth = has(9, 0) || has(9, -1) || has(9, 1);
            let eleventh_implied = minor && !double_flat && !(dim && body.major_seventh);
            let thirteen = ninth && has(13, 0) && (!eleventh_implied || has(11, 0) || has(11, 1));
            let eleven = ninth && has(11, 0) && !(sus && has(4, 0));
            body.figure = if thirteen {
                "13"
            } else if eleven {
                "11"
            } else if has(9, 0) {
                "9"
            } else {
                "7"
            };
            if thirteen {
                use_up(d(13, 0));
            }
            if (thirteen && eleventh_implied) || (!thirteen && eleven) {
                use_up(d(11, 0));
            }
            use_up(d(9, 0));
        } else if !dim && body.word.is_empty() && use_up(d(6, 0)) {
            body.figure = if use_up(d(9, 0)) { "6/9" } else { "6" };
        } else if !third && !sus && perfect {
            body.figure = "5";
        }

        // What is left: alterations where the plain note is not there too, additions otherwise.
        for t in left {
            let replaces = matches!((t.number, t.alter), (9, -1 | 1) | (11, 1) | (13, -1)) && seventh && !has(t.number, 0);
            let plain_sixth = t == d(6, -1);
            body.extras.push(if replaces || plain_sixth { Extra::Altered(t) } else { Extra::Added(t) });
        }
        if !third && !sus && body.figure != "5" {
            body.extras.push(Extra::Missing(3));
        }
        if !perfect && !low && !high {
            body.extras.push(Extra::Missing(5));
        }
        body
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every set of tones has a sign of its own, and reading it gives the tones back: 19 degrees, all sets of up to six.
    #[test]
    fn every_set_of_tones_reads_back() {
        let all: Vec<Degree> = ["2", "b3", "3", "4", "b5", "5", "#5", "b6", "6", "bb7", "b7", "7", "b9", "9", "#9", "11", "#11", "b13", "13"]
            .iter()
            .map(|t| Degree::parse(t).unwrap())
            .collect();
        let root = Spelling::parse("C").unwrap();
        let mut seen = std::collections::BTreeMap::new();
        for bits in 0u32..1 << all.len() {
            if bits.count_ones() > 6 {
                continue;
            }
            let tones: Vec<Degree> = (0..all.len()).filter(|i| bits >> i & 1 == 1).map(|i| all[i]).collect();
            // With a third, 2 and 4 are written as 9 and 11; two thirds or two sevenths are no chord.
            let has = |t: &str| tones.contains(&Degree::parse(t).unwrap());
            let third = has("3") || has("b3");
            if (third && (has("2") || has("4"))) || (has("3") && has("b3")) || [has("bb7"), has("b7"), has("7")].iter().filter(|&&x| x).count() > 1 {
                continue;
            }
            let symbol = Symbol::new(root, tones, None);
            for style in Style::ALL {
                let text = symbol.text(style);
                let back = Symbol::parse(&text).unwrap_or_else(|e| panic!("{symbol:?} is written {text}: {e}"));
                assert_eq!(back, symbol, "{text}");
            }
            if let Some(other) = seen.insert(symbol.to_string(), symbol.clone()) {
                panic!("{symbol} for {other:?} and {symbol:?}");
            }
        }
        assert!(seen.len() > 10_000);
    }
}
