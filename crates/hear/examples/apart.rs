//! A record taken apart, for the checks; WAV files of floats are written, and what is estimated goes to standard output as a line of JSON.
//!
//! `apart picture IN…`, `apart seat IN OUT.wav AZIMUTH WIDTH {only,without}`, `apart strokes IN TONES.wav STROKES.wav`,
//! `apart slow IN OUT.wav PERCENT CENTS`, `apart decode IN OUT.wav`.

use hear::{Keep, Quality, harmonic_percussive, seat_filter, stereo_picture};
use wave::Buffer;

type Outcome = Result<(), Box<dyn std::error::Error>>;

fn main() -> Outcome {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    match args[..] {
        ["picture", ref files @ ..] => {
            for file in files {
                match stereo_picture(&read(file)?) {
                    Some(p) => {
                        let seats: Vec<String> = p.seats.iter().map(|s| format!("{{\"azimuth\":{:.4},\"share\":{:.4}}}", s.azimuth, s.share)).collect();
                        println!("{{\"dryness\":{:.4},\"seats\":[{}]}}", p.dryness, seats.join(","));
                    }
                    None => println!("null"),
                }
            }
        }
        ["seat", from, to, azimuth, width, keep] => {
            let keep = if keep == "without" { Keep::Without } else { Keep::Only };
            let apart = seat_filter(&read(from)?, azimuth.parse()?, width.parse()?, keep, &|_| ())?;
            println!("{}", quality(&apart.quality));
            write(to, &apart.audio)?;
        }
        ["strokes", from, tones, strokes] => {
            let parts = harmonic_percussive(&read(from)?, &|_| ())?;
            println!("{{\"tones\":{},\"strokes\":{}}}", quality(&parts.harmonic.quality), quality(&parts.percussive.quality));
            write(tones, &parts.harmonic.audio)?;
            write(strokes, &parts.percussive.audio)?;
        }
        ["slow", from, to, percent, cents] => write(to, &wave::slow(&read(from)?, percent.parse()?, cents.parse()?)?)?,
        ["decode", from, to] => write(to, &read(from)?)?,
        _ => return Err("see the head of this file for what can be asked".into()),
    }
    Ok(())
}

fn quality(q: &Quality) -> String {
    format!("{{\"sdr_db\":{:.2},\"gain_db\":{:.2},\"share\":{:.4}}}", q.sdr_db, q.gain_db, q.share)
}

fn read(path: &str) -> Result<Buffer, Box<dyn std::error::Error>> {
    Ok(wave::decode(&std::fs::read(path)?, None, &wave::Limits::default())?)
}

fn write(path: &str, buffer: &Buffer) -> Outcome {
    Ok(std::fs::write(path, wave::encode_wav_f32(buffer)?)?)
}
