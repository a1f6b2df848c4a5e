//! `tinsel fit`: how full everything is, and where something more would go.

use super::check::{compiled, heard, name, open, status, tell, tell_all};
use super::console::{Console, Stop};
use super::{FitArgs, Input, formats};
use crate::survey::fit::{Addition, Fit};
use std::mem::ManuallyDrop;

/// Runs it.
pub fn run(args: &FitArgs, console: &mut Console) -> Result<u8, Stop> {
    let target = args.printed.target(&formats())?;
    let (disk, main) = open(&args.input)?;
    // The process ends behind this: its memory need not be given back piece by piece.
    let lock = disk.lock().map_err(Stop::Refused)?;
    let now = ManuallyDrop::new(compiled(&args.input, &disk, main.clone(), lock.clone()));
    tell_all(&now, "not known how full it is", console)?;
    if now.blocks() {
        return Ok(1);
    }
    let mut fit = Fit::of(&now.model, &now.plan);
    if !args.add.is_empty() {
        let asked = super::normal(&args.add.join(" "));
        let addition = Addition::read(&now.model, &asked).map_err(Stop::Refused)?;
        let mut more = main;
        more.bytes.extend_from_slice(addition.text.as_bytes());
        // Whatever is added, the lock would change: that is what is asked about.
        let input = Input {
            locked: false,
            ..args.input.clone()
        };
        let then = ManuallyDrop::new(compiled(&input, &disk, more, lock));
        if then.blocks() {
            let findings = heard(&then, console);
            tell(&then, &findings, console)?;
            let line = format!("{}: {} does not fit\n", name(&now), addition.words);
            console.tell(line.as_bytes());
            return Ok(1);
        }
        let changes = addition.changes((&now.model, &now.plan), (&then.model, &then.plan));
        fit.added = Some(changes);
    }
    target.print(fit.survey(), &now, console)?;
    Ok(status(&args.input, &now))
}
