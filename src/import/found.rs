//! What a table holds: props and their strings, controllers, makes of node, and where rows say that
//! their strings lie.

use super::Note;
use super::cells::At;
use super::makes::Make;
use crate::grid::Body;
use crate::model::Output;
use crate::protocol::UniverseSlots;
use std::collections::BTreeMap;

/// Which string of a table: its prop, and its member and place there, from 0.
pub type StringAt = (usize, (usize, usize));

/// A string or a fixture.
#[derive(Clone, Debug, Default)]
pub struct SheetLine {
    /// The row that it comes from, as a spreadsheet counts them.
    pub row: usize,
    /// Its nodes; for a fixture its slots.
    pub size: u64,
    /// What its nodes are, as an index of [`Found::makes`]; `None` for a fixture.
    pub make: Option<usize>,
    /// Its name within its prop.
    pub name: Option<String>,
    /// Its number within its prop, where the table says it.
    pub number: Option<u64>,
    /// The runs it is built of, in the language's words.
    pub runs: Option<String>,
    /// Where its data come in.
    pub enters: Option<String>,
    /// How many equal strands it has; 0 or 1 where it is not divided.
    pub strands: u64,
    /// Its controller, as an index of [`Found::boxes`].
    pub controller: Option<usize>,
    /// Its output there.
    pub output: Option<Output>,
    /// Its place there.
    pub position: Option<u64>,
    /// Nodes before it that show nothing.
    pub skip: u64,
    /// Cable before it.
    pub lead: Option<String>,
    /// Its receiver, as an index of [`Found::receivers`], and the port there.
    pub receiver: Option<(usize, u32)>,
    /// Channel of its first slot, from 0.
    pub start: Option<u64>,
    /// The name of the string whose data it shows.
    pub same_as: Option<String>,
    /// Whether it is not put up.
    pub stored: bool,
    /// Whether a remark says that it shows what another string shows.
    pub mirrors: bool,
}

/// A prop of the table.
#[derive(Debug, Default)]
pub struct SheetProp {
    /// Its lawful name.
    pub name: String,
    /// A label: the table's own, or the name as it was written where it was made lawful.
    pub label: Option<String>,
    /// What else the table says of it.
    pub comments: Vec<String>,
    /// The table that it comes from, as an index of [`Found::places`].
    pub table: usize,
    /// Whether it is a family, even one with a single member.
    pub family: bool,
    /// Number and strings of each member. A prop that is no family has one member.
    pub members: Vec<(u64, Vec<SheetLine>)>,
}

