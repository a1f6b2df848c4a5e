//! How the compiler asks for text: it never opens a file itself.

use std::collections::BTreeMap;

/// A text that was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Loaded {
    /// Identifies the file, whatever path includes it (on disk the canonical path). Two includes
    /// with one identity are one file.
    pub identity: String,
    /// The name that findings and tables show.
    pub name: String,
    /// Its bytes, not yet known to be UTF-8.
    pub bytes: Vec<u8>,
}

/// Why a text could not be loaded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FileError {
    /// There is no such file.
    Missing,
    /// It lies outside the folder of the main file.
    Outside,
    /// It is larger than a source may be.
    TooLarge,
    /// Anything else, in words.
    Other(String),
}

/// The most bytes one source may have.
pub const MOST_FILE_BYTES: usize = 16 * 1024 * 1024;

/// Where the texts come from: a disk, an editor, a test.
pub trait Files {
    /// The file that `path` means when it stands in the file with the identity `from`.
    ///
    /// # Errors
    /// Why it can't be loaded, see [`FileError`].
    fn load(&self, from: &str, path: &str) -> Result<Loaded, FileError>;
}

/// Texts held in memory, by path with `/` between folders.
#[derive(Debug, Clone, Default)]
pub struct Memory {
    texts: BTreeMap<String, Vec<u8>>,
}

impl Memory {
    /// One text under one name.
    #[must_use]
    pub fn of(name: &str, text: &str) -> Self {
        Self::default().with(name, text)
    }

    /// Adds a text.
    #[must_use]
    pub fn with(mut self, name: &str, text: impl AsRef<[u8]>) -> Self {
        self.texts.insert(name.to_owned(), text.as_ref().to_owned());
        self
    }
}

impl Files for Memory {
    fn load(&self, from: &str, path: &str) -> Result<Loaded, FileError> {
        let identity = join(from, path).ok_or(FileError::Outside)?;
        let bytes = self.texts.get(&identity).ok_or(FileError::Missing)?;
        Ok(Loaded { name: identity.clone(), identity, bytes: bytes.clone() })
    }
}

/// `path` as seen from the folder of `from`; `None` if it is absolute or leaves the topmost folder.
fn join(from: &str, path: &str) -> Option<String> {
    if path.starts_with('/') || path.contains('\\') || path.contains(':') {
        return None;
    }
    joined(from, path)
}

/// `path` appended to the folder of `from`, with `.` and `..` resolved; `None` if that would leave
/// the topmost folder.
#[must_use]
pub fn joined(from: &str, path: &str) -> Option<String> {
    let mut parts: Vec<&str> = from.split('/').collect();
    parts.pop();
    for part in path.split('/') {
        match part {
            "" | "." => {}
            ".." => {
                parts.pop()?;
            }
            _ => parts.push(part),
        }
    }
    Some(parts.join("/"))
}
