//! Power in a format: text for a person, csv for a spreadsheet, JSON for a program. The cautions stand in all of them.

use super::{CAUTIONS, Decimal, LeadRow, NodeRow, PowerView, SuggestionRow};
use crate::diagnostic::words;
use crate::output::csv::Cells;
use crate::output::sheet::Sheet;
use crate::output::text::{self, Column, Row};
use crate::unit;
use serde_json::json;
use std::io::{self, Write};

/// The formats by name; the first is the default.
pub const FORMATS: [&str; 3] = ["text", "csv", "json"];

/// Writes power in one of [`FORMATS`]; `width` is how many columns a person's terminal has. In text, suggestions stand
/// alone, so that they can be appended to the display as they are.
///
/// # Errors
/// What the writer says.
pub fn write(view: &PowerView, format: &str, width: usize, out: &mut dyn Write) -> io::Result<()> {
    match (format, &view.suggestions) {
        ("csv", _) => csv(view, out),
        ("json", _) => json(view, out),
        (_, Some(_)) => paste(view, out),
        _ => tables(view, width, out),
    }
}

const PORTS: &[Column] = &[
    ("port", false),
    ("level", true),
    ("current", true),
    ("fuse", true),
    ("of fuse", true),
    ("in line", true),
    ("worst", true),
    ("floor", true),
    ("at", false),
];

const LEADS: &[Column] = &[
    ("feed", false),
    ("from", false),
    ("current", true),
    ("fuse", true),
    ("of fuse", true),
    ("conductor", true),
    ("may carry", true),
];

/// Leads where plus and minus differ, as far as it is printed.
const LEADS_APART: &[Column] = &[
    ("feed", false),
    ("from", false),
    ("plus", true),
    ("minus", true),
    ("fuse", true),
    ("of fuse", true),
    ("conductor", true),
    ("may carry", true),
];

const SUPPLIES: &[Column] = &[
    ("supply", false),
    ("voltage", true),
    ("current", true),
    ("load", true),
    ("rated", true),
    ("left", true),
    ("of rating", true),
];

const CIRCUITS: &[Column] = &[
    ("circuit", false),
    ("voltage", true),
    ("load", true),
    ("current", true),
    ("breaker", true),
    ("of breaker", true),
];

fn tables(view: &PowerView, width: usize, out: &mut dyn Write) -> io::Result<()> {
    match view.level {
        Some(level) => writeln!(out, "power with all nodes at {} %", short(level, 3))?,
        None => writeln!(out, "power at the levels that the display allows")?,
    }
    if view.ports.is_empty() {
        writeln!(
            out,
            "\nNo node here says what it draws (`draw 55 mA`), so there is nothing to reckon."
        )?;
    } else {
        writeln!(out)?;
        text::print(PORTS, || view.ports.iter().map(port), width, out)?;
        if view.supplies.is_empty() {
            writeln!(
                out,
                "\nNo `supply` is named: each port is taken to have its full voltage, and `tinsel check` holds only\n\
                 fuses and circuits against this."
            )?;
        }
    }
    leads(view, width, out)?;
    if !view.supplies.is_empty() {
        writeln!(out)?;
        let rows = || {
            view.supplies.iter().map(|supply| {
                plain(vec![
                    words::shown(&supply.supply),
                    told(supply.volts, "V"),
                    amps(Some(supply.amps)),
                    watts(Some(supply.watts)),
                    told(supply.rated_watts, "W"),
                    watts(supply.headroom_watts),
                    share(supply.load_percent),
                ])
            })
        };
        text::print(SUPPLIES, rows, width, out)?;
        for supply in view.supplies.iter().filter(|row| !row.left_out.is_empty()) {
            let (name, ports) = (words::shown(&supply.supply), few(&supply.left_out));
            writeln!(
                out,
                "{name} is without what it feeds on {ports}: left out, 0 A here"
            )?;
        }
    }
    if !view.circuits.is_empty() {
        writeln!(out)?;
        let rows = || {
            view.circuits.iter().map(|circuit| {
                plain(vec![
                    words::shown(&circuit.circuit),
                    told(circuit.volts, "V"),
                    watts(Some(circuit.watts)),
                    amps(circuit.amps),
                    told(circuit.breaker_amps, "A"),
                    share(circuit.load_percent),
                ])
            })
        };
        text::print(CIRCUITS, rows, width, out)?;
    }
    let total = &view.total;
    writeln!(
        out,
        "\nin all {}{}; from the mains {}, which is {} at 120 V or {} at 230 V\n",
        watts(Some(total.watts)),
        without(total),
        watts(Some(total.mains_watts)),
        amps(Some(total.mains_amps_120v)),
        amps(Some(total.mains_amps_230v))
    )?;
    cautions("! ", width, out)
}

