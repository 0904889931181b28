//! The instrument: open strings, capo, number of frets, scale length, and what each place sounds.

use pitch::{Midi, Spelled};

/// No fretted instrument that is meant here has more frets (from memory: 24 is usual at the top, 27 rare, 36 a curiosity).
pub const FRETS_MAX: u8 = 36;

/// Open strings, low to high.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tuning {
    /// What the trade calls it ("standard", "drop D"), or the written notes themselves.
    pub name: String,
    /// Sounding pitch of each open string without capo, low to high.
    pub open: Vec<Midi>,
}

/// Named tunings: name, number of strings, notes low to high. common practice.
const GUITAR: &[(&str, &str)] = &[
    ("standard", "E2 A2 D3 G3 B3 E4"),
    ("half step down", "Eb2 Ab2 Db3 Gb3 Bb3 Eb4"),
    ("whole step down", "D2 G2 C3 F3 A3 D4"),
    ("drop D", "D2 A2 D3 G3 B3 E4"),
    ("double drop D", "D2 A2 D3 G3 B3 D4"),
    ("open G", "D2 G2 D3 G3 B3 D4"),
    ("open D", "D2 A2 D3 F#3 A3 D4"),
    ("open E", "E2 B2 E3 G#3 B3 E4"),
    ("open A", "E2 A2 E3 A3 C#4 E4"),
    ("DADGAD", "D2 A2 D3 G3 A3 D4"),
];
const GUITAR_7: &[(&str, &str)] = &[("standard", "B1 E2 A2 D3 G3 B3 E4"), ("drop A", "A1 E2 A2 D3 G3 B3 E4")];
const GUITAR_8: &[(&str, &str)] = &[("standard", "F#1 B1 E2 A2 D3 G3 B3 E4")];
const BASS_4: &[(&str, &str)] =
    &[("standard", "E1 A1 D2 G2"), ("half step down", "Eb1 Ab1 Db2 Gb2"), ("drop D", "D1 A1 D2 G2")];
const BASS_5: &[(&str, &str)] = &[("standard", "B0 E1 A1 D2 G2")];
const BASS_6: &[(&str, &str)] = &[("standard", "B0 E1 A1 D2 G2 C3")];

/// Which family a tuning name belongs to.
fn named(bass: bool, strings: usize) -> &'static [(&'static str, &'static str)] {
    match (bass, strings) {
        (false, 6) => GUITAR,
        (false, 7) => GUITAR_7,
        (false, 8) => GUITAR_8,
        (true, 4) => BASS_4,
        (true, 5) => BASS_5,
        (true, 6) => BASS_6,
        _ => &[],
    }
}

impl Tuning {
    /// Reads a tuning: one of the names known for that many strings, or the notes low to high (`"D2 A2 D3 G3 A3 D4"`).
    ///
    /// ```
    /// use neck::Tuning;
    /// assert_eq!(Tuning::guitar("drop D", 6).unwrap().open[0].0, 38);
    /// assert_eq!(Tuning::guitar("C2 G2 C3 G3 C4 E4", 6).unwrap().open[5].0, 64);
    /// ```
    ///
    /// # Errors
    /// A sentence: what was found, what would be right.
    pub fn guitar(text: &str, strings: usize) -> Result<Tuning, String> {
        Tuning::read(text, false, strings, 6..=8)
    }

    /// As [`Tuning::guitar`], for a bass of 4 to 6 strings.
    ///
    /// # Errors
    /// A sentence: what was found, what would be right.
    pub fn bass(text: &str, strings: usize) -> Result<Tuning, String> {
        Tuning::read(text, true, strings, 4..=6)
    }

    fn read(text: &str, bass: bool, strings: usize, range: std::ops::RangeInclusive<usize>) -> Result<Tuning, String> {
        let what = if bass { "a bass" } else { "a guitar" };
        if !range.contains(&strings) {
            return Err(format!("{what} has {} to {} strings here, not {strings}", range.start(), range.end()));
        }
        let text = text.trim();
        let list = named(bass, strings);
        if let Some((name, notes)) = list.iter().find(|(n, _)| n.eq_ignore_ascii_case(text)) {
            let open = notes.split(' ').filter_map(|n| Spelled::parse(n)?.midi()).collect();
            return Ok(Tuning { name: (*name).to_string(), open });
        }
        let words: Vec<&str> = text.split_whitespace().collect();
        let mut open = Vec::new();
        for w in &words {
            match Spelled::parse(w).and_then(Spelled::midi) {
                Some(m) => open.push(m),
                None => {
                    let names: Vec<&str> = list.iter().map(|(n, _)| *n).collect();
                    return Err(format!(
                        "\"{text}\" is no tuning that is known for {strings} strings; write one of {}, or the {strings} notes low to high such as \"{}\"",
                        names.join(", "),
                        list.first().map_or("", |(_, n)| n)
                    ));
                }
            }
        }
        if open.len() != strings {
            return Err(format!("the tuning \"{text}\" has {} notes; {what} with {strings} strings needs {strings}, low to high", open.len()));
        }
        Ok(Tuning { name: text.to_string(), open })
    }

