//! An addition to a display: as statements after it, and what they would change.

use super::port_name;
use crate::diagnostic::words;
use crate::model::{Model, PropId, StringId};
use crate::plan::{Placed, Plan, PortId};
use crate::table::{Cell, Column, Face, Head, Kind, Part, Point, Row, Table, columns};
use crate::unit::counted;
use std::collections::BTreeMap;

/// The most nodes that may be asked for: more than any port drives, so a larger number is a
/// mistake.
const MOST_NODES: u32 = 1_000_000;

/// What is to be added.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Addition {
    /// The addition in words: `60 nodes of pebble`, `another heron`.
    pub words: String,
    /// The statements, which stand after the display.
    pub text: String,
    /// Whether it is a fixture, not strings of nodes.
    pub fixture: bool,
    /// The name of the new prop in these statements.
    name: String,
    /// Where nodes are added: how many, and their make.
    nodes: Option<(u32, String)>,
}

/// Where an addition would go, and what would move for it.
#[derive(Default, Debug)]
pub struct Added {
    /// The addition in words.
    what: String,
    /// Its strings.
    strings: Vec<AddedRow>,
    /// Existing strings that would lie elsewhere.
    moves: Vec<MoveRow>,
    /// How many of `moves` would hang on another port.
    replugged: u64,
}

/// A string of the addition.
#[derive(Debug)]
struct AddedRow {
    string: String,
    port: String,
    position: u32,
    nodes: Option<u32>,
    start: Point,
    end: Point,
}

impl Row for AddedRow {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "string" "Its name." => &row.string, shown("string");
            text "port" "The port it would hang on." => &row.port, shown("port");
            number "position" "Its place on that port, from 1." => row.position, shown("pos");
            number "nodes" "Its nodes; null for a fixture." => row.nodes, maybe, shown("nodes");
            point "start" "Its first slot." => row.start, shown("start");
            point "end" "Its last slot." => row.end, shown("end");
        }
    }
}

/// A string that would move.
#[derive(Debug)]
struct MoveRow {
    string: String,
    from_port: String,
    to_port: String,
    from: Point,
    to: Point,
}

impl Row for MoveRow {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "string" "Its name." => &row.string, shown("string");
            text "from_port" "The port it hangs on." => &row.from_port, shown("port");
            text "to_port" "The port it would hang on." => &row.to_port, shown("to port");
            point "from" "Where it begins." => row.from, shown("start");
            point "to" "Where it would begin." => row.to, shown("to");
        }
    }
}

/// A string that is added or moves, for a sheet that has both.
struct Change<'a> {
    change: &'static str,
    string: &'a str,
    from: Option<(&'a str, Point)>,
    to: (&'a str, Point),
}

impl Row for Change<'_> {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "change" => row.change;
            text "string" => row.string;
            text "from port" => row.from.map(|(port, _)| port);
            text "to port" => row.to.0;
            number "from channel" => row.from.map(|(_, start)| start.channel);
            number "to channel" => row.to.1.channel;
        }
    }
}

impl Added {
    /// Whether no existing string has to be plugged in elsewhere.
    #[must_use]
    pub fn leaves_plugs(&self) -> bool {
        self.replugged == 0
    }

    /// The parts of what `tinsel fit` prints.
    #[must_use]
    pub fn parts(&self) -> Vec<Part<'_>> {
        const SEEN: &[Face] = &[Face::Programs, Face::People];
        let what = Head::new("what", Kind::Text, "It in words.");
        let about = "How many of them would hang on another port.";
        let replugged = Head::new("replugged", Kind::Number, about);
        let strings = Table::list("strings", "Its strings.", &self.strings);
        let moves = "Strings that are there now and would lie elsewhere.";
        let moves = Table::list("moves", moves, &self.moves);
        let mut parts = vec![
            Part::Value(what, (&self.what).into()),
            Part::Words(format!("{} would go here:", words::shown(&self.what))),
            Part::Table(strings.only(SEEN)),
        ];
        if self.moves.is_empty() {
            parts.push(Part::Words("Nothing else would move.".to_owned()));
            parts.push(Part::Table(moves.only(&[Face::Programs])));
        } else {
            let moved = counted(self.moves.len() as u64, "string");
            let replugged = match self.replugged {
                0 => "none of them to another port".to_owned(),
                count => format!("{count} of them to another port"),
            };
            parts.push(Part::Words(format!("{moved} would move for it, {replugged}:")));
            parts.push(Part::Table(moves.only(SEEN)));
        }
        parts.push(Part::Value(replugged, Cell::Number(self.replugged)));
        let changes = Table::of("changes", "", || self.changes());
        parts.push(Part::Table(changes.only(&[Face::Sheets])));
        parts
    }

    fn changes(&self) -> impl Iterator<Item = Change<'_>> {
        let added = self.strings.iter().map(|row| Change {
            change: "added",
            string: &row.string,
            from: None,
            to: (&row.port, row.start),
        });
        let moved = self.moves.iter().map(|row| Change {
            change: "moved",
            string: &row.string,
            from: Some((&row.from_port, row.from)),
            to: (&row.to_port, row.to),
        });
        added.chain(moved)
    }
}

