//! `tinsel report`: the display as pages for people.

use super::ReportArgs;
use super::check::{heard, load, name, status, tell};
use super::console::{Console, Stop};
use super::disk::{make_folder, write_whole};
use crate::page;
use crate::report;
use std::mem::ManuallyDrop;

/// Runs it.
pub fn run(args: &ReportArgs, console: &mut Console) -> Result<u8, Stop> {
    // The process ends behind this: its memory need not be given back piece by piece.
    let compiled = ManuallyDrop::new(load(&args.input)?);
    let findings = heard(&compiled, console);
    tell(&compiled, &findings, console)?;
    let blocked = compiled.blocks();
    if !console.quiet && !findings.is_empty() {
        let no_pages = if blocked { "; no pages" } else { "" };
        let line = format!(
            "{}: {}{no_pages}\n",
            name(&compiled),
            report::count(&findings)
        );
        console.tell(line.as_bytes());
    }
    if blocked {
        return Ok(1);
    }
    if args.single {
        write_whole(&args.output, page::single(&compiled).as_bytes()).map_err(Stop::Refused)?;
    } else {
        make_folder(&args.output).map_err(Stop::Refused)?;
        for page in page::folder(&compiled) {
            write_whole(&args.output.join(&page.file), page.text.as_bytes())
                .map_err(Stop::Refused)?;
        }
    }
    Ok(status(&args.input, &compiled))
}
