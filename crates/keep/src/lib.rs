//! Files written whole or not at all: everything that the program writes goes through here.
//!
//! | call | computes |
//! |---|---|
//! | [`write`] | a file's new contents in place of the old ones |
//! | [`write_new`] | a file that was not there; never over one that is |
//! | [`replace`] | new contents in place of contents that were seen, and of no others |
//! | [`Half`] | the same in pieces, as they come |
//! | [`append`] | lines at the end of a journal whose length is known |
//! | [`lock`] | a file that one program holds |
//! | [`own_folder`], [`sync_folder`], [`sweep`] | folders |
//! | [`seal`], [`unseal`] | text that shows its own damage |
//! | [`build`] | which program this is, for what another build makes anew |
//! | [`words`] | the system's reasons as people say them |
//!
//! ```
//! let dir = tempfile::tempdir().unwrap();
//! let file = dir.path().join("a.txt");
//! keep::write(&file, b"one", keep::Lasting::Disk).unwrap();
//! assert!(keep::write_new(&file, b"two").is_err());
//! assert_eq!(std::fs::read(&file).unwrap(), b"one");
//! ```
//!
//! # Conventions
//! A file is written under a hidden name beside its own ([`HALF`]), brought to the disk, then given its name in one step, and the folder is brought to the disk
//! too. Whoever is killed at any moment leaves the old file or the new one. A link that stands at the name is replaced, never written through.
//!
//! # What it must not do
//! Know what is in the files, or read a clock for anything but tidying up.

use std::fs::{File, OpenOptions};
use std::io::{Error, ErrorKind, Read, Result, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

/// How the names of files begin that are not whole yet.
pub const HALF: &str = ".half-";

/// Half-written files that a killed program left are cleared away when they are this old.
pub const STALE: Duration = Duration::from_secs(3600);

/// What a file must outlast.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lasting {
    /// A power cut.
    Disk,
    /// The end of the program: a power cut may spoil it, whoever reads it sees that ([`unseal`], a digest) and makes it again.
    MadeAgain,
}

/// A file that is not whole yet. Dropped, it is gone.
#[derive(Debug)]
pub struct Half {
    pub file: File,
    path: PathBuf,
    target: PathBuf,
    named: bool,
}

impl Half {
    /// Begins a file that is to be called `target`.
    ///
    /// # Errors
    /// What the system says.
    pub fn of(target: &Path) -> Result<Half> {
        Half::within(target, folder_of(target))
    }

    /// As [`Half::of`], with the half file in another folder of the same file system.
    ///
    /// # Errors
    /// What the system says.
    pub fn within(target: &Path, folder: &Path) -> Result<Half> {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        for _ in 0..10_000 {
            let path = folder.join(format!("{HALF}{}-{}", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed)));
            match OpenOptions::new().write(true).create_new(true).open(&path) {
                Ok(file) => return Ok(Half { file, path, target: target.into(), named: false }),
                Err(e) if e.kind() == ErrorKind::AlreadyExists => {}
                Err(e) => return Err(e),
            }
        }
        Err(Error::from(ErrorKind::AlreadyExists))
    }

    /// Gives the file its name, over one that has it.
    ///
    /// # Errors
    /// What the system says; the target is as it was.
    pub fn over(mut self, lasting: Lasting) -> Result<()> {
        if let Ok(old) = std::fs::symlink_metadata(&self.target)
            && old.is_file()
        {
            // Who may read it is not ours to change. Where the system does not let us, the usual holds.
            let _ = self.file.set_permissions(old.permissions());
        }
        if lasting == Lasting::Disk {
            self.file.sync_all()?;
        }
        std::fs::rename(&self.path, &self.target)?;
        self.named = true;
        if lasting == Lasting::Disk {
            sync_folder(folder_of(&self.target));
        }
        Ok(())
    }

    /// Gives the file its name, unless one has it.
    ///
    /// # Errors
    /// `AlreadyExists`, or what the system says; the target is as it was.
    pub fn beside(self) -> Result<()> {
        self.file.sync_all()?;
        self.named_new(&self.target)
    }

    /// Gives the file, which is on the disk already, this name in the same folder, unless one has it.
    ///
    /// # Errors
    /// `AlreadyExists`, or what the system says; the target is as it was.
    pub fn named_new(&self, target: &Path) -> Result<()> {
        // A second name refuses one that is there, in one step; the first name goes when this is dropped.
        match std::fs::hard_link(&self.path, target) {
            Err(e) if !matches!(e.kind(), ErrorKind::AlreadyExists | ErrorKind::NotFound | ErrorKind::StorageFull | ErrorKind::ReadOnlyFilesystem) => {
                // A file system without second names.
                claim(&self.path, target)?;
            }
            other => other?,
        }
        sync_folder(folder_of(target));
        Ok(())
    }
}

