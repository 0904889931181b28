//! Every grip that the search gives can be held: judged by a check of its own, written from the hand's rules and not from the search.

use neck::{
    Finger, Fingering, Grip, Hand, Instrument, Pin, PlaceOptions, Timed, Tuning, Wanted, finger, fingers_given, parents, path, place,
};
use pitch::{Midi, PitchClass};
use proptest::prelude::*;

/// What is wrong with a fingering, by the hand's rules alone.
fn faults(grip: &Grip, f: &Fingering, instrument: &Instrument, hand: &Hand) -> Vec<String> {
    let n = grip.frets.len();
    let mut out = Vec::new();
    if f.fingers.len() != n {
        return vec!["not a finger a string".into()];
    }
    let mm = |fret: u8| instrument.scale_mm * (1.0 - 0.5f64.powf(f64::from(fret + instrument.capo) / 12.0));
    let held: Vec<(usize, u8, Finger)> = (0..n).filter_map(|i| Some((i, grip.frets[i].filter(|f| *f > 0)?, f.fingers[i]?))).collect();
    for i in 0..n {
        if grip.frets[i].is_some_and(|f| f > 0) != f.fingers[i].is_some() {
            out.push(format!("string {} has a fret and no finger, or a finger and no fret", n - i));
        }
    }
    for a in &held {
        for b in &held {
            let apart = (mm(a.1) - mm(b.1)).abs();
            if a.2 == b.2 {
                if a.1 != b.1 {
                    out.push(format!("finger {:?} at two frets", a.2));
                }
                for (i, between) in grip.frets.iter().enumerate() {
                    if i > a.0 && i < b.0 && between.is_some_and(|g| g < a.1) {
                        out.push(format!("finger {:?} lies on string {}, which is lower or open", a.2, n - i));
                    }
                }
            } else if apart > hand.reach_mm(a.2, b.2) + 1e-6 {
                out.push(format!("{:?} and {:?} are {apart} mm apart", a.2, b.2));
            } else if a.2 < b.2 && b.2 != Finger::Thumb && (a.1 > b.1 || (a.1 == b.1 && a.0 > b.0)) {
                out.push(format!("{:?} and {:?} cross", a.2, b.2));
            }
        }
        if a.2 == Finger::Thumb && (a.0 != 0 || hand.thumb_mm.is_none()) {
            out.push("the thumb where it cannot be".into());
        }
    }
    for finger in [Finger::Index, Finger::Middle, Finger::Ring, Finger::Little, Finger::Thumb] {
        let on: Vec<_> = held.iter().filter(|h| h.2 == finger).collect();
        let barre = f.barres.iter().find(|b| b.finger == finger);
        match (&on[..], barre) {
            ([low, .., high], Some(b))
                if (usize::from(b.from_string), usize::from(b.to_string), b.fret) != (n - low.0, n - high.0, low.1) => {
                    out.push(format!("barre {b:?} is not where its finger is"));
                }
            ([_, .., _], None) | ([] | [_], Some(_)) => out.push(format!("barre of {finger:?} missing or too much")),
            _ => {}
        }
    }
    let span = held.iter().map(|h| mm(h.1)).fold(f64::NEG_INFINITY, f64::max) - held.iter().map(|h| mm(h.1)).fold(f64::INFINITY, f64::min);
    if !held.is_empty() && (span - f.span_mm).abs() > 1e-6 {
        out.push(format!("span {} is not {span}", f.span_mm));
    }
    if !(f.cost.is_finite() && f.cost >= 0.0) {
        out.push(format!("cost {}", f.cost));
    }
    out
}

fn hands() -> impl Strategy<Value = Hand> {
    prop_oneof![Just(Hand::small()), Just(Hand::usual()), Just(Hand::large())]
}

fn instruments() -> impl Strategy<Value = Instrument> {
    let tunings = vec![
        Tuning::guitar("standard", 6).unwrap(),
        Tuning::guitar("DADGAD", 6).unwrap(),
        Tuning::guitar("standard", 7).unwrap(),
        Tuning::guitar("standard", 8).unwrap(),
        Tuning::bass("standard", 4).unwrap(),
    ];
    (prop::sample::select(tunings), 0u8..=7, 600.0..900.0f64)
        .prop_map(|(tuning, capo, scale_mm)| Instrument { tuning, capo, frets: 22, scale_mm })
}

