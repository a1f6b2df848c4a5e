//! `tinsel fmt`: lays files out in one way.

use super::FmtArgs;
use super::console::{Console, Stop};
use super::disk::{Disk, write_whole};
use crate::diagnostic::words;
use crate::format::format;
use crate::report::{self, terminal};
use std::io::Write;
use std::path::Path;

/// Runs the command on each file in turn; the highest status counts.
pub fn run(args: &FmtArgs, console: &mut Console) -> Result<u8, Stop> {
    let mut status = 0;
    for file in &args.files {
        match one(file, args, console) {
            Ok(own) => status = status.max(own),
            // The other files are still laid out.
            Err(Stop::Refused(why)) if args.files.len() > 1 => {
                console.report(format!("tinsel: {why}\n").as_bytes());
                status = 2;
            }
            Err(stop) => return Err(stop),
        }
    }
    Ok(status)
}

fn one(path: &Path, args: &FmtArgs, console: &mut Console) -> Result<u8, Stop> {
    let piped = path == Path::new("-");
    let opened = if piped { Disk::from_stdin(&args.stdin_filename) } else { Disk::open(path) };
    let (_, main) = opened.map_err(Stop::Refused)?;
    let name = words::shown(&main.name);
    let formatted = format(&main);
    let text = match formatted.result {
        Ok(text) => text,
        Err(findings) => {
            let mut shown = Vec::new();
            terminal::write(&formatted.sources, &findings, console.err_look(), &mut shown)?;
            console.report(&shown);
            let count = report::count(&findings);
            console.report(format!("{name}: {count}; left as it is\n").as_bytes());
            // A text from a pipe is printed as it came, so that it is not lost.
            if piped && !args.check {
                console.out().write_all(&main.bytes)?;
            }
            return Ok(1);
        }
    };
    let changes = text.as_bytes() != main.bytes;
    if args.check {
        if changes {
            console.report(format!("{name}: would be laid out anew\n").as_bytes());
        }
        return Ok(u8::from(changes));
    }
    if piped {
        console.out().write_all(text.as_bytes())?;
    } else if changes {
        write_whole(path, text.as_bytes()).map_err(Stop::Refused)?;
        if !console.quiet {
            console.report(format!("{name}: laid out anew\n").as_bytes());
        }
    }
    Ok(0)
}
