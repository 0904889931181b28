//! A passage of a lesson as sound, once from silence: `sounded LESSON.kdl PASSAGE OUT.wav`. For the checks, which need a bass and drums beside real guitars.

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [file, id, out] = args.as_slice() else { return Err("sounded LESSON.kdl PASSAGE OUT.wav".into()) };
    let reading = lesson::read(&std::fs::read_to_string(file)?);
    if let Some(p) = reading.problems.first() {
        return Err(format!("{}; {}", p.found, p.right).into());
    }
    let passage = reading.lesson.passages.iter().find(|p| p.id == *id).ok_or("no such passage")?;
    let options = sound::Options { looped: false, ..sound::Options::default() };
    let sound = sound::render(passage, &options, &sound::Takes::new(), &|_| ())?;
    std::fs::write(out, wave::encode_wav16(&sound.mix)?)?;
    Ok(())
}
