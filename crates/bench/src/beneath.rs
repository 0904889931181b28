//! Files of one folder and none outside it: no `..`, no absolute path, no link on the way, no hidden name.

use std::fs::File;
use std::path::{Component, Path, PathBuf};

/// A folder, and what lies beneath it.
#[derive(Clone, Debug)]
pub struct Beneath {
    root: PathBuf,
}

impl Beneath {
    /// The folder at `root`, its own path resolved once.
    pub fn new(root: &Path) -> std::io::Result<Beneath> {
        let root = root.canonicalize()?;
        if !root.is_dir() {
            return Err(std::io::Error::from(std::io::ErrorKind::NotADirectory));
        }
        Ok(Beneath { root })
    }

    pub fn root(&self) -> &Path {
        &self.root
    }

    /// Opens a plain file for reading. `relative` has `/` between folders.
    ///
    /// # Errors
    /// `PermissionDenied` for a path that could lead outside, else what the system says.
    pub fn open(&self, relative: &str) -> std::io::Result<File> {
        let parts = parts(relative).ok_or(std::io::Error::from(std::io::ErrorKind::PermissionDenied))?;
        let file = self.open_parts(&parts)?;
        if !file.metadata()?.is_file() {
            return Err(std::io::Error::from(std::io::ErrorKind::PermissionDenied));
        }
        Ok(file)
    }

    /// All links are refused by the system itself, so that none can be slipped in between a look and the opening.
    #[cfg(target_os = "linux")]
    fn open_parts(&self, parts: &[&str]) -> std::io::Result<File> {
        use rustix::fs::{CWD, Mode, OFlags, ResolveFlags, openat, openat2};
        let root = openat(CWD, &self.root, OFlags::PATH | OFlags::DIRECTORY | OFlags::CLOEXEC, Mode::empty())?;
        let relative: PathBuf = parts.iter().collect();
        // A pipe must not hold up the opening.
        let flags = OFlags::RDONLY | OFlags::CLOEXEC | OFlags::NONBLOCK;
        match openat2(&root, &relative, flags, Mode::empty(), ResolveFlags::BENEATH | ResolveFlags::NO_SYMLINKS) {
            Ok(fd) => Ok(File::from(fd)),
            Err(rustix::io::Errno::LOOP | rustix::io::Errno::XDEV) => Err(std::io::Error::from(std::io::ErrorKind::PermissionDenied)),
            Err(rustix::io::Errno::NOSYS) => self.open_stepwise(parts),
            Err(e) => Err(e.into()),
        }
    }

    #[cfg(not(target_os = "linux"))]
    fn open_parts(&self, parts: &[&str]) -> std::io::Result<File> {
        self.open_stepwise(parts)
    }

    fn open_stepwise(&self, parts: &[&str]) -> std::io::Result<File> {
        let mut path = self.root.clone();
        for part in parts {
            path.push(part);
            if path.symlink_metadata()?.is_symlink() {
                return Err(std::io::Error::from(std::io::ErrorKind::PermissionDenied));
            }
        }
        File::open(path)
    }

    /// A folder of this name right beneath, made where it is missing; refused where the name is a link or no folder.
    pub fn folder(&self, name: &str) -> std::io::Result<PathBuf> {
        keep::own_folder(&self.root, name)
    }
}

/// The names on a relative path; `None` where it is none, or could lead outside on any system.
fn parts(relative: &str) -> Option<Vec<&str>> {
    if relative.is_empty() || relative.len() > 1024 || relative.contains(['\\', ':', '\0']) {
        return None;
    }
    let parts: Vec<&str> = relative.split('/').collect();
    let plain = |p: &&str| !p.is_empty() && !p.starts_with('.') && !p.chars().any(char::is_control);
    let normal = Path::new(relative).components().all(|c| matches!(c, Component::Normal(_)));
    (normal && parts.iter().all(plain)).then_some(parts)
}

/// A name for a file that came from a browser: letters, digits, `-`, `_` and one ending of a sound file; `None` where that leaves nothing.
pub fn sound_name(given: &str) -> Option<String> {
    let given = given.rsplit(['/', '\\']).next()?;
    let (stem, end) = given.rsplit_once('.')?;
    let end = end.to_ascii_lowercase();
    if !["wav", "flac", "mp3", "ogg", "opus", "m4a"].contains(&end.as_str()) {
        return None;
    }
    let stem: String = stem.chars().map(|c| if c.is_ascii_alphanumeric() || c == '_' { c } else { '-' }).take(60).collect();
    let stem = stem.trim_matches('-');
    (!stem.is_empty()).then(|| format!("{stem}.{end}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_outside_can_be_opened() {
        let dir = tempfile::tempdir().unwrap();
        let inside = dir.path().join("lesson");
        std::fs::create_dir_all(inside.join("pack/audio")).unwrap();
        std::fs::write(dir.path().join("secret"), "s").unwrap();
        std::fs::write(inside.join("pack/a.html"), "a").unwrap();
        std::fs::write(inside.join("pack/.hidden"), "h").unwrap();
        let b = Beneath::new(&inside).unwrap();
        assert!(b.open("pack/a.html").is_ok());
        let mut bad = vec!["", "/etc/passwd", "../secret", "pack/../../secret", "pack/./a.html", "pack//a.html", "pack\\a.html", "C:a", "pack/.hidden", "pack", "pack/audio", "pack/a.html/", "pack/a\0.html"];
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink(dir.path().join("secret"), inside.join("pack/link")).unwrap();
            std::os::unix::fs::symlink(dir.path(), inside.join("up")).unwrap();
            bad.extend(["pack/link", "up/secret"]);
        }
        for path in bad {
            assert!(b.open(path).is_err(), "{path:?}");
        }
        #[cfg(unix)]
        for path in ["pack/link", "up/secret"] {
            assert!(b.open_stepwise(&parts(path).unwrap()).is_err(), "{path}, step by step");
        }
        #[cfg(unix)]
        assert!(b.folder("up").is_err());
        assert!(b.folder("takes").is_ok());
    }

    #[test]
    fn uploaded_names_become_plain() {
        assert_eq!(sound_name("../../chop take.WAV").as_deref(), Some("chop-take.wav"));
        assert_eq!(sound_name("C:\\x\\a<b>.flac").as_deref(), Some("a-b.flac"));
        for bad in ["", "lesson.kdl", ".wav", "..wav", "a", "---.wav", "é.wav"] {
            assert_eq!(sound_name(bad), None, "{bad}");
        }
    }
}
