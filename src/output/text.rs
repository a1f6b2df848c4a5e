//! One table for a person: columns that fit 100 characters, numbers to the right, controllers apart.
//!
//! Rows are made twice, once to measure and once to print, so that no table is held in memory. A name that
//! is too long for its column, and remarks that don't fit behind a row, get a line of their own.

use super::row::{ControllerRow, PortRow, StringRow, UniverseRow};
use super::{By, Output, View};
use crate::diagnostic::words;
use crate::protocol::USUAL_PRIORITY;
use crate::unit::{self, Dimension};
use std::io::{self, Write};
use unicode_width::UnicodeWidthStr;

/// The format.
pub struct Text;

impl Output for Text {
    fn name(&self) -> &'static str {
        "text"
    }

    fn write(&self, view: &View<'_>, by: By, width: usize, out: &mut dyn Write) -> io::Result<()> {
        summary(view, width, out)?;
        let slots = view.display().universe_slots;
        match by {
            By::String => print(STRINGS, || view.strings().map(string), width, out),
            By::Port => print(PORTS, || view.ports().map(port), width, out),
            By::Universe => print(UNIVERSES, || view.universes().map(universe), width, out),
            By::Controller => print(
                CONTROLLERS,
                || view.controllers().map(|row| controller(row, slots)),
                width,
                out,
            ),
        }
    }
}

/// A column: its heading, and whether it holds numbers.
pub(super) type Column = (&'static str, bool);

const STRINGS: &[Column] = &[
    ("prop", false),
    ("port", false),
    ("pos", true),
    ("nodes", true),
    ("start", true),
    ("end", true),
    ("channels", true),
];

const PORTS: &[Column] = &[
    ("port", false),
    ("strings", true),
    ("nodes", true),
    ("skipped", true),
    ("limit", true),
    ("left", true),
    ("start", true),
    ("end", true),
    ("channels", true),
];

const UNIVERSES: &[Column] = &[
    ("universe", true),
    ("controller", false),
    ("used", true),
    ("free", true),
    ("sent to", false),
];

const CONTROLLERS: &[Column] = &[
    ("controller", false),
    ("host", false),
    ("input", false),
    ("ports", true),
    ("nodes", true),
    ("first", true),
    ("last", true),
    ("universes", true),
    ("Mbit/s", true),
];

/// A row: its cells, what is to be remarked, and the group it stands in (empty for none).
pub(super) struct Row<'a> {
    pub(super) cells: Vec<String>,
    pub(super) remark: String,
    pub(super) group: &'a str,
}

