//! `tinsel report`: the display as pages for people.

use super::ReportArgs;
use super::check::{compile, is_no_text, status, write};
use super::console::{Console, Stop};
use super::disk::{Disk, beginning, create_folder, shown};
use super::print::named;
use crate::page;
use std::io::Write;
use std::path::Path;

/// Runs the command.
pub fn run(args: &ReportArgs, console: &mut Console) -> Result<u8, Stop> {
    let path = named(Some(&args.output));
    if path.is_none() && !args.single {
        let why = "pages need a folder: name one, or add --single".to_owned();
        return Err(Stop::Refused(why));
    }
    let (disk, compiled) = compile(&args.input, "no pages", console)?;
    if compiled.blocks() {
        return Ok(1);
    }
    if path.is_none() {
        console.out().write_all(page::single(&compiled).as_bytes())?;
    } else if args.single {
        ours(&disk, &args.output)?;
        write(&disk, &args.output, page::single(&compiled).as_bytes())?;
    } else {
        create_folder(&args.output).map_err(Stop::Refused)?;
        // All files are checked before the first is written, so that a refusal changes nothing.
        for file in page::files() {
            ours(&disk, &args.output.join(file))?;
        }
        if compiled.model.strings.len() > page::MOST_LABELS {
            let most = page::MOST_LABELS;
            console.report(format!("tinsel: no labels: more than {most} strings\n").as_bytes());
        }
        for page in page::folder(&compiled) {
            write(&disk, &args.output.join(&page.file), page.text.as_bytes())?;
        }
    }
    Ok(status(&args.input, &compiled))
}

/// Bytes at the head of a page within which its mark stands.
const HEAD: usize = 4 * 1024;

/// Refuses to write a page over a file that is no page, known by the mark in its head.
fn ours(disk: &Disk, path: &Path) -> Result<(), Stop> {
    is_no_text(disk, path)?;
    let head = beginning(path, HEAD);
    let foreign = head.is_some_and(|head| !String::from_utf8_lossy(&head).contains(page::MARK));
    if foreign {
        return Err(Stop::Refused(format!(
            "{} is there and was not made by `tinsel report` (its head has no `{}`): name another folder or file, or move \
             it away first; nothing is written",
            shown(path),
            page::MARK,
        )));
    }
    Ok(())
}
