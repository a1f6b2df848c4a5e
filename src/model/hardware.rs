//! The hardware: chips, makes of node, controllers, their ports, receivers.

use super::{ChipId, CircuitId, ControllerId, Stated};
use crate::chip::BitTime;
use crate::protocol::{Input, UniverseSlots};
use crate::source::Span;
use crate::unit::Gauge;
use std::sync::Arc;

/// A chip.
#[derive(Debug, Clone)]
pub struct Chip {
    /// Its name.
    pub name: Box<str>,
    /// Its declaration; `None` for a known chip.
    pub at: Option<Span>,
    /// Bit time; `None` for a clocked chip.
    pub bit: Option<BitTime>,
    /// Latch in nanoseconds.
    pub latch_ns: u64,
    /// Bits a colour, 8 or 16.
    pub depth: u8,
    /// Bits of a node that carry no colour.
    pub extra_bits: u32,
    /// Bits on the wire for each letter, if the display sets them; otherwise as many as `depth`.
    pub letter_bits: Option<u32>,
    /// Bits of a frame before the data.
    pub header_bits: u32,
    /// Clocks after the data, in quarters of a clock for each node.
    pub tail_quarters: u32,
    /// Lowest supply at a node in millivolts.
    pub floor_mv: u32,
    /// Whether `floor_mv` is set in the display, not taken from the data sheet.
    pub floor_told: bool,
}

/// What a node draws at full.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Draw {
    /// Constant current, in microamperes.
    Current(i64),
    /// Constant power, in milliwatts.
    Power(i64),
}

/// A make of node.
#[derive(Debug, Clone, Default)]
pub struct NodeKind {
    /// Its name.
    pub name: Box<str>,
    /// Its declaration.
    pub at: Span,
    /// Its chip.
    pub chip: Option<Stated<ChipId>>,
    /// Its letters in slot order, in upper case.
    pub colour: Box<str>,
    /// Slots of one node, above 0.
    pub slots: u32,
    /// Bits of one node in the data line.
    pub bits: u32,
    /// Supply voltage in millivolts.
    pub volts: Option<Stated<i64>>,
    /// Draw at full.
    pub draw: Option<Stated<Draw>>,
    /// Draw of a dark node in microamperes, added to its draw at any level.
    pub idle_ua: i64,
    /// Lowest voltage it works at in millivolts, if the display sets it.
    pub floor: Option<Stated<i64>>,
    /// Distance from node to node, in micrometres.
    pub pitch_um: Option<Stated<i64>>,
    /// The conductor within the string.
    pub gauge: Option<Stated<Gauge>>,
}

/// Where a controller's universes begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Start {
    #[default]
    /// The universe after the highest given so far to controllers declared before it.
    Auto,
    /// `universes from N`.
    From(u32),
    /// `universes N..M`.
    Range(u32, u32),
    /// `universes after OTHER`.
    After(ControllerId),
}

impl Start {
    /// The first universe, if it was written as a number.
    #[must_use]
    pub fn written(self) -> Option<u32> {
        match self {
            Self::From(first) | Self::Range(first, _) => Some(first),
            Self::Auto | Self::After(_) => None,
        }
    }
}

/// How a controller numbers its ports.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Addressing {
    #[default]
    /// Each port is one unbroken range with a start of its own.
    PerPort,
    /// Each port begins where the one before it ends.
    Consecutive,
    /// Each string has a start of its own.
    PerProp,
}

impl Addressing {
    /// Its words in the language.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::PerPort => "per port",
            Self::Consecutive => "consecutive",
            Self::PerProp => "per prop",
        }
    }
}

/// What begins at slot 1 of a universe.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Align {
    #[default]
    /// Nothing has to.
    Off,
    /// Each port.
    Port,
    /// Each port, and each string whose prop differs from the one before it.
    Prop,
}

/// What a port may drive.
#[derive(Debug, Clone, Default)]
pub struct PortSettings {
    /// The chips it drives; empty for any.
    pub chips: Vec<Stated<ChipId>>,
    /// Most nodes, skips included.
    pub nodes: Option<Stated<u32>>,
    /// Most slots, in place of `nodes`: for a port that feeds a panel driver or a relay board.
    pub slots: Option<Stated<u32>>,
    /// Fuse in microamperes.
    pub fuse: Option<Stated<i64>>,
    /// Voltage in millivolts.
    pub volts: Option<Stated<i64>>,
    /// Brightness in thousandths of a percent.
    pub dim: Option<Stated<u32>>,
}

