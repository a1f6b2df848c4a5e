//! The rows of the tables, with the keys that the contract names and those that people need beside them.
//!
//! Keys may be added; none is dropped or changes its meaning. Counts and addresses are from 1, a channel is
//! `(universe - 1) * universe_slots + slot`. Lengths are in millimetres.

use crate::model::{Output, ShapeRun};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Serialize as Derive;
use serde::ser::{Serialize, SerializeMap, Serializer};
use std::borrow::Cow;

/// A slot of a universe, and its channel.
#[derive(Derive, JsonSchema, Clone, Copy, PartialEq, Eq, Debug)]
pub struct Point {
    /// Universe, from 1.
    pub universe: u32,
    /// Slot, from 1.
    pub slot: u32,
    /// Absolute channel, from 1.
    pub channel: u64,
}

/// A fraction, written as a whole number where it is one.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Figure {
    /// The value times `per`.
    pub value: u64,
    /// What it is counted in, a power of ten above 0.
    pub per: u32,
}

impl Serialize for Figure {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let per = u64::from(self.per.max(1));
        if self.value.is_multiple_of(per) {
            serializer.serialize_u64(self.value / per)
        } else {
            // The nearest double to a short decimal prints as that decimal.
            serializer.serialize_f64(self.value as f64 / per as f64)
        }
    }
}

impl Figure {
    /// It as a decimal, without trailing zeros.
    #[must_use]
    pub fn words(self) -> String {
        let value = i64::try_from(self.value).unwrap_or(i64::MAX);
        crate::unit::decimal(value, i64::from(self.per))
    }
}

impl JsonSchema for Figure {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        "Figure".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "number", "minimum": 0})
    }
}

/// An output as the contract writes it: `"3"`, `"dmx1"`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct OutputName(pub Output);

impl Serialize for OutputName {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self.0 {
            Output::Pixel(number) => serializer.collect_str(&number),
            Output::Dmx(number) => serializer.collect_str(&format_args!("dmx{number}")),
        }
    }
}

impl JsonSchema for OutputName {
    fn schema_name() -> Cow<'static, str> {
        "OutputName".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "A pixel port by number, or a DMX output.",
            "type": "string",
            "pattern": "^(dmx)?[1-9][0-9]*$"
        })
    }
}

/// What holds for the whole display.
#[derive(Derive, JsonSchema, Debug)]
pub struct DisplayRow<'a> {
    /// Its name; empty if it has none.
    pub name: &'a str,
    /// Frames a second.
    pub frame_rate_hz: Figure,
    /// Slots in a universe.
    pub universe_slots: u32,
}

/// The runs of a string as built.
#[derive(Clone, Copy, Debug)]
pub struct Runs<'a>(pub &'a [ShapeRun]);

impl Serialize for Runs<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.0.iter().map(Run))
    }
}

impl JsonSchema for Runs<'_> {
    fn schema_name() -> Cow<'static, str> {
        "Runs".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let count = generator.subschema_for::<u32>();
        let length = generator.subschema_for::<Figure>();
        json_schema!({
            "description": "The runs of a string as built, in data order: nodes, nodes that show nothing, cable.",
            "type": "array",
            "items": {"oneOf": [
                {
                    "type": "object",
                    "properties": {"name": {"type": ["string", "null"]}, "nodes": count},
                    "required": ["name", "nodes"]
                },
                {"type": "object", "properties": {"skip": count}, "required": ["skip"]},
                {"type": "object", "properties": {"lead_mm": length}, "required": ["lead_mm"]}
            ]}
        })
    }
}

struct Run<'a>(&'a ShapeRun);

impl Serialize for Run<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        match self.0 {
            ShapeRun::Nodes(name, nodes) => {
                map.serialize_entry("name", &name.as_deref())?;
                map.serialize_entry("nodes", nodes)?;
            }
            ShapeRun::Skip(nodes) => map.serialize_entry("skip", nodes)?,
            ShapeRun::Lead(length, _) => map.serialize_entry("lead_mm", &millimetres(*length))?,
        }
        map.end()
    }
}

/// Micrometres as millimetres.
#[must_use]
pub fn millimetres(micrometres: i64) -> Figure {
    Figure {
        value: u64::try_from(micrometres).unwrap_or(0),
        per: 1_000,
    }
}

/// One string or fixture.
#[derive(Derive, JsonSchema, Debug)]
pub struct StringRow<'a> {
    /// Its prop, without `[ ]`.
    pub prop: &'a str,
    /// Its member from 1; `None` for a prop that is no family.
    pub instance: Option<u32>,
    /// Its number from 1; `None` for a fixture.
    pub string: Option<u32>,
    /// Its controller.
    pub controller: &'a str,
    /// Its output.
    pub port: OutputName,
    /// Its place among the strings of the output, from 1.
    pub position: u32,
    /// Nodes that show something; `None` for a fixture.
    pub nodes: Option<u32>,
    /// Slots it takes.
    pub slots: u32,
    /// Its first slot.
    pub start: Point,
    /// Its last slot.
    pub end: Point,
    /// Its name as a person writes it.
    pub name: String,
    /// The label of its member or prop.
    pub label: Option<&'a str>,
    /// The name within its prop (`eaves`).
    pub string_name: Option<&'a str>,
    /// Its make of node.
    pub node: Option<&'a str>,
    /// Its chip.
    pub chip: Option<&'a str>,
    /// The letters of its node in slot order.
    pub colour: Option<&'a str>,
    /// Nodes within it that show nothing.
    pub skips: u32,
    /// Nodes before it on its output that show nothing, since the string before it.
    pub skip_before: u32,
    /// Cable before it on its output, since the string before it.
    pub lead_before_mm: Figure,
    /// The receiver whose port it comes out of.
    pub receiver: Option<&'a str>,
    /// The port there.
    pub receiver_port: Option<u32>,
    /// The runs it is built of; empty for a plain string.
    pub runs: Runs<'a>,
    /// Not put up this season.
    pub stored: bool,
    /// The string whose data it shows.
    pub same_as: Option<String>,
}

