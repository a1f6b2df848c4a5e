//! `tinsel lsp`: answers to an editor over standard input and output.

use super::LspArgs;
use super::console::{Console, Stop};
use super::disk::{Disk, LOCK, displays_in, shown};
use crate::lsp::{self, Opened, Shelf};
use std::io::{self, BufReader};
use std::path::Path;

/// Runs until the editor ends it; the status is 1 if the stream ends before that.
pub fn run(args: &LspArgs, console: &mut Console) -> Result<u8, Stop> {
    let LspArgs { stdio: _ } = args;
    let input = BufReader::new(io::stdin());
    let ended = lsp::serve(input, console.out(), &OnDisk)?;
    Ok(u8::from(!ended))
}

/// The disk, for the server.
struct OnDisk;

impl Shelf for OnDisk {
    fn open(&self, path: &str, text: Option<&str>) -> Option<Opened> {
        let path = Path::new(path);
        let (disk, main) = match (Disk::open(path), text) {
            (Ok(opened), _) => opened,
            (Err(_), Some(text)) => Disk::of_text(path, text.as_bytes().to_owned()),
            (Err(_), None) => return None,
        };
        let lock = disk.lock().unwrap_or(None);
        Some(Opened { files: Box::new(disk), main, lock })
    }

    fn identity(&self, path: &str) -> String {
        let path = Path::new(path);
        // A text that is not saved yet may still have a folder.
        let beside = || Some(path.parent()?.canonicalize().ok()?.join(path.file_name()?));
        let real = path.canonicalize().ok().or_else(beside);
        shown(real.as_deref().unwrap_or(path))
    }

    fn displays_in(&self, folder: &str) -> Vec<String> {
        displays_in(Path::new(folder))
    }

    fn has_lock(&self, path: &str) -> bool {
        Path::new(path).with_extension(LOCK).is_file()
    }
}
