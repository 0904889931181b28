//! A lesson file as WAV files: `cargo run --release -p sound --example render -- LESSON DIR [PERCENT]…`
//!
//! Writes `PASSAGE-PERCENT.wav` (the mix), `…-part-PART.wav` (each stem), `…-head-PART.wav` (its first round's beginning), `…-without-PART.wav` (each
//! left-out), `…-click.wav` and `…-count.wav` into DIR, and prints a line for each passage and tempo: name, percent, frames; gain, the limiter's most and
//! the headroom for the click in dB; frames of the heads.

use std::error::Error;
use std::path::Path;

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [file, dir, percents @ ..] = args.as_slice() else {
        return Err("give a lesson file and a folder".into());
    };
    let reading = lesson::read(&std::fs::read_to_string(file)?);
    for p in &reading.problems {
        eprintln!("{p:?}");
    }
    std::fs::create_dir_all(dir)?;
    let percents: Vec<u32> = percents.iter().map(|p| p.parse()).collect::<Result<_, _>>()?;
    for passage in &reading.lesson.passages {
        for percent in if percents.is_empty() { &[100][..] } else { &percents } {
            let options = sound::Options { tempo_percent: *percent, looped: true };
            let r = sound::render(passage, &options, &sound::Takes::new(), &|_| ())?;
            let write = |name: &str, buffer: &wave::Buffer| -> Result<(), Box<dyn Error>> {
                let path = Path::new(dir).join(format!("{}-{percent}{name}.wav", passage.id));
                Ok(std::fs::write(path, wave::encode_wav_f32(buffer)?)?)
            };
            write("", &r.mix)?;
            write("-click", &r.click)?;
            write("-count", &r.count_in)?;
            for (i, stem) in &r.stems {
                write(&format!("-part-{}", passage.parts[*i].name), stem)?;
                if let Some(left_out) = r.left_out(*i) {
                    write(&format!("-without-{}", passage.parts[*i].name), &left_out)?;
                }
            }
            for (i, head) in &r.heads {
                write(&format!("-head-{}", passage.parts[*i].name), head)?;
            }
            let head = r.heads.first().map_or(0, |h| h.1.frames());
            println!("{} {percent} {} {:.2} {:.2} {:.3} {head}", passage.id, r.frames, r.gain_db, r.limited_db, r.click_headroom_db);
        }
    }
    Ok(())
}
