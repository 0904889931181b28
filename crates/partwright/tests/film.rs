//! `film` and `chapters` as a user calls them.

use std::path::Path;
use std::process::{Command, Output};

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_partwright")).args(args).output().expect("the program runs")
}

fn json(out: &Output) -> serde_json::Value {
    serde_json::from_slice(&out.stdout).unwrap_or_else(|e| panic!("one JSON object: {e}: {}", String::from_utf8_lossy(&out.stderr)))
}

fn lesson(dir: &Path) -> String {
    let text = r#"lesson "Two doors" {
  passage "one" title="First door" { tempo 126; slots 8; chords "Am7 / / /"
    part "chop" instrument="guitar" { grip "a" "x x 5 5 5 x"; bar "a . a x . a . x" times=2 }
    part "floor" instrument="bass" { bar "4:5 - - 3:7 - - 4:5 ." times=2 } }
  passage "two" title="Second door" { tempo 104; slots 8; chords "D9 / / /"
    part "chop" instrument="guitar" { grip "b" "x x 4 5 5 x"; bar "b - . b . b x ." times=2 }
    part "floor" instrument="bass" { bar "3:5 - 3:5 - 2:4 - 2:5 -" times=2 } } }"#;
    std::fs::write(dir.join("lesson.kdl"), text).unwrap();
    dir.to_str().unwrap().into()
}

#[test]
fn pictures_and_times_stand_in_the_folder_film() {
    let dir = tempfile::tempdir().unwrap();
    let at = lesson(dir.path());
    let v = json(&run(&["film", &at, "--lines", "360", "--ink", "light,dark", "--svg", "--json"]));
    assert_eq!(v["schema"], "partwright/film/1");
    let files: Vec<&str> = v["files"].as_array().unwrap().iter().map(|f| f["path"].as_str().unwrap()).collect();
    for wanted in [
        "running-order.pdf",
        "overlays/360-light/001-one-chop-grip-a.png",
        "overlays/360-dark/001-one-chop-grip-a.png",
        "overlays/svg-light/001-one-chop-grip-a.svg",
        "systems/360-light/two/times.txt",
    ] {
        assert!(files.contains(&wanted), "{wanted} in {files:?}");
    }
    let times = std::fs::read_to_string(dir.path().join("film/systems/360-light/two/times.txt")).unwrap();
    for line in times.lines() {
        let [from, to, name] = line.split('\t').collect::<Vec<_>>()[..] else { panic!("{line}") };
        assert!(from.parse::<f64>().unwrap() < to.parse::<f64>().unwrap());
        assert!(files.contains(&format!("systems/360-light/two/{name}").as_str()), "{name}");
    }
    // What a later call does not make is gone.
    assert_eq!(run(&["film", &at, "--lines", "360"]).status.code(), Some(0));
    assert!(!dir.path().join("film/overlays/360-dark").exists() && dir.path().join("film/overlays/360-light").exists());
    assert_eq!(run(&["film", &at, "--lines", "1000"]).status.code(), Some(2), "no 16:9 of whole pixels");
    assert!(dir.path().join("film/overlays/360-light").exists(), "a call that fails leaves what was there");
}

#[test]
fn the_running_order_says_what_other_lessons_taught() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::create_dir(dir.path().join("doors")).unwrap();
    let at = lesson(&dir.path().join("doors"));
    std::fs::create_dir(dir.path().join("steps")).unwrap();
    std::fs::write(dir.path().join("steps/lesson.kdl"), r#"lesson "Steps" { passage "a" { tempo 90; slots 4; part "g" instrument="guitar" { grip "k" "x x 6 7 7 x"; bar "k - - -" } } }"#).unwrap();
    assert_eq!(run(&["film", &at, "--lines", "360", "--shelf", dir.path().to_str().unwrap()]).status.code(), Some(0));
    let text = std::fs::read_to_string(dir.path().join("doors/film/running-order.txt")).unwrap();
    assert!(text.contains("2. Second door") && text.contains("b: This grip was taught in \u{201c}Steps\u{201d}, a (g, from bar 1 on), 2 frets higher."), "{text}");
    // Its own lesson does not count.
    assert!(!text.contains("taught in \u{201c}Two doors"), "{text}");
}