fn frets(most: u8) -> impl Strategy<Value = Option<u8>> {
    prop_oneof![2 => Just(None), 2 => Just(Some(0)), 5 => (1..=most).prop_map(Some)]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn fingered_grips_can_be_held(instrument in instruments(), hand in hands(), low in 0u8..10, shape in prop::collection::vec(frets(5), 8)) {
        let frets = shape[..instrument.strings()].iter().map(|f| f.map(|f| if f > 0 { f + low } else { 0 })).collect();
        let grip = Grip { frets };
        if let Ok(f) = finger(&grip, &instrument, &hand) {
            prop_assert_eq!(faults(&grip, &f, &instrument, &hand), Vec::<String>::new());
            // What the search gives may also be written by a teacher.
            let list: Vec<Finger> = f.fingers.iter().flatten().copied().collect();
            let given = fingers_given(&grip, &list, &instrument).unwrap();
            prop_assert_eq!(&given.fingers, &f.fingers);
            prop_assert!((given.cost - f.cost).abs() < 1e-9);
        }
    }

    #[test]
    fn a_closed_shape_keeps_its_fingers_along_the_neck(hand in hands(), low in 0u8..14, shape in prop::collection::vec(prop_oneof![2 => Just(None), 5 => (1u8..=4).prop_map(Some)], 6)) {
        let guitar = Instrument::guitar();
        let grip = Grip { frets: shape.iter().map(|f| f.map(|f| f + low)).collect() };
        if let (Ok(here), Some(up)) = (finger(&grip, &guitar, &hand), grip.shifted(1)) {
            let above = finger(&up, &guitar, &hand).unwrap();
            // Frets lie closer together further up. What was in reach stays so; only what was not may come in its place.
            let nut = Instrument { scale_mm: 500.0, ..Instrument::guitar() };
            let first_choice = finger(&grip, &nut, &Hand { thumb_mm: hand.thumb_mm, ..Hand::large() }).unwrap();
            if first_choice.fingers == here.fingers {
                prop_assert_eq!(here.fingers, above.fingers);
            }
        }
    }

    #[test]
    fn nothing_panics(frets in prop::collection::vec(prop::option::of(any::<u8>()), 0..14), strings in prop::collection::vec(any::<u8>(), 0..14), capo in any::<u8>(), neck_frets in any::<u8>(), scale_mm in any::<f64>(), pins in prop::collection::vec((0usize..5, any::<u8>()), 0..3), times in prop::collection::vec((any::<f64>(), any::<f64>(), any::<u8>()), 0..5)) {
        let tuning = Tuning { name: "any".into(), open: strings.into_iter().map(Midi).collect() };
        let grip = Grip { frets };
        for instrument in [Instrument { tuning, capo, frets: neck_frets, scale_mm }, Instrument::guitar(), Instrument::bass()] {
            let _ = finger(&grip, &instrument, &Hand::usual());
            let _ = fingers_given(&grip, &[Finger::Index, Finger::Thumb], &instrument);
            let _ = parents(&grip, &instrument);
            let notes: Vec<Timed> = times.iter().map(|(o, d, m)| Timed { onset_s: *o, duration_s: *d, midi: Midi(*m) }).collect();
            let pins: Vec<Pin> = pins.iter().map(|(note, string)| Pin { note: *note, string: *string }).collect();
            let _ = path(&notes, &instrument, &Hand::usual(), &pins);
            let wanted = Wanted::Pitches(times.iter().map(|t| Midi(t.2)).collect());
            let _ = place(&wanted, &instrument, &Hand::usual(), &PlaceOptions::default());
        }
    }

    #[test]
    fn a_path_sounds_the_notes_in_grips_that_can_be_held(instrument in instruments(), hand in hands(), steps in prop::collection::vec((0u8..3, prop::collection::vec(0u8..36, 1..5)), 1..12)) {
        let lowest = instrument.sounds(instrument.strings() as u8, 0).unwrap().0;
        let top = instrument.sounds(1, instrument.top_fret()).unwrap().0;
        let mut notes = Vec::new();
        let mut at = 0.0;
        for (gap, pitches) in &steps {
            at += 0.2 * f64::from(*gap + 1);
            notes.extend(pitches.iter().map(|p| Timed { onset_s: at, duration_s: 0.2, midi: Midi((lowest + p).min(top)) }));
        }
        let places = path(&notes, &instrument, &hand, &[]).unwrap();
        for (n, (string, fret)) in notes.iter().zip(&places) {
            prop_assert_eq!(instrument.sounds(*string, *fret), Some(n.midi));
        }
        prop_assert_eq!(&places, &path(&notes, &instrument, &hand, &[]).unwrap());
        // A pin to where a note already lies changes nothing; a pin elsewhere is kept.
        let string = (1..=instrument.strings() as u8).find(|s| *s != places[0].0 && (0..=instrument.top_fret()).any(|f| instrument.sounds(*s, f) == Some(notes[0].midi)));
        if let Some(string) = string {
            prop_assert_eq!(path(&notes, &instrument, &hand, &[Pin { note: 0, string }]).unwrap()[0].0, string);
        }
    }
}

