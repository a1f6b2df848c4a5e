//! Where a result goes and in which format, for every command that prints tables or a picture.

use super::Printed;
use super::check::write;
use super::console::{Console, Stop};
use super::disk::Disk;
use crate::Compiled;
use crate::diagnostic::words::{list, shown};
use crate::output::{self, BINARY};
use crate::table::Survey;
use std::io::{self, IsTerminal, Write};
use std::path::Path;

/// Where a result goes, and in which format.
pub struct Target<'a> {
    /// The format's word.
    pub format: &'a str,
    /// The file; standard output if there is none.
    path: Option<&'a Path>,
}

/// The file that a result goes to; `None` for standard output, which is also called `-`.
pub fn named(path: Option<&Path>) -> Option<&Path> {
    path.filter(|path| *path != Path::new("-"))
}

impl Printed {
    /// Where the result goes, and which of the command's formats it has; the first is the default.
    /// `--format` counts before the ending of the file.
    ///
    /// # Errors
    /// The ending of the file names no format, or the format can't be read at a terminal.
    pub fn target<'a>(&'a self, formats: &[&'a str]) -> Result<Target<'a>, Stop> {
        let path = named(self.output.as_deref());
        let format = match (&self.format, path) {
            (Some(format), _) => format.as_str(),
            (None, Some(path)) => by_ending(path, formats)?,
            (None, None) => formats.first().copied().unwrap_or_default(),
        };
        if path.is_none() && BINARY.contains(&format) && io::stdout().is_terminal() {
            let why = format!("{format} is nothing to read at a terminal: name a file with `-o`");
            return Err(Stop::Refused(why));
        }
        Ok(Target { format, path })
    }
}

/// The format that a file's ending names.
fn by_ending<'a>(path: &Path, formats: &[&'a str]) -> Result<&'a str, Stop> {
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
    let lower = ending.to_ascii_lowercase();
    let known = if lower == "yml" { "yaml" } else { &lower };
    let by_ending = || formats.iter().copied().filter(|name| *name != "text");
    by_ending().find(|name| *name == known).ok_or_else(|| {
        let why = match ending {
            "" => "the file's name has no ending".to_owned(),
            ending => format!("`.{}` names no format", shown(ending)),
        };
        let names: Vec<&str> = by_ending().collect();
        let names = list(&names, "or");
        Stop::Refused(format!("{why}: end it in {names}, or add `--format`"))
    })
}

impl Target<'_> {
    /// Writes tables of a display.
    ///
    /// # Errors
    /// Why they can't be made or written.
    pub fn print(
        &self,
        mut survey: Survey<'_>,
        (disk, compiled): (&Disk, &Compiled),
        console: &mut Console,
    ) -> Result<(), Stop> {
        let display = &*compiled.model.display.name;
        if !display.is_empty() {
            survey.title = format!("{display}: {}", survey.title);
        }
        self.write(disk, console, |width, out| match output::find(self.format) {
            Some(write) => write(&survey, width, out),
            None => Ok(()),
        })
    }

    /// Writes what `make` makes for a width in columns. A file is written whole or not at all, and
    /// never over a source of the display.
    ///
    /// # Errors
    /// Why it can't be made or written.
    pub fn write(
        &self,
        disk: &Disk,
        console: &mut Console,
        make: impl FnOnce(usize, &mut dyn Write) -> io::Result<()>,
    ) -> Result<(), Stop> {
        let width = console.out_width();
        if self.path.is_none() && !BINARY.contains(&self.format) {
            return Ok(make(width, console.out())?);
        }
        let mut bytes = Vec::new();
        let made = make(width, &mut bytes);
        made.map_err(|why| Stop::Refused(format!("can't make {}: {why}", self.format)))?;
        match self.path {
            Some(path) => write(disk, path, &bytes).map(|_| ()),
            None => Ok(console.out().write_all(&bytes)?),
        }
    }
}
