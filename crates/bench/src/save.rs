//! Writing a file whole or not at all, and never over words that were not seen.

use std::io::{Read, Write};
use std::path::Path;

/// What became of a save.
#[derive(Debug, PartialEq, Eq)]
pub enum Saved {
    Done,
    /// The file holds something else than was expected, which stays there.
    Other(Vec<u8>),
}

/// Puts `with` in place of the file at `path`, which must hold `expected`. The new bytes are on the disk before they get the name. `scratch` is
/// a folder on the same file system.
///
/// Where the system can exchange two names in one step, nothing that another program writes in between is lost.
pub fn save(path: &Path, expected: &[u8], with: &[u8], scratch: &Path) -> std::io::Result<Saved> {
    let found = read(path)?;
    if found != expected {
        return Ok(Saved::Other(found));
    }
    let new = scratch.join("lesson.new");
    let mut file = std::fs::File::create(&new)?;
    file.write_all(with)?;
    if let Ok(meta) = std::fs::metadata(path) {
        let _ = file.set_permissions(meta.permissions());
    }
    file.sync_all()?;
    drop(file);
    if exchange(&new, path)? {
        let displaced = read(&new)?;
        if displaced != expected {
            exchange(&new, path)?;
            return Ok(Saved::Other(displaced));
        }
        std::fs::remove_file(&new)?;
    } else {
        std::fs::rename(&new, path)?;
    }
    sync_folder(path);
    Ok(Saved::Done)
}

/// A file's bytes, no more than a lesson may have and one.
pub fn read(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    std::fs::File::open(path)?.take(lesson::BYTES_MAX as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// The name lasts, too. Not every system can open a folder; there the rename alone must do.
pub fn sync_folder(path: &Path) {
    if let Some(folder) = path.parent().and_then(|p| std::fs::File::open(p).ok()) {
        let _ = folder.sync_all();
    }
}

/// Exchanges two names in one step; false where that cannot be done.
#[cfg(any(target_os = "linux", target_os = "macos"))]
fn exchange(a: &Path, b: &Path) -> std::io::Result<bool> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    match renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(true),
        Err(rustix::io::Errno::NOSYS | rustix::io::Errno::INVAL | rustix::io::Errno::NOTSUP) => Ok(false),
        Err(e) => Err(e.into()),
    }
}

#[cfg(not(any(target_os = "linux", target_os = "macos")))]
fn exchange(_: &Path, _: &Path) -> std::io::Result<bool> {
    Ok(false)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_save_replaces_what_was_expected_and_nothing_else() {
        let dir = tempfile::tempdir().unwrap();
        let scratch = dir.path().join("s");
        std::fs::create_dir(&scratch).unwrap();
        let path = dir.path().join("lesson.kdl");
        std::fs::write(&path, "one").unwrap();
        assert_eq!(save(&path, b"one", b"two", &scratch).unwrap(), Saved::Done);
        assert_eq!(std::fs::read(&path).unwrap(), b"two");
        assert_eq!(save(&path, b"one", b"three", &scratch).unwrap(), Saved::Other(b"two".to_vec()));
        assert_eq!(std::fs::read(&path).unwrap(), b"two");
        assert_eq!(std::fs::read_dir(&scratch).unwrap().count(), 0);
        assert!(save(&dir.path().join("none"), b"", b"x", &scratch).is_err());
    }
}
