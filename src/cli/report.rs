//! `tinsel report`: the display as pages for people.

use super::ReportArgs;
use super::check::{status, told, write};
use super::console::{Console, Stop};
use super::disk::make_folder;
use crate::page;

/// Runs it.
pub fn run(args: &ReportArgs, console: &mut Console) -> Result<u8, Stop> {
    let compiled = told(&args.input, "no pages", console)?;
    if compiled.blocks() {
        return Ok(1);
    }
    if args.single {
        write(&compiled, &args.output, page::single(&compiled).as_bytes())?;
    } else {
        make_folder(&args.output).map_err(Stop::Refused)?;
        for page in page::folder(&compiled) {
            write(
                &compiled,
                &args.output.join(&page.file),
                page.text.as_bytes(),
            )?;
        }
    }
    Ok(status(&args.input, &compiled))
}
