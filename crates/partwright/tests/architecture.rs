//! The map in ARCHITECTURE.md against what cargo sees.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

#[test]
fn the_edges_are_those_of_the_map() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let text = std::fs::read_to_string(root.join("ARCHITECTURE.md")).expect("the map");
    let block = text.split("```edges\n").nth(1).and_then(|t| t.split("```").next()).expect("a block of edges");
    let map: BTreeMap<String, BTreeSet<String>> = block
        .lines()
        .map(|l| {
            let (name, uses) = l.split_once(':').expect("name: uses");
            (name.to_string(), uses.split_whitespace().map(str::to_string).collect())
        })
        .collect();
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let said = std::process::Command::new(cargo).args(["metadata", "--no-deps", "--format-version", "1", "--manifest-path"]).arg(root.join("Cargo.toml")).output().expect("cargo metadata");
    assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
    let seen: serde_json::Value = serde_json::from_slice(&said.stdout).expect("JSON");
    let packages = seen["packages"].as_array().expect("packages");
    let text = |v: &serde_json::Value| v.as_str().expect("a name").to_string();
    let own: BTreeSet<String> = packages.iter().map(|p| text(&p["name"])).collect();
    let named: BTreeSet<String> = map.keys().cloned().collect();
    assert_eq!(own, named, "the crates of the map and of the workspace");
    for p in packages {
        let name = text(&p["name"]);
        let allowed = &map[&name];
        let used = p["dependencies"].as_array().expect("dependencies");
        assert!(!used.is_empty() || allowed.is_empty(), "{name} uses nothing");
        for d in used.iter().map(|d| text(&d["name"])) {
            assert!(!own.contains(&d) || allowed.contains(&d), "{name} uses {d}, which the map does not allow");
            // The typesetter stays behind one border.
            assert!(!(d == "typst" || d == "typst-pdf") || name == "pack", "{name} uses {d}");
            // So does the database.
            assert!(d != "rusqlite" || name == "shelf", "{name} uses {d}");
        }
    }
}
