//! What stands in a line of a batch: frets, tunings, keys, chord signs, notes; and the names and places that follow from it.
#![no_main]
use libfuzzer_sys::fuzz_target;
use neck::{Grip, Hand, Instrument, PlaceOptions, Tuning, Wanted};
use pitch::{Context, Key, Midi, Spelled, Spelling, Symbol};

fuzz_target!(|text: &str| {
    if text.len() > 1000 {
        return;
    }
    let mut fields = text.split(';');
    let mut next = || fields.next().unwrap_or("");
    let (frets, tuning, key, sign, bass) = (next(), next(), next(), next(), next());
    let mut neck = Instrument::guitar();
    if let Ok(t) = Tuning::guitar(tuning, tuning.split_whitespace().count().clamp(6, 8)) {
        neck.tuning = t;
    }
    let _ = Tuning::bass(tuning, 4);
    let key = Key::parse(key).ok();
    let written = Symbol::parse(sign).ok();
    let _ = Symbol::parse_harte(sign);
    let _ = Spelling::parse(bass);
    if let Some(s) = &written {
        assert!(Symbol::parse(&s.to_string()).is_ok(), "{s} is not read again");
    }
    if let Ok(grip) = Grip::parse(frets) {
        assert_eq!(Grip::parse(&grip.to_string()).ok().as_ref(), Some(&grip));
        if grip.frets.len() == neck.strings() && grip.sounding().all(|(s, f)| neck.sounds(s, f).is_some()) {
            let notes: Vec<Midi> = grip.midi(&neck).into_iter().flatten().collect();
            let bass = Spelled::parse(bass).and_then(Spelled::midi);
            let _ = pitch::names(&notes, &Context { bass, key, written, before: None, after: None });
            if notes.len() <= 4 {
                let _ = neck::place(&Wanted::Pitches(notes), &neck, &Hand::usual(), &PlaceOptions::default());
            }
        }
    }
});
