//! What keys are judged by in sound files: `cargo run --release -p hear --example keys -- FILE…` prints a line of JSON for each, `{"fits", "over"}`, or `null` where nothing has a pitch.
//! For `training/chords/key.py`.

fn main() -> Result<(), Box<dyn std::error::Error>> {
    for file in std::env::args().skip(1) {
        let record = wave::decode(&std::fs::read(&file)?, None, &wave::Limits::default())?;
        let list = |v: &[f64]| format!("[{}]", v.iter().map(|x| format!("{x:.5}")).collect::<Vec<_>>().join(","));
        match hear::key_evidence(&record)? {
            Some(e) => println!("{{\"fits\":{},\"over\":[{}]}}", list(&e.fits), e.over.iter().map(|o| list(o)).collect::<Vec<_>>().join(",")),
            None => println!("null"),
        }
    }
    Ok(())
}
