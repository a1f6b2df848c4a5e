//! What a build would change, for programs.

use super::{Changes, OutputChange, Stretch};
use crate::model::StringId;
use crate::plan::Cause;
use serde::Serialize;
use std::io::{self, Write};

#[derive(Serialize)]
struct Whole<'a> {
    changes: bool,
    first: bool,
    moved_strings: usize,
    moved_slots: u64,
    at_most_fewer_slots: u64,
    controllers: Vec<BoxRow<'a>>,
    moved: Vec<MoveRow>,
    plugged: Vec<MoveRow>,
    longer: Vec<MoveRow>,
    new: Vec<StringRow>,
    freed: Vec<StringRow>,
    renamed: Vec<RenameRow<'a>>,
    hints: &'a [String],
}

#[derive(Serialize)]
struct BoxRow<'a> {
    name: &'a str,
    universes_before: Vec<Ends>,
    universes: Vec<Ends>,
    ports: Vec<PortRow>,
}

#[derive(Serialize)]
struct Ends {
    first: u64,
    last: u64,
}

#[derive(Serialize)]
struct PortRow {
    port: String,
    before: Option<Place>,
    now: Option<Place>,
}

#[derive(Serialize)]
struct Place {
    universe: u64,
    slot: u64,
    channel: u64,
    slots: u64,
}

#[derive(Serialize)]
struct StringRow {
    name: String,
    controller: String,
    port: String,
    #[serde(flatten)]
    place: Place,
}

#[derive(Serialize)]
struct MoveRow {
    name: String,
    before: Option<StringRow>,
    now: Option<StringRow>,
    cause: &'static str,
    reason: String,
}

#[derive(Serialize)]
struct RenameRow<'a> {
    old: &'a str,
    new: &'a str,
}

/// Writes it; `changed` says whether the lock would be another.
///
/// # Errors
/// What the writer says.
pub fn write(changes: &Changes<'_>, changed: bool, out: &mut dyn Write) -> io::Result<()> {
    let (strings, slots) = changes.moved_slots();
    let stayed = |ids: &[StringId], cause: &'static str| {
        let rows = ids.iter().map(|id| move_row(changes, *id, cause, ""));
        rows.collect::<Vec<_>>()
    };
    let moved = changes.moved.iter().flat_map(|group| {
        let strings = group.strings.iter();
        strings.map(|id| move_row(changes, *id, word(group.cause), &group.reason))
    });
    let freed = changes.past.iter().flat_map(|past| &past.freed);
    let whole = Whole {
        changes: changed,
        first: changes.past.is_none(),
        moved_strings: strings,
        moved_slots: slots,
        at_most_fewer_slots: changes.past.and_then(|past| past.off).unwrap_or(0),
        controllers: boxes(changes),
        moved: moved.collect(),
        plugged: (changes.plugged.iter())
            .map(|id| match changes.unplugged(*id) {
                Some((cause, reason)) => move_row(changes, *id, word(cause), &reason),
                None => move_row(changes, *id, "rewired", ""),
            })
            .collect(),
        longer: stayed(&changes.longer, "length"),
        new: changes
            .new
            .iter()
            .filter_map(|id| now(changes, *id))
            .collect(),
        freed: freed
            .map(|freed| StringRow {
                name: freed.name.to_string(),
                controller: freed.controller_name.to_string(),
                port: freed.was.output.name(),
                place: place(
                    changes.before(freed.was.start),
                    freed.was.start,
                    freed.was.slots,
                ),
            })
            .collect(),
        renamed: changes
            .renamed
            .iter()
            .map(|(old, new)| RenameRow { old, new })
            .collect(),
        hints: &changes.hints,
    };
    serde_json::to_writer_pretty(&mut *out, &whole)?;
    writeln!(out)
}

fn boxes<'a>(changes: &'a Changes<'_>) -> Vec<BoxRow<'a>> {
    let ends = |runs: &[(u64, u64)]| {
        let runs = runs.iter();
        runs.map(|(first, last)| Ends {
            first: *first,
            last: *last,
        })
        .collect()
    };
    let port = |one: &OutputChange| {
        let row = |stretch: Option<Stretch>, place_of: &dyn Fn(u64) -> (u64, u64)| {
            stretch.map(|one| place(place_of(one.start), one.start, one.slots))
        };
        PortRow {
            port: one.output.name(),
            before: row(one.before, &|channel| changes.before(channel)),
            now: row(one.now, &|channel| changes.now(channel)),
        }
    };
    let rows = changes.boxes.iter().map(|one| BoxRow {
        name: &one.name,
        universes_before: ends(&one.before),
        universes: ends(&one.now),
        ports: one.outputs.iter().map(port).collect(),
    });
    rows.collect()
}

/// Channels count from 1, as in the tables.
fn place((universe, slot): (u64, u64), channel: u64, slots: u64) -> Place {
    Place {
        universe,
        slot,
        channel: channel.saturating_add(1),
        slots,
    }
}

fn now(changes: &Changes<'_>, id: StringId) -> Option<StringRow> {
    let placed = changes.plan.of(id)?;
    let (controller, output) = changes.output(id)?;
    Some(StringRow {
        name: changes.model.name_of(id),
        controller: changes.model.controller(controller)?.name.to_string(),
        port: output.name(),
        place: place(
            changes.now(placed.start),
            placed.start,
            placed.end.saturating_sub(placed.start) + 1,
        ),
    })
}

fn move_row(changes: &Changes<'_>, id: StringId, cause: &'static str, reason: &str) -> MoveRow {
    let was = changes.past.and_then(|past| past.of(id));
    let before = was.map(|was| StringRow {
        name: changes.model.name_of(id),
        controller: was
            .controller
            .and_then(|id| changes.model.controller(id))
            .map_or_else(String::new, |controller| controller.name.to_string()),
        port: was.output.name(),
        place: place(changes.before(was.start), was.start, was.slots),
    });
    MoveRow {
        name: changes.model.name_of(id),
        before,
        now: now(changes, id),
        cause,
        reason: reason.to_owned(),
    }
}

/// The word of a cause.
fn word(cause: Cause) -> &'static str {
    match cause {
        Cause::UniverseSize(_) => "universe-size",
        Cause::Pinned(_) => "pinned",
        Cause::Rewired => "rewired",
        Cause::Replaced(_) => "replaced",
        Cause::Shared(_) => "shared",
        Cause::Before(_) => "before",
        Cause::NoRoom(..) => "no-room",
        Cause::GaveWay(..) => "gave-way",
        Cause::MadeRoom(_) => "made-room",
        Cause::Taken(_) => "taken",
        Cause::Outside => "outside",
        Cause::Align => "align",
        Cause::Compact => "compact",
    }
}
