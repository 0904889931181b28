//! Writes a lesson's stand-up sheet, overlays and turning systems into a folder and prints how long each took:
//! `cargo run --release -p pack --example overlays -- LESSON.kdl FOLDER`.

use pack::overlay::{self, Drawn, LINES, Shade};
use pack::{handout::Paper, running_order};
use std::time::Instant;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [lesson, out] = arguments.as_slice() else { panic!("a lesson file and a folder") };
    let text = std::fs::read_to_string(lesson).unwrap_or_else(|e| panic!("{lesson}: {e}"));
    let lesson = lesson::read(&text).lesson;
    let write = |path: String, bytes: &[u8]| {
        let path = std::path::Path::new(out).join(path);
        std::fs::create_dir_all(path.parent().expect("a folder")).unwrap_or_else(|e| panic!("{out}: {e}"));
        std::fs::write(&path, bytes).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        bytes.len()
    };
    let told = |what: &str, begun: Instant, files: usize, bytes: usize| println!("{what}: {files} files, {:.1} MB, {:.2} s", bytes as f64 / 1e6, begun.elapsed().as_secs_f64());

    let begun = Instant::now();
    let talks = lock::running_order(&lesson, &lock::Pace::default());
    let order = running_order::RunningOrder::of(&lesson, &talks, Paper::A4);
    let pdf = running_order::running_order(&order).unwrap_or_else(|e| panic!("{e}"));
    told("running-order.pdf", begun, 1, write("running-order.pdf".into(), &pdf));

    let begun = Instant::now();
    let all = overlay::overlays(&lesson, &Default::default());
    println!("{} overlays laid out in {:.2} s", all.len(), begun.elapsed().as_secs_f64());
    for shade in Shade::ALL {
        let drawn = Drawn { shade, plate: 0.0 };
        for lines in LINES {
            let begun = Instant::now();
            let bytes = all.iter().map(|o| write(format!("{lines}-{}/{}.png", shade.word(), o.name), &overlay::png(&o.canvas, lines, drawn).unwrap_or_else(|e| panic!("{e}")))).sum();
            told(&format!("{lines} lines, {}", shade.word()), begun, all.len(), bytes);
        }
        let begun = Instant::now();
        let bytes = all.iter().map(|o| write(format!("svg-{}/{}.svg", shade.word(), o.name), overlay::svg(&o.canvas, drawn).as_bytes())).sum();
        told(&format!("svg, {}", shade.word()), begun, all.len(), bytes);
    }
    for passage in &lesson.passages {
        let begun = Instant::now();
        let turning = overlay::turning(passage, 100.0);
        let folder = format!("turning/{}", passage.id);
        let mut bytes: usize = turning.pictures.iter().map(|(name, canvas)| write(format!("{folder}/{name}.png"), &overlay::png(canvas, 1080, Drawn { shade: Shade::Light, plate: 0.0 }).unwrap_or_else(|e| panic!("{e}")))).sum();
        bytes += write(format!("{folder}/times.txt"), turning.list(".png").as_bytes());
        bytes += write(format!("{folder}/video.txt"), overlay::video::list(&turning, &Default::default()).as_bytes());
        bytes += write(format!("{folder}/arguments.txt"), overlay::video::arguments("video.txt", turning.end_s, "turning.mov", &Default::default()).join(" ").as_bytes());
        told(&folder, begun, turning.pictures.len() + 3, bytes);
    }
}
