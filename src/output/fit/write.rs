//! How full a display is, in a format: text for a person, csv for a spreadsheet, JSON for a program.

use super::{Added, ControllerRow, Fit, PortRow};
use crate::diagnostic::words;
use crate::output::csv::Cells;
use crate::output::sheet::Sheet;
use crate::output::text::{self, Column, Row};
use crate::unit::counted;
use std::io::{self, Write};

/// The formats by name; the first is the default.
pub const FORMATS: [&str; 3] = ["text", "csv", "json"];

const CONTROLLERS: &[Column] = &[
    ("controller", false),
    ("ports", true),
    ("used", true),
    ("left", true),
    ("dmx left", true),
    ("nodes", true),
    ("nodes left", true),
    ("universes", true),
    ("more", true),
];

const PORTS: &[Column] = &[
    ("port", false),
    ("strings", true),
    ("used", true),
    ("limit", true),
    ("left", true),
    ("", false),
];

const STRINGS: &[Column] = &[
    ("string", false),
    ("port", false),
    ("pos", true),
    ("nodes", true),
    ("start", true),
    ("end", true),
];

const MOVES: &[Column] = &[
    ("string", false),
    ("port", false),
    ("to port", false),
    ("start", true),
    ("to", true),
];

/// Writes it in one of [`FORMATS`]; `width` is how many columns a person's terminal has.
///
/// # Errors
/// What the writer says.
pub fn write(fit: &Fit, format: &str, width: usize, out: &mut dyn Write) -> io::Result<()> {
    match format {
        "csv" => csv(fit, out),
        "json" => {
            serde_json::to_writer_pretty(&mut *out, fit)?;
            writeln!(out)
        }
        _ => person(fit, width, out),
    }
}

fn count(number: u64, one: &str) -> String {
    counted(i64::try_from(number).unwrap_or(i64::MAX), one)
}

/// A figure, or a dash where there is none.
fn maybe(number: Option<u64>) -> String {
    number.map_or_else(|| "-".to_owned(), |number| number.to_string())
}

fn person(fit: &Fit, width: usize, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "{}\n", crate::report::wrap(&summary(fit), "  ", width))?;
    if let Some(added) = &fit.added {
        return addition(added, width, out);
    }
    text::print(
        CONTROLLERS,
        || fit.controllers.iter().map(controller),
        width,
        out,
    )?;
    writeln!(out)?;
    text::print(PORTS, || fit.ports.iter().map(port), width, out)
}

/// What is used, and how good that is known to be.
fn summary(fit: &Fit) -> String {
    let found = &fit.found;
    let name = match fit.display.is_empty() {
        true => String::new(),
        false => format!("{}: ", words::shown(&fit.display)),
    };
    let mut parts = vec![format!("{} used", count(found.ports_used, "port"))];
    if let Some(least) = found.ports_at_least {
        if found.ports_used > least {
            let prefer = found.prefer;
            parts.push(format!("no fewer than {least} possible in any order"));
            parts.push(match found.finished {
                Some(true) => format!("the search with {prefer} first ended by itself"),
                _ => format!("the search with {prefer} first gave up when its steps ran out"),
            });
        } else {
            parts.push(format!("no fewer than {least} possible"));
        }
    }
    if let Some(more) = found.ports_for_neighbours.filter(|more| *more > 0) {
        let more = count(more, "port");
        parts.push(format!(
            "{more} more than `prefer fewest ports` to hang props side by side"
        ));
    }
    if let Some(not) = found.not_side_by_side.filter(|not| *not > 0) {
        parts.push(format!("{} not side by side", count(not, "prop")));
    }
    if let (Some(lead), Some(least)) = (found.lead_m, found.least_lead)
        && lead.value > 0
    {
        let no_less = if least {
            ", no less possible with these"
        } else {
            ""
        };
        parts.push(format!(
            "{} m of leads as the crow flies{no_less}",
            lead.words()
        ));
    }
    if let Some(apart) = found.apart.filter(|apart| *apart > 0) {
        parts.push(format!(
            "{} on more than one controller",
            count(apart, "prop")
        ));
    }
    parts.push(format!("{} Hz", fit.frame_rate_hz.words()));
    format!("{name}{}", parts.join(", "))
}

