//! Which column is what, by its heading.

use super::sheet::Row;
use super::{Grade, Note, Reading};
use crate::diagnostic::words;

/// What a column holds.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// The prop's name.
    Name,
    /// How many alike there are.
    Count,
    /// Nodes of the whole prop.
    Nodes,
    /// Nodes of one string.
    NodesPerString,
    /// How many strings one prop has.
    Strings,
    /// The controller it hangs on.
    Controller,
    /// The port there.
    Port,
    /// A label for people.
    Label,
    /// The chip of its nodes.
    Chip,
}

/// Headings by what they mean, in small letters and digits only; `%` stands for any word for a node.
const HEADINGS: &[(Kind, &[&str])] = &[
    (
        Kind::Name,
        &[
            "name",
            "prop",
            "props",
            "propname",
            "element",
            "item",
            "nameofprop",
        ],
    ),
    (
        Kind::Count,
        &[
            "count",
            "qty",
            "quantity",
            "howmany",
            "copies",
            "amount",
            "pieces",
            "pcs",
            "numberofprops",
            "propcount",
        ],
    ),
    (
        Kind::NodesPerString,
        &[
            "%perstring",
            "%string",
            "%eachstring",
            "%/string",
            "stringlength",
            "perstring",
        ],
    ),
    (
        Kind::Nodes,
        &[
            "%",
            "%count",
            "numberof%",
            "total%",
            "%total",
            "%perprop",
            "%each",
            "no%",
            "noof%",
            "num%",
            "#%",
        ],
    ),
    (
        Kind::Strings,
        &[
            "strings",
            "string",
            "stringcount",
            "numberofstrings",
            "noofstrings",
            "numstrings",
            "#strings",
            "stringsperprop",
            "datalines",
        ],
    ),
    (
        Kind::Controller,
        &[
            "controller",
            "controllername",
            "box",
            "board",
            "ctrl",
            "controllers",
        ],
    ),
    (
        Kind::Port,
        &[
            "port",
            "ports",
            "output",
            "outputs",
            "portnumber",
            "portno",
            "port#",
            "#port",
            "controllerport",
            "outputport",
        ],
    ),
    (Kind::Label, &["label", "description", "title", "caption"]),
    (
        Kind::Chip,
        &[
            "chip",
            "chiptype",
            "ic",
            "protocol",
            "pixeltype",
            "nodetype",
            "type",
        ],
    ),
];

/// Words for a node, as headings have them.
const NODE_WORDS: &[&str] = &[
    "nodes", "node", "pixels", "pixel", "px", "leds", "led", "lights", "bulbs", "lamps",
];

/// Where each kind of column stands.
#[derive(Debug)]
pub struct Columns {
    /// The index of the header among the rows.
    pub header: usize,
    kinds: Vec<Option<Kind>>,
    headings: Vec<String>,
}

impl Columns {
    /// The cell of a kind in a row, if the table has the column and the row a cell with something in it.
    pub fn cell<'r>(&self, row: &'r Row, kind: Kind) -> Option<&'r str> {
        let at = self.kinds.iter().position(|own| *own == Some(kind))?;
        row.cells
            .get(at)
            .map(String::as_str)
            .filter(|cell| !cell.is_empty())
    }

    /// Whether the table has a column of a kind.
    pub fn has(&self, kind: Kind) -> bool {
        self.kinds.contains(&Some(kind))
    }

    /// The heading of a kind's column.
    pub fn heading(&self, kind: Kind) -> &str {
        let at = self.kinds.iter().position(|own| *own == Some(kind));
        at.and_then(|at| self.headings.get(at))
            .map_or("", String::as_str)
    }
}

/// So many rows may stand before the header: a title, a date.
const BEFORE: usize = 10;

/// Finds the header and what its columns are.
///
/// # Errors
/// In words: there is none.
pub fn find(table: &[Row], reading: Reading) -> Result<(Columns, Vec<Note>), String> {
    if table.is_empty() {
        return Err("it has no rows".to_owned());
    }
    let kinds_of = |row: &Row| -> Vec<Option<Kind>> {
        row.cells.iter().map(|cell| kind(cell, reading)).collect()
    };
    let is_header = |row: &Row| {
        let kinds = kinds_of(row);
        let nodes = [Kind::Nodes, Kind::NodesPerString];
        kinds.contains(&Some(Kind::Name)) && kinds.iter().flatten().any(|kind| nodes.contains(kind))
    };
    let Some((at, row)) = table
        .iter()
        .enumerate()
        .take(BEFORE)
        .find(|(_, row)| is_header(row))
    else {
        return Err(format!(
            "no header with a column of names and one of nodes (such as `name`, `count`, `nodes`, `strings`, \
             `controller`, `port`); it begins with {}",
            first(table)
        ));
    };
    let mut kinds = kinds_of(row);
    let mut notes = Vec::new();
    let mut note = |row: Option<usize>, column: &str, what: String, grade: Grade| {
        notes.push(Note {
            row,
            column: column.to_owned(),
            text: String::new(),
            what,
            grade,
        });
    };
    for at in 0..kinds.len() {
        let heading = row.cells.get(at).map_or("", String::as_str);
        let own = kinds.get(at).copied().flatten();
        match own {
            None if heading.is_empty() => {}
            None => note(
                None,
                heading,
                "no column that a display has; left out".to_owned(),
                Grade::Told,
            ),
            Some(kind) if kinds.iter().take(at).any(|other| *other == Some(kind)) => {
                if let Some(own) = kinds.get_mut(at) {
                    *own = None;
                }
                let what = "an earlier column says the same; left out".to_owned();
                note(None, heading, what, Grade::Lost);
            }
            Some(_) => {}
        }
    }
    for row in table.iter().take(at) {
        let what = format!("{} stands above the header; left out", begin(row));
        note(Some(row.number), "", what, Grade::Told);
    }
    let columns = Columns {
        header: at,
        kinds,
        headings: row.cells.clone(),
    };
    Ok((columns, notes))
}

fn begin(row: &Row) -> String {
    let cells: Vec<String> = row
        .cells
        .iter()
        .filter(|cell| !cell.is_empty())
        .take(6)
        .map(|cell| format!("\"{}\"", words::shown(cell)))
        .collect();
    cells.join(", ")
}

fn first(table: &[Row]) -> String {
    table.first().map_or_else(String::new, begin)
}

/// What a heading means: case, blanks and punctuation aside, and without what stands in brackets.
fn kind(heading: &str, reading: Reading) -> Option<Kind> {
    let plain = heading.split(['(', '[']).next().unwrap_or(heading);
    let word: String = plain
        .chars()
        .flat_map(char::to_lowercase)
        .filter(|c| c.is_alphanumeric() || *c == '#')
        .collect();
    let means = |pattern: &str| match pattern.split_once('%') {
        None => pattern == word,
        Some((before, after)) => NODE_WORDS.iter().any(|node| {
            let rest = word
                .strip_prefix(before)
                .and_then(|rest| rest.strip_prefix(node));
            rest == Some(after)
        }),
    };
    let found = HEADINGS
        .iter()
        .find(|(_, patterns)| patterns.iter().any(|pattern| means(pattern)))?;
    let says_no_more = ["%", "%count", "numberof%", "no%", "noof%", "num%", "#%"];
    if reading.nodes_per_string && says_no_more.iter().any(|pattern| means(pattern)) {
        return Some(Kind::NodesPerString);
    }
    Some(found.0)
}
