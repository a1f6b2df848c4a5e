//! `tinsel diff`: what a build would change.

use super::DiffArgs;
use super::check::{self, name, open, relaid, show};
use super::console::{Console, Stop};
use super::disk;
use super::print::named;
use crate::Compiled;
use crate::diagnostic::{Diagnostic, Severity};
use crate::diff::{Changes, json, remap, text};
use crate::report;
use std::io::Write;
use std::mem::ManuallyDrop;

/// The exit status where something would change that people type, plug or know by name.
const CHANGES: u8 = 3;

/// Runs the command.
pub fn run(args: &DiffArgs, console: &mut Console) -> Result<u8, Stop> {
    if args.remap.is_some() && named(args.remap.as_deref()).is_none() {
        let why = "standard output has the changes: name a file for --remap".to_owned();
        return Err(Stop::Refused(why));
    }
    let (disk, main) = open(&args.input)?;
    let lock = match &args.against {
        None => disk.lock().map_err(Stop::Refused)?,
        Some(path) => {
            let name = disk::shown(path);
            let none = || Stop::Refused(format!("there is no lock {name}"));
            let lock = disk.lock_at(path, name.clone()).map_err(Stop::Refused)?;
            Some(lock.ok_or_else(none)?)
        }
    };
    let compiled = relaid((&args.input, &args.afresh), &disk, main, lock)?;
    // The process ends after this, so its memory need not be freed piece by piece.
    let compiled = ManuallyDrop::new(compiled);
    let findings = others(&compiled, console);
    show(&compiled, &findings, console)?;
    if compiled.blocks() {
        let line = format!(
            "{}: {}; nothing can be said about a build\n",
            name(&compiled),
            report::count(&findings)
        );
        console.report(line.as_bytes());
        return Ok(1);
    }
    let lock = compiled.lock.as_ref().map(|lock| &lock.lock);
    let changes = Changes::of(&compiled.model, &compiled.plan, lock);
    let changed = !changes.is_empty();
    let width = console.out_width();
    match args.format.as_str() {
        "json" => json::write(&changes, changed, console.out())?,
        _ if changed => text::write(&changes, width, console.out())?,
        _ if !compiled.lock_stands() => {
            writeln!(console.out(), "nothing moves; only the text of the lock would change")?;
        }
        _ => writeln!(console.out(), "a build would change nothing")?,
    }
    if let Some(path) = &args.remap {
        let Some(past) = compiled.plan.past.as_deref() else {
            let why = "there is no lock, so there is nothing to re-cut a show from";
            return Err(Stop::Refused(why.to_owned()));
        };
        let mut bytes = Vec::new();
        let slots = (past.universe_slots, compiled.plan.universe_slots);
        remap::write(&changes.runs, slots, &mut bytes)?;
        check::write(&disk, path, &bytes)?;
    }
    Ok(if changed { CHANGES } else { 0 })
}

/// The findings without the moves, which are the result here.
fn others(compiled: &Compiled, console: &Console) -> Vec<Diagnostic> {
    let findings = compiled.findings.iter().filter(|one| one.code != "lock/moved");
    findings.filter(|one| !(console.quiet && one.severity == Severity::Advice)).cloned().collect()
}
