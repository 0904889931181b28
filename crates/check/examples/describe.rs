//! The numbers that the judgement of notes is made from, for `checks/check/train.py`: `describe AUDIO STROKES.json OUT`, as rows of 32-bit floats.
//!
//! The JSON has `low`, `high` (MIDI), `strokes` (a list of `[seconds, [other written pitches]]`), and may have `seat` and `cents`.

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    for three in args.chunks_exact(3) {
        let record = wave::decode(&std::fs::read(&three[0])?, None, &wave::Limits::default())?;
        let asked: serde_json::Value = serde_json::from_slice(&std::fs::read(&three[1])?)?;
        let whole = |v: &serde_json::Value| v.as_i64().unwrap_or(0) as i32;
        let strokes: Vec<(f64, Vec<i32>)> = asked["strokes"]
            .as_array()
            .ok_or("strokes")?
            .iter()
            .map(|s| (s[0].as_f64().unwrap_or(0.0), s[1].as_array().map_or(vec![], |o| o.iter().map(whole).collect())))
            .collect();
        let rows = check::describe(&record, asked["seat"].as_f64().map(|s| s as f32), asked["cents"].as_f64(), &strokes, (whole(&asked["low"]), whole(&asked["high"])));
        std::fs::write(&three[2], rows.iter().flat_map(|v| v.to_le_bytes()).collect::<Vec<u8>>())?;
    }
    Ok(())
}
