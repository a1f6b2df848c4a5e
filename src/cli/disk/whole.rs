//! Writing a file whole or not at all: if anything fails, the old file stays as it was.
//!
//! The bytes go into a temporary file in the same folder, which is synced and then renamed over the
//! old one; the folder is synced last. A temporary file is locked as long as its writer runs. One
//! that is not locked was left by a killed writer and is removed.

use super::{reason, shown};
use std::ffi::OsStr;
use std::fs::{self, File, Metadata, OpenOptions, TryLockError};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

/// How names of temporary files begin and end; they are short, whatever the file's own name is.
const HEAD: &str = ".tinsel.";
const TAIL: &str = ".tmp";
/// A new temporary file may be removed by another writer before it is locked; then it is made
/// again.
const ATTEMPTS: u32 = 8;
/// At most this many links are followed.
const MOST_LINKS: u32 = 40;

/// Writes a file so that at any moment either the whole old or the whole new one is there. A link
/// is followed and stays, and the mode is kept. Returns `false`, and writes nothing, where the file
/// has these bytes already.
///
/// # Errors
/// Why it can't be written, in words, with the path; the old file is then as it was.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<bool, String> {
    let refuse = |why: String| format!("can't write {}: {why}", shown(path));
    let target = followed(path).map_err(|error| refuse(reason(&error)))?;
    let old = match target.metadata() {
        Ok(old) if old.is_dir() => return Err(refuse("it is a folder".to_owned())),
        Ok(old) if !old.is_file() => return Err(refuse("it is not a regular file".to_owned())),
        Ok(old) => Some(old),
        Err(error) if error.kind() == ErrorKind::NotFound => None,
        Err(error) => return Err(refuse(reason(&error))),
    };
    if let Some(old) = &old {
        if old.len() == bytes.len() as u64 && fs::read(&target).is_ok_and(|there| there == bytes) {
            return Ok(false);
        }
        // Renaming over it would work, but its owner wants it not to change.
        if old.permissions().readonly() {
            return Err(refuse("it is marked read-only".to_owned()));
        }
    }
    let folder = folder_of(&target);
    sweep(folder);
    for attempt in 0..ATTEMPTS {
        match replace(folder, &target, old.as_ref(), bytes, attempt) {
            Ok(()) => return Ok(true),
            Err(error) if again(&error) && attempt + 1 < ATTEMPTS => {}
            Err(error) => return Err(refuse(writing(&error))),
        }
    }
    Err(refuse("other programs keep writing it".to_owned()))
}

/// Removes a file that was just written, since another file that belongs to it could not be
/// written.
pub fn take_back(path: &Path) {
    // A failure here needs no report: the caller reports why the other file failed.
    let _ = fs::remove_file(path);
}

/// Removes what killed writers left in the folder of a file.
pub fn tidy(path: &Path) {
    if let Ok(target) = followed(path) {
        sweep(folder_of(&target));
    }
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Where a path leads through its links; the last target need not exist.
fn followed(path: &Path) -> io::Result<PathBuf> {
    let mut at = path.to_owned();
    for _ in 0..MOST_LINKS {
        match at.read_link() {
            Ok(to) => at = at.parent().unwrap_or(Path::new("")).join(to),
            Err(_) => return Ok(at),
        }
    }
    Err(io::Error::other("its links lead nowhere"))
}

/// Removes what killed writers left in a folder. Failures are ignored: they do not stop the
/// writing.
fn sweep(folder: &Path) {
    let Ok(entries) = folder.read_dir() else {
        return;
    };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let ours = |name: &str| name.starts_with(HEAD) && name.ends_with(TAIL);
        let regular = entry.file_type().is_ok_and(|kind| kind.is_file());
        if !regular || !name.to_str().is_some_and(ours) {
            continue;
        }
        // If it can be locked, its writer is gone.
        if let Ok(left) = File::open(entry.path())
            && left.try_lock().is_ok()
        {
            let _ = fs::remove_file(entry.path());
        }
    }
}

fn replace(
    folder: &Path,
    target: &Path,
    old: Option<&Metadata>,
    bytes: &[u8],
    attempt: u32,
) -> io::Result<()> {
    let name = format!("{HEAD}{}-{attempt}{TAIL}", std::process::id());
    let temporary = folder.join(name);
    let mut file = OpenOptions::new().write(true).create_new(true).open(&temporary)?;
    let written = fill(&mut file, old, bytes).and_then(|()| fs::rename(&temporary, target));
    if written.is_err() {
        let _ = fs::remove_file(&temporary);
    }
    written?;
    sync_folder(folder)
}

fn fill(file: &mut File, old: Option<&Metadata>, bytes: &[u8]) -> io::Result<()> {
    match file.try_lock() {
        Err(TryLockError::WouldBlock) => return Err(ErrorKind::NotFound.into()),
        // Where files can't be locked, `sweep` removes none either.
        Ok(()) | Err(TryLockError::Error(_)) => {}
    }
    file.write_all(bytes)?;
    if let Some(old) = old {
        file.set_permissions(old.permissions())?;
    }
    file.sync_all()
}

/// Whether a temporary file was in the way, or another writer removed ours.
fn again(error: &io::Error) -> bool {
    matches!(error.kind(), ErrorKind::AlreadyExists | ErrorKind::NotFound)
}

