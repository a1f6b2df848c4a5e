//! `tinsel check`: reports everything that is wrong with a display. Also what commands share.

use super::console::{Console, Stop};
use super::disk::{self, Disk};
use super::{Afresh, CheckArgs, Input};
use crate::diagnostic::words::{did_you_mean, nearest, shown};
use crate::diagnostic::{Diagnostic, Severity};
use crate::lock::Relay;
use crate::model::Model;
use crate::report::{self, terminal};
use crate::source::{Loaded, SourceMap};
use crate::{Compiled, Reading, compile_beside, compile_read, compile_relaid};
use std::mem::ManuallyDrop;
use std::path::Path;

/// Runs the command.
pub fn run(args: &CheckArgs, console: &mut Console) -> Result<u8, Stop> {
    // The process ends after this, so its memory need not be freed piece by piece.
    let compiled = ManuallyDrop::new(load(&args.input)?.1);
    let findings = heard(&compiled, console);
    match report::ALL.iter().find(|(name, _)| *name == args.format) {
        Some((_, write)) => write(&compiled.sources, &findings, console.out())?,
        None => show(&compiled, &findings, console)?,
    }
    if !console.quiet && args.format == "text" {
        let line = format!("{}: {}\n", name(&compiled), report::count(&findings));
        console.report(line.as_bytes());
    }
    Ok(status(&args.input, &compiled))
}

/// Reads and compiles a display around the lock beside it.
///
/// # Errors
/// Why the main file or its lock can't be read.
pub fn load(input: &Input) -> Result<(Disk, Compiled), Stop> {
    let (disk, main) = open(input)?;
    let lock = disk.lock().map_err(Stop::Refused)?;
    let compiled = compiled(input, &disk, main, lock);
    Ok((disk, compiled))
}

/// Reads a display's main file.
///
/// # Errors
/// Why it can't be read.
pub fn open(input: &Input) -> Result<(Disk, Loaded), Stop> {
    let main = if input.file == Path::new("-") {
        Disk::from_stdin(&input.stdin_filename)
    } else {
        Disk::open(&input.file)
    };
    main.map_err(Stop::Refused)
}

/// Compiles a display around a lock, with `--all-wired` and `--locked` if they were given.
pub fn compiled(input: &Input, disk: &Disk, main: Loaded, lock: Option<Loaded>) -> Compiled {
    strictly(input, compile_beside(disk, main, lock))
}

/// The same, but `change` changes the model before anything is decided.
pub fn reread(
    input: &Input,
    disk: &Disk,
    main: Loaded,
    lock: Option<Loaded>,
    change: &dyn Fn(&mut Model),
) -> Compiled {
    let reading = Reading { change, ..Reading::of(disk) };
    let (sources, nothing) = (SourceMap::default(), Relay::Nothing);
    strictly(input, compile_read(sources, &reading, main, lock, (&nothing, None)))
}

/// The same, but what `--compact` or `--compact-only` names is laid out afresh.
///
/// # Errors
/// A controller that does not exist.
pub fn relaid(
    (input, afresh): (&Input, &Afresh),
    disk: &Disk,
    main: Loaded,
    lock: Option<Loaded>,
) -> Result<Compiled, Stop> {
    let relay = afresh.relay();
    let compiled = compile_relaid(disk, main, lock, &relay, afresh.side());
    let names = || compiled.model.controllers.iter().map(|one| &*one.name);
    let unknown = |name: &&String| !names().any(|other| other == name.as_str());
    if let Some(name) = relay.names().iter().find(unknown) {
        let near = did_you_mean(&nearest(name, names()));
        return Err(Stop::Refused(format!("there is no controller `{}`{near}", shown(name))));
    }
    Ok(strictly(input, compiled))
}

fn strictly(input: &Input, mut compiled: Compiled) -> Compiled {
    if input.all_wired {
        compiled.deny("wire/picked");
    }
    if input.locked {
        compiled.hold_to_lock();
    }
    compiled
}

/// Compiles a display for a command whose result comes from the plan, and reports the findings. The
/// caller must check [`Compiled::blocks`]; `nothing` says what is then missing.
///
/// # Errors
/// Why the main file can't be read.
pub fn compile(
    input: &Input,
    nothing: &str,
    console: &Console,
) -> Result<(Disk, ManuallyDrop<Compiled>), Stop> {
    let (disk, compiled) = load(input)?;
    // The process ends after this, so its memory need not be freed piece by piece.
    let compiled = ManuallyDrop::new(compiled);
    report_all(&compiled, nothing, console)?;
    Ok((disk, compiled))
}

/// Reports the findings of such a display.
pub fn report_all(compiled: &Compiled, nothing: &str, console: &Console) -> Result<(), Stop> {
    let findings = heard(compiled, console);
    show(compiled, &findings, console)?;
    if !console.quiet && !findings.is_empty() {
        let nothing = if compiled.blocks() { format!("; {nothing}") } else { String::new() };
        let line = format!("{}: {}{nothing}\n", name(compiled), report::count(&findings));
        console.report(line.as_bytes());
    }
    Ok(())
}

/// Writes a result whole, but never over what the display was read from.
///
/// # Errors
/// The path is one of these, or it can't be written.
pub fn write(disk: &Disk, path: &Path, bytes: &[u8]) -> Result<bool, Stop> {
    is_no_text(disk, path)?;
    disk::write_whole(path, bytes).map_err(Stop::Refused)
}

/// Refuses a path that leads to a text of the display or to its lock, which may not exist yet.
///
/// # Errors
/// That it does.
pub fn is_no_text(disk: &Disk, path: &Path) -> Result<(), Stop> {
    let lock = disk.lock_path().is_some_and(|lock| disk::same_file(lock, path));
    if lock || disk.has_read(path) {
        let name = disk::shown(path);
        return Err(Stop::Refused(format!(
            "{name} is what this display is read from, and would be written over: name another file"
        )));
    }
    Ok(())
}

/// The findings to be shown: with `--quiet`, without advice.
pub fn heard(compiled: &Compiled, console: &Console) -> Vec<Diagnostic> {
    let findings = compiled.findings.iter();
    findings
        .filter(|finding| !(console.quiet && finding.severity == Severity::Advice))
        .cloned()
        .collect()
}

/// Writes findings for a person to standard error.
pub fn show(compiled: &Compiled, findings: &[Diagnostic], console: &Console) -> Result<(), Stop> {
    let mut text = Vec::new();
    terminal::write(&compiled.sources, findings, console.err_look(), &mut text)?;
    console.report(&text);
    Ok(())
}

/// The main file's name as shown.
pub fn name(compiled: &Compiled) -> String {
    let main = compiled.sources.files().first();
    crate::diagnostic::words::shown(main.map_or("display", |file| &*file.name))
}

/// The exit status that the findings ask for.
pub fn status(input: &Input, compiled: &Compiled) -> u8 {
    let warned = input.deny_warnings && compiled.count(Severity::Warning) > 0;
    u8::from(compiled.has_errors() || warned)
}
