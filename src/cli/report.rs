//! `tinsel report`: the display as pages for people.

use super::ReportArgs;
use super::check::{status, told, write};
use super::console::{Console, Stop};
use super::disk::{make_folder, shown};
use crate::page;
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Runs it.
pub fn run(args: &ReportArgs, console: &mut Console) -> Result<u8, Stop> {
    let compiled = told(&args.input, "no pages", console)?;
    if compiled.blocks() {
        return Ok(1);
    }
    if args.single {
        ours(&args.output)?;
        write(&compiled, &args.output, page::single(&compiled).as_bytes())?;
    } else {
        make_folder(&args.output).map_err(Stop::Refused)?;
        let pages = page::folder(&compiled);
        // Before the first is written, so that a refusal leaves everything as it was.
        for page in &pages {
            ours(&args.output.join(&page.file))?;
        }
        for page in pages {
            write(
                &compiled,
                &args.output.join(&page.file),
                page.text.as_bytes(),
            )?;
        }
    }
    Ok(status(&args.input, &compiled))
}

/// So much of a page's beginning holds its mark.
const HEAD: u64 = 4 * 1024;

/// Refuses to write a page over a file that is not one: pages carry a mark in their heads.
fn ours(path: &Path) -> Result<(), Stop> {
    let mut head = Vec::new();
    let read = File::open(path).and_then(|file| file.take(HEAD).read_to_end(&mut head));
    // What can't be read is not there, or the writing says why.
    let foreign = read.is_ok() && !head.is_empty();
    if foreign && !String::from_utf8_lossy(&head).contains(page::MARK) {
        return Err(Stop::Refused(format!(
            "{} is there and was not made by `tinsel report` (its head has no `{}`): name another folder or file, or move \
             it away first; nothing is written",
            shown(path),
            page::MARK,
        )));
    }
    Ok(())
}