/// A controller of the table.
#[derive(Debug, Default)]
pub struct Board {
    /// Its lawful name.
    pub name: String,
    /// The name as it was written, if that differs.
    pub label: Option<String>,
    /// Where it is on the network.
    pub host: Option<String>,
    /// A note on the cell that says so, without its wording.
    pub host_cell: Option<Note>,
    /// What it listens to, in the language's words.
    pub input: Option<&'static str>,
    /// Whether the table counts its universes from 0.
    pub from_zero: bool,
    /// Whether a node that does not fit in what is left of its universe starts the next one.
    pub whole: bool,
    /// How many slots of a universe its pixel ports use, where that is not all.
    pub slots: Option<UniverseSlots>,
    /// Whether each string has a start of its own.
    pub per_prop: bool,
    /// The `addressing` from a sheet of boxes, and the note for strings that lie otherwise.
    pub addressing: Option<(&'static str, Note)>,
    /// First and last universe from a sheet of boxes, and the note for strings outside.
    pub said: Option<(u64, Option<u64>, Note)>,
    /// The same as the display counts them, where the strings agree.
    pub universes: Option<(u64, Option<u64>)>,
    /// How many ports a sheet of boxes gives it, and the note for too few.
    pub ports: Option<(u64, Note)>,
    /// The voltage that a sheet of boxes gives its nodes.
    pub volts: Option<String>,
    /// The most nodes of a port, by port.
    pub limits: BTreeMap<u32, u64>,
}

/// Where a row says that its strings lie.
#[derive(Debug)]
pub struct Claim {
    /// The table, as an index of [`Found::places`].
    pub table: usize,
    /// Whether the words above its rows say another size of a universe than the rest of its table.
    pub apart: bool,
    /// The row.
    pub row: usize,
    /// Its prop.
    pub prop: usize,
    /// Its strings: member and string, from 0.
    pub lines: Vec<(usize, usize)>,
    /// The places that each start may mean. A start is for an equal share of the strings.
    pub starts: Vec<Vec<At>>,
    /// The channel that the table states in addition, from 1.
    pub channel: Option<u64>,
    /// The places that its end may mean, where the table states one.
    pub end: Option<Vec<At>>,
    /// The universe in its row, where the start does not come from it.
    pub universe: Option<u64>,
    /// The last universe in its row, where that states a range of universes.
    pub end_universe: Option<u64>,
    /// The heading and the text of its start, and of its end.
    pub texts: [(String, String); 2],
}

/// What says how many slots a universe has.
#[derive(Debug)]
pub struct Said {
    /// The slots.
    pub size: UniverseSlots,
    /// The table that it is about, as an index of [`Found::places`]; `None` for all of a workbook.
    pub table: Option<usize>,
    /// A note on the row of its words, without its wording; columns and sheets of boxes have none.
    pub note: Option<Note>,
}

/// What a table holds.
#[derive(Debug, Default)]
pub struct Found {
    /// Its props in its order.
    pub props: Vec<SheetProp>,
    /// Its controllers in the order met.
    pub boxes: Vec<Board>,
    /// Lawful names of receivers in the order met.
    pub receivers: Vec<String>,
    /// What nodes there are.
    pub makes: Vec<Make>,
    /// Where its rows say that strings lie.
    pub claims: Vec<Claim>,
    /// Rows that hold anything.
    pub rows: usize,
    /// Rows that are no prop, as comments.
    pub comments: Vec<String>,
    /// Slots of a universe in the display.
    pub universe_slots: UniverseSlots,
    /// What says how many slots a universe has.
    pub said: Vec<Said>,
    /// How many slots of a universe the channels of each table count.
    pub sizes: Vec<UniverseSlots>,
    /// How notes name its tables; empty where there is one.
    pub places: Vec<String>,
    /// Whether its rows are ports.
    pub of_ports: bool,
}

impl Found {
    /// A string.
    pub fn line(&self, (prop, (member, string)): StringAt) -> Option<&SheetLine> {
        self.props.get(prop)?.members.get(member)?.1.get(string)
    }

    /// The same, to be changed.
    pub fn line_mut(&mut self, (prop, (member, string)): StringAt) -> Option<&mut SheetLine> {
        self.props.get_mut(prop)?.members.get_mut(member)?.1.get_mut(string)
    }

    /// All strings in their order.
    pub fn lines(&self) -> impl Iterator<Item = (StringAt, &SheetLine)> {
        self.props.iter().enumerate().flat_map(|(prop, own)| {
            own.members.iter().enumerate().flat_map(move |(member, (_, lines))| {
                let lines = lines.iter().enumerate();
                lines.map(move |(string, line)| ((prop, (member, string)), line))
            })
        })
    }

    /// The strings of a claim.
    pub fn lines_of(&self, claim: &Claim) -> impl Iterator<Item = &SheetLine> {
        claim.lines.iter().filter_map(|at| self.line((claim.prop, *at)))
    }

    /// The nodes of a string, and slots of each; a fixture counts as nodes of one slot.
    pub fn body(&self, line: &SheetLine) -> Body {
        let make = line.make.and_then(|make| self.makes.get(make));
        let each = make.map_or(1, |make| make.slots);
        Body { nodes: line.size, each }
    }

    /// The name of a string as a display has it.
    pub fn name(&self, (prop, (member, string)): StringAt) -> String {
        let Some(own) = self.props.get(prop) else {
            return String::new();
        };
        let mut name = own.name.clone();
        if own.family {
            name.push_str(&format!("[{}]", member + 1));
        }
        if own.members.get(member).is_some_and(|(_, lines)| lines.len() > 1) {
            name.push_str(&format!(".{}", string + 1));
        }
        name
    }
}
