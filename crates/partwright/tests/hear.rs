//! `hear` as a user calls it.

use std::f64::consts::TAU;
use std::path::Path;
use std::process::{Command, Output};
use wave::Buffer;

const RATE: u32 = 22_050;

fn hear(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_partwright")).arg("hear").args(args).output().expect("the program runs")
}

fn json(out: &Output) -> serde_json::Value {
    serde_json::from_slice(&out.stdout).expect("one JSON object")
}

/// Chords that die away, struck twice a second, 20 cents sharp.
fn strummed(path: &Path) {
    let chords = [[45, 52, 57, 60], [50, 53, 57, 62], [43, 50, 55, 59], [48, 52, 55, 60]];
    let samples = (0..RATE * 16).map(|n| {
        let t = f64::from(n) / f64::from(RATE);
        let since = t % 0.5;
        let chord = chords[(t / 2.0) as usize % 4];
        let tone = |m: i32| (1..5).map(|k| libm::sin(TAU * f64::from(k) * 440.0 * libm::exp2((f64::from(m) + 0.2 - 69.0) / 12.0) * t) / f64::from(k)).sum::<f64>();
        (chord.iter().map(|m| tone(*m)).sum::<f64>() * 0.06 * libm::exp(-4.0 * since)) as f32
    });
    write(path, samples.collect());
}

fn write(path: &Path, samples: Vec<f32>) {
    std::fs::write(path, wave::encode_wav16(&Buffer::from_mono(RATE, samples).unwrap()).unwrap()).unwrap();
}

fn kept(folder: &Path) -> Vec<std::path::PathBuf> {
    std::fs::read_dir(folder.join(".partwright/heard")).map_or(vec![], |l| l.map(|e| e.unwrap().path()).collect())
}

#[test]
fn the_documented_shape_and_the_same_again_from_what_was_kept() {
    let dir = tempfile::tempdir().unwrap();
    let record = dir.path().join("record.wav");
    strummed(&record);
    let shown = record.to_str().unwrap();
    let first = hear(&[shown, "--json"]);
    assert_eq!(first.status.code(), Some(0), "{}", String::from_utf8_lossy(&first.stderr));
    let v = json(&first);
    assert_eq!(v["schema"], "partwright/hear/1");
    assert_eq!((v["duration"].as_f64(), v["rate"].as_u64(), v["channels"].as_u64()), (Some(16.0), Some(22_050), Some(1)));
    assert!((v["pitch_reference"]["cents"].as_f64().unwrap() - 20.0).abs() < 1.0, "{}", v["pitch_reference"]);
    assert!((v["tempo"]["bpm"].as_f64().unwrap() - 120.0).abs() < 1.0, "{}", v["tempo"]);
    let beats: Vec<f64> = v["beats"].as_array().unwrap().iter().map(|b| b.as_f64().unwrap()).collect();
    let bars: Vec<f64> = v["bars"].as_array().unwrap().iter().map(|b| b.as_f64().unwrap()).collect();
    assert!(!bars.is_empty() && bars.iter().all(|b| beats.contains(b)), "bars begin on beats: {bars:?} {beats:?}");
    for field in ["loudness_lufs", "meter", "swing", "key", "chords", "bass", "seats"] {
        assert!(v.get(field).is_some(), "{field}");
    }
    let [file] = kept(dir.path()).try_into().unwrap();
    assert_eq!(hear(&[shown, "--json"]).stdout, first.stdout);

    // What was kept is what answers, as long as it is whole.
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, text.replace("16.0", "17.0")).unwrap();
    assert_eq!(hear(&[shown, "--json"]).stdout, first.stdout, "what is damaged is heard anew");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), text);

    // Another pin, another hearing.
    let pinned = json(&hear(&[shown, "--json", "--beat", "0:01.25", "--tempo", "120"]));
    let nearest = pinned["beats"].as_array().unwrap().iter().map(|b| (b.as_f64().unwrap() - 1.25).abs()).fold(1.0, f64::min);
    assert!(nearest < 0.02, "{nearest}");
    assert_eq!(kept(dir.path()).len(), 2);
}

