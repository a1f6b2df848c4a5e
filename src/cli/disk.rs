//! Texts on disk. No include leads out of the folder of the main file, not even through links.

mod guard;
mod whole;

pub use guard::Guard;
pub use whole::{create_folder, same_file, take_back, tidy, write_whole};

use crate::lockfile;
use crate::source::{FileError, Files, Loaded, MOST_FILE_BYTES};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, ErrorKind, Read};
use std::path::{Component, Path, PathBuf};

/// The folder of a display.
pub struct Disk {
    /// The folder of the main file, links resolved.
    root: PathBuf,
    /// That folder as it was given, for shown names.
    given: PathBuf,
    /// The path of the display's lock, which may not exist; `None` where the main text has no name.
    lock: Option<PathBuf>,
    /// The folders of the texts read so far, by identity. An identity gives no folder back where
    /// the path is not UTF-8.
    folders: RefCell<BTreeMap<String, PathBuf>>,
    /// Every text that was read, and the lock, links resolved.
    texts: RefCell<Vec<PathBuf>>,
}

/// The ending of a lock's name.
pub const LOCK: &str = "lock";

/// The name of standard input where none was given; it then has no lock.
pub const UNNAMED: &str = "<stdin>";

impl Disk {
    /// Reads the main file; its folder is the display's.
    ///
    /// # Errors
    /// Why it can't be read, in words.
    pub fn open(path: &Path) -> Result<(Self, Loaded), String> {
        let refuse = |why: String| format!("can't read {}: {why}", shown(path));
        let real = path.canonicalize().map_err(|e| refuse(reason(&e)))?;
        let bytes = read(&real, MOST_FILE_BYTES)
            .map_err(|why| refuse(why.unwrap_or_else(|e| reason(&e))))?;
        if real.extension().is_some_and(|ending| ending == LOCK) {
            return Err(refuse("it is a lock, not a display".to_owned()));
        }
        let root = real.parent().unwrap_or(&real).to_owned();
        let given = path.parent().unwrap_or(Path::new("")).to_owned();
        let disk = Self {
            root: root.clone(),
            given,
            lock: Some(real.with_extension(LOCK)),
            folders: RefCell::default(),
            texts: RefCell::default(),
        };
        let loaded = disk.keep(&real, root, shown(path), bytes);
        Ok((disk, loaded))
    }

    /// Reads the main text from standard input and shows it as `name`; the folder of `name` is the
    /// display's.
    ///
    /// # Errors
    /// Why it can't be read, in words.
    pub fn from_stdin(name: &Path) -> Result<(Self, Loaded), String> {
        let bytes = limited(io::stdin().lock(), 0, MOST_FILE_BYTES)
            .map_err(|error| format!("can't read standard input: {}", reason(&error)))?;
        Ok(Self::of_text(name, bytes))
    }

    /// A main text that does not come from its file, shown as `name`; the folder of `name` is the
    /// display's.
    pub fn of_text(name: &Path, bytes: Vec<u8>) -> (Self, Loaded) {
        let given = name.parent().unwrap_or(Path::new("")).to_owned();
        let folder = if given.as_os_str().is_empty() { Path::new(".") } else { &given };
        // In an editor, the folder of a text may not exist yet; nothing can be included from it
        // then.
        let root = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
        let file = name.file_name().unwrap_or(name.as_os_str());
        let named = name != Path::new(UNNAMED);
        let disk = Self {
            root: root.clone(),
            given,
            lock: named.then(|| root.join(file).with_extension(LOCK)),
            folders: RefCell::default(),
            texts: RefCell::default(),
        };
        let loaded = disk.keep(&root.join(file), root.clone(), shown(name), bytes);
        (disk, loaded)
    }

    /// The lock beside the display, if there is one; a link is followed.
    ///
    /// # Errors
    /// Why it can't be read, in words.
    pub fn lock(&self) -> Result<Option<Loaded>, String> {
        match &self.lock {
            Some(path) => self.lock_at(path, self.lock_name()),
            None => Ok(None),
        }
    }

    /// The lock at a path, if there is one; a link is followed.
    ///
    /// # Errors
    /// Why it can't be read, in words.
    pub fn lock_at(&self, path: &Path, name: String) -> Result<Option<Loaded>, String> {
        let refuse = |why: String| format!("can't read {name}: {why}");
        let real = match path.canonicalize() {
            Ok(real) => real,
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(refuse(reason(&error))),
        };
        let bytes = read(&real, lockfile::MOST_BYTES)
            .map_err(|why| refuse(why.unwrap_or_else(|e| reason(&e))))?;
        let identity = shown(&real);
        self.texts.borrow_mut().push(real);
        Ok(Some(Loaded { identity, name, bytes }))
    }

    /// The path of the display's lock, which may not exist.
    pub fn lock_path(&self) -> Option<&Path> {
        self.lock.as_deref()
    }

    /// The lock's name as shown: beside the display as it was given, or the real path where the
    /// display was given as a link in another folder.
    pub fn lock_name(&self) -> String {
        let path = self.lock.as_deref().unwrap_or(Path::new(""));
        let folder = match self.given.as_os_str().is_empty() {
            true => Path::new("."),
            false => &self.given,
        };
        let beside = folder.canonicalize().is_ok_and(|real| real == self.root);
        match path.file_name().filter(|_| beside) {
            Some(file) => shown(&self.given.join(file)),
            None => shown(path),
        }
    }

