//! What chords are read from, for training the scorer: `cargo run --release -p hear --example evidence -- LIST`
//!
//! LIST names a sound file and the file to write on each line, set apart by a tab. Written are little-endian 32-bit floats, row after row, as
//! [`hear::evidence`] gives them: the notes into that file, the lower spectra into one named `.low` beside it.

use std::io::Write;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let list = std::env::args().nth(1).ok_or("which list?")?;
    for line in std::fs::read_to_string(list)?.lines() {
        let (from, to) = line.split_once('\t').ok_or("a line has no tab")?;
        let record = wave::decode(&std::fs::read(from)?, None, &wave::Limits::default())?;
        let found = hear::evidence(&record)?;
        std::fs::File::create(to)?.write_all(&bytes(&found.notes))?;
        std::fs::File::create(format!("{to}.low"))?.write_all(&bytes(&found.low))?;
    }
    Ok(())
}

fn bytes<const N: usize>(rows: &[[f32; N]]) -> Vec<u8> {
    rows.iter().flatten().flat_map(|v| v.to_le_bytes()).collect()
}
