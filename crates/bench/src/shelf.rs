//! Lessons that lie about: the folders near the start that hold one, and a new one beside them.

use crate::desk::LESSON_FILE;
use std::path::{Path, PathBuf};

/// Most folders that are looked through, and lessons that are listed.
const LOOKED_MAX: usize = 2_000;
const LISTED_MAX: usize = 200;

/// Lessons in `shelf`, its folders and theirs: paths relative to it with `/`, in order. Links and hidden folders are passed by.
pub fn lessons(shelf: &Path) -> Vec<String> {
    let mut out = Vec::new();
    let mut looked = 0;
    look(shelf, "", 0, &mut looked, &mut out);
    out.sort();
    out.truncate(LISTED_MAX);
    out
}

fn look(folder: &Path, name: &str, depth: usize, looked: &mut usize, out: &mut Vec<String>) {
    if std::fs::symlink_metadata(folder.join(LESSON_FILE)).is_ok_and(|m| m.is_file()) {
        out.push(if name.is_empty() { ".".into() } else { name.into() });
        return;
    }
    if depth == 2 {
        return;
    }
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        *looked += 1;
        if *looked > LOOKED_MAX {
            return;
        }
        let (Ok(kind), Ok(own)) = (entry.file_type(), entry.file_name().into_string()) else { continue };
        if kind.is_dir() && !own.starts_with('.') {
            let path = if name.is_empty() { own.clone() } else { format!("{name}/{own}") };
            look(&entry.path(), &path, depth + 1, looked, out);
        }
    }
}

/// A folder for a lesson of this title, made in `shelf` with `text` as its lesson.
///
/// # Errors
/// A sentence: no letters in the title, a folder that is there already, or what the system says.
pub fn create(shelf: &Path, title: &str, text: &str) -> Result<PathBuf, String> {
    let name: String = title.to_lowercase().chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
    let name: String = name.split('-').filter(|w| !w.is_empty()).collect::<Vec<_>>().join("-").chars().take(60).collect();
    let name = name.trim_matches('-').to_string();
    if name.is_empty() || title.chars().any(char::is_control) || title.len() > 300 {
        return Err("a title needs letters or digits, and is one line".into());
    }
    // Names that another system keeps for its devices, so that the folder can be copied there.
    let device = ["con", "prn", "aux", "nul"].contains(&name.as_str()) || (name.len() == 4 && (name.starts_with("com") || name.starts_with("lpt")) && name.ends_with(|c: char| c.is_ascii_digit()));
    begin(shelf, &if device { format!("{name}-lesson") } else { name }, text)
}

/// The folder `name` in `shelf`, with `text` as its lesson.
///
/// # Errors
/// A sentence: a folder that is there already, or what the system says.
pub fn begin(shelf: &Path, name: &str, text: &str) -> Result<PathBuf, String> {
    let folder = shelf.join(name);
    std::fs::create_dir(&folder).map_err(|e| match e.kind() {
        std::io::ErrorKind::AlreadyExists => format!("a folder {name} is here already; give the lesson another title, or choose it above"),
        _ => format!("{}: {}", folder.display(), keep::words(&e)),
    })?;
    let path = folder.join(LESSON_FILE);
    keep::write_new(&path, text.as_bytes()).map_err(|e| {
        // An empty folder would stand in the way of the next try.
        let _ = std::fs::remove_dir(&folder);
        format!("{}: {}", path.display(), keep::words(&e))
    })?;
    keep::sync_folder(shelf);
    Ok(folder)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lessons_are_found_and_made() {
        let dir = tempfile::tempdir().unwrap();
        for f in ["b", "a/c", ".hidden", "a/d/e/f"] {
            std::fs::create_dir_all(dir.path().join(f)).unwrap();
            std::fs::write(dir.path().join(f).join(LESSON_FILE), "x").unwrap();
        }
        assert_eq!(lessons(dir.path()), ["a/c", "b"]);
        create(dir.path(), "Rain, on <Wharf> Street!", "text").unwrap();
        assert_eq!(std::fs::read_to_string(dir.path().join("rain-on-wharf-street/lesson.kdl")).unwrap(), "text");
        assert!(create(dir.path(), "Rain on Wharf Street", "other").unwrap_err().contains("already"));
        for bad in ["", "../..", "♭", "a\nb"] {
            assert!(create(dir.path(), bad, "x").is_err(), "{bad:?}");
        }
        assert_eq!(lessons(dir.path()), ["a/c", "b", "rain-on-wharf-street"]);
        assert!(create(dir.path(), "Aux!", "x").unwrap().ends_with("aux-lesson") && create(dir.path(), "COM1", "x").unwrap().ends_with("com1-lesson"));
    }
}
