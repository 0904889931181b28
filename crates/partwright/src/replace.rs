//! Replacing a folder: the new one is written whole beside the old one, then the two change places in one step.

use crate::failure::Failure;
use crate::make::Listed;
use crate::store::{HALF_WRITTEN, digest};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;

/// Writes `files` (paths with `/`) as the folder `target`. Until the last step `target` stays as it was; whatever fails on the way
/// leaves it so. `scratch` lies on the same file system.
pub fn replace_folder(target: &Path, files: &BTreeMap<String, Vec<u8>>, scratch: &Path) -> Result<Vec<Listed>, Failure> {
    let shown = scratch.display().to_string();
    // Removed again, with all that is in it, when this function leaves.
    let new = tempfile::Builder::new().prefix(HALF_WRITTEN).tempdir_in(scratch).map_err(Failure::io(shown.clone()))?;
    let inner = new.path().join("pack");
    std::fs::create_dir(&inner).map_err(Failure::io(shown))?;
    for path in files.keys() {
        if let Some(parent) = inner.join(path).parent() {
            std::fs::create_dir_all(parent).map_err(Failure::io(format!("{}/{path}", target.display())))?;
        }
    }
    // At once, since most of the time goes by in waiting for the disk; the answer has the order of the paths all the same.
    let written: Vec<Result<Listed, Failure>> = files
        .par_iter()
        .map(|(path, bytes)| {
            let what = format!("{}/{path}", target.display());
            write(&inner.join(path), bytes, &target.join(path)).map_err(Failure::io(what))?;
            Ok((path.clone(), bytes.len() as u64, digest(bytes)))
        })
        .collect();
    let listed = written.into_iter().collect::<Result<Vec<Listed>, Failure>>()?;
    // The names inside it last before it gets its own.
    let folders: std::collections::BTreeSet<&Path> = files.keys().flat_map(|p| Path::new(p).ancestors().skip(1)).collect();
    for folder in folders {
        keep::sync_folder(&inner.join(folder));
    }
    exchange(&inner, target, new.path()).map_err(Failure::io(target.display().to_string()))?;
    keep::sync_folder(target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new(".")));
    Ok(listed)
}

/// Writes a file through to the disk; where `old` holds the same bytes there is a second name for it instead.
fn write(path: &Path, bytes: &[u8], old: &Path) -> std::io::Result<()> {
    let alike = std::fs::symlink_metadata(old).is_ok_and(|m| m.is_file() && m.len() == bytes.len() as u64) && std::fs::read(old).is_ok_and(|b| b == bytes);
    if alike && std::fs::hard_link(old, path).is_ok() {
        return Ok(());
    }
    let mut f = std::fs::File::create(path)?;
    f.write_all(bytes)?;
    f.sync_all()
}

/// `new` becomes `target`; what was there goes into `grave`.
fn exchange(new: &Path, target: &Path, grave: &Path) -> std::io::Result<()> {
    if target.symlink_metadata().is_err() {
        return std::fs::rename(new, target);
    }
    // One step: at no moment is there no pack. Not every file system can; then two renames do.
    if keep::exchange(new, target).unwrap_or(false) {
        return Ok(());
    }
    let old = grave.join("old");
    std::fs::rename(target, &old)?;
    std::fs::rename(new, target).inspect_err(|_| {
        // Back to what was there.
        let _ = std::fs::rename(&old, target);
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_old_folder_stays_until_the_new_one_is_whole() {
        let dir = tempfile::tempdir().unwrap();
        let target = dir.path().join("pack");
        let one = BTreeMap::from([("a/b.txt".to_string(), b"one".to_vec())]);
        replace_folder(&target, &one, dir.path()).unwrap();
        assert_eq!(std::fs::read(target.join("a/b.txt")).unwrap(), b"one");
        // A file name that cannot be: the old pack is whole.
        let bad = BTreeMap::from([("a".to_string(), b"x".to_vec()), ("a/b.txt".to_string(), b"two".to_vec())]);
        assert!(replace_folder(&target, &bad, dir.path()).is_err());
        assert_eq!(std::fs::read(target.join("a/b.txt")).unwrap(), b"one");
        let two = BTreeMap::from([("c.txt".to_string(), b"two".to_vec())]);
        replace_folder(&target, &two, dir.path()).unwrap();
        assert_eq!(std::fs::read(target.join("c.txt")).unwrap(), b"two");
        assert!(!target.join("a").exists());
        // Nothing is left lying about.
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
    }
}
