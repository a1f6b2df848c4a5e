//! Which texts there are: an open text hides its file on disk. And which file is the main one.

use super::uri;
use crate::ast::StatementKind;
use crate::diagnostic::Sink;
use crate::source::{FileError, Files, Loaded, SourceMap, joined, quoted};
use crate::syntax;
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};

/// The main file of a display, with the lock beside it.
pub struct Opened {
    /// How its includes are read.
    pub files: Box<dyn Files>,
    /// Its text.
    pub main: Loaded,
    /// Its lock.
    pub lock: Option<Loaded>,
}

/// The disk as the server sees it.
pub trait Shelf {
    /// The display of a main file. `text` is its text if it is open; then it need not be on disk.
    fn open(&self, path: &str, text: Option<&str>) -> Option<Opened>;
    /// A name of the file that is the same for each of its paths.
    fn identity(&self, path: &str) -> String;
    /// The displays in a folder, by path, in order.
    fn displays_in(&self, folder: &str) -> Vec<String>;
    /// Whether a lock lies beside a path.
    fn has_lock(&self, path: &str) -> bool;
}

/// A text that is open in the editor.
#[derive(Debug, Clone)]
pub struct Open {
    /// Its path, where it is a file.
    pub path: Option<String>,
    /// See [`Shelf::identity`]; its URI where it is no file.
    pub identity: String,
    /// The version that the editor gave it.
    pub version: i64,
    /// Its text now.
    pub text: String,
}

/// All texts that are open, by URI.
pub type OpenTexts = BTreeMap<String, Open>;

/// The texts of a display: open ones in place of those on disk. It notes the name of each.
pub struct Over<'o> {
    /// Those on disk.
    pub disk: &'o dyn Files,
    /// Those that are open.
    pub open: &'o OpenTexts,
    /// Identities by shown name.
    pub names: RefCell<BTreeMap<String, String>>,
}

impl Over<'_> {
    /// A text as it is now.
    pub fn now(&self, mut file: Loaded) -> Loaded {
        let mut open = self.open.values();
        if let Some(own) = open.find(|open| open.identity == file.identity) {
            file.bytes = own.text.clone().into_bytes();
        }
        let mut names = self.names.borrow_mut();
        names.insert(file.name.clone(), file.identity.clone());
        drop(names);
        file
    }
}

impl Files for Over<'_> {
    fn load(&self, from: &str, path: &str) -> Result<Loaded, FileError> {
        match self.disk.load(from, path) {
            Ok(file) => Ok(self.now(file)),
            Err(FileError::Missing) => {
                // It may be open and not saved yet.
                let meant = joined(from, path).ok_or(FileError::Missing)?;
                let mut open = self.open.values();
                let own = open.find(|open| open.path.as_deref() == Some(&meant));
                let own = own.ok_or(FileError::Missing)?;
                Ok(self.now(Loaded {
                    identity: own.identity.clone(),
                    name: meant,
                    bytes: Vec::new(),
                }))
            }
            Err(error) => Err(error),
        }
    }
}

/// The folder of a path.
fn folder(path: &str) -> &str {
    path.rsplit_once('/').map_or("", |(folder, _)| folder)
}

