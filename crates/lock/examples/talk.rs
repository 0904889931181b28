//! Prints a lesson's running order: `cargo run --release -p lock --example talk -- LESSON.kdl`.

fn main() {
    let path = std::env::args().nth(1).expect("a lesson file");
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    let lesson = lesson::read(&text).lesson;
    for talk in lock::running_order(&lesson, &lock::Pace::default()) {
        let passage = &lesson.passages[talk.passage];
        println!("{} ({:.0} s of words, {:.0} s of playing)", passage.title, talk.talking_s, talk.playing_s);
        for point in &talk.points {
            println!("  {:?} {}\n      [{}]", point.topic, point.spoken(passage), point.at_a_glance(passage));
        }
    }
}
