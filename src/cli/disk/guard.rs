//! One build at a time in a folder: a build holds the folder's guard. The system frees it when the
//! process ends, for whatever reason.

use super::reason;
use std::fs::{File, TryLockError};
use std::io;
use std::path::Path;

/// The right to write in a folder, until it is dropped.
pub struct Guard {
    /// Open while the guard is held; `None` where the system has no locks.
    _held: Option<File>,
}

impl Guard {
    /// Takes the guard of a display's folder. If another build holds it, it waits and says so
    /// through `report`. Where the folder can't be locked, it says so and holds nothing.
    pub fn take(folder: &Path, report: &dyn Fn(&str)) -> Self {
        let held = open(folder).and_then(|file| match file.try_lock() {
            Ok(()) => Ok(file),
            Err(TryLockError::WouldBlock) => {
                report("another build is at work in this folder; waiting for it");
                file.lock().map(|()| file)
            }
            Err(TryLockError::Error(error)) => Err(error),
        });
        if let Err(error) = &held {
            let why = reason(error);
            report(&format!(
                "warning: this folder can't be guarded ({why}), so let no two builds run at once"
            ));
        }
        Self { _held: held.ok() }
    }
}

/// Opens what is locked: the folder itself, so that no file is left over; on systems that can't
/// open folders, a file in it.
fn open(folder: &Path) -> io::Result<File> {
    if cfg!(unix) {
        return File::open(folder);
    }
    let mut options = File::options();
    options.create(true).truncate(false).write(true);
    options.open(folder.join(".tinsel.guard"))
}
