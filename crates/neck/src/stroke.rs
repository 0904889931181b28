//! Notes gathered into strokes, and every way to put a stroke's notes on strings.

use crate::finger::{Neck, STRINGS_MAX, ends, search};
use crate::habit::HABITS;
use crate::parent::{FORMS_LEN, NO_BASE, bases};
use crate::step::{Kind, Laid};
use crate::{Hand, Instrument, TOGETHER_S, Timed};
use pitch::Midi;
use std::collections::BTreeMap;

/// Notes struck together.
#[derive(Clone)]
pub(crate) struct Stroke {
    pub(crate) onset_s: f64,
    pub(crate) kind: Kind,
    /// Indices into the part's notes.
    pub(crate) notes: Vec<usize>,
    /// Onset of each.
    pub(crate) onsets_s: Vec<f64>,
    /// Pitch and end of each.
    pub(crate) pitch_end: Vec<(u8, f64)>,
    pub(crate) laid: Vec<Laid>,
    /// Which notes are slid, hammered or pulled to; none where empty.
    pub(crate) joined: Vec<bool>,
    /// What the rest of the part says of each note on each string, once that is known; see `habit`.
    pub(crate) habits: Vec<[[f64; HABITS]; STRINGS_MAX]>,
}

/// The fret at which string index `s` (from the low string) sounds `midi`.
pub(crate) fn fret_on(instrument: &Instrument, s: usize, midi: Midi) -> Option<u8> {
    let open = instrument.tuning.open[s].0.checked_add(instrument.capo)?;
    midi.0.checked_sub(open).filter(|f| *f <= instrument.top_fret().min(crate::FRETS_MAX))
}

/// Notes gathered into strokes, each with its placements.
pub(crate) fn strokes(notes: &[Timed], pinned: &[Option<u8>], instrument: &Instrument, hand: &Hand, neck: &Neck) -> Vec<Stroke> {
    let mut order: Vec<usize> = (0..notes.len()).collect();
    order.sort_by(|a, b| notes[*a].onset_s.total_cmp(&notes[*b].onset_s).then(notes[*a].midi.cmp(&notes[*b].midi)).then(a.cmp(b)));
    let mut known: BTreeMap<Vec<(u8, Option<u8>)>, Vec<Laid>> = BTreeMap::new();
    let mut out: Vec<Stroke> = Vec::new();
    let mut from = 0;
    while from < order.len() {
        let mut to = from + 1;
        while to < order.len() && to - from < instrument.strings() {
            let (last, next) = (&notes[order[to - 1]], &notes[order[to]]);
            let sounding = order[from..to].iter().all(|i| notes[*i].onset_s + notes[*i].duration_s > next.onset_s);
            if next.onset_s - last.onset_s > TOGETHER_S || !(sounding || next.onset_s == last.onset_s) {
                break;
            }
            to += 1;
        }
        // As many of them as a hand can hold at once; a single note always has a place.
        loop {
            let mut members = order[from..to].to_vec();
            members.sort_by_key(|i| (notes[*i].midi, *i));
            let wanted: Vec<(u8, Option<u8>)> = members.iter().map(|i| (notes[*i].midi.0, pinned[*i])).collect();
            let laid = known.entry(wanted).or_insert_with_key(|wanted| lay(wanted, instrument, hand, neck));
            if !laid.is_empty() {
                out.push(Stroke {
                    onset_s: notes[order[from]].onset_s,
                    kind: Kind::Line,
                    pitch_end: members.iter().map(|i| (notes[*i].midi.0, notes[*i].onset_s + notes[*i].duration_s)).collect(),
                    onsets_s: members.iter().map(|i| notes[*i].onset_s).collect(),
                    notes: members,
                    laid: laid.clone(),
                    joined: Vec::new(),
                    habits: Vec::new(),
                });
                break;
            }
            if to == from + 1 {
                break;
            }
            to -= 1;
        }
        from = to;
    }
    let chords: Vec<bool> = out.iter().map(|s| s.notes.len() > 1).collect();
    for (i, s) in out.iter_mut().enumerate() {
        let near = &chords[i.saturating_sub(6)..(i + 7).min(chords.len())];
        s.kind = match s.notes.len() {
            1 if near.iter().filter(|c| **c).count() > 2 => Kind::Between,
            1 => Kind::Line,
            _ => Kind::Chord,
        };
    }
    out
}

/// Every way to put the wanted pitches (rising, some pinned to a string index) on strings of their own that the hand can hold.
fn lay(wanted: &[(u8, Option<u8>)], instrument: &Instrument, hand: &Hand, neck: &Neck) -> Vec<Laid> {
    let strings = instrument.strings();
    let mut out = Vec::new();
    let mut at: Vec<(u8, u8)> = Vec::with_capacity(wanted.len());
    lay_from(wanted, instrument, hand, neck, strings, &mut at, &mut out);
    out
}

fn lay_from(
    wanted: &[(u8, Option<u8>)],
    instrument: &Instrument,
    hand: &Hand,
    neck: &Neck,
    strings: usize,
    at: &mut Vec<(u8, u8)>,
    out: &mut Vec<Laid>,
) {
    let Some((midi, pin)) = wanted.get(at.len()) else {
        let mut frets = [None; STRINGS_MAX];
        for (s, f) in at.iter() {
            frets[usize::from(*s)] = Some(*f);
        }
        let frets = &frets[..strings];
        let standard = instrument.tuning.open.iter().map(|m| m.0).eq([40, 45, 50, 55, 59, 64]);
        if let Some(taken) = search(frets, neck, Some(hand)) {
            let (low, high) = ends(frets).unwrap_or((0, 0));
            let (first, last) = (at.iter().map(|a| a.0).min().unwrap_or(0), at.iter().map(|a| a.0).max().unwrap_or(0));
            let crossed = at.iter().enumerate().map(|(i, a)| at[i + 1..].iter().filter(|b| b.0 < a.0).count()).sum::<usize>();
            out.push(Laid {
                at: at.clone(),
                low,
                high,
                hand_mm: taken.cost,
                gaps: last - first + 1 - at.len() as u8,
                crossed: crossed as u8,
                forms: if standard { bases(at) } else { [NO_BASE; FORMS_LEN] },
                shape: 0.0,
                handicap: 0.0,
            });
        }
        return;
    };
    // Equal pitches are free to change places: only one order is tried, unless a pin tells them apart.
    let same = at.len().checked_sub(1).filter(|j| wanted[*j].0 == *midi && wanted.iter().all(|w| w.1.is_none())).map(|j| at[j].0);
    for s in 0..strings {
        if pin.is_some_and(|p| usize::from(p) != s) || at.iter().any(|(t, _)| usize::from(*t) == s) || same.is_some_and(|j| s <= usize::from(j)) {
            continue;
        }
        let Some(fret) = fret_on(instrument, s, Midi(*midi)) else { continue };
        let far = fret > 0
            && at.iter().any(|(_, f)| *f > 0 && neck.between(*f, fret) > hand.index_little_mm.max(hand.thumb_mm.unwrap_or(0.0)));
        if far {
            continue;
        }
        at.push((s as u8, fret));
        lay_from(wanted, instrument, hand, neck, strings, at, out);
        at.pop();
    }
}
