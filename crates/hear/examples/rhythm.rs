//! What the network of beats sees in sound files: `cargo run --release -p hear --example rhythm -- FILE…` writes beside each the same name with `.f32`,
//! [`hear::RHYTHM_CHANNELS`] little-endian numbers a frame. For `training/beats`.

fn main() -> Result<(), Box<dyn std::error::Error>> {
    for file in std::env::args().skip(1) {
        let record = wave::decode(&std::fs::read(&file)?, None, &wave::Limits::default())?;
        let bytes: Vec<u8> = hear::rhythm(&record)?.iter().flat_map(|v| v.to_le_bytes()).collect();
        std::fs::write(std::path::Path::new(&file).with_extension("f32"), bytes)?;
    }
    Ok(())
}
