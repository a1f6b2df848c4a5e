//! Everything about power in one sheet: a row for each port, lead, supply and circuit, with the
//! suggestions and the cautions.

use super::{CAUTIONS, Fuse, Node, PowerView};
use crate::table::{Column, Decimal, Face, Row, Table, columns};

/// A row. Its `kind` decides which of its cells are filled.
#[derive(Default)]
struct SheetLine<'a> {
    kind: &'static str,
    name: &'a str,
    from: &'a str,
    level: Option<Decimal>,
    amps: Option<Decimal>,
    limit: Fuse,
    load: Option<Decimal>,
    watts: Option<Decimal>,
    rated: Option<Decimal>,
    headroom: Option<Decimal>,
    worst: Option<&'a Node>,
    dark: Option<&'a Node>,
    dark_nodes: Option<u32>,
    note: String,
    minus: Option<Decimal>,
}

impl Row for SheetLine<'_> {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "kind" => row.kind;
            text "name" => row.name;
            text "from" => row.from;
            decimal "level_percent" => row.level;
            decimal "amps" => row.amps;
            decimal "limit_amps" => row.limit.map(|(limit, _)| limit);
            decimal "limit_percent" => row.limit.map(|(_, share)| share).or(row.load);
            decimal "watts" => row.watts;
            decimal "rated_watts" => row.rated;
            decimal "headroom_watts" => row.headroom;
            decimal "worst_volts" => row.worst.map(|node| node.volts);
            decimal "floor_volts" => row.worst.map(|node| node.floor);
            text "worst_string" => row.worst.map(|node| &node.string);
            number "worst_node" => row.worst.map(|node| node.node);
            text "dark_from_string" => row.dark.map(|node| &node.string);
            number "dark_from_node" => row.dark.map(|node| node.node);
            number "dark_nodes" => row.dark_nodes;
            text "note" => &row.note;
            decimal "minus_amps" => row.minus;
        }
    }
}

/// The sheet.
pub fn table(view: &PowerView) -> Table<'_> {
    Table::of("power", "", || lines(view).into_iter()).only(&[Face::Sheets])
}

fn lines(view: &PowerView) -> Vec<SheetLine<'_>> {
    let mut lines: Vec<SheetLine<'_>> = Vec::new();
    lines.extend(view.ports.iter().map(|row| {
        let notes = [(row.left_out, "left out"), (!row.drop_known, "pitch or gauge not given")];
        let notes = notes.iter().filter(|(holds, _)| *holds).map(|(_, note)| *note);
        SheetLine {
            kind: "port",
            name: &row.port,
            from: row.from,
            level: Some(row.level),
            amps: Some(row.amps),
            limit: row.fuse,
            worst: row.worst.as_ref(),
            dark: row.dark_from.as_ref(),
            dark_nodes: Some(row.dark_nodes),
            note: notes.collect::<Vec<_>>().join(", "),
            ..SheetLine::default()
        }
    }));
    lines.extend(feeds(view));
    lines.extend(totals(view));
    for row in view.suggestions.iter().flatten() {
        lines.extend(row.statements.iter().map(|statement| SheetLine {
            kind: "suggestion",
            name: &row.port,
            note: statement.clone(),
            ..SheetLine::default()
        }));
    }
    lines.extend(CAUTIONS.iter().map(|caution| SheetLine {
        kind: "caution",
        note: (*caution).to_owned(),
        ..SheetLine::default()
    }));
    lines
}

/// Leads, supplies and circuits.
fn feeds(view: &PowerView) -> impl Iterator<Item = SheetLine<'_>> {
    let leads = view.leads.iter().map(|row| SheetLine {
        kind: "lead",
        name: &row.feeds,
        from: &row.supply,
        amps: Some(row.amps),
        minus: Some(row.minus_amps),
        limit: row.fuse,
        note: row.gauge.clone(),
        ..SheetLine::default()
    });
    let supplies = view.supplies.iter().map(|row| SheetLine {
        kind: "supply",
        name: &row.supply,
        amps: Some(row.amps),
        load: row.load,
        watts: Some(row.watts),
        rated: row.rated,
        headroom: row.headroom,
        note: without(&row.left_out),
        ..SheetLine::default()
    });
    let circuits = view.circuits.iter().map(|row| SheetLine {
        kind: "circuit",
        name: &row.circuit,
        amps: row.amps,
        limit: row.breaker.zip(row.load),
        watts: Some(row.watts),
        ..SheetLine::default()
    });
    leads.chain(supplies).chain(circuits)
}

fn totals(view: &PowerView) -> [SheetLine<'_>; 3] {
    let total = &view.total;
    let mut given = "what supplies give".to_owned();
    if !total.left_out.is_empty() {
        given = format!("{given}, {}", without(&total.left_out));
    }
    let mains = "with the loss of supplies".to_owned();
    let line = |name, note, watts, amps| SheetLine {
        kind: "total",
        name,
        amps,
        watts: Some(watts),
        note,
        ..SheetLine::default()
    };
    [
        line("all", given, total.watts, None),
        line("mains at 120 V", mains.clone(), total.mains, Some(total.mains_120v)),
        line("mains at 230 V", mains, total.mains, Some(total.mains_230v)),
    ]
}

/// The ports that do not count, for a note.
fn without(left_out: &[String]) -> String {
    match left_out.is_empty() {
        true => String::new(),
        false => format!("without {}: left out", left_out.join(", ")),
    }
}