/// What the whole does not hold.
fn without(total: &super::TotalRow) -> String {
    if total.left_out.is_empty() {
        return String::new();
    }
    format!(" without {} (left out, 0 A here)", few(&total.left_out))
}

fn few(names: &[String]) -> String {
    let names: Vec<String> = names.iter().map(|name| words::shown(name)).collect();
    words::few(&names)
}

fn leads(view: &PowerView, width: usize, out: &mut dyn Write) -> io::Result<()> {
    if view.leads.is_empty() {
        return Ok(());
    }
    writeln!(out)?;
    let differ = |lead: &LeadRow| amps(Some(lead.amps)) != amps(Some(lead.minus_amps));
    let apart = view.leads.iter().any(differ);
    let rows = || {
        view.leads.iter().map(|lead| {
            let mut cells = vec![
                words::shown(&lead.feeds),
                words::shown(&lead.supply),
                amps(Some(lead.amps)),
            ];
            cells.extend(apart.then(|| amps(Some(lead.minus_amps))));
            cells.extend([
                told(lead.fuse_amps, "A"),
                share(lead.fuse_percent),
                lead.gauge.clone(),
                told(Some(lead.may_carry_amps), "A"),
            ]);
            plain(cells)
        })
    };
    let columns = if apart { LEADS_APART } else { LEADS };
    text::print(columns, rows, width, out)
}

fn plain(cells: Vec<String>) -> Row<'static> {
    Row {
        cells,
        remark: String::new(),
        group: "",
    }
}

fn port(row: &super::PortRow) -> Row<'_> {
    let mut remarks = Vec::new();
    if let Some(dark) = &row.dark_from {
        let nodes = unit::counted(i64::from(row.dark_nodes), "node");
        remarks.push(format!(
            "dark from node {} of {} on: {nodes}",
            dark.node,
            words::shown(&dark.string)
        ));
    }
    match (row.left_out, row.from) {
        (true, _) => remarks.push(
            "left out: more than one voltage on it, too long to reckon, or joined wrongly"
                .to_owned(),
        ),
        (false, "injections") => remarks.push("fed by injections".to_owned()),
        _ => {}
    }
    // As much as is printed.
    if row.amps.value < -5_000 {
        remarks.push("flows back into the port".to_owned());
    }
    if !row.drop_known {
        remarks.push("pitch or gauge not told: drop there not counted".to_owned());
    }
    let worst = row.worst.as_ref();
    Row {
        cells: vec![
            words::shown(&row.port),
            format!("{} %", short(row.level_percent, 1)),
            amps(Some(row.amps)),
            told(row.fuse_amps, "A"),
            share(row.fuse_percent),
            amps(most(row)),
            volts(worst.map(|worst| worst.volts)),
            told(worst.map(|worst| worst.floor_volts), "V"),
            worst.map_or("-".to_owned(), node),
        ],
        remark: remarks.join(", "),
        group: "",
    }
}

/// The largest current in its conductors, plus or minus.
fn most(row: &super::PortRow) -> Option<Decimal> {
    let both = row.most_plus.iter().chain(&row.most_minus);
    both.map(|flow| flow.amps).reduce(|most, amps| {
        if amps.value.abs() > most.value.abs() {
            amps
        } else {
            most
        }
    })
}

fn node(row: &NodeRow) -> String {
    format!("node {} of {}", row.node, words::shown(&row.string))
}

/// With so many decimals at most, rounded to the nearest.
fn short(figure: Decimal, places: u32) -> String {
    let step = i64::from(figure.per) / 10_i64.pow(places);
    let rounded = match step {
        0 | 1 => figure.value,
        step => figure.value.saturating_add(step / 2).div_euclid(step) * step,
    };
    unit::decimal(rounded, i64::from(figure.per))
}

/// With so many decimals, all of them written, so that a column of figures stands in line.
fn with(figure: Option<Decimal>, places: u32, unit: &str) -> String {
    let Some(figure) = figure else {
        return "-".to_owned();
    };
    let text = short(figure, places);
    let (whole, decimals) = text.split_once('.').unwrap_or((&text, ""));
    if places == 0 {
        return format!("{whole} {unit}");
    }
    format!(
        "{whole}.{decimals:0<width$} {unit}",
        width = places as usize
    )
}

/// What the display says, as it says it.
fn told(figure: Option<Decimal>, unit: &str) -> String {
    figure.map_or("-".to_owned(), |figure| {
        format!("{} {unit}", short(figure, 3))
    })
}

fn amps(figure: Option<Decimal>) -> String {
    with(figure, 2, "A")
}

fn volts(figure: Option<Decimal>) -> String {
    with(figure, 2, "V")
}