/// Every playable grip for a chord on few frets, by trying everything.
#[test]
fn places_are_complete_and_in_order() {
    for (instrument, top) in [(Instrument::guitar(), 5u8), (Instrument { capo: 2, ..Instrument::bass() }, 9)] {
        let hand = Hand::usual();
        let n = instrument.strings() as u32;
        for (classes, bass, omit) in [(vec![0u8, 4, 7], None, vec![]), (vec![2, 5, 9, 0], Some(5u8), vec![9u8]), (vec![4, 8, 11, 2], Some(9), vec![11])] {
            let wanted = Wanted::Classes {
                classes: classes.iter().copied().map(PitchClass).collect(),
                bass: bass.map(PitchClass),
                must: vec![PitchClass(classes[1])],
                may_omit: omit.iter().copied().map(PitchClass).collect(),
            };
            let options = PlaceOptions { frets: 1..=top, max_results: 10_000, inversions: true, notes_min: 3, ..PlaceOptions::default() };
            let found = place(&wanted, &instrument, &hand, &options);
            let mut all = Vec::new();
            for code in 0..u64::from(top + 2).pow(n) {
                let mut rest = code;
                let mut frets = Vec::new();
                for _ in 0..n {
                    frets.push((rest % u64::from(top + 2)).checked_sub(1).map(|f| f as u8));
                    rest /= u64::from(top + 2);
                }
                let grip = Grip { frets };
                let sounds: Vec<Midi> = grip.midi(&instrument).into_iter().flatten().collect();
                let Some(lowest) = sounds.iter().min() else { continue };
                let is_bass = |m: &Midi| bass == Some(m.0 % 12) && !classes.contains(&(m.0 % 12));
                let fits = sounds.len() >= 3
                    && bass.is_none_or(|b| b == lowest.0 % 12)
                    && sounds.iter().all(|m| classes.contains(&(m.0 % 12)) || is_bass(m))
                    && sounds.iter().filter(|m| is_bass(m)).count() <= 1
                    && classes.iter().all(|c| omit.contains(c) || sounds.iter().any(|m| m.0 % 12 == *c));
                if fits && finger(&grip, &instrument, &hand).is_ok() {
                    all.push(grip);
                }
            }
            assert!(!all.is_empty() && all.len() < 10_000);
            assert_eq!(found.len(), all.len(), "{classes:?}");
            assert!(all.iter().all(|g| found.iter().any(|p| p.grip == *g)));
            assert!(found.windows(2).all(|w| w[0].cost <= w[1].cost));
            for p in &found {
                assert_eq!(faults(&p.grip, &p.fingering, &instrument, &hand), Vec::<String>::new(), "{}", p.grip);
            }
            // A shorter list is the beginning of the long one.
            let few = place(&wanted, &instrument, &hand, &PlaceOptions { max_results: 7, ..options });
            assert_eq!(few[..], found[..few.len()]);
            assert_eq!(few.len(), 7.min(found.len()));
        }
    }
}

#[test]
fn places_for_pitches_are_complete() {
    let guitar = Instrument::guitar();
    let wanted = [52u8, 59, 64, 64];
    let found = place(&Wanted::Pitches(wanted.map(Midi).to_vec()), &guitar, &Hand::large(), &PlaceOptions { max_results: 1000, ..PlaceOptions::default() });
    let mut all = Vec::new();
    let frets = |m: u8, s: u8| (0..=22u8).find(|f| guitar.sounds(s, *f) == Some(Midi(m)));
    for code in 0..6u32.pow(4) {
        let s: Vec<u8> = (0..4).map(|k| (code / 6u32.pow(k) % 6) as u8 + 1).collect();
        let mut grip = Grip { frets: vec![None; 6] };
        let mut fits = s[2] > s[3];
        for (m, s) in wanted.iter().zip(&s) {
            let place = &mut grip.frets[6 - usize::from(*s)];
            fits &= place.is_none();
            match frets(*m, *s) {
                Some(f) => *place = Some(f),
                None => fits = false,
            }
        }
        if fits && finger(&grip, &guitar, &Hand::large()).is_ok() {
            all.push(grip);
        }
    }
    assert!(all.len() > 3);
    assert_eq!(found.len(), all.len());
    assert!(all.iter().all(|g| found.iter().any(|p| p.grip == *g)));
}
