//! A change tried in a copy of a display: its texts with some edits.

use super::desk::Desk;
use crate::diagnostic::Edit;
use crate::source::{FileError, Files, Loaded, SourceFile};
use std::cell::RefCell;
use std::collections::BTreeMap;

/// Which texts the last compile asked for, and their names, but not their bytes. With them a change
/// can be compiled in a copy.
#[derive(Default)]
pub(super) struct Given {
    pub main: Option<Loaded>,
    pub lock: Option<Loaded>,
    pub loads: BTreeMap<(String, String), Result<Loaded, FileError>>,
}

/// Notes which texts are asked for.
pub(super) struct Noting<'f> {
    pub files: &'f dyn Files,
    pub loads: RefCell<BTreeMap<(String, String), Result<Loaded, FileError>>>,
}

impl Files for Noting<'_> {
    fn load(&self, from: &str, path: &str) -> Result<Loaded, FileError> {
        let found = self.files.load(from, path);
        let bare = found.as_ref().map(bare).map_err(Clone::clone);
        let asked = (from.to_owned(), path.to_owned());
        self.loads.borrow_mut().insert(asked, bare);
        found
    }
}

/// A text's names without its bytes.
pub(super) fn bare(file: &Loaded) -> Loaded {
    Loaded { identity: file.identity.clone(), name: file.name.clone(), bytes: Vec::new() }
}

/// The texts of a display with some edits.
pub(super) struct Edited<'d> {
    pub desk: &'d Desk,
    pub edits: &'d [Edit],
}

impl Edited<'_> {
    pub fn filled(&self, file: &Loaded) -> Loaded {
        let text = self.desk.file(&file.name).map(|file| edited(file, self.edits));
        Loaded { bytes: text.unwrap_or_default().into_bytes(), ..bare(file) }
    }
}

impl Files for Edited<'_> {
    fn load(&self, from: &str, path: &str) -> Result<Loaded, FileError> {
        let asked = (from.to_owned(), path.to_owned());
        match self.desk.given.loads.get(&asked) {
            Some(Ok(file)) => Ok(self.filled(file)),
            Some(Err(error)) => Err(error.clone()),
            None => Err(FileError::Missing),
        }
    }
}

/// A text after those of some edits that lie in it. Edits must not overlap.
#[must_use]
pub fn edited(file: &SourceFile, edits: &[Edit]) -> String {
    let within = file.span();
    let mut own: Vec<&Edit> = (edits.iter())
        .filter(|edit| within.start <= edit.span.start && edit.span.end <= within.end)
        .collect();
    own.sort_by_key(|edit| (edit.span.start, edit.span.end));
    let mut out = String::with_capacity(file.text.len() + 64);
    let mut at = 0;
    for edit in own {
        let (start, end) = (edit.span.start - file.base, edit.span.end - file.base);
        out.push_str(file.text.get(at..start as usize).unwrap_or(""));
        out.push_str(&edit.text);
        at = end as usize;
    }
    out.push_str(file.text.get(at..).unwrap_or(""));
    out
}
