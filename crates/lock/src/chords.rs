//! Who holds which tone of each chord.
//!
//! A part holds a tone where the tone sounds in it for at least a tenth of the time that the part's pitches sound under the chord,
//! so that a passing note is no tone held. Slides and bends count where they arrive.

use crate::harmony::BeatHarmony;
use crate::steady::Steady;
use crate::ticks::ticks;
use lesson::{Beats, Passage};
use pitch::{Degree, PitchClass, Symbol};

/// Part of a part's sounding time under a chord below which a tone passes by: one in so many.
const PASSING: i64 = 10;

/// One chord within a bar.
#[derive(Clone, Debug, PartialEq)]
pub struct Chord {
    /// Index into the passage's bars.
    pub bar: usize,
    /// First beat, from 1.
    pub beat: u32,
    /// From the bar's start.
    pub at: Beats,
    pub length: Beats,
    /// `None` where there is no chord or none has a name.
    pub symbol: Option<Symbol>,
    /// From the teacher's `chords`.
    pub written: bool,
    /// Its tones in the order of the sign, held or not; empty without a sign.
    pub tones: Vec<HeldTone>,
    /// What sounds and is no tone of the sign, nor its slash bass; every pitch class that is held where there is no sign.
    pub outside: Vec<OutsideTone>,
}

/// A tone of a chord and who has it.
#[derive(Clone, Debug, PartialEq)]
pub struct HeldTone {
    pub degree: Degree,
    /// Indices into the passage's parts, in order; empty where nobody has it.
    pub parts: Vec<usize>,
}

/// A pitch class beside the chord and who plays it.
#[derive(Clone, Debug, PartialEq)]
pub struct OutsideTone {
    pub class: PitchClass,
    /// Indices into the passage's parts, in order; never empty.
    pub parts: Vec<usize>,
}

impl Chord {
    /// The parts that hold a degree of this number (3 for any third); `None` where the sign has none.
    pub fn holders(&self, number: u8) -> Option<&[usize]> {
        self.tones.iter().find(|t| t.degree.number == number).map(|t| t.parts.as_slice())
    }
}

/// The chords of a passage, from the harmony of its beats and the steady pitches of each part.
pub(crate) fn chords(passage: &Passage, harmony: &[BeatHarmony], steady: &[Vec<Steady>]) -> Vec<Chord> {
    let mut out: Vec<Chord> = Vec::new();
    for h in harmony {
        let Some(bar) = passage.bars.get(h.bar) else { continue };
        let at = bar.meter.beat() * Beats::from_integer(i64::from(h.beat) - 1);
        let end = (at + bar.meter.beat()).min(bar.length);
        if let Some(last) = out.last_mut()
            && last.bar == h.bar
            && last.symbol == h.symbol
            && last.written == h.written
        {
            last.length = end - last.at;
            continue;
        }
        out.push(Chord { bar: h.bar, beat: h.beat, at, length: end - at, symbol: h.symbol.clone(), written: h.written, tones: vec![], outside: vec![] });
    }
    let starts: Vec<i64> = out.iter().map(|c| ticks(passage.bars[c.bar].start + c.at)).collect();
    let ends: Vec<i64> = out.iter().zip(&starts).map(|(c, s)| s + ticks(c.length)).collect();
    let mut held: Vec<Vec<[bool; 12]>> = Vec::with_capacity(steady.len());
    for notes in steady {
        let mut weight = vec![[0i64; 12]; out.len()];
        for n in notes {
            let first = ends.partition_point(|e| *e <= n.from);
            for i in first..out.len() {
                if starts[i] >= n.to {
                    break;
                }
                weight[i][usize::from(n.midi.class().0)] += n.to.min(ends[i]) - n.from.max(starts[i]);
            }
        }
        held.push(weight.iter().map(|w| w.map(|t| t > 0 && t.saturating_mul(PASSING) >= w.iter().sum())).collect());
    }
    for (i, chord) in out.iter_mut().enumerate() {
        let having = |class: PitchClass| (0..held.len()).filter(|p| held[*p][i][usize::from(class.0)]).collect::<Vec<_>>();
        if let Some(s) = &chord.symbol {
            chord.tones = s.tones.iter().map(|d| HeldTone { degree: *d, parts: having(d.class(s.root.class())) }).collect();
        }
        let own = chord.symbol.as_ref().map(Symbol::classes);
        for class in (0..12).map(PitchClass).filter(|c| own.is_none_or(|o| !o.holds(*c))) {
            let parts = having(class);
            if !parts.is_empty() {
                chord.outside.push(OutsideTone { class, parts });
            }
        }
    }
    out
}