impl PortSettings {
    /// Whether two ports are set alike, wherever that is written.
    #[must_use]
    pub fn is_like(&self, other: &Self) -> bool {
        fn value<T: Copy>(stated: Option<Stated<T>>) -> Option<T> {
            stated.map(|stated| stated.value)
        }
        let chips = |one: &Self| one.chips.iter().map(|chip| chip.value).collect::<Vec<_>>();
        let counts = |one: &Self| [one.nodes, one.slots, one.dim].map(value);
        let amounts = |one: &Self| [one.fuse, one.volts].map(value);
        chips(self) == chips(other)
            && counts(self) == counts(other)
            && amounts(self) == amounts(other)
    }
}

/// A pixel port of a controller.
#[derive(Debug, Clone)]
pub struct Port {
    /// Its number, from 1.
    pub number: u32,
    /// The `ports` or `port` setting that declares it.
    pub at: Span,
    /// What it may drive, as the controller says.
    pub settings: Arc<PortSettings>,
}

/// A controller.
#[derive(Debug, Clone, Default)]
pub struct Controller {
    /// Its name.
    pub name: Box<str>,
    /// Its declaration (the name).
    pub at: Span,
    /// A label for people.
    pub label: Option<Box<str>>,
    /// Where it is on the network.
    pub host: Option<Stated<Box<str>>>,
    /// What it listens to.
    pub input: Input,
    /// Where that was said.
    pub input_at: Option<Span>,
    /// Where its universes begin.
    pub start: Start,
    /// Where that was said.
    pub start_at: Option<Span>,
    /// Most universes it takes.
    pub most_universes: Option<Stated<u32>>,
    /// Slots of each universe that its pixel ports use, if set; at most the display's.
    pub universe_slots: Option<Stated<u32>>,
    /// E1.31 priority of its data, 0 to 200, if set.
    pub priority: Option<Stated<u32>>,
    /// E1.31 universe of its synchronisation packets.
    pub sync: Option<Stated<u32>>,
    /// How it numbers its ports.
    pub addressing: Addressing,
    /// Where that was said.
    pub addressing_at: Option<Span>,
    /// What begins at slot 1.
    pub align: Align,
    /// Whether a node that does not fit in a universe starts the next (set here or in `display`).
    pub whole_nodes: bool,
    /// Where that was said, if here.
    pub whole_nodes_at: Option<Span>,
    /// Brightness in thousandths of a percent.
    pub dim: Option<Stated<u32>>,
    /// Where it stands, in micrometres.
    pub stands: Option<(i64, i64)>,
    /// Its pixel ports in rising order of number, each number once.
    pub ports: Vec<Port>,
    /// Its DMX outputs in rising order, each with the setting that declares it.
    pub dmx: Vec<Stated<u32>>,
    /// What it draws from the mains, in milliwatts.
    pub draw_mw: Option<i64>,
    /// The mains circuit it is on.
    pub circuit: Option<CircuitId>,
    /// Whether some of its settings did not parse or resolve: its ports are then not all known.
    pub broken: bool,
    /// Whether it is from a `stock` file and no wire names it, so that it is not in this display.
    pub stock: bool,
}

impl Controller {
    /// A controller without settings.
    #[must_use]
    pub fn plain(name: &str, whole_nodes: bool) -> Self {
        Self { name: name.into(), whole_nodes, ..Self::default() }
    }

    /// Slots of each universe that its pixel ports use; `all` are those of the display's universes.
    #[must_use]
    pub fn slots_used(&self, all: UniverseSlots) -> u32 {
        let all = all.get();
        self.universe_slots.map_or(all, |own| own.value.min(all))
    }

    /// Its pixel port with a number.
    #[must_use]
    pub fn port(&self, number: u32) -> Option<&Port> {
        // Most controllers number their ports from 1 without a gap.
        let usual = self.ports.get((number as usize).wrapping_sub(1));
        usual.filter(|port| port.number == number).or_else(|| {
            let at = self.ports.binary_search_by_key(&number, |port| port.number).ok()?;
            self.ports.get(at)
        })
    }
}

/// A receiver: a controller's ports come out here.
#[derive(Debug, Clone)]
pub struct Receiver {
    /// Its name.
    pub name: Box<str>,
    /// Its declaration (the name).
    pub at: Span,
    /// A label for people.
    pub label: Option<Box<str>>,
    /// The controller whose ports it carries.
    pub controller: ControllerId,
    /// The first port it carries, which is its own port 1.
    pub first: u32,
    /// The last port it carries.
    pub last: u32,
    /// Where it stands, in micrometres.
    pub stands: Option<(i64, i64)>,
    /// Its own port settings, by its own numbers from 1; they override those of the controller.
    pub ports: Vec<Port>,
    /// Whether it is from a `stock` file.
    pub stock: bool,
}