impl Drop for Half {
    fn drop(&mut self) {
        if !self.named {
            let _ = std::fs::remove_file(&self.path);
        }
    }
}

/// A rename that refuses a name that is there; where the system has none, the name is taken first.
fn claim(from: &Path, to: &Path) -> Result<()> {
    #[cfg(any(target_os = "linux", target_os = "macos"))]
    {
        use rustix::fs::{CWD, RenameFlags, renameat_with};
        match renameat_with(CWD, from, CWD, to, RenameFlags::NOREPLACE) {
            Err(rustix::io::Errno::NOSYS | rustix::io::Errno::INVAL | rustix::io::Errno::NOTSUP) => {}
            other => return Ok(other?),
        }
    }
    OpenOptions::new().write(true).create_new(true).open(to)?;
    std::fs::rename(from, to)
}

fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Puts `bytes` in place of what the file at `path` holds, or makes it.
///
/// # Errors
/// What the system says; the file is as it was.
pub fn write(path: &Path, bytes: &[u8], lasting: Lasting) -> Result<()> {
    let mut half = Half::of(path)?;
    half.file.write_all(bytes)?;
    half.over(lasting)
}

/// Makes a file that lasts, unless one is there.
///
/// # Errors
/// `AlreadyExists`, or what the system says; what was there is as it was.
pub fn write_new(path: &Path, bytes: &[u8]) -> Result<()> {
    let mut half = Half::of(path)?;
    half.file.write_all(bytes)?;
    half.beside()
}

/// What became of [`replace`].
#[derive(Debug, PartialEq, Eq)]
pub enum Replaced {
    Done,
    /// The file holds something else than was expected, which stays there.
    Other(Vec<u8>),
}

/// Puts `with` in place of the file at `path`, which must hold `expected`; both are at most `most` bytes. `scratch` is a folder on the same file system.
///
/// Where the system can exchange two names in one step, nothing that another program writes in between is lost.
///
/// # Errors
/// What the system says; the file is as it was.
pub fn replace(path: &Path, expected: &[u8], with: &[u8], scratch: &Path, most: usize) -> Result<Replaced> {
    let found = read(path, most)?;
    if found != expected {
        return Ok(Replaced::Other(found));
    }
    let mut half = Half::within(path, scratch)?;
    half.file.write_all(with)?;
    if let Ok(meta) = std::fs::metadata(path) {
        let _ = half.file.set_permissions(meta.permissions());
    }
    half.file.sync_all()?;
    if exchange(&half.path, path)? {
        let displaced = read(&half.path, most)?;
        if displaced != expected {
            exchange(&half.path, path)?;
            return Ok(Replaced::Other(displaced));
        }
    } else {
        std::fs::rename(&half.path, path)?;
        half.named = true;
    }
    sync_folder(folder_of(path));
    Ok(Replaced::Done)
}

