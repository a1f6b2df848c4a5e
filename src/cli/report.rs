//! `tinsel report`: the display as pages for people.

use super::ReportArgs;
use super::check::{is_no_text, status, told, write};
use super::console::{Console, Stop};
use super::disk::{beginning, make_folder, shown};
use crate::Compiled;
use crate::page;
use std::path::Path;

/// Runs the command.
pub fn run(args: &ReportArgs, console: &mut Console) -> Result<u8, Stop> {
    let compiled = told(&args.input, "no pages", console)?;
    if compiled.blocks() {
        return Ok(1);
    }
    if args.single {
        ours(&compiled, &args.output)?;
        write(&compiled, &args.output, page::single(&compiled).as_bytes())?;
    } else {
        make_folder(&args.output).map_err(Stop::Refused)?;
        // All files are checked before the first is written, so that a refusal changes nothing.
        for file in page::files() {
            ours(&compiled, &args.output.join(file))?;
        }
        if compiled.model.strings.len() > page::MOST_LABELS {
            let most = page::MOST_LABELS;
            console.tell(format!("tinsel: no labels: more than {most} strings\n").as_bytes());
        }
        for page in page::folder(&compiled) {
            write(&compiled, &args.output.join(&page.file), page.text.as_bytes())?;
        }
    }
    Ok(status(&args.input, &compiled))
}

/// Bytes at the head of a page within which its mark stands.
const HEAD: usize = 4 * 1024;

/// Refuses to write a page over a file that is no page, known by the mark in its head.
fn ours(compiled: &Compiled, path: &Path) -> Result<(), Stop> {
    is_no_text(compiled, path)?;
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