/// One used output.
#[derive(Derive, JsonSchema, Debug)]
pub struct PortRow<'a> {
    /// Its controller.
    pub controller: &'a str,
    /// Which output.
    pub port: OutputName,
    /// Nodes that light, skips left out.
    pub nodes: u32,
    /// Nodes in the data line that show nothing.
    pub skipped: u32,
    /// Most nodes, by the port's own limit and by the time of a frame; skips count against it. Slots where
    /// `limit_in` says so; `None` where nothing limits it.
    pub limit: Option<u32>,
    /// The lowest slot of its strings.
    pub start: Point,
    /// The highest slot of its strings.
    pub end: Point,
    /// What the limit is counted in: `nodes` or `slots`.
    pub limit_in: &'static str,
    /// What is left below the limit, in the same count.
    pub left: Option<u32>,
    /// Slots of its strings.
    pub slots: u32,
    /// How many strings hang on it.
    pub strings: u32,
    /// The receivers it comes out at, in chain order.
    pub receivers: Vec<String>,
}

/// The universes of a controller.
#[derive(Derive, JsonSchema, Clone, Copy, PartialEq, Eq, Debug)]
pub struct UniverseSpan {
    /// The first one in use.
    pub first: Option<u32>,
    /// The last one in use.
    pub last: Option<u32>,
    /// How many are in use.
    pub count: u32,
}

/// One controller.
#[derive(Derive, JsonSchema, Debug)]
pub struct ControllerRow<'a> {
    /// Its name.
    pub name: &'a str,
    /// Where it is on the network.
    pub host: Option<&'a str>,
    /// What it listens to, as written.
    pub input: &'static str,
    /// Its universes in use: all that it listens to, those of others whose data it shows too.
    pub universes: UniverseSpan,
    /// A label for people.
    pub label: Option<&'a str>,
    /// How it numbers its ports.
    pub addressing: &'static str,
    /// What the two addresses are: `multicast` or `Port-Address`.
    pub address_kind: Option<&'static str>,
    /// Multicast group or Port-Address of the first universe.
    pub first_address: Option<String>,
    /// The same of the last universe.
    pub last_address: Option<String>,
    /// Where its data begin in the protocol's own count of bytes, which is its first channel's place.
    pub data_offset: Option<u64>,
    /// The channel that its data begin at, where the protocol counts from there.
    pub data_from_channel: Option<u64>,
    /// Outputs in use.
    pub ports_used: u32,
    /// Outputs it has.
    pub ports: u32,
    /// Nodes that light on it.
    pub nodes: u64,
    /// Universes that are kept for it behind the last one of its own strings.
    pub spare_universes: u32,
    /// Network load at the frame rate, Ethernet's own costs included.
    pub mbit_per_s: Figure,
    /// Slots of each universe that its pixel ports use, 1 to 512; its DMX outputs send all of the display's.
    pub universe_slots: u32,
    /// E1.31 priority of its data, 0 to 200; null where its input has none.
    pub priority: Option<u32>,
    /// E1.31 universe of its synchronisation packets, 1 to 63999.
    pub sync_universe: Option<u32>,
}

/// One universe with a slot in use.
#[derive(Derive, JsonSchema, Debug)]
pub struct UniverseRow<'a> {
    /// Its number.
    pub universe: u32,
    /// The controller it belongs to.
    pub controller: &'a str,
    /// Slots in use; shared slots count once.
    pub used: u32,
    /// The other slots.
    pub free: u32,
    /// Its multicast group or Port-Address.
    pub address: Option<String>,
    /// Which of the two: `multicast` or `Port-Address`.
    pub address_kind: Option<&'static str>,
    /// Where it is sent where it has no address of its own: the controller's host.
    pub host: Option<&'a str>,
    /// Other controllers that must listen to it, since strings of theirs show the same data.
    pub also: Vec<Listener<'a>>,
    /// The strings in it, by slot.
    pub strings: Vec<String>,
}

/// A controller that listens to a universe of another.
#[derive(Derive, JsonSchema, Debug)]
pub struct Listener<'a> {
    /// Its name.
    pub controller: &'a str,
    /// The universe's multicast group or Port-Address as this controller's input has it.
    pub address: Option<String>,
    /// Which of the two: `multicast` or `Port-Address`.
    pub address_kind: Option<&'static str>,
    /// The controller's host.
    pub host: Option<&'a str>,
}

/// One prop or member.
#[derive(Derive, JsonSchema, Debug)]
pub struct PropRow<'a> {
    /// Its prop.
    pub prop: &'a str,
    /// Its member from 1; `None` for a prop that is no family.
    pub instance: Option<u32>,
    /// Its label.
    pub label: Option<&'a str>,
    /// How many strings it has; 0 for a fixture.
    pub strings: u32,
    /// Nodes that show something; `None` for a fixture.
    pub nodes: Option<u64>,
    /// Slots of its strings.
    pub slots: u64,
    /// Its lowest slot.
    pub first: Point,
    /// Its highest slot.
    pub last: Point,
    /// Whether every slot between the two is its own.
    pub contiguous: bool,
}