fn controller(row: &ControllerRow) -> Row<'_> {
    Row {
        cells: vec![
            words::shown(&row.controller),
            row.ports.to_string(),
            row.ports_used.to_string(),
            row.ports_left.to_string(),
            if row.dmx == 0 {
                "-".to_owned()
            } else {
                row.dmx_left.to_string()
            },
            row.nodes.to_string(),
            maybe(row.nodes_left),
            row.universes.to_string(),
            row.universes_left.to_string(),
        ],
        remark: String::new(),
        group: "",
    }
}

fn port(row: &PortRow) -> Row<'_> {
    let remark = match (row.state, row.unit) {
        (super::State::Used, "nodes") => "",
        (super::State::Used, unit) => unit,
        (state, _) => state.word(),
    };
    Row {
        cells: vec![
            format!("{}.{}", words::shown(&row.controller), row.port),
            row.strings.to_string(),
            row.used.to_string(),
            maybe(row.limit),
            maybe(row.left),
            remark.to_owned(),
        ],
        remark: String::new(),
        group: &row.controller,
    }
}

fn addition(added: &Added, width: usize, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "{} would go here:\n", words::shown(&added.what))?;
    let place = |point: &crate::output::row::Point| format!("{}/{}", point.universe, point.slot);
    let strings = || {
        added.strings.iter().map(|row| Row {
            cells: vec![
                words::shown(&row.string),
                row.port.clone(),
                row.position.to_string(),
                maybe(row.nodes.map(u64::from)),
                place(&row.start),
                place(&row.end),
            ],
            remark: String::new(),
            group: "",
        })
    };
    text::print(STRINGS, strings, width, out)?;
    if added.moves.is_empty() {
        return writeln!(out, "\nNothing else would move.");
    }
    let replugged = match added.replugged {
        0 => "none of them to another port".to_owned(),
        count => format!("{count} of them to another port"),
    };
    let moved = count(added.moves.len() as u64, "string");
    writeln!(out, "\n{moved} would move for it, {replugged}:\n")?;
    let moves = || {
        added.moves.iter().map(|row| Row {
            cells: vec![
                words::shown(&row.string),
                row.from_port.clone(),
                row.to_port.clone(),
                place(&row.from),
                place(&row.to),
            ],
            remark: String::new(),
            group: "",
        })
    };
    text::print(MOVES, moves, width, out)
}

/// Ports as they are; with an addition, its strings and those that would move.
fn csv(fit: &Fit, out: &mut dyn Write) -> io::Result<()> {
    let mut sheet = Cells::new(out);
    match &fit.added {
        Some(added) => csv_added(added, &mut sheet)?,
        None => csv_ports(fit, &mut sheet)?,
    }
    sheet.flush()
}

fn csv_ports(fit: &Fit, sheet: &mut dyn Sheet) -> io::Result<()> {
    sheet.head(&[
        "controller",
        "port",
        "state",
        "strings",
        "used",
        "limit",
        "left",
        "unit",
    ])?;
    let number = |sheet: &mut dyn Sheet, number: Option<u64>| match number {
        Some(number) => sheet.number(number),
        None => sheet.text(""),
    };
    for row in &fit.ports {
        sheet.text(&row.controller)?;
        sheet.text(&row.port)?;
        sheet.text(row.state.word())?;
        sheet.number(row.strings)?;
        sheet.number(row.used)?;
        number(sheet, row.limit)?;
        number(sheet, row.left)?;
        sheet.text(row.unit)?;
        sheet.end()?;
    }
    Ok(())
}

fn csv_added(added: &Added, sheet: &mut dyn Sheet) -> io::Result<()> {
    sheet.head(&[
        "change",
        "string",
        "from port",
        "to port",
        "from channel",
        "to channel",
    ])?;
    for row in &added.strings {
        sheet.text("added")?;
        sheet.text(&row.string)?;
        sheet.text("")?;
        sheet.text(&row.port)?;
        sheet.text("")?;
        sheet.number(row.start.channel)?;
        sheet.end()?;
    }
    for row in &added.moves {
        sheet.text("moved")?;
        sheet.text(&row.string)?;
        sheet.text(&row.from_port)?;
        sheet.text(&row.to_port)?;
        sheet.number(row.from.channel)?;
        sheet.number(row.to.channel)?;
        sheet.end()?;
    }
    Ok(())
}