#[test]
fn text_for_people() {
    let dir = tempfile::tempdir().unwrap();
    let record = dir.path().join("record.wav");
    strummed(&record);
    let out = hear(&[record.to_str().unwrap()]);
    let text = String::from_utf8(out.stdout).unwrap();
    for part in ["0:16.00, 22050 Hz, 1 channel, ", "A = 445.1 Hz, 20.", "cents high", "beats a minute", "chords\n"] {
        assert!(text.contains(part), "{part} in:\n{text}");
    }
}

#[test]
fn other_beats_are_named_and_come_by_what_is_said_beside_them() {
    let dir = tempfile::tempdir().unwrap();
    let record = dir.path().join("record.wav");
    // One stroke like another every 300 ms: which are the beats is open.
    let mut samples = vec![0.0f32; 20 * RATE as usize];
    for n in 0..60 {
        for (i, s) in samples[(0.3 * f64::from(n) * f64::from(RATE)) as usize..].iter_mut().take(RATE as usize / 4).enumerate() {
            let t = i as f64 / f64::from(RATE);
            *s += (0.3 * (-12.0 * t).exp() * (1..6).map(|k| (std::f64::consts::TAU * 220.0 * f64::from(k) * t).sin() / f64::from(k)).sum::<f64>()) as f32;
        }
    }
    write(&record, samples);
    let shown = record.to_str().unwrap();
    let v = json(&hear(&[shown, "--json"]));
    let also = v["tempo"]["also"].as_array().unwrap();
    assert!((1..=3).contains(&also.len()), "{}", v["tempo"]);
    let text = String::from_utf8(hear(&[shown]).stdout).unwrap();
    let lines: Vec<&str> = text.lines().filter_map(|l| l.strip_prefix("        or ")).collect();
    assert_eq!(lines.len(), also.len(), "{text}");
    let beats = |v: &serde_json::Value| -> Vec<f64> { v["beats"].as_array().unwrap().iter().map(|b| b.as_f64().unwrap()).collect() };
    for (line, other) in lines.iter().zip(also) {
        let (words, asked) = line.split_once(": ").unwrap();
        assert_eq!(words, other["words"], "{line}");
        let asked: Vec<&str> = [shown, "--json"].into_iter().chain(asked.split(' ')).collect();
        let (wanted, found) = (beats(other), beats(&json(&hear(&asked))));
        let near = found.iter().filter(|f| wanted.iter().any(|w| (w - **f).abs() < 0.04)).count();
        assert!(near as f64 > 0.9 * found.len().max(wanted.len()) as f64, "{line}: {found:?}, not {wanted:?}");
    }
    // What was said already is said again beside what is new.
    let said = json(&hear(&[shown, "--json", "--meter", "4/4"]));
    let told: Vec<&serde_json::Value> = said["tempo"]["also"].as_array().unwrap().iter().map(|o| &o["told_by"]).collect();
    assert!(!told.is_empty() && told.iter().all(|t| t["meter"] == "4/4" && !t["beats"].as_array().unwrap().is_empty()), "{}", said["tempo"]);
    let text = String::from_utf8(hear(&[shown, "--meter", "4/4"]).stdout).unwrap();
    assert_eq!(text.lines().filter(|l| l.starts_with("        or ") && l.ends_with(" --meter 4/4")).count(), told.len(), "{text}");
}