fn watts(figure: Option<Decimal>) -> String {
    with(figure, 1, "W")
}

fn share(figure: Option<Decimal>) -> String {
    with(figure, 0, "%")
}

/// Statements with everything else as comments.
fn paste(view: &PowerView, out: &mut dyn Write) -> io::Result<()> {
    let suggestions = view.suggestions.as_deref().unwrap_or(&[]);
    let unfed = view
        .ports
        .iter()
        .filter(|row| row.from == "port" && row.dark_nodes > 0);
    let unfed: Vec<String> = unfed.map(|row| words::shown(&row.port)).collect();
    if !unfed.is_empty() {
        // A comment takes one line however many there are.
        writeln!(
            out,
            "# Nodes go dark on {}, and nothing says what feeds that.",
            words::few(&unfed)
        )?;
        writeln!(
            out,
            "# Name a `supply` and say `power PORTS from SUPPLY through LENGTH of GAUGE`, then ask again."
        )?;
    } else if suggestions.is_empty() {
        writeln!(out, "# Nothing needs to be fed in more places.")?;
    }
    for row in suggestions {
        let (port, because) = (words::shown(&row.port), words::shown(&row.because));
        writeln!(out, "# {port}: {because}")?;
        if let Some(why) = &row.why_not {
            wrapped("# ", &format!("No injection helps: {why}."), 100, out)?;
            continue;
        }
        if row.first {
            writeln!(out, "# {}", points(row))?;
        }
        if row.statements.is_empty() {
            writeln!(
                out,
                "# The points of the other lines on its lead are enough."
            )?;
        }
        let mut statements = row.statements.iter();
        statements.try_for_each(|statement| writeln!(out, "{statement}"))?;
    }
    let left_out = view.ports.iter().filter(|row| row.left_out);
    let left_out: Vec<String> = left_out.map(|row| words::shown(&row.port)).collect();
    if !left_out.is_empty() {
        let ports = words::few(&left_out);
        writeln!(
            out,
            "# Left out, for what `tinsel check` reports of it: {ports}."
        )?;
    }
    writeln!(out, "# Lengths are as far as the line runs: measure yours.")?;
    cautions("# ", 100, out)
}

/// How many points there are, and whether fewer could do.
fn points(row: &SuggestionRow) -> String {
    let points = unit::counted(row.points as i64, "point");
    let shared = match row.lines_on_lead {
        0 | 1 => String::new(),
        lines => format!(" for the {lines} lines that share its lead"),
    };
    let fewest = if row.fewest {
        "no fewer do"
    } else {
        "the fewest found"
    };
    format!("{points}{shared}: {fewest}.")
}

/// The cautions, each line of them behind a mark.
fn cautions(mark: &str, width: usize, out: &mut dyn Write) -> io::Result<()> {
    let mut cautions = CAUTIONS.iter();
    cautions.try_for_each(|caution| wrapped(mark, caution, width, out))
}

/// A text after a mark, in lines of a width.
fn wrapped(mark: &str, text: &str, width: usize, out: &mut dyn Write) -> io::Result<()> {
    let mut line = String::from(mark);
    for word in text.split(' ') {
        if line.len() + word.len() + 1 > width && line.len() > mark.len() {
            writeln!(out, "{}", line.trim_end())?;
            // A comment needs its mark on every line, a list only on the first.
            line = if mark.starts_with('#') {
                mark.to_owned()
            } else {
                " ".repeat(mark.len())
            };
        }
        line.push_str(word);
        line.push(' ');
    }
    writeln!(out, "{}", line.trim_end())
}

fn json(view: &PowerView, out: &mut dyn Write) -> io::Result<()> {
    let object = json!({
        "level_percent": view.level,
        "ports": view.ports,
        "leads": view.leads,
        "supplies": view.supplies,
        "circuits": view.circuits,
        "total": view.total,
        "suggestions": view.suggestions,
        "cautions": CAUTIONS,
    });
    serde_json::to_writer_pretty(&mut *out, &object)?;
    writeln!(out)
}

const HEAD: &[&str] = &[
    "kind",
    "name",
    "from",
    "level_percent",
    "amps",
    "limit_amps",
    "limit_percent",
    "watts",
    "rated_watts",
    "headroom_watts",
    "worst_volts",
    "floor_volts",
    "worst_string",
    "worst_node",
    "dark_from_string",
    "dark_from_node",
    "dark_nodes",
    "note",
    "minus_amps",
];

/// One row of the sheet: cells by the name of their column, the others empty.
fn line(sheet: &mut dyn Sheet, cells: &[(&str, String)]) -> io::Result<()> {
    for head in HEAD {
        let cell = cells.iter().find(|(name, _)| name == head);
        sheet.text(cell.map_or("", |(_, text)| text))?;
    }
    sheet.end()
}

