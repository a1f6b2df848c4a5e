//! `tinsel build`: compiles around the lock, and writes the lock and the tables.

use super::check::{compiled, heard, name, open, relaid, show, status};
use super::console::{Console, Stop};
use super::disk::{self, Disk, Guard};
use super::print::named;
use super::{BuildArgs, Input};
use crate::Compiled;
use crate::diagnostic::words::shown;
use crate::diff::{Changes, text};
use crate::lock::Relay;
use crate::model::StringId;
use crate::output;
use crate::plan::Was;
use crate::report;
use crate::source::Loaded;
use crate::survey::{BY, View};
use crate::usage;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// At most this many strings of a kind are listed.
const MOST_LISTED: usize = 12;

/// Runs the command.
pub fn run(args: &BuildArgs, console: &mut Console) -> Result<u8, Stop> {
    if args.out.is_some() && named(args.out.as_deref()).is_none() {
        let why = "tables need a folder: name one for --out".to_owned();
        return Err(Stop::Refused(why));
    }
    let (disk, main) = open(&args.input)?;
    let Some(lock) = disk.lock_path() else {
        let why = "what comes from standard input needs a name for its lock: give --stdin-filename";
        return Err(Stop::Refused(why.to_owned()));
    };
    let say = |words: &str| console.report(format!("tinsel: {words}\n").as_bytes());
    let _guard = Guard::take(disk.root(), &say);
    let tables = tables(args, &disk)?;
    let before = disk.lock().map_err(Stop::Refused)?;
    let lost = before.is_none() && !args.new_lock;
    let compiled = match before {
        Some(before) if args.new_lock => afresh(&args.input, &disk, main, before)?,
        before => relaid((&args.input, &args.afresh), &disk, main, before)?,
    };
    for table in &tables {
        may_write(&disk, lock, &table.path, lost)?;
    }
    let findings = heard(&compiled, console);
    show(&compiled, &findings, console)?;
    let blocked = compiled.blocks();
    if !console.quiet && !findings.is_empty() {
        let nothing = if blocked { "; nothing is written" } else { "" };
        let line = format!("{}: {}{nothing}\n", name(&compiled), report::count(&findings));
        console.report(line.as_bytes());
    }
    if blocked {
        return Ok(1);
    }
    if args.afresh.relay() != Relay::Nothing {
        // Before anything is written, print what it costs.
        let lock = compiled.lock.as_ref().map(|lock| &lock.lock);
        let changes = Changes::of(&compiled.model, &compiled.plan, lock);
        let width = console.out_width();
        text::write(&changes, width, console.out())?;
    }
    let written = write_tables(args, &compiled, &tables)?;
    // The lock comes last: if this build is cut short before, the next one does the same again.
    disk::tidy(lock);
    let next = compiled.next_lock();
    let same = compiled.lock.as_ref().is_some_and(|lock| lock.is(&next));
    let wrote = !same && disk::write_whole(lock, next.as_bytes()).map_err(Stop::Refused)?;
    if !console.quiet {
        let out = console.out();
        plan(&compiled, out)?;
        let as_it_was = if wrote { "written" } else { "as it was" };
        writeln!(out, "{}: {as_it_was}", disk.lock_name())?;
        if let Some(folder) = &args.out {
            let as_they_were = match written {
                0 => "as they were".to_owned(),
                new if new == tables.len() => "written".to_owned(),
                new => format!("{new} of them written"),
            };
            let folder = disk::shown(folder);
            writeln!(out, "{folder}: {} tables, {as_they_were}", tables.len())?;
        }
    }
    Ok(status(&args.input, &compiled))
}

/// A table that is to be written.
struct TableFile {
    path: PathBuf,
    write: output::Write,
    /// The word of the table; `None` for all tables.
    by: Option<&'static str>,
}

/// Writes the tables; returns how many of them changed.
fn write_tables(
    args: &BuildArgs,
    compiled: &Compiled,
    tables: &[TableFile],
) -> Result<usize, Stop> {
    let (Some(out), Some(first)) = (&args.out, tables.first()) else {
        return Ok(0);
    };
    disk::create_folder(out).map_err(Stop::Refused)?;
    disk::tidy(&first.path);
    let view = View::new(&compiled.model, &compiled.plan);
    let mut written = 0;
    for table in tables {
        let mut bytes = Vec::new();
        (table.write)(&view.survey(table.by), 0, &mut bytes)?;
        let wrote = disk::write_whole(&table.path, &bytes).map_err(Stop::Refused)?;
        written += usize::from(wrote);
    }
    Ok(written)
}

