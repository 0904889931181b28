//! Numbers between the steps of a check, held against tables in `tests/steps`: a later step makes good what an earlier one gets a little wrong, so that the answers alone let most changes pass
//! unseen. The tables say nothing of right or wrong; where a change is meant, `ANSWERS=write cargo test --release -p check --lib` writes them anew, and the difference is to be read.

#[allow(dead_code)]
#[path = "../../pitch/tests/table/mod.rs"]
mod table;

pub(crate) use table::Dice;

/// Lines of a table, each a name and its numbers.
#[derive(Default)]
pub(crate) struct Steps(String);

impl Steps {
    pub fn say<N: Into<f64>>(&mut self, what: &str, numbers: impl IntoIterator<Item = N>) {
        let list: String = numbers.into_iter().map(|n| format!(" {:.4}", n.into())).collect();
        self.0 += &format!("{what}:{list}\n");
    }

    /// Holds the lines against the table of that name.
    pub fn held(&self, name: &str) {
        let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/steps/{name}.table"));
        table::held_in(&file, &self.0, close);
    }
}

/// Words alike, numbers within three in a thousand: processors differ in their last digits.
fn close(a: &str, b: &str) -> bool {
    let alike = |(a, b): (&str, &str)| match (a.parse::<f64>(), b.parse::<f64>()) {
        (Ok(x), Ok(y)) => (x - y).abs() <= 0.002 + 0.003 * x.abs(),
        _ => a == b,
    };
    let (a, b): (Vec<&str>, Vec<&str>) = (a.split(' ').collect(), b.split(' ').collect());
    a.len() == b.len() && a.into_iter().zip(b).all(alike)
}
