//! The record: who sits where in it, at which pitch, which of its bars come back, and how it lies under a passage.

use crate::asking::Bench;
use bench::services::Alone;
use serde_json::Value;
use wave::Buffer;

const LINES: [&str; 2] = ["5:3 . 4:2 .  5:3 5:3 4:2 .  5:5 . 4:2 .  3:2 . 4:5 .", "5:5 . 4:4 .  3:1 4:4 5:5 .  5:7 . 4:6 .  3:4 . 4:7 ."];
const CHOPS: [&str; 2] = ["a . x .  a . x .  b . x .  b . x .", "c . x .  c . x .  d . x .  d . x ."];
const FLOORS: [&str; 2] = ["3:3 - . .  . . 3:3 -  3:5 - . .  . . 4:2 -", "3:5 - . .  . . 3:5 -  4:2 - . .  . . 4:4 -"];

/// Four bars each: one tune, another, the first again, and again without bass and drums. Two guitars, one to each side.
fn song() -> String {
    let bars = |lines: [&str; 2], plays: [Option<usize>; 4]| -> String { plays.iter().map(|p| p.map_or("rest times=4\n".into(), |i| format!("bar \"{}\" times=4\n", lines[i]))).collect() };
    let all = [Some(0), Some(1), Some(0), Some(0)];
    let kit = "bar times=12 { kick \"x . . . . . x . x . . . . . . .\"; snare \". . . . x . . . . . . . x . . .\"; hats \"x . x . x . x . x . x . x . x .\" }\nbar times=4 { hats \". . . . (x) . . . . . . . (x) . . .\" }";
    format!(
        "lesson \"Song\" {{ passage \"song\" {{ tempo 104; slots 16\npart \"line\" instrument=\"guitar\" seat=-0.7 {{ {} }}\npart \"chop\" instrument=\"guitar\" seat=0.7 {{ grip \"a\" \"x x 5 5 5 x\"\ngrip \"b\" \"x x 4 5 5 x\"\ngrip \"c\" \"x x 7 7 7 x\"\ngrip \"d\" \"x x 6 7 7 x\"\n{} }}\npart \"floor\" instrument=\"bass\" {{ {} }}\npart \"kit\" instrument=\"drums\" {{ {kit} }} }} }}",
        bars(LINES, all),
        bars(CHOPS, all),
        bars(FLOORS, [Some(0), Some(1), Some(0), None])
    )
}

const LESSON: &str = "lesson \"Verse\" { passage \"verse\" title=\"Verse\" { tempo 104; slots 16; record \"audio/song.flac\" from=0 to=9.23\n  part \"line\" instrument=\"guitar\" seat=\"left\" { bar \"5:3 . 4:2 .  5:3 5:3 4:2 .  5:5 . 4:2 .  3:2 . 4:5 .\" times=4 } } }\n";
/// The record lies this far from concert pitch.
const CENTS: f64 = -35.0;

fn sound_of(bytes: &[u8]) -> (Value, Vec<Buffer>) {
    let padded = u32::from_le_bytes(bytes[..4].try_into().unwrap()) as usize;
    let head: Value = serde_json::from_slice(&bytes[4..4 + padded]).unwrap();
    let (count_in, frames) = (head["countIn"].as_u64().unwrap() as usize, head["frames"].as_u64().unwrap() as usize);
    let mut at = 4 + padded;
    let mut next = |n: usize| {
        let sides = [0, 1].map(|c| (0..n).map(|i| f32::from(i16::from_le_bytes([bytes[at + 4 * i + 2 * c], bytes[at + 4 * i + 2 * c + 1]])) / 32767.0).collect::<Vec<f32>>());
        at += 4 * n;
        Buffer::new(48_000, sides.into()).unwrap()
    };
    next(count_in);
    (head.clone(), (0..=head["parts"].as_array().unwrap().len()).map(|_| next(frames)).collect())
}

/// Left over right, in dB.
fn side(b: &Buffer) -> f64 {
    let power = |c: usize| b.channel(c).iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() + 1e-9;
    10.0 * (power(0) / power(1)).log10()
}