#[test]
fn meter_and_bars_are_as_they_were_told() {
    let dir = tempfile::tempdir().unwrap();
    let record = dir.path().join("record.wav");
    strummed(&record);
    let shown = record.to_str().unwrap();
    let free = json(&hear(&[shown, "--json"]));
    let beats: Vec<f64> = free["beats"].as_array().unwrap().iter().map(|b| b.as_f64().unwrap()).collect();
    let bar = format!("0:{:05.2}", beats[9]);
    let told = json(&hear(&[shown, "--json", "--meter", "3/4", "--bar", &bar]));
    assert_eq!(told["meter"], "3/4");
    let bars: Vec<f64> = told["bars"].as_array().unwrap().iter().map(|b| b.as_f64().unwrap()).collect();
    assert!(bars.iter().any(|b| (b - beats[9]).abs() < 0.012), "{bars:?}, not at {bar}");
    let beats: Vec<f64> = told["beats"].as_array().unwrap().iter().map(|b| b.as_f64().unwrap()).collect();
    let places: Vec<usize> = bars.iter().map(|b| beats.iter().position(|t| t == b).unwrap()).collect();
    assert!(places.windows(2).all(|w| w[1] - w[0] == 3), "{places:?}");
}

#[test]
fn silence_tells_nothing_and_is_no_fault() {
    let dir = tempfile::tempdir().unwrap();
    let record = dir.path().join("silence.wav");
    write(&record, vec![0.0; 44_100]);
    let out = hear(&[record.to_str().unwrap(), "--json"]);
    assert_eq!(out.status.code(), Some(0));
    let v = json(&out);
    for field in ["pitch_reference", "tempo", "meter", "swing", "key", "loudness_lufs"] {
        assert!(v[field].is_null(), "{field}: {}", v[field]);
    }
    for field in ["beats", "bars", "chords", "bass", "seats"] {
        assert_eq!(v[field], serde_json::json!([]), "{field}");
    }
    assert!(String::from_utf8(hear(&[record.to_str().unwrap()]).stdout).unwrap().contains("no beat heard"));
}

#[test]
fn a_folder_that_takes_nothing_is_said_and_the_answer_stands() {
    let dir = tempfile::tempdir().unwrap();
    let record = dir.path().join("record.wav");
    write(&record, vec![0.0; 44_100]);
    std::fs::write(dir.path().join(".partwright"), "in the way").unwrap();
    let out = hear(&[record.to_str().unwrap(), "--json"]);
    assert_eq!(out.status.code(), Some(0));
    assert_eq!(json(&out)["duration"], 2.0);
    assert!(String::from_utf8_lossy(&out.stderr).contains("could not be kept"));
}

#[test]
fn what_is_wrong_is_said() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("words.wav");
    std::fs::write(&file, "no sound at all").unwrap();
    let file = file.to_str().unwrap();
    let code = |args: &[&str]| hear(args).status.code();
    assert_eq!(code(&[file]), Some(1));
    assert_eq!(code(&["no-such-file.wav"]), Some(3));
    assert_eq!(code(&[dir.path().to_str().unwrap()]), Some(3));
    assert_eq!(code(&[file, "--beat", "soon"]), Some(2));
    assert_eq!(code(&[file, "--tempo", "0"]), Some(2));
    assert_eq!(code(&[file, "--bar", "soon"]), Some(2));
    let odd = hear(&[file, "--meter", "7/8"]);
    assert_eq!(odd.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&odd.stderr).contains("4/4, 3/4, 6/8"), "{}", String::from_utf8_lossy(&odd.stderr));
    assert_eq!(code(&[]), Some(2));
}

/// Two tones, one on each side.
fn apart(path: &Path) {
    let tone = |hz: f64, n: u32| (0.2 * libm::sin(TAU * hz * f64::from(n) / f64::from(RATE)) * libm::exp(-3.0 * (f64::from(n) / f64::from(RATE) % 0.7))) as f32;
    let low: Vec<f32> = (0..RATE * 6).map(|n| tone(220.0, n)).collect();
    let high: Vec<f32> = (0..RATE * 6).map(|n| tone(1234.5, n)).collect();
    let mix = |a: f32, b: f32| low.iter().zip(&high).map(|(l, h)| a * l + b * h).collect::<Vec<f32>>();
    let buffer = Buffer::new(RATE, vec![mix(0.9, 0.25), mix(0.25, 0.9)]).unwrap();
    std::fs::write(path, wave::encode_wav16(&buffer).unwrap()).unwrap();
}

