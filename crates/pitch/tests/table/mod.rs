//! What the tests of `pitch`, `neck` and `check` that keep a table of answers share.

/// After G. Steele, D. Lea and C. Flood, OOPSLA 2014, figure 15.
pub struct Dice(pub u64);

impl Dice {
    pub fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) % n as u64) as usize
    }
}

/// Holds `out` line by line against `tests/answers.table` of the crate in `folder`, or writes it there where `ANSWERS` is `write`.
pub fn held_against(folder: &str, out: &str, same: fn(&str, &str) -> bool) {
    held_in(&std::path::Path::new(folder).join("tests/answers.table"), out, same);
}

/// The same with a table in another file.
pub fn held_in(file: &std::path::Path, out: &str, same: fn(&str, &str) -> bool) {
    if std::env::var("ANSWERS").is_ok_and(|v| v == "write") {
        std::fs::write(file, out).unwrap();
    }
    let kept = std::fs::read_to_string(file).unwrap();
    let other: Vec<String> = kept.lines().zip(out.lines()).enumerate().filter(|(_, (a, b))| !same(a, b)).map(|(i, (a, b))| format!("line {}\n  was {a}\n  is  {b}", i + 1)).collect();
    assert!(other.is_empty() && kept.lines().count() == out.lines().count(), "{} answers changed; the first:\n{}", other.len(), other.iter().take(8).cloned().collect::<Vec<_>>().join("\n"));
}
