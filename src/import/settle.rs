//! Makes a display and a lock of what a table holds, so that a build changes neither.
//!
//! The display is compiled around the addresses of the table. Where one does not hold, its
//! controller gets `addressing per prop`; where it still does not, that is reported. The lock is
//! that of the last compile, and one more build checks it.

use super::found::{Found, SheetLine};
use super::places;
use super::write::{self, Style};
use super::{Grade, Import, Note, Reading};
use crate::diagnostic::Diagnostic;
use crate::format::layout;
use crate::lock::{Lock, LockRow};
use crate::model::{Addressing, StringId};
use crate::source::{Loaded, Memory};
use crate::{Compiled, compile_beside, lockfile};
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

/// Frames a second that are tried where a port has no time for the usual 40.
const RATES: [u64; 6] = [30, 25, 20, 15, 10, 5];
/// The display is written at most this many times.
const TRIES: usize = 8;

/// The display of a table, and its lock where it is `placed`: where strings have addresses.
pub fn settle(
    name: &str,
    mut found: Found,
    mut notes: Vec<Note>,
    placed: bool,
    reading: &Reading,
) -> Import {
    let display = reading.display.as_deref().unwrap_or("<imported>");
    let (mut rate, mut tried) = (None, 0);
    let (mut text, mut compiled, mut holds) = loop {
        notes.extend(overruled(&mut found));
        in_order(&found, &mut notes);
        let text = text(name, &found, &notes, rate);
        let (compiled, moved) = compiled((display, &text), &found, placed);
        tried += 1;
        let slow = too_slow(&found, &compiled, rate.unwrap_or(40));
        if let (false, Some(next)) = (slow.is_empty(), slower(&found, rate)) {
            // The controllers have driven all this so far, so a lower rate must do.
            let slow = slow.into_iter().filter(|_| rate.is_none());
            notes.extend(slow.map(|what| Note::of_table(what, Grade::Lost)));
            rate = Some(next);
            continue;
        }
        if own_starts(&mut found, &moved) && tried < TRIES {
            continue;
        }
        if moved.is_empty() {
            break (text, compiled, true);
        }
        for (name, (_, note)) in moved {
            let what = format!("the display lays `{name}` elsewhere; its address is not kept");
            notes.push(Note { what, ..note });
        }
        places::at_cells(&found, &mut notes);
        in_order(&found, &mut notes);
        break (self::text(name, &found, &notes, rate), compiled, false);
    };
    if now_at(&found, &compiled, &mut notes) {
        text = self::text(name, &found, &notes, rate);
        holds = false;
    }
    let mut lock = placed.then(|| compiled.next_lock());
    if let Some(lock) = &lock {
        compiled = match holds {
            true => compiled.rebuilt(loaded("imported.lock", lock)),
            false => around((display, &text), Some(lock)),
        };
    }
    let what = match (lock.is_some(), compiled.blocks(), compiled.lock_stands()) {
        (true, true, _) => {
            // A lock that its own build refuses is of no use.
            lock = None;
            "a build would refuse these addresses, so no lock is written: set right what is wrong below in the \
             table, and import it again"
        }
        (true, false, false) => "a build would still change the lock; `tinsel diff` shows what",
        _ => "",
    };
    if !what.is_empty() {
        notes.push(Note::of_table(what.to_owned(), Grade::Lost));
        in_order(&found, &mut notes);
        text = self::text(name, &found, &notes, rate);
        compiled = around((display, &text), lock.as_deref());
    }
    notes = folded(notes);
    let (rows, props, tables) = (found.rows, found.props.len(), found.places.len());
    Import { tables, text, lock, notes, rows, props, compiled }
}

/// Gives the controllers of moved strings `addressing per prop`. Returns whether one did not have
/// it.
fn own_starts(found: &mut Found, moved: &Moved) -> bool {
    let mut any = false;
    for at in moved.values().filter_map(|(controller, _)| *controller) {
        if let Some(board) = found.boxes.get_mut(at) {
            any |= !std::mem::replace(&mut board.per_prop, true);
        }
    }
    any
}

/// The notes on addressing that a sheet states and that `addressing per prop` overrides.
fn overruled(found: &mut Found) -> Vec<Note> {
    let boards = found.boxes.iter_mut().filter(|board| board.per_prop);
    let other = |(words, _): &mut (&str, Note)| *words != Addressing::PerProp.words();
    boards.filter_map(|board| Some(board.addressing.take_if(other)?.1)).collect()
}

