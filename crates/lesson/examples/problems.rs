//! Reads a lesson file and prints its problems, one a line.
fn main() {
    for path in std::env::args().skip(1) {
        let bytes = std::fs::read(&path).expect("a readable file");
        let text = String::from_utf8_lossy(&bytes);
        for p in lesson::read_bytes(&bytes).problems {
            let at = lesson::Position::of(&text, p.span.start);
            println!("{path}:{}:{}: {} ({})", at.line, at.column, p.found, p.right);
        }
    }
}
