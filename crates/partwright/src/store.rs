//! What was made before: sounds by the digest of what they were made from, and the list of the last pack. Everything here can be
//! deleted and is made again; what is damaged is taken as absent.

use crate::failure::Failure;
use crate::make::Listed;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};

/// Folder beside the lesson that holds them.
pub const FOLDER: &str = ".partwright";

/// How the names of files and folders begin that are not whole yet.
pub const HALF_WRITTEN: &str = "new-";

/// SHA-256 in hexadecimal.
pub fn digest(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}

/// Some named byte strings kept in one file.
#[derive(Debug, Default, PartialEq)]
pub struct Bundle {
    entries: BTreeMap<String, Vec<u8>>,
}

impl Bundle {
    pub fn put(&mut self, name: &str, bytes: Vec<u8>) {
        self.entries.insert(name.into(), bytes);
    }

    pub fn number(&mut self, name: &str, n: u64) {
        self.put(name, n.to_le_bytes().to_vec());
    }

    /// Empty where there is no such entry.
    pub fn get(&self, name: &str) -> &[u8] {
        self.entries.get(name).map_or(&[], Vec::as_slice)
    }

    pub fn get_number(&self, name: &str) -> u64 {
        self.get(name).try_into().map_or(0, u64::from_le_bytes)
    }

    /// Length-prefixed names and bytes, then a digest of all of it.
    fn to_bytes(&self) -> Vec<u8> {
        let mut out = Vec::new();
        for (k, v) in &self.entries {
            for part in [k.as_bytes(), v] {
                out.extend_from_slice(&(part.len() as u64).to_le_bytes());
                out.extend_from_slice(part);
            }
        }
        let sum = Sha256::digest(&out);
        out.extend_from_slice(&sum);
        out
    }

    fn from_bytes(bytes: &[u8]) -> Option<Bundle> {
        let (mut rest, sum) = bytes.split_at_checked(bytes.len().checked_sub(32)?)?;
        if Sha256::digest(rest).as_slice() != sum {
            return None;
        }
        let mut out = Bundle::default();
        while !rest.is_empty() {
            let mut next = || -> Option<Vec<u8>> {
                let (len, tail) = rest.split_at_checked(8)?;
                let (body, tail) = tail.split_at_checked(usize::try_from(u64::from_le_bytes(len.try_into().ok()?)).ok()?)?;
                rest = tail;
                Some(body.to_vec())
            };
            let (k, v) = (next()?, next()?);
            out.entries.insert(String::from_utf8(k).ok()?, v);
        }
        Some(out)
    }
}

/// The store of one lesson, held by one program at a time.
pub struct Store {
    pub folder: PathBuf,
    /// Locked until this is dropped; the system lets go of it when the program is killed.
    _lock: File,
}

impl Store {
    /// Makes the folder where it is missing, waits while another program makes this lesson's pack, and clears away what a killed
    /// one left half-written.
    pub fn open(lesson: &Path) -> Result<Store, Failure> {
        let folder = lesson.join(FOLDER);
        let shown = folder.display().to_string();
        keep::own_folder(lesson, FOLDER).and_then(|f| keep::own_folder(&f, "sound")).map_err(Failure::io(shown.clone()))?;
        let lock = keep::lock(&folder.join("lock")).map_err(Failure::io(shown.clone()))?;
        if let Err(TryLockError::WouldBlock) = lock.try_lock() {
            eprintln!("another partwright is making this lesson's pack; waiting for it to end");
            lock.lock().map_err(Failure::io(shown))?;
        }
        let store = Store { folder, _lock: lock };
        store.clear_half_written();
        Ok(store)
    }

    fn clear_half_written(&self) {
        for folder in [self.folder.clone(), self.folder.join("sound")] {
            let Ok(list) = std::fs::read_dir(folder) else { continue };
            for e in list.flatten().filter(|e| [HALF_WRITTEN, keep::HALF].iter().any(|h| e.file_name().to_string_lossy().starts_with(h))) {
                // Not being able to tidy up is no fault of the pack.
                let _ = if e.file_type().is_ok_and(|t| t.is_dir()) { std::fs::remove_dir_all(e.path()) } else { std::fs::remove_file(e.path()) };
            }
        }
    }

    fn path(&self, key: &str) -> PathBuf {
        self.folder.join("sound").join(key)
    }

    pub fn get(&self, key: &str) -> Option<Bundle> {
        Bundle::from_bytes(&std::fs::read(self.path(key)).ok()?)
    }

    pub fn put(&self, key: &str, bundle: &Bundle) -> Result<(), Failure> {
        // What a power cut spoils is found by its digest and made again: no need to wait for the disk.
        write_whole(&self.path(key), &bundle.to_bytes(), false)
    }

    /// Drops the sounds that the last pack did not use.
    pub fn keep_only(&self, used: &[String]) {
        let Ok(list) = std::fs::read_dir(self.folder.join("sound")) else { return };
        for e in list.flatten() {
            if !used.iter().any(|u| e.file_name().to_str() == Some(u)) {
                // Not being able to tidy up is no fault of the pack.
                let _ = std::fs::remove_file(e.path());
            }
        }
    }

    /// The files of the last pack, if it was made from the same and stands there unharmed.
    pub fn unchanged(&self, key: &str, pack: &Path) -> Option<Vec<Listed>> {
        let v: serde_json::Value = serde_json::from_slice(&std::fs::read(self.folder.join("made.json")).ok()?).ok()?;
        if v["key"] != key {
            return None;
        }
        let mut out = Vec::new();
        for f in v["files"].as_array()? {
            let (path, sum) = (f["path"].as_str()?, f["sha256"].as_str()?);
            let bytes = std::fs::read(pack.join(path)).ok()?;
            if digest(&bytes) != sum {
                return None;
            }
            out.push((path.to_string(), bytes.len() as u64, sum.to_string()));
        }
        Some(out)
    }

    pub fn remember(&self, key: &str, files: &[Listed]) -> Result<(), Failure> {
        let list: Vec<serde_json::Value> = files.iter().map(|(p, n, h)| serde_json::json!({ "path": p, "bytes": n, "sha256": h })).collect();
        write_whole(&self.folder.join("made.json"), serde_json::json!({ "key": key, "files": list }).to_string().as_bytes(), true)
    }
}

/// Writes beside the target, then renames: the target is the old file or the whole new one; after a power cut, too, where it is written
/// `through` to the disk.
pub fn write_whole(path: &Path, bytes: &[u8], through: bool) -> Result<(), Failure> {
    let lasting = if through { keep::Lasting::Disk } else { keep::Lasting::MadeAgain };
    keep::write(path, bytes, lasting).map_err(Failure::io(path.display().to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bundles_come_back_and_damage_shows() {
        let mut b = Bundle::default();
        b.put("a", vec![1, 2, 3]);
        b.number("n", 7);
        let bytes = b.to_bytes();
        assert_eq!(Bundle::from_bytes(&bytes).as_ref(), Some(&b));
        assert_eq!(b.get_number("n"), 7);
        for i in 0..bytes.len() {
            let mut bad = bytes.clone();
            bad[i] ^= 1;
            assert_eq!(Bundle::from_bytes(&bad), None, "byte {i}");
            assert_eq!(Bundle::from_bytes(&bytes[..i]), None);
        }
    }
}