/// Joins notes that lose nothing and say the same of several rows of a column.
fn folded(notes: Vec<Note>) -> Vec<Note> {
    let mut rows: BTreeMap<(String, String, String), BTreeSet<usize>> = BTreeMap::new();
    let key = |note: &Note| (note.place.clone(), note.column.clone(), note.what.clone());
    for note in notes.iter().filter(|note| note.grade == Grade::Noted) {
        rows.entry(key(note)).or_default().extend(note.row);
    }
    let mut all = Vec::with_capacity(notes.len());
    for mut note in notes {
        let several = |rows: &&mut BTreeSet<usize>| rows.len() != 1;
        let own = rows.get_mut(&key(&note)).filter(several);
        if let Some(own) = own.filter(|_| note.grade == Grade::Noted && note.row.is_some()) {
            // The first one stands for all.
            if own.is_empty() {
                continue;
            }
            let own: Vec<usize> = std::mem::take(own).into_iter().collect();
            (note.row, note.text) = (None, String::new());
            note.what = format!("row {}: {}", ranges(&own), note.what);
        }
        all.push(note);
    }
    all
}

/// Rising numbers; three neighbours or more are a range: `4-6, 8`.
pub(super) fn ranges(numbers: &[usize]) -> String {
    let runs = numbers.chunk_by(|one, next| *next == one + 1);
    let run = |run: &[usize]| match run {
        [first, .., last] if run.len() > 2 => format!("{first}-{last}"),
        run => run.iter().map(usize::to_string).collect::<Vec<_>>().join(", "),
    };
    runs.map(run).collect::<Vec<_>>().join(", ")
}

/// Adds to notes on lost addresses where the display lays the string. Returns whether there are
/// any.
fn now_at(found: &Found, compiled: &Compiled, notes: &mut [Note]) -> bool {
    let lost = |note: &&mut Note| note.line.is_some() && note.what.contains("is not kept");
    let mut lost = notes.iter_mut().filter(lost).peekable();
    if lost.peek().is_none() {
        return false;
    }
    let ids: BTreeMap<_, _> = named(compiled).collect();
    for note in lost {
        let name = note.line.map(|at| found.name(at));
        let id = name.and_then(|name| ids.get(&name));
        if let Some(laid) = id.and_then(|id| compiled.plan.of(*id)) {
            let at = found.universe_slots.place(laid.start);
            note.what.push_str(&format!("; the display lays it at {at}"));
        }
    }
    true
}

/// The strings of a display with their names.
fn named(compiled: &Compiled) -> impl Iterator<Item = (String, StringId)> {
    let ids = (0..compiled.model.strings.len()).map(StringId::from);
    ids.map(|id| (compiled.model.name_of(id), id))
}

/// Fills in missing places of notes and sorts them: the gravest first, then by place and row.
fn in_order(found: &Found, notes: &mut [Note]) {
    for note in notes.iter_mut().filter(|note| note.place.is_empty()) {
        let prop = note.prop.and_then(|prop| found.props.get(prop));
        if let Some(place) = prop.and_then(|prop| found.places.get(prop.table)) {
            note.place.clone_from(place);
        }
    }
    notes.sort_by(|a, b| {
        let key = |note: &Note| (Reverse(note.grade), note.row.is_some());
        key(a).cmp(&key(b)).then_with(|| a.place.cmp(&b.place)).then(a.row.cmp(&b.row))
    });
}

/// Which ports have no time at a frame rate, in words and with their rows.
fn too_slow(found: &Found, compiled: &Compiled, rate: u64) -> Vec<String> {
    let pixels = found.lines().filter(|(.., line)| line.make.is_some());
    let longest = pixels.map(|(.., line)| write::time_ns(found, line)).max();
    let slow = compiled.findings.iter().filter(|finding| match finding.code {
        "port/time" => true,
        // A single string takes longer than a frame.
        "place/no-room" => longest > Some(1_000_000_000 / rate),
        _ => false,
    });
    let slow: Vec<_> = slow.collect();
    let rows = if slow.is_empty() { BTreeMap::new() } else { rows(found) };
    let words = |finding: &&Diagnostic| {
        let named = finding.message.split('`').find_map(|name| rows.get(name));
        let rows = named.map_or_else(String::new, |rows| format!(" (row {})", rows.join(", ")));
        format!("{}{rows}; the display has fewer frames a second for it", finding.message)
    };
    slow.iter().map(words).collect()
}

fn text(name: &str, found: &Found, notes: &[Note], rate: Option<u64>) -> String {
    layout(&write::display(found, &Style { table: name, notes, rate }))
}

