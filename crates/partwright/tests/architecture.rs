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
    let seen = cargo_metadata::MetadataCommand::new().manifest_path(root.join("Cargo.toml")).no_deps().exec().expect("cargo metadata");
    let own: BTreeSet<String> = seen.packages.iter().map(|p| p.name.to_string()).collect();
    let named: BTreeSet<String> = map.keys().cloned().collect();
    assert_eq!(own, named, "the crates of the map and of the workspace");
    for p in &seen.packages {
        let name = p.name.to_string();
        let allowed = &map[&name];
        for d in &p.dependencies {
            assert!(!own.contains(&d.name) || allowed.contains(&d.name), "{name} uses {}, which the map does not allow", d.name);
            // The typesetter stays behind one border.
            assert!(!(d.name == "typst" || d.name == "typst-pdf") || name == "pack", "{name} uses {}", d.name);
            // So does the database.
            assert!(d.name != "rusqlite" || name == "shelf", "{name} uses {}", d.name);
        }
    }
}
