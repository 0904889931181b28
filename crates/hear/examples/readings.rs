//! The readings of the beats that are chosen from: `cargo run --release -p hear --example readings -- FILE…` prints a line of JSON for each file, a list of
//! `{"own", "begun", "marks", "alike", "beats", "cues"}`. For `training/beats/choice.py`.

fn main() -> Result<(), Box<dyn std::error::Error>> {
    for file in std::env::args().skip(1) {
        let record = wave::decode(&std::fs::read(&file)?, None, &wave::Limits::default())?;
        let one = |r: &hear::BeatReading| {
            let list = |v: Vec<String>| v.join(",");
            let own = r.own.map_or("null".to_owned(), |w| w.to_string());
            let beats = list(r.beats.iter().map(|t| format!("{:.4}", t.0)).collect());
            let row = |r: &[f32]| format!("[{}]", list(r.iter().map(|c| format!("{c:.4}")).collect()));
            let (marks, alike) = (list(r.marks.iter().map(|m| row(m)).collect()), list(r.alike.iter().map(|a| row(a)).collect()));
            let begun = r.begun.map_or("null".to_owned(), |b| b.to_string());
            format!("{{\"own\":{own},\"begun\":{begun},\"marks\":[{marks}],\"alike\":[{alike}],\"beats\":[{beats}],\"cues\":[{}]}}", list(r.cues.iter().map(|c| format!("{c:.5}")).collect()))
        };
        println!("[{}]", hear::beat_readings(&record)?.iter().map(one).collect::<Vec<_>>().join(","));
    }
    Ok(())
}