/// Whether a folder is another one or lies in it.
fn is_within(folder: &str, root: &str) -> bool {
    let rest = folder.strip_prefix(root.trim_end_matches('/'));
    rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

/// The main files that a file may belong to: those that include it and that no other file includes.
/// Those with a lock come first. A file that no other includes is its own main file.
#[must_use]
pub fn mains(shelf: &dyn Shelf, open: &OpenTexts, path: &str, roots: &[String]) -> Vec<String> {
    const MOST_FOLDERS: usize = 8;
    const MOST_FILES: usize = 400;
    let mut files: Vec<String> = Vec::new();
    let mut at = folder(path);
    let within = |at: &str| roots.iter().any(|root| is_within(at, root));
    let inside = within(at);
    for _ in 0..MOST_FOLDERS {
        let room = MOST_FILES.saturating_sub(files.len());
        files.extend(shelf.displays_in(at).into_iter().take(room));
        // An open text that is not saved yet may include the file as well.
        let unsaved = open.values().filter_map(|one| one.path.as_ref());
        for path in unsaved.filter(|path| folder(path) == at && path.ends_with(".tinsel")) {
            if !files.contains(path) {
                files.push(path.clone());
            }
        }
        let up = folder(at);
        if up.is_empty() || !inside || !within(up) {
            break;
        }
        at = up;
    }
    if !files.iter().any(|file| file == path) {
        files.push(path.to_owned());
    }
    let ids: Vec<String> = files.iter().map(|file| shelf.identity(file)).collect();
    let reads: Vec<Vec<String>> = files.iter().map(|file| included(shelf, open, file)).collect();
    let target = shelf.identity(path);
    let mut found: Vec<String> = Vec::new();
    for (file, id) in files.iter().zip(&ids) {
        let read_by_other = (ids.iter().zip(&reads)).any(|(other, all)| {
            other != id && all.contains(id) && !reaches(&ids, &reads, id, other)
        });
        if (*id == target || reaches(&ids, &reads, id, &target)) && !read_by_other {
            found.push(file.clone());
        }
    }
    if found.is_empty() {
        found.push(path.to_owned());
    }
    found.sort_by_key(|file| (!shelf.has_lock(file), file.clone()));
    // A link and its target are one file.
    let mut seen = BTreeSet::new();
    found.retain(|file| seen.insert(shelf.identity(file)));
    found
}

/// Whether two versions of a text have the same `include` and `stock` statements, unparsed.
#[must_use]
pub fn read_alike(one: &str, other: &str) -> bool {
    let reads = |text| {
        let parts = str::split(text, ['\n', ';']).map(str::trim);
        parts.filter(|part| part.starts_with("include") || part.starts_with("stock"))
    };
    reads(one).eq(reads(other))
}

/// Whether a file includes another, directly or through others.
fn reaches(ids: &[String], reads: &[Vec<String>], from: &str, to: &str) -> bool {
    let mut seen: BTreeSet<&str> = BTreeSet::from([from]);
    let mut left = vec![from];
    while let Some(at) = left.pop() {
        let Some(own) = ids.iter().position(|id| id == at).and_then(|at| reads.get(at)) else {
            continue;
        };
        for next in own {
            if next == to {
                return true;
            }
            if seen.insert(next) {
                left.push(next);
            }
        }
    }
    false
}

/// The identities of the files that a file includes itself.
fn included(shelf: &dyn Shelf, open: &OpenTexts, path: &str) -> Vec<String> {
    let own = open.values().find(|one| one.path.as_deref() == Some(path));
    let Some(opened) = shelf.open(path, own.map(|own| &*own.text)) else {
        return Vec::new();
    };
    let Ok(text) = String::from_utf8(opened.main.bytes) else {
        return Vec::new();
    };
    if !text.contains("include") && !text.contains("stock") {
        return Vec::new();
    }
    let mut sources = SourceMap::default();
    let Some(file) = sources.add(path, &text).cloned() else {
        return Vec::new();
    };
    let ast = syntax::parse(&file, &mut Sink::default());
    let paths = ast.statements.iter().filter_map(|one| match &one.kind {
        StatementKind::Include(include) => {
            let said = quoted::said(sources.text(include.path.span)).into_owned();
            joined(path, &said)
        }
        _ => None,
    });
    paths.map(|path| shelf.identity(&path)).collect()
}

/// The URI of a text by its shown name: the editor's own where the text is open.
#[must_use]
pub fn uri_of(open: &OpenTexts, names: &BTreeMap<String, String>, name: &str) -> String {
    let identity = names.get(name).map_or(name, String::as_str);
    twins(open, identity).next().map_or_else(|| uri::of(name), str::to_owned)
}

/// The URIs under which one file is open.
pub fn twins<'o>(open: &'o OpenTexts, identity: &'o str) -> impl Iterator<Item = &'o str> {
    let own = open.iter().filter(move |(_, one)| one.identity == identity);
    own.map(|(uri, _)| uri.as_str())
}

#[cfg(test)]
mod tests {
    use super::is_within;

    #[test]
    fn a_folder_whose_name_goes_on_is_not_within() {
        for (folder, root, within) in [
            ("/yard", "/yard", true),
            ("/yard/pond", "/yard", true),
            ("/yard/pond", "/yard/", true),
            ("/yard", "/", true),
            ("c:/yard", "c:/", true),
            ("/yard2", "/yard", false),
            ("/yard2/pond", "/yard/", false),
        ] {
            assert_eq!(is_within(folder, root), within, "{folder} in {root}");
        }
    }
}