#[test]
fn the_record_is_taken_apart_brought_to_pitch_and_found_again() {
    let song = lesson::read(&song());
    assert!(song.is_sound(), "{:?}", song.problems);
    let made = sound::render(&song.lesson.passages[0], &sound::Options { tempo_percent: 100, looped: false }, &sound::Takes::new(), &|_| ()).unwrap();
    let low = wave::slow(&made.mix, 100.0, CENTS).unwrap();
    let b = Bench::with(Alone, LESSON);
    std::fs::create_dir(b.path("audio")).unwrap();
    std::fs::write(b.path("audio/song.flac"), wave::encode_flac16(&low).unwrap()).unwrap();
    let record = b.get("/record").json();
    assert!((record["off"].as_f64().unwrap() - CENTS).abs() < 3.0, "{}", record["off"]);
    assert!(record.get("form").is_none(), "for the server alone");
    let bars = record["bars"].as_array().unwrap().len() - 1;
    assert!((15..=17).contains(&bars), "{bars}");
    let seats: Vec<f64> = record["seats"].as_array().unwrap().iter().map(|s| s[0].as_f64().unwrap()).collect();
    let (left, right) = (seats[0], seats[seats.len() - 1]);
    assert!(left < -0.4 && right > 0.4, "{seats:?}");

    // One seat of it, and all but that one.
    let stretch = |more: &str| {
        let a = b.get(&format!("/record-sound?from=4&to=6&percent=100{more}"));
        assert_eq!(a.status, 200, "{}", a.text());
        sound_of(&a.body)
    };
    let (all, only, without) = (stretch(""), stretch(&format!("&apart=only:{left}")), stretch(&format!("&apart=without:{left}")));
    let [all_db, only_db, without_db] = [&all, &only, &without].map(|s| side(&s.1[1]));
    assert!(only_db > all_db + 6.0 && without_db < all_db - 1.0, "{all_db:.1} {only_db:.1} {without_db:.1}");
    assert!(only.0["apart"].as_str().unwrap().contains("an estimated") && all.0["apart"] == "", "{}", only.0["apart"]);
    let (tones, strokes) = (stretch("&apart=tones"), stretch("&apart=strokes"));
    assert!(tones.0["apart"] != "" && strokes.0["apart"] != "" && tones.1[1] != strokes.1[1]);
    for bad in ["apart=drums", "apart=only:7", "apart=only:NaN", "apart=%3Cb%3E"] {
        let a = b.get(&format!("/record-sound?from=4&to=6&percent=100&{bad}"));
        assert!(a.status == 422 && a.text().contains("a seat is -1 (left) to 1 (right)"), "{bad}: {}", a.text());
        assert_eq!(b.get(&format!("/sound?passage=verse&percent=100&{bad}")).status, 422);
    }

    // At its own pitch, and at concert pitch.
    let cents = |s: &Buffer| hear::pitch_reference(s).unwrap().unwrap().cents;
    let (own, concert) = (cents(&all.1[1]), cents(&stretch("&concert=yes").1[1]));
    assert!((own - CENTS).abs() < 4.0 && concert.abs() < 4.0, "{own:.1} {concert:.1}");
    // Under a passage it is the same record.
    let under = sound_of(&b.get(&format!("/sound?passage=verse&percent=100&concert=yes&apart=only:{left}")).body);
    assert_eq!(under.0["parts"], serde_json::json!(["line", "the record"]));
    assert!(cents(&under.1[2]).abs() < 5.0 && under.0["apart"] != "");

    // The first four bars come back twice, and are barest at the end.
    let places = b.get("/record/alike?from=0&to=4").json();
    let found: Vec<(u64, f64)> = places["places"].as_array().unwrap().iter().map(|p| (p["from"].as_u64().unwrap(), p["full"].as_f64().unwrap())).collect();
    assert_eq!(found.iter().map(|f| f.0).collect::<Vec<_>>(), [0, 8, 12], "{places}");
    assert!(found[2].1 < found[0].1 - 0.1 && found[2].1 < found[1].1 - 0.1, "{places}");
    // A plain method beside it: the loudness inside the bars, as the page draws it.
    let loud: Vec<Vec<f64>> = serde_json::from_value(record["loud"].clone()).unwrap();
    let correlation = |at: usize| {
        let (x, y): (Vec<f64>, Vec<f64>) = (loud[..4].concat(), loud[at..at + 4].concat());
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
        let (mx, my) = (mean(&x), mean(&y));
        let sum = |f: &dyn Fn(f64, f64) -> f64| x.iter().zip(&y).map(|(a, b)| f(a - mx, b - my)).sum::<f64>();
        sum(&|a, b| a * b) / (sum(&|a, _| a * a) * sum(&|_, b| b * b)).sqrt().max(1e-9)
    };
    eprintln!("chroma: {places}; loudness alone, of 0 to 12: {:?}", (0..=12).map(|at| (correlation(at) * 100.0).round() / 100.0).collect::<Vec<_>>());
    assert_eq!(b.get("/record/alike?from=4&to=8").json()["places"].as_array().unwrap().len(), 1);
    for bad in ["from=4&to=4", "from=9&to=3", "from=0&to=999", "from=0&to=18446744073709551615", "from=-1&to=2"] {
        assert!((400..500).contains(&b.get(&format!("/record/alike?{bad}")).status), "{bad}");
    }
}
