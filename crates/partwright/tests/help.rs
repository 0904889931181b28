//! The help texts as they are printed.

use std::process::{Command, Stdio};

#[test]
fn help_texts() {
    let top = help(&[]);
    // Every verb that the list names has its own text.
    let verbs: Vec<String> = top.lines().skip_while(|l| *l != "Commands:").skip(1).take_while(|l| !l.is_empty()).filter_map(|l| l.split_whitespace().next()).map(str::to_string).collect();
    assert!(verbs.len() >= 7, "{verbs:?}");
    let mut all = top;
    for v in verbs.iter().filter(|v| *v != "help") {
        let text = help(&[v]);
        assert!(text.contains("Example"), "{v} has no example");
        all.push_str(&format!("\n======== {v}\n{text}"));
    }
    insta::assert_snapshot!(all);
}

fn help(verb: &[&str]) -> String {
    // No terminal: lines have the same width everywhere.
    let out = Command::new(env!("CARGO_BIN_EXE_partwright")).args(verb).arg("--help").stdin(Stdio::null()).output().expect("the program runs");
    assert_eq!(out.status.code(), Some(0));
    assert!(out.stderr.is_empty());
    String::from_utf8(out.stdout).unwrap()
}