    /// True when the open strings are those of the standard tuning for that many strings.
    pub fn is_standard(&self) -> bool {
        self.name == "standard"
    }
}

/// A fretted instrument as it is set up for a part.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    pub tuning: Tuning,
    /// Fret of the capo, 0 = none.
    pub capo: u8,
    /// Frets on the neck, counted from the nut.
    pub frets: u8,
    /// Length of the open string, nut to bridge, in millimetres.
    pub scale_mm: f64,
}

impl Instrument {
    /// A six-string guitar in standard tuning: 22 frets, 648 mm (common practice for electric guitars: 25.5 inches).
    pub fn guitar() -> Instrument {
        Instrument { tuning: Tuning::guitar("standard", 6).expect("named"), capo: 0, frets: 22, scale_mm: 647.7 }
    }

    /// A four-string bass in standard tuning: 20 frets, 864 mm (common practice: 34 inches).
    pub fn bass() -> Instrument {
        Instrument { tuning: Tuning::bass("standard", 4).expect("named"), capo: 0, frets: 20, scale_mm: 863.6 }
    }

    /// Number of strings.
    pub fn strings(&self) -> usize {
        self.tuning.open.len()
    }

    /// Sounding pitch of `string` (1 = highest) at `fret` (counted from the capo). `None` where there is no such string or
    /// fret, or the pitch lies outside MIDI.
    pub fn sounds(&self, string: u8, fret: u8) -> Option<Midi> {
        let n = self.strings();
        let i = n.checked_sub(usize::from(string)).filter(|_| string >= 1)?;
        let from_nut = u16::from(fret) + u16::from(self.capo);
        if from_nut > u16::from(self.frets) {
            return None;
        }
        self.tuning.open[i].up(i32::from(from_nut))
    }

    /// Highest fret that can be played, counted from the capo.
    pub fn top_fret(&self) -> u8 {
        self.frets.saturating_sub(self.capo)
    }

    /// Distance of `fret` (counted from the nut) from the nut in millimetres, equal temperament:
    /// `scale * (1 - 2^(-fret/12))`.
    pub fn fret_mm(&self, fret: u8) -> f64 {
        self.scale_mm * (1.0 - libm::exp2(-f64::from(fret) / 12.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_named_tuning_has_its_strings() {
        for bass in [false, true] {
            for strings in 4..=8 {
                for (name, _) in named(bass, strings) {
                    let t = if bass { Tuning::bass(name, strings) } else { Tuning::guitar(name, strings) }.unwrap();
                    assert_eq!(t.open.len(), strings, "{name}");
                    assert!(t.open.windows(2).all(|w| w[0] < w[1]), "{name} rises");
                }
            }
        }
    }

    #[test]
    fn places_sound() {
        let g = Instrument::guitar();
        // common practice: fifth fret of string 6 is the open string 5.
        assert_eq!(g.sounds(6, 5), g.sounds(5, 0));
        assert_eq!(g.sounds(1, 0), Some(Midi(64)));
        assert_eq!(g.sounds(1, 22), Some(Midi(86)));
        for (s, f) in [(0, 0), (7, 0), (1, 23), (255, 255)] {
            assert_eq!(g.sounds(s, f), None);
        }
        let capo = Instrument { capo: 3, ..Instrument::guitar() };
        assert_eq!(capo.sounds(6, 0), Some(Midi(43)));
        assert_eq!(capo.top_fret(), 19);
        // The twelfth fret halves the string.
        assert!((g.fret_mm(12) - g.scale_mm / 2.0).abs() < 1e-9);
    }

    #[test]
    fn faulty_tunings_say_what_would_be_right() {
        assert!(Tuning::guitar("drop Q", 6).unwrap_err().contains("drop D"));
        assert!(Tuning::guitar("E2 A2 D3 G3 B3", 6).unwrap_err().contains("has 5 notes"));
        assert!(Tuning::guitar("standard", 9).unwrap_err().contains("6 to 8"));
        assert!(Tuning::bass("standard", 3).unwrap_err().contains("4 to 6"));
    }
}