fn loaded(name: &str, text: &str) -> Loaded {
    Loaded { identity: name.to_owned(), name: name.to_owned(), bytes: text.as_bytes().to_vec() }
}

fn around((display, text): (&str, &str), lock: Option<&str>) -> Compiled {
    let lock = lock.map(|lock| loaded("imported.lock", lock));
    compile_beside(&Memory::default(), loaded(display, text), lock)
}

/// The rows of the strings on each port, by its name.
fn rows(found: &Found) -> BTreeMap<String, Vec<String>> {
    let mut rows: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (.., line) in found.lines() {
        let board = line.controller.and_then(|at| found.boxes.get(at));
        if let Some((board, output)) = board.zip(line.output) {
            let own = rows.entry(format!("{}.{}", board.name, output.name())).or_default();
            own.push(line.row.to_string());
            own.dedup();
        }
    }
    rows
}

/// The frame rate to try after one that is too high: the first lower one at which the port with the
/// most data has time, else the lowest.
fn slower(found: &Found, rate: Option<u64>) -> Option<u64> {
    let mut times: BTreeMap<_, u64> = BTreeMap::new();
    for (.., line) in found.lines().filter(|(.., line)| line.make.is_some() && !line.stored) {
        let port = line.controller.zip(line.output.map(|output| output.name()));
        let (own, open) = (write::time_ns(found, line), port.is_none());
        let time = times.entry(port).or_default();
        *time = if open { own.max(*time) } else { *time + own };
    }
    let most = times.into_values().max().unwrap_or(0);
    let lower = || RATES.into_iter().filter(|next| rate.is_none_or(|rate| *next < rate));
    lower().find(|next| most <= 1_000_000_000 / next).or_else(|| lower().next_back())
}

/// Strings that a display lays elsewhere than the table: by name, their controller, and a note
/// without its wording.
type Moved = BTreeMap<String, (Option<usize>, Note)>;

/// Compiles a display around the addresses of its table.
fn compiled(text: (&str, &str), found: &Found, placed: bool) -> (Compiled, Moved) {
    if !placed {
        return (around(text, None), Moved::new());
    }
    let claimed = |line: &SheetLine| line.start.is_some() && line.same_as.is_none();
    // Where the table names no output, the compiler's pick has to be known first.
    let open = |line: &SheetLine| line.controller.is_none() || line.output.is_none();
    let picked = found.lines().any(|(.., line)| claimed(line) && open(line));
    let first = picked.then(|| around(text, None));
    let ids: BTreeMap<_, _> = first.as_ref().map(named).into_iter().flatten().collect();
    let pick = |own: &str| {
        let (first, id) = (first.as_ref()?, ids.get(own)?);
        let port = first.plan.port_of(*id)?;
        Some((first.model.controller(port.controller)?.name.clone(), port.output))
    };
    let mut rows = Vec::new();
    for (at, line) in found.lines().filter(|(.., line)| claimed(line)) {
        let own = found.name(at);
        let board = line.controller.and_then(|at| found.boxes.get(at));
        let written =
            board.zip(line.output).map(|(board, output)| (board.name.as_str().into(), output));
        let (Some(start), Some((controller, output))) =
            (line.start, written.or_else(|| pick(&own)))
        else {
            continue;
        };
        rows.push(LockRow {
            name: own.into(),
            controller,
            output,
            start,
            slots: found.body(line).slots().max(1),
            made: None,
            stored: false,
            moved: None,
            at: crate::source::Span::default(),
        });
    }
    rows.sort_by(|a, b| a.name.cmp(&b.name));
    let lock = Lock { universe_slots: found.universe_slots, rows, ..Lock::default() };
    let lock = lockfile::write(&lock, &lockfile::Added::default());
    let second = around(text, Some(&lock));
    // The display has the strings of the table in its order.
    let mut ids = named(&second).peekable();
    let mut moved = Moved::new();
    for (at, line) in found.lines() {
        let own = found.name(at);
        let id = ids.next_if(|(name, _)| *name == own).map(|(_, id)| id);
        let now = id.and_then(|id| second.plan.of(id)).map(|placed| placed.start);
        if claimed(line) && now != line.start {
            let note = Note {
                row: Some(line.row),
                prop: Some(at.0),
                line: Some(at),
                ..Note::of_table(String::new(), Grade::Lost)
            };
            moved.insert(own, (line.controller.or(Some(0)), note));
        }
    }
    drop(ids);
    (second, moved)
}
