//! What is set again after changes is what a fresh setting gives.

use super::*;
use crate::system::systems;
use proptest::prelude::*;

/// Lines of two guitars, a keyboard and drums, as a lesson; `None` where they are none.
fn passage(bars: &[[String; 3]], kicks: &[bool], tempo: u32) -> Option<Passage> {
    let part = |k: usize| bars.iter().map(|b| format!("bar \"{}\"\n", b[k])).collect::<String>();
    let drums: String = kicks.iter().map(|k| if *k { "bar { kick \"x . x .\"; snare \". x . x\" }\n" } else { "bar { kick \"x . . .\" }\n" }).collect();
    let grips = "grip \"a\" \"x x 8 8 8 x\"\ngrip \"b\" \"x x 6 7 6 x\" sure=\"guess\"\n";
    let text = format!(
        "lesson \"Test\" {{ passage \"p\" {{\n tempo {tempo}\n slots 4\n key \"C minor\"\n part \"one\" instrument=\"guitar\" staff=#true {{\n{grips}{}}}\n part \"two\" instrument=\"guitar\" {{\n{grips}{}}}\n\
         part \"keys\" instrument=\"keys\" {{\n{}}}\n part \"kit\" instrument=\"drums\" {{\n{drums}}}\n}}}}",
        part(0),
        part(1),
        part(2)
    );
    let reading = lesson::read(&text);
    reading.is_sound().then(|| reading.lesson.passages.into_iter().next()).flatten()
}

/// Bars that lead into the next one, and bars that need one that does.
fn bar() -> impl Strategy<Value = [String; 3]> {
    let led = prop_oneof![2 => Just("/3:12 - - -"), 3 => Just("- - - -"), 1 => Just("- ^1 - -"), 1 => Just("^0 - - -"), 1 => Just("- - - /3:9")];
    let leading = prop_oneof![Just("3:7 - - -"), Just("3:14 - - -"), Just("3:7^1 - - -"), Just("a . x 3:16")];
    let first = prop_oneof![led, leading];
    let second = prop_oneof![Just("a . x a"), Just("b b . x"), Just(". . . .")];
    let keys = prop_oneof![Just("C4 . . ."), Just("Eb5 - G5 -"), Just("C2 . C2 C2"), Just(". . . .")];
    (first, second, keys).prop_map(|(a, b, c)| [a.to_string(), b.to_string(), c.to_string()])
}

#[derive(Clone, Debug)]
enum Change {
    Bar(usize, [String; 3]),
    Kick(usize),
    Name(usize),
    Tempo,
    Width,
    More([String; 3]),
}

fn change() -> impl Strategy<Value = Change> {
    prop_oneof![
        8 => (any::<usize>(), bar()).prop_map(|(i, b)| Change::Bar(i, b)),
        1 => any::<usize>().prop_map(Change::Kick),
        2 => any::<usize>().prop_map(Change::Name),
        1 => Just(Change::Tempo),
        1 => Just(Change::Width),
        1 => bar().prop_map(Change::More),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, max_global_rejects: 100_000, ..ProptestConfig::default() })]

    #[test]
    fn set_again_is_set_anew(first in proptest::collection::vec(bar(), 3..12), changes in proptest::collection::vec(change(), 1..14)) {
        let plain = ["a . x a".to_string(), "3:7 - - -".to_string(), "C4 . . .".to_string()];
        let mut bars: Vec<[String; 3]> = vec![plain; first.len()];
        let mut kicks = vec![false; bars.len()];
        let mut tempo = 90;
        let mut options = SystemOptions { width_pt: 150.0, ..SystemOptions::default() };
        let mut named = std::collections::BTreeSet::new();
        let mut setting = Setting::default();
        let start = first.into_iter().enumerate().map(|(i, b)| Change::Bar(i, b));
        let mut taken = 0;
        for change in start.chain(changes) {
            let before = (bars.clone(), kicks.clone(), tempo);
            let n = bars.len();
            match change {
                Change::Bar(i, b) => bars[i % n] = b,
                Change::Kick(i) => kicks[i % n] ^= true,
                Change::Name(i) => {
                    if !named.remove(&(i % n)) {
                        named.insert(i % n);
                    }
                }
                Change::Tempo => tempo = 180 - tempo + 7,
                Change::Width => options.width_pt = 700.0 - options.width_pt,
                Change::More(b) => {
                    bars.push(b);
                    kicks.push(true);
                }
            }
            let Some(passage) = passage(&bars, &kicks, tempo) else {
                // What is no lesson is not shown.
                (bars, kicks, tempo) = before;
                continue;
            };
            let names: Vec<BarName> = named.iter().map(|bar| BarName { bar: *bar, at: Beats::from_integer(i64::from(bar % 2 == 1)), text: pitch::Symbol::parse("Cm7").unwrap(), style: pitch::Style::default() }).collect();
            let again: Vec<Frame> = setting.systems(&passage, Some(&names), &options).iter().map(|f| (**f).clone()).collect();
            prop_assert_eq!(again, systems(&passage, Some(&names), &options));
            taken += 1;
        }
        prop_assume!(taken > 0);
    }
}

#[test]
fn lines_without_a_change_are_the_same_frames() {
    let plain = ["a . x a".to_string(), "3:7 - - -".to_string(), "C4 . . .".to_string()];
    let mut bars: Vec<[String; 3]> = vec![plain; 130];
    let kicks = vec![false; 130];
    let options = SystemOptions { width_pt: 500.0, ..SystemOptions::default() };
    let mut setting = Setting::default();
    let before = setting.systems(&passage(&bars, &kicks, 90).unwrap(), None, &options);
    bars[20][0] = "a . b a".into();
    let after = setting.systems(&passage(&bars, &kicks, 90).unwrap(), None, &options);
    let same = before.iter().zip(&after).filter(|(a, b)| Arc::ptr_eq(a, b)).count();
    assert!(before.len() == after.len() && before.len() > 5);
    // The bar's own line, and perhaps the next one. (A passage so long is looked at by a thread of its own.)
    assert!((1..=2).contains(&(before.len() - same)), "{same} of {}", before.len());
}

#[test]
fn what_leads_into_a_line_is_seen() {
    // Each bar a line of its own. The slide into the second one comes from below, then from above; a tied note is bent in its first bar, five bars before, or it is not.
    let slide = ["/3:12 - - -"].as_slice();
    let tied = ["- - - -"; 5].as_slice();
    for (first, then, looked_at) in [(["3:7 - - -", "3:14 - - -"], slide, 1), (["3:7 - - -", "3:7 ^1 - -"], tied, 5)] {
        let bar = |line: &str| [line.to_string(), ". . . .".into(), ". . . .".into()];
        let options = SystemOptions { width_pt: 150.0, ..SystemOptions::default() };
        let mut setting = Setting::default();
        let mut before = Vec::new();
        for first in first {
            let bars: Vec<_> = std::iter::once(first).chain(then.iter().copied()).map(bar).collect();
            let passage = passage(&bars, &vec![false; bars.len()], 90).unwrap();
            let again: Vec<Frame> = setting.systems(&passage, None, &options).iter().map(|f| (**f).clone()).collect();
            assert!(again.len() == bars.len() && again == systems(&passage, None, &options), "{first}");
            assert!(before != again[looked_at].items, "{first}");
            before.clone_from(&again[looked_at].items);
        }
    }
}