/// A file's bytes, `most` and one at most.
///
/// # Errors
/// What the system says.
pub fn read(path: &Path, most: usize) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(most as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Adds lines to the file at `path`, whose length is known to be `known`, and brings them to the disk; 0 makes the file. Gives the new length; `None` where the
/// file is another by now: missing, shorter, longer than an earlier failure of ours explains, or a link. What a failure left half is cut off first.
///
/// # Errors
/// What the system says; lines that were not written whole are cut off, now or by the next call.
pub fn append(path: &Path, known: u64, torn: u64, lines: &[u8]) -> Result<Option<u64>> {
    let opened = if known == 0 { nofollow(OpenOptions::new().write(true).create_new(true)).open(path) } else { nofollow(OpenOptions::new().write(true)).open(path) };
    let mut file = match opened {
        Ok(f) => f,
        Err(e) if matches!(e.kind(), ErrorKind::NotFound | ErrorKind::AlreadyExists) && folder_of(path).is_dir() => return Ok(None),
        Err(_) if std::fs::symlink_metadata(path).is_ok_and(|m| !m.is_file()) => return Ok(None),
        Err(e) => return Err(e),
    };
    let length = file.metadata()?.len();
    if length < known || length > known + torn {
        return Ok(None);
    }
    if length > known {
        file.set_len(known)?;
    }
    file.seek(SeekFrom::Start(known))?;
    if let Err(e) = file.write_all(lines).and_then(|()| file.sync_data()) {
        let _ = file.set_len(known);
        return Err(e);
    }
    if known == 0 {
        sync_folder(folder_of(path));
    }
    Ok(Some(known + lines.len() as u64))
}

#[cfg(unix)]
fn nofollow(options: &mut OpenOptions) -> &mut OpenOptions {
    use std::os::unix::fs::OpenOptionsExt;
    options.custom_flags(rustix::fs::OFlags::NOFOLLOW.bits() as i32)
}

#[cfg(not(unix))]
fn nofollow(options: &mut OpenOptions) -> &mut OpenOptions {
    options
}

/// The lock file at `path`, made where it is missing and never through a link. It is not locked yet.
///
/// # Errors
/// What the system says.
pub fn lock(path: &Path) -> Result<File> {
    let opened = nofollow(OpenOptions::new().read(true).write(true).create(true).truncate(false)).open(path);
    opened.map_err(|e| if std::fs::symlink_metadata(path).is_ok_and(|m| m.is_symlink()) { Error::new(ErrorKind::PermissionDenied, "a link stands where the program keeps its own file; take it away") } else { e })
}

/// A folder of this name right beneath another, made where it is missing; refused where the name is a link or no folder.
///
/// # Errors
/// `PermissionDenied`, or what the system says.
pub fn own_folder(parent: &Path, name: &str) -> Result<PathBuf> {
    let path = parent.join(name);
    for _ in 0..2 {
        match path.symlink_metadata() {
            Ok(meta) if meta.is_dir() => return Ok(path),
            Ok(_) => return Err(Error::new(ErrorKind::PermissionDenied, "a link or a file stands where the program keeps its own folder; take it away")),
            Err(_) => match std::fs::create_dir(&path) {
                // Another program was faster.
                Err(e) if e.kind() == ErrorKind::AlreadyExists => {}
                Err(e) => return Err(e),
                Ok(()) => {
                    sync_folder(parent);
                    return Ok(path);
                }
            },
        }
    }
    Err(Error::from(ErrorKind::AlreadyExists))
}

/// The names in a folder last, too. Not every system can open a folder; there the rename alone must do.
pub fn sync_folder(folder: &Path) {
    if let Ok(f) = File::open(folder) {
        let _ = f.sync_all();
    }
}

/// Clears away what killed programs left half-written in a folder longer than [`STALE`] ago. Not being able to tidy up is no fault.
pub fn sweep(folder: &Path) {
    let Ok(list) = std::fs::read_dir(folder) else { return };
    for e in list.flatten().filter(|e| e.file_name().to_string_lossy().starts_with(HALF)) {
        let age = e.metadata().and_then(|m| m.modified()).ok().and_then(|t| t.elapsed().ok());
        if age.is_some_and(|a| a > STALE) {
            let _ = std::fs::remove_file(e.path());
        }
    }
}

/// Exchanges two names in one step; false where that cannot be done.
///
/// # Errors
/// What the system says.
#[cfg(any(target_os = "linux", target_os = "macos"))]
pub fn exchange(a: &Path, b: &Path) -> Result<bool> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    match renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(true),
        Err(rustix::io::Errno::NOSYS | rustix::io::Errno::INVAL | rustix::io::Errno::NOTSUP) => Ok(false),
        Err(e) => Err(e.into()),
    }
}

