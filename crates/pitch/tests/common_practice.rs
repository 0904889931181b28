//! The table of names that players use, held against the namer: each row's notes and context, and what must come first.

use pitch::{Context, Key, Midi, Naming, Spelled, Symbol, names};

const TABLE: &str = include_str!("names.table");

fn midi(text: &str) -> Midi {
    Spelled::parse(text).and_then(Spelled::midi).unwrap_or_else(|| panic!("{text} is no pitch"))
}

fn context(text: &str) -> Context {
    let mut context = Context::default();
    for item in text.split_whitespace() {
        let (what, value) = item.split_once('=').unwrap();
        let sign = || Some(Symbol::parse(value).unwrap());
        match what {
            "bass" => context.bass = Some(midi(value)),
            "key" => context.key = Some(Key::parse(&value.replace('_', " ")).unwrap()),
            "before" => context.before = sign(),
            "after" => context.after = sign(),
            "chords" => context.written = sign(),
            _ => panic!("{item}"),
        }
    }
    context
}

/// Whether one of the alternatives of a row holds.
fn holds(want: &str, naming: &Naming) -> bool {
    let found: Vec<String> = naming.names.iter().map(|n| n.symbol.to_string()).collect();
    let first = |n: &str| found.first().is_some_and(|f| f == n);
    let among_two = |n: &str| found.iter().take(2).any(|f| f == n);
    // Every name in the table must be a sign that this crate writes so.
    let sign = |n: &str| -> String {
        let n = n.trim();
        let symbol = Symbol::parse(n).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(symbol.to_string(), n, "the table writes signs in the house spelling");
        n.to_string()
    };
    want.split('=').any(|one| {
        let one = one.trim();
        if let Some(a) = one.strip_prefix('?') {
            among_two(&sign(a))
        } else if let Some((a, b)) = one.split_once('&') {
            first(&sign(a)) && among_two(&sign(b))
        } else if let Some((a, b)) = one.split_once('~') {
            among_two(&sign(a)) && among_two(&sign(b))
        } else if let Some((a, b)) = one.split_once('>') {
            first(&sign(a)) && found.contains(&sign(b))
        } else {
            first(&sign(one))
        }
    })
}

#[test]
fn players_names_come_first() {
    let (mut rows, mut faults) = (0, Vec::new());
    for (line, row) in TABLE.lines().enumerate().filter(|(_, l)| !l.starts_with('#') && !l.trim().is_empty()) {
        let cells: Vec<&str> = row.split('|').map(str::trim).collect();
        let [notes, context_text, want] = cells[..] else { panic!("line {}: {row}", line + 1) };
        let notes: Vec<Midi> = notes.split_whitespace().map(midi).collect();
        let naming = names(&notes, &context(context_text));
        rows += 1;
        if !holds(want, &naming) {
            let found: Vec<String> = naming.names.iter().map(|n| format!("{} {}", n.symbol, n.points)).collect();
            faults.push(format!("line {}: {row}\n    found {}", line + 1, found.join(", ")));
        }
    }
    assert!(rows >= 150, "{rows} rows");
    assert!(faults.is_empty(), "{} of {rows} rows:\n{}", faults.len(), faults.join("\n"));
}
