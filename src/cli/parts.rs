//! `tinsel parts`: what has to lie on the bench.

use super::PartsArgs;
use super::check::{status, told};
use super::console::{Console, Stop};
use crate::output::parts;

/// Runs it.
pub fn run(args: &PartsArgs, console: &mut Console) -> Result<u8, Stop> {
    let compiled = told(&args.input, "no parts list", console)?;
    if compiled.blocks() {
        return Ok(1);
    }
    let rows = parts::rows(&compiled.model, &compiled.plan);
    let width = console.out_width();
    parts::write(&rows, &args.format, width, console.out())?;
    Ok(status(&args.input, &compiled))
}