/// Syncs the folder, so that the new name is on the disk too.
fn sync_folder(folder: &Path) -> io::Result<()> {
    if !cfg!(unix) {
        return Ok(());
    }
    match File::open(folder).and_then(|folder| folder.sync_all()) {
        // Some file systems can't sync a folder, and some folders can be written but not read.
        Err(error)
            if matches!(
                error.kind(),
                ErrorKind::InvalidInput | ErrorKind::Unsupported | ErrorKind::PermissionDenied
            ) =>
        {
            Ok(())
        }
        other => other,
    }
}

/// Why writing failed, in words.
fn writing(error: &io::Error) -> String {
    match error.kind() {
        ErrorKind::NotFound => "there is no such folder".to_owned(),
        ErrorKind::StorageFull => "the disk is full".to_owned(),
        ErrorKind::QuotaExceeded => "the quota of this user is used up".to_owned(),
        ErrorKind::FileTooLarge => "it is larger than files may be here".to_owned(),
        ErrorKind::ReadOnlyFilesystem => "the file system is read-only".to_owned(),
        _ => reason(error),
    }
}

/// Makes a folder, and those above it, where they are missing.
///
/// # Errors
/// Why it can't be made, in words, with the path.
pub fn create_folder(path: &Path) -> Result<(), String> {
    fs::create_dir_all(path).map_err(|error| {
        let why = match error.kind() {
            ErrorKind::AlreadyExists | ErrorKind::NotADirectory => {
                "there is a file in the way".to_owned()
            }
            _ => writing(&error),
        };
        format!("can't make the folder {}: {why}", shown(path))
    })
}

/// Whether two paths lead to one file, which need not exist yet.
pub fn same_file(one: &Path, other: &Path) -> bool {
    let real = |path: &Path| -> Option<PathBuf> {
        let path = followed(path).ok()?;
        let name: Option<&OsStr> = path.file_name();
        path.canonicalize().ok().or_else(|| Some(folder_of(&path).canonicalize().ok()?.join(name?)))
    };
    real(one).zip(real(other)).is_some_and(|(a, b)| a == b)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder(name: &str) -> PathBuf {
        let path = std::env::temp_dir().join(format!("tinsel-whole-{}-{name}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).unwrap();
        path
    }

    fn names(folder: &Path) -> Vec<String> {
        let entries = folder.read_dir().unwrap();
        let mut names: Vec<String> =
            entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn it_writes_what_differs_and_leaves_what_does_not() {
        let folder = folder("differs");
        let path = folder.join("yard.lock");
        assert_eq!(write_whole(&path, b"one"), Ok(true));
        assert_eq!(write_whole(&path, b"one"), Ok(false));
        assert_eq!(write_whole(&path, b"two"), Ok(true));
        assert_eq!(fs::read(&path).unwrap(), b"two");
        assert_eq!(names(&folder), ["yard.lock"]);
        for (path, why) in [
            (folder.clone(), "it is a folder"),
            (folder.join("nowhere/yard.lock"), "there is no such folder"),
        ] {
            let told = write_whole(&path, b"one").unwrap_err();
            assert!(told.ends_with(why), "{told}");
        }
        let _ = fs::remove_dir_all(folder);
    }

    #[test]
    fn what_a_killed_writer_left_is_taken_away_and_what_is_being_written_stays() {
        let folder = folder("left");
        fs::write(folder.join(".tinsel.1-0.tmp"), "half").unwrap();
        let held = folder.join(".tinsel.2-0.tmp");
        let writing = File::create(&held).unwrap();
        writing.lock().unwrap();
        fs::write(folder.join(".tinsel.txt"), "somebody's own").unwrap();
        write_whole(&folder.join("yard.lock"), b"one").unwrap();
        assert_eq!(names(&folder), [".tinsel.2-0.tmp", ".tinsel.txt", "yard.lock"]);
        let _ = fs::remove_dir_all(folder);
    }

    #[cfg(unix)]
    #[test]
    fn mode_and_links_stay() {
        use std::os::unix::fs::{PermissionsExt as _, symlink};
        let folder = folder("mode");
        let path = folder.join("yard.lock");
        fs::create_dir(folder.join("far")).unwrap();
        symlink("far/there.lock", &path).unwrap();
        write_whole(&path, b"one").unwrap();
        let there = folder.join("far/there.lock");
        assert_eq!(fs::read(&there).unwrap(), b"one");
        fs::set_permissions(&there, fs::Permissions::from_mode(0o640)).unwrap();
        write_whole(&path, b"two").unwrap();
        assert_eq!(fs::read(&there).unwrap(), b"two");
        assert!(path.is_symlink());
        assert_eq!(there.metadata().unwrap().permissions().mode() & 0o777, 0o640);
        fs::set_permissions(&there, fs::Permissions::from_mode(0o440)).unwrap();
        let told = write_whole(&path, b"three").unwrap_err();
        assert!(told.ends_with("it is marked read-only"), "{told}");
        assert!(same_file(&path, &there) && !same_file(&path, &folder.join("far/other")));
        symlink("round", folder.join("round")).unwrap();
        assert!(write_whole(&folder.join("round"), b"one").is_err());
        let _ = fs::remove_dir_all(folder);
    }
}