#[test]
fn taps_and_what_is_heard_make_chapters() {
    let dir = tempfile::tempdir().unwrap();
    let at = lesson(dir.path());
    assert_eq!(run(&["chapters", &at, "--taps", "0:03.5,1:20", "--length", "2:00"]).status.code(), Some(0));
    assert_eq!(std::fs::read_to_string(dir.path().join("recording-chapters.txt")).unwrap(), "0:03 First door\n1:20 Second door\n");
    assert!(std::fs::read_to_string(dir.path().join("recording-chapters.vtt")).unwrap().contains("00:01:20.000 --> 00:02:00.000"));
    assert_eq!(run(&["chapters", &at, "--taps", "0:03"]).status.code(), Some(2), "two passages, one tap");
    assert_eq!(run(&["chapters", &at]).status.code(), Some(2));

    // A recording: silence, the second passage, noise, the first one.
    assert_eq!(run(&["make", &at, "--tempos", "100"]).status.code(), Some(0));
    let mix = |id: &str| wave::decode(&std::fs::read(dir.path().join(format!("pack/audio/{id}-100-all.ogg"))).unwrap(), Some("ogg"), &wave::Limits::default()).unwrap();
    let (one, two) = (mix("one"), mix("two"));
    let rate = one.rate_hz() as usize;
    let mut seed = 1u32;
    let mut noise = |n: usize| -> Vec<f32> {
        (0..n)
            .map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                ((seed >> 9) as f32 / 4_194_304.0 - 1.0) * 0.003
            })
            .collect()
    };
    let mut sound = noise(2 * rate);
    sound.extend_from_slice(two.channel(0));
    sound.extend(noise(3 * rate));
    sound.extend_from_slice(one.channel(0));
    sound.extend(noise(rate));
    let second = 2.0;
    let first = 5.0 + two.frames() as f64 / rate as f64;
    let file = dir.path().join("camera.wav");
    std::fs::write(&file, wave::encode_wav16(&wave::Buffer::from_mono(rate as u32, sound).unwrap()).unwrap()).unwrap();
    let v = json(&run(&["chapters", &at, "--sound", file.to_str().unwrap(), "--json"]));
    let found: Vec<(f64, &str)> = v["chapters"].as_array().unwrap().iter().map(|c| (c["start"].as_f64().unwrap(), c["title"].as_str().unwrap())).collect();
    assert_eq!(found.iter().map(|f| f.1).collect::<Vec<_>>(), ["Second door", "First door"]);
    assert!((found[0].0 - second).abs() < 0.02 && (found[1].0 - first).abs() < 0.02, "{found:?} {second} {first}");
    assert_eq!(v["not_found"], serde_json::json!([]));
    let systems = std::fs::read_to_string(dir.path().join("recording-two-systems.txt")).unwrap();
    assert!((systems.split('\t').next().unwrap().parse::<f64>().unwrap() - second).abs() < 0.02);
    // Captions bar by bar, the passage that was played first at their head.
    let captions = std::fs::read_to_string(dir.path().join("recording-captions.vtt")).unwrap();
    let mut cues = captions.split("\n\n").skip(1).map(|c| c.lines().skip(1).collect::<Vec<_>>());
    let cue = cues.next().unwrap();
    let from: f64 = cue[0].split(" --> ").next().unwrap().rsplit(':').next().unwrap().parse().unwrap();
    assert!((from - second).abs() < 0.02 && cue[1].starts_with("Second door, bar 1"), "{captions}");
    assert!(cues.any(|c| c[1].starts_with("First door, bar 1")), "{captions}");
    // A recording without it.
    std::fs::write(&file, wave::encode_wav16(&wave::Buffer::from_mono(rate as u32, noise(10 * rate)).unwrap()).unwrap()).unwrap();
    assert_eq!(run(&["chapters", &at, "--sound", file.to_str().unwrap()]).status.code(), Some(1));
}