fn exact(figure: Option<Decimal>) -> String {
    figure.map_or(String::new(), |figure| {
        unit::decimal(figure.value, i64::from(figure.per))
    })
}

fn csv(view: &PowerView, out: &mut dyn Write) -> io::Result<()> {
    let mut cells = Cells::new(out);
    let sheet: &mut dyn Sheet = &mut cells;
    sheet.head(HEAD)?;
    let kind = |kind: &str| ("kind", kind.to_owned());
    for row in &view.ports {
        let (worst, dark) = (row.worst.as_ref(), row.dark_from.as_ref());
        let text = |node: Option<&NodeRow>| node.map_or(String::new(), |node| node.string.clone());
        let number =
            |node: Option<&NodeRow>| node.map_or(String::new(), |node| node.node.to_string());
        let mut notes = Vec::new();
        if row.left_out {
            notes.push("left out");
        }
        if !row.drop_known {
            notes.push("pitch or gauge not told");
        }
        line(
            sheet,
            &[
                kind("port"),
                ("name", row.port.clone()),
                ("from", row.from.to_owned()),
                ("level_percent", exact(Some(row.level_percent))),
                ("amps", exact(Some(row.amps))),
                ("limit_amps", exact(row.fuse_amps)),
                ("limit_percent", exact(row.fuse_percent)),
                ("worst_volts", exact(worst.map(|worst| worst.volts))),
                ("floor_volts", exact(worst.map(|worst| worst.floor_volts))),
                ("worst_string", text(worst)),
                ("worst_node", number(worst)),
                ("dark_from_string", text(dark)),
                ("dark_from_node", number(dark)),
                ("dark_nodes", row.dark_nodes.to_string()),
                ("note", notes.join(", ")),
            ],
        )?;
    }
    for row in &view.leads {
        line(
            sheet,
            &[
                kind("lead"),
                ("name", row.feeds.clone()),
                ("from", row.supply.clone()),
                ("amps", exact(Some(row.amps))),
                ("minus_amps", exact(Some(row.minus_amps))),
                ("limit_amps", exact(row.fuse_amps)),
                ("limit_percent", exact(row.fuse_percent)),
                ("note", row.gauge.clone()),
            ],
        )?;
    }
    sources(view, sheet)?;
    for row in view.suggestions.iter().flatten() {
        for statement in &row.statements {
            let name = ("name", row.port.clone());
            line(
                sheet,
                &[kind("suggestion"), name, ("note", statement.clone())],
            )?;
        }
    }
    for caution in CAUTIONS {
        line(sheet, &[kind("caution"), ("note", (*caution).to_owned())])?;
    }
    cells.flush()
}

/// What does not count, for a note.
fn noted(left_out: &[String]) -> String {
    if left_out.is_empty() {
        return String::new();
    }
    format!("without {}: left out", left_out.join(", "))
}

fn sources(view: &PowerView, sheet: &mut dyn Sheet) -> io::Result<()> {
    let kind = |kind: &str| ("kind", kind.to_owned());
    for row in &view.supplies {
        line(
            sheet,
            &[
                kind("supply"),
                ("name", row.supply.clone()),
                ("amps", exact(Some(row.amps))),
                ("limit_percent", exact(row.load_percent)),
                ("watts", exact(Some(row.watts))),
                ("rated_watts", exact(row.rated_watts)),
                ("headroom_watts", exact(row.headroom_watts)),
                ("note", noted(&row.left_out)),
            ],
        )?;
    }
    for row in &view.circuits {
        line(
            sheet,
            &[
                kind("circuit"),
                ("name", row.circuit.clone()),
                ("amps", exact(row.amps)),
                ("limit_amps", exact(row.breaker_amps)),
                ("limit_percent", exact(row.load_percent)),
                ("watts", exact(Some(row.watts))),
            ],
        )?;
    }
    let total = &view.total;
    let all = ["what supplies give", &noted(&total.left_out)];
    let all = all.join(if total.left_out.is_empty() { "" } else { ", " });
    let rows = [
        ("all", all.as_str(), total.watts, None),
        (
            "mains at 120 V",
            "with the loss of supplies",
            total.mains_watts,
            Some(total.mains_amps_120v),
        ),
        (
            "mains at 230 V",
            "with the loss of supplies",
            total.mains_watts,
            Some(total.mains_amps_230v),
        ),
    ];
    for (name, note, watts, amps) in rows {
        line(
            sheet,
            &[
                kind("total"),
                ("name", name.to_owned()),
                ("amps", exact(amps)),
                ("watts", exact(Some(watts))),
                ("note", note.to_owned()),
            ],
        )?;
    }
    Ok(())
}