/// Exchanges two names in one step; false where that cannot be done.
///
/// # Errors
/// None here.
#[cfg(not(any(target_os = "linux", target_os = "macos")))]
pub fn exchange(_: &Path, _: &Path) -> Result<bool> {
    Ok(false)
}

/// FNV-1a, 64 bits: to see damage, not to guard against a forger.
fn sum(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3))
}

/// One line of text with a sum before it.
pub fn seal(text: &str) -> String {
    format!("{:016x} {text}", sum(text))
}

/// The text of a sealed line; `None` where it is none, or is not as it was sealed.
pub fn unseal(line: &str) -> Option<&str> {
    let (head, text) = line.split_at_checked(17)?;
    let told = head.strip_suffix(' ').filter(|h| h.bytes().all(|b| b.is_ascii_hexdigit() && !b.is_ascii_uppercase()))?;
    (u64::from_str_radix(told, 16).ok()? == sum(text)).then_some(text)
}

/// Why the system refused, as people say it.
pub fn words(e: &Error) -> String {
    match e.kind() {
        ErrorKind::NotFound => "there is no such file or folder".into(),
        ErrorKind::PermissionDenied if e.raw_os_error().is_none() && e.get_ref().is_some() => e.to_string(),
        ErrorKind::PermissionDenied => "not allowed to".into(),
        ErrorKind::StorageFull => "the disk is full; nothing that was there has been changed".into(),
        ErrorKind::QuotaExceeded => "no more room is granted on this disk; nothing that was there has been changed".into(),
        ErrorKind::FileTooLarge => "the file would be larger than is allowed here; nothing that was there has been changed".into(),
        ErrorKind::ReadOnlyFilesystem => "the folder can only be read, not written".into(),
        _ => e.to_string(),
    }
}