fn level(samples: &[f32], hz: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (n, s) in samples.iter().enumerate() {
        let angle = TAU * hz * n as f64 / f64::from(RATE);
        re += f64::from(*s) * libm::cos(angle);
        im += f64::from(*s) * libm::sin(angle);
    }
    re.hypot(im) / samples.len() as f64
}

#[test]
fn one_seat_is_written_slowed() {
    let dir = tempfile::tempdir().unwrap();
    let (record, out) = (dir.path().join("record.wav"), dir.path().join("left.flac"));
    apart(&record);
    let said = hear(&[record.to_str().unwrap(), "--write", out.to_str().unwrap(), "--from", "1", "--to", "0:05", "--seat", "left", "--speed", "50", "--json"]);
    assert_eq!(said.status.code(), Some(0), "{}", String::from_utf8_lossy(&said.stderr));
    let v = json(&said);
    assert_eq!(v["written"]["duration"], 8.0);
    assert!(v["written"]["quality"]["gain_db"].as_f64().unwrap() > 3.0, "{v}");
    let found = wave::decode(&std::fs::read(&out).unwrap(), Some("flac"), &wave::Limits::default()).unwrap();
    assert_eq!(found.frames(), RATE as usize * 8);
    let (kept, gone) = (level(found.channel(0), 220.0), level(found.channel(0), 1234.5));
    assert!(kept > 10.0 * gone, "{kept} {gone}");
    // The other way about: it is what is missing.
    assert_eq!(hear(&[record.to_str().unwrap(), "--write", out.to_str().unwrap(), "--seat", "left", "--without"]).status.code(), Some(0));
    let found = wave::decode(&std::fs::read(&out).unwrap(), Some("flac"), &wave::Limits::default()).unwrap();
    assert!(level(found.channel(1), 1234.5) > 3.0 * level(found.channel(1), 220.0));
}

#[test]
fn a_record_is_written_at_concert_pitch() {
    let dir = tempfile::tempdir().unwrap();
    let (record, out) = (dir.path().join("record.wav"), dir.path().join("concert.wav"));
    strummed(&record);
    assert_eq!(hear(&[record.to_str().unwrap(), "--write", out.to_str().unwrap(), "--concert"]).status.code(), Some(0));
    let v = json(&hear(&[out.to_str().unwrap(), "--json"]));
    // From 20 cents; chords struck anew every half second are the hardest to move.
    assert!(v["pitch_reference"]["cents"].as_f64().unwrap().abs() < 1.5, "{}", v["pitch_reference"]);
    assert_eq!(v["duration"], 16.0);
}

#[test]
fn what_cannot_be_written_is_said() {
    let dir = tempfile::tempdir().unwrap();
    let record = dir.path().join("record.wav");
    strummed(&record);
    let (shown, out) = (record.to_str().unwrap(), dir.path().join("out.wav"));
    let out = out.to_str().unwrap();
    let code = |args: &[&str]| hear(args).status.code();
    let before = std::fs::read(&record).unwrap();
    assert_eq!(code(&[shown, "--write", shown]), Some(2), "never over the record");
    assert_eq!(code(&[shown, "--write", "out.mp5"]), Some(2));
    assert_eq!(code(&[shown, "--write", out, "--from", "20"]), Some(2));
    assert_eq!(code(&[shown, "--write", out, "--speed", "20"]), Some(2));
    assert_eq!(code(&[shown, "--write", out, "--seat", "2"]), Some(2));
    assert_eq!(code(&[shown, "--seat", "left"]), Some(2));
    assert_eq!(code(&[shown, "--write", out, "--seat", "left"]), Some(1), "mono has no seats");
    assert!(!Path::new(out).exists());
    assert_eq!(std::fs::read(&record).unwrap(), before);
}