fn string(row: StringRow<'_>) -> Row<'_> {
    let mut remarks = Vec::new();
    if let Some(label) = row.label {
        remarks.push(format!("\"{}\"", words::shown(label)));
    }
    if let (Some(receiver), Some(port)) = (row.receiver, row.receiver_port) {
        remarks.push(format!("at {receiver}.{port}"));
    }
    if row.nodes.is_none() {
        remarks.push(unit::counted(row.slots, "slot"));
    }
    if row.skip_before > 0 {
        remarks.push(format!("skip {} before", row.skip_before));
    }
    if row.lead_before_mm.value > 0 {
        let length = i64::try_from(row.lead_before_mm.value).unwrap_or(i64::MAX);
        let length = unit::quantity(length, Dimension::Length);
        remarks.push(format!("lead {length} before"));
    }
    if let Some(other) = &row.same_as {
        remarks.push(format!("same as {other}"));
    }
    if row.stored {
        remarks.push("stored".to_owned());
    }
    Row {
        cells: vec![
            words::shown(&row.name),
            format!("{}.{}", row.controller, row.port.0.name()),
            row.position.to_string(),
            row.nodes.map_or_else(|| "-".to_owned(), |n| n.to_string()),
            format!("{}/{}", row.start.universe, row.start.slot),
            format!("{}/{}", row.end.universe, row.end.slot),
            format!("{} to {}", row.start.channel, row.end.channel),
        ],
        remark: remarks.join(", "),
        group: row.controller,
    }
}

fn port(row: PortRow<'_>) -> Row<'_> {
    let mut remarks: Vec<String> = row.receivers.iter().map(|r| format!("at {r}")).collect();
    if row.limit_in == "slots" && row.limit.is_some() {
        remarks.push("limit in slots".to_owned());
    }
    let figure = |value: Option<u32>| value.map_or_else(|| "-".to_owned(), |v| v.to_string());
    Row {
        cells: vec![
            format!("{}.{}", row.controller, row.port.0.name()),
            row.strings.to_string(),
            row.nodes.to_string(),
            row.skipped.to_string(),
            figure(row.limit),
            figure(row.left),
            format!("{}/{}", row.start.universe, row.start.slot),
            format!("{}/{}", row.end.universe, row.end.slot),
            format!("{} to {}", row.start.channel, row.end.channel),
        ],
        remark: remarks.join(", "),
        group: row.controller,
    }
}

fn universe(row: UniverseRow<'_>) -> Row<'_> {
    const NAMED: usize = 3;
    let more = row.strings.len().saturating_sub(NAMED);
    let mut names: Vec<String> = row.strings.into_iter().take(NAMED).collect();
    if more > 0 {
        names.push(format!("{more} more"));
    }
    let place = |address: &Option<String>, kind: Option<&str>, host: Option<&str>| match address {
        Some(address) => format!("{} {address}", kind.unwrap_or("")),
        None => host.map_or_else(|| "-".to_owned(), words::shown),
    };
    let mut whose = vec![row.controller.to_owned()];
    let mut places = vec![place(&row.address, row.address_kind, row.host)];
    for other in row.also.iter().take(NAMED - 1) {
        whose.push(other.controller.to_owned());
        // One multicast group serves all that listen.
        let there = place(&other.address, other.address_kind, other.host);
        if !places.contains(&there) {
            places.push(there);
        }
    }
    let others = row.also.len().saturating_sub(NAMED - 1);
    if others > 0 {
        whose.push(format!("{others} more"));
    }
    Row {
        cells: vec![
            row.universe.to_string(),
            words::list(&whose, "and"),
            row.used.to_string(),
            row.free.to_string(),
            words::list(&places, "and"),
        ],
        remark: words::list(&names, "and"),
        group: "",
    }
}

/// A controller; `slots` are those of a universe of the display.
fn controller(row: ControllerRow<'_>, slots: u32) -> Row<'_> {
    let figure = |value: Option<u32>| value.map_or_else(|| "-".to_owned(), |v| v.to_string());
    let mut remarks = Vec::new();
    if let Some(label) = row.label {
        remarks.push(format!("\"{}\"", words::shown(label)));
    }
    let kind = row.address_kind.unwrap_or("");
    match (&row.first_address, &row.last_address) {
        (Some(first), Some(last)) if first != last => {
            remarks.push(format!("{kind} {first} to {last}"));
        }
        (Some(first), _) => remarks.push(format!("{kind} {first}")),
        _ => {}
    }
    if let (Some(offset), Some(channel)) = (row.data_offset, row.data_from_channel) {
        remarks.push(format!("data offset {offset} is channel {channel}"));
    }
    if row.universe_slots != slots {
        remarks.push(format!("{} slots a universe", row.universe_slots));
    }
    if let Some(priority) = row.priority.filter(|one| *one != USUAL_PRIORITY) {
        remarks.push(format!("priority {priority}"));
    }
    if let Some(universe) = row.sync_universe {
        remarks.push(format!("sync universe {universe}"));
    }
    if row.spare_universes > 0 {
        let spare = unit::counted(i64::from(row.spare_universes), "universe");
        remarks.push(format!("{spare} spare"));
    }
    Row {
        cells: vec![
            row.name.to_owned(),
            row.host.map_or_else(|| "-".to_owned(), words::shown),
            row.input.to_owned(),
            format!("{}/{}", row.ports_used, row.ports),
            row.nodes.to_string(),
            figure(row.universes.first),
            figure(row.universes.last),
            row.universes.count.to_string(),
            row.mbit_per_s.words(),
        ],
        remark: remarks.join(", "),
        group: "",
    }
}

/// What the display is, in a line or two.
fn summary(view: &View<'_>, width: usize, out: &mut dyn Write) -> io::Result<()> {
    let display = view.display();
    let (mut strings, mut nodes, mut fixtures) = (0_i64, 0_i64, 0_i64);
    for row in view.strings() {
        match row.nodes {
            Some(count) => {
                strings += 1;
                nodes += i64::from(count);
            }
            None => fixtures += 1,
        }
    }
    let mut parts = vec![
        unit::counted(strings, "string"),
        unit::counted(nodes, "node"),
    ];
    if fixtures > 0 {
        parts.push(unit::counted(fixtures, "fixture"));
    }
    parts.push(format!("{} Hz", display.frame_rate_hz.words()));
    let slots = unit::counted(display.universe_slots, "slot");
    parts.push(format!("{slots} a universe"));
    let name = if display.name.is_empty() {
        String::new()
    } else {
        format!("{}: ", words::shown(display.name))
    };
    let line = format!("{name}{}", parts.join(", "));
    writeln!(out, "{}\n", crate::report::wrap(&line, "  ", width))
}

/// Blanks between two columns.
const GAP: usize = 2;

/// Prints a table; `rows` makes its rows anew each time it is asked.
pub(super) fn print<'a, R, I>(
    columns: &[Column],
    rows: R,
    width: usize,
    out: &mut dyn Write,
) -> io::Result<()>
where
    R: Fn() -> I,
    I: Iterator<Item = Row<'a>>,
{
    let mut widths: Vec<usize> = columns.iter().map(|(head, _)| head.width()).collect();
    let mut first_widest = widths.first().copied().unwrap_or(0);
    let mut remark = 0;
    let mut any = false;
    for row in rows() {
        any = true;
        for (at, cell) in row.cells.iter().enumerate() {
            if let Some(widest) = widths.get_mut(at) {
                *widest = cell.width().max(*widest);
            }
        }
        remark = row.remark.width().max(remark);
    }
    if !any {
        return writeln!(out, "nothing has an address here");
    }
    let others: usize = widths.iter().skip(1).map(|width| width + GAP).sum();
    if let Some(first) = widths.first_mut() {
        first_widest = (*first).min(width.saturating_sub(others).max(first_widest));
        *first = first_widest;
    }
    let behind = first_widest + others + GAP + remark <= width;
    let heads: Vec<String> = columns.iter().map(|(head, _)| (*head).to_owned()).collect();
    line(columns, &widths, &heads, "", out)?;
    let rule: Vec<String> = widths.iter().map(|width| "-".repeat(*width)).collect();
    line(columns, &widths, &rule, "", out)?;
    let mut group: Option<&str> = None;
    for row in rows() {
        if group.is_some_and(|group| group != row.group) {
            writeln!(out)?;
        }
        group = Some(row.group);
        line(
            columns,
            &widths,
            &row.cells,
            if behind { &row.remark } else { "" },
            out,
        )?;
        if !behind && !row.remark.is_empty() {
            let text = crate::report::wrap(&row.remark, "    ", width);
            writeln!(out, "    {text}")?;
        }
    }
    Ok(())
}

fn line(
    columns: &[Column],
    widths: &[usize],
    cells: &[String],
    remark: &str,
    out: &mut dyn Write,
) -> io::Result<()> {
    let mut text = String::new();
    for (at, ((cell, width), (_, number))) in cells.iter().zip(widths).zip(columns).enumerate() {
        let pad = width.saturating_sub(cell.width());
        if at == 0 && cell.width() > *width {
            writeln!(out, "{cell}")?;
            text.extend(std::iter::repeat_n(' ', *width));
            continue;
        }
        if at > 0 {
            text.extend(std::iter::repeat_n(' ', GAP));
        }
        if *number {
            text.extend(std::iter::repeat_n(' ', pad));
        }
        text.push_str(cell);
        if !*number {
            text.extend(std::iter::repeat_n(' ', pad));
        }
    }
    if !remark.is_empty() {
        text.extend(std::iter::repeat_n(' ', GAP));
        text.push_str(remark);
    }
    writeln!(out, "{}", text.trim_end())
}