/// Which program this is: version, size and time of its file. What is kept under it is made anew by any other build.
pub fn build() -> String {
    let own = std::env::current_exe().ok().and_then(|p| std::fs::metadata(p).ok());
    let when = own.as_ref().and_then(|m| m.modified().ok()).and_then(|t| t.duration_since(std::time::UNIX_EPOCH).ok()).map_or(0, |d| d.as_nanos());
    format!("{} {} {when}", env!("CARGO_PKG_VERSION"), own.map_or(0, |m| m.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut out: Vec<String> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        out.sort();
        out
    }

    #[test]
    fn files_change_whole() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a");
        write(&path, b"one", Lasting::Disk).unwrap();
        write(&path, b"two", Lasting::MadeAgain).unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"two");
        assert_eq!(write_new(&path, b"three").unwrap_err().kind(), ErrorKind::AlreadyExists);
        write_new(&dir.path().join("b"), b"four").unwrap();
        assert_eq!(claim(&dir.path().join("b"), &path).unwrap_err().kind(), ErrorKind::AlreadyExists);
        let mut half = Half::of(&path).unwrap();
        half.file.write_all(b"half").unwrap();
        drop(half);
        assert_eq!((std::fs::read(&path).unwrap(), names(dir.path())), (b"two".to_vec(), vec!["a".to_string(), "b".into()]));
        std::fs::create_dir(dir.path().join("folder")).unwrap();
        assert!(write(&dir.path().join("folder"), b"x", Lasting::Disk).is_err());
        assert!(write(&dir.path().join("none/a"), b"x", Lasting::Disk).is_err());
        assert_eq!(names(dir.path()).len(), 3);
    }

    #[test]
    fn a_replacement_touches_only_what_was_seen() {
        let dir = tempfile::tempdir().unwrap();
        let scratch = own_folder(dir.path(), "s").unwrap();
        let path = dir.path().join("lesson.kdl");
        std::fs::write(&path, "one").unwrap();
        assert_eq!(replace(&path, b"one", b"two", &scratch, 10).unwrap(), Replaced::Done);
        assert_eq!(replace(&path, b"one", b"three", &scratch, 10).unwrap(), Replaced::Other(b"two".to_vec()));
        assert_eq!(std::fs::read(&path).unwrap(), b"two");
        assert!(names(&scratch).is_empty());
        assert!(replace(&dir.path().join("none"), b"", b"x", &scratch, 10).is_err());
    }

    #[test]
    fn a_journal_grows_only_where_it_was_left() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("steps");
        assert_eq!(append(&path, 0, 0, b"one\n").unwrap(), Some(4));
        assert_eq!(append(&path, 4, 0, b"two\n").unwrap(), Some(8));
        // Torn by a full disk: cut off.
        std::fs::write(&path, "one\ntwo\nthr").unwrap();
        assert_eq!(append(&path, 8, 6, b"three\n").unwrap(), Some(14));
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "one\ntwo\nthree\n");
        for (known, torn) in [(0, 0), (15, 0), (13, 0), (8, 5)] {
            assert_eq!(append(&path, known, torn, b"x\n").unwrap(), None, "{known} {torn}");
        }
        std::fs::remove_file(&path).unwrap();
        assert_eq!(append(&path, 14, 0, b"x\n").unwrap(), None);
        assert!(append(&dir.path().join("none/steps"), 14, 0, b"x\n").is_err());
    }

    #[cfg(unix)]
    #[test]
    fn nothing_is_written_through_a_link() {
        let dir = tempfile::tempdir().unwrap();
        let (other, path) = (dir.path().join("other"), dir.path().join("a"));
        std::fs::write(&other, "mine").unwrap();
        let link = || {
            let _ = std::fs::remove_file(&path);
            std::os::unix::fs::symlink(&other, &path).unwrap();
        };
        link();
        assert_eq!(append(&path, 4, 0, b"x\n").unwrap(), None);
        assert_eq!(append(&path, 0, 0, b"x\n").unwrap(), None);
        assert!(words(&lock(&path).unwrap_err()).contains("a link stands"));
        assert!(write_new(&path, b"x").is_err());
        write(&path, b"x", Lasting::Disk).unwrap();
        assert!(std::fs::symlink_metadata(&path).unwrap().is_file());
        std::os::unix::fs::symlink(dir.path(), dir.path().join("up")).unwrap();
        assert!(words(&own_folder(dir.path(), "up").unwrap_err()).contains("a link"));
        assert_eq!(std::fs::read(&other).unwrap(), b"mine");
    }

    #[cfg(unix)]
    #[test]
    fn who_may_read_a_file_stays() {
        use std::os::unix::fs::PermissionsExt;
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a");
        std::fs::write(&path, "one").unwrap();
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o640)).unwrap();
        write(&path, b"two", Lasting::Disk).unwrap();
        replace(&path, b"two", b"three", dir.path(), 10).unwrap();
        assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o640);
    }

    #[test]
    fn a_seal_shows_every_flipped_bit() {
        let line = seal("{\"a\":1} \u{266d}");
        assert_eq!(unseal(&line), Some("{\"a\":1} \u{266d}"));
        let mut bytes = line.clone().into_bytes();
        for i in 0..bytes.len() * 8 {
            bytes[i / 8] ^= 1 << (i % 8);
            assert_eq!(std::str::from_utf8(&bytes).ok().and_then(unseal), None, "bit {i}");
            bytes[i / 8] ^= 1 << (i % 8);
        }
        for end in (0..line.len()).filter(|i| line.is_char_boundary(*i)) {
            assert_eq!(unseal(&line[..end]), None, "cut at {end}");
        }
    }

    #[test]
    fn only_old_halves_are_swept() {
        let dir = tempfile::tempdir().unwrap();
        for (name, age) in [(".half-1-1", 4000), (".half-2-1", 10), ("mine", 4000)] {
            let f = File::create(dir.path().join(name)).unwrap();
            f.set_modified(std::time::SystemTime::now() - Duration::from_secs(age)).unwrap();
        }
        // A clock that was set back: left alone.
        File::create(dir.path().join(".half-3-1")).unwrap().set_modified(std::time::SystemTime::now() + Duration::from_secs(9000)).unwrap();
        sweep(dir.path());
        assert_eq!(names(dir.path()), [".half-2-1", ".half-3-1", "mine"]);
    }
}