    /// The display's folder, links resolved.
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// Whether a path leads to one of the texts that were read.
    pub fn has_read(&self, path: &Path) -> bool {
        self.texts.borrow().iter().any(|text| same_file(text, path))
    }

    fn keep(&self, real: &Path, folder: PathBuf, name: String, bytes: Vec<u8>) -> Loaded {
        let identity = shown(real);
        self.folders.borrow_mut().insert(identity.clone(), folder);
        self.texts.borrow_mut().push(real.to_owned());
        Loaded { identity, name, bytes }
    }
}

impl Files for Disk {
    fn load(&self, from: &str, path: &str) -> Result<Loaded, FileError> {
        let folders = self.folders.borrow();
        let folder = folders.get(from).unwrap_or(&self.root).clone();
        drop(folders);
        if !stays_within(&self.root, &folder, path) {
            return Err(FileError::Outside);
        }
        let real = match folder.join(path).canonicalize() {
            Ok(real) => real,
            Err(error) if error.kind() == ErrorKind::NotFound => return Err(FileError::Missing),
            Err(error) => return Err(FileError::Other(reason(&error))),
        };
        let within = real.strip_prefix(&self.root).map_err(|_| FileError::Outside)?;
        let bytes = read(&real, MOST_FILE_BYTES)
            .map_err(|why| FileError::Other(why.unwrap_or_else(|error| reason(&error))))?;
        if bytes.len() > MOST_FILE_BYTES {
            return Err(FileError::TooLarge);
        }
        let name = shown(&self.given.join(within));
        let folder = real.parent().unwrap_or(&self.root).to_owned();
        Ok(self.keep(&real, folder, name, bytes))
    }
}

/// The paths of the `.tinsel` files in a folder, in order; none where it can't be read.
pub fn displays_in(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let paths = entries.map(|entry| entry.path());
    let own = paths.filter(|path| path.extension().is_some_and(|end| end == "tinsel"));
    let mut names: Vec<String> = own.map(|path| shown(&path)).collect();
    names.sort();
    names
}

/// Whether a path in a text of `folder` stays below `root` by its words alone: nothing outside is
/// even looked up. Absolute paths and those of other systems do not.
fn stays_within(root: &Path, folder: &Path, path: &str) -> bool {
    if path.contains(['\\', ':', '\0']) {
        return false;
    }
    let Ok(within) = folder.strip_prefix(root) else {
        return false;
    };
    let mut depth = within.components().count();
    for part in Path::new(path).components() {
        match part {
            Component::Prefix(_) | Component::RootDir => return false,
            Component::CurDir => {}
            Component::Normal(_) => depth += 1,
            Component::ParentDir => match depth.checked_sub(1) {
                Some(up) => depth = up,
                None => return false,
            },
        }
    }
    true
}

/// Reads a regular file, at most one byte more than it may have. A pipe or a device may have no end
/// or never answer, so it is not opened.
fn read(path: &Path, most: usize) -> Result<Vec<u8>, Result<String, io::Error>> {
    let about = path.metadata().map_err(Err)?;
    if about.is_dir() {
        return Err(Ok("it is a folder".to_owned()));
    }
    if !about.is_file() {
        return Err(Ok("it is not a regular file".to_owned()));
    }
    File::open(path).and_then(|file| limited(file, about.len(), most)).map_err(Err)
}

/// The beginning of a regular file, at most `most` + 1 bytes; `None` where nothing can be read.
pub fn beginning(path: &Path, most: usize) -> Option<Vec<u8>> {
    let bytes = path.is_file().then(|| File::open(path).ok())?;
    let bytes = limited(bytes?, 0, most).ok()?;
    (!bytes.is_empty()).then_some(bytes)
}

/// Reads at most `most` + 1 bytes; `expected` is how many there seem to be.
fn limited(from: impl Read, expected: u64, most: usize) -> io::Result<Vec<u8>> {
    let expected = usize::try_from(expected).unwrap_or(0).min(most);
    let mut bytes = Vec::with_capacity(expected + 1);
    from.take(most as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Why the system refused. The usual reasons have words of ours, which do not depend on the
/// system's language.
fn reason(error: &io::Error) -> String {
    match error.kind() {
        ErrorKind::NotFound => "there is no such file".to_owned(),
        ErrorKind::PermissionDenied => "no permission".to_owned(),
        _ => error.to_string(),
    }
}

/// A path with `/` between folders. Bytes that are not UTF-8 and characters that would control a
/// terminal are written as escapes.
pub fn shown(path: &Path) -> String {
    let bytes = path.as_os_str().as_encoded_bytes();
    let mut out = String::with_capacity(bytes.len());
    for chunk in bytes.utf8_chunks() {
        out.push_str(&crate::diagnostic::words::visible(chunk.valid(), ""));
        for byte in chunk.invalid() {
            out.push_str(&format!("\\x{byte:02X}"));
        }
    }
    if cfg!(windows) {
        out = out.replace('\\', "/");
    }
    out
}