/// The tables that were asked for, and their files: `yard-strings.csv`, …, and all in `yard.json`.
fn tables(args: &BuildArgs, disk: &Disk) -> Result<Vec<TableFile>, Stop> {
    let (Some(folder), Some(lock)) = (&args.out, disk.lock_path()) else {
        return Ok(Vec::new());
    };
    let named = |ending: &str| {
        let mut name = lock.file_stem().unwrap_or_default().to_owned();
        name.push(ending);
        folder.join(name)
    };
    let mut tables = Vec::new();
    if let Some(write) = output::find("csv") {
        tables.extend(BY.iter().map(|(by, _)| {
            let path = named(&format!("-{by}s.csv"));
            TableFile { path, write, by: Some(*by) }
        }));
    }
    if let Some(write) = output::find("json") {
        tables.push(TableFile { path: named(".json"), write, by: None });
    }
    Ok(tables)
}

/// Refuses to write a table over a text that was read or its lock, or over an older table while the
/// lock is `lost`.
fn may_write(disk: &Disk, lock: &Path, table: &Path, lost: bool) -> Result<(), Stop> {
    let name = disk::shown(table);
    let why = if disk.has_read(table) || disk::same_file(lock, table) {
        format!(
            "{name} is a source of this display or its lock, and a table would be written over it"
        )
    } else if lost && table.exists() {
        format!(
            "{name} was built before, but {} is not there, and without it every address may change; bring it back, or start \
             a new one with --new-lock",
            disk.lock_name(),
        )
    } else {
        return Ok(());
    };
    Err(Stop::Refused(why))
}

/// Compiles without the lock that is there. This is allowed only where the lock can't be read.
fn afresh(input: &Input, disk: &Disk, main: Loaded, before: Loaded) -> Result<Compiled, Stop> {
    let around = compiled(input, disk, main.clone(), Some(before));
    if around.lock.is_some() {
        return Err(Stop::Refused(format!(
            "{} is there and can be read: --new-lock would throw away where everything lies; --compact lays it out afresh and \
             shows what that costs",
            disk.lock_name(),
        )));
    }
    Ok(compiled(input, disk, main, None))
}

/// Writes which strings are kept, new, moved and freed.
fn plan(compiled: &Compiled, out: &mut impl Write) -> io::Result<()> {
    let (model, plan) = (&compiled.model, &compiled.plan);
    let (Some(changes), Some(past)) = (usage::changes(plan), &plan.past) else {
        let new = plan.placed.iter().flatten().count();
        return writeln!(out, "plan: {new} new, the first lock");
    };
    writeln!(
        out,
        "plan: {} kept, {} new, {} moved, {} freed",
        changes.kept.len(),
        changes.new.len(),
        changes.moved.len(),
        past.freed.len(),
    )?;
    let was = |was: &Was, controller: &str| {
        let place = |channel: u64| past.universe_slots.place(channel);
        let (first, last) = (place(was.start), place(was.end() - 1));
        let port = match was.controller {
            Some(id) => usage::old_plug(model, id, was.output),
            None => format!("{}.{}", shown(controller), was.output.name()),
        };
        format!("{first} to {last} on {port}")
    };
    let now = |id: &StringId| {
        let placed = plan.of(*id)?;
        let stretch = usage::stretch_name(model, placed.start, placed.end);
        Some(format!("{stretch} on {}", usage::plug_of(model, plan, *id)))
    };
    let name = |id: &StringId| model.name_of(*id);
    let moved = changes.moved.iter().map(|id| {
        let before = past.of(*id).map(|old| {
            let lock = compiled.lock.as_ref().map(|lock| &lock.lock);
            let row = lock.and_then(|lock| lock.rows.get(old.row));
            was(old, row.map_or("", |row| &row.controller))
        });
        let place = format!("{} -> {}", before.unwrap_or_default(), now(id).unwrap_or_default());
        (name(id), place)
    });
    listed("moved", moved, out)?;
    let new = changes.new.iter().map(|id| (name(id), now(id).unwrap_or_default()));
    listed("new", new, out)?;
    let freed = past.freed.iter();
    let freed = freed.map(|row| (row.name.to_string(), was(&row.was, &row.controller_name)));
    listed("freed", freed, out)
}

fn listed(
    what: &str,
    rows: impl ExactSizeIterator<Item = (String, String)>,
    out: &mut impl Write,
) -> io::Result<()> {
    let more = rows.len().saturating_sub(MOST_LISTED);
    for (name, place) in rows.take(MOST_LISTED) {
        writeln!(out, "  {what:5}  {}: {place}", shown(&name))?;
    }
    if more > 0 {
        writeln!(out, "  {what:5}  and {more} more")?;
    }
    Ok(())
}
