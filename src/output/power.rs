//! What flows where, as rows that any face can show: ports, leads, supplies, circuits, the whole; and the statements
//! that would feed a display in more places.

mod rows;
mod write;

pub use rows::{CAUTIONS, PowerView};
pub use write::{FORMATS, write};

use serde::{Serialize, Serializer};

/// A figure with decimals, perhaps below 0: a whole number of some small unit.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Decimal {
    /// The value times `per`.
    pub value: i64,
    /// What it is counted in, a power of ten above 0.
    pub per: u32,
}

impl Serialize for Decimal {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        // The nearest double to a short decimal prints as that decimal.
        serializer.serialize_f64(self.value as f64 / f64::from(self.per.max(1)))
    }
}

/// What hangs on a port, on one piece of plus.
#[derive(Serialize, Clone, Debug)]
pub struct PortRow {
    /// The port, by its receiver where it has one.
    pub port: String,
    /// What its plus comes from: `power`, `port`, `injections` or `nothing`.
    pub from: &'static str,
    /// The level of its nodes.
    pub level_percent: Decimal,
    /// What flows out of the port; below 0 where it flows back into it.
    pub amps: Decimal,
    /// The port's fuse.
    pub fuse_amps: Option<Decimal>,
    /// How much of the fuse that is.
    pub fuse_percent: Option<Decimal>,
    /// What all nodes on it draw.
    pub drawn_amps: Decimal,
    /// The largest current in the plus of its strings and leads: above 0 away from the port.
    pub most_plus: Option<FlowRow>,
    /// The largest current in their minus: above 0 towards the port.
    pub most_minus: Option<FlowRow>,
    /// The node with the lowest voltage.
    pub worst: Option<NodeRow>,
    /// The first node under its floor.
    pub dark_from: Option<NodeRow>,
    /// Nodes under their floor.
    pub dark_nodes: u32,
    /// Whether pitch and conductor are known all along it; what is not known drops nothing here.
    pub drop_known: bool,
    /// Whether it was left out: fed wrongly, by nothing, at no known voltage, or too long.
    pub left_out: bool,
}

/// The largest current in a conductor, and where.
#[derive(Serialize, Clone, Debug)]
pub struct FlowRow {
    /// The string; `None` in a lead or a skip between strings.
    pub string: Option<String>,
    /// The node of the string that the segment leads to, from 1; 0 where none shows anything.
    pub node: u32,
    /// The current.
    pub amps: Decimal,
}

/// A node and its voltage.
#[derive(Serialize, Clone, Debug)]
pub struct NodeRow {
    /// Its string.
    pub string: String,
    /// Which node of it, from 1.
    pub node: u32,
    /// Its voltage.
    pub volts: Decimal,
    /// The lowest that it works at.
    pub floor_volts: Decimal,
}

/// A lead from a supply.
#[derive(Serialize, Clone, Debug)]
pub struct LeadRow {
    /// What it feeds: ports, or a string and where on it.
    pub feeds: String,
    /// From where.
    pub supply: String,
    /// What flows from the supply in its plus; below 0 where it flows back.
    pub amps: Decimal,
    /// What flows to the supply in its minus.
    pub minus_amps: Decimal,
    /// Its fuse.
    pub fuse_amps: Option<Decimal>,
    /// How much of the fuse that is.
    pub fuse_percent: Option<Decimal>,
    /// Its conductor.
    pub gauge: String,
    /// What that may carry.
    pub may_carry_amps: Decimal,
}

/// A supply.
#[derive(Serialize, Clone, Debug)]
pub struct SupplyRow {
    /// Its name.
    pub supply: String,
    /// Its voltage.
    pub volts: Option<Decimal>,
    /// What it gives.
    pub amps: Decimal,
    /// The same as power.
    pub watts: Decimal,
    /// What it is rated for.
    pub rated_watts: Option<Decimal>,
    /// What is left of that; below 0 where there is too much.
    pub headroom_watts: Option<Decimal>,
    /// How much of the rating it gives.
    pub load_percent: Option<Decimal>,
    /// What it takes from the mains.
    pub mains_watts: Decimal,
    /// Ports that it feeds and that were left out: they count 0 A here.
    pub left_out: Vec<String>,
}

/// A mains circuit.
#[derive(Serialize, Clone, Debug)]
pub struct CircuitRow {
    /// Its name.
    pub circuit: String,
    /// Its voltage.
    pub volts: Option<Decimal>,
    /// What is on it.
    pub watts: Decimal,
    /// The same as current.
    pub amps: Option<Decimal>,
    /// Its breaker.
    pub breaker_amps: Option<Decimal>,
    /// How much of the breaker that is.
    pub load_percent: Option<Decimal>,
}

/// The whole display.
#[derive(Serialize, Clone, Debug)]
pub struct TotalRow {
    /// What the supplies give, and ports where no supply is named.
    pub watts: Decimal,
    /// What it takes from the mains: supplies with their loss, controllers and fixtures.
    pub mains_watts: Decimal,
    /// The current of that at 120 V.
    pub mains_amps_120v: Decimal,
    /// The current of that at 230 V.
    pub mains_amps_230v: Decimal,
    /// Ports that were left out: they count 0 A here.
    pub left_out: Vec<String>,
}

/// The statements for a line.
#[derive(Serialize, Clone, Debug)]
pub struct SuggestionRow {
    /// The port it hangs on.
    pub port: String,
    /// What is wrong with it.
    pub because: String,
    /// The statements, ready to paste; none where no injection from its own supply would do, or where those for other
    /// lines on its lead are enough.
    pub statements: Vec<String>,
    /// How many points are fed in addition for all lines on its lead.
    pub points: usize,
    /// Whether no fewer points do; else they are the fewest that were found.
    pub fewest: bool,
    /// Why there are none.
    pub why_not: Option<String>,
    /// How many lines share its lead.
    pub lines_on_lead: usize,
    /// Whether it is the first of these.
    #[serde(skip)]
    pub first: bool,
}
