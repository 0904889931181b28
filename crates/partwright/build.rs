//! What `--version` tells of how the program was built.

use std::process::Command;

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-env-changed=PARTWRIGHT_COMMIT");
    let set = |name: &str| std::env::var(name).unwrap_or_default();
    let rustc = Command::new(set("RUSTC")).arg("--version").output().ok().and_then(|o| String::from_utf8(o.stdout).ok());
    println!("cargo::rustc-env=BUILT_BY={}", rustc.as_deref().unwrap_or("an unknown compiler").trim());
    println!("cargo::rustc-env=BUILT_FOR={}", set("TARGET"));
    let fixed = set("CARGO_CFG_TARGET_FEATURE").split(',').any(|f| f == "crt-static");
    println!("cargo::rustc-env=BUILT_HOW={}, {}", set("PROFILE"), if fixed { "C library built in" } else { "C library of the machine" });
    // Only where the archive is made: a working copy changes between builds, and its commit says little.
    let commit = set("PARTWRIGHT_COMMIT");
    println!("cargo::rustc-env=BUILT_FROM={}", if commit.is_empty() { "a working copy" } else { &commit });
}
