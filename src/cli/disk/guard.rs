//! One build at a time in a folder: whoever writes holds its guard, and the system frees it when
//! its holder ends, however that was.

use super::reason;
use std::fs::{File, TryLockError};
use std::io;
use std::path::Path;

/// The right to write in a folder, until it is dropped.
pub struct Guard {
    /// Held open; `None` where there are no locks.
    _held: Option<File>,
}

impl Guard {
    /// Takes the guard of a display's folder. Another build is waited for, which `tell` says; where
    /// the system has no locks, `tell` says that too, and nothing is held.
    pub fn take(folder: &Path, tell: &dyn Fn(&str)) -> Self {
        let held = open(folder).and_then(|file| match file.try_lock() {
            Ok(()) => Ok(file),
            Err(TryLockError::WouldBlock) => {
                tell("another build is at work in this folder; waiting for it");
                file.lock().map(|()| file)
            }
            Err(TryLockError::Error(error)) => Err(error),
        });
        if let Err(error) = &held {
            let why = reason(error);
            tell(&format!(
                "warning: this folder can't be guarded ({why}), so let no two builds run at once"
            ));
        }
        Self { _held: held.ok() }
    }
}

/// What is locked: the folder itself, which leaves no file behind; a folder that can't be opened
/// has a file for it.
fn open(folder: &Path) -> io::Result<File> {
    if cfg!(unix) {
        return File::open(folder);
    }
    let mut options = File::options();
    options.create(true).truncate(false).write(true);
    options.open(folder.join(".tinsel.guard"))
}
