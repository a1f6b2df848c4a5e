//! `tinsel import`: a table of props becomes a display file.

use super::ImportArgs;
use super::check::{heard, show};
use super::console::{Console, Stop};
use super::disk::{self, Disk, LOCK, write_whole};
use super::print::named;
use crate::diagnostic::words;
use crate::import::{Grade, Import, Reading, given, import_all};
use crate::protocol::UniverseSlots;
use crate::source::{Loaded, MOST_FILE_BYTES};
use crate::{report, unit};
use std::io::Write;
use std::path::Path;

/// At most this many notes are printed; of the rest there is a count.
const MOST_NOTES: usize = 100;

/// Runs the command. The display that the table becomes is compiled, so that its errors are
/// reported at once.
pub fn run(args: &ImportArgs, console: &mut Console) -> Result<u8, Stop> {
    let output = named(args.output.as_deref());
    if let Some(path) = output {
        if path.symlink_metadata().is_ok() {
            return Err(Stop::Refused(format!(
                "{} is there already: name another file, or move it away first",
                words::shown(&path.to_string_lossy())
            )));
        }
        no_lock_beside(path)?;
    }
    let columns = args.column.iter().map(|text| given(text));
    let reading = Reading {
        nodes_per_string: args.nodes_per_string,
        columns: columns.collect::<Result<_, _>>().map_err(Stop::Refused)?,
        sheets: args.sheet.clone(),
        universe_slots: args.universe_slots.and_then(UniverseSlots::new),
        display: output.map(|path| path.to_string_lossy().into_owned()),
    };
    let tables: Vec<Loaded> = args.files.iter().map(|file| read(file)).collect::<Result<_, _>>()?;
    let all: Vec<(&str, &[u8])> =
        tables.iter().map(|table| (table.name.as_str(), table.bytes.as_slice())).collect();
    let names: Vec<String> = tables.iter().map(|table| words::shown(&table.name)).collect();
    let name = names.join(", ");
    let import = import_all(&all, &reading)
        .map_err(|why| Stop::Refused(format!("can't import {name}: {why}")))?;
    let lost = notes((&name, names.len() > 1), output, &import, console);
    let broken = compiled(output, &import, console)?;
    match output {
        None => {
            console.out().write_all(import.text.as_bytes())?;
            if import.lock.is_some() && !console.quiet {
                let what =
                    "its addresses are kept in a lock, which -o PATH writes beside the display";
                console.report(format!("{name}: {what}\n").as_bytes());
            }
        }
        Some(path) => write_both(path, &import)?,
    }
    Ok(u8::from(lost || broken))
}

/// Writes the display and its lock, or neither.
fn write_both(path: &Path, import: &Import) -> Result<(), Stop> {
    write_whole(path, import.text.as_bytes()).map_err(Stop::Refused)?;
    let Some(lock) = &import.lock else {
        return Ok(());
    };
    write_whole(&path.with_extension(LOCK), lock.as_bytes()).map_err(|why| {
        disk::take_back(path);
        Stop::Refused(why)
    })?;
    Ok(())
}

/// Refuses to write a display beside a lock. The lock is another display's: the next build would
/// take over its addresses and overwrite it.
fn no_lock_beside(path: &Path) -> Result<(), Stop> {
    let lock = path.with_extension(LOCK);
    if lock.symlink_metadata().is_err() {
        return Ok(());
    }
    let shown = |path: &Path| words::shown(&path.to_string_lossy());
    Err(Stop::Refused(format!(
        "{} is the lock of another display, and {} would take its addresses and write over it: name another file, or \
         move the lock away first",
        shown(&lock),
        shown(path),
    )))
}

/// Reads a table.
fn read(file: &Path) -> Result<Loaded, Stop> {
    let loaded = if file == Path::new("-") {
        Disk::from_stdin(Path::new("<stdin>"))
    } else {
        Disk::open(file)
    };
    let (_, table) = loaded.map_err(Stop::Refused)?;
    if table.bytes.len() > MOST_FILE_BYTES {
        let name = words::shown(&table.name);
        return Err(Stop::Refused(format!(
            "can't import {name}: it has more than {} MiB",
            MOST_FILE_BYTES / (1024 * 1024)
        )));
    }
    Ok(table)
}

/// Reports what was not understood and how much was imported; returns whether anything is in doubt.
fn notes(
    (name, several): (&str, bool),
    output: Option<&Path>,
    import: &Import,
    console: &Console,
) -> bool {
    let heard = |grade: Grade| !(console.quiet && grade == Grade::Noted);
    let notes: Vec<_> = import.notes.iter().filter(|note| heard(note.grade)).collect();
    let mut text = String::new();
    for note in notes.iter().take(MOST_NOTES) {
        // With several files, the place of a note names its file.
        let own = several && !note.place.is_empty();
        let before = if own { String::new() } else { format!("{name}: ") };
        text.push_str(&format!("{before}{note}\n"));
    }
    if notes.len() > MOST_NOTES {
        let rest = || notes.iter().skip(MOST_NOTES);
        let doubts = rest().filter(|note| note.is_doubt()).count();
        let display = output
            .map_or_else(|| "the display".to_owned(), |path| words::shown(&path.to_string_lossy()));
        text.push_str(&format!(
            "{name}: and {} more, {doubts} of them not understood or in doubt; in {display} each of those has a comment \
             that begins with `in doubt`\n",
            rest().count()
        ));
    }
    let lost = import.notes.iter().filter(|note| note.is_doubt()).count();
    if !console.quiet {
        let lock = if import.lock.is_some() { " and a lock" } else { "" };
        text.push_str(&format!(
            "{name}: {} became {}{lock}; {} not understood or in doubt\n",
            unit::counted(import.rows, "row"),
            unit::counted(import.props, "prop"),
            unit::counted(lost, "thing"),
        ));
    }
    console.report(text.as_bytes());
    lost > 0
}

/// Reports the findings of the imported display; returns whether there are errors.
fn compiled(output: Option<&Path>, import: &Import, console: &Console) -> Result<bool, Stop> {
    let shown = output
        .map_or_else(|| "<imported>".to_owned(), |path| words::shown(&path.to_string_lossy()));
    let compiled = &import.compiled;
    let findings = heard(compiled, console);
    show(compiled, &findings, console)?;
    if compiled.has_errors() {
        console.report(format!("{shown}: {}\n", report::count(&findings)).as_bytes());
    }
    Ok(compiled.has_errors())
}