impl Addition {
    /// Reads `N nodes`, `N nodes of MAKE` or `prop NAME`.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub fn read(model: &Model, asked: &str) -> Result<Self, String> {
        let asked: Vec<&str> = asked.split_whitespace().collect();
        let name = fresh(model);
        match asked[..] {
            ["prop", prop] => {
                let known = || model.props.iter().map(|prop| &*prop.name);
                let Some(id) = model.props.find(|one| *one.name == *prop) else {
                    return Err(unknown("prop", prop, &words::nearest(prop, known())));
                };
                let mut strings = model.props[id].strings().map(StringId);
                Ok(Self {
                    fixture: strings.any(|string| model.node_of(string).is_none()),
                    words: format!("another {prop}"),
                    text: format!("\nprop {name} like {prop} {{ }}\nwire any: {name}\n"),
                    name,
                    nodes: None,
                })
            }
            [number, "node" | "nodes"] => match model.nodes.as_slice() {
                [one] => Self::nodes(number, &one.name, name),
                _ => {
                    let makes: Vec<&str> = model.nodes.iter().map(|node| &*node.name).collect();
                    let makes = words::list(makes.get(..4).unwrap_or(&makes), "or");
                    Err(format!("say of which make: `{number} nodes of …`, {makes}"))
                }
            },
            [number, "node" | "nodes", "of", make] => {
                let known = || model.nodes.iter().map(|node| &*node.name);
                if !known().any(|name| name == make) {
                    return Err(unknown("make of node", make, &words::nearest(make, known())));
                }
                Self::nodes(number, make, name)
            }
            _ => {
                let asked = words::shown(&asked.join(" "));
                Err(format!("can't add `{asked}`: say `60 nodes of bullet` or `prop heron`"))
            }
        }
    }

    fn nodes(number: &str, make: &str, name: String) -> Result<Self, String> {
        let count: u32 = number.replace('_', "").parse().unwrap_or(0);
        if !(1..=MOST_NODES).contains(&count) {
            let number = words::shown(number);
            return Err(format!("`{number}` is no number of nodes from 1 to {MOST_NODES}"));
        }
        let nodes = counted(count, "node");
        Ok(Self {
            words: format!("{nodes} of {make}"),
            text: format!("\nprop {name} {{ node {make}; split {nodes} }}\nwire any: {name}\n"),
            name,
            fixture: false,
            nodes: Some((count, make.to_owned())),
        })
    }

    /// The same addition in one piece, to hang after a string on its data line. `nodes` replaces
    /// the number of nodes where nodes are added.
    #[must_use]
    pub fn after(&self, string: &str, nodes: Option<u32>) -> Self {
        let (name, after) = (&self.name, words::shown(string));
        let (what, text) = match (&self.nodes, nodes) {
            (Some((count, make)), few) => {
                let nodes = counted(few.unwrap_or(*count), "node");
                let text =
                    format!("\nprop {name} {{ node {make}; string {nodes} }}\nwire any: {name}\n");
                (format!("{nodes} of {make}"), text)
            }
            (None, _) => (self.words.clone(), self.text.clone()),
        };
        Self { words: format!("{what} after {after}"), text, ..self.clone() }
    }

    /// How many nodes are added; `None` for a prop.
    #[must_use]
    pub fn count(&self) -> Option<u32> {
        self.nodes.as_ref().map(|(count, _)| *count)
    }

    /// The prop that the addition is in a model that includes it.
    #[must_use]
    pub fn prop(&self, model: &Model) -> Option<PropId> {
        model.props.find(|prop| *prop.name == *self.name)
    }

    /// What the addition changes: compares the display without it and with it.
    #[must_use]
    pub fn changes(&self, before: (&Model, &Plan), after: (&Model, &Plan)) -> Added {
        let was = lying(before);
        let mut added = Added { what: self.words.clone(), ..Added::default() };
        let at = |(_, plan): (&Model, &Plan), channel| Point::new(plan.universe_slots, channel);
        let port = |(model, plan): (&Model, &Plan), placed: Placed| {
            port_name(model, &plan.ports[PortId(placed.port)])
        };
        for (string, (id, placed)) in lying(after) {
            let (to_port, to) = (port(after, placed), at(after, placed.start));
            if *after.0.prop(id).name == *self.name {
                let shape = after.0.shape(id);
                added.strings.push(AddedRow {
                    string,
                    port: to_port,
                    position: placed.position,
                    nodes: shape.node.map(|_| shape.nodes),
                    start: to,
                    end: at(after, placed.end),
                });
            } else if let Some((_, old)) = was.get(&string) {
                let (from_port, from) = (port(before, *old), at(before, old.start));
                if (&from_port, from) != (&to_port, to) {
                    added.replugged += u64::from(from_port != to_port);
                    added.moves.push(MoveRow { string, from_port, to_port, from, to });
                }
            }
        }
        added.strings.sort_by_key(|row| row.start.channel);
        added.moves.sort_by_key(|row| row.from.channel);
        added
    }
}

/// A name that no prop has.
fn fresh(model: &Model) -> String {
    let mut name = "added".to_owned();
    let mut number = 1;
    while model.props.iter().any(|prop| *prop.name == *name) {
        number += 1;
        name = format!("added-{number}");
    }
    name
}

fn unknown(kind: &str, name: &str, near: &[&str]) -> String {
    let name = words::shown(name);
    let near = words::did_you_mean(near);
    format!("no {kind} of this display is called `{name}`{near}")
}

/// Every placed string, by name.
fn lying((model, plan): (&Model, &Plan)) -> BTreeMap<String, (StringId, Placed)> {
    model.strings.ids().filter_map(|id| Some((model.name_of(id), (id, *plan.of(id)?)))).collect()
}
