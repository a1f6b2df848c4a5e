//! `tinsel parts`: the parts list.

use super::check::{compile, status};
use super::console::{Console, Stop};
use super::{PartsArgs, formats};
use crate::survey::parts;

/// Runs the command.
pub fn run(args: &PartsArgs, console: &mut Console) -> Result<u8, Stop> {
    let target = args.printed.target(&formats())?;
    let (disk, compiled) = compile(&args.input, "no parts list", console)?;
    if compiled.blocks() {
        return Ok(1);
    }
    let rows = parts::rows(&compiled.model, &compiled.plan);
    target.print(parts::survey(&rows), (&disk, &compiled), console)?;
    Ok(status(&args.input, &compiled))
}
