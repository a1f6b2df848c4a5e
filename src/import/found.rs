//! What a table holds: props and their strings, controllers, makes of node, and where rows say that strings lie.

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
    /// The runs it is built of, as a display has them.
    pub runs: Option<String>,
    /// Where data come in.
    pub enters: Option<String>,
    /// Of how many equal strands it is; 0 or 1 where it is not.
    pub strands: u64,
    /// The controller it hangs on, as an index of [`Found::boxes`].
    pub controller: Option<usize>,
    /// Its output there.
    pub output: Option<Output>,
    /// Its place there.
    pub position: Option<u64>,
    /// Nodes before it that show nothing.
    pub skip: u64,
    /// Cable before it.
    pub lead: Option<String>,
    /// The receiver it hangs on, as an index of [`Found::receivers`], and the port there.
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
    /// What the table says besides.
    pub comments: Vec<String>,
    /// The table that it comes from, as an index of [`Found::places`].
    pub table: usize,
    /// Whether it is a family, though of one.
    pub family: bool,
    /// The strings of each member; of one that is no family, one.
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
    /// The cell that says so, to be worded.
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
    /// How a sheet of boxes says that it numbers its strings, with what to say where they lie otherwise.
    pub addressing: Option<(&'static str, Note)>,
    /// The first universe that a sheet of boxes gives it, and the last, with what to say where its strings lie elsewhere.
    pub said: Option<(u64, Option<u64>, Note)>,
    /// The same as the display counts universes, where its strings agree.
    pub universes: Option<(u64, Option<u64>)>,
    /// How many ports a sheet of boxes gives it, with what to say where that is too few.
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
    /// What each start may be, one for all strings or one for some of them each.
    pub starts: Vec<Vec<At>>,
    /// The channel that the table gives besides, from 1.
    pub channel: Option<u64>,
    /// Where it ends, as far as the table says it.
    pub end: Option<Vec<At>>,
    /// The universe that it starts in, beside a start that says so itself.
    pub universe: Option<u64>,
    /// The universe that it ends in, where that is all.
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
    /// The row of its words, to be worded; columns together have none.
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
    /// Slots of a universe, by which its channels count.
    pub universe_slots: UniverseSlots,
    /// What says how many slots a universe has.
    pub said: Vec<Said>,
    /// How many slots of a universe the channels of each table count, where that is not the display's.
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

    /// Slots of each node of a string, and its nodes; a fixture is one slot after another.
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
