//! What a build would change, for programs.

use super::Changes;
use crate::model::{Output, StringId};
use crate::plan::Cause;
use serde::Serialize;
use serde_json::Value;
use std::io::{self, Write};

#[derive(Serialize)]
struct Whole<'a> {
    changes: bool,
    first: bool,
    moved_strings: usize,
    moved_slots: u64,
    at_most_fewer_slots: u64,
    retype: Vec<RetypeRow<'a>>,
    dials: Vec<DialRow<'a>>,
    props: Vec<PropRow<'a>>,
    moved: Vec<MoveRow>,
    plugged: Vec<MoveRow>,
    new: Vec<StringRow>,
    freed: Vec<StringRow>,
    renamed: Vec<RenameRow<'a>>,
    not_carried: Vec<LostRow<'a>>,
    hints: &'a [String],
}

/// A field of the controller as a whole where `port` is null. `row` counts the parts of a port that
/// are not set up alike; where there are several, `string` is the first string of the part.
#[derive(Serialize)]
struct RetypeRow<'a> {
    controller: &'a str,
    port: Option<String>,
    field: &'static str,
    old: Option<Value>,
    new: Option<Value>,
    row: Option<u32>,
    string: Option<&'a str>,
}

#[derive(Serialize)]
struct DialRow<'a> {
    fixture: &'a str,
    old: Option<u32>,
    new: u32,
}

#[derive(Serialize)]
struct PropRow<'a> {
    prop: &'a str,
    field: &'static str,
    old: Option<Value>,
    new: Option<Value>,
}

#[derive(Serialize)]
struct LostRow<'a> {
    string: String,
    why: &'a str,
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

/// Writes the changes; `changed` says whether a build would change the lock.
///
/// # Errors
/// Any error of the writer.
pub fn write(changes: &Changes<'_>, changed: bool, out: &mut dyn Write) -> io::Result<()> {
    let (strings, slots) = changes.moved_slots();
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
        retype: changes.retype.iter().map(retype).collect(),
        dials: (changes.dials.iter())
            .map(|one| DialRow { fixture: &one.fixture, old: one.old, new: one.new })
            .collect(),
        props: (changes.props.iter())
            .map(|one| PropRow {
                prop: &one.prop,
                field: one.field,
                old: value(one.field, one.old.as_deref()),
                new: value(one.field, one.new.as_deref()),
            })
            .collect(),
        moved: moved.collect(),
        plugged: (changes.plugged.iter())
            .map(|id| match changes.unplugged(*id) {
                Some((cause, reason)) => move_row(changes, *id, word(cause), &reason),
                None => move_row(changes, *id, "rewired", ""),
            })
            .collect(),
        new: changes.new.iter().filter_map(|id| now(changes, *id)).collect(),
        freed: freed
            .map(|freed| StringRow {
                name: freed.name.to_string(),
                controller: freed.controller_name.to_string(),
                port: freed.was.output.name(),
                place: place(changes.before(freed.was.start), freed.was.start, freed.was.slots),
            })
            .collect(),
        renamed: changes.renamed.iter().map(|(old, new)| RenameRow { old, new }).collect(),
        not_carried: (changes.lost.iter())
            .map(|(id, why)| LostRow { string: changes.model.name_of(*id), why })
            .collect(),
        hints: &changes.hints,
    };
    serde_json::to_writer_pretty(&mut *out, &whole)?;
    writeln!(out)
}

fn retype(one: &super::Retype) -> RetypeRow<'_> {
    let field = one.field.key();
    RetypeRow {
        controller: &one.controller,
        port: one.place.0.map(Output::name),
        field,
        old: value(field, one.old.as_deref()),
        new: value(field, one.new.as_deref()),
        row: one.place.0.map(|_| one.place.1),
        string: one.string.as_deref(),
    }
}

/// The value of a field: a number, a Boolean or a text.
fn value(field: &str, value: Option<&str>) -> Option<Value> {
    let value = value?;
    let number = || value.parse::<u64>().ok().filter(|_| field != "host" && field != "name");
    Some(match (field, value) {
        ("whole_nodes", _) => Value::Bool(value == "yes"),
        _ => number().map_or_else(|| Value::from(value), Value::from),
    })
}

/// Channels count from 1, as in the tables.
fn place((universe, slot): (u64, u64), channel: u64, slots: u64) -> Place {
    Place { universe, slot, channel: channel.saturating_add(1), slots }
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
        Cause::Shifted(_) => "shifted",
        Cause::Outside => "outside",
        Cause::Align => "align",
        Cause::Compact => "compact",
    }
}
